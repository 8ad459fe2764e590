"""From what was seen to a cloth: what is known of it, the fit, and what stayed open.

Knows what is asked beside the pictures; the fit is ``weavecolor.measure.fit``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import streamlit as st

from describing import WEAVES
from jobs import Job
from session import change, fold, guarded, plain, waited
from state import keep_cloth
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_to_toml
from weavecolor.making.model import Making
from weavecolor.measure.fit import Fit, fit_cloth
from weavecolor.measure.observations import Known, Seen, Thread
from weavecolor.measure.tocloth import TOLD, fitted_cloth, report, start_told
from weavecolor.textile.usual import USUAL
from words_page import HELP

#: The fit at work, and what tells the pictures that it is of.
_JOB, _OF = "m-fit-job", "m-fit-of"


@guarded
def draw(
    seen: tuple[Seen, ...],
    threads: tuple[Thread, ...],
    arrived: Callable[[Making, str], Making],
) -> None:
    """What is asked of the cloth beside what was ``seen`` of it and of its bare ``threads``, the
    fit, and what it found; ``arrived(making, key)`` is what the making becomes when the cloth is
    kept."""
    counted = st.session_state.get("counted")
    if seen:
        st.markdown("**What you know of it**")
    if seen or fold("What you know of it", "m-known"):
        _asked(counted)
    if not seen:
        st.caption("First the pictures or the table.")
    pressed = st.button("Work out the cloth", key="m-fit", type="primary", disabled=not seen)
    of = _told_apart(seen, threads)
    if st.session_state.get(_OF, of) != of and (doing := st.session_state.pop(_JOB, None)):
        doing.stop()  # it works on other pictures
    st.session_state[_OF] = of
    if pressed:
        start, known = _start(counted[1] if counted else None)
        begin(_JOB, lambda told: (of, fit_cloth(start, seen, threads, known, told)))
    words = "Working out the cloth; this takes 10 to 40 seconds …"
    if made := waited(_JOB, words, "Stop", "m-fit-stop"):
        st.session_state["fitted"] = made
    held = st.session_state.get("fitted")
    if held is not None and held[0] == of:
        _show_fit(held[1], arrived)


def _asked(counted: Any) -> None:
    """What is known of the cloth without pictures; setts that were ``counted`` are known."""
    st.text_input("Name", "My measured cloth", key="m-name", max_chars=100)
    one, two = st.columns(2)
    with one:
        st.selectbox(
            "Weave",
            WEAVES,
            key="m-weave",
            accept_new_options=True,
        )
        st.text_input(
            "Ends",
            "",
            key="m-ends",
            placeholder="40 /cm, or count them above",
            disabled=counted is not None,
        )
        st.text_input(
            "Picks",
            "",
            key="m-picks",
            placeholder="38 /cm, or count them above",
            disabled=counted is not None,
        )
        st.text_input("Weight", "", key="m-weight", placeholder="4.3 momme, if you know it")
    with two:
        for system in ("warp", "weft"):
            st.selectbox(
                f"Yarn of the {system}, as in", list(USUAL), key=f"m-{system}-like",
                help=HELP["like"],
            )  # fmt: skip
            st.text_input(
                f"Yarn size of the {system}",
                "",
                key=f"m-{system}-count",
                placeholder="20/22 denier, if you know it",
            )


def _told_apart(seen: tuple[Seen, ...], threads: tuple[Thread, ...]) -> tuple[Any, ...]:
    """What tells pictures or spectra from others: a fit is of its own alone."""
    return (
        *((s.name, s.backing, s.scene, s.grain_deg, s.face, s.value.tobytes()) for s in seen),
        *((t.name, t.system, t.value.tobytes()) for t in threads),
    )


def begin(name: str, work: Callable[[Callable[[int, int], None]], Any]) -> None:
    """Begin ``work(told)`` as the job ``name`` of this session, in place of an earlier one; it ends
    where it next tells how far it is, once it is stopped."""
    if earlier := st.session_state.get(name):
        earlier.stop()

    def done(progress: Callable[[int, int], None], stop: Callable[[], bool]) -> Any:
        def told(share: int, most: int) -> None:
            if stop():
                raise InputError("stopped before it was done; press again to begin anew")
            progress(share, most)

        return work(told)

    st.session_state[name] = Job(done)


def _start(count: Any) -> tuple[Any, list[Known]]:
    at = st.session_state
    told = {key: at.get(f"m-{key.replace(' ', '-')}") for key in TOLD}
    if count is not None:  # what stands in the fields then is not asked
        told |= {"ends": None, "picks": None}
    return start_told(
        str(at.get("m-name") or "").strip() or "My measured cloth", told, count,
        lambda key: key.replace("count", "yarn size"),
        plan=str(at.get("m-weave") or "plain"),
        warp_like=at["m-warp-like"], weft_like=at["m-weft-like"],
    )  # fmt: skip


def _show_fit(fit: Fit, arrived: Callable[[Making, str], Making]) -> None:
    if fit.residual_de < 2.0:
        st.success(
            plain(
                f"The cloth worked out shows what was seen, within {fit.residual_de:.1f} CIEDE2000."
            )
        )
    else:
        st.warning(
            plain(
                f"The cloth worked out misses what was seen by up to "
                f"{fit.residual_de:.1f} CIEDE2000: look at the pictures again."
            )
        )
    with st.expander("What is settled, and what is not", expanded=True):
        st.text(report(fit))
    st.button(
        "Put it on the table",
        key="m-keep",
        type="primary",
        on_click=change,
        args=(keep, fit, arrived),
    )


def keep(now: Making, fit: Fit, arrived: Callable[[Making, str], Making]) -> Making:
    """``now`` with the cloth of ``fit``, as ``arrived(making, key)`` has it then."""
    table = tomllib.loads(cloth_to_toml(fitted_cloth(fit)))
    kept, key = keep_cloth(now, table, "measured")
    return arrived(kept, key)
