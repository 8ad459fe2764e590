"""Drapes: cloth over a cylinder, in hanging folds, pleats and skirts, as the optics has it.

Each point looks up the directional result of the layers that lie there by its local normal; folds
shade themselves and throw their own coloured light into their hollows. Knows forms, optics and
screens; works nothing out about decisions.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.optics.poses import folded_stack
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture import lettering
from weavecolor.picture.encode import AS_SEEN, Seeing, check_size, exposure_for, on_screen, to_image
from weavecolor.picture.folds import MOST_FOLDED, Form, Shape, frame, named_form, shape
from weavecolor.picture.normals import SOFT_DEG, families, lit, vector
from weavecolor.scene.backings import Backing
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]
Progress = Callable[[float], None]

#: Linear level of the plain ground behind a drape.
GROUND = lettering.GROUND
#: Angles of the fine table, degrees.
_FINE = np.linspace(-80.0, 80.0, 641)
#: Brightness of the room behind the form, over that before it (assumed).
ROOM = 0.5
_TILE = 1 << 18  # samples worked on together: the memory of a picture


@dataclass(frozen=True)
class Behind:
    """Something else that lies behind part of the cloth.

    A box by shares of the form, 0 to 1: ``left``, ``right`` across, ``top``, ``bottom`` down.
    ``layers`` lie behind the cloth and before ``backing``; ``backing`` None keeps the stack's own.
    A slip's edge is a box with another backing; a seam allowance a box with the same cloth as
    layers; a dark channel a narrow box with a dark backing.
    """

    name: str
    left: float = 0.0
    right: float = 1.0
    top: float = 0.0
    bottom: float = 1.0
    layers: tuple[Layer, ...] = ()
    backing: Backing | None = None

    def __post_init__(self) -> None:
        box = (self.left, self.right, self.top, self.bottom)
        if not all(np.isfinite(v) and 0.0 <= v <= 1.0 for v in box) or not (
            self.left < self.right and self.top < self.bottom
        ):
            raise InputError(f"{self.name!r} needs a box by shares 0 to 1, left to right, top down")


def draw_drape(
    stack: Stack,
    scene: Scene,
    form: str | Form = "cylinder",
    width_px: int = 800,
    height_px: int = 1000,
    *,
    fullness: float | None = None,
    behind: Sequence[Behind] = (),
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    progress: Progress | None = None,
) -> Image.Image:
    """The cloth of ``stack`` in a form, lit and seen as in ``scene``.

    Parameters
    ----------
    stack : Stack
        As it lies where it is not folded, outermost first, over what is behind.
    form : str or Form
        "cylinder" (sleeve, side of a bodice), "hanging fold", "knife pleats", "box pleats",
        "pleated skirt", "gathered skirt", "doubled skirt".
    fullness : float, optional
        At the top, 1 to 9; the form's own by default.
    behind : sequence of Behind
        What lies behind part of it, later ones over earlier ones.
    progress : callable, optional
        Called with the share done, 0-1.

    Returns
    -------
    PIL.Image.Image
        RGB; ``info`` as in ``encode.to_image``.

    Raises InputError for what is out of range. Layers behind a fold are taken as parallel to the
    outermost; folds lean nowhere but sideways.
    """
    check_size(width_px, height_px)
    if not stack.layers:
        raise InputError("a drape needs at least one layer of cloth")
    if isinstance(form, str):
        form = named_form(form, fullness)
    elif fullness is not None:
        raise InputError("give the fullness in the form itself")
    linear = drape_linear(
        stack, scene, form, width_px, height_px, behind, seeing, observer, progress
    )
    return to_image(linear, seeing, _notes(form, scene))


def _notes(form: Form, scene: Scene) -> tuple[str, ...]:
    full = "" if form.folds == "flat" else f" of fullness {form.fullness[0]:.2g}"
    if form.fullness[0] != form.fullness[1]:
        full += f" at the top and {form.fullness[1]:.2g} at the hem"
    return (
        f"A {form.name}{full} in the light of {scene.name}. Colours are computed for the layers "
        "and the turn of the cloth at each point; how the folds fall is an example.",
    )


def brightest_turn(scene: Scene) -> float:
    """How much more light than the flat cloth the best-lit upright turn of it gets.

    Examples
    --------
    >>> -180.0 <= brightest_turn(window) <= 360.0
    True
    """
    total = on_screen(illumination(scene), scene, Seeing()).max()
    best = total
    for a in np.radians(np.arange(-80.0, 81.0, 5.0)):
        normal = np.array([np.sin(a), 0.0, np.cos(a)])
        light = scene.diffuse * (1.0 + ROOM + (1.0 - ROOM) * np.cos(a)) / 2.0 + sum(
            x.irradiance * max(float(vector(x.zenith_deg, x.azimuth_deg) @ normal), 0.0)
            for x in scene.lights
        )
        best = max(best, on_screen(light, scene, Seeing()).max())
    return float(best / max(total, 1e-12))


@dataclass(frozen=True, eq=False)
class _Table:
    """Linear RGB by folded class and angle: ``lights`` (k, classes * 641, 3), ``sky``, ``glow``."""

    lights: NDArray[np.float32]
    sky: NDArray[np.float32]
    glow: NDArray[np.float32]


def _table(
    stack: Stack, doubled: bool, classes: Sequence[int], scene: Scene, seeing: Seeing, observer: str
) -> _Table:
    found = families(stack, scene, classes, doubled)
    # light that neighbouring cloth throws into a hollow, once and on from there
    flat = found[min(classes)]
    falls = scene.diffuse + sum(
        x.irradiance * max(np.cos(np.radians(x.zenith_deg)), 0.0) for x in scene.lights
    )
    near = falls * flat.mean * 0.7 / np.maximum(1.0 - 0.5 * flat.mean, 0.2)
    room = (1.0 + ROOM + (1.0 - ROOM) * np.cos(np.radians(_FINE)))[:, None] / 2.0
    squarely = [lit(x, _FINE, SOFT_DEG) for x in scene.lights]
    lights, sky, glow = [], [], []
    for n in range(max(classes) + 1):
        factors, behind, even = found.get(n, flat).at(_FINE)
        here = np.zeros((_FINE.size, len(scene.lights), BANDS))
        for k, (x, (ahead, beyond)) in enumerate(zip(scene.lights, squarely, strict=True)):
            got = factors[:, k] * ahead[:, None] + behind[:, k] * beyond[:, None]
            here[:, k] = got * x.irradiance
        lights.append(on_screen(here, scene, seeing, observer))
        sky.append(on_screen(even * room * scene.diffuse, scene, seeing, observer))
        glow.append(on_screen(even * near, scene, seeing, observer))
    joined = np.concatenate(lights).astype(np.float32)  # (classes * 641, k, 3)
    return _Table(
        np.ascontiguousarray(np.moveaxis(joined, 1, 0)),
        np.concatenate(sky).astype(np.float32),
        np.concatenate(glow).astype(np.float32),
    )


def drape_linear(
    stack: Stack,
    scene: Scene,
    form: Form,
    width: int,
    height: int,
    behind: Sequence[Behind] = (),
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    progress: Progress | None = None,
) -> NDArray[np.float32]:
    """The drape in exposed linear light, (height, width, 3)."""
    report = progress or (lambda share: None)
    place = frame(form, width, height)
    sub, classes = place.sub, place.folded
    stacks = [stack]
    for b in behind:
        below = stack.backing if b.backing is None else b.backing
        stacks.append(replace(stack, layers=stack.layers + b.layers, backing=below))
    tables = []
    for n, local in enumerate(stacks):
        tables.append(_table(local, form.doubled, classes, scene, seeing, observer))
        report(0.85 * (n + 1) / len(stacks))
    suns = [vector(x.zenith_deg, x.azimuth_deg) for x in scene.lights]
    aims = [float(np.arctan2(s[0], s[2])) for s in suns]
    out = np.empty((height, width, 3), np.float32)
    exposure = np.float32(exposure_for(scene, seeing, 0.95 * brightest_turn(scene)))
    rows = max(_TILE // (width * sub), 1)

    def paint(first: int) -> None:
        here = shape(place, first, first + rows)
        light = _shaded(here, tables[0], aims)
        for box, table in zip(behind, tables[1:], strict=True):
            weight = _inside(here, box, width * sub, height)
            if weight.any():
                light += weight[..., None] * (_shaded(here, table, aims) - light)
        cover = here.cover[..., None]
        light *= exposure * cover
        light += np.float32(GROUND) * (1 - cover)
        if sub > 1:
            light = sum((light[:, k::sub] for k in range(1, sub)), light[:, ::sub])
            light *= np.float32(1.0 / sub)
        out[first : first + rows] = light

    tiles = range(0, height, rows)
    with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as workers:
        for done, _ in enumerate(workers.map(paint, tiles), 1):
            report(0.85 + 0.15 * done / len(tiles))
    return out


def _shaded(place: Shape, table: _Table, aims: Sequence[float]) -> NDArray[np.float32]:
    """Linear RGB of some rows, before exposure."""
    step = np.float32((_FINE.size - 1) / np.radians(_FINE[-1] - _FINE[0]))
    middle = np.float32((_FINE.size - 1) / 2)
    angle = place.angle
    at = np.clip(angle * step + (middle + np.float32(0.5)), 0, _FINE.size - 1).astype(np.int32)
    at += place.folded.astype(np.int32) * np.int32(_FINE.size)
    sky = place.sky
    light: NDArray[np.float32] = np.take(table.sky, at, axis=0)
    light *= sky[..., None]
    glow = np.take(table.glow, at, axis=0)
    glow *= (1 - sky)[..., None]
    light += glow
    soft = np.float32(1.0 / np.radians(SOFT_DEG))
    for k, aim in enumerate(aims):
        if abs(aim) > 0.5 * np.pi:  # behind the form: folds throw no shadow on one another
            light += np.take(table.lights[k], at, axis=0)
            continue
        free = np.minimum(place.right - np.float32(aim), place.left + np.float32(aim))
        seen = np.clip(free * (np.float32(0.5) * soft) + np.float32(0.5), 0.0, 1.0)
        seen *= seen * (3 - 2 * seen)
        part = np.take(table.lights[k], at, axis=0)
        part *= seen[..., None]
        light += part
    return light


def _inside(place: Shape, box: Behind, columns: int, height: int) -> NDArray[np.float32]:
    """How much of each sample lies in a box, 0-1, with edges a pixel wide."""
    across, down = place.across, place.down
    a = np.float32(columns * 0.6)
    d = np.float32(height * 0.7)
    weight = np.clip((across - np.float32(box.left)) * a + 0.5, 0, 1) if box.left > 0 else 1.0
    if box.right < 1:
        weight = weight * np.clip((np.float32(box.right) - across) * a + 0.5, 0, 1)
    if box.top > 0:
        weight = weight * np.clip((down - np.float32(box.top)) * d + 0.5, 0, 1)
    if box.bottom < 1:
        weight = weight * np.clip((np.float32(box.bottom) - down) * d + 0.5, 0, 1)
    return np.broadcast_to(np.asarray(weight, np.float32), across.shape)


__all__ = ["MOST_FOLDED", "Behind", "drape_linear", "draw_drape", "folded_stack"]
