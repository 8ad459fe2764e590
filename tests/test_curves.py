"""Curves through points against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline, PchipInterpolator, make_interp_spline

from weavecolor.colour.curves import spline, steady


@pytest.mark.parametrize("count", [4, 5, 9, 21])
def test_curves_are_those_of_a_general_library(count):
    rng = np.random.default_rng(count)
    for _ in range(20):
        nodes = np.cumsum(rng.uniform(0.1, 2.0, count))
        at = np.concatenate([nodes, rng.uniform(nodes[0], nodes[-1], 40)])
        one, values = np.eye(count), rng.normal(size=(2, 3, count)).round()  # some rise by nothing
        assert np.abs(spline(nodes, at) - CubicSpline(nodes, one)(at)).max() < 1e-9
        assert np.abs(spline(nodes, at) - make_interp_spline(nodes, one, k=3)(at)).max() < 1e-9
        natural = CubicSpline(nodes, one, bc_type="natural")(at)
        assert np.abs(spline(nodes, at, natural=True) - natural).max() < 1e-9
        wanted = PchipInterpolator(nodes, values, axis=-1)(at)
        assert np.abs(steady(nodes, values, at) - wanted).max() < 1e-9


@pytest.mark.parametrize("count", [2, 3])
def test_a_curve_through_few_points(count):
    nodes, at = np.arange(count) * 1.5, np.linspace(0.0, 1.5 * (count - 1), 13)
    for values in np.random.default_rng(7).normal(size=(20, count)):
        wanted = PchipInterpolator(nodes, values)(at)
        assert np.abs(steady(nodes, values, at) - wanted).max() < 1e-12
