"""``weavecolor scenes``: the places a garment can be seen in."""

from __future__ import annotations

import textwrap

import click


@click.command()
def command() -> None:
    """List the places a garment can be seen in."""
    from weavecolor.scene.places import INSTRUMENTS, scene, scene_names

    width = max(map(len, scene_names())) + 2
    for name in (*scene_names(), *(place.name for place in INSTRUMENTS)):
        notes = textwrap.wrap(scene(name).notes, 96 - width)
        click.echo(name.ljust(width) + f"\n{' ' * width}".join(notes))
