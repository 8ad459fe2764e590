"""Light that goes sideways in what lies behind, against light followed through such matter."""

from dataclasses import replace

import numpy as np
import pytest
from numba import njit
from scipy.special import j0
from test_layer_optics import cloth

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.decide.evaluate import exact, screen, screen_of, viewpoints
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.adding import GAPS, openings
from weavecolor.optics.appearance import appearance, appearances, laid_in, lit_by, radiances
from weavecolor.optics.cell.pairs import Distance, _place
from weavecolor.optics.cell.rays import blocked, bodies
from weavecolor.optics.layer import solved
from weavecolor.optics.parted import parted
from weavecolor.optics.sideways import Sideways, in_step, register, sideways
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import CLOTH, PAPER, Backing, backing
from weavecolor.scene.places import scene
from weavecolor.textile.cloth import Construction
from weavecolor.textile.construction import geometry_of


@njit
def followed(count, scattered, absorbed, forward, index, random):
    """Photons one by one in a half space (L. Wang and others, Comput. Methods Programs Biomed. 47
    (1995) 131, from memory): scattered and absorbed so often a mm, by Henyey and Greenstein's law,
    and turned back at the surface by Fresnel's. How far aside each comes out, and its weight."""
    aside, weight = np.zeros(count), np.zeros(count)
    every = scattered + absorbed
    for n in range(count):
        x = y = z = 0.0
        ux, uy, uz, left = 0.0, 0.0, 1.0, 1.0
        while True:
            way = -np.log(random.random()) / every
            if uz < 0.0 and z + uz * way < 0.0:
                up = z / -uz
                x, y, z, way = x + ux * up, y + uy * up, 0.0, way - up
                sine = index * np.sqrt(1.0 - uz * uz)
                back = 1.0
                if sine < 1.0:
                    cosine = np.sqrt(1.0 - sine * sine)
                    s = (index * -uz - cosine) / (index * -uz + cosine)
                    p = (index * cosine + uz) / (index * cosine - uz)
                    back = 0.5 * (s * s + p * p)
                if random.random() >= back:
                    aside[n], weight[n] = np.hypot(x, y), left
                    break
                uz = -uz
            x, y, z = x + ux * way, y + uy * way, z + uz * way
            left *= scattered / every
            if left < 0.05:
                if random.random() < 0.8:
                    break
                left *= 5.0
            c = 2.0 * random.random() - 1.0
            if forward > 0.0:
                q = (1.0 - forward**2) / (1.0 + forward * c)
                c = (1.0 + forward**2 - q * q) / (2.0 * forward)
            s, turn = np.sqrt(max(0.0, 1.0 - c * c)), 2.0 * np.pi * random.random()
            flat = np.sqrt(1.0 - uz * uz)
            if flat < 1e-5:
                ux, uy, uz = s * np.cos(turn), s * np.sin(turn), c * np.sign(uz)
            else:
                a, b = s * np.cos(turn), s * np.sin(turn)
                ux, uy, uz = (
                    (a * ux * uz - b * uy) / flat + ux * c,
                    (a * uy * uz + b * ux) / flat + uy * c,
                    -a * flat + uz * c,
                )
    return aside, weight


def matter(reduced: float, absorbed: float, index: float) -> Sideways:
    """As :func:`sideways` has it, from what is known of the matter, not from its reflectance."""
    every = reduced + absorbed
    turned = sideways(Backing("", np.full(41, 0.5), replace(PAPER, index=index))).turned
    faded = np.sqrt(3.0 * absorbed / every)
    return Sideways(np.zeros(1), np.array([1.0 / every]), np.array([faded]), turned)


@pytest.mark.parametrize("index", [1.0, 1.4])
@pytest.mark.parametrize(("forward", "absorbed"), [(0.0, 0.05), (0.8, 0.05), (0.8, 0.5)])
def test_stripes_come_out_of_matter_with_as_much_contrast_as_of_light_followed(
    index, forward, absorbed
):
    """Reduced scattering 5 /mm, as of skin; stripes of .2 to 8 mm. What diffusion misses is most
    where light comes out after it was scattered once, evenly to all sides, as in no real matter."""
    scattered = 5.0 / (1.0 - forward)
    random = np.random.default_rng(3)
    aside, weight = followed(60_000, scattered, absorbed, forward, index, random)
    waves = 2.0 * np.pi / np.array([8.0, 4.0, 2.0, 1.0, 0.5, 0.3, 0.2])
    seen = np.array([(j0(k * aside) * weight).sum() for k in waves]) / weight.sum()
    told = in_step(waves, matter(5.0, absorbed, index))[0]
    assert np.all(np.diff(told) < 0.0)
    assert np.abs(told - seen).max() < (0.07 if forward else 0.09)
    # and the reflectance from which a backing's absorption is found
    back = 0.0 if index == 1.0 else ((index - 1.0) / (index + 1.0)) ** 2
    rho = back + (1.0 - back) * weight.mean()
    inside = replace(PAPER, scattering=np.full(41, 5.0), index=index)
    found = in_step(waves, sideways(Backing("", np.full(41, rho), inside)))[0]
    assert np.abs(found - seen).max() < 0.11


@pytest.mark.parametrize(("pitch", "width"), [(0.25, 0.06), (0.5, 0.3), (1.2, 0.3)])
def test_a_grating_on_a_half_space_lets_out_what_light_followed_does(pitch, width):
    """Opaque stripes on skin-like matter: light that enters between them, and how much of it comes
    out between them."""
    rng = np.random.default_rng(5)
    aside, weight = followed(60_000, 25.0, 0.05, 0.8, 1.4, np.random.default_rng(7))
    start, turn = rng.random(aside.size) * pitch, 2.0 * np.pi * rng.random(aside.size)
    free = start > width
    out = (start + aside * np.cos(turn)) % pitch > width
    seen = (weight * free * out).sum() / weight.sum()
    left = 1.0 - width / pitch
    none = 1e-6  # threads across, so far apart that they do not count
    grating = Construction(((1,),), pitch, 1e3, width, width, none, none, 0.0)
    told = left**2 + register(grating, matter(5.0, 0.05, 1.4))[0] * (left - left**2)
    assert told == pytest.approx(seen, abs=0.015)


@pytest.mark.usefixtures("every_ray")
@pytest.mark.parametrize("name", ["shot-organza-red-black", "cotton-voile-white"])
@pytest.mark.parametrize("lay", ["touching", "loose"])
def test_lines_through_cloth_that_part_behind_it_are_open_together_as_told(name, lay):
    """Lines from eye and lamp to places that lie as far apart as light was followed to go, through
    the cell's own filaments."""
    solution, count = solved(load_swatch(name)), 30_000
    c, body = solution.construction, bodies(solution.white.cell)
    pitch = np.sqrt(c.warp_spacing * c.weft_spacing)
    gap = tuple(pitch * x for x in GAPS[lay])
    points = _place(c, body, Distance((gap,)), False).points(count)
    rng = np.random.default_rng(2)
    aside, weight = followed(points.shape[1], 250.0, 0.5, 0.8, 1.0, rng)  # as of paper
    turn = 2.0 * np.pi * rng.random(aside.size)
    moved = points + np.stack([aside * np.cos(turn), aside * np.sin(turn), 0.0 * turn])

    def open_(at, zenith, azimuth):
        z = np.radians(zenith + rng.uniform(-4.0, 4.0, at.shape[1]))
        a = np.radians(azimuth)
        way = np.stack([np.sin(z) * np.cos(a), np.sin(z) * np.sin(a), np.cos(z)])
        return ~blocked(body, at, way)

    left = float(register(c, matter(50.0, 0.5, 1.0))[0])
    pairs = ((0, 0, 3, 0), (0, 0, 12, 40), (20, 70, 40, 70), (0, 0, 55, 80))
    for eye, lamp in ((pair[:2], pair[2:]) for pair in pairs):
        one, other = open_(points, *eye), open_(points, *lamp)
        by_chance, straight = one.mean() * other.mean(), (one & other).mean()
        seen = (weight * (one & open_(moved, *lamp))).sum() / weight.sum()
        assert by_chance + left * (straight - by_chance) == pytest.approx(seen, abs=0.02)


def test_light_that_goes_no_way_aside_meets_a_matt_surface_and_far_aside_openings_by_chance():
    made = cloth(warp=0.3, weft=0.2)
    ways, _ = lit_by([scene("flash on camera")])
    pile, gap = laid_in(Stack((Layer(made),)), ways)[0], GAPS["touching"]
    matt, apart = openings(pile, gap), openings(pile, None)
    ends = {}
    for per_mm in (1e9, 1e-9):
        inside = replace(CLOTH, scattering=np.full(41, per_mm))
        whole = sideways(Backing("", np.full(41, 0.7), inside))
        ends[per_mm] = openings(pile, gap, matter=whole.at(slice(0, 1)))
    for want, got in ((matt, ends[1e9]), (apart, ends[1e-9])):
        # 24 waves each way carry nearly all that is open or not
        assert got.joint[0] == pytest.approx(want.joint, abs=0.02)
        assert got.straight[0] == pytest.approx(want.straight, abs=0.02)
        assert float(got.hit_spread[0]) == pytest.approx(want.hit_spread, abs=0.02)


def test_no_light_is_lost_or_made_where_it_goes_aside():
    """Of yarn that absorbs nothing over a ground that sends all back, in even light."""
    white = Backing("white", np.ones(41), PAPER)
    clear = cloth(warp=1.0, weft=1.0)
    grounds = [white, replace(white, inside=None)]
    made = appearances(Stack((Layer(clear),)), grounds, scene("overcast"))
    one, other = (x.radiance_factor for x in made)
    assert one == pytest.approx(other, abs=0.01)


@pytest.mark.parametrize("name", ["shot-organza-red-black", "stage-gauze-black"])
def test_a_flash_lights_skin_less_where_it_is_seen(name):
    """Eye and flash look through the same openings: of a matt surface all that is lit there is
    seen, of skin only what is not aside under threads."""
    flash, stack = scene("flash on camera"), Stack((Layer(load_swatch(name)),))
    skin = backing("skin medium")
    one, matt = appearances(stack, [skin, replace(skin, inside=None)], flash)
    assert 2.0 < matt.reading.Lab[0] - one.reading.Lab[0] < 7.0
    window = scene("window at the side")
    loose, straight = appearances(stack, [skin, replace(skin, inside=None)], window)
    assert ciede2000(loose.reading.Lab, straight.reading.Lab) < 0.4
    touching = appearance(replace(stack, lay="touching", backing=skin), window)
    assert ciede2000(touching.reading.Lab, loose.reading.Lab) < 0.5


def test_searches_and_close_ups_follow_by_flash():
    """The same stack over the same skin: told whole, by the ways of the eye, and screened (at one
    wavelength, so within a just noticeable difference; a matt surface would be 3 to 7 off)."""
    made, flash = load_swatch("shot-organza-red-black"), scene("flash on camera")
    skin, matt = backing("skin medium"), replace(backing("skin medium"), inside=None)
    stack = Stack((Layer(made),), skin)
    layers, straight = parted(stack, flash)
    ((whole, flat),) = radiances(stack, [skin, matt], [flash])
    assert sum(layer.all for layer in layers) + straight == pytest.approx(whole, rel=1e-9)
    assert np.all(flat > 1.1 * whole)
    views = viewpoints([flash], False)
    quick = screen_of([stack.layers[0]], [matt, skin, None], views, "loose", 1)
    both = screen(quick, np.zeros((2, 1), np.intp), np.arange(2)).scenes[:, 0]
    full = exact(stack.layers, [matt, skin], "loose", views).scenes[:, 0]
    assert ciede2000(both, full).max() < 1.0
    assert both[0, 0] - both[1, 0] > 3.0


def test_wider_threads_and_finer_setts_keep_less_register():
    white = sideways(backing("white"))
    coarse, fine = (
        register(geometry_of(load_swatch(name)), white)
        for name in ("stage-gauze-black", "silk-chiffon-ivory")
    )
    assert np.all(coarse > 2.0 * fine) and np.all(fine > 0.05) and np.all(coarse < 1.0)


def test_a_surface_that_mirrors_keeps_what_it_mirrors_in_register():
    """Skin of index 1.4 mirrors 2.8 % (Fresnel): of deep skin a large share of what it sends."""
    deep = backing("skin deep")
    kept = register(geometry_of(load_swatch("silk-chiffon-ivory")), sideways(deep))
    assert np.all(kept > (0.4 / 2.4) ** 2 / deep.reflectance)
    assert sideways(Backing("own", np.full(41, 0.5))) is None
