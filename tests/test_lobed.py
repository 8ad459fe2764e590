"""Filaments that nobody told to be lobed: what is drawn of them, against explicit lobed ones."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_layer_optics import cloth

from weavecolor.optics import mightbe
from weavecolor.optics.uncertainty import known_of, lobes
from weavecolor.textile.fibres import fibre
from weavecolor.textile.notmodelled import not_modelled

TRACED = json.loads((Path(__file__).parent / "data" / "lobed.json").read_text("utf-8"))
DYES, WOUND_DYES = (np.log(TRACED[key]) for key in ("dyes", "wound_dyes"))


def filaments(dull=0.0, fibre_name="polyester", filaments=16, colour=0.5):
    made = cloth(warp=colour, weft=colour, ends=40.0, picks=38.0, filaments=filaments, dull=dull)
    yarns = {
        system: replace(getattr(made, system), fibre=fibre(fibre_name))
        for system in ("warp", "weft")
    }
    return replace(made, **yarns)


def _along(dyes, values, degree, at):
    """Logarithms of traced shares at logarithms of dye between and about those traced."""
    return np.polyval(np.polyfit(dyes, np.log(values), degree), at)


@pytest.mark.parametrize("kind, section, size", [(0, 1, 0.3), (0, 2, 0.75), (1, 1, 1.0)])
def test_lobes_move_light_as_is_drawn(kind, section, size):
    """Of cloth whose wound thread looks the same: lobed it must have more dye."""
    plain, lobed = (TRACED["kinds"][kind]["sections"][k] for k in (0, section))
    told = np.exp(_along(WOUND_DYES, plain["wound"], 3, DYES))
    many = np.linspace(-5.0, 2.0, 5000)
    wound = np.exp(_along(WOUND_DYES, lobed["wound"], 3, many))
    dyed = many[np.abs(wound[:, None] - told).argmin(axis=0)]
    assert np.all(dyed > DYES)
    moved = []
    for name, was in plain["cloths"].items():
        now = {key: _along(DYES, values, 2, dyed) for key, values in lobed["cloths"][name].items()}
        let = [
            np.log((over - sent) / 0.85)
            for over, sent in (
                (np.array(was["over_white"]), np.array(was["reflected"])),
                (np.exp(now["over_white"]), np.exp(now["reflected"])),
            )
        ]  # fmt: skip
        moved.append((let[1] / let[0] - 1.0, now["reflected"] - np.log(was["reflected"])))
    for traced, drawn in zip(np.mean(moved, axis=0), mightbe._LOBED, strict=True):
        assert size * np.interp(told, mightbe._WOUND, drawn) == pytest.approx(traced, abs=0.09)


def test_bright_nylon_and_polyester_may_be_lobed_and_silk_is_somewhat():
    for name in ("nylon", "polyester"):
        assert lobes(filaments(fibre_name=name).warp) == (0.5, 1.0, 1.0)
        assert not any(lobes(filaments(dull=4.0, fibre_name=name).warp))  # semi-dull
        assert not any(lobes(filaments(fibre_name=name, filaments=1).warp))
    often, least, most = lobes(filaments(fibre_name="silk").warp)
    assert often == 1.0 and least == 0.0 < most < 1.0
    assert not any(lobes(filaments(fibre_name="silk", filaments=1).warp))
    assert lobes(filaments(fibre_name="viscose").warp) == (often, least, most)
    assert 0.0 < lobes(filaments(fibre_name="cotton").warp)[2] < 0.5 * most
    assert not any(lobes(filaments(fibre_name="wool").warp))


def test_what_lobes_would_do_is_said_and_lies_in_the_range():
    """Of a cloth of which all else is told."""
    told = filaments()
    said = known_of([told]).contradictions
    assert len(said) == 1 and "as often trilobal as round" in said[0]
    assert not known_of([filaments(dull=4.0)]).contradictions
    (hinders, back), _ = mightbe._kept_build(told)
    lobed = hinders[:, 20] > 0.0
    assert 0.35 < lobed.mean() < 0.65 and not back[~lobed].any()
    # two fibres may differ in it, one fibre does not
    mixed = replace(told, weft=replace(told.weft, fibre=fibre("nylon")))
    assert len({tuple(row) for row in mightbe._lobed(mixed).T}) == 4
    assert len({tuple(row) for row in mightbe._lobed(told).T}) == 2
    silk = mightbe._lobed(filaments(fibre_name="silk"))
    assert silk[0] == pytest.approx(silk[1]) and silk.min() >= 0.0
    assert 0.3 < silk.mean() < 0.45 and silk.max() < 0.75


def test_a_name_that_tells_of_lobes_is_answered():
    for word in ("trilobal organza", "Tri-lobal polyester", "lobed filaments"):
        assert "lobed" in not_modelled(word).what
    assert not_modelled("globed hem") is None
