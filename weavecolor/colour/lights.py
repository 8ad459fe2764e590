"""Spectra of the lights a maker knows, under plain names.

Knows relative spectral power; knows nothing of directions or cloth. Every spectrum comes from
colour-science (``library``): CIE standard illuminants and series (CIE 15:2018), or Planck's law.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from weavecolor.colour.library import matching_functions, table
from weavecolor.colour.spectra import WAVELENGTHS, Spectrum, frozen
from weavecolor.colour.tristimulus import FloatArray, weights
from weavecolor.errors import InputError, shown


@dataclass(frozen=True)
class Lamp:
    """A named light: the CIE illuminant it stands for, or the temperature of a black body in K."""

    name: str
    illuminant: str = ""
    kelvin: float = 0.0
    note: str = ""


LAMPS: tuple[Lamp, ...] = (
    Lamp("daylight", "D65", note="CIE D65, average daylight"),
    Lamp("D50", "D50", note="CIE D50, horizon daylight; print viewing (ISO 3664)"),
    Lamp("sunlight", "D55", note="CIE D55, sun and sky at midday"),
    Lamp("north sky", "D75", note="CIE D75, light of a north window"),
    Lamp("tungsten", "A", note="CIE A, 2856 K"),
    Lamp("ballroom tungsten", kelvin=2700.0, note="dimmed bulbs, black body at 2700 K"),
    # From memory: a candle flame's colour temperature is given as 1850 to 1930 K.
    Lamp("candle", kelvin=1900.0, note="black body at 1900 K"),
    # From memory: stage tungsten-halogen lamps are rated 3000 to 3200 K.
    Lamp("stage tungsten", kelvin=3200.0, note="halogen stage lamp, black body at 3200 K"),
    Lamp("stage LED", "LED-RGB1", note="CIE LED-RGB1, red, green and blue emitters mixed"),
    Lamp("warm LED", "LED-B1", note="CIE LED-B1, blue LED with phosphor, 2733 K"),
    Lamp("neutral LED", "LED-B3", note="CIE LED-B3, blue LED with phosphor, 4103 K"),
    Lamp("cool LED", "LED-B5", note="CIE LED-B5, blue LED with phosphor, 6598 K"),
    Lamp("fluorescent", "FL2", note="CIE FL2, cool white tube"),
    Lamp("triphosphor", "FL11", note="CIE FL11, narrow-band tube, 4000 K"),
    # Xenon flash tubes are balanced to photographic daylight; the spectrum is an approximation.
    Lamp("flash", "D55", note="camera flash, taken as photographic daylight D55"),
    Lamp("equal energy", "E", note="CIE E, the same power at every wavelength"),
)

#: Largest relative miss of a tristimulus value for which plain sampling of a light will do.
SAMPLING_MISS = 0.005

#: So dim that the eye parts colours less finely (see ``perception``).
DIM_LIGHTS = frozenset({"candle"})

_BY_NAME = {lamp.name.lower(): lamp for lamp in LAMPS}
# The standards' own names are understood too.
_BY_NAME.update({lamp.illuminant.lower(): lamp for lamp in reversed(LAMPS) if lamp.illuminant})


def light_names() -> tuple[str, ...]:
    """Plain names of the lights, for a list to choose from.

    Examples
    --------
    >>> "daylight" in light_names()
    True
    """
    return tuple(lamp.name for lamp in LAMPS)


def lamp(name: str) -> Lamp:
    """The light of that name (or CIE name such as "D65", "A", "FL11"), letter case ignored.

    Raises InputError with the list of lights for any other name.

    Examples
    --------
    >>> lamp("daylight").name
    'daylight'
    """
    try:
        return _BY_NAME[" ".join(str(name).split()).lower()]
    except KeyError:
        raise InputError(f"no light called {shown(name)}; use {', '.join(light_names())}") from None


def light_spectrum(name: str) -> Spectrum:
    """Relative spectral power of a named light, shape (41,), Y = 100 for the 2 degree observer.

    The band values are samples where sampling keeps the light's colour, and means over the band
    (triangle of 10 nm half width) for lamps with narrow lines; then adjusted by the smallest
    relative change that gives the light exactly the tristimulus values of the finer data for
    both standard observers. Narrow lines remain coarse at 10 nm: measured samples under
    "fluorescent" and "triphosphor" are up to 0.8 CIEDE2000 (0.2 on average) from the 5 nm
    calculation, under the other lights up to 0.1.

    Examples
    --------
    >>> light_spectrum("D65").shape
    (41,)
    """
    return _spectrum(lamp(name).name)


@lru_cache(maxsize=64)
def _spectrum(name: str) -> Spectrum:
    chosen = lamp(name)
    if chosen.kelvin:
        return black_body(chosen.kelvin)
    held = table("illuminants")
    return on_bands(held["wavelength_nm"], held[chosen.illuminant])


@lru_cache(maxsize=64)
def black_body(kelvin: float) -> Spectrum:
    """Planck's law at a temperature of 500 to 25000 K, shape (41,), Y = 100.

    Examples
    --------
    >>> warm = black_body(2700.0)
    >>> bool(warm[-1] > warm[0])
    True
    """
    if not (np.isfinite(kelvin) and 500.0 <= kelvin <= 25000.0):
        raise InputError(f"a temperature of {kelvin!r} K is no lamp; use 500 to 25000")
    nm = np.arange(380.0, 781.0)
    metres, c2 = nm * 1e-9, 1.4388e-2  # second radiation constant, m K, as CIE 15 takes it
    power = metres**-5 / np.expm1(c2 / (metres * kelvin))
    return on_bands(nm, power / power.max())


def on_bands(wavelengths: FloatArray, power: FloatArray) -> Spectrum:
    """A finer spectrum of a light as 41 band values, keeping its colour; Y = 100.

    ``wavelengths`` whole nm in even steps that divide 10, spanning 380-780; ``power`` the same
    shape, not negative. Sums over the samples stand for integrals, as CIE 15 lays down for its
    5 nm tables.

    Examples
    --------
    >>> on_bands(np.arange(380.0, 781.0, 5.0), np.ones(81)).shape
    (41,)
    """
    wavelengths, power = np.asarray(wavelengths, float), np.asarray(power, float)
    if not (np.isfinite(power).all() and (power >= 0).all() and power.any()):
        raise InputError("a light needs power that is not negative from 380 to 780 nm")
    inside = (wavelengths >= 380) & (wavelengths <= 780)
    nm, fine = wavelengths[inside], power[inside]
    table = np.hstack([weights("2"), weights("10")])
    cmfs = np.hstack([matching_functions("2"), matching_functions("10")])
    target = fine @ cmfs[np.rint(nm - 360).astype(int)] * (nm[1] - nm[0])
    bands = np.interp(WAVELENGTHS, nm, fine)
    if (np.abs(bands @ table / target - 1.0) > SAMPLING_MISS).any():
        triangle = np.clip(1.0 - np.abs(nm[None, :] - WAVELENGTHS[:, None]) / 10.0, 0.0, None)
        bands = triangle @ fine / triangle.sum(axis=1)
    # Smallest relative change c, with bands (1 + c) @ table = target.
    change = np.linalg.lstsq(table.T * bands, target - bands @ table, rcond=None)[0]
    bands = bands * (1.0 + change)
    return frozen(bands * (100.0 / (bands @ weights("2")[:, 1])))
