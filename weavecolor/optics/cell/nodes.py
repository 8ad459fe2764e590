"""Directions: unit vectors, and the quadrature of the sphere that diffuse light is carried on.

Knows directions; knows nothing of cloth. A direction points from the cloth to where light comes
from or goes to: zenith angle from the face normal, azimuth from the warp, anticlockwise seen from
the face (y along the warp, z out of the face).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
#: A unit vector that caches can look up.
Vector = tuple[float, float, float]


def unit(zenith: ArrayLike, azimuth: ArrayLike) -> Array:
    """Unit vectors (..., 3) for angles in radians."""
    zenith, azimuth = np.broadcast_arrays(np.asarray(zenith, float), np.asarray(azimuth, float))
    s = np.sin(zenith)
    return np.stack([-s * np.sin(azimuth), s * np.cos(azimuth), np.cos(zenith)], axis=-1)


@dataclass(frozen=True, eq=False)
class Nodes:
    """Quadrature of the sphere, upper half first, then its mirror below: 2 D directions.

    Gauss-Legendre in cos(zenith), equal steps in azimuth offset by half a step, so that turning
    by whole steps, mirroring and turning over only permute the nodes.

    ``vector`` (2D, 3); ``cosine`` (2D,) absolute; ``share`` (2D,) is cos dw / pi, so each half
    sums to 1; ``rings`` and ``steps`` give D = rings * steps, azimuth running fastest.
    """

    rings: int
    steps: int
    vector: Array
    cosine: Array
    share: Array

    @property
    def half(self) -> int:
        return self.rings * self.steps

    def turned(self, shift: int) -> NDArray[np.intp]:
        """Index of the node that lies ``shift`` azimuth steps back from each node."""
        ring, step = np.divmod(np.arange(2 * self.half), self.steps)
        return np.asarray(ring * self.steps + (step - shift) % self.steps)

    @property
    def over(self) -> NDArray[np.intp]:
        """Index of each node once the cloth is turned over about its warp."""
        ring, step = np.divmod(np.arange(2 * self.half), self.steps)
        side = (ring + self.rings) % (2 * self.rings)
        return np.asarray(side * self.steps + (-step - 1) % self.steps)

    @property
    def opposite(self) -> NDArray[np.intp]:
        """Index of the node that each node looks straight away from."""
        ring, step = np.divmod(np.arange(2 * self.half), self.steps)
        side = (ring + self.rings) % (2 * self.rings)
        return np.asarray(side * self.steps + (step + self.steps // 2) % self.steps)


@lru_cache(maxsize=8)
def nodes(rings: int = 6, steps: int = 12) -> Nodes:
    """The quadrature with ``rings`` zenith angles and an even number of azimuth ``steps``."""
    x, w = np.polynomial.legendre.leggauss(rings)
    cosine = np.repeat(0.5 * (x + 1.0), steps)
    share = np.repeat(0.5 * (x + 1.0) * w, steps) / steps
    azimuth = np.tile((np.arange(steps) + 0.5) * 2.0 * np.pi / steps, rings)
    up = unit(np.arccos(cosine), azimuth)
    down = up * np.array([1.0, 1.0, -1.0])
    return Nodes(
        rings, steps, np.concatenate([up, down]), np.tile(cosine, 2), np.tile(share, 2)
    )
