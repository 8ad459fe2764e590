"""How much of a beam passes between the yarns of a cell, unscattered, by their outlines.

Knows geometry and directions; knows nothing of light's colour or of what yarns are made of.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell.silhouette import silhouette
from weavecolor.optics.cell.tubes import Tubes

Array = NDArray[np.float64]

# pencils of light through the cell for a named direction; more where less than this passes
_PENCILS, _MORE_PENCILS, _LITTLE = 10946, 46368, 0.1
QUICK_PENCILS = 2584  # for pictures
_WIDEST = 0.05  # pencils are no wider than if they stood so close, over the yarn spacing
_FOOTPRINT = 0.35  # pencil width over pencil spacing: finer edges, no bias in narrow gaps
_FIBONACCI = (89, 144, 233, 377, 610, 987, 1597, 2584, 4181, 6765, 10946,
              17711, 28657, 46368)  # fmt: skip


def _lattice(count: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """At least ``count`` points of the unit square (89 to 46368): a rank-1 (Fibonacci)
    lattice, which lines up with no edge (S. K. Zaremba, Ann. Mat. Pura Appl. 73 (1966) 293)."""
    n = next((f for f in _FIBONACCI if f >= count), _FIBONACCI[-1])
    step = {f: g for g, f in zip((55, *_FIBONACCI), _FIBONACCI, strict=False)}[n]
    k = np.arange(n)
    return (k + 0.5) / n, (k * step + 0.5) / n % 1.0


@lru_cache(maxsize=8)
def pencils(geometry: Tubes, count: int) -> NDArray[Any]:
    """Points (3, n) spread evenly over the distinct crossings at mid-plane height."""
    n = len(geometry.distinct)
    u, v = _lattice(count)
    if geometry.many:  # one lattice for them all, each point at a crossing drawn evenly
        column = (np.arange(u.size) * np.sqrt(2.0) % 1.0 * n).astype(np.intp)
    else:  # one lattice over all of them side by side
        column = np.minimum((u * n).astype(np.intp), n - 1)
        u = u * n - column
    x = geometry.distinct[column, 1] + u - 0.5
    y = geometry.distinct[column, 0] + v - 0.5
    return np.stack([x * geometry.spacing[0], y * geometry.spacing[1], np.zeros_like(x)])


def openness(geometry: Tubes, vectors: Array) -> Array:
    """Shares (...) of beams along ``vectors`` (..., 3) that pass between the yarns unscattered.

    Where little passes, it is counted again with more pencils of light, so that it is known to
    about 1 % all the same.
    """
    each = np.reshape(vectors, (-1, 3))
    share = counted(geometry, each, _PENCILS)
    little = (0.0 < share) & (share < _LITTLE)
    if little.any():
        share[little] = counted(geometry, each[little], _MORE_PENCILS)
    return share.reshape(np.shape(vectors)[:-1])[()]  # a plain number for one vector


def counted(geometry: Tubes, vectors: Array, count: int) -> Array:
    """As :func:`openness` of ``geometry`` along ``vectors`` (n, 3), by ``count`` pencils: shares
    (n,)."""
    foot = pencils(geometry, count)
    apart = min(np.sqrt(geometry.area / foot.shape[1]), _WIDEST * geometry.pitch)
    width = _FOOTPRINT * apart * np.sqrt(np.abs(vectors[:, 2]))
    return np.array([
        silhouette(geometry, tuple(v)).open_share(foot, w).mean(dtype=float)
        for v, w in zip(vectors.tolist(), width.tolist(), strict=True)
    ])  # fmt: skip
