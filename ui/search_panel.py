"""What do you want of it: every stack of the chosen cloths searched, the best few with reasons.

Knows what is asked and how a find is told; the search is ``weavecolor.decide``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import streamlit as st

import charts
from jobs import Job
from session import change, guarded, note, plain, work
from state import NOW, Work, cloth_called, cloth_keys, cloth_label, pin
from weavecolor.colour.colorimetry import daylight_white, lab_from_xyz
from weavecolor.colour.screen import decoded, space
from weavecolor.colour.screencolour import screen_rgb
from weavecolor.decide.candidates import Material, candidates
from weavecolor.decide.enoughcloth import fits_by_lay
from weavecolor.decide.found import Found
from weavecolor.decide.judged import Judged
from weavecolor.decide.search import search
from weavecolor.decide.shortlist import reasons
from weavecolor.decide.wishes import Limits, Wish
from weavecolor.errors import InputError
from weavecolor.making.lightchoice import LightChoice, scene_of
from weavecolor.making.project import ProjectLayer, ProjectOption
from weavecolor.scene.backings import backing, backing_names
from weavecolor.scene.places import scene_names
from weavecolor.textile.grain import GRAINS

WANT = {
    "deepest": "as deep as can be",
    "brightest": "as light as can be",
    "most shot": "most shot effect",
    "least shot": "least shot effect",
    "most opaque": "hides most",
    "most sheer": "most sheer",
    "most even": "alike in all my lights",
    "target": "nearest to a colour",
}
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
            tuple(WANT),
            default=["deepest"],
            key="s-want",
            format_func=lambda k: WANT[k],
            max_selections=4,
        )
        one, two = st.columns(2)
        with one:
            cloths = st.multiselect(
                "Cloths you have",
                cloth_keys(now),
                key="s-cloths",
                max_selections=6,
                default=list(dict.fromkeys(x.cloth for x in now.now.layers)),
                format_func=lambda key: cloth_label(work(), key),
            )
            outside = st.selectbox(
                "Outermost",
                ("any of them", *cloth_keys(now)),
                key="s-outside",
                format_func=lambda k: k if k == "any of them" else cloth_label(work(), k),
            )
            behind = st.multiselect(
                "What may lie behind",
                (*backing_names(), OPEN_AIR),
                key="s-behind",
                default=["white", "black", "skin medium"],
            )
            colour = st.color_picker("The colour, where you want one", "#7a2030", key="s-colour")
        with two:
            layers = st.slider("Layers, fewest and most", 1, 6, (1, 3), key="s-layers")
            grains = st.multiselect(
                "Grains allowed", tuple(GRAINS), default=["straight", "cross"], key="s-grains"
            )
            sides = st.multiselect(
                "Sides that may be out", ("face", "back"), key="s-sides", default=["face", "back"]
            )
            weight = st.number_input(
                "Most weight of all layers, g/m² (0: no limit)",
                0.0,
                5000.0,
                0.0,
                10.0,
                key="s-weight",
            )
            others = st.multiselect(
                "Also in these lights",
                scene_names(),
                key="s-scenes",
                help="The light you work in comes first.",
            )
        enough = st.toggle(
            "Only where my pieces fit the cloth in hand",
            key="s-enough",
            disabled=not now.pieces,
            help="Write the pieces under Is there cloth enough? first.",
        )
        st.form_submit_button("Search all of them", type="primary", on_click=_begin)
    _ = (wishes, cloths, outside, behind, colour, layers, grains, sides, weight, others, enough)


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
            "enough",
        )
    }
    earlier = st.session_state.pop("search-job", None)
    if earlier is not None:
        earlier.stop()
    st.session_state.pop("search-found", None)
    change(_begun, asked)


def _begun(now: Work, asked: dict[str, Any]) -> Work:
    st.session_state["search-job"] = Job(task(now, asked))
    return now


def task(
    now: Work, asked: dict[str, Any]
) -> Callable[[Callable[[int, int], None], Callable[[], bool]], Found]:
    """The search that was asked for, ready to run. Raises InputError for what cannot be."""
    if not asked["want"] or not asked["cloths"] or not asked["behind"]:
        raise InputError("choose what you want, at least one cloth, and what may lie behind")
    keys = list(asked["cloths"])
    outside = asked["outside"]
    if outside != "any of them" and outside not in keys:
        keys.append(outside)
    limits = Limits(
        tuple(asked["layers"]),  # type: ignore[arg-type]
        () if outside == "any of them" else (cloth_called(now, outside).name,),
        tuple(GRAINS[g] for g in asked["grains"]),
        True,
        tuple(asked["sides"]),
        float(asked["weight"]) or None,
        now.now.lay,
    )
    made = candidates(
        [Material(cloth_called(now, key)) for key in keys],
        [None if b == OPEN_AIR else backing(b) for b in asked["behind"]],
        limits,
    )
    scenes = [scene_of(now.light)]
    scenes += [scene_of(LightChoice(place=p)) for p in asked["scenes"] if p != scenes[0].name]
    wishes = [
        Wish("target", target(asked["colour"])) if w == "target" else Wish(w) for w in asked["want"]
    ]
    fits = None
    if asked["enough"] and now.pieces:
        hands = {cloth_called(now, k).name: [h] for k, h in now.in_hand.items()}
        fits = fits_by_lay(now.pieces, hands, fold=now.fold, tries=40)
    return lambda progress, stop: search(
        made, wishes, scenes, options=MOST_SHOWN, fits=fits, progress=progress, stop=stop
    )


def target(code: str) -> Any:
    """A screen colour as Lab."""
    rgb = decoded(screen_rgb(code))
    return lab_from_xyz(space("sRGB").to_xyz @ rgb * 100.0, daylight_white("2"))


@guarded
def _wait() -> None:
    job = st.session_state.get("search-job")
    if job is None:
        return
    place = st.empty()
    with place.container():
        bar = st.progress(job.share, "Looking at stacks …")
        st.button("Stop, and show the best so far", key="s-stop", on_click=job.stop)
    while not job.wait(0.1):
        bar.progress(job.share, "Looking at stacks …")
    place.empty()
    del st.session_state["search-job"]
    if job.error is not None:
        raise job.error
    st.session_state["search-found"] = job.result


@guarded
def _show() -> None:
    found: Found | None = st.session_state.get("search-found")
    if found is None:
        return
    if not found.options:
        st.warning("Nothing that was allowed fits; allow more layers, grains or cloths.")
    for one in found.too_little_cloth:
        st.warning(
            plain(f"Better, but too little cloth: {one.words}. {one.fit.words if one.fit else ''}")
        )
    best = found.options[0] if found.options else None
    for number, one in enumerate(found.options, 1):
        with st.container(border=True):
            st.markdown(f"**{number}. {plain(one.words)}**")
            said = reasons(one, found.wishes, found.scenes, best, found.worked_out)
            st.markdown("\n".join(f"- {plain(reason.words)}" for reason in said))
            with st.container(horizontal=True):
                st.button("Pin it", key=f"s-pin-{number}", on_click=change, args=(_pin, one))
                st.button(
                    "To the table", key=f"s-table-{number}", on_click=change, args=(_to_table, one)
                )
    st.caption(plain(found.guarantee.words))
    with st.expander("Trade-off: how well it hides against how light it is"):
        charts.cloud(found)


def option_of(now: Work, one: Judged) -> ProjectOption:
    """A found stack as an option of this work."""
    keys = _by_name(now, (layer.cloth.name for layer in one.stack.layers))
    layers = tuple(
        ProjectLayer(keys[x.cloth.name], float(x.grain_deg), x.face) for x in one.stack.layers
    )
    behind = "" if one.stack.backing is None else one.stack.backing.name
    return ProjectOption(NOW, layers, behind, one.stack.lay)


def _by_name(now: Work, names: Iterable[str]) -> dict[str, str]:
    keys = {cloth_called(now, key).name: key for key in reversed(cloth_keys(now))}
    missing = [name for name in names if name not in keys]
    if missing:
        raise InputError(f"the cloth {missing[0]!r} is no longer among yours; search again")
    return keys


def _pin(now: Work, one: Judged) -> Work:
    made = pin(now, option_of(now, one))
    note("Pinned already." if made is now else f"Pinned as {made.pins[-1].name}.")
    return made


def _to_table(now: Work, one: Judged) -> Work:
    note("It lies on the table now.")
    return replace(now, now=option_of(now, one))
