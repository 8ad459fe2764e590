"""Straight lines through the periodic cell, and the outlines of yarns that they meet.

Knows yarns as solid bodies; knows nothing of light or colour.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell import paths
from weavecolor.optics.cell.filaments import FilamentCell, Strand, Traced, at_most_one, prepared
from weavecolor.textile.cloth import Construction

_EACH = 8192  # lines at once: what they leave stays near the processor


@lru_cache(maxsize=16)
def _outlines(c: Construction) -> Traced:
    warp, weft = Strand(c.warp_width, c.warp_height), Strand(c.weft_width, c.weft_height)
    cell = FilamentCell(c.lift, warp, weft, c.warp_spacing, c.weft_spacing, *c.swings)
    return prepared(cell, outline=True)


def _left(
    construction: Construction, origin: NDArray[Any], toward: NDArray[Any], what: int
) -> tuple[NDArray[np.bool_], NDArray[np.intp], NDArray[Any]]:
    """Which of the rays come to the cloth at all, (n,); what they leave where ``what`` of them is
    followed, (m, paths.LEAF), starts being on the cloth's faces; and which ray each is of, (m,)."""
    cell = _outlines(construction)
    start = np.asarray(origin, float)
    way = np.broadcast_to(np.asarray(toward, float), start.shape)
    comes = way[2] * start[2] < 0.0
    which = np.flatnonzero(comes)
    found, whose = [], []
    for n in range(0, max(which.size, 1), _EACH):
        own = which[n : n + _EACH]
        (x, y, z), (dx, dy, dz) = start[:, own], way[:, own]
        lead = (np.copysign(cell.top, -dz) - z) / dz
        starts = np.stack([x + lead * dx, y + lead * dy, dx, dy, dz], axis=1)
        found.append(at_most_one(cell, starts, what))
        whose.append(own[found[-1][:, 0].astype(np.intp)])
    return comes, np.concatenate(found), np.concatenate(whose)


def blocked(
    construction: Construction, origin: NDArray[Any], toward: NDArray[Any]
) -> NDArray[np.bool_]:
    """Whether each ray meets any yarn of ``construction``, (n,). ``origin`` (3, n) mm, above or
    below the cloth, ``toward`` (3, n) or (3, 1) unit."""
    shut, _, free = _left(construction, origin, toward, paths.NOTHING)
    shut[free] = False
    return shut


def first_met(
    construction: Construction, origin: NDArray[Any], toward: NDArray[Any]
) -> NDArray[Any]:
    """Heights (m,), mm above the mid-plane, where those rays that meet a yarn first meet one;
    ``construction``, ``origin`` and ``toward`` as for :func:`blocked`."""
    _, met, whose = _left(construction, origin, toward, paths.MET)
    met, whose = met[met[:, 11] >= 0.0], whose[met[:, 11] >= 0.0]
    rise = np.broadcast_to(np.asarray(toward, float), np.shape(origin))[2, whose]
    return np.asarray(met[:, 10] * rise - np.copysign(_outlines(construction).top, rise))
