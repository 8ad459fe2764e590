"""A making in one file: saved as JSON and reopened as it was, or refused with the reason.

The file is the fields of ``model.Making``, written down in DEVELOPERS.md with an example, under a
version of their own. ``files/schema`` fits the JSON to the types; each type says itself what it
cannot hold. Files of earlier versions are read too; what is to be said of them is
``earlier.older_words`` and ``earlier.renamed_words``.
"""

from __future__ import annotations

import json
import math
import os
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import msgspec

from weavecolor.errors import InputError, shown
from weavecolor.files.atomic import one_at_a_time, write_text
from weavecolor.files.schema import fit, inside
from weavecolor.files.textfile import read_text
from weavecolor.making.earlier import from_version_1, older_words, renamed_words
from weavecolor.making.model import Making

VERSION = 6
#: Files of before were saved when yarns were taken as matt.
_CLEAR = 3
#: Files of before were saved when colours' names were those of CSS.
_NAMED = 4
MARK = "weavecolor_project"
MAX_BYTES = 10_000_000


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
    with inside(file=file):
        made = fit(from_version_1(told) if version == 1 else told, Making, file)
    older = older_words(made) if version < _CLEAR else ""
    return made, " ".join(filter(None, (older, renamed_words(made) if version < _NAMED else "")))


def to_json(making: Making) -> str:
    """The making as text. Raises InputError where it would not come back the same.

    Examples
    --------
    >>> print(to_json(Making("Cape")).splitlines()[1].strip())
    "weavecolor_project": 6,
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
    with inside(file=str(path)):
        return write_text(path, to_json(making))


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
    Versions 1 to 4 of the format are read; DEVELOPERS.md, "The project file", tells it in words.
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
