"""How light moves through one unit cell: openings, shadowing, masking, and exchange.

Knows geometry and directions; knows nothing of colour or sheen. A radiance factor of Lambertian
yarn is then sum over samples of share * reflectance * seen(in) * seen(out), with

    seen(d) = (lit and in sight from d) * (normal . d) / |cos zenith|,

exactly reciprocal by form. Interreflection is a radiosity between patches (C. M. Goral and others,
Computer Graphics 18 (1984) 213) whose exchange factors come from the same rays, made to obey
reciprocity and to close the energy balance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept
from weavecolor.optics.cell.nodes import Nodes, Vector, nodes
from weavecolor.optics.cell.openness import QUICK_PENCILS, counted, openness
from weavecolor.optics.cell.rays import Hits, first_hits
from weavecolor.optics.cell.silhouette import silhouette
from weavecolor.optics.cell.surface import Patches, Samples, patches, samples
from weavecolor.optics.cell.tubes import WARP, Tubes, tubes
from weavecolor.textile.cloth import Construction

Array = NDArray[np.float64]

_COARSE = 1800  # samples on the cell for diffuse light
_NO_AREA = 1e-9  # of a patch that lies wholly within another yarn
_FINE = 10000  # samples on the cell for a named direction


@dataclass(frozen=True, eq=False)
class Transport:
    """Colour-blind transport of one construction on the quadrature nodes.

    ``seen`` (n, 2D) per sample and ``seen_patch`` (P, 2D) per patch; ``share_patch`` (P,) yarn
    surface over cloth area; ``through`` (2D,) beam transmittance; ``exchange`` (P, P): share of
    what leaves one patch that another receives, share_patch-symmetric; ``escape`` (P,) share that
    leaves the cloth; ``across`` (P, P): where light that passed through the yarn comes out.

    Within a patch, the samples that light reaches best also see out best. ``escape_sample`` (n,)
    is each sample's own escape, and ``inward`` (P,) by how much more of the light that came from
    other yarn goes to other yarn again than the patch means say. ``turned`` (P,): the patch that
    each goes to in half a turn of the cloth, which leaves everything as it was; None where the
    weave has no such turn.
    """

    geometry: Tubes
    nodes: Nodes
    cut: Patches
    samples: Samples
    seen: NDArray[Any]
    seen_patch: Array
    share_patch: Array
    through: Array
    exchange: Array
    escape: Array
    across: Array
    normal_patch: Array
    tangent_patch: Array
    escape_sample: Array
    inward: Array
    turned: NDArray[np.intp] | None


@dataclass(frozen=True, eq=False)
class Beam:
    """The cell seen from one named direction: ``fine`` (n_fine,) and ``coarse`` (n,) hold
    ``seen``; ``through`` the beam transmittance. Where ``fine`` is None the coarse samples are
    all there is."""

    vector: Array
    fine: NDArray[Any] | None
    coarse: NDArray[Any]
    through: float


def by_patch(
    count: int, patch: NDArray[Any], weight: NDArray[Any], values: NDArray[Any]
) -> NDArray[Any]:
    """Area-weighted sums of sample values (n, ...) by patch (count, ...)."""
    out = np.zeros((count, *values.shape[1:]))
    np.add.at(out, patch, weight.reshape(-1, *[1] * (values.ndim - 1)) * values)
    return out


def _start(geometry: Tubes, surface: Samples) -> NDArray[Any]:
    return surface.point + 2e-3 * geometry.pitch * surface.normal


def _balanced(flux: Array, target: Array) -> Array:
    """The symmetric matrix nearest in proportion to ``flux`` whose rows sum to ``target``."""
    flux = 0.5 * (flux + flux.T)
    flux = flux + 1e-9 * np.outer(target, target)  # no row is left without any exchange
    for _ in range(200):
        total = flux.sum(axis=1)
        ratio = np.sqrt(np.divide(target, total, out=np.zeros_like(total), where=total > 0))
        flux *= ratio[:, None] * ratio[None, :]
        if np.allclose(flux.sum(axis=1), target, rtol=1e-10, atol=1e-14):
            break
    return flux


def _across_yarn(cut: Patches, share: Array) -> Array:
    """Share (P, P) of the light entering a patch and crossing the yarn that leaves by another.

    It comes out on the same piece of yarn, most on the far side, as (1 - cos(angle)); balanced so
    that it is reciprocal and loses nothing.
    """
    angle = 2.0 * np.pi * (np.arange(cut.around) + 0.5) / cut.around
    kernel = 1.0 - np.cos(angle[:, None] - angle[None, :])
    out = np.zeros((cut.count, cut.count))
    for first in range(0, cut.count, cut.around):
        part = slice(first, first + cut.around)
        out[part, part] = kernel * np.outer(share[part], share[part])
    return _balanced(out, share) / share[:, None]


@lru_cache(maxsize=16)
def transport(construction: Construction, rings: int = 6, steps: int = 12) -> Transport:
    """Trace the cell once; about half a second for a plain weave, cached by construction."""
    geometry = tubes(construction)
    grid = nodes(rings, steps)
    cut = patches(geometry)
    surface = samples(geometry, cut, _COARSE)
    # of two samples half a turn apart one is traced: the other sees the same, half a turn on
    turn = grid.turned(grid.steps // 2)
    traced = surface.share.size // 2 if surface.paired else surface.share.size
    facing = (surface.normal[:, :traced].T @ grid.vector.T) / grid.cosine  # n x 2D
    which, direction = np.nonzero(facing > 0)
    hits = first_hits(geometry, _start(geometry, surface)[:, which], grid.vector[direction].T)
    free = hits.system < 0
    seen = np.zeros(facing.shape, np.float32)
    seen[which[free], direction[free]] = facing[which[free], direction[free]]

    share = np.maximum(np.bincount(surface.patch, surface.share, cut.count), _NO_AREA)
    flux = np.zeros((cut.count, cut.count))
    source, heading, met = which[~free], direction[~free], _hit_patch(geometry, cut, hits, ~free)
    weight = surface.share[source] * facing[source, heading] * grid.share[heading]
    np.add.at(flux, (surface.patch[source], met), weight)
    turned = None
    if surface.paired and geometry.partner is not None:
        turned = cut.turned(geometry.partner)
        flux += flux[np.ix_(turned, turned)]
        seen, facing = (np.concatenate([half, half[:, turn]]) for half in (seen, facing))

    # a beam and its reverse meet the same yarn: scale both halves to their mean
    caught = surface.share @ seen
    mean = 0.5 * (caught + caught[grid.opposite])
    seen *= np.minimum(mean, 1.0) / np.maximum(caught, 1e-12)
    # each sample sends out all of its light: scale rows to what the quadrature counts
    whole = np.bincount(
        surface.patch, surface.share * (np.maximum(facing, 0.0) @ grid.share), cut.count
    )
    seen_patch = by_patch(cut.count, surface.patch, surface.share, seen) / share[:, None]
    escape = seen_patch @ grid.share
    target = np.maximum(whole / share - escape, 0.0)
    # the quadrature's own error on a tilted patch goes to its exchange, never below nothing
    target = np.clip(target + (1.0 - whole / share), 0.0, None)
    exchange = _balanced(flux, share * target) / share[:, None]
    out = seen @ grid.share
    square = np.bincount(surface.patch, surface.share * out * out, cut.count) / share
    within = np.maximum(1.0 - escape, 1e-6)
    inward = np.clip((1.0 - (escape - square) / within) / within, 0.0, None)
    return Transport(
        geometry,
        grid,
        cut,
        surface,
        seen,
        seen_patch,
        share,
        np.asarray(1.0 - surface.share @ seen, np.float64),
        exchange,
        escape,
        _across_yarn(cut, share),
        _unit_mean(cut, surface, surface.normal),
        _unit_mean(cut, surface, surface.tangent),
        out,
        inward,
        turned,
    )


def sent_on(cell: Transport, seen: NDArray[Any]) -> Array:
    """How much of the light that m directions give a patch (n, m samples) goes on to other yarn,
    over what the patch's mean escape says: (P, m)."""
    surface, count = cell.samples, cell.cut.count
    got = by_patch(count, surface.patch, surface.share, seen)
    lost = by_patch(count, surface.patch, surface.share * cell.escape_sample, seen)
    within = np.maximum(1.0 - cell.escape, 1e-6)[:, None]
    ratio = np.divide(got - lost, got * within, out=np.ones_like(got), where=got > 1e-9)
    return np.asarray(np.clip(ratio, 0.0, None))


def _unit_mean(cut: Patches, surface: Samples, vectors: NDArray[Any]) -> Array:
    mean = by_patch(cut.count, surface.patch, surface.share, vectors.T)
    return np.asarray(mean / np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), _NO_AREA))


def _hit_patch(
    geometry: Tubes, cut: Patches, hits: Hits, chosen: NDArray[Any]
) -> NDArray[Any]:
    """Patch numbers of the chosen hits."""
    system, yarn, u = hits.system[chosen], hits.yarn[chosen], hits.u[chosen]
    pitch = np.where(system == WARP, geometry.systems[0].pitch, geometry.systems[1].pitch)
    crossing = np.rint(u / pitch).astype(np.int32)
    along = u / pitch - crossing + 0.5
    a = np.array([s.half_width for s in geometry.systems])[system]
    b = np.array([s.half_height for s in geometry.systems])[system]
    around = np.arctan2(hits.up[chosen] / b, hits.across[chosen] / a) / (2.0 * np.pi) % 1.0
    picks, ends = geometry.orbit.shape
    pick = np.where(system == WARP, crossing, yarn) % picks
    end = np.where(system == WARP, yarn, crossing) % ends
    return cut.index(geometry.sort[geometry.orbit[pick, end]], system, along, around)


@lru_cache(maxsize=16)
def fine_samples(construction: Construction) -> Samples:
    """The denser samples that a named direction is evaluated on."""
    geometry = tubes(construction)
    return samples(geometry, patches(geometry), _FINE)


def _sight(geometry: Tubes, surface: Samples, vector: Vector) -> NDArray[Any]:
    """Facing over |cos zenith| of a surface's samples where in sight (n,), else 0."""
    x, y, z = vector
    normal = surface.normal
    facing = (x * normal[0] + y * normal[1] + z * normal[2]) / abs(z)
    towards = np.flatnonzero(facing > 0)
    shut = silhouette(geometry, vector).blocked(
        _start(geometry, surface)[:, towards], surface.system[towards]
    )
    seen: NDArray[Any] = np.zeros_like(facing)
    free = towards[~shut]
    seen[free] = facing[free]
    return seen


_beams: Kept[tuple[Construction, Vector, bool], Beam] = Kept(256)


def beams(
    construction: Construction, vectors: Sequence[Vector], exact: bool = True
) -> list[Beam]:
    """The cell seen from unit directions (x, y, z), z not 0, in the cloth's frame.

    Not ``exact``: on the coarse samples alone, for pictures, which want very many directions and
    forgive a per cent or two.
    """
    return [
        _beams.one((construction, v, exact), partial(_beam, construction, v, exact))
        for v in vectors
    ]


def _beam(construction: Construction, vector: Vector, exact: bool) -> Beam:
    cell = transport(construction)
    there = np.array(vector)
    if exact:
        through = float(openness(cell.geometry, there))
        near = _scaled_sight(cell.geometry, fine_samples(construction), vector, through)
    else:
        through, near = float(counted(cell.geometry, there[None], QUICK_PENCILS)[0]), None
    return Beam(there, near, _scaled_sight(cell.geometry, cell.samples, vector, through), through)


def _scaled_sight(
    geometry: Tubes, surface: Samples, vector: Vector, through: float
) -> NDArray[Any]:
    """What is in sight, scaled to all that does not pass."""
    seen = _sight(geometry, surface, vector)
    return seen * ((1.0 - through) / max(float(surface.share @ seen), 1e-12))
