"""What the types of a making refuse: names, numbers and plain data, each in one place.

Each check raises InputError naming ``field``, or gives nothing back.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from weavecolor.errors import InputError

T = TypeVar("T")

NAME_LONGEST = 200
MOST_ROWS = 20_000
_MOST_NESTING = 60
_MOST_BITS = 1000


def one_of(value: object, field: str, allowed: tuple[str, ...]) -> None:
    """Refuse what is not among ``allowed``.

    Parameters
    ----------
    value : object
    field : str
        What the complaint calls it.
    allowed : tuple of str
    """
    if value not in allowed:
        known = ", ".join(word for word in allowed if word)
        raise InputError(f"{str(value)[:40]!r} must be one of {known}", field=field)


def rows(value: object, field: str, most: int = MOST_ROWS) -> None:
    """Refuse what is no tuple of at most ``most`` entries.

    Parameters
    ----------
    value : object
    field : str
        What the complaint calls it.
    most : int
        Entries.
    """
    if not isinstance(value, tuple):
        raise InputError(f"must be a tuple, not a {type(value).__name__}", field=field)
    if len(value) > most:
        raise InputError(f"holds more than {most} entries", field=field)


def unique(names: Iterable[str], field: str) -> None:
    """Refuse a name that stands there twice."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise InputError(f"{name!r} stands there twice; names must differ", field=field)
        seen.add(name)


def placed(field: str, look_up: Callable[[str], T], name: str) -> T:
    """What ``name`` stands for; the complaint gets the field.

    Parameters
    ----------
    field : str
        What the complaint calls it.
    look_up : callable
        Takes a name; raises InputError for one that it does not know.
    name : str
    """
    try:
        return look_up(name)
    except InputError as error:
        raise InputError(error.what, file=error.file, field=field) from None


def plain(value: object, where: str) -> dict[str, Any]:
    """A deep copy if ``value`` is plain JSON with finite numbers; else InputError."""

    def check(item: object, depth: int) -> None:
        if depth > _MOST_NESTING:
            raise InputError("is nested too deeply", field=where)
        if isinstance(item, Mapping):
            for key, inner in item.items():
                if not isinstance(key, str):
                    raise InputError(f"key {key!r} is not text", field=where)
                check(key, depth)
                check(inner, depth + 1)
        elif isinstance(item, list):
            for inner in item:
                check(inner, depth + 1)
        elif isinstance(item, str):
            if any("\ud800" <= c <= "\udfff" for c in item):
                raise InputError("holds text that cannot be written as UTF-8", field=where)
        elif isinstance(item, float):
            if not math.isfinite(item):
                raise InputError("holds a number that is not finite", field=where)
        elif isinstance(item, int) and item.bit_length() > _MOST_BITS:
            raise InputError("holds a number that is too large", field=where)
        elif item is not None and not isinstance(item, bool | int):
            raise InputError(
                f"{type(item).__name__} cannot be kept in a making; use text, numbers and lists",
                field=where,
            )

    if not isinstance(value, Mapping):
        raise InputError("must be a table of fields", field=where)
    check(value, 0)
    return copy.deepcopy(dict(value))
