"""Whether there is cloth enough for an option, in a few words beside every choice.

Knows how the answer of ``weavecolor.cutting.needed`` is told in short.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import streamlit as st

from state import with_cloths
from weavecolor.cutting.lengths import cm_and_inches, enough_words
from weavecolor.cutting.needed import ClothNeeded
from weavecolor.making.answers import needs_of, plans_of
from weavecolor.making.model import Making, MakingOption


def line(now: Making, option: MakingOption) -> str:
    """HTML of the cloth that it needs; nothing while no pieces and no fullness are told."""
    now = with_cloths(now, tuple(layer.cloth for layer in option.layers))
    if not (now.pieces or plans_of(now)):
        return ""
    return marked(needs(now, option))


def marked(needed: Iterable[ClothNeeded], brief: bool = False) -> str:
    """HTML of what each cloth must give, in a few words, with a sign where it is enough or short;
    ``brief``: where it stands beside the same told in full. Several cloths are told by name."""
    told = []
    needed = tuple(needed)
    for need in needed:
        if len(needed) > 1:
            told.append(("of", need.cloth))
        if need.fits:
            told.append(("yes", f"✓ enough: takes {cm_and_inches(need.used_cm)}"))
        elif need.short_cm is not None:
            told.append(("no", f"✗ short of {enough_words(need.short_cm)}"))
        elif need.enough is None and need.needed_cm is not None:
            why = "" if brief else f", {need.verdict}"
            told.append(("perhaps", f"takes {cm_and_inches(need.needed_cm)}{why}"))
        else:
            told.append(("no", f"✗ {need.verdict}"))
    return "".join(
        f" {escape(text)}:" if kind == "of" else f' <b class="wc-enough-{kind}">{escape(text)}.</b>'
        for kind, text in told
    )


def needs(now: Making, option: MakingOption) -> tuple[ClothNeeded, ...]:
    """What each cloth of the option must give, as sheet and command line tell it."""
    used = {layer.cloth for layer in option.layers}
    cloths = tuple(cloth for cloth in now.cloths if cloth.key in used)
    key = (
        cloths, tuple((x.cloth, x.grain_deg, x.face) for x in option.layers), now.pieces,
        now.fold, now.fullness, now.fullness_asked,
    )  # fmt: skip
    return _needs(key, now, option)


@st.cache_resource(max_entries=60, show_spinner=False)
def _needs(key: tuple[object, ...], _now: Making, _option: MakingOption) -> tuple[ClothNeeded, ...]:
    return needs_of(_now, _option)
