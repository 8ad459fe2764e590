"""The cloth: chosen from the shelf, described in the trade's numbers, or opened from a file.

Knows what is asked about a cloth and how its numbers are shown; measuring is ``measure_panel``.
"""

from __future__ import annotations

import importlib
import re
import tomllib
from html import escape

import streamlit as st

import bench
import looks
from arrivals import WAYS, laid
from session import bound, change, guarded, plain, told_at_next_drawing, work
from state import cloth_called, cloth_keys, cloth_label, digest, keep_cloth, table_of, with_cloth
from weavecolor.colour.colorimetry import Reading, reading
from weavecolor.colour.lights import light_spectrum
from weavecolor.errors import InputError
from weavecolor.files.clothfile import MAX_BYTES, cloth_from_toml, cloth_to_toml
from weavecolor.making.model import Making
from weavecolor.report.cautions import cautions
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.fibres import FIBRES
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


@guarded
def draw() -> None:
    st.session_state.setdefault("cloth-way", WAYS[0])
    way = st.segmented_control("Where the cloth comes from", WAYS, key="cloth-way")
    if way == WAYS[1]:
        _describe()
    elif way == WAYS[2]:
        importlib.import_module("measure_panel").draw()  # loads the measuring only when asked for
    elif way == WAYS[3]:
        _open_file()
    else:
        _shelf()
        _facts(work())


@guarded
def _shelf() -> None:
    now = work()
    bound(
        st.selectbox,
        "Cloth, outermost layer",
        "cloth-key",
        table_of(now).layers[0].cloth,
        with_cloth,
        options=cloth_keys(now),
        format_func=lambda key: cloth_label(work(), key),
        help="Layers of the same cloth follow. Other layers are changed under Layers.",
    )


@guarded
def _facts(now: Making) -> None:
    key = table_of(now).layers[0].cloth
    cloth = cloth_called(now, key)
    numbers = looks.facts(digest(cloth), cloth)
    inch = now.units == "inch"
    st.html(f'<div class="wc-yarns">{_yarn("Warp", cloth.warp)}{_yarn("Weft", cloth.weft)}</div>')
    if cloth.notes:
        st.html(f'<p class="wc-told">{escape(cloth.notes)}</p>')
    per, ends, picks = (
        ("/inch", numbers.ends_per_inch, numbers.picks_per_inch)
        if inch
        else ("/cm", numbers.ends_per_cm, numbers.picks_per_cm)
    )
    weight = f"{numbers.mass_g_m2:.0f} g/m² ({numbers.mass_momme:.1f} momme)"
    st.html(
        bench.facts_list(
            [
                ("Ends and picks", f"{ends:.0f} × {picks:.0f} {per}", HELP["sett"]),
                ("Weave", cloth.weave.name, "How ends and picks cross. As described."),
                ("Covered", f"{100 * numbers.cloth_cover:.0f} %", HELP["cover"]),
                ("Clear openings", f"{100 * numbers.openness:.0f} %", HELP["open"]),
                ("Weight", weight, HELP["weight"]),
                (
                    "Yarn, warp and weft",
                    f"{_thin(numbers.warp_width_mm, inch)}, {_thin(numbers.weft_width_mm, inch)}",
                    HELP["yarn"],
                ),
                ("Thickness", _thin(numbers.thickness_mm, inch), HELP["thickness"]),
            ],
            "wc-cloth-facts",
        )
    )
    if cloth.remarks or cloth.sources:
        with st.expander("What was given, and what was supposed"):
            lines = [*cloth.remarks, *(f"{k}: {v}" for k, v in cloth.sources)]
            st.html(
                '<ul class="wc-remarks">'
                + "".join(f"<li>{escape(line)}</li>" for line in lines)
                + "</ul>"
            )
    st.html(caution_box(cloth))
    st.download_button(
        "Save this cloth as a file (TOML)",
        cloth_to_toml(cloth),
        f"{_file_stem(cloth.name)}.toml",
        "application/toml",
        on_click="ignore",
        key="cloth-toml",
    )


def _thin(mm: float, inch: bool) -> str:
    return f"{mm / 25.4:.4f} in" if inch else f"{mm:.2f} mm"


def _file_stem(name: str) -> str:
    return re.sub(r"[^\w]+", "-", name).strip("-").lower()[:60] or "cloth"


@st.cache_resource(max_entries=200, show_spinner=False)
def yarn_reading(key: bytes, _yarn: Yarn) -> Reading:
    light = light_spectrum("daylight")
    return reading(_yarn.colour * light, light)


def _yarn(title: str, yarn: Yarn) -> str:
    seen = yarn_reading(yarn.colour.tobytes(), yarn)
    name = f"{yarn.colour_name}, " if yarn.colour_name else ""
    return (
        f'<div class="wc-yarn">{bench.swatch(seen.hex, seen.words, not seen.in_srgb, small=True)}'
        f"<p><b>{title}</b>: {escape(name)}{escape(yarn.fibre.name)} {escape(yarn.kind)}<br>"
        f"{yarn.tex:.3g} tex · {escape(seen.words)} <code>{seen.hex}</code></p></div>"
    )


def caution_box(*cloths: Cloth) -> str:
    """Cautions that fit these cloths."""
    fibres = {yarn.fibre.name for cloth in cloths for yarn in (cloth.warp, cloth.weft)}
    said = cautions(fibres, sheer=any(looks.facts(digest(cloth), cloth).sheer for cloth in cloths))
    items = "".join(f"<li>{escape(line)}</li>" for line in said)
    return f'<div class="wc-caution" role="note"><b>Mind</b><ul>{items}</ul></div>'


@guarded
def _describe() -> None:
    inch = work().units == "inch"
    per = "/inch" if inch else "/cm"
    with st.form("describe"):
        st.text_input("Name", "My shot cloth", key="d-name", max_chars=100)
        one, two, three = st.columns(3)
        one.selectbox(
            "Weave",
            WEAVES,
            key="d-weave",
            accept_new_options=True,
            help="Choose, or write such as twill 3/1 left or satin 8/3.",
        )
        two.text_input(
            "Ends",
            f"{100 if inch else 40} {per}",
            key="d-ends",
            help="Warp threads, with the unit: 40 /cm or 100 /inch.",
        )
        three.text_input(
            "Picks",
            f"{96 if inch else 38} {per}",
            key="d-picks",
            help="Weft threads, with the unit: 38 /cm or 96 /inch.",
        )
        for column, (system, colour) in zip(
            st.columns(2), (("warp", "#8c1328"), ("weft", "#1c1a1a")), strict=True
        ):
            with column.container(border=True):
                st.markdown(f"**{system.capitalize()}**")
                st.selectbox("Fibre", list(FIBRES), key=f"d-{system}-fibre", index=_silk())
                st.text_input(
                    "Yarn size",
                    "20/22 denier",
                    key=f"d-{system}-count",
                    help="With its unit: 21 denier, 20 tex, 84 dtex, Ne 40 or Nm 60.",
                )
                st.radio(
                    "Yarn",
                    ("filament", "spun"),
                    key=f"d-{system}-kind",
                    horizontal=True,
                    help="Filament is smooth and glossy, spun is matt. Sets what is not given.",
                )
                st.color_picker(
                    f"Colour of the {system}",
                    colour,
                    key=f"d-{system}-colour",
                    help="The colour of a thick hank in daylight. Many dyes look so in daylight "
                    "and differ under lamps.",
                )
        st.text_input(
            "Weight, if you know it",
            "",
            key="d-weight",
            help="4.3 momme, 19 g/m2 or 3 oz/yd2: checked against yarn and sett.",
        )
        st.form_submit_button("Put it on the table", type="primary", on_click=_take_description)


def _silk() -> int:
    return list(FIBRES).index("silk") if "silk" in FIBRES else 0


def _take_description() -> None:
    given = {
        name: str(st.session_state.get(f"d-{name}") or "")
        for name in ("name", "weave", "ends", "picks", "weight")
    }
    table: dict[str, object] = {name: text for name, text in given.items() if text.strip()}
    for system in ("warp", "weft"):
        yarn = {k: st.session_state.get(f"d-{system}-{k}") for k in ("fibre", "count", "kind")}
        table[system] = {**yarn, "colour": {"srgb": st.session_state.get(f"d-{system}-colour")}}
    change(_described, table)


def _described(now: Making, table: dict[str, object]) -> Making:
    kept, key = keep_cloth(now, table, "described")
    return laid(kept, key)


@guarded
def _open_file() -> None:
    st.file_uploader(
        "A cloth file (TOML)",
        type=["toml"],
        key="cloth-file",
        on_change=_take_file,
        help="Kept in this session only, until you save the project.",
    )


def _take_file() -> None:
    given = st.session_state.get("cloth-file")
    if given is None:
        return
    with told_at_next_drawing():
        data = given.getvalue()
        name = plain_name(given.name)
        if len(data) > MAX_BYTES:
            raise InputError("more than 1 MB; that is no cloth file", file=name)
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError("is not text in UTF-8; save it so", file=name) from None
        cloth_from_toml(text, file=name)  # told by its own name where something is wrong
        change(_opened, tomllib.loads(text), name)


def _opened(now: Making, table: dict[str, object], name: str) -> Making:
    kept, key = keep_cloth(now, table, "cloth file", name)
    return laid(kept, key)


def plain_name(name: str) -> str:
    """The last part of an uploaded file's name, for messages only."""
    return plain(re.split(r"[\\/]", name)[-1][:60]).replace("\\", "")
