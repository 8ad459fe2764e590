"""A stack between very many directions at once, for pictures of cloth at every slope.

The same layers, added by the same equations (:mod:`weavecolor.optics.adding`), with three things
made use of that a few directions do not need: a label stands for the line along a direction, met
from both sides; what goes on through fibres is as fine as the nodes, so that any direction is a
mixture of them; and what one surface sends back, which is finer but has no colour, is taken from
one table a cell (:mod:`weavecolor.optics.cell.glint`), apart from the bands. Knows stacks; knows
nothing of light.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from weavecolor.cache import Kept
from weavecolor.optics.adding import (
    GAPS,
    Openings,
    PileOptics,
    add,
    gap_mm,
    openings_of,
    pile_of,
)
from weavecolor.optics.cell.glint import AZIMUTHS, ZENITHS, glint_tables, regular
from weavecolor.optics.cell.nodes import nodes, unit
from weavecolor.optics.cell.openness import QUICK_PENCILS, counted
from weavecolor.optics.cell.pairs import Distance, Pairs, pairs
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.layer import (
    LayerOptics,
    Lie,
    Solved,
    content,
    joint_of,
    orders,
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
_AT_NODES = np.degrees(np.arccos(nodes().cosine[: nodes().half : nodes().steps]))[::-1]
#: The nodes' own zenith angles, and some between, for light of few surfaces keeps to narrow ways.
FINE: Rings = tuple(sorted([0.0, *map(float, _AT_NODES), 25.0, 43.0, 60.0, 74.0]))
#: For a quick first look.
COARSE: Rings = (0.0, 24.0, 46.0, 66.0, 82.0)


@dataclass(frozen=True, eq=False)
class AllRound:
    """Layers between all directions; azimuth from the outermost warp.

    ``pile``: labels are the nodes, then the K directions of the rings, each a line met from both
    sides; of what met one surface alone, it knows the even light. ``glints``: radiance factors
    after one surface alone (M, M) between the regular angles, face to face, back to back, and from
    before the face to behind it; a direction behind is named by its opposite. ``straight`` (M,):
    share that passes unscattered along the regular angles.
    """

    pile: PileOptics
    glints: tuple[Floats, Floats, Floats]
    straight: Array


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


_laid: Kept[tuple[Any, ...], AllRound] = Kept(4)
_piles: Kept[tuple[Any, ...], AllRound] = Kept(3)
_opens: Kept[tuple[Construction, Rings, bool], Array] = Kept(24)


def all_round(stack: Stack, rings: Rings = FINE) -> AllRound:
    """The layers of ``stack``, without its backing, between the directions of ``rings``; kept.

    Raises InputError where a cloth cannot be woven.
    """
    first = stack.layers[0].grain_deg
    layers = [Layer(x.cloth, round((x.grain_deg - first) % 360.0, 6), x.face) for x in stack.layers]

    def key(layer: Layer) -> tuple[Any, ...]:
        return content(layer.cloth), layer.grain_deg, layer.face, rings

    def lay(layer: Layer) -> AllRound:
        return _laid.one(key(layer), lambda: _layer(layer, rings))

    made = lay(layers[0])
    for count in range(2, len(layers) + 1):
        upper, lower = made, layers[count - 1]
        made = _piles.one(
            (*map(key, layers[:count]), stack.lay),
            lambda u=upper, x=lower: _added(u, lay(x), stack.lay, rings),  # type: ignore[misc]
        )
    return made


def _added(upper: AllRound, lower: AllRound, lay: str, rings: Rings) -> AllRound:
    gap, wide = GAPS[lay], spread(rings)
    k = wide.shape[1]
    open_ = _openings(upper.pile, gap, lower.pile.members[0][0].depths, rings)
    both = wide @ open_.joint[-k:, -k:].astype(np.float32) @ wide.T
    one, two = (p.straight.astype(np.float32) for p in (upper, lower))
    (face, back, across), (face2, back2, across2) = upper.glints, lower.glints
    return AllRound(
        add(upper.pile, lower.pile, gap, open_=open_),
        (
            face + both * face2,
            back2 + np.outer(two, two) * back,
            across * two[None, :] + one[:, None] * across2,
        ),
        upper.straight * lower.straight,
    )


def _openings(
    pile: PileOptics, gap: tuple[float, float] | None, depths: tuple[float, ...], rings: Rings
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


def _joint(layer: Lie, distance: Distance, rings: Rings) -> Array:
    """As :func:`weavecolor.optics.layer.layer_pairs`, counted in the cloth's own frame once for
    all grains."""
    vectors = tuple(to_cloth_frame(tuple(v), 0.0, layer.flip) for v in ring_directions(rings))
    made = pairs(layer.construction, distance, vectors, layer.flip, True, False)
    half = nodes().half
    turned = _rotation(rings, layer.turn)
    held = made.held.copy()
    held[half:] = turned @ held[half:]
    held[:, half:] = held[:, half:] @ turned.T
    made = Pairs(made.node, turned @ made.named_node, turned @ made.named @ turned.T,
                 turned @ made.gain, held)  # fmt: skip
    return joint_of(made, layer)


def _rotation(rings: Rings, turn: float) -> Array:
    """Matrix (K, K): values on rings of a cloth's own frame to those on the rings of the stack's,
    where it lies turned; mixed as the nodes are."""
    one = np.eye(STEPS)
    place = turn / (2.0 * np.pi) * STEPS
    low = int(np.floor(place + 1e-9))
    rest = max(place - low, 0.0)
    turned = (1.0 - rest) * np.roll(one, low, 0) + rest * np.roll(one, low + 1, 0)
    return np.asarray(block_diag(*(turned if z > 0.0 else np.ones((1, 1)) for z in rings)))


def _layer(layer: Layer, rings: Rings) -> AllRound:
    turn, flip = np.radians(layer.grain_deg), layer.face == "back"
    solution = solved(layer.cloth)
    pile = pile_of(_lying(solution, float(turn), flip, rings))
    lie = pile.members[0][0]
    k = len(ring_directions(rings))
    own = _turned(_straight(solution.construction)[:, None], layer.grain_deg, flip)[:, 0]
    slip = spread(rings) @ ((lie.through - lie.open) / np.maximum(1.0 - lie.open, 1e-9))[-k:]
    return AllRound(pile, _glints(solution, layer.grain_deg, flip), own + (1.0 - own) * slip)


def _lying(solution: Solved, turn: float, flip: bool, rings: Rings) -> LayerOptics:
    """One layer; labels as in :class:`AllRound`."""
    white = solution.white
    grid, half = white.grid, white.grid.half
    vectors = ring_directions(rings)
    before = np.array([to_cloth_frame(tuple(v), turn, flip) for v in vectors])
    up = grid.about(before).astype(np.float32)
    down = grid.about(-before).astype(np.float32)
    node = np.asarray(solution.node, np.float32)
    from_up, from_down = up @ node, down @ node
    size = half + len(vectors)
    made: list[NDArray[Any]] = [np.zeros((len(node), size, size), np.float32) for _ in range(3)]
    reflect, under, passed = made
    through, open_ = np.zeros(size), np.zeros(size)
    q, e = slice(0, half), slice(half, size)
    for order, weight in orders(grid, turn, flip):
        above, below = order[:half], order[half:]
        w = np.float32(weight)
        reflect[:, q, q] += w * node[:, above[:, None], above[None]]
        under[:, q, q] += w * node[:, below[:, None], below[None]]
        passed[:, q, q] += w * node[:, above[:, None], below[None]]
        reflect[:, e, q] += w * from_up[:, :, above]
        under[:, e, q] += w * from_down[:, :, below]
        passed[:, e, q] += w * from_up[:, :, below]
        passed[:, q, e] += w * np.swapaxes(from_down[:, :, above], 1, 2)
        through[q] += weight * white.through[above]
        open_[q] += weight * white.open[above]
    reflect[:, q, e] = np.swapaxes(reflect[:, e, q], 1, 2)
    under[:, q, e] = np.swapaxes(under[:, e, q], 1, 2)
    # what met one surface alone is looked at more closely, and apart
    k = len(vectors)
    pair = white.fine.between(solution.absorption, np.concatenate([before, -before]))
    reflect[:, e, e], under[:, e, e] = pair[:, :k, :k], pair[:, k:, k:]
    passed[:, e, e] = pair[:, :k, k:]
    slip = (white.through - white.open) / np.maximum(1.0 - white.open, 1e-9)
    own = _open(solution.construction, rings, flip)
    open_[e] = np.clip(_rotation(rings, turn) @ own, 0.0, 1.0)
    through[e] = open_[e] + (1.0 - open_[e]) * (up @ slip)
    thickness = 2.0 * white.cell.top
    lie = Lie(
        solution.construction, turn, flip,
        tuple((float(x), float(y), float(z)) for x, y, z in vectors.round(9) + 0.0), False,
        through, open_, np.concatenate([grid.share[:half], np.zeros(len(vectors))]), thickness,
        tuple(round(float(d), 9) for d in np.linspace(0.0, thickness, 9)),
        float(np.sqrt(white.cell.warp_spacing * white.cell.weft_spacing)),
    )  # fmt: skip
    return LayerOptics(reflect, under, passed, lie)


def _open(construction: Construction, rings: Rings, flip: bool) -> Array:
    """Openness along the rings of a cloth's own frame, turned over about its warp or not."""
    ways = ring_directions(rings) * ([-1.0, 1.0, -1.0] if flip else 1.0)
    return _opens.one(
        (construction, rings, flip), lambda: counted(tubes(construction), ways, QUICK_PENCILS)
    )


def _straight(construction: Construction) -> Array:
    """Openness (M,) along the regular angles; every other azimuth is counted."""

    def count() -> Array:
        ways = regular().reshape(ZENITHS, AZIMUTHS, 3)[:, ::2].copy()
        out = np.zeros((ZENITHS, AZIMUTHS))
        out[:-1, ::2] = counted(
            tubes(construction), ways[:-1].reshape(-1, 3), QUICK_PENCILS
        ).reshape(ZENITHS - 1, -1)
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


def _glints(solution: Solved, grain_deg: float, flip: bool) -> tuple[Floats, Floats, Floats]:
    above, below, across = (
        t.reshape(ZENITHS, AZIMUTHS, ZENITHS, AZIMUTHS) for t in glint_tables(solution.white.cell)
    )
    # a direction behind is named by its opposite, half a turn on
    below = np.roll(below, (AZIMUTHS // 2, AZIMUTHS // 2), (1, 3))
    across = np.roll(across, AZIMUTHS // 2, 3)
    if flip:
        # turned over about the warp: azimuths run the other way; what was below lies above, and
        # with opposite names half a turn is taken off again
        mirror = (-np.arange(AZIMUTHS)) % AZIMUTHS
        half = (mirror + AZIMUTHS // 2) % AZIMUTHS
        above, below = below[:, half][:, :, :, half], above[:, half][:, :, :, half]
        across = across.transpose(2, 3, 0, 1)[:, half][:, :, :, half]
    place = grain_deg / 360.0 * AZIMUTHS
    low = int(np.floor(place + 1e-9))
    rest = max(place - low, 0.0)
    out = []
    for table in (above, below, across):
        near = np.roll(table, (low, low), (1, 3))
        if rest > 1e-9:
            near = (1.0 - rest) * near + rest * np.roll(table, (low + 1, low + 1), (1, 3))
        size = ZENITHS * AZIMUTHS
        out.append(np.ascontiguousarray(near, np.float32).reshape(size, size))
    return out[0], out[1], out[2]
