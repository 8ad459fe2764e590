"""Drawings of the making sheet: a layer with its grain arrow, and the lay on the cloth.

Knows grain and lays as lines and shapes; nothing of the sheet's words. Drawn to be read in black
and white.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import shapely
from shapely.geometry import LineString, Polygon

from weavecolor.cutting.lay import Lay
from weavecolor.cutting.lengths import cm, inches
from weavecolor.cutting.pieces import GRID
from weavecolor.picture.canvas import (
    WHITE,
    Line,
    Mark,
    Shape,
    Text,
    grey,
    rectangle,
    text_width,
)
from weavecolor.report.sheetblocks import INK, RULE, SOFT, Block, Style, line_mm


def arrow(
    x0: float, y0: float, x1: float, y1: float, *, width: float = 0.35, head: float = 1.8
) -> list[Mark]:
    """A line from the first point with a filled head at the second."""
    length = math.hypot(x1 - x0, y1 - y0)
    if length <= 0.0:
        return []
    head = min(head, 0.5 * length)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    bx, by = x1 - ux * head, y1 - uy * head
    wing = 0.38 * head
    tip = ((x1, y1), (bx - uy * wing, by + ux * wing), (bx + uy * wing, by - ux * wing))
    return [Line(x0, y0, bx, by, width, INK), Shape(tip, INK, None)]


def layer_icon(grain_deg: float, face: str, size: float) -> list[Mark]:
    """A square of the garment seen from outside, "down the garment" down the page.

    Fine lines run with the warp; the arrow is the warp's direction, anticlockwise from down by
    ``grain_deg``. The face is white, the back toned.
    """
    half = size / 2.0
    marks: list[Mark] = [rectangle(0, 0, size, size, fill=WHITE if face == "face" else grey(0.86))]
    angle = math.radians(grain_deg)
    ux, uy = math.sin(angle), math.cos(angle)
    square = shapely.box(0, 0, size, size)
    gap = size / 9.0
    for k in range(-8, 9):
        if k == 0:
            continue  # room for the arrow
        cx, cy = half + k * gap * uy, half - k * gap * ux
        ends = [(cx - 2 * size * ux, cy - 2 * size * uy), (cx + 2 * size * ux, cy + 2 * size * uy)]
        inside = shapely.intersection(LineString(ends), square)
        if inside.geom_type == "LineString" and inside.length > 0.5:
            (xa, ya), (xb, yb) = inside.coords[0], inside.coords[-1]
            marks.append(Line(xa, ya, xb, yb, 0.12, grey(0.62)))
    reach = 0.40 * size
    marks += arrow(
        half - reach * ux,
        half - reach * uy,
        half + reach * ux,
        half + reach * uy,
        width=0.55,
        head=0.22 * size,
    )
    return marks


def lay_drawing(
    lay: Lay, numbers: dict[str, int], width: float, height: float, style: Style
) -> Block:
    """The lay, the cloth's length running to the right, in at most ``width`` by ``height`` mm.

    Turned, not mirrored: what is seen is the side the pieces are seen from. Pieces carry their
    number in the cutting list and their grain line, the arrow pointing down the garment; a line
    of dots is the sewing line. Damage is crossed out, a fold is a heavy dashed line.
    """
    edge = Polygon(lay.edge)
    left, low, right, high = edge.bounds
    gutter, foot = style.mm(13.5), style.mm(5.0)
    scale = min((width - gutter) / (high - low), (height - foot) / (right - left))
    small = style.small

    def place(x: float, y: float) -> tuple[float, float]:
        return gutter + (y - low) * scale, (x - left) * scale

    def outline(points: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
        return tuple(place(x, y) for x, y in points)

    marks: list[Mark] = [Shape(outline(lay.edge), grey(0.96), INK, 0.3)]
    lost = shapely.difference(edge, lay.sound, grid_size=GRID)
    for part in getattr(lost, "geoms", [lost]):
        if part.geom_type != "Polygon" or part.is_empty:
            continue
        marks.append(Shape(outline(part.exterior.coords[:-1]), grey(0.82), grey(0.55), 0.15))
        marks += _crossed(part, place)
    for piece in lay.placements:
        marks.append(Shape(outline(piece.cut), WHITE, INK, 0.3))
        if piece.sew != piece.cut:
            marks.append(Shape(outline(piece.sew), None, grey(0.5), 0.15, (0.6, 0.8)))
        (x0, y0), (x1, y1) = piece.grain
        if piece.on_fold:  # the drawn half may not hold the middle of the whole
            centre = Polygon(piece.cut).representative_point()
            dx, dy = centre.x - (x0 + x1) / 2, centre.y - (y0 + y1) / 2
            x0, y0, x1, y1 = x0 + dx, y0 + dy, x1 + dx, y1 + dy
        marks += arrow(*place(x0, y0), *place(x1, y1), width=0.2, head=1.4)
        label = str(numbers.get(piece.name, piece.name)) + ("\u00d72" if piece.copies == 2 else "")
        size = style.body
        px, py = place((x0 + x1) / 2, (y0 + y1) / 2)
        wide, tall = text_width(label, size, True) + 0.8, line_mm(size) * 0.85
        marks.append(rectangle(px - wide / 2, py - tall / 2, wide, tall, fill=WHITE, stroke=None))
        marks.append(Text(px, py + tall * 0.32, label, size, True, INK, "centre"))
    if lay.fold == "lengthwise":
        marks.append(Line(*place(left, low), *place(left, high), 0.8, INK, (2.5, 1.0)))
    elif lay.fold == "crosswise":
        marks.append(Line(*place(left, low), *place(right, low), 0.8, INK, (2.5, 1.0)))
    if lay.placements:
        used = low + lay.used_cm / (2.0 if lay.fold == "crosswise" else 1.0)
        at = place(left, used)[0]
        bottom = place(right, low)[1]
        marks.append(Line(at, -0.0, at, bottom + 1.2, 0.25, INK, (1.2, 0.8)))
        text = f"{cm(lay.used_cm)} = {inches(lay.used_cm)}"
        wide = text_width(text, small)
        marks.append(
            Text(
                min(max(at, gutter + wide), width),
                bottom + style.mm(3.8),
                text,
                small,
                False,
                INK,
                "right",
            )
        )
    middle = place((left + right) / 2, low)[1]
    across = right - left
    marks.append(Text(gutter - 1.5, middle - 0.4, cm(across), small, False, SOFT, "right"))
    marks.append(
        Text(
            gutter - 1.5, middle + line_mm(small) - 0.4, inches(across), small, False, SOFT, "right"
        )
    )
    return Block(tuple(marks), (right - left) * scale + foot)


def _crossed(part: Polygon, place: Callable[[float, float], tuple[float, float]]) -> list[Mark]:
    """Slanting lines over what cannot be used."""
    left, low, right, high = part.bounds
    step = max(2.0, (right - left + high - low) / 60.0)
    marks: list[Mark] = []
    for k in range(int((right - left + high - low) / step) + 1):
        start = left + low + k * step
        line = LineString([(start - high - 1, high + 1), (start - low + 1, low - 1)])
        hit = shapely.intersection(line, part, grid_size=GRID)
        for piece in getattr(hit, "geoms", [hit]):
            if piece.geom_type == "LineString" and not piece.is_empty:
                (xa, ya), (xb, yb) = place(*piece.coords[0]), place(*piece.coords[-1])
                marks.append(Line(xa, ya, xb, yb, 0.1, RULE))
    return marks


def sample_box(width: float, height: float, style: Style) -> Block:
    """The blank to stitch the real sample to."""
    text = "Stitch the real sample here"
    return Block(
        (
            rectangle(0, 0, width, height, stroke=grey(0.35), line=0.3, dash=(2.2, 1.6)),
            Text(width / 2, height - 2.5, text, style.small, False, SOFT, "centre"),
        ),
        height,
    )
