"""Cubic curves through points: written out, for the library's take a quarter of a second to load.

Knows numbers alone. The same as SciPy's ``CubicSpline`` and ``PchipInterpolator``, to the last bit:
draws of what might truly be are seeded by spectra.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Places = NDArray[np.floating[Any]]


def spline(x: Places, at: Places) -> Array:
    """Matrix (m, n): values at ``x`` (n,), rising, 4 at least, to those of their spline ``at`` (m,)
    between; its third derivative is the same on both sides of the last place but one at each end
    (C. de Boor, A Practical Guide to Splines, 2001, ch. 4, "not-a-knot"; from memory).

    Examples
    --------
    >>> float(spline(np.arange(5.0), np.array([2.5]))[0] @ np.arange(5.0) ** 3)
    15.625
    """
    values = np.eye(x.size)
    step = np.diff(x)[:, None]
    rise = np.diff(values, axis=0) / step
    # the rates at all places from three diagonals, which need no exchange of rows
    below, on, above = step[1:], 2.0 * (step[:-1] + step[1:]), step[:-1]
    begin, end = step[0] + step[1], step[-2] + step[-1]
    first = ((step[0] + 2.0 * begin) * step[1] * rise[0] + step[0] ** 2 * rise[1]) / begin
    last = (step[-1] ** 2 * rise[-2] + (2.0 * end + step[-1]) * step[-2] * rise[-1]) / end
    below, on = np.concatenate([below, [end]]), np.concatenate([step[1:2], on, step[-2:-1]])
    above = np.concatenate([[begin], above])
    rates = np.concatenate([[first], 3.0 * (step[1:] * rise[:-1] + step[:-1] * rise[1:]), [last]])
    for k in range(x.size - 1):
        part = below[k] / on[k]
        on[k + 1] -= part * above[k]
        rates[k + 1] -= part * rates[k]
    rates[-1] /= on[-1]
    for k in range(x.size - 2, -1, -1):
        rates[k] = (rates[k] - above[k] * rates[k + 1]) / on[k]
    return _cubics(x, values, rates, at)


def monotone(x: Places, values: Array, at: Places) -> Array:
    """Values (m, ...) ``at`` (m,) of curves through ``values`` (n, ...) at ``x`` (n,), rising, 3 at
    least, that swing no further than these do (F. N. Fritsch, J. Butland, SIAM J. Sci. Stat.
    Comput. 5 (1984) 300; from memory).

    Examples
    --------
    >>> monotone(np.arange(4.0), np.array([0.0, 0.0, 1.0, 1.0]), np.array([0.5, 1.5])).tolist()
    [0.0, 0.5]
    """
    step = np.diff(x).reshape(-1, *[1] * (values.ndim - 1))
    rise = np.diff(values, axis=0) / step
    one, other = 2.0 * step[1:] + step[:-1], step[1:] + 2.0 * step[:-1]
    level = np.sign(rise[1:]) * np.sign(rise[:-1]) <= 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (one / rise[:-1] + other / rise[1:]) / (one + other)
        inner = np.where(level, 0.0, 1.0 / mean)
    ends = [_end(step[a], step[b], rise[a], rise[b]) for a, b in ((0, 1), (-1, -2))]
    return _cubics(x, values, np.concatenate([ends[:1], inner, ends[1:]]), at)


def _end(step: Array, next_: Array, rise: Array, then: Array) -> Array:
    """The rate of a monotone curve at its end, by the two steps and rises from there."""
    rate = ((2.0 * step + next_) * rise - step * then) / (step + next_)
    wide = (np.sign(rise) != np.sign(then)) & (np.abs(rate) > 3.0 * np.abs(rise))
    return np.where(np.sign(rate) != np.sign(rise), 0.0, np.where(wide, 3.0 * rise, rate))


def _cubics(x: Places, values: Array, rates: Array, at: Places) -> Array:
    """Values (m, ...) of cubics between places ``x`` (n,) by their ``values`` and ``rates``."""
    low = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    own = (low.size, *[1] * (values.ndim - 1))
    far, step = (at - x[low]).reshape(own), np.diff(x)[low].reshape(own)
    one, rate = values[low], rates[low]
    rise = (values[low + 1] - one) / step
    bend = (rate + rates[low + 1] - 2.0 * rise) / step
    square = far * far
    return np.asarray(
        one + rate * far + ((rise - rate) / step - bend) * square + bend / step * (square * far)
    )
