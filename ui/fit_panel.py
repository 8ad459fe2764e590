"""From what was seen to a cloth: what is known of it, the fit, and what stayed open.

Knows what is asked beside the pictures; the fit is ``weavecolor.measure.fit``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import streamlit as st

from session import change, guarded, plain
from state import keep_cloth
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_to_toml
from weavecolor.making.model import Making
from weavecolor.measure.fit import Fit, fit_cloth
from weavecolor.measure.observations import Known, Seen, Thread
from weavecolor.measure.tocloth import fitted_cloth, report, start_cloth
from weavecolor.textile.fibres import FIBRES
from weavecolor.textile.units import areal_mass_g_m2, linear_density_tex, sett_per_cm

#: A number somebody states without saying how well is taken as good to this share.
STATED = 0.05


@guarded
def draw(
    seen: tuple[Seen, ...],
    threads: tuple[Thread, ...],
    arrived: Callable[[Making, str], Making],
) -> None:
    st.markdown("**What you know of it**")
    counted = st.session_state.get("counted")
    st.text_input("Name", "My measured cloth", key="m-name", max_chars=100)
    one, two = st.columns(2)
    with one:
        st.selectbox(
            "Weave",
            ("plain", "twill 2/1", "twill 2/2", "satin 5/2", "satin 8/3"),
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
                f"Fibre of the {system}",
                list(FIBRES),
                key=f"m-{system}-fibre",
                index=list(FIBRES).index("silk"),
            )
            st.text_input(
                f"Yarn size of the {system}",
                "",
                key=f"m-{system}-count",
                placeholder="20/22 denier, if you know it",
            )
        st.radio("Yarn", ("filament", "spun"), key="m-kind", horizontal=True)
    if not seen:
        st.caption("Then come the pictures: with them the cloth can be worked out.")
    pressed = st.button("Work out the cloth", key="m-fit", type="primary", disabled=not seen)
    if pressed:
        start, known = _start(counted[1] if counted else None)
        bar = st.progress(0.0, "Working out the cloth; this takes half a minute or more …")
        fit = fit_cloth(
            start,
            seen,
            threads,
            known,
            lambda done, most: bar.progress(min(done / max(most, 1), 1.0)),
        )
        bar.empty()
        st.session_state["fitted"] = fit
    fit = st.session_state.get("fitted")
    if fit is not None:
        _show_fit(fit, arrived)


def _start(count: Any) -> tuple[Any, list[Known]]:
    def given(key: str, convert: Any, what: str) -> float | None:
        text = str(st.session_state.get(key) or "").strip()
        try:
            return convert(text) if text else None
        except InputError as error:
            raise error.at(field=what) from None

    if count is not None:
        ends, picks = count.ends_per_cm, count.picks_per_cm
    else:
        ends = given("m-ends", sett_per_cm, "ends")
        picks = given("m-picks", sett_per_cm, "picks")
    if ends is None or picks is None:
        raise InputError("count the threads in a close-up, or write ends and picks with their unit")
    tex = {s: given(f"m-{s}-count", linear_density_tex, f"{s} yarn size") for s in ("warp", "weft")}
    known = [Known(f"{s} tex", t, STATED * t) for s, t in tex.items() if t is not None]
    weight = given("m-weight", areal_mass_g_m2, "weight")
    if weight is not None:
        known.append(Known("weight", weight, STATED * weight))
    kind = str(st.session_state.get("m-kind") or "filament")
    name = str(st.session_state.get("m-name") or "").strip() or "My measured cloth"
    cloth = start_cloth(
        name,
        ends,
        picks,
        plan=str(st.session_state.get("m-weave") or "plain"),
        warp_fibre=st.session_state["m-warp-fibre"],
        weft_fibre=st.session_state["m-weft-fibre"],
        warp_kind=kind,
        weft_kind=kind,
        warp_tex=tex["warp"],
        weft_tex=tex["weft"],
    )
    return cloth, known


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
        args=(_keep, fit, arrived),
    )


def _keep(now: Making, fit: Fit, arrived: Callable[[Making, str], Making]) -> Making:
    table = tomllib.loads(cloth_to_toml(fitted_cloth(fit)))
    kept, key = keep_cloth(now, table, "measured")
    return arrived(kept, key)
