"""The parts of finding a ruler, on ticks laid out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from weavecolor.errors import InputError
from weavecolor.measure import ruler
from weavecolor.measure.ruler import (
    _before,
    _carried,
    _even,
    _longer,
    _period,
    _phase,
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
    worn[25] = 20.0
    assert not _longer(worn, np.arange(40), 5)  # but not two


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


# --- ticks, one by one ------------------------------------------------------------------------


def _profile_of(places: np.ndarray, size: int, width: float, height=1.0) -> np.ndarray:
    """Marks of one width on ground a little below nought, so that between them is no mark."""
    x = np.arange(float(size))
    return (height * np.exp(-0.5 * ((x[:, None] - places) / width) ** 2)).sum(1) - 0.02


@pytest.mark.parametrize("period", [8.0, 12.3, 40.0])
@pytest.mark.parametrize("start", [0.5, 0.62, 0.89, 0.97, 1.17])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_every_whole_tick_is_found_where_it_was_drawn(period, start, sign):
    places = period * (start + np.arange(31))
    size = int(32 * period)
    profile = _profile_of(places, size, 0.15 * period)
    number, spot = _ticks(sign * profile, period)
    # a quarter of the distance, and a pixel or two, beside it must be in the picture
    whole = (places > 0.25 * period + 3.0) & (places < size - 0.25 * period - 3.0)
    wanted = places[whole]
    assert len(spot) in (len(wanted), len(wanted) + 1)
    which = np.round(spot / period - start).astype(int)
    assert which.tolist() == list(range(which[0], which[0] + len(spot)))
    assert set(np.flatnonzero(whole)) <= set(which)
    assert (number - number[0]).tolist() == (which - which[0]).tolist()
    assert np.abs(spot - places[which]).max() < 0.02


def test_a_short_ruler_may_lie_in_the_middle_of_a_long_box():
    places = 404.0 + 20.0 * np.arange(11)
    number, spot = _ticks(_profile_of(places, 1000, 3.0), 20.0)
    assert spot == pytest.approx(places, abs=0.02)
    # threads three pixels apart are the finest that can be told
    fine = np.cos(2 * np.pi * np.arange(90.0) / 3.0)
    assert len(_ticks(fine, 3.0)[0]) > 25 and _ticks(fine, 2.99) is None


@pytest.mark.parametrize(("ticks", "found"), [(8, True), (7, False)])
def test_eight_ticks_make_a_scale(ticks, found):
    places = 20.0 * (np.arange(8) + 0.5)
    made = _ticks(_profile_of(places[:ticks], 160, 3.0), 20.0)
    assert (made is not None) is found
    assert _ticks(_profile_of(places, 159, 3.0), 20.0) is None  # more than an eighth of the box


@pytest.mark.parametrize(("hole", "seen"), [(2, range(31)), (3, range(20))])
def test_two_ticks_in_a_row_may_be_worn_off(hole, seen):
    worn = np.setdiff1d(np.arange(31), np.arange(20, 20 + hole))
    number, spot = _ticks(_profile_of(20.0 * (worn + 0.5), 620, 3.0), 20.0)
    assert (number + 15).tolist() == [k for k in seen if k in worn]


@pytest.mark.parametrize(("worn", "found"), [(6, True), (7, False)])
def test_of_a_hundred_ticks_eighty_five_must_show(worn, found):
    left = np.setdiff1d(np.arange(40), [3, 8, 13, 24, 29, 34, 37][:worn])
    made = _ticks(_profile_of(20.0 * (left + 0.5), 800, 3.0), 20.0)
    assert (made is not None) is found


@pytest.mark.parametrize(("faint", "found"), [(0.34, True), (0.29, False)])
def test_a_mark_of_less_than_three_tenths_is_no_tick(faint, found):
    height = np.ones(31)
    height[[5, 22]] = faint
    number, _ = _ticks(_profile_of(20.0 * (np.arange(31) + 0.5), 620, 3.0, height), 20.0)
    assert {-10.0, 7.0} <= set(number) if found else not {-10.0, 7.0} & set(number)


def _moved_ticks(off: np.ndarray):
    """Ticks 40 pixels apart, each ``off`` of that beside its place."""
    count = len(off)
    return _ticks(_profile_of(40.0 * (np.arange(count) + 0.5 + off), 40 * count, 5.0), 40.0)


@pytest.mark.parametrize(("off", "found"), [(0.118, True), (0.128, False)])
def test_a_tick_an_eighth_beside_its_place_is_left_out(off, found):
    moved = np.zeros(61)
    moved[[12, 40]] = off
    number, _ = _moved_ticks(moved)
    assert len(number) == 61 - 2 * (not found)


@pytest.mark.parametrize(("off", "found"), [(0.205, True), (0.24, False)])
def test_among_shaky_ticks_one_is_left_out_by_how_shaky_they_are(off, found):
    """Beyond three standard deviations, told from the median of what is left (over 0.6745)."""
    moved = 0.05 * np.where(np.arange(81) // 2 % 2, 1.0, -1.0)
    moved[42] = off  # between two that lie to the same side
    moved[[41, 43]] = 0.05
    number, _ = _moved_ticks(moved)
    assert (42.0 - 40.0 in number) is found


@pytest.mark.parametrize(("off", "found"), [(0.117, True), (0.123, False)])
def test_ticks_that_lie_an_eighth_to_either_side_are_no_scale(off, found):
    moved = off * np.where(np.arange(60) % 2, 1.0, -1.0)
    assert (_moved_ticks(moved) is not None) is found


@pytest.mark.parametrize(("off", "found"), [(0.29, True), (0.35, False)])
def test_ticks_in_a_double_bend_are_no_ruler_seen_aslant(off, found):
    """A plane seen aslant bends a scale one way; a cubic's root mean square is ``off`` by the root
    of seven."""
    x = np.linspace(-1.0, 1.0, 81)
    assert (_moved_ticks(off * 0.5 * (5.0 * x**3 - 3.0 * x)) is not None) is found
    assert len(_moved_ticks(2.0 * (x**2 - 1.0))[0]) == 81  # one way, by five times as much


# --- marks of a ruler, numbered ---------------------------------------------------------------


def test_a_ruler_whose_marks_grow_apart_is_followed():
    number = np.arange(40.0)
    for bend in (0.03, -0.03):
        keep, index, _ = _even(10.0 * number + bend * number**2, _lengths(40))
        assert keep.tolist() == index.tolist() == list(range(40))


@pytest.mark.parametrize(("wave", "found"), [(0.13, True), (0.17, False)])
def test_marks_in_waves_are_no_ruler(wave, found):
    number = np.arange(60.0)  # a wave of ten marks: root mean square over the root of two
    made = _even(10.0 * (number + wave * np.sin(2 * np.pi * number / 10)), _lengths(60))
    assert (made is not None) is found


@pytest.mark.parametrize(("beside", "kept"), [(0.19, True), (0.21, False)])
def test_a_mark_a_fifth_beside_its_place_ends_the_run(beside, kept):
    at = 10.0 * np.arange(60.0)
    at[45:] += 10.0 * beside
    keep, _, _ = _even(at, _lengths(60))
    assert len(keep) == (60 if kept else 45)


@pytest.mark.parametrize(("step", "speck"), [(0.74, True), (0.76, False)])
def test_what_lies_three_quarters_on_is_a_speck(step, speck):
    at = np.concatenate([10.0 * np.arange(60.0), [10.0 * (40 + step)]])
    keep, _, _ = _even(at, np.concatenate([_lengths(60), [20.0]]))
    assert len(keep) == (60 if speck else 41)


@pytest.mark.parametrize(("hole", "kept"), [(1, 58), (2, 40)])
def test_one_mark_may_be_gone_and_not_two_in_a_row(hole, kept):
    left = np.setdiff1d(np.arange(60), [20, *range(40, 40 + hole)] if hole == 1 else [40, 41])
    keep, index, _ = _even(10.0 * left, _lengths(60)[left])
    assert len(keep) == kept
    assert (index - index[0]).tolist() == left[: len(keep)].tolist()


@pytest.mark.parametrize(("uneven", "found"), [(0.38, True), (0.45, False)])
def test_three_gaps_in_five_are_whole(uneven, found):
    """What is a third of a gap off in more than two of five gaps is not marks of one ruler."""
    rng = np.random.default_rng(4)
    at = 10.0 * np.arange(40.0)
    rest = 400.0 + 10.0 * np.cumsum(1.0 + np.where(np.arange(int(40 / (1 - uneven)) - 40) % 2,
                                                   0.35, -0.35))  # fmt: skip
    at = np.concatenate([at, rest])[rng.permutation(40 + len(rest))]
    made = _even(at, np.where(np.round(at / 10.0) % 5 == 0, 30.0, 20.0))
    assert (made is not None) is found


def test_marks_closer_than_three_pixels_and_too_few_halves_are_none():
    number = np.arange(60.0)
    assert _even(3.0 * number, _lengths(60)) is not None
    assert _even(2.95 * number, _lengths(60)) is None
    # halves, every other one longer: twenty whole ones are wanted
    for count, found in ((40, True), (38, False)):
        index = np.arange(count)
        long = np.where(index % 2, 12.0, np.where(index % 10 == 0, 30.0, 20.0))
        assert (_even(6.0 * index, long) is not None) is found


@pytest.mark.parametrize(("every", "plain"), [(2, 12.0), (5, 20.0), (10, 20.0)])
def test_the_long_marks_may_begin_anywhere(every, plain):
    for first in range(every):
        index = np.arange(41)
        length = np.where(index % every == first, 1.6 * plain, plain)
        assert _phase(length, index, every) == first
        assert _longer(length, index, every)
        # marks short of the long ones alone are left
        left = index % every != first
        assert not _longer(length[left], index[left], every)
        # speckled lengths: by the middle of each, and not by the longest
        length[(first + 1) % every] = 3.0 * plain
        assert _phase(length, index, every) == first
    # where only every fifth mark is left at all, it is that
    index = np.arange(3, 103, 5)
    assert _phase(np.full(20, 0.5), index, 5) == 3


@pytest.mark.parametrize("first", range(10))
def test_of_ten_marks_the_fifth_may_be_longer_too(first):
    index = np.arange(60)
    length = np.where(index % 10 == first, 36.0, 20.0)
    length[index % 10 == (first + 5) % 10] = 28.0
    assert _longer(length, index, 10)
    # of all others none may be
    length[index % 10 == (first + 3) % 10] = 28.0
    assert not _longer(length, index, 10)
    two = np.arange(first, first + 12)  # two centimetre marks may do, with eight others
    lengths = np.where(two % 10 == first, 36.0, 20.0)
    assert _longer(lengths, two, 10) and not _longer(lengths[:9], two[:9], 10)


@pytest.mark.parametrize("period", [9.0, 14.7, 23.0, 40.0])
@pytest.mark.parametrize("width", [0.08, 0.2])
def test_a_comb_s_period_is_that_of_its_ticks(period, width):
    """Narrow ticks have overtones as strong as the fundamental: it is the fundamental that counts,
    in noise, too; noise alone is nowhere strong."""
    size = int(26 * period)
    places = period * (0.4 + np.arange(26))
    noise = np.random.default_rng(6).standard_normal(size)
    clean = _profile_of(places, size, width * period)
    strong, told = _period(clean - clean.mean() + 0.2 * clean.std() * noise)
    assert told == pytest.approx(period, rel=0.004) and strong > 1e3
    assert _period(noise)[0] < 100.0
    # power goes with the square
    assert _period(7.0 * noise)[0] == pytest.approx(_period(noise)[0])


# --- a ruler in a box -------------------------------------------------------------------------


def _ruler(places: np.ndarray, long=5, size=(60, 640), faint=0.0) -> np.ndarray:
    """Dark ticks on a pale rule, every ``long``-th right through the box, others a third."""
    y, x = np.mgrid[0 : size[0], 0 : size[1]].astype(float)
    tick = np.zeros(size)
    for k, place in enumerate(places):
        reach = 60.0 if k % long == 0 else 20.0
        shade = np.clip(1.9 - np.abs(x - place), 0.0, 1.0) * (y < reach)
        tick = np.maximum(tick, shade * (1.0 if k % long == 0 or not faint else faint))
    return gaussian_filter(0.7 - 0.6 * tick, 0.7)


@pytest.mark.parametrize(("long", "tick_mm"), [(1, 1.0), (10, 1.0), (5, 0.5)])
def test_the_finest_comb_of_a_ruler_gives_its_scale(long, tick_mm):
    picture = _ruler(12.3 + 11.7 * np.arange(53), long)
    found = scale_from_ruler(picture, (0, 0, 640, 60), tick_mm=tick_mm)
    assert found.pixels_per_mm == pytest.approx(11.7 / tick_mm, rel=5e-4)
    assert found.relative_uncertainty == pytest.approx(0.001)  # never surer
    # in any colour, upside down, on end, or as a part of a larger picture
    for other, box in () if long != 5 else (
        (np.repeat(picture[..., None], 3, 2), (0, 0, 640, 60)),
        (picture[::-1, ::-1], (0, 0, 640, 60)),
        (picture.T, (0, 0, 60, 640)),
        (np.pad(picture, ((30, 10), (20, 40)), constant_values=0.7), (20, 30, 660, 90)),
        (picture, (-5, -5, 900, 900)),
        (4.0 * picture, (0, 0, 640, 60)),
    ):
        again = scale_from_ruler(other, box, tick_mm=tick_mm)
        assert again.pixels_per_mm == pytest.approx(found.pixels_per_mm, rel=4e-4)


def test_a_ruler_s_scale_is_as_sure_as_its_ticks_are_straight():
    """Shaky ticks: least squares. Ticks that grow apart: a quarter of the change over the run."""
    number = np.arange(51.0)
    shaky = 12.0 + 12.0 * number + 0.9 * np.random.default_rng(7).standard_normal(51)
    found = scale_from_ruler(_ruler(shaky, 5), (0, 0, 640, 60))
    (slope, _), cov = np.polyfit(number, shaky, 1, cov=True)
    bend = np.polyfit(number, shaky, 2)[0]
    wanted = np.hypot(np.sqrt(cov[0, 0]) / slope, 0.25 * abs(bend) * 50.0 / slope)
    assert found.pixels_per_mm == pytest.approx(slope, rel=5e-4)
    assert found.relative_uncertainty == pytest.approx(wanted, rel=0.25) and wanted > 0.0012
    grows = 12.0 + 11.4 * number + 0.012 * number**2
    found = scale_from_ruler(_ruler(grows, 5), (0, 0, 640, 60))
    assert found.pixels_per_mm == pytest.approx(12.0, rel=2e-3)
    assert found.relative_uncertainty == pytest.approx(0.25 * 0.012 * 50.0 / 12.0, rel=0.1)


def test_a_box_too_small_or_of_no_ticks_is_refused():
    picture = _ruler(12.3 + 4.0 * np.arange(150), 5)
    assert scale_from_ruler(picture, (0, 0, 60, 6)).pixels_per_mm == pytest.approx(4.0, rel=0.01)
    for box in ((0, 0, 59, 30), (0, 0, 300, 5), (620, 0, 900, 59)):
        with pytest.raises(InputError, match="^ruler: the ruler's box is too small; mark at least"):
            scale_from_ruler(picture, box)
    noise = np.random.default_rng(3).random((60, 640))
    with pytest.raises(InputError, match="^ruler: no even row of ticks is found"):
        scale_from_ruler(noise, (0, 0, 640, 60))


@pytest.mark.parametrize("every", [1, 2, 3, 4, 5, 10])
def test_ticks_are_counted_one_by_one_whatever_stands_out(monkeypatch, every):
    """The strongest comb may be of each second tick, each fifth: the finest whose every place holds
    a tick is the millimetres'."""
    x = np.arange(720.0)
    line = 1.0 - 0.8 * (np.abs((x + 6.0) % 12.0 - 6.0) < 1.5)
    monkeypatch.setattr(ruler, "_period", lambda profile: (100.0, 12.0 * every))
    found = scale_from_ruler(np.tile(line, (20, 1)), (0, 0, 720, 20))
    assert found.pixels_per_mm == pytest.approx(12.0, rel=2e-3)


def _ruled(rows: int, columns: int, depth: float, pitch: int = 12) -> np.ndarray:
    """Ticks of a millimetre rule, ``depth`` darker than white, its edge 44 down a picture."""
    picture = np.ones((rows, columns))
    for k, at in enumerate(range(20, columns - 20, pitch)):
        picture[18 if k % 5 else 4 : 44, at : at + 2] -= depth
    return picture


@pytest.mark.parametrize("depth", [0.33, 0.4, 0.9])
def test_ticks_paler_than_the_figures_are_found(depth):
    """The figures, thin as they are, set what is clear: their black is the greater part."""
    picture = _ruled(120, 500, depth)
    rng = np.random.default_rng(3)
    for row, column in rng.integers((60, 5), (115, 490), (260, 2)):
        picture[row : row + 3, column : column + 3] = 0.0
    rows = ruler._rows_of_ticks(picture, 5)
    assert max(len(row.index) for row in rows) == len(range(20, 480, 12))
