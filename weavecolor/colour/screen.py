"""Colours on a screen: sRGB and Display P3, what does not fit, and 8-bit pictures.

Knows screens; knows nothing of cloth or scenes. Linear light is on the scale where the screen's
white is 1. Nothing is clipped in silence: whatever does not fit is flagged.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.difference import ciede2000
from weavecolor.colour.library import observer_name
from weavecolor.colour.spectra import Spectrum, frozen
from weavecolor.colour.tristimulus import (
    FloatArray,
    adaptation_matrix,
    checked_spectrum,
    lab_from_xyz,
    weights,
    xyz,
    xyz_from_lab,
)
from weavecolor.errors import InputError

#: Screens known, and the chromaticities of their red, green and blue (IEC 61966-2-1; SMPTE
#: EG 432-1), both with the D65 white of 2 degrees and the sRGB transfer curve.
SPACES = {
    "sRGB": ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)),
    "Display P3": ((0.68, 0.32), (0.265, 0.69), (0.15, 0.06)),
}
#: Chromaticity of D65 by observer (CIE 15:2018).
D65 = {"2": (0.3127, 0.3290), "10": (0.31382, 0.33100)}

#: Half an 8-bit step beyond either end: a linear value inside rounds to a code without clipping.
LOWEST = -0.5 / 255.0 / 12.92
HIGHEST = float(((1.0 + 0.5 / 255.0 + 0.055) / 1.055) ** 2.4)

#: Oklab (B. Ottosson 2020), as colour-science holds it: XYZ to cones, their cube roots to Lab.
XYZ_TO_LMS = frozen(
    [[0.8189330101, 0.3618667424, -0.1288597137], [0.0329845436, 0.9293118715, 0.0361456387],
     [0.0482003018, 0.2643662691, 0.6338517070]]
)  # fmt: skip
LMS_TO_OKLAB = frozen(
    [[0.2104542553, 0.7936177850, -0.0040720468], [1.9779984951, -2.4285922050, 0.4505937099],
     [0.0259040371, 0.7827717662, -0.8086757660]]
)  # fmt: skip

#: Shares of a colour's lightness at which the nearest that a screen shows is sought.
_DARKER = np.linspace(1.0, 0.5, 101)
#: Oklab distance that is about just noticeable (CSS Color 4).
CLIP_UNSEEN = 0.02


@dataclass(frozen=True, eq=False)
class Space:
    """A screen's primaries as matrices (3, 3): linear RGB to XYZ (white Y = 1) and back."""

    name: str
    to_xyz: Spectrum
    from_xyz: Spectrum
    white: Spectrum
    primaries: Spectrum


@lru_cache(maxsize=4)
def space(name: str = "sRGB") -> Space:
    """The screen named "sRGB" (IEC 61966-2-1) or "Display P3" (P3 primaries, D65 white).

    Examples
    --------
    >>> space("sRGB").to_xyz.shape
    (3, 3)
    """
    if name not in SPACES:
        raise InputError(f"no screen called {name!r}; use {' or '.join(SPACES)}")
    x, y = np.array(SPACES[name]).T
    # Derived, not the standard's four-decimal matrix: white is then exactly (1, 1, 1).
    corners = np.stack([x, y, 1.0 - x - y])
    to_xyz = corners @ np.diag(np.linalg.inv(corners) @ _xyz_of(*D65["2"]))
    return Space(
        name,
        frozen(to_xyz),
        frozen(np.linalg.inv(to_xyz)),
        frozen(100.0 * np.asarray(to_xyz) @ np.ones(3)),
        frozen(SPACES[name]),
    )


def encoded(linear: ArrayLike) -> FloatArray:
    """Screen values 0-1 from linear light (IEC 61966-2-1; odd below 0).

    Examples
    --------
    >>> round(float(encoded(0.214)), 2)
    0.5
    """
    linear = np.asarray(linear, dtype=np.float64)
    size = np.abs(linear)
    curve = 1.055 * np.maximum(size, 0.0031308) ** (1 / 2.4) - 0.055
    return np.asarray(np.copysign(np.where(size <= 0.0031308, 12.92 * size, curve), linear))


def decoded(values: ArrayLike) -> FloatArray:
    """Linear light from screen values 0-1 (IEC 61966-2-1; odd below 0).

    Examples
    --------
    >>> round(float(decoded(0.5)), 3)
    0.214
    """
    values = np.asarray(values, dtype=np.float64)
    size = np.abs(values)
    linear = np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.copysign(linear, values))


def camera_channels() -> FloatArray:
    """Channels (3, 41) of a camera whose linear colours are linear sRGB.

    Examples
    --------
    >>> camera_channels().shape
    (3, 41)
    """
    return np.asarray(space("sRGB").from_xyz @ weights("2").T)


def channels_in_light(channels: ArrayLike, light: ArrayLike) -> FloatArray:
    """``channels`` (n, 41) weighted by ``light`` (41,) so that a perfect white gives 1 in each.

    Examples
    --------
    >>> channels_in_light(camera_channels(), np.ones(41)).sum(axis=1).round(6).tolist()
    [1.0, 1.0, 1.0]
    """
    lit = np.asarray(channels) * np.asarray(light)
    return np.asarray(lit / lit.sum(axis=1, keepdims=True))


def in_gamut(linear: ArrayLike) -> NDArray[np.bool_]:
    """Whether linear RGB (..., 3) fits the screen, to half an 8-bit step -> (...).

    Examples
    --------
    >>> in_gamut([[0.2, 0.5, 1.0], [0.2, 0.5, 1.4]]).tolist()
    [True, False]
    """
    linear = np.asarray(linear)
    return np.asarray(((linear >= LOWEST) & (linear <= HIGHEST)).all(axis=-1))


def linear_from_xyz(XYZ: ArrayLike, screen: str = "sRGB") -> FloatArray:
    """Linear RGB, not clipped, of XYZ (..., 3) already seen under the screen's white (Y = 100).

    Examples
    --------
    >>> linear_from_xyz([95.047, 100.0, 108.883]).round(2).tolist()
    [1.0, 1.0, 1.0]
    """
    return np.asarray(XYZ, dtype=np.float64) @ (space(screen).from_xyz.T / 100.0)


def to_screen_white(
    illumination: ArrayLike, white: ArrayLike | None, observer: str, adapt: bool
) -> FloatArray:
    """Matrix (3, 3) that takes a scene's XYZ to the screen's D65.

    Parameters
    ----------
    illumination, white : array, shape (41,)
        Light of the scene, and the light that the eye is adapted to (None: the same).
    observer : "2" or "10"
    adapt : bool
        True: CAT16 from the light that the eye is adapted to. False: the eye is adapted to the
        screen, so tungsten looks orange; then nothing is changed for the 2 degree observer, and for
        the 10 degree observer its D65 is taken to the screen's.

    Raises InputError for a light of a wrong shape, and for an unknown observer.

    Examples
    --------
    >>> to_screen_white(np.ones(41), None, "2", True).shape
    (3, 3)
    """
    target = space("sRGB").white
    if adapt:
        adopted = illumination if white is None else white
        adopted = checked_spectrum(adopted, "the light the eye is adapted to")
        source = xyz(adopted, adopted, observer)
    elif str(observer) == "2":
        return np.eye(3)
    else:
        source = daylight_white(observer)
    return adaptation_matrix(source, target)


def settled(Lab: ArrayLike, white: ArrayLike) -> FloatArray:
    """Lab (..., 3), relative to daylight, of what looks by daylight as ``Lab``, relative to
    ``white`` (XYZ (3,), Y = 100), does to an eye that has settled to that: by CAT16, as screen
    colours.

    Colours in two lights are told apart so. Each light's own Lab turns hues with the light, blues
    most, for its ratios of XYZ are no cones (M. D. Fairchild, Color Appearance Models, 2013, ch.
    10; from memory).

    Examples
    --------
    >>> settled([50.0, 20.0, -30.0], daylight_white("2")).round(6).tolist()
    [50.0, 20.0, -30.0]
    """
    matrix = adaptation_matrix(white, daylight_white("2"))
    return lab_from_xyz(xyz_from_lab(Lab, white) @ matrix.T, daylight_white("2"))


def as_seen_in(Lab: ArrayLike, white: ArrayLike) -> FloatArray:
    """The inverse of :func:`settled`: Lab (..., 3) relative to ``white`` of what looks there as
    ``Lab`` does by daylight.

    Examples
    --------
    >>> as_seen_in(settled([50.0, 20.0, -30.0], [110.0, 100.0, 35.0]), [110, 100, 35]).round(6)
    array([ 50.,  20., -30.])
    """
    matrix = adaptation_matrix(daylight_white("2"), white)
    return lab_from_xyz(xyz_from_lab(Lab, daylight_white("2")) @ matrix.T, white)


@lru_cache(maxsize=4)
def daylight_white(observer: str = "2") -> FloatArray:
    """XYZ of D65 (Y = 100) for an observer; the screen's own white for the 2 degree one.

    Examples
    --------
    >>> daylight_white("2").round(1).tolist()
    [95.0, 100.0, 108.9]
    """
    if str(observer) == "2":
        return space("sRGB").white
    observer_name(observer)
    return frozen(100.0 * _xyz_of(*D65[str(observer)]))


def _xyz_of(x: float, y: float) -> FloatArray:
    """Of chromaticity (x, y), with Y = 1."""
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def linear_rgb(
    radiance: ArrayLike,
    illumination: ArrayLike,
    space: str = "sRGB",
    adapt: bool = True,
    *,
    white: ArrayLike | None = None,
    observer: str = "2",
) -> FloatArray:
    """Linear-light RGB of spectra, not clipped, (1, 1, 1) for the perfect diffuser.

    Without adaptation strongly coloured light can send pale cloth beyond the screen's brightness:
    lower the exposure (multiply) before encoding. A matrix product, so the mean of the result is
    the result of the mean.

    Parameters
    ----------
    radiance : array, shape (..., 41)
    illumination : array, shape (41,)
        What the perfect diffuser would send, on the same scale.
    space : "sRGB" or "Display P3"
    adapt, white, observer
        As in :func:`to_screen_white`.

    Returns
    -------
    ndarray, shape (..., 3)

    Raises InputError for spectra of a wrong shape, and an unknown space or observer.

    Examples
    --------
    >>> light = np.ones(41)
    >>> linear_rgb(0.5 * light, light).round(2).tolist()
    [0.5, 0.5, 0.5]
    """
    matrix = to_screen_white(illumination, white, observer, adapt)
    return linear_from_xyz(xyz(radiance, illumination, observer) @ matrix.T, space)


def fit_to_gamut(linear: ArrayLike, space: str = "sRGB") -> FloatArray:
    """The nearest colour of the same hue that the screen can show, linear RGB (..., 3) in 0-1.

    Where a colour does not fit, its Oklab lightness (limited to black and white) and Oklab hue
    are kept and chroma is lowered just until what clipping still has to move is less than 0.02
    in Oklab, about what is just noticeable; then it is clipped. This is the gamut mapping of CSS
    Color 4 (W3C), with bisection; Oklab: Ottosson 2020. What is brighter than the screen's
    white becomes white, and is for the caller to flag.

    Examples
    --------
    >>> bool(in_gamut(fit_to_gamut([[1.4, -0.1, 0.2]]))[0])
    True
    """
    linear = np.array(linear, dtype=np.float64)
    outside = ~in_gamut(linear)
    if outside.any():
        linear[outside] = _lower_chroma(linear[outside], space)
    return np.asarray(np.clip(linear, 0.0, 1.0))


def _lower_chroma(linear: FloatArray, screen: str) -> FloatArray:
    """Bisection on chroma for linear RGB (n, 3); channels first inside, for speed."""
    to_lms, to_linear, lms_lab, lab_lms = (m.astype(np.float32) for m in _oklab(screen))
    lab = lms_lab @ np.cbrt(to_lms @ linear.T.astype(np.float32))
    lightness = lab[0]
    # Cone responses (cube roots) are affine in chroma: a grey part and a coloured part.
    colour = lab_lms[:, 1:] @ lab[1:]
    rgb = np.where(lightness >= 1.0, np.ones_like(colour), 0.0)

    def attempt(which: NDArray[np.intp], share: ArrayLike) -> NDArray[np.bool_]:
        """Clipped colour at a share of the chroma; kept wherever clipping moves it unseen."""
        cones = lightness[which] + np.asarray(share, dtype=np.float32) * colour[:, which]
        clipped = np.clip(to_linear @ (cones * cones * cones), 0.0, 1.0)
        moved = lms_lab @ (np.cbrt(to_lms @ clipped) - cones)
        fits: NDArray[np.bool_] = np.einsum("in,in->n", moved, moved) < CLIP_UNSEEN**2
        rgb[:, which[fits]] = clipped[:, fits]
        return fits

    left = np.flatnonzero((lightness > 0.0) & (lightness < 1.0))
    left = left[~attempt(left, 1.0)]
    attempt(left, 0.0)
    low = np.zeros(left.size, dtype=np.float32)
    for step in range(1, 12):
        middle = low + np.float32(0.5**step)
        low = np.where(attempt(left, middle), middle, low)
    return rgb.T.astype(np.float64)


@lru_cache(maxsize=4)
def _oklab(screen: str) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    to_lms = XYZ_TO_LMS @ space(screen).to_xyz
    # Scaled so that the screen's white is exactly (1, 1, 1): greys then stay grey.
    to_lms = to_lms / (to_lms @ np.ones(3))[:, None]
    lab_lms = np.linalg.inv(LMS_TO_OKLAB)
    # The published lightness row sums to 1 and the others to 0 within rounding.
    lab_lms[:, 0] = 1.0
    return frozen(to_lms), frozen(np.linalg.inv(to_lms)), LMS_TO_OKLAB, frozen(lab_lms)


@lru_cache(maxsize=1)
def _codes() -> NDArray[np.uint8]:
    """8-bit code of each of 65536 steps of linear light: at most 0.03 of a code coarser."""
    table = np.rint(255.0 * encoded(np.arange(65536) / 65535.0)).astype(np.uint8)
    table.setflags(write=False)
    return table


def encode(linear: ArrayLike, space: str = "sRGB") -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """8-bit picture (..., 3) from linear RGB, and a mask (...) of what did not fit the screen.

    What does not fit is brought in by :func:`fit_to_gamut`. Raises InputError on values that are
    not finite or an unknown screen.

    Examples
    --------
    >>> codes, outside = encode([[0.0, 0.214, 1.0]])
    >>> codes.tolist(), outside.tolist()
    ([[0, 127, 255]], [False])
    """
    if space not in SPACES:
        raise InputError(f"no screen called {space!r}; use {' or '.join(SPACES)}")
    with np.errstate(over="ignore"):  # what float32 cannot hold is infinite, and refused below
        linear = np.asarray(linear, dtype=np.float32)
    if linear.ndim == 0 or linear.shape[-1] != 3:
        raise InputError(f"a picture has three channels last, got shape {linear.shape}")
    if not np.isfinite(linear).all():
        raise InputError("a picture holds values that are not numbers")
    mask = ~in_gamut(linear)
    if mask.any():
        linear = linear.copy()
        linear[mask] = _lower_chroma(linear[mask], space)
    steps = np.clip(linear * np.float32(65535.0) + np.float32(0.5), 0.0, 65535.0)
    return _codes()[steps.astype(np.uint16)], mask


def _nearest(linear: FloatArray, screen: str) -> FloatArray:
    """Of linear RGB (n, 3) as it is or darker, brought in, what differs least by CIEDE2000."""
    to_lms, to_linear, lms_lab, lab_lms = _oklab(screen)
    lab = np.repeat((np.cbrt(linear @ to_lms.T) @ lms_lab.T)[:, None], _DARKER.size, axis=1)
    lab[..., 0] *= _DARKER
    tried = fit_to_gamut((lab @ lab_lms.T) ** 3 @ to_linear.T, screen)
    own = space(screen)
    here, there = (lab_from_xyz(100.0 * x @ own.to_xyz.T, own.white) for x in (linear, tried))
    best = np.argmin(ciede2000(here[:, None], there), axis=1)
    return np.asarray(tried[np.arange(best.size), best])


def srgb_from_xyz(XYZ: ArrayLike, space: str = "sRGB") -> tuple[FloatArray, NDArray[np.bool_]]:
    """Screen values 0-1 (..., 3) of XYZ under the screen's white (Y = 100), and whether they fit.

    What does not fit becomes the nearest, by CIEDE2000, that :func:`fit_to_gamut` makes of it as it
    is or darker: gold that shines brighter than the screen's white stays gold. The flag (...) says
    so.

    Examples
    --------
    >>> values, fits = srgb_from_xyz([95.047, 100.0, 108.883])
    >>> values.round(2).tolist(), bool(fits)
    ([1.0, 1.0, 1.0], True)
    """
    linear = linear_from_xyz(XYZ, space)
    fits = in_gamut(linear)
    shown = np.array(fit_to_gamut(linear, space))
    if not fits.all():
        shown[~fits] = _nearest(linear[~fits], space)
    return encoded(shown), fits
