"""My cloth: taken from the shelf, described in the trade's numbers, measured, or from a file.

Knows what is asked about a cloth and how its numbers are shown; measuring is ``measure_panel``.
"""

from __future__ import annotations

import importlib
import re
import tomllib
from html import escape

import streamlit as st

import bench
import describing
import looks
import orders
import pictures
from orders import Waiting
from session import (
    ask,
    change,
    fold,
    guarded,
    note,
    place_of,
    plain,
    plain_name,
    told_at_next_drawing,
    whole,
    work,
)
from state import (
    cloth_called,
    cloth_labels,
    digest,
    keep_cloth,
    light_of,
    own_cloths,
    stack_of,
    table_of,
    with_cloth,
)
from strip import CHOSEN
from weavecolor.colour.colorimetry import Reading, reading
from weavecolor.colour.lights import light_spectrum
from weavecolor.errors import InputError
from weavecolor.files.clothfile import MAX_BYTES, cloth_from_toml, cloth_to_toml
from weavecolor.making.model import Making, MakingLayer, MakingOption
from weavecolor.optics.uncertainty import known_of
from weavecolor.report.cautions import cautions
from weavecolor.textile.assumedwords import assumed_words
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.notmodelled import besides_so
from words_page import HELP

#: Where a cloth may come from.
WAYS = {
    "shelf": "From the shelf",
    "describe": "Describe mine",
    "measure": "Measure mine",
    "file": "Open a file",
}
_WAY = "cloth-way"


@guarded
def draw(waiting: Waiting) -> None:
    way = st.session_state.get(_WAY, "shelf")
    with st.container(horizontal=True, key="wc-ways"):
        for name, label in WAYS.items():
            st.button(
                f"✔ {label}" if way == name else label,
                key=f"way-{name}",
                on_click=go,
                args=(name,),
            )
    with place_of(way, WAYS):
        if way == "describe":
            describing.draw(_take_described)
        elif way == "measure":
            importlib.import_module("measure_panel").draw(arrived)  # loads it only when asked for
        elif way == "file":
            _open_file()
        else:
            _shelf(waiting)
            if fold("Figures", "figures-cloth"):
                _facts(work())
            if fold("Mind: flame, heat and water", "mind"):
                st.html(caution_box(cloth_called(work(), table_of(work()).layers[0].cloth)))


@whole
def go(way: str) -> None:
    """Where the cloth comes from. For callbacks."""
    st.session_state[_WAY] = way


def arrived(now: Making, key: str) -> Making:
    """A new cloth on the table; the question of its facing is asked next."""
    st.session_state[_WAY] = "shelf"
    note(f"{cloth_called(now, key).name} is on the table and among your cloths.")
    ask("facing")
    return with_cloth(now, key)


def _take_described(now: Making, table: dict[str, object]) -> Making:
    kept, key = keep_cloth(now, table, "described")
    return arrived(kept, key)


@guarded
def _shelf(waiting: Waiting) -> None:
    """Every cloth as a close-up to press; the maker's own first."""
    now = work()
    on_table = table_of(now).layers[0].cloth
    with st.container(key="wc-shelf", horizontal=True):
        own, labels = own_cloths(now), cloth_labels(now)
        for key in sorted(labels, key=lambda k: (k not in own, "shot" not in k)):
            with st.container(key=f"wc-card-shelf-{_slug(key)}"):
                _tile(now, key, CHOSEN if key == on_table else "", waiting)
                st.button(
                    f"{'✔ ' if key == on_table else ''}{plain(labels[key])}",
                    key=f"shelf-{_slug(key)}",
                    on_click=change,
                    args=(with_cloth, key),
                    width="stretch",
                )
    look = looks.outcome(now, table_of(now)).appearance.reading
    st.html(
        f'<p class="wc-answer" role="status">{escape(labels[on_table])}: '
        f"{escape(look.words)} as it lies.</p>"
        f"{bench.mind(known_of([cloth_called(now, on_table)]).contradictions)}"
    )


def _slug(key: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", key.casefold())


def _tile(now: Making, key: str, mark: str, waiting: Waiting) -> None:
    """The weave close to; until it is drawn, the colours of warp and weft."""
    cloth = cloth_called(now, key)
    place = st.empty()
    warp, weft = (yarn_reading(y.colour.tobytes(), y) for y in (cloth.warp, cloth.weft))
    place.html(
        f'{mark}<div class="wc-patch" role="img" aria-label="{escape(warp.words)} and '
        f'{escape(weft.words)}" style="background:repeating-linear-gradient(90deg,'
        f'{warp.hex} 0 3px,{weft.hex} 3px 6px)"></div>'
    )
    if not orders.drawing():
        return
    option = MakingOption("tile", (MakingLayer(key),), "white")
    stack = stack_of(now, option)

    def show(data: bytes) -> None:
        alt = f"{cloth.name}, close to, {pictures.closeup_width(stack, now.units)}"
        place.html(
            f'{mark}<img class="wc-pic" src="{pictures.uri(data)}" alt="{escape(alt)}">'
        )

    waiting.place(pictures.closeup(stack, light_of(now), now.units), show, orders.SHELF)


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
        bench.figures_list(
            [
                ("Ends and picks", f"{ends:.0f} × {picks:.0f} {per}", HELP["sett"]),
                ("Weave", cloth.weave.name, "How ends and picks cross. As described."),
                ("Covered", f"{100 * numbers.cloth_cover:.0f} %", HELP["cover"]),
                ("Clear openings", f"{100 * numbers.openness:.0f} %", HELP["open"]),
                ("Weight", weight, HELP["mass"]),
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
    if cloth.remarks or cloth.sources or cloth.known:
        with st.expander("What was given, and what was supposed"):
            lines = [*assumed_words(cloth), *besides_so(cloth.remarks)]
            lines += [f"{k}: {v}" for k, v in cloth.sources]
            st.html(
                '<ul class="wc-remarks">'
                + "".join(f"<li>{escape(line)}</li>" for line in lines)
                + "</ul>"
            )
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
    return bench.mind(said)


@guarded
def _open_file() -> None:
    st.file_uploader(
        "A cloth file (TOML)",
        type=["toml"],
        key="cloth-file",
        on_change=_take_file,
        help="It is kept with this making.",
    )


@whole
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
    return arrived(kept, key)
