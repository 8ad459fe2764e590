"""A set of photographs of one swatch, made into what a fit can use.

Knows which picture shows what (the instruction card's numbers); knows nothing of files, of
regions' finding or of the fit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.errors import InputError
from weavecolor.measure.grid import Grid, read_grid
from weavecolor.measure.neutral import illumination, reflectance_picture
from weavecolor.measure.observations import (
    Seen,
    Thread,
    own_uncertainty,
    pair_seen,
    seen_colour,
    thread_seen,
)
from weavecolor.measure.regions import Box, find_regions
from weavecolor.measure.swatchpair import SwatchPair, fringe_colour, measure_pair
from weavecolor.scene.places import PHOTO_SCENE
from weavecolor.scene.scene import Scene
from weavecolor.textile.yarn import Yarn

Marks = Mapping[str, Box]

#: What the picture is called that shows the swatch over white again, turned.
TURNED = "over white, turned a quarter"
#: What a box round bare thread is called.
THREADS = {"warp": "warp thread", "weft": "weft thread"}


@dataclass(frozen=True, eq=False)
class Shots:
    """What the pictures say: the pair, each observation, and cautions for the user."""

    pair: SwatchPair
    seen: tuple[Seen, ...]
    threads: tuple[Thread, ...]
    cautions: tuple[str, ...]


def look(
    white: ArrayLike,
    black: ArrayLike | None = None,
    turned: ArrayLike | None = None,
    frayed: ArrayLike | None = None,
    frayed_black: ArrayLike | None = None,
    *,
    marks: Mapping[str, Marks] | None = None,
    paper: str | float | tuple[float, float] = "white paper",
    light: Scene | str = PHOTO_SCENE,
) -> Shots:
    """Measure every picture of a set.

    Parameters
    ----------
    white, black : arrays (rows, columns, 3), linear light
        The swatch over paper and over card; one picture across both if ``black`` is left out.
    turned : array, optional
        Picture 1 again with the swatch turned a quarter, the light where it was.
    frayed, frayed_black : arrays, optional
        Bare thread on paper, and on card; each needs its boxes in ``marks``.
    marks : mapping of picture ("white", "black", "turned", "frayed", "frayed black") to boxes
        Boxes by region label (``regions.LABELS``), and "warp thread", "weft thread".
    paper, light
        The paper (see ``neutral``); the scene of the photographs, warp down the scene's azimuth 0
        in the first picture.

    Raises
    ------
    InputError
        As ``swatchpair.measure_pair``; frayed pictures without boxes; a picture without colour, or
        given twice.
    """
    _in_colour({"over white": white, "over black": black, TURNED: turned, "frayed": frayed})
    if turned is not None and np.array_equal(np.asarray(turned), np.asarray(white)):
        raise InputError("is the very picture over white; turn the swatch and take it again",
                         field=f"picture {TURNED}")  # fmt: skip
    marked = dict(marks or {})
    pair = measure_pair(
        white, black, marked_white=marked.get("white"), marked_black=marked.get("black"),
        paper=paper,
    )  # fmt: skip
    seen = pair_seen(pair, light=light)
    cautions = list(pair.cautions)
    if turned is not None:
        try:
            again = measure_pair(
                turned,
                white if black is None else black,
                marked_white=marked.get("turned"),
                marked_black=marked.get("white" if black is None else "black"),
                paper=paper,
            )
        except InputError as error:  # the other picture was read before, so this one is wrong
            raise InputError(error.what, field=f"picture {TURNED}") from None
        wide = again.paper_uncertainty / again.paper
        own = own_uncertainty(again.over_white, wide)
        seen.append(
            seen_colour(TURNED, again.over_white.linear, own, seen[0].backing, grain_deg=90.0,
                        light=light, paper_error=wide)
        )  # fmt: skip
        cautions += [c for c in again.cautions if c not in cautions]
    threads: list[Thread] = []
    if frayed is not None:
        flat = _even(frayed, marked.get("frayed", {}), paper, "frayed")
        dark = None
        if frayed_black is not None:
            dark = _even(frayed_black, marked.get("frayed black", {}), paper, "frayed black")
        threads, told = _threads(flat, dark, marked, pair.paper, pair.card_light)
        cautions += told
    return Shots(pair, tuple(seen), tuple(threads), tuple(cautions))


def look_wound(
    yarn: Yarn,
    threads_per_cm: float,
    white: ArrayLike,
    black: ArrayLike | None = None,
    *,
    marks: Mapping[str, Marks] | None = None,
    paper: str | float | tuple[float, float] = "white paper",
) -> tuple[Grid, SwatchPair]:
    """A wound card: what the thread's photographs say of its yarn, and the pair they make.

    ``white``, ``black``: the wound white card on paper, and the wound black card with a strip of
    paper in view, linear light (rows, columns, 3); one picture with both if ``black`` is left out.
    ``yarn`` and ``threads_per_cm`` as in ``grid.read_grid``; ``marks`` by "white" and "black";
    ``paper``: its kind, or its Y or (Y, standard uncertainty), 0 to 1. Raises InputError as
    ``swatchpair.measure_pair`` and ``grid.read_grid``, and for a picture without colour.
    """
    _in_colour({"over white": white, "over black": black})
    marked = dict(marks or {})
    pair = measure_pair(
        white, black, marked_white=marked.get("white"),
        marked_black=None if black is None else marked.get("black", {}), paper=paper,
    )  # fmt: skip
    seen = [
        (pair.paper, pair.over_white.linear, pair.over_white.uncertainty),
        (float(pair.card.linear.mean()), pair.over_black.linear, pair.over_black.uncertainty),
    ]
    layer = (pair.R, pair.R_uncertainty, pair.T, pair.T_uncertainty)
    return read_grid(yarn, threads_per_cm, seen, layer), pair


def _in_colour(pictures: Mapping[str, ArrayLike | None]) -> None:
    """Refuses a picture without colour."""
    for name, picture in pictures.items():
        image = np.zeros(()) if picture is None else np.asarray(picture)
        if image.ndim == 3 and (image == image[..., :1]).all():
            raise InputError("is in black and white; take it in colour", field=f"picture {name}")


def _even(
    picture: ArrayLike, marked: Marks, paper: str | float | tuple[float, float], which: str
) -> NDArray[np.float32]:
    """The picture as reflectance."""
    image = np.asarray(picture, dtype=np.float32)
    own = {label: box for label, box in marked.items() if label not in THREADS.values()}
    try:
        regions = find_regions(image, own)
        if "paper" not in regions:
            raise InputError("no bare white paper is found; show some beside the threads")
        bright = (image > 0.985).any(axis=2)
        even = [regions["card"].mask] if "card" in regions else []
        light = illumination(image, regions["paper"].mask & ~bright, paper, even=even)
    except InputError as error:
        raise error.at(field=f"picture {which}") from None
    return reflectance_picture(image, light)


def _threads(
    flat: NDArray[np.float32],
    dark: NDArray[np.float32] | None,
    marked: Mapping[str, Marks],
    paper: float,
    card: float,
) -> tuple[list[Thread], list[str]]:
    out, cautions = [], []
    for system, label in THREADS.items():
        box = marked.get("frayed", {}).get(label)
        if box is None:
            continue
        box_black = marked.get("frayed black", {}).get(label, box)
        colour, grounds = None, [paper]
        if dark is not None:
            try:
                colour = fringe_colour(
                    flat, box, dark, box_black, ground_white=paper, ground_black=np.full(3, card)
                )
                grounds = [paper, card]
            except InputError as error:
                cautions.append(f"{label} on black: {error.what}; taken from white alone")
        if colour is None:
            colour = fringe_colour(flat, box, ground_white=paper)
        out.append(thread_seen(system, colour, grounds=grounds))
    if not out:
        raise InputError(
            'mark the bare threads: a box called "warp thread", "weft thread" or both',
            field="picture frayed",
        )
    return out, cautions
