"""Backings; skin against the published measurements."""

from pathlib import Path

import numpy as np
import pytest

from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.errors import InputError
from weavecolor.scene.backings import SKINS, _table, backing, backing_names

DATA = Path(__file__).parent / "data/nist_skin_average_360_830nm.csv"
PACKAGED = Path(__file__).parents[1] / "weavecolor/data/skin.csv"


def packaged():
    lines = [x for x in PACKAGED.read_text().splitlines() if not x.startswith("#")]
    names = lines[0].split(",")
    values = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])
    return {name: values[:, i] for i, name in enumerate(names)}


@pytest.mark.parametrize(
    ("nm", "band"),
    # Minimum, 5 %, median, 95 %, maximum of 100 people: Cooksey, Allen and Tsai, J. Res. NIST
    # 122:26 (2017), data doi:10.18434/M38597, as worked out from the data by hand.
    [
        (451, (0.073, 0.119, 0.269, 0.325, 0.359)),
        (550, (0.114, 0.196, 0.327, 0.391, 0.416)),
        (649, (0.262, 0.388, 0.575, 0.630, 0.657)),
    ],
)
def test_skin_band_as_published(nm, band):
    table = packaged()
    row = int(np.flatnonzero(table["wavelength_nm"] == nm)[0])
    found = [table[key][row] for key in ("minimum", "p05", "median", "p95", "maximum")]
    assert found == pytest.approx(band, abs=6e-4)


def test_packaged_skin_follows_from_the_measurements():
    raw = np.loadtxt(DATA, delimiter=",", skiprows=1)
    table = packaged()
    raw = raw[np.isin(raw[:, 0], table["wavelength_nm"])]
    people = raw[:, 1:]
    visible = (raw[:, 0] >= 380) & (raw[:, 0] <= 780)
    order = np.argsort(people[visible].mean(axis=0))
    assert table["median"] == pytest.approx(np.median(people, axis=1), abs=6e-5)
    darkest = people[:, order[0]]  # one who sends back least at nearly every wavelength
    assert table["minimum"][::10] == pytest.approx(darkest[::10], abs=0.01)
    assert backing("skin deep").reflectance == pytest.approx(
        np.interp(WAVELENGTHS, raw[:, 0], darkest), abs=0.01
    )
    for name, who in (("dark", order[:10]), ("medium", order[45:55]), ("light", order[90:])):
        assert table[name] == pytest.approx(people[:, who].mean(axis=1), abs=6e-5)


def test_skin_backings_lie_in_the_measured_band_in_order():
    low, high = (_table("skin")[name] for name in ("minimum", "maximum"))
    tones = {tone: backing(f"skin {tone}").reflectance for tone in SKINS}
    for values in tones.values():
        assert np.all(values >= low) and np.all(values <= high)
    assert np.all(tones["light"] > tones["medium"])
    assert np.all(tones["medium"] > tones["dark"])
    assert np.all(tones["dark"] > tones["deep"])
    # Blood: skin dips near 540 and 575 nm with a rise between (oxyhaemoglobin; from memory).
    at = {nm: tones["light"][np.flatnonzero(nm == WAVELENGTHS)[0]] for nm in (540, 560, 580, 620)}
    assert at[560] > at[540] and at[620] > at[580] + 0.1


def test_plain_backings():
    white, black, calico = (backing(n).reflectance for n in ("white", "black", "calico"))
    visible = (WAVELENGTHS >= 440) & (WAVELENGTHS <= 700)
    assert white[visible].min() > 0.8
    assert 0.03 <= black[visible].min() and black[visible].max() <= 0.04
    assert np.all(np.diff(calico) > 0)  # unbleached cotton is yellowish: it only rises
    assert np.all(white > calico)
    assert all(np.all(backing(n).reflectance > 0) for n in backing_names())


def test_screen_colour_comes_back():
    from weavecolor.colour.colorimetry import reading
    from weavecolor.colour.lights import light_spectrum

    daylight = light_spectrum("daylight")
    found = backing("#D8C9A0")
    assert reading(found.reflectance * daylight, daylight).hex == "#d8c9a0"
    assert backing("#d8c9a0").name == "#d8c9a0"


@pytest.mark.parametrize("spec", ["", "mauvy", "skin pink", "#12345", "#gggggg", None, 3, "../x"])
def test_unknown_backing(spec):
    with pytest.raises(InputError, match='known backing; use white, black|write it as "#b01020"'):
        backing(spec)


def test_names_are_read_loosely():
    assert backing(" Skin  Light ").name == "skin light"
    assert backing("skin").name == "skin medium"
