"""What the verbs of making share: projects by name, and what is in hand.

Knows the terminal; what is made is in ``weavecolor.make``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from weavecolor.errors import InputError

if TYPE_CHECKING:
    from weavecolor.cutting.remnant import ClothInHand
    from weavecolor.making.model import Making
    from weavecolor.optics.stack import Stack


def cloth_in_hand(
    texts: Sequence[str],
    selvedge: str | None,
    one_way: bool,
    bites: Sequence[str],
    flaws: Sequence[str],
) -> tuple[ClothInHand, ...]:
    """The lengths told by --cloth, each with its own words; what else is told is of the first."""
    from weavecolor.cutting.asked import in_hand_from, length_from, with_damage

    hands = [in_hand_from(text, "--cloth") for text in texts]
    for field, said in (("--selvedge", selvedge), ("--one-way", one_way), ("--bite", bites),
                        ("--flaw", flaws)):  # fmt: skip
        if said and not hands:
            raise InputError("is told with --cloth", field=field)
    if not hands:
        return ()
    try:
        if selvedge is not None:
            edge = length_from(selvedge, "--selvedge", zero=True)
            hands = [replace(hand, selvedge_cm=edge) for hand in hands]
    except InputError as error:
        raise InputError(error.what, field="--selvedge") from None
    if one_way:
        hands = [replace(hand, one_way=True) for hand in hands]
    for kind, spots in (("bite", bites), ("flaw", flaws)):
        for text in spots:
            hands[0] = with_damage(hands[0], kind, text, f"--{kind}")
    return tuple(hands)


def example_projects() -> dict[str, Path]:
    """The example projects that come with the tool, by name."""
    from weavecolor.files.clothfile import swatch_folder

    return {p.stem: p for p in sorted((swatch_folder() / "projects").glob("*.json"))}


def project_called(name: str) -> Making:
    """The project in the file of that name, or the example called so; what is to be said of an
    old file is said. Raises InputError."""
    from weavecolor.making.file import open_making

    path = Path(name)
    if not path.exists() and name in example_projects():
        path = example_projects()[name]
    if not path.exists() and path.suffix != ".json" and path.name == name:
        known = ", ".join(example_projects())
        raise InputError(
            f"{name[:60]!r} is neither a project file nor an example; examples are {known}",
            field="PROJECT",
        )
    held, said = open_making(path)
    if said:
        click.echo(f"{path}: {said}", err=True)
    return held


def own_project(name: str) -> tuple[Path, Making]:
    """A project file that may be written to, and what it holds; an example is refused."""
    path = Path(name)
    if not path.exists() and name in example_projects():
        raise InputError(
            f"the example is not written to; make your own of it: weavecolor project new mine.json "
            f"--like {name}",
            field="PROJECT",
        )
    return path, project_called(name)


def kept_in(
    path: str | Path, stacks: tuple[Stack, ...], hung: bool | None = None, beneath: str = "none"
) -> tuple[str, ...]:
    """Their names among the options of the project file, which now holds them besides whatever was
    written there meanwhile; and, where told, whether they were judged as they hang. ``beneath``:
    what the innermost layer of each hangs as."""
    from weavecolor.making.answers import with_stacks
    from weavecolor.making.file import change_making

    names: tuple[str, ...] = ()

    def put(now: Making) -> Making:
        nonlocal names
        changed, names = with_stacks(now, stacks, beneath=beneath)
        return changed if hung is None else replace(changed, hung=hung)

    change_making(path, put)
    return names


def in_project(name: str, error: InputError) -> InputError:
    """The same complaint, placed in the project file where it has no file of its own."""
    return error.at(file=name)
