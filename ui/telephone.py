"""Letting a telephone in: its one-time code and the square picture that its camera reads.

Knows the gate and how a code is shown; the page serves the home network only where it was started
with ``weavecolor page --telephone``.
"""

from __future__ import annotations

import io

import streamlit as st

import gate


def draw() -> None:
    given = gate.handed()
    if given is None:
        st.caption(
            "This page is on this machine alone. To use a telephone at the table, start it with "
            "weavecolor page --telephone."
        )
        return
    address = given[2]
    code = gate.gate().next_code()
    way = f"{address}/?{gate.CODE}={code}"
    st.markdown("**A telephone on this network**")
    st.html(
        f'<div class="wc-square">{square(way)}</div><p>Point its camera here, or open '
        f"{address} and type <b>{code}</b>. The code opens once.</p>"
    )


@st.cache_data(max_entries=20, show_spinner=False)
def square(text: str) -> str:
    """The square picture code of a text (ISO/IEC 18004), as SVG."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", scale=5, border=4, dark="#000", light="#fff", xmldecl=False, nl=False,
        title="The address for the telephone",
    )  # fmt: skip
    return out.getvalue().decode()
