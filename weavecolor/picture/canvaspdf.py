"""Pages to PDF: real text in an embedded font, vector lines, pictures as they are.

Knows fpdf2; the pages come ready laid out.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.resources import as_file
from typing import TYPE_CHECKING

from weavecolor.picture.canvas import Colour, Line, Page, Picture, Shape, Text, printable
from weavecolor.picture.typeface import font_file

if TYPE_CHECKING:
    from fpdf import FPDF

_FONT = "sheet"


def pdf_bytes(pages: Sequence[Page], title: str) -> bytes:
    """The pages as a PDF document. The same pages give the same bytes."""
    from fpdf import FPDF  # slow to load

    pdf = FPDF(unit="mm", format=(pages[0].width, pages[0].height))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    # The maker's date stands on the page; a fixed one here keeps the file reproducible.
    pdf.set_creation_date(datetime(2000, 1, 1, tzinfo=UTC))
    pdf.set_title(" ".join(title.split()))
    pdf.set_creator("weavecolor")
    pdf.set_lang("en")
    for bold in (False, True):
        with as_file(font_file(bold)) as path:
            pdf.add_font(_FONT, "B" if bold else "", path)
    for page in pages:
        pdf.add_page()
        for mark in page.marks:
            _draw(pdf, mark)
    return bytes(pdf.output())


def _rgb(colour: Colour) -> tuple[int, int, int]:
    red, green, blue = (round(255 * min(1.0, max(0.0, level))) for level in colour)
    return red, green, blue


def _draw(pdf: FPDF, mark: Text | Line | Shape | Picture) -> None:
    if isinstance(mark, Text):
        pdf.set_font(_FONT, "B" if mark.bold else "", mark.size)
        pdf.set_text_color(*_rgb(mark.colour))
        text = printable(mark.text, mark.bold)
        shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[mark.align]
        if text:
            pdf.text(mark.x - shift * pdf.get_string_width(text), mark.y, text)
        return
    if isinstance(mark, Picture):
        pdf.image(mark.image, mark.x, mark.y, mark.width, mark.height)
        return
    if mark.dash:
        pdf.set_dash_pattern(mark.dash[0], mark.dash[1])
    pdf.set_line_width(mark.width)
    if isinstance(mark, Line):
        pdf.set_draw_color(*_rgb(mark.colour))
        pdf.line(mark.x0, mark.y0, mark.x1, mark.y1)
    else:
        style = ""
        if mark.stroke is not None:
            pdf.set_draw_color(*_rgb(mark.stroke))
            style += "D"
        if mark.fill is not None:
            pdf.set_fill_color(*_rgb(mark.fill))
            style += "F"
        if style:
            pdf.polygon(list(mark.points), style=style)
    if mark.dash:
        pdf.set_dash_pattern()
