"""``weavecolor cloths``: the swatches that come with the tool."""

from __future__ import annotations

import click


@click.command()
def command() -> None:
    """List the swatches: cloths to try, or to copy and change."""
    from weavecolor.files.clothfile import load_swatch, swatch_folder, swatch_names
    from weavecolor.report.comparisontable import columns

    heads = ("swatch", "weave", "ends/cm", "picks/cm", "g/m2", "cloth")
    from weavecolor.textile.construction import cloth_mass_g_m2

    rows = []
    for name in swatch_names():
        cloth = load_swatch(name)
        setts = (f"{cloth.ends_per_cm:.4g}", f"{cloth.picks_per_cm:.4g}")
        rows.append((name, cloth.weave.name, *setts, f"{cloth_mass_g_m2(cloth):.0f}", cloth.name))
    for line in columns(heads, rows, {"ends/cm", "picks/cm", "g/m2"}):
        click.echo(line)
    click.echo(f"\nCloth files: {swatch_folder()}")
