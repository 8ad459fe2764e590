"""Measuring a cloth: pictures uploaded, what was found drawn over them, the fit, the cloth kept.

Knows the order in which a maker is asked; what pictures say is ``measured``. Pictures and findings
are kept in the session while they are worked on, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import numpy as np
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

import bench
import fit_panel
import measured
import sample_panel
import wound_panel
from pictures import uri_of
from session import fold, guarded, plain, whole, work
from uploads import Upload, held, upload
from weavecolor.colour.colorimetry import colour_words
from weavecolor.colour.screencolour import screen_code
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.files.spectrafile import spectra_from_text
from weavecolor.making.model import Making
from weavecolor.measure.card import instructions
from weavecolor.measure.observations import (
    Seen,
    Thread,
    check_grounds,
    seen_spectrum,
    thread_spectrum,
)
from weavecolor.measure.regions import LABELS
from weavecolor.measure.shots import THREADS, Shots
from weavecolor.measure.threads import stated
from weavecolor.scene.backings import Backing
from weavecolor.scene.places import scene_names

SOURCES = ("Photographs", "An instrument")
_OFF = "not used"
_TO_COME = '<p class="wc-told" role="status">Still to come: {}.</p>'


@guarded
def draw(arrived: Callable[[Making, str], Making]) -> None:
    with st.expander("How to photograph it"):
        st.text(instructions())
        st.download_button(
            "This card (text)",
            instructions(),
            "how-to-photograph.txt",
            on_click="ignore",
            key="m-card",
        )
    source = st.segmented_control("Measured with", SOURCES, key="m-source", default=SOURCES[0])
    seen: tuple[Seen, ...] = ()
    threads: tuple[Thread, ...] = ()
    if source == SOURCES[1]:
        seen, threads = _instrument() or (seen, threads)
    else:
        shots = _photographs()
        if shots is not None:
            seen, threads = shots.seen, shots.threads
    _closeup()
    wound_panel.draw()
    fit_panel.draw(seen, threads, arrived)
    sample_panel.draw(arrived)


# --- photographs ----------------------------------------------------------------------------------


@guarded
def _photographs() -> Shots | None:
    st.caption(
        "Pictures 1 and 2 are enough, or one across paper and card as 1. They stay in this session."
    )
    uploads: dict[str, Upload] = {}
    places: dict[str, DeltaGenerator] = {}

    def asked(key: str, drawn: bool) -> None:
        title, name = measured.PICTURES[key], f"m-{key}"
        given = upload(title, name, measured.KINDS) if drawn else held(name)
        places[key] = st.empty()
        if given is not None:
            uploads[key] = given

    enough, more = tuple(measured.PICTURES)[:2], tuple(measured.PICTURES)[2:]
    for key in enough:
        asked(key, drawn=True)
    drawn = fold("Pictures 3 and 5, which settle more", "m-more")
    for key in more:
        asked(key, drawn)
    if not uploads:
        st.session_state.pop("measured", None)
        return None
    if "white" not in uploads:
        places["white"].html(_TO_COME.format("picture 1"))
        return None
    place = st.selectbox(
        "They were taken in",
        scene_names(),
        key="m-place",
        help="Warp upright in picture 1, towards the floor of that place.",
    )
    _marking(tuple(uploads))
    marks: tuple[measured.Mark, ...] = st.session_state.get("m-marks", ())
    key = (tuple((name, file.digest) for name, file in uploads.items()), marks, place)
    found = st.session_state.get("measured")
    if found is None or found[0] != key:
        try:
            with st.spinner("Looking at the pictures …"):
                found = (key, *_looked_at(uploads, marks, place))
        except InputError as error:
            at = next((k for k in places if error.file == measured.PICTURES[k]
                       or error.field == f"picture {measured.CALLED[k]}"), None)  # fmt: skip
            if at is None:
                raise
            half = at == "black" and at not in uploads  # nothing is wrong yet
            places[at].html(
                _TO_COME.format("picture 2, or picture 1 anew, across paper and card") if half
                else f'<p class="wc-error" role="alert">✗ {escape(error.what)}</p>'
            )  # fmt: skip
            return None
        st.session_state["measured"] = found
    _, shots, overlays, cautions = found
    _show_found(shots, overlays, cautions)
    return shots


def _looked_at(
    uploads: dict[str, Upload], marks: tuple[measured.Mark, ...], place: str
) -> tuple[Shots, list[tuple[str, str]], tuple[str, ...]]:
    """What the pictures say, the pictures with what was found boxed, and cautions."""
    pictures = {k: measured.read(f.data, measured.PICTURES[k]) for k, f in uploads.items()}
    shots = measured.look_at(pictures, marks, place, None)
    overlays = [
        (
            measured.PICTURES[k],
            uri_of(measured.boxed(p.linear, _boxes(k, shots, marks, p.linear.shape))),
        )
        for k, p in pictures.items()
    ]
    cautions = [f"{measured.PICTURES[k]}: {c}" for k, p in pictures.items() for c in p.cautions]
    return shots, overlays, (*cautions, *shots.cautions)


def _boxes(
    picture: str, shots: Shots, marks: tuple[measured.Mark, ...], shape: tuple[int, ...]
) -> dict[str, tuple[tuple[int, int, int, int], bool]]:
    found = {"white": shots.pair.regions[0], "black": shots.pair.regions[1]}.get(picture, {})
    boxes = {label: (region.box, region.marked) for label, region in found.items()}
    own = {m.label: (measured.box_in(m.box, shape), True) for m in marks if m.picture == picture}
    return boxes | own


def _show_found(shots: Shots, overlays: list[tuple[str, str]], cautions: tuple[str, ...]) -> None:
    st.markdown("**What was found**")
    st.html(
        '<div class="wc-row">'
        + "".join(
            bench.figure(
                f'<img class="wc-found" src="{uri}" alt="{escape(title)}, with what was found '
                'boxed">',
                title,
                "boxes: what was measured",
            )
            for title, uri in overlays
        )
        + "</div>"
    )
    pair = shots.pair
    rows = []
    for title, colour in (("Over white", pair.over_white), ("Over black", pair.over_black)):
        code = screen_code(colour.srgb)
        L, a, b = colour.Lab
        rows.append(
            (
                title,
                code,
                f"{colour_words(colour.Lab)}; L* {L:.0f}, a* {a:.0f}, b* {b:.0f} in daylight; "
                f"give or take {colour.uncertainty_de:.1f} CIEDE2000.",
            )
        )
    to_y = (0.2126, 0.7152, 0.0722)
    for title, values, spread, words in (
        ("Reflected", pair.R, pair.R_uncertainty, "Share of light sent back by the cloth alone"),
        ("Let through", pair.T, pair.T_uncertainty, "Share of light that passes through it"),
    ):
        share = sum(w * float(v) for w, v in zip(to_y, values, strict=True))
        error = sum(w * float(v) for w, v in zip(to_y, spread, strict=True))
        rows.append((title, f"{100 * share:.0f} %", f"{words}; give or take {100 * error:.1f}."))
    rows.append(
        (
            "Opacity",
            f"{pair.opacity_percent:.0f} %",
            f"Over black against over white of 0.89; give or take {pair.opacity_uncertainty:.1f}.",
        )
    )
    st.html(bench.figures_list(rows))
    for line in cautions:
        st.warning(plain(line))


@guarded
def _marking(pictures: tuple[str, ...]) -> None:
    with st.expander("Mark a part by hand"):
        st.caption("Where a part is not found, or found wrong: say where it is.")
        picture = st.selectbox(
            "Picture", pictures, key="m-mark-picture", format_func=lambda k: measured.PICTURES[k]
        )
        bare = picture.startswith("frayed")
        label = st.selectbox(
            "What it is", (*(THREADS.values() if bare else ()), *LABELS), key="m-mark-label"
        )
        across = st.slider("From left to right, %", 0, 100, (30, 70), key="m-mark-x")
        down = st.slider("From top to bottom, %", 0, 100, (30, 70), key="m-mark-y")
        with st.container(horizontal=True):
            st.button(
                "Mark it",
                key="m-mark",
                on_click=_mark,
                args=(measured.Mark(picture, label, (across[0], down[0], across[1], down[1])),),
            )
            st.button(
                "Take all marks off",
                key="m-unmark",
                on_click=_unmark,
                disabled=not st.session_state.get("m-marks"),
            )


@whole
def _mark(mark: measured.Mark) -> None:
    kept = [
        m
        for m in st.session_state.get("m-marks", ())
        if (m.picture, m.label) != (mark.picture, mark.label)
    ]
    st.session_state["m-marks"] = (*kept, mark)


@whole
def _unmark() -> None:
    st.session_state["m-marks"] = ()


# --- instrument -----------------------------------------------------------------------------------


@guarded
def _instrument() -> tuple[tuple[Seen, ...], tuple[Thread, ...]] | None:
    given = upload(
        "Table of spectra (CSV, TSV or CGATS)", "m-spectra", ["csv", "tsv", "txt", "cgats", "it8"]
    )
    if given is None:
        return None
    try:
        text = given.data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            "is not text; export the spectra as CSV or CGATS text", file="table of spectra"
        ) from None
    spectra = spectra_from_text(text, file="table of spectra")
    names = (_OFF, *spectra)
    light = st.selectbox("How the instrument looks", ("d:8", "45:0"), key="m-s-way",
                         help="d:8: from within a white sphere. 45:0: by a ring of light.")
    st.caption(f"{len(spectra)} spectra found: " + plain(", ".join(list(spectra)[:12])))
    one, two = st.columns(2)
    white = one.selectbox("The cloth over white", names, key="m-s-white")
    black = two.selectbox("The cloth over black", names, key="m-s-black")
    grounds = [
        one.number_input("Reflectance of the white", 0.4, 1.0, 0.89, 0.01, key="m-s-gw"),
        two.number_input("Reflectance of the black", 0.0, 0.2, 0.0, 0.01, key="m-s-gb"),
    ]
    warp = one.selectbox("Hank of warp", names, key="m-s-warp")
    weft = two.selectbox("Hank of weft", names, key="m-s-weft")
    seen = tuple(
        seen_spectrum(
            f"over {word}", spectra[name].values, 0.01, _flat(word, ground), light=light
        )
        for word, name, ground in (("white", white, grounds[0]), ("black", black, grounds[1]))
        if name != _OFF
    )
    try:
        check_grounds(seen, 0.01)
    except InputError as error:
        raise InputError(error.what, file="table of spectra") from None
    threads = tuple(
        thread_spectrum(system, spectra[name].values)
        for system, name in (("warp", warp), ("weft", weft))
        if name != _OFF
    )
    for name, found in spectra.items():
        for remark in found.notes:
            st.caption(plain(f"{name}: {remark}"))
    return seen, threads


def _flat(word: str, share: float) -> Backing:
    return Backing(word, np.full(BANDS, share))


# --- thread count ---------------------------------------------------------------------------------


@guarded
def _closeup() -> None:
    with st.expander("Count the threads from a close-up (picture 4)"):
        given = upload("4 Close-up", "m-closeup", measured.KINDS)
        how = st.radio(
            "Its scale", ("a ruler in it", "width of the picture"), key="m-scale", horizontal=True
        )
        width, ruler = None, None
        if how != "a ruler in it":
            width = st.number_input(
                "The whole picture is so many mm wide", 1.0, 300.0, None, 0.5, key="m-wide"
            )
        elif st.toggle("Mark the ruler by hand", key="m-ruler"):
            across = st.slider("Ruler's ticks, left to right, %", 0, 100, (0, 100), key="m-rx")
            down = st.slider("Ruler's ticks, top to bottom, %", 0, 100, (85, 100), key="m-ry")
            ruler = (across[0], down[0], across[1], down[1])
        warp = st.radio(
            "The warp runs",
            ("up", "across"),
            key="m-warp",
            horizontal=True,
            help="A picture cannot tell warp from weft.",
        )
        region = None
        if st.toggle("Count in a part only", key="m-part"):
            across = st.slider("Part, left to right, %", 0, 100, (10, 90), key="m-px")
            down = st.slider("Part, top to bottom, %", 0, 100, (10, 80), key="m-py")
            region = (across[0], down[0], across[1], down[1])
        if given is None or (how != "a ruler in it" and width is None):
            st.session_state.pop("counted", None)
            return
        key = (given.digest, width, ruler, warp, region)
        found = st.session_state.get("counted")
        if found is None or found[0] != key:
            st.session_state.pop("counted", None)
            with st.spinner("Counting …"):
                picture = measured.read(given.data, "4 Close-up", measured.MOST_CLOSEUP)
                count, _ = measured.count_in(picture, width, ruler, warp, region)
                drawn = uri_of(measured.threaded(picture.linear, count))
            found = (key, count, drawn, picture.cautions)
            st.session_state["counted"] = found
        _, count, drawn, cautions = found
        inch = work().units == "inch"
        size, per = (2.54, "/inch") if inch else (1.0, "/cm")
        ends, ends_sure = stated(count.ends_per_cm, count.ends_range, size)
        picks, picks_sure = stated(count.picks_per_cm, count.picks_range, size)
        st.html(
            f'<img class="wc-found" src="{drawn}" alt="Part of the close-up, a line along every '
            'fifth end and pick">'
            + bench.figures_list(
                [
                    (
                        "Ends",
                        f"{ends} {per}",
                        f"{ends_sure.capitalize()}. Yellow: every fifth.",
                    ),
                    (
                        "Picks",
                        f"{picks} {per}",
                        f"{picks_sure.capitalize()}. Blue: every fifth.",
                    ),
                    (
                        "Warp leans",
                        f"{count.grain_angle_deg:.1f}°",
                        "Off the picture's upright, to the right if above 0.",
                    ),
                ]
            )
        )
        for other in count.alternatives:
            st.caption(
                f"It could also be {other.ends_per_cm * size:.1f} × "
                f"{other.picks_per_cm * size:.1f} {per}: count a cm by eye."
            )
        for line in (*cautions, *count.cautions):
            st.warning(plain(line))
