"""The closed-form silhouette of the cell against rays, and against what is known exactly."""

import numpy as np
import outlines
import pytest

from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.cell.openness import pencils
from weavecolor.optics.cell.rays import blocked, solid
from weavecolor.optics.cell.silhouette import bands, silhouette
from weavecolor.optics.cell.tubes import System, tubes
from weavecolor.textile.construction import geometry_of

CLOTHS = ("shot-organza-red-black", "shot-taffeta-green-red", "silk-satin-gold",
          "shot-twill-lining", "hopsack-linen", "calico-unbleached")  # fmt: skip


def directions(count: int, seed: int = 4) -> list[tuple[float, float, float]]:
    """Directions of both hemispheres, as diffuse light has them; no nearer the cloth than 82."""
    rng = np.random.default_rng(seed)
    zenith = np.arcsin(np.sqrt(rng.random(count) * np.sin(np.radians(82.0)) ** 2))
    up = np.where(rng.random(count) < 0.5, 1.0, -1.0)
    found = unit(zenith, 2.0 * np.pi * rng.random(count))
    return [(x, y, z * s) for (x, y, z), s in zip(found.tolist(), up.tolist(), strict=True)]


def upright(yarns, across: float) -> float:
    """Half the band of a straight yarn of elliptical section, seen at a slope across it."""
    return float(np.hypot(yarns.half_width, yarns.half_height * across))


@pytest.mark.parametrize("across", [0.0, 0.6, -2.5])
@pytest.mark.parametrize("along", [0.0, 1.1])
def test_a_straight_yarn_is_as_wide_as_its_section_seen_askew(across, along):
    # the shadow of an ellipse: half width sqrt(a^2 + b^2 s^2) (analytic geometry, from memory)
    geometry = tubes(geometry_of(load_swatch(CLOTHS[1])))
    straight = geometry.systems[1]
    straight = type(straight)(
        straight.spacing, straight.pitch, straight.half_width, straight.half_height,
        np.zeros_like(straight.middle), np.zeros_like(straight.swing),
    )  # fmt: skip
    found = bands(straight, across, along)
    low, low_scale, high, high_scale = found.table
    assert high == pytest.approx(upright(straight, across), rel=1e-6)
    assert low == pytest.approx(-upright(straight, across), rel=1e-6)
    # across its edge a line comes nearer by less than it goes sideways: the edge lies aslant
    part = 1.0 / np.hypot(1.0, across)
    assert low_scale == pytest.approx(part) and high_scale == pytest.approx(part)


@pytest.mark.parametrize("name", CLOTHS)
def test_a_line_that_passes_passes_both(name):
    made = geometry_of(load_swatch(name))
    geometry = tubes(made)
    foot = pencils(geometry, 10946)
    # paths measure a bent yarn's section by the slope above a place, not at its nearest
    for vector in directions(16, seed=5):
        way = np.array(vector)[:, None]
        start = foot - 3.0 * geometry.top / abs(vector[2]) * way
        met = blocked(solid(made), start, way)
        found = outlines.blocked(silhouette(geometry, vector), start)
        assert np.mean(met != found) < 4e-3
        share = silhouette(geometry, vector).open_share(foot, 1e-6 * geometry.pitch)
        assert np.mean((share < 0.5) != found) < 2e-3


def test_pencils_cut_by_an_edge_count_by_their_part():
    # a yarn far thinner than the pencils takes its own width from them, no more
    geometry = tubes(geometry_of(load_swatch(CLOTHS[0])))
    foot = pencils(geometry, 10946)
    sharp, soft = (
        silhouette(geometry, (0.0, 0.0, 1.0)).open_share(foot, wide * geometry.pitch).mean()
        for wide in (1e-6, 0.1)
    )
    cover = 1.0 - np.prod([1.0 - 2.0 * s.half_width / s.spacing for s in geometry.systems])
    assert 1.0 - sharp == pytest.approx(cover, abs=2e-3)
    assert soft == pytest.approx(sharp, abs=5e-3)


def test_light_passes_a_line_both_ways():
    geometry = tubes(geometry_of(load_swatch(CLOTHS[3])))
    foot = pencils(geometry, 2584)
    for vector in directions(8, seed=6):
        x, y, z = vector
        there = silhouette(geometry, vector).open_share(foot, 0.01 * geometry.pitch)
        back = silhouette(geometry, (-x, -y, -z)).open_share(foot, 0.01 * geometry.pitch)
        assert there == pytest.approx(back, abs=1e-5)


def test_yarns_that_are_shifted_copies_are_one_kind():
    for name, most in (("shot-organza-red-black", 1), ("shot-twill-lining", 1),
                       ("silk-satin-gold", 1), ("hopsack-linen", 1)):  # fmt: skip
        for yarns in tubes(geometry_of(load_swatch(name))).systems:
            which, ahead = yarns.kinds
            assert which.max() + 1 == most
            for yarn, (kind, shift) in enumerate(zip(which, ahead, strict=True)):
                assert np.array_equal(
                    np.roll(yarns.swing[int(np.argmax(which == kind))], -shift), yarns.swing[yarn]
                )


@pytest.mark.parametrize("crossings", [1, 2, 3, 5, 6, 8])
def test_yarns_are_of_one_kind_where_the_one_moved_along_is_the_other(crossings):
    """Every way of twelve yarns of odd weaves against each other, at every shift."""
    rng = np.random.default_rng(crossings)
    for _ in range(20):
        paths = rng.integers(0, 2, (12, crossings)).astype(np.float32)
        paths[6:] = [np.roll(path, rng.integers(crossings)) for path in paths[:6]]
        middle = 0.1 * (paths + np.roll(paths, -1, 1))
        swing = 0.1 * (paths - np.roll(paths, -1, 1))
        which, ahead = System(0.3, 0.3, 0.1, 0.1, middle, swing).kinds
        for one in range(12):
            for other in range(12):
                moved = any(
                    np.array_equal(np.roll(paths[one], -shift), paths[other])
                    for shift in range(crossings)
                )
                assert (which[one] == which[other]) == moved
            first = int(np.argmax(which == which[one]))
            assert np.array_equal(np.roll(paths[first], -ahead[one]), paths[one])
        assert sorted(set(which)) == list(range(which.max() + 1))
