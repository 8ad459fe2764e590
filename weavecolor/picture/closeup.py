"""The close-up: the weave of a stack as laid, at true scale, from the same cell as the optics.

Each layer is a periodic texture (``celltexture``) at its own grain angle: where on it the eye's
light goes which way, and the light and colour that it casts on what lies behind. How much comes to
the eye by each of these ways is what the one addition of layers tells (``optics/parted``), so that
the mean over the repeats is the computed radiance of the stack, band by band. Lower layers show
through the openings of the upper ones, point by point and before the pixels are averaged, so that
the moire of two sheers is really there. What a picture's edges cut off, and how layers happen to
lie, is the one thing left over (:func:`_brought_to`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from weavecolor.colour.colorimetry import linear_rgb
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.optics.adding import GAPS
from weavecolor.optics.appearance import appearance
from weavecolor.optics.cell.filaments import evenly, kept
from weavecolor.optics.cell.nodes import Vector, unit
from weavecolor.optics.layer import solved, to_cloth_frame
from weavecolor.optics.parted import parted
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.celltexture import CellTexture, cell_texture, softened
from weavecolor.picture.encode import AS_SEEN, Seeing, check_size, exposure_for, on_screen, to_image
from weavecolor.picture.waves import Ply, wave_picture
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]

#: Subsamples per yarn spacing that leave no aliasing worth seeing.
_PER_SPACING = 8.0
#: Beyond so many subsamples per pixel and axis the picture is summed from plane waves instead.
_MOST_SUB = 3
#: Yarns across a picture at its usual scale: few enough that single yarns are seen.
YARNS_ACROSS = 26
_SOFT = 0.08  # of a yarn spacing: what lies behind is not level
_TILE = 96  # picture rows at a time: bounds the memory
#: Ways for a layer to happen to lie that are tried, by so many places along each side.
_FALLS, _TRIED = 24, 151


@dataclass(frozen=True, eq=False)
class Part:
    """One layer ready to paint: linear RGB and openness over the repeat, and how it lies.

    ``rgb`` (m, n, 3) of its yarns, 0 where open; ``open`` (m, n) 0 or 1; ``cast`` (m, n, 3): how
    light that went through it lies on what is behind, mean 1; ``size`` mm of the repeat; ``place``
    (2, 2) takes picture mm (right, down) to cloth mm (x, y); ``offset`` in repeats.
    """

    rgb: NDArray[np.float32]
    open: NDArray[np.float32]
    cast: NDArray[np.float32]
    size: tuple[float, float]
    place: Array
    offset: tuple[float, float]


def placement(turn: float, flip: bool) -> Array:
    """Matrix (2, 2) from picture mm (right, down) to cloth mm (across the warp, along it).

    ``turn`` radians of the warp from "down"; the garment frame has x to the left, y down.
    """
    c, s = np.cos(turn), np.sin(turn)
    x = np.array([-c, s])
    y = np.array([s, c])
    return np.stack([-x if flip else x, y])


def closeup_scale(stack: Stack, width_px: int) -> float:
    """Mm a pixel that shows a good number of the finest layer's yarns.

    Examples
    --------
    >>> closeup_scale(single, 480) == closeup_scale(single, 240) / 2
    True
    """
    finest = max(sqrt(x.cloth.ends_per_cm * x.cloth.picks_per_cm) for x in stack.layers)
    return YARNS_ACROSS * 10.0 / finest / width_px


def draw_closeup(
    stack: Stack,
    scene: Scene,
    width_px: int = 800,
    height_px: int = 600,
    mm_per_px: float | None = None,
    pixels_per_mm: float | None = None,
    *,
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
) -> Image.Image:
    """The cloth at true scale, seen and lit as in ``scene``.

    Parameters
    ----------
    stack : Stack
        One layer or more.
    scene : Scene
    width_px, height_px : int, 8 or more, together at most 20 million pixels.
    mm_per_px, pixels_per_mm : float, optional
        Scale, one of the two, 0.0005 to 5 mm a pixel; default: :func:`closeup_scale`.
    seeing : Seeing
    observer : "2" or "10"

    Returns
    -------
    PIL.Image.Image
        RGB. ``info``: "icc_profile", "notes", "out_of_range", "mm_per_px".

    Raises InputError for anything out of range. Parallax between layers is left out; how layers
    happen to lie on one another is fixed, without design.

    Examples
    --------
    >>> draw_closeup(single, window, 64, 48).size
    (64, 48)
    """
    linear, scale = closeup_linear(
        stack, scene, width_px, height_px, mm_per_px, pixels_per_mm,
        seeing=seeing, observer=observer,
    )  # fmt: skip
    exposure = np.float32(exposure_for(scene, seeing))
    image = to_image(linear * exposure, seeing, _notes(scale, scene))
    image.info["mm_per_px"] = scale
    return image


def _notes(scale: float, scene: Scene) -> tuple[str, ...]:
    return (
        f"{scale:.3g} mm a pixel, in the light of {scene.name}. How the layers fall on one another "
        "is an example; the mean colour is computed.",
    )


def scale_of(stack: Stack, width_px: int, mm_per_px: float | None, per_mm: float | None) -> float:
    """The scale asked for, ``mm_per_px`` or ``per_mm`` (pixels per mm), as mm a pixel; where
    neither is given, that of :func:`closeup_scale` for ``stack`` over ``width_px``.

    Raises InputError where both are given, and for a scale outside 0.0005 to 5 mm a pixel.
    """
    if mm_per_px is not None and per_mm is not None:
        raise InputError("give mm_per_px or pixels_per_mm, not both")
    if per_mm is not None:
        if not (np.isfinite(per_mm) and per_mm > 0):
            raise InputError("pixels per mm is a number above 0")
        mm_per_px = 1.0 / per_mm
    if mm_per_px is None:
        return closeup_scale(stack, width_px)
    if not (np.isfinite(mm_per_px) and 0.0005 <= mm_per_px <= 5.0):
        raise InputError(f"a scale is 0.0005 to 5 mm a pixel, got {mm_per_px!r}")
    return float(mm_per_px)


def closeup_linear(
    stack: Stack,
    scene: Scene,
    width_px: int,
    height_px: int,
    mm_per_px: float | None = None,
    pixels_per_mm: float | None = None,
    *,
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
) -> tuple[NDArray[np.float32], float]:
    """The same in linear light (height, width, 3), not yet exposed, and its mm a pixel.

    ``stack``, ``scene``, ``width_px``, ``height_px``, ``mm_per_px``, ``pixels_per_mm``, ``seeing``
    and ``observer``, and what is refused, as for :func:`draw_closeup`.
    """
    check_size(width_px, height_px)
    if not stack.layers:
        raise InputError("a close-up needs at least one layer of cloth")
    scale = scale_of(stack, width_px, mm_per_px, pixels_per_mm)
    spacing = min(10.0 / max(x.cloth.ends_per_cm, x.cloth.picks_per_cm) for x in stack.layers)
    sub = max(2, int(np.ceil(_PER_SPACING * scale / spacing)))
    texels_per_spacing = spacing / scale * (1.3 if sub == 2 else 1.0)
    target = on_screen(appearance(stack, scene, observer).radiance, scene, seeing, observer)
    parts, behind = _parts(stack, scene, seeing, observer, texels_per_spacing)
    parts = _fallen(parts, width_px * scale, height_px * scale)
    if sub <= _MOST_SUB:
        picture = _sampled(parts, behind, width_px, height_px, scale, sub)
    else:
        plies = [Ply(p.rgb, p.open, p.size, p.place, p.offset) for p in parts]
        picture = wave_picture(plies, behind, width_px, height_px, scale)
    return _brought_to(picture, target), scale


def _fallen(parts: list[Part], width: float, height: float) -> list[Part]:
    """The layers as they happen to lie on one another in a picture of ``width`` by ``height`` mm:
    of some evenly spread ways the one that shows as much of each layer as they do in the mean."""
    across, down = ((np.arange(_TRIED) + 0.5) / _TRIED - 0.5) * np.array([[width], [height]])
    means = np.cumprod([p.open.mean(dtype=float) for p in parts])
    tried = []
    for offsets in evenly(_FALLS, 2 * len(parts)).reshape(_FALLS, -1, 2):
        laid = [replace(p, offset=(x, y)) for p, (x, y) in zip(parts, offsets, strict=True)]
        clear = np.cumprod([p.open.ravel()[_lookup(p, across, down)] for p in laid], axis=0)
        off = clear.mean(axis=(1, 2), dtype=float) - means
        tried.append((float(off @ off), laid))
    return min(tried, key=lambda one: one[0])[1]


def _brought_to(picture: NDArray[np.float32], target: Array) -> NDArray[np.float32]:
    """The picture with its mean moved to ``target``, in proportion to local brightness, in place:
    for parts of repeats at its edges and the chance of where layers lie, some hundredths at most.

    Highlights beyond white are first pressed below it, so that a screen keeps the mean.
    """
    weights = np.array([0.2126, 0.7152, 0.0722], np.float32)
    wanted, brightest = float(target @ weights), float(target.max())
    knee = np.float32(min(0.995, max(0.75, 0.5 * (brightest + 1.0))))
    strips = [picture[a : a + _TILE] for a in range(0, len(picture), _TILE)]
    for attempt in range(4):
        mean = picture.mean(axis=(0, 1), dtype=np.float64)
        level = float(mean @ weights)
        if level <= 1e-9:
            picture += target.astype(np.float32)
            break
        gain = wanted / level
        rest = (target - mean * gain) / level
        for strip in strips:
            bright = (strip @ weights)[..., None]
            strip *= np.float32(gain)
            strip += bright * rest.astype(np.float32)
        if attempt == 3 or brightest >= 0.97 or picture.max() <= 1.0:
            break
        for strip in strips:
            _press(strip, knee)
    return picture


def _press(strip: NDArray[np.float32], knee: np.float32) -> None:
    """Bring what lies above the knee smoothly below 1, hue kept, in place."""
    peak = strip.max(axis=-1, keepdims=True)
    beyond = np.maximum(peak - knee, 0.0)
    room = np.float32(1.0) - knee
    pressed = (knee + room * beyond / (beyond + room)) / np.maximum(peak, np.float32(1e-6))
    strip *= np.where(beyond > 0, pressed, np.float32(1.0))


def _sampled(
    parts: list[Part], behind: Array, width: int, height: int, scale: float, sub: int
) -> NDArray[np.float32]:
    """Box-filtered supersampling, in strips."""
    out = np.empty((height, width, 3), np.float32)
    columns = ((np.arange(width * sub) + 0.5) / sub - 0.5 * width) * scale
    lines = ((np.arange(height * sub) + 0.5) / sub - 0.5 * height) * scale
    tables = [
        np.concatenate([p.rgb, p.open[..., None] * p.cast], axis=-1).reshape(-1, 6) for p in parts
    ]
    for first in range(0, height, _TILE):
        rows = lines[first * sub : min(height, first + _TILE) * sub]
        light = None
        for part, table in zip(parts, tables, strict=True):
            index = _lookup(part, columns, rows)
            here = np.take(table, index.ravel(), axis=0).reshape(*index.shape, 6)
            if light is None:
                light, clear = here[..., :3].copy(), here[..., 3:].copy()
            else:
                light += here[..., :3] * clear
                clear *= here[..., 3:]
        light += clear * behind.astype(np.float32)
        n = rows.size // sub
        light = light.reshape(n, sub, width, sub, 3)
        out[first : first + n] = light.sum(axis=(1, 3)) / np.float32(sub * sub)
    return out


def _lookup(part: Part, columns: Array, rows: Array) -> NDArray[np.intp]:
    """Texel number at every subsample; the wrap of 32-bit integers is the wrap of the repeat."""

    def turns(mm: Array, repeat: float, offset: float) -> NDArray[np.uint32]:
        share = np.mod(mm / repeat + offset, 1.0)
        return np.minimum(share * 2.0**32, 2.0**32 - 1).astype(np.uint32)

    axes = []
    for axis, count in ((0, part.open.shape[1]), (1, part.open.shape[0])):
        size, offset = part.size[axis], part.offset[axis]
        across = turns(part.place[axis, 0] * columns, size, offset)
        down = turns(part.place[axis, 1] * rows, size, 0.0)
        place = (down[:, None] + across[None, :]).astype(np.uint64)
        place *= np.uint64(count)
        place >>= np.uint64(32)
        axes.append(place)
    x, y = axes
    y *= np.uint64(part.open.shape[1])
    y += x
    return y.astype(np.intp)


def _parts(
    stack: Stack,
    scene: Scene,
    seeing: Seeing,
    observer: str,
    texels_per_spacing: float,
) -> tuple[list[Part], Array]:
    """Every layer painted in its place in the stack, and the linear RGB of what is behind."""
    layers, straight = parted(stack, scene)
    parts, clear = [], 1.0
    for number, (layer, brings) in enumerate(zip(stack.layers, layers, strict=True)):
        texture = _texture(stack, number, scene, texels_per_spacing)
        left = _left(layer)
        shape = (texture.open.shape[0], texture.open.shape[1])
        rgb = np.zeros((*shape, 3), np.float32)
        ways = [(texture.back, brings.back), (texture.on, brings.on)]
        for way, light, got in zip(
            (*scene.in_front, *scene.behind), texture.lights, brings.lights, strict=True
        ):
            # where no ray goes near a light, as all that goes to its side
            side = texture.back if way.before else texture.on
            ways.append((light if light.weight.size else side, got))
        for leaves, got in ways:
            mean = clear * (leaves.lengths(texture.open.size) @ left)
            comes = np.divide(got, mean, out=np.zeros(BANDS), where=mean > 1e-12)
            rgb += leaves.painted(on_screen(left * comes, scene, seeing, observer), shape)
        parts.append(
            Part(
                rgb,
                texture.open,
                _cast_on(texture, left, scene),
                texture.size,
                placement(np.radians(layer.grain_deg), layer.face == "back"),
                (0.0, 0.0),
            )
        )
        clear *= float(texture.open.mean(dtype=float))
    return parts, on_screen(straight / max(clear, 1e-12), scene, seeing, observer)


def _left(layer: Layer) -> Array:
    """Share of light left (lengths, 41) after the lengths run in warp and weft."""
    solution = solved(layer.cloth)
    return kept(solution.white.cell, solution.absorption)


def _cast_on(texture: CellTexture, left: Array, scene: Scene) -> NDArray[np.float32]:
    """How light through a layer lies on what is behind, RGB, mean 1 where it is seen: the lamps'
    own pattern, and the room's evenly."""
    shape = (texture.open.shape[0], texture.open.shape[1])
    if not texture.cast:
        return np.ones((*shape, 3), np.float32)
    total = np.zeros((*shape, 3), np.float32)
    all_ = illumination(scene)
    falls = linear_rgb(np.diag(all_), all_)
    for leaves, light in zip(texture.cast, scene.in_front, strict=True):
        share = np.divide(light.on_cloth, all_, out=np.zeros(BANDS), where=all_ > 0)
        total += leaves.painted(left @ (share[:, None] * falls), shape)
    # the sheets lie nearer and farther from place to place
    total = softened(total, _SOFT * shape[1] / texture.crossings[0])
    even = float(scene.diffuse.sum() / max(all_.sum(), 1e-9))
    open_ = texture.open[..., None] / max(float(texture.open.mean(dtype=float)), 1e-9)
    out = (1.0 - even) * total / np.maximum((open_ * total).mean(axis=(0, 1)), 1e-9) + even
    return np.asarray(out, np.float32)


def _texture(
    stack: Stack, number: int, scene: Scene, texels_per_spacing: float
) -> CellTexture:
    """The cell of the ``number``-th layer as the eye sees it."""
    layer, first = stack.layers[number], stack.layers[0].grain_deg
    cell = solved(layer.cloth).white.cell
    turn = float(np.radians((layer.grain_deg - first) % 360.0))

    def toward(zenith: float, azimuth: float) -> Vector:
        v = unit(np.radians(zenith), np.radians(azimuth - first))
        return to_cloth_frame(tuple(v), turn, layer.face == "back")

    lights = tuple(
        toward(x.zenith_deg, x.azimuth_deg) for x in (*scene.in_front, *scene.behind)
    )
    gap = GAPS[stack.lay]
    last = number + 1 == len(stack.layers) and stack.backing is None
    spacing = float(np.sqrt(cell.warp_spacing * cell.weft_spacing))
    return cell_texture(
        cell,
        toward(scene.view_zenith_deg, scene.view_azimuth_deg),
        lights,
        lights[: len(scene.in_front)] if not (last or gap is None) else (),
        int(8 * np.ceil(np.clip(texels_per_spacing, 16.0, 88.0) / 8.0)),
        0.0 if gap is None else 0.5 * sum(gap) * spacing,
    )
