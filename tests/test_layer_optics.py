"""How any one layer turns, its limits, and what is refused; what it keeps stands in
``test_layer_laws``."""

import numpy as np
import pytest
from bidirectional import brf, pile_optics

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.lights import light_spectrum
from weavecolor.errors import InputError
from weavecolor.optics.appearance import appearance
from weavecolor.optics.cell import paths
from weavecolor.optics.cell.filaments import FilamentCell, Strand, prepared, white_cell
from weavecolor.optics.layer import solved, strand, woven
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing
from weavecolor.scene.scene import Light, Scene
from weavecolor.textile.cloth import Cloth, Weave, Yarn
from weavecolor.textile.construction import geometry_of
from weavecolor.textile.fibres import fibre
from weavecolor.textile.weaves import weave

#: From square on to grazing, along the yarns and between.
DIRECTIONS = [(0, 0), (30, 40), (45, 0), (60, 90), (60, 205), (75, 45), (85, 120), (89, 10)]


def cloth(
    spec="plain", warp=0.3, weft=0.6, ends=40.0, picks=40.0, tex=2.33, flattening=1.0, lift=None,
    weft_tex=None, warp_share=None, filaments=1, dull=0.0, twist=0.0, dye=None,
):  # fmt: skip
    """A cloth of silk in two greys (or spectra) of wound thread, or with a ``dye`` 1/mm: rods, or
    several filaments."""

    def yarn(colour, tex):
        return Yarn(
            fibre("silk"), tex, np.broadcast_to(colour, (41,)).astype(float).copy(),
            packing=0.95 if filaments == 1 else 0.6, flattening=flattening, filaments=filaments,
            dull_per_mm=dull, twist_turns_m=twist,
            absorption=None if dye is None else np.full(41, dye),
        )  # fmt: skip

    made = weave(spec) if lift is None else Weave("given", lift)
    return Cloth("cloth", yarn(warp, tex), yarn(weft, weft_tex or tex), made, ends, picks,
                 warp_share=warp_share)  # fmt: skip


# Turning and symmetry


@pytest.mark.parametrize("spec", ["plain", "twill 2/1", "satin 5/2"])
def test_half_a_turn_changes_nothing(spec):
    # by symmetry of the weave; named directions are sampled, nodes exactly paired
    one = cloth(spec, warp=0.2, weft=0.7)
    pile = pile_optics(Stack((Layer(one),)), DIRECTIONS)
    turned = pile_optics(Stack((Layer(one),)), [(z, a + 180.0) for z, a in DIRECTIONS])
    diffuse, other = (p.reflect[0] @ p.share for p in (pile, turned))
    assert other[-len(DIRECTIONS) :] == pytest.approx(diffuse[-len(DIRECTIONS) :], rel=0.01)
    grid = solved(one).white.grid
    turn = grid.turned(grid.steps // 2)
    node = solved(one).node
    assert np.abs(node[:, turn][:, :, turn] - node).max() < 1e-6 * node.max()


def _alike(one, other, aim):
    """Two ways to lay the same cloth: rays are drawn anew, so they agree but for their noise."""
    piles = [pile_optics(Stack((layer,)), aim) for layer in (one, other)]
    n = len(aim)
    sent = [(p.reflect[:, -n:] @ p.share, p.transmit[:, -n:] @ p.share) for p in piles]
    for mine, theirs in zip(*sent, strict=True):
        assert np.abs(theirs / mine - 1.0).max() < 0.12
        assert theirs.mean() == pytest.approx(mine.mean(), rel=0.02)
    pairs = [p.reflect[:, -n:, -n:] for p in piles]
    assert np.sqrt(np.mean((pairs[1] - pairs[0]) ** 2)) < 0.15 * pairs[0].mean()


def test_swapping_warp_and_weft_is_a_quarter_turn(every_ray):
    aim = [(45, 10), (60, 70), (0, 0), (45, 190), (30, 100), (60, 250)]
    slope = np.linspace(0.05, 0.9, 41)
    one = Layer(cloth(warp=slope, weft=0.2, filaments=12))
    other = Layer(cloth(warp=0.2, weft=slope, filaments=12), 90.0)
    _alike(one, other, aim)


def test_warp_and_weft_are_twisted_to_one_hand():
    # a screw keeps its hand however it is turned (ISO 2:1973): follow one filament along each
    made = cloth(filaments=12, twist=800.0)
    at = prepared(woven(geometry_of(made), strand(made.warp), strand(made.weft)))
    hands = []
    for s, frame in enumerate(
        ([[1, 0, 0], [0, 0, 1], [0, 1, 0]], [[0, 1, 0], [0, 0, 1], [1, 0, 0]])
    ):
        one, other = (
            paths._section(at.rows, at.signs, s, 0, 0.01, u, 0.0) for u in (0, 0.01)
        )
        turned = other[0] * one[1] - other[1] * one[0]  # of the filament: against its frame
        hands.append(np.sign(turned * np.linalg.det(frame)))  # across, up, along
    assert hands[0] == hands[1] != 0


def test_back_is_the_face_of_the_cloth_turned_over(every_ray):
    # about its warp: ends in the reverse order, up becomes down
    lift = np.array(weave("satin 5/2").lift)
    over = tuple(map(tuple, (1 - lift[:, ::-1]).tolist()))
    aim = [(45, 10), (60, 70), (0, 0), (45, 190), (30, 100)]
    back = Layer(cloth("satin 5/2", ends=60.0, filaments=12), 0.0, "back")
    face = Layer(cloth(lift=over, ends=60.0, filaments=12))
    _alike(back, face, aim)


def test_two_sided_weaves_differ_and_plain_does_not():
    lights, views = [(30, 0)], [(0, 0), (30, 90)]

    def sides(spec):
        made = cloth(spec, warp=0.1, weft=0.8, ends=80.0, picks=60.0, dull=100.0)
        return [brf(Stack((Layer(made, 0.0, f),)), lights, views) for f in ("face", "back")]

    face, back = sides("satin 5/2")
    # the dark warp lies on the face, the light weft on the back
    assert np.all(back > 1.1 * face) and back.mean() > 1.2 * face.mean()
    face, back = sides("plain")
    assert back == pytest.approx(face, rel=0.02)


def test_a_satin_face_is_darker_over_its_own_dark_floats():
    # the warp of a warp satin takes most of the face
    made = cloth("satin 8/3", warp=0.0, weft=1.0, ends=90.0, dull=40.0)
    swapped = cloth("satin 8/3", warp=1.0, weft=0.0, ends=90.0, dull=40.0)
    view = [(0, 0)]
    dark, light = (brf(Stack((Layer(c),)), [(20, 0)], view)[0, 0, 0] for c in (made, swapped))
    assert light > 2 * dark


def test_colour_goes_smoothly_through_the_bias():
    slope = np.linspace(0.1, 0.9, 41)
    made = cloth("twill 2/2", warp=slope, weft=slope[::-1], ends=55.0)
    angles = np.arange(39.0, 52.0, 1.0)
    white = light_spectrum("D65")
    light = Scene("lamp", (Light(50.0, 0.0, white),), np.zeros(41), white)
    # a kink would stand out at one angle: what is left is far less than anyone sees, half a
    # CIEDE2000 at most between an angle and the mean of its neighbours
    for ground in (None, Backing("white", np.full(41, 0.9))):
        lab = np.array([
            appearance(Stack((Layer(made, g),), ground), light).reading.Lab for g in angles
        ])  # fmt: skip
        assert np.ptp(lab, axis=0).max() > 0.5
        middle = 0.5 * (lab[2:] + lab[:-2])
        for one, other in zip(lab[1:-1], middle, strict=True):
            assert ciede2000(one, other) < 0.5


def test_turning_the_lower_layer_is_smooth():
    # through 30 degrees, where the quadrature of diffuse light falls on whole steps, and through 45
    slope = np.linspace(0.05, 0.95, 41)
    a = cloth("plain", warp=slope, weft=slope[::-1])
    white = light_spectrum("D65")
    light = Scene("lamp", (Light(50.0, 0.0, white),), np.zeros(41), white)
    lab = np.array([
        appearance(Stack((Layer(a), Layer(a, g)), lay="apart"), light).reading.Lab
        for g in np.arange(24.0, 52.0, 2.0)
    ])  # fmt: skip
    for one, other in zip(lab[1:-1], 0.5 * (lab[2:] + lab[:-2]), strict=True):
        assert ciede2000(one, other) < 0.2


# Limits


def test_next_to_no_cover_is_a_clear_layer():
    cover = []
    clear = []
    for tex in (2.0, 0.5):
        thin = cloth(warp=0.5, weft=0.5, ends=2.0, picks=2.0, tex=tex)
        cover.append(thin.warp.width_mm * 0.2 + thin.weft.width_mm * 0.2)
        layer = (Layer(thin),)
        pile = pile_optics(Stack(layer), [(0, 0), (45, 30)])
        clear.append(1 - pile.through[-2:])
        caught = cover[-1] / np.cos(np.radians(45))
        assert (pile.reflect[:, -2:] @ pile.share).max() < caught
        over = brf(Stack(layer, Backing("grey", np.full(41, 0.4))), [(45, 30)], [(0, 0)])
        assert over == pytest.approx(np.full((1, 1, 41), 0.4), abs=2 * cover[-1])
    # light lost goes with cover: nothing else stands in the way
    assert clear[0][0] == pytest.approx(cover[0], rel=0.05)
    assert clear[1][0] == pytest.approx(cover[1], abs=2e-3)
    assert clear[1].max() < 0.02


def test_much_dulled_fibre_comes_near_a_matt_yarn_that_nothing_passes():
    # an opaque white yarn sends back what a deep bed of undyed, dulled fibre does: nearly all
    opaque = Strand(0.5, 0.5, opaque=True)
    dull = Strand(0.5, 0.5, index=1.05, dull=60.0)  # next to no surface of its own
    sent = []
    for one in (opaque, dull):
        white = white_cell(FilamentCell(((1, 0), (0, 1)), one, one, 1.0, 1.0, 0.25, 0.25), each=60)
        half, share = white.grid.half, white.grid.share
        node = white.dyed(np.zeros((1, 2)))[0]
        sent.append(float(share[:half] @ node[:half, :half] @ share[:half]))
    assert sent[1] == pytest.approx(sent[0], rel=0.06)


# Refusals


@pytest.mark.parametrize(
    "bad", [dict(ends=230.0), dict(ends=90.0, picks=90.0, tex=6.0), dict(ends=400.0)]
)
def test_cloth_that_cannot_be_woven_is_refused_in_one_line(bad):
    with pytest.raises(InputError) as refusal:
        solved(cloth(**bad))
    line = str(refusal.value)
    assert "\n" not in line and len(line) > 20
    assert any(word in line for word in ("jam", "woven", "sett", "cover", "close"))
    with pytest.raises(InputError):
        brf(Stack((Layer(cloth(**bad)),)), [(45, 0)], [(0, 0)])


@pytest.mark.parametrize("direction", [(90.0, 0.0), (89.9, 0.0), (-1.0, 0.0), (np.nan, 0.0)])
def test_directions_along_the_cloth_are_refused(direction):
    with pytest.raises(InputError):
        brf(Stack((Layer(cloth()),)), [direction], [(0, 0)])
