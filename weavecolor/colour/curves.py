"""Curves through points, as SciPy draws them: to load its own takes a fifth of a second.

Knows numbers alone.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Numbers = NDArray[np.floating[Any]]


def spline(nodes: Numbers, at: Numbers, natural: bool = False) -> Array:
    """What values at nodes add to a cubic spline through them.

    Parameters
    ----------
    nodes : ndarray, shape (n,)
        Rising, four at least.
    at : ndarray, shape (m,)
        Where it is read; beyond the nodes the last pieces go on.
    natural : bool
        Straight at its ends; otherwise the third derivative goes on over the second node and the
        last but one (C. de Boor, A Practical Guide to Splines, 1978, ch. 4; from memory).

    Returns
    -------
    ndarray, shape (m, n)

    Examples
    --------
    >>> cubes = np.arange(5.0) ** 3
    >>> (spline(np.arange(5.0), np.array([1.5])) @ cubes).round(6).tolist()
    [3.375]
    """
    n, h = nodes.size, np.diff(nodes)
    system, bend = np.zeros((n, n)), np.zeros((n, n))
    for i in range(1, n - 1):
        system[i, i - 1 : i + 2] = h[i - 1], 2.0 * (h[i - 1] + h[i]), h[i]
        bend[i, i - 1 : i + 2] = 6.0 / h[i - 1], -6.0 / h[i - 1] - 6.0 / h[i], 6.0 / h[i]
    if natural:
        system[0, 0] = system[-1, -1] = 1.0
    else:
        system[0, :3] = h[1], -h[0] - h[1], h[0]
        system[-1, -3:] = h[-1], -h[-2] - h[-1], h[-2]
    second, one = np.linalg.solve(system, bend), np.eye(n)
    k, far = _within(nodes, at)
    far, long = far[:, None], h[k][:, None]
    near = 1.0 - far
    bent = (near**3 - near) * second[k] + (far**3 - far) * second[k + 1]
    return np.asarray(near * one[k] + far * one[k + 1] + long**2 / 6.0 * bent)


def steady(nodes: Numbers, values: Numbers, at: Numbers) -> Array:
    """A curve of cubic pieces that turns only where the values do (F. N. Fritsch, J. Butland, SIAM
    J. Sci. Stat. Comput. 5 (1984) 300; its ends after C. Moler, Numerical Computing with MATLAB,
    2004, ch. 3; both from memory).

    Parameters
    ----------
    nodes : ndarray, shape (n,)
        Rising, two at least.
    values : ndarray, shape (..., n)
    at : ndarray, shape (m,)

    Returns
    -------
    ndarray, shape (..., m)

    Examples
    --------
    >>> steady(np.arange(4.0), np.array([0.0, 0.0, 1.0, 1.0]), np.array([0.5, 1.5])).tolist()
    [0.0, 0.5]
    """
    h, slope = np.diff(nodes), np.zeros(np.shape(values))
    rise = np.diff(values) / h
    if h.size == 1:
        slope[:] = rise
    else:
        before, after = rise[..., :-1], rise[..., 1:]
        one, two = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
        both = np.where(before * after > 0.0, one * after + two * before, np.inf)
        slope[..., 1:-1] = (one + two) * before * after / both
        for end, inner in ((0, 1), (-1, -2)):
            edge, next_ = rise[..., end], rise[..., inner]
            told = ((2.0 * h[end] + h[inner]) * edge - h[end] * next_) / (h[end] + h[inner])
            told = np.where(np.sign(told) == np.sign(edge), told, 0.0)
            turns = (np.sign(edge) != np.sign(next_)) & (np.abs(told) > 3.0 * np.abs(edge))
            slope[..., end] = np.where(turns, 3.0 * edge, told)
    k, far = _within(nodes, at)
    near, first, last = 1.0 - far, h[k] * slope[..., k], h[k] * slope[..., k + 1]
    return np.asarray(
        near**2 * ((1.0 + 2.0 * far) * values[..., k] + far * first)
        + far**2 * ((3.0 - 2.0 * far) * values[..., k + 1] - near * last)
    )


def _within(nodes: Numbers, at: Numbers) -> tuple[NDArray[np.intp], Numbers]:
    """Between which nodes each place lies, by the number of the first, and the share of the way."""
    k = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, nodes.size - 2)
    return k, (at - nodes[k]) / np.diff(nodes)[k]
