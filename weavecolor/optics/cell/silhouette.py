"""Yarns as a parallel beam sees them: bands between two outlines, in closed form.

Along one direction every yarn is a band across the mid-plane, and a line along that direction
meets the yarn where its foot lies inside the band: thousands of lines are answered at once, where
``rays`` follows each step by step. Outlines lie where the surface is seen edge on
(M. P. do Carmo, Differential Geometry of Curves and Surfaces, 1976, on the Gauss map). Knows where
yarns stand in the way; knows nothing of light or colour.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell.nodes import Vector
from weavecolor.optics.cell.tubes import WARP, System, Tubes

Array = NDArray[np.float64]

_OUTLINE = 48  # points of an outline between two crossings; fewer on long repeats
_TABLE, _FEWEST = 256, 8  # places between two crossings to look bands up at; on long repeats
_MOST = 1 << 14  # places in all for that, and for silhouettes to be kept


@dataclass(frozen=True, eq=False)
class Bands:
    """One yarn system along one direction.

    ``table`` (4, kinds * places) float32 over the foot's place along the yarn: lower edge of the
    band from the yarn's line, mm, and distance from that edge over sideways distance; the same of
    the upper edge.
    ``reach``: the farthest that any edge lies from the yarn's line, mm.
    """

    system: System
    reach: float
    table: NDArray[np.float32]
    per_crossing: int

    def places(self, yarn: NDArray[Any], along: NDArray[Any]) -> NDArray[np.intp]:
        """Where in the table each foot stands for a yarn."""
        first, shift = self.system.kinds
        yarns, crossings = self.system.middle.shape
        which = yarn.astype(np.intp) % yarns
        size = crossings * self.per_crossing
        step = np.floor(along * along.dtype.type(self.per_crossing / self.system.pitch))
        step = step.astype(np.intp) + shift[which] * self.per_crossing
        return np.asarray(first[which] * size + step % size)


@lru_cache(maxsize=64)
def _course(system: System) -> tuple[Array, Array, Array, Array]:
    """Even steps along a yarn (steps,), mm; and there, for each kind of yarn, its axis's height,
    and cosine and sine of its slope (kinds, steps)."""
    kinds = np.unique(system.kinds[0], return_index=True)[1]
    points = min(_OUTLINE, 2 * _per_crossing(system))
    phase = np.arange(points) * (np.pi / points)
    middle, swing = (t[kinds].astype(float)[:, :, None] for t in (system.middle, system.swing))
    height = (middle + swing * np.cos(phase)).reshape(kinds.size, -1)
    slope = (-(np.pi / system.pitch) * swing * np.sin(phase)).reshape(kinds.size, -1)
    cosine = 1.0 / np.sqrt(1.0 + slope * slope)
    along = np.arange(height.shape[1]) * (system.pitch / points)
    return along, height, cosine, slope * cosine


@lru_cache(maxsize=64)
def _stretches(system: System) -> int:
    """How many different ways from one crossing to the next there may be."""
    return (int(system.kinds[0].max()) + 1) * int(system.middle.shape[1])


def _per_crossing(system: System) -> int:
    return max(min(_TABLE, _MOST // _stretches(system)), _FEWEST)


def bands(system: System, across: float, along: float) -> Bands:
    """The bands of a ``system`` along a direction of the slopes ``across`` and ``along`` its yarns
    (way over height)."""
    a, b = system.half_width, system.half_height
    u, height, c, s = _course(system)
    kinds, steps = height.shape
    steep = c - along * s  # the axis against the beam
    root = np.sqrt((a * steep) ** 2 + (b * across) ** 2) + 1e-12 * a
    aside = b * b * across * (s + along * c) / root
    half = (a * a * steep + b * b * across * across * c) / root
    middle, leaning = u - along * height, -across * height
    scale = np.abs(steep) / np.hypot(steep, across)  # across the outline's tangent plane
    # at the feet of the lower outline and the upper one: two values each, as one complex number,
    # which is looked up in one go
    feet = np.empty((2, kinds, steps + 1))
    feet[0, :, :-1], feet[1, :, :-1] = middle - aside, middle + aside
    known = np.empty(feet.shape, complex)
    known.real[:, :, :-1] = leaning - half, leaning + half
    known.imag[:, :, :-1] = scale
    crossings = system.middle.shape[1]
    period = crossings * system.pitch
    feet[..., -1], known[..., -1] = feet[..., 0] + period, known[..., 0]
    per = _per_crossing(system)
    places = (np.arange(crossings * per) + 0.5) * (system.pitch / per)
    table = np.zeros((2, 2, kinds, places.size), np.float32)
    if (feet[..., 1:] > feet[..., :-1]).all():
        for which, kind in np.ndindex(2, kinds):
            first = feet[which, kind, 0]
            at = first + (places - first) % period
            found = np.interp(at, feet[which, kind], known[which, kind])
            table[which, 0, kind], table[which, 1, kind] = found.real, found.imag
    else:
        table[:] = _outermost(feet, known, places.size, system.pitch / per)
    reach = float(np.abs(table[:, 0]).max())
    return Bands(system, reach, table.reshape(4, -1), per)


def _outermost(feet: Array, known: NDArray[Any], places: int, step: float) -> Array:
    """Lowest and highest edge at the middle of each place, and their scales (2, 2, kinds, places),
    of outlines that fold over themselves: ``feet`` (2, kinds, n) over one period, ``known``
    (2, kinds, n) edge + i scale."""
    kinds = feet.shape[1]
    begin, end = (feet[..., :-1].ravel() / step - 0.5, feet[..., 1:].ravel() / step - 0.5)
    # every middle that lies on a stretch of outline, and what the outline is there
    first, last = np.ceil(np.minimum(begin, end)), np.ceil(np.maximum(begin, end))
    count = (last - first).astype(np.intp)
    stretch = np.repeat(np.arange(count.size), count)
    at = first[stretch] + np.arange(stretch.size) - np.repeat(np.cumsum(count) - count, count)
    share = (at - begin[stretch]) / (end[stretch] - begin[stretch])
    here, there = known[..., :-1].ravel()[stretch], known[..., 1:].ravel()[stretch]
    found = here + share * (there - here)
    kind = stretch // (feet.shape[2] - 1) % kinds
    place = kind * places + at.astype(np.intp) % places
    order = np.lexsort((found.real, place))
    place, found = place[order], found[order]
    out = np.empty((2, 2, kinds * places))
    for side, ends in ((0, np.diff(place, prepend=-1) > 0), (1, np.diff(place, append=-1) != 0)):
        out[side, 0, place[ends]], out[side, 1, place[ends]] = found.real[ends], found.imag[ends]
    return out.reshape(2, 2, kinds, places)


@dataclass(frozen=True, eq=False)
class Silhouette:
    """Both systems of a cell along one unit direction."""

    vector: Vector
    systems: tuple[Bands, Bands]

    def _covers(
        self, point: NDArray[Any]
    ) -> Iterator[tuple[Bands, NDArray[Any], NDArray[Any], NDArray[Any]]]:
        """Every yarn that may cover the foot of a point (3, n): its system's bands, its index, and
        how far across from it and along it the foot stands, mm (n,)."""
        kind = point.dtype.type
        x, y, z = self.vector
        feet = (point[0] - point[2] * kind(x / z), point[1] - point[2] * kind(y / z))
        for number, one in enumerate(self.systems):
            across, along = feet if number == WARP else feet[::-1]
            nearest = np.rint(across * kind(1.0 / one.system.spacing))
            most = int(one.reach / one.system.spacing + 0.5)
            for offset in range(-most, most + 1):
                yarn = nearest + kind(offset)
                yield one, yarn, across - yarn * kind(one.system.spacing), along

    def open_share(self, foot: NDArray[Any], footprint: float) -> NDArray[np.float32]:
        """How much of each thin pencil of light passes through the cell; pencils go through
        ``foot`` (3, n) in the mid-plane, ``footprint`` mm wide. An edge that cuts a pencil counts
        by the part left open, so that openings are measured far more finely than the pencils are
        spaced."""
        foot = np.asarray(foot, np.float32)
        half = np.float32(0.5 * footprint)
        covered = np.zeros(foot.shape[1], np.float32)
        for one, yarn, way, along in self._covers(foot):
            low, low_scale, high, high_scale = one.table
            place = one.places(yarn, along)
            above = (way - low.take(place)) * low_scale.take(place)
            below = (high.take(place) - way) * high_scale.take(place)
            np.maximum(covered, np.minimum(above, half) + np.minimum(below, half), out=covered)
        return np.asarray(np.maximum(np.float32(1.0) - covered * np.float32(1.0 / footprint), 0.0))


def silhouette(geometry: Tubes, vector: Vector) -> Silhouette:
    """The cell seen along a unit direction (x, y, z), z not 0; kept unless the repeat is long."""
    long = any(_stretches(s) * _per_crossing(s) > _MOST for s in geometry.systems)
    return (_silhouette if long else _kept)(geometry, vector)


def _silhouette(geometry: Tubes, vector: Vector) -> Silhouette:
    x, y, z = vector
    warp, weft = geometry.systems
    return Silhouette(vector, (bands(warp, x / z, y / z), bands(weft, y / z, x / z)))


_kept = lru_cache(maxsize=96)(_silhouette)
