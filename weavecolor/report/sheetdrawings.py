"""Drawings of the making sheet: a layer with its grain arrow, and the lay on the cloth.

Knows grain and lays as lines and shapes; nothing of the sheet's words. Drawn to be read in black
and white.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from weavecolor.cutting.lay import Lay, Placement
from weavecolor.cutting.lengths import cm, inches
from weavecolor.cutting.pieces import GRID, Piece
from weavecolor.picture.canvas import (
    WHITE,
    Colour,
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
    """A line from the first point with a filled head at the second.

    Parameters
    ----------
    x0, y0, x1, y1 : float
        Both ends, mm.
    width : float
        Of the line, mm.
    head : float
        Length of the head, mm.
    """
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

    Parameters
    ----------
    grain_deg : float
    face : {"face", "back"}
    size : float
        Of a side, mm.
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


def numbered(pieces: Iterable[Piece]) -> dict[str, int]:
    """A number for each different name, in order."""
    numbers: dict[str, int] = {}
    for piece in pieces:
        numbers.setdefault(piece.name, len(numbers) + 1)
    return numbers


def lay_drawing(
    lay: Lay, numbers: dict[str, int], width: float, height: float, style: Style
) -> Block:
    """The lay, the cloth's length running to the right, in at most ``width`` by ``height`` mm.

    Turned, not mirrored: what is seen is the side the pieces are seen from. Pieces carry their
    number in the cutting list and their name, beside them with a line to it where a piece is too
    slim, and their grain line, the arrow pointing down the garment; a line of dots is the sewing
    line. Flaws and bites are crossed out
    and told by size, selvedges are toned, a fold is a heavy dashed line.

    Parameters
    ----------
    lay : Lay
    numbers : dict
        Number in the cutting list by piece's name.
    width, height : float
        At most, mm.
    style : Style
    """
    edge = Polygon(lay.edge)
    left, low, right, high = edge.bounds
    gutter, head, foot = style.mm(15.5), style.mm(4.6), style.mm(9.6)
    scale = min((width - gutter) / (high - low), (height - head - foot) / (right - left))
    small = style.small

    def place(x: float, y: float) -> tuple[float, float]:
        return gutter + (y - low) * scale, head + (x - left) * scale

    def outline(points: Iterable[tuple[float, ...]]) -> tuple[tuple[float, float], ...]:
        return tuple(place(point[0], point[1]) for point in points)

    top, bottom = place(left, low)[1], place(right, low)[1]
    end = place(left, high)[0]
    marks: list[Mark] = [Shape(outline(lay.edge), grey(0.96), INK, 0.3)]
    damage = [Polygon(hole) for hole, _ in lay.damage]
    lost = shapely.difference(edge, shapely.union_all([lay.sound, *damage]), grid_size=GRID)
    for part in _polygons(lost):
        marks.append(Shape(outline(part.exterior.coords[:-1]), grey(0.86), grey(0.55), 0.15))
    for part in damage:
        marks.append(Shape(outline(part.exterior.coords[:-1]), grey(0.90), grey(0.35), 0.2))
        marks += _crossed(part, place)
    shapes = [Polygon(outline(piece.cut)) for piece in lay.placements]
    slim: list[tuple[str, Polygon]] = []
    named: list[Polygon] = []
    for piece, shape in zip(lay.placements, shapes, strict=True):
        marks.append(Shape(outline(piece.cut), WHITE, INK, 0.3))
        if piece.sew != piece.cut:
            marks.append(Shape(outline(piece.sew), None, grey(0.5), 0.15, (0.6, 0.8)))
        (x0, y0), (x1, y1) = piece.grain
        if piece.on_fold:  # the drawn half may not hold the middle of the whole
            centre = Polygon(piece.cut).representative_point()
            dx, dy = centre.x - (x0 + x1) / 2, centre.y - (y0 + y1) / 2
            x0, y0, x1, y1 = x0 + dx, y0 + dy, x1 + dx, y1 + dy
        marks += arrow(*place(x0, y0), *place(x1, y1), width=0.2, head=1.4)
        words = _words(piece, numbers)
        label = _name(words, shape, (place(x0, y0), place(x1, y1)), style)
        if label is None:
            slim.append((words, shape))
        else:
            marks += label[0]
            named.append(label[1])
    cloth = shapely.box(gutter, top, end, bottom)

    # round the cloth: the warp, the fold, the widths and lengths
    head_y = top - style.mm(1.5)
    marks += arrow(gutter, head_y - 0.8, gutter + style.mm(16.0), head_y - 0.8, width=0.3)
    marks.append(Text(gutter + style.mm(17.5), head_y, "warp", small, False, INK))
    if lay.fold == "lengthwise":
        marks.append(Line(gutter, top, end, top, 0.8, INK, (2.5, 1.0)))
        marks.append(Text(end, head_y, "fold", small, True, INK, "right"))
    elif lay.fold == "crosswise":
        marks.append(Line(gutter, top, gutter, bottom, 0.8, INK, (2.5, 1.0)))
        marks.append(Text(gutter - 1.5, bottom - 0.4, "fold", small, True, INK, "right"))
    across = right - left
    middle = (top + bottom) / 2
    for row, text in enumerate((cm(across), inches(across))):
        y = middle + (row - 0.2) * line_mm(small)
        marks.append(Text(gutter - 1.5, y, text, small, False, INK, "right"))
    folded = 2.0 if lay.fold == "crosswise" else 1.0
    rows = [("in all", (high - low) * folded, end, SOFT)]
    if lay.placements:
        used = low + lay.used_cm / folded
        at = place(left, used)[0]
        marks.append(Line(at, top, at, bottom + style.mm(4.2), 0.25, INK, (1.2, 0.8)))
        rows.insert(0, ("used", lay.used_cm, at, INK))
    for row, (word, length, at, colour) in enumerate(rows):
        y = bottom + style.mm(4.2 * (row + 1))
        marks += _measured(gutter, at, y, f"{word} {cm(length)} = {inches(length)}", colour, style)
    holes = [(words, Polygon(outline(hole))) for hole, words in lay.damage]
    for words, drawn in holes:
        told = _size_of(words, drawn, [*shapes, *named], cloth, style)
        if told is None:
            slim.append((words, drawn))
        else:
            marks += told[0]
            named.append(told[1])
    tall = head + across * scale + foot
    taken = [*shapes, *(drawn for _, drawn in holes)]
    called, rows_more = _called_out(slim, taken, named, cloth, (gutter, width, tall), style)
    return Block((*marks, *called), tall + rows_more)


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    parts = getattr(shape, "geoms", [shape])
    return [part for part in parts if part.geom_type == "Polygon" and not part.is_empty]


def _measured(
    start: float, end: float, y: float, text: str, colour: Colour, style: Style
) -> list[Mark]:
    """A length along the cloth: a line from the cut end with a tick at both ends, and how much."""
    tick = style.mm(0.9)
    line_y = y - style.mm(1.0)
    wide = text_width(text, style.small) + 2.0
    marks: list[Mark] = [
        Line(start, line_y, end, line_y, 0.2, colour),
        Line(start, line_y - tick, start, line_y + tick, 0.2, colour),
        Line(end, line_y - tick, end, line_y + tick, 0.2, colour),
    ]
    middle = (start + end) / 2 if end - start > wide + 4.0 else end + 1.5 + wide / 2
    box = rectangle(middle - wide / 2, line_y - 1.2, wide, 2.4, fill=WHITE, stroke=None)
    return [*marks, box, Text(middle, y, text, style.small, False, colour, "centre")]


def _words(piece: Placement, numbers: dict[str, int]) -> str:
    """Number and name of a piece, and that it is cut twice."""
    twice = " \u00d72" if piece.copies == 2 else ""
    return f"{numbers.get(piece.name, '')} {piece.name}{twice}".strip()


def _name(
    words: str,
    shape: Polygon,
    line: tuple[tuple[float, float], tuple[float, float]],
    style: Style,
) -> tuple[list[Mark], Polygon] | None:
    """A piece's words inside it, clear of the grain line if they can, with the room they take;
    None where they do not fit."""
    (x0, y0), (x1, y1) = line
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    near, low, far, high = shape.bounds
    grain = LineString(line)
    inner = shape.buffer(-0.35)
    tries: list[tuple[list[str], float]] = []
    split = words.split(" ")
    for size in (style.body, style.small):
        tries += [([words], size)]
        tries += [
            ([" ".join(split[:cut]), " ".join(split[cut:])], size) for cut in range(1, len(split))
        ]
        if len(split) > 2:
            tries.append((split, size))
    grid = np.meshgrid(np.linspace(near, far, 21)[1:-1], np.linspace(low, high, 21)[1:-1])
    spots = np.vstack([[cx, cy], np.stack(grid, axis=-1).reshape(-1, 2)])
    spots = spots[np.argsort(np.hypot(*(spots - (cx, cy)).T), kind="stable")]
    shapely.prepare(inner)
    laid = [(rows, size, _boxes(spots, *_room(rows, size))) for rows, size in tries]
    inside = [shapely.contains(inner, boxes) for _, _, boxes in laid]
    for clear in (True, False):
        for (rows, size, boxes), fits in zip(laid, inside, strict=True):
            free = fits & ~shapely.intersects(boxes, grain) if clear else fits
            if free.any():
                at = int(free.argmax())
                x, y = spots[at].tolist()
                return _label(rows, x, y, *_room(rows, size), size), boxes[at]
    return None


def _room(rows: list[str], size: float, bold: bool = True) -> tuple[float, float]:
    """Width and height, mm, of rows of text with air round them."""
    return (
        max(text_width(row, size, bold) for row in rows) + 0.8,
        line_mm(size) * 0.9 * len(rows),
    )


def _box(x: float, y: float, wide: float, tall: float) -> Polygon:
    return shapely.box(x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2)


def _called_out(
    slim: list[tuple[str, Polygon]],
    shapes: list[Polygon],
    named: list[Polygon],
    cloth: Polygon,
    room: tuple[float, float, float],
    style: Style,
) -> tuple[list[Mark], float]:
    """The words of pieces and flaws too slim to hold them, on bare cloth near by or in rows below
    the drawing, each with a line to what it names; and how much taller that makes it.

    ``room``: where the cloth begins, the drawing's width, and its height so far.
    """
    left, width, below = room
    near, top, far, bottom = cloth.bounds
    taken: list[BaseGeometry] = [*shapes, *named]
    labels: list[BaseGeometry] = [*named]
    leads: list[BaseGeometry] = []
    marks: list[Mark] = []
    pitch = line_mm(style.small) * 1.05
    row_ends: list[float] = []  # how far each row below is filled
    for words, shape in sorted(slim, key=lambda one: one[1].bounds[0]):
        words = _cut_short(words, 0.9 * (width - left), style.small)
        wide, tall = _room([words], style.small)
        middle = shape.representative_point()
        shrunk = shape.buffer(-0.35 * min(_sides(shape)))
        core: BaseGeometry = middle if shrunk.is_empty else shrunk
        tree, lines = shapely.STRtree(taken), shapely.union_all([*labels, *leads])
        at = np.zeros((0, 2))
        if far - near > wide + 0.8 and bottom - top > tall + 0.8:
            across = near + wide / 2 + 0.4 + (far - near - wide - 0.8) * _EVENLY[0]
            down = top + tall / 2 + 0.4 + (bottom - top - tall - 0.8) * _EVENLY[1]
            at = np.stack(np.meshgrid(across, down, indexing="ij"), axis=-1).reshape(-1, 2)
        covered = np.unique(tree.query(_boxes(at, wide + 0.6, tall + 0.4), "intersects")[0])
        free = np.delete(at, covered, axis=0)
        if len(free):
            ways = shapely.shortest_line(_boxes(free, wide, tall), core)
            crosses = shapely.intersects(ways, lines)
            # a long way round is better than a line through another's words
            x, y = free[int((shapely.length(ways) + 100.0 * crosses).argmin())].tolist()
        else:
            start = min(max(middle.x - wide / 2, left), width - wide)
            row = next((k for k, end in enumerate(row_ends) if end + 1.0 <= start), len(row_ends))
            row_ends[row:] = [start + wide, *row_ends[row + 1 :]]
            x, y = start + wide / 2, below + (row + 0.5) * pitch
        labels.append(_box(x, y, wide, tall))
        line = shapely.shortest_line(labels[-1], core)
        leads.append(line)
        taken += [labels[-1], line]
        (x0, y0), (x1, y1) = line.coords
        marks += [Line(x0, y0, x1, y1, 0.2, INK), _dot(x1, y1)]
        marks += _label([words], x, y, wide, tall, style.small)
    return marks, len(row_ends) * pitch


def _cut_short(words: str, width: float, size: float) -> str:
    """Words no wider than ``width`` mm; the list beside the drawing has them whole."""
    if text_width(words, size, True) <= width:
        return words
    while words and text_width(f"{words}\u2026", size, True) > width:
        words = words[:-1]
    return f"{words.rstrip()}\u2026"


#: Where labels are tried, along and across the cloth.
_EVENLY = np.linspace(0.0, 1.0, 25), np.linspace(0.0, 1.0, 17)


def _boxes(at: NDArray[np.float64], wide: float, tall: float) -> NDArray[np.object_]:
    x, y = at[:, 0], at[:, 1]
    return np.asarray(shapely.box(x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2))


def _sides(shape: Polygon) -> tuple[float, float]:
    """Both sides of the smallest upright rectangle round a shape."""
    near, low, far, high = shape.bounds
    return far - near, high - low


def _dot(x: float, y: float, radius: float = 0.45) -> Shape:
    turns = [math.tau * k / 12 for k in range(12)]
    points = tuple((x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns)
    return Shape(points, INK, None)


def _label(
    rows: list[str], x: float, y: float, wide: float, tall: float, size: float, bold: bool = True
) -> list[Mark]:
    marks: list[Mark] = [rectangle(x - wide / 2, y - tall / 2, wide, tall, fill=WHITE, stroke=None)]
    pitch = tall / len(rows)
    for number, row in enumerate(rows):
        base = y - tall / 2 + (number + 0.76) * pitch
        marks.append(Text(x, base, row, size, bold, INK, "centre"))
    return marks


def _size_of(
    words: str, drawn: Polygon, taken: list[Polygon], cloth: Polygon, style: Style
) -> tuple[list[Mark], Polygon] | None:
    """What a crossed-out place is and how large, in it or beside it on bare cloth, and the room
    that takes; None where there is none."""
    first, _, rest = words.partition(" (")
    rows = [first, rest.removesuffix(")")]
    size = style.small
    wide, tall = _room(rows, size, bold=False)
    near, low, far, high = drawn.bounds
    middle = (near + far) / 2, (low + high) / 2
    beside = [
        (far + wide / 2 + 0.5, middle[1]),
        (near - wide / 2 - 0.5, middle[1]),
        (middle[0], high + tall / 2 + 0.3),
        (middle[0], low - tall / 2 - 0.3),
    ]
    boxes = [_box(*spot, wide, tall) for spot in (middle, *beside)]
    bare = shapely.difference(cloth, shapely.union_all([drawn, *taken]))
    rooms = [drawn, *(bare for _ in beside)]
    for box, room in zip(boxes, rooms, strict=True):
        if room.buffer(1e-6).contains(box):
            at = box.centroid
            return _label(rows, at.x, at.y, wide, tall, size, bold=False), box
    return None


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
    """The blank to stitch the real sample to.

    Parameters
    ----------
    width, height : float
        mm.
    style : Style
    """
    text = "Stitch the real sample here"
    return Block(
        (
            rectangle(0, 0, width, height, stroke=grey(0.35), line=0.3, dash=(2.2, 1.6)),
            Text(width / 2, height - 2.5, text, style.small, False, SOFT, "centre"),
        ),
        height,
    )
