"""A list of pattern pieces as a TOML file, read.

Knows the file's fields; what a piece is, is ``pieces``. A file looks like this::

    unit = "cm"                # or "inch"; of across, down, corners and seam
    seam = 1.5                 # all round, unless a piece says otherwise

    [[piece]]
    name = "skirt panel"
    across = 70
    down = 95
    quantity = 2

    [[piece]]
    name = "bodice front"
    corners = [[0, 0], [22, 0], [24, 40], [0, 42]]      # the sewing line, y down the garment
    fold_edge = 3              # the edge from the fourth corner back to the first is on the fold

Further fields of a piece: ``seam``, ``grain_line`` (degrees anticlockwise from straight down),
``pair`` (half of them mirrored), ``grain`` ("straight", "cross", "bias" or "either": whatever the
choice says).
"""

from __future__ import annotations

from pathlib import Path

from weavecolor.cutting.lengths import UNITS
from weavecolor.cutting.pieces import Piece
from weavecolor.errors import InputError
from weavecolor.files.fields import Fields
from weavecolor.files.textfile import read_text, toml_table

MAX_BYTES = 1_000_000
_KEYS = (
    "name", "across", "down", "corners", "quantity", "seam", "grain_line", "fold_edge", "pair",
    "grain",
)  # fmt: skip


def read_pieces(path: str | Path) -> tuple[Piece, ...]:
    """The pieces in the TOML file at ``path``. Raises InputError naming file and field.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "pieces.toml"
    >>> _ = file.write_text('[[piece]]\\nname = "panel"\\nacross = 70\\ndown = 95')
    >>> read_pieces(file)[0].name
    'panel'
    """
    return pieces_from_toml(read_text(path, MAX_BYTES, "file of pieces"), str(path))


def pieces_from_toml(text: str, file: str = "pieces") -> tuple[Piece, ...]:
    """The pieces in TOML text; see the module. Raises InputError naming file and field.

    Examples
    --------
    >>> pieces_from_toml('[[piece]]\\nname = "panel"\\nacross = 70\\ndown = 95')[0].outline[2]
    (70.0, 95.0)
    """
    top = Fields(toml_table(text, "file of pieces", file=file), file)
    top.only(("unit", "seam", "piece"))
    unit = UNITS[top.choice("unit", tuple(UNITS), "cm")]
    seam = top.number("seam", 0.0, 20.0 / unit, 1.5 / unit) * unit
    rows = top.get("piece")
    if not isinstance(rows, list) or not rows:
        raise top.refuse("give at least one piece, each under [[piece]]", "piece")
    if len(rows) > 500:
        raise top.refuse("holds more than 500 pieces", "piece")
    return tuple(
        _piece(Fields(row, file, f"piece[{number}]"), unit, seam) for number, row in enumerate(rows)
    )


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
    fold = _whole(row, "fold_edge") if "fold_edge" in row else None
    pair = row.get("pair") or False
    if not isinstance(pair, bool):
        raise row.refuse("must be true or false", "pair")
    own_seam = row.number("seam", 0.0, 20.0 / unit) * unit if "seam" in row else seam
    try:
        return Piece(
            name,
            outline,
            _whole(row, "quantity") if "quantity" in row else 1,
            row.number("grain_line", -360.0, 360.0, 0.0),
            own_seam,
            fold,
            pair,
            row.text("grain", 20, ""),
        )
    except InputError as error:
        if error.file:
            raise
        raise InputError(error.what, file=row.file, field=f"{row.prefix} {name!r}") from None


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
