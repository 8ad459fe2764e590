"""``weavecolor lay``: whether the pieces fit on the cloth in hand, and the lay drawn."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weavecolor.cli._making import in_hand, in_project, length_cm, project_called
from weavecolor.cli._shared import choices, give, one_of
from weavecolor.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from weavecolor.cutting.lay import Lay
    from weavecolor.cutting.pieces import Piece

_ENDINGS = (".png", ".svg", ".pdf")
#: What was laid: a name for it, the pieces as one cuts them, and the result.
Laid = tuple[str, "Lay"]


@click.command(epilog="Example: weavecolor lay two-skirt-evening --out lay.png")
@click.argument("pieces")
@click.option("--cloth", help="Width by length in hand: 112x250, or 44x98 inch.")
@click.option("--grain", help="Grains to try, with commas: straight, cross, bias, either, degrees  "
              "[default: straight,cross,bias; of a project, its chosen option's]")  # fmt: skip
@click.option("--layers", type=click.IntRange(1, 12), default=1, show_default=True,
              help="How many times all of it is cut.")  # fmt: skip
@click.option("--fold", help="How the cloth lies: open, lengthwise, crosswise  [default: open]")
@click.option("--selvedge", default="0", show_default=True, help="Strip to leave at both edges.")
@click.option("--one-way", is_flag=True, help="Nap, or a shot that differs up and down.")
@click.option("--option", "option_name", default="", help="Option of a project to lay.")
@click.option("--tries", type=click.IntRange(1, 100000), help="Lays to try for each grain.")
@click.option("--out", type=click.Path(path_type=Path),
              help="Draw the lay: .png, .svg or .pdf; several are numbered.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Write the lays as JSON.")
@click.option("--save", type=click.Path(path_type=Path), help="Write the words to this file.")
def command(
    pieces: str, cloth: str | None, grain: str | None, layers: int, fold: str | None,
    selvedge: str, one_way: bool, option_name: str, tries: int | None, out: Path | None,
    as_json: bool, save: Path | None,
) -> None:  # fmt: skip
    """Lay the PIECES on the cloth in hand: does it fit, at which grain, what is left.

    PIECES is a TOML list of pieces (see swatches/projects/ for one), a project file, or the name
    of an example project. A project's chosen option is laid on the cloths the project has, unless
    --cloth says otherwise.
    """
    from weavecolor.cutting.remnant import FOLDS

    if out is not None and out.suffix.lower() not in _ENDINGS:
        raise InputError(f"a lay is drawn as {', '.join(_ENDINGS)}", file=str(out))
    if fold is not None:
        one_of(FOLDS)(fold)
    hand = None
    if cloth is not None:
        hand = in_hand(cloth, "--cloth", length_cm(selvedge, "--selvedge", zero=True), one_way)
    if pieces.casefold().endswith(".toml"):
        from weavecolor.cutting.piecesfile import read_pieces

        if option_name:
            raise InputError("is for a project; a list of pieces has none", field="--option")
        if hand is None:
            raise InputError("say what is in hand, such as 112x250", field="--cloth")
        rows = read_pieces(pieces)
        found = _by_grain(rows, hand, grain or "straight,cross,bias", layers, fold or "open", tries)
    else:
        project = project_called(pieces)
        rows = project.pieces
        if not rows:
            raise InputError("holds no pieces to lay", file=pieces)
        if hand is not None:
            found = _by_grain(
                rows, hand, grain or "straight,cross,bias", layers, fold or project.fold, tries
            )
        else:
            if layers != 1 or one_way or selvedge != "0":
                raise InputError("are told with --cloth; the project has its own",
                                 field="--layers, --one-way and --selvedge")  # fmt: skip
            try:
                found = _of_project(project, option_name, grain, fold, tries)
            except InputError as error:
                raise in_project(pieces, error) from None
    files = _drawn(out, found, rows) if out is not None else {}
    give(_json(found) if as_json else _text(found), save)
    _write(files)


def _by_grain(
    rows: Sequence[Piece], hand: Any, grain: str, layers: int, fold: str, tries: int | None
) -> list[Laid]:
    from dataclasses import replace

    from weavecolor.cutting.lay import lay

    many = [replace(piece, quantity=piece.quantity * layers) for piece in rows]
    times = f", {layers} layers" if layers > 1 else ""
    return [
        (f"{words}{times}", lay(many, hand, angle, fold=fold, tries=tries))
        for angle, words in choices(grain, "--grain", _grain)
    ]


def _of_project(
    project: Any, option_name: str, grain: str | None, fold: str | None, tries: int | None
) -> list[Laid]:
    from dataclasses import replace

    from weavecolor.making.answers import chosen_option, lays_of

    option = chosen_option(project, option_name)
    if fold is not None:
        project = replace(project, fold=fold)
    found: list[Laid] = []
    tried: list[tuple[Any, str]] = [(None, "")]
    if grain is not None:
        tried = list(choices(grain, "--grain", _degrees))
    for angle, words in tried:
        turned = option
        if angle is not None:  # the whole option turned, its outermost layer to that grain
            by = angle - option.layers[0].grain_deg
            layers = tuple(replace(x, grain_deg=(x.grain_deg + by) % 360.0) for x in option.layers)
            turned = replace(option, layers=layers)
        for made in lays_of(project, turned, tries):
            name = f"{made.cloth}, {words}" if words else made.cloth
            if made.lay is None:
                click.echo(f"{name}: {made.words}", err=True)
            else:
                found.append((name, made.lay))
    if not found:
        raise InputError("there is no cloth in hand to lay on; give --cloth, such as 112x250")
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
    from weavecolor.report.sheetwords import lay_sentences

    lines = []
    for name, made in found:
        lines.append(f"{name[:1].upper()}{name[1:]}:")
        lines += [f"   {sentence}" for sentence in lay_sentences(made)]
    return "\n".join(lines) + "\n"


def _json(found: Sequence[Laid]) -> str:
    rows = [
        {
            "laid": name,
            "verdict": made.verdict,
            "reason": made.reason,
            "used_cm": made.used_cm,
            "shortest_possible_cm": _finite(made.bound_cm),
            "short_cm": made.short_cm,
            "used_share": made.used_share,
            "largest_left_cm": list(made.largest_left),
            "missing": list(made.missing),
            "fold": made.fold,
            "notes": list(made.notes),
            "placements": [
                {
                    "name": p.name,
                    "cut_cm": [list(corner) for corner in p.cut],
                    "turned_deg": p.turned_deg,
                    "mirrored": p.mirrored,
                    "copies": p.copies,
                    "on_fold": p.on_fold,
                }
                for p in made.placements
            ],
        }
        for name, made in found
    ]
    return json.dumps({"lays": rows}, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _finite(value: float) -> float | None:
    return value if abs(value) < 1e12 else None


def _drawn(out: Path, found: Sequence[Laid], rows: Sequence[Piece]) -> dict[Path, bytes]:
    from weavecolor.picture.canvaspdf import pdf_bytes
    from weavecolor.picture.canvaspng import png_bytes
    from weavecolor.picture.canvassvg import svg_text
    from weavecolor.report.laydrawing import lay_page

    ending = out.suffix.lower()
    pages = [lay_page(f"Lay: {name}", made, rows) for name, made in found]
    files = {}
    for number, (page, (name, _)) in enumerate(zip(pages, found, strict=True), 1):
        path = out if len(pages) == 1 else out.with_name(f"{out.stem}-{number}{out.suffix}")
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
