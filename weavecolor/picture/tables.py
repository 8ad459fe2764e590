"""What one laid stack sends to the eye and lets through, by how the cloth is turned.

A hung cloth shows thousands of orientations at once. The optics is asked once for a stack's factors
between all directions (:func:`core`, which knows no light), and every
orientation in any light is read from those (:func:`tables`). The same tables, as half-floats, feed
the drawing here and the one in the browser. Knows stacks and scenes; knows nothing of shapes.

Frames. View: x to the right, y up, z towards the eye, which is far away. Local: the normal that
faces the eye and the outermost layer's warp. An orientation is that normal on an equal-area disc
(J. H. Lambert, Beitraege, 1772) and the turn of the warp about it, from the view's x and y axes
carried to the normal along the shortest way.

Light: key is what comes from the lights, with edges as soft as a window of half-width
:data:`SOFT_DEG`; room is the even light. A light straight across from the eye behind the cloth is
no surface here, only the light that it scatters through.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

from weavecolor.cache import Kept
from weavecolor.colour.colorimetry import linear_rgb
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.optics.adding import GAPS, over_backings
from weavecolor.optics.allround import (
    COARSE,
    FINE,
    Rings,
    all_round,
    half_turn,
    ring_directions,
    spread,
)
from weavecolor.optics.cell.glint import AZIMUTHS as _AZIMUTHS
from weavecolor.optics.cell.glint import ZENITHS as _ZENITHS
from weavecolor.optics.layer import content
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.encode import AS_SEEN, Seeing
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Light, Scene

Array = NDArray[np.float64]
Half = NDArray[np.float16]

#: Half the width of a light as seen from the cloth, degrees: a window or lamp is not a point.
SOFT_DEG = 9.0
#: Nodes across the disc of normals and across the disc of sights.
DISC, SIGHTS = 40, 33
_STEP_DEG = 90.0 / (_ZENITHS - 1)
#: A cloth whose factors change by less than this (of their mean) with half a turn has no sense.
_SAME = 2e-3


@dataclass(frozen=True, eq=False)
class Core:
    """A stack's factors between the K directions of ``rings``, light apart; azimuth from the
    outermost warp.

    ``face`` (41, K, K): radiance factor between two directions before the face; ``back``: behind
    it, where a direction stands for its opposite; ``across``: from one before the face to one
    behind. ``glints`` (3, M, M) go with them: what one surface alone sends back, at the regular
    angles and alike in every band. ``even_face``, ``even_back`` (41, K): in even light on the side
    of the eye; ``to_face``, ``to_back``: in even light on the other side. ``straight`` (M,):
    unscattered share along the regular angles.
    ``reflect``, ``pass_`` (41,): shares of even light sent back by the face and let through in
    all. ``alike``: the same after half a turn.
    """

    rings: Rings
    face: NDArray[np.float32]
    back: NDArray[np.float32]
    across: NDArray[np.float32]
    glints: Half
    even_face: Array
    even_back: Array
    to_face: Array
    to_back: Array
    straight: Array
    reflect: Array
    pass_: Array
    alike: bool


@dataclass(frozen=True, eq=False)
class Tables:
    """Half-float tables of one stack in one light on one screen, for both sides (0 face, 1 back).

    ``key`` (2, turns + 1, DISC, DISC, 4): linear RGB from the lights by turn of the warp (over
    half a turn where ``half_turn``, else a whole one; the last repeats the first), y and x of the
    normal's disc; the fourth is 1. ``room`` (2, SIGHTS, SIGHTS, 4): linear RGB from even light on
    the side of the eye, and the unscattered share, by the disc of the eye about (warp, across).
    ``glow`` (2, SIGHTS, SIGHTS, 4): share of even light on the other side that is scattered
    through to the eye, linear RGB. Light is on the scale where a white card laid flat before the
    eye is 1, and ``level`` (3,) where only the room's light falls on it. ``dim`` (16, 3): share of
    a beam that gets through in all, by its cosine to the cloth 0-1. ``even`` (2, 3): share of even
    light sent back, and let through.
    """

    key: Half
    room: Half
    glow: Half
    dim: NDArray[np.float32]
    even: NDArray[np.float32]
    level: NDArray[np.float32]
    half_turn: bool

    def to_bytes(self) -> bytes:
        """All tables one after the other, little-endian, in the order of the fields."""
        return b"".join(np.ascontiguousarray(x).tobytes() for x in (
            self.key, self.room, self.glow, self.dim, self.even, self.level))  # fmt: skip


_cores: Kept[tuple[object, ...], Core] = Kept(10)
_made: Kept[tuple[object, ...], Tables] = Kept(24)


def stack_key(stack: Stack) -> tuple[object, ...]:
    """What a stack's optics depend on, turned so that the outermost warp lies at 0."""
    first = stack.layers[0].grain_deg
    return (
        tuple(
            (content(x.cloth), round((x.grain_deg - first) % 360.0, 6), x.face)
            for x in stack.layers
        ),
        None if stack.backing is None else stack.backing.reflectance.tobytes(),
        stack.lay,
    )


def scene_key(scene: Scene) -> tuple[object, ...]:
    """What a picture depends on of its scene."""
    return (
        tuple((x.zenith_deg, x.azimuth_deg, x.irradiance.tobytes()) for x in scene.lights),
        scene.diffuse.tobytes(),
        scene.white.tobytes(),
        scene.view_zenith_deg,
        scene.view_azimuth_deg,
    )


def core(stack: Stack, *, coarse: bool = False) -> Core:
    """The stack's factors between directions, cached; the same for any outermost grain.

    ``coarse`` asks for a third of the directions. Raises InputError where a cloth cannot be woven.

    Examples
    --------
    >>> core(Stack(single.layers), coarse=True).face.shape[0]
    41
    """
    check_layers(stack)
    key = (stack_key(stack), coarse)
    return _cores.one(key, lambda: _core(_straightened(stack), COARSE if coarse else FINE))


def check_layers(stack: Stack) -> None:
    """Raises InputError where there is no cloth to draw."""
    if not stack.layers:
        raise InputError("a picture of hung cloth needs a layer of cloth")


def _straightened(stack: Stack) -> Stack:
    first = stack.layers[0].grain_deg
    layers = tuple(Layer(x.cloth, (x.grain_deg - first) % 360.0, x.face) for x in stack.layers)
    return Stack(layers, stack.backing, stack.lay)


def _core(stack: Stack, rings: Rings) -> Core:
    made = all_round(stack, rings)
    pile, glints = made.pile, list(made.glints)
    share, e = pile.share, slice(-len(ring_directions(rings)), None)
    reflect, under, passed = pile.reflect, pile.under, pile.pass_
    straight = made.straight
    mean = (passed @ share) @ share + pile.through @ share
    if stack.backing is not None:
        ground = stack.backing.reflectance
        reflect = over_backings(pile, [ground], GAPS[stack.lay])[0]
        passed, mean = np.zeros_like(passed), np.zeros(BANDS)
        straight = np.zeros_like(straight)
        under = np.broadcast_to(ground[:, None, None], under.shape).astype(np.float32)
        glints[1:] = [np.zeros_like(x) for x in glints[1:]]
    face = reflect[:, e, e]
    opposite = half_turn(rings)
    change = np.abs(face - face[:, opposite][:, :, opposite]).mean()
    return Core(
        rings,
        np.asarray(face, np.float32),
        np.ascontiguousarray(under[:, e, e]),
        np.ascontiguousarray(passed[:, e, e]),
        np.stack([x.astype(np.float16) for x in glints]),
        reflect[:, e] @ share,
        under[:, e] @ share,
        passed[:, e] @ share,
        share @ passed[:, :, e],
        np.clip(straight, 0.0, 1.0),
        (reflect @ share) @ share,
        mean,
        bool(change < _SAME * face.mean()),
    )


def tables(
    stack: Stack,
    scene: Scene,
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    *,
    coarse: bool = False,
) -> Tables:
    """The tables of ``stack`` (its outermost grain left out) in ``scene``, cached.

    A colour that is looked up lies within 0.5 CIEDE2000 of the optics at half of all orientations
    and within 1.5 at nine of ten; most of that is noise where filaments glint. ``coarse`` (a third
    of the directions) is for a first look.

    Examples
    --------
    >>> made = tables(Stack(single.layers), window, coarse=True)
    >>> made.key.shape[0]
    2
    """
    key = (stack_key(stack) if stack.layers else (), scene_key(scene), seeing.space, seeing.adapt,
           observer, coarse)  # fmt: skip
    check_layers(stack)
    return _made.one(key, lambda: _tables(core(stack, coarse=coarse), scene, seeing, observer))


def rgb_matrix(light: Array, scene: Scene, seeing: Seeing, observer: str) -> Array:
    """Matrix (41, 3): radiance factor in ``light`` to linear RGB on the screen in the scene."""
    return linear_rgb(np.diag(light), illumination(scene), seeing.space, seeing.adapt,
                      white=scene.white, observer=observer)  # fmt: skip


def view_vector(light: Light, scene: Scene) -> Array:
    """Direction of a light in the view's frame, the scene's viewer being the eye."""
    return about_view(_up_right(light.zenith_deg, light.azimuth_deg), scene)


def _up_right(zenith_deg: float, azimuth_deg: float) -> Array:
    """A scene's direction as right, up, out of the picture: azimuth 0 is down, 90 to the right."""
    z, a = np.radians(zenith_deg), np.radians(azimuth_deg)
    return np.array([np.sin(z) * np.sin(a), -np.sin(z) * np.cos(a), np.cos(z)])


def about_view(vector: Array, scene: Scene) -> Array:
    """A vector (..., 3) of the scene turned the shortest way that brings its eye before us."""
    eye = _up_right(scene.view_zenith_deg, scene.view_azimuth_deg)
    half = eye + np.array([0.0, 0.0, 1.0])
    half /= np.linalg.norm(half)
    twice = 2.0 * (vector @ half)[..., None] * half - vector  # half a turn about the middle
    return np.asarray(twice * np.array([-1.0, -1.0, 1.0]))  # and half a turn about the eye


def _tables(made: Core, scene: Scene, seeing: Seeing, observer: str) -> Tables:
    wide = spread(made.rings)
    size = (_ZENITHS, _AZIMUTHS)
    turns = _AZIMUTHS // 2 if made.alike else _AZIMUTHS
    key = np.zeros((2, turns, DISC, DISC, 3), np.float32)
    for lamp in scene.lights:
        matrix = rgb_matrix(lamp.irradiance, scene, seeing, observer).astype(np.float32)
        factors = []
        white = matrix.sum(axis=0)
        for table, glint in zip((made.face, made.back, made.across), made.glints, strict=True):
            rgb = np.tensordot(matrix.T, table, 1)
            whole = np.matmul(np.matmul(wide, rgb), wide.T)
            whole += white[:, None, None] * glint.astype(np.float32)
            factors.append(np.ascontiguousarray(whole.transpose(1, 2, 0)).reshape(*size, *size, 3))
        face, back, across = factors
        laid = np.empty((4, _ZENITHS, _ZENITHS, _AZIMUTHS, _LAID, 3), np.float32)
        for table, swapped, along in zip(
            (face, back, across, across), (False, False, False, True), laid, strict=True
        ):
            _along(table, swapped, along)
        toward = view_vector(lamp, scene)
        _lit(laid[0], laid[1], laid[2], laid[3], toward, np.radians(SOFT_DEG), turns, key)
    even = rgb_matrix(scene.diffuse, scene, seeing, observer)
    white = rgb_matrix(illumination(scene), scene, seeing, observer)
    room = np.zeros((2, SIGHTS, SIGHTS, 4))
    glow = np.ones((2, SIGHTS, SIGHTS, 4))
    straight = made.straight
    for side, (front, back) in enumerate(
        ((made.even_face, made.to_face), (made.even_back, made.to_back))
    ):
        for out, values, light in ((room, front, even), (glow, back, white)):
            regular = (wide @ (values.T @ light)).reshape(*size, 3)
            out[side, ..., :3] = _sights(regular, side)
        open_ = _sights(straight.reshape(*size, 1), side)[..., 0]
        room[side, ..., 3] = np.clip(open_, 0.0, 1.0)  # splines swing a little about 0
    half = np.ones((2, turns + 1, DISC, DISC, 4), np.float16)
    half[:, :turns, ..., :3] = key
    half[:, turns] = half[:, 0]
    total = white.sum(axis=0)
    return Tables(
        half,
        room.astype(np.float16),
        glow.astype(np.float16),
        _dim(made, white),
        np.array([made.reflect @ white / total, made.pass_ @ white / total], np.float32),
        even.sum(axis=0).astype(np.float32),
        made.alike,
    )


def _dim(made: Core, white: Array) -> NDArray[np.float32]:
    """Share of a beam let through, straight and scattered, by its cosine to the cloth (16, 3)."""
    scattered = (0.5 * (made.to_face + made.to_back)).T @ (white / white.sum(axis=0))
    passed = spread(made.rings) @ scattered + made.straight[:, None]
    means = passed.reshape(_ZENITHS, _AZIMUTHS, 3).mean(axis=1)
    cosines = np.cos(np.radians(_STEP_DEG * np.arange(_ZENITHS)))
    at = np.linspace(0.0, 1.0, 16)
    out = [np.interp(at, cosines[::-1], means[::-1, c]) for c in range(3)]
    return np.asarray(np.clip(np.stack(out, axis=1), 0.0, 1.0), dtype=np.float32)


def _sights(regular: Array, side: int) -> Array:
    """Values at regular angles (16, 48, c) on the disc of sights; bilinear of fine steps."""
    at = np.linspace(-1.0, 1.0, SIGHTS)
    across, along = np.meshgrid(at, at, indexing="ij")  # rows: across the warp
    radius = np.minimum(np.hypot(along, across), 1.0)
    zenith = np.degrees(np.arccos(1.0 - radius**2))
    azimuth = np.arctan2(across, along)
    if side:
        azimuth = np.pi - azimuth
    fine = make_interp_spline(_STEP_DEG * np.arange(_ZENITHS), regular, k=3)
    rows = fine(np.minimum(zenith, 90.0).ravel())  # (n, 48, c)
    place = (azimuth.ravel() / (2.0 * np.pi) * _AZIMUTHS) % _AZIMUTHS
    low = np.floor(place).astype(int) % _AZIMUTHS
    rest = (place - np.floor(place))[:, None]
    n = np.arange(rows.shape[0])
    out = (1 - rest) * rows[n, low] + rest * rows[n, (low + 1) % _AZIMUTHS]
    return np.asarray(out.reshape(SIGHTS, SIGHTS, -1))


@njit(cache=True, inline="always")
def _cubic(t, w):  # pragma: no cover - compiled
    """Weights of four neighbours (E. Catmull, R. Rom, 1974)."""
    w[0] = ((-0.5 * t + 1.0) * t - 0.5) * t
    w[1] = (1.5 * t - 2.5) * t * t + 1.0
    w[2] = ((-1.5 * t + 2.0) * t + 0.5) * t
    w[3] = (0.5 * t - 0.5) * t * t


@njit(cache=True)
def _zenith(cosine, first, w):  # pragma: no cover - compiled
    z = np.degrees(np.arccos(min(max(cosine, 0.0), 1.0))) / (90.0 / (_ZENITHS - 1))
    low = min(int(z), _ZENITHS - 2)
    _cubic(z - low, w)
    return low - 1


@njit(cache=True)
def _facing(cosine, soft):  # pragma: no cover - compiled
    """Mean of max(cosine, 0) over angles within ``soft`` of it."""
    t = np.arccos(min(max(cosine, -1.0), 1.0))
    low, high = min(t - soft, 0.5 * np.pi), min(t + soft, 0.5 * np.pi)
    return (np.sin(high) - np.sin(low)) / (2.0 * np.sin(soft))


#: A ring of regular azimuths written twice and a little more, so that it is read in one piece.
_LAID = 2 * _AZIMUTHS + 4


@njit(cache=True, parallel=True)
def _along(table, swapped, out):  # pragma: no cover - compiled
    """A table (Z, A, Z, A, 3) of eye and light laid out by zenith of the eye and of the light, how
    far the light's azimuth lies on from the eye's, and the eye's azimuth: turning the cloth goes
    along the last. ``swapped``: the table is of light and eye. To ``out`` (Z, Z, A, _LAID, 3)."""
    for ze in prange(_ZENITHS):
        for zl in range(_ZENITHS):
            for on in range(_AZIMUTHS):
                for k in range(_LAID):
                    ae = k % _AZIMUTHS
                    al = (k + on) % _AZIMUTHS
                    for c in range(3):
                        if swapped:
                            out[ze, zl, on, k, c] = table[zl, al, ze, ae, c]
                        else:
                            out[ze, zl, on, k, c] = table[ze, ae, zl, al, c]


@njit(cache=True, parallel=True, fastmath=True)
def _lit(face, back, across, acrosst, light, soft, turns, out):  # pragma: no cover - compiled
    """Add the RGB of one light (3,) by side, turn, y and x of the disc to ``out``.

    A turn is one step of the regular azimuths, so that its weights are those of the first.
    """
    disc = out.shape[2]
    per = _AZIMUTHS / (2.0 * np.pi)
    for row in prange(disc):
        wz_e, wz_l, wa_e, wa_l = np.empty(4), np.empty(4), np.empty(4), np.empty(4)
        gathered = np.empty((turns, 3), np.float32)
        for column in range(disc):
            x = 2.0 * column / (disc - 1) - 1.0
            y = 2.0 * row / (disc - 1) - 1.0
            r = np.sqrt(x * x + y * y)
            if r > 1.0:  # beyond the disc: its edge, so that what is looked up near it is right
                x, y, r = x / r, y / r, 1.0
            nz = 1.0 - r * r
            k = np.sqrt(1.0 + nz)
            nx, ny = x * k, y * k
            # the view's axes carried to the normal; the eye and the light in them
            a1 = np.array([1.0 - nx * nx / (1.0 + nz), -nx * ny / (1.0 + nz), -nx])
            a2 = np.array([-nx * ny / (1.0 + nz), 1.0 - ny * ny / (1.0 + nz), -ny])
            eye = np.arctan2(a2[2], a1[2])
            l1 = light[0] * a1[0] + light[1] * a1[1] + light[2] * a1[2]
            l2 = light[0] * a2[0] + light[1] * a2[1] + light[2] * a2[2]
            ln = light[0] * nx + light[1] * ny + light[2] * nz
            lamp = np.arctan2(l2, l1)
            first_e = _zenith(nz, 0, wz_e)
            first_l = _zenith(abs(ln), 0, wz_l)
            before, behind = _facing(ln, soft), _facing(-ln, soft)
            for side in range(2):
                for way in range(2):  # 0: the light on the eye's side, 1: on the other
                    much = before if way == 0 else behind
                    if much <= 0.0:
                        continue
                    phi_e, phi_l = eye, lamp
                    if way == 1:
                        phi_l += np.pi  # a light on the other side is named by its opposite
                    if side == 1:  # the frame of the face, seen from behind
                        phi_e, phi_l = np.pi - phi_e, np.pi - phi_l
                    place_e, place_l = phi_e * per, phi_l * per
                    low_e, low_l = int(np.floor(place_e)), int(np.floor(place_l))
                    _cubic(place_e - low_e, wa_e)
                    _cubic(place_l - low_l, wa_l)
                    gathered[:] = 0.0
                    for i in range(4):
                        ze, flip_e = first_e + i, 0
                        if ze < 0:
                            ze, flip_e = -ze, _AZIMUTHS // 2
                        ze = min(ze, _ZENITHS - 1)
                        for j in range(4):
                            zl, flip_l = first_l + j, 0
                            if zl < 0:
                                zl, flip_l = -zl, _AZIMUTHS // 2
                            zl = min(zl, _ZENITHS - 1)
                            wz = wz_e[i] * wz_l[j]
                            for m in range(4):
                                ae = low_e + m - 1 + flip_e
                                if side == 0:  # azimuths fall as the cloth turns
                                    ae -= turns - 1
                                ae %= _AZIMUTHS
                                for n in range(4):
                                    on = (low_l + n + flip_l - low_e - m - flip_e) % _AZIMUTHS
                                    w = np.float32(wz * wa_e[m] * wa_l[n])
                                    if way == 0:
                                        own = face[ze, zl, on] if side == 0 else back[ze, zl, on]
                                    elif side == 0:
                                        own = across[ze, zl, on]
                                    else:
                                        own = acrosst[ze, zl, on]
                                    for t in range(turns):
                                        for c in range(3):
                                            gathered[t, c] += w * own[ae + t, c]
                    for t in range(turns):
                        at = turns - 1 - t if side == 0 else t
                        for c in range(3):
                            out[side, t, row, column, c] += much * gathered[at, c]
