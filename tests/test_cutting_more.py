"""Cutting, function by function: what each promises at its limits and from any side."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from weavecolor.cutting.asked import fullness_from, in_hand_from, with_damage
from weavecolor.cutting.folds import fold_profile
from weavecolor.cutting.fullness import FullnessWanted, plan_fullness, skirt_layers
from weavecolor.cutting.lay import CANNOT, NO_LAY, lay
from weavecolor.cutting.lengths import positive
from weavecolor.cutting.needed import Layers, _doubts, _less_full, cloth_needed
from weavecolor.cutting.nesting import Nest, _crossings, _levels, convex_parts, form
from weavecolor.cutting.pieces import Piece, grain_arrow, mirror, sewing_outline
from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.cutting.turns import Part, _same, laid_items, ways_to_turn
from weavecolor.errors import InputError

STRAIGHT = (Layers(0.0, 1),)


@pytest.mark.parametrize("text", ["skirt 70 x 90 cm", ": 70 x 90 cm", "  : 70 x 90 cm", "skirt"])
def test_a_fullness_without_what_for_is_asked_for_it(text):
    with pytest.raises(InputError, match="does not say what for"):
        fullness_from(text)


@pytest.mark.parametrize("kind", ["gathered", "knife", "box"])
@pytest.mark.parametrize("view", [0.0, 35.0])
def test_folds_of_one_shape_cover_alike_at_any_size(kind, view):
    """Layers met and cloth over each line are ratios: nothing of them is a length."""
    usual = fold_profile(kind, 2.6, pitch_cm=4.0, view_deg=view, samples=200,
                         depth_cm=None if kind == "gathered" else 0.2)  # fmt: skip
    tiny = fold_profile(kind, 2.6, pitch_cm=4e-5, view_deg=view, samples=200,
                        depth_cm=None if kind == "gathered" else 0.2e-5)  # fmt: skip
    assert np.array_equal(tiny.layers, usual.layers)
    assert tiny.cover == pytest.approx(usual.cover, rel=1e-6)
    assert tiny.cover.mean() == pytest.approx(usual.cover.mean(), rel=1e-9)


def test_no_lay_is_tried_of_what_is_proved_not_to_fit():
    made = lay([Piece.rectangle("a", 50, 50, seam_cm=0)], ClothInHand(40, 100), tries=3)
    assert made.verdict == CANNOT and made.tries == 0
    assert lay([Piece.rectangle("a", 30, 50, seam_cm=0)], ClothInHand(40, 100), tries=1).tries == 1


def test_several_lengths_too_small_together_are_told_by_area():
    # Two layers of three 50 x 50: 1.5 m2; two lengths of 60 x 60: 0.72 m2.
    square = Piece.rectangle("square", 50.0, 50.0, quantity=3, seam_cm=0.0)
    hands = [ClothInHand(60.0, 60.0)] * 2
    made = cloth_needed("silk", ((0.0, 2),), [square], (), hands, tries=2)
    assert made.verdict == CANNOT
    assert made.reason == "the pieces cover 1.500 m2, all lengths together only 0.720 m2"
    # one of six lies on each length, four more take 200 of that width
    assert made.short_cm == pytest.approx(200.0)
    assert made.needed_cm is None  # of two lengths no single one can be told


def test_no_length_is_told_where_none_would_do():
    wide = Piece.rectangle("wide", 90.0, 50.0, seam_cm=0.0)
    made = cloth_needed("silk", STRAIGHT, [wide], (), [ClothInHand(60.0, 60.0)], tries=2)
    assert made.verdict == CANNOT and made.short_cm is None and made.needed_cm is None


L_SHAPE = Polygon([(0, 0), (9, 0), (9, 2), (2, 2), (2, 7), (0, 7)])
CROSS = shapely.union_all([shapely.box(3, 0, 5, 8), shapely.box(0, 3, 8, 5)])


@pytest.mark.parametrize(
    "shape", [L_SHAPE, CROSS, shapely.box(0, 0, 9, 9) - shapely.box(3, 3, 5, 6)]
)
def test_no_two_convex_parts_could_be_one(shape):
    parts = [Polygon(part) for part in convex_parts(shape)]
    assert sum(part.area for part in parts) == pytest.approx(shape.area)
    for one, two in combinations(parts, 2):
        both = shapely.convex_hull(shapely.multipolygons([one, two]))
        assert both.area > one.area + two.area + 1e-9


@pytest.mark.parametrize(("unit", "cm"), [("cm", 1.0), ("inch", 2.54)])
@pytest.mark.parametrize("where", ["all", "one"])
def test_a_seam_in_a_file_is_at_most_20_cm(unit, cm, where):
    def seam_of(text: str) -> float:
        head, own = (f"seam = {text}", "") if where == "all" else ("", f"seam = {text}")
        file = f'unit = "{unit}"\n{head}\n[[piece]]\nname = "a"\nacross = 9\ndown = 9\n{own}\n'
        return cutting_from_toml(file).pieces[0].seam_cm

    assert seam_of(repr(19.99 / cm)) == pytest.approx(19.99)
    with pytest.raises(InputError, match="seam"):
        seam_of(repr(20.01 / cm))


@pytest.mark.parametrize(("kind", "full"), [("flat", 1.0), ("gathered", 2.5), ("knife", 2.5)])
def test_a_fullness_that_a_file_leaves_open_is_the_usual_one(kind, full):
    text = f'unit = "cm"\n[[fullness]]\nwhat = "skirt"\nfinished = 70\nlength = 90\nkind = "{kind}"'
    (wanted,) = cutting_from_toml(text).fullness
    assert isinstance(wanted, FullnessWanted)
    assert wanted.fullness == full and wanted.widths is None


@pytest.mark.parametrize("flip", [False, True])
@pytest.mark.parametrize("grain", [0.0, 30.0, 90.0, -75.0])
def test_outline_seam_and_arrow_of_a_piece_turn_as_one(grain, flip):
    corners = [(0, 0), (20, 0), (24, 30), (0, 34)]
    piece = Piece.polygon("sleeve", corners, grain_deg=10.0, seam_cm=1.5)
    (way,) = ways_to_turn(piece, grain, True, flip)
    sew, arrow = sewing_outline(piece), grain_arrow(piece)
    if flip:
        sew, arrow = mirror(sew), affinity.scale(arrow, -1, 1, origin=(0, 0))
    # Back by the turn it tells, then to where it was: nothing of it may have moved by itself.
    back = [affinity.rotate(x, -way.turned_deg, origin=(0, 0)) for x in (way.sew, way.grain)]
    by = [a - b for a, b in zip(sew.centroid.coords[0], back[0].centroid.coords[0], strict=True)]
    here = [affinity.translate(x, *by) for x in back]
    assert here[0].symmetric_difference(sew).area < 1e-6
    assert np.asarray(here[1].coords) == pytest.approx(np.asarray(arrow.coords), abs=1e-6)
    # the warp, along y, is so many degrees from the grain line as is asked
    (x0, y0), (x1, y1) = way.grain.coords
    assert math.degrees(math.atan2(x1 - x0, y1 - y0)) == pytest.approx(grain, abs=1e-6)
    assert way.form.polygon.contains(way.sew)


@pytest.mark.parametrize(
    ("name", "doubted"),
    [("Skirt panel", True), ("panel of the skirt", True), ("curtain panel", False),
     ("skirt yoke", False), ("yoke", False)],
)  # fmt: skip
def test_only_a_panel_of_the_same_thing_may_be_counted_twice(name, doubted):
    wanted = FullnessWanted("skirt", "gathered", 70.0, 100.0, 60.0, fullness=2.0)
    assert bool(_doubts((Piece.rectangle(name, 40.0, 60.0),), (wanted,))) is doubted


@pytest.mark.parametrize("share", [0.9, 0.8, 0.7, 0.6])
def test_the_largest_fullness_sideways_is_told_within_a_twentieth(share):
    # 30 finished, cut once sideways at 2 to 1: 60 of length. By hand, what there is goes 30 into.
    cuff = FullnessWanted("cuff", "gathered", 30.0, 20.0, 20.0, fullness=2.0, seam_cm=0.0,
                          top_cm=0.0, hem_cm=0.0)  # fmt: skip
    hand = ClothInHand(20.0, 60.0 * share + 1.0)
    for asked in (cuff, replace(cuff, fullness=1.1)):  # more than fits, and less
        made = cloth_needed("silk", ((90.0, 1),), (), [asked], [hand], tries=2)
        told = float(re.search(r"(\d\.\d\d) to 1", made.largest)[1])
        assert -0.06 < told - hand.length_cm / 30.0 < 0.006


# 112 x 250 cm, and the same cloth cut out of a plan that begins elsewhere
@pytest.mark.parametrize("left", [0.0, 10.0])
def test_damage_off_the_cloth_is_told_the_size_of_the_cloth(left):
    corners = tuple((left + x, left + y) for x, y in ((0, 0), (112, 0), (112, 250), (0, 250)))
    cloth = ClothInHand(112.0, 250.0, outline=corners)
    with pytest.raises(InputError, match="off the cloth, which is 112 cm x 250 cm"):
        with_damage(cloth, "flaw", "8 x 8 cm at 300 x 40 cm", "--flaw")


@pytest.mark.parametrize("turned_up", [0.0, 0.4, 4.0])
def test_cloth_hangs_double_from_where_it_is_turned_up(turned_up):
    rows = skirt_layers("gathered", 70.0, 140.0, 60.0, 210.0, turned_up_cm=turned_up, heights=4)
    for row in rows:
        assert row.doubled == (turned_up > 0.0 and row.below_waist_cm >= 60.0 - turned_up - 1e-9)
    plain = skirt_layers("gathered", 70.0, 140.0, 60.0, 210.0, heights=4)[-1].shares
    assert (rows[-1].shares == plain) == (turned_up == 0.0)


@pytest.mark.parametrize(("width", "side_by_side"), [(112.0, 2), (104.0, 2), (99.9, 1), (156.0, 3)])
def test_panels_of_flat_cloth_lie_side_by_side_where_they_have_room(width, side_by_side):
    # three panels of 40 and two allowances of 6: 52 each
    plan = plan_fullness("flat", 120.0, width, 90.0, widths=3, seam_cm=6.0)
    assert plan.panel_cm == pytest.approx(52.0)
    assert plan.cloth_length_cm == pytest.approx(plan.drop_cm * math.ceil(3 / side_by_side))


def test_no_length_is_longer_than_a_kilometre():
    assert positive(100_000.0, "length_cm") == 1e5
    with pytest.raises(InputError, match="use at most 100000 cm"):
        positive(100_001.0, "length_cm")
    assert positive(7.0, "length_cm", most=7.0) == 7.0


def test_of_two_lengths_too_short_a_third_is_told():
    """100 long, and both are 60: another length of 100 would do, and neither is told its own."""
    made = cloth_needed("silk", STRAIGHT, [Piece.rectangle("a", 50.0, 100.0, seam_cm=0.0)], (),
                        [ClothInHand(60.0, 60.0)] * 2, tries=2)  # fmt: skip
    assert made.verdict == CANNOT and made.needed_cm is None
    assert made.short_cm == pytest.approx(100.0)


def test_a_shape_finds_room_beyond_damage_across_the_whole_width():
    bands = shapely.union_all([shapely.box(0, 0, 50, 10), shapely.box(0, 12, 50, 30)])
    nest = Nest(50.0, math.inf, bands)
    small = affinity.scale(L_SHAPE, 0.2, 0.2)  # 1.4 tall: into the gap of 2
    for _ in range(20):  # each form is new, and nobody but the nest keeps it
        assert nest.lowest([], form(L_SHAPE)) == pytest.approx((0.0, 30.0))
        assert nest.lowest([], form(small)) == pytest.approx((0.0, 10.0))


def test_what_has_no_area_is_in_nobodys_way():
    line = Polygon([(0, 0), (4, 0), (8, 0)])
    assert convex_parts(line) == ()
    assert len(convex_parts(shapely.geometrycollections([line, shapely.box(0, 0, 1, 1)]))) == 1


def test_cloth_measured_in_inches():
    cloth = ClothInHand.rectangle(44.0, 100.0, unit="inch", selvedge_cm=1.0)
    assert (cloth.width_cm, cloth.length_cm) == pytest.approx((111.76, 254.0))
    assert cloth.shape.area == pytest.approx(109.76 * 254.0)


@pytest.mark.parametrize("size", [0.1, 1.0, 1000.0])
def test_shapes_are_the_same_to_a_millionth_at_any_size(size):
    square = shapely.box(0.0, 0.0, size, size)
    assert _same(square, shapely.box(0.0, 0.0, size, size * (1.0 + 0.5e-6)))
    assert not _same(square, shapely.box(0.0, 0.0, size, size * (1.0 + 2e-6)))


@pytest.mark.parametrize("quantity", [1, 2, 3, 4])
def test_only_an_odd_number_cut_double_leaves_one_to_spare(quantity):
    piece = Piece.rectangle("band", 8.0, 70.0, quantity=quantity)
    items, notes = laid_items([Part(piece, "straight")], False, "lengthwise")
    assert len(items) == math.ceil(quantity / 2) and all(item.copies == 2 for item in items)
    assert ["spare" in note for note in notes] == [True] * (quantity % 2)


# --- where lines cross, and how many lays are tried -------------------------------------------


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("gap", [-4e-9, 0.0, 4e-9])
def test_lines_that_meet_but_for_a_hair_cross(turn, gap):
    """To every side: an end that rounding leaves a hair short or beyond touches all the same."""
    lines = np.array([[0.0, 0, 5, 0], [5 + gap, -1, 5 + gap, 1], [2, gap, 2, 5], [9, 0, 9, 5]])
    points = lines.reshape(-1, 2)
    for _ in range(turn):
        points = np.column_stack([-points[:, 1], points[:, 0]])
    for order in (1, -1):
        lines = points.reshape(-1, 4)[::order].copy()
        found = _crossings(lines, np.arange(len(lines) + 1), np.inf)
        wanted = np.array([[5.0, 0.0], [2.0, 0.0]])
        for _ in range(turn):
            wanted = np.column_stack([-wanted[:, 1], wanted[:, 0]])
        assert len(found) == 2
        for point in wanted:
            assert np.abs(found - point).max(axis=1).min() < 1e-7


@pytest.mark.parametrize("tries", [1, 2, 7])
def test_as_many_lays_are_tried_as_asked(tries):
    slanted = Piece.polygon("gore", ((0.0, 0.0), (30.0, 0.0), (20.0, 50.0), (10.0, 50.0)),
                            quantity=4)  # fmt: skip
    told = []
    made = lay([slanted], ClothInHand(90.0, 400.0), tries=tries,
               progress=lambda *n: told.append(n))  # fmt: skip
    assert made.fits
    assert [n[:2] for n in told] == [(k + 1, tries) for k in range(tries)]
    lengths = [n[2] for n in told]
    assert lengths == sorted(lengths, reverse=True)  # never worse than the best so far
    assert made.used_cm == pytest.approx(lengths[-1], abs=0.01)


# --- less of it -------------------------------------------------------------------------------


def test_less_is_looked_for_one_width_at_a_time():
    wanted = FullnessWanted("skirt", "gathered", 100.0, 150.0, 60.0, widths=5)
    flat = FullnessWanted("band", "flat", 100.0, 150.0, 10.0, widths=1)
    hands = (ClothInHand(100.0, 500.0), ClothInHand(150.0, 500.0))
    found = list(_less_full((flat, wanted), hands, STRAIGHT))
    # of the widest: 147 cm of each width; then 0.7 of one, which still is as wide as the waist
    assert [full for _, full, _ in found] == pytest.approx([5.88, 4.41, 2.94, 1.47, 1.029])
    assert {one.what for one, _, _ in found} == {"skirt"}
    for _, full, both in found:
        assert both[0] is flat and both[1].widths is None
        assert both[1].fullness == pytest.approx(full)
    # panels that are cut to size, by tenths
    bias = list(_less_full((wanted,), hands, (Layers(45.0, 1),)))
    begun = wanted.plan(150.0, 45.0).fullness
    shares = [full / begun for _, full, _ in bias]
    assert shares == pytest.approx([0.9, 0.8, 0.7, 0.6, 0.5, 0.4])


# --- what is proved of a lay ------------------------------------------------------------------


def _strips(width, height, quantity):
    return Piece.rectangle("strip", width, height, quantity=quantity, seam_cm=0.0, grain="straight")


@pytest.mark.parametrize(
    ("width", "height", "quantity", "length", "bound", "why"),
    [
        # 100 wide: by area, 2 x 50 x 40 is 40 long; side by side
        (50.0, 40.0, 2, 40.0, 40.0, None), (50.0, 40.0, 3, 80.0, 60.0, None),
        (50.0, 40.0, 3, 59.0, 60.0, "the pieces cover 0.600 m2, the cloth only 0.590 m2"),
        # a hair more than half: one after another
        (50.1, 40.0, 2, 80.0, 80.0, None),
        (50.1, 40.0, 2, 79.0, 80.0, "wider than half the cloth must lie one after another, 80 cm"),
        # by one alone
        (10.0, 70.0, 1, 70.0, 70.0, None),
        (10.0, 70.0, 1, 69.0, 70.0, "strip takes 70 cm (27 5/8 in) of length at this grain"),
        (100.0, 20.0, 1, 30.0, 20.0, None),
        # what is needed is never told as less than it is, nor as what there is
        (100.02, 20.0, 1, 30.0, math.inf, "strip is 100.1 cm (39 1/2 in) across at this grain"),
        (100.1, 20.0, 1, 30.0, math.inf, "strip is 100.1 cm (39 1/2 in) across at this grain"),
    ],
)  # fmt: skip
def test_what_no_lay_can_do_is_proved_and_what_one_can_is_not(
    width, height, quantity, length, bound, why
):
    cloth = ClothInHand(100.0, length, one_way=True)
    made = lay([_strips(width, height, quantity)], cloth, tries=3)
    assert made.bound_cm == pytest.approx(bound)
    assert (made.verdict == CANNOT) is (why is not None)
    if why is None:
        assert made.fits and made.reason.startswith("every piece is placed")
        shortest = made.used_cm <= bound + 1e-3
        assert made.reason.endswith(", and no lay can be shorter") is shortest
        share = width * height * quantity / (100.0 * made.used_cm)
        assert made.used_share == pytest.approx(share)
    else:
        assert why in made.reason
        if math.isfinite(bound):
            assert made.short_cm == pytest.approx(
                (bound if width != 50.0 else 80.0) - length, abs=1e-3
            )


def test_at_least_one_lay_is_tried_and_something_is_laid():
    with pytest.raises(InputError, match="^tries: try at least one lay"):
        lay([_strips(10.0, 10.0, 1)], ClothInHand(100.0, 100.0), tries=0)
    with pytest.raises(InputError, match="^pieces: there are no pieces to lay"):
        lay([], ClothInHand(100.0, 100.0))
    assert lay([_strips(9.0, 100.0, 11)], ClothInHand(100.0, 100.0), tries=1).fits
    with pytest.raises(InputError, match="^pieces: more than 500 pieces to lay"):
        lay([_strips(1.0, 1.0, 500), _strips(2.0, 2.0, 1)], ClothInHand(100.0, 100.0), tries=1)


@pytest.mark.parametrize("fold", ["lengthwise", "crosswise"])
def test_what_a_fold_leaves_over_is_counted_in_pieces(fold):
    """Cut double, two at a time: of five one is to spare, and what finds no room is told."""
    cloth = ClothInHand(40.0, 90.0)
    made = lay([_strips(20.0, 20.0, 5)], cloth, fold=fold, tries=3)
    assert made.fits and sum(p.copies for p in made.placements) == 6
    assert made.left_over == ((0, 0),)
    few = lay([_strips(20.0, 20.0, 5)], ClothInHand(40.0, 45.0), fold=fold, tries=3)
    assert few.verdict == CANNOT and len(few.missing) in (2, 4)
    assert sum(few.left_over[0]) == len(few.missing)
    assert sum(p.copies for p in few.placements) + len(few.missing) == 6


# --- what is said of cloth and folds ----------------------------------------------------------


@pytest.mark.parametrize("place", ["0 x 90 cm", "104 x 90 cm", "40 x 0 cm", "40 x 190 cm"])
def test_a_bite_may_reach_each_of_the_four_edges(place):
    """8 by 10 cm, of cloth of 112 by 200; one hair off the edge it is a flaw."""
    cloth = ClothInHand(112.0, 200.0)
    text = f"8 x 10 cm at {place}"
    assert len(with_damage(cloth, "bite", text, "--bite").damage) == 1
    with pytest.raises(InputError, match="a flaw lies inside the cloth"):
        with_damage(cloth, "flaw", text, "--flaw")
    x, y = (float(v) for v in place[:-3].split(" x "))
    inside = f"8 x 10 cm at {np.clip(x, 0.01, 103.99)} x {np.clip(y, 0.01, 189.99)} cm"
    assert len(with_damage(cloth, "flaw", inside, "--flaw").damage) == 1
    with pytest.raises(InputError, match="a bite is cut out at an edge"):
        with_damage(cloth, "bite", inside, "--bite")


@pytest.mark.parametrize(("said", "full"), [("flat", 1.0), ("knife", 2.5), ("flat, 1 to 1", 1.0)])
def test_cloth_said_to_lie_flat_is_as_wide_as_what_it_covers(said, full):
    assert fullness_from(f"yoke: 70 x 30 cm, {said}").fullness == full


@pytest.mark.parametrize(
    ("said", "full"),
    [("2.5x", 2.5), ("2 1/2 times", 2.5), ("double fullness", 2.0), ("triple fullness", 3.0)],
)
def test_how_full_a_frill_is_by_any_of_its_words(said, full):
    """Longer round than down: a frill is no cloth, whose width comes first."""
    for size in ("3 m x 12 cm", "300 x 12 cm"):
        frill = fullness_from(f"frill: {size}, gathered, {said}")
        assert (frill.finished_cm, frill.length_cm) == (300.0, 12.0)
        assert (frill.fullness, frill.doubled) == (full, False)
    # of fullness or of a fold at the hem: it is asked which
    with pytest.raises(InputError, match="2.5 to 1 or 3 widths, doubled"):
        fullness_from("frill: 300 x 12 cm, gathered, double")


def test_a_streak_across_the_cloth_is_a_flaw():
    hand = in_hand_from("200 x 300 cm, flaw 180 x 2 cm at 10 x 40 cm")
    assert hand == in_hand_from("200 x 300 cms, stain 180 x 2 cm at 10 x 40 cm")
    assert np.ptp(np.array(hand.damage[0]), axis=0) == pytest.approx((180.0, 2.0))


@pytest.mark.parametrize("more", ["", "width = 110\n", "length = 90\n"])
def test_cloth_in_a_file_has_corners_or_sides(more):
    text = 'unit = "cm"\n[[piece]]\nname = "a"\nacross = 9\ndown = 9\n[[cloth]]\n'
    text += f"corners = [[0, 0], [110, 0], [80, 90], [0, 90]]\n{more}"
    if more:
        with pytest.raises(InputError, match="give corners, or width and length, not both"):
            cutting_from_toml(text)
        return
    (hand,) = cutting_from_toml(text).cloth
    assert hand.shape.area == pytest.approx((110 + 80) / 2 * 90)


@pytest.mark.parametrize("view", [0.0, 25.0])
@pytest.mark.parametrize("kind", ["gathered", "knife", "box"])
def test_what_is_met_first_lies_on_the_cloth_and_faces_as_it_does(kind, view):
    """Each line of sight meets the folded line where it says, as far out as any of its copies; the
    slope there is that of the piece of it that was met."""
    seen = fold_profile(kind, 2.6, pitch_cm=4.0, view_deg=view, samples=97)
    turn = np.radians(view)
    x, z = seen.curve_x, seen.curve_depth
    out = np.full(97, -np.inf)
    tilt = np.zeros(97)
    for copy in range(-4, 5):
        for k in range(len(x) - 1):
            ends = np.array([[x[k] + 4.0 * copy, z[k]], [x[k + 1] + 4.0 * copy, z[k + 1]]])
            across = ends @ [np.cos(turn), -np.sin(turn)]
            towards = ends @ [np.sin(turn), np.cos(turn)]
            share = (seen.x - across[0]) / (across[1] - across[0])
            far = towards[0] + share * (towards[1] - towards[0])
            first = (share >= 0.0) & (share <= 1.0) & (far > out)
            out[first] = far[first]
            tilt[first] = np.degrees(np.arctan2(z[k] - z[k + 1], x[k + 1] - x[k]))
    # from how far out it is met back to how far it stands out of the figure
    assert seen.depth == pytest.approx(
        out * np.cos(turn) - seen.x * np.sin(turn), abs=1e-9
    )
    assert seen.normal_deg == pytest.approx(tilt, abs=1e-6)


def test_what_lies_on_the_fold_stays_on_the_fold():
    """A band pinned at x = 0 goes above damage there; one that is free goes beside it."""
    nest = Nest(100.0, np.inf, shapely.box(0.0, 0.0, 20.0, 50.0))
    band = shapely.box(0.0, 0.0, 30.0, 30.0)
    assert nest.lowest([], form(band, "x")) == pytest.approx((0.0, 50.0))
    assert nest.lowest([], form(band)) == pytest.approx((20.0, 0.0))
    assert nest.lowest([], form(band, "y")) == pytest.approx((20.0, 0.0))


@pytest.mark.parametrize("shape", ["box", "ell"])
def test_what_fills_its_room_to_the_edge_has_room(shape):
    """Two of 30 by 20 on one another fill 40, side by side 60; a hundredth of a millimetre less is
    too little."""
    corner = shapely.box(0.0, 0.0, 30.0, 20.0)
    piece = form(corner if shape == "box" else corner - shapely.box(25.0, 15.0, 30.0, 20.0))
    for width, height, second in ((30.0, 40.0, (0.0, 20.0)), (60.0, 20.0, (30.0, 0.0))):
        nest = Nest(width, height)
        assert nest.lowest([], piece) == pytest.approx((0.0, 0.0))
        assert nest.lowest([(piece, 0.0, 0.0)], piece) == pytest.approx(second)
        for less in ((width - 1e-3, height), (width, height - 1e-3)):
            tight = Nest(*less)
            assert None in (tight.lowest([], piece), tight.lowest([(piece, 0.0, 0.0)], piece))


def test_levels_beyond_a_workable_number_are_thinned_from_end_to_end():
    many = np.random.default_rng(3).uniform(0.0, 10.0, 400)
    found = _levels(many, 0.0, 10.0, 160)
    assert len(found) == 160 and (np.diff(found) > 0.0).all()
    assert (found[0], found[-1]) == (0.0, 10.0)
    known = np.round(np.concatenate([many, np.linspace(0.0, 10.0, 49)]), 6)
    assert np.isin(found, known).all()
    assert len(_levels(many[:50], 0.0, 10.0, 160)) == 99


@pytest.mark.parametrize("widths", [(110, 150), (150, 110), (110,), ()])
def test_fullness_is_meant_for_the_narrowest_cloth_in_the_file(widths):
    cloth = "".join(f"[[cloth]]\nwidth = {w}\nlength = 300\nselvedge = 1\n" for w in widths)
    text = f'unit = "cm"\n{cloth}[[fullness]]\nwhat = "skirt"\nfinished = 70\nlength = 90\n'
    (wanted,) = cutting_from_toml(text).fullness
    assert wanted.cloth_width_cm == (108.0 if widths else 110.0)


@pytest.mark.parametrize(("sides", "lacks"), [
    ({"length_cm": 200.0}, "width"), ({"width_cm": 112.0}, "length"), ({}, "width"),
])  # fmt: skip
def test_cloth_of_which_a_side_is_not_told_is_refused(sides, lacks):
    with pytest.raises(InputError, match=f"cloth in hand {lacks}_cm"):
        ClothInHand(**sides)
    # said to be cut from edge to edge, nothing is left along its selvedges
    assert ClothInHand(112.0, 200.0).shape.area == 112.0 * 200.0


@pytest.mark.parametrize("turned", [False, True])
def test_of_lengths_that_are_too_short_the_least_short_is_told(turned):
    """A piece of 80 as wide as the cloth: beyond a flaw from 70 to 75 of 150 there are 75, beyond
    one from 75 to 130 of 200 there are 70."""
    hands = [
        ClothInHand(100.0, length, damage=(((0, low), (100, low), (100, high), (0, high)),))
        for length, low, high in ((150.0, 70.0, 75.0), (200.0, 75.0, 130.0))
    ]
    made = cloth_needed("silk", STRAIGHT, [_strips(100.0, 80.0, 1)], (), hands[:: -1 if turned else
                        1], tries=2, largest=False)  # fmt: skip
    assert made.verdict == NO_LAY and made.short_cm == pytest.approx(5.0, abs=1e-3)
    assert made.laid[0][0].length_cm == 150.0


def test_a_way_to_take_in_fullness_is_one_that_is_known():
    for more in ({"widths": 2}, {"fullness": 2.0}, {}):
        with pytest.raises(InputError, match="'ruched' is not a way to take in fullness"):
            plan_fullness("ruched", 100.0, 110.0, 50.0, **more)
    assert plan_fullness("flat", 180.0, 110.0, 50.0, widths=2).widths == 2  # flat: fullness 1
