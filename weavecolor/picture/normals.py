"""The directional result of a stack for a family of cloth turned to the viewer or away.

Folds that hang, cylinders and pleats are all bent about the upright axis only, so what the eye
gets from any point depends on the angle of its normal to either side, and on how much of each
light reaches it. That is worked out once at some angles and read in between. Knows optics and
scenes; knows nothing of forms or pixels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from weavecolor.cache import Kept
from weavecolor.errors import InputError
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.layer import content
from weavecolor.optics.poses import Direction, folded_poses
from weavecolor.optics.stack import Stack
from weavecolor.scene.scene import Light, Scene

Array = NDArray[np.float64]

#: Farthest that the sight and light are followed from the local normal, degrees.
STEEPEST = 82.0
#: Half the width of a light as seen from the cloth, degrees: a window or lamp is not a point.
SOFT_DEG = 9.0


@dataclass(frozen=True, eq=False)
class Family:
    """What one stack sends to the eye, by angle of its normal.

    ``angles`` (n,) degrees, normals turned towards the viewer's right; ``factors`` (n, k, 41)
    radiance over each light's irradiance on the cloth there; ``behind`` the same for lights that
    stand behind the cloth there, 0 where it has a backing; ``even`` (n, 41) radiance factor in even
    light; ``mean`` (41,) share of even light that the flat stack sends back.
    """

    angles: Array
    factors: Array
    behind: Array
    even: Array
    mean: Array

    def at(self, angles: Array) -> tuple[Array, Array, Array]:
        """``factors``, ``behind``, ``even`` at other angles, by cubic splines; never negative."""
        inside = np.clip(angles, self.angles[0], self.angles[-1])
        return tuple(  # type: ignore[return-value]
            np.maximum(CubicSpline(self.angles, a, axis=0)(inside), 0.0)
            for a in (self.factors, self.behind, self.even)
        )


def lit(light: Light, angles_deg: Array, soft_deg: float = 0.0) -> tuple[Array, Array]:
    """How squarely a light falls on cloth turned by angles: cosine in front, and from behind.

    ``soft_deg``: half the light's width, so that it sets gradually; the flat cloth's is exact.
    """
    right, _, out = vector(light.zenith_deg, light.azimuth_deg)
    reach, aim = float(np.hypot(right, out)), float(np.arctan2(right, out))
    turn = aim - np.radians(angles_deg)

    def facing(t: Array) -> Array:
        if soft_deg <= 0:
            return np.maximum(np.cos(t), 0.0)
        w = np.radians(soft_deg)
        quarter = 0.5 * np.pi
        t = np.abs((t + np.pi) % (2 * np.pi) - np.pi)
        low, high = np.clip(t - w, -quarter, quarter), np.clip(t + w, -quarter, quarter)
        return np.asarray((np.sin(high) - np.sin(low)) / (2.0 * np.sin(w)))

    return reach * facing(turn), reach * facing(turn + np.pi)


def vector(zenith_deg: float, azimuth_deg: float) -> Array:
    """Direction in the picture's axes: right, down, out of the picture."""
    x, y, z = unit(np.radians(zenith_deg), np.radians(azimuth_deg))
    return np.array([-x, y, z])


def local(direction: Array, angle_deg: float) -> Direction:
    """(zenith, azimuth) in degrees of a picture direction about a normal turned to the right."""
    a = np.radians(angle_deg)
    right = direction[0] * np.cos(a) - direction[2] * np.sin(a)
    out = direction[0] * np.sin(a) + direction[2] * np.cos(a)
    zenith = np.degrees(np.arccos(np.clip(out, -1.0, 1.0)))
    return float(zenith), float(np.degrees(np.arctan2(right, direction[1])) % 360.0)


def _limited(direction: Direction) -> Direction:
    """Kept off the cloth's plane, and rounded so that equal directions share what is cached."""
    return round(min(direction[0], STEEPEST), 6), round(direction[1], 6)


def family(stack: Stack, scene: Scene, step_deg: float = 8.0) -> Family:
    """The family of a stack in a scene, cached.

    ``step_deg``: spacing of the angles worked out, 2 to 20. Half the sheen lobe's width or
    less follows the sheen; the default suits cloth of any lustre above 6 degrees. Raises
    InputError as ``appearance``, and for a stack without a layer.
    """
    return families(stack, scene, (0,), step_deg=step_deg)[0]


def families(
    stack: Stack,
    scene: Scene,
    folded: Sequence[int],
    doubled: bool = False,
    step_deg: float = 8.0,
) -> dict[int, Family]:
    """As :func:`family`, by how many folds the cloth lies in (see ``poses.folded_stack``), worked
    out together."""
    if not 2.0 <= step_deg <= 20.0:
        raise InputError("work out a normal every 2 to 20 degrees")
    wanted = tuple(sorted(set(int(n) for n in folded)))
    key = (_stack_key(stack), _scene_key(scene), wanted, doubled, step_deg)
    return _kept.one(key, lambda: _families(stack, scene, wanted, doubled, step_deg))


_kept: Kept[tuple[Any, ...], dict[int, Family]] = Kept(48)


def _stack_key(stack: Stack) -> tuple[Any, ...]:
    backing = None if stack.backing is None else stack.backing.reflectance.tobytes()
    return (
        tuple((content(x.cloth), x.grain_deg % 360.0, x.face) for x in stack.layers),
        backing,
        stack.lay,
    )


def _scene_key(scene: Scene) -> tuple[Any, ...]:
    return (
        tuple((x.zenith_deg, x.azimuth_deg, x.irradiance.tobytes()) for x in scene.lights),
        scene.diffuse.tobytes(),
        scene.view_zenith_deg,
        scene.view_azimuth_deg,
    )


def _families(
    stack: Stack, scene: Scene, folded: tuple[int, ...], doubled: bool, step: float
) -> dict[int, Family]:
    count = int(np.ceil(80.0 / step))
    angles = np.linspace(-80.0, 80.0, 2 * count + 1)
    view = vector(scene.view_zenith_deg, scene.view_azimuth_deg)
    sights = [_limited(local(view, a)) for a in angles]
    front: dict[tuple[int, int], Direction] = {}
    back: dict[tuple[int, int], Direction] = {}
    for k, light in enumerate(scene.lights):
        sun = vector(light.zenith_deg, light.azimuth_deg)
        ahead, beyond = lit(light, angles, SOFT_DEG + step)
        for n, a in enumerate(angles):
            zenith, azimuth = local(sun, a)
            if ahead[n] > 0:
                front[n, k] = _limited((zenith, azimuth))
            if stack.backing is None and beyond[n] > 0:
                back[n, k] = _limited((180.0 - zenith, (azimuth + 180.0) % 360.0))
    found = folded_poses(
        stack, folded, doubled, sights, front, back, len(scene.lights), exact=False
    )
    made = {}
    for n, one in found.items():
        _level_beyond(one.factors, front)
        _level_beyond(one.behind, back)
        made[n] = Family(angles, one.factors, one.behind, one.even, one.mean)
    return made


def _level_beyond(values: Array, known: dict[tuple[int, int], Direction]) -> None:
    """Hold the outermost known factor where a light has set, so that splines do not swing."""
    for k in range(values.shape[1]):
        there = [n for n, light in known if light == k]
        if there:
            values[: min(there), k] = values[min(there), k]
            values[max(there) + 1 :, k] = values[max(there), k]
