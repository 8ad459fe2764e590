"""Films and piles of films in diffuse light: Kubelka-Munk, and Stokes's pile of plates.

Knows reflectance and transmittance as numbers or arrays of them (any shapes that broadcast);
knows nothing of cloth, wavelength or direction. Reflectances and transmittances are 0-1.
Sources: Stokes, Proc. R. Soc. 11 (1862) 545; Kubelka and Munk, Z. tech. Phys. 12 (1931) 593;
Kubelka, J. Opt. Soc. Am. 38 (1948) 448 and 44 (1954) 330.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.errors import InputError

Values = NDArray[np.float64]


def k_over_s(r_inf: ArrayLike) -> Values:
    """K/S = (1 - R)^2 / 2R of an opaque film of reflectivity ``r_inf``; inf where it is 0.

    Examples
    --------
    >>> float(k_over_s(0.5))
    0.25
    """
    r = _share(r_inf, "reflectivity")
    with np.errstate(divide="ignore"):
        return (1.0 - r) ** 2 / (2.0 * r)


def reflectivity(k_over_s: ArrayLike) -> Values:
    """R-infinity = 1 + K/S - sqrt((K/S)^2 + 2 K/S), the inverse of :func:`k_over_s`.

    Examples
    --------
    >>> float(reflectivity(0.25))
    0.5
    """
    ks = np.asarray(k_over_s, dtype=np.float64)
    if np.any(np.isnan(ks)) or np.any(ks < 0.0):
        raise InputError("K/S is zero or more")
    # The reciprocal of 1 + K/S + sqrt(...): the same number without cancellation.
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(ks), 0.0, 1.0 / (1.0 + ks + np.sqrt(ks) * np.sqrt(ks + 2.0)))


def film(r_inf: ArrayLike, scatter: ArrayLike) -> tuple[Values, Values]:
    """(R, T) of a film of reflectivity ``r_inf`` and scattering power ``scatter`` = S X >= 0.

    The hyperbolic solution (Kubelka 1948) written so that it holds at both ends: no absorption
    (r_inf 1: R = SX / (1 + SX)), none seen behind (scatter inf: R = r_inf, T = 0), no film
    (scatter 0: T = 1).

    Examples
    --------
    >>> R, T = film(1.0, 1.0)  # nothing is absorbed
    >>> round(float(R), 12), round(float(T), 12)
    (0.5, 0.5)
    """
    r, x = np.broadcast_arrays(_share(r_inf, "reflectivity"), np.asarray(scatter, dtype=np.float64))
    if np.any(np.isnan(x)) or np.any(x < 0.0):
        raise InputError("a film's scattering power is zero or more")
    # A reflectivity too small for its inverse to be a number is none: b has no limit, R is 0.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        b = (1.0 - r) * (1.0 + r) / (2.0 * r)
        bx = np.where((b == 0.0) & np.isinf(x), np.inf, b * x)
        bx = np.where(x == 0.0, 0.0, bx)
        g = np.where(b > 0.0, -np.expm1(-2.0 * bx) / (2.0 * b), x)
        reflectance = np.where(g == 0.0, 0.0, 1.0 / (1.0 / g + r))
        transmittance = np.where(np.isinf(g), 0.0, np.exp(-bx) / (1.0 + r * g))
    return reflectance, transmittance


def film_from(R: ArrayLike, T: ArrayLike) -> tuple[Values, Values]:
    """(r_inf, scatter) of the film that reflects ``R`` and lets through ``T``; undoes :func:`film`.

    Raises InputError where R + T > 1.

    Examples
    --------
    >>> r_inf, scatter = film_from(*film(0.6, 2.0))
    >>> round(float(r_inf), 6), round(float(scatter), 6)
    (0.6, 2.0)
    """
    r0, t = np.broadcast_arrays(_share(R, "reflectance"), _share(T, "transmittance"))
    r = _pile_limit(r0, t)
    with np.errstate(divide="ignore", invalid="ignore"):
        b = (1.0 - r) * (1.0 + r) / (2.0 * r)
        # R = g / (1 + r g) gives g; g = (1 - exp(-2 b x)) / 2b gives x.
        g = r0 / (1.0 - r * r0)
        inside = -2.0 * b * g
        x = np.where(b > 1e-12, -np.log1p(np.maximum(inside, -1.0)) / (2.0 * b), g)
    x = np.where(t == 0.0, np.inf, np.where(r0 == 0.0, 0.0, x))
    return r, x


def over(R: ArrayLike, T: ArrayLike, Rg: ArrayLike) -> Values:
    """Reflectance of a layer (R, T) lying on a ground of reflectance ``Rg``.

    Examples
    --------
    >>> round(float(over(0.2, 0.5, 1.0)), 4)  # 0.2 + 0.5**2 / (1 - 0.2)
    0.5125
    """
    r, t, ground = _share(R, "reflectance"), _share(T, "transmittance"), _share(Rg, "reflectance")
    return r + _between(t * t * ground, r * ground)


def add(R1: ArrayLike, T1: ArrayLike, R2: ArrayLike, T2: ArrayLike,
        *more: ArrayLike) -> tuple[Values, Values, Values]:  # fmt: skip
    """(R, T, R from the other side) of layers 1, 2, ... laid in that order, 1 outermost.

    Each layer is the same from both sides: ``R1`` and ``T1``, ``R2`` and ``T2``, and ``more`` as
    pairs R3, T3, ...; shares 0-1 of one shape, or that go together. T is the same from both sides
    (Kubelka 1954). Raises InputError for values outside 0-1, and where a pair is not whole.

    Examples
    --------
    >>> [round(float(x), 4) for x in add(0.2, 0.5, 0.2, 0.5)]
    [0.2521, 0.2604, 0.2521]
    """
    if len(more) % 2:
        raise InputError("layers are added as pairs of reflectance and transmittance")
    front = back = _share(R1, "reflectance")
    through = _share(T1, "transmittance")
    rest = (R2, T2, *more)
    for r_next, t_next in zip(rest[::2], rest[1::2], strict=True):
        r, t = _share(r_next, "reflectance"), _share(t_next, "transmittance")
        loop = back * r
        front, back, through = (
            front + _between(through * through * r, loop),
            r + _between(t * t * back, loop),
            _between(through * t, loop),
        )
    return front, through, back


def pile(R: ArrayLike, T: ArrayLike, n: float) -> tuple[Values, Values]:
    """(R, T) of ``n`` equal layers, each (R, T) from both sides; ``n`` may be ``math.inf``.

    Examples
    --------
    >>> [round(float(x), 4) for x in pile(0.2, 0.5, 2)]
    [0.2521, 0.2604]
    """
    r, t = np.broadcast_arrays(_share(R, "reflectance"), _share(T, "transmittance"))
    if n == math.inf:
        limit = _pile_limit(r, t)
        return limit, np.where((r == 0.0) & (t == 1.0), 1.0, 0.0)
    if not math.isfinite(n) or n != int(n) or n < 0:
        raise InputError(f"a pile has a whole number of layers, got {n!r}")
    count = int(n)
    total_r, total_t = np.zeros_like(r), np.ones_like(t)
    while count:  # doubling: equal layers may be added in any order
        if count & 1:
            total_r, total_t, _ = add(total_r, total_t, r, t)
        r, t, _ = add(r, t, r, t)
        count >>= 1
    return total_r, total_t


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


def _pile_limit(r: Values, t: Values) -> Values:
    """Reflectance of endless equal layers: a - sqrt(a^2 - 1), a = (1 + R^2 - T^2) / 2R."""
    spare = 1.0 - r - t
    if np.any(spare < -1e-9):
        raise InputError("a layer cannot reflect and let through more than it receives")
    with np.errstate(divide="ignore", invalid="ignore"):
        excess = np.maximum(spare, 0.0) * (1.0 - r + t) / (2.0 * r)  # a - 1
        limit = 1.0 / (1.0 + excess + np.sqrt(excess * (excess + 2.0)))
    return np.where(r == 0.0, 0.0, np.where(np.isinf(excess), 0.0, limit))


def _between(numerator: Values, loop: Values) -> Values:
    """numerator / (1 - loop), light going to and fro; nothing where nothing gets in."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(numerator == 0.0, 0.0, numerator / (1.0 - loop))


def _share(value: ArrayLike, what: str) -> Values:
    array = np.asarray(value, dtype=np.float64)
    if np.any(np.isnan(array)) or np.any(array < -1e-12) or np.any(array > 1.0 + 1e-12):
        raise InputError(f"a {what} lies between 0 and 1")
    return np.clip(array, 0.0, 1.0)
