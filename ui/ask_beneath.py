"""Beneath: what lies behind the cloth, and what shows through. Knows this question's choices."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

import laying
import show_panel
import strip
from livepicture import ground
from orders import Waiting
from session import fold, guarded, whole, work
from state import table_of, with_now
from strip import Choice
from weavecolor.errors import capital
from weavecolor.making.model import Making, MakingLayer, MakingOption, backing_of
from weavecolor.optics.stack import MOST_LAYERS
from weavecolor.picture.forms import covers_form

NAMES = {
    "white": "White",
    "calico": "Calico",
    "black": "Black",
    "skin medium": "Skin",
    "": "Open air",
}
#: What may hang beneath, of what cloth where none hangs there yet.
UNDER = {
    "lining": "shot-twill-lining",
    "slip": "slip-white",
    "stiffener": "tarlatan-green",
}
HANGS = "what-hangs-beneath"


@guarded
def draw(waiting: Waiting) -> None:
    now = work()
    strip.draw("beneath", choices(now), waiting, ground=ground())
    if not _under_shown(table_of(now)):
        st.button("Lining, slip or stiffener", key="hang-beneath", on_click=_show_under,
                  help="One more layer, hung by itself beneath a skirt.")  # fmt: skip
    if fold("By hand: colour, how laid", "by-hand"):
        laying.behind(now)
    if fold("What shows through", "shows-through"):
        show_panel.through(waiting)


def choices(now: Making) -> list[Choice]:
    """What may lie behind."""
    table = table_of(now)
    made = [_choice(table, key, name) for key, name in NAMES.items()]
    if _under_shown(table) and len(_outer(table)) < MOST_LAYERS:
        made += [_under(table, kind) for kind in UNDER]
    return strip.as_it_lies(table, made)


def _choice(table: MakingOption, backing: str, name: str) -> Choice:
    def take(now: Making) -> Making:
        there = table_of(now)
        return with_now(now, backing=backing, layers=_outer(there), beneath="none")

    key = (backing or "open").replace(" ", "-")
    option = replace(table, backing=backing, layers=_outer(table), beneath="none")
    return Choice(key, name, option, take, option == table)


def _under(table: MakingOption, kind: str) -> Choice:
    """That hung beneath: over the form as it is, or of calico where what lies behind hides it."""

    def changes(there: MakingOption) -> dict[str, object]:
        net = there.layers[-1] if there.beneath == kind else MakingLayer(UNDER[kind])
        behind = backing_of(there.backing)
        hidden = kind != "stiffener" and behind is not None and not covers_form(behind)
        return {
            "layers": (*_outer(there), net),
            "backing": "calico" if hidden else there.backing,
            "beneath": kind,
        }

    def take(now: Making) -> Making:
        return with_now(now, **changes(table_of(now)))

    option = replace(table, **changes(table))  # type: ignore[arg-type]
    return Choice(kind, capital(kind), option, take, option == table)


def _outer(table: MakingOption) -> tuple[MakingLayer, ...]:
    """Its layers without the one that hangs beneath."""
    by_itself = table.beneath != "none" and len(table.layers) > 1
    return table.layers[:-1] if by_itself else table.layers


def _under_shown(table: MakingOption) -> bool:
    return table.beneath != "none" or bool(st.session_state.get(HANGS))


@whole
def _show_under() -> None:
    st.session_state[HANGS] = True
