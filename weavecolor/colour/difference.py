"""Colour differences between two colours, as numbers.

Knows CIELAB-based difference formulas; whether a person would notice is in ``perception``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from weavecolor.colour.tristimulus import FloatArray, checked_spectrum, lab_from_xyz, xyz

#: Tristimulus values (Y = 100 for white) below this are black.
BLACK = 1e-6


def ciede2000(Lab1: ArrayLike, Lab2: ArrayLike) -> FloatArray:
    """CIEDE2000 (CIE 142, ISO/CIE 11664-6), kL = kC = kH = 1; Lab arrays (..., 3) -> (...).

    Examples
    --------
    >>> # A pair from Sharma, Wu and Dalal, Color Res. Appl. 30 (2005) 21, table 1
    >>> round(float(ciede2000([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485])), 4)
    2.0425
    """
    Lab1, Lab2 = np.broadcast_arrays(_lab(Lab1), _lab(Lab2))
    from skimage.color import deltaE_ciede2000  # slow to import, and only wanted here

    return np.asarray(deltaE_ciede2000(Lab1, Lab2))


def cielab_difference(Lab1: ArrayLike, Lab2: ArrayLike) -> FloatArray:
    """Euclidean CIELAB difference (CIE 1976); Lab arrays (..., 3) -> (...).

    Examples
    --------
    >>> float(cielab_difference([50.0, 0.0, 0.0], [50.0, 3.0, 4.0]))
    5.0
    """
    return np.asarray(np.linalg.norm(_lab(Lab1) - _lab(Lab2), axis=-1))


def cmc(standard: ArrayLike, sample: ArrayLike, l: float = 2.0, c: float = 1.0) -> FloatArray:  # noqa: E741
    """CMC(l:c), 2:1 by default as for textiles (ISO 105-J03). Not symmetric: standard first.

    ``standard`` and ``sample``: Lab (..., 3); ``l`` and ``c``: how far lightness and chroma may be
    off against hue, above 0. Returns differences (...).

    Examples
    --------
    >>> float(cmc([50.0, 0.0, 0.0], [50.0, 0.0, 0.0]))
    0.0
    """
    standard, sample = np.broadcast_arrays(_lab(standard), _lab(sample))
    from skimage.color import deltaE_cmc

    return np.asarray(deltaE_cmc(standard, sample, kL=l, kC=c))


def metamerism_index(
    first: ArrayLike,
    second: ArrayLike,
    reference_light: ArrayLike,
    test_light: ArrayLike,
    observer: str = "2",
) -> FloatArray:
    """Special metamerism index, change of illuminant (CIE 15:2018), as CIEDE2000.

    Two reflectances that should match under the reference light are compared under the test light,
    after the second one's XYZ has been corrected by the ratio that makes them match exactly under
    the reference light (multiplicative correction). 0 for reflectances in proportion to one
    another. A second one that is all but black cannot be corrected and is compared as it is.

    Parameters
    ----------
    first, second : array, shape (..., 41)
        Reflectances.
    reference_light, test_light : array, shape (41,)
        Spectra, any scale.
    observer : "2" or "10"

    Returns
    -------
    ndarray, shape (...)

    Raises InputError for spectra of a wrong shape or without light, and for an unknown observer.

    Examples
    --------
    >>> light = np.ones(41)
    >>> round(float(metamerism_index(0.2 * light, 0.4 * light, light, light)), 9)
    0.0
    """
    first, second = checked_spectrum(first, "a spectrum"), checked_spectrum(second, "a spectrum")
    reference_light = checked_spectrum(reference_light, "the reference light")
    test_light = checked_spectrum(test_light, "the test light")
    wanted = xyz(first * reference_light, reference_light, observer)
    there = xyz(second * reference_light, reference_light, observer)
    correction = np.divide(wanted, there, out=np.ones_like(wanted + there), where=there > BLACK)
    white = xyz(test_light, test_light, observer)
    Lab1 = lab_from_xyz(xyz(first * test_light, test_light, observer), white)
    corrected = correction * xyz(second * test_light, test_light, observer)
    return ciede2000(Lab1, lab_from_xyz(corrected, white))


def _lab(Lab: ArrayLike) -> FloatArray:
    return np.asarray(Lab, dtype=np.float64)
