"""Hung cloth: tables against the optics they are read from, light sweeps and layers against sums
done by hand, and what a picture of it must show."""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import colour
import numpy as np
import pytest

from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.adding import GAPS, add, pile_of
from weavecolor.optics.allround import all_round
from weavecolor.optics.cell.filaments import glints
from weavecolor.optics.cell.glint import AZIMUTHS, glint_tables, regular
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.layer import laid, solved
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture import raster, tables
from weavecolor.picture.encode import AS_SEEN, Seeing
from weavecolor.picture.hanging import (
    Cover,
    Sight,
    doubled,
    lit_stage,
    picture,
    rotation,
    stage,
    warp_directions,
)
from weavecolor.picture.hung import hung_stage, scene_round
from weavecolor.picture.lookup import looked_up
from weavecolor.picture.shapes import load_shape
from weavecolor.picture.sweep import openness, soft_directions, sphere, taken
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

pytestmark = pytest.mark.usefixtures("all_rays")

WINDOW = scene("window at the side")


@lru_cache(maxsize=1)
def chiffon() -> Stack:
    return Stack((Layer(load_swatch("shot-chiffon-rose-yellow")),))


def angles(v: np.ndarray, n: np.ndarray, w: np.ndarray, sign: float) -> tuple[float, float]:
    """(zenith, azimuth) of a direction about a normal and a warp; ``sign`` -1: seen from behind,
    where a direction is named by its opposite."""
    zenith = np.degrees(np.arccos(np.clip(v @ n, -1.0, 1.0)))
    azimuth = np.degrees(np.arctan2(v @ np.cross(n, w), sign * (v @ w)))
    return min(float(zenith), 87.5), float(azimuth % 360.0)


@pytest.mark.parametrize("space", ["sRGB", "Display P3"])
def test_a_colour_looked_up_is_that_of_the_optics_at_random_orientations(space):
    """CIEDE2000 by colour-science, on the screen's own linear RGB of light sent by both sides."""
    rng = np.random.default_rng(5)
    stack, seeing = chiffon(), Seeing(space)
    made = tables.tables(stack, WINDOW, seeing)
    lamp = WINDOW.lights[0]
    light = tables.view_vector(lamp, WINDOW)
    normals, warps, sides, asked, below, links = [], [], [], [], [], []
    while len(normals) < 60:
        n = rng.normal(size=3)
        n /= np.linalg.norm(n)
        if n[2] < 0.09 or abs(n @ light) < 0.2:
            continue
        w = np.cross(n, rng.normal(size=3))
        w /= np.linalg.norm(w)
        side, before = len(normals) % 2, n @ light > 0
        sign = -1.0 if side else 1.0
        k = len(asked), len(below)
        eye = angles(np.array([0.0, 0.0, 1.0]), n, w, sign)
        sun = angles(light if before else -light, n, w, sign)
        for way, front in ((eye, side == 0), (sun, (side == 0) == before)):
            (asked if front else below).append(way)
        normals.append(n), warps.append(w), sides.append(side), links.append((k, side, before))
    factors = np.empty((len(normals), 41))
    count = len(asked)
    pairs = [
        ((a, a + 1) if side == 0 else (count + b, count + b + 1)) if before else (a, count + b)
        for (a, b), side, before in links
    ]
    ways = [tuple(map(tuple, unit(*np.radians(np.reshape(x, (-1, 2)).T)))) for x in (asked, below)]
    pile = laid(solved(stack.layers[0].cloth), 0.0, False, *ways, links=tuple(pairs), exact=False)
    start = pile.lie.share.size - count - len(below)
    for i, ((one, other), (_, side, before)) in enumerate(zip(pairs, links, strict=True)):
        table = (pile.under if side else pile.reflect) if before else pile.pass_
        factors[i] = table[:, start + one, start + other]
    matrix = tables.rgb_matrix(lamp.irradiance, WINDOW, seeing, "2")
    truth = (factors @ matrix) * np.abs(np.array(normals) @ light)[:, None]
    got = looked_up(made, np.array(normals), np.array(warps), np.array(sides))
    room = got[:, 3:6] + got[:, 6:9] * made.level
    known = colour.RGB_COLOURSPACES[space]

    def lab(rgb):
        xyz = colour.RGB_to_XYZ(rgb, known, known.whitepoint)
        return colour.XYZ_to_Lab(xyz, known.whitepoint)

    # the light's softness is no part of the optics: allow for it where light grazes
    apart = colour.delta_E(lab(truth + room), lab(got[:, :3] + room), method="CIE 2000")
    assert np.median(apart) < 0.5
    # where filaments glint, the truth's own rays are few: about 1 CIEDE2000 of noise
    assert np.quantile(apart, 0.9) < 1.3
    assert apart.max() < 3.0


def test_light_let_through_never_exceeds_what_falls():
    made = tables.tables(chiffon(), WINDOW)
    assert (made.room[..., 3] >= 0).all() and (made.room[..., 3] <= 1).all()
    assert (made.dim >= 0).all() and (made.dim <= 1).all()
    # channel by channel a vivid colour may exceed it, its luminance may not
    assert made.even.sum(axis=0) @ [0.2126, 0.7152, 0.0722] <= 1.0


def test_a_laid_backing_lets_nothing_through():
    stack = Stack(chiffon().layers, backing("white"))
    made = tables.tables(stack, WINDOW, coarse=True)
    assert not made.room[..., 3].any() and not made.glow[..., :3].any()


def test_a_new_grain_needs_no_new_tables():
    turned = Stack((Layer(chiffon().layers[0].cloth, 45.0),))
    assert tables.stack_key(turned) == tables.stack_key(chiffon())


def grid(side: float, z: float, n: int = 9) -> tuple[np.ndarray, np.ndarray]:
    at = np.linspace(-side, side, n)
    x, y = np.meshgrid(at, at)
    points = np.stack([x.ravel(), y.ravel(), np.full(x.size, z)], axis=1)
    i = np.arange(n * n).reshape(n, n)
    return points, np.stack([i[:-1, :-1], i[:-1, 1:], i[1:, 1:], i[1:, :-1]], -1).reshape(-1, 4)


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
    light = np.array([[made.level, [0.5, 0.4, 0.3], [0.2, 0.2, 0.2], [0, 0, 0]]])
    out = np.broadcast_to(ground, (32, 32, 1, 3)).copy()
    depth = np.full((32, 32, 1), -1e9, np.float32)
    quads, order = np.arange(12).reshape(3, 4), np.arange(3)
    raster.cloths(
        xyz, quads, order, np.zeros(3, np.int64), vertex, key, room, glow, np.array([np.pi]), light,
        np.array([[1.0, 1.0, 0.0, 0.0, 1.0]]), 1.0, 3.0, False, raster.SAMPLES[1], out, depth, 2,
    )  # fmt: skip
    got = looked_up(made, np.array([[0.0, 0, 1]]), np.array([[0.0, 1, 0]]), np.array([0]))[0]
    cloth = np.array([0.5, 0.4, 0.3])
    sent = got[:3] + got[3:6] * (0.7 + 0.2 * cloth + 0.1 * 0.2)
    sent = sent + got[6:9] * made.level * (0.4 + 0.4 * cloth)
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
        spot, quads, np.arange(25), np.zeros(25, np.int64), vertex, key, room, glow,
        np.array([np.pi]), np.zeros((1, 4, 3)), np.array([[1.0, 1.0, 0.0, 0.0, 1.0]]), 1.0, 3.0,
        False, raster.SAMPLES[4], out, depth, 3,
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


def test_lights_carried_half_round_stand_behind():
    there = scene_round(WINDOW, 180.0).lights[0]
    assert there.zenith_deg == pytest.approx(125.0, abs=0.01)
    assert there.azimuth_deg == pytest.approx(270.0, abs=0.01)


def test_the_warp_lies_in_the_cloth_and_turns_with_the_grain():
    shape = load_shape("gathered-3-organza")
    straight, cross = warp_directions(shape, 0.0), warp_directions(shape, 90.0)
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
        pile_of(laid(solved(cloth), turn, flip, ()))
        for turn, flip in ((0.0, False), (0.5 * np.pi, True))
    ]
    few = add(*piles, GAPS["loose"])
    for name in ("reflect", "under", "pass_"):
        got, want = ((getattr(p, name) @ p.share) @ p.share for p in (made, few))
        np.testing.assert_allclose(got, want, atol=2e-3)
    assert made.through @ made.share == pytest.approx(few.through @ few.share, abs=1e-9)


def test_glints_are_the_same_both_ways_and_as_traced_for_a_direction():
    """Against rays of that very direction: the mean over many, and each to what noise allows."""
    cell = solved(load_swatch("shot-organza-red-black")).white.cell
    face, back, across = glint_tables(cell)
    np.testing.assert_allclose(face, face.T, atol=1e-4)
    at = [z * AZIMUTHS + a for z in (0, 4, 7, 10) for a in (0, 7, 19, 30)]
    ways = [tuple(map(float, v)) for v in regular()[at]]
    traced = glints(cell, {v: ways for v in ways}, exact=True)
    want = np.stack([traced[v] for v in ways])
    got = face[np.ix_(at, at)]
    assert got.mean() == pytest.approx(want.mean(), rel=0.15)
    assert np.corrcoef(got.ravel(), want.ravel())[0, 1] > 0.93


@pytest.mark.slow
def test_a_hung_shape_path_traced():
    """The same shape with the layer's tables as its material, in the same light (needs the extra
    ``trace`` and a recent LLVM): mean CIEDE2000 over the cloth under 3, and no lean in lightness.
    What is left is the noise of 16 paths a pixel, and that what cloth throws on cloth is guessed
    from how open a place is."""
    pytest.importorskip("mitsuba")
    sys.path.insert(0, str(Path(__file__).parent / "reference"))
    try:
        from hung_tracer import Tracer
    finally:
        sys.path.pop(0)
    stack = Stack((Layer(load_swatch("shot-organza-red-black")),))
    staged = hung_stage(stack, "gathered-3-organza")
    none = staged.floor[:0]
    staged = replace(staged, floor=none, tiles=staged.tiles[:0], floor_open=staged.floor_open[:0])
    made = lit_stage(staged, WINDOW)
    made = replace(made, uneven=np.zeros_like(made.uneven))
    sight, wide, high = Sight(20.0, 6.0), 40, 50
    traced = Tracer(made, sight).picture(wide, high, 16)

    def drawn(ground: float) -> np.ndarray:
        fine = picture(replace(made, ground=np.full(3, ground)), 4 * wide, 4 * high, sight, soft=24)
        return fine.reshape(high, 4, wide, 4, 3).mean(axis=(1, 3))

    own = picture(made, 4 * wide, 4 * high, sight, soft=24)
    own = own.reshape(high, 4, wide, 4, 3).mean(axis=(1, 3))
    cloth = np.abs(drawn(1.0) - drawn(0.0)).mean(axis=2) < 0.97 * made.exposure
    known = colour.RGB_COLOURSPACES["sRGB"]
    one, two = (
        colour.XYZ_to_Lab(colour.RGB_to_XYZ(x[cloth], known, known.whitepoint), known.whitepoint)
        for x in (np.asarray(traced, float), np.asarray(own, float))
    )
    assert cloth.sum() > 300
    assert colour.delta_E(one, two, method="CIE 2000").mean() < 3.0
    assert abs((two - one)[:, 0].mean()) < 1.0
