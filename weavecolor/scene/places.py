"""Places a dressmaker knows, as lights with directions, and scenes of one's own.

Knows where light comes from and of what kind it is; knows nothing of cloth or colour.

Directions are in the garment's frame (see ``scene``). The garment hangs upright, so the cloth's
outward normal is level. Azimuth 0 is down the garment, towards the floor: that is where the
footlights are. Azimuth 180 is up: sky, chandelier, stage battens. Azimuth 90 and 270 are level,
to either side (90 on the right of someone who faces the cloth). Zenith 0 is straight ahead of
the cloth, 90 along it, above 90 behind it. A light at elevation e above the level, straight ahead
of the cloth, is at zenith e, azimuth 180.

Every scene is scaled so that the total irradiance on the cloth plane, from in front and behind,
has photopic Y = 100 (2 degree observer): exposure is set for the place, as the eye does. The
directions, widths, shares and viewers below are typical, chosen by judgement (common practice, no
source); the kinds of light are the CIE's. A light fills a disc evenly; sun, candle, flash and lamp
are narrower than any answer tells apart (:data:`weavecolor.scene.scene.APERTURE_DEG`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from weavecolor.colour.lights import DIM_LIGHTS, light_spectrum
from weavecolor.colour.spectra import Spectrum, frozen
from weavecolor.errors import InputError, meant, shown
from weavecolor.scene.scene import APERTURE_DEG, Light, Scene, shares, toward
from weavecolor.textile.notmodelled import elsewhere

#: Who looks at cloth from nearer to its plane than this sees next to nothing of it.
GRAZING_DEG = 89.0
#: Where a photograph is taken when nobody says otherwise.
PHOTO_SCENE = "window at the side"


@dataclass(frozen=True)
class Beam:
    """One directional light: a light's name, direction, share of the total on the cloth, and half
    the angle that it spreads over, degrees."""

    light: str
    zenith_deg: float
    azimuth_deg: float
    share: float
    half_deg: float = APERTURE_DEG


@dataclass(frozen=True)
class Place:
    """Recipe of a scene: beams, and the light of the diffuse rest (1 minus the beams' shares)."""

    name: str
    beams: tuple[Beam, ...]
    diffuse_light: str
    notes: str
    white: str = ""  #: name of the adapting light; empty: the mixture that falls on the cloth
    view_zenith_deg: float = 0.0
    view_azimuth_deg: float = 0.0


PLACES: tuple[Place, ...] = (
    Place(
        "window at the side",
        (Beam("daylight", 55.0, 90.0, 0.7, 15.0),),
        "daylight",
        "Daylight from one window at the side, a metre wide and two metres off, the rest reflected "
        "by the room.",
    ),
    Place(
        "wide window near by",
        (Beam("daylight", 55.0, 90.0, 0.7, 25.0),),
        "daylight",
        "Daylight from a window at the side that is as wide as it is far; the rest reflected by "
        "the room. Sheen is soft, and grains of shining cloth differ less.",
    ),
    Place(
        "small window far off",
        (Beam("daylight", 55.0, 90.0, 0.7),),
        "daylight",
        "Daylight from a window at the side across a large room, or a narrow one. Sheen is sharp, "
        "and grains of shining cloth differ more.",
    ),
    Place(
        "noon outdoors",
        (Beam("sunlight", 60.0, 180.0, 0.65),),
        "daylight",
        "High sun falling steeply down the garment, open sky and ground around.",
    ),
    Place("overcast", (), "daylight", "Even grey sky: light from everywhere, no shadows."),
    Place(
        "ballroom",
        (
            Beam("ballroom tungsten", 50.0, 150.0, 0.2, 8.0),
            Beam("ballroom tungsten", 45.0, 225.0, 0.2, 8.0),
            Beam("ballroom tungsten", 65.0, 180.0, 0.15, 8.0),
        ),
        "ballroom tungsten",
        "Chandeliers of dimmed bulbs above, light walls around.",
    ),
    Place(
        "candlelit",
        (Beam("candle", 40.0, 120.0, 0.4), Beam("candle", 50.0, 240.0, 0.3)),
        "candle",
        "Candles at head height on both sides. Keep open flame well away from sheer cloth; the "
        "house's fire rules and its safety officer decide.",
    ),
    Place(
        "footlights",
        (Beam("stage tungsten", 55.0, 0.0, 0.7, 10.0),),
        "stage tungsten",
        "A row of lamps along the stage's edge, up the garment.",
    ),
    Place(
        "stage from above",
        (Beam("stage tungsten", 50.0, 160.0, 0.45), Beam("stage tungsten", 50.0, 200.0, 0.45)),
        "stage tungsten",
        "Two halogen lamps above and in front, little else.",
        view_zenith_deg=10.0,
    ),
    Place(
        "stage LED",
        (Beam("stage LED", 50.0, 160.0, 0.45), Beam("stage LED", 50.0, 200.0, 0.45)),
        "stage LED",
        "Two lamps of red, green and blue emitters above and in front: colours that match in "
        "daylight may part here.",
        view_zenith_deg=10.0,
    ),
    Place(
        "flash on camera",
        (Beam("flash", 3.0, 180.0, 0.95),),
        "flash",
        "Flash just above the lens: glossy cloth throws it straight back.",
    ),
    Place(
        "workroom",
        (Beam("fluorescent", 65.0, 180.0, 0.5, 15.0),),
        "fluorescent",
        "Rows of tubes overhead, light walls and table.",
    ),
    Place(
        "lightbox behind",
        (Beam("daylight", 180.0, 0.0, 0.9),),
        "daylight",
        "Light from behind the cloth, seen through it; a little room light in front.",
    ),
)

#: How instruments look (CIE 15): a sphere with the specular in it, and a ring of lamps. As many
#: small lamps as show yarns what a whole ring does, to 0.3 of L*.
_RING = 16
INSTRUMENTS: tuple[Place, ...] = (
    Place("d:8", (), "daylight", "In an instrument with a sphere, specular included.",
          view_zenith_deg=8.0),
    Place("45:0", tuple(Beam("daylight", 45.0, k * 360.0 / _RING, 1.0 / _RING)
                        for k in range(_RING)),
          "daylight", "In an instrument with a ring of light at 45 degrees."),
)  # fmt: skip

_BY_NAME = {place.name.lower(): place for place in (*PLACES, *INSTRUMENTS)}

#: Other words for a place of the list.
ALSO_CALLED: Mapping[str, str] = MappingProxyType(
    {
        "window": "window at the side",
        "by the window": "window at the side",
        "window light": "window at the side",
        "north light": "window at the side",
        "wide window": "wide window near by",
        "large window": "wide window near by",
        "small window": "small window far off",
        "daylight": "window at the side",
        "noon": "noon outdoors",
        **dict.fromkeys(("outdoors", "outside", "out of doors", "garden"), "noon outdoors"),
        "sun": "noon outdoors",
        "sunlight": "noon outdoors",
        "overcast sky": "overcast",
        "cloudy": "overcast",
        "chandelier": "ballroom",
        "chandeliers": "ballroom",
        "candle": "candlelit",
        "candles": "candlelit",
        "candlelight": "candlelit",
        **dict.fromkeys(("by candle", "candle light", "by candlelight"), "candlelit"),
        "footlight": "footlights",
        "stage": "stage from above",
        "on stage": "stage from above",
        "theatre": "stage from above",
        "theater": "stage from above",
        **dict.fromkeys(
            ("fluorescent", "fluorescent light", "fluorescent tubes", "fluorescent lighting",
             "tubes", "strip light", "strip lighting", "office"), "workroom"
        ),  # fmt: skip
        "led": "stage LED",
        "led stage": "stage LED",
        "flash": "flash on camera",
        "camera": "flash on camera",
        "45/0": "45:0",
        "d/8": "d:8",
        "lightbox": "lightbox behind",
        "light box": "lightbox behind",
        "backlit": "lightbox behind",
        "light from behind": "lightbox behind",
    }
)


def scene_names() -> tuple[str, ...]:
    """Names of the scenes, for a list to choose from.

    Examples
    --------
    >>> "window at the side" in scene_names()
    True
    """
    return tuple(place.name for place in PLACES)


def scene(name: str) -> Scene:
    """The named scene, one of :data:`INSTRUMENTS`, or one that :data:`ALSO_CALLED` knows by another
    name.

    Letter case is ignored. Raises InputError with the list for an unknown name.

    Examples
    --------
    >>> scene("candle").name, scene("stage").name
    ('candlelit', 'stage from above')
    """
    return _built(known_scene(name))


def known_scene(name: str) -> str:
    """The name that a scene is kept by; nothing is built. Raises InputError as :func:`scene`.

    Examples
    --------
    >>> known_scene("Candle")
    'candlelit'
    """
    key = " ".join(str(name).split()).lower()
    key = ALSO_CALLED.get(key, key).lower()
    if key not in _BY_NAME:
        raise InputError(
            f"no scene called {shown(name)}; use {', '.join(scene_names())}"
            f"{meant(key, [x.lower() for x in scene_names()]) or elsewhere(key)}"
        )
    return key


@lru_cache(maxsize=64)
def _built(key: str) -> Scene:
    return build(_BY_NAME[key])


def build(place: Place) -> Scene:
    """A scene from its recipe. InputError for shares outside 0-1 or an impossible direction.

    Examples
    --------
    >>> build(PLACES[0]).name == PLACES[0].name
    True
    """
    own = [beam.share for beam in place.beams]
    if not np.isfinite(own).all() or min(own, default=0.0) < 0 or sum(own) > 1 + 1e-9:
        raise InputError(
            f"the shares of light in {place.name!r} must be 0 to 1 and no more than 1 together"
        )
    lights = []
    for beam in place.beams:
        zenith, azimuth = _direction(beam.zenith_deg, beam.azimuth_deg)
        # A plane that faces the light gets more than the cloth, which is turned away from it.
        facing = beam.share / sum(shares(zenith, beam.half_deg))
        falls = frozen(light_spectrum(beam.light) * facing)
        lights.append(Light(zenith, azimuth, falls, beam.half_deg))
    diffuse = light_spectrum(place.diffuse_light) * max(1.0 - sum(own), 0.0)
    made = Scene(
        place.name,
        tuple(lights),
        frozen(diffuse),
        frozen(light_spectrum(place.white)) if place.white else frozen(np.ones(diffuse.size)),
        place.view_zenith_deg,
        place.view_azimuth_deg,
        place.notes,
        {place.diffuse_light, *(beam.light for beam in place.beams)} <= DIM_LIGHTS,
    )
    return made if place.white else replace(made, white=illumination(made))


def illumination(scene: Scene) -> Spectrum:
    """Total spectral irradiance on the cloth plane, from in front and from behind, shape (41,).

    This times a radiance factor is what ``colorimetry.reading`` takes as a radiance, and this is
    its ``illumination``. Light from behind counts: through a lightbox, clear air reads as white.

    Examples
    --------
    >>> illumination(window).shape
    (41,)
    """
    total = np.array(scene.diffuse, dtype=np.float64)
    for light in scene.lights:
        total += light.on_cloth
    return frozen(total)


def custom_scene(
    light: str = "daylight",
    zenith_deg: float = 45.0,
    azimuth_deg: float = 90.0,
    diffuse_share: float = 0.3,
    *,
    diffuse_light: str | None = None,
    white: str | None = None,
    view_zenith_deg: float = 0.0,
    view_azimuth_deg: float = 0.0,
    half_deg: float = APERTURE_DEG,
    name: str = "own light",
) -> Scene:
    """A scene with one named light.

    Parameters
    ----------
    light : str
        Any name of ``lights``.
    zenith_deg, azimuth_deg : float
        Where it comes from: 0 to 180, and any. What the plane of the cloth cuts lights both sides.
    diffuse_share : float
        0 (one lamp in a dark room) to 1 (all around).
    diffuse_light, white : str, optional
        The room's light (default: the same), and the light that the eye is adapted to (default: the
        mixture on the cloth).
    view_zenith_deg, view_azimuth_deg : float
        The viewer: 0 to below 90, and any.
    half_deg : float
        Half the angle that the light spreads over: 5 (a small lamp) to 30 (a window close by).
    name : str

    Raises InputError for what lies outside these, and unknown lights.

    Examples
    --------
    >>> own = custom_scene("daylight", 45.0, 90.0, diffuse_share=0.0)
    >>> own.lights[0].zenith_deg
    45.0
    """
    if not (np.isfinite(diffuse_share) and 0.0 <= diffuse_share <= 1.0):
        raise InputError(f"a diffuse share is 0 to 1, got {diffuse_share:g}")
    view_zenith, view_azimuth = view_direction(view_zenith_deg, view_azimuth_deg)
    beams = (Beam(light, zenith_deg, azimuth_deg, 1.0 - diffuse_share, half_deg),)
    return build(
        Place(
            name,
            beams if diffuse_share < 1.0 else (),
            diffuse_light or light,
            "",
            white or "",
            view_zenith,
            view_azimuth,
        )
    )


def with_light_from(scene: Scene, zenith_deg: float, azimuth_deg: float) -> Scene:
    """The same place with all its directional light coming from one direction.

    The lights of ``scene`` are merged into one from ``zenith_deg`` (0 to 180) and ``azimuth_deg``,
    as wide as the widest, that gives the cloth the same total irradiance; diffuse light, adaptation
    and viewer stay. A scene without directional light is returned unchanged. Raises InputError for
    another direction.

    Examples
    --------
    >>> with_light_from(window, 60.0, 270.0).lights[0].zenith_deg
    60.0
    """
    if not scene.lights:
        return scene
    zenith, azimuth = _direction(zenith_deg, azimuth_deg)
    half_deg = max(light.half_deg for light in scene.lights)
    merged = (illumination(scene) - scene.diffuse) / sum(shares(zenith, half_deg))
    return replace(scene, lights=(Light(zenith, azimuth, frozen(merged), half_deg),))


def with_viewer(scene: Scene, zenith_deg: float, azimuth_deg: float = 0.0) -> Scene:
    """``scene`` seen from another direction: ``zenith_deg`` 0 to below 90, ``azimuth_deg`` any.

    Raises InputError for another zenith.

    Examples
    --------
    >>> with_viewer(window, 30.0).view_zenith_deg
    30.0
    """
    zenith, azimuth = view_direction(zenith_deg, azimuth_deg)
    return replace(scene, view_zenith_deg=zenith, view_azimuth_deg=azimuth)


def turned(scene: Scene, angle_deg: float) -> Scene:
    """The same place with all lights and the viewer turned about the cloth's normal.

    The azimuths grow by ``angle_deg``: what the cloth meets when it turns by minus that angle.

    Examples
    --------
    >>> turned(window, 360.0).lights[0].zenith_deg == window.lights[0].zenith_deg
    True
    """
    if not np.isfinite(angle_deg):
        raise InputError("a turn is a number of degrees")
    lights = tuple(
        replace(light, azimuth_deg=(light.azimuth_deg + angle_deg) % 360.0)
        for light in scene.lights
    )
    view = (scene.view_azimuth_deg + angle_deg) % 360.0
    return replace(scene, lights=lights, view_azimuth_deg=view)


def sides(scene: Scene) -> str:
    """From which side the light comes and from which the eye looks, for one who faces the cloth.

    Examples
    --------
    >>> sides(window), sides(scene("overcast"))
    ('light from the right, seen straight on', 'light from all around, seen straight on')
    >>> sides(scene("lightbox"))
    'light from behind, seen straight on'
    """
    whole = float(np.sum(illumination(scene)))
    strong = [
        _side(x.zenith_deg, x.azimuth_deg)
        for x in sorted(scene.lights, key=lambda x: -float(np.sum(x.irradiance)))
        if np.sum(x.irradiance) * abs(np.cos(np.radians(x.zenith_deg))) > 0.1 * whole
    ]
    joined = ", and from " if any(" and " in words for words in strong) else " and "
    light = joined.join(dict.fromkeys(strong)) or "all around"
    eye = _side(scene.view_zenith_deg, scene.view_azimuth_deg)
    seen = "straight on" if eye == "straight ahead" else f"from {eye}"
    return f"light from {light}, seen {seen}"


def _side(zenith_deg: float, azimuth_deg: float) -> str:
    right, up, ahead = toward(zenith_deg, azimuth_deg)
    words = [
        word
        for there, word in (
            (up > 0.4, "above"), (up < -0.4, "below"), (ahead < 0.0, "behind"),
            (right > 0.4, "the right"), (right < -0.4, "the left"),
        )
        if there
    ]  # fmt: skip
    return " and ".join(words) or "straight ahead"


def view_direction(zenith_deg: float, azimuth_deg: float) -> tuple[float, float]:
    """A viewer's direction checked: in front of the cloth, not along it.

    Examples
    --------
    >>> view_direction(30.0, 0.0)
    (30.0, 0.0)
    """
    zenith, azimuth = _direction(zenith_deg, azimuth_deg)
    if zenith > GRAZING_DEG:
        raise InputError("the viewer is in front of the cloth: zenith 0 to below 89 degrees")
    return zenith, azimuth


def _direction(zenith_deg: float, azimuth_deg: float) -> tuple[float, float]:
    zenith, azimuth = float(zenith_deg), float(azimuth_deg)
    if not np.isfinite([zenith, azimuth]).all():
        raise InputError("a direction is two numbers of degrees: zenith and azimuth")
    if not 0.0 <= zenith <= 180.0:
        raise InputError(
            f"zenith {zenith:g} is no direction: use 0 (straight ahead of the cloth) to 180 "
            "(straight behind it)"
        )
    return zenith, azimuth % 360.0
