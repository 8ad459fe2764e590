"""``weavecolor project``: begin, read, check a project file, and choose in it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from weavecolor.cli._making import (
    example_projects,
    in_project,
    kept_in,
    own_project,
    project_called,
)
from weavecolor.cli._shared import BENEATH, backing_called, choices, give
from weavecolor.errors import InputError, capital

if TYPE_CHECKING:
    from weavecolor.making.model import Making, MakingCloth
    from weavecolor.textile.cloth import Cloth


@click.group()
def command() -> None:
    """One file for a making: cloths, amounts, wishes, options, choice, pieces, fullness."""


@command.command(
    epilog='Example: weavecolor project new dress.json --title "Evening dress" '
    '--cloth "shot-organza-teal-copper=112x420cm" --cloth silk-chiffon-ivory '
    '--behind "white,skin medium" --scene "ballroom,candlelit" --want "most shot"'
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--like", help="Begin with an example's contents; see weavecolor project examples.")
@click.option("--title", help="What is made.")
@click.option("--cloth", "cloths", multiple=True,
              help='Swatch or cloth file, then "=112x250cm" if that is in hand; after it, with '
              'commas: selvedge 1 cm, one way, bite 30x40cm at far left, flaw 8x8cm at '
              '70x190cm.')  # fmt: skip
@click.option("--pieces", type=click.Path(path_type=Path),
              help="TOML file of pattern pieces, fullness, cloth in hand.")  # fmt: skip
@click.option("--behind", help="What may lie behind, with commas.")
@click.option("--scene", help="Where it is seen, with commas, the main place first.")
@click.option("--want", "wants", multiple=True, help="A wish, as for weavecolor decide stacks.")
@click.option("--hung", is_flag=True, help="Wishes are of cloth as it hangs in folds.")
@click.option("--replace", "over", is_flag=True, help="Write over a file that is there.")
def new(
    file: Path, like: str | None, title: str | None, cloths: tuple[str, ...], pieces: Path | None,
    behind: str | None, scene: str | None, wants: tuple[str, ...], hung: bool, over: bool,
) -> None:  # fmt: skip
    """Begin a project in FILE, empty or like an example."""
    from weavecolor.making.answers import check_project
    from weavecolor.making.file import load_making, save_making
    from weavecolor.making.model import Making

    if file.suffix.lower() != ".json":
        raise InputError("a project file ends in .json", file=str(file))
    if file.exists() and not over:
        raise InputError("is there already; --replace writes over it", file=str(file))
    made = Making()
    if like is not None:
        known = example_projects()
        if like not in known:
            raise InputError(f"{like[:60]!r} is no example; there are {', '.join(known)}",
                             field="--like")  # fmt: skip
        made = load_making(known[like])
    if title is not None:
        made = replace(made, title=title)
    if cloths:
        kept = {cloth.key: cloth for cloth in made.cloths}
        kept.update(_by_key(map(_cloth, cloths)))
        made = replace(made, cloths=tuple(kept.values()))
    if pieces is not None:
        made = _with_cutting(made, pieces)
    if behind is not None:
        made = replace(made, backings=choices(behind, "--behind", str))
    if scene is not None:
        made = replace(made, scenes=choices(scene, "--scene", str), light=None)
    if wants:
        made = replace(made, wishes=wants)
    if hung:
        made = replace(made, hung=True)
    missing = check_project(made)
    click.echo(f"wrote {save_making(file, made)}", err=True)
    for line in missing:
        click.echo(line, err=True)


@command.command("show")
@click.argument("project")
@click.option("--save", type=click.Path(path_type=Path), help="Write to this file.")
def show(project: str, save: Path | None) -> None:
    """Tell what a PROJECT file (or example) holds."""
    held = project_called(project)
    try:
        text = _text(held)
    except InputError as error:
        raise in_project(project, error) from None
    give(text, save)


@command.command("check")
@click.argument("project")
def check(project: str) -> None:
    """See whether a PROJECT file (or example) is sound, and what it still lacks for a sheet."""
    from weavecolor.making.answers import check_project

    held = project_called(project)
    try:
        missing = check_project(held)
    except InputError as error:
        raise in_project(project, error) from None
    for line in missing:
        click.echo(line)
    if held.chosen:
        click.echo(f"Sound. weavecolor sheet {project} --out sheet.pdf writes the making sheet.")
    else:
        click.echo("Sound.")


@command.command(
    "keep",
    epilog='Example: weavecolor project keep dress.json "shot-organza-teal-copper cross back + '
    'silk-chiffon-ivory" --behind "skin medium"',
)
@click.argument("file")
@click.argument("stack")
@click.option("--behind", help="What lies behind; open for nothing  [default: the project's first, "
              "or white]")  # fmt: skip
@click.option("--lay", default="loose", show_default=True,
              help="How layers lie: touching, loose, apart.")  # fmt: skip
@BENEATH
def keep(file: str, stack: str, behind: str | None, lay: str, beneath: str) -> None:
    """Put a STACK of your own among the options of the project FILE.

    STACK is written as for weavecolor compare, outermost first, by the project's own names.
    """
    from weavecolor.files.clothfile import tidy_name
    from weavecolor.making.answers import cloths_of, shape_of
    from weavecolor.optics.layerwords import layers_said
    from weavecolor.optics.stack import Stack
    from weavecolor.picture.forms import not_beneath

    path, held = own_project(file)
    cloths = cloths_of(held)

    named = {tidy_name(cloth.name): cloth for cloth in cloths.values()}
    named |= {tidy_name(key): cloth for key, cloth in cloths.items()}

    def called(key: str) -> Cloth:
        if key not in cloths and tidy_name(key) not in named:
            raise InputError(
                f"{key[:60]!r} is no cloth of {path}; there are {', '.join(cloths) or 'none'}",
                field="STACK",
            )
        return cloths.get(key) or named[tidy_name(key)]

    ground = behind if behind is not None else (*held.backings, "white")[0]
    made = Stack(layers_said(stack, called), backing_called(ground), lay)
    if why := not_beneath(beneath, len(made.layers), shape_of(held, made), made.backing):
        raise InputError(why, field="--beneath")
    (name,) = kept_in(path, (made,), beneath=beneath)
    click.echo(f"kept in {path} as {name}; choose it: weavecolor project choose {path} {name}",
               err=True)  # fmt: skip


@command.command("choose")
@click.argument("file")
@click.argument("option", required=False)
@click.option("--nothing", is_flag=True, help="Take the choice back.")
def choose(file: str, option: str | None, nothing: bool) -> None:
    """Choose OPTION in the project FILE; the sheet and the lay are then of it."""
    from weavecolor.making.answers import stack_of
    from weavecolor.making.file import change_making

    path, held = own_project(file)
    if nothing == (option is not None):
        raise InputError("name one option to choose, or --nothing to take the choice back",
                         field="OPTION")  # fmt: skip
    if option is None:
        change_making(path, lambda now: replace(now, chosen=""))
        click.echo(f"nothing is chosen in {path}", err=True)
        return

    def chosen(now: Making) -> Making:
        one = now.option(option)
        stack_of(now, one)
        return replace(now, chosen=one.name)

    try:
        change_making(path, chosen)
        name = held.option(option).name
    except InputError as error:
        raise in_project(file, error) from None
    click.echo(f"chosen {name} in {path}", err=True)


@command.command("clear")
@click.argument("file")
@click.option("--yes", is_flag=True, help="Do not ask.")
def clear(file: str, yes: bool) -> None:
    """Take all options and the choice out of the project FILE; undo brings them back."""
    from weavecolor.making.answers import cleared
    from weavecolor.making.file import change_making

    path, held = own_project(file)
    if not held.options:
        raise InputError("holds no option to clear away", file=file)
    names = ", ".join(option.name for option in held.options)
    if not yes and not click.confirm(f"Take {names} out of {path}?", err=True):
        click.echo("nothing was changed", err=True)
        return
    change_making(path, lambda now: cleared(now, options=(), chosen=""))
    click.echo(f"cleared; weavecolor project undo {path} brings them back", err=True)


@command.command("undo")
@click.argument("file")
def undo(file: str) -> None:
    """Bring back what was last cleared in the project FILE."""
    from weavecolor.making.answers import undone
    from weavecolor.making.file import change_making

    path, _ = own_project(file)
    try:
        change_making(path, undone)
    except InputError as error:
        raise in_project(file, error) from None
    click.echo(f"{path} is as before the last clearing", err=True)


@command.command("examples")
def examples() -> None:
    """List the example projects."""
    from weavecolor.making.file import load_making

    for name, path in example_projects().items():
        click.echo(f"{name}  {load_making(path).title}")
        click.echo(f"    {path}")


def _by_key(cloths: Iterable[MakingCloth]) -> dict[str, MakingCloth]:
    """The cloths by key; another file of the same name gets a number."""
    made: dict[str, MakingCloth] = {}
    for cloth in cloths:
        key, number = cloth.key, 1
        while key in made and made[key].definition != cloth.definition:
            number += 1
            key = f"{cloth.key}-{number}"
        more = made[key].in_hand if key in made else ()
        made[key] = replace(cloth, key=key, in_hand=(*more, *cloth.in_hand))
    return made


def _cloth(text: str) -> MakingCloth:
    from weavecolor.cutting.asked import in_hand_from
    from weavecolor.files.clothfile import swatch_names
    from weavecolor.making.answers import project_cloth, swatch_cloth

    name, equals, amount = text.partition("=")
    name = name.strip()
    hands = (in_hand_from(amount, "--cloth"),) if equals else ()
    if name in swatch_names():
        return swatch_cloth(name, hands)
    path = Path(name)
    if path.suffix != ".toml" and not path.exists():
        raise InputError(f"{name[:60]!r} is neither a swatch nor a cloth file", field="--cloth")
    key = re.sub(r"[^\w]+", "-", path.stem).strip("-")[:60] or "cloth"
    return project_cloth(key, path, hands)


def _with_cutting(project: Making, path: Path) -> Making:
    """The project with the pieces and fullness of a cutting file, and the cloth in hand it tells,
    where there is only one cloth that it can be."""
    from weavecolor.cutting.piecesfile import read_cutting

    told = read_cutting(path)
    if told.cloth:
        without = [kept for kept in project.cloths if not kept.in_hand]
        if len(without) != 1:
            raise InputError(
                "tells what is in hand, but of which cloth? write it behind the cloth: "
                '--cloth "NAME=112x250cm"',
                file=str(path),
                field="cloth",
            )
        project = replace(
            project,
            cloths=tuple(
                replace(kept, in_hand=told.cloth) if kept is without[0] else kept
                for kept in project.cloths
            ),
        )
    return replace(
        project,
        pieces=told.pieces,
        fullness=told.fullness or project.fullness,
        fold=told.fold or project.fold,
    )


def _cut_from(project: Making, outer: int | None) -> dict[tuple[float, float, float], list[str]]:
    """Usable width, grain and length of what fullness is cut from, and the cloths' keys: of the
    chosen option's ``outer`` layers (None: all), else of every cloth in hand on straight grain."""
    laid = [(layer.cloth, layer.grain_deg) for one in project.options if one.name == project.chosen
            for layer in one.layers[:outer]]  # fmt: skip
    hands = {kept.key: kept.in_hand for kept in project.cloths if kept.in_hand}
    found: dict[tuple[float, float, float], list[str]] = {}
    for key, grain in dict.fromkeys(laid or [(key, 0.0) for key in hands]):
        if key in hands:
            bounds = [hand.shape.bounds for hand in hands[key]]
            width = min(right - left for left, _, right, _ in bounds)
            longest = max(high - low for _, low, _, high in bounds)
            found.setdefault((width, grain, longest), []).append(key)
    return found


def _text(project: Making) -> str:
    from weavecolor.cutting.needed import in_outer_layers
    from weavecolor.cutting.pieces import outer_words
    from weavecolor.cutting.remnant import in_hand_words
    from weavecolor.decide.judged import stack_words
    from weavecolor.making.answers import cloths_of, lights_of, plans_of, stack_of
    from weavecolor.making.lightchoice import light_words
    from weavecolor.report.sheetwords import fullness_sentences

    cloths = cloths_of(project)
    lines = [project.title or "(no title)"]
    lines += [f"   {line}" for line in project.notes.splitlines() if line.strip()]
    lines.append("Cloths:")
    for kept in project.cloths:
        lines.append(f"   {kept.key}: {cloths[kept.key].name}")
        for hand in kept.in_hand:
            lines.append(f"      in hand: {in_hand_words(hand)}")
    lines.append(f"Behind: {', '.join(project.backings) or 'not said'}")
    lines.append(f"Lights: {', '.join(light_words(light) for light in lights_of(project))}")
    hangs = ", as it hangs in folds" if project.hung else ""
    lines.append(f"Wanted: {', '.join(project.wishes) or 'not said'}{hangs}")
    lines.append("Options:" if project.options else "Options: none yet")
    for option in project.options:
        mark = "*" if option.name == project.chosen else " "
        lines.append(f" {mark} {option.name}: {stack_words(stack_of(project, option))}")
    count = sum(piece.quantity for piece in project.pieces)
    if project.pieces:
        names = ", ".join(f"{p.quantity} x {p.name}" for p in project.pieces)
        lines.append(f"Pieces: {count} to cut for each layer: {names}")
    for outer, own in in_outer_layers(project.pieces, plans_of(project)).items():
        lines.append(f"Cut {outer_words(outer)}: {', '.join(own)}")
    for wanted in plans_of(project):
        cut_from = _cut_from(project, wanted.layers)
        if not cut_from:
            lines += fullness_sentences(wanted.what, wanted.plan())
        for (width, grain, longest), keys in cut_from.items():
            what = ", ".join([wanted.what, *keys])
            try:
                lines += fullness_sentences(what, wanted.plan(width, grain, longest))
            except InputError as error:
                lines.append(f"{capital(what)}: {error}.")
    for reading in project.measured:
        lines.append(f"Measured: {reading.name} ({reading.kind})")
    return "\n".join(lines) + "\n"
