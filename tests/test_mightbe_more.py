"""What a look might truly be: the signs and sizes of single errors, one at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_layer_optics import cloth

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.perception import LOOK, would_see
from weavecolor.colour.screen import camera_channels, channels_in_light
from weavecolor.decide.compare import _settled_by
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics import fitted, mightbe, mightbe_build, mightbe_sheen
from weavecolor.optics.ovalrod import thrown
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import Known, known_of
from weavecolor.scene.backings import PAPER, Backing, backing
from weavecolor.scene.places import scene
from weavecolor.textile.construction import covers, natural_share, share_range
from weavecolor.textile.fibres import fibre
from weavecolor.textile.howknown import HowKnown

pytestmark = pytest.mark.usefixtures("few_rays")

WINDOW = scene("window at the side")
PAPERS = ("white", 0.87), ("pale", 0.8)  # as cloth is photographed on
WHITE, PALE = (Backing(name, np.full(41, rho), replace(PAPER, doubt=1.0)) for name, rho in PAPERS)


def _way(light, grain_deg, square=False):
    return mightbe_sheen._way(light.way[:2], grain_deg, square)


def test_more_dye_is_a_darker_look_and_less_a_lighter():
    """Of a cloth whose dye alone is open: draws of more dye are darker, over black and white."""
    made = replace(
        cloth(warp=0.35, weft=0.35, ends=60.0, picks=50.0),
        known={f"{s}.colour": HowKnown.assumed(0.0, 1.0) for s in ("warp", "weft")},
    )
    over = [backing("black"), backing("white")]
    more = mightbe_build._dyes(made).mean(axis=(1, 2))
    for drawn in mightbe.lots(Stack((Layer(made),)), over, WINDOW):
        assert np.ptp(drawn[:, 0]) > 2.0
        assert np.corrcoef(more, drawn[:, 0])[0, 1] < -0.8


def test_errors_of_sheen_go_with_the_way_the_light_comes_over_the_cloth():
    lamp = WINDOW.lights[0]
    for zenith in (0.0, 20.0, 45.0, 75.0):
        for turn in (0.0, 30.0, 90.0):
            one = replace(lamp, azimuth_deg=turn, zenith_deg=zenith)
            way = _way(one, 0.0)
            assert (way**2).sum() == pytest.approx(1.0)
            # turned with the cloth it is the same, and from the other side of the warp or weft
            turned = replace(one, azimuth_deg=turn + 50.0)
            assert _way(turned, 50.0) == pytest.approx(way)
            for mirrored in (-turn, 180.0 - turn, 180.0 + turn):
                assert _way(replace(one, azimuth_deg=mirrored), 0.0) == pytest.approx(way)
            # a quarter turn changes warp and weft over, but of light from straight ahead
            assert _way(one, 90.0)[1:] == pytest.approx(way[1:, ::-1])
            assert _way(one, 90.0)[0] == pytest.approx(way[0])
    high, low, near = (
        _way(replace(lamp, zenith_deg=z), 0.0).ravel() for z in (25.0, 60.0, 55.0)
    )
    assert high @ low < 0.1 < 0.9 < low @ near  # far apart in height they err each by itself


def test_light_from_where_the_eye_is_tells_no_grain_from_another():
    """Cloth turned about the line along which it is seen and lit is seen and lit as before."""
    lamp = WINDOW.lights[0]
    ahead = replace(lamp, zenith_deg=0.0)
    flash = replace(WINDOW, lights=(ahead,))
    made = replace(
        cloth(warp=0.2, weft=0.7, ends=60.0, picks=30.0, filaments=12),
        known={f"{s}.packing": HowKnown.assumed(0.5, 0.8) for s in ("warp", "weft")},
    )
    lamps = [replace(ahead, azimuth_deg=turn) for turn in (0.0, 77.0)]
    ways = [_way(one, grain) for one in lamps for grain in (0.0, 45.0)]
    assert all(way == pytest.approx(ways[0]) for way in ways)
    black = [replace(backing("black"), reflectance=np.zeros(41))]
    apart = {}
    for name, place in (("ahead", flash), ("aside", WINDOW)):
        straight, turned = (
            mightbe.lots(Stack((Layer(made, g),)), black, place)[0] for g in (0.0, 90.0)
        )
        apart[name] = np.std((straight - turned)[:, 0])
    assert apart["ahead"] < 0.05 * apart["aside"]


def test_errors_of_sheen_go_with_the_slope_that_mirrors_a_light_to_the_eye():
    """A mirror sends a light to the eye where its normal lies half way between the two (any
    textbook of optics): eye and light turned apart about that line are met by the same slopes."""
    lamp = replace(WINDOW.lights[0], zenith_deg=50.0, azimuth_deg=90.0)
    ahead = replace(WINDOW, view_zenith_deg=0.0)
    assert mightbe_sheen._straight(lamp, ahead) == (50.0, 90.0)
    for eye, light in ((10.0, 40.0), (20.0, 30.0), (25.0, 25.0)):
        seen = replace(WINDOW, view_zenith_deg=eye, view_azimuth_deg=90.0)
        found = mightbe_sheen._straight(replace(lamp, zenith_deg=light), seen)
        assert found == pytest.approx((50.0, 90.0))
    # light and eye as far to either side: the cloth itself is the mirror
    facing = replace(WINDOW, view_zenith_deg=50.0, view_azimuth_deg=270.0)
    assert mightbe_sheen._straight(lamp, facing)[0] == pytest.approx(0.0, abs=1e-6)


def _shines(told, other):
    """What sheen of ``told`` hangs on, and as the only draw that of ``other``."""
    one, two = (mightbe_sheen._shine_of(each) for each in (told, other))
    pairs = {key: np.stack([getattr(one, key)[:, 0], getattr(two, key)[:, 0]], axis=1)
             for key in ("slopes", "covers")}  # fmt: skip
    yarns = tuple(
        replace(a, ratios=np.array([a.ratios[0], b.ratios[0]])) if hasattr(a, "ratios") else a
        for a, b in zip(one.yarns, two.yarns, strict=True)
    )
    return replace(one, **pairs, yarns=yarns)


def _moves(shine, lamp, grain, told, even=0.3):
    """By how much more, in logarithms, the other cloth sends back of a lamp."""
    sends = shine.sends(lamp, (0.0, 0.0), Layer(told, grain), np.full(41, even))
    return np.log(sends[1] / sends[0])


@pytest.mark.usefixtures("half_rays")
@pytest.mark.parametrize("filaments", [1, 12])
def test_sheen_moves_with_how_warp_and_weft_share_their_crimp(filaments):
    """Against the cloth traced anew, in each grain, by lights from the side, high and low: what it
    sends back of each, against what it would were they even, and how that moves. Slopes tell two
    thirds of that (in squares) at least; the rest is said to be unsure by itself."""
    told = cloth(warp=0.6, weft=0.6, ends=40.0, picks=36.0, tex=4.0, filaments=filaments,
                 warp_share=0.5)  # fmt: skip
    ways = [(zenith, half) for zenith in (35.0, 55.0) for half in (10.0, 20.0)]
    lamps = [replace(WINDOW.lights[0], zenith_deg=z, half_deg=h) for z, h in ways]
    places = [replace(WINDOW, lights=(lamp,)) for lamp in lamps]

    def seen(one):
        each = [mightbe._sent_of_each(Stack((Layer(one, g),)), places) for g in (0.0, 45.0, 90.0)]
        rods = filaments == 1  # all is told of what they send, not beyond even light
        return np.log([[(sent / (1.0 if rods else even)).mean() for sent, even in found]
                       for found in each])  # fmt: skip

    before, moved, said = seen(told), [], []
    for share in (0.32, 0.68):
        other = replace(told, warp_share=share)
        shine = _shines(told, other)
        moved.append(seen(other) - before)
        said.append([[_moves(shine, lamp, g, told)[20] for lamp in lamps]
                     for g in (0.0, 45.0, 90.0)])  # fmt: skip
    moved, said = np.ravel(moved), np.ravel(said)
    assert np.std(moved) > 0.2
    assert np.corrcoef(moved, said)[0, 1] > 0.8
    assert np.square(moved - said).sum() < np.square(moved).sum() / 3.0


@pytest.mark.usefixtures("half_rays")
@pytest.mark.parametrize("was, flattening", [(1.35, 1.15), (1.35, 1.6), (1.0, 1.08)])
def test_sheen_of_rods_moves_with_how_oval_they_are(was, flattening):
    """Against cloth of rods otherwise oval, traced anew, straight and on the bias, by lights from
    the side that find another way through them: of what moves, in squares, a tenth is left."""
    round_ = cloth(warp=0.6, weft=0.6, ends=40.0, picks=36.0, tex=2.0, filaments=1, warp_share=0.5)
    told, other = (
        replace(round_, **{
            name: replace(getattr(round_, name), flattening=oval) for name in ("warp", "weft")
        })
        for oval in (was, flattening)
    )  # fmt: skip
    lamps = [replace(WINDOW.lights[0], zenith_deg=z, half_deg=10.0) for z in (20.0, 35.0, 55.0)]
    places = [replace(WINDOW, lights=(lamp,)) for lamp in lamps]

    def seen(one):
        each = [mightbe._sent_of_each(Stack((Layer(one, g),)), places) for g in (0.0, 30.0)]
        return np.log([[sent.mean() for sent, _ in found] for found in each])

    shine = _shines(told, other)
    moved = (seen(other) - seen(told)).ravel()
    said = np.ravel([[_moves(shine, lamp, g, told, 0.1)[20] for lamp in lamps]
                     for g in (0.0, 30.0)])  # fmt: skip
    assert np.abs(moved).max() > 0.5
    assert np.square(moved - said).sum() < 0.1 * np.square(moved).sum()


def test_what_slopes_tell_of_sheen_goes_with_the_cloth_and_not_with_what_is_told_twice():
    """By symmetry: turned with the light it is the same, a light from the other side too; where
    warp and weft change places, straight and cross do; and slopes as told change nothing."""
    told = cloth(warp=0.5, weft=0.5, filaments=12, warp_share=0.5)
    lamp = replace(WINDOW.lights[0], zenith_deg=55.0, half_deg=15.0)
    shine = _shines(told, replace(told, warp_share=0.3))

    def by(azimuth, grain, one=shine):
        return _moves(one, replace(lamp, azimuth_deg=azimuth % 360.0), grain, told)[0]

    for turn in (0.0, 30.0, 45.0, 90.0):
        assert by(turn + 40.0, 40.0) == pytest.approx(by(turn, 0.0))
        for mirrored in (-turn, 180.0 - turn, 180.0 + turn):
            assert by(mirrored, 0.0) == pytest.approx(by(turn, 0.0))
        other = _shines(told, replace(told, warp_share=0.7))
        assert by(turn, 0.0, other) == pytest.approx(by(turn, 90.0))
        assert by(turn, 0.0, _shines(told, told)) == 0.0
    assert abs(by(0.0, 0.0)) > 0.05


def test_what_is_sent_back_of_each_light_adds_to_the_look_without_even_light():
    """Light adds (any textbook of optics): lamp by lamp and the even light are the whole."""
    made = Stack((Layer(cloth(warp=0.4, weft=0.3)), Layer(cloth(warp=0.5), 90.0)))
    hall = scene("ballroom")
    dull = replace(hall, lights=())
    twice = replace(hall, lights=tuple(
        replace(x, irradiance=2.0 * x.irradiance) for x in hall.lights))  # fmt: skip
    black = replace(backing("black"), reflectance=np.zeros(41))
    (whole, even) = (mightbe.radiances(made, [black], [s])[0][0] for s in (hall, dull))
    (each, all_round), (none, _), (double, _) = mightbe._sent_of_each(made, [hall, dull, twice])
    assert each.shape == (len(hall.lights), 41) and none.shape == (0, 41)
    assert each.sum(axis=0) + even == pytest.approx(whole, rel=1e-6)
    assert double == pytest.approx(2.0 * each, rel=1e-9)
    # and as much of it would come back, were it even, as of the even light
    assert all_round == pytest.approx(even / hall.diffuse, rel=1e-6)


def test_cloth_that_is_the_same_mirrored_in_its_bias_errs_alike_straight_and_cross():
    """By symmetry: what nobody knows of yarn that is warp and weft alike shows the same along both,
    as far as they are alike (.7 of the variance). Of any light as much is unsure in all as before,
    and nothing is alike where one system is on top more often, or is other yarn, or lies closer."""
    lamp = WINDOW.lights[0]
    for turn in (0.0, 20.0, 30.0, 45.0, 80.0):
        one, other = (_way(replace(lamp, azimuth_deg=a), 0.0, True)
                      for a in (turn, 90.0 - turn))  # fmt: skip
        assert np.square(one).sum() == pytest.approx(1.0)
        assert other[1:] == pytest.approx(one[1:, ::-1])
    straight, cross = (_way(lamp, grain, True) for grain in (0.0, 90.0))
    assert (straight * cross).sum() == pytest.approx(mightbe_build.ALIKE, abs=0.02)
    assert (_way(lamp, 0.0) * _way(lamp, 90.0)).sum() == pytest.approx(0.0)
    plain, satin = load_swatch("silk-chiffon-ivory"), load_swatch("silk-satin-gold")
    taffeta, dupion = load_swatch("shot-taffeta-green-red"), load_swatch("shot-dupion-blue-gold")
    assert mightbe_sheen._square(plain)
    assert not any(map(mightbe_sheen._square, (satin, taffeta, dupion)))
    rods, spun = load_swatch("polyester-organza-blue"), load_swatch("cotton-voile-white")
    assert not mightbe_sheen._square(rods) and not mightbe_sheen._square(spun)
    assert not mightbe_sheen._square(replace(plain, picks_per_cm=0.7 * plain.ends_per_cm))


def test_a_light_half_behind_the_cloth_adds_its_front_half_wherever_it_is_told():
    """Radiance adds up (ISO 80000-7), in whatever order lights stand."""
    made = Stack((Layer(cloth(warp=0.4, weft=0.3)),))
    along = replace(WINDOW.lights[0], zenith_deg=90.0)
    places = [
        replace(WINDOW, lights=lights)
        for lights in ((along, *WINDOW.lights), (*WINDOW.lights, along), WINDOW.lights)
    ]
    alone = replace(WINDOW, lights=(along,), diffuse=np.zeros_like(WINDOW.diffuse))
    assert len(places[0].in_front) == 2 and len(places[0].behind) == 1
    one, other, own, half = (
        mightbe.radiances(made, [WHITE], [s])[0][0] for s in (*places, alone)
    )
    assert one == pytest.approx(other, rel=1e-9)
    assert one == pytest.approx(own + half, rel=1e-9)
    drawn = mightbe.lots(made, [WHITE], places[0])[0]
    assert np.isfinite(drawn).all()


def test_the_brighter_the_sheen_the_less_sure_it_is():
    """Of cloth whose build is assumed, by one lamp alone and by even light alone: draws by the lamp
    are farther apart, in shares of the light."""
    made = replace(
        cloth(warp=0.5, weft=0.5, ends=60.0, picks=50.0, filaments=12),
        known={f"{s}.packing": HowKnown.assumed(0.5, 0.8) for s in ("warp", "weft")},
    )
    lamp = replace(WINDOW, diffuse=np.zeros(41))
    even = replace(WINDOW, lights=())
    black = [replace(backing("black"), reflectance=np.zeros(41))]
    wide = []
    for place in (lamp, even):
        (drawn,) = mightbe.lots(Stack((Layer(made),)), black, place)
        Y = ((16.0 + drawn[:, 0]) / 116.0) ** 3
        wide.append(np.std(np.log(Y)))
    assert 0.05 < wide[1] < 0.7 * wide[0]


def test_draws_have_the_spread_and_the_kinship_that_is_said():
    same = cloth(warp=0.3, weft=0.3)
    apart = cloth(warp=0.3, weft=0.6)
    # a dye goes otherwise onto another fibre, also where it looks the same
    union = replace(same, weft=replace(same.weft, fibre=fibre("polyester")))
    for made, alike in ((same, mightbe_build.ALIKE), (apart, 0.0), (union, 0.0)):
        drawn = mightbe_build._dyes(made)
        assert drawn.shape == (mightbe_build.DRAWS, 2, 41)
        assert drawn.std() == pytest.approx(1.0, abs=0.12)
        assert abs(drawn.mean()) < 0.2
        together = np.mean(drawn[:, 0] * drawn[:, 1])
        assert together == pytest.approx(alike, abs=0.2)
        # half of the variance is one error for all wavelengths
        far = np.mean(drawn[:, :, 0] * drawn[:, :, -1])
        assert far == pytest.approx(0.5, abs=0.2)
        assert np.mean(drawn[:, :, 0] * drawn[:, :, 1]) > 0.8
    assert np.array_equal(mightbe_build._dyes(same), mightbe_build._dyes(cloth(warp=0.3, weft=0.3)))


def test_the_ninth_tenth_of_draws_is_what_is_stated():
    look = np.array([50.0, 0.0, 0.0])
    drawn = np.tile(look, (200, 1))
    drawn[:, 0] += np.linspace(0.0, 4.0, 200)
    at = ciede2000(look, look + [3.6, 0.0, 0.0])  # nine tenths of the way
    assert mightbe.open_colour(look, drawn) * 1.645 == pytest.approx(float(at), rel=1e-3)
    other = look + [10.0, 0.0, 0.0]
    still = np.tile(other, (200, 1))
    miss = mightbe.open_difference((look, drawn), (other, still))
    whole = ciede2000(look, other)
    want = np.quantile(np.abs(ciede2000(drawn, still) - whole), 0.9)
    assert float(miss) * 1.645 == pytest.approx(float(want))
    # what both share goes out
    moved = drawn + [10.0, 0.0, 0.0]
    assert float(mightbe.open_difference((look, drawn), (other, moved))) < 0.3 * float(miss)


def test_uncertain_colours_leave_less_open_of_small_differences():
    known = Known(False, False, colours=1.0, apart=1.6)
    ways = [known.colours_of(("backing",), d) for d in (1e-9, 0.01, 1.0, 2.0, 50.0)]
    assert ways[0] == 0.0
    assert 0.0 < ways[1] < ways[2] < ways[3] <= ways[4] == 1.0
    # seen in two lights whole; turned, warp may differ from weft
    assert known.colours_of(("scene",), 0.01) == 1.0
    assert known.colours_of(("grain",), 0.01) == 1.6 == known.colours_of((), 0.01)


def fitted_from(made, root):
    """``made`` as if a fit had left its numbers open by ``root``."""
    kept = HowKnown.fitted(root=root[np.tril_indices(len(root))])
    return replace(made, known={"foretold": kept})


def test_what_two_looks_of_a_fitted_cloth_share_cancels():
    made = cloth(warp=0.5, weft=0.3, ends=40.0, picks=36.0, filaments=12)
    root = np.diag(np.r_[np.full(fitted.SLOW, 0.1), np.full(2 * fitted.KNOTS.size, 0.3)])
    mine = fitted_from(made, root)
    single = Stack((Layer(mine),))
    grounds = [backing("white"), backing("calico")]
    white, calico = mightbe.lots(single, grounds, WINDOW)
    looks = [one.mean(axis=0) for one in (white, calico)]
    alone = mightbe.open_colour(looks[0], white)
    apart = float(mightbe.open_difference((looks[0], white), (looks[1], calico)))
    assert 0.5 < alone and apart < 0.4 * alone
    # a fit whose file keeps nothing counts as a build that was only assumed
    forgotten = replace(made, known={"foretold": HowKnown.fitted(2.0)})
    assert known_of([forgotten]).yarn_left == 1.0 and known_of([mine]).yarn_left == 0.0
    assert fitted.left_open(forgotten) is None


def photographed(made, wide):
    """``made``, whose dyes a fit left open, as if seen as it is over white, to ``wide``."""
    root = np.diag(np.r_[np.full(fitted.SLOW, 1e-3), np.full(2 * fitted.KNOTS.size, 0.1)])
    mine = fitted_from(made, root)
    light = mightbe.illumination(WINDOW)
    channels = channels_in_light(camera_channels(), light) / light
    ((look,),) = mightbe.radiances(Stack((Layer(mine),)), [WHITE], [WINDOW])
    looks = fitted.Looks(((0.0, True, 0.87),), (channels @ look)[None], wide**2 * np.eye(3))
    how = HowKnown.fitted(root=looks.told())
    return replace(mine, known=(*mine.known, ("photographed", how)))


def test_draws_keep_to_the_pictures_and_to_what_goes_with_them(monkeypatch):
    """A conditional normal distribution (any textbook of statistics): where it was seen a cloth is
    no wider than it was seen, and over a ground where it looks much the same hardly wider; pictures
    that are less sure than the draws change nothing."""
    monkeypatch.setattr(mightbe_sheen, "GLINT", dict.fromkeys(mightbe_sheen.GLINT, 0.0))
    made = cloth(warp=0.5, weft=0.3, ends=40.0, picks=36.0, filaments=12)
    spread = {}
    for wide in (0.002, 0.006, 9.0):
        mine = photographed(made, wide)
        both = mightbe.lots(Stack((Layer(mine),)), [WHITE, PALE], WINDOW)
        for ground, drawn in zip(("white", "pale"), both, strict=True):
            spread[wide, ground] = np.std(((16.0 + drawn[:, 0]) / 116.0) ** 3)
    blind = replace(mine, known={"foretold": dict(mine.known)["foretold"]})
    (drawn,) = mightbe.lots(Stack((Layer(blind),)), [WHITE], WINDOW)
    most = np.std(((16.0 + drawn[:, 0]) / 116.0) ** 3)
    assert spread[9.0, "white"] == pytest.approx(most, rel=1e-6)
    assert most > 0.01
    # of three channels with the same unsureness, luminance has sqrt(.21^2 + .72^2 + .07^2)
    for wide in (0.002, 0.006):
        assert spread[wide, "white"] == pytest.approx(0.75 * wide, rel=0.25)
        assert spread[wide, "pale"] < 1.3 * spread[wide, "white"]


@pytest.mark.parametrize(("open_", "filaments"), [(0.04, 1), (0.02, 12)])
def test_what_smooth_yarn_mirrors_stays_open_where_it_was_photographed(
    open_, filaments, monkeypatch
):
    """Of a deep dye, pictures sure to a thousandth: what is left is the share of the light that
    comes from the window times what is left open of it; in even light hardly more than before."""

    def left(ends):
        made = cloth(warp=0.03, weft=0.03, ends=ends, picks=36.0, tex=4.0, filaments=filaments)
        # few rays tell what round filaments mirror well enough
        smooth = {x: replace(getattr(made, x), section=1.0) for x in ("warp", "weft")}
        stack = Stack((Layer(photographed(replace(made, **smooth), 0.001)),))
        return [
            np.std(((16.0 + mightbe.lots(stack, [WHITE], place)[0][:, 0]) / 116.0) ** 3)
            for place in (WINDOW, scene("overcast"))
        ]

    window, even = left(40.0)
    assert window == pytest.approx(np.hypot(0.00075, 0.7 * open_), rel=0.25)
    monkeypatch.setattr(mightbe_sheen, "GLINT", dict.fromkeys(mightbe_sheen.GLINT, 0.0))
    before = left(40.001)  # no kept answer is of it
    assert even < max(1.3 * before[1], np.hypot(before[1], 0.2 * window))
    assert before[0] < 0.2 * window


def test_what_is_not_smooth_or_was_not_fitted_mirrors_as_it_is_told():
    root = np.diag(np.r_[np.full(fitted.SLOW, 1e-3), np.full(2 * fitted.KNOTS.size, 0.1)])
    voile, organza = load_swatch("cotton-voile-white"), load_swatch("shot-organza-red-black")
    glint_of = mightbe_sheen.glint_of
    assert glint_of(fitted_from(voile, root)) == 0.0 == glint_of(organza)
    assert glint_of(fitted_from(organza, root)) == 0.04


def test_what_was_photographed_is_kept_in_numbers_and_odd_numbers_are_nothing():
    rng = np.random.default_rng(3)
    lies = ((0.0, True, 0.87), (90.0, False, 0.05))
    spread = rng.normal(size=(6, 6))
    looks = fitted.Looks(lies, rng.uniform(size=(2, 3)), spread @ spread.T + np.eye(6))
    told = looks.told()
    made = cloth()

    def kept(numbers):
        how = HowKnown.fitted(root=numbers)
        return fitted.looks_of(replace(made, known={"photographed": how}))

    again = kept(told)
    assert again.lies == lies
    assert again.values == pytest.approx(looks.values, rel=1e-3)
    assert again.covariance == pytest.approx(looks.covariance, rel=2e-3, abs=2e-3)
    assert fitted.looks_of(made) is None
    assert kept(told[:-1]) is None and kept([*told, 0.1]) is None
    for at, wrong in ((0, 200.0), (2, 1.5), (3, -9.0), (12, 0.0)):
        assert kept([*told[:at], wrong, *told[at + 1 :]]) is None


@pytest.mark.parametrize("share", [None, 0.2, 0.45, 0.8])
def test_a_cloth_shaped_anew_keeps_how_its_yarns_share_their_crimp(share):
    start = cloth(filaments=9, warp_share=share)
    x = np.zeros(fitted.SIZE)
    x[:2] = fitted.logit(covers(start))  # as wide as they are
    made = fitted.Varied(start, np.zeros((2, 41))).shaped(x)
    low, high = share_range(made)
    assert low < 0.2 and high > 0.8
    assert made.warp_share == pytest.approx(natural_share(made) if share is None else share)
    # so close that only some shares are left: the nearest
    tight = cloth(filaments=9, ends=90.0, picks=40.0, warp_share=share)
    x[:2] = fitted.logit(covers(tight))
    made = fitted.Varied(tight, np.zeros((2, 41))).shaped(x)
    low, high = share_range(replace(made, warp_share=None))
    wanted = natural_share(made) if share is None else share
    assert made.warp_share == pytest.approx(np.clip(wanted, low, high))


def test_a_grain_that_no_picture_showed_is_answered_with_the_picture_to_take():
    made = cloth(warp=0.5, weft=0.3, ends=40.0, picks=36.0, filaments=12)
    mine = photographed(made, 0.02)
    looks = fitted.looks_of(mine)
    lies = (*looks.lies, (90.0, True, 0.87))
    both = fitted.Looks(lies, np.repeat(looks.values, 2, axis=0), 4e-4 * np.eye(6))
    known = dict(mine.known) | {"photographed": HowKnown.fitted(root=both.told())}
    turned = replace(mine, known=known)
    said = [_settled_by(changed, [one]) for one in (mine, turned, made) for changed in (["grain"],)]
    assert "photograph it turned a quarter" in said[0]
    assert said[1:] == [LOOK, LOOK] and _settled_by(["layers"], [mine]) == LOOK
    verdict = would_see(1.0, 5.0, said[0])
    assert verdict.sees is None and "photograph it turned a quarter too, or lay" in verdict.words


def test_a_step_that_leads_away_is_halved():
    """Where what is left answers a step threefold, whole steps leave more each time (-2, 4, -8); in
    one row it answers as told, in one it runs beyond all numbers, in one nothing helps."""
    wanted = np.array([[1.0], [1.0], [1.0], [1.0]])

    def left(at):
        return wanted - np.concatenate(
            [at[:1], 3.0 * at[1:2], np.expm1(1e4 * at[2:3]), 0.0 * at[3:]]
        )

    ended = mightbe._ended(left, wanted)
    assert ended[0] == pytest.approx(1.0)
    assert abs(left(ended)[1, 0]) <= 0.25 and np.all(ended[2:] == 0.0)


def test_what_satin_mirrors_to_the_eye_does_not_go_to_and_fro_between_its_layers():
    """Two sheets send back, of light that goes to and fro as even light, the sum over its rounds
    (P. Kubelka, JOSA 44 (1954) 330); by a window pale satin sends more to the eye than a white
    card, which no even light does, and three layers are about as unsure as one."""
    one, two = np.array([0.9, 0.2, 0.6]), np.array([1.1, 0.3, 0.5])
    back, let = mightbe._one_under_the_other([x[None, :, None] for x in (one, two)])[0, :, 0]
    rounds = [(0.6 * 0.5) ** n for n in range(40)]
    assert back == pytest.approx(0.9 + 0.2 * 1.1 * sum(rounds))
    assert let == pytest.approx(0.2 * 0.3 * sum((n + 1) * x for n, x in enumerate(rounds)))

    satin = replace(load_swatch("silk-satin-gold"), known={})
    satin = replace(
        satin, known={f"{s}.colour": HowKnown.assumed(0.0, 1.0) for s in ("warp", "weft")},
        warp=replace(satin.warp, colour=np.full(41, 0.8), absorption=None),
    )  # fmt: skip
    single, thrice = (
        mightbe.lots(Stack((Layer(satin),) * n), [WHITE], WINDOW)[0][:, 0] for n in (1, 3)
    )
    assert single.mean() > 95.0
    assert np.std(thrice) < 1.5 * np.std(single)
    assert np.std(thrice - single) < np.std(single)


def test_light_from_behind_makes_what_comes_through_no_less_sure():
    """What a layer hinders is a share of what falls on it: a light box behind, with a little even
    light in front or none at all, is no light on the side that is seen. By symmetry as in even
    light."""
    gauze = replace(load_swatch("stage-gauze-black"), known={
        f"{s}.flattening": HowKnown.assumed(1.0, 1.6) for s in ("warp", "weft")
    })  # fmt: skip
    boxed = scene("lightbox behind")
    alone = replace(boxed, diffuse=np.zeros(41))
    (_, usual), (_, little), (_, none) = mightbe._of_layers(
        Stack((Layer(gauze),) * 2), [scene("overcast"), boxed, alone]
    )
    assert np.std(usual) > 1e-3
    assert little == pytest.approx(usual, rel=0.02, abs=1e-6)
    assert none == pytest.approx(usual, rel=1e-6, abs=1e-9)


def test_rods_as_oval_as_others_between_throw_what_lies_between():
    ratios = np.exp(np.linspace(0.05, 0.55, 101))
    oval = mightbe_sheen._Oval(1.56, np.linspace(0.0, 1.0, 41), ratios)
    for turn in (0.7, 1.2):
        found = oval.thrown(0.2, turn, 0.12)
        true = thrown(ratios, 1.56, 0.2, turn, 0.12, oval.depth)
        step = np.abs(np.diff(true, axis=0)).max()  # a fifth of one node to the next
        assert np.abs(found - true).max() < 1.5 * step
        assert np.ptp(true[:, 0]) > 8.0 * step


def test_twist_leaves_half_of_what_lies_untwisted_at_the_slant_that_is_said(monkeypatch):
    made = cloth(warp=0.4, weft=0.4, ends=40.0, picks=36.0, filaments=24)
    flat, half, steep = (
        monkeypatch.setattr(mightbe_sheen, "_slant", lambda one, s=s: s)
        or mightbe_sheen._shine_of(made).astray
        for s in (0.0, mightbe_sheen._STEEP, 1e6)
    )
    own, more = mightbe_sheen._SHEEN, mightbe_sheen._UNTWISTED
    assert (flat, half, steep) == pytest.approx(
        (np.hypot(own, more), np.hypot(own, 0.5 * more), own)
    )


def test_pictures_hold_pale_cloth_no_closer_than_what_it_may_have_mirrored(monkeypatch):
    """What a smooth yarn mirrors to the camera is light like any other: twice as much of it that is
    open leaves twice as much of the look open, where the pictures themselves are far surer."""
    made, left = cloth(warp=0.5, weft=0.3, ends=40.0, picks=36.0, filaments=12), []
    for glint, wide in ((0.003, 3e-4), (0.006, 3.1e-4)):  # no kept answer is of both
        monkeypatch.setattr(mightbe_sheen, "GLINT", dict.fromkeys(mightbe_sheen.GLINT, glint))
        (drawn,) = mightbe.lots(Stack((Layer(photographed(made, wide)),)), [WHITE], WINDOW)
        left.append(np.std(((16.0 + drawn[:, 0]) / 116.0) ** 3))
    assert left[1] / left[0] == pytest.approx(2.0, rel=0.15)
    assert left[0] < 0.005
