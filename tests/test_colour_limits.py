"""Colour at both sides of its limits: words, differences in words, the screen, its profile."""

from __future__ import annotations

import re
import struct
from importlib.resources import files

import colour
import numpy as np
import pytest
from scipy.optimize import brentq

from weavecolor.colour.colorimetry import ciede2000, lab_from_xyz
from weavecolor.colour.iccprofile import icc_profile
from weavecolor.colour.screen import _DARKER, _nearest, _oklab, fit_to_gamut, in_gamut, space
from weavecolor.colour.words import colour_words, difference_words
from weavecolor.decide.wishwords import wish_from

# --- words ------------------------------------------------------------------------------------

#: The scheme: upper hue limit, degrees; names of middling, dark and light colours of middling
#: strength; L* below which it is dark and from which it is light.
HUES = [
    (18.0, "pinkish red", "wine red", "pink", 40.0, 55.0),
    (34.0, "red", "red", "pink", None, 55.0),
    (48.0, "reddish orange", "reddish brown", "salmon pink", 56.0, 66.0),
    (76.0, "orange", "brown", "orange", 60.0, None),
    (92.0, "golden yellow", "brown", "golden yellow", 60.0, None),
    (108.0, "yellow", "olive", "yellow", 66.0, None),
    (125.0, "yellowish green", "olive green", "yellowish green", 50.0, None),
    (165.0, "green", "green", "green", None, None),
    (188.0, "bluish green", "bluish green", "bluish green", None, None),
    (232.0, "turquoise", "greenish blue", "turquoise", 45.0, None),
    (293.0, "blue", "blue", "blue", None, None),
    (318.0, "violet", "violet", "lilac", None, 66.0),
    (340.0, "purple", "purple", "mauve", None, 66.0),
    (360.0, "purplish pink", "reddish purple", "pink", 52.0, 66.0),
]


def _said(L, C, hue):
    a = np.radians(hue)
    return colour_words([L, C * np.cos(a), C * np.sin(a)])


def _seen_at(limit, C, L=100.0):
    """Where a limit lies in CIELAB: blues bend by 22 degrees at a chroma of 130, or at the strength
    of a screen's blue, most at 300."""
    def off(hue):
        bend = max(0.0, 1.0 - abs(hue - 300.0) / 30.0)
        return hue - 22.0 * min(max(C / 130.0, C / (L + 16.0) / 2.77), 1.0) * bend - limit

    return brentq(off, limit - 1.0, limit + 25.0)


@pytest.mark.parametrize(("L", "which", "light"), [(61.0, 1, ""), (30.0, 2, "deep "),
                                                   (75.0, 3, "light ")])  # fmt: skip
def test_hues_change_their_names_at_their_limits(L, which, light):
    names = [row[which] for row in HUES]
    if L == 61.0:
        names[0], names[1], names[5] = "pink", "pink", "olive"
    for k, (limit, *_) in enumerate(HUES):
        at = _seen_at(limit, 38.0, L)
        if names[k] == "red":  # a strong one for its lightness goes on towards orange
            at += 16.0 * max(38.0 / (L + 16.0) - 0.8, 0.0)
        assert _said(L, 38.0, at - 0.2) == light + names[k]
        assert _said(L, 38.0, at + 0.2) == light + names[(k + 1) % len(HUES)]


@pytest.mark.parametrize("C", [60.0, 130.0, 145.0])
def test_strong_blues_are_blue_for_longer(C):
    at = _seen_at(293.0, C)
    assert at > 293.0 + 5.0
    assert "blue" in _said(40.0, C, at - 0.2) and "violet" in _said(40.0, C, at + 0.2)


def test_blues_that_people_call_blue_are_blue_however_dark():
    """The survey of data/colournames.csv: screen blue dimmed to dark blue, navy, night blue."""
    text = (files("weavecolor") / "data" / "colournames.csv").read_text()
    names = [line.partition(",")[0] for line in text.splitlines() if ",#" in line]
    other = re.compile("purpl|violet|indigo|green|foam|egg|periwinkle")
    blues = [n for n in names if n.endswith("blue") and not other.search(n)]
    violets = [n for n in names if n.endswith(("purple", "violet")) and "blue" not in n]
    assert len(blues) > 80 and len(violets) > 40
    said = {n: colour_words(wish_from(f"target {n}").target) for n in (*blues, *violets, "navy")}
    assert {n: w for n, w in said.items() if n not in violets
            and not re.search("blue|turquoise", w)} == {}  # fmt: skip
    assert {n: w for n, w in said.items() if n in violets and "blue" in w} == {}


@pytest.mark.parametrize("row", HUES, ids=[row[1] for row in HUES])
def test_names_change_with_lightness_at_their_limits(row):
    upper, middle, dark, light, below, above = row
    lower = max([h[0] for h in HUES if h[0] < upper], default=0.0)
    hue = _seen_at(0.5 * (lower + upper), 38.0)

    def name(L):
        words = _said(L, 38.0, hue)
        for first in ("deep ", "light ", "pale "):
            words = words.removeprefix(first)
        return words

    if below is None:
        assert name(44.0) == name(46.0) == name(54.5) == dark == middle
    else:
        assert (name(below - 0.1), name(below + 0.1)) == (dark, middle)
        assert _said(below - 2.1, 45.0, hue).endswith(dark)  # 0.4 lower by each step above 40
        assert not _said(below - 1.9, 45.0, hue).endswith(dark)
    if above is None:
        assert name(64.9 if below == 60.0 else 67.5) == name(68.5) == name(90.0) == light == middle
    else:
        assert (name(above - 0.1), name(above)) == (middle, light)


def test_what_is_brighter_than_white_shines():
    """L* of a perfect reflecting diffuser is 100 by definition (CIE 15)."""
    assert colour_words([154.0, -0.4, 10.9]) == "pale cream, shining"
    assert colour_words([110.5, 0.0, 0.0]) == "white, shining"
    assert colour_words([109.5, 0.0, 0.0]) == "white"


def test_magenta_is_strong_purple():
    hue = _seen_at(329.0, 45.0)
    assert _said(55.0, 44.9, hue) == "purple" and _said(55.0, 45.1, hue) == "magenta"


@pytest.mark.parametrize(
    ("limit", "darker", "lighter"),
    [(22.0, "very dark", "dark"), (42.0, "dark", ""), (66.0, "", "light"), (80.0, "light", "pale")],
)
def test_lightness_words_change_at_their_limits(limit, darker, lighter):
    for chroma, name, none in ((20.0, "green", ""), (0.0, "grey", "mid")):
        for L, word in ((limit - 0.01, darker), (limit, lighter)):
            assert _said(L, chroma, 145.0) == f"{word or none} {name}".strip()
    assert _said(100.0, 20.0, 145.0) == "pale green"


def test_words_of_strength_change_at_their_limits():
    # of dark ones deep, of light ones bright, of the strongest vivid
    assert _said(30.0, 31.9, 145.0) == "dark green" and _said(30.0, 32.0, 145.0) == "deep green"
    for L, weak in ((70.0, "light"), (85.0, "pale")):
        assert _said(L, 44.9, 145.0) == f"{weak} green"
        assert _said(L, 45.0, 145.0) == "bright green"
    for L, weak in ((55.0, ""), (70.0, "bright"), (85.0, "bright")):
        assert _said(L, 74.9, 145.0) == f"{weak} green".strip()
        assert _said(L, 75.0, 145.0) == "vivid green"
    assert _said(30.0, 90.0, 145.0) == "deep green" and _said(20.0, 90.0, 145.0).startswith("very")
    # greyish below 13, near black below 4 and a quarter of the lightness
    assert _said(55.0, 12.9, 145.0) == "greyish green" and _said(55.0, 13.0, 145.0) == "green"
    assert _said(24.0, 9.9, 145.0) == "dark greyish green"
    assert _said(24.0, 10.0, 145.0) == "dark green"
    # a tint of grey from 2.5 to 6
    assert _said(55.0, 2.4, 145.0) == "mid grey" and _said(55.0, 2.5, 145.0) == "mid greenish grey"
    assert _said(55.0, 5.9, 145.0) == "mid greenish grey"
    assert _said(55.0, 6.0, 145.0) == "greyish green"


def test_weak_reds_are_dusty_and_weak_yellows_cream_or_beige():
    for hue in (10.0, 30.0):
        assert _said(50.0, 31.9, hue) == "dusty red"
        assert "dusty" not in _said(50.0, 32.0, hue)
        assert "dusty" not in _said(33.0, 29.5, hue)  # strong for its lightness: 29.5 / 49 is .6
        assert _said(50.0, 12.9, hue) == "greyish red" and _said(50.0, 13.0, hue) == "dusty red"
        assert _said(60.0, 12.9, hue) == "greyish pink"
        assert _said(51.9, 20.0, hue) == "dusty red" and _said(52.0, 20.0, hue) == "dusty pink"
        assert _said(30.0, 20.0, hue) == ("dark wine red" if hue < 18.0 else "dark dusty red")
    for hue in (74.0, 85.0, 100.0):
        assert _said(83.9, 31.9, hue) == "beige" and _said(84.0, 31.9, hue) == "cream"
        assert _said(70.0, 12.9, hue) == "greyish beige" and _said(70.0, 13.0, hue) == "beige"
        assert _said(90.0, 12.9, hue) == "greyish cream"
        assert _said(70.0, 32.0, hue).startswith("light ")
        darkest = 66.0 if hue > 92.0 else 60.0  # where it is no more brown or olive
        assert _said(darkest - 0.1, 20.0, hue) in ("brown", "olive")
        assert _said(darkest, 20.0, hue) == "beige"


@pytest.mark.parametrize(
    ("screen", "said"),
    [
        ("ffdab9", "pale peach"),  # "peachpuff" of CSS Color Module Level 4
        ("ffe4c4", "cream"), ("ffdead", "cream"), ("d2b48c", "beige"),  # its bisque, tan, ...
        ("e9967a", "light salmon pink"), ("f4a460", "bright orange"),  # darksalmon, sandybrown
        # everyday usage: common practice, no source
        ("f0b299", "peach"), ("f7c5ac", "peach"), ("ffcba4", "pale peach"),
    ],
)  # fmt: skip
def test_weak_oranges_by_red_are_peach_where_they_are_light(screen, said):
    srgb = [int(screen[i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
    assert colour_words(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(srgb), [0.3127, 0.3290])) == said


def test_peach_ends_at_its_limits():
    assert _said(83.9, 20.0, 60.0) == "peach" and _said(84.0, 20.0, 60.0) == "pale peach"
    assert _said(73.9, 20.0, 60.0) == "beige" and _said(80.0, 15.9, 60.0) == "beige"
    assert _said(80.0, 20.0, 72.9) == "peach" and _said(80.0, 20.0, 73.1) == "beige"
    assert _said(80.0, 31.9, 60.0) == "peach" and _said(79.0, 32.0, 60.0) == "light orange"
    assert _said(79.0, 20.0, 48.1) == "peach" and _said(79.0, 20.0, 47.9) == "light pink"


#: ISCC-NBS names and the sRGB of their centroids, of reds, reddish oranges and browns, and pinks
#: (K. L. Kelly, Central notations for the revised ISCC-NBS color-name blocks, J. Res. NBS 61 (1958)
#: 427, from memory; the screen colours as color-name-lists 3.33.2, MIT licence, gives them).
ISCC = {
    "vivid red": "be0032", "strong red": "bc3f4a", "deep red": "841b2d", "moderate red": "ab4e52",
    "dark red": "722f37", "greyish red": "905d5d", "vivid reddish orange": "e25822",
    "strong reddish orange": "d9603b", "moderate reddish orange": "cb6d51",
    "strong reddish brown": "882d17", "moderate reddish brown": "79443b",
    "light reddish brown": "a87c6d", "greyish reddish brown": "674c47", "deep pink": "e4717a",
    "strong pink": "ea9399", "moderate pink": "dea5a4", "dark pink": "c08081",
    "strong yellowish pink": "f99379", "vivid yellowish pink": "ffb7a5",
    "dark yellowish pink": "c48379",
}  # fmt: skip


@pytest.mark.parametrize("name", ISCC)
def test_reds_browns_and_pinks_are_named_as_a_standard_names_them(name):
    """The last word of the name at its centroid (and before it "reddish", where it has that)."""
    srgb = [int(ISCC[name][i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
    Lab = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(srgb), [0.3127, 0.3290])
    said = colour_words(Lab)
    assert said.split()[-1] == name.split()[-1]
    if name.split()[-1] in ("brown", "orange"):
        assert "reddish" in said


@pytest.mark.parametrize(
    ("screen", "said"),
    [("a9684f", "reddish brown"), ("b5523c", "reddish brown"), ("ff0000", "vivid red"),
     ("8b0000", "deep red"), ("800000", "deep red"), ("9a222a", "deep red"),
     ("e97d76", "pink"), ("ff7f50", "bright reddish orange"), ("703c2b", "dark reddish brown"),
     ("c27e79", "dusty pink"), ("7d6768", "greyish red"), ("bd9d8b", "beige"),
     ("e8af9e", "light pink"), ("846b73", "greyish reddish purple"), ("c79d9a", "light dusty pink"),
     ("3c0008", "very dark red, almost black")],
)  # fmt: skip
def test_brick_is_no_red_and_dark_red_no_brown(screen, said):
    """Everyday usage: common practice, no source."""
    srgb = [int(screen[i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
    assert colour_words(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(srgb), [0.3127, 0.3290])) == said


def test_a_dusty_red_near_black_is_almost_black():
    assert _said(15.9, 12.0, 25.0) == "very dark dusty red, almost black"
    assert _said(16.1, 12.0, 25.0) == "very dark dusty red"


def test_what_is_black_and_what_almost():
    assert _said(9.9, 1.0, 145.0) == "black" and _said(10.0, 1.0, 145.0).endswith("almost black")
    assert _said(9.9, 5.0, 145.0) == "greenish black"
    assert _said(9.9, 12.9, 145.0) == "greenish black"
    assert _said(9.9, 13.0, 145.0) == "very dark green, almost black"
    assert _said(10.0, 12.0, 145.0) == "very dark green, almost black"
    assert _said(15.9, 1.0, 0.0) == "very dark grey, almost black"
    assert _said(16.0, 1.0, 0.0) == "very dark grey"
    assert _said(15.9, 39.9, 145.0) == "very dark green, almost black"
    assert _said(15.9, 40.0, 145.0) == _said(16.0, 39.9, 145.0) == "very dark green"
    assert _said(-3.0, 1.0, 0.0) == "black" and _said(104.0, 1.0, 0.0) == "white"
    assert _said(109.9, 20.0, 145.0) == "pale green"
    assert _said(-20.0, 20.0, 145.0) == "very dark green, almost black"
    assert _said(85.2, 1.0, 0.0) == "pale grey" and _said(85.3, 1.0, 0.0) == "white"


# --- differences in words ---------------------------------------------------------------------


def _turned(C, hue, L=50.0):
    return [L, C * np.cos(np.radians(hue)), C * np.sin(np.radians(hue))]


@pytest.mark.parametrize("C", [20.0, 40.0])
@pytest.mark.parametrize(
    ("size", "before", "after"),
    [(0.5, "no difference to speak of", "slightly bluer"), (2.0, "slightly bluer", "bluer"),
     (12.0, "bluer", "much bluer")],
)  # fmt: skip
def test_a_turn_of_hue_counts_as_ciede2000_weighs_it(C, size, before, after):
    """2 sqrt(C1 C2) sin(dh / 2) over 1 + 0.015 C (CIE 142-2001, T left at 1)."""
    turn = 2.0 * np.degrees(np.arcsin(size * (1.0 + 0.015 * C) / (2.0 * C)))
    for share, words in ((0.99, before), (1.01, after)):
        assert difference_words(_turned(C, 200.0), _turned(C, 200.0 + share * turn)) == words
        # of two strengths: their geometric mean
        first, second = _turned(0.8 * C, 200.0), _turned(C / 0.8, 200.0 + share * turn)
        mean = 0.5 * (0.8 + 1.25) * C
        own = size * share * (1.0 + 0.015 * C) / (1.0 + 0.015 * mean)
        told = {(k >= 0.5) + (k >= 2.0) + (k >= 12.0) for k in (own * 0.999, own * 1.001)}
        names = ["", "slightly bluer", "bluer", "much bluer"]
        assert difference_words(first, second).count("bluer") == (max(told) > 0)
        assert any(names[k] in difference_words(first, second).split(", ") or not k for k in told)


@pytest.mark.parametrize(
    ("size", "before", "after"),
    [(0.5, "no difference to speak of", "slightly {}"), (2.0, "slightly {}", "{}"),
     (12.0, "{}", "much {}")],
)  # fmt: skip
def test_lightness_strength_and_axes_count_by_their_weights(size, before, after):
    for share, words in ((0.99, before), (1.01, after)):
        step = size * share
        assert difference_words([50.0, 0, 0], [50.0 + step, 0, 0]) == words.format("lighter")
        assert difference_words([50.0, 0, 0], [50.0 - step, 0, 0]) == words.format("darker")
        # chroma from 30: (C2 - 30) / (1 + 0.045 (30 + C2) / 2)
        C2 = brentq(lambda C, step=step: (C - 30.0) / (1 + 0.0225 * (30.0 + C)) - step, 30.0, 300.0)
        assert difference_words(_turned(30.0, 40.0), _turned(C2, 40.0)) == words.format(
            "stronger in colour"
        )
        assert difference_words(_turned(C2, 40.0), _turned(30.0, 40.0)) == words.format(
            "weaker in colour"
        )
        # from grey along an axis: a / (1 + 0.045 a / 2)
        a = brentq(lambda a, step=step: a / (1 + 0.0225 * a) - step, 0.0, 300.0)
        for axis, name in (((a, 0), "redder"), ((0, a), "yellower"), ((-a, 0), "greener"),
                           ((0, -a), "bluer")):  # fmt: skip
            assert difference_words([50, 0, 0], [50, *axis]) == words.format(name)


def test_near_grey_and_beyond_a_right_angle_axes_tell_it():
    # from a chroma of 4 on a turn is a turn: of 60 degrees about 45, red that goes yellow
    assert difference_words(_turned(3.9, 10.0), _turned(8.0, 10.0)).startswith("redder")
    assert "stronger" in difference_words(_turned(4.1, 10.0), _turned(8.0, 10.0))
    assert difference_words(_turned(20.0, 10.0), _turned(20.0, 99.0)) == "much yellower"
    turned = difference_words(_turned(20.0, 10.0), _turned(20.0, 101.0))
    assert turned == "much greener, yellower"
    # what fades to grey is less of itself; what crosses over is more of the other
    assert difference_words([50, 8, 0], [50, 0, 0]) == "less red"
    assert difference_words([50, -8, 0], [50, 0, 0]) == "less green"
    assert difference_words([50, 0, 8], [50, 0, 0]) == "less yellow"
    assert difference_words([50, 0, -8], [50, 0, 0]) == "less blue"
    assert difference_words([50, 8, 0], [50, -0.9, 0]) == "less red"  # a hair beyond is still grey
    assert difference_words([50, 8, 0], [50, -1.1, 0]) == "greener"
    assert difference_words([50, -3, 0], [50, 8, 0]) == "redder"


# --- the screen -------------------------------------------------------------------------------


@pytest.mark.parametrize("screen", ["sRGB", "Display P3"])
def test_greys_stay_grey_in_oklab(screen):
    to_lms, to_linear, lms_lab, lab_lms = _oklab(screen)
    assert to_lms @ np.ones(3) == pytest.approx(1.0, abs=1e-14)
    assert to_lms @ to_linear == pytest.approx(np.eye(3), abs=1e-12)
    assert lms_lab @ lab_lms == pytest.approx(np.eye(3), abs=1e-6)
    assert lab_lms[:, 0].tolist() == [1.0, 1.0, 1.0]


@pytest.mark.parametrize("screen", ["sRGB", "Display P3"])
def test_of_darker_and_darker_the_nearest_is_shown(screen):
    """By CIEDE2000 from what was wanted, one after another."""
    rng = np.random.default_rng(8)
    linear = rng.uniform(-0.2, 1.6, (60, 3))
    linear = linear[~in_gamut(linear)]
    to_lms, to_linear, lms_lab, lab_lms = _oklab(screen)
    own = space(screen)
    shown = _nearest(linear, screen)
    assert _DARKER.max() == 1.0

    def lab(x):
        return lab_from_xyz(100.0 * x @ own.to_xyz.T, own.white)

    chosen = []
    for want, got in zip(linear, shown, strict=True):
        base = np.cbrt(to_lms @ want) @ lms_lab.T
        tried = np.stack([(lab_lms @ (base * [k, 1.0, 1.0])) ** 3 for k in _DARKER])
        tried = fit_to_gamut(tried @ to_linear.T, screen)
        far = ciede2000(np.broadcast_to(lab(want), tried.shape), lab(tried))
        assert float(ciede2000(lab(want), lab(got))) == pytest.approx(min(far), abs=2e-5)
        chosen.append(int(np.argmin(far)))
    assert len(set(chosen)) > 3


# --- the profile ------------------------------------------------------------------------------


def _tags(profile: bytes) -> dict[bytes, bytes]:
    """By ICC.1:2022, 7.3: count, then signature, offset and size of each."""
    (count,) = struct.unpack(">I", profile[128:132])
    rows = [struct.unpack(">4sII", profile[132 + 12 * k :][:12]) for k in range(count)]
    assert len({name for name, _, _ in rows}) == count
    for _, start, _ in rows:
        assert start % 4 == 0 and start >= 132 + 12 * count
    return {name: profile[start : start + size] for name, start, size in rows}


def _numbers(tag: bytes, skip: int = 8) -> np.ndarray:
    return np.frombuffer(tag[skip:], ">i4") / 65536.0


@pytest.mark.parametrize("name", ["sRGB", "Display P3"])
def test_a_profile_by_the_layout_of_its_standard(name):
    profile = icc_profile(name)
    size, _, version, kind, space_, pcs = struct.unpack(">I4sI4s4s4s", profile[:24])
    assert size == len(profile) and size % 4 == 0 and version >> 24 == 4
    assert (kind, space_, pcs) == (b"mntr", b"RGB ", b"XYZ ")
    year, month, day, *rest = struct.unpack(">6H", profile[24:36])
    assert 2000 < year < 2100 and 1 <= month <= 12 and 1 <= day <= 31 and rest == [0, 0, 0]
    assert profile[36:40] == b"acsp" and set(profile[40:68]) == {0}
    d50 = np.array([0.9642, 1.0, 0.8249])  # ICC.1, 7.2.16
    assert np.frombuffer(profile[68:80], ">i4") / 65536.0 == pytest.approx(d50, abs=1e-5)
    assert set(profile[80:128]) == {0}

    tags = _tags(profile)
    assert _numbers(tags[b"wtpt"]) == pytest.approx(d50, abs=1e-5)
    for key, kind in ((b"wtpt", b"XYZ "), (b"rXYZ", b"XYZ "), (b"chad", b"sf32"),
                      (b"rTRC", b"para"), (b"desc", b"mluc"), (b"cprt", b"mluc")):  # fmt: skip
        assert tags[key][:4] == kind and tags[key][4:8] == bytes(4)
    # parametric curve, function 3: g a b c d of IEC 61966-2-1
    assert tags[b"rTRC"] == tags[b"gTRC"] == tags[b"bTRC"]
    assert struct.unpack(">HH", tags[b"rTRC"][8:12]) == (3, 0)
    curve = _numbers(tags[b"rTRC"], 12)
    wanted = [2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045]
    assert curve == pytest.approx(wanted, abs=1e-5)
    # primaries add up to the white, and chad carries D65 (0.9505, 1, 1.0891) to it
    primaries = np.stack([_numbers(tags[k]) for k in (b"rXYZ", b"gXYZ", b"bXYZ")])
    assert primaries.sum(0) == pytest.approx(d50, abs=2e-4)
    chad = _numbers(tags[b"chad"]).reshape(3, 3)
    assert chad @ [0.9505, 1.0, 1.0891] == pytest.approx(d50, abs=2e-4)
    # by the published profiles of sRGB and Display P3, luminance of red
    assert primaries[0, 1] == pytest.approx({"sRGB": 0.2225, "Display P3": 0.2412}[name], abs=5e-4)
    # mluc: one record of 12 bytes, English, its text where it says
    for key, text in ((b"desc", name), (b"cprt", None)):
        count, length, language, land, long, start = struct.unpack(">II2s2sII", tags[key][8:28])
        assert (count, length, language, land, start) == (1, 12, b"en", b"US", 28)
        said = tags[key][start : start + long].decode("utf-16-be")
        assert len(tags[key]) == start + long and (text is None or said == text)
        assert said.isprintable() and said
