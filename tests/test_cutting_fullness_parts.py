"""Fullness, part by part: rectangles laid on cloth by hand, sums of what is cut and joined."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import box

from weavecolor.cutting.folds import MOST_FULLNESS, layer_shares
from weavecolor.cutting.fullness import (
    MOST_FINISHED_CM,
    FullnessWanted,
    plan_fullness,
    skirt_layers,
)
from weavecolor.errors import InputError


def _plan(finished=100.0, width=150.0, length=60.0, kind="gathered", **other):
    if "widths" not in other:
        other.setdefault("fullness", 2.0)
    return plan_fullness(kind, finished, width, length, **other)


# --- what is cut ------------------------------------------------------------------------------


@given(st.floats(20.0, 400.0), st.floats(90.0, 180.0), st.floats(20.0, 120.0), st.floats(1.0, 4.0),
       st.floats(0.0, 4.0), st.floats(0.0, 5.0), st.floats(0.0, 10.0), st.booleans())  # fmt: skip
@settings(deadline=None, max_examples=60)
def test_what_is_joined_is_what_was_cut_less_its_seams(
    finished, width, length, full, seam, top, hem, doubled
):
    plan = _plan(finished, width, length, fullness=full, seam_cm=seam, top_cm=top, hem_cm=hem,
                 doubled=doubled)  # fmt: skip
    assert plan.drop_cm == pytest.approx(2 * (length + top) if doubled else length + top + hem)
    assert plan.joined_cm == pytest.approx(plan.widths * (plan.panel_cm - 2 * seam))
    assert plan.fullness == pytest.approx(plan.joined_cm / finished)
    assert plan.fullness >= full - 1e-6
    assert plan.cover == pytest.approx(plan.fullness * (1 + doubled))
    assert plan.shares == layer_shares("gathered", plan.fullness, doubled)
    assert plan.cloth_area_m2 == pytest.approx(plan.cloth_length_cm * width / 1e4)
    if plan.whole_widths:
        assert plan.panel_cm == width and plan.cloth_length_cm == plan.widths * plan.drop_cm
        assert (plan.widths - 1) * (width - 2 * seam) < full * finished  # one fewer is too few
        assert full * finished + 2 * seam >= 0.75 * width and plan.fullness <= MOST_FULLNESS
    else:  # cut to size: no more than was asked
        assert plan.fullness == pytest.approx(full)
        assert (
            full * finished + 2 * seam < 0.75 * width
            or plan.widths * (width - 2 * seam) > MOST_FULLNESS * finished
        )


@pytest.mark.parametrize(("wanted", "whole"), [(109.4, False), (109.6, True)])
def test_what_takes_three_quarters_of_a_width_takes_all_of_it(wanted, whole):
    # 150 cm: three quarters are 112.5, less two seams 109.5
    plan = _plan(wanted / 2.0)
    assert plan.widths == 1 and plan.whole_widths is whole
    assert plan.joined_cm == pytest.approx(147.0 if whole else wanted)
    if not whole:
        two = _plan(wanted / 2.0, least_panels=2)
        assert two.widths == 2 and two.panel_cm == pytest.approx(wanted / 2.0 + 3.0)
        # two of them side by side take one drop: 57.7 twice is less than 150
        assert two.cloth_length_cm == two.drop_cm


@pytest.mark.parametrize(("width", "across"), [(140.0, 2), (139.9, 1), (210.0, 3), (209.9, 2)])
def test_narrow_panels_lie_side_by_side(width, across):
    plan = _plan(67.0, width, fullness=1.0, least_panels=1, seam_cm=1.5)
    if width * 0.75 <= 70.0:
        return
    assert plan.panel_cm == pytest.approx(70.0) and plan.widths == 1
    many = _plan(67.0 * 5, width, kind="flat", widths=5)
    assert many.panel_cm == pytest.approx(70.0) and many.widths == 5
    assert many.cloth_length_cm == pytest.approx(many.drop_cm * math.ceil(5 / across))


@pytest.mark.parametrize(
    ("width", "rows"), [(139.4, 2), (139.6, 2), (93.0, 2), (92.9, 4), (46.5, 4)]
)
def test_sideways_as_many_lie_side_by_side_as_the_width_holds(width, rows):
    """Drop 40 + 1.5 + 5: two in 93 cm, three in 139.5; four panels of 900 / 4 + 3."""
    plan = _plan(300.0, width, 40.0, fullness=3.0, grain_deg=90.0, longest_cm=250.0)
    assert plan.sideways and not plan.whole_widths
    assert (plan.widths, plan.panel_cm, plan.drop_cm) == (4, pytest.approx(228.0), 46.5)
    assert plan.cloth_length_cm == pytest.approx(228.0 * rows)


@pytest.mark.parametrize("grain", [15.0, 30.0, 45.0, 60.0, 75.0])
@pytest.mark.parametrize("full", [4.2, 6.0])
def test_panels_on_the_bias_slide_along_one_another(grain, full):
    """The rectangles themselves, turned and laid one after another: none overlaps, all lie within
    the width and the length told, and less of either would not do."""
    plan = _plan(120.0, 150.0, 60.0, fullness=full, grain_deg=grain)
    one = affinity.rotate(box(0.0, 0.0, plan.panel_cm, plan.drop_cm), grain, origin=(0, 0))
    left, low, right, high = one.bounds
    assert right - left <= 150.0 + 1e-6
    step = (plan.cloth_length_cm - (high - low)) / max(plan.widths - 1, 1)
    laid = [affinity.translate(one, 0.0, k * step) for k in range(plan.widths)]
    assert plan.widths >= 2
    for a, b in zip(laid, laid[1:], strict=False):
        assert a.intersection(b).area < 1e-6
        assert a.intersection(affinity.translate(b, 0.0, -0.01)).area > 1e-3
    assert laid[-1].bounds[3] - low == pytest.approx(plan.cloth_length_cm)
    # as few panels as the width has room for
    widest = _plan(120.0, 150.0, 60.0, widths=plan.widths, grain_deg=grain)
    turned = affinity.rotate(box(0.0, 0.0, widest.panel_cm, widest.drop_cm), grain, origin=(0, 0))
    assert turned.bounds[2] - turned.bounds[0] == pytest.approx(150.0)
    assert (plan.widths - 1) * (widest.panel_cm - 3.0) < full * 120.0


def test_a_bias_panel_is_no_longer_than_the_cloth_in_hand():
    plan = _plan(100.0, 200.0, 60.0, fullness=2.0, grain_deg=60.0, longest_cm=120.0)
    turned = affinity.rotate(box(0.0, 0.0, plan.panel_cm, plan.drop_cm), 60.0)
    assert turned.bounds[3] - turned.bounds[1] <= 120.0 + 1e-6
    assert _plan(100.0, 200.0, 60.0, fullness=2.0, grain_deg=60.0).widths < plan.widths


def test_a_bias_panel_is_five_cm_at_least():
    # at 45 degrees a panel of p by 66.5 takes (p + 66.5) / root 2 of the width
    for room, enough in ((5.05, True), (4.95, False)):
        width = (room + 66.5) / math.sqrt(2.0)
        if enough:
            plan = _plan(1.5, width, 60.0, fullness=1.0, seam_cm=0.5, grain_deg=45.0)
            assert plan.widths == 1
        else:
            with pytest.raises(InputError, match="45 degrees off straight, a drop of 66.5 cm"):
                _plan(1.5, width, 60.0, fullness=1.0, seam_cm=0.5, grain_deg=45.0)


@pytest.mark.parametrize(
    ("grain", "same"),
    [(120.0, 60.0), (-30.0, 30.0), (210.0, 30.0), (-120.0, 60.0), (135.0, 45.0), (179.8, 0.0),
     (0.4, 0.0), (270.0, 90.0), (90.4, 90.0), (89.6, 90.0)],
)  # fmt: skip
def test_grain_is_the_same_from_either_side_and_either_end(grain, same):
    one, other = (_plan(100.0, 150.0, 40.0, grain_deg=g, longest_cm=300.0) for g in (grain, same))
    assert (one.widths, one.panel_cm, one.drop_cm) == pytest.approx(
        (other.widths, other.panel_cm, other.drop_cm)
    )
    assert one.sideways is other.sideways and one.whole_widths is other.whole_widths
    assert one.cloth_length_cm == pytest.approx(other.cloth_length_cm)
    assert 0.0 <= one.grain_deg <= 90.0


def test_half_a_degree_is_still_straight_and_sideways():
    for degrees, straight in ((0.49, True), (0.51, False), (-0.49, True), (179.49, False)):
        plan = _plan(grain_deg=degrees, longest_cm=400.0)
        assert plan.whole_widths is straight
        assert plan.fullness == pytest.approx(2.94 if straight else 2.0)  # two of 150, less seams
    assert not _plan(length=40.0, grain_deg=89.3, longest_cm=400.0).sideways


# --- what is refused --------------------------------------------------------------------------


@pytest.mark.parametrize("widths", [True, 2.0, "2", 0, -1, 1001])
def test_widths_are_a_whole_number(widths):
    with pytest.raises(InputError, match="^widths: the number of widths is a whole number, 1 to"):
        _plan(widths=widths)
    assert _plan(2000.0, widths=1000, kind="flat").widths == 1000
    assert _plan(widths=1).widths == 1


def test_either_the_fullness_or_the_widths():
    for both in ({"fullness": None}, {"fullness": 2.0, "widths": 2}):
        with pytest.raises(InputError, match="give either the fullness wanted or the number of"):
            plan_fullness("gathered", 100.0, 150.0, 60.0, **both)


def test_a_face_is_of_pressed_pleats_alone():
    for kind in ("gathered", "flat"):
        with pytest.raises(InputError, match="^pleat_cm: only knife and box pleats have a face"):
            _plan(kind=kind, fullness=1.0, pleat_cm=4.0)
    # pleats that take in nothing have none, and may have been given a face
    assert _plan(147.0, kind="knife", widths=1, pleat_cm=4.0).pleats is None
    assert _plan(kind="knife", pleat_cm=100.0).pleats == 1
    with pytest.raises(InputError, match="^pleat_cm: a pleat of 100.1 cm .* wider than .* 100 cm"):
        _plan(kind="knife", pleat_cm=100.1)
    with pytest.raises(InputError, match="^pleat_cm"):
        _plan(kind="box", pleat_cm=0.0)
    assert _plan(kind="box", pleat_cm=0.1).pleats == 1000
    for narrow in (0.099, 1e-9, 1e-320):
        with pytest.raises(InputError, match="^pleat_cm: .* too narrow to press; use 0.1 cm or mo"):
            _plan(kind="knife", pleat_cm=narrow)


def test_seams_leave_something_of_the_width():
    for width, enough in ((3.2, True), (3.0, False), (2.0, False)):
        if enough:
            assert _plan(0.1, width, widths=1).joined_cm == pytest.approx(0.2)
        else:
            with pytest.raises(InputError, match="^seam_cm: the seam allowances take the whole"):
                _plan(0.1, width, widths=1)


def test_widths_that_do_not_go_round_and_how_many_would():
    # 147 cm of each width: two are 294
    assert _plan(294.0, widths=2).fullness == 1.0
    with pytest.raises(InputError, match=r"^widths: 2 width\(s\) give 294.0 cm, less than the "
                                         r"finished 295 cm; use 3 or more"):  # fmt: skip
        _plan(295.0, widths=2)
    with pytest.raises(InputError, match="less than the hem of 295 cm; use 3 or more"):
        _plan(200.0, widths=2, hem_round_cm=295.0)
    assert _plan(200.0, fullness=1.0, hem_round_cm=295.0).widths == 3
    assert _plan(200.0, fullness=1.0, hem_round_cm=150.0).widths == 2


def test_folds_take_in_so_much_and_no_more():
    finished = 147.0 * 2 / MOST_FULLNESS
    assert _plan(finished * 1.0001, widths=2).fullness == pytest.approx(MOST_FULLNESS, rel=1e-3)
    with pytest.raises(InputError, match="^widths: that is 2 widths, .* folds take in at most"):
        _plan(finished * 0.99, widths=2)
    with pytest.raises(InputError, match="^widths: that is 1 width, "):
        _plan(finished * 0.49, widths=1)
    with pytest.raises(InputError, match="^hem_round_cm: that is 2 widths, "):
        _plan(finished * 0.9, fullness=1.0, hem_round_cm=290.0)
    # where whole widths are more than folds take in, panels are cut to size
    sized = _plan(finished * 0.99, fullness=MOST_FULLNESS * 0.9)
    assert not sized.whole_widths and sized.fullness == pytest.approx(MOST_FULLNESS * 0.9)


def test_flat_cloth_is_cut_to_the_size_it_hangs():
    for widths in (1, 2):
        plan = _plan(140.0, kind="flat", widths=widths)
        assert plan.fullness == 1.0 and plan.joined_cm == pytest.approx(140.0)
        assert plan.panel_cm == pytest.approx(140.0 / widths + 3.0)
    assert _plan(147.0, kind="flat", widths=1).panel_cm == pytest.approx(150.0)
    wide = _plan(140.0, kind="flat", fullness=1.0, hem_round_cm=200.0)
    assert wide.joined_cm == pytest.approx(200.0) and wide.widths == 2 and wide.fullness == 1.0


def test_sideways_the_width_gives_the_drop():
    assert _plan(width=66.5, grain_deg=90.0).widths == 1
    with pytest.raises(InputError, match="^length_cm: used sideways .* 66.5 cm .* is cut,"):
        _plan(width=66.4, grain_deg=90.0)
    with pytest.raises(InputError, match="^widths: sideways the length in hand says how many"):
        _plan(grain_deg=90.0, widths=2)
    assert _plan(grain_deg=90.0, widths=2, longest_cm=120.0).joined_cm == pytest.approx(2 * 117.0)


def test_lengths_of_a_slipped_unit_are_refused():
    for name in ("finished", "length"):
        with pytest.raises(InputError, match=name):
            _plan(**{name: MOST_FINISHED_CM * 1.001})
    assert _plan(MOST_FINISHED_CM, fullness=1.0).widths == 21  # 3000 over 147
    with pytest.raises(InputError, match="hem_round_cm"):
        _plan(hem_round_cm=MOST_FINISHED_CM * 1.001)
    for name in ("seam_cm", "top_cm", "hem_cm"):
        with pytest.raises(InputError, match=name):
            _plan(**{name: -0.1})


# --- pleats -----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["knife", "box"])
@pytest.mark.parametrize("face", [None, 3.0, 7.0])
def test_pleats_fold_under_what_their_face_does_not_show(kind, face):
    plan = _plan(90.0, kind=kind, fullness=2.6, pleat_cm=face)
    assert plan.pleats == round(90.0 / (face or 4.0))
    assert plan.pleat_face_cm * plan.pleats == pytest.approx(90.0)
    folded = {"knife": 2, "box": 4}[kind] * plan.pleat_depth_cm
    assert plan.pleats * (plan.pleat_face_cm + folded) == pytest.approx(plan.joined_cm)
    assert _plan(90.0).pleat_depth_cm is None and _plan(90.0).pleat_face_cm is None
    # pressed flat three or more lie on one another; of gathers only the mean is told
    mean, most = plan.bulk_mm(0.1, 2)
    assert mean == pytest.approx(plan.cover * 0.2)
    assert most == pytest.approx(max(plan.shares.layers) * 0.2) and most > mean
    gathered = _plan(90.0, doubled=True)
    assert gathered.bulk_mm(0.1) == pytest.approx((2 * gathered.fullness * 0.1,) * 2)


# --- the same, of other cloth -----------------------------------------------------------------


def test_a_number_of_widths_is_of_the_cloth_that_was_meant():
    wanted = FullnessWanted("skirt", "gathered", 100.0, 150.0, 60.0, widths=2)
    assert wanted.plan() == _plan(widths=2)
    assert wanted.plan(150.0).widths == wanted.plan(grain_deg=180.3).widths == 2  # still straight
    # taken in as much of narrower cloth: 294 over 97 are four
    narrow = wanted.plan(100.0)
    assert narrow.widths == 4 and narrow.fullness == pytest.approx(3.88)
    bias = wanted.plan(grain_deg=30.0)
    assert bias.fullness == pytest.approx(2.94) and bias.joined_cm == pytest.approx(294.0)
    flat = FullnessWanted("band", "flat", 140.0, 150.0, 10.0, widths=2)
    assert flat.plan(100.0).joined_cm == pytest.approx(140.0)
    assert flat.plan(100.0).fullness == 1.0
    two = FullnessWanted("sleeve", "gathered", 20.0, 150.0, 60.0, fullness=2.0)
    assert two.plan(least_panels=2).widths == 2 and two.plan().widths == 1


def test_a_fullness_is_for_something_in_one_plain_line():
    def named(what):
        return FullnessWanted(what, "gathered", 100.0, 150.0, 60.0, fullness=2.0)

    assert named("s" * 60).what == "s" * 60
    for what, says in ((" ", "say what"), ("s" * 61, "one plain line"), ("a\nb", "one plain line")):
        with pytest.raises(InputError, match=f"^what: .*{says}"):
            named(what)


# --- down a skirt -----------------------------------------------------------------------------


def test_a_skirt_hangs_on_a_cone():
    rows = skirt_layers("gathered", 70.0, 170.0, 80.0, 210.0, 340.0, heights=5)
    for k, row in enumerate(rows):
        assert row.below_waist_cm == pytest.approx(20.0 * k)
        assert row.hang_cm == pytest.approx(70.0 + 25.0 * k)
        assert row.cloth_cm == pytest.approx(210.0 + 32.5 * k)
        assert row.fullness == pytest.approx(row.cloth_cm / row.hang_cm)
        assert row.shares == layer_shares("gathered", row.fullness) and not row.doubled
        assert row.cover == pytest.approx(row.fullness)
    straight = skirt_layers("gathered", 70.0, 140.0, 80.0, 210.0)
    assert len(straight) == 5 and {row.cloth_cm for row in straight} == {210.0}
    # where cloth is no wider than the figure it lies flat, whatever it was folded as
    assert skirt_layers("knife", 70.0, 210.0, 80.0, 210.0)[-1].shares == layer_shares("flat", 1.0)
    for heights in (1, 1001):
        with pytest.raises(InputError, match="^heights: use 2 to 1000 heights"):
            skirt_layers("flat", 70.0, 70.0, 80.0, 70.0, heights=heights)
    assert len(skirt_layers("gathered", 70.0, 140.0, 80.0, 210.0, heights=2)) == 2
    assert len(skirt_layers("flat", 70.0, 70.0, 80.0, 70.0, heights=1000)) == 1000


def test_cloth_that_does_not_go_round_is_told_where():
    with pytest.raises(InputError, match="^210.0 cm of cloth will not go round 227.5 cm, 60.0 cm"):
        skirt_layers("gathered", 70.0, 280.0, 80.0, 210.0)
    with pytest.raises(InputError, match="cloth_hem_cm"):
        skirt_layers("gathered", 70.0, 140.0, 80.0, 210.0, 0.0)
    with pytest.raises(InputError, match="turned_up_cm"):
        skirt_layers("gathered", 70.0, 140.0, 80.0, 210.0, turned_up_cm=-1.0)


@pytest.mark.parametrize(
    ("turned", "heights"),
    [(0.0, [0, 40, 80]), (10.0, [0, 40, 70, 80]), (40.0, [0, 40, 80]), (80.0, [0, 40, 80])],
)
def test_the_edge_of_what_is_turned_up_is_one_more_height(turned, heights):
    rows = skirt_layers("box", 70.0, 140.0, 80.0, 280.0, turned_up_cm=turned, heights=3)
    assert [row.below_waist_cm for row in rows] == pytest.approx(heights)
    double = np.array([row.doubled for row in rows])
    assert double.tolist() == [turned > 0 and h >= 80.0 - turned - 1e-9 for h in heights]
    for row in rows:
        assert row.cover == pytest.approx(row.fullness * (1 + row.doubled))
        assert row.shares == layer_shares("box", row.fullness, row.doubled)
    assert all(row.doubled for row in skirt_layers("box", 70.0, 140.0, 80.0, 280.0, doubled=True))
