"""How the colour of a stack changes while it is turned in its own plane, as shot cloth is.

Knows directions of light and sight; knows nothing of pictures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.colorimetry import ciede2000, lch_from_lab, readings_lab
from weavecolor.errors import InputError
from weavecolor.optics.appearance import Way
from weavecolor.optics.poses import poses
from weavecolor.optics.stack import Stack
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]

#: Below this chroma a hue angle says nothing.
LEAST_CHROMA = 2.0
MOST_ANGLES = 720


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

    def met(way: Way, turn: float) -> Way:
        return way[0], round((way[1] - turn) % 360.0, 9) % 360.0, *way[2:]

    view = (scene.view_zenith_deg, scene.view_azimuth_deg)
    sights = [view if view[0] == 0 else met(view, a) for a in angles]
    lights = (*scene.in_front, *scene.behind)
    lit = {(n, k): met(x.way, a) for k, x in enumerate(lights) for n, a in enumerate(angles)}
    front = {place: way for place, way in lit.items() if place[1] < len(scene.in_front)}
    back = {place: way for place, way in lit.items() if place not in front}
    found = poses(stack, sights, front, back, len(lights))
    total = found.even * scene.diffuse
    for k, x in enumerate(lights):
        total = total + (found.factors[:, k] + found.behind[:, k]) * x.on_cloth
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
