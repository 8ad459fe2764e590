"""The unit cell of yarns made of clear filaments: its paths of light, traced without dye.

Knows where filaments lie and how their paths are gathered by direction and by the lengths run in
warp and weft, so that a dye is a sum over lengths afterwards; knows nothing of cloths, fibres by
name, scenes or stacks. Paths are exact (:mod:`weavecolor.optics.cell.paths`); what is left is noise
of their number, kept down by evenly spread starts, by reciprocity and by the cell's own symmetry.

A staple yarn is traced with at most :data:`MOST_FILAMENTS` fibres in its section.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace
from functools import lru_cache, partial
from typing import Any, NamedTuple

import numpy as np
import scipy  # its parts load slowly, where they are first used
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.errors import InputError
from weavecolor.optics.cell import paths
from weavecolor.optics.cell.nodes import (
    Named,
    Nodes,
    Vector,
    beyond,
    cap,
    half_deg_of,
    middle,
    nodes,
)
from weavecolor.scene.scene import APERTURE_DEG

Array = NDArray[np.float64]
Told = Callable[[float], None]
_Arrays = Mapping[str, NDArray[Any]]

#: More fibres than this in a section are traced as so many thicker ones.
MOST_FILAMENTS = 180
#: A light's disc has an edge of this share of its width to each side.
_EDGE = 0.02

#: Lengths: geometric steps above a share of the yarn's height.
LEVELS, RATIO = 44, 1.2
_SHORTEST = 0.02
#: So far about a direction is the light looked at that matt yarns send back: to all sides.
WIDE_DEG = 20.0
#: The same of many filaments, before the light's own width.
_WIDER_DEG = (20.0, 10.0)
_FEW = 8  # filaments; among more a second way at a surface would cost as much as another ray
_ROOM = 1 << 18  # leaves at once
#: Of a start's light, what both ways at a surface must carry where only sums over all sides count:
#: to follow less tells those no better.
_SUMS = 0.02
_GLINT_RAYS = 46368  # of a named direction, for what one surface sends back
#: Rods that scatter less than this on the way across are clear.
_CLEAR = 0.1
EFFORT = 1.0  # share of all rays that is traced: less is quicker and noisier
_NEAR = 24  # neighbours of a filament that are looked at first
#: Arrangements of a system's filaments: so many that about so many lie differently, within these.
_LIE, _ARRANGEMENTS = 240, (4, 16)
_WIDE = 97  # repeats that the starts are spread over, so that twisted yarns lie every way


@dataclass(frozen=True)
class Strand:
    """One yarn system as it is traced.

    ``width`` and ``height`` of the yarn, mm; ``filaments`` at ``packing`` in it, or one
    solid rod; ``index`` of refraction; ``twist`` rad/mm;
    ``dull`` 1/mm, even scattering inside the fibre; ``opaque``: a matt surface that nothing enters,
    and lengths are then numbers of meetings. ``centres``: across and up in filament radii, and of
    filaments that are not round their turns, radians.
    ``section``: ratio of the circles about a filament's outline and in it, 1 round, else a triangle
    rounded so far (:func:`rounded_triangle`); of one solid rod it is not asked.
    """

    width: float
    height: float
    filaments: int = 1
    packing: float = 1.0
    index: float = 1.55
    twist: float = 0.0
    dull: float = 0.0
    opaque: bool = False
    centres: tuple[tuple[float, ...], ...] | None = None
    section: float = 1.0

    @property
    def single(self) -> bool:
        return self.filaments == 1 or self.opaque

    @property
    def filament_radius(self) -> float:
        """Of a filament, mm; of a rod, half its mean diameter."""
        radius = 0.5 * math.sqrt(self.width * self.height)
        return radius if self.single else radius * math.sqrt(self.packing / self.filaments)


@dataclass(frozen=True)
class FilamentCell:
    """Woven strands: rows of ``lift`` are picks, 1 where the warp is up; spacings, and swings of
    the axes from the mid-plane, mm. Warp ``i`` lies at x = i times its spacing and runs along y."""

    lift: tuple[tuple[int, ...], ...]
    warp: Strand
    weft: Strand
    warp_spacing: float
    weft_spacing: float
    warp_swing: float
    weft_swing: float

    @property
    def top(self) -> float:
        """Highest point of any yarn above the mid-plane, mm; the lowest is as far below."""
        return max(
            self.warp_swing + 0.5 * self.warp.height, self.weft_swing + 0.5 * self.weft.height
        )

    @property
    def rods(self) -> bool:
        """Whether each of its yarns is one solid body."""
        return self.warp.single and self.weft.single

    @property
    def matt(self) -> bool:
        """Whether nothing enters a yarn of it."""
        return self.warp.opaque or self.weft.opaque

    @property
    def clear(self) -> bool:
        """Whether its yarns are rods that light crosses mostly unscattered."""
        scattered = max(one.dull * one.height for one in (self.warp, self.weft))
        return self.rods and not self.matt and scattered < _CLEAR

    @property
    def alike(self) -> bool:
        """Whether its filaments lie as stated, so that it has no symmetry but reciprocity."""
        return self.warp.centres is not None or self.weft.centres is not None


class Outline(NamedTuple):
    """A filament's section, a triangle rounded more or less, as curve of the third degree.

    In polar coordinates about its centre, in radii of the circle of its area: ``square`` r^2 -
    ``cubic`` r^3 cos 3a = 1. ``reach`` (m,): r by a, over the whole turn.
    """

    square: float
    cubic: float
    reach: Array


@lru_cache(maxsize=32)
def rounded_triangle(section: float) -> Outline:
    """The outline whose circles, about it and in it, have radii of the ratio ``section``: 1
    (round) to below 2 (at which its sides are straight)."""
    around = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    # r^2 - k r^3 = 1 at a corner and r^2 + k r^3 = 1 half way between, one r so much the other
    least = (section**2 - 1.0) / (section**3 + 1.0)
    cubic = least * math.sqrt(1.0 + least)
    # 1/r solves a cubic without a square, by the cosine of a third of an angle
    cosine = np.clip(-0.5 * math.sqrt(27.0) * cubic * np.cos(3.0 * around), -1.0, 1.0)
    reach = 0.5 * math.sqrt(3.0) / np.cos(np.arccos(cosine) / 3.0)
    square = float(np.mean(reach**2))
    return Outline(square, cubic * square**1.5, reach / math.sqrt(square))


@lru_cache(maxsize=128)
def arrangement(
    filaments: int,
    packing: float,
    flat: float,
    seed: int = 1,
    apart: float = 1.0,
    section: float = 1.0,
) -> Array:
    """Centres (n, 2), in filament radii, of ``filaments`` in an ellipse of ``flat`` width
    over height at ``packing``: drawn at random, from ``seed``, about the middle and pushed apart
    until at most they touch, so that the core is the closest, as in yarn (J. W. S. Hearle, P.
    Grosberg, S. Backer, Structural Mechanics of Fibers, Yarns, and Fabrics, 1969; from memory);
    then the yarn is pressed flat, and they make room for one another. Drawn in the ellipse itself,
    they spread alike to all sides, and a yarn of 1.5 to 1 came out as one of 1.2.
    Where they are packed more closely than they can lie, they run into one another. ``apart``:
    how many diameters they keep between their middles, where there is room. Of a ``section``
    other than 1 they are turned at random: (n, 3), with their turns, radians.
    """
    unit = (filaments / packing) ** 0.5
    press = np.array([flat**0.5, flat**-0.5])
    rng = np.random.default_rng(seed)
    at: NDArray[np.float64] = rng.random((filaments, 2)) - 0.5
    at *= unit - 1.0
    lie, reach = None, np.ones(1)
    if section > 1.0:
        lie, reach = rng.random(filaments), rounded_triangle(section).reach
    for pressed in (np.ones(2), press):
        at *= pressed
        wide, high = np.maximum(unit * pressed - reach.max(), 1e-3)
        paths.push_apart(at, wide, high, 2.02 * apart, 800, lie, reach)
    return at if lie is None else np.column_stack([at, 2.0 * np.pi * lie])


def _laid(at: Array, radius: float, section: float) -> Array:
    """Rows of the tracer (n, 4) of filaments at ``at`` (n, 2 or 3: their turn) of ``radius``."""
    out = np.zeros((len(at), 4))
    out[:, :2] = radius * at[:, :2]
    if section > 1.0:
        turned = 3.0 * at[:, 2]
        out[:, 2:] = rounded_triangle(section).cubic * np.column_stack(
            [np.cos(turned), np.sin(turned)]
        )
    return out


@dataclass(frozen=True, eq=False)
class Traced:
    """A cell as the tracer takes it."""

    rows: Array
    signs: Array
    plan: NDArray[np.intp]
    centres: Array
    near: NDArray[np.intp]
    top: float
    least: float
    repeat: tuple[float, float]
    wide: int
    scale: Array


@lru_cache(maxsize=32)
def prepared(cell: FilamentCell, outline: bool = False) -> Traced:
    """``outline``: yarns as solid bodies."""
    rows = np.zeros((2, paths.COLUMNS))
    centres = []
    strands = (cell.warp, cell.weft)
    spacing = (cell.warp_spacing, cell.weft_spacing)
    swing = (cell.warp_swing, cell.weft_swing)
    for k, one in enumerate(strands):
        row = rows[k]
        row[paths.SPACING], row[paths.PITCH] = spacing[k], spacing[1 - k]
        row[paths.SWING] = swing[k]
        a, b = row[paths.HALF_A], row[paths.HALF_B] = 0.5 * one.width, 0.5 * one.height
        row[paths.INDEX], row[paths.DULL], row[paths.OPAQUE] = one.index, one.dull, one.opaque
        row[paths.STRETCH] = row[paths.SQUARE] = row[paths.REACH] = 1.0
        if one.single or outline:
            row[paths.FIL_A], row[paths.FIL_B], row[paths.COUNT] = a, b, 1
            centres.append(np.zeros((1, 4)))
            continue
        count = min(one.filaments, MOST_FILAMENTS)
        radius = 0.5 * (one.width * one.height) ** 0.5 * (one.packing / count) ** 0.5
        row[paths.FIL_A] = row[paths.FIL_B] = radius
        flat, apart = one.width / one.height, 1.0
        if flat < 1.0 + 1e-9 or (one.twist != 0.0 and one.centres is None):
            row[paths.TWIST], row[paths.PHASE] = one.twist, (1.7, 2.3)[k]
            # room for what pressing takes away: filaments stay round
            row[paths.STRETCH], flat, apart = flat**-0.5, 1.0, flat**0.5
        row[paths.COUNT] = count
        if one.section > 1.0:
            shape = rounded_triangle(one.section)
            row[paths.SQUARE], row[paths.REACH] = shape.square, shape.reach.max() ** 2
        if one.centres is not None:
            centres.append(_laid(np.array(one.centres, float), radius, one.section))
            continue
        # neighbours are not alike, and cloth shows the mean of many
        sorts = min(max(_LIE // count, _ARRANGEMENTS[0]), _ARRANGEMENTS[1])
        at = [
            arrangement(count, one.packing, flat, k + 2 * n, apart, one.section)
            for n in range(sorts)
        ]
        centres.append(_laid(np.concatenate(at), radius, one.section))
    up = np.where(np.array(cell.lift) > 0, 1.0, -1.0)
    picks, ends = up.shape
    many = rows[:, paths.COUNT].max()
    least = 0.03 if cell.clear else 0.01 if many == 1 else _SUMS if many <= _FEW else paths.UNSPLIT
    wide = 1 if cell.alike else _WIDE
    scale = np.array([0.0 if s.opaque else _SHORTEST * s.height for s in strands])
    counts = [int(row[paths.COUNT]) for row in rows]
    for k, (yarns, crossings) in enumerate(((ends, picks), (picks, ends))):
        rows[k, paths.PER_PITCH] = 1.0 / rows[k, paths.PITCH]
        rows[k, paths.PER_STRETCH] = 1.0 / rows[k, paths.STRETCH]
        rows[k, paths.MANY], rows[k, paths.PER_MANY] = yarns, 1.0 / yarns
        rows[k, paths.LONG], rows[k, paths.PER_LONG] = crossings, 1.0 / crossings
    plan = [
        (ends, picks, counts[0], len(centres[0]) // counts[0]),
        (picks, ends, counts[1], len(centres[1]) // counts[1]),
    ]
    return Traced(
        rows,
        _padded(*(np.column_stack([one, one[:, 0]]) for one in (up.T, -up))),
        np.array(plan, np.intp),
        _padded(*centres),
        _neighbours(centres, counts),
        1.0005 * cell.top,
        least,
        (ends * spacing[0], picks * spacing[1]),
        wide,
        scale,
    )


def _neighbours(centres: list[Array], counts: list[int]) -> NDArray[np.intp]:
    """The nearest of its own section to each of ``centres`` (2, most, any), nearest first; one
    alone is its own."""
    from scipy.spatial import cKDTree  # slow to load

    out = np.zeros((2, max(map(len, centres)), _NEAR), np.intp)
    for near, all_, count in zip(out, centres, counts, strict=True):
        for first in range(0, len(all_), count):
            at = all_[first : first + count, :2]
            order = cKDTree(at).query(at, k=min(count, _NEAR + 1))[1].reshape(count, -1)[:, 1:]
            if count > 1:
                near[first : first + count] = first + np.pad(
                    order, ((0, 0), (0, _NEAR - order.shape[1])), mode="edge"
                )
    return out


def _padded(one: Array, other: Array) -> Array:
    """Two tables in one array (2, ...), each filled up with nought."""
    out = np.zeros((2, *np.maximum(one.shape, other.shape)))
    for whole, part in zip(out, (one, other), strict=True):
        whole[: part.shape[0], : part.shape[1]] = part
    return out


def lengths(cell: FilamentCell) -> tuple[Array, Array]:
    """What the steps of length in warp and weft stand for, mm (meetings, where opaque)."""
    steps = np.arange(LEVELS, dtype=float)
    out = []
    for one in (cell.warp, cell.weft):
        middle = _SHORTEST * one.height * RATIO ** (steps - 0.5)
        middle[0] = 0.0
        out.append(steps.copy() if one.opaque else middle)
    return out[0], out[1]


def kept(cell: FilamentCell, absorption: Array) -> Array:
    """Share of light left (levels * levels, B) after each pair of lengths, for ``absorption``
    (B, 2) of warp and weft fibre, 1/mm; of an opaque system, -ln of its reflectance."""
    absorption = np.asarray(absorption, float)
    if absorption.ndim != 2 or absorption.shape[1] != 2 or not (absorption >= 0).all():
        raise InputError("absorption is a table of two columns, warp and weft, 0 or more")
    warp, weft = (np.exp(-np.outer(x, a)) for x, a in zip(lengths(cell), absorption.T, strict=True))
    return (warp[:, None] * weft[None]).reshape(LEVELS * LEVELS, -1)


@lru_cache(maxsize=32)
def evenly(count: int, ways: int) -> Array:
    """Evenly spread points (count, ways): a Kronecker sequence (H. Niederreiter, Random Number
    Generation and Quasi-Monte Carlo Methods, 1992, ch. 3) of powers of the root of x^(d+1) = x + 1
    (common practice, no source)."""
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (ways + 1))
    steps = root ** -np.arange(1.0, ways + 1)
    return np.asarray((0.5 + np.arange(1, count + 1)[:, None] * steps) % 1.0)


def ring_edges(grid: Nodes) -> Array:
    """Squares of the cosines (rings + 1,) between the rings of nodes, that share out even light."""
    each = grid.share[: grid.half].reshape(grid.rings, -1).sum(axis=1)
    edges = np.concatenate([[0.0], np.cumsum(each)])
    edges[-1] = 1.0
    return edges


def into(cell: Traced, number: Array) -> Array:
    """Places (n, 2) that points (n, 2) of the unit square stand for, told out over the repeats."""
    return np.asarray((number + told_out(cell, len(number))) * np.array(cell.repeat))


def told_out(cell: Traced, count: int) -> NDArray[np.intp]:
    """By how many repeats (``count``, 2) places are moved on, so that filaments lie every way."""
    place = np.arange(count)
    return np.column_stack([place * 7919 % cell.wide, place * 104729 // 97 % cell.wide])


def node_starts(cell: Traced, grid: Nodes, each: int) -> tuple[Array, NDArray[np.int32]]:
    """Starts (n, 5) of ``each`` paths on ``cell`` from every node of ``grid``, and their nodes
    (n,)."""
    count = 2 * grid.half
    number = evenly(each * count, 4)
    label = np.tile(np.arange(count, dtype=np.int32), each)
    edges = ring_edges(grid)
    ring, step = np.divmod(label % grid.half, grid.steps)
    square = edges[ring] + number[:, 2] * (edges[ring + 1] - edges[ring])
    around = (step + number[:, 3]) * (2.0 * np.pi / grid.steps)
    flat = np.sqrt(1.0 - square)
    up = np.where(label < grid.half, 1.0, -1.0) * np.sqrt(np.maximum(square, 1e-6))
    starts = np.column_stack(
        [into(cell, number[:, :2]), flat * np.sin(around), -flat * np.cos(around), -up]
    )
    return starts, label


def followed(
    cell: Traced,
    starts: Array,
    seed: int,
    use: Callable[[Any], None],
    told: Told | None = None,
    what: int = paths.ALL,
    first: int = 0,
    part: Callable[[Array], Any] = np.copy,
) -> float:
    """Trace ``starts`` (n, 5) on ``cell``, from the ``first`` on, on two threads; ``use`` gets the
    leaves part by part, or what ``part`` makes of them.

    ``seed`` of what is drawn at random; ``told``: how much is done, 0-1; ``what`` is followed, one
    of ``paths.ALL``, ``NOTHING`` and ``FIRST``. Returns the light lost, in starts.
    """
    parts = max(2, -(-(len(starts) - first) // 4096))
    bounds = np.linspace(first, len(starts), parts + 1).astype(int)
    lost = 0.0

    def one(k: int) -> tuple[list[Any], float]:
        first, last = int(bounds[k]), int(bounds[k + 1])
        found, gone = [], 0.0
        room = np.empty((min(_ROOM, 40 * (last - first) + 1024), paths.LEAF))
        while first < last:
            first, made, away = paths.trace(
                cell.rows, cell.signs, cell.plan, cell.centres, cell.near, cell.top, starts, first,
                last, seed, cell.least, room, what,
            )  # fmt: skip
            found.append(part(room[:made]))
            gone += away
        return found, gone

    with ThreadPoolExecutor(2) as pool:
        for k, (found, gone) in enumerate(pool.map(one, range(parts))):
            for leaves in found:
                use(leaves)
            lost += gone
            if told is not None:
                told((k + 1) / parts)
    return lost


class _Left(NamedTuple):
    """Leaves, in as little room as they need: as in :class:`NodeRays`, weights in full."""

    start: NDArray[np.int32]
    toward: NDArray[np.float32]
    weight: Array
    column: NDArray[np.int32]
    met: NDArray[np.uint16]
    one: NDArray[np.bool_]


def _left(cell: Traced, leaves: Array) -> _Left:
    n = len(leaves)
    start, toward, weight = np.empty(n, np.int32), np.empty((n, 3), np.float32), np.empty(n)
    met, one = np.empty(n, np.uint16), np.empty(n, np.bool_)
    column = paths.parted(leaves, cell.scale, RATIO, LEVELS, start, toward, weight, met, one)
    return _Left(start, toward, weight, column, met, one)


def at_most_one(cell: Traced, starts: Array, what: int) -> Array:
    """Leaves of ``starts`` (n, 5) on ``cell`` where ``what`` is followed leaves each at most one:
    ``paths.NOTHING``, ``FIRST`` or ``MET``."""
    room = np.empty((len(starts) + 512, paths.LEAF))
    _, made, _ = paths.trace(
        cell.rows, cell.signs, cell.plan, cell.centres, cell.near, cell.top, starts,
        0, len(starts), 1, 1.0, room, what,
    )  # fmt: skip
    return room[:made]


def straight(cell: FilamentCell, starts: Array, outline: bool = False) -> NDArray[np.bool_]:
    """Which ``starts`` (n, 5) meet nothing of ``cell``, (n,); ``outline``: no yarn's outline
    either."""
    free = np.zeros(len(starts), bool)
    gone = at_most_one(prepared(cell, outline), starts, paths.NOTHING)
    free[gone[:, 0].astype(np.intp)] = True
    return free


def mirrors(cell: FilamentCell) -> tuple[Vector, ...]:
    """Signs by which (x, y, z) may be multiplied so that the cell's light is the same."""
    if cell.alike:
        return ((1.0, 1.0, 1.0),)
    twisted = any(not s.single and s.twist != 0.0 for s in (cell.warp, cell.weft))
    return mirrors_of(cell.lift, twisted)


@lru_cache(maxsize=64)
def mirrors_of(lift: tuple[tuple[int, ...], ...], twisted: bool) -> tuple[Vector, ...]:
    """As :func:`mirrors`, of a weave whose rows of ``lift`` are picks; ``twisted``: of yarns that
    a mirror turns about."""
    plan = np.array(lift) > 0
    out = []
    for mx, my, mz in np.ndindex(2, 2, 2):
        if twisted and (mx + my + mz) % 2:
            continue  # a mirror turns the twist about
        moved = plan[:, ::-1] if mx else plan
        moved = moved[::-1] if my else moved
        if _moved(plan, ~moved if mz else moved) is not None:
            out.append((1.0 - 2.0 * mx, 1.0 - 2.0 * my, 1.0 - 2.0 * mz))
    return tuple(out)


def symmetries(cell: FilamentCell, grid: Nodes) -> list[NDArray[np.intp]]:
    """Permutations of the nodes under which the cell's light is the same."""
    ring, step = np.divmod(np.arange(2 * grid.half), grid.steps)
    out = []
    for x, y, z in mirrors(cell):
        s = step
        if x < 0.0:  # azimuth from the warp turns about
            s = (-s - 1) % grid.steps
        if y < 0.0:
            s = (grid.steps // 2 - 1 - s) % grid.steps
        r = (ring + grid.rings) % (2 * grid.rings) if z < 0.0 else ring
        out.append(r * grid.steps + s)
    return out


def _moved(plan: NDArray[np.bool_], other: NDArray[np.bool_]) -> tuple[int, int] | None:
    """By how many rows and columns a plan is moved along to be another one, if it can be."""
    for by in np.ndindex(plan.shape):
        if np.array_equal(np.roll(plan, by, (0, 1)), other):
            return by
    return None


def _pairs(grid: Nodes, ways: list[NDArray[np.intp]]) -> tuple[NDArray[np.int32], Array]:
    """Which number each pair of nodes (2D, 2D) has, alike ones the same; and by number, the sum of
    the shares that light of one path may go to."""
    size = 2 * grid.half
    one, two = np.meshgrid(np.arange(size), np.arange(size), indexing="ij")
    least = np.minimum(one * size + two, two * size + one)
    for way in ways:
        a, b = way[one], way[two]
        least = np.minimum(least, np.minimum(a * size + b, b * size + a))
    kinds, which = np.unique(least, return_inverse=True)
    pair: NDArray[np.int32] = which.reshape(size, size).astype(np.int32)
    both = np.outer(grid.share, grid.share).ravel()
    shares = np.bincount(pair.ravel(), both, kinds.size)
    return pair, np.asarray(shares, float)


@dataclass(frozen=True, eq=False)
class PairTable:
    """Undyed light between the nodes of a grid: ``factors`` (kinds of pairs, levels * levels)
    sparse, radiance factors by lengths; ``pair`` (2D, 2D) kind of each pair."""

    cell: FilamentCell
    grid: Nodes
    factors: scipy.sparse.csr_array
    pair: NDArray[np.int32]

    def dyed(self, absorption: Array) -> NDArray[np.float32]:
        """Radiance factors (B, 2D, 2D) between nodes; ``absorption`` (B, 2) as in ``kept``."""
        values = self.factors @ kept(self.cell, absorption).astype(np.float32)
        return np.ascontiguousarray(values.T)[:, self.pair]


@dataclass(frozen=True, eq=False)
class WhiteCell:
    """A cell's undyed light: ``table`` between nodes; ``through`` (2D,) share that meets nothing,
    ``open`` (2D,) share that the yarns' outlines leave open; ``lost``: share of light that the
    tracing lost."""

    cell: FilamentCell
    table: PairTable
    through: Array
    open: Array
    lost: float

    @property
    def grid(self) -> Nodes:
        return self.table.grid

    def dyed(self, absorption: Array) -> NDArray[np.float32]:
        """Radiance factors (B, 2D, 2D) between nodes; ``absorption`` (B, 2) as in ``kept``."""
        return self.table.dyed(absorption)


def _most(cell: FilamentCell) -> int:
    """Filaments traced in the section of the system that has more of them."""
    return max(1 if s.single else min(s.filaments, MOST_FILAMENTS) for s in (cell.warp, cell.weft))


def split(cell: FilamentCell) -> bool:
    """Whether both ways that light takes at a surface are followed."""
    return _most(cell) <= _FEW


def paths_each(cell: FilamentCell, share: float = 1.0) -> int:
    """Paths traced from each node, many where they are short; ``share`` of the usual, 0 to 1."""
    usual = np.clip(2400 / _most(cell) ** 0.75, 120, 2400) * (1.0 if split(cell) else 4.0)
    return max(int(share * EFFORT * usual), 12)


@dataclass(frozen=True, eq=False)
class NodeRays:
    """Undyed light of all nodes, followed: of each ray that leaves (n,), its ``start``, where it
    goes ``toward`` (n, 3), ``weight`` share of its start's light, ``column`` its lengths as in
    ``kept``, ``met`` surfaces met, ``one``: of one yarn, and inside it between them. ``came`` (m,
    3) where each start's light comes from, and its node ``label`` (m,); ``lost`` share of all
    light."""

    came: NDArray[np.float32]
    label: NDArray[np.int32]
    start: NDArray[np.int32]
    toward: NDArray[np.float32]
    weight: NDArray[np.float32]
    column: NDArray[np.int32]
    met: NDArray[np.uint16]
    one: NDArray[np.bool_]
    lost: float

    @property
    def nbytes(self) -> int:
        """Memory it takes."""
        return sum(getattr(self, f.name).nbytes for f in fields(self) if f.name != "lost")


_followed: Kept[tuple[FilamentCell, Nodes, int, float], NodeRays] = Kept(
    60_000_000, lambda one: one.nbytes
)


def node_rays(
    cell: FilamentCell, grid: Nodes, each: int, least: float = 0.0, told: Told | None = None
) -> NodeRays:
    """Light of ``each`` paths from every node of ``grid`` on ``cell``; ``least`` as in
    ``paths.trace``, 0 for the usual; ``told``: how much is done, 0-1. The last ones are kept:
    pictures ask for the rays that the table between nodes was made of, or for these and more."""
    ready = prepared(cell)
    usual, ready = ready.least, replace(ready, least=least or ready.least)
    few = paths_each(cell)
    if each > few and ready.least == usual:
        begun = node_rays(cell, grid, few)  # the first of the same, to the last ray
        return _node_rays(ready, grid, each, told, begun)
    key = cell, grid, each, ready.least
    return _followed.one(key, lambda: _node_rays(ready, grid, each, told))


def _node_rays(
    ready: Traced, grid: Nodes, each: int, told: Told | None, begun: NodeRays | None = None
) -> NodeRays:
    """As :func:`node_rays`; those ``begun`` are not followed again."""
    starts, label = node_starts(ready, grid, each)
    found = []
    if begun is not None:
        found.append(_Left(*(getattr(begun, name) for name in _Left._fields)))

    def use(one: _Left) -> None:
        found.append(one._replace(weight=one.weight.astype(np.float32)))

    first, lost = (0, 0.0) if begun is None else (len(begun.label), begun.lost * len(begun.label))
    lost += followed(ready, starts, 1, use, told, first=first, part=partial(_left, ready))
    whole = _Left(*map(np.concatenate, zip(*found, strict=True)))
    came = (-starts[:, 2:]).astype(np.float32)
    return NodeRays(came, label, **whole._asdict(), lost=lost / len(starts))


def let_go(cell: FilamentCell) -> None:
    """Forget the rays of ``cell`` that :func:`node_rays` kept: no picture asks for them again."""
    _followed.drop(lambda key: key[0] == cell)


def _table(cell: FilamentCell, rays: NodeRays, through: Array, grid: Nodes, each: int) -> PairTable:
    """All light of ``rays`` that met something, ``1 - through`` (2D,), sent on between nodes."""
    pair, shares = _pairs(grid, symmetries(cell, grid))
    own = rays.met > 0
    label = rays.label[rays.start[own]]
    row = pair[label, paths.nodes_of(rays.toward[own], ring_edges(grid), grid.steps)]
    light = rays.weight[own] * (grid.share[label] / each).astype(np.float32)
    found = scipy.sparse.csr_array(
        (light, (row, rays.column[own])), shape=(shares.size, LEVELS * LEVELS)
    )
    whole = scipy.sparse.csr_array(scipy.sparse.diags_array(1.0 / shares).tocsr() @ found)
    total = np.asarray(whole.sum(axis=1), float)[pair]
    scale = _closing(total, grid.share, 1.0 - through)
    a, b = np.divmod(np.unique(pair, return_index=True)[1], 2 * grid.half)
    scaled = scipy.sparse.csr_array(scipy.sparse.diags_array(scale[a] * scale[b]).tocsr() @ whole)
    factors = scaled.astype(np.float32)
    return PairTable(cell, grid, factors, pair)


def _packed_table(table: scipy.sparse.csr_array) -> dict[str, Any]:
    """A sparse table as arrays."""
    return {"data": table.data, "column": table.indices, "row": table.indptr,
            "shape": np.array(table.shape)}  # fmt: skip


def _table_of(arrays: _Arrays) -> scipy.sparse.csr_array:
    rows, columns = arrays["shape"]
    parts = arrays["data"], arrays["column"], arrays["row"]
    return scipy.sparse.csr_array(parts, shape=(int(rows), int(columns)))


def _packed_white(white: WhiteCell) -> dict[str, Any]:
    return {**_packed_table(white.table.factors), "through": white.through, "open": white.open,
            "lost": white.lost}  # fmt: skip


def _white_of(key: tuple[FilamentCell, Nodes, int], arrays: _Arrays) -> WhiteCell:
    cell, grid, _ = key
    pair, _ = _pairs(grid, symmetries(cell, grid))
    table = PairTable(cell, grid, _table_of(arrays), pair)
    return WhiteCell(cell, table, arrays["through"], arrays["open"], float(arrays["lost"]))


_white: Kept[tuple[FilamentCell, Nodes, int], WhiteCell] = Kept(
    8,
    packed=Packed(
        "cell", lambda key: (key[0], key[1].rings, key[1].steps, key[2]), _packed_white, _white_of
    ),
)


def white_cell(
    cell: FilamentCell, rings: int = 6, steps: int = 12, each: int = 0, told: Told | None = None
) -> WhiteCell:
    """Trace the light of ``cell`` between all nodes of ``rings`` by ``steps`` once; ``each`` paths
    a node, 0 for enough; ``told``: how much is done, 0-1. Kept, also for the next run."""
    grid = nodes(rings, steps)
    each = each or paths_each(cell)
    return _white.one((cell, grid, each), lambda: _white_cell(cell, grid, each, told))


def _white_cell(cell: FilamentCell, grid: Nodes, each: int, told: Told | None) -> WhiteCell:
    rays = node_rays(cell, grid, each, told=told)
    passed = rays.met == 0
    free = np.bincount(
        rays.label[rays.start[passed]], rays.weight[passed], 2 * grid.half
    ) / each  # fmt: skip
    open_ = free
    if not cell.rods:
        shut = ~straight(cell, node_starts(prepared(cell), grid, each)[0], True)
        open_ = 1.0 - np.bincount(rays.label, shut, 2 * grid.half) / each
    ways = symmetries(cell, grid)
    through, open_ = (_even(v, grid, ways) for v in (free, open_))
    return WhiteCell(cell, _table(cell, rays, through, grid, each), through, open_, rays.lost)


def _even(values: Array, grid: Nodes, ways: list[NDArray[np.intp]]) -> Array:
    """A share by node (2D,) made the same where the cell is, and along a line from both sides."""
    mean = np.mean([values[way] for way in ways], axis=0)
    return np.asarray(0.5 * (mean + mean[grid.opposite]))


def _closing(total: Array, share: Array, target: Array) -> Array:
    """Factors (2D,) by whose products a symmetric table sends out all the light it gets."""
    scale = np.ones(share.size)
    for _ in range(100):
        sent = scale * (total @ (scale * share))
        # a node that next to nothing meets is left as it is
        scale *= np.where(sent > 1e-9, np.sqrt(target / np.maximum(sent, 1e-9)), 1.0)
    return scale


@dataclass(frozen=True, eq=False)
class Rays:
    """Where undyed light of one bundle went: ``start`` (n,) which of its rays it was, ``toward``
    (n, 3), ``weight`` (n,) share of the bundle, ``column`` (n,) its lengths as in ``kept``, ``met``
    (n,) surfaces met; ``clear`` (rays,) which of its rays met nothing, and ``through`` their share.
    """

    start: NDArray[np.int32]
    toward: NDArray[np.float32]
    weight: NDArray[np.float32]
    column: NDArray[np.int32]
    met: NDArray[np.uint16]
    clear: NDArray[np.bool_]
    through: float

    def table(self, place: NDArray[np.integer[Any]], count: int) -> scipy.sparse.csr_array:
        """Share of the bundle (count, levels * levels) by ``place`` (n,) and lengths; rays with a
        negative place do not count."""
        own = place >= 0
        return scipy.sparse.csr_array(
            (self.weight[own], (place[own], self.column[own])),
            shape=(count, LEVELS * LEVELS),
        )

    @property
    def nbytes(self) -> int:
        """Memory it takes."""
        return sum(getattr(self, f.name).nbytes for f in fields(self)[:6])

    def gathered(self, place: NDArray[np.integer[Any]], count: int, left: Array) -> Array:
        """Share of the bundle (``count``, B) by ``place``, with ``left`` as from ``kept``."""
        return np.asarray(self.table(place, count) @ left)


def follow(cell: FilamentCell, toward: Array, weight: Array, least: float = 0.0) -> Rays:
    """Trace a bundle on ``cell``: one ray from each direction ``toward`` (n, 3) its source, of
    ``weight`` (n,), mean 1, to places spread over the cloth; ``least`` as in ``paths.trace``, or
    what is usual where that is more."""
    ready = prepared(cell)
    ready = replace(ready, least=max(ready.least, least))
    starts = _starts(ready, toward)
    found = []
    total = len(toward)
    clear = np.zeros(total, np.bool_)

    def use(one: _Left) -> None:
        light = one.weight * (weight[one.start] / total)
        met = one.met > 0
        clear[one.start[~met]] = True
        found.append((one.start[met], one.toward[met], light[met], one.column[met], one.met[met]))

    followed(ready, starts, 2, use, part=partial(_left, ready))
    start, way, light, column, met = map(np.concatenate, zip(*found, strict=True))
    passed = float(weight[clear].sum()) / total
    # what little the tracing lost goes the way of the rest
    light *= (1.0 - passed) / max(float(light.sum()), 1e-12)
    return Rays(start, way, light.astype(np.float32), column, met, clear, passed)


def _starts(ready: Traced, toward: Array) -> Array:
    """Where rays of a bundle from ``toward`` (n, 3) start, and their ways (n, 5)."""
    number = evenly(len(toward), 4)[:, 2:]  # directions take the first two
    return np.column_stack([into(ready, number), -toward])


def _bundle(vector: Named, half_angle_deg: float, count: int) -> tuple[Array, Array, float]:
    """As :func:`cap`, for ``count`` rays; an angle of 0 is a parallel beam."""
    if half_angle_deg == 0.0:
        return np.tile(np.array(vector[:3], float), (count, 1)), np.ones(count), 0.0
    return cap(vector, half_angle_deg, evenly(count, 4)[:, :2])


def follow_cap(
    cell: FilamentCell, vector: Named, count: int, half_angle_deg: float = APERTURE_DEG
) -> tuple[Rays, float]:
    """The light on ``cell`` of a cap of ``half_angle_deg`` about ``vector``, by ``count`` rays; and
    the cap's share of even light. An angle of 0 is a parallel beam."""
    toward, weight, share = _bundle(vector, half_angle_deg, count)
    return follow(cell, toward, weight), share


def rays_each(cell: FilamentCell, share: float = 1.0) -> int:
    """Rays traced from a named direction; ``share`` of the usual, 0 to 1."""
    return max(int(10 * paths_each(cell, share)), int(share * EFFORT * 2400))


def pair_rays(cell: FilamentCell, share: float = 1.0) -> int:
    """Rays traced from a direction whose light is looked at from others; ``share`` as above."""
    # few of a matt yarn's go near what looks at it
    matt = 4.0 if cell.matt else 1.0
    usual = 200_000 / _most(cell) ** 0.7 if split(cell) else 150_000
    return int(share * EFFORT * matt * usual)


#: Beams kept, bytes: as many as a search of some cloths in some lights asks for again.
_KEPT_BYTES = 80_000_000
_rays: Kept[tuple[FilamentCell, Named, int, float], Rays] = Kept(
    _KEPT_BYTES, lambda one: one.nbytes
)


def _kept_rays(cell: FilamentCell, vector: Named, count: int, half_deg: float) -> Rays:
    key = (cell, vector, count, half_deg)
    return _rays.one(key, lambda: follow_cap(cell, vector, count, half_deg)[0])


def _standing(cell: FilamentCell, vector: Named) -> tuple[Named, Vector, list[Array]]:
    """The direction that stands for all that the cell's mirrors make of ``vector``; the signs that
    lead from one to the other; and the signs that leave the first where it is. It says, too, where
    the middle of a light lies beyond the cloth's plane."""
    ways = mirrors(cell)
    v = np.array(vector[:3])
    best = max(ways, key=lambda s: tuple(float(a) for a in np.round(v * s, 9)[::-1]))
    # rounded more than who asks does: turned there and back it is the same, to the last ray
    first: Named = tuple(round(float(a), 7) + 0.0 for a in v * best)
    still = [np.array(s) for s in ways if np.abs(np.array(first) * s - first).max() < 1e-9]
    return (*first, *vector[3:]) if beyond(vector) else first, best, still


@dataclass(frozen=True, eq=False)
class WhiteNamed:
    """Undyed light of E named directions: ``cross`` (E * 2D, levels * levels), radiance factors by
    lengths with the nodes; ``pair`` (P, levels * levels) the same from one to another, by ``links``
    (P of their numbers), ``glint`` (P,) what one clear surface alone adds; ``through`` (E,)
    as in :class:`WhiteCell`."""

    cell: FilamentCell
    cross: scipy.sparse.csr_array
    links: tuple[tuple[int, int], ...]
    pair: scipy.sparse.csr_array
    glint: Array
    through: Array

    def dyed(self, absorption: Array) -> tuple[Array, Array]:
        """Radiance factors (B, E, 2D) with the nodes, and (B, E, E) with each other."""
        left = kept(self.cell, absorption)
        count = self.through.size
        cross = np.asarray((self.cross @ left).T.reshape(len(absorption), count, -1))
        pair = np.zeros((len(absorption), count, count))
        if self.links:
            one, other = np.array(self.links).T
            pair[:, one, other] = (self.pair @ left).T + self.glint
            twice = np.zeros((count, count))
            np.add.at(twice, (one, other), 1.0)
            # asked both ways: the mean of both; one way: the same both ways
            both = np.maximum(twice + twice.T, 1.0)
            pair = (pair + np.swapaxes(pair, 1, 2)) / both
        return cross, pair


@lru_cache(maxsize=32)
def white_named(
    cell: FilamentCell,
    vectors: tuple[Named, ...],
    links: tuple[tuple[int, int], ...],
    rings: int = 6,
    steps: int = 12,
    share: float | tuple[float, ...] = 1.0,
) -> WhiteNamed:
    """Light on ``cell`` of named unit directions ``vectors`` with the nodes of ``rings`` by
    ``steps``, and from the first of each of ``links``, within :data:`APERTURE_DEG` of it, to the
    second, as wide as that is named; by a ``share`` of the usual rays, 0 to 1, or one each."""
    grid = nodes(rings, steps)
    each = share if isinstance(share, tuple) else (share,) * len(vectors)
    links = tuple(dict.fromkeys(links))
    asked: dict[int, list[int]] = {}
    for one, other in links:
        asked.setdefault(one, []).append(other)
    cross, straights = [], []
    rows: dict[tuple[int, int], scipy.sparse.csr_array] = {}
    glint = np.zeros(len(links))
    number = {link: k for k, link in enumerate(links)}
    ways = dict(zip(mirrors(cell), symmetries(cell, grid), strict=True))
    for e, vector in enumerate(vectors):
        # by its part alone, so that no answer depends on what else is asked
        count = (pair_rays if e in asked else rays_each)(cell, each[e])
        half_deg = half_deg_of(vector)
        first, signs, still = _standing(cell, vector)
        table, through = _crossing.one(
            (cell, first, count, grid, half_deg),
            partial(_crossed, cell, first, count, grid, half_deg),
        )
        cross.append(table[ways[signs]])
        straights.append(through)
        if e not in asked:
            continue
        moved = np.array([vectors[n][:3] for n in asked[e]]) * signs
        made = _looked.fetch(
            [
                (cell, first, count, max(map(_vector, aim * np.array(still))), _wide(other))
                for aim, other in zip(moved, (vectors[n] for n in asked[e]), strict=True)
            ],
            _looked_at_each,
        )
        for n, (row, shine) in zip(asked[e], made, strict=True):
            rows[e, n], glint[number[e, n]] = row, shine
    pairs = scipy.sparse.csr_array((0, LEVELS * LEVELS))
    if links:
        pairs = scipy.sparse.csr_array(scipy.sparse.vstack([rows[link] for link in links]))
    return WhiteNamed(
        cell,
        scipy.sparse.csr_array(scipy.sparse.vstack(cross)),
        links,
        pairs,
        glint,
        np.array(straights),
    )


def _packed_crossing(value: tuple[scipy.sparse.csr_array, float]) -> dict[str, Any]:
    return {**_packed_table(value[0]), "through": value[1]}


def _packed_looked(value: tuple[scipy.sparse.csr_array, float]) -> dict[str, Any]:
    return {**_packed_table(value[0]), "glint": value[1]}


#: What directions that stand for others send to the nodes, and to other directions: bytes, rows.
_crossing: Kept[
    tuple[FilamentCell, Named, int, Nodes, float], tuple[scipy.sparse.csr_array, float]
] = (
    Kept(
        60_000_000,
        lambda one: 2 * one[0].data.nbytes,
        Packed(
            "crossing",
            lambda key: (*key[:3], key[3].rings, key[3].steps, key[4]),
            _packed_crossing,
            lambda _, x: (_table_of(x), float(x["through"])),
        ),
    )
)
_Look = tuple[FilamentCell, Named, int, Vector, Named]
_looked: Kept[_Look, tuple[scipy.sparse.csr_array, float]] = Kept(
    4096,
    packed=Packed(
        "looked",
        lambda key: (*key, EFFORT),
        _packed_looked,
        lambda _, x: (_table_of(x), float(x["glint"])),
    ),
)


def _crossed(
    cell: FilamentCell, first: Named, count: int, grid: Nodes, half_deg: float
) -> tuple[scipy.sparse.csr_array, float]:
    """Radiance factors (2D, levels * levels) of a direction with the nodes; ``through`` as in
    :class:`Rays`."""
    rays = beam(cell, first, count, half_deg)
    place = paths.nodes_of(rays.toward, ring_edges(grid), grid.steps)
    table = scipy.sparse.diags_array(1.0 / grid.share) @ rays.table(place, 2 * grid.half)
    return scipy.sparse.csr_array(table), rays.through


def _looked_at_each(keys: list[_Look]) -> list[tuple[scipy.sparse.csr_array, float]]:
    """:func:`looked_at`, row by row, from one direction."""
    cell, first, count, *_ = keys[0]
    aims = [(*aim, *wide) for *_, aim, wide in keys]
    glint_rays = int(EFFORT * _GLINT_RAYS * count / pair_rays(cell))
    rays = beam(cell, first, count, APERTURE_DEG)
    found, glint = looked_at(cell, first, aims, rays, glint_rays)
    return [(found[[k]], float(shine)) for k, shine in enumerate(glint)]


def _wide(direction: Named) -> Named:
    """Half the angle by which a direction is looked at, for exact pairs of them are not defined;
    and 1 behind it where that says so."""
    return max(half_deg_of(direction), APERTURE_DEG), *direction[4:]


def _vector(v: Array) -> Vector:
    return float(v[0]), float(v[1]), float(v[2])


def beam(cell: FilamentCell, vector: Named, count: int, half_deg: float = 0.0) -> Rays:
    """The light on ``cell`` of a beam that is ``half_deg`` wide to each side, by ``count`` rays, as
    of the direction that stands for all that the cell's mirrors make of ``vector``; kept."""
    return _kept_rays(cell, _standing(cell, vector)[0], count, half_deg)


def placed(
    cell: FilamentCell, vector: Vector, count: int, half_deg: float
) -> tuple[Array, Array, Vector]:
    """Where on ``cell`` each ray of :func:`beam` from ``vector``, of ``count`` and ``half_deg``,
    looks: places (count, 2) at which it would cross the mid-plane, mm; its weight (count,), mean 1;
    and the signs by which its leaves' directions are those of light from ``vector``."""
    first, signs, _ = _standing(cell, vector)
    ready = prepared(cell)
    toward, weight, _ = _bundle(first, half_deg, count)
    starts = _starts(ready, toward)
    place = starts[:, :2] + starts[:, 2:4] * (ready.top / np.abs(starts[:, 4:]))
    # the mirror's cell is this one moved on by whole yarns
    plan = np.array(cell.lift) > 0
    rows, columns = (np.arange(n) for n in plan.shape)
    moved = plan[np.ix_(int(signs[1]) * rows % rows.size, int(signs[0]) * columns % columns.size)]
    down, across = _moved(moved if signs[2] > 0.0 else ~moved, plan) or (0, 0)
    on = across * cell.warp_spacing, down * cell.weft_spacing
    return place * signs[:2] + on, weight, signs


def looked_at(
    cell: FilamentCell, vector: Named, aims: Sequence[Named], rays: Rays, glint_rays: int = 0
) -> tuple[scipy.sparse.csr_array, Array]:
    """Radiance factors of :func:`beam` ``rays``, as wide as the aperture, on ``cell`` from
    ``vector`` to each of ``aims``, as wide as that is named: (m, levels * levels) by lengths, and
    (m,) what one clear surface alone adds, by ``glint_rays``, 0: enough.

    A fan that a rod sends on after it was refracted does not move as its source does, and its edges
    (rainbows) move faster: only light that came from anywhere in the one aperture and goes anywhere
    into the other tells what both see. Many filaments send light on along cones about their axes,
    as narrow across, but to all sides along: few rays arrive. What the mean of a wider disc tells
    counts by as much as it lies within the noise of the narrower one, so that what is narrow stays
    (an empirical Bayes mean: B. Efron, C. Morris, J. Am. Stat. Assoc. 70 (1975) 311)."""
    inner = rays.met > (0 if cell.matt else 1)
    light = rays.toward[inner], rays.weight[inner], rays.column[inner]
    table = scipy.sparse.csr_array((len(aims), LEVELS * LEVELS))
    glint = np.zeros(len(aims))
    for wide in dict.fromkeys(map(_wide, aims)):
        own = [k for k, aim in enumerate(aims) if _wide(aim) == wide]
        at_own = np.ones(len(own)), (own, range(len(own)))
        rows = scipy.sparse.csr_array(at_own, (len(aims), len(own)))
        at = [aims[k][:3] for k in own]
        found, glint[own] = _looked_at(cell, vector, at, light, wide, glint_rays)
        table = table + rows @ found
    return scipy.sparse.csr_array(table), glint


def _looked_at(
    cell: FilamentCell,
    vector: Named,
    aims: Sequence[Named],
    light: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.int32]],
    wide: Named,
    glint_rays: int,
) -> tuple[scipy.sparse.csr_array, Array]:
    """:func:`looked_at` of the ``light`` that met more than one surface, to ``aims`` that are all
    as ``wide``."""
    half_deg, past = wide[0], len(wide) > 1
    glint = glints(cell, vector, aims, half_deg, glint_rays, past)
    first, signs, still = _standing(cell, vector)
    moved = [np.array(aims) * signs * way for way in still]
    back = moved[0][:, 2] * first[2] > 0.0
    wider = (WIDE_DEG,) if cell.matt else () if cell.rods else _WIDER_DEG
    discs = [(0.5 * deg, 0.5 * deg) for deg in wider if deg > (1.0 + _EDGE) * half_deg]
    widest, *narrower = (*discs, (half_deg, _EDGE * half_deg))
    table, mean, doubt, share = _gathered(*light, moved, *widest, past)
    for disc in narrower:
        own, there, noise, part = _gathered(*light, moved, *disc, past)
        # its own noise is ill known where few rays arrive
        noise = 0.5 * (noise + doubt * share / part)
        near = back if cell.matt else noise / (noise + (mean - there) ** 2 + 1e-30)
        weight = scipy.sparse.diags_array
        table = weight(1.0 - near) @ own + weight(1.0 * near) @ table
        mean, doubt, share = there + near * (mean - there), noise, part
    return scipy.sparse.csr_array(table), glint


def _gathered(
    toward: NDArray[np.float32],
    weight: NDArray[np.float32],
    column: NDArray[np.int32],
    moved: list[Array],
    half_deg: float,
    blur_deg: float,
    past: bool = False,
) -> tuple[scipy.sparse.csr_array, Array, Array, Array]:
    """Radiance factors (m, levels * levels) of rays as in :class:`Rays`, ``half_deg`` about each of
    m aims, with an edge as in :func:`_near`, the mean of all the ways that they are ``moved``; and,
    whatever the lengths, (m,) their sums, the squares of its noise, and shares of even light."""
    size = len(moved[0])
    table = scipy.sparse.csr_array((size, LEVELS * LEVELS))
    mean, noise = np.zeros(size), np.zeros(size)
    for aims in moved:
        ray, aim, seen = _near(toward, aims, half_deg, blur_deg, past)
        light = weight[ray] * seen / len(moved)
        table = table + scipy.sparse.csr_array((light, (aim, column[ray])), shape=table.shape)
        mean += np.bincount(aim, light, size)
        noise += np.bincount(aim, light**2, size)
    share = _share_of(moved[0], half_deg, blur_deg, past)
    return table, mean, noise, share


def by_side(cell: FilamentCell, vector: Named, rays: Rays) -> Array:
    """Share (2, levels * levels) of :func:`beam` ``rays`` on ``cell`` of ``vector`` that leaves
    upwards and downwards, by lengths."""
    up = rays.toward[:, 2] * _standing(cell, vector)[1][2] > 0.0
    return np.asarray(rays.table(np.where(up, 0, 1), 2).todense())


def even(cell: FilamentCell, count: int, up: bool) -> tuple[Array, float]:
    """Even light on ``cell`` from above (``up``) or below, by ``count`` rays: share (2, levels *
    levels) of it that leaves upwards and downwards, by lengths; and the share that met nothing."""
    number = evenly(count, 4)
    flat, around = np.sqrt(number[:, 0]), 2.0 * np.pi * number[:, 1]
    high = np.sqrt(np.maximum(1.0 - number[:, 0], 1e-6)) * (1.0 if up else -1.0)
    toward = np.column_stack([flat * np.cos(around), flat * np.sin(around), high])
    rays = follow(cell, toward, np.ones(count), _SUMS)
    side = np.where(rays.toward[:, 2] > 0.0, 0, 1)
    return np.asarray(rays.table(side, 2).todense()), rays.through


def unmet(cell: FilamentCell, each: int, rings: int = 6, steps: int = 12) -> Array:
    """``through`` (2D,) of ``cell`` as in :class:`WhiteCell`, by ``each`` rays from a node of
    ``rings`` by ``steps``."""
    grid = nodes(rings, steps)
    starts, label = node_starts(prepared(cell), grid, each)
    free = np.bincount(label, straight(cell, starts), 2 * grid.half) / each
    return _even(free, grid, symmetries(cell, grid))


def _near(
    toward: NDArray[np.float32], aims: Array, half_deg: float, blur_deg: float, past: bool = False
) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Which rays (n, 3) of a beam are seen from which ``aims`` (m, 3), each a disc of ``half_deg``
    or what of it lies on the aim's side of the cloth (``past``: its middle does not), and the
    radiance factor that all of the beam's light there would have; every ray stands for a disc of
    ``blur_deg``. Rays from all over an aperture stand for themselves, but for an edge; of
    a parallel beam each stands for what a mirror sends on of as wide a one as the eye's."""
    wide = np.radians(half_deg + blur_deg)
    at = aims * (1.0, 1.0, -1.0) if past else aims
    x, y, z = at.T.astype(np.float32)
    # written out: a product of tables rounds by how many aims there are; no answer hangs on that
    cosine = toward[:, :1] * x + toward[:, 1:2] * y + toward[:, 2:] * z
    cosine = np.clip(cosine, -1.0, 1.0)
    row, aim = np.nonzero(cosine > np.cos(wide))
    here = toward[row, 2] * aims[aim, 2] > 0.0
    row, aim = row[here], aim[here]
    near = np.einsum("ra,ra->r", toward[row].astype(float), at[aim])
    apart = np.degrees(np.arccos(np.clip(near, -1.0, 1.0)))
    share = _share_of(aims, half_deg, blur_deg, past)
    return row, aim, np.asarray(_seen(apart, half_deg, blur_deg) / share[aim], float)


def _seen(apart: Array, half_deg: float, blur_deg: float) -> Array:
    """The weight of light so far, degrees, from an aim: the share of a disc of ``blur_deg`` that
    one of ``half_deg``, no smaller, covers."""
    if blur_deg <= _EDGE * half_deg:
        # no hard edge: a ray on it would be seen or not by the last digit of its direction
        return np.clip((half_deg + blur_deg - apart) / (2.0 * blur_deg), 0.0, 1.0)
    apart = np.clip(apart, half_deg - blur_deg, half_deg + blur_deg)
    apart = np.maximum(apart, 1e-9)
    own = (apart**2 + blur_deg**2 - half_deg**2) / (2.0 * apart)
    rest = apart - own
    lens = [
        size**2 * np.arccos(np.clip(side / size, -1.0, 1.0))
        - side * np.sqrt(np.maximum(size**2 - side**2, 0.0))
        for side, size in ((own, blur_deg), (rest, half_deg))
    ]
    return np.asarray(sum(lens) / (np.pi * blur_deg**2))


def _share_of(aims: Array, half_deg: float, blur_deg: float, past: bool) -> Array:
    """What :func:`_near` would see of even light from each aim."""
    cosine = np.abs(aims[:, 2])
    return np.interp(-cosine if past else cosine, *_even_share(half_deg, blur_deg))


@lru_cache(maxsize=16)
def _even_share(half_deg: float, blur_deg: float) -> tuple[Array, Array]:
    """What :func:`_near` would see of even light, by the cosine of its aim; near the edge a part of
    the disc lies on the other side of the cloth, and beyond it the most."""
    cosine = np.linspace(-1.0, 1.0, 361)
    wide = half_deg + blur_deg
    out = []
    for z in cosine:
        if z <= -np.sin(np.radians(wide)):
            out.append(0.0)
            continue
        side = (max(abs(float(z)), 1e-3), wide, float(z < 0.0))
        aim = (float(np.sqrt(1.0 - z * z)), 0.0, *side)
        toward, weight, share = cap(aim, wide, evenly(4181, 2))
        apart = np.degrees(np.arccos(np.clip(toward @ np.array(middle(aim)), -1.0, 1.0)))
        out.append(share * float(weight @ _seen(apart, half_deg, blur_deg)) / len(weight))
    return cosine, np.array(out)


def even_share(half_deg: float) -> tuple[Array, Array]:
    """Cosines to the cloth, and the share of even light that lies in a disc of ``half_deg`` about
    a direction at each, on its own side of the cloth."""
    return _even_share(half_deg, _EDGE * half_deg)


_first: Kept[tuple[FilamentCell, Named, int], tuple[NDArray[Any], NDArray[Any]]] = Kept(256)


def glints(
    cell: FilamentCell,
    vector: Named,
    aims: Sequence[Named],
    half_deg: float = APERTURE_DEG,
    rays: int = 0,
    past: bool = False,
) -> Array:
    """Radiance factors (m,) on ``cell`` from ``vector`` to each of ``aims``, ``half_deg`` wide, of
    light that met one clear surface alone, by so many ``rays``, 0 for enough; ``past`` as in
    :func:`_near`."""
    if cell.matt:
        return np.zeros(len(aims))
    count = rays or int(EFFORT * _GLINT_RAYS)
    first, signs, still = _standing(cell, vector)
    toward, weight = _first.one((cell, first, count), lambda: _sent_back(cell, first, count))
    out = np.zeros(len(aims))
    for way in still:
        at = np.array(aims)[:, :3] * signs * way
        ray, aim, seen = _near(toward, at, half_deg, APERTURE_DEG, past)
        out += np.bincount(aim, weight[ray] * seen, len(aims)) / len(still)
    return out


def _sent_back(cell: FilamentCell, vector: Named, count: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """Where the first surface met sends a beam, and its share."""
    ready = prepared(cell)
    aim = np.tile(-np.array(vector[:3], float), (count, 1))
    starts = np.column_stack([into(ready, evenly(count, 2)), aim])
    leaves = at_most_one(ready, starts, paths.FIRST)
    leaves = leaves[leaves[:, 7] > 0.0]
    return leaves[:, 1:4].astype(np.float32), (leaves[:, 4] / count).astype(np.float32)
