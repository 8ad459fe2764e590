"""Layers over one another: Stokes and Kubelka, iadpython, traced stacks, laws of any pile."""

from types import SimpleNamespace

import accuracy
import numpy as np
import pytest
from bidirectional import brf, pile_optics
from test_layer_optics import cloth

from weavecolor.colour.spectra import BANDS
from weavecolor.optics.adding import GAPS, Ground, StackOptics, add, over_backing, over_backings
from weavecolor.optics.appearance import appearance, transmittance
from weavecolor.optics.cell.nodes import nodes
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing
from weavecolor.scene.scene import Scene

pytestmark = pytest.mark.usefixtures("few_rays")

GRID = nodes(3, 6)
SHARE = GRID.share[: GRID.half]


def even(reflect, transmit, under=None, straight=0.0, share=SHARE):
    """A perfectly diffusing layer: the same radiance factor between all directions."""
    n = share.size

    def full(value):
        return np.broadcast_to(np.asarray(value, float), (BANDS, n, n)).copy()

    plate = SimpleNamespace(thickness=0.1, pitch=0.1, depths=())
    return StackOptics(
        full(reflect), full(reflect if under is None else under), full(transmit - straight),
        np.full(n, straight), share, ((plate, ()),),
    )  # fmt: skip


def all_round(pile):
    """Diffuse reflectance, transmittance and reflectance from below."""
    c = pile.share
    return (
        c @ pile.reflect[0] @ c,
        c @ pile.transmit[0] @ c + c @ pile.through,
        c @ pile.under[0] @ c,
    )


# Diffusing layers: Stokes 1862, Kubelka 1954 (from memory, recomputed)


@pytest.mark.parametrize("straight", [0.0, 0.2])
def test_two_diffusing_layers(straight):
    # whether light goes straight through or scattered makes no odds in diffuse light
    pile = add(even(0.3, 0.5, straight=straight), even(0.4, 0.45, straight=straight), None)
    assert all_round(pile) == pytest.approx((0.413636, 0.255682, 0.469034), abs=1e-6)
    # every direction alike
    assert np.ptp(pile.reflect + np.zeros(1)) < 1e-9


@pytest.mark.parametrize(
    "count, reflectance, passed",
    [(2, 0.382418, 0.274725), (3, 0.407994, 0.155164), (5, 0.418903, 0.050508)],
)
@pytest.mark.parametrize("straight", [0.0, 0.3])
def test_pile_of_diffusing_layers(count, reflectance, passed, straight):
    pile = layer = even(0.3, 0.5, straight=straight)
    for _ in range(count - 1):
        pile = add(pile, layer, None)
    assert all_round(pile)[:2] == pytest.approx((reflectance, passed), abs=1e-6)


def test_adding_is_associative():
    a, b, c = even(0.3, 0.5, 0.2, 0.1), even(0.1, 0.6, 0.15, 0.3), even(0.5, 0.2)
    one, other = add(add(a, b, None), c, None), add(a, add(b, c, None), None)
    for what in ("reflect", "under", "transmit"):
        x, y = getattr(one, what), getattr(other, what)
        assert x == pytest.approx(y, rel=1e-9)


@pytest.mark.parametrize("ground, value", [(0.05, 0.312690), (0.50, 0.447059), (0.89, 0.603547)])
@pytest.mark.parametrize("straight", [0.0, 0.25])
def test_diffusing_layer_over_a_ground(ground, value, straight):
    layer = even(0.3, 0.5, straight=straight)
    over = over_backing(layer, np.full(BANDS, ground), None)
    assert SHARE @ over[7] @ SHARE == pytest.approx(value, abs=1e-6)
    several = over_backings(layer, [Ground(np.full(BANDS, g)) for g in (0.1, ground)], None)
    assert several[1] == pytest.approx(over, rel=1e-12)


def test_clear_plates():
    # Stokes 1862: m clear plates of r 0.04 a face let (1 - r)/(1 + (2 m - 1) r) through
    r, faces = 0.04, even(0.04, 0.96)
    pile = None
    for m in range(1, 11):
        for _ in range(2):
            pile = faces if pile is None else add(pile, faces, None)
        if m in (1, 2, 5, 10):
            expected = (1 - r) / (1 + (2 * m - 1) * r)
            assert all_round(pile)[:2] == pytest.approx((1 - expected, expected), abs=1e-6)
    assert expected == pytest.approx(0.545455, abs=1e-6)


# Turbid slabs: iadpython (adding-doubling), its own matrices over its own directions


def _slab(iad, albedo, thickness, g=0.0, points=16):
    sample = iad.Sample(a=albedo, b=thickness, g=g, n=1.0, quad_pts=points)
    reflect, _, passed, _ = sample.rt_matrices()
    share = np.array(sample.twonuw)
    straight = np.exp(-thickness / np.array(sample.nu))
    scattered = np.array(passed) - np.diag(straight / share)
    n = share.size
    plate = SimpleNamespace(thickness=0.1, pitch=0.1, depths=())

    def bands(m):
        return np.broadcast_to(m, (BANDS, n, n)).copy()

    pile = StackOptics(bands(reflect), bands(reflect), bands(scattered), straight, share,
                      ((plate, ()),))  # fmt: skip
    return pile, sample


@pytest.mark.parametrize("albedo, g", [(0.9, 0.0), (1.0, 0.0), (0.5, 0.0), (0.9, 0.75)])
def test_two_half_slabs_are_the_whole_slab(albedo, g):
    # scattering kept by direction and the unscattered beam kept apart: iadpython's slab of b 1
    # from two of b 0.5, beam and diffuse light
    iad = pytest.importorskip("iadpython")
    half, _ = _slab(iad, albedo, 0.5, g)
    whole, sample = _slab(iad, albedo, 1.0, g)
    pile = add(half, half, None)
    assert pile.through == pytest.approx(whole.through, rel=1e-9)
    assert pile.reflect[0] == pytest.approx(whole.reflect[0], rel=2e-4, abs=2e-5)
    assert pile.transmit[0] == pytest.approx(whole.transmit[0], rel=2e-4, abs=2e-5)
    beam_r, beam_t, diffuse_r, diffuse_t = sample.rt()
    assert all_round(pile)[:2] == pytest.approx((diffuse_r, diffuse_t), abs=2e-4)
    normal = -1  # its last direction is the normal
    assert pile.reflect[0, normal] @ pile.share == pytest.approx(beam_r, abs=2e-4)
    through = pile.transmit[0, normal] @ pile.share + pile.through[normal]
    assert through == pytest.approx(beam_t, abs=2e-4)


@pytest.mark.parametrize(
    "albedo, reflectance, passed",
    [(0.9, 0.3527, 0.4747), (1.0, 0.4466, 0.5534), (0.5, 0.1342, 0.3067), (0.8, 0.2801, 0.4162),
     (0.99, 0.4359, 0.5443)],
)  # fmt: skip
def test_thin_slabs_add_up_to_published_numbers(albedo, reflectance, passed):
    # iadpython 0.5.3, 32 points, slabs of b 1, g 0, in diffuse light
    iad = pytest.importorskip("iadpython")
    quarter, _ = _slab(iad, albedo, 0.25)
    pile = add(add(quarter, quarter, None), add(quarter, quarter, None), None)
    assert all_round(pile)[:2] == pytest.approx((reflectance, passed), abs=2e-4)


def test_slab_over_a_ground():
    # a turbid slab on a Lambertian ground: iadpython's own layer with the ground added by hand,
    # R + T (ground / (1 - ground R)) T in its matrices
    iad = pytest.importorskip("iadpython")
    slab, sample = _slab(iad, 0.9, 1.0)
    _, _, diffuse_r, diffuse_t = sample.rt()
    over = over_backing(slab, np.full(BANDS, 0.6), None)
    expected = diffuse_r + diffuse_t**2 * 0.6 / (1 - 0.6 * diffuse_r)
    assert slab.share @ over[0] @ slab.share == pytest.approx(expected, abs=2e-4)


@pytest.mark.slow
@pytest.mark.parametrize("what", ["All light sent back", "All light let through"])
def test_flux_of_other_covers(what):
    figures = {f.what: f for f in accuracy.cover_radiance_factors()}
    figure = figures[f"{what}, covers 0.3 to 0.9"]
    assert figure.holds, str(figure)


@pytest.mark.slow
@pytest.mark.usefixtures("all_rays")
@pytest.mark.parametrize("what", ["Two layers, touching, over black and white",
                                  "One layer of satin 5/2 over black"])  # fmt: skip
def test_what_was_once_not_kept(what):
    (figure,) = [f for f in accuracy.cover_radiance_factors() if f.what.startswith(what)]
    assert figure.holds, str(figure)


# Piles of cloth

AIM = [(0, 0), (35, 20), (60, 130), (80, 250)]
SLOPE = np.linspace(0.05, 0.95, 41)


def _pair(lay, white=False, **more):
    colours = dict(warp=1.0, weft=1.0) if white else dict(warp=SLOPE, weft=SLOPE[::-1])
    one, other = cloth(**colours), cloth("twill 2/2", ends=55.0, **colours)
    layers = (Layer(one, 10.0), Layer(other, 62.0, "back"), Layer(one, 0.0))
    return Stack(layers, lay=lay, **more)


@pytest.mark.parametrize("lay", GAPS)
def test_white_furnace_of_a_stack(lay):
    # three white layers over nothing and over white: nothing is lost, within 0.5 %
    stack = _pair(lay, white=True)
    pile = pile_optics(stack, AIM, AIM)
    share, n = pile.share, len(AIM)
    above = (pile.reflect[0] + pile.transmit[0]) @ share + pile.through
    assert above[:-n] == pytest.approx(np.ones(above.size - n), abs=5e-3)
    below = (pile.under[0] + pile.transmit[0].T) @ share + pile.through
    half = below.size - 2 * n
    assert np.delete(below, slice(half, half + n)) == pytest.approx(1.0, abs=5e-3)
    over = over_backing(pile, np.ones(BANDS), GAPS[lay])[0] @ share
    assert over[:-n] == pytest.approx(np.ones(over.size - n), abs=5e-3)


@pytest.mark.parametrize("lay", GAPS)
def test_reciprocity_of_a_stack(lay):
    pile = pile_optics(_pair(lay), AIM)
    both = over_backing(pile, SLOPE, GAPS[lay])[:, -len(AIM) :, -len(AIM) :]
    swapped = np.swapaxes(both, 1, 2)
    assert np.max(np.abs(both - swapped) / np.maximum(swapped, 1e-6)) < 1e-6
    assert both.min() >= 0 and np.all(np.isfinite(both))


def test_turning_a_whole_stack_is_turning_light_and_view_back():
    a, b = cloth(), cloth("twill 2/1", warp=SLOPE)
    white = Backing("white", np.ones(BANDS))
    turned = brf(Stack((Layer(a, 40.0), Layer(b, 75.0)), white), [(50, 10)], [(0, 0), (40, 100)])
    back = brf(Stack((Layer(a), Layer(b, 35.0)), white), [(50, -30)], [(0, 0), (40, 60)])
    assert turned == pytest.approx(back, rel=1e-6)


def test_many_layers_come_to_a_limit():
    layer = Layer(cloth(warp=0.2, weft=0.4, ends=60.0, picks=60.0, dull=100.0))
    backs = [(0.0, "black"), (1.0, "white")]
    found, passed = [], []
    for count in (1, 2, 3, 4, 6, 9, 12):
        stack = Stack((layer,) * count, lay="apart")
        pile = pile_optics(stack, [(0, 0)])
        over = [over_backing(pile, np.full(BANDS, r), None)[0] for r, _ in backs]
        found.append([pile.share @ k @ pile.share for k in over])
        passed.append(transmittance(stack).diffuse[0])
    black, white = np.array(found).T
    assert np.all(np.diff(black) > 0) and np.all(np.diff(white) < 0)
    assert np.all(np.diff(passed) < 0)
    assert white[-1] - black[-1] < 0.02 * black[-1]
    # Kubelka's pile (J. Opt. Soc. Am. 38 (1948) 448) of the same layer in diffuse light, all
    # directions alike, comes near it
    single = pile_optics(Stack((layer,)), [(0, 0)])
    reflectance, through, _ = all_round(single)
    a = (1.0 + reflectance**2 - through**2) / (2.0 * reflectance)
    limit = a - np.sqrt(a * a - 1.0)
    assert black[-1] == pytest.approx(limit, rel=0.05)
    expected = reflectance
    for value in black[1:3]:  # R of one layer over so many: R + T^2 R' / (1 - R R')
        expected = reflectance + through**2 * expected / (1.0 - reflectance * expected)
        assert value == pytest.approx(expected, rel=0.05)


def test_order_of_layers_matters():
    red, blue = cloth(warp=SLOPE, weft=SLOPE), cloth(warp=SLOPE[::-1], weft=SLOPE[::-1])
    one, other = (
        brf(Stack(tuple(map(Layer, order))), [(45, 0)], [(0, 0)])[0, 0]
        for order in ((red, blue), (blue, red))
    )
    assert one[-1] / one[0] > 1.5 * other[-1] / other[0]


def test_a_clear_layer_changes_nothing():
    clear = cloth(ends=0.2, picks=0.2, tex=0.05)  # the finest and sparsest there can be
    some = cloth("twill 2/2", ends=55.0)
    white = Backing("white", np.full(BANDS, 0.85))
    alone, covered, lined = (
        brf(Stack(tuple(map(Layer, layers)), white), [(45, 30)], [(0, 0), (45, 200)])
        for layers in ((some,), (clear, some), (some, clear))
    )
    assert covered == pytest.approx(alone, rel=5e-3)
    assert lined == pytest.approx(alone, rel=2e-2)


@pytest.mark.parametrize("lay", GAPS)
@pytest.mark.parametrize("count", [1, 2, 3])
def test_what_a_viewer_gets_is_what_all_directions_give(lay, count):
    # no outside source: the shortened sums of the last layer against the whole ones, in which
    # other named directions share the sums of sheen in single precision
    layers = (Layer(cloth(warp=SLOPE), 10.0), Layer(cloth("twill 2/2"), 62.0, "back"),
              Layer(cloth(weft=SLOPE), 0.0))[:count]  # fmt: skip
    stack = Stack(layers, Backing("grey", SLOPE), lay)
    pile = pile_optics(stack, AIM)
    share, n = pile.share, len(AIM)
    over = over_backing(pile, SLOPE, GAPS[lay])
    small = np.moveaxis(brf(stack, AIM[:2], AIM[2:]), -1, 0)
    links = [(view, light) for view in range(2, n) for light in (0, 1)]
    whole = over_backing(pile_optics(stack, AIM, links=links), SLOPE, GAPS[lay])
    assert small == pytest.approx(whole[:, -n : 2 - n, 2 - n :], rel=1e-6)
    flat = np.ones(BANDS)
    look = appearance(stack, Scene("even", (), flat, flat, *AIM[1])).radiance_factor
    assert look == pytest.approx(over[:, 1 - n] @ share, rel=1e-6)
    through = transmittance(stack, *AIM[2])
    assert through.straight == pytest.approx(pile.through[2 - n], rel=1e-6)
    assert through.scattered == pytest.approx(pile.transmit[:, 2 - n] @ share, rel=1e-6)
    both = (pile.transmit @ share) @ share + pile.through @ share
    assert through.diffuse == pytest.approx(both, rel=1e-6)
