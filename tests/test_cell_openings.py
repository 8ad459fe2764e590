"""Openings of the cell, and what is in sight, against traced yarns, mesh data and cylinders."""

import csv

import accuracy
import numpy as np
import pytest
import traced

from weavecolor.optics.appearance import transmittance
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.cell.openness import openness
from weavecolor.optics.cell.pairs import Distance, met_depths
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.stack import Layer, Stack
from weavecolor.textile.cloth import Cloth, Construction, Fibre, Yarn
from weavecolor.textile.weaves import weave


def test_beam_transmittance_of_crimped_yarns():
    # tests/data/raytraced.json: traced explicit yarns; within 1 % where it exceeds 0.02
    figure = accuracy.beam_transmittance()
    assert figure.errors.size >= 12
    assert figure.holds, str(figure)


def test_light_still_passes_where_straight_yarns_would_be_shut():
    # the same table: at 60 and 75 degrees crimped cloth is still a little open
    for r in traced.first_table()["beam_transmittance"]:
        if 0 < r["T"] <= 0.02:
            mine = openness(
                tubes(accuracy.plain(r["cover"])), np.array(traced.vector(r["theta"], r["az"]))
            )
            assert mine == pytest.approx(r["T"], abs=1e-3)


@pytest.mark.slow
def test_beam_transmittance_at_other_covers_and_weaves():
    figure = accuracy.transmittance_of_covers()
    assert figure.errors.size >= 100
    assert figure.holds, str(figure)


def test_pair_probability():
    figure = accuracy.pair_probability()
    assert figure.errors.size == 12
    assert figure.holds, str(figure)


def test_diffuse_light_in_and_out_through_openings():
    # no outside source: the quadrature held to a dense count through the same yarns
    figure = accuracy.openings_in_diffuse_light()
    assert figure.holds, f"{figure}; gaps 0-0.1, 0-2, 2.55: {figure.errors.round(3)}"


def test_pair_probability_limits():
    construction = accuracy.plain((0.5, 0.4))
    vectors = (traced.vector(45, 0), traced.vector(0, 0), traced.vector(30, 70))
    joint = accuracy.joint(construction, Distance(((0.0, 2.0),), uneven=0.0), vectors)[2]
    own = [openness(tubes(construction), np.array(v)) for v in vectors]
    # a beam that comes back the way it went in meets the very same openings
    assert np.diag(joint) == pytest.approx(own, rel=1e-6)
    # never more than either alone, never less than the two can help
    least = np.add.outer(own, own) - 1.0
    assert np.all(joint <= np.minimum.outer(own, own) + 1e-12)
    assert np.all(joint >= np.maximum(least, 0.0) - 1e-12)
    assert joint == pytest.approx(joint.T, rel=1e-12)
    # far behind, the openings no longer line up: Beer-like product of the two
    far = accuracy.joint(construction, Distance(((200.0, 260.0),)), vectors)[2]
    away = ~np.eye(3, dtype=bool)
    assert far[away] == pytest.approx(np.outer(own, own)[away], rel=0.06)


def test_mesh_open_area():
    # makers' pages (found) and sieve tables (from memory), tests/data/mesh_open_area.csv
    figures = accuracy.mesh_open_area()
    assert [(f.known, f.errors.size) for f in figures] == [("found", 5), ("from memory", 14)]
    for figure in figures:
        assert figure.holds, str(figure)


def _monofilament(diameter_mm: float) -> Yarn:
    tex = np.pi / 4 * diameter_mm**2 * 1e3
    return Yarn(Fibre("wire", 1.5, 1.5, 1.0), tex, np.full(41, 0.5), packing=1.0)


def test_mesh_from_cloth_to_transmittance():
    # the same data through the whole chain: cloth, layer, stack; three screens of 225 /inch with
    # threads of 40, 48 and 54 um print 42, 33 and 27 %
    path = traced.DATA / "mesh_open_area.csv"
    rows = [
        r for r in csv.DictReader(path.open(encoding="utf-8")) if "225/inch" in r["source"]
        or "same page), found" in r["source"]
    ]  # fmt: skip
    assert len(rows) >= 1
    for r in rows:
        wire, aperture = float(r["wire_um"]) / 1e3, float(r["aperture_um"]) / 1e3
        yarn, per_cm = _monofilament(wire), 10.0 / (wire + aperture)
        mesh = Cloth("mesh", yarn, yarn, weave("plain"), per_cm, per_cm)
        straight = transmittance(Stack((Layer(mesh),))).straight
        assert 100 * straight == pytest.approx(float(r["open_area_pct_printed"]), abs=0.5)
        assert 100 * straight == pytest.approx(float(r["open_area_pct_formula"]), abs=0.1)


def test_straight_yarns_are_crossed_cylinders():
    # tests/data/pywincalc_woven_reference.json: an independent library's straight cylinders
    figure = accuracy.straight_cylinders()
    assert figure.errors.size == 64
    assert figure.holds, str(figure)


@pytest.mark.parametrize("zenith, azimuth", [(0, 0), (30, 0), (30, 30), (45, 45), (60, 20)])
def test_straight_yarns_at_any_azimuth(zenith, azimuth):
    # (1 - c g1)(1 - c g2), g the widening of a cylinder seen obliquely: exact for straight yarns
    # (geometry; only crimp breaks it)
    cover = 0.35
    v = unit(np.radians(zenith), np.radians(azimuth))
    x, y, z = v
    expected = 1.0
    for along in (y, x):
        expected *= max(0.0, 1.0 - cover * np.sqrt(1.0 - along**2) / z)
    mine = openness(accuracy.straight_yarns(cover, 1.0), v)
    assert mine == pytest.approx(expected, abs=2e-3)


def test_two_meshes_in_random_register():
    # mean open area is the product of the two (computed)
    yarn = _monofilament(0.1)
    mesh = Cloth("mesh", yarn, yarn, weave("plain"), 40.0, 30.0)
    one = transmittance(Stack((Layer(mesh),))).straight
    for lay in ("touching", "loose", "apart"):
        two = transmittance(Stack((Layer(mesh), Layer(mesh, 20.0)), lay=lay)).straight
        assert two == pytest.approx(one**2, rel=1e-9)


def test_flattened_yarns_cover_by_their_width():
    width, height = 0.4, 0.1
    cell = tubes(Construction(traced.PLAIN, 1.0, 1.0, width, height, width, height, 0.5))
    assert openness(cell, np.array([0.0, 0.0, 1.0])) == pytest.approx(0.36, abs=2e-3)


def test_depth_at_which_even_light_first_meets_a_yarn(monkeypatch):
    # of an even sky, a strip across which the sky spans angles a to b from its normal sees
    # (sin b - sin a) / 2 (crossed strings: H. C. Hottel, Radiant-Heat Transmission, 1954; from
    # memory). On straight round yarns it spans from the strip's own horizon to the neighbour's
    # outline; the depth is radius (1 - cos f). The weft is next to nothing and takes all the crimp
    radius, fine, apart = 0.1, 0.001, 4.0
    lone = Construction(traced.PLAIN, apart, apart, *(2 * radius,) * 2, *(fine,) * 2, 0.0)
    f = np.linspace(0.0, np.pi, 2001)
    x, y = apart - radius * np.sin(f), -radius * np.cos(f)
    horizon = np.arctan2(y, x) + np.arcsin(radius / np.hypot(x, y))
    falls = np.cumsum(0.5 * (np.sin(0.5 * np.pi - np.maximum(horizon, 0.0) - f) + 1.0))
    expected = np.interp(np.linspace(0, 1, 9), falls / falls[-1], radius * (1 - np.cos(f)))
    # few of the lines meet a yarn: by the usual number, a quantile would be known to 4 %
    monkeypatch.setattr("weavecolor.optics.cell.pairs._NAMED_POINTS", 46368)
    for flip in (False, True):  # either side is alike
        assert np.abs(np.subtract(met_depths(lone, flip), expected + fine)).max() < 0.03 * radius
    monkeypatch.undo()
    # a satin lying on its face is the satin of the opposite lift lying on its back
    lift = weave("satin 5/2").lift
    other = tuple(tuple(1 - up for up in pick) for pick in lift)
    one, opposite = (
        np.array(met_depths(Construction(x, 1.0, 1.0, 0.7, 0.6, 0.5, 0.4, 0.3), flip))
        for x, flip in ((lift, True), (other, False))
    )
    assert np.abs(one - opposite).max() < 0.02 and (np.diff(one) > 0).all()
    assert np.abs(one - met_depths(Construction(lift, 1.0, 1.0, 0.7, 0.6, 0.5, 0.4, 0.3), False)
                  ).max() > 0.05  # fmt: skip
