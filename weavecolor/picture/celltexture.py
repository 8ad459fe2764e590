"""One layer's unit cell as a picture: what of its paths of light the eye meets, place by place.

From each place of the repeat the eye's ray is followed through the filaments (the tracer of the
optics, :mod:`weavecolor.optics.cell.paths`) to wherever it leaves them: to the lights, which draw
bright lines along rods; to the rest of the room; or to what lies behind, seen through rods and
coloured by the way it went in them. Light is followed from the lamps as well, to where it falls on
what lies behind. Both are followed once, without dye; a dye is a factor by the lengths run. Knows
cells and directions; knows nothing of colour, stacks or screens.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell import filaments, paths
from weavecolor.optics.cell.filaments import (
    LEVELS,
    RATIO,
    FilamentCell,
    evenly,
    followed,
    prepared,
)
from weavecolor.optics.cell.nodes import Vector

Array = NDArray[np.float64]
Map = NDArray[np.float32]

#: Half the width of a light as rods near at hand mirror it, degrees: a window, a shaded lamp.
LIGHT_DEG = 16.0
#: Paths from a light to what lies behind.
_CAST_RAYS = 100_000
_BOTH_WAYS = 0.05  # of the light of a ray


@dataclass(frozen=True, eq=False)
class Leaves:
    """Paths that end in one kind of light: ``texel`` (n,) they began at, ``column`` (n,) lengths as
    in :func:`weavecolor.optics.cell.filaments.kept`, ``weight`` (n,)."""

    texel: NDArray[np.int32]
    column: NDArray[np.int32]
    weight: NDArray[np.float32]

    def painted(self, table: Array, shape: tuple[int, int]) -> Map:
        """Sum of ``table`` (columns, 3) over each texel's paths: (rows, columns, 3)."""
        out = np.empty((shape[0] * shape[1], 3), np.float32)
        for c in range(3):
            out[:, c] = np.bincount(
                self.texel, self.weight * table[self.column, c], shape[0] * shape[1]
            )
        return out.reshape(*shape, 3)

    def lengths(self, texels: int) -> Array:
        """Mean over all texels of the weight by column (columns,)."""
        return np.bincount(self.column, self.weight, LEVELS * LEVELS) / texels


@dataclass(frozen=True, eq=False)
class CellTexture:
    """One repeat (rows along the warp, columns across it), ``size`` (x, y) in mm, from half a yarn
    spacing before the first crossing; ``crossings`` (x, y) in it.

    ``open`` (rows, columns): share of a texel through which nothing is met. The paths that met
    something end: ``lights`` in each of the lights before the cloth, weighted so that its
    irradiance square to it times that is radiance times pi; ``room`` elsewhere before the cloth;
    ``behind`` behind it. ``cast``: from each of those lights to what lies behind, by texel where it
    falls, mean over texels 1 without dye and with nothing kept back.
    """

    size: tuple[float, float]
    crossings: tuple[int, int]
    open: Map
    lights: tuple[Leaves, ...]
    room: Leaves
    behind: Leaves
    cast: tuple[Leaves, ...]


def _window(cosine: Array) -> Array:
    """Share of a light's irradiance by solid angle, by the cosine of the angle from its middle:
    even over a disc of :data:`LIGHT_DEG` with a soft edge."""
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    soft = np.clip((1.25 * LIGHT_DEG - angle) / (0.5 * LIGHT_DEG), 0.0, 1.0)
    whole = 2.0 * np.pi * (1.0 - np.cos(np.radians(LIGHT_DEG)))
    return np.asarray(soft / whole)


def _placed(cell: FilamentCell, fineness: int) -> tuple[Array, tuple[int, int]]:
    """Places (n, 2) in mm of the texels' middles, and rows and columns."""
    picks, ends = np.shape(cell.lift)
    columns, rows = ends * fineness, picks * fineness
    x = ((np.arange(columns) + 0.5) / fineness - 0.5) * cell.warp_spacing
    y = ((np.arange(rows) + 0.5) / fineness - 0.5) * cell.weft_spacing
    down, across = np.meshgrid(y, x, indexing="ij")
    return np.stack([across.ravel(), down.ravel()], axis=1), (rows, columns)


@lru_cache(maxsize=12)
def cell_texture(
    cell: FilamentCell,
    view: Vector,
    lights: tuple[Vector, ...],
    fineness: int,
    gap: float,
    each: int = 1,
) -> CellTexture:
    """Follow the light of one repeat of ``cell``.

    ``view`` and ``lights``: unit vectors in the cloth's frame, on the same side of the cloth;
    ``fineness``: texels each way over one crossing; ``gap``: mm from the cloth to what lies behind;
    ``each``: eye's rays in a texel, spread over it.
    """
    picks, ends = np.shape(cell.lift)
    # a pixel has few rays: both ways at a surface are followed, however many filaments there are
    ready = prepared(cell)
    ready = replace(ready, least=min(ready.least, _BOTH_WAYS))
    place, shape = _placed(cell, fineness)
    size = (ends * cell.warp_spacing, picks * cell.weft_spacing)
    v = np.array(view)
    within = evenly(each, 2) - 0.5 if each > 1 else np.zeros((1, 2))
    step = np.array([cell.warp_spacing, cell.weft_spacing]) / fineness
    start = (place[:, None] + within * step).reshape(-1, 2) + v[:2] * (ready.top / abs(v[2]))
    toward = np.broadcast_to(-v, (len(start), 3))
    free = np.zeros(len(place))
    parts: list[tuple[Array, NDArray[np.int32]]] = []

    def use(leaves: Array) -> None:
        passed = leaves[:, 7] == 0.0
        np.add.at(free, leaves[passed, 0].astype(np.intp) // each, 1.0 / each)
        leaves = leaves[~passed]
        parts.append((leaves, paths.levels_of(leaves, ready.scale, RATIO, LEVELS)))

    _run(ready, start, toward, use)
    leaves = np.concatenate([p for p, _ in parts])
    column = np.concatenate([c for _, c in parts])
    texel = (leaves[:, 0] // each).astype(np.int32)
    weight = (leaves[:, 4] / each).astype(np.float32)
    before = leaves[:, 3] * v[2] > 0.0

    def kept(own: NDArray[Any], factor: Array | None = None) -> Leaves:
        w = weight[own] if factor is None else (weight[own] * factor).astype(np.float32)
        return Leaves(texel[own], column[own], w)

    lit = []
    for light in lights:
        share = _window(leaves[:, 1:4] @ np.array(light))
        own = before & (share > 0.0)
        lit.append(kept(own, np.pi * share[own]))
    cast = tuple(_cast(cell, light, shape, size, gap) for light in lights)
    return CellTexture(
        size, (ends, picks), free.reshape(shape).astype(np.float32), tuple(lit), kept(before),
        kept(~before), cast,
    )  # fmt: skip


def _run(ready: Any, start: Array, toward: Array, use: Callable[[Array], None]) -> None:
    followed(ready, np.ascontiguousarray(np.column_stack([start, toward])), 5, use)


def _cast(
    cell: FilamentCell, light: Vector, shape: tuple[int, int], size: tuple[float, float], gap: float
) -> Leaves:
    """Light from one lamp where it falls behind the cloth."""
    ready = prepared(cell)
    number = evenly(int(filaments.EFFORT * _CAST_RAYS), 4)
    axis = np.array(light)
    helper = np.array([1.0, 0.0, 0.0]) if abs(axis[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    one = np.cross(helper, axis)
    one /= np.linalg.norm(one)
    two = np.cross(axis, one)
    cosine = 1.0 - number[:, 2] * (1.0 - np.cos(np.radians(LIGHT_DEG)))
    flat, around = np.sqrt(1.0 - cosine**2), 2.0 * np.pi * number[:, 3]
    way = (cosine[:, None] * axis + (flat * np.cos(around))[:, None] * one
           + (flat * np.sin(around))[:, None] * two)  # fmt: skip
    way[:, 2] = np.sign(axis[2]) * np.maximum(way[:, 2] * np.sign(axis[2]), 0.05)
    found: list[tuple[Array, NDArray[np.int32]]] = []

    def use(leaves: Array) -> None:
        own = leaves[leaves[:, 3] * axis[2] < 0.0]
        found.append((own, paths.levels_of(own, ready.scale, RATIO, LEVELS)))

    _run(ready, number[:, :2] * size, -way, use)
    leaves = np.concatenate([a for a, _ in found])
    on = gap / np.maximum(np.abs(leaves[:, 3]), 0.1)
    x, y = (leaves[:, 8 + k] + on * leaves[:, 1 + k] for k in (0, 1))
    rows, columns = shape
    column = np.floor((x + 0.5 * cell.warp_spacing) / size[0] * columns) % columns
    row = np.floor((y + 0.5 * cell.weft_spacing) / size[1] * rows) % rows
    weight = leaves[:, 4] * (rows * columns / len(number))
    texel = (row * columns + column).astype(np.int32)
    return Leaves(texel, np.concatenate([c for _, c in found]), weight.astype(np.float32))


def softened(picture: Map, texels: float) -> Map:
    """A periodic map blurred by a standard deviation in texels."""
    from scipy.ndimage import gaussian_filter  # slow to load

    return np.asarray(gaussian_filter(picture, (texels, texels, 0.0), mode="wrap"), np.float32)
