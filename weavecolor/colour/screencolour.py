"""Screen colours as written: ``#rrggbb``, ``rrggbb`` or a name. Knows notation and names only.

A name means what people call so (data/colournames.csv, a survey); one that is not there, what CSS
Color Module Level 4 has under it. Where both have it they differ, by L* 7.5 in the middle of 95:
brown is a deep red in CSS, plum a light mauve, and darkgrey lighter than grey. A screen's white is
lighter than any cloth, and so are its ivory and cream: by name they are as light as white lining.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType

from weavecolor.errors import InputError, shown

#: How far the L* of a cloth may lie from its name's, nine times in ten: of 95 names nine in ten
#: differ by less than 26.4 between the two lists, of which each has its part.
NAMED_OFF = 19.0
#: Y of white lining (data/backings.csv), which no cloth called by a name exceeds.
WHITE_CLOTH = 0.865


def screen_rgb(text: str) -> tuple[float, float, float]:
    """Three values 0-1 of a screen colour.

    Parameters
    ----------
    text : str
        ``"#b01020"``, ``"#b12"``, either without the ``#``, or a name, such as
        ``"midnightblue"``, ``"midnight blue"`` or ``"dusty rose"``.

    Raises
    ------
    InputError
        For anything else.

    Examples
    --------
    >>> screen_rgb("#ff0033"), screen_rgb("ff0033"), screen_rgb("Navy")
    ((1.0, 0.0, 0.2), (1.0, 0.0, 0.2), (0.00392156862745098, 0.08235294117647059, \
0.24313725490196078))
    """
    found = _digits(text)
    if found is None:
        named = _names()
        near = get_close_matches(_tidy(text)[:40], named, 1, 0.75)
        meant = f" (did you mean {named[near[0]][0]}?)" if near else ""
        raise InputError(
            f"{shown(text, 42)} is not a screen colour or the name of one{meant}; hold the cloth "
            'beside the screen and write the colour as "#b01020", or by a common name, such as '
            '"navy" or "dusty rose"'
        )
    red, green, blue = (int(found[i : i + 2], 16) / 255.0 for i in (0, 2, 4))
    if is_colour_name(text):
        from weavecolor.colour.screen import decoded, encoded, space  # only for names

        light = decoded([red, green, blue])
        share = min(1.0, WHITE_CLOTH / max(float(space().to_xyz[1] @ light), 1e-9))
        if share < 1.0:
            red, green, blue = encoded(share * light).tolist()
    return red, green, blue


def screen_code(values: Iterable[float]) -> str:
    """ "#rrggbb" of three screen values 0-1.

    Examples
    --------
    >>> screen_code(screen_rgb("navy"))
    '#01153e'
    """
    return "#" + "".join(f"{round(255.0 * float(value)):02x}" for value in values)


def is_screen_colour(text: str) -> bool:
    """Whether :func:`screen_rgb` reads ``text``.

    Examples
    --------
    >>> is_screen_colour("a3122a"), is_screen_colour("crimson"), is_screen_colour("calico")
    (True, True, False)
    """
    return _digits(text) is not None


def is_colour_name(text: str) -> bool:
    """Whether ``text`` is a colour's name, which tells it less nearly than a screen colour does.

    Examples
    --------
    >>> is_colour_name("Dusty rose"), is_colour_name("#c0737a")
    (True, False)
    """
    return _tidy(text) in _names()


def moved_name(text: str) -> tuple[str, str] | None:
    """What a colour's name means, and what it did while names were those of CSS: "#rrggbb" each;
    None for what is no name of CSS, or means the same.

    Examples
    --------
    >>> moved_name("Navy"), moved_name("#01153e"), moved_name("rebeccapurple")
    (('#01153e', '#000080'), None, None)
    """
    from PIL.ImageColor import getrgb

    try:
        once = screen_code(value / 255.0 for value in getrgb(_tidy(text))[:3])
    except ValueError:
        return None
    now = screen_code(screen_rgb(text))
    return None if now == once else (now, once)


def _tidy(text: str) -> str:
    return re.sub(r"[\s'\u2019-]", "", str(text)).casefold().replace("gray", "grey")


def _digits(text: str) -> str | None:
    """Six hexadecimal digits, or None."""
    digits = str(text).strip().casefold().removeprefix("#")  # spaces part numbers, not digits
    if re.fullmatch(r"[0-9a-f]{3}", digits):
        return "".join(2 * digit for digit in digits)
    if re.fullmatch(r"[0-9a-f]{6}", digits):
        return digits
    name = _tidy(text)
    return _names()[name][1] if name in _names() else None


@lru_cache(maxsize=1)
def _names() -> Mapping[str, tuple[str, str]]:
    """By tidy name: the name as people write it, and its six digits."""
    from PIL.ImageColor import colormap, getrgb  # loaded only where a name may be meant

    named = {
        _tidy(name): (name, "".join(f"{value:02x}" for value in getrgb(name)[:3]))
        for name in colormap
    }
    text = (files("weavecolor") / "data" / "colournames.csv").read_text(encoding="utf-8")
    for line in text.splitlines():
        name, _, code = line.partition(",#")
        if code:
            named[_tidy(name)] = (name, code)
    return MappingProxyType(named)
