"""``weavecolor compare``: options side by side, as a table and as one picture."""

from __future__ import annotations

from pathlib import Path

import click

from weavecolor.cli._shared import (
    backing_called,
    choices,
    cloth_called,
    give,
    layer_counts,
    not_with,
    one_of,
    progress_to,
    scenes_called,
    stacks_called,
)


@click.command(
    epilog="Example: weavecolor compare shot-organza-red-black --grain straight,cross,bias "
    '--layers 1,2,3 --behind white,black,calico,"skin medium" --out sheet.png'
)
@click.argument("cloth", required=False)
@click.option("--stack", "stacks", multiple=True,
              help='A whole stack, outermost first, each layer with its grain and side: '
              '"shot-organza-teal-copper cross + silk-chiffon-ivory bias back".')  # fmt: skip
@click.option(
    "--grain",
    default="straight,cross",
    show_default=True,
    help="straight, cross, bias, or degrees off straight; several with commas.",
)
@click.option("--layers", default="1,2", show_default=True,
              help="How many layers, 1 to 12: 1,3 or 1-3.")  # fmt: skip
@click.option(
    "--behind",
    default="white,black",
    show_default=True,
    help='White, black, calico, "skin medium", "#d8c9a0", open; see weavecolor backings.',
)
@click.option(
    "--scene",
    default="window at the side",
    show_default=True,
    help="Where it is seen; see weavecolor scenes.",
)
@click.option("--hung", is_flag=True,
              help="The cloth as it hangs in folds, not held flat before the eye.")  # fmt: skip
@click.option("--side", default="face", show_default=True, help="Which side is out: face, back.")
@click.option(
    "--lay", default="loose", show_default=True, help="How layers lie: touching, loose, apart."
)
@click.option(
    "--turn",
    default=0.0,
    show_default=True,
    help="Degrees by which each layer further in is turned.",
)
@click.option(
    "--observer",
    type=click.Choice(["2", "10"]),
    default="2",
    show_default=True,
    help="Standard observer, degrees: 10 for large pieces.",
)
@click.option(
    "--table",
    "form",
    type=click.Choice(["text", "json", "csv"]),
    default="text",
    show_default=True,
    help="How the table is written.",
)
@click.option("--json", "form", flag_value="json", help="The same as --table json.")
@click.option("--save", type=click.Path(path_type=Path), help="Write the table to this file.")
@click.option("--every-step", is_flag=True, help="Tell every difference in a sentence.")
@click.option("--out", type=click.Path(path_type=Path), help="Write a sheet of patches, a PNG.")
@click.option("--scale", type=click.IntRange(1, 4), default=2, show_default=True,
              help="Size of the sheet.")  # fmt: skip
def command(
    cloth: str | None, stacks: tuple[str, ...], grain: str, layers: str, behind: str, scene: str,
    hung: bool, side: str, lay: str, turn: float, observer: str, form: str, save: Path | None,
    every_step: bool, out: Path | None, scale: int,
) -> None:  # fmt: skip
    """Compare grain, layers, backings and light for one CLOTH.

    CLOTH is a swatch (see weavecolor cloths) or the path of a cloth file. Every combination of
    the choices is worked out; neighbours differ in one thing. With --stack whole stacks of any
    cloths are compared instead, over every backing and in every light. Colours are of cloth held
    flat, which shines at one angle; with --hung of folds, which show all: how a garment looks.
    """
    from weavecolor.decide.compare import compare, compare_stacks
    from weavecolor.errors import InputError
    from weavecolor.optics.stack import LAYS, Stack, face_called
    from weavecolor.report.comparisontable import as_csv, as_json, as_text
    from weavecolor.textile.grain import grain_deg

    if out is not None and out.suffix.lower() != ".png":
        raise InputError("the sheet is a PNG; give a name ending in .png", file=str(out))
    if out is not None and out == save:
        raise InputError("--out and --save name one file; give two", file=str(out))
    if out is None:
        not_with("no --out, the sheet that it sizes", "scale")
    if form != "text":
        holds = "tells every one" if form == "json" else "has no sentences"
        not_with(f"--table {form}, which {holds}", "every_step")
    if (cloth is None) == (not stacks):
        raise InputError("name one cloth, or whole stacks with --stack", field="CLOTH")
    behinds = choices(behind, "--behind", backing_called)
    scenes = scenes_called(scene, hung)
    told = progress_to("looking at options")
    if cloth is None:
        not_with("--stack, which tells each layer's own", "grain", "layers", "side", "turn")
        how = one_of(LAYS)(lay)
        piles = [Stack(pile, None, how) for pile in stacks_called(stacks)]
        made = compare_stacks(piles, behinds, scenes, observer, told)
    else:
        made = compare(
            cloth_called(cloth),
            choices(grain, "--grain", grain_deg),
            layer_counts(layers, turn),
            behinds,
            scenes,
            choices(side, "--side", face_called),
            choices(lay, "--lay", one_of(LAYS)),
            turn,
            observer,
            told,
        )
    if form == "text":
        text = as_text(made, every_step)
    else:
        text = as_json(made) if form == "json" else as_csv(made)
    if out is not None:
        from weavecolor.files.atomic import write_bytes
        from weavecolor.report.sheetpicture import sheet_png

        write_bytes(out, sheet_png(made, scale=scale))
        click.echo(f"wrote {out}", err=True)
    give(text, save)
