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
choice says). Of a cloth: ``corners`` of an odd remnant, warp along y, instead of width and length.
Of a flaw or bite: ``corners`` instead of the rest. Of a fullness: ``cloth_width``, ``seam``,
``top``, ``hem``, ``doubled``, ``hem_round``, ``pleat``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from weavecolor.cutting.folds import KINDS, MOST_FULLNESS
from weavecolor.cutting.fullness import FullnessWanted
from weavecolor.cutting.lengths import LONGEST_CM, UNITS, WIDEST_CM
from weavecolor.cutting.pieces import (
    WIDEST_SEAM_CM,
    Piece,
    Points,
    check_outline,
    named_apart,
)
from weavecolor.cutting.remnant import FOLDS, ClothInHand, damage_words
from weavecolor.errors import InputError
from weavecolor.files.fields import Fields
from weavecolor.files.textfile import read_text, toml_table

T = TypeVar("T")

MAX_BYTES = 1_000_000
_KEYS = (
    "name", "across", "down", "corners", "quantity", "seam", "grain_line", "fold_edge", "pair",
    "grain",
)  # fmt: skip
#: Edges of a piece told by across and down, in the order of its corners.
_SIDES = ("top", "right", "bottom", "left")
_LENGTHS = ("finished", "length", "cloth_width", "seam", "top", "hem", "hem_round", "pleat")
#: Width of cloth that is meant where neither the file nor the cloth in hand tells, cm.
_USUAL_WIDTH = 110.0


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
    top = Fields(toml_table(text, "file of pieces", file=file), file)
    top.only(("unit", "seam", "fold", "piece", "cloth", "fullness"))
    if "unit" not in top and any(key in top for key in ("piece", "cloth", "fullness")):
        raise top.refuse('is missing; write unit = "cm" or unit = "inch", of every length', "unit")
    unit = UNITS[top.choice("unit", tuple(UNITS), "cm")]
    seam = top.number("seam", 0.0, WIDEST_SEAM_CM / unit, 1.5 / unit) * unit
    fold = top.choice("fold", FOLDS, "") if "fold" in top else ""
    if "fullness" not in top or "piece" in top:
        rows = top.get("piece")
        if not isinstance(rows, list) or not rows:
            raise top.refuse("give at least one piece, each under [[piece]]", "piece")
    pieces = tuple(_piece(row, unit, seam) for row in _tables(top, "piece"))
    cloth = tuple(_cloth(row, unit) for row in _tables(top, "cloth"))
    width = min((hand.usable_width_cm for hand in cloth), default=_USUAL_WIDTH)
    fullness = tuple(_fullness(row, unit, width) for row in _tables(top, "fullness"))
    return CuttingFile(named_apart(pieces), cloth, fullness, fold)


def _tables(fields: Fields, key: str) -> list[Fields]:
    rows = fields.get(key) if key in fields else []
    if not isinstance(rows, list):
        raise fields.refuse(f"must be tables, each under [[{fields.place(key)}]]", key)
    if len(rows) > 500:
        raise fields.refuse("holds more than 500 of them", key)
    return [
        Fields(row, fields.file, fields.place(f"{key}[{number}]"))
        for number, row in enumerate(rows)
    ]


def _made(row: Fields, name: str, make: Callable[[], T]) -> T:
    """What ``make`` makes; a complaint of its own gets the file and the table's place."""
    try:
        return make()
    except InputError as error:
        if error.file:
            raise
        inner = f" {error.field}" if error.field else ""
        place = f"{row.prefix} {name!r}" if name else f"{row.prefix}{inner}"
        raise InputError(error.what, file=row.file, field=place) from None


def _cloth(row: Fields, unit: float) -> ClothInHand:
    row.only(("name", "width", "length", "corners", "selvedge", "one_way", "flaw", "bite"))
    name = row.text("name", 200, "")
    selvedge = row.number("selvedge", 0.0, 100.0 / unit, 0.0) * unit
    one_way = _flag(row, "one_way")
    outline, width, length = None, 0.0, 0.0
    if "corners" in row:
        if "width" in row or "length" in row:
            raise row.refuse("give corners, or width and length, not both", "corners")
        outline = _corners(row, unit)
    else:
        width = row.number("width", 0.0, WIDEST_CM / unit) * unit
        length = row.number("length", 0.0, LONGEST_CM / unit) * unit
    hand = _made(
        row, name, lambda: ClothInHand(width, length, outline, (), selvedge, one_way, name)
    )
    for kind in ("flaw", "bite"):
        for place in _tables(row, kind):
            spot = _spot(place, unit)
            hand = _made(place, "", partial(replace, hand, damage=(*hand.damage, spot)))
            words = damage_words(spot, hand.edge)
            if not words.startswith(kind):
                raise place.refuse(
                    "lies inside the cloth: call it a flaw" if kind == "bite"
                    else "reaches an edge of the cloth: call it a bite"
                )  # fmt: skip
    return hand


def _spot(row: Fields, unit: float) -> Points:
    row.only(("across", "along", "from_left", "from_end", "corners"))
    if "corners" in row:
        outline = _corners(row, unit)
        _made(row, "", lambda: check_outline(outline, LONGEST_CM))
        return outline
    across, along = (row.number(key, 0.0, LONGEST_CM / unit) * unit for key in ("across", "along"))
    left, end = (
        row.number(key, 0.0, LONGEST_CM / unit, 0.0) * unit for key in ("from_left", "from_end")
    )
    spot = ((left, end), (left + across, end), (left + across, end + along), (left, end + along))
    _made(row, "", lambda: check_outline(spot, LONGEST_CM))
    return spot


def _fullness(row: Fields, unit: float, width: float) -> FullnessWanted:
    row.only(("what", "kind", "fullness", "widths", "doubled", *_LENGTHS))
    what = row.text("what", 60)
    sizes = {f"{key}_cm": row.number(key, 0.0, 1e5 / unit) * unit for key in _LENGTHS if key in row}
    for key in ("finished", "length"):
        if key not in row:
            row.number(key, 0.0, 1e5)  # complains that it is missing
    kind = row.choice("kind", KINDS, "gathered")
    full = row.number("fullness", 1.0, MOST_FULLNESS) if "fullness" in row else None
    widths = _whole(row, "widths") if "widths" in row else None
    if full is None and widths is None:
        full = 1.0 if kind == "flat" else 2.5
    return _made(
        row,
        what,
        lambda: FullnessWanted(
            what=what,
            kind=kind,
            fullness=full,
            widths=widths,
            doubled=_flag(row, "doubled"),
            **{"cloth_width_cm": width, **sizes},
        ),
    )


def _flag(row: Fields, key: str) -> bool:
    value = row.get(key) or False
    if not isinstance(value, bool):
        raise row.refuse("must be true or false", key)
    return value


def _piece(row: Fields, unit: float, seam: float) -> Piece:
    row.only(_KEYS)
    name = row.text("name", 200)
    if "corners" in row:
        if "across" in row or "down" in row:
            raise row.refuse("give corners, or across and down, not both", "corners")
        outline = _corners(row, unit)
    else:
        wide, tall = (row.number(key, 0.0, 2000.0 / unit) * unit for key in ("across", "down"))
        outline = ((0.0, 0.0), (wide, 0.0), (wide, tall), (0.0, tall))
    fold = _fold_edge(row) if "fold_edge" in row else None
    pair = _flag(row, "pair")
    own_seam = row.number("seam", 0.0, WIDEST_SEAM_CM / unit) * unit if "seam" in row else seam
    quantity = _whole(row, "quantity") if "quantity" in row else 1
    grain_line = row.number("grain_line", -360.0, 360.0, 0.0)
    grain = row.text("grain", 20, "")
    return _made(
        row,
        name,
        lambda: Piece(name, outline, quantity, grain_line, own_seam, fold, pair, grain),
    )


def _fold_edge(row: Fields) -> int:
    """The edge on the fold by its side, or by its number, the first corner's being 0."""
    said = row.get("fold_edge")
    if "corners" not in row and said in _SIDES:
        return _SIDES.index(str(said))
    if isinstance(said, bool) or not isinstance(said, int):
        raise row.refuse(
            f"write {', '.join(_SIDES)} of a piece told by across and down; of corners the number "
            "of the one that it begins at, the first being 0",
            "fold_edge",
        )
    return said


def _corners(row: Fields, unit: float) -> tuple[tuple[float, float], ...]:
    value = row.get("corners")
    if not isinstance(value, list) or len(value) > 500:
        raise row.refuse("must be a list of at most 500 corners [x, y]", "corners")
    found = []
    for number, corner in enumerate(value):
        key = f"corners[{number}]"
        x, y = Fields({key: corner}, row.file, row.prefix).numbers(key, 2)
        found.append((x * unit, y * unit))
    return tuple(found)


def _whole(row: Fields, key: str) -> int:
    value = row.get(key)
    if isinstance(value, bool) or not isinstance(value, int):
        raise row.refuse("must be a whole number", key)
    return value
