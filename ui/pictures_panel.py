"""The pictures beside the patch: close-up and drape, small and quick, or large to keep.

Knows the picture module and how a picture gets into the page; nothing of the steps around it.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import streamlit as st
from PIL import Image, WebPImagePlugin  # noqa: F401  (named, the others need not be loaded)

import drawing
from session import bound, guarded, work
from state import light_of, short_words, stack_key, stack_of, table_of
from weavecolor.making.answers import form_of
from weavecolor.making.lightchoice import LightChoice, light_words, scene_of
from weavecolor.making.model import Making, MakingOption
from weavecolor.optics.stack import Stack
from weavecolor.picture.closeup import closeup_scale, draw_closeup
from weavecolor.picture.composite import CLOSEUP, Choice, draw_sheet
from weavecolor.picture.drape import draw_drape
from weavecolor.picture.encode import png_bytes
from weavecolor.picture.folds import form_names

#: The page's own picture size, pixels: sharp at the width a picture gets there.
SMALL = 240
#: Pictures to keep.
LARGE, LARGE_DRAPE = (1600, 1200), (900, 1200)
MOST_ON_SHEET = 12


@dataclass(frozen=True)
class Shown:
    """A picture ready for the page: an inline image, its title and what it shows."""

    title: str
    caption: str
    uri: str


def uri_of(image: Image.Image) -> str:
    """An inline image. WebP: a tenth of PNG for woven texture, and every browser has it."""
    out = io.BytesIO()
    image.convert("RGB").save(out, "WEBP", quality=86, method=1)
    return f"data:image/webp;base64,{base64.b64encode(out.getvalue()).decode()}"


def small_closeup(now: Making, option: MakingOption) -> Shown:
    stack = stack_of(now, option)
    return _closeup((stack_key(stack), light_of(now), now.units), stack, light_of(now), now.units)


@st.cache_resource(max_entries=150, show_spinner=False)
def _closeup(key: tuple[Any, ...], _stack: Stack, _light: LightChoice, _units: str) -> Shown:
    scale = closeup_scale(_stack, SMALL)
    image = draw_closeup(_stack, scene_of(_light), SMALL, SMALL, mm_per_px=scale)
    wide = scale * SMALL
    told = f"{wide / 25.4:.2f} in wide" if _units == "inch" else f"{wide:.1f} mm wide"
    return Shown("Close-up", told, uri_of(image))


def small_drape(now: Making, option: MakingOption) -> Iterator[Shown | None]:
    """None while the drape is being drawn aside, at last the picture."""
    stack, light, form = stack_of(now, option), light_of(now), form_of(now)
    return drawing.drawn(
        ("drape", stack_key(stack), light, form), lambda: _drape(stack, light, form)
    )


def _drape(stack: Stack, light: LightChoice, form: str) -> Shown:
    image = draw_drape(stack, scene_of(light), form, SMALL, SMALL)
    return Shown("Drape", form, uri_of(image))


@st.cache_resource(max_entries=6, show_spinner=False)
def _large_closeup(
    key: tuple[Any, ...], _stack: Stack, _light: LightChoice, _width: int, _height: int
) -> Image.Image:
    return draw_closeup(
        _stack,
        scene_of(_light),
        _width,
        _height,
        mm_per_px=closeup_scale(_stack, _width),
    )


@st.cache_resource(max_entries=6, show_spinner=False)
def _large_drape(
    key: tuple[Any, ...], _stack: Stack, _light: LightChoice, _form: str, _width: int, _height: int
) -> Image.Image:
    return draw_drape(_stack, scene_of(_light), _form, _width, _height)


def _set_drape(now: Making, form: str) -> Making:
    return replace(now, form=form)


@guarded
def form() -> None:
    """In what form the drape is drawn."""
    bound(
        st.selectbox,
        "The drape is drawn as",
        "drape",
        form_of(work()),
        _set_drape,
        options=form_names(),
        help="How the folds fall is an example; the colours are computed for each fold.",
    )


@guarded
def downloads() -> None:
    """Buttons for pictures to keep; large ones are drawn when asked for."""
    now = work()
    stack, light = stack_of(now, table_of(now)), light_of(now)
    with st.container(horizontal=True):
        st.download_button(
            "Close-up to keep (PNG)",
            lambda: png_bytes(
                _large_closeup(
                    (stack_key(stack), light_of(now), LARGE), stack, light_of(now), *LARGE
                )
            ),
            "close-up.png",
            "image/png",
            on_click="ignore",
            key="keep-closeup",
            help="1600 × 1200 pixels, with its colour profile.",
        )
        st.download_button(
            "Drape to keep (PNG)",
            lambda: png_bytes(
                _large_drape(
                    (stack_key(stack), light, form_of(now), LARGE_DRAPE),
                    stack,
                    light,
                    form_of(now),
                    *LARGE_DRAPE,
                )
            ),
            "drape.png",
            "image/png",
            on_click="ignore",
            key="keep-drape",
            help="900 × 1200 pixels, with its colour profile.",
        )


def board_download(now: Making) -> None:
    """The pins as one picture to take away: close-ups at one scale, in the light of the work."""
    few = now.options[:MOST_ON_SHEET]
    if len(few) < 2:
        return
    choices = [
        Choice(f"{option.name}  {short_words(now, option, True)}", stack_of(now, option))
        for option in few
    ]
    light, title = light_of(now), f"{now.title or 'Pins'}: {light_words(light_of(now))}"
    st.download_button(
        "Board as a picture (PNG)",
        lambda: png_bytes(draw_sheet(choices, scene_of(light), CLOSEUP, "telephone", title=title)),
        "board.png",
        "image/png",
        on_click="ignore",
        key="board-png",
        help="Close-ups of at most twelve pins at one scale; drawn when asked for.",
    )
