"""Fitting what a parsed file holds to frozen types, with one plain line where it does not fit.

Knows types, tables and how to complain about them; knows nothing of what the fields mean.
``msgspec`` does the fitting; a type says itself what it cannot hold, by an InputError.
"""

from __future__ import annotations

import difflib
import re
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import lru_cache
from typing import Annotated, Any, Generic, TypeVar, get_args, get_origin

import msgspec
from msgspec import inspect

from weavecolor.errors import InputError, shown
from weavecolor.textile.notmodelled import elsewhere

Name = TypeVar("Name")
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
#: What is given instead: in a word, as it stands or by its type.
_CALLED: tuple[tuple[Any, str], ...] = (
    (bool, "true or false"), (str, "text {}"), (int | float, "the number {}"),
    (list | tuple, "a list"), (Mapping, "a table"), (type(None), "null"), (object, "{1}"),
)  # fmt: skip
#: How msgspec ends a complaint that has a place.
_PLACE = re.compile(r" - at (?:`key` in )?`\$\.?([\w.\[\]]*)`\Z")
_NONE: Mapping[Any, Any] = {}


class Meant(Generic[Name, T]):
    """What a text in a file means once it is read: ``value``, and the text as it was ``told``.

    ``Meant[Literal["sett"], float]`` is a field whose text the reader called "sett" turns into a
    float.
    """

    def __init__(self, told: Any, value: T) -> None:
        self.told, self.value = told, value


class Bare(Meant[Name, T]):
    """The same of what need not be text; its reader says what it had to be."""


def fit(
    data: object,
    kind: type[T],
    file: str,
    field: str = "",
    *,
    read: Mapping[str, Callable[[Any], Any]] = _NONE,
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
    read : mapping of str to callable
        What turns a text into what it means, by the name that :class:`Meant` calls it; refuses by
        InputError.
    examples : mapping of str to str
        What to write where a field is missing, or something else stands there, by its full name
        without the numbers of lists.

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

    def meant(sort: Any, told: Any) -> Any:
        if get_origin(sort) is Meant and not isinstance(told, str):
            raise TypeError("Expected `str`")  # as msgspec says it, and told like that
        (name,) = get_args(get_args(sort)[0])
        return get_origin(sort)(told, read[name](told))

    with inside(file=file):
        with _fitting:
            shape = _shape(kind)  # type: ignore[arg-type]  # a type can be hashed
        try:
            _only_known(data, shape, field)
        except InputError as error:  # a field that stands elsewhere has its example, too
            more = examples.get(error.field or "")
            raise InputError(f"{error.what}; write {more}" if more else error.what,
                             field=error.field) from None  # fmt: skip
        try:
            return msgspec.convert(_plain(data), kind, dec_hook=meant)
        except msgspec.ValidationError as error:
            raise _complaint(error, data, field, examples) from None
        except UnicodeEncodeError:  # half of a pair, which JSON can tell by its number
            raise InputError("holds text that cannot be written as UTF-8", field=field) from None


@contextmanager
def inside(
    table: str = "", called: Mapping[str, str] = _NONE, file: str | None = None
) -> Iterator[None]:
    """Give what is refused within, where no file is named yet, the full name of its field.

    Parameters
    ----------
    table : str
        The field's table; "" for the field alone.
    called : mapping of str to str
        What the file calls a field where that differs.
    file : str, optional
        The file, where it is known here.

    Examples
    --------
    >>> with inside("warp", {"tex": "count"}):
    ...     raise InputError("must be above 0", field="tex")
    Traceback (most recent call last):
    weavecolor.errors.InputError: warp.count: must be above 0
    """
    try:
        yield
    except InputError as error:
        if error.file:
            raise
        field = called.get(error.field or "", error.field or "")
        raise InputError(error.what, file=file, field=_joined(table, field)) from None


def chosen(options: Iterable[str], told: str) -> str:
    """The one of ``options`` that was ``told``, in small letters or large; InputError for none.

    Examples
    --------
    >>> chosen(["cm", "inch"], "Inch")
    'inch'
    """
    found = next((one for one in options if one.casefold() == told.casefold()), None)
    if found is None:
        raise InputError(f"{told[:60]!r} must be one of {', '.join(options)}")
    return found


def value_of(told: Meant[Any, T] | None) -> T | None:
    """What a field means, None where it is not told.

    Examples
    --------
    >>> value_of(Meant("40 /cm", 40.0)), value_of(None)
    (40.0, None)
    """
    return None if told is None else told.value


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
    hint += elsewhere(f"{name} {said if isinstance(said, str) else ''}"[:120])
    return InputError(f"is not a known field; {hint}", field=_joined(table, name))


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


def _plain(told: object) -> object:
    """The same with every number of a kind of float, as NumPy's are, as a plain one."""
    if isinstance(told, Mapping):
        return {key: _plain(value) for key, value in told.items()}
    if isinstance(told, list | tuple):
        return [_plain(value) for value in told]
    return float(told) if isinstance(told, float) else told


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
    example = examples.get(re.sub(r"\[\d+\]", "", place))
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
    words = next(words for kind, words in _CALLED if isinstance(value, kind))
    told = words.format(shown(value, 33), type(value).__name__)
    return told.removeprefix("the number ") if "of about" in told else told
