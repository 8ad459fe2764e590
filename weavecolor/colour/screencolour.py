"""Screen colours as written: ``#rrggbb``, ``rrggbb`` or a CSS name. Knows the notation only."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches

from weavecolor.errors import InputError, shown


def screen_rgb(text: str) -> tuple[float, float, float]:
    """Three values 0-1 of a screen colour.

    Parameters
    ----------
    text : str
        ``"#b01020"``, ``"#b12"``, either without the ``#``, or a name of CSS Color Module
        Level 4, such as ``"midnightblue"`` or ``"midnight blue"``.

    Raises
    ------
    InputError
        For anything else.

    Examples
    --------
    >>> screen_rgb("#ff0033"), screen_rgb("ff0033"), screen_rgb("Navy")[2]
    ((1.0, 0.0, 0.2), (1.0, 0.0, 0.2), 0.5019607843137255)
    """
    found = _digits(text)
    if found is None:
        from PIL.ImageColor import colormap

        near = get_close_matches(_tidy(text)[:40], colormap, 1, 0.75)
        meant = f" (did you mean {near[0]}?)" if near else ""
        raise InputError(
            f'{shown(text, 42)} is not a screen colour{meant}; write it as "#b01020" or by its CSS '
            'name, such as "navy"'
        )
    red, green, blue = (int(found[i : i + 2], 16) / 255.0 for i in (0, 2, 4))
    return red, green, blue


def screen_code(values: Iterable[float]) -> str:
    """ "#rrggbb" of three screen values 0-1.

    Examples
    --------
    >>> screen_code(screen_rgb("navy"))
    '#000080'
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


def _tidy(text: str) -> str:
    return "".join(str(text).split()).casefold()


def _digits(text: str) -> str | None:
    """Six hexadecimal digits, or None."""
    digits = str(text).strip().casefold().removeprefix("#")  # spaces part numbers, not digits
    if re.fullmatch(r"[0-9a-f]{3}", digits):
        return "".join(2 * digit for digit in digits)
    if re.fullmatch(r"[0-9a-f]{6}", digits):
        return digits
    from PIL.ImageColor import colormap, getrgb  # the names; loaded only where one may be meant

    tidy = _tidy(text)
    if tidy not in colormap:
        return None
    return "".join(f"{value:02x}" for value in getrgb(tidy)[:3])
