"""Marks on a page, in millimetres: text, lines, shapes and pictures, with their font.

One description that ``sheetpdf`` and ``sheetpng`` both draw. Knows pages; nothing of cloth.
Origin top left, y down. Greys and colours are 0 (black) to 1 (white).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from io import BytesIO

from fontTools.ttLib import TTFont
from PIL import Image

from weavecolor.picture.typeface import font_bytes

A4 = (210.0, 297.0)
MM_PER_POINT = 25.4 / 72.0
Colour = tuple[float, float, float]
BLACK: Colour = (0.0, 0.0, 0.0)
WHITE: Colour = (1.0, 1.0, 1.0)


def grey(level: float) -> Colour:
    """A neutral of that level, 0-1."""
    return (level, level, level)


@dataclass(frozen=True)
class Text:
    """One line of text; ``x``, ``y`` its baseline's start, middle or end as ``align`` says."""

    x: float
    y: float
    text: str
    size: float  # points
    bold: bool = False
    colour: Colour = BLACK
    align: str = "left"


@dataclass(frozen=True)
class Line:
    """A stroke; ``dash`` is (on, off) in mm."""

    x0: float
    y0: float
    x1: float
    y1: float
    width: float = 0.2
    colour: Colour = BLACK
    dash: tuple[float, float] | None = None


@dataclass(frozen=True)
class Shape:
    """A closed polygon, filled and stroked where a colour is given."""

    points: tuple[tuple[float, float], ...]
    fill: Colour | None = None
    stroke: Colour | None = BLACK
    width: float = 0.2
    dash: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class Picture:
    """An image stretched over a rectangle."""

    x: float
    y: float
    width: float
    height: float
    image: Image.Image = field(repr=False)


Mark = Text | Line | Shape | Picture


@dataclass(frozen=True)
class Page:
    """Marks in drawing order on a page of that size, mm."""

    marks: tuple[Mark, ...]
    width: float = A4[0]
    height: float = A4[1]


def moved(marks: Iterable[Mark], dx: float, dy: float) -> list[Mark]:
    """The ``marks`` shifted by ``dx`` to the right and ``dy`` down, mm."""
    out: list[Mark] = []
    for mark in marks:
        if isinstance(mark, Text):  # nearly all of them: said in full, half the time
            x, y = mark.x + dx, mark.y + dy
            out.append(Text(x, y, mark.text, mark.size, mark.bold, mark.colour, mark.align))
        elif isinstance(mark, Line):
            out.append(
                replace(mark, x0=mark.x0 + dx, y0=mark.y0 + dy, x1=mark.x1 + dx, y1=mark.y1 + dy)
            )
        elif isinstance(mark, Shape):
            out.append(replace(mark, points=tuple((x + dx, y + dy) for x, y in mark.points)))
        else:
            out.append(replace(mark, x=mark.x + dx, y=mark.y + dy))
    return out


def rectangle(
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: Colour | None = None,
    stroke: Colour | None = BLACK,
    line: float = 0.2,
    dash: tuple[float, float] | None = None,
) -> Shape:
    """An upright rectangle, ``width`` by ``height`` mm, whose top left corner is (``x``, ``y``);
    ``fill``, ``stroke`` and ``dash`` as in :class:`Shape`, ``line``: how wide it is stroked, mm."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return Shape(corners, fill, stroke, line, dash)


@lru_cache(maxsize=2)
def _advances(bold: bool) -> tuple[dict[int, int], int]:
    font = TTFont(BytesIO(font_bytes(bold)))
    widths = font["hmtx"].metrics
    table = {code: widths[name][0] for code, name in font.getBestCmap().items()}
    return table, int(font["head"].unitsPerEm)


#: Stands for a sign that the font lacks.
LACKING = "\u25a1"


def printable(text: str, bold: bool = False) -> str:
    """``text`` on one line; a sign the font lacks becomes :data:`LACKING`, so that none is lost
    unseen."""
    table, _ = _advances(bold)
    one_line = " ".join(text.split())
    return one_line.translate({x: LACKING for x in map(ord, set(one_line)) if x not in table})


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width in mm of ``text`` at ``size`` points, ``bold`` or not, without kerning."""
    return _mm(_advance(text, bold), size, bold)


@lru_cache(maxsize=20_000)
def _advance(text: str, bold: bool) -> int:
    """Width in the font's units; a sheet is set again and again, from the same words."""
    table, em = _advances(bold)
    return sum(table.get(ord(sign), em) for sign in text)


def _mm(advance: int, size: float, bold: bool) -> float:
    return advance / _advances(bold)[1] * size * MM_PER_POINT


@lru_cache(maxsize=5_000)
def wrapped(text: str, width: float, size: float, bold: bool = False) -> tuple[str, ...]:
    """``text`` broken into lines no wider than ``width`` mm at ``size`` points, ``bold`` or not; a
    word too long is split."""
    width *= 0.985  # hinted advances in a picture run a little wider
    lines: list[str] = []
    line, wide = "", 0
    for word in printable(text, bold).split(" "):
        own = _advance(word, bold)
        trial = wide + _advance(" ", bold) + own if line else own
        if _mm(trial, size, bold) <= width:
            line, wide = f"{line} {word}" if line else word, trial
            continue
        if line:
            lines.append(line)
        while text_width(word, size, bold) > width and len(word) > 1:
            cut = len(word) - 1
            while cut > 1 and text_width(word[:cut], size, bold) > width:
                cut -= 1
            lines.append(word[:cut])
            word = word[cut:]
        line, wide = word, _advance(word, bold)
    return (*lines, line) if line or not lines else tuple(lines)
