"""The page: one large cloth, and the maker's questions around it. Started by ``streamlit run``.

Knows the frame: the live picture, the open question beside it, the kept pieces along the bottom,
and the address that names what is open.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path
from typing import Any

# The panels lie beside this file; streamlit puts their folder on the path, other starters may not.
if (_here := str(Path(__file__).resolve().parent)) not in sys.path:
    sys.path.insert(0, _here)

import streamlit as st

st.set_page_config(
    page_title="weavecolor: two-tone cloth before you cut", page_icon="🧵", layout="wide"
)

import gate  # noqa: E402
import livepicture  # noqa: E402
import orders  # noqa: E402
from orders import Waiting  # noqa: E402
from session import (  # noqa: E402
    again,
    ask,
    asked,
    called,
    guarded,
    hold,
    notice_read,
    place_of,
    read_address,
    session_name,
    show_notice,
    whole,
    work,
    write_down,
)
from style import CSS  # noqa: E402
from turns import Turns  # noqa: E402
from words_page import QUESTIONS, SIDE_BY_SIDE  # noqa: E402

#: What stands around the picture is loaded once that is drawn, so that the cloth is there sooner,
#: and each question's panel when it is first opened.
PANELS = {
    "cloth": "ask_cloth",
    "facing": "ask_facing",
    "depth": "ask_depth",
    "beneath": "ask_beneath",
    "worn": "ask_worn",
    "reach": "ask_reach",
    "table": "ask_table",
    SIDE_BY_SIDE: "side_by_side",
}


#: What is worked out for what may be asked for next.
AHEAD = "ahead"


@guarded
def panel(question: str, waiting: Waiting) -> None:
    """The open question."""
    importlib.import_module(PANELS[question]).draw(waiting)


@guarded
def way() -> None:
    """The way through, in a maker's order; any question can be opened at any time."""
    now = asked()
    st.session_state["way"] = now if now in QUESTIONS else None
    st.segmented_control(
        "The questions",
        tuple(QUESTIONS),
        key="way",
        format_func=lambda q: QUESTIONS[q][0],
        label_visibility="collapsed",
        on_change=_went,
    )


@whole
def _went() -> None:
    if st.session_state.get("way"):
        ask(st.session_state["way"])


def following(question: str) -> str | None:
    """The question after that."""
    names = tuple(QUESTIONS)
    return names[names.index(question) + 1] if question in names[:-1] else None


def further(question: str) -> None:
    """On to the next question."""
    onward = following(question)
    if onward is not None:
        st.button(f"Next: {QUESTIONS[onward][0]} →", key="next", on_click=ask, args=(onward,))


@guarded
def look_ahead(waiting: Waiting) -> None:
    """Begin with what may be asked for next: the other choices, what is told once one of them is
    taken, and the choices of the next question."""
    now, question = work(), asked()
    here, onward = (_choosing(q) for q in (question, following(question)))
    if here or onward:
        import strip
    for choice in here.choices(now) if here else ():
        then = choice.take(now)
        strip.told_ahead(then, here.choices(then), waiting)
    if onward:
        strip.ahead(now, onward.choices(now), waiting, livepicture.ground())
    st.session_state[AHEAD] = waiting.look_ahead()


def _choosing(question: str | None) -> Any:
    """The panel of a question that is answered by choices, else None."""
    panel_of = importlib.import_module(PANELS[question]) if question else None
    return panel_of if hasattr(panel_of, "choices") else None


@st.fragment
def page() -> None:
    """Everything; a fragment, since what it asks for then never breaks a drawing of it off."""
    name = session_name()
    orders.asked()
    orders.drop(st.session_state.pop(AHEAD, ()))
    while not turns().begin(name):
        if called():  # what was asked while it waited is drawn in this turn, and nothing twice
            again()
    waiting = Waiting(lambda: called() or turns().crowded())
    try:
        # which drawing of the page stands there, for whoever waits for it from outside
        run = st.session_state["run"] = st.session_state.get("run", 0) + 1
        with st.container(key="wc-page"):
            st.html(f'<span class="wc-run" data-run="{run}"></span>')
            draw(waiting)
            tick = st.empty()
    finally:
        turns().end(name)

    def left(count: int) -> None:
        tick.html(f'<span class="wc-left" data-run="{run}" data-left="{count}"></span>')

    guarded(waiting.finish)(called, left)
    notice_read()
    if not (called() or turns().crowded()):
        look_ahead(waiting)
    turns().linger(called)
    if called():  # what comes meanwhile is drawn with it, in one turn
        turns().wait(name)


@st.cache_resource(show_spinner=False)
def turns() -> Turns:
    """All sessions take turns."""
    return Turns()


def draw(waiting: Waiting) -> None:
    hold()
    read_address()
    cloth, questions = st.columns((59, 41), gap="small")
    with cloth.container(key="wc-cloth"):
        livepicture.draw(waiting)
    write_down()  # the picture is on its way, and not held up by the disk
    with questions.container(key="wc-side"):
        importlib.import_module("makings").head()
        way()
        with st.container():  # whether or not there is one, what follows keeps its place
            show_notice()
        question = asked()
        with place_of(question, PANELS), st.container(key="wc-panel"):
            if question in QUESTIONS:
                st.html(f'<h2 class="wc-question">{QUESTIONS[question][1]}</h2>')
            panel(question, waiting)
            further(question)
    importlib.import_module("keptbar").draw()


st.html(CSS)
gate.pass_or_stop()
page()
