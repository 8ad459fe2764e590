"""Many stacks at once, by the adding equations over a few streams of diffuse light and beams.

The equations are those of :mod:`weavecolor.optics.exchange`, with the directions of diffuse light
gathered into the streams of ``tables`` and everything carried for thousands of stacks side by side.
An approximation, made to be quick: what it leaves out is measured by whoever uses it. Knows arrays;
knows nothing of cloth, wishes or colour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.decide.tables import Tables
from weavecolor.optics.exchange import between, cast, rounds

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class StackBatch:
    """n piles, outermost layer first, without a backing; axes as in ``tables.Tables`` with n in
    place of L. ``members`` (n, d): their laid layers. ``diffuse`` (n, B, V): reflected towards
    each view from uniform light; ``seen`` (n, B, P): from beam to view."""

    members: Indices
    transmit: Array
    under: Array
    through: Array
    through_below: Array
    diffuse: Array
    seen: Array

    def taken(self, index: Indices) -> StackBatch:
        """The piles at these places, which may repeat."""
        return StackBatch(
            self.members[index],
            self.transmit[index],
            self.under[index],
            self.through[index],
            self.through_below[index],
            self.diffuse[index],
            self.seen[index],
        )


@dataclass(frozen=True, eq=False)
class Openings:
    """As ``adding.Openings``, for n piles: ``joint`` (n, M, G), ``pairs`` (n, P), ``hit`` (n, M)
    times the openness itself, ``spread`` (n,)."""

    joint: Array
    pairs: Array
    hit: Array
    spread: Array


def single(tables: Tables, layers: Indices) -> StackBatch:
    """Piles of one laid layer each, (n,)."""
    return StackBatch(
        layers[:, None],
        tables.transmit[layers],
        tables.under[layers],
        tables.through[layers],
        tables.through_below[layers],
        tables.above[layers][:, :, tables.views] @ tables.share,
        tables.pairs[layers],
    )


def openness(
    tables: Tables, members: Indices, through: Array, ground: int | None = None
) -> Openings:
    """Of n piles of laid layers ``members`` (n, d) of ``tables``, that beams pass by ``through``
    (n, M), before the ``ground`` of that number in ``tables.joint`` or (None) a further layer."""
    c, t = tables.share, through
    joint: Array | float = 1.0
    pairs: Array | float = 1.0
    depth = members.shape[1]
    for place in range(depth):
        further = depth - 1 - place
        k = min(further, tables.apart - 1) if ground is None or further else ground
        layer = members[:, place]
        joint = joint * tables.joint[k, layer]
        pairs = pairs * tables.joint_pairs[k, layer]
    mean = t[:, : c.size] @ c
    some = mean > 1e-9
    returned = np.divide(joint @ c, t, out=np.repeat(mean[:, None], t.shape[1], 1), where=t > 1e-9)
    closed = np.maximum(1.0 - mean, 1e-12)[:, None]
    hit = np.where(some[:, None], np.clip(1.0 - returned, 0.0, None) / closed, 1.0) * t
    spread = np.where(some, (1.0 - hit[:, : c.size] @ c) / closed[:, 0], 1.0)
    return Openings(np.asarray(joint), np.asarray(pairs), hit, spread)


def lay_under(tables: Tables, upper: StackBatch, layers: Indices) -> StackBatch:
    """Each pile with one more laid layer under it.

    Parameters
    ----------
    tables : Tables
    upper : StackBatch
        n of them.
    layers : ndarray of int, shape (n,)
    """
    c = tables.share
    g = c.size
    v, pv, pl = tables.views, tables.pair_views, tables.pair_lights
    open_ = openness(tables, upper.members, upper.through)
    spread = open_.spread[:, None, None, None]
    hit = open_.hit[:, None, :, None]
    pass2, above, below2 = tables.transmit[layers], tables.above[layers], tables.under[layers]
    beam2 = np.concatenate([tables.through[layers][:, :g], tables.through_below[layers]], axis=1)
    pass1, below = upper.transmit, upper.under
    above_q = above[:, :, :g]

    _, sent, inverse, again = between(pass1[..., :g], hit * above, above_q, below, c, spread)
    scattered = pass1[..., :g] * c

    # towards each view: from the other directions of a pair, and from uniform light
    seen = upper.seen + open_.pairs[:, None, :] * tables.pairs[layers]
    diffuse = upper.diffuse + (open_.joint[:, None, v] * above[:, :, v]) @ c
    if pv.size:
        hit_l = open_.hit[:, None, pl, None]
        seen = seen + np.sum(
            (sent[:, :, pv] * c) * pass1[:, :, pl, :g]
            + scattered[:, :, pv] * above[:, :, pl] * hit_l
            + again[:, :, pv, :g] * c * sent[:, :, pl],
            axis=-1,
        )
    all_pass = np.einsum("g,nbgq->nbq", c, pass1[:, :, :g, :g])
    all_above = np.einsum("g,ng,nbgq->nbq", c, open_.hit[:, :g], above_q)
    all_sent = np.einsum("g,nbgq->nbq", c, sent[:, :, :g])
    diffuse = (
        diffuse
        + ((sent[:, :, v] * c) @ all_pass[..., None])[..., 0]
        + (scattered[:, :, v] @ all_above[..., None])[..., 0]
        + ((again[:, :, v, :g] * c) @ all_sent[..., None])[..., 0]
    )

    down = pass1 + again
    passed = (
        upper.through[:, None, :, None] * pass2
        + down * beam2[:, None, None, :]
        + (down[..., :g] * c) @ pass2[:, :, :g]
    )

    # light from below: it comes up through the lower layer and meets the pile's underside
    up = np.swapaxes(pass2[:, :, :g], -1, -2) * c  # (n, B, C, G)
    below_q = below[..., :g]
    met_all = beam2[:, None, :, None] * np.swapaxes(below, -1, -2) + up @ below_q  # (n, B, C, G)
    met = beam2[:, None, :g, None] * below + up[:, :, :g] @ below  # (n, B, G, C)
    back = (inverse @ (c[:, None] * np.swapaxes(met[..., :g], -1, -2))) / c[:, None]
    under = (
        below2
        + met * beam2[:, None, None, :]
        + met[..., :g] @ np.swapaxes(up, -1, -2)
        + spread
        * np.swapaxes(back, -1, -2)
        @ (c[:, None] * above_q[:, :, :g] * c)
        @ np.swapaxes(met_all, -1, -2)
    )
    return StackBatch(
        np.concatenate([upper.members, layers[:, None]], axis=1),
        passed,
        under,
        upper.through * tables.through[layers],
        upper.through_below * tables.through_below[layers],
        diffuse,
        seen,
    )


def over_grounds(
    tables: Tables, piles: StackBatch, grounds: Array, matters: Indices
) -> tuple[Array, Array]:
    """Radiance factors over grounds of reflectance (S, B), which send light evenly to all sides.

    Returns ``diffuse`` (n, S, B, V) and ``seen`` (n, S, B, P), as in :class:`StackBatch`.

    Parameters
    ----------
    tables : Tables
    piles : StackBatch
        n of them.
    grounds : ndarray, shape (S, B)
        0 to 1.
    matters : ndarray of int, shape (S,)
        What each is, by its number in ``tables.joint``.
    """
    each = [
        _over_ground(tables, piles, ground, int(matter))
        for ground, matter in zip(grounds, matters, strict=True)
    ]
    diffuse, seen = (np.concatenate(part, axis=1) for part in zip(*each, strict=True))
    return diffuse, seen


def _over_ground(
    tables: Tables, piles: StackBatch, ground: Array, matter: int
) -> tuple[Array, Array]:
    """As :func:`over_grounds`, of one ground (B,)."""
    c, grounds = tables.share, ground[None]
    g = c.size
    v, pv, pl = tables.views, tables.pair_views, tables.pair_lights
    open_ = openness(tables, piles.members, piles.through, matter)
    spread = open_.spread[:, None, None]
    straight = open_.hit[:, None, :]
    spread_in = piles.transmit[..., :g] @ c  # (n, B, M)
    inner = (piles.under[..., :g] @ c) @ c  # (n, B)
    more = rounds(grounds, inner[:, None], spread)[..., None]  # (n, S, B, 1)
    rho = grounds[..., None]

    def lit(before: Array, first: Array, further: Array) -> Array:
        return np.asarray(before[:, None] + rho * first[:, None] + more * further[:, None])

    straight_all = (open_.hit[:, None, :g] @ c)[..., None]  # (n, 1, 1)
    spread_all = (spread_in[..., :g] @ c)[..., None]  # (n, B, 1)
    views = straight[..., v], spread_in[..., v]
    diffuse = cast((open_.joint @ c)[:, None, v], *views, straight_all, spread_all, spread)
    ways = (straight[..., pv], spread_in[..., pv], straight[..., pl], spread_in[..., pl])
    pairs = cast(open_.pairs[:, None, :], *ways, spread)
    return lit(piles.diffuse, *diffuse), lit(piles.seen, *pairs)
