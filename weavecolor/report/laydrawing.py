"""A lay as a page of its own, to print or to look at: the drawing, its key and its words.

Knows how the parts of the sheet are set; how pages become files is ``sheetpng``, ``sheetpdf`` and
``sheetsvg``.
"""

from __future__ import annotations

from collections.abc import Sequence

from weavecolor.cutting.lay import Lay
from weavecolor.cutting.pieces import Piece
from weavecolor.picture.canvas import Page, moved
from weavecolor.report.sheetblocks import SOFT, Block, Style, bullets, heading, paragraph, stacked
from weavecolor.report.sheetdrawings import lay_drawing, numbered
from weavecolor.report.sheetlayout import LAY_KEY

_MARGIN = 6.0


def lay_page(
    title: str,
    made: Lay,
    parts: Sequence[Piece],
    sentences: Sequence[str],
    width: float = 190.0,
    height: float = 118.0,
) -> Page:
    """The lay drawn at most ``width`` by ``height`` mm, with what the numbers stand for.

    Parameters
    ----------
    title : str
    made : Lay
    parts : sequence of Piece
        The pieces laid, in the order of their numbers.
    sentences : sequence of str
        Told under the drawing.
    width, height : float
        Of the drawing at most, mm.
    """
    style = Style()
    numbers = numbered(parts)
    names = " \u00b7 ".join(f"{number} {name}" for name, number in numbers.items())
    block = stacked(
        [
            heading(title, width, style),
            lay_drawing(made, numbers, width, height, style),
            Block((), style.mm(1.2)),
            paragraph(names, width, style.body, bold=True),
            Block((), style.mm(1.2)),
            *bullets(sentences, width, style, whole=True),
            paragraph(LAY_KEY, width, style.small, colour=SOFT),
        ]
    )
    marks = tuple(moved(block.marks, _MARGIN, _MARGIN - 3.0))
    return Page(marks, width + 2 * _MARGIN, block.height + 2 * _MARGIN - 3.0)
