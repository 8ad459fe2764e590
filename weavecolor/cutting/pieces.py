"""Pattern pieces: outline, grain line, seam allowance, fold, pairs, and how they may be turned.

Knows one piece at a time, in cm; laying many on cloth is ``lay``. A piece's own frame has y
pointing down the garment unless its grain line is drawn at another angle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon

from weavecolor.cutting.lengths import positive, unit_cm
from weavecolor.errors import InputError, shown
from weavecolor.optics.stack import layer_count
from weavecolor.textile.grain import angle_deg

GRAINS = {"straight": 0.0, "cross": 90.0, "bias": 45.0}
LARGEST_CM = 2000.0
WIDEST_SEAM_CM = 20.0
# Corners lie nearer than 10 km: overlays multiply what they are given, and lose what is beyond or
# next to nothing.
_NEAR_CM, _FAR_CM = 1e-100, 1e6
# Overlays snap to this grid, cm: in plain floating point, nearly coincident edges can lose or
# invent a whole part.
GRID = 1e-9
_MITRE_LIMIT = 3.0  # sharper corners are cut off square, as one trims a dart point

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Piece:
    """One pattern piece.

    Parameters
    ----------
    name : str
    outline : tuple of (x, y)
        The sewing line in cm, 3 to 500 corners, either way round, not closed.
    quantity : int, 1 to 500
        How many to cut, counting both of a pair.
    grain_deg : float
        Grain line drawn on the piece, degrees anticlockwise from its y axis.
    seam_cm : float, 0 to 20
        Seam allowance added all round (not on the fold), corners mitred.
    fold_edge : int, optional
        Cut on the fold: which edge lies on it, counted from 0 (edge i runs from corner i to
        i + 1). The outline is then one half.
    pair : bool
        Cut half of the quantity mirrored (left and right); the quantity is then even.
    grain : {"", "straight", "cross", "bias", "either"}
        A grain this piece must have whatever the option says ("either": straight or cross).
        "": as the option says.
    layers : int, optional
        In how many layers of a stack it is cut at most, 1 to 12, counted from the outermost; None:
        in all.

    Raises
    ------
    InputError
        Naming the piece: too few corners, crossing itself, empty, too large, bad numbers.
    """

    name: str
    outline: Points
    quantity: int = 1
    grain_deg: float = 0.0
    seam_cm: float = 1.5
    fold_edge: int | None = None
    pair: bool = False
    grain: str = ""
    layers: int | None = None

    def __post_init__(self) -> None:
        try:
            self._check()
        except InputError as error:
            raise error.at(field=f"piece {self.name!r}") from None

    def _check(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError("a piece needs a name")
        check_outline(self.outline)
        quantity = self.quantity
        if isinstance(quantity, bool) or not isinstance(quantity, int) or not 1 <= quantity <= 500:
            raise InputError(f"quantity {shown(quantity)} will not do; cut 1 to 500")
        if self.pair and self.quantity % 2:
            raise InputError(f"a pair is cut in even numbers, not {self.quantity}")
        if self.pair and self.fold_edge is not None:
            raise InputError("a piece cut on the fold is its own mirror image; it is no pair")
        angle_deg(self.grain_deg)
        if not math.isfinite(self.seam_cm) or not 0.0 <= self.seam_cm <= WIDEST_SEAM_CM:
            raise InputError(
                f"seam allowance {self.seam_cm!r} will not do; use 0 to {WIDEST_SEAM_CM:.0f} cm"
            )
        if self.grain not in ("", "either", *GRAINS):
            raise InputError(
                f"{shown(self.grain)} is not a grain; use straight, cross, bias, either or leave "
                "empty"
            )
        if self.layers is not None:
            layer_count(self.layers)
        if self.fold_edge is not None:
            if isinstance(self.fold_edge, bool) or not 0 <= self.fold_edge < len(self.outline):
                raise InputError(
                    f"edge {shown(self.fold_edge)} is not one of the {len(self.outline)}"
                )
            _unfold(self)

    @classmethod
    def rectangle(
        cls, name: str, across: float, down: float, *, unit: str = "cm", **rest: object
    ) -> Piece:
        """A rectangle ``across`` by ``down`` the grain, in ``unit``; the rest as for Piece (cm).

        With ``fold_edge=3`` the left-hand edge lies on the fold.

        Parameters
        ----------
        name : str
        across, down : float
            Sewing line, in ``unit``, above 0.
        unit : str
            "cm", "inch" and the like.
        rest
            Other fields of Piece.
        """
        scale = unit_cm(unit)
        field = f"piece {name!r}"
        w = positive(across, field) * scale
        h = positive(down, field) * scale
        return cls(name, ((0.0, 0.0), (w, 0.0), (w, h), (0.0, h)), **rest)  # type: ignore[arg-type]

    @classmethod
    def polygon(cls, name: str, corners: object, *, unit: str = "cm", **rest: object) -> Piece:
        """A polygon from corner coordinates in ``unit``; the rest as for Piece (cm).

        Parameters
        ----------
        name : str
        corners : sequence of (across, down)
            At least three, in ``unit``.
        unit : str
            "cm", "inch" and the like.
        rest
            Other fields of Piece.
        """
        scale = unit_cm(unit)
        try:
            outline = tuple((float(x) * scale, float(y) * scale) for x, y in corners)  # type: ignore
        except (TypeError, ValueError):
            raise InputError(
                "corners are pairs of numbers, x and y", field=f"piece {name!r}"
            ) from None
        return cls(name, outline, **rest)  # type: ignore[arg-type]


def check_outline(outline: object, most: float = LARGEST_CM) -> Polygon:
    """The outline as a valid polygon. Raises InputError saying what is wrong with it.

    Examples
    --------
    >>> check_outline(((0.0, 0.0), (4.0, 0.0), (4.0, 3.0))).area
    6.0
    """
    if not isinstance(outline, tuple) or not 3 <= len(outline) <= 500:
        raise InputError("an outline has 3 to 500 corners")
    for corner in outline:
        if not (
            isinstance(corner, tuple)
            and len(corner) == 2
            and all(isinstance(v, int | float) and not isinstance(v, bool) for v in corner)
            and all(v == 0.0 or _NEAR_CM < abs(v) < _FAR_CM for v in corner)
        ):
            raise InputError(f"corner {shown(corner)} is not a pair of numbers in cm")
    shape = Polygon(outline)
    if shape.convex_hull.area < 1e-4:
        raise InputError("the outline encloses nothing; give corners round an area")
    if not shape.is_valid:
        reason = shapely.is_valid_reason(shape)
        if "Self-intersection" in reason:
            where = reason[reason.index("[") + 1 : reason.rindex("]")].replace(" ", ", ")
            raise InputError(f"the outline crosses or touches itself at ({where}); untangle it")
        raise InputError(f"the outline is not a simple shape ({reason.lower()})")
    if shape.area < 1e-4:
        raise InputError("the outline encloses nothing; give corners round an area")
    left, low, right, high = shape.bounds
    if max(right - left, high - low) > most:
        raise InputError(f"larger than {most:g} cm across; check the unit (cm or inch)")
    return shapely.orient_polygons(shape)


def named_apart(pieces: Sequence[Piece]) -> tuple[Piece, ...]:
    """The pieces, those of a name that was there before with a number after it.

    Examples
    --------
    >>> cuff = Piece.rectangle("cuff", 8.0, 22.0)
    >>> [piece.name for piece in named_apart([cuff, cuff])]
    ['cuff', 'cuff (2)']
    """
    used = {piece.name for piece in pieces}
    seen: set[str] = set()
    found = []
    for piece in pieces:
        name, number = piece.name, 1
        while name in seen or (number > 1 and name in used):
            number += 1
            name = f"{piece.name} ({number})"
        seen.add(name)
        found.append(piece if name == piece.name else replace(piece, name=name))
    return tuple(found)


def _fold_line(piece: Piece) -> tuple[tuple[float, float], float]:
    """A point on the fold and the fold's direction, degrees anticlockwise from x."""
    assert piece.fold_edge is not None
    a = piece.outline[piece.fold_edge]
    b = piece.outline[(piece.fold_edge + 1) % len(piece.outline)]
    return a, math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))


def _fold_to_axis(shape: Polygon, piece: Piece) -> Polygon:
    """``shape`` turned so that the fold runs along x = 0."""
    origin, direction = _fold_line(piece)
    shape = affinity.translate(shape, -origin[0], -origin[1])
    return affinity.rotate(shape, 90.0 - direction, origin=(0.0, 0.0))


def _axis_to_fold(shape: Polygon, piece: Piece) -> Polygon:
    origin, direction = _fold_line(piece)
    shape = affinity.rotate(shape, direction - 90.0, origin=(0.0, 0.0))
    return affinity.translate(shape, origin[0], origin[1])


def mirror(shape: Polygon) -> Polygon:
    """Turned over left to right about x = 0, corners still anticlockwise.

    Examples
    --------
    >>> mirror(shapely.box(0.0, 0.0, 2.0, 1.0)).bounds
    (-2.0, 0.0, 0.0, 1.0)
    """
    return shapely.orient_polygons(affinity.scale(shape, -1.0, 1.0, origin=(0.0, 0.0)))


def _unfold(piece: Piece) -> Polygon:
    half = _fold_to_axis(Polygon(piece.outline), piece)
    left, _, right, _ = half.bounds
    if left < -1e-6 and right > 1e-6:
        raise InputError(
            f"the outline lies on both sides of fold edge {piece.fold_edge}; "
            "draw one half with the fold as a straight outer edge"
        )
    whole = shapely.union(half, mirror(half), grid_size=GRID)
    if not isinstance(whole, Polygon) or abs(whole.area - 2.0 * half.area) > 1e-6 * whole.area:
        raise InputError(f"the outline does not unfold about edge {piece.fold_edge}")
    return shapely.orient_polygons(_axis_to_fold(whole, piece))


def sewing_outline(piece: Piece) -> Polygon:
    """The finished piece, opened out if it is cut on the fold, without seam allowance, cm.

    Examples
    --------
    >>> sewing_outline(Piece.rectangle("front", 20, 40, fold_edge=3)).bounds
    (-20.0, 0.0, 20.0, 40.0)
    """
    if piece.fold_edge is None:
        return shapely.orient_polygons(Polygon(piece.outline))
    return _unfold(piece)


def cut_outline(piece: Piece) -> Polygon:
    """What the shears follow: opened out, seam allowance added with mitred corners, cm.

    Examples
    --------
    >>> cut_outline(Piece.rectangle("front", 20, 40, seam_cm=1.5)).bounds
    (-1.5, -1.5, 21.5, 41.5)
    """
    shape = sewing_outline(piece)
    if piece.seam_cm > 1e-6:
        shape = shape.buffer(piece.seam_cm, join_style="mitre", mitre_limit=_MITRE_LIMIT)
    return shapely.orient_polygons(Polygon(shape.exterior))


def cut_about_fold(piece: Piece) -> Polygon:
    """The cut outline turned so that its fold runs along x = 0, cm.

    :func:`fold_turn` tells by how much. Raises InputError for a piece not cut on the fold.

    Examples
    --------
    >>> [round(x, 6) for x in cut_about_fold(Piece.rectangle("front", 20, 40, fold_edge=3)).bounds]
    [-21.5, -1.5, 21.5, 41.5]
    """
    if piece.fold_edge is None:
        raise InputError("it is not cut on the fold", field=f"piece {piece.name!r}")
    return _fold_to_axis(cut_outline(piece), piece)


def fold_turn(piece: Piece) -> float:
    """Degrees anticlockwise by which :func:`cut_about_fold` turned the piece.

    Examples
    --------
    >>> fold_turn(Piece.rectangle("front", 20, 40, fold_edge=3))
    180.0
    """
    return 90.0 - _fold_line(piece)[1]


def warp_angles(piece: Piece, grain: str | float, one_way: bool) -> tuple[float, ...]:
    """Directions the warp may take on this piece, degrees anticlockwise from the grain line.

    ``grain`` is the option's: a number (the layer's grain_deg), or "straight", "cross", "bias",
    "either". Two-way cloth also takes each turned by 180; a word "bias" also takes the other
    diagonal. On one-way cloth (nap, one-way print, a shot that differs up and down) every piece
    keeps the same single direction.

    Parameters
    ----------
    piece : Piece
    grain : str or float
    one_way : bool
        Whether the cloth must not be turned by 180.

    Examples
    --------
    >>> warp_angles(Piece.rectangle("front", 20, 40), "straight", one_way=False)
    (0.0, 180.0)
    """
    wanted: str | float = piece.grain or grain
    if isinstance(wanted, str):
        if wanted == "either":
            angles = [0.0, 90.0]
        elif wanted in GRAINS:
            angles = [GRAINS[wanted]]
            if wanted == "bias" and not one_way:
                angles.append(135.0)
        else:
            raise InputError(
                f"{wanted!r} is not a grain; use straight, cross, bias, either or degrees"
            )
    else:
        angles = [angle_deg(wanted, "grain")]
    if not one_way:
        angles += [angle + 180.0 for angle in angles]
    return tuple(angle % 360.0 for angle in angles)


def grain_arrow(piece: Piece) -> LineString:
    """The grain line as drawn on the opened-out piece: through its middle, down the garment.

    Examples
    --------
    >>> grain_arrow(Piece.rectangle("front", 20, 40)).length
    12.0
    """
    shape = sewing_outline(piece)
    middle = shape.representative_point()
    angle = math.radians(piece.grain_deg)
    reach = 0.3 * min(shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1])
    dx, dy = -math.sin(angle) * reach, math.cos(angle) * reach
    return LineString([(middle.x - dx, middle.y - dy), (middle.x + dx, middle.y + dy)])


def cut_area_cm2(piece: Piece) -> float:
    """Area of one cut piece, opened out with its seam allowance, cm2.

    Examples
    --------
    >>> cut_area_cm2(Piece.rectangle("front", 20, 40, seam_cm=0.0))
    800.0
    """
    return float(cut_outline(piece).area)


def outer_words(outer: int) -> str:
    """In which layers alone a thing is cut.

    Examples
    --------
    >>> outer_words(1), outer_words(2)
    ('in the outermost layer alone', 'in the outer 2 layers alone')
    """
    return f"in the outer{'most layer' if outer == 1 else f' {outer} layers'} alone"
