"""Two who work at one making at the same time lose nothing of one another's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from weavecolor.cutting.pieces import Piece
from weavecolor.making.answers import swatch_cloth
from weavecolor.making.joining import joined
from weavecolor.making.model import Making, MakingLayer, MakingOption

RED, ROSE = "shot-organza-red-black", "shot-chiffon-rose-yellow"


def option(name, *grains, cloth=RED, backing="white"):
    return MakingOption(name, tuple(MakingLayer(cloth, g) for g in grains or (0.0,)), backing)


BEFORE = Making(
    "Cape", cloths=(swatch_cloth(RED),), options=(option("A"), option("B", 90.0)), chosen="A",
    table=option("on the table"), pieces=(Piece.rectangle("cuff", 10.0, 20.0),),
)  # fmt: skip


def names(making):
    return [x.name for x in making.options]


def test_where_only_one_changed_something_that_holds():
    theirs = replace(BEFORE, notes="lined", options=BEFORE.options[:1])
    ours = replace(BEFORE, title="Gown")
    for made in (joined(BEFORE, ours, theirs), joined(BEFORE, theirs, ours)):
        assert (made.title, made.notes, names(made)) == ("Gown", "lined", ["A"])
    assert joined(BEFORE, BEFORE, theirs) == theirs == joined(BEFORE, theirs, BEFORE)


def test_options_that_both_kept_are_both_there():
    ours = replace(BEFORE, options=(*BEFORE.options, option("C", 45.0)), chosen="C")
    theirs = replace(BEFORE, options=(*BEFORE.options, option("C", 0.0, 0.0), option("D", 30.0)))
    made = joined(BEFORE, ours, theirs)
    assert names(made) == ["A", "B", "C", "D", "E"]
    assert made.option("E").same_stack(ours.option("C")) and made.chosen == "E"
    assert made.options[:4] == theirs.options
    both = joined(BEFORE, ours, replace(ours, chosen="A"))
    assert names(both) == ["A", "B", "C"] and both.chosen == "C"  # the same is not kept twice

    emptied = [replace(BEFORE, options=(option("A", g),), chosen="") for g in (20.0, 70.0)]
    made = joined(BEFORE, *emptied)  # the board cleared by both, then something kept
    assert names(made) == ["A", "B"] and {x.layers[0].grain_deg for x in made.options} == {20, 70}


def test_a_change_outweighs_a_taking_away_and_both_takings_away_hold():
    changed = replace(BEFORE.options[1], note="for the bodice")
    ours = replace(BEFORE, options=(BEFORE.options[0], changed, option("C", 45.0)))
    theirs = replace(BEFORE, options=(), chosen="")
    for made in (joined(BEFORE, ours, theirs), joined(BEFORE, theirs, ours)):
        assert made.options == (changed, option("C", 45.0)) and made.chosen == ""


def test_cloth_that_something_is_laid_of_stays():
    rose = swatch_cloth(ROSE)
    before = replace(BEFORE, cloths=(*BEFORE.cloths, rose))
    theirs = BEFORE  # put away as it was not used there
    ours = replace(before, options=(*before.options, option("C", cloth=ROSE)))
    for made in (joined(before, ours, theirs), joined(before, theirs, ours)):
        assert made.option("C") == ours.option("C") and made.cloth(ROSE) == rose
    other = replace(before, title="Gown")
    assert joined(before, other, theirs).cloths == BEFORE.cloths  # else it goes


def test_of_one_thing_that_both_changed_ours_holds():
    ours = replace(BEFORE, title="Gown", scenes=("ballroom",))
    theirs = replace(BEFORE, title="Skirt", scenes=("candlelit",))
    made = joined(BEFORE, ours, theirs)
    assert made.title == "Gown" and made.scenes == ("candlelit", "ballroom")


@pytest.mark.parametrize("twice", ["ours", "theirs"])
def test_pieces_of_one_name_are_not_taken_for_one(twice):
    cuff = BEFORE.pieces[0]
    one = replace(BEFORE, pieces=(cuff, cuff))
    other = replace(BEFORE, pieces=(cuff, Piece.rectangle("band", 70.0, 8.0)))
    ours, theirs = (one, other) if twice == "ours" else (other, one)
    assert joined(BEFORE, ours, theirs).pieces == ours.pieces
