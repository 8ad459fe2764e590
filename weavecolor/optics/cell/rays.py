"""Straight rays through the periodic cell, by stepping on the distance to the nearest yarn.

Knows what a ray meets; knows nothing of light or colour. Sphere tracing: J. C. Hart, The Visual
Computer 12 (1996) 527. Steps stop at the mid-plane between neighbouring yarns, so that only the
nearest yarn of each system needs measuring.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell.tubes import WARP, WEFT, Tubes

_AT_ONCE = 16384  # rays under way together: the working set stays in the cache
_TOUCH = 1.0e-3  # least stride over the mean yarn spacing: how far a ray may dip into a yarn
_GROWTH = 1.04  # of the least stride from step to step, so that rays along the cloth end
_LOST = 1.0  # least stride over the mean yarn spacing at which a ray is taken as stopped


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


def _set_out(geometry: Tubes, origin: NDArray[Any], toward: NDArray[Any]) -> NDArray[Any]:
    """Working rows of rays about to start: see :func:`_march`."""
    touch = np.float32(_TOUCH * geometry.pitch)
    top, bottom = np.float32(geometry.top + 2 * touch), np.float32(-geometry.bottom - 2 * touch)
    (x, y, z), (dx, dy, dz) = origin, toward
    # rays that start beyond the cloth go to its near face first
    level = np.where(dz < 0, top, bottom)
    outside = ((z > top) & (dz < 0)) | ((z < bottom) & (dz > 0))
    lead = np.divide(level - z, dz, out=np.zeros_like(z), where=outside)
    tiny = np.float32(1e-12)
    p1, p2 = (np.float32(p) for p in geometry.spacing)
    rows = (
        *(x + lead * dx, y + lead * dy, z + lead * dz, dx, dy, dz),
        *(1.0 / np.maximum(np.abs(d), tiny) for d in (dx, dy)),
        *(np.copysign(0.5 * p1, dx), np.copysign(0.5 * p2, dy)),
        np.full_like(x, touch),
    )
    return np.stack(rows)


def _march(
    geometry: Tubes, origin: NDArray[Any], toward: NDArray[Any], place: bool = False
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Hit flags, and final points (where ``place``).

    Arrays are (3, n) float32. As rays end, others take their place, so that each step works on
    many.
    """
    touch = np.float32(_TOUCH * geometry.pitch)
    lost = np.float32(_LOST * geometry.pitch)
    p1, p2 = (np.float32(p) for p in geometry.spacing)
    top, bottom = np.float32(geometry.top + 2 * touch), np.float32(-geometry.bottom - 2 * touch)
    warp, weft = geometry.systems
    n = origin.shape[1]
    hit = np.zeros(n, bool)
    end = np.array(origin) if place else origin
    state, index = np.empty((11, 0), np.float32), np.empty(0, np.intp)
    started = 0
    while started < n or index.size:
        room = _AT_ONCE - index.size
        if started < n and room > _AT_ONCE // 8:
            part = slice(started, started + room)
            more = _set_out(geometry, origin[:, part], toward[:, part])
            state = np.concatenate([state, more], axis=1)
            index = np.concatenate([index, np.arange(started, started + more.shape[1])])
            started += more.shape[1]
        x, y, z, dx, dy, dz, ax, ay, ahead_x, ahead_y, least = state
        d1, i = warp.distance(y, x, z)
        d2, j = weft.distance(x, y, z)
        near = np.minimum(d1, d2)
        gone = ((z > top) & (dz >= 0)) | ((z < bottom) & (dz <= 0))
        met = ((near < 0) | (least > lost)) & ~gone
        done = met | gone
        # to the mid-plane between yarns, and a touch beyond it
        wall = (i * p1 + ahead_x - x) * ax
        np.abs(wall, out=wall)
        other = (j * p2 + ahead_y - y) * ay
        np.abs(other, out=other)
        stride = np.minimum(near, wall, out=wall)
        np.minimum(stride, other, out=stride)
        stride += least
        least *= np.float32(_GROWTH)
        over = np.flatnonzero(done)
        if over.size:
            which = index[met]
            hit[which] = True
            if place and which.size:
                end[:, which] = state[:3, met]
            stride[over] = 0.0  # a finished ray waits here until the rows are next packed
        x += stride * dx
        y += stride * dy
        z += stride * dz
        if over.size > 0.15 * index.size:
            keep = np.flatnonzero(~done)
            state, index = state[:, keep], index[keep]
    return hit, end


def _rays(origin: NDArray[Any], toward: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    origin = np.asarray(origin, np.float32)
    return origin, np.broadcast_to(np.asarray(toward, np.float32), origin.shape)


def blocked(geometry: Tubes, origin: NDArray[Any], toward: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether each ray meets any yarn. ``origin`` (3, n) mm, ``toward`` (3, n) or (3, 1) unit."""
    return _march(geometry, *_rays(origin, toward))[0]


def first_hits(geometry: Tubes, origin: NDArray[Any], toward: NDArray[Any]) -> Hits:
    """The first yarn that each ray meets, and the place on it; shapes as :func:`blocked`."""
    hit, end = _march(geometry, *_rays(origin, toward), place=True)
    n = hit.size
    system = np.full(n, -1, np.int8)
    yarn = np.zeros(n, np.int32)
    u, across, up = (np.zeros(n, np.float32) for _ in range(3))
    which = np.flatnonzero(hit)
    x, y, z = end[:, which]
    first = geometry.systems[WARP].gauge(y, x, z)
    second = geometry.systems[WEFT].gauge(x, y, z)
    is_weft = second[0] < first[0]
    system[which] = is_weft
    for target, one, other in zip((yarn, u, across, up), first[1:], second[1:], strict=True):
        target[which] = np.where(is_weft, other, one).astype(target.dtype)
    return Hits(system, yarn, u, across, up)
