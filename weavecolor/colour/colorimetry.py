"""Colour of what reaches the eye: the reading of a spectrum, in numbers, screen colour and words.

The front door to colour: the parts are in ``tristimulus`` (XYZ, Lab, adaptation), ``difference``
(CIEDE2000 and kin), ``screen`` (sRGB, Display P3), ``iccprofile`` and ``recovery`` (a spectrum
from a colour), and are gathered here. Knows nothing of cloth, of named scenes or of files.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from weavecolor.colour.difference import ciede2000, cielab_difference, cmc, metamerism_index
from weavecolor.colour.iccprofile import icc_profile
from weavecolor.colour.perception import would_see
from weavecolor.colour.recovery import spectrum_from_lab, spectrum_from_srgb, spectrum_from_xyz
from weavecolor.colour.screen import (
    SPACES,
    as_seen_in,
    daylight_white,
    encode,
    fit_to_gamut,
    in_gamut,
    linear_from_xyz,
    linear_rgb,
    settled,
    srgb_from_xyz,
    to_screen_white,
)
from weavecolor.colour.screencolour import screen_code
from weavecolor.colour.spectra import BANDS, ByValue, Spectrum, frozen
from weavecolor.colour.tristimulus import (
    FloatArray,
    checked_spectrum,
    lab_from_xyz,
    lch_from_lab,
    xyz,
    xyz_from_lab,
)
from weavecolor.colour.words import colour_words
from weavecolor.errors import InputError

#: Highest XYZ that is read, Y = 100 for white: a lamp is some thousands of times brighter.
BRIGHTEST = 1e9


@dataclass(frozen=True, eq=False)
class Reading(ByValue):
    """What a measurement of the colour would say.

    XYZ on the Y = 100 scale of the perfect diffuser under the scene's light; Lab and LCh (hue in
    degrees) relative to the adopted ``white``, XYZ; ``settled``: Lab of what looks so by daylight,
    to be held against other lights; ``srgb`` three screen values 0-1, brought into the
    screen's range at constant hue when ``in_srgb`` is False; ``in_p3`` whether a Display P3
    screen could show it; ``words`` a plain description.
    """

    XYZ: Spectrum
    Lab: Spectrum
    LCh: Spectrum
    white: Spectrum
    settled: Spectrum
    srgb: Spectrum
    in_srgb: bool
    in_p3: bool
    words: str

    def __repr__(self) -> str:
        L, a, b = self.Lab
        return f"Reading(L* {L:.1f}, a* {a:.1f}, b* {b:.1f}, {self.hex}, {self.words!r})"

    @property
    def hex(self) -> str:
        """The screen colour as "#rrggbb"."""
        return screen_code(self.srgb)


def reading(
    radiance: ArrayLike,
    illumination: ArrayLike,
    white: ArrayLike | None = None,
    observer: str = "2",
    adapt: bool = True,
) -> Reading:
    """The colour of one spectrum.

    Parameters
    ----------
    radiance : array, shape (41,)
        What reaches the eye, any scale.
    illumination : array, shape (41,)
        What the perfect diffuser would send in the same scale: sets Y = 100 (see ``xyz``).
    white : array, shape (41,), optional
        Relative spectrum of the light that the eye is adapted to; default ``illumination``.
    observer : "2" or "10"
    adapt : bool
        True: Lab is relative to the adopted white, and the screen colour is CAT16-adapted from
        it to D65. False: the eye is adapted to D65, so the colour cast of the light stays in.

    Raises
    ------
    InputError
        Wrong number of bands, values that are not finite, no light, an unknown observer, or a
        radiance that cannot be of this illumination.

    Examples
    --------
    >>> light = np.ones(41)
    >>> reading(0.5 * light, light).words, reading(0.5 * light, light).Lab.round(1).tolist()
    ('light grey', [76.1, 0.0, 0.0])
    """
    if np.ndim(radiance) != 1:
        raise InputError(f"a reading takes one spectrum of {BANDS} bands")
    XYZ = xyz(radiance, illumination, observer)
    if not np.all(XYZ <= BRIGHTEST):
        raise InputError("the radiance is far above its illumination; give both on one scale")
    on_screen = to_screen_white(illumination, white, observer, adapt) @ XYZ
    whites = adopted_white(illumination, white, observer, adapt), daylight_white("2")
    Lab, shown = lab_from_xyz(np.stack([XYZ, on_screen]), np.stack(whites))
    srgb, fits = srgb_from_xyz(on_screen)
    return Reading(
        frozen(XYZ),
        frozen(Lab),
        frozen(lch_from_lab(Lab)),
        frozen(whites[0]),
        frozen(shown),
        frozen(srgb),
        bool(fits),
        bool(in_gamut(linear_from_xyz(on_screen, "Display P3"))),
        colour_words(shown),
    )


def readings_lab(
    radiance: ArrayLike,
    illumination: ArrayLike,
    white: ArrayLike | None = None,
    observer: str = "2",
    adapt: bool = True,
) -> FloatArray:
    """Lab of many spectra, as :func:`reading` tells it of one.

    Parameters
    ----------
    radiance : array, shape (..., 41)
        What reaches the eye, on the scale of ``illumination``.
    illumination, white : array, shape (41,)
        What the perfect diffuser would send, and the light that the eye is adapted to (None: the
        same).
    observer : "2" or "10"
    adapt : bool
        False: Lab is relative to D65.

    Returns
    -------
    ndarray, shape (..., 3)

    Raises InputError for spectra of a wrong shape or without light, and for an unknown observer.

    Examples
    --------
    >>> light = np.ones(41)
    >>> readings_lab(np.outer([0.2, 0.5], light), light).round(1)[:, 0].tolist()
    [51.8, 76.1]
    """
    XYZ = xyz(radiance, illumination, observer)
    return lab_from_xyz(XYZ, adopted_white(illumination, white, observer, adapt))


def adopted_white(
    illumination: ArrayLike, white: ArrayLike | None, observer: str, adapt: bool
) -> FloatArray:
    """XYZ (3,), Y = 100, of the white that Lab is relative to.

    That is the light the eye is adapted to, ``white`` (41,) or, where it is None, ``illumination``
    (41,), seen by ``observer`` ("2" or "10"); D65 where it does not ``adapt``. Raises InputError
    for a light of a wrong shape, and for an unknown observer.

    Examples
    --------
    >>> float(adopted_white(np.ones(41), None, "2", True)[1])
    99.99999999999999
    """
    if not adapt:
        return daylight_white(str(observer))
    adopted = checked_spectrum(illumination if white is None else white, "the adapting light")
    return xyz(adopted, adopted, observer)


__all__ = [
    "SPACES",
    "Reading",
    "adopted_white",
    "as_seen_in",
    "ciede2000",
    "cielab_difference",
    "cmc",
    "colour_words",
    "daylight_white",
    "encode",
    "fit_to_gamut",
    "icc_profile",
    "in_gamut",
    "lab_from_xyz",
    "lch_from_lab",
    "linear_from_xyz",
    "linear_rgb",
    "metamerism_index",
    "reading",
    "readings_lab",
    "settled",
    "spectrum_from_lab",
    "spectrum_from_srgb",
    "spectrum_from_xyz",
    "srgb_from_xyz",
    "would_see",
    "xyz",
    "xyz_from_lab",
]
