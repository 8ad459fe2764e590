"""Two measures set against one another: the points of a trade-off chart and its best edge.

Knows measures as numbers; draws nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.errors import InputError

Array = NDArray[np.float64]

#: What can be charted: title and unit.
MEASURES = {
    "opacity": "Opacity, contrast ratio %",
    "lightness": "Lightness L*",
    "mass": "Weight, g/m2",
    "loss": "Distance from the wish",
}


@dataclass(frozen=True, eq=False)
class Cloud:
    """Screened stacks for the chart: ``values`` (n, 4) in the order of :data:`MEASURES`;
    ``keys`` (n, 2) layers and number of each; ``of`` how many stacks it stands for."""

    values: Array
    keys: NDArray[np.intp]
    of: int


def edge(x: Array, y: Array, more_x: bool = True, more_y: bool = True) -> NDArray[np.bool_]:
    """Which of n points nobody beats in both x and y at once (the Pareto edge), (n,) of bool.

    Parameters
    ----------
    x, y : array_like, shape (n,)
    more_x, more_y : bool
        Whether more of it is better.

    Examples
    --------
    >>> edge([1.0, 2.0, 3.0], [3.0, 1.0, 2.0]).tolist()
    [True, False, True]
    """
    x = np.asarray(x, dtype=np.float64) * (1.0 if more_x else -1.0)
    y = np.asarray(y, dtype=np.float64) * (1.0 if more_y else -1.0)
    if x.shape != y.shape or x.ndim != 1:
        raise InputError("a trade-off takes two lists of equal length")
    order = np.lexsort((-y, -x))
    best = np.empty(x.size)
    sorted_y = y[order]
    before = np.concatenate([[-np.inf], np.maximum.accumulate(sorted_y)[:-1]])
    best[order] = before
    on = y > best
    # equal points stand or fall together
    for k in np.flatnonzero(~on & (y == best)):
        on[k] = bool(np.any(on & (x == x[k]) & (y == y[k])))
    return on
