"""Screen colours as written, ``#rrggbb``. Knows the notation only."""

from __future__ import annotations

import re

from weavecolor.errors import InputError


def hex_rgb(text: str) -> tuple[float, float, float]:
    """Three values 0-1 of ``"#rrggbb"`` (or ``"#rgb"``). Raises InputError otherwise.

    Examples
    --------
    >>> hex_rgb("#ff0033")
    (1.0, 0.0, 0.2)
    """
    digits = text.strip().removeprefix("#")
    if re.fullmatch(r"[0-9a-fA-F]{3}", digits):
        digits = "".join(2 * digit for digit in digits)
    if not text.strip().startswith("#") or not re.fullmatch(r"[0-9a-fA-F]{6}", digits):
        raise InputError(f'{text[:40]!r} is not a screen colour; write it as "#b01020"')
    red, green, blue = (int(digits[i : i + 2], 16) / 255.0 for i in (0, 2, 4))
    return red, green, blue
