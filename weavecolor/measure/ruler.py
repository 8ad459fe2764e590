"""The scale of a picture: from a ruler's millimetre ticks, or two points a known length apart.

Knows pictures as arrays; knows nothing of cloth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import (
    binary_opening,
    black_tophat,
    gaussian_filter1d,
    map_coordinates,
    white_tophat,
)
from skimage.filters import threshold_otsu
from skimage.measure import label
from skimage.transform import downscale_local_mean

from weavecolor.errors import InputError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Scale:
    """Pixels per mm with its relative standard uncertainty."""

    pixels_per_mm: float
    relative_uncertainty: float


def scale_from_length(
    start: tuple[float, float], end: tuple[float, float], length_mm: float, error_px: float = 1.5
) -> Scale:
    """Scale from two marked points ``start`` and ``end``, (x, y), that are ``length_mm`` apart.

    ``error_px``: how far off a mark may be. InputError if the points are under 20 pixels apart or
    the length is not positive.

    Examples
    --------
    >>> round(scale_from_length((0.0, 0.0), (300.0, 400.0), 10.0).pixels_per_mm, 6)
    50.0
    """
    run = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    if not length_mm > 0:
        raise InputError("the known length must be more than 0 mm", field="length")
    if run < 20:
        raise InputError("the two marks are too close together; mark a longer length")
    return Scale(run / length_mm, float(np.sqrt(2) * error_px / run))


def scale_from_ruler(
    picture: ArrayLike,
    box: tuple[int, int, int, int],
    *,
    tick_mm: float = 1.0,
    most_tilt_deg: float = 20.0,
) -> Scale:
    """Scale from the regular ticks of a ruler inside a marked box.

    Parameters
    ----------
    picture : array (rows, columns) or (rows, columns, 3)
    box : (left, top, right, bottom)
        Round the ticks, longer along the ruler than across it.
    tick_mm : float
        Distance of the finest ticks, 1 mm by default.
    most_tilt_deg : float
        How far ticks may lean from square to the ruler's edge, degrees.

    Straight lines across the ruler are summed at trial tilts; the sharpest profile wins, the finest
    comb that has a tick at every place is taken, and a line is fitted to the places. A box whose
    ticks do not repeat evenly at least eight times raises InputError: nothing is guessed.
    """
    image = np.asarray(picture, dtype=np.float64)
    if image.ndim == 3:
        image = image.mean(axis=2)
    left, top, right, bottom = (int(v) for v in box)
    left, top = max(0, left), max(0, top)
    part = image[top : min(bottom, image.shape[0]), left : min(right, image.shape[1])]
    if min(part.shape) < 6 or max(part.shape) < 60:
        raise InputError("the ruler's box is too small; mark at least 20 mm of its ticks",
                         field="ruler")
    upright = part.shape[0] > part.shape[1]
    if upright:
        part = part.T
    part = np.sqrt(np.clip(part, 0, None))
    tilts = np.arange(-most_tilt_deg, most_tilt_deg + 0.1, 0.5)
    # summed along the ticks the profile is at its sharpest
    tilt = float(max(tilts, key=lambda t: float(_profile(part, t).var())))
    profile = _profile(part, tilt)
    strength, period = _period(profile)
    centres = None
    for part_of in (10, 5, 4, 3, 2, 1):  # the finest comb whose every place holds a tick
        centres = _ticks(profile, period / part_of)
        if centres is not None:
            break
    if strength < 12 or centres is None:
        raise InputError(
            "no even row of ticks is found in the ruler's box; mark a box along the millimetre "
            "edge, in focus, with at least 20 ticks, or mark two points a known length apart",
            field="ruler",
        )
    index, place = centres
    fit, cov = np.polyfit(index, place, 1, cov=True)
    bend = np.polyfit(index - index.mean(), place, 2)
    spacing = float(fit[0])
    # perspective stretches one end: half the change of spacing over the run is not known away
    curve = abs(float(bend[0])) * float(np.ptp(index))
    relative = float(np.hypot(np.sqrt(cov[0, 0]) / spacing, 0.25 * curve / spacing))
    angle = np.radians(tilt)
    # the profile runs along the box; ticks stand across the ruler, so true spacing is shorter
    true = spacing * float(np.cos(angle))
    return Scale(true / tick_mm, max(relative, 0.001))


#: A picture is looked through for a ruler at so many pixels along its longer side.
_LOOK = 1600
#: Thin marks are told from all wider things at these widths, pixels.
_THIN = (5, 11, 23)
#: Ticks that make a ruler; how much longer than the rest every fifth or tenth is; places looked at.
_LEAST_TICKS, _LONGER, _LINES = 20, 1.12, 12
#: Pixels within which feet stand on one line.
_BIN = 4.0
#: Short ticks differ by less than this share of their length.
_ALIKE = 0.25
#: Relative change of scale across a picture held as flat as a hand can: 1 standard deviation at
#: half its side. Assumed.
_HELD_FLAT = 0.01


@dataclass(frozen=True)
class Found:
    """A ruler found in a picture: the scale at the middle of ``before``, a box (left, top, right,
    bottom) of the picture that holds none of it."""

    scale: Scale
    before: tuple[int, int, int, int]


@dataclass(frozen=True, eq=False)
class _Row:
    """Ticks of one row: whole number, place of the foot (row, column), and direction into the
    ruler, which leans (rise of u over v) by ``lean``; ``tick_mm`` apart."""

    index: Array
    u: Array
    foot: Array
    lean: Array
    along: Array
    into: Array
    tick_mm: float


def find_ruler(
    picture: ArrayLike, region: tuple[int, int, int, int] | None = None
) -> Found:
    """Find a ruler's millimetre edge anywhere in a picture, however it lies.

    Parameters
    ----------
    picture : array (rows, columns) or (rows, columns, 3)
        Linear light.
    region : (left, top, right, bottom), optional
        Where the scale is wanted; what lies before the ruler's edge by default.

    Ticks are thin marks of one direction whose feet stand on one line, evenly far apart, every
    fifth or tenth of them longer: threads are even too, but have no longer fifth. A picture taken
    from aslant changes its scale along the ruler, by which the ticks' distances change, and across
    it, by which they fan; both are carried to the middle of the cloth. Raises InputError where
    there is no such row of at least 20 ticks: nothing is guessed.
    """
    image = np.asarray(picture, dtype=np.float32)
    grey = np.sqrt(np.clip(image if image.ndim == 2 else image.mean(axis=2), 0.0, None))
    times = max(1, -(-max(grey.shape) // _LOOK))
    small = downscale_local_mean(grey, (times, times))  # type: ignore[no-untyped-call]
    rows = next((found for wide in _THIN if (found := _rows_of_ticks(small, wide))), None)
    if rows is None:
        raise InputError(
            "no ruler is found in the picture: lay its millimetre edge into it, in focus, at least "
            "20 mm of it; or box its ticks, or give the scale", field="ruler",
        )  # fmt: skip
    best = max(rows, key=lambda row: len(row.index))
    before = _before(best, small.shape)
    if region is not None:
        left, top, right, bottom = (round(side / times) for side in region)
        before = left, top, right, bottom
    scale, relative = _carried(best, before, small.shape)
    left, top, right, bottom = (side * times for side in before)
    return Found(Scale(scale * times, relative), region or (left, top, right, bottom))


def _rows_of_ticks(small: Array, wide: int) -> list[_Row]:
    """Rows of ticks, dark or bright, that are thinner than ``wide`` pixels."""
    out = []
    for thin in (black_tophat, white_tophat):
        marks = np.asarray(thin(small, size=(wide, wide)), dtype=np.float64)
        clear = max(float(threshold_otsu(marks)), 0.06)  # type: ignore[no-untyped-call]
        # figures are darker than fine ticks; what runs across ticks is thread or edge
        for dark in (marks > clear, marks > 0.5 * clear):
            for across in ((1, wide + 3), (wide + 3, 1)):
                out += _rows_among(dark & ~binary_opening(dark, np.ones(across, bool)))
    return out


def _rows_among(marks: NDArray[np.bool_]) -> list[_Row]:
    """Rows of ticks among thin ``marks``."""
    at, turn, length, thick = _shapes(label(marks))  # type: ignore[no-untyped-call]
    thin = (length > 2.0 * thick) & (length > 5.0)
    if thin.sum() < _LEAST_TICKS:
        return []
    at, turn, length = at[thin], turn[thin], length[thin]
    out: list[_Row] = []
    summed, edges = np.histogram(
        turn, np.linspace(-np.pi / 2, np.pi / 2, 91), weights=np.minimum(length, 60.0)
    )
    for k in np.argsort(summed + np.roll(summed, 1))[::-1][:8]:
        middle = edges[k]
        off = (turn - middle + np.pi / 2) % np.pi - np.pi / 2
        own = np.abs(off) < np.radians(3.5)
        if own.sum() >= _LEAST_TICKS:
            mean = middle + float(np.median(off[own]))
            out += _in_line(at[own], length[own], mean, off[own] - np.median(off[own]))
    return out


def _shapes(labels: NDArray[np.intp]) -> tuple[Array, Array, Array, Array]:
    """Middles (n, 2), directions, radians off upright, lengths and widths of labelled parts: those
    of rectangles with the same second moments."""
    place = np.stack(np.nonzero(labels))
    which = labels[tuple(place)]
    size = np.maximum(np.bincount(which), 1)

    def mean(values: Array) -> Array:
        return np.asarray(np.bincount(which, values) / size)

    r, c = mean(place[0]), mean(place[1])
    rr, cc = mean(place[0] ** 2) - r * r + 1 / 12, mean(place[1] ** 2) - c * c + 1 / 12
    rc = mean(place[0] * place[1]) - r * c
    half, apart = 0.5 * (rr + cc), np.hypot(0.5 * (rr - cc), rc)
    length, thick = np.sqrt(12.0 * (half + apart)), np.sqrt(12.0 * np.maximum(half - apart, 0.0))
    own = size > 5
    own[:1] = False  # what is no part; there is nothing of it in a blank picture
    turn = 0.5 * np.arctan2(2.0 * rc, rr - cc)
    return np.column_stack([r, c])[own], turn[own], length[own], thick[own]


def _in_line(at: Array, length: Array, turn: float, lean: Array) -> list[_Row]:
    """Rows among marks at ``at`` (n, 2) that all stand along ``turn``, but for ``lean``."""
    into, along = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    u, out = at @ along, []
    slopes = np.linspace(-0.03, 0.03, 25)
    for side in (1.0, -1.0):
        foot = at - 0.5 * side * length[:, None] * into
        v = foot @ into
        flat = v - np.outer(slopes, u)
        first = flat.min()
        # ticks are longer than most of what lies about in rows
        summed = np.stack([
            np.bincount(((row - first) / _BIN).astype(int), np.minimum(length, 60.0) ** 2,
                        minlength=int(np.ptp(flat) / _BIN) + 2)
            for row in flat
        ])  # fmt: skip
        summed = summed[:, :-1] + summed[:, 1:]
        ends: list[Array] = []
        for place in np.argsort(summed, axis=None)[::-1][: 20 * _LINES]:
            slope, bin_ = np.unravel_index(place, summed.shape)
            high = first + _BIN * (bin_ + 1)
            line = high + slopes[slope] * np.array([u.min(), u.max()])
            if any(np.abs(line - other).max() < _BIN for other in ends):
                continue
            if len(ends) == _LINES:
                break
            ends.append(line)
            own = np.abs(flat[slope] - high) < 1.6 * _BIN
            if own.sum() < _LEAST_TICKS:
                continue
            found = _even(u[own], length[own])
            if found is not None:
                keep, index, tick_mm = found
                which = np.flatnonzero(own)[keep]
                leans = side * lean[which]
                out.append(_Row(index, u[which], foot[which], leans, along, side * into, tick_mm))
                break
    return out


def _even(u: Array, length: Array) -> tuple[NDArray[np.intp], Array, float] | None:
    """The longest run of marks that are evenly far apart, numbered, and their distance in mm."""
    order = np.argsort(u)
    gaps = np.diff(u[order])
    period = float(np.median(gaps[gaps > 2.0])) if (gaps > 2.0).any() else 0.0
    if period < 3.0 or (np.abs(gaps / period - np.round(gaps / period)) < 0.2).mean() < 0.6:
        return None
    best: list[tuple[int, int]] = []
    run: list[tuple[int, int]] = []
    local = period
    for k in order:
        if run:
            step = (u[k] - u[run[-1][0]]) / local
            if step < 0.75:
                continue  # a speck between two ticks
            if round(step) <= 2 and abs(step - round(step)) < 0.2:
                local += 0.2 * ((u[k] - u[run[-1][0]]) / round(step) - local)
                run.append((int(k), run[-1][1] + round(step)))
                continue
        best, run, local = max(best, run, key=len), [(int(k), 0)], period
    best = max(best, run, key=len)
    if len(best) < _LEAST_TICKS or len(best) < 0.8 * (best[-1][1] + 1):
        return None
    keep, index = (np.array(part) for part in zip(*best, strict=True))
    rest = u[keep] - np.polyval(np.polyfit(index, u[keep], 2), index)
    if rest.std() > 0.1 * period:
        return None
    if _longer(length[keep], index, 2):  # halves of a millimetre, or parts of an inch
        even = index % 2 == _phase(length[keep], index, 2)
        keep, index = keep[even], index[even] // 2
        if len(index) < _LEAST_TICKS:
            return None
    if not (_longer(length[keep], index, 5) or _longer(length[keep], index, 10)):
        return None
    return keep, index.astype(float), 1.0


def _phase(length: Array, index: Array, every: int) -> int:
    return int(np.argmax([np.median(length[index % every == k]) if (index % every == k).any()
                          else 0.0 for k in range(every)]))  # fmt: skip


def _longer(length: Array, index: Array, every: int) -> bool:
    """Whether each ``every``-th mark, but for one, is longer than nearly all others, and these are
    alike (but for the middle ones of ten)."""
    first = _phase(length, index, every)
    long, plain = index % every == first, index % every != first
    if every == 10:
        plain &= index % 5 != first % 5
    if long.sum() < (2 if every == 10 else 4) or plain.sum() < 8:
        return False
    low, middle, high = np.percentile(length[plain], [10.0, 50.0, 90.0])
    least = np.sort(length[long])[1 if long.sum() > 3 else 0]
    return bool(least > _LONGER * high and high - low < _ALIKE * middle)


def _before(row: _Row, shape: tuple[int, ...]) -> tuple[int, int, int, int]:
    """The box of the picture before a ruler's edge; all of it where the edge leaves too little."""
    rows, columns = shape
    down = abs(row.into[0]) >= abs(row.into[1])
    axis, side = (0, rows) if down else (1, columns)
    line = np.polyfit(row.foot[:, 1 - axis], row.foot[:, axis], 1)
    ends = np.polyval(line, [0.0, columns if down else rows])
    margin = 0.01 * side
    low, high = (0.0, float(ends.min()) - margin) if row.into[axis] > 0.0 else (
        float(ends.max()) + margin, float(side)
    )  # fmt: skip
    if high - low < 0.2 * side:
        return 0, 0, columns, rows
    return (0, int(low), columns, int(high)) if down else (int(low), 0, int(high), rows)


def _carried(
    row: _Row, before: tuple[int, int, int, int], shape: tuple[int, ...]
) -> tuple[float, float]:
    """Pixels per mm at the middle of ``before``, and its relative standard uncertainty.

    Seen aslant, a plane's scale along any line changes twice as fast along as across it.
    """
    count = len(row.index)
    middle = row.index.mean()
    bend, slope, _ = np.polyfit(row.index - middle, row.u, 2)
    cov = np.polyfit(row.index - middle, row.u, 2, cov=True)[1]
    left, top, right, bottom = before
    away = np.array([0.5 * (top + bottom), 0.5 * (left + right)]) - row.foot.mean(axis=0)
    du, dv = float(away @ row.along), float(away @ row.into)
    across = row.u - row.u.mean()
    fan = np.polyfit(across, row.lean, 1)
    noise = float(np.std(row.lean - np.polyval(fan, across)))
    # how far it may lean beforehand, and what is seen of it
    held = _HELD_FLAT / (0.5 * max(shape))

    def both(seen: float, spread: float) -> tuple[float, float]:
        share = held**2 / (held**2 + spread**2)
        return share * seen, share**0.5 * spread
    a, e_a = both(bend / slope**2, float(np.sqrt(cov[0, 0])) / slope**2)
    b, e_b = both(float(fan[0]), noise / max(float(np.std(across)) * count**0.5, 1e-9))
    # half-way between lines that run along the ruler and lines that run across it
    change = 1.5 * (a * du + b * dv)
    unsure = np.hypot(1.5 * e_a * du, 1.5 * e_b * dv)
    unsure = np.hypot(unsure, 0.5 * np.hypot(a * du, b * dv))
    own = float(np.sqrt(cov[1, 1])) / slope
    return float(slope / row.tick_mm * np.exp(change)), max(float(np.hypot(own, unsure)), 0.001)


def _profile(part: Array, tilt: float) -> Array:
    rows, columns = part.shape
    shift = np.tan(np.radians(tilt)) * (np.arange(rows) - (rows - 1) / 2)
    y = np.broadcast_to(np.arange(rows)[:, None], part.shape)
    x = np.arange(columns)[None, :] - shift[:, None]
    lines = map_coordinates(part, [y, x], order=1, mode="nearest").mean(axis=0)
    return np.asarray(lines - gaussian_filter1d(lines, max(4.0, columns / 20)))


def _period(profile: Array) -> tuple[float, float]:
    """Strength over the median of the spectrum, and period in samples, of the strongest comb."""
    n = profile.size
    padded = 8 * n
    power = np.abs(np.fft.rfft(profile * np.hanning(n), padded)) ** 2
    low, high = int(8 * padded / n), int(padded / 3)
    # narrow ticks have strong overtones: an overtone counts for its fundamental too
    index = np.arange(low, high)
    comb = power[index] + 0.5 * power[np.minimum(2 * index, power.size - 1)]
    best = int(index[comb.argmax()])
    return float(power[best] / (np.median(power[low:]) + 1e-30)), padded / best


def _ticks(profile: Array, period: float) -> tuple[Array, Array] | None:
    """Whole numbers and places of the ticks, found one by one from the middle out."""
    if not 3 <= period <= profile.size / 8:
        return None
    smooth = gaussian_filter1d(profile, max(0.6, period / 8))
    sign = -1.0 if abs(smooth.min()) > abs(smooth.max()) else 1.0
    smooth = sign * smooth
    places: dict[int, float] = {}
    heights: dict[int, float] = {}
    middle = profile.size // 2
    start = middle - int(period / 2) + int(
        smooth[middle - int(period / 2) : middle + int(period / 2) + 1].argmax()
    )
    for step in (1, -1):
        place, index, missed = float(start), 0, 0
        while missed < 3:
            guess = place + (step * period if index else 0.0)
            lo, hi = int(guess - 0.25 * period), int(guess + 0.25 * period) + 2
            if lo < 1 or hi > profile.size - 1:
                break
            k = lo + int(smooth[lo:hi].argmax())
            a, b, c = smooth[k - 1], smooth[k], smooth[k + 1]
            if b >= a and b >= c and b > 0:
                vertex = 0.5 * (a - c) / (a - 2 * b + c - 1e-12)
                places[index] = k + float(vertex)
                heights[index] = float(b)
                place, missed = places[index], 0
            else:
                place, missed = guess, missed + 1
            index += step
    if len(places) < 8:
        return None
    least = 0.3 * float(np.median(list(heights.values())))
    places = {k: v for k, v in places.items() if heights[k] > least}
    if len(places) < max(8, 0.85 * (max(places) - min(places) + 1)):
        return None
    number = np.array(sorted(places), dtype=float)
    spot = np.array([places[int(i)] for i in number])
    line = np.polyfit(number, spot, 2)
    rest = spot - np.polyval(line, number)
    good = np.abs(rest) < max(0.12 * period, 3 * 1.4826 * float(np.median(np.abs(rest))))
    if good.sum() < 8 or rest[good].std() > 0.12 * period or good.mean() < 0.8:
        return None
    return number[good], spot[good]
