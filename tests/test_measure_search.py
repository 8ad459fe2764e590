"""The search of a fit on a cloth that answers in a straight line: Gauss's answer is known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from weavecolor.measure import fit
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_surface import Traced
from weavecolor.measure.observations import seen_colour, seen_spectrum
from weavecolor.scene.backings import Backing

SLOW, SIZE = p.SLOW, p.SIZE


class _Unknowns:
    """Independent numbers about nought, each known beforehand to ``spread``."""

    def __init__(self, spread: np.ndarray) -> None:
        self.spread = spread

    def prior_mean(self) -> np.ndarray:
        return np.zeros(SIZE)

    def covariance(self) -> np.ndarray:
        return np.diag(self.spread**2)

    def recentred(self, x):
        return self, x


class _Straight:
    """Readings (r,) that go with all numbers in a straight line, ``by`` (r, SIZE), about 0.5; each
    is sure to ``error``. What is traced carries its build's part alone."""

    known: tuple = ()
    many = 0

    def __init__(self, by: np.ndarray, values: np.ndarray, error: float) -> None:
        self.by, self.values = by, values
        self.own = error**2 * np.eye(len(values))
        self.unsure = np.zeros_like(self.own)
        self.error, self.surface = error, None
        self.arrangements = np.zeros(len(values), int)
        self.sights = [SimpleNamespace(seen=SimpleNamespace(value=values))]
        self.still: list[int] = []
        self.asked: list[tuple[int, float]] = []

    def traced_all(self, unknowns, at, rays, told):
        self.asked.append((len(at), rays))
        for _ in at:
            if told is not None:
                told()
        return [Traced(one.copy(), (self.by[:, :SLOW] @ one,)) for one in at]

    def lit(self, unknowns, at):
        return [(self.surface._at(one[:SLOW]) @ self.surface.terms,) for one in at]

    def shown(self, unknowns, at, layers, slopes=True):
        return [0.5 + layers[0] + self.by[:, SLOW:] @ at[SLOW:]], [self.by]

    def numbers(self, unknowns, at):
        return np.zeros(0)

    def residual(self, unknowns, x):
        (layers,) = self.lit(unknowns, x[None])
        shown = self.shown(unknowns, x, layers)[0][0]
        return (shown - self.values) / self.error, self.by / self.error


@pytest.fixture
def straight(monkeypatch):
    monkeypatch.setattr("weavecolor.measure.fit_surface._packed", lambda layers: layers[0])

    def made(seed, error=0.03, far=0.5):
        rng = np.random.default_rng(seed)
        spread = np.full(SIZE, 0.4)
        by = 0.05 * rng.standard_normal((24, SIZE))
        truth = far * spread * rng.standard_normal(SIZE)
        values = 0.5 + by @ truth + error * rng.standard_normal(24)
        return _Straight(by, values, error), _Unknowns(spread)

    return made


def _gauss(problem, unknowns, more=0.0):
    """Mean and covariance after the readings (A. Tarantola 2005, ch. 3), errors ``more`` of 0.5
    larger."""
    noise = problem.error**2 + (more * np.maximum(problem.values, 0.05)) ** 2
    precision = (problem.by.T / noise) @ problem.by + np.linalg.inv(unknowns.covariance())
    covariance = np.linalg.inv(precision)
    return covariance @ ((problem.by.T / noise) @ (problem.values - 0.5)), covariance


@pytest.mark.parametrize("seed", range(4))
def test_a_search_ends_where_gauss_has_it(straight, seed):
    problem, unknowns = straight(seed)
    told = []
    found = fit._search(problem, unknowns, lambda: told.append(1))
    mean, covariance = _gauss(problem, unknowns)
    sure = np.sqrt(np.diag(covariance))
    assert found.converged and 1 < found.rounds <= fit._SURFACES
    assert np.abs(found.best.x - mean).max() < 0.6 * sure.max()
    assert np.sqrt(np.mean(((found.best.x - mean) / sure) ** 2)) < 0.35
    # ranges hold at least what the readings leave open, and not much more
    told_sure = np.sqrt(np.diag(found.covariance))
    assert (told_sure > 0.97 * sure).all() and (told_sure < 1.6 * sure).all()
    # the first surface by few rays, later ones by all, and the best once more by three times that
    assert problem.asked[0] == (fit._FIRST, fit._ROUGH) and problem.asked[1] == (1, 1.0)
    assert problem.asked[2] == (fit._MORE, 1.0)
    assert problem.asked[-1][1] == fit._RAYS and problem.asked[-1][0] <= fit._AGAIN
    assert len(told) == sum(n for n, _ in problem.asked) <= fit._MOST_TRACED
    # misfit is the mean square of what was read, in its errors and the tracing's
    off = 0.5 + problem.by @ found.best.x - problem.values
    error = np.hypot(problem.error, fit._FINE[0] * problem.values)
    assert found.best.misfit == pytest.approx(np.mean((off / error) ** 2), rel=1e-6)


def test_numbers_that_stand_still_are_not_moved(straight):
    problem, unknowns = straight(1)
    problem.still = [1, 4]
    seen = []
    real = problem.traced_all

    def traced(unknowns, at, rays, told):
        seen.append((at, rays))
        return real(unknowns, at, rays, told)

    problem.traced_all = traced
    fit._search(problem, unknowns, None)
    spread_out = seen[0][0]
    assert np.ptp(spread_out[:, [1, 4]], axis=0) == pytest.approx(0.0)
    assert (np.ptp(np.delete(spread_out, [1, 4], axis=1), axis=0) > 0.05).all()


def test_dyes_are_found_in_one_step_where_all_is_straight(straight):
    """For a build that is given, by least squares with the tracing's own error."""
    problem, unknowns = straight(2)
    at = 0.1 * np.arange(SLOW)
    (one,) = problem.traced_all(unknowns, at[None], 1.0, None)
    for error in (fit._TRACED, fit._FINE):
        found = fit._dyed(problem, unknowns, np.zeros(SIZE), one, error)
        by = problem.by[:, SLOW:]
        noise = problem.error**2 + (error[0] * np.maximum(problem.values, 0.05)) ** 2
        left = problem.values - 0.5 - problem.by[:, :SLOW] @ at
        precision = (by.T / noise) @ by + np.diag(1.0 / unknowns.spread[SLOW:] ** 2)
        fast = np.linalg.solve(precision, (by.T / noise) @ left)
        assert found.x == pytest.approx(np.concatenate([at, fast]), abs=1e-9)
        missed = (by @ fast - left) ** 2 / noise
        assert found.misfit == pytest.approx(missed.mean())
        usual = ((found.x / unknowns.spread) ** 2).sum()
        assert found.off == pytest.approx(missed.sum() + usual)


def test_on_a_surface_the_lowest_is_found_within_what_it_is_trusted_for(straight):
    problem, unknowns = straight(3)
    middle, width = np.full(SLOW, 0.05), np.full(SLOW, 0.4)
    problem.surface = SimpleNamespace(
        _at=lambda slow: slow, terms=problem.by[:, :SLOW].T
    )  # the straight line itself
    mean, _ = _gauss(problem, unknowns)
    x = fit._lowest(problem, unknowns, np.zeros(SIZE), middle, width)
    assert x == pytest.approx(mean, abs=2e-3)
    # held to so many widths about the middle
    narrow = np.full(SLOW, 0.01)
    x = fit._lowest(problem, unknowns, np.zeros(SIZE), middle, narrow)
    assert np.abs(x[:SLOW] - middle).max() <= fit.TRUSTED * 0.01 + 1e-9
    assert np.abs(x[:SLOW] - middle).max() > 0.9 * fit.TRUSTED * 0.01


def _tried(off, at):
    return fit._Fitted(np.full(SIZE, at), off, 0.0, (), None)


@pytest.mark.parametrize(
    ("others", "again", "asked", "taken"),
    [
        # by more rays the second is better by more than four squares: it is taken
        ([13.0, 30.0], {0.0: 20.0, 1.0: 15.9}, 2, 1.0),
        ([13.0, 30.0], {0.0: 20.0, 1.0: 16.1}, 2, 0.0),
        # what misses by nine squares more is not traced again
        ([18.9], {0.0: 20.0, 1.0: 1.0}, 2, 1.0), ([19.1], {0.0: 20.0, 1.0: 1.0}, 1, 0.0),
        ([], {0.0: 20.0}, 1, 0.0),
    ],
)  # fmt: skip
def test_the_best_two_are_traced_once_more(monkeypatch, others, again, asked, taken):
    best = _tried(10.0, 0.0)
    tried = [best, *(_tried(off, 1.0 + k) for k, off in enumerate(others))]
    seen = []

    class Unknowns:
        def same(self, other, x):
            return x

    def traced(unknowns, at, rays, told):
        seen.append((len(at), rays))
        return [SimpleNamespace(at=one) for one in at]

    def dyed(problem, unknowns, x, one, error):
        assert error == fit._FINE
        return _tried(again[float(one.at[0])], float(one.at[0]))

    monkeypatch.setattr(fit, "_dyed", dyed)
    found = fit._again(SimpleNamespace(traced_all=traced), Unknowns(), best, tried[::-1], None)
    assert found.x[0] == taken and seen == [(asked, fit._RAYS)]


def test_a_second_cloth_as_likely_widens_the_range_by_half_of_its_distance():
    """Of two alike likely, each has half: a range of d squared over two about the one given."""
    covariance = np.diag(np.full(SIZE, 0.01))
    far = np.zeros(SIZE)
    far[0], far[SLOW + 2] = 1.0, -2.0
    here = np.zeros(SIZE)
    added = fit._elsewhere(np.stack([here, far]), np.array([0.0, 0.0]), covariance)
    assert added == pytest.approx(0.5 * np.outer(far, far))
    # less likely by two squares: e^-1 against 1
    share = np.exp(-1.0) / (1.0 + np.exp(-1.0))
    added = fit._elsewhere(np.stack([here, far]), np.array([0.0, 2.0]), covariance)
    assert added == pytest.approx(share * np.outer(far, far))
    # better than the best counts as it; what the range foretells adds nothing
    added = fit._elsewhere(np.stack([here, far]), np.array([0.0, -5.0]), covariance)
    assert added == pytest.approx(0.5 * np.outer(far, far))
    near = np.zeros(SIZE)
    near[0] = 0.2  # two standard deviations: e^-2
    added = fit._elsewhere(np.stack([here, near]), np.array([0.0, 4.0]), covariance)
    assert added == pytest.approx(0.0, abs=1e-12)
    added = fit._elsewhere(np.stack([here, near]), np.array([0.0, 2.0]), covariance)
    share = (np.exp(-1.0) - np.exp(-2.0)) / (1.0 + np.exp(-1.0))
    assert added == pytest.approx(share * np.outer(near, near))


# --- how it was photographed ------------------------------------------------------------------


def test_looks_are_what_the_usual_place_would_show_and_as_sure_as_that():
    """Of straight readings: without lamp, paper and light of the day, and as unsure as these."""
    rng = np.random.default_rng(4)
    seen, spectrum = [], np.full(41, 0.3)
    for k in range(10):
        ground = Backing(f"ground {k}", np.full(41, 0.05 + 0.09 * k))
        seen.append(seen_colour(f"{k}", rng.uniform(0.1, 0.6, 3), [0.01] * 3, ground,
                                grain_deg=90.0 * (k % 2), face=("face", "back")[k % 3 == 1]))
    hued = Backing("hued", np.linspace(0.2, 0.301, 41))  # a tenth and a hair from end to end
    seen.insert(2, seen_colour("hued", [0.3] * 3, [0.01] * 3, hued))
    seen.insert(4, seen_colour("elsewhere", [0.3] * 3, [0.01] * 3, seen[0].backing,
                               light="overcast"))  # fmt: skip
    seen.insert(5, seen_spectrum("instrument", spectrum, 0.01, seen[0].backing))
    count = sum(len(s.value) for s in seen)
    by = 0.05 * rng.standard_normal((count, SIZE))
    firsts = np.cumsum([0, *(len(s.value) for s in seen)])
    parts = [slice(a, b) for a, b in zip(firsts, firsts[1:], strict=False)]
    problem = SimpleNamespace(
        sights=[SimpleNamespace(seen=s) for s in seen],
        many=True,
        own=np.diag(rng.uniform(1e-4, 4e-4, count)),
        lit=lambda unknowns, many: [None] * len(many),
        shown=lambda unknowns, at, layers: (
            [0.3 + by[part] @ at for part in parts], [by[part] for part in parts]
        ),
    )  # fmt: skip
    x = rng.standard_normal(SIZE)
    root = 0.3 * rng.standard_normal((SIZE, SIZE))
    covariance = root @ root.T
    looks = fit._looks(problem, None, x, covariance)
    taken = [k for k, s in enumerate(seen) if s.name.isdigit()][: fit._MOST_LOOKS]
    assert len(looks.lies) == fit._MOST_LOOKS == len(looks.values)
    moves = [p.LAMP, p.PAPER, p.LIGHT]
    rows = np.concatenate([np.arange(parts[k].start, parts[k].stop) for k in taken])
    value = np.concatenate([seen[k].value for k in taken]) - by[rows][:, moves] @ x[moves]
    assert np.ravel(looks.values) == pytest.approx(value)
    for k, (grain, face, ground) in zip(taken, looks.lies, strict=True):
        assert grain == seen[k].grain_deg and face is (seen[k].face == "face")
        assert ground == pytest.approx(seen[k].backing.reflectance.mean())
    slope = by[rows][:, moves]
    wanted = problem.own[np.ix_(rows, rows)] + slope @ covariance[np.ix_(moves, moves)] @ slope.T
    wanted += np.diag((fit._FINE[1] * np.maximum(value, 0.05)) ** 2)
    assert looks.covariance == pytest.approx(wanted)
    problem.sights = problem.sights[2:3]
    assert fit._looks(problem, None, x, covariance) is None
