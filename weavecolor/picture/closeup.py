"""The close-up: the weave of a stack as laid, at true scale, from the same cell as the optics.

Each layer is a periodic texture (``celltexture``) at its own grain angle: what the eye meets
through its filaments, place by place, and the light and colour that they cast on what lies behind.
Lower layers show through the openings of the upper ones, point by point and before the pixels are
averaged, so that the moire of two sheers is really there. The sum of all parts is brought to the
computed radiance of the stack, band by band, so that the mean of the picture is the computed
colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from weavecolor.colour.colorimetry import linear_rgb
from weavecolor.colour.spectra import BANDS, Spectrum
from weavecolor.errors import InputError
from weavecolor.optics.adding import GAPS
from weavecolor.optics.appearance import appearance, pile_optics
from weavecolor.optics.cell.filaments import kept
from weavecolor.optics.cell.nodes import Vector, unit
from weavecolor.optics.kubelka import over
from weavecolor.optics.layer import solved, to_cloth_frame
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.celltexture import CellTexture, cell_texture, softened
from weavecolor.picture.encode import AS_SEEN, Seeing, check_size, exposure_for, on_screen, to_image
from weavecolor.picture.waves import Ply, wave_picture
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Light, Scene

Array = NDArray[np.float64]

#: Subsamples per yarn spacing that leave no aliasing worth seeing.
_PER_SPACING = 8.0
#: Beyond so many subsamples per pixel and axis the picture is summed from plane waves instead.
_MOST_SUB = 3
#: Yarns across a picture at its usual scale: few enough that single yarns are seen.
YARNS_ACROSS = 26
_MOST_TEXELS = 2.0e5  # of a repeat of single rods
_SOFT = 0.08  # of a yarn spacing: what lies behind is not level
_TILE = 96  # picture rows at a time: bounds the memory
#: How the layers happen to lie on one another, in repeats: no yarn over another by design.
_OFFSETS = ((0.0, 0.0), (0.31, 0.17), (0.67, 0.43), (0.12, 0.79), (0.53, 0.91), (0.83, 0.59))


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
        "and the streaks of single fibres are examples; the mean colour is computed.",
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
    exact = appearance(stack, scene, observer).radiance
    target = on_screen(exact, scene, seeing, observer)
    parts, behind = _parts(stack, scene, seeing, observer, texels_per_spacing, exact)
    if sub <= _MOST_SUB:
        picture = _sampled(parts, behind, width_px, height_px, scale, sub)
    else:
        plies = [Ply(p.rgb, p.open, p.size, p.place, p.offset) for p in parts]
        picture = wave_picture(plies, behind, width_px, height_px, scale)
    return _brought_to(picture, target), scale


def _brought_to(picture: NDArray[np.float32], target: Array) -> NDArray[np.float32]:
    """The picture with its mean moved to ``target``, in proportion to local brightness, in place.

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


def _direction(zenith: float, azimuth: float, turn: float, flip: bool) -> Vector:
    v = unit(np.radians(zenith), np.radians(azimuth))
    return to_cloth_frame(tuple(v), turn, flip)


def _diffuse(layer: Layer) -> tuple[Spectrum, Spectrum, Spectrum, float]:
    """Diffuse reflectance, from below, transmittance and openness of one layer."""
    pile = pile_optics(Stack((layer,), None))
    share = pile.share
    r, u, t = ((a @ share) @ share for a in (pile.reflect, pile.under, pile.pass_))
    return r, u, t + share @ pile.through, float(share @ pile.through)


def _parts(
    stack: Stack,
    scene: Scene,
    seeing: Seeing,
    observer: str,
    texels_per_spacing: float,
    exact: Spectrum,
) -> tuple[list[Part], Array]:
    """Every layer painted in its place in the stack, and the linear RGB of what is behind;
    together they have the radiance ``exact`` (41,) of the stack."""
    view = (min(scene.view_zenith_deg, 60.0), scene.view_azimuth_deg)
    front, back = scene.in_front, scene.behind
    lit = [x.on_cloth for x in front]
    from_behind = sum(
        (x.on_cloth for x in back), np.zeros(BANDS)
    )
    single = [_diffuse(layer) for layer in stack.layers]
    ground = np.zeros(BANDS) if stack.backing is None else stack.backing.reflectance
    # what lies below each layer reflects
    below = [ground]
    for r, _, t, _ in reversed(single[1:]):
        below.insert(0, over(r, t, below[0]))
    painted: list[tuple[Layer, CellTexture, list[Spectrum], Spectrum]] = []
    down_r, down_t, up_r = np.zeros(BANDS), np.ones(BANDS), np.zeros(BANDS)
    clear, mean = 1.0, np.zeros(BANDS)
    for number, layer in enumerate(stack.layers):
        texture = _texture(layer, view, front, texels_per_spacing, stack.lay)
        r, u, t, _ = single[number]
        here = over(r, t, below[number])
        arriving = down_t / np.maximum(1.0 - up_r * here, 1e-6)
        passing = arriving * t / np.maximum(1.0 - u * below[number], 1e-6)
        beneath = passing * below[number]
        # between two sheets light goes to and fro in all directions
        sources = [x.irradiance * arriving for x in front] + [scene.diffuse * arriving]
        glow = sum(e for e in (*lit, scene.diffuse)) * beneath
        glow = glow + (from_behind if stack.backing is None else 0.0)
        left = _left(layer)
        size = texture.open.size
        mean = mean + clear * sum(
            (leaves.lengths(size) @ left) * e
            for leaves, e in zip(
                (*texture.lights, texture.room, texture.behind), (*sources, glow), strict=True
            )
        )
        painted.append((layer, texture, sources, glow))
        clear *= float(texture.open.mean())
        down_r, down_t, up_r = _joined(down_r, down_t, up_r, r, t, u)
    seen = ground * (illumination(scene) - from_behind) * down_t
    if stack.backing is None:
        seen = sum(
            (
                x.on_cloth
                for x in back
                if _opposite(x.zenith_deg, x.azimuth_deg, view)
            ),
            np.zeros(BANDS),
        )
    mean = mean + clear * seen
    scale = np.divide(exact, mean, out=np.ones(BANDS), where=mean > 1e-12)
    parts = []
    for number, (layer, texture, sources, glow) in enumerate(painted):
        left = _left(layer)
        shape = (texture.open.shape[0], texture.open.shape[1])
        rgb = np.zeros((*shape, 3), np.float32)
        for leaves, e in zip(
            (*texture.lights, texture.room, texture.behind), (*sources, glow), strict=True
        ):
            table = on_screen(left * (e * scale), scene, seeing, observer)
            rgb += leaves.painted(table, shape)
        turn, flip = np.radians(layer.grain_deg), layer.face == "back"
        parts.append(
            Part(
                rgb,
                texture.open,
                _cast_on(texture, left, lit, scene, stack.lay),
                texture.size,
                placement(turn, flip),
                _OFFSETS[number % len(_OFFSETS)],
            )
        )
    return parts, on_screen(seen * scale, scene, seeing, observer)


def _left(layer: Layer) -> Array:
    """Share of light left (lengths, 41) after the lengths run in warp and weft."""
    solution = solved(layer.cloth)
    return kept(solution.white.cell, solution.absorption)


def _cast_on(
    texture: CellTexture, left: Array, lit: list[Spectrum], scene: Scene, lay: str
) -> NDArray[np.float32]:
    """How light through a layer lies on what is behind, RGB, mean 1: the lamps' own pattern, and
    the room's evenly."""
    shape = (texture.open.shape[0], texture.open.shape[1])
    if GAPS[lay] is None or not lit:
        return np.ones((*shape, 3), np.float32)
    total = np.zeros((*shape, 3), np.float32)
    all_ = illumination(scene)
    falls = linear_rgb(np.diag(all_), all_)
    for leaves, e in zip(texture.cast, lit, strict=True):
        share = np.divide(e, all_, out=np.zeros(BANDS), where=all_ > 0)
        total += leaves.painted(left @ (share[:, None] * falls), shape)
    # the sheets lie nearer and farther from place to place
    total = softened(total, _SOFT * shape[1] / texture.crossings[0])
    even = float(scene.diffuse.sum() / max(all_.sum(), 1e-9))
    out = (1.0 - even) * total / np.maximum(total.mean(axis=(0, 1)), 1e-9) + even
    return np.asarray(out, np.float32)


def _opposite(zenith: float, azimuth: float, view: tuple[float, float]) -> bool:
    a = unit(np.radians(180.0 - zenith), np.radians(azimuth + 180.0))
    b = unit(np.radians(view[0]), np.radians(view[1]))
    return bool(a @ b > np.cos(np.radians(5.0)))


def _joined(
    r1: Array, t1: Array, u1: Array, r2: Array, t2: Array, u2: Array
) -> tuple[Array, Array, Array]:
    """Diffuse reflectance, transmittance and underside reflectance of one thing over another."""
    loop = np.maximum(1.0 - u1 * r2, 1e-6)
    return r1 + t1 * t1 * r2 / loop, t1 * t2 / loop, u2 + t2 * t2 * u1 / loop


def _texture(
    layer: Layer,
    view: tuple[float, float],
    front: tuple[Light, ...],
    texels_per_spacing: float,
    lay: str,
) -> CellTexture:
    turn, flip = float(np.radians(layer.grain_deg)), layer.face == "back"
    cell = solved(layer.cloth).white.cell
    # a long repeat, or one of many filaments, is drawn coarser rather than never
    many = max(1 if s.single else s.filaments for s in (cell.warp, cell.weft))
    each = 1 if many == 1 else 4
    most = np.sqrt(_MOST_TEXELS / each / np.sqrt(many) / np.size(cell.lift))
    fineness = int(8 * np.ceil(np.clip(texels_per_spacing, 16.0, 88.0) / 8.0))
    fineness = min(fineness, max(int(most), 8))
    gap = GAPS[lay]
    spacing = float(np.sqrt(cell.warp_spacing * cell.weft_spacing))
    return cell_texture(
        cell,
        _direction(*view, turn, flip),
        tuple(_direction(min(x.zenith_deg, 80.0), x.azimuth_deg, turn, flip) for x in front),
        fineness,
        0.0 if gap is None else 0.5 * sum(gap) * spacing,
        each,
    )
