"""A light as chosen by someone who faces the cloth.

Knows named places, sides and heights, and how they become scenes; knows nothing of cloth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from weavecolor.colour.lights import lamp
from weavecolor.errors import InputError, within
from weavecolor.scene.places import custom_scene, known_scene, scene, with_light_from, with_viewer
from weavecolor.scene.scene import APERTURE_DEG, WIDEST_DEG, Scene

OWN_LIGHT = "light of your own"
#: The narrowest and the widest light of one's own, degrees to each side.
WIDTHS_DEG = int(APERTURE_DEG), int(WIDEST_DEG)


@dataclass(frozen=True)
class LightChoice:
    """Where it is seen. Sides and heights in degrees, as someone facing the cloth would say.

    ``side_deg``: 0 straight ahead, positive to the right, beyond 90 behind the cloth.
    ``height_deg``: above the level, negative from below. They count where ``moved`` is set or
    the place is a light of one's own; the eye's where ``eye_moved`` is. A light of one's own
    spreads over ``wide_deg`` to each side, and ``soft`` of it comes from all around. Raises
    InputError for a place or lamp that is not known, a side beyond 180, a height beyond 90 degrees,
    a width outside 5 to 30, or ``soft`` outside 0 to 1.
    """

    place: str = "window at the side"
    moved: bool = False
    side_deg: int = 55
    height_deg: int = 0
    lamp: str = "daylight"
    soft: float = 0.3
    eye_moved: bool = False
    eye_side_deg: int = 0
    eye_height_deg: int = 0
    wide_deg: int = WIDTHS_DEG[0]

    def __post_init__(self) -> None:
        for name, least, most in (
            ("side_deg", -180, 180), ("eye_side_deg", -180, 180), ("height_deg", -90, 90),
            ("eye_height_deg", -90, 90), ("wide_deg", *WIDTHS_DEG),
        ):  # fmt: skip
            angle = getattr(self, name)
            whole = isinstance(angle, int) and not isinstance(angle, bool)
            if not (whole and least <= angle <= most):
                raise InputError(f"must be a whole number from {least} to {most}", field=name)
        within("soft", self.soft, 0.0, 1.0)
        lamp(self.lamp)
        if self.place != OWN_LIGHT:
            known_scene(self.place)


def place_name(place: str) -> str:
    """The one name of a place, however it was called; a light of one's own keeps its.

    Examples
    --------
    >>> place_name("Candle"), place_name(OWN_LIGHT) == OWN_LIGHT
    ('candlelit', True)
    """
    return place if place == OWN_LIGHT else scene(place).name


def direction(side_deg: float, height_deg: float) -> tuple[float, float]:
    """Zenith and azimuth (degrees, garment frame) of a light or eye at that side and height.

    Examples
    --------
    >>> [round(x, 6) for x in direction(55.0, 0.0)]
    [55.0, 90.0]
    """
    side, height = np.radians(side_deg), np.radians(height_deg)
    ahead, right, up = (
        np.cos(height) * np.cos(side),
        np.cos(height) * np.sin(side),
        np.sin(height),
    )
    zenith = float(np.degrees(np.arccos(np.clip(ahead, -1.0, 1.0))))
    return zenith, float(np.degrees(np.arctan2(right, -up)) % 360.0)


@lru_cache(maxsize=256)
def scene_of(light: LightChoice) -> Scene:
    """The scene that was chosen, called by its words. Raises InputError for a place or lamp that is
    not known.

    Examples
    --------
    >>> scene_of(LightChoice("footlights")).name
    'footlights'
    """
    zenith, azimuth = direction(light.side_deg, light.height_deg)
    if light.place == OWN_LIGHT:
        made = custom_scene(
            light.lamp, zenith, azimuth, light.soft, half_deg=light.wide_deg
        )
    else:
        made = scene(light.place)
        if light.moved:
            made = with_light_from(made, zenith, azimuth)
    if light.eye_moved:
        eye_zenith, eye_azimuth = direction(light.eye_side_deg, light.eye_height_deg)
        made = with_viewer(made, min(eye_zenith, 85.0), eye_azimuth)
    return replace(made, name=light_words(light))


def light_words(light: LightChoice) -> str:
    """The light in a few words, and the eye where it is moved.

    Examples
    --------
    >>> light_words(LightChoice("footlights"))
    'footlights'
    >>> light_words(LightChoice("ballroom", eye_moved=True, eye_side_deg=-40))
    'ballroom, seen from 40° left, level'
    """
    told = light.place
    if light.place == OWN_LIGHT:
        told += f" ({light.lamp}, {light.wide_deg}° wide to each side, {light.soft:.0%} all around)"
    if light.moved or light.place == OWN_LIGHT:
        told += f", light from {_aside(light.side_deg, light.height_deg)}"
    if light.eye_moved:
        told += f", seen from {_aside(light.eye_side_deg, light.eye_height_deg)}"
    return told


def _aside(side_deg: int, height_deg: int) -> str:
    side, height = (
        f"{abs(angle)}° {more if angle > 0 else less}" if angle else none
        for angle, more, less, none in (
            (side_deg, "right", "left", "straight ahead"), (height_deg, "up", "down", "level"),
        )
    )  # fmt: skip
    return f"{side}, {height}"
