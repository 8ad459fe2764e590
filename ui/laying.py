"""By hand: layers from the outside in, their grain and face, the backing, the lay.

Knows the controls; what they change is in ``state``.
"""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from session import bound, change, plain, work
from state import (
    add_layer,
    cloth_keys,
    cloth_labels,
    drop_layer,
    lift_layer,
    preset_of,
    table_of,
    with_layer,
    with_now,
)
from weavecolor.colour.screencolour import screen_code, screen_rgb
from weavecolor.making.model import Making
from weavecolor.optics.stack import FACES, LAYS, MOST_LAYERS
from weavecolor.picture.forms import BENEATH, DRESS_FORMS
from weavecolor.scene.backings import backing_names
from weavecolor.textile.grain import GRAINS, grain_words
from words_page import LAY_WORDS

OWN_COLOUR, OPEN_AIR = "a colour of your own", "nothing (open air)"


def grains(now: Making) -> None:
    """The grain of each layer at any angle, and which side is out."""
    found = table_of(now).layers
    if len(found) > 1:
        bound(
            st.toggle,
            "Turn all layers together",
            "together",
            now.together,
            _together,
            help="Off: each layer's grain is turned by itself.",
        )
    for index, layer in enumerate(found):
        with st.container(border=True, key=f"wc-grain-{index}"):
            st.markdown(f"**{_where(index, len(found))}** · {plain(grain_words(layer.grain_deg))}")
            bound(
                st.slider,
                f"Grain of layer {index + 1}, degrees off straight",
                f"grain-{index}",
                _on_slider(layer.grain_deg),
                lambda now, angle, index=index: with_layer(now, index, grain_deg=float(angle)),
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
                lambda now, name, index=index: with_layer(now, index, grain_deg=GRAINS[name]),
                options=tuple(GRAINS),
                label_visibility="collapsed",
            )
            bound(
                st.radio,
                f"Outside, layer {index + 1}",
                f"face-{index}",
                layer.face,
                lambda now, face, index=index: with_layer(now, index, face=face),
                options=FACES,
                horizontal=True,
                help="Which side of the cloth is seen.",
            )


def _on_slider(grain_deg: float) -> int:
    """Whole degrees, 0 to 180: half a turn more is the same line.

    >>> [_on_slider(angle) for angle in (45.0, 180.0, -45.0, 270.0)]
    [45, 180, 135, 90]
    """
    angle = round(grain_deg) % 360
    return angle if angle <= 180 else angle - 180


def layers(now: Making) -> None:
    """What each layer is of, in what order, how many, and how they lie."""
    found = table_of(now).layers
    for index, layer in enumerate(found):
        with st.container(border=True, key=f"wc-layer-{index}"):
            bound(
                st.selectbox,
                f"{_where(index, len(found))}: cloth",
                f"layer-cloth-{index}",
                layer.cloth,
                lambda now, key, index=index: with_layer(now, index, cloth=key),
                options=cloth_keys(now),
                format_func=lambda key: cloth_labels(work())[key],
            )
            if len(found) > 1:
                with st.container(horizontal=True):
                    if index > 0:
                        st.button(
                            "Move outwards",
                            key=f"lift-{index}",
                            on_click=change,
                            args=(lift_layer, index),
                        )
                    st.button(
                        "Take it off",
                        key=f"drop-{index}",
                        on_click=change,
                        args=(drop_layer, index),
                    )
    st.button(
        "Add a layer inside",
        key="add-layer",
        on_click=change,
        args=(add_layer,),
        disabled=len(found) >= MOST_LAYERS,
        help="One more, like the innermost: the same cloth doubled is deeper in colour.",
    )
    _lies(now)


def _where(index: int, count: int) -> str:
    if count == 1:
        return "The only layer"
    place = "outermost" if index == 0 else "innermost" if index == count - 1 else "inside"
    return f"Layer {index + 1}, {place}"


def behind(now: Making) -> None:
    """What lies behind, of all there is, and how the layers lie on it."""
    name = table_of(now).backing
    shown = name if name in backing_names() else OWN_COLOUR if name else OPEN_AIR
    bound(
        st.selectbox,
        "What lies behind",
        "backing",
        shown,
        _choose_backing,
        options=(*backing_names(), OWN_COLOUR, OPEN_AIR),
        help="Lining, slip, skin or wall. Skin is measured: light, medium and dark of 100 people, "
        "and deep, the darkest of them; deeper is told by its colour.",
    )
    if shown == OWN_COLOUR:
        bound(
            st.color_picker,
            "Colour behind",
            "backing-colour",
            screen_code(screen_rgb(name)),
            lambda now, code: with_now(now, backing=code),
        )
    bound(
        st.selectbox,
        "The innermost layer hangs as",
        "beneath",
        table_of(now).beneath,
        lambda now, kind: with_now(now, beneath=kind),
        options=BENEATH,
        help="None: with the others. Else by itself beneath a skirt, as it is drawn; colours are "
        "told of all layers laid together.",
    )
    bound(
        st.selectbox,
        "Dress form",
        "dress-form",
        now.dress_form,
        lambda now, reach: replace(now, dress_form=reach),
        options=("", *DRESS_FORMS),
        format_func=lambda reach: reach or "full length, none in open air",
        help="How far it reaches. It is of calico or skin where that lies behind.",
    )
    _lies(now)


def _lies(now: Making) -> None:
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


def _together(now: Making, value: bool) -> Making:
    return replace(now, together=value)


def _lay(now: Making, value: str) -> Making:
    return with_now(now, lay=value)


def _choose_backing(now: Making, choice: str) -> Making:
    spec = {OPEN_AIR: "", OWN_COLOUR: "#c8a878"}.get(choice, choice)
    return with_now(now, backing=spec)
