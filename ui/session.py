"""The thread between the page's widgets and what one person is making.

Knows Streamlit's session and nothing of what is in the making. That is one frozen value in the
session: a widget shows what is in it, and a change makes a new one. Nothing is shared between
sessions but caches of computed looks.
"""

from __future__ import annotations

import functools
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

import streamlit as st

from state import begun
from weavecolor.errors import InputError
from weavecolor.making.model import Making

_WORK, _NOTICE = "work", "notice"
#: Set where more than the open panel has to be drawn anew.
WHOLE_PAGE = "whole-page"
T = TypeVar("T")
Apply = Callable[[Making, Any], Making]


def work() -> Making:
    """What this session is making, begun with the demo cloth."""
    if _WORK not in st.session_state:
        st.session_state[_WORK] = begun()
    held: Making = st.session_state[_WORK]
    return held


def keep(new: Making) -> None:
    """Make ``new`` this session's work."""
    st.session_state[_WORK] = new


def note(text: str, kind: str = "info") -> None:
    """A line to show at the top of the panel at the next drawing."""
    st.session_state[_NOTICE] = (kind, text)


def show_notice() -> None:
    kind, text = st.session_state.pop(_NOTICE, (None, None))
    if text:
        {"info": st.success, "error": st.error}[kind](plain(text))


def change(apply: Callable[..., Making], *args: Any) -> None:
    """The work becomes ``apply(work, *args)``; a complaint becomes a notice. For callbacks."""
    with told_at_next_drawing():
        keep(apply(work(), *args))


def bound(
    widget: Callable[..., Any], label: str, key: str, value: Any, apply: Apply, **rest: Any
) -> Any:
    """A widget that shows ``value``; what the user sets goes through ``apply(work, new)``."""
    if key not in st.session_state or st.session_state[key] != value:
        st.session_state[key] = value
    return widget(label, key=key, on_change=_take, args=(key, apply), **rest)


def _take(key: str, apply: Apply) -> None:
    new = st.session_state.get(key)
    if new is not None:  # a pressed choice that was pressed again stays as it was
        change(apply, new)


@contextmanager
def told_at_next_drawing() -> Iterator[None]:
    try:
        yield
    except InputError as error:
        note(str(error), "error")
    except Exception:
        traceback.print_exc(file=sys.stderr)
        note(_SORRY, "error")


_SORRY = (
    "Something went wrong here; the rest of the page still works, and nothing you made is lost. "
    "Change the last thing back, or save the project and start the page again."
)


def guarded(panel: Callable[..., T]) -> Callable[..., T | None]:
    """A panel whose troubles are told in one plain line, None then; the rest goes to the log."""

    @functools.wraps(panel)
    def safe(*args: Any, **kwargs: Any) -> T | None:
        try:
            return panel(*args, **kwargs)
        except InputError as error:
            st.error(plain(str(error)))
        except Exception:
            traceback.print_exc(file=sys.stderr)
            st.error(_SORRY)
        return None

    return safe


#: Answers that outlive the panel they were given in, by key or the key's beginning.
_HELD = ("wish", "cloth-way", "decide-part", "show-turn", "hide-what")
_HELD_FROM = (
    "d-",
    "s-want",
    "s-cloths",
    "s-outside",
    "s-behind",
    "s-colour",
    "s-layers",
    "s-grains",
    "s-sides",
    "s-weight",
    "s-scenes",
    "s-enough",
    "m-source",
    "m-name",
    "m-weave",
    "m-ends",
    "m-picks",
    "m-weight",
    "m-warp",
    "m-weft",
    "m-kind",
    "m-place",
    "m-scale",
    "m-wide",
)


def hold() -> None:
    """Keep answers whose widgets are not drawn this time; Streamlit would forget them."""
    for key in list(st.session_state):
        if key in _HELD or str(key).startswith(_HELD_FROM):
            st.session_state[key] = st.session_state[key]


def plain(text: str) -> str:
    """Text of a user's own with its markdown marks made harmless."""
    return "".join("\\" + c if c in "\\`*_{}[]<>()#+!|$~:" else c for c in str(text))
