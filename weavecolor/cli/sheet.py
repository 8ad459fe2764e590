"""``weavecolor sheet``: the making sheet of a project's choice, as PDF and PNG."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from weavecolor.cache import let_go
from weavecolor.cli._making import in_project, project_called
from weavecolor.cli._shared import choices, progress_to
from weavecolor.errors import InputError


@click.command(epilog="Example: weavecolor sheet two-skirt-evening --out sheet.pdf --png")
@click.argument("project")
@click.option("--out", required=True, type=click.Path(path_type=Path),
              help="File to write: .pdf or .png.")  # fmt: skip
@click.option("--png", is_flag=True, help="Also write each page of a PDF as a picture beside it.")
@click.option("--option", "option_name", default="", help="Another option than the chosen one.")
@click.option("--date", default="", help="Date to print  [default: today]")
@click.option("--pictures", default="drape", show_default=True,
              help="drape (in the form kept), close-up, both, or none.")  # fmt: skip
@click.option("--dyeing", is_flag=True, help="It will be dyed: with the cautions for that.")
@click.option("--solvent", is_flag=True, help="Glue or stain remover will be used: likewise.")
@click.option("--tries", type=click.IntRange(1, 100000), help="Lays to try for each cloth.")
def command(
    project: str, out: Path, png: bool, option_name: str, date: str, pictures: str, dyeing: bool,
    solvent: bool, tries: int | None,
) -> None:  # fmt: skip
    """Write the making sheet of a PROJECT's chosen option, one or two A4 pages.

    PROJECT is a project file or the name of an example. The sheet has the layers with their grain,
    how it should look in the project's lights, what will show through, cutting list and lay,
    fullness, cautions, and what was measured and assumed.
    """
    from weavecolor.making.answers import chosen_option
    from weavecolor.report.makingsheet import save_making_sheet
    from weavecolor.report.sheetfrommaking import SheetChoices, making_sheet

    if out.suffix.lower() not in (".pdf", ".png"):
        raise InputError("a making sheet is written as .pdf or .png", file=str(out))
    kinds = () if pictures.strip().casefold() == "none" else choices(pictures, "--pictures", str)
    asked = SheetChoices(
        date.strip() or datetime.date.today().isoformat(), kinds, dyeing, solvent, tries
    )
    held = project_called(project)
    try:
        option = chosen_option(held, option_name)
        told = progress_to("working out the sheet")
        made = making_sheet(held, asked, option, told, once=True)
    except InputError as error:
        raise in_project(project, error) from None
    let_go()  # pages take as much room again as what the cloth was worked out with
    for path in save_making_sheet(out, made, also_png=png):
        click.echo(f"wrote {path}", err=True)
    for need in made.needs:
        if need.enough is False:
            click.echo(f"caution: {need.cloth}: {need.verdict}, {need.reason}", err=True)
