"""Straight lines through the periodic cell, and the yarns or filaments that they meet.

Knows solid bodies; knows nothing of light or colour.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell import paths
from weavecolor.optics.cell.filaments import FilamentCell, Strand, Traced, at_most_one, prepared
from weavecolor.textile.cloth import Construction

_EACH = 2048  # lines at once: what they leave stays near the processor


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


_ready = lru_cache(maxsize=16)(prepared)


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
    shut = np.zeros(np.shape(origin)[1], np.bool_)
    for own, _, free in _parts(_ready(cell), origin, toward, paths.NOTHING):
        shut[own] = True
        shut[own[free[:, 0].astype(np.intp)]] = False
    return shut


def first_met(cell: FilamentCell, origin: NDArray[Any], toward: NDArray[Any]) -> NDArray[Any]:
    """Heights (m,), mm above the mid-plane, where those rays that meet anything of ``cell`` first
    do; ``origin`` and ``toward`` as for :func:`blocked`."""
    ready = _ready(cell)
    heights = [np.zeros(0)]
    for _, starts, left in _parts(ready, origin, toward, paths.MET):
        met = left[left[:, 11] >= 0.0]
        rise = starts[met[:, 0].astype(np.intp), 4]
        heights.append(met[:, 10] * rise - np.copysign(ready.top, rise))
    return np.concatenate(heights)
