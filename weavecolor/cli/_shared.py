"""What several verbs share: reading a cloth, lists in options, progress, and where output goes.

Knows the terminal; knows nothing of optics.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from weavecolor.errors import InputError

if TYPE_CHECKING:
    from weavecolor.textile.cloth import Cloth

T = TypeVar("T")
MOST_CHOICES = 60


def cloth_called(name: str) -> Cloth:
    """The cloth of a swatch's name, or of the cloth file at that path."""
    from weavecolor.files.clothfile import load_swatch, read_cloth, swatch_names

    if name in swatch_names():
        return load_swatch(name)
    path = Path(name)
    if path.suffix == ".toml" or path.exists() or path.name != name:
        return read_cloth(path)
    raise InputError(
        f"{name[:60]!r} is neither a swatch nor a cloth file; see weavecolor cloths, or give a "
        "path ending in .toml",
        field="CLOTH",
    )


def choices(text: str, field: str, convert: Callable[[str], T]) -> tuple[T, ...]:
    """A comma-separated option's parts, each converted; complaints name the option."""
    parts = [part.strip() for part in text.split(",")]
    if not all(parts):
        raise InputError("has an empty place between commas; give names parted by commas",
                         field=field)  # fmt: skip
    if len(parts) > MOST_CHOICES:
        raise InputError(f"{len(parts)} choices are too many; at most {MOST_CHOICES}", field=field)
    try:
        return tuple(convert(part) for part in parts)
    except InputError as error:
        raise InputError(error.what, field=field) from None


def one_of(allowed: Sequence[str]) -> Callable[[str], str]:
    """A converter that takes one of the words in ``allowed``."""

    def check(text: str) -> str:
        if text not in allowed:
            raise InputError(f"{text[:40]!r} is not one of {', '.join(allowed)}")
        return text

    return check


def whole(text: str) -> int:
    """A whole number."""
    try:
        return int(text)
    except ValueError:
        raise InputError(f"{text[:40]!r} is not a whole number") from None


def progress_to(what: str) -> Callable[[int, int], None] | None:
    """A teller of progress on standard error, if that is a terminal."""
    if not sys.stderr.isatty():
        return None

    def tell(done: int, total: int) -> None:
        end = "\r\x1b[K" if done >= total else ""
        click.echo(f"\r{what}: {done} of {total}\x1b[K{end}", err=True, nl=False)

    return tell


def give(text: str, save: Path | None) -> None:
    """Print ``text``, or write it whole to the file ``save`` and say so on standard error."""
    from weavecolor.files.atomic import write_text

    if save is None:
        click.echo(text, nl=False)
        return
    write_text(save, text)
    click.echo(f"wrote {save}", err=True)
