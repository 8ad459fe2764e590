"""Pictures and tables given to the page, held in the session while other questions are open.

Knows Streamlit's uploaders, which forget what they were given where they are not drawn; knows
nothing of what is in a file. What is held is in memory and nowhere else.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import streamlit as st

from session import plain_name, whole


@dataclass(frozen=True)
class Upload:
    """A file as it was given, and what tells it from any other."""

    name: str
    data: bytes
    digest: str


def upload(title: str, key: str, kinds: Sequence[str]) -> Upload | None:
    """What was given under ``title``, of one of ``kinds``, until it is taken away; ``key`` names
    it on the page."""
    shown = st.file_uploader(title, type=kinds, key=key, on_change=_take, args=(key,))
    given = held(key)
    if given is not None and shown is None:
        with st.container(horizontal=True):
            st.caption(f"✔ {plain_name(given.name)} is held.")
            st.button("Take it away", key=f"away-{key}", on_click=_take, args=(key,))
    return given


def held(key: str) -> Upload | None:
    """What was given under ``key`` and not taken away, whether it is drawn or not."""
    given: Upload | None = st.session_state.get(_held(key))
    return given


@whole
def _take(key: str) -> None:
    st.session_state.pop(_held(key), None)
    given = st.session_state.get(key)
    if given is not None:
        data = given.getvalue()
        made = Upload(given.name, data, hashlib.sha256(data).hexdigest())
        st.session_state[_held(key)] = made


def _held(key: str) -> str:
    return f"given-{key}"
