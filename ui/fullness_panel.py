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
from lengths_input import length_input
from session import bound, guarded, plain, work
from state import decided_option
from weavecolor.cutting.fullness import FullnessPlan
from weavecolor.making.model import Making
from weavecolor.report.sheetwords import fullness_sentences

KIND_WORDS = {"flat": "flat", "gathered": "gathered", "knife": "knife pleats", "box": "box pleats"}


@guarded
def draw() -> None:
    asked = work().fullness_asked
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
            "Cloth width", "width", asked.width_cm, _set("width_cm"), "Between selvedges.", 4.0
        )
        length_input(
            "Finished length", "drop", asked.drop_cm, _set("drop_cm"), "Waist to hem.", 1.0
        )
    plan = asked.wanted().plan()
    for line in fullness_sentences("skirt", plan):
        st.markdown(plain(line))
    st.caption(
        "Layers are counted seen straight on, at the waist; common practice for seams (1.5 cm) "
        "and hem (5 cm). Each part of the view then has the colour of so many layers."
    )
    _fold_colours(plan)
    bound(
        st.toggle, "Put it on the making sheet", "full-on-sheet", asked.on_sheet, _set("on_sheet")
    )


def _set(name: str) -> Callable[[Making, Any], Making]:
    return lambda now, value: replace(
        now, fullness_asked=replace(now.fullness_asked, **{name: value})
    )


@guarded
def _fold_colours(plan: FullnessPlan) -> None:
    """How each number of layers in the folds looks."""
    now = work()
    option = decided_option(now)
    figures = []
    for count, share in zip(plan.shares.layers, plan.shares.share, strict=True):
        if share < 0.005 or count * len(option.layers) > 12:
            continue
        piled = replace(option, layers=option.layers * count)
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
