"""The page, from cloth to making sheet. Started by ``streamlit run ui/page.py``.

Knows the order of the steps and the frame around them; each step is its own panel.
"""

from __future__ import annotations

import importlib
import sys
from dataclasses import replace
from pathlib import Path

# The panels lie beside this file; streamlit puts their folder on the path, other starters may not.
if (_here := str(Path(__file__).resolve().parent)) not in sys.path:
    sys.path.insert(0, _here)

import streamlit as st

st.set_page_config(
    page_title="weavecolor: two-tone cloth before you cut", page_icon="🧵", layout="wide"
)

import bench  # noqa: E402
import pictures_panel  # noqa: E402
from session import WHOLE_PAGE, bound, guarded, hold, show_notice, work  # noqa: E402
from state import Making  # noqa: E402
from style import CSS  # noqa: E402
from words_page import STEP_INTRO, STEPS  # noqa: E402

#: Each step's panel is loaded when it is first opened, so that the page is there sooner.
PANELS = {
    "Cloth": "cloth_panel",
    "Layers": "laying_panel",
    "Light": "light_panel",
    "Compare": "compare_panel",
    "Decide": "decide_panel",
    "Making sheet": "sheet_panel",
}
#: Steps that are worked with the cloth in view; the others take the whole width.
AT_THE_BENCH = ("Cloth", "Layers", "Light")


@guarded
def head() -> None:
    st.html(CSS)
    with st.container(
        key="wc-head",
        horizontal=True,
        horizontal_alignment="distribute",
        vertical_alignment="center",
    ):
        st.html(
            '<h1 class="wc-title">weavecolor</h1><p class="wc-sub">'
            "Two-tone cloth: its colour, depth and sheen before you cut.</p>",
            width="content",
        )
        bound(
            st.segmented_control,
            "Lengths in",
            "lengths",
            work().units,
            set_units,
            options=("cm", "inch"),
        )


def set_units(now: Making, units: str) -> Making:
    return replace(now, units=units)


@guarded
def panel(step: str) -> None:
    importlib.import_module(PANELS[step]).draw()


def go(step: str) -> None:
    st.session_state["step"] = step


def steps() -> str:
    """The way through; the step that is open."""
    if st.session_state.get("step") is None:  # pressed again, or the first time
        st.session_state["step"] = st.session_state.get("last-step", STEPS[0])
    step = st.segmented_control(
        "The way through",
        STEPS,
        key="step",
        format_func=lambda name: f"{STEPS.index(name) + 1} {name}",
        label_visibility="collapsed",
    )
    step = step or st.session_state.get("last-step", STEPS[0])
    st.session_state["last-step"] = step
    return step


@st.fragment
def table(step: str) -> None:
    """The step's panel, with the bench beside it where the cloth is worked on."""
    hold()
    if st.session_state.pop(WHOLE_PAGE, False):
        st.rerun()
    st.html(f'<p class="wc-intro">{STEP_INTRO[step]}</p>')
    show_notice()
    if step in AT_THE_BENCH:
        left, right = st.columns((10, 9), gap="medium")
        with left.container(key="wc-bench"):
            place = bench.draw()
        with left:
            bench.numbers("wide")
        with right:
            panel(step)
            pictures_panel.form()
            pictures_panel.downloads()
        bench.numbers("narrow")
        bench.hang(place)
    else:
        panel(step)


hold()
head()
step = steps()
table(step)
place = STEPS.index(step)
with st.container(horizontal=True, horizontal_alignment="distribute" if place else "right"):
    if place > 0:
        st.button(f"← {STEPS[place - 1]}", key="back", on_click=go, args=(STEPS[place - 1],))
    if place + 1 < len(STEPS):
        st.button(
            f"{STEPS[place + 1]} →",
            key="next",
            on_click=go,
            args=(STEPS[place + 1],),
            type="primary",
        )
