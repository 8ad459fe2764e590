"""What the first surfaces of clear filaments send back, between all directions at once.

For pictures of cloth at every slope: one even flood of light from all sides is followed to the
first surface that it meets, told out by where it came from and went, and made as alike as the cell
is; the aperture of light and eye then smooths the noise. No dye colours it. Knows cells and
directions; knows nothing of cloths, stacks or scenes.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from weavecolor.optics.cell import paths
from weavecolor.optics.cell.filaments import (
    APERTURE_DEG,
    FilamentCell,
    _followed,
    _into,
    _prepared,
    _spread,
    ring_edges,
    symmetries,
)
from weavecolor.optics.cell.nodes import nodes, unit

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

#: The regular angles: zenith every 6 degrees from 0 to 90, azimuth every 7.5 from the warp.
ZENITHS, AZIMUTHS = 16, 48
#: What is told out: finer than the aperture.
_RINGS, _STEPS = 30, 72
_RAYS = 400_000


def regular() -> Array:
    """Unit vectors (ZENITHS * AZIMUTHS, 3) of the regular angles, all above the cloth."""
    zenith = np.radians(np.linspace(0.0, 90.0, ZENITHS))
    azimuth = 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS
    return unit(zenith[:, None], azimuth[None]).reshape(-1, 3)


@lru_cache(maxsize=1)
def _aperture() -> sparse.csr_array:
    """Weights (regular angles, bins) of bins about each regular angle, as wide as the aperture."""
    grid = nodes(_RINGS, _STEPS)
    apart = np.degrees(np.arccos(np.clip(regular() @ grid.vector[: grid.half].T, -1.0, 1.0)))
    # a disc's variance along an axis is a quarter of its radius squared; a bin has its own
    spread = 0.25 * APERTURE_DEG**2 - (90.0 / _RINGS) ** 2 / 12.0
    weight = np.exp(-0.5 * apart**2 / spread)
    weight[apart > 3.2 * np.sqrt(spread)] = 0.0
    return sparse.csr_array(weight)


@lru_cache(maxsize=8)
def glint_tables(cell: FilamentCell, rays: int = _RAYS) -> tuple[Floats, Floats, Floats]:
    """Radiance factors after one surface alone between the regular angles of a cell.

    Returns three tables (M, M): between two directions above the cell; between two below it; and
    from one above (rows) to one below (columns). A direction below is named by its own azimuth and
    by its zenith angle from straight down.
    """
    bins = nodes(_RINGS, _STEPS)
    size = ZENITHS * AZIMUTHS
    if cell.warp.opaque or cell.weft.opaque:
        none = np.zeros((size, size), np.float32)
        return none, none, none
    ready = _prepared(cell)
    number = _spread(rays, 4)
    up = np.where(np.arange(rays) % 2 == 0, 1.0, -1.0)
    square = np.maximum(number[:, 2], 1e-6)
    around, flat = 2.0 * np.pi * number[:, 3], np.sqrt(1.0 - square)
    toward = np.column_stack([-flat * np.sin(around), flat * np.cos(around), up * np.sqrt(square)])
    starts = np.column_stack([_into(ready, number[:, :2]), -toward])
    edges = ring_edges(bins)
    came = paths.nodes_of(toward, edges, _STEPS)
    from_: list[NDArray[np.integer]] = []
    to: list[NDArray[np.integer]] = []
    much: list[Array] = []

    def use(leaves: Array) -> None:
        met = leaves[leaves[:, 7] > 0.0]
        from_.append(came[met[:, 0].astype(np.intp)])
        to.append(paths.nodes_of(np.ascontiguousarray(met[:, 1:4]), edges, _STEPS))
        much.append(met[:, 4])

    _followed(ready, starts, 3, use, what=paths.FIRST)
    a, b, w = np.concatenate(from_), np.concatenate(to), np.concatenate(much)
    ways = symmetries(cell, bins)
    one = np.concatenate([way[a] for way in ways] + [way[b] for way in ways])
    two = np.concatenate([way[b] for way in ways] + [way[a] for way in ways])
    each = np.tile(w / (0.5 * rays * 2 * len(ways)), 2 * len(ways))
    half = bins.half
    smooth = _aperture()
    lit = smooth @ bins.share[:half]

    def told(from_above: bool, to_above: bool) -> Floats:
        own = ((one < half) == from_above) & ((two < half) == to_above)
        flow = sparse.csr_array((each[own], (one[own] % half, two[own] % half)), (half, half))
        wide = (smooth @ flow).toarray() @ smooth.T
        return np.asarray(wide / np.outer(lit, lit), np.float32)

    return told(True, True), told(False, False), told(True, False)
