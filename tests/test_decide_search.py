"""The search: the same answer as working everything out, however it is run."""

from __future__ import annotations

import itertools
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from decide_samples import BLUE, PALE, RED, settled_as

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.tristimulus import xyz, xyz_from_lab
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.candidates import Material, candidates
from weavecolor.decide.compare import Option, evaluate, steps
from weavecolor.decide.enoughcloth import fits_by_lay
from weavecolor.decide.judged import Fit
from weavecolor.decide.search import search
from weavecolor.decide.shortlist import near_copy, reasons
from weavecolor.decide.wishes import Limits, Wish
from weavecolor.decide.wishwords import wish_from
from weavecolor.errors import InputError
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene, with_viewer

WINDOW = scene("small window far off")  # sharp sheen, of which a quick look tells least
TARGET = np.array([45.0, 12.0, 8.0])
BACKINGS = (backing("white"), backing("black"))


def materials(*cloths):
    return candidates([Material(c) for c in cloths], BACKINGS, Limits((1, 2)))


@pytest.fixture(scope="module")
def small():
    return materials(RED, BLUE)


@pytest.fixture(scope="module")
def found(small):
    ticks: list[tuple[int, int]] = []
    made = search(
        small, [Wish("target", TARGET)], [WINDOW], progress=lambda d, n: ticks.append((d, n))
    )
    return made, ticks


def signature(made):
    return [
        (one.key, one.loss, one.measures.scenes.tobytes(), one.measures.opacity.tobytes())
        for one in (*made.options, *made.worked_out)
    ], made.guarantee


def test_the_best_is_the_best_of_all(small, found):
    made, _ = found
    losses = {}
    for depth in small.depths:
        for layers in itertools.product(range(len(small.layers)), repeat=depth):
            for g, behind in enumerate(small.backings):
                stack = Stack(tuple(small.layers[k] for k in layers), behind)
                Lab = appearance(stack, WINDOW).reading.Lab
                losses[layers, g] = float(ciede2000(TARGET, Lab))
    best = made.options[0]
    assert best.loss == pytest.approx(min(losses.values()), abs=1e-3)
    assert made.guarantee.complete and made.guarantee.proven
    assert made.guarantee.screened == len(losses) == small.count
    # the bound that the promise rests on holds for the stacks worked out here
    assert made.guarantee.worst_error < made.guarantee.bound
    for one in made.worked_out:
        layers, grounds = small.space.decode(one.key[0], np.array([one.key[1]]))
        assert one.loss == pytest.approx(losses[tuple(layers[0]), int(grounds[0])], abs=1e-3)
    # of few worked out, the places called sure are not beaten by any stack left to the quick look
    unsure = 0
    for budget in (1, 4, 40):
        made = search(small, [Wish("target", TARGET)], [WINDOW], budget=budget, sample=4)
        worked = {one.key for one in made.worked_out}
        left = [
            loss for (layers, g), loss in losses.items()
            if (len(layers), int(small.space.numbers(np.array([layers]), np.array([g]))[0]))
            not in worked
        ]
        promise = made.guarantee
        assert promise.listed == len(made.options) and promise.sure <= promise.listed
        assert all(one.loss <= min(left, default=np.inf) for one in made.options[: promise.sure])
        said = "may be beaten, within that error" in promise.words
        assert said == (promise.proven and promise.sure < promise.listed)
        unsure += promise.sure < promise.listed
    assert unsure  # by few worked out some places are not


def test_the_order_in_which_cloths_and_grounds_are_named_changes_no_answer():
    """Few are worked out in full, so that which they are could hang on the order."""
    asked = dict(options=5, sample=2, budget=3)
    answers = []
    for way in (1, -1):
        allowed = candidates(
            [Material(RED), Material(BLUE)][::way],
            [*BACKINGS, None][::way],
            Limits((1, 2), grains=(0.0, 45.0, 90.0)[::way], faces=("face", "back")[::way]),
        )
        made = search(allowed, [Wish("target", TARGET)], [WINDOW], **asked)
        answers.append([(j.words, j.loss, j.exact) for j in made.options])
        answers[-1] += [made.guarantee.bound, made.guarantee.margin]
    assert answers[0] == answers[1]


def test_options_are_truly_different_and_in_order(found):
    made, _ = found
    assert len(made.options) >= 2
    assert all(one.exact for one in made.options)
    losses = [one.loss for one in made.options]
    assert losses == sorted(losses)
    for a, b in itertools.combinations(made.options, 2):
        assert not near_copy(a, b)
    words = " ".join(r.words for r in reasons(made.options[1], made.wishes, made.scenes,
                                              made.options[0], made.worked_out))  # fmt: skip
    assert f"within {losses[1]:.1f} CIEDE2000 of the target" in words
    assert "Beside the first option" in words


def test_progress_runs_up_to_the_end(found):
    _, ticks = found
    done = [d for d, _ in ticks]
    assert done == sorted(done) and ticks[-1][0] == ticks[-1][1]
    assert len({n for _, n in ticks}) == 1 and len(done) > 5


def test_again_and_on_threads_it_is_the_same(small, found):
    made, _ = found
    with ThreadPoolExecutor(2) as pool:
        threaded = search(small, [Wish("target", TARGET)], [WINDOW], executor=pool)
    assert signature(threaded) == signature(made)


def test_a_wide_beam_finds_what_all_finds(small, found):
    made, _ = found
    wide = search(small, [Wish("target", TARGET)], [WINDOW], limit=10, most=10, beam=10_000)
    assert not wide.guarantee.complete and not wide.guarantee.proven
    assert wide.guarantee.screened == made.guarantee.screened
    assert [o.key for o in wide.options] == [o.key for o in made.options]
    narrow = search(small, [Wish("target", TARGET)], [WINDOW], limit=10, most=10, beam=1)
    # every single layer, and every layer under the one best
    assert narrow.guarantee.screened == 4 * 2 + 1 * 4 * 2
    assert narrow.options[0].loss >= made.options[0].loss - 1e-9
    assert "may have been missed" in narrow.guarantee.words


def test_a_small_budget_is_owned_up_to(small):
    made = search(small, [Wish("deepest")], [WINDOW], budget=1, sample=1, options=1)
    if not made.guarantee.proven:
        assert "may be better" in made.guarantee.words
        assert made.guarantee.margin <= made.guarantee.bound
    assert made.guarantee.complete


def test_it_stops_when_asked(small):
    with pytest.raises(InputError, match="stopped"):
        search(small, [Wish("deepest")], [WINDOW], stop=lambda: True)
    # two cloths, and two blocks, one for each depth, then no more
    asked = iter([False, False, False, False])
    made = search(small, [Wish("deepest")], [WINDOW], stop=lambda: next(asked, True))
    assert made.guarantee.stopped and not made.guarantee.proven
    assert made.options and not made.options[0].exact
    assert made.guarantee.words.startswith("Stopped early")


@pytest.mark.parametrize("kind", ["brightest", "most opaque", "most sheer", "most shot"])
def test_wishes_order_as_they_say(kind):
    made = search(materials(RED, PALE), [Wish(kind)], [WINDOW], budget=6, sample=3, options=3)
    best, others = made.options[0], made.worked_out
    value = {
        "brightest": lambda one: one.Lab[0],
        "most opaque": lambda one: one.opacity,
        "most sheer": lambda one: -one.opacity,
        "most shot": lambda one: ciede2000(
            one.measures.turns[0][:, None], one.measures.turns[0][None]
        ).max(),
    }[kind]
    assert value(best) >= max(value(one) for one in others) - 1e-6
    if kind == "brightest":
        assert {layer.cloth.name for layer in best.stack.layers} == {"pale"}
        assert best.stack.backing.name == "white"


def test_even_needs_two_lights_and_names_the_worst():
    with pytest.raises(InputError, match="two scenes"):
        search(materials(RED), [Wish("most even")], [WINDOW])
    scenes = [WINDOW, scene("overcast"), scene("candlelit")]
    made = search(materials(RED, PALE), [Wish("most even")], scenes, budget=4, sample=2, options=2)
    said = reasons(made.options[0], made.wishes, made.scenes)[0]
    whites = [xyz(one.white, one.white) for one in scenes]
    Labs = np.array([
        settled_as(xyz_from_lab(Lab, white), white)
        for Lab, white in zip(made.options[0].measures.scenes[0], whites, strict=True)
    ])  # fmt: skip
    worst = ciede2000(Labs[:, None], Labs[None])
    a, b = np.unravel_index(worst.argmax(), worst.shape)
    assert dict(said.numbers)["worst CIEDE2000 between lights"] == pytest.approx(worst.max())
    assert scenes[a].name in said.words and scenes[b].name in said.words
    doubt = dict(said.numbers)["give or take"]  # as surely as in a comparison of those two
    pair = evaluate([Option(made.options[0].stack, scenes[k]) for k in (a, b)])
    assert doubt == pytest.approx(steps(pair, [(0, 1)])[0].uncertainty.stated)
    assert f"{worst.max():.1f} CIEDE2000 at most, give or take {doubt:.1f};" in said.words


def test_how_far_it_shoots_is_told_as_surely_as_that_turn_in_a_comparison():
    window = scene("window at the side")
    made = search(materials(RED), [Wish("most shot")], [window], budget=4, sample=2, options=1)
    best = made.options[0]
    said = reasons(best, made.wishes, made.scenes)[0]
    numbers = dict(said.numbers)
    angles = [float(x) for x in re.findall(r"between (\d+) and (\d+) degrees", said.words)[0]]
    slant = with_viewer(window, 45.0)
    turned = [
        replace(best.stack, layers=tuple(
            replace(x, grain_deg=x.grain_deg + angle) for x in best.stack.layers
        ))
        for angle in angles
    ]  # fmt: skip
    (step,) = steps(evaluate([Option(one, slant) for one in turned]), [(0, 1)])
    assert step.axis == "grain"
    assert numbers["CIEDE2000 travel"] == pytest.approx(step.delta, abs=0.3)
    assert numbers["give or take"] == pytest.approx(step.uncertainty.stated)
    far = f"{numbers['CIEDE2000 travel']:.1f} CIEDE2000"
    told = f"{far}, give or take {step.uncertainty.stated:.1f}"
    assert f"held flat and seen at a slant, its colour moves by {told}, most between" in said.words
    # a move that is less than how far off it may be is not told as if it were sure
    unsure = step.verdict is not None and step.verdict.sees is None
    assert said.words.endswith("turn a piece and look.") == unsure


def test_a_screen_colour_is_sought_as_it_looks_by_candle():
    """Every option's own screen colour, as it is told by candle, finds that option."""
    candles, wanted = scene("candlelit"), materials(RED, BLUE)
    for cloth, behind, other in ((RED, 0, 1), (BLUE, 0, 0), (BLUE, 1, 1)):
        stack = Stack((Layer(cloth, 90.0 * other),), BACKINGS[behind])
        seen = appearance(stack, candles).reading
        assert seen.in_srgb
        made = search(wanted, [wish_from(f"target {seen.hex}")], [candles], options=1)
        best = made.options[0]
        assert best.loss < 0.5  # an eighth bit
        assert best.stack.layers[0].cloth == cloth and best.stack.backing == stack.backing
        (near, looks, *_) = reasons(best, made.wishes, made.scenes)
        assert near.words.startswith(f"Comes within {best.loss:.1f} CIEDE2000 of the target")
        # as sure as a comparison says of the same stack
        (outcome,) = evaluate([Option(best.stack, candles)])
        doubt = outcome.uncertainty.stated
        assert looks.words == (
            f"Looks {seen.words} in candlelit, give or take {doubt:.1f} CIEDE2000."
        )
        assert dict(looks.numbers)["give or take"] == pytest.approx(doubt)


def test_cloth_that_does_not_go_round_is_set_aside():
    # One panel of 60 x 150 cm: on cloth 80 wide and 200 long it lies along the warp, never across.
    panel = Piece("panel", ((0, 0), (60, 0), (60, 150), (0, 150)), seam_cm=0.0)
    fits = fits_by_lay([panel], {"red and black": [ClothInHand(80.0, 200.0)]})
    found = candidates([Material(RED)], BACKINGS[:1], Limits((1, 2)))
    straight = fits(Stack((found.layers[0],)))
    cross = fits(Stack((found.layers[1],)))
    assert straight.enough is True and "straight grain fits" in straight.words
    assert cross.enough is False and "straight grain fits" in cross.words
    twice = fits(Stack((found.layers[0],) * 2))
    assert twice.enough is False  # 300 cm of length for two panels, and 200 there
    made = search(found, [Wish("deepest")], [WINDOW], fits=fits)
    assert [len(one.stack.layers) for one in made.options] == [1]
    assert made.options[0].stack.layers[0].grain_deg == 0.0
    assert made.options[0].fit.enough
    # one layer over white is the lightest there is, so something deeper was set aside
    assert made.too_little_cloth and made.too_little_cloth[0].loss < made.options[0].loss
    assert made.too_little_cloth[0].fit.enough is False


def _lacking(stack):
    """Enough for one straight layer of the pale cloth, and no more of anything."""
    return Fit(len(stack.layers) == 1 and stack.layers[0].cloth is PALE
               and stack.layers[0].grain_deg == 0.0, "as told")  # fmt: skip


@pytest.mark.parametrize("limit", [1_000_000, 1])
def test_a_search_whose_best_all_lack_cloth_looks_further(monkeypatch, limit):
    """Only one stack of all has enough cloth, and it is the furthest from what is wanted: with
    and without bounds it is found, and the deeper ones are told of."""
    monkeypatch.setattr("weavecolor.decide.search._POOL", 4)
    found = candidates(
        [Material(RED), Material(BLUE), Material(PALE)], BACKINGS[:1],
        Limits((1, 2), grains=(0.0, 90.0)),
    )  # fmt: skip
    made = search(found, [Wish("deepest")], [WINDOW], fits=_lacking, limit=limit, wanted=4,
                  sample=3, budget=6)  # fmt: skip
    (one,) = made.options
    assert one.stack.layers[0].cloth is PALE and one.fit.enough and not made.lack
    assert made.guarantee.complete
    if limit == 1:  # without bounds the best of each kind is kept besides, and this is one
        assert made.guarantee.proven and made.guarantee.ruled_out > 0
    assert made.too_little_cloth and all(j.loss < one.loss for j in made.too_little_cloth)


def test_a_search_for_which_no_cloth_suffices_says_so():
    none = search(
        candidates([Material(RED)], BACKINGS[:1], Limits((1, 2), grains=(0.0,))),
        [Wish("deepest")], [WINDOW], fits=_lacking, sample=2, budget=2,
    )  # fmt: skip
    assert not none.options and none.too_little_cloth
    assert "No stack" in none.lack and "fewer layers" in none.lack


def test_unlisted_cloth_counts_as_enough_and_several_lengths_are_filled_one_after_another():
    panel = Piece("panel", ((0, 0), (60, 0), (60, 150), (0, 150)), seam_cm=0.0)
    found = candidates([Material(RED), Material(BLUE)], BACKINGS[:1], Limits((1, 2)))
    fits = fits_by_lay([panel], {"red and black": [ClothInHand(70.0, 160.0)] * 2})
    red, blue = (next(x for x in found.layers if x.cloth is one) for one in (RED, BLUE))
    answer = fits(Stack((blue,)))
    assert answer.enough is True and "not given" in answer.words
    assert fits(Stack((red,) * 2)).enough is True
    assert fits(Stack((red,) * 3)).enough is False


def test_nothing_allowed_is_told():
    none = candidates([Material(RED)], BACKINGS, Limits((1, 1), weight_g_m2=0.5))
    with pytest.raises(InputError, match="within the limits"):
        search(none, [Wish("deepest")], [WINDOW])
    with pytest.raises(InputError, match="at least one wish"):
        search(none, [], [WINDOW])
