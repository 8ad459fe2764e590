"""One worker's share of the search: a block of stacks screened, and what of it is worth keeping.

Plain functions of plain arrays, so that any executor, in this process or on another machine, gives
the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.decide.candidates import Space
from weavecolor.decide.evaluate import Screen, screen
from weavecolor.decide.running import Sent, received
from weavecolor.decide.tradeoff import edge
from weavecolor.decide.wishes import Wish, total_loss

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Stacks screened as one task; fixed, so that results do not depend on who works on them.
BLOCK = 4096
#: Best stacks kept of one block.
KEPT = 512


@dataclass(frozen=True, eq=False)
class Task:
    """Stacks of ``depth`` layers: those numbered ``start`` to ``stop``, or, with ``outer`` (n,
    depth - 1), every layer and backing under these piles."""

    depth: int
    start: int = 0
    stop: int = 0
    outer: Indices | None = None


@dataclass(frozen=True, eq=False)
class Block:
    """Of one task: ``numbers`` and screened ``loss`` of the stacks kept; ``piles`` (m, depth) the
    best piles whatever is behind them; ``cloud`` (k, 4) and ``cloud_numbers`` for the chart;
    ``count`` how many were computed, ``bounded`` how many a bound passed by, ``ruled_out`` how many
    the limits."""

    depth: int
    numbers: Indices
    loss: Array
    piles: Indices
    pile_loss: Array
    cloud: Array
    cloud_numbers: Indices
    count: int
    bounded: int = 0
    ruled_out: int = 0


def empty_block(depth: int, bounded: int = 0, ruled_out: int = 0) -> Block:
    """Of a task of ``depth`` layers that has nothing to keep; ``bounded`` and ``ruled_out`` stacks
    as in :class:`Block`."""
    none = np.zeros(0, dtype=np.intp)
    return Block(
        depth, none, np.zeros(0), np.zeros((0, depth), np.intp), np.zeros(0), np.zeros((0, 4)),
        none, 0, bounded, ruled_out,
    )  # fmt: skip


def best_first(loss: Array, numbers: Indices) -> Indices:
    """Order by loss, to a millionth, then by number."""
    return np.lexsort((numbers, np.round(loss, 6)))


def screen_block(
    shared: Screen | Sent, space: Space, wishes: tuple[Wish, ...], task: Task, every: int, beam: int
) -> Block:
    """Screen one block. ``every``: one stack in so many goes to the chart; ``beam``: how many
    piles to keep for laying more under them (0: none).

    Parameters
    ----------
    shared : Screen or Sent
    space : Space
    wishes : tuple of Wish
    task : Task
    every, beam : int
    """
    quick, depth = received(shared), task.depth
    if task.outer is None:
        layers, grounds, numbers = space.stacks(depth, task.start, task.stop)
        total = min(task.stop, space.count(depth)) - task.start
    else:
        inner = np.arange(space.cloth.size * space.grounds)
        under, ground = np.divmod(inner, space.grounds)
        n = task.outer.shape[0]
        layers = np.concatenate(
            [np.repeat(task.outer, inner.size, axis=0), np.tile(under, n)[:, None]], axis=1
        )
        grounds = np.tile(ground, n)
        total = grounds.size
        allowed = space.allowed(layers)
        layers, grounds = layers[allowed], grounds[allowed]
        numbers = space.numbers(layers, grounds)
    if not numbers.size:
        return empty_block(depth, ruled_out=total)
    measures = screen(quick, layers, grounds)
    loss = total_loss(wishes, measures)
    order = best_first(loss, numbers)
    kept = np.zeros(numbers.size, dtype=bool)
    kept[order[:KEPT]] = True
    # and the best of every outer layer and backing, so that other kinds are not crowded out
    kind = layers[order, 0] * space.grounds + grounds[order]
    kept[order[np.unique(kind, return_index=True)[1]]] = True
    keep = order[kept[order]]
    charted = (numbers % every == 0) | edge(measures.opacity, measures.Lab[:, 0])
    cloud = np.stack(
        [100.0 * measures.opacity, measures.Lab[:, 0], space.mass[layers].sum(axis=1), loss], axis=1
    )
    piles, pile_loss = np.zeros((0, depth), dtype=np.intp), np.zeros(0)
    if beam:
        _, first = np.unique(numbers[order] // space.grounds, return_index=True)
        best = order[np.sort(first)[:beam]]
        piles, pile_loss = layers[best], loss[best]
    return Block(
        depth, numbers[keep], loss[keep], piles, pile_loss, cloud[charted], numbers[charted],
        numbers.size, 0, total - numbers.size,
    )  # fmt: skip
