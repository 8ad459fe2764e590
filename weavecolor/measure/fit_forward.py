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

import numpy as np
from numpy.typing import NDArray

from weavecolor.adding import GAPS
from weavecolor.cell.finish import FORMS, finish, named_forms, surfaces
from weavecolor.cell.nodes import unit
from weavecolor.cell.pairs import pairs
from weavecolor.cell.transport import beam
from weavecolor.cloth import Cloth
from weavecolor.layeroptics import Vector, to_cloth_frame
from weavecolor.scene import Scene

Array = NDArray[np.float64]

_STEP = 1e-20  # of complex-step differentiation (Squire and Trapp, SIAM Rev. 40 (1998) 110)


@dataclass(frozen=True)
class Laid:
    """One sheet laid down, seen from ``eye`` and lit from ``lamps``: unit vectors in the cloth's
    frame (z > 0 on its face). ``flip``: its back lies outwards, so the vectors have z < 0."""

    eye: Vector
    lamps: tuple[Vector, ...]
    flip: bool


def laid(scene: Scene, grain_deg: float, face: str) -> Laid:
    """How ``scene`` meets a sheet whose warp lies at ``grain_deg``; lights from the front only."""
    flip = face == "back"

    def vector(zenith: float, azimuth: float) -> Vector:
        v = unit(np.radians(zenith), np.radians(azimuth - grain_deg))
        return to_cloth_frame(tuple(float(x) for x in v), 0.0, flip)  # type: ignore[arg-type]

    return Laid(
        vector(scene.view_zenith_deg, scene.view_azimuth_deg),
        tuple(vector(x.zenith_deg, x.azimuth_deg) for x in scene.lights),
        flip,
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
    ``first`` (5, m, m); ``sent`` (5, m, P) and ``arriving`` (5, P, m) with ``loop`` (5, P, P) for
    the light exchanged between yarns.
    """

    sheets: tuple[Laid, ...]
    places: tuple[tuple[int, ...], ...]
    openings: tuple[_Openings, ...]
    count: int
    first: Array
    sent: NDArray[np.float32]
    arriving: NDArray[np.float32]
    loop: NDArray[np.float32]


def one_layer(cloth: Cloth, sheets: Sequence[Laid]) -> OneLayer:
    """Prepare ``cloth``'s geometry and surfaces for what is seen in ``sheets``."""
    construction = cloth.construction()
    surface = finish(construction, surfaces(cloth))
    cell = surface.cell
    half, share = cell.nodes.half, cell.nodes.share
    vectors = list(dict.fromkeys(v for s in sheets for v in (s.eye, *s.lamps)))
    named = named_forms(construction, surface, tuple(beam(construction, *v) for v in vectors))
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
    index = {v: k for k, v in enumerate(vectors)}
    return OneLayer(
        tuple(sheets),
        tuple(tuple(index[v] for v in (s.eye, *s.lamps)) for s in sheets),
        tuple(_openings(cloth, s, GAPS["loose"]) for s in sheets),
        count,
        first,
        (np.swapaxes(radiosity, 1, 2) * cell.share_patch).astype(np.float32),
        arriving.astype(np.float32),
        surface.loop,
    )


def _openings(cloth: Cloth, sheet: Laid, gap: tuple[float, float] | None) -> _Openings:
    """As ``adding.openings`` for one sheet, with diffuse light already summed."""
    construction = cloth.construction()
    vectors = (sheet.eye, *sheet.lamps)
    cell = finish(construction, surfaces(cloth)).cell
    half, pitch = cell.nodes.half, cell.geometry.pitch
    share = cell.nodes.share[:half]
    nodes = np.maximum(cell.through[half:] if sheet.flip else cell.through[:half], 0.0)
    own = np.array([beam(construction, *v).through for v in vectors])
    mean = float(share @ nodes)
    if gap is None or mean <= 1e-9:
        return _Openings(np.outer(own, own), own * mean, own, mean, 1.0)
    near, far = (g * pitch for g in gap)
    joint = pairs(construction, near, far, vectors, sheet.flip)

    def hit(returned: Array, through: Array) -> Array:
        ratio = np.divide(returned, through, out=np.full_like(through, mean), where=through > 1e-9)
        return np.clip(1.0 - ratio, 0.0, None) / (1.0 - mean) * through

    on_nodes = hit(joint.node @ share, nodes)
    on_named = joint.named_node @ share
    return _Openings(
        joint.named,
        on_named,
        hit(on_named, own),
        float(share @ on_nodes),
        float(1.0 - share @ on_nodes) / (1.0 - mean),
    )


def between(ready: OneLayer, weight: Array) -> tuple[Array, Array]:
    """Radiance factors (B, m, m) between sources and slopes (B, 4, m, m).

    ``weight`` (B, 4): reflectance of warp and weft yarn, transmittance of warp and weft yarn. The
    slopes come from one forward and one transposed solve for all of them.
    """
    w = np.concatenate([weight, np.ones((len(weight), 1))], axis=1).astype(np.float32)
    closed = np.eye(ready.loop.shape[1], dtype=np.float32) - np.tensordot(w, ready.loop, 1)
    sent = np.tensordot(w, ready.sent, 1)
    inside = np.linalg.solve(closed, np.tensordot(w, ready.arriving, 1))
    back = np.swapaxes(
        np.linalg.solve(np.swapaxes(closed, 1, 2), np.swapaxes(sent, 1, 2)), 1, 2
    )
    value = np.tensordot(w.astype(float), ready.first, 1) + _mutual(ready, sent @ inside)
    slopes = []
    for k in range(FORMS - 1):
        onward = ready.arriving[k] + np.matmul(ready.loop[k], inside)
        change = np.matmul(ready.sent[k], inside) + np.matmul(back, onward)
        slopes.append(ready.first[k] + _mutual(ready, change))
    return value, np.stack(slopes, axis=1)


def _mutual(ready: OneLayer, flow: NDArray) -> Array:
    """Exchanged light made the same both ways, as ``layeroptics`` does it."""
    e = ready.count
    out = 0.5 * (flow + np.swapaxes(flow, 1, 2)).astype(float)
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


def _over(ready: OneLayer, which: int, value: NDArray, backing: NDArray) -> NDArray:
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
