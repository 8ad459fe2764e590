"""Where in a picture the bare paper, the bare card and the swatch lie.

Knows pictures in linear light and their layout on the table; knows nothing of optics. What is
found is a proposal to be drawn over the picture; a box marked by hand always wins.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from skimage.filters import sobel
from skimage.measure import LineModelND, ransac
from skimage.morphology import h_minima
from skimage.segmentation import relabel_sequential, watershed

from weavecolor.errors import InputError
from weavecolor.measure.photograph import LUMINANCE

LABELS = ("paper", "card", "swatch over white", "swatch over black")
Box = tuple[int, int, int, int]
Mask = NDArray[np.bool_]

_LOOK = 240  # pixels on the longer side at which the layout is found
_LEAST = 0.006  # of the picture: a smaller part is no sheet and no swatch
_STEP = 0.05  # of logarithms: a lesser step between two parts is none
#: Most light of a card that is grey rather than black, of the paper's, and by how much its hue may
#: differ: with more there is too little between the two grounds to tell depth from.
_GREY, _GREY_HUE = 0.4, 0.25
_ASIDE = 3  # pixels to both sides of an edge at which its step is looked at


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
    """A region marked by hand: ``box`` (left, top, right, bottom) in a picture of ``shape`` (rows,
    columns), called ``label``; InputError if it is not inside the picture or under 8 pixels.

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
    if not (np.isfinite(small).all() and small.max() > 0.0):
        raise InputError("the picture is black or damaged; shoot it again in more light")
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
    # the first of the deepest points: up and to the left there is no more
    while right < mask.shape[1] and mask[top:bottom, right].all():
        right += 1
    while bottom < mask.shape[0] and mask[bottom, left:right].all():
        bottom += 1
    return int(left), int(top), int(right), int(bottom)


@dataclass(frozen=True, eq=False)
class _Parts:
    """A picture cut along its edges: ``label`` (rows, columns) from 1; by number from 0, mean
    colour (n, 3), size, share of its outline at the picture's edge, ``shared`` (n, n) lengths
    of common outline and ``step`` (n, n) the step there, inf where there is none."""

    label: NDArray[np.intp]
    colour: NDArray[np.float64]
    size: NDArray[np.float64]
    at_edge: NDArray[np.float64]
    shared: NDArray[np.float64]
    step: NDArray[np.float64]

    def mask(self, numbers: Sequence[int]) -> Mask:
        return np.isin(self.label, np.asarray(numbers, dtype=np.intp) + 1)


def _coded(small: NDArray[np.float64]) -> NDArray[np.float64]:
    """Logarithm of the light, levelled off below a fiftieth of the brightest, where noise is."""
    bright = float(np.percentile(small @ LUMINANCE, 98))
    return np.asarray(np.log(small / bright + 0.02))


def _cut(small: NDArray[np.float64]) -> _Parts:
    """Cut along edges: a watershed of the steepness, its parts joined, the least step first, until
    every common outline has a step. A step is the mean difference between places a little to both
    sides, so that noise averages out and falling light does not count."""
    coded = ndimage.gaussian_filter(_coded(small), (1.0, 1.0, 0.0))
    steep = np.sqrt(sum(sobel(coded[..., k]) ** 2 for k in range(3)))  # type: ignore[no-untyped-call]
    quiet = float(np.median(steep))
    seeds, _ = ndimage.label(h_minima(steep, max(0.6 * quiet, 0.002)))  # type: ignore[no-untyped-call]
    label = watershed(steep, seeds)  # type: ignore[no-untyped-call]
    label = _joined(label, ndimage.gaussian_filter(coded, (1.0, 1.0, 0.0)))
    return _parts(label, small, coded)


def _steps(label: NDArray[np.intp], coded: NDArray[np.float64]) -> tuple[Any, Any]:
    """Sums (n, n, 3) of steps along common outlines, and their lengths (n, n)."""
    n = int(label.max()) + 1
    steps, counts = np.zeros((n, n, 3)), np.zeros((n, n))
    for axis in (0, 1):
        names, values = np.moveaxis(label, axis, 0), np.moveaxis(coded, axis, 0)
        last = len(names) - 1
        row, place = np.nonzero(names[1:] != names[:-1])
        a, b = names[row, place], names[row + 1, place]
        before, after = np.maximum(row - _ASIDE, 0), np.minimum(row + 1 + _ASIDE, last)
        # a thin part has nothing that far in: then its very edge is looked at
        before = np.where(names[before, place] == a, before, row)
        after = np.where(names[after, place] == b, after, row + 1)
        step = values[after, place] - values[before, place]
        np.add.at(steps, (a, b), step)
        np.add.at(steps, (b, a), -step)
        np.add.at(counts, (a, b), 1.0)
        np.add.at(counts, (b, a), 1.0)
    return steps, counts


def _joined(label: NDArray[np.intp], coded: NDArray[np.float64]) -> NDArray[np.intp]:
    """Parts (rows, columns) from 1, joined where there is no step between them, and slivers with
    what they differ least from."""
    steps, counts = _steps(label, coded)
    size = np.bincount(label.ravel(), minlength=len(counts)).astype(float)
    least = _LEAST * label.size
    into = np.arange(len(counts))

    def stepped(steps: Any, counts: Any) -> Any:
        met = counts > 0
        out = np.full(counts.shape, np.inf)
        out[met] = np.abs(steps[met] / counts[met][:, None]).max(axis=1)
        return out

    step = stepped(steps, counts)
    while True:
        one, two = (int(k) for k in np.unravel_index(int(step.argmin()), step.shape))
        if not step[one, two] < _STEP:
            slivers = np.where(size >= least, np.inf, step)
            one, two = (int(k) for k in np.unravel_index(int(slivers.argmin()), step.shape))
            if not np.isfinite(slivers[one, two]):
                break
        into[into == two] = one
        size[one], size[two] = size[one] + size[two], np.inf
        for table in (steps, counts):
            table[one] += table[two]
            table[:, one] += table[:, two]
            table[two], table[:, two] = 0.0, 0.0
            table[one, one] = 0.0
        step[two] = step[:, two] = np.inf
        # differences to both sides are equal but for their sign
        step[one] = step[:, one] = stepped(steps[one], counts[one])
    return np.asarray(relabel_sequential(into[label] + 1)[0], dtype=np.intp)  # type: ignore[no-untyped-call]


def _parts(
    label: NDArray[np.intp], small: NDArray[np.float64], coded: NDArray[np.float64]
) -> _Parts:
    n = int(label.max())
    size = np.bincount(label.ravel(), minlength=n + 1)[1:].astype(float)
    colour = np.stack(
        [ndimage.median(small[..., k], label, np.arange(1, n + 1)) for k in range(3)], -1
    )
    steps, counts = _steps(label, coded)
    shared = counts[1:, 1:]
    step = np.full(shared.shape, np.inf)
    met = shared > 0
    step[met] = np.abs(steps[1:, 1:][met] / shared[met][:, None]).max(axis=1)
    rim = np.concatenate([label[0], label[-1], label[:, 0], label[:, -1]])
    edge = np.bincount(rim, minlength=n + 1)[1:].astype(float)
    return _Parts(label, colour, size, edge / np.maximum(edge + shared.sum(1), 1.0), shared, step)


def _layout(small: NDArray[np.float32]) -> dict[str, Mask]:
    parts = _cut(small.astype(np.float64))
    pixels = parts.label.size
    light = parts.colour @ LUMINANCE
    hue = np.log(np.maximum(parts.colour, 2e-3))
    hue = hue - hue.mean(axis=1, keepdims=True)
    large = parts.size > _LEAST * pixels
    paper = _paper(parts, light, hue, large)
    if not paper:
        raise InputError(
            "no bare white paper is found; show a broad band of it beside the swatch, or mark it"
        )
    white = max(paper, key=lambda k: parts.size[k])
    inside = [k for k in _numbers(large) if k not in paper and parts.at_edge[k] < 0.02]
    bare = parts.mask(paper)
    # light falls off by a fifth or so, dust and shine grey the card
    dark = _grounds(light, hue, large, paper, white, 0.17, 0.8)
    found = _on_card(parts, dark, inside, bare)
    if found is not None:
        return found
    held = _swatch(parts, inside, bare)
    if held is not None:
        return {"paper": bare, "swatch over white": held}
    grey = _grounds(light, hue, large, paper, white, _GREY, _GREY_HUE)
    found = _on_card(parts, grey, inside, bare)
    if found is not None:
        return found
    if dark:
        return {"paper": bare, "card": parts.mask([max(dark, key=lambda k: parts.size[k])])}
    return {"paper": bare}


def _grounds(
    light: NDArray[np.float64],
    hue: NDArray[np.float64],
    large: Mask,
    paper: Sequence[int],
    white: int,
    most: float,
    hued: float,
) -> list[int]:
    """Large parts of less than ``most`` of the paper's light, whose hue differs less than ``hued``
    from that of its part ``white``."""
    near = np.ptp(hue - hue[white], axis=1) < hued
    return [k for k in _numbers(large & near & (light < most * light[white])) if k not in paper]


def _on_card(
    parts: _Parts, dark: Sequence[int], inside: Sequence[int], bare: Mask
) -> dict[str, Mask] | None:
    """Paper, card and the swatch on it, where one of the ``dark`` parts holds it."""
    best, most = None, 0.0
    for card in [_alike(parts, k, dark) for k in dark]:
        mask = parts.mask(card)
        held = _swatch(parts, [k for k in inside if k not in card], bare | mask)
        # a dark table beyond the paper is no card: card has the swatch on it
        if held is None or _beside(held, mask) < 0.08:
            continue
        if parts.at_edge[card].max() < 0.02 and _beside(held, mask) < 0.7:
            continue  # what lies in the paper and holds nothing is the swatch
        score = float(mask.sum()) * _beside(held, bare | mask)
        if score > most:
            best, most = {"paper": bare, "card": mask} | _shared_out(held, bare, mask), score
    return best


def _numbers(chosen: Mask) -> list[int]:
    return [int(k) for k in np.flatnonzero(chosen)]


def _alike(parts: _Parts, first: int, dark: Sequence[int]) -> list[int]:
    """The parts that card cut in pieces by weak edges has, grown from ``first``; what the pieces
    enclose is the swatch."""
    out, grown = [int(first)], True
    while grown:
        grown = False
        for n in dark:
            own = parts.shared[n, out].sum()
            ringed = own > 0.8 * parts.shared[n].sum() and parts.at_edge[n] < 0.02
            if n not in out and parts.step[n, out].min() < 3 * _STEP and not ringed:
                out.append(int(n))
                grown = True
    return out


def _beside(held: Mask, ground: Mask) -> float:
    """Share of a part's outline that runs along ``ground``."""
    outline = held & ~ndimage.binary_erosion(held, border_value=1)
    return float(ndimage.binary_dilation(ground, iterations=3)[outline].mean())


def _paper(
    parts: _Parts, light: NDArray[np.float64], hue: NDArray[np.float64], large: Mask
) -> list[int]:
    """The bright, nearly neutral parts that run to the picture's edge or round another large part;
    a pale swatch does neither."""
    bright = large & (light > 0.55 * light[large].max())
    if not bright.any():
        return []
    open_ = parts.at_edge > 0.02
    for k in _numbers(bright & ~open_):
        mask = parts.mask([k])
        open_[k] = (ndimage.binary_fill_holes(mask) & ~mask).sum() > _LEAST * mask.size
    # of what is bright the largest of these is paper; its like are paper too
    order = parts.size * light**2 * np.where(open_, 1.0, 0.02)
    first = int(np.argmax(np.where(bright, order, -1.0)))
    alike = bright & (np.ptp(hue - hue[first], axis=1) < 0.12)
    alike &= np.abs(np.log(light / light[first])) < 0.25
    return [k for k in _numbers(alike) if k == first or open_[k]]


def _swatch(parts: _Parts, inside: Sequence[int], ground: Mask) -> Mask | None:
    """The part, or parts that touch, whose outline runs along bare ground."""
    mask = np.zeros_like(ground)
    for k in inside:
        mask |= parts.mask([k])
    label, count = ndimage.label(mask)
    best, most = None, 0.0
    for k in range(1, count + 1):
        part = label == k
        along = _beside(part, ground)
        size = float(part.sum())
        if along < 0.7 or size < 1.5 * _LEAST * mask.size:
            continue
        if size * along > most:
            best, most = part, size * along
    if best is None:
        return None
    return np.asarray(ndimage.binary_fill_holes(best))


def _shared_out(held: Mask, paper: Mask, card: Mask) -> dict[str, Mask]:
    """A swatch's parts over paper and over card: what lies wholly in one ground, else the two
    sides of the straight line in which the sheets meet."""
    outline = ndimage.binary_dilation(held, iterations=4) & ~held
    on_paper, on_card = ((outline & m).sum() for m in (paper, card))
    if min(on_paper, on_card) < 0.08 * max(on_paper, on_card, 1):
        return {"swatch over white" if on_paper > on_card else "swatch over black": held}
    near = ndimage.binary_dilation(paper, iterations=4) & ndimage.binary_dilation(
        card, iterations=4
    )
    near &= ~ndimage.binary_dilation(held, iterations=4)
    rows, columns = np.nonzero(near)
    side = None
    if rows.size > 20:
        points = np.column_stack([columns, rows]).astype(float)
        line, keep = ransac(  # type: ignore[no-untyped-call]
            points, LineModelND, 2, 3.0, max_trials=200, rng=1
        )
        if line is not None and keep.mean() > 0.5:
            origin, way = line.origin, line.direction
            y, x = np.indices(held.shape)
            side = (x - origin[0]) * way[1] - (y - origin[1]) * way[0]
            if side[paper].mean() < side[card].mean():
                side = -side
    if side is None:  # no join is seen: whichever ground is nearer
        side = ndimage.distance_transform_edt(~card) - ndimage.distance_transform_edt(~paper)
    gap = max(2.0, max(held.shape) / 60)
    out = {}
    for label, part in (
        ("swatch over white", held & (side > gap)), ("swatch over black", held & (side < -gap)),
    ):  # fmt: skip
        if part.sum() > _LEAST * part.size:
            out[label] = part
    return out
