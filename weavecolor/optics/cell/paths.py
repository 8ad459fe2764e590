"""Exact paths of light through woven filaments, compiled.

Knows surfaces, refraction and lengths; knows nothing of cloths, colour, directions by name or
tables. Light meets a filament's surface (Fresnel, unpolarised), is refracted, runs through the
fibre, leaves or is reflected inside; the length it ran in warp and in weft goes with it, so that
any dye can be put in afterwards (absorption applied to paths traced without it: "white Monte
Carlo", A. Kienle, M. S. Patterson, Phys. Med. Biol. 41 (1996) 2221). At a surface both ways are
followed while they carry enough light, and one is drawn below (splitting and roulette: M. H. Kalos,
P. A. Whitlock, Monte Carlo Methods, 2008, ch. 5).

A yarn's axis lies in an upright plane; ``u`` is the place along it, ``v`` across, ``z`` up. A
filament is met where a ray, linear in short stretches of the yarn's own section, meets its round
outline, and the place is then mended on the true surface.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

# One row a system: what the tracer needs of it; COUNT filaments in the section, whose centres may
# be given for several arrangements one after the other.
SPACING, PITCH, SWING, HALF_A, HALF_B, FIL_A, FIL_B = range(7)
TWIST, PHASE, INDEX, DULL, OPAQUE, COUNT, STRETCH = range(7, 14)
COLUMNS = 14

#: What is followed.
ALL, NOTHING, FIRST = range(3)

#: Leaves: start, direction (3), weight, lengths in warp and weft, surfaces met, place (x, y) where
#: the cell is left.
LEAF = 10

_MOST_EVENTS = 3000
_GUIDED = 200  # reflections inside one after the other: light that a fibre leads away
_MOST_STEPS = 100000  # between two surfaces
_PENDING = 256
_BORDER = 1e-9  # so near a border of the cell lies on it, over the cell
_BEND = 0.3  # of a yarn's undulation that a ray crosses at once, radians
_STRAIGHT = 0.02  # how far off a stretch may lie, over a filament's half height

_compiled = njit(cache=True, nogil=True, fastmath=True, error_model="numpy")


@_compiled
def _axis(row, sign, yarn, u):
    """Height of a yarn's axis, its slope, and its second derivative."""
    pitch = row[PITCH]
    place = u / pitch
    k = math.floor(place)
    f = place - k
    rows, columns = sign.shape
    # whole numbers kept as floats, which fold into the repeat faster
    i = int(yarn - rows * math.floor((yarn + 0.5) / rows))
    j = int(k - columns * math.floor((k + 0.5) / columns))
    one = sign[i, j]
    two = sign[i, j + 1 if j + 1 < columns else 0]
    swing = row[SWING]
    if one == two:
        return one * swing, 0.0, 0.0
    half = 0.5 * swing * (one - two)
    rate = math.pi / pitch
    c = math.cos(math.pi * f)
    s = math.sqrt(max(0.0, 1.0 - c * c))
    return half * c, -half * rate * s, -half * rate * rate * c


@_compiled
def _section(row, sign, yarn, v, u, z):
    """Where a point lies in the section of a yarn, turned with its twist. A flat yarn that is
    twisted is turned as if round, STRETCH times as wide and as low, and pressed flat again."""
    height, slope, _ = _axis(row, sign, yarn, u)
    q = (z - height) / (row[STRETCH] * math.sqrt(1.0 + slope * slope))
    p = row[STRETCH] * (v - yarn * row[SPACING])
    if row[TWIST] == 0.0 and row[PHASE] == 0.0:
        return p, q
    turn = row[TWIST] * u + row[PHASE] * yarn
    c, s = math.cos(turn), math.sin(turn)
    return c * p + s * q, c * q - s * p


@_compiled
def _frame(row, sign, yarn, v, u, z):
    """As _section, with the gradients of both numbers by (v, u, z)."""
    height, slope, bend = _axis(row, sign, yarn, u)
    w = 1.0 / math.sqrt(1.0 + slope * slope)
    wide = row[STRETCH]
    q = (z - height) * w / wide
    p = wide * (v - yarn * row[SPACING])
    along = -slope * w / wide - q * slope * bend * w * w
    w /= wide
    if row[TWIST] == 0.0 and row[PHASE] == 0.0:
        return p, q, wide, 0.0, 0.0, 0.0, along, w
    turn = row[TWIST] * u + row[PHASE] * yarn
    c, s = math.cos(turn), math.sin(turn)
    a, b = c * p + s * q, c * q - s * p
    t = row[TWIST]
    return a, b, c * wide, s * along + t * b, s * w, -s * wide, c * along - t * a, c * w


@_compiled
def _mend(row, sign, yarn, ca, cb, v, u, z, dv, du, dz, t, leaving):
    """The place t on a ray where it meets one filament's true surface, near t; -1 for none."""
    ia, ib = 1.0 / row[FIL_A], 1.0 / row[FIL_B]
    for _ in range(4):
        a, b, av, au, az, bv, bu, bz = _frame(
            row, sign, yarn, v + t * dv, u + t * du, z + t * dz
        )
        a, b = (a - ca) * ia, (b - cb) * ib
        ra = (av * dv + au * du + az * dz) * ia
        rb = (bv * dv + bu * du + bz * dz) * ib
        rate = ra * ra + rb * rb
        half = a * ra + b * rb
        root = half * half - rate * (a * a + b * b - 1.0)
        if root < 0.0 or rate < 1e-30:
            return -1.0
        root = math.sqrt(root)
        step = (-half + root) / rate if leaving else (-half - root) / rate
        t += step
        if abs(step) < 1e-9 + 1e-7 * row[FIL_B]:
            break
    return t


@_compiled
def _own(row, count, yarn):
    """Where the centres of a yarn's filaments begin, of ``count`` in all: yarns take turns."""
    ways = count // int(row[COUNT])
    return int(yarn - ways * math.floor((yarn + 0.5) / ways)) * int(row[COUNT])


@_compiled
def _inside(row, sign, yarn, centres, count, v, u, z, but):
    """The filament of a yarn that a point lies in, ``but`` not that one; -1 for none."""
    a, b = _section(row, sign, yarn, v, u, z)
    if row[STRETCH] == 1.0:
        if (a / row[HALF_A]) ** 2 + (b / row[HALF_B]) ** 2 > 1.02:
            return -1
    elif a * a + b * b > 1.02 * row[HALF_A] * row[HALF_B]:
        return -1
    ia, ib = 1.0 / row[FIL_A], 1.0 / row[FIL_B]
    first = _own(row, count, yarn)
    for k in range(first, first + int(row[COUNT])):
        if k != but:
            x, y = (a - centres[k, 0]) * ia, (b - centres[k, 1]) * ib
            if x * x + y * y < 1.0 - 1e-6:
                return k
    return -1


@_compiled
def _fresnel(cosine, index):
    """Reflected share of unpolarised light, and the cosine beyond, where the index is ``index``
    times that of here."""
    root = 1.0 - (1.0 - cosine * cosine) / (index * index)
    if root <= 0.0:
        return 1.0, 0.0
    beyond = math.sqrt(root)
    rs = (cosine - index * beyond) / (cosine + index * beyond)
    rp = (index * cosine - beyond) / (index * cosine + beyond)
    return 0.5 * (rs * rs + rp * rp), beyond


@_compiled
def _draw(state):
    """A number 0-1 (xorshift64*: G. Marsaglia, J. Stat. Softw. 8 (2003) 14)."""
    s = state[0]
    s ^= s >> np.uint64(12)
    s ^= s << np.uint64(25)
    s ^= s >> np.uint64(27)
    state[0] = s
    return float((s * np.uint64(2685821657736338717)) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@_compiled
def _nearest(
    row, sign, centres, count, yarn, v, u, z, dv, du, dz, length, p0, q0, p1, q1, bent, own, skip
):
    """The first filament of one yarn met within ``length``: place on the ray and number.

    (p0, q0), (p1, q1): the ends of the stretch in the yarn's section; ``bent``: how far its middle
    may lie off the straight line between them. ``own``: the filament that the ray just left.
    """
    ha, hb = row[HALF_A] + bent, row[HALF_B] + bent
    sa, sb = 1.0 / (1.0005 * ha), 1.0 / (1.0005 * hb)
    oa, ob, va, vb = p0 * sa, q0 * sb, (p1 - p0) * sa, (q1 - q0) * sb
    rate = va * va + vb * vb + 1e-30
    half = oa * va + ob * vb
    root = half * half - rate * (oa * oa + ob * ob - 1.0)
    if root < 0.0:
        return 1e300, -1
    root = math.sqrt(root)
    low, high = (-half - root) / rate, (-half + root) / rate
    if low > 1.0 or high < 0.0:
        return 1e300, -1
    if own < 0 and row[COUNT] == 1.0 and bent < 0.02 * row[FIL_B]:
        # a rod is its own outline
        if half >= 0.0 or skip == 0:
            return 1e300, -1
        return max(low, 0.0) * length, 0
    low, high = max(low, 0.0) * length, min(high, 1.0) * length
    base = _own(row, count, yarn)
    ia, ib = 1.0 / row[FIL_A], 1.0 / row[FIL_B]
    turn = abs(row[TWIST] * du)
    ride = (high - low) * (high - low)
    wide = math.sqrt((p1 - p0) * (p1 - p0) + (q1 - q0) * (q1 - q0)) / length
    off = bent * ride / (length * length) + ride * turn * (0.25 * wide + 0.125 * ha * turn)
    parts = int(math.sqrt(off / (_STRAIGHT * row[STRETCH] * row[FIL_B]))) + 1
    step = (high - low) / parts
    a0, b0 = _section(row, sign, yarn, v + low * dv, u + low * du, z + low * dz)
    for part in range(parts):
        end = low + step
        a1, b1 = _section(row, sign, yarn, v + end * dv, u + end * du, z + end * dz)
        va, vb = (a1 - a0) * ia, (b1 - b0) * ib
        rate = va * va + vb * vb + 1e-30
        best, which = 1.0 + 1e-9, -1
        for k in range(base, base + int(row[COUNT])):
            oa, ob = (a0 - centres[k, 0]) * ia, (b0 - centres[k, 1]) * ib
            cross = oa * vb - ob * va
            half = oa * va + ob * vb
            if cross * cross < rate and half < 0.0 and k != skip:
                t = (-half - math.sqrt(rate - cross * cross)) / rate
                if t < best and not (part == 0 and k == own):
                    best, which = max(t, 0.0), k
        if which >= 0:
            return low + best * step, which
        if part == 0 and own >= 0 and own != skip:
            # a bent yarn may be met again on its hollow side
            oa, ob = (a1 - centres[own, 0]) * ia, (b1 - centres[own, 1]) * ib
            if oa * oa + ob * ob < 1.0 - 1e-9:
                return end, own
        low, a0, b0 = end, a1, b1
    return 1e300, -1


@_compiled
def trace(
    rows, sign0, sign1, centres0, centres1, top, starts, first, last, seed, least, leaves, follow
):
    """Follow ``starts`` (n, 5: x, y, direction), ``first`` to ``last``, until ``leaves`` is full.

    Starts lie at height ``top`` where they go down and at -``top`` where they go up. ``least``: of
    the light of a start, what both ways at a surface must carry to be followed both; one is drawn
    otherwise. ``follow``: ALL, only what meets NOTHING, or only what the FIRST surface met sends
    back. Returns (next start, leaves made, light lost).
    """
    state = np.empty(1, np.uint64)
    pend = np.empty((_PENDING, 14))
    made = 0
    lost = 0.0
    room = leaves.shape[0]
    p1, p2 = rows[0, SPACING], rows[1, SPACING]
    capx = _BEND / math.pi * p1  # along x, where the wefts bend
    capy = _BEND / math.pi * p2
    n0, n1 = centres0.shape[0], centres1.shape[0]
    mid, swi = np.empty(4), np.empty(4)
    rate0, rate1 = math.pi / p2, math.pi / p1
    bottom = -top
    for start in range(first, last):
        if made + _PENDING > room:
            return start, made, lost
        state[0] = (
            np.uint64(start + 1) * np.uint64(0x9E3779B97F4A7C15)
            + np.uint64(seed) * np.uint64(0xBF58476D1CE4E5B9)
            + np.uint64(88172645463325252)
        )
        for _ in range(4):
            _draw(state)
        dz0 = starts[start, 4]
        pend[0, 0], pend[0, 1] = starts[start, 0], starts[start, 1]
        pend[0, 2] = top if dz0 < 0.0 else bottom
        pend[0, 3], pend[0, 4], pend[0, 5] = starts[start, 2], starts[start, 3], dz0
        pend[0, 6] = 1.0
        pend[0, 7] = 0.0
        pend[0, 8] = 0.0
        pend[0, 9] = -1.0  # system of the filament that it lies in or on; -1 for none
        pend[0, 10] = 0.0  # yarn
        pend[0, 11] = -1.0  # filament
        pend[0, 12] = 0.0  # inside
        pend[0, 13] = 0.0  # surfaces met
        depth = 1
        while depth > 0:
            depth -= 1
            x, y, z = pend[depth, 0], pend[depth, 1], pend[depth, 2]
            dx, dy, dz = pend[depth, 3], pend[depth, 4], pend[depth, 5]
            weight = pend[depth, 6]
            l0, l1 = pend[depth, 7], pend[depth, 8]
            s = int(pend[depth, 9])
            yarn = int(pend[depth, 10])
            fil = int(pend[depth, 11])
            within = pend[depth, 12] > 0.0
            met = pend[depth, 13]
            count = 0
            led = 0
            while True:
                count += 1
                if count > _MOST_EVENTS or led > _GUIDED:
                    lost += weight
                    break
                hit = False
                if within:
                    row = rows[s]
                    n = n0 if s == 0 else n1
                    cen = centres0 if s == 0 else centres1
                    sgn = sign0 if s == 0 else sign1
                    ca, cb = cen[fil, 0], cen[fil, 1]
                    if s == 0:
                        v, u, dv, du = x, y, dx, dy
                    else:
                        v, u, dv, du = y, x, dy, dx
                    free = 1e300
                    if row[DULL] > 0.0:
                        free = -math.log(1.0 - _draw(state)) / row[DULL]
                    cap = (capy if s == 0 else capx) / max(abs(du), 1e-9)
                    end = -1.0
                    ia, ib = 1.0 / row[FIL_A], 1.0 / row[FIL_B]
                    a, b, av, au, az, bv, bu, bz = _frame(row, sgn, yarn, v, u, z)
                    oa, ob = (a - ca) * ia, (b - cb) * ib
                    va = (av * dv + au * du + az * dz) * ia
                    vb = (bv * dv + bu * du + bz * dz) * ib
                    rate = va * va + vb * vb + 1e-30
                    half = oa * va + ob * vb
                    root = half * half - rate * (oa * oa + ob * ob - 1.0)
                    gone = 0.0
                    if root <= 0.0:
                        end = 0.0  # grazes out
                    else:
                        far = (-half + math.sqrt(root)) / rate
                        if far >= cap:  # far along the fibre: step by step
                            a0, b0 = a, b
                            for _ in range(400):
                                a1, b1 = _section(
                                    row, sgn, yarn,
                                    v + (gone + cap) * dv, u + (gone + cap) * du,
                                    z + (gone + cap) * dz,
                                )  # fmt: skip
                                oa, ob = (a0 - ca) * ia, (b0 - cb) * ib
                                va, vb = (a1 - a0) * ia, (b1 - b0) * ib
                                rate = va * va + vb * vb + 1e-30
                                half = oa * va + ob * vb
                                root = half * half - rate * (oa * oa + ob * ob - 1.0)
                                far = -1.0
                                if root <= 0.0:
                                    end = gone  # grazes out
                                    break
                                far = (-half + math.sqrt(root)) / rate
                                if far <= 1.0:
                                    far = gone + max(far, 0.0) * cap
                                    break
                                far = -1.0
                                gone += cap
                                a0, b0 = a1, b1
                                if gone > free:
                                    break
                        if far >= 0.0:
                            end = _mend(row, sgn, yarn, ca, cb, v, u, z, dv, du, dz, far, True)
                            if end < far - row[FIL_B]:
                                end = far
                    if end < 0.0 and gone <= free:
                        lost += weight
                        break
                    end = max(end, 0.0) if end >= 0.0 else 1e300
                    if free < end:
                        # scattered inside the fibre, evenly to all sides
                        x += free * dx
                        y += free * dy
                        z += free * dz
                        if s == 0:
                            l0 += free
                        else:
                            l1 += free
                        dz = 2.0 * _draw(state) - 1.0
                        around = 2.0 * math.pi * _draw(state)
                        flat = math.sqrt(max(0.0, 1.0 - dz * dz))
                        dx, dy = flat * math.cos(around), flat * math.sin(around)
                        continue
                    x += end * dx
                    y += end * dy
                    z += end * dz
                    if s == 0:
                        l0 += end
                    else:
                        l1 += end
                    # straight on into a filament that this one runs into
                    if n > 1:
                        other = _inside(row, sgn, yarn, cen, n, v + end * dv, u + end * du, z, fil)
                        if other >= 0:
                            fil = other
                            continue
                    place = u + end * du
                    j = math.floor(place / row[PITCH] + 0.5)
                    if abs(place - j * row[PITCH]) < rows[1 - s, HALF_A]:
                        cen = centres1 if s == 0 else centres0
                        sgn = sign1 if s == 0 else sign0
                        other = _inside(
                            rows[1 - s], sgn, j, cen, cen.shape[0], place, v + end * dv, z, -1
                        )
                        if other >= 0 and rows[1 - s, OPAQUE] == 0.0:
                            s, yarn, fil = 1 - s, int(j), other
                            continue
                    hit = True
                else:
                    done = 0
                    own_s, own_y, own_k = s, yarn, fil  # just left; not met again at once
                    out = False
                    while not (hit or out):
                        # on a border, the cell ahead: a ray along it would not leave the one behind
                        cx = math.floor(x / p1 + (_BORDER if dx > 0.0 else -_BORDER))
                        cy = math.floor(y / p2 + (_BORDER if dy > 0.0 else -_BORDER))
                        ix, iy = int(cx), int(cy)
                        # axes of the four yarns about this cell: middle and swing
                        r0, c0 = sign0.shape
                        r1, c1 = sign1.shape
                        i0, i1, j0, j1 = ix % r0, (ix + 1) % r0, iy % r1, (iy + 1) % r1
                        k0, k1, m0, m1 = iy % c0, (iy + 1) % c0, ix % c1, (ix + 1) % c1
                        w0, w1 = rows[0, SWING], rows[1, SWING]
                        mid[0] = 0.5 * w0 * (sign0[i0, k0] + sign0[i0, k1])
                        mid[1] = 0.5 * w0 * (sign0[i1, k0] + sign0[i1, k1])
                        mid[2] = 0.5 * w1 * (sign1[j0, m0] + sign1[j0, m1])
                        mid[3] = 0.5 * w1 * (sign1[j1, m0] + sign1[j1, m1])
                        swi[0] = 0.5 * w0 * (sign0[i0, k0] - sign0[i0, k1])
                        swi[1] = 0.5 * w0 * (sign0[i1, k0] - sign0[i1, k1])
                        swi[2] = 0.5 * w1 * (sign1[j0, m0] - sign1[j0, m1])
                        swi[3] = 0.5 * w1 * (sign1[j1, m0] - sign1[j1, m1])
                        way = 1e300
                        if dx > 0.0:
                            way = min(way, ((cx + 1.0) * p1 - x) / dx)
                        elif dx < 0.0:
                            way = min(way, (cx * p1 - x) / dx)
                        if dy > 0.0:
                            way = min(way, ((cy + 1.0) * p2 - y) / dy)
                        elif dy < 0.0:
                            way = min(way, (cy * p2 - y) / dy)
                        way = max(way, 0.0) + _BORDER * p1
                        up = (top - z) / dz if dz > 0.0 else (bottom - z) / dz if dz < 0 else 1e300
                        if up <= way:
                            way = max(up, 0.0)
                            out = True
                        flat = max(abs(dx) / capx, abs(dy) / capy)
                        pieces = int(way * flat) + 1
                        length = way / pieces
                        fx, fy = x / p1 - cx, y / p2 - cy
                        ax, ay = math.cos(math.pi * fx), math.cos(math.pi * fy)
                        bx, by_ = math.sin(math.pi * fx), math.sin(math.pi * fy)
                        for _ in range(pieces):
                            done += 1
                            nx, ny, nz = x + length * dx, y + length * dy, z + length * dz
                            fx, fy = nx / p1 - cx, ny / p2 - cy
                            ax1, ay1 = math.cos(math.pi * fx), math.cos(math.pi * fy)
                            bx1, by1 = math.sin(math.pi * fx), math.sin(math.pi * fy)
                            bent0 = 0.125 * (math.pi / p2 * length * dy) ** 2
                            bent1 = 0.125 * (math.pi / p1 * length * dx) ** 2
                            skip_s, skip_y, skip_k = -1, 0, -1
                            for _ in range(8):
                                best, bs, bk, by = 1e300, -1, -1, 0
                                for which in range(4):
                                    cs = which >> 1
                                    if cs == 0:
                                        cyarn = ix + which
                                        q0 = x - cyarn * p1
                                        q1 = nx - cyarn * p1
                                    else:
                                        cyarn = iy + which - 2
                                        q0 = y - cyarn * p2
                                        q1 = ny - cyarn * p2
                                    reach = rows[cs, HALF_A] * 1.001
                                    if (q0 > reach and q1 > reach) or (q0 < -reach and q1 < -reach):
                                        continue
                                    own, skip = -1, -1
                                    if cs == own_s and cyarn == own_y:
                                        own = own_k
                                    if cs == skip_s and cyarn == skip_y:
                                        skip = skip_k
                                    w = swi[which]
                                    if cs == 0:
                                        rate, c0_, c1_, s0_, s1_ = rate0, ay, ay1, by_, by1
                                        cv, cu, cdv, cdu, bent = x, y, dx, dy, bent0
                                        cen, sgn = centres0, sign0
                                    else:
                                        rate, c0_, c1_, s0_, s1_ = rate1, ax, ax1, bx, bx1
                                        cv, cu, cdv, cdu, bent = y, x, dy, dx, bent1
                                        cen, sgn = centres1, sign1
                                    s0_, s1_ = w * rate * s0_, w * rate * s1_
                                    h0 = (z - mid[which] - w * c0_) / math.sqrt(1.0 + s0_ * s0_)
                                    h1 = (nz - mid[which] - w * c1_) / math.sqrt(1.0 + s1_ * s1_)
                                    t, k = _nearest(
                                        rows[cs], sgn, cen, cen.shape[0], cyarn, cv, cu, z,
                                        cdv, cdu, dz, length, q0, h0, q1, h1,
                                        bent * abs(w), own, skip,
                                    )  # fmt: skip
                                    if k >= 0 and t < best:
                                        best, bs, by, bk = t, cs, cyarn, k
                                if bs < 0:
                                    break
                                row = rows[bs]
                                if bs == 0:
                                    cv, cu, cdv, cdu, cen, sgn = x, y, dx, dy, centres0, sign0
                                else:
                                    cv, cu, cdv, cdu, cen, sgn = y, x, dy, dx, centres1, sign1
                                t = _mend(
                                    row, sgn, by, cen[bk, 0], cen[bk, 1],
                                    cv, cu, z, cdv, cdu, dz, best, False,
                                )  # fmt: skip
                                if t > -row[FIL_B] and t < 1.5 * length + row[FIL_B]:
                                    hit = True
                                    x += t * dx
                                    y += t * dy
                                    z += t * dz
                                    s, yarn, fil = bs, by, bk
                                    break
                                skip_s, skip_y, skip_k = bs, by, bk
                            if hit:
                                break
                            own_s = -1
                            x, y, z = nx, ny, nz
                            ax, ay, bx, by_ = ax1, ay1, bx1, by1
                        if done > _MOST_STEPS:
                            break
                    if not hit:
                        if not out:
                            lost += weight
                            break
                        leaf = leaves[made]
                        leaf[0] = start
                        leaf[1], leaf[2], leaf[3] = dx, dy, dz
                        leaf[4] = weight
                        leaf[5], leaf[6] = l0, l1
                        leaf[7] = met
                        leaf[8], leaf[9] = x, y
                        made += 1
                        break
                # at a surface
                if follow == NOTHING or (follow == FIRST and met > 0.0):
                    break
                met += 1.0
                row = rows[s]
                cen = centres0 if s == 0 else centres1
                sgn = sign0 if s == 0 else sign1
                v, u = (x, y) if s == 0 else (y, x)
                a, b, av, au, az, bv, bu, bz = _frame(row, sgn, yarn, v, u, z)
                ga = (a - cen[fil, 0]) / (row[FIL_A] * row[FIL_A])
                gb = (b - cen[fil, 1]) / (row[FIL_B] * row[FIL_B])
                nv = ga * av + gb * bv
                nu = ga * au + gb * bu
                nz = ga * az + gb * bz
                norm = 1.0 / math.sqrt(nv * nv + nu * nu + nz * nz)
                nv, nu, nz = nv * norm, nu * norm, nz * norm
                if s == 0:
                    nx, ny = nv, nu
                else:
                    nx, ny = nu, nv
                cosine = dx * nx + dy * ny + dz * nz
                if row[OPAQUE] > 0.0:
                    if s == 0:
                        l0 += 1.0
                    else:
                        l1 += 1.0
                    # matt: cosine about the normal
                    up = _draw(state)
                    around = 2.0 * math.pi * _draw(state)
                    flat, up = math.sqrt(1.0 - up), math.sqrt(up)
                    if abs(nz) < 0.9:
                        tx, ty, tz = -ny, nx, 0.0
                    else:
                        tx, ty, tz = 0.0, -nz, ny
                    size = 1.0 / math.sqrt(tx * tx + ty * ty + tz * tz)
                    tx, ty, tz = tx * size, ty * size, tz * size
                    ox, oy, oz = ny * tz - nz * ty, nz * tx - nx * tz, nx * ty - ny * tx
                    ca, cb = flat * math.cos(around), flat * math.sin(around)
                    dx = ca * tx + cb * ox + up * nx
                    dy = ca * ty + cb * oy + up * ny
                    dz = ca * tz + cb * oz + up * nz
                    within = False
                    continue
                index = row[INDEX]
                if within:
                    index = 1.0 / index
                    if cosine < 0.0:  # rounding: already on the way in
                        cosine = 1e-9
                else:
                    nx, ny, nz, cosine = -nx, -ny, -nz, -cosine
                    if cosine < 0.0:
                        cosine = 1e-9
                # the normal now points onwards
                back, beyond = _fresnel(cosine, index)
                led = led + 1 if within and back == 1.0 else 0
                rx, ry, rz = dx - 2.0 * cosine * nx, dy - 2.0 * cosine * ny, dz - 2.0 * cosine * nz
                turn = beyond - cosine / index
                ox, oy, oz = dx / index + turn * nx, dy / index + turn * ny, dz / index + turn * nz
                lesser = min(back, 1.0 - back)
                if follow == FIRST:
                    go_on = False
                    weight *= back
                elif weight * lesser > least and depth < _PENDING - 1:
                    # the lesser waits
                    p = pend[depth]
                    p[0], p[1], p[2] = x, y, z
                    p[7], p[8], p[9], p[10], p[11] = l0, l1, s, yarn, fil
                    p[13] = met
                    if back < 0.5:
                        p[3], p[4], p[5] = rx, ry, rz
                        p[6] = weight * back
                        p[12] = 1.0 if within else 0.0
                        go_on = True
                        weight *= 1.0 - back
                    else:
                        p[3], p[4], p[5] = ox, oy, oz
                        p[6] = weight * (1.0 - back)
                        p[12] = 0.0 if within else 1.0
                        go_on = False
                        weight *= back
                    depth += 1
                else:
                    go_on = _draw(state) >= back
                if go_on:
                    dx, dy, dz = ox, oy, oz
                    within = not within
                else:
                    dx, dy, dz = rx, ry, rz
                size = 1.0 / math.sqrt(dx * dx + dy * dy + dz * dz)
                dx, dy, dz = dx * size, dy * size, dz * size
    return last, made, lost


@_compiled
def push_apart(at, wide, high, least, times):
    """Push places (n, 2) apart, in place, until next to none are nearer than ``least``, or so many
    times; all stay within the ellipse of half axes ``wide`` and ``high``."""
    n = at.shape[0]
    move = np.empty((n, 2))
    for _ in range(times):
        move[:] = 0.0
        worst = 0.0
        for i in range(n):
            for j in range(i):
                x, y = at[i, 0] - at[j, 0], at[i, 1] - at[j, 1]
                far = math.sqrt(x * x + y * y)
                if far < least:
                    near = (least - far) / max(far, 1e-9)
                    worst = max(worst, near)
                    move[i, 0] += near * x
                    move[i, 1] += near * y
                    move[j, 0] -= near * x
                    move[j, 1] -= near * y
        if worst < 0.004:
            break
        for i in range(n):
            x, y = at[i, 0] + 0.3 * move[i, 0], at[i, 1] + 0.3 * move[i, 1]
            out = max(1.0, math.sqrt((x / wide) ** 2 + (y / high) ** 2))
            at[i, 0], at[i, 1] = x / out, y / out


@_compiled
def rows_of(leaves, label, edges, steps, pair):
    """The pair of nodes (n,) that each leaf (n, LEAF) went between, as numbered by ``pair``
    (2D, 2D); -1 where it met nothing. ``label``: node by start; ``edges`` of the rings, rising
    squares of the cosine."""
    half = (edges.shape[0] - 1) * steps
    out = np.empty(leaves.shape[0], np.int32)
    for n in range(leaves.shape[0]):
        leaf = leaves[n]
        if leaf[7] == 0.0:
            out[n] = -1
        else:
            to = node_of(leaf[1], leaf[2], leaf[3], edges, steps, half)
            out[n] = pair[label[int(leaf[0])], to]
    return out


@_compiled
def node_of(x, y, z, edges, steps, half):
    """The node that a direction belongs to."""
    ring = 0
    square = z * z
    while ring < edges.shape[0] - 2 and square >= edges[ring + 1]:
        ring += 1
    step = int(math.atan2(-x, y) / (2.0 * math.pi) * steps + steps) % steps
    return ring * steps + step + (half if z < 0.0 else 0)


@_compiled
def _level(length, scale, ratio, levels):
    if scale == 0.0:
        return min(int(length + 0.5), levels - 1)
    if length < scale:
        return 0
    return min(1 + int(math.log(length / scale) / math.log(ratio)), levels - 1)


@_compiled
def levels_of(leaves, scale, ratio, levels):
    """The column of each leaf, by lengths in warp and weft: geometric steps of ``ratio`` above
    ``scale`` (2,), shorter ones as none; a scale of 0 counts whole numbers."""
    out = np.empty(leaves.shape[0], np.int32)
    for n in range(leaves.shape[0]):
        out[n] = _level(leaves[n, 5], scale[0], ratio, levels) * levels + _level(
            leaves[n, 6], scale[1], ratio, levels
        )
    return out


@_compiled
def nodes_of(vectors, edges, steps):
    """The node that each direction (n, 3) belongs to."""
    out = np.empty(vectors.shape[0], np.int32)
    half = (edges.shape[0] - 1) * steps
    for n in range(vectors.shape[0]):
        out[n] = node_of(vectors[n, 0], vectors[n, 1], vectors[n, 2], edges, steps, half)
    return out
