"""The 24-patch chart: found in any turn, fitted, and never guessed."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.data
from scipy.ndimage import gaussian_filter
from skimage.transform import ProjectiveTransform, warp

from weavecolor.errors import InputError
from weavecolor.measure.chart import find_chart, fit_correction, published

CELL = 60


def _drawn(angle: float, lean: float = 0.0, cast=(1.0, 0.8, 0.55), shuffle: bool = False):  # type: ignore[no-untyped-def]
    linear = np.clip(published()[0], 0.001, None)
    if shuffle:
        linear = linear[np.random.default_rng(1).permutation(24)]
    width, height = 6 * CELL + 20, 4 * CELL + 20
    flat = np.full((height, width, 3), 0.035)
    for k in range(24):
        row, column = divmod(k, 6)
        y, x = 10 + row * CELL, 10 + column * CELL
        flat[y + 5 : y + CELL - 5, x + 5 : x + CELL - 5] = linear[k]
    a = np.radians(angle)
    matrix = np.array(
        [[np.cos(a), -np.sin(a), 400], [np.sin(a), np.cos(a), 300], [lean / 1000, lean / 2000, 1]]
    ) @ np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    back = ProjectiveTransform(np.linalg.inv(matrix))
    picture = warp(flat, back, output_shape=(600, 800), cval=np.nan, order=1)
    picture = np.where(np.isfinite(picture), picture, 0.3) * np.array(cast) * 0.85
    picture = gaussian_filter(picture, (0.8, 0.8, 0))
    rng = np.random.default_rng(0)
    picture = picture + 0.004 * rng.standard_normal(picture.shape) * np.sqrt(picture + 0.02)
    return np.clip(picture, 0, 1), matrix


def test_published_colours_against_the_makers_lab() -> None:
    # White patch L* 95.19, a* -1.03, b* 2.93 and black 20.64, 0.07, -0.46 under D50 (maker's
    # table of November 2014, from memory); the change to D65 moves near-neutrals by little
    Lab = published()[1]
    np.testing.assert_allclose(Lab[18], [95.2, -1.0, 2.9], atol=0.5)
    np.testing.assert_allclose(Lab[23], [20.6, 0.1, -0.5], atol=0.5)


@pytest.mark.parametrize("angle", [0, 10, 90, 180, 265, -37])
@pytest.mark.parametrize("lean", [0.0, 0.3])
def test_found_in_any_turn_and_the_cast_taken_out(angle: float, lean: float) -> None:
    picture, matrix = _drawn(angle, lean)
    chart = find_chart(picture)
    first = matrix @ [10 + CELL / 2, 10 + CELL / 2, 1]
    np.testing.assert_allclose(chart.centres[0], first[:2] / first[2], atol=3)
    correction = fit_correction(chart.seen)
    # one patch lies outside sRGB and was drawn clipped, which leaves it about 3.4
    assert correction.mean < 0.6 and np.sort(correction.residual)[-2] < 1.5
    corrected = correction(chart.seen)
    np.testing.assert_allclose(corrected[18:24], published()[0][18:24], atol=0.02)
    assert correction.left_out >= correction.mean


def test_root_polynomial_keeps_exposure() -> None:
    picture, _ = _drawn(0)
    seen = find_chart(picture).seen
    correction = fit_correction(seen, degree=2)
    np.testing.assert_allclose(correction(0.5 * seen), 0.5 * correction(seen), rtol=1e-5)
    assert correction.mean < 0.6


def test_a_grid_with_other_colours_is_no_chart() -> None:
    picture, _ = _drawn(5, shuffle=True)
    with pytest.raises(InputError, match="does not have the chart's colours"):
        find_chart(picture)


def test_a_mirrored_chart_is_refused() -> None:
    picture, _ = _drawn(0)
    with pytest.raises(InputError):
        find_chart(picture[:, ::-1])


@pytest.mark.parametrize("name", ["coffee", "astronaut", "chelsea", "brick", "coins"])
def test_pictures_without_a_chart_are_refused(name: str) -> None:
    picture = (getattr(skimage.data, name)().astype(float) / 255) ** 2.2
    if picture.ndim == 2:
        picture = np.repeat(picture[..., None], 3, axis=2)
    with pytest.raises(InputError, match="no 24-patch chart|does not have"):
        find_chart(picture)


def test_burnt_out_and_wrong_patches_are_refused() -> None:
    good = np.clip(published()[0], 0.001, 0.98)
    with pytest.raises(InputError, match="burnt out"):
        fit_correction(np.where(good > 0.8, 1.0, good))
    with pytest.raises(InputError, match="do not have the chart's colours"):
        fit_correction(np.random.default_rng(3).random((24, 3)) * 0.9)
    with pytest.raises(InputError, match="24 patches"):
        fit_correction(good[:20])
