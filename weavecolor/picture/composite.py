"""Sheets of options: one to twelve stacks in one picture, same form, same light, same exposure.

Knows how options are set out and labelled for print and for a telephone; the pictures come from the
other modules. The ground is neutral, and five neutral greys of known lightness stand by.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from weavecolor.colour.colorimetry import icc_profile
from weavecolor.errors import InputError, capital
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Stack
from weavecolor.picture.closeup import closeup_scale, draw_closeup
from weavecolor.picture.encode import AS_SEEN, Seeing, exposure_for, on_screen, to_image
from weavecolor.picture.forms import FORMS, form_names, shape_called
from weavecolor.picture.hung import ASIDE, draw_hung, shape_names
from weavecolor.picture.lettering import QUIET, grey_reference, sheet, write, write_lines
from weavecolor.scene.folds import hung
from weavecolor.scene.scene import Scene

Progress = Callable[[float], None]

CLOSEUP, FLAT = "close-up", "flat colour"


@dataclass(frozen=True)
class Page:
    """A sheet's size in pixels, the width of its margin and its plain lettering, and dots an inch
    where it is for print."""

    width: int
    height: int
    margin: int
    lettering: float
    dpi: int | None = None


#: A4 is 210 x 297 mm (ISO 216), at 300 dots an inch.
PAGES: dict[str, Page] = {
    "A4": Page(2480, 3508, 150, 40.0, 300),
    "A4 landscape": Page(3508, 2480, 150, 40.0, 300),
    "telephone": Page(1080, 2340, 48, 34.0),
}


@dataclass(frozen=True, eq=False)
class Choice:
    """One option: what it is, in words, and its stack."""

    label: str
    stack: Stack


def kinds() -> tuple[str, ...]:
    """Kinds of picture a sheet can show: what cloth is hung as, in words, the close-up, the flat
    colour, and the hung shapes by name.

    Examples
    --------
    >>> "gathered skirt" in kinds()
    True
    """
    return (*form_names(), CLOSEUP, FLAT, *shape_names())


def draw_sheet(
    options: Sequence[Choice],
    scene: Scene,
    kind: str = "gathered skirt",
    page: str = "A4",
    *,
    title: str = "",
    shared: str = "",
    seeing: Seeing = AS_SEEN,
    observer: str = "2",
    progress: Progress | None = None,
) -> Image.Image:
    """The options in one picture.

    Parameters
    ----------
    options : 1 to 12 Choice, with labels that differ
    scene : Scene
    kind : one of ``kinds()``; close-ups all have one scale
    page : "A4", "A4 landscape" (300 dots an inch) or "telephone"
    title : default names the picture
    shared : what no label tells since it is the same for all, such as the cloth
    seeing : Seeing
    observer : "2" or "10"
    progress : callable, optional
        Told the share that is done, 0-1.

    Returns
    -------
    PIL.Image.Image
        RGB; ``info`` also has "dpi" for print (save with ``encode.png_bytes``).

    Raises InputError for anything else.
    """
    if not 1 <= len(options) <= 12:
        raise InputError(f"a sheet shows 1 to 12 options, got {len(options)}")
    if page not in PAGES:
        raise InputError(f"no page called {page!r}; use {', '.join(PAGES)}")
    if kind not in kinds():
        raise InputError(f"no picture called {kind!r}; use {', '.join(kinds())}")
    if len({o.label.strip() for o in options}) < len(options) or not all(
        o.label.strip() for o in options
    ):
        raise InputError("every option needs a label of its own")
    paper = PAGES[page]
    image, draw = sheet(paper.width, paper.height)
    text = paper.lettering
    inner = paper.width - 2 * paper.margin
    y = write_lines(
        draw, paper.margin, paper.margin, title or capital(kind), inner,
        text * 1.7, bold=True, most=2,
    )  # fmt: skip
    seen = "as seen once used to the light" if seeing.adapt else "with the cast of the light"
    told = f"{capital(shared)}. " if shared else ""
    told += f"In the light of {scene.name}, {seen}; one exposure for all."
    flat = kind in (CLOSEUP, FLAT) or bool(scene.behind)
    met = scene if flat else hung(scene)  # as cloth in the pictures meets it
    if kind != FLAT:
        told += f" Words and squares: the mean colour {'held flat' if flat else 'of its folds'}."
    y = write_lines(draw, paper.margin, y + 0.2 * text, told, inner, text, grey=QUIET, most=5)
    top = y + 0.8 * text
    foot = paper.height - paper.margin - 5.6 * text
    columns, cell_w, cell_h, below = _grid(len(options), kind, inner, foot - top, text)
    if paper.dpi is None:  # a screen's page may end where its pictures do
        foot = min(foot, top + cell_h * -(-len(options) // columns))
        image = image.crop((0, 0, paper.width, round(foot + 5.6 * text + paper.margin)))
        draw = ImageDraw.Draw(image)
    gap = text
    size = (int(cell_w - gap), int(cell_h - below))
    notes: list[str] = []
    outside = 0.0
    scale = _common_scale(options, size[0])
    for n, option in enumerate(options):
        picture = _picture(option.stack, scene, kind, size, scale, seeing, observer)
        outside = max(outside, picture.info["out_of_range"])
        notes += picture.info["notes"]
        row, column = divmod(n, columns)
        x = paper.margin + column * cell_w + 0.5 * gap
        at = top + row * cell_h
        image.paste(picture, (round(x), round(at)))
        words = appearance(option.stack, met, observer).reading.words
        wide, under = size[0], at + size[1] + 0.25 * text
        if kind != FLAT:  # its patch stands beside its words
            patch = _picture(option.stack, met, FLAT, _patch(text), scale, seeing, observer)
            wide -= round(patch.width + 0.5 * text)
            image.paste(patch, (round(x) + size[0] - patch.width, round(under)))
        end = write_lines(draw, x, under, option.label, wide, text, bold=True, most=2)
        write_lines(draw, x, end, words, wide, 0.85 * text, grey=QUIET, most=1)
        if progress:
            progress((n + 1) / len(options))
    _foot(draw, paper, foot, inner, notes)
    image.info["icc_profile"] = icc_profile(seeing.space)
    image.info["out_of_range"] = outside
    image.info["notes"] = tuple(dict.fromkeys(notes))
    if paper.dpi:
        image.info["dpi"] = (paper.dpi, paper.dpi)
    return image


def _patch(text: float) -> tuple[int, int]:
    """Size of the flat colour beside the words."""
    return round(3.0 * text), round(2.4 * text)


def _proportion(kind: str) -> float:
    """Width over height that suits a kind of picture."""
    return 0.8 if kind in FORMS or kind in shape_names() else 1.25


def _grid(
    count: int, kind: str, width: float, height: float, text: float
) -> tuple[int, float, float, float]:
    """Columns, cell size and room for the label that give the largest pictures."""
    below = 4.4 * text
    best = (0.0, 1)
    for columns in range(1, min(count, 6) + 1):
        rows = -(-count // columns)
        w = width / columns - text
        h = height / rows - below
        fits = min(w, h * _proportion(kind))
        if w >= 6.5 * text and fits > best[0]:
            best = (fits, columns)
    columns = best[1]
    rows = -(-count // columns)
    cell_h = min(height / rows, (width / columns - text) / _proportion(kind) * 1.12 + below)
    if cell_h - below < 2 * text:
        raise InputError("so many options do not fit that page; use a larger one or fewer")
    return columns, width / columns, cell_h, below


def _common_scale(options: Sequence[Choice], width: int) -> float:
    """One scale for all close-ups: that of the coarsest cloth."""
    return max(closeup_scale(o.stack, width) for o in options if o.stack.layers)


def _picture(
    stack: Stack, scene: Scene, kind: str, size: tuple[int, int], scale: float, seeing: Seeing,
    observer: str,
) -> Image.Image:  # fmt: skip
    if kind == CLOSEUP:
        return draw_closeup(stack, scene, *size, scale, seeing=seeing, observer=observer)
    if kind == FLAT:
        linear = on_screen(appearance(stack, scene, observer).radiance, scene, seeing, observer)
        linear = linear * exposure_for(scene, seeing)
        flat = np.broadcast_to(linear.astype(np.float32), (size[1], size[0], 3))
        return to_image(flat, seeing)
    return draw_hung(
        stack, scene, shape_called(kind, stack), *size, sight=ASIDE, behind=stack.backing,
        seeing=seeing, observer=observer,
    )  # fmt: skip


def _foot(
    draw: ImageDraw.ImageDraw, paper: Page, y: float, inner: float, notes: Sequence[str]
) -> None:
    text = paper.lettering
    wide = min(0.36 * inner, 15 * text)
    y += 0.9 * text
    grey_reference(draw, paper.margin, y, wide, 2.0 * text, 0.75 * text)
    x = paper.margin + wide + text
    told = "Neutral greys of that L*. If they look tinted, so does everything else."
    beyond = [n for n in notes if "beyond what" in n]
    if beyond:
        told += " Some colours are beyond this screen: the cloth is brighter or more vivid there."
    write_lines(draw, x, y - 0.1 * text, told, paper.margin + inner - x, 0.78 * text, grey=QUIET,
                most=4)  # fmt: skip


__all__ = ["CLOSEUP", "FLAT", "PAGES", "Choice", "draw_sheet", "kinds", "write"]
