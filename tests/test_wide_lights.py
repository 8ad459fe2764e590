"""Lights that are wider than a small lamp: read at once, they are what their parts are together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.making.lightchoice import OWN_LIGHT, LightChoice, scene_of
from weavecolor.optics import layer
from weavecolor.optics.appearance import in_scenes, lit_by, radiance, radiances, seen_optics
from weavecolor.optics.cell import filaments
from weavecolor.optics.cell.nodes import cap, unit
from weavecolor.optics.cell.pairs import Distance, joint_gaps
from weavecolor.optics.cell.rays import solid
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.layer import solved
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import illumination, scene
from weavecolor.scene.scene import APERTURE_DEG, Light, Scene, shares
from weavecolor.textile.cloth import Construction

HALF_DEG = 15.0


def disc(light: Light, count: int) -> tuple[Light, ...]:
    """``count`` small lamps strewn over a light, each for as much of it as falls on the cloth by
    its cosine (radiance adds: ISO 80000-7)."""
    turn = np.radians(light.azimuth_deg)
    middle = tuple(float(x) for x in unit(np.radians(light.zenith_deg), turn))
    k = np.arange(count) + 0.5
    # each lamp is itself 5 degrees wide: what is strewn is as much less
    half_deg = float(np.sqrt(light.half_deg**2 - APERTURE_DEG**2))
    way, weight, _ = cap(middle, half_deg, np.stack([k / count, k * 0.618034 % 1.0], axis=1))
    falls = light.on_cloth[None] * weight[:, None] / count
    return tuple(
        Light(
            float(np.degrees(np.arccos(v[2]))),
            float(np.degrees(np.arctan2(-v[0], v[1]))),
            one / abs(v[2]),
        )
        for v, one in zip(way, falls, strict=True)
    )


@pytest.mark.parametrize(
    ("name", "grain", "worst"),
    [
        ("shot-organza-red-black", 0.0, 0.6),
        ("shot-organza-red-black", 45.0, 0.6),
        ("silk-satin-gold", 0.0, 1.2),
        ("shot-taffeta-green-red", 90.0, 1.2),
    ],
)
def test_a_wide_light_is_its_parts_together(name, grain, worst):
    usual = scene("window")
    (light,) = usual.lights
    many = replace(usual, lights=disc(light, 31))
    assert illumination(many) == pytest.approx(illumination(usual), rel=1e-3)
    stack = Stack((Layer(load_swatch(name), grain),))
    grounds = [backing("black"), backing("white")]
    for one in zip(*in_scenes(stack, grounds, [usual, many]), strict=True):
        told, strewn = (x.reading.Lab[0] for x in one)
        assert told == pytest.approx(strewn, abs=worst)


def test_a_width_changes_little_of_matt_cloth():
    stack = Stack((Layer(load_swatch("calico-unbleached")),), backing("white"))
    usual = scene("window")
    places = [
        replace(usual, lights=(replace(usual.lights[0], half_deg=x),)) for x in (5.0, 15.0, 25.0)
    ]
    looks = [x[0].reading.Lab for x in in_scenes(stack, [stack.backing], places)]
    assert ciede2000(looks[0], np.array(looks)).max() < 1.0


@pytest.mark.usefixtures("half_rays")  # an eighth are too few to say anything of satin
@pytest.mark.parametrize("name", ["shot-organza-teal-copper", "silk-satin-gold"])
def test_light_goes_both_ways_alike_whatever_is_wide(name):
    """Helmholtz: what rays from all over a window send to a lamp is what the lamp's send to it."""
    cell = solved(load_swatch(name)).white.cell
    lamp = tuple(float(x) for x in unit(np.radians(20.0), np.radians(40.0)))
    window = (*(float(x) for x in unit(np.radians(50.0), np.radians(200.0))), HALF_DEG)
    count = filaments.pair_rays(cell)
    table, _ = filaments.looked_at(
        cell, lamp, [window], filaments.beam(cell, lamp, count, APERTURE_DEG)
    )
    rays = filaments.beam(cell, window, count, HALF_DEG)
    inner = rays.met > 1
    light = rays.toward[inner], rays.weight[inner], rays.column[inner]
    _, signs, still = filaments._standing(cell, window)
    aims = [np.array([lamp]) * signs * way for way in still]
    back, total, noise, _ = filaments._gathered(*light, aims, APERTURE_DEG, 0.1)
    assert table.sum() == pytest.approx(total[0], abs=3.0 * noise[0] ** 0.5)
    assert noise[0] ** 0.5 < 0.15 * total[0]
    assert back.sum() == pytest.approx(total[0])


def test_two_widths_of_one_direction_are_two_lights():
    stack = Stack((Layer(load_swatch("silk-satin-gold"), 0.0),), backing("black"))
    usual, small = scene("window"), scene("small window")
    both = in_scenes(stack, [stack.backing], [usual, small])
    alone = [in_scenes(stack, [stack.backing], [x])[0][0].reading.Lab for x in (usual, small)]
    assert [x[0].reading.Lab.tolist() for x in both] == [x.tolist() for x in alone]
    assert alone[1][0] - alone[0][0] > 10.0


@pytest.mark.parametrize("half_deg", [5.0, HALF_DEG, 30.0])
@pytest.mark.parametrize("behind", [0.3, 1.5])
def test_openings_are_as_wide_as_the_light(half_deg, behind):
    """Straight round threads: the eye above and a light aslant across them both get through to a
    plane behind, by plain geometry: a line across passes threads where it lies off their axes by
    more than their half width over the cosine of its slope."""
    p, d = 1.0, 0.4
    made = Construction(((1,),), p, 1000.0, d, d, 1e-4, 1e-4, 0.0)
    zenith = np.radians(40.0)
    eye, light = (0.0, 0.0, 1.0), (float(np.sin(zenith)), 0.0, float(np.cos(zenith)), half_deg)
    even = Distance(((behind, behind),), (), 0.0)
    got = joint_gaps(made, solid(made), even, (eye, light), False, False, True)
    depth = behind + tubes(made).bottom

    rng = np.random.default_rng(4)
    at = rng.random(200_000) * p
    ways = []
    for vector, half in ((eye, APERTURE_DEG), (light[:3], half_deg)):
        way, weight, _ = cap(vector, half, rng.random((at.size, 2)))
        slope = way[:, 0] / way[:, 2]
        off = np.abs((at + depth * slope + 0.5 * p) % p - 0.5 * p)
        ways.append(weight * (off > 0.5 * d * np.sqrt(1.0 + slope**2)))
    seen, lit = ways
    expected = (seen * lit).mean() / np.sqrt(seen.mean() * lit.mean())
    assert got.named[0, 1] == pytest.approx(expected, abs=0.012)


@pytest.mark.parametrize("wide", [4, 31, 7.5, True])
def test_a_light_of_one_s_own_is_as_wide_as_is_told(wide):
    told = LightChoice(OWN_LIGHT, wide_deg=20)
    assert scene_of(told).lights[0].half_deg == 20.0
    assert scene_of(LightChoice(OWN_LIGHT)).lights[0].half_deg == APERTURE_DEG
    with pytest.raises(InputError, match="whole number from 5 to 30"):
        LightChoice(OWN_LIGHT, wide_deg=wide)


@pytest.mark.parametrize("half_deg", [5.0, 15.0, 30.0])
def test_a_light_that_the_plane_cuts_lights_both_sides_in_proportion(half_deg):
    """Against adding up the cosines of a disc strewn evenly with 200 000 points (J. H. Lambert,
    Photometria, 1760)."""
    k = (np.arange(200_000) + 0.5) / 200_000
    down = 1.0 - k * (1.0 - np.cos(np.radians(half_deg)))
    aside = np.sqrt(1.0 - down**2) * np.cos(2.0 * np.pi * (np.arange(k.size) * 0.618033988 % 1.0))
    over = 2.0 / (1.0 + np.cos(np.radians(half_deg)))  # of the disc facing it
    for off in (-1.1, -0.7, -0.1, 0.0, 0.3, 0.9):
        zenith = np.radians(90.0 + off * half_deg)
        cosine = down * np.cos(zenith) - aside * np.sin(zenith)
        wanted = [over * np.maximum(side * cosine, 0.0).mean() for side in (1.0, -1.0)]
        assert shares(np.degrees(zenith), half_deg) == pytest.approx(wanted, abs=2e-6)


def test_undyed_cloth_vanishes_among_discs_of_light_all_round(monkeypatch):
    """The white furnace: by the second law cloth that absorbs nothing looks like the even light
    around it, here of 60 discs of 30 degrees that overlap evenly; the plane of the cloth cuts half
    of them. Each cut disc, counted by its middle alone, left 4 to 7 % missing."""
    monkeypatch.setattr(layer, "absorption", lambda yarn: np.zeros(BANDS))
    count, half_deg = 60, 30.0
    k = np.arange(count) + 0.5
    each = np.full(BANDS, 2.0 * np.sin(np.radians(half_deg)) ** 2 / count)
    each /= 1.0 - np.cos(np.radians(half_deg))
    lights = tuple(
        Light(float(np.degrees(np.arccos(1.0 - 2.0 * n / count))), 137.508 * n, each, half_deg)
        for n in k
    )
    nothing = np.zeros(BANDS)
    place = Scene("all round", lights, nothing, np.ones(BANDS), 60.0, 30.0)
    for side in (place.in_front, place.behind):
        assert sum(x.on_cloth[0] for x in side) == pytest.approx(1.0, abs=1e-3)
    for name in ("polyester-organza-blue", "cotton-voile-white"):
        ways, (lit,) = lit_by([place])
        stack = Stack((Layer(load_swatch(name)),))
        pile = seen_optics(stack, ways.above, ways.below, links=ways.links)
        # the eye's own line through the openings apart
        lit = replace(lit, in_line=(False,) * len(lit.in_line))
        seen = radiance(pile, pile.reflect, lit, True)[0] + pile.through[1 + lit.eye]
        assert seen == pytest.approx(1.0, abs=0.015)


def test_a_light_that_sinks_behind_the_cloth_fades():
    """A white card gets just what its side is lit with; cloth over it goes with it, without a
    step, and is dark only where no part of the disc is left."""
    white = backing("white")
    looks, bare = [], []
    for zenith in (85.0, 89.9, 90.0, 90.1, 95.0, 100.0, 106.0):
        light = Light(zenith, 20.0, np.ones(BANDS), HALF_DEG)
        place = Scene("sinking", (light,), np.zeros(BANDS), np.ones(BANDS))
        bare.append(radiances(Stack((), white), [white], [place])[0][0][20])
        assert bare[-1] == pytest.approx(white.reflectance[20] * shares(zenith, HALF_DEG)[0])
        stack = Stack((Layer(load_swatch("shot-organza-red-black")),))
        looks.append(radiances(stack, [white], [place])[0][0][20])
    assert all(np.diff(looks[:-1]) < 0.0) and looks[-1] == bare[-1] == 0.0
    assert looks[1] / looks[3] == pytest.approx(bare[1] / bare[3], rel=0.02)
    assert looks[1] > 0.1 * looks[0]
