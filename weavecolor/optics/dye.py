"""The dye of a yarn: absorption inside its fibre, from what is known, and back.

Knows closely wound thread, and the fibre under it; knows nothing of weave or of places. Absorption
sigma is per wavelength, 1/mm, of natural logarithms: light that goes L mm inside the fibre keeps
exp(-sigma L).

Wound thread is a deep bed of clear rods in even light. Its surfaces send back R_s before anything
is dyed, the rest r = (R - R_s)/(1 - R_s) went through fibre, and y = -ln r grows with the product
of sigma and the rods' diameter. The formula was fitted to beds traced ray by ray.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.spectra import Spectrum, frozen
from weavecolor.textile.yarn import Yarn

Array = NDArray[np.float64]

#: Share of a bed of closely wound single rods that is fibre: between a square heap and the densest.
ROD_BED = 0.85
#: Below this r (beyond the surface's share) wound thread no longer tells how dark the dye is.
DARKEST_TOLD = 0.015
#: What is taken as r where the thread is darker than that; anything darker looks alike.
DARKEST = 0.004


def surface_share(index: float, packing: float) -> float:
    """Reflectance R_s of wound thread dyed black through and through.

    Examples
    --------
    >>> round(surface_share(1.55, 0.85), 3)
    0.057
    """
    return (index - 1.0) * (0.0597 + 0.0518 * packing)


def _gain(index: float, packing: float) -> float:
    return 20.66 * (1.0 - 1.263 * (index - 1.55) + 0.635 * (packing - 0.65))


def optical_depth(y: ArrayLike, index: float, packing: float) -> Array:
    """sigma times rod diameter at which wound thread has -ln r = ``y`` >= 0.

    Examples
    --------
    >>> optical_depth([0.0, 1.0], 1.55, 0.65).round(3).tolist()
    [0.0, 0.054]
    """
    v = np.asarray(y, dtype=np.float64)
    square = v * v
    return square * (1.0 + 0.079 * v + 0.170 * square) / (1.0 + 0.124 * square) / _gain(
        index, packing
    )


def depth_of_wound(reflectance: ArrayLike, index: float, packing: float) -> Array:
    """sigma times rod diameter of wound thread that reflects ``reflectance``, 0-1.

    Where the thread is too dark to tell, :data:`DARKEST` is taken.

    Examples
    --------
    >>> round(float(depth_of_wound(0.41, 1.6, 0.85)), 3)  # traced: 0.050
    0.05
    """
    surface = surface_share(index, packing)
    r = (np.asarray(reflectance, dtype=np.float64) - surface) / (1.0 - surface)
    return optical_depth(-np.log(np.clip(r, DARKEST, 1.0)), index, packing)


def wound_of_depth(depth: ArrayLike, index: float, packing: float) -> Array:
    """Reflectance of wound thread whose sigma times rod diameter is ``depth`` >= 0.

    Examples
    --------
    >>> float(wound_of_depth(depth_of_wound(0.3, 1.55, 0.6), 1.55, 0.6))  # doctest: +ELLIPSIS
    0.3...
    """
    target = np.asarray(depth, dtype=np.float64)
    y = np.sqrt(target * _gain(index, packing))  # exact where there is little dye
    for _ in range(40):  # Newton on a smooth rising curve
        step = 1e-6 * (1.0 + y)
        slope = (optical_depth(y + step, index, packing) - optical_depth(y, index, packing)) / step
        miss = optical_depth(y, index, packing) - target
        y = np.maximum(y - np.divide(miss, slope, out=np.zeros_like(y), where=slope > 0.0), 0.0)
    surface = surface_share(index, packing)
    return surface + (1.0 - surface) * np.exp(-y)


def bed_packing(yarn: Yarn) -> float:
    """Packing of closely wound thread of ``yarn``: the yarn's own, or that of wound rods.

    Examples
    --------
    >>> bed_packing(organza.warp) in (ROD_BED, organza.warp.packing)
    True
    """
    return ROD_BED if yarn.rods == 1 else yarn.packing


def absorption_of_wound(reflectance: ArrayLike, yarn: Yarn) -> Array:
    """Absorption inside the fibre, 1/mm, of thread that reflects ``reflectance`` when wound.

    Examples
    --------
    >>> bool(absorption_of_wound(0.2, organza.warp) > absorption_of_wound(0.4, organza.warp))
    True
    """
    depth = depth_of_wound(reflectance, yarn.fibre.index, bed_packing(yarn))
    return np.asarray(depth / yarn.rod_diameter_mm)


def wound_colour(absorption: ArrayLike, yarn: Yarn) -> Array:
    """Reflectance of closely wound ``yarn`` with ``absorption``, 1/mm; its dye is not looked at.

    Examples
    --------
    >>> round(float(wound_colour(absorption_of_wound(0.4, organza.warp), organza.warp)), 6)
    0.4
    """
    depth = np.asarray(absorption, dtype=np.float64) * yarn.rod_diameter_mm
    return wound_of_depth(depth, yarn.fibre.index, bed_packing(yarn))


def absorption(yarn: Yarn) -> Spectrum:
    """The dye of ``yarn``, (41,), 1/mm: as given, or from the colour of its wound thread.

    Examples
    --------
    >>> absorption(organza.weft).shape
    (41,)
    """
    if yarn.absorption is not None:
        return yarn.absorption
    return frozen(absorption_of_wound(yarn.colour, yarn))
