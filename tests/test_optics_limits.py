"""Optics, piece by piece, by formulas, plain geometry and counts written out beside them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_layer_optics import cloth

from weavecolor.colour.spectra import BANDS, WAVELENGTHS
from weavecolor.errors import InputError
from weavecolor.measure.tocloth import start_cloth
from weavecolor.optics import dye, fitted, mightbe_build
from weavecolor.optics.appearance import radiances
from weavecolor.optics.cell import filaments, flood
from weavecolor.optics.cell.filaments import FilamentCell, Strand
from weavecolor.optics.dye import READING_EVEN, _spans, from_colour, from_wound
from weavecolor.optics.layerwords import layers_said
from weavecolor.optics.parted import parted
from weavecolor.optics.stack import Layer, Stack, layers_words
from weavecolor.scene.backings import Backing
from weavecolor.scene.places import scene

pytestmark = pytest.mark.usefixtures("few_rays")

# --- dyes -------------------------------------------------------------------------------------


@pytest.mark.parametrize("known_to", [0.0, 2.0, 5.0, 30.0])
def test_a_colour_s_doubt_is_by_the_slope_of_lightness(known_to):
    """CIE 1976: L* = 116 (Y)^(1/3) - 16, and by how much Y moves with it, taken numerically."""
    yarn = start_cloth("mine", 40.0, 36.0, warp_like="silk organza").warp
    told = np.linspace(0.03, 0.85, BANDS)

    def Y(L):
        return ((L + 16.0) / 116.0) ** 3

    L = 116.0 * told ** (1 / 3) - 16.0
    slope = (Y(L + 0.01) - Y(L - 0.01)) / 0.02
    base = from_wound(told, yarn, READING_EVEN + known_to * slope)
    spread = np.minimum(np.hypot(base.spread, np.interp(WAVELENGTHS, *dye._METAMERS)), 2.5)
    found = from_colour(told, yarn, known_to)
    assert found.spread == pytest.approx(spread, rel=1e-4)
    less = np.minimum(np.hypot(base.less, np.interp(WAVELENGTHS, *dye._METAMERS)), 2.5)
    assert found.sides == pytest.approx(np.array([less, spread]), rel=1e-4)
    assert found.absorption == pytest.approx(base.absorption)
    # the darkest are taken as at the foot of the cube root
    dark = from_colour(np.full(BANDS, 0.008), yarn, known_to).spread
    slope = 3.0 * 24.0**2 / 116.0**3 * (0.008856 / (24.0 / 116.0) ** 3) ** (2 / 3)
    base = from_wound(np.full(BANDS, 0.008), yarn, READING_EVEN + known_to * slope)
    wanted = np.minimum(np.hypot(base.spread, np.interp(WAVELENGTHS, *dye._METAMERS)), 2.5)
    assert dark == pytest.approx(wanted, rel=1e-3)


def test_how_sure_a_colour_may_be():
    yarn = start_cloth("mine", 40.0, 36.0, warp_like="silk organza").warp
    for bad in (-0.1, 30.1, np.nan):
        with pytest.raises(InputError, match="a colour is known to 0-30"):
            from_colour(np.full(BANDS, 0.3), yarn, bad)
    for bad in (np.full(BANDS, 1.01), np.full(BANDS, -0.01), np.full(BANDS - 1, 0.3)):
        with pytest.raises(InputError, match="reflectance"):
            from_colour(bad, yarn)


@pytest.mark.parametrize(
    ("bands", "said"),
    [([380], "380"), ([380, 390], "380-390"), ([380, 390, 400, 700], "380-400, 700"),
     ([420, 440, 460, 470], "420, 440, 460-470")],
)  # fmt: skip
def test_wavelengths_in_words(bands, said):
    assert _spans(np.isin(WAVELENGTHS, bands)) == said


def test_bright_fibre_is_the_first_row_of_dull_fibre():
    y = np.linspace(0.0, 6.0, 13)
    assert (dye._dulled(y, 0.0) == 0.0).all()
    first = dye._DULL[1]
    at_first = np.interp(y, dye._DULL_Y, dye._DULL_LN[1])
    assert dye._dulled(y, first) == pytest.approx(at_first)
    assert dye._dulled(y, 0.25 * first) == pytest.approx(0.25 * at_first)
    for k in range(1, len(dye._DULL) - 1):
        middle = float(np.sqrt(dye._DULL[k] * dye._DULL[k + 1]))  # even steps of the logarithm
        rows = [np.interp(y, dye._DULL_Y, dye._DULL_LN[k + step]) for step in (0, 1)]
        assert dye._dulled(y, middle) == pytest.approx(0.5 * (rows[0] + rows[1]))
    last = np.interp(y, dye._DULL_Y, dye._DULL_LN[-1])
    assert dye._dulled(y, float(dye._DULL[-1])) == pytest.approx(last)
    assert dye._dulled(y, 2.0 * dye._DULL[-1]) == pytest.approx(last)


# --- yarns ------------------------------------------------------------------------------------


def test_a_yarn_of_two_filaments_stays_one_of_two():
    """However fine it is made; and a single rod stays one, however thick."""
    yarn = cloth().warp
    two = replace(yarn, filaments=2, packing=0.45)
    for width in (0.02, 0.05, 0.1):
        assert fitted._of_width(two, width, 1.0, 1.0, 1.0).filaments >= 2
    assert fitted._of_width(two, 0.02, 1.0, 1.0, 1.0).filaments == 2
    one = replace(yarn, filaments=1)
    for width in (0.02, 0.2):
        assert fitted._of_width(one, width, 1.0, 1.0, 1.0).filaments == 1


# --- draws ------------------------------------------------------------------------------------


@pytest.mark.parametrize("one_bath", [True, False])
def test_errors_of_dyes_have_the_spread_and_the_likeness_they_are_told_to(one_bath):
    """Standard normal in each band; half of the variance for all bands; yarns of one dye bath err
    together by so much, others each by itself."""
    drawn = []
    for grey in np.linspace(0.2, 0.6, 60):
        drawn.append(mightbe_build._dyes(cloth(warp=grey, weft=grey if one_bath else 0.9 * grey)))
    every = np.concatenate(drawn)
    assert every.shape[1:] == (2, BANDS)
    assert every.mean() == pytest.approx(0.0, abs=0.03)
    assert (every**2).mean() == pytest.approx(1.0, abs=0.03)
    far = (every[:, :, 0] * every[:, :, -1]).mean()
    near = (every[:, :, 20] * every[:, :, 21]).mean()
    step = 0.5 * (1.0 + np.exp(-0.5 * (10.0 / mightbe_build._NEAR) ** 2))
    assert far == pytest.approx(0.5, abs=0.04) and near == pytest.approx(step, abs=0.03)
    together = (every[:, 0] * every[:, 1]).mean()
    assert together == pytest.approx(mightbe_build.ALIKE if one_bath else 0.0, abs=0.03)


# --- layers in words --------------------------------------------------------------------------


@pytest.mark.parametrize("lay", ["touching", "apart", "loose"])
def test_a_lay_is_told_of_two_layers_and_more(lay):
    one, turned = Layer(cloth()), Layer(cloth(), 90.0, "back")
    ending = "" if lay == "loose" else f" ({lay})"
    straight, cross = "cloth, straight grain", "cloth, cross grain, back out"
    assert layers_words(Stack((one,), lay=lay)) == straight
    assert layers_words(Stack((one, one), lay=lay)) == f"2 x {straight}{ending}"
    three = layers_words(Stack((one, turned, turned), lay=lay))
    assert three == f"{straight} over 2 x {cross}{ending}"


def test_a_cloth_may_be_called_like_a_grain():
    """What a layer's only word is names its cloth."""
    asked = []

    def find(name):
        asked.append(name)
        return cloth()

    (layer,) = layers_said("cross", find)
    assert asked == ["cross"] and layer.grain_deg == 0.0
    (layer,) = layers_said("bias cross back", find)
    assert asked[-1] == "bias" and (layer.grain_deg, layer.face) == (90.0, "back")
    (layer,) = layers_said("organza cross grain", find)
    assert asked[-1] == "organza" and layer.grain_deg == 90.0
    (layer,) = layers_said("cross grain", find)
    assert asked[-1] == "cross" or layer.grain_deg == 90.0
    # of one cloth only grain and side are told
    (layer,) = layers_said("cross", cloth())
    assert layer.grain_deg == 90.0 and layer.face == "face"


def _cell(sett: float = 0.3) -> FilamentCell:
    strand = Strand(0.2, 0.2, index=1.55)
    return FilamentCell(((1, 0), (0, 1)), strand, strand, sett, sett, 0.101, 0.101)


# --- tracing ----------------------------------------------------------------------------------


def test_how_much_of_a_tracing_is_done_is_told_part_by_part():
    ready = filaments.prepared(_cell())
    starts = np.zeros((9000, 5))
    starts[:, 4] = -1.0
    starts[:, 0] = np.linspace(0.0, 0.4, 9000)
    told = []
    filaments.followed(ready, starts, 3, lambda leaves: None, told.append)
    assert told == pytest.approx([1 / 3, 2 / 3, 1.0])
    told.clear()
    filaments.followed(ready, starts[:100], 3, lambda leaves: None, told.append)
    assert told == [0.5, 1.0]


def test_more_effort_is_more_rays(monkeypatch):
    asked = []

    def sent(cell, v, count):
        asked.append(count)
        return np.zeros((0, 3), np.float32), np.zeros(0, np.float32)

    monkeypatch.setattr(filaments, "_sent_back", sent)
    up = (0.0, 0.0, 1.0)
    for effort in (1.0, 2.0):
        monkeypatch.setattr(filaments, "EFFORT", effort)
        filaments.glints(_cell(0.3 + effort), up, [up])
    assert asked[1] == 2 * asked[0]


def test_first_surfaces_are_met_by_as_many_rays_as_the_effort_and_a_dozen_at_least(monkeypatch):
    def told(effort):
        def stop(cell, grid, each):
            raise StopIteration(each)

        monkeypatch.setattr(filaments, "EFFORT", effort)
        monkeypatch.setattr(filaments, "node_starts", stop)
        with pytest.raises(StopIteration) as stopped:
            flood._first(_cell(0.3), False)
        return stopped.value.value

    assert told(1e-4) == 12
    assert told(2.0) == pytest.approx(2 * told(1.0), abs=1) and told(1.0) > 100


# --- what each light gives --------------------------------------------------------------------


def test_layers_and_lights_each_by_itself_add_up_to_what_is_seen():
    """Light adds: what each of three lamps gives is what it gives when it shines alone."""
    place = scene("ballroom")
    stack = Stack((Layer(cloth()), Layer(cloth(warp=0.1), 90.0)), Backing("grey", np.full(41, 0.3)))
    layers, straight = parted(stack, place)
    assert len(place.lights) == 3 and len(layers) == 2
    ((seen,),) = radiances(stack, [stack.backing], [place])
    assert sum(layer.all for layer in layers) + straight == pytest.approx(seen, rel=1e-3)
    for k, light in enumerate(place.lights):
        alone, _ = parted(stack, replace(place, lights=(light,)))
        for layer, one in zip(layers, alone, strict=True):
            assert len(layer.lights) == 3 and len(one.lights) == 1
            assert layer.lights[k] == pytest.approx(one.lights[0], rel=1e-3, abs=1e-9)


def test_what_first_surfaces_send_back_is_less_than_what_meets_them(monkeypatch):
    """Open cloth of rods: what goes through the gaps met nothing, and of what met a rod Fresnel's
    share comes back, least straight on, (n - 1)^2 / (n + 1)^2."""
    monkeypatch.setattr(filaments, "EFFORT", 0.1)
    made = flood._first(_cell(0.5), False)
    straight = made.cosine < np.cos(np.pi - 1e-3)
    assert made.weight[straight].sum() < 1e-3 * made.weight.sum()
    # two crossing systems of rods 0.2 wide every 0.5: straight on 0.64 is met, aslant more
    each_side = made.weight.sum() / 2.0
    assert 0.64 * (0.55 / 2.55) ** 2 < each_side < 0.3
