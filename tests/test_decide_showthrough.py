"""What shows through, and what hides it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from decide_samples import BLUE, PALE, RED

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.decide import showthrough as st
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import CLOTH, Backing, backing
from weavecolor.scene.places import scene

OVERCAST = scene("overcast")
WHITE = backing("white")


def stacked(count, cloth=PALE, behind=WHITE):
    return Stack((Layer(cloth),) * count, behind)


def test_tape_shows_less_under_every_further_layer():
    deltas = [st.show_through(st.tape(stacked(n), "dark"), OVERCAST).delta for n in range(1, 5)]
    assert all(a > b for a, b in zip(deltas, deltas[1:], strict=False))
    assert deltas[0] > st.PLAIN


def test_the_difference_is_that_of_the_two_stacks():
    item = st.tape(stacked(1), "dark")
    there = Stack(stacked(1).layers, st.DARK_TAPE)
    want = ciede2000(
        *(appearance(s, OVERCAST).reading.Lab for s in (there, stacked(1)))
    )
    assert st.show_through(item, OVERCAST).delta == pytest.approx(float(want), abs=1e-9)


def test_dark_tape_under_sheer_cloth_is_plain_though_the_yarn_is_assumed():
    # what is not known of the yarn makes it more or less plain, and white tape on white unsure
    organza = load_swatch("shot-organza-red-black")
    dark, white = (
        st.show_through(st.tape(stacked(1, organza), tone), scene("window at the side"))
        for tone in ("dark", "white")
    )
    assert dark.grade == "plain" and "may be" not in dark.words
    assert dark.words.startswith("Dark bone channel tape, 3/8 inch: plain")
    # what may be otherwise is not told as if it were so
    assert "may be" in white.words and f": likely {white.grade}" in white.words


def test_what_is_faint_by_day_may_be_hidden_by_candle():
    stack, dark = stacked(1, RED), replace(OVERCAST, dim=True)
    lower = 0
    for shade in (0.87, 0.80, 0.7, 0.5):
        item = st.Item("shade", replace(stack, backing=Backing("x", np.full(41, shade))), stack)
        by_day, by_candle = st.show_through(item, OVERCAST), st.show_through(item, dark)
        assert (by_candle.delta, by_candle.uncertainty) == (by_day.delta, by_day.uncertainty)
        least = st.grade(max(by_day.delta - by_day.uncertainty, 0.0) / 2.0)
        assert by_candle.possible[0] == least and by_candle.possible[-1] == by_day.possible[-1]
        lower += least != by_day.possible[0]
    assert lower


def test_tape_like_the_backing_is_hidden():
    grey = Backing("grey", np.full(41, 0.04), CLOTH)
    result = st.show_through(st.tape(stacked(1, behind=grey), "dark"), OVERCAST)
    assert result.delta == pytest.approx(0.0, abs=1e-9)
    assert result.grade == "hidden" and "hidden" in result.words


def test_grades_follow_the_thresholds():
    # 1 just noticeable (common practice); 2.5 is grade 3-4 of the grey scale (ISO 105-A02).
    assert [st.grade(d) for d in (0.0, 0.99, 1.0, 2.49, 2.5, 30.0)] == [
        "hidden", "hidden", "faint", "faint", "plain", "plain",
    ]  # fmt: skip
    result = st.show_through(st.tape(stacked(1), "dark"), OVERCAST)
    low, high = result.delta - result.uncertainty, result.delta + result.uncertainty
    assert result.possible[0] == st.grade(max(low, 0.0))
    assert result.possible[-1] == st.grade(high)
    assert f"{result.delta:.1f} give or take {result.uncertainty:.1f}" in result.words


def test_seam_allowances_are_the_cloth_again():
    one = Stack((Layer(RED), Layer(PALE)), WHITE)
    faces = {
        finish: [
            (x.cloth.name, x.face) for x in st.seam_allowance(one, finish, BLUE).there.layers
        ]
        for finish in ("open", "doubled", "bound")
    }
    red, back, pale = ("red and black", "face"), ("red and black", "back"), ("pale", "face")
    blue = ("blue and gold", "face")
    assert faces["open"] == [red, back, pale]
    assert faces["doubled"] == [red, back, red, pale]
    assert faces["bound"] == [red, blue, back, red, blue, pale]
    assert st.seam_allowance(one).beside is one
    bias = Stack((Layer(RED, 30.0),), WHITE)  # plain geometry: what is folded under is mirrored
    grains = [x.grain_deg for x in st.seam_allowance(bias).there.layers]
    assert grains == [30.0, -30.0, 30.0]
    assert len(st.pocket(one).there.layers) == 4
    assert [x.cloth.name for x in st.lining_edge(one).beside.layers] == ["red and black"]


def test_least_layers_that_hide_and_backing_that_hides():
    def make(stack):
        return st.tape(stack, "dark")

    tried = st.by_layers(stacked(1), make, OVERCAST, most=3)
    count = st.least_layers(tried)
    deltas = [t.result.delta for t in tried]
    want = next((n for n, d in enumerate(deltas, 1) if d < 1.0), None)
    assert count == want
    assert str(len(tried)) in st.remedy_words(tried) or count is not None
    shown = st.by_layers(stacked(1), make, OVERCAST, want="plain", most=3)
    assert st.least_layers(shown) == 1


def test_usual_items_fit_the_stack():
    names = [item.name for item in st.usual_items(stacked(2))]
    assert names == [
        "dark bone channel tape, 3/8 inch", "white bone channel tape, 3/8 inch", "dark underwear",
        "edge of a white slip over medium skin", "seam allowance, doubled", "pocket",
        "lining edge", "medium skin",
    ]  # fmt: skip
    over_skin = st.usual_items(stacked(1, behind=backing("skin light")))
    assert "medium skin" not in [item.name for item in over_skin]  # skin under skin: not asked
    edge = st.slip_edge(stacked(1))
    assert (edge.there.backing.name, edge.beside.backing.name) == ("white", "skin medium")
    for tone in ("light", "medium", "dark"):  # a slip lies on the skin that is there
        worn = stacked(1, behind=backing(f"skin {tone}"))
        edge = st.ITEMS["slip edge"](worn)
        assert edge.name == f"edge of a white slip over {tone} skin"
        assert edge.beside.backing == worn.backing
        with pytest.raises(InputError, match="skin lies behind already"):
            st.ITEMS["skin"](worn)
    assert st.slip_edge(worn, "light").beside.backing.name == "skin light"
    assert set(st.ITEMS) >= {"dark underwear", "slip edge", "lining edge", "seam", "pocket"}
    assert "pocket" not in [item.name for item in st.usual_items(stacked(12))]


def test_a_hem_turned_up_twice_is_the_cloth_three_deep():
    """Folded up, the wrong side looks out and the warp leans the other way; folded again, as at
    first."""
    one = stacked(1)
    hem = st.item_called("hem")(replace(one, layers=(replace(one.layers[0], grain_deg=30.0),)))
    assert [(x.face, x.grain_deg) for x in hem.there.layers] == [
        ("face", 30.0), ("back", -30.0), ("face", 30.0)
    ]  # fmt: skip
    assert len(hem.beside.layers) == 1 and hem.name.startswith("hem")


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: st.lining_edge(stacked(1)), "two layers"),
        (lambda: st.seam_allowance(stacked(1), "pinked"), "open, doubled or bound"),
        (lambda: st.seam_allowance(Stack((), WHITE)), "no cloth"),
        (lambda: st.pocket(stacked(11)), "more than 12"),
        (lambda: st.skin(stacked(1), "green"), "skin tone"),
        (lambda: st.by_layers(stacked(1), st.tape, OVERCAST, want="loud"), "hidden, faint, plain"),
    ],
)
def test_bad_input_is_told(call, words):
    with pytest.raises(InputError, match=words):
        call()


def test_the_slip_lies_on_the_skin_that_is_behind():
    over = {x: replace(stacked(1), backing=backing(x)) for x in ("skin dark", "white")}
    named = {key: [item.name for item in st.usual_items(stack)] for key, stack in over.items()}
    assert "edge of a white slip over dark skin" in named["skin dark"]
    assert not any(name.endswith("medium skin") for name in named["skin dark"])
    assert "edge of a white slip over medium skin" in named["white"]
    assert "medium skin" in named["white"]  # skin is asked about where none is behind
