"""The lay: pattern pieces on the cloth in hand, and whether they fit.

Cloth lies with its warp along y, the cut end at y = 0 and the width along x; lengths in cm.
Knows grain, one-way cloth, folds and damage; the placing itself is ``nesting``. The search is a
bottom-left heuristic over several orders, then local improvement: it finds lays, it cannot prove
that none exists. Area, width, length and stacking bounds can, and then the lay says so.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from weavecolor.cache import Kept, Packed
from weavecolor.cutting.lengths import LONGEST_CM, cm_and_inches, enough_words
from weavecolor.cutting.nesting import TOLERANCE, Form, Nest, largest_rectangle
from weavecolor.cutting.pieces import GRID, Piece, Points
from weavecolor.cutting.remnant import (
    ClothInHand,
    cloth_as_folded,
    damage_as_folded,
    edge_as_folded,
)
from weavecolor.cutting.turns import Item, Part, Turned, laid_items
from weavecolor.errors import InputError

FITS, NO_LAY, CANNOT = "fits", "no lay found", "cannot fit"
EFFORT = 1.0  # share of all lays that is tried, where nobody says how many


@dataclass(frozen=True)
class Placement:
    """One piece laid: outlines and grain line in cloth coordinates, cm.

    ``cut`` is the cutting line, ``sew`` the sewing line inside it (equal without allowance).
    ``grain`` runs down the garment. ``turned_deg`` is anticlockwise. ``copies`` is 2 where a
    folded lay cuts two at once; ``on_fold`` where half a piece lies against the fold.
    """

    name: str
    cut: Points
    sew: Points
    grain: tuple[tuple[float, float], tuple[float, float]]
    turned_deg: float
    mirrored: bool = False
    copies: int = 1
    on_fold: bool = False


@dataclass(frozen=True)
class Lay:
    """The result of :func:`lay`. Lengths in cm; with a folded lay, of the folded cloth unless said.

    Attributes
    ----------
    verdict : "fits", "no lay found" (the search found none, which proves nothing) or
        "cannot fit" (``reason`` proves it).
    used_cm : length of cloth taken off the roll, from the cut end to the last piece.
    bound_cm : no lay of these pieces can take less than this length; equal to ``used_cm``, the lay
        is the shortest there is.
    short_cm : by how much more cloth the search would have found a lay (straight lengths only).
    missing : names of the pieces not placed, once for each copy.
    left_over : for each given piece, how many of it were not placed as drawn, and mirrored.
    damage : flaws and bites where they lie on the cloth as it was laid, each in words.
    largest_left : largest clear upright rectangle, x, y, width, height.
    used_share : share of the cloth area up to ``used_cm`` that is cut out, 0-1.
    """

    verdict: str
    reason: str
    placements: tuple[Placement, ...]
    missing: tuple[str, ...]
    used_cm: float
    bound_cm: float
    short_cm: float | None
    largest_left: tuple[float, float, float, float]
    used_share: float
    fold: str
    edge: Points
    sound: BaseGeometry
    tries: int
    notes: tuple[str, ...] = ()
    left_over: tuple[tuple[int, int], ...] = ()
    damage: tuple[tuple[Points, str], ...] = ()

    @property
    def fits(self) -> bool:
        return self.verdict == FITS


#: What to do where a piece is wider than folded cloth.
OPEN_IT = " as it is folded: lay it open, and trace whole what would lie on the fold"


def _proof(
    items: list[Item], sound: BaseGeometry, straight: bool, folded: bool
) -> tuple[float, str]:
    """Least length any lay can take, and why these items cannot fit ("" where they might)."""
    left, low, right, high = sound.bounds
    width, length = right - left, high - low
    slack = TOLERANCE
    need = sum(item.ways[0].form.polygon.area for item in items)
    bound, why = need / width, ""
    if need > sound.area * (1 + 1e-9):
        why = f"the pieces cover {need / 1e4:.3f} m2, the cloth only {sound.area / 1e4:.3f} m2"
    stacked = 0.0
    for item in items:
        narrow = [way.form for way in item.ways if way.form.width <= width + slack]
        name = item.piece.name
        if not narrow:
            least = min(way.form.width for way in item.ways)
            return math.inf, (
                f"{name} is {enough_words(least)} across at this grain, "
                f"the cloth {cm_and_inches(width)}{OPEN_IT if folded else ''}"
            )
        least = min(shape.height for shape in narrow)
        bound = max(bound, least)
        if least > length + slack:
            why = why or (
                f"{name} takes {enough_words(least)} of length at this grain, "
                f"the cloth has {cm_and_inches(length)}"
            )
        if straight and all(shape.box and shape.width > width / 2.0 + slack for shape in narrow):
            stacked += least  # two such rectangles never lie side by side
    bound = max(bound, stacked)
    if stacked > length + slack:
        why = why or (
            f"the pieces wider than half the cloth must lie one after another, "
            f"{enough_words(stacked)} in all; the cloth has {cm_and_inches(length)}"
        )
    return bound, why


Layout = list[tuple[Turned, float, float] | None]
Score = tuple[float, float, float]


def _decode(
    nest: Nest, items: list[Item], order: list[int], choice: list[int], best: Score | None
) -> tuple[Score, Layout] | None:
    """Place the items one by one, low and left, each in its chosen or its best turn; None as soon
    as it is worse than the ``best`` score, for no number of it ever falls."""
    placed: list[tuple[Form, float, float]] = []
    layout: Layout = [None] * len(items)
    missing = top = weight = 0.0
    for index in order:
        item = items[index]
        ways = item.ways
        if choice[index] >= 0:
            ways = (ways[choice[index] % len(ways)],)
        low: tuple[float, float, Turned, float] | None = None
        for way in ways:
            spot = nest.lowest(placed, way.form)
            if spot is None:
                continue
            x, y = spot
            if low is None or (y + way.form.height, x) < (low[0] - TOLERANCE, low[1]):
                low = (y + way.form.height, x, way, y)
        if low is None:
            missing += ways[0].form.polygon.area
        else:
            high, x, way, y = low
            placed.append((way.form, x, y))
            layout[index] = (way, x, y)
            top = max(top, high)
            weight += high * way.form.polygon.area
        if best is not None and (missing, round(top, 6), weight) > best:
            return None
    return (missing, round(top, 6), weight), layout


def _search(
    nest: Nest,
    items: list[Item],
    tries: int,
    seed: int,
    enough: float,
    progress: Callable[[int, int, float], None] | None,
    stop: Callable[[], bool] | None,
) -> tuple[Score, Layout, int]:
    """Several orders, then local improvement; the same seed gives the same lay."""
    rng = random.Random(seed)
    first = [item.ways[0].form for item in items]
    keys: list[Callable[[int], float]] = [
        lambda i: first[i].polygon.area,
        lambda i: first[i].height,
        lambda i: first[i].width,
        lambda i: max(first[i].width, first[i].height),
        lambda i: first[i].width + first[i].height,
    ]
    # Pieces pinned to the fold have few places, so they go first.
    starts = [
        sorted(range(len(items)), key=lambda i: (not items[i].on_fold, -key(i), i)) for key in keys
    ]
    greedy = [-1] * len(items)
    best: tuple[Score, list[int], list[int], Layout] | None = None
    done = 0
    for number in range(max(1, tries)):
        if number < len(starts):
            order, choice = starts[number], greedy
        else:
            assert best is not None
            order, choice = list(best[1]), list(best[2])
            for _ in range(rng.choice((1, 1, 2, 3))):
                _nudge(rng, items, order, choice)
        made = _decode(nest, items, order, choice, best and best[0])
        done = number + 1
        if made is not None:
            best = made[0], order, choice, made[1]
        assert best is not None
        missing, top, _ = best[0]
        if progress is not None:
            progress(done, tries, top)
        if (missing == 0.0 and top <= enough + TOLERANCE) or (stop and stop()):
            break
    assert best is not None
    return best[0], best[3], done


#: Lays found, for other runs, too: score, tries, and for each item its turn (-1: none), x and y.
_found: Kept[tuple[Any, ...], tuple[NDArray[Any], NDArray[Any]]] = Kept(
    200,
    packed=Packed(
        "lay",
        lambda asked: asked,
        lambda made: {"score": made[0], "spots": made[1]},
        lambda _, arrays: (arrays["score"], arrays["spots"]),
    ),
)


def _searched(
    asked: tuple[Any, ...],
    nest: Nest,
    items: list[Item],
    tries: int,
    seed: int,
    enough: float,
    progress: Callable[[int, int, float], None] | None,
    stop: Callable[[], bool] | None,
) -> tuple[Score, Layout, int]:
    """As :func:`_search`, and kept where nobody watches: ``asked`` is all that the items and the
    cloth rest on."""
    if progress is not None or stop is not None:
        return _search(nest, items, tries, seed, enough, progress, stop)

    def search() -> tuple[NDArray[Any], NDArray[Any]]:
        score, layout, done = _search(nest, items, tries, seed, enough, None, None)
        spots = [
            (-1.0, 0.0, 0.0) if spot is None else (item.ways.index(spot[0]), *spot[1:])
            for item, spot in zip(items, layout, strict=True)
        ]
        return np.array([*score, done]), np.array(spots)

    (missing, top, weight, done), spots = _found.one(
        (*asked, nest.height, tries, seed, enough), search
    )
    layout: Layout = [
        None if way < 0 else (item.ways[int(way)], float(x), float(y))
        for item, (way, x, y) in zip(items, spots, strict=True)
    ]
    return (float(missing), float(top), float(weight)), layout, int(done)


def _nudge(rng: random.Random, items: list[Item], order: list[int], choice: list[int]) -> None:
    """Swap two, move one, or turn one, in place."""
    a, b = rng.randrange(len(order)), rng.randrange(len(order))
    kind = rng.random()
    if kind < 0.4:
        order[a], order[b] = order[b], order[a]
    elif kind < 0.75 or len(items[a].ways) == 1:
        order.insert(b, order.pop(a))
    else:
        choice[a] = rng.randrange(-1, len(items[a].ways))


def lay(
    pieces: Sequence[Piece],
    cloth: ClothInHand,
    grain: str | float = "straight",
    *,
    fold: str = "open",
    tries: int | None = None,
    seed: int = 0,
    progress: Callable[[int, int, float], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> Lay:
    """Lay the pieces on the cloth.

    Parameters
    ----------
    pieces : sequence of Piece, 1 to 500 copies in all
    cloth : ClothInHand
    grain : the option's grain for every piece that does not fix its own: "straight", "cross",
        "bias", "either", or the layer's grain_deg (see ``pieces.warp_angles``).
    fold : "open" (single; pieces on the fold are traced whole), "lengthwise" (folded along the
        warp, the fold at x = 0) or "crosswise" (along the weft, the fold at y = 0). Folded cloth
        cuts pairs two at a time.
    tries : lays to try; by default some 2000 for a dozen upright rectangles, 100 for other
        shapes.
    seed : the search is deterministic in it.
    progress : called with (done, tries, best length so far in cm).
    stop : called between tries; true ends the search with the best lay so far.

    Raises
    ------
    InputError
        No pieces, too many, or a piece that such a fold cannot cut.

    Examples
    --------
    >>> from weavecolor.cutting.pieces import Piece
    >>> panels = [Piece.rectangle("panel", 40.0, 60.0, quantity=2)]
    >>> made = lay(panels, ClothInHand(110.0, 100.0), tries=2)
    >>> made.verdict, round(made.used_cm)
    ('fits', 63)
    """
    return lay_parts(
        [Part(piece, grain) for piece in pieces],
        cloth,
        fold=fold,
        tries=tries,
        seed=seed,
        progress=progress,
        stop=stop,
    )


def lay_parts(
    parts: Sequence[Part],
    cloth: ClothInHand,
    *,
    fold: str = "open",
    tries: int | None = None,
    seed: int = 0,
    progress: Callable[[int, int, float], None] | None = None,
    stop: Callable[[], bool] | None = None,
    hopeless: bool = True,
) -> Lay:
    """As :func:`lay`, each piece with a grain of its own: the layers of one cloth at two grains.

    Parameters
    ----------
    parts : sequence of Part
        Each with its grain: "straight", "cross", "bias", "either" or degrees.
    cloth : ClothInHand
    fold : {"open", "lengthwise", "crosswise"}
    tries : int, optional
        Lays tried at most; by the number of pieces by default.
    seed : int
        Of the orders tried; the same one gives the same lay.
    progress : callable, optional
        Told (done, total, length used in cm).
    stop : callable, optional
        Asked between tries; true ends with the best so far.
    hopeless : bool
        Also lay what is proved not to fit, to show how much of it finds room and what is short.

    Examples
    --------
    >>> from weavecolor.cutting.pieces import Piece
    >>> panel = Piece.rectangle("panel", 40.0, 60.0)
    >>> parts = [Part(panel, 0.0), Part(panel, 90.0)]
    >>> made = lay_parts(parts, ClothInHand(110.0, 100.0), tries=2)
    >>> made.verdict, round(made.used_cm)
    ('fits', 63)
    """
    if not parts:
        raise InputError("there are no pieces to lay", field="pieces")
    if sum(part.piece.quantity for part in parts) > 500:
        raise InputError("more than 500 pieces to lay; lay them in parts", field="pieces")
    sound = cloth_as_folded(cloth, fold)
    if sound.area <= 0.0:
        raise InputError("no sound cloth is left", field="cloth in hand")
    items, notes = laid_items(parts, cloth.one_way, fold)
    left, low, _, high = sound.bounds
    length = high - low
    straight = cloth.outline is None
    bound, why = _proof(items, sound, straight, fold == "lengthwise")
    if why and not (hopeless and math.isfinite(bound)):
        return _result(cloth, sound, fold, items, [None] * len(items), CANNOT, why, bound, notes)

    # A straight length is first taken as endless, so that the shortfall is known too.
    nest = _nest(sound, endless=straight)
    if tries is None:
        simple = all(way.form.box for item in items for way in item.ways)
        tries = max(30, int(EFFORT * (40000 if simple else 1500)) // (len(items) + 5))
    if tries < 1:
        raise InputError("try at least one lay", field="tries")
    asked = tuple(parts), cloth, fold
    score, layout, done = _searched(asked, nest, items, tries, seed, bound, progress, stop)
    shortest = score[1]
    short = None
    if straight and shortest > length + TOLERANCE:
        short = (shortest - length) * (2.0 if fold == "crosswise" else 1.0)
        nest = _nest(sound)
        few = max(5, tries // 4)
        score, layout, more = _searched(asked, nest, items, few, seed, 0.0, None, stop)
        done += more
        if fold == "crosswise" and cloth.damage:
            short = _past_damage(asked, items, short, few, seed)
    if why:
        verdict = CANNOT
    elif score[0] == 0.0:
        verdict, why = FITS, "every piece is placed"
        if score[1] <= bound + 1e-4:
            why += ", and no lay can be shorter"
    else:
        verdict = NO_LAY
        why = "the search found no lay; that does not prove there is none"
    shifted: Layout = [
        None if spot is None else (spot[0], spot[1] + left, spot[2] + low) for spot in layout
    ]
    return _result(
        cloth, sound, fold, items, shifted, verdict, why, bound, notes, short=short, tries=done
    )


def _nest(sound: BaseGeometry, endless: bool = False) -> Nest:
    """The cloth as laid, from 0; without an end where ``endless``."""
    left, low, right, high = sound.bounds
    width, length = right - left, high - low
    home = affinity.translate(sound, -left, -low)
    blocked = shapely.difference(shapely.box(0.0, 0.0, width, length), home, grid_size=GRID)
    return Nest(width, math.inf if endless else length, blocked)


def _past_damage(
    asked: tuple[Any, ...], items: list[Item], short: float, tries: int, seed: int
) -> float | None:
    """By how much more cloth would do on a crosswise fold: ``short`` or, since the fold of a longer
    cloth lies further from the damage, what leaves room for all between them."""
    parts, cloth, fold = asked

    def search(length_cm: float, damage: tuple[Points, ...], endless: bool) -> Score:
        other = replace(cloth, length_cm=length_cm, damage=damage)
        nest = _nest(cloth_as_folded(other, fold), endless)
        return _searched((parts, other, fold), nest, items, tries, seed, 0.0, None, None)[0]

    room = 2.0 * search(cloth.length_cm, (), True)[1]
    last = max(y for hole in cloth.damage for _, y in hole)
    for more in (short, room + 2.0 * last - cloth.length_cm):
        long_cm = cloth.length_cm + more
        if long_cm <= LONGEST_CM and search(long_cm, cloth.damage, False)[0] == 0.0:
            return more
    return None


def _result(
    cloth: ClothInHand,
    sound: BaseGeometry,
    fold: str,
    items: list[Item],
    layout: Layout,
    verdict: str,
    reason: str,
    bound: float,
    notes: list[str],
    *,
    short: float | None = None,
    tries: int = 0,
) -> Lay:
    placements: list[Placement] = []
    shapes: list[Polygon] = []
    missing: list[str] = []
    left: dict[int, tuple[int, int]] = {}
    for item, spot in zip(items, layout, strict=True):
        if spot is None:
            missing += [item.piece.name] * item.copies
            plain, other = left.get(item.part, (0, 0))
            both = item.copies if item.piece.pair else 1
            gone = (1, 1) if both == 2 else (0, 1) if item.mirrored else (item.copies, 0)
            left[item.part] = plain + gone[0], other + gone[1]
            continue
        way, x, y = spot
        cut, sew = (affinity.translate(shape, x, y) for shape in (way.form.polygon, way.sew))
        arrow = affinity.translate(way.grain, x, y)
        shapes.append(cut)
        ends = tuple((float(u), float(v)) for u, v in arrow.coords)
        placements.append(
            Placement(
                item.piece.name,
                _corners(cut),
                _corners(sew),
                (ends[0], ends[1]),
                way.turned_deg,
                way.mirrored,
                item.copies,
                item.on_fold,
            )
        )
    _verify(shapes, sound)
    near, low, right, high = sound.bounds
    top = max([low, *(shape.bounds[3] for shape in shapes)])
    fold_factor = 2.0 if fold == "crosswise" else 1.0
    cut_area = sum(shape.area for shape in shapes)
    taken = shapely.intersection(sound, shapely.box(near, low, right, top), grid_size=GRID).area
    frame = shapely.difference(shapely.box(near, low, right, high), sound, grid_size=GRID)
    clear = largest_rectangle(sound.bounds, shapely.union_all([*shapes, frame], grid_size=GRID))
    return Lay(
        verdict,
        reason,
        tuple(placements),
        tuple(missing),
        (top - low) * fold_factor,
        bound * fold_factor,
        short,
        clear,
        cut_area / taken if taken > 0.0 else 0.0,
        fold,
        _corners(edge_as_folded(cloth, fold)),
        sound,
        tries,
        tuple(notes),
        tuple(left.get(part, (0, 0)) for part in range(1 + max(item.part for item in items))),
        damage_as_folded(cloth, fold),
    )


def _corners(shape: Polygon) -> Points:
    return tuple((float(x), float(y)) for x, y in shape.exterior.coords[:-1])


def _verify(shapes: list[Polygon], sound: BaseGeometry) -> None:
    """Check the finished lay afresh: one that overlaps or overhangs is never handed out."""
    again = "shift a corner of the cloth or a piece by a millimetre and lay again"
    around = shapely.buffer(sound, 4 * TOLERANCE, join_style="mitre")
    tree = shapely.STRtree(shapes)
    for index, shape in enumerate(shapes):
        if not shapely.covers(around, shape):
            raise InputError(f"the lay failed its check, a piece off the cloth; {again}")
        core = shapely.buffer(shape, -2 * TOLERANCE, join_style="mitre")
        hits = tree.query(core, predicate="intersects")
        for other in hits[hits != index]:
            if shapely.intersection(core, shapes[other], grid_size=GRID).area > 1e-9:
                raise InputError(f"the lay failed its check, two pieces overlap; {again}")
