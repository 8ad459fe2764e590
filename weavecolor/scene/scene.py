"""Where the garment is seen: lights with directions and spectra, room light, and the viewer.

Knows light; knows nothing of cloth. Directions are in the garment's frame: zenith angle from
the outward normal of the cloth, azimuth anticlockwise from "down the garment" (grain_deg 0).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from weavecolor.colour.spectra import BANDS, ByValue, Spectrum, frozen
from weavecolor.errors import InputError

#: Half the angle of a small lamp, or of an eye at arm's length, degrees: exact directions are not
#: defined for smooth rods, and no light is narrower.
APERTURE_DEG = 5.0
#: Half the angle of the widest light that is one light, degrees.
WIDEST_DEG = 30.0
#: Least share of a light that counts for itself where the cloth's plane cuts it.
_LEAST = 1e-4


def shares(zenith_deg: float, half_deg: float) -> tuple[float, float]:
    """Irradiance before and behind the plane of the cloth, over that of a plane that faces the
    light: of a disc of even radiance whose middle lies at ``zenith_deg`` (0 to 180), ``half_deg``
    to each side (above 0, below 90). Where the plane cuts it both sides are lit (the configuration
    factor of a small plane and a sphere that it cuts: J. R. Howell, A Catalog of Radiation Heat
    Transfer Configuration Factors; from memory).

    Examples
    --------
    >>> shares(60.0, 15.0)[1], [round(x, 3) for x in shares(90.0, 30.0)]
    (0.0, [0.115, 0.115])
    """
    cosine = float(np.cos(np.radians(zenith_deg)))
    wide, high = np.radians(half_deg), np.radians(90.0 - zenith_deg)
    if abs(high) >= wide:
        return max(cosine, 0.0), max(-cosine, 0.0)
    low, sine = np.sin(wide), np.cos(high)
    # the chord of the horizon, by the angle it takes of the disc and of the sky
    over = np.arccos(np.clip(-np.tan(high) / np.tan(wide), -1.0, 1.0))
    sky = np.arcsin(np.clip(np.cos(wide) / sine, -1.0, 1.0))
    chord = np.cos(wide) * np.sqrt(max(low**2 - cosine**2, 0.0))
    front = float((0.5 * np.pi - sky - chord) / low**2 + cosine * over) / np.pi
    return max(front, 0.0), max(front - cosine, 0.0)


def toward(zenith_deg: float, azimuth_deg: float) -> tuple[float, float, float]:
    """A direction, degrees as above, to the right of one who faces the cloth, up, and ahead of it.

    Examples
    --------
    >>> [round(x, 3) for x in toward(90.0, 180.0)]  # from above, along the cloth
    [0.0, 1.0, 0.0]
    """
    zenith, azimuth = np.radians(zenith_deg), np.radians(azimuth_deg)
    flat = np.sin(zenith)
    return float(flat * np.sin(azimuth)), float(-flat * np.cos(azimuth)), float(np.cos(zenith))


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
        On a plane facing the light (the cloth plane gets it times cos zenith, where the plane
        does not cut the light: :func:`shares`), from 0, on any radiometric scale.
    half_deg : float
        Half the angle that it spreads over, degrees: 5 (a small lamp) to 30 (a window close by).
    side : int
        0 all of it; 1 or -1 only what lies before or behind the plane of the cloth, of a light
        that the plane cuts.
    reach : float
        Share of it that other cloth does not take before, 0 to 1.

    Raises
    ------
    InputError
        For a zenith outside 0 to 180, a width outside 5 to 30, and for an irradiance that is none.

    Notes
    -----
    The plane of the cloth gets E cos(zenith) (Lambert's cosine law), E its ``irradiance``.

    References
    ----------
    ISO 80000-7:2019, Light and radiation, irradiance, from memory.

    Examples
    --------
    >>> float(Light(60.0, 90.0, np.ones(41)).on_cloth[0].round(3))
    0.5
    """

    zenith_deg: float
    azimuth_deg: float
    irradiance: Spectrum
    half_deg: float = APERTURE_DEG
    side: int = 0
    reach: float = 1.0

    def __post_init__(self) -> None:
        if not APERTURE_DEG <= self.half_deg <= WIDEST_DEG:
            raise InputError(
                f"a light spreads over {APERTURE_DEG:g} (a small lamp) to {WIDEST_DEG:g} degrees "
                f"to each side, got {self.half_deg:g}"
            )
        if not (0.0 <= self.zenith_deg <= 180.0 and np.isfinite(self.azimuth_deg)):
            raise InputError("a light's zenith is 0 to 180 degrees, its azimuth any number of them")
        if not 0.0 <= self.reach <= 1.0:
            raise InputError(f"of a light a share of 0 to 1 arrives, got {self.reach:g}")
        if self.side not in (-1, 0, 1):
            raise InputError("a light's side is 1 (before the cloth), -1 (behind it) or 0 (both)")
        object.__setattr__(self, "irradiance", energy("a light's irradiance", self.irradiance))

    def __repr__(self) -> str:
        return f"Light({self.zenith_deg:g}, {self.azimuth_deg:g})"

    @property
    def before(self) -> bool:
        """Whether it lights the outside: of a light that is cut, the side that is meant."""
        return self.side > 0 or (self.side == 0 and self.zenith_deg < 90.0)

    @property
    def way(self) -> tuple[float, ...]:
        """Zenith, azimuth and half the angle; of a light behind, of what lies straight opposite.
        Where the middle of a light that is cut lies beyond the plane, of its mirror image in it,
        and 1 behind that."""
        zenith, azimuth = self.zenith_deg, self.azimuth_deg
        if not self.before:
            zenith, azimuth = 180.0 - zenith, (azimuth + 180.0) % 360.0
        # in the very plane a direction has no side
        above = min(90.0 - abs(90.0 - zenith), 90.0 - 1e-3)
        return above, azimuth, self.half_deg, *((1.0,) if zenith >= 90.0 else ())

    @property
    def on_cloth(self) -> Spectrum:
        """Irradiance on the plane of the cloth, (41,), from whichever side it comes."""
        front, back = shares(self.zenith_deg, self.half_deg)
        on = self.reach * (front * (self.side >= 0) + back * (self.side <= 0))
        return np.asarray(self.irradiance * on)

    def parts(self) -> tuple[Light, ...]:
        """The light, or what lies before and what behind the plane of the cloth if it is cut."""
        sides = shares(self.zenith_deg, self.half_deg)
        if min(sides) < _LEAST:
            return (self,)
        return replace(self, side=1), replace(self, side=-1)


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
    views : tuple of Scene
        The place as parts of the cloth meet it that lie otherwise: what is seen is their mean. The
        lights above are as cloth meets them that is held flat, and tell what white is.
    share : float
        Of a view, its share of what is seen, above 0 to 1.
    around : ndarray, shape (41,), optional
        Irradiance on other cloth, folds of the same, times the share of the hemisphere that they
        take before this part: what they send on of it arrives as even light. None: there is none.

    Raises
    ------
    InputError
        For a viewer who is not before the cloth, for light that is none, and for views that do not
        make a whole.

    Notes
    -----
    The cloth gets sum(E_i cos(zenith_i)) + ``diffuse``; colours are told against a perfect diffuser
    in that, to an eye adapted to ``white``.

    References
    ----------
    CIE 15:2018, Colorimetry.

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
    views: tuple[Scene, ...] = ()
    share: float = 1.0
    around: Spectrum | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.share <= 1.0 or (
            self.views and abs(sum(view.share for view in self.views) - 1.0) > 1e-9
        ):
            raise InputError("the views of a place make a whole, each a share above 0 to 1")
        object.__setattr__(self, "diffuse", energy("diffuse light", self.diffuse))
        object.__setattr__(self, "white", energy("the adapting light", self.white))
        if self.around is not None:
            object.__setattr__(self, "around", energy("light on cloth around", self.around))
        if not 0.0 <= self.view_zenith_deg < 90.0 or not np.isfinite(self.view_azimuth_deg):
            raise InputError("the viewer is in front of the cloth: zenith 0 to below 90 degrees")

    def __repr__(self) -> str:
        return f"Scene({self.name!r}, {len(self.lights)} lights)"

    @cached_property
    def in_front(self) -> tuple[Light, ...]:
        """Lights, or what there is of them, that fall on the outside."""
        return tuple(x for light in self.lights for x in light.parts() if x.before)

    @property
    def by_lights(self) -> Spectrum:
        """Irradiance (41,) of the outside by its lights alone."""
        return sum((x.on_cloth for x in self.in_front), np.zeros(BANDS))

    @cached_property
    def behind(self) -> tuple[Light, ...]:
        """Lights, or what there is of them, that fall on the inside."""
        return tuple(x for light in self.lights for x in light.parts() if not x.before)

    def told(self) -> tuple[object, ...]:
        """All that an answer may depend on but the words, for names that outlast a run: its
        ``repr`` tells scenes apart."""
        return (
            tuple(
                (x.zenith_deg, x.azimuth_deg, x.half_deg, x.side, x.irradiance.tobytes(),
                 *((x.reach,) if x.reach != 1.0 else ()))
                for x in self.lights
            ),
            self.diffuse.tobytes(),
            self.white.tobytes(),
            self.view_zenith_deg,
            self.view_azimuth_deg,
            *((self.share,) if self.share != 1.0 else ()),
            *(() if self.around is None else (self.around.tobytes(),)),
            *(view.told() for view in self.views),
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
