"""Parts of the unit cell one by one: directions, spread numbers, straight rays, yarns' outlines,
bundles of light; each against geometry, a general library or a law."""

from __future__ import annotations

import math

import numpy as np
import outlines
import pytest
from scipy.integrate import dblquad
from scipy.stats import qmc
from test_cell_silhouette import upright

from weavecolor.optics.cell import filaments, paths, silhouette
from weavecolor.optics.cell.filaments import FilamentCell, Strand
from weavecolor.optics.cell.nodes import cap, nodes, unit
from weavecolor.optics.cell.openness import openness, pencils
from weavecolor.optics.cell.pairs import (
    Distance,
    JointGaps,
    _Bundle,
    _Place,
    joint_gaps,
    radical_inverses,
)
from weavecolor.optics.cell.rays import blocked, bodies, first_met, solid
from weavecolor.optics.cell.tubes import orbits, tubes
from weavecolor.textile.cloth import Construction
from weavecolor.textile.weaves import weave

# Directions


def test_a_direction_is_shared_among_the_nodes_about_it():
    grid = nodes()
    at = grid.about(grid.vector)
    assert at == pytest.approx(np.eye(144), abs=1e-9)
    rng = np.random.default_rng(3)
    zenith, azimuth = np.arccos(rng.uniform(-1, 1, 400)), rng.uniform(0, 2 * np.pi, 400)
    v = unit(zenith, azimuth)
    w = grid.about(v)
    assert w.min() >= 0.0 and w.sum(axis=1) == pytest.approx(1.0)
    # only nodes of its own side
    assert not w[v[:, 2] > 0][:, 72:].any() and not w[v[:, 2] < 0][:, :72].any()
    inner = (np.abs(v[:, 2]) < grid.cosine.max()) & (np.abs(v[:, 2]) > grid.cosine.min())
    # between rings the cosine is mixed exactly, and the azimuth within half a step's sagitta
    assert (w @ grid.cosine)[inner] == pytest.approx(np.abs(v[inner, 2]), abs=0.02)
    mixed = w @ grid.vector
    assert np.abs(mixed - v)[inner].max() < 0.13
    turn = np.degrees(np.arctan2(-mixed[:, 0], mixed[:, 1]) - azimuth + 3 * np.pi) % 360 - 180
    assert np.abs(turn)[inner].max() < 4.0
    # straight out, all azimuths alike
    out = grid.about(np.array([[0.0, 0.0, 1.0]]))[0]
    assert out[60:72] == pytest.approx(1 / 12) and not out[:60].any()


def test_nodes_share_out_even_light_and_turn_into_one_another():
    grid = nodes(4, 8)
    v, half = grid.vector, grid.half
    assert np.linalg.norm(v, axis=1) == pytest.approx(1.0)
    assert grid.share[:half].sum() == pytest.approx(1.0) == grid.share[half:].sum()
    # moments of cos dw / pi over a half: of z 2/3, of z^2 1/2, of x^2 and y^2 1/4, of x y 0
    share = grid.share[:half]
    for power, mean in ((1, 2 / 3), (2, 1 / 2), (4, 1 / 3)):
        assert share @ v[:half, 2] ** power == pytest.approx(mean, abs=1e-12)
    assert share @ v[:half, 0] ** 2 == pytest.approx(0.25) == share @ v[:half, 1] ** 2
    assert share @ (v[:half, 0] * v[:half, 1]) == pytest.approx(0.0, abs=1e-12)
    angle = 2 * np.pi / 8 * 3
    c, s = np.cos(angle), np.sin(angle)
    assert v[grid.turned(3)] @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) == pytest.approx(v)
    assert v[grid.over] == pytest.approx(v * [-1, 1, -1])
    assert v[grid.opposite] == pytest.approx(-v)


def test_symmetries_move_the_nodes_as_the_mirrors_say():
    rod = Strand(0.1, 0.1)
    yarn = Strand(0.1, 0.1, 7, 0.6)
    plain, twill = ((1, 0), (0, 1)), ((1, 1, 0), (0, 1, 1), (1, 0, 1))
    grid = nodes()
    for cell, count in (
        (FilamentCell(plain, rod, rod, 0.3, 0.4, 0.05, 0.05), 8),
        # of a yarn nothing is said of but its filaments, so it is not twisted
        (FilamentCell(plain, yarn, yarn, 0.3, 0.4, 0.05, 0.05), 8),
        (FilamentCell(plain, rod, Strand(0.1, 0.1, 7, 0.6, twist=2.0), 0.3, 0.4, 0.05, 0.05), 4),
        (FilamentCell(((1,),), rod, rod, 0.3, 0.4, 0.05, 0.05), 4),
        # half a turn about the normal leaves any twill; its diagonal has no mirror
        (FilamentCell(twill, rod, rod, 0.3, 0.4, 0.05, 0.05), 2),
    ):
        signs = filaments.mirrors(cell)
        assert len(set(signs)) == count == len(signs)
        for sign, way in zip(signs, filaments.symmetries(cell, grid), strict=True):
            assert grid.vector[way] == pytest.approx(grid.vector * sign, abs=1e-12)
    assert set(filaments.mirrors(cell)) == {(1, 1, 1), (-1, -1, 1)}


# Evenly spread numbers


def test_spread_numbers_are_haltons():
    halton = qmc.Halton(d=20, scramble=False).random(300)[1:]
    for which in range(20):
        assert radical_inverses(299, which) == pytest.approx(halton[:, which], abs=1e-12)
    assert np.array_equal(radical_inverses(50, 21), radical_inverses(50, 1))


def test_even_points_are_more_even_than_chance():
    for ways in (2, 4):
        points = filaments.evenly(2000, ways)
        chance = np.random.default_rng(0).random((2000, ways))
        assert points.min() >= 0.0 and points.max() < 1.0
        assert qmc.discrepancy(points) < 0.5 * qmc.discrepancy(chance)
        for k in range(ways):
            assert np.abs(np.bincount((points[:, k] * 20).astype(int)) - 100).max() <= 10


# A cap of light


@pytest.mark.parametrize("zenith", [0.0, 20.0, 60.0, 80.0, 88.0, 180.0, 130.0])
@pytest.mark.parametrize("half_deg", [5.0, 25.0])
def test_a_cap_of_light(zenith, half_deg):
    axis = tuple(float(x) for x in unit(np.radians(zenith), 0.7))
    way, weight, share = cap(axis, half_deg, filaments.evenly(6000, 2))
    side, wide = np.sign(axis[2]), np.radians(half_deg)
    lies = weight > 0
    assert np.linalg.norm(way[lies & (way[:, 2] * side > 5.1e-3)], axis=1) == pytest.approx(1.0)
    assert (way[:, 2] * side > 0).all()
    assert (way[lies] @ np.array(axis)).min() > np.cos(wide) - 6e-3
    assert weight.mean() == pytest.approx(1.0)
    # projected solid angle over pi, of what lies before the cloth

    def seen(around, off):
        rise = np.cos(off) * abs(axis[2]) + np.sin(off) * np.cos(around) * np.hypot(*axis[:2])
        return max(rise, 0.0) * np.sin(off) / np.pi

    whole = dblquad(seen, 0.0, wide, 0.0, 2 * np.pi, epsabs=1e-7)[0]
    assert share == pytest.approx(whole, rel=5e-3)
    if zenith in (0.0, 20.0, 60.0):  # all of it before the cloth: sin^2 of its half, aslant
        assert share == pytest.approx(np.sin(wide) ** 2 * abs(axis[2]), rel=5e-3)
    # even over the cap, as even light falls: its middle lies along the axis
    mean = (way * weight[:, None]).mean(axis=0)
    if zenith in (0.0, 180.0):
        assert mean[:2] == pytest.approx([0.0, 0.0], abs=2e-3)


def test_even_light_looks_like_white_card_from_everywhere():
    """Radiance factor 1, by definition (CIE S 017: of a perfect reflecting diffuser)."""
    number = filaments.evenly(60000, 2)
    flat, around = np.sqrt(number[:, 0]), 2 * np.pi * number[:, 1]
    way = np.column_stack([flat * np.cos(around), flat * np.sin(around), np.sqrt(1 - flat**2)])
    weight = np.full(len(way), 1.0 / len(way), np.float32)
    aims = unit(np.radians([0.0, 15.0, 40.0, 60.0, 75.0, 84.0]), [0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    for half_deg, blur_deg, near in ((5.0, 5.0, 0.05), (10.0, 10.0, 0.02), (15.0, 5.0, 0.02),
                                     (5.0, 0.1, 0.08), (15.0, 0.3, 0.03)):  # fmt: skip
        row, aim, seen = filaments._near(way.astype(np.float32), aims, half_deg, blur_deg)
        found = np.bincount(aim, weight[row] * seen)
        assert found == pytest.approx(np.ones(6), abs=near), (half_deg, blur_deg)
    # against the integral itself, also where a part of the disc lies behind the cloth
    cosine, share = filaments._even_share(5.0, 5.0)
    for degrees in (0.0, 45.0, 83.0, 87.0):
        z, wide = np.cos(np.radians(degrees)), np.radians(10.0)

        def light(around, off, z=z, wide=wide):
            rise = np.cos(off) * z + np.sin(off) * np.cos(around) * np.sqrt(1 - z * z)
            a = off / wide  # two discs of one size whose middles lie so far apart
            common = 2 / np.pi * (np.arccos(a) - a * np.sqrt(1 - a * a))
            return max(rise, 0.0) * np.sin(off) / np.pi * common

        whole = dblquad(light, 0.0, wide, 0.0, 2 * np.pi, epsabs=1e-8)[0]
        assert np.interp(z, cosine, share) == pytest.approx(whole, rel=0.02)


@pytest.mark.parametrize("kind", ["matt", "rods", "yarns"])
def test_all_light_is_looked_at_from_somewhere(kind):
    """Seen from all the nodes of a side, what a beam is sent back adds up to its share of light
    there: the sum of radiance factors by shares of even light."""
    strand = {
        "matt": Strand(0.2, 0.2, opaque=True),
        "rods": Strand(0.2, 0.2, index=1.55, dull=10.0),
        "yarns": Strand(0.2, 0.2, 7, 0.6, 1.55),
    }[kind]
    cell = FilamentCell(((1, 0), (0, 1)), strand, strand, 0.3, 0.3, 0.101, 0.101)
    way = tuple(float(x) for x in unit(0.3, 1.0))
    rays = filaments.beam(cell, way, 6000)
    grid = nodes(8, 16)
    aims = [tuple(v) for v in grid.vector.tolist()]
    found, glint = filaments.looked_at(cell, way, aims, rays, 6000)
    factor = np.asarray(found.sum(axis=1)).ravel() + glint
    up, down = filaments.by_side(cell, way, rays).sum(axis=1).tolist()
    assert up + down + rays.through == pytest.approx(1.0, abs=1e-4)
    half = grid.half
    assert factor[:half] @ grid.share[:half] == pytest.approx(up, abs=0.02 + 0.05 * up)
    assert factor[half:] @ grid.share[half:] == pytest.approx(down, abs=0.02 + 0.05 * down)
    assert up > 0.15
    # from below the same beam goes up where it went down
    turned = (way[0], way[1], -way[2])
    below = filaments.by_side(cell, turned, filaments.beam(cell, turned, 6000)).sum(axis=1)
    assert below == pytest.approx([down, up], abs=0.03)


# Strands


def test_filaments_take_up_their_packing():
    strand = Strand(0.12, 0.06, 30, 0.55, 1.6)
    whole = np.pi / 4 * 0.12 * 0.06
    assert 30 * np.pi * strand.filament_radius**2 == pytest.approx(0.55 * whole)
    many = Strand(0.12, 0.06, 900, 0.55, twist=1.0)
    cell = FilamentCell(((1, 0), (0, 1)), strand, many, 0.3, 0.4, 0.05, 0.02)
    ready = filaments.prepared(cell)
    for row, count in zip(ready.rows, (30, filaments.MOST_FILAMENTS), strict=True):
        area = count * np.pi * row[paths.FIL_A] * row[paths.FIL_B]
        assert row[paths.COUNT] == count and area == pytest.approx(0.55 * whole)
    assert cell.top == pytest.approx(0.05 + 0.03) and ready.top >= cell.top
    assert ready.repeat == pytest.approx((0.6, 0.8))
    rod = filaments.prepared(cell, outline=True)
    assert rod.rows[:, paths.FIL_A] == pytest.approx(0.06)
    assert rod.rows[:, paths.FIL_B] == pytest.approx(0.03)
    at = filaments.arrangement(30, 0.55, 2.0, 3)
    apart = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) + 9 * np.eye(30)
    assert apart.min() > 1.9
    unit_ = (30 / 0.55) ** 0.5
    assert (np.hypot(at[:, 0] / (unit_ * 2**0.5), at[:, 1] / (unit_ / 2**0.5)) <= 1.0).all()
    assert not np.array_equal(at, filaments.arrangement(30, 0.55, 2.0, 5))


@pytest.mark.parametrize(
    ("count", "packing", "flat"), [(32, 0.62, 1.5), (110, 0.58, 1.5), (60, 0.65, 2.5), (24, 0.6, 2)]
)
def test_a_yarn_is_as_flat_as_told(count, packing, flat):
    """Of an evenly filled ellipse the spreads across and up are as its axes."""
    drawn = [filaments.arrangement(count, packing, flat, seed).std(axis=0) for seed in range(12)]
    assert np.mean([across / up for across, up in drawn]) == pytest.approx(flat, rel=0.1)


def test_what_dye_leaves_after_a_length():
    # Lambert and Beer, at the lengths that stand for the steps
    cell = FilamentCell(((1,),), Strand(0.3, 0.2), Strand(0.1, 0.1, opaque=True), 1, 1, 0.1, 0.1)
    one, two = filaments.lengths(cell)
    left = filaments.kept(cell, np.array([[0.0, 0.0], [3.0, 0.5]]))
    assert left.shape == (44 * 44, 2) and (left[:, 0] == 1.0).all()
    for i, j in ((0, 0), (5, 0), (0, 3), (20, 7)):
        want = np.exp(-3.0 * one[i]) * np.exp(-0.5) ** j  # meetings with a matt yarn, each alike
        assert left[i * 44 + j, 1] == pytest.approx(want)
    assert two.tolist() == list(range(44))
    for bad in ([[1.0]], [1.0, 2.0], [[np.nan, 0.0]], [[0.0, -1e-9]]):
        with pytest.raises(filaments.InputError, match="two columns, warp and weft, 0 or more"):
            filaments.kept(cell, np.array(bad))


def test_starts_lie_evenly_in_their_nodes():
    grid = nodes()
    rod = Strand(0.1, 0.1)
    cell = filaments.prepared(FilamentCell(((1, 0), (0, 1)), rod, rod, 0.3, 0.4, 0.05, 0.05))
    starts, label = filaments.node_starts(cell, grid, 40)
    assert np.bincount(label).tolist() == [40] * 144
    toward = -starts[:, 2:]
    assert np.linalg.norm(toward, axis=1) == pytest.approx(1.0, abs=1e-6)
    assert np.array_equal(paths.nodes_of(toward.copy(), filaments.ring_edges(grid), 12), label)
    # by share of even light, all of it: the mean of z is 2/3, of x^2 and of y^2 1/4
    weight = grid.share[label] / 40
    assert weight @ np.abs(toward[:, 2]) / 2 == pytest.approx(2 / 3, abs=2e-3)
    for k in (0, 1):
        assert weight @ toward[:, k] ** 2 / 2 == pytest.approx(0.25, abs=3e-3)
        assert weight @ toward[:, k] == pytest.approx(0.0, abs=5e-3)
    # over the whole repeat, and over many repeats
    for k, repeat in ((0, 0.6), (1, 0.8)):
        counted = np.bincount((starts[:, k] % repeat / repeat * 10).astype(int))
        assert np.abs(counted - 576).max() < 40
        assert starts[:, k].max() > 50 * repeat


# Straight rays through round straight yarns


def _wefts(radius: float) -> Construction:
    """Straight round wefts at y = 0, 1, ...; warps next to nothing, which swing about them."""
    lift = ((1, 0), (0, 1))
    return Construction(lift, 7.3, 1.0, 1e-6, 1e-6, 2.0 * radius, 2.0 * radius, 1.0)


@pytest.mark.parametrize("radius", [0.2, 0.45])
@pytest.mark.parametrize("flip", [1.0, -1.0])
def test_a_ray_is_blocked_where_it_passes_a_round_yarn_too_near(radius, flip):
    """In the plane across them: nearer to any axis than the radius."""
    geometry = solid(_wefts(radius))
    rng = np.random.default_rng(5)
    count = 30000
    tilt = rng.uniform(-1.2, 1.2, count)
    dy, dz = np.sin(tilt), -np.cos(tilt) * flip
    # half of them close by a yarn on either side
    off = rng.uniform(-2.0, 2.0, count)
    off[::2] = rng.choice([-1, 1], count // 2) * (radius + rng.uniform(-0.02, 0.02, count // 2))
    # a line that passes the axis at y = 0 at distance ``off``
    y0, z0 = off * -dz, off * dy
    far = 3.0
    origin = np.stack([rng.uniform(1.0, 6.0, count), y0 - far * dy, z0 - far * dz])
    start_side = np.sign(origin[2]) == -np.sign(dz)
    outside = np.abs(origin[2]) > radius + 0.01
    axes = np.arange(-12, 13)
    away = np.abs((y0[:, None] - axes) * dz[:, None] - z0[:, None] * dy[:, None]).min(axis=1)
    clear = (np.abs(away - radius) > 1e-6) & start_side & outside
    found = blocked(geometry, origin[:, clear], np.stack([0.0 * dy, dy, dz])[:, clear])
    assert clear.sum() > 10000
    assert (found != (away < radius)[clear]).mean() < 1e-4


@pytest.mark.parametrize("spec", ["plain", "twill 2/1"])
def test_a_ray_is_blocked_where_it_passes_within_a_bent_yarn(spec):
    """Looked for at twenty thousand places along each ray: its section square to the axis, which
    is a half cosine from one crossing to the next where the yarn changes sides."""
    made = Construction(weave(spec).lift, 0.3, 0.25, 0.12, 0.1, 0.07, 0.08, 0.4)
    rng = np.random.default_rng(8)
    count, up = 400, np.where(np.array(made.lift) > 0, 1.0, -1.0)
    toward = unit(np.radians(rng.uniform(0.0, 85.0, count)), rng.uniform(0.0, 2 * np.pi, count)).T
    origin = np.stack([*rng.uniform(-3.0, 3.0, (2, count)), np.full(count, -0.4)])
    spacing = made.warp_spacing, made.weft_spacing
    size = (made.warp_width, made.warp_height), (made.weft_width, made.weft_height)
    least = np.full(count, np.inf)
    for ray, (start, way) in enumerate(zip(origin.T, toward.T, strict=True)):
        at = start[:, None] + way[:, None] * np.linspace(0.2, 0.6, 20001) / way[2]
        for s, signs in enumerate((up.T, -up)):
            place = at[1 - s] / spacing[1 - s]
            k = np.floor(place).astype(int)
            nearest = np.round(at[s] / spacing[s]).astype(int)
            yarn, along = nearest % len(signs), signs.shape[1]
            one, two = signs[yarn, k % along], signs[yarn, (k + 1) % along]
            middle, swing = (0.5 * made.swings[s] * v for v in (one + two, one - two))
            turn, rate = np.pi * (place - k), np.pi / spacing[1 - s]
            high = (at[2] - middle - swing * np.cos(turn)) / np.hypot(
                1.0, swing * rate * np.sin(turn)
            )
            off = 2.0 * np.stack([at[s] - nearest * spacing[s], high], axis=-1) / size[s]
            least[ray] = min(least[ray], float(np.hypot(*off.T).min()))
    clear = np.abs(least - 1.0) > 1e-3
    assert clear.mean() > 0.98 and 0.2 < (least < 1.0).mean() < 0.9
    assert np.array_equal(blocked(solid(made), origin, toward)[clear], (least < 1.0)[clear])


def test_rays_beyond_the_cloth_meet_nothing():
    geometry = solid(_wefts(0.4))
    rng = np.random.default_rng(1)
    origin = np.stack([rng.uniform(1, 6, 200), rng.uniform(0, 9, 200), np.full(200, 0.6)])
    around = rng.uniform(0, 2 * np.pi, 200)
    with np.errstate(all="raise"):
        for rise in (0.0, 0.3):
            flat = np.sqrt(1 - rise**2)
            way = np.stack([flat * np.cos(around), flat * np.sin(around), np.full(200, rise)])
            assert not blocked(geometry, origin, way).any()
            assert not blocked(geometry, origin * [[1], [1], [-1]], way * [[1], [1], [-1]]).any()
    # straight down: between two wefts free, through them not; first met at the top of one
    down = [[0.0], [0.0], [-1.0]]
    assert blocked(geometry, [[1.0, 1.0], [0.5, 0.0], [0.6, 0.6]], down).tolist() == [False, True]
    assert first_met(geometry, [[1.0, 1.0], [0.5, 0.3], [0.6, 0.6]], down) == pytest.approx(
        [np.sqrt(0.4**2 - 0.3**2)], abs=1e-6
    )
    assert first_met(geometry, [[1.0], [0.0], [-3.0]], [[0.0], [0.0], [1.0]]) == pytest.approx(
        [-0.4], abs=1e-6
    )


def test_the_yarns_of_a_construction():
    made = Construction(weave("twill 2/1").lift, 0.5, 0.4, 0.2, 0.1, 0.24, 0.12, 0.3)
    cell = tubes(made)
    warp, weft = cell.systems
    # at a crossing the two axes stand half of both heights apart, shared out as stated
    assert np.abs(warp.middle + warp.swing).max() == pytest.approx(0.3 * 0.11)
    assert np.abs(weft.middle + weft.swing).max() == pytest.approx(0.7 * 0.11)
    assert cell.top == cell.bottom == pytest.approx(max(0.033 + 0.05, 0.077 + 0.06))
    assert (warp.half_width, weft.half_height) == pytest.approx((0.1, 0.06))
    assert (warp.spacing, warp.pitch, weft.spacing, weft.pitch) == (0.5, 0.4, 0.4, 0.5)
    lift = np.array(made.lift)
    for pick in range(3):
        for end in range(3):
            up = (warp.middle + warp.swing)[end, pick], (weft.middle + weft.swing)[pick, end]
            assert (up[0] > up[1]) == bool(lift[pick, end])
            assert abs(up[0] - up[1]) == pytest.approx(0.11, rel=1e-6)
    assert cell.area == pytest.approx(0.2 * len(cell.distinct))
    assert cell.pitch == pytest.approx(np.sqrt(0.2))
    # any twill comes back after half a turn about its normal; this plan does not
    assert cell.half_turn
    lopsided = ((1, 1, 0, 1), (1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 0, 1))
    assert not tubes(Construction(lopsided, 0.5, 0.4, 0.2, 0.1, 0.24, 0.12, 0.3)).half_turn


def test_crossings_that_are_copies():
    for spec, distinct in (("plain", 2), ("twill 2/1", 3), ("satin 5/2", 5)):
        lift = weave(spec).lift
        plan = np.array(lift)
        orbit, first = orbits(lift)
        assert len(first) == distinct == orbit.max() + 1
        for pick, end in np.ndindex(*plan.shape):
            p, e = first[orbit[pick, end]]
            here, there = (np.roll(plan, (-a, -b), (0, 1)) for a, b in ((pick, end), (p, e)))
            assert np.array_equal(here, there)


# Outlines


def test_how_many_ways_from_crossing_to_crossing():
    for spec, ways in (("plain", 2), ("twill 2/1", 3), ("satin 5/2", 5)):
        made = Construction(weave(spec).lift, 1.0, 1.0, 0.3, 0.3, 0.3, 0.3, 0.5)
        assert [silhouette._stretches(s) for s in tubes(made).systems] == [ways, ways]
    # two kinds of end, each with its own four crossings
    lift = ((1, 1), (0, 1), (1, 0), (0, 0))
    made = Construction(lift, 1.0, 1.0, 0.3, 0.3, 0.3, 0.3, 0.5)
    warp, weft = tubes(made).systems
    assert silhouette._stretches(warp) == 4 * (warp.kinds[0].max() + 1)
    assert silhouette._stretches(weft) == 2 * (weft.kinds[0].max() + 1)


def test_straight_yarns_stand_in_the_way_by_their_outline():
    geometry = tubes(_wefts(0.3))
    rng = np.random.default_rng(2)
    for zenith, azimuth in ((0.0, 0.0), (0.5, 0.3), (1.0, 2.0), (2.4, 4.0)):
        x, y, z = (float(a) for a in unit(zenith, azimuth))
        seen = silhouette.silhouette(geometry, (x, y, z))
        half = upright(geometry.systems[1], y / z)
        foot = np.stack([rng.uniform(0.5, 6.5, 4000), rng.uniform(0, 1, 4000), np.zeros(4000)])
        off = np.abs((foot[1] + 0.5) % 1.0 - 0.5)
        clear = np.abs(off - half) > 1e-3
        shut = outlines.blocked(seen, foot - 2.0 / abs(z) * np.array([[x], [y], [z]]))
        if 2 * half < 1.0:
            assert np.array_equal(shut[clear], (off < half)[clear])
            share = seen.open_share(foot, 1e-5).mean(dtype=float)
            assert share == pytest.approx(1 - 2 * half, abs=0.03)
            assert openness(geometry, np.array([x, y, z])) == pytest.approx(1 - 2 * half, abs=3e-3)
        else:
            assert shut.all() and openness(geometry, np.array([x, y, z])) == 0.0


def test_pencils_stand_evenly_over_the_crossings():
    made = Construction(weave("twill 2/1").lift, 0.5, 0.4, 0.2, 0.1, 0.24, 0.12, 0.3)
    cell = tubes(made)
    foot = pencils(cell, 1000)
    assert foot.shape[1] >= 1000 and not foot[2].any()
    at = np.stack([foot[0] / 0.5, foot[1] / 0.4])
    near = np.rint(at).astype(int)
    counted = np.bincount(cell.orbit[near[1] % 3, near[0] % 3])
    assert np.abs(counted - foot.shape[1] / 3).max() <= 2
    for row in at - near:
        assert np.abs(np.bincount(((row + 0.5) * 8).astype(int)) - foot.shape[1] / 8).max() < 5


# Pairs of openings


def test_pairs_of_directions_far_off_and_close_by():
    """Through straight wefts alone: close behind them two directions meet the same openings, as
    far as they lie alike; by hand, from where the bands of their shadows lie."""
    made = Construction(((1,),), 50.0, 1.0, 1e-6, 1e-6, 0.4, 0.4, 0.0)
    geometry = tubes(made)
    behind = 0.37
    vectors = tuple(tuple(float(a) for a in unit(z, 0.0)) for z in (0.0, 0.6))
    beams = tuple((*v, 0.0) for v in vectors)
    at = Distance(((behind, behind),), (), 0.0)
    found = joint_gaps(made, solid(made), at, beams, False, False, True)
    start = np.linspace(0.0, 1.0, 20001)
    depth = -geometry.bottom - behind - geometry.systems[1].middle.ravel()[0]
    open_ = []
    for _, y, z in vectors:
        half = upright(geometry.systems[1], y / z)
        foot = start - depth * y / z
        open_.append(np.abs((foot + 0.5) % 1.0 - 0.5) > half)
    both = np.array([[(a & b).mean() for b in open_] for a in open_])
    own = np.diag(both)
    assert found.named == pytest.approx(both / np.sqrt(np.outer(own, own)), abs=0.01)


@pytest.mark.parametrize("flip", [False, True])
def test_light_comes_back_by_the_gap_between_filaments_that_it_came_by(flip):
    """Through straight wefts of three filaments side by side, which one outline covers: by hand,
    from the bands of their round shadows."""
    apart, radius, behind = 0.12, 0.04, 0.05
    yarn = Strand(0.4, 0.08, 3, 3 * 0.08**2 / (0.4 * 0.08), index=1.7,
                  centres=((-apart / radius, 0.0), (0.0, 0.0), (apart / radius, 0.0)))  # fmt: skip
    assert yarn.filament_radius == pytest.approx(radius)
    made = Construction(((1,),), 50.0, 1.0, 1e-6, 1e-6, 0.4, 0.08, 0.0)
    cell = FilamentCell(((1,),), Strand(1e-6, 1e-6), yarn, 50.0, 1.0, 0.0, 0.0)
    slopes = (0.0, 0.3, 1.2)
    turn = -1.0 if flip else 1.0
    beams = tuple((0.0, t / np.hypot(1, t), turn / np.hypot(1, t), 0.0) for t in slopes)
    at = Distance(((behind, behind),), (), 0.0)
    found = joint_gaps(made, bodies(cell), at, beams, flip, False, True).named
    down = tubes(made).bottom + behind
    place = np.linspace(0.0, 1.0, 40001)[:-1]
    clear = []
    for t in slopes:
        off = place[:, None] + down * t - apart * np.array([-1.0, 0.0, 1.0])
        off = (off + 0.5) % 1.0 - 0.5
        clear.append((np.abs(off) > radius * np.hypot(1.0, t)).all(axis=1))
    both = np.array([[(a & b).mean() for b in clear] for a in clear])
    own = np.diag(both)
    assert found == pytest.approx(both / np.sqrt(np.outer(own, own)), abs=0.01)
    # the outline alone would have told something else
    whole = joint_gaps(made, solid(made), at, beams, flip, False, True).named
    assert np.abs(whole - found).max() > 0.03


def test_pairs_laid_otherwise_are_the_same_pairs():
    rng = np.random.default_rng(1)
    node, named, held = (rng.random(s) for s in ((4, 4), (2, 4), (6, 6)))
    one = JointGaps(node, named, rng.random((2, 2)), rng.random(2), held)
    order = np.array([2, 0, 3, 1])
    laid = one.laid([(order, 1.0)])
    back = laid.laid([(np.argsort(order), 1.0)])
    assert back.node == pytest.approx(node) and back.named_node == pytest.approx(named)
    assert back.held == pytest.approx(held)
    assert laid.node[0, 1] == node[2, 0] and laid.held[4, 1] == held[4, 0]
    half = one.laid([(order, 0.25), (np.arange(4), 0.75)])
    assert half.node == pytest.approx(0.25 * laid.node + 0.75 * node)
    assert half.named is one.named and half.gain is one.gain


@pytest.mark.parametrize("flip", [False, True])
def test_rays_to_a_node_stay_within_its_share_of_the_sky(flip):
    """Rings lie between squares of cosines that share out even light, steps half a step about the
    node; rays are even within them."""
    made = Construction(((1,),), 1.0, 1.0, 0.2, 0.2, 0.2, 0.2, 0.1)
    grid = nodes()
    each = grid.share[: grid.half].reshape(grid.rings, -1).sum(axis=1)
    edges = np.concatenate([[0.0], np.cumsum(each)])
    ring = np.arange(grid.half) // grid.steps
    middle = np.arctan2(*grid.vector[: grid.half, 1::-1].T)
    for node_set in (0, 1):
        place = _Place(made, solid(made), Distance(()), flip)
        points, toward = _Bundle(place, 377, None, node_set).rays()
        assert points.shape == toward.shape
        assert np.linalg.norm(toward, axis=0) == pytest.approx(1.0)
        assert (toward[2] < 0.0).all() if flip else (toward[2] > 0.0).all()
        x, y, z = toward.reshape(3, -1, grid.half)
        up = (z**2 - edges[ring]) / np.diff(edges)[ring]
        around = (np.arctan2(y, x) - middle + np.pi) % (2.0 * np.pi) - np.pi
        around = 0.5 + around * grid.steps / (2.0 * np.pi)
        for part in (up, around):
            even = (np.arange(len(part))[:, None] + 0.5) / len(part)
            assert np.abs(np.sort(part, axis=0) - even).max() < 0.03
            assert -1e-9 < part.min() and part.max() < 1.0 + 1e-9


@pytest.mark.parametrize("count", [0, 1])
def test_pairs_are_of_the_directions_that_are_named(count):
    made = Construction(((1,),), 1.0, 1.0, 0.2, 0.2, 0.2, 0.2, 0.1)
    half = nodes().half
    up = ((0.0, 0.0, 1.0),) * count
    found = joint_gaps(made, solid(made), Distance(()), up, False, False, False)
    shapes = [x.shape for x in (found.named, found.named_node, found.gain, found.held)]
    assert shapes == [(count, count), (0, half), (0,), (half + count, half + count)]


@pytest.mark.parametrize("up", [False, True])
def test_even_light_falls_evenly(up, monkeypatch):
    """By Lambert: means of the squares of cos and sin of the zenith are a half each, of x and y a
    quarter, and no side is before another."""
    fell = []

    def follow(_, toward, weight, least):
        fell.append(toward)
        raise KeyboardInterrupt

    monkeypatch.setattr(filaments, "follow", follow)
    with pytest.raises(KeyboardInterrupt):
        filaments.even(None, 4000, up)
    (toward,) = fell
    assert np.linalg.norm(toward, axis=1) == pytest.approx(1.0, abs=1e-6)
    assert (toward[:, 2] > 0.0).all() if up else (toward[:, 2] < 0.0).all()
    assert toward.T @ toward / 4000 == pytest.approx(np.diag([0.25, 0.25, 0.5]), abs=2e-3)
    assert toward[:, :2].mean(axis=0) == pytest.approx(0.0, abs=2e-3)


def test_waves_and_turns_are_the_librarys():
    for part in np.linspace(-0.1, 1.1, 2001):
        wanted = math.cos(math.pi * part), math.sin(math.pi * part)
        near = 1e-13 if 0.0 <= part <= 1.0 else 1e-9
        assert paths._wave(part) == pytest.approx(wanted, abs=near)
    for angle in (0.0, 1e-9, -1e-9, 0.3, -2.0, 3.15, math.pi, -math.pi, 47.1, -1234.5, 98765.4):
        wanted = math.cos(angle), math.sin(angle)
        assert paths._turned(angle) == pytest.approx(wanted, abs=1e-10)


# Discs of light


@pytest.mark.parametrize(
    ("half", "blur"), [(5.0, 0.05), (5.0, 2.0), (5.0, 5.0), (0.27, 0.005), (20.0, 1.0)]
)
def test_a_light_is_seen_by_the_share_of_a_disc_that_it_covers(half, blur):
    """Of a disc of ``blur`` about each place, drawn in the plane: all of it well within, none well
    without, and between them less and less; where the rim's bend is not seen, half on the rim."""
    sizes = np.sqrt((np.arange(4000) + 0.5) / 4000) * blur
    turn = np.arange(4000) * np.pi * (3.0 - 5.0**0.5)  # H. Vogel, Math. Biosci. 44 (1979) 179
    x, y = sizes * np.cos(turn), sizes * np.sin(turn)
    apart = np.array([0.0, half - blur, half - 0.5 * blur, half, half + 0.5 * blur, half + blur,
                      half + blur + 1.0])  # fmt: skip
    seen = filaments._seen(apart, half, blur)
    wanted = [np.mean(np.hypot(x + a, y) < half) for a in apart]
    # a sharp rim is taken as a ramp of the same width, which is off by 0.06 at most
    assert seen == pytest.approx(wanted, abs=0.06 if blur < 0.02 * half else 0.01)
    assert seen[0] == pytest.approx(1.0) and seen[-2:] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert np.all(np.diff(seen) <= 1e-12)
    if blur < 0.1 * half:
        assert seen[3] == pytest.approx(0.5, abs=0.02)
