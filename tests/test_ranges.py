"""What is stated holds cloths drawn from what is not known."""

from __future__ import annotations

import numpy as np
import ranges

from weavecolor.files.clothfile import load_swatch


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
