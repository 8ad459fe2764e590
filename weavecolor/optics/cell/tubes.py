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

    @cached_property
    def reach(self) -> float:
        """Farthest that any of its yarns comes from the mid-plane, mm."""
        return float(np.max(np.abs(self.middle) + np.abs(self.swing))) + self.half_height

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
            # the path begun at each crossing; the least stands for all
            turned = [begun.tobytes() for begun in path[turns]]
            least = min(range(crossings), key=turned.__getitem__)
            kind, first = known.setdefault(turned[least], (len(known), least))
            which[yarn], ahead[yarn] = kind, (first - least) % crossings
        return which, ahead


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
    a1, a2 = c.swings
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
