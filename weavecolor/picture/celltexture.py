"""One layer's unit cell as a picture: where on it the eye's light goes which way.

The rays that the optics followed from the eye (:func:`weavecolor.optics.cell.filaments.beam`) are
kept apart by the place of the repeat that they look at: those that meet nothing, those that are
sent back, those that are let on, seen through rods and coloured by the way they went in them, and
of both those that go towards a light, which draw bright lines along rods. So the mean over the
repeat is what the optics tells. Light is followed from the lamps as well, to where it falls on what
lies behind. All is followed once, without dye; a dye is a factor by the lengths run. Knows cells
and directions; knows nothing of colour, stacks or screens.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.optics.cell import filaments, paths
from weavecolor.optics.cell.filaments import (
    LEVELS,
    RATIO,
    FilamentCell,
    evenly,
    followed,
    prepared,
)
from weavecolor.optics.cell.nodes import Vector, cap
from weavecolor.scene.scene import APERTURE_DEG

Array = NDArray[np.float64]
Map = NDArray[np.float32]

#: Half the width of a light as rods near at hand mirror it, degrees: a window, a shaded lamp.
LIGHT_DEG = 16.0
#: Paths from a light to what lies behind.
_CAST_RAYS = 100_000
_A_TEXEL = 8.0  # rays of the eye that a texel has at least, in the mean
_HEARD = 12.0  # paths that what is seen at a place is the mean of at least
_LEAST = 0.6  # texels: what is blurred less stays as it is


@dataclass(frozen=True, eq=False)
class Leaves:
    """Light that goes one way: by ``texel`` (n,) that it is seen at and ``column`` (n,) of lengths
    as in :func:`weavecolor.optics.cell.filaments.kept`, once each, its ``weight`` (n,); ``blur``:
    standard deviation in texels over which its noise is evened out."""

    texel: NDArray[np.int32]
    column: NDArray[np.int16]
    weight: NDArray[np.float32]
    blur: float

    def painted(self, table: Array, shape: tuple[int, int]) -> Map:
        """Sum of ``table`` (columns, 3) over each texel's paths: (rows, columns, 3)."""
        out = np.empty((shape[0] * shape[1], 3), np.float32)
        for c in range(3):
            out[:, c] = np.bincount(
                self.texel, self.weight * table[self.column, c], shape[0] * shape[1]
            )
        return softened(out.reshape(*shape, 3), self.blur)

    def lengths(self, texels: int) -> Array:
        """Mean over all texels of the weight by column (columns,)."""
        return np.bincount(self.column, self.weight, LEVELS * LEVELS) / texels


def _leaves(texel: NDArray[np.int32], column: NDArray[np.int32], weight: Array) -> Leaves:
    """Paths (n,) that go one way; those alike become one."""
    if not weight.size:
        return Leaves(texel, column.astype(np.int16), weight.astype(np.float32), 0.0)
    heard = weight.sum() ** 2 / (weight**2).sum() / np.unique(texel).size
    both, which = np.unique(texel.astype(np.int64) * LEVELS**2 + column, return_inverse=True)
    texels, columns = np.divmod(both, LEVELS**2)
    return Leaves(
        texels.astype(np.int32),
        columns.astype(np.int16),
        np.bincount(which, weight).astype(np.float32),
        float(np.sqrt(_HEARD / (4.0 * np.pi * heard))),
    )


@dataclass(frozen=True, eq=False)
class CellTexture:
    """One repeat (rows along the warp, columns across it), ``size`` (x, y) in mm, from half a yarn
    spacing before the first crossing; ``crossings`` (x, y) in it.

    ``open`` (rows, columns): share of a texel through which nothing is met. What met something goes
    ``back`` to where the eye is or ``on``, and of both that which goes into each of the lights
    (``lights``). ``cast``: from each light that it is wanted of to what lies behind, by texel where
    it falls, mean over texels 1 without dye and with nothing kept back.
    """

    size: tuple[float, float]
    crossings: tuple[int, int]
    open: Map
    back: Leaves
    on: Leaves
    lights: tuple[Leaves, ...]
    cast: tuple[Leaves, ...]


def _window(cosine: Array) -> Array:
    """How much of a light lies in a direction, 0-1, by the cosine of the angle from its middle:
    all over a disc of :data:`LIGHT_DEG` with a soft edge."""
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return np.asarray(np.clip((1.25 * LIGHT_DEG - angle) / (0.5 * LIGHT_DEG), 0.0, 1.0))


def _texels(
    cell: FilamentCell, place: Array, shape: tuple[int, int], size: tuple[float, float]
) -> NDArray[np.int32]:
    """The texels that places (n, 2) in mm lie in."""
    across = np.floor((place[:, 0] + 0.5 * cell.warp_spacing) / size[0] * shape[1]) % shape[1]
    down = np.floor((place[:, 1] + 0.5 * cell.weft_spacing) / size[1] * shape[0]) % shape[0]
    return np.asarray(down * shape[1] + across, np.int32)


def cell_texture(
    cell: FilamentCell,
    view: Vector,
    lights: tuple[Vector, ...],
    casting: tuple[Vector, ...],
    fineness: int,
    gap: float,
) -> CellTexture:
    """The eye's light of one repeat of ``cell``.

    Parameters
    ----------
    cell : FilamentCell
    view : (x, y, z)
        Unit vector towards the eye, in the cloth's frame.
    lights, casting : tuples of (x, y, z)
        The same towards lights, and towards those before the cloth whose light is followed to what
        lies behind.
    fineness : int
        Texels each way over one crossing at most; fewer where there are not rays enough.
    gap : float
        Mm from the cloth to what lies behind.

    Kept, also for the next run.
    """
    asked = cell, view, lights, casting, fineness, gap
    return _made.one(asked, lambda: _texture(asked))


def _packed(made: CellTexture) -> dict[str, Any]:
    every = (made.back, made.on, *made.lights, *made.cast)
    return {
        "open": made.open,
        "size": np.array(made.size),
        "crossings": np.array(made.crossings),
        "blur": np.array([one.blur for one in every]),
        "ends": np.cumsum([one.texel.size for one in every]),
        "lights": np.array(len(made.lights)),
        **{name: np.concatenate([getattr(one, name) for one in every]) for name in _NAMES},
    }


def _unpacked(arrays: Mapping[str, NDArray[Any]]) -> CellTexture:
    parts = (np.split(arrays[name], arrays["ends"][:-1]) for name in _NAMES)
    blurs = arrays["blur"].tolist()
    back, on, *rest = (Leaves(*one) for one in zip(*parts, blurs, strict=True))
    count = int(arrays["lights"])
    x, y = arrays["size"].tolist()
    ends, picks = arrays["crossings"].tolist()
    lights, cast = tuple(rest[:count]), tuple(rest[count:])
    return CellTexture((x, y), (ends, picks), arrays["open"], back, on, lights, cast)


_NAMES = "texel", "column", "weight"
_Asked = tuple[FilamentCell, Vector, tuple[Vector, ...], tuple[Vector, ...], int, float]
_made: Kept[_Asked, CellTexture] = Kept(
    12,
    packed=Packed(
        "texture",
        lambda key: (*key, filaments.EFFORT),
        _packed,
        lambda _, arrays: _unpacked(arrays),
    ),
)


def _texture(asked: _Asked) -> CellTexture:
    cell, view, lights, casting, fineness, gap = asked
    picks, ends = np.shape(cell.lift)
    size = (ends * cell.warp_spacing, picks * cell.weft_spacing)
    count = filaments.pair_rays(cell)
    fineness = max(min(fineness, int(np.sqrt(count / _A_TEXEL / (picks * ends)))), 2)
    shape = (picks * fineness, ends * fineness)
    rays = filaments.beam(cell, view, count, APERTURE_DEG)
    place, weight, signs = filaments.placed(cell, view, count, APERTURE_DEG)
    texel = _texels(cell, place, shape, size)
    texels = shape[0] * shape[1]
    seen = np.maximum(np.bincount(texel, weight, texels), 1e-9)
    free = np.bincount(texel[rays.clear], weight[rays.clear], texels) / seen
    own = texel[rays.start]
    light = rays.weight * count / seen[own]
    toward = rays.toward * np.array(signs)

    def going(part: Array) -> Leaves:
        some = part > 0.0
        return _leaves(own[some], rays.column[some], light[some] * part[some])

    back = toward[:, 2] * view[2] > 0.0
    return CellTexture(
        size,
        (ends, picks),
        free.reshape(shape).astype(np.float32),
        going(back),
        going(~back),
        tuple(going(_window(toward @ np.array(way))) for way in lights),
        tuple(_cast(cell, way, shape, size, gap) for way in casting),
    )


def _cast(
    cell: FilamentCell, light: Vector, shape: tuple[int, int], size: tuple[float, float], gap: float
) -> Leaves:
    """Light from one lamp where it falls behind the cloth."""
    ready = prepared(cell)
    number = evenly(int(filaments.EFFORT * _CAST_RAYS), 4)
    way, bright, _ = cap(light, LIGHT_DEG, number[:, 2:])
    found: list[tuple[Array, NDArray[np.int32]]] = []

    def use(leaves: Array) -> None:
        own = leaves[leaves[:, 3] * light[2] < 0.0]
        found.append((own, paths.levels_of(own, ready.scale, RATIO, LEVELS)))

    followed(ready, np.column_stack([number[:, :2] * size, -way]), 5, use)
    leaves = np.concatenate([a for a, _ in found])
    on = gap / np.maximum(np.abs(leaves[:, 3]), 0.1)
    texel = _texels(cell, leaves[:, 8:10] + on[:, None] * leaves[:, 1:3], shape, size)
    weight = leaves[:, 4] * bright[leaves[:, 0].astype(np.intp)]
    weight *= shape[0] * shape[1] / len(number)
    return _leaves(texel, np.concatenate([c for _, c in found]), weight)


def softened(picture: Map, texels: float) -> Map:
    """A periodic map blurred by a standard deviation in texels, its mean kept."""
    if texels < _LEAST:
        return picture
    from scipy.ndimage import gaussian_filter  # slow to load

    return np.asarray(gaussian_filter(picture, (texels, texels, 0.0), mode="wrap"), np.float32)
