"""Colorimetry against published values and against the reference library's own calculation."""

from __future__ import annotations

import io
import math
import subprocess
import sys
import time
import warnings

import colour
import numpy as np
import pytest
from colour.corresponding import BRENEMAN_EXPERIMENTS
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from weavecolor.colour import colorimetry as c
from weavecolor.colour.library import OBSERVERS
from weavecolor.colour.lights import light_names, light_spectrum
from weavecolor.colour.screen import daylight_white, decoded, encoded, space
from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.colour.tristimulus import adaptation_matrix
from weavecolor.errors import InputError

D65 = light_spectrum("daylight")


def measured_samples() -> np.ndarray:
    """99 measured surfaces of the CIE 2017 colour fidelity index (CIE 224:2017), (99, 81), 5 nm."""
    from colour.quality.cfi2017 import load_TCS_CIE2017

    return np.asarray(load_TCS_CIE2017(colour.SpectralShape(380, 780, 5)).values).T


# --- differences -----------------------------------------------------------------------------

# Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21, Table 1.
CIEDE2000_PAIRS = [
    ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((50, 2.5, 0), (61, -5, 29), 22.8977),
    ((50, 2.5, 0), (56, -27, -3), 31.9030),
    ((50, 2.5, 0), (58, 24, 15), 19.4535),
    ((50, 2.49, -0.001), (50, -2.49, 0.0011), 7.2195),
    ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792),
    ((50, -1.3802, -84.2814), (50, 0, -82.7485), 1.0000),
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    ((50, -1, 2), (50, 0, 0), 2.3669),
    ((90.8027, -2.0831, 1.441), (91.1528, -1.6435, 0.0447), 1.4441),
    ((2.0776, 0.0795, -1.135), (0.9033, -0.0636, -0.5514), 0.9082),
    ((22.7233, 20.0904, -46.694), (23.0331, 14.973, -42.5619), 2.0373),
]


@pytest.mark.parametrize(("first", "second", "value"), CIEDE2000_PAIRS)
def test_ciede2000_pairs(first, second, value):
    assert c.ciede2000(first, second) == pytest.approx(value, abs=5e-5)
    assert c.ciede2000(second, first) == pytest.approx(value, abs=5e-5)


def test_differences_broadcast_over_arrays():
    first = np.array([pair[0] for pair in CIEDE2000_PAIRS], dtype=float)
    second = np.array([pair[1] for pair in CIEDE2000_PAIRS], dtype=float)
    values = [pair[2] for pair in CIEDE2000_PAIRS]
    np.testing.assert_allclose(c.ciede2000(first, second), values, atol=5e-5)
    assert c.ciede2000(first.reshape(13, 1, 3), second[:4]).shape == (13, 4)
    np.testing.assert_allclose(
        c.cielab_difference((50, 3, 0), [(50, 0, 4), (50, 3, 0)]), [5.0, 0.0], atol=1e-12
    )


def cmc_by_the_formula(standard, sample, lightness):
    """ISO 105-J03's formula (from memory), written out apart from the library under test."""
    (L1, a1, b1), (L2, a2, b2) = standard, sample
    C1, C2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h = math.degrees(math.atan2(b1, a1)) % 360.0
    dE = math.dist(standard, sample)
    dL, dC = L1 - L2, C1 - C2
    dH2 = dE**2 - dL**2 - dC**2
    SL = 0.511 if L1 < 16.0 else 0.040975 * L1 / (1.0 + 0.01765 * L1)
    SC = 0.0638 * C1 / (1.0 + 0.0131 * C1) + 0.638
    F = math.sqrt(C1**4 / (C1**4 + 1900.0))
    T = (
        0.56 + abs(0.2 * math.cos(math.radians(h + 168.0)))
        if 164.0 <= h <= 345.0
        else 0.36 + abs(0.4 * math.cos(math.radians(h + 35.0)))
    )
    SH = SC * (F * T + 1.0 - F)
    return math.sqrt((dL / (lightness * SL)) ** 2 + (dC / SC) ** 2 + dH2 / SH**2)


def test_cmc_with_the_standard_first():
    pairs = [
        ((50, 2.5, 0), (50, 0, -2.5)),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387)),
        ((12.0, 3.0, -8.0), (14.0, 2.0, -7.0)),  # darker than 16, hue between 164 and 345 degrees
        ((35.0, 40.0, 20.0), (36.0, 38.0, 24.0)),
    ]
    for standard, sample in pairs:
        for lightness in (1.0, 2.0):
            wanted = cmc_by_the_formula(standard, sample, lightness)
            assert c.cmc(standard, sample, l=lightness) == pytest.approx(wanted, rel=1e-9)
        assert c.cmc(standard, sample) == c.cmc(standard, sample, l=2.0, c=1.0)
    far = ((50, 2.5, 0), (73, 25, -18))
    assert c.cmc(*far) != pytest.approx(float(c.cmc(*far[::-1])), rel=0.05)  # not symmetric


def test_metamerism_index():
    lights = D65, light_spectrum("tungsten")
    dye = c.spectrum_from_lab((45, 40, 15))
    assert c.metamerism_index(dye, 0.5 * dye, *lights) == pytest.approx(0.0, abs=1e-9)
    # A pair that matches under D65 only: what is added is invisible under it (a metameric black).
    table = c.xyz(np.eye(41) * D65, D65).T
    unseen = np.linalg.svd(table)[2][3:]  # spectra to which the observer under D65 is blind
    black = unseen.T @ unseen @ np.cos(WAVELENGTHS / 25.0)
    other = dye + 0.1 * dye.min() / np.abs(black).max() * black
    # Scaled up the same change grows: the index sees it although daylight does not.
    strong = dye + 0.9 * dye.min() / np.abs(black).max() * black
    np.testing.assert_allclose(c.readings_lab(other * D65, D65), c.readings_lab(dye * D65, D65))
    small, large = (float(c.metamerism_index(dye, s, *lights)) for s in (other, strong))
    assert 0.0 < small < large
    assert large == pytest.approx(9 * small, rel=0.2)


# --- tristimulus values ------------------------------------------------------------------------


@pytest.mark.parametrize("observer", ["2", "10"])
def test_astm_e308_as_the_reference_library_does_it(observer):
    """Radiances at 10 nm against the library's ASTM E308 practice, which applies its own table."""
    rng = np.random.default_rng(3)
    radiance = rng.uniform(0.0, 1.0, (4, 41))
    cmfs = colour.MSDS_CMFS[OBSERVERS[observer]]
    with warnings.catch_warnings():  # it tells of its own alignment
        warnings.simplefilter("ignore")
        expected = [
            colour.sd_to_XYZ(
                colour.SpectralDistribution(row, colour.SpectralShape(380, 780, 10)),
                cmfs,
                method="ASTM E308",
            )
            for row in radiance
        ]
    np.testing.assert_allclose(c.xyz(radiance, np.ones(41), observer), expected, rtol=1e-10)


def test_copied_tables_and_constants_are_the_reference_library_s():
    """What is copied so that nobody waits for the library is what the library has, to the bit."""
    from colour.models import oklab

    from weavecolor.colour import library, lights, screen, tristimulus
    from weavecolor.colour.difference import cmc

    fine = colour.SpectralShape(360, 780, 1)
    for angle, name in OBSERVERS.items():
        cmfs = colour.MSDS_CMFS[name].copy().trim(fine)
        assert np.array_equal(library.matching_functions(angle), cmfs.values)
        table = colour.colorimetry.tristimulus_weighting_factors_ASTME2022(
            cmfs, colour.sd_ones(fine), colour.SpectralShape(360, 780, 10), k=1.0
        )
        table = colour.colorimetry.adjust_tristimulus_weighting_factors_ASTME308(
            table, colour.SpectralShape(360, 780, 10), colour.SpectralShape(380, 780, 10)
        )
        np.testing.assert_allclose(tristimulus.weights(angle), table, rtol=0, atol=1e-14)
        assert colour.CCS_ILLUMINANTS[name]["D65"].tolist() == list(screen.D65[angle])
    held = library.table("illuminants")
    for lamp in lights.LAMPS:
        if lamp.illuminant:
            theirs = colour.SDS_ILLUMINANTS[lamp.illuminant].copy().trim(
                colour.SpectralShape(380, 780, 5)
            )
            assert np.array_equal(held["wavelength_nm"], theirs.wavelengths)
            assert np.array_equal(held[lamp.illuminant], theirs.values)
    for name, primaries in screen.SPACES.items():
        theirs = colour.RGB_COLOURSPACES[name]
        assert np.array_equal(theirs.primaries, primaries)
        np.testing.assert_allclose(
            space(name).to_xyz,
            colour.normalised_primary_matrix(theirs.primaries, theirs.whitepoint), rtol=1e-14,
        )  # fmt: skip
    assert np.array_equal(oklab.MATRIX_1_XYZ_TO_LMS, screen.XYZ_TO_LMS)
    assert np.array_equal(oklab.MATRIX_2_LMS_TO_LAB, screen.LMS_TO_OKLAB)
    one, two = [95.0, 100.0, 108.0], [110.0, 100.0, 35.0]
    for cones, name in ((tristimulus.CAT16, "CAT16"), (tristimulus.BRADFORD, "Bradford")):
        np.testing.assert_allclose(
            adaptation_matrix(one, two, cones),
            colour.adaptation.matrix_chromatic_adaptation_VonKries(one, two, transform=name),
            rtol=1e-12,
        )  # fmt: skip
    rng = np.random.default_rng(4)
    first = rng.uniform([0, -90, -90], [100, 90, 90], (500, 3))
    second = first + rng.normal(0.0, 20.0, first.shape)
    for ours, method in ((c.ciede2000, "CIE 2000"), (cmc, "CMC")):
        np.testing.assert_allclose(
            ours(first, second), colour.delta_E(first, second, method=method), atol=1e-10
        )
    white = np.array([1 / 3, 1 / 3])
    XYZ = colour.Lab_to_XYZ(first, white)
    np.testing.assert_allclose(c.xyz_from_lab(first, np.ones(3)), XYZ, rtol=1e-13)
    np.testing.assert_allclose(
        c.lab_from_xyz(XYZ, np.ones(3)), colour.XYZ_to_Lab(XYZ, white), atol=1e-11
    )
    nm = np.arange(380.0, 781.0)
    theirs = colour.colorimetry.planck_law(nm * 1e-9, 2700.0)
    np.testing.assert_allclose(
        lights.black_body(2700.0), lights.on_bands(nm, theirs / theirs.max()), rtol=1e-12
    )


@pytest.mark.parametrize("name", ["daylight", "D50", "tungsten", "warm LED", "cool LED"])
def test_measured_surfaces_against_the_5_nm_calculation(name):
    """10 nm band values and weights against plain CIE 15 summation at 5 nm, 99 surfaces."""
    assert _worst_against_5_nm(name, "2") < 0.1
    assert _worst_against_5_nm(name, "10") < 0.1


@pytest.mark.parametrize("name", ["fluorescent", "triphosphor"])
def test_narrow_lines_cost_less_than_a_visible_difference(name):
    """Mercury lines are narrower than a band: less exact, and the docstring says how much."""
    assert 0.1 < _worst_against_5_nm(name, "2") < 0.8


def _worst_against_5_nm(name: str, observer: str) -> float:
    from weavecolor.colour.lights import lamp

    samples = measured_samples()
    shape = colour.SpectralShape(380, 780, 5)
    fine = colour.SDS_ILLUMINANTS[lamp(name).illuminant].copy().align(shape).values
    cmfs = colour.MSDS_CMFS[OBSERVERS[observer]].copy().align(shape).values
    scale = 100.0 / (fine @ cmfs[:, 1])
    white = scale * fine @ cmfs
    expected = c.lab_from_xyz(scale * (samples * fine) @ cmfs, white)
    light = light_spectrum(name)
    return float(
        np.max(
            c.ciede2000(expected, c.readings_lab(samples[:, ::2] * light, light, None, observer))
        )
    )


def test_perfect_diffuser_is_white_in_every_light():
    for name in light_names():
        light = 0.37 * light_spectrum(name)
        seen = c.reading(light, light)
        assert seen.XYZ[1] == pytest.approx(100.0, abs=1e-10)
        np.testing.assert_allclose(seen.Lab, [100.0, 0.0, 0.0], atol=1e-9)
        np.testing.assert_allclose(seen.srgb, 1.0, atol=1e-6)
        assert seen.in_srgb and seen.words == "white" and seen.hex == "#ffffff"


def test_a_grey_card_has_the_lightness_of_the_formula():
    # L* = 116 (Y/Yn)^(1/3) - 16 (CIE 15:2018): 18.42 % is L* 50.
    seen = c.reading(0.18418651851244416 * D65, D65)
    np.testing.assert_allclose(seen.Lab, [50.0, 0.0, 0.0], atol=1e-6)
    np.testing.assert_allclose(seen.LCh[:2], [50.0, 0.0], atol=1e-6)


def test_cie_lab_of_a_published_chart_patch():
    # "dark skin" and "light skin" patches of the chart whose spectra ISO 17321-1 gives; their
    # Lab under D50 as the chart's maker publishes them (37.99 13.56 14.06; 65.71 18.13 17.81,
    # from memory). Two sets of measurements: they agree within a few units.
    chart = colour.SDS_COLOURCHECKERS["ISO 17321-1"]
    d50 = light_spectrum("D50")
    for patch, Lab in (("dark skin", (37.99, 13.56, 14.06)), ("light skin", (65.71, 18.13, 17.81))):
        reflectance = chart[patch].copy().align(colour.SpectralShape(380, 780, 10)).values
        assert c.ciede2000(c.reading(reflectance * d50, d50).Lab, Lab) < 3.0


def test_adaptation_keeps_or_drops_the_colour_of_the_light():
    candle = light_spectrum("candle")
    adapted = c.reading(candle, candle)
    kept = c.reading(candle, candle, adapt=False)
    assert adapted.LCh[1] < 1e-6
    assert kept.Lab[2] > 40
    # White cloth would be more orange than a screen can show at that brightness: flagged.
    assert not kept.in_srgb
    grey = c.reading(0.2 * candle, candle, adapt=False)
    assert grey.srgb[2] < 0.6 * grey.srgb[0] and "orange" in grey.words
    # Adapted to daylight in candle light is the same judgement.
    to_daylight = c.reading(candle, candle, white=D65)
    np.testing.assert_allclose(to_daylight.LCh[::2], kept.LCh[::2], atol=0.05)
    assert c.ciede2000(to_daylight.Lab, kept.Lab) < 0.01


def test_cat16_worked_example():
    # Li et al. 2017 matrix (CIE 248:2022); complete adaptation maps white to white, and for a
    # colour equals the von Kries scaling written out here.
    M = np.array(
        [
            [0.401288, 0.650173, -0.051461],
            [-0.250268, 1.204414, 0.045854],
            [-0.002079, 0.048952, 0.953127],
        ]
    )
    a, d65 = np.array([109.85, 100.0, 35.58]), np.array([95.04, 100.0, 108.88])
    got = adaptation_matrix(a, d65)
    np.testing.assert_allclose(got @ a, d65, rtol=1e-9)
    sample = np.array([30.0, 22.0, 6.0])
    expected = np.linalg.inv(M) @ (M @ sample * (M @ d65) / (M @ a))
    np.testing.assert_allclose(got @ sample, expected, rtol=1e-9)


def test_batches_equal_single_readings_and_means_are_linear():
    rng = np.random.default_rng(5)
    radiance = rng.uniform(0, 1, (2, 3, 41)) * D65
    Lab = c.readings_lab(radiance, D65)
    np.testing.assert_allclose(Lab[1, 2], c.reading(radiance[1, 2], D65).Lab, atol=1e-10)
    linear = c.linear_rgb(radiance, D65)
    np.testing.assert_allclose(
        linear.mean(axis=(0, 1)), c.linear_rgb(radiance.mean(axis=(0, 1)), D65), atol=1e-12
    )


@pytest.mark.parametrize(
    ("radiance", "light"),
    [
        (np.ones(31), D65),
        (np.full(41, np.nan), D65),
        (np.ones(41), np.zeros(41)),
        (np.ones(41), np.ones(40)),
        (np.ones((2, 41)), D65),
    ],
)
def test_bad_spectra_are_refused_in_one_line(radiance, light):
    with pytest.raises(InputError) as complaint:
        c.reading(radiance, light)
    assert "\n" not in str(complaint.value)


def test_unknown_observer_and_screen_are_refused():
    with pytest.raises(InputError, match="use 2 or 10"):
        c.xyz(np.ones(41), D65, "5")
    for call in (lambda: c.icc_profile("other"), lambda: c.encode(np.zeros(3), "other")):
        with pytest.raises(InputError, match="Display P3"):
            call()


# --- screens -----------------------------------------------------------------------------------


def test_srgb_primaries_and_curve_are_the_standard_s():
    # IEC 61966-2-1: matrix printed to four decimals; curve break at .0031308, 12.92, 1.055.
    published = [
        [0.4124, 0.3576, 0.1805],
        [0.2126, 0.7152, 0.0722],
        [0.0193, 0.1192, 0.9505],
    ]
    np.testing.assert_allclose(space("sRGB").to_xyz, published, atol=1e-4)
    np.testing.assert_allclose(encoded([0.0, 0.0031308, 1.0]), [0, 0.04045, 1.0], atol=1e-5)
    # Middle code 128/255 is linear 0.2158605 (formula).
    assert decoded(128 / 255) == pytest.approx(0.2158605, abs=1e-7)


def test_display_p3_primaries_are_the_standard_s():
    # SMPTE RP 431-2 primaries with the D65 white.
    P3 = space("Display P3")
    np.testing.assert_allclose(P3.primaries, [[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]])
    xy = P3.white[:2] / P3.white.sum()
    np.testing.assert_allclose(xy, [0.3127, 0.3290], atol=1e-12)


@given(st.lists(st.floats(-1.0, 2.0), min_size=3, max_size=3))
def test_curve_and_its_inverse(values):
    np.testing.assert_allclose(decoded(encoded(values)), values, atol=1e-7)


def test_p3_colours_are_flagged_on_srgb_and_not_clipped_in_silence():
    p3_green = space("Display P3").to_xyz @ [0.0, 1.0, 0.0] * 100.0
    srgb, fits = c.srgb_from_xyz(p3_green)
    assert not fits and srgb.min() >= 0 and srgb.max() <= 1
    shown, fits = c.srgb_from_xyz(p3_green, "Display P3")
    assert fits
    np.testing.assert_allclose(shown, [0.0, 1.0, 0.0], atol=1e-6)
    _, mask = c.encode(c.linear_from_xyz(np.array([p3_green, [20.0, 20.0, 20.0]])))
    assert mask.tolist() == [True, False]


def test_reading_flags_colours_beyond_the_screen():
    saffron = c.spectrum_from_lab((75, 25, 95))
    seen = c.reading(saffron * D65, D65)
    assert not seen.in_srgb
    inside = c.reading(c.spectrum_from_lab((50, 20, 20)) * D65, D65)
    assert inside.in_srgb and inside.in_p3
    brighter = c.reading(1.5 * D65, D65)
    assert not brighter.in_srgb and not brighter.in_p3 and brighter.hex == "#ffffff"


def test_fitting_keeps_lightness_and_hue():
    """Physical colours beyond sRGB, made as P3 mixtures: Oklab by the library's own function."""
    rng = np.random.default_rng(8)
    P3, srgb = space("Display P3"), space("sRGB")
    wide = rng.uniform(0, 1, (400, 3)) ** 3
    linear = c.linear_from_xyz(100 * wide @ P3.to_xyz.T)
    out = ~c.in_gamut(linear)
    assert out.sum() > 100
    fitted = c.fit_to_gamut(linear)
    assert fitted.min() >= 0 and fitted.max() <= 1
    np.testing.assert_array_equal(fitted[~out], np.clip(linear[~out], 0, 1))
    before, after = (colour.XYZ_to_Oklab(rgb[out] @ srgb.to_xyz.T) for rgb in (linear, fitted))
    np.testing.assert_allclose(after[:, 0], before[:, 0], atol=0.02)
    across = (before[:, 1] * after[:, 2] - before[:, 2] * after[:, 1]) / np.hypot(
        before[:, 1], before[:, 2]
    )
    assert np.abs(across).max() < 0.02 + 1e-3  # what the final clip may move
    assert (np.hypot(*after[:, 1:].T) <= np.hypot(*before[:, 1:].T) + 0.02).all()


@pytest.mark.parametrize(
    ("lab", "most"),
    [((108.5, 4.9, 84.4), 13.5), ((100.0, 0.1, 71.9), 7.5), ((105.0, 30.0, 5.0), 13.0)],
)
def test_what_shines_brighter_than_the_screen_keeps_its_colour(lab, most):
    """Satin gold in side light is no white patch: the library's own difference, of all that a
    screen shows (steps of a tenth, and its edges) nothing is nearer by more than a fifth."""
    from itertools import product

    XYZ = 100.0 * colour.Lab_to_XYZ(np.array(lab), np.array([0.3127, 0.3290]))
    values, fits = c.srgb_from_xyz(XYZ)
    steps = np.linspace(0.0, 1.0, 11)
    every = np.array([*product(steps, steps, steps), values])
    away = colour.delta_E(
        colour.XYZ_to_Lab(decoded(every) @ space("sRGB").to_xyz.T, np.array([0.3127, 0.3290])),
        np.array(lab), method="CIE 2000",
    )  # fmt: skip
    assert not fits and away[-1] < min(most, 1.2 * away[:-1].min())


def test_fitting_does_not_jump_at_the_edge():
    """A colour just outside is shown next to one just inside, at every corner of the screen."""
    corners = np.array(np.meshgrid([0, 1], [0, 1], [0, 1])).reshape(3, -1).T.astype(float)
    middle = np.full(3, 0.2)
    beyond = corners + 0.01 * (corners - middle)
    shown = encoded(c.fit_to_gamut(beyond))
    assert np.abs(shown - corners).max() < 0.04


def test_encode_rounds_to_the_nearest_code():
    codes = np.stack([np.arange(256)] * 3, axis=-1)
    picture, mask = c.encode(decoded(codes / 255))
    np.testing.assert_array_equal(picture, codes)
    assert picture.dtype == np.uint8 and not mask.any()
    rng = np.random.default_rng(2)
    linear = rng.uniform(0, 1, (64, 64, 3)) ** 2
    error = np.abs(c.encode(linear)[0] - 255 * encoded(linear))
    assert error.max() < 0.55  # half a code, and the step of the table
    with pytest.raises(InputError):
        c.encode(np.full((2, 3), np.nan))


def test_encoding_a_megapixel_is_quick():
    linear = np.random.default_rng(0).uniform(0, 1, (1000, 1000, 3)).astype(np.float32)
    c.encode(linear[:2])
    best = min(_timed(lambda: c.encode(linear)) for _ in range(3))
    assert best < 0.5  # measured 0.04-0.06 s; wide margin for a busy machine


def _timed(call) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


@pytest.mark.parametrize("name", ["sRGB", "Display P3"])
def test_icc_profile_opens_and_describes_itself(name):
    profile = ImageCms.ImageCmsProfile(io.BytesIO(c.icc_profile(name)))
    assert ImageCms.getProfileDescription(profile).strip() == name
    assert profile.profile.xcolor_space.strip() == "RGB"
    assert profile.profile.version == pytest.approx(4.3)
    # The three colorants of a matrix profile add up to the D50 of ICC.1.
    total = np.sum(
        [getattr(profile.profile, f"{k}_colorant")[0] for k in ("red", "green", "blue")], axis=0
    )
    np.testing.assert_allclose(total, [0.9642, 1.0, 0.8249], atol=2e-4)
    assert len(c.icc_profile(name)) == int.from_bytes(c.icc_profile(name)[:4], "big")


def _through(profile_in, profile_out, pixels: np.ndarray) -> np.ndarray:
    picture = Image.fromarray(pixels[None].astype(np.uint8), "RGB")
    converted = ImageCms.profileToProfile(
        picture, profile_in, profile_out, renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    return np.asarray(converted)[0].astype(int)


def _opened(name: str):
    return ImageCms.ImageCmsProfile(io.BytesIO(c.icc_profile(name)))


def test_icc_profiles_agree_with_another_maker_s_and_with_the_matrices():
    rng = np.random.default_rng(4)
    pixels = rng.integers(0, 256, (500, 3))
    # LittleCMS builds its own sRGB: passing from ours to it changes nothing.
    through = _through(_opened("sRGB"), ImageCms.createProfile("sRGB"), pixels)
    assert np.abs(through - pixels).max() <= 1
    # sRGB to Display P3 by the colour engine and by our matrices.
    through = _through(_opened("sRGB"), _opened("Display P3"), pixels)
    XYZ = decoded(pixels / 255) @ space("sRGB").to_xyz.T
    by_matrix = 255 * encoded(c.linear_from_xyz(100 * XYZ, "Display P3"))
    assert np.abs(through - by_matrix).max() < 1.5
    # And back, where colours near an edge lose a few codes to rounding on the way: by matrix too.
    back = _through(_opened("Display P3"), _opened("sRGB"), through)
    XYZ = decoded(through / 255) @ space("Display P3").to_xyz.T
    by_matrix = 255 * np.clip(encoded(c.linear_from_xyz(100 * XYZ)), 0, 1)
    assert np.abs(back - by_matrix).max() < 1.5


def test_icc_profile_survives_a_png(tmp_path):
    Image.new("RGB", (2, 2), "#804020").save(
        tmp_path / "patch.png", icc_profile=c.icc_profile("Display P3")
    )
    with Image.open(tmp_path / "patch.png") as back:
        assert back.info["icc_profile"] == c.icc_profile("Display P3")


# --- a spectrum for a colour -------------------------------------------------------------------


def test_every_corner_and_grid_colour_of_the_screen_comes_back():
    steps = np.linspace(0, 1, 5)
    for rgb in np.array(np.meshgrid(steps, steps, steps)).reshape(3, -1).T:
        reflectance = c.spectrum_from_srgb(rgb)
        assert reflectance.shape == (41,)
        assert reflectance.min() >= 0.0 and reflectance.max() <= 1.0
        seen = c.reading(reflectance * D65, D65)
        wanted = c.lab_from_xyz(100 * space("sRGB").to_xyz @ decoded(rgb), space("sRGB").white)
        assert c.ciede2000(wanted, seen.Lab) < 0.1
        assert seen.in_srgb
        np.testing.assert_allclose(seen.srgb, rgb, atol=0.5 / 255)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(2, 96),
    st.floats(0, 0.3),
    st.floats(0, 360),
    st.sampled_from(["D65", "A", "D50", "FL11"]),
    st.sampled_from(["2", "10"]),
)
def test_muted_lab_colours_come_back(L, strength, hue, light_name, observer):
    chroma = strength * min(L, 100 - L)
    Lab = np.array([L, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))])
    reflectance = c.spectrum_from_lab(Lab, light_name, observer)
    light = light_spectrum(light_name)
    assert 0.0 <= reflectance.min() and reflectance.max() <= 1.0
    seen = c.reading(reflectance * light, light, observer=observer)
    assert c.ciede2000(Lab, seen.Lab) < 0.1


def test_measured_surfaces_are_met_better_than_by_the_smoothest_curve():
    """Recovered from daylight colour alone, measured surfaces are then seen under tungsten."""
    from weavecolor.colour.recovery import _corrected, weights

    tungsten = light_spectrum("tungsten")
    table = weights("2") * D65[:, None]
    table = table * (100.0 / table[:, 1].sum())
    ours, smoothest = [], []
    for surface in measured_samples()[::3, ::2]:
        target = surface @ table
        seen = c.readings_lab(surface * tungsten, tungsten)
        for found, into in (
            (c.spectrum_from_xyz(target), ours),
            (_corrected(np.full(41, target[1] / 100), target, table), smoothest),
        ):
            into.append(float(c.ciede2000(seen, c.readings_lab(found * tungsten, tungsten))))
    # Metamerism sets the floor: any colour has many spectra, so this is an uncertainty to tell.
    assert np.mean(ours) < 0.9 * np.mean(smoothest)
    assert np.mean(ours) < 2.2


@pytest.mark.parametrize("Lab", [(50, 120, 60), (98, 0, 60), (100, 5, 0), (5, 60, 40), (0, 10, 0)])
def test_impossible_colours_are_refused(Lab):
    with pytest.raises(InputError, match="no cloth can have the colour"):
        c.spectrum_from_lab(Lab)


def test_refusals_agree_with_the_optimal_colours():
    """MacAdam 1935: the solid's surface is made of spectra of 0 and 1 with at most two jumps.

    Those that 41 bands allow are built here; a little nearer to mid grey than one of them is
    accepted, a little further away is refused.
    """
    start, length = np.meshgrid(np.arange(41), np.arange(1, 41))
    bands = np.arange(41)
    blocks = ((bands[:, None, None] - start) % 41 < length).reshape(41, -1).T.astype(float)
    optimal = c.xyz(blocks * D65, D65)
    rng = np.random.default_rng(6)
    grey = c.xyz(0.5 * D65, D65)
    for surface in optimal[rng.choice(len(optimal), 40, replace=False)]:
        inside = c.spectrum_from_xyz(grey + 0.97 * (surface - grey))
        reached = c.xyz(inside * D65, D65)
        np.testing.assert_allclose(reached, grey + 0.97 * (surface - grey), atol=0.02)
        with pytest.raises(InputError):
            c.spectrum_from_xyz(grey + 1.1 * (surface - grey))


@pytest.mark.parametrize(
    "call",
    [
        lambda: c.spectrum_from_srgb((1.2, 0, 0)),
        lambda: c.spectrum_from_srgb((0.2, 0.1)),
        lambda: c.spectrum_from_srgb((0.2, np.nan, 0)),
        lambda: c.spectrum_from_lab((120, 0, 0)),
        lambda: c.spectrum_from_lab((50, 0)),
        lambda: c.spectrum_from_lab((50, 0, 0), "moonlight"),
        lambda: c.spectrum_from_lab((50, 0, 0), "D65", "4"),
    ],
)
def test_bad_colours_are_refused(call):
    with pytest.raises(InputError):
        call()


def test_recovery_is_quick_cached_and_cannot_be_spoilt():
    c.spectrum_from_srgb((0.3, 0.2, 0.1))
    elapsed = min(_timed(lambda v=v: c.spectrum_from_srgb((v, 0.4, 0.3))) for v in (0.31, 0.33))
    assert elapsed < 0.1
    again = c.spectrum_from_srgb((0.3, 0.2, 0.1))
    assert again is c.spectrum_from_srgb((0.3, 0.2, 0.1))
    with pytest.raises(ValueError):
        again[0] = 2.0


def test_importing_does_not_load_the_colour_library():
    code = (
        "import sys, weavecolor.colour.colorimetry, weavecolor.scene.places; "
        "print([m for m in ('colour', 'pandas') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_the_first_guess_is_the_library_s_for_the_colour_in_enough_light():
    """Bright surfaces are guessed as the reference library does it, dark ones as the same colour
    in more light, scaled back: XYZ are proportional to reflectance."""
    from colour.recovery import otsu2018

    from weavecolor.colour.recovery import _PARTED, _surface_guess, surface_like

    assert [list(row) for row in _PARTED] == otsu2018.SELECTOR_ARRAY_OTSU2018.tolist()
    shape = colour.SpectralShape(380, 730, 10)
    cmfs = colour.MSDS_CMFS[OBSERVERS["2"]].copy().align(shape)
    daylight = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    seen, rng = set(), np.random.default_rng(18)
    for _ in range(200):  # of all clusters
        XYZ = colour.xyY_to_XYZ([*rng.uniform((0.17, 0.1), (0.6, 0.55)), rng.uniform(0.05, 0.9)])
        with warnings.catch_warnings():  # it tells of its own resampling
            warnings.simplefilter("ignore")
            theirs = colour.recovery.XYZ_to_sd_Otsu2018(XYZ, cmfs, daylight, clip=True)
        np.testing.assert_allclose(surface_like(XYZ), theirs.values, rtol=0, atol=1e-11)
        seen.add(otsu2018.DATASET_REFERENCE_OTSU2018.select(XYZ[:2] / XYZ.sum()))
    assert len(seen) == 8
    white = space("sRGB").white
    for bright in ([45.0, 50.0, 8.0], [30.0, 20.0, 12.0], [18.0, 20.0, 60.0]):
        adapted = adaptation_matrix(white, daylight_white("2")) @ bright / 100.0
        ours = _surface_guess(np.array(bright), white)
        np.testing.assert_allclose(ours[2:36], surface_like(adapted)[2:], atol=1e-12)
        assert np.ptp(ours[:3]) == 0.0 and np.ptp(ours[35:]) == 0.0  # held level beyond
        lit = 15.0 / bright[1] * np.array(bright)
        for dark in (0.5, 0.05):
            np.testing.assert_allclose(
                _surface_guess(dark * lit, white), dark * _surface_guess(lit, white),
                rtol=1e-6,
            )  # fmt: skip
    assert _surface_guess(np.array([-1.0, 5.0, 5.0]), white) is None


def test_any_colour_inside_the_solid_has_a_reflectance_and_none_outside():
    from weavecolor.colour.recovery import _edge_of_solid
    from weavecolor.colour.tristimulus import weights

    table = weights("2") * D65[:, None]
    table = table * (100.0 / table[:, 1].sum())
    block = np.zeros(41)
    block[12:27] = 1.0  # an optimal colour: on the solid itself
    grey, nothing = 0.5 * table.sum(axis=0), np.full(41, 0.123)
    for share in (0.0, 0.9, 0.999, 0.999999):
        target = grey + share * (block @ table - grey)
        found = _edge_of_solid(target, table, nothing)
        assert 0.0 <= found.min() and found.max() <= 1.0
        np.testing.assert_allclose(found @ table, target, atol=1e-4)
    for share in (1.001, 1.1):
        assert _edge_of_solid(grey + share * (block @ table - grey), table, nothing) is nothing


def test_a_settled_eye_s_colours_are_those_that_people_matched():
    """E. J. Breneman, J. Opt. Soc. Am. A 4 (1987) 1115, as colour-science holds it: observers with
    one eye settled to tungsten and one to daylight chose what looked alike. Lab relative to each
    light is further off, by half as much again where the light was bright."""
    means = {}
    for number in (1, 2, 4):
        rows = {row.name: row for row in BRENEMAN_EXPERIMENTS[number]}
        whites = [_of_uv(uv, 100.0) for uv in (rows["Illuminant"].uv_t, rows["Illuminant"].uv_m)]
        off, raw = [], []
        for name, row in rows.items():
            if name == "Illuminant":
                continue
            Labs = [
                c.lab_from_xyz(_of_uv(uv, 20.0), white)
                for uv, white in zip((row.uv_t, row.uv_m), whites, strict=True)
            ]
            off.append(float(c.ciede2000(*map(c.settled, Labs, whites))))
            raw.append(float(c.ciede2000(*Labs)))
        means[number] = np.mean(off), np.mean(raw)
        assert len(off) == 12 and max(off) < max(raw)
    assert all(off < 0.8 * raw for off, raw in means.values())
    assert means[1][0] < 5.0 and means[2][0] < 4.0


def _of_uv(uv, Y):
    x, y = colour.Luv_uv_to_xy(uv)
    return np.array([x, y, 1.0 - x - y]) * (Y / y)


def test_settled_by_colour_science():
    white = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["A"])
    day = colour.xy_to_XYZ(np.array([0.3127, 0.3290]))
    XYZ = np.random.default_rng(8).uniform(0.02, 0.9, (40, 3))
    theirs = colour.XYZ_to_Lab(
        colour.adaptation.chromatic_adaptation_VonKries(XYZ, white, day, transform="CAT16"),
        np.array([0.3127, 0.3290]),
    )
    found = c.settled(c.lab_from_xyz(100.0 * XYZ, 100.0 * white), 100.0 * white)
    np.testing.assert_allclose(found, theirs, atol=1e-3)
    np.testing.assert_allclose(
        c.as_seen_in(found, 100.0 * white), c.lab_from_xyz(XYZ, white), atol=1e-9
    )
    lamp = light_spectrum("candle")
    seen = c.reading(np.linspace(0.1, 0.6, 41) * lamp, lamp)
    np.testing.assert_allclose(c.settled(seen.Lab, seen.white), seen.settled, atol=1e-9)
    assert seen.words == c.colour_words(seen.settled)
