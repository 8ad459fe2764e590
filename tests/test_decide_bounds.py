"""Bounds of a search are proved; here they are held to every stack, and to other libraries."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from decide_samples import catalogue
from hypothesis import given, settings
from hypothesis import strategies as st

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.decide import bounds, evaluate, nearest
from weavecolor.decide.blocks import KEPT, Task, best_first, screen_block
from weavecolor.decide.candidates import Material, candidates
from weavecolor.decide.search import search
from weavecolor.decide.wishes import Limits, Wish, total_loss
from weavecolor.optics.appearance import appearance
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

WINDOW = scene("window at the side")
BACKINGS = tuple(map(backing, ("white", "black", "calico", "navy")))
WISHES = [
    (Wish("target", np.array([45.0, 12.0, 8.0])),),
    (Wish("target", np.array([28.0, -3.0, -20.0])),),
    (Wish("deepest"),),
    (Wish("brightest"),),
    (Wish("most opaque"),),
    (Wish("most sheer"),),
    (Wish("target", np.array([60.0, 5.0, 20.0]), 2.0), Wish("most opaque")),
]


@pytest.fixture(scope="module")
def many():
    """Sixteen cloths at two grains, two of them scarce: some 4 200 stacks of one or two layers."""
    cloths = catalogue(16)
    materials = [Material(cloth, 1 if k < 2 else None) for k, cloth in enumerate(cloths)]
    found = candidates(materials, BACKINGS, Limits((1, 2)))
    views = evaluate.viewpoints([WINDOW], False)
    return found, evaluate.screen_of(found.layers, BACKINGS, views, "loose", 2)


def everything(found, quick, wishes):
    """Keys and losses of every allowed stack, best first."""
    numbers, losses, depths = [], [], []
    for depth in found.depths:
        layers, grounds, mine = found.space.stacks(depth, 0, found.space.count(depth))
        numbers.append(mine)
        losses.append(total_loss(wishes, evaluate.screen(quick, layers, grounds)))
        depths.append(np.full(mine.size, depth))
    depth, number, loss = map(np.concatenate, (depths, numbers, losses))
    order = np.lexsort((number, depth, np.round(loss, 6)))
    return [(int(depth[k]), int(number[k])) for k in order], loss[order]


@pytest.mark.parametrize("wishes", WISHES, ids=lambda wishes: " and ".join(w.kind for w in wishes))
def test_what_bounds_leave_is_the_best_of_all_stacks(many, wishes):
    found, quick = many
    keys, losses = everything(found, quick, wishes)
    wanted = 40
    begun = nearest.start(quick, found.space, wishes, found.depths, wanted, 100)
    assert begun.cutoff >= losses[wanted - 1]
    gathered = bounds.groups(quick, 3)
    made = [nearest.nearest_block(quick, found.space, wishes, gathered, 1, 0, 0, begun.cutoff)]
    made += [
        nearest.nearest_block(quick, found.space, wishes, gathered, 2, first, last, begun.cutoff)
        for first, last in nearest.outer_tasks(found.space, 2)
    ]
    numbers = np.concatenate([block.numbers for block in made])
    loss = np.concatenate([block.loss for block in made])
    depth = np.concatenate([np.full(block.numbers.size, block.depth) for block in made])
    order = np.lexsort((numbers, depth, np.round(loss, 6)))
    # every stack within the cutoff, no other, with the very same loss
    within = int((losses <= begun.cutoff).sum())
    assert within >= wanted
    assert [(int(depth[k]), int(numbers[k])) for k in order] == keys[:within]
    assert loss[order] == pytest.approx(losses[:within], abs=1e-9)
    # every stack counted once, most of them never computed
    computed, bounded, ruled_out = (
        sum(getattr(block, name) for block in made) for name in ("count", "bounded", "ruled_out")
    )
    assert computed + bounded == len(keys)
    assert computed + bounded + ruled_out == found.count and ruled_out > 0
    assert bounded > 0.2 * len(keys)


def test_no_stack_of_a_group_beats_its_bound(many):
    found, quick = many
    outer = np.arange(0, found.space.cloth.size, 7)[:, None]
    gathered = bounds.groups(quick, 5)
    assert np.array_equal(np.sort(np.concatenate(gathered)), np.arange(found.space.cloth.size))
    order = np.concatenate(gathered)
    sizes = np.array([members.size for members in gathered])
    piles = np.stack([np.repeat(outer[:, 0], order.size), np.tile(order, outer.shape[0])], axis=1)
    uppers, behind = evaluate.outer_piles(quick, outer, piles)
    n = outer.shape[0]
    runs = np.cumsum(np.concatenate([[0], np.tile(sizes, n)[:-1]]))
    XYZ, cover = evaluate.read_main(quick, piles)
    for wishes in WISHES:
        least = bounds.least_loss(
            quick, wishes, uppers, bounds.ends(quick.lowers, gathered),
            np.repeat(np.arange(n), sizes.size), np.tile(np.arange(sizes.size), n),
            bounds.all_behind(behind, runs),
        )  # fmt: skip
        true = nearest._losses(quick, wishes, XYZ, cover)  # (piles, backings)
        smallest = np.minimum.reduceat(true, runs, axis=0)
        assert (least <= smallest).all()
        assert np.isfinite(least).all()
        # and it says something: most bounds come to a good part of the truth
        assert np.median(least / np.maximum(smallest, 1e-9)) > 0.3


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_bound_of_ciede2000_holds_by_another_library(seed):
    draw = np.random.default_rng(seed)
    stretch = np.array([1.0, *np.full(2, draw.choice([0.05, 0.3, 1.0]))])
    target = np.array([draw.uniform(0, 100), *draw.uniform(-100, 100, 2)]) * stretch
    near = target + draw.normal(0, 8, 3)
    far = np.array([draw.uniform(0, 100), *draw.uniform(-100, 100, 2)]) * stretch
    centre = near if draw.random() < 0.5 else far
    width = draw.uniform(0, 1, 3) * draw.choice([0.0, 0.1, 2.0, 20.0])
    low, high = centre - width, centre + width
    low[0], high[0] = np.clip([low[0], high[0]], 0, 100)
    inside = low + (high - low) * draw.random((200, 3))
    corners = np.array(np.meshgrid(*zip(low, high, strict=True))).T.reshape(-1, 3)
    closest = np.clip(target, low, high)[None]
    points = np.concatenate([inside, corners, closest])
    truth = colour.delta_E(np.broadcast_to(target, points.shape), points, method="CIE 2000")
    bound = float(bounds.least_ciede2000(target, low[None], high[None])[0])
    assert bound <= truth.min() + 1e-9
    assert bound >= 0.0
    if np.array_equal(low, high):  # of one colour it is no idle bound
        assert bound >= 0.1 * truth.min()


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_a_box_of_lab_holds_every_xyz_between(seed):
    draw = np.random.default_rng(seed)
    white = np.array([95.047, 100.0, 108.883])
    low = draw.uniform(0, 60, 3) * draw.choice([0.001, 0.1, 1.0])
    high = low * draw.uniform(1.0, 2.0, 3)
    dark, light = bounds.lab_box(low[None], high[None], white)
    XYZ = low + (high - low) * draw.random((100, 3))
    Lab = colour.XYZ_to_Lab(XYZ / 100.0, colour.XYZ_to_xy(white / 100.0))
    assert (Lab >= dark - 1e-6).all() and (Lab <= light + 1e-6).all()


def test_with_bounds_the_search_finds_the_best_of_all_by_the_full_model():
    found = candidates([Material(c) for c in catalogue(5, seed=4)], BACKINGS[:2], Limits((1, 2)))
    target = np.array([40.0, 10.0, 10.0])
    made = search(found, [Wish("target", target)], [WINDOW], limit=1, wanted=30, options=3)
    losses = [
        float(ciede2000(target, appearance(found.stack(layers, ground), WINDOW).reading.Lab))
        for depth in found.depths
        for layers, ground in zip(*found.space.decode(depth, np.arange(found.space.count(depth))),
                                  strict=True)
    ]  # fmt: skip
    assert made.options[0].loss == pytest.approx(min(losses), abs=1e-3)
    promise = made.guarantee
    assert promise.complete and promise.decided == found.count == len(losses)
    assert f"{promise.screened} computed, {promise.bounded} bounded away" in promise.words
    plain = search(found, [Wish("target", target)], [WINDOW], options=3)
    assert plain.guarantee.bounded == 0 and plain.guarantee.screened == found.count
    assert made.options[0].key == plain.options[0].key


def test_limits_rule_out_and_are_counted(many):
    found, quick = many
    block = screen_block(quick, found.space, WISHES[0], Task(2, 0, 400), 10, 0)
    assert block.count + block.ruled_out == 400 and block.ruled_out > 0
    assert block.numbers.size <= KEPT + found.space.cloth.size * found.space.grounds
    assert np.array_equal(best_first(block.loss, block.numbers), np.arange(block.loss.size))
