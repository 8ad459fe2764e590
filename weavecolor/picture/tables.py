"""What one laid stack sends to the eye and lets through, by how the cloth is turned.

A hung cloth shows thousands of orientations at once. The optics is asked once for a stack's factors
between all directions (:func:`core`, which knows no light), and every orientation in any light is
read from those (:func:`tables`): what went on between layers, which is smooth, and what each layer
alone sends on from each light to the eye. The same tables, as half-floats, feed the drawing here
and the one in the browser. Knows stacks and scenes; knows nothing of shapes.

Frames. View: x to the right, y up, z towards the eye, which is far away. Local: the normal that
faces the eye and the outermost layer's warp. An orientation is the eye about that normal, along the
warp and across it, on an equal-area disc (J. H. Lambert, Beitraege, 1772), and the turn of the warp
from the view's x axis once it is carried to the view the shortest way: the places of eye and light
that a layer's own light is gathered at.

Light: key is what comes from the lights, as wide as they tell, to an eye with the aperture of every
answer (:data:`weavecolor.scene.scene.APERTURE_DEG`, 5 degrees about the direction: of rods the
tables keep as much, of many filaments up to 12, for few of their rays are followed);
:data:`SOFT_DEG` is of shadows alone. Room is the even light. Of a light straight across from the
eye behind the cloth, a luminous surface, key holds what the cloth scatters on, not the surface
itself in its openings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed, breathe, bytes_of
from weavecolor.colour.colorimetry import linear_rgb
from weavecolor.colour.spectra import thinned
from weavecolor.errors import InputError
from weavecolor.optics.adding import GAPS, Ground, over_backings
from weavecolor.optics.allround import AZIMUTHS as _AZIMUTHS
from weavecolor.optics.allround import (
    COARSE,
    FINE,
    Own,
    Rings,
    all_round,
    ring_directions,
    spread,
)
from weavecolor.optics.allround import ZENITHS as _ZENITHS
from weavecolor.optics.cell import filaments
from weavecolor.optics.cell.filaments import kept
from weavecolor.optics.cell.flood import DISC, TURNS, Factors, eye_at, factors, flood
from weavecolor.optics.cell.nodes import nodes
from weavecolor.optics.cell.paths import arctan2_about
from weavecolor.optics.layer import Solved, content
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.encode import AS_SEEN, Seeing
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Light, Scene, shares

Array = NDArray[np.float64]
Half = NDArray[np.float16]

#: Half the width of a light as shadows show it, degrees: a window or lamp is not a point.
SOFT_DEG = 9.0
#: Nodes across the disc of eyes where light is even.
SIGHTS = 33
_COSINES = 721
#: Every how many of the 41 bands pictures are worked out at.
BAND_STEP = 2
_STEP_DEG = 90.0 / (_ZENITHS - 1)
_STEP = np.radians(_STEP_DEG)
#: How much more than a node's own value may be where all about it is dark: as :func:`_to_mix` adds.
_MOST = 1.5
#: A cloth whose factors change by less than this (of their mean) with half a turn has no sense.
_SAME = 2e-3
#: To how many decimals an angle between eye and light (radians) and a light's colour are told
#: apart: lights that stand alike to either side of the eye share what a layer sends.
_DECIMALS = 7


@dataclass(frozen=True, eq=False)
class Core:
    """A stack's factors between the K directions of ``rings``, light apart, at B of the bands;
    azimuth from the outermost warp.

    ``between`` (three of (B, K, K)): radiance factors of what went on between layers, from one
    direction to another: both before the face; both behind it, where a direction stands for its
    opposite; and from one before the face to one behind; None where there is one layer and no
    backing. ``own``: what each layer
    alone sends. ``even_face``, ``even_back`` (B, K): in even light on the side
    of the eye; ``to_face``, ``to_back``: in even light on the other side. ``straight`` (M,):
    unscattered share along the regular angles.
    ``reflect``, ``transmit`` (B,): shares of even light sent back by the face and let through in
    all. ``alike``: the same after half a turn.
    """

    rings: Rings
    between: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]] | None
    own: tuple[Own, ...]
    even_face: Array
    even_back: Array
    to_face: Array
    to_back: Array
    straight: Array
    reflect: Array
    transmit: Array
    alike: bool


@dataclass(frozen=True, eq=False)
class Tables:
    """Half-float tables of one stack in one light on one screen, for both sides (0 face, 1 back).

    ``key`` (2, turns + 1, DISC, DISC, 3): linear RGB from the lights by turn of the warp (over
    half a turn where ``half_turn``, else a whole one; the last is the first again, after half a
    turn with the disc turned about), and the disc of the eye about (warp, across), across first.
    ``room`` (2, SIGHTS, SIGHTS, 4): linear RGB from even light on
    the side of the eye, and the unscattered share, by the disc of the eye.
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


#: Bytes: of one layer over nothing a core is small.
_cores: Kept[tuple[object, ...], Core] = Kept(
    100_000_000, lambda made: 1_000_000 + sum(x.nbytes for x in made.between or ()),
    what_for="hung pictures",
)  # fmt: skip


def _packed(made: Tables) -> dict[str, Any]:
    return {f.name: getattr(made, f.name) for f in fields(made)}


def _tables_of(_: object, arrays: Mapping[str, NDArray[Any]]) -> Tables:
    told = {f.name: arrays[f.name] for f in fields(Tables)}
    return Tables(**{**told, "half_turn": bool(told["half_turn"])})  # type: ignore[arg-type]


_made: Kept[tuple[object, ...], Tables] = Kept(
    24, packed=Packed("tables", lambda key: (key, filaments.EFFORT), _packed, _tables_of)
)
_factors: Kept[tuple[object, ...], Factors] = Kept(6, what_for="hung pictures")
#: Bytes: of three stacks (single, doubled and over a stiffener) in light of one kind.
_laid: Kept[tuple[object, ...], tuple[NDArray[np.float32], ...]] = Kept(
    64_000_000, bytes_of, what_for="hung pictures"
)


def stack_key(stack: Stack) -> tuple[object, ...]:
    """What a stack's optics depend on, turned so that the outermost warp lies at 0."""
    first = stack.layers[0].grain_deg
    return (
        tuple(
            (content(x.cloth), round((x.grain_deg - first) % 360.0, 6), x.face)
            for x in stack.layers
        ),
        None if stack.backing is None else stack.backing.optics,
        stack.lay,
    )


def core(stack: Stack, *, coarse: bool = False) -> Core:
    """The stack's factors between directions, cached; the same for any outermost grain.

    ``coarse`` asks for a third of the directions. Raises InputError where a cloth cannot be woven.

    Examples
    --------
    >>> core(Stack(single.layers), coarse=True).even_face.shape[0]
    21
    """
    check_layers(stack)
    key = (stack_key(stack), coarse)
    return _cores.one(key, lambda: _core(_straightened(stack), COARSE if coarse else FINE))


def check_layers(*stacks: Stack) -> None:
    """Raises InputError where there is no cloth to draw, or a stack of none."""
    if not (stacks and all(stack.layers for stack in stacks)):
        raise InputError("a picture of hung cloth needs a layer of cloth")


def _straightened(stack: Stack) -> Stack:
    first = stack.layers[0].grain_deg
    layers = tuple(Layer(x.cloth, (x.grain_deg - first) % 360.0, x.face) for x in stack.layers)
    return Stack(layers, stack.backing, stack.lay)


def _core(stack: Stack, rings: Rings) -> Core:
    made = all_round(stack, rings, BAND_STEP)
    pile, own = made.pile, made.own
    share, e = pile.share, slice(-len(ring_directions(rings)), None)
    reflect, under, passed = pile.reflect, pile.under, pile.transmit
    straight = made.straight
    mean = (passed @ share) @ share + pile.through @ share
    if stack.backing is not None:
        ground = Ground.of(stack.backing, slice(None, None, BAND_STEP))
        (reflect,) = over_backings(pile, [ground], GAPS[stack.lay])
        passed, mean = np.zeros_like(passed), np.zeros_like(mean)
        straight = np.zeros_like(straight)
        sent = ground.reflectance[:, None, None]
        under = np.broadcast_to(sent, under.shape).astype(np.float32)
        none = np.zeros(straight.size, np.float32)
        own = tuple(replace(x, below=none) for x in own)
    between = None
    if len(own) > 1 or stack.backing is not None:
        face, back, across = (
            np.ascontiguousarray(x[:, e, e], np.float32) for x in (reflect, under, passed)
        )
        between = face, back, across
    grid = nodes()
    opposite = grid.turned(grid.steps // 2)[: grid.half]
    plain = pile.reflect[:, : grid.half, : grid.half]
    change = np.abs(plain - plain[:, opposite][:, :, opposite]).mean()
    return Core(
        rings,
        between,
        own,
        reflect[:, e] @ share,
        under[:, e] @ share,
        passed[:, e] @ share,
        share @ passed[:, :, e],
        np.clip(straight, 0.0, 1.0),
        (reflect @ share) @ share,
        mean,
        bool(change < _SAME * plain.mean()),
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

    ``seeing`` and ``observer`` ("2" or "10") as pictures have them. How near a colour that is
    looked up lies to the optics is told in DEVELOPERS.md; what is left is noise of the rays that
    are followed. ``coarse`` (a third of the directions) is for a first look. Raises InputError
    where there is no cloth to draw.

    Examples
    --------
    >>> made = tables(Stack(single.layers), window, coarse=True)
    >>> made.key.shape[0]
    2
    """
    key = (stack_key(stack) if stack.layers else (), scene.told(), seeing.space, seeing.adapt,
           observer, coarse)  # fmt: skip
    check_layers(stack)
    return _made.one(key, lambda: _tables(core(stack, coarse=coarse), scene, seeing, observer))


def rgb_matrix(light: Array, scene: Scene, seeing: Seeing, observer: str) -> Array:
    """Matrix (41, 3): radiance factor in ``light`` (41,) to linear RGB on the screen of ``seeing``
    in ``scene``, for the ``observer`` "2" or "10"."""
    return linear_rgb(np.diag(light), illumination(scene), seeing.space, seeing.adapt,
                      white=scene.white, observer=observer)  # fmt: skip


def view_vector(light: Light, scene: Scene) -> Array:
    """Direction of a light in the frame of the view that the scene's viewer has."""
    right, _, out = _up_right(scene.view_zenith_deg, scene.view_azimuth_deg)
    x, y, z = _up_right(light.zenith_deg, light.azimuth_deg)
    t, e = np.arctan2(right, out), np.radians(raised_deg(scene))
    x, z = np.cos(t) * x - np.sin(t) * z, np.cos(t) * z + np.sin(t) * x
    return np.array([x, np.cos(e) * y - np.sin(e) * z, np.sin(e) * y + np.cos(e) * z])


def shines_through(light: Light, toward: Array) -> bool:
    """Whether a light that lies ``toward`` (3,) in the view's frame is a luminous surface straight
    behind, as in every answer."""
    return bool(toward[2] < -np.cos(np.radians(light.half_deg)))


def raised_deg(scene: Scene) -> float:
    """How far above the level the viewer of a scene looks from, degrees: 0 in a room, below 0 from
    before a stage."""
    _, up, _ = _up_right(scene.view_zenith_deg, scene.view_azimuth_deg)
    return float(np.degrees(np.arcsin(np.clip(up, -1.0, 1.0))))


def _up_right(zenith_deg: float, azimuth_deg: float) -> Array:
    """A scene's direction as right, up, out of the picture: azimuth 0 is down, 90 to the right."""
    z, a = np.radians(zenith_deg), np.radians(azimuth_deg)
    return np.array([np.sin(z) * np.sin(a), -np.sin(z) * np.cos(a), np.cos(z)])


def _tables(made: Core, scene: Scene, seeing: Seeing, observer: str) -> Tables:
    def told(light: Array) -> Array:
        return thinned(rgb_matrix(light, scene, seeing, observer), BAND_STEP)

    wide = spread(made.rings)
    size = (_ZENITHS, _AZIMUTHS)
    span = np.pi if made.alike else 2.0 * np.pi
    key = np.zeros((2, TURNS // 2 if made.alike else TURNS, DISC, DISC, 3), np.float32)
    for lamp in scene.lights:
        matrix = told(lamp.irradiance)
        toward, onto = view_vector(lamp, scene), _onto(lamp.half_deg)
        if shines_through(lamp, toward):
            for side, values in enumerate((made.to_face, made.to_back)):
                seen = (wide @ (values.T @ matrix)).reshape(*size, 3)
                key[side] += _sights(seen, side, DISC)
            continue
        # lights of one kind differ by their strength alone, and so does one carried round
        strength = max(float(matrix.max()), 1e-12)
        channels, falls = np.round(matrix / strength, _DECIMALS), strength * onto
        if made.between is not None:
            before, behind, across = _between(made, wide, channels)
            _lit(before, behind, across, toward, span, falls, key)
        angle = round(float(np.arccos(np.clip(toward[2], -1.0, 1.0))), _DECIMALS)
        for own in made.own:
            one = _sent(own.solution, channels, angle, lamp.half_deg)
            breathe()
            face = np.zeros((1, 1), np.float32) if own.face is None else own.face
            _own_light(
                one.table, own.turn, own.flip, face, own.above, own.below, toward, span, falls, key
            )
    breathe()
    even, white = told(scene.diffuse), told(illumination(scene))
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
    mixed = _to_mix(key, made.alike)
    half = np.concatenate([mixed, _again(mixed, made.alike)], axis=1).astype(np.float16)
    total = white.sum(axis=0)
    return Tables(
        half,
        room.astype(np.float16),
        glow.astype(np.float16),
        _dim(made, white),
        np.array([made.reflect @ white / total, made.transmit @ white / total], np.float32),
        even.sum(axis=0).astype(np.float32),
        made.alike,
    )


def _again(key: NDArray[np.float32], alike: bool) -> NDArray[np.float32]:
    """The first turn of nodes as it comes once more after the last: where a cloth is ``alike``
    after half a turn, with the disc turned about."""
    return key[:, :1, ::-1, ::-1] if alike else key[:, :1]


def _to_mix(key: NDArray[np.float32], alike: bool) -> NDArray[np.float32]:
    """Nodes (2, turns, DISC, DISC, 3) that are right in the mean of what is mixed linearly between
    them: mixed between true values, it is off by a twelfth of the second difference in the mean.
    Where it swings through nought it stays there; a channel below is of a colour that the screen
    cannot show, and not of less light.
    """
    y, x = (np.pad(key, [(0, 0)] * axis + [(1, 1)] + [(0, 0)] * (4 - axis), mode="edge")
            for axis in (2, 3))  # fmt: skip
    turns = np.concatenate([_again(key[:, ::-1], alike), key, _again(key, alike)], axis=1)
    beside = (turns[:, 2:] + turns[:, :-2] + y[:, :, :-2] + y[:, :, 2:]
              + x[:, :, :, :-2] + x[:, :, :, 2:])  # fmt: skip
    return np.asarray(np.maximum(key - (beside - 6.0 * key) / 12.0, _MOST * np.minimum(key, 0.0)),
                      np.float32)  # fmt: skip


@lru_cache(maxsize=8)
def _onto(half_deg: float) -> NDArray[np.float32]:
    """What a light so wide brings to one side of the cloth, by its cosine to it, -1 to 1."""
    cosines = np.linspace(-1.0, 1.0, _COSINES)
    each = [shares(float(z), half_deg)[0] for z in np.degrees(np.arccos(cosines))]
    return np.array(each, np.float32)


@njit(cache=True)
def _falls(onto, cosine):  # pragma: no cover - compiled
    """What a light of such a ``cosine`` brings, by :func:`_onto`."""
    place = 0.5 * (cosine + 1.0) * (_COSINES - 1)
    low = min(max(int(place), 0), _COSINES - 2)
    return onto[low] + (place - low) * (onto[low + 1] - onto[low])


def _sent(solution: Solved, matrix: Array, angle: float, half_deg: float) -> Factors:
    """What one dyed cell alone sends on between directions so far apart; kept."""

    def read() -> Factors:
        rays = flood(solution.white.cell)
        left = kept(rays.cell, solution.absorption) @ matrix
        return factors(rays, left, matrix.sum(axis=0), angle, half_deg)

    key = (solution.white.cell, solution.absorption.tobytes(), matrix.tobytes(), angle,
           half_deg, filaments.EFFORT)  # fmt: skip
    return _factors.one(key, read)


def _between(
    made: Core, wide: NDArray[np.float32], channels: Array
) -> tuple[NDArray[np.float32], ...]:
    """What went on between layers, :class:`Core`'s own tables, at the regular angles, each
    (Z, A, Z, A, 3) in ``channels`` (B, 3); kept."""

    def read() -> tuple[NDArray[np.float32], ...]:
        size, matrix = (_ZENITHS, _AZIMUTHS), channels.astype(np.float32)
        each = []
        for table in made.between or ():
            breathe()
            whole = np.matmul(np.matmul(wide, np.tensordot(matrix.T, table, 1)), wide.T)
            each.append(np.ascontiguousarray(whole.transpose(1, 2, 0)).reshape(*size, *size, 3))
        return tuple(each)

    return _laid.one((made, channels.tobytes()), read)


def _dim(made: Core, white: Array) -> NDArray[np.float32]:
    """Share of a beam let through, straight and scattered, by its cosine to the cloth (16, 3)."""
    scattered = (0.5 * (made.to_face + made.to_back)).T @ (white / white.sum(axis=0))
    passed = spread(made.rings) @ scattered + made.straight[:, None]
    means = passed.reshape(_ZENITHS, _AZIMUTHS, 3).mean(axis=1)
    cosines = np.cos(np.radians(_STEP_DEG * np.arange(_ZENITHS)))
    at = np.linspace(0.0, 1.0, 16)
    out = [np.interp(at, cosines[::-1], means[::-1, c]) for c in range(3)]
    return np.asarray(np.clip(np.stack(out, axis=1), 0.0, 1.0), dtype=np.float32)


def _sights(regular: Array, side: int, across_: int = SIGHTS) -> Array:
    """Values at regular angles (16, 48, c) on a disc of eyes with so many nodes ``across_``;
    bilinear of fine steps."""
    at = np.linspace(-1.0, 1.0, across_)
    across, along = np.meshgrid(at, at, indexing="ij")  # rows: across the warp
    radius = np.minimum(np.hypot(along, across), 1.0)
    zenith = np.degrees(np.arccos(1.0 - radius**2))
    azimuth = np.arctan2(across, along)
    if side:
        azimuth = np.pi - azimuth
    from scipy.interpolate import make_interp_spline  # slow to load

    fine = make_interp_spline(_STEP_DEG * np.arange(_ZENITHS), regular, k=3)
    rows = fine(np.minimum(zenith, 90.0).ravel())  # (n, 48, c)
    place = (azimuth.ravel() / (2.0 * np.pi) * _AZIMUTHS) % _AZIMUTHS
    low = np.floor(place).astype(int) % _AZIMUTHS
    rest = (place - np.floor(place))[:, None]
    n = np.arange(rows.shape[0])
    out = (1 - rest) * rows[n, low] + rest * rows[n, (low + 1) % _AZIMUTHS]
    return np.asarray(out.reshape(across_, across_, -1))


@njit(cache=True)
def _regular(w, b, n):  # pragma: no cover - compiled
    """Where among the regular angles the line of a direction (along the warp, across, out of the
    face) lies: the ring below it, the share of the way to the next, and its azimuth in steps."""
    if n < 0.0:
        w, b, n = -w, -b, -n
    z = arctan2_about(np.sqrt(max(1.0 - n * n, 0.0)), n) / _STEP
    low = min(int(z), _ZENITHS - 2)
    return low, z - low, arctan2_about(b, w) * (_AZIMUTHS / (2.0 * np.pi))


@njit(cache=True)
def _about(azimuth):  # pragma: no cover - compiled
    """The two azimuths about one in steps, and the share of the way to the second."""
    step = int(np.floor(azimuth))
    return step % _AZIMUTHS, (step + 1) % _AZIMUTHS, azimuth - step


@njit(cache=True)
def _of_line(values, ring, far, one, two, rest):  # pragma: no cover - compiled
    """A value at the regular angles, mixed at a line as :func:`_regular` and :func:`_about` tell
    it."""
    low, high = ring * _AZIMUTHS, (ring + 1) * _AZIMUTHS
    return (1.0 - far) * ((1.0 - rest) * values[low + one] + rest * values[low + two]) + far * (
        (1.0 - rest) * values[high + one] + rest * values[high + two]
    )


@njit(cache=True)
def _eye_of(e, side):  # pragma: no cover - compiled
    """1 on the face's side and -1 on the back's; and where among the regular angles the eye of a
    node lies there: ring, share of the way to the next, both azimuths and share of the second."""
    sign = 1.0 if side == 0 else -1.0
    ring, far, azimuth = _regular(e[0], sign * e[1], sign * e[2])
    one, two, past = _about(azimuth)
    return sign, ring, far, one, two, past


@njit(cache=True)
def _lights(light, span, turns):  # pragma: no cover - compiled
    """A light (3,) of the view as the cloth is turned (turns, 4): how far it has gone round the
    eye, and along the warp carried to the eye, across that and towards the eye."""
    azimuth, flat = np.arctan2(light[1], light[0]), np.sqrt(light[0] ** 2 + light[1] ** 2)
    out = np.empty((turns, 4))
    for t in range(turns):
        angle = azimuth - span * t / turns
        out[t] = angle, flat * np.cos(angle), flat * np.sin(angle), light[2]
    return out


@njit(cache=True)
def _light_at(e, one, two, light):  # pragma: no cover - compiled
    """A light as :func:`_lights` has it, in the frame of an eye and the warp carried to it."""
    _, c, s, z = light
    return (
        z * e[0] + c * one[0] + s * two[0],
        z * e[1] + c * one[1] + s * two[1],
        z * e[2] + c * one[2] + s * two[2],
    )


@njit(cache=True, parallel=True, fastmath=True)
def _lit(face, back, across, light, span, onto, out):  # pragma: no cover - compiled
    """Add what went on between layers, tables (Z, A, Z, A, 3) of eye and light, of one light (3,)
    that brings ``onto`` as of :func:`_onto`, to ``out`` (2, turns, DISC, DISC, 3); ``span``:
    radians of all turns."""
    turns, disc = out.shape[1], out.shape[2]
    lights = _lights(light, span, turns)
    for row in prange(disc):
        for column in range(disc):
            e, one, two = eye_at(column, row, disc)
            for side in range(2):
                sign, ring_e, far_e, e0, e1, past_e = _eye_of(e, side)
                for t in range(turns):
                    lw, lb, lz = _light_at(e, one, two, lights[t])
                    # near along the cloth a part of a light stands on either side
                    for on in range(2):
                        falls = _falls(onto, lz if on == 0 else -lz)
                        if falls <= 0.0:
                            continue
                        up = max(lz, 1e-9) if on == 0 else min(lz, -1e-9)
                        ring_l, far_l, at_l = _regular(lw, sign * lb, sign * up)
                        l0, l1, past_l = _about(at_l)
                        for i in range(2):
                            for m in range(2):
                                w = falls * (far_e if i else 1.0 - far_e)
                                w *= past_e if m else 1.0 - past_e
                                a, b = ring_e + i, e1 if m else e0
                                for j in range(2):
                                    for k in range(2):
                                        v = w * (far_l if j else 1.0 - far_l)
                                        v *= past_l if k else 1.0 - past_l
                                        c, d = ring_l + j, l1 if k else l0
                                        if on == 0:
                                            own = (face if side == 0 else back)[a, b, c, d]
                                        elif side == 0:
                                            own = across[a, b, c, d]
                                        else:
                                            own = across[c, d, a, b]
                                        for n in range(3):
                                            out[side, t, row, column, n] += v * own[n]


@njit(cache=True, parallel=True, fastmath=True)
def _own_light(
    table, turn, flip, face, above, below, light, span, onto, out
):  # pragma: no cover - compiled
    """Add what one layer alone sends of one light (3,) to ``out`` (2, turns, DISC, DISC, 3);
    ``table`` as in :class:`Factors`, ``span`` radians of all turns, ``onto`` as of :func:`_onto`,
    the rest as in :class:`Own`."""
    turns, disc, many = out.shape[1], out.shape[2], table.shape[4]
    ct, st = np.cos(turn), np.sin(turn)
    lights, covered = _lights(light, span, turns), face.shape[0] > 1
    # where the lights lie among a table's, with the warp going round with them or against them
    about = np.empty((2, turns, 2), np.intp)
    rest = np.empty((2, turns), np.float32)
    for way in range(2):
        for t in range(turns):
            angle = lights[t, 0] if way == 0 else -lights[t, 0]
            place = (angle + (turn if flip else -turn)) * many / (2.0 * np.pi)
            low = np.floor(place + 1e-9)
            about[way, t] = int(low) % many, (int(low) + 1) % many
            rest[way, t] = place - low
    for row in prange(disc):
        sent = np.empty((2, many, 3), np.float32)
        through = np.empty(face.shape[1], np.float32)
        for column in range(disc):
            e, one, two = eye_at(column, row, disc)
            for side in range(2):
                sign, ring_e, far_e, e0, e1, past_e = _eye_of(e, side)
                # along the outermost warp, across it, out of the face
                ew, eb, en = e[0], sign * e[1], sign * e[2]
                eye = above if side == 0 else below
                gate_e = _of_line(eye, ring_e, far_e, e0, e1, past_e)
                if covered and side == 0:
                    through[:] = _of_line(face, ring_e, far_e, e0, e1, past_e)
                # in the frame of the layer's own face, where the light goes round with its warp
                ew, eb, way = ct * ew + st * eb, ct * eb - st * ew, side
                if flip:
                    eb, en, way = -eb, -en, 1 - side
                own = 0 if en > 0.0 else 1
                k = 0.5 * (disc - 1) / np.sqrt(1.0 + abs(en))
                x, y = 0.5 * (disc - 1) + ew * k, 0.5 * (disc - 1) + eb * k
                x0, y0 = min(int(x + 1e-9), disc - 2), min(int(y + 1e-9), disc - 2)
                x, y = np.float32(x - x0), np.float32(y - y0)
                for kind in range(2):
                    at = table[own, kind]
                    for r in range(many):
                        for n in range(3):
                            a = (1 - x) * at[y0, x0, r, n] + x * at[y0, x0 + 1, r, n]
                            b = (1 - x) * at[y0 + 1, x0, r, n] + x * at[y0 + 1, x0 + 1, r, n]
                            sent[kind, r, n] = (1 - y) * a + y * b
                for t in range(turns):
                    lw, lb, lz = _light_at(e, one, two, lights[t])
                    lb *= sign
                    r0, r1 = about[way, t]
                    far = rest[way, t]
                    falls = _falls(onto, abs(lz))  # the table's factors are of the larger part
                    for kind in range(2):
                        one_, next_ = sent[kind, r0], sent[kind, r1]
                        if one_.sum() + next_.sum() <= 0.0:
                            continue
                        gate = falls
                        if side != 0 or kind != 0 or covered:
                            # of a wide light near along the cloth a part stands on the other side
                            up = max(lz, 1e-9) if kind == 0 else min(lz, -1e-9)
                            ring_l, far_l, azimuth_l = _regular(lw, lb, sign * up)
                            l0, l1, past_l = _about(azimuth_l)
                            if side == 0 and kind == 0:
                                gate *= _of_line(through, ring_l, far_l, l0, l1, past_l)
                            else:
                                lamp = above if side == kind else below
                                gate *= gate_e * _of_line(lamp, ring_l, far_l, l0, l1, past_l)
                        for n in range(3):
                            out[side, t, row, column, n] += gate * (
                                (1 - far) * one_[n] + far * next_[n]
                            )
