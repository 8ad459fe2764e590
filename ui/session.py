"""The thread between the page's widgets and what one person is making.

Knows Streamlit's session and nothing of what is in the making. That is one frozen value in the
session: a widget shows what is in it, and a change makes a new one. Nothing is shared between
sessions but caches of computed looks.
"""

from __future__ import annotations

import functools
import re
import sys
import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, NoReturn, TypeVar

import streamlit as st
from streamlit.delta_generator import DeltaGenerator
from streamlit.runtime.scriptrunner import RerunException, get_script_run_ctx
from streamlit.runtime.scriptrunner_utils.script_requests import ScriptRequestType

import address
import shelf
from state import begun, opened
from weavecolor.errors import InputError
from weavecolor.making.joining import joined
from weavecolor.making.model import Making
from words_page import QUESTIONS, SIDE_BY_SIDE

_WORK, _NOTICE, _UNDO, _REDO = "work", "notice", "undo-steps", "redo-steps"
_ASKED, GROUND, _UNWRITTEN = "asked", "ground", "unwritten"
#: What a callback that is begun again finds as it was.
_STEPPED = (_WORK, _NOTICE, _UNDO, _REDO, _ASKED)
#: Steps back that are kept, and of how many makings, all in memory.
MOST_STEPS, MOST_REMEMBERED = 100, 20
T = TypeVar("T")
Apply = Callable[[Making, Any], Making]


_whole = ContextVar("whole", default=False)


def whole(callback: Callable[..., None]) -> Callable[..., None]:
    """A callback that is done whole, and once.

    Streamlit breaks a run off at any look at the session where another word of the browser has
    come meanwhile (the live picture sends such words unasked). Within a callback that would lose
    what was pressed, or leave it half done: it is begun again from where it began, and the other
    word is heard after it.
    """

    @functools.wraps(callback)
    def done_whole(*args: Any, **kwargs: Any) -> None:
        if _whole.get():
            callback(*args, **kwargs)
            return
        broken_off: RerunException | None = None
        before: dict[str, Any] | None = None
        token = _whole.set(True)
        try:
            while True:
                try:
                    if before is None:
                        st.session_state.pop(_NOTICE, None)
                        before = {k: st.session_state[k] for k in _STEPPED if k in st.session_state}
                    for key in _STEPPED:
                        if key in before:
                            st.session_state[key] = before[key]
                        else:
                            st.session_state.pop(key, None)
                    callback(*args, **kwargs)
                    break
                except RerunException as other:
                    broken_off = other
        finally:
            _whole.reset(token)
        if broken_off is not None:
            raise broken_off

    return done_whole


def session_name() -> str:
    """This session's name, for nobody's eyes."""
    context = get_script_run_ctx()
    return "" if context is None else context.session_id


def called() -> bool:
    """Whether another word of the browser has come. A word from the page never breaks off what is
    being drawn (Streamlit: reruns of a fragment do not), so whoever waits long asks this."""
    context = get_script_run_ctx()
    requests = None if context is None else context.script_requests
    at_rest = ScriptRequestType.CONTINUE
    return getattr(requests, "_state", at_rest) is not at_rest  # there is no other door


def again() -> NoReturn:
    """Draw the page anew, with the word that came last."""
    context = get_script_run_ctx()
    st.rerun(scope="fragment" if context and context.fragment_ids_this_run else "app")


def waited(job: str, words: str, stop: str, key: str) -> Any:
    """What the ``Job`` held under the name ``job`` made, when it is done; None where there is none.
    Meanwhile a bar with ``words`` tells how far it is, and a button, ``stop``, of ``key`` ends it.
    What it could not do is raised."""
    doing = st.session_state.get(job)
    if doing is None:
        return None
    place = st.empty()
    with place.container():
        bar = st.progress(doing.share, words)
        st.button(stop, key=key, on_click=doing.stop)
    while not doing.wait(0.1):
        bar.progress(doing.share, words)
        if called():
            again()
    place.empty()
    del st.session_state[job]
    if doing.error is not None:
        raise doing.error
    return doing.result


def work() -> Making:
    """What this session is making: as the address names it, else begun with the demo cloth."""
    if _WORK not in st.session_state:
        st.session_state[_WORK] = begun()
    held: Making = st.session_state[_WORK]
    return held


def keep(new: Making) -> None:
    """Make ``new`` this session's work, one step further."""
    before = work()
    if new == before:
        return
    st.session_state[_UNDO] = [*st.session_state.get(_UNDO, ()), before][-MOST_STEPS:]
    st.session_state[_REDO] = []
    _take_up(new)


def _take_up(new: Making) -> None:
    st.session_state[_WORK] = new
    st.session_state[_UNWRITTEN] = True


def write_down() -> None:
    """Write what changed down on this machine: once a drawing, however many changes it draws."""
    if not st.session_state.get(_UNWRITTEN):
        return
    meanwhile = None
    with told_at_next_drawing(), shelf.alone():
        meanwhile = shelf.begin(None)
        if meanwhile is not None:
            _join(meanwhile)
        shelf.write(work())
        _remember()
    st.session_state.pop(_UNWRITTEN)
    if meanwhile is not None:
        again()  # it is not what was drawn


def _join(meanwhile: shelf.Taken) -> None:
    """Take over what another tab or the command line wrote, and keep what was done here."""
    before, held = shelf.last(), st.session_state
    made = [
        [joined(before, own, meanwhile.making) for own in steps]
        for steps in ([work()], held.get(_UNDO, ()), held.get(_REDO, ()))
    ]
    (held[_WORK],), held[_UNDO], held[_REDO] = made
    shelf.took(meanwhile)


@st.cache_resource(show_spinner=False)
def _steps_of() -> dict[str, tuple[Making, Sequence[Making], Sequence[Making]]]:
    """By a making's name, what was last written of it and the steps back and forward from there,
    for whoever opens it again."""
    return {}


def _remember() -> None:
    every, held = _steps_of(), st.session_state
    steps = work(), held.get(_UNDO, ()), held.get(_REDO, ())
    every.pop(shelf.named(), None)
    every[shelf.named()] = steps
    while len(every) > MOST_REMEMBERED:
        every.pop(next(iter(every)), None)


def can_undo() -> bool:
    return bool(st.session_state.get(_UNDO))


def can_redo() -> bool:
    return bool(st.session_state.get(_REDO))


@whole
def undo() -> None:
    """One step back. For callbacks."""
    _step(_UNDO, _REDO, "Undone.")


@whole
def redo() -> None:
    """One step forward again. For callbacks."""
    _step(_REDO, _UNDO, "Done again.")


def _step(source: str, other: str, said: str) -> None:
    steps = list(st.session_state.get(source, ()))
    if not steps:
        return
    st.session_state[other] = [*st.session_state.get(other, ()), work()]
    new = steps.pop()
    st.session_state[source] = steps
    with told_at_next_drawing():
        _take_up(new)
        note(said)


def note(text: str, kind: str = "info") -> None:
    """A line to show at the top of the panel at the next drawing."""
    st.session_state[_NOTICE] = (kind, text)


def show_notice() -> None:
    """A passing word is shown once; a complaint stays until a run is over: a run that is broken off
    would take it away unread."""
    kind, text = st.session_state.get(_NOTICE) or (None, None)
    if kind == "info":
        st.session_state.pop(_NOTICE, None)
    if text and kind == "error":
        st.error(plain(text))
    elif text and kind == "warning":
        st.warning(plain(text))
    elif text:
        st.toast(plain(text))


def notice_read() -> None:
    """At the end of a run that was not broken off."""
    st.session_state.pop(_NOTICE, None)


@whole
def change(apply: Callable[..., Making], *args: Any) -> None:
    """The work becomes ``apply(work, *args)``; a complaint becomes a notice. For callbacks."""
    with told_at_next_drawing():
        keep(apply(work(), *args))


def bound(
    widget: Callable[..., Any], label: str, key: str, value: Any, apply: Apply, **rest: Any
) -> Any:
    """A ``widget`` called ``label`` of the name ``key`` that shows ``value``; what the user sets
    goes through ``apply(work, new)``. ``rest`` goes to the widget."""
    if key not in st.session_state or st.session_state[key] != value:
        st.session_state[key] = value
    return widget(label, key=key, on_change=_take, args=(key, apply), **rest)


@whole
def _take(key: str, apply: Apply) -> None:
    new = st.session_state.get(key)
    if new is not None:  # a pressed choice that was pressed again stays as it was
        change(apply, new)


# --- the question that is open -----------------------------------------------------------------

def asked() -> str:
    """The question that is open."""
    held: str = st.session_state.get(_ASKED, "cloth")
    return held


@whole
def ask(question: str) -> None:
    """Open a question; the address says so, so that Back leads to the one before."""
    st.session_state[_ASKED] = question


def read_address() -> None:
    """Take up what the address names where it is to be followed: the making, the question, the
    ground; and tell the browser where it has come to."""
    names = address.to_follow()
    if names is not None:
        write_down()
    with told_at_next_drawing():
        if st.session_state.get(_UNWRITTEN):
            shelf.christen()
        taken = shelf.begin(None if names is None else names.get(address.MAKING, ""))
        if taken is not None and taken.own:
            _join(taken)
        elif taken is not None:
            st.session_state[_WORK] = opened(taken.making)
            made, *steps = _steps_of().get(taken.name, (None, (), ()))
            if made != taken.making:  # another wrote it meanwhile
                steps = [(), ()]
            st.session_state[_UNDO], st.session_state[_REDO] = map(list, steps)
            if taken.said:
                note(taken.said, "warning")
            shelf.took(taken)  # last: a drawing broken off before takes it up again
    if names is not None:
        question = names.get(address.ASKING, "")
        known = question in QUESTIONS or question == SIDE_BY_SIDE
        st.session_state[_ASKED] = question if known else "cloth"
        st.session_state[GROUND] = names.get(address.GROUND, "")
        address.followed()
    now, ground = asked(), st.session_state.get(GROUND, "")
    address.tell({
        address.MAKING: shelf.named(), address.ASKING: "" if now == "cloth" else now,
        address.GROUND: ground,
    })  # fmt: skip


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
_HELD = ("wish", "show-turn", "hide-what", "edge-to-edge")
_HELD_FROM = (
    "d-",
    "fold-",
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
    "m-warp-like",
    "m-weft-like",
    "m-sample-cloth",
    "m-sample-laid",
    "m-sample-behind",
    "m-sample-lay",
    "m-sample-place",
    "m-place",
    "m-scale",
    "m-wide",
)


def place_of(now: str, names: Iterable[str]) -> DeltaGenerator:
    """A container for ``now``, at a place of its own among ``names``: what stood for another is
    gone at once. Streamlit clears what is left of a drawing before only at the end of this one,
    which waits for pictures; till then it could still be pressed."""
    made = {name: st.container() if name == now else st.empty() for name in names}
    return made[now]


def fold(title: str, key: str, opened: bool = False) -> bool:
    """A heading, ``title``, that opens and closes what follows; whether it is open, at first as
    ``opened`` says, then as the session holds it under ``key``. What is folded away is not worked
    out."""
    state = f"fold-{key}"
    is_open = bool(st.session_state.setdefault(state, opened))
    st.button(
        f"{'▾' if is_open else '▸'} {title}",
        key=f"turn-{state}",
        type="tertiary",
        on_click=_turn_fold,
        args=(state,),
    )
    return is_open


@whole
def _turn_fold(state: str) -> None:
    st.session_state[state] = not st.session_state.get(state)


def hold() -> None:
    """Keep answers whose widgets are not drawn this time; Streamlit would forget them."""
    for key in list(st.session_state):
        if key in _HELD or str(key).startswith(_HELD_FROM):
            st.session_state[key] = st.session_state[key]


def plain(text: str) -> str:
    """Text of a user's own with its markdown marks made harmless."""
    return "".join("\\" + c if c in "\\`*_{}[]<>()#+!|$~:" else c for c in str(text))


def plain_name(name: str) -> str:
    """The last part of an uploaded file's name, for messages only."""
    return plain(re.split(r"[\\/]", name)[-1][:60]).replace("\\", "")
