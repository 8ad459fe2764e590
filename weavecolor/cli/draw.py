"""``weavecolor draw``: pictures of one cloth, still and moving."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from weavecolor.cli._shared import (
    BENEATH,
    backing_called,
    choices,
    cloth_called,
    layer_counts,
    minded,
    not_with,
    progress_to,
    stacks_called,
)
from weavecolor.errors import InputError

if TYPE_CHECKING:
    from PIL import Image

    from weavecolor.optics.stack import Stack
    from weavecolor.picture.encode import Seeing
    from weavecolor.picture.hung import Sight
    from weavecolor.scene.scene import Scene

_WHATS = ("close-up", "hung", "sheet")


@click.command(
    epilog='Example: weavecolor draw hung shot-organza-red-black --form "gathered skirt" '
    "--layers 2 --behind white --out skirt.png"
)
@click.argument("what", type=click.Choice(_WHATS))
@click.argument("cloth", required=False)
@click.option("--stack", "piles", multiple=True,
              help='A whole stack, outermost first: "shot-organza-teal-copper cross + '
              'silk-chiffon-ivory bias back"; several for a sheet.')  # fmt: skip
@click.option("--out", required=True, type=click.Path(path_type=Path),
              help="File to write: .png; a loop also .webp or .gif.")  # fmt: skip
@click.option("--grain", default="straight", show_default=True,
              help="straight, cross, bias, or degrees; several for a sheet.")  # fmt: skip
@click.option("--layers", default="1", show_default=True, help="How many; several for a sheet.")
@click.option("--turn", default=0.0, show_default=True,
              help="Degrees by which each layer further in is turned.")  # fmt: skip
@click.option("--behind", default="white", show_default=True,
              help="White, black, calico, open, ...; several for a sheet.")  # fmt: skip
@click.option("--scene", default="window at the side", show_default=True,
              help="Where it is seen.")  # fmt: skip
@click.option("--form", default="gathered skirt", show_default=True,
              help="What it is hung as, or a hung shape's name; a sheet also takes close-up, "
              "flat colour.")  # fmt: skip
@click.option("--size", type=click.IntRange(64, 8000), help="Width in pixels.")
@click.option("--scale", type=float, help="Mm a pixel of a close-up; all layers true to it.")
@click.option("--moving", type=click.Choice(["cloth", "light"]), default="cloth", show_default=True,
              help="What goes round in a loop.")  # fmt: skip
@click.option("--frames", type=click.IntRange(2, 180), default=36, show_default=True,
              help="Pictures of a loop.")  # fmt: skip
@click.option("--turned", default=20.0, show_default=True,
              help="Degrees that a hung garment is turned on its stand.")  # fmt: skip
@click.option("--zoom", type=click.FloatRange(0.6, 40.0), default=1.0, show_default=True,
              help="How near a hung garment is; from 8 or so single threads are seen.")  # fmt: skip
@click.option("--ground", type=click.Choice(["grey", "light", "dark"]), default="grey",
              show_default=True, help="What a hung garment stands before.")  # fmt: skip
@BENEATH
@click.option("--dress-form", type=click.Choice(["none", "to the hip", "full length"]),
              help="How far the dress form reaches  [default: full length; none in "
              "open air].")  # fmt: skip
@click.option("--page", type=click.Choice(["A4", "A4 landscape", "telephone"]), default="A4",
              show_default=True, help="Page of a sheet.")  # fmt: skip
@click.option("--screen", type=click.Choice(["sRGB", "Display P3"]), default="sRGB",
              show_default=True, help="Screen that the picture is for.")  # fmt: skip
@click.option("--unadapted", is_flag=True, help="Keep the cast of the light.")
@click.option("--exposure", type=float, help="Factor on the light; else set for the scene.")
@click.option("--mark", is_flag=True, help="Hatch what the screen cannot show.")
def command(
    what: str, cloth: str | None, piles: tuple[str, ...], out: Path, grain: str, layers: str,
    turn: float, behind: str, scene: str, form: str, size: int | None,
    scale: float | None, moving: str, frames: int, turned: float, zoom: float, ground: str,
    beneath: str, dress_form: str | None, page: str, screen: str, unadapted: bool,
    exposure: float | None, mark: bool,
) -> None:  # fmt: skip
    """Draw a picture of CLOTH.

    WHAT is close-up (the weave at true scale), hung (as it hangs in a shape, seen through; a name
    ending in .webp or .gif makes it turn, or the light go round it) or sheet (1 to 12 options on a
    page). CLOTH is a swatch (see weavecolor cloths) or a cloth file.
    """
    from weavecolor.files.atomic import write_bytes
    from weavecolor.picture.encode import Seeing, png_bytes
    from weavecolor.scene.places import scene as scene_called

    allowed = (".png", ".webp", ".gif") if what == "hung" else (".png",)
    if out.suffix.lower() not in allowed:
        raise InputError(f"give a name ending in {' or '.join(allowed)}", file=str(out))
    if (cloth is None) == (not piles):
        raise InputError("name one cloth, or whole stacks with --stack", field="CLOTH")
    if cloth is None:
        not_with("--stack, which tells each layer's own", "grain", "layers", "turn")
    not_with(what, *_ONLY[what])
    if what == "hung" and out.suffix.lower() == ".png":
        not_with("a picture that stands still; a loop ends in .webp or .gif", "moving", "frames")
    lit = scene_called(scene)
    shared, stacks = _piles(piles, behind) if cloth is None else (
        _stacks(cloth, grain, layers, turn, behind, lit)
    )  # fmt: skip
    if what != "sheet" and len(stacks) > 1:
        raise InputError("several grains, layers or backings are for a sheet; give one of each")
    seeing = Seeing(screen, not unadapted, exposure, mark)
    label, stack = stacks[0]
    if what == "hung":
        from weavecolor.picture.hung import Sight

        sight = Sight(turned, zoom=zoom)
        image = _hung(stack, lit, seeing, form, size, moving, frames, sight, ground,
                      (beneath, dress_form or ""), out)  # fmt: skip
    elif what == "sheet":
        from weavecolor.picture.composite import Choice, draw_sheet

        options = [Choice(words, s) for words, s in stacks]
        image = draw_sheet(options, lit, form, page, shared=shared, seeing=seeing,
                           progress=_share("drawing"))  # fmt: skip
        write_bytes(out, png_bytes(image, image.info.get("dpi", (None,))[0]))
    else:
        from weavecolor.picture.closeup import draw_closeup

        width = size or 1200
        image = draw_closeup(stack, lit, width, round(width * 0.75), scale, seeing=seeing)
        write_bytes(out, png_bytes(image))
    click.echo(f"wrote {out}", err=True)
    from weavecolor.decide.compare import Option
    from weavecolor.decide.unexpected import kept_out

    dark = kept_out([Option(one, lit) for _, one in stacks])
    for note in (*image.info.get("notes", ()), *([dark] if dark else [])):
        click.echo(note, err=True)
    mind = minded((layer.cloth for _, one in stacks for layer in one.layers), all_=False)
    click.echo(mind, err=True, nl=False)


#: Of each kind of picture, the options that count with others alone.
_ONLY = {
    "close-up": ("form", "moving", "frames", "turned", "zoom", "ground", "beneath",
                 "dress_form", "page"),
    "hung": ("scale", "page"),
    "sheet": ("size", "scale", "moving", "frames", "turned", "zoom", "ground", "beneath",
              "dress_form"),
}


def _hung(
    stack: Stack, scene: Scene, seeing: Seeing, form: str, size: int | None, moving: str,
    frames: int, sight: Sight, ground: str, under: tuple[str, str], out: Path,
) -> Image.Image:  # fmt: skip
    """Draw and write a still or a loop of hung cloth; its first picture. ``under``: what hangs
    beneath, and the dress form."""
    from weavecolor.files.atomic import write_bytes
    from weavecolor.picture.encode import loop_bytes, png_bytes
    from weavecolor.picture.forms import shape_called
    from weavecolor.picture.hung import draw_hung, hung_frames

    shape, (beneath, dress_form) = shape_called(form, stack), under
    if out.suffix.lower() != ".png":
        width = size or 400
        made = hung_frames(stack, scene, shape, frames, width, round(width * 1.25), moving=moving,
                           sight=sight, behind=stack.backing, beneath=beneath,
                           dress_form=dress_form, ground=ground, seeing=seeing,
                           progress=_share("drawing"))  # fmt: skip
        write_bytes(out, loop_bytes(made, out.suffix))
        return made[0]
    width = size or 900
    image = draw_hung(
        stack, scene, shape, width, round(width * 1.25), sight=sight,
        behind=stack.backing, beneath=beneath, dress_form=dress_form, ground=ground,
        seeing=seeing,
    )  # fmt: skip
    write_bytes(out, png_bytes(image))
    return image


def _share(what: str) -> Callable[[float], None] | None:
    tell = progress_to(what)
    return None if tell is None else lambda share: tell(round(100 * share), 100)


def _piles(piles: tuple[str, ...], behind: str) -> tuple[str, list[tuple[str, Stack]]]:
    """What all share in words, and whole stacks over every backing, each with its label."""
    from weavecolor.decide.compare import behind as lies_behind
    from weavecolor.optics.stack import Stack, layers_words

    grounds = choices(behind, "--behind", lambda text: (text, backing_called(text)))
    out = []
    for layers in stacks_called(piles):
        for name, ground in grounds:
            stack = Stack(layers, ground)
            after = f", {name} behind" if len(grounds) > 1 else ""
            out.append((layers_words(stack) + after, stack))
    return lies_behind(grounds[0][1]) if len(grounds) == 1 else "", out


def _stacks(
    cloth: str, grain: str, layers: str, turn: float, behind: str, scene: Scene
) -> tuple[str, list[tuple[str, Stack]]]:
    """What all share in words, and every combination with its label, which tells what differs."""
    from weavecolor.decide.compare import Option
    from weavecolor.optics.stack import Layer, Stack
    from weavecolor.textile.grain import grain_deg

    made = cloth_called(cloth)
    grains = choices(grain, "--grain", grain_deg)
    counts = layer_counts(layers, turn)
    grounds = choices(behind, "--behind", backing_called)
    many = {"layers": len(counts), "grain": len(grains), "backing": len(grounds)}
    out = []
    for g in grains:
        for n in counts:
            for ground in grounds:
                stack = Stack(tuple(Layer(made, g + k * turn) for k in range(n)), ground)
                told = {axis: Option(stack, scene).aspect(axis) for axis in many}
                label = ", ".join(told[axis] for axis in many if many[axis] > 1)
                out.append((label or made.name, stack))
    shared = [told[axis] for axis in many if many[axis] == 1]
    return ", ".join([made.name] * (len(out) > 1) + shared), out
