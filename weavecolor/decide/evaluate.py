"""Measures of stacks: quickly for thousands at once, and exactly for the few that matter.

Knows looks and optics; knows nothing of wishes or of how stacks are chosen. The quick way is the
screening model of ``streams``; the exact way is the full directional model, the same numbers as
``appearance.appearance`` and ``appearance.contrast_ratio``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import readings_lab
from weavecolor.colour.spectra import BANDS, thinned
from weavecolor.decide.lastlayer import (
    Behind,
    Lowers,
    Uppers,
    behind_of,
    lowers_of,
    uppers_of,
    xyz,
)
from weavecolor.decide.looks import (
    GROUNDS,
    NORMAL,
    ViewingCondition,
    cover_look,
    look,
    shot_scenes,
)
from weavecolor.decide.streams import StackBatch, lay_under, openness, over_grounds, single
from weavecolor.decide.tables import (
    BAND_STEP,
    STREAMS,
    Labels,
    Running,
    Tables,
    build,
    labels,
    place,
    place_below,
)
from weavecolor.decide.wishes import Measures
from weavecolor.optics.appearance import contrast_ratio, radiances
from weavecolor.optics.sideways import sideways
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing
from weavecolor.scene.folds import sent_on
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Piles worked on side by side, by so many directions: bounds memory to some 100 MB.
BATCH, DIRECTIONS = 512, 16


@dataclass(frozen=True, eq=False)
class Viewpoints:
    """Every look that is judged: ``scenes``, the main one first, ``turns`` for the shot effect
    (empty: not asked), and ``cover``, the look of the contrast ratio; ``places``: those of
    ``scenes`` and ``turns`` themselves, seen by ``observer``."""

    scenes: tuple[ViewingCondition, ...]
    turns: tuple[ViewingCondition, ...]
    cover: ViewingCondition
    places: tuple[Scene, ...]
    observer: str

    @property
    def all(self) -> tuple[ViewingCondition, ...]:
        return (*self.scenes, *self.turns, self.cover)

    @property
    def whites(self) -> tuple[Array, ...]:
        """XYZ (3,) that Lab is relative to in each of ``scenes``."""
        return tuple(one.white for one in self.scenes)


def viewpoints(scenes: Sequence[Scene], shot: bool, observer: str = "2") -> Viewpoints:
    """The looks for these scenes, the main one first; ``shot``: with the cloth turning in it.

    Parameters
    ----------
    scenes : sequence of Scene
        At least one.
    shot : bool
    observer : {"2", "10"}
    """
    places = (*scenes, *(shot_scenes(scenes[0]) if shot else ()))
    looks = tuple(look(place, observer) for place in places)
    count = len(scenes)
    return Viewpoints(looks[:count], looks[count:], cover_look(), places, observer)


@dataclass(frozen=True, eq=False)
class Screen:
    """All that judging stacks quickly needs; plain arrays, so that it can be sent to a worker.

    ``grounds`` (S, B): the backings' reflectances at the screened bands, 0 where there is none;
    ``bare`` (S,): which of them are no backing at all; ``matters`` (S,): what light goes sideways
    in there, by its number in ``tables.joint``.
    """

    viewpoints: Viewpoints
    named: Labels
    tables: Tables
    grounds: Array
    bare: NDArray[np.bool_]
    matters: Indices

    def __getstate__(self) -> dict[str, object]:
        """What is worked out on first use is not sent along."""
        return {k: v for k, v in self.__dict__.items() if k not in ("lowers", "weighed")}

    @cached_property
    def lowers(self) -> Lowers:
        """Every laid layer, as one to be laid under others."""
        return lowers_of(self.tables)

    @cached_property
    def weighed(self) -> Weighed:
        """Grounds and looks, as the compiled sums take them."""
        return _weighed(self)


def screen_of(
    layers: Sequence[Layer],
    backings: Sequence[Backing | None],
    views: Viewpoints,
    lay: str,
    most_layers: int,
    streams: int = STREAMS,
    run: Running | None = None,
) -> Screen:
    """Prepare the laid layers and backings for screening; ``run`` as for ``tables.build``.

    Parameters
    ----------
    layers : sequence of Layer
    backings : sequence of Backing or None
    views : Viewpoints
    lay : {"touching", "loose", "apart"}
    most_layers : int
        Deepest stack, 1 to 12.
    streams : int
        Of diffuse light to a side, by zenith.
    run : callable, optional
    """
    named = labels(views.all, any(b is None for b in backings))
    inside = [None if b is None else sideways(b) for b in backings]
    one = [x.at(_MOST_SEEN) for x in inside if x is not None]
    tables = build(layers, named, lay, most_layers, streams, run, one)
    number = np.cumsum([x is not None for x in inside])
    grounds = np.array([np.zeros(BANDS) if b is None else b.reflectance for b in backings])
    return Screen(
        views,
        named,
        tables,
        grounds[:, ::BAND_STEP],
        np.array([b is None for b in backings]),
        tables.apart + np.where([x is None for x in inside], 0, number),
    )


#: The band, 560 nm, by which screening tells how far light goes sideways.
_MOST_SEEN = slice(18, 19)


def _thinned(weights: Array) -> Array:
    """Weights (..., 41, 3) for the bands that are screened."""
    return thinned(weights, BAND_STEP)


def _piles(tables: Tables, layers: Indices) -> StackBatch:
    """Piles (n, d) that share their outer layers are worked out once."""
    depth = layers.shape[1]
    if depth == 1:
        return single(tables, layers[:, 0])
    outer, back = np.unique(layers[:, :-1], axis=0, return_inverse=True)
    upper = _piles(tables, outer)
    back = back.reshape(-1)
    return lay_under(tables, upper.taken(back), layers[:, -1])


def screen(quick: Screen, layers: Indices, backings: Indices) -> Measures:
    """Measures of n stacks of equal depth: ``layers`` (n, d) and ``backings`` (n,) by number.

    Parameters
    ----------
    quick : Screen
    layers : ndarray of int, shape (n, d)
    backings : ndarray of int, shape (n,)
    """
    piles, where = np.unique(layers, axis=0, return_inverse=True)
    where = where.reshape(-1)
    views = quick.viewpoints
    n = layers.shape[0]
    scenes = np.zeros((n, len(views.scenes), 3))
    turns = np.zeros((n, len(views.turns), 3))
    opacity = np.zeros(n)
    batch = BATCH * DIRECTIONS // max(DIRECTIONS, quick.tables.through.shape[1])
    for start in range(0, piles.shape[0], batch):
        part = slice(start, min(start + batch, piles.shape[0]))
        mine = np.flatnonzero((where >= part.start) & (where < part.stop))
        inside = where[mine] - part.start
        XYZ, covers = read(quick, piles[part])
        stacks = XYZ[inside, backings[mine]]  # (stacks, looks, 3)
        for k, one in enumerate((*views.scenes, *views.turns)):
            out = scenes[:, k] if k < len(views.scenes) else turns[:, k - len(views.scenes)]
            out[mine] = one.lab(stacks[:, k])
        opacity[mine] = covers[inside]
    return Measures(scenes, turns, opacity, views.whites)


def read(quick: Screen, piles: Indices) -> tuple[Array, Array]:
    """What an eye gets of n piles (n, d) over every backing: XYZ (n, S, K, 3) in the K looks,
    scenes then turns, and the contrast ratio (n,)."""
    looks = (*quick.viewpoints.scenes, *quick.viewpoints.turns)
    through = quick.bare.any() and any(x.behind for one in looks for x in one.parts)
    if piles.shape[1] == 1 or through:
        found = _piles(quick.tables, piles)
        return np.stack([_look_xyz(quick, found, one) for one in looks], axis=2), _opacity(
            quick, found
        )
    return quick.weighed.split(_over_grounds(quick, piles, quick.weighed))


def read_main(
    quick: Screen, piles: Indices, wanted: NDArray[np.bool_] | None = None
) -> tuple[Array, Array]:
    """As :func:`read`, in the main light alone: XYZ (n, S, 3) and the contrast ratio (n,);
    ``wanted`` (n, S): over these backings only, nought elsewhere.

    Parameters
    ----------
    quick : Screen
        With S backings.
    piles : ndarray of int, shape (n, d)
    wanted : ndarray of bool, shape (n, S), optional
    """
    if piles.shape[1] == 1:
        found = _piles(quick.tables, piles)
        return _look_xyz(quick, found, quick.viewpoints.scenes[0]), _opacity(quick, found)
    weighed = quick.weighed.only([0, -1])
    if wanted is not None:
        wanted = np.concatenate([wanted, np.ones((piles.shape[0], 2), dtype=np.bool_)], axis=1)
    XYZ, cover = weighed.split(_over_grounds(quick, piles, weighed, wanted))
    return XYZ[:, :, 0], cover


def outer_piles(quick: Screen, outer: Indices, piles: Indices) -> tuple[Uppers, Behind]:
    """The piles ``outer`` (m, d - 1) to lay something under, and the openness before a ground of
    the whole ``piles`` (m L, d), L of them for each outer one in order.

    Parameters
    ----------
    quick : Screen
    outer : ndarray of int, shape (m, d - 1)
    piles : ndarray of int, shape (m L, d)
    """
    tables = quick.tables
    above = _piles(tables, outer)
    each = piles.shape[0] // outer.shape[0]
    through = np.repeat(above.through, each, axis=0) * tables.through[piles[:, -1]]
    before = openness(tables, outer, above.through)
    matters = quick.weighed.matters
    return uppers_of(tables, above, before), behind_of(tables, piles, through, matters)


def _over_grounds(
    quick: Screen, piles: Indices, weighed: Weighed, wanted: NDArray[np.bool_] | None = None
) -> Array:
    tables = quick.tables
    outer, upper = np.unique(piles[:, :-1], axis=0, return_inverse=True)
    above = _piles(tables, outer)
    upper = upper.reshape(-1).astype(np.intp)
    lower = np.ascontiguousarray(piles[:, -1])
    through = above.through[upper] * tables.through[lower]
    return xyz(
        tables,
        uppers_of(tables, above, openness(tables, outer, above.through)),
        quick.lowers,
        upper,
        lower,
        behind_of(tables, piles, through, weighed.matters),
        weighed.grounds,
        weighed.bare,
        weighed.columns,
        weighed.whose,
        weighed.of_diffuse,
        weighed.of_around,
        weighed.of_pairs,
        wanted,
    )


@dataclass(frozen=True, eq=False)
class Weighed:
    """What the compiled sums take of a :class:`Screen`: its backings and the two grounds of the
    contrast ratio (S + 2, B), which are matt, and the weights of every look, the cover last. Even
    light comes to ``columns``, each the view of a look or of its part, ``whose`` look tells
    which."""

    grounds: Array
    bare: NDArray[np.bool_]
    matters: Indices
    columns: Indices
    whose: Indices
    of_diffuse: Array
    of_around: Array
    of_pairs: Array

    def only(self, looks: list[int]) -> Weighed:
        """Some of the looks, in that order."""
        kept = np.arange(len(self.of_pairs))[looks]
        each = [np.flatnonzero(self.whose == k) for k in kept]
        rows = np.concatenate(each)
        return replace(
            self,
            columns=self.columns[rows],
            whose=np.repeat(np.arange(kept.size), [own.size for own in each]),
            of_diffuse=np.ascontiguousarray(self.of_diffuse[rows]),
            of_around=np.ascontiguousarray(self.of_around[rows]),
            of_pairs=np.ascontiguousarray(self.of_pairs[looks]),
        )

    def split(self, XYZ: Array) -> tuple[Array, Array]:
        """XYZ over the backings in every look but the cover, and the contrast ratio."""
        Y = XYZ[:, -2:, -1, 1]
        opacity = np.divide(Y[:, 0], Y[:, 1], out=np.ones(Y.shape[0]), where=Y[:, 1] > 0)
        return XYZ[:, :-2, :-1], opacity


def _weighed(quick: Screen) -> Weighed:
    views, named = quick.viewpoints, quick.named
    looks = (*views.scenes, *views.turns, views.cover)
    parts = [(k, part) for k, one in enumerate(looks) for part in one.parts]
    views_of = [place(named, part.view) for _, part in parts]
    columns = np.array([named.views.index(view) for view in views_of], dtype=np.intp)
    of_pairs = np.zeros((len(looks), quick.grounds.shape[1], len(named.pairs), 3))
    for view, (k, part) in zip(views_of, parts, strict=True):
        for light, weight in zip(part.front, _thinned(part.of_front), strict=True):
            of_pairs[k, :, named.pairs.index((view, place(named, light)))] += weight
    grounds = np.concatenate([quick.grounds, np.stack(GROUNDS)[:, ::BAND_STEP]])
    bare = np.concatenate([quick.bare, [False, False]])
    whose = np.array([k for k, _ in parts], dtype=np.intp)
    of_diffuse = np.stack([_thinned(part.of_diffuse) for _, part in parts])
    of_around = np.zeros_like(of_diffuse)
    for row, (_, part) in zip(of_around, parts, strict=True):
        if part.of_around is not None:
            row[:] = _thinned(part.of_around)
    matters = np.concatenate([quick.matters, [quick.tables.apart] * 2])
    return Weighed(grounds, bare, matters, columns, whose, of_diffuse, of_around, of_pairs)


def _look_xyz(quick: Screen, piles: StackBatch, one: ViewingCondition) -> Array:
    """XYZ (n, S, 3) of piles over every backing, in one look."""
    over = over_grounds(quick.tables, piles, quick.grounds, quick.matters)
    return np.asarray(sum(_part_xyz(quick, piles, part, *over) for part in one.parts))


def _part_xyz(
    quick: Screen, piles: StackBatch, one: ViewingCondition, diffuse: Array, seen: Array
) -> Array:
    """As :func:`_look_xyz`, in a look without views; ``diffuse``, ``seen``: of the piles over the
    backings."""
    named, tables = quick.named, quick.tables
    view = place(named, one.view)
    column = named.views.index(view)
    numbers = [named.pairs.index((view, place(named, light))) for light in one.front]
    bare = quick.bare[None, :, None]
    radiance = np.where(bare, piles.diffuse[:, None, :, column], diffuse[..., column])
    XYZ = radiance @ _thinned(one.of_diffuse)
    row, count = tables.share.size + view, tables.share.size
    passed = np.zeros(piles.diffuse.shape[:2])  # of even light from behind, where it is open
    if quick.bare.any():
        passed = piles.transmit[:, :, row, :count] @ tables.share + piles.through[:, row, None]
    if one.of_around is not None:
        sent = radiance + np.where(bare, passed[:, None], 0.0)
        XYZ += (radiance * sent_on(sent, sent)) @ _thinned(one.of_around)
    for number, weight in zip(numbers, _thinned(one.of_front), strict=True):
        radiance = np.where(bare, piles.seen[:, None, :, number], seen[..., number])
        XYZ += radiance @ weight
    if quick.bare.any():
        for direction, in_line, weight in zip(
            one.behind, one.in_line, _thinned(one.of_behind), strict=True
        ):
            light = passed
            if not in_line:
                light = piles.transmit[:, :, row, count + place_below(named, direction)]
            XYZ += np.where(quick.bare[None, :, None], (light @ weight)[:, None], 0.0)
    return XYZ


def _opacity(quick: Screen, piles: StackBatch) -> Array:
    grounds = np.stack(GROUNDS)[:, ::BAND_STEP]
    column = quick.named.views.index(place(quick.named, NORMAL))
    matt = np.full(len(grounds), quick.tables.apart)
    diffuse, _ = over_grounds(quick.tables, piles, grounds, matt)
    Y = diffuse[..., column] @ _thinned(quick.viewpoints.cover.of_diffuse)[:, 1]
    return np.divide(Y[:, 0], Y[:, 1], out=np.ones(Y.shape[0]), where=Y[:, 1] > 0)


def exact(
    layers: Sequence[Layer], backings: Sequence[Backing | None], lay: str, views: Viewpoints
) -> Measures:
    """Measures of one pile over each of its backings, by the full directional model.

    Parameters
    ----------
    layers : sequence of Layer
        Outermost first.
    backings : sequence of Backing or None
    lay : {"touching", "loose", "apart"}
    views : Viewpoints
    """
    stack = Stack(tuple(layers), None, lay)
    seen = zip(views.places, radiances(stack, backings, views.places), strict=True)
    labs = np.swapaxes(
        [readings_lab(x, illumination(at), at.white, views.observer) for at, x in seen], 0, 1
    )
    covers = np.full(len(backings), contrast_ratio(stack))
    scenes = len(views.scenes)
    return Measures(labs[:, :scenes], labs[:, scenes:], covers, views.whites)
