"""The sheen of clear filaments, from one aperture into another, against exact tracing.

``data/apertures.json.gz`` tells in ``about`` what was traced: light and eye each fill 5 degrees to
each side, as in every answer, or the light 15, as a window does. The wide bins of
``filaments.json.gz`` do not see how narrow sheen is; these do. Filaments lie as in the traced
cloth, so light goes to the eye as it did there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import filaments
import numpy as np
from filaments import lightness
from numpy.typing import NDArray

from weavecolor.optics.cell.filaments import white_named
from weavecolor.optics.cell.nodes import Named, unit
from weavecolor.scene.scene import APERTURE_DEG

DATA = Path(__file__).parent / "data" / "apertures.json.gz"
LEAST_NOISE = 1.0  # L*; what was traced more coarsely does not count

Array = NDArray[np.float64]


def _vector(zenith: float, azimuth: float, side: float) -> tuple[float, float, float]:
    x, y, z = unit(np.radians(zenith), np.radians(azimuth))
    return float(x), float(y), side * float(z)


def told(
    row: dict[str, Any], eyes: Sequence[Sequence[float]], every: int = 1
) -> tuple[Array, Array]:
    """What the model says of a row, and what was traced, by dye and ``every`` so manieth eye (K, 2
    x eyes): in front, then behind; without what was traced too coarsely (nan)."""
    table = filaments.load(filaments.DATA)
    cloth = table["cloths"][row["cloth"]]
    cell = filaments.cell_of(cloth)
    light: Named = _vector(*row["light"], 1.0)
    wide = row.get("light_deg", APERTURE_DEG)
    named = [light if wide == APERTURE_DEG else (*light, wide)]
    named += [_vector(*eye, side) for side in (1.0, -1.0) for eye in eyes[::every]]
    # no eye is wide: light that is goes to it as it would come from it
    links = tuple((0, k) if wide == APERTURE_DEG else (k, 0) for k in range(1, len(named)))
    dyes = np.array(table["dyes"], float) / float(cloth["warp_diameter_mm"])
    mine = white_named(cell, tuple(named), links).dyed(dyes)[1][:, 0, 1:]
    sides = [np.array(row[k])[:, ::every] for k in ("up", "down", "up_error", "down_error")]
    traced, noise = np.hstack(sides[:2]), np.hstack(sides[2:])
    coarse = lightness(traced + noise) - lightness(traced) > LEAST_NOISE
    return mine, np.where(coarse, np.nan, traced)


def compared(
    cloths: Sequence[str] | None = None, half_deg: float = APERTURE_DEG, every: int = 1
) -> Iterator[tuple[str, Array, Array]]:
    """Cloth, what the model says and what was traced, of each row that counts, of lights that fill
    ``half_deg`` to each side, to ``every`` so manieth eye."""
    table = filaments.load(DATA)
    for row in table["rows"]:
        if row.get("light_deg", APERTURE_DEG) == half_deg and (
            cloths is None or row["cloth"] in cloths
        ):
            mine, traced = told(row, table["eyes"], every)
            good = np.isfinite(traced)
            yield row["cloth"], mine[good], traced[good]


def errors(cloths: Sequence[str] | None = None, half_deg: float = APERTURE_DEG) -> Array:
    """In L* of the radiance factor taken as Y."""
    found = compared(cloths, half_deg)
    return np.concatenate([lightness(a) - lightness(b) for _, a, b in found])


if __name__ == "__main__":
    for wide in (APERTURE_DEG, 15.0):
        for name, a, b in compared(half_deg=wide):
            off = lightness(a) - lightness(b)
            print(f"{name:16} {wide:2g} degrees {off.size:5} rms {np.sqrt(np.mean(off**2)):.2f} "
                  f"worst {np.abs(off).max():.2f} L*; sums {a.sum() / b.sum():.3f}")  # fmt: skip
