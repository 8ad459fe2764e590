"""Measuring, function by function: closed forms, balances and limits of what each part promises."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import ndimage

from weavecolor.colour.spectra import BANDS, frozen
from weavecolor.errors import InputError
from weavecolor.measure import fit, sample
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_problem import _sight, _sight_shown
from weavecolor.measure.fit_report import Quantity
from weavecolor.measure.gridwords import grid_report
from weavecolor.measure.lattice import (
    _NONE,
    Frame,
    Spectrum,
    _along,
    _ring_median,
    _rings,
    _streak,
    find_frames,
    find_peaks,
    weighed,
)
from weavecolor.measure.observations import MODEL_SHARE, seen_colour
from weavecolor.measure.opening import open_share
from weavecolor.measure.regions import _ASIDE, _inner_box, _steps
from weavecolor.measure.ruler import _even
from weavecolor.measure.sample import Lesson, _moved, _Rough, learn, lesson_words, sample_seen
from weavecolor.measure.swatchpair import _opacity, measure_pair
from weavecolor.measure.threads import FEWEST_PER_MM, MOST_PER_MM, count_threads
from weavecolor.measure.tocloth import start_cloth
from weavecolor.optics.dye import absorption
from weavecolor.optics.onelayer import SQUARE, OneLayer, Openness, laid
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing
from weavecolor.scene.places import custom_scene, scene
from weavecolor.textile.howknown import HowKnown, knowledge

GREY = Backing("grey", np.full(BANDS, 0.4))


# --- fit --------------------------------------------------------------------------------------


def test_the_most_likely_numbers_balance_readings_and_what_was_expected():
    """Readings e^x, each of one number: at the best the slopes of both parts cancel."""
    wanted, error, prior = np.linspace(0.5, 3.0, p.SIZE), 0.2, 0.5
    problem = SimpleNamespace(
        residual=lambda _, x: ((np.exp(x) - wanted) / error, np.diag(np.exp(x) / error))
    )
    unknowns = SimpleNamespace(
        prior_mean=lambda: np.full(p.SIZE, 0.1),
        covariance=lambda: prior**2 * np.eye(p.SIZE),
    )
    free = np.full(p.SLOW, 100.0)
    x = fit._lowest(problem, unknowns, np.full(p.SIZE, -0.5), np.zeros(p.SLOW), free)
    left = (np.exp(x) - wanted) * np.exp(x) / error**2 + (x - 0.1) / prior**2
    steep = np.exp(2 * x) / error**2 + 1 / prior**2
    assert np.abs(left / steep).max() < 2e-3
    # what a surface does not reach is not searched
    held = fit._lowest(problem, unknowns, np.zeros(p.SIZE), np.zeros(p.SLOW), free / 1e4)
    assert np.abs(held[: p.SLOW]).max() <= fit.TRUSTED * 0.01 + 1e-12


def test_straight_on_is_how_a_plain_overhead_look_is_laid():
    above = replace(scene("overcast"), view_zenith_deg=0.0)
    assert np.asarray(SQUARE.eye) == pytest.approx(np.asarray(laid(above, 30.0, "face").eye))
    assert SQUARE.flip is False and SQUARE.lamps == ()


@pytest.mark.parametrize("lamps", [0, 1, 3])
@pytest.mark.parametrize("flip", [False, True])
def test_slopes_of_a_sight_are_those_of_its_reading(lamps, flip):
    """Dyes of both systems, the paper and the mixture of light, each by central differences."""
    rng = np.random.default_rng(lamps)
    place = scene("window at the side")
    warm = place.lights[0].irradiance * np.linspace(0.3, 2.0, BANDS)  # unlike the sky's
    place = replace(
        place,
        lights=tuple(
            replace(place.lights[0], azimuth_deg=50.0 * k, irradiance=warm) for k in range(lamps)
        ),
    )
    seen = replace(
        seen_colour("it", [0.3] * 3, [0.01] * 3, GREY, light=place),
        paper_error=0.05, light_error=0.1,
    )  # fmt: skip
    bands, m = p.BASIS[p.COARSE].shape[0], lamps + 3
    open_ = Openness(
        rng.uniform(0.0, 0.1, (1, lamps + 1)), rng.uniform(0.0, 0.1, 1),
        rng.uniform(0.0, 0.2, lamps + 1), 0.1, 0.2,
    )  # fmt: skip
    sheet = replace(SQUARE, flip=flip)
    ready = OneLayer((sheet,), (tuple(range(lamps + 1)),), (open_,), lamps + 1, None, None, None)
    plain = rng.uniform(0.1, 0.4, (m, m))
    less = rng.uniform(0.01, 0.05, (2, m, m))

    def shown(x):
        knots = [x[p.SLOW + k * p.KNOTS.size :][: p.KNOTS.size] for k in (0, 1)]
        deep = np.exp([p.BASIS[p.COARSE] @ k for k in knots])  # (2, bands)
        taken = deep[:, :, None, None] * less[:, None]
        value = plain - taken.sum(axis=0)
        return _sight_shown(ready, 0, _sight(seen), x, value, -taken.transpose(1, 0, 2, 3))

    x = 0.3 * rng.standard_normal(p.SIZE)
    model, slopes = shown(x)
    assert model.shape == (3,) and bands == 21
    for k in (p.PAPER, p.LIGHT, *range(p.SLOW, p.SLOW + 2 * p.KNOTS.size)):
        step = 1e-5 * np.eye(p.SIZE)[k]
        told = (shown(x + step)[0] - shown(x - step)[0]) / 2e-5
        np.testing.assert_allclose(slopes[:, k], told, atol=1e-8, err_msg=str(k))


def _open_cloth(covariance=None):
    """A start cloth as if an earlier fit had left so much open."""
    count = p.SIZE - 2
    root = np.linalg.cholesky(np.eye(count) if covariance is None else covariance)
    start = start_cloth("mine", 40.0, 36.0, warp_like="silk organza")
    dyes = (np.linspace(0.5, 3.0, BANDS), np.linspace(9.0, 0.7, BANDS))
    start = replace(
        start,
        warp=replace(start.warp, absorption=frozen(dyes[0])),
        weft=replace(start.weft, absorption=frozen(dyes[1])),
        known=knowledge({"foretold": HowKnown.fitted(root=root[np.tril_indices(count)])}),
    )
    return start, dyes


def test_a_cloth_fitted_before_begins_with_its_own_dyes():
    start, dyes = _open_cloth()
    again = p.Unknowns.again(start)
    assert np.exp(again.curves) == pytest.approx(np.array(dyes))
    cloth = again.cloth(again.prior_mean())
    for yarn, dye in zip((cloth.warp, cloth.weft), dyes, strict=True):
        assert absorption(yarn) == pytest.approx(dye, rel=1e-6)


# --- sample -----------------------------------------------------------------------------------


def test_a_sample_of_a_straight_model_corrects_as_bayes_has_it(monkeypatch):
    """Readings that go in a straight line with the numbers: mean and covariance in closed form
    (Gauss and Markov; Tarantola 2005, ch. 3)."""
    rng = np.random.default_rng(2)
    count = p.SIZE - 2
    mixed = 0.2 * rng.standard_normal((count, count))
    start, _ = _open_cloth(mixed @ mixed.T + 0.05 * np.eye(count))
    slope = 0.02 * rng.standard_normal((3, p.SIZE))
    middle, rough = np.array([0.4, 0.2, 0.01]), _Rough(1e-5 * np.eye(3), 5)
    unknowns = p.Unknowns.again(start)
    mean, open_ = unknowns.prior_mean(), unknowns.covariance()

    monkeypatch.setattr(sample, "_by_build", lambda *_: (middle, slope[:, : p.SLOW], rough))
    monkeypatch.setattr(sample, "_by_ground", lambda *_: 1e-6 * np.ones((3, 3)))
    monkeypatch.setattr(
        sample, "_by_dye",
        lambda _, unknowns, x: (middle + slope[:, p.SLOW :] @ (x - mean)[p.SLOW :],
                                slope[:, p.SLOW :]),
    )  # fmt: skip
    monkeypatch.setattr(sample, "_read", lambda _, unknowns, x: middle + slope @ (x - mean))
    monkeypatch.setattr(
        sample, "told", lambda *_: SimpleNamespace(quantities=(), trades=(), alike=())
    )
    stack = Stack((Layer(start, 0.0), Layer(start, 90.0)), GREY)
    taken = sample_seen(stack, [0.42, 0.19, 0.012], [0.01, 0.02, 0.01])
    lesson = learn(taken)

    # the model's own doubt: so much of the reading by each layer, of black as of a fiftieth
    own = (2 * MODEL_SHARE * np.array([0.42, 0.19, 0.02])) ** 2
    noise = rough.covariance + taken.covariance + 1e-6 * np.ones((3, 3)) + np.diag(own)
    precision = np.linalg.inv(open_) + slope.T @ np.linalg.solve(noise, slope)
    left = np.linalg.inv(precision)
    np.testing.assert_allclose(lesson.fit.covariance, left, rtol=1e-6, atol=1e-9)
    away = left @ slope.T @ np.linalg.solve(noise, taken.value - middle)
    np.testing.assert_allclose(lesson.fit.values, mean + away, rtol=1e-6, atol=1e-9)


def test_what_no_plane_follows_is_kept_whole():
    """A covariance: its trace is the misses' squares; what is alike in all channels stays alike,
    and the rest lies evenly across it."""
    rng = np.random.default_rng(4)
    missed = rng.standard_normal((9, 3)) @ np.diag([1.0, 2.0, 3.0])
    grey = np.full(3, 3.0**-0.5)
    found = _Rough.of(missed, 5, 1.2)
    assert np.trace(found.covariance) == pytest.approx(1.2 / 3.0 * (missed**2).sum())
    assert grey @ found.covariance @ grey == pytest.approx(0.4 * ((missed @ grey) ** 2).sum())
    across = (missed**2).sum() - ((missed @ grey) ** 2).sum()
    for way in ([1.0, -1.0, 0.0], [1.0, 1.0, -2.0]):
        side = np.asarray(way) / np.linalg.norm(way)
        assert side @ found.covariance @ side == pytest.approx(0.5 * 0.4 * across)
        assert side @ found.covariance @ grey == pytest.approx(0.0, abs=1e-9)
    # the law of light off the face alone, or of none of it
    only = _Rough.of(np.outer([0.1, -0.2], np.ones(3)), 4, 1.0).covariance
    assert only == pytest.approx(np.full((3, 3), 0.5 * 0.05))


def test_a_lesson_tells_before_and_after_each_in_its_place():
    now = (
        Quantity("warp cover", 0.41, 0.1, 0.6, "", True, (0.38, 0.44)),
        Quantity("weft colour", 52.0, 0.1, 0.6, "", True, (0.0, 3.1)),
    )
    before = (
        Quantity("warp cover", 0.5, 0.1, 0.6, "", True, (0.31, 0.69)),
        Quantity("weft colour", 61.0, 0.1, 0.6, "", True, (0.0, 7.2)),
    )
    made = SimpleNamespace(
        cloth=SimpleNamespace(name="silk"), quantities=now, residuals=[SimpleNamespace(delta=0.4)]
    )
    at = np.array([50.0, 0.0, 0.0])
    text = lesson_words(Lesson(made, before, at, at, at, 6.0))
    often = "at least nine times in ten\n"
    assert f"  warp cover: 0.41 (0.5), 0.38 to 0.44 (0.31 to 0.69) {often}" in text
    assert f"  weft colour: L* 52 (61), within 3.1 (7.2) CIEDE2000 {often}" in text
    assert "Seen 0.0 CIEDE2000 from what was foretold; foretold to 6.0" in text
    assert "Shown now 0.4 off." in text


# --- wound cards ------------------------------------------------------------------------------


def test_a_wound_card_tells_each_number_in_its_place():
    # CIE 15: of a grey of Y 18.42 L* is 50; the red is of the primary's own corner
    found = SimpleNamespace(
        wound=np.full(BANDS, 0.184187), cover=0.61, R=[0.1, 0.2, 0.3], T=[0.4, 0.5, 0.6],
        R_uncertainty=[0.01, 0.02, 0.03], T_uncertainty=[0.04, 0.05, 0.06], within=2.3,
        missed=1.2, dye=SimpleNamespace(notes=("a note",)),
    )  # fmt: skip
    text = grid_report(found)
    assert "hide 61 % of the card" in text
    assert "sends back  0.10 +- 0.01, 0.20 +- 0.02, 0.30 +- 0.03" in text
    assert "lets through 0.40 +- 0.04, 0.50 +- 0.05, 0.60 +- 0.06" in text
    assert "(L* 50, a* " in text and "within 2.3 CIEDE2000 at least nine times in ten" in text
    assert "Note: a note" in text and "Caution" not in text
    found.missed = 5.1
    assert "Caution: no dye of this yarn looks like that" in grid_report(found)


# --- the lattice ------------------------------------------------------------------------------


def _spectrum(tile, vectors, heights, floor=1.0):
    ratio = np.full((tile, tile), floor)
    y, x = np.mgrid[0:tile, 0:tile] - tile // 2
    for (fx, fy), height in zip(vectors, np.broadcast_to(heights, len(vectors)), strict=True):
        for s in (1, -1):
            away = (x - s * fx * tile) ** 2 + (y - s * fy * tile) ** 2
            ratio += height * np.exp(-0.5 * away / 0.8**2)
    return Spectrum(ratio, ndimage.maximum_filter(ratio, 3), tile, 9.0)


def test_a_ring_s_median_does_not_ask_for_the_picture_s_scale():
    """Twice the light, four times the power, the same ratios; also where there is next to none."""
    power = np.random.default_rng(1).gamma(2.0, 1.0, (64, 64))
    power[_rings(64) > 20] = 0.0
    one = _ring_median(power, _rings(64))
    for times in (4.0, 1e6, 1e-6):
        assert _ring_median(times * power, _rings(64)) == pytest.approx(times * one)
    assert (one > 0.0).all()


def test_peaks_at_whole_orders_are_no_streak():
    """Between orders so near one another that half of all places lie beside a peak."""
    tile, vector = 128, np.array([0.05, 0.0])
    ratio = np.ones((tile, tile))
    for k in range(-9, 10):
        at = tile // 2 + round(k * vector[0] * tile)
        ratio[63:66, at - 1 : at + 2] = 1e4
    spec = Spectrum(ratio, ratio, tile, 9.0)
    assert _streak(spec, vector) == pytest.approx(0.0, abs=1e-6)
    # nothing at all, as in a drawn picture, is no streak either
    nothing = np.zeros((tile, tile))
    assert _streak(Spectrum(nothing, nothing, tile, 9.0), np.array([0.11, 0.0])) == 0.0


@pytest.mark.parametrize(
    ("order", "name"),
    [(1, "first"), (2, "second"), (3, "third"), (1.5, "beyond"), (1 / 4, "parts"),
     (1 / 3, "parts"), (1 / 2, "parts"), (2 / 3, "parts"), (3 / 4, "parts"), (1 / 2, "half")],
)  # fmt: skip
def test_each_order_along_a_system_counts_where_it_belongs(order, name):
    vector = np.array([0.12, 0.0])
    (told,) = _along(_spectrum(512, [order * vector], 1e3), vector[None])
    (none,) = _along(_spectrum(512, [[0.0, 0.3]], 1e3), vector[None])
    assert told[name] >= 4.0 and none[name] == 0.0
    others = {"first", "second", "third", "beyond", "parts", "half"} - {name}
    assert all(told[k] < 0.5 for k in others - ({"parts", "half"} if order == 0.5 else set()))


def test_no_one_piece_of_evidence_outweighs_all_others():
    """However high a peak, it counts no more than one 150 times its line: in logarithms 5."""
    parts = [[0.3, 0.0], [0.15, 0.0], [0.1, 0.0], [0.075, 0.0], [0.2, 0.0]]
    for height in (3e3, 1e7):
        (told,) = _along(_spectrum(256, parts, height), np.array([[0.3, 0.0]]))
        assert told["parts"] == told["half"] == told["first"] == 5.0
        assert -4.0 <= told["lead"] <= 4.0
    a, b = 0.16, 0.14
    bound = [[a, 0.0], [0.0, b], [a / 2, b / 2], [a / 2, -b / 2]]
    frames = find_frames(_spectrum(256, bound, 1e7), 0.05, 0.4)
    assert max(frame.evidence["bound"] for frame in frames) == 5.0


def test_a_peak_counts_in_full_from_a_certain_clearness():
    """One peak of five lies off one system: a fifth, also where some stand much higher."""
    a, b = 0.16, 0.14
    lattice = [[a, 0.0], [0.0, b], [a / 2, b / 4], [a / 2, -b / 4], [0.0, b / 2]]
    for heights in (1e5, [1e5, 1e5, 1e5, 1e5, 150.0], [200.0, 1e5, 1e5, 150.0, 1e5]):
        frames = find_frames(_spectrum(256, lattice, heights), 0.05, 0.4)
        rib = next(f for f in frames if f.crossings == 4 and f.evidence["rib"] == 1.0
                   and abs(abs(np.linalg.det([f.first, f.second])) - a * b) < 1e-3)  # fmt: skip
        assert rib.evidence["one-sided"] == pytest.approx(0.2)


def test_what_readings_lack_to_one_is_the_chance_of_none():
    def frame(score):
        return Frame(score, np.array([0.1, 0.0]), np.array([0.0, 0.1]), ((1, 0), (0, 1)),
                     np.empty((0, 2)), np.empty((0, 2)), np.empty(0), {})  # fmt: skip

    # as likely as none: a half; in two windows that do not know of one another a quarter is left
    (one,) = weighed([[frame(_NONE)]])
    assert one.share == pytest.approx(0.5)
    (two,) = weighed([[frame(_NONE)], [frame(_NONE)]])
    assert two.share == pytest.approx(0.75)
    (odd,) = weighed([[frame(_NONE)], [frame(_NONE + np.log(3.0))], []])
    assert odd.share == pytest.approx(1.0 - 0.5 * 0.25)


def test_a_count_is_told_for_the_middle_of_what_it_saw():
    y, x = np.mgrid[0:420, 0:460] / 20.0
    weave = 0.5 + 0.2 * np.sin(np.pi * 2.5 * x) * np.sin(np.pi * 2.0 * y)
    weave -= 0.1 * (np.cos(2 * np.pi * 2.5 * x) + np.cos(2 * np.pi * 2.0 * y))
    found = count_threads(weave, 20.0, region=(30, 20, 430, 380))
    assert found.box == (30, 20, 430, 380) and found.centre == (230.0, 200.0)


@pytest.mark.parametrize("per_mm", [FEWEST_PER_MM, MOST_PER_MM])
def test_the_scale_s_limits_are_scales_themselves(per_mm):
    with pytest.raises(InputError) as told:
        count_threads(np.ones((100, 100)), per_mm)
    assert "is no scale of a photographed cloth" not in str(told.value)


def test_what_is_nearer_the_ground_than_the_yarn_is_open():
    for way, share in ((0.56, 0.2), (0.44, 0.4)):
        picture = np.full((120, 120), 0.2)
        picture[:, ::5] = 1.0
        picture[:, 1::5] = 1.0 - 0.8 * way
        assert open_share(picture, 1.0)[0] == pytest.approx(share, abs=1e-9)


# --- regions ----------------------------------------------------------------------------------


@pytest.mark.parametrize("row", [0, 3, 7])
@pytest.mark.parametrize("column", [0, 5, 11])
def test_one_pixel_is_its_own_box_wherever_it_lies(row, column):
    mask = np.zeros((8, 12), bool)
    mask[row, column] = True
    assert _inner_box(mask) == (column, row, column + 1, row + 1)
    mask[row] = True
    assert _inner_box(mask) == (0, row, 12, row + 1)


def test_a_step_is_looked_at_on_both_sides_alike():
    """On an even ramp it is the ramp over the way between; turned about it is of the other sign."""
    label = np.ones((30, 20), np.intp)
    label[15:] = 2
    ramp = np.arange(30.0)[:, None, None] * [1.0, 2.0, 0.0] * np.ones((1, 20, 1))
    for turn in (0, 1):
        names, values = (np.swapaxes(a, 0, turn) for a in (label, ramp))
        steps, counts = _steps(names, values)
        assert counts[1, 2] == counts[2, 1] == 20
        assert steps[1, 2] / 20 == pytest.approx((2 * _ASIDE + 1) * np.array([1.0, 2.0, 0.0]))
        assert steps[2, 1] == pytest.approx(-steps[1, 2])
        back, _ = _steps(names[::-1, ::-1], values[::-1, ::-1])
        assert back[1, 2] == pytest.approx(steps[1, 2])


# --- the ruler --------------------------------------------------------------------------------


@pytest.mark.parametrize(("worn", "found"), [(20, True), (21, False)])
def test_a_fifth_of_the_ticks_may_be_worn_off(worn, found):
    gone = [98, *(k for k in range(1, 97, 2) if k % 5)][:worn]
    number = np.setdiff1d(np.arange(100), gone)
    made = _even(10.0 * number, np.where(number % 5 == 0, 30.0, 20.0))
    assert (made is not None) is found
    if made is not None:
        assert (made[1] - made[1][0]).tolist() == number.tolist()


# --- pairs ------------------------------------------------------------------------------------


def test_opacity_is_of_luminance():
    """TAPPI T 425 with Y of linear sRGB (IEC 61966-2-1): 0.2126, 0.7152, 0.0722."""
    R, T = np.array([0.5, 0.1, 0.02]), np.array([0.2, 0.3, 0.6])
    shown = R + T**2 * 0.89 / (1 - R * 0.89)
    weights = np.array([0.2126, 0.7152, 0.0722])
    wanted = 100 * (R @ weights) / (shown @ weights)
    assert _opacity(R, T) == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize(("over_white", "said"), [(0.8, False), (0.99, True)])
def test_a_pair_that_gives_more_light_than_falls_on_it_is_told(over_white, said):
    def picture(ground, swatch):
        made = np.full((160, 240, 3), ground)
        made[:, :60] = 0.87
        made[40:120, 110:210] = swatch
        return 0.8 * made

    boxes = {"paper": (5, 5, 55, 155)}
    found = measure_pair(
        picture(0.87, over_white), picture(0.05, 0.6), paper=(0.87, 0.0),
        marked_white=boxes | {"swatch over white": (120, 50, 200, 110)},
        marked_black=boxes | {"swatch over black": (120, 50, 200, 110), "card": (70, 5, 100, 155)},
    )  # fmt: skip
    told = "reflected and passed light add to more than all: check paper and light"
    assert (told in found.cautions) is said
    assert (found.R + found.T > 1.0).all() == said


# --- the lattice's peaks ----------------------------------------------------------------------


@pytest.mark.parametrize(("ratio", "found"), [(35.7, 0), (36.2, 1)])
def test_a_peak_is_what_noise_makes_in_one_picture_of_a_thousand(ratio, found):
    """Power of noise is exponential: one of 16384 x 1000 lies beyond ln of that, its median at
    ln 2; times one and a half 35.95."""
    power = np.ones((128, 128))
    power[64 + 5, 64 + 20] = ratio
    spec = Spectrum(power, ndimage.maximum_filter(power, 3), 128, 1.25)
    vectors, strength = find_peaks(spec, 0.02)
    assert len(vectors) == found and strength.tolist() == [ratio] * found


@pytest.mark.parametrize(("times", "counted"), [(3.8, False), (4.2, True)])
def test_what_stands_less_than_four_times_over_its_surroundings_is_no_order(times, counted):
    """Over a ground of 1.5, as seen through a sensor that blurs by 0.9 pixels."""
    first, second, weak = np.array([[0.125, 0.0], [0.0, 0.140625], [0.0625, 0.0703125]])
    power = np.ones((256, 256))
    blur = np.exp(-((2 * np.pi * 0.9 * np.hypot(*weak)) ** 2))
    for vector, ratio in ((first, 1e4), (second, 1e4), (weak, 1.5 * times / blur)):
        for sign in (1, -1):
            x, y = np.round(sign * vector * 256).astype(int)
            power[128 + y, 128 + x] = ratio
    spec = Spectrum(power, ndimage.maximum_filter(power, 3), 256, 100.0)
    frames = find_frames(spec, 0.1, 0.2)
    seen = any(np.hypot(*(f.peaks - weak).T).min() < 1e-3 for f in frames)
    assert frames and seen is counted


# --- the lamp of a sample ---------------------------------------------------------------------


@pytest.mark.parametrize("off", [-1.0, 0.0, 2.0])
def test_a_lamp_that_stands_elsewhere_gives_the_paper_the_light_it_gave(off):
    """What was read is light over that on paper, which lies flat beside the cloth."""
    light = custom_scene("tungsten", 40.0, 0.0, 0.0).lights[0]
    there = _moved(light, 0.7, off)
    assert there.on_cloth == pytest.approx(0.7 * light.on_cloth)
    cosine = np.cos(np.radians([light.zenith_deg, there.zenith_deg]))
    assert there.irradiance == pytest.approx(0.7 * light.irradiance * cosine[0] / cosine[1])


def test_a_system_leads_what_lies_between_by_four_at_most_either_way():
    """In logarithms: where only its own order is seen, and where only what lies between is."""
    vector = np.array([[0.3, 0.0]])
    between = [[0.15, 0.0], [0.1, 0.0], [0.075, 0.0], [0.2, 0.0]]
    for parts, heights, lead in (([[0.3, 0.0]], 1e6, 4.0), (between, 1e6, -4.0),
                                 ([[0.3, 0.0], *between], 1e4, 0.0)):  # fmt: skip
        (told,) = _along(_spectrum(256, parts, heights), vector)
        assert told["lead"] == pytest.approx(lead, abs=0.05)
    for parts, over in (([[0.15, 0.0]], 4.0), ([[0.3, 0.0]], -4.0)):
        (told,) = _along(_spectrum(256, parts, 1e6), 0.5 * vector)
        assert told["over second"] == pytest.approx(over)
