"""One layer over a backing, for a handful of directions: the same optics as ``layeroptics`` and
``adding``, arranged so that a new colour costs milliseconds.

Knows the forms of a dyed cell and how a layer meets a Lambertian backing; knows nothing of
cameras, priors or fitting. Whatever the light, only the directions named and uniformly diffuse
light from either side take part, so the quadrature's nodes are summed over once per construction.
What depends on colour is per band a function of four numbers, reflectance and transmittance of
the two yarns, and comes with its slopes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.adding import GAPS, Openings, openings, pile_of
from weavecolor.optics.cell.finish import FORMS, finish, named_forms, surfaces
from weavecolor.optics.cell.nodes import Vector, unit
from weavecolor.optics.cell.transport import beams
from weavecolor.optics.layer import layer_optics, to_cloth_frame
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth

Array = NDArray[np.float64]

#: Yarns (reflectance of warp and weft, transmittance of warp and weft) that the patterns of
#: exchange are learnt from: dark, pale, two-tone, clear, and mixtures.
_TRIED = np.array(
    [
        [0.02, 0.02, 0.00, 0.00], [0.95, 0.95, 0.04, 0.04], [0.90, 0.05, 0.08, 0.00],
        [0.05, 0.90, 0.00, 0.08], [0.48, 0.48, 0.50, 0.50], [0.10, 0.10, 0.88, 0.88],
        [0.50, 0.05, 0.40, 0.15], [0.05, 0.50, 0.15, 0.40], [0.25, 0.25, 0.25, 0.25],
        [0.85, 0.15, 0.10, 0.80], [0.15, 0.85, 0.80, 0.10],
    ]
)  # fmt: skip
#: Patterns weaker than this share of the strongest are left out.
_KEPT = 1e-5

_STEP = 1e-20  # of complex-step differentiation (Squire and Trapp, SIAM Rev. 40 (1998) 110)


@dataclass(frozen=True)
class Laid:
    """One sheet laid down, seen from ``eye`` and lit from ``lamps``: unit vectors in the cloth's
    frame before it is turned over (z > 0 outwards). ``flip``: its back lies outwards."""

    eye: Vector
    lamps: tuple[Vector, ...]
    flip: bool


def laid(scene: Scene, grain_deg: float, face: str) -> Laid:
    """How ``scene`` meets a sheet whose warp lies at ``grain_deg``; lights from the front only."""

    def vector(zenith: float, azimuth: float) -> Vector:
        v = unit(np.radians(zenith), np.radians(azimuth - grain_deg))
        return to_cloth_frame(tuple(float(x) for x in v), 0.0, False)  # type: ignore[arg-type]

    return Laid(
        vector(scene.view_zenith_deg, scene.view_azimuth_deg),
        tuple(vector(x.zenith_deg, x.azimuth_deg) for x in scene.lights),
        face == "back",
    )


@dataclass(frozen=True, eq=False)
class _Openings:
    """Openness of one sheet before a backing: for eye and lamps (E,), pairs (E, E), and sums over
    diffuse light; names as in ``adding``."""

    joint: Array
    joint_diffuse: Array
    straight: Array
    straight_diffuse: float
    spread: float


@dataclass(frozen=True, eq=False)
class OneLayer:
    """Forms of one construction for all that was seen of it, colour still open.

    Sources, in order: the E directions, diffuse light on the face, diffuse light on the back.
    ``first`` (5, m, m); ``sent`` (5, m, r) and ``arriving`` (5, r, m) with ``unit`` (r, r) and
    ``loop`` (5, r, r) for the light exchanged between yarns, reduced from patches to the r
    patterns of exchange that yarns of any colour make.
    """

    sheets: tuple[Laid, ...]
    places: tuple[tuple[int, ...], ...]
    openings: tuple[_Openings, ...]
    count: int
    first: Array
    sent: Array
    arriving: Array
    unit: Array
    loop: Array


def one_layer(cloth: Cloth, sheets: Sequence[Laid]) -> OneLayer:
    """Prepare ``cloth``'s geometry and surfaces for what is seen in ``sheets``."""
    construction = cloth.construction()
    surface = finish(construction, surfaces(cloth))
    cell = surface.cell
    half, share = cell.nodes.half, cell.nodes.share
    met = [
        tuple(to_cloth_frame(v, 0.0, s.flip) for v in (s.eye, *s.lamps)) for s in sheets
    ]
    vectors = list(dict.fromkeys(v for vs in met for v in vs))
    named = named_forms(construction, surface, tuple(beams(construction, vectors)))
    sides = np.zeros((2 * half, 2))
    sides[:half, 0], sides[half:, 1] = share[:half], share[half:]
    count = len(vectors)
    first = np.zeros((FORMS, count + 2, count + 2))
    first[:, :count, :count] = named.pair
    cross = named.first @ sides
    first[:, :count, count:] = cross
    first[:, count:, :count] = np.swapaxes(cross, 1, 2)
    first[:, count:, count:] = sides.T @ surface.first @ sides
    radiosity = np.concatenate([named.radiosity, surface.entry.radiosity @ sides], axis=2)
    arriving = np.concatenate([named.arriving, surface.arriving @ sides], axis=2)
    sent = np.swapaxes(radiosity, 1, 2) * cell.share_patch
    index = {v: k for k, v in enumerate(vectors)}
    return OneLayer(
        tuple(sheets),
        tuple(tuple(index[v] for v in vs) for vs in met),
        _openings(cloth, sheets),
        count,
        first,
        *_reduced(sent, arriving, surface.loop.astype(float)),
    )


def _reduced(sent: Array, arriving: Array, loop: Array) -> tuple[Array, Array, Array, Array]:
    """The exchange between patches projected on what it looks like for a spread of yarns.

    A Petrov-Galerkin reduced basis (A. Quarteroni, A. Manzoni, F. Negri, Reduced Basis Methods for
    Partial Differential Equations, 2016): solutions for :data:`_TRIED` span the trial space,
    solutions of the transposed problem the test space, so the error is of second order.
    """
    w = np.concatenate([_TRIED, np.ones((len(_TRIED), 1))], axis=1)
    closed = np.eye(loop.shape[1]) - np.tensordot(w, loop, 1)
    inside = np.linalg.solve(closed, np.tensordot(w, arriving, 1))
    back = np.linalg.solve(
        np.swapaxes(closed, 1, 2), np.swapaxes(np.tensordot(w, sent, 1), 1, 2)
    )
    trial, test = (_span(np.concatenate(list(a), axis=1)) for a in (inside, back))
    size = min(trial.shape[1], test.shape[1])
    trial, test = trial[:, :size], test[:, :size]
    return sent @ trial, test.T @ arriving, test.T @ trial, test.T @ loop @ trial


def _span(columns: Array) -> Array:
    scaled = columns / np.maximum(np.linalg.norm(columns, axis=0), 1e-12)
    left, size, _ = np.linalg.svd(scaled, full_matrices=False)
    return left[:, size > _KEPT * size[0]]


def _openings(cloth: Cloth, sheets: Sequence[Laid]) -> tuple[_Openings, ...]:
    """Each sheet's openings, with diffuse light already summed."""
    made = []
    for sheet in sheets:
        flips = [s for s in sheets if s.flip == sheet.flip]
        vectors = tuple(dict.fromkeys(v for s in flips for v in (s.eye, *s.lamps)))
        open_, share = _side_openings(_Optics(cloth), sheet.flip, vectors)
        first = share.size - len(vectors)
        at = [first + vectors.index(v) for v in (sheet.eye, *sheet.lamps)]
        straight = open_.straight
        made.append(
            _Openings(
                open_.joint[np.ix_(at, at)],
                open_.joint[at] @ share,
                straight[at],
                float(straight @ share),
                open_.hit_spread,
            )
        )
    return tuple(made)


class _Optics:
    """A cloth to the eye of a cache that minds its geometry alone."""

    def __init__(self, cloth: Cloth) -> None:
        self.cloth, self.key = cloth, cloth.construction()

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Optics) and self.key == other.key


@lru_cache(maxsize=32)
def _side_openings(
    held: _Optics, flip: bool, vectors: tuple[Vector, ...]
) -> tuple[Openings, Array]:
    """Openings before a backing, with the labels' shares; colour takes no part."""
    pile = pile_of(layer_optics(held.cloth, 0.0, flip, vectors))
    return openings(pile, GAPS["loose"]), pile.share


def between(ready: OneLayer, weight: Array) -> tuple[Array, Array]:
    """Radiance factors (B, m, m) between sources and slopes (B, 4, m, m).

    ``weight`` (B, 4): reflectance of warp and weft yarn, transmittance of warp and weft yarn. The
    slopes come from one forward and one transposed solve for all of them.
    """
    w = np.concatenate([weight, np.ones((len(weight), 1))], axis=1)
    closed = ready.unit - np.tensordot(w, ready.loop, 1)
    sent = np.tensordot(w, ready.sent, 1)
    inside = np.linalg.solve(closed, np.tensordot(w, ready.arriving, 1))
    back = np.swapaxes(
        np.linalg.solve(np.swapaxes(closed, 1, 2), np.swapaxes(sent, 1, 2)), 1, 2
    )
    value = np.tensordot(w, ready.first, 1) + _mutual(ready, sent @ inside)
    slopes = []
    for k in range(FORMS - 1):
        onward = ready.arriving[k] + np.matmul(ready.loop[k], inside)
        change = np.matmul(ready.sent[k], inside) + np.matmul(back, onward)
        slopes.append(ready.first[k] + _mutual(ready, change))
    return value, np.stack(slopes, axis=1)


def _mutual(ready: OneLayer, flow: NDArray[Any]) -> Array:
    """Exchanged light made the same both ways, as ``layeroptics`` does it."""
    e = ready.count
    out: Array = 0.5 * (flow + np.swapaxes(flow, 1, 2))
    out[:, :e, e:] = flow[:, :e, e:]
    out[:, e:, :e] = np.swapaxes(flow[:, :e, e:], 1, 2)
    return out


def over_backing(
    ready: OneLayer, which: int, value: Array, slopes: Array, backing: Array
) -> tuple[Array, Array]:
    """Radiance factors towards the eye of sheet ``which``, over a backing (B,).

    Returns (B, L + 1): light from each lamp, then diffuse light; and the slopes (5, B, L + 1)
    against the four yarn numbers and the backing's reflectance.
    """
    changes = [slopes[:, k] for k in range(FORMS - 1)]
    out = [
        _over(ready, which, value + 1j * _STEP * change, backing).imag / _STEP
        for change in changes
    ]
    moved = _over(ready, which, value.astype(complex), backing + 1j * _STEP)
    return moved.real, np.stack([*out, moved.imag / _STEP])


def _over(ready: OneLayer, which: int, value: NDArray[Any], backing: NDArray[Any]) -> NDArray[Any]:
    """As ``adding.over_backing``, for the entries that the eye of one sheet needs."""
    open_, places = ready.openings[which], ready.places[which]
    up, down = ready.count, ready.count + 1
    if ready.sheets[which].flip:
        up, down = down, up
    eye, lamps = places[0], list(places[1:])
    rho = np.asarray(backing)
    loop = 1.0 - rho * open_.spread * value[:, down, down]
    inner = value[:, down, down] / loop
    to_eye = value[:, eye, down]
    columns = [
        (value[:, eye, a], value[:, a, down], open_.joint[0, k], open_.straight[k])
        for k, a in enumerate(lamps, 1)
    ]
    columns.append(
        (value[:, eye, up], value[:, up, down], open_.joint_diffuse[0], open_.straight_diffuse)
    )
    seen = open_.straight[0] + open_.spread * to_eye
    out = []
    for reflected, through, joint, straight in columns:
        first = joint + open_.straight[0] * through + to_eye * straight
        first = first + open_.spread * to_eye * through
        rounds = seen * (straight + open_.spread * through) * inner
        out.append(reflected + rho * (first + rho * rounds))
    return np.stack(out, axis=1)
