"""The flood of light read between all directions: what is gathered against sums over rays one by
one, and white card, which must look white from everywhere."""

from __future__ import annotations

import numpy as np
import pytest

from weavecolor.optics.cell import filaments, flood, paths
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


# Places of eye and light


def _place(row, column, turn, angle, up=1.0):
    """The eye and the light, in the cell's frame, that a node of the table is for."""
    e, one, two = (np.array(v) for v in flood.eye_at(column, row, flood.DISC))
    round_ = 2.0 * np.pi * turn / flood.TURNS
    lamp = np.cos(angle) * e + np.sin(angle) * (np.cos(round_) * one + np.sin(round_) * two)
    return (np.array([-v[1], v[0], up * v[2]]) for v in (e, lamp))


def _heights(angle):
    """How far above the cloth the light of each node stands, and how far out its eye."""
    at = np.arange(flood.DISC)
    places = np.array([[flood.eye_at(x, y, flood.DISC) for x in at] for y in at])[..., 2]
    round_ = 2.0 * np.pi * np.arange(flood.TURNS) / flood.TURNS
    e, one, two = (places[..., k, None] for k in range(3))
    heights = np.cos(angle) * e + np.sin(angle) * (np.cos(round_) * one + np.sin(round_) * two)
    x = 2.0 * at / (flood.DISC - 1) - 1.0
    return heights, np.hypot(x[:, None], x[None])[..., None] + 0.0 * heights


def test_eyes_lie_on_an_equal_area_disc_and_carry_the_warp_the_shortest_way():
    rng = np.random.default_rng(1)
    for x, y in rng.uniform(4, flood.DISC - 5, (40, 2)):
        e, one, two = (np.array(v) for v in flood.eye_at(x, y, flood.DISC))
        at = np.array([x, y]) / (flood.DISC - 1) * 2.0 - 1.0
        if np.hypot(*at) > 0.98:
            continue
        frame = np.stack([one, two, e])
        assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(frame) == pytest.approx(1.0)
        # equal area (J. H. Lambert, 1772): radius sqrt 2 sin(zenith / 2), whole at the horizon
        assert np.hypot(*at) == pytest.approx(np.sqrt(2.0) * np.sin(np.arccos(e[2]) / 2.0))
        assert at[0] * e[1] == pytest.approx(at[1] * e[0], abs=1e-12)
        # the shortest turn leaves alone what lies square to both
        still = np.array([e[1], -e[0], 0.0])
        assert frame[:2].T @ still[:2] == pytest.approx(still, abs=1e-12)
    # beyond the rim the eye stands at it
    assert flood.eye_at(0, 0, flood.DISC)[0][2] == pytest.approx(flood.LEAST)


def test_samples_are_told_by_angle():
    rng = np.random.default_rng(6)
    came, went = (rng.normal(size=(400, 3)) for _ in range(2))
    came, went = (v / np.linalg.norm(v, axis=1)[:, None] for v in (came, went))
    went[:3], went[3:6] = came[:3], -came[3:6]
    weight, column = rng.random(400).astype(np.float32), np.arange(400, dtype=np.int32)
    found = flood._samples(*(v.astype(np.float32) for v in (came, went)), weight, column)
    angle = np.arccos(np.clip((came * went).sum(axis=1), -1.0, 1.0))
    for middle, wide in ((1.0, 0.3), (0.1, 0.2), (3.1, 0.2)):
        near = found.turned(middle, wide)
        own = near.column
        assert set(own) == set(np.nonzero(np.abs(angle - middle) < wide)[0])
        assert near.came == pytest.approx(came[own], abs=1e-6)
        assert near.went == pytest.approx(went[own], abs=1e-6)
        assert np.array_equal(near.weight, weight[own])


def test_angles_are_told_to_a_hundred_thousandth():
    for y, x in np.random.default_rng(2).normal(size=(300, 2)):
        assert paths.arctan2_about(y, x) == pytest.approx(np.arctan2(y, x), abs=1.2e-5)


@pytest.mark.parametrize("degrees", [3.0, 55.0, 125.0])
@pytest.mark.parametrize("wide", [5.0, 15.0])
def test_what_both_discs_hold_is_added_up(degrees, wide):
    """Ray by ray, each both ways and as the cell's mirrors make it, but for rays at the very edge
    of the light: a light round the eye stands for what lies half a step to each side."""
    rod = Strand(0.12, 0.12)
    cell = FilamentCell(((1, 0), (0, 1)), rod, rod, 0.3, 0.4, 0.06, 0.06)
    ways = np.array(filaments.mirrors(cell))
    assert len(ways) == 8
    angle, rng = np.radians(degrees), np.random.default_rng(7)
    count = 3000
    came = np.concatenate([_directions(count, 3), _directions(count, 4, up=False)])
    aside = np.cross(came, rng.normal(size=came.shape))
    aside /= np.linalg.norm(aside, axis=1)[:, None]
    turned = angle + np.radians(rng.uniform(-20.0, 20.0, len(came)))[:, None]
    went = np.cos(turned) * came + np.sin(turned) * aside
    weight = (rng.random(len(came)) + 0.5).astype(np.float32)
    rays = flood._samples(came.astype(np.float32), went.astype(np.float32), weight,
                          np.zeros(len(came), np.int32))  # fmt: skip
    table = flood._gathered(cell, [rays], np.ones((1, 3)), angle, (5.0, wide))
    even = flood._even(angle, 5.0, wide)
    least = np.cos(np.radians([5.0, wide]))
    got, want, doubt = [], [], []
    for row, column, turn in rng.integers([8, 8, 0], [48, 48, flood.TURNS], (60, 3)):
        for side in (0, 1):
            eye, lamp = _place(row, column, turn, angle, 1.0 - 2.0 * side)
            # a light's edge moves by so much from one light to the next
            edge = np.sin(np.radians(wide)) * np.radians(0.6 * 360.0 / flood.TURNS) * np.sin(angle)
            sums = np.zeros((2, 3))
            for way in ways:
                for a, b in ((came, went), (went, came)):
                    e, b = (a * way) @ eye, b * way
                    own = (e > least[0]) & ((a * way)[:, 2] * eye[2] > 0.0)
                    kind = (b[:, 2] * eye[2] < 0.0).astype(int)
                    near = b @ lamp - least[1]
                    for n, by in enumerate((0.0, edge, -edge)):
                        sums[:, n] += np.bincount(kind, weight * (own & (near > by)), 2)
            sums /= len(ways) * even[row, column, turn, 0]
            got.append(table[side, :, row, column, turn, 0])
            want.append(sums[:, 0]), doubt.append(sums[:, 2] - sums[:, 1])
    got, want, doubt = (np.array(v) for v in (got, want, doubt))
    assert (want > 0.0).sum() > 30
    assert (np.abs(got - want) <= 1.001 * doubt + 1e-4 * want.max()).all()
    assert got.sum() == pytest.approx(want.sum(), rel=0.05)


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
    return flood.Flood(LONE, inner, inner, None, None)


@pytest.mark.parametrize(("degrees", "half"), [(20.0, 5.0), (55.0, 15.0), (110.0, 10.0)])
def test_white_card_looks_white_at_any_angle(degrees, half):
    """Radiance factor 1 by definition, on both sides and however near along the card the eye is;
    and the same of a sheet that sends all light on evenly. Of a light near along the card the part
    on the other side counts, too."""
    colour = np.array([[1.0, 1.0, 1.0], [0.5, 0.3, 0.1]])
    for through in (False, True):
        made = _card(400_000, through)
        angle = np.radians(180.0 - degrees if through else degrees)
        white = flood.factors(made, colour[:1], np.ones(3), angle, half).table
        table = white[..., 0]
        heights, out = _heights(angle)
        lit = (heights < 0.0) if through else (heights > 0.0)
        well = np.abs(heights) > np.sin(np.radians(half))
        assert not table[:, 1 - through, well & ~lit & (out < 1.03)].any()
        card = table[:, int(through)].mean(axis=0)
        for own in (lit & well & (out < 0.9), lit & (out < 0.9), lit & (out > 0.9) & (out < 1.03)):
            falls = np.abs(heights[own])
            assert card[own] @ falls / falls.sum() == pytest.approx(1.0, abs=0.04)  # rays
        # half of a wide light that stands along the card is on either side
        level = (out < 0.9) & (np.abs(heights) < 0.02)
        if half > 5.0:
            assert card[level].mean() == pytest.approx(1.0, abs=0.15)  # few rays
        dyed = flood.factors(made, colour[1:], np.ones(3), angle, half).table
        np.testing.assert_allclose(dyed, white * colour[1], rtol=1e-3, atol=1e-3)


def test_a_flood_sends_on_all_that_met_something():
    """Light of one side adds up to one; what a clear rod loses is its dye's alone."""
    rod = Strand(0.12, 0.12, index=1.55)
    for strand in (rod, MATT):
        cell = FilamentCell(((1, 0), (0, 1)), strand, strand, 0.3, 0.4, 0.06, 0.06)
        made = flood.flood(cell)
        rays = filaments.node_rays(cell, nodes(), flood.flood_rays(cell))
        passed = (nodes().share[rays.label[rays.start]] * rays.weight)[rays.met == 0].sum()
        passed /= flood.flood_rays(cell)
        assert made.every.weight.sum() + passed == pytest.approx(2.0, abs=0.03)
        # read between the nodes' parts of the sphere: each sends on what it got
        size = 2 * nodes().half
        place = np.stack([
            filaments.paths.nodes_of(v, filaments.ring_edges(nodes()), 12)
            for v in (made.every.came, made.every.went)
        ])  # fmt: skip
        left = filaments.kept(cell, np.zeros((1, 2)))
        table = made.between(place, nodes().share, left)[0]
        assert table == pytest.approx(table.T, rel=1e-4, abs=1e-6)
        sent = made.every.weight.sum()
        assert nodes().share @ table @ nodes().share == pytest.approx(sent, rel=1e-4)
        assert table.shape == (size, size)


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


def test_a_ray_is_counted_for_every_eye_that_it_lies_within_five_degrees_of():
    """Of white light from everywhere: one at each node whose eye is as near, and none at others."""
    count, half = 150, np.radians(5.0)
    came, went = _directions(count, 5), _directions(count, 6)
    at = np.arange(flood.DISC)
    eyes = np.array([[flood.eye_at(x, y, flood.DISC)[0] for x in at] for y in at])
    out = np.zeros((2, 2, flood.DISC, flood.DISC, flood.TURNS + 2, 3), np.float32)
    near = sum(np.where((eyes @ np.array([v[1], -v[0], v[2]]))[..., None] > np.cos(half), 1.0, 0.0)
               for v in (*came, *went))  # fmt: skip
    as_it_is = np.ones((2, 3), order="F")  # laid out as the tool's, for which it is compiled
    flood._strewn(came.astype(np.float32), went.astype(np.float32), np.ones((count, 3), np.float32),
                  as_it_is, np.radians(40.0), half, np.pi, out)  # fmt: skip
    assert out[0, 0, ..., 0, :1].sum() > 1000.0
    # but for rays that single precision puts to either side of the rim
    assert np.count_nonzero(np.abs(out[0, 0, ..., 0, :1] - near) > 0.5) <= 2
    assert not out[1].any() and not out[:, 1].any()
