"""A wound card: how it is made, its photographs, what they tell of the yarn, and its colour taken
into the description of a cloth.

Knows what is asked beside the pictures; reading them is ``weavecolor.measure``.
"""

from __future__ import annotations

import base64
from html import escape
from typing import Any

import numpy as np
import streamlit as st

import bench
import measured
from ask_cloth import go
from pictures import uri_of
from session import fold, guarded, whole
from uploads import Upload, upload
from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.errors import InputError
from weavecolor.measure.card import WOUND
from weavecolor.measure.grid import Grid
from weavecolor.measure.gridwords import grid_report, grid_table
from weavecolor.measure.photograph import Photograph
from weavecolor.measure.shots import look_wound
from weavecolor.measure.swatchpair import SwatchPair
from weavecolor.measure.tocloth import start_cloth
from weavecolor.picture.canvas import WHITE, Line, Mark, Page, Text, grey, rectangle
from weavecolor.picture.canvassvg import svg_text
from weavecolor.textile.units import linear_density_tex, sett_per_cm
from weavecolor.textile.usual import USUAL

#: The pictures: which of the pair, and what it shows.
PICTURES = {
    "white": "6 Wound white card, on the paper",
    "black": "6 Wound black card, paper in view",
}
#: What was found, kept in the session while it is worked on.
_FOUND = "wound"


def _drawing() -> str:
    """The two cards as they are photographed: thread wound evenly, bare ground round it."""
    ink, edge, thread = grey(0.11), grey(0.45), (0.69, 0.14, 0.24)
    marks: list[Mark] = []
    for left, ground in ((0.0, WHITE), (41.25, ink)):
        marks += [
            rectangle(left + 1, 2, 38.25, 26, fill=ground, stroke=edge),
            rectangle(left + 5, 9.5, 30, 11, fill=ground, stroke=edge),
            *(Line(left + x, 7.5, left + x, 22.5, 0.6, thread) for x in np.arange(12.5, 28.0)),
            Line(left + 27.5, 22.5, left + 32.75, 26.5, 0.5, thread),
        ]
    marks.append(rectangle(77, 2, 3.5, 26, fill=WHITE, stroke=edge))
    for x, text in ((7.5, "white, on paper"), (44.0, "black, paper beside it")):
        marks.append(Text(x, 32, text, 8.0, colour=ink))
    # as an image: the page takes drawing marks out of its HTML
    picture = svg_text(Page(tuple(marks), 81.5, 33.0), "Wound cards")
    data = base64.b64encode(picture.encode()).decode()
    return (
        f'<img class="wc-drawing" src="data:image/svg+xml;base64,{data}" alt="A strip of white '
        "card on white paper and a strip of black card on black card, each with one thread wound "
        'round it side by side; white paper shows beside the black one">'
    )


@guarded
def draw() -> None:
    """The whole of it, folded away until it is wanted."""
    if not fold("Wound thread (picture 6)", "wound"):
        return
    st.html(f'{_drawing()}<p class="wc-told">{escape(" ".join(WOUND.split()[1:]))}</p>')
    uploads = {
        key: given for key, title in PICTURES.items()
        if (given := upload(title, f"m-wound-{key}", measured.KINDS))
    }  # fmt: skip
    one, two = st.columns(2)
    asked: dict[str, tuple[float | None, str]] = {}
    for where, name, label, such, convert in (
        (one, "threads", "Wound how closely", "90 /cm", sett_per_cm),
        (two, "count", "Size of this yarn", "20/22 denier", linear_density_tex),
    ):
        with where:
            told = st.text_input(label, "", key=f"m-wound-{name}", placeholder=such)
            asked[name] = _number(told, convert)
            place = st.empty()
        if name == "threads":
            beside = place
        if asked[name][1]:
            place.html(_fault(asked[name][1]))
    like = st.selectbox("Yarn as in", list(USUAL), key="m-wound-like")
    threads, count = asked["threads"][0], asked["count"][0]
    if "white" not in uploads or threads is None or count is None:
        return
    try:
        found, boxes, cautions = _found(uploads, threads, count, str(like))
    except InputError as error:
        if error.field not in ("--threads", "warp"):
            raise
        beside.html(_fault(error.what))
        return
    _show(found, boxes, cautions)


def _number(told: str, convert: Any) -> tuple[float | None, str]:
    """The number that was written, or what is wrong with it."""
    try:
        return (convert(told) if told.strip() else None), ""
    except InputError as error:
        return None, error.what


def _fault(words: str) -> str:
    return f'<p class="wc-error" role="alert">✗ {escape(words)}</p>'


def _found(
    uploads: dict[str, Upload], threads: float, tex: float, like: str
) -> tuple[Grid, list[tuple[str, str]], tuple[str, ...]]:
    """What the card tells, the pictures with what was found boxed, and cautions."""
    key = (tuple((name, file.digest) for name, file in uploads.items()), threads, tex, like)
    held = st.session_state.get(_FOUND)
    if held is None or held[0] != key:
        st.session_state.pop(_FOUND, None)
        with st.spinner("Looking at the threads …"):
            yarn = start_cloth("wound", threads, threads, warp_tex=tex, weft_tex=tex,
                               warp_like=like).warp  # fmt: skip
            shots = {k: measured.read(f.data, PICTURES[k]) for k, f in uploads.items()}
            found, pair = look_wound(yarn, threads, *(shot.linear for shot in shots.values()))
            cautions = [c for shot in shots.values() for c in shot.cautions] + list(pair.cautions)
        held = (key, found, _boxed(shots, pair), tuple(cautions))
        st.session_state[_FOUND] = held
    return held[1:]


def _boxed(shots: dict[str, Photograph], pair: SwatchPair) -> list[tuple[str, str]]:
    regions = dict(zip(PICTURES, pair.regions, strict=True))
    return [
        (
            PICTURES[key],
            uri_of(measured.boxed(
                shot.linear, {label: (r.box, r.marked) for label, r in regions[key].items()}
            )),
        )
        for key, shot in shots.items()
    ]  # fmt: skip


def _show(found: Grid, boxes: list[tuple[str, str]], cautions: tuple[str, ...]) -> None:
    st.html(
        '<div class="wc-row">'
        + "".join(
            bench.figure(f'<img class="wc-found" src="{uri}" alt="{escape(title)}, boxed">', title,
                         "boxes: what was measured")  # fmt: skip
            for title, uri in boxes
        )
        + "</div>"
    )
    st.text(grid_report(found) + "".join(f"Caution: {c}\n" for c in cautions))
    with st.container(horizontal=True):
        for system in ("warp", "weft"):
            st.button(f"It is the {system}: describe the cloth", key=f"m-wound-{system}",
                      on_click=_take, args=(system, found))  # fmt: skip
        st.download_button("The thread's spectrum (CSV)", grid_table(found), "wound-thread.csv",
                           "text/csv", on_click="ignore", key="m-wound-csv")  # fmt: skip


@whole
def _take(system: str, found: Grid) -> None:
    """The yarn's colour into the description of a cloth."""
    st.session_state[f"d-{system}-wound"] = {
        "colour": {
            "name": "from a wound card",
            "wavelengths": [float(w) for w in WAVELENGTHS],
            "reflectance": [round(float(r), 5) for r in found.wound],
        },
        "known": {"how": "measured", "spread": round(found.spread, 2),
                  "source": "a wound card"},
    }  # fmt: skip
    go("describe")
