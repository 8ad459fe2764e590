"""Enough cloth: all that is cut from each cloth of the choice, laid on what there is of it.

Knows the tables of pieces and of places to keep clear of; the sum, the same as on the sheet and the
command line, is ``weavecolor.cutting.needed``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd
import streamlit as st
from PIL import Image

import pictures
from lengths_input import length_input
from session import bound, change, guarded, note, plain, whole, work
from state import (
    MOST_LENGTHS,
    USUAL,
    add_hand,
    cloth_called,
    drop_hand,
    hands_of,
    with_cloths,
    with_hand,
)
from weavecolor.cutting.asked import damage_at
from weavecolor.cutting.lay import Lay
from weavecolor.cutting.lengths import UNITS, cm_and_inches, enough_words
from weavecolor.cutting.needed import ClothNeeded
from weavecolor.cutting.pieces import Piece, Points, named_apart
from weavecolor.cutting.remnant import FOLDS, ClothInHand
from weavecolor.errors import InputError, capital
from weavecolor.making.answers import needs_of, plans_of
from weavecolor.making.model import Making, MakingOption
from weavecolor.optics.stack import MOST_LAYERS
from weavecolor.picture.canvas import Page
from weavecolor.picture.canvaspng import page_image
from weavecolor.report.sheetblocks import Style
from weavecolor.report.sheetdrawings import lay_drawing, numbered
from weavecolor.report.sheetwords import needed_sentences
from weavecolor.textile.grain import grain_words

MOST_PIECES = 40
FOLD_WORDS = {
    "open": "single, open",
    "lengthwise": "folded along the warp",
    "crosswise": "folded across",
}

_COLUMNS = ("piece", "across", "down", "quantity", "on fold", "pair", "grain", "layers")
#: What is cut in the outer layers alone, by how many.
LAYERS = {"all": None, **{f"outer {n}" if n > 1 else "outermost": n for n in range(1, MOST_LAYERS)}}
_SPOT = ("across", "along", "from left", "from end")


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
                piece.pair,
                piece.grain or "as the choice",
                layers_word(piece.layers),
            )
        )
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def layers_word(layers: int | None) -> str:
    """In which layers a thing is cut, as the table and the skirt's own list tell it."""
    return next((word for word, outer in LAYERS.items() if outer == layers), "all")


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
                pair=not pd.isna(row["pair"]) and bool(row["pair"]),
                grain="" if pd.isna(grain) or grain == "as the choice" else str(grain),
                layers=LAYERS.get(row["layers"]),
            )
        )
    if len(made) > MOST_PIECES:
        raise InputError(f"more than {MOST_PIECES} rows; lay them in parts", field="pieces")
    return named_apart(made)


def rectangular(piece: Piece) -> bool:
    """Whether the table can hold it: an upright rectangle, on the fold by its left edge if at all.

    Any other outline is kept as it is.
    """
    xs, ys = (sorted(set(axis)) for axis in zip(*piece.outline, strict=True))
    return len(piece.outline) == 4 and len(xs) == len(ys) == 2 and piece.fold_edge in (None, 3)


def spots_frame(hand: ClothInHand, units: str) -> pd.DataFrame:
    """The rectangular flaws and bites as a table, in the maker's unit."""
    size = UNITS[units]
    rows = []
    for hole in hand.damage:
        xs, ys = (sorted(set(axis)) for axis in zip(*hole, strict=True))
        if _upright(hole):
            rows.append([round(v / size, 2) for v in (xs[1] - xs[0], ys[1] - ys[0], xs[0], ys[0])])
    return pd.DataFrame(rows, columns=list(_SPOT), dtype=float)


def spots_from(frame: pd.DataFrame, hand: ClothInHand, units: str) -> tuple[Points, ...]:
    """Flaws and bites from the table ``frame``, its lengths in ``units``, and those of ``hand``
    that it cannot hold. Raises InputError."""
    size = UNITS[units]
    made = [hole for hole in hand.damage if not _upright(hole)]
    upright = [hole for hole in hand.damage if _upright(hole)]
    # the table shows hundredths: a row that was not touched stays what it was
    kept = dict(zip(map(tuple, spots_frame(hand, units).to_numpy().tolist()), upright, strict=True))
    for number, row in enumerate(frame.to_dict("records"), 1):
        values = [row[name] for name in _SPOT]
        if all(pd.isna(value) for value in values):
            continue
        if any(pd.isna(value) for value in values[:2]):
            raise InputError("give both across and along", field=f"flaw or bite {number}")
        given = [0.0 if pd.isna(value) else float(value) for value in values]
        across, along, left, end = (value * size for value in given)
        made.append(kept.get(tuple(given)) or damage_at(left, end, across, along))
    return tuple(made)


def _upright(hole: Points) -> bool:
    xs, ys = (set(axis) for axis in zip(*hole, strict=True))
    return len(hole) == 4 and len(xs) == len(ys) == 2


@guarded
def draw(option: MakingOption) -> None:
    now = work()
    spots = {}
    for key in dict.fromkeys(layer.cloth for layer in option.layers):
        count = sum(layer.cloth == key for layer in option.layers)
        layers = "" if count == 1 else f", {count} layers"
        st.markdown(f"Cloth in hand: **{plain(cloth_called(now, key).name)}**{layers}")
        spots[key] = _in_hand(now, key)
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
    st.markdown(
        "**Pieces of one layer** (finished size; a seam allowance of 1.5 cm, 5/8 inch, is added "
        "all round, or what the project says). What is cut in the outer layers alone is told in "
        "the table's last column."
    )
    for wanted in plans_of(now):
        st.caption(f"Counted besides: the {plain(wanted.what)}, planned under fullness.")
    if not now.pieces:
        st.button(
            "Begin with a skirt and bodice",
            key="demo-pieces",
            on_click=change,
            args=(lambda w: replace(w, pieces=demo_pieces()),),
        )
    shaped = tuple(p for p in now.pieces if not rectangular(p))
    if shaped:
        st.caption(
            "Shaped pieces from the project keep their outline: "
            + ", ".join(plain(p.name) for p in shaped)
        )
    frame = pieces_frame(tuple(p for p in now.pieces if rectangular(p)), now.units)
    column = st.column_config
    edited = st.data_editor(
        frame,
        num_rows="dynamic",
        hide_index=True,
        key=f"pieces-{now.units}-{len(now.pieces)}",
        column_config={
            "piece": column.TextColumn("Piece", width=110, max_chars=60),
            "across": column.NumberColumn(f"Across, {now.units}", min_value=0.1),
            "down": column.NumberColumn(f"Down, {now.units}", min_value=0.1),
            "quantity": column.NumberColumn("Cut", min_value=1, max_value=99, step=1),
            "on fold": column.CheckboxColumn("On fold", help="The size is one half."),
            "pair": column.CheckboxColumn("Pair", help="Half of them mirrored."),
            "grain": column.SelectboxColumn(
                "Grain", options=["as the choice", "straight", "cross", "bias", "either"]
            ),
            "layers": column.SelectboxColumn(
                "Layers",
                options=[*LAYERS],
                help="Cut in all layers, or in the outer ones alone.",
            ),
        },
    )
    st.button(
        "See whether it fits",
        key="lay-it",
        type="primary",
        on_click=_lay_it,
        args=(edited, shaped, spots),
    )
    _show_lays(option)


def _in_hand(now: Making, key: str) -> list[pd.DataFrame]:
    """The lengths in hand of one cloth, to be told; the tables of their flaws and bites."""
    hands = hands_of(now, key) or (USUAL,)
    edited = []
    for index, hand in enumerate(hands):
        if len(hands) > 1:
            st.markdown(f"**Length {index + 1}**")
        edited.append(_length(now, key, index, hand))
        if len(hands) > 1:
            st.button(
                f"Take length {index + 1} away",
                key=f"hand-off-{key}-{index}",
                on_click=change,
                args=(drop_hand, key, index),
            )
    st.button(
        "Add another length of this cloth",
        key=f"hand-more-{key}",
        on_click=change,
        args=(add_hand, key),
        disabled=len(hands) >= MOST_LENGTHS,
    )
    return edited


def _length(now: Making, key: str, index: int, hand: ClothInHand) -> pd.DataFrame:
    """One length in hand, to be told; the table of its flaws and bites."""
    own = f"{key}-{index}" if index else key
    one, two = st.columns(2)
    with one:
        if hand.outline is None:
            length_input(
                "Width in hand",
                f"hand-w-{own}",
                hand.width_cm,
                _hand(key, index, "width_cm"),
                "From selvedge to selvedge.",
                4.0,
            )
            length_input(
                "Length in hand",
                f"hand-l-{own}",
                hand.length_cm,
                _hand(key, index, "length_cm"),
                "Along the warp.",
                1.0,
            )
        else:
            st.info("The project has an odd remnant of this cloth; its outline is used.")
        length_input(
            "Selvedge to leave",
            f"hand-s-{own}",
            hand.selvedge_cm,
            _hand(key, index, "selvedge_cm"),
            "Strip along both sides that is not used; of an odd remnant, along those edges at "
            "either side that run with the warp.",
        )
    with two:
        bound(
            st.toggle,
            "One-way cloth",
            f"hand-way-{own}",
            hand.one_way,
            _hand(key, index, "one_way"),
            help="Nap, or shot that differs seen up and down: all pieces lie one way up.",
        )
        st.markdown("Flaws to keep clear of, and bites already cut out at an edge")
        edited: pd.DataFrame = st.data_editor(
            spots_frame(hand, now.units),
            num_rows="dynamic",
            hide_index=True,
            key=f"spots-{own}-{now.units}-{len(hand.damage)}",
            column_config={
                name: st.column_config.NumberColumn(f"{name.capitalize()}, {now.units}")
                for name in _SPOT
            },
        )
    return edited


def _hand(key: str, index: int, name: str) -> Callable[[Making, Any], Making]:
    return lambda now, value: with_hand(now, key, index, **{name: value})


@whole
def _lay_it(
    edited: pd.DataFrame, shaped: tuple[Piece, ...], spots: dict[str, list[pd.DataFrame]]
) -> None:
    change(_with_pieces, edited, shaped, spots)
    st.session_state["laid"] = True


def _with_pieces(
    now: Making,
    edited: pd.DataFrame,
    shaped: tuple[Piece, ...],
    spots: dict[str, list[pd.DataFrame]],
) -> Making:
    made = kept_rows(now.pieces, pieces_from(edited, now.units), now.units)
    pieces = named_apart((*made, *shaped))
    if not pieces and not plans_of(now):
        raise InputError("there are no pieces yet; write them into the table")
    for key, frames in spots.items():
        hands = hands_of(now, key) or (USUAL,)
        for index, (frame, hand) in enumerate(zip(frames, hands, strict=True)):
            now = with_hand(now, key, index, damage=spots_from(frame, hand, now.units))
    note("Pieces and cloth in hand are kept in the project.")
    return replace(now, pieces=pieces)


def kept_rows(before: Sequence[Piece], rows: Sequence[Piece], units: str) -> list[Piece]:
    """The table's ``rows``, told in ``units``, with what it does not show of the pieces ``before``:
    of a row that was not touched all of it, else the allowance and the grain line of the piece of
    that name."""

    def row(piece: Piece) -> tuple[Any, ...]:
        return tuple(pieces_frame((piece,), units).iloc[0])

    own = [piece for piece in before if rectangular(piece)]
    same, named = {row(piece): piece for piece in own}, {piece.name: piece for piece in own}
    return [
        same.get(row(piece))
        or replace(piece, seam_cm=named[piece.name].seam_cm, grain_deg=named[piece.name].grain_deg)
        if piece.name in named
        else piece
        for piece in rows
    ]


@guarded
def _show_lays(option: MakingOption) -> None:
    now = with_cloths(work(), tuple(layer.cloth for layer in option.layers))
    if not (now.pieces or plans_of(now)) or not st.session_state.get("laid"):
        return
    with st.spinner("Laying the pieces …"):
        needs = needs_of(now, option)
    for need in needs:
        _show_need(need, now)
    with st.spinner("Laying them at the other grains …"):
        for grain in (0.0, 90.0, 45.0):
            st.markdown(plain(_at_grain(now, option, grain)))


def _show_need(need: ClothNeeded, now: Making) -> None:
    say = st.success if need.fits else st.info if need.enough is None else st.warning
    say(f"**{plain(need.cloth)}**: " + plain(" ".join(needed_sentences(need))))
    numbers = numbered([*now.pieces, *need.parts])
    for _, made in need.laid:
        st.html(
            f'<img class="wc-page" src="{pictures.uri_of(lay_picture(made, numbers))}" '
            f'alt="The lay: {len(made.placements)} pieces on the cloth, '
            f'{cm_and_inches(made.used_cm)} used">'
        )
    if need.laid:
        st.caption(" · ".join(f"{number} {plain(name)}" for name, number in numbers.items()))


def _at_grain(now: Making, option: MakingOption, grain: float) -> str:
    """In a sentence: whether all of it fits with the outermost layer turned to that grain."""
    by = grain - option.layers[0].grain_deg
    layers = tuple(replace(x, grain_deg=(x.grain_deg + by) % 360.0) for x in option.layers)
    told = []
    for need in needs_of(now, replace(option, layers=layers)):
        text = f"{need.verdict}"
        if need.fits:
            text += f", taking {cm_and_inches(need.used_cm)}"
        elif need.short_cm is not None:
            text += f", short of {enough_words(need.short_cm)}"
        told.append(f"{need.cloth}: {text}")
    words = grain_words(grain)
    return f"{capital(words)}: {'; '.join(told)}."


def lay_picture(made: Lay, numbers: dict[str, int]) -> Image.Image:
    """The lay drawn as on the making sheet."""
    drawing = lay_drawing(made, numbers, 180.0, 90.0, Style())
    return page_image(Page(drawing.marks, 182.0, drawing.height + 4.0), 120)
