"""The one error a user is meant to read, and the words of what is no number of its range, and of
what is no plain text. Knows nothing of cloth or optics."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable
from numbers import Real
from typing import cast

#: A line that is read is no longer than this.
LONGEST = 1000


class InputError(ValueError):
    """Bad input, told in one line: where it is, what is wrong, what would be right.

    Parameters
    ----------
    what : str
        What is wrong, and what would be right.
    file, field : str, optional
        Where it stands. Either may be added later with :meth:`at`.

    Notes
    -----
    Its text is "file: field: what", those that are known, on one line of at most 1000 characters.

    Examples
    --------
    >>> print(InputError("must be above 0", file="cloth.toml", field="ends"))
    cloth.toml: ends: must be above 0
    """

    def __init__(self, what: str, *, file: str | None = None, field: str | None = None) -> None:
        self.what, self.file, self.field = what, file, field
        super().__init__(what)

    def at(self, *, file: str | None = None, field: str | None = None) -> InputError:
        """The same complaint with its place filled in where it was still unknown."""
        return InputError(self.what, file=self.file or file, field=self.field or field)

    def __str__(self) -> str:
        place = ": ".join(part for part in (self.file, self.field) if part)
        text = f"{place}: {self.what}" if place else self.what
        line = " ".join(text.split())
        return line if len(line) <= LONGEST else line[: LONGEST - 3] + "..."


def capital(text: str) -> str:
    """``text`` with a capital first, its other letters as they are.

    Examples
    --------
    >>> capital("stage LED")
    'Stage LED'
    """
    return text[:1].upper() + text[1:]


def meant(word: str, known: Iterable[str]) -> str:
    """The end of a complaint about a ``word`` that is nearly one of those ``known``, or nothing.

    Examples
    --------
    >>> meant("tafeta", ["taffeta", "organza"]), meant("gold", ["taffeta"])
    ('; did you mean taffeta?', '')
    """
    near = difflib.get_close_matches(word[:60], list(known), 1, 0.75)
    return f"; did you mean {near[0]}?" if near else ""


def shown(value: object, most: int = 60) -> str:
    """A bad value as it may stand in a complaint: its text, cut off after ``most`` characters.

    A whole number of thousands of digits, which Python refuses to print, is told by its size.

    Examples
    --------
    >>> shown("forty"), shown(10**9999)
    ("'forty'", 'a number of about 10000 digits')
    """
    if isinstance(value, int) and value.bit_length() > 1000:
        return f"a number of about {int(value.bit_length() * 0.30103) + 1} digits"
    try:
        text = repr(value)
    except ValueError:  # such a number inside a list
        return f"a {type(value).__name__}"
    return text if len(text) <= most else text[: most - 3] + "..."


def within(what: str | None, value: object, low: float, high: float, unit: str = "") -> None:
    """Raise InputError, in one line with what would be right, unless ``low <= value <= high``.

    Parameters
    ----------
    what : str or None
        The field's name.
    value : object
        Whatever was given for a number.
    low, high : float
        Both included; ``high`` may be infinite.
    unit : str
        Told after the range.

    Examples
    --------
    >>> within("packing", 0.7, 0.1, 1.0)
    """
    span = f"{low:g} or more" if high == math.inf else f"from {low:g} to {high:g}"
    told = f"{span}{f' {unit}' if unit else ''}, got "
    if isinstance(value, bool) or not isinstance(value, Real):
        raise InputError(f"must be a number {told}{shown(value, 33)}", field=what)
    number = cast(float, value)
    if not low <= number <= high:  # not a number is no number of the trade either
        got = shown(value, 33) if isinstance(value, int) else f"{number:g}"
        raise InputError(f"must be {told}{got}", field=what)


def one_line(text: object, field: str, most: int, empty: bool = False) -> None:
    """Refuse what is no plain text of one line.

    Parameters
    ----------
    text : object
    field : str
        What the complaint calls it.
    most : int
        Characters.
    empty : bool
        Whether no text will do.

    Examples
    --------
    >>> one_line("Shot organza", "name", 200)
    """
    lines(text, field, most, "")
    if not empty and isinstance(text, str) and not text.strip():
        raise InputError("must not be empty", field=field)


def lines(text: object, field: str, most: int = 20_000, allowed: str = "\n\t") -> None:
    """Refuse what is no plain text of at most ``most`` characters.

    Parameters
    ----------
    text : object
    field : str
        What the complaint calls it.
    most : int
        Characters.
    allowed : str
        Characters that do not print and will do.

    Examples
    --------
    >>> lines("cut on Friday\\nsew on Saturday", "notes")
    """
    if not isinstance(text, str):
        raise InputError(f"must be text in quotes, got {shown(text, 33)}", field=field)
    if len(text) > most:
        raise InputError(f"is longer than {most} characters", field=field)
    if any(not c.isprintable() and c not in allowed for c in text):
        raise InputError("must be plain text without control characters", field=field)
