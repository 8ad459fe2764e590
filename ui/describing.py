"""A cloth described: fields that say at once what is wrong, and the cloth as it comes out.

Knows what is asked of a described cloth; what it may be is said by ``weavecolor.files``.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any

import streamlit as st

import bench
import looks
from session import change, guarded, work
from state import keep_cloth
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict
from weavecolor.making.model import Making, MakingLayer, MakingOption
from weavecolor.textile.fibres import FIBRES

WEAVES = (
    "plain",
    "twill 2/1",
    "twill 2/2",
    "twill 3/1",
    "satin 5/2",
    "satin 8/3",
    "hopsack 2/2",
    "warp rib 2/2",
    "weft rib 2/2",
)
#: A complaint's field, as the form's fields are called.
_FIELDS = ("name", "weave", "ends", "picks", "weight", "warp", "weft")


@guarded
def draw(take: Callable[[Making, dict[str, object]], Making]) -> None:
    """The form; ``take(making, table)`` is what the button does with a description that holds."""
    per, ends, picks = ("/inch", 100, 96) if work().units == "inch" else ("/cm", 40, 38)
    places: dict[str, Any] = {}
    st.text_input("Name", "My shot cloth", key="d-name", max_chars=100)
    places["name"] = st.empty()
    one, two, three = st.columns(3)
    with one:
        st.selectbox("Weave", WEAVES, key="d-weave", accept_new_options=True)
        places["weave"] = st.empty()
    with two:
        st.text_input("Ends", f"{ends} {per}", key="d-ends", help="40 /cm or 100 /inch.")
        places["ends"] = st.empty()
    with three:
        st.text_input("Picks", f"{picks} {per}", key="d-picks", help="38 /cm or 96 /inch.")
        places["picks"] = st.empty()
    for column, (system, colour) in zip(
        st.columns(2), (("warp", "#8c1328"), ("weft", "#1c1a1a")), strict=True
    ):
        with column:
            _yarn(system, colour)
            places[system] = st.empty()
    st.text_input(
        "Weight, if you know it",
        "",
        key="d-weight",
        help="4.3 momme, 19 g/m2 or 3 oz/yd2: checked against yarn and sett.",
    )
    places["weight"] = st.empty()
    table = described()
    fault = _fault(table)
    if fault is None:
        _preview(table)
    else:
        # beside its field, and brought into view
        field = next((f for f in _FIELDS if (fault.field or "").startswith(f)), "name")
        places[field].html(f'<p class="wc-error" role="alert">✗ {escape(fault.what)}</p>')
    st.button(
        "Put it on the table",
        key="take-described",
        type="primary",
        disabled=fault is not None,
        on_click=change,
        args=(take, table),
    )


def _yarn(system: str, colour: str) -> None:
    st.markdown(f"**{system.capitalize()}**")
    st.selectbox(f"Fibre of the {system}", list(FIBRES), key=f"d-{system}-fibre", index=_silk())
    st.text_input(
        f"Yarn size of the {system}",
        "20/22 denier",
        key=f"d-{system}-count",
        help="With its unit: 21 denier, 20 tex, 84 dtex, Ne 40 or Nm 60. Empty: what is usual.",
    )
    st.radio(
        f"Yarn of the {system}",
        ("filament", "spun"),
        key=f"d-{system}-kind",
        horizontal=True,
        help="Filament is smooth and glossy, spun is matt. Sets what is not given.",
    )
    st.color_picker(
        f"Colour of the {system}",
        colour,
        key=f"d-{system}-colour",
        help="The colour of a thick hank in daylight. Many dyes look so in daylight and differ "
        "under lamps.",
    )


def _silk() -> int:
    return list(FIBRES).index("silk") if "silk" in FIBRES else 0


def described() -> dict[str, object]:
    """The table of a cloth file that the fields say."""
    given = {
        name: str(st.session_state.get(f"d-{name}") or "")
        for name in ("name", "weave", "ends", "picks", "weight")
    }
    table: dict[str, object] = {name: text for name, text in given.items() if text.strip()}
    for system in ("warp", "weft"):
        yarn = {k: st.session_state.get(f"d-{system}-{k}") for k in ("fibre", "count", "kind")}
        yarn = {k: v for k, v in yarn.items() if str(v or "").strip()}
        table[system] = {**yarn, "colour": {"srgb": st.session_state.get(f"d-{system}-colour")}}
    return table


def _fault(table: dict[str, object]) -> InputError | None:
    try:
        cloth_from_dict(table, file="your cloth")
    except InputError as error:
        return error
    return None


def _preview(table: dict[str, object]) -> None:
    """The cloth as it comes out, in the light worked in, over white."""
    tried, key = keep_cloth(work(), table, "described")
    option = MakingOption("tried", (MakingLayer(key),), "white")
    reading = looks.outcome(tried, option).appearance.reading
    patch = bench.swatch(reading.hex, reading.words, not reading.in_srgb, small=True)
    st.html(
        f'<div class="wc-preview" role="status">{patch}<p>So described, single over white: '
        f"<b>{escape(reading.words)}</b> {reading.hex}.</p></div>"
    )
