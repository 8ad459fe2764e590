"""Bands between sheer layers: how wide they are, how strong, and what is told of them."""

from dataclasses import replace

import filaments
import numpy as np
import pytest

from weavecolor.colour.colorimetry import ciede2000, reading
from weavecolor.decide.compare import Option, compare, evaluate
from weavecolor.decide.unexpected import unexpected
from weavecolor.decide.watered import watered
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.adding import Ground, as_stack
from weavecolor.optics.appearance import Lit, radiances
from weavecolor.optics.layer import solved
from weavecolor.optics.moire import LEAST_MM, _threads, bands, in_step, joint_factors, swing
from weavecolor.optics.parted import ways_of
from weavecolor.optics.stack import Layer, Stack
from weavecolor.report.sheetfrommaking import sheet_show_through
from weavecolor.scene.backings import backing
from weavecolor.scene.places import illumination, scene, with_viewer

ORGANZA = load_swatch("shot-organza-red-black")  # 40 ends and 38 picks a cm
WINDOW = scene("window")


def _two(turn, cloth=ORGANZA, other=None, ground="white"):
    return Stack((Layer(cloth), Layer(other or cloth, turn)), backing(ground))


# How wide


@pytest.mark.parametrize("turn", [2.0, 3.0, 5.0, 8.0])
def test_bands_of_two_like_layers_are_as_far_apart_as_their_threads_over_twice_the_sine(turn):
    # p / (2 sin(a / 2)) for gratings of one period p (Amidror, The Theory of the Moire
    # Phenomenon, 2009, eq. 2.9; from memory)
    (found,) = bands(_two(turn), WINDOW)
    half = 2.0 * np.sin(np.radians(turn / 2.0))
    known = [10.0 / per_cm / half for per_cm in (40.0, 38.0)]
    assert min(abs(found.period_mm / one - 1.0) for one in known) < 1e-6
    assert found.between_mm[0] < found.period_mm < found.between_mm[1]


def test_bands_are_told_for_a_degree_of_turn_either_way():
    # of like layers 3 degrees apart: from where they lie 4 to where they lie 2
    (found,) = bands(_two(3.0), WINDOW)
    for turn, told in ((4.0, found.between_mm[0]), (2.0, found.between_mm[1])):
        assert told == pytest.approx(bands(_two(turn), WINDOW)[0].period_mm, rel=0.002)


def test_every_second_thread_beats_with_a_layer_half_as_close():
    # 40 ends a cm over 21: 40 and twice 21 part by two in a cm, so by one in 5 mm; 38 picks and 27
    # by one in less than a millimetre
    half = replace(ORGANZA, ends_per_cm=21.0, picks_per_cm=27.0)
    for stack in (_two(0.0, other=half), _two(0.0, cloth=half, other=ORGANZA)):
        (found,) = bands(stack, WINDOW)
        assert found.period_mm == pytest.approx(5.0)


def test_bands_of_layers_crosswise_are_the_beat_of_warp_and_weft():
    # 40 and 38 threads a cm part by one every 5 mm
    (found,) = bands(_two(90.0), WINDOW)
    assert found.period_mm == pytest.approx(5.0)


def test_bands_are_counted_in_a_drawing_of_threads():
    # two sets of threads drawn over one another and looked at from so far that they run together;
    # the bands are where the spectrum of what is left is strongest
    turn, open_ = np.radians(4.0), 0.7
    step, size = 0.02, 1600
    y, x = np.mgrid[:size, :size] * step
    one = (x / 0.25) % 1.0 < open_
    other = ((x * np.cos(turn) + y * np.sin(turn)) / 0.26) % 1.0 < open_
    drawn = (one & other).astype(float)
    power = np.abs(np.fft.fft2(drawn - drawn.mean()))
    waves = np.hypot(*np.meshgrid(*[np.fft.fftfreq(size, step)] * 2))
    power[waves > 1.0 / 1.0] = 0.0  # finer than 1 mm
    other_wave = np.array([np.cos(turn), np.sin(turn)]) / 0.26
    told = float(np.linalg.norm(np.array([4.0, 0.0]) - other_wave))
    assert waves.flat[power.argmax()] == pytest.approx(told, abs=1.0 / (size * step))


# How strong


@pytest.mark.parametrize(
    "one, other, k, m", [(0.7, 0.7, 1, 1), (0.8, 0.55, 1, 1), (0.75, 0.6, 1, 2)]
)
def test_what_is_open_through_two_sets_of_threads(one, other, k, m):
    place = (np.arange(200_000) + 0.5) / 200_000
    counted = [
        np.mean((k * place % 1.0 < one) & ((m * place + shift) % 1.0 < other)) / (one * other)
        for shift in np.arange(96) / 96
    ]
    # every kth thread of one meets every mth of the other: there so many places a thread
    low, high = joint_factors(one, other, m, k)
    assert low == pytest.approx(min(counted), abs=0.02)
    assert high == pytest.approx(max(counted), abs=0.02)


def test_threads_cover_more_where_they_are_looked_at_across():
    # an ellipse's shadow: half its width, and half its height times the tangent, as two legs of a
    # right triangle; along the threads nothing changes
    cell = solved(ORGANZA).white.cell
    tilt = np.tan(np.radians(40.0))
    slant = (tilt / 2, 0.75**0.5 * tilt)
    for azimuth, seen in ((90.0, (tilt, 0.0)), (0.0, (0.0, tilt)), (30.0, slant)):
        found = list(_threads(Layer(ORGANZA), with_viewer(WINDOW, 40.0, azimuth)))
        for (wave, left), strand, spacing, way in zip(
            found, (cell.warp, cell.weft), (cell.warp_spacing, cell.weft_spacing), seen, strict=True
        ):
            covers = (strand.width**2 + (strand.height * way) ** 2) ** 0.5 / spacing
            assert left == pytest.approx(1.0 - covers)
            assert np.linalg.norm(wave) == pytest.approx(1.0 / spacing)


def test_threads_that_close_up_leave_nothing_to_beat():
    steep = with_viewer(WINDOW, 85.0, 90.0)
    assert len(list(_threads(Layer(ORGANZA), steep))) == 1  # the weft alone
    assert bands(_two(0.0), steep)  # which still beats


# Two layers traced exactly in step and half a thread out of step (explicit filaments, sphere
# tracing, exact refraction, shares nothing with the tool; the program that made filaments.json.gz,
# with the register held; seen straight on in even light, layers and a ground 0 to 0.5 mm apart, 300
# 000 paths each). By the six dyes of that file: over black, then over white (0.85).
_TRACED = {
    "gum_silk": (
        ((0.0622, 0.0293, 0.0138, 0.0305, 0.0205, 0.0436),
         (0.7234, 0.3346, 0.1380, 0.3066, 0.2158, 0.4880)),
        ((0.0942, 0.0420, 0.0179, 0.0418, 0.0277, 0.0637),
         (0.7136, 0.2767, 0.0838, 0.2388, 0.1536, 0.4423)),
    ),
    "mono_polyester": (
        ((0.0410, 0.0228, 0.0121, 0.0245, 0.0172, 0.0314),
         (0.7719, 0.4860, 0.2821, 0.4630, 0.3720, 0.6120)),
        ((0.0665, 0.0361, 0.0179, 0.0384, 0.0265, 0.0505),
         (0.7667, 0.4349, 0.2113, 0.4048, 0.3066, 0.5790)),
    ),
    "sixteen": (
        ((0.1718, 0.1034, 0.0388, 0.0866, 0.0662, 0.1340),
         (0.7430, 0.4058, 0.1704, 0.3372, 0.2618, 0.5420)),
        ((0.2522, 0.1464, 0.0514, 0.1198, 0.0904, 0.1928),
         (0.7527, 0.3750, 0.1257, 0.2973, 0.2191, 0.5255)),
    ),
}  # fmt: skip


@pytest.mark.parametrize("cloth", _TRACED)
def test_lightest_and_darkest_are_as_traced_in_and_out_of_step(cloth, every_ray):
    table = filaments.load(filaments.DATA)
    built = table["cloths"][cloth]
    dyes = np.array(table["dyes"]) / built["warp_diameter_mm"]
    cell = filaments.cell_of(built)
    layer = as_stack(filaments.Model(cell, dyes, False).layer((0.0, 0.0), 0.0))
    gap = (0.0, 0.5 / layer.members[0][0].pitch)
    factors = np.prod([
        joint_factors(1.0 - w, 1.0 - w, 1, 1)
        for w in (cell.warp.width / cell.warp_spacing, cell.weft.width / cell.weft_spacing)
    ], axis=0)  # fmt: skip
    even = Lit(0, (), (), np.ones(len(dyes)), np.zeros((0, len(dyes))), ())
    off = []
    for white, ground in enumerate((0.0, 0.85)):
        behind = Ground(np.full(len(dyes), ground))
        (first, second), past = ways_of([layer, layer], even, behind, gap, 0.0)
        change = in_step(second.all, past, float(layer.through[np.count_nonzero(layer.share)]))
        mean = first.all + second.all + past
        low, high = (mean + (factor - 1.0) * change for factor in factors)
        told = filaments.lightness(high) - filaments.lightness(low)
        held_in, held_out = (filaments.lightness(x[white]) for x in _TRACED[cloth])
        off += list((told - (held_in - held_out)) / np.maximum(np.abs(held_in - held_out), 2.0))
    # the shadows of one layer's threads on the other's are left out: a little too weak for rods
    assert np.sqrt(np.mean(np.square(off))) < 0.2
    assert np.max(np.abs(off)) < 0.3


def test_bands_lie_about_the_colour_that_is_told():
    stack = _two(3.0)
    (found,) = bands(stack, WINDOW)
    told = radiances(stack, [stack.backing], [WINDOW])[0][0]
    assert found.mean == pytest.approx(told, rel=1e-6)
    assert found.few.sum() < found.mean.sum() < found.many.sum()  # over white
    # as much lighter for what is seen more as darker for what is seen less
    cell = solved(ORGANZA).white.cell
    low, high = np.prod([
        joint_factors(1.0 - w, 1.0 - w, 1, 1)
        for w in (cell.warp.width / cell.warp_spacing, cell.weft.width / cell.weft_spacing)
    ], axis=0)  # fmt: skip
    lighter, darker = found.many - found.mean, found.mean - found.few
    assert lighter == pytest.approx(darker * (high - 1.0) / (1.0 - low), rel=1e-6, abs=1e-9)


def test_no_bands_where_there_is_nothing_to_beat():
    assert bands(Stack((Layer(ORGANZA),), backing("white")), WINDOW) == ()
    assert bands(_two(45.0), WINDOW) == ()  # finer than a millimetre
    assert swing(_two(45.0), WINDOW) == 0.0
    # coarse net: its threads are a millimetre apart themselves, and are no bands
    gauze = load_swatch("stage-gauze-black")
    assert bands(_two(45.0, gauze), WINDOW) == ()
    assert all(one.period_mm >= LEAST_MM for one in bands(_two(10.0, gauze), WINDOW))


# What is told


def test_bands_are_told_with_their_width_and_the_way_out():
    told = watered([Option(_two(3.0), WINDOW)])
    assert "bands about 5 mm wide (4 mm to 7 mm within a degree of turn)" in told
    assert "white behind, window at the side" in told
    turn = int(told.rsplit("Turned ", 1)[1].split()[0])
    assert watered([Option(_two(3.0 + turn), WINDOW)]) == ""
    assert watered([Option(_two(3.0 + turn - 5.0), WINDOW)]) != ""
    same = watered([Option(_two(0.0), WINDOW)])
    assert "bands 14 mm wide or wider" in same  # 40 a cm, a degree off: 57 threads


def test_bands_of_three_layers_are_told_by_number():
    stack = Stack((Layer(ORGANZA), Layer(ORGANZA, 45.0), Layer(ORGANZA, 3.0)), backing("white"))
    assert [one.layers for one in bands(stack, WINDOW)] == [(0, 2)]
    assert watered([Option(stack, WINDOW)]).startswith("Of 3 layers, numbers 1 and 3 show")


def test_bands_of_close_cloth_are_not_told():
    taffeta = load_swatch("shot-taffeta-green-red")
    assert bands(_two(3.0, taffeta), WINDOW)
    assert watered([Option(_two(3.0, taffeta), WINDOW)]) == ""


def test_bands_of_unlike_layers_name_both():
    other = load_swatch("shot-chiffon-rose-yellow")
    stack = _two(0.0, other=replace(other, ends_per_cm=40.0))
    told = watered([Option(stack, WINDOW)])
    assert told.startswith(f"{ORGANZA.name} over {other.name} shows")


def test_a_comparison_tells_them_once_and_of_the_plainest():
    made = compare(ORGANZA, counts=(1, 2), backings=(backing("white"), backing("black")),
                   scenes=(WINDOW,))  # fmt: skip
    told = [text for text in unexpected(made.outcomes) if "watered" in text]
    assert len(told) == 1 and "white behind" in told[0]
    light = illumination(WINDOW)
    apart = {}
    for ground in ("white", "black"):
        (found,) = bands(_two(0.0, ground=ground), WINDOW)
        Labs = [reading(x, light, white=WINDOW.white).Lab for x in (found.few, found.many)]
        apart[ground] = float(ciede2000(*Labs))
    assert apart["white"] > apart["black"] > 1.0
    assert f"up to about {apart['white']:.0f} " in told[0]


def test_the_making_sheet_tells_them_as_the_comparison_does():
    stack = _two(0.0)
    lit = [(name, scene(name)) for name in ("ballroom", "candlelit")]
    told = sheet_show_through(stack, lit)[-1]
    assert "watered pattern" in told
    assert told in unexpected(evaluate([Option(stack, place) for _, place in lit]))
