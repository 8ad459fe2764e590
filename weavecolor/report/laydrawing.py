"""A lay as a page of its own, to print or to look at: the drawing, its key and its words.

Knows how the parts of the sheet are set; how pages become files is ``sheetpng``, ``sheetpdf`` and
``sheetsvg``.
"""

from __future__ import annotations

from collections.abc import Sequence

from weavecolor.cutting.lay import Lay
from weavecolor.cutting.pieces import Piece
from weavecolor.picture.canvas import Page, moved
from weavecolor.report.sheetblocks import SOFT, Style, bullets, heading, paragraph, stacked
from weavecolor.report.sheetdrawings import lay_drawing
from weavecolor.report.sheetlayout import LAY_KEY
from weavecolor.report.sheetwords import lay_sentences

_MARGIN = 6.0


def lay_page(
    title: str, made: Lay, pieces: Sequence[Piece], width: float = 190.0, height: float = 110.0
) -> Page:
    """The lay drawn at most ``width`` by ``height`` mm, with what the numbers stand for."""
    style = Style()
    numbers: dict[str, int] = {}
    for number, piece in enumerate(pieces, 1):
        numbers.setdefault(piece.name, number)
    names = " · ".join(f"{number} {name}" for name, number in numbers.items())
    block = stacked(
        [
            heading(title, width, style),
            lay_drawing(made, numbers, width, height, style),
            paragraph(names, width, style.body, bold=True),
            *bullets(lay_sentences(made), width, style, whole=True),
            paragraph(LAY_KEY, width, style.small, colour=SOFT),
        ]
    )
    marks = tuple(moved(block.marks, _MARGIN, _MARGIN - 3.0))
    return Page(marks, width + 2 * _MARGIN, block.height + 2 * _MARGIN - 3.0)
