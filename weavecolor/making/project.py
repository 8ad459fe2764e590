"""A project in one file: saved as JSON and reopened without loss, or refused with the reason.

Knows how ``projectdata`` is written and read; knows nothing of optics or pictures.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from weavecolor.cutting.lengths import UNITS
from weavecolor.cutting.pieces import Piece, Points
from weavecolor.cutting.remnant import FOLDS, ClothInHand
from weavecolor.errors import InputError, shown
from weavecolor.files.atomic import write_text
from weavecolor.files.fields import Fields
from weavecolor.files.textfile import read_text
from weavecolor.making.projectdata import (
    Measured,
    Project,
    ProjectCloth,
    ProjectFullness,
    ProjectLayer,
    ProjectOption,
)
from weavecolor.making.projectplans import fullness_from, fullness_table, limits_from, limits_table
from weavecolor.optics.stack import FACES, LAYS

__all__ = [
    "Measured",
    "Project",
    "ProjectCloth",
    "ProjectFullness",
    "ProjectLayer",
    "ProjectOption",
    "VERSION",
    "from_dict",
    "from_json",
    "open_project",
    "save_project",
    "to_dict",
    "to_json",
]

VERSION = 1
MAX_BYTES = 10_000_000
_MOST_ROWS = 20_000
_NAME, _TEXT = 200, 20_000
T = TypeVar("T")


def to_dict(project: Project) -> dict[str, Any]:
    """The project as plain JSON values, with its version.

    Examples
    --------
    >>> to_dict(Project("Cape"))["title"]
    'Cape'
    """
    return {
        "weavecolor_project": VERSION,
        "title": project.title,
        "notes": project.notes,
        "units": project.units,
        "cloths": [
            {
                "key": cloth.key,
                "definition": dict(cloth.definition),
                "in_hand": [_cloth_in_hand_dict(hand) for hand in cloth.in_hand],
            }
            for cloth in project.cloths
        ],
        "backings": list(project.backings),
        "options": [
            {
                "name": option.name,
                "layers": [
                    {"cloth": layer.cloth, "grain_deg": float(layer.grain_deg), "face": layer.face}
                    for layer in option.layers
                ],
                "backing": option.backing,
                "lay": option.lay,
                "note": option.note,
            }
            for option in project.options
        ],
        "pins": list(project.pins),
        "chosen": project.chosen,
        "scenes": list(project.scenes),
        "wishes": list(project.wishes),
        "limits": limits_table(project.limits),
        "pieces": [_piece_dict(piece) for piece in project.pieces],
        "fold": project.fold,
        "fullness": [fullness_table(wanted) for wanted in project.fullness],
        "measured": [
            {"name": m.name, "kind": m.kind, "data": dict(m.data), "note": m.note}
            for m in project.measured
        ],
        "settings": dict(project.settings),
    }


def _points(points: Points) -> list[list[float]]:
    return [[float(x), float(y)] for x, y in points]


def _cloth_in_hand_dict(hand: ClothInHand) -> dict[str, Any]:
    return {
        "name": hand.name,
        "width_cm": float(hand.width_cm),
        "length_cm": float(hand.length_cm),
        "outline": None if hand.outline is None else _points(hand.outline),
        "damage": [_points(hole) for hole in hand.damage],
        "selvedge_cm": float(hand.selvedge_cm),
        "one_way": hand.one_way,
    }


def _piece_dict(piece: Piece) -> dict[str, Any]:
    return {
        "name": piece.name,
        "outline": _points(piece.outline),
        "quantity": piece.quantity,
        "grain_deg": float(piece.grain_deg),
        "seam_cm": float(piece.seam_cm),
        "fold_edge": piece.fold_edge,
        "pair": piece.pair,
        "grain": piece.grain,
    }


def from_dict(data: object, file: str = "project") -> Project:
    """The project that :func:`to_dict` made. Raises InputError naming file and field.

    Examples
    --------
    >>> from_dict(to_dict(Project("Cape"))) == Project("Cape")
    True
    """
    top = Fields(data, file)
    if "weavecolor_project" not in top:
        raise InputError("is not a project file of this tool", file=file)
    version = _whole(top, "weavecolor_project", 1, 10**9)
    if version > VERSION:
        raise InputError(
            f"was saved by a newer weavecolor (project version {version}, this one reads "
            f"{VERSION}); update weavecolor to open it",
            file=file,
        )
    top.only(("weavecolor_project", *Project.__dataclass_fields__))
    project = _made(
        top,
        lambda: Project(
            title=top.text("title", _NAME, ""),
            notes=top.text("notes", _TEXT, "", lines=True),
            units=top.choice("units", tuple(UNITS), "cm"),
            cloths=_rows(top, "cloths", _cloth),
            backings=_names(top, "backings"),
            options=_rows(top, "options", _option),
            pins=_names(top, "pins"),
            chosen=top.text("chosen", _NAME, ""),
            scenes=_names(top, "scenes"),
            wishes=_names(top, "wishes"),
            limits=_made(top, lambda: limits_from(top)),
            pieces=_rows(top, "pieces", _piece),
            fold=top.choice("fold", FOLDS, "open"),
            fullness=_rows(top, "fullness", fullness_from),
            measured=_rows(top, "measured", _measured),
            settings=_table(top, "settings"),
        ),
    )
    _check_names(project, top)
    return project


def _check_names(project: Project, top: Fields) -> None:
    cloth_names = [cloth.key for cloth in project.cloths]
    option_names = [option.name for option in project.options]
    for key, names in (("cloths", cloth_names), ("options", option_names)):
        twice = _twice(names)
        if twice is not None:
            raise top.refuse(f"{twice!r} stands there twice; names must differ", key)
    cloths, options = set(cloth_names), set(option_names)
    for i, option in enumerate(project.options):
        for layer in option.layers:
            if layer.cloth not in cloths:
                raise top.refuse(f"{layer.cloth!r} is not one of the cloths", f"options[{i}]")
    for key in project.limits.outside:
        if key not in cloths:
            raise top.refuse(f"{key!r} is not one of the cloths", "limits.outside")
    for name in (*project.pins, *([project.chosen] if project.chosen else [])):
        if name not in options:
            raise top.refuse(f"{name!r} is not one of the options", "pins or chosen")


def _twice(names: Iterable[str]) -> str | None:
    """The first name that was there before."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            return name
        seen.add(name)
    return None


def _made(fields: Fields, make: Callable[[], T]) -> T:
    """What ``make`` makes; an InputError of its own gets the file and field."""
    try:
        return make()
    except InputError as error:
        if error.file:
            raise
        place = " ".join(filter(None, (fields.prefix, error.field)))
        raise InputError(error.what, file=fields.file, field=place or None) from None


def _rows(fields: Fields, key: str, read: Callable[[Fields], T]) -> tuple[T, ...]:
    value = fields.get(key) if key in fields else []
    if not isinstance(value, list):
        raise fields.refuse("must be a list", key)
    if len(value) > _MOST_ROWS:
        raise fields.refuse(f"holds more than {_MOST_ROWS} entries", key)
    rows = (Fields(row, fields.file, fields.place(f"{key}[{i}]")) for i, row in enumerate(value))
    return tuple(_made(row, lambda row=row: read(row)) for row in rows)  # type: ignore[misc]


def _names(fields: Fields, key: str) -> tuple[str, ...]:
    value = fields.get(key) if key in fields else []
    if not isinstance(value, list) or len(value) > _MOST_ROWS:
        raise fields.refuse(f"must be a list of at most {_MOST_ROWS} names", key)
    each = Fields({f"{i}": name for i, name in enumerate(value)}, fields.file, fields.place(key))
    return tuple(each.text(f"{i}", _NAME) for i in range(len(value)))


def _table(fields: Fields, key: str) -> Mapping[str, Any]:
    value = fields.get(key) if key in fields else {}
    if not isinstance(value, Mapping):
        raise fields.refuse("must be a table of fields", key)
    return value


def _flag(fields: Fields, key: str) -> bool:
    value = fields.get(key) if key in fields else False
    if not isinstance(value, bool):
        raise fields.refuse("must be true or false", key)
    return value


def _whole(fields: Fields, key: str, low: int, high: int) -> int:
    value = fields.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise fields.refuse(f"must be a whole number from {low} to {high}", key)
    return value


def _outline(fields: Fields, key: str, value: object) -> Points:
    if not isinstance(value, list) or len(value) > 500:
        raise fields.refuse("must be a list of at most 500 corners [x, y]", key)
    corners = []
    for i, corner in enumerate(value):
        x, y = Fields({f"{key}[{i}]": corner}, fields.file, fields.prefix).numbers(f"{key}[{i}]", 2)
        corners.append((x, y))
    return tuple(corners)


def _cloth(row: Fields) -> ProjectCloth:
    row.only(("key", "definition", "in_hand"))
    return ProjectCloth(
        row.text("key", _NAME), _table(row, "definition"), _rows(row, "in_hand", _cloth_in_hand)
    )


def _cloth_in_hand(row: Fields) -> ClothInHand:
    row.only(tuple(ClothInHand.__dataclass_fields__))
    damage = row.get("damage") or []
    if not isinstance(damage, list) or len(damage) > 500:
        raise row.refuse("must be a list of at most 500 outlines", "damage")
    outline = row.get("outline")
    return ClothInHand(
        row.number("width_cm", 0.0, 1e5, 0.0),
        row.number("length_cm", 0.0, 1e5, 0.0),
        None if outline is None else _outline(row, "outline", outline),
        tuple(_outline(row, f"damage[{i}]", hole) for i, hole in enumerate(damage)),
        row.number("selvedge_cm", 0.0, 1e5, 0.0),
        _flag(row, "one_way"),
        row.text("name", _NAME, ""),
    )


def _option(row: Fields) -> ProjectOption:
    row.only(tuple(ProjectOption.__dataclass_fields__))
    return ProjectOption(
        row.text("name", _NAME),
        _rows(row, "layers", _layer),
        row.text("backing", _NAME, ""),
        row.choice("lay", LAYS, "loose"),
        row.text("note", _TEXT, "", lines=True),
    )


def _layer(row: Fields) -> ProjectLayer:
    row.only(tuple(ProjectLayer.__dataclass_fields__))
    return ProjectLayer(
        row.text("cloth", _NAME),
        row.number("grain_deg", -3600.0, 3600.0, 0.0),
        row.choice("face", FACES, "face"),
    )


def _piece(row: Fields) -> Piece:
    row.only(tuple(Piece.__dataclass_fields__))
    fold_edge = None if row.get("fold_edge") is None else _whole(row, "fold_edge", 0, 499)
    return Piece(
        row.text("name", _NAME),
        _outline(row, "outline", row.get("outline")),
        _whole(row, "quantity", 1, 500) if "quantity" in row else 1,
        row.number("grain_deg", -3600.0, 3600.0, 0.0),
        row.number("seam_cm", 0.0, 20.0, 1.5),
        fold_edge,
        _flag(row, "pair"),
        row.text("grain", 20, ""),
    )


def _measured(row: Fields) -> Measured:
    row.only(tuple(Measured.__dataclass_fields__))
    return Measured(
        row.text("name", _NAME),
        row.text("kind", _NAME),
        _table(row, "data"),
        row.text("note", _TEXT, "", lines=True),
    )


def to_json(project: Project) -> str:
    """The project as text. Raises InputError where it would not come back the same.

    Examples
    --------
    >>> print(to_json(Project("Cape")).splitlines()[1].strip())
    "weavecolor_project": 1,
    """
    text = json.dumps(to_dict(project), ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        raise InputError(f"is above {MAX_BYTES // 1_000_000} MB, too big for a project")
    if from_json(text) != project:
        raise InputError("this project would not come back the same; use tuples, text and numbers")
    return text


def from_json(text: str, file: str = "project") -> Project:
    """The project in ``text``.

    Raises InputError: not JSON, a key given twice, a number that is not finite, a field of the
    wrong type or unknown, a newer version, too large.

    Examples
    --------
    >>> from_json(to_json(Project("Cape"))).title
    'Cape'
    """

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        table = dict(pairs)
        if len(table) < len(pairs):
            twice = _twice(key for key, _ in pairs)
            raise InputError(f"{shown(twice)} stands there twice; keep one", file=file)
        return table

    def finite(word: str) -> float:
        number = float(word)
        if not math.isfinite(number):
            raise InputError(f"{word} is not a finite number", file=file)
        return number

    if len(text) > MAX_BYTES:
        raise InputError(f"is above {MAX_BYTES // 1_000_000} MB, too big for a project", file=file)
    try:
        data = json.loads(text, object_pairs_hook=once, parse_constant=finite, parse_float=finite)
    except json.JSONDecodeError as error:
        raise InputError(
            f"is not a project file, or it is damaged (line {error.lineno}: {error.msg})", file=file
        ) from None
    except (RecursionError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError("is not a project file, or it is damaged", file=file) from None
    return from_dict(data, file)


def save_project(path: str | os.PathLike[str], project: Project) -> Path:
    """Write the project, whole or not at all. Raises InputError.

    Examples
    --------
    >>> import tempfile
    >>> save_project(Path(tempfile.mkdtemp()) / "cape.json", Project("Cape")).name
    'cape.json'
    """
    try:
        return write_text(path, to_json(project))
    except InputError as error:
        raise error.at(file=str(path)) from None


def open_project(path: str | os.PathLike[str]) -> Project:
    """Read a project. Raises InputError, see :func:`from_json`.

    Examples
    --------
    >>> import tempfile
    >>> open_project(save_project(Path(tempfile.mkdtemp()) / "cape.json", Project("Cape"))).title
    'Cape'
    """
    return from_json(read_text(Path(path), MAX_BYTES, "project file"), str(path))
