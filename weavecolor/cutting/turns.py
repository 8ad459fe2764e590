"""How each piece may be turned on the cloth: grain, one-way cloth, mirrored pairs and folds.

Knows one piece against the warp; cloth in hand and the placing of many is ``lay``. In the cloth's
frame the warp runs along y.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple, cast

import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon

from weavecolor.cutting.nesting import Form, form
from weavecolor.cutting.pieces import (
    GRID,
    Piece,
    cut_about_fold,
    cut_outline,
    fold_turn,
    grain_arrow,
    mirror,
    sewing_outline,
    warp_angles,
)
from weavecolor.errors import InputError


class Part(NamedTuple):
    """A piece to cut, and the grain it is cut at where it fixes none of its own. ``other_hand``:
    of a pair whose one hand is cut elsewhere, whether all of it is the mirrored one; else None."""

    piece: Piece
    grain: str | float
    other_hand: bool | None = None


@dataclass(frozen=True, eq=False)
class Turned:
    """A piece in one allowed turn: its form and what is drawn in it."""

    form: Form
    sew: Polygon
    grain: LineString
    turned_deg: float
    mirrored: bool


@dataclass(frozen=True, eq=False)
class Item:
    """One thing to place: cutting it gives ``copies`` of the piece.

    ``part`` counts the given pieces; ``mirrored`` where it is the other hand of a pair.
    """

    piece: Piece
    ways: tuple[Turned, ...]
    copies: int
    on_fold: bool
    part: int
    mirrored: bool = False


def _turned(
    piece: Piece, warp_deg: float, flip: bool, fold: str, fold_shape: Polygon | None
) -> Turned | None:
    """The piece with the warp along y; None where its fold edge would not lie on the fold."""
    grain = -piece.grain_deg if flip else piece.grain_deg
    cut = cut_outline(piece) if fold_shape is None else fold_shape
    sew, arrow = sewing_outline(piece), grain_arrow(piece)
    pin = ""
    turn = -(grain + warp_deg)
    if fold_shape is not None:
        # Bring sewing line and arrow into the frame with the fold along x = 0.
        to_axis = fold_turn(piece)
        origin = piece.outline[piece.fold_edge or 0]
        sew = affinity.translate(sew, -origin[0], -origin[1])
        sew = affinity.rotate(sew, to_axis, origin=(0, 0))
        arrow = affinity.translate(arrow, -origin[0], -origin[1])
        arrow = affinity.rotate(arrow, to_axis, origin=(0, 0))
        turn -= to_axis
        off = turn % 180.0
        along = min(off, 180.0 - off) < 1e-6
        across = abs(off - 90.0) < 1e-6
        if (fold == "lengthwise" and not along) or (fold == "crosswise" and not across):
            return None
        pin = "x" if fold == "lengthwise" else "y"
    if flip:
        cut, sew, arrow = mirror(cut), mirror(sew), affinity.scale(arrow, -1, 1, origin=(0, 0))
    cut, sew = (affinity.rotate(thing, turn, origin=(0, 0)) for thing in (cut, sew))
    arrow = affinity.rotate(arrow, turn, origin=(0, 0))
    cut, sew = (shapely.set_precision(thing, 1e-9, mode="pointwise") for thing in (cut, sew))
    if pin:
        left, low, right, high = cut.bounds
        half = shapely.box(
            0.0 if pin == "x" else left - 1, 0.0 if pin == "y" else low - 1, right + 1, high + 1
        )
        cut, sew = (_within(thing, half) for thing in (cut, sew))
    made = form(shapely.orient_polygons(cut), pin)
    sew, arrow = affinity.translate(sew, *made.shift), affinity.translate(arrow, *made.shift)
    return Turned(made, sew, arrow, turn % 360.0, flip)


def _within(outline: Polygon, half: Polygon) -> Polygon:
    return cast(Polygon, shapely.intersection(outline, half, grid_size=GRID))


@lru_cache(maxsize=256)
def ways_to_turn(
    piece: Piece, grain: str | float, one_way: bool, flip: bool, fold: str = "open"
) -> tuple[Turned, ...]:
    """The different ways a piece may lie; none where its fold edge would leave the fold.

    Parameters
    ----------
    piece : Piece
    grain : str or float
        As for ``pieces.warp_angles``.
    one_way : bool
        Whether the cloth must not be turned by 180.
    flip : bool
        Whether the piece is mirrored.
    fold : {"open", "lengthwise", "crosswise"}
    """
    fold_shape = cut_about_fold(piece) if fold != "open" and piece.fold_edge is not None else None
    found: list[Turned] = []
    for angle in warp_angles(piece, grain, one_way):
        way = _turned(piece, angle, flip, fold, fold_shape)
        if way is None or any(_same(way.form.polygon, other.form.polygon) for other in found):
            continue
        found.append(way)
    return tuple(found)


def _same(a: Polygon, b: Polygon) -> bool:
    return bool(shapely.symmetric_difference(a, b, grid_size=GRID).area <= 1e-6 * a.area)


def mirrors_itself(piece: Piece, one_way: bool) -> bool:
    """Whether cutting it from the cloth's other side gives the same: both hands of a pair, or a
    piece that is its own mirror image, on its grain.

    Examples
    --------
    >>> mirrors_itself(Piece.rectangle("front", 20, 40), True)
    True
    """
    if piece.grain == "bias" or (one_way and piece.grain in ("cross", "either")):
        return False
    if piece.pair:
        return True
    turned = abs(piece.grain_deg) % (180.0 if one_way else 90.0)
    return turned < 1e-9 and _same(
        form(cut_outline(piece)).polygon, form(mirror(cut_outline(piece))).polygon
    )


def laid_items(
    parts: Sequence[Part], one_way: bool, fold: str
) -> tuple[list[Item], list[str]]:
    """Every copy to place, with the turns it may take; and notes for the maker.

    Parameters
    ----------
    parts : sequence of Part
    one_way : bool
        Whether the cloth must not be turned by 180.
    fold : {"open", "lengthwise", "crosswise"}
    """
    items: list[Item] = []
    notes: list[str] = []
    for part, (piece, grain, other_hand) in enumerate(parts):
        field = f"piece {piece.name!r}"
        plain = ways_to_turn(piece, grain, one_way, False, fold)
        if fold == "open":
            for copy in range(piece.quantity):
                other = bool(other_hand) or (piece.pair and copy % 2 == 1)
                ways = ways_to_turn(piece, grain, one_way, other)
                items.append(Item(piece, ways, 1, False, part, other))
            continue
        if piece.fold_edge is not None:
            if not plain:
                raise InputError(
                    f"its fold edge would not lie on a {fold} fold at this grain; lay the cloth "
                    "open and trace the whole piece, or fold the other way",
                    field=field,
                )
            items += [Item(piece, plain, 1, True, part)] * piece.quantity
            continue
        free_bias = "bias" in (piece.grain, grain if not piece.grain else "")
        square = all(angle % 90.0 < 1e-6 for angle in warp_angles(piece, grain, one_way))
        if not square and not (free_bias and piece.pair):
            raise InputError(
                "the under cloth of a fold is cut on the other diagonal; lay the cloth open",
                field=field,
            )
        over = ways_to_turn(piece, grain, one_way, True)
        if not piece.pair and not any(
            _same(a.form.polygon, b.form.polygon) for a in plain for b in over
        ):
            raise InputError(
                "folded cloth cuts it once each hand; mark it a pair, or lay the cloth open",
                field=field,
            )
        if piece.quantity % 2:
            notes.append(f"{piece.name}: cut double on the fold, so one is spare.")
        items += [Item(piece, plain, 2, False, part)] * ((piece.quantity + 1) // 2)
    return items, notes
