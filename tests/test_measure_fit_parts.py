"""The small parts of the fit, by hand: light, priors, surfaces, where it begins, wound cards."""

from __future__ import annotations

import time
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from test_layer_optics import cloth

from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.measure import grid
from weavecolor.measure import parameters as p
from weavecolor.measure.fit import _BETTER, _as_it_fits, _dyed, _posterior
from weavecolor.measure.fit_problem import (
    Problem,
    _known,
    _sight,
    _wound,
    mixture,
    start_unknowns,
)
from weavecolor.measure.fit_report import _PROPERTIES, _advice, _drawn, _trades, given
from weavecolor.measure.fit_surface import Traced, _terms, smooth
from weavecolor.measure.gridwords import grid_report, grid_table
from weavecolor.measure.observations import (
    KNOWN,
    Known,
    seen_colour,
    seen_spectrum,
    thread_colour,
    thread_spectrum,
)
from weavecolor.measure.threads import ThreadCount
from weavecolor.measure.tocloth import start_cloth, start_told
from weavecolor.optics import fitted, mightbe, mightbe_build
from weavecolor.optics.appearance import radiances
from weavecolor.optics.dye import wound_colour
from weavecolor.optics.fitted import SPAN, places
from weavecolor.optics.onelayer import OneLayer, Openness, thread_grid
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing, backing
from weavecolor.scene.places import scene
from weavecolor.textile.construction import covers
from weavecolor.textile.howknown import HowKnown

WHITE = Backing("white", np.full(BANDS, 0.8))


@pytest.mark.parametrize("share", [0.1, 0.5, 0.93])
def test_light_is_neither_lost_nor_made_where_its_mixture_is_doubted(share):
    for off in (-3.0, -0.5, 0.0, 0.7, 2.0):
        lamp, sky, lamp_slope, sky_slope = mixture(share, 0.08, off)
        assert share * lamp + (1 - share) * sky == pytest.approx(1.0)
        assert share * lamp_slope + (1 - share) * sky_slope == pytest.approx(0.0, abs=1e-12)
        moved = share * lamp
        assert moved == pytest.approx(np.clip(share + 0.08 * off, 0.02, 0.98))
        step = 1e-6
        (up, up_sky, *_), (down, down_sky, *_) = (
            mixture(share, 0.08, off + s) for s in (step, -step)
        )
        assert lamp_slope == pytest.approx((up - down) / (2 * step), abs=1e-6)
        assert sky_slope == pytest.approx((up_sky - down_sky) / (2 * step), abs=1e-6)


@pytest.mark.parametrize(("share", "error"), [(0.0, 0.1), (1.0, 0.1), (0.4, 0.0)])
def test_light_of_one_kind_or_known_for_sure_stays_as_it_is(share, error):
    assert mixture(share, error, 1.5) == (1.0, 1.0, 0.0, 0.0)


def test_expected_beforehand():
    """Bell curves: two knots one width apart go together by exp(-1/2), as the normal law has it."""
    level = p.level_prior() / p.LEVEL_SPREAD**2
    assert np.diag(level) == pytest.approx(np.ones(p.KNOTS.size))
    step = int(round(p.LEVEL_WIDTH_NM / np.diff(p.KNOTS)[0]))
    assert np.diff(p.KNOTS)[0] * step == p.LEVEL_WIDTH_NM
    assert np.diag(level, step) == pytest.approx(np.full(p.KNOTS.size - step, 0.60653), abs=1e-5)
    shape = p.shape_prior()
    assert np.sqrt(np.diag(shape)) == pytest.approx(p.SHAPE_SPREAD)
    # beforehand the covers go together, and the colours of both yarns are as unknown
    prior = p.prior_covariance()
    assert prior[0, 1] / np.sqrt(prior[0, 0] * prior[1, 1]) == pytest.approx(p.COVER_TOGETHER)
    assert (np.linalg.eigvalsh(prior) > 0).all() and np.array_equal(prior, prior.T)
    one, other = (slice(p.SLOW + k * 12, p.SLOW + (k + 1) * 12) for k in (0, 1))
    assert np.array_equal(prior[one, one], prior[other, other])
    assert not prior[one, other].any()
    assert p.logit([0.5, 0.7310586]) == pytest.approx([0.0, 1.0], abs=1e-6)
    assert np.isfinite(p.logit([0.0, 1.0])).all()
    # the curve through the knots passes them, and is level beyond
    curve = p.BASIS @ np.sin(np.arange(12.0))
    assert curve[1::3][:12] == pytest.approx(np.sin(np.arange(12.0)))  # 390, 420 ... nm
    assert curve[0] == curve[1] and np.ptp(curve[34:]) == 0.0


def test_surfaces_are_of_the_terms_they_say():
    z = np.array([[2.0, 3.0, 5.0, 7.0], [0.0, 0.0, 0.0, 0.0]])
    assert _terms(z, False).tolist() == [[1, 2, 3, 5, 7], [1, 0, 0, 0, 0]]
    assert _terms(z, True)[0].tolist() == [1, 2, 3, 5, 7, 4, 9, 6, 25]
    assert _terms(z[0], True).shape == (9,)
    middle, width = np.array([1.0, -2.0, 0.5]), np.array([0.1, 0.2, 1.0])
    at = places(middle, width, 64)
    assert (np.abs(at - middle) <= SPAN * width).all()
    assert at.mean(axis=0) == pytest.approx(middle, abs=0.1 * SPAN)
    # what comes after is other, and as the sequence goes on
    assert places(middle, width, 3, 61) == pytest.approx(at[61:])
    assert len(np.unique(at, axis=0)) == 64


def test_a_wound_card_has_the_threads_of_the_card_and_next_to_no_weft():
    yarn = start_cloth("x", 40, 40, warp_like="silk organza").warp
    for pitch in (0.2, 0.5):
        made, cell = thread_grid(yarn, pitch)
        assert made.warp_spacing == pitch and made.warp_width == pytest.approx(yarn.width_mm)
        assert made.weft_width / made.weft_spacing < 1e-6
        assert made.weft_height < 2e-3 * made.warp_height
        assert cell.lift == ((1,),)
        assert made.swings[0] == cell.warp_swing == 0.0  # straight
    # threads wound closer than they are wide lie side by side
    close, _ = thread_grid(yarn, 0.5 * yarn.width_mm)
    assert close.warp_spacing == pytest.approx(yarn.width_mm, rel=1e-3)
    assert close.warp_spacing > yarn.width_mm


def test_a_search_begins_with_setts_of_cloth_and_yarns_of_half_their_room():
    for sett in (5.0, 300.0):
        begun = start_cloth("x", sett, sett, warp_like="silk organza")
        assert covers(begun) == pytest.approx((0.5, 0.5), abs=1e-6)
    assert start_cloth("x", 1.0, 1.0, warp_tex=1000.0, weft_tex=1000.0).ends_per_cm == 1.0
    for sett in (0.99, 300.5, float("nan")):
        with pytest.raises(InputError, match=rf"^weft: {sett:g} threads per cm; use 1 to 300$"):
            start_cloth("x", 40.0, sett)
    for tex in (0.04, 5001.0, float("nan")):
        with pytest.raises(InputError, match="^warp: .* tex is no yarn of cloth; use 0.05 to 5000"):
            start_cloth("x", 10.0, 10.0, warp_tex=tex)
    with pytest.raises(InputError, match="^weft: 'felt' is no kind of yarn; use filament or spun"):
        start_cloth("x", 10.0, 10.0, weft_kind="felt")
    with pytest.raises(InputError, match="^weft: 'oakum' must be one of silk"):
        start_cloth("x", 10.0, 10.0, weft_like="oakum")
    # the weft is as the warp where nothing else is said
    both = start_cloth("x", 30.0, 30.0, warp_fibre="cotton", warp_kind="spun")
    assert both.weft == both.warp and both.warp.kind == "spun"
    apart = start_cloth("x", 30.0, 30.0, warp_like="silk organza", weft_fibre="cotton",
                        weft_kind="spun")  # fmt: skip
    assert apart.weft.fibre.name == "cotton" and apart.warp.gum


@pytest.fixture()
def no_tracing(monkeypatch):
    """The dye is taken as found: a level, clear one, known well."""
    knots = np.zeros(p.KNOTS.size)
    monkeypatch.setattr(
        grid, "_dyed", lambda *_: (knots, 1e-4 * np.eye(p.KNOTS.size), np.zeros(41), 1.0)
    )


def test_what_the_bare_card_shows_is_taken_off(no_tracing):
    """Threads that cover 60 of 100: the card's two fifths pass all light and reflect none."""
    yarn = start_cloth("x", 40, 40, warp_like="silk organza", warp_tex=2.3).warp
    per_cm = 6.0 / yarn.width_mm
    seen = [(0.87, [0.5] * 3, [0.01] * 3), (0.04, [0.3] * 3, [0.01] * 3)]
    R, T, e = np.array([0.12, 0.3, 0.06]), np.array([0.7, 0.55, 0.46]), np.full(3, 0.004)
    found = grid.read_grid(yarn, per_cm, seen, (R, e, T, 2 * e))
    assert found.cover == pytest.approx(0.6)
    assert found.R == pytest.approx([0.2, 0.5, 0.1])
    assert found.T == pytest.approx([0.5, 0.25, 0.1])
    # winding is even to 3 %: of R that much, of what passes by that much of all
    assert found.R_uncertainty == pytest.approx(np.hypot(0.004, 0.03 * R) / 0.6)
    assert found.T_uncertainty == pytest.approx(np.full(3, np.hypot(0.008, 0.03) / 0.6))
    # error cannot make more than all light, or less than none
    odd = grid.read_grid(yarn, per_cm, seen, ([0.7, 0.0, 0.1], e, [0.3, 1.0, 1.1], e))
    assert odd.R[0] == 1.0 and odd.T.tolist() == [0.0, 1.0, 1.0]


def test_how_closely_a_card_must_be_wound(no_tracing):
    yarn = start_cloth("x", 40, 40, warp_like="silk organza", warp_tex=2.3).warp
    seen = [(0.87, [0.5] * 3, [0.01] * 3), (0.04, [0.3] * 3, [0.01] * 3)]
    pair = ([0.1] * 3, [0.01] * 3, [0.7] * 3, [0.01] * 3)

    def cover(share):
        return grid.read_grid(yarn, 10.0 * share / yarn.width_mm, seen, pair).cover

    assert cover(0.31) == pytest.approx(0.31)
    assert cover(1.0) == pytest.approx(1.0) and cover(1.09) == 1.0
    for share in (0.29, float("nan")):
        with pytest.raises(InputError, match="^--threads: .* cover too little of the card; wind"):
            cover(share)
    with pytest.raises(InputError, match="^--threads: .* to the cm one on the other; wind one"):
        cover(1.11)


def _traced(at, values):
    """A construction traced, its light only numbers."""
    none = Openness(np.zeros((1, 1)), np.zeros(1), np.zeros(1), 0.0, 0.0)
    plain = np.array([[values[1]]])
    layer = OneLayer((), (), (none,), 1, None, np.array([[values[0]]]), plain)
    return Traced(np.asarray(at, float), (layer,))


@pytest.mark.parametrize("bent", [False, True])
def test_a_surface_goes_through_what_it_can_follow(bent):
    rng = np.random.default_rng(5)
    middle, width = np.array([0.5, -1.0, 0.2, 0.0, 0.0]), np.array([0.3, 0.2, 0.25, 0.1, 0.5])
    at = middle + width * rng.uniform(-1.5, 1.5, (40, 5))

    def truth(slow):
        z = (slow - middle) / width
        flat = 2.0 + z @ [0.3, -0.2, 0.1, 0.4, 0.0]
        return flat + (0.3 * z[0] ** 2 - 0.1 * z[0] * z[1] + 0.2 * z[2] ** 2 if bent else 0.0), 7.0

    made = smooth([_traced(a, truth(a)) for a in at], middle, width, bent)
    for slow in middle + width * rng.uniform(-1.0, 1.0, (5, 5)):
        (layer,) = made.at(slow[None], [[None]])[0]
        assert layer.weights[0, 0] == pytest.approx(truth(slow)[0], abs=0.02)
        # what is the same everywhere stays so: the shares of all traced add up to one
        assert layer.plain[0, 0] == pytest.approx(7.0, abs=1e-9)
        took = [made.own(k, slow) for k in range(40)]
        assert sum(took) == pytest.approx(1.0)
        assert made.noise(slow) == pytest.approx(sum(t * t for t in took))
    # least noise in the middle, of all forty no more than a few terms' share
    assert 1 / 40 < made.noise(middle) < made.noise(middle + 1.5 * width)


@pytest.mark.parametrize("value", [-3.0, -0.1, 0.0, 0.05, 2.0])
def test_limits_are_bent_and_not_broken(value):
    # ln(1 + e^x): never under the limit, far above it the value itself, at it ln 2 of the bend
    bent = fitted._at_least(value, 0.0, 0.1)
    assert bent > 0.0 and bent >= value
    assert bent == pytest.approx(0.1 * np.logaddexp(0.0, value / 0.1))
    assert fitted._at_least(value + 5.0, 5.0, 0.1) == pytest.approx(5.0 + bent)


@pytest.mark.parametrize("like", ["silk organza", "silk chiffon", "cotton voile"])
def test_a_yarn_made_wider_stays_its_own_sort(like):
    yarn = start_cloth("x", 30.0, 30.0, warp_like=like).warp
    for times in (0.7, 1.0, 1.6):
        made = fitted._of_width(yarn, times * yarn.width_mm, 1.0, 1.0, 1.0)
        assert made.width_mm == pytest.approx(times * yarn.width_mm, rel=0.02)
        assert made.rods == 1 or made.fineness_dtex == pytest.approx(yarn.fineness_dtex, rel=0.2)
        # outer filaments as steep: turns times thickness
        steep = made.twist_turns_m * made.diameter_mm
        assert steep == pytest.approx(yarn.twist_turns_m * yarn.diameter_mm, rel=0.06)
    flat = fitted._of_width(yarn, yarn.width_mm, 2.0, 1.0, 1.0)
    assert flat.flattening == pytest.approx(2.0 * yarn.flattening, rel=0.05)
    assert flat.tex == pytest.approx(yarn.tex / 2.0, rel=0.25)
    dull = fitted._of_width(yarn, yarn.width_mm, 1.0, 1.0, 3.0)
    assert dull.dull_per_mm == pytest.approx(3.0 * (yarn.dull_per_mm + 0.3) - 0.3)
    assert fitted._of_width(yarn, yarn.width_mm, 1.0, 1.0, 0.1).dull_per_mm >= 0.0


def _seen(value, ground, channels=3):
    backs = Backing("it", np.full(BANDS, ground))
    if channels == 3:
        return seen_colour("it", value, [0.01] * 3, backs)
    return seen_spectrum("it", value, 0.01, backs)


def test_sights_of_an_even_cloth_in_any_light_are_that_cloth():
    """A perfect white reads one in every channel, whatever falls on it from where: light from
    lamps and from all around together."""
    for name in ("window at the side", "overcast", "candlelit"):
        place = scene(name)
        sight = _sight(seen_colour("it", [0.3] * 3, [0.01] * 3, WHITE, light=place))
        level = sight.lamps.sum(axis=(0, 2)) + sight.diffuse.sum(axis=1)
        assert level == pytest.approx(np.ones(3), abs=2e-3)
        assert 0.0 <= sight.share <= 1.0 and len(sight.lamps) == len(place.lights)
        assert (sight.share == 0.0) is (len(place.lights) == 0)
        # the eye weighs the light by its Y
        green = sight.lamps[:, 1].sum() if len(place.lights) else 0.0
        assert sight.share == pytest.approx(green, abs=0.1)
        assert sight.backing == pytest.approx(np.full(21, 0.8))


def test_a_search_begins_at_the_thread_s_own_colour_or_the_cloth_s():
    start = start_cloth("x", 40, 40, warp_like="silk organza")
    seen = [_seen([0.2, 0.2, 0.2], 0.04), _seen([0.4, 0.4, 0.4], 0.87)]
    plain = start_unknowns(start, seen, ())
    # over the darkest, made as light as half-way to the lightest: 0.3
    wanted = p.ln_dye(p.colour_curve([0.3] * 3), start.warp)
    assert plain.curves == pytest.approx(np.array([wanted, wanted])) and not plain.measured
    assert start_unknowns(start, seen[::-1], ()).curves == pytest.approx(plain.curves)
    red = thread_colour("weft", [0.5, 0.05, 0.05], [0.01] * 3)
    spectrum = thread_spectrum("weft", np.linspace(0.1, 0.6, BANDS))
    one = start_unknowns(start, seen, (red,))
    assert one.curves[0] == pytest.approx(wanted)
    assert one.curves[1] == pytest.approx(p.ln_dye(p.colour_curve([0.5, 0.05, 0.05]), start.weft))
    for order in ((red, spectrum), (spectrum, red)):  # a spectrum tells most
        both = start_unknowns(start, seen, order)
        assert both.measured
        assert both.curves[1] == pytest.approx(
            p.ln_dye(np.linspace(0.1, 0.6, BANDS), start.weft)
        )


def test_known_numbers_are_the_cloth_s_own():
    start = start_cloth("x", 40, 40, warp_like="silk organza")
    unknowns = start_unknowns(start, [_seen([0.3] * 3, 0.04)], ())
    x = np.zeros(p.SIZE)
    x[:2] = p.logit([0.4, 0.5])
    cloth = unknowns.shaped(x)
    assert covers(cloth) == pytest.approx((0.4, 0.5), abs=1e-6)
    told = {what: _known(unknowns, x, Known(what, 0.5, 0.1)) for what in KNOWN}
    assert told["open share"] == pytest.approx(0.6 * 0.5, abs=1e-6)
    assert told["warp tex"] == cloth.warp.tex < told["weft tex"] == cloth.weft.tex
    # ends and picks of so many tex, with what crimp takes: g/m2 is a tenth of threads/cm times tex
    mass = 40 * (cloth.warp.tex * (1 + cloth.warp_crimp) + cloth.weft.tex * (1 + cloth.weft_crimp))
    assert told["weight"] == pytest.approx(mass / 10)
    # numbers off by one of their errors count one
    problem = Problem.of(start, [_seen([0.3] * 3, 0.04)], (), [
        Known("open share", 0.3 - 0.02, 0.02), Known("warp tex", cloth.warp.tex + 0.3, 0.1),
    ])  # fmt: skip
    assert problem.numbers(unknowns, x) == pytest.approx([1.0, -3.0], abs=1e-4)


def test_a_wound_thread_darkens_with_its_dye():
    yarn = start_cloth("x", 40, 40, warp_like="silk organza").warp
    dye = np.linspace(0.5, 30.0, 21)
    shown, slope = _wound(dye, yarn)
    assert (np.diff(shown) < 0).all() and (slope < 0).all()
    more = wound_colour(dye * 1.02, yarn)
    assert shown + slope * np.log(1.02) == pytest.approx(more, abs=2e-5)


def test_readings_of_one_way_of_lying_go_together():
    start = start_cloth("x", 40, 40, warp_like="silk organza")
    turned = seen_colour("t", [0.3] * 3, [0.01] * 3, WHITE, grain_deg=90.0)
    red = thread_colour("weft", [0.5, 0.05, 0.05], [0.01] * 3)
    seen = [_seen([0.2] * 3, 0.04), _seen([0.4] * 3, 0.87), turned]
    problem = Problem.of(start, seen, (red,), ())
    assert problem.arrangements.tolist() == [0] * 6 + [1] * 3 + [-1] * 3
    assert problem.values == pytest.approx([*[0.2] * 3, *[0.4] * 3, *[0.3] * 3, 0.5, 0.05, 0.05])
    assert problem.own.shape == (12, 12) and not problem.own[:3, 3:].any()
    assert [y is start.weft for y in problem._bare(start)] == [True]
    assert p.DULLER in problem.still
    duller = replace(start, warp=replace(start.warp, dull_per_mm=2.0))
    assert p.DULLER not in Problem.of(duller, seen, (), ()).still


@pytest.mark.parametrize(
    ("name", "had", "said"),
    [
        ("warp colour", (), "photograph it over white again, turned a quarter"),
        ("weft colour", ("turned",), "photograph bare weft thread at a frayed edge"),
        ("weft colour", ("turned", "warp thread"), "photograph bare weft thread at a frayed edge"),
        ("weft colour", ("turned", "weft thread"), ""),
        ("warp cover", ("turned", "over black"), "take a close-up with a ruler over plain ground"),
        ("open share", ("over black", "open share"), "weigh a piece of known size"),
        ("packing", (), "give the yarn's count"),
        ("packing", ("warp tex",), "weigh a piece of known size"),
        ("flattening", (), ""),
    ],
)
def test_advice_is_the_easiest_thing_not_yet_given(name, had, said):
    told = _advice(name, frozenset(had))
    assert told.startswith(said) and bool(told) is bool(said)


def test_what_a_fit_was_given():
    start = start_cloth("x", 40, 40, warp_like="silk organza")
    red = thread_colour("weft", [0.5, 0.05, 0.05], [0.01] * 3)

    def told(seen, threads=(), known=()):
        return given(Problem.of(start, seen, threads, known))

    assert told([_seen([0.3] * 3, 0.31)]) == {"over white"}
    assert told([_seen([0.3] * 3, 0.25)]) == set()  # neither white nor black
    assert told([_seen([0.3] * 3, 0.19)]) == {"over black"}
    both = [_seen([0.3] * 3, 0.04), _seen([0.4] * 3, 0.87)]
    assert told(both, (red,), (Known("weight", 40.0, 1.0),)) == {
        "over white", "over black", "weft thread", "weight"
    }  # fmt: skip
    for grain, turned in ((180.0, False), (0.2, False), (90.0, True), (45.0, True)):
        again = seen_colour("t", [0.3] * 3, [0.01] * 3, WHITE, grain_deg=grain)
        assert ("turned" in told([*both, again])) is turned


def test_what_cannot_be_told_apart_is_said():
    """Two properties that go together, or against one another, in what fits are named."""
    rng = np.random.default_rng(2)
    rows = rng.standard_normal((400, len(_PROPERTIES)))
    assert _trades(rows) == ()
    names = list(_PROPERTIES)
    rows[:, names.index("packing")] = -rows[:, names.index("weft cover")]
    rows[:, names.index("dullness")] = rows[:, names.index("warp cover")]
    assert set(_trades(rows)) == {
        "more weft cover looks like less packing", "more warp cover looks like more dullness",
    }  # fmt: skip
    # what follows from the others by sum is no trade
    rows[:, names.index("weight")] = rows[:, names.index("flattening")]
    assert len(_trades(rows)) == 2


def test_cloths_drawn_have_the_spread_they_were_drawn_from():
    rng = np.random.default_rng(4)
    root = 0.1 * rng.standard_normal((p.SIZE, p.SIZE))
    x, covariance = np.arange(float(p.SIZE)), root @ root.T
    drawn = _drawn(x, covariance, 4000)
    assert drawn.shape == (4000, p.SIZE)
    error = np.sqrt(np.diag(covariance))
    assert (np.abs(drawn.mean(axis=0) - x) < 5 * error / np.sqrt(4000)).all()
    assert np.cov(drawn.T) == pytest.approx(covariance, abs=0.15 * covariance.max())
    assert _drawn(x, covariance, 5) == pytest.approx(_drawn(x, covariance, 5))


def test_a_wound_card_is_told_in_lines_and_as_a_table(no_tracing):
    yarn = start_cloth("x", 40, 40, warp_like="silk organza", warp_tex=2.3).warp
    seen = [(0.87, [0.5] * 3, [0.01] * 3), (0.04, [0.3] * 3, [0.01] * 3)]
    e = np.full(3, 0.004)
    found = grid.read_grid(yarn, 6.0 / yarn.width_mm, seen, ([0.12] * 3, e, [0.7] * 3, e))
    lines = grid_report(found).splitlines()
    assert lines[0] == "The threads hide 60 % of the card, by their count and width."
    assert lines[2] == "  sends back  0.20 +- 0.01, 0.20 +- 0.01, 0.20 +- 0.01"
    assert lines[3] == "  lets through 0.50 +- 0.05, 0.50 +- 0.05, 0.50 +- 0.05"
    assert "Its dye shows the photographs within 1.0 CIEDE2000." in lines
    for missed, doubted in ((5.0, False), (5.1, True)):
        told = grid_report(replace(found, missed=missed))
        assert ("Caution: no dye of this yarn looks like that" in told) is doubted
    table = grid_table(found).splitlines()
    assert table[0] == "wavelength nm,wound thread" and len(table) == 42
    assert table[1].startswith("380,") and table[-1].startswith("780,")
    assert [float(row.split(",")[1]) for row in table[1:]] == pytest.approx(found.wound, abs=1e-5)


@pytest.mark.parametrize("share", [0.005, 0.02, 0.5, 0.98, 0.995])
def test_light_that_is_as_it_was_told_changes_nothing(share):
    assert mixture(share, 0.08, 0.0)[:2] == pytest.approx((1.0, 1.0), abs=1e-12)
    for off in (-20.0, 20.0):
        lamp, sky, lamp_slope, sky_slope = mixture(share, 0.08, off)
        assert share * lamp == pytest.approx(min(share, 0.02) if off < 0 else max(share, 0.98))
        assert sky >= 0.0 and lamp_slope == 0.0 == sky_slope


def test_setts_so_open_that_no_yarn_fills_half_their_room_are_told_as_setts():
    for sett in (1.0, 1.9):  # the yarn would be beyond its tex, and beyond its filaments
        with pytest.raises(InputError, match=rf"^warp: {sett:g} threads per cm, each as wide"):
            start_cloth("x", sett, 40.0)
        assert start_cloth("x", sett, 40.0, warp_tex=50.0).ends_per_cm == sett


def test_what_is_written_and_what_is_counted_begin_a_fit():
    count = ThreadCount(
        41.0, 37.0, (40.5, 41.5), (36.5, 37.5), 0.99, 0.0, 0.0, 2, 0.9, 0.4, 0.001,
        (0.1, 0.0), (0.0, 0.1), (50.0, 50.0), (0, 0, 100, 100), (), (), (),
    )  # fmt: skip
    made, known = start_told("x", {"ends": "40 /cm", "warp count": "20/22 denier"}, count, str)
    assert (made.ends_per_cm, made.picks_per_cm) == (40.0, 37.0)
    assert made.warp.tex == pytest.approx(21 / 9)
    assert [(k.what, k.uncertainty) for k in known] == [
        ("warp tex", pytest.approx(0.05 * 21 / 9)), ("open share", 0.02)
    ]  # fmt: skip
    with pytest.raises(InputError, match="^ends and picks: are needed"):
        start_told("x", {"ends": "40 /cm", "picks": " "}, None, str)
    with pytest.raises(InputError, match="^--weight: "):
        start_told("x", {"weight": "heavy"}, count, lambda key: f"--{key}")


@pytest.mark.usefixtures("every_ray")
def test_draws_of_a_fitted_cloth_are_looks_of_the_cloths_it_might_be():
    """A weft cover and a warp dye that err together, against such a cloth worked out by itself, one
    layer and two; the draws of other numbers stay."""
    made = cloth(warp=0.5, weft=0.3, ends=40.0, picks=36.0, filaments=12)
    step = np.zeros(fitted.SIZE - 2)
    step[1] = 0.3
    step[fitted.SLOW : fitted.SLOW + fitted.KNOTS.size] = -0.4
    root = np.zeros((step.size, step.size))
    root[:, 1] = step
    kept = HowKnown.fitted(root=root[np.tril_indices(len(root))])
    mine = replace(made, known={"foretold": kept})
    x = fitted.middle(made)
    varied, over = fitted.Varied(made, fitted.ln_dyes(made)), [backing("black"), backing("white")]
    there = np.r_[step, 0.0, 0.0]
    slow, _ = fitted.might(root, mightbe_build.DRAWS, [mightbe_build.seed(mine), 3])
    even = scene("overcast")
    for count in (1, 2):
        less, more = (
            np.array(radiances(Stack((Layer(varied.cloth(x + way)),) * count), over, [even])[0])
            for way in (-there, there)
        )
        drawn = mightbe.lots(Stack((Layer(mine),) * count), over, even)
        for lab, one, other in zip(drawn, less, more, strict=True):
            # CIE L* + 16 goes with the cube root of Y
            true = np.log(other[20] / one[20]) / 6.0
            along = np.polyfit(slow[:, 1] / 0.3, lab[:, 0], 1)[0]
            assert along / (lab[:, 0].mean() + 16.0) == pytest.approx(true, rel=0.4)


def test_ranges_widen_where_readings_are_missed_by_more_than_their_errors():
    """Readings missed by as much as the fit leaves free are as sure as they say; by three times as
    much, they had three times the errors (the ratio of R. T. Birge)."""
    start = start_cloth("x", 40, 40, warp_like="silk organza")
    unknowns = start_unknowns(start, [_seen([0.3] * 3, 0.04)], ())
    rng = np.random.default_rng(2)
    slope = 0.5 * rng.normal(size=(9, p.SIZE))
    plain = _posterior(slope, unknowns)
    free = 9.0 - np.trace(slope @ plain @ slope.T)
    missed = rng.normal(size=9)
    missed *= np.sqrt(free / (missed @ missed))
    assert 0.0 < free < 9.0
    for much in (0.1, 0.99):
        assert _as_it_fits(much * missed, slope, unknowns) == pytest.approx(plain)
    wider = _as_it_fits(3.0 * missed, slope, unknowns)
    assert wider == pytest.approx(_posterior(slope / 3.0, unknowns))
    assert np.trace(wider) > np.trace(plain)


def test_dyes_of_a_construction_are_found_from_wherever_the_search_stands():
    """Rust and teal rods over white and over black alone: no reading tells the two yarns apart, and
    whole steps from dyes far off throw them beyond all that shows what was seen."""
    start = start_cloth("x", 46.0, 36.0, warp_like="silk organza")
    seen = [_seen([0.636, 0.477, 0.441], 0.87), _seen([0.049, 0.037, 0.036], 0.045)]
    problem, unknowns = Problem.of(start, seen, (), ()), start_unknowns(start, seen, ())
    middle = unknowns.prior_mean()
    at = middle[: p.SLOW]
    (one,) = problem.traced_all(unknowns, at[None], 1.0, None)
    spread = np.sqrt(np.diag(unknowns.covariance()))
    rng = np.random.default_rng(5)
    misses = []
    for far in (0.0, 1.0, 1.0, 2.0, 2.0):
        begun = middle + far * spread * rng.standard_normal(p.SIZE)
        misses.append(_dyed(problem, unknowns, begun, one).off)
    assert max(misses) < min(misses) + _BETTER


@pytest.mark.parametrize(
    ("light", "error", "open_"),
    [("45:0", 0.08, True), ("45:0", 0.0, False), ("overcast", 0.08, False)],
)
def test_a_lamp_s_place_is_sought_where_there_is_one_and_it_is_not_known(light, error, open_):
    """Not of an instrument's lamp, which stands where it stands, nor of light from all around."""
    start = start_cloth("x", 40, 40, warp_like="silk organza")
    seen = seen_colour("it", [0.3] * 3, [0.01] * 3, WHITE, light=light, light_error=error)
    assert (p.LAMP not in Problem.of(start, [seen], (), ()).still) is open_


def test_a_reading_that_says_no_more_is_straight_on_the_face_and_its_paper_known():
    colour = seen_colour("it", [0.3] * 3, [0.01] * 3, WHITE)
    bands = seen_spectrum("it", np.full(BANDS, 0.3), 0.01, WHITE)
    for seen in (colour, bands):
        assert (seen.grain_deg, seen.face, seen.paper_error) == (0.0, "face", 0.0)
    assert colour.light_error > 0.0 and bands.light_error == 0.0


def test_readings_of_a_wound_card_weigh_by_their_error_and_the_model_s(monkeypatch):
    """Errors add by squares: what is read to ``e``, what the model misses of ``v``, what is left
    open of how it was lit; and a thousandth, below which nothing is read."""
    def told(e):
        kept = []

        def stop(off, x, **_):
            kept.append(off(x))
            raise StopIteration

        monkeypatch.setattr(grid, "least_squares", stop)
        yarn = start_cloth("x", 40, 40, warp_like="silk organza").warp
        seen = [(0.87, np.array([0.5, 0.4, 0.3]), e), (0.04, np.array([0.2, 0.1, 0.05]), e)]
        with pytest.raises(StopIteration):
            grid._dyed(yarn, 1.2 * yarn.width_mm, seen, "daylight")
        return kept[0][:6]

    v = np.array([0.5, 0.4, 0.3, 0.2, 0.1, 0.05])
    model = (grid.MODEL_SHARE**2 + grid.LIT**2) * v**2 + 1e-6
    little, much = np.full(3, 0.01), np.array([0.2, 0.1, 0.05])
    wanted = np.sqrt((np.tile(much, 2) ** 2 + model) / (0.01**2 + model))
    assert told(little) / told(much) == pytest.approx(wanted, rel=1e-9)


def test_a_surface_follows_what_lies_near_its_middle_most_closely():
    """A plane through three levels of one number, at the middle and both sides of it: weights of a
    bell 1.6 widths wide, by hand."""
    middle, width = np.zeros(1), np.ones(1)
    at, levels = np.array([-2.0, 0.0, 2.0]), np.array([1.0, 0.0, 1.0])
    made = smooth([_traced([a], (v, 0.0)) for a, v in zip(at, levels, strict=True)],
                  middle, width, False)  # fmt: skip
    aside = np.exp(-0.5 * (2.0 / 1.6) ** 2)  # each, where the middle counts 1
    (layer,) = made.at(np.zeros((1, 1)), [[None]])[0]
    assert layer.weights[0, 0] == pytest.approx(2.0 * aside / (1.0 + 2.0 * aside), rel=1e-3)


def test_whoever_is_told_may_end_the_tracing_of_what_has_not_begun():
    begun = []

    def traced(unknowns, slow, share):
        begun.append(slow)
        time.sleep(0.02)

    def told():
        raise InputError("enough")

    with pytest.raises(InputError, match="enough"):
        Problem.traced_all(SimpleNamespace(traced=traced), None, np.arange(30.0), 1.0, told)
    assert len(begun) <= 4


@pytest.mark.parametrize(("warp", "weft", "many"), [
    ("silk chiffon", "silk chiffon", True), ("silk chiffon", "polyester organza", True),
    ("polyester organza", "silk chiffon", True), ("polyester organza", "polyester organza", False),
])  # fmt: skip
def test_one_yarn_of_many_filaments_is_enough(warp, weft, many):
    """Yarns of polyester organza are single rods."""
    start = start_cloth("x", 40, 40, warp_like=warp, weft_like=weft)
    problem = Problem.of(start, [_seen([0.3] * 3, 0.04)], (), ())
    assert problem.many is many
    # nor is there a packing to be found of single rods
    assert (p.PACKING not in problem.still) is many
