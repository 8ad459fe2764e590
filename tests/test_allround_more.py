"""Directions all round: rings, regular angles, how values go from one to the other and turn, each
against functions of direction that are known."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from test_layer_optics import cloth

from weavecolor.cache import Kept
from weavecolor.optics import allround as al
from weavecolor.optics.appearance import seen_optics
from weavecolor.optics.cell.nodes import nodes
from weavecolor.optics.layer import solved
from weavecolor.optics.stack import Layer, Stack
from weavecolor.textile.construction import geometry_of

pytestmark = pytest.mark.usefixtures("few_rays")

RINGS = (al.FINE, al.COARSE)


def angles(v):
    return np.degrees(np.arccos(v[:, 2])), np.degrees(np.arctan2(-v[:, 0], v[:, 1])) % 360.0


def test_rings_and_regular_angles_stand_where_they_are_said_to():
    zenith, azimuth = angles(al.regular())
    assert zenith.reshape(16, 48) == pytest.approx(np.repeat(np.arange(0, 91, 6)[:, None], 48, 1))
    assert azimuth.reshape(16, 48)[1:] == pytest.approx(np.tile(np.arange(48) * 7.5, (15, 1)))
    for rings in RINGS:
        v = al.ring_directions(rings)
        zenith, azimuth = angles(v)
        assert v.shape == (1 + 24 * (len(rings) - 1), 3)
        assert zenith == pytest.approx(np.concatenate([[0.0], np.repeat(rings[1:], 24)]), abs=1e-6)
        assert azimuth[1:] == pytest.approx(np.tile(7.5 + 15 * np.arange(24), len(rings) - 1))
    # the nodes' own rings are among the fine ones
    own = np.degrees(np.arccos(np.unique(nodes().cosine)))
    assert len(own) == 6
    assert np.abs(own[:, None] - np.array(al.FINE)).min(axis=1) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("rings", RINGS)
def test_directions_move_as_they_are_turned_and_mirrored(rings):
    v = al.ring_directions(rings)
    assert v[al.half_turn(rings)] == pytest.approx(v * [-1, -1, 1], abs=1e-9)
    assert v[al._over(rings)] == pytest.approx(v * [-1, 1, 1], abs=1e-9)


@pytest.mark.parametrize("rings", RINGS)
def test_values_are_spread_from_rings_as_smooth_functions_go(rings):
    w = al.spread(rings)
    v, to = al.ring_directions(rings), al.regular()
    assert w.shape == (768, len(v)) and w.min() >= 0.0
    assert w.sum(axis=1) == pytest.approx(np.ones(768), abs=1e-6)
    covered = np.degrees(np.arccos(to[:, 2])) <= max(rings) + 1e-9
    near = np.degrees(np.arccos(to[:, 2])) < rings[1]
    # between rings in proportion to the cosine, near straight out to the sine
    cosine, sine = w @ v[:, 2], w @ np.hypot(v[:, 0], v[:, 1])
    between = covered & ~near
    assert cosine[between] == pytest.approx(to[between, 2], abs=1e-6)
    assert sine[near] == pytest.approx(np.hypot(to[near, 0], to[near, 1]), abs=1e-6)
    # round about: a wave once round is met within the sagitta of a step of 15 degrees
    for wave in (1, 2):
        ring = np.arctan2(-v[:, 0], v[:, 1])
        want = np.arctan2(-to[:, 0], to[:, 1])
        for phase in (0.0, 0.7):
            values = np.where(v[:, 2] > 1 - 1e-9, 0.0, np.cos(wave * ring + phase))
            exact = np.cos(wave * want + phase)
            sagitta = (wave * np.radians(7.5)) ** 2 / 2
            assert np.abs(w @ values - exact)[between].max() < sagitta + 1e-5
    # a regular angle half a step on from the warp is itself one of the rings'
    row = w.reshape(16, 48, -1)[8, 1::2, 1:]
    assert row.reshape(24, -1, 24).sum(axis=1) == pytest.approx(np.eye(24), abs=1e-6)


@pytest.mark.parametrize("rings", RINGS)
def test_a_turn_of_the_rings_turns_what_stands_on_them(rings):
    v = al.ring_directions(rings)
    azimuth = np.arctan2(-v[:, 0], v[:, 1])
    for degrees in (0.0, 15.0, 37.0, 90.0, 203.5, 359.9):
        turn = np.radians(degrees)
        r = al._rotation(rings, turn)
        assert r.min() >= 0.0
        assert r.sum(axis=0) == pytest.approx(1.0) == r.sum(axis=1)
        for phase in (0.0, 1.3):
            values = v[:, 2] + np.hypot(v[:, 0], v[:, 1]) * np.cos(azimuth + phase)
            exact = v[:, 2] + np.hypot(v[:, 0], v[:, 1]) * np.cos(azimuth - turn + phase)
            # the same as the cloth's own there, mixed between steps of 15 degrees
            assert np.abs(r @ values - exact).max() < np.radians(7.5) ** 2 / 2 + 1e-9
        if degrees % 15 == 0:
            assert np.array_equal(r, r.round()) and r @ r.T == pytest.approx(np.eye(len(v)))
    half = al._rotation(rings, np.radians(7.5))
    both = 0.5 * (np.eye(len(v)) + al._rotation(rings, np.radians(15.0)))
    assert half == pytest.approx(both)


def test_regular_values_of_a_cloth_that_lies_turned():
    v = al.regular()
    azimuth = np.tile(np.arange(48) * (2 * np.pi / 48), 16)
    values = np.stack([v[:, 2], np.cos(azimuth), np.cos(3 * azimuth + 0.4)], axis=1)
    for degrees in (0.0, 7.5, 30.0, 41.0, 180.0, 355.0):
        turn = np.radians(degrees)
        found = al._turned(values, degrees, False)
        own = azimuth - turn
        exact = np.stack([v[:, 2], np.cos(own), np.cos(3 * own + 0.4)], axis=1)
        assert np.abs(found - exact).max() < (3 * np.radians(3.75)) ** 2 / 2 + 1e-9
        # turned over about the warp a line comes from the other side, half round and mirrored
        over = al._turned(values, degrees, True)
        own = np.pi - (azimuth - turn)
        exact = np.stack([v[:, 2], np.cos(own), np.cos(3 * own + 0.4)], axis=1)
        assert np.abs(over - exact).max() < (3 * np.radians(3.75)) ** 2 / 2 + 1e-9


@pytest.mark.parametrize("rings", RINGS)
def test_even_light_falls_to_the_rings_by_their_shares(rings):
    rng = np.random.default_rng(4)
    count = 60000
    z = np.sqrt(rng.random((2, count)))
    around = rng.uniform(0, 2 * np.pi, (2, count))
    came, went = (
        np.column_stack([np.sqrt(1 - a * a) * np.cos(b), np.sqrt(1 - a * a) * np.sin(b), a])
        for a, b in zip(z, around, strict=True)
    )
    went[:, 2] *= -1.0
    every = SimpleNamespace(came=came.astype(np.float32), went=went.astype(np.float32))
    made = SimpleNamespace(every=every)
    place, share = al._parts(made, rings)
    v = al.ring_directions(rings)
    k = len(v)
    assert share.sum() == pytest.approx(1.0) and share.min() > 0.0
    assert place[0].max() < k <= place[1].min() and place[1].max() < 2 * k
    for row, start in zip(place, (0, k), strict=True):
        counted = np.bincount(row - start, minlength=k) / count
        assert np.abs(counted - share).max() < 5 * np.sqrt(share.max() / count)
    # each belongs to the direction that lies nearest by zenith, then by azimuth
    zenith = np.degrees(np.arccos(came[:, 2]))
    at = np.array(rings)[np.abs(zenith[:, None] - np.array(rings)).argmin(axis=1)]
    assert np.degrees(np.arccos(v[place[0], 2])) == pytest.approx(at, abs=1e-5)
    own = v[place[0]]
    off = np.arctan2(-came[:, 0], came[:, 1]) - np.arctan2(-own[:, 0], own[:, 1])
    off = (np.degrees(off) + 180.0) % 360.0 - 180.0
    assert np.abs(off[place[0] > 0]).max() < 7.5 + 1e-3
    # straight out, also where rounding lengthened it; on its own ring, above and below
    one = np.float32(1.0 + 2e-7)
    own = np.concatenate([v, [[0.0, 0.0, one]]]).astype(np.float32)
    low = own * np.float32([1, 1, -1])
    place, _ = al._parts(SimpleNamespace(every=SimpleNamespace(came=own, went=low)), rings)
    assert place[0].tolist() == [*range(k), 0] and place[1].tolist() == [*range(k, 2 * k), k]


@pytest.mark.parametrize("face", ["face", "back"])
def test_light_slips_between_filaments_as_much_as_named_directions_tell(face):
    """The same question asked of a few named directions, which are traced by themselves."""
    sheer = cloth(filaments=5, twist=200.0, tex=1.2, ends=30.0, picks=25.0)
    loose = (replace(yarn, packing=0.2) for yarn in (sheer.warp, sheer.weft))
    sheer = replace(sheer, **dict(zip(("warp", "weft"), loose, strict=True)))
    stack = Stack((Layer(sheer, 0.0, face),))
    made = al.all_round(stack, al.COARSE)
    k = len(al.ring_directions(al.COARSE))
    placement = made.pile.members[0][0]
    chosen = [0, 1 + 2, 1 + 24 + 7, 1 + 48 + 20]
    v = al.ring_directions(al.COARSE)[chosen]
    named = [(float(a), float(b)) for a, b in zip(*angles(v), strict=True)]
    aside = seen_optics(stack, tuple(named))
    found = placement.through[-k:][chosen]
    white = solved(sheer).white
    assert (white.through - white.open).max() > 0.1  # much slips through yarns, not beside them
    assert found == pytest.approx(aside.through[-4:], abs=0.03)
    # of the light that meets a yarn's outline a share slips on, never more than all
    flip = face == "back"
    slip = al._lying(solved(sheer), 0.0, flip, al.COARSE)[1]
    free = np.clip(al._open(geometry_of(sheer), al.COARSE, flip), 0.0, 1.0)
    assert placement.through[-k:] == pytest.approx(free + (1.0 - free) * slip, abs=1e-12)
    level = (white.through - white.open) / (1.0 - white.open)
    about = white.grid.about(al.ring_directions(al.COARSE)) @ level
    assert slip == pytest.approx(about, abs=0.5 * np.ptp(level) + 1e-6)
    assert made.straight.reshape(16, 48)[0] == pytest.approx(found[0], abs=0.03)


@pytest.mark.parametrize(("weave", "signs"), [("plain", [-1, 1, 1]), ("twill 2/1", [-1, -1, 1])])
def test_what_mirrors_make_of_a_direction_is_as_open(weave, signs):
    """Counted direction by direction, and once for those that mirrors make of one another."""
    construction = geometry_of(cloth(weave, ends=30.0))
    ways = np.random.default_rng(2).normal(size=(24, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None] * np.sign(ways[:, 2:])
    got = al._counted(construction, ways)
    want = al.counted(al.tubes(construction), ways, al.QUICK_PENCILS)
    assert got == pytest.approx(want, abs=0.012)
    assert got.tolist() == al._counted(construction, ways * signs).tolist()


def test_a_stack_that_is_held_is_not_laid_again_from_the_top(monkeypatch):
    """A seam and a band of the same layers: what lies in between may be forgotten."""
    added = []
    real = al._added
    monkeypatch.setattr(al, "_added", lambda *a: (added.append(1), real(*a))[1])
    monkeypatch.setattr(al, "_piles", Kept(1))
    one = cloth(ends=20.0, picks=20.0)
    stack = Stack(tuple(Layer(one, grain) for grain in (0.0, 30.0, 60.0, 90.0)))
    first = al.all_round(stack, al.COARSE)
    assert len(added) == 3 and len(first.own) == 4
    assert al.all_round(stack, al.COARSE) is first and len(added) == 3
    # the same, whatever is in between
    again = al.all_round(Stack(stack.layers[:3]), al.COARSE)
    assert len(added) == 5 and len(again.own) == 3
    # turned as a whole it is the same: the eye goes round with it
    turned = tuple(replace(x, grain_deg=(x.grain_deg + 40.0) % 360.0) for x in stack.layers[:3])
    assert al.all_round(Stack(turned), al.COARSE) is again and len(added) == 5
