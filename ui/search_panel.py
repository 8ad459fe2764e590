"""What do you want of it: every stack of the chosen cloths searched, the best few with reasons.

Knows what is asked and how a find is told; the search is ``weavecolor.decide``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import streamlit as st

import bench
import charts
import looks
import orders
import pictures
from jobs import Job
from session import change, guarded, note, plain, waited, whole, work
from state import (
    cloth_called,
    cloth_keys,
    cloth_labels,
    light_of,
    pin,
    table_of,
    to_table,
    with_cloths,
)
from weavecolor.colour.screen import daylight_white, srgb_from_xyz
from weavecolor.colour.screencolour import screen_code
from weavecolor.colour.tristimulus import xyz_from_lab
from weavecolor.decide.candidates import Material, candidates
from weavecolor.decide.found import SearchResult
from weavecolor.decide.judged import Evaluation
from weavecolor.decide.search import search
from weavecolor.decide.shortlist import Reason, reasons
from weavecolor.decide.wishes import ASKED
from weavecolor.decide.wishwords import wish_from
from weavecolor.errors import InputError
from weavecolor.making.answers import fits_of, limits_of, option_of, searched_in
from weavecolor.making.model import Making, backing_of
from weavecolor.optics.stack import FACES, MOST_LAYERS
from weavecolor.scene.backings import backing_names
from weavecolor.scene.places import scene_names
from weavecolor.textile.grain import GRAINS
from weavecolor.textile.names import told_apart

OPEN_AIR = "nothing (open air)"
MOST_SHOWN = 5


@guarded
def draw() -> None:
    _ask()
    _wait()
    _show()


@guarded
def _ask() -> None:
    now = work()
    with st.form("search"):
        wishes = st.multiselect(
            "What do you want of it?",
            tuple(ASKED),
            default=_wanted(now),
            key="s-want",
            format_func=lambda k: ASKED[k],
            max_selections=4,
        )
        one, two = st.columns(2)
        labels = cloth_labels(now)
        with one:
            cloths = st.multiselect(
                "Cloths you have",
                cloth_keys(now),
                key="s-cloths",
                max_selections=6,
                default=list(dict.fromkeys(x.cloth for x in table_of(now).layers)),
                format_func=labels.__getitem__,
            )
            outside = st.selectbox(
                "Outermost",
                ("any of them", *cloth_keys(now)),
                index=_outside(now),
                key="s-outside",
                format_func=lambda k: k if k == "any of them" else labels[k],
            )
            behind = st.multiselect(
                "What may lie behind",
                tuple(dict.fromkeys((*backing_names(), OPEN_AIR, *_behind(now)))),
                key="s-behind",
                default=_behind(now),
            )
            colour = st.color_picker("The colour, where you want one", _colour(now), key="s-colour")
        with two:
            layers = st.slider(
                "Layers, fewest and most", 1, MOST_LAYERS, now.limits.layers, key="s-layers"
            )
            grains = st.multiselect(
                "Grains allowed", tuple(GRAINS), default=_grains(now), key="s-grains"
            )
            sides = st.multiselect(
                "Sides that may be out", FACES, key="s-sides", default=list(now.limits.faces)
            )
            weight = st.number_input(
                "Most weight of all layers, g/m² (0: no limit)",
                0.0,
                5000.0,
                float(now.limits.weight_g_m2 or 0.0),
                10.0,
                key="s-weight",
            )
            others = st.multiselect(
                "Also in these lights",
                tuple(dict.fromkeys((*scene_names(), *now.scenes))),
                default=list(now.scenes),
                key="s-scenes",
                help="The light you work in comes first.",
            )
        folds = st.toggle(
            "As it hangs in folds",
            _hangs(now),
            key="s-hung",
            help="Off: held flat before the eye, where smooth yarn shines at one angle or misses "
            "it, and where light from behind can be asked about.",
        )
        enough = st.toggle(
            "Only where my pieces fit the cloth in hand",
            key="s-enough",
            disabled=not now.pieces,
            help="Write the pieces under Is there cloth enough? first.",
        )
        st.form_submit_button("Search all of them", type="primary", on_click=_begin)
    _ = (
        wishes, cloths, outside, behind, colour, layers, grains, sides, weight, others, folds,
        enough,
    )  # fmt: skip


@whole
def _begin() -> None:
    """Gather what was asked, and begin. The form's answers are read once, here."""
    asked = {
        k: st.session_state.get(f"s-{k}")
        for k in (
            "want",
            "cloths",
            "outside",
            "behind",
            "colour",
            "layers",
            "grains",
            "sides",
            "weight",
            "scenes",
            "hung",
            "enough",
        )
    }
    earlier = st.session_state.pop("search-job", None)
    if earlier is not None:
        earlier.stop()
    st.session_state.pop("search-found", None)
    change(_begun, asked)


def _begun(now: Making, asked: dict[str, Any]) -> Making:
    made = asked_of(now, asked)
    st.session_state["search-job"] = Job(task(made, asked))
    return made


def asked_of(now: Making, asked: dict[str, Any]) -> Making:
    """The making with what was asked for kept in it: wishes, limits, backings and lights."""
    if not asked["want"] or not asked["cloths"] or not asked["behind"] or not asked["grains"]:
        raise InputError("choose what you want, a cloth, a grain, and what may lie behind")
    outside = asked["outside"]
    made = with_cloths(now, () if outside == "any of them" else (outside,))
    limits = replace(
        now.limits,
        layers=tuple(asked["layers"]),
        outside=() if outside == "any of them" else (outside,),
        grains=tuple(GRAINS[g] for g in asked["grains"]),
        bias=True,
        faces=tuple(asked["sides"]),
        weight_g_m2=float(asked["weight"]) or None,
        lay=table_of(now).lay,
    )
    told = _target(now)
    same = told and asked["colour"] == _colour(now)  # the project tells it more nearly
    target = told if same else f"target {asked['colour']}"
    return replace(
        made,
        wishes=tuple(target if w == "target" else w for w in asked["want"]),
        limits=limits,
        hung=bool(asked["hung"]),
        backings=tuple("open" if b == OPEN_AIR else b for b in asked["behind"]),
        scenes=tuple(asked["scenes"]),
    )


def _wanted(now: Making) -> list[str]:
    return [wish_from(wish).kind for wish in now.wishes][:4] or ["deepest"]


def _hangs(now: Making) -> bool:
    """As its wishes say; a garment hangs, where none are told yet."""
    return now.hung or not now.wishes and looks.hangs(now, None)


def _target(now: Making) -> str:
    """The wish for a colour as the project tells it, "" where it tells none."""
    return next((wish for wish in now.wishes if wish_from(wish).kind == "target"), "")


def _colour(now: Making) -> str:
    target = _target(now)
    told = wish_from(target).target if target else None
    if told is None:
        return "#7a2030"
    return screen_code(srgb_from_xyz(xyz_from_lab(told, daylight_white("2")))[0])


def _outside(now: Making) -> int:
    keys = cloth_keys(now)
    return 1 + keys.index(now.limits.outside[0]) if now.limits.outside else 0


def _behind(now: Making) -> list[str]:
    usual = ("white", "black", "skin medium")
    return [OPEN_AIR if backing_of(b) is None else b for b in now.backings or usual]


def _grains(now: Making) -> list[str]:
    allowed = now.limits.allowed_grains
    return [name for name, angle in GRAINS.items() if angle in allowed] or ["straight"]


def task(
    now: Making, asked: dict[str, Any]
) -> Callable[[Callable[[int, int], None], Callable[[], bool]], SearchResult]:
    """The search that was asked for, ready to run. Raises InputError for what cannot be."""
    keys = dict.fromkeys((*asked["cloths"], *now.limits.outside))
    cloths = {key: cloth_called(now, key) for key in keys}
    made = candidates(
        [Material(cloth) for cloth in told_apart(cloths).values()],
        [backing_of(b) for b in now.backings],
        limits_of(now),
    )
    scenes = searched_in(now)
    wishes = [wish_from(text) for text in now.wishes]
    fits = None
    if asked["enough"] and now.pieces:
        fits = fits_of(now)

    def work_out(progress: Callable[[int, int], None], stop: Callable[[], bool]) -> SearchResult:
        found = search(
            made, wishes, scenes, options=MOST_SHOWN, fits=fits, progress=progress, stop=stop
        )
        for one in found.options:  # so that no drawing waits for what is told of them
            _reasons(found, one)
        return found

    return work_out


def _reasons(found: SearchResult, one: Evaluation) -> tuple[Reason, ...]:
    return reasons(one, found.wishes, found.scenes, found.options[0], found.worked_out)


@guarded
def _wait() -> None:
    found = waited(
        "search-job", "Looking at stacks …", "Stop, and show the best so far", "s-stop"
    )
    if found is not None:
        st.session_state["search-found"] = found


@guarded
def _show() -> None:
    found: SearchResult | None = st.session_state.get("search-found")
    if found is None:
        return
    if not found.options:
        st.warning(plain(found.lack))
    for one in found.too_little_cloth:
        st.warning(
            plain(f"Better, but too little cloth: {one.words}. {one.fit.words if one.fit else ''}")
        )
    for number, one in enumerate(found.options, 1):
        with st.container(border=True):
            st.markdown(f"**{number}. {plain(one.words)}**")
            _picture(one, bool(found.lying))
            said = _reasons(found, one)
            st.markdown("\n".join(f"- {plain(reason.words)}" for reason in said))
            with st.container(horizontal=True):
                st.button("Keep it", key=f"s-pin-{number}", on_click=change, args=(_pin, one))
                st.button(
                    "On the table", key=f"s-table-{number}", on_click=change, args=(_to_table, one)
                )
    st.caption(plain(f"{found.lying or 'Held flat.'} {found.guarantee.words}"))
    with st.expander("Trade-off: how well it hides against how light it is"):
        charts.cloud(found)


@guarded
def _picture(one: Evaluation, folded: bool) -> None:
    """A find as a patch, as it hangs where it is ``folded``, and a close-up, in the light worked
    in."""
    now = work()
    option = option_of(now, one.stack)
    seen = looks.outcome(now, option, folded=folded).appearance.reading
    close = orders.made(pictures.closeup(one.stack, light_of(now), now.units))
    patch = bench.swatch(seen.hex, seen.words, not seen.in_srgb)
    image = f'<img class="wc-pic" src="{pictures.uri(close)}" alt="Close to">'
    st.html(
        f'<div class="wc-row">{bench.figure(patch, "Patch", seen.words)}'
        f'{bench.figure(image, "Close to", pictures.closeup_width(one.stack, now.units))}</div>'
    )


def _pin(now: Making, one: Evaluation) -> Making:
    made = pin(now, option_of(now, one.stack))
    note("Kept already." if made is now else f"Kept as {made.options[-1].name}.")
    return made


def _to_table(now: Making, one: Evaluation) -> Making:
    note("It lies on the table now.")
    return to_table(now, option_of(now, one.stack))
