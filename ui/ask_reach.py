"""Will it reach: how full it is taken in, the pieces, the cloth in hand. Knows these choices."""

from __future__ import annotations

from dataclasses import replace

import enough_panel
import fullness_panel
import strip
from livepicture import ground
from orders import Waiting
from session import fold, guarded, work
from state import decided_option, table_of
from strip import Choice
from weavecolor.cutting.needed import ClothNeeded
from weavecolor.making.answers import shape_of
from weavecolor.making.model import Making

#: Name, hung shape, how it is taken in, and how full.
FULL = (
    ("Gathered, 2 to 1", "gathered-2-organza", "gathered", 2.0),
    ("Gathered, 3 to 1", "gathered-3-organza", "gathered", 3.0),
    ("Gathered, 5 to 1", "gathered-5-organza", "gathered", 5.0),
    ("Knife pleats", "pleated-knife-taffeta", "knife", 3.0),
)


@guarded
def draw(waiting: Waiting) -> None:
    now = work()
    strip.draw("reach", choices(now), waiting, told=_told, ground=ground())
    if fold("The skirt", "skirt"):
        fullness_panel.draw()
    if fold("Pieces, cloth in hand: enough?", "pieces"):
        enough_panel.draw(decided_option(now))


def choices(now: Making) -> list[Choice]:
    """How full, and how taken in."""
    asked = now.fullness_asked
    name = f"{fullness_panel.KIND_WORDS[asked.kind].capitalize()}, {asked.ratio:g} to 1"
    return strip.as_it_lies(table_of(now), [_choice(now, *one) for one in FULL], name)


def _choice(now: Making, name: str, shape: str, kind: str, ratio: float) -> Choice:
    asked = now.fullness_asked

    def take(then: Making) -> Making:
        return replace(
            then, shape=shape, fullness_asked=replace(then.fullness_asked, kind=kind, ratio=ratio)
        )

    same = asked.kind == kind and abs(asked.ratio - ratio) < 0.05
    chosen = same and shape_of(now) == shape
    return Choice(shape, name, table_of(now), take, chosen, shape=shape)


def _told(choice: Choice) -> tuple[ClothNeeded, ...]:
    """What the skirt takes if it is taken in so."""
    taken = choice.take(work())
    return (fullness_panel.alone(taken, decided_option(taken)),)
