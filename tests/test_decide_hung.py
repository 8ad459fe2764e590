"""Stacks judged as they hang in folds: the same numbers as everywhere else, whoever asks."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from decide_samples import BLUE, PALE, RED

import weavecolor as wc
from weavecolor.cli import run
from weavecolor.colour.colorimetry import ciede2000
from weavecolor.decide import bounds, evaluate, nearest
from weavecolor.decide.candidates import Material, candidates
from weavecolor.decide.compare import Option, steps
from weavecolor.decide.compare import evaluate as outcomes
from weavecolor.decide.search import search
from weavecolor.decide.shortlist import reasons
from weavecolor.decide.showthrough import show_through, tape
from weavecolor.decide.underlights import suited, under_lights
from weavecolor.decide.wishes import Limits, Wish, total_loss
from weavecolor.files.clothfile import load_swatch
from weavecolor.making.file import from_json, load_making, to_json
from weavecolor.optics.appearance import appearance, contrast_ratio
from weavecolor.optics.stack import Layer, Stack
from weavecolor.report.sheetfrommaking import SheetChoices, making_sheet
from weavecolor.scene import folds
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

WINDOW = scene("window at the side")
HUNG = folds.hung(WINDOW)
GROUNDS = (backing("white"), backing("black"))
TARGET = np.array([45.0, 12.0, 8.0])


@pytest.fixture(scope="module")
def allowed():
    return candidates([Material(RED), Material(BLUE)], GROUNDS, Limits((1, 2)))


def every_stack(allowed):
    for depth in allowed.depths:
        for layers in itertools.product(range(len(allowed.layers)), repeat=depth):
            for behind in allowed.backings:
                yield Stack(tuple(allowed.layers[k] for k in layers), behind)


def test_measures_in_folds_are_the_appearance_in_folds():
    """Of one light and of several, with nothing behind and something, beside looks of cloth held
    flat, which stay as they are by themselves."""
    views = evaluate.viewpoints([HUNG, WINDOW, folds.hung(scene("ballroom"))], True)
    layers = (Layer(RED, 90.0), Layer(PALE, 0.0))
    found = evaluate.exact(layers, (*GROUNDS, None), "loose", views)
    for k, ground in enumerate((*GROUNDS, None)):
        stack = Stack(layers, ground)
        for at, place in enumerate((HUNG, WINDOW, folds.hung(scene("ballroom")))):
            Lab = appearance(stack, place).reading.Lab
            assert found.scenes[k, at] == pytest.approx(Lab, abs=1e-6)
    flat = evaluate.exact(layers, (*GROUNDS, None), "loose", evaluate.viewpoints([WINDOW], True))
    assert np.array_equal(found.turns, flat.turns) and np.array_equal(found.opacity, flat.opacity)
    assert np.array_equal(found.scenes[:, 1], flat.scenes[:, 0])


def test_the_quick_look_in_folds_stays_as_near_the_full_model_as_flat():
    """Over grounds and open air, by the compiled sums and by those of piles."""
    cloths = (RED, BLUE, PALE)
    layers = [Layer(cloth, grain) for cloth in cloths for grain in (0.0, 90.0)]
    piles = np.array(list(itertools.product(range(len(layers)), repeat=2)))[::3]
    for grounds in (GROUNDS, (*GROUNDS, None)):
        worst = []
        for place in (WINDOW, HUNG):
            views = evaluate.viewpoints([place], False)
            quick = evaluate.screen_of(layers, grounds, views, "loose", 2)
            where = np.arange(len(piles)) % len(grounds)
            near = evaluate.screen(quick, piles, where).Lab
            true = np.array([
                evaluate.exact([layers[k] for k in pile], [grounds[g]], "loose", views).Lab[0]
                for pile, g in zip(piles, where, strict=True)
            ])  # fmt: skip
            worst.append(ciede2000(near, true).max())
        assert worst[1] < max(worst[0], 1.0) * 1.5


def test_the_best_in_folds_is_the_best_of_all_stacks_as_they_hang(allowed):
    """Each stack's colour in folds by ``appearance``, for it shares no line with the search."""
    for wish in (Wish("target", TARGET), Wish("deepest"), Wish("brightest")):
        made = search(allowed, [wish], [HUNG])
        losses = []
        for stack in every_stack(allowed):
            Lab = appearance(stack, HUNG).reading.Lab
            losses.append({"target": ciede2000(TARGET, Lab), "deepest": Lab[0],
                           "brightest": 100.0 - Lab[0]}[wish.kind])  # fmt: skip
        assert made.guarantee.complete and made.guarantee.screened == len(losses)
        assert made.options[0].loss == pytest.approx(min(losses), abs=1e-3)
        assert "as it hangs" in made.lying
    assert search(allowed, [Wish("deepest")], [WINDOW]).lying == ""


def test_bounds_hold_in_folds(allowed):
    views = evaluate.viewpoints([HUNG], False)
    quick = evaluate.screen_of(allowed.layers, GROUNDS, views, "loose", 2)
    wishes = (Wish("target", TARGET),)
    everything = []
    for depth in allowed.depths:
        layers, grounds, numbers = allowed.space.stacks(depth, 0, allowed.space.count(depth))
        loss = total_loss(wishes, evaluate.screen(quick, layers, grounds))
        everything += [(round(x, 9), depth, int(n)) for x, n in zip(loss, numbers, strict=True)]
    gathered = bounds.groups(quick, 2)
    cutoff = sorted(everything)[9][0] + 1e-6
    made = [nearest.nearest_block(quick, allowed.space, wishes, gathered, 1, 0, 0, cutoff)]
    made += [
        nearest.nearest_block(quick, allowed.space, wishes, gathered, 2, *task, cutoff)
        for task in nearest.outer_tasks(allowed.space, 2)
    ]
    kept = sorted(
        (round(x, 9), block.depth, int(n))
        for block in made for x, n in zip(block.loss, block.numbers, strict=True)
    )  # fmt: skip
    assert [key[1:] for key in kept] == [key[1:] for key in sorted(everything)[:10]]
    assert sum(block.bounded for block in made) > 0
    few, every = (
        search(allowed, wishes, [HUNG], limit=limit, wanted=6) for limit in (10, 1_000_000)
    )
    assert few.guarantee.decided == every.guarantee.screened == len(everything)
    assert few.options[0].loss == every.options[0].loss and few.guarantee.bounded > 0


@pytest.mark.usefixtures("half_rays")  # by an eighth the finer folds are known to 2 L* only
def test_held_flat_one_grain_of_taffeta_is_far_lighter_and_hung_both_are_as_light():
    """Held flat by the window it shines on the cross; folds show every angle. By four times as many
    parts of folds, drawn otherwise (sines of turns evenly, tilts by the golden section), it is the
    same."""
    cloth = load_swatch("shot-taffeta-green-red")
    limits = Limits((1, 1), grains=(0.0, 90.0), faces=("face",))
    asked = candidates([Material(cloth)], GROUNDS[1:], limits)
    flat, folded = (
        search(asked, [Wish("brightest")], [place], options=2) for place in (WINDOW, HUNG)
    )
    many, tilts = 64, NormalDist(folds.TILT_DEG, folds.TILTS_DEG)
    fine = replace(WINDOW, views=tuple(
        replace(
            folds._turned(
                WINDOW, float(np.arcsin((2.0 * k + 1.0) / many - 1.0)),
                np.radians(tilts.inv_cdf((0.5 + k * 0.6180339887) % 1.0)),
                [x.reach for x in part.lights],
            ),
            share=1.0 / many, diffuse=part.diffuse, around=part.around,
        )
        for k, part in enumerate(np.repeat(HUNG.views, many // folds.PARTS))
    ))  # fmt: skip
    lightness = [
        [appearance(one.stack, place).reading.Lab[0] for one in sorted(
            folded.worked_out, key=lambda one: one.stack.layers[0].grain_deg
        )]
        for place in (WINDOW, HUNG, fine)
    ]  # fmt: skip
    apart = [float(cross - straight) for straight, cross in lightness]
    assert flat.options[0].stack.layers[0].grain_deg == 90.0 and apart[0] > 8.0
    assert abs(apart[1]) < 0.3 * apart[0] and abs(apart[2]) < 0.3 * apart[0]
    assert lightness[1] == pytest.approx(lightness[2], abs=2.5)


def test_one_answer_everywhere(capsys):
    """The command line's ranking, the search, a comparison in folds and its ranges."""
    asked = (
        "decide stacks shot-chiffon-rose-yellow --want deepest --behind black --layers 1 "
        "--hung --options 2"
    ).split()
    assert run([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["scenes"] == [HUNG.name]
    cloth = load_swatch("shot-chiffon-rose-yellow")
    made = search(
        candidates([Material(cloth)], GROUNDS[1:], Limits((1, 1))),
        [Wish("deepest")], [HUNG], options=2,
    )  # fmt: skip
    assert [one["Lab"] for one in told["options"]] == [x.Lab.tolist() for x in made.options]
    (alone,) = outcomes([Option(made.options[0].stack, HUNG)])
    assert made.options[0].Lab == pytest.approx(alone.appearance.reading.Lab, abs=1e-9)
    target = Wish("target", TARGET)
    near = search(
        candidates([Material(cloth)], GROUNDS[1:], Limits((1, 1))), [target], [HUNG], options=1
    ).options[0]
    said = reasons(near, [target], [HUNG])[0]
    (own,) = outcomes([Option(near.stack, HUNG)])
    assert dict(said.numbers)["give or take"] == pytest.approx(own.uncertainty.stated)
    both = [Stack((Layer(cloth, grain),), GROUNDS[1]) for grain in (0.0, 90.0)]
    (step,) = steps(outcomes([Option(stack, HUNG) for stack in both]), [(0, 1)])
    assert wc.difference(*both, hung=True) == step.verdict
    assert run(asked) == 0
    assert "Judged as it hangs, in folds" in capsys.readouterr().out
    assert run([word for word in asked if word != "--hung"]) == 0
    assert "held flat; --hung tells them of folds" in capsys.readouterr().out
    assert run([*asked, "--scene", "lightbox behind"]) == 2
    assert "lights cloth from behind" in capsys.readouterr().err


def test_what_shows_through_and_lights_are_told_in_folds_too(capsys):
    words = ["silk-chiffon-ivory", "--hung"]
    assert run(["decide", "show-through", *words]) == 0
    told = capsys.readouterr().out.splitlines()
    stack = Stack((Layer(load_swatch("silk-chiffon-ivory")),), GROUNDS[0])
    assert told[0] == show_through(tape(stack), HUNG).words and "in folds" in told[0]
    assert run(["decide", "lights", *words, "--scene", "ballroom,overcast"]) == 0
    places = [folds.hung(scene(name)) for name in ("ballroom", "overcast")]
    ticks = []
    found = under_lights(stack, places, progress=lambda *done: ticks.append(done))
    assert found.words in capsys.readouterr().out and ticks == [(1, 2), (2, 2)]
    assert all(place.views and not place.behind for place in suited(Stack(stack.layers), True))
    assert contrast_ratio(stack) == pytest.approx(
        evaluate.exact(stack.layers, GROUNDS[:1], "loose", evaluate.viewpoints([HUNG], False))
        .opacity[0], abs=0.01)  # fmt: skip


def test_a_project_keeps_how_its_wishes_are_judged(tmp_path, capsys):
    mine = str(tmp_path / "mine.json")
    new = (
        f"project new {mine} --cloth shot-chiffon-rose-yellow --behind black --want deepest"
    ).split()
    assert run(new) == 0 and not load_making(mine).hung
    find = ["decide", "stacks", "--project", mine, "--layers", "1", "--options", "1", "--json"]

    def told(*more):
        capsys.readouterr()
        assert run([*find, *more]) == 0
        return capsys.readouterr().out

    flat = told()
    folded = told("--hung", "--keep")
    assert json.loads(flat)["scenes"] == [WINDOW.name]
    assert json.loads(folded)["scenes"] == [HUNG.name]
    # what is kept was judged as it hangs, and so is what is asked next, unless it says otherwise
    kept = load_making(mine)
    assert kept.hung and from_json(to_json(kept)) == kept
    assert run(["project", "show", mine]) == 0
    assert "Wanted: deepest, as it hangs in folds" in capsys.readouterr().out
    assert told() == folded and told("--flat") == flat
    # the sheet tells that colour, though nothing is taken in by gathers
    sheet = making_sheet(
        replace(kept, chosen=kept.options[0].name), SheetChoices("today", ())
    )
    (row,) = [row for row in sheet.colours if row.light.endswith(", in folds")]
    assert row.lab == pytest.approx(json.loads(folded)["options"][0]["Lab"], abs=1e-9)
    assert run([*new, "--replace", "--hung"]) == 0 and load_making(mine).hung


@pytest.mark.parametrize("place", [WINDOW, HUNG])
def test_how_sure_a_grain_is_beside_the_first_is_what_a_comparison_tells(place):
    limits = Limits((1, 1), grains=(0.0, 90.0), faces=("face",))
    asked = candidates([Material(load_swatch("shot-taffeta-green-red"))], GROUNDS[1:], limits)
    found = search(asked, [Wish("deepest")], [place], options=2)
    first, other = (one.stack for one in found.options)
    (step,) = steps(outcomes([Option(first, place), Option(other, place)]), [(0, 1)])
    said = reasons(found.options[1], [Wish("deepest")], [place], found.options[0])
    (told,) = (dict(one.numbers) for one in said if one.words.startswith("Beside the first"))
    assert told["CIEDE2000 to the first"] == pytest.approx(step.delta, abs=1e-6)
    assert told["give or take"] == pytest.approx(step.uncertainty.stated, rel=1e-6)
