"""Pictures of hung cloth: stills of any size, and loops that turn it or carry the light round it.

The layers laid together hang as one cloth in a shape made beforehand, over the body it was hung on;
far side, hem, seams and body are seen through it. Knows how a picture is asked for; the drawing is
in ``hanging``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np
from PIL import Image

from weavecolor.errors import InputError
from weavecolor.optics.stack import Stack
from weavecolor.picture.encode import AS_SEEN, Seeing, check_size, eased, to_image
from weavecolor.picture.hanging import (
    FRONT,
    Cover,
    Floats,
    Lit,
    Sight,
    Stage,
    lit_stage,
    picture,
    stage,
)
from weavecolor.picture.shapes import load_form, load_openness, load_shape, shape_names
from weavecolor.picture.tables import check_layers
from weavecolor.scene.backings import Backing
from weavecolor.scene.scene import Scene

Progress = Callable[[float], None]

#: A garment a little turned on its stand, so that a side seam shows.
ASIDE = Sight(turn_deg=20.0)


#: What the form itself may be covered in; any other choice is a lining.
_FORMS = ("calico", "skin")


def hung_stage(
    stack: Stack, shape: str, inner: Sequence[tuple[str, Stack]] = (), *, bare: bool = False,
    lined: bool = False,
) -> Stage:  # fmt: skip
    """The ``stack`` on a ``shape`` and its body, with other cloth on inner shapes.

    ``inner``: names of inner shapes (slip, lining) and what each is laid up of; ``bare``: without
    the body; ``lined``: the body wears a lining of its own where the shape has one, else the
    stack's backing is sewn to the cloth. Raises InputError for an unknown shape or a stack without
    cloth.

    Examples
    --------
    >>> hung_stage(single, "gathered-3-organza").quads.shape[1]
    4
    """
    made = load_shape(shape)
    covers = [Cover(load_shape(name), laid) for name, laid in inner]
    check_layers(stack, *(c.stack for c in covers))
    body = load_form(made.body) if made.body and not bare else None
    own = "inner-lining" in made.inner
    worn = load_shape("inner-lining") if lined and own and body is not None else None
    known = None if covers else load_openness(
        shape, body.name if body else "", worn.name if worn else ""
    )  # fmt: skip
    return stage([*covers, Cover(made, stack, lined and not own)], body, beneath=worn,
                 floor=made.body != "hand", open_=known)  # fmt: skip


def behind_as(stack: Stack, behind: Backing | None) -> tuple[bool, Stack, Backing | None]:
    """What a choice of what lies behind means for hung cloth.

    Calico and skin are the form's own; any other colour is a lining beneath the cloth. Returns
    whether it is lined, the stack with what is sewn to it, and the form's colour, None: its usual.

    Examples
    --------
    >>> behind_as(single, None)[0]
    False
    """
    lined = behind is not None and behind.name.split(" ")[0] not in _FORMS
    return lined, replace(stack, backing=behind if lined else None), None if lined else behind


def draw_hung(
    stack: Stack,
    scene: Scene,
    shape: str = "gathered-3-organza",
    width_px: int = 800,
    height_px: int = 1000,
    *,
    sight: Sight = FRONT,
    behind: Backing | None = None,
    inner: Sequence[tuple[str, Stack]] = (),
    ground: str = "grey",
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    coarse: bool = False,
    bare: bool = False,
) -> Image.Image:
    """Cloth as it hangs, seen through, in the light of ``scene``.

    Parameters
    ----------
    stack : Stack
        The layers laid together. Its backing does not count: behind sheer cloth are the body and
        what it wears, the far side and the ground.
    scene : Scene
    shape : one of ``shape_names()``
    width_px, height_px : int
        At least 8 each, 20 million pixels together at most.
    sight : Sight
        Turn of the garment, tilt, zoom.
    behind : Backing, optional
        Calico or skin: of the form (calico if left out). Any other colour: a lining, worn by the
        form beneath a skirt, sewn to the cloth of any other shape.
    inner : pairs of an inner shape's name and its stack
    ground : {"grey", "light", "dark"}
        Before a light straight behind that surface itself, as bright as it is.
    seeing : Seeing
    observer : "2" or "10"
    coarse : bool
        A first look: quicker, colours to a few CIEDE2000.
    bare : bool
        Without the body.

    Raises InputError for an unknown shape or ground, a stack without cloth, or a wrong size.

    Examples
    --------
    >>> draw_hung(single, window, "gathered-3-organza", 60, 80, coarse=True).size
    (60, 80)
    """
    check_size(width_px, height_px)
    lined, stack, form = behind_as(stack, behind)
    made = lit_stage(
        hung_stage(stack, shape, inner, bare=bare, lined=lined), scene, form, beneath=stack.backing,
        ground=ground, seeing=seeing, observer=observer, coarse=coarse,
    )  # fmt: skip
    return image_of(picture(made, width_px, height_px, sight), shape, scene, seeing)


def image_of(
    linear: Floats, shape: str, scene: Scene, seeing: Seeing = AS_SEEN
) -> Image.Image:
    """The image of what ``hanging.picture`` gives, ``linear`` light (h, w, 3) of ``shape`` in
    ``scene``, on the screen of ``seeing``, with what to tell of it.

    Examples
    --------
    >>> image_of(np.full((8, 9, 3), 0.3, np.float32), "gathered-3-organza", window).size
    (9, 8)
    """
    return to_image(eased(linear, seeing), seeing, notes(shape, scene))


def notes(shape: str, scene: Scene) -> tuple[str, ...]:
    """What to tell with a picture of hung cloth.

    Examples
    --------
    >>> len(notes("gathered-3-organza", window)) > 0
    True
    """
    made = load_shape(shape)
    full = f", {made.fullness:g} to 1," if made.fullness > 1.0 else ""
    told = [
        f"{made.form}{full} hung once by computation as {made.cloth_kind} hangs; the way your own "
        "cloth hangs, only a sewn sample shows"
    ]
    if len(scene.lights) > 1:
        told.append("the shadows are those of all lights together")
    return tuple(told)


def hung_frames(
    stack: Stack,
    scene: Scene,
    shape: str = "gathered-3-organza",
    frames: int = 36,
    width_px: int = 400,
    height_px: int = 500,
    *,
    moving: str = "cloth",
    sight: Sight = FRONT,
    behind: Backing | None = None,
    ground: str = "grey",
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    bare: bool = False,
    progress: Progress | None = None,
) -> list[Image.Image]:
    """Frames of a loop: the garment turns once on its stand, or the lights go once round it.

    ``frames``: how many, 2 to 180; ``moving``: "cloth" or "light"; ``progress``: told the share
    that is done, 0-1. ``stack``, ``scene``, ``shape``, ``width_px``, ``height_px``, ``sight``
    (where the turn begins), ``behind``, ``ground``, ``seeing``, ``observer`` and ``bare``, and what
    is refused besides, as for :func:`draw_hung`.

    Examples
    --------
    >>> len(hung_frames(single, window, frames=2, width_px=40, height_px=50))
    2
    """
    check_size(width_px, height_px)
    if moving not in ("cloth", "light"):
        raise InputError(f"{moving!r} cannot move; use cloth or light")
    if not 2 <= frames <= 180:
        raise InputError(f"a loop has 2 to 180 frames, got {frames}")
    lined, stack, form = behind_as(stack, behind)
    staged = hung_stage(stack, shape, bare=bare, lined=lined)
    out = []
    for n, (made, way) in enumerate(
        _moved(staged, scene, frames, moving, sight, (form, stack.backing), ground, seeing,
               observer)
    ):
        linear: Floats = picture(made, width_px, height_px, way, soft=4)
        out.append(image_of(linear, shape, scene, seeing))
        if progress:
            progress((n + 1) / frames)
    return out


def _moved(
    staged: Stage, scene: Scene, frames: int, moving: str, sight: Sight,
    colours: tuple[Backing | None, Backing | None], ground: str, seeing: Seeing, observer: str,
) -> Iterator[tuple[Lit, Sight]]:  # fmt: skip
    form, worn = colours
    still = lit_stage(staged, scene, form, beneath=worn, ground=ground, seeing=seeing,
                      observer=observer)  # fmt: skip
    own = replace(seeing, exposure=still.exposure)
    for n in range(frames):
        turn = 360.0 * n / frames
        if moving == "cloth":
            yield still, replace(sight, turn_deg=(sight.turn_deg + turn) % 360.0)
        else:
            lit = scene_round(scene, turn)
            made = lit_stage(staged, lit, form, beneath=worn, ground=ground, seeing=own,
                             observer=observer)  # fmt: skip
            yield replace(made, ground=still.ground), sight


def scene_round(scene: Scene, turn_deg: float) -> Scene:
    """The scene with its lights carried round the garment, anticlockwise seen from above.

    Examples
    --------
    >>> scene_round(window, 360.0).lights[0].zenith_deg == window.lights[0].zenith_deg
    True
    """
    t = np.radians(turn_deg)
    lights = []
    for x in scene.lights:
        z, a = np.radians(x.zenith_deg), np.radians(x.azimuth_deg)
        right, up, out = np.sin(z) * np.sin(a), -np.sin(z) * np.cos(a), np.cos(z)
        right, out = np.cos(t) * right + np.sin(t) * out, np.cos(t) * out - np.sin(t) * right
        zenith = float(np.degrees(np.arccos(np.clip(out, -1.0, 1.0))))
        azimuth = float(np.degrees(np.arctan2(right, -up)) % 360.0)
        lights.append(replace(x, zenith_deg=round(zenith, 6), azimuth_deg=round(azimuth, 6)))
    return replace(scene, lights=tuple(lights))


__all__ = ["Sight", "draw_hung", "hung_frames", "hung_stage", "notes", "scene_round", "shape_names"]
