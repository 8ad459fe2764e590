"""The parts of reading a colour chart: perspective, walking the grid, fitting, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from weavecolor.errors import InputError
from weavecolor.measure.chart import (
    _apply,
    _fitted,
    _grid,
    _handed,
    _means,
    _patches,
    _perspective,
    _places,
    _terms,
    fit_correction,
    published,
)

CELLS = np.array([(c, r) for r in range(4) for c in range(6)], float)


def _seen(turn: float, scale: float = 30.0, lean=(0.0, 0.0)) -> np.ndarray:
    """A perspective from grid places to a picture: turned, as large, leaning."""
    a = np.radians(turn)
    return np.array([
        [scale * np.cos(a), -scale * np.sin(a), 200.0],
        [scale * np.sin(a), scale * np.cos(a), 150.0],
        [*lean, 1.0],
    ])  # fmt: skip


@pytest.mark.parametrize("lean", [(0.0, 0.0), (0.01, -0.02)])
def test_a_perspective_is_found_from_four_corners_and_more(lean):
    matrix = _seen(20.0, lean=lean)
    corners = CELLS[[0, 5, 18, 23]]
    for some in (corners, CELLS):
        found = _perspective(some, _apply(matrix, some))
        assert _apply(found, CELLS) == pytest.approx(_apply(matrix, CELLS), abs=1e-6)
    # by hand: leaning (0, 1) halves what lies one row off
    far = np.array([[2.0, 0, 0], [0, 2.0, 0], [0, 1.0, 1]])
    assert _apply(far, np.array([[3.0, 1.0], [3.0, 0.0]])).tolist() == [[3.0, 1.0], [6.0, 0.0]]


@pytest.mark.parametrize("turn", [0.0, 15.0, -30.0, 90.0, 170.0])
def test_patches_are_walked_into_rows_and_columns(turn):
    matrix = _seen(turn, lean=(0.002, 0.001))
    points = _apply(matrix, CELLS)
    rng = np.random.default_rng(3)

    def patches(which):
        some = points[which] + rng.normal(0, 0.2, (len(which), 2))
        return np.column_stack([some, np.full(len(which), 24.0**2), np.ones(len(which))])

    found = _grid(patches(rng.permutation(24)))
    assert found is not None
    got = _apply(found[0], CELLS)
    # the places are the chart's, maybe from another of its corners
    for point in points:
        assert np.hypot(*(got - point).T).min() < 1.0
    # four may be missing, not five; what is not even is no grid
    some = [k for k in range(24) if k not in (7, 10, 15, 20)]
    assert _grid(patches(some)) is not None
    assert _grid(patches(some[1:])) is None
    uneven = patches(np.arange(24))
    uneven[:, :2] += rng.normal(0, 6.0, (24, 2))
    assert _grid(uneven) is None
    mixed = patches(np.arange(24))
    mixed[:12, 2] *= 4.0  # two sizes
    assert _grid(mixed) is None


def test_reading_order_turns_and_mirrors():
    matrix = _seen(0.0)
    plain, corners = _places((matrix, np.array([24.0])), False, False)
    assert plain == pytest.approx(_apply(matrix, CELLS)) and _handed(plain) > 0
    # the inner half of each patch, of 30 pixels: 15 square about its middle
    assert np.ptp(corners, axis=1) == pytest.approx(np.full((24, 2), 15.0))
    assert corners.mean(axis=1) == pytest.approx(plain)
    turned, _ = _places((matrix, np.array([24.0])), True, False)
    assert turned == pytest.approx(plain[::-1]) and _handed(turned) > 0
    mirrored, _ = _places((matrix, np.array([24.0])), False, True)
    assert mirrored[:6] == pytest.approx(plain[18:]) and _handed(mirrored) < 0


def test_patches_are_even_and_four_cornered():
    picture = np.full((200, 300, 3), 0.05, np.float32)
    picture[40:70, 50:80] = [0.4, 0.2, 0.1]
    picture[40:100, 150:175] = 0.5  # longer than it is wide, but four-cornered
    y, x = np.mgrid[0:200, 0:300]
    picture[np.hypot(y - 140, x - 80) < 20] = 0.6  # round
    picture[(np.abs(y - 140) < 6) & (np.abs(x - 200) < 40)] = 0.6  # a bar
    found = _patches(picture, 1.0, 0.035)
    middles = [tuple(np.round(p[:2]).astype(int)) for p in found]
    assert (64, 54) in middles or (65, 55) in middles or (64, 55) in middles
    assert len(found) == 2  # neither the round one nor the bar
    square = found[np.argmin(found[:, 2])]
    assert 20**2 < square[2] <= 30**2 and square[3] == pytest.approx(1.0, abs=0.05)
    assert len(_patches(np.full((90, 90, 3), 0.3, np.float32), 1.0, 0.035)) == 0


def test_inner_patches_are_read_without_their_specks():
    picture = np.zeros((100, 100, 3), np.float32)
    picture[20:60, 30:70] = [0.3, 0.2, 0.1]
    picture[30:33, 40:43] = 1.0
    corners = np.array([[[35.0, 25], [65, 25], [65, 55], [35, 55]]])
    assert _means(picture, corners)[0] == pytest.approx([0.3, 0.2, 0.1])


def test_a_cast_and_an_exposure_are_taken_out_exactly():
    target, Lab = published()
    assert Lab[18, 0] == pytest.approx(95.2, abs=0.1) and abs(Lab[18, 1:]).max() < 3.5  # white
    assert (np.diff(Lab[18:, 0]) < 0).all()  # six greys from white to black
    mix = np.array([[0.5, 0.05, 0.0], [0.02, 0.4, 0.03], [0.0, 0.06, 0.3]])
    exact = fit_correction(np.maximum(target @ mix, 1e-4))
    assert exact(target @ mix) == pytest.approx(target, abs=0.02)
    assert exact.mean == pytest.approx(exact.residual.mean()) and exact.mean < 0.5
    assert exact.mean < exact.left_out < exact.worst == exact.residual.max()
    assert exact(np.zeros((2, 3, 3))).shape == (2, 3, 3)
    root = fit_correction(np.maximum(target @ mix, 1e-4), 2)
    assert root.matrix.shape == (6, 3) and root.mean < 2.0
    # root terms go with exposure: twice the light, twice of each
    some = np.array([[0.2, 0.4, 0.1]])
    assert _terms(2 * some, 2) == pytest.approx(2 * _terms(some, 2))
    assert _terms(some, 2)[0, 3:] == pytest.approx([np.sqrt(0.08), np.sqrt(0.04), np.sqrt(0.02)])
    assert _terms(some, 1) is some
    # a patch left out of the fit is foretold by the others; cyan (17) lies beyond the screen
    others = np.delete(np.arange(24), 5)
    missed = np.delete(_fitted(target, target, 1, others)[1], 17)
    assert missed == pytest.approx(np.zeros(23), abs=1e-6)


def test_what_is_no_chart_of_24_patches_is_refused():
    target = np.clip(published()[0], 0.01, 0.9)
    for bad, says in (
        (target[:23], "a chart has 24 patches of three channels"),
        (np.where(np.arange(24)[:, None] == 3, np.nan, target), "a chart has 24 patches"),
        (np.where(np.arange(24)[:, None] == 3, 0.986, target), "a patch of the chart is burnt out"),
        (target[::-1], "the patches do not have the chart's colours"),
    ):
        with pytest.raises(InputError, match=says):
            fit_correction(bad)
    for degree in (0, 3):
        with pytest.raises(InputError, match="the correction's degree is 1 or 2"):
            fit_correction(target, degree)
    edge = np.where(np.arange(24)[:, None] == 18, 0.984, target)
    assert fit_correction(edge).degree == 1
