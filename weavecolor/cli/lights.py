"""``weavecolor lights``: the kinds of light."""

from __future__ import annotations

import click


@click.command()
def command() -> None:
    """List the kinds of light that scenes are made of."""
    from weavecolor.colour.lights import LAMPS

    width = max(len(lamp.name) for lamp in LAMPS) + 2
    for lamp in LAMPS:
        click.echo(lamp.name.ljust(width) + lamp.note)
