"""Surface and volume of the yarns of one cell, as forms that wait for colour.

Knows fibre index and lustre; knows nothing of dye. Light that a yarn's surface does not send back
enters the yarn and comes out again coloured; the two shares are coupled so that a white cloth
neither loses nor gains light and source and eye may change places (C. Kelemen, L. Szirmay-Kalos,
Eurographics 2001 short papers, on matte under gloss).

Every quantity is linear in five numbers per band: reflectance of warp and weft yarn, transmittance
of warp and weft yarn, and 1 (sheen). So each is kept as five arrays, its *forms*, and dyeing is a
weighted sum.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell.sheen import mat_factor_of
from weavecolor.optics.cell.surface import Samples
from weavecolor.optics.cell.transport import (
    Beam,
    Transport,
    by_patch,
    fine_samples,
    sent_on,
    transport,
)
from weavecolor.textile.cloth import Cloth, Construction

Array = NDArray[np.float64]

FORMS = 5  # reflectance of warp, of weft; transmittance of warp, of weft; 1

#: Narrowest lobe, radians, that sums over the quadrature nodes resolve.
_BROAD = np.radians(9.0)


@dataclass(frozen=True)
class Surface:
    """One yarn system's surface: fibre index, lobe width in degrees, share of sheen kept."""

    index: float
    width_deg: float
    sheen: float


Surfaces = tuple[Surface, Surface]


def surfaces(cloth: Cloth) -> Surfaces:
    """Warp's and weft's surface."""
    warp, weft = (Surface(y.fibre.index, y.lustre_deg, y.sheen) for y in (cloth.warp, cloth.weft))
    return warp, weft


@dataclass(frozen=True, eq=False)
class Entry:
    """How m directions couple to the cell, by patch.

    ``straight`` (P, m): light entering the yarn where it is first met; ``volume`` (P, m): that
    and what the surfaces sent on to other yarn; ``stray`` (P, m): surface light on its way;
    ``sheen`` (P, m): share that a patch's surface sends back at all; ``radiosity`` (5, P, m):
    forms of the light sent to other yarn.
    """

    straight: Array
    volume: Array
    stray: Array
    sheen: Array
    radiosity: Array


@dataclass(frozen=True, eq=False)
class Parity:
    """Light patterns that half a turn of the cloth leaves alone, or turns into their negative.

    They never mix, so each kind is followed by itself at a fraction of the work. ``patch``
    (Q, P) and ``node`` (M, 2D) hold the patterns, rows orthonormal. ``loop`` (5, Q, Q),
    ``arriving`` (5, Q, M), ``first`` (5, M, M) as in :class:`Finish`; ``sent`` (5, M, Q): forms
    of the light sent to other yarn, times yarn surface over cloth area.
    """

    patch: Array
    node: Array
    loop: Array
    arriving: Array
    sent: Array
    first: Array


@dataclass(frozen=True, eq=False)
class Finish:
    """A construction with its two yarn surfaces.

    ``entry`` for the quadrature nodes; ``keep`` (P,) sqrt of the mean share entering the volume;
    ``chi``, ``bounce`` (P,) couple interreflected light to volume and surface; ``stray_to``
    (P, P) takes stray light from patch to patch; ``loop`` (5, P, P) forms of one round of
    exchange; ``arriving`` (5, P, 2D) forms of what reaches other yarn; ``first`` (5, 2D, 2D)
    forms of light that met one yarn only; ``parities``: the same by parity under half a turn, or
    all in one.
    """

    cell: Transport
    kinds: Surfaces
    entry: Entry
    keep: Array
    chi: Array
    bounce: Array
    stray_to: Array
    loop: Array
    arriving: Array
    first: Array
    parities: tuple[Parity, ...]


@dataclass(frozen=True, eq=False)
class NamedForms:
    """As the last three of :class:`Finish` for E named directions: ``radiosity`` and ``arriving``
    (5, P, E), ``first`` (5, E, 2D) with the nodes and ``pair`` (5, E, E) with each other;
    ``through`` (E,): beam transmittance."""

    radiosity: Array
    arriving: Array
    first: Array
    pair: Array
    through: Array


def _lobes(
    cell: Transport, kinds: Surfaces, one: Array, other: Array, wanted: NDArray[Any] | bool = True
) -> NDArray[np.float32]:
    """Sheen factors (P, m, k) of the patches between directions (m, 3) and (k, 3), with lobes
    wide enough for sums over the nodes; 0 for patches that are not ``wanted`` (P,)."""
    out = np.zeros((cell.cut.count, len(one), len(other)), np.float32)
    one, other = one.astype(np.float32), other.astype(np.float32)
    between = one @ other.T
    for system, kind in enumerate(kinds):
        if kind.sheen <= 0:
            continue
        own = np.flatnonzero((cell.cut.system == system) & wanted)
        normal = cell.normal_patch[own].astype(np.float32)
        tangent = cell.tangent_patch[own].astype(np.float32)
        mu_i, mu_o, s_i, s_o = normal @ one.T, normal @ other.T, tangent @ one.T, tangent @ other.T
        p, m, k = np.nonzero((mu_i > 0)[:, :, None] & (mu_o > 0)[:, None, :])
        width = max(np.radians(kind.width_deg), _BROAD)
        out[own[p], m, k] = kind.sheen * mat_factor_of(
            mu_i[p, m], mu_o[p, k], s_i[p, m], s_o[p, k], between[m, k], kind.index, width
        )
    return out


def _node_lobes(cell: Transport, kinds: Surfaces) -> NDArray[np.float32]:
    """As :func:`_lobes` between all nodes; of two patches half a turn apart one is worked out."""
    grid = cell.nodes
    if cell.turned is None:
        return _lobes(cell, kinds, grid.vector, grid.vector)
    first = np.arange(cell.cut.count) <= cell.turned
    lobes = _lobes(cell, kinds, grid.vector, grid.vector, first)
    turn = grid.turned(grid.steps // 2)
    lobes[~first] = lobes[cell.turned[~first]][:, turn][:, :, turn]
    return lobes


def _facing(cell: Transport) -> Array:
    """Quadrature weight (P, 2D) of each node in a patch's own hemisphere."""
    grid = cell.nodes
    return np.maximum(cell.normal_patch @ grid.vector.T, 0.0) / grid.cosine * grid.share


def _toward(lobes: NDArray[Any], weight: Array) -> Array:
    """Sum of lobes (P, m, k) over their second direction with weight (P, k)."""
    return np.asarray(np.matmul(lobes, weight[:, :, None].astype(np.float32))[:, :, 0], float)


@lru_cache(maxsize=16)
def finish(construction: Construction, kinds: Surfaces) -> Finish:
    """Couple surfaces and volume on one construction; cached."""
    cell = transport(construction)
    grid, share = cell.nodes, cell.share_patch
    lobes = _node_lobes(cell, kinds)
    facing = _facing(cell)
    sheen = _toward(lobes, facing)
    mean = np.einsum("pm,pm->p", sheen, facing) / np.maximum(facing.sum(axis=1), 1e-9)
    keep = np.sqrt(1.0 - mean)

    # interreflected light comes only from where the patch does not see out
    within = np.maximum(1.0 - cell.escape, 1e-9)
    enters = (1.0 - mean - (cell.seen_patch * (1.0 - sheen)) @ grid.share) / within
    enters = np.clip(enters, 0.0, 1.0)
    stray = _stray(cell, cell.seen_patch, lobes, sheen)
    bounce = np.maximum(1.0 - enters - (stray @ grid.share) / within, 0.0) / within
    chi = enters / keep
    rows = np.maximum(cell.exchange.sum(axis=1), 1e-12)
    stray_to = (cell.exchange / rows[:, None]).T * (share[None, :] / share[:, None])

    entry = _entry(cell, keep, chi, bounce, stray_to, cell.seen_patch, sheen, stray, cell.seen)
    inside = cell.seen * ((1.0 - sheen) / keep[:, None])[cell.samples.patch]
    glint = np.zeros((2 * grid.half, 2 * grid.half))
    if lobes.any():
        seen = cell.seen_patch
        glint = np.einsum("pm,pmd,pd->md", share[:, None] * seen, lobes, seen, optimize=True)
    first = _first(cell, entry, entry, bounce, _sample_forms(cell.samples, inside, inside), glint)
    loop = np.zeros((FORMS, cell.cut.count, cell.cut.count))
    for k in (0, 1):
        own = cell.cut.system == k
        loop[k] = cell.exchange * (own * chi**2 * cell.inward)
        loop[2 + k] = (cell.exchange * chi) @ (cell.across * own[:, None] * chi)
    loop[4] = cell.exchange * bounce
    first = 0.5 * (first + np.swapaxes(first, 1, 2))
    arriving = cell.exchange @ entry.radiosity
    sent = np.swapaxes(entry.radiosity, 1, 2) * share
    turn = None if cell.turned is None else grid.turned(grid.steps // 2)
    patterns = zip(_patterns(share.size, cell.turned), _patterns(2 * grid.half, turn), strict=True)
    parities = tuple(
        Parity(p, n, p @ loop @ p.T, p @ arriving @ n.T, n @ sent @ p.T, n @ first @ n.T)
        for p, n in patterns
    )
    return Finish(
        cell, kinds, entry, keep, chi, bounce, stray_to, loop, arriving, first, parities
    )


def _patterns(size: int, turned: NDArray[Any] | None) -> tuple[Array, ...]:
    """Orthonormal patterns over ``size`` places: even and odd under ``turned``, or all."""
    if turned is None:
        return (np.eye(size),)
    place = np.arange(size)
    least = place[place <= turned]
    even, odd = np.eye(size)[least], np.eye(size)[place[place < turned]]
    even += np.eye(size)[turned[least]]
    odd -= np.eye(size)[turned[place < turned]]
    return tuple(rows / np.linalg.norm(rows, axis=1, keepdims=True) for rows in (even, odd))


def _stray(cell: Transport, seen: Array, lobes: NDArray[Any], sheen: Array) -> Array:
    """Surface light (P, m) that does not get out of the cloth at once."""
    leaves = _toward(lobes, cell.seen_patch * cell.nodes.share)
    return seen * np.maximum(sheen - leaves, 0.0)


def _entry(
    cell: Transport,
    keep: Array,
    chi: Array,
    bounce: Array,
    stray_to: Array,
    seen: Array,
    sheen: Array,
    stray: Array,
    seen_sample: NDArray[Any],
) -> Entry:
    straight = seen * (1.0 - sheen) / keep[:, None]
    sent = stray_to @ stray
    volume = straight + chi[:, None] * sent
    onward = sent_on(cell, seen_sample)
    radiosity = np.zeros((FORMS, *straight.shape))
    back = chi[:, None] * (volume - (1.0 - onward) * straight)
    across = chi[:, None] * (cell.across @ volume)
    for k in (0, 1):
        own = (cell.cut.system == k)[:, None]
        radiosity[k] = own * back
        radiosity[2 + k] = own * across
    radiosity[4] = bounce[:, None] * sent
    return Entry(straight, volume, sent, sheen, radiosity)


def _sample_forms(surface: Samples, one: NDArray[Any], other: NDArray[Any]) -> Array:
    """Single scattering by system (2, m, k) from samples (n, m) and (n, k)."""
    return np.stack(
        [(one * (surface.share * (surface.system == k))[:, None]).T @ other for k in (0, 1)]
    )


def _first(
    cell: Transport, one: Entry, other: Entry, bounce: Array, single: Array, glint: Array
) -> Array:
    """Forms (5, m, k) of light that met one yarn only, or went on through it."""
    share = cell.share_patch[:, None]
    out = np.zeros((FORMS, *glint.shape))
    for k in (0, 1):
        own = share * (cell.cut.system == k)[:, None]
        out[k] = single[k] + (own * one.volume).T @ other.volume
        out[k] -= (own * one.straight).T @ other.straight
        out[2 + k] = (own * one.volume).T @ (cell.across @ other.volume)
    out[4] = glint + (share * bounce[:, None] * one.stray).T @ other.stray
    return out


def named_forms(
    construction: Construction,
    surface: Finish,
    beams: tuple[Beam, ...],
    links: tuple[tuple[int, int], ...] | None = None,
) -> NamedForms:
    """How the named ``beams`` couple to the cell.

    ``links``: pairs of beams whose mutual sheen is wanted; None for all.
    """
    cell, kinds = surface.cell, surface.kinds
    grid = cell.nodes
    vectors = np.array([b.vector for b in beams])
    lobes = _lobes(cell, kinds, vectors, grid.vector)
    rough = np.stack([b.coarse for b in beams], axis=1)
    # the same samples as the nodes use, so that energy closes with them
    seen = by_patch(cell.cut.count, cell.samples.patch, cell.samples.share, rough)
    seen /= cell.share_patch[:, None]
    sheen = _toward(lobes, _facing(cell))
    entry = _entry(
        cell,
        surface.keep,
        surface.chi,
        surface.bounce,
        surface.stray_to,
        seen,
        sheen,
        _stray(cell, seen, lobes, sheen),
        rough,
    )
    inward = (1.0 - sheen) / surface.keep[:, None]
    inward_node = (1.0 - surface.entry.sheen) / surface.keep[:, None]
    single = _sample_forms(
        cell.samples,
        rough * inward[cell.samples.patch],
        cell.seen * inward_node[cell.samples.patch],
    )
    fine, bright = cell.samples, rough
    dense = [b.fine for b in beams if b.fine is not None]
    if len(dense) == len(beams):
        fine, bright = fine_samples(construction), np.stack(dense, axis=1)
    dim = bright * inward[fine.patch]
    glint = np.einsum(
        "pm,pmd,pd->md", cell.share_patch[:, None] * seen, lobes, cell.seen_patch, optimize=True
    )
    pair = _first(
        cell,
        entry,
        entry,
        surface.bounce,
        _sample_forms(fine, dim, dim),
        _glints(kinds, fine, bright, vectors, links),
    )
    return NamedForms(
        entry.radiosity,
        cell.exchange @ entry.radiosity,
        _first(cell, entry, surface.entry, surface.bounce, single, glint),
        0.5 * (pair + np.swapaxes(pair, 1, 2)),
        np.array([b.through for b in beams]),
    )


def _glints(
    kinds: Surfaces,
    fine: Samples,
    bright: Array,
    vectors: Array,
    links: tuple[tuple[int, int], ...] | None,
) -> Array:
    """First-order sheen (E, E) between named directions, lobes at their true width."""
    count = len(vectors)
    out = np.zeros((count, count))
    wanted = np.ones((count, count), bool)
    if links is not None:
        wanted[:] = False
        wanted[tuple(np.array(links, np.intp).reshape(-1, 2).T)] = True
        wanted |= wanted.T
    first, second = np.nonzero(np.triu(wanted))
    if not first.size:
        return out
    for k, kind in enumerate(kinds):
        if kind.sheen <= 0:
            continue
        own = np.flatnonzero(fine.system == k)
        seen = bright[own]
        mu, s = vectors @ fine.normal[:, own], vectors @ fine.tangent[:, own]
        between = vectors @ vectors.T
        for one in np.unique(first):  # direction by direction: all pairs at once need much room
            others = second[first == one]
            p, which = np.nonzero((seen[:, others] > 0).T & (seen[:, one] > 0))
            other = others[p]
            factor = mat_factor_of(
                mu[one, which],
                mu[other, which],
                s[one, which],
                s[other, which],
                between[one, other],
                kind.index,
                np.radians(kind.width_deg),
            )
            lit = fine.share[own][which] * seen[which, one] * seen[which, other]
            out[one] += np.bincount(other, kind.sheen * lit * factor, count)
    lower = np.tril_indices(count, -1)
    out[lower] = out.T[lower]
    return out
