"""Where the garment is seen: lights with directions and spectra, room light, and the viewer.

Knows light; knows nothing of cloth. Directions are in the garment's frame: zenith angle from
the outward normal of the cloth, azimuth anticlockwise from "down the garment" (grain_deg 0).
"""

from __future__ import annotations

from dataclasses import dataclass

from weavecolor.colour.spectra import Spectrum


@dataclass(frozen=True, eq=False)
class Light:
    """A directional light. ``irradiance``: spectral irradiance on a plane facing the light (the
    cloth plane gets it times cos zenith), any radiometric scale, shape (41,). ``zenith_deg`` 0 to
    below 90 lights the outside; above 90 to 180 comes from behind (backlight).
    """

    zenith_deg: float
    azimuth_deg: float
    irradiance: Spectrum


@dataclass(frozen=True, eq=False)
class Scene:
    """Directional lights, a uniform diffuse share on the outside, and one viewer on the outside.

    ``diffuse``: spectral irradiance on the cloth plane from a uniform hemisphere, shape (41,).
    ``white``: relative spectrum of the light that the eye is adapted to, shape (41,).
    """

    name: str
    lights: tuple[Light, ...]
    diffuse: Spectrum
    white: Spectrum
    view_zenith_deg: float = 0.0
    view_azimuth_deg: float = 0.0
    notes: str = ""
