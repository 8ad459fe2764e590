"""A wish from words: "brightest", "most shot", "target #5a4a4a", "target 40 5 -10".

Knows how wishes are written; what they ask for is ``wishes``.
"""

from __future__ import annotations

import numpy as np

from weavecolor.colour.colorimetry import daylight_white, lab_from_xyz
from weavecolor.colour.screen import decoded, space
from weavecolor.colour.screencolour import is_screen_colour, screen_rgb
from weavecolor.colour.spectra import Spectrum
from weavecolor.decide.wishes import ALSO_ASKED, WISHES, Wish
from weavecolor.errors import InputError, shown
from weavecolor.textile.notmodelled import elsewhere


def wish_from(text: str) -> Wish:
    """The wish that ``text`` names, in small letters or large. Raises InputError listing the wishes
    there are.

    A target is a screen colour ("#rrggbb" or a name), taken as sRGB, or three numbers L* a* b*.

    Examples
    --------
    >>> wish_from("deepest").kind, wish_from("target 40 5 -10").target.tolist()
    ('deepest', [40.0, 5.0, -10.0])
    """
    kind, _, rest = text.strip().partition(" ")
    if kind.casefold() != "target":
        words = " ".join(text.casefold().split()).removeprefix("the ")
        words = ALSO_ASKED.get(words, words)
        if words not in WISHES:
            raise InputError(
                f"{words[:40]!r} is no wish; use {', '.join(WISHES)} (a target with its colour: "
                f"target teal){elsewhere(words)}",
                field="wish",
            )
        return Wish(words)
    return Wish("target", _target(rest.strip()))


def _target(text: str) -> Spectrum:
    if is_screen_colour(text):
        rgb = decoded(screen_rgb(text))
        return lab_from_xyz(space("sRGB").to_xyz @ rgb * 100.0, daylight_white("2"))
    parts = text.replace(",", " ").split()
    try:
        values = [float(part) for part in parts]
    except ValueError:
        values = []
    if len(values) != 3:
        raise InputError(
            f'{shown(text, 42)} is no target; write "#rrggbb", a common name of a colour, such as '
            '"navy" or "dusty rose", or three numbers L* a* b*',
            field="wish",
        )
    return np.array(values)
