"""Pictures of hung cloth: stills of any size, and loops that turn it or carry the light round it.

The layers laid together hang as one cloth in a shape made beforehand, over the body it was hung on;
far side, hem, seams and body are seen through it. Knows how a picture is asked for; the drawing is
in ``hanging``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from PIL import Image

from weavecolor.errors import InputError
from weavecolor.optics.stack import Stack
from weavecolor.picture.encode import AS_SEEN, Seeing, check_size, eased, to_image
from weavecolor.picture.forms import beneath_words, covers_form, not_beneath, not_on_form
from weavecolor.picture.hanging import (
    FRONT,
    Cover,
    Floats,
    Lit,
    Sight,
    Stage,
    alike,
    lit_stage,
    picture,
    spun_to,
    stage,
)
from weavecolor.picture.shapes import load_form, load_openness, load_shape, shape_names
from weavecolor.picture.tables import check_layers, view_vector
from weavecolor.scene.backings import Backing
from weavecolor.scene.scene import Scene

Progress = Callable[[float], None]

#: A garment a little turned on its stand, so that a side seam shows.
ASIDE = Sight(turn_deg=20.0)


#: Below what height a form that ends below the hip is met by no light from cloth, and above what
#: height it is met as the whole figure is, mm. Assumed.
_ENDS_MM = 640.0, 940.0


def hung_stage(
    stack: Stack, shape: str, beneath: str = "none", *, dress_form: str = "full length",
    lined: bool = False,
) -> Stage:  # fmt: skip
    """The ``stack`` on a ``shape`` and its body.

    ``beneath``: what the innermost layer hangs as, one of ``forms.BENEATH``; ``dress_form``:
    one of ``forms.DRESS_FORMS``, full length: what the shape was hung on; ``lined``: a lining of
    its own is worn where the shape has one, else the stack's backing is sewn to the cloth. Raises
    InputError for an unknown shape or a stack without cloth.

    Examples
    --------
    >>> hung_stage(single, "gathered-3-organza").quads.shape[1]
    4
    """
    made = load_shape(shape)
    check_layers(stack)
    outer, inner = _parted(stack, shape, beneath)
    own = "inner-lining" in made.inner
    name = {"none": "", "to the hip": "stand"}.get(dress_form, made.body)
    body = load_form(name) if name else None
    worn = load_shape("inner-lining") if lined and own else None
    known = None if inner else load_openness(shape, name, worn.name if worn else "")
    staged = stage([*inner, Cover(made, outer, lined and not own)], body, beneath=worn,
                   floor=made.body != "hand", open_=known)  # fmt: skip
    if name != "stand":
        return staged
    # shapes were measured on legs
    low, high = _ENDS_MM
    there = np.clip((staged.points[:, 2] - low) / (high - low), 0.0, 1.0)
    return replace(staged, opens=staged.opens * np.stack(
        [np.ones_like(there), there] * 2, axis=1
    ).astype(np.float32))  # fmt: skip


def _parted(stack: Stack, shape: str, beneath: str) -> tuple[Stack, tuple[Cover, ...]]:
    """What hangs in a shape, and what beneath it."""
    if beneath == "none":
        return stack, ()
    name = next(x for x in load_shape(shape).inner if x.startswith(f"inner-{beneath}"))
    inner = Cover(load_shape(name), Stack(stack.layers[-1:]))
    return replace(stack, layers=stack.layers[:-1]), (inner,)


def hung_on(
    stack: Stack, shape: str, behind: Backing | None, beneath: str = "none", dress_form: str = ""
) -> tuple[Stage, Backing | None, Backing | None]:
    """A stack in its place, and the colours of form and of what that wears, None: the usual.

    Parameters
    ----------
    stack : Stack
        Its own backing does not count.
    shape : one of ``shape_names()``
    behind : Backing or None
        As :func:`draw_hung` takes it; None: open air.
    beneath : one of ``forms.BENEATH``
    dress_form : one of ``forms.DRESS_FORMS``, or ""
        "": none in open air, else full length where the shape was hung on one.

    Raises InputError for a wrong word and what cannot be combined.

    Examples
    --------
    >>> staged, form, worn = hung_on(single, "gathered-3-organza", None)
    >>> len(staged.body), form, worn
    (0, None, None)
    """
    for why in (
        not_beneath(beneath, len(stack.layers), shape, behind),
        not_on_form(dress_form, shape, behind),
    ):
        if why:
            raise InputError(why)
    lined, stack, form = behind_as(stack, behind)
    reach = dress_form or ("none" if behind is None else "full length")
    staged = hung_stage(stack, shape, beneath, dress_form=reach, lined=lined)
    return staged, form, stack.backing


def behind_as(stack: Stack, behind: Backing | None) -> tuple[bool, Stack, Backing | None]:
    """What a choice of what lies behind means for hung cloth.

    Calico and skin are the form's own; any other colour is a lining beneath the cloth. Returns
    whether it is lined, the stack with what is sewn to it, and the form's colour, None: its usual.

    Examples
    --------
    >>> behind_as(single, None)[0]
    False
    """
    lined = behind is not None and not covers_form(behind)
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
    beneath: str = "none",
    dress_form: str = "",
    ground: str = "grey",
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    coarse: bool = False,
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
        Calico or skin: of the form. Any other colour: a lining, worn beneath a skirt, sewn to the
        cloth of any other shape. None: open air, without a form.
    beneath : {"none", "lining", "slip", "stiffener"}
        What the innermost layer hangs as, where not with the others: a lining from the waist, a
        slip close to the body, or a stiff petticoat that fills the skirt.
    dress_form : {"", "none", "to the hip", "full length"}
        How far the form reaches; "": as it goes with what lies behind.
    ground : {"grey", "light", "dark"}
        Before a light straight behind that surface itself, as bright as it is.
    seeing : Seeing
    observer : "2" or "10"
    coarse : bool
        A first look: quicker, colours to a few CIEDE2000.

    Raises InputError for an unknown shape or ground, a stack without cloth, a wrong size, or what
    cannot be combined.

    Examples
    --------
    >>> draw_hung(single, window, "gathered-3-organza", 60, 80, coarse=True).size
    (60, 80)
    """
    check_size(width_px, height_px)
    staged, form, worn = hung_on(stack, shape, behind, beneath, dress_form)
    made = lit_stage(
        staged, scene, form, beneath=worn, ground=ground, seeing=seeing, observer=observer,
        coarse=coarse,
    )  # fmt: skip
    told = notes(shape, scene, beneath)
    return image_of(picture(made, width_px, height_px, sight), told, seeing)


def image_of(
    linear: Floats, told: tuple[str, ...], seeing: Seeing = AS_SEEN
) -> Image.Image:
    """The image of what ``hanging.picture`` gives, ``linear`` light (h, w, 3), on the screen of
    ``seeing``, with what is ``told`` of it.

    Examples
    --------
    >>> image_of(np.full((8, 9, 3), 0.3, np.float32), notes("gathered-3-organza", window)).size
    (9, 8)
    """
    return to_image(eased(linear, seeing), seeing, told)


def notes(shape: str, scene: Scene, beneath: str = "none") -> tuple[str, ...]:
    """What to tell with a picture of cloth hung in a ``shape`` in a ``scene``, with what hangs
    ``beneath`` it.

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
    if beneath != "none":
        told.append(beneath_words(beneath))
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
    beneath: str = "none",
    dress_form: str = "",
    ground: str = "grey",
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    progress: Progress | None = None,
) -> list[Image.Image]:
    """Frames of a loop: the garment turns once on its stand, or the lights go once round it.

    ``frames``: how many, 2 to 180; ``moving``: "cloth" or "light"; ``progress``: told the share
    that is done, 0-1. ``stack``, ``scene``, ``shape``, ``width_px``, ``height_px``, ``sight``
    (where the turn begins), ``behind``, ``beneath``, ``dress_form``, ``ground``, ``seeing`` and
    ``observer``, and what is refused besides, as for :func:`draw_hung`.

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
    staged, form, worn = hung_on(stack, shape, behind, beneath, dress_form)
    out: dict[int, Image.Image] = {}
    for n, made, way in _moved(
        staged, scene, frames, moving, sight, (form, worn), ground, seeing, observer
    ):
        linear: Floats = picture(made, width_px, height_px, way, soft=4)
        out[n] = image_of(linear, notes(shape, scene, beneath), seeing)
        if progress:
            progress(len(out) / frames)
    return [out[n] for n in range(frames)]


def _moved(
    staged: Stage, scene: Scene, frames: int, moving: str, sight: Sight,
    colours: tuple[Backing | None, Backing | None], ground: str, seeing: Seeing, observer: str,
) -> Iterator[tuple[int, Lit, Sight]]:  # fmt: skip
    """Number, stage and sight of each frame, those that share the most one after the other."""
    form, worn = colours
    still = lit_stage(staged, scene, form, beneath=worn, ground=ground, seeing=seeing,
                      observer=observer)  # fmt: skip
    turns = [360.0 * n / frames for n in range(frames)]
    if moving == "cloth":
        for n, turn in enumerate(turns):
            yield n, still, replace(sight, turn_deg=(sight.turn_deg + turn) % 360.0)
        return
    own = replace(seeing, exposure=still.exposure)
    lit = [scene_round(scene, turn) for turn in turns]
    made, last = still, None
    for n in sorted(range(frames), key=lambda n: _before_the_eye(lit[n])):
        shared = alike(lit[n])
        if shared is not None and shared == last:
            made = spun_to(made, lit[n])
        else:
            made = lit_stage(staged, lit[n], form, beneath=worn, ground=ground, seeing=own,
                             observer=observer)  # fmt: skip
        last = shared
        yield n, replace(made, ground=still.ground), sight


def _before_the_eye(scene: Scene) -> list[float]:
    """Cosine between the eye and each light: where one is the same, cloth's own light is shared."""
    return [round(float(view_vector(x, scene)[2]), 6) for x in scene.lights]


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
