"""Kept pieces side by side: two under one slider, all in a table, ranked; and every way searched.

Knows how a set of kept options is compared and told; looks and differences come from ``looks``.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd
import streamlit as st

import charts
import looks
import orders
import pictures
import search_panel
import strip
from livepicture import ground
from orders import Order, Waiting
from session import again, change, fold, guarded, plain, whole, work
from state import (
    backing_words,
    choose,
    light_of,
    option_words,
    short_words,
    stack_of,
    unpin_all,
)
from twoview import two_view
from weavecolor.decide.compare import Outcome, Step
from weavecolor.making.lightchoice import light_words, scene_of
from weavecolor.making.model import Making, MakingOption
from weavecolor.optics.appearance import CONTRAST_WORDS
from weavecolor.optics.uncertainty import HELD
from weavecolor.report.comparisontable import safe_cell

SEES = {True: "seen", False: "not seen", None: "cannot tell"}
#: Two pictures under one slider, pixels.
PAIR = (480, 600)
MOST_ON_SHEET = 12

#: What kept pieces are ranked by: its words, what is least of the best (L*, C* and opacity of each
#: go in), and how that is written.
WISHES = {
    "deepest": ("Deepest", lambda L, C, hides: L, "L* {:.0f}"),
    "brightest": ("Brightest", lambda L, C, hides: -L, "L* {:.0f}"),
    "strongest": ("Strongest in colour", lambda L, C, hides: -C, "C* {:.0f}"),
    "opaque": ("Hides most", lambda L, C, hides: -100 * hides, "opacity {:.0f} %"),
    "sheer": ("Most sheer", lambda L, C, hides: 100 * hides, "opacity {:.0f} %"),
}


@dataclass(frozen=True, eq=False)
class Row:
    """One option on the board; ``step`` from the first, None for that pin itself."""

    option: MakingOption
    outcome: Outcome
    hiding: looks.Hiding
    step: Step | None


def board(now: Making) -> list[Row]:
    """Every pin with its look in the work's light, told from the first."""
    seen = [looks.outcome(now, option) for option in now.options]
    steps = looks.differences(seen) if len(seen) > 1 else ()
    return [
        Row(option, outcome, looks.hiding(now, option), steps[i - 1] if i else None)
        for i, (option, outcome) in enumerate(zip(now.options, seen, strict=True))
    ]


@guarded
def draw(waiting: Waiting) -> None:
    now = work()
    st.html('<h2 class="wc-question">The kept pieces, side by side</h2>')
    if now.options:
        rows = board(now)
        _two(now, waiting)
        strip.wonders([row.outcome for row in rows], "kept")
        if fold("All in a table", "kept-table"):
            _table(now, rows)
            if len(rows) > 1:
                st.markdown("**How well it hides against how light it is**")
                charts.trade_off(
                    [
                        (r.option.name, 100 * r.hiding.opacity, r.outcome.appearance.reading)
                        for r in rows
                    ]
                )
        if fold("Ranked by what I want", "kept-ranked"):
            _ranking(now, rows, waiting)
        _clearing()
    else:
        st.info("Nothing is kept yet. Keep what lies on the table, or all of a question's choices.")
    if fold("Search every way of laying it up", "search"):
        search_panel.draw()


@guarded
def _two(now: Making, waiting: Waiting) -> None:
    """Any two under one slider that moves between them, with the difference in a sentence."""
    names = [option.name for option in now.options]
    if len(names) < 2:
        st.caption("Keep a second one, and the two can be laid under one slider.")
        return
    with st.container(horizontal=True):
        one = st.selectbox("One", names, key="two-one", index=0)
        other = st.selectbox("The other", names, key="two-other", index=1)
    pair = [now.option(name) for name in (one, other)]
    seen = [looks.outcome(now, option) for option in pair]
    data: list[bytes] = []
    for option in pair:
        order = pictures.still(pictures.worn(now, option, ground=ground()), PAIR)
        there = order.there()
        if there is not None:
            data.append(there)
        elif orders.drawing():
            waiting.place(order, lambda _: again())
    two_view(
        [f"{o.name}: {short_words(now, o, True)}" for o in pair],
        [o.appearance.reading.hex for o in seen],
        data if len(data) == 2 else [],
        key="two",
    )
    if one != other:
        asked = [(option, None) for option in pair]
        folded = _folded(now, lambda: looks.in_folds(now, asked, strip.told_of), waiting)
        told = looks.differences(seen)[0].sentence if folded is None else folded[0]["sentence"]
        st.html(f'<p class="wc-answer" role="status">{escape(told)}</p>')
        st.html(f'<p class="wc-told">{_lies(folded)}{strip.otherwise(now, pair)}</p>')


def _folded(now: Making, asked: Callable[[], Order], waiting: Waiting) -> Any:
    """What was worked out aside of cloth in folds; None where it does not hang so, and until it is
    there, which draws anew."""
    if not (looks.hangs(now, None) and orders.drawing()):
        return None
    order = asked()
    data = order.there()
    if data is None:
        waiting.place(order, lambda _: again(), orders.SHELF)
        return None
    return json.loads(data)


def _lies(folded: object) -> str:
    return "Held flat." if folded is None else "As it hangs."


def _clearing() -> None:
    if st.session_state.get("asked-clear"):
        st.warning("Put all kept pieces away, and the choice with them?")
        with st.container(horizontal=True):
            st.button("Yes, put them away", key="clear-yes", on_click=change, args=(_clear,))
            st.button("No", key="clear-no", on_click=_ask_clear, args=(False,))
    else:
        st.button("Put all away", key="clear", on_click=_ask_clear, args=(True,))


def _clear(now: Making) -> Making:
    st.session_state["asked-clear"] = False
    return unpin_all(now)


@whole
def _ask_clear(asked: bool) -> None:
    st.session_state["asked-clear"] = asked


def one_cloth(now: Making) -> bool:
    """Whether all pins are of one and the same cloth, which then need not be said again."""
    return len({layer.cloth for pinned in now.options for layer in pinned.layers}) == 1


@guarded
def _ranking(now: Making, rows: list[Row], waiting: Waiting) -> None:
    wish = (
        st.segmented_control(
            "Rank them by",
            tuple(WISHES),
            key="wish",
            default="deepest",
            format_func=lambda key: WISHES[key][0],
        )
        or "deepest"
    )
    title, score, form = WISHES[wish]
    folded = _folded(now, lambda: looks.hung_readings(now, now.options), waiting)
    flat = [row.outcome.appearance.reading for row in rows]
    seen = [(*one.LCh[:2], one.words) for one in flat] if folded is None else folded
    ranked = sorted(
        (float(score(L, C, row.hiding.opacity)), place, row.option, words)
        for place, (row, (L, C, words)) in enumerate(zip(rows, seen, strict=True))
    )
    for place, (value, _, option, words) in enumerate(ranked[:5], 1):
        what = plain(short_words(now, option, one_cloth(now)))
        told = f"{form.format(abs(value))}, {plain(words)}"
        st.markdown(f"{place}. **{plain(option.name)}**, {what}: {told}")
    st.caption(
        f"{_lies(folded)} {title} first, in the light you work in. Two that differ by less than "
        "their give or take may stand the other way round in the cloth."
    )
    best = ranked[0][2].name
    st.button(
        f"Choose {plain(best)}",
        key="choose-best",
        on_click=change,
        args=(choose, best),
        disabled=best == now.chosen,
    )


def _board_download(now: Making) -> None:
    """The kept ones as one picture to take away: close-ups at one scale, in the work's light."""
    from weavecolor.picture.composite import CLOSEUP, Choice, draw_sheet
    from weavecolor.picture.encode import png_bytes

    few = now.options[:MOST_ON_SHEET]
    if len(few) < 2:
        return
    choices = [
        Choice(f"{option.name}  {short_words(now, option, True)}", stack_of(now, option))
        for option in few
    ]
    light, title = light_of(now), f"{now.title or 'Kept'}: {light_words(light_of(now))}"
    st.download_button(
        "Board as a picture (PNG)",
        lambda: png_bytes(draw_sheet(choices, scene_of(light), CLOSEUP, "telephone", title=title)),
        "board.png",
        "image/png",
        on_click="ignore",
        key="board-png",
        help="Close-ups of at most twelve at one scale; drawn when asked for.",
    )


def as_frame(now: Making, rows: list[Row]) -> pd.DataFrame:
    """The board as a table, one row a pin."""
    return pd.DataFrame([_record(now, row) for row in rows])


def _record(now: Making, row: Row) -> dict[str, object]:
    reading = row.outcome.appearance.reading
    L, C, h = (float(v) for v in reading.LCh)
    verdict = row.step.verdict if row.step else None
    return {
        "piece": row.option.name,
        "what": option_words(now, row.option),
        "layers": len(row.option.layers),
        "backing": backing_words(row.option.backing),
        "colour": reading.words,
        "screen": reading.hex,
        "on screen": "yes" if reading.in_srgb else "no",
        "L*": round(L, 1),
        "C*": round(C, 1),
        "hue": round(h, 0),
        "opacity %": round(100 * row.hiding.opacity, 1),
        "straight through %": round(100 * row.hiding.straight, 1),
        "give or take": round(row.outcome.uncertainty.stated, 1),
        "difference": round(row.step.delta, 2) if row.step else 0.0,
        "difference give or take": round(row.step.uncertainty.stated, 2) if row.step else 0.0,
        "seen": SEES[verdict.sees] if verdict else ("first" if row.step is None else ""),
        "told": row.step.sentence if row.step else "",
    }


COLUMN_HELP = {
    "L*": "0 black to 100 white",
    "C*": "Strength of colour: 0 grey",
    "hue": "0 red, 90 yellow, 180 green, 270 blue",
    "opacity %": f"100 hides all ({CONTRAST_WORDS})",
    "straight through %": "Share of light through the openings",
    "give or take": f"Of the colour itself, CIEDE2000, {HELD}",
    "difference": "CIEDE2000 from the first; about 1 is just noticeable",
    "difference give or take": "Of the difference; much is shared between options of one cloth",
    "seen": "Whether she would see the difference side by side",
}


@guarded
def _table(now: Making, rows: list[Row]) -> None:
    frame = as_frame(now, rows).drop(columns=["told"])
    # short, as the cards say it: the full words do not fit a column
    frame["what"] = [short_words(now, row.option, one_cloth(now)) for row in rows]
    st.dataframe(
        frame,
        hide_index=True,
        key="board",
        column_config={
            **{k: st.column_config.Column(help=v) for k, v in COLUMN_HELP.items()},
            "piece": st.column_config.TextColumn(width="small", pinned=True),
            "what": st.column_config.TextColumn(width=250),
        },
    )
    st.caption("Held flat. Press a column's head to sort. Differences are told from the first.")
    with st.container(horizontal=True):
        st.download_button(
            "Table as CSV",
            csv_text(now, rows),
            "comparison.csv",
            "text/csv",
            on_click="ignore",
            key="csv",
        )
        st.download_button(
            "Table as JSON",
            json_text(now, rows),
            "comparison.json",
            "application/json",
            on_click="ignore",
            key="json",
        )
        _board_download(now)


def csv_text(now: Making, rows: list[Row]) -> str:
    """The board for a spreadsheet. Cells that a spreadsheet would take for a sum are quoted."""
    out = io.StringIO()
    records = [_record(now, row) for row in rows]
    writer = csv.DictWriter(out, ["light", *records[0]], lineterminator="\n")
    writer.writeheader()
    for record in records:
        line = {"light": light_words(light_of(now)), **record}
        writer.writerow(
            {k: safe_cell(v) for k, v in line.items()}
        )
    return out.getvalue()


def json_text(now: Making, rows: list[Row]) -> str:
    data = {
        "light": light_words(light_of(now)),
        "difference": "CIEDE2000, from the first",
        "options": [
            {
                **_record(now, row),
                "stack": [
                    {"cloth": x.cloth, "grain_deg": x.grain_deg, "face": x.face}
                    for x in row.option.layers
                ],
                "Lab": [round(float(v), 3) for v in row.outcome.appearance.reading.Lab],
                "radiance_factor": [
                    round(float(v), 5) for v in row.outcome.appearance.radiance_factor
                ],
            }
            for row in rows
        ],
    }
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
