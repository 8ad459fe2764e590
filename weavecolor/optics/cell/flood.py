"""One even flood of light through a cell, kept ray by ray, and read between all directions.

For pictures of cloth at every slope: light from all sides is followed once, without dye, and each
ray that leaves is kept with where it came from. Between two directions a fixed angle apart, as an
eye and a lamp are while the cloth turns between them, three numbers are left, and every ray that
turned by about that angle is a sample of them; so is each that the cell's mirrors and reciprocity
make of it. Knows cells and directions; knows nothing of cloths, stacks, scenes or turning.

Where both directions lie on one side of the cloth: the line half way between them, which a smooth
rod mirrors light about (on an equal-area disc), and how they lie about it. Where the cloth lies
between them: the line along which light goes on, and which way it is bent, by the azimuth of their
sum, which is square to a rod that bends it. So the narrow fans of rods lie along the tables' axes,
and are looked at as closely as the stated aperture, and what changes slowly is looked at widely.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray
from scipy import sparse

from weavecolor.cache import Kept, breathe
from weavecolor.optics.cell import filaments, paths
from weavecolor.optics.cell.aimed import MOST_MET, aimed
from weavecolor.optics.cell.filaments import FilamentCell
from weavecolor.optics.cell.nodes import nodes
from weavecolor.scene.scene import APERTURE_DEG

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

_GLINT_RAYS = 400_000


@dataclass(frozen=True)
class _Look:
    """Nodes of the tables and how widely each is looked at, degrees: across the disc of half lines
    and round them, across the disc of lines onward and round them, and how far off the angle;
    ``few``: how much farther where directions are few. As for a light of the eye's aperture, else
    ``moved``: the disc, degrees to each side, that lines move over as the eye looks all over one.
    """

    disc: int
    round_: int
    onward: int
    bent: int
    wide: tuple[float, float, float, float, float]
    few: float = 0.5
    moved: float = 0.0

    def of_light(self, half_deg: float) -> _Look:
        """The same for a light that spreads over ``half_deg`` to each side. Evenly filled, a disc
        has a standard deviation of half its half angle each way; the line between moves by half as
        much as the light, and turns by as much over the sine of half the angle."""
        if half_deg == APERTURE_DEG:
            return self
        more = 0.25 * (half_deg**2 - APERTURE_DEG**2)
        line, own = 0.25 * more, -0.0625 * APERTURE_DEG**2
        # the last is half a tent
        added = (own, line / _AT_WINDOW**2, own / _AT_WINDOW, line, 6.0 * more)
        half, turn, onward, bend, off = np.sqrt(np.square(self.wide) + added).tolist()
        return replace(self, wide=(half, turn, onward, bend, off), moved=0.5 * half_deg)

    def off(self, angle: float) -> float:
        """How far off ``angle`` light is looked at, radians."""
        # of directions near one another, or near opposite ones, there are few
        near = max(25.0 - float(np.degrees(min(angle, np.pi - angle))), 0.0)
        return float(np.radians(self.wide[4] + self.few * near))


#: Sine of half the angle for which the width of turns is told.
_AT_WINDOW = 0.46
#: Rods; what many filaments send on; what the first surface met sends back.
_RODS = _Look(96, 24, 32, 144, (1.9, 5.0, 3.0, 1.5, 8.0), 0.0)
_MANY = _Look(48, 16, 24, 72, (5.0, 15.0, 7.0, 6.0, 20.0))
_FIRST = _Look(96, 16, 32, 144, (2.2, 8.0, 5.0, 2.0, 12.0))


@dataclass(frozen=True, eq=False)
class _Samples:
    """Rays by the angle (n,) between where they came from and went to, rising: kind 0 above the
    cloth, 1 below, 2 through; ``place`` (n, 3): on the disc -1 to 1, and round as a share of all;
    ``weight`` (n,) share of all light from one side; ``column`` (n,) lengths as in ``kept``."""

    angle: Floats
    kind: NDArray[np.int8]
    place: Floats
    weight: Floats
    column: NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Flood:
    """A flood through ``cell``: ``inner`` the rays as samples, but for light of single clear rods,
    which is aimed (:mod:`weavecolor.optics.cell.aimed`); ``first`` those of light that met one
    clear surface of many filaments alone, which no dye colours.
    ``came``, ``went`` (n, 3): directions of the rays to their source and onwards; ``share``,
    ``length`` (n,): their weights and columns."""

    cell: FilamentCell
    inner: _Samples
    first: _Samples | None
    came: Floats
    went: Floats
    share: Floats
    length: NDArray[np.int32]

    @property
    def rods(self) -> bool:
        return self.first is None

    def between(
        self, rings: NDArray[np.integer[Any]], from_: Array, left: Array
    ) -> NDArray[np.float32]:
        """Radiance factors (B, R, 2D) between parts of the sphere and the nodes.

        ``rings`` (2, n): part that each ray came from and went to; ``from_`` (R,): share of even
        light that each part has; ``left`` as from ``kept``.
        """
        grid = nodes()
        edges = filaments.ring_edges(grid)
        size, many = 2 * grid.half, from_.size
        came, went = (paths.nodes_of(v.astype(float), edges, grid.steps) for v in
                      (self.came, self.went))  # fmt: skip
        # each ray once as it went and once the other way
        row = np.concatenate([rings[0] * size + went, rings[1] * size + came])
        twice = np.concatenate([self.share, self.share])
        table = sparse.csr_array(
            (twice, (row, np.concatenate([self.length, self.length]))),
            shape=(many * size, left.shape[0]),
        )
        out = (table @ left.astype(np.float32)).reshape(many, size, -1)
        out /= 2.0 * from_[:, None, None] * grid.share[None, :, None]
        return np.ascontiguousarray(np.moveaxis(out, 2, 0), np.float32)


@dataclass(frozen=True, eq=False)
class Factors:
    """Radiance factors between directions one fixed angle apart, three channels: ``sides`` (2, N,
    N, P, 3) on the face's side and the back's, by the disc of half lines and half a turn about
    them; ``through`` (M, M, Q, 3) by the disc of lines onward and the azimuth of the bend."""

    sides: Floats
    through: Floats


def flood_rays(cell: FilamentCell) -> int:
    """Rays from each node."""
    each = filaments.paths_each(cell)
    if cell.rods:
        return each
    return (6 if filaments.split(cell) else 2) * each


_floods: Kept[tuple[FilamentCell, int, float], Flood] = Kept(3)
_aims: Kept[tuple[FilamentCell, float, float, float], _Samples] = Kept(
    30_000_000, lambda made: 25 * len(made.angle)
)


def flood(cell: FilamentCell) -> Flood:
    """The flood through a cell; kept."""
    each = flood_rays(cell)
    return _floods.one((cell, each, filaments.EFFORT), lambda: _flooded(cell, each))


def _flooded(cell: FilamentCell, each: int) -> Flood:
    rods = cell.rods
    # of rods, the very rays that their table between nodes is made of
    rays = filaments.node_rays(cell, nodes(), each, 0.0 if rods else paths.UNSPLIT)
    filaments.let_go(cell)
    inner_ = rays.met > 0
    start = rays.start[inner_]
    came = rays.came[start]
    went = np.ascontiguousarray(rays.toward[inner_])
    column = rays.column[inner_]
    share = (nodes().share[rays.label[start]] / each).astype(np.float32) * rays.weight[inner_]
    share /= np.float32(max(1.0 - rays.lost, 1e-6))
    matt = cell.matt
    own = np.ones(len(share), bool)
    if not matt:
        own = ~(rays.one[inner_] & (rays.met[inner_] <= MOST_MET)) if rods else rays.met[inner_] > 1
    inner = _samples(came[own], went[own], share[own], column[own])
    first = None if rods else _first(cell, matt)
    return Flood(cell, inner, first, came, went, share, column)


def _first(cell: FilamentCell, matt: bool) -> _Samples:
    none = np.zeros((0, 3), np.float32)
    if matt:
        return _samples(none, none, none[:, 0], np.zeros(0, np.int32))
    ready, grid = filaments.prepared(cell), nodes()
    each = max(int(filaments.EFFORT * _GLINT_RAYS) // (2 * grid.half), 12)
    starts, label = filaments.node_starts(ready, grid, each)
    weight = grid.share[label] / each
    found: list[Floats] = []

    def use(leaves: Array) -> None:
        met = leaves[leaves[:, 7] > 0.0]
        start = met[:, 0].astype(np.intp)
        found.append(np.column_stack([-starts[start, 2:5], met[:, 1:4],
                                      met[:, 4] * weight[start]]).astype(np.float32))  # fmt: skip

    filaments.followed(ready, starts, 3, use, what=paths.FIRST)
    every = np.concatenate(found) if found else np.zeros((0, 7), np.float32)
    return _samples(every[:, :3], every[:, 3:6], every[:, 6], np.zeros(len(every), np.int32))


def _samples(
    came: Floats, went: Floats, weight: Floats, column: NDArray[np.int32]
) -> _Samples:  # fmt: skip
    kind = np.empty(len(came), np.int8)
    angle = np.empty(len(came), np.float32)
    place = np.empty((len(came), 3), np.float32)
    _placed(np.ascontiguousarray(came), np.ascontiguousarray(went), angle, kind, place)
    order = np.argsort(angle, kind="stable")
    return _Samples(angle[order], kind[order], place[order], weight[order], column[order])


@njit(cache=True)
def half_line(ax, ay, az, bx, by, bz):  # pragma: no cover - compiled
    """Two unit directions (``ax``, ``ay``, ``az``) and (``bx``, ``by``, ``bz``) before a side of
    the cloth (along its warp, across, out of it): their half line on the disc, and how they lie
    about it as a share of half a turn, the same both ways."""
    hx, hy, hz = ax + bx, ay + by, az + bz
    size = 1.0 / max(np.sqrt(hx * hx + hy * hy + hz * hz), 1e-9)
    hx, hy, hz = hx * size, hy * size, hz * size
    dx, dy, dz = ax - bx, ay - by, az - bz
    # the cloth's axes carried to the half line the shortest way
    s = (hx * dx + hy * dy) / (1.0 + hz) + dz
    turn = np.arctan2(dy - hy * s, dx - hx * s) / np.pi
    k = 1.0 / np.sqrt(1.0 + hz)
    return hx * k, hy * k, turn - np.floor(turn)


@njit(cache=True)
def onward_line(ax, ay, az, bx, by, bz):  # pragma: no cover - compiled
    """A direction (``ax``, ``ay``, ``az``) before the face and one (``bx``, ``by``, ``bz``) behind
    it: the line onward on the disc, and the azimuth of the bend as a share of a turn."""
    dx, dy, dz = ax - bx, ay - by, az - bz
    size = 1.0 / max(np.sqrt(dx * dx + dy * dy + dz * dz), 1e-9)
    dx, dy, dz = dx * size, dy * size, dz * size
    turn = np.arctan2(ay + by, ax + bx) / (2.0 * np.pi)
    k = 1.0 / np.sqrt(1.0 + dz)
    return dx * k, dy * k, turn - np.floor(turn)


@njit(cache=True)
def _placed(came, went, angle, kind, place):  # pragma: no cover - compiled
    for n in range(came.shape[0]):
        # along the warp, across it, out of the face
        ax, ay, az = came[n, 1], -came[n, 0], came[n, 2]
        bx, by, bz = went[n, 1], -went[n, 0], went[n, 2]
        angle[n] = np.arccos(min(max(ax * bx + ay * by + az * bz, -1.0), 1.0))
        if az > 0.0 and bz > 0.0:
            kind[n] = 0
            x, y, t = half_line(ax, ay, az, bx, by, bz)
        elif az <= 0.0 and bz <= 0.0:
            kind[n] = 1
            x, y, t = half_line(ax, -ay, -az, bx, -by, -bz)
        elif az > 0.0:
            kind[n] = 2
            x, y, t = onward_line(ax, ay, az, bx, by, bz)
        else:
            kind[n] = 2
            x, y, t = onward_line(bx, by, bz, ax, ay, az)
        place[n, 0], place[n, 1], place[n, 2] = x, y, t


@njit(cache=True)
def _told(place, kind, angle, weight, column, colour, middle, wide, sides, through):
    # pragma: no cover - compiled
    """Add samples to the nodes that they lie nearest."""
    n, p = sides.shape[1], sides.shape[3]
    m, q = through.shape[0], through.shape[2]
    for i in range(place.shape[0]):
        near = 1.0 - abs(angle[i] - middle) / wide
        if near <= 0.0:
            continue
        w = near * weight[i]
        if kind[i] == 2:
            a = min(max(int((place[i, 0] + 1.0) * 0.5 * m), 0), m - 1)
            b = min(max(int((place[i, 1] + 1.0) * 0.5 * m), 0), m - 1)
            c = int(place[i, 2] * q) % q
            for k in range(3):
                through[a, b, c, k] += w * colour[column[i], k]
        else:
            a = min(max(int((place[i, 0] + 1.0) * 0.5 * n), 0), n - 1)
            b = min(max(int((place[i, 1] + 1.0) * 0.5 * n), 0), n - 1)
            c = int(place[i, 2] * p) % p
            for k in range(3):
                sides[kind[i], a, b, c, k] += w * colour[column[i], k]


@njit(cache=True)
def _of_card(out, up, middle, wide):  # pragma: no cover - compiled
    """Light that pairs of directions about one line would share of white card: the line rises by
    ``out`` and what lies square to it, towards one of the two, by ``up``; they are ``middle`` apart
    or ``wide`` off it."""
    total = 0.0
    for k in range(5):
        u = 0.4 * k - 0.8
        tent = 1.0 - max(abs(u), 0.1)  # its mean over this fifth
        angle = middle + u * wide
        if 0.0 < angle < np.pi:
            along, aside = np.cos(0.5 * angle) * out, np.sin(0.5 * angle) * up
            if along + aside > 0.0 and along - aside > 0.0:
                total += tent * np.sin(angle) * (along + aside) * (along - aside)
    return total * 0.4 * wide * 8.0 / np.pi


@njit(cache=True, parallel=True)
def _even(middle, wide, sides, through):  # pragma: no cover - compiled
    """What the nodes would hold of white card, to ``sides`` (N, N, P) and, both ways through, to
    ``through`` (M, M, Q)."""
    n, p = sides.shape[0], sides.shape[2]
    m, q = through.shape[0], through.shape[2]
    for a in prange(n + m):
        half = a < n  # of lines half way between, else of lines onward
        size, steps = (n, p) if half else (m, q)
        row = np.int64(a) if half else np.int64(a) - n
        for b in range(size):
            x, y = (2.0 * row + 1.0) / size - 1.0, (2.0 * b + 1.0) / size - 1.0
            z = 1.0 - x * x - y * y
            if z <= 0.0:
                continue
            k = np.sqrt(1.0 + z)
            each = 2.0 / (size * size * steps)
            for c in range(steps):
                turn = (np.pi if half else 2.0 * np.pi) * (c + 0.5) / steps
                lean = k * (x * np.cos(turn) + y * np.sin(turn))
                if half:
                    sides[row, b, c] = each * _of_card(z, -lean, middle, wide)
                    continue
                # a light beyond the cloth stands for its opposite; turning about the line, by
                # azimuth of the bend
                far = np.sqrt(z * z + lean * lean)
                rate = 2.0 * z / (far * far)
                through[row, b, c] = (
                    each * rate * _of_card(z, -lean / far, np.pi - middle, wide)
                )


def factors(
    made: Flood, colour: Array, white: Array, angle: float, half_deg: float = APERTURE_DEG
) -> Factors:
    """Radiance factors of a dyed cell between directions ``angle`` radians apart.

    ``made``: the flood of its light; ``colour`` (columns, 3): what is left of light after each pair
    of lengths, in three channels (``kept`` times a matrix); ``white`` (3,): the same of light that
    no dye colours; ``half_deg``: half the angle of one of the two, the light.
    """
    rods, many, once = (look.of_light(half_deg) for look in (_RODS, _MANY, _FIRST))
    if made.first is None:
        samples = made.inner if made.cell.matt else _with_aimed(made, angle, rods.off(angle))
        return _smoothed(made, samples, colour, angle, rods)
    inner = _smoothed(made, made.inner, colour, angle, many)
    first = _smoothed(made, made.first, np.ones((1, 3)), angle, once)
    sides, through = (
        _finer(x, y.shape[-4:-1]) + y * white.astype(np.float32)
        for x, y in ((inner.sides, first.sides), (inner.through, first.through))
    )
    return Factors(sides, through)


def _with_aimed(made: Flood, angle: float, wide: float) -> _Samples:
    """Rays that turned by ``angle`` or up to ``wide`` off it, and light of rods aimed so."""

    def aim() -> _Samples:
        found = aimed(made.cell, angle, wide)
        return _samples(found.came, found.went, found.weight, found.column)

    one = _aims.one((made.cell, angle, wide, filaments.EFFORT), aim)
    own = slice(*np.searchsorted(made.inner.angle, [angle - wide, angle + wide]))
    each = [np.concatenate([getattr(made.inner, f.name)[own], getattr(one, f.name)])
            for f in fields(_Samples)]  # fmt: skip
    order = np.argsort(each[0], kind="stable")
    return _Samples(*(x[order] for x in each))


def _finer(values: Floats, shape: tuple[int, ...]) -> Floats:
    """Values (..., N, N, P, 3) at the middles of even steps, on more of them; the third axis goes
    round."""
    out = values
    for axis, count in zip((-4, -3, -2), shape, strict=True):
        n = out.shape[axis]
        at = (np.arange(count) + 0.5) / count * n - 0.5
        low = np.floor(at).astype(int)
        rest = (at - low).astype(np.float32)
        one, two = (low % n, (low + 1) % n) if axis == -2 else (
            np.clip(low, 0, n - 1), np.clip(low + 1, 0, n - 1))  # fmt: skip
        w = rest.reshape([-1 if k == axis % out.ndim else 1 for k in range(out.ndim)])
        out = np.take(out, one, axis) * (1.0 - w) + np.take(out, two, axis) * w
    return np.ascontiguousarray(out)


def _smoothed(
    made: Flood, samples: _Samples, colour: Array, angle: float, look: _Look
) -> Factors:  # fmt: skip
    breathe()
    n, p, m, q = look.disc, look.round_, look.onward, look.bent
    sides, through = np.zeros((2, n, n, p, 3), np.float32), np.zeros((m, m, q, 3), np.float32)
    half, turn, line, bend, _ = look.wide
    wide = look.off(angle)
    own = slice(*np.searchsorted(samples.angle, [angle - wide, angle + wide]))
    _told(samples.place[own], samples.kind[own], samples.angle[own], samples.weight[own],
          samples.column[own], np.asarray(colour, np.float32), angle, wide, sides,
          through)  # fmt: skip
    sides, through = _mirrored(made.cell, sides, through)
    even_sides, even_through = np.zeros((n, n, p), np.float32), np.zeros((m, m, q), np.float32)
    _even(angle, wide, even_sides, even_through)
    # where a light stands by the eye, how the two lie about the line between is all one
    turn = min(turn * max(_AT_WINDOW / max(float(np.sin(0.5 * angle)), 0.01), 1.0), 60.0)
    # where a light stands far round, what bends light little is spread round the whole line
    bend = min(bend / max(float(np.cos(0.5 * angle)), 0.03), 60.0)
    a_degree = np.radians(1.0) / np.sqrt(2.0) / 2.0  # of the disc's width, at its middle
    widths = (half * a_degree * n, turn / 180.0 * p, look.moved * a_degree * n)
    sides = np.stack([_ratio(x, even_sides, widths) for x in sides])
    # square to the plane of both, the line onward moves by more: in the mean by its root
    moved = look.moved / np.sqrt(max(float(np.sin(0.5 * angle)), 0.25))
    widths = (line * a_degree * m, bend / 360.0 * q, moved * a_degree * m)
    return Factors(sides, _ratio(through, even_through, widths))


def _ratio(found: Floats, even: Floats, widths: tuple[float, float, float]) -> Floats:
    """``found`` (A, A, P, 3) over ``even`` (A, A, P), both looked at so widely, in nodes: across
    the disc, round, and how far to each side lines move; and three times as widely where next to
    nothing lies."""
    out = []
    for table in (found, even[..., None]):
        near = _wide(table, widths)
        a, _, p, c = table.shape
        # on fewer nodes, for it is wide
        few = table.reshape(a // 4, 4, a // 4, 4, p // 2, 2, c).sum(axis=(1, 3, 5))
        few = _wide(few, (0.75 * widths[0], 1.5 * widths[1], 0.75 * widths[2])) / 32.0
        out.append(near + np.float32(2e-3) * few.repeat(4, 0).repeat(4, 1).repeat(2, 2))
    return np.asarray(out[0] / np.maximum(out[1], 1e-20), np.float32)


def _wide(table: Floats, widths: tuple[float, float, float]) -> Floats:
    from scipy.ndimage import gaussian_filter1d  # slow to load

    across, round_, moved = widths
    out = gaussian_filter1d(table, across, 0, mode="constant", truncate=3.0)
    out = gaussian_filter1d(out, across, 1, mode="constant", truncate=3.0)
    out = gaussian_filter1d(out, round_, 2, mode="wrap", truncate=3.0)
    return np.asarray(_strewn(out, moved) if moved else out, np.float32)


def _strewn(table: Floats, half: float) -> Array:
    """``table`` (A, A, ...) strewn evenly over discs of ``half`` a width in nodes."""
    from scipy.fft import irfft2, next_fast_len, rfft2  # slow to load

    reach = int(np.ceil(half + 0.5))
    at = np.arange(-reach, reach + 1)
    disc = np.clip(half + 0.5 - np.hypot(*np.meshgrid(at, at)), 0.0, 1.0).astype(np.float32)
    size = [next_fast_len(n + 2 * reach, real=True) for n in table.shape[:2]]
    wave = rfft2(disc / disc.sum(), size)[(...,) + (None,) * (table.ndim - 2)]
    whole = irfft2(rfft2(table, size, axes=(0, 1)) * wave, size, axes=(0, 1))
    end = [slice(reach, reach + n) for n in table.shape[:2]]
    return np.maximum(whole[end[0], end[1]], 0.0)


def _mirrored(cell: FilamentCell, sides: Floats, through: Floats) -> tuple[Floats, Floats]:
    """What was found made as alike as the cell is."""
    ways = filaments.mirrors(cell)
    out, across = np.zeros_like(sides), np.zeros_like(through)
    q = through.shape[2]
    back = (q // 2 - 1 - np.arange(q)) % q  # azimuths told from the other end of the warp
    for x, y, z in ways:
        one, two = sides, through
        if x < 0.0:
            one, two = one[:, :, ::-1, ::-1], two[:, ::-1, ::-1]
        if y < 0.0:
            one, two = one[:, ::-1, :, ::-1], two[::-1][:, :, back]
        if z < 0.0:  # seen from behind, what lies across the warp lies the other way
            one, two = one[::-1, :, ::-1, ::-1], two[::-1, ::-1]
        out += one
        across += two
    return out / np.float32(len(ways)), across / np.float32(len(ways))
