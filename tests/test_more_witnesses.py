"""Laws, closed forms and published values that errors of one sign, number or bound would break."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import colour
import numpy as np
import pytest
from closeups import Closeup
from rulers import Ruler, photographed

from weavecolor.colour import screen, spectra, tristimulus
from weavecolor.colour.colorimetry import lab_from_xyz
from weavecolor.colour.words import colour_words
from weavecolor.cutting.lay import lay
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, load_swatch
from weavecolor.measure import fit, parameters, regions, ruler
from weavecolor.measure.neutral import Illumination
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.sample import _moved
from weavecolor.measure.threads import count_threads
from weavecolor.optics import dye, mightbe_build, mightbe_sheen, moire, ovalrod, uncertainty
from weavecolor.optics.cell import aimed, filaments, flood, paths
from weavecolor.optics.layerwords import _lying
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.places import scene
from weavecolor.scene.scene import Light

DAY = np.ones(41)
ORGANZA = load_swatch("shot-organza-red-black")


def test_linear_light_half_a_code_beyond_white_is_the_last_that_needs_no_clipping():
    """IEC 61966-2-1: V = 1.055 L^(1/2.4) - 0.055 above, 12.92 L near black."""
    assert 255.0 * (1.055 * screen.HIGHEST ** (1 / 2.4) - 0.055) == pytest.approx(255.5)
    assert 255.0 * 12.92 * screen.LOWEST == pytest.approx(-0.5)


def test_of_wavelengths_the_one_that_does_not_rise_is_named():
    nm = [380.0, 380.5, 400.0, *range(420, 800, 20)]
    back = [380.0, 380.5, 400.0, 399.0, *range(420, 800, 20)]
    assert spectra.resample(nm, np.full(len(nm), 0.5)).values == pytest.approx(np.full(41, 0.5))
    with pytest.raises(InputError, match="399 nm follows 400 nm"):
        spectra.resample(back, np.full(len(back), 0.5))


def test_all_light_sent_back_is_no_more_than_all():
    nm = np.arange(380, 790, 10)
    assert spectra.resample(nm, np.ones(41), unit="fraction").values.max() == 1.0
    with pytest.raises(InputError):
        spectra.resample(nm, np.full(41, 1.0001), unit="fraction")


def test_bradford_takes_daylight_65_to_50_as_published():
    """B. Lindbloom, Chromatic Adaptation, the matrix of D65 to D50 by Bradford (from memory)."""
    d65, d50 = np.array([0.95047, 1.0, 1.08883]), np.array([0.96422, 1.0, 0.82521])
    published = [
        [1.0478112, 0.0228866, -0.0501270],
        [0.0295424, 0.9904844, -0.0170491],
        [-0.0092345, 0.0150436, 0.7521316],
    ]
    found = tristimulus.adaptation_matrix(d65, d50, tristimulus.BRADFORD)
    assert found == pytest.approx(np.array(published), abs=2e-5)


def test_light_that_is_dark_or_many_is_no_light_to_see_by():
    for white in (np.zeros(41), np.ones((2, 41))):
        with pytest.raises(InputError, match="light on the cloth is dark"):
            tristimulus.xyz(DAY, white)


@pytest.mark.parametrize("code", ["#e75480", "#e4717a", "#d58a94"])
def test_strong_pinks_that_are_not_light_are_pink(code):
    """"Dark pink" and "tango pink", so called by A. Maerz and M. R. Paul, A Dictionary of Color
    (1930), as screen colours from memory; "dusty pink" of the survey of names of 2010."""
    linear = screen.decoded([int(code[k : k + 2], 16) / 255.0 for k in (1, 3, 5)])
    XYZ = colour.sRGB_to_XYZ(screen.encoded(linear)) * 100.0
    words = colour_words(lab_from_xyz(XYZ, np.array([95.047, 100.0, 108.883])))
    assert words.split()[-1] == "pink"


@pytest.mark.parametrize("moved", [(300.0, 0.0), (0.0, 700.0), (-90.0, -40.0)])
def test_where_a_remnant_is_measured_from_does_not_matter(moved):
    edge = np.array([(0.0, 0.0), (60.0, 0.0), (60.0, 55.0), (0.0, 55.0)])
    wanted = [Piece.rectangle("panel", 25.0, 50.0, quantity=2)]
    here, there = (
        lay(wanted, ClothInHand(outline=tuple(map(tuple, at))), tries=2)
        for at in (edge, edge + moved)
    )
    assert here.fits and there.fits
    assert there.used_share == pytest.approx(here.used_share)
    too_much = [Piece.rectangle("panel", 29.0, 54.0, quantity=3, seam_cm=0.0)]
    for at in (edge, edge + moved):
        assert not lay(too_much, ClothInHand(outline=tuple(map(tuple, at))), tries=2).fits


def test_selvedges_may_not_take_all_of_the_width():
    with pytest.raises(InputError, match="selvedges take the whole width"):
        ClothInHand(10.0, 100.0, selvedge_cm=5.0)
    assert ClothInHand(10.0, 100.0, selvedge_cm=4.9).usable_width_cm == pytest.approx(0.2)


def test_light_that_grows_across_a_picture_is_even_about_its_middle():
    """exp(a y): what the first row has less than the middle, the last has more."""
    slopes = np.zeros((3, 3))
    slopes[2] = 0.3
    light = Illumination(slopes, 1, (8, 6), 0.8, 0.01, np.zeros(1), 0.0, np.zeros((3, 3, 3)))
    seen = light.field()
    assert np.log(seen) == pytest.approx(-np.log(seen[::-1]), abs=1e-6)
    assert np.ptp(seen, axis=1) == pytest.approx(np.zeros((8, 3)))
    across = replace(light, coefficients=slopes[[0, 2, 1]]).field()
    assert np.log(across) == pytest.approx(-np.log(across[:, ::-1]), abs=1e-6)


def test_a_lamp_behind_that_is_twice_as_strong_throws_twice_the_light():
    behind = Light(150.0, 0.0, 3.0 * DAY)
    assert _moved(behind, 2.0, 5.0).irradiance == pytest.approx(2.0 * behind.irradiance)
    before = Light(40.0, 0.0, DAY)
    assert _moved(before, 2.0, 5.0).on_cloth.sum() == pytest.approx(2.0 * before.on_cloth.sum())


@pytest.mark.parametrize("shape", [(9, 9, 4), (9, 9, 2), (9,)])
def test_a_picture_has_one_channel_or_three(shape):
    with pytest.raises(InputError, match="a picture is"):
        count_threads(np.ones(shape), 20.0)


@pytest.mark.parametrize("normal", [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.6, 0.0, 0.8),
                                    (1.0, 0.0, 0.0), (0.0, 0.31, 0.9507366)])  # fmt: skip
@pytest.mark.parametrize("cosine", [0.2, 0.9, 1.0])
def test_a_direction_about_a_normal_has_its_angle_and_length(normal, cosine):
    place, out = np.array([0.0, 0.0, 0.0, *normal, 0.0, 0.0]), np.zeros(3)
    found = []
    for around in np.arange(4) * np.pi / 2:
        aimed._about.py_func(place, cosine, around, out)
        assert np.linalg.norm(out) == pytest.approx(1.0, abs=1e-6)
        assert out @ np.array(normal) == pytest.approx(cosine, abs=1e-6)
        found.append(out.copy())
    assert np.mean(found, axis=0) == pytest.approx(cosine * np.array(normal), abs=1e-6)


def test_a_disc_is_seen_whole_within_another_half_at_its_edge_and_not_beyond():
    half, blur = 15.0, 0.01
    for apart, share in ((half - blur, 1.0), (half, 0.5), (half + blur, 0.0), (half - 3.0, 1.0)):
        assert filaments._seen(np.array([apart]), half, blur)[0] == pytest.approx(share, abs=1e-9)
    for blur in (0.01, 4.0):
        seen = filaments._seen(np.linspace(0.0, 40.0, 500), half, blur)
        assert np.all(np.diff(seen) <= 1e-12) and 0.0 <= seen.min() and seen.max() <= 1.0 + 1e-12


@pytest.mark.parametrize("half_deg", [0.0, 5.0, 15.0, 40.0])
def test_many_filaments_are_looked_at_through_openings_that_are_some(half_deg):
    eye, light = flood._among_many(half_deg)
    assert eye >= 8.0 and light > half_deg


def test_an_outline_that_is_turned_is_the_same_outline():
    """g r^2 - k r^3 cos 3(a - a0): by cos 3(a - a0) = cos 3a cos 3a0 + sin 3a sin 3a0."""
    rows = np.zeros((1, 64))
    rows[0, paths.REACH], rows[0, paths.SQUARE], k = 3.0, 1.3, 0.25
    for begun in (0.0, 0.2, 1.0, 2.5):
        cubic, other = k * np.cos(3 * begun), k * np.sin(3 * begun)
        for r, a in ((0.4, 0.1), (0.9, 2.0), (1.2, 4.4)):
            x, y = r * np.cos(a), r * np.sin(a)
            told = 1.3 * r * r - k * r**3 * np.cos(3 * (a - begun))
            found = paths._height.py_func(rows, 0, cubic, other, x, y)
            assert found == pytest.approx(told, abs=1e-12)
            up = np.array(paths._uphill.py_func(rows, 0, cubic, other, x, y))
            step = 1e-6
            slope = [
                (paths._height.py_func(rows, 0, cubic, other, x + dx, y + dy)
                 - paths._height.py_func(rows, 0, cubic, other, x - dx, y - dy)) / (4 * step)
                for dx, dy in ((step, 0.0), (0.0, step))
            ]  # fmt: skip
            assert up == pytest.approx(np.array(slope), abs=1e-6)


def test_a_line_meets_an_outline_where_its_height_is_one():
    rows = np.zeros((1, 64))
    g, k = filaments.rounded_triangle(1.5)[:2]
    rows[0, paths.REACH], rows[0, paths.SQUARE] = 2.0, g
    met = 0
    for begun in np.linspace(0.0, 2.0, 5):
        cubic, other = k * np.cos(3 * begun), k * np.sin(3 * begun)
        for turn in np.linspace(0.0, 6.0, 13):
            for aside in (-0.7, -0.3, 0.0, 0.4, 0.8):
                dx, dy = np.cos(turn), np.sin(turn)
                x, y = -1.7 * dx - aside * dy, -1.7 * dy + aside * dx
                for leaving in (False, True):
                    t = paths._crossing.py_func(rows, 0, cubic, other, x, y, dx, dy, leaving)
                    if t > 1e100:
                        continue
                    met += 1
                    there = paths._height.py_func(rows, 0, cubic, other, x + t * dx, y + t * dy)
                    assert there == pytest.approx(1.0, abs=1e-6)
    assert met > 300


def test_black_thread_tells_that_it_is_black_and_no_more():
    yarn = ORGANZA.warp
    bare = dye.surface_share(yarn.fibre.index, dye.bed_packing(yarn))
    black, dark = (dye.from_wound(np.full(41, bare + more), yarn) for more in (0.003, 0.1))
    assert np.all(black.spread >= dye.UNTOLD) and "too dark to tell" in black.notes[0]
    # the least that is told apart: so much of what the surface lets in
    edge = dye.from_wound(np.full(41, bare + 1.01 * dye.DARKEST_TOLD * (1.0 - bare)), yarn)
    assert not any("too dark" in note for note in (*dark.notes, *edge.notes))


def test_how_spectra_of_one_colour_differ_is_told_from_blue_to_red():
    nm, off = dye._METAMERS
    assert np.all(np.diff(nm) > 0.0) and len(nm) == len(off)


@pytest.mark.parametrize(("said", "left"), [
    ("silk satin grain", ["silk", "satin"]), ("grain", ["grain"]), ("linen grain", ["linen"]),
])  # fmt: skip
def test_grain_after_a_name_alone_is_no_part_of_it(said, left):
    assert _lying(said.split(), 0) == (left, 0.0, "face")


def test_packing_that_is_open_either_way_is_drawn_either_way():
    told = {"fibre": "polyester", "count": "75D/36F", "kind": "filament", "colour": "#777777"}
    cloth = cloth_from_dict({"name": "Own", "weave": "plain", "ends": "30 /cm", "picks": "28 /cm",
                             "warp": told, "weft": told})  # fmt: skip
    own = np.log(cloth.warp.packing)
    for system in mightbe_build.built(cloth):
        assert system.packing.min() < own - 0.01 and system.packing.max() > own + 0.01


def test_what_the_warp_shows_more_the_weft_shows_less():
    alike = replace(ORGANZA, weft=ORGANZA.warp)
    assert mightbe_build.tint_of(alike) == pytest.approx(np.zeros(41))
    swapped = replace(ORGANZA, warp=ORGANZA.weft, weft=ORGANZA.warp)
    tint = mightbe_build.tint_of(ORGANZA)
    assert mightbe_build.tint_of(swapped) == pytest.approx(-tint)
    assert np.abs(tint).max() < 1.0 and tint[30] > 0.8  # crimson warp, black weft, at 680 nm


@pytest.mark.parametrize("turn", [0.0, 30.0, 45.0, 90.0, 130.0])
def test_threads_are_counted_square_to_them(turn):
    layer = Layer(ORGANZA, turn)
    (warp, warp_open), (weft, weft_open) = moire._threads(layer, scene("overcast"))
    along = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    assert warp @ along == pytest.approx(0.0, abs=1e-9)
    assert weft @ np.array([-along[1], along[0]]) == pytest.approx(0.0, abs=1e-9)
    assert abs(warp @ weft) < 1e-9
    assert np.linalg.norm(warp) == pytest.approx(4.0) and np.linalg.norm(weft) == pytest.approx(3.8)
    assert 0.0 < warp_open < 1.0 and 0.0 < weft_open < 1.0


def test_nylon_that_may_be_trilobal_is_said_to_be_told_as_round():
    yarn = {"fibre": "nylon", "count": "70D/34F", "kind": "filament", "colour": "#777777",
            "lustre": "bright"}  # fmt: skip
    sides = {"name": "Own", "weave": "plain", "ends": "40 /cm", "picks": "36 /cm"}
    loose = cloth_from_dict({**sides, "warp": yarn, "weft": yarn})
    assert "bright nylon is as often trilobal as round" in uncertainty._section_doubt(loose)
    settled = {**yarn, "section": "trilobal"}
    assert not uncertainty._section_doubt(cloth_from_dict({**sides, "warp": settled,
                                                           "weft": settled}))  # fmt: skip


def test_dull_ground_is_no_paper_beside_bright_paper():
    """Of half the light or less it is in shade or grey, however much of it there is."""
    colour_ = np.array([[1.0, 1.0, 1.0], [0.4, 0.4, 0.4]])
    parts = regions._Parts(np.zeros((1, 1), np.intp), colour_, np.array([1.0, 50.0]),
                           np.array([0.1, 0.1]), np.zeros((2, 2)), np.zeros((2, 2)))  # fmt: skip
    assert regions._paper(parts, colour_[:, 0], np.zeros((2, 3)), np.array([True, True])) == [0]


def test_of_parts_on_bare_ground_the_larger_and_freer_is_the_swatch():
    label = np.full((80, 120), 1)
    label[10:60, 5:45] = 2  # free all round
    label[10:60, 70:110] = 3  # as large, beside something on one side
    label[5:65, 110:118] = 4
    parts = regions._Parts(label, *(np.zeros((4, 1)),) * 5)
    ground = label == 1
    free, less = (regions._beside(label == k, ground) for k in (2, 3))
    assert free == 1.0 and 0.7 < less < 0.85
    for inside in ([1, 2], [2, 1]):
        assert np.array_equal(regions._swatch(parts, inside, ground), label == 2)


def test_a_rod_throws_light_as_it_is_told_at_each_of_its_widths():
    ratios = np.exp(np.linspace(np.log(0.95), np.log(1.8), mightbe_sheen._OVALS))
    depth = np.full(41, 0.3)
    rod = mightbe_sheen._Oval(1.54, depth, ratios)
    told = ovalrod.thrown(ratios, 1.54, 0.3, 0.4, 0.05, depth)
    assert rod.thrown(0.3, 0.4, 0.05) == pytest.approx(told, rel=1e-9)


def test_a_ruler_looked_at_in_a_reduced_picture_lies_where_it_does(monkeypatch):
    c = Closeup(ends_per_cm=22.0, picks_per_cm=19.0, pixels_per_mm=20.0, size=(240, 560))
    near = read_photograph(photographed(c, Ruler(width=0.2))[0]).linear
    whole = ruler.find_ruler(near)
    monkeypatch.setattr(ruler, "_LOOK", 280)
    half = ruler.find_ruler(near)
    assert half.scale.pixels_per_mm == pytest.approx(whole.scale.pixels_per_mm, rel=0.01)
    assert np.array(half.before) == pytest.approx(np.array(whole.before), abs=10.0)


@pytest.mark.parametrize("open_share", [0.25, 0.64, 0.81])
def test_a_search_begins_where_yarns_leave_as_much_open_as_was_told(monkeypatch, open_share):
    """Warp and weft that each cover c leave (1 - c)^2 between them."""
    begun = []

    class Begun(Exception):
        pass

    def places(middle, *_):
        begun.append(middle)
        raise Begun

    monkeypatch.setattr(fit, "places", places)
    told = SimpleNamespace(known=[SimpleNamespace(what="open share", value=open_share)])
    with pytest.raises(Begun):
        fit._search(told, SimpleNamespace(prior_mean=lambda: np.zeros(parameters.SIZE)), None)
    covers = 1.0 / (1.0 + np.exp(-begun[0][:2]))
    assert np.prod(1.0 - covers) == pytest.approx(open_share)


def test_sheen_of_rods_is_less_sure_the_lower_the_light_comes(monkeypatch):
    """What is not followed errs by .07 in logarithms, as DEVELOPERS.md tells, and by up to .4 where
    light comes along the cloth."""
    monkeypatch.setattr(mightbe_sheen._Shine, "sends",
                        lambda *_: np.ones((1 + mightbe_build.DRAWS, 41)))  # fmt: skip
    monkeypatch.setattr(mightbe_sheen, "moved_by_build", lambda _: np.zeros((2, 200, 41)))
    off = []
    for zenith in (0.0, 30.0, 60.0, 89.0):
        lit = scene("overcast")
        lit = replace(lit, lights=(Light(zenith, 0.0, DAY, half_deg=mightbe_sheen._WIDTH),))
        stack = Stack((Layer(load_swatch("polyester-organza-blue")),))
        shone, _ = mightbe_sheen.sheen_errors(stack, lit, np.full(41, 0.2))
        off.append(float(shone[0].std(axis=0).mean()))
    assert off == sorted(off)
    assert off[0] == pytest.approx(0.07, rel=0.15) and off[3] == pytest.approx(0.4, rel=0.15)
