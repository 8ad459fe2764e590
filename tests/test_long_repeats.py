"""Drawn weaves of long repeats."""

from dataclasses import replace

import numpy as np
import pytest
from bidirectional import pile_optics

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.cell.openness import openness
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.closeup import draw_closeup
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene
from weavecolor.textile.construction import covers, geometry_of
from weavecolor.textile.weaves import from_rows

pytestmark = pytest.mark.usefixtures("all_rays")

CLOTH = load_swatch("shot-organza-red-black")
WINDOW = scene("window at the side")


def drawn(size: int, seed: int = 3):
    """A cloth on a plan without any order, which has no symmetry at all."""
    rows = np.random.default_rng(seed).integers(0, 2, (size, size)).tolist()
    return replace(CLOTH, weave=from_rows(rows))


def seen(cloth, behind: str):
    stack = Stack((Layer(cloth, 20.0), Layer(cloth, 70.0)), backing(behind))
    return appearance(stack, WINDOW).reading.Lab


@pytest.mark.parametrize("size", [9, 24, 128])
def test_openings_do_not_depend_on_how_threads_cross(size):
    # straight on, open area is (1 - warp cover)(1 - weft cover) for any weave (Peirce 1937)
    cloth = drawn(size)
    warp, weft = covers(cloth)
    mine = openness(tubes(geometry_of(cloth)), np.array([0.0, 0.0, 1.0]))
    assert mine == pytest.approx((1.0 - warp) * (1.0 - weft), abs=1e-3)


@pytest.mark.parametrize("behind", ["white", "black"])
def test_where_a_repeat_is_cut_does_not_show(behind):
    # the same cloth, its first pick counted last: noise of the traced light is left
    cloth = drawn(6)
    lift = cloth.weave.lift[1:] + cloth.weave.lift[:1]
    other = replace(cloth, weave=replace(cloth.weave, lift=lift))
    assert float(ciede2000(seen(cloth, behind), seen(other, behind))) < 0.5


def test_light_is_kept_on_a_long_repeat():
    # what yarn that absorbs nothing sends back and lets through is all that fell on it
    white = replace(
        drawn(24),
        **{
            system: replace(getattr(CLOTH, system), colour=np.ones(41))
            for system in ("warp", "weft")
        },
    )
    pile = pile_optics(Stack((Layer(white),)), [(0.0, 0.0), (50.0, 30.0)])
    back = (pile.reflect[:, -2:] @ pile.share) + (pile.transmit[:, -2:] @ pile.share)
    assert back + pile.through[-2:] == pytest.approx(1.0, abs=1e-3)


def test_a_long_repeat_is_drawn():
    picture = draw_closeup(Stack((Layer(drawn(40)),), backing("white")), WINDOW, 120, 90)
    shades = np.asarray(picture.convert("L"), float)
    assert picture.size == (120, 90) and shades.std() > 5.0
