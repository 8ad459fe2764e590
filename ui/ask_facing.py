"""Facing: which way the cloth runs, and which side is out. Knows the choices of this question."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

import laying
import looks
import strip
from livepicture import ground
from orders import Waiting
from session import fold, guarded, work
from state import table_of, with_now
from strip import Choice
from weavecolor.making.model import Making, MakingOption
from weavecolor.textile.grain import GRAINS, grain_words

NAMES = {"straight": "Straight grain", "cross": "Cross grain", "bias": "Bias"}


@guarded
def draw(waiting: Waiting) -> None:
    now = work()
    table = table_of(now)
    strip.draw("facing", choices(now), waiting, needed=True, ground=ground())
    if fold("By hand: any angle, each layer", "by-hand"):
        laying.grains(now)
    if fold("How the colour moves as it turns", "turning"):
        with st.spinner("Turning the cloth …"):
            moved = looks.turn(now, table)
        import charts  # and with it 80 MB of libraries for them

        charts.turn_chart(moved, table.layers[0].grain_deg)


def choices(now: Making) -> list[Choice]:
    """The grains, and the other side out."""
    table = table_of(now)
    made = [_choice(table, key, name, turned(table, GRAINS[key])) for key, name in NAMES.items()]
    other = "face" if table.layers[0].face == "back" else "back"
    # told from the first, straight grain: where it runs otherwise, so does the other side
    grain = table.layers[0].grain_deg
    runs = f", {grain_words(grain)}" if grain % 180.0 else ""
    made.append(_choice(table, other, f"{other.capitalize()} out{runs}", faced(table, other)))
    return strip.as_it_lies(table, made)


def _choice(table: MakingOption, key: str, name: str, option: MakingOption) -> Choice:
    def take(now: Making) -> Making:
        return with_now(now, layers=option.layers)

    return Choice(key, name, option, take, option.layers == table.layers)


def turned(table: MakingOption, grain_deg: float) -> MakingOption:
    """All layers turned together, the outermost to that grain."""
    by = grain_deg - table.layers[0].grain_deg
    return replace(
        table,
        layers=tuple(replace(x, grain_deg=(x.grain_deg + by) % 180.0) for x in table.layers),
    )


def faced(table: MakingOption, face: str) -> MakingOption:
    """All layers with that side out."""
    return replace(table, layers=tuple(replace(x, face=face) for x in table.layers))
