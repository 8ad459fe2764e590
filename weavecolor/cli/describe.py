"""``weavecolor describe``: one cloth in numbers, and what was assumed about it."""

from __future__ import annotations

from pathlib import Path

import click

from weavecolor.cli._shared import cloth_called, give


@click.command()
@click.argument("cloth")
@click.option("--scene", default="overcast", show_default=True, help="Where the colours are seen.")
@click.option(
    "--table",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="How it is written.",
)
@click.option("--json", "form", flag_value="json", help="The same as --table json.")
@click.option("--save", type=click.Path(path_type=Path), help="Write to this file.")  # fmt: skip
def command(cloth: str, scene: str, form: str, save: Path | None) -> None:
    """Describe one CLOTH: weight, cover, yarn, crimp, and how face and back look.

    CLOTH is a swatch (see weavecolor cloths) or the path of a cloth file.
    """
    from weavecolor.report.portrait import as_json, as_text, portrait
    from weavecolor.scene.places import scene as scene_called

    made = portrait(cloth_called(cloth), scene_called(scene))
    give(as_text(made) if form == "text" else as_json(made), save)
