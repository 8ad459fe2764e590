"""The repeating lattice of a weave in a picture, found in its power spectrum.

Knows spectra, lattices and what a weave's repeat may be; knows nothing of centimetres, colour or
files. Frequencies are vectors (fx, fy) in cycles per pixel, x to the right and y down.

Method. Thread systems at spacings p1, p2 put lines of power at whole orders (k, 0) and (0, k) of
the thread frequencies; the lift plan adds fractional orders. A plain weave looks the same after
one end *and* one pick, so its lift plan shows at (1/2, 1/2) and never at (1/2, 0): the strongest
peaks lie on the diagonals and are not the threads. A regular twill or satin likewise has no
fractional order on either axis, because every end does the same work. So the thread frequencies
are the shortest lattice vectors *along the thread directions*; what remains to be told is which
directions those are. Three facts tell: the two systems cross nearly squarely; thread edges and
gaps put power on both axes; and a thread is one body right across the picture, so its own small
error of place, width or tone leaves a continuous streak through the spectrum's origin along the
axis and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import gcd

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, stats

Array = NDArray[np.float64]

_HIGHEST = 0.46  # cycles per pixel; above it a peak may be folded back
_SQUARE_WITHIN = 12.0  # degrees the two systems may be off square


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Windowed power over its own ring median, on centred axes, and the size of one tile.

    ``greatest`` is the greatest ratio within one bin. ``tiles`` counts independent tiles.
    """

    ratio: Array
    greatest: Array
    tile: int
    tiles: float

    def at(self, vectors: Array, reach: int = 0) -> Array:
        """The ratio at frequency vectors (..., 2); with ``reach`` 1 the greatest near each."""
        index = np.moveaxis(np.asarray(vectors)[..., ::-1] * self.tile + self.tile // 2, -1, 0)
        if reach:
            return ndimage.map_coordinates(self.greatest, index, order=0, mode="nearest")
        return ndimage.map_coordinates(self.ratio, index, order=1, mode="nearest")


@dataclass(frozen=True, eq=False)
class Frame:
    """A reading of the lattice: two thread frequencies and the repeat that explains the peaks.

    ``first``, ``second``: cycles per pixel, shape (2,). ``repeat``: rows are translations in
    (ends, picks) after which the weave looks the same; its determinant is the number of crossings
    in the smallest repeat. ``peaks`` (n, 2) are the frequencies explained, ``orders`` (n, 2) their
    orders in units of the thread frequencies, ``strength`` (n,) their power ratios.
    """

    score: float
    first: Array
    second: Array
    repeat: tuple[tuple[int, int], tuple[int, int]]
    peaks: Array
    orders: Array
    strength: Array
    evidence: dict[str, float]

    @property
    def crossings(self) -> int:
        (a, b), (c, d) = self.repeat
        return abs(a * d - b * c)


def spectrum(channels: NDArray[np.floating], tile: int) -> Spectrum:
    """Power spectrum of flattened channels (n, rows, columns), averaged over half-lapped tiles.

    Welch's method (1967) with a Hann window; each frequency is then divided by the median of its
    ring, so that a lattice peak stands out as a ratio whatever the picture's overall slope.
    """
    _, rows, columns = channels.shape
    window = np.hanning(tile + 2)[1:-1]
    window = (window[:, None] * window).astype(np.float32)
    starts = [
        np.unique(np.linspace(0, size - tile, max(1, round(2 * size / tile) - 1)).astype(int))
        for size in (rows, columns)
    ]
    power = np.zeros((tile, tile // 2 + 1))
    for r in starts[0]:
        for c in starts[1]:
            piece = channels[:, r : r + tile, c : c + tile]
            piece = (piece - piece.mean((1, 2), keepdims=True)) * window
            power += (np.abs(fft.rfft2(piece)) ** 2).sum(0)
    full = np.empty((tile, tile))
    half = tile // 2 + 1
    full[:, :half] = power
    mirrored = power[(-np.arange(tile)) % tile][:, 1 : tile - half + 1]
    full[:, half:] = mirrored[:, ::-1]
    full = np.fft.fftshift(full)
    ring = _rings(tile)
    background = _ring_median(full, ring)
    tiles = max(1.0, (rows / tile) * (columns / tile))
    ratio = full / np.maximum(background[ring], 1e-30)
    return Spectrum(ratio, ndimage.maximum_filter(ratio, 3), tile, tiles)


@lru_cache(maxsize=8)
def _rings(tile: int) -> NDArray[np.intp]:
    axis = np.arange(tile) - tile // 2
    return np.hypot(axis[:, None], axis).astype(np.intp)


def _ring_median(power: Array, ring: NDArray[np.intp]) -> Array:
    order = np.argsort(ring, axis=None, kind="stable")
    sorted_power = power.ravel()[order]
    edges = np.concatenate([[0], np.cumsum(np.bincount(ring.ravel()))])
    medians = np.array(
        [np.median(sorted_power[a:b]) for a, b in zip(edges[:-1], edges[1:], strict=True)]
    )
    return np.asarray(np.maximum(ndimage.median_filter(medians, 5), 1e-12 * medians.max()))


def find_peaks(spec: Spectrum, lowest: float, most: int = 48) -> tuple[Array, Array]:
    """Peaks that noise would not make: frequencies (n, 2) in the upper half plane, ratios (n,).

    The threshold is the value a chi-square spectrum with this much averaging would pass in one
    picture in a thousand, times 1.5 because a ring's median is not its mean everywhere.
    """
    ratio, tile = spec.ratio, spec.tile
    shape = max(1.0, 0.8 * spec.tiles)
    threshold = 1.5 * stats.gamma.isf(1e-3 / ratio.size, shape) / stats.gamma.median(shape)
    top = (ndimage.maximum_filter(ratio, 5) == ratio) & (ratio > threshold)
    row, column = np.nonzero(top)
    fy, fx = (row - tile // 2) / tile, (column - tile // 2) / tile
    radius = np.hypot(fx, fy)
    keep = (radius > lowest) & (radius < _HIGHEST) & ((fy > 0) | ((fy == 0) & (fx > 0)))
    keep &= (row > 0) & (row < tile - 1) & (column > 0) & (column < tile - 1)
    row, column = row[keep], column[keep]
    order = np.argsort(ratio[row, column])[::-1][:most]
    row, column = row[order], column[order]
    log = np.log(ratio)

    def vertex(before: Array, here: Array, after: Array) -> Array:
        return np.clip((before - after) / (2 * (before - 2 * here + after) - 1e-12), -0.5, 0.5)

    here = log[row, column]
    dy = vertex(log[row - 1, column], here, log[row + 1, column])
    dx = vertex(log[row, column - 1], here, log[row, column + 1])
    vectors = np.stack([column + dx - tile // 2, row + dy - tile // 2], -1) / tile
    return vectors, ratio[row, column]


def _reduced(a: Array, b: Array) -> Array:
    """Gauss's reduction of a basis of a plane lattice."""
    while True:
        if a @ a > b @ b:
            a, b = b, a
        step = np.round((a @ b) / (a @ a))
        if step == 0:
            return np.array([a, b])
        b = b - step * a


@lru_cache(maxsize=1)
def repeats() -> tuple[Array, ...]:
    """Translation lattices of the regular weaves: plain, twills and satins to 8, ribs, hopsack."""
    found = [np.eye(2)]
    for n in range(2, 9):
        found += [
            _reduced(np.array([1.0, s]), np.array([0.0, n])) for s in range(1, n) if gcd(s, n) == 1
        ]
    found += [
        np.array([[1.0, 2], [1, -2]]),
        np.array([[2.0, 1], [2, -1]]),
        np.array([[2.0, 2], [2, -2]]),
    ]
    return tuple(found)


def _streak(spec: Spectrum, vector: Array) -> float:
    """Log of the median power ratio between the orders along an axis, over the same beside it."""
    length = float(np.hypot(*vector))
    along = np.asarray(vector) / length
    side = np.array([-along[1], along[0]]) / spec.tile
    order = np.arange(0.45, min(3.3, _HIGHEST / length), 0.5 / (spec.tile * length))
    gap = min(0.25, 2.2 / (spec.tile * length))
    order = order[np.abs(order - np.round(order)) > gap]
    if order.size < 5:
        return 0.0
    line = order[:, None] * vector
    on = np.max([spec.at(line + k * side) for k in (-0.7, 0, 0.7)], axis=0)
    off = [np.max([spec.at(line + (s * m + k) * side) for k in (-0.7, 0, 0.7)], axis=0)
           for m in (5, 7, 9) for s in (-1, 1)]
    return float(np.median(np.log(on + 1e-6)) - np.median(np.log(np.stack(off) + 1e-6)))


_DIRECTIONS = np.pi * np.arange(12) / 12


def prominence(spec: Spectrum, vectors: Array, reach: int = 1) -> Array:
    """The ratio at each vector over that of the strongest line through it.

    Uneven threads draw continuous lines through the spectrum, along both axes and through every
    fractional order parallel to them. A point of such a line is no peak, so each is held against
    the medians of lines through it in twelve directions and its own radius.
    """
    vectors = np.asarray(vectors, dtype=float).reshape(-1, 2)
    if not len(vectors):
        return np.empty(0)
    radius = np.maximum(np.hypot(*vectors.T), 1e-9)
    turn = np.concatenate(
        [np.arctan2(vectors[:, 1], vectors[:, 0])[:, None],
         np.broadcast_to(_DIRECTIONS, (len(vectors), _DIRECTIONS.size))], 1
    )
    along = np.stack([np.cos(turn), np.sin(turn)], -1)[:, :, None]
    side = np.stack([-along[..., 1], along[..., 0]], -1) / spec.tile
    steps = np.concatenate([np.arange(-9.0, -2.9, 0.5), np.arange(3.0, 9.1, 0.5)]) / spec.tile
    line = vectors[:, None, None] + steps[:, None] * along
    values = np.max([spec.at(line + k * side) for k in (-0.7, 0, 0.7)], axis=0)
    inside = np.abs(steps) < 0.8 * np.maximum(radius, 4.5 / spec.tile)[:, None, None]
    background = np.nanmedian(np.where(inside, values, np.nan), axis=2).max(1)
    return np.asarray(spec.at(vectors, reach) / np.maximum(background, 1.5))


def _candidates(vectors: Array, shortest: float, longest: float, spec: Spectrum) -> Array:
    """Peaks, and their sums and differences where there is power: possible thread frequencies."""
    i, j = np.triu_indices(min(len(vectors), 14), 1)
    every = np.concatenate([vectors, vectors[i] + vectors[j], vectors[i] - vectors[j]])
    every = np.where((every[:, 1] < 0)[:, None], -every, every)
    radius = np.hypot(*every.T)
    every = every[(radius > shortest) & (radius < min(longest, _HIGHEST))]
    every = every[prominence(spec, every) > 3.0]
    kept: list[Array] = []
    for vector in every:
        if all(min(np.hypot(*(vector - k)), np.hypot(*(vector + k))) > 1 / spec.tile for k in kept):
            kept.append(vector)
        if len(kept) == 40:
            break
    return np.array(kept).reshape(-1, 2)


def find_frames(spec: Spectrum, shortest: float, longest: float) -> list[Frame]:
    """Readings of the lattice, best first; empty when nothing periodic stands out.

    ``shortest`` and ``longest`` bound the thread frequencies, cycles per pixel.
    """
    vectors, strength = find_peaks(spec, lowest=max(2.5 / spec.tile, shortest / 9))
    above = prominence(spec, vectors)
    keep = above > 6.0
    vectors, strength = vectors[keep], above[keep]
    if len(vectors) < 2:
        return []
    candidates = _candidates(vectors, shortest, longest, spec)
    weight = np.minimum(1.0, np.log(strength) / 4.0)
    allowed = (1.0 + 0.004 * spec.tile * np.hypot(*vectors.T)) / spec.tile
    streaks: dict[int, float] = {}
    frames = []
    for i in range(len(candidates)):
        for j in range(i + 1, len(candidates)):
            a, b = candidates[i], candidates[j]
            area = abs(a[0] * b[1] - a[1] * b[0])
            skew = np.degrees(np.arccos(min(1.0, area / np.hypot(*a) / np.hypot(*b))))
            if skew > _SQUARE_WITHIN:
                continue
            orders = np.linalg.solve(np.array([a, b]).T, vectors.T).T
            best: tuple[float, Array, Array, Array] | None = None
            for repeat in repeats():
                exact = np.round(orders @ repeat.T) @ np.linalg.inv(repeat).T
                miss = np.hypot(*((orders - exact) @ np.array([a, b])).T)
                ok = (miss < allowed) & (np.abs(exact).sum(1) > 0)
                chance = np.minimum(
                    0.9, np.pi * allowed**2 * abs(np.linalg.det(repeat)) / area
                )
                gain = float((weight * np.where(ok, -np.log(chance), -3.0)).sum())
                if best is None or gain > best[0] + 1e-6:
                    best = (gain, repeat, exact, ok)
            assert best is not None
            gain, repeat, exact, ok = best
            if ok.sum() < 2 or gain < 3.0:
                continue
            for k in (i, j):
                if k not in streaks:
                    streaks[k] = _streak(spec, candidates[k])
            evidence = {
                "lattice": gain,
                "gain": gain / max(4.0, float(weight.sum())),
                "explained": float((weight * ok).sum() / weight.sum()),
                "skew": float(skew),
                "streak 1": streaks[i],
                "streak 2": streaks[j],
                "axis 1": _axis_power(spec, a),
                "axis 2": _axis_power(spec, b),
                "rib": float(any(repeat is r for r in repeats()[-3:])),
                "part orders": _part_orders(exact[ok]),
                "dominance 1": _dominance(spec, a),
                "dominance 2": _dominance(spec, b),
            }
            frames.append(
                Frame(
                    _score(evidence),
                    a,
                    b,
                    tuple(tuple(int(v) for v in row) for row in repeat),  # type: ignore[arg-type]
                    vectors[ok],
                    exact[ok],
                    strength[ok],
                    evidence,
                )
            )
    return sorted(frames, key=lambda frame: -frame.score)


def _axis_power(spec: Spectrum, vector: Array) -> float:
    """Mean log ratio at whole orders along an axis (those below the folding frequency)."""
    most = max(1, min(3, int(_HIGHEST / np.hypot(*vector))))
    values = np.log(spec.at(np.arange(1, most + 1)[:, None] * vector, 1))
    return float(np.mean(np.clip(values, 0, 6)))


def _dominance(spec: Spectrum, vector: Array) -> float:
    """Log of the first order on an axis (or the second, discounted) over all that is no order."""
    length = float(np.hypot(*vector))
    order = np.arange(max(0.14, 3.5 / (spec.tile * length)), _HIGHEST / length,
                      0.4 / (spec.tile * length))
    nearest = np.clip(np.round(order), 1, 3)
    near = np.abs(order - nearest) * length * spec.tile
    power = np.log(spec.at(order[:, None] * vector, 1))
    between = power[near > 3.0]
    first = power[(near < 1.2) & (nearest == 1)]
    second = power[(near < 1.2) & (nearest == 2)]
    if not len(between) or not len(first):
        return 0.0
    most = max(first.max(), second.max() - 3.0 if len(second) else -np.inf)
    return float(np.clip(most - between.max(), -4, 1.5))


def _part_orders(exact: Array) -> float:
    """How many explained peaks lie on an axis at a fraction of the first order: no weave of
    threads doing equal work has one, ribs and hopsacks show at most a faint pairing there."""
    on_axis = np.abs(exact).min(1) < 1e-6
    order = np.abs(exact).max(1)
    return float((on_axis & (np.abs(order - np.round(order)) > 1e-6) & (order < 2)).sum())


def _score(e: dict[str, float]) -> float:
    return float(
        10.0 * e["gain"]
        + 12.0 * (np.clip(e["streak 1"], 0, 1.2) + np.clip(e["streak 2"], 0, 1.2))
        + 2.0 * (e["axis 1"] + e["axis 2"])
        + 6.0 * (e["dominance 1"] + e["dominance 2"])
        - 8.0 * min(e["part orders"], 2.0)
        - 10.0 * e["rib"]  # ribs and hopsacks are rarer than plain, twill and satin
        - (e["skew"] / 3.0) ** 2
    )
