"""Single garments as they hang, where the tool tells the mean of many: parts of the shapes that are
shipped, as one who stands on one side of them sees them."""

from __future__ import annotations

import importlib.util
from functools import lru_cache
from pathlib import Path

import numpy as np

from weavecolor.picture.shapes import shape_names
from weavecolor.scene.folds import PARTS, Parts

HERE = Path(__file__).resolve().parents[1] / "swatches" / "shapes" / "parts.py"


@lru_cache(maxsize=1)
def _made():
    spec = importlib.util.spec_from_file_location("shape_parts", HERE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def upright() -> list[str]:
    """Shapes whose warp hangs down all round."""
    return [n for n in shape_names() if n.startswith(("gathered", "pleated", "panel"))]


@lru_cache(maxsize=16)
def garments(name: str) -> tuple[Parts, ...]:
    """A shape from each side: what is seen of it is cut into parts as large, by how far they are
    turned; of each a place is drawn, which tells how it faces, and its shade is the mean."""
    rng, out = np.random.default_rng([0, *name.encode()]), []
    for weight, turn, tilt, own, seen in _made().looked_at(name):
        order = np.argsort(turn)
        share = np.cumsum(weight[order]) / weight.sum()
        rows = []
        for k in range(PARTS):
            those = order[(share > k / PARTS) & (share <= (k + 1) / PARTS)]
            w = weight[those] / weight[those].sum()
            one = rng.choice(those, p=w)
            rows.append((turn[one], tilt[one], w @ own[those], seen[:, :, those] @ w))
        turns, tilts, met, free = map(np.array, zip(*rows, strict=True))
        met, free = np.minimum(met, 1.0), np.minimum(free, 1.0)
        out.append(Parts(np.stack([turns, tilts], axis=1), met, free))
    return tuple(out)
