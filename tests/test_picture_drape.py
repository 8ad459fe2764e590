"""Drapes: the colour is that of the layers that lie there, at the turn at which they lie."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weavecolor.colour.colorimetry import ciede2000, lab_from_xyz
from weavecolor.colour.screen import space
from weavecolor.colour.spectra import BANDS
from weavecolor.cutting.fullness import layer_shares
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.drape import (
    Behind,
    brightest_turn,
    drape_linear,
    draw_drape,
    folded_stack,
)
from weavecolor.picture.encode import AS_SEEN, Seeing, exposure_for, on_screen
from weavecolor.picture.folds import FORMS, Form, form_names, frame, named_form, shape
from weavecolor.picture.normals import family, lit, local, vector
from weavecolor.scene.backings import backing
from weavecolor.scene.places import custom_scene, scene
from weavecolor.scene.scene import Light

ORGANZA = load_swatch("shot-organza-red-black")
ONE = Stack((Layer(ORGANZA),), backing("white"))
WINDOW = scene("window at the side")
FLAT = Form("panel", length_cm=30.0)


def lab(linear: np.ndarray) -> np.ndarray:
    screen = space("sRGB")
    return lab_from_xyz(100.0 * screen.to_xyz @ np.asarray(linear, float), screen.white)


def flat_linear(stack: Stack, place: str) -> np.ndarray:
    lit_by = scene(place)
    exposure = exposure_for(lit_by, AS_SEEN, 0.95 * brightest_turn(lit_by))
    return on_screen(appearance(stack, lit_by).radiance, lit_by, AS_SEEN) * exposure


@pytest.mark.parametrize(
    "place", ["overcast", "window at the side", "footlights", "stage from above"]
)
def test_flat_panel_is_the_computed_colour(place: str) -> None:
    """Where cloth faces the viewer the drape is the appearance; directions are read between
    traced ones, which is allowed a difference of 1."""
    linear = drape_linear(ONE, scene(place), FLAT, 40, 40)
    assert ciede2000(lab(linear[20, 20]), lab(flat_linear(ONE, place))) < 1.0
    assert np.ptp(linear[10:30, 12:28], axis=(0, 1)).max() < 1e-4


def test_cylinder_turns_the_light() -> None:
    """A point of the cylinder turned by a is the flat cloth in a scene turned by -a."""
    angle = 30.0
    light = custom_scene("daylight", 60.0, 90.0, 0.0)
    sun = vector(60.0, 90.0)
    zenith, azimuth = local(sun, angle)
    view_zenith, view_azimuth = local(vector(0.0, 0.0), angle)
    assert zenith == pytest.approx(30.0)  # light from the right, cloth turned to the right
    turned = replace(
        light,
        lights=(Light(zenith, azimuth, light.lights[0].irradiance),),
        view_zenith_deg=view_zenith,
        view_azimuth_deg=view_azimuth,
    )
    want = appearance(ONE, turned).radiance
    factors, _, _ = family(ONE, light).at(np.array([angle]))
    got = factors[0, 0] * light.lights[0].irradiance * np.cos(np.radians(30.0))
    white = np.ones(BANDS)
    a, b = (on_screen(r, light, AS_SEEN) for r in (got, want))
    assert ciede2000(lab(a), lab(b)) < 1.5
    assert white.size == got.size


def test_light_sets_gradually_and_keeps_its_sum() -> None:
    sun = Light(55.0, 90.0, np.ones(BANDS))
    angles = np.linspace(-180.0, 180.0, 721)
    hard, behind = lit(sun, angles)
    soft, _ = lit(sun, angles, 9.0)
    assert soft.mean() == pytest.approx(hard.mean(), rel=0.01)
    assert lit(sun, np.zeros(1), 9.0)[0] == pytest.approx(np.cos(np.radians(55.0)), rel=1e-6)
    assert np.abs(np.diff(soft, 2)).max() < 0.6 * np.abs(np.diff(hard, 2)).max()
    assert not np.any((hard > 1e-9) & (behind > 1e-9))


@pytest.mark.parametrize("name", form_names())
def test_form_is_drawn(name: str) -> None:
    image = draw_drape(ONE, scene("overcast"), name, 60, 72)
    assert image.size == (60, 72)
    picture = np.asarray(image).astype(int)
    corner, middle = picture[0, 0], picture[36, 30]
    assert np.ptp(corner) == 0  # neutral ground
    assert middle[0] > middle[1] + 10  # the crimson cloth
    assert "computed" in image.info["notes"][0]


def whole(form: Form, width: int, height: int):
    return shape(frame(form, width, height), 0, height)


@pytest.mark.parametrize(("kind", "fullness"), [("knife", 3.0), ("box", 3.0), ("knife", 2.0),
                                                ("knife", 4.0), ("box", 1.5)])  # fmt: skip
def test_pleats_have_their_layers(kind: str, fullness: float) -> None:
    """A full pleat (3:1) has three layers everywhere, 2:1 one and three by halves (common
    practice, no source; mean layers = fullness is an identity)."""
    form = Form("pleats", kind, (fullness,) * 2, (40.0, 40.0), 20.0, pitch_cm=4.0)
    made = whole(form, 640, 320)
    inside = (made.cover > 0.99) & (made.across > 0.1) & (made.across < 0.9)
    layers = 1 + 2 * made.folded[inside].astype(int)
    assert layers.mean() == pytest.approx(layer_shares(kind, fullness).mean, abs=0.12)


def test_gathers_have_their_layers() -> None:
    form = Form("gathers", "gathered", (4.5, 4.5), (40.0, 40.0), 20.0, pitch_cm=5.0)
    made = whole(form, 640, 320)
    inside = (made.cover > 0.99) & (made.across > 0.1) & (made.across < 0.9)
    layers = 1 + 2 * made.folded[inside].astype(int)
    assert layers.mean() == pytest.approx(layer_shares("gathered", 4.5).mean, abs=0.12)


def test_a_pleated_skirt_opens_towards_the_hem() -> None:
    """Fullness falls from waist to hem, so does the share of cloth that lies threefold, and more
    of what is behind shows through: the single layer over white is lighter than three."""
    form = FORMS["pleated skirt"]
    made = whole(form, 300, 360)
    front = (made.cover > 0.99) & (np.abs(made.across - 0.5) < 0.25)
    share = [
        (made.folded[rows][front[rows]] == 0).mean()
        for rows in (slice(60, 90), slice(170, 200), slice(290, 320))
    ]
    assert share[0] < share[1] < share[2]
    linear = drape_linear(ONE, scene("overcast"), form, 150, 180)
    low, high = (linear[r, 60:90].mean() for r in (slice(140, 160), slice(30, 45)))
    assert low > 1.1 * high


def test_folded_cloth_turns_its_other_side_out() -> None:
    assert [x.face for x in folded_stack(ONE, 2).layers] == ["face", "back"] * 2 + ["face"]
    two = Stack((Layer(ORGANZA), Layer(load_swatch("muslin-white"))), None)
    names = [x.cloth.name for x in folded_stack(two, 1).layers]
    assert names == [ORGANZA.name, "Muslin, bleached"] + ["Muslin, bleached", ORGANZA.name] + [
        ORGANZA.name,
        "Muslin, bleached",
    ]
    doubled = folded_stack(ONE, 0, doubled=True)
    assert [x.face for x in doubled.layers] == ["face", "back"]
    assert len(folded_stack(doubled, 3).layers) <= 12


def test_doubled_skirt_hides_more() -> None:
    """Over white, the doubled skirt is darker: less of the white shows."""
    single, double = (
        drape_linear(ONE, scene("overcast"), FORMS[n], 80, 100)[70:85, 30:50].mean()
        for n in ("gathered skirt", "doubled skirt")
    )
    assert double < 0.93 * single


def test_slip_edge_channel_and_seam_show_as_computed() -> None:
    black = backing("black")
    behind = [
        Behind("slip ends", top=0.6, backing=black),
        Behind("seam allowance", left=0.2, right=0.3, layers=(Layer(ORGANZA),) * 2),
    ]
    place = scene("overcast")
    seen = drape_linear(ONE, place, FLAT, 100, 120, behind)
    plain = drape_linear(ONE, place, FLAT, 100, 120)
    over_black = drape_linear(replace(ONE, backing=black), place, FLAT, 100, 120)
    three = drape_linear(replace(ONE, layers=ONE.layers * 3), place, FLAT, 100, 120)
    width = whole(FLAT, 100, 120).across[60]
    seam = int(np.argmin(np.abs(width - 0.25)))
    bare = int(np.argmin(np.abs(width - 0.7)))
    assert seen[30, bare] == pytest.approx(plain[30, bare], abs=1e-5)
    assert seen[100, bare] == pytest.approx(over_black[100, bare], abs=1e-5)
    assert seen[30, seam] == pytest.approx(three[30, seam], abs=1e-5)
    assert seen[100, bare].mean() < 0.8 * seen[30, bare].mean()


def test_hollows_are_in_shadow() -> None:
    """In even light a fold's hollow sees less sky than its crest; a flat panel sees all of it."""
    made = whole(Form("g", "gathered", (2.0, 2.0), (40.0, 40.0), 20.0, pitch_cm=8.0), 320, 40)
    assert whole(FLAT, 40, 40).sky == pytest.approx(1.0)
    row = made.sky[20][made.cover[20] > 0.99]
    assert row.min() < 0.6
    assert row.max() > 0.97


def test_deep_trough_sees_the_sky_it_should() -> None:
    """At the bottom of a right-angled V half the even light is cut off: the share is the mean of
    the sines of the free angles (crossed strings, H. C. Hottel, from memory): sin 45 = 0.707
    seen straight up, for a level patch at the bottom."""
    from weavecolor.picture.folds import _horizons as horizons

    x = (np.arange(400) + 0.5) / 400
    z = np.abs(x - 0.5)  # crests at 0 and 1, bottom in the middle, walls at 45 degrees
    left, right = horizons(np.array([0.5]), np.array([0.0]), x, z)
    assert right[0] == pytest.approx(np.pi / 4, abs=0.01)
    assert left[0] == pytest.approx(np.pi / 4, abs=0.01)


def test_exposure_is_the_scenes_not_the_cloths() -> None:
    """The same ground and the same exposure whatever hangs there; a set exposure is kept."""
    dark = Stack((Layer(load_swatch("slip-black")),), backing("black"))
    a, b = (drape_linear(s, WINDOW, FORMS["cylinder"], 40, 50) for s in (ONE, dark))
    assert a[0, 0] == pytest.approx(b[0, 0])
    half, full = (
        drape_linear(ONE, WINDOW, FLAT, 40, 40, seeing=Seeing(exposure=e)) for e in (0.3, 0.6)
    )
    assert full[20, 20] == pytest.approx(2.0 * half[20, 20], rel=1e-5)


def test_strips_join_without_a_seam() -> None:
    form = FORMS["gathered skirt"]
    made = frame(form, 60, 200)
    parts = [shape(made, a, a + 37) for a in range(0, 200, 37)]
    for name in ("angle", "sky", "cover", "left"):
        joined = np.concatenate([getattr(p, name) for p in parts])
        assert joined == pytest.approx(getattr(shape(made, 0, 200), name), abs=1e-6)


def test_open_gauze_lit_from_behind() -> None:
    """Nothing behind and light straight from behind: the flat panel is as bright as computed."""
    stack = Stack((Layer(load_swatch("stage-gauze-black")),), None)
    linear = drape_linear(stack, scene("lightbox behind"), FLAT, 40, 40)
    want = flat_linear(stack, "lightbox behind")
    assert ciede2000(lab(linear[20, 20]), lab(want)) < 1.0


def test_progress_runs_to_the_end() -> None:
    told: list[float] = []
    draw_drape(ONE, scene("overcast"), "cylinder", 40, 80, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)


@pytest.mark.parametrize(
    "wrong",
    [
        {"form": "tent"}, {"fullness": 12.0}, {"form": "cylinder", "fullness": 2.0},
        {"width_px": 3}, {"stack": Stack((), None)},
    ],
)  # fmt: skip
def test_refusals(wrong: dict) -> None:
    given = {"stack": ONE, "scene": WINDOW, "form": "gathered skirt", "width_px": 40,
             "height_px": 40, **wrong}  # fmt: skip
    with pytest.raises(InputError):
        draw_drape(**given)
    with pytest.raises(InputError):
        Behind("nowhere", left=0.5, right=0.4)


def test_fullness_is_taken() -> None:
    assert named_form("gathered skirt", 4.0).fullness[0] == 4.0
    assert named_form("Gathered  Skirt") == FORMS["gathered skirt"]
