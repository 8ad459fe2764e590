"""Neutral ground, labels and grey references that pictures share.

Knows how a picture is labelled; knows nothing of what is in it.
"""

from __future__ import annotations

from PIL import Image, ImageDraw

from weavecolor.colour.screen import encoded
from weavecolor.picture.typeface import font, wrapped

#: Linear level of the neutral ground: inside the 10 to 60 % that ISO 3664 allows a surround for
#: judging colour (from memory). Grey codes are the same in sRGB and Display P3.
GROUND = 0.5
INK = 24
QUIET = 70
#: L* of the neutral reference greys.
GREYS = (10.0, 30.0, 50.0, 70.0, 90.0)


def grey_code(linear: float) -> int:
    """8-bit code of a neutral of that linear level."""
    return round(255.0 * float(encoded(linear)))


GROUND_CODE = grey_code(GROUND)


def sheet(width: int, height: int) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    """An empty neutral picture and its pen."""
    image = Image.new("RGB", (width, height), (GROUND_CODE,) * 3)
    return image, ImageDraw.Draw(image)


def write(
    draw: ImageDraw.ImageDraw, x: float, y: float, text: str, size: float, *,
    bold: bool = False, grey: int = INK, anchor: str = "la",
) -> None:  # fmt: skip
    """One line of ``text`` by the pen ``draw``; ``x``, ``y`` and ``size`` in pixels, ``bold`` or
    not, ``grey`` an 8-bit code, ``anchor`` which point of the text stands there, as Pillow names
    it."""
    draw.text((round(x), round(y)), text, (grey,) * 3, font(round(size), bold), anchor)


def write_lines(
    draw: ImageDraw.ImageDraw, x: float, y: float, text: str, width: float, size: float, *,
    bold: bool = False, grey: int = INK, most: int = 0,
) -> float:  # fmt: skip
    """``text`` broken to a ``width``; returns where, in pixels down, the next line would begin.

    ``most``: lines at most, 0 for any number; ``draw``, ``x``, ``y``, ``size``, ``bold`` and
    ``grey`` as in :func:`write`.
    """
    for line in wrapped(text, width, font(round(size), bold), most):
        write(draw, x, y, line, size, bold=bold, grey=grey)
        y += size * 1.32
    return y


def grey_reference(
    draw: ImageDraw.ImageDraw, x: float, y: float, width: float, height: float, size: float
) -> None:
    """Five neutral greys of known L*, by the pen ``draw``, each with its number below in letters of
    ``size``; (``x``, ``y``), ``width`` and ``height`` of all of them in pixels."""
    step = width / len(GREYS)
    for k, L in enumerate(GREYS):
        linear = ((L + 16.0) / 116.0) ** 3
        code = grey_code(linear)
        left, right = round(x + k * step), round(x + (k + 1) * step) - 1
        draw.rectangle((left, round(y), right, round(y + height) - 1), fill=(code,) * 3)
        write(draw, x + (k + 0.5) * step, y + height + 0.3 * size, f"{L:.0f}", size,
              grey=QUIET, anchor="ma")  # fmt: skip
