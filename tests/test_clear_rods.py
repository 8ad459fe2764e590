"""The tracing of clear filaments, held against a general renderer: a check of the reference itself.

``clear_rods.json`` has both answers for one cloth of rods in gum; the renderer's were made by
``tests/reference/clear_rods.py``, which meshes the rods and shares nothing with the first tracer.
"""

import json
import sys
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.usefixtures("all_rays")

HERE = Path(__file__).parent
TABLE = json.loads((HERE / "data" / "clear_rods.json").read_text("utf-8"))
SHARES = ("reflected", "transmitted", "reflected_over_white")


def apart(told, traced, paths, traced_paths):
    """Differences in standard errors of both numbers of paths; dyes share their paths."""
    told, traced = np.array(told), np.array(traced)
    error = np.sqrt(told * (1.0 - told) * (1.0 / paths + 1.0 / traced_paths))
    return (traced - told) / error


@pytest.mark.parametrize("row", TABLE["rows"], ids=lambda row: str(row["light"]))
def test_both_tracers_agree_within_their_noise(row):
    told, traced = row["told"], row["traced"]
    assert traced["lost"] < 5e-4
    for key in (*SHARES, "beam"):
        off = apart(told[key], traced[key], told["paths"], traced["paths"])
        assert np.abs(off).max() < 3.0, key


def test_nothing_is_off_one_way():
    off = np.concatenate(
        [apart(row["told"][key], row["traced"][key], row["told"]["paths"], row["traced"]["paths"])
         for row in TABLE["rows"] for key in SHARES]
    )  # fmt: skip
    assert np.sqrt(np.mean(off**2)) < 1.3
    assert abs(off.mean()) < 1.0


@pytest.mark.slow
def test_the_renderer_again():
    """One row anew: needs the extra `trace` and a recent LLVM; takes about a minute."""
    pytest.importorskip("mitsuba")
    sys.path.insert(0, str(HERE / "reference"))
    try:
        import clear_rods
    finally:
        sys.path.pop(0)
    row, paths = TABLE["rows"][0], 20_000
    rods = clear_rods.mesh(TABLE["cloth"])
    dyes = [tuple(pair) for pair in TABLE["sigma"]]
    got = clear_rods.shares(rods, TABLE["cloth"]["index"], dyes, row["light"], paths, 99)
    for key in SHARES:
        off = apart(row["told"][key], got[key], row["told"]["paths"], paths)
        assert np.abs(off).max() < 4.0, key
