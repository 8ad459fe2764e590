"""Colour, function by function: what the screen can show, and which spectra are taken."""

from __future__ import annotations

import numpy as np
import pytest

from weavecolor.colour.screen import CLIP_UNSEEN, _lower_chroma, _oklab, fit_to_gamut
from weavecolor.colour.spectra import MAX_READINGS, resample
from weavecolor.colour.words import colour_words, difference_words
from weavecolor.errors import InputError


def _oklab_of(linear):
    to_lms, _, lms_lab, _ = _oklab("sRGB")
    return np.cbrt(np.asarray(linear) @ to_lms.T) @ lms_lab.T


def test_as_much_chroma_is_kept_as_the_screen_can_show():
    """What fits already is kept whole, and of what does not a thousandth more would be seen to
    move (CSS Color 4: until clipping moves it by less than 0.02 in Oklab)."""
    rng = np.random.default_rng(2)
    linear = rng.uniform(-0.3, 1.4, (400, 3))
    lab = _oklab_of(linear)
    linear = linear[(lab[:, 0] > 0.1) & (lab[:, 0] < 0.95)]
    made = _lower_chroma(linear, "sRGB")
    _, to_linear, _, lab_lms = _oklab("sRGB")
    lab = _oklab_of(linear)

    def moved(share):
        tried = lab * np.stack([np.ones_like(share), share, share], -1)
        wanted = (tried @ lab_lms.T) ** 3 @ to_linear.T
        clipped = np.clip(wanted, 0.0, 1.0)
        return clipped, np.linalg.norm(_oklab_of(clipped) - tried, axis=1)

    whole, off = moved(np.ones(len(lab)))
    fits = off < CLIP_UNSEEN * 0.99
    assert fits.sum() > 20 and (~fits).sum() > 50
    assert made[fits] == pytest.approx(whole[fits], abs=1e-4)
    # where it lies on the way to grey, by bisection with the plain formula
    low, high = np.zeros(len(lab)), np.ones(len(lab))
    for _ in range(20):
        middle = 0.5 * (low + high)
        inside = moved(middle)[1] < CLIP_UNSEEN
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    assert made[~fits] == pytest.approx(moved(low)[0][~fits], abs=3e-3)


def test_white_and_black_are_the_ends_of_the_screen():
    grey = np.linspace(0.5, 2.0, 1501)[:, None] * np.ones(3)
    made = _lower_chroma(grey, "sRGB")
    light = np.clip(grey, 0.0, 1.0)
    assert made == pytest.approx(light, abs=2e-3)
    assert fit_to_gamut([[1.0, 1.0, 1.0], [1.5, 1.5, 1.5], [-0.1, -0.1, -0.1]]).tolist() == [
        [1.0] * 3, [1.0] * 3, [0.0] * 3,
    ]  # fmt: skip


def test_two_readings_are_a_spectrum_with_a_gap_and_one_is_none():
    with pytest.raises(InputError, match="there is a gap from 380 to 780 nm"):
        resample([380.0, 780.0], [0.2, 0.4])
    with pytest.raises(InputError, match="a spectrum has readings from 400 to 700 nm at least"):
        resample([550.0], [0.2])


def test_as_many_readings_are_taken_as_is_said():
    nm = np.linspace(380.0, 780.0, MAX_READINGS)
    assert resample(nm, np.full(nm.size, 0.3)).values == pytest.approx(0.3)
    nm = np.linspace(380.0, 780.0, MAX_READINGS + 1)
    with pytest.raises(InputError, match=f"{nm.size} readings; .* at most {MAX_READINGS}"):
        resample(nm, np.full(nm.size, 0.3))


def _at_hue(L, C, degrees):
    turn = np.radians(degrees)
    return [L, C * np.cos(turn), C * np.sin(turn)]


@pytest.mark.parametrize(("C", "limit"), [(33.0, 60.0), (40.0, 60.0), (45.0, 58.0), (60.0, 52.0)])
def test_an_orange_turns_brown_later_the_stronger_it_is(C, limit):
    """From L* 60, and 0.4 lower for each step of chroma above 40."""
    assert "brown" in colour_words(_at_hue(limit - 0.1, C, 62.0))
    assert "orange" in colour_words(_at_hue(limit + 0.1, C, 62.0))


def test_a_difference_is_told_largest_part_first():
    """Near grey a step of a* counts by 1 + 0.045 times the mean chroma (S_C of CIEDE2000, CIE 142):
    10 of it from grey as 10 / 1.225 = 8.2; beyond, chroma by the same, hue by 1 + 0.015 of it."""
    grey = [50.0, 0.0, 0.0]
    assert difference_words(grey, [59.0, 10.0, 0.0]) == "lighter, redder"
    assert difference_words(grey, [57.5, 10.0, 0.0]) == "redder, lighter"
    assert difference_words(grey, [57.5, 0.0, 10.0]) == "yellower, lighter"
    strong, stronger = [50.0, 20.0, 0.0], [50.0, 30.0, 0.0]  # 10 / 2.125 = 4.7
    assert difference_words(strong, [54.9, *stronger[1:]]).startswith("lighter")
    assert difference_words(strong, [54.5, *stronger[1:]]).startswith("stronger")


def test_a_gap_that_ends_where_the_eye_begins_is_none():
    """Nothing that is seen lies between readings at 330 and 380 nm, or at 780 and 830."""
    nm = np.concatenate([[330.0], np.arange(380.0, 781.0, 10.0), [830.0]])
    assert resample(nm, np.full(nm.size, 0.3)).values == pytest.approx(0.3)
    for end in (380.0, 780.0):  # without it ten nm of the gap are seen
        with pytest.raises(InputError, match="there is a gap"):
            resample(nm[nm != end], np.full(nm.size - 1, 0.3))


@pytest.mark.parametrize(("unit", "all_of_it"), [("fraction", 1.0), ("percent", 100.0)])
def test_a_cloth_may_send_all_light_back_or_none(unit, all_of_it):
    nm = np.arange(400.0, 701.0, 10.0)
    for share in (0.0, 1.0):
        found = resample(nm, np.full(nm.size, share * all_of_it), unit=unit)
        assert found.values == pytest.approx(share)
        with pytest.raises(InputError, match="a reflectance lies within"):
            resample(nm, np.full(nm.size, (share + (0.01 if share else -0.01)) * all_of_it),
                     unit=unit)  # fmt: skip


@pytest.mark.parametrize("hue", range(1, 34, 4))
def test_reds_as_light_as_deep_pink_are_pink(hue):
    """ISCC-NBS has deep pink from about L* 56 on (centroids: moderate red 45, dark pink 59, deep
    pink 62, strong pink 70; from memory), on either side of where wine red ends."""
    for L in (57.0, 59.0, 62.0, 66.0, 70.0):
        assert colour_words(_at_hue(L, 42.0, hue)).endswith("pink"), L
    for L in (45.0, 50.0):
        assert colour_words(_at_hue(L, 42.0, hue)).endswith("red"), L


def test_readings_that_are_no_two_lists_of_numbers_are_refused_by_what_is_wrong():
    nm, even = np.arange(400.0, 701.0, 10.0), np.full(31, 0.3)
    for wrong in ((nm[:, None], even), (nm, even[:, None]), (nm[:, None], even[:, None])):
        with pytest.raises(InputError, match="a spectrum is two plain lists of numbers"):
            resample(*wrong)
    for bad in (np.nan, np.inf, -np.inf):
        for which in (0, 1):
            both = [nm.copy(), even.copy()]
            both[which][4] = bad
            with pytest.raises(InputError, match="reading 5 is not a number"):
                resample(*both)


def test_wavelengths_that_fall_are_turned_and_one_that_stands_there_twice_is_named():
    nm = np.arange(700.0, 399.0, -10.0)
    values = np.linspace(0.1, 0.7, nm.size)
    turned, straight = resample(nm, values), resample(nm[::-1], values[::-1])
    assert np.array_equal(turned.values, straight.values)
    nm[8] = nm[7]
    with pytest.raises(InputError, match="630 nm follows 630 nm"):
        resample(nm, values)


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (0.4, 0.7, "look like micrometres"), (0.35, 2.5, "look like micrometres"),
        (0.2, 9.9, "look like micrometres"), (400.0, 650.0, "the spectrum stops short"),
        (450.0, 780.0, "the spectrum stops short"), (5.0, 690.0, "the spectrum stops short"),
    ],
)  # fmt: skip
def test_a_spectrum_that_ends_below_ten_is_in_micrometres(first, last, said):
    with pytest.raises(InputError, match=said):
        resample(np.linspace(first, last, 200), np.full(200, 0.3))
