"""The pieces of cloth to hang: how they are cut and how they start. mm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import bodies
import numpy as np

BACK, SIDE = -np.pi / 2, 0.0


@dataclass(frozen=True)
class Pattern:
    """Cloth on a grid, as cut and as it starts.

    ``lay`` (rows, columns + wrap, 2): flat places, columns unwrapped. ``to_grain`` takes flat
    places to weft and warp. ``start`` (rows, columns, 3). ``pinned`` and ``layers`` (rows,
    columns). ``runs``: columns at which pieces begin and end. ``creases``: columns pressed.
    ``reach``: how far a thread down the cloth may stretch. ``centre``: lengths are cut along
    rays from the origin of ``lay`` (a circle), not straight down. ``edges``: which distances
    count as hem, seam or selvedge, from ``Pattern.distances``.
    """

    lay: np.ndarray
    start: np.ndarray
    pinned: np.ndarray
    layers: np.ndarray
    wrap: bool
    runs: tuple[int, ...]
    hem: float
    to_grain: Callable = lambda lay: lay
    creases: tuple[int, ...] = ()
    reach: float = 1.002
    centre: bool = False
    sides: str = "seam"  # what the pieces' side edges are: seam, hem or selvedge

    def down(self):
        """Length along each column from the top, (rows, columns + wrap)."""
        step = np.linalg.norm(np.diff(self.lay, axis=0), axis=-1)
        return np.concatenate([np.zeros((1, self.lay.shape[1])), step.cumsum(0)])

    def corners(self, places):
        return np.stack([places[:-1, :-1], places[1:, :-1], places[1:, 1:], places[:-1, 1:]], 2)

    def lengthened(self, factor):
        """Every column longer by its factor."""
        full = np.append(factor, factor[0]) if self.wrap else factor
        top = self.lay[:1]
        return replace(self, lay=top + (self.lay - top) * full[None, :, None])

    def pieces(self):
        """For each piece: its columns, and distances to hem, seam and selvedge there."""
        down = self.down()
        far = np.full(down.shape, np.inf)
        for a, b in zip(self.runs[:-1], self.runs[1:], strict=True):
            n = np.arange(a, b + 1)
            to_hem, lay = (down[-1:] - down)[:, n], self.lay[:, n]
            sides = []
            for edge in (lay[:, :1], lay[:, -1:]):
                along = edge[-1] - edge[0]
                along = along / np.linalg.norm(along)
                away = lay - edge[:1]
                sides.append(np.abs(away[..., 0] * along[..., 1] - away[..., 1] * along[..., 0]))
                if self.centre:  # the line through the origin is a side on this half only
                    ahead = (lay * along).sum(-1)
                    sides[-1] = np.where(ahead > 0, sides[-1], np.linalg.norm(lay, axis=-1))
            side = np.minimum(*sides)
            if self.sides == "hem":
                to_hem = np.minimum(to_hem, side)
            yield (
                n, to_hem, side if self.sides == "seam" else far[:, n],
                side if self.sides == "selvedge" else far[:, n],
            )  # fmt: skip


def finer(pattern, places):
    """The same cloth on the same surface, every quad split across."""

    def split(a):
        out = np.stack([a[:-1], 0.5 * (a[:-1] + a[1:])], 1).reshape(-1, *a.shape[1:])
        return np.concatenate([out, a[-1:]])

    pinned = split(pattern.pinned.astype(float)) == 1
    layers = np.where(split(pattern.layers) > 1.5, 2.0, 1.0)
    return replace(
        pattern, lay=split(pattern.lay), start=split(places), pinned=pinned, layers=layers
    )


# ---------------------------------------------------------------- gathers

_TURNS = np.linspace(0.0, 2.35, 236)
_PHASE = np.linspace(0.0, 1.0, 1025)


def _meanders():
    """Gathers as curves of even bending, direction w sin(2 pi s): along (w, s) and out (w, s)."""
    angle = _TURNS[:, None] * np.sin(2 * np.pi * _PHASE)

    def run(f):
        step = 0.5 * (f[:, 1:] + f[:, :-1]) * (_PHASE[1] - _PHASE[0])
        return np.concatenate([np.zeros((len(f), 1)), step.cumsum(1)], 1)

    return run(np.cos(angle)), run(np.sin(angle))


_ALONG, _OUT = _meanders()


def meander(ratio, phase):
    """Places (along, out) on a gather of length 1 drawn in to ``ratio``; both (...,)."""
    w = np.interp(-np.asarray(ratio, float), -_ALONG[:, -1], _TURNS)
    k = np.minimum((w / _TURNS[1]).astype(int), len(_TURNS) - 2)
    f = w / _TURNS[1] - k
    s = np.clip(phase, 0, 1) * (len(_PHASE) - 1)
    i = np.minimum(s.astype(int), len(_PHASE) - 2)
    g = s - i

    def at(table):
        low = table[k, i] * (1 - g) + table[k, i + 1] * g
        high = table[k + 1, i] * (1 - g) + table[k + 1, i + 1] * g
        return low * (1 - f) + high * f

    return at(_ALONG), at(_OUT)


def uneven(total, mean, spread, random):
    """Lengths about ``mean`` that add up to ``total``."""
    n = max(3, round(total / mean))
    part = np.exp(spread * random.standard_normal(n).clip(-1.5, 1.5))
    return total * part / part.sum()


def phases(lengths, columns, closed):
    """Which gather each column lies on, where on it (0-1), and the gathers' borders (0-1)."""
    edges = np.concatenate([[0.0], lengths.cumsum()]) / lengths.sum()
    share = np.arange(columns) / (columns if closed else columns - 1)
    gather = np.clip(np.searchsorted(edges, share, "right") - 1, 0, len(lengths) - 1)
    phase = (share - edges[gather]) / (edges[gather + 1] - edges[gather])
    return gather, phase, edges


def graded(length, rows, hem, first=0.42):
    """Distances down the cloth: closer in the gathers, one of them where the hem begins."""
    step = first + (1 - first) * np.clip(np.arange(rows - 1) / 9.0, 0, 1)
    down = np.concatenate([[0.0], step.cumsum()]) * length / step.sum()
    at = np.argmin(np.abs(down - (length - hem)))
    begin = down[at]
    return np.where(
        down <= begin,
        down * (length - hem) / begin,
        length - (length - down) * hem / (length - begin),
    )


def seams(columns, width, cloth_width=1080.0):
    """Columns at seams when cloth of ``cloth_width`` between seam lines is joined to ``width``."""
    count = max(1, int(np.ceil(width / cloth_width - 1e-9)))
    return tuple(np.round(np.linspace(0, columns, count + 1)).astype(int).tolist())


# ---------------------------------------------------------------- skirts


def _sections(down, hem_radius, top, begin, random, clear=4.0):
    """For each row: a closed curve round the body (points, run) and its height.

    From the waist curve to a round hem, never nearer the lining's surface than ``clear``.
    """
    angle = begin + np.linspace(0, 2 * np.pi, 1441)
    waist = bodies.torso_radius(angle, np.full_like(angle, bodies.WAIST_Z)) + top
    mean, z, last = waist.mean(), bodies.WAIST_Z, None
    wobble = sum(
        random.normal(0, 0.02) * np.cos(k * angle + random.uniform(0, 6.28)) for k in range(2, 9)
    )
    for s in down:
        t = s / down[-1]
        radius = mean + (hem_radius - mean) * t
        if last is not None:
            far = (s - last[0]) ** 2
            z -= np.sqrt(max(far - (radius - last[1]) ** 2, 0.05 * far))
        last = (s, radius)
        blend = np.clip(t / 0.25, 0, 1)
        blend = blend * blend * (3 - 2 * blend)
        curve = waist * (1 - blend) + radius * (1 + wobble * t) * blend
        if s > 0:
            floor = bodies.lining_radius(angle, np.full_like(angle, z)) + clear
            curve = 0.5 * (curve + floor + np.sqrt((curve - floor) ** 2 + 36.0))
        p = np.stack([curve * np.cos(angle), curve * np.sin(angle)], -1)
        run = np.concatenate([[0.0], np.linalg.norm(np.diff(p, axis=0), axis=1).cumsum()])
        yield p, run, z


def _on_curve(p, run, place, rise, z):
    """Points at ``place`` along a closed curve and ``rise`` out from it."""

    def at(s, k):
        return np.interp(s % run[-1], run, p[:, k])

    tx, ty = at(place + 3, 0) - at(place - 3, 0), at(place + 3, 1) - at(place - 3, 1)
    length = np.hypot(tx, ty)
    x, y = at(place, 0) + ty / length * rise, at(place, 1) - tx / length * rise
    return np.stack([x, y, np.full_like(x, z)], -1)


def _rectangle(down, width, columns, wrap):
    u = np.arange(columns + 1) * width / columns if wrap else np.linspace(0, width, columns)
    v, u = np.meshgrid(down, u, indexing="ij")
    return np.stack([u, v], -1)


def gathered(fullness, columns, rows, seed, length=660.0, mean=36.0, spread=0.28, hem=40.0):
    """A skirt of straight widths, gathered into a waist of 700 mm."""
    random = np.random.default_rng(seed)
    width = 700.0 * fullness
    down = graded(length, rows, hem)
    lengths = uneven(width, mean, spread, random)
    gather, phase, edges = phases(lengths, columns, True)
    span = edges[gather + 1] - edges[gather]
    open_ = 0.86 if fullness < 2.5 else 0.97  # so that small fullness is not hung out of its folds
    hem_radius = min(open_ * width / (2 * np.pi), 108 + 0.75 * length)
    start = []
    for p, run, z in _sections(down, hem_radius, 2.5, BACK, random):
        ratio = np.array([min(run[-1] / width, 1.0)])
        along, rise = meander(np.full(columns, ratio), phase)
        along = along / meander(ratio, np.ones(1))[0][0]
        place = (edges[gather] + span * along) * run[-1]
        start.append(_on_curve(p, run, place, rise * span * width, z))
    pinned = np.zeros((rows, columns), bool)
    pinned[0] = True
    layers = np.ones((rows, columns))
    layers[down >= length - hem - 1e-6] = 2.0
    return Pattern(
        _rectangle(down, width, columns, True), np.array(start), pinned, layers, True,
        seams(columns, width), hem,
    )  # fmt: skip


def _zigzag(kind, ratio):
    """Corners (along, out) of one pleat whose face is 1 wide, opened to ``ratio``."""
    if kind == "knife":  # face, then back under, then forward again: three lengths of 1
        s = np.linspace(0, 1, 2001)
        back = np.concatenate([np.sqrt(1 - s * s), -np.sqrt(1 - s[::-1] ** 2)[1:]])
        s = np.concatenate([s, s[::-1][1:]])
        reach = 2 * np.sqrt(1 - (s / 2) ** 2) - back
        s, c = np.interp(ratio, reach, s), np.interp(ratio, reach, back)
        face = np.array([np.sqrt(1 - (s / 2) ** 2), s / 2])
        return np.array([[0, 0], face, face - [c, s], 2 * face - [c, s]])
    # box: face 1, back under 1/2, under 1, back 1/2
    c = np.clip(2 - ratio, -1, 1)
    h = 0.5 * np.sqrt(max(1 - c * c, 0))
    return np.array([
        [0, h], [1, h], [1 - c / 2, 0], [2 - c / 2, 0], [2 - c, h],
    ])  # fmt: skip


def pleated(kind, pleats, rows, seed, length=660.0, hem=40.0):
    """A skirt in pressed pleats, three layers deep at the waist of 700 mm."""
    random = np.random.default_rng(seed)
    parts = (5, 5, 5) if kind == "knife" else (8, 4, 8, 4)
    ratio0 = 1.05 if kind == "knife" else 1.12
    face = 715.0 / pleats / ratio0
    step = face / (5 if kind == "knife" else 8)
    columns = pleats * sum(parts)
    width = columns * step
    down = graded(length, rows, hem, first=0.6)
    ends = np.concatenate([[0], np.cumsum(parts)])
    number, within = np.divmod(np.arange(columns), sum(parts))
    start = []
    for p, run, z in _sections(down, 225.0, 4.0, BACK, random, clear=5.0):
        unit = run[-1] / pleats
        corners = _zigzag(kind, min(unit / face, 2.9 if kind == "knife" else 2.9))
        along = np.interp(within, ends, corners[:, 0]) * face
        rise = np.interp(within, ends, corners[:, 1]) * face
        rise = rise - corners[:, 1].min() * face
        along = along * unit / (corners[-1, 0] * face)
        start.append(_on_curve(p, run, number * unit + along, rise, z))
    pinned = np.zeros((rows, columns), bool)
    pinned[0] = True
    layers = np.ones((rows, columns))
    layers[down >= length - hem - 1e-6] = 2.0
    at = (5, 10) if kind == "knife" else (0, 8, 12, 20)
    creases = tuple(k * sum(parts) + a for k in range(pleats) for a in at)
    return Pattern(
        _rectangle(down, width, columns, True), np.array(start), pinned, layers, True,
        seams(columns, width), hem, creases=creases,
    )  # fmt: skip


def circle(grain_deg, columns, rows, seed, length=630.0, hem=12.0):
    """A circle skirt of two halves, seams at the sides; starts laid out flat at the waist.

    ``grain_deg``: warp at the centre front, from straight down.
    """
    random = np.random.default_rng(seed)
    angle = SIDE + np.arange(columns + 1) * 2 * np.pi / columns
    down = np.linspace(0, length - hem, rows - 1)
    down = np.append(down, length)
    r0 = 707.0 / (2 * np.pi)
    lay = (r0 + down)[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], -1)[None]
    fine = SIDE + np.linspace(0, 2 * np.pi, 1441)
    waist = bodies.torso_radius(fine, np.full_like(fine, bodies.WAIST_Z)) + 3.0
    p = np.stack([waist * np.cos(fine), waist * np.sin(fine)], -1)
    run = np.concatenate([[0.0], np.linalg.norm(np.diff(p, axis=0), axis=1).cumsum()])
    place = np.arange(columns) / columns * run[-1]
    ring = _on_curve(p, run, place, np.zeros(columns), bodies.WAIST_Z)
    a = angle[:-1]
    away = np.stack([np.cos(a), np.sin(a)], -1)
    wave = sum(
        random.normal(0, 1.0) * np.cos(k * a + random.uniform(0, 6.28)) for k in range(3, 16)
    )
    start = np.repeat(ring[None], rows, 0)
    start[..., :2] += down[:, None, None] * away[None]
    start[..., 2] += 10.0 * (down / length)[:, None] ** 2 * wave - 0.12 * down[:, None]
    pinned = np.zeros((rows, columns), bool)
    pinned[0] = True
    layers = np.ones((rows, columns))
    layers[-1] = 2.0
    turn = np.radians(grain_deg)

    def to_grain(flat):
        x, y = flat[..., 0], flat[..., 1]  # the centre front is +y: there the warp runs down
        return np.stack(
            [x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)], -1
        )

    return Pattern(
        lay, start, pinned, layers, True, (0, columns // 2, columns), hem, to_grain,
        reach=1.004 if grain_deg == 0 else 1.01, centre=True,
    )  # fmt: skip


NECK_Z = 1446.0


def cape(columns, rows, seed, length=470.0, hem=14.0):
    """A cape cut as a circle less a wedge, open at the front; starts laid out flat at the neck. Of
    a whole circle the front edges fall across one another and turn their wrong side out."""
    random = np.random.default_rng(seed)
    gap = np.radians(50.0)
    angle = np.pi / 2 + gap / 2 + np.linspace(0, 2 * np.pi - gap, columns)
    down = np.append(np.linspace(0, length - hem, rows - 1), length)
    fine = np.pi / 2 + np.linspace(0, 2 * np.pi, 1441)
    neck = bodies.torso_radius(fine, np.full_like(fine, NECK_Z)) + 4.0
    p = np.stack([neck * np.cos(fine), neck * np.sin(fine)], -1)
    run = np.concatenate([[0.0], np.linalg.norm(np.diff(p, axis=0), axis=1).cumsum()])
    r0 = run[-1] / (2 * np.pi)
    lay = (r0 + down)[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], -1)[None]
    place = (angle - np.pi / 2) / (2 * np.pi) * run[-1]
    ring = _on_curve(p, run, place, np.zeros(columns), NECK_Z)
    away = np.stack([np.cos(angle), np.sin(angle)], -1)
    wave = sum(
        random.normal(0, 1.0) * np.cos(k * angle + random.uniform(0, 6.28)) for k in range(3, 14)
    )
    start = np.repeat(ring[None], rows, 0)
    start[..., :2] += down[:, None, None] * away[None]
    start[..., 2] += 7.0 * (down / length)[:, None] ** 2 * wave + 4.0 * (down > 0)[:, None]
    pinned = np.zeros((rows, columns), bool)
    pinned[0] = True
    layers = np.ones((rows, columns))
    layers[-1] = layers[:, 0] = layers[:, -1] = 2.0

    def to_grain(flat):  # the centre back (-y) hangs on the straight grain
        return np.stack([-flat[..., 0], -flat[..., 1]], -1)

    return Pattern(
        lay, start, pinned, layers, False, (0, columns - 1), hem, to_grain, reach=1.006,
        centre=True, sides="hem",
    )  # fmt: skip


def panel(columns, rows, seed, width=1120.0, finished=560.0, length=900.0, hem=50.0):
    """One width of cloth with its selvedges, gathered to a straight top; starts in its folds."""
    random = np.random.default_rng(seed)
    down = graded(length, rows, hem, first=0.6)
    lengths = uneven(width, 62.0, 0.3, random)
    gather, phase, edges = phases(lengths, columns, False)
    span = edges[gather + 1] - edges[gather]
    along, rise = meander(np.full(columns, finished / width), phase)
    along = along / meander(np.array([finished / width]), np.ones(1))[0][0]
    x = -((edges[gather] + span * along) - 0.5) * finished
    y = rise * span * width
    start = np.stack(
        np.broadcast_arrays(x[None] * (1 + 0.03 * (down / length)[:, None]), y[None],
                            1000.0 - down[:, None]), -1
    )  # fmt: skip
    start = start.copy()
    start[1:, :, 1] += 1.5 * random.standard_normal(columns).cumsum()[None] / np.sqrt(columns)
    pinned = np.zeros((rows, columns), bool)
    pinned[0] = True
    layers = np.ones((rows, columns))
    layers[down >= length - hem - 1e-6] = 2.0
    return Pattern(
        _rectangle(down, width, columns, False), start, pinned, layers, False,
        (0, columns - 1), hem, sides="selvedge",
    )  # fmt: skip


def swatch(count, seed, size=300.0, turn_deg=28.0, above=34.0):
    """A square of cloth, raw edges, laid flat over a hand; its left edge is the selvedge."""
    random = np.random.default_rng(seed)
    side = np.linspace(0, size, count)
    v, u = np.meshgrid(side, side, indexing="ij")
    lay = np.stack([u, v], -1)
    a = np.radians(turn_deg)
    x, y = 0.5 * size - u, v - 0.5 * size  # about a hand along y: u to the right of one at its tips
    wave = sum(
        random.normal(0, 1) * np.cos((random.normal(0, 1) * u + random.normal(0, 1) * v) / 40)
        for _ in range(8)
    )
    x, y = bodies.across(x * np.cos(a) - y * np.sin(a) - 2, x * np.sin(a) + y * np.cos(a) + 34)
    start = np.stack([x, y, above + 0.3 * wave], -1)
    none = np.zeros((count, count), bool)
    return Pattern(
        lay, start, none, np.ones((count, count)), False, (0, count - 1), 0.0, reach=0.0,
        sides="selvedge",
    )  # fmt: skip
