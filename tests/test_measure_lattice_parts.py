"""Lattices laid out by hand in a spectrum, and close-ups that are sums of waves."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from weavecolor.errors import InputError
from weavecolor.measure.lattice import (
    Frame,
    Spectrum,
    _candidates,
    _ring_median,
    _rings,
    _streak,
    find_frames,
    find_peaks,
    prominence,
    repeats,
    spectrum,
    weighed,
)
from weavecolor.measure.threads import (
    _angle,
    _apart,
    _measure,
    _middle,
    _named,
    _range,
    _smooth,
    _wanted,
    count_threads,
    flattened,
    stated,
)


def made(tile: int, vectors, height: float = 1e4, floor: float = 1.0) -> Spectrum:
    """A spectrum with peaks at frequencies (n, 2) and at their opposites."""
    ratio = np.full((tile, tile), floor)
    y, x = np.mgrid[0:tile, 0:tile] - tile // 2
    for fx, fy in np.vstack([vectors, -np.asarray(vectors)]):
        ratio += height * np.exp(-0.5 * ((x - fx * tile) ** 2 + (y - fy * tile) ** 2) / 0.8**2)
    return Spectrum(ratio, ndimage.maximum_filter(ratio, 3), tile, 9.0)


def mirrored(spec: Spectrum) -> Spectrum:
    """As if the picture were hung upside down: y for -y about the middle."""
    ratio = np.roll(spec.ratio[::-1], 1, axis=0)
    return Spectrum(ratio, ndimage.maximum_filter(ratio, 3), spec.tile, spec.tiles)


def test_peaks_are_found_where_they_were_put():
    vectors = np.array([[0.121, 0.0], [0.003, 0.157], [0.06, 0.0788], [0.2, 0.31]])
    found, strength = find_peaks(made(256, vectors), 0.02)
    for vector in vectors:
        assert np.hypot(*(found - vector).T).min() < 0.1 / 256
    assert len(found) == 4 and (strength > 5e3).all()
    # where only some are kept, those that count most: of one height that of the lowest frequency
    (first,), _ = find_peaks(made(256, vectors), 0.02, 1)
    assert first == pytest.approx(vectors[2], abs=0.1 / 256)
    # neither below the lowest, nor near the folding frequency, nor along the picture's rim
    rim = np.array([[0.01, 0.0], [0.47, 0.0], [0.1, 0.498], [0.0, 0.3]])
    found, _ = find_peaks(made(256, rim), 0.02)
    assert len(found) == 1 and found[0] == pytest.approx([0.0, 0.3], abs=1e-3)


def test_what_stands_beside_a_line_counts_alike_on_both_sides():
    """A picture hung upside down has the same streaks and the same peaks."""
    rng = np.random.default_rng(6)
    ratio = rng.gamma(2.0, 1.0, (128, 128))
    spec = Spectrum(ratio, ndimage.maximum_filter(ratio, 3), 128, 9.0)
    other = mirrored(spec)
    flip = np.array([1.0, -1.0])
    for vector in ([0.11, 0.0], [0.09, 0.05], [0.15, 0.11]):
        assert _streak(spec, np.array(vector)) == pytest.approx(
            _streak(other, flip * vector), abs=1e-9
        )
    vectors = rng.uniform(0.06, 0.3, (40, 2))
    np.testing.assert_allclose(
        prominence(spec, vectors, 0), prominence(other, flip * vectors, 0), rtol=1e-6
    )
    # three lines of six beside it four times as high: half-way between, in logarithms
    sided = np.ones((128, 128))
    sided[64 + 4 :] = 4.0
    sided[63:66] = 10.0
    half = Spectrum(sided, sided, 128, 9.0)
    assert _streak(half, np.array([0.11, 0.0])) == pytest.approx(np.log(10) - np.log(2), abs=0.01)


def test_a_line_through_the_spectrum_is_no_peak():
    lined = np.ones((128, 128))
    lined[64 + 12] = 50.0  # a line at fy = 12 / 128
    spec = Spectrum(lined, ndimage.maximum_filter(lined, 3), 128, 9.0)
    assert prominence(spec, [[0.2, 12 / 128]])[0] == pytest.approx(1.0)
    assert prominence(made(128, [[0.2, 0.1]], 50.0), [[0.2, 0.1]])[0] > 20.0
    assert prominence(spec, np.empty((0, 2))).shape == (0,)


@pytest.mark.parametrize(
    ("seen", "hidden"),
    [
        ([[0.2, 0.0]], [0.1, 0.0]),  # a half
        ([[0.1, 0.0]], [0.2, 0.0]),  # a double
        ([[0.06, 0.08], [0.06, -0.08]], [0.12, 0.0]),  # a sum
        ([[0.06, 0.08], [-0.06, 0.08]], [0.12, 0.0]),  # a difference
    ],
)
def test_threads_are_looked_for_at_halves_doubles_sums_and_differences(seen, hidden):
    spec = made(256, [*seen, hidden])
    found = _candidates(np.array(seen), 0.03, 0.4, spec, 0.0)
    assert np.hypot(*(found - hidden).T).min() < 1.3 / 256
    # nothing there, nothing found; and none beyond the bounds
    bare = _candidates(np.array(seen), 0.03, 0.4, made(256, seen), 0.0)
    assert np.hypot(*(bare - hidden).T).min() > 1.3 / 256
    above = _candidates(np.array(seen), float(np.hypot(*hidden)) + 0.001, 0.4, spec, 0.0)
    assert not len(above) or np.hypot(*(above - hidden).T).min() > 1.3 / 256


def _square(e: float, f: float, extra=()) -> np.ndarray:
    orders = [(1, 0), (0, 1), *extra]
    return np.array([[a * e, b * f] for a, b in orders])


def test_evidence_is_in_shares_and_does_not_ask_how_finely_the_picture_was_taken():
    # A rib of two: the repeat of (1, 2) and (1, -2), with orders (1/2, 1/4) and (0, 1/2).
    lattice = _square(0.16, 0.14, [(0.5, 0.25), (0.5, -0.25), (0, 0.5)])
    frames = find_frames(made(256, lattice, 1e5), 0.05, 0.4)
    rib = next(f for f in frames if f.crossings == 4 and f.evidence["rib"] == 1.0
               and sorted(np.hypot([f.first[0], f.second[0]], [f.first[1], f.second[1]]))
               == pytest.approx([0.14, 0.16], abs=2e-3))  # fmt: skip
    assert rib.evidence["explained"] == pytest.approx(1.0)
    assert rib.evidence["one-sided"] == pytest.approx(0.2)  # one of five, all as clear
    assert rib.evidence["crossings"] == pytest.approx(np.log(4.0))
    assert rib.evidence["unequal"] == pytest.approx(np.log(0.16 / 0.14), abs=0.02)
    for frame in frames:
        for share in ("explained", "one-sided"):
            assert 0.0 <= frame.evidence[share] <= 1.0 + 1e-9
    # twice the pixels: half the frequencies in twice the tile, the peaks as wide in it
    small = made(256, lattice, 1e5).ratio
    fine = np.ones((512, 512))
    fine[128:384, 128:384] = small
    spec = Spectrum(fine, ndimage.maximum_filter(fine, 3), 512, 9.0)
    again = find_frames(spec, 0.025, 0.2)
    same = next(f for f in again if f.repeat == rib.repeat
                and np.allclose(2 * f.first, rib.first, atol=2e-3)
                and np.allclose(2 * f.second, rib.second, atol=2e-3))  # fmt: skip
    assert same.evidence["gain"] == pytest.approx(rib.evidence["gain"], rel=0.02)


@pytest.mark.parametrize("skew", [0.0, 11.0, 13.5])
def test_systems_more_than_a_dozen_degrees_off_square_are_no_weave(skew):
    a = np.radians(skew)
    vectors = np.array([[0.15, 0.0], [0.15 * np.sin(a), 0.15 * np.cos(a)]])
    frames = find_frames(made(256, vectors), 0.1, 0.2)
    found = [
        np.degrees(np.arcsin(abs(f.first @ f.second) / 0.15**2)) for f in frames
    ]
    if skew > 12.0:
        assert found == []
    else:
        assert found and found[0] == pytest.approx(skew, abs=0.5)


def test_repeats_are_lattices_of_the_weaves():
    # one way to lay every second, third ... crossing: plain, twills and satins to 8; ribs, hopsacks
    crossings = sorted(round(abs(np.linalg.det(r))) for r in repeats())
    # n - 1 shifts, less those that share a factor: Euler's count
    euler = {2: 1, 3: 2, 4: 2, 5: 4, 6: 2, 7: 6, 8: 4}
    wanted = [1] + [n for n, many in euler.items() for _ in range(many)] + [4, 4, 8, 18]
    assert crossings == sorted(wanted)
    for r in repeats():
        assert np.array_equal(r, np.round(r)) and abs(np.linalg.det(r)) >= 0.9


def test_belief_is_shared_by_odds_and_windows():
    def frame(score, f=0.1):
        return Frame(score, np.array([f, 0.0]), np.array([0.0, f]), ((1, 0), (0, 1)),
                     np.empty((0, 2)), np.empty((0, 2)), np.empty(0), {})  # fmt: skip

    assert weighed([]) == [] and weighed([[], []]) == []
    # three to one of two readings that are far likelier than none
    first, second = weighed([[frame(40.0 + np.log(3.0)), frame(40.0, 0.2)]])
    assert (first.share, second.share) == pytest.approx((0.75, 0.25), abs=1e-6)
    # readings within three in a hundred are one, told as the first window has it
    (only,) = weighed([[frame(41.0), frame(40.0, 0.102)], [frame(42.0, 0.101)]])
    assert only.share == pytest.approx(1.0, abs=1e-6) and only.frame.score == 41.0
    assert sum(r.share for r in weighed([[frame(0.0)]])) < 0.1  # most likely none


# --- threads ----------------------------------------------------------------------------------


def waves(ends: float, picks: float, turn: float = 0.0, skew: float = 0.0, size: int = 400):
    """A plain weave as a sum of waves, 20 pixels to the mm, its warp leaning right by ``turn``."""
    y, x = np.mgrid[0:size, 0:size] / 20.0  # mm
    a, b = np.radians(turn), np.radians(turn + skew)
    u = (x * np.cos(a) + y * np.sin(a)) * ends / 10.0
    v = (-x * np.sin(b) + y * np.cos(b)) * picks / 10.0
    lifts = np.sin(np.pi * u) * np.sin(np.pi * v)
    return 0.5 + 0.2 * lifts - 0.1 * (np.cos(2 * np.pi * u) + np.cos(2 * np.pi * v))


@pytest.mark.parametrize(
    ("turn", "warp", "said"),
    [
        (0.0, "up", None),
        (-11.0, "up", None),
        (14.0, "up", "the grain leans 14 degrees; a count is surer with the grain upright"),
        (-14.0, "up", "the grain leans 14 degrees; a count is surer with the grain upright"),
        (41.0, "up", "the grain lies near 45 degrees: mark which direction is warp"),
        (41.0, 41.0, None),
        (90.0, "across", None),
    ],
)
def test_a_leaning_grain_is_told(turn, warp, said):
    found = count_threads(waves(25.0, 20.0, turn), 20.0, warp_direction=warp)
    lean = [c for c in found.cautions if "grain" in c]
    assert lean == ([] if said is None else [said])
    if said is None or "leans" in said:
        assert found.ends_per_cm == pytest.approx(25.0, rel=0.01)
        assert found.picks_per_cm == pytest.approx(20.0, rel=0.01)


def test_systems_off_square_are_told():
    found = count_threads(waves(25.0, 20.0, 0.0, 6.0), 20.0)
    assert abs(found.skew_deg) == pytest.approx(6.0, abs=0.3)
    assert "the two systems are 6 degrees off square: cloth or camera" in found.cautions
    assert not any("off square" in c for c in count_threads(waves(25, 20, 0, 3), 20.0).cautions)


def test_the_range_takes_in_other_readings_until_it_is_sure():
    # 19 of 20 of a normal law: 1.96 deviations; of 1 % about 20
    low, high = _range(20.0, 0.01, 1.0, [])
    assert (low, high) == pytest.approx((20 * np.exp(-0.0196), 20 * np.exp(0.0196)))
    # believed by half, another reading is taken in, and 1.5 % about it, on either side
    assert _range(20.0, 0.01, 0.5, [(40.0, 0.45)]) == pytest.approx((low, 40.6))
    assert _range(20.0, 0.01, 0.5, [(10.0, 0.45)]) == pytest.approx((9.85, high))
    assert _range(20.0, 0.01, 0.5, [(40.0, 0.3), (10.0, 0.15)]) == pytest.approx((9.85, 40.6))
    # nine in ten is sure enough; so is another reading with the same count of this system
    assert _range(20.0, 0.01, 0.9, [(40.0, 0.07)]) == pytest.approx((low, high))
    # but not where so much is left for one other: a twelfth of belief is no doubt to pass over
    assert _range(20.0, 0.01, 0.91, [(40.0, 0.085)]) == pytest.approx((low, 40.6))
    assert _range(20.0, 0.01, 0.5, [(20.4, 0.45), (40.0, 0.05)]) == pytest.approx((low, high))
    assert _range(20.0, 0.01, 0.5, [(40.0, 0.45), (80.0, 0.05)])[1] == pytest.approx(40.6)


def test_a_large_picture_is_cut_to_its_middle_and_averaged():
    image = np.arange(2400 * 2600, dtype=np.float32).reshape(2400, 2600, 1)
    small, left, top = _middle(image, 2)
    # 2200 of each side, in pairs
    assert (left, top) == (200, 100) and small.shape == (1100, 1100, 1)
    assert small[0, 0, 0] == pytest.approx(image[100:102, 200:202].mean())
    assert small[-1, -1, 0] == pytest.approx(image[2298:2300, 2398:2400].mean(), rel=1e-6)
    same, left, top = _middle(image[:300, :501], 1)
    assert same.shape == (300, 501, 1) and left == top == 0
    odd, _, _ = _middle(image[:301, :500], 2)
    assert odd.shape == (150, 250, 1)


@pytest.mark.parametrize("across", [0, 1])
def test_light_that_falls_off_across_a_narrow_picture_is_taken_out(across):
    """A fall of three to one over the short side, under a weave: its waves stay, the fall goes."""
    y, x = np.mgrid[0:160, 0:960]
    weave = 1.0 + 0.1 * np.cos(2 * np.pi * x / 10)
    fall = np.exp(-1.1 * y / 160)
    picture = (weave * fall)[..., None].astype(np.float32)
    flat = flattened(np.swapaxes(picture, 0, 1) if across else picture)[0]
    flat = flat.T if across else flat
    slow = _smooth(flat, 12.0)[20:-20]
    assert slow.std() < 0.04  # of a fall whose root has a deviation of 0.16 of its mean
    assert flat.std() == pytest.approx(0.05 / np.sqrt(2), rel=0.35)  # the root of the waves


def test_a_frequency_is_told_at_the_middle_of_the_picture():
    """Waves that get closer to one side, as of cloth seen aslant, have their mean in the middle."""
    y, x = np.mgrid[0:400, 0:400] - 199.5
    for along, over in ((4e-5, 0.0), (0.0, 4e-5), (-4e-5, 3e-5)):
        phase = 0.1 * x + 0.5 * along * x**2 + over * x * y
        channels = np.cos(2 * np.pi * phase)[None].astype(np.float32)
        found, error, coherence = _measure(channels, np.array([0.1005, 0.0005]), 15.0)
        assert found == pytest.approx([0.1, 0.0], abs=2e-4)
        assert coherence > 0.8 and error < 0.01
        turned, _, _ = _measure(channels.transpose(0, 2, 1), np.array([0.0005, 0.1005]), 15.0)
        assert turned == pytest.approx([0.0, 0.1], abs=2e-4)
    # too small a picture for two neighbouring places says that it knows nothing
    for rows, columns in ((70, 400), (400, 70)):
        found, error, coherence = _measure(channels[:, :rows, :columns], np.array([0.1, 0.0]), 15.0)
        assert found.tolist() == [0.1, 0.0] and np.isinf(error) and coherence == 0.0


@pytest.mark.parametrize("per_mm", [0.0, -1.0, np.nan, np.inf, 0.49, 5001.0])
def test_no_count_without_a_scale_of_cloth(per_mm):
    with pytest.raises(InputError, match="^pixels_per_mm: "):
        count_threads(np.ones((100, 100)), per_mm)


@pytest.mark.parametrize("shape", [(64, 3000), (2400, 80), (127, 1200)])
def test_a_narrow_strip_is_counted_or_refused(shape):
    y, x = (v / 200.0 for v in np.mgrid[0 : shape[0], 0 : shape[1]])  # 200 pixels to the mm
    coarse = np.cos(2 * np.pi * 2.5 * x) + np.cos(2 * np.pi * 2.0 * y)
    with pytest.raises(InputError, match="no weave found|threads"):
        count_threads(0.5 - 0.1 * coarse, 200.0)
    # threads of 10 and 8 pixels: eight of them and more lie across the strip
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    lifts = np.sin(np.pi * x / 10) * np.sin(np.pi * y / 8)
    furrows = np.cos(2 * np.pi * x / 10) + np.cos(2 * np.pi * y / 8)
    found = count_threads(0.5 + 0.2 * lifts - 0.1 * furrows, 20.0)
    assert found.ends_per_cm == pytest.approx(20.0, rel=0.02)
    assert found.picks_per_cm == pytest.approx(25.0, rel=0.02)
    with pytest.raises(InputError, match="smaller than 64 pixels"):
        count_threads(np.ones((63, 500)), 20.0)


def test_warp_is_the_system_nearest_the_direction_said():
    level, upright = np.array([0.1, 0.0]), np.array([0.0, 0.12])  # waves along x: threads upright
    assert _angle(level) == 0.0 and abs(_angle(upright)) == 90.0
    assert _angle(np.array([0.1, 0.1])) == pytest.approx(45.0)  # y runs down: the top leans right
    assert _angle(np.array([-0.1, 0.1])) == pytest.approx(-45.0)
    for wanted, warp, spread in (
        (0.0, level, (0.01, 0.02)), (40.0, level, (0.01, 0.02)), (90.0, upright, (0.02, 0.01)),
        (50.0, upright, (0.02, 0.01)), (-90.0, upright, (0.02, 0.01)), (180.0, level, (0.01, 0.02)),
    ):  # fmt: skip
        (first, _), angle, told = _named(level, upright, (0.01, 0.02), wanted)
        assert first is warp and told == spread and angle == _angle(warp)
    for one, two, apart in ((90, -90, 0), (5, 175, 10), (-80, 80, 20), (30, -60, 90)):
        assert _apart(one, two) == _apart(two, one) == apart
    assert (_wanted("up"), _wanted("across"), _wanted(12)) == (0.0, 90.0, 12.0)
    with pytest.raises(InputError, match='^warp_direction: the warp runs "up", "across" or at an'):
        _wanted("down")


@pytest.mark.parametrize(
    ("value", "around", "size", "said"),
    [
        (20.04, (19.9, 20.3), 1.0, ("20.0", "0.3 (19.9 to 20.3")),
        (20.04, (19.75, 20.3), 1.0, ("20.0", "0.3 (19.8 to 20.3")),
        (20.0, (19.9051, 20.0), 1.0, ("20.00", "0.09 (19.91 to 20.00")),
        (20.0, (19.9049, 20.0), 1.0, ("20.0", "0.1 (19.9 to 20.0")),
        (20.0, (19.5, 20.25), 2.54, ("50.8", "1.3 (49.5 to 51.4")),
    ],
)
def test_a_count_is_stated_with_the_digits_it_has(value, around, size, said):
    count, within = said
    told = f"give or take {within} at least nine times in ten)"
    assert stated(value, around, size) == (count, told)


# --- the spectrum -----------------------------------------------------------------------------


def _power_of_wave(height: float, tile: int) -> float:
    """Of a wave of ``height`` in noise of 1, under Hann windows: the window's sum is half a tile
    each way, the sum of its squares three eighths (F. J. Harris, Proc. IEEE 66 (1978) 51)."""
    return (0.5 * height * (tile / 2) ** 2) ** 2 / (0.375 * tile) ** 2


@pytest.mark.parametrize("tile", [64, 96])
@pytest.mark.parametrize(("across", "down"), [(10, 0), (0, 12), (9, 7), (9, -7)])
def test_a_wave_stands_out_of_noise_by_what_its_power_is(tile, across, down):
    rng = np.random.default_rng(3)
    y, x = np.mgrid[0:480, 0:520]
    noise = rng.standard_normal((1, 480, 520))
    wave = 0.4 * np.cos(2 * np.pi * (across * x + down * y) / tile + 0.7)
    spec = spectrum((noise + wave).astype(np.float32), tile)
    assert spec.tile == tile and spec.ratio.shape == (tile, tile)
    assert spec.tiles == pytest.approx(480 * 520 / tile**2)
    at = np.array([across, down]) / tile
    wanted = _power_of_wave(0.4, tile)
    for vector in (at[None], -at[None]):
        assert spec.at(vector)[0] == pytest.approx(wanted, rel=0.25)
        assert spec.at(vector, 1)[0] >= spec.at(vector)[0]
    off = np.ones((tile, tile), bool)
    for sign in (1, -1):
        row, column = tile // 2 + sign * down, tile // 2 + sign * across
        off[row - 2 : row + 3, column - 2 : column + 3] = False
    assert np.median(spec.ratio[off]) == pytest.approx(1.0, abs=0.06)
    assert spec.ratio[off].max() < 2.5


def test_a_spectrum_is_the_same_to_either_side_and_at_any_brightness():
    rng = np.random.default_rng(5)
    picture = rng.standard_normal((2, 200, 260)).astype(np.float32)
    spec = spectrum(picture, 64)
    inner = spec.ratio[1:, 1:]
    assert inner == pytest.approx(inner[::-1, ::-1], rel=1e-5)
    assert spectrum(7.0 * picture + 3.0, 64).ratio == pytest.approx(spec.ratio, rel=1e-3)
    # exchanged or turned about, rows become columns
    turned = spectrum(np.ascontiguousarray(picture.transpose(0, 2, 1)), 64).ratio
    assert turned[1:, 1:] == pytest.approx(inner.T, rel=1e-4)
    back = spectrum(np.ascontiguousarray(picture[::-1]), 64).ratio
    assert back == pytest.approx(spec.ratio, rel=1e-4)
    # an even picture is nothing at all, and a picture of one tile is one
    assert spectrum(np.full((1, 64, 64), 0.5, np.float32), 64).ratio.max() == 0.0
    assert spectrum(picture[:, :64, :64], 64).tiles == 1.0


def test_a_ratio_is_told_between_places_and_as_the_greatest_about_one():
    ratio = np.zeros((64, 64))
    ratio[32 + 5, 32 + 9], ratio[32 + 5, 32 + 10] = 4.0, 8.0
    spec = Spectrum(ratio, ndimage.maximum_filter(ratio, 3), 64, 4.0)
    for share, wanted in ((0.0, 4.0), (0.25, 5.0), (1.0, 8.0)):
        assert spec.at(np.array([[9.0 + share, 5.0]]) / 64)[0] == pytest.approx(wanted)
    assert spec.at(np.array([[9.0, 5.5]]) / 64)[0] == pytest.approx(2.0)
    near = spec.at(np.array([[8.0, 5.0], [9.0, 6.0], [7.0, 5.0], [-9.0, -5.0]]) / 64, 1)
    assert near.tolist() == [4.0, 8.0, 0.0, 0.0]


def test_the_light_s_own_fall_does_not_raise_what_counts_as_nothing():
    """Power of 1 up to a sixth of the tile, a millionth beyond, and the four lowest rings a
    thousand times as strong, as where light falls off: a thousandth of the usual is the least."""
    ring = _rings(96)
    power = np.where(ring < 96 // 6, 1.0, 1e-6)
    plain = _ring_median(power, ring)
    fallen = _ring_median(np.where(ring < 4, 1e3, power), ring)
    assert plain[20:].tolist() == fallen[20:].tolist()
    assert plain[20:] == pytest.approx(1e-3)


@pytest.mark.parametrize(("lit", "streak"), [(0.35, True), (0.15, False)])
def test_all_but_two_places_about_each_order_counts_as_between(lit, streak):
    """Orders 30 places apart, a line that is bright within ``lit`` of a whole order. Two places are
    .07 of 30; of the .43 beyond them up to the middle .28 are bright, or .08."""
    tile, apart = 256, 30
    ratio = np.ones((tile, tile))
    order = (np.arange(tile) - tile // 2) / apart
    ratio[tile // 2 - 1 : tile // 2 + 2] = np.where(
        np.abs(order - np.round(order)) < lit, 100.0, 1.0
    )
    spec = Spectrum(ratio, ratio, tile, 9.0)
    told = _streak(spec, np.array([apart / tile, 0.0]))
    assert told == pytest.approx(np.log(100.0) if streak else 0.0, abs=1e-6)


@pytest.mark.parametrize("upright", [0.0, 30.0, -40.0])
@pytest.mark.parametrize(
    ("off", "found"), [(-13.6, False), (-12.4, True), (0.0, True), (12.4, True), (13.6, False)]
)
def test_little_power_is_enough_within_13_degrees_of_the_grain(upright, off, found):
    """Alike to either side of it, along it and square to it."""
    for square in (0.0, 90.0):
        at, way = np.radians(upright + off + square), np.radians(upright + off + square + 52.0)
        weak = 0.19 * np.array([np.cos(at), np.sin(at)])
        side = 0.12 * np.array([np.cos(way), np.sin(way)])
        seen = np.array([side, weak - side])  # what lies weakly is their sum
        ratio = made(256, seen).ratio + made(256, weak[None], 0.9, 0.0).ratio
        spec = Spectrum(ratio, ndimage.maximum_filter(ratio, 3), 256, 9.0)
        every = _candidates(seen, 0.03, 0.4, spec, upright)
        apart = np.minimum(np.hypot(*(every - weak).T), np.hypot(*(every + weak).T))
        assert bool(apart.min() < 1.3 / 256) is found


def test_a_lean_counts_by_its_square_up_to_three_times_five_degrees():
    told = []
    for lean in (0.0, 2.0, 4.0, -4.0, 8.0):
        a = np.radians(lean)
        turned = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        frame = find_frames(made(256, np.array([[0.16, 0.0], [0.0, 0.14]]) @ turned), 0.1, 0.2)[0]
        told.append(frame.evidence["turn2"])
    assert told == pytest.approx([0.0, 0.16, 0.64, 0.64, 2.56], rel=0.12, abs=0.01)
