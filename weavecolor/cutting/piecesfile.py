"""What is to be cut as a TOML file: pattern pieces, the cloth in hand, fullness.

Knows the file's fields; what they mean is in ``pieces``, ``remnant`` and ``fullness``. A file looks
like this::

    unit = "cm"                # or "inch"; of every length in the file
    seam = 1.5                 # all round the pieces, unless a piece says otherwise
    fold = "open"              # or "lengthwise", "crosswise": how the cloth lies

    [[piece]]
    name = "skirt panel"
    across = 70
    down = 95
    quantity = 2               # fold_edge = "left" (or top, right, bottom) would cut it on the fold

    [[piece]]
    name = "bodice front"
    corners = [[0, 0], [22, 0], [24, 40], [0, 42]]      # the sewing line, y down the garment
    fold_edge = 3              # the edge from the fourth corner back to the first is on the fold

    [[cloth]]                  # in hand; one table for each length, the order they are used in
    name = "the last of the bolt"
    width = 112                # from selvedge to selvedge
    length = 250
    selvedge = 1               # strip to leave along both
    one_way = true

    [[cloth.flaw]]             # inside the cloth, or [[cloth.bite]] where it is gone at an edge
    across = 8
    along = 8
    from_left = 70             # of its nearest corner, from the left selvedge
    from_end = 190             # from the cut end that is laid from

    [[fullness]]               # cut in every layer, besides the pieces
    what = "skirt"
    kind = "gathered"          # or "knife", "box", "flat"
    finished = 72              # round the waist
    length = 84                # waist to hem
    fullness = 2.5             # or: widths = 2

Further fields of a piece: ``seam``, ``grain_line`` (degrees anticlockwise from straight down),
``pair`` (half of them mirrored), ``grain`` ("straight", "cross", "bias" or "either": whatever the
choice says), ``layers`` (in how many layers it is cut at most, from the outermost; left out, in
all). Of a cloth: ``corners`` of an odd remnant, warp along y, instead of width and length.
Of a flaw or bite: ``corners`` instead of the rest. Of a fullness: ``cloth_width``, ``seam``,
``top``, ``hem``, ``doubled``, ``hem_round``, ``pleat``, ``layers``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, TypeVar

from msgspec import Meta, Struct

from weavecolor.cutting.folds import KINDS, MOST_FULLNESS
from weavecolor.cutting.fullness import FullnessWanted
from weavecolor.cutting.lengths import LONGEST_CM, UNITS, WIDEST_CM
from weavecolor.cutting.pieces import (
    LARGEST_CM,
    WIDEST_SEAM_CM,
    Piece,
    Points,
    named_apart,
)
from weavecolor.cutting.remnant import FOLDS, ClothInHand, damage_words
from weavecolor.errors import InputError, one_line, within
from weavecolor.files.schema import Finite, Meant, chosen, fit, inside, value_of
from weavecolor.files.textfile import read_text, toml_table
from weavecolor.textile.grain import GRAINS

T = TypeVar("T")

MAX_BYTES = 1_000_000
#: Edges of a piece told by across and down, in the order of its corners.
_SIDES = ("top", "right", "bottom", "left")
_GRAIN_AT = {degrees: name for name, degrees in GRAINS.items()}
_LENGTHS = ("finished", "length", "cloth_width", "seam", "top", "hem", "hem_round", "pleat")
#: Width of cloth that is meant where neither the file nor the cloth in hand tells, cm.
_USUAL_WIDTH = 110.0
#: How words are read.
_READ = {
    name: partial(chosen, options)
    for name, options in (("unit", UNITS), ("fold", FOLDS), ("kind", KINDS))
}
#: What to write where a field is missing, or holds something else.
_EXAMPLES = {
    "unit": 'unit = "cm" or unit = "inch", of every length',
    **{
        f"{shape}.corners": "corners = [[0, 0], [70, 0], [70, 95]]"
        for shape in ("piece", "cloth", "cloth.flaw", "cloth.bite")
    },
    **{
        table: f"tables, each under [[{table}]]"
        for table in ("piece", "cloth", "cloth.flaw", "cloth.bite", "fullness")
    },
}
_MANY = Meta(max_length=500)


class Outlined(Struct, frozen=True, kw_only=True):
    """What is told by two sides, or by its corners; lengths are in the file's unit."""

    sides: ClassVar[tuple[str, str]]
    corners: Annotated[tuple[tuple[Finite, Finite], ...], _MANY] | None = None

    def __post_init__(self) -> None:
        told = [side for side in self.sides if getattr(self, side) is not None]
        if self.corners is not None and told:
            raise InputError(
                f"give corners, or {' and '.join(self.sides)}, not both", field="corners"
            )
        if self.corners is None and len(told) < 2:
            raise InputError("is missing", field=next(x for x in self.sides if x not in told))


class PieceTold(Outlined, frozen=True, kw_only=True):
    """A table ``piece``."""

    sides = ("across", "down")
    name: str
    across: float | None = None
    down: float | None = None
    quantity: int = 1
    seam: float | None = None
    grain_line: float = 0.0
    fold_edge: int | str | None = None
    pair: bool = False
    grain: str | float = ""
    layers: int | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        one_line(self.name, "name", 200)
        if not isinstance(self.grain, str) and abs(self.grain) not in _GRAIN_AT:
            raise InputError(
                f"use straight, cross, bias or either, got {self.grain:g}; a line drawn aslant on "
                "the piece is its grain_line, in degrees",
                field="grain",
            )
        within("grain_line", self.grain_line, -360.0, 360.0)
        if isinstance(self.fold_edge, str) and (self.corners or self.fold_edge not in _SIDES):
            raise InputError(
                f"write {', '.join(_SIDES)} of a piece told by across and down; of corners the "
                "number of the one that it begins at, the first being 0",
                field="fold_edge",
            )


class SpotTold(Outlined, frozen=True, kw_only=True):
    """A table ``flaw`` or ``bite`` of a cloth."""

    sides = ("across", "along")
    across: float | None = None
    along: float | None = None
    from_left: float | None = None
    from_end: float | None = None


class ClothTold(Outlined, frozen=True, kw_only=True):
    """A table ``cloth``."""

    sides = ("width", "length")
    name: str = ""
    width: float | None = None
    length: float | None = None
    selvedge: float | None = None
    one_way: bool = False
    flaw: Annotated[tuple[SpotTold, ...], _MANY] = ()
    bite: Annotated[tuple[SpotTold, ...], _MANY] = ()

    def __post_init__(self) -> None:
        super().__post_init__()
        one_line(self.name, "name", 200, empty=True)


class FullnessTold(Struct, frozen=True, kw_only=True):
    """A table ``fullness``."""

    what: str
    kind: Meant[Literal["kind"], str] | None = None
    finished: float
    length: float
    fullness: float | None = None
    widths: int | None = None
    doubled: bool = False
    cloth_width: float | None = None
    seam: float | None = None
    top: float | None = None
    hem: float | None = None
    hem_round: float | None = None
    pleat: float | None = None
    layers: int | None = None

    def __post_init__(self) -> None:
        one_line(self.what, "what", 60)
        if self.fullness is not None:
            within("fullness", self.fullness, 1.0, MOST_FULLNESS)


class FileTold(Struct, frozen=True, kw_only=True):
    """The whole file."""

    unit: Meant[Literal["unit"], str]
    seam: float | None = None
    fold: Meant[Literal["fold"], str] | None = None
    piece: Annotated[tuple[PieceTold, ...], _MANY] = ()
    cloth: Annotated[tuple[ClothTold, ...], _MANY] = ()
    fullness: Annotated[tuple[FullnessTold, ...], _MANY] = ()


@dataclass(frozen=True)
class CuttingFile:
    """What the file told: names of pieces told apart, ``fold`` "" where it does not say."""

    pieces: tuple[Piece, ...]
    cloth: tuple[ClothInHand, ...] = ()
    fullness: tuple[FullnessWanted, ...] = ()
    fold: str = ""


def read_cutting(path: str | Path) -> CuttingFile:
    """What the TOML file at ``path`` tells. Raises InputError naming file and field.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "pieces.toml"
    >>> text = 'unit = "cm"\\n[[piece]]\\nname = "panel"\\nacross = 70\\ndown = 95'
    >>> _ = file.write_text(text)
    >>> read_cutting(file).pieces[0].name
    'panel'
    """
    return cutting_from_toml(read_text(path, MAX_BYTES, "file of pieces"), str(path))


def cutting_from_toml(text: str, file: str = "pieces") -> CuttingFile:
    """What TOML text tells; see the module. Raises InputError naming file and field.

    Examples
    --------
    >>> text = 'unit = "inch"\\n[[fullness]]\\nwhat = "skirt"\\nfinished = 28\\nlength = 36'
    >>> round(cutting_from_toml(text).fullness[0].finished_cm, 2)
    71.12
    """
    data = toml_table(text, "file of pieces", file=file)
    rows = data.get("piece")
    if not (isinstance(rows, list) and rows) and (rows is not None or "fullness" not in data):
        raise InputError("give at least one piece, each under [[piece]]", file=file, field="piece")
    told = fit(data, FileTold, file, read=_READ, examples=_EXAMPLES)
    unit = UNITS[told.unit.value]
    with inside(file=file):
        seam = _cm(told, "", "seam", unit, WIDEST_SEAM_CM, 1.5)
        pieces = [_piece(x, f"piece[{i}]", unit, seam) for i, x in enumerate(told.piece)]
        cloth = tuple(_cloth(x, f"cloth[{i}]", unit) for i, x in enumerate(told.cloth))
        width = min((hand.usable_width_cm for hand in cloth), default=_USUAL_WIDTH)
        fullness = tuple(
            _fullness(x, f"fullness[{i}]", unit, width) for i, x in enumerate(told.fullness)
        )
    return CuttingFile(named_apart(pieces), cloth, fullness, value_of(told.fold) or "")


def _cm(
    row: Struct, place: str, key: str, unit: float, most: float, usual: float = 0.0
) -> float:
    """The length in a field, from 0 to ``most`` cm; ``usual`` where none is told."""
    told = getattr(row, key)
    if told is None:
        return usual
    within(f"{place}.{key}".lstrip("."), told, 0.0, most / unit)
    return float(told * unit)


def _made(place: str, name: str, make: Callable[[], T]) -> T:
    """What ``make`` makes; a complaint of its own gets the table's place."""
    try:
        return make()
    except InputError as error:
        inner = repr(name) if name else (error.field or "").removeprefix("cloth in hand").strip()
        raise InputError(error.what, field=f"{place} {inner}".strip()) from None


def _outline(
    row: Outlined, place: str, unit: float, most: float, left: float = 0.0, end: float = 0.0
) -> Points:
    """The corners in cm; those of two sides from the one that lies at ``left`` and ``end``."""
    if row.corners is not None:
        return tuple((x * unit, y * unit) for x, y in row.corners)
    across, along = (_cm(row, place, side, unit, most) for side in row.sides)
    right, far = left + across, end + along
    return ((left, end), (right, end), (right, far), (left, far))


def _cloth(row: ClothTold, place: str, unit: float) -> ClothInHand:
    hand = _made(
        place,
        row.name,
        partial(
            ClothInHand,
            _cm(row, place, "width", unit, WIDEST_CM),
            _cm(row, place, "length", unit, LONGEST_CM),
            None if row.corners is None else _outline(row, place, unit, LONGEST_CM),
            (),
            _cm(row, place, "selvedge", unit, 100.0),
            row.one_way,
            row.name,
        ),
    )
    for kind, spots in (("flaw", row.flaw), ("bite", row.bite)):
        for number, spot in enumerate(spots):
            at = f"{place}.{kind}[{number}]"
            left, end = (_cm(spot, at, x, unit, LONGEST_CM) for x in ("from_left", "from_end"))
            outline = _outline(spot, at, unit, LONGEST_CM, left, end)
            hand = _made(at, "", partial(replace, hand, damage=(*hand.damage, outline)))
            if not damage_words(outline, hand.edge).startswith(kind):
                raise InputError(
                    "lies inside the cloth: call it a flaw" if kind == "bite"
                    else "reaches an edge of the cloth: call it a bite",
                    field=at,
                )  # fmt: skip
    return hand


def _fullness(row: FullnessTold, place: str, unit: float, width: float) -> FullnessWanted:
    sizes: dict[str, Any] = {
        f"{key}_cm": _cm(row, place, key, unit, 1e5)
        for key in _LENGTHS
        if getattr(row, key) is not None
    }
    full, kind = row.fullness, value_of(row.kind) or "gathered"
    if full is None and row.widths is None:
        full = 1.0 if kind == "flat" else 2.5
    told = {"cloth_width_cm": width, **sizes, "widths": row.widths, "doubled": row.doubled,
            "layers": row.layers}
    return _made(
        place, row.what, lambda: FullnessWanted(what=row.what, kind=kind, fullness=full, **told)
    )


def _piece(row: PieceTold, place: str, unit: float, seam: float) -> Piece:
    edge = row.fold_edge
    return _made(
        place,
        row.name,
        partial(
            Piece,
            row.name,
            _outline(row, place, unit, LARGEST_CM),
            row.quantity,
            row.grain_line,
            _cm(row, place, "seam", unit, WIDEST_SEAM_CM, seam),
            _SIDES.index(edge) if isinstance(edge, str) else edge,
            row.pair,
            row.grain if isinstance(row.grain, str) else _GRAIN_AT[abs(row.grain)],
            row.layers,
        ),
    )
