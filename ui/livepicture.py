"""The large live picture: what lies on the table, as it hangs, and what it says when pressed.

The words under it are always of what is drawn: while a new picture is worked out, the earlier one
stays, dimmed, with its own words. Knows pictures, the component and the session.
"""

from __future__ import annotations

import time
from dataclasses import replace
from html import escape

import numpy as np
import streamlit as st

import address
import orders
import pictures
from hungview import hung_view
from orders import Waiting
from session import GROUND, again, bound, guarded, whole, work
from shelf import named
from state import light_of, option_words, stack_of, table_of
from weavecolor.colour.colorimetry import ciede2000, colour_words
from weavecolor.errors import capital
from weavecolor.making.answers import shape_of
from weavecolor.making.lightchoice import light_words
from weavecolor.making.model import Making
from weavecolor.picture.shapes import shape_heading, shape_names

#: The picture drawn last: its order's name, and its words.
_DRAWN, _PRESSED, PLAIN = "drawn", "pressed-places", "no-graphics"
WAIT = "Working it out …"
FIRST, FOLLOWS = "Hems and seams are still to come.", "Hems and seams follow …"
#: How long a first look waits for the whole, s.
WHOLE = 0.05
#: How long a new picture takes to be sent, s.
SENT = 0.03
#: The still where nothing can be drawn live, pixels.
PLAIN_PX = (600, 750)
CLOSE_TO = "The weave close to; it is being hung."


@guarded
def draw(waiting: Waiting) -> None:
    now = work()
    option, light = table_of(now), light_of(now)
    asked = pictures.worn(now, option, ground=ground())
    plain = bool(st.session_state.get(PLAIN))
    order = pictures.still(asked, PLAIN_PX) if plain else pictures.live(asked)
    first = order if plain else pictures.live(asked, first=True)
    where = capital(light_words(light))
    words = f"{option_words(now, option)}. {shape_words(asked.shape, asked.alone)}. "
    words += f"{asked.said}. {where}." if asked.said else f"{where}."
    name, told, as_still = st.session_state.get(_DRAWN, ("", "", plain))
    # what was drawn last may be what cannot be drawn here
    before = orders.kept(name) if name and as_still == plain else None
    data, look = order.there(), first.there()
    late = data is None and orders.drawing()
    if late and look is None and before is not None:
        look = waiting.soon(first, _anew)
    if late and look is not None:
        data = look if plain else waiting.soon(order, _anew, WHOLE)
    shown = data or look or before
    if data is not None:
        st.session_state[_DRAWN] = (order.name, words, plain)
    elif look is not None:
        st.session_state[_DRAWN] = (first.name, f"{words} {FIRST}", plain)
    new = (data or look) and st.session_state[_DRAWN][0] != name
    told = st.session_state[_DRAWN][1] if shown else CLOSE_TO
    close = _closeup(now, asked, waiting) if shown is None else b""
    late = data is None and orders.drawing()
    pressed, now_plain = hung_view(
        pictures.Parcels.read(shown) if shown and not plain else None,
        told,
        key="the-cloth",
        share=named() or "new",
        still=shown if shown and plain else close,
        waiting="" if not late else WAIT if look is None else FOLLOWS,
        dimmed=late and look is None,
        went=_went,
    )
    if now_plain != plain:
        st.session_state[PLAIN] = now_plain
        again()
    if late and look is None:
        if before is None and not plain:
            waiting.place(first, _anew, orders.LARGE)
        waiting.place(order, _anew, orders.LARGE)
    if pressed is not None:
        st.session_state[_PRESSED] = [*st.session_state.get(_PRESSED, [])[-1:], dict(pressed)]
    with st.container(key="wc-words"):
        _read_off(now)
        with st.container(horizontal=True, key="wc-under", vertical_alignment="center"):
            st.html(f'<p class="wc-drawn" role="status">{escape(told)}</p>')
            _tools(now)
    if new:  # compiled code that answers would hold up whoever sends it
        time.sleep(SENT)
        waiting.sent()


def _anew(_: bytes) -> None:
    again()


@whole
def _went(search: str) -> None:
    address.gone(search)


def _closeup(now: Making, asked: pictures.Worn, waiting: Waiting) -> bytes:
    """The weave close to, until it is hung. Never made now: the page stands first, then come its
    pictures."""
    close = pictures.closeup(asked.stack, asked.light, now.units)
    data = close.there()
    if data is None and orders.drawing():
        waiting.place(close, lambda _: again(), orders.LARGE)
    return data or b""


def lab_of(code: list[int]) -> np.ndarray:
    """CIELAB of three sRGB screen values 0-255."""
    from skimage.color import rgb2lab

    return np.asarray(rgb2lab(np.asarray(code, float)[None, None] / 255.0)[0, 0])


def ground() -> str:
    """What the garment stands before."""
    held = st.session_state.get(GROUND, "")
    return held if held in pictures.GROUNDS else "grey"


@whole
def _set_ground() -> None:
    chosen = st.session_state.get("ground-choice") or "grey"
    st.session_state[GROUND] = "" if chosen == "grey" else chosen


def shape_words(name: str, alone: str = "") -> str:
    """A hung shape in words, with the layers it is cut in where these are not all."""
    form, cloth_kind, fullness = shape_heading(name)
    full = f", {fullness:g} to 1" if fullness > 1 else ""
    return f"{form.capitalize()} as {cloth_kind} hangs{full}{alone and f', {alone}'}"


def _tools(now: Making) -> None:
    with st.popover("Picture", help="What it hangs as, the ground, pictures to keep."):
        bound(
            st.selectbox,
            "It hangs as",
            "shape",
            shape_of(now, stack_of(now, table_of(now))),
            with_shape,
            options=shape_names(),
            format_func=shape_words,
            help="Hung once by computation; how your own cloth hangs, only a sewn sample shows.",
        )
        if st.session_state.get("ground-choice") != ground():
            st.session_state["ground-choice"] = ground()
        st.radio(
            "Before a ground that is",
            tuple(pictures.GROUNDS),
            key="ground-choice",
            format_func=pictures.GROUNDS.__getitem__,
            on_change=_set_ground,
        )
        _downloads(now)


def with_shape(now: Making, name: str) -> Making:
    """Another shape to look at it in."""
    return replace(now, shape=name)


def _downloads(now: Making) -> None:
    """Pictures to keep; drawn when asked for."""
    from weavecolor.picture.encode import png_bytes

    option, light = table_of(now), light_of(now)
    asked = pictures.worn(now, option, ground=ground())
    stack = stack_of(now, option)
    st.download_button(
        "As it hangs (PNG)",
        lambda: png_bytes(pictures.still_image(asked, pictures.LARGE_HUNG)),
        "hung.png",
        "image/png",
        on_click="ignore",
        key="keep-hung",
        help="1200 × 1500 pixels, with its colour profile.",
    )
    st.download_button(
        "Close-up (PNG)",
        lambda: png_bytes(pictures.closeup_image(stack, light, *pictures.LARGE_CLOSEUP)),
        "close-up.png",
        "image/png",
        on_click="ignore",
        key="keep-closeup",
        help="1600 × 1200 pixels, with its colour profile.",
    )


@guarded
def _read_off(now: Making) -> None:
    """What was pressed last on the picture, and how the press before differs from it."""
    places = [p for p in st.session_state.get(_PRESSED, []) if p.get("what") == "cloth"]
    if not places:
        return
    import looks  # the optics, which a picture on the disk does not need

    seen = looks.outcome(now, table_of(now))
    told = []
    labs = [lab_of(p["code"]) for p in places]
    L, a, b = labs[-1]
    code = "#" + "".join(f"{int(v):02x}" for v in places[-1]["code"])
    u, v = (float(x) / 10.0 for x in places[-1]["cloth_mm"])
    depth = int(places[-1]["layers"])
    worn = pictures.worn(now, table_of(now))
    laid = len(worn.stack.layers) - (worn.beneath != "none")
    deep = f"{depth} deep" if laid == 1 else f"{depth} times its {laid} layers deep"
    told.append(
        f"Pressed: {colour_words(np.array([L, a, b]))} {code}, L* {L:.0f} a* {a:.0f} b* {b:.0f}, "
        f"as drawn; {deep} there, {abs(u):.0f} cm across the cloth and {abs(v):.0f} cm along "
        f"it. Lying flat it is known to give or take {seen.uncertainty.stated:.1f} (CIEDE2000); "
        "hung, a place is less sure."
    )
    if len(labs) == 2:
        told.append(f"From the place before: {float(ciede2000(labs[0], labs[1])):.1f} CIEDE2000.")
    st.html(
        f'<p class="wc-pressed" role="status"><span class="wc-dot" style="background:{code}">'
        f"</span>{escape(' '.join(told))}</p>"
    )
