"""Pattern pieces: seam allowance, fold, grain and refusals."""

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from weavecolor.cutting.pieces import (
    Piece,
    cut_about_fold,
    cut_area_cm2,
    cut_outline,
    grain_arrow,
    sewing_outline,
    warp_angles,
)
from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.errors import InputError

SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 20.0), (0.0, 20.0))


@given(st.floats(1, 100), st.floats(1, 100), st.just(0.0) | st.floats(0.01, 5))
def test_seam_allowance_goes_all_round_a_rectangle(across, down, seam):
    # Hand-worked, common practice, no source: each side grows by the allowance, corners mitred.
    piece = Piece.rectangle("panel", across, down, seam_cm=seam)
    assert cut_area_cm2(piece) == pytest.approx((across + 2 * seam) * (down + 2 * seam), rel=1e-9)


def test_an_allowance_too_small_to_cut_changes_nothing():
    assert cut_area_cm2(Piece.rectangle("panel", 1, 1, seam_cm=1e-200)) == pytest.approx(1.0)


def test_a_piece_on_the_fold_opens_out_and_has_no_seam_there():
    # Hand-worked: half 10 x 20 on the fold at its left edge, 1.5 seams: cut 23 x 23 opened out.
    piece = Piece.rectangle("front", 10, 20, fold_edge=3)
    assert sewing_outline(piece).bounds == pytest.approx((-10, 0, 10, 20))
    assert cut_outline(piece).bounds == pytest.approx((-11.5, -1.5, 11.5, 21.5))
    about = cut_about_fold(piece)
    assert about.bounds[0] == pytest.approx(-about.bounds[2])
    # The same about a fold edge drawn on a slant.
    slant = Piece.polygon("gore", [(0, 0), (8, 6), (2, 14), (-6, 8)], fold_edge=1)
    assert sewing_outline(slant).area == pytest.approx(2 * 100)
    left, low, right, high = cut_about_fold(slant).bounds
    assert (right, high - low) == pytest.approx((11.5, 13.0)) and left == pytest.approx(-right)


def test_inches_are_converted():
    piece = Piece.rectangle("cuff", 4, 10, unit="inch", seam_cm=0)
    assert sewing_outline(piece).bounds[2:] == pytest.approx((10.16, 25.4))
    corners = [(0, 0), (4, 0), (0, 10)]
    assert cut_area_cm2(Piece.polygon("fly", corners, unit="inch", seam_cm=0)) == pytest.approx(
        20 * 2.54**2
    )


def test_a_sharp_point_is_cut_off_and_a_blunt_one_mitred():
    spike = Piece.polygon("godet", [(0, 0), (4, 0), (2, 60)], seam_cm=1)
    assert cut_outline(spike).bounds[3] < 60 + 3.5
    assert cut_outline(spike).contains(sewing_outline(spike))


def test_warp_directions_for_each_grain():
    plain, facing = Piece("a", SQUARE), Piece("b", SQUARE, grain="either")
    assert warp_angles(plain, "straight", False) == (0.0, 180.0)
    assert warp_angles(plain, "cross", True) == (90.0,)
    assert set(warp_angles(plain, "bias", False)) == {45.0, 135.0, 225.0, 315.0}
    assert warp_angles(plain, "bias", True) == (45.0,)
    assert warp_angles(plain, -30.0, False) == (330.0, 150.0)
    assert set(warp_angles(facing, "bias", False)) == {0.0, 90.0, 180.0, 270.0}
    with pytest.raises(InputError, match="not a grain"):
        warp_angles(plain, "diagonal", False)


def test_grain_arrow_follows_the_grain_angle():
    (x0, y0), (x1, y1) = grain_arrow(Piece("a", SQUARE, grain_deg=30.0)).coords
    assert math.degrees(math.atan2(-(x1 - x0), y1 - y0)) == pytest.approx(30.0)
    assert shapely.Polygon(SQUARE).contains(shapely.Point(x0, y0))


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Piece("bow", ((0, 0), (10, 10), (10, 0), (0, 10))), "crosses or touches itself"),
        (lambda: Piece("line", ((0, 0), (1, 0), (2, 0))), "encloses nothing|simple shape"),
        (lambda: Piece("two", ((0, 0), (1, 0))), "3 to 500 corners"),
        (lambda: Piece("nan", ((0, 0), (1, 0), (0, float("nan")))), "pair of numbers"),
        (lambda: Piece("huge", ((0, 0), (9000, 0), (0, 9000))), "check the unit"),
        (lambda: Piece("far", ((0, 0), (5, 0), (5, 1e308))), "pair of numbers in cm"),
        (lambda: Piece("farther", ((0, 0), (5, 0), (5, -(10**400)))), "pair of numbers in cm"),
        (lambda: Piece("next to nothing", ((0, 1e-300), (5, 0), (5, 5))), "pair of numbers in cm"),
        (lambda: Piece("", SQUARE), "needs a name"),
        (lambda: Piece("n", SQUARE, quantity=0), "1 to 500"),
        (lambda: Piece("n", SQUARE, quantity=3, pair=True), "even numbers"),
        (lambda: Piece("n", SQUARE, quantity=2, pair=True, fold_edge=0), "no pair"),
        (lambda: Piece("n", SQUARE, seam_cm=-1), "0 to 20"),
        (lambda: Piece("n", SQUARE, seam_cm=float("nan")), "0 to 20"),
        (lambda: Piece("n", SQUARE, fold_edge=4), "not one of the 4"),
        (lambda: Piece("n", SQUARE, grain="slanted"), "not a grain"),
        (lambda: Piece("n", SQUARE, grain_deg=float("inf")), "number of degrees"),
        (
            lambda: Piece("v", ((0, 0), (10, 0), (10, 5), (5, 5), (5, 20), (0, 20)), fold_edge=3),
            "both sides of fold",
        ),
        (lambda: Piece.rectangle("r", 0, 5), "more than 0"),
        (lambda: Piece.rectangle("r", 5, 5, unit="yard"), "cm or inch"),
        (lambda: Piece.polygon("p", [(0, 0), (1, 2, 3)]), "pairs of numbers"),
    ],
)
def test_bad_pieces_are_refused_with_a_reason(make, says):
    with pytest.raises(InputError, match=says) as caught:
        make()
    assert "\n" not in str(caught.value)


def test_a_grain_in_degrees_is_a_grain_where_it_has_a_name():
    text = 'unit = "cm"\n[[piece]]\nname = "sash"\nacross = 20\ndown = 90\ngrain = '
    for said, meant in (("45", "bias"), ("-45", "bias"), ("90", "cross"), ("0.0", "straight")):
        assert cutting_from_toml(text + said).pieces[0].grain == meant
    with pytest.raises(InputError, match="use straight, cross, bias or either, got 30"):
        cutting_from_toml(text + "30")
