"""The last layer laid under many piles, over every ground, read in every look: compiled.

The same sums as ``streams.lay_under`` and ``streams.over_grounds``, of which only what an eye gets
is kept: XYZ of each pile over each ground. Knows arrays alone. Every quantity that goes in is at
least nought and enters by sums and products of such, or by what grows with it, so that XYZ grows
with each of them: larger tables, grounds or openness never make it smaller. ``bounds`` rests on
that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from weavecolor.decide.streams import Openings, StackBatch, openness
from weavecolor.decide.tables import Tables
from weavecolor.optics.exchange import cast, rounds
from weavecolor.scene.folds import sent_on

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_cast, _rounds, _sent_on = (
    njit(cache=True, nogil=True, error_model="numpy")(f) for f in (cast, rounds, sent_on)
)


@dataclass(frozen=True, eq=False)
class Lowers:
    """Layers to be laid under a pile, L of them: ``above`` (L, B, M, G), ``pairs`` (L, B, P),
    ``sent`` (L, B, M) what they scatter through evenly, ``through`` (L, G), ``under`` (L, B) what
    their undersides send back of even light."""

    above: Array
    pairs: Array
    sent: Array
    through: Array
    under: Array


def lowers_of(tables: Tables) -> Lowers:
    """Every laid layer of the tables."""
    c = tables.share
    g = c.size
    return Lowers(
        np.ascontiguousarray(tables.above[..., :g]),
        np.ascontiguousarray(tables.pairs),
        np.ascontiguousarray(tables.transmit[..., :g] @ c),
        np.ascontiguousarray(tables.through[:, :g]),
        np.ascontiguousarray((tables.under[:, :, :g, :g] @ c) @ c),
    )


@dataclass(frozen=True, eq=False)
class Uppers:
    """Piles to lay something under, with their openness before it."""

    transmit: Array  # (n, B, M, G)
    under: Array  # (n, B, G, G)
    through: Array  # (n, M)
    diffuse: Array  # (n, B, V)
    seen: Array  # (n, B, P)
    joint: Array  # (n, V, G)
    pairs: Array  # (n, P)
    hit: Array  # (n, M)
    spread: Array  # (n,)


def uppers_of(tables: Tables, piles: StackBatch, before: Openings) -> Uppers:
    """The ``piles`` of laid layers of ``tables``; ``before``: their openness before a further
    layer."""
    g = tables.share.size
    held = np.ascontiguousarray
    return Uppers(
        held(piles.transmit[..., :g]),
        held(piles.under[:, :, :g, :g]),
        held(piles.through),
        held(piles.diffuse),
        held(piles.seen),
        held(before.joint[:, tables.views]),
        held(before.pairs),
        held(before.hit),
        held(before.spread),
    )


@dataclass(frozen=True, eq=False)
class Behind:
    """The openness of n whole piles before each of S grounds: ``joint`` (n, S, V) towards each
    view, ``pairs`` (n, S, P), ``hit`` (n, S, M), ``spread`` (n, S)."""

    joint: Array
    pairs: Array
    hit: Array
    spread: Array


def behind_of(tables: Tables, members: Indices, through: Array, matters: Indices) -> Behind:
    """Of n piles of laid layers.

    Parameters
    ----------
    tables : Tables
    members : ndarray of int, shape (n, d)
    through : ndarray, shape (n, M)
        Shares of beams that pass the whole pile.
    matters : ndarray of int, shape (S,)
        What each ground is, by its number in ``tables.joint``.
    """
    apart = {int(m): openness(tables, members, through, int(m)) for m in dict.fromkeys(matters)}
    whole = [apart[int(m)] for m in matters]
    return Behind(
        np.stack([(one.joint @ tables.share)[:, tables.views] for one in whole], axis=1),
        np.stack([one.pairs for one in whole], axis=1),
        np.stack([one.hit for one in whole], axis=1),
        np.stack([one.spread for one in whole], axis=1),
    )


def xyz(
    tables: Tables,
    uppers: Uppers,
    lowers: Lowers,
    upper: Indices,
    lower: Indices,
    behind: Behind,
    grounds: Array,
    bare: NDArray[np.bool_],
    columns: Indices,
    whose: Indices,
    of_diffuse: Array,
    of_around: Array,
    of_pairs: Array,
    wanted: NDArray[np.bool_] | None = None,
) -> Array:
    """XYZ (n, S, K, 3) of n piles over S grounds in K looks.

    Parameters
    ----------
    tables : of the laid layers.
    uppers, lowers : the piles and the layers to lay under them.
    upper, lower : (n,) which pile, and which layer under it.
    behind : of these n piles.
    grounds : (S, B) reflectances; ``bare`` (S,): nothing there at all.
    columns, whose : (Q,) place among ``tables.views`` of a look's view, and which look it is of.
    of_diffuse, of_around, of_pairs : (Q, B, 3), (Q, B, 3) and (K, B, P, 3) weights of the radiance
        factors: of even light, of what folds send on of it, and of lights.
    wanted : (n, S) which grounds under which piles (default: all); the rest is left at nought.

    NaN where light would grow without end between pile and ground, which no real layers do.
    """
    out = np.empty((upper.size, grounds.shape[0], len(of_pairs), 3))
    if wanted is None:
        wanted = np.ones((upper.size, grounds.shape[0]), dtype=np.bool_)
    _xyz(
        tables.share, tables.views, tables.pair_views, tables.pair_lights,
        uppers.transmit, uppers.under, uppers.through, uppers.diffuse, uppers.seen,
        uppers.joint, uppers.pairs, uppers.hit, uppers.spread,
        lowers.above, lowers.pairs, lowers.sent, lowers.through, lowers.under,
        upper, lower, behind.joint, behind.pairs, behind.hit, behind.spread,
        np.ascontiguousarray(grounds), bare, columns, whose, of_diffuse, of_around,
        of_pairs, wanted, out,
    )  # fmt: skip
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _xyz(
    c: Any, views: Any, pair_views: Any, pair_lights: Any,
    u_pass: Any, u_under: Any, u_through: Any, u_diffuse: Any, u_seen: Any,
    u_joint: Any, u_pairs: Any, u_hit: Any, u_spread: Any,
    l_above: Any, l_pairs: Any, l_sent: Any, l_through: Any, l_under: Any,
    upper: Any, lower: Any, b_joint: Any, b_pairs: Any, b_hit: Any, b_spread: Any,
    grounds: Any, bare: Any, columns: Any, whose: Any, of_diffuse: Any, of_around: Any,
    of_pairs: Any, wanted: Any, out: Any,
) -> None:  # fmt: skip
    bands, rows, g = u_pass.shape[1:]
    n_views, n_pairs, n_looks = views.size, pair_views.size, of_pairs.shape[0]
    closed = np.empty((g, g))
    inverse = np.empty((g, g))
    sent = np.empty((rows, g))
    rounds = np.empty((rows, g))
    again = np.empty((rows, g))
    spread_in = np.empty(rows)
    s, w, mc, ma, bk = np.empty(g), np.empty(g), np.empty(g), np.empty(g), np.empty(g)
    all_pass, all_above, all_sent = np.empty(g), np.empty(g), np.empty(g)
    first_v, further_v = np.empty(n_views), np.empty(n_views)
    diffuse, seen = np.empty(n_views), np.empty(n_pairs)
    first_p, further_p = np.empty(n_pairs), np.empty(n_pairs)
    for n in range(upper.size):
        u, low = upper[n], lower[n]
        out[n] = 0.0
        spread = u_spread[u]
        sound = True
        for b in range(bands):
            above, below, p1 = l_above[low, b], u_under[u, b], u_pass[u, b]
            # all rounds to and fro between the pile and the layer under it
            for i in range(g):
                for j in range(g):
                    total = 0.0
                    for k in range(g):
                        total += below[i, k] * c[k] * above[k, j]
                    closed[i, j] = (1.0 if i == j else 0.0) - spread * c[i] * total
            sound = _inverted(closed, inverse) and sound
            for m in range(rows):
                for k in range(g):
                    total = 0.0
                    for j in range(g):
                        total += p1[m, j] * c[j] * above[j, k]
                    sent[m, k] = u_hit[u, m] * above[m, k] + spread * total
            for m in range(rows):
                for k in range(g):
                    total = 0.0
                    for j in range(g):
                        total += sent[m, j] * inverse[j, k]
                    rounds[m, k] = total
            for m in range(rows):
                for k in range(g):
                    total = 0.0
                    for j in range(g):
                        total += rounds[m, j] * c[j] * below[j, k]
                    again[m, k] = total
            for k in range(g):
                one, two, three = 0.0, 0.0, 0.0
                for j in range(g):
                    one += c[j] * p1[j, k]
                    two += c[j] * u_hit[u, j] * above[j, k]
                    three += c[j] * sent[j, k]
                all_pass[k], all_above[k], all_sent[k] = one, two, three
                w[k] = c[k] * l_sent[low, b, k]
                s[k] = w[k] + c[k] * l_through[low, k]
            # towards each view from uniform light, and from the other direction of each pair
            for q in range(n_views):
                v = views[q]
                total = u_diffuse[u, b, q]
                for k in range(g):
                    total += (
                        u_joint[u, q, k] * above[v, k] * c[k]
                        + sent[v, k] * c[k] * all_pass[k]
                        + p1[v, k] * c[k] * all_above[k]
                        + again[v, k] * c[k] * all_sent[k]
                    )
                diffuse[q] = total
            for q in range(n_pairs):
                v, li = pair_views[q], pair_lights[q]
                total = u_seen[u, b, q] + u_pairs[u, q] * l_pairs[low, b, q]
                for k in range(g):
                    total += c[k] * (
                        sent[v, k] * p1[li, k]
                        + p1[v, k] * above[li, k] * u_hit[u, li]
                        + again[v, k] * sent[li, k]
                    )
                seen[q] = total
            # through both, evenly; and what even light from below gets back
            for m in range(rows):
                total = u_through[u, m] * l_sent[low, b, m]
                for k in range(g):
                    total += (p1[m, k] + again[m, k]) * s[k]
                spread_in[m] = total
            inner = l_under[low, b]
            for k in range(g):
                one, two = 0.0, 0.0
                for j in range(g):
                    one += s[j] * below[j, k]
                    two += (s[j] - w[j]) * below[k, j] + w[j] * below[j, k]
                mc[k], ma[k] = one, two
                inner += one * s[k]
            for i in range(g):
                total = 0.0
                for k in range(g):
                    total += inverse[i, k] * c[k] * mc[k]
                bk[i] = total  # times its own share
            for i in range(g):
                for k in range(g):
                    inner += spread * bk[i] * above[i, k] * c[k] * ma[k]
            # over the grounds
            spread_all = 0.0
            for k in range(g):
                spread_all += spread_in[k] * c[k]
            for z in range(grounds.shape[0]):
                rho = 0.0 if bare[z] else grounds[z, b]
                hit, open_spread = b_hit[n, z], b_spread[n, z]
                sound = sound and rho * open_spread * inner < 1.0
                if not wanted[n, z]:
                    continue
                more = _rounds(rho, inner, open_spread)
                straight_all = 0.0
                for k in range(g):
                    straight_all += hit[k] * c[k]
                for q in range(n_views):
                    v = views[q]
                    first_v[q], further_v[q] = _cast(
                        b_joint[n, z, q], hit[v], spread_in[v], straight_all, spread_all,
                        open_spread,
                    )  # fmt: skip
                for q in range(n_pairs):
                    v, li = pair_views[q], pair_lights[q]
                    first_p[q], further_p[q] = _cast(
                        b_pairs[n, z, q], hit[v], spread_in[v], hit[li], spread_in[li], open_spread
                    )
                for j in range(columns.size):
                    q = columns[j]
                    value = diffuse[q] + rho * first_v[q] + more * further_v[q]
                    on = value  # as much as this view sees
                    if bare[z]:
                        on += hit[views[q]] + spread_in[views[q]]
                    on = _sent_on(on, on)
                    for x in range(3):
                        weight = of_diffuse[j, b, x] + on * of_around[j, b, x]
                        out[n, z, whose[j], x] += value * weight
                for k in range(n_looks):
                    for q in range(n_pairs):
                        value = seen[q] + rho * first_p[q] + more * further_p[q]
                        for x in range(3):
                            out[n, z, k, x] += value * of_pairs[k, b, q, x]
        if not sound:
            out[n] = np.nan


@njit(cache=True, nogil=True, error_model="numpy")
def _inverted(matrix: Any, inverse: Any) -> bool:
    """Gauss and Jordan's way without pivots, as the rounds of light between layers need none;
    False where the sum of rounds has no end, that is, where a pivot is not above nought."""
    g = matrix.shape[0]
    for i in range(g):
        for j in range(g):
            inverse[i, j] = 1.0 if i == j else 0.0
    sound = True
    for i in range(g):
        pivot = matrix[i, i]
        sound = sound and pivot > 0.0
        for j in range(g):
            matrix[i, j] /= pivot
            inverse[i, j] /= pivot
        for r in range(g):
            if r != i:
                factor = matrix[r, i]
                for j in range(g):
                    matrix[r, j] -= factor * matrix[i, j]
                    inverse[r, j] -= factor * inverse[i, j]
    return sound
