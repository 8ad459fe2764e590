"""Layers over one another and over a backing, with directions kept.

Knows how two sheets exchange light; knows nothing of scenes, colour or pictures. The adding
equations (G. G. Stokes, Proc. R. Soc. 11 (1862) 545; P. Kubelka, JOSA 44 (1954) 330) in matrix
form over directions (H. C. van de Hulst, Multiple Light Scattering, 1980, ch. 4), with the beam
that passes unscattered kept apart and with the joint probability that a beam comes back out of
the openings it went in by. What escapes more often for that reason hits the layer's underside
less often, by the same amount, so energy is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.cell.pairs import UNEVEN, Distance
from weavecolor.layeroptics import LayerOptics, layer_pairs
from weavecolor.linear import solve
from weavecolor.spectra import Spectrum

Array = NDArray[np.float64]
Spans = tuple[tuple[float, float], ...]

#: For each way of laying: nearest and farthest gap behind a layer, in yarn spacings; None: so far
#: apart and irregular that openings do not line up. Assumed, not sourced.
GAPS: dict[str, tuple[float, float] | None] = {
    "touching": (0.0, 0.1),
    "loose": (0.0, 2.0),
    "apart": None,
}


@dataclass(frozen=True, eq=False)
class Openings:
    """How often labels are open together: ``joint`` (N, N), ``hit`` (N,) and ``hit_spread``: how
    much of the light coming back from behind hits the underside, over its uncorrelated share."""

    joint: Array
    hit: Array
    hit_spread: float


@dataclass(frozen=True, eq=False)
class PileOptics:
    """One or more layers in the stack's frame; arrays as in :class:`LayerOptics`.

    ``members``: each layer with what lies between its back and the pile's back: (least, greatest)
    of each gap and thickness in mm.
    """

    reflect: Array
    under: Array
    pass_: Array
    through: Array
    share: Array
    members: tuple[tuple[LayerOptics, Spans], ...]


#: Distance in mm over which openings no longer line up.
_FAR = (0.0, 50.0)


def _gap_mm(layer: LayerOptics, gap: tuple[float, float] | None) -> tuple[float, float]:
    return _FAR if gap is None else (gap[0] * layer.pitch, gap[1] * layer.pitch)


def pile_of(layer: LayerOptics) -> PileOptics:
    """A pile of one layer."""
    return PileOptics(
        layer.reflect, layer.under, layer.pass_, layer.through, layer.share, ((layer, ()),)
    )


def openings(
    pile: PileOptics,
    gap: tuple[float, float] | None,
    depths: tuple[float, ...] = (),
    uneven: float = UNEVEN,
) -> Openings:
    """Joint openness of a pile before something that is met ``depths`` mm below its front
    (quantiles; none for a plane).

    ``gap``: nearest and farthest distance behind each layer in yarn spacings, None for
    uncorrelated.
    """
    t, share = pile.through, pile.share
    mean = float(share @ t)
    if gap is None or mean <= 1e-9:
        return Openings(np.outer(t, t), np.ones_like(t), 1.0)
    joint = np.ones((t.size, t.size))
    for layer, spans in pile.members:
        distance = Distance((*spans, _gap_mm(layer, gap)), depths, uneven)
        joint *= layer_pairs(layer, distance, nodes=not spans)
    returned = np.divide(joint @ share, t, out=np.full_like(t, mean), where=t > 1e-9)
    hit = np.clip(1.0 - returned, 0.0, None) / (1.0 - mean)
    return Openings(joint, hit, float(1.0 - share @ (hit * t)) / (1.0 - mean))


def _turned(matrices: NDArray) -> NDArray:
    return np.swapaxes(matrices, -1, -2)


def add(
    upper: PileOptics,
    lower: PileOptics,
    gap: tuple[float, float] | None,
    uneven: float = UNEVEN,
) -> PileOptics:
    """Lay ``upper`` over ``lower``; ``gap`` as in :data:`GAPS`, ``uneven`` the variation of yarn
    spacing (see :class:`weavecolor.cell.pairs.Distance`). Reciprocal, and keeps energy."""
    open_ = openings(upper, gap, lower.members[0][0].depths, uneven)
    t1, t2 = upper.through, lower.through
    q = np.flatnonzero(upper.share > 0)  # only the nodes carry light on; named ones end paths
    c = upper.share[q]
    pass1, pass2, above, below = upper.pass_, lower.pass_, lower.reflect, upper.under
    spread, hit = open_.hit_spread, open_.hit * t1
    above_q, below_q = above[:, q], below[:, q]
    between = spread * (c[:, None] * below_q[:, :, q] * c) @ above_q[:, :, q]
    eye = np.broadcast_to(np.eye(q.size), between.shape)
    closed = solve(eye - between, eye)  # all rounds to and fro between the two

    # sent up by the lower pile towards the upper one's underside, for light from above
    sent = hit[:, None] * above + spread * (pass1[:, :, q] * c) @ above_q
    rounds = sent[:, :, q] @ closed
    again = (rounds * c) @ below_q  # and down again, to every label
    scattered_q = pass1[:, :, q] * c
    one_way = scattered_q @ (above_q * hit)
    reflect = (
        upper.reflect
        + open_.joint * above
        + (sent[:, :, q] * c) @ _turned(pass1[:, :, q])
        + one_way
        + (again[:, :, q] * c) @ _turned(sent[:, :, q])
    )
    down = pass1 + again
    passed = t1[:, None] * pass2 + down * t2 + (down[:, :, q] * c) @ pass2[:, q]

    # the same from below: what comes up through the lower pile meets the upper one's underside
    up_q = _turned(pass2[:, q]) * c
    met = t2[:, None] * below + up_q @ below_q
    # the transposed round trip: closed with its weights on the other side
    back = closed @ (c[:, None] * _turned(met[:, :, q])) / c[:, None]
    under = (
        lower.under
        + met * t2
        + met[:, :, q] @ _turned(up_q)
        + spread * _turned(back) @ (c[:, None] * above_q[:, :, q] * c) @ _turned(met[:, :, q])
    )
    first, spans = lower.members[0]
    behind = ((first.thickness, first.thickness), *spans)
    members = tuple((m, (*between, _gap_mm(m, gap), *behind)) for m, between in upper.members)
    members += lower.members
    return PileOptics(reflect, under, passed, t1 * t2, upper.share, members)


def over_backing(
    pile: PileOptics,
    backing: Spectrum,
    gap: tuple[float, float] | None,
    uneven: float = UNEVEN,
) -> Array:
    """Radiance factors (41, N, N) of a pile over a Lambertian backing of reflectance (41,)."""
    return over_backings(pile, [backing], gap, uneven)[0]


def over_backings(
    pile: PileOptics,
    backings: list[Spectrum],
    gap: tuple[float, float] | None,
    uneven: float = UNEVEN,
) -> list[Array]:
    """As :func:`over_backing`, for several backings at little more than the cost of one."""
    open_ = openings(pile, gap, uneven=uneven)
    share, spread = pile.share, open_.hit_spread
    straight = (open_.hit * pile.through)[None, :]
    spread_in = pile.pass_ @ share  # (41, N) scattered through, to or from a diffuse surface
    inner = (pile.under @ share) @ share  # (41,)
    entering = straight + spread * spread_in
    # once off the backing: straight or scattered in, straight or scattered out
    first = entering[:, :, None] * spread_in[:, None, :]
    first += spread_in[:, :, None] * straight[:, None, :]
    first += open_.joint
    rounds = entering[:, :, None] * entering[:, None, :]
    out = []
    for rho in (np.asarray(b, float) for b in backings):
        more = rho**2 * inner / (1.0 - rho * spread * inner)
        seen = rho[:, None, None] * first
        seen += more[:, None, None] * rounds
        seen += pile.reflect
        out.append(seen)
    return out
