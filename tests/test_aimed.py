"""Light of single rods drawn by places on them, against the light that floods them ray by ray."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.cell import aimed, filaments, paths
from weavecolor.optics.cell.filaments import FilamentCell
from weavecolor.optics.cell.nodes import nodes
from weavecolor.optics.layer import strand, woven
from weavecolor.textile.construction import geometry_of

PLAIN = ((1, 0), (0, 1))
TWILL = ((1, 1, 0, 0), (0, 1, 1, 0), (0, 0, 1, 1), (1, 0, 0, 1))


def rods(lift: tuple[tuple[int, ...], ...], dull: float) -> FilamentCell:
    """The swatch's rods; the twill close set, its warp scattering inside."""
    cloth = load_swatch("shot-organza-red-black")
    cell = woven(geometry_of(cloth), strand(cloth.warp), strand(cloth.weft))
    if lift == TWILL:
        cell = replace(cell, warp_spacing=0.09, weft_spacing=0.11)
    return replace(cell, lift=lift, warp=replace(cell.warp, dull=dull))


def angles(came: np.ndarray, went: np.ndarray) -> np.ndarray:
    return np.arccos(np.clip(np.einsum("nc,nc->n", came.astype(float), went), -1.0, 1.0))


@pytest.mark.parametrize(("lift", "dull"), [(PLAIN, 0.0), (TWILL, 6.0)])
@pytest.mark.parametrize("degrees", [8.0, 55.0, 100.0, 140.0, 172.0])
def test_as_much_light_is_aimed_as_floods_the_rods(monkeypatch, lift, dull, degrees):
    """By surfaces met and side, in all and by slope of the half line; the flood, traced another
    way, has the noise of its rays, which is told by their squares."""
    monkeypatch.setattr(filaments, "EFFORT", 1.0)
    monkeypatch.setattr(aimed, "ENTERED", 65_536)
    cell, each = rods(lift, dull), 300
    rays = filaments.node_rays(cell, nodes(), each)
    start = rays.start
    own = rays.one & (rays.met > 0) & (rays.met <= aimed.MOST_MET)
    came, went = rays.came[start[own]], rays.toward[own]
    flood = nodes().share[rays.label[start[own]]] / each * rays.weight[own]
    angle, wide = np.radians(degrees), np.radians(12.0)
    found = aimed.aimed(cell, angle, wide)

    def kinds(met_one, came, went):
        same = came[:, 2] * went[:, 2] > 0.0
        half = came + went
        steep = np.abs(half[:, 2]) > 0.8 * np.linalg.norm(half, axis=1)
        return np.select([met_one & steep, met_one, same & steep, same], [0, 1, 2, 3], 4)

    def told(kind, weight, turned):
        light = np.clip(1.0 - np.abs(turned - angle) / wide, 0.0, None) * weight
        return np.bincount(kind, light, 5), np.sqrt(np.bincount(kind, light**2, 5))

    got, _ = told(kinds(found.column == 0, found.came, found.went), found.weight,
                  angles(found.came, found.went))  # fmt: skip
    want, noise = told(kinds(rays.met[own] == 1, came, went), flood, angles(came, went))
    # a few rays in a part tell their own noise badly
    assert (np.abs(got - want) < 4.0 * noise + 0.01 * want + 1e-3 * want.sum()).all()
    assert noise.sum() < 0.15 * want.sum()


def test_places_lie_on_the_rods_and_face_outwards():
    """Against the tracer's own gradient of a yarn's section; the surface of a straight round rod is
    its girth times its length."""
    ready = filaments.prepared(rods(TWILL, 0.0))
    place = np.empty(8)
    for rod, along, about in filaments.evenly(200, 3):
        aimed._place(ready.rows, ready.signs, ready.plan, rod, along, about, place)
        s, yarn = int(place[6]), int(place[7])
        v, u = place[s], place[1 - s]
        a, b, av, au, az, bv, bu, bz = paths._frame(
            ready.rows, ready.signs, s, yarn, v, u, place[2]
        )
        wide, high = ready.rows[s, paths.FIL_A], ready.rows[s, paths.FIL_B]
        assert (a / wide) ** 2 + (b / high) ** 2 == pytest.approx(1.0, abs=1e-9)
        slope = a / wide**2 * np.array([av, au, az]) + b / high**2 * np.array([bv, bu, bz])
        normal = place[[3 + s, 4 - s, 5]]
        assert normal == pytest.approx(slope / np.linalg.norm(slope), abs=1e-9)
    cell = rods(PLAIN, 0.0)
    round_ = replace(cell.warp, width=0.05, height=0.05)
    ready = filaments.prepared(replace(cell, warp=round_, weft=round_, warp_swing=0.0,
                                       weft_swing=0.05))  # fmt: skip
    area = aimed._place(ready.rows, ready.signs, ready.plan, 0.1, 0.3, 0.7, place)
    assert area == pytest.approx(2.0 * (2 * np.pi * 0.025) * (2 * 2 * cell.weft_spacing))


def test_no_angle_hangs_on_those_asked_before():
    """Places are drawn once for all angles; ways within an angle are those told straight away."""
    cell = rods(PLAIN, 0.0)
    asked = []
    for degrees in (55.0, 140.0, 55.0):
        asked.append(aimed.aimed(cell, np.radians(degrees), np.radians(12.0)))
    alone, other, again = asked
    assert np.array_equal(alone.came, again.came) and np.array_equal(alone.weight, again.weight)
    # what goes in turns by what the angle asks, up to the border on both sides
    for made, degrees in ((alone, 55.0), (other, 140.0)):
        turned = np.degrees(angles(made.came, made.went)) - degrees
        assert np.abs(turned).max() < 12.01
        assert turned.min() < -11.5 and turned.max() > 11.5


def _drawn(cell: FilamentCell, count: int):
    """Mirrored ways of all places, and those that went in, told by their rows."""
    ready = filaments.prepared(cell)
    traced = ready.rows, ready.signs, ready.plan, ready.centres
    number, repeat = filaments.evenly(count, 4), ready.repeat[0] * ready.repeat[1]
    mirrored = np.empty((count, aimed._WAY))
    made = aimed._mirrored(*traced, number, repeat, np.radians(55.0), np.radians(12.0), mirrored)
    into = np.empty(((aimed.MOST_MET - 1) * count, aimed._WAY))
    told = np.empty((len(into), 2), np.float32)
    went = aimed._entered(*traced, number, np.arange(count), repeat, -2.0, 2.0, into, told)
    return ready, mirrored[:made], into[:went]


def test_light_leaves_a_bent_rod_by_snell_s_law_at_its_own_surface():
    """What went straight through: across the normal, by the tracer's own gradient of the yarn's
    section, the way outside is the way inside times the index."""
    ready, _, into = _drawn(rods(PLAIN, 0.0), 512)
    straight = into[np.isclose(np.linalg.norm(into[:, 13:16] - into[:, 10:13], axis=1), into[:, 7])]
    assert len(straight) > 200
    steep = 0.0
    for row in straight:
        s, yarn, x = int(row[8]), int(row[9]), row[13:16]
        a, b, av, au, az, bv, bu, bz = paths._frame(
            ready.rows, ready.signs, s, yarn, x[s], x[1 - s], x[2]
        )
        wide, high = ready.rows[s, paths.FIL_A], ready.rows[s, paths.FIL_B]
        slope = a / wide**2 * np.array([av, au, az]) + b / high**2 * np.array([bv, bu, bz])
        normal = (slope / np.linalg.norm(slope))[[s, 1 - s, 2]]
        inside = (x - row[10:13]) / row[7]
        index = ready.rows[s, paths.INDEX]
        assert np.cross(row[3:6], normal) == pytest.approx(
            index * np.cross(inside, normal), abs=2e-3
        )
        steep = max(steep, abs(normal[1 - s]))
    assert steep > 0.2  # the rods do bend


def test_light_is_mirrored_evenly_about_the_normal_whatever_it_turns_by():
    """Of ways that turn by more than was asked, and by less, as many come from every side."""
    _, mirrored, _ = _drawn(rods(PLAIN, 0.0), 4096)
    came, went = mirrored[:, :3], mirrored[:, 3:6]
    normal = came + went
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    off = angles(came, went) - np.radians(55.0)
    aside = np.cross(normal, [0.6, 0.5, 0.3])
    aside /= np.linalg.norm(aside, axis=1)[:, None]
    around = np.einsum("nc,nc->n", came, aside) / np.sin(0.5 * angles(came, went))
    other = np.einsum("nc,nc->n", came, np.cross(normal, aside)) / np.sin(
        0.5 * angles(came, went)
    )
    assert around**2 + other**2 == pytest.approx(np.ones(len(around)), abs=1e-6)
    for side in (off > 0.0, off < 0.0):
        assert side.sum() > 1000
        for turns in (1, 2):
            assert abs(np.mean((around[side] + 1j * other[side]) ** turns)) < 0.05


@pytest.mark.parametrize("dull", [0.0, 6.0])
def test_light_of_a_single_rod_runs_in_warp_or_in_weft(monkeypatch, dull):
    """Never in both: it met no other. And in each of them as far as in the other, by the cell's own
    likeness."""
    monkeypatch.setattr(filaments, "EFFORT", 0.05)
    found = aimed.aimed(rods(PLAIN, dull), np.radians(55.0), np.radians(12.0))
    warp, weft = np.divmod(found.column, filaments.LEVELS)
    assert not (warp * weft).any()
    assert (warp > 0).sum() > 100 and (weft > 0).sum() > 100
