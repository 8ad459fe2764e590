"""Fit a cloth to what was seen of it, and tell what stayed unsettled.

Knows observations, parameters and the forward optics; knows nothing of pictures or files. The fit
is the most likely cloth given what was seen and what is known of yarns beforehand: nonlinear least
squares over a smooth surface through constructions that were traced (``fit_surface``), which is
laid anew about what was found until that lies within. Spread is the linearised posterior (A.
Tarantola, Inverse Problem Theory, 2005, ch. 3), with the surface's own noise in it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import count

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from weavecolor.errors import InputError
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_problem import Problem, start_unknowns
from weavecolor.measure.fit_report import (
    Quantity,
    Residual,
    given,
    residuals,
    told,
)
from weavecolor.measure.fit_surface import TRUSTED, Traced, smooth
from weavecolor.measure.observations import Known, Seen, Thread
from weavecolor.optics.fitted import Looks, places
from weavecolor.optics.onelayer import OneLayer
from weavecolor.scene.places import PHOTO_SCENE, scene
from weavecolor.textile.cloth import Cloth

Array = NDArray[np.float64]

#: Widths of the first surface in the slow numbers: of the covers wide, of the rest as known
#: beforehand; later the least and greatest, and a width as a multiple of what spread is left.
_WIDTHS = np.array([0.7, 0.7, p.FLATTER_SPREAD, p.PACKING_SPREAD, p.DULLER_SPREAD, 1.0])
_LEAST = np.array([0.2, 0.2, 0.08, 0.05, 0.2, 0.4])
_MOST = np.concatenate([[0.45, 0.45], _WIDTHS[2:]])
_OF_SPREAD = 1.5
#: Constructions traced for the first surface and for each later one; surfaces at most.
_FIRST, _MORE, _SURFACES = 14, 9, 4
#: Share of the rays with which the first, wide surface is traced, which only shows where to look.
_ROUGH = 0.35
#: Of constructions traced, the one that shows best what was seen: relative error to which one of
#: single rods is traced, and one of many; and by how much in squares of standard uncertainties it
#: must do better than what the surface tells.
_TRACED, _BETTER = (0.02, 0.05), 4.0
#: Steps to its dyes at most, how often each is halved, and the gain in squares that ends them.
_STEPS, _HALVES, _GAIN = 12, 6, 0.05
#: So many of the best, if they miss by less than this more than the best of all, are traced once
#: more by so many times the rays; relative error that is left then.
_AGAIN, _NEAR_BEST, _RAYS, _FINE = 2, 9.0, 3.0, (0.012, 0.03)
#: What was found lies well within a surface: so many widths from its middle.
_WITHIN = 1.0
#: Share of a surface's misfit to single constructions that is its own and not their noise. Assumed.
_MISFIT = 0.5
#: Photographs that are kept with the cloth; how far a grey ground's reflectance may vary; the step
#: by which a lamp's slope is taken, in standard deviations of its place.
_MOST_LOOKS, _GREY, _STEP = 8, 0.1, 0.1
_MOST_TRACED = _FIRST + 1 + (_SURFACES - 1) * (_MORE + 1) + _AGAIN


@dataclass(frozen=True, eq=False)
class Fit:
    """The cloth fitted, and how sure it is.

    ``values`` (n,) and ``covariance`` (n, n) of the parameters; ``residuals`` tell each
    observation's CIEDE2000; ``quantities`` each settled or unsettled property with its spread;
    ``trades`` are pairs of properties that the data cannot tell apart. ``misfit`` is the mean
    squared residual in standard uncertainties, of ``cloth`` or of the surface it was found on,
    whichever is greater: near or under 1 where all agrees. ``determined`` counts the combinations
    of parameters that the data settle better than was known beforehand.
    ``looks``: how it was photographed, None where it was not where photographs are taken.
    ``given``: what it rests on, by the names of ``fit_report.TELLS``. ``alike``: correlation of the
    errors of both yarns' lightness.
    """

    cloth: Cloth
    unknowns: p.Unknowns
    values: Array
    covariance: Array
    residuals: tuple[Residual, ...]
    quantities: tuple[Quantity, ...]
    trades: tuple[str, ...]
    misfit: float
    determined: int
    rounds: int
    converged: bool
    alike: float
    given: frozenset[str] = frozenset()
    looks: Looks | None = None

    @property
    def residual_de(self) -> float:
        """Greatest CIEDE2000 between the cloth as it was seen and as the fitted cloth shows; bare
        thread, whose lightness is not known well, is left out."""
        return max(r.delta for r in self.residuals if not r.thread)

    @property
    def unsettled(self) -> tuple[Quantity, ...]:
        """What the data could not settle."""
        return tuple(q for q in self.quantities if not q.settled)


def fit_cloth(
    start: Cloth,
    seen: Sequence[Seen],
    threads: Sequence[Thread] = (),
    known: Sequence[Known] = (),
    progress: Callable[[int, int], None] | None = None,
) -> Fit:
    """The cloth that shows what was seen.

    Parameters
    ----------
    start : Cloth
        Weave, setts, fibres and kinds of yarn as known; the rest is where the search begins and
        what is expected beforehand (see ``tocloth.start_cloth``).
    seen : sequence of Seen
        At least one colour of the cloth over a backing; two backings and two grain directions
        settle much more.
    threads, known
        Colours of bare thread, numbers about the construction.
    progress : callable, optional
        Called with constructions traced and the most there can be.

    Returns
    -------
    Fit
        The ``cloth``, how well it shows what was seen, what is settled and what is not, and what is
        foretold of it elsewhere.

    Raises
    ------
    InputError
        Nothing seen; setts that cannot be woven.

    Notes
    -----
    The cloth of greatest posterior density: sum of ((shown - seen) / error)^2 over all readings and
    of ((x - usual) / spread)^2 over its numbers, least by steps on a quadratic surface through the
    light of traced constructions; ranges from the linearised posterior (DEVELOPERS.md, "Fitting a
    cloth").

    References
    ----------
    A. Tarantola, Inverse Problem Theory (2005), ch. 3, from memory.

    Examples
    --------
    >>> from weavecolor.measure.observations import seen_spectrum
    >>> from weavecolor.optics.appearance import appearance
    >>> grounds, even = (backing("white"), backing("black")), scene("overcast")
    >>> looks = [appearance(Stack((Layer(organza),), g), even).radiance_factor for g in grounds]
    >>> read = [seen_spectrum(g.name, look, 0.01, g) for g, look in zip(grounds, looks)]
    >>> fit = fit_cloth(organza, read)  # from its own spectra
    >>> fit.converged, fit.residual_de < 3.0
    (True, True)
    """
    if not seen:
        raise InputError("a fit needs at least the cloth's colour over one backing")
    problem = Problem.of(start, seen, threads, known)
    began = start_unknowns(start, seen, threads)
    done = count(1)
    found = _search(
        problem, began, None if progress is None else lambda: progress(next(done), _MOST_TRACED)
    )
    unknowns, x, residual, slope = found.unknowns, found.best.x, found.residual, found.slope
    covariance = found.covariance
    # singular values of the slopes in units of what was known beforehand
    scaled = slope @ np.linalg.cholesky(began.covariance())
    determined = int((np.linalg.svd(scaled, compute_uv=False) > 1.0).sum())
    found_out = told(unknowns, x, covariance, given(problem))
    if progress is not None:
        progress(_MOST_TRACED, _MOST_TRACED)  # the search seldom needs all of its surfaces
    return Fit(
        unknowns.cloth(x),
        unknowns,
        x,
        covariance,
        residuals(problem, unknowns, x, found.best.layers),
        found_out.quantities,
        found_out.trades,
        max(found.best.misfit, float(residual @ residual / residual.size)),
        determined,
        found.rounds,
        found.converged,
        found_out.alike,
        given(problem),
        _looks(problem, unknowns, x, covariance),
    )


def _looks(problem: Problem, unknowns: p.Unknowns, x: Array, covariance: Array) -> Looks | None:
    """How the cloth looks in the usual place of photographs, by those over a grey ground: what was
    read, lit and scaled as that place is told to be, and how unsure lamp, light and paper leave
    it."""
    usual, moves_ = scene(PHOTO_SCENE), [p.LAMP, p.PAPER, p.LIGHT]
    plain, aside = x.copy(), x.copy()
    plain[moves_] = 0.0
    aside[p.LAMP] += _STEP
    shown = [
        problem.shown(unknowns, at, layers)
        for at, layers in zip((x, plain, aside),
                              problem.lit(unknowns, np.stack([x, plain, aside])), strict=True)
    ]  # fmt: skip
    lies: list[tuple[float, bool, float]] = []
    rows: list[int] = []
    values, slopes, first = [], [], 0
    for k, sight in enumerate(problem.sights):
        seen, own = sight.seen, slice(first, first + len(sight.seen.value))
        first = own.stop
        ground = np.asarray(seen.backing.reflectance)
        if len(seen.value) != 3 or seen.scene != usual or np.ptp(ground) > _GREY:
            continue
        if len(lies) == _MOST_LOOKS:
            break
        here, there, lamp = (one[0][k] for one in shown)
        lies.append((float(seen.grain_deg), seen.face == "face", float(ground.mean())))
        rows += range(own.start, own.stop)
        values.append(seen.value + there - here)
        slopes.append(np.c_[(lamp - here) / _STEP, shown[0][1][k][:, moves_[1:]]])
    if not lies:
        return None
    slope, value = np.concatenate(slopes), np.array(values)
    unsure = problem.own[np.ix_(rows, rows)] + slope @ covariance[np.ix_(moves_, moves_)] @ slope.T
    traced = np.diag((_FINE[problem.many] * np.maximum(value.ravel(), 0.05)) ** 2)
    return Looks(tuple(lies), value, unsure + traced)


@dataclass(frozen=True, eq=False)
class _Found:
    """Where a search ended, with residual and slopes there."""

    unknowns: p.Unknowns
    best: _Fitted
    residual: Array
    slope: Array
    covariance: Array
    rounds: int
    converged: bool


def _search(
    problem: Problem, unknowns: p.Unknowns, told_one: Callable[[], None] | None
) -> _Found:
    """Surfaces laid about what was found on the last one, until it lies within."""
    x = unknowns.prior_mean()
    for number in problem.known:
        if number.what == "open share":
            x[:2] = np.clip(p.logit(1.0 - np.sqrt(number.value)), -2.5, 2.5)
    middle, width = x[: p.SLOW].copy(), _WIDTHS.copy()
    traced: list[Traced] = []
    tried: list[_Fitted] = []
    rounds = 0
    while True:
        rounds += 1
        at = places(middle, width, _MORE if traced else _FIRST, len(traced))
        at[:, problem.still] = middle[problem.still]
        new = problem.traced_all(unknowns, at, 1.0 if traced else _ROUGH, told_one)
        traced += new
        problem.surface = smooth(traced, middle, width)
        for _ in range(min(rounds, 2)):
            x = _lowest(problem, unknowns, x, middle, width)
            problem.unsure = _noise(problem, unknowns, x, traced)
            unknowns, x = unknowns.recentred(x)
        x = _lowest(problem, unknowns, x, middle, width)
        residual, slope = problem.residual(unknowns, x)
        spread = np.sqrt(np.diag(_posterior(slope, unknowns)))[: p.SLOW]
        wanted = np.clip(_OF_SPREAD * spread, _LEAST, _MOST)
        off = np.abs(x[: p.SLOW] - middle) / width
        settled = bool((off < _WITHIN).all() and (width < 1.5 * wanted).all())
        # the surface is smoothed over what fibre shows of one build and not of the next
        own = problem.traced_all(unknowns, x[None, : p.SLOW], 1.0, told_one)
        traced += own
        here = _dyed(problem, unknowns, x, own[0])
        tried += [_dyed(problem, unknowns, x, one) for one in new]
        best = min(tried, key=lambda f: f.off)
        if here.off < best.off + _BETTER:
            best = here
        tried.append(here)
        if settled or rounds == _SURFACES:
            break
        middle, width = best.x[: p.SLOW].copy(), wanted
    missed = np.array([f.off - best.off for f in tried])
    best = _again(problem, unknowns, best, tried, told_one)
    # ranges are of cloths about what the surface found; the cloth given is one of these
    found = best.of(unknowns)
    moved = found - x
    covariance = _as_it_fits(residual, slope, unknowns)
    away = np.stack([f.of(unknowns) for f in tried]) - found
    covariance += np.outer(moved, moved) + _elsewhere(away, missed, covariance)
    return _Found(unknowns, replace(best, x=found), residual, slope, covariance, rounds, settled)


def _again(
    problem: Problem,
    unknowns: p.Unknowns,
    best: _Fitted,
    tried: Sequence[_Fitted],
    told_one: Callable[[], None] | None,
) -> _Fitted:
    """The ``best`` construction traced anew by more rays, or one of those ``tried`` that is then
    better by :data:`_BETTER`: by few rays, what fits is in part the noise that happens to show what
    was seen."""
    others = sorted((f for f in tried if f is not best), key=lambda f: f.off)
    near = [best, *(f for f in others[: _AGAIN - 1] if f.off < best.off + _NEAR_BEST)]
    at = np.stack([f.x[: p.SLOW] for f in near])
    made = [
        _dyed(problem, unknowns, f.of(unknowns), one, _FINE)
        for f, one in zip(
            near, problem.traced_all(unknowns, at, _RAYS, told_one), strict=True
        )
    ]
    other = min(made, key=lambda f: f.off)
    return other if other.off < made[0].off - _BETTER else made[0]


def _elsewhere(away: Array, off: Array, covariance: Array) -> Array:
    """What constructions ``away`` (n, SIZE) from the best, that miss by ``off`` (n,) squares more,
    add (SIZE, SIZE) to the ``covariance`` about it: each as much as it is likelier than that says.
    Sheer cloth of two colours often has a second construction and pair of dyes that shows nearly
    the same."""
    slow = away[:, : p.SLOW]
    near = np.linalg.solve(covariance[: p.SLOW, : p.SLOW], slow.T).T
    expected = np.exp(-0.5 * (near * slow).sum(axis=1))
    likely = np.exp(-0.5 * np.maximum(off, 0.0))
    share = np.maximum(likely - expected, 0.0) / np.maximum(likely, expected).sum()
    return np.asarray((share * away.T) @ away)


@dataclass(frozen=True, eq=False)
class _Fitted:
    """Parameters ``x`` (SIZE,) in ``unknowns`` of one construction, and by how much it misses what
    was seen and is usual: squares in standard uncertainties, summed as ``off``; as ``misfit``, of
    what was seen alone, the mean of a reading."""

    x: Array
    off: float
    misfit: float
    layers: tuple[OneLayer, ...]
    unknowns: p.Unknowns

    def of(self, unknowns: p.Unknowns) -> Array:
        """The parameters (SIZE,) in others, whose curves were laid anew since."""
        return self.x if unknowns is self.unknowns else unknowns.same(self.unknowns, self.x)


def _dyed(
    problem: Problem,
    unknowns: p.Unknowns,
    x: Array,
    one: Traced,
    error: tuple[float, float] = _TRACED,
) -> _Fitted:
    """The most likely dyes, paper and light, from those of ``x``, of a construction traced with a
    relative ``error`` of single rods and of many."""
    mean = unknowns.prior_mean()
    whiten = np.linalg.inv(np.linalg.cholesky(unknowns.covariance()))
    begun = np.concatenate([one.at, x[p.SLOW :]])
    rough = np.diag((error[problem.many] * np.maximum(problem.values, 0.05)) ** 2)
    root = np.linalg.cholesky(problem.own + rough)

    def both(fast: Array) -> tuple[Array, Array]:
        at = np.concatenate([one.at, fast])
        shown, slopes = problem.shown(unknowns, at, one.layers)
        sized = problem.numbers(unknowns, at)
        off = np.linalg.solve(root, np.concatenate(shown) - problem.values)
        return np.concatenate([off, sized, whiten @ (at - mean)]), np.concatenate(
            [np.linalg.solve(root, np.concatenate(slopes)), np.zeros((sized.size, p.SIZE)), whiten]
        )[:, p.SLOW :]

    fast = begun[p.SLOW :]
    missed, slope = both(fast)
    off = float(missed @ missed)
    for _ in range(_STEPS):
        step = np.linalg.lstsq(slope, missed, rcond=None)[0]
        # dyes that no picture tells apart are thrown far by a whole step
        for share in 0.5 ** np.arange(_HALVES):
            there = both(fast - share * step)
            lower = float(there[0] @ there[0])
            if lower < off:
                break
        else:
            break
        gained, off = off - lower, lower
        fast, (missed, slope) = fast - share * step, there
        if gained < _GAIN:
            break
    misfit = float(np.mean(missed[: problem.values.size] ** 2))
    return _Fitted(np.concatenate([one.at, fast]), off, misfit, one.layers, unknowns)


def _posterior(slope: Array, unknowns: p.Unknowns) -> Array:
    """Covariance (SIZE, SIZE) of the parameters, given slopes (r, SIZE) of what was seen."""
    precision = slope.T @ slope + np.linalg.inv(unknowns.covariance())
    return np.asarray(np.linalg.inv(precision), float)


def _as_it_fits(residual: Array, slope: Array, unknowns: p.Unknowns) -> Array:
    """As :func:`_posterior`; what is missed by more than its errors let it, by a ``residual`` (r,),
    had larger ones (R. T. Birge, Physical Review 40 (1932) 207, from memory)."""
    covariance = _posterior(slope, unknowns)
    free = residual.size - float(np.trace(slope @ covariance @ slope.T))
    larger = max(1.0, float(residual @ residual) / free)
    return _posterior(slope / np.sqrt(larger), unknowns)


def _lowest(problem: Problem, unknowns: p.Unknowns, x: Array, middle: Array, width: Array) -> Array:
    """The most likely parameters on the problem's surface, from ``x``."""
    mean = unknowns.prior_mean()
    whiten = np.linalg.inv(np.linalg.cholesky(unknowns.covariance()))
    kept: dict[bytes, tuple[Array, Array]] = {}

    def both(at: Array) -> tuple[Array, Array]:
        key = at.tobytes()
        if key not in kept:
            kept.clear()
            residual, slope = problem.residual(unknowns, at)
            kept[key] = (
                np.concatenate([residual, whiten @ (at - mean)]),
                np.concatenate([slope, whiten]),
            )
        return kept[key]

    inside = (TRUSTED - 0.05) * width
    begun = x.copy()
    begun[: p.SLOW] = np.clip(x[: p.SLOW], middle - inside, middle + inside)
    least, most = np.full(p.SIZE, -np.inf), np.full(p.SIZE, np.inf)
    least[: p.SLOW], most[: p.SLOW] = middle - TRUSTED * width, middle + TRUSTED * width
    # counted in spreads from one below the start: the first step is as long as its numbers
    unit = np.sqrt(np.diag(unknowns.covariance()))
    origin = begun - unit

    def off(at: Array) -> Array:
        return both(origin + unit * at)[0]

    def slopes(at: Array) -> Array:
        return both(origin + unit * at)[1] * unit

    found = least_squares(
        off,
        np.ones(p.SIZE),
        jac=slopes,
        bounds=((least - origin) / unit, (most - origin) / unit),
        ftol=1e-4,
        max_nfev=40,
    )
    return np.asarray(origin + unit * found.x, float)


def _noise(problem: Problem, unknowns: p.Unknowns, x: Array, traced: Sequence[Traced]) -> Array:
    """Covariance (r, r) that the surface's own noise and misfit add to all readings.

    What smooth fibre sends straight to the eye changes abruptly with how steep the yarns lie: no
    surface follows it. It is the same over every backing, and so is its doubt.
    """
    share, off_ = _missed(problem, unknowns, x, traced)
    assert problem.surface is not None
    left, of = problem.surface.noise(x[: p.SLOW]), problem.arrangements
    common = np.zeros_like(off_)
    for which in range(of.max() + 1):
        own = np.flatnonzero(of == which)
        grounds = off_[:, own].reshape(len(off_), -1, len(problem.sights[0].seen.value))
        common[:, own] = np.tile(grounds.mean(axis=1), (1, grounds.shape[1]))
    out = np.diag((_MISFIT + left) * (share @ (off_ - common) ** 2))
    together = np.einsum("i,ia,ib->ab", share, common, common)
    out += (1.0 + left) * np.where(of[:, None] == of, together, 0.0)
    return np.asarray(out)


def _missed(
    problem: Problem, unknowns: p.Unknowns, x: Array, traced: Sequence[Traced]
) -> tuple[Array, Array]:
    """By how much the surface misses all readings (n, r) of constructions traced nearby, were they
    not part of it, and the share (n,) by which each counts."""
    surface = problem.surface
    assert surface is not None
    weights, off = [], []
    for which, one in enumerate(traced):
        weight = float(np.exp(-0.5 * (((one.at - surface.middle) / surface.width) ** 2).sum()))
        if weight < 0.02:
            continue
        at = x.copy()
        at[: p.SLOW] = one.at
        true, shown = (
            np.concatenate(problem.shown(unknowns, at, layers, False)[0])
            for layers in (one.layers, *problem.lit(unknowns, at[None]))
        )
        # a prediction of what was left out misses by the square of this more than a mean misfit
        free = max(1.0 - surface.own(which, one.at), 0.1)
        off.append((true - shown) / np.sqrt(free))
        weights.append(weight * free)
    return np.array(weights) / sum(weights), np.array(off)


def root(covariance: Array) -> Array:
    """A matrix whose product with its transpose is ``covariance``, rounding below 0 left out.

    Examples
    --------
    >>> root(np.diag([4.0, 0.0])).tolist()
    [[0.0, 2.0], [0.0, 0.0]]
    """
    value, vector = np.linalg.eigh(0.5 * (covariance + covariance.T))
    return np.asarray(vector * np.sqrt(np.maximum(value, 0.0)))
