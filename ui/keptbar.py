"""Kept pieces along the bottom, with undo and redo. Knows how kept options are shown in little."""

from __future__ import annotations

from html import escape

import streamlit as st

import enough
import looks
from session import ask, can_redo, can_undo, change, guarded, note, plain, redo, undo, work
from state import choose, pin, short_words, table_of, to_table, unpin
from weavecolor.making.model import Making, MakingOption
from words_page import SIDE_BY_SIDE


@guarded
def draw() -> None:
    now = work()
    with st.container(key="wc-kept", horizontal=True, vertical_alignment="center"):
        st.button("↶ Undo", key="undo", on_click=undo, disabled=not can_undo())
        st.button("↷ Redo", key="redo", on_click=redo, disabled=not can_redo())
        st.button(
            "Keep this", key="keep", on_click=change, args=(_keep,), type="primary",
            help="Keep what lies on the table beside the others.",
        )  # fmt: skip
        for number, option in enumerate(now.options):
            _piece(now, option, number)
        if now.options:
            st.button("Side by side", key="side-by-side", on_click=ask, args=(SIDE_BY_SIDE,))
        else:
            st.html('<p class="wc-none">Kept pieces lie here.</p>')


def _piece(now: Making, option: MakingOption, number: int) -> None:
    chosen = option.name == now.chosen
    reading = looks.outcome(now, option).appearance.reading
    key = f"wc-piece-{number}"
    st.html(
        f"<style>.st-key-{key} button {{ border-left: 1.6rem solid {reading.hex} !important; }}"
        "</style>"
    )
    with st.container(key=key, width="content"), st.popover(
        f"{'✔ ' if chosen else ''}{plain(option.name)}"
    ):
        st.html(
            f"<p><b>{escape(option.name)}</b>: {escape(short_words(now, option))}; "
            f"{escape(reading.words)}.{enough.line(now, option)}</p>"
        )
        name = option.name
        st.button(
            "Lay on the table", key=f"table-{name}", on_click=change, args=(to_table, option)
        )
        st.button(
            "Take the choice back" if chosen else "Choose for the making",
            key=f"choose-{name}", on_click=change, args=(choose, "" if chosen else name),
        )  # fmt: skip
        st.button("Put away", key=f"off-{name}", on_click=change, args=(unpin, name))


def _keep(now: Making) -> Making:
    made = pin(now, table_of(now))
    note("This is kept already." if made is now else f"Kept as {made.options[-1].name}.")
    return made
