"""Cloth on a body, staged for drawing: where everything is, how it is lit, what the eye gets.

Knows shapes, tables, light sweeps and pixels; puts them together. What does not change while the
garment turns (:func:`stage`, :func:`lit_stage`) is kept apart from what does (:func:`picture`), as
in the browser. The eye is far away, so that one sight serves the whole picture; the garment turns
on its stand before an eye and lights that stay.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import sha256
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed, breathe
from weavecolor.errors import InputError
from weavecolor.optics.stack import MOST_LAYERS, MOST_TURNED_DEG, Layer, Stack
from weavecolor.picture import raster
from weavecolor.picture.encode import AS_SEEN, Seeing, before_easing, exposure_for
from weavecolor.picture.shapes import Form, Shape
from weavecolor.picture.sweep import densities, openness, soft_directions, taken
from weavecolor.picture.tables import (
    SOFT_DEG,
    Tables,
    check_layers,
    raised_deg,
    rgb_matrix,
    shines_through,
    tables,
    view_vector,
)
from weavecolor.picture.threads import BEGIN, LAYERS, ROW, threads
from weavecolor.scene.backings import Backing, backing
from weavecolor.scene.folds import INSIDE, sent_on
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene
from weavecolor.textile.construction import geometry_of

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

#: Displayed linear grey of the grounds (L* 72, 93 and 22).
GROUNDS = {"grey": 0.437, "light": 0.82, "dark": 0.036}
#: Half the side of the floor, mm, and vertices along it.
FLOOR_MM, FLOOR_STEPS = 1100.0, 45
#: How far from a garment one stands, and how high the eye of one who stands is, mm (common
#: practice, no source).
AWAY_MM, EYE_MM = 4000.0, 1600.0
#: How far cloth is drawn before what it touches, mm.
AHEAD_MM = 3.0
_STRIPS = 16
#: Radiance of a body under cloth, of what falls on it. Assumed.
_BENEATH = 0.5


@dataclass(frozen=True, eq=False)
class Cover:
    """Cloth on one shape: what it is laid up of, and its shape.

    ``stack``'s backing counts where it is ``lined``, sewn to it as one; the outermost layer's grain
    is taken from the shape's own warp.
    """

    shape: Shape
    stack: Stack
    lined: bool = False


@dataclass(frozen=True, eq=False)
class Stage:
    """Everything in its place, light apart; object frame, mm.

    ``points`` (N, 3) with ``normals`` (N, 3) out of the face, ``own_warps`` (N, 3) of cloth on the
    straight grain, ``opens`` (N, 4)
    open and body's share before the face and behind it, ``own_places`` (N, 2) on that cloth,
    ``folds`` (N,) mm from where it is doubled, below 0 where it is; ``quads`` (M, 4) of cloth and
    ``kind`` (M,): which of ``stacks`` lies there, the doubled one following it; ``plains``: which
    of them each is made of, itself where it is not doubled; ``grains``: degrees that each lies
    turned by. ``body`` (B, 3)
    with ``body_normals``, ``triangles`` (T, 3), ``body_part`` (B,) 0 the form, 1 what it wears
    beneath, and ``body_open`` (B, 4): open, one layer, more, body;
    ``floor`` (F, 3) with ``tiles`` (., 3) and ``floor_open`` (F, 4). ``worn``: on a figure that
    stands there; else it hangs before the eye.
    """

    points: Floats
    normals: Floats
    own_warps: Floats
    opens: Floats
    own_places: Floats
    folds: Floats
    quads: NDArray[np.int32]
    kind: NDArray[np.int32]
    stacks: tuple[Stack, ...]
    plains: tuple[int, ...]
    grains: tuple[float, ...]
    body: Floats
    body_normals: Floats
    triangles: NDArray[np.int32]
    body_part: NDArray[np.uint8]
    body_open: Floats
    floor: Floats
    tiles: NDArray[np.int32]
    floor_open: Floats
    worn: bool

    @property
    def bands(self) -> list[int]:
        """Kinds that lie close on a body, and shade nothing but what they hide."""
        return [k for k, plain in enumerate(self.plains) if k == plain + 2]

    @cached_property
    def lifts(self) -> tuple[float, float]:
        """How far nearer a light the places of cloth, and of body and floor, are read, mm."""
        return _edge(self.points, self.quads), _edge(self.body, self.triangles)

    @cached_property
    def about(self) -> Array:
        """What is linear in the place (N, 4): 1, and where each point is, m."""
        return np.concatenate([np.ones((len(self.points), 1)), 1e-3 * self.points], axis=1)

    @cached_property
    def fit(self) -> Array:
        """Matrix (4, 4) that makes sums of :attr:`about` times values the line through these."""
        return np.asarray(np.linalg.pinv(self.about.T @ self.about))

    @cached_property
    def _turned(self) -> tuple[Array, Array]:
        """Cosine and sine (N, 1) of the grain at each place."""
        grain = np.zeros((len(self.points), 1))
        grain[self.quads] = np.radians(self.grains)[self.kind][:, None, None]
        return np.cos(grain), np.sin(grain)

    @cached_property
    def warps(self) -> Floats:
        """Direction (N, 3) of the warp as the cloth lies, turned anticlockwise seen from the face.
        """
        c, s = self._turned
        return (c * self.own_warps + s * np.cross(self.normals, self.own_warps)).astype(np.float32)

    @cached_property
    def places(self) -> Floats:
        """Places (N, 2) on the cloth as it lies."""
        (c, s), (u, v) = self._turned, self.own_places.T[..., None].astype(float)
        return np.concatenate([c * u - s * v, s * u + c * v], axis=1).astype(np.float32)


def doubled(stack: Stack) -> Stack:
    """The layers of a turned-up hem or a pressed seam: the whole stack folded back on itself.

    A fold mirrors: what lay at an angle to it lies at the opposite one.

    Examples
    --------
    >>> [x.face for x in doubled(single).layers]
    ['face', 'back']
    """
    back = tuple(
        Layer(x.cloth, -x.grain_deg, "back" if x.face == "face" else "face")
        for x in reversed(stack.layers)
    )
    return Stack((stack.layers + back)[:MOST_LAYERS], stack.backing, stack.lay)


def folded_over(made: Tables) -> Tables:
    """Tables of cloth folded over its stiffener: its own face on both sides."""
    return replace(made, **{x: getattr(made, x)[[0, 0]] for x in ("key", "room", "glow")})


def warp_directions(shape: Shape) -> Array:
    """Direction (N, 3) of the warp at each vertex of cloth on the straight grain: down the cloth.
    """
    p, place = shape.vertices.astype(float), shape.cloth_mm.astype(float)
    total = np.zeros_like(p)
    for i, j, k in ((0, 1, 3), (1, 2, 0), (2, 3, 1), (3, 0, 2)):
        a, b, c = shape.quads[:, i], shape.quads[:, j], shape.quads[:, k]
        du, dw = place[b] - place[a], place[c] - place[a]
        area = du[:, 0] * dw[:, 1] - dw[:, 0] * du[:, 1]
        area = np.where(np.abs(area) < 1e-6, np.inf, area)[:, None]
        down = ((p[c] - p[a]) * du[:, :1] - (p[b] - p[a]) * dw[:, :1]) / area
        for axis in range(3):
            total[:, axis] += np.bincount(a, down[:, axis], minlength=len(p))
    n = shape.normals.astype(float)
    total -= (total * n).sum(axis=1, keepdims=True) * n
    return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-9))


def stage(
    covers: Sequence[Cover], body: Form | None = None, *, beneath: Shape | None = None,
    floor: bool = True, open_: Floats | None = None,
) -> Stage:  # fmt: skip
    """Put cloth and ``body`` in their places.

    ``covers``: what hangs; ``beneath``: an inner shape of close cloth that the body wears, drawn as
    part of it; ``floor``: whether it stands on one; ``open_`` (B + F, 4): how open body and floor
    are, where that is known, else it is worked out and kept. Raises InputError where there is no
    cloth.
    """
    check_layers(*(cover.stack for cover in covers))
    stacks: list[Stack] = []
    plains: list[int] = []
    parts: list[tuple[NDArray[Any], ...]] = []
    base = 0
    for cover in covers:
        shape, stack = cover.shape, cover.stack
        if not cover.lined:
            stack = replace(stack, backing=None)
        kind = np.full(len(shape.quads), len(stacks), np.int32)
        stacks += [stack, doubled(stack)]
        band = shape.band[shape.quads[:, 0]]
        if band.any():  # cloth doubled over its stiffener
            kind[band] = len(stacks)
            stacks.append(replace(doubled(stack), backing=backing("white")))
        plains += [len(plains)] * (len(stacks) - len(plains))
        fold = np.minimum(shape.to_hem_mm - shape.hem_mm, shape.to_seam_mm - shape.seam_mm)
        fold = np.where(shape.band, 1.0, np.clip(fold, -500.0, 500.0))
        opens = np.stack([shape.open_front, shape.body_front, shape.open_back, shape.body_back], 1)
        parts.append((shape.vertices, shape.normals, warp_directions(shape), opens,
                      shape.cloth_mm, fold, shape.quads + base, kind))  # fmt: skip
        base += len(shape.vertices)
    points, normals, warps, opens, places, folds, quads, kinds = (
        np.concatenate(x) for x in zip(*parts, strict=True)
    )
    if body is None:  # where it stood there is cloth on the other side
        opens[:, [1, 3]] = 0.0
    close = np.concatenate([cover.shape.band[cover.shape.quads[:, 0]] for cover in covers])
    form, normals_, triangles, part = _solid(body, beneath)
    solid = form, normals_, triangles
    worn = any(cover.shape.body == "figure" for cover in covers)
    ground, tiles = _floor(points, worn) if floor else (np.zeros((0, 3)), np.zeros((0, 3), int))
    bare, under = (
        _openness(points, quads[~close], solid, ground) if open_ is None else
        (open_[: len(form)], open_[len(form) :][: len(ground)])
    )  # fmt: skip
    return Stage(
        points.astype(np.float32), normals.astype(np.float32), warps.astype(np.float32),
        opens.astype(np.float32), places.astype(np.float32), folds.astype(np.float32),
        quads.astype(np.int32), kinds,
        tuple(stacks), tuple(plains), tuple(stacks[k].layers[0].grain_deg for k in plains),
        form, normals_, triangles, part, bare, ground.astype(np.float32),
        tiles.astype(np.int32), under, worn,
    )  # fmt: skip


def undoubled(staged: Stage) -> Stage:
    """A stage with hems, seams and bands drawn as the cloth itself, for a first look: what is
    doubled has tables of its own, which take as long as all the rest."""
    return replace(staged, stacks=tuple(staged.stacks[k] for k in staged.plains))


def _solid(body: Form | None, beneath: Shape | None) -> tuple[NDArray[Any], ...]:
    """Vertices, normals, triangles and part of the form and of what it wears."""
    vertices, normals = np.zeros((0, 3), np.float32), np.zeros((0, 3), np.float32)
    triangles, part = np.zeros((0, 3), np.int32), np.zeros(0, np.uint8)
    if body is not None:
        vertices, normals, triangles = body.vertices, body.normals, body.triangles
        part = np.zeros(len(vertices), np.uint8)
    if beneath is not None:
        q = beneath.quads + len(vertices)
        triangles = np.concatenate([triangles, q[:, [0, 1, 2]], q[:, [0, 2, 3]]]).astype(np.int32)
        vertices = np.concatenate([vertices, beneath.vertices]).astype(np.float32)
        normals = np.concatenate([normals, beneath.normals]).astype(np.float32)
        part = np.concatenate([part, np.ones(len(beneath.vertices), np.uint8)])
    return vertices, normals, triangles, part


def _floor(points: Array, worn: bool) -> tuple[Array, NDArray[np.intp]]:
    """The floor under what hangs there, or under the feet of one who wears it, drawn or not."""
    low = min(float(points[:, 2].min()), 0.0 if worn else np.inf) - 2.0
    at = np.linspace(-FLOOR_MM, FLOOR_MM, FLOOR_STEPS)
    x, y = np.meshgrid(at, at, indexing="ij")
    ground = np.stack([x.ravel(), y.ravel(), np.full(x.size, low)], axis=1)
    i = np.arange(FLOOR_STEPS * FLOOR_STEPS).reshape(FLOOR_STEPS, FLOOR_STEPS)
    a, b, c, d = (s.ravel() for s in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    return ground, np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])


def _quadded(triangles: NDArray[Any]) -> NDArray[Any]:
    return np.concatenate([triangles, triangles[:, 2:]], axis=1)


#: How open body and floor are, by all that it depends on; for other runs, too.
_open_places: Kept[str, tuple[NDArray[Any], ...]] = Kept(
    8,
    packed=Packed(
        "openness",
        lambda name: name,
        lambda made: {"body": made[0], "floor": made[1]},
        lambda _, x: (x["body"], x["floor"]),
    ),
)


def _openness(
    points: Array, quads: NDArray[Any], solid: tuple[NDArray[Any], ...], ground: Array
) -> tuple[NDArray[Any], ...]:
    told = sha256()
    for x in (points, quads, *solid, ground):
        told.update(np.ascontiguousarray(x).tobytes())
    return _open_places.one(told.hexdigest(), lambda: _places_open(points, quads, solid, ground))


def _places_open(
    points: Array, quads: NDArray[Any], solid: tuple[NDArray[Any], ...], ground: Array
) -> tuple[NDArray[Any], ...]:
    body, normals, triangles = solid
    everything = np.concatenate([points, body]).astype(float)
    faces = np.concatenate([quads, _quadded(triangles) + len(points)])
    opaque = np.arange(len(faces)) >= len(quads)
    places = np.concatenate([body, ground]).astype(float)
    up = np.broadcast_to([0.0, 0.0, 1.0], ground.shape)
    if not len(places):
        return np.zeros((0, 4), np.float32), np.zeros((0, 4), np.float32)
    made = openness(everything, faces, opaque, places, np.concatenate([normals, up]), 8.0)[:, 0]
    return made[: len(body)], made[len(body) :]


@dataclass(frozen=True, eq=False)
class Lamp:
    """One light as drawn: where it is in the view's frame, its RGB on a white card that faces it,
    and (2, 3) on the body and on what it wears."""

    direction: Array
    white: Array
    body: Array


@dataclass(frozen=True, eq=False)
class Lit:
    """A stage in a light on a screen: all that the drawing needs but the turn.

    ``tables``: of each of the stage's stacks; ``light`` (kinds, 4, 3) as in ``raster.shaded``;
    ``body_room`` (2, 4, 3): RGB of the body, and of what it wears, in the room's light for each way
    it is open;
    ``floor_room`` (4, 3): the same over a bare floor's; ``ground`` (3,): the ground before
    exposure; ``uneven`` (kinds, 5) as in ``raster.unevenness``; ``sent`` (41, 3): radiance factor
    to linear RGB in all of the light; ``raised_deg``: how far above the level its viewer looks
    from; ``spun``: radians that the lights stand further round the eye than in the tables.
    """

    stage: Stage
    tables: tuple[Tables, ...]
    lamps: tuple[Lamp, ...]
    light: Array
    body_room: Array
    floor_room: Array
    ground: Array
    exposure: float
    uneven: Array
    sent: Array
    raised_deg: float
    spun: float = 0.0

    @cached_property
    def stacked(self) -> tuple[Floats, Floats, Floats, Array]:
        """The tables as drawing reads them, the same for every frame: see :func:`stacked`."""
        return stacked(self.tables)

    @cached_property
    def threads(self) -> Array:
        """(kinds, ., .) as from :func:`weavecolor.picture.threads.threads`: traced from near, and
        wanted only there."""
        stacks = zip(self.stage.stacks, self.uneven.tolist(), strict=True)
        return np.stack([threads(stack, tuple(uneven), self.sent) for stack, uneven in stacks])


def lit_stage(
    staged: Stage,
    scene: Scene,
    body_colour: Backing | None = None,
    *,
    beneath: Backing | None = None,
    ground: str = "grey",
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    coarse: bool = False,
) -> Lit:
    """Bring a stage into the light of a scene.

    Parameters
    ----------
    staged : Stage
    scene : Scene
    body_colour, beneath : Backing, optional
        Of the form (calico if left out), and of what it wears (the form's).
    ground : {"grey", "light", "dark"}
        What it stands before, where no light shines straight from behind.
    seeing : Seeing
    observer : "2" or "10"
    coarse : bool
        Tables of fewer directions, for a first look.

    Raises InputError for an unknown ground.
    """
    if ground not in GROUNDS:
        raise InputError(f"no ground called {ground!r}; use {', '.join(GROUNDS)}")
    form = body_colour or backing("calico")
    reflectance = np.stack([form.reflectance, (beneath or form).reflectance])
    # a hem, a seam or a band is narrow: fewer directions do for what is doubled
    found = tuple(
        tables(
            s, scene, seeing, observer,
            coarse=coarse or s is not staged.stacks[k] or s.backing is not None,
        )
        for k, s in zip(staged.plains, staged.stacks, strict=True)
    )  # fmt: skip
    found = tuple(folded_over(t) if k in staged.bands else t for k, t in enumerate(found))
    matrices = [rgb_matrix(x.irradiance, scene, seeing, observer) for x in scene.lights]
    lamps = tuple(
        Lamp(view_vector(x, scene), m.sum(axis=0), reflectance @ m)
        for x, m in zip(scene.lights, matrices, strict=True)
    )
    room = rgb_matrix(scene.diffuse, scene, seeing, observer)
    level = room.sum(axis=0)
    light = np.zeros((len(found), 4, 3))
    whole = rgb_matrix(scene.diffuse + sum((x.irradiance for x in scene.lights), np.zeros(41)),
                       scene, seeing, observer)  # fmt: skip
    colour = np.clip((reflectance[1] @ whole) / np.maximum(whole.sum(axis=0), 1e-9), 0.0, 1.0)
    for k, t in enumerate(found):
        back, through = np.clip(t.even, 0.0, 1.0)
        light[k, 0] = level
        light[k, 1], light[k, 3] = (sent_on(x, back + through) for x in (through, back))
        light[k, 2] = _BENEATH * colour * (through + 0.3)
    one = INSIDE * (light[0, 1] + light[0, 3])  # layer of cloth
    met = np.stack([np.ones(3), one, one**2, 0.5 * colour])
    exposure = exposure_for(scene, seeing)
    # a luminous surface behind is what all stands before
    lights = zip(scene.lights, lamps, strict=True)
    surface = [lamp.white for light, lamp in lights if shines_through(light, lamp.direction)]
    sent = rgb_matrix(illumination(scene), scene, seeing, observer)
    return Lit(
        staged,
        found,
        lamps,
        light,
        (reflectance @ room)[:, None] * met,
        np.stack([np.ones(3), one, one**2, np.full(3, 0.25)]),
        np.sum(surface, axis=0) if surface else
        np.full(3, before_easing(GROUNDS[ground]) / exposure),
        exposure,
        np.array([_uneven(s) for s in staged.stacks]),
        sent,
        raised_deg(scene),
    )


def alike(scene: Scene) -> tuple[float, ...] | None:
    """What scenes share that differ by how far their one light, or none, stands round the eye:
    nearness and height of the light; None where there are several.

    Examples
    --------
    >>> len(alike(window))
    2
    """
    if len(scene.lights) > 1:
        return None
    return tuple(
        round(x, 6) for light in scene.lights
        for x in (float(view_vector(light, scene)[2]), light.zenith_deg)
    )  # fmt: skip


def spun_to(made: Lit, scene: Scene) -> Lit:
    """``made`` in the light of a ``scene`` that is :func:`alike` its own."""
    if not made.lamps:
        return made
    (lamp,), (light,) = made.lamps, scene.lights
    way = view_vector(light, scene)
    angle = np.arctan2(way[1], way[0]) - np.arctan2(lamp.direction[1], lamp.direction[0])
    return replace(made, lamps=(replace(lamp, direction=way),), spun=made.spun + float(angle))


#: Coefficient of variation of a thread's mass over short lengths, and the length in mm over which
#: it stays alike: filament, spun. Common practice, no source.
_SPREAD = {"filament": (0.05, 45.0), "spun": (0.13, 25.0)}


def _uneven(stack: Stack) -> tuple[float, ...]:
    cloth = stack.layers[0].cloth
    geometry = geometry_of(cloth)
    spread = [_SPREAD.get(y.kind, _SPREAD["filament"]) for y in (cloth.warp, cloth.weft)]
    layers = np.sqrt(len(stack.layers))
    return (geometry.warp_spacing, geometry.weft_spacing, spread[0][0] / layers,
            spread[1][0] / layers, max(s[1] for s in spread))  # fmt: skip


def rotation(turn_deg: float, tilt_deg: float) -> Array:
    """Matrix (3, 3): the object's frame to the view's, turned anticlockwise seen from above, and
    seen from ``tilt_deg`` above the level.

    Examples
    --------
    >>> (rotation(0.0, 0.0) @ [0.0, 1.0, 0.0]).round(6).tolist()  # before the garment: to the eye
    [0.0, 0.0, 1.0]
    """
    t, e = np.radians(turn_deg), np.radians(tilt_deg)
    about = np.array([[np.cos(t), -np.sin(t), 0.0], [np.sin(t), np.cos(t), 0.0], [0.0, 0.0, 1.0]])
    level = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])
    lean = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(e), -np.sin(e)], [0.0, np.sin(e), np.cos(e)]])
    return np.asarray(lean @ level @ about)


@dataclass(frozen=True)
class Sight:
    """How a stage is looked at: turn and tilt in degrees, zoom (1: all of it), and the middle
    moved by shares of the picture's height. A tilt tips the garment, not the lights, from how the
    place's viewer sees it, who looks from as high as the scene tells."""

    turn_deg: float = 0.0
    tilt_deg: float = 0.0
    zoom: float = 1.0
    right: float = 0.0
    up: float = 0.0

    def __post_init__(self) -> None:
        if not abs(self.turn_deg) <= MOST_TURNED_DEG:
            raise InputError(
                f"hung cloth is turned by {-MOST_TURNED_DEG:g} to {MOST_TURNED_DEG:g} degrees, "
                f"got {self.turn_deg:g}"
            )


FRONT = Sight()


def extent(staged: Stage) -> tuple[float, float, float]:
    """How far the cloth reaches from its axis, and the lowest and highest that is shown, mm: of
    what is worn alike with its body and without."""
    p = staged.points
    low, high = float(p[:, 2].min()), float(p[:, 2].max())
    tall = high - low
    lowest = low - 0.05 * tall
    if len(staged.floor):
        lowest = max(low - 0.3 * tall, float(staged.floor[0, 2]) - 0.03 * tall)
    highest = high + (0.16 if staged.worn or len(staged.body) else 0.05) * tall
    return float(np.hypot(p[:, 0], p[:, 1]).max()), lowest, highest


def framing(
    staged: Stage, width: int, height: int, sight: Sight, raised: float = 0.0
) -> tuple[float, float, float]:
    """Middle of the picture in the view's frame (x, y), mm, and mm a pixel, so that all of
    ``staged`` stands in ``width`` by ``height`` pixels where ``sight`` does not zoom; ``raised``:
    degrees above the level of a viewer who does not tip it."""
    widest, lowest, highest = extent(staged)
    e = np.radians(raised + sight.tilt_deg)
    middle = 0.5 * (lowest + highest) * np.cos(e)
    tall = (highest - lowest) * np.cos(e) + 0.6 * widest * abs(np.sin(e))
    step = max(tall / height, 2.16 * widest / width) / sight.zoom
    return sight.right * step * height, middle + sight.up * step * height, step


def over_middle(staged: Stage, raised: float) -> float:
    """How far above the middle of what is shown of ``staged`` the eye is, mm. One who looks level
    (``raised`` 0, degrees) stands before what is worn, and sees a hem from above; what hangs
    otherwise, or is looked at from elsewhere, has the eye before its middle.
    """
    return EYE_MM - _middle(staged) if staged.worn and abs(raised) < 1e-6 else 0.0


def _middle(staged: Stage) -> float:
    _, lowest, highest = extent(staged)
    return 0.5 * (lowest + highest)


def eye(staged: Stage, sight: Sight, raised: float = 0.0) -> tuple[float, float]:
    """Where the eye is in the view's frame, mm: away from the axis of ``staged``, and up; ``sight``
    tips what is seen, ``raised``: degrees above the level of a viewer who does not tip it.
    """
    tipped = float(np.cos(np.radians(raised + sight.tilt_deg)))
    return AWAY_MM, _middle(staged) * tipped + over_middle(staged, raised)


def seen_from(place: tuple[float, float], points: Array) -> Array:
    """Points (N, 3) of the view's frame where an eye at a ``place`` as of :func:`eye` sees them
    before the axis: right and up, mm, upright lines upright; and as near as they are.

    Examples
    --------
    >>> seen_from((4000.0, 1600.0), np.array([[10.0, 600.0, 400.0]]))[0].round(1).tolist()
    [11.1, 488.9, 400.0]
    """
    away, up = place
    out = points.copy()
    out[:, 1] -= up
    out[:, :2] *= (away / (away - points[:, 2]))[:, None]
    out[:, 1] += up
    return out


def reach(made: Lit, turned: Array, soft: int) -> tuple[Floats, list[Floats]]:
    """What of the lights of ``made`` reaches places through everything.

    ``turned``: matrix (3, 3) to the view's frame; ``soft``: sweeps over the lights, in all. Returns
    (N, 3) for cloth, the mean over lamps, and for each lamp (B + F, 3) for body and floor.
    """
    s = made.stage
    everything = np.concatenate([s.points, s.body]).astype(float) @ turned.T
    up = np.broadcast_to([0.0, 0.0, 1.0], s.floor.shape)
    normals = np.concatenate([s.normals, s.body_normals, up]) @ turned.T
    places = np.concatenate([everything, s.floor @ turned.T])
    faces = np.concatenate([s.quads, _quadded(s.triangles) + len(s.points)]).astype(np.int64)
    kind = np.concatenate([s.kind, np.full(len(s.triangles), -1)]).astype(np.int64)
    lift = np.full(len(places), s.lifts[1])
    lift[: len(s.points)] = s.lifts[0]
    dim = np.stack([t.dim for t in made.tables]).astype(float)
    dim[s.bands] = 1.0
    cloth = np.ones((len(s.points), 3), np.float32)
    others = []
    total = np.zeros(3)
    for lamp in made.lamps:
        each = max(1, round(soft / len(made.lamps)))
        ways = soft_directions(lamp.direction, SOFT_DEG, each)

        def left(way: Array, take: Floats) -> Floats:
            return np.exp(-taken(everything, faces, take, places, lift, way, normals))

        got: Floats = np.zeros((len(places), 3), np.float32)
        with ThreadPoolExecutor(2) as pool:
            for n in range(0, each, 2):
                breathe()
                takes = [densities(everything, faces, kind, dim, way) for way in ways[n : n + 2]]
                for one in pool.map(left, ways[n : n + 2], takes):
                    got += one
        got /= np.float32(each)
        cloth += (lamp.white * (got[: len(s.points)] - 1.0)).astype(np.float32)
        total += lamp.white
        others.append(got[len(s.points) :])
    if made.lamps:
        cloth = ((cloth - 1.0) / np.maximum(total, 1e-9) + 1.0).astype(np.float32)
    return cloth, others


def bounced(made: Lit, cloth: Floats, turned: Array) -> Array:
    """What falls from the lights on the cloth about a place, before it and behind it, over the
    room's level: coefficients (2, 4, 3) of :attr:`Stage.about`.

    ``made``; ``cloth`` (N, 3) as from :func:`reach`, and ``turned`` as there. Folds throw it on one
    another.
    """
    s, level = made.stage, made.light[0, 0]
    ways = np.array([x.direction for x in made.lamps]).reshape(-1, 3) @ turned
    cosines = s.normals @ ways.T
    white = np.array([x.white for x in made.lamps]).reshape(-1, 3)
    falls = np.stack([np.maximum(sign * cosines, 0.0) @ white for sign in (1.0, -1.0)]) * cloth
    over = np.divide(falls, level, out=np.zeros_like(falls), where=level > 1e-3 * level.max())
    return np.asarray(s.fit @ (s.about.T @ over))


def _edge(points: Floats, faces: NDArray[Any]) -> float:
    """A usual length across a face, mm."""
    if not len(faces):
        return 0.0
    return float(np.median(np.linalg.norm(points[faces[:, 0]] - points[faces[:, 2]], axis=1)))


def picture(
    made: Lit, width: int, height: int, sight: Sight = FRONT, *, samples: int = 4, soft: int = 12,
    front: bool = False,
) -> Floats:  # fmt: skip
    """The stage ``made`` in exposed linear light, (height, width, 3).

    ``width`` and ``height`` in pixels; ``sight``: how it is looked at; ``samples`` of a pixel, 1 or
    4; ``soft``: sweeps over the lights; ``front``: only what the foremost layer of cloth sends to
    the eye.
    """
    s = made.stage
    tilt = made.raised_deg + sight.tilt_deg
    turned = rotation(sight.turn_deg, tilt)
    cloth, others = reach(made, turned, soft)
    x, y, step = framing(s, width, height, sight, made.raised_deg)

    place = eye(s, sight, made.raised_deg)

    def on_pixels(points: Floats) -> Array:
        v = seen_from(place, points @ turned.T)
        right, down = (v[:, 0] - x) / step + 0.5 * width, (y - v[:, 1]) / step + 0.5 * height
        return np.stack([right, down, v[:, 2]], axis=1)

    spots = raster.SAMPLES[samples]
    breathe()
    out = np.empty((height, width, samples, 3), np.float32)
    out[:] = made.ground
    depth = np.full((height, width, samples), -1e9, np.float32)
    if len(s.floor) and _over_floor(s, place, turned):
        colours = floor_colour(made, others)
        raster.bodies(on_pixels(s.floor), s.tiles, colours, spots, out, depth, _STRIPS)
        depth[:] = -1e9  # it lies behind everything
    if len(s.body):
        colours = body_colour(made, others, turned)
        raster.bodies(on_pixels(s.body), s.triangles, colours, spots, out, depth, _STRIPS)
    vertex = np.empty((len(s.points), raster.COLUMNS), np.float32)
    # cloth is looked up as if all were spun about the eye until the lights are where the tables'
    # are: to the eye that is the same
    spun = _spun(-made.spun)
    normals, warps = (x @ (spun @ turned).T for x in (s.normals, s.warps))
    vertex[:, 0:3], vertex[:, 3:6] = normals, warps
    ways, white = shining(made)
    vertex[:, 6:9], vertex[:, 9:13], vertex[:, 13:15] = cloth, s.opens, s.places
    vertex[:, 15] = s.folds
    fallen = np.einsum("nk,skc->snc", s.about, bounced(made, cloth, turned))
    vertex[:, 16:19], vertex[:, 19:22] = np.maximum(fallen, 0.0)
    xyz = on_pixels(s.points)
    order = np.argsort(xyz[s.quads, 2].sum(axis=1))
    key, room, glow, round_ = made.stacked
    breathe()
    near = made.uneven[:, :2].min(axis=1).max() > 0.99 * BEGIN * step  # of a pixel, face on
    rows = made.threads if near else np.zeros((len(s.stacks), LAYERS, ROW))
    raster.cloths(
        xyz, s.quads, order, s.kind, vertex, key, room, glow, round_, made.light, made.uneven,
        rows, ways @ spun.T, white, step, AHEAD_MM, front, spots, out, depth, _STRIPS,
    )  # fmt: skip
    made_: Floats = raster.averaged(out, made.exposure)
    return made_


def _spun(angle: float) -> Array:
    """Matrix (3, 3) that spins the view's frame about the eye by an ``angle``, radians."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _over_floor(staged: Stage, place: tuple[float, float], turned: Array) -> bool:
    """Whether an eye at a ``place`` as of :func:`eye` looks down onto the floor."""
    away, up = place
    off = np.array([0.0, up, away]) - turned @ [0.0, 0.0, staged.floor[0, 2]]
    return bool(off @ turned[:, 2] > 0.0)


def shining(made: Lit) -> tuple[Array, Array]:
    """Directions (n, 3) to the lights and their RGB (n, 3)."""
    return (
        np.array([x.direction for x in made.lamps], float).reshape(-1, 3),
        np.array([x.white for x in made.lamps], float).reshape(-1, 3),
    )


def stacked(found: Sequence[Tables]) -> tuple[Floats, Floats, Floats, Array]:
    """Tables of several stacks in one array each, and the radians that each one's turns span."""
    most = max(t.key.shape[1] for t in found)
    key = np.zeros((len(found), 2, most, *found[0].key.shape[2:]), np.float32)
    spans = np.empty(len(found))
    for k, t in enumerate(found):
        turns = t.key.shape[1]
        again = 1 if turns == most else (most - 1) // (turns - 1)
        spans[k] = (np.pi if t.half_turn else 2.0 * np.pi) * again
        for n in range(again):  # the second half turn has the disc turned about
            way = -1 if n else 1
            key[k, :, n * (turns - 1) : (n + 1) * (turns - 1) + 1] = t.key[..., ::way, ::way, :]
    room, glow = (np.stack([x.astype(np.float32) for x in y]) for y in zip(
        *((t.room, t.glow) for t in found), strict=True))  # fmt: skip
    return key, room, glow, spans


def body_colour(made: Lit, others: Sequence[Floats], turned: Array) -> Floats:
    """Linear RGB (B, 3) of the body of ``made``; ``others`` from :func:`reach`, ``turned`` as
    there."""
    s = made.stage
    out: Array = np.einsum("bk,bkc->bc", s.body_open.astype(float), made.body_room[s.body_part])
    normals = s.body_normals @ turned.T
    soft = np.radians(SOFT_DEG)
    for lamp, got in zip(made.lamps, others, strict=True):
        t = np.arccos(np.clip(normals @ lamp.direction, -1.0, 1.0))
        low, high = np.minimum(t - soft, 0.5 * np.pi), np.minimum(t + soft, 0.5 * np.pi)
        facing = (np.sin(high) - np.sin(low)) / (2.0 * np.sin(soft))
        out += facing[:, None] * got[: len(s.body)] * lamp.body[s.body_part]
    return np.asarray(out, np.float32)


def floor_colour(made: Lit, others: Sequence[Floats]) -> Floats:
    """Linear RGB (F, 3) of the ground: half in the room's light, half in the lamps'; it goes over
    into the ground beyond."""
    s = made.stage
    share = s.floor_open.astype(float) @ made.floor_room
    if made.lamps:
        total = np.sum([x.white for x in made.lamps], axis=0)
        lit = sum(x.white * g[len(s.body) :] for x, g in zip(made.lamps, others, strict=True))
        share = 0.5 * share + 0.5 * lit / np.maximum(total, 1e-9)
    away = np.hypot(s.floor[:, 0], s.floor[:, 1]) / FLOOR_MM
    fade = np.clip(2.5 * (1.0 - away), 0.0, 1.0)[:, None]
    return (made.ground * (1.0 + fade * (share - 1.0))).astype(np.float32)
