"""A sewn sample: its photograph, how it lies, what it taught, and the corrected cloth kept.

Knows what is asked beside the picture; reading it and learning from it is ``weavecolor.measure``.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import streamlit as st

import bench
import measured
from fit_panel import begin, keep
from pictures import uri_of
from session import change, fold, guarded, plain, waited, work
from state import cloth_called
from uploads import upload
from weavecolor.errors import InputError
from weavecolor.making.model import Making
from weavecolor.measure.sample import Lesson, learn, lesson_words, sample_of
from weavecolor.measure.swatchpair import measure_one
from weavecolor.optics.fitted import left_open
from weavecolor.optics.layerwords import layers_said
from weavecolor.optics.stack import LAYS, Stack
from weavecolor.scene.backings import backing, backing_names
from weavecolor.scene.places import scene, scene_names

_TITLE = "7 The sample on white paper"
_PAPER = "the paper, or what is marked as ground"
#: What was learnt, kept in the session while it is worked on.
_LESSON = "lesson"


@guarded
def draw(arrived: Callable[[Making, str], Making]) -> None:
    """The whole of it, folded away until it is wanted; ``arrived(making, key)`` is what the making
    becomes when the corrected cloth is kept."""
    if not fold("A sewn sample (picture 7)", "sample"):
        return
    now = work()
    open_ = {
        cloth.key: cloth.cloth.name for cloth in now.cloths if left_open(cloth.cloth) is not None
    }
    if not open_:
        st.caption("Work out a cloth from its photographs and put it on the table first: a sample "
                   "corrects that.")  # fmt: skip
        return
    key = st.selectbox("The cloth it is sewn of", list(open_), key="m-sample-cloth",
                       format_func=lambda k: open_[k])  # fmt: skip
    laid = st.text_input("Its layers, outermost first", "straight", key="m-sample-laid",
                         placeholder="straight + cross back")  # fmt: skip
    told = st.empty()
    one, two = st.columns(2)
    behind = one.selectbox("What it lies on", (_PAPER, *backing_names()), key="m-sample-behind")
    lay = two.selectbox("How layers lie", LAYS, key="m-sample-lay", index=LAYS.index("loose"))
    place = st.selectbox("It was taken in", scene_names(), key="m-sample-place",
                         help="Straight grain towards the floor of that place.")  # fmt: skip
    given = upload(_TITLE, "m-sample", measured.KINDS)
    marks = _marked() if given is not None else ()
    try:
        layers = layers_said(laid, cloth_called(now, key))
    except InputError as error:
        told.html(f'<p class="wc-error" role="alert">✗ {escape(error.what)}</p>')
        return
    pressed = st.button("Correct the cloth", key="m-sample-learn", disabled=given is None)
    if given is None:
        return
    under = None if behind == _PAPER else backing(behind)
    asked = (given.digest, key, laid, behind, lay, place, marks)
    if pressed:
        data, stack = given.data, Stack(layers, under, lay)
        begin("m-sample-job", lambda told: (asked, *_learnt(data, stack, place, marks, told)))
    words = "Correcting the cloth; this takes a minute or more …"
    if made := waited("m-sample-job", words, "Stop", "m-sample-stop"):
        st.session_state[_LESSON] = made
    held = st.session_state.get(_LESSON)
    if held is None or held[0] != asked:
        return
    _, lesson, picture, cautions = held
    st.html(bench.figure(f'<img class="wc-found" src="{picture}" alt="{_TITLE}, boxed">', _TITLE,
                         "boxes: what was measured"))  # fmt: skip
    st.text(lesson_words(lesson))
    for line in cautions:
        st.warning(plain(line))
    st.button("Put the corrected cloth on the table", key="m-sample-keep", type="primary",
              on_click=change, args=(keep, lesson.fit, arrived))  # fmt: skip


def _marked() -> tuple[measured.Mark, ...]:
    """Parts marked by hand, where they are not found."""
    out = []
    for label, first in (("sample", (30, 70)), ("paper", (5, 25)), ("ground", (75, 95))):
        if st.toggle(f"Mark the {label} by hand", key=f"m-sample-{label}"):
            one, two = st.columns(2)
            across = one.slider("From left to right, %", 0, 100, first, key=f"m-sample-{label}-x")
            down = two.slider("From top to bottom, %", 0, 100, (30, 70), key=f"m-sample-{label}-y")
            box = (across[0], down[0], across[1], down[1])
            out.append(measured.Mark("sample", label, box))
    return tuple(out)


def _learnt(
    data: bytes,
    stack: Stack,
    place: str,
    marks: tuple[measured.Mark, ...],
    told: Callable[[int, int], None],
) -> tuple[Lesson, str, tuple[str, ...]]:
    """What the picture ``data`` of ``stack`` in the light of ``place`` taught, with ``marks`` made
    by hand; the picture with what was found boxed; and cautions. ``told`` hears how far it is."""
    shot = measured.read(data, _TITLE)
    boxes = {m.label: measured.box_in(m.box, shot.linear.shape) for m in marks}
    one = measure_one(shot.linear, boxes)
    lesson = learn(sample_of(one, stack, scene(place)), told)
    found = {label: (region.box, region.marked) for label, region in one.regions.items()}
    return lesson, uri_of(measured.boxed(shot.linear, found)), (*shot.cautions, *one.cautions)
