"""Exact paths of light through woven filaments, compiled.

Knows surfaces, refraction and lengths; knows nothing of cloths, colour, directions by name or
tables. Light meets a filament's surface (Fresnel, unpolarised), is refracted, runs through the
fibre, leaves or is reflected inside; the length it ran in warp and in weft goes with it, so that
any dye can be put in afterwards (absorption applied to paths traced without it: "white Monte
Carlo", A. Kienle, M. S. Patterson, Phys. Med. Biol. 41 (1996) 2221). At a surface both ways are
followed while they carry enough light, and one is drawn below (splitting and roulette: M. H. Kalos,
P. A. Whitlock, Monte Carlo Methods, 2008, ch. 5).

A yarn's axis lies in an upright plane; ``u`` is the place along it, ``v`` across, ``z`` up. A
filament is met where a ray, linear in short stretches of the yarn's own section, meets its outline,
and the place is then mended on the true surface. Outlines are round, or triangles rounded more or
less: of all curves of third degree those that are closed and alike from three sides, so that a line
meets them where a cubic is nought.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

# One row a system: what the tracer needs of it; COUNT filaments in the section, whose centres may
# be given for several arrangements one after the other.
SPACING, PITCH, SWING, HALF_A, HALF_B, FIL_A, FIL_B = range(7)
TWIST, PHASE, INDEX, DULL, OPAQUE, COUNT, STRETCH = range(7, 14)
PER_PITCH, MANY, PER_MANY, LONG, PER_LONG, PER_STRETCH = range(14, 20)
# Of an outline that is not round (see _height): its square term, and the square of its circle.
SQUARE, REACH = 20, 21
COLUMNS = 22
#: One row a filament: its centre, and of an outline that is not round the cubic terms.
X, Y, CUBIC, OTHER = range(4)

#: What is followed; MET: to the first surface alone.
ALL, NOTHING, FIRST, MET = range(4)
#: As ``least`` of a tracing: at each surface one way alone is followed.
UNSPLIT = 1.0

#: Leaves: start, direction (3), weight, lengths in warp and weft, surfaces met, place (x, y) where
#: the cell is left; the first surface: how far from the start, and whose (system, yarn), a system
#: of -1 where the light did not only pass about inside that yarn and leave it.
LEAF = 13

_MOST_EVENTS = 3000
_GUIDED = 200  # reflections inside one after the other: light that a fibre leads away
_MOST_STEPS = 100000  # between two surfaces
_PENDING = 256
_BORDER = 1e-9  # so near a border of the cell lies on it, over the cell
_BEND = 0.3  # of a yarn's undulation that a ray crosses at once, radians
_BENT = 0.125 * _BEND * _BEND  # so much of its swing the middle of such a stretch lies off at most
_OWN = 2.0 / math.sqrt(27.0)  # a cubic that bends more is no closed outline's
_STRAIGHT = 0.02  # how far off a stretch may lie, over a filament's half height

_compiled = njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
# taken in where they are called: calls would hand over all arrays and count who holds them
_inlined = njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)


@_inlined
def _wave(f):
    """Cosine and sine of pi ``f``, of -.1 to 1.1 at most: Chebyshev series of sine and cosine about
    the middle, to 1e-14. The library's would take as long as all the rest of a place on a yarn."""
    g = f - 0.5
    t = g * g
    sine = (
        -2.110004425048828e-05 * t + 0.0004659502301365137
    ) * t - 0.007370348670519888
    sine = ((sine * t + 0.08214587553993624) * t - 0.5992645284760556) * t + 2.550164039844338
    sine = (sine * t - 5.167712780049461) * t + 3.141592653589792
    cosine = (
        -0.00010039657354354858 * t + 0.0019278510008007288
    ) * t - 0.025806524718063883
    cosine = ((cosine * t + 0.2353305869214637) * t - 1.3352627660422343) * t + 4.058712126326478
    cosine = (cosine * t - 4.934802200543556) * t + 1.0
    return -g * sine, cosine


@_inlined
def _turned(angle):
    """Cosine and sine of any angle, radians."""
    half_turns = angle * (1.0 / math.pi)
    k = math.floor(half_turns)
    co, si = _wave(half_turns - k)
    if k - 2.0 * math.floor(0.5 * k) > 0.5:
        return -co, -si
    return co, si


@_inlined
def _folded(rows, s, number, along=False):
    """A whole number of yarns, or of crossings ``along`` one, in the repeat of a system: kept as
    floats, whole numbers are folded faster."""
    many = rows[s, LONG if along else MANY]
    each = rows[s, PER_LONG if along else PER_MANY]
    return int(number - many * math.floor((number + 0.5) * each))


@_inlined
def _course(rows, signs, s, i, j):
    """The middle and the swing of a yarn's axis between one crossing and the next."""
    one, two, half = signs[s, i, j], signs[s, i, j + 1], 0.5 * rows[s, SWING]
    return half * (one + two), half * (one - two)


@_inlined
def _per(way):
    """1 over a part of a direction, bounded."""
    return 1.0 / way if abs(way) > 1e-12 else (1e12 if way >= 0.0 else -1e12)


@_inlined
def _axis(rows, signs, s, yarn, u):
    """Height of a yarn's axis, its slope, and its second derivative."""
    place = u * rows[s, PER_PITCH]
    k = math.floor(place)
    f = place - k
    middle, half = _course(rows, signs, s, _folded(rows, s, yarn), _folded(rows, s, k, True))
    if half == 0.0:
        return middle, 0.0, 0.0
    rate = math.pi * rows[s, PER_PITCH]
    co, si = _wave(f)
    return half * co, -half * rate * si, -half * rate * rate * co


@_inlined
def _section(rows, signs, s, yarn, v, u, z):
    """Where a point lies in the section of a yarn, turned with its twist. The axes of filaments of
    a flat yarn that is twisted are turned as if it were round, STRETCH times as wide and as low."""
    height, slope, _ = _axis(rows, signs, s, yarn, u)
    q = (z - height) * rows[s, PER_STRETCH] / math.sqrt(1.0 + slope * slope)
    p = rows[s, STRETCH] * (v - yarn * rows[s, SPACING])
    if rows[s, TWIST] == 0.0 and rows[s, PHASE] == 0.0:
        return p, q
    turn = rows[s, TWIST] * u + rows[s, PHASE] * yarn
    co, si = _turned(turn)
    return co * p + si * q, co * q - si * p


@_inlined
def _frame(rows, signs, s, yarn, v, u, z):
    """As _section, with the gradients of both numbers by (v, u, z)."""
    height, slope, bend = _axis(rows, signs, s, yarn, u)
    w = 1.0 / math.sqrt(1.0 + slope * slope)
    wide = rows[s, STRETCH]
    each = rows[s, PER_STRETCH]
    w *= each
    q = (z - height) * w
    p = wide * (v - yarn * rows[s, SPACING])
    along = -slope * w - q * slope * bend * w * w * wide * wide
    if rows[s, TWIST] == 0.0 and rows[s, PHASE] == 0.0:
        return p, q, wide, 0.0, 0.0, 0.0, along, w
    turn = rows[s, TWIST] * u + rows[s, PHASE] * yarn
    co, si = _turned(turn)
    a, b = co * p + si * q, co * q - si * p
    t = rows[s, TWIST]
    return a, b, co * wide, si * along + t * b, si * w, -si * wide, co * along - t * a, co * w


@_inlined
def _measure(rows, s, yarn, u):
    """The matrix by which differences in a turned section are told as they are in the cloth, across
    and up, in half widths and heights of a filament: those of a flat, twisted yarn are as round as
    any."""
    ia, ib = 1.0 / rows[s, FIL_A], 1.0 / rows[s, FIL_B]
    if rows[s, STRETCH] == 1.0:  # in a round yarn they look alike from all sides
        return ia, 0.0, 0.0, ib
    co, si = _turned(rows[s, TWIST] * u + rows[s, PHASE] * yarn)
    ia *= rows[s, PER_STRETCH]
    ib *= rows[s, STRETCH]
    return co * ia, -si * ia, si * ib, co * ib


@_inlined
def _height(rows, s, cubic, other, x, y):
    """Of a place in radii from a filament's centre: 1 on its outline, less within. An outline is
    g r^2 - k r^3 cos 3(a - a0) = 1, whose terms are SQUARE, CUBIC and OTHER; its own branch lies
    within the circle REACH."""
    far = x * x + y * y
    if rows[s, REACH] == 1.0:
        return far
    if far > 1.001 * rows[s, REACH]:
        return 2.0
    return (
        rows[s, SQUARE] * far
        - cubic * x * (x * x - 3.0 * y * y)
        - other * y * (3.0 * x * x - y * y)
    )


@_inlined
def _uphill(rows, s, cubic, other, x, y):
    """Half the gradient of _height."""
    if rows[s, REACH] == 1.0:
        return x, y
    g, two, less = rows[s, SQUARE], 2.0 * x * y, x * x - y * y
    return (
        g * x - 1.5 * (cubic * less + other * two),
        g * y - 1.5 * (other * less - cubic * two),
    )


@_inlined
def _crossing(rows, s, cubic, other, x, y, dx, dy, leaving, ahead=False):
    """How far along (``dx``, ``dy``) from (``x``, ``y``) a line comes out of an outline, or goes
    into it; 1e300 for never. ``ahead``: of one not round, nor where its lowest place is behind."""
    rate = dx * dx + dy * dy
    half = x * dx + y * dy
    reach = rows[s, REACH]
    far = x * x + y * y
    root = half * half - rate * (far - reach)
    if root < 0.0 or rate < 1e-30:
        return 1e300
    if reach == 1.0:
        root = math.sqrt(root)
        return (-half + root) / rate if leaving else (-half - root) / rate
    # along the line the height is a cubic: c1 t + c2 t^2 + c3 t^3 more than here
    gx, gy = _uphill(rows, s, cubic, other, x, y)
    c1 = 2.0 * (gx * dx + gy * dy)
    less, two = dx * dx - dy * dy, 2.0 * dx * dy
    c2 = rows[s, SQUARE] * rate - 3.0 * (
        cubic * (x * less - y * two) + other * (y * less + x * two)
    )
    c3 = -cubic * dx * (dx * dx - 3.0 * dy * dy) - other * dy * (3.0 * dx * dx - dy * dy)
    above = (rows[s, SQUARE] * far + 2.0 * (gx * x + gy * y)) / 3.0 - 1.0
    if far < reach and (c1 > 0.0 if leaving else c1 < 0.0):  # near by a short series tells it
        each = 1.0 / c1
        step = -above * each
        bend = c2 * step * each
        if abs(bend) < 0.03:
            return step * (1.0 - bend + 2.0 * bend * bend - c3 * step * step * each)
    under = c2 * c2 - 3.0 * c1 * c3
    if under <= 0.0:
        return 1e300
    under = math.sqrt(under)
    # its lowest place: there the second derivative is 2 under
    low = -c1 / (c2 + under) if c2 > 0.0 else (under - c2) / (3.0 * c3)
    if (ahead and low < 0.0) or far + low * (2.0 * half + low * rate) > reach:
        return 1e300
    depth = -above - low * (2.0 * c1 + c2 * low) / 3.0
    if depth <= 0.0:
        return 1e300
    # from there it is under w^2 + c3 w^3 - depth: with w = wide / r, the greatest r of
    # r^3 - r = bent: its series, and a step of Halley's to 1e-7 of it; more where it bends more
    each = 1.0 / under
    wide = math.sqrt(depth * each)
    if not leaving:
        wide = -wide
    bent = c3 * wide * each
    if abs(bent) > _OWN:
        return 1e300
    r = 1.0 + bent * (0.5 + bent * (0.5 * bent - 0.375))
    for _ in range(1 if abs(bent) < 0.2 else 5):
        rest, slope = r * (r * r - 1.0) - bent, 3.0 * r * r - 1.0
        r -= rest * slope / (slope * slope - 3.0 * r * rest)
    return low + wide / r


@_inlined
def _mend(rows, signs, s, yarn, centres, fil, v, u, z, dv, du, dz, t, leaving):
    """The place t on a ray where it meets one filament's true surface, near t, -1 for none;
    whether that is found as near as it should be; and the frame there, as from _frame."""
    ca, cb = centres[s, fil, X], centres[s, fil, Y]
    a = b = av = au = az = bv = bu = bz = 0.0
    for _ in range(4):
        a, b, av, au, az, bv, bu, bz = _frame(
            rows, signs, s, yarn, v + t * dv, u + t * du, z + t * dz
        )
        da, db = av * dv + au * du + az * dz, bv * dv + bu * du + bz * dz
        m0, m1, m2, m3 = _measure(rows, s, yarn, u + t * du)
        p, q = m0 * (a - ca) + m1 * (b - cb), m2 * (a - ca) + m3 * (b - cb)
        ra, rb = m0 * da + m1 * db, m2 * da + m3 * db
        if m1 != 0.0:  # as the measure itself turns on the way
            turn = rows[s, TWIST] * du
            ra -= turn * q * rows[s, PER_STRETCH] * rows[s, PER_STRETCH]
            rb += turn * p * rows[s, STRETCH] * rows[s, STRETCH]
        step = _crossing(
            rows, s, centres[s, fil, CUBIC], centres[s, fil, OTHER], p, q, ra, rb, leaving
        )
        if step >= 1e300:
            return -1.0, False, a, b, av, au, az, bv, bu, bz
        t += step
        a, b = a + step * da, b + step * db
        # what is left is of the order of the step's square over the radius
        if abs(step) < 1e-4 * rows[s, FIL_B]:
            return t, True, a, b, av, au, az, bv, bu, bz
    return t, False, a, b, av, au, az, bv, bu, bz


@_inlined
def _own(plan, s, yarn):
    """Where the centres of a yarn's filaments begin: yarns take turns."""
    ways = plan[s, 3]
    return int(yarn - ways * math.floor((yarn + 0.5) / ways)) * plan[s, 2]


@_inlined
def _inside(rows, signs, plan, centres, s, yarn, v, u, z):
    """The filament of a yarn that a point lies in; -1 for none."""
    a, b = _section(rows, signs, s, yarn, v, u, z)
    if rows[s, STRETCH] == 1.0:
        if (a / rows[s, HALF_A]) ** 2 + (b / rows[s, HALF_B]) ** 2 > 1.02:
            return -1
    elif a * a + b * b > 1.02 * rows[s, HALF_A] * rows[s, HALF_B]:
        return -1
    m0, m1, m2, m3 = _measure(rows, s, yarn, u)
    first = _own(plan, s, yarn)
    for k in range(first, first + plan[s, 2]):
        x, y = a - centres[s, k, X], b - centres[s, k, Y]
        x, y = m0 * x + m1 * y, m2 * x + m3 * y
        if _height(rows, s, centres[s, k, CUBIC], centres[s, k, OTHER], x, y) < 1.0 - 1e-6:
            return k
    return -1


@_inlined
def _apart(rows, centres, s, one, other):
    """The square of how far apart two filaments' centres lie at least, in their radii."""
    x, y = centres[s, one, X] - centres[s, other, X], centres[s, one, Y] - centres[s, other, Y]
    near = rows[s, STRETCH] / rows[s, FIL_A]
    return (x * x + y * y) * near * near


@_inlined
def _beside(rows, signs, plan, centres, near, s, yarn, fil, v, u, z):
    """The neighbour of a filament that a point on its surface lies in; -1 for none."""
    most = 4.0 * rows[s, REACH]
    if _apart(rows, centres, s, fil, near[s, fil, 0]) >= most:
        return -1
    a, b = _section(rows, signs, s, yarn, v, u, z)
    m0, m1, m2, m3 = _measure(rows, s, yarn, u)
    for n in range(near.shape[2]):
        k = near[s, fil, n]
        if _apart(rows, centres, s, fil, k) >= most:
            break
        x, y = a - centres[s, k, X], b - centres[s, k, Y]
        x, y = m0 * x + m1 * y, m2 * x + m3 * y
        height = _height(rows, s, centres[s, k, CUBIC], centres[s, k, OTHER], x, y)
        if k != fil and height < 1.0 - 1e-6:
            return k
    return -1


@_inlined
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


@_inlined
def _draw(state):
    """A number 0-1 (xorshift64*: G. Marsaglia, J. Stat. Softw. 8 (2003) 14)."""
    s = state[0]
    s ^= s >> np.uint64(12)
    s ^= s << np.uint64(25)
    s ^= s >> np.uint64(27)
    state[0] = s
    return float((s * np.uint64(2685821657736338717)) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@_inlined
def _nearest(
    rows, signs, plan, centres, s, yarn, v, u, z, dv, du, dz, length, p0, q0, p1, q1, bent, own,
    skip,
):  # fmt: skip
    """The first filament of one yarn met within ``length``: place on the ray and number.

    (p0, q0), (p1, q1): the ends of the stretch in the yarn's section; ``bent``: how far its middle
    may lie off the straight line between them. ``own``: the filament that the ray just left.
    """
    reach = rows[s, REACH]
    ha, hb = rows[s, HALF_A] + bent, rows[s, HALF_B] + bent
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
    if own < 0 and rows[s, COUNT] == 1.0 and bent < 0.02 * rows[s, FIL_B]:
        # a rod is its own outline
        if half >= 0.0 or skip == 0:
            return 1e300, -1
        return max(low, 0.0) * length, 0
    low, high = max(low, 0.0) * length, min(high, 1.0) * length
    base = _own(plan, s, yarn)
    turn = abs(rows[s, TWIST] * du)
    ride = (high - low) * (high - low)
    wide = math.sqrt((p1 - p0) * (p1 - p0) + (q1 - q0) * (q1 - q0)) / length
    off = bent * ride / (length * length) + ride * turn * (0.25 * wide + 0.125 * ha * turn)
    parts = int(math.sqrt(off / (_STRAIGHT * rows[s, STRETCH] * rows[s, FIL_B]))) + 1
    step = (high - low) / parts
    a0, b0 = _section(rows, signs, s, yarn, v + low * dv, u + low * du, z + low * dz)
    for part in range(parts):
        end = low + step
        a1, b1 = _section(rows, signs, s, yarn, v + end * dv, u + end * du, z + end * dz)
        m0, m1, m2, m3 = _measure(rows, s, yarn, u + 0.5 * (low + end) * du)
        va, vb = m0 * (a1 - a0) + m1 * (b1 - b0), m2 * (a1 - a0) + m3 * (b1 - b0)
        rate = va * va + vb * vb + 1e-30
        best, which = 1.0 + 1e-9, -1
        for k in range(base, base + plan[s, 2]):
            oa, ob = a0 - centres[s, k, X], b0 - centres[s, k, Y]
            if m1 != 0.0:
                oa, ob = m0 * oa + m1 * ob, m2 * oa + m3 * ob
            else:  # nearly all yarns; this is asked most of all
                oa, ob = m0 * oa, m3 * ob
            cross = oa * vb - ob * va
            half = oa * va + ob * vb
            if (
                cross * cross < rate * reach
                and (half < 0.0 or (reach > 1.0 and oa * oa + ob * ob < reach))
                and k != skip
            ):
                t = (-half - math.sqrt(rate * reach - cross * cross)) / rate
                if reach > 1.0 and t < best:  # so far off is its circle
                    t = _crossing(
                        rows, s, centres[s, k, CUBIC], centres[s, k, OTHER], oa, ob, va, vb,
                        False, True,
                    )  # fmt: skip
                if t < best and not (part == 0 and k == own):
                    best, which = max(t, 0.0), k
        if which >= 0:
            return low + best * step, which
        if part == 0 and own >= 0 and own != skip:
            # a bent yarn may be met again on its hollow side
            oa, ob = a1 - centres[s, own, X], b1 - centres[s, own, Y]
            oa, ob = m0 * oa + m1 * ob, m2 * oa + m3 * ob
            height = _height(rows, s, centres[s, own, CUBIC], centres[s, own, OTHER], oa, ob)
            if height < 1.0 - 1e-9:
                return end, own
        low, a0, b0 = end, a1, b1
    return 1e300, -1


@_inlined
def _next(rows, plan, centres, near, s, yarn, own, u, a, b, va, vb, du):
    """The filament of the same yarn that is met next after ``own`` was left at (``a``, ``b``) of
    the section, where the ray moves by (``va``, ``vb``) a unit of its length and by ``du`` along:
    how far off, and its number; -1 where none is met before the ray bends off its line, or where
    it is none of the nearest."""
    wide = math.sqrt(va * va + vb * vb) + 1e-30
    turn = abs(rows[s, TWIST] * du)
    bend = math.pi * abs(du) / rows[s, PITCH]
    off = 0.125 * bend * bend * rows[s, SWING] + turn * (
        0.25 * wide + 0.125 * rows[s, HALF_A] * turn
    )
    best = math.sqrt(_STRAIGHT * rows[s, STRETCH] * rows[s, FIL_A] / (off + 1e-30))
    m0, m1, m2, m3 = _measure(rows, s, yarn, u)
    va, vb = m0 * va + m1 * vb, m2 * va + m3 * vb
    wide = math.sqrt(va * va + vb * vb) + 1e-30
    best = min(best, _BEND / (bend + 1e-30)) * wide
    va, vb = va / wide, vb / wide
    which = -1
    reach = rows[s, REACH]
    wider = 2.0 * math.sqrt(reach)
    for n in range(near.shape[2]):
        k = near[s, own, n]
        if _apart(rows, centres, s, own, k) > (best + wider) * (best + wider):
            break
        oa, ob = a - centres[s, k, X], b - centres[s, k, Y]
        oa, ob = m0 * oa + m1 * ob, m2 * oa + m3 * ob
        cross, half = oa * vb - ob * va, oa * va + ob * vb
        if (
            cross * cross < reach
            and (half < 0.0 or (reach > 1.0 and oa * oa + ob * ob < reach))
            and k != own
        ):
            t = -half - math.sqrt(reach - cross * cross)
            if reach > 1.0 and t < best:  # so far off is its circle
                t = _crossing(
                    rows, s, centres[s, k, CUBIC], centres[s, k, OTHER], oa, ob, va, vb, False, True
                )
            if t < best:
                best, which = max(t, 0.0), k
    else:
        if plan[s, 2] > near.shape[2] + 1:
            which = -1  # one that is not so near might lie before
    return best / wide, which


@_compiled
def trace(rows, signs, plan, centres, near, top, starts, first, last, seed, least, leaves, follow):
    """Follow ``starts`` (n, 5: x, y, direction), ``first`` to ``last``, until ``leaves`` is full.

    ``rows`` (2, COLUMNS): what each system is; ``signs`` (2, most yarns, most crossings + 1): of
    each system, 1 where it lies above, else -1, the first crossing once more at the end; ``plan``
    (2, 4): its yarns and crossings a repeat, filaments a section, sorts of sections; ``centres``
    (2, most, 2); ``near`` (2, most, any), each filament's nearest of its section, nearest first. No
    part of an array is named by itself here: counting who holds it would cost as much as the paths.
    Starts lie at height
    ``top`` where they go down and at -``top`` where they go up. ``seed``: of all that is drawn,
    with the start's number. ``least``: of the light of a start, what both ways at a surface must
    carry to be followed both; one is drawn otherwise. ``follow``: ALL, only what meets NOTHING,
    only what the FIRST surface met sends back, or only where a first surface is MET. Returns (next
    start, leaves made, light lost).
    """
    state = np.empty(1, np.uint64)
    pend = np.empty((_PENDING, 17))
    made = 0
    lost = 0.0
    room = leaves.shape[0]
    p1, p2 = rows[0, SPACING], rows[1, SPACING]
    capx = _BEND / math.pi * p1  # along x, where the wefts bend
    capy = _BEND / math.pi * p2
    mid, swi, tall = np.empty(4), np.empty(4), np.empty(4)
    soon, late = np.empty(4), np.empty(4)
    rate0, rate1 = math.pi / p2, math.pi / p1
    per1, per2 = 1.0 / p1, 1.0 / p2
    # how far from its axis a yarn is met at most: across; up, where it is level and where it
    # bends; and as far from the middle of its bend
    reach, outline, room_up = np.empty(2), np.empty((2, 2)), np.empty((2, 2))
    for s in range(2):
        reach[s] = 1.001 * rows[s, HALF_A]
        for bends in range(2):
            w = bends * rows[s, SWING]
            steep = w * (rate0 if s == 0 else rate1)
            off = (rows[s, HALF_B] + _BENT * w) * math.sqrt(1.0 + steep * steep)
            outline[s, bends], room_up[s, bends] = 1.001 * off, 1.001 * (off + w)
    bottom = -top
    a = b = av = au = az = bv = bu = bz = 0.0
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
        pend[0, 14], pend[0, 15], pend[0, 16] = 0.0, -1.0, 0.0  # the first of them
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
            far1, s1, yarn1 = pend[depth, 14], pend[depth, 15], pend[depth, 16]
            count = 0
            led = 0
            framed = False  # whether a to bz are of this place
            while True:
                count += 1
                if count > _MOST_EVENTS or led > _GUIDED:
                    lost += weight
                    break
                hit = False
                if within:
                    ca, cb = centres[s, fil, X], centres[s, fil, Y]
                    cubic, side = centres[s, fil, CUBIC], centres[s, fil, OTHER]
                    if s == 0:
                        v, u, dv, du = x, y, dx, dy
                    else:
                        v, u, dv, du = y, x, dy, dx
                    free = 1e300
                    if rows[s, DULL] > 0.0:
                        free = -math.log(1.0 - _draw(state)) / rows[s, DULL]
                    cap = (capy if s == 0 else capx) / max(abs(du), 1e-9)
                    end = -1.0
                    if not framed:
                        a, b, av, au, az, bv, bu, bz = _frame(rows, signs, s, yarn, v, u, z)
                    framed = False
                    m0, m1, m2, m3 = _measure(rows, s, yarn, u)
                    oa, ob = m0 * (a - ca) + m1 * (b - cb), m2 * (a - ca) + m3 * (b - cb)
                    va = av * dv + au * du + az * dz
                    vb = bv * dv + bu * du + bz * dz
                    va, vb = m0 * va + m1 * vb, m2 * va + m3 * vb
                    far = _crossing(rows, s, cubic, side, oa, ob, va, vb, True)
                    gone = 0.0
                    if far >= 1e300 and va * va + vb * vb > 1e-30:
                        end = 0.0  # grazes out
                    else:
                        if far >= cap:  # far along the fibre: step by step
                            a0, b0 = a, b
                            for _ in range(400):
                                a1, b1 = _section(
                                    rows, signs, s, yarn,
                                    v + (gone + cap) * dv, u + (gone + cap) * du,
                                    z + (gone + cap) * dz,
                                )  # fmt: skip
                                m0, m1, m2, m3 = _measure(
                                    rows, s, yarn, u + (gone + 0.5 * cap) * du
                                )
                                oa = m0 * (a0 - ca) + m1 * (b0 - cb)
                                ob = m2 * (a0 - ca) + m3 * (b0 - cb)
                                va = m0 * (a1 - a0) + m1 * (b1 - b0)
                                vb = m2 * (a1 - a0) + m3 * (b1 - b0)
                                far = _crossing(rows, s, cubic, side, oa, ob, va, vb, True)
                                if far >= 1e300 and va * va + vb * vb > 1e-30:
                                    end = gone  # grazes out
                                    far = -1.0
                                    break
                                if far <= 1.0:
                                    far = gone + max(far, 0.0) * cap
                                    break
                                far = -1.0
                                gone += cap
                                a0, b0 = a1, b1
                                if gone > free:
                                    break
                        if far >= 0.0:
                            end, framed, a, b, av, au, az, bv, bu, bz = _mend(
                                rows, signs, s, yarn, centres, fil, v, u, z, dv, du, dz, far, True
                            )
                            if end < far - rows[s, FIL_B]:
                                end = far
                                framed = False
                    if end < 0.0 and gone <= free:
                        lost += weight
                        break
                    end = max(end, 0.0) if end >= 0.0 else 1e300
                    if free < end:
                        # scattered inside the fibre, evenly to all sides
                        s1 = -1.0
                        framed = False
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
                    v, u = v + end * dv, u + end * du
                    if plan[s, 2] > 1:
                        other = _beside(
                            rows, signs, plan, centres, near, s, yarn, fil, v, u, z
                        )
                        if other >= 0:
                            fil = other
                            continue
                    j = math.floor(u / rows[s, PITCH] + 0.5)
                    if abs(u - j * rows[s, PITCH]) < rows[1 - s, HALF_A]:
                        other = _inside(rows, signs, plan, centres, 1 - s, j, u, v, z)
                        if other >= 0 and rows[1 - s, OPAQUE] == 0.0:
                            s, yarn, fil = 1 - s, int(j), other
                            framed = False
                            continue
                    hit = True
                else:
                    if framed and plan[s, 2] > 1:
                        # next to it in its own yarn, where no other lies before
                        if s == 0:
                            v, u, dv, du = x, y, dx, dy
                        else:
                            v, u, dv, du = y, x, dy, dx
                        va, vb = av * dv + au * du + az * dz, bv * dv + bu * du + bz * dz
                        far, other = _next(
                            rows, plan, centres, near, s, yarn, fil, u, a, b, va, vb, du
                        )
                        if other >= 0:
                            t, framed, a, b, av, au, az, bv, bu, bz = _mend(
                                rows, signs, s, yarn, centres, other, v, u, z, dv, du, dz, far,
                                False,
                            )  # fmt: skip
                            if t > -rows[s, FIL_B] and t < far + rows[s, FIL_B]:
                                hit = True
                                x += t * dx
                                y += t * dy
                                z += t * dz
                                fil = other
                    framed = hit and framed
                    per_dx, per_dy, per_dz = _per(dx), _per(dy), _per(dz)
                    flat = max(abs(dx) / capx, abs(dy) / capy)
                    done = 0
                    own_s, own_y, own_k = s, yarn, fil  # just left; not met again at once
                    out = False
                    while not (hit or out):
                        # on a border, the cell ahead: a ray along it would not leave the one behind
                        cx = math.floor(x * per1 + (_BORDER if dx >= 0.0 else -_BORDER))
                        cy = math.floor(y * per2 + (_BORDER if dy >= 0.0 else -_BORDER))
                        ix, iy = int(cx), int(cy)
                        # axes of the four yarns about this cell: middle and swing
                        i0, m0 = _folded(rows, 0, cx), _folded(rows, 1, cx, True)
                        j0, k0 = _folded(rows, 1, cy), _folded(rows, 0, cy, True)
                        i1 = i0 + 1 if i0 + 1 < plan[0, 0] else 0
                        j1 = j0 + 1 if j0 + 1 < plan[1, 0] else 0
                        mid[0], swi[0] = _course(rows, signs, 0, i0, k0)
                        mid[1], swi[1] = _course(rows, signs, 0, i1, k0)
                        mid[2], swi[2] = _course(rows, signs, 1, j0, m0)
                        mid[3], swi[3] = _course(rows, signs, 1, j1, m0)
                        way = min(
                            ((cx + 1.0 if dx >= 0.0 else cx) * p1 - x) * per_dx,
                            ((cy + 1.0 if dy >= 0.0 else cy) * p2 - y) * per_dy,
                        )
                        way = max(way, 0.0) + _BORDER * p1
                        up = ((top if dz >= 0.0 else bottom) - z) * per_dz
                        if up <= way:
                            way = max(up, 0.0)
                            out = True
                        # where on this way each of the four can be met at all
                        sooner, later = 1e300, -1.0
                        for which in range(4):
                            if which < 2:
                                far = ((ix + which) * p1 - x) * per_dx
                                wide = reach[0] * abs(per_dx)
                            else:
                                far = ((iy + which - 2) * p2 - y) * per_dy
                                wide = reach[1] * abs(per_dy)
                            bends = 1 if swi[which] != 0.0 else 0
                            level = (mid[which] - z) * per_dz
                            high = room_up[which >> 1, bends] * abs(per_dz)
                            tall[which] = outline[which >> 1, bends]
                            low = max(max(far - wide, level - high), 0.0)
                            high = min(min(far + wide, level + high), way)
                            soon[which], late[which] = low, high
                            if low <= high:
                                sooner, later = min(sooner, low), max(later, high)
                        if sooner > later or way <= 0.0:
                            x, y, z = x + way * dx, y + way * dy, z + way * dz
                            own_s = -1
                            done += 1
                            continue
                        pieces = int(way * flat) + 1
                        length = way / pieces
                        begin = min(int(sooner / length), pieces - 1)
                        finish = min(int(later / length) + 1, pieces)
                        if begin > 0:
                            gone = begin * length
                            x, y, z = x + gone * dx, y + gone * dy, z + gone * dz
                            own_s = -1
                        warps = soon[0] <= late[0] or soon[1] <= late[1]
                        wefts = soon[2] <= late[2] or soon[3] <= late[3]
                        ax = _wave(x / p1 - cx)[0] if wefts else 0.0
                        ay = _wave(y / p2 - cy)[0] if warps else 0.0
                        bent0 = 0.125 * (math.pi / p2 * length * dy) ** 2
                        bent1 = 0.125 * (math.pi / p1 * length * dx) ** 2
                        for piece in range(begin, finish):
                            done += 1
                            nx, ny, nz = x + length * dx, y + length * dy, z + length * dz
                            ax1 = _wave(nx / p1 - cx)[0] if wefts else 0.0
                            ay1 = _wave(ny / p2 - cy)[0] if warps else 0.0
                            skip_s, skip_y, skip_k = -1, 0, -1
                            for _ in range(8):
                                best, bs, bk, by = 1e300, -1, -1, 0
                                for which in range(4):
                                    if (
                                        late[which] < piece * length
                                        or soon[which] > (piece + 1) * length
                                        or soon[which] > late[which]
                                    ):
                                        continue
                                    cs, w = which >> 1, swi[which]
                                    if cs == 0:
                                        rate, c0_, c1_ = rate0, ay, ay1
                                    else:
                                        rate, c0_, c1_ = rate1, ax, ax1
                                    h0, h1 = z - mid[which] - w * c0_, nz - mid[which] - w * c1_
                                    if min(h0, h1) > tall[which] or max(h0, h1) < -tall[which]:
                                        continue
                                    if cs == 0:
                                        cyarn, bent = ix + which, bent0
                                        cv, cu, cdv, cdu, q1 = x, y, dx, dy, nx
                                    else:
                                        cyarn, bent = iy + which - 2, bent1
                                        cv, cu, cdv, cdu, q1 = y, x, dy, dx, ny
                                    q0 = cv - cyarn * rows[cs, SPACING]
                                    q1 -= cyarn * rows[cs, SPACING]
                                    own, skip = -1, -1
                                    if cs == own_s and cyarn == own_y:
                                        own = own_k
                                    if cs == skip_s and cyarn == skip_y:
                                        skip = skip_k
                                    steep = w * rate * w * rate
                                    h0 /= math.sqrt(1.0 + steep * max(0.0, 1.0 - c0_ * c0_))
                                    h1 /= math.sqrt(1.0 + steep * max(0.0, 1.0 - c1_ * c1_))
                                    t, k = _nearest(
                                        rows, signs, plan, centres, cs, cyarn, cv, cu, z,
                                        cdv, cdu, dz, length, q0, h0, q1, h1,
                                        bent * abs(w), own, skip,
                                    )  # fmt: skip
                                    if k >= 0 and t < best:
                                        best, bs, by, bk = t, cs, cyarn, k
                                if bs < 0:
                                    break
                                if bs == 0:
                                    cv, cu, cdv, cdu = x, y, dx, dy
                                else:
                                    cv, cu, cdv, cdu = y, x, dy, dx
                                t, framed, a, b, av, au, az, bv, bu, bz = _mend(
                                    rows, signs, bs, by, centres, bk, cv, cu, z, cdv, cdu, dz, best,
                                    False,
                                )  # fmt: skip
                                if t > -rows[bs, FIL_B] and t < 1.5 * length + rows[bs, FIL_B]:
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
                            ax, ay = ax1, ay1
                        if not hit and finish < pieces:
                            gone = (pieces - finish) * length
                            x, y, z = x + gone * dx, y + gone * dy, z + gone * dz
                        if done > _MOST_STEPS:
                            break
                    if not hit:
                        if not out:
                            lost += weight
                            break
                        leaves[made, 0] = start
                        leaves[made, 1], leaves[made, 2], leaves[made, 3] = dx, dy, dz
                        leaves[made, 4] = weight
                        leaves[made, 5], leaves[made, 6] = l0, l1
                        leaves[made, 7] = met
                        leaves[made, 8], leaves[made, 9] = x, y
                        leaves[made, 10], leaves[made, 11], leaves[made, 12] = far1, s1, yarn1
                        made += 1
                        break
                # at a surface
                if follow == NOTHING or (follow == FIRST and met > 0.0):
                    break
                if met == 0.0:
                    far1 = (z - (top if dz0 < 0.0 else bottom)) / dz0
                    s1, yarn1 = float(s), float(yarn)
                elif s != s1 or yarn != yarn1 or not within:
                    s1 = -1.0
                if follow == MET:
                    leaves[made, 0] = start
                    leaves[made, 10], leaves[made, 11], leaves[made, 12] = far1, s1, yarn1
                    made += 1
                    break
                met += 1.0
                v, u = (x, y) if s == 0 else (y, x)
                if not framed:
                    a, b, av, au, az, bv, bu, bz = _frame(rows, signs, s, yarn, v, u, z)
                framed = True
                m0, m1, m2, m3 = _measure(rows, s, yarn, u)
                oa, ob = a - centres[s, fil, X], b - centres[s, fil, Y]
                oa, ob = m0 * oa + m1 * ob, m2 * oa + m3 * ob
                va, vb = _uphill(
                    rows, s, centres[s, fil, CUBIC], centres[s, fil, OTHER], oa, ob
                )
                ga, gb = m0 * va + m2 * vb, m1 * va + m3 * vb
                nv = ga * av + gb * bv
                nu = ga * au + gb * bu
                nz = ga * az + gb * bz
                if m1 != 0.0:  # as the measure itself turns along the yarn
                    k2 = rows[s, STRETCH] * rows[s, STRETCH]
                    nu += rows[s, TWIST] * (vb * oa * k2 - va * ob / k2)
                norm = 1.0 / math.sqrt(nv * nv + nu * nu + nz * nz)
                nv, nu, nz = nv * norm, nu * norm, nz * norm
                if s == 0:
                    nx, ny = nv, nu
                else:
                    nx, ny = nu, nv
                cosine = dx * nx + dy * ny + dz * nz
                if rows[s, OPAQUE] > 0.0:
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
                index = rows[s, INDEX]
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
                    pend[depth, 0], pend[depth, 1], pend[depth, 2] = x, y, z
                    pend[depth, 7], pend[depth, 8] = l0, l1
                    pend[depth, 9], pend[depth, 10], pend[depth, 11] = s, yarn, fil
                    pend[depth, 13] = met
                    pend[depth, 14], pend[depth, 15], pend[depth, 16] = far1, s1, yarn1
                    if back < 0.5:
                        pend[depth, 3], pend[depth, 4], pend[depth, 5] = rx, ry, rz
                        pend[depth, 6] = weight * back
                        pend[depth, 12] = 1.0 if within else 0.0
                        go_on = True
                        weight *= 1.0 - back
                    else:
                        pend[depth, 3], pend[depth, 4], pend[depth, 5] = ox, oy, oz
                        pend[depth, 6] = weight * (1.0 - back)
                        pend[depth, 12] = 0.0 if within else 1.0
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
def push_apart(at, wide, high, least, times, lie=None, reach=None):
    """Push places ``at`` (n, 2) apart, in place, until next to none are nearer than ``least``, or
    so many ``times``; all stay within the ellipse of half axes ``wide`` and ``high``. Of what is
    not round: ``lie`` (n,), by how much it is turned, 0-1 of a turn, and ``reach`` (m,), how far it
    reaches by direction, over the whole turn; they keep ``least`` times the half of both."""
    n = at.shape[0]
    move = np.empty((n, 2))
    most = least if reach is None else least * reach.max()
    for _ in range(times):
        move[:] = 0.0
        worst = 0.0
        for i in range(n):
            for j in range(i):
                x, y = at[i, 0] - at[j, 0], at[i, 1] - at[j, 1]
                far = math.sqrt(x * x + y * y)
                if far >= most:
                    continue
                between = least
                if lie is not None:
                    m = reach.shape[0]
                    toward = math.atan2(y, x) / (2.0 * math.pi)
                    one = int((toward + 2.0 - lie[j]) * m) % m
                    other = int((toward + 2.5 - lie[i]) * m) % m
                    between = 0.5 * least * (reach[one] + reach[other])
                if far < between:
                    near = (between - far) / max(far, 1e-9)
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
def arctan2_about(y, x):
    """arctan2 to 1e-5, quickly (M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions,
    1964, 4.4.47; from memory)."""
    a, b = abs(x), abs(y)
    t = min(a, b) / max(max(a, b), 1e-30)
    q = t * t
    out = t * (0.9998660 + q * (-0.3302995 + q * (0.1801410 + q * (-0.0851330 + q * 0.0208351))))
    if b > a:
        out = 0.5 * math.pi - out
    if x < 0.0:
        out = math.pi - out
    return -out if y < 0.0 else out


@_compiled
def node_of(x, y, z, edges, steps, half):
    """The node that a unit direction (``x``, ``y``, ``z``) belongs to: between ``edges`` of rings
    (squares of cosines), of which each has ``steps``; those that go down follow after the ``half``
    of all."""
    ring = 0
    square = z * z
    while ring < edges.shape[0] - 2 and square >= edges[ring + 1]:
        ring += 1
    step = int(arctan2_about(-x, y) / (2.0 * math.pi) * steps + steps) % steps
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
    """The column of each of ``leaves``, by lengths in warp and weft: of ``levels`` each, geometric
    steps of ``ratio`` above ``scale`` (2,), shorter ones as none; a scale of 0 counts whole
    numbers."""
    out = np.empty(leaves.shape[0], np.int32)
    for n in range(leaves.shape[0]):
        out[n] = _level(leaves[n, 5], scale[0], ratio, levels) * levels + _level(
            leaves[n, 6], scale[1], ratio, levels
        )
    return out


@_compiled
def parted(leaves, scale, ratio, levels, start, toward, weight, met, one):
    """Parts of ``leaves``: to ``start`` (n,), ``toward`` (n, 3), ``weight``, ``met`` and ``one``
    (n,: whether it only passed about inside one yarn). Returns their columns, by ``scale``,
    ``ratio`` and ``levels`` as of :func:`levels_of`."""
    for n in range(leaves.shape[0]):
        start[n] = leaves[n, 0]
        for c in range(3):
            toward[n, c] = leaves[n, 1 + c]
        weight[n], met[n], one[n] = leaves[n, 4], leaves[n, 7], leaves[n, 11] >= 0.0
    return levels_of(leaves, scale, ratio, levels)


@_compiled
def nodes_of(vectors, edges, steps):
    """The node that each of ``vectors`` (n, 3) belongs to, (n,); ``edges`` and ``steps`` as in
    :func:`node_of`."""
    out = np.empty(vectors.shape[0], np.int32)
    half = (edges.shape[0] - 1) * steps
    for n in range(vectors.shape[0]):
        x, y, z = float(vectors[n, 0]), float(vectors[n, 1]), float(vectors[n, 2])
        out[n] = node_of(x, y, z, edges, steps, half)
    return out
