"""What one clear rod of oval section throws round it, against textbooks of optics."""

import numpy as np
import pytest

from weavecolor.optics.ovalrod import index_of_slant, thrown, ways


def test_water_throws_its_rainbows_where_descartes_saw_them():
    # Descartes, Les Meteores (1637): 42 and 51 degrees about the point against the sun, of light
    # turned back once and twice in water (index 4/3); in a round rod as in a drop
    turn, share, _ = ways([1.0], 4.0 / 3.0, 0.0)
    assert np.degrees(np.abs(turn[0, :, 2])).max() == pytest.approx(42.03, abs=0.05)
    assert np.degrees(np.abs(turn[0, :, 3])).min() == pytest.approx(50.98, abs=0.05)
    at = np.radians(np.arange(30.0, 50.0, 0.5))
    sent = [thrown([1.0], 4.0 / 3.0, 0.0, one, 0.02, np.zeros(1))[0, 0] for one in at]
    assert np.degrees(at[np.argmax(sent)]) == pytest.approx(41.0, abs=1.0)
    assert 0.0 < share.min() + 1e-12


@pytest.mark.parametrize("ratio", [1.0, 1.2, 1.6, 2.5])
@pytest.mark.parametrize("slant", [0.0, 0.4])
def test_no_light_is_lost_in_a_clear_rod_but_in_a_dyed_one(ratio, slant):
    _, share, length = ways([ratio], 1.55, slant)
    assert np.all(share >= 0.0)
    assert 0.97 < share.sum(axis=2).mean() <= 1.0 + 1e-12
    at = np.radians(np.arange(0.5, 180.0))
    clear, dyed = np.array([
        thrown([ratio], 1.55, slant, one, 0.1, np.array([0.0, 2.0]))[0] for one in at
    ]).T  # fmt: skip
    assert 2.0 * clear.mean() * np.pi == pytest.approx(share.sum(axis=2).mean(), rel=0.02)
    assert dyed.sum() < 0.7 * clear.sum()
    # straight through the middle: the height of the rod, the longer the more slanted
    inside = np.arcsin(np.sin(slant) / 1.55)
    assert length[0, 0, 1] == pytest.approx(ratio**-0.5 / np.cos(inside), rel=1e-3)


def test_what_meets_the_middle_is_mirrored_by_fresnel():
    # ((n - 1) / (n + 1))^2, any textbook of optics
    _, share, _ = ways([1.0, 1.7], 1.6, 0.0)
    assert share[:, 0, 0] == pytest.approx([(0.6 / 2.6) ** 2] * 2, rel=1e-3)


def test_slanted_light_bends_in_the_section_by_an_index_of_its_own():
    # Snell in space, seen along the rod
    index, slant, across = 1.55, 0.5, 0.6
    way = np.array([np.cos(slant) * np.sin(across), -np.cos(slant) * np.cos(across),
                    np.sin(slant)])  # fmt: skip
    sine = np.sqrt(1.0 - way[1] ** 2)
    bent = way * [1.0, 0.0, 1.0] / index
    bent[1] = -np.sqrt(1.0 - (sine / index) ** 2)
    seen = np.sin(np.arctan2(bent[0], -bent[1]))
    assert np.sin(across) / seen == pytest.approx(index_of_slant(index, slant))


def test_an_oval_rod_throws_what_it_turns_back_further_aside():
    # turned back once: traced whole, a rod 1.35 as wide as high sends most at 55 degrees
    at = np.radians(np.arange(2.0, 90.0, 1.0))
    peaks = [
        at[np.argmax([thrown([r], 1.56, 0.0, one, 0.06, np.zeros(1))[0, 0] for one in at])]
        for r in (1.0, 1.15, 1.35, 1.7)
    ]
    assert np.all(np.diff(peaks) > np.radians(8.0))
    assert np.degrees(peaks[2]) == pytest.approx(52.0, abs=5.0)
