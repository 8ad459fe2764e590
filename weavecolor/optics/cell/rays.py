"""Straight lines through the periodic cell, and the yarns or filaments that they meet.

Knows solid bodies; knows nothing of light or colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from weavecolor.optics.cell import paths
from weavecolor.optics.cell.filaments import FilamentCell, Strand, Traced, at_most_one, prepared
from weavecolor.optics.cell.paths import (
    HALF_A,
    HALF_B,
    PITCH,
    SPACING,
    SWING,
    _course,
    _folded,
    _wave,
)
from weavecolor.textile.cloth import Construction

_EACH = 2048  # lines at once: what they leave stays near the processor
_inlined = njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
#: Of a yarn's undulation, radians: what is looked at as straight, and where a line passes so near
#: to an outline that this would not tell, how much finer.
_STEP, _FINER = 0.4, 12


def solid(c: Construction) -> FilamentCell:
    """The yarns of a construction as solid bodies."""
    warp, weft = Strand(c.warp_width, c.warp_height), Strand(c.weft_width, c.weft_height)
    return FilamentCell(c.lift, warp, weft, c.warp_spacing, c.weft_spacing, *c.swings)


def bodies(cell: FilamentCell) -> FilamentCell:
    """What lines meet of ``cell``: its filaments, whatever they are made of."""
    return replace(cell, warp=_body(cell.warp), weft=_body(cell.weft))


def _body(one: Strand) -> Strand:
    if one.single:
        return Strand(one.width, one.height)
    return replace(one, index=Strand.index, dull=0.0)


def _parts(
    cell: Traced, origin: NDArray[Any], toward: NDArray[Any], what: int
) -> Iterator[tuple[NDArray[np.intp], NDArray[Any], NDArray[Any]]]:
    """Of rays that come to the cloth, part by part: which they are (n,), their starts on its faces
    (n, 5), and what they leave where ``what`` of them is followed (m, paths.LEAF)."""
    start = np.asarray(origin, float)
    way = np.broadcast_to(np.asarray(toward, float), start.shape)
    which = np.flatnonzero(way[2] * start[2] < 0.0)
    for n in range(0, which.size, _EACH):
        own = which[n : n + _EACH]
        (x, y, z), (dx, dy, dz) = start[:, own], way[:, own]
        lead = (np.copysign(cell.top, -dz) - z) / dz
        starts = np.stack([x + lead * dx, y + lead * dy, dx, dy, dz], axis=1)
        yield own, starts, at_most_one(cell, starts, what)


def blocked(cell: FilamentCell, origin: NDArray[Any], toward: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether each ray meets anything of ``cell``, (n,). ``origin`` (3, n) mm, above or below the
    cloth, ``toward`` (3, n) or (3, 1) unit."""
    ready, start = prepared(cell), np.ascontiguousarray(origin, float)
    way = np.ascontiguousarray(np.broadcast_to(np.asarray(toward, float), start.shape))
    shut = np.empty(start.shape[1], np.bool_)
    rows = ready.rows.copy()
    if not cell.rods:  # filaments at the rim stand out of it a little
        rows[:, [HALF_A, HALF_B]] *= 1.05
    _shut(rows, ready.signs, ready.top, start, way, shut)
    if not cell.rods:  # some pass between filaments
        within = np.flatnonzero(shut)
        for own, _, free in _parts(ready, start[:, within], way[:, within], paths.NOTHING):
            shut[within[own[free[:, 0].astype(np.intp)]]] = False
    return shut


@_inlined
def _nearest(p0, q0, p1, q1):
    """The square of how near a straight way between two points comes to nought."""
    dp, dq = p1 - p0, q1 - q0
    t = min(max(-(p0 * dp + q0 * dq) / (dp * dp + dq * dq + 1e-30), 0.0), 1.0)
    p, q = p0 + t * dp, q0 + t * dq
    return p * p + q * q


@_inlined
def _meets(rows, s, middle, swing, p, dp, f, df, z, dz, long):
    """Whether a line meets the outline of a yarn between two crossings within ``long``: from ``p``
    across it in half widths, ``f`` of the way between the two and ``z``, by so much of each a unit
    of length."""
    high, rate = 1.0 / rows[s, HALF_B], math.pi / rows[s, PITCH] * swing
    bend = math.pi * abs(df) * long
    pieces = int(bend / _STEP) + 1 if swing != 0.0 else 1
    step = long / pieces
    # how far a line lies off what is straight, at most: the axis bends, and so does its slope
    off = 1.5 * (bend / pieces) ** 2 * abs(swing) * (0.125 + 0.5 * abs(rate)) * high
    co, si = _wave(f)
    q0 = (z - middle - swing * co) * high / math.sqrt(1.0 + (rate * si) ** 2)
    for k in range(1, pieces + 1):
        t = k * step
        co, si = _wave(f + t * df)
        q1 = (z + t * dz - middle - swing * co) * high / math.sqrt(1.0 + (rate * si) ** 2)
        p0 = p + (t - step) * dp
        near = _nearest(p0, q0, p + t * dp, q1)
        if near < (1.0 + off) ** 2:
            if near < max(1.0 - off, 0.0) ** 2:
                return True
            fine, last = step / _FINER, q0
            for j in range(1, _FINER + 1):
                t = (k - 1) * step + j * fine
                co, si = _wave(f + t * df)
                q = (z + t * dz - middle - swing * co) * high / math.sqrt(1.0 + (rate * si) ** 2)
                if _nearest(p + (t - fine) * dp, last, p + t * dp, q) < 1.0:
                    return True
                last = q
        q0 = q1
    return False


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _shut(rows, signs, top, origin, toward, shut):  # pragma: no cover - compiled
    """Whether rays meet the outline of any yarn, to ``shut`` (n,); ``origin`` and ``toward`` as of
    :func:`blocked`, ``rows``, ``signs`` and ``top`` as of ``paths.trace``."""
    for n in range(shut.shape[0]):
        shut[n] = False
        dz = toward[2, n]
        if dz * origin[2, n] >= 0.0:
            continue
        start = math.copysign(top, -dz)
        lead, whole = (start - origin[2, n]) / dz, 2.0 * top / abs(dz)
        for s in range(2):
            if shut[n]:
                break
            du, dv = toward[1 - s, n], toward[s, n]
            v, u = origin[s, n] + lead * dv, origin[1 - s, n] + lead * du
            spacing, pitch = rows[s, SPACING], rows[s, PITCH]
            a, b, swing = rows[s, HALF_A], rows[s, HALF_B], rows[s, SWING]
            # how far from its middle height a yarn is met at most, where it bends
            steep = math.pi / pitch * swing
            reach = swing + b * math.sqrt(1.0 + steep * steep)
            slow_v, slow_u = abs(dv) < 1e-12, abs(du) < 1e-12
            per_v = 0.0 if slow_v else 1.0 / dv
            per_u = 0.0 if slow_u else pitch / du
            first = math.ceil((min(v, v + whole * dv) - a) / spacing)
            last = math.floor((max(v, v + whole * dv) + a) / spacing)
            for i in range(int(first), int(last) + 1):
                if shut[n]:
                    break
                across = v - i * spacing
                begin, end = 0.0, whole
                if not slow_v:  # over the yarn
                    one, two = (-a - across) * per_v, (a - across) * per_v
                    begin, end = max(begin, min(one, two)), min(end, max(one, two))
                yarn = _folded(rows, s, float(i))
                t = begin
                while t < end:
                    place = (u + t * du) / pitch
                    k = math.floor(place + (1e-9 if du >= 0.0 else -1e-9))
                    until = end
                    if not slow_u:
                        border = (k + 1.0 if du > 0.0 else k) - place
                        until = min(end, t + max(border * per_u, 1e-9 * pitch))
                    middle, w = _course(rows, signs, s, yarn, _folded(rows, s, k, True))
                    tall = b if w == 0.0 else reach
                    # no higher and no lower than the yarn may be
                    one, two = (middle - tall - start) / dz, (middle + tall - start) / dz
                    low, high = max(t, min(one, two)), min(until, max(one, two))
                    if low < high and _meets(
                        rows, s, middle, w, (across + low * dv) / a, dv / a,
                        (u + low * du) / pitch - k, du / pitch, start + low * dz, dz, high - low,
                    ):  # fmt: skip
                        shut[n] = True
                        break
                    t = until


def first_met(cell: FilamentCell, origin: NDArray[Any], toward: NDArray[Any]) -> NDArray[Any]:
    """Heights (m,), mm above the mid-plane, where those rays that meet anything of ``cell`` first
    do; ``origin`` and ``toward`` as for :func:`blocked`."""
    ready = prepared(cell)
    heights = [np.zeros(0)]
    for _, starts, left in _parts(ready, origin, toward, paths.MET):
        met = left[left[:, 11] >= 0.0]
        rise = starts[met[:, 0].astype(np.intp), 4]
        heights.append(met[:, 10] * rise - np.copysign(ready.top, rise))
    return np.concatenate(heights)
