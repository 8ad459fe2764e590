"""Cloth of clear filaments told from wound thread alone.

The hank's reflectance is all that is known of the dye; the traced cloth is the truth.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import filaments

from weavecolor.optics import dye

pytestmark = pytest.mark.usefixtures("all_rays")

TABLE = filaments.load(filaments.DATA)
LEVELS = (0.05, 0.5, 2.0)  # sigma times yarn diameter, of which the dyes of the table are pairs


def told_by_hank(name):
    """The table's dyes of one cloth, as its hank tells them."""
    for hank in TABLE["hanks"]:
        if hank["cloth"] == name and hank["sigma_times_yarn_diameter"] == list(LEVELS):
            many = hank["filaments"] > 1
            thin = (hank["packing"] / hank["filaments"]) ** 0.5 if many else 1.0
            seen = hank["reflectance"]
            found = dye.depth_of_wound(seen, hank["index"], hank["packing"]) / thin
            told = dict(zip(LEVELS, found.tolist(), strict=True))
            return [[told[float(a)], told[float(b)]] for a, b in TABLE["dyes"]]
    raise AssertionError(f"no hank of {name}")


def errors(name):
    """L* of all shares of one cloth, one and two layers, over black and over white."""
    table = {**TABLE, "dyes": told_by_hank(name)}
    found = filaments.answers(table, [name], bins=False)
    return np.concatenate([answer.errors() for answer in found])


@pytest.mark.slow
@pytest.mark.parametrize("name", ["gum_silk"])
def test_a_cloth_told_by_its_hank(name):
    off = errors(name)
    assert off.size == 12 * 3 * 6
    assert np.sqrt(np.mean(off**2)) < 1.2


@pytest.mark.slow
def test_every_cloth_told_by_its_hank():
    names = list(dict.fromkeys(hank["cloth"] for hank in TABLE["hanks"]))
    off = np.concatenate([errors(name) for name in names])
    assert np.sqrt(np.mean(off**2)) < 1.2


if __name__ == "__main__":
    for cloth in sys.argv[1:]:
        miss = errors(cloth)
        print(cloth, np.sqrt(np.mean(miss**2)).round(3), np.abs(miss).max().round(2), flush=True)
