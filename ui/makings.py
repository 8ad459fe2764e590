"""This making: its name, units, file; earlier makings on this machine; a telephone let in.

Knows how the session becomes a file and a file the session.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from html import escape

import streamlit as st

import address
import shelf
import telephone
from session import (
    asked,
    bound,
    change,
    guarded,
    keep,
    note,
    plain,
    plain_name,
    told_at_next_drawing,
    whole,
    work,
)
from state import begin_anew, opened
from weavecolor.errors import InputError
from weavecolor.making.file import MAX_BYTES, load_making, open_json, to_json
from weavecolor.making.model import Making


@guarded
def head() -> None:
    """The line above the questions."""
    now = work()
    with st.container(key="wc-head", horizontal=True, vertical_alignment="center"):
        title = now.title if now.title and now.title != "My making" else "My making"
        st.html(f'<h1 class="wc-title">{escape(title)}</h1>', width="stretch")
        with st.popover("This making"):
            _project(now)


def set_units(now: Making, units: str) -> Making:
    return replace(now, units=units)


def title_field(now: Making, key: str) -> None:
    """What she is making, as she calls it."""
    bound(
        st.text_input,
        "What you are making",
        key,
        now.title,
        lambda w, text: replace(w, title=text.strip()),
        max_chars=120,
    )


def _project(now: Making) -> None:
    title_field(now, "making-title")
    bound(st.segmented_control, "Lengths in", "lengths", now.units, set_units,
          options=("cm", "inch"))  # fmt: skip
    where = shelf.file_of(shelf.named()) if shelf.named() else None
    st.caption(
        plain(f"Kept on this machine with every change: {where}" if where
              else "Kept on this machine from the first change on.")  # fmt: skip
    )
    stem = re.sub(r"[^\w]+", "-", now.title).strip("-").lower()[:50] or "my-making"
    st.download_button(
        "Save a copy (JSON)",
        lambda: to_json(now),
        f"{stem}.json",
        "application/json",
        on_click="ignore",
        key="project-save",
    )
    st.file_uploader("Open a saved making", type=["json"], key="project-file", on_change=_open)
    there = [k for k in shelf.kept() if k.name != shelf.named()]
    if there:
        st.selectbox(
            "Go on with an earlier one",
            ["", *(k.name for k in there)],
            key="earlier",
            format_func=lambda name: next(
                (f"{_title(k)}, {k.when}" for k in there if k.name == name), "choose one"
            ),
            on_change=_go_on,
        )
    if st.session_state.get("asked-new"):
        st.warning("Put this making away and begin a new one?")
        with st.container(horizontal=True):
            st.button("Yes, begin anew", key="new-yes", on_click=_begin)
            st.button("No", key="new-no", on_click=_ask, args=(False,))
    else:
        st.button("Begin anew", key="new", on_click=_ask, args=(True,))
    telephone.draw()


@lru_cache(maxsize=50)
def _titled(file: str, written: float) -> str:
    try:
        return load_making(file).title or "without a name"
    except InputError:
        return "cannot be read"


def _title(kept: shelf.Kept) -> str:
    return _titled(str(kept.file), kept.written)


@whole
def _go_on() -> None:
    name = st.session_state.get("earlier")
    if name:
        address.go({address.MAKING: name, address.ASKING: asked()})


@whole
def _ask(asked: bool) -> None:
    st.session_state["asked-new"] = asked


@whole
def _begin() -> None:
    st.session_state["asked-new"] = False
    with told_at_next_drawing():
        new = begin_anew(work())
        shelf.leave()
        keep(new)
        note("A clean table, with the demo cloth. Undo brings back what lay there.")


@whole
def _open() -> None:
    given = st.session_state.get("project-file")
    if given is None:
        return
    with told_at_next_drawing():
        name = plain_name(given.name)
        data = given.getvalue()
        if len(data) > MAX_BYTES:
            raise InputError("is above 10 MB, too big for a project", file=name)
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError("is not text in UTF-8; choose a saved project", file=name) from None
        change(_opened, text, name)
        if "notice" not in st.session_state:
            note(f"Opened {name}.")


def _opened(now: Making, text: str, name: str) -> Making:
    """What the file holds; Undo brings back what lay on the table."""
    told, said = open_json(text, name)
    making = opened(told)
    shelf.leave()
    if said:
        note(f"Opened {name}. {said}", "warning")
    return making if making.before else replace(making, before=replace(now, before=None))
