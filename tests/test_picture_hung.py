"""Hung cloth: tables against the optics they are read from, light sweeps and layers against sums
done by hand, and what a picture of it must show."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import colour
import numpy as np
import pytest
from lookedup import looked_up
from PIL import Image

import weavecolor as wc
from weavecolor.cli import run
from weavecolor.cli.draw import command as draw_command
from weavecolor.cli.project import keep as keep_command
from weavecolor.colour.screen import space
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.adding import GAPS, add, as_stack
from weavecolor.optics.allround import COARSE, all_round
from weavecolor.optics.appearance import appearance
from weavecolor.optics.cell.filaments import kept, white_named
from weavecolor.optics.cell.flood import DISC, TURNS, eye_at, factors, flood
from weavecolor.optics.cell.nodes import nodes
from weavecolor.optics.layer import laid, solved
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture import hanging, raster, tables
from weavecolor.picture.encode import AS_SEEN, Seeing
from weavecolor.picture.forms import BENEATH, DRESS_FORMS, beneath_words
from weavecolor.picture.hanging import (
    Cover,
    Sight,
    doubled,
    eye,
    framing,
    lit_stage,
    picture,
    rotation,
    seen_from,
    stacked,
    stage,
)
from weavecolor.picture.hung import (
    ASIDE,
    behind_as,
    draw_hung,
    hung_frames,
    hung_on,
    hung_stage,
    image_of,
    notes,
    scene_round,
)
from weavecolor.picture.shapes import load_shape, shape_names
from weavecolor.picture.sweep import openness, soft_directions, sphere, taken
from weavecolor.picture.threads import LAYERS, LOOSE, ROW, closely, met, threads
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import INSIDE, hung
from weavecolor.scene.places import scene, scene_names, with_viewer
from weavecolor.scene.scene import toward
from weavecolor.textile.construction import geometry_of

WINDOW = scene("window at the side")
NO_THREADS = np.zeros((1, LAYERS, ROW)), np.zeros((0, 3)), np.zeros((0, 3))


@lru_cache(maxsize=1)
def organza() -> Stack:
    return Stack((Layer(load_swatch("shot-organza-red-black")),))


@lru_cache(maxsize=1)
def chiffon() -> Stack:
    return Stack((Layer(load_swatch("shot-chiffon-rose-yellow")),))


def test_light_let_through_never_exceeds_what_falls():
    made = tables.tables(chiffon(), WINDOW)
    assert (made.room[..., 3] >= 0).all() and (made.room[..., 3] <= 1).all()
    assert (made.dim >= 0).all() and (made.dim <= 1).all()
    # channel by channel a vivid colour may exceed it, its luminance may not
    assert made.even.sum(axis=0) @ [0.2126, 0.7152, 0.0722] <= 1.0


@pytest.mark.parametrize("place", scene_names())
def test_as_much_light_falls_on_upright_cloth_as_where_the_viewer_stands(place):
    """By Lambert's cosine law, from wherever the scene is looked at."""
    for lit in (scene(place), with_viewer(scene(place), 10.0, 0.0)):
        front = rotation(0.0, tables.raised_deg(lit)) @ [0.0, 1.0, 0.0]
        for lamp in lit.lights:
            falls = np.cos(np.radians(lamp.zenith_deg))
            drawn = front @ tables.view_vector(lamp, lit)
            assert drawn == pytest.approx(falls, abs=1e-9)
    # one who goes round sees the cloth turned, and the light from where it was
    aside, lamp = with_viewer(scene("ballroom"), 40.0, 90.0), scene("ballroom").lights[1]
    turned = rotation(-40.0, tables.raised_deg(aside)) @ [0.0, 1.0, 0.0]
    assert turned @ tables.view_vector(lamp, aside) == pytest.approx(
        np.cos(np.radians(lamp.zenith_deg)), abs=1e-9
    )


def test_a_place_is_drawn_as_its_viewer_sees_it():
    """Level in a room, from the stalls before a stage; where an eye is told, from there."""
    assert tables.raised_deg(WINDOW) == pytest.approx(0.0)
    assert tables.raised_deg(scene("stage LED")) == pytest.approx(-10.0)
    assert tables.raised_deg(with_viewer(WINDOW, 25.0, 180.0)) == pytest.approx(25.0)
    assert tables.raised_deg(with_viewer(WINDOW, 25.0, 90.0)) == pytest.approx(0.0)
    # a lamp is as far from the eye as the scene has it
    for place in (scene("stage LED"), with_viewer(scene("ballroom"), 30.0, 160.0)):
        eye = np.array(toward(place.view_zenith_deg, place.view_azimuth_deg))
        for lamp in place.lights:
            way = np.array(toward(lamp.zenith_deg, lamp.azimuth_deg))
            assert tables.view_vector(lamp, place)[2] == pytest.approx(eye @ way, abs=1e-9)


@pytest.mark.parametrize(
    "name", ["window at the side", "ballroom", "stage LED", "footlights", "flash on camera",
             "candlelit"],
)  # fmt: skip
def test_cloth_is_drawn_as_light_as_it_is_told(name):
    """Sewn to white, as it hangs: what is told against the mean of shapes. How each hangs moves it
    by more; a light from below or above falls on a skirt, which flares, otherwise than on a panel.
    """
    place, white = scene(name), Stack(organza().layers, backing("white"))
    sums = []
    for shape in ("panel-organza", "gathered-3-organza", "gathered-3-chiffon",
                  "pleated-box-taffeta"):  # fmt: skip
        staged = stage([Cover(load_shape(shape), white, lined=True)], floor=False)
        kept = staged.kind == 0
        staged = replace(staged, quads=staged.quads[kept], kind=staged.kind[kept],
                         folds=np.full_like(staged.folds, 500.0))  # fmt: skip
        made = lit_stage(staged, place, coarse=True)
        drawn, before = (
            picture(replace(made, ground=np.full(3, ground)), 60, 72) for ground in (0.1, 0.6)
        )
        own = np.abs(drawn - before).max(axis=2) < 1e-3
        assert own.mean() > 0.3
        sums.append(drawn[own].mean(axis=0) / made.exposure)
    luminance = np.mean(sums, axis=0) @ [0.2126, 0.7152, 0.0722]
    told = appearance(white, hung(place)).reading.Lab[0]
    assert 116.0 * np.cbrt(luminance) - 16.0 == pytest.approx(told, abs=2.5)


@pytest.mark.parametrize("cloth", ["stage-gauze-black", "silk-chiffon-ivory"])
def test_cloth_before_a_light_behind_is_drawn_as_it_is_told(cloth):
    """Where it lies flat, in one layer: its openings show the light, which is what it stands
    before; folds are darker. By a lamp in front the ground stays as it was asked for."""
    stack, place = Stack((Layer(load_swatch(cloth)),)), scene("lightbox behind")
    staged = stage([Cover(load_shape("panel-organza"), stack)], floor=False)
    made = lit_stage(staged, place, coarse=True, ground="dark")
    drawn = picture(made, 60, 72) @ [0.2126, 0.7152, 0.0722]
    cloth_ = drawn[np.abs(drawn - drawn[0, 0]) > 1e-3]
    told = appearance(stack, place).reading.Lab[0]
    assert 116.0 * np.cbrt(np.percentile(cloth_, 75)) - 16.0 == pytest.approx(told, abs=2.0)
    assert drawn[0, 0] == pytest.approx(0.9, abs=1e-3) and cloth_.max() < 0.9
    front = lit_stage(staged, WINDOW, coarse=True, ground="dark")
    assert front.ground == pytest.approx(0.036)


def test_a_laid_backing_lets_nothing_through():
    stack = Stack(chiffon().layers, backing("white"))
    made = tables.tables(stack, WINDOW, coarse=True)
    assert not made.room[..., 3].any() and not made.glow[..., :3].any()


def _places(count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Normals that face the eye, and warps in the cloth."""
    n, w = np.random.default_rng(seed).normal(size=(2, count, 3))
    n /= np.linalg.norm(n, axis=1)[:, None] * np.sign(n[:, 2:])
    w = np.cross(n, w)
    return n, w / np.linalg.norm(w, axis=1)[:, None]


def test_a_cloth_turned_by_half_a_turn_or_over_is_looked_up_alike():
    made = tables.tables(chiffon(), WINDOW, coarse=True)
    assert made.half_turn
    n, w = _places(200, 4)
    side = np.arange(200) % 2
    got = looked_up(made, n, w, side)
    assert got[:, :3].max() > 0.05
    assert looked_up(made, n, -w, side)[:, :3] == pytest.approx(got[:, :3], abs=1e-6)
    over = replace(chiffon(), layers=tuple(replace(x, face="back") for x in chiffon().layers))
    back = looked_up(tables.tables(over, WINDOW, coarse=True), n, w, 1 - side)
    assert back[:, :3] == pytest.approx(got[:, :3], rel=0.02, abs=2e-3)


def test_tables_of_half_a_turn_are_the_same_beside_those_of_a_whole_one():
    """Kinds of laid cloth that are drawn together are as deep as the deepest."""
    half = tables.tables(chiffon(), WINDOW, coarse=True)
    turns = half.key.shape[1] - 1
    whole = replace(half, half_turn=False, key=np.concatenate(
        [half.key[:, :-1], half.key[:, :-1, ::-1, ::-1], half.key[:, :1]], axis=1))  # fmt: skip
    key, _, _, spans = stacked([half, whole])
    assert key.shape[2] == 2 * turns + 1
    assert np.array_equal(key[0], key[1]) and spans == pytest.approx(2.0 * np.pi)
    n, w = _places(100, 5)
    got = looked_up(whole, n, w, np.arange(100) % 2)
    assert got == pytest.approx(looked_up(half, n, w, np.arange(100) % 2), abs=1e-6)
    alone = stacked([half, half])
    assert np.array_equal(alone[0][1], half.key) and alone[3] == pytest.approx(np.pi)


@pytest.mark.parametrize("place", ["stage LED", "candlelit"])
def test_colours_beyond_a_screen_are_kept_until_they_are_shown(place):
    """Tables for two screens hold the same light, by the matrix of each: green of taffeta lies
    beyond sRGB, and with what is below nought cut off told and drawn colours were 5 to 6 CIEDE2000
    apart in the mean."""
    stack = Stack((Layer(load_swatch("shot-taffeta-green-red")),), backing("white"))
    one, other = (
        tables.tables(stack, scene(place), Seeing(screen), coarse=True).key.astype(float)
        for screen in ("sRGB", "Display P3")
    )
    assert one.min() < -0.01
    two = [x.mean(axis=(0, 1, 2, 3)) @ space(name).to_xyz.T
           for x, name in ((one, "sRGB"), (other, "Display P3"))]  # fmt: skip
    assert two[0] == pytest.approx(two[1], rel=0.01)


def test_a_new_grain_needs_no_new_tables():
    turned = Stack((Layer(chiffon().layers[0].cloth, 45.0),))
    assert tables.stack_key(turned) == tables.stack_key(chiffon())


def grid(side: float, z: float, n: int = 9) -> tuple[np.ndarray, np.ndarray]:
    at = np.linspace(-side, side, n)
    x, y = np.meshgrid(at, at)
    points = np.stack([x.ravel(), y.ravel(), np.full(x.size, z)], axis=1)
    i = np.arange(n * n).reshape(n, n)
    quads = np.stack([i[:-1, :-1], i[:-1, 1:], i[1:, 1:], i[1:, :-1]], -1).reshape(-1, 4)
    return points, quads.astype(np.int32)  # as the tool has them: other kinds are compiled anew


def test_a_sweep_adds_every_layer_before_a_place_and_none_behind():
    sheets = [grid(50.0, z) for z in (0.0, 20.0, 40.0)]
    points = np.concatenate([p for p, _ in sheets])
    quads = np.concatenate([q + 81 * k for k, (_, q) in enumerate(sheets)])
    take = np.repeat([[0.1, 0.2, 0.3], [0.4, 0.5, 0.6], [1.0, 1.0, 2.0]], 64, axis=0)
    places = np.array([[3.0, 4.0, -10.0], [3.0, 4.0, 10.0], [3.0, 4.0, 30.0], [3.0, 4.0, 60.0]])
    got = taken(points, quads, take.astype(np.float32), places, np.zeros(4), np.array([0.0, 0, 1]))
    expected = [[1.5, 1.7, 2.9], [1.4, 1.5, 2.6], [1.0, 1.0, 2.0], [0.0, 0.0, 0.0]]
    np.testing.assert_allclose(got, expected, atol=1e-5)


def test_openness_over_a_wide_sheet_is_half_a_sphere():
    points, quads = grid(4000.0, 0.0, 81)  # quads smaller than how far the place is from them
    place, up = np.array([[5.0, 3.0, 200.0]]), np.array([[0.0, 0.0, 1.0]])
    got = openness(points, quads, np.zeros(len(quads), bool), place, up, 0.0, 200)
    np.testing.assert_allclose(got.sum(axis=2), 1.0, atol=1e-5)
    assert got[0, 0, 0] > 0.99  # above: nothing
    assert got[0, 1, 1] > 0.99  # below: one layer


def test_directions_are_spread_evenly():
    assert np.abs(sphere(200).mean(axis=0)).max() < 0.01
    soft = soft_directions(np.array([0.0, 0.6, 0.8]), 9.0, 30)
    away = np.degrees(np.arccos(soft @ [0.0, 0.6, 0.8]))
    assert away.max() <= 9.0 and np.linalg.norm(soft.mean(axis=0) - [0.0, 0.6, 0.8]) < 0.02


def test_layers_add_and_multiply_channel_by_channel():
    """Three sheets, before a ground, against the sum done by hand."""
    made = tables.tables(chiffon(), WINDOW, coarse=True)
    key, room, glow = (x.astype(np.float32)[None] for x in (made.key, made.room, made.glow))
    ground = np.array([0.3, 0.5, 0.7], np.float32)
    corners = np.array([[2.0, 2], [30, 2], [30, 30], [2, 30]])[::-1]
    xyz = np.concatenate([np.c_[corners, np.full(4, z)] for z in (0.0, 10.0, 20.0)])
    vertex = np.zeros((12, raster.COLUMNS), np.float32)
    vertex[:, 2] = vertex[:, 4] = 1.0  # faces the eye, warp upright
    vertex[:, 6:9], vertex[:, 9], vertex[:, 11], vertex[:, 15] = 1.0, 0.7, 0.4, 9.0
    vertex[:, 10], vertex[:, 12] = 0.1, 0.2
    vertex[:, 16:19], vertex[:, 19:22] = 1.0 / 3.0, 0.2
    light = np.array([[made.level, [0.5, 0.4, 0.3], [0.2, 0.2, 0.2], [0.1, 0.3, 0.2]]])
    out = np.broadcast_to(ground, (32, 32, 1, 3)).copy()
    depth = np.full((32, 32, 1), -1e9, np.float32)
    quads, order = np.arange(12, dtype=np.int32).reshape(3, 4), np.arange(3)
    raster.cloths(
        xyz, quads, order, np.zeros(3, np.int32), vertex, key, room, glow, np.array([np.pi]), light,
        np.array([[1.0, 1.0, 0.0, 0.0, 1.0]]), *NO_THREADS, 1.0, 3.0, False,
        raster.SAMPLES[1], out, depth, 2,
    )  # fmt: skip
    got = looked_up(made, np.array([[0.0, 0, 1]]), np.array([[0.0, 1, 0]]), np.array([0]))[0]
    # a third falls before the cloth that is met, a fifth behind it, besides the room
    on, back = np.array([0.5, 0.4, 0.3]), np.array([0.1, 0.3, 0.2])
    near = INSIDE * on * (1.0 + raster.SCATTERED * 0.2) + back * (INSIDE + 1.0 / 3.0)
    far = INSIDE * on * (1.0 + raster.SCATTERED / 3.0) + back * (INSIDE + 0.2)
    sent = got[:3] + got[3:6] * (0.7 + 0.2 * near + 0.1 * 0.2)
    sent = sent + got[6:9] * made.level * (0.4 + 0.4 * far)
    passed = got[9] + 0.2 * got[6:9]
    expected = ground.astype(float)
    for _ in range(3):
        expected = sent + passed * expected
    np.testing.assert_allclose(out[16, 16, 0], expected, rtol=2e-4)
    np.testing.assert_allclose(out[0, 0, 0], ground)


def test_quads_that_share_an_edge_leave_no_gap_and_no_double():
    points, quads = grid(10.0, 0.0, 6)
    made = tables.tables(chiffon(), WINDOW, coarse=True)
    key, room, glow = (x.astype(np.float32)[None] for x in (made.key, made.room, made.glow))
    spot = np.c_[16.13 + 1.37 * points[:, 0], 15.71 - 1.21 * points[:, 1], points[:, 2]]
    vertex = np.zeros((36, raster.COLUMNS), np.float32)
    vertex[:, 2] = vertex[:, 4] = vertex[:, 9] = vertex[:, 11] = 1.0
    vertex[:, 6:9], vertex[:, 15] = 1.0, 9.0
    out, depth = np.ones((32, 32, 4, 3), np.float32), np.full((32, 32, 4), -1e9, np.float32)
    raster.cloths(
        spot, quads, np.arange(25), np.zeros(25, np.int32), vertex, key, room, glow,
        np.array([np.pi]), np.zeros((1, 4, 3)), np.array([[1.0, 1.0, 0.0, 0.0, 1.0]]),
        *NO_THREADS, 1.0, 3.0, False, raster.SAMPLES[4], out, depth, 3,
    )  # fmt: skip
    inside = out[6:26, 6:26].reshape(-1, 3)
    assert np.ptp(inside, axis=0).max() < 1e-5


def test_a_fold_mirrors_what_lies_at_an_angle():
    stack = Stack((Layer(chiffon().layers[0].cloth, 30.0),))
    assert [(x.grain_deg, x.face) for x in doubled(stack).layers] == [(30, "face"), (-30, "back")]


def test_turning_the_stand_keeps_handedness():
    m = rotation(33.0, 12.0)
    np.testing.assert_allclose(m @ m.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(m) == pytest.approx(1.0)


@pytest.mark.parametrize("name", shape_names())
def test_every_shape_fills_its_frame_and_stays_within_it(name):
    """Of the picture's width or height two thirds, at the turn in which it is drawn; without its
    body alike, for the two are laid one on the other."""
    staged, bare = (
        hung_stage(Stack((chiffon().layers[0],)), name, dress_form=reach)
        for reach in ("full length", "none")
    )
    for width, height in ((400, 500), (850, 700)):  # as a file, and on the page
        if staged.worn:
            alike = framing(staged, width, height, ASIDE)
            assert framing(bare, width, height, ASIDE) == pytest.approx(alike)
            assert eye(bare, ASIDE) == pytest.approx(eye(staged, ASIDE))
        x, y, step = framing(staged, width, height, ASIDE)
        seen = seen_from(
            eye(staged, ASIDE), staged.points @ rotation(ASIDE.turn_deg, ASIDE.tilt_deg).T
        )  # fmt: skip
        at = (seen[:, :2] - [x, y]) / step / [width, height]
        assert np.abs(at).max() < 0.5
        assert np.ptp(at, axis=0).max() > 0.66


def test_one_who_stands_sees_a_hem_from_above():
    """By similar triangles: from 4 m, 1.6 m up, the near side of a hem lower than the far side, and
    what is as high as the eye where it is. Only in a room, and only what is worn."""
    ring = np.array([[0.0, 400.0, 300.0], [300.0, 400.0, 0.0], [0.0, 400.0, -300.0],
                     [0.0, 1600.0, 300.0]])  # fmt: skip
    worn, hangs = (hung_stage(chiffon(), name) for name in ("gathered-3-organza", "panel-organza"))
    assert eye(worn, Sight()) == (4000.0, pytest.approx(1600.0))
    near, side, far, level = seen_from(eye(worn, Sight()), ring)
    assert 1600.0 - near[1] == pytest.approx(1200.0 * 4000.0 / 3700.0)
    assert 1600.0 - far[1] == pytest.approx(1200.0 * 4000.0 / 4300.0)
    assert side[:2] == pytest.approx([300.0, 400.0]) and level[1] == pytest.approx(1600.0)
    for staged, raised in ((hangs, 0.0), (worn, -10.0)):
        x, y, _ = framing(staged, 300, 300, Sight(), raised)
        assert (x, y) == pytest.approx((0.0, eye(staged, Sight(), raised)[1]))
    assert len(worn.floor) and not len(hung_stage(chiffon(), "swatch-hand-organza").floor)


def test_where_one_stands_moves_the_mean_colour_little(monkeypatch):
    """The light of folds is looked up for the eye of every answer, wherever they are seen."""
    white = Stack(organza().layers, backing("white"))
    staged = stage([Cover(load_shape("gathered-3-organza"), white, lined=True)], floor=False)
    made, means = lit_stage(staged, scene("footlights"), coarse=True), []
    for away in (4000.0, 1e9):
        monkeypatch.setattr(hanging, "AWAY_MM", away)
        drawn = picture(made, 60, 75)
        own = np.abs(drawn - drawn[0, 0]).max(axis=2) > 1e-3
        means.append(colour.XYZ_to_Lab(colour.RGB_to_XYZ(drawn[own].mean(axis=0), "sRGB")))
    assert np.abs(means[0] - means[1]).max() > 0.01
    assert colour.delta_E(*means, method="CIE 2000") < 1.5


@pytest.mark.parametrize("moving", ["cloth", "light"])
def test_each_frame_of_a_loop_is_the_still_of_its_moment(moving):
    """All lights share what goes on between layers: worked out for one still alone it is the same.
    Lights that stand alike to either side of the eye, here those of frames 0 and 3 and of 1 and 2,
    share tables, in which they lie elsewhere among the nodes."""
    (light,) = WINDOW.lights
    aslant = replace(WINDOW, lights=(replace(light, zenith_deg=45.0),))
    frames = hung_frames(chiffon(), aslant, frames=4, width_px=60, height_px=80, moving=moving,
                         behind=backing("calico"))  # fmt: skip
    staged = hung_stage(chiffon(), "gathered-3-organza")
    before = lit_stage(staged, aslant)
    for n, frame in enumerate(frames):
        for held in (tables._made, tables._factors, tables._laid):
            held.cache_clear()
        around = 90.0 * n * (moving == "light")
        made = lit_stage(staged, scene_round(aslant, around),
                         seeing=replace(AS_SEEN, exposure=before.exposure))  # fmt: skip
        still = picture(replace(made, ground=before.ground), 60, 80, Sight(90.0 * n - around),
                        soft=4)  # fmt: skip
        still = image_of(still, ())
        apart = np.abs(np.asarray(frame, int) - np.asarray(still, int))
        assert apart.mean() < 0.5 if moving == "light" and n >= 2 else apart.max() <= 1
    assert np.abs(np.asarray(frames[1], int) - np.asarray(frames[2], int)).mean() > 1.0


def test_lights_carried_half_round_stand_behind():
    there = scene_round(WINDOW, 180.0).lights[0]
    assert there.zenith_deg == pytest.approx(125.0, abs=0.01)
    assert there.azimuth_deg == pytest.approx(270.0, abs=0.01)
    assert there.half_deg == WINDOW.lights[0].half_deg


def test_the_warp_lies_in_the_cloth_and_turns_with_the_grain():
    shape = load_shape("gathered-3-organza")
    straight, cross = (
        hung_stage(Stack((Layer(chiffon().layers[0].cloth, grain),)), "gathered-3-organza").warps
        for grain in (0.0, 90.0)
    )
    plain = ~shape.band
    assert np.abs((straight * shape.normals).sum(axis=1)).max() < 1e-3
    assert np.abs((straight * cross).sum(axis=1)).max() < 1e-3
    assert np.median(straight[plain, 2]) < -0.9  # down the garment


@lru_cache(maxsize=1)
def skirt():
    return lit_stage(hung_stage(chiffon(), "gathered-3-organza"), WINDOW, coarse=True)


def test_a_sheer_skirt_shows_what_stands_behind_it():
    """The body and the far side are seen through it, and not through the foremost layer alone."""
    made = skirt()
    sight = Sight(20.0)
    whole = picture(made, 90, 112, sight, soft=2)
    front = picture(made, 90, 112, sight, soft=2, front=True)
    assert np.isfinite(whole).all()
    bare = lit_stage(stage([Cover(load_shape("gathered-3-organza"), chiffon())]), WINDOW,
                     coarse=True)  # fmt: skip
    without = picture(bare, 90, 112, sight, soft=2)
    seen = np.abs(front - whole).max(axis=2)
    assert (seen > 0.02).mean() > 0.2  # much of it is seen through
    assert np.abs(without - whole).max() > 0.05


def test_the_whole_turn_brings_the_same_picture_back():
    a, b = (picture(skirt(), 40, 50, Sight(t), soft=1) for t in (10.0, 370.0))
    np.testing.assert_allclose(a, b, atol=2e-3)


def test_what_cannot_be_drawn_is_told():
    with pytest.raises(InputError, match="needs a layer"):
        hung_stage(Stack(()), "gathered-3-organza")
    with pytest.raises(InputError, match="no shape"):
        hung_stage(chiffon(), "no such thing")
    with pytest.raises(InputError, match="no ground"):
        lit_stage(skirt().stage, WINDOW, ground="pink", seeing=AS_SEEN)


def test_many_directions_are_added_as_few_are():
    """Layers between all directions at once against the adding of few named ones, even light."""
    cloth = load_swatch("shot-organza-red-black")
    made = all_round(Stack((Layer(cloth), Layer(cloth, 90.0, "back")))).pile
    piles = [
        as_stack(laid(solved(cloth), turn, flip, ()))
        for turn, flip in ((0.0, False), (0.5 * np.pi, True))
    ]
    few = add(*piles, GAPS["loose"])
    for name in ("reflect", "under", "transmit"):
        got, want = ((getattr(p, name) @ p.share) @ p.share for p in (made, few))
        np.testing.assert_allclose(got, want, atol=2e-3)
    assert made.through @ made.share == pytest.approx(few.through @ few.share, abs=1e-9)


def test_a_flood_without_dye_sends_on_all_that_meets_something():
    """To and from the nodes, in even light: all of it, but for the noise of few rays a ring."""
    cell = solved(load_swatch("shot-organza-red-black")).white.cell
    made = flood(cell)
    came, went = made.every.came, made.every.went
    here = (came[:, 2] < 0).astype(int), (went[:, 2] < 0).astype(int)
    left = kept(cell, np.zeros((1, 2)))
    sent = made.between(np.stack(here), np.ones(2), left)[0] @ nodes().share
    white = solved(load_swatch("shot-organza-red-black")).white
    through = np.array([white.through[k : k + 72] @ nodes().share[:72] for k in (0, 72)])
    np.testing.assert_allclose(sent, 1.0 - through, atol=0.01)


def test_factors_of_a_flood_are_those_of_exact_pairs_in_all():
    """Against light traced from the very directions, undyed: the sums over many pairs."""
    white = solved(load_swatch("shot-organza-red-black")).white
    made = flood(white.cell)
    angle = np.radians(55.0)
    left = kept(white.cell, np.zeros((1, 2)))
    found = factors(made, np.repeat(left, 3, axis=1), np.ones(3), angle).table
    np.testing.assert_allclose(found[0], found[1], atol=1e-4)
    rng = np.random.default_rng(3)
    got, want = [], []
    while len(got) < 12:
        row, column, turn = rng.integers([DISC, DISC, TURNS])
        e, one, two = (np.array(v) for v in eye_at(column, row, DISC))
        round_ = 2.0 * np.pi * turn / TURNS
        o = np.cos(angle) * e + np.sin(angle) * (np.cos(round_) * one + np.sin(round_) * two)
        if min(e[2], o[2]) < 0.25:
            continue
        pair = tuple((-float(v[1]), float(v[0]), float(v[2])) for v in (e, o))
        met = white_named(white.cell, pair, ((0, 1),))
        want.append(met.dyed(np.zeros((1, 2)))[1][0, 0, 1])
        got.append(float(found[0, :, row, column, turn, 0].sum()))
    assert np.sum(got) == pytest.approx(np.sum(want), rel=0.25)
    assert np.corrcoef(got, want)[0, 1] > 0.8


def near(
    stack: Stack, back: np.ndarray, step: float, side: int = 96, e: tuple[float, ...] = (0, 0, 1)
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Light sent (side, side, 3) and let through (side, side) by pixels ``step`` mm apart, of a
    stack of which the tables tell ``back`` sent back, .05 on and .05 straight; and its threads."""
    falls = tables.rgb_matrix(np.ones(41), WINDOW, AS_SEEN, "2")
    geometry = geometry_of(stack.layers[0].cloth)
    rows = threads(stack, (geometry.warp_spacing, geometry.weft_spacing, 0.05, 0.05, 45.0), falls)
    lamp = np.array([[0.3, -0.4, np.sqrt(0.75)]])
    sent, through = np.empty((side, side, 3)), np.empty((side, side))
    for i, j in np.ndindex(side, side):
        through[i, j] = closely(
            rows, j * step, i * step, step, 0.0, 0.0, step, np.array(e, float), lamp,
            np.full((1, 3), 0.2), np.asarray(back, float), np.full(3, 0.05), 0.05, sent[i, j],
        )  # fmt: skip
    return sent, through, rows


@pytest.mark.parametrize("cloth", ["shot-organza-red-black", "shot-chiffon-rose-yellow"])
@pytest.mark.parametrize("e", [(0.0, 0.0, 1.0), (0.35, 0.2, -0.915)])
def test_coming_near_changes_no_mean(cloth, e):
    """However the threads lie, their mean is what the tables tell, from the face and the back."""
    stack = Stack((Layer(load_swatch(cloth)), Layer(load_swatch(cloth), 30.0, "back")))
    back = np.array([0.4, 0.12, 0.1])
    sent, through, _ = near(stack, back, 0.05, e=e)
    np.testing.assert_allclose(sent.mean(axis=(0, 1)), back + 0.05, rtol=0.06)
    assert through.mean() == pytest.approx(0.05, rel=0.08)
    assert through.std() > 0.5 * through.mean()  # threads and openings


def test_threads_have_their_own_colours():
    """Where a crimson warp lies foremost it is redder than where a black weft does."""
    stack = organza()
    sent, _, rows = near(stack, np.array([0.2, 0.05, 0.05]), 0.02)
    found = {0: [], 1: []}
    for i, j in np.ndindex(96, 96):
        if (system := met(rows[0], -j * 0.02, i * 0.02, 0.0, 0.0, 1.0, LOOSE)[0]) >= 0:
            found[system].append(sent[i, j])
    warp, weft = (np.mean(found[k], axis=0) for k in (0, 1))
    assert warp[0] / warp[1] > 1.5 * weft[0] / weft[1]


def test_two_layers_beat_where_their_threads_do():
    """Two gratings of one spacing, turned by a, beat at 2 sin(a/2) of their frequency (I. Amidror,
    The Theory of the Moire Phenomenon, vol. 1, 2009, ch. 2)."""
    cloth, turn, step = load_swatch("shot-organza-red-black"), 9.0, 0.1
    one, two = (
        near(Stack(tuple(Layer(cloth, g) for g in grains)), np.full(3, 0.3), step, 128)[1]
        for grains in ((0.0,), (0.0, turn))
    )
    spacing = geometry_of(cloth).warp_spacing
    wanted = 2.0 * np.sin(np.radians(turn / 2.0)) / spacing
    frequency = np.fft.fftfreq(128, step)
    far = np.hypot(frequency[:, None], frequency[None])
    window = np.outer(np.hanning(128), np.hanning(128))
    low = (far > 0.15) & (far < 0.6 / spacing)
    single, double = (np.abs(np.fft.fft2((x - x.mean()) * window)) * low for x in (one, two))
    assert far.ravel()[double.argmax()] == pytest.approx(wanted, abs=0.13)
    assert double.max() > 3.0 * single.ravel()[double.argmax()]


def test_a_choice_of_what_lies_behind_is_the_forms_or_a_lining():
    """Skin and calico colour the form, and nothing else does; any other colour is worn beneath a
    skirt from the waist down, and sewn to cloth that hangs alone."""
    for name in ("skin medium", "calico"):
        lined, stack, form = behind_as(chiffon(), backing(name))
        assert not lined and stack.backing is None and form == backing(name)
    lined, stack, form = behind_as(chiffon(), backing("black"))
    assert lined and stack.backing == backing("black") and form is None
    worn = hung_stage(stack, "gathered-3-organza", lined=True)
    beneath = worn.body[worn.body_part == 1]
    lining = load_shape("inner-lining")
    np.testing.assert_array_equal(beneath, lining.vertices)
    assert worn.triangles.max() == len(worn.body) - 1
    assert all(s.backing is None for s in worn.stacks[:2])  # what is seen through stays sheer
    alone = hung_stage(stack, "panel-organza", lined=True)
    assert not len(alone.body) and alone.stacks[0].backing == backing("black")


def test_a_lining_is_seen_through_the_skirt_and_the_form_keeps_its_colour():
    low = Sight(turn_deg=20.0, tilt_deg=0.0)

    def drawn(name: str) -> np.ndarray:
        lined, stack, form = behind_as(chiffon(), backing(name))
        staged = hung_stage(stack, "gathered-3-organza", lined=lined)
        made = lit_stage(staged, WINDOW, form, beneath=stack.backing, coarse=True,
                         seeing=Seeing(exposure=0.5))  # fmt: skip
        return picture(made, 60, 75, low, samples=1, soft=2)

    calico, black, white = map(drawn, ("calico", "black", "white"))
    top, middle = slice(6, 9), slice(28, 45)
    # above the waist the form is bare, and of its own colour whatever is worn below it
    assert np.abs(black[top, 28:32] - calico[top, 28:32]).max() < 0.02
    seen = [p[middle, 26:34].mean() for p in (black, calico, white)]
    assert seen[0] < 0.8 * seen[1] < 0.9 * seen[2]


@pytest.mark.parametrize("place", ["window at the side", "stage LED"])
def test_every_second_band_tells_the_colours_of_all(place, monkeypatch):
    """Of strong dyes in daylight and by emitters of three colours, differences by colour-science:
    far below the 1 or so that an eye tells (from memory)."""
    cloth = load_swatch("shot-organza-teal-copper")
    stack = Stack((Layer(cloth), Layer(cloth, 90.0)))
    made = []
    for step in (1, tables.BAND_STEP):
        monkeypatch.setattr(tables, "BAND_STEP", step)
        made.append(tables._tables(tables._core(stack, COARSE), scene(place), AS_SEEN, "2"))
    for name in ("key", "room"):
        every, some = (
            colour.XYZ_to_Lab(colour.RGB_to_XYZ(
                np.maximum(getattr(one, name)[..., :3].astype(float), 0.0), "sRGB"
            ))
            for one in made
        )  # fmt: skip
        apart = colour.delta_E(every, some, method="CIE 2000")
        assert apart.mean() < 0.1 and apart.max() < 0.5
        assert np.abs(every - some).max() > 0.0


def test_a_picture_tells_how_full_its_skirt_is():
    """A making sheet may count another fullness than the shape beside it was hung at."""
    place = scene("overcast")
    told = {name: notes(name, place)[0].split(" hung once")[0] for name in shape_names()}
    assert told["gathered-2-organza"] == "gathered skirt, 2 to 1,"
    assert told["gathered-5-organza"] == "gathered skirt, 5 to 1,"
    assert told["circle-bias-organza"] == "circle skirt on the bias"


def test_a_band_shows_its_cloth_inside_and_no_body_where_none_stands():
    """Cloth folded over a stiffener: its white is seen from nowhere; a skirt by itself meets light
    of no body."""
    bare = hung_stage(organza(), "gathered-3-organza", dress_form="none")
    worn = hung_stage(organza(), "gathered-3-organza")
    assert not bare.opens[:, [1, 3]].any() and worn.opens[:, [1, 3]].max() > 0.5
    assert (bare.opens[:, [0, 2]] == worn.opens[:, [0, 2]]).all()
    (band,) = bare.bands
    made = lit_stage(bare, WINDOW, coarse=True).tables
    for x in (made[band].key, made[band].room, made[band].glow):
        assert (x[0] == x[1]).all()
    lined = tables.tables(bare.stacks[band], WINDOW, coarse=True)  # as the stack is, from behind
    assert lined.room[1, ..., :3].mean() > 1.5 * made[band].room[1, ..., :3].mean()


def _under() -> Stack:
    net = Layer(load_swatch("tarlatan-green"))
    return Stack((*organza().layers, net), backing("skin medium"))


def test_what_hangs_beneath_fills_the_skirt_or_lies_close():
    """The innermost layer hangs by itself: a stiffener far wider than a slip, and both within."""
    wide = {}
    for beneath in BENEATH[1:]:
        staged, form, worn = hung_on(_under(), "gathered-3-organza", backing("calico"), beneath)
        assert (form, worn) == (backing("calico"), None)
        inner = staged.quads[staged.kind == 0].ravel()
        assert staged.stacks[0].layers == _under().layers[1:]
        assert staged.stacks[2].layers == organza().layers and staged.stacks[2].backing is None
        low = staged.points[inner][staged.points[inner][:, 2] < 520.0]
        wide[beneath] = np.ptp(low[:, 0])
    outer = load_shape("gathered-3-organza").vertices
    whole = np.ptp(outer[outer[:, 2] < 520.0][:, 0])
    assert wide["slip"] < wide["lining"] < 0.8 * wide["stiffener"] < 0.8 * whole


def test_a_stiffener_is_seen_through_the_skirt():
    """Green net within red organza: below the hips, beside the legs, the picture turns greener;
    above the waist it is as it was."""
    def drawn(beneath: str) -> np.ndarray:
        stack = _under() if beneath != "none" else organza()
        image = draw_hung(stack, WINDOW, width_px=80, height_px=100, behind=backing("calico"),
                          beneath=beneath, coarse=True, seeing=Seeing(exposure=0.5))  # fmt: skip
        return np.asarray(image.convert("RGB"), float)

    net, alone = drawn("stiffener"), drawn("none")
    beside = net[50:70, 26:54] - alone[50:70, 26:54]
    assert np.abs(beside).mean() > 2.0 and (beside[..., 1] - beside[..., 0]).mean() > 0.5
    assert np.abs(net[2:8, 36:44] - alone[2:8, 36:44]).max() <= 2.0


def test_a_dress_form_reaches_as_far_as_it_is_said():
    stack, shape = organza(), "gathered-3-organza"
    none, hip, full = (
        hung_on(stack, shape, backing(name), dress_form=reach)[0]
        for name, reach in zip(("black", "calico", "calico"), DRESS_FORMS, strict=True)
    )
    assert not (none.body_part == 0).any() and (none.body_part == 1).any()  # its lining is there
    knee = [np.ptp(x.body[np.abs(x.body[:, 2] - 500.0) < 20.0][:, 0]) for x in (hip, full)]
    assert knee[0] < 40.0 < 120.0 < knee[1]  # a pole, and legs
    low = hip.points[:, 2] < 600.0
    assert not hip.opens[low][:, [1, 3]].any() and full.opens[low][:, [1, 3]].any()
    assert hung_on(stack, shape, None)[0].body.size == 0


@pytest.mark.parametrize(
    ("layers", "shape", "behind", "beneath", "dress_form", "words"),
    [
        (1, "gathered-3-organza", "calico", "slip", "", "innermost of two layers or more"),
        (2, "gathered-3-organza", "white", "slip", "", "white behind is worn as a lining"),
        (2, "gathered-3-chiffon", "calico", "stiffener", "", "is made for .*gathered-3-organza"),
        (2, "panel-organza", "calico", "lining", "", "is worn under skirts"),
        (2, "gathered-3-organza", "calico", "crinoline", "", "nothing called 'crinoline'"),
        (1, "gathered-3-organza", "calico", "none", "to the knee", "no dress form 'to the knee'"),
        (1, "gathered-3-organza", "calico", "none", "none", "calico behind is a dress form's own"),
        (1, "gathered-3-organza", None, "none", "to the hip", "open behind is without"),
        (1, "panel-organza", "white", "none", "full length", "panel hangs on no dress form"),
    ],
)
def test_what_cannot_hang_together_is_refused_in_one_line(
    layers, shape, behind, beneath, dress_form, words
):
    stack = Stack(_under().layers[:layers])
    under = None if behind is None else backing(behind)
    with pytest.raises(InputError, match=words) as refused:
        hung_on(stack, shape, under, beneath, dress_form)
    assert "\n" not in str(refused.value)


def test_command_line_and_front_door_draw_the_same_beneath(tmp_path, capsys):
    out = tmp_path / "under.png"
    assert run(["draw", "hung", "--stack", "shot-organza-red-black + tarlatan-green", "--behind",
                "skin medium", "--beneath", "stiffener", "--dress-form", "to the hip", "--size",
                "64", "--out", str(out)]) == 0  # fmt: skip
    assert beneath_words("stiffener") in capsys.readouterr().err
    drawn = wc.draw(_under(), "gathered skirt", width_px=64, beneath="stiffener",
                    dress_form="to the hip")  # fmt: skip
    assert (np.asarray(Image.open(out)) == np.asarray(drawn)).all()
    assert beneath_words("stiffener") in drawn.info["notes"]
    with pytest.raises(InputError, match="choose another form"):
        wc.draw(_under(), width_px=64, beneath="slip")
    assert run(["draw", "close-up", "muslin-white", "--beneath", "slip", "--out", str(out)]) == 2
    assert "does not count with close-up" in capsys.readouterr().err


def test_the_command_line_offers_what_can_hang_beneath():
    for command in (draw_command, keep_command):
        offered = {p.name: p.type.choices for p in command.params
                   if p.name in ("beneath", "dress_form")}  # fmt: skip
        assert tuple(offered.pop("beneath")) == BENEATH
        assert all(tuple(x) == DRESS_FORMS for x in offered.values())
    assert "dress_form" in {p.name for p in draw_command.params}
