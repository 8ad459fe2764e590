"""Enough cloth: pieces laid on the cloth in hand, by the grain of the choice.

Knows the table of pieces and how a lay is told; the laying is ``weavecolor.cutting.lay``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pandas as pd
import streamlit as st
from PIL import Image

import pictures_panel
from lengths_input import length_input
from session import bound, change, guarded, note, plain, work
from state import cloth_called, hand_of, preset_of, with_hand
from weavecolor.cutting.lay import Lay, compare_grains, grain_sentence, lay
from weavecolor.cutting.lengths import UNITS, cm_and_inches
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import FOLDS, ClothInHand
from weavecolor.errors import InputError
from weavecolor.making.model import Making, MakingOption
from weavecolor.picture.canvas import Page
from weavecolor.picture.canvaspng import page_image
from weavecolor.report.sheetblocks import Style
from weavecolor.report.sheetdrawings import lay_drawing
from weavecolor.report.sheetwords import lay_sentences
from weavecolor.textile.grain import grain_words

TRIES = 60
MOST_PIECES = 40
FOLD_WORDS = {
    "open": "single, open",
    "lengthwise": "folded along the warp",
    "crosswise": "folded across",
}

_COLUMNS = ("piece", "across", "down", "quantity", "on fold", "grain")


def demo_pieces() -> tuple[Piece, ...]:
    """A gathered skirt and bodice to begin with: invented sizes."""
    return (
        Piece.rectangle("skirt panel", 70.0, 75.0, quantity=2),
        Piece.rectangle("bodice front", 24.0, 42.0, quantity=1, fold_edge=3),
        Piece.rectangle("bodice back", 26.0, 42.0, quantity=2, pair=True),
        Piece.rectangle("sleeve", 38.0, 30.0, quantity=2, pair=True),
    )


def pieces_frame(pieces: tuple[Piece, ...], units: str) -> pd.DataFrame:
    """Rectangular pieces as a table; across and down in the maker's unit."""
    size = UNITS[units]
    rows = []
    for piece in pieces:
        xs, ys = zip(*piece.outline, strict=True)
        rows.append(
            (
                piece.name,
                round((max(xs) - min(xs)) / size, 2),
                round((max(ys) - min(ys)) / size, 2),
                piece.quantity,
                piece.fold_edge is not None,
                piece.grain or "as the choice",
            )
        )
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def pieces_from(frame: pd.DataFrame, units: str) -> tuple[Piece, ...]:
    """Rectangular pieces from the table. Raises InputError naming the row."""
    made = []
    for number, row in enumerate(frame.to_dict("records"), 1):
        name = "" if pd.isna(row["piece"]) else str(row["piece"]).strip()
        across, down, quantity = (row[k] for k in ("across", "down", "quantity"))
        if not name and pd.isna(across) and pd.isna(down):
            continue
        if pd.isna(across) or pd.isna(down):
            raise InputError("give both across and down", field=f"piece {name or number}")
        grain = row["grain"]
        on_fold = row["on fold"]
        made.append(
            Piece.rectangle(
                name or f"piece {number}",
                float(across),
                float(down),
                unit=units,
                quantity=1 if pd.isna(quantity) else int(quantity),
                fold_edge=3 if not pd.isna(on_fold) and bool(on_fold) else None,
                grain="" if pd.isna(grain) or grain == "as the choice" else str(grain),
            )
        )
    if len(made) > MOST_PIECES:
        raise InputError(f"more than {MOST_PIECES} rows; lay them in parts", field="pieces")
    return tuple(made)


USUAL = ClothInHand(112.0, 250.0, selvedge_cm=1.0)


@guarded
def draw(option: MakingOption) -> None:
    now = work()
    key = option.layers[0].cloth
    st.markdown(f"Cloth in hand: **{plain(cloth_called(now, key).name)}**")
    hand = hand_of(now, key) or USUAL
    one, two = st.columns(2)
    with one:
        if hand.outline is None:
            length_input(
                "Width in hand",
                f"hand-w-{key}",
                hand.width_cm,
                _hand(key, "width_cm"),
                "Between the selvedges.",
                4.0,
            )
            length_input(
                "Length in hand",
                f"hand-l-{key}",
                hand.length_cm,
                _hand(key, "length_cm"),
                "Along the warp.",
                1.0,
            )
        else:
            st.info("The project has an odd remnant of this cloth; its outline is used.")
    with two:
        if hand.outline is None:
            length_input(
                "Selvedge to leave",
                f"hand-s-{key}",
                hand.selvedge_cm,
                _hand(key, "selvedge_cm"),
                "Strip along both sides that is not used.",
            )
        bound(
            st.toggle,
            "One-way cloth (nap, or shot that differs seen up and down)",
            f"hand-way-{key}",
            hand.one_way,
            _hand(key, "one_way"),
        )
        bound(
            st.radio,
            "Laid",
            "fold",
            now.fold,
            lambda w, f: replace(w, fold=f),
            options=FOLDS,
            format_func=lambda f: FOLD_WORDS[f],
            horizontal=True,
        )
    st.markdown("**Pieces** (finished size; a seam allowance of 1.5 cm is added all round)")
    if not now.pieces:
        st.button(
            "Begin with a skirt and bodice",
            key="demo-pieces",
            on_click=change,
            args=(lambda w: replace(w, pieces=demo_pieces()),),
        )
    shaped = [p for p in now.pieces if len(p.outline) != 4]
    if shaped:
        st.caption(
            "Shaped pieces from the project keep their outline: "
            + ", ".join(plain(p.name) for p in shaped)
        )
    frame = pieces_frame(tuple(p for p in now.pieces if len(p.outline) == 4), now.units)
    edited = st.data_editor(
        frame,
        num_rows="dynamic",
        hide_index=True,
        key=f"pieces-{now.units}-{len(now.pieces)}",
        column_config={
            "piece": st.column_config.TextColumn("Piece", width="medium", max_chars=60),
            "across": st.column_config.NumberColumn(f"Across, {now.units}", min_value=0.1),
            "down": st.column_config.NumberColumn(f"Down, {now.units}", min_value=0.1),
            "quantity": st.column_config.NumberColumn("Cut", min_value=1, max_value=99, step=1),
            "on fold": st.column_config.CheckboxColumn("On fold", help="The size is one half."),
            "grain": st.column_config.SelectboxColumn(
                "Grain", options=["as the choice", "straight", "cross", "bias", "either"]
            ),
        },
    )
    st.button(
        "See whether it fits",
        key="lay-it",
        type="primary",
        on_click=_lay_it,
        args=(edited, tuple(shaped), key),
    )
    _show_lays(option)


def _hand(key: str, name: str) -> Callable[[Making, Any], Making]:
    def apply(now: Making, value: Any) -> Making:
        return with_hand(now, key, replace(hand_of(now, key) or USUAL, **{name: value}))

    return apply


def _lay_it(edited: pd.DataFrame, shaped: tuple[Piece, ...], key: str) -> None:
    change(_with_pieces, edited, shaped, key)
    st.session_state["laid"] = True


def _with_pieces(now: Making, edited: pd.DataFrame, shaped: tuple[Piece, ...], key: str) -> Making:
    made = pieces_from(edited, now.units)
    kept = {_named(p): p for p in now.pieces}
    # A row that was not touched keeps what the table does not show: pairs, its own allowance.
    made = tuple(kept.get(_named(p), p) for p in made)
    pieces = (*made, *shaped)
    if not pieces:
        raise InputError("there are no pieces yet; write them into the table")
    note("Pieces and cloth in hand are kept in the project.")
    return with_hand(replace(now, pieces=pieces), key, hand_of(now, key) or USUAL)


def _named(piece: Piece) -> tuple[Any, ...]:
    corners = tuple((round(x, 1), round(y, 1)) for x, y in piece.outline)
    return piece.name, corners, piece.quantity, piece.fold_edge, piece.grain


@st.cache_resource(max_entries=60, show_spinner=False)
def _laid(pieces: tuple[Piece, ...], cloth: ClothInHand, fold: str, grain: float) -> Lay:
    return lay(pieces, cloth, grain, fold=fold, tries=TRIES)


@st.cache_resource(max_entries=30, show_spinner=False)
def _by_grain(pieces: tuple[Piece, ...], cloth: ClothInHand, fold: str) -> dict[str, Lay]:
    return compare_grains(pieces, cloth, fold=fold, tries=TRIES)


def _grain_of(option: MakingOption) -> float:
    return float(option.layers[0].grain_deg)


@guarded
def _show_lays(option: MakingOption) -> None:
    now = work()
    hand = hand_of(now, option.layers[0].cloth)
    if hand is None or not now.pieces or not st.session_state.get("laid"):
        return
    grain = _grain_of(option)
    with st.spinner("Laying the pieces …"):
        made = _laid(now.pieces, hand, now.fold, grain)
        others = _by_grain(now.pieces, hand, now.fold)
    words = plain(grain_words(grain))
    (st.success if made.fits else st.warning)(
        f"{words[:1].upper()}{words[1:]}: " + plain(" ".join(lay_sentences(made)))
    )
    st.markdown(plain(grain_sentence(others)))
    st.html(
        f'<img class="wc-page" src="{pictures_panel.uri_of(lay_picture(made, now))}" '
        f'alt="The lay: {len(made.placements)} pieces on the cloth, '
        f'{cm_and_inches(made.used_cm)} used">'
    )
    numbers = {p.name: i for i, p in enumerate(now.pieces, 1)}
    st.caption(" · ".join(f"{i} {plain(name)}" for name, i in numbers.items()))
    if preset_of(grain) is None:
        st.caption("The grain is neither straight, cross nor bias: pieces are turned to it.")


def lay_picture(made: Lay, now: Making) -> Image.Image:
    """The lay drawn as on the making sheet."""
    numbers = {p.name: i for i, p in enumerate(now.pieces, 1)}
    drawing = lay_drawing(made, numbers, 180.0, 80.0, Style())
    return page_image(Page(drawing.marks, 182.0, drawing.height + 4.0), 120)
