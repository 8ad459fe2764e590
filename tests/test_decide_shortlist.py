"""Different options, losses and the edge of the trade-off, on given numbers."""

from __future__ import annotations

import numpy as np
import pytest
from decide_samples import BLUE, PALE, RED
from hypothesis import given
from hypothesis import strategies as some

from weavecolor.decide.compare import Option, compare, compare_stacks, step_between
from weavecolor.decide.judged import Evaluation, stack_words
from weavecolor.decide.shortlist import near_copy, order, pick, reasons, simpler
from weavecolor.decide.tradeoff import edge
from weavecolor.decide.wishes import Measures, Wish, loss, total_loss, widest
from weavecolor.errors import InputError
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene


def judged(number, cloths, Lab, value, opacity=0.5, depth=None):
    stack = Stack(tuple(Layer(c) for c in cloths), backing("white"))
    measures = Measures(np.array([[Lab]], float), np.zeros((1, 0, 3)), np.array([opacity]))
    key = depth or len(cloths), number
    return Evaluation(key, stack, measures, value, True, 20.0 * len(cloths))


def test_near_copies_are_left_out():
    a = judged(0, [RED, RED], (40, 20, 10), 1.0)
    b = judged(1, [RED, PALE], (40.5, 20, 10), 1.1)  # looks the same
    c = judged(2, [BLUE], (40, 20, 10), 1.2)  # looks the same, another cloth outside
    d = judged(3, [RED], (55, 20, 10), 1.3)  # looks different
    assert near_copy(a, b) and not near_copy(a, c) and not near_copy(a, d)
    assert pick([d, c, b, a], 5) == [a, c, d]
    assert pick([d, c, b, a], 2) == [a, c]


def test_a_tie_goes_to_fewer_layers_then_to_the_lower_number():
    many = [
        judged(7, [RED, RED], (40, 0, 0), 1.0),
        judged(9, [BLUE], (50, 0, 0), 1.0 + 1e-9),
        judged(3, [PALE], (60, 0, 0), 1.0),
    ]
    assert [one.key for one in order(many)] == [(1, 3), (1, 9), (2, 7)]


def test_a_simpler_way_is_told():
    best = judged(0, [RED, RED, RED], (40, 20, 10), 1.0)
    less = judged(1, [RED], (40.6, 20, 10), 1.4)
    worse = judged(2, [RED], (40.6, 20, 10), 2.4)
    assert simpler(best, [best, less, worse]) is less
    assert simpler(best, [best, worse]) is None and simpler(less, [best, less]) is None
    words = [r.words for r in reasons(best, [Wish("deepest")], [scene("overcast")], best, [less])]
    assert any(w.startswith("Simpler and much the same: red and black") for w in words)
    assert any("60 g/m2" in w for w in words)


def test_losses_are_what_they_say():
    Lab = np.array([[60.0, 0.0, 0.0], [30.0, 0.0, 0.0]])
    scenes = np.stack([Lab, Lab + [3.0, 0, 0], Lab - [6.0, 0, 0]], axis=1)
    measures = Measures(scenes, scenes[:, :2], np.array([0.2, 0.9]))
    assert loss(Wish("brightest"), measures) == pytest.approx([40, 70])
    assert loss(Wish("deepest"), measures) == pytest.approx([60, 30])
    assert loss(Wish("most opaque"), measures) == pytest.approx([80, 10])
    assert loss(Wish("most sheer"), measures) == pytest.approx([20, 90])
    assert loss(Wish("target", Lab[1]), measures)[1] == pytest.approx(0.0)
    # evenness is of the worst two lights, the second and third here
    worst, a, b = widest(scenes)
    assert loss(Wish("most even"), measures) == pytest.approx(worst)
    assert (a.tolist(), b.tolist()) == ([1, 1], [2, 2])
    shot = loss(Wish("least shot"), measures)
    assert loss(Wish("most shot"), measures) == pytest.approx(100 - shot)
    both = (Wish("brightest", weight=3.0), Wish("most sheer"))
    assert total_loss(both, measures) == pytest.approx([0.75 * 40 + 5, 0.75 * 70 + 22.5])


@given(some.lists(some.tuples(some.integers(0, 9), some.integers(0, 9)), min_size=1, max_size=30))
def test_the_edge_is_what_nothing_beats(points):
    x, y = np.array(points, float).T
    want = [
        not any((a >= p and b >= q) and (a > p or b > q) for a, b in points) for p, q in points
    ]
    assert edge(x, y).tolist() == want
    assert edge(-x, y, more_x=False).tolist() == want


def test_edge_wants_two_lists():
    with pytest.raises(InputError, match="equal length"):
        edge(np.zeros(2), np.zeros(3))


def test_words_count_equal_layers():
    stack = Stack((Layer(RED), Layer(RED), Layer(PALE, 90.0, "back")), None)
    assert stack_words(stack) == (
        "2 x red and black, straight grain over pale, cross grain, back out; nothing behind"
    )


WINDOW = scene("window at the side")
WHITE = backing("white")
FIRST = Stack((Layer(RED), Layer(RED)), WHITE)


@pytest.mark.parametrize(
    "other",
    [
        FIRST.turned(90.0),
        Stack((Layer(RED), Layer(RED, 90.0)), WHITE),
        Stack((Layer(RED), Layer(RED, 0.0, "back")), WHITE),
        Stack((Layer(RED),), WHITE),
        Stack(FIRST.layers, backing("black")),
        Stack(FIRST.layers, WHITE, "touching"),
        Stack((Layer(RED, 90.0), Layer(RED)), WHITE, "touching"),
        Stack((Layer(BLUE), Layer(RED)), WHITE),
    ],
    ids=["grain", "grain within", "face", "layers", "ground", "lay", "lay and grain", "cloth"],
)
def test_a_ranking_and_a_comparison_tell_a_difference_alike(other):
    """Beside the first of a ranking, between two options, and where whole stacks are compared by
    their names: one difference, as sure, in the same words."""
    measures = Measures(np.zeros((1, 1, 3)), np.zeros((1, 0, 3)), np.array([0.5]))
    first, second = (
        Evaluation((len(x.layers), k), x, measures, float(k), True, 20.0)
        for k, x in enumerate((FIRST, other))
    )
    said = reasons(second, [Wish("deepest")], [WINDOW], first)
    (told,) = (one for one in said if one.words.startswith("Beside the first option: "))
    step = step_between(Option(FIRST, WINDOW), Option(other, WINDOW))
    assert told.words == f"Beside the first option: {step.verdict.words}"
    named = [Option(x, WINDOW, f"stack {k}") for k, x in enumerate((FIRST, other))]
    for delta, stated in (
        [number for _, number in told.numbers],
        [(by_name := step_between(*named)).delta, by_name.uncertainty.stated],
    ):
        assert delta == pytest.approx(step.delta, abs=1e-9)
        assert stated == pytest.approx(step.uncertainty.stated, abs=1e-9)


def test_a_grain_is_as_sure_where_whole_stacks_are_compared():
    one = compare(RED, (0.0, 90.0), backings=(WHITE,), scenes=(WINDOW,))
    stacks = [Stack((Layer(RED, grain),)) for grain in (0.0, 90.0)]
    whole = compare_stacks(stacks, (WHITE,), (WINDOW,))
    (step,), (other,) = one.steps, whole.steps
    assert (step.axis, other.axis) == ("grain", "stack")
    assert other.uncertainty.stated == pytest.approx(step.uncertainty.stated, abs=1e-9)
