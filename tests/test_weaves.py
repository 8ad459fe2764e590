"""Lift plans against their definitions in weaving."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from weavecolor.errors import InputError
from weavecolor.textile.weaves import (
    from_rows,
    half_turn,
    interlacings,
    translations,
    weave,
)


def drawn(spec):
    return ["".join(".X"[up] for up in row) for row in weave(spec).lift]


@pytest.mark.parametrize(
    ("spec", "plan"),
    [
        ("plain", ["X.", ".X"]),
        ("Tabby", ["X.", ".X"]),
        ("twill 2/1", ["XX.", ".XX", "X.X"]),
        ("twill 2/1 left", ["XX.", "X.X", ".XX"]),
        ("twill 2/2", ["XX..", ".XX.", "..XX", "X..X"]),
        ("warp rib 2/2", ["X.", "X.", ".X", ".X"]),
        ("weft rib 2/2", ["XX..", "..XX"]),
        ("hopsack 2/2", ["XX..", "XX..", "..XX", "..XX"]),
        ("basket 2x1", ["XX..", "..XX"]),
        ("sateen 5/2", ["X....", "..X..", "....X", ".X...", "...X."]),
    ],
)
def test_named_plans(spec, plan):
    assert drawn(spec) == plan


def test_right_twill_rises_to_the_right():
    # Z line: each pick's float starts one end further right than the pick before.
    lift = np.array(weave("twill 3/1").lift)
    assert np.array_equal(lift[1], np.roll(lift[0], 1))
    left = np.array(weave("twill 3/1 left").lift)
    assert np.array_equal(left[1], np.roll(left[0], -1))


@given(st.integers(5, 30), st.integers(2, 28))
def test_regular_satin_ties_each_end_once_per_pick(ends, counter):
    # A satin on n ends has a regular counter k when k and n share no factor, 1 < k < n - 1
    # (any text on weave structure).
    regular = 1 < counter < ends - 1 and math.gcd(ends, counter) == 1
    if not regular:
        with pytest.raises(InputError, match="counter|no regular satin"):
            weave(f"satin {ends}/{counter}")
        return
    lift = np.array(weave(f"satin {ends}/{counter}").lift)
    assert (lift == 0).sum(axis=0).tolist() == [1] * ends
    assert (lift == 0).sum(axis=1).tolist() == [1] * ends
    assert not np.any((lift == 0) & (np.roll(lift, (1, 1), (0, 1)) == 0))
    back = np.array(weave(f"sateen {ends}/{counter}").lift)
    assert np.array_equal(back, 1 - lift)


def test_no_regular_satin_on_six_ends():
    # The known gap: 6 has no counter prime to it other than 1 and 5.
    with pytest.raises(InputError, match="no regular satin on 6 ends"):
        weave("satin 6")


@pytest.mark.parametrize(
    ("spec", "cells"),
    # Threads of the smallest repeat: 2 for plain, n for twill and satin on n.
    [("plain", 2), ("twill 2/2", 4), ("twill 2/1", 3), ("satin 8/3", 8), ("hopsack 2/2", 8)],
)
def test_translations_reduce_the_repeat_to_its_cell(spec, cells):
    lift = np.array(weave(spec).lift)
    shifts = translations(weave(spec).lift)
    assert shifts[0] == (0, 0)
    assert lift.size == cells * len(shifts)
    assert all(np.array_equal(np.roll(lift, shift, (0, 1)), lift) for shift in shifts)


def test_interlacings():
    assert interlacings(weave("plain").lift) == (2, 2)
    assert interlacings(weave("twill 3/1/1/1").lift) == (4, 4)
    assert interlacings(weave("satin 8/3").lift) == (2, 2)


def test_rows_may_be_numbers():
    assert from_rows([[1, 0], [0, 1]]).lift == weave("plain").lift
    assert from_rows(["10", "01"]).lift == weave("plain").lift


@pytest.mark.parametrize(
    ("rows", "complaint"),
    [
        (["XX", ".X"], "end 2 never interlaces"),
        (["X.", "X."], "end 1 never interlaces"),
        (["X.X", ".X.", "XXX"], "pick 3 never interlaces"),
        (["X.", ".X."], "same number of ends"),
        (["X?", ".X"], "row 1: '\\?' is not a mark"),
        ([[2, 0], [0, 1]], "row 1: a lift plan holds 0 and 1"),
        ([[True, 0], [0, 1]], "row 1: a lift plan holds 0 and 1"),
        ([["X", 0], [0, 1]], "row 1: a lift plan holds 0 and 1"),
        ([float("nan")], "row 1"),
        ([[]], "row 1 is empty"),
        ([], "list of rows"),
        ({}, "list of rows"),
        ([["X"] * 500], "at most 128 ends"),
        (["X."] * 500, "at most 128 picks"),
    ],
)
def test_bad_rows(rows, complaint):
    with pytest.raises(InputError, match=complaint):
        from_rows(rows)


def test_two_cloths_one_above_the_other_fall_apart():
    # Every end and pick interlaces, yet odd threads all lie on even ones: an unstitched double
    # cloth (the classic counter-example of Grunbaum and Shephard; from memory).
    rows = ["XX.X", "...X", ".XXX", ".X.."]
    plan = np.array([[mark == "X" for mark in row] for row in rows])
    assert all(0 < line.sum() < 4 for line in (*plan, *plan.T))
    with pytest.raises(InputError, match="fall apart"):
        from_rows(rows)


@given(st.integers(0, 2**32 - 1))
def test_as_many_sets_fall_apart_as_a_graph_of_the_crossings_has_strong_parts(seed):
    # SciPy finds the parts of the graph; plans of which one half lies on the other come up too
    rng = np.random.default_rng(seed)
    picks, ends = rng.integers(2, 10, 2)
    plan = (rng.random((picks, ends)) < rng.choice([0.2, 0.5, 0.8])).astype(int)
    if rng.random() < 0.8:
        at, to = rng.integers(1, picks), rng.integers(1, ends)
        plan[:at, to:], plan[at:, :to] = 0, 1
    plan = plan[rng.permutation(picks)][:, rng.permutation(ends)]
    graph = np.zeros((picks + ends, picks + ends), int)
    graph[picks:, :picks], graph[:picks, picks:] = plan.T, 1 - plan
    parts, _ = connected_components(csr_array(graph), directed=True, connection="strong")
    try:
        from_rows(plan.tolist())
        assert parts == 1
    except InputError as error:
        found = re.search(r"weaves (\d+) sets", str(error))
        assert "never interlaces" in str(error) or int(found[1]) == parts > 1


@pytest.mark.parametrize(
    "spec",
    ["linen", "twill", "twill 2", "twill 1/1", "twill 2/0", "satin", "satin 4", "satin 8/4",
     "plain 2/2", "satin 8/3 left", "hopsack", "twill 200/200", "twill 2/2/1", ""],
)  # fmt: skip
def test_bad_names_are_one_line(spec):
    with pytest.raises(InputError) as caught:
        weave(spec)
    assert "\n" not in str(caught.value)


# Half a turn in the cloth's plane. A regular twill or satin has one: its diagonals run back on
# themselves (common practice, no source).


@pytest.mark.parametrize("spec", ["plain", "twill 2/1", "twill 3/1", "twill 2/2", "satin 5/2",
                                  "satin 8/3", "hopsack 2/2"])  # fmt: skip
def test_half_a_turn_leaves_regular_weaves_as_they_were(spec):
    lift = weave(spec).lift
    about = half_turn(lift)
    assert about is not None
    picks, ends = len(lift), len(lift[0])
    for pick in range(picks):
        for end in range(ends):
            there = lift[(about[0] - pick) % picks][(about[1] - end) % ends]
            assert there == lift[pick][end]


def test_a_plan_without_a_half_turn_has_none():
    # a bar of raised crossings has one about its middle; an L has none
    plan = np.zeros((5, 5), int)
    plan[0, :3] = 1
    assert half_turn(tuple(map(tuple, plan.tolist()))) == (0, 2)
    plan[1, 0] = 1
    assert half_turn(tuple(map(tuple, plan.tolist()))) is None
