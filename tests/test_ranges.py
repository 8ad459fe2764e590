"""What is stated holds cloths drawn from what is not known."""

from __future__ import annotations

import numpy as np
import pytest
import ranges

from weavecolor.textile.construction import check_weavable, geometry_of

KINDS = ("colour", "grain", "layers", "backing")


@pytest.fixture
def few(monkeypatch):
    """One layer and two, straight and cross, over three grounds."""
    laid = [one for one in ranges.LAID if one[:1] < (3,) and one[1] != 45.0]
    monkeypatch.setattr(ranges, "LAID", [one for one in laid if one[2:] == ("face", "loose")])
    monkeypatch.setattr(ranges, "GROUNDS", ranges.GROUNDS[:3])


def held(found, kind):
    own = [r["miss"] <= r["stated"] for r in found if r["kind"] == kind]
    assert len(own) >= 24
    return np.mean(own)


@pytest.mark.usefixtures("few")
def test_stated_ranges_hold_cloths_drawn_from_what_is_not_known():
    """A small part of ``python -m tests.ranges``: in 90 of 100 and more what is stated holds."""
    found = []
    for number, name in enumerate(("shot-organza-red-black", "cotton-voile-white")):
        (cloth,), rng = ranges.cases()[name], np.random.default_rng([7, number])
        looks = [ranges.true_looks([ranges.truth(cloth, rng)], ranges.ALWAYS) for _ in range(3)]
        found += ranges.rows([cloth], looks)
    assert all(held(found, kind) >= 0.8 for kind in KINDS)
    assert np.mean([r["miss"] <= r["stated"] for r in found]) >= 0.9
    assert max(r["miss"] for r in found) > 1.0  # the change was felt at all


@pytest.mark.usefixtures("few")
def test_ranges_hold_pale_rods_by_a_window_which_throw_their_light_where_they_lie(monkeypatch):
    """Blush and gold organza from its label, one layer by the window alone: three in four draws and
    more hold (of many 89 in 100 colours, 84 grains). With sheen that errs by a share of itself, 31
    in 100 grains did: rods supposed alike and untwisted send that window least."""
    monkeypatch.setattr(ranges, "LAID", ranges.LAID[:2])
    (cloth,), rng = ranges.cases()["blush-silk-organza"], np.random.default_rng(33)
    looks = [ranges.true_looks([ranges.truth(cloth, rng)], ranges.ALWAYS[:1]) for _ in range(8)]
    found = ranges.rows([cloth], looks)
    assert all(held(found, kind) >= 0.75 for kind in ("colour", "grain", "backing"))
    assert max(r["miss"] for r in found if r["kind"] == "grain") > 3.0


def test_what_is_drawn_lies_in_the_ranges_that_the_file_tells_and_weighs_what_was_told():
    """Nine in ten numbers lie within their range, what was stated stays but for its count, and of a
    weight that was told alone yarns share as much."""
    (cloth,), known = ranges.cases()["copper-blue-taffeta"], {}
    rng, flat, weights = np.random.default_rng(5), [], []
    for _ in range(60):
        made = ranges.truth(cloth, rng)
        check_weavable(made)
        flat.append(made.warp.flattening)
        weights.append(made.ends_per_cm * made.warp.tex + made.picks_per_cm * made.weft.tex)
    known = dict(cloth.known)["warp.flattening"]
    assert 0.8 <= np.mean([known.low <= one <= known.high for one in flat]) <= 1.0
    assert np.ptp(flat) > 0.5 * (known.high - known.low)
    assert np.std(np.log(weights)) == pytest.approx(np.log(1.12) / 1.645, rel=0.35)
    (stated,) = ranges.cases()["polyester-organza-blue"]
    made = ranges.truth(stated, rng)
    assert (made.warp.packing, made.warp.filaments) == (1.0, 1)
    assert made.warp.tex == pytest.approx(stated.warp.tex, rel=0.15) and made.warp != stated.warp
    assert geometry_of(made).warp_share != geometry_of(stated).warp_share
