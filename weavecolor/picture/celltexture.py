"""One layer's unit cell as a picture: which yarn is in sight, how it is lit, and what is open.

Knows the cell's geometry and directions; knows nothing of colour, stacks or screens. The maps are
what the eye meets at each point of the repeat, from the same yarns as the optics.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell.nodes import Vector, nodes
from weavecolor.optics.cell.rays import Hits, first_hits
from weavecolor.optics.cell.sheen import mat_factor
from weavecolor.optics.cell.silhouette import silhouette
from weavecolor.optics.cell.tubes import WARP, Tubes, tubes
from weavecolor.textile.cloth import Construction

Map = NDArray[np.float32]

#: ``CellTexture.system`` where nothing is met.
THROUGH = -1


@dataclass(frozen=True, eq=False)
class CellTexture:
    """Maps (rows along the warp, columns across it) of one repeat, ``size`` (x, y) in mm, from
    half a yarn spacing before the first crossing.

    ``system`` (int8) 0 warp, 1 weft or ``THROUGH``; ``under`` 0-1 how thick the other yarn lies
    under the one in sight; ``facing`` (lights, ...) how squarely yarn faces each light, shadowed,
    1 for a level surface; ``sky`` the same for even light from all sides; ``sheen`` (lights, ...)
    surface reflection as a radiance factor; ``fibre`` fine streaks, about 1.
    """

    size: tuple[float, float]
    system: NDArray[np.int8]
    under: Map
    facing: Map
    sky: Map
    sheen: Map
    fibre: Map


def _surface(geometry: Tubes, hits: Hits, which: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Normals and tangents (3, n) at the chosen hits."""
    normal, tangent = (np.zeros((3, which.size)) for _ in range(2))
    for system, yarns in enumerate(geometry.systems):
        chosen = np.flatnonzero(hits.system[which] == system)
        at = which[chosen]
        _, slope, _ = yarns.height(hits.yarn[at], hits.u[at].astype(np.float32))
        cosine = 1.0 / np.sqrt(1.0 + slope * slope)
        sine = slope * cosine
        across = hits.across[at] / yarns.half_width**2
        up = hits.up[at] / yarns.half_height**2
        length = np.maximum(np.hypot(across, up), 1e-12)
        across, up = across / length, up / length
        order = (1, 0, 2) if system == WARP else (0, 1, 2)
        n = (-up * sine, across, up * cosine)
        t = (cosine, np.zeros_like(cosine), sine)
        for axis, k in enumerate(order):
            normal[axis, chosen] = n[k]
            tangent[axis, chosen] = t[k]
    return normal, tangent


def _streaks(
    geometry: Tubes, hits: Hits, which: NDArray[Any], spun: tuple[bool, bool]
) -> NDArray[Any]:
    """Fibres in the yarn: fine along filament yarn, slanting and coarser round spun yarn."""
    out = np.ones(which.size)
    for system, yarns in enumerate(geometry.systems):
        chosen = np.flatnonzero(hits.system[which] == system)
        at = which[chosen]
        round_ = np.arctan2(hits.up[at] / yarns.half_height, hits.across[at] / yarns.half_width)
        along = 2.0 * np.pi * hits.u[at] / yarns.pitch  # whole turns from crossing to crossing
        wave = np.zeros(chosen.size)
        if spun[system]:
            slant = max(1, round(0.15 * yarns.pitch / yarns.half_width))
            for count, weight in ((5, 0.5), (9, 0.35), (14, 0.3)):
                turns = slant * round(count / 5)
                wave += weight * np.sin(count * round_ + turns * along + 1.9 * count + system)
            wave *= 0.13
        else:
            for count, weight in ((11, 0.5), (17, 0.4), (27, 0.3)):
                wave += weight * np.sin(count * round_ + 1.9 * count + system)
            wave *= 0.06
        out[chosen] += wave
    return out


@dataclass(frozen=True, eq=False)
class _Sight:
    """What the eye meets over the distinct crossings, whatever the light: flat over samples.

    ``which``: the samples that meet yarn, with their ``normal``, ``tangent`` and ``start`` of rays
    (3, n); the maps are as in :class:`CellTexture`.
    """

    system: NDArray[np.int8]
    which: NDArray[np.intp]
    normal: NDArray[Any]
    tangent: NDArray[Any]
    start: NDArray[Any]
    under: Map
    sky: Map
    fibre: Map


@lru_cache(maxsize=12)
def _sight(
    construction: Construction, view: Vector, spun: tuple[bool, bool], fineness: int
) -> _Sight:
    """The part of a texture that stays while the lights move, or the cloth turns under the eye."""
    geometry = tubes(construction)
    step = (np.arange(fineness) + 0.5) / fineness - 0.5
    down, across = np.meshgrid(step, step, indexing="ij")
    pick, end = geometry.distinct.T[:, :, None, None]
    x = ((end + across) * geometry.spacing[0]).ravel()
    y = ((pick + down) * geometry.spacing[1]).ravel()
    v = np.array(view)
    lift = 1.05 * (geometry.top + 0.05 * geometry.pitch) / abs(v[2])
    origin = np.stack([x, y, np.zeros_like(x)]) + lift * v[:, None]
    hits = first_hits(geometry, origin, -v[:, None])
    which = np.flatnonzero(hits.system >= 0)
    normal, tangent = _surface(geometry, hits, which)

    place = _points(geometry, hits, which)
    start = place + 2e-3 * geometry.pitch * normal

    system = hits.system[which]
    under = np.zeros(x.size, np.float32)
    for other, where in enumerate((place[0], place[1])):
        yarns = geometry.systems[other]
        beside = where - np.rint(where / yarns.spacing) * yarns.spacing
        thick = np.sqrt(np.maximum(1.0 - (beside / yarns.half_width) ** 2, 0.0))
        under[which] = np.where(system == other, under[which], thick)

    sky = np.zeros(x.size, np.float32)
    grid = nodes(2, 8)
    half = slice(0, grid.half) if v[2] > 0 else slice(grid.half, 2 * grid.half)
    total = np.zeros(which.size)
    for to, cosine, share in zip(
        grid.vector[half], grid.cosine[half], grid.share[half], strict=True
    ):
        seen = np.maximum(to @ normal, 0.0)
        up = np.flatnonzero(seen > 0)
        seen[up[silhouette(geometry, tuple(to.tolist())).blocked(start[:, up], system[up])]] = 0.0
        total += share / cosine * seen
    sky[which] = total
    fibre = np.ones(x.size, np.float32)
    fibre[which] = _streaks(geometry, hits, which, spun)
    return _Sight(hits.system, which, normal, tangent, start, under, sky, fibre)


@lru_cache(maxsize=32)
def cell_texture(
    construction: Construction,
    view: Vector,
    lights: tuple[Vector, ...],
    surfaces: tuple[tuple[float, float, float], ...],
    spun: tuple[bool, bool],
    fineness: int,
) -> CellTexture:
    """Trace one repeat; crossings that are copies of one another are traced once.

    ``view`` and ``lights``: unit vectors in the cloth's frame, on the same side of the cloth;
    ``surfaces`` per system (fibre index, lobe degrees, share of sheen); ``spun`` per system;
    ``fineness``: samples each way over one crossing.
    """
    geometry = tubes(construction)
    picks, ends = geometry.orbit.shape
    size = (ends * geometry.spacing[0], picks * geometry.spacing[1])
    sight = _sight(construction, view, spun, fineness)
    which, normal, tangent = sight.which, sight.normal, sight.tangent
    system, v = sight.system[which], np.array(view)

    facing = np.zeros((len(lights), sight.system.size), np.float32)
    sheen = np.zeros((len(lights), sight.system.size), np.float32)
    for k, light in enumerate(lights):
        to = np.array(light)
        lit = np.maximum(to @ normal, 0.0) / abs(to[2])
        shadowed = np.flatnonzero(lit > 0)
        shut = silhouette(geometry, light).blocked(sight.start[:, shadowed], system[shadowed])
        lit[shadowed[shut]] = 0.0
        facing[k, which] = lit
        bright = np.flatnonzero(lit > 0)
        for s, (index, lobe, share) in enumerate(surfaces):
            mine = bright[system[bright] == s]
            if share > 0 and mine.size:
                factor = mat_factor(
                    tangent[:, mine].T, normal[:, mine].T, to, v, index, np.radians(lobe)
                )
                sheen[k, which[mine]] = share * factor * lit[mine]

    def whole(flat: NDArray[Any]) -> NDArray[Any]:
        """The repeat, put together from its distinct crossings."""
        tiles = flat.reshape(*flat.shape[:-1], len(geometry.distinct), fineness, fineness)
        laid = tiles[..., geometry.orbit, :, :]  # ..., picks, ends, down, across
        laid = np.moveaxis(laid, -2, -3)
        return laid.reshape(*flat.shape[:-1], picks * fineness, ends * fineness)

    return CellTexture(
        size,
        whole(sight.system),
        whole(sight.under),
        whole(facing),
        whole(sight.sky),
        whole(sheen),
        whole(sight.fibre),
    )


def _points(geometry: Tubes, hits: Hits, which: NDArray[Any]) -> NDArray[Any]:
    """Positions (3, n) of the chosen hits, in the repeat where each yarn's index lies."""
    place = np.zeros((3, which.size))
    for system, yarns in enumerate(geometry.systems):
        chosen = np.flatnonzero(hits.system[which] == system)
        at = which[chosen]
        height, slope, _ = yarns.height(hits.yarn[at], hits.u[at].astype(np.float32))
        cosine = 1.0 / np.sqrt(1.0 + slope * slope)
        sine = slope * cosine
        along = hits.u[at] - hits.up[at] * sine
        across = hits.yarn[at] * yarns.spacing + hits.across[at]
        z = height + hits.up[at] * cosine
        order = (1, 0, 2) if system == WARP else (0, 1, 2)
        for axis, k in enumerate(order):
            place[axis, chosen] = (along, across, z)[k]
    return place
