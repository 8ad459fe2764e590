"""The cloth in hand: a straight length or an odd remnant, with damage, one-way or not, and folds.

Knows the cloth's outline in cm, warp along y; nothing of what is cut from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from weavecolor.cutting.lengths import positive, unit_cm
from weavecolor.cutting.pieces import GRID, Points, check_outline
from weavecolor.errors import InputError

FOLDS = ("open", "lengthwise", "crosswise")


@dataclass(frozen=True)
class ClothInHand:
    """A length of cloth, or an odd remnant.

    Parameters
    ----------
    width_cm, length_cm : float
        Width between selvedges and length along the warp. With ``outline`` they are not read.
    outline : tuple of (x, y), optional
        An odd remnant's edge, cm, warp along y.
    damage : tuple of outlines
        Holes, stains and pulls to keep clear of, each a polygon.
    selvedge_cm : float
        Strip to leave along both selvedges (not on an odd remnant).
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
            if self.outline is not None:
                check_outline(self.outline, 1e5)
            else:
                positive(self.width_cm, "width_cm")
                positive(self.length_cm, "length_cm")
                positive(self.selvedge_cm, "selvedge_cm", zero=True)
                if 2 * self.selvedge_cm >= self.width_cm:
                    raise InputError("the selvedges take the whole width", field="selvedge_cm")
            for hole in self.damage:
                check_outline(hole, 1e5)
        except InputError as error:
            raise InputError(
                error.what, field=" ".join(filter(None, ("cloth in hand", error.field)))
            ) from None

    @classmethod
    def rectangle(
        cls, width: float, length: float, *, unit: str = "cm", **rest: object
    ) -> ClothInHand:
        """A straight length of cloth, ``width`` and ``length`` in ``unit``."""
        scale = unit_cm(unit)
        return cls(width * scale, length * scale, **rest)  # type: ignore[arg-type]

    @property
    def shape(self) -> BaseGeometry:
        """Where pieces may lie, cm: the cloth without selvedges and damage."""
        if self.outline is not None:
            sound: BaseGeometry = Polygon(self.outline)
        else:
            edge = self.selvedge_cm
            sound = shapely.box(edge, 0.0, self.width_cm - edge, self.length_cm)
        for hole in self.damage:
            sound = shapely.difference(sound, Polygon(hole), grid_size=GRID)
        return sound

    @property
    def edge(self) -> Polygon:
        """The whole cloth, with selvedges and damage, cm."""
        if self.outline is not None:
            return Polygon(self.outline)
        return shapely.box(0.0, 0.0, self.width_cm, self.length_cm)


def cloth_as_folded(cloth: ClothInHand, fold: str) -> BaseGeometry:
    """Where pieces may lie on the cloth as folded, its fold along x = 0 or y = 0.

    Examples
    --------
    >>> cloth_as_folded(ClothInHand(110.0, 200.0), "lengthwise").bounds
    (0.0, 0.0, 55.0, 200.0)
    """
    if fold not in FOLDS:
        raise InputError(f"{fold!r} is not a way to fold cloth; use {', '.join(FOLDS)}")
    if fold == "open":
        return cloth.shape
    if cloth.outline is not None or cloth.damage:
        raise InputError("only a sound straight length is laid folded; lay a remnant open")
    if fold == "crosswise":
        if cloth.one_way:
            raise InputError(
                "a crosswise fold turns the nap of one layer; fold lengthwise or lay it open"
            )
        edge = cloth.selvedge_cm
        return shapely.box(edge, 0.0, cloth.width_cm - edge, cloth.length_cm / 2.0)
    return shapely.box(0.0, 0.0, cloth.width_cm / 2.0 - cloth.selvedge_cm, cloth.length_cm)


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
