"""Physics of the optics held to witnesses outside it, where one wrong sign or angle once went
unseen: a book's numbers, a simulated walk, a cloth so open that only what lies under it is seen."""

from __future__ import annotations

import numpy as np
import pytest
from bidirectional import brf
from test_layer_optics import cloth

from weavecolor.optics.cell.nodes import nodes, unit
from weavecolor.optics.cell.pairs import Distance, _held_register
from weavecolor.optics.cell.paths import _fresnel
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing
from weavecolor.textile.construction import geometry_of

BLACK = Backing("black", np.zeros(41))


def test_fresnel_where_a_path_meets_a_filament():
    # M. Born, E. Wolf, Principles of Optics, sec. 1.5: unpolarised light on n = 1.5 (computed from
    # the equations there), Brewster's angle, and total reflection from inside beyond asin(1 / n)
    for degrees, value in ((0, 0.04), (20, 0.04027), (45, 0.05024), (60, 0.08919), (75, 0.25306)):
        cosine = float(np.cos(np.radians(degrees)))
        share, beyond = _fresnel(cosine, 1.5)
        assert share == pytest.approx(value, abs=1e-5)
        assert np.sqrt(1 - beyond**2) * 1.5 == pytest.approx(np.sqrt(1 - cosine**2), abs=1e-12)
        # the same face from the other side, along the same path
        assert _fresnel(beyond, 1 / 1.5)[0] == pytest.approx(share, abs=1e-12)
    brewster = np.arctan(1.5)
    s_alone = ((1.5**2 - 1) / (1.5**2 + 1)) ** 2
    assert _fresnel(float(np.cos(brewster)), 1.5)[0] == pytest.approx(s_alone / 2, abs=1e-12)
    assert _fresnel(float(np.cos(np.arcsin(1 / 1.5) + 1e-6)), 1 / 1.5) == (1.0, 0.0)
    assert _fresnel(float(np.cos(np.arcsin(1 / 1.5) - 1e-6)), 1 / 1.5)[0] < 1.0


def test_the_register_of_uneven_yarns_is_lost_as_a_simulated_grating_loses_it():
    """Yarns laid one after the other with spacings that vary by themselves, 15 in 100: how much of
    the grating's first harmonic two passages a way apart still share."""
    uneven, front = 0.15, (0.0, 0.0, 1.0)
    geometry, grid = tubes(geometry_of(cloth())), nodes()
    draw = np.random.default_rng(2)
    steps = draw.normal(1.0, uneven, (40_000, 12))
    places = np.cumsum(steps, axis=1)  # of the 1st to 12th yarn, in mean spacings
    for yarns in (1, 3, 8):
        off = places[:, yarns - 1] - yarns
        simulated = float(np.cos(2 * np.pi * off).mean())
        way = yarns * geometry.pitch
        angle = np.arctan(way / 1.0)  # behind 1 mm a ray so far aslant lands that far aside
        slant = tuple(float(v) for v in unit(angle, 0.0))
        depth = 1.0 - geometry.bottom
        distance = Distance(((depth, depth),), (), uneven)
        held = _held_register(geometry, grid, distance, (front, slant), False)
        assert held[-2, -1] == pytest.approx(simulated, abs=0.015)
        assert held[-1, -1] == pytest.approx(1.0, abs=1e-12)  # out the way it came in
        even = _held_register(geometry, grid, Distance(((depth, depth),), (), 0.0),
                              (front, slant), False)  # fmt: skip
        assert even[-2, -1] == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("turn", [30.0, -30.0])
def test_what_lies_under_a_next_to_open_layer_is_seen_at_its_own_grain(turn):
    """A few cobweb threads to the centimetre over a lustrous cloth: the stack looks as the inner
    cloth does by itself, laid at that angle and at no other."""
    inner = cloth(warp=0.5, weft=0.08)
    cobweb = cloth(ends=0.2, picks=0.2, tex=0.05)
    lights, views = [(60.0, 20.0)], [(45.0, 250.0), (60.0, 100.0)]
    both = brf(Stack((Layer(cobweb, 0.0), Layer(inner, turn)), BLACK, "apart"), lights, views)
    alone, other = (
        brf(Stack((Layer(inner, angle),), BLACK, "apart"), lights, views) for angle in (turn, -turn)
    )
    assert both == pytest.approx(alone, rel=0.02)
    # and the other way round it would have looked different
    assert np.abs(other / alone - 1.0).max() > 0.1
