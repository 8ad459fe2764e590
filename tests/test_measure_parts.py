"""The parts of a photograph of a swatch, their means and their doubt, on hand-made pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.measure import observations as o
from weavecolor.measure.neutral import _smooth_residual
from weavecolor.measure.regions import (
    _STEP,
    _alike,
    _coded,
    _eroded,
    _inner_box,
    _paper,
    _Parts,
    _parts,
    _shared_out,
    box_region,
    find_regions,
)
from weavecolor.measure.ruler import find_ruler, scale_from_ruler
from weavecolor.measure.shots import look_wound
from weavecolor.measure.swatchpair import (
    SwatchPair,
    _check_not_swapped,
    _Side,
    fringe_colour,
    measure_one,
    measure_pair,
    measured_colour,
)
from weavecolor.measure.threads import count_threads
from weavecolor.measure.tocloth import start_cloth
from weavecolor.scene.backings import Backing

GROUND = Backing("white", np.full(BANDS, 0.9))


def test_a_marked_box_is_kept_inside_the_picture_and_eight_pixels_at_least():
    assert box_region("card", (-5, -5, 8, 400), (60, 80)).box == (0, 0, 8, 60)
    assert box_region("card", (10.4, 10.6, 20.5, 30), (60, 80)).box == (10, 11, 20, 30)
    made = box_region("card", (70, 50, 90, 70), (60, 80))
    assert made.box == (70, 50, 80, 60) and made.marked
    assert made.mask.sum() == 100 and made.mask[50:, 70:].all()
    values = made.values(np.arange(60 * 80 * 3).reshape(60, 80, 3))
    assert values.shape == (100, 3) and values[0, 0] == (50 * 80 + 70) * 3
    for box in ((0, 0, 7, 60), (0, 0, 60, 7), (73, 0, 90, 60), (0, 53, 60, 90)):
        with pytest.raises(InputError, match="^card: the marked box is empty or outside"):
            box_region("card", box, (60, 80))


def test_parts_are_looked_at_a_fortieth_of_the_picture_inside():
    whole = np.zeros((160, 240), bool)
    whole[30:130, 40:200] = True
    rows, columns = np.nonzero(_eroded(whole))
    # the first pixel inside is one pixel deep: deeper than 240 / 40 = 6 is 7 and on
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (36, 123, 46, 193)
    # of a narrow part, seven deep in the middle, three tenths of that: 2.1
    narrow = np.zeros((160, 240), bool)
    narrow[60:73, 40:200] = True
    rows, columns = np.nonzero(_eroded(narrow))
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (62, 70, 42, 197)
    # what runs off the picture goes on there
    edge = np.zeros((160, 240), bool)
    edge[:, 120:] = True
    assert (_eroded(edge).sum(0) > 0).nonzero()[0].tolist() == list(range(126, 240))
    assert _eroded(edge)[0, 239]


@pytest.mark.parametrize("turn", range(4))
def test_the_box_within_a_part_fills_it_as_far_as_it_goes(turn):
    part = np.zeros((40, 60), bool)
    part[5:31, 8:50] = True
    wanted = np.zeros_like(part)
    wanted[5:31, 8:50] = True
    part[26:31, 8:20] = False  # a corner is bitten off: the box stays clear of it
    part, wanted = np.rot90(part, turn), np.rot90(wanted, turn)
    left, top, right, bottom = _inner_box(part)
    inside = part[top:bottom, left:right]
    assert inside.all() and inside.size >= 0.7 * wanted.sum()
    # it cannot be spread to any side
    for x0, y0, x1, y1 in (
        (left - 1, top, left, bottom), (right, top, right + 1, bottom),
        (left, top - 1, right, top), (left, bottom, right, bottom + 1),
    ):  # fmt: skip
        beside = part[max(y0, 0) : y1, max(x0, 0) : x1]
        assert not (beside.size and beside.all())
    # a square with a long thin foot: the square counts, not the foot
    foot = np.zeros((40, 60), bool)
    foot[5:25, 20:40] = foot[22:25, 2:58] = True
    left, top, right, bottom = _inner_box(np.rot90(foot, turn))
    assert (right - left) * (bottom - top) == 400
    # a part that fills the picture is all of it, one pixel is itself
    assert _inner_box(np.ones((30, 40), bool)) == (0, 0, 40, 30)
    one = np.zeros((9, 9), bool)
    one[3, 5] = True
    assert _inner_box(one) == (5, 3, 6, 4)


def test_found_grounds_are_boxed_to_the_pixel():
    picture = np.full((240, 320, 3), 0.8)
    picture[:, 200:] = 0.04  # card beside paper
    picture[60:180, 130:270] = np.where(picture[60:180, 130:270] > 0.5, 0.3, 0.1) * [1.0, 0.6, 0.4]
    rng = np.random.default_rng(2)
    picture += 0.003 * rng.standard_normal(picture.shape)
    found = find_regions(np.clip(picture, 0, 1))
    assert set(found) == {"paper", "card", "swatch over white", "swatch over black"}
    for label in ("paper", "card"):
        rows, columns = np.nonzero(found[label].mask)
        assert found[label].box == (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
    for label in ("swatch over white", "swatch over black"):
        left, top, right, bottom = found[label].box
        assert found[label].mask[top:bottom, left:right].all()
    with pytest.raises(InputError, match="no region called 'table'; use paper, card, swatch"):
        find_regions(picture, {"table": (0, 0, 50, 50)})


def test_how_much_of_a_part_lies_at_the_edge():
    label = np.ones((30, 40), np.intp)
    label[10:20, 10:25] = 2
    small = np.where((label == 1)[..., None], 0.8, 0.2) * np.ones(3)
    parts = _parts(label, small, _coded(small))
    assert parts.size.tolist() == [1050.0, 150.0]
    # outlines in common: 2 x (10 + 15); all of the picture's edge, 140 counted corners twice
    assert parts.shared[0, 1] == parts.shared[1, 0] == 50.0
    assert parts.at_edge == pytest.approx([140 / 190, 0.0])
    assert parts.step[0, 1] == pytest.approx(np.log(0.82 / 0.22), rel=0.05)
    assert np.isinf(parts.step[0, 0]) and parts.mask([1]).sum() == 150


def test_paper_that_a_weak_edge_cuts_is_found_round_what_lies_on_it():
    """A corner of the sheet runs out of the picture and is a little lighter; the rest, which does
    not, rounds the swatch. A pale swatch that rounds nothing is no paper."""
    y, x = np.mgrid[:200, :260]
    picture = np.full((200, 260, 3), 0.2)
    picture[20:192, 25:252] = 0.7
    picture[185:, 232:252] = 0.7
    picture[((x - 200) + (y - 150) > 45) & (picture[..., 0] > 0.5)] *= 1.1
    picture[55:160, 80:190] = (0.5, 0.15, 0.15)
    found = find_regions(picture)
    assert set(found) == {"paper", "swatch over white"}
    assert found["paper"].mask[40, 60] and found["paper"].mask[100, 230]
    swatch = found["swatch over white"].mask
    assert swatch[60:155, 85:185].mean() > 0.8 and not swatch[:50].any()
    picture[55:160, 80:190] = 0.6
    assert find_regions(picture)["swatch over white"].mask[110, 130]


def test_the_brightest_broad_sheet_is_paper_and_a_duller_broader_one_is_not():
    def made(light, size, edge=(0.3, 0.3)):
        n = len(light)
        return _Parts(np.zeros((2, 2), np.intp), np.array(light)[:, None] * np.ones(3),
                      np.array(size, float), np.array(edge), np.zeros((n, n)),
                      np.full((n, n), np.inf)), np.array(light), np.zeros((n, 3)), np.ones(n, bool)

    # twice as broad but little over half as bright: a grey table
    assert _paper(*made([0.9, 0.5], [1000, 2000])) == [0]
    # of the same light both are paper, and what lies inside and does not reach the edge is none
    assert _paper(*made([0.9, 0.8], [1000, 2000])) == [0, 1]
    assert _paper(*made([0.9, 0.8], [1000, 2000], (0.3, 0.0))) == [0]
    parts, light, hue, large = made([0.9, 0.85], [1000, 2000])
    hue[1] = [0.1, 0.0, -0.1]  # of another hue
    assert len(_paper(parts, light, hue, large)) == 1


@pytest.mark.parametrize("slope", [0.0, 0.4, -0.7, 2.0])
def test_a_swatch_across_two_sheets_is_parted_along_their_join(slope):
    y, x = np.mgrid[0:160, 0:200]
    side = (x - 100) - slope * (y - 80)  # positive: on card
    held = (np.abs(x - 100) < 50) & (np.abs(y - 80) < 40)
    parts = _shared_out(held, ~held & (side < 0), ~held & (side >= 0))
    white, black = parts["swatch over white"], parts["swatch over black"]
    gap = 200 / 60 * np.hypot(1.0, slope)
    assert not white[side > 0].any() and not black[side < 0].any()
    assert white[held & (side < -gap - 4)].all() and black[held & (side > gap + 4)].all()
    assert not (white | black)[np.abs(side) < gap - 2].any()
    # exchanged sheets exchange the parts; on one sheet alone it is all over that
    other = _shared_out(held, ~held & (side >= 0), ~held & (side < 0))
    assert (other["swatch over white"] == black).mean() > 0.99
    assert _shared_out(held, ~held, np.zeros_like(held)).keys() == {"swatch over white"}
    assert _shared_out(held, np.zeros_like(held), ~held).keys() == {"swatch over black"}


def test_what_a_fit_of_the_light_leaves_is_seen_along_both_sides():
    """A step of 0.1 across the picture is a standard deviation of 0.05, whichever way it runs."""
    rows, columns = (v.ravel().astype(float) for v in np.mgrid[0:200:2, 0:300:2])
    for along, half in ((rows, 100), (columns, 150)):
        rest = 0.1 * (along >= half)[:, None] * [1.0, 2.0, 0.0]
        found = _smooth_residual(rest, rows, columns, (200, 300))
        np.testing.assert_allclose(found, [0.05, 0.1, 0.0], atol=1e-9)
    # pixel noise is not what it tells of: of n pixels in a tenth the root is left
    noise = np.random.default_rng(1).standard_normal((rows.size, 3))
    assert _smooth_residual(noise, rows, columns, (200, 300)).max() < 2.0 / np.sqrt(150)
    few = np.arange(3.0)
    assert _smooth_residual(np.zeros((3, 3)), few, few, (200, 300)).tolist() == [0.01] * 3


def _pair(card: float = 0.045) -> SwatchPair:
    one, two = measured_colour([0.4, 0.3, 0.3], 0.01), measured_colour([0.2, 0.1, 0.1], 0.01)
    third = np.full(3, 0.2)
    return SwatchPair(one, two, third, third / 10, third, third / 10, 50.0, 1.0, 0.87, 0.0174,
                      measured_colour(np.full(3, card), 0.001), 0.0, ({}, {}), ())  # fmt: skip


def test_a_pair_is_seen_over_its_own_grounds():
    white, black = o.pair_seen(_pair(), grain_deg=450.0)
    assert (white.name, black.name) == ("over white", "over black")
    assert (white.backing.name, black.backing.name) == ("white", "black")
    assert white.backing.reflectance == pytest.approx(np.full(BANDS, 0.87))
    assert black.backing.reflectance == pytest.approx(np.full(BANDS, 0.045))
    assert white.paper_error == black.paper_error == pytest.approx(0.02)
    assert white.grain_deg == 90.0 and white.face == "face"
    assert o.pair_seen(_pair(-0.01))[1].backing.reflectance.max() == 0.0
    # of 1 % and the paper's own 2 % of 0.4 only what is not common is the colour's own
    own = o.own_uncertainty(measured_colour([0.4] * 3, 0.01), 0.02)
    assert own == pytest.approx(np.full(3, np.sqrt(0.01**2 - 0.008**2)))
    least = o.own_uncertainty(measured_colour([0.4] * 3, 0.001), 0.02)
    assert least == pytest.approx(np.full(3, 0.0032))


@pytest.mark.parametrize("value", [-0.21, 2.01])
def test_what_is_no_reflectance_is_refused(value):
    def told(v, spread=0.01):
        return o.seen_colour("mine", [0.3, v, 0.3], [0.01, spread, 0.01], GROUND)

    # an instrument's error, or a gloss, may lie a little outside; covariances add up
    inside = np.clip(value, -0.19, 1.99)
    assert told(inside).value[1] == inside
    assert told(0.3).covariance[0, 1] == 0.0 and told(0.3).covariance[0, 0] > 1e-4
    with pytest.raises(InputError, match="^mine: a reflectance lies within 0 and 1$"):
        told(value)
    for spread in (0.0, np.nan):
        with pytest.raises(InputError, match="^mine: "):
            told(0.3, spread)
    with pytest.raises(InputError, match="needs 3 values with their uncertainties"):
        o.seen_colour("mine", [0.3, 0.3], [0.01, 0.01], GROUND)
    with pytest.raises(InputError, match="'inside' is not a side of cloth; use face or back"):
        o.seen_colour("mine", [0.3] * 3, [0.01] * 3, GROUND, face="inside")


def test_exchanged_pictures_are_told_by_either_of_them():
    def side(*labels):
        return _Side(dict.fromkeys(labels), None, None, None)

    white, black = side("paper", "swatch over white"), side("paper", "card", "swatch over black")
    dark = side("swatch over black")
    only = side("paper", "card")  # the card is seen, the swatch not told on it
    _check_not_swapped(white, black, True)
    _check_not_swapped(black, white, False)  # one picture cannot be exchanged
    for first, second in ((black, white), (dark, side("paper")), (only, white)):
        with pytest.raises(InputError, match="the two pictures are swapped"):
            _check_not_swapped(first, second, True)
    for first, second in ((dark, black), (only, black), (white, white)):
        _check_not_swapped(first, second, True)


def _frayed(ground: float, thread, noise: float, seed: int) -> np.ndarray:
    picture = np.full((90, 90, 3), ground)
    picture[:, ::6] = picture[:, 1::6] = picture[:, 2::6] = thread
    return picture * (1 + noise * np.random.default_rng(seed).standard_normal(picture.shape))


def test_yarn_at_a_frayed_edge_is_as_sure_as_the_worse_of_two_pictures():
    """What lies between is the mean of both; exchanging the two pictures changes nothing."""
    box = (0, 0, 90, 90)
    clean = _frayed(0.87, [0.3, 0.1, 0.1], 0.002, 1)
    rough = _frayed(0.04, [0.34, 0.12, 0.11], 0.15, 2)
    forth = fringe_colour(clean, box, rough, box, ground_white=0.87, ground_black=0.04)
    back = fringe_colour(rough, box, clean, box, ground_white=0.04, ground_black=0.87)
    np.testing.assert_allclose(forth.linear, [0.32, 0.11, 0.105], rtol=0.03)
    np.testing.assert_allclose(forth.linear, back.linear)
    np.testing.assert_allclose(forth.uncertainty, back.uncertainty)
    # a quarter of what lies between the quartiles of the rougher: 0.337 of its deviation
    assert forth.uncertainty[0] > np.hypot(0.02, 0.3 * 0.15 * 0.34)
    assert replace(forth).uncertainty_de > 0.0


def test_yarn_seen_over_paper_alone_is_known_to_a_twentieth():
    box, thread = (0, 0, 90, 90), np.array([0.3, 0.1, 0.05])
    found = fringe_colour(_frayed(0.87, thread, 0.001, 1), box)
    assert found.linear == pytest.approx(thread, rel=0.01)
    # of itself and of what it differs from paper: a twentieth of 0.87 for any yarn darker
    assert found.uncertainty == pytest.approx(np.full(3, 0.05 * 0.87), rel=0.01)
    # told on card of 0.04, unless another is named: half of log(0.0514 / 0.04) is an eighth
    dark = _frayed(0.04, np.full(3, 0.0514), 0.001, 2)
    assert fringe_colour(dark, box, dark, ground_white=0.04).linear == pytest.approx(
        np.full(3, 0.0514), rel=0.01
    )
    # and a second picture is looked at in the same box
    both = fringe_colour(_frayed(0.87, thread, 0.001, 1), box, _frayed(0.04, 2 * thread, 0.001, 3))
    assert both.linear == pytest.approx(1.5 * thread, rel=0.01)
    with pytest.raises(InputError, match="^frayed edge: no threads are told from the ground"):
        fringe_colour(_frayed(0.87, np.full(3, 0.85), 0.001, 1), box)
    few = np.full((90, 90, 3), 0.87)
    few[40, 40:45] = thread
    with pytest.raises(InputError, match="^frayed edge: "):
        fringe_colour(few, box)


@pytest.mark.parametrize("light", [0.0, 1e-7, 1e-3, 0.5])
def test_pictures_of_nothing_are_refused_by_whoever_looks_at_them(light):
    """All black, next to it, and plain grey: a reason, never a fault."""
    blank = np.full((240, 320, 3), light, np.float32)
    yarn = start_cloth("wound", 90.0, 90.0).warp
    for look_at in (
        lambda: find_ruler(blank),
        lambda: scale_from_ruler(blank, (0, 0, 320, 100)),
        lambda: count_threads(blank, 30.0),
        lambda: measure_pair(blank, blank),
        lambda: measure_one(blank),
        lambda: look_wound(yarn, 90.0, blank, blank),
    ):
        with pytest.raises(InputError, match=r"[a-z]{4}"):
            look_at()
    if not light:
        with pytest.raises(InputError, match="black"):
            find_regions(blank)


def test_yarn_that_differs_from_its_ground_in_lightness_alone_counts_for_half():
    """A soft shadow does so too: threads are told from 0.12 on, that is a quarter lighter."""
    for more, told in ((0.2, False), (0.23, False), (0.25, True), (0.3, True)):
        grey = _frayed(0.04, np.full(3, 0.04 * np.exp(more)), 0.0005, 2)
        if told:
            assert fringe_colour(grey, (0, 0, 90, 90), ground_white=0.04).linear[0] > 0.045
        else:
            with pytest.raises(InputError, match="no threads are told from the ground"):
                fringe_colour(grey, (0, 0, 90, 90), ground_white=0.04)


def test_card_cut_in_pieces_by_weak_edges_is_one_but_for_what_it_encloses():
    """From piece to piece over steps of less than three times what parts anything; a piece with
    more than four fifths of its outline in the card, and none at the picture's edge, is not it."""
    shared, step = np.zeros((7, 7)), np.full((7, 7), np.inf)
    for one, other, long, high in (
        (0, 1, 10.0, 0.5), (1, 2, 10.0, 2.9),  # a chain
        (0, 3, 10.0, 3.1),  # too steep
        (0, 4, 85.0, 0.5), (4, 6, 15.0, 9.0),  # enclosed
        (0, 5, 78.0, 0.5), (5, 6, 22.0, 9.0),  # less than four fifths
    ):  # fmt: skip
        shared[one, other] = shared[other, one] = long
        step[one, other] = step[other, one] = high * _STEP
    shared[0, 6] = shared[6, 0] = shared[1, 6] = shared[6, 1] = shared[2, 6] = shared[6, 2] = 50.0

    def grown(first=0, edge=0.0):
        at_edge = np.full(7, 0.1)
        at_edge[[3, 4, 5]] = edge
        parts = _Parts(np.zeros((2, 2), np.intp), np.zeros((7, 3)), np.ones(7), at_edge, shared,
                       step)  # fmt: skip
        dark = [1, 2, 3, 4, 5]
        there, back = (sorted(_alike(parts, first, d)) for d in (dark, dark[::-1]))
        assert there == back  # whichever is looked at first
        return there

    assert grown() == [0, 1, 2, 5]
    assert grown(edge=0.019) == [0, 1, 2, 5]
    assert grown(edge=0.021) == [0, 1, 2, 4, 5]
    assert grown(first=2, edge=0.021) == [1, 2]  # the first itself is none of the dark here
