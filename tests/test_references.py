"""Reference libraries run live: woven screens of pywincalc, turbid slabs of iadpython."""

import json

import accuracy
import numpy as np
import pytest
import traced

from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.cell.openness import openness


@pytest.fixture(scope="module")
def wincalc():
    return pytest.importorskip("pywincalc")


def _screen(wincalc, diameter, spacing):
    grey = [wincalc.WavelengthData(w, 0.0, 0.7, 0.7) for w in (0.3, 0.38, 0.5, 0.78, 2.5)]
    thread = wincalc.ProductDataOpticalNBand(
        wincalc.MaterialType.MONOLITHIC, 0.001, grey, None, 0.0, 0.0, 0.9, 0.9
    )
    screen = wincalc.create_woven_shade(
        wincalc.WovenGeometry(diameter, spacing, 2 * diameter),
        thread,
        wincalc.ProductDataThermal(0.2, 0.001),
    )
    sky = wincalc.BSDFHemisphere.create(wincalc.BSDFBasisType.FULL)
    return wincalc.GlazingSystem(solid_layers=[screen], bsdf_hemisphere=sky)


@pytest.mark.slow
@pytest.mark.parametrize("diameter, spacing", [(0.05, 0.25), (0.2, 0.4)])
def test_straight_yarns_against_woven_screens(wincalc, diameter, spacing):
    # azimuth 0 only: at others that library's profile angle is wrong
    system = _screen(wincalc, diameter, spacing)
    yarns = accuracy.straight_yarns(diameter, spacing)
    for zenith in (0.0, 20.0, 40.0, 60.0):
        found = system.optical_method_results("PHOTOPIC", zenith, 0.0).system_results.front
        mine = openness(yarns, unit(np.radians(zenith), 0.0))
        assert mine == pytest.approx(found.transmittance.direct_direct, abs=2e-3), zenith


@pytest.mark.slow
def test_stored_screens_are_what_the_library_says(wincalc):
    path = traced.DATA / "pywincalc_woven_reference.json"
    screen = json.loads(path.read_text("utf-8"))[0]
    system = _screen(wincalc, screen["thread_diameter_mm"], screen["thread_spacing_mm"])
    for r in screen["rows"]:
        found = system.optical_method_results("PHOTOPIC", r["theta"], 0.0).system_results.front
        assert found.transmittance.direct_direct == pytest.approx(r["T_dirdir"], abs=1e-4)


@pytest.fixture(scope="module")
def iad():
    return pytest.importorskip("iadpython")


@pytest.mark.parametrize(
    "albedo, g, thickness, points, values, within",
    [
        (0.9, 0.0, 1.0, 32, (0.2674, 0.5916, 0.3527, 0.4747), 2e-4),
        (1.0, 0.0, 1.0, 32, (0.3413, 0.6587, 0.4466, 0.5534), 2e-4),
        (0.5, 0.9, 1.0, 4, (0.00585, 0.59232, 0.01641, 0.42287), 1e-5),  # Prahl's test file
    ],
)
def test_the_reference_itself(iad, albedo, g, thickness, points, values, within):
    # the library still says what was written down from it
    sample = iad.Sample(a=albedo, b=thickness, g=g, n=1.0, quad_pts=points)
    assert sample.rt() == pytest.approx(values, abs=within)


def test_accuracy_table_goes_between_its_marks():
    figure = accuracy.Figure("one", "another", np.array([0.01, -0.03]), 0.02, 0.05)
    assert not figure.holds and figure.worst == pytest.approx(0.03)
    made = accuracy.table([figure])
    assert "**not kept**" in made and "3.00 %" in made
    text = f"before\n{accuracy.OPENING}\nold\n{accuracy.CLOSING}\nafter\n"
    once = accuracy.put_in(text, made)
    assert once.startswith("before\n") and once.endswith("after\n") and "old" not in once
    assert accuracy.put_in(once, made) == once
    with pytest.raises(ValueError):
        accuracy.put_in("no marks", made)
