"""Rulers laid on drawn close-ups, with the scale that is true; a test helper kept apart from the
finder: it imports nothing of the package.

Steel, wood or black, with ticks every millimetre (or half), every fifth and tenth longer, figures
beside them; at any angle, seen aslant as the cloth is. Sizes are invented; common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from closeups import Closeup, Truth, draw, expose, written

#: Body and ticks, linear light.
KINDS = {
    "steel": ((0.55, 0.55, 0.56), (0.06, 0.06, 0.06)),
    "wood": ((0.5, 0.36, 0.16), (0.03, 0.03, 0.03)),
    "white": ((0.8, 0.8, 0.78), (0.02, 0.02, 0.02)),
    "black": ((0.03, 0.03, 0.03), (0.7, 0.7, 0.7)),
}


@dataclass(frozen=True)
class Ruler:
    """How a ruler lies. ``edge``: where its edge is, as a share of half the picture, along its
    normal at ``angle`` degrees; lengths in mm. ``every``: distance of ticks, mm."""

    kind: str = "steel"
    angle: float = 3.0
    edge: float = 0.35
    width: float = 0.16
    lengths: tuple[float, float, float] = (2.5, 3.5, 5.0)
    start: float = 0.3
    every: float = 1.0
    inch: bool = False


def laid(c: Closeup, r: Ruler) -> tuple[np.ndarray, Truth]:
    """Linear light of the cloth with the ruler on it."""
    picture, truth = draw(c)
    rows, columns = c.size
    s = 3
    y, x = np.mgrid[0 : rows * s, 0 : columns * s].astype(np.float32)
    x, y = (x + 0.5) / s - columns / 2, rows / 2 - (y + 0.5) / s
    reach = max(rows, columns) / 2
    scale = c.pixels_per_mm * (1 + (c.perspective[0] * x + c.perspective[1] * y) / reach)
    x, y = x / scale, y / scale
    turn = np.radians(r.angle)
    along = x * np.cos(turn) + y * np.sin(turn)
    deep = -x * np.sin(turn) + y * np.cos(turn) - r.edge * rows / 2 / c.pixels_per_mm
    body = np.clip(deep * c.pixels_per_mm * s + 0.5, 0.0, 1.0)
    every = 25.4 / 16.0 if r.inch else r.every
    number = np.round((along - r.start) / every)
    off = np.abs(along - r.start - number * every)
    if r.inch:
        length = np.select([number % 16 == 0, number % 8 == 0, number % 4 == 0, number % 2 == 0],
                           [7.0, 5.5, 4.5, 3.5], 2.5)  # fmt: skip
    else:
        mm = number * every
        length = np.select([mm % 10 == 0, mm % 5 == 0, mm % 1 == 0],
                           r.lengths[::-1], 0.6 * r.lengths[0])  # fmt: skip
    tick = np.clip((0.5 * r.width - off) * c.pixels_per_mm * s + 0.5, 0.0, 1.0)
    tick = tick * (deep > 0.0) * (deep < length)
    # figures: strokes beside each tenth tick
    tenth = np.abs((along - r.start + 5.0) % 10.0 - 5.0)
    figure = (deep > 6.0) & (deep < 8.0) & (tenth < 0.9) & ((tenth > 0.5) | (deep % 1.0 < 0.3))
    ground, ink = (np.array(v, np.float32) for v in KINDS[r.kind])
    inked = np.maximum(tick, figure)[..., None]
    sheet = ground * (1 - inked) + ink * inked
    shares = body.reshape(rows, s, columns, s).mean((1, 3))[..., None]
    sheet = (sheet * body[..., None]).reshape(rows, s, columns, s, 3).mean((1, 3))
    return (picture * (1 - shares) + sheet).astype(np.float32), truth


def photographed(c: Closeup, r: Ruler) -> tuple[bytes, Truth]:
    """The file and the truth."""
    picture, truth = laid(c, r)
    return written(expose(picture, c), c), truth


def any_ruler(rng: np.random.Generator) -> Ruler:
    """A ruler as a maker might lay it: mostly nearly along the picture's side."""
    turned = rng.normal(0.0, 3.0) if rng.random() < 0.8 else rng.uniform(-25.0, 25.0)
    short = rng.uniform(1.8, 3.2)
    return Ruler(
        kind=str(rng.choice(sorted(KINDS))),
        angle=float(turned + rng.choice([0.0, 90.0, 180.0, 270.0])),
        edge=float(rng.uniform(0.25, 0.5)),
        width=float(rng.uniform(0.1, 0.22)),
        lengths=(short, short * rng.uniform(1.25, 1.5), short * rng.uniform(1.6, 2.2)),
        start=float(rng.uniform(0.0, 10.0)),
    )
