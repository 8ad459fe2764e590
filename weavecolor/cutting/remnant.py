"""The cloth in hand: a straight length or an odd remnant, with damage, one-way or not, and folds.

Knows the cloth's outline in cm, warp along y; nothing of what is cut from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from weavecolor.cutting.lengths import (
    LONGEST_CM,
    WIDEST_CM,
    cm,
    cm_and_inches,
    inches,
    positive,
    unit_cm,
)
from weavecolor.cutting.pieces import GRID, Points, check_outline
from weavecolor.errors import InputError

FOLDS = ("open", "lengthwise", "crosswise")


@dataclass(frozen=True)
class ClothInHand:
    """A length of cloth, or an odd remnant.

    Parameters
    ----------
    width_cm, length_cm : float
        Width from selvedge to selvedge, both included, and length along the warp. With
        ``outline`` they are not read.
    outline : tuple of (x, y), optional
        An odd remnant's edge, cm, warp along y.
    damage : tuple of outlines
        What to keep clear of, each a polygon: flaws (holes, stains, pulls) inside the cloth, bites
        (what was cut out of it before) at its edge.
    selvedge_cm : float
        Strip to leave along both selvedges. On an odd remnant these are its outermost edges on
        either side, where they run along the warp.
    one_way : bool
        Nap, a one-way print, or a shot that differs seen up and down: no piece is turned.
    """

    width_cm: float = 0.0
    length_cm: float = 0.0
    outline: Points | None = None
    damage: tuple[Points, ...] = ()
    selvedge_cm: float = 0.0
    one_way: bool = False
    name: str = ""

    def __post_init__(self) -> None:
        try:
            positive(self.selvedge_cm, "selvedge_cm", zero=True)
            wide = self.width_cm
            if self.outline is not None:
                left, _, right, _ = check_outline(self.outline, LONGEST_CM).bounds
                wide = right - left
                positive(wide, "outline", most=WIDEST_CM)
            else:
                positive(self.width_cm, "width_cm", most=WIDEST_CM)
                positive(self.length_cm, "length_cm", most=LONGEST_CM)
            if 2 * self.selvedge_cm >= wide:
                raise InputError("the selvedges take the whole width", field="selvedge_cm")
            for hole in self.damage:
                check_outline(hole, LONGEST_CM)
                if shapely.intersection(Polygon(hole), self.edge, grid_size=GRID).area == 0.0:
                    left, low, right, high = self.edge.bounds
                    raise InputError(
                        "a flaw or bite lies off the cloth, which is "
                        f"{cm(right - left)} x {cm(high - low)}"
                    )
        except InputError as error:
            raise InputError(
                error.what, field=" ".join(filter(None, ("cloth in hand", error.field)))
            ) from None

    @classmethod
    def rectangle(
        cls, width: float, length: float, *, unit: str = "cm", **rest: object
    ) -> ClothInHand:
        """A whole width of cloth of ``width`` by ``length``, in ``unit``; ``rest``: the other
        fields, cm.

        Raises InputError for an unknown unit, and as the type does.
        """
        scale = unit_cm(unit)
        return cls(width * scale, length * scale, **rest)  # type: ignore[arg-type]

    @property
    def shape(self) -> BaseGeometry:
        """Where pieces may lie, cm: the cloth without selvedges and damage."""
        sound: BaseGeometry = self.edge
        for strip in (*self._selvedges(), *map(Polygon, self.damage)):
            sound = shapely.difference(sound, strip, grid_size=GRID)
        return sound

    def _selvedges(self) -> tuple[Polygon, ...]:
        """The strips to leave, along the outermost edges that run with the warp."""
        edge = self.selvedge_cm
        if edge <= 0.0:
            return ()
        left, low, right, high = self.edge.bounds
        corners = list(self.edge.exterior.coords)
        sides = {
            x
            for (x0, y0), (x1, y1) in zip(corners[:-1], corners[1:], strict=True)
            if abs(x0 - x1) < 1e-6 < abs(y0 - y1)
            for x in (x0, x1)
        }
        strips = []
        if left in sides:
            strips.append(shapely.box(left, low, left + edge, high))
        if right in sides:
            strips.append(shapely.box(right - edge, low, right, high))
        return tuple(strips)

    @property
    def edge(self) -> Polygon:
        """The whole cloth, with selvedges and damage, cm."""
        if self.outline is not None:
            return Polygon(self.outline)
        return shapely.box(0.0, 0.0, self.width_cm, self.length_cm)

    @property
    def usable_width_cm(self) -> float:
        """Width between the strips to leave, cm; of an odd remnant, of its widest part."""
        left, _, right, _ = self.shape.bounds if not self.shape.is_empty else (0.0,) * 4
        return right - left


def damage_words(hole: Points, edge: BaseGeometry) -> str:
    """A place to keep clear of, by kind and size: "bite 30 x 40 cm (11 3/4 x 15 3/4 in)".

    Examples
    --------
    >>> damage_words(((0, 0), (30, 0), (30, 40), (0, 40)), ClothInHand(110.0, 200.0).edge)
    'bite 30 x 40 cm (11 3/4 x 15 3/4 in)'
    """
    part = shapely.intersection(Polygon(hole), edge, grid_size=GRID)
    left, low, right, high = (part if not part.is_empty else Polygon(hole)).bounds
    kind = "bite" if shapely.distance(part, edge.boundary) < 1e-6 else "flaw"
    across, along = right - left, high - low
    return (
        f"{kind} {cm(across).removesuffix(' cm')} x {cm(along)} "
        f"({inches(across).removesuffix(' in')} x {inches(along)})"
    )


def in_hand_words(cloth: ClothInHand) -> str:
    """The cloth in hand in one line, in cm and inches.

    Examples
    --------
    >>> in_hand_words(ClothInHand(112.0, 250.0, selvedge_cm=1.0, one_way=True))
    '112 cm (44 1/8 in) wide, 250 cm (98 3/8 in) long, selvedges 1 cm (3/8 in), one way'
    """
    if cloth.outline is not None:
        left, low, right, high = cloth.edge.bounds
        size = f"odd remnant, {cm_and_inches(right - left)} by {cm_and_inches(high - low)} at most"
    else:
        size = f"{cm_and_inches(cloth.width_cm)} wide, {cm_and_inches(cloth.length_cm)} long"
    parts = [cloth.name] if cloth.name else []
    parts.append(size)
    if cloth.selvedge_cm > 0.0:
        parts.append(f"selvedges {cm_and_inches(cloth.selvedge_cm)}")
    parts += ["one way"] if cloth.one_way else []
    for hole in cloth.damage:
        left, low, _, _ = Polygon(hole).bounds
        where = f"{cm(max(0.0, left))} from the left, {cm(max(0.0, low))} from the cut end"
        parts.append(f"{damage_words(hole, cloth.edge)}, {where}")
    return ", ".join(parts)


def cloth_as_folded(cloth: ClothInHand, fold: str) -> BaseGeometry:
    """Where pieces may lie on the cloth as folded, its fold along x = 0 or y = 0.

    A place is sound where both layers of the folded cloth are.

    Examples
    --------
    >>> cloth_as_folded(ClothInHand(110.0, 200.0), "lengthwise").bounds
    (0.0, 0.0, 55.0, 200.0)
    """
    if fold not in FOLDS:
        raise InputError(f"{fold!r} is not a way to fold cloth; use {', '.join(FOLDS)}")
    sound = cloth.shape
    if fold == "open":
        return sound
    if cloth.outline is not None:
        raise InputError("only a straight length is laid folded; lay a remnant open")
    if fold == "crosswise" and cloth.one_way:
        raise InputError(
            "a crosswise fold turns the nap of one layer; fold lengthwise or lay it open"
        )
    middle = (cloth.width_cm / 2.0, 0.0) if fold == "lengthwise" else (0.0, cloth.length_cm / 2.0)
    moved = affinity.translate(sound, -middle[0], -middle[1])
    turned = (-1.0, 1.0) if fold == "lengthwise" else (1.0, -1.0)
    over = affinity.scale(moved, *turned, origin=(0.0, 0.0))
    return _both(_both(moved, over), edge_as_folded(cloth, fold))


def _both(one: BaseGeometry, other: BaseGeometry) -> BaseGeometry:
    """Where both are, without the lines and points at which they only touch."""
    parts = shapely.get_parts(shapely.intersection(one, other, grid_size=GRID))
    return shapely.union_all([part for part in parts if part.area > 0.0])


def edge_as_folded(cloth: ClothInHand, fold: str) -> Polygon:
    """The whole cloth as folded, selvedges and all.

    Examples
    --------
    >>> edge_as_folded(ClothInHand(110.0, 200.0), "crosswise").bounds
    (0.0, 0.0, 110.0, 100.0)
    """
    if fold == "lengthwise":
        return shapely.box(0.0, 0.0, cloth.width_cm / 2.0, cloth.length_cm)
    if fold == "crosswise":
        return shapely.box(0.0, 0.0, cloth.width_cm, cloth.length_cm / 2.0)
    return cloth.edge


def damage_as_folded(cloth: ClothInHand, fold: str) -> tuple[tuple[Points, str], ...]:
    """The flaws and bites of both layers where they lie on the folded cloth, each in words.

    Examples
    --------
    >>> hand = ClothInHand(110.0, 200.0, damage=(((100, 0), (110, 0), (110, 5)),))
    >>> damage_as_folded(hand, "lengthwise")[0][0]
    ((45.0, 0.0), (55.0, 0.0), (55.0, 5.0))
    """
    found: list[tuple[Points, str]] = []
    for hole in cloth.damage:
        words = damage_words(hole, cloth.edge)
        shape = Polygon(hole)
        lying = [shape]
        if fold == "lengthwise":
            shape = affinity.translate(shape, -cloth.width_cm / 2.0, 0.0)
            lying = [shape, affinity.scale(shape, -1.0, 1.0, origin=(0.0, 0.0))]
        elif fold == "crosswise":
            shape = affinity.translate(shape, 0.0, -cloth.length_cm / 2.0)
            lying = [shape, affinity.scale(shape, 1.0, -1.0, origin=(0.0, 0.0))]
        for one in lying:
            part = shapely.intersection(one, edge_as_folded(cloth, fold), grid_size=GRID)
            for piece in getattr(part, "geoms", [part]):
                if piece.geom_type == "Polygon" and not piece.is_empty:
                    ring = shapely.orient_polygons(piece).exterior.coords[:-1]
                    found.append((tuple((float(x), float(y)) for x, y in ring), words))
    return tuple(found)
