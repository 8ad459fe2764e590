"""What is claimed of accuracy, held against changed input."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weavecolor.colour.spectra import frozen
from weavecolor.decide.compare import compare, compare_stacks, near_daylight
from weavecolor.files.clothfile import cloth_from_dict, load_swatch
from weavecolor.optics import mightbe_build
from weavecolor.optics import uncertainty as u
from weavecolor.optics.appearance import appearances
from weavecolor.optics.dye import absorption
from weavecolor.optics.mightbe import dye_slopes, open_difference, sent_and_got
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene, scene_names
from weavecolor.textile.construction import covers
from weavecolor.textile.howknown import HowKnown

NOTHING_ASSUMED = u.Known(yarn_assumed=False, colour_recovered=False)


def test_what_is_left_open_counts_by_what_is_changed_and_by_how_the_cloth_is_known():
    """The allowances are those counted by ``tests.ranges`` and ``tests.fit_coverage``."""

    def left(known, *changed):
        """By how much the range of a difference grows for what is left open, to one of 100."""
        light = "scene" not in changed
        wide = u.of_difference(0.0, known, 100.0, same_light=light, changed=changed).inputs
        return round(wide / 100.0, 2)

    described = u.Known(True, False)
    fitted = u.Known(True, False, fitted=True, all_fitted=True)
    mixed = u.Known(True, False, fitted=True)
    axes = ("grain", "face", "layers", "backing")
    assert [left(described, x) for x in axes] == [1.1, 1.1, 1.1, 1.1]
    assert [left(fitted, x) for x in axes] == [1, 1, 1, 1.3]
    assert [left(mixed, x) for x in ("grain", "backing")] == [1.1, 1.1]
    assert left(described, "scene") == 1.1 and left(fitted, "scene") == 1.0
    one = [u.of_colour(k, 100.0).inputs / 100.0 for k in (NOTHING_ASSUMED, fitted, mixed)]
    assert one == pytest.approx([1.1, 1.15, 1.15], abs=0.01)


def test_what_was_supposed_on_reading_is_noticed():
    yarn = {"fibre": "silk", "count": "21 denier", "kind": "filament", "colour": "#a02030"}
    told = {"packing": 0.7, "flattening": 1.0, "filaments": 16, "gum": False, "twist": "0 /m",
            "lustre": "bright"}  # fmt: skip
    grid = {"wavelengths": list(range(380, 781, 20)), "reflectance": [0.5] * 21}

    def read(**parts):
        system = {**yarn, **parts}
        table = {"name": "x", "weave": "plain", "ends": "40 /cm", "picks": "38 /cm"}
        return cloth_from_dict({**table, "warp": system, "weft": system})

    assert u.known_of([read()]) == u.Known(True, True, sort="filaments")
    assert u.known_of([read(**told)]) == u.Known(False, True, sort="filaments")
    assert u.known_of([read(**told, colour=grid)]) == u.Known(False, False, sort="filaments")
    assert u.known_of([read(kind="spun", gum=False)]).sort == "spun"
    assert u.known_of([read(gum=True)]).sort == "rods"


def test_more_unknown_is_less_sure():
    guessed = u.Known(yarn_assumed=True, colour_recovered=True)
    assert u.of_colour(guessed, 4.0).stated > u.of_colour(NOTHING_ASSUMED, 0.0).stated
    for delta in (0.0, 2.0, 20.0):
        sure = u.of_difference(delta, NOTHING_ASSUMED, 0.0).stated
        unsure = u.of_difference(delta, guessed, 2.0, daylight=False)
        assert sure < unsure.stated
        apart = u.of_difference(delta, guessed, 2.0, daylight=False, same_light=False)
        other = u.of_difference(delta, guessed, 2.0, daylight=False, same_cloth=False)
        assert unsure.stated < apart.stated
        assert sure < other.stated
    assert unsure.reasons == u.reasons(guessed) and len(unsure.reasons) == 2
    # a small difference between options of one cloth is surer than either colour
    assert u.of_difference(1.0, guessed, 2.0).stated < u.of_colour(guessed, 4.0).stated


def test_daylight_is_told_from_lamplight():
    lamps = {name: near_daylight(scene(name)) for name in scene_names()}
    for name in ("window at the side", "noon outdoors", "overcast", "flash on camera"):
        assert lamps[name]
    for name in ("ballroom", "candlelit", "footlights", "stage LED"):
        assert not lamps[name]


WINDOW, CANDLES = scene("window at the side"), scene("candlelit")


def _matt(cloth):
    """A cloth of dull yarns, of which nothing is supposed."""
    yarns = {name: replace(getattr(cloth, name), dull_per_mm=50.0) for name in ("warp", "weft")}
    return replace(cloth, **yarns, known=(), declared_g_m2=None)


ASSUMED = HowKnown.assumed(0.6, 0.9)


@pytest.fixture(scope="module")
def known_cloth():
    return _matt(load_swatch("shot-organza-red-black"))


@pytest.mark.usefixtures("half_rays")
def test_what_two_options_share_cancels(known_cloth):
    """A build nobody knows leaves a colour over black more open than over white, where little of
    what is seen is sent back by the cloth, and a second layer less than either."""
    supposed = replace(known_cloth, known={"warp.packing": ASSUMED})
    grounds = (backing("white"), backing("black"))
    made = compare(supposed, (0.0, 90.0), (1, 2), grounds, (WINDOW,), lays=("loose", "apart"))
    told: dict[str, list[float]] = {}
    for step in made.steps:
        ends = (made.outcomes[step.start], made.outcomes[step.end])
        left = open_difference(*((x.appearance.reading.Lab, x.drawn) for x in ends))
        known = u.known_of([supposed])
        want = u.of_difference(step.delta, known, float(left), changed=(step.axis,)).stated
        assert step.uncertainty.stated == pytest.approx(want, abs=1e-12)
        alone = [x.uncertainty.inputs for x in ends]
        assert step.uncertainty.inputs < 1.05 * np.hypot(*alone) + 0.5
        told.setdefault(step.axis, []).append(step.uncertainty.inputs / max(alone))
    assert {"backing", "layers", "grain"} <= set(told)
    assert np.mean(told["layers"]) < 0.8
    read = {f"{system}.colour": HowKnown.measured(0.5) for system in ("warp", "weft")}
    grounds = tuple(replace(behind, inside=None) for behind in grounds)  # matt ones leave nothing
    sure = compare(replace(known_cloth, known=read), (0.0, 90.0), (1,), grounds, (WINDOW,))
    assert all(np.ptp(x.drawn, axis=0).max() < 1e-9 for x in sure.outcomes)


@pytest.mark.parametrize("place", ["small window far off", "window at the side"])
def test_a_stronger_dye_is_foretold_by_its_slopes(place):
    """Against the stack worked out anew with a dye that is 15 % stronger in the warp and 10 %
    weaker in the weft, one to three layers."""
    cloth = load_swatch("shot-organza-teal-copper")
    moved = np.array([0.15, -0.10])
    yarns = {
        name: replace(yarn, absorption=frozen(absorption(yarn) * np.exp(by)))
        for name, yarn, by in zip(("warp", "weft"), (cloth.warp, cloth.weft), moved, strict=True)
    }
    grounds, lit = [backing("black"), backing("white")], scene(place)

    def look(one, layers):
        stack = Stack((Layer(one, 30.0),) * layers)
        dark, light = (x.radiance_factor for x in appearances(stack, grounds, lit))
        return np.log([dark, light - dark])

    for layers in (1, 2, 3):
        stack = Stack((Layer(cloth, 30.0),) * layers)
        ((slopes,),) = dye_slopes(
            stack, [lit], [cloth], [np.zeros((2, 2, 41))], sent_and_got(stack, [lit])
        )
        true = look(replace(cloth, **yarns), layers) - look(cloth, layers)
        told = moved[0] * slopes[0, 2] + moved[1] * slopes[1, 1]
        off, most = np.abs(told - true), np.abs(true).max()
        assert np.sqrt(np.mean(off**2)) < 0.1 * most
        # between the nine wavelengths a steep edge is told less well, the more so of pale sheen
        assert off.max() < (0.25 if place.startswith("small") else 0.3) * most


def test_what_a_cloth_might_be_does_not_hang_on_its_company(known_cloth):
    supposed = replace(known_cloth, known={"warp.packing": ASSUMED})
    other = load_swatch("silk-chiffon-ivory")
    ground = (backing("white"),)
    alone = compare(supposed, backings=ground, scenes=(WINDOW,)).outcomes[0].drawn
    stacks = [Stack((Layer(c),)) for c in (other, supposed)]
    beside = compare_stacks(stacks, ground, (WINDOW,)).outcomes[1].drawn
    assert np.array_equal(alone, beside)


def test_a_step_into_lamplight_keeps_the_doubt_of_a_colour_known_by_daylight(known_cloth):
    recovered = replace(known_cloth, known={"warp.colour": HowKnown.assumed()})
    assert u.known_of([recovered]).colour_recovered
    for scenes in ((WINDOW, CANDLES), (CANDLES, WINDOW)):
        (step,) = compare(recovered, scenes=scenes).steps
        # nothing of it cancels between two lights: both ends hold the whole
        assert step.uncertainty.inputs >= u.RECOVERED
        assert any("recovered" in reason for reason in step.uncertainty.reasons)
    (step,) = compare(recovered, scenes=(WINDOW, scene("overcast"))).steps
    assert step.uncertainty.inputs < u.RECOVERED  # both near daylight


def test_two_cloths_compared_are_as_unsure_as_the_less_known(known_cloth):
    supposed = replace(
        known_cloth, name="supposed", known={"warp.packing": ASSUMED},
        warp=known_cloth.weft, weft=known_cloth.warp,
    )  # fmt: skip
    for pair in ((known_cloth, supposed), (supposed, known_cloth)):
        made = compare_stacks([Stack((Layer(c),)) for c in pair], (backing("white"),), (WINDOW,))
        (step,) = made.steps
        assert any("assumed" in reason for reason in step.uncertainty.reasons)
        ends = [made.outcomes[k] for k in (0, 1)]
        left = open_difference(*((x.appearance.reading.Lab, x.drawn) for x in ends))
        assert left > 0.3
        assert step.uncertainty.inputs > left
        assert step.uncertainty.model == pytest.approx(np.sqrt(2.0) * u.MODEL)


UNTOLD = {"name": "x", "weave": "plain", "ends": "38 /cm", "picks": "36 /cm"}


def untold(like, **parts):
    """A cloth of which little more than its kind of yarn is told, of dark and of bright yarn."""
    yarns = {s: {"like": like, "colour": c} | parts for s, c in
             (("warp", "#8c1328"), ("weft", "#205068"))}  # fmt: skip
    return cloth_from_dict({**UNTOLD, **yarns})


@pytest.mark.parametrize(
    ("like", "parts"),
    [
        ("silk organza", {"tex": 1.5}), ("silk chiffon", {"tex": 1.5, "filaments": 1.5}),
        ("cotton voile", {"tex": 1.5, "filaments": 1.5}), ("silk organza", {"flattening": 1.3}),
        ("polyester organza", {"flattening": 1.1}), ("silk chiffon", {"flattening": 1.3}),
        ("cotton voile", {"flattening": 1.3}), ("silk", {"twist_turns_m": 150.0}),
        ("polyester", {"twist_turns_m": 150.0}), ("silk organza", {"closer": 1.2}),
        ("silk chiffon", {"closer": 1.2}), ("cotton voile", {"closer": 0.85}),
    ],
)  # fmt: skip
@pytest.mark.parametrize("colour", ["#8c1328", "#f0e8dc"])
def test_light_moves_with_what_a_yarn_is_built_of_as_is_drawn(like, parts, colour):
    """Against the same cloth traced with yarns that are heavier, flatter, twisted or set closer: by
    how much what hinders even light, and what is sent back of it, moves."""
    cloth = untold(like, colour=colour, count="24 denier")
    yarns = {
        name: replace(y, supposed=(), **{
            key: value if key == "twist_turns_m" else type(getattr(y, key))(value * getattr(y, key))
            for key, value in parts.items() if key != "closer"
        })
        for name, y in (("warp", cloth.warp), ("weft", cloth.weft))
    }  # fmt: skip
    closer = parts.get("closer", 1.0)
    setts = {key: closer * getattr(cloth, key) for key in ("ends_per_cm", "picks_per_cm")}
    moved, logs = replace(cloth, known=(), **yarns, **setts), []
    for one in (replace(cloth, known=()), moved):
        ((sent, got),) = sent_and_got(Stack((Layer(one),)), [scene("overcast")])
        light = scene("overcast").diffuse
        logs.append((np.log(-np.log(got.sum() / light.sum() / 0.85)), np.log(sent.sum())))
    true = np.diff(logs, axis=0)[0]
    yarn, made = cloth.warp, yarns["warp"]
    built = mightbe_build.Built(
        yarn, *(np.log([getattr(made, key)]) for key in ("tex", "flattening", "packing",
                                                         "filaments")),
        np.log([closer]),
    )  # fmt: skip
    build, pale = mightbe_build.BUILD[built.sort], float(np.mean(yarn.colour))
    told = [
        sum((black + white * pale) * one[0]
            for (black, white), one in zip(slopes, built.causes(), strict=True))
        for slopes in (build.hinders, build.back)
    ]  # fmt: skip
    assert true[0] == pytest.approx(np.log1p(told[0]), abs=3.0 * build.own[0])
    assert true[1] == pytest.approx(told[1], abs=3.0 * build.own[1])


def test_much_more_of_a_pale_dye_darkens_ever_faster_as_is_drawn():
    """Against white chiffon traced with three to seven times the dye, which a slope about what was
    told would make lighter."""
    cloth, times = load_swatch("silk-chiffon-ivory"), np.exp(1.9)
    yarns = {name: replace(y, absorption=frozen(times * absorption(y)))
             for name, y in (("warp", cloth.warp), ("weft", cloth.weft))}  # fmt: skip
    even, spread = scene("overcast"), np.ones((2, 2, 41))
    looks = [sent_and_got(Stack((Layer(one),)), [even]) for one in (cloth, replace(cloth, **yarns))]
    ((slopes,),) = dye_slopes(Stack((Layer(cloth),)), [even], [cloth], [spread], looks[0])
    true = np.log(looks[1][0] / looks[0][0])
    bent = (slopes[:, 2] + 0.9 * slopes[:, 3]).sum(axis=0)
    straight = 1.9 * slopes[:, 2].sum(axis=0)
    assert np.sqrt(np.mean((bent - true) ** 2)) < 0.05 * np.abs(true).max()
    assert np.sqrt(np.mean((straight - true) ** 2)) > 0.1 * np.abs(true).max()


def test_a_count_that_nobody_told_is_drawn_from_its_range():
    """Nine in ten lie within what is usual of chiffon, 13 to 42 denier (common practice, no
    source) about 21; warp and weft, which are of one kind, are mostly alike."""

    def drawn(cloth):
        return np.array([one.tex - np.log(one.told.tex) for one in mightbe_build.built(cloth)])

    wide = drawn(untold("silk chiffon"))
    for one in wide:
        assert 0.84 < np.mean((np.log(13 / 21) <= one) & (one <= np.log(42 / 21))) < 0.96
        assert np.median(one) == pytest.approx(0.0, abs=0.08) and one.max() > 0.7
    assert 0.55 < np.corrcoef(wide)[0, 1] < 0.85
    assert not drawn(untold("silk chiffon", count="20/22 denier")).any()
    weighed = {**UNTOLD, "weight": "4.5 momme"}
    yarn = {"like": "silk chiffon", "colour": "#8c1328"}
    by_weight = drawn(cloth_from_dict({**weighed, "warp": yarn, "weft": yarn}))
    assert 0.02 < by_weight.std() < 0.1


def test_what_is_drawn_can_be_woven():
    """Satin as close as it can lie: yarns of no draw are too wide to lie side by side."""
    yarn = {"like": "silk satin", "colour": "#0f4a34"}
    setts = {"ends": "100 /cm", "picks": "46 /cm", "weight": "19 momme"}
    weave = {"name": "x", "weave": "satin 5/2"}
    cloth = cloth_from_dict({**weave, **setts, "warp": yarn, "weft": yarn})
    warp, weft = mightbe_build.built(cloth)
    for k in range(mightbe_build.DRAWS):
        assert max(covers(replace(cloth, warp=warp.yarn(k), weft=weft.yarn(k)))) <= 1.0 + 1e-9
    assert np.std(warp.flattening) > 0.02
