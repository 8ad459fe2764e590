"""Optics, function by function: laws of scale and symmetry, limits, and tables against formulas."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from test_layer_optics import cloth

from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.optics import allround, dye
from weavecolor.optics.appearance import direction
from weavecolor.optics.cell import filaments, paths
from weavecolor.optics.cell.filaments import FilamentCell, Strand
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.cell.openness import openness
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.layer import solved
from weavecolor.textile.cloth import Construction

pytestmark = pytest.mark.usefixtures("few_rays")


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_direction_needs_two_angles(bad):
    for zenith, azimuth in ((bad, 10.0), (10.0, bad), (bad, bad)):
        with pytest.raises(InputError, match="a direction needs two finite angles"):
            direction(zenith, azimuth, 0.0)


# --- dyes -------------------------------------------------------------------------------------


def test_a_fibre_s_thickness_has_its_stated_limits():
    read = np.full(BANDS, 0.9999)
    for across in (0.0005, 5.0):
        made = dye.from_fibre(read, across)
        # Lambert and Beer; of so pale a rod along the mean chord, pi/4 of the diameter (Cauchy)
        wanted = -np.log(0.9999) / (0.25 * np.pi * across)
        assert made.absorption == pytest.approx(np.full(BANDS, wanted), rel=1e-4)
    for across in (0.000499, 5.01, 0.0, float("nan")):
        with pytest.raises(InputError, match=r"a fibre is 0\.0005 to 5 mm thick"):
            dye.from_fibre(read, across)


# --- nodes, caps, tables ----------------------------------------------------------------------


def test_what_is_seen_of_even_light_straight_on_and_at_the_edge():
    """Two discs' overlap (plain geometry) over a cone, with the cosine; never beyond the zenith."""
    cosine, share = filaments._even_share(10.0, 10.0)
    wide = np.radians(20.0)

    def overlap(a):
        return 2.0 / np.pi * (np.arccos(a) - a * np.sqrt(1.0 - a * a))

    whole, _ = quad(
        lambda a: 2.0 * overlap(a / wide) * np.sin(a) * np.cos(a),
        0.0, wide,
    )  # fmt: skip
    assert np.isfinite(share).all() and (np.diff(share) > -1e-6).all()
    assert cosine[0] == -1.0 and cosine[-1] == 1.0 and share[0] == 0.0
    assert share[-1] == pytest.approx(whole, rel=2e-3)


def test_a_plan_moved_along_is_the_same_plan():
    rng = np.random.default_rng(5)
    plan = rng.random((4, 5)) < 0.5
    for a in range(4):
        for b in range(5):
            assert filaments._moved(plan, np.roll(plan, (a, b), (0, 1))) == (a, b)
    # mirrored, or with one crossing turned over, it is another
    other = plan.copy()
    other[1, 2] ^= True
    assert filaments._moved(plan, other) is None
    assert filaments._moved(plan, ~plan) is None or plan.sum() == 10


def test_a_length_is_kept_to_a_tenth():
    """What stands for a length is so near that no dye (Lambert, Beer) leaves 4 % of all light more
    or less by it: x exp(-x) is 1 / e at most, and a tenth of that."""
    cell = FilamentCell(((1,),), Strand(0.3, 0.2), Strand(0.1, 0.1), 1.0, 1.0, 0.1, 0.1)
    stand = filaments.lengths(cell)[0]
    some = np.geomspace(0.02 * 0.2, 0.95 * stand[-1], 3000)
    leaves = np.zeros((some.size, paths.LEAF))
    leaves[:, 5] = some
    ready = filaments.prepared(cell)
    level = paths.levels_of(leaves, ready.scale, filaments.RATIO, filaments.LEVELS)
    told = stand[level // filaments.LEVELS]
    assert np.abs(told / some - 1.0).max() < 0.1
    for absorption in (0.3, 3.0, 30.0):
        off = np.exp(-absorption * told) - np.exp(-absorption * some)
        assert np.abs(off).max() < 0.04


def test_a_pair_is_looked_at_by_as_many_rays_as_it_is_asked_for(monkeypatch):
    """What one surface sends back is the same whichever function is asked for it."""
    monkeypatch.setattr(filaments, "EFFORT", 0.03)  # unlike what a picture takes
    strand = Strand(0.2, 0.2, index=1.55)
    cell = FilamentCell(((1, 0), (0, 1)), strand, strand, 0.3, 0.3, 0.101, 0.101)
    eye, lamp = (tuple(float(x) for x in unit(a, b)) for a, b in ((0.3, 1.0), (0.5, 4.0)))
    aims = [lamp, tuple(float(x) for x in unit(0.31, 4.2))]
    rays = filaments.beam(cell, eye, 200)
    _, glint = filaments.looked_at(cell, eye, aims, rays)
    assert glint == pytest.approx(filaments.glints(cell, eye, aims), rel=1e-12)


@pytest.mark.parametrize("times", [0.125, 8.0])
def test_paths_do_not_ask_how_large_the_cloth_is(times):
    """All lengths of a cell times a power of two, which rounds nothing: the same ways out, the same
    light, lengths times so many."""
    lift = ((1, 1, 0, 0), (0, 1, 1, 0), (0, 0, 1, 1), (1, 0, 0, 1))

    def made(k):
        warp, weft = Strand(0.2 * k, 0.12 * k, 5, 0.5), Strand(0.14 * k, 0.14 * k, 7, 0.5, 1.6)
        drop = 0.5 * (0.12 + 0.14) + 0.002
        return FilamentCell(lift, warp, weft, 0.4 * k, 0.45 * k, 0.4 * drop * k, 0.6 * drop * k)

    rng = np.random.default_rng(8)
    count = 400
    zenith, around = np.arccos(rng.uniform(0.1, 1.0, count)), rng.uniform(0, 2 * np.pi, count)
    way = np.column_stack([np.sin(zenith) * np.cos(around), np.sin(zenith) * np.sin(around),
                           -np.cos(zenith)])  # fmt: skip
    place = rng.uniform(0.0, 4.0, (count, 2))
    left = []
    for k in (1.0, times):
        ready = filaments.prepared(made(k))
        starts = np.ascontiguousarray(np.column_stack([place * k, way]))
        room = np.empty((300 * count, paths.LEAF))
        _, count_made, _ = paths.trace(
            ready.rows, ready.signs, ready.plan, ready.centres, ready.near, ready.top, starts, 0,
            count, 1, 0.05, room, paths.ALL,
        )  # fmt: skip
        leaves = room[:count_made]
        ends = np.zeros((count, 6))
        for leaf in leaves:
            ends[int(leaf[0])] += [*(leaf[1:4] * leaf[4]), leaf[4], leaf[5] / k, leaf[6] / k]
        left.append(ends)
    alike = np.isclose(left[0], left[1], rtol=1e-9, atol=1e-9).all(axis=1)
    assert (~alike).sum() <= 1


# --- yarns as bodies --------------------------------------------------------------------------


@pytest.mark.parametrize("lay", [(0.0, False), (0.4, True)])
def test_all_round_a_layer_lies_as_its_directions_tell(lay):
    turn, flip = lay
    one = solved(cloth(ends=20.0, picks=20.0))
    made = allround._lying(one, turn, flip, allround.COARSE)[0].placement
    wanted = allround.ring_directions(allround.COARSE)
    assert np.asarray(made.named) == pytest.approx(wanted, abs=1e-8)
    assert np.linalg.norm(made.named, axis=1) == pytest.approx(np.ones(len(wanted)), abs=1e-8)
    assert (np.signbit(made.named) <= (np.asarray(made.named) < 0.0)).all()  # no minus nought
    assert (made.turn, made.flip, made.exact) == (turn, flip, False)


def test_nothing_passes_cloth_without_gaps():
    """Flat yarns wider than their spacing: openness is nothing, told at once."""
    tight = tubes(Construction(((1, 0), (0, 1)), 0.2, 0.2, 0.25, 0.05, 0.25, 0.05, 0.5))
    assert openness(tight, np.array([0.0, 0.0, 1.0])) == 0.0


@pytest.mark.parametrize("red", [0.1, 0.4, 0.75])
def test_perfect_rods_are_doubted_until_they_are_slightly_dull(red):
    """How far a dye may be off joins on where fibre is dull enough to be no perfect cylinder."""
    warp = cloth().warp
    slightly = dye._DULL[2] / warp.rod_diameter_mm

    def doubt(dull):
        return dye.from_wound(np.full(BANDS, red), replace(warp, dull_per_mm=dull)).spread[0]

    assert doubt(slightly * 0.9999) == pytest.approx(doubt(slightly * 1.0001), rel=1e-3)


@pytest.mark.parametrize("dull", [1e-300, 1e-12, 1e-6])
def test_next_to_no_dullness_is_none(dull):
    y = np.linspace(0.0, 5.0, 9)
    assert dye._dulled(y, dull) == pytest.approx(dye._dulled(y, 0.0), abs=1e-3)
