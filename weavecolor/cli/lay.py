"""``weavecolor lay``: whether the pieces fit on the cloth in hand, and the lay drawn."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weavecolor.cli._making import cloth_in_hand, in_project, project_called
from weavecolor.cli._shared import choices, give, one_of, progress_to
from weavecolor.errors import InputError, capital

if TYPE_CHECKING:
    from collections.abc import Sequence

    from weavecolor.cutting.fullness import FullnessWanted
    from weavecolor.cutting.lay import Lay
    from weavecolor.cutting.needed import ClothNeeded
    from weavecolor.cutting.pieces import Piece
    from weavecolor.cutting.remnant import ClothInHand
    from weavecolor.making.model import Making

_ENDINGS = (".png", ".svg", ".pdf")
#: What was laid: a name for it, and the sum.
Laid = tuple[str, "ClothNeeded"]


@click.command(
    epilog="Example: weavecolor lay two-skirt-evening --out lay.png   or: weavecolor lay mine.toml "
    '--cloth "112 x 250 cm" --selvedge "1 cm" --bite "30 x 40 cm at far left" --layers 2 '
    '--fullness "skirt: 70 x 90 cm, gathered, 2.5 to 1"'
)
@click.argument("pieces")
@click.option("--cloth", "cloths", multiple=True,
              help="Width x length in hand with its unit: 112x250cm, 60 inch x 3.5 yd. "
              "Several lengths: give it again.")  # fmt: skip
@click.option("--grain", help="Grains to try, with commas: straight, cross, bias, either, degrees  "
              "[default: straight,cross,bias; of a project, its chosen option's]")  # fmt: skip
@click.option("--layers", type=click.IntRange(1, 12),
              help="How many layers, each with all of it but what its file cuts in the outer ones "
              "alone  [default: 1; a project's option has its own]")  # fmt: skip
@click.option("--fold", help="How the cloth lies: open, lengthwise, crosswise  [default: open]")
@click.option("--selvedge", help='Strip to leave at both edges: 1cm, "3/8 inch".')
@click.option("--one-way", is_flag=True, help="Nap, or a shot that differs up and down.")
@click.option("--bite", "bites", multiple=True,
              help='Cut out before, at an edge: "30 x 40 cm at far left", "... at 0 x 90 '
              'cm".')  # fmt: skip
@click.option("--flaw", "flaws", multiple=True,
              help='A damaged place: its size, then how far from the left selvedge and from the '
              'cut end, the face up: "8 x 8 cm at 70 x 190 cm".')  # fmt: skip
@click.option("--fullness", "fulls", multiple=True,
              help='Cut besides what the file tells, but for one called alike: "skirt: 70 x 90 '
              'cm, gathered, 2.5 to 1", "sleeve: 30 x 50 cm, knife, doubled".')  # fmt: skip
@click.option("--option", "option_name", default="", help="Option of a project to lay.")
@click.option("--tries", type=click.IntRange(1, 100000), help="Lays to try for each grain.")
@click.option("--out", type=click.Path(path_type=Path),
              help="Draw the lay: .png, .svg or .pdf; several are numbered.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Write the lays as JSON.")
@click.option("--save", type=click.Path(path_type=Path), help="Write the words to this file.")
def command(
    pieces: str, cloths: tuple[str, ...], grain: str | None, layers: int | None, fold: str | None,
    selvedge: str | None, one_way: bool, bites: tuple[str, ...], flaws: tuple[str, ...],
    fulls: tuple[str, ...], option_name: str, tries: int | None, out: Path | None, as_json: bool,
    save: Path | None,
) -> None:  # fmt: skip
    """Lay the PIECES on the cloth in hand: does it fit, at which grain, what is left.

    PIECES is a TOML file of pieces, cloth in hand and fullness (README tells its fields), a project
    file, or the name of an example project. A project's chosen option is laid on the cloths the
    project has, or on the --cloth told here, every layer with every piece and fullness
    but those told for the outer layers alone; with --layers so many of --cloth, whatever is chosen.
    """
    from weavecolor.cutting.remnant import FOLDS

    if out is not None and out.suffix.lower() not in _ENDINGS:
        raise InputError(f"a lay is drawn as {', '.join(_ENDINGS)}", file=str(out))
    if fold is not None:
        one_of(FOLDS)(fold)
    hands = cloth_in_hand(cloths, selvedge, one_way, bites, flaws)
    if pieces.casefold().endswith(".toml"):
        from weavecolor.cutting.piecesfile import read_cutting

        if option_name:
            raise InputError("is for a project; a list of pieces has none", field="--option")
        told = read_cutting(pieces)
        hands = hands or told.cloth
        if not hands:
            raise InputError("say what is in hand, such as 112x250cm", field="--cloth")
        full = _fullness(told.fullness, fulls, hands)
        found = _by_grain(told.pieces, full, hands, grain, layers or 1, fold or told.fold, tries)
    else:
        project = project_called(pieces)
        if not (project.pieces or project.fullness or fulls):
            raise InputError("holds no pieces to lay and no fullness", file=pieces)
        if fulls:
            project = replace(project, fullness=_fullness(project.fullness, fulls, hands))
        if hands and (layers is not None or not (option_name or project.chosen)):
            found = _by_grain(
                project.pieces, project.fullness, hands, grain, layers or 1, fold or project.fold,
                tries,
            )  # fmt: skip
        else:
            if layers is not None:
                raise InputError("is told with --cloth; the project's option has its own",
                                 field="--layers")  # fmt: skip
            try:
                if hands:
                    project = _cut_from(project, option_name, hands)
                found = _of_project(project, option_name, grain, fold, tries)
            except InputError as error:
                raise in_project(pieces, error) from None
    files = _drawn(out, found) if out is not None else {}
    _write(files)  # before what is told, which a reader may cut off
    give(_json(found) if as_json else _text(found), save)


def _fullness(
    told: Sequence[FullnessWanted], texts: Sequence[str], hands: Sequence[ClothInHand]
) -> tuple[FullnessWanted, ...]:
    """What the file tells and what is told here, which counts before a like name of the file."""
    from weavecolor.cutting.asked import fullness_from

    width = min((hand.usable_width_cm for hand in hands), default=110.0)
    here = [fullness_from(text, "--fullness", width) for text in texts]
    named = {wanted.what.casefold() for wanted in here}
    return (*(wanted for wanted in told if wanted.what.casefold() not in named), *here)


def _by_grain(
    pieces: Sequence[Piece], full: Sequence[FullnessWanted], hands: Sequence[ClothInHand],
    grain: str | None, layers: int, fold: str, tries: int | None,
) -> list[Laid]:  # fmt: skip
    from weavecolor.cutting.needed import cloth_needed

    times = f", {layers} layers" if layers > 1 else ""
    found, cannot = [], []
    for angle, words in choices(grain or "straight,cross,bias", "--grain", _grain):
        try:
            made = cloth_needed("cloth", ((angle, layers),), pieces, full, hands,
                                fold=fold or "open", tries=tries)  # fmt: skip
        except InputError as error:
            if grain is not None:
                raise
            cannot.append((words, error))
        else:
            found.append((f"{words}{times}", made))
    if not found:
        raise cannot[0][1]
    for words, why in cannot:  # nobody asked for it by name
        click.echo(f"{capital(words)}: {why}", err=True)
    return found


def _cut_from(project: Making, option_name: str, hands: tuple[ClothInHand, ...]) -> Making:
    """The project with these lengths in hand of the one cloth that its option is made of."""
    from weavecolor.making.answers import chosen_option

    option = chosen_option(project, option_name)
    keys = {layer.cloth for layer in option.layers}
    if len(keys) > 1:
        raise InputError(
            f"option {option.name} is made of {len(keys)} cloths; say how many layers are cut from "
            "the cloth told here",
            field="--layers",
        )
    cloths = tuple(
        replace(cloth, in_hand=hands) if cloth.key in keys else cloth for cloth in project.cloths
    )
    return replace(project, cloths=cloths)


def _of_project(
    project: Making, option_name: str, grain: str | None, fold: str | None, tries: int | None
) -> list[Laid]:
    from weavecolor.making.answers import chosen_option, needs_of

    option = chosen_option(project, option_name)
    if fold is not None:
        project = replace(project, fold=fold)
    found: list[Laid] = []
    tried: list[tuple[float | None, str]] = [(None, "")]
    if grain is not None:
        tried = list(choices(grain, "--grain", _degrees))
    for angle, words in tried:
        turned = option
        if angle is not None:  # the whole option turned, its outermost layer to that grain
            by = angle - option.layers[0].grain_deg
            layers = tuple(replace(x, grain_deg=(x.grain_deg + by) % 360.0) for x in option.layers)
            turned = replace(option, layers=layers)
        for made in needs_of(project, turned, tries, progress_to("laying")):
            found.append((f"{made.cloth}, {words}" if words else made.cloth, made))
    return found


def _grain(text: str) -> tuple[str | float, str]:
    """A grain as ``lay`` takes it, and in words."""
    from weavecolor.textile.grain import GRAINS, grain_deg, grain_words

    word = text.strip().casefold()
    if word in (*GRAINS, "either"):
        return word, "straight or cross grain" if word == "either" else grain_words(GRAINS[word])
    return _degrees(text)[0], grain_words(grain_deg(text))


def _degrees(text: str) -> tuple[float, str]:
    from weavecolor.textile.grain import grain_deg, grain_words

    angle = grain_deg(text)
    return angle, grain_words(angle)


def _text(found: Sequence[Laid]) -> str:
    from weavecolor.report.sheetwords import needed_sentences

    lines = []
    for name, made in found:
        lines.append(f"{capital(name)}:")
        lines += [f"   {sentence}" for sentence in needed_sentences(made)]
    return "\n".join(lines) + "\n"


def _json(found: Sequence[Laid]) -> str:
    rows = [
        {
            "laid": name,
            "verdict": made.verdict,
            "reason": made.reason,
            "layers": [
                {"grain": grain, "layers": count, "back_out": back}
                for grain, count, back, _ in made.grains
            ],
            "counted": made.counted,
            "used_cm": _finite(made.used_cm),
            "short_cm": made.short_cm,
            "needed_cm": made.needed_cm,
            "largest": made.largest,
            "missing": list(made.laid[-1][1].missing) if made.laid else [],
            "notes": list(made.notes),
            "fullness": [
                {
                    "what": what,
                    "layers": layers,
                    "widths": plan.widths,
                    "panel_cm": plan.panel_cm,
                    "drop_cm": plan.drop_cm,
                    "fullness": plan.fullness,
                }
                for what, plan, layers in made.plans
            ],
            "lengths": [_length(hand, lay) for hand, lay in made.laid],
        }
        for name, made in found
    ]
    return json.dumps({"lays": rows}, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _length(hand: ClothInHand, lay: Lay) -> dict[str, Any]:
    from weavecolor.cutting.remnant import in_hand_words

    return {
        "in_hand": in_hand_words(hand),
        "verdict": lay.verdict,
        "used_cm": lay.used_cm,
        "shortest_possible_cm": _finite(lay.bound_cm),
        "used_share": lay.used_share,
        "largest_left_cm": list(lay.largest_left),
        "fold": lay.fold,
        "notes": list(lay.notes),
        "placements": [
            {
                "name": p.name,
                "cut_cm": [list(corner) for corner in p.cut],
                "turned_deg": p.turned_deg,
                "mirrored": p.mirrored,
                "copies": p.copies,
                "on_fold": p.on_fold,
            }
            for p in lay.placements
        ],
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) and abs(value) < 1e12 else None


def _drawn(out: Path, found: Sequence[Laid]) -> dict[Path, bytes]:
    from weavecolor.picture.canvaspdf import pdf_bytes
    from weavecolor.picture.canvaspng import png_bytes
    from weavecolor.picture.canvassvg import svg_text
    from weavecolor.report.laydrawing import lay_page
    from weavecolor.report.sheetwords import needed_sentences

    ending = out.suffix.lower()
    drawn = []
    for name, made in found:
        for number, (_, lay) in enumerate(made.laid, 1):
            on = f", length {number}" if len(made.laid) > 1 else ""
            title = f"Lay: {name}{on}"
            drawn.append((lay_page(title, lay, made.parts, needed_sentences(made)), title))
    if not drawn:
        raise InputError("nothing could be laid, so there is no lay to draw", file=str(out))
    files = {}
    for number, (page, name) in enumerate(drawn, 1):
        path = out if len(drawn) == 1 else out.with_name(f"{out.stem}-{number}{out.suffix}")
        if ending == ".svg":
            files[path] = svg_text(page, name).encode()
        elif ending == ".pdf":
            files[path] = pdf_bytes([page], name)
        else:
            files[path] = png_bytes(page, 150)
    return files


def _write(files: dict[Path, bytes]) -> None:
    from weavecolor.files.atomic import write_bytes

    for path, data in files.items():
        write_bytes(path, data)
        click.echo(f"wrote {path}", err=True)
