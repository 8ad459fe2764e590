"""From a spectrum on the shared grid to XYZ, Lab and LCh, and chromatic adaptation.

Knows the standard observers and adaptation; knows nothing of cloth, named lights or screens.
The tables come from colour-science (``library``); the arithmetic is a matrix product, so that a
whole picture or a whole table of directions is converted in one call.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.library import matching_functions, of_observer
from weavecolor.colour.spectra import BANDS, Spectrum, frozen
from weavecolor.errors import InputError

FloatArray = NDArray[np.float64]


@lru_cache(maxsize=4)
def weights(observer: str = "2") -> Spectrum:
    """Tristimulus weights for a radiance sampled at 10 nm, 380-780; shape (41, 3).

    ASTM E308 practice: the weights are those of ASTM E2022 (third order Lagrange interpolation
    of the 10 nm data to the 1 nm colour matching functions, 360-780), with the weights below
    380 nm added to the one at 380. They are made for the equal-energy illuminant because the
    radiance already holds the light.

    Examples
    --------
    >>> weights("10").shape
    (41, 3)
    """
    return of_observer("weights", observer)


def checked_spectrum(values: ArrayLike, what: str) -> FloatArray:
    """``values`` as float64 with a last axis of 41 finite bands, or one line of complaint.

    Examples
    --------
    >>> checked_spectrum([0.5] * 41, "a light").shape
    (41,)
    """
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 0 or array.shape[-1] != BANDS:
        raise InputError(f"{what} needs {BANDS} bands (380-780 nm by 10), got shape {array.shape}")
    if not np.isfinite(array).all():
        raise InputError(f"{what} holds values that are not numbers")
    return array


def xyz(radiance: ArrayLike, white: ArrayLike, observer: str = "2") -> FloatArray:
    """Tristimulus values by ASTM E308 / CIE 15:2018, normalised to the perfect diffuser.

    Parameters
    ----------
    radiance : array, shape (..., 41)
        What reaches the eye, on ``spectra.WAVELENGTHS``, any scale.
    white : array, shape (41,)
        What the perfect reflecting diffuser would send in the same place and scale (irradiance
        over pi if ``radiance`` is a true radiance; irradiance itself if ``radiance`` is radiance
        factor times irradiance). Its Y is 100.
    observer : "2" or "10"

    Returns
    -------
    array, shape (..., 3)

    Raises
    ------
    InputError
        Wrong number of bands, values that are not finite or give none, a white without light.

    Examples
    --------
    >>> light = np.ones(41)
    >>> round(float(xyz(0.5 * light, light)[1]), 6)
    50.0
    """
    table = weights(str(observer))
    radiance = checked_spectrum(radiance, "a radiance")
    white = checked_spectrum(white, "the light")
    with np.errstate(over="ignore", invalid="ignore"):  # what is too large is refused below
        luminance = white @ table[:, 1]
        if white.ndim != 1 or not luminance > 0:
            raise InputError(
                "the light on the cloth is dark; it needs a positive spectrum of 41 bands"
            )
        found = (radiance @ table) * (100.0 / luminance)
    if not (np.isfinite(luminance) and np.isfinite(found).all()):
        raise InputError("a radiance or the light is too large, or too far apart, for numbers")
    return found


def lab_from_xyz(XYZ: ArrayLike, white_XYZ: ArrayLike) -> FloatArray:
    """CIELAB (CIE 15:2018) of XYZ (..., 3) relative to white_XYZ (3,) or (..., 3), on one scale.

    Examples
    --------
    >>> lab_from_xyz([47.5, 50.0, 54.4], [95.0, 100.0, 108.8]).round(1).tolist()
    [76.1, 0.0, 0.0]
    """
    white = np.asarray(white_XYZ, dtype=np.float64)
    # The standard's formula works on ratios to the white; given ratios, the white is (1, 1, 1).
    ratios = np.asarray(XYZ, dtype=np.float64) / white
    root = np.sign(ratios) * np.abs(ratios) ** (1 / 3)
    straight = 841 / 108 * ratios + 16 / 116
    x, y, z = np.moveaxis(np.where(ratios > (24 / 116) ** 3, root, straight), -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def xyz_from_lab(Lab: ArrayLike, white_XYZ: ArrayLike) -> FloatArray:
    """The inverse of :func:`lab_from_xyz`.

    Examples
    --------
    >>> xyz_from_lab([100.0, 0.0, 0.0], [95.0, 100.0, 108.8]).round(6).tolist()
    [95.0, 100.0, 108.8]
    """
    L, a, b = np.moveaxis(np.asarray(Lab, dtype=np.float64), -1, 0)
    y = (L + 16) / 116
    roots = np.stack([a / 500 + y, y, y - b / 200], axis=-1)
    ratios = np.where(roots > 24 / 116, roots**3, (roots - 16 / 116) * (108 / 841))
    return np.asarray(ratios * np.asarray(white_XYZ, dtype=np.float64))


def lch_from_lab(Lab: ArrayLike) -> FloatArray:
    """Lightness, chroma and hue angle (0-360 degrees) of Lab (..., 3).

    Examples
    --------
    >>> lch_from_lab([50.0, 3.0, 4.0]).round(1).tolist()
    [50.0, 5.0, 53.1]
    """
    Lab = np.asarray(Lab, dtype=np.float64)
    hue = np.degrees(np.arctan2(Lab[..., 2], Lab[..., 1])) % 360.0
    return np.stack([Lab[..., 0], np.hypot(Lab[..., 1], Lab[..., 2]), hue], axis=-1)


#: XYZ to the cones' responses of CAT16 (Li et al. 2017), and of the linear Bradford transform
#: (ICC.1 Annex E).
CAT16 = frozen(
    [[0.401288, 0.650173, -0.051461], [-0.250268, 1.204414, 0.045854],
     [-0.002079, 0.048952, 0.953127]]
)  # fmt: skip
BRADFORD = frozen(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def adaptation_matrix(
    source_white_XYZ: ArrayLike, target_white_XYZ: ArrayLike, cones: FloatArray = CAT16
) -> FloatArray:
    """Complete adaptation in the responses ``cones``, shape (3, 3), that takes the XYZ of
    ``source_white_XYZ`` to those of ``target_white_XYZ``: target = matrix @ source.

    Examples
    --------
    >>> same = adaptation_matrix([95.0, 100.0, 108.8], [95.0, 100.0, 108.8])
    >>> bool(np.allclose(same, np.eye(3)))
    True
    """
    source, target = (cones @ np.asarray(v) for v in (source_white_XYZ, target_white_XYZ))
    return frozen(np.linalg.inv(cones) @ np.diag(target / source) @ cones)


__all__ = [
    "adaptation_matrix",
    "checked_spectrum",
    "lab_from_xyz",
    "lch_from_lab",
    "matching_functions",
    "weights",
    "xyz",
    "xyz_from_lab",
]
