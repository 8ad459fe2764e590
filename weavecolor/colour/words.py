"""A colour, and a change of colour, in plain words.

Knows Lab and everyday English; computes no colours. The scheme is this tool's own: a hue word by
CIELAB hue angle (brown, olive, pink and the like by lightness), a lightness word and a strength
word, each by fixed limits, so that the same Lab always gives the same words and a darker colour
never gets a lighter word. Where reds end, and below which strength they are dusty, is settled by
the centroids of the ISCC-NBS names (K. L. Kelly, J. Res. NBS 61 (1958) 427, from memory) as screen
colours: moderate red has L* 45, dark pink 59, deep pink 62.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from weavecolor.errors import InputError

#: White begins at Munsell value 8.5 (K. L. Kelly, D. B. Judd, Color, NBS Special Publication 440,
#: 1976; from memory), L* by ASTM D1535.
BLACK_BELOW, WHITE_ABOVE = 10.0, 85.3
#: Matt white that sends all light back has L* 100; a quarter more light than that mirrors a lamp.
SHINES_ABOVE = 110.0
NEUTRAL_BELOW, TINTED_BELOW, GREYISH_BELOW, VIVID_FROM = 2.5, 6.0, 13.0, 75.0
DUSTY_BELOW, DUSTY_SHARE = 32.0, 0.6
DUSTY_PINK_BELOW = 70.0
#: Light reds below this are pink and salmon pink; stronger ones coral or tomato (common practice,
#: no source).
PINK_BELOW = 60.0
#: Red goes further towards orange, by so many degrees, the stronger it is for its lightness, C / (L
#: + 16), beyond the second: pure red of a screen is red at 40 degrees, as are dark red and maroon
#: (common practice, no source).
RED_TO_ORANGE, RED_FROM = 16.0, 0.8

#: C / (L + 16) of the pure blue of a screen, which keeps its hue as it is dimmed to navy and stays
#: blue (so do the blues of data/colournames.csv).
PURE_BLUE = 2.77

#: Weak light oranges nearest to red are peach (CSS Color Module Level 4 has "peachpuff" at 69
#: degrees, a chroma of 22 and L* 89, "tan" and "bisque" from 77; the limits common practice, no
#: source).
PEACH_UPPER, PEACH_FROM, PEACH_LIGHT_FROM = 73.0, 16.0, 74.0

#: Weak light colours are cream up to here: CSS Color Module Level 4 has "beige" at 109 degrees and
#: "ivory" at 110, the names of data/colournames.csv "ivory" at 108, "off white" at 109; from
#: PALE_CREAM_FROM on they are not called greyish (common practice, no source).
CREAM_UPPER, CREAM_FROM, PALE_CREAM_FROM = 111.0, 84.0, 92.0

#: Lightness words from dark to light: upper limit of L* for each.
LIGHTNESS = ((22.0, "very dark"), (42.0, "dark"), (66.0, ""), (80.0, "light"), (101.0, "pale"))


@dataclass(frozen=True)
class _Hue:
    """A sector of hue up to ``upper`` degrees: its names when dark, middling and light."""

    upper: float
    dark: str
    middle: str
    light: str
    tint: str
    dark_below: float = 45.0
    light_from: float = 68.0


_HUES: tuple[_Hue, ...] = (
    _Hue(18.0, "wine red", "pinkish red", "pink", "pinkish", 40.0, 55.0),
    _Hue(34.0, "red", "red", "pink", "reddish", light_from=55.0),
    _Hue(48.0, "reddish brown", "reddish orange", "salmon pink", "reddish", 56.0, 66.0),
    _Hue(76.0, "brown", "orange", "orange", "brownish", 60.0),
    _Hue(92.0, "brown", "golden yellow", "golden yellow", "yellowish", 60.0),
    _Hue(108.0, "olive", "yellow", "yellow", "yellowish", 66.0),
    _Hue(125.0, "olive green", "yellowish green", "yellowish green", "greenish", 50.0),
    _Hue(165.0, "green", "green", "green", "greenish"),
    _Hue(188.0, "bluish green", "bluish green", "bluish green", "greenish"),
    _Hue(232.0, "greenish blue", "turquoise", "turquoise", "bluish"),
    _Hue(293.0, "blue", "blue", "blue", "bluish"),
    _Hue(318.0, "violet", "violet", "lilac", "purplish", light_from=66.0),
    _Hue(340.0, "purple", "magenta", "mauve", "purplish", 50.0, 66.0),
    _Hue(360.0, "reddish purple", "purplish pink", "pink", "pinkish", 52.0, 66.0),
)


_RED = next(hue for hue in _HUES if hue.middle == "red")


def colour_words(Lab: ArrayLike) -> str:
    """Plain words for one colour, such as "deep red" or "very dark brown, almost black".

    ``Lab``: three numbers relative to D65. Raises InputError where they are not finite.

    Examples
    --------
    >>> colour_words([30.0, 50.0, 25.0])
    'deep red'
    """
    L, a, b = _checked(Lab)
    C = float(np.hypot(a, b))
    if L > SHINES_ABOVE:
        return f"{colour_words([100.0, a, b])}, shining"
    L = min(max(L, 0.0), 100.0)
    strong = C / (L + 16.0)
    hue = _hue(a, b, C, strong)
    if C < TINTED_BELOW:
        return _neutral(L, "" if C < NEUTRAL_BELOW else hue.tint)
    if L < BLACK_BELOW and C < GREYISH_BELOW:
        return f"{hue.tint} black"
    reds = ("red", "reddish orange")
    # Strong colours keep their bright name further down: a strong orange turns brown later.
    dark_below = hue.dark_below - 0.4 * max(C - 40.0, 0.0)
    name = hue.dark if L < dark_below else hue.light if L >= hue.light_from else hue.middle
    if C >= PINK_BELOW and hue.light_from <= L < 80.0 and hue.middle in reds:
        name = hue.middle
    if C < 45.0 and name == "magenta":
        name = "purple"
    creamy = name in ("orange", "golden yellow", "yellow") or (
        L >= CREAM_FROM and 90.0 < _angle(a, b) < CREAM_UPPER
    )
    if C < 32.0 and creamy:
        if C >= PEACH_FROM and L >= PEACH_LIGHT_FROM and _angle(a, b) < PEACH_UPPER:
            return "pale peach" if L >= CREAM_FROM else "peach"
        name = "cream" if L >= CREAM_FROM else "beige"
        if C >= GREYISH_BELOW:
            return name
        return "pale cream" if L >= PALE_CREAM_FROM else f"greyish {name}"
    reddish = name in (*reds, "pinkish red") or (
        hue.middle in (*reds, "pinkish red") and hue.light_from <= L < DUSTY_PINK_BELOW
    )
    if dusty := reddish and C < DUSTY_BELOW and strong < DUSTY_SHARE:
        name = "pink" if L >= 52.0 else "red"  # a weak red is no red to anyone
    if name == "salmon pink" and C < DUSTY_BELOW:
        name = "pink"
    # Near black, less chroma makes a colour: the limit falls with lightness.
    greyish = C < min(GREYISH_BELOW, 4.0 + 0.25 * L)
    weak = "greyish" if greyish else "dusty" if dusty else ""
    words = " ".join(word for word in (_lightness(L, C), weak, name) if word)
    return f"{words}, almost black" if L < 16.0 and C < 40.0 else words


def _lightness(L: float, C: float) -> str:
    """Lightness word; strong colours are called deep, not dark, and vivid where brightest."""
    word = next(word for upper, word in LIGHTNESS if L < upper)
    if word == "dark" and C >= 32.0:
        word = "deep"
    if C >= VIVID_FROM and word in ("", "light", "pale"):
        return "vivid"
    # A yellow is light by nature: it is pale only when it is weak as well.
    if word in ("light", "pale") and C >= 45.0:
        return "bright"
    return word


def _neutral(L: float, tint: str) -> str:
    if L >= WHITE_ABOVE:  # where a weak red or orange is called pinkish, there too
        return f"{'pinkish' if tint in ('reddish', 'brownish') else tint} white".strip()
    if L < BLACK_BELOW:
        return f"{tint} black".strip()
    word = next(word for upper, word in LIGHTNESS if L < upper) or "mid"
    words = " ".join(part for part in (word, tint, "grey") if part)
    return f"{words}, almost black" if L < 16.0 else words


def _angle(a: float, b: float) -> float:
    return float(np.degrees(np.arctan2(b, a))) % 360.0


def _hue(a: float, b: float, C: float, strong: float) -> _Hue:
    angle = _angle(a, b)
    # Blues of one hue bend towards violet in CIELAB as they get stronger, dark ones at less chroma;
    # straightened here.
    bend = max(0.0, 1.0 - abs(angle - 300.0) / 30.0)
    angle = (angle - 22.0 * min(max(C / 130.0, strong / PURE_BLUE), 1.0) * bend) % 360.0
    found = next(hue for hue in _HUES if angle < hue.upper)
    further = RED_TO_ORANGE * max(strong - RED_FROM, 0.0)
    return _RED if found.middle == "reddish orange" and angle < _RED.upper + further else found


#: CIELAB axes in order of hue angle, as comparatives.
_COMPARATIVE = {"red": "redder", "yellow": "yellower", "green": "greener", "blue": "bluer"}
_AXES = tuple(_COMPARATIVE.values())
#: A hue so near an axis grows no more of it by turning.
_AXIS_DEG = 22.5


def difference_words(Lab1: ArrayLike, Lab2: ArrayLike) -> str:
    """How the second colour differs from the first: "darker, slightly redder, stronger in colour".

    Largest part first; parts under 0.5 (weighted as in CIEDE2000 for chroma and hue) are left
    out. Hue is told by the axis it turns towards, as seen from the middle of the turn: a red grows
    yellower or bluer, an orange yellower or redder (common practice, no source, as is where a red
    ends); near grey, and between colours of opposite hue, by the direction of the change.

    Examples
    --------
    >>> difference_words([50.0, 0.0, 0.0], [40.0, 0.0, 0.0])
    'darker'
    """
    (L1, a1, b1), (L2, a2, b2) = _checked(Lab1), _checked(Lab2)
    C1, C2 = np.hypot(a1, b1), np.hypot(a2, b2)
    mean = 0.5 * (C1 + C2)
    parts = [(L2 - L1, "lighter", "darker")]
    turn = np.arctan2(a1 * b2 - b1 * a2, a1 * a2 + b1 * b2)
    if min(C1, C2) < 4.0 or abs(turn) > np.pi / 2.0:
        scale = 1.0 + 0.045 * mean
        parts.append(((a2 - a1) / scale, *_either_way(a1, a2, "red", "green")))
        parts.append(((b2 - b1) / scale, *_either_way(b1, b2, "yellow", "blue")))
    else:
        parts.append(((C2 - C1) / (1 + 0.045 * mean), "stronger in colour", "weaker in colour"))
        size = 2.0 * np.sqrt(C1 * C2) * np.sin(turn / 2.0) / (1 + 0.015 * mean)
        middle = np.degrees(np.arctan2(b1, a1) + turn / 2.0) % 360.0
        onward = _AXES[int((middle + _AXIS_DEG) // 90.0 + 1) % 4]
        back = _AXES[int(np.ceil((middle - _AXIS_DEG) / 90.0) - 1) % 4]
        parts.append((float(size), onward, back))
    told = sorted((p for p in parts if abs(p[0]) >= 0.5), key=lambda p: -abs(p[0]))
    if not told:
        return "no difference to speak of"
    return ", ".join(_degree(abs(size)) + (up if size > 0 else down) for size, up, down in told)


def _either_way(first: float, second: float, plus: str, minus: str) -> tuple[str, str]:
    """What more and what less of an axis is called: a pink that fades to grey is not greener."""
    fades = abs(second) < abs(first) and first * second > -abs(first)
    less = f"less {plus if first > 0.0 else minus}"
    up = less if fades and first < 0.0 else _COMPARATIVE[plus]
    return up, less if fades and first > 0.0 else _COMPARATIVE[minus]


def _degree(size: float) -> str:
    return "slightly " if size < 2.0 else "much " if size >= 12.0 else ""


def _checked(Lab: ArrayLike) -> tuple[float, float, float]:
    values = np.asarray(Lab, dtype=np.float64)
    if values.shape != (3,) or not np.isfinite(values).all():
        raise InputError("a Lab colour is three numbers: L*, a*, b*")
    return float(values[0]), float(values[1]), float(values[2])
