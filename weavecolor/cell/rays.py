"""Straight rays through the periodic cell, by stepping on the distance to the nearest yarn.

Knows what a ray meets; knows nothing of light or colour. Sphere tracing: J. C. Hart, The Visual
Computer 12 (1996) 527. Steps stop at the mid-plane between neighbouring yarns, so that only the
nearest yarn of each system needs measuring.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.cell.tubes import WARP, WEFT, Tubes

_CHUNK = 16384  # rays at a time: the working set stays in the cache
_STEPS = 600  # a ray still under way after so many steps runs along the cloth: taken as stopped
_TOUCH = 1.0e-3  # least stride over the mean yarn spacing: how far a ray may dip into a yarn


@dataclass(frozen=True, eq=False)
class Hits:
    """What each ray met: ``system`` 0 warp, 1 weft, -1 nothing; and where on the yarn.

    ``yarn`` index, ``u`` axis coordinate mm, ``across``/``up`` offsets in the section, mm; the
    four are undefined where nothing was met.
    """

    system: NDArray[np.int8]
    yarn: NDArray[np.int32]
    u: NDArray[np.float32]
    across: NDArray[np.float32]
    up: NDArray[np.float32]


def _march(
    geometry: Tubes, origin: NDArray, toward: NDArray, place: bool = False, slim: float = 0.0
) -> tuple[NDArray, NDArray, NDArray]:
    """Hit flags, final points and least clearances of one chunk; arrays are (3, n) float32.

    Yarns are taken thinner by ``slim`` all round.
    """
    touch = np.float32(_TOUCH * geometry.pitch)
    p1, p2 = (np.float32(p) for p in geometry.spacing)
    top, bottom = np.float32(geometry.top + 2 * touch), np.float32(-geometry.bottom - 2 * touch)
    warp, weft = geometry.systems
    n = origin.shape[1]
    hit = np.zeros(n, bool)
    end = np.array(origin) if place else origin
    clearance = np.full(n, np.inf, np.float32)
    x, y, z = origin.copy()
    dx, dy, dz = toward
    # rays that start beyond the cloth go to its near face first
    level = np.where(dz < 0, top, bottom)
    outside = ((z > top) & (dz < 0)) | ((z < bottom) & (dz > 0))
    lead = np.divide(level - z, dz, out=np.zeros_like(z), where=outside)
    x, y, z = x + lead * dx, y + lead * dy, z + lead * dz
    tiny = np.float32(1e-12)
    ax, ay = np.maximum(np.abs(dx), tiny), np.maximum(np.abs(dy), tiny)
    ahead_x, ahead_y = np.copysign(0.5 * p1, dx), np.copysign(0.5 * p2, dy)
    index = np.arange(n)
    for step in range(_STEPS):
        d1, i, *_ = warp.gauge(y, x, z)
        d2, j, *_ = weft.gauge(x, y, z)
        near = np.minimum(d1, d2) + np.float32(slim)
        met = near < 0
        gone = ((z > top) & (dz >= 0)) | ((z < bottom) & (dz <= 0))
        if step == _STEPS - 1:
            met = ~gone
        if slim:
            clearance[index] = np.minimum(clearance[index], near)
        which = index[met]
        hit[which] = True
        if place and which.size:
            end[:, which] = x[met], y[met], z[met]
        keep = ~(met | gone)
        going = np.count_nonzero(keep)
        if going == 0:
            break
        if going < 0.85 * keep.size:
            x, y, z, dx, dy, dz, ax, ay, ahead_x, ahead_y, near, i, j, index, met = (
                a[keep]
                for a in (x, y, z, dx, dy, dz, ax, ay, ahead_x, ahead_y, near, i, j, index, met)
            )
        # to the mid-plane between yarns, and a touch beyond it
        wall = np.minimum(
            np.abs(i * p1 + ahead_x - x) / ax, np.abs(j * p2 + ahead_y - y) / ay
        )
        stride = np.minimum(near, wall) + touch
        stride[met] = 0.0  # a finished ray waits here until the arrays are next packed
        x, y, z = x + stride * dx, y + stride * dy, z + stride * dz
    return hit, end, clearance


def blocked(geometry: Tubes, origin: NDArray, toward: NDArray) -> NDArray[np.bool_]:
    """Whether each ray meets any yarn. ``origin`` (3, n) mm, ``toward`` (3, n) or (3, 1) unit."""
    origin = np.asarray(origin, np.float32)
    toward = np.broadcast_to(np.asarray(toward, np.float32), origin.shape)
    out = np.empty(origin.shape[1], bool)
    for a in range(0, out.size, _CHUNK):
        part = slice(a, a + _CHUNK)
        out[part] = _march(geometry, origin[:, part], toward[:, part])[0]
    return out


def open_share(
    geometry: Tubes, origin: NDArray, toward: NDArray, footprint: float
) -> NDArray[np.float32]:
    """How much of each thin pencil of light passes, 0-1; shapes as :func:`blocked`.

    ``footprint`` mm: the pencil's width. An edge that cuts it counts by the part left open, so
    that openings are measured far more finely than the pencils are spaced.
    """
    origin = np.asarray(origin, np.float32)
    toward = np.broadcast_to(np.asarray(toward, np.float32), origin.shape)
    out = np.empty(origin.shape[1], np.float32)
    for a in range(0, out.size, _CHUNK):
        part = slice(a, a + _CHUNK)
        hit, _, clear = _march(geometry, origin[:, part], toward[:, part], slim=0.5 * footprint)
        out[part] = np.where(hit, 0.0, np.clip(clear / footprint, 0.0, 1.0))
    return out


def first_hits(geometry: Tubes, origin: NDArray, toward: NDArray) -> Hits:
    """The first yarn that each ray meets, and the place on it; shapes as :func:`blocked`."""
    origin = np.asarray(origin, np.float32)
    toward = np.broadcast_to(np.asarray(toward, np.float32), origin.shape)
    n = origin.shape[1]
    system = np.full(n, -1, np.int8)
    yarn = np.zeros(n, np.int32)
    u, across, up = (np.zeros(n, np.float32) for _ in range(3))
    for a in range(0, n, _CHUNK):
        part = slice(a, a + _CHUNK)
        hit, end, _ = _march(geometry, origin[:, part], toward[:, part], place=True)
        which = np.flatnonzero(hit)
        x, y, z = end[:, which]
        first = geometry.systems[WARP].gauge(y, x, z)
        second = geometry.systems[WEFT].gauge(x, y, z)
        is_weft = second[0] < first[0]
        which += a
        system[which] = is_weft
        for target, one, other in zip((yarn, u, across, up), first[1:], second[1:], strict=True):
            target[which] = np.where(is_weft, other, one).astype(target.dtype)
    return Hits(system, yarn, u, across, up)
