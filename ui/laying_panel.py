"""How it is laid: layers from the outside in, their grain and face, the backing, the lay.

Knows the controls; what they change is in ``state``.
"""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

import charts
import looks
from session import bound, change, guarded, note, plain, work
from state import (
    add_layer,
    cloth_keys,
    cloth_label,
    drop_layer,
    lift_layer,
    pin,
    preset_of,
    table_of,
    with_layer,
    with_now,
)
from weavecolor.making.model import Making
from weavecolor.optics.appearance import MOST_LAYERS
from weavecolor.optics.stack import FACES, LAYS
from weavecolor.scene.backings import backing_names
from weavecolor.textile.grain import GRAINS, grain_words
from words_page import LAY_WORDS

OWN_COLOUR, OPEN_AIR = "a colour of your own", "nothing (open air)"


@guarded
def draw() -> None:
    now = work()
    layers = table_of(now).layers
    if len(layers) > 1:
        bound(
            st.toggle,
            "Turn all layers together",
            "together",
            now.together,
            _together,
            help="Off: each layer's grain is turned by itself.",
        )
    for index in range(len(layers)):
        _layer(now, index)
    with st.container(horizontal=True):
        st.button(
            "Add a layer inside",
            key="add-layer",
            on_click=change,
            args=(add_layer,),
            disabled=len(layers) >= MOST_LAYERS,
            help="One more, like the innermost: the same cloth doubled is deeper in colour.",
        )
        st.button(
            "Pin this",
            key="pin",
            on_click=change,
            args=(_pin_now,),
            type="primary",
            help="Keep it to compare side by side.",
        )
    _backing(now)
    bound(
        st.radio,
        "How the layers lie",
        "lay",
        table_of(now).lay,
        _lay,
        options=LAYS,
        format_func=lambda lay: LAY_WORDS[lay],
        horizontal=True,
        help="Loose is how clothes are worn. With one layer it makes no difference but to the "
        "backing: the nearer it lies, the more its own shadow counts.",
    )
    _turning(now)


def _layer(now: Making, index: int) -> None:
    layer = table_of(now).layers[index]
    last = len(table_of(now).layers) - 1
    where = (
        "the only layer"
        if not last
        else ("outermost" if index == 0 else "innermost" if index == last else "inside")
    )
    with st.container(border=True, key=f"wc-layer-{index}"):
        st.markdown(f"**Layer {index + 1}**, {where} · {plain(grain_words(layer.grain_deg))}")
        bound(
            st.slider,
            f"Grain of layer {index + 1}, degrees off straight",
            f"grain-{index}",
            int(round(layer.grain_deg)) % 181,
            lambda now, angle: with_layer(now, index, grain_deg=float(angle)),
            min_value=0,
            max_value=180,
            step=1,
            format="%d°",
            help="0 straight: warp runs down the garment. 90 cross. 45 and 135 the two biases.",
        )
        bound(
            st.segmented_control,
            f"Grain preset, layer {index + 1}",
            f"preset-{index}",
            preset_of(layer.grain_deg),
            lambda now, name: with_layer(now, index, grain_deg=GRAINS[name]),
            options=tuple(GRAINS),
            label_visibility="collapsed",
        )
        cloth, face = st.columns((2, 1))
        with cloth:
            bound(
                st.selectbox,
                f"Cloth of layer {index + 1}",
                f"layer-cloth-{index}",
                layer.cloth,
                lambda now, key: with_layer(now, index, cloth=key),
                options=cloth_keys(now),
                format_func=lambda key: cloth_label(work(), key),
            )
        with face:
            bound(
                st.radio,
                "Outside",
                f"face-{index}",
                layer.face,
                lambda now, face: with_layer(now, index, face=face),
                options=FACES,
                horizontal=True,
                help="Which side of the cloth is seen.",
            )
        if last:
            with st.container(horizontal=True):
                if index > 0:
                    st.button(
                        "Move outwards",
                        key=f"lift-{index}",
                        on_click=change,
                        args=(lift_layer, index),
                    )
                st.button(
                    "Take it off", key=f"drop-{index}", on_click=change, args=(drop_layer, index)
                )


@guarded
def _backing(now: Making) -> None:
    name = table_of(now).backing
    shown = OPEN_AIR if not name else OWN_COLOUR if name.startswith("#") else name
    bound(
        st.selectbox,
        "What lies behind",
        "backing",
        shown,
        _choose_backing,
        options=(*backing_names(), OWN_COLOUR, OPEN_AIR),
        help="Lining, slip, skin or wall. Skin is measured: light, medium and dark of 100 people.",
    )
    if shown == OWN_COLOUR:
        bound(
            st.color_picker,
            "Colour behind",
            "backing-colour",
            name,
            lambda now, code: with_now(now, backing=code),
        )


def _together(now: Making, value: bool) -> Making:
    return replace(now, together=value)


def _lay(now: Making, value: str) -> Making:
    return with_now(now, lay=value)


def _choose_backing(now: Making, choice: str) -> Making:
    spec = {OPEN_AIR: "", OWN_COLOUR: "#c8a878"}.get(choice, choice)
    return with_now(now, backing=spec)


def _pin_now(now: Making) -> Making:
    made = pin(now, table_of(now))
    if made is now:
        note("This is pinned already.")
    else:
        note(f"Pinned as {made.options[-1].name}. See it under Compare.")
    return made


@guarded
def _turning(now: Making) -> None:
    if not st.toggle(
        "Show how the colour moves as it turns",
        key="show-turn",
        help="Lightness and hue against the angle, in this light: the shot effect.",
    ):
        return
    with st.spinner("Turning the cloth …"):
        moved = looks.turn(now, table_of(now))
    charts.turn_chart(moved, table_of(now).layers[0].grain_deg)
