"""The distances that rays step by, at many points at once."""

import numpy as np
from numba import njit

from weavecolor.optics.cell.rays import _distance


@njit(error_model="numpy")
def _distances(yarns, points, out, index):
    for n in range(out.size):
        u, v, z = points[0, n], points[1, n], points[2, n]
        out[n], index[n] = _distance(yarns[0], yarns[1], yarns[2], u, v, z)


def distances(yarns, u, v, z):
    """Distance to ``yarns``, a system, and yarn index of points, (n,) each, as ``System.gauge``
    gives them, read from the table."""
    points = np.asarray([u, v, z], np.float32)
    out, index = np.empty((2, points.shape[1]), np.float32)
    _distances(yarns.offsets, points, out, index)
    return out, index
