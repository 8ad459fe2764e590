"""The scale of a picture: from a ruler's millimetre ticks, or two points a known length apart.

Knows pictures as arrays; knows nothing of cloth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates

from weavecolor.errors import InputError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Scale:
    """Pixels per mm with its relative standard uncertainty.

    ``ticks`` are the places (x, y) of the ticks used, for drawing; ``angle_deg`` the ruler's run.
    """

    pixels_per_mm: float
    relative_uncertainty: float
    ticks: tuple[tuple[float, float], ...] = ()
    angle_deg: float = 0.0


def scale_from_length(
    start: tuple[float, float], end: tuple[float, float], length_mm: float, error_px: float = 1.5
) -> Scale:
    """Scale from two marked points (x, y) that are ``length_mm`` apart.

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
    angle = float(np.degrees(np.arctan2(end[1] - start[1], end[0] - start[0])))
    return Scale(run / length_mm, float(np.sqrt(2) * error_px / run), (start, end), angle)


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

    Straight lines across the ruler are summed at trial tilts; the sharpest profile wins, the
    finest comb that has a tick at every place is taken, and a line is fitted to the places. A box
    whose ticks do not repeat evenly at least eight times raises InputError: nothing is guessed.
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
    middle = part.shape[0] / 2
    ticks = [(float(p), float(middle)) for p in place]
    ticks = [(y + left, x + top) if upright else (x + left, y + top) for x, y in ticks]
    # the profile runs along the box; ticks stand across the ruler, so true spacing is shorter
    true = spacing * float(np.cos(angle))
    return Scale(
        true / tick_mm, max(relative, 0.001), tuple(ticks), float(90 + tilt if upright else tilt)
    )


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
    if high <= low + 8:
        return 0.0, 0.0
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
    spacing = period
    for step in (1, -1):
        place, index, missed = float(start), 0, 0
        while missed < 3:
            guess = place + step * spacing * (1 if index else 0)
            lo, hi = int(guess - 0.25 * period), int(guess + 0.25 * period) + 2
            if lo < 1 or hi > profile.size - 1:
                break
            k = lo + int(smooth[lo:hi].argmax())
            a, b, c = smooth[k - 1], smooth[k], smooth[k + 1]
            if b >= a and b >= c and b > 0:
                vertex = 0.5 * (a - c) / (a - 2 * b + c - 1e-12)
                places[index] = k + float(np.clip(vertex, -0.5, 0.5))
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
