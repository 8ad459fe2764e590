"""Reading the tables of a laid stack, compiled.

The drawing calls these at every point of the picture; the browser's shader does the same sums.
"""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, fastmath=True)
def key_at(key, side, round_, nx, ny, nz, wx, wy, wz, out):  # pragma: no cover - compiled
    """Linear RGB from the lights, to ``out`` (3,), of the table ``key`` on that ``side``, where the
    normal is (``nx``, ``ny``, ``nz``) and the warp (``wx``, ``wy``, ``wz``), unit vectors in the
    view's frame; ``round_``: radians that the turns span."""
    k = 1.0 / np.sqrt(1.0 + nz)
    last = key.shape[2] - 1
    # the eye is (0, 0, 1): along the warp, and along normal x warp
    x, y = wz * k, (nx * wy - ny * wx) * k
    s = (nx * wx + ny * wy) / (1.0 + nz) + wz
    psi = np.arctan2(wy - ny * s, wx - nx * s)
    turns = key.shape[1] - 1
    t = psi / round_
    whole = np.floor(t)
    if round_ < 4.0 and whole % 2.0 != 0.0:  # half a turn on
        x, y = -x, -y
    t = (t - whole) * turns
    x, y = (0.5 * x + 0.5) * last, (0.5 * y + 0.5) * last
    t0 = min(int(t), turns - 1)
    x0, y0 = min(int(x), last - 1), min(int(y), last - 1)
    ft, fx, fy = t - t0, x - x0, y - y0
    for c in range(3):
        total = 0.0
        for i in range(2):
            wt = ft if i else 1.0 - ft
            a = key[side, t0 + i, y0, x0, c] * (1.0 - fx) + key[side, t0 + i, y0, x0 + 1, c] * fx
            b = (
                key[side, t0 + i, y0 + 1, x0, c] * (1.0 - fx)
                + key[side, t0 + i, y0 + 1, x0 + 1, c] * fx
            )
            total += wt * (a * (1.0 - fy) + b * fy)
        out[c] = total


@njit(cache=True, fastmath=True)
def sight_at(table, side, nx, ny, nz, wx, wy, wz, out):  # pragma: no cover - compiled
    """The four values of a ``table`` of sights, to ``out`` (4,); ``side``, normal (``nx``, ``ny``,
    ``nz``) and warp (``wx``, ``wy``, ``wz``) as in :func:`key_at`."""
    k = 1.0 / np.sqrt(1.0 + nz)
    last = table.shape[1] - 1
    # the eye is (0, 0, 1): along the warp, and along normal x warp
    x = (0.5 * wz * k + 0.5) * last
    y = (0.5 * (nx * wy - ny * wx) * k + 0.5) * last
    x0, y0 = min(int(x), last - 1), min(int(y), last - 1)
    fx, fy = x - x0, y - y0
    for c in range(4):
        a = table[side, y0, x0, c] * (1.0 - fx) + table[side, y0, x0 + 1, c] * fx
        b = table[side, y0 + 1, x0, c] * (1.0 - fx) + table[side, y0 + 1, x0 + 1, c] * fx
        out[c] = a * (1.0 - fy) + b * fy
