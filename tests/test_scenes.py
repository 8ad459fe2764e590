"""Scenes: how much light, from where, and of what colour."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weavecolor.colour.colorimetry import reading
from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.tristimulus import weights
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import (
    custom_scene,
    illumination,
    scene,
    scene_names,
    turned,
    with_light_from,
    with_viewer,
)

PHOTOPIC = weights("2")[:, 1]
WANTED = {
    "window at the side",
    "noon outdoors",
    "wide window near by",
    "small window far off",
    "overcast",
    "ballroom",
    "candlelit",
    "footlights",
    "stage from above",
    "stage LED",
    "flash on camera",
    "workroom",
    "lightbox behind",
}


def test_every_place_is_there_and_is_one_object():
    assert set(scene_names()) == WANTED
    assert scene("Footlights ") is scene("footlights")
    with pytest.raises(InputError, match="window at the side, .*, small window far off, noon"):
        scene("moonlit garden")


@pytest.mark.parametrize("name", sorted(WANTED))
def test_scenes_are_scaled_and_their_parts_add_up(name):
    place = scene(name)
    # Irradiance on the cloth, written out: facing irradiance times |cos zenith|, plus diffuse.
    total = place.diffuse + sum(
        light.irradiance * abs(np.cos(np.radians(light.zenith_deg))) for light in place.lights
    )
    np.testing.assert_allclose(total, illumination(place))
    assert total @ PHOTOPIC == pytest.approx(100.0, abs=1e-9)
    assert place.diffuse.min() >= 0 and 0 <= place.view_zenith_deg < 89
    # White cloth in that place reads white to an eye adapted to it.
    seen = reading(illumination(place), illumination(place), place.white)
    np.testing.assert_allclose(seen.Lab, [100, 0, 0], atol=1e-6)


def test_light_comes_from_where_the_convention_says():
    """Azimuth 0 is down the garment: vertical component of a direction is -sin(z) cos(azimuth)."""

    def upward(name: str) -> float:
        return sum(
            -np.sin(np.radians(light.zenith_deg)) * np.cos(np.radians(light.azimuth_deg))
            for light in scene(name).lights
        )

    assert upward("footlights") < -0.5
    for name in ("noon outdoors", "stage from above", "stage LED", "workroom", "ballroom"):
        assert upward(name) > 0.5
    assert upward("window at the side") == pytest.approx(0.0, abs=1e-9)
    assert all(light.zenith_deg > 90 for light in scene("lightbox behind").lights)
    assert not scene("overcast").lights


def test_the_kind_of_light_is_the_place_s():
    assert scene("candlelit").white / light_spectrum("candle") == pytest.approx(1.0)
    blue = [scene(n).white[7] / scene(n).white[27] for n in ("overcast", "ballroom", "candlelit")]
    assert blue[0] > blue[1] > blue[2]
    assert "fire" in scene("candlelit").notes


def test_windows_differ_in_their_width_alone():
    usual, wide, small = map(scene, ("window", "wide window", "small window"))
    assert [x.lights[0].half_deg for x in (usual, wide, small)] == [15.0, 25.0, 5.0]
    for other in (wide, small):
        assert replace(other.lights[0], half_deg=15.0) == usual.lights[0]
        assert (other.diffuse == usual.diffuse).all()
        assert other.told() != usual.told()
    # a metre wide and two metres off: half of it over its distance
    assert np.tan(np.radians(15.0)) == pytest.approx(0.5 / 2.0, rel=0.08)


@pytest.mark.parametrize("half_deg", [4.9, 30.1, float("nan")])
def test_a_light_s_width_is_one_that_a_light_may_have(half_deg):
    with pytest.raises(InputError, match=r"spreads over 5 \(a small lamp\) to 30 degrees"):
        custom_scene("daylight", half_deg=half_deg)


def test_lights_gathered_into_one_are_as_wide_as_the_widest():
    assert with_light_from(scene("ballroom"), 30.0, 0.0).lights[0].half_deg == 8.0
    assert turned(scene("window"), 40.0).lights[0].half_deg == 15.0
    assert custom_scene("candle", half_deg=12.0).lights[0].half_deg == 12.0


def test_only_candles_are_dim():
    assert [name for name in scene_names() if scene(name).dim] == ["candlelit"]
    assert custom_scene("candle").dim and turned(custom_scene("candle"), 30.0).dim
    assert not custom_scene("candle", diffuse_light="daylight").dim


@given(st.floats(0, 180), st.floats(-720, 720), st.floats(0, 1))
def test_own_light_has_the_same_total_from_anywhere(zenith, azimuth, share):
    place = custom_scene("tungsten", zenith, azimuth, share)
    assert illumination(place) @ PHOTOPIC == pytest.approx(100.0)
    assert place.diffuse @ PHOTOPIC == pytest.approx(100.0 * share)
    moved = with_light_from(place, 30.0, 200.0)
    np.testing.assert_allclose(illumination(moved), illumination(place))
    assert all((light.zenith_deg, light.azimuth_deg) == (30, 200) for light in moved.lights)


def test_own_light_can_mix_kinds_and_fix_the_eye():
    place = custom_scene("candle", 30, 0, 0.5, diffuse_light="north sky", white="daylight")
    np.testing.assert_array_equal(place.white, light_spectrum("daylight"))
    np.testing.assert_allclose(
        illumination(place), 0.5 * light_spectrum("candle") + 0.5 * light_spectrum("north sky")
    )


def test_merging_lights_keeps_diffuse_viewer_and_total():
    stage = scene("stage from above")
    one = with_light_from(stage, 50.0, 0.0)
    assert len(stage.lights) == 2 and len(one.lights) == 1
    assert one.view_zenith_deg == stage.view_zenith_deg
    np.testing.assert_array_equal(one.diffuse, stage.diffuse)
    np.testing.assert_allclose(illumination(one), illumination(stage))
    assert with_light_from(scene("overcast"), 10, 0) is scene("overcast")


def test_turning_and_moving_the_viewer():
    start = with_viewer(scene("window at the side"), 45.0, 270.0)
    assert (start.view_zenith_deg, start.view_azimuth_deg) == (45.0, 270.0)
    there = turned(start, 120.0)
    assert there.view_azimuth_deg == pytest.approx(30.0)
    assert there.lights[0].azimuth_deg == pytest.approx(210.0)
    assert turned(there, -120.0).lights[0].azimuth_deg == pytest.approx(90.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: custom_scene("daylight", -5.0, 0.0),
        lambda: custom_scene("daylight", 200.0, 0.0),
        lambda: custom_scene("daylight", np.nan, 0.0),
        lambda: custom_scene("daylight", 30.0, np.inf),
        lambda: custom_scene("daylight", 30.0, 0.0, 1.2),
        lambda: custom_scene("daylight", 30.0, 0.0, np.nan),
        lambda: custom_scene("moonlight", 30.0, 0.0),
        lambda: custom_scene("daylight", 30.0, 0.0, view_zenith_deg=120.0),
        lambda: with_light_from(scene("footlights"), 181.0, 0.0),
        lambda: with_viewer(scene("footlights"), 95.0),
        lambda: turned(scene("footlights"), np.nan),
    ],
)
def test_impossible_light_is_refused_in_one_line(call):
    with pytest.raises(InputError) as complaint:
        call()
    assert "\n" not in str(complaint.value)


def test_instruments_look_as_the_standard_has_them():
    """CIE 15: 45:0 by a ring of light at 45 degrees, seen along the normal; d:8 by even light, seen
    at 8 degrees."""
    ring, sphere = scene("45:0"), scene("d/8")
    assert {light.zenith_deg for light in ring.lights} == {45.0} and ring.view_zenith_deg == 0.0
    turns = np.array([light.azimuth_deg for light in ring.lights])
    assert np.abs(np.exp(1j * np.radians(turns)).mean()) < 1e-12  # as much from every side
    assert ring.diffuse.max() < 1e-9 and not sphere.lights and sphere.view_zenith_deg == 8.0
    for place in (ring, sphere):
        assert illumination(place) == pytest.approx(light_spectrum("daylight"))
        assert place.name not in scene_names()  # nobody stands there


@pytest.mark.usefixtures("all_rays")
def test_a_ring_of_light_sees_less_of_what_a_smooth_yarn_mirrors():
    """Smooth yarns send much of a sphere's light back from their first surface, and a ring's but
    where they stand right: so few lamps do for the whole ring."""
    stack = Stack((Layer(load_swatch("shot-taffeta-green-red")),), backing("black"))
    ring = scene("45:0")
    finer = tuple(
        replace(light, azimuth_deg=light.azimuth_deg + k * 11.25, irradiance=light.irradiance / 2)
        for light in ring.lights for k in (0, 1)
    )  # fmt: skip
    L = [
        appearance(stack, place).reading.Lab[0]
        for place in (ring, replace(ring, name="finer", lights=finer), scene("d:8"))
    ]
    assert L[0] == pytest.approx(L[1], abs=0.5)
    assert L[2] > L[0] + 2.0
