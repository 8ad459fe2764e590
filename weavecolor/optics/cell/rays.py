"""Straight rays through the periodic cell, by stepping on the distance to the nearest yarn.

Knows what a ray meets; knows nothing of light or colour. Sphere tracing: J. C. Hart, The Visual
Computer 12 (1996) 527. Steps stop at the mid-plane between neighbouring yarns, so that only the
nearest yarn of each system needs measuring.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell.tubes import Tubes

_AT_ONCE = 16384  # rays under way together: the working set stays in the cache
_TOUCH = 1.0e-3  # least stride over the mean yarn spacing: how far a ray may dip into a yarn
_GROWTH = 1.04  # of the least stride from step to step, so that rays along the cloth end
_LOST = 1.0  # least stride over the mean yarn spacing at which a ray is taken as stopped


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
    """Whether each ray meets any yarn of ``geometry``, (n,). ``origin`` (3, n) mm, ``toward`` (3,
    n) or (3, 1) unit."""
    return _march(geometry, *_rays(origin, toward))[0]


def first_met(geometry: Tubes, origin: NDArray[Any], toward: NDArray[Any]) -> NDArray[Any]:
    """Points (3, m), mm, where those rays that meet a yarn first meet one; ``geometry``, ``origin``
    and ``toward`` as for :func:`blocked`."""
    hit, end = _march(geometry, *_rays(origin, toward), place=True)
    return end[:, hit]
