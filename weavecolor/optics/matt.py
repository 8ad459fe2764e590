"""A yarn as a matt film, until the close-up and the fit follow the cell of clear filaments."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.kubelka import film
from weavecolor.textile.cloth import Yarn

Array = NDArray[np.float64]


def yarn_film(yarn: Yarn) -> tuple[Array, Array]:
    """Reflectance and transmittance (41,) of one yarn of a system, light taken as diffuse.

    Kubelka-Munk film whose scattering power is the yarn's areal mass (linear density over width)
    times its scattering coefficient; ``inf`` gives an opaque yarn of the hank's colour.
    """
    areal_mass = yarn.tex / yarn.width_mm  # tex / mm is g / m2
    return film(yarn.colour, yarn.scattering_m2_g * areal_mass)
