"""Sample points on the yarn surfaces of one unit cell, gathered into patches.

Knows where to sample; knows nothing of light or colour. Points form a rank-1 (Fibonacci) lattice
over each yarn piece, which integrates as well in both directions and lines up with no edge
(S. K. Zaremba, Ann. Mat. Pura Appl. 73 (1966) 293).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.optics.cell.tubes import WARP, Tubes

_FIBONACCI = (89, 144, 233, 377, 610, 987, 1597, 2584, 4181, 6765, 10946,
              17711, 28657, 46368)  # fmt: skip


def lattice(count: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """At least ``count`` points of the unit square (89 to 46368), as two arrays."""
    n = next((f for f in _FIBONACCI if f >= count), _FIBONACCI[-1])
    step = {f: g for g, f in zip((55, *_FIBONACCI), _FIBONACCI, strict=False)}[n]
    k = np.arange(n)
    return (k + 0.5) / n, (k * step + 0.5) / n % 1.0


@dataclass(frozen=True, eq=False)
class Patches:
    """How the yarn pieces of each sort of crossing are cut: ``along`` x ``around`` each."""

    along: int
    around: int
    crossings: int

    @property
    def count(self) -> int:
        return self.crossings * 2 * self.along * self.around

    def index(
        self, sort: ArrayLike, system: ArrayLike, along: NDArray[Any], around: NDArray[Any]
    ) -> NDArray[Any]:
        """Patch number; ``along`` and ``around`` are fractions 0-1 of the piece and its girth."""
        a = np.clip((along * self.along).astype(np.int32), 0, self.along - 1)
        b = (around * self.around).astype(np.int32) % self.around
        piece = np.asarray(sort) * 2 + np.asarray(system)
        return self._number(piece, a, b)

    def turned(self, partner: NDArray[Any]) -> NDArray[np.intp]:
        """Patch that each patch goes to in half a turn of the cloth; ``partner`` of its crossing.
        """
        piece, rest = np.divmod(np.arange(self.count), self.along * self.around)
        a, b = np.divmod(rest, self.around)
        piece = 2 * partner[piece // 2] + piece % 2
        return self._number(piece, self.along - 1 - a, (self.around // 2 - 1 - b) % self.around)

    def _number(
        self, piece: NDArray[Any], along: NDArray[Any], around: NDArray[Any]
    ) -> NDArray[Any]:
        return np.asarray((piece * self.along + along) * self.around + around)

    @property
    def system(self) -> NDArray[np.intp]:
        """0 warp or 1 weft for each patch."""
        return np.arange(self.count) // (self.along * self.around) % 2


def patches(geometry: Tubes) -> Patches:
    """A cut fine enough for interreflection and coarse enough to solve at every band."""
    n = int(geometry.sort.max()) + 1
    along, around = (5, 8) if n <= 2 else (3, 8) if n <= 4 else (2, 8) if n <= 8 else (1, 6)
    return Patches(along, around, n)


@dataclass(frozen=True, eq=False)
class Samples:
    """Surface samples: ``point``, ``normal``, ``tangent`` (3, n); ``share`` (n,) surface area
    over cloth area; ``patch`` (n,) and ``system`` (n,). Where ``paired``, the second half are the
    first, in order, after half a turn of the cloth."""

    point: NDArray[Any]
    normal: NDArray[Any]
    tangent: NDArray[Any]
    share: NDArray[Any]
    patch: NDArray[Any]
    system: NDArray[Any]
    paired: bool = False


def samples(geometry: Tubes, cut: Patches, count: int) -> Samples:
    """About ``count`` samples on the yarn pieces of the distinct crossings, half of them the
    others turned where the weave allows it."""
    paired = geometry.partner is not None
    number, s, ring = spots(geometry, count // 4 if paired else count // 2)
    psi = 2.0 * np.pi * ring
    pick, end = geometry.distinct[number].T
    vectors: list[tuple[NDArray[Any], NDArray[Any], NDArray[Any]]] = []
    numbers: list[tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any]]] = []
    for system, yarns in enumerate(geometry.systems):
        yarn, crossing = (end, pick) if system == WARP else (pick, end)
        u = (crossing + s - 0.5) * yarns.pitch
        height, slope, curl = yarns.height(yarn, u)
        cosine = 1.0 / np.sqrt(1.0 + slope * slope)
        sine = slope * cosine
        turn = curl * cosine * cosine  # d(slope angle)/du
        a, b = yarns.half_width, yarns.half_height
        across, up = a * np.cos(psi), b * np.sin(psi)
        stretch = np.maximum(1.0 / cosine - up * turn, 0.0)
        area = stretch * np.hypot(a * np.sin(psi), b * np.cos(psi))
        area *= yarns.pitch * 2.0 * np.pi * (len(geometry.distinct) / s.size)
        n_across, n_up = np.cos(psi) / a, np.sin(psi) / b
        length = np.hypot(n_across, n_up)
        n_across, n_up = n_across / length, n_up / length
        zero = np.zeros_like(u)
        # yarn frame: along, across, z
        place = (u - up * sine, yarn * yarns.spacing + across, height + up * cosine)
        normal = (-n_up * sine, n_across, n_up * cosine)
        tangent = (cosine, zero, sine)
        order = (1, 0, 2) if system == WARP else (0, 1, 2)
        vectors.append(
            (
                np.stack([place[k] for k in order]),
                np.stack([normal[k] for k in order]),
                np.stack([tangent[k] for k in order]),
            )
        )
        numbers.append(
            (
                area / geometry.area,
                cut.index(geometry.sort[number], system, s, ring),
                np.full(s.size, system),
                number,
            )
        )
    points, normals, tangents = (np.concatenate(c, axis=1) for c in zip(*vectors, strict=True))
    share, patch, kind, crossing = (np.concatenate(c) for c in zip(*numbers, strict=True))
    # close cloth: where round yarns would run into each other there is no surface
    x, y, z = points
    warp, weft = geometry.systems
    depth = np.where(kind == WARP, weft.gauge(x, y, z)[0], warp.gauge(y, x, z)[0])
    bare = depth > -1e-3 * geometry.pitch
    found = Samples(
        points[:, bare], normals[:, bare], tangents[:, bare], share[bare], patch[bare], kind[bare]
    )
    return _with_turned(geometry, cut, found, crossing[bare]) if paired else found


def spots(geometry: Tubes, count: int) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """About ``count`` places spread over the distinct crossings: the crossing's number, and two
    fractions 0-1 of what lies there."""
    n = len(geometry.distinct)
    if geometry.many:  # one lattice for them all, each point at a crossing drawn evenly
        one, other = lattice(count)
        number = (np.arange(one.size) * np.sqrt(2.0) % 1.0 * n).astype(np.intp)
        return number, one, other
    one, other = lattice(count // n)
    return np.repeat(np.arange(n), one.size), np.tile(one, n), np.tile(other, n)


def _with_turned(geometry: Tubes, cut: Patches, half: Samples, crossing: NDArray[Any]) -> Samples:
    assert geometry.partner is not None
    centre = (geometry.distinct[:, ::-1] * geometry.spacing).T  # x, y of each distinct crossing
    turn = np.array([[-1.0], [-1.0], [1.0]])
    point = half.point * turn
    point[:2] += centre[:, crossing] + centre[:, geometry.partner[crossing]]
    return Samples(
        np.concatenate([half.point, point], axis=1),
        np.concatenate([half.normal, half.normal * turn], axis=1),
        # still pointing the way the yarn is counted
        np.concatenate([half.tangent, -half.tangent * turn], axis=1),
        np.tile(0.5 * half.share, 2),
        np.concatenate([half.patch, cut.turned(geometry.partner)[half.patch]]),
        np.tile(half.system, 2),
        True,
    )
