"""Bodies and sheer cloth put on pixels, compiled: farthest first, each layer over what lies behind.

Each quad of cloth adds what it sends to the eye and multiplies what is behind it by what it lets
through, channel by channel, so any number of layers is exact. Knows pixels and look-up tables;
knows nothing of shapes, optics or screens. The browser's shaders do the same sums.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from weavecolor.picture.lookup import key_at, sight_at
from weavecolor.picture.threads import BEGIN, SPACING, WHOLE, closely, hashed
from weavecolor.scene.folds import INSIDE

#: Columns of a cloth vertex: normal, warp, light that reaches it (3 each), open and body's share
#: before the face, the same behind it (4), place on the cloth (2), mm from where it is doubled
#: (below 0: it is), what falls on cloth about it from the lights, before the face and behind it
#: (3 each, over the room's level).
COLUMNS = 22
#: How much of the lights' light through cloth that is met the sweep has not carried on as a beam.
#: Assumed: with none of it sheer gathers are 0 to 1.5 L* darker than path traced, with all 1 to 1.6
#: lighter.
SCATTERED = 0.5
#: Least cosine of a normal to the sight: beyond it the silhouette is drawn as if at it.
LEAST = 0.04
#: Where a pixel is sampled: once, or four times on a turned square (clean edges at any slope).
SAMPLES = {
    1: np.array([[0.5, 0.5]]),
    4: np.array([[0.375, 0.125], [0.875, 0.375], [0.125, 0.625], [0.625, 0.875]]),
}


@njit(cache=True, fastmath=True, parallel=True)
def bodies(xyz, triangles, colour, samples, picture, depth, strips):  # pragma: no cover - compiled
    """Opaque ``triangles``: ``xyz`` (N, 3) pixels right, pixels down and nearness; ``colour`` (N,
    3); into ``picture`` (h, w, s, 3) and ``depth`` (h, w, s) at ``samples`` (s, 2) of each pixel,
    worked on in so many ``strips``."""
    height, width, count = depth.shape
    for strip in prange(strips):
        first, last = height * strip // strips, height * (strip + 1) // strips
        for t in range(triangles.shape[0]):
            a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
            ax, ay = xyz[a, 0], xyz[a, 1]
            bx, by = xyz[b, 0], xyz[b, 1]
            cx, cy = xyz[c, 0], xyz[c, 1]
            top, bottom = max(int(min(ay, by, cy)), first), min(int(max(ay, by, cy)) + 1, last)
            if top >= bottom:
                continue
            area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
            if area == 0.0:
                continue
            inverse = 1.0 / area
            left, right = max(int(min(ax, bx, cx)), 0), min(int(max(ax, bx, cx)) + 1, width)
            for row in range(top, bottom):
                for column in range(left, right):
                    for n in range(count):
                        px, py = column + samples[n, 0], row + samples[n, 1]
                        u = ((cx - bx) * (py - by) - (cy - by) * (px - bx)) * inverse
                        v = ((ax - cx) * (py - cy) - (ay - cy) * (px - cx)) * inverse
                        w = 1.0 - u - v
                        if u < -1e-6 or v < -1e-6 or w < -1e-6:
                            continue
                        z = u * xyz[a, 2] + v * xyz[b, 2] + w * xyz[c, 2]
                        if z <= depth[row, column, n]:
                            continue
                        depth[row, column, n] = z
                        for k in range(3):
                            picture[row, column, n, k] = (
                                u * colour[a, k] + v * colour[b, k] + w * colour[c, k]
                            )


@njit(cache=True, fastmath=True, inline="always")
def _covers(e, dx, dy):  # pragma: no cover - compiled
    """Whether a point on, or inside, an edge belongs to the triangle: an edge that two share
    belongs to one of them."""
    return e > 0.0 or (e == 0.0 and (dy > 0.0 or (dy == 0.0 and dx < 0.0)))


@njit(cache=True, fastmath=True)
def _drift(across, along, cell, length, seed):  # pragma: no cover - compiled
    """Smooth noise of threads: steady along them, free from one to the next; variance 1 or so."""
    x, y = across / cell, along / length
    i, j = np.floor(x), np.floor(y)
    fx, fy = x - i, y - j
    fy = fy * fy * (3.0 - 2.0 * fy)
    fx = fx * fx * (3.0 - 2.0 * fx)
    a, b = int(i), int(j) + seed * 7919
    low = hashed(a, b) * (1.0 - fx) + hashed(a + 1, b) * fx
    high = hashed(a, b + 1) * (1.0 - fx) + hashed(a + 1, b + 1) * fx
    return 2.2 * (low * (1.0 - fy) + high * fy)


@njit(cache=True, fastmath=True)
def unevenness(u, v, step, uneven):  # pragma: no cover - compiled
    """Relative change of the cloth's mass at a place (``u`` across the warp, ``v`` along it, mm),
    as pixels of ``step`` mm show it. ``uneven``: warp and weft spacing mm, their coefficients of
    variation, length over which a thread stays alike, mm."""
    total = 0.0
    for system in range(2):
        spacing, spread = uneven[system], uneven[2 + system]
        if spread <= 0.0:
            continue
        across, along = (u, v) if system == 0 else (v, u)
        # what a pixel shows is the mean of the threads under it: octave by octave
        octave = max(np.log2(max(step, 1e-6) / spacing), 0.0)
        rest = octave - np.floor(octave)
        threads = float(1 << int(octave))
        cell = spacing * threads
        one = _drift(across, along, cell, uneven[4], system)
        two = _drift(across, along, 2.0 * cell, uneven[4], system)
        total += 0.5 * spread * (one * (1.0 - rest) + two * np.sqrt(0.5) * rest) / np.sqrt(threads)
    return total


@njit(cache=True, fastmath=True)
def shaded(
    key, room, glow, round_, light, side, at, move, step, uneven, rows, lamps, shine, sent, passed,
    four, on
):  # pragma: no cover - compiled
    """What cloth sends to the eye and lets through at a place ``at`` (22,), see :data:`COLUMNS`.

    ``key``, ``room``, ``glow``: the stack's tables, read on that ``side`` (0 face, 1 back),
    ``round_`` radians that all turns of ``key`` span. ``light`` (4, 3): room light's level; what
    cloth that is met by cloth sends on of what falls behind it, to and fro; radiance of the body as
    seen by cloth (over that level); what it sends back of what falls before it. ``move`` (4,):
    how its place on the cloth changes to the next pixel right and down, ``step`` mm a pixel;
    ``uneven`` as in :func:`unevenness`; ``rows``: the stack's threads, ``lamps`` (n, 3) directions
    to the lights and ``shine`` (n, 3) their RGB. Results to ``sent`` (3,) and ``passed`` (3,);
    ``four`` (4,), ``on`` (3,): room to work in.
    """
    sign = 1.0 if side == 0 else -1.0
    nx, ny, nz = sign * at[0], sign * at[1], sign * at[2]
    long_ = 1.0 / np.sqrt(nx * nx + ny * ny + nz * nz + 1e-20)
    nx, ny, nz = nx * long_, ny * long_, nz * long_
    if nz < LEAST:
        flat = np.sqrt((1.0 - LEAST * LEAST) / max(nx * nx + ny * ny, 1e-12))
        nx, ny, nz = nx * flat, ny * flat, LEAST
    wx, wy, wz = at[3], at[4], at[5]
    d = wx * nx + wy * ny + wz * nz
    wx, wy, wz = wx - d * nx, wy - d * ny, wz - d * nz
    long_ = 1.0 / np.sqrt(wx * wx + wy * wy + wz * wz + 1e-20)
    wx, wy, wz = wx * long_, wy * long_, wz * long_
    near = 9 if side == 0 else 11
    far = 11 if side == 0 else 9
    lit_near, lit_far = (16, 19) if side == 0 else (19, 16)
    cloth_near = max(1.0 - at[near] - at[near + 1], 0.0)
    cloth_far = max(1.0 - at[far] - at[far + 1], 0.0)
    seen = step / max(nz, 0.2)
    more = 1.0 + unevenness(at[13], at[14], seen, uneven)
    key_at(key, side, round_, nx, ny, nz, wx, wy, wz, four)
    for c in range(3):
        sent[c] = four[c] * at[6 + c]
    sight_at(room, side, nx, ny, nz, wx, wy, wz, four)
    straight = min(max(four[3], 0.0), 1.0)
    for c in range(3):
        met = INSIDE * light[1, c] * (1.0 + SCATTERED * at[lit_far + c])
        met += light[3, c] * (INSIDE + at[lit_near + c])
        sent[c] += four[c] * (at[near] + cloth_near * met + at[near + 1] * light[2, c])
    sight_at(glow, side, nx, ny, nz, wx, wy, wz, four)
    for c in range(3):
        met = INSIDE * light[1, c] * (1.0 + SCATTERED * at[lit_near + c])
        met += light[3, c] * (INSIDE + at[lit_far + c])
        on[c] = four[c] * light[0, c] * (at[far] + cloth_far * met)
    close = 0.0
    if rows[0, SPACING] > 0.0:
        close = (min(uneven[0], uneven[1]) / max(seen, 1e-9) - BEGIN) / (WHOLE - BEGIN)
        close = min(max(close, 0.0), 1.0)
    # thicker places send more and let less through: 1 - T grows with the mass
    own = min(max(1.0 - (1.0 - straight) * more, 0.0), 1.0)
    if close > 0.0:
        # across, along the warp and out of the face, of a cell whose warps run down
        bx, by, bz = ny * wz - nz * wy, nz * wx - nx * wz, nx * wy - ny * wx
        e = np.array([-sign * bz, wz, sign * nz])
        turned, falls = np.empty(lamps.shape), np.empty(lamps.shape)
        for n in range(lamps.shape[0]):
            x, y, z = lamps[n, 0], lamps[n, 1], lamps[n, 2]
            turned[n, 0] = -sign * (bx * x + by * y + bz * z)
            turned[n, 1] = wx * x + wy * y + wz * z
            turned[n, 2] = sign * (nx * x + ny * y + nz * z)
            for c in range(3):
                falls[n, c] = shine[n, c] * at[6 + c]
        threads = np.empty(3)
        open_ = closely(rows, at[13], at[14], move[0], move[1], move[2], move[3], e, turned, falls,
                        sent, on, straight, threads)  # fmt: skip
        own += close * (open_ - own)
    for c in range(3):
        sent[c] = (sent[c] + on[c]) * more
        passed[c] = min(max(own + four[c] * at[far + 1], 0.0), 1.0)
    if close > 0.0:
        for c in range(3):
            sent[c] += close * (threads[c] - sent[c])


@njit(cache=True, fastmath=True, parallel=True)
def cloths(
    xyz,
    quads,
    order,
    kind,
    vertex,
    key,
    room,
    glow,
    round_,
    light,
    uneven,
    rows,
    lamps,
    shine,
    step,
    ahead,
    front,
    samples,
    picture,
    depth,
    strips,
):  # pragma: no cover - compiled
    """Quads of cloth, farthest first, over ``picture`` where nearer than ``depth``.

    ``xyz``, ``samples``, ``picture``, ``depth``, ``strips`` as in :func:`bodies`; ``quads`` (M, 4)
    in their ``order`` (M,); ``kind`` (M,) numbers the tables' first axis, the doubled cloth's
    following it; ``vertex`` (N, 22), see :data:`COLUMNS`; ``key``, ``room``, ``glow`` and
    ``round_`` (kinds, ...), ``light`` (kinds, 4, 3), ``uneven`` (kinds, 5), ``rows`` (kinds, ., .),
    ``lamps`` and ``shine`` as in :func:`shaded`; ``step``: mm a pixel; ``ahead``: mm that cloth is
    drawn before what it touches; ``front``: nothing is seen through it. A pixel's samples share the
    colours of each triangle.
    """
    height, width, count = depth.shape
    for strip in prange(strips):
        first, last = height * strip // strips, height * (strip + 1) // strips
        at, four = np.empty(COLUMNS), np.empty(4)
        sent, passed, on = np.empty(3), np.empty(3), np.empty(3)
        move = np.empty(4)
        last_s = 0
        key_s, room_s, glow_s, light_s = key[0], room[0], glow[0], light[0]
        uneven_s, rows_s = uneven[0], rows[0]
        for number in range(order.size):
            q = order[number]
            low, high = 1e30, -1e30
            for k in range(4):
                y = xyz[quads[q, k], 1]
                low, high = min(low, y), max(high, y)
            if high < first or low > last:
                continue
            for half in range(2):
                a = quads[q, 0]
                b, c = (quads[q, 1], quads[q, 2]) if half == 0 else (quads[q, 2], quads[q, 3])
                ax, ay = xyz[a, 0], xyz[a, 1]
                bx, by = xyz[b, 0], xyz[b, 1]
                cx, cy = xyz[c, 0], xyz[c, 1]
                area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
                if area == 0.0:
                    continue
                # corners run counter-clockwise seen from the face; rows run down
                side = 0 if area < 0.0 else 1
                if area < 0.0:
                    b, c = c, b
                    bx, by, cx, cy = cx, cy, bx, by
                    area = -area
                top, bottom = max(int(min(ay, by, cy)), first), min(int(max(ay, by, cy)) + 1, last)
                left, right = max(int(min(ax, bx, cx)), 0), min(int(max(ax, bx, cx)) + 1, width)
                inverse = 1.0 / area
                for k in range(2):  # of the place on the cloth, from pixel to pixel
                    fa, fb = vertex[a, 13 + k], vertex[b, 13 + k]
                    fa, fb = (fa - vertex[c, 13 + k]) * inverse, (fb - vertex[c, 13 + k]) * inverse
                    move[k] = -fa * (cy - by) - fb * (ay - cy)
                    move[2 + k] = fa * (cx - bx) + fb * (ax - cx)
                for row in range(top, bottom):
                    for column in range(left, right):
                        covered, turned_in, su, sv, last_ = 0, 0, 0.0, 0.0, 0
                        for n in range(count):
                            px, py = column + samples[n, 0], row + samples[n, 1]
                            e0 = (cx - bx) * (py - by) - (cy - by) * (px - bx)
                            e1 = (ax - cx) * (py - cy) - (ay - cy) * (px - cx)
                            e2 = (bx - ax) * (py - ay) - (by - ay) * (px - ax)
                            if not (
                                _covers(e0, cx - bx, cy - by)
                                and _covers(e1, ax - cx, ay - cy)
                                and _covers(e2, bx - ax, by - ay)
                            ):
                                continue
                            u, v = e0 * inverse, e1 * inverse
                            z = u * xyz[a, 2] + v * xyz[b, 2] + (1.0 - u - v) * xyz[c, 2]
                            if z + ahead < depth[row, column, n]:
                                continue
                            covered |= 1 << n
                            if u * vertex[a, 15] + v * vertex[b, 15] + (1.0 - u - v) * vertex[
                                c, 15
                            ] < 0.0:
                                turned_in |= 1 << n
                            su, sv, last_ = u, v, n
                        if covered == 0:
                            continue
                        w = 1.0 - su - sv
                        for k in range(COLUMNS):
                            at[k] = su * vertex[a, k] + sv * vertex[b, k] + w * vertex[c, k]
                        for k in range(2):  # threads are drawn about the pixel's middle
                            at[13 + k] += move[k] * (0.5 - samples[last_, 0]) + move[2 + k] * (
                                0.5 - samples[last_, 1]
                            )
                        for doubled in range(2):
                            own = turned_in if doubled else covered & ~turned_in
                            if own == 0:
                                continue
                            s = kind[q] + doubled
                            if s != last_s:
                                last_s = s
                                key_s, room_s, glow_s, light_s = key[s], room[s], glow[s], light[s]
                                uneven_s, rows_s = uneven[s], rows[s]
                            shaded(key_s, room_s, glow_s, round_[s], light_s, side, at, move,
                                   step, uneven_s, rows_s, lamps, shine, sent, passed, four,
                                   on)  # fmt: skip
                            if front:
                                passed[:] = 0.0
                            for n in range(count):
                                if own & (1 << n):
                                    for k in range(3):
                                        picture[row, column, n, k] = (
                                            sent[k] + passed[k] * picture[row, column, n, k]
                                        )


@njit(cache=True, fastmath=True, parallel=True)
def averaged(picture, exposure):  # pragma: no cover - compiled
    """Mean of the samples (h, w, s, 3), exposed: (h, w, 3)."""
    height, width, count, _ = picture.shape
    out = np.empty((height, width, 3), np.float32)
    share = np.float32(exposure / count)
    for row in prange(height):
        for column in range(width):
            for k in range(3):
                total = np.float32(0.0)
                for n in range(count):
                    total += picture[row, column, n, k]
                out[row, column, k] = total * share
    return out
