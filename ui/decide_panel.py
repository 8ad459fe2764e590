"""The decision: what she wants of it, what fullness takes, and whether there is cloth enough.

Knows what is asked and how answers are told; they come from ``weavecolor.make`` and the looks.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import streamlit as st

import looks
import pictures_panel
from session import bound, change, guarded, note, plain, work
from state import Work, chosen_option, cloth_called, option_words, preset_of, short_words
from weavecolor.errors import InputError
from weavecolor.grain import grain_words
from weavecolor.make.canvas import Page
from weavecolor.make.fullness import FullnessPlan, plan_fullness
from weavecolor.make.lay import Lay, compare_grains, grain_sentence, lay
from weavecolor.make.lengths import UNITS, cm_and_inches
from weavecolor.make.pieces import Piece
from weavecolor.make.project import ProjectOption
from weavecolor.make.remnant import FOLDS, ClothInHand
from weavecolor.make.sheetblocks import Style
from weavecolor.make.sheetdrawings import lay_drawing
from weavecolor.make.sheetlayout import fullness_sentences, lay_sentences
from weavecolor.make.sheetpng import page_image

TRIES = 60
MOST_PIECES = 40
KIND_WORDS = {"flat": "flat", "gathered": "gathered", "knife": "knife pleats", "box": "box pleats"}
FOLD_WORDS = {
    "open": "single, open",
    "lengthwise": "folded along the warp",
    "crosswise": "folded across",
}

WISHES = {
    "deepest": ("Deepest", lambda r: r.outcome.appearance.reading.Lab[0], "L* {:.0f}"),
    "brightest": ("Brightest", lambda r: -r.outcome.appearance.reading.Lab[0], "L* {:.0f}"),
    "strongest": (
        "Strongest in colour",
        lambda r: -r.outcome.appearance.reading.LCh[1],
        "C* {:.0f}",
    ),
    "opaque": ("Hides most", lambda r: -100 * r.hiding.opacity, "opacity {:.0f} %"),
    "sheer": ("Most sheer", lambda r: 100 * r.hiding.opacity, "opacity {:.0f} %"),
}


@guarded
def draw() -> None:
    now = work()
    option = chosen_option(now)
    name = f"pin {now.chosen}" if option is not now.now else "what lies on the table"
    st.markdown(f"Deciding about **{name}**: {plain(option_words(now, option))}")
    _ranking()
    fullness, enough = st.tabs(["Fullness: what pleats and gathers take", "Is there cloth enough?"])
    with fullness:
        _fullness()
    with enough:
        _enough(option)


@guarded
def _ranking() -> None:
    import compare_panel

    now = work()
    with st.container(border=True):
        st.markdown("**What do you want of it?**")
        if len(now.pins) < 2:
            st.caption("Pin two options or more under Compare, and they are ranked here.")
            return
        wish = (
            st.segmented_control(
                "Rank the pins by",
                tuple(WISHES),
                key="wish",
                default="deepest",
                format_func=lambda key: WISHES[key][0],
            )
            or "deepest"
        )
        title, score, form = WISHES[wish]
        rows = sorted(compare_panel.board(now), key=score)
        for place, row in enumerate(rows[:5], 1):
            value = form.format(abs(float(score(row))))
            seen = row.outcome.appearance.reading
            st.markdown(
                f"{place}. **{row.option.name}**, {plain(short_words(now, row.option))}: {value}, "
                f"{plain(seen.words)}"
            )
        st.caption(
            f"{title} first, in the light you work in. Two that differ by less than their give or "
            "take may stand the other way round in the cloth."
        )
        best = rows[0].option.name
        st.button(
            f"Choose {best}",
            key="choose-best",
            on_click=change,
            args=(lambda w: replace(w, chosen=best),),
            disabled=best == now.chosen,
        )


# --- fullness ---------------------------------------------------------------------------------


def _length(label: str, key: str, usual_cm: float, help_text: str, least: float = 0.0) -> float:
    """A length asked for in the maker's own unit; given back in cm."""
    inch = work().units == "inch"
    size = UNITS["inch"] if inch else 1.0
    store = f"cm-{key}"
    kept = float(st.session_state.get(store, usual_cm))
    shown = round(kept / size, 2)
    widget = f"len-{key}-{work().units}"
    if widget not in st.session_state:
        st.session_state[widget] = shown
    value = st.number_input(
        f"{label}, {'inches' if inch else 'cm'}",
        min_value=least,
        max_value=5000.0,
        step=1.0,
        format="%.4g",
        key=widget,
        help=help_text,
    )
    if abs(value - shown) > 1e-9:
        st.session_state[store] = value * size
        return value * size
    st.session_state[store] = kept
    return kept


@guarded
def _fullness() -> None:
    one, two = st.columns(2)
    with one:
        kind = st.radio(
            "Taken in as",
            tuple(KIND_WORDS),
            key="full-kind",
            index=1,
            horizontal=True,
            format_func=lambda k: KIND_WORDS[k],
        )
        full = st.slider(
            "Fullness, cloth to finished width",
            1.0,
            6.0,
            2.5,
            0.1,
            key="full-ratio",
            format="%.1f to 1",
            disabled=kind == "flat",
            help="3 to 1 is a full pleat; gathers are 1.5 to 3.",
        )
        doubled = st.toggle(
            "Doubled: folded up at the hem",
            key="full-doubled",
            help="Twice the length; no hem; every layer is two.",
        )
    with two:
        finished = _length("Finished width", "finished", 70.0, "Round the waist, or across.", 1.0)
        wide = _length("Cloth width", "width", 112.0, "Between selvedges.", 1.0)
        drop = _length("Finished length", "drop", 90.0, "Waist to hem.", 1.0)
    plan = plan_fullness(
        kind,
        finished,
        wide,
        drop,
        fullness=None if kind == "flat" else full,
        widths=_flat_widths(finished, wide) if kind == "flat" else None,
        doubled=doubled,
    )
    for line in fullness_sentences("skirt", plan):
        st.markdown(plain(line))
    st.caption(
        "Layers are counted seen straight on, at the waist; common practice for seams (1.5 cm) "
        "and hem (5 cm). Each part of the view then has the colour of so many layers."
    )
    st.session_state["fullness-plan"] = plan
    _fold_colours(plan)
    st.toggle("Put it on the making sheet", key="full-on-sheet")


def _flat_widths(finished: float, wide: float) -> int:
    return max(1, int(-(-finished // max(wide - 3.0, 0.1))))


@guarded
def _fold_colours(plan: FullnessPlan) -> None:
    """How each number of layers in the folds looks."""
    import bench

    now = work()
    option = chosen_option(now)
    figures = []
    for count, share in zip(plan.shares.layers, plan.shares.share, strict=True):
        if share < 0.005 or count * len(option.layers) > 12:
            continue
        piled = replace(option, layers=option.layers * count)
        seen = looks.outcome(now, piled).appearance.reading
        figures.append(
            bench.figure(
                bench.swatch(seen.hex, seen.words, not seen.in_srgb, small=True),
                f"{count} deep, {100 * share:.0f} % of the view",
                f"{seen.words} {seen.hex}",
            )
        )
    if figures:
        st.html(f'<div class="wc-row">{"".join(figures)}</div>')


def plan_now() -> FullnessPlan | None:
    """The fullness plan, where the maker wants it on the sheet."""
    return st.session_state.get("fullness-plan") if st.session_state.get("full-on-sheet") else None


# --- enough cloth -----------------------------------------------------------------------------

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


def pieces_match(one: tuple[Piece, ...], other: tuple[Piece, ...]) -> bool:
    return one == other


@guarded
def _enough(option: ProjectOption) -> None:
    now = work()
    key = option.layers[0].cloth
    st.markdown(f"Cloth in hand: **{plain(cloth_called(now, key).name)}**")
    hand = now.in_hand.get(key)
    odd = hand is not None and hand.outline is not None
    one, two = st.columns(2)
    with one:
        wide = _length(
            "Width in hand",
            f"hand-w-{key}",
            hand.width_cm if hand and not odd else 112.0,
            "Between the selvedges.",
            1.0,
        )
        long = _length(
            "Length in hand",
            f"hand-l-{key}",
            hand.length_cm if hand and not odd else 250.0,
            "Along the warp.",
            1.0,
        )
    with two:
        edge = _length(
            "Selvedge to leave",
            f"hand-s-{key}",
            hand.selvedge_cm if hand else 1.0,
            "Strip along both sides that is not used.",
        )
        one_way = st.toggle(
            "One-way cloth (nap, or shot that differs seen up and down)",
            key=f"hand-way-{key}",
            value=bool(hand and hand.one_way),
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
    if odd:
        st.info("The project has an odd remnant for this cloth; its outline is used.")
        cloth = hand
    else:
        cloth = ClothInHand(wide, long, selvedge_cm=edge, one_way=one_way)
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
        args=(edited, cloth, tuple(shaped), key),
    )
    _show_lays(option)


def _lay_it(edited: pd.DataFrame, cloth: ClothInHand, shaped: tuple[Piece, ...], key: str) -> None:
    change(_with_pieces, edited, cloth, shaped, key)
    st.session_state["laid"] = True


def _with_pieces(
    now: Work, edited: pd.DataFrame, cloth: ClothInHand, shaped: tuple[Piece, ...], key: str
) -> Work:
    made = pieces_from(edited, now.units)
    kept = {_named(p): p for p in now.pieces}
    # A row that was not touched keeps what the table does not show: pairs, its own allowance.
    made = tuple(kept.get(_named(p), p) for p in made)
    pieces = (*made, *shaped)
    if not pieces:
        raise InputError("there are no pieces yet; write them into the table")
    note("Pieces and cloth in hand are kept in the project.")
    return replace(now, pieces=pieces, in_hand={**now.in_hand, key: cloth})


def _named(piece: Piece) -> tuple:
    corners = tuple((round(x, 1), round(y, 1)) for x, y in piece.outline)
    return piece.name, corners, piece.quantity, piece.fold_edge, piece.grain


@st.cache_resource(max_entries=60, show_spinner=False)
def _laid(pieces: tuple[Piece, ...], cloth: ClothInHand, fold: str, grain: float) -> Lay:
    return lay(pieces, cloth, grain, fold=fold, tries=TRIES)


@st.cache_resource(max_entries=30, show_spinner=False)
def _by_grain(pieces: tuple[Piece, ...], cloth: ClothInHand, fold: str) -> dict[str, Lay]:
    return compare_grains(pieces, cloth, fold=fold, tries=TRIES)


def _grain_of(option: ProjectOption) -> float:
    return float(option.layers[0].grain_deg)


@guarded
def _show_lays(option: ProjectOption) -> None:
    now = work()
    hand = now.in_hand.get(option.layers[0].cloth)
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


def lay_picture(made: Lay, now: Work):
    """The lay drawn as on the making sheet."""
    numbers = {p.name: i for i, p in enumerate(now.pieces, 1)}
    drawing = lay_drawing(made, numbers, 180.0, 80.0, Style())
    return page_image(Page(drawing.marks, 182.0, drawing.height + 4.0), 120)


def lays_for_sheet(now: Work, option: ProjectOption) -> tuple[tuple[str, Lay], ...]:
    """The lay for the sheet, where pieces were laid."""
    key = option.layers[0].cloth
    hand = now.in_hand.get(key)
    if hand is None or not now.pieces or not st.session_state.get("laid"):
        return ()
    made = _laid(now.pieces, hand, now.fold, _grain_of(option))
    return ((cloth_called(now, key).name, made),)
