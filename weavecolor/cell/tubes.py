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
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from weavecolor.cloth import Construction
from weavecolor.weaves import translations

Array = NDArray[np.float64]
WARP, WEFT = 0, 1


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

    def height(self, yarn: NDArray, u: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        """Axis height and its first two derivatives along the yarn, mm, 1, 1/mm."""
        k = u / u.dtype.type(self.pitch)
        cell = np.floor(k)
        rate = u.dtype.type(np.pi / self.pitch)
        phase = (k - cell) * u.dtype.type(np.pi)
        yarns, crossings = self.middle.shape
        index = (yarn % yarns) * crossings + cell.astype(np.int32) % crossings
        swing = self.swing.ravel()[index]
        cosine = swing * np.cos(phase)
        return (
            self.middle.ravel()[index] + cosine,
            -rate * swing * np.sin(phase),
            -rate * rate * cosine,
        )

    def gauge(self, u: NDArray, v: NDArray, z: NDArray) -> tuple[NDArray, ...]:
        """Distance from points to the nearest yarn by index, and where on it.

        Returns (distance mm, negative inside; yarn index; axis coordinate u; offset across;
        offset along the section's other axis).
        """
        number = np.rint(v / v.dtype.type(self.spacing))
        yarn = number.astype(np.int32)
        across = v - number * v.dtype.type(self.spacing)
        h, slope, curl = self.height(yarn, u)
        above = z - h
        # one Newton step to the foot of the perpendicular on the axis
        shift = above * slope / np.maximum(1.0 + slope * slope - above * curl, np.float32(0.5))
        reach = u.dtype.type(0.5 * self.pitch)
        foot = u + np.clip(shift, -reach, reach)
        h, slope, _ = self.height(yarn, foot)
        above = z - h
        along = u - foot
        up = np.copysign(np.sqrt(above * above + along * along), above)
        a, b = v.dtype.type(self.half_width), v.dtype.type(self.half_height)
        if self.half_width == self.half_height:
            distance = np.sqrt(across * across + up * up) - a
        else:
            p, q = across / a, up / b
            r2 = p * p + q * q
            r = np.sqrt(r2)
            gradient = np.sqrt((p / a) ** 2 + (q / b) ** 2) + np.float32(1e-9)
            distance = (r2 - r) / gradient
        return distance, yarn, foot, across, up


@dataclass(frozen=True, eq=False)
class Tubes:
    """Both systems, the cell's repeat and its translation symmetry.

    ``orbit`` (picks, ends): which of the distinct crossings each crossing is a copy of.
    ``distinct`` (n, 2): pick and end of one crossing per orbit.
    """

    systems: tuple[System, System]
    spacing: tuple[float, float]  # p1 in x, p2 in y, mm
    top: float  # highest point of any yarn above the mid-plane, mm; the lowest is -bottom
    bottom: float
    orbit: NDArray[np.int32]
    distinct: NDArray[np.int32]

    @property
    def area(self) -> float:
        """Cloth area that the distinct crossings stand for, mm2."""
        return self.spacing[0] * self.spacing[1] * len(self.distinct)

    @property
    def pitch(self) -> float:
        """Mean yarn spacing, mm: the length by which gaps between layers are judged."""
        return float(np.sqrt(self.spacing[0] * self.spacing[1]))


def _axis(signs: NDArray, amplitude: float) -> tuple[NDArray, NDArray]:
    following = np.roll(signs, -1, axis=1)
    return (
        (0.5 * amplitude * (signs + following)).astype(np.float32),
        (0.5 * amplitude * (signs - following)).astype(np.float32),
    )


def orbits(lift: tuple[tuple[int, ...], ...]) -> tuple[NDArray, NDArray]:
    """Crossings that are copies of one another under the shifts that leave the plan unchanged."""
    plan = np.array(lift)
    picks, ends = plan.shape
    orbit = np.full((picks, ends), -1, np.int32)
    shifts = translations(lift)
    distinct = []
    for pick in range(picks):
        for end in range(ends):
            if orbit[pick, end] < 0:
                for dp, de in shifts:
                    orbit[(pick + dp) % picks, (end + de) % ends] = len(distinct)
                distinct.append((pick, end))
    return orbit, np.array(distinct, np.int32)


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
    reach = max(a1 + c.warp_height / 2, a2 + c.weft_height / 2)
    orbit, distinct = orbits(c.lift)
    return Tubes((warp, weft), (c.warp_spacing, c.weft_spacing), reach, reach, orbit, distinct)
