"""A stack between very many directions at once, for pictures of cloth at every slope.

The same layers, added by the same equations (:mod:`weavecolor.optics.adding`), with three things
made use of that a few directions do not need: a label stands for the line along a direction, met
from both sides; what goes on between layers is as fine as the nodes, so that it is told at rings of
directions and mixed between them; and what one layer alone sends from one direction to another,
which is far finer, is kept apart, layer by layer, with what the others let through of it
(:class:`Own`), to be read from its flood of light (:mod:`weavecolor.optics.cell.flood`). Knows
stacks; knows nothing of light.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept, bytes_of
from weavecolor.optics.adding import (
    GAPS,
    Openings,
    StackOptics,
    add,
    as_stack,
    gap_mm,
    openings_of,
)
from weavecolor.optics.cell import filaments
from weavecolor.optics.cell.filaments import kept, mirrors, mirrors_of
from weavecolor.optics.cell.flood import Flood, flood
from weavecolor.optics.cell.nodes import nodes, unit
from weavecolor.optics.cell.openness import QUICK_PENCILS, counted
from weavecolor.optics.cell.pairs import Distance, JointGaps, joint_gaps
from weavecolor.optics.cell.paths import nodes_of
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.layer import (
    LayerOptics,
    Placement,
    Solved,
    content,
    joint_of,
    lying,
    nodes_laid,
    solved,
    to_cloth_frame,
)
from weavecolor.optics.stack import Layer, Stack
from weavecolor.textile.cloth import Construction

Array = NDArray[np.float64]
Floats = NDArray[np.float32]
#: Zenith angles, degrees, of rings of directions; each ring has the azimuths of the nodes.
Rings = tuple[float, ...]

STEPS = 24
#: The regular angles: zenith every 6 degrees from 0 to 90, azimuth every 7.5 from the warp.
ZENITHS, AZIMUTHS = 16, 48
_AT_NODES = np.degrees(np.arccos(nodes().cosine[: nodes().half : nodes().steps]))[::-1]
#: The nodes' own zenith angles, and some between, for light of few surfaces keeps to narrow ways.
FINE: Rings = tuple(sorted([0.0, *map(float, _AT_NODES), 25.0, 43.0, 60.0, 74.0]))
#: For a quick first look.
COARSE: Rings = (0.0, 24.0, 46.0, 66.0, 82.0)


@dataclass(frozen=True, eq=False)
class Own:
    """What one layer alone sends on between two directions, in its stack.

    ``turn``, ``flip``: how it lies. ``face`` (M, M): share of it that comes through the layers
    before it to the face and back out, between the regular angles; None where none lies before it.
    ``above``, ``below`` (M,): shares that come through all layers before it, and behind it, along
    the regular angles.
    """

    solution: Solved
    turn: float
    flip: bool
    face: Floats | None
    above: Floats
    below: Floats


@dataclass(frozen=True, eq=False)
class AllRound:
    """Layers between all directions; azimuth from the outermost warp.

    ``pile``: labels are the nodes, then the K directions of the rings, each a line met from both
    sides; between two of the rings it knows only what went on between layers. ``own``: the rest,
    layer by layer. ``straight`` (M,): share that passes unscattered along the regular angles.
    """

    pile: StackOptics
    own: tuple[Own, ...]
    straight: Array


def regular() -> Array:
    """Unit vectors (ZENITHS * AZIMUTHS, 3) of the regular angles, all above the cloth."""
    zenith = np.radians(np.linspace(0.0, 90.0, ZENITHS))
    azimuth = 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS
    return unit(zenith[:, None], azimuth[None]).reshape(-1, 3)


def ring_directions(rings: Rings) -> Array:
    """Unit vectors (K, 3) of rings; straight out is one direction."""
    azimuth = 2.0 * np.pi * (np.arange(STEPS) + 0.5) / STEPS
    return np.concatenate([
        unit(np.radians(z), azimuth if z > 0.0 else np.zeros(1)).reshape(-1, 3) for z in rings
    ])  # fmt: skip


def half_turn(rings: Rings) -> NDArray[np.intp]:
    """Number of each direction's own after half a turn about the normal."""
    out, start = [], 0
    for z in rings:
        n = STEPS if z > 0.0 else 1
        out.append(start + (np.arange(n) + n // 2) % n)
        start += n
    return np.concatenate(out)


@lru_cache(maxsize=4)
def spread(rings: Rings) -> Floats:
    """Matrix (ZENITHS * AZIMUTHS, K): values on rings from straight out to the regular angles, as
    the nodes are mixed (:meth:`weavecolor.optics.cell.nodes.Nodes.about`): in proportion to the
    cosine and the azimuth, and near straight out to the sine."""
    zenith = np.radians(np.linspace(0.0, 90.0, ZENITHS))
    at = np.radians(rings)
    level = np.interp(-np.cos(zenith), -np.cos(at), np.arange(len(rings)))
    near = zenith < at[1]
    level[near] = np.sin(zenith[near]) / np.sin(at[1])
    place = np.arange(AZIMUTHS) * STEPS / AZIMUTHS - 0.5
    step = np.floor(place).astype(int)
    out = np.zeros((ZENITHS, AZIMUTHS, 1 + STEPS * (len(rings) - 1)))
    for z, value in enumerate(level):
        low = min(int(value), len(rings) - 2)
        for ring, w in ((low, 1.0 - value + low), (low + 1, value - low)):
            if ring == 0:
                out[z, :, 0] += w
                continue
            for a in range(AZIMUTHS):
                for on, far in ((0, 1.0 - place[a] + step[a]), (1, place[a] - step[a])):
                    out[z, a, 1 + STEPS * (ring - 1) + (step[a] + on) % STEPS] += w * far
    return out.reshape(ZENITHS * AZIMUTHS, -1).astype(np.float32)


#: Bytes: the layers of a skirt of three, and of what is doubled at its hem and seams.
_laid: Kept[tuple[Any, ...], AllRound] = Kept(100_000_000, bytes_of, what_for="hung pictures")
_piles: Kept[tuple[Any, ...], AllRound] = Kept(60_000_000, bytes_of, what_for="hung pictures")
_opens: Kept[tuple[Construction, Rings, bool], Array] = Kept(24)


def all_round(stack: Stack, rings: Rings = FINE, step: int = 1) -> AllRound:
    """The layers of ``stack``, without its backing, between the directions of ``rings``, at every
    ``step``-th band; kept.

    Raises InputError where a cloth cannot be woven.
    """
    first = stack.layers[0].grain_deg
    layers = [Layer(x.cloth, round((x.grain_deg - first) % 360.0, 6), x.face) for x in stack.layers]

    return _all_round(tuple(layers), stack.lay, rings, step)


def _all_round(layers: tuple[Layer, ...], lay: str, rings: Rings, step: int) -> AllRound:
    """As :func:`all_round`; the whole is looked for first, its parts only where it is not held."""
    keys = tuple((content(x.cloth), x.grain_deg, x.face, rings, step) for x in layers)
    *upper, last = layers
    own = partial(_laid.one, keys[-1], lambda: _layer(last, rings, step))
    if not upper:
        return own()
    return _piles.one(
        (*keys, lay), lambda: _added(_all_round(tuple(upper), lay, rings, step), own(), lay, rings)
    )


def _added(upper: AllRound, lower: AllRound, lay: str, rings: Rings) -> AllRound:
    gap, wide = GAPS[lay], spread(rings)
    k = wide.shape[1]
    open_ = _openings(upper.pile, gap, lower.pile.members[0][0].depths, rings)
    both = wide @ open_.joint[-k:, -k:].astype(np.float32) @ wide.T
    one, two = (p.straight.astype(np.float32) for p in (upper, lower))
    before = tuple(replace(x, below=x.below * two) for x in upper.own)
    under = tuple(
        replace(x, face=both if x.face is None else both * x.face, above=x.above * one)
        for x in lower.own
    )
    return AllRound(
        add(upper.pile, lower.pile, gap, open_=open_),
        before + under,
        upper.straight * lower.straight,
    )


def _openings(
    pile: StackOptics, gap: tuple[float, float] | None, depths: tuple[float, ...], rings: Rings
) -> Openings:
    """As :func:`weavecolor.optics.adding.openings`; further off than the next layer openings are
    taken to line up by chance."""
    t, share = pile.through, pile.share
    if gap is None or share @ t <= 1e-9:
        return Openings(np.outer(t, t), t, 1.0)
    joint = np.ones((t.size, t.size))
    for layer, spans in pile.members:
        own = layer.through
        distance = Distance((gap_mm(layer, gap),), depths)
        joint *= np.outer(own, own) if spans else _joint(layer, distance, rings)
    return openings_of(joint, t, share)


def _joint(layer: Placement, distance: Distance, rings: Rings) -> Array:
    """As :func:`weavecolor.optics.layer.layer_pairs`, counted in the cloth's own frame once for
    all grains."""
    vectors = tuple(to_cloth_frame(tuple(v), 0.0, layer.flip) for v in ring_directions(rings))
    made = joint_gaps(layer.construction, layer.bodies, distance, vectors, layer.flip, True, False)
    half = nodes().half
    turned = _rotation(rings, layer.turn)
    held = made.held.copy()
    held[half:] = turned @ held[half:]
    held[:, half:] = held[:, half:] @ turned.T
    made = JointGaps(made.node, turned @ made.named_node, turned @ made.named @ turned.T,
                 turned @ made.gain, held)  # fmt: skip
    return joint_of(made, layer)


def _rotation(rings: Rings, turn: float) -> Array:
    """Matrix (K, K): values on rings of a cloth's own frame to those on the rings of the stack's,
    where it lies turned; mixed as the nodes are."""
    one = np.eye(STEPS)
    place = turn / (2.0 * np.pi) * STEPS
    low = int(np.floor(place + 1e-9))
    rest = place - low if place - low > 1e-9 else 0.0
    turned = (1.0 - rest) * np.roll(one, low, 0) + rest * np.roll(one, low + 1, 0)
    from scipy.linalg import block_diag  # slow to load

    return np.asarray(block_diag(*(turned if z > 0.0 else np.ones((1, 1)) for z in rings)))


def _layer(layer: Layer, rings: Rings, step: int) -> AllRound:
    turn, flip = np.radians(layer.grain_deg), layer.face == "back"
    solution = solved(layer.cloth, step=step)
    laid, slip = _lying(solution, float(turn), flip, rings)
    own = _turned(_straight(solution.construction)[:, None], layer.grain_deg, flip)[:, 0]
    clear = np.ones(ZENITHS * AZIMUTHS, np.float32)
    alone = Own(solution, float(turn), flip, None, clear, clear)
    return AllRound(as_stack(laid), (alone,), own + (1.0 - own) * (spread(rings) @ slip))


def _lying(
    solution: Solved, turn: float, flip: bool, rings: Rings
) -> tuple[LayerOptics, Array]:
    """One layer, labels as in :class:`AllRound`; and the share (K,) of what its yarns' outlines
    cover that slips between their filaments."""
    white = solution.white
    grid, half = white.grid, white.grid.half
    vectors = ring_directions(rings)
    before = np.array([to_cloth_frame(tuple(v), turn, flip) for v in vectors])
    at = grid.about(before).astype(np.float32)
    # along the rings of the cloth's own frame, laid turned
    own, mirrored, end = _rung(solution, rings), _over(rings), half_turn(rings)
    ways = own[:, :, 0], own[:, end, 1]
    if flip:
        ways = own[:, mirrored, 1], own[:, end[mirrored], 0]
    turned = _rotation(rings, turn).astype(np.float32)
    if np.count_nonzero(turned) == len(turned):  # a whole step: each direction is another one
        from_up, from_down = (way[:, turned.argmax(axis=1)] for way in ways)
    else:
        from_up, from_down = (turned @ way for way in ways)
    size = half + len(vectors)
    tables: tuple[NDArray[Any], ...] = tuple(
        np.zeros((len(solution.absorption), size, size), np.float32) for _ in range(3)
    )
    reflect, under, passed = tables
    through = np.zeros(size)
    q, e = slice(0, half), slice(half, size)
    for up, down, weight in nodes_laid(solution, turn, flip, tables, through):
        w = np.float32(weight)
        reflect[:, e, q] += w * from_up[:, :, up]
        under[:, e, q] += w * from_down[:, :, down]
        passed[:, e, q] += w * from_up[:, :, down]
        passed[:, q, e] += w * np.swapaxes(from_down[:, :, up], 1, 2)
    reflect[:, q, e] = np.swapaxes(reflect[:, e, q], 1, 2)
    under[:, q, e] = np.swapaxes(under[:, e, q], 1, 2)
    slip = at @ ((white.through - white.open) / np.maximum(1.0 - white.open, 1e-9))
    own_open = _rotation(rings, turn) @ _open(solution.construction, rings, flip)
    through[e] = 1.0 - (1.0 - np.clip(own_open, 0.0, 1.0)) * (1.0 - slip)
    placement = lying(
        solution.construction, white.cell, turn, flip,
        tuple((float(x), float(y), float(z)) for x, y, z in vectors.round(9) + 0.0), False,
        through, np.concatenate([grid.share[:half], np.zeros(len(vectors))]),
    )  # fmt: skip
    return LayerOptics(reflect, under, passed, placement), slip


_rungs: Kept[tuple[Any, ...], NDArray[np.float32]] = Kept(4, what_for="hung pictures")


def _rung(solution: Solved, rings: Rings) -> NDArray[np.float32]:
    """Radiance factors (B, K, 2, 2D) of a dyed cell, in its own frame, between the directions of
    the rings, above the cloth and the same azimuths and slopes below it, and the nodes."""

    def make() -> NDArray[np.float32]:
        made = flood(solution.white.cell)
        place, share = _parts(made, rings)
        left = kept(made.cell, solution.absorption)
        return _as_alike(made, made.between(place, np.concatenate([share, share]), left), rings)

    key = (solution.white.cell, solution.absorption.tobytes(), rings, filaments.EFFORT)
    return _rungs.one(key, make)


def _parts(made: Flood, rings: Rings) -> tuple[NDArray[np.intp], Array]:
    """Which direction of the rings, above and then below the cloth, each ray (2, n) came from and
    went to lies nearest; and what share (K,) of even light from one side lies nearest to each."""
    at = np.radians(rings)
    edge = np.append(0.5 * (at[1:] + at[:-1]), 0.5 * np.pi)
    count = 1 + STEPS * (len(rings) - 1)
    # rings from along the cloth up, as nodes have them; straight out is one direction
    squares = np.append(np.cos(edge[::-1]) ** 2, 1.0)
    squares[0] = 0.0
    own = 1 + np.arange(STEPS) + STEPS * np.arange(len(rings) - 2, -2, -1)[:, None]
    own[-1] = 0
    both = np.concatenate([own.ravel(), own.ravel() + count])
    place = [both[nodes_of(v, squares, STEPS)] for v in (made.every.came, made.every.went)]
    bands = np.diff(np.sin(edge) ** 2, prepend=0.0)
    share = np.concatenate([bands[:1], np.repeat(bands[1:] / STEPS, STEPS)])
    return np.stack(place), share


def _over(rings: Rings) -> NDArray[np.intp]:
    """Number of the direction that each one of the rings becomes when its azimuth runs the other
    way."""
    out = [np.zeros(1, np.intp)]
    for z in range(1, len(rings)):
        out.append(1 + STEPS * (z - 1) + (-np.arange(STEPS) - 1) % STEPS)
    return np.concatenate(out)


def _as_alike(
    made: Flood, table: NDArray[np.float32], rings: Rings
) -> NDArray[np.float32]:  # fmt: skip
    """(B, 2K, 2D) as (B, K, 2, 2D), made as alike as the cell is."""
    bands, both, size = table.shape
    whole = np.ascontiguousarray(table.reshape(bands, 2, both // 2, size).swapaxes(1, 2))
    grid = nodes()
    ways = filaments.symmetries(made.cell, grid)
    mirrored, end = _over(rings), half_turn(rings)
    out = np.zeros_like(whole)
    for (x, y, z), way in zip(mirrors(made.cell), ways, strict=True):
        k = np.arange(both // 2)
        if x < 0.0:
            k = mirrored[k]
        if y < 0.0:
            k = end[mirrored[k]]
        own = whole[:, k][:, :, ::-1] if z < 0.0 else whole[:, k]
        out += own[:, :, :, way]
    return out / np.float32(len(ways))


def _open(construction: Construction, rings: Rings, flip: bool) -> Array:
    """Openness along the rings of a cloth's own frame, turned over about its warp or not."""
    ways = ring_directions(rings) * ([-1.0, 1.0, -1.0] if flip else 1.0)
    return _opens.one((construction, rings, flip), lambda: _counted(construction, ways))


def _counted(construction: Construction, ways: Array) -> Array:
    """Openness along ``ways`` (n, 3), counted once for all that the weave's mirrors make of one
    another; a line is the same both ways."""
    alike = np.array(mirrors_of(construction.lift, False))
    each = (ways[:, None] * np.concatenate([alike, -alike])).round(9) + 0.0
    first = each[np.arange(len(ways)), np.lexsort(each.transpose(2, 0, 1))[:, -1]]
    one, back = np.unique(first, axis=0, return_inverse=True)
    return counted(tubes(construction), one, QUICK_PENCILS)[back.ravel()]


def _straight(construction: Construction) -> Array:
    """Openness (M,) along the regular angles; every other azimuth is counted."""

    def count() -> Array:
        ways = regular().reshape(ZENITHS, AZIMUTHS, 3)[:, ::2].copy()
        out = np.zeros((ZENITHS, AZIMUTHS))
        out[:-1, ::2] = _counted(construction, ways[:-1].reshape(-1, 3)).reshape(ZENITHS - 1, -1)
        out[:, 1::2] = 0.5 * (out[:, ::2] + np.roll(out[:, ::2], -1, 1))
        return out.ravel()

    return _opens.one((construction, (), False), count)


def _turned(values: NDArray[Any], grain_deg: float, flip: bool) -> NDArray[Any]:
    """Values (M, c) at the regular angles of a cloth, seen in the frame where it lies turned by
    ``grain_deg``; of a line that is the same from both sides where it lies turned over."""
    whole = values.reshape(ZENITHS, AZIMUTHS, -1)
    if flip:
        whole = whole[:, (AZIMUTHS // 2 - np.arange(AZIMUTHS)) % AZIMUTHS]
    place = grain_deg / 360.0 * AZIMUTHS
    low = int(np.floor(place + 1e-9))
    rest = max(place - low, 0.0)
    out = (1.0 - rest) * np.roll(whole, low, 1)
    if rest > 1e-9:
        out += rest * np.roll(whole, low + 1, 1)
    return np.asarray(out.reshape(values.shape))
