"""A making in one file: saved as JSON and reopened as it was, or refused with the reason.

The file is the fields of ``model.Making``, written down in DEVELOPERS.md with an example, under a
version of their own. ``msgspec`` fits the JSON to the types; each type says itself what it cannot
hold. Files of versions 1 and 2 are read too; what is to be said of them is ``earlier.older_words``.
"""

from __future__ import annotations

import difflib
import json
import math
import os
import re
import threading
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import msgspec

from weavecolor.errors import InputError, shown
from weavecolor.files.atomic import one_at_a_time, write_text
from weavecolor.files.textfile import read_text
from weavecolor.making.earlier import from_version_1, older_words
from weavecolor.making.model import Making

VERSION = 3
MARK = "weavecolor_project"
MAX_BYTES = 10_000_000

#: Two threads that fit their first project to the types at once bring the interpreter down.
_fitting = threading.Lock()

#: A type as msgspec calls it, and as a maker reads it.
_KINDS = {
    "str": "text in quotes", "int": "a whole number", "float": "a number",
    "bool": "true or false", "array": "a list", "object": "a table of fields", "null": "null",
}  # fmt: skip


def to_dict(making: Making) -> dict[str, Any]:
    """The making as plain JSON values, with the file's version.

    Raises InputError where it would not come back the same.

    Examples
    --------
    >>> to_dict(Making("Cape"))["title"]
    'Cape'
    """
    told = msgspec.to_builtins(asdict(making))
    made = from_dict({MARK: VERSION, **told})
    if made != making:
        raise InputError("this project would not come back the same; use tuples, text and numbers")
    # As read: a whole number given for a length is a length all the same.
    return {MARK: VERSION, **msgspec.to_builtins(asdict(made))}


def from_dict(data: object, file: str = "project") -> Making:
    """The making that :func:`to_dict` told, or one told by an earlier version.

    Raises InputError naming file and field.

    Examples
    --------
    >>> from_dict(to_dict(Making("Cape"))) == Making("Cape")
    True
    """
    return _opened(data, file)[0]


def _opened(data: object, file: str) -> tuple[Making, str]:
    """The making in a file's fields, and what is to be said of it as it is old."""
    if not isinstance(data, Mapping):
        raise InputError("must be a table of fields", file=file)
    if MARK not in data:
        raise InputError("is not a project file of this tool", file=file)
    version = data[MARK]
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise InputError("must be a whole number from 1", file=file, field=MARK)
    if version > VERSION:
        raise InputError(
            f"was saved by a newer weavecolor (project version {shown(version)}, this one reads "
            f"{VERSION}); update weavecolor to open it",
            file=file,
        )
    told = {key: value for key, value in data.items() if key != MARK}
    try:
        if version == 1:
            told = from_version_1(told)
        with _fitting:
            made = msgspec.convert(told, Making)
        _only_known(told, asdict(made), "")
    except msgspec.ValidationError as error:
        raise _complaint(error, file) from None
    except InputError as error:
        raise error.at(file=file) from None
    return made, older_words(made) if version < VERSION else ""


def _only_known(told: object, kept: object, place: str) -> None:
    """Refuse a field that the types have no place for: a slip of the pen would be lost unsaid."""
    if isinstance(told, Mapping) and isinstance(kept, Mapping):
        for key in told:
            if key not in kept:
                near = difflib.get_close_matches(str(key)[:60], kept, 1, 0.7)
                hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(kept)}"
                field = ".".join(filter(None, (place, str(key)[:60])))
                raise InputError(f"is not a known field; {hint}", field=field)
            _only_known(told[key], kept[key], f"{place}.{key}" if place else key)
    elif isinstance(told, list) and isinstance(kept, list | tuple):
        for number, (one, other) in enumerate(zip(told, kept, strict=True)):
            _only_known(one, other, f"{place}[{number}]")


def _complaint(error: msgspec.ValidationError, file: str) -> InputError:
    """What msgspec, or one of the types, has against a file, in this tool's own words."""
    text, _, path = str(error).partition(" - at `")
    place = path.rstrip("`").removeprefix("$").removeprefix(".")
    cause = error.__cause__
    if isinstance(cause, InputError):
        inner = ": ".join(filter(None, (cause.file, cause.field)))
        joint = "." if re.fullmatch(r"[\w.\[\]]+", inner) and not cause.file else " "
        return InputError(cause.what, file=file, field=joint.join(filter(None, (place, inner))))
    missing = re.fullmatch(r"Object missing required field `(.+)`", text)
    if missing:
        field = ".".join(filter(None, (place, missing[1])))
        return InputError("is missing", file=file, field=field)
    wrong = re.fullmatch(r"Expected `(.+?)`(?: of length (\d+))?, got (.+)", text)
    if wrong:
        kinds = " or ".join(_KINDS.get(kind.strip(), kind) for kind in wrong[1].split("|"))
        many = f" of {wrong[2]}" if wrong[2] else ""
        got = _KINDS.get(wrong[3].strip("`"), wrong[3])
        text = f"must be {kinds}{many}, got {got}"
    return InputError(text, file=file, field=place or None)


def to_json(making: Making) -> str:
    """The making as text. Raises InputError where it would not come back the same.

    Examples
    --------
    >>> print(to_json(Making("Cape")).splitlines()[1].strip())
    "weavecolor_project": 3,
    """
    text = json.dumps(to_dict(making), ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        raise InputError(f"is above {MAX_BYTES // 1_000_000} MB, too big for a project")
    return text


def from_json(text: str, file: str = "project") -> Making:
    """The making in ``text``.

    Raises InputError: not JSON, a key given twice, a number that is not finite, a field of the
    wrong type or unknown, a newer version, too large.

    Examples
    --------
    >>> from_json(to_json(Making("Cape"))).title
    'Cape'
    """
    return open_json(text, file)[0]


def open_json(text: str, file: str = "project") -> tuple[Making, str]:
    """The making in ``text``, and one sentence to say of it where an earlier version saved it,
    "" otherwise. Raises InputError as :func:`from_json` does.

    Examples
    --------
    >>> open_json(to_json(Making("Cape")))[1]
    ''
    """

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        table = dict(pairs)
        if len(table) < len(pairs):
            twice = next(name for name, n in Counter(key for key, _ in pairs).items() if n > 1)
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
        return _opened(data, file)
    except json.JSONDecodeError as error:
        raise InputError(
            f"is not a project file, or it is damaged (line {error.lineno}: {error.msg})", file=file
        ) from None
    except InputError:
        raise
    except (RecursionError, ValueError):
        raise InputError("is not a project file, or it is damaged", file=file) from None


def save_making(path: str | os.PathLike[str], making: Making) -> Path:
    """Write the making, whole or not at all. Raises InputError.

    Examples
    --------
    >>> import tempfile
    >>> save_making(Path(tempfile.mkdtemp()) / "cape.json", Making("Cape")).name
    'cape.json'
    """
    try:
        return write_text(path, to_json(making))
    except InputError as error:
        raise error.at(file=str(path)) from None


def change_making(path: str | os.PathLike[str], change: Callable[[Making], Making]) -> Making:
    """What the file holds now, changed and written back, with nobody else's change in between; as
    it then is. Raises InputError.

    Examples
    --------
    >>> import tempfile
    >>> path = save_making(Path(tempfile.mkdtemp()) / "cape.json", Making("Cape"))
    >>> change_making(path, lambda now: Making(f"{now.title}, lined")).title
    'Cape, lined'
    """
    with one_at_a_time(path):
        made = change(open_making(path)[0])
        save_making(path, made)
    return made


def load_making(path: str | os.PathLike[str]) -> Making:
    """Read a making.

    Parameters
    ----------
    path : str or path
        A project file, ``NAME.json``.

    Returns
    -------
    Making

    Raises
    ------
    InputError
        See :func:`from_json`.

    Notes
    -----
    Versions 1 to 3 of the format are read; DEVELOPERS.md, "The project file", tells it in words.
    What an older one ought to be told is given by :func:`open_making`.

    References
    ----------
    ECMA-404, The JSON data interchange syntax.

    Examples
    --------
    >>> import tempfile
    >>> load_making(save_making(Path(tempfile.mkdtemp()) / "cape.json", Making("Cape"))).title
    'Cape'
    """
    return open_making(path)[0]


def open_making(path: str | os.PathLike[str]) -> tuple[Making, str]:
    """Read a making, and what is to be said of it as it is old. Raises InputError, see
    :func:`open_json`.

    Examples
    --------
    >>> import tempfile
    >>> open_making(save_making(Path(tempfile.mkdtemp()) / "cape.json", Making("Cape")))[1]
    ''
    """
    return open_json(read_text(Path(path), MAX_BYTES, "project file"), str(path))
