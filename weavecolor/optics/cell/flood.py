"""One even flood of light through a cell, kept ray by ray, and read between all directions.

For pictures of cloth at every slope: light from all sides is followed once, without dye, and each
ray that leaves is kept with where it came from. Between an eye and a light a fixed angle apart, as
they are while the cloth turns between them, three numbers are left: where the eye stands before the
cloth, on a disc, and how far round it the light stands. A ray that came from within the light's
width and goes to within the eye's is a sample of all such places, and so is each that the cell's
mirrors and reciprocity make of it: what both discs hold is added up, as every answer does, with no
other width. Knows cells and directions; knows nothing of cloths, stacks, scenes or turning.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from weavecolor.cache import Kept, breathe, bytes_of
from weavecolor.optics.cell import filaments, paths
from weavecolor.optics.cell.aimed import MOST_MET, aimed
from weavecolor.optics.cell.filaments import FilamentCell
from weavecolor.optics.cell.nodes import nodes
from weavecolor.optics.cell.paths import arctan2_about
from weavecolor.scene.scene import APERTURE_DEG

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

_GLINT_RAYS = 200_000
#: Nodes across the disc of eyes, and of lights in a whole turn about each.
DISC, TURNS = 56, 72
#: Least cosine of an eye to the normal: nodes farther out hold what is seen there.
LEAST = 0.015
#: A cosine of single precision may be off by this.
_ROUNDED = 1e-6
#: Of lights that are as wide, the flood alone holds enough of what single rods send.
_WIDE_DEG = 12.0


@dataclass(frozen=True, eq=False)
class _Samples:
    """Rays that ``came`` from and ``went`` to (n, 3); the ``cosine`` (n,) of the angle between;
    ``weight`` (n,) share of all light from one side; ``column`` (n,) lengths as in ``kept``."""

    cosine: Floats
    came: Floats
    went: Floats
    weight: Floats
    column: NDArray[np.int32]

    def part(self, own: slice | NDArray[np.intp]) -> _Samples:
        return _Samples(*(getattr(self, f.name)[own] for f in fields(self)))

    def turned(self, angle: float, wide: float) -> _Samples:
        """Those that turn by ``angle`` or up to ``wide`` off it, radians."""
        least = np.float32(np.cos(min(angle + wide, np.pi)) - _ROUNDED)
        most = np.float32(np.cos(max(angle - wide, 0.0)) + _ROUNDED)
        return self.part(np.flatnonzero((self.cosine >= least) & (self.cosine <= most)))


@dataclass(frozen=True, eq=False)
class Flood:
    """A flood through ``cell``: ``every`` ray, ``inner`` those of them that stand for their places,
    but for light of single clear rods, which may be aimed (:mod:`weavecolor.optics.cell.aimed`) and
    is ``lone``; ``first`` those of light that met one clear surface of many filaments alone, which
    no dye colours, followed once more."""

    cell: FilamentCell
    every: _Samples
    inner: _Samples
    lone: _Samples | None
    first: _Samples | None

    def between(
        self, rings: NDArray[np.integer[Any]], from_: Array, left: Array
    ) -> NDArray[np.float32]:
        """Radiance factors (B, R, 2D) between parts of the sphere and the nodes.

        ``rings`` (2, n): part that each ray came from and went to; ``from_`` (R,): share of even
        light that each part has; ``left`` as from ``kept``.
        """
        grid, rays = nodes(), self.every
        edges = filaments.ring_edges(grid)
        at = np.stack([paths.nodes_of(v, edges, grid.steps) for v in (rays.went, rays.came)])
        out = np.zeros((from_.size, 2 * grid.half, left.shape[1]), np.float32)
        # each ray once as it went and once the other way
        _sent_on(rings, at, rays.weight, rays.column, left.astype(np.float32), out)
        out /= 2.0 * from_[:, None, None] * grid.share[None, :, None]
        return np.ascontiguousarray(np.moveaxis(out, 2, 0))


@njit(cache=True, fastmath=True)
def _sent_on(parts, places, weight, column, left, out):  # pragma: no cover - compiled
    """Add what is ``left`` (columns, B) of rays of a ``weight`` (n,) and ``column`` (n,) to ``out``
    (R, 2D, B), each at two ``parts`` (2, n) and ``places`` (2, n)."""
    for n in range(weight.shape[0]):
        for way in range(2):
            for b in range(left.shape[1]):
                out[parts[way, n], places[way, n], b] += weight[n] * left[column[n], b]


@dataclass(frozen=True, eq=False)
class Factors:
    """Radiance factors (2, 2, DISC, DISC, TURNS, 3) between an eye and a light that stand one fixed
    angle apart, three channels.

    By the side of the cloth that the eye is on (0 face); whether what it sees came from that side
    or the other: near along the cloth a wide light stands on both; where the eye is on the disc of
    its side (:func:`eye_at`; across the warp, then along it; seen from the back, the cloth is
    mirrored through its own plane); and how far round it the light is from the warp, as it is
    carried there. Both are over even light from that part of the light's disc that lies on the
    side of its middle."""

    table: Floats


def flood_rays(cell: FilamentCell) -> int:
    """Rays from each node."""
    each = filaments.paths_each(cell)
    if cell.rods:
        return each
    return (6 if filaments.split(cell) else 2) * each


_floods: Kept[tuple[FilamentCell, int, float], Flood] = Kept(3, what_for="hung pictures")
_aims: Kept[tuple[FilamentCell, float, float, float], _Samples] = Kept(
    40_000_000, bytes_of, what_for="hung pictures"
)


def flood(cell: FilamentCell) -> Flood:
    """The flood through a cell; kept."""
    each = flood_rays(cell)
    return _floods.one((cell, each, filaments.EFFORT), lambda: _flooded(cell, each))


def _flooded(cell: FilamentCell, each: int) -> Flood:
    rods = cell.rods
    # of rods, the very rays that their table between nodes is made of
    rays = filaments.node_rays(cell, nodes(), each, 0.0 if rods else paths.UNSPLIT)
    filaments.let_go(cell)
    matt, own = cell.matt, np.flatnonzero(rays.met > 0)
    met, apart = rays.met[own], np.zeros(len(own), bool)
    if not matt:
        apart = rays.one[own] & (met <= MOST_MET) if rods else met == 1
    own = np.concatenate([own[~apart], own[apart]])
    start = rays.start[own]
    share = (nodes().share[rays.label[start]] / each).astype(np.float32) * rays.weight[own]
    share /= np.float32(max(1.0 - rays.lost, 1e-6))
    every = _samples(rays.came[start], rays.toward[own], share, rays.column[own])
    most = len(own) - np.count_nonzero(apart)
    inner, other = every.part(slice(most)), every.part(slice(most, None))
    if rods:
        return Flood(cell, every, inner, None if matt else other, None)
    return Flood(cell, every, inner, None, _first(cell, matt))


def _first(cell: FilamentCell, matt: bool) -> _Samples:
    none = np.zeros((0, 3), np.float32)
    if matt:
        return _samples(none, none, none[:, 0], np.zeros(0, np.int32))
    ready, grid = filaments.prepared(cell), nodes()
    each = max(int(filaments.EFFORT * _GLINT_RAYS) // (2 * grid.half), 12)
    starts, label = filaments.node_starts(ready, grid, each)
    weight = grid.share[label] / each
    found: list[Floats] = []

    def use(leaves: Array) -> None:
        met = leaves[leaves[:, 7] > 0.0]
        start = met[:, 0].astype(np.intp)
        found.append(np.column_stack([-starts[start, 2:5], met[:, 1:4],
                                      met[:, 4] * weight[start]]).astype(np.float32))  # fmt: skip

    filaments.followed(ready, starts, 3, use, what=paths.FIRST)
    every = np.concatenate(found) if found else np.zeros((0, 7), np.float32)
    return _samples(every[:, :3], every[:, 3:6], every[:, 6], np.zeros(len(every), np.int32))


def _samples(
    came: Floats, went: Floats, weight: Floats, column: NDArray[np.int32]
) -> _Samples:  # fmt: skip
    return _Samples(np.einsum("nk,nk->n", came, went), came, went, weight, column)


@njit(cache=True)
def eye_at(x, y, size):  # pragma: no cover - compiled
    """The eye at a node, column ``x`` and row ``y``, of a disc of equal area with ``size`` nodes
    across: along the warp, across it and out of the cloth; and the warp and what lies across it
    carried there the shortest way."""
    x, y = 2.0 * x / (size - 1) - 1.0, 2.0 * y / (size - 1) - 1.0
    r = np.sqrt(x * x + y * y)
    most = np.sqrt(1.0 - LEAST)
    if r > most:  # beyond the disc: its edge, so that what is looked up near it is right
        x, y, r = x * most / r, y * most / r, most
    nz = 1.0 - r * r
    k = np.sqrt(1.0 + nz)
    nx, ny = x * k, y * k
    one = (1.0 - nx * nx / (1.0 + nz), -nx * ny / (1.0 + nz), -nx)
    two = (-nx * ny / (1.0 + nz), 1.0 - ny * ny / (1.0 + nz), -ny)
    return (nx, ny, nz), one, two


@njit(cache=True, parallel=True, fastmath=True)
def _strewn(came, went, colour, ways, angle, eye_half, light_half, out):  # pragma: no cover
    """Add rays of a ``colour`` (n, 3), each way, to the places of eye and light whose discs hold
    both its ends; to ``out`` (2, 2, N, N, P + 2, 3) as changes from one light to the next round an
    eye, so that all lights that hold it cost what two do. Of the images of a ray by ``ways`` (m,
    3), signs along the warp, across it and out of the face, one stands for all."""
    size, turns = out.shape[2], out.shape[4] - 2
    per, scale = turns / (2.0 * np.pi), 0.5 * (size - 1)
    least_e, least_l = np.cos(eye_half), np.cos(light_half)
    ca, sa = np.cos(angle), np.sin(angle)
    nearest = np.cos(angle - light_half) if angle > light_half else 2.0
    farthest = np.cos(angle + light_half) if angle + light_half < np.pi else -2.0
    places = np.empty((size, size, 9))
    for row in range(size):
        for column in range(size):
            e, one, two = eye_at(column, row, size)
            for k in range(3):
                places[row, column, k] = e[k]
                places[row, column, 3 + k] = one[k]
                places[row, column, 6 + k] = two[k]
    for kind in prange(2):
        for n in range(2 * came.shape[0]):
            i = n // 2
            eye, lamp = (went, came) if n % 2 else (came, went)
            if (eye[i, 2] * lamp[i, 2] > 0.0) != (kind == 0):
                continue
            # all in one corner, so that less of the table is gone over
            best, most = 0, -1.0
            for m in range(ways.shape[0]):
                at = 4.0 * (ways[m, 2] * eye[i, 2] > 0.0)
                at += 2.0 * (ways[m, 0] * eye[i, 1] > 0.0) + (ways[m, 1] * eye[i, 0] < 0.0)
                if at > most:
                    best, most = m, at
            ez, lz = ways[best, 2] * eye[i, 2], ways[best, 2] * lamp[i, 2]
            side = 0
            if ez <= 0.0:
                side, ez, lz = 1, -ez, -lz
            # along the warp, across it, out of the side that the eye is on
            ew, eb = ways[best, 0] * eye[i, 1], -ways[best, 1] * eye[i, 0]
            lw, lb = ways[best, 0] * lamp[i, 1], -ways[best, 1] * lamp[i, 0]
            k = 1.0 / np.sqrt(1.0 + ez)
            x, y = (ew * k + 1.0) * scale, (eb * k + 1.0) * scale
            # a step on the sphere is longest on the disc where it goes round, far out
            reach = 1.02 * eye_half * scale / np.sqrt(1.0 + max(ez - eye_half, 0.0))
            if ez < eye_half + LEAST:
                reach += 2.5  # so far beyond the rim its nodes are read
            left, right = max(int(np.ceil(x - reach)), 0), min(int(x + reach), size - 1)
            for row in range(max(int(np.ceil(y - reach)), 0), min(int(y + reach), size - 1) + 1):
                for column in range(left, right + 1):
                    p = places[row, column]
                    if ew * p[0] + eb * p[1] + ez * p[2] <= least_e:
                        continue
                    apart = lw * p[0] + lb * p[1] + lz * p[2]
                    if apart <= farthest or apart >= nearest:
                        continue
                    one = lw * p[3] + lb * p[4] + lz * p[5]
                    two = lw * p[6] + lb * p[7] + lz * p[8]
                    away = least_l - ca * apart
                    round_ = sa * np.sqrt(one * one + two * two)
                    if away >= round_:
                        continue
                    changes = out[side, kind, row, column]
                    if away <= -round_:  # all round
                        for c in range(3):
                            changes[0, c] += colour[i, c]
                        continue
                    half = arctan2_about(np.sqrt(round_ * round_ - away * away), away) * per
                    middle = arctan2_about(two, one) * per + 0.5
                    # a light stands for as much to each side as lies nearest to it
                    first, last = middle - half, middle + half
                    low, high = np.floor(first), np.floor(last)
                    f, g = first - low, last - high
                    a, b = int(low), int(high)
                    about = 0.0  # lights that lie past the end lie past the beginning
                    if a < 0:
                        a += turns
                        about += 1.0
                    if b >= turns:
                        b -= turns
                        about += 1.0
                    elif b < 0:
                        b += turns
                        about -= 1.0
                    for c in range(3):
                        v = colour[i, c]
                        changes[a, c] += v * (1.0 - f)
                        changes[a + 1, c] += v * f
                        changes[b, c] -= v * (1.0 - g)
                        changes[b + 1, c] -= v * g
                        changes[0, c] += v * about


@njit(cache=True, fastmath=True)
def _as_alike(changes, signs, even, out):  # pragma: no cover - compiled
    """From ``changes`` as :func:`_strewn` adds them what lies at each node, made as alike as the
    cell is by ``signs`` (m, 3), over what of ``even`` light does (N, N, P), to ``out`` (2, 2, N, N,
    P, 3)."""
    size, turns, ways = out.shape[2], out.shape[4], signs.shape[0]
    mean, share = np.empty((turns, 3), np.float32), np.float32(1.0 / ways)
    for kind in range(2):
        for side in range(2):
            for row in range(size):
                for column in range(size):
                    first = True  # of its images: all are told by it
                    for m in range(ways):
                        s, r, c, _, _ = _image(signs[m], side, row, column, size, turns)
                        first &= (side, row, column) <= (s, r, c)
                    if not first:
                        continue
                    mean[:] = 0.0
                    for m in range(ways):
                        s, r, c, way, turn = _image(signs[m], side, row, column, size, turns)
                        one = two = three = np.float32(0.0)
                        for t in range(turns):
                            one += changes[s, kind, r, c, t, 0]
                            two += changes[s, kind, r, c, t, 1]
                            three += changes[s, kind, r, c, t, 2]
                            at = (way * t + turn) % turns
                            mean[at, 0] += share * one
                            mean[at, 1] += share * two
                            mean[at, 2] += share * three
                    for m in range(ways):
                        s, r, c, way, turn = _image(signs[m], side, row, column, size, turns)
                        for t in range(turns):
                            for n in range(3):
                                at = (way * t + turn) % turns
                                out[s, kind, r, c, t, n] = mean[at, n] / even[r, c, t]


@njit(cache=True)
def _image(sign, side, row, column, size, turns):  # pragma: no cover - compiled
    """Where a node is seen in a mirror by its ``sign`` (3,): side, row and column; and which way
    and from where on the lights go round it."""
    along, across = sign[0] > 0.0, sign[1] > 0.0
    return (
        side if sign[2] > 0.0 else 1 - side, row if along else size - 1 - row,
        column if across else size - 1 - column, 1 if along == across else -1,
        0 if across else turns // 2,
    )  # fmt: skip


def factors(
    made: Flood, colour: Array, white: Array, angle: float, half_deg: float = APERTURE_DEG
) -> Factors:
    """Radiance factors of a dyed cell between an eye and a light ``angle`` radians apart.

    ``made``: the flood of its light; ``colour`` (columns, 3): what is left of light after each pair
    of lengths, in three channels (``kept`` times a matrix); ``white`` (3,): the same of light that
    no dye colours; ``half_deg``: half the angle of one of the two, the light.
    """
    own = APERTURE_DEG, half_deg
    if made.first is None:
        return Factors(_gathered(made.cell, _of_rods(made, angle, half_deg), colour, angle, own))
    wide = _among_many(half_deg)
    inner = _finer(_gathered(made.cell, [made.inner], colour, angle, wide, DISC // 2, TURNS // 2))
    first = _gathered(made.cell, [made.first], np.ones((1, 3)), angle, own)
    return Factors(inner + first * white.astype(np.float32))


def _among_many(half_deg: float) -> tuple[float, float]:
    """How widely light that many filaments send on is looked at from and at, degrees, where the
    light is ``half_deg`` wide: few rays are followed, so of a small light from farther about."""
    light = max(half_deg + 3.0, 12.0)
    return max(20.0 - light / 1.5, 8.0), light


def _of_rods(made: Flood, angle: float, half_deg: float) -> list[_Samples]:
    """Light of rods that turned by about ``angle``; of single ones aimed so where there is little
    for a small light."""
    if made.lone is None:
        return [made.inner]
    if half_deg >= _WIDE_DEG:
        return [made.inner, made.lone]
    wide = float(np.radians(APERTURE_DEG + half_deg))

    def aim() -> _Samples:
        found = aimed(made.cell, angle, wide)
        return _samples(found.came, found.went, found.weight, found.column)

    return [made.inner, _aims.one((made.cell, angle, wide, filaments.EFFORT), aim)]


def _gathered(
    cell: FilamentCell, samples: list[_Samples], colour: Array, angle: float,
    wide: tuple[float, float], size: int = DISC, turns: int = TURNS,
) -> Floats:  # fmt: skip
    """A table as in :class:`Factors`, with ``size`` nodes across and ``turns``, of ``samples`` by
    an eye and a light ``wide``, half angles in degrees."""
    breathe()
    eye, light = (float(np.radians(x)) for x in wide)
    left = np.asarray(colour, np.float32)
    ways = np.array(filaments.mirrors(cell))[:, [1, 0, 2]]
    changes = np.zeros((2, 2, size, size, turns + 2, 3), np.float32)
    for one in samples:
        near = one.turned(angle, eye + light)
        tinted = near.weight[:, None] * left[near.column]
        _strewn(near.came, near.went, tinted, ways, angle, eye, light, changes)
    table = np.empty((2, 2, size, size, turns, 3), np.float32)
    signs = np.array(filaments.mirrors(cell))
    _as_alike(changes, signs, _even(angle, *wide, size, turns)[..., 0], table)
    return table


def _finer(values: Floats) -> Floats:
    """A table as in :class:`Factors` of one with half as many nodes each way, mixed linearly."""
    size = values.shape[2]
    place = np.arange(2 * size) * (size - 1) / (2 * size - 1)
    mix = np.maximum(1.0 - np.abs(place[:, None] - np.arange(size)), 0.0).astype(np.float32)
    out = np.einsum("ay,bx,skyxtc->skabtc", mix, mix, values, optimize=True)
    twice = np.repeat(out, 2, axis=4)
    twice[..., 1::2, :] = 0.5 * (out + np.roll(out, -1, 4))
    return twice


@lru_cache(maxsize=8)
def _even(
    angle: float, eye_deg: float, light_deg: float, size: int = DISC, turns: int = TURNS
) -> Floats:
    """What the nodes would hold of white card (N, N, P, 1), each ray once each way."""
    at = np.arange(size)
    places = np.array([[eye_at(x, y, size) for x in at] for y in at])
    eye, one, two = (places[..., k, 2] for k in range(3))
    turn = 2.0 * np.pi * np.arange(turns) / turns
    round_ = one[..., None] * np.cos(turn) + two[..., None] * np.sin(turn)
    lamp = np.cos(angle) * eye[..., None] + np.sin(angle) * round_
    share = np.interp(eye, *filaments.even_share(eye_deg))
    return np.asarray(2.0 * share[..., None] * np.interp(np.abs(lamp), *filaments.even_share(
        light_deg)), np.float32)[..., None]  # fmt: skip
