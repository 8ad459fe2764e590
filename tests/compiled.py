"""Compile what is compiled, once, before several processes need it at the same time.

    python -m tests.compiled

Compiling takes about a minute and is kept beside the package (or in NUMBA_CACHE_DIR). Side by side
each process would do it for itself, and two that keep different types of one function at the same
moment can take one another's place.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
#: One function that is compiled late, for each module of them.
LAST = {
    "optics/cell/paths": "push_apart", "optics/cell/rays": "_shut",
    "decide/lastlayer": "_inverted", "cutting/nesting": "_lowest_free",
    "picture/raster": "cloths", "picture/sweep": "densities", "picture/tables": "_lit",
    "picture/lookup": "sight_at", "optics/cell/flood": "_strewn",
}  # fmt: skip


def missing() -> list[str]:
    """The modules for which nothing is kept since they were last changed."""
    lacking = []
    for module, function in LAST.items():
        source = ROOT / "weavecolor" / f"{module}.py"
        places = [source.parent / "__pycache__"]
        if "NUMBA_CACHE_DIR" in os.environ:
            places = list(Path(os.environ["NUMBA_CACHE_DIR"]).glob(f"{source.parent.name}_*"))
        name = f"{source.stem}.{function}-*.py{sys.version_info[0]}{sys.version_info[1]}.nbi"
        kept = [found.stat().st_mtime for place in places for found in place.glob(name)]
        if not kept or max(kept) < source.stat().st_mtime:
            lacking.append(module)
    return lacking


def compile_all() -> None:
    """Ask for a little of everything."""
    from weavecolor.cutting.lay import lay
    from weavecolor.cutting.pieces import Piece
    from weavecolor.cutting.remnant import ClothInHand
    from weavecolor.decide.candidates import Material, candidates
    from weavecolor.decide.search import search
    from weavecolor.decide.wishes import Limits, Wish
    from weavecolor.files.clothfile import load_swatch
    from weavecolor.optics.cell import filaments
    from weavecolor.optics.stack import Layer, Stack
    from weavecolor.picture.closeup import draw_closeup
    from weavecolor.picture.hung import draw_hung
    from weavecolor.scene.backings import backing
    from weavecolor.scene.places import scene

    filaments.EFFORT = 0.02
    window, white = scene("window at the side"), backing("white")
    organza = load_swatch("shot-organza-red-black")
    single = Stack((Layer(organza),), white)
    allowed = candidates([Material(organza)], [white], Limits(layers=(1, 2), grains=(0.0,)))
    search(allowed, [Wish("deepest")], [window], options=1)
    filaments.arrangement(7, 0.6, 1.0)
    draw_closeup(single, window, 32, 24)
    draw_hung(single, window, "gathered-3-organza", 40, 50, coarse=True)
    corner = ((0.0, 0.0), (40.0, 0.0), (40.0, 20.0), (20.0, 20.0), (20.0, 60.0), (0.0, 60.0))
    lay([Piece("corner", corner, quantity=3)], ClothInHand(110.0, 100.0), tries=2)


if __name__ == "__main__":
    if missing():
        compile_all()
    if missing():
        sys.exit("not kept: " + ", ".join(missing()))
    print("all kept")
