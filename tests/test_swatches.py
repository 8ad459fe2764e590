"""The demo swatches: all readable, all plausible for what they claim to be."""

import numpy as np
import pytest

from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch, swatch_folder, swatch_names
from weavecolor.files.spectrafile import read_spectra
from weavecolor.textile.construction import cover_factor_si, describe, weight_contradiction
from weavecolor.textile.usual import usual_yarn

NAMES = swatch_names()


def test_enough_of_them():
    assert len(NAMES) >= 12
    assert "shot-organza-red-black" in NAMES


@pytest.mark.parametrize("name", NAMES)
def test_every_swatch_is_sound(name):
    cloth = load_swatch(name)
    assert load_swatch(name) is cloth
    numbers = describe(cloth)
    assert numbers.jamming <= 1.0
    assert not weight_contradiction(cloth)
    said = dict(cloth.sources)
    assert {"ends", "picks", "warp.count", "weft.count", "warp.filaments", "weft.filaments",
            "colour"} <= set(said)  # fmt: skip
    # whatever was assumed of the build is told with a range around its number
    known = {key: how for key, how in cloth.known if not key.endswith(".colour")}
    assert {"warp.flattening", "weft.flattening", "warp.dull_per_mm"} <= set(known)
    for key, how in known.items():
        system, field = key.split(".")
        name = {"twist": "twist_turns_m"}.get(field, field)
        assert how.way == "assumed" and how.source == "none was measured"
        assert how.low <= getattr(getattr(cloth, system), name) <= how.high, key
    for yarn in (cloth.warp, cloth.weft):
        assert np.all((yarn.colour > 0.0) & (yarn.colour < 1.0))
        assert yarn.colour_name


@pytest.mark.parametrize(
    ("name", "low", "high"),
    # Momme printed in a shop glossary of silks: organza 4-6, chiffon 6-8, habutai 5-16.
    [
        ("shot-organza-red-black", 4, 6),
        ("shot-organza-teal-copper", 4, 6),
        ("silk-chiffon-ivory", 6, 8),
        ("shot-chiffon-rose-yellow", 6, 8),
        ("slip-black", 5, 16),
    ],
)
def test_silk_weights(name, low, high):
    assert low <= describe(load_swatch(name)).mass_momme <= high


@pytest.mark.parametrize("name", ["shot-organza-red-black", "silk-chiffon-ivory"])
def test_raw_silk_size(name):
    # 13/15 to 20/22 denier for organza and chiffon: trade practice, from memory.
    cloth = load_swatch(name)
    assert 13 <= 9 * cloth.warp.tex <= 22 and 13 <= 9 * cloth.weft.tex <= 22


@pytest.mark.parametrize("name", NAMES)
def test_filaments_are_of_a_fineness_that_the_trade_has(name):
    # silk is reeled at about 1 to 1.3 denier a filament with its gum, cotton is 1.2 to 2.5 dtex
    # (common practice, no source); 40 to 150 fibres in the section is usual of spun yarn
    cloth = load_swatch(name)
    for yarn in (cloth.warp, cloth.weft):
        usual = usual_yarn(yarn.fibre.name, yarn.kind).fineness_dtex
        if yarn.filaments > 1:
            assert usual.low <= yarn.fineness_dtex <= usual.high
        assert (yarn.rods == 1) == ("organza" in name)
        if yarn.kind == "spun":
            assert 40 <= yarn.filaments <= 180


def test_muslin():
    # A glossary of textile terms: muslin has cover factor K warp 5-10, weft 5-9, to 68 g/m2; in
    # the cotton system, K_SI / 0.957.
    cloth = load_swatch("muslin-white")
    assert 5 <= cover_factor_si(cloth.ends_per_cm, cloth.warp.tex) / 0.957 <= 10
    assert 5 <= cover_factor_si(cloth.picks_per_cm, cloth.weft.tex) / 0.957 <= 9
    assert describe(cloth).mass_g_m2 <= 68


def test_two_tone_cloths_are_two_tone():
    for name in NAMES:
        cloth = load_swatch(name)
        same = np.array_equal(cloth.warp.colour, cloth.weft.colour)
        assert same != name.startswith(("shot-", "hopsack-"))


def test_dyed_curves_span_what_measured_dyed_cloth_does():
    # USGS Spectral Library Version 7 (doi:10.5066/F7RR1WDJ): red nylon absorbs at 500 nm and
    # rises past 600 nm; the invented crimson has the same shape.
    measured = read_spectra(swatch_folder() / "usgs-fabrics.csv")
    nylon = measured["usgs_GDS431_nylon_ripstop_red"].values
    crimson = load_swatch("shot-organza-red-black").warp.colour
    for curve in (nylon, crimson):
        assert curve[12] < 0.1  # 500 nm
        assert curve[28] > 4 * curve[12]  # 660 nm
    assert np.corrcoef(nylon, crimson)[0, 1] > 0.9


@pytest.mark.parametrize("name", ["velvet", "../pyproject", "", "shot-organza-red-black.toml"])
def test_unknown_swatch_lists_them(name):
    with pytest.raises(InputError, match="is not a swatch; there are calico-unbleached, "):
        load_swatch(name)
