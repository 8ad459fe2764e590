"""Counting what may be laid, against plain enumeration."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from decide_samples import BLUE, PALE, RED

from weavecolor.decide.candidates import Material, candidates, same_both_sides
from weavecolor.decide.wishes import Limits, Wish
from weavecolor.errors import InputError
from weavecolor.scene.backings import backing
from weavecolor.textile.construction import cloth_mass_g_m2
from weavecolor.textile.weaves import weave

BOTH = (backing("white"), None)


def listed(found, depth):
    """Every allowed stack of one depth as (layers, backing)."""
    layers, grounds, numbers = found.space.stacks(depth, 0, found.space.count(depth))
    assert np.array_equal(found.space.numbers(layers, grounds), numbers)
    again, ground = found.space.decode(depth, numbers)
    assert np.array_equal(again, layers) and np.array_equal(ground, grounds)
    return {(tuple(row), int(g)) for row, g in zip(layers.tolist(), grounds, strict=True)}


def test_all_stacks_are_counted_once():
    found = candidates([Material(RED), Material(BLUE)], BOTH, Limits((1, 3)))
    assert len(found.layers) == 4  # two cloths, two grains; plain weave is alike on both sides
    assert found.count == (4 + 16 + 64) * 2
    for depth in found.depths:
        want = set(itertools.product(itertools.product(range(4), repeat=depth), range(2)))
        assert listed(found, depth) == want


def test_limits_hold():
    limits = Limits((2, 2), ("blue and gold",), weight_g_m2=2.5 * cloth_mass_g_m2(BLUE))
    found = candidates([Material(RED, 1), Material(BLUE), Material(PALE, 0)], BOTH, limits)
    names = [layer.cloth.name for layer in found.layers]
    assert "pale" not in names
    stacks = listed(found, 2)
    want = {
        (pair, g)
        for pair in itertools.product(range(4), repeat=2)
        for g in range(2)
        if names[pair[0]] == "blue and gold"
    }
    assert stacks == want
    three = candidates([Material(RED, 1), Material(BLUE)], BOTH, replace(limits, layers=(3, 3)))
    assert not listed(three, 3)  # too heavy
    once = candidates([Material(RED, 1)], BOTH, Limits((2, 2)))
    assert not listed(once, 2)  # one layer in hand


def test_bias_can_be_ruled_out():
    assert Limits(grains=(0.0, 45.0, 90.0, 360.0), bias=False).allowed_grains == (0.0, 90.0)
    with pytest.raises(InputError, match="no grain"):
        Limits(grains=(45.0,), bias=False)


def test_sides_of_a_weave():
    assert same_both_sides(weave("plain"))
    assert not same_both_sides(weave("satin 5/2"))
    # 2/2 twill has as much warp as weft up, but its line leans the other way on the back
    # (common practice, no source).
    assert not same_both_sides(weave("twill 2/2"))
    satin = replace(RED, weave=weave("satin 5/2"), ends_per_cm=30.0, picks_per_cm=30.0)
    found = candidates([Material(satin)], BOTH)
    assert {layer.face for layer in found.layers} == {"face", "back"}


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: candidates([], BOTH), "no cloth"),
        (lambda: candidates([Material(RED), Material(RED)], BOTH), "two cloths"),
        (lambda: candidates([Material(RED)], ()), "backing"),
        (lambda: candidates([Material(RED)], BOTH, Limits(outside=("x",))), "not among"),
        (lambda: Material(RED, -1), "whole number"),
        (lambda: Limits((2, 1)), "layers"),
        (lambda: Limits(lay="tight"), "lay: 'tight' is not a way to lay cloth; use touch"),
        (lambda: Limits((1, 13)), "at most"),
        (lambda: Limits(weight_g_m2=0.0), "weight"),
        (lambda: Limits(weight_g_m2=float("inf")), "at most 120000 g/m2"),
        (lambda: Limits(weight_g_m2=float("nan")), "at most 120000 g/m2"),
        (lambda: Wish("shiniest"), "no wish"),
        (lambda: Wish("target"), "target"),
        (lambda: Wish("target", (50, 0)), "three numbers"),
        (lambda: Wish("brightest", weight=0.0), "weight"),
    ],
)
def test_bad_input_is_told(make, words):
    with pytest.raises(InputError, match=words):
        make()
