"""What uploads say about a cloth: pictures read, regions and threads drawn over them.

Knows the measuring module and pictures; nothing of widgets or of the session. Uploads stay in
memory and are never written anywhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from weavecolor.colour.screen import encoded
from weavecolor.measure.photograph import Photograph, read_photograph
from weavecolor.measure.regions import Box
from weavecolor.measure.ruler import Scale, find_ruler, scale_from_length, scale_from_ruler
from weavecolor.measure.shots import TURNED, Shots, look
from weavecolor.measure.threads import ThreadCount, count_threads
from weavecolor.scene.places import scene

#: Pictures of the set: key, and what it shows; the first two are enough to begin with.
PICTURES = {
    "white": "1 Over white paper",
    "black": "2 Over black card, paper in view",
    "frayed": "3 Frayed edges on paper",
    "frayed black": "3 Frayed edges on card",
    "turned": "5 As 1, swatch turned a quarter",
}
#: What a complaint calls each of them.
CALLED = {"white": "over white", "black": "over black", "frayed": "frayed",
          "frayed black": "frayed black", "turned": TURNED}  # fmt: skip
#: Pictures that can be read.
KINDS = ["jpg", "jpeg", "heic", "heif", "png", "tif", "tiff", "webp"]
#: Most pixels measured: a larger picture is read reduced.
MOST_JPEG, MOST_OTHER, MOST_CLOSEUP = 3e6, 12e6, 13e6
OVERLAY = 560  # pixels across
#: How well a picture's width is known, one standard uncertainty: told to the nearest half mm.
WIDTH_TOLD_MM = 0.5 / 12**0.5
#: Every how many threads a line is drawn over the close-up.
EVERY = 5

Percent = tuple[int, int, int, int]


@dataclass(frozen=True)
class Mark:
    """A region marked by hand: picture, label, and box in per cent of the picture."""

    picture: str
    label: str
    box: Percent


def read(data: bytes, name: str, most: float | None = None) -> Photograph:
    """An uploaded picture's ``data`` in linear light, called ``name``, reduced to ``most`` pixels
    (None: the usual of its kind). Raises InputError as ``read_photograph``."""
    if most is None:
        most = MOST_JPEG if data[:2] == b"\xff\xd8" else MOST_OTHER
    return read_photograph(data, most, name=name)


def box_in(percent: Percent, shape: tuple[int, ...]) -> Box:
    """A box in per cent (left, top, right, bottom) as pixels of a picture of that shape."""
    rows, columns = shape[0], shape[1]
    left, top, right, bottom = percent
    return (
        round(left * columns / 100),
        round(top * rows / 100),
        round(right * columns / 100),
        round(bottom * rows / 100),
    )


def look_at(
    pictures: Mapping[str, Photograph], marks: tuple[Mark, ...], place: str, paper: float | None
) -> Shots:
    """What the set of ``pictures`` says, with the ``marks`` made by hand, in the light of
    ``place``; ``paper``: its reflectance, None where nobody knows it. Raises InputError as
    ``measure.shots.look``."""
    boxes: dict[str, dict[str, Box]] = {}
    for mark in marks:
        if mark.picture in pictures:
            shape = pictures[mark.picture].linear.shape
            boxes.setdefault(mark.picture, {})[mark.label] = box_in(mark.box, shape)
    linear = {key: picture.linear for key, picture in pictures.items()}
    return look(
        linear["white"],
        linear.get("black"),
        linear.get("turned"),
        linear.get("frayed"),
        linear.get("frayed black"),
        marks=boxes,
        paper="white paper" if paper is None else paper,
        light=scene(place),
    )


def count_in(
    picture: Photograph,
    width_mm: float | None,
    ruler: Percent | None,
    warp: str,
    region: Percent | None,
) -> tuple[ThreadCount, Scale]:
    """Threads in a close-up ``picture`` whose scale is told by its width, ``width_mm``, by the box
    of a ``ruler`` in it, or by the ruler that is found there; ``warp``: which way it runs, "up" or
    "across"; ``region``: the box to count in, None for all. Raises InputError as
    ``count_threads`` and ``find_ruler``."""
    rows, columns = picture.linear.shape[:2]
    part = None if region is None else box_in(region, picture.linear.shape)
    if width_mm is not None:
        scale = scale_from_length((0.0, rows / 2), (float(columns), rows / 2), width_mm)
        unsure = float(np.hypot(scale.relative_uncertainty, WIDTH_TOLD_MM / width_mm))
        scale = Scale(scale.pixels_per_mm, unsure)
    elif ruler is not None:
        scale = scale_from_ruler(picture.linear, box_in(ruler, picture.linear.shape))
    else:
        found = find_ruler(picture.linear, part)
        scale, part = found.scale, found.before
    count = count_threads(
        picture.linear,
        scale.pixels_per_mm,
        scale_uncertainty=min(scale.relative_uncertainty, 0.2),
        region=part,
        warp_direction=warp,
    )
    return count, scale


def shown(linear: np.ndarray, most: int = OVERLAY) -> tuple[Image.Image, float]:
    """The picture for the screen, and its pixels per pixel of ``linear``."""
    step = max(1, linear.shape[1] // (2 * most))
    codes = np.rint(255.0 * np.clip(encoded(np.clip(linear[::step, ::step], 0.0, 1.0)), 0.0, 1.0))
    image = Image.fromarray(codes.astype(np.uint8))
    factor = most / image.width
    size = (most, max(1, round(image.height * factor)))
    return image.resize(size, Image.Resampling.LANCZOS), most / linear.shape[1]


def boxed(linear: np.ndarray, boxes: Mapping[str, tuple[Box, bool]]) -> Image.Image:
    """The picture with labelled boxes: (box, marked by hand) by label."""
    image, factor = shown(linear)
    draw = ImageDraw.Draw(image)
    for label, (box, by_hand) in boxes.items():
        left, top, right, bottom = (round(v * factor) for v in box)
        at = (left, top, right, bottom)
        draw.rectangle(at, outline="white", width=5)
        draw.rectangle(at, outline="#1d5566" if not by_hand else "#9a4a12", width=3)
        text = label + (" (marked)" if by_hand else "")
        room = image.width - draw.textlength(text, font_size=24) - 6
        place = (max(0, min(at[0] + 5, room)), at[1] + 4)
        draw.rectangle(draw.textbbox(place, text, font_size=24), fill="white")
        draw.text(place, text, fill="#221f1a", font_size=24)
    return image


def threaded(linear: np.ndarray, count: ThreadCount) -> Image.Image:
    """A part of the close-up with a line along every fifth thread that was counted."""
    left, top, right, bottom = count.box
    wave = max(np.hypot(*count.warp_frequency), np.hypot(*count.weft_frequency))
    half = int(min(max(20.0 / wave, 60.0), (right - left) / 2, (bottom - top) / 2))
    cx = int(np.clip(count.centre[0], left + half, right - half))
    cy = int(np.clip(count.centre[1], top + half, bottom - half))
    part = linear[cy - half : cy + half, cx - half : cx + half]
    image, factor = shown(part / max(float(np.percentile(part, 99)), 1e-6))
    draw = ImageDraw.Draw(image)
    for frequency, ink in ((count.warp_frequency, "#ffd24a"), (count.weft_frequency, "#5ad1ff")):
        fx, fy = frequency
        size = float(np.hypot(fx, fy))
        if size <= 0:
            continue
        across, along = np.array([fx, fy]) / size, np.array([-fy, fx]) / size
        reach = int(2 * half * size / EVERY) + 1
        for k in range(-reach, reach + 1):
            foot = np.array([half, half]) + across * (k * EVERY / size)
            ends = [tuple((foot + s * along * 3 * half) * factor) for s in (-1, 1)]
            draw.line(ends, fill="#221f1a", width=4)
            draw.line(ends, fill=ink, width=2)
    return image
