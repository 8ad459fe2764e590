"""Fitting what a parsed file holds to frozen types, with one plain line where it does not fit.

Knows types, tables and how to complain about them; knows nothing of what the fields mean.
``msgspec`` does the fitting; a type says itself what it cannot hold, by an InputError.
"""

from __future__ import annotations

import difflib
import re
import sys
import threading
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from typing import Annotated, Any, ClassVar, Generic, TypeVar

import msgspec
from msgspec import inspect

from weavecolor.errors import InputError, shown
from weavecolor.textile.notmodelled import elsewhere

T = TypeVar("T")

#: Two threads that fit their first data to the types at once bring the interpreter down.
_fitting = threading.Lock()

#: A number that is neither infinite nor none, and a list of those.
Finite = Annotated[float, msgspec.Meta(ge=-sys.float_info.max, le=sys.float_info.max)]
Numbers = Annotated[tuple[Finite, ...], msgspec.Meta(max_length=5000)]

#: A type as msgspec calls it, and as a maker reads it.
_KINDS = {
    "str": "text in quotes", "int": "a whole number", "float": "a number",
    "bool": "true or false", "array": "a list", "object": "a table of fields",
}  # fmt: skip
#: What is given instead, where it is not shown itself.
_CALLED = ((bool, "true or false"), (list | tuple, "a list"), (Mapping, "a table"),
           (type(None), "null"))  # fmt: skip
#: How msgspec ends a complaint that has a place.
_PLACE = re.compile(r" - at (?:`key` in )?`\$\.?([\w.\[\]]*)`\Z")
_NONE: Mapping[Any, Any] = {}


class Meant(Generic[T]):
    """What a field of a file means once its words are read: ``value``, and as it was ``told``.

    Subclasses name a meaning. Only what is among their ``kinds`` is read, others are told
    ``wanted``.
    """

    kinds: ClassVar[tuple[type, ...]] = (str,)
    wanted: ClassVar[str] = "text in quotes"

    def __init__(self, told: Any, value: T) -> None:
        self.told, self.value = told, value


def fit(
    data: object,
    kind: type[T],
    file: str,
    field: str = "",
    *,
    read: Mapping[Any, Callable[[Any], Any]] = _NONE,
    examples: Mapping[str, str] = _NONE,
) -> T:
    """``data``, plain tables, lists, texts and numbers, as the frozen type ``kind``.

    Parameters
    ----------
    data : object
    kind : type
        A dataclass or Struct. A field that it has no place for is refused with the nearest name.
    file : str
        What complaints call the file.
    field : str
        Where in the file ``data`` stands.
    read : mapping of type to callable
        How each meaning among the fields is read; refuses by InputError.
    examples : mapping of str to str
        What to write where a field of that name is missing, or something else stands there.

    Raises
    ------
    InputError
        In one line: the file, the full field such as ``warp.count``, what is wrong, what would be
        right.

    Examples
    --------
    >>> class Length(msgspec.Struct, frozen=True):
    ...     width: float
    >>> fit({"width": 112}, Length, "cloth.toml").width
    112.0
    >>> fit({"widht": 112}, Length, "cloth.toml", "cloth[0]")
    Traceback (most recent call last):
    weavecolor.errors.InputError: cloth.toml: cloth[0].widht: is not a known field; did you mean \
width?
    """

    def meant(sort: type[Meant[Any]], told: Any) -> Meant[Any]:
        if not isinstance(told, sort.kinds):
            raise InputError(f"must be {sort.wanted}, got {_got(told)}")
        return sort(told, read[sort](told))

    try:
        with _fitting:
            shape = _shape(kind)  # type: ignore[arg-type]  # a type can be hashed
        _only_known(data, shape, field)
        return msgspec.convert(data, kind, dec_hook=meant)
    except msgspec.ValidationError as error:
        raise _complaint(error, data, field, examples).at(file=file) from None
    except InputError as error:
        raise error.at(file=file) from None


def chosen(options: Iterable[str]) -> Callable[[str], str]:
    """A reader of one of ``options``, in small letters or large.

    Examples
    --------
    >>> chosen(["cm", "inch"])("Inch")
    'inch'
    """
    known = {one.casefold(): one for one in options}

    def choice(told: str) -> str:
        if told.casefold() not in known:
            raise InputError(f"{told[:60]!r} must be one of {', '.join(known.values())}")
        return known[told.casefold()]

    return choice


def not_known(key: object, known: Iterable[str], said: object = "", table: str = "") -> InputError:
    """The complaint about a field that is none, with the nearest name.

    Parameters
    ----------
    key : object
        What the field was called.
    known : iterable of str
    said : object
        What stands there: it may name a thing that is not modelled at all.
    table : str
        The full name of the field's table.

    Examples
    --------
    >>> not_known("fiber", ["fibre", "count"], table="warp").field
    'warp.fiber'
    """
    name = str(key)[:60]
    near = difflib.get_close_matches(name, known, 1, 0.7)
    hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
    more = elsewhere(f"{key} {said if isinstance(said, str) else ''}"[:120])
    return InputError(f"is not a known field; {hint}{more}", field=_joined(table, name))


@lru_cache(maxsize=64)
def _shape(kind: type) -> inspect.Type:
    """The fields of a type, with all that msgspec has to know of it worked out."""
    msgspec.json.Decoder(kind)
    return inspect.type_info(kind)


def _only_known(told: object, shape: object, place: str) -> None:
    """Refuse a field that the types have no place for: a slip of the pen would be lost unsaid."""
    for one in getattr(shape, "types", (shape,)):
        fields = {x.encode_name: x.type for x in getattr(one, "fields", ())}
        if fields and isinstance(told, Mapping):
            for key in told:
                if key not in fields:
                    raise not_known(key, fields, told[key], place)
            for key, inner in told.items():
                _only_known(inner, fields[key], _joined(place, key))
        elif isinstance(told, list | tuple) and hasattr(one, "item_type"):
            for number, inner in enumerate(told):
                _only_known(inner, one.item_type, f"{place}[{number}]")


def _joined(*places: str) -> str:
    return ".".join(filter(None, places)).replace(".[", "[")


def _complaint(
    error: msgspec.ValidationError, data: object, field: str, examples: Mapping[str, str]
) -> InputError:
    """What msgspec, or one of the types, has against ``data``, in this tool's own words."""
    text, place, value = str(error), "", data
    if found := _PLACE.search(text):
        text, place = text[: found.start()], found[1]
    cause, place = error.__cause__, _joined(field, place)
    if isinstance(cause, InputError):
        inner = ": ".join(filter(None, (cause.file, cause.field)))
        joint = "." if re.fullmatch(r"[\w.\[\]]+", inner) and not cause.file else " "
        return InputError(cause.what, field=joint.join(filter(None, (place, inner))))
    if missing := re.fullmatch(r"Object missing required field `(.+)`", text):
        what, place = "is missing", _joined(place, missing[1])
    else:
        for index, name in re.findall(r"\[(\d+)\]|(\w+)", found[1] if found else ""):
            value = value[int(index) if index else name]  # type: ignore[index]
        what = _wrong(text, value)
    example = examples.get(re.split(r"\W", place)[-1])
    return InputError(f"{what}; write {example}" if example else what, field=place or None)


def _wrong(text: str, value: Any) -> str:
    """What is wrong with ``value``, of which msgspec says ``text``."""
    if text == "Number out of range":
        return f"is too large: {shown(value, 33)}"
    said = re.match(r"Expected `(.+?)`(?: of length (<= )?(\d+)| [<>])?", text)
    if said is None:
        return text
    if said[3] is not None:  # lists of one length are of numbers, wherever they stand
        many = f"at most {said[3]}" if said[2] else f"{said[3]} numbers"
        return f"must hold {many}, got {len(value)}"
    if "float" in said[1] and isinstance(value, float):
        return f"must be a finite number, got {value}"
    kinds = " or ".join(_KINDS[x] for x in said[1].split(" | ") if x in _KINDS)
    return f"must be {kinds}, got {_got(value)}"


def _got(value: object) -> str:
    """What was given, in a word or as it stands."""
    for kind, words in _CALLED:
        if isinstance(value, kind):
            return words
    text = shown(value, 33)
    if isinstance(value, str):
        return f"text {value[:30]!r}"
    if isinstance(value, int | float):
        return text if text.startswith("a number") else f"the number {text}"
    return type(value).__name__
