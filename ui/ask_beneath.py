"""Beneath: what lies behind the cloth, and what shows through. Knows this question's choices."""

from __future__ import annotations

from dataclasses import replace

import laying
import show_panel
import strip
from livepicture import ground
from orders import Waiting
from session import fold, guarded, work
from state import table_of, with_now
from strip import Choice
from weavecolor.making.model import Making, MakingOption

NAMES = {
    "white": "White",
    "calico": "Calico",
    "black": "Black",
    "skin medium": "Skin",
    "": "Open air",
}


@guarded
def draw(waiting: Waiting) -> None:
    now = work()
    strip.draw("beneath", choices(now), waiting, ground=ground())
    if fold("By hand: colour, how laid", "by-hand"):
        laying.behind(now)
    if fold("What shows through", "shows-through"):
        show_panel.through(waiting)


def choices(now: Making) -> list[Choice]:
    """What may lie behind."""
    table = table_of(now)
    return strip.as_it_lies(table, [_choice(table, key, name) for key, name in NAMES.items()])


def _choice(table: MakingOption, backing: str, name: str) -> Choice:
    def take(now: Making) -> Making:
        return with_now(now, backing=backing)

    key = (backing or "open").replace(" ", "-")
    return Choice(key, name, replace(table, backing=backing), take, table.backing == backing)
