"""One film over a ground in diffuse light, and back from two grounds to the film.

Knows reflectance and transmittance as numbers or arrays of them (any shapes that broadcast);
knows nothing of cloth, wavelength or direction. Reflectances and transmittances are 0-1.
Source: Kubelka, J. Opt. Soc. Am. 38 (1948) 448.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.errors import InputError

Values = NDArray[np.float64]


def over(R: ArrayLike, T: ArrayLike, Rg: ArrayLike) -> Values:
    """Reflectance of a layer that reflects ``R`` and lets ``T`` through on a ground that reflects
    ``Rg``, each 0 to 1.

    Examples
    --------
    >>> round(float(over(0.2, 0.5, 1.0)), 4)  # 0.2 + 0.5**2 / (1 - 0.2)
    0.5125
    """
    r, t, ground = _share(R, "reflectance"), _share(T, "transmittance"), _share(Rg, "reflectance")
    return r + _between(t * t * ground, r * ground)


def from_black_white(
    R0: ArrayLike, Rw: ArrayLike, Rg: ArrayLike, Rk: ArrayLike = 0.0
) -> tuple[Values, Values]:
    """(R, T) of a layer that shows ``R0`` over a ground ``Rk`` and ``Rw`` over a lighter ``Rg``.

    Both grounds' equations R + T^2 Rg / (1 - R Rg) are solved together; the quadratic terms
    cancel, so the answer is unique. Raises InputError where the pair is the wrong way round or
    the white ground is not lighter than the black. R + T may pass 1 by measuring error.

    Examples
    --------
    >>> R, T = from_black_white(0.2, over(0.2, 0.5, 0.8), 0.8)
    >>> round(float(R), 6), round(float(T), 6)
    (0.2, 0.5)
    """
    dark, light = _share(R0, "reflectance over black"), _share(Rw, "reflectance over white")
    white, black = _share(Rg, "white ground"), _share(Rk, "black ground")
    if np.any(white <= black):
        raise InputError("the white ground must reflect more than the black ground")
    if np.any(light < dark):
        raise InputError(
            "darker over white than over black; check that the two readings are not swapped"
        )
    r = (white * dark - black * light) / (white - black + white * black * (dark - light))
    if np.any(r < -1e-9):
        raise InputError("darker over the black ground than any layer can be; read it again")
    r = np.maximum(r, 0.0)
    return r, np.sqrt(np.maximum(light - r, 0.0) * (1.0 - r * white) / white)


def _between(numerator: Values, loop: Values) -> Values:
    """numerator / (1 - loop), light going to and fro; nothing where nothing gets in."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(numerator == 0.0, 0.0, numerator / (1.0 - loop))


def _share(value: ArrayLike, what: str) -> Values:
    array = np.asarray(value, dtype=np.float64)
    if np.any(np.isnan(array)) or np.any(array < -1e-12) or np.any(array > 1.0 + 1e-12):
        raise InputError(f"a {what} lies between 0 and 1")
    return np.clip(array, 0.0, 1.0)
