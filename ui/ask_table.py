"""To the table: the choice on paper, for the cutting table.

Knows how a choice becomes a sheet; the sheet is ``weavecolor.report``.
"""

from __future__ import annotations

import datetime
import io
import re
from dataclasses import replace
from typing import Any

import streamlit as st
from PIL import Image

import pictures
from makings import title_field
from orders import Waiting
from session import bound, change, guarded, plain, work
from state import choose, decided_option, option_words, pin, table_of
from weavecolor.making.model import Making, MakingOption
from weavecolor.report.makingsheet import MakingSheet, making_sheet_images, making_sheet_pdf
from weavecolor.report.sheetfrommaking import SheetChoices
from weavecolor.report.sheetfrommaking import making_sheet as sheet_of
from weavecolor.scene.places import scene_names


@guarded
def draw(waiting: Waiting) -> None:
    _ = waiting  # the sheet's pictures are drawn with it
    _sheet()


@guarded
def _sheet() -> None:
    now = work()
    title_field(now, "title")
    names = [p.name for p in now.options]
    if names:
        bound(
            st.radio,
            "The choice",
            "chosen",
            now.chosen or None,
            choose,
            options=names,
            horizontal=True,
            format_func=lambda n: f"Pin {plain(n)}",
        )
    if not now.chosen:
        st.info(
            "Nothing is chosen yet. Choose one of the options, or what lies on the table: "
            + plain(option_words(now, table_of(now)))
        )
        st.button(
            "Choose what lies on the table",
            key="choose-table",
            on_click=change,
            args=(_take_table,),
        )
        return
    option = decided_option(now)
    st.markdown(plain(option_words(now, option)))
    bound(
        st.multiselect,
        "Also foresee it in these lights",
        "sheet-scenes",
        list(now.scenes),
        lambda w, chosen: replace(w, scenes=tuple(chosen)),
        options=list(dict.fromkeys((*scene_names(), *now.scenes))),
        max_selections=max(5, len(now.scenes)),
        help="The light you work in now is always on the sheet.",
    )
    bound(
        st.text_area,
        "Notes for the cutting table",
        "notes",
        now.notes,
        lambda w, text: replace(w, notes=text),
        max_chars=1500,
    )
    made = making_sheet(now, option)
    pages = making_sheet_images(made, 100)
    stem = re.sub(r"[^\w]+", "-", now.title).strip("-").lower()[:50] or "making"
    with st.container(horizontal=True):
        st.download_button(
            "Making sheet (PDF)",
            making_sheet_pdf(made),
            f"{stem}.pdf",
            "application/pdf",
            type="primary",
            on_click="ignore",
            key="sheet-pdf",
        )
        for number, page in enumerate(making_sheet_images(made, 200), 1):
            st.download_button(
                f"Page {number} (PNG)",
                _png(page),
                f"{stem}-{number}.png",
                "image/png",
                on_click="ignore",
                key=f"sheet-png-{number}",
            )
    for number, page in enumerate(pages, 1):
        st.html(
            f'<img class="wc-page" src="{pictures.uri_of(page)}" '
            f'alt="Page {number} of the making sheet">'
        )


def _take_table(now: Making) -> Making:
    made = pin(now, table_of(now))
    name = next(x.name for x in made.options if x.same_stack(table_of(now)))
    return choose(made, name)


def _png(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG", dpi=(200, 200))
    return out.getvalue()


def making_sheet(now: Making, option: MakingOption) -> MakingSheet:
    """The sheet of one option, with what the decision step has worked out."""
    choices = SheetChoices(datetime.date.today().isoformat())
    told = replace(now, before=None, chosen="", table=None)
    return _making_sheet((told, option, choices), told, option, choices)


@st.cache_resource(max_entries=6, show_spinner="The sheet is being made …")
def _making_sheet(
    key: tuple[Any, ...], _project: Making, _option: MakingOption, _choices: SheetChoices
) -> MakingSheet:
    return sheet_of(_project, _choices, _option)
