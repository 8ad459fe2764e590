"""Light that one clear rod alone sends on, aimed at directions a fixed angle apart.

Of a flood from all sides few rays turn by about one angle, and most of what rods send to the eye
they send so: mirrored by their surface, or in at one place and out at another. Here places on the
rods are drawn, not rays: for light that is mirrored the source is then laid so that it turns by the
angle, for other light so that all ways in are drawn alike and those that turn by it are kept.
Whether a place is seen from outside is asked of the tracer. (Importance sampling: M. H. Kalos, P.
A. Whitlock, Monte Carlo Methods, 2008, ch. 4; from memory.) Knows surfaces and paths; knows nothing
of dyes, tables or turning.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from weavecolor.cache import Kept, breathe
from weavecolor.optics.cell import filaments, paths
from weavecolor.optics.cell.filaments import FilamentCell
from weavecolor.optics.cell.paths import (
    DULL,
    FIL_A,
    FIL_B,
    HALF_A,
    INDEX,
    PITCH,
    SPACING,
    _axis,
    _fresnel,
    _inside,
    _mend,
)

Floats = NDArray[np.float64]

#: Surfaces that such light meets at most: it goes in, is sent back inside once, and leaves.
MOST_MET = 3
#: Ways that are to be found of light that is mirrored, and of light that goes in.
MIRRORED, ENTERED = 46_000, 60_000
#: A way out: where from (3) and to (3), weight, length inside, system, yarn, place in (3), out (3).
_WAY = 16
_PART = 32_768  # places drawn at once
_MOST = 6, 14  # of such parts, for each

_compiled = njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
_inlined = njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)


@dataclass(frozen=True, eq=False)
class Aimed:
    """Light of one rod: directions (n, 3) it ``came`` from and ``went`` to, ``weight`` (n,) share
    of all light from one side, ``column`` (n,) lengths as in ``kept``."""

    came: NDArray[np.float32]
    went: NDArray[np.float32]
    weight: NDArray[np.float32]
    column: NDArray[np.int32]


@_inlined
def _place(rows, signs, plan, rod, along, about, place):
    """A place on a rod, for three numbers 0-1: to ``place`` (8,) x, y, z, the normal outwards,
    system and yarn. Returns the surface that it would stand for alone, mm2."""
    s = 0 if rod < 0.5 else 1
    many = plan[s, 0]
    yarn = int((2.0 * rod - s) * many)
    long = plan[s, 1] * rows[s, PITCH]
    u, phi = along * long, 2.0 * math.pi * about
    a, b = rows[s, FIL_A], rows[s, FIL_B]
    height, slope, bend = _axis(rows, signs, s, yarn, u)
    wide = math.sqrt(1.0 + slope * slope)
    co, si = math.cos(phi), math.sin(phi)
    # across both tangents: round the section, and along
    nv, nz = b * co * wide, a * si
    nu = -a * si * (slope + b * si * slope * bend / wide)
    size = math.sqrt(nv * nv + nu * nu + nz * nz)
    v = yarn * rows[s, SPACING] + a * co
    place[2], place[5] = height + b * si * wide, nz / size
    place[0], place[1], place[3], place[4] = v, u, nv / size, nu / size
    if s == 1:
        place[0], place[1], place[3], place[4] = u, v, nu / size, nv / size
    place[6], place[7] = s, yarn
    return size * 4.0 * math.pi * long * many


@_inlined
def _about(place, cosine, around, out):
    """A direction (3,) at so much from the normal of a place, and so far about it."""
    nx, ny, nz = place[3], place[4], place[5]
    if abs(nz) < 0.9:
        tx, ty, tz = -ny, nx, 0.0
    else:
        tx, ty, tz = 0.0, -nz, ny
    flat = math.sqrt(max(1.0 - cosine * cosine, 0.0) / (tx * tx + ty * ty + tz * tz))
    ca, cb = flat * math.cos(around), flat * math.sin(around)
    out[0] = cosine * nx + ca * tx + cb * (ny * tz - nz * ty)
    out[1] = cosine * ny + ca * ty + cb * (nz * tx - nx * tz)
    out[2] = cosine * nz + ca * tz + cb * (nx * ty - ny * tx)


@_inlined
def _way(out, c, wx, wy, wz, weight, length, place, x, y, z):
    out[0], out[1], out[2] = c[0], c[1], c[2]
    out[3], out[4], out[5], out[6], out[7] = wx, wy, wz, weight, length
    out[8], out[9] = place[6], place[7]
    out[10], out[11], out[12] = place[0], place[1], place[2]
    out[13], out[14], out[15] = x, y, z


@_compiled
def _mirrored(rows, signs, plan, centres, number, repeat, angle, wide, out):
    """Light mirrored by surfaces, drawn by ``number`` (n, 4), that turns by ``angle`` or up to
    ``wide`` off it, as a tent tells it: its weight is what it carries over the tent."""
    place, c = np.empty(8), np.empty(3)
    made = 0
    share = 1.0 / number.shape[0]
    for i in range(number.shape[0]):
        area = _place(rows, signs, plan, i * share, number[i, 0], number[i, 1], place)
        off = 2.0 * number[i, 3] - 1.0
        tent = math.sqrt(1.0 - abs(off))
        half = 0.5 * (angle + wide * math.copysign(1.0 - tent, off))
        if half <= 0.0 or half >= 0.5 * math.pi:
            continue
        cosine = math.cos(half)
        _about(place, cosine, 2.0 * math.pi * number[i, 2], c)
        back, _ = _fresnel(cosine, rows[int(place[6]), INDEX])
        light = back * area * share / repeat * cosine * math.sin(half) * wide / max(tent, 1e-3)
        k = 2.0 * cosine
        _way(out[made], c, k * place[3] - c[0], k * place[4] - c[1], k * place[5] - c[2], light,
             0.0, place, place[0], place[1], place[2])  # fmt: skip
        made += 1
    return made


@_inlined
def _within_other(rows, signs, plan, centres, s, v, u, z):
    """Whether a place lies inside the rod that crosses there: no surface, then."""
    crossing = math.floor(u / rows[s, PITCH] + 0.5)
    if abs(u - crossing * rows[s, PITCH]) > rows[1 - s, HALF_A]:
        return False
    return _inside(rows, signs, plan, centres, 1 - s, crossing, u, v, z) >= 0


@_compiled
def _entered(rows, signs, plan, centres, number, which, repeat, least, most, out, turn_of):
    """Light that went in where ``number`` (n, 4) of ``which`` (m,) says and came out at once or
    after it was sent back inside once, off its way by an angle whose cosine lies between ``least``
    and ``most``; to ``turn_of`` (., 2) which it is of, and that cosine."""
    place, c = np.empty(8), np.empty(3)
    made = 0
    share = 1.0 / number.shape[0]
    for i in which:
        area = _place(rows, signs, plan, i * share, number[i, 0], number[i, 1], place)
        s, yarn = int(place[6]), int(place[7])
        cosine = math.sqrt(1.0 - number[i, 3])
        _about(place, cosine, 2.0 * math.pi * number[i, 2], c)
        index = rows[s, INDEX]
        back, beyond = _fresnel(cosine, index)
        light = area * share / repeat * (1.0 - back)
        turn = cosine / index - beyond
        dx = turn * place[3] - c[0] / index
        dy = turn * place[4] - c[1] / index
        dz = turn * place[5] - c[2] / index
        x, y, z = place[0], place[1], place[2]
        length = 0.0
        for _ in range(MOST_MET - 1):
            v, u, dv, du = x, y, dx, dy
            if s == 1:
                v, u, dv, du = y, x, dy, dx
            t, _, p, q, av, au, az, bv, bu, bz = _mend(
                rows, signs, s, yarn, centres, 0, v, u, z, dv, du, dz, 0.0, True
            )
            if t <= 0.0:
                break
            length += t
            x, y, z, v, u = x + t * dx, y + t * dy, z + t * dz, v + t * dv, u + t * du
            ga = p / (rows[s, FIL_A] * rows[s, FIL_A])
            gb = q / (rows[s, FIL_B] * rows[s, FIL_B])
            if abs(ga * p + gb * q - 1.0) > 0.01:  # not mended: no place on the surface
                break
            nv, nu, nz = ga * av + gb * bv, ga * au + gb * bu, ga * az + gb * bz
            k = 1.0 / math.sqrt(nv * nv + nu * nu + nz * nz)
            nx, ny, nz = k * nv, k * nu, k * nz
            if s == 1:
                nx, ny = ny, nx
            inner = dx * nx + dy * ny + dz * nz
            if inner <= 0.0 or _within_other(rows, signs, plan, centres, s, v, u, z):
                break
            back, beyond = _fresnel(inner, 1.0 / index)
            if back < 1.0:
                turn = beyond - inner * index
                wx, wy, wz = dx * index + turn * nx, dy * index + turn * ny, dz * index + turn * nz
                k = 1.0 / math.sqrt(wx * wx + wy * wy + wz * wz)
                wx, wy, wz = k * wx, k * wy, k * wz
                on = c[0] * wx + c[1] * wy + c[2] * wz
                if least < on < most:
                    turn_of[made, 0], turn_of[made, 1] = i, on
                    left = light * (1.0 - back) * math.exp(-rows[s, DULL] * length)
                    _way(out[made], c, wx, wy, wz, left, length, place, x, y, z)
                    made += 1
            light *= back
            dx -= 2.0 * inner * nx
            dy -= 2.0 * inner * ny
            dz -= 2.0 * inner * nz
    return made


#: By cell and size of a part, for each part: which of its places light goes in at, and the cosine
#: of the angle that it turns by; whatever the angle asked for.
_turning: Kept[tuple[FilamentCell, int], tuple[NDArray[np.float32], ...]] = Kept(2)


def aimed(cell: FilamentCell, angle: float, wide: float) -> Aimed:
    """Light of single rods of ``cell`` that turns by ``angle``, radians, or up to ``wide`` off it:
    such as met one surface, or went in, was sent back inside at most once, and left."""
    ready = filaments.prepared(cell)
    traced = ready.rows, ready.signs, ready.plan, ready.centres
    repeat = ready.repeat[0] * ready.repeat[1]
    part = max(int(filaments.EFFORT * _PART), 512)
    number = filaments.evenly(part, 4)
    step = (filaments.evenly(2, 4)[1] - filaments.evenly(2, 4)[0]) * part
    least, most = math.cos(min(angle + wide, math.pi)), math.cos(max(angle - wide, 0.0))

    def mirrored(k: int) -> Floats:
        out = np.empty((part, _WAY))
        made = _mirrored(*traced, (number + k * step) % 1.0, repeat, angle, wide, out)
        return out[:made]

    def ways_in(
        k: int, which: NDArray[np.intp], least: float, most: float
    ) -> tuple[Floats, NDArray[np.float32]]:
        out = np.empty(((MOST_MET - 1) * len(which), _WAY))
        told = np.empty((len(out), 2), np.float32)
        own = (number + k * step) % 1.0
        made = _entered(*traced, own, which, repeat, least, most, out, told)
        return out[:made], told[:made].copy()

    def entered(k: int) -> Floats:
        which, on = turning[k].T
        near = which[(on > least - 1e-6) & (on < most + 1e-6)]
        return ways_in(k, np.unique(near).astype(np.intp), least, most)[0]

    def found(draw: Callable[[int], Floats], k: int) -> Floats:
        out = draw(k)
        for place, way in ((slice(10, 13), slice(0, 3)), (slice(13, 16), slice(3, 6))):
            out = out[_seen(ready, out[:, place], out[:, way], out[:, 8:10])]
        return out

    each = []
    with ThreadPoolExecutor(2) as pool:
        turning = _turning.one((cell, part), lambda: tuple(
            pool.map(lambda k: ways_in(k, np.arange(part), -2.0, 2.0)[1], range(_MOST[1]))
        ))  # fmt: skip
        for draw, wanted, limit in ((mirrored, MIRRORED, _MOST[0]), (entered, ENTERED, _MOST[1])):
            own: list[Floats] = []
            many = 2
            while len(own) < many:
                breathe()
                two = range(len(own), min(len(own) + 2, many))
                own += pool.map(lambda k, d=draw: found(d, k), two)
                if len(own) == 2:  # by what two parts hold is told how many there are to be
                    held = max(sum(map(len, own)), 1)
                    many = int(np.clip(np.ceil(2.0 * filaments.EFFORT * wanted / held), 2, limit))
            for ways in own:
                ways[:, 6] /= many
            each += own
    every = np.concatenate(each)
    length = np.zeros((len(every), paths.LEAF))
    length[:, 5] = np.where(every[:, 8] == 0.0, every[:, 7], 0.0)
    length[:, 6] = every[:, 7] - length[:, 5]
    column = paths.levels_of(length, ready.scale, filaments.RATIO, filaments.LEVELS)
    came, went, weight = (np.ascontiguousarray(x, np.float32) for x in
                          (every[:, :3], every[:, 3:6], every[:, 6]))  # fmt: skip
    return Aimed(came, went, weight, column)


def _seen(ready: Any, place: Floats, way: Floats, rod: Floats) -> NDArray[np.bool_]:
    """Which places (n, 3) on rods (n, 2: system, yarn) are the first that light meets which comes
    the ``way`` (n, 3) from outside."""
    up = way[:, 2]
    far = (np.copysign(ready.top, up) - place[:, 2]) / np.where(np.abs(up) > 1e-3, up, 1e-3)
    starts = np.column_stack([place[:, :2] + far[:, None] * way[:, :2], -way])
    met = filaments.at_most_one(ready, starts, paths.MET)
    which = met[:, 0].astype(np.intp)
    first = np.abs(met[:, 10] - far[which]) < 1e-3 * ready.top
    out = np.zeros(len(starts), bool)
    out[which] = first & (met[:, 11:13] == rod[which]).all(axis=1) & (np.abs(up[which]) > 1e-3)
    return out
