"""The parts of a thread count, on waves whose numbers are written down."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import convolve, gaussian_filter1d

from weavecolor.errors import InputError
from weavecolor.measure import threads
from weavecolor.measure.lattice import Frame, Reading
from weavecolor.measure.threads import (
    LEAST_SPREAD,
    NINETEEN_OF_TWENTY,
    TELESCOPED,
    Peak,
    _angle,
    _apart,
    _fine_enough,
    _measure,
    _middle,
    _named,
    _range,
    _refine,
    _smooth,
    _swapped,
    _View,
    _viewed,
    count_threads,
    flattened,
)


def _plain(shape: tuple[int, int], ends_px: float, picks_px: float) -> np.ndarray:
    """A plain weave: furrows between threads, and every other crossing up."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(float)
    lifts = np.sin(np.pi * x / ends_px) * np.sin(np.pi * y / picks_px)
    furrows = np.cos(2 * np.pi * x / ends_px) + np.cos(2 * np.pi * y / picks_px)
    return 0.5 + 0.2 * lifts - 0.1 * furrows


def _frame(first, second, orders=((1.0, 0.0), (0.0, 1.0)), strength=(1.0, 1.0)):
    first, second, orders = np.array(first), np.array(second), np.array(orders)
    peaks = orders @ np.array([first, second])
    return Frame(0.0, first, second, ((1, 0), (0, 1)), peaks, orders, np.array(strength), {})


def _view(*readings, step: int = 1) -> _View:
    none = np.ones((8, 8, 1), np.float32)
    return _View(none, none, 0, 0, step, [Reading(f, s) for f, s in readings])


# --- what is looked at ------------------------------------------------------------------------


def _known(monkeypatch, *readings) -> None:
    """Let the lattice tell these: (first, second) in cycles per mm, share."""

    def told(channels, shortest, longest, upright):
        scale = threads.COARSEST / 10.0 / shortest  # pixels per mm, binned
        return [Reading(_frame(np.array(a) / scale, np.array(b) / scale), s)
                for (a, b), s in readings]  # fmt: skip

    monkeypatch.setattr(threads, "_readings", told)


def test_what_is_drawn_on_a_picture_is_told_in_its_own_pixels(monkeypatch):
    """The middle of the region that was marked, though binned: 36 pixels an end, 40 a pick."""
    monkeypatch.setattr(threads, "LONGEST_SIDE", 250)
    _known(monkeypatch, (((60.0 / 36, 0.0), (0.0, 60.0 / 40)), 1.0))
    for wanted in ("up", "across"):
        found = count_threads(_plain((700, 820), 36.0, 40.0), 60.0, region=(60, 20, 800, 680),
                              warp_direction=wanted)  # fmt: skip
        turned = 1 if wanted == "up" else -1
        counts = (600 / 36, 600 / 40)[::turned]
        assert (found.ends_per_cm, found.picks_per_cm) == pytest.approx(counts, rel=2e-3)
        # 500 pixels about (430, 350): twice the longest side, at half the size
        assert found.box == (180, 100, 680, 600) and found.centre == (430.0, 350.0)
        base = np.array([found.warp_frequency, found.weft_frequency])
        assert base == pytest.approx(np.diag([1 / 36, 1 / 40])[::turned], abs=6e-5)
        assert [p.order for p in found.peaks] == [(1.0, 0.0), (0.0, 1.0)][::turned]
        for peak in found.peaks:
            assert peak.frequency == pytest.approx(tuple(np.array(peak.order) @ base), abs=1e-5)


@pytest.mark.parametrize(("step", "box"), [(1, (50, 70)), (2, (0, 20)), (3, (0, 0))])
def test_the_middle_is_cut_out_and_binned(monkeypatch, step, box):
    monkeypatch.setattr(threads, "LONGEST_SIDE", 100)
    image = np.random.default_rng(1).random((200, 240, 3)).astype(np.float32)
    small, left, top = _middle(image, step)
    assert (top, left) == box
    rows, columns = (min(n, 100 * step) // step for n in (200, 240))
    assert small.shape == (rows, columns, 3)
    at = (rows - 1, columns // 2)
    block = image[top + at[0] * step :][:step, left + at[1] * step :][:, :step]
    assert small[at] == pytest.approx(block.mean((0, 1)), rel=1e-5)


@pytest.mark.parametrize(("pixels", "step"), [(27.5, 1), (28.5, 2)])
def test_coarse_threads_are_looked_at_binned(monkeypatch, pixels, step):
    monkeypatch.setattr(threads, "LONGEST_SIDE", 320)
    _known(monkeypatch, (((10.0 / pixels, 0.0), (0.0, 5.0 / pixels)), 1.0))
    image = _plain((360, 400), pixels, 2 * pixels)[..., None].astype(np.float32)
    assert _viewed(image, 10.0, 0.0).step == step  # the finer system's pixels
    # the whole picture is in view already, or too narrow to be seen any smaller: as it is
    assert _viewed(image[:320, :320], 10.0, 0.0).step == 1
    assert _viewed(image[:127], 10.0, 0.0).step == 1
    assert _viewed(image[:128], 10.0, 0.0).step == step


@pytest.mark.parametrize(
    ("per_mm", "shape", "step"),
    [
        (142.5, (600, 1600), 1), (143.5, (600, 1600), 2),  # the finest silk by 6.5 pixels a thread
        (300.0, (600, 1000), 2), (300.0, (600, 999), 1),  # 500 pixels are left along it
        (300.0, (191, 4000), 2), (300.0, (192, 4000), 3),  # and a tile of 64 across
    ],
)  # fmt: skip
def test_a_sharp_picture_is_binned_at_once(monkeypatch, per_mm, shape, step):
    monkeypatch.setattr(threads, "LONGEST_SIDE", 4000)
    _known(monkeypatch)
    picture = np.random.default_rng(1).random((*shape, 1), np.float32)
    assert _viewed(picture, per_mm, 0.0).step == step


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("pixels", "enough"), [(5.85, False), (5.92, True)])
def test_threads_of_six_pixels_less_a_fiftieth_are_counted(pixels, enough):
    coarse = _frame((0.05, 0.0), (0.0, 0.05))
    fine = _frame((0.05, 0.0), (0.0, 1.0 / pixels))
    view = _view((fine, 0.9), step=3)
    if enough:
        _fine_enough(view)  # of one channel: no colour is asked
    else:
        with pytest.raises(InputError, match=rf"about {3 * pixels:.1f} pixels to a thread, 6 are"):
            _fine_enough(view)
        _fine_enough(_view((coarse, 0.7), (fine, 0.29)))
        for other in ((fine, 0.31), (replace(fine, first=fine.second, second=fine.first), 0.31)):
            with pytest.raises(InputError, match=rf"about {pixels:.1f} pixels to a thread"):
                _fine_enough(_view((coarse, 0.69), other))
        with pytest.raises(InputError, match="too fine"):  # two that each are believed less
            _fine_enough(_view((coarse, 0.6), (fine, 0.16), (fine, 0.16)))


@pytest.mark.parametrize(("count", "enough"), [(6.9, False), (7.1, True)])
@pytest.mark.parametrize("system", [0, 1])
def test_seven_threads_of_each_system_must_show(monkeypatch, count, enough, system):
    pixels = [8.0, 160.0 / count][:: 1 if system else -1]
    _known(monkeypatch, (((8.0 / pixels[0], 0.0), (0.0, 8.0 / pixels[1])), 1.0))
    picture = _plain((160, 160), *pixels)
    if enough:
        found = count_threads(picture, 8.0)
        counts = (found.ends_per_cm, found.picks_per_cm)
        assert counts == pytest.approx(80.0 / np.array(pixels), rel=0.02)
    else:
        with pytest.raises(InputError, match="only about 7 threads .* show at least 7, better 20"):
            count_threads(picture, 8.0)


def test_what_could_all_be_is_told_by_the_three_likeliest(monkeypatch):
    both = [((a / 10.0, 0.0), (0.0, 2.5)) for a in (20.0, 40.0, 30.0, 10.0)]
    _known(monkeypatch, *zip(both, (0.44, 0.25, 0.2, 0.1), strict=True))
    with pytest.raises(InputError, match="pattern: 20 x 25 or 40 x 25 or 30 x 25 per cm could all"):
        count_threads(_plain((200, 200), 10.0, 8.0), 20.0)


@pytest.mark.parametrize("shared", [0.0, 2.0])
def test_waves_in_red_against_blue_alone_are_the_sensor_s(shared):
    """Threads of 2.5 pixels sampled as a mosaic does (red and blue at every second pixel, a pixel
    apart aslant; green at every other of each row) come out at ten; with a wave of ten pixels of
    their own they do not count as the sensor's. Worked out by sampling, without a formula."""
    y, x = np.mgrid[0:240, 0:240]
    true = np.cos(2 * np.pi * 0.4 * x) + np.cos(2 * np.pi * 0.4 * y)
    true = 0.5 + 0.05 * true + 0.03 * shared * (np.cos(np.pi * x / 5) + np.cos(np.pi * y / 5))
    seen = np.zeros((240, 240, 3), bool)
    seen[0::2, 0::2, 0] = seen[1::2, 1::2, 2] = True
    seen[..., 1] = (y + x) % 2 == 1
    near = np.array([[1.0, 2.0, 1.0], [2.0, 4.0, 2.0], [1.0, 2.0, 1.0]])
    picture = np.stack(
        [convolve(true * m, near) / convolve(m * 1.0, near) for m in np.moveaxis(seen, -1, 0)], -1
    ).astype(np.float32)
    frame = _frame((0.1, 0.0), (0.0, 0.1))
    view = replace(_view((frame, 1.0)), small=picture)
    if shared:
        _fine_enough(view)
    else:
        with pytest.raises(InputError, match=r"about 2\.5 pixels to a thread, 6 are needed"):
            _fine_enough(view)


# --- ranges -----------------------------------------------------------------------------------


def test_a_range_takes_in_other_readings_until_nine_in_ten_are_held():
    low, high = _range(20.0, 0.01, 0.95, [(30.0, 0.04)])
    spread = np.exp(NINETEEN_OF_TWENTY * 0.01)
    assert (low, high) == pytest.approx((20.0 / spread, 20.0 * spread))
    # the likeliest others one by one, each with a hundredth and a half about it
    low, high = _range(20.0, 0.01, 0.6, [(30.0, 0.2), (10.0, 0.15), (40.0, 0.05)])
    assert (low, high) == pytest.approx((9.85, 30.45))
    low, high = _range(20.0, 0.01, 0.6, [(30.0, 0.31), (10.0, 0.07)])
    assert (low, high) == pytest.approx((20.0 / spread, 30.45))
    # what says the same within three in a hundred is belief in the same
    low, high = _range(20.0, 0.01, 0.6, [(20.5, 0.35), (30.0, 0.05)])
    assert (low, high) == pytest.approx((20.0 / spread, 20.0 * spread))
    low, high = _range(20.0, 0.01, 0.6, [(20.7, 0.35), (30.0, 0.05)])
    assert (low, high) == pytest.approx((20.0 / spread, 20.7 * 1.015))


# --- light divided out ------------------------------------------------------------------------


def test_a_picture_s_dark_is_not_blown_up():
    """Light below a fiftieth of the brightest (of its root) counts as so much: threads there keep
    the share of it that they have."""
    picture = np.ones((120, 960))
    picture[:, 400:] = 1e-4
    flat = flattened(picture[..., None].astype(np.float32))
    assert flat.shape == (1, 120, 960)
    # root 0.01 over 0.02, less 1; in the bright part, far from the edge, nothing is left
    assert abs(flat[0, 60, 940]) == pytest.approx(0.5, abs=0.005)
    assert abs(flat[0, 60, 20]) < 0.005


def test_the_busiest_two_combinations_of_colours_are_kept_in_order():
    y, x = np.mgrid[0:160, 0:160] / 8.0
    root = 0.5 + np.zeros((160, 160, 3))
    root[..., 0] += 0.10 * np.cos(2 * np.pi * x)
    root[..., 1] += 0.04 * np.cos(2 * np.pi * y)
    root[..., 2] += 0.01 * np.cos(2 * np.pi * (x + y))
    flat = flattened((root**2).astype(np.float32))
    assert flat.shape == (2, 160, 160)
    for channel, wave in zip(flat, (0.2 * np.cos(2 * np.pi * x), 0.08 * np.cos(2 * np.pi * y)),
                             strict=True):  # fmt: skip
        inside = channel[40:120, 40:120] * np.sign((channel * wave).sum())
        assert inside == pytest.approx(wave[40:120, 40:120], abs=0.012)


def test_a_wide_mean_leaves_even_and_sloping_light_alone():
    y, x = np.mgrid[0:131, 0:203].astype(float)
    light = 2.0 + 0.01 * x - 0.004 * y
    for sigma in (8.0, 20.0):
        smooth = _smooth(light.astype(np.float32), sigma)
        assert smooth.shape == light.shape
        assert smooth[64:68, 90:110] == pytest.approx(light[64:68, 90:110], abs=5e-3)
    # a wave is damped as a Gaussian damps it: exp(-2 (pi sigma f)^2)
    wave = np.cos(2 * np.pi * x / 100.0) * np.ones_like(y)
    smooth = _smooth(np.tile(wave, (1, 4))[:, :800].astype(np.float32), 16.0)
    damped = np.exp(-2 * (np.pi * 16.0 / 100.0) ** 2)
    assert np.ptp(smooth[60, 300:400]) / 2 == pytest.approx(damped, rel=0.03)


# --- frequencies by their phase ---------------------------------------------------------------


def _waves(shape, terms):
    """Sum of cosines: frequency (fx, fy), height, phase, about the picture's middle."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(float)
    x, y = x - (shape[1] - 1) / 2, y - (shape[0] - 1) / 2
    made = sum(h * np.cos(2 * np.pi * (f[0] * x + f[1] * y) + p) for f, h, p in terms)
    return np.asarray(made, np.float32)[None]


@pytest.mark.parametrize("seed", range(3))
def test_threads_are_told_from_the_phases_of_six_orders_at_most(seed):
    rng = np.random.default_rng(seed)
    first = np.array([0.10, 0.006]) * rng.uniform(0.97, 1.03)
    second = np.array([-0.008, 0.08]) * rng.uniform(0.97, 1.03)
    base = np.array([first, second])
    named = [(1, 0), (0, 1), (1, 1), (1, -1), (2, 0), (0, 2), (2, 1), (1, 2), (3, 0)]
    orders = np.array(named, float)
    strength = np.array([5.0, 4.0, 9.0, 3.0, 7.0, 8.0, 6.0, 2.0, 10.0])
    picture = _waves((400, 420), [(o @ base, 0.1, p) for o, p in zip(orders, rng.uniform(0, 6, 9),
                                                                  strict=True)])  # fmt: skip
    noisy = picture + 0.02 * rng.standard_normal(picture.shape).astype(np.float32)
    # begun a little off; each order beside its opposite is one and the same
    twice = np.concatenate([orders, -orders])
    frame = _frame(1.004 * first, 0.996 * second, twice, np.concatenate([strength, strength]))
    for shown, within in ((picture, 5e-6), (noisy, 2e-5)):
        one, two, spread, coherence, peaks = _refine(shown, frame)
        assert one == pytest.approx(first, abs=within)
        assert two == pytest.approx(second, abs=within)
        # two dozen numbers are told of the strongest orders up to the second; not of (3, 0)
        told = [tuple(np.abs(p.order)) for p in peaks]
        assert told == [(1, 0), (0, 1), (1, 1), (0, 2), (2, 0), (2, 1)]
        for peak in peaks:
            assert peak.frequency == pytest.approx(tuple(np.array(peak.order) @ base), abs=3e-5)
            assert peak.strength == pytest.approx(
                peak.coherence**2 / max(1e-9, 1 - peak.coherence**2)
            )
        assert coherence == sorted(p.coherence for p in peaks)[-2] > 0.97
        for k, own in enumerate((first, second)):
            assert LEAST_SPREAD <= spread[k] < LEAST_SPREAD + 3e-4
            assert np.hypot(*own) > 0


def test_one_system_alone_is_no_cloth():
    picture = _waves((300, 300), [((0.1, 0.0), 0.1, 0.3), ((0.2, 0.0), 0.05, 1.0)])
    picture += 0.05 * np.random.default_rng(1).standard_normal(picture.shape).astype(np.float32)
    frame = _frame((0.1, 0.0), (0.0, 0.1), ((1.0, 0.0), (2.0, 0.0)))
    _, _, spread, coherence, peaks = _refine(picture, frame)
    assert (spread, coherence, peaks) == ((1.0, 1.0), 0.0, ())


@pytest.mark.parametrize("turn", [0.0, 0.3, np.pi / 2])
def test_under_perspective_the_middle_s_count_is_told(turn):
    """Phase of f u + c u^2: at the picture's middle threads are f to the pixel."""
    y, x = np.mgrid[0:401, 0:401].astype(float) - 200.0
    u = x * np.cos(turn) + y * np.sin(turn)
    for bend in (4e-6, -4e-6):  # at the edges 1.6 in a hundred more or less
        picture = np.cos(2 * np.pi * (0.1 * u + bend * u**2)).astype(np.float32)[None]
        start = 0.1 * np.array([np.cos(turn), np.sin(turn)])
        found, error, coherence = _measure(picture, 1.003 * start, 8.0)
        assert found == pytest.approx(start, abs=3e-5)
        assert error < 1e-3 and coherence > 0.99


def _uneven(size: int, amount: float, seed: int, tall: int = 120) -> np.ndarray:
    """Threads every 10 pixels, each as far off as ``amount`` radians of smooth noise has it."""
    phase = 2 * np.pi * 0.1 * np.arange(size) + _uneven_phase(size, amount, seed)
    return np.broadcast_to(np.cos(phase).astype(np.float32), (1, tall, size))


def test_a_count_s_error_goes_with_how_uneven_threads_lie_and_how_many_they_are():
    def told(picture, frequency=(0.1, 0.0)):
        return _measure(picture, frequency, 6.0)[1]

    small = np.array([told(_uneven(400, 0.1, seed)) for seed in range(8)])
    twice = np.array([told(_uneven(400, 0.2, seed)) for seed in range(8)])
    assert twice / small == pytest.approx(2.0, rel=0.05)
    # four times as many independent places, half the error
    more = np.array([told(_uneven(1600, 0.1, seed)) for seed in range(8)])
    assert small.mean() / more.mean() == pytest.approx(2.0, rel=0.25)
    one = _uneven(400, 0.1, 3)
    # a thread that lies wrong does so all along: longer threads tell no more of it
    assert told(_uneven(400, 0.1, 3, 240)) == pytest.approx(told(one), rel=0.02)
    # nor does it ask how bright the picture is, or which way the threads run
    assert told(3.0 * one) == pytest.approx(told(one), rel=1e-3)
    across = np.ascontiguousarray(one.transpose(0, 2, 1))
    assert told(across, (0.0, 0.1)) == pytest.approx(told(one), rel=1e-3)
    assert told(one[:, ::-1, ::-1].copy()) == pytest.approx(told(one), rel=0.1)
    # the error is that of the mean of steps over the picture, of which some cancel
    steps = 2.5 * 6.0
    off = np.diff(_uneven_phase(400, 0.1, 3)[:: int(steps)]).std()  # radians
    off /= 2 * np.pi * steps  # cycles a pixel
    assert told(one) == pytest.approx(TELESCOPED * off / np.sqrt(400 / (2 * np.sqrt(np.pi) * 6.0)),
                                      rel=0.35)  # fmt: skip


def _uneven_phase(size: int, amount: float, seed: int) -> np.ndarray:
    noise = gaussian_filter1d(np.random.default_rng(seed).standard_normal(size), 12.0, mode="wrap")
    return amount * noise / noise.std()


def test_orders_that_do_not_agree_are_doubted():
    """A second order at other than twice the first: the lattice is told between, less surely."""
    def found(second):
        terms = [((0.1, 0.0), 0.1, 0.3), ((second, 0.0), 0.1, 1.0), ((0.0, 0.08), 0.1, 0.7)]
        picture = _waves((320, 320), terms)
        picture += 0.01 * np.random.default_rng(2).standard_normal(picture.shape)
        orders = ((1.0, 0.0), (0.0, 1.0), (2.0, 0.0))
        frame = _frame((0.1, 0.0), (0.0, 0.08), orders, (1.0, 1.0, 2.0))
        return _refine(picture.astype(np.float32), frame)

    right, wrong = found(0.2), found(0.2016)
    assert right[0] == pytest.approx([0.1, 0.0], abs=1e-5)
    assert 0.1001 < wrong[0][0] < 0.1008
    assert wrong[2][0] > 3.0 * right[2][0] and wrong[2][0] > 0.002
    assert len(wrong[4]) == 3


# --- names ------------------------------------------------------------------------------------


@pytest.mark.parametrize("degrees", [-80.0, -45.0, -10.0, 0.0, 10.0, 44.0, 80.0])
def test_threads_lean_across_their_frequency(degrees):
    # threads that lean right by so much repeat along the direction square to them (y is down)
    vector = 0.1 * np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    assert _angle(vector) == pytest.approx(degrees)
    assert _angle(-vector) == pytest.approx(degrees)
    for other in (degrees + 180.0, degrees - 180.0, degrees):
        assert _apart(degrees, other) == pytest.approx(0.0, abs=1e-9)
    assert _apart(degrees, degrees + 50.0) == pytest.approx(50.0)
    assert _apart(degrees + 120.0, degrees) == pytest.approx(60.0)


def test_warp_is_what_runs_nearest_to_where_it_was_said_to():
    upright, level = np.array([0.1, 0.01]), np.array([0.0, 0.2])
    for first, second, spread in ((upright, level, (1, 2)), (level, upright, (2, 1))):
        (warp, weft), angle, own = _named(first, second, spread, 0.0)
        assert warp is upright and weft is level and own == (1, 2)
        assert angle == pytest.approx(np.degrees(np.arctan(0.1)))
        (warp, weft), angle, own = _named(first, second, spread, 90.0)
        assert warp is level and weft is upright and own == (2, 1)
        assert abs(angle) == pytest.approx(90.0)
    peak = Peak((0.1, 0.2), (2.0, -1.0), 3.0, 0.9)
    assert _swapped((peak,)) == (Peak((0.1, 0.2), (-1.0, 2.0), 3.0, 0.9),) or (
        _swapped((peak,))[0].order == (-1.0, 2.0)
        and _swapped((peak,))[0].frequency == peak.frequency
    )


@pytest.mark.parametrize(
    ("lean", "skew", "wanted", "said"),
    [
        (11.5, 0.0, "up", ()),
        (12.4, 0.0, "up", ("the grain leans 12 degrees; a count is surer with the grain upright",)),
        (12.5, 0.0, 10.0, ()),
        (34.4, 0.0, "up", ("the grain leans 34 degrees; a count is surer with the grain upright",)),
        (35.5, 0.0, "up", ("the grain lies near 45 degrees: mark which direction is warp",)),
        (-35.5, 0.0, "up", ("the grain lies near 45 degrees: mark which direction is warp",)),
        (0.0, 3.7, "up", ()), (0.0, -3.7, "up", ()),
        (0.0, 4.6, "up", ("the two systems are 5 degrees off square: cloth or camera",)),
        (0.0, -4.6, "up", ("the two systems are 5 degrees off square: cloth or camera",)),
    ],
)  # fmt: skip
def test_cautions_of_a_count(monkeypatch, lean, skew, wanted, said):
    """Grain 12 and 35 degrees off upright, systems 4 degrees off square."""
    a, b = np.radians(lean), np.radians(lean + skew)
    first = 2.0 * np.array([np.cos(a), np.sin(a)])
    second = 1.6 * np.array([-np.sin(b), np.cos(b)])
    _known(monkeypatch, ((first, second), 1.0))
    picture = 0.5 + 0.1 * _waves((300, 300), [(first / 20, 1.0, 0.4), (second / 20, 0.8, 1.1)])[0]
    found = count_threads(picture, 20.0, warp_direction=wanted)
    assert found.cautions == said
    assert found.grain_angle_deg == pytest.approx(lean, abs=0.05)
    assert abs(found.skew_deg) == pytest.approx(abs(skew), abs=0.05)
    assert (found.ends_per_cm, found.picks_per_cm) == pytest.approx((20.0, 16.0), rel=1e-3)


def test_other_readings_are_told_where_they_are_believed_and_differ(monkeypatch):
    """Three at most, of more than four in a hundred, that differ by more than four in a hundred."""

    def reading(ends, picks, share):
        return ((ends / 10.0, 0.0), (0.0, picks / 10.0)), share

    picture = _plain((300, 300), 10.0, 12.5)
    said = ("the same picture can be read with other counts; the range allows for them. "
            "Count one row by hand, or come closer")  # fmt: skip
    _known(monkeypatch, reading(20, 16, 0.8), reading(30, 16, 0.15), reading(20, 8, 0.05))
    found = count_threads(picture, 20.0)
    assert found.cautions == (said,) and found.share == 0.8
    assert [(o.ends_per_cm, o.picks_per_cm, o.share) for o in found.alternatives] == [
        pytest.approx((30.0, 16.0, 0.15)), pytest.approx((20.0, 8.0, 0.05))
    ]  # fmt: skip
    assert found.ends_range[1] == pytest.approx(30 * 1.015)
    assert found.picks_range[0] > 15.9  # held by the likelier already
    _known(monkeypatch, reading(20, 16, 0.91), reading(30, 16, 0.041), reading(20, 8, 0.039))
    found = count_threads(picture, 20.0)
    assert found.cautions == ()
    assert [o.ends_per_cm for o in found.alternatives] == [pytest.approx(30.0)]
    _known(monkeypatch, reading(20, 16, 0.5), reading(20.7, 16.6, 0.1), reading(20.9, 16, 0.1),
           reading(20, 16.8, 0.1), reading(10, 16, 0.1), reading(30, 16, 0.1))  # fmt: skip
    found = count_threads(picture, 20.0)
    assert [round(o.ends_per_cm, 1) for o in found.alternatives] == [20.9, 20.0, 10.0]
    _known(monkeypatch, reading(20, 16, 0.8), reading(20.7, 16, 0.2))
    assert count_threads(picture, 20.0).cautions == ()  # nothing else to be read
    _known(monkeypatch, reading(20, 16, 0.46), reading(30, 16, 0.4))
    assert count_threads(picture, 20.0).share == 0.46


@pytest.mark.parametrize("off", [-0.5, -0.4, -0.25, 0.1, 0.34, 0.4, 0.45])
@pytest.mark.parametrize("axis", [0, 1])
def test_a_wave_aside_is_told_where_it_is_and_not_on_the_other_side(off, axis):
    """Within half a lattice step; by places far apart alone one of .4 was told as -.27."""
    first = 0.1 * np.eye(2)[axis]
    picture = _waves((300, 320), [((1.0 + off) * first, 0.2, 0.3)])
    found, _, coherence = _measure(picture, first, 6.0)
    assert found == pytest.approx((1.0 + off) * first, abs=2e-4) and coherence > 0.95


@pytest.mark.parametrize(("off", "counted"), [(0.2, True), (0.4, False)])
def test_a_wave_nearer_the_next_place_is_not_this_order(off, counted):
    """The sum of both systems looked for where there is a wave by so much of the lattice's own
    steps aslant: within three tenths it is that order, beyond it belongs to something else."""
    first, second = np.array([0.1, 0.0]), np.array([0.0, 0.1])
    aside = first + second + 0.1 * off * np.sqrt([0.5, 0.5])
    picture = _waves((300, 300), [(first, 0.2, 0.3), (second, 0.2, 1.0), (aside, 0.2, 2.0)])
    frame = _frame(first, second, ((1.0, 0.0), (0.0, 1.0), (1.0, 1.0)), (3.0, 2.0, 1.0))
    told = [tuple(peak.order) for peak in _refine(picture, frame)[4]]
    assert ((1.0, 1.0) in told) is counted
    assert {(1.0, 0.0), (0.0, 1.0)} <= set(told)
