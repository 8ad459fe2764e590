"""The search: all stacks screened, the best worked out in full, a short list of different ones.

Knows the order of work and what may be promised of its result; the screening is ``blocks``, the
numbers are ``evaluate``.

What is promised. Every stack is screened by the approximate model of ``streams`` where they are at
most ``limit``. Of more, up to ``most``, every one is decided: screened, or shown by a bound that is
proved (``bounds``) to be further from the wish than the best :data:`WANTED`, which come out as if
all had been screened; for wishes that can be bounded. Else every stack of fewer layers is screened,
and deeper ones by laying more under the best piles only (beam search), which proves nothing about
the piles left out. The screening's error in
the loss is measured on a sample drawn from the whole and on every stack worked out in full, and
the bound used is the largest error seen, widened by :data:`WIDENED`. Stacks are worked out in full
in the order of their screened loss until the next one lies further from the best than that bound:
then no stack left can be better unless the screening erred by more there. The budget may end this
sooner; the result then says by how much it would have had to err.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations_with_replacement
from typing import Any

import numpy as np

from weavecolor.decide.blocks import BLOCK, Block, Task, best_first, screen_block
from weavecolor.decide.bounds import groups
from weavecolor.decide.candidates import Candidates, Space
from weavecolor.decide.evaluate import (
    Screen,
    Viewpoints,
    exact,
    screen,
    screen_of,
    viewpoints,
)
from weavecolor.decide.found import Guarantee, SearchResult
from weavecolor.decide.judged import Evaluation, Fit, Fits
from weavecolor.decide.nearest import (
    Start,
    bounded_wishes,
    can_bound,
    nearest_block,
    outer_tasks,
    start,
)
from weavecolor.decide.running import Executor, Ticker, in_order, shared
from weavecolor.decide.shortlist import order, pick
from weavecolor.decide.tables import STREAMS
from weavecolor.decide.tradeoff import Cloud
from weavecolor.decide.wishes import Measures, Wish, cancel_out, total_loss
from weavecolor.errors import InputError
from weavecolor.optics.stack import Stack
from weavecolor.scene.scene import Scene

#: Most stacks that are screened one and all.
EXHAUSTIVE = 1_000_000
#: Most stacks that are decided one and all, with bounds.
DECIDED = 60_000_000
#: Best stacks that a search with bounds finds for certain.
WANTED = 800
#: Piles kept at each depth beyond that.
BEAM = 1500
#: Most stacks worked out by the full model, calibration apart.
BUDGET = 40
#: Stacks drawn from the whole to measure the screening's error.
SAMPLE = 12
#: The bound is this many times the largest error seen, and at least :data:`LEAST_BOUND`.
WIDENED, LEAST_BOUND = 1.5, 0.1
#: Worked out together, whatever the executor, so that the result does not depend on it.
_TOGETHER = 4
#: Screened stacks that the short list is drawn from.
_POOL = 800
#: Points of the chart.
_CLOUD = 3000


def search(
    candidates: Candidates,
    wishes: Sequence[Wish],
    scenes: Sequence[Scene],
    *,
    options: int = 5,
    fits: Fits | None = None,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    stop: Callable[[], bool] | None = None,
    observer: str = "2",
    limit: int = EXHAUSTIVE,
    most: int = DECIDED,
    wanted: int = WANTED,
    beam: int = BEAM,
    budget: int = BUDGET,
    sample: int = SAMPLE,
    streams: int = STREAMS,
    shot: bool | None = None,
) -> SearchResult:
    """Find the stacks that come nearest to the wishes.

    Parameters
    ----------
    candidates : from ``candidates.candidates``
    wishes : at least one; several are weighed together.
    scenes : her lights, the main one first; all are used for "most even" and the reasons.
    options : most options on the short list, 1 to 50.
    fits : asked of stacks in the order of merit; one that does not fit is set aside.
    executor : anything with ``submit`` (a process or thread pool, ``running.Cluster`` of a client
        of dask.distributed); None works here. The result is the same.
    progress : told (done, total) in steps of work.
    stop : asked between steps; true ends the search with the best so far.
    limit, most : most stacks screened one and all, and most decided with the help of bounds, which
        find the ``wanted`` best by the screening for certain.
    beam, budget, sample : piles kept at each depth beyond that; most stacks worked out in full;
        stacks drawn to measure the screening's error; each at least 1.
    streams : of diffuse light to a side in the screening, by zenith.
    observer : "2" or "10", CIE standard observer, degrees.
    shot : measure the shot effect even if no wish asks for it (default: only then).

    Raises
    ------
    InputError
        No wish, no scene, nothing that the limits allow.

    Examples
    --------
    >>> from weavecolor.decide.candidates import Material, candidates
    >>> from weavecolor.decide.wishes import Limits
    >>> limits = Limits(layers=(1, 2), grains=(0.0,))
    >>> allowed = candidates([Material(organza)], [backing("white")], limits)
    >>> found = search(allowed, [Wish("deepest")], [window], options=1)
    >>> len(found.options[0].stack.layers)  # two are deeper than one
    2
    """
    wishes, scenes = tuple(wishes), tuple(scenes)
    if not wishes:
        raise InputError("say what is wanted: at least one wish", field="wishes")
    if not scenes:
        raise InputError("say where it is seen: at least one scene", field="scenes")
    if not 1 <= options <= 50:
        raise InputError("the short list has 1 to 50 options", field="options")
    if min(budget, sample, limit, wanted, beam) < 1:
        raise InputError("limit, wanted, beam, budget and sample are at least 1")
    kinds = {wish.kind for wish in wishes}
    if told := cancel_out(kinds):
        raise InputError(told, field="wishes")
    if "most even" in kinds and len(scenes) < 2:
        raise InputError("evenness under all lights needs two scenes at least", field="scenes")
    if shot is None:
        shot = bool(kinds & {"most shot", "least shot"})
    run = _Run(candidates, wishes, viewpoints(scenes, shot, observer), fits, executor, budget)
    ticker = run.plan(limit, most, beam, sample, progress, stop)
    run.prepare(ticker, streams)
    blocks, complete = run.look(ticker, limit, beam, wanted)
    if not any(block.count for block in blocks):
        if ticker.stopped:
            raise InputError("stopped before any stack was looked at")
        raise InputError("no stack is within the limits; allow more weight, cloth or layers")
    pool = run.pool(blocks)
    run.calibrate(sample, ticker)
    proven, margin = run.work_out(pool, ticker)
    lacking = fits is not None and all(one.key in run.misfits for one in pool)
    if lacking and not ticker.stopped and run.refuse(ticker):
        # the best ones all lack cloth: look again among those that do not
        blocks, complete = run.look(ticker, limit, beam, wanted)
        if any(block.count for block in blocks):
            pool = run.pool(blocks)
            proven, margin = run.work_out(pool, ticker)
    shortlist, short = run.shortlist(pool, options, ticker)
    sure = run.sure(shortlist, pool)
    guarantee = Guarantee(
        complete and not ticker.stopped,
        proven and (sure > 0 or not shortlist) and complete and not ticker.stopped,
        run.bound,
        margin,
        max(run.errors, default=0.0),
        len(run.errors),
        sum(block.count for block in blocks),
        ticker.stopped,
        sum(block.bounded for block in blocks),
        sum(block.ruled_out for block in blocks),
        sure,
        len(shortlist),
    )
    cloud = run.cloud(blocks, guarantee.decided)
    ticker.finish()
    return SearchResult(
        tuple(shortlist), tuple(short), guarantee, cloud, tuple(order(list(run.worked.values()))),
        wishes, scenes,
    )  # fmt: skip


Key = tuple[int, int]


class _Run:
    """The state of one search."""

    def __init__(
        self,
        candidates: Candidates,
        wishes: tuple[Wish, ...],
        views: Viewpoints,
        fits: Fits | None,
        executor: Executor | None,
        budget: int,
    ) -> None:
        self.candidates, self.space = candidates, candidates.space
        self.wishes, self.views, self.fits = wishes, views, fits
        self.executor, self.budget = executor, budget
        self.quick: Screen | None = None
        self.errors: list[float] = []
        self.worked: dict[Key, Evaluation] = {}
        self.answers: dict[Key, Fit] = {}
        self.misfits: dict[Key, Evaluation] = {}
        self.bounding = False
        self.start: Start | None = None

    @property
    def bound(self) -> float:
        return max(WIDENED * max(self.errors, default=0.0), LEAST_BOUND)

    def plan(
        self,
        limit: int,
        most: int,
        beam: int,
        sample: int,
        progress: Callable[[int, int], None] | None,
        stop: Callable[[], bool] | None,
    ) -> Ticker:
        """Choose the way and count the work."""
        space, least = self.space, self.candidates.limits.layers[0]
        self.bounding = limit < self.candidates.count <= most and bounded_wishes(self.wishes)
        block = _block(space.grounds)
        work = 0
        for depth in range(1, self.candidates.limits.layers[1] + 1):
            if self.bounding:
                work += len(_outer(space, depth)) if depth >= least else 0
            elif depth <= self._full_depth(limit):
                work += -(-space.count(depth) // block) if depth >= least or beam else 0
            else:
                work += -(-beam * int(space.cloth.size) * space.grounds // block)
        cloths = len({id(x.cloth) for x in self.candidates.layers})
        return Ticker(work + cloths + sample + self.budget, progress, stop)

    def prepare(self, ticker: Ticker, streams: int) -> None:
        """Work out the tables of every cloth."""

        def spread(call: Callable[..., Any], each: Sequence[tuple[Any, ...]]) -> Iterator[Any]:
            yield from in_order(self.executor, call, each, ticker)
            if ticker.stopped:
                raise InputError("stopped before any stack was looked at")

        self.quick = screen_of(
            self.candidates.layers,
            self.candidates.backings,
            self.views,
            self.candidates.limits.lay,
            self.candidates.limits.layers[1],
            streams,
            spread,
        )
        self.bounding = self.bounding and can_bound(self.quick, self.wishes)

    def look(
        self, ticker: Ticker, limit: int, beam: int, wanted: int
    ) -> tuple[list[Block], bool]:
        """Every stack screened or bounded away, or those the beam reaches; whether all were."""
        if self.bounding:
            return self.decide_all(ticker, wanted), True
        return self.screen_all(ticker, limit, beam)

    def refuse(self, ticker: Ticker) -> bool:
        """Rule out every use of one cloth that there is too little of; whether there is any.

        Asked of each cloth alone, with ever more layers at each mix of grains; what contains
        too much is too much.
        """
        assert self.fits is not None
        laid, lay = self.candidates.layers, self.candidates.limits.lay
        alike: dict[tuple[int, float], list[int]] = {}
        for k, layer in enumerate(laid):
            alike.setdefault((int(self.space.cloth[k]), layer.grain_deg % 360.0), []).append(k)
        refused = []
        for cloth in sorted({cloth for cloth, _ in alike}):
            ways = [tuple(ks) for (one, _), ks in alike.items() if one == cloth]
            fine: set[tuple[int, ...]] = {()}
            for depth in range(1, self.candidates.limits.layers[1] + 1):
                enough = set()
                for use in combinations_with_replacement(range(len(ways)), depth):
                    if not all(use[:k] + use[k + 1 :] in fine for k in range(depth)):
                        continue  # holds what is too much already
                    if ticker.stop():
                        return False
                    stack = Stack(tuple(laid[ways[k][0]] for k in use), None, lay)
                    if self.fits(stack).enough is False:
                        refused.append(tuple((ways[k], n) for k, n in Counter(use).items()))
                    else:
                        enough.add(use)
                fine = enough
        self.space = replace(self.space, refused=tuple(refused))
        return bool(refused)

    def decide_all(self, ticker: Ticker, wanted: int) -> list[Block]:
        """Every stack screened or bounded away."""
        assert self.quick is not None
        depths = self.candidates.depths
        self.start = start(self.quick, self.space, self.wishes, depths, wanted, _CLOUD)
        quick, gathered = shared(self.executor, self.quick), groups(self.quick)
        arguments = (
            (quick, self.space, self.wishes, gathered, depth, first, last, self.start.cutoff)
            for depth in depths
            for first, last in _outer(self.space, depth)
        )
        return list(in_order(self.executor, nearest_block, arguments, ticker))

    def cloud(self, blocks: list[Block], of: int) -> Cloud:
        """Stacks for the chart: of those screened, or of those drawn to begin with."""
        if self.start is not None:
            return Cloud(self.start.cloud, self.start.keys, of)
        return Cloud(
            np.concatenate([b.cloud for b in blocks]),
            np.concatenate(
                [
                    np.stack([np.full(b.cloud_numbers.size, b.depth), b.cloud_numbers], 1)
                    for b in blocks
                ]
            ),
            of,
        )

    def _full_depth(self, limit: int) -> int:
        """How deep every stack is screened: one layer at least."""
        depth, seen = 0, 0
        for d in range(1, self.candidates.limits.layers[1] + 1):
            seen += self.space.count(d)
            if d > 1 and seen > limit:
                break
            depth = d
        return depth

    def screen_all(self, ticker: Ticker, limit: int, beam: int) -> tuple[list[Block], bool]:
        """Screen every stack, or what the beam reaches; and whether that was every stack."""
        least, most = self.candidates.limits.layers
        full = self._full_depth(limit)
        every = max(1, self.candidates.count // _CLOUD)
        blocks: list[Block] = []
        complete = full >= most
        beamed: list[Block] = []
        quick = shared(self.executor, self.quick)
        for depth in range(1, most + 1):
            last = depth == most
            if depth <= full and depth < least and (depth < full or full == most):
                continue  # neither wanted nor needed to lay more under
            keep = 0 if last or depth < full else beam
            tasks = self._all(depth) if depth <= full else self._under(depth, beamed, beam)
            arguments = ((quick, self.space, self.wishes, t, every, keep) for t in tasks)
            beamed = list(in_order(self.executor, screen_block, arguments, ticker))
            if depth >= least:
                blocks += beamed
            if ticker.stopped:
                break
        return blocks, complete

    def _all(self, depth: int) -> list[Task]:
        block, count = _block(self.space.grounds), self.space.count(depth)
        return [Task(depth, k, min(k + block, count)) for k in range(0, count, block)]

    def _under(self, depth: int, beamed: list[Block], beam: int) -> list[Task]:
        piles = np.concatenate([b.piles for b in beamed] or [np.zeros((0, depth - 1), np.intp)])
        loss = np.concatenate([b.pile_loss for b in beamed] or [np.zeros(0)])
        numbers = self.space.numbers(piles, np.zeros(len(piles), dtype=np.intp))
        piles = piles[np.sort(best_first(loss, numbers)[:beam])]
        each = max(1, BLOCK // (self.space.cloth.size * self.space.grounds))
        return [
            Task(depth, outer=piles[k : k + each]) for k in range(0, piles.shape[0], each)
        ]

    def pool(self, blocks: list[Block]) -> list[Evaluation]:
        """The best of what was screened, and the best of each kind, as judged by screening."""
        depth = np.concatenate([np.full(b.numbers.size, b.depth) for b in blocks])
        number = np.concatenate([b.numbers for b in blocks])
        loss = np.concatenate([b.loss for b in blocks])
        ranked = np.lexsort((number, depth, np.round(loss, 6)))
        keep = np.zeros(loss.size, dtype=bool)
        keep[ranked[:_POOL]] = True
        kind = np.empty(loss.size, dtype=np.intp)
        for d in np.unique(depth):
            mine = np.flatnonzero(depth == d)
            layers, grounds = self.space.decode(int(d), number[mine])
            kind[mine] = (d * self.space.cloth.size + layers[:, 0]) * self.space.grounds + grounds
        keep[ranked[np.unique(kind[ranked], return_index=True)[1]]] = True
        keys = [(int(depth[k]), int(number[k])) for k in ranked[keep[ranked]]]
        self.exhausted = bool(keep.all()) and sum(b.count for b in blocks) == loss.size
        return self.screened(keys)

    def screened(self, keys: list[Key]) -> list[Evaluation]:
        """Stacks by number, judged by screening, in the order given."""
        assert self.quick is not None
        judged: dict[Key, Evaluation] = {}
        for depth in sorted({d for d, _ in keys}):
            mine = [key for key in keys if key[0] == depth]
            layers, grounds = self.space.decode(depth, np.array([n for _, n in mine]))
            measures = screen(self.quick, layers, grounds)
            loss = total_loss(self.wishes, measures)
            for k, key in enumerate(mine):
                judged[key] = self._judged(key, layers[k], int(grounds[k]), _row(measures, k),
                                           float(loss[k]), False)  # fmt: skip
        return [judged[key] for key in keys]

    def _judged(
        self, key: Key, layers: np.ndarray, ground: int, row: Measures, loss: float, exact: bool
    ) -> Evaluation:
        mass = float(self.space.mass[layers].sum())
        stack = self.candidates.stack([int(k) for k in layers], ground)
        return Evaluation(key, stack, row, loss, exact, mass, self.answers.get(key))

    def in_full(self, some: Sequence[Evaluation], ticker: Ticker) -> None:
        """Work stacks out by the full model, and note how far screening was off."""
        piles: dict[tuple[Any, ...], list[Evaluation]] = {}
        for one in some:
            if one.key not in self.worked:
                layers, _ = self.space.decode(one.key[0], np.array([one.key[1]]))
                piles.setdefault(tuple(layers[0]), []).append(one)
        lay = self.candidates.limits.lay
        arguments = [
            (
                tuple(self.candidates.layers[k] for k in numbers),
                tuple(one.stack.backing for one in group),
                lay,
                self.views,
            )
            for numbers, group in piles.items()
        ]
        results = in_order(self.executor, exact, arguments, ticker)
        # a stop ends the results early
        for (numbers, group), measures in zip(piles.items(), results, strict=False):
            losses = total_loss(self.wishes, measures)
            for k, one in enumerate(group):
                self.errors.append(abs(float(losses[k]) - one.loss))
                ground = one.key[1] % self.space.grounds
                self.worked[one.key] = self._judged(
                    one.key, np.array(numbers), ground, _row(measures, k), float(losses[k]), True
                )

    def calibrate(self, sample: int, ticker: Ticker) -> None:
        """Measure the screening's error on stacks drawn from the whole; always the same ones."""
        draw = np.random.default_rng(0)
        keys: dict[Key, None] = {}
        depths = self.candidates.depths
        for k in range(8 * sample):
            if len(keys) == sample:
                break
            depth = depths[k % len(depths)]
            number = int(draw.integers(self.space.count(depth)))
            layers, _ = self.space.decode(depth, np.array([number]))
            if self.space.allowed(layers)[0]:
                keys[(depth, number)] = None
        self.in_full(self.screened(list(keys)), ticker)

    def enough(self, one: Evaluation) -> bool:
        """Ask about the cloth in hand; what does not fit is set aside."""
        if self.fits is None:
            return True
        if one.key not in self.answers:
            self.answers[one.key] = self.fits(one.stack)
        answer = self.answers[one.key]
        if one.key in self.worked:
            self.worked[one.key] = replace(self.worked[one.key], fit=answer)
        if answer.enough is False:
            self.misfits[one.key] = replace(self.worked.get(one.key, one), fit=answer)
            return False
        return True

    def best(self) -> float:
        """The least loss worked out in full of what fits."""
        fine = [j.loss for j in self.worked.values() if self.enough(j)]
        return min(fine, default=np.inf)

    def work_out(self, pool: list[Evaluation], ticker: Ticker) -> tuple[bool, float]:
        """Work out the best in full until no other can be better; whether so, and the margin."""
        spent, at = 0, 0
        while at < len(pool):
            best = self.best()
            if pool[at].loss > best + self.bound:
                return True, pool[at].loss - best
            if spent >= self.budget or ticker.stop():
                return False, pool[at].loss - best
            batch: list[Evaluation] = []
            while at < len(pool) and len(batch) < min(_TOGETHER, self.budget - spent):
                one = pool[at]
                at += 1
                if one.key not in self.worked and self.enough(one):
                    batch.append(one)
            self.in_full(batch, ticker)
            spent += len(batch)
        return self.exhausted, 0.0

    def sure(self, chosen: Sequence[Evaluation], pool: Sequence[Evaluation]) -> int:
        """How many of the first options no stack left to the screening can beat within its error:
        of the best screened, those left over here are the best that are left at all."""
        left = [j.loss for j in pool if j.key not in self.worked and j.key not in self.misfits]
        least = min(left, default=np.inf) - self.bound
        return next((k for k, one in enumerate(chosen) if one.loss > least), len(chosen))

    def shortlist(
        self, pool: list[Evaluation], most: int, ticker: Ticker
    ) -> tuple[list[Evaluation], list[Evaluation]]:
        """Truly different options, worked out in full, and better ones that do not fit."""
        by_key = {one.key: one for one in pool}
        spare = 8 * most
        while True:
            for key, one in self.worked.items():
                by_key[key] = one
            chosen = pick([j for k, j in by_key.items() if k not in self.misfits], most)
            fine = [self.enough(one) for one in chosen]
            rough = [one for one in chosen if not one.exact]
            if all(fine) and (not rough or spare <= 0 or ticker.stop()):
                break
            if all(fine):
                self.in_full(rough, ticker)
                spare -= len(rough)
        first = chosen[0].loss if chosen else np.inf
        short = pick([j for j in self.misfits.values() if j.loss < first], most)
        return [replace(j, fit=self.answers.get(j.key)) for j in chosen], short


def _outer(space: Space, depth: int) -> list[tuple[int, int]]:
    """The tasks of one depth: runs of the piles that a last layer goes under."""
    return [(0, 0)] if depth == 1 else outer_tasks(space, depth)


def _row(measures: Measures, k: int) -> Measures:
    return Measures(
        measures.scenes[k : k + 1], measures.turns[k : k + 1], measures.opacity[k : k + 1],
        measures.whites,
    )  # fmt: skip


def _block(grounds: int) -> int:
    """Stacks a task, a whole number of piles."""
    return max(1, BLOCK // grounds) * grounds
