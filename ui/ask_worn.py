"""Where worn: the places it will be seen in, and the light moved by hand. Knows these choices."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

import light_panel
import show_panel
import strip
from livepicture import ground
from orders import Waiting
from session import fold, guarded, whole, work
from state import light_of, table_of
from strip import AS_IT_LIES, Choice
from weavecolor.errors import capital
from weavecolor.making.lightchoice import LightChoice
from weavecolor.making.model import Making, MakingOption
from weavecolor.scene.places import scene_names

#: Shown first; the others follow when asked for.
FIRST = ("window at the side", "overcast", "ballroom", "candlelit", "footlights", "stage LED")
ALL = "all-places"


@guarded
def draw(waiting: Waiting) -> None:
    now = work()
    light = light_of(now)
    strip.draw("worn", choices(now), waiting, ground=ground())
    light_panel.cautions(light)
    if not st.session_state.get(ALL):
        st.button("All places", key="all-the-places", on_click=_all)
    if fold("By hand: light and lamp", "by-hand"):
        light_panel.draw()
    if fold("From light to light", "every-light"):
        show_panel.lights(waiting)


def choices(now: Making) -> list[Choice]:
    """The places; what it is lit by now before them where that is none of them."""
    table, light = table_of(now), light_of(now)
    names = scene_names() if st.session_state.get(ALL) else FIRST
    made = [_choice(table, light, name) for name in names]
    if any(c.chosen for c in made):
        return made
    return [Choice(AS_IT_LIES, "As it is lit now", table, lambda w: w, True, light), *made]


@whole
def _all() -> None:
    st.session_state[ALL] = True


def _choice(table: MakingOption, light: LightChoice, place: str) -> Choice:
    there = light if light.place == place else LightChoice(place=place)

    def take(now: Making) -> Making:
        return replace(now, light=there)

    return Choice(place.replace(" ", "-"), capital(place), table, take, light.place == place, there)
