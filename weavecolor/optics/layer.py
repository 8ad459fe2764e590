"""One dyed layer: radiance factors between directions, band by band.

Its light is traced once per construction without any dye (:mod:`weavecolor.optics.cell.filaments`);
a dye is then a sum over lengths. Named lights and eyes have an aperture about their direction, for
exact pairs of directions are not defined for smooth rods: 5 degrees, or what a light tells. Knows
how a cloth's yarns meet the cell; knows nothing of stacks, scenes or pictures.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept
from weavecolor.optics.cell.filaments import (
    FilamentCell,
    Strand,
    WhiteCell,
    paths_each,
    white_cell,
    white_named,
)
from weavecolor.optics.cell.nodes import Named, Nodes
from weavecolor.optics.cell.nodes import nodes as nodes_
from weavecolor.optics.cell.pairs import Distance, JointGaps, joint_gaps, met_depths
from weavecolor.optics.cell.rays import bodies
from weavecolor.optics.dye import absorption
from weavecolor.textile.cloth import Cloth, Construction, Yarn
from weavecolor.textile.construction import check_weavable, geometry_of
from weavecolor.textile.yarn import STEEP

Array = NDArray[np.float64]
Links = tuple[tuple[int, int], ...]
_Way = TypeVar("_Way", bound=Named)


def strands(cloth: Cloth) -> tuple[Strand, Strand]:
    """Warp and weft as their light is traced."""
    warp, weft = cloth.hands
    return strand(cloth.warp, warp), strand(cloth.weft, weft)


def strand(yarn: Yarn, hand: str = "S") -> Strand:
    """A yarn as its light is traced, twisted to that ``hand``."""
    twist = yarn.twist_rad_mm if hand == "S" else 0.0 - yarn.twist_rad_mm
    if yarn.flattening > 1.0 and abs(twist) * 0.5 * yarn.width_mm < STEEP:
        twist = 0.0
    return Strand(
        yarn.width_mm,
        yarn.height_mm,
        yarn.rods,
        yarn.packing,
        yarn.fibre.index,
        twist,
        yarn.dull_per_mm,
        section=yarn.section,
    )


def woven(construction: Construction, warp: Strand, weft: Strand) -> FilamentCell:
    """The cell of two strands in a construction, twisted S where their twist is above nought, Z
    where it is below (ISO 2:1973).

    Parameters
    ----------
    construction : Construction
        Lengths in mm.
    warp, weft : Strand
    """
    # Across, along and up of the systems are mirror images, which would make it the other hand.
    weft = replace(weft, twist=0.0 - weft.twist)
    c = construction
    return FilamentCell(c.lift, warp, weft, c.warp_spacing, c.weft_spacing, *c.swings)


@dataclass(frozen=True, eq=False)
class Solved:
    """A cloth with its dye in its cell, however it is laid and lit.

    ``absorption`` (B, 2): of warp and weft fibre, 1/mm; ``node`` (B, 2D, 2D): radiance factors
    between quadrature nodes.
    """

    construction: Construction
    white: WhiteCell
    absorption: Array
    node: NDArray[np.float32]


def solve(
    construction: Construction, cell: FilamentCell, absorption: Array, rays: float = 1.0
) -> Solved:
    """Put a dye, (B, 2) 1/mm of warp and weft, into a cell.

    Parameters
    ----------
    construction : Construction
    cell : FilamentCell
        From :func:`woven`.
    absorption : ndarray, shape (B, 2)
        Of warp and weft inside the fibre, natural logarithms, 1/mm, from 0.
    rays : float
        Share of the usual rays, above 0, at most 1.
    """
    white = white_cell(cell, each=paths_each(cell, rays))
    return Solved(construction, white, absorption, white.dyed(absorption))


def solved(cloth: Cloth, rays: float = 1.0, step: int = 1) -> Solved:
    """The dye of ``cloth`` in its cell, by a share ``rays`` of the usual ones, at every ``step``-th
    band; kept. Raises InputError where the cloth cannot be woven."""

    def make() -> Solved:
        check_weavable(cloth)
        construction = geometry_of(cloth)
        cell = woven(construction, *strands(cloth))
        both = np.stack([absorption(y) for y in (cloth.warp, cloth.weft)], axis=1)
        return solve(construction, cell, both[::step], rays)

    return _solved.one((*content(cloth), rays, step), make)


_solved: Kept[tuple[Any, ...], Solved] = Kept(8)


@lru_cache(maxsize=64)
def content(cloth: Cloth) -> tuple[Any, ...]:
    """Everything that the optics of a cloth depend on, hashable: equal means alike to the eye."""
    yarns = (cloth.warp, cloth.weft)
    return (
        geometry_of(cloth),
        *strands(cloth),
        *(absorption(y).tobytes() for y in yarns),
    )


@dataclass(frozen=True, eq=False)
class Placement:
    """How a layer lies and where it is open: what counts where openings of layers line up.

    Labels: D upper nodes, then E ``named`` directions. ``bodies``: what lines meet of it;
    ``through`` (N,): beam; ``share`` (N,): quadrature shares, 0 for named directions.
    ``thickness`` mm; ``depths``: evenly spaced quantiles of how deep below its front the layer is
    met by diffuse light, mm; ``pitch``: mean yarn spacing, mm.
    """

    construction: Construction
    bodies: FilamentCell
    turn: float
    flip: bool
    named: tuple[Named, ...]
    exact: bool
    through: Array
    share: Array
    thickness: float
    depths: tuple[float, ...]
    pitch: float

    @cached_property
    def lines(self) -> tuple[Named, ...]:
        """The named directions in the cloth's own frame. Openness is the same along a line from
        either side, so a flipped layer is seen from its face."""
        return tuple(to_cloth_frame(v, self.turn, self.flip) for v in self.named)


@dataclass(frozen=True, eq=False)
class LayerOptics:
    """A laid layer in the stack's frame. Labels as in :class:`Placement`; a label below stands for
    light travelling along the same line, so the label's opposite.

    ``reflect`` (41, N, N) from above, ``under`` from below, ``transmit`` (41, N, N) scattered
    through (from above by row label, leaving below by column label).
    """

    reflect: Array
    under: Array
    transmit: Array
    placement: Placement


def to_cloth_frame(vector: _Way, turn: float, flip: bool) -> _Way:
    """A direction of the stack's frame in the frame of a cloth laid at ``turn`` radians.

    Parameters
    ----------
    vector : (x, y, z) or (x, y, z, half angle)
        Unit direction; the angle in degrees.
    turn : float
        Azimuth of the warp in the stack's frame, radians.
    flip : bool
        Whether the back lies outwards.
    """
    x, y, z = vector[:3]
    c, s = np.cos(turn), np.sin(turn)
    x, y = c * x + s * y, -s * x + c * y
    if flip:
        x, z = -x, -z
    # rounding lets equal directions share what is cached
    turned = (*(round(float(v), 9) + 0.0 for v in (x, y, z)), *vector[3:])
    return turned  # type: ignore[return-value]


def _rolls(steps: int, turn: float) -> tuple[tuple[int, float], ...]:
    """Whole azimuth steps on either side of ``turn`` and their weights."""
    exact = turn / (2.0 * np.pi) * steps
    low = int(np.floor(exact + 1e-9))
    rest = max(exact - low, 0.0)
    return ((low, 1.0),) if rest < 1e-9 else ((low, 1.0 - rest), (low + 1, rest))


def orders(grid: Nodes, turn: float, flip: bool) -> list[tuple[NDArray[Any], float]]:
    """For each whole turn: which cloth-frame node each stack-frame label is, and its weight.

    Labels: upper nodes, then (in the same order) the opposites of the upper nodes.

    Parameters
    ----------
    grid : Nodes
    turn : float
        Radians.
    flip : bool
        Whether the back lies outwards.
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
    above: tuple[Named, ...],
    below: tuple[Named, ...] = (),
    *,
    links: Links | None = None,
    rays: float = 1.0,
) -> LayerOptics:
    """Radiance factors of one laid layer.

    Parameters
    ----------
    cloth : Cloth
    turn : float
        Azimuth of its warp in the stack's frame, radians.
    flip : bool
        Whether its back lies outwards (turned over about its warp).
    above : tuple of (x, y, z) or (x, y, z, half angle)
        Named unit directions with z > 0 that light comes from, or is seen from, above the stack;
        of light that spreads over more than 5 degrees to each side, how far it does.
    below : tuple of the same
        Named unit directions with z > 0 whose opposites lie below the stack (backlights).
    links : tuple of (int, int), optional
        Pairs of named directions, by number (above, then below), whose light from one to the other
        is wanted, the one that more is asked of first; all by default. The others may stay 0.
    rays : float
        Share of the usual rays of named directions, above 0, at most 1.

    Notes
    -----
    Light straight through, and light scattered out of a named direction in all, is traced for that
    very direction at any turn. The nodes turn by whole steps; in between, the two neighbouring
    whole turns are mixed, which keeps energy and reciprocity exact and has no preferred angle.
    Raises InputError where the cloth cannot be woven.
    """
    return laid(solved(cloth), turn, flip, above, below, links=links, rays=rays)


def laid(
    solution: Solved,
    turn: float,
    flip: bool,
    above: tuple[Named, ...],
    below: tuple[Named, ...] = (),
    *,
    links: Links | None = None,
    rays: float | tuple[float, ...] = 1.0,
) -> LayerOptics:
    """As :func:`layer_optics`, of a cell with its dye, ``solution``; ``turn``, ``flip``, ``above``,
    ``below``, ``links`` and ``rays`` as there, or ``rays`` of each direction."""
    white = solution.white
    cell, grid, half = white.cell, white.grid, white.grid.half
    labels = (*above, *below)
    count, bands = len(labels), len(solution.absorption)
    size = half + count
    vectors = [to_cloth_frame(v, turn, flip) for v in above]
    vectors += [to_cloth_frame((-v[0], -v[1], -v[2], *v[3:]), turn, flip) for v in below]

    # what few rays tell is no finer than single precision, and views have many directions
    kind = np.float64 if rays == 1.0 else np.float32
    reflect, under, through_scattered = (np.zeros((bands, size, size), kind) for _ in range(3))
    through = np.zeros(size)
    share = np.concatenate([grid.share[:half], np.zeros(count)])
    named = _named(solution, tuple(vectors), links, rays) if vectors else None
    q = slice(0, half)
    tables = reflect, under, through_scattered
    for up, down, weight in nodes_laid(solution, turn, flip, tables, through):
        if named is not None:
            for e in range(count):
                k = half + e
                if e < len(above):
                    reflect[:, k, q] += weight * named.cross[:, e, up]
                    reflect[:, q, k] = reflect[:, k, q]
                    through_scattered[:, k, q] += weight * named.cross[:, e, down]
                else:
                    under[:, k, q] += weight * named.cross[:, e, down]
                    under[:, q, k] = under[:, k, q]
                    through_scattered[:, q, k] += weight * named.cross[:, e, up]
    if named is not None:
        a = slice(half, half + len(above))
        b = slice(half + len(above), size)
        pa, pb = slice(0, len(above)), slice(len(above), count)
        reflect[:, a, a] = named.pair[:, pa, pa]
        under[:, b, b] = named.pair[:, pb, pb]
        through_scattered[:, a, b] = named.pair[:, pa, pb]
        through[half:] = named.through
    placement = lying(solution.construction, cell, turn, flip, labels, rays == 1.0, through, share)
    return LayerOptics(reflect, under, through_scattered, placement)


def nodes_laid(
    solution: Solved,
    turn: float,
    flip: bool,
    tables: tuple[NDArray[Any], ...],
    through: Array,
) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp], float]]:
    """Lay what a cell does between its nodes, one whole turn of them after the other.

    Parameters
    ----------
    solution : Solved
    turn, flip
        As in :func:`layer_optics`.
    tables : three ndarrays, shape (41, N, N)
        What is sent back above and below and let on; their first labels are the nodes' lines.
    through : ndarray, shape (N,)
        Share that meets nothing, 0 to 1.

    Yields
    ------
    The nodes above and below each line (intp arrays) for each turn that is mixed, and its weight.
    """
    white = solution.white
    half = white.grid.half
    q = slice(0, half)
    node = solution.node
    for order, weight in orders(white.grid, turn, flip):
        up, down = order[:half], order[half:]
        for table, from_, to in zip(tables, (up, down, up), (up, down, down), strict=True):
            block = node[:, from_[:, None], to[None]]
            table[:, q, q] += block if weight == 1.0 else block * table.dtype.type(weight)
        through[q] += weight * white.through[up]
        yield up, down, weight


def lying(
    construction: Construction,
    cell: FilamentCell,
    turn: float,
    flip: bool,
    named: tuple[Named, ...],
    exact: bool,
    through: Array,
    share: Array,
) -> Placement:
    """How a layer of ``cell`` lies.

    Parameters
    ----------
    construction : Construction
    cell : FilamentCell
        Of that construction.
    turn : float
        Azimuth of its warp in the stack's frame, radians.
    flip : bool
        Whether its back lies outwards.
    named : tuple of (x, y, z) or (x, y, z, half angle)
        E named unit directions.
    exact : bool
        False counts openings that line up by fewer points.
    through, share : arrays, shape (N,)
        By label, 0 to 1, as in :class:`Placement`.
    """
    return Placement(
        construction,
        bodies(cell),
        turn,
        flip,
        named,
        exact,
        through,
        share,
        2.0 * cell.top,
        met_depths(construction, flip),
        pitch(cell),
    )


def pitch(cell: FilamentCell) -> float:
    """Mean yarn spacing of a cell, mm."""
    return float(np.sqrt(cell.warp_spacing * cell.weft_spacing))


@dataclass(frozen=True, eq=False)
class _Named:
    """How E named directions meet a cell: ``cross`` (B, E, 2D) radiance factors with the nodes,
    ``pair`` (B, E, E) with each other, ``through`` (E,) as in :class:`Placement`."""

    cross: Array
    pair: Array
    through: Array


def _named(
    solution: Solved, vectors: tuple[Named, ...], links: Links | None,
    rays: float | tuple[float, ...],
) -> _Named:  # fmt: skip
    """The traced light of named directions."""
    every = links or tuple(np.ndindex(len(vectors), len(vectors)))
    met = white_named(solution.white.cell, vectors, every, share=rays)
    return _Named(*met.dyed(solution.absorption), met.through)


def layer_pairs(layer: Placement, distance: Distance, nodes: bool = True) -> Array:
    """Joint openness (N, N) of the labels of one layer, for something at ``distance`` behind it;
    see :func:`weavecolor.optics.cell.pairs.joint_gaps`.

    Parameters
    ----------
    layer : Placement
        Of N labels.
    distance : Distance
        In mm.
    nodes : bool
        False: diffuse light meets the openings at random, as nearly holds far behind.
    """
    counted = joint_gaps(
        layer.construction, layer.bodies, distance, layer.lines, layer.flip, nodes, layer.exact
    )
    return joint_of(counted, layer)


def joint_of(counted: JointGaps, layer: Placement) -> Array:
    """Joint openness (N, N) of a layer's labels from what was counted for its named directions and
    the nodes of its cloth."""
    grid = nodes_()
    half = grid.half
    ways = [
        (order[:half] - (half if layer.flip else 0), weight)
        for order, weight in orders(grid, layer.turn, layer.flip)
    ]
    free, own = layer.through[:half], layer.through[half:]
    node, named_node, named = counted.laid(ways).joint(free, own, layer.share[:half])
    return np.block([[node, named_node.T], [named_node, named]])
