"""Draw pictures of woven cloth whose construction is known, as a telephone would see them.

A test helper. It knows yarns, lift plans and a rough camera; it shares no code with the thread
counter or with the optics, so that agreement with it means something.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import gaussian_filter

PLANS = {
    "plain": [[1, 0], [0, 1]],
    "twill 2/1": [[1, 1, 0], [0, 1, 1], [1, 0, 1]],
    "twill 2/2": [[1, 1, 0, 0], [0, 1, 1, 0], [0, 0, 1, 1], [1, 0, 0, 1]],
    "twill 3/1": [[1, 1, 1, 0], [0, 1, 1, 1], [1, 0, 1, 1], [1, 1, 0, 1]],
    "twill 1/3 left": [[0, 0, 0, 1], [0, 0, 1, 0], [0, 1, 0, 0], [1, 0, 0, 0]],
    "satin 5/2": [[0 if (2 * j - i) % 5 == 0 else 1 for i in range(5)] for j in range(5)],
    "satin 8/3": [[0 if (3 * j - i) % 8 == 0 else 1 for i in range(8)] for j in range(8)],
}


@dataclass(frozen=True)
class Drawing:
    """What to draw. Spacings in threads per cm, angles in degrees, colours in linear RGB."""

    plan: str = "plain"
    ends_per_cm: float = 20.0
    picks_per_cm: float = 20.0
    pixels_per_mm: float = 20.0
    size: tuple[int, int] = (480, 480)
    angle: float = 0.0  # of the warp off the picture's upright, top leaning right is positive
    warp_colour: tuple[float, float, float] = (0.5, 0.1, 0.1)
    weft_colour: tuple[float, float, float] = (0.1, 0.2, 0.5)
    backing: tuple[float, float, float] = (0.03, 0.03, 0.03)
    warp_cover: float = 0.85
    weft_cover: float = 0.8
    shading: float = 0.6  # 0 flat ribbon, 1 fully rounded yarn
    crimp_shading: float = 0.3
    jitter: float = 0.04  # yarn position and width, share of the spacing
    perspective: float = 0.0  # change of scale from the centre to the edge
    perspective_angle: float = 0.0
    light: float = 0.0  # relative change of light from the centre to the edge
    light_angle: float = 30.0
    blur_px: float = 0.6
    noise: float = 0.01
    seed: int = 0
    extra: dict[str, float] = field(default_factory=dict)


def _nearest_yarn(position, spacing, rng, jitter, cover):
    """Index of the nearest yarn and offset from its axis in half-widths."""
    first = int(np.floor(position.min() / spacing)) - 3
    last = int(np.ceil(position.max() / spacing)) + 3
    count = last - first + 1
    centres = (np.arange(first, last + 1) + jitter * rng.standard_normal(count)) * spacing
    centres = np.sort(centres)
    half = 0.5 * spacing * cover * np.clip(1 + jitter * rng.standard_normal(count), 0.6, 1.4)
    index = np.clip(np.round(position / spacing).astype(int) - first, 1, count - 2)
    best = np.abs(position - centres[index])
    for step in (-1, 1):
        other = np.abs(position - centres[index + step])
        index = np.where(other < best, index + step, index)
        best = np.minimum(best, np.abs(position - centres[index]))
    offset = (position - centres[index]) / half[index]
    # where neighbours overlap the nearer axis wins, so the edge is between them
    tone = 1 + 0.5 * jitter * rng.standard_normal(count)
    return index + first, offset, tone[index]


def draw(drawing: Drawing, supersample: int = 3) -> np.ndarray:
    """The picture, linear RGB, shape (rows, columns, 3), 0-1."""
    d = drawing
    rng = np.random.default_rng(d.seed)
    rows, columns = d.size
    s = supersample
    y, x = np.mgrid[0 : rows * s, 0 : columns * s]
    x = (x + 0.5) / s - columns / 2
    y = rows / 2 - (y + 0.5) / s  # upward
    reach = max(rows, columns) / 2
    pa = np.radians(d.perspective_angle)
    tilt = 1 + d.perspective * (x * np.cos(pa) + y * np.sin(pa)) / reach
    a = np.radians(d.angle)
    x_mm, y_mm = x / tilt / d.pixels_per_mm, y / tilt / d.pixels_per_mm
    across = x_mm * np.cos(a) - y_mm * np.sin(a)
    along = x_mm * np.sin(a) + y_mm * np.cos(a)
    p1, p2 = 10 / d.ends_per_cm, 10 / d.picks_per_cm
    shift = rng.uniform(0, 8, 2)
    i, t1, tone1 = _nearest_yarn(across + shift[0] * p1, p1, rng, d.jitter, d.warp_cover)
    j, t2, tone2 = _nearest_yarn(along + shift[1] * p2, p2, rng, d.jitter, d.weft_cover)
    plan = np.array(PLANS[d.plan])
    warp_up = plan[j % plan.shape[0], i % plan.shape[1]] == 1
    warp_here, weft_here = np.abs(t1) < 1, np.abs(t2) < 1
    warp_seen = warp_here & (warp_up | ~weft_here)
    weft_seen = weft_here & ~warp_seen
    round1 = 1 - d.shading * (1 - np.sqrt(np.clip(1 - t1**2, 0, 1)))
    round2 = 1 - d.shading * (1 - np.sqrt(np.clip(1 - t2**2, 0, 1)))
    # a yarn dips (and darkens) where it goes under its neighbour
    dip1 = 1 - d.crimp_shading * np.where(warp_up, np.minimum(np.abs(t2), 1.3) ** 2 / 1.7, 1.0)
    dip2 = 1 - d.crimp_shading * np.where(~warp_up, np.minimum(np.abs(t1), 1.3) ** 2 / 1.7, 1.0)
    picture = np.broadcast_to(np.array(d.backing), (*x.shape, 3)).copy()
    for seen, shade, colour in (
        (warp_seen, round1 * dip1 * tone1, d.warp_colour),
        (weft_seen, round2 * dip2 * tone2, d.weft_colour),
    ):
        picture[seen] = shade[seen][:, None] * np.array(colour)
    picture = picture.reshape(rows, s, columns, s, 3).mean((1, 3))
    la = np.radians(d.light_angle)
    yy, xx = np.mgrid[0:rows, 0:columns]
    lamp = ((xx - columns / 2) * np.cos(la) + (rows / 2 - yy) * np.sin(la)) / reach
    picture *= np.clip(1 + d.light * lamp, 0.1, None)[..., None]
    if d.blur_px > 0:
        picture = gaussian_filter(picture, (d.blur_px, d.blur_px, 0))
    sigma = d.noise * np.sqrt(0.1 + picture)  # shot noise on a read-noise floor
    return np.clip(picture + sigma * rng.standard_normal(picture.shape), 0, 1).astype(np.float32)


def any_drawing(rng: np.random.Generator, **fixed) -> Drawing:
    """A random cloth and a random, usable picture of it: at least 6 pixels to a thread."""
    ends = float(np.exp(rng.uniform(np.log(8), np.log(60))))
    picks = float(np.clip(ends * np.exp(rng.uniform(-0.45, 0.45)), 8, 60))
    if rng.random() < 0.3:
        picks = ends * float(rng.uniform(0.97, 1.03))  # squarely balanced: the hard case
    size = int(rng.integers(400, 560))
    pixels = float(np.exp(rng.uniform(np.log(6), np.log(22))))  # of the finer system
    colours = rng.uniform(0.03, 0.7, (2, 3))
    if rng.random() < 0.2:
        colours[1] = colours[0]  # self-coloured cloth
    plan = "plain" if rng.random() < 0.5 else str(rng.choice(sorted(PLANS)))
    values = dict(
        plan=plan,
        ends_per_cm=ends,
        picks_per_cm=picks,
        pixels_per_mm=pixels * max(ends, picks) / 10,
        size=(size, size + int(rng.integers(0, 120))),
        angle=float(rng.uniform(-15, 15)),
        warp_colour=tuple(colours[0]),
        weft_colour=tuple(colours[1]),
        backing=(0.02, 0.02, 0.02) if rng.random() < 0.6 else (0.8, 0.8, 0.8),
        warp_cover=float(rng.uniform(0.45, 1.0)),
        weft_cover=float(rng.uniform(0.45, 1.0)),
        shading=float(rng.uniform(0.2, 0.9)),
        crimp_shading=float(rng.uniform(0.0, 0.5)),
        jitter=float(rng.uniform(0.01, 0.07)),
        perspective=float(rng.uniform(0, 0.04)),
        perspective_angle=float(rng.uniform(0, 360)),
        light=float(rng.uniform(0, 0.4)),
        light_angle=float(rng.uniform(0, 360)),
        blur_px=float(rng.uniform(0.3, 1.5)),
        noise=float(rng.uniform(0.003, 0.04)),
        seed=int(rng.integers(2**31)),
    )
    values.update(fixed)
    return Drawing(**values)
