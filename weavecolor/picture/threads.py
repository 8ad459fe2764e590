"""True threads on hung cloth seen from near: where each lies, and what of the cloth's light is its.

The tables of a laid stack (:mod:`weavecolor.picture.tables`) know its light, not where in it the
threads lie. Here the same cell (:mod:`weavecolor.optics.cell`) is laid out on the cloth in closed
form: warp and weft as flattened rods on cosine waves, the foremost one met by the sight. Colours
and how they fall off towards a thread's edge are read once from the traced cell
(:mod:`weavecolor.picture.celltexture`); how much of the light is the warp's and how much the weft's
follows at each place from the colour that the tables tell there; a bright line lies where a smooth
rod mirrors a light. The mean over the threads is what the tables tell, so that coming nearer
changes no colour; layers laid together are met one behind the other before a pixel's mean is taken,
so that their moire is there. That threads lie up to some hundredths of their distance off their
place, and swell and thin, is common practice, no source. Knows cloths, tables' values and sights;
the browser's shader does the same sums.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.optics.adding import GAPS
from weavecolor.optics.cell import filaments
from weavecolor.optics.layer import Solved, solved
from weavecolor.optics.stack import Stack
from weavecolor.picture.celltexture import LIGHT_DEG, cell_texture
from weavecolor.picture.tables import stack_key

Array = NDArray[np.float64]

#: Layers of a stack whose threads are drawn; crossings of a repeat.
LAYERS, CROSSINGS = 6, 256
#: Columns of a layer's row: how it lies (cosine, sine, turned over, depth mm), then for warp and
#: weft spacing, half width, half height, swing of the axis, filaments; crossings each way, share
#: that a thread lets through; index of refraction, how unevenly a thread is spun, over what length.
COS, SIN, FLIP, DEPTH, SPACING, WIDE, HIGH, SWING, FILAMENTS = 0, 1, 2, 3, 4, 6, 8, 10, 12
ENDS, PICKS, CLEAR, INDEX, SPREAD, LENGTH = 14, 15, 16, 17, 18, 20
#: Colour of light sent back and let on, warp's and weft's (2, 2, 3), its fall towards the edge by
#: the place across (2, 2, STEPS) and the lift plan.
COLOUR, FALL, STEPS = 24, 36, 8
LIFT = FALL + 4 * STEPS
ROW = LIFT + CROSSINGS
#: Pixels a thread at which threads begin to be drawn, and from which they are.
BEGIN, WHOLE = 1.0, 2.2
#: How far a thread lies off its place, of its spacing.
LOOSE = 0.05
_STEEPEST = 2.5  # of a sight, as a slope: beyond it threads are drawn as at it
_CROSS = np.sin(0.2 * np.pi * np.arange(-2, 3))  # of the steepest, along the thread
_LINE = float(1.0 / (2.0 * (1.0 - np.cos(np.radians(LIGHT_DEG)))))


def threads(stack: Stack, uneven: tuple[float, ...], light: Array) -> Array:
    """Rows (LAYERS, ROW) of the threads of ``stack``, all 0 where none are drawn.

    ``uneven``: as in ``raster.unevenness``; ``light`` (41, 3): radiance factor to linear RGB. Kept,
    the same for any outermost grain.
    """
    key = (stack_key(stack), uneven, light.tobytes())
    return _made.one(key, lambda: _threads(stack, uneven, light))


_made: Kept[tuple[Any, ...], Array] = Kept(
    24,
    packed=Packed(
        "threads",
        lambda key: (key, filaments.EFFORT),
        lambda rows: {"rows": rows},
        lambda _, arrays: arrays["rows"],
    ),
)


def _threads(stack: Stack, uneven: tuple[float, ...], light: Array) -> Array:
    out = np.zeros((LAYERS, ROW))
    if stack.backing is not None:
        return out
    depth, gap = 0.0, GAPS[stack.lay]
    for n, layer in enumerate(stack.layers[:LAYERS]):
        solution = solved(layer.cloth)
        cell = solution.white.cell
        if np.size(cell.lift) > CROSSINGS:
            return np.zeros((LAYERS, ROW))
        row = out[n]
        turn = np.radians(layer.grain_deg - stack.layers[0].grain_deg)
        row[COS], row[SIN] = np.cos(turn), np.sin(turn)
        row[FLIP] = -1.0 if layer.face == "back" else 1.0
        if n:
            between = 0.0 if gap is None else 0.5 * sum(gap)
            depth -= cell.top + between * np.sqrt(cell.warp_spacing * cell.weft_spacing)
        row[DEPTH] = depth
        depth -= cell.top
        for k, one in enumerate((cell.warp, cell.weft)):
            row[SPACING + k] = (cell.warp_spacing, cell.weft_spacing)[k]
            row[SWING + k] = (cell.warp_swing, cell.weft_swing)[k]
            row[WIDE + k], row[HIGH + k] = 0.5 * one.width, 0.5 * one.height
            row[FILAMENTS + k] = 1.0 if one.single else one.filaments
            row[SPREAD + k] = uneven[2 + k]
        row[INDEX] = 0.5 * (cell.warp.index + cell.weft.index)
        row[LENGTH] = uneven[4]
        picks, ends = np.shape(cell.lift)
        row[ENDS], row[PICKS] = ends, picks
        row[LIFT : LIFT + picks * ends] = np.where(np.array(cell.lift) > 0, 1.0, -1.0).ravel()
        _coloured(row, solution, light)
    return out


def _coloured(row: Array, solution: Solved, light: Array) -> None:
    """The colours of a layer's threads, from its traced cell seen straight on."""
    cell = solution.white.cell
    fineness = int(np.clip(np.sqrt(2.0e4 / np.size(cell.lift)), 6, 40))
    made = cell_texture(cell, (0.0, 0.0, 1.0), (), (), fineness, 0.0)
    left = filaments.kept(cell, solution.absorption) @ light
    rows, columns = made.open.shape
    fineness = columns // np.shape(cell.lift)[1]
    x = ((np.arange(columns) + 0.5) / fineness - 0.5) * cell.warp_spacing
    y = ((np.arange(rows) + 0.5) / fineness - 0.5) * cell.weft_spacing
    even = row.copy()
    even[SPREAD : SPREAD + 2] = 0.0
    system, place = np.empty((rows, columns), np.int64), np.empty((rows, columns))
    _mapped(even, x, y, system, place)
    met = system >= 0
    if met.any() and not cell.rods:  # of a rod it would be what is seen past its edge
        row[CLEAR] = float(np.clip(made.open[met].mean(), 0.0, 0.95))
    step = np.minimum((np.abs(place) * STEPS).astype(int), STEPS - 1)
    for way, leaves in enumerate((made.back, made.on)):
        sent = leaves.painted(left, (rows, columns)).astype(float)
        for k in range(2):
            own = system == k
            colour = sent[own].mean(axis=0) if own.any() else np.full(3, 1e-3)
            at = COLOUR + 6 * way + 3 * k
            row[at : at + 3] = np.maximum(colour, 1e-4 * max(float(colour.max()), 1e-3))
            fall = np.ones(STEPS)
            level = sent[own].mean(axis=1)
            for b in range(STEPS):
                here = step[own] == b
                if here.any() and level.mean() > 0.0:
                    fall[b] = level[here].mean() / level.mean()
            at = FALL + STEPS * (2 * way + k)
            row[at : at + STEPS] = fall


@njit(cache=True)
def _mapped(row, x, y, system, place):  # pragma: no cover - compiled
    for i in range(y.size):
        for j in range(x.size):
            found = met(row, x[j], y[i], 0.0, 0.0, 1.0, 0.0)
            system[i, j], place[i, j] = found[0], found[1]


@njit(cache=True, fastmath=True)
def hashed(i, j):  # pragma: no cover - compiled
    """A fixed number -1 to 1 for a cell (32-bit integer mixing, the same in the shader)."""
    h = (np.uint32(i) * np.uint32(0x8DA6B343)) ^ (np.uint32(j) * np.uint32(0xD8163841))
    h = np.uint32(h ^ (h >> np.uint32(15))) * np.uint32(0x2C1B3C6D)
    h = np.uint32(h ^ (h >> np.uint32(12))) * np.uint32(0x297A2D39)
    h = np.uint32(h ^ (h >> np.uint32(15)))
    return np.float64(h >> np.uint32(8)) / 8388607.5 - 1.0


@njit(cache=True, fastmath=True)
def _drift(i, along, seed):  # pragma: no cover - compiled
    """Smooth noise along thread ``i``."""
    b = np.floor(along)
    f = along - b
    f = f * f * (3.0 - 2.0 * f)
    j = int(b) + seed * 7919
    return hashed(i, j) * (1.0 - f) + hashed(i, j + 1) * f


@njit(cache=True, fastmath=True)
def _axis(row, system, i, along):  # pragma: no cover - compiled
    """Height and slope of a thread's axis, mm and mm a mm."""
    pitch = row[SPACING + 1 - system]
    t = along / pitch
    k = int(np.floor(t))
    f = np.pi * (t - k)
    ends, picks = int(row[ENDS]), int(row[PICKS])
    if system == 0:
        a, b = row[LIFT + (k % picks) * ends + i % ends], row[LIFT + ((k + 1) % picks) * ends
                                                             + i % ends]  # fmt: skip
    else:
        a, b = -row[LIFT + (i % picks) * ends + k % ends], -row[LIFT + (i % picks) * ends
                                                               + (k + 1) % ends]  # fmt: skip
    swing, half = row[SWING + system], 0.5 * (a - b)
    return (
        swing * (0.5 * (a + b) + half * np.cos(f)),
        -swing * half * np.sin(f) * np.pi / pitch,
    )


@njit(cache=True, fastmath=True)
def met(row, x, y, mx, my, top, loose):  # pragma: no cover - compiled
    """The foremost thread of the layer ``row`` on a line of sight through (``x``, ``y``) of the
    mid-plane, whose place moves by (``mx``, ``my``) a mm of height; ``top``: 1.0 from the face,
    -1.0 from the back; ``loose``: how far off their places threads lie. Its system (-1: none),
    place across it -1 to 1, number, place along it, slope, and normal across and up.
    """
    best, which, at, number, far, lean, na, nu = -1e9, -1, 0.0, 0, 0.0, 0.0, 0.0, 1.0
    for s in range(2):
        p, q = (x, y) if s == 0 else (y, x)
        m, along = (mx, my) if s == 0 else (my, mx)
        spacing = row[SPACING + s]
        i = int(np.floor(p / spacing + 0.5))
        z, slope = _axis(row, s, i, q)
        i = int(np.floor((p + m * z) / spacing + 0.5))
        z, slope = _axis(row, s, i, q + along * z)
        fat = 1.0 + 0.5 * row[SPREAD + s] * _drift(i, q / row[LENGTH], s)
        a, b = row[WIDE + s] * fat, row[HIGH + s] * fat
        d = p + m * z - (i + loose * hashed(i, 31 + s)) * spacing
        wide = np.sqrt(a * a + m * m * b * b)
        if abs(d) >= wide:
            continue
        k = m * m / (a * a) + 1.0 / (b * b)
        under = m * m * d * d / (a * a * a * a) - k * (d * d / (a * a) - 1.0)
        up = (-m * d / (a * a) + top * np.sqrt(max(under, 0.0))) / k
        if top * (z + up) > best:
            best, which, at, number = top * (z + up), s, d / wide, i
            far, lean, na, nu = q + along * z, slope, (d + m * up) / (a * a), up / (b * b)
    return which, at, number, far, lean, na, nu


@njit(cache=True, fastmath=True)
def _slope_share(e, to, system, slope):  # pragma: no cover - compiled
    """Degrees by which a thread of that slope misses mirroring ``to`` to ``e`` along itself."""
    k = 1.0 / np.sqrt(1.0 + slope * slope)
    et, lt = (e[1 - system] + slope * e[2]) * k, (to[1 - system] + slope * to[2]) * k
    return np.degrees(abs(np.arcsin(min(max(et, -1.0), 1.0)) + np.arcsin(min(max(lt, -1.0), 1.0))))


@njit(cache=True, fastmath=True)
def _turned(row, v, out):  # pragma: no cover - compiled
    """A direction of the outermost layer's frame in a layer's own."""
    out[0] = row[FLIP] * (row[COS] * v[0] + row[SIN] * v[1])
    out[1] = row[COS] * v[1] - row[SIN] * v[0]
    out[2] = row[FLIP] * v[2]


@njit(cache=True, fastmath=True)
def _shared(rows, way, weight, total, out):  # pragma: no cover - compiled
    """Share out ``total`` (3,) among warp and weft: factors ``out`` (2, 3) on their colours."""
    bw, bf = np.zeros(3), np.zeros(3)
    for k in range(rows.shape[0]):
        for c in range(3):
            bw[c] += weight[k, 0] * rows[k, COLOUR + 6 * way + c]
            bf[c] += weight[k, 1] * rows[k, COLOUR + 6 * way + 3 + c]
    ww, ff, wf, tw, tf = 1e-12, 1e-12, 0.0, 0.0, 0.0
    for c in range(3):
        ww, ff, wf = ww + bw[c] * bw[c], ff + bf[c] * bf[c], wf + bw[c] * bf[c]
        tw, tf = tw + total[c] * bw[c], tf + total[c] * bf[c]
    # as bright as both alike, and from there towards the colour that is seen
    both = max(tw + tf, 0.0) / (ww + ff + 2.0 * wf)
    rw, rf = tw - both * (ww + wf), tf - both * (ff + wf)
    one, two = 1.03 * ww, 1.03 * ff
    det = one * two - wf * wf
    warp = max(both + (rw * two - rf * wf) / det, 0.05 * both)
    weft = max(both + (rf * one - rw * wf) / det, 0.05 * both)
    for c in range(3):
        right = max(total[c], 0.0) / max(warp * bw[c] + weft * bf[c], 1e-12)
        out[0, c], out[1, c] = warp * right, weft * right


@njit(cache=True, fastmath=True)
def closely(
    rows, u, v, ux, vx, uy, vy, e, lamps, shine, back, on, straight, sent
):  # pragma: no cover - compiled
    """Light sent to the eye (3,), to ``sent``, and the unscattered share, of a pixel's threads.

    ``rows``: the stack's layers, as :func:`threads` gives them; ``u``, ``v``: place on the cloth at
    the pixel's middle, mm, and how it changes to the next pixel right (``ux``, ``vx``) and down
    (``uy``, ``vy``); ``e`` (3,): towards the eye, in the cell's frame (across, along the outermost
    warp, out of its face); ``lamps`` (n, 3) the same of the lights and ``shine`` (n, 3) their RGB;
    ``back``, ``on`` (3,): what the tables tell that the cloth sends back, and on from behind it;
    ``straight`` as they tell.
    """
    count = 0
    while count < rows.shape[0] and rows[count, SPACING] > 0.0:
        count += 1
    weight = np.zeros((count, 2))
    lit = np.zeros((count, 2, lamps.shape[0]))
    gloss = np.ones((count, 2))
    own, to = np.empty(3), np.empty(3)
    left, index = 1.0, rows[0, INDEX]
    mean = np.zeros(3)
    fresnel = ((index - 1.0) / (index + 1.0)) ** 2
    for nth in range(count):
        k = nth if e[2] > 0.0 else count - 1 - nth  # from the back, the last comes first
        row = rows[k]
        _turned(row, e, own)
        mx, my = _leaning(own)
        cover = np.empty(2)
        for s in range(2):
            m = mx if s == 0 else my
            a, b = row[WIDE + s], row[HIGH + s]
            cover[s] = min(2.0 * np.sqrt(a * a + m * m * b * b) / row[SPACING + s], 1.0)
        all_ = 1.0 - (1.0 - cover[0]) * (1.0 - cover[1])
        for s in range(2):
            weight[k, s] = left * all_ * cover[s] / (cover[0] + cover[1])
            steep = np.pi * row[SWING + s] / row[SPACING + 1 - s]
            total = 0.0
            for n in range(lamps.shape[0]):
                _turned(row, lamps[n], to)
                if to[2] * own[2] <= 0.0:
                    continue
                for step in range(5):
                    miss = _slope_share(own, to, s, steep * _CROSS[step])
                    total += np.exp(-((miss / 25.0) ** 2)) / 5.0
                    wide = np.radians(np.sqrt(max(LIGHT_DEG * LIGHT_DEG - miss * miss, 0.0)))
                    lit[k, s, n] += wide / 5.0
                if row[FILAMENTS + s] > 1.0:
                    lit[k, s, n] = 0.0
                    continue
                # how much of a rod's breadth mirrors the light: flat ones more of it
                ea, la = own[s], to[s]
                cosine = (ea * la + own[2] * to[2]) / np.sqrt(
                    (ea * ea + own[2] * own[2]) * (la * la + to[2] * to[2]) + 1e-12
                )
                middle = 0.5 * (np.arctan2(ea, abs(own[2])) + np.arctan2(la, abs(to[2])))
                flat = row[WIDE + s] / row[HIGH + s]
                t = np.tan(min(max(middle, -1.4), 1.4))
                theta = np.arctan(flat * t)
                rate = flat * (1.0 + t * t) / (1.0 + flat * flat * t * t)
                lit[k, s, n] *= 0.5 * rate * np.cos(theta) * np.sqrt(max(0.5 + 0.5 * cosine, 0.0))
                grazing = 1.0 - np.sqrt(max(0.5 + 0.5 * _dot(own, to), 0.0))
                f = fresnel + (1.0 - fresnel) * grazing**5
                for c in range(3):
                    mean[c] += weight[k, s] * lit[k, s, n] * f * _LINE * shine[n, c]
            gloss[k, s] = total
        left *= 1.0 - all_ * (1.0 - row[CLEAR])
    rest, line = np.empty(3), np.empty(3)
    for c in range(3):
        rest[c] = max(back[c] - mean[c], 0.2 * back[c])
        line[c] = (back[c] - rest[c]) / mean[c] if mean[c] > 1e-9 else 0.0
        sent[c] = 0.0
    first, second = np.empty((2, 3)), np.empty((2, 3))
    _shared(rows[:count], 0, weight, rest, first)
    _shared(rows[:count], 1, weight, on, second)
    through = 0.0
    for i in range(9):  # threads lie along rows and columns: each place has its own
        right, down = (i - 4.0) / 9.0, (2 * i % 9 - 4.0) / 9.0
        x0, y0 = -(u + ux * right + uy * down), v + vx * right + vy * down
        passed = 1.0
        for nth in range(count):
            k = nth if e[2] > 0.0 else count - 1 - nth
            row = rows[k]
            _turned(row, e, own)
            mx, my = _leaning(own)
            # where the sight meets this layer's own middle
            sx, sy = _leaning(e)
            px, py = x0 + sx * row[DEPTH], y0 + sy * row[DEPTH]
            x = row[FLIP] * (row[COS] * px + row[SIN] * py) + 0.31 * k * row[SPACING]
            y = row[COS] * py - row[SIN] * px + 0.17 * k * row[SPACING + 1]
            s, h, number, far, slope, na, nu = met(
                row, x, y, mx, my, 1.0 if own[2] > 0.0 else -1.0, LOOSE
            )
            if s < 0:
                continue
            step = min(int(abs(h) * STEPS), STEPS - 1)
            fall = row[FALL + STEPS * s + step]
            glow = row[FALL + STEPS * (2 + s) + step]
            many = row[FILAMENTS + s]
            if many > 1.0:
                strand = min(1.5 * np.sqrt(many), 9.0)
                turn = far / row[SPACING + 1 - s]
                fall *= 1.0 + 0.3 * hashed(
                    number * 131 + int(np.floor(0.5 * (h + 1.0) * strand + 0.7 * turn)),
                    int(np.floor(0.4 * turn)) + 57 * s,
                )
                if lamps.shape[0] > 0:
                    share = 0.0
                    for n in range(lamps.shape[0]):
                        _turned(row, lamps[n], to)
                        if to[2] * own[2] > 0.0:
                            share += np.exp(-((_slope_share(own, to, s, slope) / 25.0) ** 2))
                    fall *= (0.6 * gloss[k, s] + 0.4 * share + 0.05) / (gloss[k, s] + 0.05)
            for c in range(3):
                sent[c] += passed * (
                    first[s, c] * row[COLOUR + 3 * s + c] * fall
                    + second[s, c] * row[COLOUR + 6 + 3 * s + c] * glow
                )
            if many <= 1.0:
                nl = -slope * nu
                size = 1.0 / np.sqrt(na * na + nl * nl + nu * nu)
                nx, ny = (na, nl) if s == 0 else (nl, na)
                nx, ny, nz = nx * size, ny * size, nu * size
                cosine = nx * own[0] + ny * own[1] + nz * own[2]
                for n in range(lamps.shape[0]):
                    if lit[k, s, n] <= 0.0:
                        continue
                    _turned(row, lamps[n], to)
                    near = 2.0 * cosine * (nx * to[0] + ny * to[1] + nz * to[2]) - _dot(own, to)
                    away = np.degrees(np.arccos(min(max(near, -1.0), 1.0)))
                    soft = min(max((1.25 * LIGHT_DEG - away) / (0.5 * LIGHT_DEG), 0.0), 1.0)
                    f = fresnel + (1.0 - fresnel) * (1.0 - min(max(cosine, 0.0), 1.0)) ** 5
                    for c in range(3):
                        sent[c] += passed * line[c] * soft * f * _LINE * shine[n, c]
            passed *= row[CLEAR]
            if passed < 0.01:
                break
        through += passed
    for c in range(3):
        sent[c] /= 9.0
    return min(max(straight * through / (9.0 * max(left, 1e-3)), 0.0), 1.0)


@njit(cache=True, fastmath=True)
def _dot(a, b):  # pragma: no cover - compiled
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@njit(cache=True, fastmath=True)
def _leaning(e):  # pragma: no cover - compiled
    """How far a line of sight moves across and along a mm of height."""
    up = np.sign(e[2]) * max(abs(e[2]), 1e-3)
    mx, my = e[0] / up, e[1] / up
    size = np.sqrt(mx * mx + my * my)
    if size > _STEEPEST:
        mx, my = mx * _STEEPEST / size, my * _STEEPEST / size
    return mx, my
