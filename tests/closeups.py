"""Close-ups of woven cloth as a telephone writes them, with the threads that are in them.

A test helper kept apart from the counter: it imports nothing of the package. Yarns are solid
bodies over and under one another, lit by a lamp from the side, seen by a lens and a sensor with
a colour mosaic, sharpened and written to a file. The truth is counted from the yarns that were
laid, not from the sett that was asked for. All ranges are invented; common practice, no source.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import convolve, gaussian_filter, gaussian_filter1d


def _twill(up: int, down: int, hand: int = 1) -> np.ndarray:
    n = up + down
    end, pick = np.meshgrid(np.arange(n), np.arange(n))
    return ((end - hand * pick) % n < up).astype(int)


def _satin(n: int, step: int, weft_faced: bool = False) -> np.ndarray:
    end, pick = np.meshgrid(np.arange(n), np.arange(n))
    binding = (step * pick - end) % n == 0
    return (binding if weft_faced else ~binding).astype(int)


_PLAIN = np.array([[1, 0], [0, 1]])
#: Lift plans, [pick, end], 1 where warp lies on top, by family.
WEAVES: dict[str, dict[str, np.ndarray]] = {
    "plain": {"plain": _PLAIN},
    "twill": {
        "2/1": _twill(2, 1), "1/2": _twill(1, 2, -1), "2/2": _twill(2, 2),
        "2/2 left": _twill(2, 2, -1), "3/1": _twill(3, 1), "1/3": _twill(1, 3), "3/2": _twill(3, 2),
    },
    "satin": {
        "5": _satin(5, 2), "5 sateen": _satin(5, 3, True), "8": _satin(8, 3), "7": _satin(7, 2),
    },
    "hopsack": {
        "2 and 2": np.kron(_PLAIN, np.ones((2, 2), int)),
        "3 and 3": np.kron(_PLAIN, np.ones((3, 3), int)),
    },
    "rib": {
        "warp rib 2": np.kron(_PLAIN, np.ones((2, 1), int)),
        "weft rib 2": np.kron(_PLAIN, np.ones((1, 2), int)),
    },
}  # fmt: skip


@dataclass(frozen=True)
class Closeup:
    """What is laid and how it is seen. Setts per cm, lengths in pixels where named so, angles in
    degrees, colours linear 0-1, everything else shares of the yarn's spacing."""

    family: str = "plain"
    weave: str = "plain"
    ends_per_cm: float = 20.0
    picks_per_cm: float = 18.0
    pixels_per_mm: float = 20.0
    size: tuple[int, int] = (480, 520)
    tilt: float = 0.0  # of the warp, top leaning right is positive
    skew: float = 0.0  # weft off square
    perspective: tuple[float, float] = (0.0, 0.0)  # change of scale to the edge, right and up
    warp_colour: tuple[float, float, float] = (0.5, 0.45, 0.4)
    weft_colour: tuple[float, float, float] = (0.5, 0.45, 0.4)
    second_warp: tuple[float, float, float] | None = None  # every other end, in end-and-end cloth
    backing: tuple[float, float, float] = (0.05, 0.05, 0.05)
    cover: tuple[float, float] = (0.85, 0.85)  # yarn width over spacing
    roundness: tuple[float, float] = (0.7, 0.7)  # yarn's height over its width
    crimp: tuple[float, float] = (0.5, 0.5)  # how far a yarn bends, of the other's height
    sheer: float = 0.0  # light that comes through a yarn
    place: float = 0.04  # independent error of a yarn's place
    drift: float = 0.01  # slow change of spacing, relative
    pairing: float = 0.0  # ends drawn together two by two by the reed
    unlike: float = 0.05  # yarn to yarn tone and width, and along a yarn
    twist: float = 0.0  # ripple of twisted yarn
    hairs: float = 0.0  # loose fibres to a crossing
    lamp_height: float = 45.0
    lamp_side: float = 30.0
    ambient: float = 0.5
    gloss: float = 0.1
    falloff: float = 0.2  # light from edge to edge
    exposure: float = 0.7
    blur_px: float = 0.8
    mosaic: bool = True
    noise: float = 0.01
    sharpen: float = 0.3
    quality: int | None = 85  # None: PNG
    full_chroma: bool = False
    seed: int = 0


@dataclass(frozen=True)
class Truth:
    """Threads per cm laid in the picture, and how many pixels the finer system's thread has."""

    ends_per_cm: float
    picks_per_cm: float
    pixels_a_thread: float


def _places(spacing: float, reach: float, c: Closeup, rng: np.random.Generator, paired: float):  # type: ignore[no-untyped-def]
    """Axes of the yarns in mm, covering -reach to reach."""
    count = int(2 * reach / spacing) + 14
    slow = gaussian_filter1d(rng.standard_normal(count), 8.0, mode="wrap")
    slow = c.drift * slow / (slow.std() + 1e-9)
    at = np.cumsum(spacing * (1 + slow))
    at -= at[count // 2] + rng.uniform(0, spacing)
    at = at + c.place * spacing * np.clip(rng.standard_normal(count), -2.2, 2.2)
    return at + paired * spacing * np.where(np.arange(count) % 2, -0.5, 0.5)


def _uneven(count: int, c: Closeup, rng: np.random.Generator) -> np.ndarray:
    """Relative change along each of ``count`` yarns, 256 samples."""
    noise = gaussian_filter(rng.standard_normal((count, 256)), (0, 5.0), mode="wrap")
    noise /= noise.std() + 1e-9
    return c.unlike * (0.7 * noise + 0.7 * rng.standard_normal((count, 1)))


def draw(c: Closeup) -> tuple[np.ndarray, Truth]:
    """Linear light (rows, columns, 3), before the camera, and the truth."""
    rng = np.random.default_rng(c.seed)
    rows, columns = c.size
    finest = c.pixels_per_mm * 10 / max(c.ends_per_cm, c.picks_per_cm)
    s = 2 if finest > 4 else 3
    y, x = np.mgrid[0 : rows * s, 0 : columns * s].astype(np.float32)
    x = (x + 0.5) / s - columns / 2
    y = rows / 2 - (y + 0.5) / s
    reach = max(rows, columns) / 2
    scale = c.pixels_per_mm * (1 + (c.perspective[0] * x + c.perspective[1] * y) / reach)
    x, y = x / scale, y / scale
    a, b = np.radians(c.tilt), np.radians(c.tilt + c.skew)
    across = x * np.cos(a) - y * np.sin(a)  # counts ends
    along = x * np.sin(b) + y * np.cos(b)  # counts picks
    p = (10 / c.ends_per_cm, 10 / c.picks_per_cm)
    far = 1.3 * float(np.hypot(rows, columns)) / 2 / c.pixels_per_mm
    ends = np.sort(_places(p[0], far, c, rng, c.pairing))
    picks = np.sort(_places(p[1], far, c, rng, 0.4 * c.pairing if rng.random() < 0.3 else 0.0))
    plan = WEAVES[c.family][c.weave]
    lift = plan[np.ix_(np.arange(len(picks)) % plan.shape[0], np.arange(len(ends)) % plan.shape[1])]
    ways = _uneven(len(ends), c, rng), _uneven(len(picks), c, rng)
    half_mm = 0.5 * c.cover[0] * p[0], 0.5 * c.cover[1] * p[1]
    height = half_mm[0] * c.roundness[0], half_mm[1] * c.roundness[1]
    at_end = np.interp(across, ends, np.arange(len(ends))).astype(np.float32)
    at_pick = np.interp(along, picks, np.arange(len(picks))).astype(np.float32)

    def body(mine, other, at, v, half, tall, swing, way, mine_first):  # type: ignore[no-untyped-def]
        """Offset in half widths, height of the surface, index and tone of the nearest yarn."""
        k = np.round(mine).astype(np.int32)
        u = v[0]
        j0 = np.clip(np.floor(other).astype(np.int32), 0, (lift.shape[0 if mine_first else 1]) - 2)
        f = other - j0
        f = f * f * (3 - 2 * f)
        up0 = lift[j0, k] if mine_first else 1 - lift[k, j0]
        up1 = lift[j0 + 1, k] if mine_first else 1 - lift[k, j0 + 1]
        axis = swing * (2 * (up0 * (1 - f) + up1 * f) - 1)
        place = ((v[1] / (2 * far) + 0.5) * 255).astype(np.int32) % 256
        tone = way[k, place]
        t = (u - at[k]) / (half * (1 + 0.7 * tone))
        z = np.where(np.abs(t) < 1, axis + tall * np.sqrt(np.clip(1 - t * t, 0, 1)), -9.0)
        return t.astype(np.float32), z.astype(np.float32), k, tone.astype(np.float32)

    t1, z1, k1, tone1 = body(at_end, at_pick, ends, (across, along), half_mm[0], height[0],
                             c.crimp[0] * height[1], ways[0], True)  # fmt: skip
    t2, z2, k2, tone2 = body(at_pick, at_end, picks, (along, across), half_mm[1], height[1],
                             c.crimp[1] * height[0], ways[1], False)  # fmt: skip
    floor = -1.2 * (height[0] + height[1])
    z = np.maximum(np.maximum(z1, z2), floor)
    warp_on_top = (z1 >= z2) & (z1 > floor)
    weft_on_top = (z2 > z1) & (z2 > floor)
    step = float(1 / (c.pixels_per_mm * s))
    gy, gx = np.gradient(z, step)
    gy = -gy
    steep = np.maximum(1.0, np.hypot(gx, gy) / 2.5)
    gx, gy = gx / steep, gy / steep
    size = np.sqrt(1 + gx * gx + gy * gy)
    e, q = np.radians(c.lamp_height), np.radians(c.lamp_side)
    lamp = np.array([np.cos(e) * np.sin(q), np.cos(e) * np.cos(q), np.sin(e)])
    facing = np.clip((-gx * lamp[0] - gy * lamp[1] + lamp[2]) / size, 0, None) / lamp[2]
    wide = 0.35 * min(p) / step
    deep = (gaussian_filter(z, wide) - z) / (height[0] + height[1])
    light = (c.ambient * np.clip(1 - 0.6 * np.clip(deep, 0, 1.5), 0.2, 1.0)
             + (1 - c.ambient) * facing * np.clip(1 - 0.7 * np.clip(deep, 0, 1.2), 0.2, 1))
    # a fibre shines where the half-way direction stands square on it
    middle = lamp + np.array([0, 0, 1.0])
    middle /= np.linalg.norm(middle)
    shine = np.zeros_like(z)
    ways_run = (np.sin(a), np.cos(a)), (np.cos(b), -np.sin(b))
    for mask, way in zip((warp_on_top, weft_on_top), ways_run, strict=True):
        rise = gx * way[0] + gy * way[1]
        on = (way[0] * middle[0] + way[1] * middle[1] + rise * middle[2]) / np.sqrt(1 + rise**2)
        shine += mask * np.clip(1 - on * on, 0, 1) ** 12
    ripple = np.ones_like(z)
    if c.twist:
        for mask, t, k, v, half in ((warp_on_top, t1, k1, along, half_mm[0]),
                                    (weft_on_top, t2, k2, across, half_mm[1])):
            start = rng.uniform(0, 2 * np.pi, 4096)[k % 4096]
            turn = np.cos(2 * np.pi * v / (3.2 * half) + 2.2 * t + start)
            ripple = np.where(mask, 1 + c.twist * turn, ripple)
    warp = np.broadcast_to(np.array(c.warp_colour, np.float32), (*z.shape, 3))
    if c.second_warp is not None:
        warp = np.where((k1 % 2 == 0)[..., None], np.array(c.second_warp, np.float32), warp)
    warp = warp * (1 + tone1)[..., None]
    weft = np.array(c.weft_colour, np.float32) * (1 + tone2)[..., None]
    back = np.array(c.backing, np.float32)
    has1, has2 = (z1 > floor)[..., None], (z2 > floor)[..., None]
    under = np.where(warp_on_top[..., None], np.where(has2, weft, back),
                     np.where(has1, warp, back))  # fmt: skip
    top = np.where(warp_on_top[..., None], warp, np.where(weft_on_top[..., None], weft, back))
    yarn = (warp_on_top | weft_on_top)[..., None]
    colour = np.where(yarn, (1 - c.sheer) * top + c.sheer * under, back)
    lit = np.where(yarn[..., 0], light * ripple, 1.0)
    picture = colour * lit[..., None] + (c.gloss * shine * yarn[..., 0])[..., None]
    if c.hairs:
        picture = _hairy(picture, c, rng, s, (rows * columns) * c.ends_per_cm * c.picks_per_cm
                         / (100 * c.pixels_per_mm**2))  # fmt: skip
    picture = picture.reshape(rows, s, columns, s, 3).mean((1, 3))
    yy, xx = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
    fall = np.clip(1 + c.falloff * (xx * np.sin(q) + yy * np.cos(q)), 0.1, None)
    picture = picture * fall[..., None]
    truth = Truth(_laid(ends, columns, c), _laid(picks, rows, c), finest)
    return picture.astype(np.float32), truth


def _laid(at: np.ndarray, side: int, c: Closeup) -> float:
    """Yarns to the cm in view."""
    half = side / 2 / c.pixels_per_mm
    seen = at[np.abs(at) < half]
    # one yarn's own error of place moves an end: fit the line through all of them
    return float(10 / np.polyfit(np.arange(len(seen)), seen, 1)[0])


def _hairy(picture: np.ndarray, c: Closeup, rng: np.random.Generator, s: int, crossings: float):  # type: ignore[no-untyped-def]
    rows, columns = picture.shape[:2]
    sheet = Image.new("L", (columns, rows))
    pen = ImageDraw.Draw(sheet)
    spacing = c.pixels_per_mm * 10 / max(c.ends_per_cm, c.picks_per_cm) * s
    for _ in range(min(4000, int(c.hairs * crossings))):
        x, y = rng.uniform(0, columns), rng.uniform(0, rows)
        turn, bend = rng.uniform(0, 2 * np.pi), rng.normal(0, 0.5)
        points = []
        for _ in range(6):
            points.append((x, y))
            x, y = x + 0.45 * spacing * np.cos(turn), y + 0.45 * spacing * np.sin(turn)
            turn += bend
        pen.line(points, fill=int(rng.uniform(60, 200)), width=1)
    share = gaussian_filter(np.asarray(sheet, np.float32) / 255, 0.6)[..., None]
    tone = 0.5 * (np.array(c.warp_colour) + np.array(c.weft_colour)) * 1.15
    return picture * (1 - share) + share * tone


_BETWEEN = np.array([[1, 2, 1], [2, 4, 2], [1, 2, 1]], np.float32) / 4


def expose(picture: np.ndarray, c: Closeup) -> np.ndarray:
    """What the camera makes of the light: sRGB codes (rows, columns, 3), uint8."""
    rng = np.random.default_rng(c.seed + 1)
    light = gaussian_filter(picture, (c.blur_px, c.blur_px, 0))
    light = light * c.exposure / max(float(np.percentile(light, 98)), 1e-6)
    sigma = c.noise * np.sqrt(np.clip(light, 0, None) + 0.02)
    if c.mosaic:
        light = light + 1.3 * sigma * rng.standard_normal(light.shape)
        mask = np.zeros(light.shape, np.float32)
        mask[0::2, 0::2, 0] = mask[1::2, 1::2, 2] = 1
        mask[0::2, 1::2, 1] = mask[1::2, 0::2, 1] = 1
        filled = [
            convolve(light[..., k] * mask[..., k], _BETWEEN, mode="mirror")
            / convolve(mask[..., k], _BETWEEN, mode="mirror")
            for k in range(3)
        ]
        light = np.stack(filled, -1)
    else:
        light = light + sigma * rng.standard_normal(light.shape)
    light = np.clip(light, 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    if c.sharpen:
        code = code + c.sharpen * (code - gaussian_filter(code, (1.2, 1.2, 0)))
    return (np.clip(code, 0, 1) * 255 + 0.5).astype(np.uint8)


def written(codes: np.ndarray, c: Closeup) -> bytes:
    """The file: PNG, or JPEG of the quality asked for."""
    out = io.BytesIO()
    image = Image.fromarray(codes)
    if c.quality is None:
        image.save(out, "PNG", compress_level=1)
    else:
        image.save(out, "JPEG", quality=c.quality, subsampling=0 if c.full_chroma else 2)
    return out.getvalue()


def photograph(c: Closeup) -> tuple[bytes, Truth]:
    """The file and the truth."""
    picture, truth = draw(c)
    return written(expose(picture, c), c), truth


def any_closeup(rng: np.random.Generator, **fixed: object) -> Closeup:
    """A close-up such as a maker might take: legible, at least 6.2 pixels to a thread, upright
    within 4 degrees nine times in ten and within 10 else."""
    families = ("plain", "twill", "satin", "hopsack", "rib")
    family = str(rng.choice(families, p=(0.45, 0.27, 0.14, 0.07, 0.07)))
    weave = str(rng.choice(sorted(WEAVES[family])))
    finer = float(np.exp(rng.uniform(np.log(6.2), np.log(25))))
    ends = float(np.exp(rng.uniform(np.log(8), np.log(60))))
    unequal = rng.random() < 0.7
    ratio = np.exp(rng.uniform(-0.1, 0.75)) if unequal else rng.uniform(0.98, 1.02)
    if family == "satin":
        ratio = float(np.exp(rng.uniform(0.0, 0.8)))
    picks = ends / float(ratio)
    if rng.random() < 0.1:
        ends, picks = picks, ends
    kind = rng.random()
    if kind < 0.35:  # pale, one colour
        warp = weft = rng.uniform(0.45, 0.8) * (1 - rng.uniform(0, 0.12, 3))
    elif kind < 0.5:  # strong, one colour
        warp = weft = rng.uniform(0.02, 0.5, 3)
    elif kind < 0.6:  # dark, one colour
        warp = weft = rng.uniform(0.015, 0.05, 3)
    elif kind < 0.75:  # two colours near each other
        warp = rng.uniform(0.1, 0.6, 3)
        weft = np.clip(warp * rng.uniform(0.75, 1.3, 3), 0.01, 0.85)
    else:  # shot
        warp, weft = rng.uniform(0.02, 0.6, (2, 3))
    open_cloth = rng.random() < 0.25 and family in ("plain", "rib", "hopsack")
    cover = rng.uniform(0.4, 0.75, 2) if open_cloth else rng.uniform(0.75, 1.05, 2)
    spun = rng.random() < 0.5
    pixels = finer * max(ends, picks) / 10
    rows = int(rng.integers(420, 640))
    steep = 4.0 if rng.random() < 0.9 else 10.0
    second = None
    if rng.random() < 0.03:
        second = tuple(np.clip(warp * rng.uniform(0.5, 1.6), 0.01, 0.9))
    c = Closeup(
        family=family, weave=weave, ends_per_cm=ends, picks_per_cm=float(picks),
        pixels_per_mm=float(pixels), size=(rows, rows + int(rng.integers(0, 120))),
        tilt=float(rng.uniform(-steep, steep)), skew=float(rng.normal(0, 0.7)),
        perspective=tuple(rng.uniform(-0.02, 0.02, 2)),
        warp_colour=tuple(warp), weft_colour=tuple(weft), second_warp=second,
        backing=tuple([0.02, 0.02, 0.02] if rng.random() < 0.6 else [0.8, 0.79, 0.77]),
        cover=tuple(cover), roundness=tuple(rng.uniform(0.35, 1.0, 2)),
        crimp=tuple(rng.uniform(0.25, 0.9, 2)),
        sheer=float(rng.uniform(0.1, 0.5)) if open_cloth and rng.random() < 0.5 else 0.0,
        place=float(rng.uniform(0.01, 0.08 if spun else 0.05)),
        drift=float(rng.uniform(0, 0.015)),
        pairing=float(rng.uniform(0.03, 0.15)) if rng.random() < 0.12 else 0.0,
        unlike=float(rng.uniform(0.01, 0.1 if spun else 0.04)),
        twist=float(rng.uniform(0.0, 0.2)) if spun else 0.0,
        hairs=float(rng.uniform(0.1, 0.8)) if spun and rng.random() < 0.6 else 0.0,
        lamp_height=float(rng.uniform(20, 75)), lamp_side=float(rng.uniform(0, 360)),
        ambient=float(rng.uniform(0.25, 0.8)),
        gloss=float(rng.uniform(0, 0.05) if spun else rng.uniform(0, 0.25)),
        falloff=float(rng.uniform(0, 0.35)), exposure=float(rng.uniform(0.4, 0.95)),
        blur_px=float(rng.uniform(0.4, min(1.6, 0.16 * finer))), mosaic=bool(rng.random() < 0.8),
        noise=float(rng.uniform(0.003, 0.03)), sharpen=float(rng.uniform(0, 0.8)),
        quality=None if rng.random() < 0.25 else int(rng.integers(75, 93)),
        full_chroma=bool(rng.random() < 0.3), seed=int(rng.integers(2**31)),
    )  # fmt: skip
    return replace(c, **fixed) if fixed else c  # type: ignore[arg-type]
