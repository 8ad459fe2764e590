"""What several verbs share: reading a cloth, lists in options, progress, and where output goes.

Knows the terminal; knows nothing of optics.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from weavecolor.errors import InputError

if TYPE_CHECKING:
    from weavecolor.optics.stack import Layer
    from weavecolor.scene.backings import Backing
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


def backing_called(name: str) -> Backing | None:
    """What lies behind; "open" and "nothing" are None. A cloth's name is told how it is laid."""
    from weavecolor.files.clothfile import swatch_names
    from weavecolor.scene.backings import backing

    if name.casefold() in ("open", "nothing"):
        return None
    try:
        return backing(name)
    except InputError as error:
        if name in swatch_names() or name.endswith(".toml"):
            raise InputError(
                f"{name[:60]!r} is a cloth, not a backing: lay it as the innermost layer, "
                f'--stack "OUTER CLOTH + {name[:60]}" with compare or draw'
            ) from None
        raise error


def layers_called(text: str, cloth: Cloth | None = None) -> tuple[Layer, ...]:
    """The layers of "cloth cross back + other-cloth bias", outermost first.

    Each layer is a swatch or cloth file, then its grain (straight where nothing is said), then the
    side that is out (the face where nothing is said). With ``cloth`` given all layers are of it,
    and grain and side are all that is read: "straight + cross back".
    """
    from weavecolor.optics.stack import Layer, layer_count

    field = "--stack" if cloth is None else "--laid"
    made = []
    for part in text.split("+"):
        words, grain, face = _lying(part.split(), cloth is None)
        if cloth is None and not words:
            raise InputError("names no cloth; write outermost first, such as "
                             '"shot-organza-teal-copper cross + silk-chiffon-ivory"',
                             field=field)  # fmt: skip
        if cloth is not None and (words or not part.split()):
            raise InputError(f"{part.strip()[:40]!r} tells of no layer; write grain and side of "
                             'each, outermost first, such as "straight + cross back"',
                             field=field)  # fmt: skip
        made.append(Layer(cloth or cloth_called(" ".join(words)), grain, face))
    layer_count(len(made), field)
    return tuple(made)


def _lying(words: list[str], kept: int) -> tuple[list[str], float, str]:
    """What stands before grain and side in a layer, at least ``kept`` words of it, and these."""
    from weavecolor.optics.stack import FACES
    from weavecolor.textile.grain import grain_deg

    face, grain = "face", 0.0
    if len(words) > kept and words[-1] in FACES:
        face = words.pop()
    if len(words) > max(kept, 1) and words[-1] == "grain":
        words.pop()
    if len(words) > kept:
        try:
            grain = grain_deg(words[-1])
            words.pop()
        except InputError:
            pass  # the cloth's own name goes on
    return words, grain, face


def stacks_called(texts: Sequence[str]) -> tuple[tuple[Layer, ...], ...]:
    """Several of them; cloths of one name from different files are told apart by the file."""
    from dataclasses import replace

    from weavecolor.textile.names import told_apart

    layers = [layers_called(text) for text in texts]
    keys: dict[str, Cloth] = {}
    for layer in (x for stack in layers for x in stack):
        if layer.cloth not in keys.values():
            keys[f"{len(keys) + 1}"] = layer.cloth
    apart = told_apart(keys)
    names = [(cloth, apart[key]) for key, cloth in keys.items()]

    def named(layer: Layer) -> Layer:
        return replace(layer, cloth=next(b for a, b in names if a == layer.cloth))

    return tuple(tuple(map(named, stack)) for stack in layers)


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


def minded(cloths: Iterable[Cloth], all_: bool = True) -> str:
    """What answers about these cloths rest on, in one line; "" where on nothing doubtful.

    Parameters
    ----------
    cloths : iterable of Cloth
    all_ : bool
        False: only where a stated weight contradicts the construction.
    """
    from weavecolor.optics.uncertainty import known_of, reasons

    known = known_of(cloths)
    told = reasons(known) if all_ else known.contradictions
    return f"Mind: {'; '.join(text.rstrip('.') for text in told)}.\n" if told else ""


def give(text: str, save: Path | None) -> None:
    """Print ``text``, or write it whole to the file ``save`` and say so on standard error."""
    from weavecolor.files.atomic import write_text

    if save is None:
        click.echo(text, nl=False)
        return
    write_text(save, text)
    click.echo(f"wrote {save}", err=True)
