"""Bringing spectra onto the grid, checked on functions whose values are known."""

import numpy as np
import pytest

from weavecolor.colour.spectra import WAVELENGTHS, resample
from weavecolor.errors import InputError


def smooth(nm):
    return 0.5 + 0.3 * np.sin((np.asarray(nm) - 380.0) / 90.0)


def test_values_on_the_grid_are_kept():
    found = resample(WAVELENGTHS, smooth(WAVELENGTHS))
    assert np.array_equal(found.values, smooth(WAVELENGTHS))
    assert found.notes == ()
    with pytest.raises(ValueError):
        found.values[0] = 1.0


@pytest.mark.parametrize("nm", [np.arange(380, 781, 20), np.arange(375, 790, 15)])
def test_even_coarse_readings_are_interpolated(nm):
    # A cubic spline misses by 5/384 h^4 max|f(4)| inside (Hall and Meyer, J. Approx. Theory 16,
    # 1976; from memory); near its ends, where no slope is known, by several times more.
    miss = np.abs(resample(nm, smooth(nm)).values - smooth(WAVELENGTHS))
    bound = 5 / 384 * np.diff(nm)[0] ** 4 * 0.3 / 90**4
    assert miss[8:-8].max() < 1.1 * bound
    assert miss.max() < 1e-3


def test_uneven_readings_are_interpolated_without_overshoot():
    nm = np.concatenate([np.arange(380, 600, 12), np.arange(600, 785, 18), [785.0]])
    assert resample(nm, smooth(nm)).values == pytest.approx(smooth(WAVELENGTHS), abs=5e-3)
    edge = np.where(nm < 590, 0.04, 0.8)
    found = resample(nm, edge).values
    assert found.min() >= 0.04 and found.max() <= 0.8


@pytest.mark.parametrize("step", [1, 3, 5])
def test_fine_readings_lose_no_more_than_their_averaging(step):
    # Mean of a sine of amplitude 0.3, period 2 pi 90 nm over 10 nm: low by 0.3 (5/90)^2 / 6; of
    # its chords over `step` nm: low by (2/3) 0.3 (step/90)^2 / 8 more.
    bound = 0.3 * ((5 / 90) ** 2 / 6 + (2 / 3) * (step / 90) ** 2 / 8)
    nm = np.arange(370, 800, step)
    assert np.abs(resample(nm, smooth(nm)).values - smooth(WAVELENGTHS)).max() < 1.1 * bound


@pytest.mark.parametrize("step", [1, 2, 5, 10, 20])
def test_straight_lines_are_exact_at_any_step(step):
    nm = np.arange(380, 781, step)
    line = 0.1 + (nm - 380) / 1000
    assert resample(nm, line).values == pytest.approx(0.1 + (WAVELENGTHS - 380) / 1000, abs=1e-12)


def test_fine_noise_is_averaged():
    nm = np.arange(380, 780.5, 0.5)
    noisy = 0.5 + 0.1 * (-1.0) ** np.arange(nm.size)
    assert resample(nm, noisy).values[1:-1] == pytest.approx(np.full(39, 0.5), abs=0.01)


def test_falling_wavelengths_are_the_same_spectrum():
    nm = np.concatenate([np.arange(390.0, 600.0, 12.0), np.arange(605.0, 746.0, 20.0)])
    values = 0.3 + 0.2 * np.sin(nm / 60.0)
    rising, falling = resample(nm, values), resample(nm[::-1], values[::-1])
    assert falling.values.tolist() == rising.values.tolist() and falling.notes == rising.notes


def test_percent_is_known_by_its_size():
    nm = np.arange(380, 781, 10)
    assert resample(nm, 100 * smooth(nm)).values == pytest.approx(smooth(nm))
    assert resample(nm, 1.5 + 0 * nm, unit="percent").values == pytest.approx(0.015 + 0 * nm)
    with pytest.raises(InputError, match="fraction or percent"):
        resample(nm, 1.5 + 0 * nm)


def test_short_instrument_range_is_held_and_said():
    nm = np.arange(400, 701, 10)
    found = resample(nm, smooth(nm))
    assert np.all(found.values[:2] == found.values[2])
    assert np.all(found.values[33:] == found.values[32])
    assert found.notes == (
        "not measured below 400 nm and above 700 nm: the end value is held there",
    )


@pytest.mark.parametrize(
    ("nm", "values", "complaint"),
    [
        (np.arange(420, 781, 10), None, "stops short: it runs from 420 to 780 nm"),
        (np.arange(380, 681, 10), None, "stops short: it runs from 380 to 680 nm"),
        (np.arange(0.38, 0.781, 0.01), None, "0.38 to 0.78 look like micrometres"),
        ([380, 400, 390] + list(range(400, 781, 10)), None, "390 nm follows 400 nm"),
        ([400, 400] + list(range(410, 781, 10)), None, "400 nm follows 400 nm"),
        ([380, 420] + list(range(430, 781, 10)), None, "gap from 380 to 420 nm"),
        (np.arange(380, 781, 10), [0.5] * 40, "41 wavelengths but 40 reflectances"),
        (np.arange(380, 781, 10), [0.5] * 20 + [float("nan")] + [0.5] * 20, "reading 21 is not a"),
        (np.arange(380, 781, 10), [0.5] * 40 + [-0.1], "within 0-1, got -0.1"),
        (np.arange(380, 781, 10), [50.0] * 40 + [101.0], "within 0-100 percent, got 101"),
        (np.arange(380, 781, 10), ["x"] * 41, "two lists of numbers"),
        (np.linspace(380, 780, 10_001), None, "at most 10000"),
        ([], [], "400 to 700"),
        ([[400, 500]], [[0.1, 0.2]], "plain lists"),
    ],
)
def test_bad_spectra(nm, values, complaint):
    values = [0.5] * len(nm) if values is None else values
    with pytest.raises(InputError, match=complaint) as caught:
        resample(nm, values, file="red.csv", field="column 'red'")
    assert str(caught.value).startswith("red.csv: column 'red': ")


def test_a_stated_fraction_above_one_is_refused():
    with pytest.raises(InputError, match="within 0-1, got 1.2"):
        resample(WAVELENGTHS, np.full(41, 1.2), unit="fraction")
    with pytest.raises(InputError, match="unit of reflectance"):
        resample(WAVELENGTHS, np.full(41, 0.2), unit="ratio")
