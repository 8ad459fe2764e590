"""Fit a cloth to what was seen of it, and tell what stayed unsettled.

Knows observations, parameters and the forward optics; knows nothing of pictures or files. The fit
is the most likely cloth given what was seen and what is known of yarns beforehand: nonlinear least
squares, Gauss-Newton with steps checked, nested so that the few geometries that are tried are used
fully. Spread is the linearised posterior (A. Tarantola, Inverse Problem Theory, 2005, ch. 3).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.errors import InputError
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_problem import Problem, start_unknowns
from weavecolor.measure.fit_report import (
    Quantity,
    Residual,
    answered,
    quantities,
    residuals,
    trades,
)
from weavecolor.measure.observations import Known, Seen, Thread
from weavecolor.optics.stack import Stack
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth

Array = NDArray[np.float64]

#: Steps in the slow numbers for their slopes: logit of cover, ln of lustre.
_PROBE = (0.06, 0.06, 0.15)
#: Longest step in them at once.
_LONGEST = np.array([0.8, 0.8, 0.5])
_ROUNDS = 10
#: Slopes are carried along over steps in the covers (logit) up to this, and probed after longer.
_NEAR = 0.3
#: Covers tried to begin with, logit: 0.27, 0.5 and 0.73.
_TRIED = (-1.0, 0.0, 1.0)
#: The search has arrived when the next step promises less than this in summed squares (1 is a
#: step of one standard uncertainty), and is accepted when slopes probed there promise less than
#: the second.
_ARRIVED, _ACCEPTED = 0.15, 0.5


@dataclass(frozen=True, eq=False)
class Fit:
    """The cloth fitted, and how sure it is.

    ``values`` (n,) and ``covariance`` (n, n) of the parameters; ``residuals`` tell each
    observation's CIEDE2000; ``quantities`` each settled or unsettled property with its spread;
    ``trades`` are pairs of properties that the data cannot tell apart. ``misfit`` is the mean
    squared residual in standard uncertainties: near or under 1 where all agrees. ``determined``
    counts the combinations of parameters that the data settle better than was known beforehand.
    ``answered_de``: greatest CIEDE2000 between the cloth as it was seen and as the answers show the
    fitted cloth; the search takes yarns as matt, answers take them as clear filaments.
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
    answered_de: float

    @property
    def residual_de(self) -> float:
        """Greatest CIEDE2000 between the cloth as it was seen and as the fitted cloth shows; bare
        thread, whose lightness is not known well, is left out."""
        return max(r.delta for r in self.residuals if not r.thread)

    @property
    def unsettled(self) -> tuple[Quantity, ...]:
        """What the data could not settle."""
        return tuple(q for q in self.quantities if not q.settled)

    def draws(self, each: int = 1, seed: int = 1) -> list[Cloth]:
        """Cloths that fit about as well, to see what the uncertainty does to a prediction.

        Six geometries placed so that their covariance is the posterior's (an unscented set,
        S. Julier and J. Uhlmann, Proc. IEEE 92 (2004) 401), each with ``each`` random colours.
        """
        rng = np.random.default_rng(seed)
        s = slice(0, p.SLOW)
        slow = self.covariance[s, s]
        gain = self.covariance[p.SLOW :, s] @ np.linalg.inv(slow)
        left = self.covariance[p.SLOW :, p.SLOW :] - gain @ slow @ gain.T
        root, spread = np.linalg.cholesky(slow), _root(left)
        out = []
        for k in range(2 * p.SLOW):
            step = (1 if k % 2 else -1) * np.sqrt(p.SLOW) * root[:, k // 2]
            for _ in range(each):
                x = self.values.copy()
                x[s] += step
                x[p.SLOW :] += gain @ step + spread @ rng.standard_normal(spread.shape[1])
                out.append(self.unknowns.cloth(x))
        return out


@dataclass(frozen=True, eq=False)
class Prediction:
    """A stack's predicted colour: Lab (3,) and the root mean square CIEDE2000 to the colours that
    other cloths fitting about as well would show (one standard uncertainty of the fit alone)."""

    Lab: Array
    spread_de: float
    draws: Array


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
        Called with rounds done and most rounds there can be.

    Raises
    ------
    InputError
        Nothing seen; setts that cannot be woven.
    """
    if not seen:
        raise InputError("a fit needs at least the cloth's colour over one backing")
    problem = Problem.of(start, seen, threads, known)
    found = _search(problem, start_unknowns(start, seen, threads), progress)
    unknowns, x, residual, slope = found.unknowns, found.x, found.residual, found.slope
    covariance: Array = np.asarray(np.linalg.inv(slope.T @ slope + p.prior_precision()), float)
    # singular values of the slopes in units of what was known beforehand
    scaled = slope @ np.linalg.cholesky(p.prior_covariance())
    determined = int((np.linalg.svd(scaled, compute_uv=False) > 1.0).sum())
    made = unknowns.cloth(x)
    return Fit(
        made,
        unknowns,
        x,
        covariance,
        residuals(problem, unknowns, x),
        quantities(unknowns, x, covariance),
        trades(unknowns, x, covariance),
        float(residual @ residual / residual.size),
        determined,
        found.rounds,
        found.converged,
        answered(made, seen),
    )


@dataclass(frozen=True, eq=False)
class _Found:
    """Where a search ended, with residual and slopes there."""

    unknowns: p.Unknowns
    x: Array
    residual: Array
    slope: Array
    rounds: int
    converged: bool


def _search(
    problem: Problem, unknowns: p.Unknowns, progress: Callable[[int, int], None] | None
) -> _Found:
    """Gauss-Newton over all numbers; after each step the fast ones are solved for anew.

    Slopes against the slow numbers are probed at the start and at the end and whenever a step
    fails; in between they are carried along by the change that a step brought (C. G. Broyden,
    Math. Comp. 19 (1965) 577).
    """
    precision = p.prior_precision()
    x = _begun(problem, unknowns, precision)
    unknowns, x = unknowns.recentred(x)
    x, cost = _inner(problem, unknowns, precision, x)
    residual, slope = _joint(problem, unknowns, x)
    probed, settled = True, False
    for done in range(_ROUNDS):
        if progress:
            progress(done, _ROUNDS)
        step, promised = _step(unknowns, precision, x, residual, slope)
        if promised < _ARRIVED or (settled and promised < _ACCEPTED):
            settled = True
            if probed:
                break
            unknowns, x = unknowns.recentred(x)
            x, cost = _inner(problem, unknowns, precision, x)
            residual, slope = _joint(problem, unknowns, x)
            probed = True
            continue
        settled = False
        step *= min(1.0, float((_LONGEST / np.maximum(np.abs(step[: p.SLOW]), 1e-12)).min()))
        for share in (1.0, 0.35):
            trial, reached = _inner(problem, unknowns, precision, x + share * step)
            if reached < cost:
                break
        if reached < cost:
            there, fast = problem.residual(unknowns, trial)
            far = float(np.abs((trial - x)[:2]).max()) > _NEAR
            if far:
                there, slope = _joint(problem, unknowns, trial)
            else:
                slope = _carried(slope, fast, there - residual, trial - x)
            x, cost, residual, probed = trial, reached, there, far
        elif probed:  # no better cloth lies that way
            settled = promised < 1.0
            break
        else:
            residual, slope = _joint(problem, unknowns, x)
            probed = True
    if not probed:
        residual, slope = _joint(problem, unknowns, x)
    if progress:
        progress(_ROUNDS, _ROUNDS)
    return _Found(unknowns, x, residual, slope, done, settled)


def _begun(problem: Problem, unknowns: p.Unknowns, precision: Array) -> Array:
    """Where to begin: covers that have the open share known, if it is, else the best of a few."""
    mean = unknowns.prior_mean()
    tried = []
    for number in problem.known:
        if number.what == "open share":
            tried = [np.clip(p.logit(1.0 - np.sqrt(number.value)), -2.5, 2.5)]
    best, least = mean, np.inf
    for cover in tried or _TRIED:
        x = mean.copy()
        x[:2] = cover
        x, cost = _inner(problem, unknowns, precision, x)
        if cost > least:
            break  # they come in order: beyond a better one it only gets worse
        best, least = x, cost
    return best


def _step(
    unknowns: p.Unknowns, precision: Array, x: Array, residual: Array, slope: Array
) -> tuple[Array, float]:
    """The Gauss-Newton step and the fall in summed squares that it promises."""
    gradient = slope.T @ residual + precision @ (x - unknowns.prior_mean())
    step = -np.asarray(np.linalg.solve(slope.T @ slope + precision, gradient), dtype=np.float64)
    return step, float(-gradient @ step)


def _carried(slope: Array, fast: Array, change: Array, step: Array) -> Array:
    """Slopes at the end of ``step``: fast ones as they are there, the covers' by Broyden's
    update; lustre shows too little to be told apart in it."""
    covers = slice(0, 2)
    middle = 0.5 * (slope[:, p.SLOW :] + fast)
    missed = change - middle @ step[p.SLOW :] - slope[:, : p.SLOW] @ step[: p.SLOW]
    size = float(step[covers] @ step[covers])
    out = np.column_stack([slope[:, : p.SLOW], fast])
    if size > 1e-10:
        out[:, covers] += np.outer(missed, step[covers]) / size
    return out


def predict(
    fit: Fit, arrange: Callable[[Cloth], Stack], scene: Scene, each: int = 1, seed: int = 1
) -> Prediction:
    """A stack made of the fitted cloth in a scene; ``arrange`` lays a cloth up.

    Each draw costs a geometry, about a second; ``each`` as in :meth:`Fit.draws`.
    """
    from weavecolor.colour.colorimetry import ciede2000
    from weavecolor.optics.appearance import appearance

    Lab = appearance(arrange(fit.cloth), scene).reading.Lab
    others = np.array(
        [appearance(arrange(c), scene).reading.Lab for c in fit.draws(each, seed)]
    )
    apart = ciede2000(np.broadcast_to(Lab, others.shape), others)
    return Prediction(Lab, float(np.sqrt(np.mean(apart**2))), others)


def _root(covariance: Array) -> Array:
    """A matrix whose product with its transpose is ``covariance``, rounding below 0 left out."""
    value, vector = np.linalg.eigh(0.5 * (covariance + covariance.T))
    return np.asarray(vector * np.sqrt(np.maximum(value, 0.0)))


def _inner(
    problem: Problem, unknowns: p.Unknowns, precision: Array, x: Array
) -> tuple[Array, float]:
    """Best fast numbers for the geometry of ``x``, and the cost: Levenberg-Marquardt."""
    mean, fast = unknowns.prior_mean(), slice(p.SLOW, None)
    damping = 1e-3

    def cost(residual: Array, at: Array) -> float:
        return float(residual @ residual + (at - mean) @ precision @ (at - mean))

    residual, slope = problem.residual(unknowns, x)
    now = cost(residual, x)
    for _ in range(25):
        information = slope.T @ slope + precision[fast, fast]
        gradient = slope.T @ residual + (precision @ (x - mean))[fast]
        better = False
        while damping < 1e6:
            push = information + damping * np.diag(np.diag(information))
            step = -np.linalg.solve(push, gradient)
            trial = x.copy()
            trial[fast] += np.clip(step, -1.5, 1.5)
            there, slope_there = problem.residual(unknowns, trial)
            reached = cost(there, trial)
            if reached < now:
                better = True
                break
            damping *= 8.0
        if not better:
            break
        gain, x, residual, slope, now = now - reached, trial, there, slope_there, reached
        damping = max(damping / 8.0, 1e-7)
        if gain < 1e-2 + 1e-4 * now:
            break
    return x, now


def _joint(problem: Problem, unknowns: p.Unknowns, x: Array) -> tuple[Array, Array]:
    """Residual and slopes against all parameters; the slow ones by a step each."""
    residual, fast = problem.residual(unknowns, x)
    columns = []
    for k, probe in enumerate(_PROBE):
        moved = x.copy()
        moved[k] += probe
        columns.append((problem.residual(unknowns, moved)[0] - residual) / probe)
    return residual, np.column_stack([*columns, fast])

