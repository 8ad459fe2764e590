"""A round chart of how colour, lightness and hue change while the cloth turns.

Knows how the chart is drawn; the colours come from ``multiangle``. Angle 0 is at the top and grows
anticlockwise, the way the cloth turns. The outer ring is the colour itself; inside, the distance
from the middle is lightness in one dial and hue in the other.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from weavecolor.colour.colorimetry import lch_from_lab, readings_lab
from weavecolor.errors import InputError
from weavecolor.optics.multiangle import LEAST_CHROMA, travel, turned_radiance
from weavecolor.optics.stack import Stack
from weavecolor.picture.encode import AS_SEEN, Seeing, exposure_for, on_screen, to_image
from weavecolor.picture.lettering import INK, QUIET, sheet, write
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]

_OVER = 3  # drawn so much larger, then reduced
_STEP_DEG = 5.0  # angles worked out; splines between
_RIM = (0.80, 1.0)  # the colour ring, over the dial's radius
_FACE = (0.22, 0.74)  # least and greatest value


def draw_polar(
    stack: Stack,
    scene: Scene,
    width_px: int = 1000,
    *,
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
) -> Image.Image:
    """Two dials side by side, lightness and hue, each in a ring of the computed colours.

    ``width_px`` 300 to 4000; the height is 0.6 of it. Raises InputError as ``turned_radiance``.
    """
    if not 300 <= width_px <= 4000:
        raise InputError("a chart is 300 to 4000 pixels wide")
    angles = np.arange(0.0, 360.0, _STEP_DEG)
    radiance = turned_radiance(stack, scene, angles, exact=False)
    fine = np.arange(0.0, 360.0, 2.0)
    spectra = _round(radiance, fine)
    Lab = readings_lab(spectra, illumination(scene), scene.white, observer)
    linear = on_screen(spectra, scene, seeing, observer) * exposure_for(scene, seeing)
    ring = to_image(linear[None].astype(np.float32).repeat(8, axis=0), seeing)
    codes = np.asarray(ring)[4]

    W, H = width_px * _OVER, round(width_px * 0.6) * _OVER
    image, draw = sheet(W, H)
    gone = travel(Lab)
    LCh = lch_from_lab(Lab)
    radius = 0.196 * W
    size = 0.021 * W
    for n, centre in enumerate((0.255 * W, 0.745 * W)):
        middle = (centre, 0.47 * H)
        _ring(draw, middle, radius, fine, codes)
        if n == 0:
            values, ticks = _lightness(Lab[:, 0])
            title = "Lightness L*"
            told = f"changes by {gone.lightness:.1f}"
        else:
            values, ticks = _hue(LCh)
            title = "Hue, degrees"
            told = "too grey to tell" if gone.hue_deg is None else f"travels {gone.hue_deg:.0f}°"
        _dial(draw, middle, radius, fine, values, ticks, size)
        write(
            draw, centre, middle[1] + radius + 2.1 * size, title, size * 1.1, bold=True, anchor="ma"
        )
        write(draw, centre, middle[1] + radius + 3.6 * size, told, size, grey=QUIET, anchor="ma")
    out = image.resize((width_px, round(width_px * 0.6)), Image.Resampling.BOX)
    out.info.update(ring.info)
    out.info["notes"] = (
        f"The cloth turned in the light of {scene.name}; greatest difference on the way "
        f"{gone.colour:.1f} (CIEDE2000), between {fine[gone.between[0]]:.0f} and "
        f"{fine[gone.between[1]]:.0f} degrees.",
        *ring.info["notes"],
    )
    return out


def _round(values: Array, fine: Array) -> Array:
    from scipy.interpolate import CubicSpline

    angles = np.append(np.arange(len(values)) * 360.0 / len(values), 360.0)
    ring = np.concatenate([values, values[:1]])
    return np.maximum(CubicSpline(angles, ring, bc_type="periodic")(fine), 0.0)


def _at(middle: tuple[float, float], radius: Array | float, angle_deg: Array | float) -> Array:
    a = np.radians(angle_deg)
    x = middle[0] - radius * np.sin(a)
    y = middle[1] - radius * np.cos(a)
    return np.stack(np.broadcast_arrays(x, y), axis=-1)


def _ring(
    draw: ImageDraw.ImageDraw,
    middle: tuple[float, float],
    radius: float,
    fine: Array,
    codes: NDArray[Any],
) -> None:
    half = 0.5 * float(fine[1] - fine[0]) + 0.15
    for a, code in zip(fine, codes, strict=True):
        edge = np.array([a - half, a + half])
        outer, inner = (
            _at(middle, _RIM[1] * radius, edge),
            _at(middle, _RIM[0] * radius, edge[::-1]),
        )
        corners = [tuple(p) for p in np.concatenate([outer, inner])]
        draw.polygon(corners, fill=(int(code[0]), int(code[1]), int(code[2])))


def _lightness(L: Array) -> tuple[Array, list[tuple[float, str]]]:
    """Place on the dial (n,), 0-1, and ticks (place, text): a span of 10 L* or more."""
    return _scaled(L, 10.0, lambda v: f"{v:.0f}")


def _hue(LCh: Array) -> tuple[Array, list[tuple[float, str]]]:
    hue = np.where(LCh[:, 1] >= LEAST_CHROMA, LCh[:, 2], np.nan)
    there = np.isfinite(hue)
    if there.sum() < 2:
        return hue, []
    # about the middle of the arc, so that the turn from 359 to 0 is no jump
    mean = np.degrees(np.angle(np.exp(1j * np.radians(hue[there])).mean()))
    near = (hue - mean + 180.0) % 360.0 - 180.0 + mean
    return _scaled(near, 20.0, lambda v: f"{v % 360.0:.0f}")


def _scaled(
    values: Array, least: float, text: Callable[[float], str]
) -> tuple[Array, list[tuple[float, str]]]:
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    span = max(high - low, least)
    step = next(s for s in (2.0, 5.0, 10.0, 20.0, 50.0, 100.0) if span / s <= 4.5)
    start = np.floor((0.5 * (low + high) - 0.5 * span) / step) * step
    stop = np.ceil(max(high, start + span) / step) * step
    ticks = np.arange(start, stop + 0.5 * step, step)
    return (values - start) / (stop - start), [
        (float((t - start) / (stop - start)), text(t)) for t in ticks
    ]


def _dial(
    draw: ImageDraw.ImageDraw, middle: tuple[float, float], radius: float, fine: Array,
    values: Array, ticks: list[tuple[float, str]], size: float,
) -> None:  # fmt: skip
    def place(share: Array | float) -> Array:
        return radius * (_FACE[0] + (_FACE[1] - _FACE[0]) * np.asarray(share))

    thin, thick = max(1, round(size * 0.06)), max(2, round(size * 0.22))
    for share, _ in ticks:
        r = float(place(share))
        box = [middle[0] - r, middle[1] - r, middle[0] + r, middle[1] + r]
        draw.ellipse(box, outline=(150,) * 3, width=thin)
    for a in range(0, 360, 45):
        ends = [
            tuple(_at(middle, _FACE[0] * radius, float(a))),
            tuple(_at(middle, 0.77 * radius, float(a))),
        ]
        draw.line(ends, fill=(150,) * 3, width=thin)
        x, y = _at(middle, radius + 0.85 * size, float(a))
        side = "lm" if x > middle[0] + size else "rm" if x < middle[0] - size else "mm"
        x -= (side == "lm") * 0.4 * size - (side == "rm") * 0.4 * size
        write(draw, x, y, f"{a}°", size * 0.8, grey=QUIET, anchor=side)
    points = _at(middle, place(values), fine)
    closed = np.concatenate([points, points[:1]])
    run: list[tuple[float, float]] = []
    for p in [*closed, np.array([np.nan, np.nan])]:
        if np.isfinite(p).all():
            run.append((float(p[0]), float(p[1])))
        else:
            if len(run) > 1:
                draw.line(run, fill=(INK,) * 3, width=thick, joint="curve")
            run = []
    for share, text in ticks:
        x, y = _at(middle, float(place(share)), 22.5)
        width = size * 0.3 * max(2, len(text))
        draw.rectangle((x - width, y - 0.45 * size, x + width, y + 0.45 * size), fill=(188,) * 3)
        write(draw, x, y, text, size * 0.74, grey=QUIET, anchor="mm")
