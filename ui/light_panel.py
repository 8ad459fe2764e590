"""The light and the view: a named place, or a light of one's own, moved by side and height."""

from __future__ import annotations

from dataclasses import replace
from html import escape

import streamlit as st

from session import bound, guarded, work
from state import light_of
from weavecolor.colour.lights import lamp, light_names
from weavecolor.making.lightchoice import OWN_LIGHT, WIDTHS_DEG, LightChoice
from weavecolor.making.model import Making
from weavecolor.scene.places import scene, scene_names


@guarded
def draw() -> None:
    light = light_of(work())
    bound(
        st.selectbox,
        "Place",
        "place",
        light.place,
        lambda now, name: _set(now, place=name),
        options=(*scene_names(), OWN_LIGHT),
    )
    own = light.place == OWN_LIGHT
    if not own:
        st.html(f'<p class="wc-told">{escape(scene(light.place).notes)}</p>')
    if own:
        bound(
            st.selectbox,
            "Lamp",
            "lamp",
            light.lamp,
            lambda now, name: _set(now, lamp=name),
            options=light_names(),
            format_func=lambda name: f"{name}: {lamp(name).note}",
        )
        bound(
            st.slider,
            "How soft: share of the light that comes from all around",
            "soft",
            round(100 * light.soft),
            lambda now, share: _set(now, soft=share / 100.0),
            min_value=0,
            max_value=100,
            step=5,
            format="%d %%",
            help="0 is one bare lamp in a dark room, 100 is an overcast sky.",
        )
        bound(
            st.slider,
            "How wide the light is, to each side",
            "wide",
            light.wide_deg,
            lambda now, angle: _set(now, wide_deg=angle),
            min_value=WIDTHS_DEG[0],
            max_value=WIDTHS_DEG[1],
            step=5,
            format="%d°",
            help="5° is a small lamp, 15° a window a metre wide and two metres off, 25° one as "
            "wide as it is far. The wider, the softer the sheen.",
        )
    even = not own and not scene(light.place).lights
    if even:
        st.caption("Here the light comes from everywhere; there is no lamp to move.")
    elif not own:
        bound(
            st.toggle,
            "Move the light",
            "moved",
            light.moved,
            lambda now, on: _set(now, moved=on),
            help="All lamps of the place are gathered into one, from where you put it.",
        )
    if own or (light.moved and not even):
        _where("light", "Light", light.side_deg, light.height_deg, "side_deg", "height_deg", 180)
    bound(
        st.toggle,
        "Move the eye",
        "eye-moved",
        light.eye_moved,
        lambda now, on: _set(now, eye_moved=on),
        help="Off: looking straight at the cloth, as the place has it.",
    )
    if light.eye_moved:
        _where(
            "eye",
            "Eye",
            light.eye_side_deg,
            light.eye_height_deg,
            "eye_side_deg",
            "eye_height_deg",
            75,
        )


def cautions(light: LightChoice) -> None:
    """What to mind where there are flames."""
    if light.place == "candlelit":
        st.html(
            '<div class="wc-caution" role="note"><b>Mind</b> Sheer cloth catches fire from a '
            "candle before it touches it. The house's fire rules decide.</div>"
        )


def _where(
    key: str, title: str, side: int, height: int, side_field: str, height_field: str, most: int
) -> None:
    reach = max(most, abs(side))  # a project may tell of more than is set here
    bound(
        st.slider,
        f"{title}: left or right",
        f"{key}-side",
        side,
        lambda now, angle: _set(now, **{side_field: angle}),
        min_value=-reach,
        max_value=reach,
        step=5,
        format="%d°",
        help="Facing the cloth: 0 is straight ahead, minus is to your left, plus to your right"
        + (", beyond 90 is behind the cloth." if most > 90 else "."),
    )
    top = max(85 if most > 90 else 75, abs(height))
    bound(
        st.slider,
        f"{title}: low or high",
        f"{key}-height",
        height,
        lambda now, angle: _set(now, **{height_field: angle}),
        min_value=-top,
        max_value=top,
        step=5,
        format="%d°",
        help="0 is level, plus is from above, minus from below as footlights are.",
    )


def _set(now: Making, **changes: object) -> Making:
    return replace(now, light=replace(light_of(now), **changes))  # type: ignore[arg-type]
