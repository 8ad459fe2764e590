"""Depth: how many layers, how they are turned and in what order. Knows this question's choices."""

from __future__ import annotations

from dataclasses import replace

import laying
import strip
from livepicture import ground
from orders import Waiting
from session import fold, guarded, work
from state import table_of, with_now
from strip import Choice
from weavecolor.making.model import Making, MakingOption


@guarded
def draw(waiting: Waiting) -> None:
    now = work()
    strip.draw("depth", choices(now), waiting, needed=True, ground=ground())
    if fold("By hand: other cloths, order, how they lie", "by-hand"):
        laying.layers(now)


def choices(now: Making) -> list[Choice]:
    """One layer to three."""
    table = table_of(now)
    first = table.layers[0]
    crossed = replace(first, grain_deg=(first.grain_deg + 90.0) % 180.0)
    made = [
        _choice(table, "one", "One layer", (first,)),
        _choice(table, "two", "Two layers", (first, first)),
        _choice(table, "crossed", "Two, inner crossed", (first, crossed)),
        _choice(table, "three", "Three layers", (first, first, first)),
    ]
    return strip.as_it_lies(table, made)


def _choice(table: MakingOption, key: str, name: str, layers: tuple) -> Choice:  # type: ignore[type-arg]
    def take(now: Making) -> Making:
        return with_now(now, layers=layers)

    option = replace(table, layers=layers)
    return Choice(key, name, option, take, layers == table.layers)
