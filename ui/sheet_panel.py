"""The making sheet and the project file: what leaves the page at the end.

Knows how a choice becomes a sheet (``weavecolor.make``) and how the session becomes a file.
"""

from __future__ import annotations

import datetime
import io
import re
from dataclasses import replace
from typing import Any

import streamlit as st
from PIL import Image

import pictures_panel
from cloth_panel import plain_name
from session import (
    WHOLE_PAGE,
    bound,
    change,
    guarded,
    note,
    plain,
    told_at_next_drawing,
    work,
)
from state import begin_anew, choose, decided_option, opened, option_words, pin, table_of
from weavecolor.errors import InputError
from weavecolor.making.answers import undone
from weavecolor.making.file import MAX_BYTES, from_json, to_json
from weavecolor.making.model import Making, MakingOption
from weavecolor.report.makingsheet import MakingSheet, making_sheet_images, making_sheet_pdf
from weavecolor.report.sheetfrommaking import SheetChoices
from weavecolor.report.sheetfrommaking import making_sheet as sheet_of
from weavecolor.scene.places import scene_names


@guarded
def draw() -> None:
    sheet, project = st.columns((3, 2), gap="medium")
    with sheet:
        _sheet()
    with project:
        _project()


@guarded
def _sheet() -> None:
    now = work()
    bound(
        st.text_input,
        "What you are making",
        "title",
        now.title,
        lambda w, text: replace(w, title=text.strip()),
        max_chars=120,
    )
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
            f'<img class="wc-page" src="{pictures_panel.uri_of(page)}" '
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


@guarded
def _project() -> None:
    now = work()
    st.markdown("**Your project**")
    st.caption(
        "One file with your cloths, layers, pins, pieces and light. The page itself keeps nothing "
        "once you close it."
    )
    stem = re.sub(r"[^\w]+", "-", now.title).strip("-").lower()[:50] or "my-making"
    st.download_button(
        "Save the project (JSON)",
        to_json(now),
        f"{stem}.json",
        "application/json",
        on_click="ignore",
        key="project-save",
    )
    st.file_uploader(
        "Open a project",
        type=["json"],
        key="project-file",
        on_change=_open,
        help="What lies on the table now is replaced, and can be brought back.",
    )
    if st.session_state.get("asked-new"):
        st.warning("Clear the table and begin anew?")
        with st.container(horizontal=True):
            st.button("Yes, begin anew", key="new-yes", on_click=_begin)
            st.button("No", key="new-no", on_click=_ask, args=(False,))
    else:
        with st.container(horizontal=True):
            st.button("Begin anew", key="new", on_click=_ask, args=(True,))
            if now.before is not None:
                st.button("Bring back what was cleared", key="new-undo", on_click=_bring_back)


def _bring_back() -> None:
    change(undone)
    st.session_state[WHOLE_PAGE] = True


def _opened(now: Making, text: str, name: str) -> Making:
    """What the file holds; what lay on the table can be brought back."""
    making = opened(from_json(text, name))
    return making if making.before else replace(making, before=replace(now, before=None))


def _ask(asked: bool) -> None:
    st.session_state["asked-new"] = asked


def _begin() -> None:
    st.session_state["asked-new"] = False
    change(begin_anew)
    st.session_state[WHOLE_PAGE] = True
    note("A clean table, with the demo cloth. What lay there can be brought back below.")


def _open() -> None:
    given = st.session_state.get("project-file")
    if given is None:
        return
    with told_at_next_drawing():
        name = plain_name(given.name)
        data = given.getvalue()
        if len(data) > MAX_BYTES:
            raise InputError("is above 10 MB, too big for a project", file=name)
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError("is not text in UTF-8; choose a saved project", file=name) from None
        change(_opened, text, name)
        st.session_state[WHOLE_PAGE] = True
        if "notice" not in st.session_state:
            note(f"Opened {name}.")
