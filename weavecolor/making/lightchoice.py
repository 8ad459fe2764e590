"""A light as chosen by someone who faces the cloth, and as a project keeps it.

Knows named places, sides and heights, and how they become scenes; knows nothing of cloth.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from weavecolor.errors import InputError
from weavecolor.making.projectdata import Project
from weavecolor.scene.places import custom_scene, scene, with_light_from, with_viewer
from weavecolor.scene.scene import Scene

OWN_LIGHT = "light of your own"


@dataclass(frozen=True)
class LightChoice:
    """Where it is seen. Sides and heights in degrees, as someone facing the cloth would say.

    ``side_deg``: 0 straight ahead, positive to the right, beyond 90 behind the cloth.
    ``height_deg``: above the level, negative from below. They count where ``moved`` is set or
    the place is a light of one's own; the eye's where ``eye_moved`` is.
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
    # Light along the cloth is refused by the scene: the nearest that is not stands for it.
    if abs(zenith - 90.0) < 2.0:
        zenith = 88.0 if zenith <= 90.0 else 92.0
    return zenith, float(np.degrees(np.arctan2(right, -up)) % 360.0)


@lru_cache(maxsize=256)
def scene_of(light: LightChoice) -> Scene:
    """The scene that was chosen. Raises InputError for a place or lamp that is not known.

    Examples
    --------
    >>> scene_of(LightChoice("footlights")).name
    'footlights'
    """
    zenith, azimuth = direction(light.side_deg, light.height_deg)
    if light.place == OWN_LIGHT:
        made = custom_scene(light.lamp, zenith, azimuth, light.soft, name=OWN_LIGHT)
    else:
        made = scene(light.place)
        if light.moved:
            made = with_light_from(made, zenith, azimuth)
    if light.eye_moved:
        eye_zenith, eye_azimuth = direction(light.eye_side_deg, light.eye_height_deg)
        made = with_viewer(made, min(eye_zenith, 85.0), eye_azimuth)
    return made


def light_words(light: LightChoice) -> str:
    """The light in a few words.

    Examples
    --------
    >>> light_words(LightChoice("footlights"))
    'footlights'
    """
    lamp = f" ({light.lamp})" if light.place == OWN_LIGHT else ""
    told = f"{light.place}{lamp}"
    if light.moved or light.place == OWN_LIGHT:
        side = (
            "straight ahead"
            if light.side_deg == 0
            else f"{abs(light.side_deg)}° {'right' if light.side_deg > 0 else 'left'}"
        )
        height = (
            "level"
            if light.height_deg == 0
            else f"{abs(light.height_deg)}° {'up' if light.height_deg > 0 else 'down'}"
        )
        told += f", light from {side}, {height}"
    return told


def light_table(light: LightChoice) -> dict[str, Any]:
    """The light as a project's settings keep it, under "light".

    Examples
    --------
    >>> light_table(LightChoice("footlights"))["place"]
    'footlights'
    """
    return asdict(light)


def light_from(table: object) -> LightChoice:
    """A light from a project's settings; what is strange there is left at its usual value.

    Examples
    --------
    >>> light_from({"place": "footlights"}).place
    'footlights'
    """
    usual = LightChoice()
    if not isinstance(table, dict):
        return usual
    kept: dict[str, Any] = {}
    for name in LightChoice.__dataclass_fields__:
        value, model = table.get(name), getattr(usual, name)
        if isinstance(value, bool) != isinstance(model, bool):
            continue
        if isinstance(model, str) and isinstance(value, str):
            kept[name] = value
        elif isinstance(model, bool) and isinstance(value, bool):
            kept[name] = value
        elif isinstance(model, int | float) and isinstance(value, int | float):
            low, high = (0.0, 1.0) if name == "soft" else (-180.0, 180.0)
            kept[name] = type(model)(min(max(value, low), high))
    light = LightChoice(**kept)
    try:
        scene_of(light)
    except InputError:
        return usual
    return light


def lights_of(project: Project) -> tuple[LightChoice, ...]:
    """The project's lights, the main one first: that in its settings, then its scenes.

    Examples
    --------
    >>> from weavecolor.making.project import Project
    >>> len(lights_of(Project("Cape")))
    1
    """
    main = project.settings.get("light")
    chosen = [light_from(main)] if isinstance(main, dict) else []
    for place in project.scenes:
        if all(place != light.place for light in chosen):
            chosen.append(LightChoice(place=place))
    return tuple(chosen) or (LightChoice(),)
