"""The tables of a laid stack, read at many orientations."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from weavecolor.picture.lookup import key_at, sight_at
from weavecolor.picture.tables import Tables

Array = NDArray[np.float64]


@njit(cache=True)
def _many(key, room, glow, round_, normal, warp, side, out):  # pragma: no cover - compiled
    four = np.empty(4)
    for i in range(normal.shape[0]):
        n, w, s = normal[i], warp[i], side[i]
        key_at(key, s, round_, n[0], n[1], n[2], w[0], w[1], w[2], four)
        out[i, :3] = four[:3]
        sight_at(room, s, n[0], n[1], n[2], w[0], w[1], w[2], four)
        out[i, 3:6] = four[:3]
        out[i, 9] = four[3]
        sight_at(glow, s, n[0], n[1], n[2], w[0], w[1], w[2], four)
        out[i, 6:9] = four[:3]


def looked_up(tables: Tables, normal: Array, warp: Array, side: NDArray[np.intp]) -> Array:
    """What the tables hold for n orientations.

    Parameters
    ----------
    tables : Tables
    normal, warp : ndarray, shape (n, 3)
        Unit vectors in the view's frame, at right angles; the normal faces the eye (z > 0).
    side : ndarray of int, shape (n,)
        0 where the eye sees the face, 1 the back.

    Returns
    -------
    ndarray, shape (n, 10)
        Linear RGB from the lights, from the room's light on the eye's side, from that on the other
        side, and the unscattered share.
    """
    out = np.empty((len(normal), 10))
    _many(
        tables.key.astype(np.float32), tables.room.astype(np.float32),
        tables.glow.astype(np.float32), np.pi if tables.half_turn else 2.0 * np.pi,
        np.asarray(normal, float), np.asarray(warp, float), np.asarray(side, np.int64), out,
    )  # fmt: skip
    return out
