"""Fullness: what pleats and gathers take, and what is seen of them.

Knows what is asked; the folds are counted by ``weavecolor.cutting.fullness``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import streamlit as st

import bench
import looks
from enough_panel import LAYERS, layers_word
from lengths_input import length_input
from session import bound, guarded, plain, work
from state import cloth_called, decided_option, stack_of
from weavecolor.cutting.fullness import FullnessPlan
from weavecolor.cutting.lengths import cm_and_inches, enough_words
from weavecolor.cutting.needed import ClothNeeded
from weavecolor.decide.enoughcloth import stack_needs
from weavecolor.making.answers import asked_of, in_hand_of
from weavecolor.making.model import Making, MakingOption
from weavecolor.optics.stack import MOST_LAYERS
from weavecolor.report.sheetwords import fullness_sentences
from weavecolor.textile.construction import describe

KIND_WORDS = {"flat": "flat", "gathered": "gathered", "knife": "knife pleats", "box": "box pleats"}


@guarded
def draw() -> None:
    asked = asked_of(work())
    one, two = st.columns(2)
    with one:
        bound(
            st.radio,
            "Taken in as",
            "full-kind",
            asked.kind,
            _set("kind"),
            options=tuple(KIND_WORDS),
            horizontal=True,
            format_func=lambda k: KIND_WORDS[k],
        )
        bound(
            st.slider,
            "Fullness, cloth to finished width",
            "full-ratio",
            asked.ratio,
            _set("ratio"),
            min_value=1.0,
            max_value=6.0,
            step=0.1,
            format="%.1f to 1",
            disabled=asked.kind == "flat",
            help="3 to 1 is a full pleat; gathers are 1.5 to 3. Whole widths are joined, so it "
            "comes out at that or more.",
        )
        bound(
            st.toggle,
            "Doubled: folded up at the hem",
            "full-doubled",
            asked.doubled,
            _set("doubled"),
            help="Twice the length; no hem; every layer is two.",
        )
        bound(
            st.selectbox,
            "Layers it is cut in",
            "full-layers",
            layers_word(asked.layers),
            lambda now, word: _set("layers")(now, LAYERS[word]),
            options=[*LAYERS],
            help="All layers of the stack, or the outer ones alone, where only a bodice has the "
            "rest: the large picture hangs these.",
        )
    with two:
        length_input(
            "Finished width",
            "finished",
            asked.finished_cm,
            _set("finished_cm"),
            "Round the waist, or across.",
            1.0,
        )
        length_input(
            "Cloth width",
            "width",
            asked.width_cm,
            _set("width_cm"),
            "Without the selvedges. Where an amount in hand is told, that cloth's width counts.",
            4.0,
        )
        length_input(
            "Finished length", "drop", asked.drop_cm, _set("drop_cm"), "Waist to hem.", 1.0
        )
    now = work()
    option = decided_option(now)
    plan, said = planned(now, option)
    for line in said:
        st.markdown(plain(line))
    st.caption(
        "Layers are counted seen straight on, at the waist; common practice for seams (1.5 cm) "
        "and hem (5 cm). Each part of the view then has the colour of so many layers."
    )
    _fold_colours(plan)
    bound(
        st.toggle,
        "Count its cloth, and put it on the making sheet",
        "full-on-sheet",
        asked.on_sheet,
        _set("on_sheet"),
        help="Its widths are then laid with the pieces, in the layers it is cut in"
        + "".join(f", and besides the {plan.what}" for plan in now.fullness)
        + ".",
    )


def planned(now: Making, option: MakingOption) -> tuple[FullnessPlan, tuple[str, ...]]:
    """The skirt as the outermost cloth in hand gives it, at that layer's grain; in words, with the
    bulk of all layers of that cloth and what it takes of the cloth in hand."""
    plan, need = cut(now, option)
    layers = need.layers
    cloth = cloth_called(now, option.layers[0].cloth)
    said = fullness_sentences("skirt", plan, describe(cloth).thickness_mm, layers)
    return plan, (*said, _skirt_alone(need, layers), *([need.largest] if need.largest else []))


def cut(now: Making, option: MakingOption) -> tuple[FullnessPlan, ClothNeeded]:
    """The skirt as the outermost layer is cut, and what it takes by itself of that cloth, each
    layer that it is cut in as it lies."""
    outer = option.layers[0]
    asked = asked_of(now)
    own = tuple(x for x in option.layers[: asked.layers] if x.cloth == outer.cloth)
    (need,) = stack_needs(
        stack_of(now, replace(option, layers=own)), (), (replace(asked.wanted(), layers=None),),
        in_hand_of(now), fold=now.fold,
    )  # fmt: skip
    off = min(outer.grain_deg % 180.0, -outer.grain_deg % 180.0)
    plan = next((plan for _, plan, _ in need.plans if abs(plan.grain_deg - off) < 1e-6), None)
    if plan is None:  # there is no such skirt: told why
        plan = asked.wanted().plan(grain_deg=outer.grain_deg)
    return plan, need


def _skirt_alone(need: ClothNeeded, layers: int) -> str:
    say = f"The skirt alone, {layers} layer{'s' if layers > 1 else ''} of {need.cloth}: "
    say += need.verdict if need.enough is not None else need.reason
    if need.needed_cm is not None and need.enough is not None:
        say += f", taking {cm_and_inches(need.needed_cm)}"
    if need.short_cm is not None:
        say += f", short of {enough_words(need.short_cm)}"
    return f"{say}."


def _set(name: str) -> Callable[[Making, Any], Making]:
    return lambda now, value: replace(
        now, fullness_asked=replace(asked_of(now), **{name: value})
    )


@guarded
def _fold_colours(plan: FullnessPlan) -> None:
    """How each number of layers in the folds looks."""
    now = work()
    option = decided_option(now)
    figures = []
    for count, share in zip(plan.shares.layers, plan.shares.share, strict=True):
        layers = option.layers[: asked_of(now).layers] * count
        if share < 0.005 or len(layers) > MOST_LAYERS:
            continue
        piled = replace(option, layers=layers)
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
