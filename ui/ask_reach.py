"""Will it reach: how full it is taken in, the pieces, the cloth in hand. Knows these choices."""

from __future__ import annotations

from dataclasses import replace

import enough_panel
import fullness_panel
import strip
from livepicture import ground
from orders import Waiting
from session import fold, guarded, work
from state import decided_option, stack_of, table_of
from strip import Choice, Taken
from weavecolor.making.answers import asked_of, plans_of, shape_of
from weavecolor.making.model import Making
from weavecolor.picture.forms import crisp, shape_called
from weavecolor.picture.shapes import shape_heading

#: Name, form, how it is taken in, and how full.
FULL = (
    ("Gathered, 2 to 1", "slightly gathered skirt", "gathered", 2.0),
    ("Gathered, 3 to 1", "gathered skirt", "gathered", 3.0),
    ("Gathered, 5 to 1", "full gathered skirt", "gathered", 5.0),
    ("Knife pleats", "knife pleats", "knife", 3.0),
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
    asked = asked_of(now)
    name = f"{fullness_panel.KIND_WORDS[asked.kind].capitalize()}, {asked.ratio:g} to 1"
    return strip.as_it_lies(table_of(now), [_choice(now, *one) for one in FULL], name)


def _choice(now: Making, name: str, form: str, kind: str, ratio: float) -> Choice:
    asked, table = asked_of(now), table_of(now)

    def take(then: Making) -> Making:  # hung by its fullness, as crisp as whatever is laid
        skirt = replace(asked_of(then), kind=kind, ratio=ratio)
        return replace(then, shape="", form="", fullness_asked=skirt)

    same = asked.kind == kind and abs(asked.ratio - ratio) < 0.05
    stack = stack_of(now, table)
    shape = shape_called(form, stack)
    chosen = same and shape_of(now, stack) == shape
    return Choice(form.replace(" ", "-"), name, table, take, chosen, shape=shape)


def _told(choice: Choice) -> Taken:
    """What the skirt takes if it is taken in so, how full it comes out, and how full it is drawn
    where that is another."""
    then = choice.take(work())
    option = decided_option(then)
    plan, need = fullness_panel.cut(then, option)
    comes_out = f"{plan.fullness:.1f} to 1"
    brief = full = ""
    if abs(plan.fullness - asked_of(then).ratio) >= 0.05:
        brief, full = f"Comes out {comes_out}.", f"Whole widths make it {comes_out}."
    stack = stack_of(then, option)
    _, kind, drawn = shape_heading(choice.shape or shape_of(then, stack))
    if kind != "chiffon" and not crisp(stack.layers[0].cloth):  # there is none of soft cloth
        brief += f" Drawn as {kind} hangs."
    if abs(drawn - plan.fullness) >= 0.1 * plan.fullness:
        full += f" Drawn {drawn:g} to 1."
    alone = {layer.cloth for layer in option.layers} == {option.layers[0].cloth}
    if then.pieces or plans_of(then) or not alone:
        full += (
            f" That is the skirt alone, of {need.cloth}: all that is cut is told under Pieces, "
            "cloth in hand."
        )
    return Taken((need,), brief, full.strip())
