"""A reflectance for a colour: the inverse of colorimetry, which has many answers.

Knows how to find a likely reflectance with exactly the colour asked for; knows nothing of cloth.

Method. The first guess is Otsu, Yamamoto and Hachisuka (2018), principal components of clusters
of measured surfaces (``data/surfaces.csv``); of the methods of colour-science it came closest to
measured samples (see the tests). It is then corrected to the reflectance of values 0-1 whose
difference from the guess is smoothest (least sum of squared steps, the criterion of Meng et al.
2015, solved as bounded least squares), so that the colour comes back exactly. Colours far from any
measured surface, where the guess misses by more than 5 CIELAB units, start from grey: plain Meng.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from weavecolor.cache import Kept, Packed
from weavecolor.colour import library
from weavecolor.colour.lights import lamp, light_spectrum
from weavecolor.colour.screen import daylight_white, decoded, space
from weavecolor.colour.spectra import BANDS, Spectrum, frozen
from weavecolor.colour.tristimulus import (
    FloatArray,
    adaptation_matrix,
    lab_from_xyz,
    weights,
    xyz,
    xyz_from_lab,
)
from weavecolor.errors import InputError

#: Largest CIELAB miss of the returned reflectance; CIEDE2000 never exceeds it by much.
TOLERANCE = 0.02


def spectrum_from_srgb(rgb: ArrayLike) -> Spectrum:
    """Reflectance (41,), 0-1, that looks like the sRGB colour under daylight (D65).

    ``rgb``: three screen values 0-1. Raises InputError outside 0-1 or where no reflectance has
    that colour (the brightest, strongest screen colours are brighter than any cloth can be).

    Examples
    --------
    >>> grey = spectrum_from_srgb((0.5, 0.5, 0.5))
    >>> round(float(grey.mean()), 2)  # linear light of 0.5 is 0.214
    0.2
    """
    values = np.asarray(rgb, dtype=np.float64)
    if values.shape != (3,) or not np.isfinite(values).all():
        raise InputError("a screen colour is three numbers from 0 to 1: red, green, blue")
    if (values < 0).any() or (values > 1).any():
        raise InputError(f"screen colour {_show(values)} is outside 0 to 1")
    screen = space("sRGB")
    light = light_spectrum("daylight")
    matrix = adaptation_matrix(screen.white, xyz(light, light))
    target = 100.0 * matrix @ screen.to_xyz @ decoded(values)
    return _found(target, "daylight", "2")


def spectrum_from_lab(Lab: ArrayLike, illuminant: str = "D65", observer: str = "2") -> Spectrum:
    """Reflectance (41,), 0-1, with these ``Lab`` values (3,) under a named light.

    ``illuminant``: any name of ``lights``, which Lab is relative to; ``observer``: "2" or "10". One
    of many such spectra, a smooth one. Raises InputError where the values are not finite or no
    reflectance between 0 and 1 has that colour.

    Examples
    --------
    >>> round(float(spectrum_from_lab([50.0, 0.0, 0.0]).mean()), 2)  # Y of L* 50 is 18.4
    0.18
    """
    values = np.asarray(Lab, dtype=np.float64)
    if values.shape != (3,) or not np.isfinite(values).all():
        raise InputError("a Lab colour is three numbers: L*, a*, b*")
    if not 0.0 <= values[0] <= 100.0:
        raise InputError(f"L* runs from 0 to 100, got {values[0]:g}")
    light = light_spectrum(illuminant)
    target = xyz_from_lab(values, xyz(light, light, observer))
    return _found(target, lamp(illuminant).name, str(observer))


def spectrum_from_xyz(XYZ: ArrayLike, illuminant: str = "D65", observer: str = "2") -> Spectrum:
    """Reflectance (41,), 0-1, with these ``XYZ`` (3,), Y = 100 for white, under a named light.

    ``illuminant`` and ``observer`` as for :func:`spectrum_from_lab`, which also says what is
    refused.

    Examples
    --------
    >>> spectrum_from_xyz([19.0, 20.0, 21.8]).shape
    (41,)
    """
    values = np.asarray(XYZ, dtype=np.float64)
    if values.shape != (3,) or not np.isfinite(values).all():
        raise InputError("an XYZ colour is three numbers on the scale where white has Y = 100")
    return _found(values, lamp(illuminant).name, str(observer))


#: By XYZ, light and observer; kept on, since SciPy's optimisation takes a while to load.
_kept: Kept[tuple[Any, ...], Spectrum] = Kept(
    1024,
    packed=Packed("recovered", lambda key: key, lambda x: {"x": x}, lambda _, a: frozen(a["x"])),
)


def _found(target_XYZ: FloatArray, light_name: str, observer: str) -> Spectrum:
    key = *target_XYZ.tolist(), light_name, observer
    return _kept.one(key, lambda: _recovered(target_XYZ, light_name, observer))


def _recovered(target_XYZ: FloatArray, light_name: str, observer: str) -> Spectrum:
    light = light_spectrum(light_name)
    white = xyz(light, light, observer)
    table = weights(observer) * light[:, None]
    table = table * (100.0 / table[:, 1].sum())
    target_Lab = lab_from_xyz(target_XYZ, white)

    def miss(reflectance: FloatArray) -> float:
        return float(np.linalg.norm(lab_from_xyz(reflectance @ table, white) - target_Lab))

    level = np.zeros(BANDS)  # how high does not matter: only steps of a guess count
    guess = _surface_guess(target_XYZ, white)
    if guess is None or miss(guess) > 5.0:
        guess = level
    result = _corrected(guess, target_XYZ, table)
    if miss(result) > TOLERANCE:
        result = _corrected(level, target_XYZ, table)
    if miss(result) > TOLERANCE:
        result = _edge_of_solid(target_XYZ, table, result)
    if miss(result) > TOLERANCE:
        raise InputError(
            f"no cloth can have the colour L* {target_Lab[0]:.1f}, a* {target_Lab[1]:.1f}, "
            f"b* {target_Lab[2]:.1f} under {light_name}: use one that is darker or less strong"
        )
    return frozen(result)


#: Which cluster a chromaticity lies in: where x (0) or y (1) parts them, then what lies on either
#: side, a cluster or, below 0, the row to go on with.
_PARTED = (
    (0.333444973048471, 1, -3, -1), (0.428556829741043, 0, 1, -2), (0.368343583792887, 1, 5, 7),
    (0.389059234962091, 0, -5, -4), (0.464102042665547, 0, 2, 6), (0.288243127874986, 0, 0, -6),
    (0.247072787814766, 1, 3, 4),
)  # fmt: skip


def _surface_guess(target_XYZ: FloatArray, white: FloatArray) -> FloatArray | None:
    """Otsu et al. (2018) for the colour adapted to D65 and the 2 degree observer, or None."""
    adapted = adaptation_matrix(white, daylight_white("2")) @ target_XYZ / 100.0
    if (adapted <= 0).any():
        return None
    # Few of the surfaces are dark: there the shape is taken from the same colour in brighter
    # light, and scaled back. XYZ scale with reflectance, so this is exact.
    scale = max(1.0, 0.15 / adapted[1])
    values = surface_like(adapted * scale) / scale
    values = np.concatenate([values, np.full(BANDS - values.size, values[-1])])
    # Below 400 nm white pigment darkens the surfaces behind the method; cloth has no need of it.
    values[:2] = values[2]
    return values if np.isfinite(values).all() else None


def surface_like(XYZ: FloatArray) -> FloatArray:
    """Reflectance, 0-1, from 380 to 730 nm by 10, of a surface such as were measured: in daylight
    and for the 2 degree observer it has the colour ``XYZ`` (3,), Y = 1 for white, where no value
    must be cut off at 0 or 1.

    Examples
    --------
    >>> surface_like(np.array([0.19, 0.2, 0.21])).shape
    (36,)
    """
    held = library.table("surfaces")
    row = 0
    while True:
        parted, axis, low, high = _PARTED[row]
        cluster = low if XYZ[axis] / XYZ.sum() <= parted else high
        if cluster >= 0:
            break
        row = -cluster
    sight = np.stack([held[axis] for axis in "xyz"])
    mean = held[f"mean_{cluster}"]
    parts = np.stack([held[f"part_{cluster}_{n}"] for n in range(3)])
    amounts = np.linalg.solve(sight @ parts.T, XYZ - sight @ mean)
    return np.clip(amounts @ parts + mean, 0.0, 1.0)


def _corrected(guess: FloatArray, target_XYZ: FloatArray, table: FloatArray) -> FloatArray:
    """Reflectance 0-1 that departs most smoothly from the guess and has the colour."""
    from scipy.optimize import lsq_linear  # slow to import, and only wanted here

    steps = np.diff(np.eye(BANDS), axis=0)
    pull = 100.0  # one XYZ unit off costs as much as a step of 100: in effect an equality
    system = np.vstack([steps, pull * table.T])
    aim = np.concatenate([steps @ guess, pull * target_XYZ])
    return np.clip(lsq_linear(system, aim, (0.0, 1.0), method="bvls").x, 0.0, 1.0)


def _edge_of_solid(target_XYZ: FloatArray, table: FloatArray, otherwise: FloatArray) -> FloatArray:
    """Any reflectance 0-1 of the colour (linear programming); ``otherwise`` where there is none."""
    from scipy.optimize import linprog

    found = linprog(
        np.zeros(BANDS), A_eq=table.T, b_eq=target_XYZ, bounds=(0.0, 1.0), method="highs"
    )
    return otherwise if found.x is None else np.clip(found.x, 0.0, 1.0)


def _show(values: FloatArray) -> str:
    return "(" + ", ".join(f"{v:g}" for v in values) + ")"
