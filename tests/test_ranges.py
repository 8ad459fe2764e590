"""What is stated holds cloths drawn from what is not known."""

from __future__ import annotations

import numpy as np
import ranges

from weavecolor.files.clothfile import cloth_from_dict, load_swatch


def test_stated_ranges_hold_cloths_drawn_from_what_is_not_known():
    """A small part of ``python -m tests.ranges``: in 90 of 100 and more what is stated holds."""
    found = []
    for number, name in enumerate(("shot-organza-red-black", "cotton-voile-white")):
        cloth = load_swatch(name)
        rng = np.random.default_rng([7, number])
        found += ranges.rows(cloth, [ranges.truth(cloth, rng) for _ in range(3)])
    for kind in ("colour", "grain", "layers", "backing"):
        own = [r for r in found if r["kind"] == kind]
        assert len(own) >= 48
        assert np.mean([r["miss"] <= r["stated"] for r in own]) >= 0.8, kind
    assert np.mean([r["miss"] <= r["stated"] for r in found]) >= 0.9
    assert max(r["miss"] for r in found) > 1.0  # the change was felt at all


def test_ranges_hold_pale_rods_by_a_window_which_throw_their_light_where_they_lie(monkeypatch):
    """Blush and gold organza from its label, by the window alone: of what is stated of grains 80 in
    100 and more hold (90 of many draws). With sheen that errs by a share of itself, 31 did: rods
    supposed alike and untwisted send that window least."""
    monkeypatch.setattr(ranges, "PLACES", ("window at the side",))
    warp, weft = (
        {"like": "silk organza", "count": "20/22 denier", "colour": colour}
        for colour in ("#f0c8c8", "#d8b060")
    )
    cloth = cloth_from_dict({"name": "Blush", "weave": "plain", "ends": "44 /cm", "picks": "40 /cm",
                             "warp": warp, "weft": weft})  # fmt: skip
    rng = np.random.default_rng(33)
    found = ranges.rows(cloth, [ranges.truth(cloth, rng) for _ in range(4)])
    for kind in ("colour", "grain", "backing"):
        own = [r for r in found if r["kind"] == kind]
        assert len(own) >= 24
        assert np.mean([r["miss"] <= r["stated"] for r in own]) >= 0.8, kind
    assert max(r["miss"] for r in found if r["kind"] == "grain") > 5.0
