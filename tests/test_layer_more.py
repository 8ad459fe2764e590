"""How one layer is laid: frames, turns and what slips through, by hand and by what must hold."""

from __future__ import annotations

import numpy as np
import pytest

from weavecolor.optics import layer
from weavecolor.optics.appearance import in_line
from weavecolor.optics.cell.nodes import nodes, unit
from weavecolor.optics.poses import _asked


def test_a_direction_in_the_frame_of_a_turned_cloth():
    for turn, azimuth in ((0.3, 1.0), (2.0, 5.0), (-1.0, 0.2)):
        v = tuple(float(x) for x in unit(0.6, azimuth))
        # azimuth from its own warp
        assert layer.to_cloth_frame(v, turn, False) == pytest.approx(unit(0.6, azimuth - turn))
        # its back outwards: turned over about its warp
        own = unit(0.6, azimuth - turn) * [-1, 1, -1]
        assert layer.to_cloth_frame(v, turn, True) == pytest.approx(own)
    assert layer.to_cloth_frame((0.0, 0.0, 1.0), 1.0, False) == (0.0, 0.0, 1.0)


@pytest.mark.parametrize("flip", [False, True])
def test_nodes_of_a_turned_cloth(flip):
    grid = nodes()
    for steps in (0, 1, 5, 11):
        turn = 2 * np.pi / 12 * steps
        ((order, weight),) = layer.orders(grid, turn, flip)
        assert weight == 1.0
        want = [layer.to_cloth_frame(tuple(v), turn, flip) for v in grid.vector[:72]]
        assert grid.vector[order[:72]] == pytest.approx(np.array(want), abs=1e-6)
        assert grid.vector[order[72:]] == pytest.approx(-np.array(want), abs=1e-6)
    # between two steps both, by how near they lie
    (one, low), (two, high) = layer.orders(grid, 2 * np.pi / 12 * 3.25, flip)
    assert (low, high) == pytest.approx((0.75, 0.25))
    assert np.array_equal(one, layer.orders(grid, 2 * np.pi / 12 * 3, flip)[0][0])
    assert np.array_equal(two, layer.orders(grid, 2 * np.pi / 12 * 4, flip)[0][0])


def test_directions_are_asked_for_once():
    sights = [(0.0, 0.0), (30.0, 10.0), (0.0, 0.0)]
    front = {(0, 0): (40.0, 0.0), (1, 0): (0.0, 0.0), (2, 0): (40.0, 0.0)}
    back = {(0, 1): (20.0, 5.0), (2, 1): (20.0, 5.0)}
    asked = _asked(sights, front, back)
    assert asked.above == [(0.0, 0.0), (30.0, 10.0), (40.0, 0.0)]
    assert asked.below == [(20.0, 5.0)] and asked.under == {(20.0, 5.0): 3}
    assert asked.eye == [0, 1, 0]
    assert sorted(asked.links) == [(0, 2), (0, 3), (1, 0)]
    assert _asked(sights, {}, {}).links == [(0, 0)]
    assert in_line((30.0, 0.0), (34.9, 0.0)) and not in_line((30.0, 0.0), (35.1, 0.0))
    assert in_line((2.0, 0.0), (2.9, 180.0)) and not in_line((60.0, 0.0), (60.0, 6.0))
