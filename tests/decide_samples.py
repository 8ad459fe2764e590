"""Cloths for the tests of deciding: invented, of one construction, so that it is traced once."""

from __future__ import annotations

import numpy as np

from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.fibres import fibre
from weavecolor.textile.weaves import weave


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
