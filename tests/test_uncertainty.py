"""What is claimed of accuracy, held against path-traced cloth and against changed input."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import traced

from weavecolor.colour.colorimetry import ciede2000, lab_from_xyz
from weavecolor.colour.perception import would_see
from weavecolor.colour.screen import space
from weavecolor.decide.compare import compare, compare_stacks, near_daylight
from weavecolor.files.clothfile import cloth_from_dict, load_swatch
from weavecolor.optics import uncertainty as u
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene, scene_names

NOTHING_ASSUMED = u.Known(yarn_assumed=False, colour_recovered=False)


def _labs(brf):
    """Lab (views, 2 backings, 3) of the crimson and black channels of a traced row."""
    rgb = np.stack([brf[:, [0, 4]], brf[:, [1, 5]], brf[:, [1, 5]]], axis=-1)
    screen = space("sRGB")
    return lab_from_xyz(100.0 * rgb @ screen.to_xyz.T, screen.white)


@pytest.fixture(scope="module")
def pairs():
    """(model, traced) Lab of every row of the first table (tests/data/raytraced.json)."""
    answers = traced.answers(traced.first_rows())
    return [(a.row, _labs(a.brf), _labs(a.row.brf)) for a in answers]


def test_single_colours_are_as_near_the_traced_ones_as_claimed(pairs):
    misses = np.concatenate([ciede2000(model, truth).ravel() for _, model, truth in pairs])
    assert misses.size > 100
    assert np.sqrt(np.mean(misses**2)) < u.MODEL


def test_differences_are_as_near_the_traced_ones_as_claimed(pairs):
    """Nine in ten within what is said; over backings, and over grain at the same view."""
    predicted, true = [], []
    for _, model, truth in pairs:
        predicted.append(ciede2000(model[:, 0], model[:, 1]))
        true.append(ciede2000(truth[:, 0], truth[:, 1]))
    for (a, m1, t1), (b, m2, t2) in itertools.combinations(pairs, 2):
        alike = (a.group, a.turns, a.jitter) == (b.group, b.turns, b.jitter)
        if alike and a.inc and b.inc and a.inc[0] == b.inc[0] and a.inc != b.inc:
            n = min(len(a.views), len(b.views), 3)
            predicted.append(ciede2000(m1[:n], m2[:n]).ravel())
            true.append(ciede2000(t1[:n], t2[:n]).ravel())
    said = np.concatenate(predicted)
    miss = np.abs(said - np.concatenate(true))
    stated = [u.COVERAGE * u.of_difference(d, NOTHING_ASSUMED).model for d in said]
    assert said.size > 100
    assert np.mean(miss <= stated) > 0.9


@pytest.mark.parametrize("name", ["shot-organza-red-black", "silk-chiffon-ivory"])
def test_changed_yarn_optics_move_differences_as_little_as_claimed(name):
    """Scattering half as much again either way; colours move more than differences do."""
    cloth = load_swatch(name)
    grounds = [backing("white"), backing("black")]
    window = [scene("window at the side")]
    base = compare(cloth, (0.0, 90.0), (1, 2), grounds, window)
    known = u.known_of([cloth])
    assert known.yarn_assumed
    inside, colour, moved = [], [], []
    for factor in (1.5, 1 / 1.5):
        changed = replace(
            cloth,
            warp=replace(cloth.warp, scattering_m2_g=cloth.warp.scattering_m2_g * factor),
            weft=replace(cloth.weft, scattering_m2_g=cloth.weft.scattering_m2_g * factor),
        )
        other = compare(changed, (0.0, 90.0), (1, 2), grounds, window)
        for a, b in zip(base.steps, other.steps, strict=True):
            moved.append(abs(a.delta - b.delta))
            inside.append(moved[-1] <= a.uncertainty.stated)
        for x, y in zip(base.outcomes, other.outcomes, strict=True):
            miss = ciede2000(x.appearance.reading.Lab, y.appearance.reading.Lab)
            colour.append(float(miss) <= x.uncertainty.stated)
    assert np.mean(inside) > 0.9
    assert np.mean(colour) > 0.9
    assert max(moved) > 0.05  # the change was felt at all


def test_what_was_supposed_on_reading_is_noticed():
    yarn = {"fibre": "silk", "count": "21 denier", "kind": "filament", "colour": "#a02030"}
    told = {"packing": 0.7, "flattening": 1.0, "filaments": 16, "gum": False, "twist": "0 /m",
            "lustre": "bright"}  # fmt: skip
    grid = {"wavelengths": list(range(380, 781, 20)), "reflectance": [0.5] * 21}

    def read(**parts):
        system = {**yarn, **parts}
        table = {"name": "x", "weave": "plain", "ends": "40 /cm", "picks": "38 /cm"}
        return cloth_from_dict({**table, "warp": system, "weft": system})

    assert u.known_of([read()]) == u.Known(True, True, clear=True)
    assert u.known_of([read(**told)]) == u.Known(False, True, clear=True)
    assert u.known_of([read(**told, colour=grid)]) == u.Known(False, False, clear=True)
    dull = {**told, "lustre": "dull"}
    assert u.known_of([read(**dull, colour=grid)]).clear is False
    assert u.known_of([read(kind="spun", gum=False)]).clear is False


def test_clear_filaments_are_never_told_as_sure():
    """The optics take them for matt: no difference but one that is nought is denied."""
    clear = u.Known(False, False, clear=True)
    assert u.of_colour(clear).stated > 10.0 > u.of_colour(NOTHING_ASSUMED).stated
    for delta in (0.2, 0.9, 5.0):
        assert would_see(delta, u.of_difference(delta, clear).stated).sees is None
    assert would_see(0.0, u.of_difference(0.0, clear).stated).sees is False
    assert would_see(40.0, u.of_difference(40.0, clear).stated).sees is True


def test_more_unknown_is_less_sure():
    guessed = u.Known(yarn_assumed=True, colour_recovered=True)
    assert u.of_colour(guessed).stated > u.of_colour(NOTHING_ASSUMED).stated
    assert u.of_colour(guessed, daylight=False).stated > u.of_colour(guessed).stated
    for delta in (0.0, 2.0, 20.0):
        sure = u.of_difference(delta, NOTHING_ASSUMED).stated
        unsure = u.of_difference(delta, guessed, daylight=False)
        assert sure <= unsure.stated
        apart = u.of_difference(delta, guessed, daylight=False, same_light=False)
        other = u.of_difference(delta, guessed, daylight=False, same_cloth=False)
        assert max(sure, 0.1) < min(apart.stated, other.stated)
    assert unsure.reasons
    # A difference between options is surer than either colour, where it is small.
    assert u.of_difference(1.0, guessed).stated < u.of_colour(guessed).stated


def test_daylight_is_told_from_lamplight():
    lamps = {name: near_daylight(scene(name)) for name in scene_names()}
    for name in ("window at the side", "noon outdoors", "overcast", "flash on camera"):
        assert lamps[name]
    for name in ("ballroom", "candlelit", "footlights", "stage LED"):
        assert not lamps[name]


WINDOW, CANDLES = scene("window at the side"), scene("candlelit")


def _matt(cloth, *sources):
    """A cloth of dull yarns, of which nothing is supposed but what ``sources`` tell."""
    yarns = {name: replace(getattr(cloth, name), dull_per_mm=50.0) for name in ("warp", "weft")}
    return replace(cloth, **yarns, remarks=(), sources=sources, declared_g_m2=None)


@pytest.fixture(scope="module")
def known_cloth():
    return _matt(load_swatch("shot-organza-red-black"))


def test_changing_what_lies_behind_or_the_layers_widens_the_doubt_and_turning_does_not(known_cloth):
    supposed = replace(known_cloth, sources=(("yarn optics", "assumed"),))
    grounds = (backing("white"), backing("black"))
    made = compare(supposed, (0.0, 90.0), (1, 2), grounds, (WINDOW,), lays=("loose", "apart"))
    known = u.known_of([supposed])
    assert known.yarn_assumed and not known.clear
    told = set()
    for step in made.steps:
        deep = step.axis in ("backing", "layers")
        want = u.of_difference(step.delta, known, depth=deep).stated
        assert step.uncertainty.stated == pytest.approx(want, abs=1e-12)
        if step.delta > 1.0:
            other = u.of_difference(step.delta, known, depth=not deep).stated
            assert (step.uncertainty.stated > other) == deep
            told.add(step.axis)
    assert {"backing", "layers"} <= told


def test_a_step_into_lamplight_keeps_the_doubt_of_a_colour_known_by_daylight(known_cloth):
    recovered = replace(known_cloth, remarks=("warp: colour recovered from a screen colour",))
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
        known_cloth, name="supposed", sources=(("yarn optics", "assumed"),),
        warp=known_cloth.weft, weft=known_cloth.warp,
    )  # fmt: skip
    for pair in ((known_cloth, supposed), (supposed, known_cloth)):
        made = compare_stacks([Stack((Layer(c),)) for c in pair], (backing("white"),), (WINDOW,))
        (step,) = made.steps
        assert any("assumed" in reason for reason in step.uncertainty.reasons)
        alone = [outcome.uncertainty for outcome in made.outcomes]
        assert step.uncertainty.stated >= max(one.stated for one in alone)
