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
