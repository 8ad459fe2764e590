"""Cloths for the tests of deciding: invented, of one construction, so that it is traced once."""

from __future__ import annotations

import colour
import numpy as np

from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.fibres import fibre
from weavecolor.textile.weaves import weave


def settled_as(XYZ: np.ndarray, white: np.ndarray) -> np.ndarray:
    """Lab by daylight of what looks as ``XYZ`` does to an eye settled to ``white``, by
    colour-science."""
    day = colour.xy_to_XYZ(np.array([0.3127, 0.3290]))
    seen = colour.adaptation.chromatic_adaptation_VonKries(
        XYZ / 100.0, white / 100.0, day, transform="CAT16"
    )
    return colour.XYZ_to_Lab(seen, np.array([0.3127, 0.3290]))


def dye(low: float, high: float, edge_nm: float, width_nm: float = 25.0) -> np.ndarray:
    """A smooth step in reflectance, as of a red or yellow dye (falling where low is above high)."""
    return low + (high - low) / (1.0 + np.exp(-(WAVELENGTHS - edge_nm) / width_nm))


def sheer(name: str, warp: np.ndarray, weft: np.ndarray, sett: float = 40.0) -> Cloth:
    """A plain-woven silk sheer of 21 denier."""
    silk = fibre("silk")
    yarns = [Yarn(silk, 21.0 / 9.0, colour) for colour in (warp, weft)]
    return Cloth(name, *yarns, weave("plain"), sett, sett)


RED = sheer("red and black", dye(0.05, 0.75, 600.0), np.full(41, 0.04))
BLUE = sheer("blue and gold", dye(0.45, 0.04, 500.0), dye(0.06, 0.6, 540.0))
PALE = sheer("pale", np.full(41, 0.8), np.full(41, 0.75))


def catalogue(count: int, constructions: int = 1, seed: int = 1) -> list[Cloth]:
    """Invented cloths of random dyes, of so many constructions (1 to 4), the first plain."""
    draw = np.random.default_rng(seed)
    silk = fibre("silk")
    shapes = [("plain", 40.0, 21 / 9), ("twill 2/1", 45.0, 21 / 9), ("plain", 30.0, 40 / 9),
              ("satin 5/2", 60.0, 21 / 9)][:constructions]  # fmt: skip
    made = []
    for number in range(count):
        woven, sett, tex = shapes[number % constructions]
        yarns = [
            Yarn(silk, tex, dye(*draw.uniform(0.02, 0.8, 2), draw.uniform(420, 680),
                                draw.uniform(10, 60)))
            for _ in range(2)
        ]  # fmt: skip
        made.append(Cloth(f"cloth {number}", *yarns, weave(woven), sett, sett))
    return made
