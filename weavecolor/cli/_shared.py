"""What several verbs share: reading a cloth, lists in options, progress, and where output goes.

Knows the terminal; knows nothing of optics.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from weavecolor.errors import InputError, meant
from weavecolor.textile.notmodelled import elsewhere

if TYPE_CHECKING:
    from weavecolor.optics.stack import Layer
    from weavecolor.scene.backings import Backing
    from weavecolor.scene.scene import Scene
    from weavecolor.textile.cloth import Cloth

T = TypeVar("T")
MOST_CHOICES = 60
#: The option of what the innermost layer hangs as: ``picture.forms.BENEATH``, which takes a tenth
#: of a second to load.
BENEATH = click.option(
    "--beneath", type=click.Choice(["none", "lining", "slip", "stiffener"]), default="none",
    show_default=True,
    help="What the innermost layer hangs as under a skirt; none: with the others.",
)  # fmt: skip


def cloth_called(name: str) -> Cloth:
    """The cloth of a swatch's name, or of the cloth file at that path."""
    from weavecolor.files.clothfile import (
        load_swatch,
        read_cloth,
        swatch_called,
        swatch_names,
        tidy_name,
    )

    if swatch := swatch_called(name):
        return load_swatch(swatch)
    path = Path(name)
    if path.suffix == ".toml" or path.exists() or path.name != name:
        return read_cloth(path)
    try:
        backing_called(name)
        more = f"; what lies behind is told by --behind {name[:60]!r}"
    except InputError:
        more = meant(tidy_name(name), swatch_names()) or elsewhere(name)
    if Path(f"{name}.toml").exists():
        more = f": {name[:60]}.toml is there"
    raise InputError(
        f"{name[:60]!r} is neither a swatch nor a cloth file; see weavecolor cloths, or give a "
        f"path ending in .toml{more}",
        field="CLOTH",
    )


def backing_called(name: str) -> Backing | None:
    """What lies behind; "open" and "nothing" are None. A cloth's name is told how it is laid."""
    from weavecolor.files.clothfile import swatch_names
    from weavecolor.scene.backings import behind_called

    try:
        return behind_called(name)
    except InputError as error:
        if name in swatch_names() or name.endswith(".toml"):
            raise InputError(
                f"{name[:60]!r} is a cloth, not a backing: lay it as the innermost layer, "
                f'--stack "OUTER CLOTH + {name[:60]}" with compare or draw'
            ) from None
        raise error


def stacks_called(texts: Sequence[str]) -> tuple[tuple[Layer, ...], ...]:
    """Several of them; cloths of one name from different files are told apart by the file."""
    from dataclasses import replace

    from weavecolor.optics.layerwords import layers_said
    from weavecolor.textile.names import told_apart

    layers = [layers_said(text, cloth_called) for text in texts]
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


def not_with(what: str, *names: str) -> None:
    """Refuses options of the running verb, by their parameters' ``names``, that were written but do
    not count with ``what``: nothing that was said is left out in silence."""
    context = click.get_current_context()
    for name in names:
        if context.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE:
            option = next(p.opts[0] for p in context.command.params if p.name == name)
            raise InputError(f"does not count with {what}: leave it out", field=option)


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


def span(text: str) -> tuple[int, int]:
    """Fewest and most layers of "2" or "1-3"."""
    low, dash, high = text.partition("-")
    try:
        few, most = whole(low), whole(high if dash else low)
    except InputError as error:
        raise InputError(f"{error.what}; write 2 or 1-3", field="--layers") from None
    if few > most:
        raise InputError(f"{text!r} runs backwards; write {most}-{few}", field="--layers")
    return few, most


def layer_counts(text: str, turn: float) -> tuple[int, ...]:
    """Numbers of layers, of "1,3" or "1-3"; ``turn`` of one against the other asks for two."""
    from weavecolor.optics.stack import layer_count

    counts: list[int] = []
    for low, high in choices(text, "--layers", span):
        counts += range(layer_count(low, "--layers"), layer_count(high, "--layers") + 1)
    if max(counts) == 1 and turn:
        raise InputError("does not count with one layer: leave it out", field="--turn")
    return tuple(counts)


def scenes_called(text: str, hung: bool) -> tuple[Scene, ...]:
    """Places with commas, where ``hung`` as cloth in folds meets them."""
    from weavecolor.scene.folds import hung as in_folds
    from weavecolor.scene.places import scene

    scenes = choices(text, "--scene", scene)
    return tuple(map(in_folds, scenes)) if hung else scenes


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
