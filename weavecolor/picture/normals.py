"""The directional result of a stack for a whole family of cloth that is turned to the viewer or away.

Folds that hang, cylinders and pleats are all bent about the upright axis only, so what the eye
gets from any point depends on the angle of its normal to either side, and on how much of each
light reaches it. That is worked out once at some angles and read in between. Knows optics and
scenes; knows nothing of forms or pixels.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from weavecolor.adding import GAPS, over_backings
from weavecolor.appearance import pile_optics
from weavecolor.cell.nodes import unit
from weavecolor.errors import InputError
from weavecolor.layeroptics import content
from weavecolor.scene import Scene
from weavecolor.spectra import BANDS
from weavecolor.stack import Stack

Array = NDArray[np.float64]

#: Farthest that the sight and light are followed from the local normal, degrees.
STEEPEST = 82.0


@dataclass(frozen=True, eq=False)
class Family:
    """Radiance of one stack by angle of its normal, spectral.

    ``angles`` (n,) degrees, normals turned towards the viewer's right; ``lights`` (n, k, 41)
    radiance from each of the scene's lights, unshadowed; ``sky`` (n, 41) from the diffuse light,
    all of it; ``glow`` (n, 41) the radiance factor in even light, for light from neighbouring
    cloth; ``mean`` (41,) share of even light that the flat stack sends back.
    """

    angles: Array
    lights: Array
    sky: Array
    glow: Array
    mean: Array

    def at(self, angles: Array) -> tuple[Array, Array, Array]:
        """``lights``, ``sky`` and ``glow`` at other angles, by cubic splines; never negative."""
        inside = np.clip(angles, self.angles[0], self.angles[-1])
        return tuple(  # type: ignore[return-value]
            np.maximum(CubicSpline(self.angles, a, axis=0)(inside), 0.0)
            for a in (self.lights, self.sky, self.glow)
        )


def vector(zenith_deg: float, azimuth_deg: float) -> Array:
    """Direction in the picture's axes: right, down, out of the picture."""
    x, y, z = unit(np.radians(zenith_deg), np.radians(azimuth_deg))
    return np.array([-x, y, z])


def local(direction: Array, angle_deg: float) -> tuple[float, float]:
    """(zenith, azimuth) in degrees of a picture direction about a normal turned to the right."""
    a = np.radians(angle_deg)
    right = direction[0] * np.cos(a) - direction[2] * np.sin(a)
    out = direction[0] * np.sin(a) + direction[2] * np.cos(a)
    zenith = np.degrees(np.arccos(np.clip(out, -1.0, 1.0)))
    return float(zenith), float(np.degrees(np.arctan2(right, direction[1])) % 360.0)


def _limited(direction: tuple[float, float]) -> tuple[float, float]:
    """Kept off the cloth's plane, and rounded so that equal directions share what is cached."""
    return round(min(direction[0], STEEPEST), 6), round(direction[1], 6)


def family(stack: Stack, scene: Scene, step_deg: float = 7.5) -> Family:
    """The family of a stack in a scene, cached.

    ``step_deg``: spacing of the angles worked out, 2 to 20. Half the sheen lobe's width or
    less follows the sheen; the default suits cloth of any lustre above 6 degrees. Raises
    InputError as ``appearance``, and for a stack without a layer.
    """
    if not 2.0 <= step_deg <= 20.0:
        raise InputError("work out a normal every 2 to 20 degrees")
    key = (_stack_key(stack), _scene_key(scene), step_deg)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    made = _family(stack, scene, step_deg)
    with _lock:
        _kept[key] = made
        while len(_kept) > _KEEP:
            _kept.popitem(last=False)
    return made


_KEEP = 48
_kept: OrderedDict[tuple, Family] = OrderedDict()
_lock = Lock()


def _stack_key(stack: Stack) -> tuple:
    backing = None if stack.backing is None else stack.backing.reflectance.tobytes()
    return (
        tuple((content(x.cloth), x.grain_deg % 360.0, x.face) for x in stack.layers),
        backing,
        stack.lay,
    )


def _scene_key(scene: Scene) -> tuple:
    return (
        tuple((x.zenith_deg, x.azimuth_deg, x.irradiance.tobytes()) for x in scene.lights),
        scene.diffuse.tobytes(),
        scene.view_zenith_deg,
        scene.view_azimuth_deg,
    )


def _family(stack: Stack, scene: Scene, step: float) -> Family:
    count = int(np.ceil(80.0 / step))
    angles = np.linspace(-80.0, 80.0, 2 * count + 1)
    view = vector(scene.view_zenith_deg, scene.view_azimuth_deg)
    suns = [vector(x.zenith_deg, x.azimuth_deg) for x in scene.lights]
    sights = [_limited(local(view, a)) for a in angles]
    above: list[tuple[float, float]] = list(dict.fromkeys(sights))
    below: list[tuple[float, float]] = []
    pairs = []  # (angle number, light, direction, cosine, in front)
    for n, a in enumerate(angles):
        for k, sun in enumerate(suns):
            zenith, azimuth = local(sun, a)
            cosine = np.cos(np.radians(zenith))
            if abs(cosine) < 0.02:
                continue
            if cosine > 0:
                pairs.append((n, k, _limited((zenith, azimuth)), cosine, True))
            elif stack.backing is None:
                straight = _limited((180.0 - zenith, (azimuth + 180.0) % 360.0))
                pairs.append((n, k, straight, -cosine, False))
    above = list(dict.fromkeys(above + [p[2] for p in pairs if p[4]]))
    below = list(dict.fromkeys(p[2] for p in pairs if not p[4]))
    pile = pile_optics(stack, above, below)
    share = pile.share
    size = share.size - len(above) - len(below)
    factors = (
        pile.reflect
        if stack.backing is None
        else over_backings(pile, [stack.backing.reflectance], GAPS[stack.lay])[0]
    )
    places = {d: size + i for i, d in enumerate(above)}
    shades = {d: size + len(above) + i for i, d in enumerate(below)}
    eyes = [places[s] for s in sights]
    lights = np.zeros((angles.size, len(suns), BANDS))
    for n, k, direction, cosine, ahead in pairs:
        irradiance = scene.lights[k].irradiance * cosine
        if ahead:
            lights[n, k] = factors[:, eyes[n], places[direction]] * irradiance
        else:
            seen = pile.pass_[:, eyes[n], shades[direction]]
            if _in_line(direction, sights[n]):
                seen = seen + pile.through[eyes[n]]
            lights[n, k] = seen * irradiance
    even = np.stack([factors[:, e] @ share for e in eyes])
    return Family(
        angles,
        np.maximum(lights, 0.0),
        even * scene.diffuse,
        even,
        (factors @ share) @ share,
    )


def _in_line(one: tuple[float, float], other: tuple[float, float]) -> bool:
    a, b = (unit(*np.radians(d)) for d in (one, other))
    return bool(a @ b > np.cos(np.radians(5.0)))
