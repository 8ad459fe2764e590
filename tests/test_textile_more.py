"""Textile, function by function: symmetries of plans, limits and usual numbers of yarns."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.textile.assumedwords import _phrase
from weavecolor.textile.fibres import fibre
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.usual import USUAL, usual_yarn
from weavecolor.textile.weaves import half_turn, weave
from weavecolor.textile.yarn import STEEPEST_TWIST_DEG, Yarn, greatest_packing

GREY = np.full(BANDS, 0.4)


@pytest.mark.parametrize("shape", [(2, 5), (5, 2), (3, 4), (4, 3), (3, 3)])
def test_a_half_turn_is_about_the_place_told_wherever_that_lies(shape):
    rng = np.random.default_rng(3)
    picks, ends = np.indices(shape)
    for pick in range(shape[0]):
        for end in range(shape[1]):
            plan = rng.random(shape) < 0.5
            turned = plan[(pick - picks) % shape[0], (end - ends) % shape[1]]
            found = half_turn((plan | turned).astype(int).tolist())
            assert found is not None
            moved = (plan | turned)[(found[0] - picks) % shape[0], (found[1] - ends) % shape[1]]
            assert np.array_equal(moved, plan | turned)
    lopsided = ((1, 1, 0, 1), (1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 0, 1))
    assert half_turn(lopsided) is None


@pytest.mark.parametrize("text", ["satin 8/3/1", "satin 5/2/2", "satin 8/3/8/3"])
def test_a_satin_has_ends_and_one_counter(text):
    with pytest.raises(InputError, match="a satin is ends/counter"):
        weave(text)


def test_filaments_that_nobody_tells_are_the_usual_ones():
    for tex in (1.5, 2.33, 6.0, 30.0):
        yarn = Yarn(fibre("silk"), tex, GREY, packing=0.6)
        assert yarn.filaments == usual_yarn("silk", "filament").filaments(tex) > 1
    assert Yarn(fibre("silk"), 2.33, GREY, packing=0.95, filaments=1).filaments == 1


@pytest.mark.parametrize("filaments", [2, 3, 40])
def test_no_yarn_of_filaments_is_twisted_steeper_than_it_could_be(filaments):
    """The outer filaments lie at the arc tangent of pi times thickness times turns."""
    packing = 0.9 * greatest_packing(filaments)

    def yarn(turns):
        return Yarn(fibre("silk"), 30.0, GREY, packing=packing, filaments=filaments,
                    twist_turns_m=turns)  # fmt: skip

    thick = yarn(0.0).diameter_mm
    most = 1000.0 * np.tan(np.radians(STEEPEST_TWIST_DEG)) / (np.pi * thick)
    assert yarn(0.99 * most).twist_turns_m == 0.99 * most
    with pytest.raises(InputError, match="lay the outer filaments of a yarn"):
        yarn(1.01 * most)


@pytest.mark.parametrize(
    ("dull", "said"),
    [(0.0, "bright"), (4.0, "semi-dull, dull_per_mm 4"), (20.0, "dull, dull_per_mm 20"),
     (7.0, "dull_per_mm 7")],
)  # fmt: skip
def test_a_lustre_is_told_by_its_word_where_it_has_one(dull, said):
    cloth = load_swatch("shot-organza-teal-copper")
    yarn = Yarn(fibre("polyester"), 5.0, GREY, dull_per_mm=dull)
    assert _phrase("dull_per_mm", yarn, cloth, "warp", HowKnown.stated()) == said


def test_usual_yarns_are_yarns_that_there_can_be():
    """Ranges hold what is usual; no yarn is fuller than full, rounder than round, or too fine."""
    for one in USUAL.values():
        for span in (one.packing, one.flattening, one.twist_factor, one.fineness_dtex, one.tex):
            if span is not None:
                assert span.low <= span.usual <= span.high, one.name
        rods = 1 if one.fineness_dtex is None or one.gum else 1000
        assert 0.0 < one.packing.low and one.packing.high <= greatest_packing(rods), one.name
        assert one.flattening.low >= 1.0, one.name
        # reeled silk and single filaments are sold by the denier, 9 to the tex
        if one.tex is not None and (one.fibre == "silk" or "denier" in one.source):
            for value in (one.tex.low, one.tex.usual, one.tex.high):
                assert Fraction(9.0 * value).limit_denominator(1000).denominator == 1, one.name
