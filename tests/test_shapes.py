"""The hung shapes that are shipped: read whole, sound, and hung as such cloth hangs."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from scipy.signal import find_peaks
from scipy.spatial import ConvexHull, cKDTree

from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.forms import shape_called
from weavecolor.picture.hanging import FLOOR_STEPS, Cover, stage
from weavecolor.picture.hung import hung_stage
from weavecolor.picture.shapes import (
    form_names,
    inner_names,
    load_form,
    load_openness,
    load_shape,
    read_shape,
    shape_names,
)

EVERY = shape_names() + inner_names()
SHAPES = files("weavecolor") / "data" / "shapes"


@pytest.mark.parametrize("name", EVERY)
def test_a_shape_is_small_whole_and_sound(name):
    assert len((SHAPES / f"{name}.shape").read_bytes()) < 300_000
    shape = load_shape(name)
    assert shape.name == name
    assert np.allclose(np.linalg.norm(shape.normals, axis=1), 1.0, atol=1e-3)
    assert (shape.open_front + shape.body_front <= 1.0 + 1 / 255).all()
    assert (shape.open_back + shape.body_back <= 1.0 + 1 / 255).all()
    # threads do not stretch: an edge along weft or warp is as long as on the cloth, but for the
    # gathers, where a chord cuts off what a thread goes round
    for grid in shape.grids:
        if grid.part != "cloth" or shape.role != "outer":
            continue
        n = grid.start + np.arange(grid.rows * grid.columns).reshape(grid.rows, grid.columns)
        n = n[grid.rows // 3 :]
        for a, b in ((n[1:], n[:-1]), (n[:, 1:], n[:, :-1])):
            cut = np.linalg.norm(shape.cloth_mm[a] - shape.cloth_mm[b], axis=-1)
            hung = np.linalg.norm(shape.vertices[a] - shape.vertices[b], axis=-1)
            assert abs(np.median(hung / cut) - 1.0) < 0.03


def test_a_form_is_the_same_by_any_of_its_words():
    stack = Stack((Layer(load_swatch("silk-chiffon-ivory")),))
    for said, shape in (("Curtain", "panel-chiffon"), ("cloak", "cape-chiffon"),
                        ("skirt", "gathered-3-chiffon")):  # fmt: skip
        assert shape_called(said, stack) == shape


@pytest.mark.parametrize("name", form_names())
def test_a_body_is_closed_and_faces_outwards(name):
    form = load_form(name)
    t = form.triangles
    edges = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])
    # every edge is run once each way
    assert set(map(tuple, edges.tolist())) == set(map(tuple, edges[:, ::-1].tolist()))
    a, b, c = (form.vertices[t[:, k]].astype(float) for k in range(3))
    assert np.einsum("ij,ij->i", a, np.cross(b, c)).sum() > 0


def test_unknown_and_damaged_shapes_are_told_in_one_line():
    with pytest.raises(InputError, match="no shape called 'cloak of mist'; use"):
        load_shape("cloak of mist")
    data = (SHAPES / f"{EVERY[0]}.shape").read_bytes()
    for bad in (b"", data[:200], data[:-50], b"X" + data[1:], data[:12] + b"\xff" * 90):
        with pytest.raises(InputError, match="whole file"):
            read_shape(bad)


def _pierced(vertices, triangles):
    """Edges that pierce a triangle they share no corner with: exact, in whole numbers.

    Returns (edges (E, 2), pierced (E,)). The vertices lie on a lattice of 16 bits an axis, so all
    signs of volumes are those of whole numbers below 2^53.
    """
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    raw = np.rint((vertices - low) / np.maximum((high - low) / 65534, 1e-9)).astype(np.int64)
    place, same = np.unique(raw, axis=0, return_inverse=True)
    t = same.ravel()[triangles]  # both sides of a seam are one place
    edges = np.unique(
        np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1), axis=0
    )
    edges = edges[edges[:, 0] != edges[:, 1]]
    metric = place * np.maximum((high - low) / 65534, 1e-9)
    p, q = metric[edges[:, 0]], metric[edges[:, 1]]
    corners = metric[t]
    centre = corners.mean(axis=1)
    size = np.sqrt(((corners - centre[:, None]) ** 2).sum(axis=2)).max(axis=1)
    half = 0.5 * np.sqrt(((p - q) ** 2).sum(axis=1))
    tree = cKDTree(centre)
    hit = np.zeros(len(edges), bool)
    for begin in range(0, len(edges), 8192):
        part = slice(begin, begin + 8192)
        near = tree.query_ball_point(0.5 * (p + q)[part], half[part] + size.max())
        e = begin + np.repeat(np.arange(len(near)), [len(n) for n in near])
        f = np.concatenate([np.asarray(n, int) for n in near])
        tri_low, tri_high = corners[f].min(axis=1), corners[f].max(axis=1)
        touch = (np.minimum(p[e], q[e]) <= tri_high).all(axis=1)
        touch &= (np.maximum(p[e], q[e]) >= tri_low).all(axis=1)
        e, f = e[touch], f[touch]
        apart = (edges[e][:, :, None] != t[f][:, None, :]).all(axis=(1, 2))
        e, f = e[apart], f[apart]
        a, b, c = (place[t[f][:, k]] for k in range(3))
        i, j = place[edges[e][:, 0]], place[edges[e][:, 1]]

        def volume(o, u, v, w):
            u, v, w = u - o, v - o, w - o
            return (
                u[:, 0] * (v[:, 1] * w[:, 2] - v[:, 2] * w[:, 1])
                - u[:, 1] * (v[:, 0] * w[:, 2] - v[:, 2] * w[:, 0])
                + u[:, 2] * (v[:, 0] * w[:, 1] - v[:, 1] * w[:, 0])
            )

        sides = np.sign(volume(a, b, c, i)) * np.sign(volume(a, b, c, j)) < 0
        turns = np.stack([volume(i, j, a, b), volume(i, j, b, c), volume(i, j, c, a)])
        hit[e[sides & ((turns > 0).all(0) | (turns < 0).all(0))]] = True
    return place * ((high - low) / 65534) + low, edges, hit


def test_the_piercing_test_sees_what_pierces():
    flat = np.array([[0, 0, 0], [40, 0, 0], [0, 40, 0.0]])
    for z, through in ((-5.0, True), (5.0, False)):
        other = np.array([[9, 9, 20], [9, 9, z], [12, 30, 20.0]])
        _, _, hit = _pierced(np.concatenate([flat, other]), np.array([[0, 1, 2], [3, 4, 5]]))
        assert hit.any() == through


#: Those with the tightest gathers and pleats always; the others, which take minutes, when asked.
_TIGHT = ("gathered-3-chiffon", "gathered-5-organza")


@pytest.mark.parametrize(
    "name",
    [n if n in _TIGHT else pytest.param(n, marks=pytest.mark.slow) for n in shape_names()],
)
def test_cloth_hardly_pierces_cloth_and_never_below_the_gathers(name):
    shape = load_shape(name)
    cloth = ~shape.band[shape.triangles[:, 0]]
    places, edges, hit = _pierced(shape.vertices, shape.triangles[cloth])
    assert hit.mean() < 0.003
    top = shape.vertices[~shape.band, 2].max()
    assert not (places[edges[hit], 2] < top - 50.0).any()


def _hem(name):
    """The hem's closed line seen from above, evenly spaced, mm (K, 2)."""
    shape = load_shape(name)
    pieces = [g for g in shape.grids if g.part == "cloth"]
    line = np.concatenate(
        [shape.vertices[g.start + (g.rows - 1) * g.columns :][: g.columns - 1, :2] for g in pieces]
    )
    line = np.concatenate([line, line[:1]]).astype(float)
    run = np.concatenate([[0], np.linalg.norm(np.diff(line, axis=0), axis=1).cumsum()])
    even = np.linspace(0, run[-1], 1200, endpoint=False)
    return np.stack([np.interp(even, run, line[:, k]) for k in (0, 1)], axis=1)


def _outline(name):
    """Length of a tape laid round the hem, mm."""
    line = _hem(name)
    hull = ConvexHull(line)
    return hull.area  # in the plane a hull's "area" is its perimeter


def _folds(name):
    """How many folds the hem has: how often its line swings out and back by 35 degrees."""
    line = _hem(name)
    along = np.roll(line, -6, axis=0) - np.roll(line, 6, axis=0)
    turn = np.unwrap(np.arctan2(along[:, 1], along[:, 0]))
    whole = 2 * np.pi * np.round((turn[-1] - turn[0]) / (2 * np.pi))
    turn = turn - whole * np.arange(1200) / 1200
    peaks = find_peaks(np.tile(turn, 3), prominence=np.radians(35.0))[0]
    return int(((peaks >= 1200) & (peaks < 2400)).sum())


def _width(name, below):
    """Of a skirt ``below`` mm under the waist: the mean distance of its outermost cloth."""
    shape = load_shape(name)
    p = shape.vertices[~shape.band]
    p = p[np.abs(p[:, 2] - (1050.0 - below)) < 12.0]
    turn = np.floor((np.arctan2(p[:, 1], p[:, 0]) + np.pi) / (2 * np.pi) * 24).astype(int) % 24
    far = np.hypot(p[:, 0], p[:, 1])
    return float(np.mean([far[turn == k].max() for k in range(24)]))


def test_fullness_widens_the_hem():
    two, three, five = (_outline(f"gathered-{f}-organza") for f in (2, 3, 5))
    assert two * 1.05 < three and three * 1.05 < five
    folds = [_folds(f"gathered-{f}-organza") for f in (2, 3, 5)]
    assert folds[0] < folds[1] < folds[2]


def test_crisp_cloth_stands_out_like_a_bell_and_soft_cloth_hangs_in_more_folds():
    crisp, soft = "gathered-3-organza", "gathered-3-chiffon"
    assert _outline(crisp) > 1.2 * _outline(soft)
    # a bell: wide already a hand's breadth below the waist
    assert _width(crisp, 120.0) > 1.08 * _width(soft, 120.0)
    assert _folds(soft) > 1.5 * _folds(crisp)


@pytest.mark.parametrize("name", [n for n in shape_names() if not n.startswith(("sw", "cape"))])
def test_hems_are_level(name):
    shape = load_shape(name)
    last = shape.vertices[(shape.to_hem_mm < 0.01) & ~shape.band]
    assert np.ptp(last[:, 2]) < 16.0


@pytest.mark.parametrize("name", shape_names())
def test_inner_shapes_lie_within(name):
    shape = load_shape(name)
    for inner in map(load_shape, shape.inner):
        assert inner.role == "inner"
        # along rays from the axis: no outer vertex lies nearer than the inner surface there
        grid = inner.grids[0]
        r = np.hypot(inner.vertices[:, 0], inner.vertices[:, 1])
        r = r.reshape(grid.rows, grid.columns)
        z = inner.vertices[:: grid.columns, 2]
        turn = np.linspace(-np.pi / 2, 1.5 * np.pi, grid.columns)
        surface = RegularGridInterpolator(
            (z[::-1], turn), r[::-1], bounds_error=False, fill_value=0
        )
        p = shape.vertices[~shape.band]
        angle = (np.arctan2(p[:, 1], p[:, 0]) + np.pi / 2) % (2 * np.pi) - np.pi / 2
        at = np.hypot(p[:, 0], p[:, 1]) - surface(np.stack([p[:, 2], angle], axis=1))
        assert at.min() > 0.0


def _ways(name):
    """The body that a shape is drawn on, and what it wears, in each way that it is drawn."""
    body = load_shape(name).body
    yield "", ""
    if body:
        yield body, ""
        if "inner-lining" in load_shape(name).inner:
            yield body, "inner-lining"


@pytest.mark.parametrize("name", shape_names())
def test_how_open_what_stands_under_a_shape_is_comes_with_it(name):
    """A row for each vertex of body, lining and floor; a floor far off is open, and even light is
    shared out whole."""
    for body, worn in _ways(name):
        made = load_openness(name, body, worn)
        places = len(load_form(body).vertices) if body else 0
        places += len(load_shape(worn).vertices) if worn else 0
        assert made.shape == (places + FLOOR_STEPS**2, 4)
        assert made.min() >= 0.0 and np.abs(made.sum(axis=1) - 1.0).max() < 0.007
        corner = made[-1]  # of the floor, 1.5 m from the garment
        assert corner[0] > 0.75
    assert load_openness(name, "no such body", "") is None


def test_what_comes_with_a_shape_is_what_would_be_worked_out():
    cloth = Stack((Layer(load_swatch("muslin-white")),))
    read, floor = (hung_stage(cloth, name) for name in ("swatch-hand-organza", "panel-organza"))
    made = stage([Cover(load_shape("swatch-hand-organza"), cloth)], load_form("hand"))
    below = stage([Cover(load_shape("panel-organza"), cloth)])
    for one, other in ((read.body_open, made.body_open), (floor.floor_open, below.floor_open)):
        assert len(one) and np.abs(one - other).max() < 0.01
    assert made.body_open[:, 0].std() > 0.1


@pytest.mark.parametrize("name", [n for n in shape_names() if n.startswith("gathered")])
def test_gathers_are_sewn_close_under_their_band(name):
    """What is gathered stands off no further than a few thicknesses where the band ends."""
    shape = load_shape(name)
    band, cloth = (shape.vertices[mask].astype(float) for mask in (shape.band, ~shape.band))
    edge = band[band[:, 2] < band[:, 2].min() + 0.5]
    top = cloth[cloth[:, 2] > band[:, 2].min()]
    around, far = np.arctan2(edge[:, 1], edge[:, 0]), np.hypot(edge[:, 0], edge[:, 1])
    own = np.interp(np.arctan2(top[:, 1], top[:, 0]), around, far, period=2.0 * np.pi)
    assert len(top) > 200 and (np.hypot(top[:, 0], top[:, 1]) - own).max() < 3.0
