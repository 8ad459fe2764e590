"""Cloth needed, part by part: words, the most and the least that fits, by rectangles in a row."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from weavecolor.cutting import needed
from weavecolor.cutting.fullness import FullnessWanted, plan_fullness
from weavecolor.cutting.lay import CANNOT, FITS, NO_LAY
from weavecolor.cutting.needed import (
    _NEAR,
    NOT_GIVEN,
    Layers,
    _fullest,
    _planned,
    cloth_needed,
    layer_words,
    panel_words,
    panels,
)
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.errors import InputError

pytestmark = pytest.mark.usefixtures("few_lays")

STRAIGHT = ((0.0, 1),)
#: 2 widths of 100 cm, seams 1.5: 2 x 97 = 194 on 70, each 60 + 1.5 + 5 = 66.5 long.
SKIRT = FullnessWanted("skirt", "gathered", 70.0, 100.0, 60.0, fullness=2.5)
BAND = Piece.rectangle("band", 100.0, 40.0, seam_cm=0.0)


# --- words ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("grains", "said"),
    [
        (((0.0, 1),), "1 layer, straight grain"), (((0.0, 3),), "3 layers, straight grain"),
        ((("either", 1),), "1 layer, straight or cross grain"),
        ((("bias", 2), (90.0, 1)), "2 layers, bias, and 1, cross grain"),
        (((0.0, 2), (30.0, 2)), "2 layers, straight grain, and 2, warp 30° off straight"),
    ],
)  # fmt: skip
def test_layers_in_words(grains, said):
    assert layer_words(grains) == said


def test_panels_in_words_and_as_pieces():
    two = plan_fullness("gathered", 70.0, 110.0, 70.0, fullness=2.5)
    assert panel_words(two) == (
        "2 widths of 110 cm (43 1/4 in), each cut 76.5 cm (30 1/8 in) long"
    )
    assert panel_words(two, 3).endswith(" long, in each of 3 layers: 6 in all")
    one = plan_fullness("gathered", 40.0, 110.0, 70.0, widths=1)
    assert panel_words(one) == "1 width of 110 cm (43 1/4 in), cut 76.5 cm (30 1/8 in) long"
    sized = plan_fullness("gathered", 20.0, 110.0, 70.0, fullness=2.0)
    assert panel_words(sized).startswith("1 panel of 43 cm (16 7/8 in), cut 76.5 cm")
    flat = plan_fullness("flat", 200.0, 110.0, 70.0, widths=2)
    assert panel_words(flat).startswith("2 panels of 103 cm")
    for round_, longest, count in ((70.0, math.inf, "1 length"), (140.0, 200.0, "2 lengths")):
        turned = plan_fullness("gathered", round_, 110.0, 70.0, fullness=2.5, grain_deg=90.0,
                               longest_cm=longest)  # fmt: skip
        said = panel_words(turned)
        assert said.startswith(f"{count} of ") and said.endswith(" down the width of the cloth")
    piece = panels("skirt", two, 3)
    assert (piece.name, piece.quantity, piece.seam_cm) == ("skirt panel", 6, 0.0)
    assert sorted(piece.outline) == [(0.0, 0.0), (0.0, 76.5), (110.0, 0.0), (110.0, 76.5)]


def test_what_was_counted_leaves_panels_to_their_own_words():
    hand = [ClothInHand(100, 2000)]
    need = cloth_needed("silk", ((0.0, 2),), [BAND], [SKIRT], hand, tries=2, largest=False)
    assert need.layers == 2
    assert need.counted.startswith("2 layers, straight grain; 2 pieces in all;")
    assert need.counted.endswith("in each of 2 layers: 4 in all")
    # two bands of 40 and four panels of 66.5, one after another
    assert need.fits and need.used_cm == pytest.approx(2 * 40 + 4 * 66.5)
    alone = cloth_needed("silk", STRAIGHT, [], [SKIRT], hand, tries=2, largest=False)
    assert "piece" not in alone.counted
    one = cloth_needed("silk", STRAIGHT, [BAND], [], hand, tries=2, largest=False)
    assert one.counted == "1 layer, straight grain; 1 piece in all"
    both = cloth_needed("silk", ((0.0, 1), (90.0, 1)), [], [replace(SKIRT, length_cm=40.0)], hand,
                        tries=2, largest=False)  # fmt: skip
    assert "skirt (straight grain) 2 widths" in both.counted and "skirt (cross" in both.counted


# --- enough or not ----------------------------------------------------------------------------


@pytest.mark.parametrize(("length", "short"), [(80.0, None), (79.0, 1.0), (39.0, 41.0)])
def test_what_is_needed_is_what_there_is_and_what_is_short(length, short):
    need = cloth_needed("silk", ((0.0, 2),), [BAND], (), [ClothInHand(100, length)], tries=2,
                        largest=False)  # fmt: skip
    assert need.enough is need.fits is (short is None)
    assert need.needed_cm == pytest.approx(80.0)
    if short is None:
        assert need.short_cm is None and need.used_cm == pytest.approx(80.0)
    else:
        assert need.short_cm == pytest.approx(short)
        assert need.verdict == CANNOT  # by area


def test_without_an_amount_only_fullness_tells_how_wide_the_cloth_is():
    bare = cloth_needed("silk", STRAIGHT, [BAND], ())
    assert bare.verdict == bare.reason == NOT_GIVEN and bare.enough is None
    assert math.isnan(bare.used_cm) and bare.needed_cm is None and bare.laid == ()
    wide = cloth_needed("silk", STRAIGHT, [BAND], [SKIRT])
    assert wide.verdict == NOT_GIVEN and wide.enough is None and wide.laid == ()
    assert wide.used_cm == wide.needed_cm == pytest.approx(40 + 2 * 66.5)
    assert "of cloth 100 cm (39 3/8 in) wide it takes 173 cm" in wide.reason
    # a piece wider than that may still be cut: nobody told how wide the cloth is
    veil = Piece.rectangle("veil", 120.0, 130.0)
    wider = cloth_needed("silk", STRAIGHT, [veil], [SKIRT])
    assert wider.verdict == NOT_GIVEN and wider.enough is None and wider.laid == ()
    assert wider.needed_cm is None and wider.short_cm is None and wider.largest == ""
    assert "100 cm (39 3/8 in) wide it was not made to fit: veil is 12" in wider.reason


def test_several_lengths_that_are_too_little_tell_no_length_needed():
    hands = [ClothInHand(100, 50), ClothInHand(100, 60)]
    need = cloth_needed("silk", ((0.0, 3),), [BAND], (), hands, tries=2, largest=False)
    assert not need.fits and len(need.laid) == 2 and need.needed_cm is None
    assert need.short_cm == pytest.approx(40.0)
    # 1.2 m2 of 1.1: proved by area
    assert need.verdict == CANNOT and "1.200 m2, all lengths together only 1.100" in need.reason
    fits = cloth_needed("silk", ((0.0, 2),), [BAND], (), hands, tries=2, largest=False)
    assert fits.fits and fits.reason == "every piece is placed, on 2 lengths"
    assert fits.used_cm == fits.needed_cm == pytest.approx(80.0)
    # room enough, in one place too little
    wider = [ClothInHand(100, 50), ClothInHand(100, 75)]
    need = cloth_needed("silk", ((0.0, 3),), [BAND], (), wider, tries=2, largest=False)
    assert need.verdict == NO_LAY and "does not prove" in need.reason


def test_the_larger_length_is_filled_first_and_one_that_holds_all_is_taken_alone():
    strips = Piece.rectangle("strip", 100.0, 20.0, seam_cm=0.0, quantity=6)
    hands = [ClothInHand(100, 45), ClothInHand(100, 85)]
    need = cloth_needed("silk", STRAIGHT, [strips], (), hands, tries=2, largest=False)
    assert [hand.length_cm for hand, _ in need.laid] == [85, 45]
    assert [len(made.placements) for _, made in need.laid] == [4, 2]
    alone = cloth_needed("silk", STRAIGHT, [strips], (), [*hands, ClothInHand(100, 121)], tries=2,
                         largest=False)  # fmt: skip
    assert [hand.length_cm for hand, _ in alone.laid] == [121]


@pytest.mark.parametrize("bad", [(), ((0.0, 0),), ((0.0, 1), (90.0, 0))])
def test_there_is_something_to_cut_and_a_layer_of_it(bad):
    with pytest.raises(InputError, match="^silk: there is no layer of it"):
        cloth_needed("silk", bad, [BAND])
    with pytest.raises(InputError, match="^pieces: there are no pieces to lay, and no fullness"):
        cloth_needed("silk", STRAIGHT, [])


# --- plans ------------------------------------------------------------------------------------


def test_panels_are_planned_for_the_narrowest_and_go_round_along_the_longest():
    hands = (ClothInHand(100, 120), ClothInHand(140, 90))
    cut = replace(SKIRT, length_cm=40.0)
    plans, parts = _planned((Layers(0.0, 1), Layers(90.0, 2)), (cut,), hands, 1)
    (_, straight, one), (_, cross, two) = plans
    assert (one, two) == (1, 2)
    assert straight.cloth_width_cm == cross.cloth_width_cm == 100
    # 175 round: in two of 120 less two seams
    assert cross.widths == 2 and cross.panel_cm == pytest.approx(90.5)
    assert [(part.piece.quantity, part.grain) for part in parts] == [(2, 0.0), (4, 90.0)]
    plans, _ = _planned((Layers(0.0, 1), Layers(90.0, 1)), (cut,), hands, 3)
    assert [plan.widths for _, plan, _ in plans] == [2, 3]  # on straight grain widths are joined
    with pytest.raises(InputError, match="^skirt: .*66.5 cm"):
        _planned((Layers(90.0, 1),), (SKIRT,), (ClothInHand(60, 500),), 1)


# --- the most and the least -------------------------------------------------------------------


def _made(full, whole=False):
    plan = SimpleNamespace(whole_widths=whole, fullness=full)
    other = SimpleNamespace(whole_widths=True, fullness=1.0)
    return SimpleNamespace(plans=(("band", other, 1), ("skirt", plan, 1)))


@pytest.mark.parametrize("limit", [2.0, 2.31, 2.77, 2.999])
def test_the_fullest_is_halved_down_to_a_twentieth(limit):
    tried = []

    def fits(full):
        tried.append(full)
        return _made(full) if full <= limit else None

    found = _fullest(fits, 2.0, 3.0, _made(2.0), "skirt")
    assert limit - _NEAR < found.plans[1][1].fullness <= limit
    assert len(tried) == 5 and tried[0] == 2.5  # a thirty-second of the way
    # whole widths have nothing between
    tried.clear()
    whole = _made(2.0, whole=True)
    assert _fullest(fits, 2.0, 3.0, whole, "skirt") is whole and tried == []


def test_the_most_that_fits_is_told_in_widths():
    """Each width is 66.5 of length: with 400 there is room for six."""
    need = cloth_needed("silk", STRAIGHT, [], [SKIRT], [ClothInHand(100, 400)], tries=2)
    assert need.fits and need.used_cm == pytest.approx(2 * 66.5)
    assert need.largest == (
        f"Largest skirt that still fits: {6 * 97 / 70:.2f} to 1, 6 widths of 100 cm (39 3/8 in), "
        "each cut 66.5 cm (26 1/8 in) long, taking 399 cm (157 1/8 in) in all."
    )
    just = cloth_needed("silk", STRAIGHT, [], [SKIRT], [ClothInHand(100, 190)], tries=2)
    assert just.largest == f"Largest skirt that fits: this one, {2 * 97 / 70:.2f} to 1."
    # flat cloth is as wide as it is
    flat = FullnessWanted("band", "flat", 90.0, 100.0, 10.0, fullness=1.0)
    told = cloth_needed("silk", STRAIGHT, [], [flat], [ClothInHand(100, 400)], tries=2)
    assert told.largest == ""


def test_what_does_not_fit_is_told_with_less_of_it():
    """Two widths are 133: of 100 there is room for one, and of two layers' 266 for one's."""
    need = cloth_needed("silk", STRAIGHT, [], [SKIRT], [ClothInHand(100, 100)], tries=2)
    assert not need.fits and need.short_cm == pytest.approx(33.0)
    most = f"Largest that still fits: skirt {97 / 70:.2f} to 1 instead, 1 width of 100 cm"
    assert need.largest.startswith(most)
    assert "taking 66.5 cm (26 1/8 in) in all" in need.largest
    two = cloth_needed("silk", ((0.0, 2),), [BAND], (), [ClothInHand(100, 70)], tries=2)
    assert two.largest == (
        "Largest that still fits: 1 layer, straight grain, taking 40 cm (15 3/4 in)."
    )
    both = cloth_needed("silk", ((0.0, 1), (90.0, 2)), [BAND], (), [ClothInHand(100, 90)], tries=2)
    assert both.largest.startswith("Largest that still fits: 1 layer, straight grain, taking 40 cm")
    none = cloth_needed("silk", STRAIGHT, [BAND], (), [ClothInHand(100, 30)], tries=2)
    assert none.largest == ""
    two = cloth_needed("silk", ((0.0, 2),), [BAND], (), [ClothInHand(100, 30)], tries=2)
    assert two.largest == "Nothing less of it was found to fit."


def test_the_lay_s_directions_are_those_of_the_grain():
    strip = Piece.rectangle("strip", 20.0, 60.0, seam_cm=0.0)
    hand = [ClothInHand(100, 200, one_way=True)]
    for grains, ways in ((STRAIGHT, {0}), (((90.0, 1),), {90, 270}), (((30.0, 1),), {30, 330})):
        need = cloth_needed("silk", grains, [strip], (), hand, tries=2, largest=False)
        assert need.verdict == FITS and len(need.directions) == 1
        assert need.directions <= ways
    assert needed._missing(need) == ()
