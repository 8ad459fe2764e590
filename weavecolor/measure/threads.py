"""Thread count of a cloth from a close-up picture: ends and picks per cm, grain angle, open share.

Knows pictures as arrays and a scale in pixels per mm; knows nothing of files or of the optics.
The lattice is found in the power spectrum (``lattice``), then each frequency is refined from the
change of phase between neighbouring places, where a line across the whole picture's phase gives
the count at the picture's middle even under mild perspective. What does not keep its phase is no
weave, and is refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from weavecolor.errors import InputError
from weavecolor.measure.lattice import Frame, Reading, find_frames, spectrum, weighed
from weavecolor.measure.opening import open_share
from weavecolor.optics.uncertainty import HELD

Array = NDArray[np.float64]

#: Threads per cm looked for: coarse sacking to the finest silk.
COARSEST, FINEST = 3.0, 110.0
#: Fewest threads of either system that must be in the picture, and pixels to a thread.
FEWEST_THREADS, FEWEST_PIXELS = 7.0, 6.0
#: Pixels to a mm a photograph of cloth may have: a room to a microscope.
FEWEST_PER_MM, MOST_PER_MM = 0.5, 5000.0
#: Longest side analysed, pixels; of a larger picture the middle, binned where threads are coarse.
LONGEST_SIDE = 1100
#: Shortest side that can be analysed, pixels: a smaller tile tells no frequencies apart.
NARROWEST = 64
#: Pixels to a thread above which a cropped picture is binned to show more threads.
MANY_PIXELS = 28.0
#: Least phase agreement between neighbouring places, 0-1.
LEAST_COHERENCE = 0.55
#: A reading believed less than this is not told; ranges take in readings up to the second.
LEAST_SHARE, SURE_SHARE = 0.45, 0.9
#: A reading believed as much as this is taken into the range however sure another is: threads too
#: fine for a picture were told at half of their count, and sure, with so much left for the truth.
MOST_LEFT = 0.08
#: More belief than this in threads under FEWEST_PIXELS, and the picture is too coarse to count.
MOST_FINE = 0.3
#: Red against blue over green, beyond which both systems' waves are colour of the sensor's alone.
#: Of drawn pictures, threads had at most 0.9 in one of the systems, folded ones at least 2.2.
MOST_COLOUR = 1.5
#: Relative standard uncertainty that no picture goes below: lens and flatness, common practice.
LEAST_SPREAD = 0.0007
#: Steps between neighbouring places partly cancel in their mean: wholly where each thread lies
#: wrong by itself, not at all where spacing wanders. Between the two, set on drawn cloths.
TELESCOPED = 0.6
#: 95 of 100 of a normal law lie within this many standard deviations.
NINETEEN_OF_TWENTY = 1.96

CLOSER = (
    "lay the cloth flat and square to the camera, sharp, lit from one side, "
    "with 20 to 60 threads each way across the picture"
)


@dataclass(frozen=True, eq=False)
class Peak:
    """One spectral peak used: cycles per pixel (fx, fy), its order (ends, picks), coherence."""

    frequency: tuple[float, float]
    order: tuple[float, float]
    strength: float
    coherence: float


@dataclass(frozen=True)
class Alternative:
    """Another reading of the same lattice, with its share of belief, 0-1."""

    ends_per_cm: float
    picks_per_cm: float
    grain_angle_deg: float
    share: float = 0.0


@dataclass(frozen=True, eq=False)
class ThreadCount:
    """What the close-up shows.

    Counts per cm. ``ends_range`` and ``picks_range`` (low, high) hold the truth in 19 of 20
    pictures: the count's own spread, the scale's, and the doubt between readings.
    ``ends_uncertainty`` and ``picks_uncertainty``: half the range's wider side as one standard
    uncertainty. ``share``: belief in the reading told, 0-1. ``grain_angle_deg``: the warp off the
    picture's upright, positive when its top leans right. ``skew_deg``: the two systems' angle
    less 90. ``crossings_in_repeat``: 2 for a plain weave, 4 for a 2/2 twill, 1 where the lift
    plan does not show. ``open_share`` is None without a known backing. ``warp_frequency`` and
    ``weft_frequency`` are cycles per pixel of the picture given, ``centre`` its point (x, y) where
    the count holds, ``box`` (left, top, right, bottom) what was analysed: enough to draw on.
    """

    ends_per_cm: float
    picks_per_cm: float
    ends_range: tuple[float, float]
    picks_range: tuple[float, float]
    share: float
    grain_angle_deg: float
    skew_deg: float
    crossings_in_repeat: int
    coherence: float
    open_share: float | None
    open_share_uncertainty: float | None
    warp_frequency: tuple[float, float]
    weft_frequency: tuple[float, float]
    centre: tuple[float, float]
    box: tuple[int, int, int, int]
    peaks: tuple[Peak, ...]
    alternatives: tuple[Alternative, ...]
    cautions: tuple[str, ...]

    @property
    def ends_uncertainty(self) -> float:
        return _wider(self.ends_per_cm, self.ends_range) / NINETEEN_OF_TWENTY

    @property
    def picks_uncertainty(self) -> float:
        return _wider(self.picks_per_cm, self.picks_range) / NINETEEN_OF_TWENTY


def _wider(value: float, around: tuple[float, float]) -> float:
    return max(around[1] - value, value - around[0])


def stated(value: float, around: tuple[float, float], size: float = 1.0) -> tuple[str, str]:
    """A count ``value`` and the range ``around`` it, (low, high), in words, times ``size``, with
    the digits it takes to be no 0.0.

    Examples
    --------
    >>> stated(20.04, (19.9, 20.3))
    ('20.0', 'give or take 0.3 (19.9 to 20.3 at least nine times in ten)')
    >>> stated(20.04, (20.0, 20.08))
    ('20.04', 'give or take 0.04 (20.00 to 20.08 at least nine times in ten)')
    """
    value, low, high = (size * v for v in (value, *around))
    half = max(high - value, value - low)
    digits = 1 if half >= 0.095 else 2
    return f"{value:.{digits}f}", (
        f"give or take {half:.{digits}f} ({low:.{digits}f} to {high:.{digits}f} {HELD})"
    )


@dataclass(frozen=True, eq=False)
class _View:
    """The part of a picture looked at: its corner, binning, flattened channels and readings."""

    small: NDArray[np.float32]
    channels: NDArray[np.float32]
    left: int
    top: int
    step: int
    readings: list[Reading]


def count_threads(
    picture: ArrayLike,
    pixels_per_mm: float,
    *,
    scale_uncertainty: float = 0.003,
    region: tuple[int, int, int, int] | None = None,
    warp_direction: str | float = "up",
    backing: ArrayLike | None = None,
) -> ThreadCount:
    """Count the threads in a picture of woven cloth.

    Parameters
    ----------
    picture : array, shape (rows, columns) or (rows, columns, 3)
        Linear light, any scale.
    pixels_per_mm : float
        Scale at the middle of the region (see ``ruler``), > 0.
    scale_uncertainty : float
        Relative standard uncertainty of the scale, 0-0.2.
    region : (left, top, right, bottom), optional
        Pixels of the picture that show the cloth; the whole by default.
    warp_direction : "up", "across" or degrees off upright
        A picture cannot tell warp from weft: the system running nearest this direction (say,
        along the selvedge) is called warp.
    backing : array, shape (3,) or float, optional
        Linear light of what lies behind the cloth, in the picture's scale, for the open share.

    Returns
    -------
    ThreadCount
        Ends and picks per cm with their ranges (19 of 20), angles, and the open share where
        ``backing`` is given.

    Raises
    ------
    InputError
        Too small, no lattice found, too few threads, too fine for the picture's pixels.

    Notes
    -----
    The shortest vectors of the weave's lattice in the picture's power spectrum give the
    frequencies, refined from the change of phase between neighbouring places; of several readings,
    each with its belief (head of ``measure/lattice``). What keeps no phase is no weave: refused.

    References
    ----------
    P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70, of the spectrum; D. McFadden,
    Conditional logit analysis (1974), of the belief in readings; both from memory.

    Examples
    --------
    >>> at = np.arange(400) / 20.0  # mm
    >>> lifts = np.sin(np.pi * 2.5 * at) * np.sin(np.pi * 2.0 * at[:, None])  # a plain weave
    >>> furrows = np.cos(2 * np.pi * 2.5 * at) + np.cos(2 * np.pi * 2.0 * at[:, None])
    >>> found = count_threads(0.5 + 0.2 * lifts - 0.1 * furrows, 20.0)
    >>> round(found.ends_per_cm), round(found.picks_per_cm)
    (25, 20)
    """
    image, box = _region(picture, region)
    if not FEWEST_PER_MM <= pixels_per_mm <= MOST_PER_MM:
        raise InputError(
            f"{pixels_per_mm:.3g} pixels per mm is no scale of a photographed cloth; "
            f"it lies from {FEWEST_PER_MM:g} to {MOST_PER_MM:.0f}",
            field="pixels_per_mm",
        )
    if not 0.0 <= scale_uncertainty <= 0.2:
        raise InputError("the scale's relative uncertainty is 0 to 0.2", field="scale_uncertainty")
    wanted = _wanted(warp_direction)
    view = _viewed(image, pixels_per_mm, wanted)
    scale = pixels_per_mm / view.step
    if not view.readings:
        raise InputError(f"no weave found in the picture: nothing in it repeats; {CLOSER}")
    _fine_enough(view)
    frame = view.readings[0].frame
    first, second, spread, coherence, peaks = _refine(view.channels, frame)
    if coherence < LEAST_COHERENCE:
        raise InputError(
            "no weave found in the picture: what repeats in it does not run through; " + CLOSER
        )
    extent = np.array(view.channels.shape[:0:-1], dtype=float)
    for vector in (first, second):
        seen = float(np.abs(vector) @ extent)
        if seen < FEWEST_THREADS:
            raise InputError(
                f"only about {seen:.0f} threads of one system are in the picture; show at least "
                f"{FEWEST_THREADS:.0f}, better 20 or more"
            )
    (warp, weft), angle, spreads = _named(first, second, spread, wanted)
    ends, picks = (10 * scale * float(np.hypot(*v)) for v in (warp, weft))
    others = [_told(r, wanted, scale) for r in view.readings]
    if view.readings[0].share < LEAST_SHARE:
        could = " or ".join(f"{o.ends_per_cm:.0f} x {o.picks_per_cm:.0f}" for o in others[:3])
        raise InputError(
            f"the threads cannot be told from their pattern: {could} per cm could all be; {CLOSER}"
        )
    ranges = [
        _range(
            value, float(np.hypot(own, scale_uncertainty)), view.readings[0].share,
            [(getattr(o, name), o.share) for o in others[1:]],
        )
        for value, own, name in (
            (ends, spreads[0], "ends_per_cm"), (picks, spreads[1], "picks_per_cm")
        )
    ]  # fmt: skip
    alternatives = tuple(
        o for o in others[1:] if o.share > 0.04 and (
            abs(np.log(o.ends_per_cm / ends)) > 0.04 or abs(np.log(o.picks_per_cm / picks)) > 0.04
        )
    )[:3]  # fmt: skip
    skew = (_angle(warp) - _angle(weft)) % 180.0 - 90.0
    cautions = []
    if view.readings[0].share < SURE_SHARE and alternatives:
        cautions.append(
            "the same picture can be read with other counts; the range allows for them. "
            "Count one row by hand, or come closer"
        )
    off = _apart(angle, wanted)
    if off > 35:
        cautions.append("the grain lies near 45 degrees: mark which direction is warp")
    elif off > 12:
        cautions.append(
            f"the grain leans {off:.0f} degrees; a count is surer with the grain upright"
        )
    if abs(skew) > 4:
        cautions.append(f"the two systems are {abs(skew):.0f} degrees off square: cloth or camera")
    share, share_error = (None, None) if backing is None else open_share(view.small, backing)
    step = view.step
    peaks = tuple(
        Peak((p.frequency[0] / step, p.frequency[1] / step), p.order, p.strength, p.coherence)
        for p in (peaks if warp is first else _swapped(peaks))
    )
    h, w = view.small.shape[:2]
    corner = (box[0] + view.left, box[1] + view.top)
    return ThreadCount(
        ends,
        picks,
        ranges[0],
        ranges[1],
        view.readings[0].share,
        angle,
        skew,
        frame.crossings,
        coherence,
        share,
        share_error,
        (float(warp[0] / step), float(warp[1] / step)),
        (float(weft[0] / step), float(weft[1] / step)),
        (corner[0] + w * step / 2, corner[1] + h * step / 2),
        (corner[0], corner[1], corner[0] + w * step, corner[1] + h * step),
        peaks,
        alternatives,
        tuple(cautions),
    )


def _range(
    value: float, relative: float, share: float, others: list[tuple[float, float]]
) -> tuple[float, float]:
    """(low, high) of 19 in 20: the spread of the value, and of other readings till sure enough."""
    low, high = (value * np.exp(s * NINETEEN_OF_TWENTY * relative) for s in (-1.0, 1.0))
    same = share + sum(s for v, s in others if abs(np.log(v / value)) < 0.03)
    for other, its_share in others:
        if same >= SURE_SHARE and its_share < MOST_LEFT:
            break
        if abs(np.log(other / value)) >= 0.03:
            low, high = min(low, other * 0.985), max(high, other * 1.015)
            same += its_share
    return float(low), float(high)


def _fine_enough(view: _View) -> None:
    """Refuse threads of fewer pixels than can be told from the sensor's own patterns."""
    finest = [max(np.hypot(*r.frame.first), np.hypot(*r.frame.second)) for r in view.readings]
    fine = [f * FEWEST_PIXELS > 1.02 for f in finest]
    belief = sum(r.share for r, f in zip(view.readings, fine, strict=True) if f)
    if fine[0] or belief > MOST_FINE:
        pixels = 1 / next(f for f, too in zip(finest, fine, strict=True) if too) * view.step
    elif _folded(view):
        pixels = 1 / (0.5 - finest[0] / view.step)
    else:
        return
    raise InputError(
        f"the threads are too fine for the picture (about {pixels:.1f} pixels to a thread, "
        f"{FEWEST_PIXELS:.0f} are needed): move closer until 20 to 60 threads fill it, in focus"
    )


def _folded(view: _View) -> bool:
    """Whether the waves of the likeliest reading are in red against blue and hardly in green.

    A sensor's mosaic has red at every second pixel each way, and blue as far between (B. E. Bayer,
    US patent 3 971 065, from memory): it folds a wave of f cycles a pixel to 1/2 - f, in red and
    blue with opposite signs. Of green, at every second pixel of each row, the next row a pixel on,
    such a wave along a side of the picture is folded only to the finest there is.
    """
    frame, even = view.readings[0].frame, _even(view.small)
    if len(even) != 3:
        return False
    for vector in (frame.first, frame.second):
        spacing = 1.0 / float(np.hypot(*vector))
        red, green, blue = _local(even, vector, 0.6 * spacing, max(1, int(0.2 * spacing)))
        if np.linalg.norm(red - blue) < 2.0 * MOST_COLOUR * np.linalg.norm(green):
            return False
    return True


def _viewed(image: NDArray[np.float32], pixels_per_mm: float, wanted: float) -> _View:
    """The middle at full size; binned, and so more of it, where the threads prove coarse."""
    # the finest cloth keeps enough pixels at the first step, a narrow picture enough for a tile
    narrow, wide = sorted(image.shape[:2])
    step = max(1, min(int(10 * pixels_per_mm / FINEST / 6.5), wide // 500, narrow // NARROWEST))
    while True:
        small, left, top = _middle(image, step)
        scale = pixels_per_mm / step
        shortest, longest = COARSEST / (10 * scale), min(FINEST / (10 * scale), 0.46)
        if longest <= shortest:
            raise InputError(
                f"{pixels_per_mm:.3g} pixels to a mm are too few to see threads; move closer"
            )
        channels = flattened(small)
        view = _View(
            small, channels, left, top, step, _readings(channels, shortest, longest, wanted)
        )
        whole = wide <= LONGEST_SIDE * step or narrow < 2 * NARROWEST * step
        if view.readings:
            best = view.readings[0].frame
            pixels = 1 / max(np.hypot(*best.first), np.hypot(*best.second))
        if whole or (view.readings and pixels < MANY_PIXELS):
            return view
        step *= 2


def _middle(image: NDArray[np.float32], step: int) -> tuple[NDArray[np.float32], int, int]:
    rows, columns = image.shape[:2]
    side = LONGEST_SIDE * step
    top, left = max(0, (rows - side) // 2), max(0, (columns - side) // 2)
    image = image[top : top + side, left : left + side]
    if step > 1:
        h, w = image.shape[0] // step, image.shape[1] // step
        image = image[: h * step, : w * step].reshape(h, step, w, step, -1).mean((1, 3))
    return image, left, top


def _told(reading: Reading, wanted: float, scale: float) -> Alternative:
    frame = reading.frame
    (warp, weft), angle, _ = _named(frame.first, frame.second, (0.0, 0.0), wanted)
    ends, picks = (10 * scale * float(np.hypot(*v)) for v in (warp, weft))
    return Alternative(ends, picks, angle, reading.share)


def _region(picture: ArrayLike, region: tuple[int, int, int, int] | None):  # type: ignore[no-untyped-def]
    image = np.asarray(picture)
    if image.ndim == 2:
        image = image[..., None]
    if image.ndim != 3 or image.shape[2] not in (1, 3):
        raise InputError("a picture is (rows, columns) or (rows, columns, 3)")
    rows, columns = image.shape[:2]
    left, top, right, bottom = region or (0, 0, columns, rows)
    left, top = max(0, int(left)), max(0, int(top))
    right, bottom = min(columns, int(right)), min(rows, int(bottom))
    if right - left < NARROWEST or bottom - top < NARROWEST:
        raise InputError(
            f"the marked region is smaller than {NARROWEST} pixels; mark a larger one"
        )
    image = image[top:bottom, left:right].astype(np.float32)
    if not np.isfinite(image).all():
        raise InputError("the picture holds values that are no numbers")
    return image, (left, top, right, bottom)


def flattened(image: NDArray[np.float32]) -> NDArray[np.float32]:
    """Channels (n, rows, columns) with uneven light divided out, the busiest two combinations.

    The square root makes the noise of a camera roughly even. Threads of equal lightness but of
    different hue still show, since the combinations are principal components of the colours.

    Examples
    --------
    >>> slope = np.linspace(0.2, 0.8, 240)[None, :, None].repeat(240, 0).repeat(3, 2)
    >>> flat = flattened(slope.astype(np.float32))  # light that falls off takes no part
    >>> bool(flat.std() < slope.std())
    True
    """
    flat = _even(image)
    values = flat.reshape(len(flat), -1)
    variance, vectors = np.linalg.eigh(np.cov(values[:, ::5]).reshape(len(flat), len(flat)))
    if variance[-1] < 1e-9:
        raise InputError("the picture is blank: it shows no threads")
    return np.tensordot(vectors[:, ::-1].T[:2], flat, 1).astype(np.float32)


def _even(image: NDArray[np.float32]) -> NDArray[np.float32]:
    """The picture's own channels (n, rows, columns), square roots, uneven light divided out."""
    root = np.moveaxis(np.sqrt(np.clip(image, 0, None)), -1, 0).astype(np.float32)
    light = np.stack([_smooth(c, min(c.shape) / 6) for c in root])
    if float(light.max()) <= 1e-4:
        raise InputError("the picture is black; shoot it again in daylight")
    return np.asarray(root / np.maximum(light, 0.02 * float(light.max())) - 1)


def _smooth(channel: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """A wide Gaussian mean, worked out on 8 x 8 blocks."""
    rows, columns = channel.shape
    padded = np.pad(channel, ((0, -rows % 8), (0, -columns % 8)), mode="edge")
    blocks = padded.reshape(padded.shape[0] // 8, 8, padded.shape[1] // 8, 8).mean((1, 3))
    blocks = gaussian_filter(blocks, sigma / 8)
    y = (np.arange(rows) - 3.5) / 8
    x = (np.arange(columns) - 3.5) / 8
    return map_coordinates(blocks, np.meshgrid(y, x, indexing="ij"), order=1, mode="nearest")


def _readings(
    channels: NDArray[np.float32], shortest: float, longest: float, upright: float
) -> list[Reading]:
    """Readings from a large and a smaller window: the first resolves, the second forgives."""
    size = min(channels.shape[1:])
    tiles = sorted({size // 2 * 2, max(NARROWEST, size * 5 // 8 // 2 * 2)}, reverse=True)
    return weighed(
        [find_frames(spectrum(channels, tile), shortest, longest, upright) for tile in tiles]
    )


def _local(channels: NDArray[np.float32], frequency: Array, sigma: float, thin: int):  # type: ignore[no-untyped-def]
    """Complex amplitude of a frequency in a Gaussian neighbourhood, (n, rows, columns) thinned."""
    _, rows, columns = channels.shape
    y = np.exp(-2j * np.pi * frequency[1] * np.arange(rows)).astype(np.complex64)
    x = np.exp(-2j * np.pi * frequency[0] * np.arange(columns)).astype(np.complex64)
    h, w = rows // thin, columns // thin
    turned = (channels * (y[:, None] * x))[:, : h * thin, : w * thin]
    turned = turned.reshape(len(channels), h, thin, w, thin).mean((2, 4))
    return gaussian_filter(turned, (0, sigma / thin, sigma / thin), truncate=3.0)


def _measure(channels: NDArray[np.float32], frequency: Array, sigma: float):  # type: ignore[no-untyped-def]
    """Refined frequency at the middle, its standard error and the coherence.

    Places near one another tell first, which mistake no wave within a lattice step for another;
    places further apart then tell how exactly.
    """
    thin = max(1, int(sigma / 3))
    frequency = np.array(frequency, dtype=float)
    coherence, error = 0.0, np.inf
    near, far = (max(1, round(reach * sigma / thin)) for reach in (0.8, 2.5))
    for hop in (near, far):
        z = _local(channels, frequency, sigma, thin)
        rows, columns = z.shape[1:]
        if rows <= 2 * far or columns <= 2 * far:
            return frequency, np.inf, 0.0
        agree, weight, errors = 0.0, 0.0, []
        for axis in (0, 1):
            q = (
                (z[:, :, hop:] * z[:, :, :-hop].conj()).sum(0)
                if axis == 0
                else (z[:, hop:] * z[:, :-hop].conj()).sum(0)
            )
            size = np.abs(q) + 1e-20
            mean = np.angle(q.sum())
            y, x = np.mgrid[-1 : 1 : q.shape[0] * 1j, -1 : 1 : q.shape[1] * 1j]
            turn = np.angle(q * np.exp(-1j * mean))
            basis = np.column_stack([np.ones(q.size), x.ravel(), y.ravel()])
            w = np.sqrt(size / size.max()).ravel()
            w = w * (np.abs(turn.ravel()) < 1.5)
            slope = np.linalg.lstsq(basis * w[:, None], turn.ravel() * w, rcond=None)[0]
            slope[1:] = np.clip(slope[1:], -1.0, 1.0)
            rest = q * np.exp(-1j * (mean + (basis @ slope).reshape(q.shape)))
            agree += float(np.real(rest.sum()))
            weight += float(size.sum())
            per_turn = 2 * np.pi * hop * thin
            frequency[axis] += (mean + slope[0]) / per_turn
            # a thread that lies wrong does so all along: what remains is summed along the threads
            # first, and only places across them are independent
            row = rest.sum(axis)
            patches = max(2.0, row.size * thin / (2 * np.sqrt(np.pi) * sigma))
            scatter = np.sqrt(np.mean(np.angle(row) ** 2 * np.abs(row)) / np.abs(row).mean())
            errors.append(TELESCOPED * scatter / per_turn / np.sqrt(patches))
        coherence = max(0.0, agree / weight)
        error = float(np.hypot(*(np.array(errors) * frequency)) / np.hypot(*frequency))
    return frequency, error, coherence


def _refine(channels: NDArray[np.float32], frame: Frame):  # type: ignore[no-untyped-def]
    """Thread frequencies from the phases of the frame's strongest orders."""
    repeat = np.array(frame.repeat, dtype=float)
    reciprocal = np.linalg.inv(repeat).T @ np.array([frame.first, frame.second])
    apart = min(
        np.hypot(*(i * reciprocal[0] + j * reciprocal[1]))
        for i, j in ((1, 0), (0, 1), (1, 1), (1, -1))
    )
    sigma = 0.6 / apart
    wanted = [np.array([1.0, 0.0]), np.array([0.0, 1.0])]
    for order in frame.orders[np.argsort(-frame.strength)]:
        if np.abs(order).max() <= 2 and all(
            np.abs(order - k).sum() > 1e-6 and np.abs(order + k).sum() > 1e-6 for k in wanted
        ):
            wanted.append(order)
        if len(wanted) == 6:
            break
    peaks, rows, values, weights, errors = [], [], [], [], []
    base = np.array([frame.first, frame.second])
    for order in wanted:
        start = order @ base
        refined, error, coherence = _measure(channels, start, sigma)
        if coherence < LEAST_COHERENCE or np.hypot(*(refined - start)) > 0.3 * apart:
            continue
        peaks.append(
            Peak((float(refined[0]), float(refined[1])), (float(order[0]), float(order[1])),
                 float(coherence**2 / max(1e-9, 1 - coherence**2)), float(coherence))
        )
        rows.append(order)
        values.append(refined)
        errors.append(error)
        weights.append(1.0 / (error + 2e-4 * float(np.hypot(*start))))
    if len(rows) < 2 or np.linalg.matrix_rank(np.array(rows), 1e-3) < 2:
        return frame.first, frame.second, (1.0, 1.0), 0.0, ()
    a, b, w = np.array(rows), np.array(values), np.array(weights)
    solution = np.linalg.lstsq(a * w[:, None], b * w[:, None], rcond=None)[0]
    rest = b - a @ solution
    inflate = max(1.0, float(np.sqrt(np.sum((rest * w[:, None]) ** 2) / max(1, 2 * len(a) - 4))))
    sigma_f = np.sqrt(np.diag(np.linalg.inv((a * w[:, None]).T @ (a * w[:, None])))) * inflate
    first, second = solution
    # orders share the threads' own unevenness, so together they are no surer than the best of them
    own = [
        min(
            (e / abs(r[k]) for e, r in zip(errors, rows, strict=True) if abs(r[k]) > 0.2),
            default=1.0,
        )
        for k in (0, 1)
    ]
    spread = tuple(
        float(np.hypot(LEAST_SPREAD, np.hypot(sigma_f[k], own[k]) / np.hypot(*solution[k])))
        for k in (0, 1)
    )
    coherence = sorted((p.coherence for p in peaks), reverse=True)[1]
    return first, second, spread, coherence, tuple(peaks)


def _angle(vector: Array) -> float:
    """Degrees of the threads' direction off upright, -90 to 90, positive leaning right."""
    return float((np.degrees(np.arctan2(vector[1], vector[0])) + 90) % 180 - 90)


def _apart(one: float, two: float) -> float:
    """Degrees between two directions of threads, 0 to 90."""
    return abs((one - two + 90) % 180 - 90)


def _wanted(warp_direction: str | float) -> float:
    if isinstance(warp_direction, str):
        try:
            return {"up": 0.0, "across": 90.0}[warp_direction]
        except KeyError:
            raise InputError(
                f'the warp runs "up", "across" or at an angle in degrees, got {warp_direction!r}',
                field="warp_direction",
            ) from None
    return float(warp_direction)


def _named(first: Array, second: Array, spread: tuple[float, float], wanted: float):  # type: ignore[no-untyped-def]
    """Warp and weft with the warp's angle and their spreads: warp runs nearest ``wanted``."""
    off = [_apart(_angle(v), wanted) for v in (first, second)]
    if off[0] <= off[1]:
        return (first, second), _angle(first), spread
    return (second, first), _angle(second), spread[::-1]


def _swapped(peaks: tuple[Peak, ...]) -> tuple[Peak, ...]:
    return tuple(
        Peak(p.frequency, (p.order[1], p.order[0]), p.strength, p.coherence) for p in peaks
    )
