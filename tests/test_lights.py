"""Lights against the CIE's published white points and chromaticities, and Planck's law."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from weavecolor.colour.colorimetry import xyz
from weavecolor.colour.library import OBSERVERS
from weavecolor.colour.lights import black_body, lamp, light_names, light_spectrum, on_bands
from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.errors import InputError


def white(name: str, observer: str = "2") -> np.ndarray:
    light = light_spectrum(name)
    return xyz(light, light, observer)


def xy(name: str, observer: str = "2") -> np.ndarray:
    XYZ = white(name, observer)
    return XYZ[:2] / XYZ.sum()


# CIE 15 prints A 109.85 35.58, D50 96.42 82.51, D65 95.04 108.88; all by summation at 5 nm.
@pytest.mark.parametrize(
    ("name", "X", "Z"),
    [
        ("tungsten", 109.849, 35.582),
        ("D50", 96.420, 82.512),
        ("daylight", 95.043, 108.880),
        ("fluorescent", 99.186, 67.394),
        ("triphosphor", 100.961, 64.351),
    ],
)
def test_white_points(name, X, Z):
    np.testing.assert_allclose(white(name), [X, 100.0, Z], atol=0.02)


def test_white_points_of_the_10_degree_observer():
    # CIE 15: D65 94.81 100 107.32, A 111.14 100 35.20 (from memory).
    np.testing.assert_allclose(white("daylight", "10"), [94.81, 100, 107.32], atol=0.02)
    np.testing.assert_allclose(white("tungsten", "10"), [111.14, 100, 35.20], atol=0.02)


@pytest.mark.parametrize(
    "name", ["stage LED", "warm LED", "neutral LED", "cool LED", "fluorescent", "triphosphor"]
)
def test_chromaticities_of_lamps(name):
    # CIE 15:2018 tables of chromaticity, as shipped by the library.
    published = colour.CCS_ILLUMINANTS[OBSERVERS["2"]][lamp(name).illuminant]
    np.testing.assert_allclose(xy(name), published, atol=1e-4)


def test_led_chromaticities_as_printed():
    np.testing.assert_allclose(xy("LED-B1"), [0.45595, 0.40780], atol=1e-4)
    np.testing.assert_allclose(xy("LED-B3"), [0.37561, 0.37229], atol=1e-4)
    np.testing.assert_allclose(xy("LED-B5"), [0.31181, 0.32364], atol=1e-4)
    np.testing.assert_allclose(xy("LED-RGB1"), [0.45575, 0.42112], atol=1e-4)


def test_equal_energy_has_no_colour():
    np.testing.assert_allclose(xy("equal energy"), [1 / 3, 1 / 3], atol=1e-4)


def test_black_body_is_planck_s_law():
    # c2 = 1.438777e-2 m K (exact SI constants): ratio of two wavelengths, written out.
    got = black_body(2700.0)

    def power(nm: float) -> float:
        return nm**-5 / (np.exp(1.438777e7 / (nm * 2700.0)) - 1)

    ratio = got[WAVELENGTHS == 600][0] / got[WAVELENGTHS == 450][0]
    assert ratio == pytest.approx(power(600) / power(450), rel=2e-3)
    # CIE A is a black body of 2856 K by its definition.
    np.testing.assert_allclose(
        black_body(2855.5) / light_spectrum("tungsten"), np.ones(41), rtol=3e-3
    )


def test_cooler_flames_are_redder_and_lights_are_scaled():
    reds = [xy(name)[0] for name in ("stage tungsten", "tungsten", "ballroom tungsten", "candle")]
    assert reds == sorted(reds) and reds[0] < reds[-1] - 0.1
    for name in light_names():
        light = light_spectrum(name)
        assert light.shape == (41,) and light.min() >= 0.0
        assert xyz(light, light_spectrum("equal energy"))[1] == pytest.approx(100.0, abs=1e-9)
        assert not light.flags.writeable


def test_smooth_lights_are_samples_of_the_published_table():
    table = colour.SDS_ILLUMINANTS["D65"]
    published = np.array([table[nm] for nm in WAVELENGTHS])
    ratio = light_spectrum("daylight") / published
    assert np.ptp(ratio) / ratio.mean() < 0.01


def test_band_values_keep_power_of_a_narrow_line():
    nm = np.arange(380.0, 781.0)
    line = np.ones(nm.size)
    line[nm == 546] += 40.0  # a mercury line between two bands
    bands = on_bands(nm, line)
    observed = xyz(bands, bands)
    from weavecolor.colour.library import matching_functions

    fine = line @ matching_functions("2")[20:]
    np.testing.assert_allclose(observed, 100.0 * fine / fine[1], rtol=1e-9)


def test_names_are_plain_and_standard_names_work():
    assert light_spectrum("D65") is light_spectrum(" Daylight ")
    assert light_spectrum("a") is light_spectrum("tungsten")
    assert light_spectrum("FL11") is light_spectrum("triphosphor")
    with pytest.raises(InputError, match="daylight, .*candle") as complaint:
        light_spectrum("moonlight")
    assert "\n" not in str(complaint.value)


@pytest.mark.parametrize("kelvin", [0.0, -5.0, np.nan, 1e6])
def test_impossible_temperatures_are_refused(kelvin):
    with pytest.raises(InputError):
        black_body(kelvin)


def test_bad_powers_are_refused():
    nm = np.arange(380.0, 781.0, 5.0)
    for power in (-np.ones(nm.size), np.zeros(nm.size), np.full(nm.size, np.nan)):
        with pytest.raises(InputError):
            on_bands(nm, power)


@pytest.mark.parametrize("at", [400, 540, 620])
def test_a_line_on_a_band_s_own_place_goes_into_that_band(at):
    """Triangles over steps of 10 nm share power between the two bands about it and no third: a line
    of 41 on a level of 1 is 40 / 10 of one band more. Keeping the colour moves each but little."""
    nm = np.arange(380.0, 781.0)
    power = np.where(nm == at, 41.0, 1.0)
    bands = on_bands(nm, power)
    level = np.median(bands)
    own = int(np.flatnonzero(WAVELENGTHS == at)[0])
    assert bands[own] / level == pytest.approx(5.0, rel=0.05)
    for k in (own - 1, own + 1):
        assert bands[k] / level == pytest.approx(1.0, abs=0.1)
