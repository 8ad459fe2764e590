"""Every stack decided, most of them unseen: groups that a bound shows to be too far are passed by.

Knows the order of that work; the bounds are ``bounds``, the numbers ``evaluate``. First a cutoff:
stacks drawn from the whole, and what lies round the best of them, are screened, and the loss of the
worst wanted is noted; so many stacks are at least that good. Then, pile by pile, the layers that
may lie under it are taken in groups of alike ones. Where the bound of a group lies beyond the
cutoff, none of its stacks is among the wanted; else they are screened one and all. What comes out
is exactly what screening everything would give.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.decide.blocks import Block, best_first, empty_block
from weavecolor.decide.bounds import BOUNDED, Ends, all_behind, ends, least_loss
from weavecolor.decide.candidates import Space
from weavecolor.decide.evaluate import Screen, outer_piles, read_main
from weavecolor.decide.lastlayer import Behind, Uppers
from weavecolor.decide.running import Sent, received
from weavecolor.decide.wishes import Measures, Wish, total_loss

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Stacks drawn from the whole to begin with, and how many of the best are varied.
DRAWN, VARIED = 20_000, 24
#: Last layers tried a task, about.
_PAIRS = 20_000
#: Losses are ranked to a millionth.
_TIE = 1.1e-6


def bounded_wishes(wishes: tuple[Wish, ...]) -> bool:
    """Whether these wishes can be bounded at all."""
    return all(wish.kind in BOUNDED for wish in wishes)


def can_bound(quick: Screen, wishes: tuple[Wish, ...]) -> bool:
    """Whether bounds are to be had: for these wishes, over these backings, of sound tables."""
    tables = quick.tables
    sound = all(
        float(table.min(initial=0.0)) >= 0.0
        for table in (tables.above, tables.transmit, tables.under, tables.pairs, tables.through)
    )
    lit_through = quick.bare.any() and any(x.behind for x in quick.viewpoints.scenes[0].parts)
    return sound and not lit_through and bounded_wishes(wishes)


@dataclass(frozen=True, eq=False)
class Start:
    """The cutoff, and the stacks drawn for it, for the chart: ``cloud`` (n, 4) and ``keys``."""

    cutoff: float
    cloud: Array
    keys: Indices


def start(
    quick: Screen, space: Space, wishes: tuple[Wish, ...], depths: range, wanted: int, charted: int
) -> Start:
    """A loss that at least ``wanted`` stacks do not exceed; always the same one.

    Parameters
    ----------
    quick : Screen
    space : Space
    wishes : tuple of Wish
    depths : range
        Numbers of layers.
    wanted : int
        Best stacks that the cutoff must leave in.
    charted : int
        Stacks kept for the chart.
    """
    draw = np.random.default_rng(0)
    counts = np.array([space.count(d) for d in depths], dtype=np.float64)
    found: dict[int, tuple[Indices, Array]] = {}
    clouds, keys = [], []
    for depth, share in zip(depths, counts / counts.sum(), strict=True):
        size = int(max(200, np.ceil(DRAWN * share)))
        numbers = np.unique(draw.integers(space.count(depth), size=size))
        layers, grounds = space.decode(depth, numbers)
        allowed = space.allowed(layers)
        layers, grounds, numbers = layers[allowed], grounds[allowed], numbers[allowed]
        if not numbers.size:
            continue
        XYZ, cover = read_main(quick, layers)
        measures = _measures(quick, XYZ[np.arange(numbers.size), grounds], cover)
        loss = total_loss(wishes, measures)
        some = np.sort(draw.permutation(numbers.size)[: max(1, int(charted * share))])
        clouds.append(np.stack([100.0 * measures.opacity, measures.Lab[:, 0],
                                space.mass[layers].sum(axis=1), loss], axis=1)[some])  # fmt: skip
        keys.append(np.stack([np.full(some.size, depth), numbers[some]], axis=1))
        best = layers[best_first(loss, numbers)[:VARIED]]
        found[depth] = _round(quick, space, wishes, np.unique(best, axis=0))
    if not found:
        return Start(np.inf, np.zeros((0, 4)), np.zeros((0, 2), dtype=np.intp))
    losses = np.concatenate([loss for _, loss in found.values()])
    cutoff = float(np.sort(losses)[wanted - 1]) if losses.size >= wanted else np.inf
    return Start(cutoff + _TIE, np.concatenate(clouds), np.concatenate(keys))


def _round(
    quick: Screen, space: Space, wishes: tuple[Wish, ...], piles: Indices
) -> tuple[Indices, Array]:
    """Numbers and losses of all stacks that differ from these piles in one layer at most."""
    every = np.arange(space.cloth.size, dtype=np.intp)
    tried = []
    for place in range(piles.shape[1]):
        put = space.outside if place == 0 else every
        near = np.repeat(piles, put.size, axis=0)
        near[:, place] = np.tile(put, piles.shape[0])
        tried.append(near)
    layers = np.unique(np.concatenate(tried), axis=0)
    layers = layers[space.allowed(layers)]
    numbers, losses = [], []
    for k in range(0, layers.shape[0], _PAIRS):
        part = layers[k : k + _PAIRS]
        loss = _losses(quick, wishes, *read_main(quick, part))
        grounds = np.tile(np.arange(space.grounds, dtype=np.intp), part.shape[0])
        numbers.append(space.numbers(np.repeat(part, space.grounds, axis=0), grounds))
        losses.append(loss.ravel())
    return np.concatenate(numbers), np.concatenate(losses)


def _measures(quick: Screen, XYZ: Array, cover: Array) -> Measures:
    """Of stacks (n, 3) in the main light alone."""
    views = quick.viewpoints
    Lab = views.scenes[0].lab(XYZ)
    return Measures(Lab[:, None], np.zeros((Lab.shape[0], 0, 3)), cover, views.whites[:1])


def _losses(quick: Screen, wishes: tuple[Wish, ...], XYZ: Array, cover: Array) -> Array:
    """Of piles over every backing: XYZ (n, S, 3), cover (n,); (n, S)."""
    n, grounds = XYZ.shape[:2]
    measures = _measures(quick, XYZ.reshape(-1, 3), np.repeat(cover, grounds))
    return np.asarray(total_loss(wishes, measures).reshape(n, grounds))


def outer_count(space: Space, depth: int) -> int:
    """How many piles there are for a last layer to go under."""
    return space.count(depth - 1) // space.grounds


def outer_tasks(space: Space, depth: int) -> list[tuple[int, int]]:
    """Runs of those piles, each a task."""
    count = outer_count(space, depth)
    each = max(1, _PAIRS // int(space.cloth.size))
    return [(k, min(k + each, count)) for k in range(0, count, each)]


def nearest_block(
    shared: Screen | Sent, space: Space, wishes: tuple[Wish, ...], gathered: list[Indices],
    depth: int, first: int, last: int, cutoff: float,
) -> Block:  # fmt: skip
    """All stacks of the piles ``first`` to ``last`` whose loss is at most ``cutoff``.

    Of ``depth`` layers, the last of which is any; for one layer, every stack there is.
    ``gathered``: the groups that last layers are taken in, from ``bounds.groups``.

    Parameters
    ----------
    shared : Screen or Sent
    space : Space
    wishes : tuple of Wish
    gathered : list of ndarray of int
    depth : int
    first, last : int
        Piles of ``depth`` - 1 layers, by number.
    cutoff : float
        Loss, from :func:`start`.
    """
    quick = received(shared)
    if depth == 1:
        layers, grounds, numbers = space.stacks(1, 0, space.count(1))
        if not numbers.size:
            return empty_block(depth, ruled_out=space.count(1))
        XYZ, cover = read_main(quick, layers)
        loss = total_loss(
            wishes, _measures(quick, XYZ[np.arange(numbers.size), grounds], cover)
        )
        return _kept(depth, numbers, loss, cutoff, numbers.size, 0,
                     space.count(1) - numbers.size)  # fmt: skip
    outer, _ = space.decode(depth - 1, np.arange(first, last, dtype=np.intp) * space.grounds)
    order = np.concatenate(gathered)
    sizes = np.array([g.size for g in gathered], dtype=np.intp)
    upper = np.repeat(np.arange(outer.shape[0], dtype=np.intp), order.size)
    lower = np.tile(order, outer.shape[0])
    piles = np.concatenate([outer[upper], lower[:, None]], axis=1)
    allowed = space.allowed(piles)
    uppers, behind = outer_piles(quick, outer, piles)
    near = np.repeat(
        _within(quick, wishes, uppers, behind, ends(quick.lowers, gathered), sizes, cutoff),
        np.tile(sizes, outer.shape[0]),
        axis=0,
    )  # (piles, S)
    S = space.grounds
    ruled_out = int((~allowed).sum()) * S
    near &= allowed[:, None]
    taken = np.flatnonzero(near.any(axis=1))
    wanted = near[taken]
    computed = int(wanted.sum())
    bounded = int(allowed.sum()) * S - computed
    if not taken.size:
        return empty_block(depth, bounded, ruled_out)
    XYZ, cover = read_main(quick, piles[taken], wanted)
    pile, ground = np.nonzero(wanted)
    loss = total_loss(wishes, _measures(quick, XYZ[pile, ground], cover[pile]))
    numbers = space.numbers(piles[taken][pile], ground)
    return _kept(depth, numbers, loss, cutoff, computed, bounded, ruled_out)


def _within(
    quick: Screen, wishes: tuple[Wish, ...], uppers: Uppers, behind: Behind, ends_of: Ends,
    sizes: Indices, cutoff: float,
) -> NDArray[np.bool_]:  # fmt: skip
    """Whether each pile over each group may come within the cutoff, (n * groups, S)."""
    n = uppers.through.shape[0]
    upper = np.repeat(np.arange(n, dtype=np.intp), sizes.size)
    group = np.tile(np.arange(sizes.size, dtype=np.intp), n)
    runs = np.cumsum(np.concatenate([[0], np.tile(sizes, n)[:-1]])).astype(np.intp)
    least = least_loss(quick, wishes, uppers, ends_of, upper, group, all_behind(behind, runs))
    return np.asarray(least <= cutoff)


def _kept(
    depth: int, numbers: Indices, loss: Array, cutoff: float, computed: int, bounded: int,
    ruled_out: int,
) -> Block:  # fmt: skip
    near = np.flatnonzero(loss <= cutoff)
    keep = near[best_first(loss[near], numbers[near])]
    none = np.zeros(0, dtype=np.intp)
    return Block(
        depth, numbers[keep], loss[keep], np.zeros((0, depth), np.intp), np.zeros(0),
        np.zeros((0, 4)), none, computed, bounded, ruled_out,
    )  # fmt: skip
