"""The one error a user is meant to read. Knows nothing of cloth or optics."""

from __future__ import annotations


class InputError(ValueError):
    """Bad input, told in one line: where it is, what is wrong, what would be right.

    Parameters
    ----------
    what : str
        What is wrong, and what would be right.
    file, field : str, optional
        Where it stands. Either may be added later with :meth:`at`.
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
        return " ".join(text.split())
