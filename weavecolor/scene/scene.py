"""Where the garment is seen: lights with directions and spectra, room light, and the viewer.

Knows light; knows nothing of cloth. Directions are in the garment's frame: zenith angle from
the outward normal of the cloth, azimuth anticlockwise from "down the garment" (grain_deg 0).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weavecolor.colour.spectra import BANDS, ByValue, Spectrum, frozen
from weavecolor.errors import InputError

#: Half the angle of a small lamp, or of an eye at arm's length, degrees: exact directions are not
#: defined for smooth rods, and no light is narrower.
APERTURE_DEG = 5.0
#: Half the angle of the widest light that is one light, degrees.
WIDEST_DEG = 30.0


@dataclass(frozen=True, eq=False)
class Light(ByValue):
    """A directional light.

    Parameters
    ----------
    zenith_deg : float
        From the outward normal, degrees: 0 to below 90 lights the outside, above 90 to 180 comes
        from behind.
    azimuth_deg : float
        Anticlockwise from "down the garment", degrees.
    irradiance : ndarray, shape (41,)
        On a plane facing the light (the cloth plane gets it times cos zenith), from 0, on any
        radiometric scale.
    half_deg : float
        Half the angle that it spreads over, degrees: 5 (a small lamp) to 30 (a window close by).

    Raises
    ------
    InputError
        For a zenith outside 0 to 180, a width outside 5 to 30, and for an irradiance that is none.

    Examples
    --------
    >>> float(Light(60.0, 90.0, np.ones(41)).on_cloth[0].round(3))
    0.5
    """

    zenith_deg: float
    azimuth_deg: float
    irradiance: Spectrum
    half_deg: float = APERTURE_DEG

    def __post_init__(self) -> None:
        if not APERTURE_DEG <= self.half_deg <= WIDEST_DEG:
            raise InputError(
                f"a light spreads over {APERTURE_DEG:g} (a small lamp) to {WIDEST_DEG:g} degrees "
                f"to each side, got {self.half_deg:g}"
            )
        if not (0.0 <= self.zenith_deg <= 180.0 and np.isfinite(self.azimuth_deg)):
            raise InputError("a light's zenith is 0 to 180 degrees, its azimuth any number of them")
        object.__setattr__(self, "irradiance", energy("a light's irradiance", self.irradiance))

    def __repr__(self) -> str:
        return f"Light({self.zenith_deg:g}, {self.azimuth_deg:g})"

    @property
    def way(self) -> tuple[float, float, float]:
        """Zenith, azimuth and half the angle; of a light behind, of what lies straight opposite."""
        if self.zenith_deg < 90.0:
            return self.zenith_deg, self.azimuth_deg, self.half_deg
        return 180.0 - self.zenith_deg, (self.azimuth_deg + 180.0) % 360.0, self.half_deg

    @property
    def on_cloth(self) -> Spectrum:
        """Irradiance on the plane of the cloth, (41,), from whichever side it comes."""
        return np.asarray(self.irradiance * abs(np.cos(np.radians(self.zenith_deg))))


@dataclass(frozen=True, eq=False)
class Scene(ByValue):
    """Directional lights, a uniform diffuse share on the outside, and one viewer on the outside.

    Parameters
    ----------
    name : str
    lights : tuple of Light
    diffuse : ndarray, shape (41,)
        Spectral irradiance on the cloth plane from a uniform hemisphere, from 0.
    white : ndarray, shape (41,)
        Relative spectrum of the light that the eye is adapted to.
    view_zenith_deg, view_azimuth_deg : float
        Where the viewer stands, degrees as for :class:`Light`; zenith 0 to below 90.
    notes : str
    dim : bool
        So little light that the eye parts colours less finely.

    Raises
    ------
    InputError
        For a viewer who is not before the cloth, and for light that is none.

    Examples
    --------
    >>> Scene("even", (), np.ones(41), np.ones(41))
    Scene('even', 0 lights)
    """

    name: str
    lights: tuple[Light, ...]
    diffuse: Spectrum
    white: Spectrum
    view_zenith_deg: float = 0.0
    view_azimuth_deg: float = 0.0
    notes: str = ""
    dim: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "diffuse", energy("diffuse light", self.diffuse))
        object.__setattr__(self, "white", energy("the adapting light", self.white))
        if not 0.0 <= self.view_zenith_deg < 90.0 or not np.isfinite(self.view_azimuth_deg):
            raise InputError("the viewer is in front of the cloth: zenith 0 to below 90 degrees")

    def __repr__(self) -> str:
        return f"Scene({self.name!r}, {len(self.lights)} lights)"

    @property
    def in_front(self) -> tuple[Light, ...]:
        """Lights that fall on the outside."""
        return tuple(x for x in self.lights if x.zenith_deg < 90.0)

    @property
    def behind(self) -> tuple[Light, ...]:
        """Lights that fall on the inside."""
        return tuple(x for x in self.lights if x.zenith_deg > 90.0)

    def told(self) -> tuple[object, ...]:
        """All that an answer may depend on but the words, for names that outlast a run: its
        ``repr`` tells scenes apart."""
        return (
            tuple(
                (x.zenith_deg, x.azimuth_deg, x.half_deg, x.irradiance.tobytes())
                for x in self.lights
            ),
            self.diffuse.tobytes(),
            self.white.tobytes(),
            self.view_zenith_deg,
            self.view_azimuth_deg,
        )


def energy(what: str, values: Spectrum) -> Spectrum:
    """A read-only spectrum (41,) of light, zero or more in every band; InputError otherwise.

    Examples
    --------
    >>> energy("light", np.ones(41)).flags.writeable
    False
    """
    found = np.asarray(values, dtype=np.float64)
    if found.shape != (BANDS,) or not (np.isfinite(found).all() and found.min() >= 0.0):
        raise InputError(f"{what} is {BANDS} numbers from 0 up, one for each band")
    return found if not found.flags.writeable else frozen(found)
