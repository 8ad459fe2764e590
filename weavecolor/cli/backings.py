"""``weavecolor backings``: what can lie behind the cloth."""

from __future__ import annotations

import click


@click.command()
def command() -> None:
    """List what can lie behind the cloth."""
    from weavecolor.scene.backings import backing_names

    for name in (*backing_names(), "open (nothing behind)", 'any screen colour, such as "#d8c9a0"'):
        click.echo(name)
