"""To the table: the choice on paper, for the cutting table.

Knows how a choice becomes a sheet; the sheet is ``weavecolor.report``.
"""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from dataclasses import replace

import streamlit as st

import pictures
from makings import title_field
from orders import Order, Waiting, name_of
from session import again, bound, change, guarded, plain, work
from state import choose, decided_option, option_words, pin, table_of
from weavecolor.making.file import to_json
from weavecolor.making.model import Making, MakingOption
from weavecolor.picture.canvaspng import page_image, png_bytes
from weavecolor.report.makingsheet import MakingSheet, making_sheet_images, making_sheet_pdf
from weavecolor.report.sheetfrommaking import SheetChoices
from weavecolor.report.sheetfrommaking import making_sheet as sheet_of
from weavecolor.report.sheetlayout import sheet_pages
from weavecolor.scene.places import scene_names


@guarded
def draw(waiting: Waiting) -> None:
    _sheet(waiting)


@guarded
def _sheet(waiting: Waiting) -> None:
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
            format_func=lambda n: f"Piece {plain(n)}",
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
    order = _whole(now, option)
    data = order.there()
    if data is None:
        # what is quick stands there at once; pages of it are set anew when the rest is there
        waiting.place(order, lambda _: again())
        st.html('<p class="wc-told" role="status">Working out its colours, what will show through '
                "and its picture …</p>")  # fmt: skip
        quick = making_sheet(now, option, whole=False)
        for number, page in enumerate(making_sheet_images(quick, 100), 1):
            _show(pictures.webp(page), f"Page {number}, before its colours and its picture")
        return
    with zipfile.ZipFile(io.BytesIO(data)) as held:
        files = {name: held.read(name) for name in held.namelist()}
    numbers = range(1, 1 + sum(name.endswith(".png") for name in files))
    stem = re.sub(r"[^\w]+", "-", now.title).strip("-").lower()[:50] or "making"
    with st.container(horizontal=True):
        st.download_button(
            "Making sheet (PDF)",
            files["sheet.pdf"],
            f"{stem}.pdf",
            "application/pdf",
            type="primary",
            on_click="ignore",
            key="sheet-pdf",
        )
        for number in numbers:
            st.download_button(
                f"Page {number} (PNG)",
                files[f"{number}.png"],
                f"{stem}-{number}.png",
                "image/png",
                on_click="ignore",
                key=f"sheet-png-{number}",
            )
    for number in numbers:
        _show(files[f"{number}.webp"], f"Page {number} of the making sheet")


def _show(page: bytes, what: str) -> None:
    st.html(f'<img class="wc-page" src="{pictures.uri(page)}" alt="{what}">')


def _take_table(now: Making) -> Making:
    made = pin(now, table_of(now))
    name = next(x.name for x in made.options if x.same_stack(table_of(now)))
    return choose(made, name)


def _told(now: Making) -> Making:
    """What a sheet of one option rests on."""
    return replace(now, before=None, chosen="", table=None)


def making_sheet(now: Making, option: MakingOption, whole: bool = True) -> MakingSheet:
    """The sheet of one ``option`` of ``now``, with what the decision step has worked out; not
    ``whole``: what is quick of it."""
    choices = SheetChoices(datetime.date.today().isoformat())
    return sheet_of(_told(now), choices, option, whole=whole)


def _whole(now: Making, option: MakingOption) -> Order:
    """The sheet as PDF, as pages to keep and as pages to show, in one archive."""

    def make() -> bytes:
        made = making_sheet(now, option)
        pages = sheet_pages(made)
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as held:
            held.writestr("sheet.pdf", making_sheet_pdf(made, pages))
            for number, page in enumerate(pages, 1):
                held.writestr(f"{number}.png", png_bytes(page))
                held.writestr(f"{number}.webp", pictures.webp(page_image(page, 100)))
        return out.getvalue()

    return Order(name_of("sheet", to_json(_told(now)), option, datetime.date.today()), make)
