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
from session import change, guarded, whole, work
from state import cloth_called, keep_cloth
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict
from weavecolor.making.model import Making, MakingLayer, MakingOption
from weavecolor.optics.uncertainty import known_of
from weavecolor.textile.assumedwords import assumed_words
from weavecolor.textile.usual import USUAL
from words_page import HELP

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
#: Where nothing is said of a colour.
_COLOURS = {"warp": "#8c1328", "weft": "#1c1a1a"}


@guarded
def draw(take: Callable[[Making, dict[str, object]], Making]) -> None:
    """The form; ``take(making, table)`` is what the button does with a description that holds."""
    inch = work().units == "inch"
    places: dict[str, Any] = {}

    def field(where: Any, name: str, widget: Callable[..., Any], label: str, **rest: Any) -> None:
        """A field, and the place for its complaint below."""
        with where:
            widget(label, key=f"d-{name.replace('.', '-')}", **rest)
            places[name] = st.empty()

    one, two = st.columns((2, 1))
    field(one, "name", st.text_input, "Name", value="My shot cloth", max_chars=100)
    field(two, "weave", st.selectbox, "Weave", options=WEAVES, accept_new_options=True)
    for where, name, label, such in zip(
        st.columns(3),
        ("ends", "picks", "weight"),
        ("Ends", "Picks", "Weight, if known"),
        ("100 /inch" if inch else "40 /cm", "96 /inch" if inch else "38 /cm", "4.3 momme"),
        strict=True,
    ):
        field(where, name, st.text_input, label, value="", placeholder=such, help=HELP[name])
    for where, (system, colour) in zip(st.columns(2), _COLOURS.items(), strict=True):
        field(where, f"{system}.like", st.selectbox, f"Yarn of the {system}, as in",
              options=list(USUAL), accept_new_options=True, help=HELP["like"])  # fmt: skip
        field(where, f"{system}.count", st.text_input, f"Size of the {system}, if known",
              value="", placeholder="20/22 denier", help=HELP["count"])  # fmt: skip
        field(where, f"{system}.hand", st.selectbox, f"Twist of the {system}, if known",
              options=("", "S", "Z"), format_func=_hand, help=HELP["hand"])  # fmt: skip
        if f"d-{system}-wound" in st.session_state:
            with where:
                st.html(f'<p class="wc-told">Colour of the {system}: ✔ from the wound card.</p>')
                st.button("By eye instead", key=f"by-eye-{system}", on_click=_by_eye,
                          args=(system,))  # fmt: skip
        else:
            field(where, f"{system}.colour", st.color_picker, f"Colour of the {system}",
                  value=colour, help=HELP["dye"])  # fmt: skip
    table = described()
    wanted = [name for name in ("ends", "picks") if name not in table]
    fault = _fault(table)
    if len(wanted) == 2 and fault is None and not _label(table):
        fault = InputError("is missing", field="ends")  # nothing is supposed unasked
    if fault is None:
        _preview(table)
        if wanted:
            st.html(f'<p class="wc-told" role="status">{escape(_supposed(table, wanted))}</p>')
    elif fault.field in wanted:  # nothing is wrong yet
        each = "inch" if inch else "cm"
        told = (
            f"Still to tell: {' and '.join(wanted)}. Count them over one {each}; or tell the "
            "weight on the label, and usual ones are supposed of such cloth as has them."
        )
        st.html(f'<p class="wc-told" role="status">{told}</p>')
    else:
        at = next((name for name in places if (fault.field or "").startswith(name)), "name")
        places[at].html(f'<p class="wc-error" role="alert">✗ {escape(fault.what)}</p>')
    st.button(
        "Put it on the table",
        key="take-described",
        type="primary",
        disabled=fault is not None,
        on_click=change,
        args=(take, table),
    )


def described() -> dict[str, object]:
    """The table of a cloth file that the fields say: nothing that nobody told."""
    given = {
        name: str(st.session_state.get(f"d-{name}") or "")
        for name in ("name", "weave", "ends", "picks", "weight")
    }
    table: dict[str, object] = {name: text for name, text in given.items() if text.strip()}
    known: dict[str, object] = {}
    for system, usual in _COLOURS.items():
        said = str(st.session_state.get(f"d-{system}-like") or next(iter(USUAL)))
        yarn: dict[str, object] = {"like": said}
        if count := str(st.session_state.get(f"d-{system}-count") or "").strip():
            yarn["count"] = count
        if hand := st.session_state.get(f"d-{system}-hand"):
            yarn["hand"] = hand
        wound = st.session_state.get(f"d-{system}-wound")
        if wound is not None:
            known[f"{system}.colour"] = wound["known"]
        by_eye = {"srgb": st.session_state.get(f"d-{system}-colour") or usual}
        table[system] = {**yarn, "colour": by_eye if wound is None else wound["colour"]}
    return {**table, "known": known} if known else table


def _hand(told: str) -> str:
    return told or "not known"


@whole
def _by_eye(system: str) -> None:
    st.session_state.pop(f"d-{system}-wound", None)


def _fault(table: dict[str, object]) -> InputError | None:
    try:
        cloth_from_dict(table, file="your cloth")
    except InputError as error:
        return error
    return None


def _label(table: dict[str, object]) -> bool:
    """Whether a label's weight or a count is told."""
    yarns = (table["warp"], table["weft"])
    return "weight" in table or any(isinstance(y, dict) and "count" in y for y in yarns)


def _supposed(table: dict[str, object], wanted: list[str]) -> str:
    """Which setts were taken as usual, with their ranges, and what to do."""
    cloth = cloth_from_dict(table, file="your cloth")
    lines = [text for text in assumed_words(cloth) if text.split()[0] in wanted]
    return f"Not told: {'; '.join(lines)}. Count them over one cm or inch to know better."


def _preview(table: dict[str, object]) -> None:
    """The cloth as it comes out, in the light worked in, over white."""
    tried, key = keep_cloth(work(), table, "described")
    option = MakingOption("tried", (MakingLayer(key),), "white")
    outcome = looks.outcome(tried, option)
    reading = outcome.appearance.reading
    patch = bench.swatch(reading.hex, reading.words, not reading.in_srgb, small=True)
    st.html(
        f'<div class="wc-preview" role="status">{patch}<p>So described, single over white: '
        f"<b>{escape(reading.words)}</b> {reading.hex}, give or take "
        f"{outcome.uncertainty.stated:.1f} (CIEDE2000).</p></div>"
        f"{bench.mind(known_of([cloth_called(tried, key)]).contradictions)}"
    )
