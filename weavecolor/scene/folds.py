"""A place as cloth meets it that hangs in folds.

Knows how the parts of hung cloth lie to the eye; knows nothing of optics or colour.

Folds turn every way about the plumb line. What an eye sees of an upright cylinder is spread evenly
over the sine of the turn from it (each strip by its projected area), and so is what it sees of a
pleat or a fold, of which a cylinder is the plainest; cloth stands out a little towards the hem, and
here and there falls back. Widths and tilts are by judgement (common practice, no source); the
shapes that hang by physics agree within some degrees (``tests/test_folds.py``).

Folds shade one another: what part of the room and of each light arrives, by how far a part is
turned, is the mean of the shapes (``data/folds.npz``, made by ``swatches/shapes/parts.py``), of
cloth that lets nothing through; and they throw light on one another, as in pictures of hung cloth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.spectra import ByValue
from weavecolor.errors import InputError
from weavecolor.scene.places import GRAZING_DEG
from weavecolor.scene.scene import Light, Scene, toward

Array = NDArray[np.float64]

#: Parts of folds, each as large to the eye.
PARTS = 16
#: Mean and standard deviation of how far they face up, degrees.
TILT_DEG, TILTS_DEG = 3.0, 8.0
#: Between garments: standard deviation of how far they face up in the mean (degrees; the shapes lie
#: from -1 to 10, by 3.0), and of how many folds' worth they differ besides (with 8, such draws hold
#: 88 of 100 colours of organza, 98 of taffeta, on the parts of ``tests/garments.py``).
LEAN_DEG, OF_FOLDS = 3.2, 8.0
#: Share of the room that cloth which is met by cloth has before it. Assumed.
INSIDE = 0.6
#: Directions that light on folds is told of: above the level, degrees, and evenly round the eye.
HEIGHTS, AZIMUTHS = tuple(range(-80, 81, 20)), 24
#: How the name of a place ends as such cloth meets it.
IN_FOLDS = ", in folds"


@dataclass(frozen=True, eq=False)
class Parts(ByValue):
    """Parts of folds, each as large to the eye: how far each faces to the eye's right and up
    (n, 2), radians; the share of its hemisphere that is other cloth, ``met`` (n,); what of a light
    is ``free`` to it (n, heights, azimuths), from :data:`HEIGHTS` and round the eye to the right.
    """

    faces: Array
    met: Array
    free: Array


def hung(place: Scene, parts: Parts | None = None) -> Scene:
    """The place as cloth meets it that hangs in folds: what is seen is the mean of its parts.

    Parameters
    ----------
    place : Scene
        As cloth meets it that is held flat.
    parts : Parts, optional
        How it hangs; else as cloth mostly does.

    Returns
    -------
    Scene
        With a view for each part, usually :data:`PARTS`, all of the same share.

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
    parts = parts or _usual()
    views = [
        replace(_turned(place, eye + turn, tilt, [_read(free, x, eye) for x in place.lights]),
                share=1.0 / len(parts.faces))
        for (turn, tilt), free in zip(parts.faces.tolist(), parts.free, strict=True)
    ]  # fmt: skip
    # what falls from lights on all that is seen, by its area, falls on what lies before it, too
    area = 1.0 / np.cos(parts.faces[:, 0])
    each = [view.by_lights for view in views]
    falls = np.average(each, axis=0, weights=area)
    views = [
        replace(v, diffuse=(1.0 - met) * v.diffuse, around=met * (INSIDE * v.diffuse + falls))
        for v, met in zip(views, parts.met, strict=True)
    ]
    return replace(place, name=f"{place.name}{IN_FOLDS}", views=tuple(views))


@lru_cache(maxsize=4)
def garments(count: int) -> Array:
    """What share of each part single garments show, (count, PARTS): where it is a little more or
    less by chance of some folds (D. B. Rubin, The Bayesian Bootstrap, Ann. Statist. 9 (1981) 130),
    and more of what faces up where they stand out further.

    Examples
    --------
    >>> garments(100).shape, bool(np.allclose(garments(100).sum(axis=1), 1.0))
    ((100, 16), True)
    """
    rng = np.random.default_rng(13)
    up = np.degrees(_faces()[:, 1]) - TILT_DEG
    lean = rng.normal(0.0, LEAN_DEG, (count, 1))
    # of normal tilts, weights that grow by e with these move the mean so far and leave the width
    parts = rng.gamma(OF_FOLDS / PARTS, size=(count, PARTS)) * np.exp(lean * up / TILTS_DEG**2)
    return np.asarray(parts / parts.sum(axis=1, keepdims=True))


def sent_on(share: Any, sent: Any) -> Any:
    """Of light that falls on folds the ``share`` of it that goes on, sent to and fro between them,
    of cloth that sends on ``sent`` of even light in all, back and through; 0 to 1.

    Examples
    --------
    >>> sent_on(np.array([0.5]), np.array([0.5])).tolist()
    [0.625]
    """
    return share / (1.0 - (1.0 - INSIDE) * np.minimum(sent, 1.0))


@lru_cache(maxsize=1)
def _usual() -> Parts:
    """As cloth mostly hangs."""
    data = files("weavecolor").joinpath("data", "folds.npz")
    with data.open("rb") as file, np.load(file, allow_pickle=False) as held:
        return Parts(_faces(), held["met"] / 255.0, held["free"] / 255.0)


def _read(free: Array, light: Light, eye: float) -> float:
    """What of a ``light`` of a place is ``free`` to a part, for an eye at that azimuth, radians."""
    right, up, ahead = toward(light.zenith_deg, light.azimuth_deg)
    above = float(np.degrees(np.arcsin(np.clip(up, -1.0, 1.0))))
    aside = float(np.degrees(np.arctan2(right, ahead) - eye))
    # four places that lie as far out as its disc does in the mean
    out = light.half_deg / np.sqrt(2.0) * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
    row = np.interp(above + out[:, 0], HEIGHTS, range(len(HEIGHTS)))
    column = (aside + out[:, 1] / max(np.cos(np.radians(above)), 0.2)) / 360.0 * AZIMUTHS
    low = np.minimum(row.astype(int), len(HEIGHTS) - 2), np.floor(column).astype(int)
    rest = row - low[0], column - low[1]
    total = 0.0
    for i in range(2):
        for j in range(2):
            share = np.abs(1 - i - rest[0]) * np.abs(1 - j - rest[1])
            total += float(share @ free[low[0] + i, (low[1] + j) % AZIMUTHS])
    return total / len(out)


def _faces() -> Array:
    """How far each part faces to the side and up, radians: an evenly spread set of pairs (J. M.
    Hammersley, Ann. N. Y. Acad. Sci. 86 (1960) 844; from memory), sines of turns evenly, tilts
    normally."""
    place = np.arange(PARTS)
    bits = place[:, None] >> np.arange(PARTS.bit_length() - 1) & 1
    order = bits @ (0.5 * PARTS / 2.0 ** np.arange(bits.shape[1]))
    tilts = [NormalDist(TILT_DEG, TILTS_DEG).inv_cdf((one + 0.5) / PARTS) for one in order]
    turns = np.arcsin((2.0 * place + 1.0) / PARTS - 1.0)
    return np.stack([turns, np.radians(tilts)], axis=1)


def _turned(place: Scene, turn: float, tilt: float, reach: Sequence[float]) -> Scene:
    """The place about cloth that faces ``turn`` to the right and ``tilt`` up, radians, and that
    such shares of its lights ``reach``."""
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
    for light, share in zip(place.lights, reach, strict=True):
        zenith, azimuth = seen(light.zenith_deg, light.azimuth_deg)
        lights.append(replace(light, zenith_deg=zenith, azimuth_deg=azimuth, reach=share))
    zenith, azimuth = seen(place.view_zenith_deg, place.view_azimuth_deg)
    return replace(
        place,
        lights=tuple(lights),
        view_zenith_deg=min(zenith, GRAZING_DEG),
        view_azimuth_deg=azimuth,
    )
