"""Colour, function by function: what the screen can show, and which spectra are taken."""

from __future__ import annotations

import numpy as np
import pytest

from weavecolor.colour.screen import CLIP_UNSEEN, _lower_chroma, _oklab, fit_to_gamut
from weavecolor.colour.spectra import resample
from weavecolor.errors import InputError


def _oklab_of(linear):
    to_lms, _, lms_lab, _ = _oklab("sRGB")
    return np.cbrt(np.asarray(linear) @ to_lms.T) @ lms_lab.T


def test_as_much_chroma_is_kept_as_the_screen_can_show():
    """What fits already is kept whole, and of what does not a thousandth more would be seen to
    move (CSS Color 4: until clipping moves it by less than 0.02 in Oklab)."""
    rng = np.random.default_rng(2)
    linear = rng.uniform(-0.3, 1.4, (400, 3))
    lab = _oklab_of(linear)
    linear = linear[(lab[:, 0] > 0.1) & (lab[:, 0] < 0.95)]
    made = _lower_chroma(linear, "sRGB")
    _, to_linear, _, lab_lms = _oklab("sRGB")
    lab = _oklab_of(linear)

    def moved(share):
        tried = lab * np.stack([np.ones_like(share), share, share], -1)
        wanted = (tried @ lab_lms.T) ** 3 @ to_linear.T
        clipped = np.clip(wanted, 0.0, 1.0)
        return clipped, np.linalg.norm(_oklab_of(clipped) - tried, axis=1)

    whole, off = moved(np.ones(len(lab)))
    fits = off < CLIP_UNSEEN * 0.99
    assert fits.sum() > 20 and (~fits).sum() > 50
    assert made[fits] == pytest.approx(whole[fits], abs=1e-4)
    # where it lies on the way to grey, by bisection with the plain formula
    low, high = np.zeros(len(lab)), np.ones(len(lab))
    for _ in range(20):
        middle = 0.5 * (low + high)
        inside = moved(middle)[1] < CLIP_UNSEEN
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    assert made[~fits] == pytest.approx(moved(low)[0][~fits], abs=3e-3)


def test_white_and_black_are_the_ends_of_the_screen():
    grey = np.linspace(0.5, 2.0, 1501)[:, None] * np.ones(3)
    made = _lower_chroma(grey, "sRGB")
    light = np.clip(grey, 0.0, 1.0)
    assert made == pytest.approx(light, abs=2e-3)
    assert fit_to_gamut([[1.0, 1.0, 1.0], [1.5, 1.5, 1.5], [-0.1, -0.1, -0.1]]).tolist() == [
        [1.0] * 3, [1.0] * 3, [0.0] * 3,
    ]  # fmt: skip


def test_two_readings_are_a_spectrum_with_a_gap_and_one_is_none():
    with pytest.raises(InputError, match="there is a gap from 380 to 780 nm"):
        resample([380.0, 780.0], [0.2, 0.4])
    with pytest.raises(InputError, match="a spectrum has readings from 400 to 700 nm at least"):
        resample([550.0], [0.2])
