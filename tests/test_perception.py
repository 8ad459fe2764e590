"""Whether a difference is seen, grey-scale grades, and colours in words."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weavecolor.colour.colorimetry import lab_from_xyz, spectrum_from_srgb, xyz
from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.perception import _SIZES, would_see
from weavecolor.colour.words import LIGHTNESS, WHITE_ABOVE, colour_words, difference_words
from weavecolor.errors import InputError


def lab_of(red: int, green: int, blue: int) -> np.ndarray:
    d65 = light_spectrum("daylight")
    reflectance = spectrum_from_srgb(np.array([red, green, blue]) / 255)
    return lab_from_xyz(xyz(reflectance * d65, d65), xyz(d65, d65))


# --- seen or not -------------------------------------------------------------------------------


def test_verdicts():
    # Just noticeable at about 1 CIEDE2000: common practice, no source.
    assert would_see(0.4, 0.3).sees is False
    assert would_see(0.8, 0.3).sees is None
    assert would_see(1.2, 0.3).sees is None
    assert would_see(1.4, 0.3).sees is True
    assert would_see(1.0).sees is True and would_see(0.99).sees is False
    assert "would not see" in str(would_see(0.2))
    assert str(would_see(0.9, 0.5)).startswith("Cannot tell")
    assert "0.9 give or take 0.5" in would_see(0.9, 0.5).words


@given(st.floats(0, 50), st.floats(0, 20))
def test_not_seen_only_where_the_whole_band_is_below(delta, uncertainty):
    sees = would_see(delta, uncertainty).sees
    assert (sees is False) == (delta + uncertainty < 1.0)
    assert (sees is True) == (delta - uncertainty >= 1.0)


@given(st.floats(0, 50), st.floats(0, 20))
def test_by_candle_a_difference_may_look_half_as_large(delta, uncertainty):
    # about 1 cd/m2, where discrimination has fallen to about half (Brown 1951, from memory)
    sees = would_see(delta, uncertainty, dim=True).sees
    assert (sees is False) == (delta + uncertainty < 1.0)
    assert (sees is True) == (delta - uncertainty >= 2.0)
    if sees is None:
        assert "by so little light 1 to 2 is just noticeable" in would_see(
            delta, uncertainty, dim=True
        ).words


def test_size_follows_the_grey_scale():
    words = [would_see(delta).words.split(":")[1] for delta in (1.7, 3.4, 6.8, 13.6)]
    assert ["slight", "clear", "strong", "another colour"] == [
        next(k for k in ("slight", "clear", "another colour", "strong") if k in w) for w in words
    ]


@pytest.mark.parametrize("bad", [(-1, 0), (1, -1), (np.nan, 0), (1, np.inf)])
def test_bad_differences_are_refused(bad):
    with pytest.raises(InputError):
        would_see(*bad)


# ISO 105-A02 / EN 20105-A02:1994: CIELAB difference by grade, from the standard's sample text.
A02 = {"4-5": 0.8, "4": 1.7, "3-4": 2.5, "3": 3.4, "2-3": 4.8, "2": 6.8, "1-2": 9.6, "1": 13.6}


def test_words_change_at_half_grades_of_the_grey_scale():
    assert [upper for upper, _ in _SIZES[:-1]] == [A02[grade] for grade in ("3-4", "2-3", "1-2")]


# --- words -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rgb", "said"),
    [
        ((255, 255, 255), "white"),
        ((0, 0, 0), "black"),
        ((119, 119, 119), "mid grey"),
        ((45, 45, 45), "very dark grey"),
        ((255, 0, 0), "vivid red"),
        ((150, 20, 30), "deep red"),
        ((120, 70, 30), "deep brown"),
        ((38, 24, 14), "brownish black"),
        ((50, 30, 16), "very dark brown, almost black"),
        ((255, 165, 0), "vivid orange"),
        ((255, 255, 0), "vivid yellow"),
        ((128, 128, 0), "olive"),
        ((0, 100, 0), "deep green"),
        ((205, 220, 205), "pale greyish green"),
        ((0, 0, 255), "deep blue"),
        ((20, 30, 80), "very dark blue"),
        ((173, 216, 230), "pale"),
        ((75, 0, 130), "violet"),
        ((255, 192, 203), "pale pink"),
        ((245, 235, 210), "cream"),
        ((200, 180, 150), "beige"),
    ],
)
def test_colours_that_everyone_calls_the_same(rgb, said):
    # Everyday usage: common practice, no source.
    assert said in colour_words(lab_of(*rgb))


RANK = {word: rank for rank, (_, word) in enumerate(LIGHTNESS)}


def test_white_begins_where_the_names_of_a_standard_say():
    # Munsell value 8.5 of the names in NBS SP 440 (from memory), by the quintic of ASTM D1535-08
    Y = np.polyval([0.00081939, -0.020484, 0.23352, -0.22533, 1.1914, 0.0], 8.5)
    assert pytest.approx(116.0 * np.cbrt(Y / 100.0) - 16.0, abs=0.1) == WHITE_ABOVE
    assert colour_words((90.0, 3.0, 3.0)) == "pinkish white"
    assert colour_words((90.0, -0.5, 4.0)) == "yellowish white"


def lightness_rank(words: str) -> float:
    if words.endswith("black"):
        return -1
    if "white" in words:
        return 5
    first = "very dark" if words.startswith("very dark") else words.split()[0]
    same_as = {"deep": "dark", "mid": "", "vivid": "", "bright": "light"}
    return RANK.get(same_as.get(first, first), RANK[""])


@given(st.floats(0, 360), st.floats(0, 120))
def test_darker_never_gets_a_lighter_word(hue, chroma):
    a, b = chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))
    said = [colour_words((L, a, b)) for L in np.arange(0.0, 100.5, 0.5)]
    pure = [w for w in said if not any(k in w for k in ("beige", "cream", "peach"))]
    ranks = [lightness_rank(words) for words in pure]
    assert ranks == sorted(ranks)


@given(st.floats(-20, 120), st.floats(-150, 150), st.floats(-150, 150))
def test_every_colour_has_words_and_always_the_same(L, a, b):
    words = colour_words((L, a, b))
    assert words and words == colour_words([L, a, b]) and "  " not in words
    assert words == words.strip()


def test_differences_in_words():
    assert difference_words((50, 20, 20), (50, 20, 20)) == "no difference to speak of"
    assert difference_words((50, 0, 0), (40, 0, 0)) == "darker"
    assert difference_words((50, 0, 0), (51, 0, 0)) == "slightly lighter"
    assert difference_words((50, 0, 0), (50, 0, 3)) == "yellower"
    assert difference_words((30, 40, 0), (50, 38.2, 12)) == "much lighter, yellower"
    # of a* alike, a smaller b* is bluer (ASTM D2244, from memory)
    assert difference_words((50, 40, 12), (50, 40, 0)).startswith("bluer")
    assert difference_words((45, 17, 16), (45, 17.4, -6)).startswith("much bluer")
    assert "weaker in colour" in difference_words((50, 40, 40), (50, 20, 20))
    assert "bluer" in difference_words((50, -40, -5), (50, -38, -20))
    assert "greener" in difference_words((50, -5, 40), (50, -20, 36))


def test_a_turn_of_hue_is_told_by_where_it_goes():
    # violet to greyish green lost its blue: b* rises from -18 to 5
    words = difference_words((51.2, 3.0, -18.3), (60.3, -2.8, 5.0))
    assert "bluer" not in words and words.startswith("much yellower") and "greener" in words
    # a purplish pink that goes yellow, and loses red: a* falls from 16.5 to 9.3
    words = difference_words((63.8, 16.5, -5.0), (67.0, 9.3, 4.5))
    assert "yellower" in words and "redder" not in words
    # a pink that fades to a pinkish grey is no greener
    words = difference_words((78.2, 9.9, -2.4), (24.1, 3.3, 0.4))
    assert words == "much darker, less red, less blue"
    assert difference_words((50, 8, 0), (50, -3, 0)) == "greener"


@given(st.floats(0, 360), st.floats(10, 60), st.floats(-89, 89).filter(lambda turn: abs(turn) > 15))
def test_to_and_fro_of_a_turn_are_the_axes_on_both_sides_of_it(hue, chroma, turn):
    first, second = (
        (50.0, chroma * np.cos(np.radians(angle)), chroma * np.sin(np.radians(angle)))
        for angle in (hue, hue + turn)
    )
    axes = ["redder", "yellower", "greener", "bluer"]
    said = [difference_words(*pair) for pair in ((first, second), (second, first))]
    places = [next(n for n, axis in enumerate(axes) if axis in words) for words in said]
    middle = (hue + turn / 2.0) % 90.0
    near = min(middle, 90.0 - middle)  # to an axis: between those at right angles to it
    if abs(near - 22.5) > 1e-6:
        assert (places[0] - places[1]) * np.sign(turn) % 4 == (1 if near > 22.5 else 2)


@given(st.floats(10, 90), st.floats(8, 60), st.floats(0, 359), st.floats(-25, 25))
def test_swapping_the_two_swaps_the_lightness_and_strength_words(L, chroma, hue, change):
    first = np.array([L, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))])
    second = first * [1, 0.8, 0.8] + [change, 0, 0]
    forth, back = difference_words(first, second), difference_words(second, first)
    assert ("lighter" in forth) == ("darker" in back)
    assert ("weaker in colour" in forth) == ("stronger in colour" in back)


@pytest.mark.parametrize("bad", [(1, 2), (np.nan, 0, 0), np.zeros((2, 3))])
def test_bad_lab_is_refused(bad):
    with pytest.raises(InputError):
        colour_words(bad)
    with pytest.raises(InputError):
        difference_words((50, 0, 0), bad)


@pytest.mark.parametrize(
    ("L", "C", "almost"),
    [(15.9, 39.9, True), (16.1, 39.9, False), (15.9, 41.0, False), (15.9, 48.0, False)],
)
def test_only_a_dark_and_weak_colour_is_almost_black(L, C, almost):
    for hue in (35.0, 145.0, 280.0, 330.0):
        a, b = C * np.cos(np.radians(hue)), C * np.sin(np.radians(hue))
        assert colour_words((L, a, b)).endswith(", almost black") is almost
    for grey, said in ((15.9, "very dark grey, almost black"), (16.1, "very dark grey"),
                       (9.9, "black"), (85.2, "pale grey"), (85.4, "white")):  # fmt: skip
        assert colour_words((grey, 0.0, 0.0)) == said
