"""Reading the fields of a parsed file with their types and ranges checked.

Knows mappings and how to complain about them; knows nothing of what the fields mean.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeVar, cast

from weavecolor.errors import InputError, shown, within
from weavecolor.textile.notmodelled import elsewhere

T = TypeVar("T")

#: Most numbers in one list.
MAX_NUMBERS = 5000
_ASK: Any = object()
_NONE: Mapping[str, str] = {}


class Fields:
    """One table of a file. Every complaint is an InputError naming the file and the full field;
    of a missing one it says what would be right, where ``examples`` does by the field's name."""

    def __init__(
        self, data: object, file: str, prefix: str = "", examples: Mapping[str, str] = _NONE
    ) -> None:
        self.file, self.prefix, self._examples = file, prefix, examples
        if not isinstance(data, Mapping):
            raise InputError(
                f"must be a table of fields, got {_kind(data)}", file=file, field=prefix or None
            )
        self._data = data

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def __iter__(self) -> Iterator[str]:
        return iter(self._data)

    def get(self, key: str) -> object:
        """The bare value, None where there is none."""
        return self._data.get(key)

    def place(self, key: str) -> str:
        """The field's full name, such as ``warp.count``."""
        return f"{self.prefix}.{key}" if self.prefix else key

    def refuse(self, what: str, key: str | None = None) -> InputError:
        """The error to raise about ``key``, or about the table as a whole."""
        return InputError(what, file=self.file, field=self.place(key) if key else self.prefix)

    def only(self, known: tuple[str, ...]) -> None:
        """Refuse any key that is not in ``known``."""
        for key in self._data:
            if key not in known:
                near = difflib.get_close_matches(str(key)[:60], known, 1, 0.7)
                hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
                said = self._data[key]
                hint += elsewhere(f"{key} {said if isinstance(said, str) else ''}"[:120])
                raise self.refuse(f"is not a known field; {hint}", str(key)[:60])

    def table(self, key: str) -> Fields:
        """The table under ``key``."""
        return Fields(self._value(key, _ASK), self.file, self.place(key), self._examples)

    def text(self, key: str, longest: int, default: Any = _ASK, lines: bool = False) -> str:
        """Text of at most ``longest`` characters, on one line unless ``lines``.

        Parameters
        ----------
        key : str
        longest : int
            Characters.
        default
            Given back where the field is missing; without it a missing field is an error.
        lines : bool
            Several lines will do.
        """
        value = self._value(key, default)
        if value is default:
            return cast(str, default)
        if not isinstance(value, str):
            raise self.refuse(f"must be text in quotes, got {_kind(value)}", key)
        if len(value) > longest:
            raise self.refuse(f"is longer than {longest} characters", key)
        allowed = "\n\t" if lines else ""
        if any(not c.isprintable() and c not in allowed for c in value):
            raise self.refuse("must be plain text without control characters", key)
        if not value.strip() and default is _ASK:
            raise self.refuse("must not be empty", key)
        return value

    def choice(self, key: str, options: tuple[str, ...], default: Any = _ASK) -> str:
        """One of ``options``, in small letters or large.

        Parameters
        ----------
        key : str
        options : tuple of str
        default
            Given back where the field is missing; without it a missing field is an error.
        """
        value = self.text(key, 60, default)
        found = next((one for one in options if one.casefold() == value.casefold()), None)
        if found is None:
            raise self.refuse(f"{value!r} must be one of {', '.join(options)}", key)
        return found

    def number(
        self,
        key: str,
        low: float,
        high: float,
        default: Any = _ASK,
        *,
        unit: str = "",
        infinite: bool = False,
        percent: bool = False,
        whole: bool = False,
    ) -> Any:
        """A number from ``low`` to ``high``; "5 %" as well where ``percent``.

        Parameters
        ----------
        key : str
        low, high : float
            Both included, in the field's own unit.
        default
            Given back where the field is missing; without it a missing field is an error.
        unit : str
            Told after the range in a complaint.
        infinite : bool
            "inf" will do.
        percent : bool
        whole : bool
            Only whole numbers will do.
        """
        value = self._value(key, default)
        if value is default:
            return default
        if percent and isinstance(value, str) and value.strip().endswith("%"):
            try:
                value = float(value.strip()[:-1]) / 100.0
            except ValueError:
                raise self.refuse(f"{value[:40]!r} is not a percentage", key) from None
        if value == math.inf and not infinite:
            raise self.refuse("must be a finite number, got inf", key)
        try:
            within(self.place(key), value, low, high, unit)
        except InputError as error:
            raise error.at(file=self.file) from None
        number = float(cast(float, value))
        if whole and number != int(number):
            raise self.refuse(f"must be a whole number, got {number:g}", key)
        return number

    def numbers(self, key: str, exactly: int | None = None) -> list[float]:
        """A list of finite numbers."""
        value = self._value(key, _ASK)
        if not isinstance(value, list):
            raise self.refuse(f"must be a list of numbers, got {_kind(value)}", key)
        if len(value) > MAX_NUMBERS:
            raise self.refuse(f"holds {len(value)} numbers; at most {MAX_NUMBERS}", key)
        if exactly is not None and len(value) != exactly:
            raise self.refuse(f"must hold {exactly} numbers, got {len(value)}", key)
        return [self._real(f"{key}[{i}]", item) for i, item in enumerate(value)]

    def convert(
        self,
        key: str,
        how: Callable[[Any], T],
        types: tuple[type, ...] = (str,),
        default: Any = _ASK,
    ) -> T:
        """What ``how`` makes of the value; its InputError is given the field's name.

        Parameters
        ----------
        key : str
        how : callable
        types : tuple of type
            Of the value in the file.
        default
            Given back where the field is missing; without it a missing field is an error.
        """
        value = self._value(key, default)
        if value is default:
            return cast(T, default)
        if not isinstance(value, types):
            wanted = "text in quotes with its unit" if types == (str,) else "text or a list of rows"
            raise self.refuse(f"must be {wanted}, got {_kind(value)}", key)
        try:
            return how(value)
        except InputError as error:
            raise error.at(file=self.file, field=self.place(key)) from None

    def _value(self, key: str, default: Any) -> Any:
        if key in self._data:
            return self._data[key]
        if default is _ASK:
            example = self._examples.get(key)
            raise self.refuse(f"is missing; write {example}" if example else "is missing", key)
        return default

    def _real(self, key: str, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.refuse(f"must be a number, got {_kind(value)}", key)
        try:
            number = float(value)
        except OverflowError:
            raise self.refuse("is too large a number", key) from None
        if not math.isfinite(number):
            raise self.refuse(f"must be a finite number, got {number}", key)
        return number


def _kind(value: object) -> str:
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, str):
        return f"text {value[:30]!r}"
    if isinstance(value, int | float):
        text = shown(value, 33)
        return text if text.startswith("a number") else f"the number {text}"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, Mapping):
        return "a table"
    return f"{type(value).__name__}"
