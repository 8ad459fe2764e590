"""A ruler found by itself: its scale is true within what it says of itself, and cloth, an inch rule
or a plain strip is none. Pictures come from a drawer kept apart (``rulers``)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from closeups import Closeup, any_closeup, photograph
from rulers import Ruler, any_ruler, photographed

from weavecolor.cli import run
from weavecolor.errors import InputError
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.ruler import find_ruler

SIZE = (420, 640)


def aslant(number: int) -> tuple[Closeup, Ruler]:
    """A close-up of some cloth with some ruler, held as flat as a hand can."""
    rng = np.random.default_rng([11, number])
    c = any_closeup(rng)
    # at least 22 mm of ruler in view
    finer = min(c.pixels_per_mm, 20.0)
    c = replace(c, pixels_per_mm=finer, size=SIZE, seed=number,
                perspective=tuple(float(v) for v in rng.normal(0.0, 0.01, 2)))  # fmt: skip
    return c, any_ruler(rng)


def true_scale(c: Closeup, box: tuple[int, int, int, int]) -> float:
    """Pixels per mm at the middle of a box: what is seen aslant changes twice as fast along the
    slant as across it, so half-way between."""
    x = 0.5 * (box[0] + box[2]) - 0.5 * c.size[1]
    y = 0.5 * c.size[0] - 0.5 * (box[1] + box[3])
    reach = max(c.size) / 2
    return c.pixels_per_mm * (1 + 1.5 * (c.perspective[0] * x + c.perspective[1] * y) / reach)


def test_rulers_are_found_and_their_scale_holds():
    off = []
    for number in (4, 6, 10, 14):
        c, r = aslant(number)
        found = find_ruler(read_photograph(photographed(c, r)[0]).linear)
        true = true_scale(c, found.before)
        off.append((found.scale.pixels_per_mm / true - 1.0) / found.scale.relative_uncertainty)
    assert len(off) == 4
    assert np.sum(np.abs(off) < 2.0) >= len(off) - 1 and np.abs(off).max() < 4.0, off


def test_nothing_else_is_a_ruler():
    five = Closeup(family="satin", weave="5", ends_per_cm=24.0, picks_per_cm=20.0, size=SIZE)
    with pytest.raises(InputError, match="no ruler is found"):
        find_ruler(read_photograph(photograph(five)[0]).linear)
    inch = Ruler(inch=True)
    with pytest.raises(InputError, match="no ruler is found"):
        find_ruler(read_photograph(photographed(replace(five, pixels_per_mm=14.0), inch)[0]).linear)


def test_half_millimetres_are_told_from_millimetres():
    c = Closeup(ends_per_cm=22.0, picks_per_cm=19.0, pixels_per_mm=30.0, size=(420, 800))
    data, _ = photographed(c, Ruler(every=0.5, width=0.12))
    found = find_ruler(read_photograph(data).linear)
    assert found.scale.pixels_per_mm == pytest.approx(30.0, rel=0.01)


def test_threads_are_counted_by_the_ruler_in_the_picture(tmp_path, capsys):
    c = Closeup(ends_per_cm=22.0, picks_per_cm=19.0, pixels_per_mm=20.0, size=SIZE, tilt=1.0)
    data, truth = photographed(c, Ruler(angle=8.0))
    (tmp_path / "near.png").write_bytes(data)
    assert run(["measure", "threads", str(tmp_path / "near.png")]) == 0
    ends, picks = (line.split() for line in capsys.readouterr().out.splitlines()[:2])
    assert float(ends[1]) == pytest.approx(truth.ends_per_cm, rel=0.02)
    assert float(picks[1]) == pytest.approx(truth.picks_per_cm, rel=0.02)
    assert run(["measure", "threads", str(tmp_path / "near.png"), "--scale", "20", "--ruler",
                "0,0,640,200"]) == 2  # fmt: skip
    assert "--scale or --ruler" in capsys.readouterr().err
