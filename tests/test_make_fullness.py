"""Fullness: layers in view, cloth used and fold geometry against hand-worked values."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weavecolor.cutting.fullness import (
    fold_profile,
    layer_shares,
    meander_angle,
    plan_fullness,
    skirt_layers,
)
from weavecolor.cutting.lengths import cm, cm_and_inches, inches
from weavecolor.errors import InputError

pleats = st.sampled_from(["knife", "box"])
fulls = st.floats(1.0, 8.0)


@given(pleats, fulls)
@settings(deadline=None)
def test_mean_layers_of_pressed_pleats_is_the_fullness(kind, fullness):
    # Common practice, no source; also an identity: pressed cloth lies flat.
    shares = layer_shares(kind, fullness)
    assert shares.mean == pytest.approx(fullness, abs=1e-9)
    assert sum(shares.share) == pytest.approx(1.0, abs=1e-12)
    assert layer_shares(kind, fullness, True).mean == pytest.approx(2 * fullness, abs=1e-9)


@pytest.mark.parametrize("kind", ["knife", "box"])
def test_full_pleat_is_three_layers_everywhere_and_half_pleat_half_and_half(kind):
    # Common practice, no source: full pleat 3:1; at 2:1 half is single and half triple.
    assert (layer_shares(kind, 3.0).layers, layer_shares(kind, 3.0).share) == ((3,), (1.0,))
    two = layer_shares(kind, 2.0)
    assert two.bare == pytest.approx(0.5) and two.of(3) == pytest.approx(0.5)
    assert two.of(2) == 0.0 and two.doubled().bare == 0.0
    assert layer_shares(kind, 4.0).of(5) == pytest.approx(0.5)


@given(pleats, st.floats(1.05, 6.0))
@settings(deadline=None, max_examples=30)
def test_drawn_pleats_agree_with_the_counted_shares(kind, fullness):
    counts = fold_profile(kind, fullness, samples=2000).layers
    assert counts.mean() == pytest.approx(fullness, abs=0.01)
    low = layer_shares(kind, fullness).layers[0]
    assert (counts == low).mean() == pytest.approx(layer_shares(kind, fullness).share[0], abs=0.01)


@given(st.floats(1.0, 5.0), st.floats(-70.0, 70.0))
@settings(deadline=None, max_examples=30)
def test_gathered_cloth_is_neither_lost_nor_made(fullness, view):
    # Inextensible cloth: length per width seen is fullness over the cosine of the view.
    folds = fold_profile("gathered", fullness, view_deg=view, samples=4000)
    expected = fullness / np.cos(np.deg2rad(view))
    assert folds.cover.mean() == pytest.approx(expected, rel=1e-6)
    assert np.all(folds.layers % 2 == 1)
    length = np.hypot(np.diff(folds.curve_x), np.diff(folds.curve_depth)).sum()
    assert length == pytest.approx(fullness * folds.pitch_cm, rel=1e-4)
    assert np.ptp(folds.curve_depth) == pytest.approx(folds.depth_cm, abs=1e-3 * folds.pitch_cm)


def test_gathers_overhang_only_beyond_the_quarter_turn():
    # J0(pi/2) = 0.4720 (Abramowitz & Stegun table 9.1, from memory: J0(1.6) = 0.4554,
    # J0(1.5) = 0.5118), so the meander turns past 90 degrees above fullness 2.119.
    assert meander_angle(1 / 0.5118277) == pytest.approx(1.5, abs=1e-5)
    assert meander_angle(1 / 0.4554022) == pytest.approx(1.6, abs=1e-5)
    assert layer_shares("gathered", 2.1).layers == (1,)
    over = layer_shares("gathered", 3.0)
    assert over.layers == (1, 3) and 0.0 < over.of(3) < 0.5
    assert 1.0 < over.mean < 3.0


def test_gather_normals_swing_to_the_meander_angle_and_shallow_folds_match_a_sine():
    folds = fold_profile("gathered", 1.5, pitch_cm=3.0, samples=4000)
    steepest = np.rad2deg(meander_angle(1.5))
    assert folds.normal_deg.max() == pytest.approx(steepest, abs=0.2)
    assert folds.normal_deg.min() == pytest.approx(-steepest, abs=0.2)
    assert folds.normal_deg.mean() == pytest.approx(0.0, abs=0.05)
    # Outermost depth and normal belong together: slope of depth is -tan(normal).
    slope = np.gradient(folds.depth, folds.x)
    inner = slice(5, -5)
    assert np.allclose(slope[inner], -np.tan(np.deg2rad(folds.normal_deg[inner])), atol=0.02)
    # Small folds: arc of a sine of amplitude A and pitch p is p (1 + (pi A / p)^2), calculus.
    small = fold_profile("gathered", 1.001, pitch_cm=1.0)
    assert 1 + (np.pi * small.depth_cm / 2) ** 2 == pytest.approx(1.001, abs=2e-6)


def test_depth_sets_the_pitch_of_a_gather():
    deep = fold_profile("gathered", 2.0, depth_cm=3.0)
    again = fold_profile("gathered", 2.0, pitch_cm=deep.pitch_cm)
    assert deep.depth_cm == pytest.approx(3.0) and again.depth_cm == pytest.approx(3.0)
    with pytest.raises(InputError, match="not both"):
        fold_profile("gathered", 2.0, depth_cm=3.0, pitch_cm=2.0)


def test_hand_worked_gathered_skirt():
    # Common practice, no source. Waist 70, fullness at least 2.5, cloth 110 wide, 1.5 seams:
    # 107 usable; 175 wanted, so 2 widths, 214 cm joined, fullness 3.06. Drop 70 + 1.5 + 5 = 76.5,
    # twice: 153 cm of cloth.
    plan = plan_fullness("gathered", 70, 110, 70, fullness=2.5)
    assert plan.widths == 2 and plan.joined_cm == pytest.approx(214.0)
    assert plan.fullness == pytest.approx(214 / 70)
    assert plan.drop_cm == pytest.approx(76.5) and plan.cloth_length_cm == pytest.approx(153.0)
    assert plan.cloth_area_m2 == pytest.approx(1.683)


def test_hand_worked_doubled_skirt():
    # Common practice, no source. Folded hem: 2 x (70 + 1.5) = 143 a width, two widths 286 cm.
    plan = plan_fullness("gathered", 70, 110, 70, widths=2, doubled=True)
    single = plan_fullness("gathered", 70, 110, 70, widths=2)
    assert plan.cloth_length_cm == pytest.approx(286.0)
    assert plan.shares.mean == pytest.approx(2 * single.shares.mean)
    assert plan.shares.bare == 0.0 and single.shares.bare > 0.0


def test_hand_worked_knife_pleats():
    # Common practice, no source. 60 cm finished, 3:1, cloth 93 wide with 1.5 seams: 90 usable,
    # 180 needed, 2 widths exactly; 3 layers everywhere.
    plan = plan_fullness("knife", 60, 93, 50, fullness=3.0)
    assert plan.widths == 2 and plan.fullness == pytest.approx(3.0)
    assert plan.shares.of(3) == pytest.approx(1.0)


def test_skirt_fullness_falls_towards_the_hem_as_the_figure_grows():
    # Common practice, no source. Straight panels 210 cm, waist 70, hem 140: 3 at the waist, 1.5
    # at the hem, 2 half way (210 / 105).
    rows = skirt_layers("knife", 70, 140, 80, 210, heights=3)
    assert [row.fullness for row in rows] == pytest.approx([3.0, 2.0, 1.5])
    assert [row.shares.bare for row in rows] == pytest.approx([0.0, 0.5, 0.75])
    # Gored: cloth 140 at the waist, 280 at the hem keeps 2:1 all the way.
    gored = skirt_layers("gathered", 70, 140, 80, 140, 280)
    assert [row.fullness for row in gored] == pytest.approx([2.0] * 5)
    assert skirt_layers("box", 70, 140, 80, 210, doubled=True)[0].shares.of(6) == 1.0
    # Cloth that only just goes round is flat there, whatever it does above.
    assert skirt_layers("gathered", 70, 140, 80, 140)[-1].shares.layers == (1,)
    with pytest.raises(InputError, match="will not go round"):
        skirt_layers("gathered", 70, 300, 80, 210)


@pytest.mark.parametrize(
    "call",
    [
        lambda: layer_shares("smocked", 2.0),
        lambda: layer_shares("gathered", float("nan")),
        lambda: layer_shares("gathered", 0.5),
        lambda: layer_shares("flat", 2.0),
        lambda: fold_profile("gathered", 2.0, view_deg=90),
        lambda: fold_profile("gathered", 1.0, depth_cm=1.0),
        lambda: plan_fullness("gathered", 70, 110, 70),
        lambda: plan_fullness("gathered", 70, 110, 70, widths=0),
        lambda: plan_fullness("gathered", 300, 110, 70, widths=2),
        lambda: plan_fullness("gathered", 70, 3, 70, widths=2),
        lambda: plan_fullness("gathered", -70, 110, 70, widths=2),
    ],
)
def test_bad_fullness_is_refused_in_one_line(call):
    with pytest.raises(InputError) as caught:
        call()
    assert "\n" not in str(caught.value)


def test_lengths_read_as_on_a_tape():
    # 1 inch is 2.54 cm by definition; eighths as on a dressmaker's tape.
    assert inches(2.54) == "1 in" and inches(76.5) == "30 1/8 in" and inches(0.635) == "1/4 in"
    assert inches(0.0) == "0 in" and inches(25.39) == "10 in" and inches(3.81) == "1 1/2 in"
    assert cm(76.5) == "76.5 cm" and cm(70.0) == "70 cm"
    assert cm_and_inches(91.44) == "91.4 cm (36 in)"


@pytest.mark.parametrize("kind", ["knife", "box"])
def test_a_pleat_that_takes_in_nothing_lies_flat(kind):
    flat = fold_profile(kind, 1.0, pitch_cm=3.0)
    assert flat.depth_cm == 0.0 and np.ptp(flat.curve_depth) == 0.0
    assert (flat.layers == 1).all() and (flat.normal_deg == 0.0).all()
    np.testing.assert_allclose(flat.cover, 1.0)
    assert flat.pitch_cm == 3.0 and flat.x[0] > 0.0 and flat.x[-1] < 3.0


def test_pressed_layers_lie_one_thickness_behind_one_another():
    # Hand-drawn: of a full knife pleat three layers lie on one another all along. At its left end
    # the face comes out from under the pleat before it, two layers down, and the crease hidden
    # below lies against it, one further down.
    t = 0.08
    knife = fold_profile("knife", 3.0, pitch_cm=4.0, depth_cm=t, samples=2000)
    face = knife.depth[np.argsort(knife.x)]
    assert face[0] == pytest.approx(-2 * t, abs=1e-3) and face[-1] == pytest.approx(0, abs=1e-3)
    crease = int(np.argmin(knife.curve_depth))
    assert knife.curve_depth[crease] == pytest.approx(-3 * t)
    assert knife.curve_x[crease] == pytest.approx(0.0, abs=1e-12)  # reaches under the whole face
    assert knife.depth_cm == pytest.approx(3 * t)
    assert np.rad2deg(np.arctan(-2 * t / 4.0)) == pytest.approx(float(knife.normal_deg[5]))
    # A box pleat's face lies on its two underlays, which meet in the middle behind it.
    box = fold_profile("box", 3.0, pitch_cm=4.0, depth_cm=t, samples=2000)
    assert box.depth_cm == pytest.approx(2 * t)
    assert box.depth[: 1000] == pytest.approx(0.0, abs=1e-9)
    hidden = [x for x, z in zip(box.curve_x, box.curve_depth, strict=True) if z < 0]
    assert hidden == pytest.approx([2.0, 6.0])  # half a face to either side of the edge at 4
    # twice as thick cloth, twice as deep; half as wide a pleat, as deep
    assert fold_profile("knife", 2.0, depth_cm=2 * t).depth_cm == pytest.approx(6 * t)
    assert fold_profile("knife", 2.0, pitch_cm=2.0, depth_cm=t).depth_cm == pytest.approx(3 * t)
    assert fold_profile("knife", 2.0).pitch_cm == 4.0
    assert fold_profile("knife", 2.0).depth_cm == pytest.approx(3 * 0.05)


def test_what_folds_there_are_and_how_far_they_may_be_seen_from_aside():
    for samples in (8, 20000):
        assert fold_profile("box", 2.0, samples=samples).x.shape == (samples,)
    for samples in (7, 20001):
        with pytest.raises(InputError, match="use 8 to 20000 samples"):
            fold_profile("box", 2.0, samples=samples)
    for view in (-80.0, 80.0):
        seen = fold_profile("gathered", 1.5, view_deg=view, samples=50)
        assert seen.x[-1] < 4.0 * np.cos(np.deg2rad(80.0))
    for view in (-80.1, 80.1, np.nan):
        with pytest.raises(InputError, match="within 80 degrees"):
            fold_profile("gathered", 1.5, view_deg=view)
    with pytest.raises(InputError, match="the pitch or the depth"):
        fold_profile("gathered", 2.0, pitch_cm=2.0, depth_cm=1.0)
    assert layer_shares("gathered", 9.0).mean > 1.0
    for fullness in (0.99, 9.01, np.inf):
        with pytest.raises(InputError, match=r"it is 1 \(flat\) to 9"):
            layer_shares("gathered", fullness)


def test_raw_edges_take_no_allowance():
    # selvedge to selvedge without seam, waist or hem: 3 widths of 70 on 70 are 3 to 1, 50 each
    plan = plan_fullness("gathered", 70, 70, 50, fullness=3.0, seam_cm=0, top_cm=0, hem_cm=0)
    assert (plan.widths, plan.drop_cm, plan.joined_cm) == (3, 50.0, 210.0)
    assert plan.fullness == pytest.approx(3.0) and plan.cloth_length_cm == pytest.approx(150.0)
    for field in ("seam_cm", "top_cm", "hem_cm"):
        with pytest.raises(InputError, match=f"^{field}"):
            plan_fullness("gathered", 70, 70, 50, fullness=3.0, **{field: -0.1})
