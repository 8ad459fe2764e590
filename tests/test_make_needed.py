"""Cloth needed: one sum for layers, pieces and fullness, the same wherever it is asked.

The lengths are worked by hand: rectangles one after another. Common practice, no source.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j0
from shapely.geometry import Polygon

from weavecolor.cli import run
from weavecolor.cutting import asked as asked_module
from weavecolor.cutting.asked import fullness_from, in_hand_from, length_from, size_from
from weavecolor.cutting.folds import fold_profile
from weavecolor.cutting.fullness import FullnessWanted, plan_fullness, skirt_layers
from weavecolor.cutting.lay import CANNOT, lay
from weavecolor.cutting.needed import cloth_needed
from weavecolor.cutting.pieces import Piece, named_apart, sewing_outline
from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.cutting.remnant import ClothInHand, cloth_as_folded, damage_as_folded
from weavecolor.decide.compare import Option, evaluate
from weavecolor.decide.enoughcloth import fits_by_lay, stack_needs
from weavecolor.decide.watered import watered
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch, swatch_folder
from weavecolor.making.answers import fits_of, needs_of, project_cloth, stack_of
from weavecolor.making.file import from_json, save_making, to_json
from weavecolor.making.model import Making, MakingLayer, MakingOption
from weavecolor.optics.appearance import appearances, contrast_ratio
from weavecolor.optics.stack import Layer, Stack
from weavecolor.report import sheetfrommaking
from weavecolor.report.fullnesstable import as_data, as_text, fullness_table
from weavecolor.report.laydrawing import lay_page
from weavecolor.report.sheetfrommaking import SheetChoices, making_sheet
from weavecolor.report.sheetwords import lay_sentences, needed_sentences
from weavecolor.scene.backings import Backing, backing
from weavecolor.scene.folds import hung as in_folds
from weavecolor.scene.places import scene, with_viewer
from weavecolor.textile.construction import describe
from weavecolor.textile.units import length_mm, sett_per_cm

pytestmark = pytest.mark.usefixtures("few_lays")

ORGANZA = "shot-organza-teal-copper"
#: Takes the whole of 100 cm of width and 40 of length.
BAND = Piece.rectangle("band", 100.0, 40.0, seam_cm=0.0)
#: 2 widths of 100 cm, seams 1.5: 2 x 97 = 194 on 70, each 60 + 1.5 + 5 = 66.5 long.
SKIRT = FullnessWanted("skirt", "gathered", 70.0, 100.0, 60.0, fullness=2.5)
STRAIGHT = ((0.0, 1),)


# --- the sum ----------------------------------------------------------------------------------


@pytest.mark.parametrize("layers", [1, 2, 3])
def test_every_layer_takes_every_piece_and_every_fullness(layers):
    each = 40.0 + 2 * 66.5
    grains = ((0.0, layers),)
    roomy = cloth_needed("silk", grains, [BAND], [SKIRT], [ClothInHand(100, 1000)], tries=5)
    assert roomy.fits and roomy.used_cm == pytest.approx(layers * each)
    assert roomy.needed_cm == pytest.approx(layers * each)
    scant = cloth_needed("silk", grains, [BAND], [SKIRT], [ClothInHand(100, 200)], tries=5)
    assert scant.fits == (layers == 1)
    if layers > 1:
        assert scant.verdict == CANNOT and scant.short_cm == pytest.approx(layers * each - 200)
        assert "1 layer, straight grain" in scant.largest and "173 cm" in scant.largest
        assert f"{layers * each:g} cm" in " ".join(needed_sentences(scant))


def test_what_is_short_is_never_told_as_less_than_would_do():
    # bands of 40.01 on 30 in hand: 10.01 cm are short, of which 10 cm or 3 7/8 in are too little
    band = replace(BAND, outline=((0, 0), (100, 0), (100, 40.01), (0, 40.01)))
    need = cloth_needed("silk", STRAIGHT, [band], (), [ClothInHand(100, 30)], tries=2)
    (told,) = (line for line in needed_sentences(need) if line.startswith("Short"))
    assert told == (
        "Short: 10.1 cm (4 in) more of that width would do; in all it takes 40.1 cm (15 7/8 in)."
    )
    lacks, takes = (float(number) for number in re.findall(r"([\d.]+) cm", told))
    for more in (lacks, takes - 30.0):
        assert cloth_needed("silk", STRAIGHT, [band], (), [ClothInHand(100, 30 + more)]).fits
    assert 30.0 + 4 * 2.54 >= 40.01 > 30.0 + 3.875 * 2.54 and 15.875 * 2.54 >= 40.01


@pytest.mark.parametrize(
    ("said", "width", "length", "selvedge"),
    [
        ("3.2 m of 140 cm", 140.0, 320.0, 0.0),
        ("2 yards of 45 inch wide, selvage 1/2 in each", 114.3, 182.88, 1.27),
        ("112 cm wide, 2 m long", 112.0, 200.0, 0.0),
        ("2 m long, 112 cm wide, selvedges 1 cm", 112.0, 200.0, 1.0),
    ],
)
def test_cloth_in_hand_as_a_shop_says_it(said, width, length, selvedge):
    hand = in_hand_from(said)
    assert hand.edge.bounds == pytest.approx((0.0, 0.0, width, length))
    assert hand.selvedge_cm == pytest.approx(selvedge)


@pytest.mark.parametrize(
    ("said", "kind"), [("knife pleats", "knife"), ("Box pleat", "box"), ("gathers", "gathered")]
)
def test_fullness_is_taken_in_by_any_of_its_words(said, kind):
    assert fullness_from(f"skirt: 70 x 90 cm, {said}, 3 to 1").kind == kind


def test_a_selvedge_as_wide_as_the_cloth_is_refused_by_its_own_word():
    with pytest.raises(InputError, match="--cloth: selvedge: the selvedges take the whole width"):
        in_hand_from("140 cm x 3 m, selvedge 80 cm", "--cloth")


@pytest.mark.parametrize("said", ["3.2 of 140 cm", "3.2 m of 140", "3.2 m of cloth", "of"])
def test_an_amount_without_its_unit_is_asked_about(said):
    with pytest.raises(InputError, match="of what[?] write 140 cm x 3.2 m|write"):
        in_hand_from(said)


def test_the_largest_that_still_fits_is_told_both_ways():
    # One width of 97 on 70 is 1.39 to 1: 40 + 66.5 = 106.5 cm fit in 150, two widths (173) do not.
    scant = cloth_needed("silk", STRAIGHT, [BAND], [SKIRT], [ClothInHand(100, 150)], tries=5)
    assert scant.short_cm == pytest.approx(23.0)
    assert "skirt 1.39 to 1 instead" in scant.largest and "106.5 cm" in scant.largest
    # 40 + 3 x 66.5 = 239.5 still fit in 250, four widths (306) do not: 3 x 97 / 70 = 4.16.
    more = cloth_needed("silk", STRAIGHT, [BAND], [SKIRT], [ClothInHand(100, 250)], tries=5)
    assert more.fits and "4.16 to 1" in more.largest and "239.5 cm" in more.largest


def test_a_hem_that_takes_too_many_widths_is_told_with_the_widths_there_are():
    # A hem of 380 takes 4 widths of 97: 4 x 66.5 = 266 of 150. Two widths, 133, reach 194.
    wide = replace(SKIRT, hem_round_cm=380.0)
    made = cloth_needed("silk", STRAIGHT, (), [wide], [ClothInHand(100, 150)], tries=5)
    assert not made.fits and "2 widths of 100 cm" in made.largest
    assert "194 cm (76 3/8 in) round the hem, taking 133 cm" in made.largest


def test_layers_at_two_grains_are_laid_together():
    strip = Piece.rectangle("strip", 20.0, 90.0, seam_cm=0.0)
    both = cloth_needed("silk", ((0.0, 1), (90.0, 1)), [strip], (), [ClothInHand(100, 300)])
    assert both.fits and both.used_cm == pytest.approx(110.0)  # 90 along, then 20 across
    turned = sorted(round(p.turned_deg % 180.0) for p in both.laid[0][1].placements)
    assert turned == [0, 90]


def test_several_lengths_are_filled_and_a_pair_keeps_both_hands():
    hook = Piece.polygon(
        "hook", [(0, 0), (90, 0), (90, 20), (30, 20), (30, 90), (0, 90)], quantity=2, pair=True,
        seam_cm=0.0,
    )  # fmt: skip
    hands = [ClothInHand(95, 92, one_way=True), ClothInHand(95, 91, one_way=True)]
    need = cloth_needed("silk", STRAIGHT, [hook], (), hands, tries=10)
    assert need.fits and len(need.laid) == 2 and need.used_cm == pytest.approx(180.0)
    (left,), (right,) = (made.placements for _, made in need.laid)
    # One is the other's mirror image: the short arm on the other side, on cloth that is one way.
    arms = [{x for x, y in piece.cut if y > 50.0} for piece in (left, right)]
    assert {min(arm) < 5.0 for arm in arms} == {True, False}
    # as drawn the arm is at the left: the one with it at the right is the mirrored one, and said so
    assert [left.mirrored, right.mirrored] == [min(arm) > 5.0 for arm in arms]
    assert not cloth_needed("silk", ((0.0, 2),), [hook], (), hands, tries=10).fits


def test_pairs_on_folded_lengths_stay_pairs():
    # Two pairs 90 deep, one on each of two lengths folded along the warp, both hands at once.
    hook = Piece.polygon(
        "hook", [(0, 0), (90, 0), (90, 20), (30, 20), (30, 90), (0, 90)], quantity=4, pair=True,
        seam_cm=0.0,
    )  # fmt: skip
    hands = [ClothInHand(190, 92), ClothInHand(190, 91)]
    need = cloth_needed("silk", STRAIGHT, [hook], (), hands, fold="lengthwise", tries=10)
    assert need.fits and need.used_cm == pytest.approx(180.0)
    assert [[p.copies for p in made.placements] for _, made in need.laid] == [[2], [2]]
    # A remnant first, which lies open, with room for three: the fourth is cut of one thickness.
    odd = ClothInHand(outline=((0, 0), (95, 0), (95, 290), (0, 290)))
    need = cloth_needed("silk", STRAIGHT, [hook], (), [odd, ClothInHand(95, 91)],
                        fold="lengthwise", tries=10)  # fmt: skip
    assert need.fits and sum(p.copies for _, made in need.laid for p in made.placements) == 4
    assert sum(p.mirrored for _, made in need.laid for p in made.placements) == 2
    # Three of a plain piece: two on the one length, and the third with a spare on the other.
    plain = Piece.rectangle("plain", 90.0, 90.0, quantity=3, seam_cm=0.0)
    need = cloth_needed("silk", STRAIGHT, [plain], (), hands, fold="lengthwise", tries=3)
    assert [sum(p.copies for p in made.placements) for _, made in need.laid] == [2, 2]


@pytest.mark.parametrize("fold", ["open", "lengthwise"])
def test_a_piece_longer_than_each_length_cannot_be_cut(fold):
    # by hand: 120 cm and a seam at both ends are longer than 110 and than 100, whatever else fits
    cuff = Piece.rectangle("cuff", 20.0, 8.0, quantity=2, pair=True)
    train = Piece.rectangle("train", 30.0, 120.0, quantity=2, pair=True)
    hands = [ClothInHand(112, 110), ClothInHand(112, 100)]
    need = cloth_needed("silk", STRAIGHT, [cuff, train], (), hands, fold=fold, tries=3)
    assert need.verdict == "cannot fit" and need.reason.startswith("none of the 2 lengths has room")
    assert "train takes 123 cm" in need.reason
    # two that fit one by one and not together: the search proves nothing
    back = Piece.rectangle("back", 80.0, 60.0, quantity=3)
    many = cloth_needed("silk", STRAIGHT, [back], (), hands, tries=3)
    assert many.verdict == "no lay found"


def test_without_an_amount_it_tells_what_it_would_take():
    need = cloth_needed("silk", ((0.0, 2),), [], [SKIRT])
    assert need.enough is None and need.needed_cm == pytest.approx(4 * 66.5)
    assert "266 cm" in need.reason and cloth_needed("silk", STRAIGHT, [BAND]).needed_cm is None


def test_page_line_sheet_search_and_reopened_file_say_the_same(tmp_path, capsys, monkeypatch):
    hand = in_hand_from("112 x 260 cm, selvedge 1 cm, bite 30 x 40 cm at far right")
    held = Making(
        title="Gown",
        cloths=(project_cloth("o", swatch_folder() / f"{ORGANZA}.toml", (hand,)),),
        options=(
            MakingOption("one", (MakingLayer("o"),), "black"),
            MakingOption("two", (MakingLayer("o"), MakingLayer("o")), "black"),
        ),
        pieces=(Piece.rectangle("bodice", 30.0, 40.0, quantity=2),),
        fullness=(fullness_from("skirt: 70 x 80 cm, gathered, 2.5 to 1", cloth_width_cm=110.0),),
    )
    file = save_making(tmp_path / "gown.json", held)
    again = from_json(to_json(held))
    for name, fits in (("one", True), ("two", False)):
        option = held.option(name)
        (need,) = needs_of(held, option)
        assert need.fits is fits
        (other,) = needs_of(again, again.option(name))
        assert needed_sentences(other) == needed_sentences(need)
        asked = fits_of(held)
        assert asked is not None and asked(stack_of(held, option)).enough is fits
        assert run(["lay", str(file), "--option", name]) == 0
        out = capsys.readouterr().out
        assert all(sentence in out for sentence in needed_sentences(need))
        sheet = making_sheet(held, SheetChoices("today", pictures=()), option)
        # what stands there at once is the same sheet, before what takes long
        with monkeypatch.context() as without:
            for slow in ("evaluate", "shown_in", "sheet_drape"):
                without.delattr(sheetfrommaking, slow)
            quick = making_sheet(held, SheetChoices("today"), option, whole=False)
        assert quick.needs[0].laid is sheet.needs[0].laid and quick.cautions == sheet.cautions
        assert quick.basis == sheet.basis
        # the main light twice, for what is gathered hangs in folds
        flat, folds = sheet.colours
        main = flat.light.removesuffix(", held flat")
        (looked,) = evaluate((Option(stack_of(held, option), in_folds(scene(main))),))
        assert main != flat.light
        assert folds.light == f"{main}, in folds" and folds.words != ""
        assert folds.lab == tuple(looked.appearance.reading.Lab)
        assert folds.uncertainty == looked.uncertainty.stated
        # as it hangs is told of every place, and of what is under it: as `decide` and the page do
        assert sheet.show_through and all(", in folds" in one for one in sheet.show_through)
        assert not (quick.colours or quick.show_through or quick.swatches)
        assert [needed_sentences(one) for one in sheet.needs] == [needed_sentences(need)]
        # What fullness the sheet tells is what is cut from this cloth: 2 x (110 - 3) cm on 70.
        assert sheet.fullness[0][1].fullness == pytest.approx(214 / 70)
    rooms = replace(held, scenes=("overcast", "lightbox behind", "workroom"))
    in_rooms = making_sheet(rooms, SheetChoices("today", pictures=()), option)
    assert "is taken to let no light through" in in_rooms.show_through[-1]
    told = in_rooms.colours
    assert [row.light for row in told] == [
        "overcast, held flat", "overcast, in folds", "lightbox behind", "workroom, in folds",
    ]  # fmt: skip
    plain = making_sheet(replace(held, fullness=()), SheetChoices("today", pictures=()), option)
    assert [row.light for row in plain.colours] == [main]
    assert not any("in folds" in one for one in plain.show_through)
    # Two layers: 2 x (2 x 86.5) cm of widths alone are more than 260.
    assert need.short_cm is not None and need.short_cm > 346 - 260


def test_a_piece_that_is_also_a_fullness_is_doubted_and_names_are_told_apart():
    panel = Piece.rectangle("skirt panel", 60.0, 60.0)
    need = cloth_needed("silk", STRAIGHT, [panel], [SKIRT], [ClothInHand(100, 900)], tries=3)
    assert any("take one away" in line for line in need.notes)
    cuff = Piece.rectangle("cuff", 8.0, 22.0)
    sleeve = replace(SKIRT, what="Sleeve", finished_cm=40.0)
    one, two = (
        cloth_needed("silk", STRAIGHT, [], [SKIRT, *told], [ClothInHand(100, 900)], tries=3)
        for told in ([sleeve], [replace(sleeve, what=f"{side} sleeve") for side in ("l", "r")])
    )
    assert [n for n in one.notes if n.startswith("One sleeve is counted")] and not two.notes
    names = [part.name for part in named_apart([cuff, replace(cuff, quantity=2), cuff])]
    assert names == ["cuff", "cuff (2)", "cuff (3)"]
    text = 'unit = "cm"\n' + '[[piece]]\nname = "cuff"\nacross = 8\ndown = 22\n' * 2
    assert [piece.name for piece in cutting_from_toml(text).pieces] == ["cuff", "cuff (2)"]


# --- fullness ---------------------------------------------------------------------------------


def test_the_hem_asks_for_widths_and_the_pleats_are_counted():
    # 2.5 x 70 = 175 needs 2 widths of 107; a hem of 260 round needs 3: 321 cm, 4.59 to 1.
    plan = plan_fullness("knife", 70, 110, 90, fullness=2.5, hem_round_cm=260, pleat_cm=3)
    assert plan.widths == 3 and plan.fullness == pytest.approx(321 / 70)
    # 70 / 3 is 23.3: 23 pleats of 70 / 23 cm; the cloth folded under each, halved, is the depth.
    assert plan.pleats == 23 and plan.pleat_face_cm == pytest.approx(70 / 23)
    assert plan.pleat_depth_cm == pytest.approx((321 - 70) / 23 / 2)
    box = plan_fullness("box", 60, 93, 50, fullness=3.0)
    assert box.pleats == 15 and box.pleat_depth_cm == pytest.approx(2.0)  # as the marks: 4 to 8
    # 3 to 1 everywhere, two layers of 0.1 mm: 3 x 2 x 0.1 mm; 4 to 1: 3 or 5 deep.
    assert box.bulk_mm(0.1, 2) == pytest.approx((0.6, 0.6))
    four = plan_fullness("knife", 60, 123, 50, widths=2)
    assert four.bulk_mm(0.1) == pytest.approx((0.4, 0.5))
    assert plan_fullness("gathered", 60, 93, 50, fullness=3.0, doubled=True).bulk_mm(
        0.1
    ) == pytest.approx((0.6, 0.6))


def test_wide_cloth_sideways_has_its_fold_as_the_hem():
    # Cloth 300 wide, folded: each layer 150, so a skirt of up to 148.5 cm; 2.5 x 70 = 175 round
    # and two seams take 178 cm of length.
    plan = plan_fullness("gathered", 70, 300, 148, fullness=2.5, doubled=True, grain_deg=90.0)
    assert plan.sideways and plan.widths == 1 and plan.panel_cm == pytest.approx(178.0)
    assert plan.drop_cm == pytest.approx(299.0) and plan.cloth_length_cm == pytest.approx(178.0)
    assert plan.cover == pytest.approx(5.0) and plan.shares.bare == 0.0
    with pytest.raises(InputError, match="299|301"):
        plan_fullness("gathered", 70, 300, 149, fullness=2.5, doubled=True, grain_deg=90.0)
    wanted = replace(SKIRT, doubled=True, cloth_width_cm=300.0, length_cm=148.0)
    need = cloth_needed("tulle", ((90.0, 2),), [], [wanted], [ClothInHand(300, 400)], tries=5)
    assert need.fits and need.used_cm == pytest.approx(2 * 178.0)
    # Too short to go round in one: two lengths are joined, one below the other does not fit.
    short = plan_fullness("gathered", 70, 110, 40, fullness=2.5, grain_deg=90.0, longest_cm=120)
    assert short.widths == 2 and short.joined_cm == pytest.approx(175.0)
    assert short.cloth_length_cm == pytest.approx(175 / 2 + 3)  # side by side: 2 x 46.5 < 110


def test_sideways_panels_are_joined_where_whole_ones_leave_lengths_too_short():
    # 211 round and its seams are 214: one goes on each of 344 and 353, a third nowhere. Joined
    # from two, each 211 / 2 + 3 = 108.5: three go on each, 325.5 of it.
    skirt = FullnessWanted("skirt", "gathered", 84.4, 150.0, 120.0, fullness=2.5)
    hands = [ClothInHand(150, 344), ClothInHand(150, 353)]
    need = cloth_needed("silk", ((90.0, 3),), (), [skirt], hands, tries=5)
    assert need.fits and need.used_cm == pytest.approx(2 * 325.5)
    ((_, plan, layers),) = need.plans
    assert (plan.widths, layers, plan.panel_cm) == (2, 3, pytest.approx(108.5))
    # with a flaw in the middle of one length no panel of 153 lies in it, but two of 78 do
    flawed = ClothInHand(150, 200, damage=(((70, 95), (80, 95), (80, 105), (70, 105)),))
    slip = replace(skirt, finished_cm=60.0)
    need = cloth_needed("silk", ((90.0, 1),), (), [slip], [flawed], tries=5)
    assert need.fits and "2 lengths of 78 cm" in need.counted


def test_a_sleeve_is_cut_to_size_and_two_lie_side_by_side(tmp_path, capsys):
    # 25 finished at 2.5 to 1 is 62.5, and its seams 65.5: less than half of 150, so both sleeves
    # lie side by side in one drop of 40 + 1.5 + 5 = 46.5. Common practice, no source.
    said = "sleeve: 25 x 40 cm, gathered, 2.5 to 1"
    sleeve = fullness_from(said, cloth_width_cm=150.0)
    both = [replace(sleeve, what="left sleeve"), replace(sleeve, what="right sleeve")]
    need = cloth_needed("silk", STRAIGHT, (), both, [ClothInHand(150, 200)], tries=5)
    assert need.fits and need.used_cm == pytest.approx(46.5)
    assert need.counted.count("1 panel of 65.5 cm") == 2
    assert sleeve.plan().cloth_length_cm == pytest.approx(46.5)
    # what takes most of the width takes all of it: 140 and its seams of 150
    assert FullnessWanted("skirt", "gathered", 70.0, 150.0, 60.0, fullness=2.0).plan().whole_widths
    assert not FullnessWanted("s", "gathered", 45.0, 150.0, 60.0, fullness=2.0).plan().whole_widths
    assert replace(sleeve, fullness=None, widths=1).plan().whole_widths  # as she says
    # command line, table and reopened project say the same; two layers lie side by side
    held = Making(
        cloths=(project_cloth("o", swatch_folder() / f"{ORGANZA}.toml", (ClothInHand(150, 40),)),),
        options=(MakingOption("A", (MakingLayer("o"), MakingLayer("o"))),),
        chosen="A", fullness=(sleeve,),
    )  # fmt: skip
    file = save_making(tmp_path / "p.json", held)
    (told,) = needs_of(from_json(file.read_text()), held.option("A"))
    assert told.short_cm == pytest.approx(6.5) and told.needed_cm == pytest.approx(46.5)
    assert run(["lay", str(file)]) == 0
    out = capsys.readouterr().out
    assert all(line in out for line in needed_sentences(told))
    table = fullness_table(["gathered"], 25, 150, 40, fullness=2.5, layers=2)
    assert as_data(table)["ways"][0]["cloth_length_cm"] == pytest.approx(46.5)
    sheet = making_sheet(held, SheetChoices("today", pictures=()), whole=False)
    assert [needed_sentences(one) for one in sheet.needs] == [needed_sentences(told)]
    assert sheet.fullness[0][1].fullness == pytest.approx(2.5)


def test_bias_panels_are_as_wide_as_the_drop_leaves_room_for():
    # At 45 degrees p + D = W sqrt 2: 150 sqrt 2 - 66.5 = 145.6 cm at most.
    plan = plan_fullness("gathered", 70, 150, 60, fullness=2.5, grain_deg=45.0)
    assert plan.widths == 2 and plan.joined_cm == pytest.approx(175.0)
    assert plan.panel_cm + plan.drop_cm <= 150 * 2**0.5 + 1e-9
    made = cloth_needed("silk", ((45.0, 1),), [], [SKIRT], [ClothInHand(150, 400)], tries=20)
    assert made.fits and made.used_cm <= plan.cloth_length_cm + 1e-6
    with pytest.raises(InputError, match="cannot be cut"):
        plan_fullness("gathered", 70, 60, 90, fullness=2.0, grain_deg=45.0)


def test_the_hem_turned_up_is_double_in_cover():
    rows = skirt_layers("gathered", 70, 140, 80, 210, turned_up_cm=10, heights=3)
    assert [row.below_waist_cm for row in rows] == pytest.approx([0, 40, 70, 80])
    assert [row.doubled for row in rows] == [False, False, True, True]
    assert rows[-1].cover == pytest.approx(2 * 1.5) and rows[0].cover == pytest.approx(3.0)
    assert rows[-1].shares.layers == (2,)


def test_a_way_that_cannot_be_leaves_the_others_told(capsys):
    asked = ["fullness", "--finished", "70cm", "--length", "140cm", "--cloth", "150cm",
             "--kind", "gathered", "--sideways", "both", "--doubled", "both"]  # fmt: skip
    assert run([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    ways = [(way["sideways"], way["doubled"]) for way in told["ways"]]
    # sideways and doubled, 2 x (140 + 1.5) cm are to be cut from 150 across
    assert ways == [(False, False), (False, True), (True, False)]
    (line,) = told["refused"]
    assert line.startswith("Gathered, sideways, doubled: ") and "283 cm" in line
    assert run(asked) == 0 and line in capsys.readouterr().out
    assert run(["fullness", "--finished", "3cm", "--length", "9cm", "--cloth", "9cm"]) == 0
    assert "Knife pleats: a pleat of 4 cm" in capsys.readouterr().out
    assert run([*asked[:-3], "yes", "--doubled", "yes"]) == 2
    assert "--length: used sideways" in capsys.readouterr().err


def test_the_table_of_fullness_counts_layers_and_says_what_it_hides():
    cloth = load_swatch(ORGANZA)
    table = fullness_table(
        ["knife"], 60, 93, 50, fullness=3.0, layers=2, in_hand=[ClothInHand(93, 200)], cloth=cloth
    )
    way = as_data(table)["ways"][0]
    # 2 widths of 50 + 1.5 + 5 = 56.5 in each of 2 layers: 226 of 200 cm.
    assert way["cloth_length_cm"] == 226.0 and way["enough"] is False
    assert way["short_cm"] == pytest.approx(26.0) and "1 layer" in way["largest"]
    assert way["mean_layers"] == 6.0 and way["cover"] == 6.0
    thick = describe(cloth).thickness_mm
    assert way["bulk_mm"] == pytest.approx([6 * thick] * 2, abs=1e-4)
    # 3 to 1 is three deep everywhere: of two layers, six.
    assert way["hides"] == pytest.approx(contrast_ratio(Stack((Layer(cloth),) * 6)), abs=1e-4)
    assert table.flat_hides == pytest.approx(contrast_ratio(Stack((Layer(cloth),) * 2)))
    # the words say that two layers hide so much, and by which measure
    words = " ".join(as_text(table).split())
    assert f"2 layers laid flat hide {100 * table.flat_hides:.0f} %, 100 % hides all" in words
    assert "(contrast ratio of ISO 2471: " in words
    one = as_text(replace(table, layers=1))
    assert "laid flat it hides" in one


def test_gathers_hide_more_than_flat_cloth_for_they_slope():
    """The meander of 1.5 to 1 (sine-generated, Langbein and Leopold 1966) nowhere overlaps; each
    part of it hides as cloth seen as far aside does, told by the viewer's place in even light."""
    cloth = load_swatch("cotton-voile-white")
    made = fullness_table(["gathered"], 60, 93, 50, fullness=1.5, cloth=cloth)
    steepest = brentq(lambda a: j0(a) - 60.0 / made.ways[0].plan.joined_cm, 0.0, 2.4)
    assert np.degrees(steepest) < 85.0 and made.ways[0].plan.shares.layers == (1,)
    aside = np.array([0.0, 20.0, 40.0, 55.0, 65.0, 75.0, 85.0])
    grounds = [Backing("black", np.zeros(41)), Backing("white", np.full(41, 0.89))]
    hides = [
        np.divide(*(x.reading.XYZ[1] for x in appearances(
            Stack((Layer(cloth),)), grounds, with_viewer(scene("overcast"), slope, 90.0)
        )))
        for slope in aside
    ]  # fmt: skip
    slope = steepest * np.cos(2.0 * np.pi * (np.arange(4000) + 0.5) / 4000)
    seen = np.interp(np.degrees(np.abs(slope)), aside, hides)
    wanted = np.average(seen, weights=np.cos(slope))  # by how much of the view each part takes
    assert made.ways[0].hides == pytest.approx(wanted, abs=0.015)
    assert made.flat_hides == pytest.approx(hides[0], abs=1e-6)
    assert made.ways[0].hides > 1.25 * made.flat_hides


def test_pleats_of_sheer_cloth_show_bands_where_folds_lie_on_folds():
    """Threads of a fold lie along those beneath it: bands (moiré) as of two such layers. Lining
    that leaves no openings, and gathers, which nowhere lie pressed, show none."""
    organza = load_swatch(ORGANZA)
    pleats = fullness_table(["knife"], 60, 93, 50, fullness=2.5, cloth=organza)
    assert pleats.pattern.startswith("Where folds lie on folds, 2 layers show a watered pattern")
    assert "Turned" not in pleats.pattern and pleats.pattern in as_text(pleats)
    assert as_data(pleats)["watered"] == pleats.pattern
    two = Stack((Layer(organza), Layer(organza, 0.0, "back")), backing("white"))
    wide = re.search(r"bands (\d+) mm wide", pleats.pattern)[1]
    assert f"bands {wide} mm wide" in watered([Option(two, scene("overcast"))])
    for kind, cloth in (("gathered", organza), ("knife", load_swatch("slip-white"))):
        made = fullness_table([kind], 60, 93, 50, fullness=1.5, cloth=cloth)
        assert made.pattern == "" and "watered" not in as_text(made)


def test_cloth_in_folds_slopes_as_far_as_it_covers():
    # plain geometry: a pressed pleat lies flat, but for what its .5 mm folds lie on
    assert fold_profile("knife", 3.0).slant_deg.max() < 2.0
    folds = fold_profile("gathered", 2.0, samples=4000)
    one = folds.layers == 1
    assert folds.slant_deg[one] == pytest.approx(np.abs(folds.normal_deg[one]), abs=2.0)


# --- the cloth in hand ------------------------------------------------------------------------


def test_selvedges_are_left_on_folds_and_on_remnants():
    # Folded lengthwise the fold is in the middle: one selvedge on the far side, none at the fold.
    hand = ClothInHand(110, 200, selvedge_cm=2)
    assert cloth_as_folded(hand, "lengthwise").bounds == (0.0, 0.0, 53.0, 200.0)
    assert cloth_as_folded(hand, "crosswise").bounds == (2.0, 0.0, 108.0, 100.0)
    half = Piece.rectangle("half", 53.0, 50.0, quantity=2, seam_cm=0.0)
    assert lay([half], hand, fold="lengthwise", tries=3).fits
    assert not lay([half], replace(hand, selvedge_cm=2.1), fold="lengthwise", tries=3).fits
    # An odd remnant: its left side runs with the warp and is a selvedge, its right side slants.
    odd = ClothInHand(outline=((0, 0), (80, 0), (100, 100), (0, 100)), selvedge_cm=2)
    assert odd.shape.bounds == (2.0, 0.0, 100.0, 100.0)
    assert odd.shape.area == pytest.approx(9000 - 2 * 100)
    square = Piece.rectangle("square", 78.0, 100.0, seam_cm=0.0)
    assert lay([square], odd, tries=3).fits
    assert not lay([Piece.rectangle("s", 79.0, 100.0, seam_cm=0.0)], odd, tries=3).fits


@pytest.mark.parametrize("at", [100, 2], ids=["right half", "left half"])
def test_a_flaw_is_kept_clear_of_in_both_layers_of_a_fold(at):
    # A flaw 8 wide, 2 from either edge of 110, lies, folded, at 45 from the fold.
    flaw = ((at, 0), (at + 8, 0), (at + 8, 100), (at, 100))
    hand = ClothInHand(110, 100, damage=(flaw,))
    folded = cloth_as_folded(hand, "lengthwise")
    assert folded.area == pytest.approx((55 - 8) * 100)
    assert {x for x, _ in damage_as_folded(hand, "lengthwise")[0][0]} == {45.0, 53.0}
    assert lay([Piece.rectangle("p", 45, 90, quantity=2, seam_cm=0)], hand, fold="lengthwise").fits
    wide = Piece.rectangle("p", 46, 90, quantity=2, seam_cm=0)
    assert not lay([wide], hand, fold="lengthwise", tries=3).fits


def test_shortfall_on_a_crosswise_fold_is_of_both_layers():
    # Two panels 60 x 70 cut at once on a fold: 70 deep, 140 cm of cloth; 120 in hand: 20 short.
    panel = Piece.rectangle("panel", 60.0, 70.0, quantity=2, seam_cm=0.0)
    made = lay([panel], ClothInHand(70, 120), fold="crosswise", tries=3)
    assert not made.fits and made.short_cm == pytest.approx(20.0)
    enough = lay([panel], ClothInHand(70, 140), fold="crosswise", tries=3)
    assert enough.fits and enough.used_cm == pytest.approx(140.0)


def test_the_share_used_is_of_the_length_taken():
    # 40 x 60 cut from 100 usable cm of width: 2400 of 6000 cm2, whatever lies beyond.
    made = lay([Piece.rectangle("a", 40, 60, seam_cm=0)], ClothInHand(110, 300, selvedge_cm=5))
    assert made.used_share == pytest.approx(0.4)


@pytest.mark.parametrize("slant", [20.0, -35.0])
def test_the_mirrored_copy_of_a_piece_with_a_slanted_grain_line_lies_on_grain(slant):
    sleeve = Piece.polygon(
        "sleeve", [(0, 0), (20, 0), (26, 30), (0, 34)], quantity=2, pair=True, grain_deg=slant,
        seam_cm=0.0,
    )  # fmt: skip
    made = lay([sleeve], ClothInHand(200, 200, one_way=True), tries=3)
    one, other = sorted(made.placements, key=lambda piece: piece.mirrored)
    for piece in (one, other):
        (x0, y0), (x1, y1) = piece.grain
        # The grain line drawn on it lies along the warp, pointing down the cloth's one way.
        assert x1 == pytest.approx(x0, abs=1e-9) and y1 > y0
    # The copy is the mirror image about the warp: same depth everywhere, sides exchanged.
    xs = [x for x, _ in one.cut]
    flipped = {(round(max(xs) - x, 6), round(y, 6)) for x, y in one.cut}
    low = min(y for _, y in one.cut) - min(y for _, y in other.cut)
    left = min(x for x, _ in other.cut)
    assert {(round(x - left, 6), round(y + low, 6)) for x, y in other.cut} == flipped


# --- as it is written -------------------------------------------------------------------------


def test_units_by_definition():
    # The international yard is 0.9144 m, the foot a third, the inch 2.54 cm of it (1959 agreement;
    # NIST SP 811, app. B, from memory); a decimetre is 10 cm.
    lengths = {"1 yd": 91.44, "2 yards": 182.88, "1 yard": 91.44, "3 yds": 274.32, "1 ft": 30.48,
               "2 feet": 60.96, "8 dm": 80.0, "1 m": 100.0, "7 cm": 7.0, "5 mm": 0.5,
               "10 inch": 25.4, "10 inches": 25.4, "10 in": 25.4, '10"': 25.4,
               "44 1/2 inch": 113.03, "3 1/2 yd": 320.04,
               # as a telephone or a pattern prints it
               "36\u00bd\u2033": 92.71, "36 \u00bd in.": 92.71, "\u00be m": 75.0,
               "1\u215e yd": 171.45, "36-1/2 inch": 92.71, "2\u2032\u2032": 5.08,
               "1.2 metres": 120.0, "12 centimeters": 12.0}  # fmt: skip
    for text, value in lengths.items():
        assert length_from(text, "x") == pytest.approx(value, abs=1e-9), text
    assert length_mm("2 yards") == pytest.approx(1828.8) and length_mm("3 dm") == 300.0
    assert sett_per_cm("400 /dm") == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("112 x 250 cm", (112, 250)),
        ("44x98 inch", (111.76, 248.92)),
        ("150 cm x 3.2 m", (150, 320)),
        ("60 inch x 3.5 yd", (152.4, 320.04)),
        ("1.5 x 3.2 m", (150, 320)),
        ("3.5 yd long x 60 inch wide", (152.4, 320.04)),
        ("3.5 yd wide by 60 inch long", (320.04, 152.4)),
        ("8 dm x 2 yards", (80, 182.88)),
    ],
)
def test_sizes_are_read_as_meant(text, size):
    assert size_from(text, "--cloth") == pytest.approx(size)


@pytest.mark.parametrize(
    ("text", "inch"),
    [("5 ft 6 in", 66), ("5' 6 1/2\"", 66.5), ("5\u20326\u2033", 66), ("5\u20196\u201d", 66),
     ("2 yd 18 inches", 90), ("6'", 72), ("1 foot 3 in", 15), ("1 m 27 cm", 50)],
)  # fmt: skip
def test_feet_and_inches_make_one_length(text, inch):
    """12 inches a foot, 3 feet a yard (international yard and pound agreement of 1959)."""
    assert length_from(text, "length") == pytest.approx(2.54 * inch)
    assert size_from(f"{text} x 3 yd", "cloth") == pytest.approx((2.54 * inch, 274.32))


@pytest.mark.parametrize("text", ["5 ft 13 in", "5'6", "20 cm 1 m", "5 ft 6 stone", "ft 6 in"])
def test_what_is_no_such_length_is_refused(text):
    with pytest.raises(InputError, match="length"):
        length_from(text, "length")


def test_a_shared_unit_is_worked_out_once_for_each_side(monkeypatch):
    asked = []

    def length(text):
        asked.append(text)
        return length_mm(text)

    monkeypatch.setattr(asked_module, "length_mm", length)
    assert size_from("1.5 x 3.2 m", "--cloth") == pytest.approx((150.0, 320.0))
    assert asked == ["1.5 m", "3.2 m"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("112x250", "write 112x250 cm or 112x250 inch"),
        ("150 x 3.2 m", "write 150 cm x 3.2 m"),
        ("60 x 3.5 yards", "write 60 inch x 3.5 yards"),
        ("3.5 yd x 60 inch", "write 60 inch x 3.5 yd"),
        ("3.2 x 1.4 m", "write 3.2 m wide x 1.4 m long, or 1.4 m x 3.2 m"),
        ("320 cm x 140 cm", "write 320 cm wide x 140 cm long"),
        ("150 cm x 3", "3 of what"),
        ("150 m x 3 m", "at most 600 cm"),
        ("112 cm x 900 m", "at most 200 m"),
        ("112 cm x 2,5 m", "write 2.5 with a point"),
        ("112,5 x 250 cm", "write 112.5 with a point"),
        ("112 x 1,000 cm", "write 1000, or 1.000 with a point"),
        ("112 x 250 furlong", "no known unit"),
        ("112", "no size"),
        ("112 x 250 cm, pink", "not known of cloth"),
        ("112 x 250 cm, selvedge 1", "1 cm or 1 inch"),
        ("112 x 250 cm, flaw 8 x 8 cm", "say where"),
        ("112 x 250 cm, flaw 8 x 8 cm at near left", "a bite"),
        ("112 x 250 cm, bite 8 x 8 cm at 40 x 40 cm", "a flaw"),
        ("112 x 250 cm, flaw 8 x 8 cm at 300 x 40 cm", "off the cloth"),
    ],
)
def test_what_is_not_clear_is_asked_in_one_line(text, says):
    with pytest.raises(InputError, match=says) as caught:
        in_hand_from(text, "--cloth")
    assert "--cloth" in str(caught.value) and "\n" not in str(caught.value)


FILE = """
unit = "inch"
fold = "open"
[[piece]]
name = "bodice"
across = 10
down = 16
[[cloth]]
name = "last of it"
width = 44
length = 100
selvedge = 0.5
one_way = true
[[cloth.flaw]]
across = 3
along = 3
from_left = 20
from_end = 70
[[cloth.bite]]
across = 10
along = 20
from_left = 34
from_end = 80
[[fullness]]
what = "skirt"
finished = 28
length = 36
kind = "knife"
fullness = 2.5
pleat = 1
"""


def test_line_and_file_tell_the_same_cloth_and_fullness(tmp_path, capsys):
    told = cutting_from_toml(FILE)
    said = in_hand_from(
        "44 x 100 inch, selvedge 1/2 inch, one way, flaw 3 x 3 inch at 20 x 70 inch, "
        "bite 10 x 20 inch at far right"
    )
    (hand,) = told.cloth
    assert hand.name == "last of it" and hand.one_way and hand.selvedge_cm == pytest.approx(1.27)
    assert [hand.width_cm, hand.length_cm] == pytest.approx([said.width_cm, said.length_cm])
    assert hand.shape.symmetric_difference(said.shape).area < 1e-6
    full = fullness_from(
        "skirt: 28 x 36 inch, knife, 2.5 to 1, pleat 1 inch", "x", hand.usable_width_cm
    )
    (wanted,) = told.fullness
    assert [wanted.finished_cm, wanted.length_cm] == pytest.approx([full.finished_cm, 91.44])
    assert (wanted.kind, wanted.fullness, wanted.pleat_cm) == ("knife", 2.5, pytest.approx(2.54))
    assert wanted.cloth_width_cm == pytest.approx(43 * 2.54)

    file = tmp_path / "skirt.toml"
    file.write_text(FILE)
    assert run(["lay", str(file), "--grain", "straight", "--json", "--tries", "20"]) == 0
    from_file = json.loads(capsys.readouterr().out)["lays"][0]
    listed = tmp_path / "pieces.toml"
    listed.write_text(FILE[: FILE.index("[[cloth]]")])
    assert run(
        ["lay", str(listed), "--grain", "straight", "--json", "--tries", "20", "--cloth",
         "44 x 100 inch", "--selvedge", "1/2 inch", "--one-way", "--flaw",
         "3 x 3 inch at 20 x 70 inch", "--bite", "10 x 20 inch at far right", "--fullness",
         "skirt: 28 x 36 inch, knife, 2.5 to 1, pleat 1 inch"]
    ) == 0  # fmt: skip
    from_line = json.loads(capsys.readouterr().out)["lays"][0]
    for key in ("verdict", "counted", "largest"):
        assert from_file[key] == from_line[key]
    assert from_file["used_cm"] == pytest.approx(from_line["used_cm"])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("[[cloth.flaw]]", "[[cloth.bite]]"), "call it a flaw"),
        (("width = 44", "width = 4400"), "width"),
        (("from_end = 80", "from_end = 800"), "lies off the cloth"),
        (('unit = "inch"', ""), "unit: is missing; write unit"),
        (("fullness = 2.5", "fullness = 25"), "fullness"),
        (("pleat = 1", "pleats = 1"), "did you mean pleat"),
        (("finished = 28\n", ""), "finished: is missing"),
    ],
)
def test_a_wrong_cutting_file_is_refused_by_place(change, says):
    with pytest.raises(InputError, match=says) as caught:
        cutting_from_toml(FILE.replace(*change), "mine.toml")
    assert "mine.toml" in str(caught.value)


def test_grain_and_layers_on_the_line_do_what_they_say(tmp_path, capsys):
    hand = ClothInHand(120, 130)
    held = Making(
        cloths=(project_cloth("o", swatch_folder() / f"{ORGANZA}.toml", (hand,)),),
        options=(MakingOption("A", (MakingLayer("o"), MakingLayer("o", 90.0))),),
        chosen="A",
        pieces=(Piece.rectangle("strip", 20.0, 100.0, seam_cm=0.0),),
    )
    file = save_making(tmp_path / "p.json", held)

    def laid(*more):
        assert run(["lay", str(file), "--json", "--tries", "20", *more]) == 0
        return json.loads(capsys.readouterr().out)["lays"]

    # The whole option is turned: straight and cross become cross and straight upside down.
    straight, cross = laid("--grain", "straight,cross")
    assert [layer["grain"] for layer in straight["layers"]] == [0.0, 90.0]
    assert [layer["grain"] for layer in cross["layers"]] == [90.0, 180.0]
    # 20 and 100 lie side by side on 120.
    assert straight["used_cm"] == pytest.approx(100.0) == pytest.approx(cross["used_cm"])
    # So is it on other cloth; strips of 100 across lie one after another, as many as --layers says.
    (own,) = laid("--cloth", "120x130cm")
    assert own["counted"] == straight["counted"] and own["used_cm"] == pytest.approx(100.0)
    assert own["layers"] == straight["layers"]
    one, three = (
        laid("--cloth", "120x130cm", "--grain", "cross", "--layers", many) for many in "13"
    )
    assert one[0]["used_cm"] == pytest.approx(20.0) and three[0]["used_cm"] == pytest.approx(60.0)
    assert three[0]["layers"] == [{"grain": "cross", "layers": 3, "back_out": False}]
    assert len(three[0]["lengths"][0]["placements"]) == 3
    assert run(["lay", str(file), "--layers", "2"]) == 2
    assert "--layers" in capsys.readouterr().err
    # of an option of two cloths it must be said how many layers are of this one
    other = project_cloth("c", swatch_folder() / "silk-chiffon-ivory.toml")
    mixed = MakingOption("A", (MakingLayer("o"), MakingLayer("c")))
    save_making(file, replace(held, cloths=(*held.cloths, other), options=(mixed,)))
    assert run(["lay", str(file), "--cloth", "120x130cm"]) == 2
    assert "option A is made of 2 cloths; say how many layers" in capsys.readouterr().err
    assert laid("--cloth", "120x130cm", "--layers", "1", "--grain", "cross") == one


def test_no_bias_leaves_the_bias_out(capsys):
    asked = ["decide", "stacks", "shot-organza-red-black", "--want", "brightest", "--json",
             "--grain", "straight,30,bias", "--options", "5", "--behind", "white",
             "--layers", "1"]  # fmt: skip

    def grains(*more):
        assert run([*asked, *more]) == 0
        found = json.loads(capsys.readouterr().out)
        return json.dumps(found)

    assert '"grain_deg": 45' in grains() or '"grain_deg": 30' in grains()
    only = grains("--no-bias")
    assert '"grain_deg": 45' not in only and '"grain_deg": 30' not in only


@pytest.mark.parametrize("face", ["face", "back"])
@pytest.mark.parametrize("grain", [0.0, 30.0, 90.0])
def test_what_goes_back_out_is_cut_so_that_it_comes_out_as_drawn(face, grain):
    """Cut it from the cloth, face up, and turn it over, as hands would: mirrored in x."""
    hook = Piece.polygon(
        "hook", [(0, 0), (30, 0), (30, 10), (10, 10), (10, 50), (0, 50)], seam_cm=0.0
    )
    cloth = load_swatch(ORGANZA)
    # a flaw stays where it is on the cloth's face, whichever side goes out
    hand = ClothInHand(120, 120, one_way=True, damage=(((0, 0), (40, 0), (40, 60), (0, 60)),))
    stack = Stack((Layer(cloth, grain, face),))
    (need,) = stack_needs(stack, [hook], [], {cloth.name: [hand]}, tries=10)
    ((_, made),) = need.laid
    (laid,) = made.placements
    over = -1.0 if face == "back" else 1.0
    cut = np.array(laid.cut) * (over, 1.0)
    (x0, y0), (x1, y1) = (np.array(end) * (over, 1.0) for end in laid.grain)
    turn = np.arctan2(x1 - x0, y1 - y0)  # brings its grain line upright, as the piece is drawn

    def brought(at):
        x, y = at
        return x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)

    out = Polygon([brought(at) for at in cut])
    left, low, *_ = out.bounds
    drawn = Polygon([(x + left, y + low) for x, y in hook.outline])
    assert out.symmetric_difference(drawn).area < 1e-6
    # the warp, up the cloth, lies on the piece as the option says, anticlockwise from its line
    warp = brought((0.0, 1.0))
    assert np.degrees(np.arctan2(-warp[0], warp[1])) % 360.0 == pytest.approx(grain, abs=1e-6)
    assert not Polygon(laid.cut).intersection(Polygon(hand.damage[0])).area
    assert ("back out" in need.counted) == (face == "back")
    assert any("lie face down" in note for note in need.notes) == (face == "back")


def test_faces_of_one_cloth_are_laid_together_each_its_own_way_over():
    hook = Piece.polygon(
        "hook", [(0, 0), (30, 0), (30, 10), (10, 10), (10, 50), (0, 50)], seam_cm=0.0
    )
    cloth = load_swatch(ORGANZA)
    both = Stack((Layer(cloth), Layer(cloth, 0.0, "back")))
    lengths = {cloth.name: [ClothInHand(120, 120)]}
    (need,) = stack_needs(both, [hook], [], lengths, tries=10)
    assert sorted(p.mirrored for p in need.laid[0][1].placements) == [False, True]
    assert need.counted.startswith("1 layer, straight grain, and 1, straight grain, back out;")
    # what is its own mirror image is the same cut whichever side goes out
    front = Piece.rectangle("front", 20.0, 50.0)
    (plain,) = stack_needs(both, [front], [], lengths, tries=10)
    (twice,) = stack_needs(Stack((Layer(cloth),) * 2), [front], [], lengths, tries=10)
    assert plain.laid == twice.laid and plain.layers == 2
    assert fits_by_lay([hook], lengths, tries=2)(both).enough


def test_a_weave_that_half_a_turn_changes_is_not_laid_both_ways_up_in_silence(tmp_path, capsys):
    # Wedges 40 and 10 wide, 60 long: head to tail two lie on 50 of width, else one after another.
    wedge = Piece.polygon("wedge", [(0, 0), (40, 0), (10, 60), (0, 60)], quantity=2, seam_cm=0.0)
    hand = ClothInHand(52, 130)
    odd = ("X..X.", ".XX..", "X.X..", "...XX", ".X..X")  # turned half round it is another plan
    plan = tuple(tuple(int(c == "X") for c in row) for row in odd)
    turned = tuple(row[::-1] for row in plan[::-1])
    shifted = [
        tuple(tuple(turned[(p + a) % 5][(e + b) % 5] for e in range(5)) for p in range(5))
        for a in range(5) for b in range(5)
    ]  # fmt: skip
    assert plan not in shifted
    plain = load_swatch(ORGANZA)
    cloth = replace(plain, weave=replace(plain.weave, name="odd", lift=plan))
    told = {}
    for one, way in ((cloth, False), (cloth, True), (plain, False)):
        lengths = {one.name: [replace(hand, one_way=way)]}
        (need,) = stack_needs(Stack((Layer(one),)), [wedge], [], lengths, tries=20)
        assert need.fits
        told[one is cloth, way] = [note for note in need.notes if "upside down" in note]
        assert need.directions == ({0} if way else {0, 180})
    assert told[True, False] and not told[True, True] and not told[False, False]
    # folded along the weft the under cloth lies upside down, folded along the warp it does not
    front = Piece.rectangle("front", 20.0, 30.0, quantity=2)
    for fold in ("crosswise", "lengthwise"):
        (need,) = stack_needs(
            Stack((Layer(cloth),)), [front], [], {cloth.name: [hand]}, fold=fold, tries=3
        )
        assert need.fits
        assert any("upside down" in note for note in need.notes) == (fold == "crosswise")


def test_both_diagonals_are_told_where_bias_took_them():
    front = Piece.rectangle("front", 30.0, 60.0, quantity=3)
    gore = Piece.polygon("gore", [(0, 0), (20, 0), (30, 60), (0, 60)], quantity=2, pair=True)
    hand = [ClothInHand(112, 250)]

    def laid(grain):
        return cloth_needed("silk", ((grain, 1),), [front, gore], (), hand, tries=60)

    free, kept = laid("bias"), laid(45.0)
    assert {turn % 180 for turn in free.directions} == {45, 135}
    assert any("both diagonals" in note for note in free.notes)
    # warp 45 degrees to the left of the piece's grain line, so that to the right of the warp
    assert {turn % 180 for turn in kept.directions} == {135}
    assert not kept.notes
    # mirrored with its grain line, the left half has its warp leaning the other way
    half = replace(gore, name="skirt half", grain_deg=45.0)
    pair = cloth_needed("silk", STRAIGHT, [front, half], (), hand, tries=20)
    assert pair.fits
    assert any("Left and right of skirt half lie on both diagonals" in one for one in pair.notes)
    alike = (replace(half, grain_deg=90.0), replace(half, pair=False))
    for other in alike:
        assert not cloth_needed("silk", STRAIGHT, [front, other], (), hand, tries=20).notes


def test_a_lay_tells_what_is_left_over_between_the_pieces():
    """30 x 60 of 40 x 60 cut out leave a quarter."""
    made = lay([Piece.rectangle("panel", 30, 60, seam_cm=0.0)], ClothInHand(40, 100), tries=2)
    (told, *_) = lay_sentences(made)
    assert told.startswith("It fits: 60 cm (23 5/8 in) of the 100 cm (39 3/8 in) in hand, 25 % of")
    assert "left over between pieces" in told


def test_the_drawing_tells_lengths_bite_warp_fold_and_names():
    hand = in_hand_from("100 x 200 cm, selvedge 1 cm, bite 30 x 40 cm at far right")
    pieces = [Piece.rectangle("front panel", 40, 60), Piece.rectangle("belt", 4, 60)]
    made = lay(pieces, hand, tries=5)
    words = [
        m.text for m in lay_page("Lay", made, pieces, ["It fits."]).marks if hasattr(m, "text")
    ]
    for text in ("warp", "bite 30 x 40 cm", "11 3/4 x 15 3/4 in", "1 front panel", "100 cm",
                 "in all 200 cm = 78 3/4 in"):  # fmt: skip
        assert text in words, (text, words)
    assert any(w.startswith("used 63 cm = 24 3/4 in") for w in words)
    assert any("2 belt" in w for w in words)  # beside the drawing where the piece is too slim
    folded = lay([replace(p, quantity=2) for p in pieces], ClothInHand(100, 200),
                 fold="lengthwise", tries=5)  # fmt: skip
    marks = lay_page("Lay", folded, pieces, []).marks
    assert "fold" in [m.text for m in marks if hasattr(m, "text")]


def test_two_cloths_of_one_name_are_never_summed_as_one():
    cloth = load_swatch(ORGANZA)
    other = replace(load_swatch("silk-chiffon-ivory"), name=cloth.name)
    ask = fits_by_lay([BAND], {cloth.name: [ClothInHand(100, 100)]}, tries=2)
    with pytest.raises(InputError, match="name them apart"):
        ask(Stack((Layer(cloth), Layer(other))))


def test_what_was_counted_is_told_in_whole_words():
    one = Piece.rectangle("band", 40.0, 10.0, seam_cm=0.0)
    hands = [ClothInHand(100, 1000)]
    assert cloth_needed("silk", STRAIGHT, [one], (), hands, tries=2).counted == (
        "1 layer, straight grain; 1 piece in all"
    )
    two = cloth_needed("silk", ((0.0, 2),), [one], (), hands, tries=2)
    assert two.counted == "2 layers, straight grain; 2 pieces in all"
    mixed = cloth_needed("silk", ((0.0, 1), (90.0, 1)), [one], [SKIRT], hands, tries=2)
    assert mixed.counted.startswith("1 layer, straight grain, and 1, cross grain; 2 pieces in all;")
    assert mixed.counted.count("skirt (") == 2 and mixed.layers == 2
    bare = cloth_needed("silk", STRAIGHT, (), [SKIRT], hands, tries=2)
    assert bare.counted == (
        "1 layer, straight grain; skirt 2 widths of 100 cm (39 3/8 in), each cut 66.5 cm "
        "(26 1/8 in) long"
    )


@pytest.mark.parametrize("spare", [13, 12, 11, 3])
def test_the_most_of_narrow_cloth_is_searched_a_dozen_widths_on(spare):
    # 3 widths of 10 just go round 30; each takes 30 cm. Up to a dozen more are tried.
    narrow = FullnessWanted("cuff", "gathered", 30.0, 10.0, 30.0, widths=3, seam_cm=0.0,
                            top_cm=0.0, hem_cm=0.0)  # fmt: skip
    hand = ClothInHand(10, 30.0 * (3 + spare))
    made = cloth_needed("ribbon", STRAIGHT, (), [narrow], [hand], tries=2)
    widths = 3 + min(spare, 12)
    atleast = "at least " if spare >= 12 else ""
    assert f"still fits: {atleast}{widths * 10 / 30:.2f} to 1, {widths} widths" in made.largest


@pytest.mark.parametrize("most", [4, 5])
def test_full_cloth_sideways_is_told_in_steps_of_a_tenth(most):
    # 30 finished, cut once sideways at 2 to 1: 60 of length; a tenth more each step.
    cuff = FullnessWanted("cuff", "gathered", 30.0, 20.0, 20.0, fullness=2.0, seam_cm=0.0,
                          top_cm=0.0, hem_cm=0.0)  # fmt: skip
    hand = ClothInHand(20, 60.0 * (1.0 + 0.1 * most) + 1.0)
    made = cloth_needed("silk", ((90.0, 1),), (), [cuff], [hand], tries=2)
    assert f"still fits: {2.0 * (1.0 + 0.1 * most):.2f} to 1" in made.largest


def test_wide_cloth_is_taken_in_as_asked_where_its_whole_width_is_too_full():
    # two layers side by side on 600 of length go round 68 at (600 - 3) / 68 = 8.78 to 1, though
    # three whole widths joined would be 12.2
    two = ((90.0, 2),)
    skirt = FullnessWanted("skirt", "gathered", 68.0, 280.0, 102.0, fullness=7.35)
    made = cloth_needed("voile", two, (), [skirt], [ClothInHand(280, 600)], tries=2)
    full = float(made.largest.partition("still fits: ")[2].split()[0])
    assert made.fits and 8.73 <= full <= 8.78
    # asked for outright it is the same, and beyond 9 to 1 nothing is taken in
    full = replace(skirt, fullness=8.75)
    assert cloth_needed("voile", two, (), [full], [ClothInHand(280, 600)], tries=2).fits
    ample = cloth_needed("voile", two, (), [skirt], [ClothInHand(280, 900)], tries=2)
    assert "9.00 to 1" in ample.largest and "at least" not in ample.largest
    # a sleeve of 22 at 3 to 1 wants 66 and its seams, not all 280 of the width
    sleeve = plan_fullness("gathered", 22.0, 280.0, 60.0, fullness=3.0)
    assert (sleeve.widths, sleeve.panel_cm) == (1, pytest.approx(69.0))
    assert sleeve.fullness == pytest.approx(3.0) and not sleeve.whole_widths
    with pytest.raises(InputError, match="that is 1 width, 12.6 to 1"):
        plan_fullness("gathered", 22.0, 280.0, 60.0, widths=1)


@pytest.mark.parametrize(("side", "edge"), [("top", 0), ("right", 1), ("bottom", 2), ("left", 3)])
def test_the_edge_on_the_fold_is_called_by_its_side(side, edge):
    text = 'unit = "cm"\n[[piece]]\nname = "front"\nacross = 20\ndown = 50\nfold_edge = '
    (named,), (numbered,) = (
        cutting_from_toml(text + said).pieces for said in (f'"{side}"', str(edge))
    )
    assert named == numbered
    # unfolded about a side it is twice as wide, about the top or the bottom twice as long
    left, low, right, high = sewing_outline(named).bounds
    wide = side in ("left", "right")
    assert (right - left, high - low) == ((40.0, 50.0) if wide else (20.0, 100.0))
    with pytest.raises(InputError, match="write top, right, bottom, left of a piece told by"):
        cutting_from_toml(text + '"selvedge"')
    with pytest.raises(InputError, match="of corners the number"):
        corners = "corners = [[0, 0], [20, 0], [20, 50]]"
        cutting_from_toml(text.replace("across = 20\ndown = 50", corners) + '"left"')


def test_damage_off_the_cloth_is_refused_alike_wherever_it_is_told():
    """In Python, on the line, in a file of pieces and in a project."""
    said = "a flaw or bite lies off the cloth, which is 112 cm x 250 cm"
    spot = ((300.0, 40.0), (308.0, 40.0), (308.0, 48.0), (300.0, 48.0))
    held = Making("m", cloths=(
        project_cloth("o", swatch_folder() / f"{ORGANZA}.toml", (ClothInHand(112.0, 250.0),)),
    ))  # fmt: skip
    file = json.loads(to_json(held))
    file["cloths"][0]["in_hand"][0]["damage"] = [spot]
    project = json.dumps(file)
    for made in (
        lambda: ClothInHand(112.0, 250.0, damage=(spot,)),
        lambda: replace(ClothInHand(112.0, 250.0), damage=(spot,)),
        lambda: in_hand_from("112 x 250 cm, flaw 8 x 8 cm at 300 x 40 cm"),
        lambda: cutting_from_toml(
            'unit = "cm"\n[[piece]]\nname = "p"\nacross = 9\ndown = 9\n[[cloth]]\n'
            "width = 112\nlength = 250\n[[cloth.flaw]]\nacross = 8\n"
            "along = 8\nfrom_left = 300\nfrom_end = 40"
        ),
        lambda: from_json(project),
    ):
        with pytest.raises(InputError, match=said):
            made()
    # what reaches beyond an edge is a bite at it
    assert ClothInHand(112.0, 250.0, damage=(((100, 0), (130, 0), (130, 20), (100, 20)),)).damage
