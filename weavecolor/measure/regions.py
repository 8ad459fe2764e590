"""Where in a picture the bare paper, the bare card and the swatch lie.

Knows pictures in linear light and their layout on the table; knows nothing of optics. What is
found is a proposal to be drawn over the picture; a box marked by hand always wins.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from weavecolor.errors import InputError
from weavecolor.measure.photograph import LUMINANCE

LABELS = ("paper", "card", "swatch over white", "swatch over black")
Box = tuple[int, int, int, int]
Mask = NDArray[np.bool_]

_LOOK = 360  # pixels on the longer side at which the layout is found


@dataclass(frozen=True, eq=False)
class Region:
    """One labelled part: a box (left, top, right, bottom) inside it and its pixels' mask."""

    label: str
    box: Box
    mask: Mask
    marked: bool = False  # by hand

    def values(self, picture: ArrayLike) -> NDArray[np.float64]:
        """The picture's values inside, shape (n, channels)."""
        left, top, right, bottom = self.box
        mask = self.mask[top:bottom, left:right]
        return np.asarray(picture)[top:bottom, left:right][mask].astype(np.float64)


def box_region(label: str, box: Box, shape: tuple[int, int]) -> Region:
    """A region marked by hand; InputError if it is not inside the picture or under 8 pixels.

    Examples
    --------
    >>> box_region("cloth", (10, 10, 40, 40), (60, 60)).label
    'cloth'
    """
    left, top, right, bottom = (int(round(v)) for v in box)
    left, top = max(left, 0), max(top, 0)
    right, bottom = min(right, shape[1]), min(bottom, shape[0])
    if right - left < 8 or bottom - top < 8:
        raise InputError("the marked box is empty or outside the picture", field=label)
    mask = np.zeros(shape, dtype=bool)
    mask[top:bottom, left:right] = True
    return Region(label, (left, top, right, bottom), mask, True)


def find_regions(
    linear: ArrayLike, marked: Mapping[str, Box] | None = None
) -> dict[str, Region]:
    """Label the parts of a picture of a swatch on paper, on card, or across both.

    Parameters
    ----------
    linear : array (rows, columns, 3)
    marked : mapping of label to (left, top, right, bottom), optional
        Boxes that the user drew; labels of :data:`LABELS`. They replace what would be found.

    Returns those of :data:`LABELS` that are there. Paper is the large, bright, nearly neutral
    part; card the large dark part; the swatch is the rest, and belongs to whichever bare ground
    is nearer. Raises InputError when neither paper nor swatch can be told, or a label is unknown.
    """
    image = np.asarray(linear)
    shape = image.shape[0], image.shape[1]
    marked = dict(marked or {})
    for label in marked:
        if label not in LABELS:
            raise InputError(f"no region called {label!r}; use {', '.join(LABELS)}")
    done = {label: box_region(label, box, shape) for label, box in marked.items()}
    if len(done) == len(LABELS):
        return done
    step = max(1, round(max(shape) / _LOOK))
    h, w = shape[0] // step, shape[1] // step
    small = image[: h * step, : w * step].reshape(h, step, w, step, 3).mean((1, 3))
    small = ndimage.median_filter(small, (5, 5, 1))
    try:
        masks = _layout(small)
    except InputError:
        if done:
            return done
        raise
    for label, mask in masks.items():
        if label in done:
            continue
        inner = _eroded(mask)
        if inner.sum() < 40:
            continue
        rows, columns = np.nonzero(inner)
        full = np.zeros(shape, dtype=bool)
        full[: h * step, : w * step] = np.repeat(np.repeat(inner, step, 0), step, 1)
        if label.startswith("swatch"):
            box = _inner_box(inner)
        else:
            box = (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
        left, top, right, bottom = (int(v) * step for v in box)
        done[label] = Region(label, (left, top, right, bottom), full)
    return done


def _eroded(mask: Mask) -> Mask:
    """Away from edges and shadows: a fortieth of the picture, less for a narrow part."""
    padded = np.pad(mask, 1, mode="edge")
    depth = ndimage.distance_transform_edt(padded)[1:-1, 1:-1]
    margin = min(max(mask.shape) / 40, 0.3 * float(depth.max()))
    return np.asarray((depth > max(1.0, margin)) & mask)


def _inner_box(mask: Mask) -> Box:
    """The largest square about the deepest point of a part, spread while it stays inside."""
    depth = ndimage.distance_transform_cdt(np.pad(mask, 1), "chessboard")[1:-1, 1:-1]
    row, column = np.unravel_index(int(depth.argmax()), depth.shape)
    reach = int(depth[row, column]) - 1
    left, right, top, bottom = column - reach, column + reach + 1, row - reach, row + reach + 1
    while left > 0 and mask[top:bottom, left - 1].all():
        left -= 1
    while right < mask.shape[1] and mask[top:bottom, right].all():
        right += 1
    while top > 0 and mask[top - 1, left:right].all():
        top -= 1
    while bottom < mask.shape[0] and mask[bottom, left:right].all():
        bottom += 1
    return int(left), int(top), int(right), int(bottom)


def _grown(seed: Mask, log: NDArray[np.float64], usable: Mask) -> Mask:
    """The ground about ``seed``: near a quadratic fitted to it in the log of the light."""
    rows, columns = np.indices(seed.shape)
    y, x = rows / seed.shape[0] - 0.5, columns / seed.shape[1] - 0.5
    basis = np.stack([np.ones(seed.shape), x, y, x * x, x * y, y * y], -1)
    mask = seed
    for turn in range(4):
        terms = 3 if turn == 0 else 6
        part = basis[..., :terms]
        fit = np.zeros((6, 3))
        fit[:terms] = np.linalg.lstsq(part[mask], log[mask], rcond=None)[0]
        rest = log - basis @ fit
        rest -= np.median(rest[mask], axis=0)
        spread = 1.4826 * np.median(np.abs(rest[mask]), axis=0)
        mask = (np.abs(rest) < np.maximum(4 * spread, 0.05)).all(-1) & usable
        if mask.sum() < 30:
            return seed
    return _large(mask, 0.004)


def _large(mask: Mask, share: float) -> Mask:
    labels, count = ndimage.label(ndimage.binary_opening(mask, iterations=1))
    if not count:
        return np.zeros_like(mask)
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    return (sizes >= share * mask.size)[labels]


def _layout(small: NDArray[np.float32]) -> dict[str, Mask]:
    light = (small @ LUMINANCE).astype(np.float64)
    log = np.log(np.maximum(small, 2e-3))
    chroma = np.ptp(log, axis=-1)
    bright = light > 0.72 * np.percentile(light, 98)
    base = np.median(chroma[bright])
    flat = ndimage.gaussian_gradient_magnitude(np.log(np.maximum(light, 2e-3)), 1.0) < 0.05
    seed = _large(bright & (np.abs(chroma - base) < 0.15) & flat, 0.004)
    if not seed.any():
        raise InputError(
            "no bare white paper is found; show a broad band of it beside the swatch, or mark it"
        )
    labels, _ = ndimage.label(seed)
    at_edge = np.isin(labels, _touching(labels)) & seed
    # bare paper runs to the picture's edge; a pale swatch lies inside it
    paper = _grown(at_edge if at_edge.any() else seed, log, np.ones_like(seed))
    level = float(np.median(light[paper]))
    dark_seed = _large((light < 0.13 * level) & flat & ~paper, 0.004)
    card = np.zeros_like(paper)
    if dark_seed.any():
        labels, _ = ndimage.label(dark_seed)
        sizes = np.bincount(labels.ravel())
        sizes[0] = 0
        touching = np.zeros(sizes.size, dtype=bool)
        touching[_touching(labels)] = True
        # bare card runs to the picture's edge; a dark swatch lies inside it
        chosen = int(np.argmax(sizes * np.where(touching, 1.0, 0.02)))
        if touching[chosen]:
            card = _grown_card(labels == chosen, light)
    rest = ~ndimage.binary_dilation(paper | card, iterations=1)
    swatch = _large(ndimage.binary_fill_holes(rest), 0.01)
    found = {"paper": paper}
    if card.any():
        found["card"] = card
    if not swatch.any():
        return found
    labels, count = ndimage.label(swatch)
    # the swatch is what lies in grounds, not the table beyond the paper's far edge
    scores = []
    for k in range(1, count + 1):
        part = labels == k
        edge = part[0].sum() + part[-1].sum() + part[:, 0].sum() + part[:, -1].sum()
        scores.append(float(part.sum()) * (1.0 if edge < 0.15 * np.sqrt(part.sum()) else 0.05))
    keep = 1 + np.nonzero(np.array(scores) > 0.25 * max(scores))[0]
    swatch = np.isin(labels, keep)
    to_paper = ndimage.distance_transform_edt(~paper)
    if not card.any():
        found["swatch over white"] = swatch
        return found
    to_card = ndimage.distance_transform_edt(~card)
    gap = max(2.0, max(small.shape[:2]) / 60)
    nearer = to_card - to_paper
    over_white, over_black = swatch & (nearer > gap), swatch & (nearer < -gap)
    for label, part in (("swatch over white", over_white), ("swatch over black", over_black)):
        part = _large(part, 0.004)
        if part.any():
            found[label] = part
    return found


def _touching(labels: NDArray[np.signedinteger]) -> NDArray[np.signedinteger]:
    """Labels that reach the picture's edge."""
    return np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))


def _grown_card(seed: Mask, light: NDArray[np.float64]) -> Mask:
    values = light[seed]
    middle = np.median(values)
    spread = 1.4826 * np.median(np.abs(values - middle))
    near = np.abs(light - middle) < max(4 * spread, 0.25 * middle)
    labels, _ = ndimage.label(near | seed)
    return np.asarray(np.isin(labels, np.unique(labels[seed])) & (near | seed))
