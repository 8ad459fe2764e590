"""Directions: unit vectors, and the quadrature of the sphere that diffuse light is carried on.

Knows directions; knows nothing of cloth. A direction points from the cloth to where light comes
from or goes to: zenith angle from the face normal, azimuth from the warp, anticlockwise seen from
the face (y along the warp, z out of the face).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.scene.scene import APERTURE_DEG

Array = NDArray[np.float64]
#: A unit vector that caches can look up.
Vector = tuple[float, float, float]
#: One that is named to a layer: a unit vector and, of light wider than a small lamp, half the angle
#: that it spreads over, degrees; 0 is a parallel beam. Where the plane of the cloth cuts a light
#: whose middle lies beyond it, the mirror image of that in the plane, and 1 behind the angle.
Named = tuple[float, ...]


def unit(zenith: ArrayLike, azimuth: ArrayLike) -> Array:
    """Unit vectors (..., 3) for angles in radians."""
    zenith, azimuth = np.broadcast_arrays(np.asarray(zenith, float), np.asarray(azimuth, float))
    s = np.sin(zenith)
    return np.stack([-s * np.sin(azimuth), s * np.cos(azimuth), np.cos(zenith)], axis=-1)


def half_deg_of(direction: Named) -> float:
    """Half the angle, degrees, that a named direction's light spreads over."""
    return direction[3] if len(direction) > 3 else APERTURE_DEG


def beyond(direction: Named) -> bool:
    """Whether the middle of a named direction's light lies beyond the plane of the cloth, which
    cuts it."""
    return len(direction) > 4 and direction[4] > 0.0


def middle(direction: Named) -> Vector:
    """Where the middle of a named direction's light lies."""
    x, y, z = direction[:3]
    return (x, y, -z) if beyond(direction) else (x, y, z)


def cap(vector: Named, half_angle_deg: float, number: Array) -> tuple[Array, Array, float]:
    """Directions (n, 3) of a cap of ``half_angle_deg`` about ``vector`` for points ``number`` (n,
    2) of the unit square, their weights, mean 1, and the cap's share of even light. What would lie
    on the other side of the cloth is left out."""
    return cap_of(vector, half_angle_deg, disc(half_angle_deg, number))


def disc(half_angle_deg: float, number: Array) -> Array:
    """Directions (3, n) of a cap, as of :func:`cap`: along its middle, and along two others at
    right angles."""
    cosine = 1.0 - number[:, 0] * (1.0 - math.cos(math.radians(half_angle_deg)))
    flat, around = np.sqrt(1.0 - cosine**2), 2.0 * np.pi * number[:, 1]
    return np.stack([cosine, flat * np.cos(around), flat * np.sin(around)])


def cap_of(vector: Named, half_angle_deg: float, own: Array) -> tuple[Array, Array, float]:
    """As :func:`cap` of ``half_angle_deg`` about ``vector``, of directions that are its ``own`` (3,
    n) as :func:`disc` tells them."""
    way, weight, share = caps_of([vector], half_angle_deg, own)
    return way[:, 0].T, weight[0], float(share[0])


def caps_of(
    vectors: Sequence[Named], half_angle_deg: float, own: Array
) -> tuple[Array, Array, Array]:
    """As :func:`cap_of` of ``half_angle_deg`` about each of ``vectors`` (v), of directions that are
    their ``own`` (3, n): directions (3, v, n), weights (v, n) and shares (v,)."""
    x, y, z = np.array([middle(vector) for vector in vectors]).T
    # two more directions at right angles to each and to one another
    low, none = np.abs(z) < 0.9, np.zeros_like(z)
    one = np.where(low, [-y, x, none], [z, none, -x])
    a, b, c = one / np.sqrt((one**2).sum(axis=0))
    two = y * c - z * b, z * a - x * c, x * b - y * a
    cosine, across, along = own
    out = np.empty((3, len(vectors), len(cosine)))
    for row, main, aside, up in zip(out, (x, y, z), (a, b, c), two, strict=True):
        row[:] = cosine * main[:, None] + across * aside[:, None] + along * up[:, None]
    side = np.sign([vector[2] for vector in vectors])[:, None]
    weight = np.maximum(out[2] * side, 0.0)
    out[2] = side * np.maximum(out[2] * side, 5e-3)
    mean = weight.mean(axis=1)
    share = 2.0 * (1.0 - math.cos(math.radians(half_angle_deg))) * mean
    return out, weight / np.maximum(mean, 1e-12)[:, None], share


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

    def about(self, vectors: Array) -> Array:
        """Weights (n, 2D), summing to 1, of the four nodes about each direction (n, 3); within the
        steepest ring, of all its nodes as well."""
        cosine = self.cosine[: self.half : self.steps]
        level = np.interp(np.abs(vectors[:, 2]), cosine, np.arange(self.rings))
        ring = np.minimum(level.astype(np.intp), max(self.rings - 2, 0))
        high = level - ring
        place = np.arctan2(-vectors[:, 0], vectors[:, 1]) / (2.0 * np.pi) * self.steps - 0.5
        step = np.floor(place).astype(np.intp)
        far = place - step
        side = np.where(vectors[:, 2] < 0.0, self.half, 0)
        out = np.zeros((len(vectors), 2 * self.half))
        row = np.arange(len(vectors))
        for up, one in ((0, 1.0 - high), (1, high)):
            for on, other in ((0, 1.0 - far), (1, far)):
                index = side + np.minimum(ring + up, self.rings - 1) * self.steps
                np.add.at(out, (row, index + (step + on) % self.steps), one * other)
        steepest = float(np.sqrt(1.0 - cosine[-1] ** 2))
        round_ = np.clip(1.0 - np.hypot(vectors[:, 0], vectors[:, 1]) / steepest, 0.0, 1.0)
        out *= 1.0 - round_[:, None]
        for on in range(self.steps):
            out[row, side + (self.rings - 1) * self.steps + on] += round_ / self.steps
        return out


def nodes(rings: int = 6, steps: int = 12) -> Nodes:
    """The quadrature with ``rings`` zenith angles and an even number of azimuth ``steps``; the same
    one however it is asked for."""
    return _nodes(rings, steps)


@lru_cache(maxsize=8)
def _nodes(rings: int, steps: int) -> Nodes:
    x, w = np.polynomial.legendre.leggauss(rings)
    cosine = np.repeat(0.5 * (x + 1.0), steps)
    share = np.repeat(0.5 * (x + 1.0) * w, steps) / steps
    azimuth = np.tile((np.arange(steps) + 0.5) * 2.0 * np.pi / steps, rings)
    up = unit(np.arccos(cosine), azimuth)
    down = up * np.array([1.0, 1.0, -1.0])
    return Nodes(
        rings, steps, np.concatenate([up, down]), np.tile(cosine, 2), np.tile(share, 2)
    )
