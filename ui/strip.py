"""A strip of choices: the same form side by side, each with one line of difference and how sure.

Knows how choices are shown and pressed; the words come from ``weavecolor.decide`` as on the command
line, the pictures are orders that may come later than the words.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

import enough
import looks
import orders
import pictures
from bench import figures_list, mind, numbers_of
from orders import Waiting
from session import change, fold, note, plain, work
from state import pin, table_of
from weavecolor.colour.perception import would_see
from weavecolor.cutting.needed import ClothNeeded
from weavecolor.decide.compare import Outcome, Step
from weavecolor.errors import capital
from weavecolor.making.lightchoice import LightChoice
from weavecolor.making.model import Making, MakingOption
from weavecolor.optics.uncertainty import known_of

#: A sign beside each word, so that a strip can be read without colour.
SIGN = {True: "●", False: "○", None: "◐"}
EDGE = "edge-to-edge"
#: The choice that stands first where what lies on the table is none of the others.
AS_IT_LIES = "now"
#: So many choices stand side by side; more stand in rows, all to be seen at once.
IN_A_ROW = 4
_LINE = '<p class="wc-line">{}</p>'
_HOW = '<p class="wc-told">{}</p>'
_ANSWER = '<p class="wc-answer" role="status">{}</p>'
#: Lies in what is chosen, for its look: another kind of button would lose the keyboard's place.
CHOSEN = '<span class="wc-on"></span>'


@dataclass(frozen=True, eq=False)
class Choice:
    """One way to go: its key, its name, what it looks like, and what pressing it does.

    ``light``: None for the light worked in; ``shape``: "" for the one worked in.
    """

    key: str
    name: str
    option: MakingOption
    take: Callable[[Making], Making]
    chosen: bool
    light: LightChoice | None = None
    shape: str = ""


@dataclass(frozen=True, eq=False)
class Taken:
    """The cloth that a choice takes, and in words what it comes out at, in short and in full."""

    needs: tuple[ClothNeeded, ...]
    brief: str
    full: str


def draw(
    question: str,
    choices: Sequence[Choice],
    waiting: Waiting,
    *,
    needed: bool = False,
    told: Callable[[Choice], Taken] | None = None,
    ground: str = "grey",
) -> None:
    """The strip of ``choices`` for a ``question``, the one answer about what is chosen, and its
    figures.

    ``waiting``: where its pictures are ordered; ``needed``: with the cloth that each choice needs;
    ``told``: the cloth that each choice takes, told in place of all differences in colour;
    ``ground`` behind the pictures.
    """
    now = work()
    edge = bool(st.session_state.get(EDGE)) and told is None
    places: list[tuple[Choice, DeltaGenerator, DeltaGenerator]] = []
    rows = "-edge" if edge else "-rows" if len(choices) > IN_A_ROW else ""
    with st.container(key=f"wc-strip-{question}{rows}", horizontal=True):
        if choices[0].key != AS_IT_LIES:
            st.empty()  # so that every choice keeps its place
        for choice in choices:
            with st.container(key=f"wc-card-{question}-{choice.key}"):
                picture = st.empty()
                st.button(
                    f"{'✔ ' if choice.chosen else ''}{plain(choice.name)}",
                    key=f"take-{question}-{choice.key}",
                    on_click=change,
                    args=(choice.take,),
                    width="stretch",
                )
                places.append((choice, picture, st.empty()))
    seen = [looks.outcome(now, choice.option, choice.light) for choice in choices]
    steps = looks.differences(seen)
    takes = [told(choice) if told else None for choice in choices]
    lines = []
    for (choice, picture, line), look, step, taken in zip(
        places, seen, (None, *steps), takes, strict=True
    ):
        words = line_of(step)
        if taken is not None:
            words = f"{enough.marked(taken.needs, brief=True)} {escape(taken.brief)}"
        _picture(now, choice, look, picture, edge, waiting, ground)
        takes_words = enough.line(now, choice.option) if needed else ""
        line.html(_LINE.format(words + takes_words))
        lines.append((line, takes_words))
    answer = _answer(choices, seen, steps, takes)
    if answer is not None and told is None and not edge:
        _in_folds(now, choices, lines, answer, waiting)
    if told is None and not any(c.light for c in choices):
        wonders(seen, question)
    layers = [layer.cloth for look in seen for layer in look.option.stack.layers]
    if minded := mind(known_of(dict.fromkeys(layers)).contradictions):
        st.html(minded)
    with st.container(horizontal=True, key=f"wc-strip-tools-{question}"):
        if told is None:
            st.toggle("Edge to edge", key=EDGE, help="Flat colours side by side: the finest test.")
        options = tuple(dict.fromkeys(c.option for c in choices))
        if len(options) > 1:  # of places and fullness all are of one piece: "Keep this" keeps it
            st.button("Keep all", key=f"keep-all-{question}", on_click=change,
                      args=(_keep_all, options))  # fmt: skip
    if fold("Figures", f"figures-{question}"):
        _figures(now, choices, seen, steps if told is None else ())


def wonders(seen: Sequence[Outcome], question: str) -> None:
    """What a maker would not expect of what is ``seen``, where there is anything."""
    surprising = looks.wonders(seen)
    if surprising and fold("Not what one expects, held flat: why", f"why-{question}"):
        for words in surprising:
            st.html(f'<p class="wc-told">{escape(words)}</p>')


def ahead(now: Making, choices: Sequence[Choice], waiting: Waiting, ground: str) -> None:
    """Have ``waiting`` work out, once all else is there, what a strip of ``choices`` of the making
    ``now`` would show before ``ground``, so that its question opens with it; but for more layers
    than lie there, which take more memory than may never be asked for."""
    for choice in told_ahead(now, choices, waiting):
        worn = pictures.worn(now, choice.option, choice.light, ground, choice.shape)
        for order in (pictures.live(worn), pictures.still(worn)):
            waiting.ahead(order)


def told_ahead(now: Making, choices: Sequence[Choice], waiting: Waiting) -> list[Choice]:
    """Have ``waiting`` work out what a strip of ``choices`` of the making ``now`` would tell, in
    the same way; of which of them."""
    if not orders.drawing():
        return []
    deep = len(table_of(now).layers)
    few = [choice for choice in choices if len(choice.option.layers) <= deep]

    def told() -> None:
        seen = [looks.outcome(now, choice.option, choice.light) for choice in few]
        if len(seen) == len(choices):
            looks.wonders(seen)
            looks.differences(seen)

    waiting.ahead(told)
    return few


def line_of(step: Step | None) -> str:
    """A step in one line: how the colour moves, and whether she would see it."""
    if step is None:
        return "Others are told from it."
    if step.verdict is None:  # each in its own light, as the answer says
        unsure = would_see(step.delta, step.uncertainty.stated).sees is None
        return f"{escape(capital(f'perhaps {step.effect}' if unsure else step.effect))}."
    effect = escape(capital(step.effect))
    sure = step.verdict.words.split(" (")[0].split(":")[0].rstrip(".")
    return f'{effect}. <span class="wc-sure">{SIGN[step.verdict.sees]} {escape(sure)}.</span>'


def _picture(
    now: Making, choice: Choice, look: Outcome, place: DeltaGenerator, edge: bool,
    waiting: Waiting, ground: str,
) -> None:  # fmt: skip
    reading = look.appearance.reading
    mark = CHOSEN if choice.chosen else ""
    patch = mark + (
        f'<div class="wc-patch" role="img" aria-label="{escape(reading.words)}" '
        f'style="background:{reading.hex}"></div>'
    )
    place.html(patch)
    if edge:
        return
    if not orders.drawing():
        return
    worn = pictures.worn(now, choice.option, choice.light, ground, choice.shape)
    if not choice.chosen:
        waiting.ahead(pictures.live(worn))

    def show(data: bytes) -> None:
        alt = f"{choice.name}: {reading.words}"
        place.html(f'{mark}<img class="wc-pic" src="{pictures.uri(data)}" alt="{escape(alt)}">')

    waiting.place(pictures.still(worn), show)


def _answer(
    choices: Sequence[Choice], seen: Sequence[Outcome], steps: Sequence[Step],
    takes: Sequence[Taken | None],
) -> Answer | None:  # fmt: skip
    """What is chosen against the first, in one sentence; or what it takes, or how it looks."""
    at = _chosen(choices)
    if at is None:
        return None
    words = escape(f"{seen[at].appearance.reading.words.capitalize()}.")
    taken = takes[at]
    if taken is not None:
        words = f"{escape(choices[at].name)}:{enough.marked(taken.needs)} {escape(taken.full)}"
    elif steps:
        step = steps[at - 1] if at > 0 else max(steps, key=lambda s: s.delta)
        words = escape(step.sentence)
    answer = Answer(st.empty(), st.empty())
    answer.main.html(_ANSWER.format(words))
    return answer


def _chosen(choices: Sequence[Choice]) -> int | None:
    return next((i for i, c in enumerate(choices) if c.chosen), None)


@dataclass(frozen=True, eq=False)
class Answer:
    """Where the one answer stands, and what is said beneath it."""

    main: DeltaGenerator
    beneath: DeltaGenerator


def _in_folds(
    now: Making, choices: Sequence[Choice], lines: Sequence[tuple[DeltaGenerator, str]],
    answer: Answer, waiting: Waiting,
) -> None:  # fmt: skip
    """Have the lines and the answer told of cloth as it hangs, as in the pictures, once that is
    known, but for a light that shines through cloth held flat."""
    at = _chosen(choices)
    hung = [k for k, choice in enumerate(choices) if looks.hangs(now, choice.light)]
    if at is None or len(choices) < 2 or not orders.drawing():
        return
    answer.beneath.html(_HOW.format("Held flat."))
    if not {0, at} <= set(hung):
        return
    asked = [(choices[k].option, choices[k].light) for k in hung]
    order = looks.in_folds(now, asked, told_of)

    def show(data: bytes) -> None:
        steps = dict(zip(hung[1:], json.loads(data), strict=True))
        step = steps[at] if at > 0 else max(steps.values(), key=lambda step: step["delta"])
        answer.main.html(_ANSWER.format(escape(step["sentence"])))
        besides = otherwise(now, [choice.option for choice in choices])
        answer.beneath.html(_HOW.format(f"As it hangs.{escape(besides)}"))
        for k, told in steps.items():
            line, takes = lines[k]
            line.html(_LINE.format(told["line"] + takes))

    waiting.place(order, show, orders.SHELF)


def otherwise(now: Making, options: Sequence[MakingOption]) -> str:
    """In what that which is told of ``options`` is not what hangs in the pictures: layers, or what
    is seen where nothing lies behind."""
    fewer = any(pictures.worn(now, option).alone for option in options)
    told = " Told of all layers." if fewer else ""
    return told if all(option.backing for option in options) else f"{told} Open air: dark behind."


def told_of(steps: Sequence[Step]) -> bytes:
    """What is kept of steps between choices: line, sentence and size of each, as JSON."""
    kept = [{"line": line_of(s), "sentence": s.sentence, "delta": s.delta} for s in steps]
    return json.dumps(kept).encode()


def _figures(
    now: Making, choices: Sequence[Choice], seen: Sequence[Outcome], steps: Sequence[Step]
) -> None:
    """The numbers of what is chosen; differences of all from the first, where there are any."""
    at = _chosen(choices) or 0
    choice, look = choices[at], seen[at]
    st.html(figures_list(numbers_of(look, looks.hiding(now, choice.option))))
    if not steps:
        return
    rows = "".join(
        f"<tr><th scope=row>{escape(c.name)}</th><td>{o.appearance.reading.hex}</td>"
        f"<td>{o.appearance.reading.Lab[0]:.1f}</td>"
        f"<td>{_delta(step)}</td></tr>"
        for c, o, step in zip(choices, seen, (None, *steps), strict=True)
    )
    st.html(
        '<table class="wc-table"><thead><tr><th scope=col>Choice</th><th scope=col>Screen</th>'
        "<th scope=col>L*</th><th scope=col>CIEDE2000 from the first, held flat</th></tr></thead>"
        f"<tbody>{rows}</tbody></table>"
    )


def _delta(step: Step | None) -> str:
    if step is None:
        return "–"
    return f"{step.delta:.1f} give or take {step.uncertainty.stated:.1f}"


def _keep_all(now: Making, options: tuple[MakingOption, ...]) -> Making:
    made = now
    for option in options:
        made = pin(made, option)
    new = len(made.options) - len(now.options)
    note(f"{new} more kept." if new else "These are kept already.")
    return made


def as_it_lies(
    table: MakingOption, choices: list[Choice], name: str = "As it lies"
) -> list[Choice]:
    """The ``choices``, what lies on the ``table`` before them where it is none of them, by that
    ``name``."""
    if any(c.chosen for c in choices):
        return choices
    return [Choice(AS_IT_LIES, name, table, lambda w: w, True), *choices]
