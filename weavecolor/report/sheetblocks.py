"""Blocks of a page: headings, paragraphs, lists, tables and columns, stacked and paged.

Knows how marks are measured and set; nothing of what a sheet says. A block has its own origin
top left, mm; sizes in points are multiplied by the style's scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from weavecolor.picture.canvas import (
    A4,
    MM_PER_POINT,
    Colour,
    Line,
    Mark,
    Text,
    grey,
    moved,
    text_width,
    wrapped,
)

LINE_HEIGHT = 1.32
INK: Colour = grey(0.08)
SOFT: Colour = grey(0.38)
RULE: Colour = grey(0.72)


@dataclass(frozen=True)
class Block:
    """Marks and the height they take; ``joined`` to the next one: no page break between."""

    marks: tuple[Mark, ...]
    height: float
    joined: bool = False


@dataclass(frozen=True)
class Style:
    """Sizes of the sheet: ``scale`` shrinks everything, ``most`` is the longest list shown but of
    the sections that are ``whole``."""

    scale: float = 1.0
    most: int | None = None
    whole: tuple[str, ...] = ()

    def of(self, section: str) -> Style:
        """The style of one section's list."""
        return replace(self, most=None) if section in self.whole else self

    @property
    def body(self) -> float:
        return 8.6 * self.scale

    @property
    def small(self) -> float:
        return 7.2 * self.scale

    @property
    def head(self) -> float:
        return 10.2 * self.scale

    def mm(self, length: float) -> float:
        return length * self.scale


def line_mm(size: float) -> float:
    """Line pitch of text at ``size`` points."""
    return size * MM_PER_POINT * LINE_HEIGHT


def paragraph(
    text: str,
    width: float,
    size: float,
    *,
    bold: bool = False,
    colour: Colour = INK,
    indent: float = 0.0,
    lines: int | None = None,
) -> Block:
    """Text wrapped to ``width``; at most ``lines`` lines, the last then ending in an ellipsis.

    Parameters
    ----------
    text : str
    width, size, indent : float
        Of the column, the letters and the first line's start, mm.
    bold : bool
    colour : (float, float, float)
        Red, green, blue, 0 to 1.
    lines : int, optional
        At most so many.
    """
    rows = wrapped(text, width - indent, size, bold)
    if lines is not None and len(rows) > lines:
        last = rows[lines - 1]
        while last and text_width(last + "\u2026", size, bold) > width - indent:
            last = last[:-1]
        rows = (*rows[: lines - 1], last.rstrip() + "\u2026")
    pitch = line_mm(size)
    marks = tuple(
        Text(indent, (i + 0.77) * pitch, row, size, bold, colour) for i, row in enumerate(rows)
    )
    return Block(marks, pitch * len(rows))


def heading(text: str, width: float, style: Style) -> Block:
    """A section's title over a hairline; stays with what follows.

    Parameters
    ----------
    text : str
    width : float
        Of the hairline, mm.
    style : Style
    """
    pitch = line_mm(style.head)
    gap = style.mm(3.2)
    return Block(
        (
            Text(0.0, gap + 0.77 * pitch, text, style.head, True, INK),
            Line(0.0, gap + pitch + 0.4, width, gap + pitch + 0.4, 0.25, INK),
        ),
        gap + pitch + style.mm(1.8),
        joined=True,
    )


def bullets(
    lines: Sequence[str], width: float, style: Style, *, whole: bool = False
) -> list[Block]:
    """A list, each entry after a dash; cut to the style's longest, saying so, unless ``whole``.

    Parameters
    ----------
    lines : sequence of str
    width : float
        Of the column, mm.
    style : Style
    whole : bool
        Every entry, however many.
    """
    shown, rest = (lines, 0) if whole else shortened(lines, style)
    blocks = []
    for text in shown:
        body = paragraph(text, width, style.body, indent=style.mm(3.2))
        dash = Text(0.0, 0.77 * line_mm(style.body), "\u2013", style.body, False, SOFT)
        blocks.append(Block((dash, *body.marks), body.height + style.mm(0.7)))
    return [*blocks, *rest_note(rest, width, style)]


def shortened(rows: Sequence[Any], style: Style) -> tuple[Sequence[Any], int]:
    """The rows to show, and how many are left out."""
    if style.most is None or len(rows) <= style.most:
        return rows, 0
    return rows[: style.most], len(rows) - style.most


def rest_note(rest: int, width: float, style: Style, what: str = "") -> list[Block]:
    """A line that says how many rows, or how many of ``what``, are not on the sheet.

    Parameters
    ----------
    rest : int
        How many; none makes no line.
    width : float
        Of the column, mm.
    style : Style
    what : str
        Their name, many of them.
    """
    if not rest:
        return []
    things = f" {what}{'s' if rest > 1 else ''}" if what else ""
    text = f"and {rest} more{things} that this sheet has no room for: see the project."
    return [paragraph(text, width, style.small, bold=True)]


def kept(blocks: Sequence[Block], most: float = 130.0) -> list[Block]:
    """The blocks joined so that no page break falls between, if together at most ``most`` mm."""
    if sum(block.height for block in blocks) > most:
        return list(blocks)
    return [*(replace(block, joined=True) for block in blocks[:-1]), *blocks[-1:]]


def stacked(blocks: Sequence[Block], gap: float = 0.0) -> Block:
    """Blocks one below the other as one."""
    marks: list[Mark] = []
    y = 0.0
    for block in blocks:
        marks += moved(block.marks, 0.0, y)
        y += block.height + gap
    return Block(tuple(marks), max(0.0, y - gap) if blocks else 0.0)


def columns(blocks: Sequence[Block], lefts: Sequence[float]) -> Block:
    """Blocks side by side, each starting at its left."""
    marks: list[Mark] = []
    for block, left in zip(blocks, lefts, strict=True):
        marks += moved(block.marks, left, 0.0)
    return Block(tuple(marks), max((block.height for block in blocks), default=0.0))


@dataclass(frozen=True)
class Column:
    """A table column: title, width in mm, and whether numbers stand to the right."""

    title: str
    width: float
    right: bool = False
    bold: bool = False


def table(columns_: Sequence[Column], rows: Sequence[Sequence[str]], style: Style) -> list[Block]:
    """A table as one block a row, the title row joined to the first.

    Parameters
    ----------
    columns_ : sequence of Column
    rows : sequence of sequences of str
        As many cells each as there are columns.
    style : Style
    """
    total = sum(column.width for column in columns_)
    blocks = [_row(columns_, [c.title for c in columns_], style, style.small, SOFT)]
    blocks = [Block(blocks[0].marks, blocks[0].height, joined=True)]
    for row in rows:
        block = _row(columns_, row, style, style.body, INK)
        rule = Line(0.0, 0.0, total, 0.0, 0.15, RULE)
        blocks.append(Block((rule, *block.marks), block.height))
    return blocks


def _row(
    columns_: Sequence[Column], texts: Sequence[str], style: Style, size: float, colour: Colour
) -> Block:
    pad = style.mm(0.9)
    x, height = 0.0, 0.0
    marks: list[Mark] = []
    for column, text in zip(columns_, texts, strict=True):
        room = column.width - style.mm(2.0)
        block = paragraph(text, room, size, bold=column.bold, colour=colour)
        for mark in block.marks:
            assert isinstance(mark, Text)
            if column.right:
                end = x + column.width - style.mm(3.6)
                at = Text(end, mark.y + pad, mark.text, size, column.bold, colour, align="right")
                marks.append(at)
            else:
                marks += moved([mark], x, pad)
        height = max(height, block.height)
        x += column.width
    return Block(tuple(marks), height + 2 * pad)


def paged(
    blocks: Sequence[Block], margin: float, bottom: float, top: float = 0.0
) -> list[tuple[Mark, ...]]:
    """Blocks set down the pages between margin and ``bottom``; ``top`` extra on later pages.

    Parameters
    ----------
    blocks : sequence of Block
        In order.
    margin, bottom, top : float
        Where pages begin and end, and what later pages leave at their head, mm from the upper edge.
    """
    pages: list[list[Mark]] = [[]]
    y = margin
    index = 0
    while index < len(blocks):
        group = [blocks[index]]
        while group[-1].joined and index + len(group) < len(blocks):
            group.append(blocks[index + len(group)])
        tall = sum(block.height for block in group)
        fresh = margin + (top if len(pages) > 1 else 0.0)
        if y + tall > A4[1] - bottom and y > fresh:
            pages.append([])
            y = margin + top
        for block in group:
            pages[-1] += moved(block.marks, margin, y)
            y += block.height
        index += len(group)
    return [tuple(page) for page in pages]


def overfull(pages: Sequence[tuple[Mark, ...]], bottom: float) -> bool:
    """Whether any mark runs below the bottom margin."""
    limit = A4[1] - bottom + 0.01
    for page in pages:
        for mark in page:
            if isinstance(mark, Text):
                low = mark.y
            elif isinstance(mark, Line):
                low = max(mark.y0, mark.y1)
            elif hasattr(mark, "points"):
                low = max(y for _, y in mark.points)
            else:
                low = mark.y + mark.height
            if low > limit:
                return True
    return False
