"""One dyed layer: radiance factors between directions, band by band.

Knows how yarn colour meets the cell's geometry; knows nothing of stacks, scenes or pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from weavecolor.cell.finish import Finish, NamedForms, Surfaces, finish, named_forms, surfaces
from weavecolor.cell.pairs import Distance, Pairs, pairs
from weavecolor.cell.transport import Transport, Vector, beams, quick_beams, transport
from weavecolor.cloth import Cloth, Construction, Yarn
from weavecolor.construction import check_weavable
from weavecolor.kept import Kept
from weavecolor.kubelka import film
from weavecolor.spectra import BANDS

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

    ``weight`` (41, 5): what each band gives to the forms of :mod:`weavecolor.cell.finish`;
    ``rounds`` (41, P, P): all rounds of exchange between patches;
    ``received`` (41, P, 2D): light at each patch from other yarn, by node it came in from;
    ``node`` (41, 2D, 2D): radiance factors between quadrature nodes.
    """

    construction: Construction
    surface: Finish
    weight: Array
    rounds: Array
    received: Array
    node: NDArray[np.float32]


def _rounds(surface: Finish, weight: Array) -> Array:
    """All rounds of exchange between patches together (41, P, P)."""
    return np.linalg.inv(np.eye(surface.cell.cut.count) - np.tensordot(weight, surface.loop, 1))


def _received(rounds: Array, weight: Array, arriving: NDArray) -> Array:
    """Light (41, P, m) at each patch from other yarn."""
    return rounds @ np.tensordot(weight, arriving, 1)


def _sent(surface: Finish, weight: Array, radiosity: Array) -> Array:
    """Light (41, m, P) sent to other yarn, times yarn surface over cloth area."""
    forms = np.swapaxes(radiosity, 1, 2) * surface.cell.share_patch
    return np.tensordot(weight, forms, 1)


def dye(cloth: Cloth) -> Dyed:
    """Put a cloth's colours on its cell. Raises InputError where the cloth cannot be woven."""
    return _dyed.fetch([content(cloth)], lambda _: [_dye(cloth)])[0]


def _dye(cloth: Cloth) -> Dyed:
    check_weavable(cloth)
    construction = cloth.construction()
    surface = finish(construction, surfaces(cloth))
    films = [yarn_film(y) for y in (cloth.warp, cloth.weft)]
    columns = [r for r, _ in films] + [t for _, t in films] + [np.ones(BANDS)]
    weight = np.stack(columns, axis=1)
    rounds = _rounds(surface, weight)
    received = _received(rounds, weight, surface.arriving)
    node = _sent(surface, weight, surface.entry.radiosity) @ received
    node = np.tensordot(weight, surface.first, 1) + 0.5 * (node + np.swapaxes(node, 1, 2))
    return Dyed(construction, surface, weight, rounds, received, node.astype(np.float32))


_dyed: Kept[tuple, Dyed] = Kept(8)


def content(cloth: Cloth) -> tuple:
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

    Labels: D upper nodes, then E ``named`` directions. ``through`` (N,): beam; ``share`` (N,):
    quadrature shares, 0 for named directions. ``thickness`` mm; ``depths``: evenly spaced
    quantiles of how deep below its front the layer is met by diffuse light, mm; ``pitch``: mean
    yarn spacing, mm.
    """

    construction: Construction
    turn: float
    flip: bool
    named: tuple[Vector, ...]
    exact: bool
    through: Array
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
    looked = (beams if exact else quick_beams)(construction, vectors)
    return named_forms(construction, finish(construction, kinds), tuple(looked), links)


def _depths(cell: Transport, flip: bool) -> tuple[float, ...]:
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


def _orders(grid, turn: float, flip: bool) -> list[tuple[NDArray, float]]:
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
        False looks named directions up between traced ones, for pictures of very many.

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
        sent = _sent(surface, dyed.weight, named.radiosity)
        cross = np.tensordot(dyed.weight, named.first, 1) + sent @ dyed.received
        own = sent @ _received(dyed.rounds, dyed.weight, named.arriving)
        pair = np.tensordot(dyed.weight, named.pair, 1) + 0.5 * (own + np.swapaxes(own, 1, 2))
    q = slice(0, half)
    for order, weight in _orders(grid, turn, flip):
        up, down = order[:half], order[half:]
        reflect[:, q, q] += weight * node[:, up[:, None], up[None]]
        under[:, q, q] += weight * node[:, down[:, None], down[None]]
        through_scattered[:, q, q] += weight * node[:, up[:, None], down[None]]
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
        looked = (beams if exact else quick_beams)(dyed.construction, vectors)
        through[half:] = [b.through for b in looked]
    geometry = cell.geometry
    lie = Lie(
        dyed.construction,
        turn,
        flip,
        labels,
        exact,
        through,
        share,
        geometry.top + geometry.bottom,
        _depths(cell, flip),
        geometry.pitch,
    )
    return LayerOptics(reflect, under, through_scattered, lie)


def layer_pairs(layer: Lie, distance: Distance, nodes: bool = True) -> Array:
    """Joint openness (N, N) of the labels of one layer, for something at ``distance`` behind it;
    see :func:`weavecolor.cell.pairs.pairs`."""
    construction = layer.construction
    # openness is the same along a line from either side, so a flipped layer is seen from its face
    vectors = []
    for v in layer.named:
        x, y, z = to_cloth_frame(v, layer.turn, layer.flip)
        vectors.append((x, y, z))
    grid = transport(construction).nodes
    half = grid.half
    joint: Pairs = pairs(construction, distance, tuple(vectors), layer.flip, nodes, layer.exact)
    size = half + len(vectors)
    out = np.zeros((size, size))
    for order, weight in _orders(grid, layer.turn, layer.flip):
        up = order[:half]
        index = up if not layer.flip else up - half
        out[:half, :half] += weight * joint.node[np.ix_(index, index)]
        if vectors:
            out[half:, :half] += weight * joint.named_node[:, index]
    out[:half, half:] = out[half:, :half].T
    if vectors:
        out[half:, half:] = joint.named
    return out
