"""The wavelength grid that everything shares, and how a spectrum gets onto it.

Knows wavelengths; knows nothing of cloth, light sources or colour.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.errors import InputError

Spectrum = NDArray[np.float64]

#: nm, shape (41,): 380 to 780 in steps of 10 (CIE 15 / ASTM E308 range).
WAVELENGTHS: Spectrum = np.arange(380.0, 781.0, 10.0)
WAVELENGTHS.setflags(write=False)
BANDS = WAVELENGTHS.size


def frozen(values: ArrayLike) -> Spectrum:
    """A read-only float64 copy, so that a spectrum inside a frozen dataclass stays as it was."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array
