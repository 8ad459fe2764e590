"""One layer of clear, dyed filaments: radiance factors between directions, band by band.

Its light is traced once per construction without any dye (:mod:`weavecolor.optics.cell.filaments`);
a dye is then a sum over lengths. The result is of the same kind as that of
:mod:`weavecolor.optics.layer`, and layers of it are added by :mod:`weavecolor.optics.adding` just
so. Named lights and eyes have an aperture of 5 degrees about their direction, for exact pairs of
directions are not defined for smooth rods: between two of them, what one surface sends back is
taken at that aperture, and what went on through fibres, which is spread wider, is as fine as the
nodes. Knows how a cloth's yarns meet the cell; knows nothing of stacks, scenes or pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept
from weavecolor.optics.cell.filaments import (
    FilamentCell,
    Strand,
    WhiteCell,
    glints,
    white_cell,
    white_named,
)
from weavecolor.optics.cell.nodes import Vector
from weavecolor.optics.cell.openness import QUICK_PENCILS, counted
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.dye import absorption
from weavecolor.optics.layer import LayerOptics, Lie, Links, orders, to_cloth_frame
from weavecolor.textile.cloth import Cloth, Construction, Yarn
from weavecolor.textile.construction import check_weavable

Array = NDArray[np.float64]


def strand(yarn: Yarn) -> Strand:
    """A yarn as its light is traced."""
    return Strand(
        yarn.width_mm,
        yarn.height_mm,
        yarn.rods,
        yarn.packing,
        yarn.fibre.index,
        yarn.twist_rad_mm,
        yarn.dull_per_mm,
    )


def woven(construction: Construction, warp: Strand, weft: Strand) -> FilamentCell:
    """The cell of two strands in a construction."""
    c = construction
    drop = 0.5 * (c.warp_height + c.weft_height)
    swings = drop * c.warp_share, drop * (1.0 - c.warp_share)
    return FilamentCell(c.lift, warp, weft, c.warp_spacing, c.weft_spacing, *swings)


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


def solve(construction: Construction, cell: FilamentCell, absorption: Array) -> Solved:
    """Put a dye, (B, 2) 1/mm of warp and weft, into a cell."""
    white = white_cell(cell)
    return Solved(construction, white, absorption, white.dyed(absorption))


def solved(cloth: Cloth) -> Solved:
    """A cloth's dye in its cell; kept. Raises InputError where the cloth cannot be woven."""

    def make() -> Solved:
        check_weavable(cloth)
        construction = cloth.construction()
        cell = woven(construction, strand(cloth.warp), strand(cloth.weft))
        both = np.stack([absorption(y) for y in (cloth.warp, cloth.weft)], axis=1)
        return solve(construction, cell, both)

    return _solved.one(content(cloth), make)


_solved: Kept[tuple[Any, ...], Solved] = Kept(8)


def content(cloth: Cloth) -> tuple[Any, ...]:
    """Everything that the optics of a cloth depend on, hashable: equal means alike to the eye."""
    yarns = (cloth.warp, cloth.weft)
    return (
        cloth.construction(),
        *(strand(y) for y in yarns),
        *(absorption(y).tobytes() for y in yarns),
    )


def clear_layer_optics(
    cloth: Cloth,
    turn: float,
    flip: bool,
    above: tuple[Vector, ...],
    below: tuple[Vector, ...] = (),
    *,
    links: Links | None = None,
    exact: bool = True,
) -> LayerOptics:
    """Radiance factors of one laid layer; parameters as in
    :func:`weavecolor.optics.layer.layer_optics`. Raises InputError where the cloth cannot be woven.

    Notes
    -----
    Light straight through, and light scattered out of a named direction in all, is traced for that
    very direction at any turn. The nodes turn by whole steps; in between, the two neighbouring
    whole turns are mixed, which keeps energy and reciprocity.
    """
    return laid(solved(cloth), turn, flip, above, below, links=links, exact=exact)


def laid(
    solution: Solved,
    turn: float,
    flip: bool,
    above: tuple[Vector, ...],
    below: tuple[Vector, ...] = (),
    *,
    links: Links | None = None,
    exact: bool = True,
) -> LayerOptics:
    """As :func:`clear_layer_optics`, of a cell with its dye."""
    white = solution.white
    cell, grid, half = white.cell, white.grid, white.grid.half
    labels = (*above, *below)
    count, bands = len(labels), len(solution.absorption)
    size = half + count
    vectors = [to_cloth_frame(v, turn, flip) for v in above]
    vectors += [to_cloth_frame((-v[0], -v[1], -v[2]), turn, flip) for v in below]

    reflect, under, through_scattered = (np.zeros((bands, size, size)) for _ in range(3))
    through, open_ = np.zeros(size), np.zeros(size)
    share = np.concatenate([grid.share[:half], np.zeros(count)])
    node = solution.node
    named = _named(solution, tuple(vectors), links, exact) if vectors else None
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
        through[q] += weight * white.through[up]
        open_[q] += weight * white.open[up]
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
        through[half:], open_[half:] = named.through, named.open
    thickness = 2.0 * cell.top
    lie = Lie(
        solution.construction,
        turn,
        flip,
        labels,
        exact,
        through,
        open_,
        share,
        thickness,
        tuple(round(float(d), 9) for d in np.linspace(0.0, thickness, 9)),
        float(np.sqrt(cell.warp_spacing * cell.weft_spacing)),
    )
    return LayerOptics(reflect, under, through_scattered, lie)


@dataclass(frozen=True, eq=False)
class _Named:
    """How E named directions meet a cell: ``cross`` (B, E, 2D) radiance factors with the nodes,
    ``pair`` (B, E, E) with each other, ``through`` and ``open`` (E,) as in :class:`Lie`."""

    cross: Array
    pair: Array
    through: Array
    open: Array


def _named(
    solution: Solved, vectors: tuple[Vector, ...], links: Links | None, exact: bool
) -> _Named:
    """Named directions. Between two of them, what met one surface alone is taken at their stated
    aperture; what went on is spread wider, and is as fine as the nodes."""
    white, grid = solution.white, solution.white.grid
    cell = white.cell
    mix = grid.about(np.array(vectors))
    between = np.asarray(mix @ solution.node, float)
    pair = np.asarray((between - mix @ white.once) @ mix.T)
    if exact:
        met = white_named(cell, vectors)
        return _Named(met.dyed(solution.absorption), pair + met.glint, met.through, met.open)
    asked: dict[int, list[int]] = {}
    for one, other in links or np.ndindex(len(vectors), len(vectors)):
        asked.setdefault(one, []).append(other)
    found = glints(cell, {vectors[k]: [vectors[n] for n in to] for k, to in asked.items()})
    for one, to in asked.items():
        pair[:, one, to] += found[vectors[one]]
        pair[:, to, one] = pair[:, one, to]
    slip = (white.through - white.open) / np.maximum(1.0 - white.open, 1e-9)
    # outlines are cheap to look at in the very direction
    open_ = counted(tubes(solution.construction), np.array(vectors), QUICK_PENCILS)
    return _Named(between, pair, open_ + (1.0 - open_) * (mix @ slip), open_)
