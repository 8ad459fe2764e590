"""How much light reaches each place of hung cloth, form and floor, through whatever is before it.

One sweep carries a plane from the light through everything: in order of distance each quad adds
what it takes away to the plane's pixels, and each place reads what has gathered there. Any number
of layers, coloured, and no quad shades itself. Soft light is the mean of sweeps. Knows quads and
directions; the browser does the same sums.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

#: Pixels across the longer side of the plane.
PLANE = 288
#: How far about a place its pixels are read, so that few sweeps of a soft light leave no edges.
READ = 0.8
#: How much nearer the light a place that lies aslant to it is read besides, pixels for each unit of
#: its slope, and the steepest slope: what is read about a place is not shade of its own cloth.
SLOPED, STEEPEST = 2.0, 5.0
#: What an opaque quad takes away, as a natural logarithm.
OPAQUE = 60.0


@njit(cache=True, fastmath=True)
def _fill(plane, x, y, take, q):  # pragma: no cover - compiled
    """Add row ``q`` of ``take`` (M, 3) where a quad (4,), (4,) covers pixel centres."""
    height, width = plane.shape[0], plane.shape[1]
    for half in range(2):
        ax, ay = x[0], y[0]
        bx, by = (x[1], y[1]) if half == 0 else (x[2], y[2])
        cx, cy = (x[2], y[2]) if half == 0 else (x[3], y[3])
        area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if area == 0.0:
            continue
        if area < 0.0:
            bx, by, cx, cy = cx, cy, bx, by
        top = max(int(np.ceil(min(ay, by, cy) - 0.5)), 0)
        bottom = min(int(np.ceil(max(ay, by, cy) - 0.5)), height)
        left = max(int(np.ceil(min(ax, bx, cx) - 0.5)), 0)
        right = min(int(np.ceil(max(ax, bx, cx) - 0.5)), width)
        for row in range(top, bottom):
            py = row + 0.5
            for column in range(left, right):
                px = column + 0.5
                e0 = (bx - ax) * (py - ay) - (by - ay) * (px - ax)
                e1 = (cx - bx) * (py - by) - (cy - by) * (px - bx)
                e2 = (ax - cx) * (py - cy) - (ay - cy) * (px - cx)
                # a shared edge belongs to one of its two triangles
                if (
                    (e0 > 0.0 or (e0 == 0.0 and (by - ay) > 0.0))
                    and (e1 > 0.0 or (e1 == 0.0 and (cy - by) > 0.0))
                    and (e2 > 0.0 or (e2 == 0.0 and (ay - cy) > 0.0))
                ):
                    for c in range(3):
                        plane[row, column, c] += take[q, c]


@njit(cache=True, fastmath=True, nogil=True)
def _sweep(points, quads, order, take, places, turn, ahead, frame, out):  # pragma: no cover
    """What was taken away before each place, to ``out`` (n, 3).

    ``points`` (N, 3) and ``places`` (n, 3): right, up and towards the light; ``order`` of quads
    from the light on, with ``ahead`` (M,) their nearness; ``turn``: order of places.
    ``frame``: left, top, pixels a mm, rows, columns.
    """
    left, top, scale = frame[0], frame[1], frame[2]
    rows, columns = int(frame[3]), int(frame[4])
    plane = np.zeros((rows, columns, 3), np.float32)
    x, y = np.empty(4), np.empty(4)
    done = 0
    for place in turn:
        near = places[place, 2]
        while done < order.size and ahead[order[done]] > near:
            q = order[done]
            done += 1
            if take[q, 0] == 0.0 and take[q, 1] == 0.0 and take[q, 2] == 0.0:
                continue  # a body's lit side
            for k in range(4):
                corner = quads[q, k]
                x[k] = (points[corner, 0] - left) * scale
                y[k] = (top - points[corner, 1]) * scale
            _fill(plane, x, y, take, q)
        px, py = (places[place, 0] - left) * scale - 0.5, (top - places[place, 1]) * scale - 0.5
        if px <= 0.0 or py <= 0.0 or px >= columns - 1 or py >= rows - 1:
            out[place] = 0.0
            continue
        out[place] = 0.0
        for tap in range(4):
            qx = min(max(px + (tap % 2 - 0.5) * 2.0 * READ, 0.0), columns - 1.001)
            qy = min(max(py + (tap // 2 - 0.5) * 2.0 * READ, 0.0), rows - 1.001)
            x0, y0 = int(qx), int(qy)
            fx, fy = np.float32(qx - x0), np.float32(qy - y0)
            for c in range(3):
                a = plane[y0, x0, c] * (1 - fx) + plane[y0, x0 + 1, c] * fx
                b = plane[y0 + 1, x0, c] * (1 - fx) + plane[y0 + 1, x0 + 1, c] * fx
                out[place, c] += np.float32(0.25) * np.exp(-(a * (1 - fy) + b * fy))
        for c in range(3):
            out[place, c] = -np.log(out[place, c] + np.float32(1e-30))


def axes(direction: Array) -> Array:
    """Three axes (3, 3) of a light's plane: right, up, towards the light."""
    ahead = direction / np.linalg.norm(direction)
    helper = np.array([0.0, 1.0, 0.0]) if abs(ahead[1]) < 0.9 else np.array([1.0, 0.0, 0.0])
    right = np.cross(helper, ahead)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(ahead, right), ahead])


def taken(
    points: Array,
    quads: NDArray[np.intp],
    take: Floats,
    places: Array,
    lift: Array,
    direction: Array,
    normals: Array | None = None,
) -> Floats:
    """What quads take of the light from a direction before it reaches places, as logarithms.

    Parameters
    ----------
    points : ndarray, shape (N, 3)
        Corners, mm.
    quads : ndarray of int, shape (M, 4)
    take : ndarray, shape (M, 3)
        Minus the natural logarithm of what a quad lets through, by channel.
    places : ndarray, shape (n, 3)
    lift : ndarray, shape (n,)
        How far nearer the light a place is read, mm, so that it is not shaded by its own quads.
    direction : ndarray, shape (3,)
        Towards the light.
    normals : ndarray, shape (n, 3), optional
        Of the surfaces that places lie on; places that lie aslant are then read nearer the light.

    Returns
    -------
    ndarray, shape (n, 3)

    Examples
    --------
    >>> square = np.array([[0.0, 0, 10], [9, 0, 10], [9, 9, 10], [0, 9, 10]])
    >>> below = np.array([[4.0, 3.0, 0.0], [40.0, 3.0, 0.0]])
    >>> taken(square, np.array([[0, 1, 2, 3]]), np.ones((1, 3), np.float32), below, np.zeros(2),
    ...       np.array([0.0, 0.0, 1.0]))[:, 0].tolist()
    [1.0, 0.0]
    """
    turned = axes(direction)
    seen, read = points @ turned.T, places @ turned.T
    read[:, 2] += lift
    # column by column: along both at once takes ten times as long
    low, high = (np.array([most(seen[:, k]) for k in (0, 1)]) for most in (np.min, np.max))
    scale = (PLANE - 4) / max(float((high - low).max()), 1.0)
    columns, rows = (np.ceil((high - low) * scale) + 4).astype(int)
    frame = np.array([low[0] - 2 / scale, high[1] + 2 / scale, scale, rows, columns])
    if normals is not None:
        cosine = np.minimum(np.abs(normals @ turned[2]), 1.0)
        slope = np.sqrt(1.0 - cosine**2) / np.maximum(cosine, 1e-9)
        read[:, 2] += SLOPED / scale * np.minimum(slope, STEEPEST)
    near = seen[:, 2]
    ahead = 0.25 * (near[quads[:, 0]] + near[quads[:, 1]] + near[quads[:, 2]] + near[quads[:, 3]])
    out = np.zeros((len(places), 3), np.float32)
    order, turn = (np.argsort(-x.astype(np.float32)) for x in (ahead, read[:, 2]))
    _sweep(seen, quads, order, take, read, turn, ahead, frame, out)
    return out


@njit(cache=True, parallel=True)
def densities(points, quads, kind, dim, direction):  # pragma: no cover - compiled
    """What each of ``quads`` (M, 4), corners among ``points`` (N, 3), takes (M, 3) of light from a
    ``direction`` (3,): ``kind`` (M,) numbers the rows of ``dim`` (kinds, 16, 3), share let through
    by cosine. Below 0 it is a closed body's: opaque where it faces away from the light, so that no
    body shades its own lit side.
    """
    out = np.empty((quads.shape[0], 3), np.float32)
    for q in prange(quads.shape[0]):
        a = points[quads[q, 2]] - points[quads[q, 0]]
        b = points[quads[q, 3]] - points[quads[q, 1]]
        nx, ny, nz = a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]
        length = np.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
        cosine = (nx * direction[0] + ny * direction[1] + nz * direction[2]) / length
        if kind[q] < 0:
            out[q] = OPAQUE if cosine < 0.0 else 0.0
            continue
        cosine = abs(cosine)
        t = cosine * 15.0
        k = min(int(t), 14)
        for c in range(3):
            share = dim[kind[q], k, c] * (1.0 - t + k) + dim[kind[q], k + 1, c] * (t - k)
            out[q, c] = -np.log(max(share, 1e-4))
    return out


def soft_directions(direction: Array, half_deg: float, count: int) -> Array:
    """``count`` directions (count, 3) spread evenly over a light at ``direction`` (3,) of
    half-width ``half_deg``, degrees (a Vogel spiral)."""
    k = np.arange(count)
    radius = np.sin(np.radians(half_deg)) * np.sqrt((k + 0.5) / count)
    angle = k * np.pi * (3.0 - np.sqrt(5.0))
    right, up, ahead = axes(direction)
    out = ahead + (radius * np.cos(angle))[:, None] * right + (radius * np.sin(angle))[:, None] * up
    return np.asarray(out / np.linalg.norm(out, axis=1, keepdims=True))


def sphere(count: int) -> Array:
    """Directions (count, 3) spread evenly all round (a Fibonacci lattice)."""
    k = np.arange(count) + 0.5
    z = 1.0 - 2.0 * k / count
    angle = k * np.pi * (3.0 - np.sqrt(5.0))
    r = np.sqrt(1.0 - z * z)
    return np.stack([r * np.cos(angle), r * np.sin(angle), z], axis=1)


def openness(
    points: Array,
    quads: NDArray[np.intp],
    opaque: NDArray[np.bool_],
    places: Array,
    normals: Array,
    lift: float,
    count: int = 96,
) -> Floats:
    """How open places are to the room on either side of them.

    Parameters
    ----------
    points, quads : the corners and quads of everything
    opaque : ndarray of bool, shape (M,)
        Whether a quad is a solid body's, and not cloth.
    places, normals : ndarray, shape (n, 3)
    lift : float
        As in :func:`taken`.
    count : int
        Directions tried.

    Returns
    -------
    ndarray, shape (n, 2, 4)
        For the side of the normal and the other: shares (weighted by the cosine, summing to 1) of
        directions that meet nothing, one layer of cloth, more of them, a body.
    """
    a, b, c, d = (points[corner] for corner in quads[opaque].T)
    facing = np.cross(c - a, d - b)
    # the first channel counts cloth, the second bodies, where they face away from the light
    cloth = np.outer(~opaque, [1.0, 0.0, 0.0]).astype(np.float32)
    out = np.zeros((len(places), 2, 4))
    n, lifts = np.arange(len(places)), np.full(len(places), lift)
    with ThreadPoolExecutor(2) as pool:
        for pair in np.split(sphere(count), range(2, count, 2)):
            takes = []
            for way in pair:
                take = cloth.copy()
                take[opaque, 1] = np.where(facing @ way < 0.0, OPAQUE, 0.0)
                takes.append(take)
            mets = pool.map(
                lambda way, take: taken(points, quads, take, places, lifts, way, normals),
                pair, takes,
            )  # fmt: skip
            for way, met in zip(pair, mets, strict=True):
                cosine = normals @ way
                weight = np.abs(cosine)
                side = (cosine < 0).astype(int)
                solid = np.clip(met[:, 1], 0.0, 1.0)
                free = weight * (1.0 - solid)
                none = np.clip(1.0 - met[:, 0], 0.0, 1.0)
                more = np.clip(met[:, 0] - 1.0, 0.0, 1.0)
                out[n, side, 0] += free * none
                out[n, side, 1] += free * (1.0 - none - more)
                out[n, side, 2] += free * more
                out[n, side, 3] += weight * solid
    total = out.sum(axis=2, keepdims=True)
    np.divide(out, total, out=out, where=total > 0)
    return np.asarray(out, np.float32)
