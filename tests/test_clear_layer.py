"""A layer of clear filaments: the laws of any layer, and matt yarn as its limit."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
import traced

from weavecolor.errors import InputError
from weavecolor.optics.adding import Ground, as_stack, over_backings
from weavecolor.optics.cell.filaments import FilamentCell, Strand, white_cell
from weavecolor.optics.layer import layer_optics, solved
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.fibres import fibre
from weavecolor.textile.weaves import weave

pytestmark = pytest.mark.usefixtures("few_rays")

DIRECTIONS = tuple(traced.vector(*a) for a in ((0, 0), (30, 40), (60, 205), (80, 45)))


@lru_cache
def cloth(spec="plain", filaments=1, dye=(0.0, 0.0), dull=0.0, ends=40.0):
    """Silk in rods or filaments, with so much dye in warp and weft, 1/mm."""

    def yarn(absorption):
        return Yarn(
            fibre("silk"), 2.33, np.full(41, 0.5), packing=0.95 if filaments == 1 else 0.6,
            filaments=filaments, dull_per_mm=dull, absorption=np.full(41, absorption),
        )  # fmt: skip

    return Cloth("cloth", yarn(dye[0]), yarn(dye[1]), weave(spec), ends, 38.0)


UNDYED = {
    "rods": cloth(),
    "filaments": cloth(filaments=7),
    "dull": cloth(dull=20.0),
    "twill": cloth("twill 2/1", filaments=3, ends=50.0),
}


@pytest.mark.parametrize("flip", [False, True])
@pytest.mark.parametrize("name", UNDYED)
def test_undyed_cloth_loses_no_light(name, flip):
    pile = as_stack(layer_optics(UNDYED[name], 0.4, flip, DIRECTIONS, DIRECTIONS))
    n = len(DIRECTIONS)
    from_above = (pile.reflect[0] + pile.transmit[0]) @ pile.share + pile.through
    assert from_above[:-n] == pytest.approx(1.0, abs=5e-3)
    from_below = (pile.under[0] + pile.transmit[0].T) @ pile.share + pile.through
    assert np.delete(from_below, slice(-2 * n, -n)) == pytest.approx(1.0, abs=5e-3)


def test_light_goes_the_same_both_ways():
    made = cloth("satin 5/2", filaments=3, dye=(5.0, 40.0), ends=60.0)
    face, back = (layer_optics(made, 0.0, f, DIRECTIONS, DIRECTIONS) for f in (False, True))
    for table in (face.reflect, face.under):
        other = np.swapaxes(table, 1, 2)
        assert (np.abs(table - other) <= np.maximum(1e-6 * np.abs(other), 1e-9)).all()
    n = 72
    # turned over about the warp the same nodes look at the other side
    share = face.placement.share[:n]
    for one, other in ((face.reflect, back.under), (face.under, back.reflect)):
        mean, same = (share @ t[0, :n, :n] @ share for t in (one, other))
        assert mean == pytest.approx(same, rel=1e-6)


def test_turning_the_cloth_is_turning_light_and_eye_back():
    made = cloth("twill 2/1", dye=(5.0, 40.0))
    ways = ((40, 15), (65, 100), (20, 300))
    turned = layer_optics(made, np.radians(30.0), False, tuple(
        traced.vector(*a) for a in ways))  # fmt: skip
    # the tables' azimuths run the other way round
    back = layer_optics(made, 0.0, False, tuple(
        traced.vector(z, a + 30.0) for z, a in ways))  # fmt: skip
    n = len(ways)
    assert turned.reflect[:, -n:, -n:] == pytest.approx(back.reflect[:, -n:, -n:], rel=1e-5)
    assert turned.placement.through[-n:] == pytest.approx(back.placement.through[-n:], rel=1e-6)


def test_more_dye_is_never_lighter():
    shades = np.array([[0.0, 0.0], [1.0, 1.0], [10.0, 10.0], [100.0, 100.0], [1e4, 1e4]])
    one = Strand(0.06, 0.06, index=1.55)
    node = white_cell(FilamentCell(traced.PLAIN, one, one, 0.25, 0.25, 0.03, 0.03)).dyed(shades)
    assert np.all(np.diff(node, axis=0) <= 1e-7)
    assert node[-1].max() > 0.0  # the first surface is left


def test_cloth_that_cannot_be_woven_is_refused():
    with pytest.raises(InputError):
        solved(cloth(ends=300.0))


def test_backings_show_through():
    pile = as_stack(layer_optics(cloth(dye=(5.0, 5.0)), 0.0, False, DIRECTIONS[:2]))
    black, white = over_backings(
        pile, [Ground(np.zeros(41)), Ground(np.full(41, 0.85))], (0.0, 2.0)
    )
    assert black == pytest.approx(pile.reflect)
    assert np.all(white[:, -1, -2] > 2.0 * black[:, -1, -2])
