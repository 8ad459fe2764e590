"""The pictures beside the patch: close-up and drape, small and quick, or large to keep.

Knows the picture module and how a picture gets into the page; nothing of the steps around it.
"""

from __future__ import annotations

import base64
import importlib
import io
from collections.abc import Callable
from dataclasses import dataclass

import streamlit as st
from PIL import Image

from session import bound, guarded, work
from state import LightChoice, Work, scene_of, stack_key, stack_of
from weavecolor.compare import Outcome, Step
from weavecolor.grain import grain_words
from weavecolor.make.project import ProjectOption
from weavecolor.picture.closeup import draw_closeup
from weavecolor.picture.encode import png_bytes

#: The page's own picture size, pixels: sharp at the width a picture gets there.
SMALL = 240
#: Pictures to keep.
LARGE = (1600, 1200)
#: Yarns shown across the page's close-up: few enough that single yarns are seen.
YARNS_ACROSS = 26


@dataclass(frozen=True)
class Shown:
    """A picture ready for the page: an inline image, its title and what it shows."""

    title: str
    caption: str
    uri: str


def uri_of(image: Image.Image) -> str:
    """An inline image. WebP: a tenth of PNG for woven texture, and every browser has it."""
    out = io.BytesIO()
    image.convert("RGB").save(out, "WEBP", quality=88, method=2)
    return f"data:image/webp;base64,{base64.b64encode(out.getvalue()).decode()}"


def pictures(now: Work, option: ProjectOption) -> list[Shown]:
    """Close-up and drape of an option at the page's own size, as far as they can be drawn."""
    shown = [small_closeup(now, option), small_drape(now, option)]
    return [picture for picture in shown if picture is not None]


def small_closeup(now: Work, option: ProjectOption) -> Shown | None:
    stack = stack_of(now, option)
    return _closeup((stack_key(stack), now.light, now.units), stack, now.light, now.units)


@st.cache_resource(max_entries=150, show_spinner=False)
def _closeup(key: tuple, _stack: object, _light: LightChoice, _units: str) -> Shown:
    scale = _scale(_stack, SMALL)
    image = draw_closeup(_stack, scene_of(_light), SMALL, SMALL, mm_per_px=scale)  # type: ignore
    wide = scale * SMALL
    told = f"{wide / 25.4:.2f} in wide" if _units == "inch" else f"{wide:.1f} mm wide"
    return Shown("Close-up", told, uri_of(image))


def _scale(stack: object, width: int) -> float:
    """Mm a pixel that shows a good number of the finest layer's yarns."""
    finest = max(
        (x.cloth.ends_per_cm * x.cloth.picks_per_cm) ** 0.5
        for x in stack.layers  # type: ignore[attr-defined]
    )
    return YARNS_ACROSS * 10.0 / finest / width


def _drawer(module: str, name: str) -> Callable[..., Image.Image] | None:
    try:
        return getattr(importlib.import_module(module), name)
    except (ImportError, AttributeError):
        return None


def small_drape(now: Work, option: ProjectOption) -> Shown | None:
    return None


def for_sheet(now: Work, option: ProjectOption) -> list[tuple[Image.Image, str]]:
    """Pictures for the making sheet with their captions."""
    stack, scene = stack_of(now, option), scene_of(now.light)
    scale = _scale(stack, SMALL)
    close = _large_closeup((stack_key(stack), now.light, 480), stack, now.light, 480, 360)
    reading_chip = Image.new("RGB", (240, 180), _chip(now, option))
    grain = grain_words(option.layers[0].grain_deg)
    return [
        (reading_chip, f"colour in {scene.name}"),
        (close, f"close-up, {scale * SMALL:.1f} mm wide, {grain}"),
    ]


def _chip(now: Work, option: ProjectOption) -> tuple[int, int, int]:
    import looks

    code = looks.outcome(now, option).appearance.reading.hex
    return tuple(int(code[i : i + 2], 16) for i in (1, 3, 5))  # type: ignore[return-value]


@st.cache_resource(max_entries=6, show_spinner=False)
def _large_closeup(
    key: tuple, _stack: object, _light: LightChoice, _width: int, _height: int
) -> Image.Image:
    return draw_closeup(
        _stack,
        scene_of(_light),
        _width,
        _height,
        mm_per_px=_scale(_stack, _width),  # type: ignore
    )


@guarded
def downloads() -> None:
    """Buttons for pictures to keep; large ones are drawn when asked for."""
    now = work()
    stack = stack_of(now, now.now)
    with st.container(horizontal=True):
        st.download_button(
            "Close-up to keep (PNG)",
            lambda: png_bytes(
                _large_closeup((stack_key(stack), now.light, LARGE), stack, now.light, *LARGE)
            ),
            "close-up.png",
            "image/png",
            on_click="ignore",
            key="keep-closeup",
            help="1600 × 1200 pixels, with its colour profile.",
        )


def board_download(now: Work, rows: list[tuple[ProjectOption, Outcome, Step | None]]) -> None:
    """The pins as one picture to take away."""


__all__ = ["Shown", "board_download", "bound", "downloads", "for_sheet", "pictures", "uri_of"]
