"""What will be seen under the outer cloth, and the choice under every light."""

from __future__ import annotations

from html import escape
from typing import Any

import streamlit as st

import bench
from session import guarded, plain, work
from state import decided_option, digest, light_of, stack_key, stack_of
from weavecolor.decide import showthrough
from weavecolor.decide.underlights import UnderLights, suited, under_lights
from weavecolor.making.lightchoice import scene_of
from weavecolor.making.model import Making
from weavecolor.optics.stack import Stack
from weavecolor.scene.scene import Scene

SIGNS = {"hidden": "○", "faint": "◐", "plain": "●"}


@guarded
def through() -> None:
    """What shows through the choice in the light of the work."""
    now = work()
    option = decided_option(now)
    for item in shown(now):
        st.markdown(f"{SIGNS.get(item.grade, '')} {plain(item.words)}")
    st.caption(
        "Held flat. ● plain, ◐ faint, ○ hidden. CIEDE2000 against the same stack without it; tapes "
        "are taken as opaque cotton, dark or white: assumed, not measured."
    )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        what = st.selectbox("How many outer layers hide", tuple(showthrough.ITEMS), key="hide-what")
        asked = st.button("Find out", key="hide")
    if asked:
        stack = stack_of(now, option)
        with st.spinner("Adding layers …"):
            make = showthrough.ITEMS[what]
            tried = showthrough.by_layers(stack, make, scene_of(light_of(now)), "hidden")
        st.markdown(plain(showthrough.remedy_words(tried, "hidden")))


def shown(now: Making) -> tuple[showthrough.ShowThrough, ...]:
    """The usual things under a dress of the choice, each with its sentence."""
    stack = stack_of(now, decided_option(now))
    names = tuple((digest(x.cloth), x.cloth.known) for x in stack.layers)
    return _through((stack_key(stack), names, light_of(now)), stack, scene_of(light_of(now)))


@st.cache_resource(max_entries=60, show_spinner="Looking under the cloth …")
def _through(
    key: tuple[Any, ...], _stack: Stack, _scene: Scene
) -> tuple[showthrough.ShowThrough, ...]:
    return tuple(showthrough.show_through(item, _scene) for item in showthrough.usual_items(_stack))


@guarded
def lights() -> None:
    """The choice in every place, the worst change named."""
    now = work()
    stack = stack_of(now, decided_option(now))
    found = _lights((stack_key(stack),), stack)
    figures = []
    for name, look in zip(found.names, found.looks, strict=True):
        r = look.reading
        figures.append(
            bench.figure(
                bench.swatch(r.hex, r.words, not r.in_srgb),
                name,
                f"{r.words}, {r.hex} · L*\u00a0{r.Lab[0]:.0f}",
            )
        )
    st.html(f'<div class="wc-lights">{"".join(figures)}</div>')
    st.html(
        f'<p class="wc-told">Held flat. {escape(found.words)} Each as it looks once the eye has '
        "settled to that light.</p>"
    )


@st.cache_resource(max_entries=30, show_spinner="Carrying it from light to light …")
def _lights(key: tuple[Any, ...], _stack: Stack) -> UnderLights:
    return under_lights(_stack, suited(_stack))
