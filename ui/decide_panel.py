"""The decision: what she wants of it, what fullness takes, and whether there is cloth enough.

Knows what is asked and how answers are told; they come from ``weavecolor.make`` and the looks.
"""

from __future__ import annotations

import streamlit as st

import compare_panel
import enough_panel
import fullness_panel
import search_panel
import show_panel
from session import change, guarded, plain, work
from state import choose, decided_option, option_words, short_words

WISHES = {
    "deepest": ("Deepest", lambda r: r.outcome.appearance.reading.Lab[0], "L* {:.0f}"),
    "brightest": ("Brightest", lambda r: -r.outcome.appearance.reading.Lab[0], "L* {:.0f}"),
    "strongest": (
        "Strongest in colour",
        lambda r: -r.outcome.appearance.reading.LCh[1],
        "C* {:.0f}",
    ),
    "opaque": ("Hides most", lambda r: -100 * r.hiding.opacity, "opacity {:.0f} %"),
    "sheer": ("Most sheer", lambda r: 100 * r.hiding.opacity, "opacity {:.0f} %"),
}


@guarded
def draw() -> None:
    now = work()
    option = decided_option(now)
    name = f"pin {plain(now.chosen)}" if option.name == now.chosen else "what lies on the table"
    st.markdown(f"Deciding about **{name}**: {plain(option_words(now, option))}")
    part = st.segmented_control(
        "What is to be decided", tuple(PARTS), key="decide-part", default=next(iter(PARTS))
    )
    PARTS.get(part or "", _ranking)()


@guarded
def _ranking() -> None:
    now = work()
    with st.container(border=True):
        st.markdown("**Among the pins**")
        if len(now.options) < 2:
            st.caption("Pin two options or more under Compare, and they are ranked here.")
            return
        wish = (
            st.segmented_control(
                "Rank the pins by",
                tuple(WISHES),
                key="wish",
                default="deepest",
                format_func=lambda key: WISHES[key][0],
            )
            or "deepest"
        )
        title, score, form = WISHES[wish]
        rows = sorted(compare_panel.board(now), key=score)
        for place, row in enumerate(rows[:5], 1):
            value = form.format(abs(float(score(row))))
            seen = row.outcome.appearance.reading
            what = plain(short_words(now, row.option, compare_panel.one_cloth(now)))
            st.markdown(
                f"{place}. **{plain(row.option.name)}**, {what}: {value}, {plain(seen.words)}"
            )
        st.caption(
            f"{title} first, in the light you work in. Two that differ by less than their give or "
            "take may stand the other way round in the cloth."
        )
        best = rows[0].option.name
        st.button(
            f"Choose {plain(best)}",
            key="choose-best",
            on_click=change,
            args=(choose, best),
            disabled=best == now.chosen,
        )


@guarded
def _wanted() -> None:
    _ranking()
    st.markdown("**Or search every way of laying it up**")
    search_panel.draw()


@guarded
def _enough() -> None:
    enough_panel.draw(decided_option(work()))


PARTS = {
    "What I want": _wanted,
    "What shows through": show_panel.through,
    "In every light": show_panel.lights,
    "Fullness": fullness_panel.draw,
    "Is there cloth enough?": _enough,
}
