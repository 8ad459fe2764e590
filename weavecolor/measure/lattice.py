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

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import gcd

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, special

Array = NDArray[np.float64]

_HIGHEST = 0.46  # cycles per pixel; above it a peak may be folded back
_SQUARE_WITHIN = 12.0  # degrees the two systems may be off square
_DRAWN = 1e6  # times its background no peak of a photograph stands
_FLOOR = 1e-3  # of the low frequencies' background: less is taken as nothing
_IRREGULAR = 4  # the last of ``repeats``: ribs and hopsacks


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
    top = int(full.argmax())
    if full.flat[top] > _DRAWN * background[ring.flat[top]]:
        # no yarn is so even: a drawn picture, with beats of the pixel grid among its orders
        background = np.maximum(background, 1e-4 * full.flat[top])
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
    medians = ndimage.median_filter(medians, 5)
    # a clean picture has next to nothing at high frequencies, and the sensor's folded peaks would
    # stand out there like towers
    low = medians[: max(4, len(power) // 6)]
    return np.asarray(np.maximum(medians, _FLOOR * np.median(low)))


def find_peaks(spec: Spectrum, lowest: float, most: int = 48) -> tuple[Array, Array]:
    """The ``most`` strongest peaks of ``spec`` beyond ``lowest`` cycles per pixel that noise would
    not make: frequencies (n, 2) in the upper half plane, ratios (n,).

    The threshold is the value a chi-square spectrum with this much averaging would pass in one
    picture in a thousand, times 1.5 because a ring's median is not its mean everywhere.
    """
    ratio, tile = spec.ratio, spec.tile
    shape = max(1.0, 0.8 * spec.tiles)
    threshold = 1.5 * special.gammainccinv(shape, 1e-3 / ratio.size)
    threshold /= special.gammaincinv(shape, 0.5)
    top = (ndimage.maximum_filter(ratio, 5) == ratio) & (ratio > threshold)
    row, column = np.nonzero(top)
    fy, fx = (row - tile // 2) / tile, (column - tile // 2) / tile
    radius = np.hypot(fx, fy)
    keep = (radius > lowest) & (radius < _HIGHEST) & ((fy > 0) | ((fy == 0) & (fx > 0)))
    row, column, radius = row[keep], column[keep], radius[keep]
    order = np.argsort(ratio[row, column] * _seen(radius))[::-1][:most]
    row, column = row[order], column[order]
    log = np.log(np.maximum(ratio, 1e-30))  # nothing at all in a drawn picture

    def vertex(before: Array, here: Array, after: Array) -> Array:
        return np.clip((before - after) / (2 * (before - 2 * here + after) - 1e-12), -0.5, 0.5)

    here = log[row, column]
    dy = vertex(log[row - 1, column], here, log[row + 1, column])
    dx = vertex(log[row, column - 1], here, log[row, column + 1])
    vectors = np.column_stack([column + dx - tile // 2, row + dy - tile // 2]) / tile
    return vectors, ratio[row, column]


def _seen(frequency: Array) -> Array:
    """What a peak counts for: near the folding frequency the sensor's mosaic makes its own."""
    return np.asarray(np.exp(-((2 * np.pi * 0.9 * frequency) ** 2)))


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
        np.array([[3.0, 3], [3, -3]]),
    ]
    return tuple(found)


@lru_cache(maxsize=1)
def _stacked_repeats() -> tuple[Array, Array, Array]:
    stack = np.array(repeats())
    size = np.abs(np.linalg.det(stack)).astype(np.float64)
    return stack.transpose(0, 2, 1), np.linalg.inv(stack).transpose(0, 2, 1).astype(float), size


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
    lines = np.array([m + k for m in (0, *_BESIDE) for k in (-0.7, 0, 0.7)])
    values = spec.at((order[:, None] * vector)[None] + lines[:, None, None] * side)
    values = values.reshape(1 + len(_BESIDE), 3, -1).max(1)
    return float(np.median(np.log(values[0] + 1e-6)) - np.median(np.log(values[1:] + 1e-6)))


_BESIDE = (-9, -7, -5, 5, 7, 9)
_DIRECTIONS = np.pi * np.arange(12) / 12


def prominence(spec: Spectrum, vectors: Array, reach: int = 1) -> Array:
    """The ratio of ``spec`` at each of ``vectors`` (n, 2), and ``reach`` places about it, over that
    of the strongest line through it: (n,).

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


def _candidates(
    vectors: Array, shortest: float, longest: float, spec: Spectrum, upright: float
) -> Array:
    """Possible thread frequencies: peaks, sums, differences, halves and doubles with power there.

    A satin's face may hide one system's own order altogether, while its bindings give it as a sum
    of theirs: near the grain's direction sums of three count too, and little power is enough.
    """
    first = vectors[:14]
    i, j = np.triu_indices(len(first), 1)
    pairs = np.concatenate([first[i] + first[j], first[i] - first[j]])
    few = vectors[:9]
    i, j = np.triu_indices(len(few))
    two = np.concatenate([few[i] + few[j], few[i] - few[j]])
    threes = (two[:, None] + np.concatenate([few, -few])).reshape(-1, 2)
    every = np.concatenate([vectors, pairs, first / 2, 2 * first, threes])
    firm = np.arange(len(every)) < len(every) - len(threes)
    every = np.where((every[:, 1] < 0)[:, None], -every, every)
    radius = np.hypot(*every.T)
    turn = (np.degrees(np.arctan2(every[:, 1], every[:, 0])) - upright + 45) % 90 - 45
    near = np.abs(turn) < 13.0
    keep = (radius > shortest) & (radius < min(longest, _HIGHEST)) & (firm | near)
    every, near, firm = every[keep], near[keep], firm[keep]
    # alike ones once: the first stands for all
    cell = np.round(every * spec.tile / 1.2).astype(int)
    _, index = np.unique(cell, axis=0, return_index=True)
    index = np.sort(index)
    every, near, firm = every[index], near[index], firm[index]
    above = prominence(spec, every)
    keep = (above > 3.0) | (near & (above > np.where(firm, 1.0, 1.3)))
    order = np.flatnonzero(keep)
    order = np.concatenate([order[firm[order]], order[~firm[order]]])
    kept: list[Array] = []
    for vector in every[order]:
        if all(min(np.hypot(*(vector - k)), np.hypot(*(vector + k))) > 1 / spec.tile for k in kept):
            kept.append(vector)
        if len(kept) == 64:
            break
    return np.array(kept).reshape(-1, 2)


_PARTS = np.array([1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4])
_ORDERS = np.array([1.0, 2.0, 3.0, 1.5, *_PARTS])


def _along(spec: Spectrum, vectors: Array) -> list[dict[str, float]]:
    """For each vector: what lies at whole orders along it, and at the parts of the first."""
    length = np.hypot(*vectors.T)
    where = _ORDERS[:, None] * vectors[:, None]
    far = _ORDERS * length[:, None]
    seen = (far < _HIGHEST) & (far > 3.0 / spec.tile)
    peak = np.log(prominence(spec, where.reshape(-1, 2))).reshape(far.shape)
    peak = np.where(seen, peak, 0.0)
    raw = np.where(seen, np.log(spec.at(where, 1)), 0.0)
    return [
        {
            "first": float(np.clip(p[0], 0, 5)),
            "second": float(np.clip(p[1], 0, 4)),
            "third": float(np.clip(p[2], 0, 4)),
            "parts": float(np.clip(p[4:].max(), 0, 5)),
            "half": float(np.clip(p[6], 0, 5)),
            "beyond": float(np.clip(p[3], 0, 4)),
            "lead": float(np.clip(r[0] - r[4:].max(), -4, 4)),
            "over second": float(np.clip(r[0] - r[1], -4, 4)) if s[1] else 0.0,
            "streak": float(np.clip(_streak(spec, v), -0.5, 1.5)),
        }
        for p, r, s, v in zip(peak, raw, seen, vectors, strict=True)
    ]


def find_frames(
    spec: Spectrum, shortest: float, longest: float, upright: float = 0.0
) -> list[Frame]:
    """Readings of the lattice in ``spec``, best first; empty when nothing periodic stands out.

    ``shortest`` and ``longest`` bound the thread frequencies, cycles per pixel; ``upright`` is the
    direction the grain is said to have, degrees off the picture's upright.
    """
    vectors, strength = find_peaks(spec, lowest=max(2.5 / spec.tile, shortest / 9))
    above = prominence(spec, vectors) * _seen(np.hypot(*vectors.T))
    keep = above > 4.0
    vectors, strength = vectors[keep], above[keep]
    if len(vectors) < 2:
        return []
    candidates = _candidates(vectors, shortest, longest, spec, upright)
    weight = np.minimum(1.0, np.log(strength) / 4.0)
    allowed = (1.0 + 0.004 * spec.tile * np.hypot(*vectors.T)) / spec.tile
    if len(candidates) < 2:
        return []
    axes = _along(spec, candidates)
    frames = []
    for i in range(len(candidates)):
        for j in range(i + 1, len(candidates)):
            a, b = candidates[i], candidates[j]
            area = abs(a[0] * b[1] - a[1] * b[0])
            skew = np.degrees(np.arccos(min(1.0, area / np.hypot(*a) / np.hypot(*b))))
            if skew > _SQUARE_WITHIN:
                continue
            orders = np.linalg.solve(np.array([a, b]).T, vectors.T).T
            whole, back, size = _stacked_repeats()
            every = np.round(orders @ whole) @ back  # (repeats, peaks, 2)
            off = (orders - every) @ np.array([a, b])
            hit = (off**2).sum(-1) < allowed**2
            hit &= np.abs(every).sum(-1) > 0
            chance = np.minimum(0.9, np.pi * allowed**2 * size[:, None] / area)
            gains = (weight * np.where(hit, -np.log(chance), -3.0)).sum(1)
            number = int((gains > gains.max() - 1e-6).argmax())
            gain, exact, ok = float(gains[number]), every[number], hit[number]
            if ok.sum() < 2 or gain < 3.0:
                continue
            repeat, crossings = repeats()[number], size[number]
            fraction = np.abs(exact - np.round(exact)) > 1e-6
            both = fraction.all(1) & ok
            one = (fraction.any(1) & ~fraction.all(1)) & ok
            turn = [(np.degrees(np.arctan2(v[1], v[0])) - upright + 45) % 90 - 45 for v in (a, b)]
            evidence = {
                "gain": gain / max(4.0, float(weight.sum())),
                "explained": float((weight * ok).sum() / weight.sum()),
                "skew2": float(min((skew / 3.0) ** 2, 9.0)),
                "turn2": float(min((np.mean(turn) / 5.0) ** 2, 9.0)),
                "rib": float(number >= len(repeats()) - _IRREGULAR),
                "bare": float(not both.any()),
                "bound": min(float(np.log(strength[both]).max()), 5.0) if both.any() else 0.0,
                "one-sided": float((weight * one).sum() / weight.sum()),
                "crossings": float(np.log(crossings)),
                "unequal": float(abs(np.log(np.hypot(*a) / np.hypot(*b)))),
                "fine": float(np.log(area) / 2),
            }
            for name in axes[i]:
                one_v, two_v = axes[i][name], axes[j][name]
                evidence[name + " sum"] = one_v + two_v
                evidence[name + " least"] = min(one_v, two_v)
            for name in ("lead least", "half sum", "first least"):
                evidence["rib " + name.split()[0]] = evidence["rib"] * evidence[name]
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


# Log odds to each unit of evidence, and those of none of the readings being right: a conditional
# logit (McFadden 1974) fitted with a ridge to 193 pictures of tests/closeups.py, drawn from seeds
# that no test uses, and to pictures of no cloth. How often a reading told with a share is right is
# checked on other drawings by tests/count_threads.py.
# fitted
_WEIGHTS = {
    "gain": 1.338,
    "explained": 0.840,
    "skew2": -0.591,
    "turn2": -0.519,
    "rib": -1.330,
    "bare": 1.417,
    "bound": 0.490,
    "one-sided": -4.467,
    "crossings": 0.371,
    "unequal": -0.898,
    "fine": 1.997,
    "first sum": 0.204,
    "first least": 0.394,
    "second sum": 0.065,
    "second least": 0.491,
    "third sum": 0.140,
    "third least": 0.243,
    "parts sum": 0.247,
    "parts least": -0.012,
    "half sum": 0.153,
    "half least": -0.083,
    "beyond sum": -0.181,
    "beyond least": 0.447,
    "lead sum": 0.088,
    "lead least": 0.232,
    "over second sum": -0.088,
    "over second least": 0.293,
    "streak sum": 1.149,
    "streak least": -0.490,
    "rib lead": 0.325,
    "rib half": -0.034,
    "rib first": 0.178,
}
_NONE = 6.190
# until here


def _score(evidence: dict[str, float]) -> float:
    return sum(weight * evidence[name] for name, weight in _WEIGHTS.items())


@dataclass(frozen=True, eq=False)
class Reading:
    """One way to read the lattice, with its share of belief, 0-1; what is missing to 1 is none."""

    frame: Frame
    share: float


def weighed(frame_lists: Sequence[list[Frame]], alike: float = 0.03) -> list[Reading]:
    """Readings with their shares, most likely first, from frames found through several windows.

    Scores are log odds, so shares follow by the softmax; windows count alike, and that none of
    the readings is right takes a share too, the product of the windows'. Frames whose frequencies
    agree within ``alike`` are one reading, told by the best frame of the first window that has it.
    """
    groups: list[tuple[Frame, float]] = []
    none = 1.0
    for frames in frame_lists:
        if not frames:
            continue
        score = np.array([_NONE, *(f.score for f in frames)])
        odds = np.exp(score - score.max())
        odds /= odds.sum()
        none *= float(odds[0])
        for frame, share in zip(frames, odds[1:], strict=True):
            for k, (other, its) in enumerate(groups):
                if _alike(frame, other, alike):
                    groups[k] = (other, its + float(share))
                    break
            else:
                groups.append((frame, float(share)))
    whole = sum(share for _, share in groups) / (1 - none) if groups else 1.0
    return [Reading(f, s / whole) for f, s in sorted(groups, key=lambda g: -g[1])]


def _alike(one: Frame, two: Frame, within: float) -> bool:
    a, b = (
        sorted((f.first, f.second), key=lambda v: abs(float(v[0]))) for f in (one, two)
    )
    return all(abs(np.log(np.hypot(*u) / np.hypot(*v))) < within for u, v in zip(a, b, strict=True))


