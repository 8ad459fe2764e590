"""The same input gives the same output: in other processes, threads and precisions.

Tolerances. Same processor, same libraries: the same bytes. Threads of the linear algebra library
may add up in another order: 1e-12 of the largest value (double precision has 2e-16; a stack adds
some thousand products a dozen times over). Pictures are made in single precision: one step of 255.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from weavecolor.colour.colorimetry import encode, linear_from_xyz, srgb_from_xyz
from weavecolor.colour.screen import decoded, encoded
from weavecolor.files.clothfile import load_swatch
from weavecolor.measure.photograph import read_photograph

HERE = Path(__file__).resolve().parent
SUMS = 1e-12


@lru_cache(maxsize=16)
def worked(what: str, threads: str = "1", seed: str = "0") -> str:
    """What ``worked_numbers`` prints in a process of its own."""
    named = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
    done = subprocess.run(
        [sys.executable, str(HERE / "worked_numbers.py"), what],
        env={**os.environ, **dict.fromkeys(named, threads), "PYTHONHASHSEED": seed,
             "PYTHONPATH": str(HERE.parent)},
        capture_output=True, text=True, timeout=400,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def alone() -> list:
    """What one thread makes of all that the tests below ask of several."""
    return json.loads(worked("alone"))


def test_one_or_many_threads_of_linear_algebra():
    one, many = (np.array(x) for x in (alone()[0], json.loads(worked("brf", threads="4"))))
    assert one.shape == (2, 3, 3, 41) and one.max() > 0.01
    assert np.abs(one - many).max() <= SUMS * one.max()


def test_the_same_input_gives_the_same_bytes_of_json_toml_and_lay():
    first, other = worked("text", seed="1"), worked("text", seed="4242")
    assert first == other
    assert '"cloths"' in first and "[warp]" in first and "front" in first


def test_eight_threads_at_once_find_what_one_finds():
    serial, together = (np.array(x) for x in (alone()[1], json.loads(worked("8"))))
    assert serial.shape == (4, 41) and serial.min() >= 0.0 and serial.max() > 0.01
    assert np.array_equal(serial, together)


def test_threads_share_a_reader_and_its_caches():
    from weavecolor.colour.recovery import spectrum_from_srgb
    from weavecolor.scene.backings import backing

    colours = [(r / 7.0, g / 7.0, 0.3) for r in range(8) for g in range(0, 8, 2)]

    def all_of(turn: int) -> list[bytes]:
        turned = colours[turn:] + colours[:turn]
        found = {c: spectrum_from_srgb(c).tobytes() for c in turned}
        backing("#304050"), load_swatch("slip-white")
        return [found[c] for c in colours]

    with ThreadPoolExecutor(8) as pool:
        together = list(pool.map(all_of, range(8)))
    spectrum_from_srgb.cache_clear() if hasattr(spectrum_from_srgb, "cache_clear") else None
    assert all(found == all_of(0) for found in together)


@pytest.mark.parametrize("space", ["sRGB", "Display P3"])
def test_single_and_double_precision_give_the_same_screen_colour(space):
    """Pictures are encoded in single precision by table, one reading in double by formula."""
    rng = np.random.default_rng(5)
    XYZ = rng.uniform(0.0, 60.0, (3000, 3)) * [0.95, 1.0, 1.05]
    linear = linear_from_xyz(XYZ, space)
    fits = ((linear >= 0.0) & (linear <= 1.0)).all(axis=1)
    assert fits.sum() > 300
    single, _ = encode(linear[fits].astype(np.float32), space)
    double, _ = srgb_from_xyz(XYZ[fits], space)
    steps = np.abs(single.astype(int) - np.rint(255.0 * np.asarray(double)).astype(int))
    assert steps.max() <= 1
    assert (steps == 0).mean() > 0.98


def test_screen_curve_there_and_back_in_both_precisions():
    values = np.linspace(0.0, 1.0, 1001)
    assert np.abs(encoded(decoded(values)) - values).max() < 2e-7
    single = encoded(decoded(values).astype(np.float32).astype(np.float64))
    assert np.abs(single - values).max() < 1e-6


def test_a_photograph_in_single_precision_is_the_double_to_its_last_places():
    import io

    from PIL import Image

    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 80, 0).repeat(3, 2)
    ramp = np.minimum(ramp, 250)
    out = io.BytesIO()
    Image.fromarray(ramp).save(out, "PNG")
    seen = read_photograph(out.getvalue()).linear
    assert seen.dtype == np.float32
    assert np.abs(seen - decoded(ramp / 255.0)).max() < 1e-7
