"""What one laid stack sends to the eye and lets through, by how the cloth is turned.

A hung cloth shows thousands of orientations at once. The optics is asked once for a stack's mutual
factors between some directions on both of its sides (:func:`core`, which knows no light), and every
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

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

from weavecolor.cache import Kept
from weavecolor.colour.colorimetry import linear_rgb
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.optics.adding import GAPS, PileOptics, over_backings
from weavecolor.optics.appearance import seen_optics
from weavecolor.optics.layer import content
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.encode import AS_SEEN, Seeing
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Light, Scene

Array = NDArray[np.float64]
Half = NDArray[np.float16]

#: Half the width of a light as seen from the cloth, degrees: a window or lamp is not a point.
SOFT_DEG = 9.0
#: Nodes across the disc of normals, turns of the grain over a whole turn, nodes across the
#: disc of sights.
DISC, TURNS, SIGHTS = 40, 48, 33
#: Directions asked of the optics: (zenith in degrees, azimuth steps) ring by ring.
RINGS = ((0.0, 1), (12.0, 6), (24.0, 10), (36.0, 14), (48.0, 16), (58.0, 18), (67.0, 18),
         (74.0, 18), (79.5, 18), (84.0, 18), (87.5, 18))  # fmt: skip
#: The same for a quick first look.
COARSE = ((0.0, 1), (25.0, 6), (50.0, 10), (70.0, 12), (85.0, 12))

_ZENITHS, _AZIMUTHS = 16, 48  # of the regular angles: every 6 degrees, every 7.5 degrees
_STEP_DEG = 90.0 / (_ZENITHS - 1)
_EDGE = 3  # rings carried beyond the pole for the splines
#: A cloth whose factors change by less than this (of their mean) with half a turn has no sense.
_SAME = 2e-3


@dataclass(frozen=True, eq=False)
class Core:
    """A stack's factors between the K directions of ``rings``, light apart; azimuth from the
    outermost warp.

    ``face`` (41, K, K): radiance factor between two directions before the face; ``back``: behind
    it, where a direction stands for its opposite; ``across``: from one before the face to one
    behind. ``even_face``, ``even_back`` (41, K): in even light on the side of the eye; ``to_face``,
    ``to_back``: in even light on the other side. ``straight`` (K,): unscattered share.
    ``reflect``, ``pass_`` (41,): shares of even light sent back by the face and let through in
    all. ``alike``: the same after half a turn.
    """

    rings: tuple[tuple[float, int], ...]
    face: NDArray[np.float32]
    back: NDArray[np.float32]
    across: NDArray[np.float32]
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


def _directions(rings: Sequence[tuple[float, int]]) -> list[tuple[float, float]]:
    return [(z, 360.0 * k / n) for z, n in rings for k in range(n)]


@lru_cache(maxsize=4)
def _spread(rings: tuple[tuple[float, int], ...]) -> NDArray[np.float32]:
    """Matrix (16 * 48, K): values on the rings to values on regular angles.

    Round a ring by its Fourier series, from ring to ring by cubic splines that run on over the
    pole.
    """
    azimuth = 2.0 * np.pi * np.arange(_AZIMUTHS) / _AZIMUTHS
    zeniths = np.array([z for z, _ in rings])
    over = np.concatenate([-zeniths[1 : _EDGE + 1][::-1], zeniths])
    spline = make_interp_spline(over, np.eye(over.size), k=3)
    along = spline(np.minimum(_STEP_DEG * np.arange(_ZENITHS), zeniths[-1]))
    out = np.zeros((_ZENITHS, _AZIMUTHS, sum(n for _, n in rings)))
    start = 0
    for r, (_, steps) in enumerate(rings):
        at = 2.0 * np.pi * np.arange(steps) / steps
        columns = [(0.0, _EDGE + r)]
        if 1 <= r <= _EDGE:
            columns.append((np.pi, _EDGE - r))
        for turn, column in columns:
            apart = (azimuth + turn)[:, None] - at[None]
            wave = np.ones_like(apart)
            for h in range(1, steps // 2 + 1):
                wave += (1.0 if 2 * h == steps else 2.0) * np.cos(h * apart)
            out[:, :, start : start + steps] += along[:, column, None, None] * wave / steps
        start += steps
    return out.reshape(_ZENITHS * _AZIMUTHS, -1).astype(np.float32)


#: One pile, large, for the same layers with and without a backing.
_piles: Kept[tuple[object, ...], PileOptics] = Kept(1)
_cores: Kept[tuple[object, ...], Core] = Kept(16)
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

    ``coarse`` asks for a quarter of the directions. Raises InputError as ``seen_optics``.

    Examples
    --------
    >>> core(Stack(single.layers), coarse=True).face.shape
    (41, 41, 41)
    """
    check_layers(stack)
    key = (stack_key(stack), coarse)
    return _cores.one(key, lambda: _core(_straightened(stack), COARSE if coarse else RINGS))


def check_layers(stack: Stack) -> None:
    """Raises InputError where there is no cloth to draw."""
    if not stack.layers:
        raise InputError("a picture of hung cloth needs a layer of cloth")


def _straightened(stack: Stack) -> Stack:
    first = stack.layers[0].grain_deg
    layers = tuple(Layer(x.cloth, (x.grain_deg - first) % 360.0, x.face) for x in stack.layers)
    return Stack(layers, stack.backing, stack.lay)


def _core(stack: Stack, rings: tuple[tuple[float, int], ...]) -> Core:
    named = _directions(rings)
    count = len(named)
    pile = _piles.one(
        (stack_key(stack)[0], stack.lay, rings),
        lambda: seen_optics(stack, named, named, exact=False),
    )
    a, b = slice(1, 1 + count), slice(1 + count, 1 + 2 * count)
    reflect, under, passed = pile.reflect, pile.under, pile.pass_
    through = pile.through[a]
    mean = (passed[:, 0, 0] + pile.through[0]).copy()
    if stack.backing is not None:
        ground = stack.backing.reflectance
        reflect = over_backings(pile, [ground], GAPS[stack.lay])[0]
        passed, through, mean = np.zeros_like(passed), np.zeros(count), np.zeros(BANDS)
        under = np.broadcast_to(ground[:, None, None], under.shape)
    face = reflect[:, a, a]
    opposite = _half_turn(rings)
    change = np.abs(face - face[:, opposite][:, :, opposite]).mean()
    return Core(
        rings,
        face.astype(np.float32),
        under[:, b, b].astype(np.float32),
        passed[:, a, b].astype(np.float32),
        reflect[:, a, 0],
        under[:, b, 0],
        passed[:, a, 0],
        passed[:, 0, b],
        np.clip(through, 0.0, 1.0),
        reflect[:, 0, 0].copy(),
        mean,
        bool(change < _SAME * face.mean()),
    )


def _half_turn(rings: Sequence[tuple[float, int]]) -> NDArray[np.intp]:
    """Number of each direction's own after half a turn about the normal."""
    out, start = [], 0
    for _, n in rings:
        out.append(start + (np.arange(n) + n // 2) % n)
        start += n
    return np.concatenate(out)


def tables(
    stack: Stack,
    scene: Scene,
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    *,
    coarse: bool = False,
) -> Tables:
    """The tables of ``stack`` (its outermost grain left out) in ``scene``, cached.

    A colour that is looked up is within 1 CIEDE2000 of the optics at 99 of 100 orientations;
    ``coarse`` (a quarter of the directions) is for a first look.

    Examples
    --------
    >>> made = tables(Stack(single.layers), window, coarse=True)
    >>> made.key.shape[0], made.half_turn
    (2, True)
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
    spread = _spread(made.rings)
    size = (_ZENITHS, _AZIMUTHS)
    turns = TURNS // 2 if made.alike else TURNS
    key = np.zeros((2, turns, DISC, DISC, 3), np.float32)
    for lamp in scene.lights:
        matrix = rgb_matrix(lamp.irradiance, scene, seeing, observer).astype(np.float32)
        factors = []
        for table in (made.face, made.back, made.across):
            rgb = np.tensordot(matrix.T, table, 1)
            whole = np.matmul(np.matmul(spread, rgb), spread.T)
            factors.append(np.ascontiguousarray(whole.transpose(1, 2, 0)).reshape(*size, *size, 3))
        face, back, across = factors
        toward = view_vector(lamp, scene)
        _lit(face, back, across, toward, np.radians(SOFT_DEG), turns, TURNS, key)
    even = rgb_matrix(scene.diffuse, scene, seeing, observer)
    white = rgb_matrix(illumination(scene), scene, seeing, observer)
    room = np.zeros((2, SIGHTS, SIGHTS, 4))
    glow = np.ones((2, SIGHTS, SIGHTS, 4))
    straight = spread @ made.straight
    for side, (front, back) in enumerate(
        ((made.even_face, made.to_face), (made.even_back, made.to_back))
    ):
        for out, values, light in ((room, front, even), (glow, back, white)):
            regular = (spread @ (values.T @ light)).reshape(*size, 3)
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
    total = white.sum(axis=0)
    passed = np.clip(made.straight + 0.5 * (made.to_face + made.to_back), 0.0, 1.0)
    start, cosines, means = 0, [], []
    for zenith, steps in made.rings:
        cosines.append(np.cos(np.radians(zenith)))
        means.append(passed[:, start : start + steps].mean(axis=1) @ white / total)
        start += steps
    at = np.linspace(0.0, 1.0, 16)
    out = [np.interp(at, cosines[::-1], np.array(means)[::-1, c]) for c in range(3)]
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


@njit(cache=True, parallel=True)
def _lit(face, back, across, light, soft, turns, round_, out):  # pragma: no cover - compiled
    """Add the RGB of one light (3,) by side, turn, y and x of the disc to ``out``."""
    disc = out.shape[2]
    per = _AZIMUTHS / (2.0 * np.pi)
    for row in prange(disc):
        wz_e, wz_l, wa_e, wa_l = np.empty(4), np.empty(4), np.empty(4), np.empty(4)
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
            for turn in range(turns):
                psi = 2.0 * np.pi * turn / round_
                for side in range(2):
                    for way in range(2):  # 0: the light on the eye's side, 1: on the other
                        much = before if way == 0 else behind
                        if much <= 0.0:
                            continue
                        phi_e = eye - psi
                        phi_l = lamp - psi
                        if way == 1:
                            phi_l += np.pi  # a light on the other side is named by its opposite
                        if side == 1:  # the frame of the face, seen from behind
                            phi_e, phi_l = np.pi - phi_e, np.pi - phi_l
                        place_e, place_l = phi_e * per, phi_l * per
                        low_e, low_l = int(np.floor(place_e)), int(np.floor(place_l))
                        _cubic(place_e - low_e, wa_e)
                        _cubic(place_l - low_l, wa_l)
                        r0 = r1 = r2 = 0.0
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
                                    ae = (low_e + m - 1 + flip_e) % _AZIMUTHS
                                    for n in range(4):
                                        al = (low_l + n - 1 + flip_l) % _AZIMUTHS
                                        w = wz * wa_e[m] * wa_l[n]
                                        if way == 0:
                                            if side == 0:
                                                c = face[ze, ae, zl, al]
                                            else:
                                                c = back[ze, ae, zl, al]
                                        elif side == 0:
                                            c = across[ze, ae, zl, al]
                                        else:
                                            c = across[zl, al, ze, ae]
                                        r0 += w * c[0]
                                        r1 += w * c[1]
                                        r2 += w * c[2]
                        out[side, turn, row, column, 0] += much * r0
                        out[side, turn, row, column, 1] += much * r1
                        out[side, turn, row, column, 2] += much * r2
