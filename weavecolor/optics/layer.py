"""One dyed layer: radiance factors between directions, band by band.

Knows how yarn colour meets the cell's geometry; knows nothing of stacks, scenes or pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept
from weavecolor.colour.spectra import BANDS
from weavecolor.optics.cell.finish import (
    Finish,
    NamedForms,
    Surfaces,
    finish,
    named_forms,
    surfaces,
)
from weavecolor.optics.cell.nodes import Nodes, Vector
from weavecolor.optics.cell.nodes import nodes as nodes_
from weavecolor.optics.cell.pairs import Distance, pairs
from weavecolor.optics.cell.transport import beams, transport
from weavecolor.optics.kubelka import film
from weavecolor.textile.cloth import Cloth, Construction, Yarn
from weavecolor.textile.construction import check_weavable

Array = NDArray[np.float64]
Links = tuple[tuple[int, int], ...]


def yarn_film(yarn: Yarn) -> tuple[Array, Array]:
    """Reflectance and transmittance (41,) of one yarn of a system, light taken as diffuse.

    Kubelka-Munk film whose scattering power is the yarn's areal mass (linear density over width)
    times its scattering coefficient; ``inf`` gives an opaque yarn of the hank's colour.
    """
    areal_mass = yarn.tex / yarn.width_mm  # tex / mm is g / m2
    return film(yarn.colour, yarn.scattering_m2_g * areal_mass)


@dataclass(frozen=True, eq=False)
class Dyed:
    """A cloth with its colours on the cell, whatever way it is laid and lit.

    ``weight`` (41, 5): what each band gives to the forms of :mod:`weavecolor.optics.cell.finish`;
    ``node`` (41, 2D, 2D): radiance factors between quadrature nodes. For each parity under half a
    turn, ``rounds`` (41, Q, Q): all rounds of exchange between patches, and ``received``
    (41, Q, M): light at each patch from other yarn, by node pattern it came in from.
    """

    construction: Construction
    surface: Finish
    weight: Array
    rounds: tuple[Array, ...]
    received: tuple[Array, ...]
    node: NDArray[np.float32]


def _both_ways(flow: Array) -> Array:
    """Exchanged light (41, m, m) made the same both ways, which it is but for sampling."""
    return 0.5 * (flow + np.swapaxes(flow, 1, 2))


def dye(cloth: Cloth) -> Dyed:
    """Put a cloth's colours on its cell. Raises InputError where the cloth cannot be woven."""
    return _dyed.one(content(cloth), lambda: _dye(cloth))


def _dye(cloth: Cloth) -> Dyed:
    check_weavable(cloth)
    construction = cloth.construction()
    surface = finish(construction, surfaces(cloth))
    films = [yarn_film(y) for y in (cloth.warp, cloth.weft)]
    columns = [r for r, _ in films] + [t for _, t in films] + [np.ones(BANDS)]
    weight = np.stack(columns, axis=1)
    rounds: list[Array] = []
    received: list[Array] = []
    parts: list[Array] = []
    for parity in surface.parities:
        once = np.tensordot(weight, parity.loop, 1)
        rounds.append(np.asarray(np.linalg.inv(np.eye(len(parity.patch)) - once)))
        received.append(rounds[-1] @ np.tensordot(weight, parity.arriving, 1))
        flow = np.tensordot(weight, parity.sent, 1) @ received[-1]
        parts.append(np.tensordot(weight, parity.first, 1) + _both_ways(flow))
    node = _whole(parts, surface.cell.nodes).astype(np.float32)
    return Dyed(construction, surface, weight, tuple(rounds), tuple(received), node)


def _whole(parts: list[Array], grid: Nodes) -> Array:
    """Radiance factors between nodes (41, 2D, 2D) from their even and odd part."""
    if len(parts) == 1:
        return parts[0]
    even, odd = parts
    rings, turn = 2 * grid.rings, grid.steps // 2
    # by ring, half turn, step: pattern m stands for the steps of the first half turn
    out = np.empty((BANDS, rings, 2, turn, rings, 2, turn))
    shape = (BANDS, rings, turn, rings, turn)
    near, far = (0.5 * (even + odd)).reshape(shape), (0.5 * (even - odd)).reshape(shape)
    for a in (0, 1):
        out[:, :, a, :, :, a] = near
        out[:, :, a, :, :, 1 - a] = far
    return out.reshape(BANDS, 2 * grid.half, 2 * grid.half)


_dyed: Kept[tuple[Any, ...], Dyed] = Kept(8)


def content(cloth: Cloth) -> tuple[Any, ...]:
    """Everything that the optics of a cloth depend on, hashable: equal means alike to the eye."""
    return (
        cloth.construction(),
        surfaces(cloth),
        *(
            (y.colour.tobytes(), y.scattering_m2_g, y.tex, y.width_mm)
            for y in (cloth.warp, cloth.weft)
        ),
    )


@dataclass(frozen=True, eq=False)
class Lie:
    """How a layer lies and where it is open: what counts where openings of layers line up.

    Labels: D upper nodes, then E ``named`` directions. ``through`` (N,): beam; ``open`` (N,): share
    of it that no yarn's outline covers; ``share`` (N,): quadrature shares, 0 for named directions.
    ``thickness`` mm; ``depths``: evenly spaced quantiles of how deep below its front the layer is
    met by diffuse light, mm; ``pitch``: mean yarn spacing, mm.
    """

    construction: Construction
    turn: float
    flip: bool
    named: tuple[Vector, ...]
    exact: bool
    through: Array
    open: Array
    share: Array
    thickness: float
    depths: tuple[float, ...]
    pitch: float


@dataclass(frozen=True, eq=False)
class LayerOptics:
    """A laid layer in the stack's frame. Labels as in :class:`Lie`; a label below stands for
    light travelling along the same line, so the label's opposite.

    ``reflect`` (41, N, N) from above, ``under`` from below, ``pass_`` (41, N, N) scattered
    through (from above by row label, leaving below by column label).
    """

    reflect: Array
    under: Array
    pass_: Array
    lie: Lie


@lru_cache(maxsize=64)
def _named(
    construction: Construction,
    kinds: Surfaces,
    vectors: tuple[Vector, ...],
    links: Links | None,
    exact: bool,
) -> NamedForms:
    looked = beams(construction, vectors, exact)
    return named_forms(construction, finish(construction, kinds), tuple(looked), links)


@lru_cache(maxsize=32)
def _depths(construction: Construction, flip: bool) -> tuple[float, ...]:
    cell = transport(construction)
    half = cell.nodes.half
    out = slice(half, None) if flip else slice(0, half)
    weight = cell.samples.share * (cell.seen[:, out] @ cell.nodes.share[out])
    z = cell.samples.point[2]
    depth = z + cell.geometry.bottom if flip else cell.geometry.top - z
    order = np.argsort(depth)
    level = np.cumsum(weight[order])
    quantiles = np.interp(np.linspace(0.0, 1.0, 9), level / level[-1], depth[order])
    return tuple(round(float(q), 9) for q in quantiles)


def to_cloth_frame(vector: Vector, turn: float, flip: bool) -> Vector:
    """A direction of the stack's frame in the frame of a cloth laid at ``turn`` radians."""
    x, y, z = vector
    c, s = np.cos(turn), np.sin(turn)
    x, y = c * x + s * y, -s * x + c * y
    if flip:
        x, z = -x, -z
    # rounding lets equal directions share what is cached
    return tuple(round(float(v), 9) + 0.0 for v in (x, y, z))  # type: ignore[return-value]


def _rolls(steps: int, turn: float) -> tuple[tuple[int, float], ...]:
    """Whole azimuth steps on either side of ``turn`` and their weights."""
    exact = turn / (2.0 * np.pi) * steps
    low = int(np.floor(exact + 1e-9))
    rest = max(exact - low, 0.0)
    return ((low, 1.0),) if rest < 1e-9 else ((low, 1.0 - rest), (low + 1, rest))


def orders(grid: Nodes, turn: float, flip: bool) -> list[tuple[NDArray[Any], float]]:
    """For each whole turn: which cloth-frame node each stack-frame label is, and its weight.

    Labels: upper nodes, then (in the same order) the opposites of the upper nodes.
    """
    half = grid.half
    out = []
    for shift, weight in _rolls(grid.steps, turn):
        index = grid.turned(shift)
        if flip:
            index = grid.over[index]
        out.append((np.concatenate([index[:half], index[grid.opposite[:half]]]), weight))
    return out


def layer_optics(
    cloth: Cloth,
    turn: float,
    flip: bool,
    above: tuple[Vector, ...],
    below: tuple[Vector, ...] = (),
    *,
    links: Links | None = None,
    exact: bool = True,
) -> LayerOptics:
    """Radiance factors of one laid layer.

    Parameters
    ----------
    cloth : Cloth
    turn : float
        Azimuth of its warp in the stack's frame, radians.
    flip : bool
        Whether its back lies outwards (turned over about its warp).
    above : tuple of (x, y, z)
        Named unit directions with z > 0 that light comes from, or is seen from, above the stack.
    below : tuple of (x, y, z)
        Named unit directions with z > 0 whose opposites lie below the stack (backlights).
    links : tuple of (int, int), optional
        Pairs of named directions, by number (above, then below), whose mutual sheen is wanted;
        all by default.
    exact : bool
        False takes named directions on fewer samples, for pictures of very many.

    Notes
    -----
    Named directions are evaluated exactly at any turn. The nodes of the diffuse quadrature turn
    by whole steps; in between, the two neighbouring whole turns are mixed, which keeps energy
    and reciprocity exact and has no preferred angle.
    """
    dyed = dye(cloth)
    surface = dyed.surface
    cell = surface.cell
    grid, half = cell.nodes, cell.nodes.half
    labels = (*above, *below)
    count = len(labels)
    size = half + count
    vectors = [to_cloth_frame(v, turn, flip) for v in above]
    vectors += [to_cloth_frame((-v[0], -v[1], -v[2]), turn, flip) for v in below]

    reflect, under, through_scattered = (np.zeros((BANDS, size, size)) for _ in range(3))
    through = np.zeros(size)
    share = np.concatenate([grid.share[:half], np.zeros(count)])
    node = dyed.node
    cross = pair = None
    if vectors:
        named = _named(dyed.construction, surface.kinds, tuple(vectors), links, exact)
        cross = np.tensordot(dyed.weight, named.first, 1)
        pair = np.tensordot(dyed.weight, named.pair, 1)
        leaving = np.swapaxes(named.radiosity, 1, 2) * cell.share_patch
        for parity, rounds, got in zip(surface.parities, dyed.rounds, dyed.received, strict=True):
            sent = np.tensordot(dyed.weight, leaving @ parity.patch.T, 1)
            own = rounds @ np.tensordot(dyed.weight, parity.patch @ named.arriving, 1)
            cross += (sent @ got) @ parity.node
            pair += _both_ways(sent @ own)
    q = slice(0, half)
    for order, weight in orders(grid, turn, flip):
        up, down = order[:half], order[half:]
        for table, from_, to in (
            (reflect, up, up),
            (under, down, down),
            (through_scattered, up, down),
        ):
            block = node[:, from_[:, None], to[None]]
            table[:, q, q] += block if weight == 1.0 else weight * block
        through[q] += weight * np.maximum(cell.through[up], 0.0)
        if cross is not None:
            for e in range(count):
                k = half + e
                if e < len(above):
                    reflect[:, k, q] += weight * cross[:, e, up]
                    reflect[:, q, k] = reflect[:, k, q]
                    through_scattered[:, k, q] += weight * cross[:, e, down]
                else:
                    under[:, k, q] += weight * cross[:, e, down]
                    under[:, q, k] = under[:, k, q]
                    through_scattered[:, q, k] += weight * cross[:, e, up]
    if pair is not None:
        a = slice(half, half + len(above))
        b = slice(half + len(above), size)
        pa, pb = slice(0, len(above)), slice(len(above), count)
        reflect[:, a, a] = pair[:, pa, pa]
        under[:, b, b] = pair[:, pb, pb]
        through_scattered[:, a, b] = pair[:, pa, pb]
        through[half:] = named.through
    geometry = cell.geometry
    lie = Lie(
        dyed.construction,
        turn,
        flip,
        labels,
        exact,
        through,
        through,
        share,
        geometry.top + geometry.bottom,
        _depths(dyed.construction, flip),
        geometry.pitch,
    )
    return LayerOptics(reflect, under, through_scattered, lie)


def layer_pairs(layer: Lie, distance: Distance, nodes: bool = True) -> Array:
    """Joint openness (N, N) of the labels of one layer, for something at ``distance`` behind it;
    see :func:`weavecolor.optics.cell.pairs.pairs`."""
    construction = layer.construction
    # openness is the same along a line from either side, so a flipped layer is seen from its face
    vectors = []
    for v in layer.named:
        x, y, z = to_cloth_frame(v, layer.turn, layer.flip)
        vectors.append((x, y, z))
    grid = nodes_()
    half = grid.half
    counted = pairs(construction, distance, tuple(vectors), layer.flip, nodes, layer.exact)
    ways = [
        (order[:half] - (half if layer.flip else 0), weight)
        for order, weight in orders(grid, layer.turn, layer.flip)
    ]
    open_, slips = layer.open[:half], layer.open[half:]
    node, named_node, named = counted.laid(ways).joint(open_, slips, layer.share[:half])
    joint = np.block([[node, named_node.T], [named_node, named]])
    return _slipped(joint, layer.open, layer.through)


def _slipped(joint: Array, open_: Array, through: Array) -> Array:
    """Joint share (N, N) that gets through both ways, where the outlines leave ``joint`` open both
    ways and ``open_`` one way, and ``through`` passes one way in all: what slips between the
    filaments of a yarn goes straight on but meets no opening again on the way back."""
    slip = np.clip((through - open_) / np.maximum(1.0 - open_, 1e-9), 0.0, 1.0)
    one, other = open_[:, None], open_[None, :]
    return np.asarray(
        joint
        + (one - joint) * slip[None, :]
        + (other - joint) * slip[:, None]
        + (1.0 - one - other + joint) * np.outer(slip, slip)
    )
