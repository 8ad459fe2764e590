"""How the colour of a stack changes with angle: readings at several angles, and shot cloth turned.

Knows directions of light and sight; knows nothing of pictures. The geometries are those of ASTM
E2194 (light at 45 degrees, seen at 15, 45 and 110 degrees from the specular direction). Instruments
measure paint with them; woven cloth also changes when it is turned in its own plane, so each
reading belongs to an azimuth of the light from the straight grain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.colorimetry import ciede2000, lch_from_lab, readings_lab
from weavecolor.colour.lights import light_spectrum
from weavecolor.errors import InputError
from weavecolor.optics.appearance import brf
from weavecolor.optics.poses import Direction, poses
from weavecolor.optics.stack import Stack
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]

LIGHT_DEG = 45.0
#: Degrees from the specular direction, positive towards the normal.
ASPECULAR_DEG = (15.0, 45.0, 110.0)
#: Below this chroma a hue angle says nothing.
LEAST_CHROMA = 2.0
MOST_ANGLES = 720


@dataclass(frozen=True, eq=False)
class MultiAngle:
    """Readings of one azimuth of the light: ``Lab`` (3, 3) at 15, 45, 110 degrees from specular,
    and the ``flop_index`` of their L*."""

    azimuth_deg: float
    Lab: Array
    flop_index: float


def flop_index(L15: float, L45: float, L110: float) -> float:
    """Change of lightness with angle, 2.69 (L15 - L110)^1.11 / L45^0.86.

    0: none; strong metallic paint 15 to 17. The formula is for cloth that is lighter near the
    specular direction; where it is darker, the index is negative by the same formula (a choice
    made here). Raises InputError for a lightness below 0 or an L45 of 0.

    Examples
    --------
    >>> round(flop_index(80.0, 40.0, 20.0), 2)
    10.61
    """
    if min(L15, L45, L110) < 0 or L45 <= 0:
        raise InputError("a flop index takes lightnesses from 0, that at 45 degrees above 0")
    step = L15 - L110
    return float(np.copysign(2.69 * abs(step) ** 1.11 / L45**0.86, step)) if step else 0.0


def view_of(aspecular_deg: float, azimuth_deg: float) -> Direction:
    """Where to look from: (zenith, azimuth), light from zenith 45 at ``azimuth_deg``.

    Examples
    --------
    >>> view_of(45.0, 0.0)
    (0.0, 180.0)
    """
    tilt = LIGHT_DEG - aspecular_deg  # beyond the normal, away from the light
    azimuth = azimuth_deg + (180.0 if tilt >= 0 else 0.0)
    return abs(tilt), azimuth % 360.0


def multiangle(
    stack: Stack,
    azimuths_deg: Sequence[float] = (0.0, 90.0),
    *,
    light: str = "D65",
    observer: str = "10",
) -> list[MultiAngle]:
    """ASTM E2194 readings with the light from each azimuth (0: along the garment, 90: across).

    Lab is relative to the light. Raises InputError as ``brf``, and for an unknown light.

    Parameters
    ----------
    stack : Stack
    azimuths_deg : sequence of float
        Degrees from "down the garment".
    light : str
        As in ``lights``.
    observer : {"2", "10"}

    Examples
    --------
    >>> len(multiangle(single, azimuths_deg=(0.0,)))
    1
    """
    falls = light_spectrum(light)
    out = []
    for azimuth in azimuths_deg:
        azimuth = float(azimuth)
        views = [view_of(a, azimuth) for a in ASPECULAR_DEG]
        factors = brf(stack, [(LIGHT_DEG, azimuth % 360.0)], views)[0]
        Lab = readings_lab(factors * falls, falls, observer=observer)
        L = np.maximum(Lab[:, 0], 0.0)
        index = flop_index(*(float(v) for v in L)) if L[1] > 0 else 0.0
        out.append(MultiAngle(azimuth, Lab, index))
    return out


def turned_radiance(
    stack: Stack, scene: Scene, angles_deg: ArrayLike
) -> Array:
    """Radiance times pi (n, 41) to the viewer while the stack turns in its plane.

    ``angles_deg`` (n,): anticlockwise as the viewer sees it; 0 is ``appearance``. All layers turn
    together; lights and viewer stay. Raises InputError as ``appearance``.

    Parameters
    ----------
    stack : Stack
    scene : Scene
    angles_deg : array_like, shape (n,)
        Degrees.

    Examples
    --------
    >>> turned_radiance(single, window, [0.0, 90.0]).shape
    (2, 41)
    """
    angles = np.atleast_1d(np.asarray(angles_deg, float))
    if angles.ndim != 1 or not 1 <= angles.size <= MOST_ANGLES or not np.isfinite(angles).all():
        raise InputError(f"angles are a list of 1 to {MOST_ANGLES} numbers of degrees")

    def met(direction: Direction, turn: float) -> Direction:
        return direction[0], round((direction[1] - turn) % 360.0, 9) % 360.0

    view = (scene.view_zenith_deg, scene.view_azimuth_deg)
    sights = [view if view[0] == 0 else met(view, a) for a in angles]
    front: dict[tuple[int, int], Direction] = {}
    back: dict[tuple[int, int], Direction] = {}
    for k, x in enumerate(scene.lights):
        for n, a in enumerate(angles):
            if x.zenith_deg < 90.0:
                front[n, k] = met((x.zenith_deg, x.azimuth_deg), a)
            else:
                back[n, k] = met((180.0 - x.zenith_deg, x.azimuth_deg + 180.0), a)
    found = poses(stack, sights, front, back, len(scene.lights))
    total = found.even * scene.diffuse
    for k, x in enumerate(scene.lights):
        got = found.factors[:, k] + found.behind[:, k]
        total = total + got * x.on_cloth
    return np.maximum(total, 0.0)


def turn(
    stack: Stack, scene: Scene, angles_deg: ArrayLike, *, observer: str = "2"
) -> Array:
    """Lab (n, 3) while the cloth turns; arguments as :func:`turned_radiance`.

    Parameters
    ----------
    stack : Stack
    scene : Scene
    angles_deg : array_like, shape (n,)
        Degrees.
    observer : {"2", "10"}

    Examples
    --------
    >>> turn(single, window, [0.0, 90.0]).shape
    (2, 3)
    """
    radiance = turned_radiance(stack, scene, angles_deg)
    return readings_lab(radiance, illumination(scene), scene.white, observer)


@dataclass(frozen=True)
class Travel:
    """How far a colour goes while the cloth turns.

    ``lightness``: greatest less least L*. ``hue_deg``: the arc of hues passed through, 0-360,
    None where the colour is too grey to have a hue. ``colour``: the greatest CIEDE2000 between
    any two angles. ``between``: those two angles, by their number.
    """

    lightness: float
    hue_deg: float | None
    colour: float
    between: tuple[int, int]


def travel(Lab: ArrayLike) -> Travel:
    """The travel of colours (n, 3) met on a full turn.

    Examples
    --------
    >>> travel([[50.0, 0.0, 0.0], [50.0, 0.0, 0.0]]).colour
    0.0
    """
    Lab = np.asarray(Lab, float)
    if Lab.ndim != 2 or Lab.shape[1] != 3 or len(Lab) < 2:
        raise InputError("a travel needs two or more Lab colours")
    pairs = ciede2000(Lab[:, None], Lab[None])
    a, b = np.unravel_index(int(np.argmax(pairs)), pairs.shape)
    LCh = lch_from_lab(Lab)
    hues = np.sort(LCh[LCh[:, 1] >= LEAST_CHROMA, 2])
    hue = None
    if hues.size >= 2:
        # all the circle but its widest stretch without a hue
        gaps = np.diff(np.concatenate([hues, hues[:1] + 360.0]))
        hue = float(360.0 - gaps.max())
    return Travel(float(np.ptp(Lab[:, 0])), hue, float(pairs[a, b]), (int(a), int(b)))
