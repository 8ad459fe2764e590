"""Filaments that nobody told to be lobed: what is drawn of them, against explicit lobed ones."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_layer_optics import cloth

from weavecolor.optics import mightbe
from weavecolor.optics.dye import wound_of_depth
from weavecolor.optics.uncertainty import known_of, may_be_lobed
from weavecolor.textile.fibres import fibre
from weavecolor.textile.notmodelled import not_modelled

TRACED = json.loads((Path(__file__).parent / "data" / "lobed.json").read_text("utf-8"))
FILAMENTS = {"flat_lustrous": 24, "sixteen": 16}


def bright(dull=0.0, fibre_name="polyester", filaments=16, colour=0.5):
    made = cloth(warp=colour, weft=colour, ends=40.0, picks=38.0, filaments=filaments, dull=dull)
    yarns = {
        system: replace(getattr(made, system), fibre=fibre(fibre_name))
        for system in ("warp", "weft")
    }
    return replace(made, **yarns)


@pytest.mark.parametrize("row", TRACED["rows"], ids=lambda row: row["cloth"])
def test_lobes_move_light_as_is_drawn(row):
    fine = np.sqrt(0.42 / FILAMENTS[row["cloth"]])  # diameter of a filament, of its yarn
    pale = np.array([
        float(np.mean(wound_of_depth(np.full(41, fine * dye), 1.6, 0.65)))
        for dye in TRACED["dyes"]
    ])  # fmt: skip
    logs = {
        (kind, what): np.log(row[kind][what])
        for kind in ("round", "lobed") for what in ("reflected", "transmitted")
    }  # fmt: skip
    hinders = logs["lobed", "transmitted"] / logs["round", "transmitted"] - 1.0
    back = logs["lobed", "reflected"] - logs["round", "reflected"]
    for traced, (dark, paler) in zip((hinders, back), mightbe._LOBED, strict=True):
        assert traced.min() > 0.15
        assert dark + paler * pale == pytest.approx(traced, abs=0.11)


def test_bright_filaments_of_nylon_and_polyester_alone_may_be_lobed():
    for name in ("nylon", "polyester"):
        assert may_be_lobed(bright(fibre_name=name).warp)
        assert not may_be_lobed(bright(dull=4.0, fibre_name=name).warp)  # semi-dull
        assert not may_be_lobed(bright(fibre_name=name, filaments=1).warp)
    assert not may_be_lobed(bright(fibre_name="silk").warp)


def test_what_lobes_would_do_is_said_and_lies_in_the_range():
    """Of a cloth of which all else is told."""
    told = bright()
    said = known_of([told]).contradictions
    assert len(said) == 1 and "as often trilobal as round" in said[0]
    assert not known_of([bright(dull=4.0)]).contradictions
    (hinders, back), _ = mightbe._kept_build(told)
    lobed = back[:, 20] > 0.0
    assert 0.35 < lobed.mean() < 0.65 and not back[~lobed].any() and not hinders[~lobed].any()
    # two fibres may differ in it, one fibre does not
    mixed = replace(told, weft=replace(told.weft, fibre=fibre("nylon")))
    assert len({tuple(row) for row in mightbe._lobed(mixed).T}) == 4
    assert len({tuple(row) for row in mightbe._lobed(told).T}) == 2


def test_a_name_that_tells_of_lobes_is_answered():
    for word in ("trilobal organza", "Tri-lobal polyester", "lobed filaments"):
        assert "lobed" in not_modelled(word).what
    assert not_modelled("globed hem") is None
