"""``weavecolor backings``: what can lie behind the cloth."""

from __future__ import annotations

import click


@click.command()
def command() -> None:
    """List what can lie behind the cloth."""
    from weavecolor.colour.colorimetry import reading
    from weavecolor.colour.lights import light_spectrum
    from weavecolor.scene.backings import backing, backing_names

    day = light_spectrum("daylight")
    for name in backing_names():
        seen = reading(backing(name).reflectance * day, day)
        click.echo(f"{name:12}  {seen.hex}  L* {seen.Lab[0]:2.0f}  {seen.words}")
    click.echo("open          nothing behind")
    click.echo('any screen colour, such as "#d8c9a0" or "navy"')
    click.echo(
        "White, black, calico and card are usual ones, without whitener, and not measured. Skin is "
        "measured: the ten darkest of 100 people, ten in the middle, the ten lightest; deep is the "
        "darkest of them, and deeper skin exists. What is darker or lighter than these is told "
        "better by its screen colour."
    )
