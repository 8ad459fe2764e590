"""Light on the table, grounds and means, by pictures whose light is written down."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from cards import any_photo, photograph

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.screen import camera_channels, channels_in_light
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.measure import observations as o
from weavecolor.measure.neutral import (
    Illumination,
    _basis,
    _blocks,
    _fitted,
    illumination,
    light_cautions,
    reference_reflectance,
    reflectance_picture,
)
from weavecolor.measure.opening import open_share
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.regions import Region
from weavecolor.measure.shots import look, look_wound
from weavecolor.measure.swatchpair import (
    _mean,
    _opacity,
    _Side,
    _solve,
    lab_of,
    measure_one,
    measured_colour,
)
from weavecolor.measure.swatchpair import _side as side_of
from weavecolor.scene.backings import Backing

WHITE, BLACK = (Backing(n, np.full(BANDS, r)) for n, r in (("white", 0.9), ("black", 0.03)))


@pytest.mark.parametrize(
    ("given", "meant"),
    [("white paper", (0.87, 0.025)), ("grey card", (0.18, 0.008)), (0.5, (0.5, 0.01)),
     ((0.6, 0.0), (0.6, 0.0)), (0.02, (0.02, 0.01)), (1.0, (1.0, 0.01)), (1, (1.0, 0.01))],
)  # fmt: skip
def test_neutrals_by_name_or_number(given, meant):
    assert reference_reflectance(given) == meant


@pytest.mark.parametrize("given", [0.019, 1.001, (0.5, 0.5), (0.5, -0.01), float("nan")])
def test_what_is_no_neutral_is_refused(given):
    with pytest.raises(InputError, match="^reference: a neutral's reflectance lies between 0.02"):
        reference_reflectance(given)
    with pytest.raises(InputError, match="no neutral called 'snow'; use white paper or grey card"):
        reference_reflectance("snow")


def _lit(shape=(200, 300), across=0.0, down=0.0, bend=0.0, gain=(0.5, 0.4, 0.3)):
    y = (2 * (np.arange(shape[0]) + 0.5) / shape[0] - 1)[:, None]
    x = (2 * (np.arange(shape[1]) + 0.5) / shape[1] - 1)[None]
    fall = np.exp(across * x + down * y + bend * (x * x + 0.5 * x * y - y * y))
    return fall[..., None] * np.array(gain)


def test_light_that_was_written_down_is_read_again():
    """A quadratic in the logarithm, on paper all over: six terms, each as it was put in."""
    light = _lit(across=0.2, down=-0.1, bend=0.05)
    paper = np.ones(light.shape[:2], bool)
    found = illumination(0.8 * light, paper, (0.8, 0.02))
    assert found.order == 2 and found.coefficients.shape == (6, 3)
    wanted = [np.log(0.4), 0.2, -0.1, 0.05, 0.025, -0.05]
    assert found.coefficients[:, 1] == pytest.approx(wanted, abs=1e-3)
    np.testing.assert_allclose(found.field(), light, rtol=2e-3)
    flat = reflectance_picture(0.8 * light, found)
    np.testing.assert_allclose(flat, 0.8, rtol=2e-3)
    assert (found.reflectance, found.reflectance_error) == (0.8, 0.02)
    # greatest over least, but for a hundredth at either end
    greatest = np.log(light[..., 0] / 0.5)
    assert found.unevenness == pytest.approx(np.expm1(np.ptp(np.percentile(greatest, [1, 99]))),
                                             rel=0.03)  # fmt: skip
    assert found.residual.max() < 1e-3
    with pytest.raises(InputError, match="on a picture of another size"):
        reflectance_picture(light[:-1], found)


@pytest.mark.parametrize(("wide", "order"), [(0.7, 2), (0.55, 1), (0.25, 1), (0.15, 0)])
def test_no_curve_is_fitted_further_than_the_paper_shows_it(wide, order):
    light = _lit(across=0.1)
    paper = np.zeros(light.shape[:2], bool)
    paper[:, : int(300 * wide)] = True
    assert illumination(0.8 * light, paper, 0.8).order == order
    paper = np.zeros(light.shape[:2], bool)
    paper[: int(200 * wide)] = True
    assert illumination(0.8 * light, paper, 0.8).order == order


def test_another_ground_shows_the_light_where_no_paper_is_as_far_as_it_may_shine():
    """Grey card of a half shines by little of itself; a black one by a good part, and says so."""
    light = _lit(across=0.1, down=0.1)
    paper, card = np.zeros((200, 300), bool), np.zeros((200, 300), bool)
    paper[:, :50], card[:, 70:] = True, True
    at = np.mgrid[0:200:5, 0:300:5].reshape(2, -1)
    for own, near in ((0.5, 0.01), (0.05, 0.1)):
        picture = 0.87 * light
        picture[:, 60:] = own * light[:, 60:]
        alone = illumination(picture, paper, 0.87)
        both = illumination(picture, paper, 0.87, even=[card])
        assert (alone.order, both.order) == (0, 2)
        np.testing.assert_allclose(both.field(), light, rtol=near)
        assert np.abs(alone.field() / light - 1).max() > 0.15
        off = np.log(both.field() / light)[at[0], at[1]]
        sure = [both.error_over([row], [column]) for row, column in at.T]
        assert (np.abs(off) < 2.0 * np.array(sure) + 1e-3).all()


def test_blocks_that_err_each_by_itself_tell_a_level_by_their_number():
    """Of one cell nothing is told by how cells differ: a mean of n is known to the variance of one,
    with what is always left open, over n, in each channel."""
    n, noise = 60, np.array([0.02, 0.03, 0.01])
    log = np.tile(noise, (n, 1)) * np.random.default_rng(2).standard_normal((n, 3))
    _, covariance = _fitted(
        np.ones((n, 1)), log, np.tile(noise, (n, 1)), np.ones(n, bool), 1, np.zeros(n, int),
        np.array([np.inf]),
    )  # fmt: skip
    assert covariance[:, 0, 0] == pytest.approx(np.full(3, ((noise**2).mean() + 1e-6) / n))


def test_light_is_told_less_surely_by_darker_card():
    """However a card shines, of half its own reflectance it is twice the share; what the paper and
    the usual fall of light tell keeps the doubt a little below that."""
    light = _lit(across=0.1, down=0.1)
    paper, card = np.zeros((200, 300), bool), np.zeros((200, 300), bool)
    paper[:, :50], card[:, 70:] = True, True
    doubt = []
    for own in (0.8, 0.4):
        picture = 0.87 * light
        picture[:, 60:] = own * light[:, 60:]
        doubt.append(illumination(picture, paper, 0.87, even=[card]).error_over([100], [290])[0])
    assert 1.6 < doubt[1] / doubt[0] < 2.0


def test_black_card_that_shines_towards_the_window_is_not_taken_for_light():
    """Drawn photographs of a swatch on black card whose sheen, of 0.8 to 1.5 %, grows fourfold
    towards the light, a corner or a side of paper beside it: the swatch's reflectance is read
    within what is stated, and no light that falls off is told of."""
    R, T = np.array([0.019, 0.016, 0.015]), np.array([0.84, 0.72, 0.70])
    rng = np.random.default_rng(8)
    off = []
    for number in range(10):
        photo = replace(
            any_photo(rng, "black"), R=tuple(R), T=tuple(T), paper=0.87, dust=0.0, bow=0.0,
            sheen=rng.uniform(0.008, 0.015), strip=("corner", "side")[number % 2],
        )  # fmt: skip
        image = read_photograph(photograph(photo)[0], name="black").linear
        side = side_of(image, None, "white paper", "black")
        assert side.light.unevenness < 0.5
        value, error = _mean(side, "swatch over black")
        # in the middle of the picture, and a little aside: the card shows through with its sheen
        ground = np.array(photo.card) + photo.sheen * 1.12
        true = R + T * T * ground / (1.0 - R * ground)
        off.append((value - true) / np.hypot(error, 0.03 * true))
    assert np.abs(off).max() < 3.5 and np.sqrt(np.mean(np.square(off))) < 1.5


def test_the_picture_that_is_wrong_is_named():
    """A maker who gives the picture over black for the turned one must not be sent to look at the
    first, which is right."""
    rng = np.random.default_rng(3)
    R, T = (0.1, 0.05, 0.04), (0.5, 0.4, 0.4)
    white, black = (
        read_photograph(
            photograph(replace(any_photo(rng, layout), R=R, T=T, gains=(1.0, 1.0, 1.0)))[0],
            name=layout,
        ).linear
        for layout in ("white", "black")
    )
    assert look(white, black, white[::-1]).seen[2].grain_deg == 90.0
    # the first given twice would tell that warp and weft look alike
    with pytest.raises(InputError, match="^picture over white, turned a quarter: is the very pict"):
        look(white, black, white)
    grey = np.repeat(white[..., 1:2], 3, axis=2)
    with pytest.raises(InputError, match="^picture over white: is in black and white; take it in"):
        look(grey, black)
    with pytest.raises(InputError, match="^picture over black: is in black and white"):
        look_wound(load_swatch("silk-chiffon-ivory").warp, 40.0, white, grey)
    with pytest.raises(InputError, match="^picture over white, turned a quarter: "):
        look(white, black, black)
    with pytest.raises(InputError, match="^picture of the sample: "):
        measure_one(np.zeros((200, 200, 3)))


def test_light_far_from_the_paper_is_as_sure_as_it_says_and_no_noise_colours_it():
    """A strip of paper at one side, a piece of grainy dark card at the top, the swatch at the other
    side: forty pictures of written-down light. The grain of the dark card must not make its own
    fall of light in each channel; held to nothing, the colour there was off by six times as
    much."""
    rng = np.random.default_rng(4)
    paper, card = np.zeros((200, 300), bool), np.zeros((200, 300), bool)
    paper[:, 272:], card[4:26, 180:265] = True, True
    rows, columns = (v.ravel() for v in np.mgrid[30:150:3, 50:160:3])
    off, told = [], []
    for _ in range(40):
        light = _lit(across=rng.uniform(-0.1, 0.1), gain=(0.55, 0.6, 0.45))
        picture = np.where(paper[..., None], 0.87, 0.045) * light
        picture += 0.015 * np.sqrt(picture) * rng.standard_normal(picture.shape)
        found = illumination(picture, paper, 0.87, even=[card])
        off.append(np.log(found.field()[rows, columns] / light[rows, columns]).mean(axis=0))
        told.append(found.error_over(rows, columns))
    missed, sure = np.array(off), np.array(told)
    assert sure.max() < 0.06
    assert 0.9 <= (np.abs(missed) <= 2.0 * sure).mean()
    assert np.std(missed - missed.mean(axis=1, keepdims=True)) < 0.5 * missed.std()
    # on the paper itself there is nothing to go beyond
    assert illumination(picture, paper, 0.87, even=[card]).error_over([100], [285]).max() < 0.02


@pytest.mark.parametrize(
    ("gain", "says"),
    [
        ((1.0, 0.99, 0.97), "the neutral is burnt out"),
        ((0.3, 0.2, 0.0039 / 0.8), "the neutral is far too dark"),
        ((0.66, 0.4, 0.1), "what is marked as neutral is strongly coloured"),
        ((0.6, 0.4, 0.101), None),
        ((0.9, 0.9, 0.9), None),
    ],
)
def test_what_is_burnt_out_black_or_coloured_is_no_neutral(gain, says):
    picture, paper = 0.8 * _lit(gain=gain), np.ones((200, 300), bool)
    if says == "the neutral is burnt out":
        picture = picture / 0.8
    if says is None:
        assert illumination(picture, paper, 0.8).unevenness == pytest.approx(0.0, abs=1e-6)
        return
    with pytest.raises(InputError, match=says):
        illumination(picture, paper, 0.8)


def test_too_little_too_patchy_and_too_uneven_a_neutral():
    picture = 0.8 * _lit()
    few = np.zeros((200, 300), bool)
    few[:9, :9] = True  # nine blocks of three pixels
    with pytest.raises(InputError, match="too little bare paper or grey card is in view"):
        illumination(picture, few, 0.8)
    few[:] = False
    few[:3, :33] = True  # eleven in a strip
    with pytest.raises(InputError, match="too little bare paper or grey card is in view"):
        illumination(picture, few, 0.8)
    few[:3, :36] = True  # a dozen
    assert illumination(picture, few, 0.8).order == 0
    whole = np.ones((200, 300), bool)
    assert illumination(0.6 * _lit(across=0.44), whole, 0.8).unevenness < 1.5
    with pytest.raises(InputError, match="the light falls off too much across the paper"):
        illumination(0.6 * _lit(across=0.48), whole, 0.8)
    # a shadow on a tenth of it is left out of the fit
    shadow = picture.copy()
    shadow[80:120, 100:160] *= 0.6
    np.testing.assert_allclose(illumination(shadow, whole, 0.8).field(), _lit(), rtol=0.01)


def test_lamps_and_mixed_light_are_told():
    whole = np.ones((200, 300), bool)

    def told(gain, turn=0.0):
        light = _lit(gain=gain)
        x = np.linspace(-1, 1, 300)[None, :]
        light[..., 0] *= np.exp(turn * x)
        light[..., 2] *= np.exp(-turn * x)
        return light_cautions(illumination(0.8 * light, whole, 0.8), whole)

    assert told((0.5, 0.4, 0.3)) == []  # 1.67 times as much red as blue
    (lamp,) = told((0.54, 0.4, 0.3))
    assert lamp.startswith("the paper looks yellow, with 1.8 times as much red as blue: a lamp")
    assert told((0.4, 0.4, 0.4), 0.03) == []
    (mixed,) = told((0.4, 0.4, 0.4), 0.06)
    # red runs from -6 to 6 %: exp(0.12) - 1 is 13 %, a little less without the ends; half of it 6 %
    assert re.match("light of two colours falls on the paper, 1[23] % apart from side to", mixed)
    assert "may be wrong by 6 % in red or blue" in mixed
    none = np.zeros((200, 300), bool)
    assert light_cautions(illumination(0.8 * _lit(), whole, 0.8), none) == []


def test_places_run_from_side_to_side_and_blocks_lie_in_their_middle():
    ends = _basis([-0.5, 99.5, 49.5], [-0.5, 199.5, 99.5], (100, 200), 2)
    assert ends.tolist() == [[1, -1, -1, 1, 1, 1], [1, 1, 1, 1, 1, 1], [1, 0, 0, 0, 0, 0]]
    assert _basis([0], [0], (100, 200), 0).tolist() == [[1.0]]
    image = np.arange(200 * 300 * 3, dtype=float).reshape(200, 300, 3)
    mask = np.zeros((200, 300), bool)
    mask[3:9, 6:9] = True  # two whole blocks of three by three
    mask[30:32, 30:33] = True  # a block that is not whole
    means, rows, columns = _blocks(image, mask)
    assert rows.tolist() == [4.0, 7.0] and columns.tolist() == [7.0, 7.0]
    assert means[0] == pytest.approx(image[3:6, 6:9].mean(axis=(0, 1)))


# --- means, pairs, opacity --------------------------------------------------------------------


def _side(picture, clipped=None):
    mask = np.ones(picture.shape[:2], bool)
    light = illumination(np.full((200, 300, 3), 0.4), np.ones((200, 300), bool), 0.8)
    region = Region("it", (0, 0, picture.shape[1], picture.shape[0]), mask)
    return _Side({"it": region}, picture.astype(np.float32), light, clipped)


def test_a_mean_is_as_sure_as_its_sixteenths_agree():
    rng = np.random.default_rng(1)
    picture = 0.3 + 0.02 * rng.standard_normal((80, 80, 3))
    mean, error = _mean(_side(picture), "it")
    assert mean == pytest.approx(np.full(3, 0.3), abs=1e-3)
    # noise averages out: the light's 3 in 1000 of 0.3 and 5 in 10000 are left
    assert error == pytest.approx(np.full(3, np.hypot(0.0009, 0.0005)), rel=0.5)
    # one half 0.1 lighter: sixteenths deviate by 0.05, of which the mean of four rows has half
    halves = picture.copy()
    halves[40:] += 0.1
    mean, error = _mean(_side(halves), "it")
    assert mean == pytest.approx(np.full(3, 0.35), abs=1e-3)
    assert error == pytest.approx(np.full(3, 0.025), rel=0.05)
    across = _mean(_side(halves.transpose(1, 0, 2)), "it")[1]
    assert across == pytest.approx(error, rel=1e-4)
    burnt = np.zeros((80, 80), bool)
    burnt[:4] = True  # a twentieth
    assert _mean(_side(picture, burnt), "it")[0] == pytest.approx(np.full(3, 0.3), abs=1e-3)
    burnt[:5] = True
    with pytest.raises(InputError, match="^it: 6 % of it is burnt out; shoot again a little"):
        _mean(_side(picture, burnt), "it")
    # of eight by eight no sixteenth is large enough to be held against the others
    assert _mean(_side(picture[:8, :8]), "it")[1] == pytest.approx(np.full(3, 0.001), rel=0.1)
    with pytest.raises(InputError, match="^it: too small to measure; mark a larger box"):
        _mean(_side(picture[:7, :7]), "it")


def test_a_pair_is_solved_by_kubelka_s_formula_written_out():
    """Over a ground G cloth shows R + T^2 G / (1 - R G): put in, and taken out again."""
    R, T = np.array([0.3, 0.1, 0.5]), np.array([0.4, 0.05, 0.45])
    over_white, over_black = (R + T**2 * g / (1 - R * g) for g in (0.87, 0.04))
    found = _solve(over_white, over_black, 0.87, np.full(3, 0.04))
    assert found[0] == pytest.approx(R, abs=1e-6) and found[1] == pytest.approx(T, abs=1e-6)
    # error that makes it darker over white than over black lets no light through
    _, none = _solve(np.full(3, 0.2), np.full(3, 0.21), 0.87, np.full(3, 0.04))
    assert none == pytest.approx(np.zeros(3), abs=1e-4)
    # darker than the card it lies on, it reflects nothing
    dark, _ = _solve(np.full(3, 0.5), np.full(3, 0.001), 0.87, np.full(3, 0.04))
    assert dark == pytest.approx(np.zeros(3), abs=1e-6)
    # TAPPI T 425: 100 R0 / R0.89; opaque 100, clear 0, and by hand R 0.3, T 0.4: 0.3 over
    # 0.3 + 0.16 x 0.89 / (1 - 0.267) = 0.4943
    level = np.ones(3)
    assert _opacity(0.5 * level, 0 * level) == pytest.approx(100.0)
    assert _opacity(0 * level, level) == pytest.approx(0.0, abs=1e-9)
    assert _opacity(0.3 * level, 0.4 * level) == pytest.approx(60.7, abs=0.05)


def test_a_measured_colour_tells_itself_and_its_doubt():
    grey = measured_colour(np.full(3, 0.184187), 0.0)
    assert grey.Lab == pytest.approx([50.0, 0.0, 0.0], abs=0.01)  # Y of L* 50 is 18.4187
    assert grey.uncertainty_de == pytest.approx(0.0, abs=1e-9) and grey.in_srgb
    one, two = (measured_colour(np.full(3, 0.18), e).uncertainty_de for e in (0.002, 0.004))
    assert two == pytest.approx(2 * one, rel=0.05) and one > 0.1
    for value, fits in ((-0.0019, True), (-0.0021, False), (1.009, True), (1.011, False)):
        assert measured_colour([0.5, value, 0.5], 0.01).in_srgb is fits
    assert lab_of([[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]])[:, 0] == pytest.approx([0.0, 100.0])


# --- observations -----------------------------------------------------------------------------


def _spectra(white, black, grounds=(0.9, 0.03), error=0.01):
    named = zip(("white", "black"), grounds, strict=True)
    backs = [Backing(name, np.full(BANDS, ground)) for name, ground in named]
    return [o.seen_spectrum(f"over {b.name}", np.full(BANDS, v), error, b)
            for b, v in zip(backs, (white, black), strict=True)]  # fmt: skip


def test_grounds_that_are_no_white_and_no_black_are_refused():
    o.check_grounds(_spectra(0.5, 0.3, (0.401, 0.199)), 0.01)
    o.check_grounds(_spectra(0.3, 0.319), 0.01)  # within two of its errors
    for bad, field, says in (
        (_spectra(0.5, 0.3, (0.39, 0.03)), "--white-ground", "a white ground reflects 0.4 to 1"),
        (_spectra(0.5, 0.3, (0.9, 0.21)), "--black-ground", "a black ground reflects 0 to 0.2"),
        (_spectra(0.3, 0.321), "--over-white and --over-black", "the two names are exchanged"),
    ):
        with pytest.raises(InputError, match=f"^{field}: .*{says}"):
            o.check_grounds(bad, 0.01)
    one = _spectra(0.5, 0.3)[:1]
    o.check_grounds(one, 0.01)
    o.check_grounds(_spectra(0.5, 0.3, (0.4, 0.2)), 0.01)  # though 41 of 0.4 have a mean below it


def test_an_instrument_s_bands_err_together():
    seen = o.seen_spectrum("it", np.full(BANDS, 0.3), 0.02, WHITE)
    own = seen.covariance - np.diag((o.MODEL_SHARE * np.full(BANDS, 0.3)) ** 2)
    assert np.diag(own) == pytest.approx(np.full(BANDS, 0.02**2))
    near = own[20] / own[20, 20]
    assert near[21] > near[24] > near[30] and near == pytest.approx(near[::-1][:41], abs=1e-9)
    # one width apart nine tenths of exp(-1/2)
    steps = int(o.SPECTRUM_TOGETHER / 10)
    assert near[20 + steps] == pytest.approx(0.9 * np.exp(-0.5), abs=1e-9)


def test_a_camera_s_channels_are_white_s_in_any_light():
    for light in ("daylight", "tungsten"):
        lit = channels_in_light(camera_channels(), light_spectrum(light))
        assert lit @ np.ones(BANDS) == pytest.approx(np.ones(3))
        assert lit @ np.full(BANDS, 0.25) == pytest.approx(np.full(3, 0.25))


def test_threads_say_what_they_were_seen_on():
    loose = o.thread_colour("warp", [0.3, 0.2, 0.1], [0.01] * 3, shade=0.1)
    assert loose.name == "warp thread" and not loose.opaque and loose.grounds == (0.87, 0.04)
    assert loose.covariance[0, 1] == pytest.approx(0.01 * 0.06)
    assert loose.covariance[0, 0] == pytest.approx(1e-4 + 0.01 * 0.09 + 1e-6)
    hank = o.thread_spectrum("weft", np.full(BANDS, 0.3), 0.02)
    assert hank.opaque and hank.grounds == () and hank.covariance.shape == (BANDS, BANDS)
    assert o.thread_colour("weft", [0.3] * 3, [0.01] * 3, opaque=True, grounds=()).opaque
    with pytest.raises(InputError, match="^warp: loose threads were seen on some ground"):
        o.thread_colour("warp", [0.3] * 3, [0.01] * 3, grounds=())
    for make in (o.thread_colour, lambda s, v, e: o.thread_spectrum(s, np.full(BANDS, 0.3))):
        with pytest.raises(InputError, match="'selvedge' is no yarn system; use warp or weft"):
            make("selvedge", [0.3] * 3, [0.01] * 3)


# --- open share -------------------------------------------------------------------------------


@pytest.mark.parametrize("bare", [1, 2])
@pytest.mark.parametrize("ground", [1.0, 0.02])
def test_bare_ground_is_counted(bare, ground):
    picture = np.full((120, 120, 3), 0.3)
    picture[:, :, 1] = 0.2
    for k in range(bare):
        picture[:, k::5] = ground
    share, error = open_share(picture, ground)
    assert share == pytest.approx(bare / 5, abs=1e-9) and error == 0.02  # no edge between
    grey, _ = open_share(picture[..., 0], ground)
    assert grey == pytest.approx(bare / 5, abs=1e-9)
    # a soft edge is doubted by what lies between a third and two thirds of the way
    soft = picture.copy()
    soft[:, 4::5] = 0.5 * (picture[:, 3::5] + ground)
    assert open_share(soft, ground)[1] == pytest.approx(0.2, abs=0.01)
    for alike in (0.3, 0.33):
        with pytest.raises(InputError, match="the backing looks like the yarn"):
            open_share(np.full((120, 120), 0.3), alike)


@pytest.mark.parametrize("order", [0, 1, 2])
def test_the_light_is_told_at_the_middle_of_each_pixel(order):
    """Alike over the whole picture and place by place; places run from side to side, so that the
    first and the last pixel lie half a pixel within."""
    rng = np.random.default_rng(order)
    terms = (1, 3, 6)[order]
    shape, coefficients = (7, 12), rng.uniform(-1.0, 1.0, (terms, 3))
    light = Illumination(coefficients, order, shape, 0.87, 0.01, np.zeros(3), 0.0,
                         np.zeros((3, terms, terms)))  # fmt: skip
    y = np.linspace(-1.0 + 1.0 / 7.0, 1.0 - 1.0 / 7.0, 7)[:, None, None]
    x = np.linspace(-1.0 + 1.0 / 12.0, 1.0 - 1.0 / 12.0, 12)[None, :, None]
    parts = (1.0, x, y, x * x, x * y, y * y)[:terms]
    log = sum(c * part for c, part in zip(coefficients, parts, strict=True))
    assert light.field() == pytest.approx(np.broadcast_to(np.exp(log), (7, 12, 3)), rel=1e-5)
