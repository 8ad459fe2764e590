"""Beams that go in and come out through the same openings.

Knows what one layer leaves free, beside its yarns and between their filaments, and how far behind
it the next surface lies; knows nothing of colour. Light through a layer that comes back out of it
meets the openings it came in by, so the two passages are not independent: the hot-spot effect, as
between leaf layers (A. Kuusk, in Photon-Vegetation Interactions, 1991, ch. 5), here by counting
over the cell instead of by a fitted law.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.optics.cell.filaments import FilamentCell, prepared, told_out
from weavecolor.optics.cell.nodes import Named, Nodes, caps_of, disc, half_deg_of, unit
from weavecolor.optics.cell.nodes import nodes as nodes_
from weavecolor.optics.cell.openness import pencils
from weavecolor.optics.cell.rays import blocked, first_met, solid
from weavecolor.optics.cell.tubes import Tubes, tubes
from weavecolor.textile.cloth import Construction

Array = NDArray[np.float64]

_NODE_POINTS = 377
_NAMED_POINTS = 10946
_FAR_POINTS = 4181  # behind further layers, where the register is mostly lost
_QUICK_POINTS = 987


@dataclass(frozen=True, eq=False)
class JointGaps:
    """How both of two directions are open from one point behind the layer, as counted.

    ``node`` (D, D) between upper nodes, ``named_node`` (E, D), ``named`` (E, E): joint shares over
    the root of the product of both own shares. ``gain`` (E,): how much oftener even light gets out
    where the named direction is open than elsewhere. ``held`` (D + E, D + E): how much of the
    register is left. Without nodes, the first two are empty.
    """

    node: Array
    named_node: Array
    named: Array
    gain: Array
    held: Array

    def laid(self, orders: Sequence[tuple[NDArray[np.intp], float]]) -> JointGaps:
        """The same by other nodes: for each way to name them (D,), its weight."""
        count = self.held.shape[0] - orders[0][0].size
        node, named, held = (np.zeros_like(a) for a in (self.node, self.named_node, self.held))
        for order, weight in orders:
            if self.node.size:
                node += weight * self.node[np.ix_(order, order)]
                named += weight * self.named_node[:, order]
            every = np.concatenate([order, order.size + np.arange(count)])
            held += weight * self.held[np.ix_(every, every)]
        return JointGaps(node, named, self.named, self.gain, held)

    def joint(self, through: Array, own: Array, share: Array) -> tuple[Array, Array, Array]:
        """Joint shares (D, D), (E, D), (E, E) where the nodes' own are ``through`` (D,) and the
        named directions' ``own`` (E,); ``share`` (D,) of even light."""
        half = through.size
        pair = _uneven(_joint(self.named, own, own), own, own, self.held[half:, half:])
        if not self.node.size:
            return np.outer(through, through), np.outer(own, through), pair
        named = np.zeros((0, half))
        if own.size:
            named = _joint(self.named_node, own, through)
            # few nodes cannot follow how openings line up and part with angle: set the mean right
            mean = self.gain * own * float(share @ through)
            ratio = np.minimum(mean, own) / np.maximum(named @ share, 1e-12)
            named = np.minimum(named * ratio[:, None], own[:, None])
            named = _uneven(named, own, through, self.held[half:, :half])
        node = _joint(self.node, through, through)
        return _uneven(node, through, through, self.held[:half, :half]), named, pair


#: Coefficient of variation of yarn spacing in cloth as woven. Assumed, not sourced.
UNEVEN = 0.15


@dataclass(frozen=True)
class Distance:
    """How far behind a layer's back the next thing lies, mm.

    ``spans``: (least, greatest) of each gap and thickness on the way, each spread evenly and
    independently; they add up. ``depths``: evenly spaced quantiles of how deep below its own front
    the thing itself is met (none for a plane). ``uneven``: coefficient of variation of the yarn
    spacing; 0 is a perfect grating.
    """

    spans: tuple[tuple[float, float], ...]
    depths: tuple[float, ...] = ()
    uneven: float = UNEVEN


_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71)


@lru_cache(maxsize=64)
def radical_inverses(count: int, which: int) -> Array:
    """An evenly spread set of ``count`` numbers 0-1; different sets do not run together (radical
    inverses in prime bases: J. H. Halton, Numerische Mathematik 2 (1960) 84)."""
    base = _PRIMES[which % len(_PRIMES)]
    rest, out, unit_ = np.arange(1, count + 1), np.zeros(count), 1.0 / base
    while rest.any():
        rest, digit = np.divmod(rest, base)
        out += digit * unit_
        unit_ /= base
    return out


@lru_cache(maxsize=32)
def _into_discs(count: int, other: bool, half_deg: float) -> Array:
    """Where in a disc of ``half_deg`` each of ``count`` rays goes, as of :func:`disc`; an ``other``
    set is as evenly spread, at other points."""
    number = np.stack([radical_inverses(count, 2), radical_inverses(count, 3)], axis=1)
    return disc(half_deg, number[np.random.default_rng(1).permutation(count)] if other else number)


@lru_cache(maxsize=16)
def _behind(construction: Construction, distance: Distance, count: int, flip: bool) -> NDArray[Any]:
    """Points (3, n) behind the layer at the given distance; behind is above the face where the
    cloth lies ``flip``-ped."""
    geometry = tubes(construction)
    foot = pencils(geometry, count).copy()
    n = foot.shape[1]
    beyond = np.zeros(n)
    if distance.depths:
        levels = np.linspace(0.0, 1.0, len(distance.depths))
        beyond += np.interp(radical_inverses(n, 4), levels, distance.depths)
    for k, (least, most) in enumerate(distance.spans):
        beyond += least + (most - least) * radical_inverses(n, 5 + k)
    foot[2] = geometry.top + beyond if flip else -geometry.bottom - beyond
    return foot


def _counted(open_a: NDArray[np.float32], open_b: NDArray[np.float32]) -> Array:
    """Joint share of rays (n, a) and (n, b) over the root of the product of their own."""
    # in double precision the sums of such weights are exact, whatever else is counted with them
    open_a, open_b = open_a.astype(float), open_b.astype(float)
    own = np.outer(open_a.mean(axis=0, dtype=float), open_b.mean(axis=0, dtype=float))
    both = (open_a.T @ open_b) / open_a.shape[0]
    return np.asarray(both / np.sqrt(np.maximum(own, 1e-24)), float)


def _joint(counted: Array, through_a: Array, through_b: Array) -> Array:
    """Joint share, scaled so that each direction's own share is as given."""
    joint = counted * np.sqrt(np.outer(through_a, through_b))
    return np.asarray(np.minimum(joint, np.minimum.outer(through_a, through_b)))


@dataclass(frozen=True, eq=False)
class _Place:
    """What lies at a ``distance`` behind a layer, and what lines from there meet: ``bodies``. One
    value for each such place, so that it is looked up by what it is, not by all its numbers."""

    construction: Construction
    bodies: FilamentCell
    distance: Distance
    flip: bool

    def points(self, count: int) -> NDArray[Any]:
        """Where ``count`` rays start (3, points)."""
        points = _behind(self.construction, self.distance, count, self.flip)
        if self.bodies.rods:
            return points
        cell = prepared(self.bodies)
        on = told_out(cell, points.shape[1]) * np.array(cell.repeat)
        return np.asarray(points + np.column_stack([on, np.zeros(len(on))]).T)


_place = lru_cache(maxsize=256)(_Place)


@dataclass(frozen=True)
class _Bundle:
    """Rays out from ``count`` points at a place behind a layer, one each somewhere into the light
    or eye that lies ``toward``; without that, one each as diffuse light is spread; or, at a
    ``node_set``, one to each node from each point, in a direction of its own within the node's
    share of the sky. There are two independent sets, 0 and 1, of both."""

    place: _Place
    count: int
    toward: Named | None = None
    set: int | None = None

    def rays(self) -> tuple[NDArray[Any], NDArray[Any]]:
        """Points and directions, (3, rays) each, of light that goes to no named direction."""
        points = self.place.points(self.count)
        n = points.shape[1]
        if self.set is None:
            high, around = radical_inverses(n, 0), radical_inverses(n, 1)
            toward = unit(np.arcsin(np.sqrt(high)), 2.0 * np.pi * around)
        else:
            points, toward = self._to_nodes(points, self.set)
        toward = toward * np.array([1.0, 1.0, -1.0 if self.place.flip else 1.0])
        return points, toward.T

    def _to_nodes(self, points: NDArray[Any], which: int) -> tuple[NDArray[Any], NDArray[Any]]:
        grid = nodes_()
        half, n = grid.half, points.shape[1]
        shift = np.arange(half)[None, :]
        a = (radical_inverses(n, 2 * which)[:, None] + shift * 0.6180339887) % 1.0
        b = (radical_inverses(n, 2 * which + 1)[:, None] + shift * 0.7548776662) % 1.0
        # rings share out sin^2 (zenith), which diffuse light fills evenly, in the nodes' order
        rings = grid.share[:half].reshape(grid.rings, -1).sum(axis=1)
        edges = np.concatenate([[0.0], np.cumsum(rings)])
        ring, step = np.divmod(np.arange(half), grid.steps)
        height = edges[ring] + a * (edges[ring + 1] - edges[ring])  # cos^2 (zenith)
        toward = unit(np.arccos(np.sqrt(height)), (step + b) * 2.0 * np.pi / grid.steps)
        return np.repeat(points, half, axis=1), toward.reshape(-1, 3)


@lru_cache(maxsize=64)
def met_depths(construction: Construction, flip: bool) -> tuple[float, ...]:
    """Evenly spaced quantiles of how deep below its front, mm, even light first meets a layer; its
    back is the front where it lies ``flip``-ped. None where it meets nothing."""
    geometry = tubes(construction)
    # what lies before the front sees it as what lies behind the layer turned over does
    yarns = solid(construction)
    before = _Bundle(_place(construction, yarns, Distance(()), not flip), _NAMED_POINTS)
    z = first_met(yarns, *before.rays())
    if not z.size:
        return ()
    depth = z + geometry.bottom if flip else geometry.top - z
    quantiles = np.quantile(np.clip(depth, 0.0, None), np.linspace(0.0, 1.0, 9))
    return tuple(round(float(d), 9) for d in quantiles)


#: Bytes: of all lights of a scene in folds, and of rings of directions.
_opened: Kept[_Bundle, NDArray[np.float32]] = Kept(20_000_000, lambda one: one.nbytes)
#: Rays that are followed at once.
_AT_ONCE = 8_000


def _open(bundles: list[_Bundle]) -> list[NDArray[np.float32]]:
    """Whether each ray of each bundle gets out through the layer, times its weight."""
    return _opened.fetch(bundles, _trace)


def _trace(bundles: list[_Bundle]) -> list[NDArray[np.float32]]:
    alike: dict[tuple[object, ...], list[int]] = {}
    for k, one in enumerate(bundles):  # named lights as wide as each other from the same points
        wide = k if one.toward is None else half_deg_of(one.toward)
        alike.setdefault((one.place, one.count, one.set, one.toward is None, wide), []).append(k)
    out = [np.zeros(0, np.float32)] * len(bundles)
    for numbers in alike.values():
        each = max(1, _AT_ONCE // bundles[numbers[0]].count)
        for first in range(0, len(numbers), each):
            part = numbers[first : first + each]
            for k, made in zip(part, _let_out([bundles[k] for k in part]), strict=True):
                out[k] = made
    return out


def _let_out(bundles: list[_Bundle]) -> NDArray[np.float32]:
    """As :func:`_open` (b, rays), of one bundle or of some that differ in their directions alone,
    named ones of lights that are as wide."""
    place, named = bundles[0].place, [one.toward for one in bundles if one.toward is not None]
    if not named:
        return (~blocked(place.bodies, *bundles[0].rays()))[None].astype(np.float32)
    points, half_deg = place.points(bundles[0].count), half_deg_of(named[0])
    own = _into_discs(points.shape[1], bool(bundles[0].set), half_deg)
    way, weight, _ = caps_of(named, half_deg, own)
    starts = np.broadcast_to(points[:, None], way.shape).reshape(3, -1)
    free = ~blocked(place.bodies, starts, way.reshape(3, -1))
    return (free.reshape(weight.shape) * np.rint(weight * 1024.0) / 1024.0).astype(np.float32)


_Asked = tuple[Construction, FilamentCell, Distance, tuple[Named, ...], bool, bool, bool]
_kept_pairs: Kept[_Asked, JointGaps] = Kept(
    128, packed=Packed("pairs", lambda asked: asked, vars, lambda _, arrays: JointGaps(**arrays))
)


def joint_gaps(
    construction: Construction,
    bodies: FilamentCell,
    distance: Distance,
    vectors: tuple[Named, ...],
    flip: bool = False,
    nodes: bool = True,
    exact: bool = True,
) -> JointGaps:
    """Pair probabilities for something at ``distance`` behind the layer of ``construction``, of
    which lines meet ``bodies`` (as :func:`weavecolor.optics.cell.rays.bodies` tells).

    ``vectors``: named unit directions in the cloth's frame, z > 0, each with the aperture of an eye
    or that of its light; where the back lies outwards (``flip``) the directions have z < 0, and the
    nodes stand for the lower ones. Without ``nodes``, diffuse light is taken to meet the openings
    at random, which is nearly so far behind a layer, and only the named directions are counted out.
    Not ``exact``: fewer points, for pictures. Kept, also for the next run.
    """
    asked = construction, bodies, distance, vectors, flip, nodes, exact
    return _kept_pairs.one(asked, lambda: _pairs(*asked))


def _pairs(
    construction: Construction,
    bodies: FilamentCell,
    distance: Distance,
    vectors: tuple[Named, ...],
    flip: bool,
    nodes: bool,
    exact: bool,
) -> JointGaps:
    geometry, grid = tubes(construction), nodes_()
    half = grid.half
    points = (_NAMED_POINTS if nodes else _FAR_POINTS) if exact else _QUICK_POINTS
    outward = partial(_Bundle, _place(construction, bodies, distance, flip))
    wanted = [outward(points, v, k) for k in (0, 1) for v in vectors]
    if nodes:
        wanted += [outward(_NODE_POINTS, v) for v in vectors]
        wanted += [outward(_NODE_POINTS, set=k) for k in (0, 1)]
        wanted += [outward(points)] * bool(vectors)
    opened = iter(_open(wanted))

    held = _held_register(geometry, grid, distance, vectors, flip)
    pair, named, gain = np.zeros((0, 0)), np.zeros((0, half)), np.zeros(0)
    if vectors:
        fine, other = (np.stack([next(opened) for _ in vectors], axis=1) for _ in range(2))
        pair = _counted(fine, other)
        pair = 0.5 * (pair + pair.T)
    if not nodes:
        return JointGaps(np.zeros((0, 0)), named, pair, gain, held)
    coarse = [next(opened) for _ in vectors]
    node, again = (next(opened).reshape(-1, half) for _ in range(2))
    if vectors:
        named = _counted(np.stack(coarse, axis=1), node)
        out = next(opened)
        together = (fine * out[:, None]).mean(axis=0)
        gain = together / np.maximum(fine.mean(axis=0) * out.mean(), 1e-12)
    joint = _counted(node, again)
    joint = 0.5 * (joint + joint.T)
    if geometry.half_turn:  # half a turn changes nothing: twice the points
        turn = grid.turned(grid.steps // 2)[:half]
        joint = 0.5 * (joint + joint[np.ix_(turn, turn)])
    return JointGaps(joint, named, pair, gain, held)


def _held_register(
    geometry: Tubes, nodes_: Nodes, distance: Distance, vectors: tuple[Named, ...], flip: bool
) -> Array:
    """How much of the register between openings is left (D + E, D + E), 0-1, after the sideways
    way between two passages.

    Yarn spacing with variation v walks off a grating as v sqrt(p s) over a way s, which dims the
    grating's first harmonic by exp(-2 pi^2 v^2 s / p): the Debye-Waller factor of one-dimensional
    paracrystalline order (R. Hosemann, S. N. Bagchi, Direct Analysis of Diffraction by Matter,
    1962).
    """
    half = nodes_.half
    grid = nodes_.vector[half:] if flip else nodes_.vector[:half]
    every = np.concatenate([grid, np.array([v[:3] for v in vectors]).reshape(-1, 3)])
    slope = every[:, :2] / np.abs(every[:, 2:])
    depth = float(np.mean(distance.depths)) if distance.depths else 0.0
    depth += sum(0.5 * (a + b) for a, b in distance.spans) + geometry.bottom
    way = depth * np.linalg.norm(slope[:, None] - slope[None], axis=-1) / geometry.pitch
    return np.asarray(np.exp(-2.0 * np.pi**2 * distance.uneven**2 * way))


def _uneven(joint: Array, through_a: Array, through_b: Array, held: Array) -> Array:
    chance = np.outer(through_a, through_b)
    return chance + (joint - chance) * held
