"""The parts of finding a ruler, on ticks laid out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from weavecolor.errors import InputError
from weavecolor.measure.ruler import (
    _before,
    _carried,
    _even,
    _longer,
    _Row,
    _rows_among,
    _shapes,
    _ticks,
    scale_from_length,
    scale_from_ruler,
)

INTO, ALONG = np.array([1.0, 0.0]), np.array([0.0, 1.0])


def test_scale_from_a_length_by_pythagoras():
    # 3-4-5: 300 right and 400 down are 500 pixels, 25 mm: 20 to the mm
    found = scale_from_length((10.0, 20.0), (310.0, 420.0), 25.0)
    assert found.pixels_per_mm == pytest.approx(20.0)
    # two marks, each 1.5 pixels off, of 500
    assert found.relative_uncertainty == pytest.approx(np.hypot(1.5, 1.5) / 500.0)
    level = scale_from_length((310.0, 420.0), (10.0, 420.0), 25.0, error_px=3.0)
    assert level.relative_uncertainty == pytest.approx(np.sqrt(18.0) / 300.0)
    assert scale_from_length((0.0, 0.0), (0.0, 20.0), 1.0).pixels_per_mm == 20.0
    with pytest.raises(InputError, match="the two marks are too close together"):
        scale_from_length((0.0, 0.0), (0.0, 19.9), 1.0)
    for length in (0.0, -1.0, float("nan")):
        with pytest.raises(InputError, match="^length: the known length must be more than 0 mm"):
            scale_from_length((0.0, 0.0), (300.0, 0.0), length)


def _comb(count: int, turn_deg: float, pitch: float = 12.0) -> np.ndarray:
    """Marks of a millimetre rule, each fifth half as long again, its edge turned about the middle
    of the picture."""
    y, x = np.mgrid[0:420, 0:420].astype(float)
    a = np.radians(turn_deg)
    u = (x - 210) * np.cos(a) + (y - 210) * np.sin(a) + pitch * (count - 1) / 2
    v = -(x - 210) * np.sin(a) + (y - 210) * np.cos(a)
    tick = np.round(u / pitch)
    reach = np.where(tick % 5 == 0, 36.0, 24.0)
    on = (np.abs(u - tick * pitch) < 1.3) & (v >= 0.0) & (v < reach)
    return on & (tick >= 0) & (tick < count)


@pytest.mark.parametrize("turn", [0, 20, 45, 70, 90, 110, 135, 160, 180, 250, 340])
def test_a_row_of_ticks_is_found_whichever_way_it_lies(turn):
    rows = _rows_among(_comb(26, turn))
    assert rows
    row = max(rows, key=lambda r: len(r.index))
    assert len(row.index) == 26
    assert np.abs(np.polyfit(row.index, row.u, 1)[0]) == pytest.approx(12.0, rel=0.005)
    # feet lie on one line through the middle, the ticks stand off it
    a = np.radians(turn)
    foot = row.foot - 210.0
    assert np.abs(foot[:, 0] * np.cos(a) - foot[:, 1] * np.sin(a)).max() < 2.0
    assert abs(row.into @ [np.cos(a), -np.sin(a)]) == pytest.approx(1.0, abs=0.01)
    assert abs(row.into @ row.along) < 1e-9 and row.tick_mm == 1.0


def test_twenty_ticks_make_a_ruler_and_nineteen_do_not():
    assert max(len(row.index) for row in _rows_among(_comb(20, 0))) == 20
    assert _rows_among(_comb(19, 0)) == []


def _lengths(count: int, every: int = 5, times: float = 1.5) -> np.ndarray:
    return np.where(np.arange(count) % every == 0, 20.0 * times, 20.0)


def test_ticks_are_numbered_past_specks_gaps_and_a_shaky_hand():
    number = np.arange(30.0)
    keep, index, mm = _even(10.0 * number, _lengths(30))
    assert keep.tolist() == index.tolist() == list(range(30)) and mm == 1.0
    # every sixth an eighth of the pitch early: all are kept
    shaken = 10.0 * number - 1.25 * (number % 6 == 3)
    assert len(_even(shaken, _lengths(30))[0]) == 30
    # specks half-way are none; what is worn off is left out of the numbers
    specks = np.concatenate([10.0 * number, [44.5, 135.5]])
    keep, index, _ = _even(specks, np.concatenate([_lengths(30), [20.0, 20.0]]))
    assert set(keep.tolist()) == set(range(30))
    worn = np.delete(np.arange(30), [3, 17])
    keep, index, _ = _even(10.0 * number[worn], _lengths(30)[worn])
    assert (index - index[0]).tolist() == worn.tolist()
    # order as found does not matter
    mixed = np.random.default_rng(3).permutation(30)
    keep, index, _ = _even(10.0 * number[mixed], _lengths(30)[mixed])
    assert mixed[keep].tolist() == list(range(30))
    # a hair beside a tick is a speck, and not what ticks are apart
    hair = np.concatenate([10.0 * number, [71.5, 203.0]])
    keep, index, _ = _even(hair, np.concatenate([_lengths(30), [20.0, 20.0]]))
    assert set(keep.tolist()) == set(range(30))
    # centimetres alone are longer
    keep, index, mm = _even(10.0 * np.arange(40), _lengths(40, 10))
    assert keep.tolist() == index.tolist() == list(range(40)) and mm == 1.0
    # halves of a millimetre, the whole ones longer: every other one counts
    half = np.where(np.arange(60) % 2, 12.0, np.where(np.arange(60) % 10 == 0, 30.0, 20.0))
    keep, index, mm = _even(5.0 * np.arange(60), half)
    assert keep.tolist() == list(range(0, 60, 2)) and np.ptp(index) == 29 and mm == 1.0


def test_threads_are_no_ticks():
    number = np.arange(30.0)
    assert _even(10.0 * number, np.full(30, 20.0)) is None  # none longer
    assert _even(10.0 * number, _lengths(30, 4)) is None  # a wrong one longer
    assert _even(2.5 * number, _lengths(30)) is None  # too close to be told apart
    rough = 10.0 * number + np.random.default_rng(1).normal(0, 2.5, 30)
    assert _even(rough, _lengths(30)) is None
    assert _longer(_lengths(40), np.arange(40), 5)
    assert not _longer(_lengths(40, 5, 1.1), np.arange(40), 5)  # hardly longer
    assert _longer(_lengths(40, 5, 1.15), np.arange(40), 5)
    assert not _longer(_lengths(15), np.arange(15), 5)  # three of them are no proof
    assert _longer(_lengths(20), np.arange(20), 5)
    ragged = _lengths(40, 5, 2.0) - 6.0 * (np.arange(40) % 5 == 2)
    assert not _longer(ragged, np.arange(40), 5)  # the short ones are not alike
    # one of the long ones may be worn short
    worn = _lengths(40)
    worn[10] = 20.0
    assert _longer(worn, np.arange(40), 5)


@pytest.mark.parametrize(("period", "within"), [(12.0, 0.06), (40.0, 0.035)])
def test_ticks_are_placed_to_a_few_hundredths_in_noise(period, within):
    x = np.arange(26 * period)
    places = period * (np.arange(25) + 0.63)
    clean = np.exp(-0.5 * ((x[:, None] - places) / (0.12 * period)) ** 2).sum(1)
    for sign in (1.0, -1.0):
        noise = 0.35 * np.random.default_rng(5).standard_normal(x.size)
        number, spot = _ticks(sign * (clean - clean.mean()) + noise, period)
        off = spot - places[np.round(spot / period - 0.63).astype(int)]
        assert len(spot) >= 20 and np.sqrt((off**2).mean()) < within * period
        assert np.diff(number).min() >= 1
    assert _ticks(clean, x.size / 7.9) is None and _ticks(clean, 2.9) is None


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_scratch_between_ticks_is_not_taken_for_one(side):
    period = 40.0
    x = np.arange(1040.0)
    places = period * (np.arange(25) + 0.6)
    clean = np.exp(-0.5 * ((x[:, None] - places) / 4.0) ** 2).sum(1)
    for which in (4, 18):
        scratch = places[which] + side * 0.31 * period
        clean += 1.3 * np.exp(-0.5 * ((x - scratch) / 2.0) ** 2)
    number, spot = _ticks(clean - clean.mean(), period)
    off = spot - places[np.round(spot / period - 0.6).astype(int)]
    assert len(spot) >= 20 and np.abs(off).max() < 0.1 * period


@pytest.mark.parametrize(
    ("into", "edge", "box"),
    [
        ((1.0, 0.0), 300.5, (0, 0, 500, 296)),  # the ruler lies below: cloth above its edge
        ((-1.0, 0.0), 100.5, (0, 104, 500, 400)),
        ((0.0, 1.0), 300.5, (0, 0, 295, 400)),
        ((0.0, -1.0), 100.5, (105, 0, 500, 400)),
        ((1.0, 0.0), 80.0, (0, 0, 500, 400)),  # too little left: all of it
        ((1.0, 0.0), 85.5, (0, 0, 500, 81)),
        ((0.6, 0.8), 300.5, (0, 0, 295, 400)),
    ],
)
def test_the_cloth_lies_before_the_ruler_s_edge(into, edge, box):
    axis = 0 if abs(into[0]) >= abs(into[1]) else 1
    foot = np.empty((20, 2))
    foot[:, axis], foot[:, 1 - axis] = edge, np.linspace(20, 380, 20)
    into = np.array(into)
    none = np.zeros(20)
    row = _Row(np.arange(20.0), none, foot, none, into[::-1], into, 1.0)
    assert _before(row, (400, 500)) == box


@pytest.mark.parametrize(("down", "across"), [(31, 5), (5, 31), (12, 2)])
def test_a_bar_has_its_own_sides(down, across):
    labels = np.zeros((60, 80), np.intp)
    labels[20 : 20 + down, 30 : 30 + across] = 1
    labels[3, 3:8] = 2  # five pixels are dirt
    at, turn, length, thick = _shapes(labels)
    assert at == pytest.approx(np.array([[20 + (down - 1) / 2, 30 + (across - 1) / 2]]))
    assert length == pytest.approx([max(down, across)])
    assert thick == pytest.approx([min(down, across)])
    assert abs(turn[0]) == pytest.approx(0.0 if down > across else np.pi / 2)


def test_a_leaning_bar_has_the_sides_it_was_drawn_with():
    y, x = np.mgrid[0:200, 0:200] - 99.5
    a = np.radians(25.0)
    along, over = y * np.cos(a) + x * np.sin(a), x * np.cos(a) - y * np.sin(a)
    bar = (np.abs(along) < 45.0) & (np.abs(over) < 6.0)
    _, turn, length, thick = _shapes(bar.astype(np.intp))
    assert (length[0], thick[0]) == pytest.approx((90.0, 12.0), rel=0.01)
    assert turn[0] == pytest.approx(a, abs=0.005)


@pytest.mark.parametrize("tilt", [13.5, -18.5])
@pytest.mark.parametrize("upright", [False, True])
def test_ticks_aslant_in_their_box_give_the_scale_square_to_them(tilt, upright):
    y, x = np.mgrid[0:80, 0:400].astype(float)
    a = np.radians(tilt)
    run = (x * np.cos(a) + (y - 40) * np.sin(a)) / 12.0
    tick = np.clip(1.82 - 12.0 * np.abs(run - np.round(run)), 0.0, 1.0)
    picture = gaussian_filter(0.7 - 0.6 * tick, 0.8)
    picture, box = (picture.T, (5, 5, 75, 395)) if upright else (picture, (5, 5, 395, 75))
    # a quarter of a degree amiss would be 1 in 1000
    assert scale_from_ruler(picture, box).pixels_per_mm == pytest.approx(12.0, rel=4e-4)


def _row(u: np.ndarray, lean: np.ndarray) -> _Row:
    count = len(u)
    foot = np.column_stack([np.full(count, 500.0), u])
    return _Row(np.arange(float(count)), u, foot, lean, ALONG, INTO, 1.0)


def test_a_ruler_s_scale_is_as_sure_as_a_line_through_its_ticks():
    """Least squares: residuals over what is left of their number, over how far the ticks spread."""
    number = np.arange(41.0)
    shaky = 2.0 * np.random.default_rng(2).standard_normal(41)
    row = _row(100.0 + 20.0 * number + shaky, np.zeros(41))
    middle = number - 20.0
    basis = np.column_stack([np.ones(41), middle, middle**2])
    fit, (left,), _, _ = np.linalg.lstsq(basis, row.u, rcond=None)
    here = float(row.u.mean())
    scale, unsure = _carried(row, (0, 400, int(2 * here), 600), (1000, 1000))
    assert scale == pytest.approx(fit[1], rel=1e-3)
    wanted = np.sqrt(left / 38.0 / (middle**2).sum()) / fit[1]
    assert unsure == pytest.approx(wanted, rel=0.01) and wanted > 0.0012


@pytest.mark.parametrize("aslant", [1e-4, -6e-5])
@pytest.mark.parametrize("down", [300.0, -200.0])
def test_a_scale_is_carried_across_a_plane_seen_aslant(aslant, down):
    """Of a plane that leans back, 1/z grows evenly up the picture: lengths along the ruler change
    as 1/z, those across it as its square, and lines across it fan by the same rate."""
    u = np.linspace(200.0, 800.0, 31)
    shaky = 1e-4 * np.where(np.arange(31) % 2, 1.0, -1.0)
    row = _row(u, aslant * (u - 500.0) + shaky)
    top = 500.0 + down - 50.0
    scale, unsure = _carried(row, (0, int(top), 1000, int(top) + 100), (1000, 1000))
    away = 1.0 + aslant * down
    assert scale == pytest.approx(20.0 * away**1.5, rel=1e-3)
    assert abs(np.log(away)) / 2 == pytest.approx(unsure, rel=0.05)  # either way from half-way
    # nothing is carried where the cloth lies at the ruler
    assert _carried(row, (0, 450, 1000, 550), (1000, 1000)) == pytest.approx((20.0, 0.001))


def test_ticks_that_run_together_to_one_side_are_carried_along_the_ruler():
    """Along the ruler lengths change as the square of 1/z: a plane that leans to one side."""
    rate, across = 6e-5, np.arange(41.0) - 20.0
    step = 20.0 * across  # evenly far apart on the plane
    row = _row(500.0 + step / (1.0 - rate * step), np.zeros(41))
    scale, _ = _carried(row, (600, 400, 800, 600), (1000, 1000))
    # the scale along at du is 20 (1 + rate du)^2, across 20 (1 + rate du)
    assert scale == pytest.approx(20.0 * (1.0 + rate * 200.0) ** 1.5, rel=2e-3)
