"""Straight rays through the periodic cell, by stepping on the distance to the nearest yarn,
compiled.

Knows what a ray meets; knows nothing of light or colour. Sphere tracing: J. C. Hart, The Visual
Computer 12 (1996) 527. Steps stop at the mid-plane between neighbouring yarns, so that only the
nearest yarn of each system needs measuring. All is in single precision.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from weavecolor.optics.cell.tubes import Tubes

Floats = NDArray[np.float32]

_TOUCH = 1.0e-3  # least stride over the mean yarn spacing: how far a ray may dip into a yarn
_GROWTH = np.float32(1.04)  # of the least stride from step to step: rays along the cloth end
_LOST = 1.0  # least stride over the mean yarn spacing at which a ray is taken as stopped
_HALF, _ONE, _NONE = np.float32(0.5), np.float32(1.0), np.float32(0.0)
_NEARLY, _FLAT = np.float32(1e-9), np.float32(1e-12)

_compiled = njit(cache=True, nogil=True, error_model="numpy")


# taken in where it is called: a call of its own would count who holds the tables, at every step
@njit(inline="always", error_model="numpy")
def _distance(numbers, start, table, u, v, z):
    """Distance from a point to the nearest yarn by index, negative inside, and that index: of a
    system as ``System.offsets`` tells it."""
    (spacing, dense, rate, yarns, each, crossings, one, limit, fine, along, high,
     a, b) = numbers  # fmt: skip
    number = np.rint(v * dense)
    across = v - number * spacing
    # whole numbers kept as floats, which fold into the repeat faster
    k = u * rate
    cell = np.floor(k)
    k = (k - cell) * along
    cell -= np.floor((cell + _HALF) * one) * crossings
    cell += (number - np.floor((number + _HALF) * each) * yarns) * crossings
    place = np.int32(k)
    k -= np.float32(place)
    level = min(max((z + limit) * fine, _NONE), high)
    step = np.int32(level)
    level -= np.float32(step)
    rows = np.int32(high) + np.int32(2)
    index = start[np.int32(cell)] + place * rows + step
    near, after = table[index], table[index + rows]
    near += (table[index + 1] - near) * level
    after += (table[index + rows + 1] - after) * level
    up = (after - near) * k + near
    if a == b:
        return np.sqrt(across * across + up * up) - a, number
    p, q = across / a, up / b
    r2 = p * p + q * q
    p /= a
    q /= b
    return (r2 - np.sqrt(r2)) / (np.sqrt(p * p + q * q) + _NEARLY), number


@_compiled
def _march(warp, weft, spacing, heights, strides, origin, toward, hit, end):
    """Set ``hit`` (n,) of rays that meet a yarn and leave ``end`` (3, n) where each stopped."""
    (p1, p2), (top, bottom), (touch, lost) = spacing, heights, strides
    for n in range(hit.size):
        x, y, z = origin[0, n], origin[1, n], origin[2, n]
        dx, dy, dz = toward[0, n], toward[1, n], toward[2, n]
        if (z > top and dz < _NONE) or (z < bottom and dz > _NONE):
            # rays that start beyond the cloth go to its near face first
            lead = ((top if dz < _NONE else bottom) - z) / dz
            x += lead * dx
            y += lead * dy
            z += lead * dz
        ax, ay = _ONE / max(abs(dx), _FLAT), _ONE / max(abs(dy), _FLAT)
        ahead_x, ahead_y = np.copysign(_HALF * p1, dx), np.copysign(_HALF * p2, dy)
        least = touch
        while not ((z > top and dz >= _NONE) or (z < bottom and dz <= _NONE)):
            one, i = _distance(warp[0], warp[1], warp[2], y, x, z)
            other, j = _distance(weft[0], weft[1], weft[2], x, y, z)
            near = min(one, other)
            if near < _NONE or least > lost:
                hit[n] = True
                break
            # to the mid-plane between yarns, and a touch beyond it
            wall, far = abs((i * p1 + ahead_x - x) * ax), abs((j * p2 + ahead_y - y) * ay)
            stride = min(near, wall, far) + least
            least *= _GROWTH
            x += stride * dx
            y += stride * dy
            z += stride * dz
        end[0, n], end[1, n], end[2, n] = x, y, z


def _marched(
    geometry: Tubes, origin: NDArray[Any], toward: NDArray[Any]
) -> tuple[NDArray[np.bool_], Floats]:
    start = np.array(origin, np.float32, order="C")
    way = np.array(np.broadcast_to(toward, start.shape), np.float32, order="C")
    touch = np.float32(_TOUCH * geometry.pitch)
    p1, p2 = (np.float32(p) for p in geometry.spacing)
    top, bottom = np.float32(geometry.top + 2 * touch), np.float32(-geometry.bottom - 2 * touch)
    hit, end = np.zeros(start.shape[1], np.bool_), np.empty_like(start)
    lost = np.float32(_LOST * geometry.pitch)
    warp, weft = (system.offsets for system in geometry.systems)
    _march(warp, weft, (p1, p2), (top, bottom), (touch, lost), start, way, hit, end)
    return hit, end


def blocked(geometry: Tubes, origin: NDArray[Any], toward: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether each ray meets any yarn of ``geometry``, (n,). ``origin`` (3, n) mm, ``toward`` (3,
    n) or (3, 1) unit."""
    return _marched(geometry, origin, toward)[0]


def first_met(geometry: Tubes, origin: NDArray[Any], toward: NDArray[Any]) -> NDArray[Any]:
    """Points (3, m), mm, where those rays that meet a yarn first meet one; ``geometry``, ``origin``
    and ``toward`` as for :func:`blocked`."""
    hit, end = _marched(geometry, origin, toward)
    return end[:, hit]
