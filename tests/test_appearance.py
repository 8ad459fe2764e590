"""What the viewer gets: contrast ratio, transmittance, backings, layers, scenes."""

import dataclasses
from dataclasses import replace

import numpy as np
import pytest
from bidirectional import brf, pile_optics
from test_layer_optics import cloth

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.tristimulus import xyz
from weavecolor.decide.evaluate import exact, viewpoints
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch, swatch_names
from weavecolor.optics.appearance import (
    CONTRAST_WHITE,
    CONTRAST_WORDS,
    appearance,
    appearances,
    contrast_ratio,
    seen_optics,
    transmittance,
)
from weavecolor.optics.multiangle import turn
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.tables import DISC, tables
from weavecolor.scene.backings import Backing, backing
from weavecolor.scene.places import illumination, scene, scene_names, with_light_from
from weavecolor.scene.scene import Light, Scene

pytestmark = pytest.mark.usefixtures("few_rays")

D65 = light_spectrum("D65")
NONE = np.zeros(41)
OVERCAST = Scene("even light", (), D65, D65)


def side_light(zenith=55.0, azimuth=0.0, view=(0.0, 0.0)):
    return Scene("side", (Light(zenith, azimuth, D65),), NONE, D65, *view)


def lightness(stack, where=OVERCAST):
    return appearance(stack, where).reading.Lab[0]


@pytest.fixture(scope="module")
def organza():
    return load_swatch("shot-organza-red-black")


def test_contrast_ratio_is_luminance_over_black_to_over_white(organza):
    # ISO 2471, TAPPI T 425: R over black / R over white of 0.89, diffuse light, seen square on
    layers = (Layer(organza),)
    grounds = [Backing("black", NONE), Backing("white", np.full(41, CONTRAST_WHITE))]
    assert CONTRAST_WHITE == 0.89
    over = [appearance(Stack(layers, g), OVERCAST).reading.XYZ[1] for g in grounds]
    assert contrast_ratio(Stack(layers)) == pytest.approx(over[0] / over[1], rel=1e-6)
    # lightnesses over the black cloth of the tables give half as much again: the words say why
    cloth = [appearance(Stack(layers, backing(g)), OVERCAST).reading.XYZ[1]
             for g in ("black", "white")]  # fmt: skip
    assert cloth[0] / cloth[1] > 1.3 * over[0] / over[1]
    assert "black that sends nothing back against over white of 89 %" in CONTRAST_WORDS


def test_contrast_ratio_grows_with_layers_and_ends_at_one(organza):
    ratios = [contrast_ratio(Stack((Layer(organza),) * n)) for n in (1, 2, 4)]
    assert 0 < ratios[0] < ratios[1] < ratios[2] < 1
    dense = cloth(ends=70.0, picks=60.0, dull=100.0, warp=0.5, weft=0.5)
    assert contrast_ratio(Stack((Layer(dense),) * 12)) > 0.99


def test_contrast_ratio_of_next_to_nothing():
    thin = cloth(ends=0.2, picks=0.2, tex=0.05)
    assert contrast_ratio(Stack((Layer(thin),))) < 0.01


def test_transmittance_parts(organza):
    stack = Stack((Layer(organza),))
    t = transmittance(stack)
    # along the normal round yarns leave (1 - d1/p1)(1 - d2/p2) open
    open_area = (1 - organza.warp.width_mm * organza.ends_per_cm / 10) * (
        1 - organza.weft.width_mm * organza.picks_per_cm / 10
    )
    assert t.straight == pytest.approx(open_area, abs=3e-3)
    assert t.scattered.min() >= 0
    assert t.straight + t.scattered.max() <= 1.0
    assert np.all(t.diffuse < t.straight + t.scattered)  # cloth is denser seen aslant
    aslant = transmittance(stack, 60.0, 30.0)
    assert aslant.straight < t.straight


def test_transmittance_falls_with_angle_as_measured_cloth_does():
    # data derived from real shade cloth, openness 0.049 along the normal: direct part 0.049, 0.047,
    # 0.045, 0.041, 0.036, 0.036, 0.030, 0.018 from 0 to 70 degrees (LBNL, examples of a window
    # library; construction not given, so only the trend): it falls, slowly at first
    dense = cloth("plain", ends=56.0, picks=56.0, tex=7.0, dull=40.0)
    open_ = [
        np.mean([transmittance(Stack((Layer(dense),)), z, a).straight for a in (0, 30, 60, 90)])
        for z in (0, 20, 40, 60)
    ]
    assert np.all(np.diff(open_) < 0)
    assert 0.1 < open_[0] < 0.3
    assert open_[1] / open_[0] > 0.7


@pytest.mark.parametrize("where", [OVERCAST, side_light()])
def test_a_white_backing_is_lighter_than_a_black_one(organza, where):
    order = ["black", "skin dark", "skin light", "white"]
    found = appearances(
        Stack((Layer(organza),)), [backing(b) for b in order], where
    )
    assert np.all(np.diff([a.reading.Lab[0] for a in found]) > 0)
    for name, one in zip(order, found, strict=True):
        same = appearance(Stack((Layer(organza),), backing(name)), where)
        assert same.radiance == pytest.approx(one.radiance, rel=1e-9)


def test_doubled_is_deeper(organza):
    # over white a second layer darkens and hides; over black it lightens
    white, black = backing("white"), backing("black")
    for lay in ("touching", "loose", "apart"):
        over_white = [lightness(Stack((Layer(organza),) * n, white, lay)) for n in (0, 1, 2, 3)]
        assert np.all(np.diff(over_white) < 0), lay
    over_black = [lightness(Stack((Layer(organza),) * n, black)) for n in (1, 2, 3)]
    assert np.all(np.diff(over_black) > 0)


def test_straight_and_cross_grain_differ_under_a_side_light(organza):
    # red warp, black weft: seen from the light's side the two grains show more of one or the other
    white = backing("white")
    where = side_light(60.0, 0.0, (45.0, 180.0))
    found = {g: appearance(Stack((Layer(organza, g),), white), where).reading.Lab for g in (0, 90)}
    assert np.linalg.norm(found[0] - found[90]) > 3.0
    # even light from all round along the normal tells no grain
    even = [lightness(Stack((Layer(organza, g),), white)) for g in (0, 45, 90)]
    assert np.ptp(even) < 0.2


def test_bias_lies_between(organza):
    where = side_light(60.0, 0.0, (0.0, 0.0))
    values = [lightness(Stack((Layer(organza, g),)), where) for g in (0, 180, 45, 225, -45, 135)]
    assert values[0] == pytest.approx(values[1], abs=0.15)
    assert values[2:] == pytest.approx([values[2]] * 4, abs=0.15)


def test_nothing_over_a_backing_is_the_backing():
    ground = np.linspace(0.1, 0.9, 41)
    for where in (OVERCAST, side_light(40.0)):
        got = appearance(Stack((), Backing("some", ground)), where)
        assert got.radiance_factor == pytest.approx(ground, rel=1e-9)


def test_light_and_sky_add_up(organza):
    stack = Stack((Layer(organza, 20.0),), backing("calico"))
    sun = side_light(35.0, 50.0)
    both = dataclasses.replace(sun, diffuse=0.3 * D65)
    sum_ = appearance(stack, sun).radiance + 0.3 * appearance(stack, OVERCAST).radiance
    assert appearance(stack, both).radiance == pytest.approx(sum_, rel=1e-9)
    # and one light's share is the radiance factor times what falls on the cloth
    factor = brf(stack, [(35.0, 50.0)], [(0.0, 0.0)])[0, 0]
    falls = D65 * np.cos(np.radians(35.0))
    assert appearance(stack, sun).radiance == pytest.approx(factor * falls, rel=1e-9)


def test_uniform_sky_is_the_mean_over_lights():
    # diffuse light by quadrature against named lights all over the sky (midpoint rule)
    grey = Backing("grey", np.full(41, 0.5))
    stack = Stack((Layer(cloth("twill 2/2", ends=50.0)),), grey)
    edges = np.linspace(0.0, 1.0, 7)
    mids = np.sqrt((edges[1:] + edges[:-1]) / 2)  # equal shares of cos dw
    lights = [(np.degrees(np.arcsin(s)), a) for s in mids for a in range(15, 360, 30)]
    mean = brf(stack, lights, [(25.0, 40.0)])[:, 0, 0].mean()
    sky = appearance(stack, dataclasses.replace(OVERCAST, view_zenith_deg=25.0,
                                                view_azimuth_deg=40.0))  # fmt: skip
    assert sky.radiance_factor[0] == pytest.approx(mean, rel=0.02)


def test_backlight_shines_through(organza):
    behind = Scene("behind", (Light(150.0, 20.0, D65),), NONE, D65)
    one = appearance(Stack((Layer(organza),)), behind).radiance
    assert one.max() > 0
    through = [transmittance(Stack((Layer(organza),) * n)).diffuse for n in (1, 2, 3)]
    assert np.all(np.diff(through, axis=0) < 0)
    # the red warp's own colour comes through (its hue, from the swatch)
    assert one[-5:].mean() > 1.2 * one[5:15].mean() * D65[-5:].mean() / D65[5:15].mean()
    # straight behind, the openings show the light itself
    straight = Scene("straight", (Light(180.0, 0.0, D65),), NONE, D65)
    assert appearance(Stack((Layer(organza),)), straight).radiance[0] / D65[0] > (
        transmittance(Stack((Layer(organza),))).straight
    )
    # a backing shuts it out
    assert appearance(Stack((Layer(organza),), backing("white")), behind).radiance.max() == 0.0


@pytest.mark.parametrize("name", scene_names())
def test_every_scene_gives_a_colour(organza, name):
    got = appearance(Stack((Layer(organza, 30.0),), backing("white")), scene(name))
    assert np.all(np.isfinite(got.radiance)) and got.radiance.min() >= 0
    assert got.radiance_factor.max() < 1.5
    assert np.all(np.isfinite(got.reading.Lab))


def test_refusals(organza):
    with pytest.raises(InputError):
        appearance(Stack((Layer(organza),) * 13), OVERCAST)
    jammed = dataclasses.replace(organza, ends_per_cm=400.0)
    with pytest.raises(InputError) as refusal:
        appearance(Stack((Layer(jammed),)), OVERCAST)
    assert "\n" not in str(refusal.value)


def test_with_no_cloth_the_viewer_sees_what_is_behind():
    """Lamps behind, one straight opposite the eye and one aside, one in front: without cloth or
    backing the eye looks into the first alone; a backing is lit by what falls on its front."""
    front, ahead, aside = np.linspace(1.0, 2.0, 41), np.linspace(2.0, 0.5, 41), np.full(41, 9.0)
    lamps = (Light(60.0, 10.0, front), Light(180.0, 0.0, ahead), Light(140.0, 90.0, aside))
    where = Scene("lamps", lamps, 0.25 * D65, D65)
    ground = np.linspace(0.1, 0.9, 41)
    for order in (lamps, lamps[::-1]):
        bare, laid = appearances(
            Stack((), None),
            [None, Backing("some", ground)],
            dataclasses.replace(where, lights=order),
        )
        assert bare.radiance == pytest.approx(ahead)
        assert laid.radiance == pytest.approx(ground * (0.25 * D65 + 0.5 * front))
    # more than one lamp in line adds up; none in line is dark
    both = Scene("both", (Light(180.0, 0.0, ahead), Light(178.0, 0.0, aside)), NONE, D65)
    seen = appearance(Stack((), None), both).radiance
    assert seen == pytest.approx(ahead + np.cos(np.radians(2.0)) * aside)
    dark = Scene("dark", (Light(140.0, 0.0, aside),), NONE, D65)
    assert not appearance(Stack((), None), dark).radiance.any()


# A luminous surface behind: radiance is kept along rays, so nothing before it is brighter than it
# (Welford and Winston, The Optics of Nonimaging Concentrators, 1978, ch. 2; from memory)


@pytest.mark.parametrize("name", swatch_names())
def test_cloth_before_a_light_box_is_darker_than_the_box(name):
    box = replace(scene("lightbox behind"), diffuse=np.zeros(41))
    one, two = (
        appearance(Stack((Layer(load_swatch(name)),) * count), box).radiance_factor
        for count in (1, 2)
    )
    assert one.max() < 1.0 and (two < one + 1e-3).all()


def test_clear_cloth_before_a_light_box_lacks_what_it_sends_back(every_ray):
    # undyed rods lose no light: of a beam from the eye what is not sent back gets to the box, and
    # as much comes from the box to the eye (reciprocity)
    clear = load_swatch("shot-organza-red-black")
    undyed = replace(clear, **{
        system: replace(getattr(clear, system), colour=np.full(41, 0.999))
        for system in ("warp", "weft")
    })  # fmt: skip
    stack = Stack((Layer(undyed),))
    box = replace(scene("lightbox behind"), diffuse=np.zeros(41))
    back = (pile := pile_optics(stack, [(0.0, 0.0)])).reflect[:, -1] @ pile.share
    assert appearance(stack, box).radiance_factor == pytest.approx(1.0 - back, abs=0.03)


def test_a_search_and_a_turn_see_a_light_box_as_a_comparison_does(organza):
    box, stack = scene("lightbox behind"), Stack((Layer(organza),))
    told = appearance(stack, box).reading.Lab
    assert turn(stack, box, [0.0])[0] == pytest.approx(told, abs=1e-6)
    found = exact(stack.layers, [None], stack.lay, viewpoints([box], False))
    assert found.Lab[0] == pytest.approx(told, abs=1e-6)


def test_a_search_and_a_turn_see_a_light_that_the_cloth_cuts_as_a_comparison_does(organza):
    cut = with_light_from(scene("window"), 93.0, 90.0)
    assert cut.in_front and cut.behind
    for behind in (None, backing("white")):
        stack = Stack((Layer(organza),), behind)
        told = appearance(stack, cut).reading.Lab
        assert turn(stack, cut, [0.0])[0] == pytest.approx(told, abs=1e-6)
        found = exact(stack.layers, [behind], stack.lay, viewpoints([cut], False))
        assert found.Lab[0] == pytest.approx(told, abs=1e-6)


def test_hung_cloth_before_a_light_box_is_lit_from_all_sides_behind(organza):
    box = scene("lightbox behind")
    made = tables(Stack((Layer(organza),)), box, coarse=True)
    pile = seen_optics(Stack((Layer(organza),)), [(0.0, 0.0)])
    light = box.lights[0].on_cloth
    passed = xyz((pile.transmit[:, 1, 0]) * light, illumination(box))[1] / 100.0
    middle = np.asarray(made.key, float)[0, 0, DISC // 2, DISC // 2]
    # Y of linear sRGB: IEC 61966-2-1
    assert middle @ [0.2126, 0.7152, 0.0722] == pytest.approx(passed, rel=0.08)
