"""Curves through points against SciPy's, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline, PchipInterpolator

from weavecolor.colour.curves import monotone, spline


@pytest.mark.parametrize("first, last, step", [(380, 780, 20), (400, 700, 10), (390, 760, 17)])
def test_spline_is_scipys(first: int, last: int, step: int) -> None:
    x = np.arange(first, last + 1.0, step)
    at = np.linspace(first, x[-1], 97)
    assert np.array_equal(spline(x, at), CubicSpline(x, np.eye(x.size))(at))


def test_spline_of_uneven_places_is_scipys() -> None:
    rng = np.random.default_rng(5)
    for _ in range(40):
        x = np.cumsum(rng.uniform(0.5, 1.5, rng.integers(4, 20)))
        at = rng.uniform(x[0], x[-1], 30)
        assert spline(x, at) == pytest.approx(CubicSpline(x, np.eye(x.size))(at), abs=1e-12)


def test_monotone_is_scipys_with_level_parts_and_turns() -> None:
    rng = np.random.default_rng(6)
    for case in range(80):
        x = np.cumsum(rng.uniform(0.1, 3.0, rng.integers(3, 25)))
        values = rng.random((x.size, 2, 3))
        values = np.round(2.0 * values) if case % 2 else values
        at = rng.uniform(x[0], x[-1], 40)
        assert np.array_equal(monotone(x, values, at), PchipInterpolator(x, values)(at))
