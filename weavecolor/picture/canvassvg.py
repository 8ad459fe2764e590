"""Pages to SVG: the same marks as lines, shapes and text, in millimetres.

Knows SVG 1.1; the pages come ready laid out. Text is set in whatever plain narrow face the reader
has; pictures are refused, since a lay has none.
"""

from __future__ import annotations

from xml.sax.saxutils import escape

from weavecolor.errors import InputError
from weavecolor.picture.canvas import MM_PER_POINT, Colour, Line, Page, Picture, Text, printable


def svg_text(page: Page, title: str) -> str:
    """One page without pictures as an SVG document, at its true size."""
    wide, tall = f"{page.width:.2f}", f"{page.height:.2f}"
    rows = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="{tall}mm" '
        f'viewBox="0 0 {wide} {tall}" '
        'font-family="DejaVu Sans Condensed, Arial Narrow, sans-serif">',
        f"<title>{escape(' '.join(title.split()))}</title>",
        f'<rect width="{wide}" height="{tall}" fill="#ffffff"/>',
    ]
    for mark in page.marks:
        if isinstance(mark, Picture):
            raise InputError("a drawing with pictures is written as .png or .pdf")
        if isinstance(mark, Text):
            anchor = {"left": "start", "centre": "middle", "right": "end"}[mark.align]
            weight = ' font-weight="bold"' if mark.bold else ""
            rows.append(
                f'<text x="{mark.x:.3f}" y="{mark.y:.3f}" font-size="'
                f'{mark.size * MM_PER_POINT:.3f}" fill="{_hex(mark.colour)}" '
                f'text-anchor="{anchor}"{weight}>{escape(printable(mark.text, mark.bold))}</text>'
            )
        elif isinstance(mark, Line):
            rows.append(
                f'<line x1="{mark.x0:.3f}" y1="{mark.y0:.3f}" x2="{mark.x1:.3f}" '
                f'y2="{mark.y1:.3f}" {_stroke(mark.colour, mark.width, mark.dash)}/>'
            )
        else:
            points = " ".join(f"{x:.3f},{y:.3f}" for x, y in mark.points)
            fill = "none" if mark.fill is None else _hex(mark.fill)
            line = _stroke(mark.stroke, mark.width, mark.dash)
            rows.append(f'<polygon points="{points}" fill="{fill}" {line}/>')
    return "\n".join([*rows, "</svg>"]) + "\n"


def _stroke(colour: Colour | None, width: float, dash: tuple[float, float] | None) -> str:
    if colour is None:
        return 'stroke="none"'
    dashes = f' stroke-dasharray="{dash[0]:g} {dash[1]:g}"' if dash else ""
    return f'stroke="{_hex(colour)}" stroke-width="{width:g}"{dashes}'


def _hex(colour: Colour) -> str:
    return "#" + "".join(f"{round(255 * min(1.0, max(0.0, level))):02x}" for level in colour)
