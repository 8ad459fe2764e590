"""Yarns of the unit cell as swept elliptical tubes on crimped axes.

Knows where yarn surfaces are; knows nothing of light or colour.

Frame: x across the warp, y along the warp, z out of the face. End ``i`` lies at x = i p1, pick
``j`` at y = j p2. At a crossing the axes stand (h1 + h2)/2 apart, so the yarns touch; between two
crossings an axis goes by a half cosine (plain weave: a sinusoid), and over a float it stays level.
Sections are perpendicular to the axis. Geometry after F. T. Peirce, J. Text. Inst. 28 (1937) T45,
with the sinusoidal axis usual for open cloth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.textile.cloth import Construction
from weavecolor.textile.weaves import half_turn, translations

Array = NDArray[np.float64]
WARP, WEFT = 0, 1
#: With more distinct crossings than this, they are looked at by chance.
MOST_APART = 16
_ALONG, _HIGH = 48, 49  # the table of offsets: places between crossings, and heights


@dataclass(frozen=True, eq=False)
class System:
    """One yarn system, in its own frame: ``u`` along the yarn, ``v`` across it, z up.

    ``middle`` and ``swing`` (yarns, crossings), mm: between crossing k and k + 1 the axis height
    is middle + swing cos(pi f), f the fraction of the way.
    """

    spacing: float  # between neighbouring yarns of this system, mm
    pitch: float  # between crossings along the yarn, mm
    half_width: float
    half_height: float
    middle: NDArray[np.float32]
    swing: NDArray[np.float32]

    def _row(self, number: NDArray[Any]) -> NDArray[Any]:
        """Where the axis table of each yarn starts; whole numbers kept as floats, which are
        faster to fold into the repeat than integers."""
        yarns, crossings = self.middle.shape
        kind = number.dtype.type
        repeats = np.floor((number + kind(0.5)) * kind(1.0 / yarns))  # half: clear of rounding
        return np.asarray((number - repeats * kind(yarns)) * kind(crossings))

    def _stretch(
        self, row: NDArray[Any], u: NDArray[Any]
    ) -> tuple[NDArray[np.int32], NDArray[Any]]:
        """Where the tables of yarns that start at ``row`` tell of ``u``: the entry of the crossing
        before it, and the fraction of the way to the next."""
        kind = u.dtype.type
        crossings = self.middle.shape[1]
        k = u * kind(1.0 / self.pitch)
        cell = np.floor(k)
        k -= cell
        cell -= np.floor((cell + kind(0.5)) * kind(1.0 / crossings)) * kind(crossings)
        cell += row
        return cell.astype(np.int32), k

    def _axis(
        self, row: NDArray[Any], u: NDArray[Any]
    ) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
        """Axis height, swing and phase at ``u`` on the yarns whose tables start at ``row``."""
        index, phase = self._stretch(row, u)
        phase *= u.dtype.type(np.pi)
        swing = self.swing.ravel().take(index, mode="clip")
        height = swing * np.cos(phase)
        if self._level:
            return height, swing, phase
        return self.middle.ravel().take(index, mode="clip") + height, swing, phase

    @cached_property
    def reach(self) -> float:
        """Farthest that any of its yarns comes from the mid-plane, mm."""
        return float(np.max(np.abs(self.middle) + np.abs(self.swing))) + self.half_height

    @cached_property
    def _level(self) -> bool:
        """Whether every yarn swings about the mid-plane (plain weave)."""
        return not self.middle.any()

    @cached_property
    def kinds(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """For each yarn of the repeat, which of the different yarns it is, counted from 0 as they
        first occur, and by how many crossings it runs ahead of that one."""
        crossings = self.middle.shape[1]
        course = np.stack([self.middle, self.swing], axis=-1).reshape(-1, 2)
        codes = np.unique(course, axis=0, return_inverse=True)[1].reshape(self.middle.shape)
        turns = (np.arange(crossings) + np.arange(crossings)[:, None]) % crossings
        which, ahead = (np.zeros(len(codes), np.intp) for _ in range(2))
        known: dict[bytes, tuple[int, int]] = {}
        for yarn, path in enumerate(codes.astype(np.uint8)):
            turned = path[turns]  # the path begun at each crossing; the least stands for all
            least = int(np.lexsort(turned.T[::-1])[0])
            kind, first = known.setdefault(turned[least].tobytes(), (len(known), least))
            which[yarn], ahead[yarn] = kind, (first - least) % crossings
        return which, ahead

    @cached_property
    def offsets(self) -> tuple[tuple[np.float32, ...], NDArray[np.int32], NDArray[np.float32]]:
        """Signed distance from a yarn's axis in its own upright plane, tabulated for ``rays``.

        Numbers that a place is found by: spacing and its inverse, crossings in 1 mm, yarns of the
        repeat and their inverse, crossings of the repeat and their inverse, how far from the
        mid-plane the table reaches, mm, steps of height in 1 mm, steps along, the highest step,
        half width and half height. Where in the table each stretch between two crossings starts, by
        yarn and crossing; and the table by stretch, place along and height. A stretch's neighbours
        count, so stretches that have the same ones share a part.
        """
        yarns, crossings = self.middle.shape
        course = np.stack([self.middle, self.swing], axis=-1)
        near = np.concatenate([np.roll(course, k, axis=1) for k in (1, 0, -1)], axis=-1)
        _, first, which = np.unique(
            near.reshape(-1, 6), axis=0, return_index=True, return_inverse=True
        )
        limit = 1.5 * self.reach
        yarn, crossing = np.divmod(first, crossings)
        along = (crossing[:, None] + np.arange(_ALONG + 1) / _ALONG) * self.pitch
        along[:, -1] -= 1e-9 * self.pitch  # still on this stretch
        height = np.linspace(-limit, limit, _HIGH)
        u, z = np.broadcast_arrays(along[:, :, None], height)
        v = np.broadcast_to(yarn[:, None, None] * self.spacing, u.shape)
        up = self.gauge(u, v, z)[4].astype(np.float32)
        start = (which.reshape(-1) * ((_ALONG + 1) * _HIGH)).astype(np.int32)
        numbers = (
            self.spacing, 1.0 / self.spacing, 1.0 / self.pitch, yarns, 1.0 / yarns, crossings,
            1.0 / crossings, limit, (_HIGH - 1) / (2.0 * limit), _ALONG, _HIGH - 1.001,
            self.half_width, self.half_height,
        )  # fmt: skip
        return tuple(np.float32(one) for one in numbers), start, up.ravel()

    def _from_axis(self, across: NDArray[Any], up: NDArray[Any]) -> NDArray[Any]:
        """Distance to the surface of points at these offsets in the section, negative inside."""
        kind = across.dtype.type
        a, b = kind(self.half_width), kind(self.half_height)
        if self.half_width == self.half_height:
            return np.asarray(np.sqrt(across * across + up * up) - a)
        p, q = across / a, up / b
        r2 = p * p + q * q
        p /= a
        q /= b
        gradient = np.sqrt(p * p + q * q) + kind(1e-9)
        return np.asarray((r2 - np.sqrt(r2)) / gradient)

    def gauge(self, u: NDArray[Any], v: NDArray[Any], z: NDArray[Any]) -> tuple[NDArray[Any], ...]:
        """Distance from points to the nearest yarn by index, and where on it.

        ``u``, ``v``, ``z``: places in the system's frame, mm, of one shape and kind of float.
        Returns (distance mm, negative inside; yarn index; axis coordinate u; offset across; offset
        along the section's other axis).
        """
        kind = u.dtype.type
        number = np.rint(v * kind(1.0 / self.spacing))
        across = v - number * kind(self.spacing)
        row = self._row(number)
        rate = kind(np.pi / self.pitch)
        reach = kind(0.5 * self.pitch)
        foot = u
        for _ in range(2):  # Newton steps to the foot of the perpendicular on the axis
            h, swing, phase = self._axis(row, foot)
            above = z - h
            slope = swing * np.sin(phase)
            slope *= -rate
            bend = swing * np.cos(phase)
            bend *= above
            bend *= rate * rate
            bend += slope * slope
            bend += kind(1.0)
            shift = above * slope
            shift += u - foot
            shift /= np.maximum(bend, kind(0.5), out=bend)
            np.minimum(shift, reach, out=shift)
            np.maximum(shift, -reach, out=shift)
            foot = foot + shift
        above = z - self._axis(row, foot)[0]
        along = u - foot
        up = np.copysign(np.sqrt(above * above + along * along), above)
        return self._from_axis(across, up), number, foot, across, up


@dataclass(frozen=True, eq=False)
class Tubes:
    """Both systems, the cell's repeat and its translation symmetry.

    ``orbit`` (picks, ends): which of the distinct crossings each crossing is a copy of.
    ``distinct`` (n, 2): pick and end of one crossing per orbit. ``half_turn``:
    whether half a turn leaves the weave as it was; not asked where there are many crossings.
    """

    systems: tuple[System, System]
    spacing: tuple[float, float]  # p1 in x, p2 in y, mm
    top: float  # highest point of any yarn above the mid-plane, mm; the lowest is -bottom
    bottom: float
    orbit: NDArray[np.int32]
    distinct: NDArray[np.int32]
    half_turn: bool = False

    @property
    def many(self) -> bool:
        """Whether there are so many distinct crossings that they are drawn from by chance."""
        return _many(self.distinct)

    @property
    def area(self) -> float:
        """Cloth area that the distinct crossings stand for, mm2."""
        return self.spacing[0] * self.spacing[1] * len(self.distinct)

    @property
    def pitch(self) -> float:
        """Mean yarn spacing, mm: the length by which gaps between layers are judged."""
        return float(np.sqrt(self.spacing[0] * self.spacing[1]))


def _axis(signs: NDArray[Any], amplitude: float) -> tuple[NDArray[Any], NDArray[Any]]:
    following = np.roll(signs, -1, axis=1)
    return (
        (0.5 * amplitude * (signs + following)).astype(np.float32),
        (0.5 * amplitude * (signs - following)).astype(np.float32),
    )


def orbits(lift: tuple[tuple[int, ...], ...]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Crossings that are copies of one another under the shifts that leave the plan unchanged."""
    plan = np.array(lift)
    picks, ends = plan.shape
    orbit = np.full((picks, ends), -1, np.int32)
    shifts = translations(lift)
    distinct: list[tuple[int, int]] = []
    for pick in range(picks):
        for end in range(ends):
            if orbit[pick, end] < 0:
                for dp, de in shifts:
                    orbit[(pick + dp) % picks, (end + de) % ends] = len(distinct)
                distinct.append((pick, end))
    return orbit, np.array(distinct, np.int32)


def _many(distinct: NDArray[Any]) -> bool:
    return len(distinct) > MOST_APART


@lru_cache(maxsize=64)
def tubes(construction: Construction) -> Tubes:
    """The yarns of one construction."""
    c = construction
    up = np.where(np.array(c.lift), 1.0, -1.0)  # picks x ends
    drop = 0.5 * (c.warp_height + c.weft_height)
    a1, a2 = drop * c.warp_share, drop * (1.0 - c.warp_share)
    warp = System(
        c.warp_spacing, c.weft_spacing, c.warp_width / 2, c.warp_height / 2, *_axis(up.T, a1)
    )
    weft = System(
        c.weft_spacing, c.warp_spacing, c.weft_width / 2, c.weft_height / 2, *_axis(-up, a2)
    )
    reach = max(warp.reach, weft.reach)
    orbit, distinct = orbits(c.lift)
    turned = not _many(distinct) and half_turn(c.lift) is not None
    spacing = (c.warp_spacing, c.weft_spacing)
    return Tubes((warp, weft), spacing, reach, reach, orbit, distinct, turned)
