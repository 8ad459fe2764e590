"""Surface and volume of the yarns of one cell: what is sheen and what the dye can colour.

Knows fibre index and lustre; knows nothing of colour. Light that a yarn's surface does not send
back enters the yarn and comes out again coloured; the two shares are coupled so that a white
cloth neither loses nor gains light and source and eye may change places (C. Kelemen, L.
Szirmay-Kalos, Eurographics 2001 short papers, on matte under gloss).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from weavecolor.cell.sheen import mat_factor
from weavecolor.cell.transport import Beam, Transport, fine_samples, sent_on, transport
from weavecolor.cloth import Cloth, Construction

Array = NDArray[np.float64]

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
    warp, weft = (
        Surface(y.fibre.index, y.lustre_deg, y.sheen) for y in (cloth.warp, cloth.weft)
    )
    return warp, weft


@dataclass(frozen=True, eq=False)
class Entry:
    """How a set of m directions couples to the cell: ``volume`` (P, m) light entering the yarns
    by patch, ``stray`` (P, m) light their surfaces send on to other yarn, ``sheen`` (P, m) the
    share that a patch's surface sends back at all, ``onward`` (P, m) from ``sent_on``."""

    volume: Array
    stray: Array
    sheen: Array
    onward: Array


@dataclass(frozen=True, eq=False)
class Finish:
    """A construction with its two yarn surfaces.

    ``entry`` for the quadrature nodes; ``keep`` (P,) sqrt of the mean share entering the volume;
    ``chi`` (P,) and ``bounce`` (P,) couple interreflected light to volume and surface; ``stray_to``
    (P, P) takes stray light from patch to patch; ``single`` (2, 2D, 2D) first-order factors per
    yarn system for reflectance 1; ``glint`` (2D, 2D) first-order sheen.
    """

    cell: Transport
    kinds: Surfaces
    entry: Entry
    keep: Array
    chi: Array
    bounce: Array
    stray_to: Array
    single: Array
    glint: Array


def _lobes(cell: Transport, kinds: Surfaces, one: Array, other: Array, broad: bool) -> Array:
    """Sheen factors (P, m, k) of the patches between directions (m, 3) and (k, 3)."""
    out = np.zeros((cell.cut.count, len(one), len(other)))
    for system, kind in enumerate(kinds):
        which = cell.cut.system == system
        width = np.radians(kind.width_deg)
        if kind.sheen > 0:
            out[which] = kind.sheen * mat_factor(
                cell.tangent_patch[which, None, None],
                cell.normal_patch[which, None, None],
                one[None, :, None],
                other[None, None, :],
                kind.index,
                max(width, _BROAD) if broad else width,
            )
    return out


def _entry(cell: Transport, keep: Array, lobes: Array, seen: Array, onward: Array) -> Entry:
    """Coupling of m directions, from their lobes (P, m, 2D) towards the nodes."""
    grid = cell.nodes
    facing = np.maximum(cell.normal_patch @ grid.vector.T, 0.0) / grid.cosine
    sheen = np.einsum("pmd,pd->pm", lobes, facing * grid.share)
    leaves = np.einsum("pmd,pd->pm", lobes, cell.seen_patch * grid.share)
    return Entry(
        seen * (1.0 - sheen) / keep[:, None],
        seen * np.maximum(sheen - leaves, 0.0),
        sheen,
        onward,
    )


@lru_cache(maxsize=32)
def finish(construction: Construction, kinds: Surfaces) -> Finish:
    """Couple surfaces and volume on one construction; cached."""
    cell = transport(construction)
    grid = cell.nodes
    lobes = _lobes(cell, kinds, grid.vector, grid.vector, broad=True)
    facing = np.maximum(cell.normal_patch @ grid.vector.T, 0.0) / grid.cosine
    sheen = np.einsum("pmd,pd->pm", lobes, facing * grid.share)
    mean = np.einsum("pm,pm->p", sheen, facing * grid.share) / (facing @ grid.share)
    keep = np.sqrt(1.0 - mean)
    entry = _entry(cell, keep, lobes, cell.seen_patch, sent_on(cell, cell.seen))

    # interreflected light comes only from where the patch does not see out
    received = 1.0 - cell.escape  # equals the exchange row sums, which close the balance
    within = np.maximum(received, 1e-9)
    enters = np.clip(
        (1.0 - mean - (cell.seen_patch * (1.0 - sheen)) @ grid.share) / within, 0.0, 1.0
    )
    strays_out = np.minimum((entry.stray @ grid.share) / within, 1.0 - enters)
    bounce = np.maximum(1.0 - enters - strays_out, 0.0) / within
    chi = enters / keep

    rows = np.maximum(cell.exchange.sum(axis=1), 1e-12)
    stray_to = (cell.exchange / rows[:, None]).T * (
        cell.share_patch[None, :] / cell.share_patch[:, None]
    )
    inside = cell.seen * ((1.0 - sheen) / keep[:, None])[cell.samples.patch]
    single = np.stack(
        [
            (inside * (cell.samples.share * (cell.samples.system == k))[:, None]).T @ inside
            for k in (0, 1)
        ]
    )
    weighted = cell.share_patch[:, None] * cell.seen_patch
    glint = np.einsum("pm,pmd,pd->md", weighted, lobes, cell.seen_patch, optimize=True)
    return Finish(cell, kinds, entry, keep, chi, bounce, stray_to, single, 0.5 * (glint + glint.T))


@dataclass(frozen=True, eq=False)
class NamedEntry:
    """Coupling of named beams: ``entry`` by patch, and their first-order factors with the nodes,
    ``single`` (2, E, 2D), ``glint`` (E, 2D), and with each other, ``single_pair`` (2, E, E),
    ``glint_pair`` (E, E)."""

    entry: Entry
    single: Array
    glint: Array
    single_pair: Array
    glint_pair: Array


def named_entry(construction: Construction, surface: Finish, beams: tuple[Beam, ...]) -> NamedEntry:
    """How the named ``beams`` couple to the cell."""
    cell, kinds = surface.cell, surface.kinds
    grid, fine = cell.nodes, fine_samples(construction)
    vectors = np.array([b.vector for b in beams])
    lobes = _lobes(cell, kinds, vectors, grid.vector, broad=True)
    seen = np.stack([b.patch for b in beams], axis=1)
    rough = np.stack([b.coarse for b in beams], axis=1)
    entry = _entry(cell, surface.keep, lobes, seen, sent_on(cell, rough))
    inward = (1.0 - entry.sheen) / surface.keep[:, None]

    coarse = rough * inward[cell.samples.patch]
    node = cell.seen * ((1.0 - surface.entry.sheen) / surface.keep[:, None])[cell.samples.patch]
    bright = np.stack([b.fine for b in beams], axis=1)
    fine_in = bright * inward[fine.patch]
    single, pair = [], []
    for k in (0, 1):
        weight = (cell.samples.share * (cell.samples.system == k))[:, None]
        single.append((weight * coarse).T @ node)
        weight = (fine.share * (fine.system == k))[:, None]
        pair.append((weight * fine_in).T @ fine_in)
    glint = np.einsum(
        "pm,pmd,pd->md", cell.share_patch[:, None] * seen, lobes, cell.seen_patch, optimize=True
    )
    glint_pair = np.zeros((len(beams), len(beams)))
    for a in range(len(beams)):
        for b in range(a, len(beams)):
            for k, kind in enumerate(kinds):
                lit = bright[:, a] * bright[:, b] * (fine.system == k)
                which = np.flatnonzero(lit) if kind.sheen > 0 else np.zeros(0, int)
                factor = mat_factor(
                    fine.tangent[:, which].T,
                    fine.normal[:, which].T,
                    vectors[a],
                    vectors[b],
                    kind.index,
                    np.radians(kind.width_deg),
                )
                glint_pair[a, b] += kind.sheen * (fine.share[which] * lit[which]) @ factor
            glint_pair[b, a] = glint_pair[a, b]
    return NamedEntry(entry, np.stack(single), glint, np.stack(pair), glint_pair)
