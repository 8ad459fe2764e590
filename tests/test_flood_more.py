"""The flood of light read between all directions: lines, places and widths against geometry, and
white card, which must look white from everywhere."""

from __future__ import annotations

import numpy as np
import pytest

from weavecolor.optics.cell import filaments, flood
from weavecolor.optics.cell.filaments import FilamentCell, Strand
from weavecolor.optics.cell.nodes import nodes, unit

pytestmark = pytest.mark.usefixtures("few_rays")

MATT = Strand(0.1, 0.1, opaque=True)
CELL = FilamentCell(((1, 0), (0, 1)), MATT, MATT, 0.3, 0.4, 0.05, 0.05)
LONE = FilamentCell(((1,),), MATT, MATT, 0.3, 0.4, 0.051, 0.051)


def _directions(count, seed, up=True):
    rng = np.random.default_rng(seed)
    v = unit(np.arccos(np.sqrt(rng.random(count))), rng.uniform(0, 2 * np.pi, count))
    return v if up else v * [1, 1, -1]


# Lines


def test_half_lines_lie_on_an_equal_area_disc_and_tell_both_ways_alike():
    one, two = _directions(300, 1), _directions(300, 2)
    for a, b in zip(one, two, strict=True):
        x, y, t = flood.half_line(*a, *b)
        back = flood.half_line(*b, *a)
        assert back[:2] == pytest.approx((x, y), abs=1e-9)
        assert abs((t - back[2] + 0.5) % 1.0 - 0.5) < 1e-6 and 0.0 <= t <= 1.0
        half = (a + b) / np.linalg.norm(a + b)
        # equal area (J. H. Lambert, 1772): radius sqrt 2 sin(zenith / 2), whole at the horizon
        radius = np.sqrt(2.0) * np.sin(np.arccos(half[2]) / 2.0)
        assert np.hypot(x, y) == pytest.approx(radius, abs=1e-9)
        assert x * half[1] == pytest.approx(y * half[0], abs=1e-9)
    # straight out: the turn is the azimuth of either
    for turn in (0.1, 0.4, 0.9):
        a = unit(0.5, turn * np.pi)
        a, b = np.array([a[1], -a[0], a[2]]), np.array([-a[1], a[0], a[2]])
        assert flood.half_line(*a, *b)[2] == pytest.approx(turn)


def test_what_goes_on_lies_where_it_goes():
    for a, b in zip(_directions(100, 3), _directions(100, 4, up=False), strict=True):
        x, y, t = flood.onward_line(*a, *b)
        on = (a - b) / np.linalg.norm(a - b)
        radius = np.sqrt(2.0) * np.sin(np.arccos(on[2]) / 2.0)
        assert (np.hypot(x, y), x * on[1]) == pytest.approx((radius, y * on[0]), abs=1e-9)
        bend = a + b
        assert np.cos(2 * np.pi * t) == pytest.approx(bend[0] / np.hypot(*bend[:2]), abs=1e-9)
        assert np.sin(2 * np.pi * t) == pytest.approx(bend[1] / np.hypot(*bend[:2]), abs=1e-9)


def test_samples_are_told_by_side_and_by_angle():
    rng = np.random.default_rng(6)
    came, went = (rng.normal(size=(400, 3)) for _ in range(2))
    came, went = (v / np.linalg.norm(v, axis=1)[:, None] for v in (came, went))
    weight, column = rng.random(400).astype(np.float32), np.arange(400, dtype=np.int32)
    found = flood._samples(*(v.astype(np.float32) for v in (came, went)), weight, column)
    order = found.column
    came, went = came[order], went[order]
    assert (np.diff(found.angle) >= 0).all()
    assert found.angle == pytest.approx(np.arccos((came * went).sum(axis=1)), abs=2e-3)
    assert np.array_equal(found.weight, weight[order])
    above, below = (came[:, 2] > 0) & (went[:, 2] > 0), (came[:, 2] < 0) & (went[:, 2] < 0)
    assert np.array_equal(found.kind, np.where(above, 0, np.where(below, 1, 2)))
    # seen from behind, the cloth is turned over about its warp: x and z change over
    turned = flood._samples(*((v * [-1, 1, -1]).astype(np.float32) for v in (came, went)),
                            weight[order], column)  # fmt: skip
    n = np.argsort(turned.column)
    swap = found.kind < 2
    assert np.array_equal(turned.kind[n][swap], 1 - found.kind[swap])
    assert turned.place[n][swap] == pytest.approx(found.place[swap], abs=1e-4)


# Places in the tables


def test_samples_are_told_to_the_nodes_that_they_lie_nearest():
    n, p, m, q = 8, 4, 6, 10
    colour = np.array([[1.0, 2.0, 3.0], [0.5, 0.25, 4.0]], np.float32)
    sides, through = np.zeros((2, n, n, p, 3), np.float32), np.zeros((m, m, q, 3), np.float32)
    rng = np.random.default_rng(2)
    place, kind, want = [], [], []
    for k in (0, 1, 2):
        size, steps = (m, q) if k == 2 else (n, p)
        for a in range(size):
            b, c = int(rng.integers(size)), int(rng.integers(steps))
            off = rng.uniform(-0.45, 0.45, 3)
            place.append([(a + 0.5 + off[0]) / size * 2 - 1, (b + 0.5 + off[1]) / size * 2 - 1,
                          (c + 0.5 + off[2]) / steps])  # fmt: skip
            kind.append(k)
            want.append((a, b, c))
    count = len(place)
    column = rng.integers(0, 2, count).astype(np.int32)
    angle = (0.7 + rng.uniform(-0.09, 0.09, count)).astype(np.float32)
    angle[::7] += 0.2  # too far off
    weight = rng.random(count).astype(np.float32)
    flood._told(np.array(place, np.float32), np.array(kind, np.int8), angle, weight, column, colour,
                0.7, 0.1, sides, through)  # fmt: skip
    for at, k, w, wide, col in zip(want, kind, weight, angle, column, strict=True):
        near = max(1.0 - abs(wide - 0.7) / 0.1, 0.0)  # a tent over the angle
        table = through if k == 2 else sides[k]
        assert table[at] == pytest.approx(near * w * colour[col], abs=1e-5)
        table[at] = 0.0
    assert not sides.any() and not through.any()
    # beyond the rim the outermost, and once round the first
    rim = np.array([[1.5, -1.5, 1.0]], np.float32)
    one = np.ones(1, np.float32)
    flood._told(rim, np.array([2], np.int8), 0.7 * one, one, np.zeros(1, np.int32), colour, 0.7,
                0.1, sides, through)  # fmt: skip
    assert through[m - 1, 0, 0] == pytest.approx(colour[0], abs=1e-5)


# White card


def _card(count, through, seed=3):
    """A flood in which all light is sent back, or on, as by white card: evenly."""
    came = np.concatenate([_directions(count, seed), _directions(count, seed + 1, up=False)])
    went = np.concatenate([_directions(count, seed + 2, up=not through),
                           _directions(count, seed + 3, up=through)])  # fmt: skip
    came, went = came.astype(np.float32), went.astype(np.float32)
    share = np.full(2 * count, 1.0 / count, np.float32)
    column = np.zeros(2 * count, np.int32)
    inner = flood._samples(came, went, share, column)
    return flood.Flood(LONE, inner, None, came, went, share, column)


@pytest.mark.parametrize("degrees", [20.0, 110.0])
def test_white_card_looks_white_at_any_angle(degrees):
    """Radiance factor 1 by definition, on both sides, wherever both directions lie well before it;
    and the same of a sheet that sends all light on evenly."""
    colour = np.array([[1.0, 1.0, 1.0], [0.5, 0.3, 0.1]])
    for through in (False, True):
        made = _card(200_000, through)
        angle = np.radians(180.0 - degrees if through else degrees)
        found = flood.factors(made, colour[:1], np.ones(3), angle)
        table = found.through if through else found.sides.mean(axis=0)
        other = found.sides if through else found.through
        assert not other.any()
        size = table.shape[0]
        x = (np.arange(size) + 0.5) / size * 2 - 1
        inside = np.hypot(x[:, None], x[None]) < 0.45
        mean = table[inside].mean(axis=0)[:, 0]
        assert mean.mean() == pytest.approx(1.0, abs=0.02)
        assert np.abs(mean - 1.0).max() < 0.15
        dyed = flood.factors(made, colour[1:], np.ones(3), angle)
        again = dyed.through if through else dyed.sides.mean(axis=0)
        assert again[inside] == pytest.approx(table[inside] * colour[1], rel=1e-3)


def test_a_flood_sends_on_all_that_met_something():
    """Light of one side adds up to one; what a clear rod loses is its dye's alone."""
    rod = Strand(0.12, 0.12, index=1.55)
    for strand in (rod, MATT):
        cell = FilamentCell(((1, 0), (0, 1)), strand, strand, 0.3, 0.4, 0.06, 0.06)
        made = flood.flood(cell)
        rays = filaments.node_rays(cell, nodes(), flood.flood_rays(cell))
        passed = (nodes().share[rays.label[rays.start]] * rays.weight)[rays.met == 0].sum()
        passed /= flood.flood_rays(cell)
        assert made.share.sum() + passed == pytest.approx(2.0, abs=0.03)
        # read between the nodes' parts of the sphere: each sends on what it got
        size = 2 * nodes().half
        place = np.stack([
            filaments.paths.nodes_of(v.astype(float), filaments.ring_edges(nodes()), 12)
            for v in (made.came, made.went)
        ])  # fmt: skip
        left = filaments.kept(cell, np.zeros((1, 2)))
        table = made.between(place, nodes().share, left)[0]
        assert table == pytest.approx(table.T, rel=1e-4, abs=1e-6)
        assert nodes().share @ table @ nodes().share == pytest.approx(made.share.sum(), rel=1e-4)
        assert table.shape == (size, size)


# Widths


def _one(kind, place, angle):
    rows = np.array([place], np.float32)
    return flood._Samples(np.array([angle], np.float32), np.array([kind], np.int8), rows,
                          np.ones(1, np.float32), np.zeros(1, np.int32))  # fmt: skip


def _sigma(values, step):
    at = np.arange(values.size) * step
    mean = (values * at).sum() / values.sum()
    return np.sqrt((values * (at - mean) ** 2).sum() / values.sum())


@pytest.mark.parametrize("angle", [1.2, 2.0, np.pi - 0.2])
def test_light_is_looked_at_as_widely_as_is_said(angle):
    """One ray alone, and how far it is spread: standard deviation in degrees across the disc's
    middle, a degree of which is radians / sqrt 2 of its radius, and round about."""
    look = flood._Look(96, 48, 64, 144, (4.0, 12.0, 6.0, 5.0, 8.0))
    made = _card(10, False)
    disc = np.degrees(np.sqrt(2.0))  # of the radius
    cell = FilamentCell(((1,),), Strand(0.1, 0.1, 5, 0.4, centres=((0, 0), (2.2, 0), (0, 2.2),
                        (-2.2, 0), (0, -2.2))), MATT, 0.3, 0.4, 0.051, 0.051)  # fmt: skip
    made = flood.Flood(cell, made.inner, None, made.came, made.went, made.share, made.length)
    found = flood._smoothed(made, _one(2, [0.0, 0.0, 0.5], angle), np.ones((1, 3)), angle, look)
    table = found.through[..., 0]
    peak = table.max()
    sharp = np.where(table > 2e-2 * peak, table, 0.0)
    for axis in (0, 1):
        across = sharp.sum(axis=tuple(k for k in range(3) if k != axis))
        assert _sigma(across, 2.0 / 64 * disc) == pytest.approx(6.0, rel=0.12)
    # little bent light is told round the whole line
    bend = min(5.0 / max(np.cos(0.5 * angle), 0.03), 60.0)
    round_ = sharp.sum(axis=(0, 1))
    if bend < 30.0:
        assert _sigma(round_, 2.5) == pytest.approx(bend, rel=0.12)
    else:
        assert _sigma(round_, 2.5) > 35.0
    if angle < 2.0:
        found = flood._smoothed(made, _one(0, [0.0, 0.0, 0.5], angle), np.ones((1, 3)), angle, look)
        assert not found.sides[1].any()
        table = found.sides[0, ..., 0]
        sharp = np.where(table > 2e-2 * table.max(), table, 0.0)
        for axis in (0, 1):
            across = sharp.sum(axis=tuple(k for k in range(3) if k != axis))
            assert _sigma(across, 2.0 / 96 * disc) == pytest.approx(4.0, rel=0.12)
        assert _sigma(sharp.sum(axis=(0, 1)), 180.0 / 48) == pytest.approx(12.0, rel=0.12)


def test_a_ratio_is_kept_where_light_lies_and_widened_where_none_does():
    a, p = 32, 8
    even = np.ones((a, a, p), np.float32)
    found = np.zeros((a, a, p, 3), np.float32)
    found[:16] = [1.0, 2.0, 0.5]
    got = flood._ratio(found, even, (1.0, 1.0, 0.5))
    # well within one half it is that half's own
    assert got[6:9, 8:24] == pytest.approx(np.broadcast_to([1, 2, 0.5], (3, 16, p, 3)), rel=3e-3)
    assert got[22:26, 8:24].max() < 6e-3
    assert flood._ratio(even[..., None] * [3.0, 2.0, 1.0], even, (1.0, 2.0, 1.0)) == pytest.approx(
        np.broadcast_to([3.0, 2.0, 1.0], (a, a, p, 3)), rel=1e-4
    )
    # where next to nothing lies, what is three times as far about tells
    bare = even.copy()
    bare[12:20] = 0.0
    lit = np.where(bare[..., None] > 0, np.float32([2.0, 1.0, 1.0]), 0.0).astype(np.float32)
    got = flood._ratio(lit, bare, (0.8, 0.8, 0.5))
    assert got[16, 8:24] == pytest.approx(np.broadcast_to([2.0, 1.0, 1.0], (16, p, 3)), rel=1e-3)


def test_more_nodes_between_the_same_values():
    rng = np.random.default_rng(5)
    n, p = 8, 4
    at = (np.arange(n) + 0.5) / n
    linear = at[:, None, None, None] * 2 + at[None, :, None, None] * 3 + np.zeros((1, 1, p, 3))
    out = flood._finer(linear.astype(np.float32), (24, 24, 4))
    to = np.clip((np.arange(24) + 0.5) / 24, at[0], at[-1])
    want = to[:, None] * 2 + to[None] * 3
    assert out == pytest.approx(np.broadcast_to(want[..., None, None], out.shape), abs=1e-5)
    # the third axis goes round
    ring = rng.random((1, 1, p, 3)).astype(np.float32)
    out = flood._finer(np.broadcast_to(ring, (n, n, p, 3)).copy(), (n, n, 8))[0, 0]
    one, two = ring[0, 0], np.roll(ring[0, 0], -1, 0)
    assert out[1::2] == pytest.approx(0.75 * one + 0.25 * two, abs=1e-6)
    assert out[0::2] == pytest.approx(0.75 * one + 0.25 * np.roll(ring[0, 0], 1, 0), abs=1e-6)


def test_rays_that_the_cells_mirrors_make_are_told_alike():
    """And a ray that goes the other way between two directions of one side."""
    rod = Strand(0.12, 0.12)
    cell = FilamentCell(((1, 0), (0, 1)), rod, rod, 0.3, 0.4, 0.06, 0.06)
    assert len(filaments.mirrors(cell)) == 8
    look = flood._Look(16, 8, 16, 24, (8.0, 20.0, 9.0, 15.0, 8.0))
    rng = np.random.default_rng(8)
    for through in (False, True):
        came, went = _directions(2, 10), _directions(2, 11, up=not through)
        weight = rng.random(2).astype(np.float32) + 0.5
        made = _card(10, False)
        made = flood.Flood(cell, made.inner, None, made.came, made.went, made.share, made.length)
        for a, b, w in zip(came, went, weight, strict=True):
            base = _single(made, a, b, w, look)
            near = 2e-3 * float(base.max())
            assert near > 0.0
            for sign in filaments.mirrors(cell):
                same = _single(made, a * sign, b * sign, w, look)
                assert same == pytest.approx(base, abs=near)
            assert _single(made, b, a, w, look) == pytest.approx(base, abs=near)


def _single(made, came, went, weight, look):
    """What the tables hold of one ray."""
    rays = (v[None].astype(np.float32) for v in (came, went))
    one = flood._samples(*rays, np.array([weight], np.float32), np.zeros(1, np.int32))
    found = flood._smoothed(made, one, np.ones((1, 3)), float(np.arccos(came @ went)), look)
    return found.through if came[2] * went[2] < 0 else found.sides


def test_more_rays_begin_with_the_fewer_to_the_last_one():
    """Of many filaments a flood goes on from the rays of the table between nodes: the same as if
    all were followed anew."""
    yarn = Strand(0.2, 0.15, 16, 0.6)
    cell = FilamentCell(((1, 0), (0, 1)), yarn, yarn, 0.3, 0.3, 0.07, 0.07)
    few = filaments.paths_each(cell)
    ready = filaments.prepared(cell)
    begun = filaments.node_rays(cell, nodes(), few)
    more = filaments.node_rays(cell, nodes(), 2 * few)
    whole = filaments._node_rays(ready, nodes(), 2 * few, None)
    for name in ("came", "label", "start", "toward", "weight", "column", "met", "one"):
        assert np.array_equal(getattr(more, name), getattr(whole, name)), name
    assert more.lost == pytest.approx(whole.lost, rel=1e-9)
    own = more.start < len(begun.label)
    assert np.array_equal(more.toward[own], begun.toward)
    assert np.array_equal(more.weight[own], begun.weight)
