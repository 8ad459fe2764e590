"""A panel of cloth turned on a table, or the light carried round it: strip of views and loop.

The panel lies nearly flat, in soft rolls along its warp as cloth from the bolt does, so that every
view also shows what a slight tilt does. Colours are computed for each turn and tilt. Knows panels
and screens; the optics of a turn is in ``poses``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from weavecolor.errors import InputError
from weavecolor.optics.poses import Direction, poses
from weavecolor.optics.stack import Stack
from weavecolor.picture.encode import AS_SEEN, Seeing, check_size, exposure_for, on_screen, to_image
from weavecolor.picture.lettering import GROUND, labelled_row
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]
Progress = Callable[[float], None]

#: Tilts of the rolls about the warp that are worked out, degrees; in between a parabola.
_TILTS = (-9.0, 0.0, 9.0)
_STEEPEST = 80.0
#: Half the panel's side over half the picture's width: its corners stay inside as it turns.
_PANEL = 0.64
MOST_FRAMES = 180
MOVING = ("cloth", "light")


def _vector(direction: Direction) -> Array:
    z, a = np.radians(direction)
    return np.array([np.sin(z) * np.sin(a), np.sin(z) * np.cos(a), np.cos(z)])  # right, down, out


def _direction(vector: Array) -> Direction:
    zenith = float(np.degrees(np.arccos(np.clip(vector[2], -1.0, 1.0))))
    azimuth = float(np.degrees(np.arctan2(vector[0], vector[1])) % 360.0)
    return round(min(zenith, _STEEPEST), 6), round(azimuth, 6) % 360.0


def _met(direction: Direction, turn: float, tilt: float, warp_deg: float) -> Array:
    """A direction about a panel turned by ``turn`` and tilted about its warp."""
    v = _vector((direction[0], direction[1] - turn))
    a, t = np.radians(warp_deg), np.radians(tilt)
    warp = np.array([np.sin(a), np.cos(a), 0.0])
    # the panel tilts one way, so what it meets turns the other way about the warp
    c, s = np.cos(t), np.sin(t)
    return np.asarray(v * c + np.cross(warp, v) * s + warp * (warp @ v) * (1.0 - c))


def _tilted_radiance(stack: Stack, scene: Scene, angles: Array, moving: str) -> Array:
    """Radiance times pi (angles, tilts, 41)."""
    warp = stack.layers[0].grain_deg
    view = (scene.view_zenith_deg, scene.view_azimuth_deg)
    places = [(float(a), t) for a in angles for t in _TILTS]
    sights, front, back, cosines = [], {}, {}, np.zeros((len(places), len(scene.lights)))
    for n, (angle, tilt) in enumerate(places):
        sights.append(_direction(_met(view, angle if moving == "cloth" else 0.0, tilt, warp)))
        for k, x in enumerate(scene.lights):
            turn = angle if moving == "cloth" else -angle
            v = _met((x.zenith_deg, x.azimuth_deg), turn, tilt, warp)
            cosines[n, k] = abs(v[2])
            if v[2] > 0.02:
                front[n, k] = _direction(v)
            elif v[2] < -0.02 and x.zenith_deg > 90.0:
                back[n, k] = _direction(-v)
    found = poses(stack, sights, front, back, len(scene.lights), exact=False)
    total = found.even * scene.diffuse
    for k, x in enumerate(scene.lights):
        got = found.factors[:, k] + found.behind[:, k]
        total = total + got * cosines[:, k, None] * x.irradiance
    return np.maximum(total, 0.0).reshape(angles.size, len(_TILTS), -1)


def _colours(
    stack: Stack, scene: Scene, angles: Array, moving: str, seeing: Seeing, observer: str
) -> NDArray[np.float32]:
    """Linear RGB (angles, tilts, 3), exposed. Of more than 72 turns, every 5 degrees is worked out
    and the rest read in between by a spline round the circle."""
    coarse = np.arange(0.0, 360.0, 5.0)
    asked = np.mod(angles, 360.0)
    if asked.size <= coarse.size:
        radiance = _tilted_radiance(stack, scene, asked, moving)
    else:
        from scipy.interpolate import CubicSpline

        known = _tilted_radiance(stack, scene, coarse, moving)
        ring = np.concatenate([known, known[:1]])
        spline = CubicSpline(np.append(coarse, 360.0), ring, bc_type="periodic")
        radiance = np.maximum(spline(asked), 0.0)
    exposure = exposure_for(scene, seeing, 1.12)
    return (on_screen(radiance, scene, seeing, observer) * exposure).astype(np.float32)


def _rolls(u: NDArray[Any], v: NDArray[Any]) -> NDArray[np.float32]:
    """Tilt of the cloth over the steepest worked out, -1 to 1, at places -1 to 1 on the panel."""
    bend = u + 0.05 * np.sin(2.1 * v + 0.6)
    return (0.52 * np.sin(5.3 * bend + 0.7) + 0.3 * np.sin(9.7 * bend - 0.8 * v)).astype(np.float32)


def _view(
    rgb: NDArray[np.float32], turn_deg: float, warp_deg: float, size: int, ground: NDArray[Any]
) -> NDArray[np.float32]:
    """One view (size, size, 3): the panel turned anticlockwise by ``turn_deg``, warp marked."""
    a = np.radians(turn_deg)
    c, s = np.float32(np.cos(a)), np.float32(np.sin(a))
    line = ((np.arange(size, dtype=np.float32) + 0.5) / size * 2.0 - 1.0) / np.float32(_PANEL)
    x, y = line[None, :], line[:, None]
    p, q = c * x - s * y, s * x + c * y  # on the panel: right and down when unturned
    w = np.radians(warp_deg)
    cw, sw = np.float32(np.cos(w)), np.float32(np.sin(w))
    tilt = _rolls(cw * p - sw * q, sw * p + cw * q)[..., None]
    low, level, high = rgb
    colour = level + tilt * (0.5 * (high - low)) + tilt**2 * (0.5 * (high + low) - level)
    edge = np.float32(0.5 * size * _PANEL)
    far = np.maximum(np.abs(p), np.abs(q))
    inside = np.clip((1.0 - far) * edge + 0.5, 0.0, 1.0)[..., None]
    # a soft shadow on the table
    sx, sy = p - np.float32(0.02) * c, q - np.float32(0.03)
    beyond = np.hypot(np.maximum(np.abs(sx) - 0.98, 0), np.maximum(np.abs(sy) - 0.98, 0))
    table = ground * (1.0 - 0.28 * np.exp(-((beyond / 0.035) ** 2)))[..., None]
    return np.asarray(np.maximum(colour * inside + table * (1.0 - inside), 0.0), np.float32)


def _checked(moving: str, size: int, angles: Array) -> None:
    check_size(size, size)
    if moving not in MOVING:
        raise InputError(f"{moving!r} cannot move here; use {' or '.join(MOVING)}")
    if not (1 <= angles.size <= MOST_FRAMES) or not np.isfinite(angles).all():
        raise InputError(f"use 1 to {MOST_FRAMES} angles, all finite")


def turn_frames(
    stack: Stack,
    scene: Scene,
    frames: int = 36,
    size_px: int = 512,
    *,
    moving: str = "cloth",
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    progress: Progress | None = None,
) -> list[Image.Image]:
    """Frames of a loop: one full turn of the cloth, or of the light about the cloth.

    ``moving`` "cloth" or "light"; ``progress`` is called with the share done. Write the result
    with ``encode.loop_bytes``. Raises InputError for 2 to 180 frames not kept, and as a drape.

    Examples
    --------
    >>> [frame.size for frame in turn_frames(single, window, 2, 64)]
    [(64, 64), (64, 64)]
    """
    if isinstance(frames, bool) or not isinstance(frames, int) or not 2 <= frames <= MOST_FRAMES:
        raise InputError(f"a loop has 2 to {MOST_FRAMES} frames, got {frames!r}")
    angles = np.arange(frames) * 360.0 / frames
    return _pictures(stack, scene, angles, size_px, moving, seeing, observer, progress)


def _pictures(
    stack: Stack, scene: Scene, angles: Array, size: int, moving: str, seeing: Seeing,
    observer: str, progress: Progress | None,
) -> list[Image.Image]:  # fmt: skip
    _checked(moving, size, angles)
    if not stack.layers:
        raise InputError("a turning panel needs at least one layer of cloth")
    if any(x.zenith_deg > 90.0 for x in scene.lights) and moving == "light":
        scene = replace(scene, lights=tuple(x for x in scene.lights if x.zenith_deg < 90.0))
        illumination(scene)
    rgb = _colours(stack, scene, angles, moving, seeing, observer)
    if progress:
        progress(0.5)
    ground = np.full(3, GROUND, np.float32)
    warp = stack.layers[0].grain_deg
    out = []
    told = "cloth turned" if moving == "cloth" else "light carried round"
    for n, angle in enumerate(angles):
        turn = float(angle) if moving == "cloth" else 0.0
        note = f"{told} by {angle:g} degrees, in the light of {scene.name}"
        out.append(to_image(_view(rgb[n], turn, warp, size, ground), seeing, (note,)))
        if progress:
            progress(0.5 + 0.5 * (n + 1) / angles.size)
    return out


def draw_turns(
    stack: Stack,
    scene: Scene,
    angles_deg: Sequence[float] = (0, 45, 90, 135, 180, 225, 270, 315),
    size_px: int = 300,
    *,
    moving: str = "cloth",
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
) -> Image.Image:
    """A strip of views of one panel at several turns, each with its angle below.

    Examples
    --------
    >>> draw_turns(single, window, (0.0, 90.0), 100).mode
    'RGB'
    """
    angles = np.asarray(angles_deg, float)
    if angles.ndim != 1 or angles.size > 16:
        raise InputError("a strip shows 1 to 16 views")
    views = _pictures(stack, scene, angles, size_px, moving, seeing, observer, None)
    return labelled_row(views, [f"{a:g}°" for a in angles], seeing.space)
