"""The board: pins side by side in the same light, as patches, as a table, and to take away.

Knows how a set of pinned options is compared and told; looks and differences come from ``looks``.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from html import escape

import pandas as pd
import streamlit as st

import bench
import charts
import light_panel
import looks
import pictures_panel
from session import change, guarded, note, plain, work
from state import (
    backing_words,
    choose,
    light_of,
    option_words,
    pin,
    short_words,
    table_of,
    to_table,
    unpin,
    unpin_all,
)
from weavecolor.decide.compare import Outcome, Step
from weavecolor.decide.unexpected import unexpected
from weavecolor.making.answers import undone
from weavecolor.making.lightchoice import light_words
from weavecolor.making.model import Making, MakingOption
from weavecolor.optics.appearance import CONTRAST_WORDS
from weavecolor.report.comparisontable import safe_cell
from words_page import OUTSIDE

SEES = {True: "seen", False: "not seen", None: "cannot tell"}
#: A sign beside each word, so that the board can be read without colour.
SIGN = {True: "●", False: "○", None: "◐"}


@dataclass(frozen=True, eq=False)
class Row:
    """One option on the board; ``step`` from the first pin, None for that pin itself."""

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
def draw() -> None:
    _add()
    with st.expander(f"In the light of: {plain(light_words(light_of(work())))}"):
        light_panel.draw()
    now = work()
    if not now.options:
        st.info(
            "Nothing is pinned yet. Pin what lies on the table, or one of the ready sets above."
        )
        return
    rows = board(now)
    _cards(now, rows)
    for told in unexpected([row.outcome for row in rows]):
        st.html(f'<p class="wc-told">{escape(told)}</p>')
    _table(now, rows)
    if len(rows) > 1:
        with st.expander("Trade-off: how well it hides against how light it is"):
            charts.trade_off(
                [
                    (r.option.name, 100 * r.hiding.opacity, r.outcome.appearance.reading)
                    for r in rows
                ]
            )


@guarded
def _add() -> None:
    now = table_of(work())
    st.html(f'<p class="wc-told">On the table: {escape(option_words(work(), now))}</p>')
    with st.container(horizontal=True):
        st.button(
            "Pin this", key="pin-now", on_click=change, args=(_pin_all, (now,)), type="primary"
        )
        for key, (label, make) in READY.items():
            st.button(label, key=f"ready-{key}", on_click=change, args=(_pin_all, make(now)))
        st.button(
            "Clear the board",
            key="clear",
            on_click=_ask_clear,
            args=(True,),
            disabled=not work().options,
        )
        if work().before is not None:
            st.button(
                "Bring back what was cleared",
                key="undo",
                on_click=change,
                args=(undone,),
                help="As it was before the last clearing; what was made since is given up.",
            )
    if st.session_state.get("asked-clear"):
        st.warning("Take all options off the board, and the choice with them?")
        with st.container(horizontal=True):
            st.button("Yes, clear it", key="clear-yes", on_click=change, args=(_clear,))
            st.button("No", key="clear-no", on_click=_ask_clear, args=(False,))


def _with(now: MakingOption, **changes: object) -> MakingOption:
    return replace(now, **changes)  # type: ignore[arg-type]


def _grains(now: MakingOption) -> tuple[MakingOption, ...]:
    first = now.layers[0].grain_deg
    return tuple(
        _with(
            now,
            layers=tuple(
                replace(x, grain_deg=(x.grain_deg - first + angle) % 180.0) for x in now.layers
            ),
        )
        for angle in (0.0, 90.0, 45.0)
    )


def _counts(now: MakingOption) -> tuple[MakingOption, ...]:
    return tuple(_with(now, layers=(now.layers[0],) * n) for n in (1, 2, 3))


def _backings(now: MakingOption) -> tuple[MakingOption, ...]:
    return tuple(_with(now, backing=b) for b in ("white", "calico", "skin medium", "black"))


def _faces(now: MakingOption) -> tuple[MakingOption, ...]:
    return tuple(
        _with(now, layers=tuple(replace(x, face=face) for x in now.layers))
        for face in ("face", "back")
    )


#: Ready sets to pin: what a maker most often asks of one cloth.
READY: dict[str, tuple[str, Callable[[MakingOption], tuple[MakingOption, ...]]]] = {
    "grains": ("Three grains", _grains),
    "layers": ("One, two, three layers", _counts),
    "backings": ("Four backings", _backings),
    "faces": ("Both faces", _faces),
}


def _pin_all(now: Making, options: tuple[MakingOption, ...]) -> Making:
    before = len(now.options)
    for option in options:
        now = pin(now, option)
    if len(now.options) == before:
        note("Pinned already.")
    return now


def _clear(now: Making) -> Making:
    st.session_state["asked-clear"] = False
    return unpin_all(now)


def _ask_clear(asked: bool) -> None:
    st.session_state["asked-clear"] = asked


@guarded
def _cards(now: Making, rows: list[Row]) -> None:
    with st.container(horizontal=True, key="wc-board"):
        for row in rows:
            with st.container(width=300, border=True, key=f"wc-pin-{row.option.name}"):
                st.html(_card(now, row))
                with st.container(horizontal=True, gap="small", vertical_alignment="center"):
                    name = row.option.name
                    if name == now.chosen:
                        st.button(
                            "✔ Chosen",
                            key=f"choose-{name}",
                            on_click=change,
                            args=(choose, ""),
                            help="Press to take the choice back",
                        )
                    else:
                        st.button(
                            f"Choose {plain(name)}",
                            key=f"choose-{name}",
                            on_click=change,
                            args=(choose, name),
                        )
                    st.button(
                        "To the table",
                        key=f"table-{name}",
                        on_click=change,
                        args=(_to_table, row.option),
                        help=f"Work on {plain(name)} again",
                    )
                    st.button(
                        "Off",
                        key=f"off-{name}",
                        on_click=change,
                        args=(unpin, name),
                        help=f"Take {plain(name)} off the board",
                    )


def _to_table(now: Making, option: MakingOption) -> Making:
    note(f"{option.name} lies on the table: go to Layers to work on it.")
    return to_table(now, option)


def one_cloth(now: Making) -> bool:
    """Whether all pins are of one and the same cloth, which then need not be said again."""
    return len({layer.cloth for pinned in now.options for layer in pinned.layers}) == 1


def _card(now: Making, row: Row) -> str:
    reading = row.outcome.appearance.reading
    figures = [bench.figure(bench.swatch(reading.hex, reading.words, not reading.in_srgb), "", "")]
    close = pictures_panel.small_closeup(now, row.option)
    figures.append(bench.figure(bench.picture(close, reading.words), "", ""))
    off = f" · ✂ {OUTSIDE}" if not reading.in_srgb else ""
    words = row.step.names[1] if row.step else reading.words
    told = f"<p><b>{escape(words)}</b> <code>{reading.hex}</code>{off}</p>"
    if row.step is None:
        told += '<p class="wc-pintold">The others are told from this one.</p>'
    else:
        sign = SIGN[row.step.verdict.sees] if row.step.verdict else ""
        told += f'<p class="wc-pintold">{sign} {escape(row.step.sentence)}</p>'
    name = f"{row.option.name}. {short_words(now, row.option, one_cloth(now))}"
    return (
        f'<h3 class="wc-pin">{escape(name)}</h3>'
        f'<div class="wc-row wc-pinned">{"".join(figures)}</div>{told}'
    )


def as_frame(now: Making, rows: list[Row]) -> pd.DataFrame:
    """The board as a table, one row a pin."""
    return pd.DataFrame([_record(now, row) for row in rows])


def _record(now: Making, row: Row) -> dict[str, object]:
    reading = row.outcome.appearance.reading
    L, C, h = (float(v) for v in reading.LCh)
    verdict = row.step.verdict if row.step else None
    return {
        "pin": row.option.name,
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
    "give or take": "Of the colour itself, CIEDE2000, nine times in ten",
    "difference": "CIEDE2000 from the first pin; about 1 is just noticeable",
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
            "pin": st.column_config.TextColumn(width="small", pinned=True),
            "what": st.column_config.TextColumn(width=250),
        },
    )
    st.caption("Press a column's head to sort. Differences are told from the first pin.")
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
        pictures_panel.board_download(now)


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
        "difference": "CIEDE2000, from the first pin",
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
