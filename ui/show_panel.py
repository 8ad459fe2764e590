"""What will be seen under the outer cloth, and the choice under every light."""

from __future__ import annotations

import json
from collections.abc import Sequence
from html import escape
from typing import Any

import streamlit as st

import bench
import looks
import orders
from orders import Order, Waiting
from session import guarded, plain, work
from state import decided_option, digest, light_of, stack_key, stack_of
from weavecolor.decide import showthrough
from weavecolor.decide.underlights import UnderLights, suited, under_lights
from weavecolor.making.lightchoice import scene_of
from weavecolor.making.model import Making
from weavecolor.optics.stack import Stack
from weavecolor.scene.folds import hung
from weavecolor.scene.scene import Scene

SIGNS = {"hidden": "○", "faint": "◐", "plain": "●"}
HOW = (
    "{}. ● plain, ◐ faint, ○ hidden. CIEDE2000 against the same stack without it; tapes are taken "
    "as opaque cotton, dark or white: assumed, not measured."
)


@guarded
def through(waiting: Waiting) -> None:
    """What shows through the choice in the light of the work: at once of cloth held flat, as it
    hangs once that is known."""
    now = work()
    option = decided_option(now)
    told = shown(now)
    lines = [st.empty() for _ in told]
    how = st.empty()

    def tell(items: list[list[str]], lies: str) -> None:
        for line, (grade, words) in zip(lines, items, strict=True):
            line.markdown(f"{SIGNS.get(grade, '')} {plain(words)}")
        how.caption(HOW.format(lies))

    tell(_plainly(told), "Held flat")
    if looks.hangs(now, None) and orders.drawing():
        order = in_folds(now)
        waiting.place(order, lambda data: tell(json.loads(data), "As it hangs"), orders.SHELF)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        what = st.selectbox("How many outer layers hide", tuple(showthrough.ITEMS), key="hide-what")
        asked = st.button("Find out", key="hide")
    if asked:
        stack = stack_of(now, option)
        with st.spinner("Adding layers …"):
            make = showthrough.ITEMS[what]
            tried = showthrough.by_layers(stack, make, scene_of(light_of(now)), "hidden")
        st.markdown(plain(f"Held flat. {showthrough.remedy_words(tried, 'hidden')}"))


def shown(now: Making) -> tuple[showthrough.ShowThrough, ...]:
    """The usual things under a dress of the choice, each with its sentence."""
    key, stack = _shown_key(now)
    return _looked_under(key, stack, scene_of(light_of(now)))


def in_folds(now: Making) -> Order:
    """As :func:`shown`, of cloth as it hangs, grade and sentence of each: worked out aside. Raises
    InputError for a light in which it does not hang."""
    place, (key, stack) = hung(scene_of(light_of(now))), _shown_key(now)
    return Order(
        orders.name_of("shown", key),
        lambda: json.dumps(_plainly(_through(stack, place))).encode(),
    )


def _shown_key(now: Making) -> tuple[tuple[Any, ...], Stack]:
    """What is told of things under the choice hangs on this; and the choice."""
    stack = stack_of(now, decided_option(now))
    return (*_content(stack), light_of(now)), stack


def _content(stack: Stack) -> tuple[Any, ...]:
    """Its look, and how its cloths are known and called."""
    return stack_key(stack), tuple((digest(x.cloth), x.cloth.known) for x in stack.layers)


def _plainly(items: Sequence[showthrough.ShowThrough]) -> list[list[str]]:
    return [[item.grade, item.words] for item in items]


@st.cache_resource(max_entries=60, show_spinner="Looking under the cloth …")
def _looked_under(
    key: tuple[Any, ...], _stack: Stack, _scene: Scene
) -> tuple[showthrough.ShowThrough, ...]:
    return _through(_stack, _scene)


def _through(stack: Stack, place: Scene) -> tuple[showthrough.ShowThrough, ...]:
    return tuple(told for (told,) in showthrough.shown_in(showthrough.usual_items(stack), [place]))


@guarded
def lights(waiting: Waiting) -> None:
    """The choice in every place, the worst change named: at once held flat, as it hangs once that
    is known."""
    now = work()
    stack = stack_of(now, decided_option(now))
    place = st.empty()

    def tell(told: list[Any], lies: str) -> None:
        figures, words = told
        shown = "".join(
            bench.figure(
                bench.swatch(code, said, beyond),
                where,
                f"{said}, {code} · L*\u00a0{L:.0f}, give or take {doubt:.0f} (CIEDE2000)",
            )
            for where, code, said, beyond, L, doubt in figures
        )
        place.html(
            f'<div class="wc-lights">{shown}</div><p class="wc-told">{lies}. {escape(words)} Each '
            "as it looks once the eye has settled to that light.</p>"
        )

    tell(_lit(_content(stack), stack), "Held flat")
    if orders.drawing():
        order = lights_in_folds(stack)
        waiting.place(order, lambda data: tell(json.loads(data), "As it hangs"), orders.SHELF)


def lights_in_folds(stack: Stack) -> Order:
    """What is told of ``stack`` in every place it hangs in: worked out aside."""
    return Order(
        orders.name_of("lights", _content(stack)),
        lambda: json.dumps(_told(under_lights(stack, suited(stack, hung=True)))).encode(),
    )


def _told(found: UnderLights) -> list[Any]:
    """Place, code, words, whether the screen shows it, L* and how far off each look may be; the
    worst change."""
    seen = [look.reading for look in found.looks]
    figures = [
        [name, r.hex, r.words, not r.in_srgb, float(r.Lab[0]), doubt]
        for name, r, doubt in zip(found.names, seen, found.doubts, strict=True)
    ]
    return [figures, found.words]


@st.cache_resource(max_entries=30, show_spinner="Carrying it from light to light …")
def _lit(key: tuple[Any, ...], _stack: Stack) -> list[Any]:
    return _told(under_lights(_stack, suited(_stack)))
