"""One dyed layer: radiance factors between directions, band by band.

Knows how yarn colour meets the cell's geometry; knows nothing of stacks, scenes or pictures.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from weavecolor.cell.finish import Entry, Finish, NamedEntry, finish, named_entry, surfaces
from weavecolor.cell.pairs import Pairs, pairs
from weavecolor.cell.transport import beam
from weavecolor.cloth import Cloth, Construction, Yarn
from weavecolor.construction import check_weavable
from weavecolor.kubelka import film
from weavecolor.spectra import BANDS

Array = NDArray[np.float64]
Vector = tuple[float, float, float]


def yarn_film(yarn: Yarn) -> tuple[Array, Array]:
    """Reflectance and transmittance (41,) of one yarn of a system, light taken as diffuse.

    Kubelka-Munk film whose scattering power is the yarn's areal mass (linear density over width)
    times its scattering coefficient; ``inf`` gives an opaque yarn of the hank's colour.
    """
    areal_mass = yarn.tex / yarn.width_mm  # tex / mm is g / m2
    return film(yarn.colour, yarn.scattering_m2_g * areal_mass)


@dataclass(frozen=True, eq=False)
class _Arrivals:
    """Light from m directions once it has met its first yarn, by band and patch: ``radiosity``
    (41, P, m) sent to other yarn; ``volume`` (P, m) all that enters yarn at first; ``stray``
    (P, m) first surface light on its way; ``straight`` (P, m) what enters where first met."""

    radiosity: Array
    volume: Array
    stray: Array
    straight: Array


@dataclass(frozen=True, eq=False)
class Dyed:
    """A cloth with its colours on the cell: the operators that depend on band and not on the
    named directions.

    ``reflect`` (2, 41) yarn reflectance by system, ``reflect_patch`` (41, P) by patch; ``first``
    (41, P, P) yarn reflectance and transmittance between patches; ``rest`` (41, P, P) all further
    exchange; ``entry`` the nodes' arrivals; ``node`` (41, 2D, 2D) radiance factors between nodes.
    """

    construction: Construction
    surface: Finish
    reflect: Array
    reflect_patch: Array
    first: Array
    rest: Array
    entry: _Arrivals
    node: Array


def _through_yarn(surface: Finish, reflect: tuple[Array, Array], transmit: tuple[Array, Array]):
    cut = surface.cell.cut
    r = np.stack(reflect)[cut.system].T  # bands x P
    t = np.stack(transmit)[cut.system].T
    first = t[:, :, None] * surface.cell.across[None]
    diagonal = np.arange(cut.count)
    first[:, diagonal, diagonal] += r
    return first, r


def _arrivals(surface: Finish, reflect: Array, first: Array, entry: Entry) -> _Arrivals:
    sent = surface.stray_to @ entry.stray
    chi = surface.chi[:, None]
    volume = entry.volume + chi * sent
    radiosity = chi * (first @ volume) + surface.bounce[:, None] * sent
    radiosity -= reflect[:, :, None] * (chi * (1.0 - entry.onward) * entry.volume)
    return _Arrivals(radiosity, volume, sent, entry.volume)


def _factors(
    surface: Finish, reflect: Array, first: Array, rest: Array, one: _Arrivals, other: _Arrivals
) -> Array:
    """Radiance factors (41, m, k) beyond what a yarn sends straight back from where it was met."""
    share = surface.cell.share_patch[:, None]
    out = np.ascontiguousarray(np.swapaxes(share * one.radiosity, 1, 2)) @ (rest @ other.radiosity)
    # light through the yarn, and the first stray light, each by one passage of the volume
    left = np.ascontiguousarray((share * one.volume).T)
    out += left @ (first @ other.volume)
    out -= (share * one.straight).T @ (reflect[:, :, None] * other.straight)
    out += (share * surface.bounce[:, None] * one.stray).T @ other.stray
    return out


def dye(cloth: Cloth) -> Dyed:
    """Put a cloth's colours on its cell. Raises InputError where the cloth cannot be woven."""
    key = content(cloth)
    with _lock:
        if key in _dyed:
            _dyed.move_to_end(key)
            return _dyed[key]
    made = _dye(cloth)
    with _lock:
        _dyed[key] = made
        while len(_dyed) > _KEEP:
            _dyed.popitem(last=False)
    return made


def _dye(cloth: Cloth) -> Dyed:
    check_weavable(cloth)
    construction = cloth.construction()
    surface = finish(construction, surfaces(cloth))
    films = [yarn_film(y) for y in (cloth.warp, cloth.weft)]
    reflect, transmit = zip(*films, strict=True)
    first, r = _through_yarn(surface, reflect, transmit)
    cell, chi = surface.cell, surface.chi
    loop = chi[:, None] * first * chi[None, :]
    diagonal = np.arange(cell.cut.count)
    loop[:, diagonal, diagonal] += surface.bounce + r * chi**2 * (cell.inward - 1.0)
    closed = np.eye(cell.cut.count) - cell.exchange[None] @ loop
    rest = np.linalg.solve(closed, np.broadcast_to(cell.exchange, closed.shape))
    entry = _arrivals(surface, r, first, surface.entry)
    node = _factors(surface, r, first, rest, entry, entry)
    node += np.einsum("kb,kij->bij", np.stack(reflect), surface.single) + surface.glint
    return Dyed(construction, surface, np.stack(reflect), r, first, rest, entry, node)


_KEEP = 24
_dyed: OrderedDict[tuple, Dyed] = OrderedDict()
_lock = Lock()


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
class LayerOptics:
    """A laid layer in the stack's frame. Labels: D upper nodes, then E named directions; a label
    below stands for light travelling along the same line, so the label's opposite.

    ``reflect`` (41, N, N) from above, ``under`` from below, ``pass_`` (41, N, N) scattered
    through (from above by row label, leaving below by column label); ``through`` (N,) beam;
    ``share`` (N,) quadrature shares, 0 for named directions. ``thickness`` mm.
    """

    reflect: Array
    under: Array
    pass_: Array
    through: Array
    share: Array
    thickness: float
    pitch: float
    cloth: Cloth
    turn: float
    flip: bool
    named: tuple[Vector, ...]


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
    cloth: Cloth, turn: float, flip: bool, above: tuple[Vector, ...], below: tuple[Vector, ...] = ()
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
    named: NamedEntry | None = None
    beams = tuple(beam(dyed.construction, *v) for v in vectors)
    if beams:
        named = named_entry(dyed.construction, surface, beams)

    reflect, under, through_scattered = (np.zeros((BANDS, size, size)) for _ in range(3))
    through = np.zeros(size)
    share = np.concatenate([grid.share[:half], np.zeros(count)])
    node = dyed.node
    cross = pair = None
    if named is not None:
        r, first, rest = dyed.reflect_patch, dyed.first, dyed.rest
        entry = _arrivals(surface, r, first, named.entry)
        cross = _factors(surface, r, first, rest, entry, dyed.entry)
        cross += np.einsum("kb,kij->bij", dyed.reflect, named.single) + named.glint
        pair = _factors(surface, r, first, rest, entry, entry)
        pair += np.einsum("kb,kij->bij", dyed.reflect, named.single_pair) + named.glint_pair
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
        through[half:] = [x.through for x in beams]
    geometry = cell.geometry
    return LayerOptics(
        reflect,
        under,
        through_scattered,
        through,
        share,
        geometry.top + geometry.bottom,
        geometry.pitch,
        cloth,
        turn,
        flip,
        labels,
    )


def layer_pairs(layer: LayerOptics, near: float, far: float) -> Array:
    """Joint openness (N, N) of the labels of one layer, for a surface ``near`` to ``far`` mm
    behind it; see :mod:`weavecolor.cell.pairs`."""
    construction = layer.cloth.construction()
    half = layer.reflect.shape[1] - len(layer.named)
    # openness is the same along a line from either side, so a flipped layer is seen from its face
    vectors = []
    for v in layer.named:
        x, y, z = to_cloth_frame(v, layer.turn, layer.flip)
        vectors.append((x, y, z))
    grid = dye(layer.cloth).surface.cell.nodes
    joint: Pairs = pairs(construction, near, far, tuple(vectors), layer.flip)
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
