"""The lettering of pictures and pages: DejaVu Sans Condensed, which comes with the tool.

Knows where the font is and how to set plain lines with it; knows nothing of what is written.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from io import BytesIO

from PIL import ImageFont


def font_file(bold: bool) -> Traversable:
    """The font, DejaVu Sans Condensed: Latin, Greek, Cyrillic and many signs."""
    name = "DejaVuSansCondensed-Bold.ttf" if bold else "DejaVuSansCondensed.ttf"
    return files("weavecolor") / "data" / "fonts" / name


@lru_cache(maxsize=2)
def font_bytes(bold: bool = False) -> bytes:
    """The font file's bytes."""
    return font_file(bold).read_bytes()


@lru_cache(maxsize=64)
def font(pixels: float, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The font at a size in pixels; basic layout, so that pictures are the same everywhere."""
    return ImageFont.truetype(
        BytesIO(font_bytes(bold)), pixels, layout_engine=ImageFont.Layout.BASIC
    )


def wrapped(text: str, width: float, face: ImageFont.FreeTypeFont, most: int = 0) -> list[str]:
    """``text`` in lines of ``face`` no wider than ``width`` pixels; at most ``most`` (0: any
    number).

    A word that is too long is split; what does not fit in the lines allowed ends in an ellipsis.
    """
    lines = [""]
    for word in text.split():
        trial = f"{lines[-1]} {word}".strip()
        if face.getlength(trial) <= width:
            lines[-1] = trial
            continue
        if lines[-1]:
            lines.append("")
        while face.getlength(word) > width and len(word) > 1:
            cut = next(k for k in range(len(word) - 1, 0, -1)
                       if k == 1 or face.getlength(word[:k]) <= width)  # fmt: skip
            lines[-1], word = word[:cut], word[cut:]
            lines.append("")
        lines[-1] = word
    if most and len(lines) > most:
        lines = lines[:most]
        while lines[-1] and face.getlength(lines[-1] + "\u2026") > width:
            lines[-1] = lines[-1][:-1]
        lines[-1] = lines[-1].rstrip(" ,") + "\u2026"
    return lines
