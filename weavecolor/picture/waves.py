"""Fine weaves over one another as sums of plane waves: moire without aliasing at any scale.

Knows periodic textures; knows nothing of cloth or colour. Each layer is a Fourier series; the
product of two has their sum and difference frequencies (I. Amidror, The Theory of the Moire
Phenomenon, 2000, ch. 2), and those that a pixel cannot show are left out before the picture is
made, so nothing can fold back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Waves = tuple[Array, NDArray[np.complex128]]  # cycles per mm (m, 2); amplitudes (m, channels)

_PER_LAYER = 220  # strongest waves kept of a layer
_BETWEEN = 700  # kept of a product that meets a further layer
_IN_PICTURE = 480  # drawn


@dataclass(frozen=True, eq=False)
class Ply:
    """A periodic layer: ``rgb`` (m, n, 3) and openness ``open`` (m, n) over a repeat of ``size``
    (x, y) mm; ``place`` (2, 2) from picture mm to the layer's mm; ``offset`` (x, y) in repeats."""

    rgb: NDArray[Any]
    open: NDArray[Any]
    size: tuple[float, float]
    place: Array
    offset: tuple[float, float]


def series(ply: Ply) -> Waves:
    """The strongest waves of openness (channel 0) and colour (channels 1-3)."""
    maps = np.concatenate([ply.open[..., None], ply.rgb], axis=-1)
    rows, columns = maps.shape[:2]
    spectrum = np.fft.fft2(maps, axes=(0, 1)) / (rows * columns)
    numbers = [np.fft.fftfreq(n, 1.0 / n) for n in (rows, columns)]
    ky, kx = (a.ravel() for a in np.meshgrid(*numbers, indexing="ij"))
    amplitude = spectrum.reshape(-1, 4)
    strong = np.argsort(-np.abs(amplitude).max(axis=1), kind="stable")[:_PER_LAYER]
    kx, ky, amplitude = kx[strong], ky[strong], amplitude[strong]
    # texel centres lie half a texel in; the layer is shifted by its offset
    phase = kx * (ply.offset[0] - 0.5 / columns) + ky * (ply.offset[1] - 0.5 / rows)
    frequency = np.stack([kx / ply.size[0], ky / ply.size[1]], axis=1) @ ply.place
    return frequency, amplitude * np.exp(2j * np.pi * phase)[:, None]


def _strongest(waves: Waves, count: int) -> Waves:
    frequency, amplitude = waves
    if len(frequency) <= count:
        return waves
    best = np.argpartition(-np.abs(amplitude).max(axis=1), count)[:count]
    return frequency[best], amplitude[best]


def _product(one: Waves, other: Waves) -> Waves:
    frequency = (one[0][:, None] + other[0][None]).reshape(-1, 2)
    amplitude = one[1][:, None] * other[1][None]
    return frequency, amplitude.reshape(len(frequency), -1)


def _shown(waves: Waves, scale: float) -> Waves:
    """What pixels of ``scale`` mm can hold: a smooth fall to nothing at half a cycle a pixel."""
    frequency, amplitude = waves
    reach = np.abs(frequency * scale).max(axis=1) * 2.0
    keep = reach < 1.0
    fall = np.cos(0.5 * np.pi * reach[keep]) ** 2
    return frequency[keep], amplitude[keep] * fall[:, None]


def picture_waves(plies: Sequence[Ply], behind: Array, scale: float) -> Waves:
    """All waves of the picture, linear RGB, that pixels of ``scale`` mm can hold; ``plies``,
    outermost first, over ``behind`` (3,)."""
    clear: Waves = (np.zeros((1, 2)), np.ones((1, 1), complex))
    found: list[Waves] = []
    for ply in plies:
        frequency, amplitude = series(ply)
        found.append(_shown(_product(clear, (frequency, amplitude[:, 1:])), scale))
        clear = _strongest(_product(clear, (frequency, amplitude[:, :1])), _BETWEEN)
    found.append(_shown((clear[0], clear[1] * np.asarray(behind)[None]), scale))
    joined = tuple(np.concatenate(a) for a in zip(*found, strict=True))
    frequency, amplitude = joined
    # one of each pair of conjugates, twice as strong: the picture is real
    fx, fy = frequency.T
    upper = (fx > 1e-12) | ((np.abs(fx) <= 1e-12) & (fy > 1e-12))
    still = (np.abs(fx) <= 1e-12) & (np.abs(fy) <= 1e-12)
    level = amplitude[still].sum(axis=0, keepdims=True)
    moving = _strongest((frequency[upper], 2.0 * amplitude[upper]), _IN_PICTURE)
    return (
        np.concatenate([np.zeros((1, 2)), moving[0]]),
        np.concatenate([level, moving[1]]),
    )


def wave_picture(
    plies: Sequence[Ply], behind: Array, width: int, height: int, scale: float, tile: int = 256
) -> NDArray[np.float32]:
    """Linear RGB (height, width, 3) of layers ``plies`` over ``behind`` (3,), ``scale`` mm a pixel,
    in ``width`` by ``height`` pixels; worked on ``tile`` rows at a time."""
    frequency, amplitude = picture_waves(plies, behind, scale)
    x = (np.arange(width) + 0.5 - 0.5 * width) * scale
    y = (np.arange(height) + 0.5 - 0.5 * height) * scale
    across = np.exp(2j * np.pi * frequency[:, :1] * x).astype(np.complex64)
    out = np.empty((height, width, 3), np.float32)
    for first in range(0, height, tile):
        rows = y[first : first + tile]
        down = np.exp(2j * np.pi * rows[:, None] * frequency[:, 1]).astype(np.complex64)
        for channel in range(3):
            out[first : first + tile, :, channel] = (
                (down * amplitude[:, channel].astype(np.complex64)) @ across
            ).real
    return out
