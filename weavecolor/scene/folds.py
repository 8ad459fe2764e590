"""A place as cloth meets it that hangs in folds.

Knows how the parts of hung cloth lie to the eye; knows nothing of optics or colour.

Folds turn every way about the plumb line. What an eye sees of an upright cylinder is spread evenly
over the sine of the turn from it (each strip by its projected area), and so is what it sees of a
pleat or a fold, of which a cylinder is the plainest; cloth stands out a little towards the hem, and
here and there falls back. Widths and tilts are by judgement (common practice, no source); the
shapes that hang by physics agree within some degrees (``tests/test_folds.py``).
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from weavecolor.errors import InputError
from weavecolor.scene.places import GRAZING_DEG
from weavecolor.scene.scene import Scene, toward

#: Parts of folds, each as large to the eye.
PARTS = 16
#: Mean and standard deviation of how far they face up, degrees.
TILT_DEG, TILTS_DEG = 3.0, 8.0
#: How the name of a place ends as such cloth meets it.
IN_FOLDS = ", in folds"


def hung(place: Scene) -> Scene:
    """The place as cloth meets it that hangs in folds: what is seen is the mean of its parts.

    Parameters
    ----------
    place : Scene
        As cloth meets it that is held flat.

    Returns
    -------
    Scene
        With :data:`PARTS` views, each with the same share.

    Raises
    ------
    InputError
        Where a light comes from behind, which shines through cloth that is held flat.

    Examples
    --------
    >>> folded = hung(window)
    >>> folded.name, len(folded.views)
    ('window at the side, in folds', 16)
    """
    if place.behind:
        raise InputError(
            f"{place.name} lights cloth from behind, where it is held flat; ask without folds"
        )
    right, _, ahead = toward(place.view_zenith_deg, place.view_azimuth_deg)
    eye = float(np.arctan2(right, ahead))
    views = tuple(_turned(place, eye + turn, tilt) for turn, tilt in _faces())
    return replace(place, name=f"{place.name}{IN_FOLDS}", views=views)


@lru_cache(maxsize=1)
def _faces() -> tuple[tuple[float, float], ...]:
    """How far each part faces to the side and up, radians: an evenly spread set of pairs (J. M.
    Hammersley, Ann. N. Y. Acad. Sci. 86 (1960) 844; from memory), sines of turns evenly, tilts
    normally."""
    place = np.arange(PARTS)
    bits = place[:, None] >> np.arange(PARTS.bit_length() - 1) & 1
    order = bits @ (0.5 * PARTS / 2.0 ** np.arange(bits.shape[1]))
    tilts = [NormalDist(TILT_DEG, TILTS_DEG).inv_cdf((one + 0.5) / PARTS) for one in order]
    turns = np.arcsin((2.0 * place + 1.0) / PARTS - 1.0)
    return tuple(zip(turns.tolist(), np.radians(tilts).tolist(), strict=True))


def _turned(place: Scene, turn: float, tilt: float) -> Scene:
    """The place about cloth that faces ``turn`` to the right and ``tilt`` up, radians."""
    level = np.array([np.sin(turn), 0.0, np.cos(turn)])
    up = np.array([0.0, 1.0, 0.0])
    normal = np.cos(tilt) * level + np.sin(tilt) * up
    down = np.sin(tilt) * level - np.cos(tilt) * up
    right = np.cross(-down, normal)

    def seen(zenith_deg: float, azimuth_deg: float) -> tuple[float, float]:
        way = np.array(toward(zenith_deg, azimuth_deg))
        around = np.degrees(np.arctan2(way @ right, way @ down)) % 360.0
        return float(np.degrees(np.arccos(np.clip(way @ normal, -1.0, 1.0)))), float(around)

    lights = []
    for light in place.lights:
        zenith, azimuth = seen(light.zenith_deg, light.azimuth_deg)
        lights.append(replace(light, zenith_deg=zenith, azimuth_deg=azimuth))
    zenith, azimuth = seen(place.view_zenith_deg, place.view_azimuth_deg)
    return replace(
        place,
        lights=tuple(lights),
        view_zenith_deg=min(zenith, GRAZING_DEG),
        view_azimuth_deg=azimuth,
        share=1.0 / PARTS,
    )
