"""Layers over one another and over a backing, with directions kept.

Knows how two sheets exchange light; knows nothing of scenes, colour or pictures. The equations are
those of :mod:`weavecolor.optics.exchange`, with the joint probability that a beam comes back out of
the openings it went in by. What escapes more often for that reason hits the layer's underside
less often, by the same amount, so energy is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.spectra import Spectrum
from weavecolor.optics.cell.pairs import UNEVEN, Distance
from weavecolor.optics.exchange import between, cast, rounds
from weavecolor.optics.layer import LayerOptics, Placement, layer_pairs
from weavecolor.optics.sideways import Sideways, register, sideways
from weavecolor.scene.backings import Backing

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
    """How often labels are open together: ``joint`` (N, N); ``straight`` (N,): share of each
    label's beam that comes straight through and, sent back evenly, hits the underside; and
    ``hit_spread``: how much of the light coming back from behind does, over its uncorrelated
    share. Each with bands first, before what light goes sideways in."""

    joint: Array
    straight: Array
    hit_spread: float | Array


@dataclass(frozen=True, eq=False)
class Ground:
    """What lies behind a pile at B wavelengths: ``reflectance`` (B,), and what light goes
    ``sideways`` in there, None for a matt surface."""

    reflectance: Array
    sideways: Sideways | None = None

    @classmethod
    def of(cls, backing: Backing, bands: slice = slice(None)) -> Ground:
        """A backing at some of its wavelengths."""
        inside = sideways(backing)
        return cls(backing.reflectance[bands], None if inside is None else inside.at(bands))


@dataclass(frozen=True, eq=False)
class StackOptics:
    """One or more layers in the stack's frame; arrays as in :class:`LayerOptics`.

    ``members``: each layer with what lies between its back and the pile's back: (least, greatest)
    of each gap and thickness in mm. ``rows`` (R, N): where given, the labels are these mixtures of
    the layers' labels, and such a pile ends there: nothing can be laid under it.
    """

    reflect: Array
    under: Array
    transmit: Array
    through: Array
    share: Array
    members: tuple[tuple[Placement, Spans], ...]
    rows: Array | None = None


#: Distance in mm over which openings no longer line up.
_FAR = (0.0, 50.0)


def gap_mm(layer: Placement, gap: tuple[float, float] | None) -> tuple[float, float]:
    return _FAR if gap is None else (gap[0] * layer.pitch, gap[1] * layer.pitch)


def as_stack(layer: LayerOptics) -> StackOptics:
    """A pile of one layer."""
    at = layer.placement
    return StackOptics(
        layer.reflect, layer.under, layer.transmit, at.through, at.share, ((at, ()),)
    )


def openings(
    pile: StackOptics,
    gap: tuple[float, float] | None,
    depths: tuple[float, ...] = (),
    uneven: float = UNEVEN,
    matter: Sideways | None = None,
) -> Openings:
    """Joint openness of a pile before something that is met ``depths`` mm below its front
    (quantiles; none for a plane).

    ``gap``: nearest and farthest distance behind each layer in yarn spacings, None for
    uncorrelated.

    Parameters
    ----------
    pile : StackOptics
        Of N labels.
    gap : (float, float) or None
        Nearest and farthest distance behind each layer in yarn spacings, from 0; None: what lies
        behind meets the openings at random.
    depths : tuple of float
        How deep below its front the thing is met, mm, as evenly spaced quantiles.
    uneven : float
        Variation of the yarn spacing as a fraction of it, 0 to 1.
    matter : Sideways, optional
        What light goes sideways in, behind the pile; a matt surface if left out.
    """
    t, share = pile.through, pile.share
    mean = float(share @ t)
    if gap is None or mean <= 1e-9:
        return Openings(np.outer(t, t), t, 1.0)
    if pile.rows is not None:
        share = pile.members[0][0].share
        t = np.prod([layer.through for layer, _ in pile.members], axis=0)
    joint = np.ones((t.size, t.size))
    for layer, spans in pile.members:
        distance = Distance((*spans, gap_mm(layer, gap)), depths, uneven)
        own = layer_pairs(layer, distance, nodes=not spans)
        if matter is not None:
            by_chance = np.outer(layer.through, layer.through)
            left = register(layer.construction, matter)[:, None, None]
            own = by_chance + left * (own - by_chance)
        joint = joint * own
    made = openings_of(joint, t, share)
    return made if pile.rows is None else mixed(made, pile.rows)


def mixed(open_: Openings, rows: Array) -> Openings:
    """The openings of mixtures of labels, ``rows`` (R, N)."""
    straight = (rows @ open_.straight[..., None])[..., 0]
    return Openings(rows @ open_.joint @ rows.T, straight, open_.hit_spread)


def openings_of(joint: Array, through: Array, share: Array) -> Openings:
    """Openings whose labels are open together as in ``joint`` (N, N).

    Parameters
    ----------
    joint : ndarray, shape (N, N) or (B, N, N)
        Share of the area open along both labels at once, 0 to 1.
    through : ndarray, shape (N,)
        Beam transmittance along each, 0 to 1.
    share : ndarray, shape (N,)
        Quadrature shares, sum 1; 0 for named directions.
    """
    # over the nodes alone and row by row, so that no digit hangs on what else is asked
    nodes = np.count_nonzero(share)
    c, t = share[:nodes], through
    mean = float(c @ t[:nodes])
    both = (joint[..., :nodes] * c).sum(axis=-1)
    returned = np.divide(both, t, out=np.full_like(both, mean), where=t > 1e-9)
    straight = np.clip(1.0 - returned, 0.0, None) / (1.0 - mean) * t
    spread = (1.0 - straight[..., :nodes] @ c) / (1.0 - mean)
    return Openings(joint, straight, float(spread) if spread.ndim == 0 else spread)


def _turned(matrices: NDArray[Any]) -> NDArray[Any]:
    return np.swapaxes(matrices, -1, -2)


def seen(pile: StackOptics) -> StackOptics:
    """A pile as a viewer gets it, small: label 0 is even diffuse light, then the named directions
    follow."""
    rows = viewed(pile)
    reflect, under, transmit = (
        _turned(_mixed(rows, _turned(_mixed(rows, t))))
        for t in (pile.reflect, pile.under, pile.transmit)
    )
    return StackOptics(
        reflect,
        under,
        transmit,
        rows @ pile.through,
        np.eye(len(rows))[0],
        pile.members,
        rows,
    )


def _mixed(rows: Array, tables: NDArray[np.floating[Any]]) -> Array:
    """``rows @ tables`` for rows as :func:`viewed` gives: one mixture of the nodes, then single
    labels."""
    single, nodes = rows[1:].argmax(axis=1), np.count_nonzero(rows[0])
    # label by label: a product of whole tables rounds one label's sum by how many there are
    even = np.einsum("rn,...nk->...rk", rows[:1, :nodes], tables[..., :nodes, :])
    return np.concatenate([even, tables[..., single, :]], axis=-2)


def viewed(pile: StackOptics) -> Array:
    """The mixtures of a pile's labels (R, N) that :func:`seen` keeps."""
    one = np.eye(pile.share.size)
    return np.concatenate([pile.share[None], one[np.count_nonzero(pile.share) :]])


def add(
    upper: StackOptics,
    lower: StackOptics,
    gap: tuple[float, float] | None,
    uneven: float = UNEVEN,
    rows: Array | None = None,
    open_: Openings | None = None,
) -> StackOptics:
    """Lay ``upper`` over ``lower``; ``gap`` as in :data:`GAPS`, ``uneven`` the variation of yarn
    spacing (see :class:`weavecolor.optics.cell.pairs.Distance`). Reciprocal, and keeps energy.

    ``rows`` (R, N): only these mixtures of labels are wanted of the result, which saves most of
    the work for the last layer; see :func:`viewed`. ``open_``: how the openings line up, where that
    is known already.
    """
    if open_ is None:
        open_ = openings(upper, gap, lower.members[0][0].depths, uneven)
    bands, size = len(upper.reflect), upper.share.size if rows is None else len(rows)
    kind = np.result_type(upper.reflect, lower.reflect)
    out = [np.empty((bands, size, size), kind) for _ in range(3)]
    # bands do not meet: few at a time stay close to the processor
    each = max(1, int(_AT_ONCE / upper.share.size**2))

    def part(first: int) -> None:
        own = slice(first, first + each)
        for whole, made in zip(
            out, _added(_cut(upper, own), _cut(lower, own), open_, kind, rows), strict=True
        ):
            whole[own] = made

    starts = range(0, bands, each)
    if len(starts) == 1:
        part(0)
    else:
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(part, starts))
    first, spans = lower.members[0]
    behind = ((first.thickness, first.thickness), *spans)
    members = tuple((m, (*between, gap_mm(m, gap), *behind)) for m, between in upper.members)
    members += lower.members
    share = upper.share if rows is None else np.eye(len(rows))[0]
    through = upper.through * lower.through
    through = through if rows is None else rows @ through
    return StackOptics(out[0], out[1], out[2], through, share, members, rows)


#: Numbers of a table of labels that are worked on at once.
_AT_ONCE = 2.0e5


def _cut(pile: StackOptics, own: slice) -> StackOptics:
    rows = {what: getattr(pile, what)[own] for what in ("reflect", "under", "transmit")}
    return replace(pile, **rows)


def _added(
    upper: StackOptics, lower: StackOptics, open_: Openings, kind: np.dtype[Any], rows: Array | None
) -> tuple[Array, Array, Array]:
    """Reflected by the front, by the back, and passed, of one pile over another."""
    t1, t2 = upper.through.astype(kind), lower.through.astype(kind)
    q = slice(0, np.count_nonzero(upper.share))  # nodes carry light on; named ones end paths
    c = upper.share[q].astype(kind)
    pass1, pass2, above, below = upper.transmit, lower.transmit, lower.reflect, upper.under
    spread, straight = kind.type(float(open_.hit_spread)), open_.straight.astype(kind)
    above_q, below_q = above[:, q], below[:, q]
    rows = rows if rows is None else rows.astype(kind)

    def wanted(table: Array, beam: Array | None = None) -> Array:
        if beam is not None:
            table = beam[:, None] * table
        return table if rows is None else _mixed(rows, table)

    def kept(table: Array, beam: Array | None = None) -> Array:
        return _turned(wanted(_turned(table), beam))

    # sent up by the lower pile towards the upper one's underside, for light from above
    pass1 = wanted(pass1)
    scattered, sent, closed, again = between(
        pass1[:, :, q], wanted(above, straight), above_q, below_q, c, spread
    )
    reflect = (
        kept(wanted(upper.reflect + open_.joint.astype(kind) * above))
        + (sent[:, :, q] * c) @ _turned(pass1[:, :, q])
        + kept(scattered, straight)
        + (again[:, :, q] * c) @ _turned(sent[:, :, q])
    )
    down = pass1 + again
    passed = kept(wanted(pass2, t1)) + kept(down, t2) + (down[:, :, q] * c) @ kept(pass2[:, q])

    # the same from below: what comes up through the lower pile meets the upper one's underside
    up_q = wanted(_turned(pass2[:, q])) * c
    met = wanted(below, t2) + up_q @ below_q
    # the transposed round trip: closed with its weights on the other side
    back = closed @ (c[:, None] * _turned(met[:, :, q])) / c[:, None]
    under = (
        kept(wanted(lower.under) + met * t2)
        + met[:, :, q] @ _turned(up_q)
        + spread * (_turned(back) * c) @ (above_q[:, :, q] * c) @ _turned(met[:, :, q])
    )
    return reflect, under, passed


def over_backing(
    pile: StackOptics,
    backing: Spectrum,
    gap: tuple[float, float] | None,
    uneven: float = UNEVEN,
) -> Array:
    """Radiance factors (41, N, N) of a pile over a Lambertian backing of reflectance (41,).

    Parameters
    ----------
    pile : StackOptics
        Of N labels.
    backing : ndarray, shape (41,)
        Reflectance, 0 to 1.
    gap, uneven
        As for :func:`openings`.
    """
    return over_backings(pile, [Ground(np.asarray(backing, float))], gap, uneven)[0]


def over_backings(
    pile: StackOptics,
    backings: Sequence[Ground],
    gap: tuple[float, float] | None,
    uneven: float = UNEVEN,
    opened: Callable[[Sideways | None], Openings] | None = None,
) -> list[Array]:
    """As :func:`over_backing`, for several backings at little more than the cost of one.

    Parameters
    ----------
    pile, gap, uneven
        As for :func:`over_backing`.
    backings : sequence of Ground
    opened
        How the openings line up before each matter, where that is known already.
    """
    if opened is None:

        def opened(matter: Sideways | None) -> Openings:
            return openings(pile, gap, uneven=uneven, matter=matter)

    share = pile.share
    kind = pile.reflect.dtype  # pictures make do with single precision
    # (41, N) scattered, to or from a diffuse surface
    spread_in = (pile.transmit @ share).astype(kind)
    inner = (pile.under @ share) @ share  # (41,)
    out: list[Array] = []
    lit: dict[int, tuple[Any, ...]] = {}  # alike before all that is of one matter
    for ground in backings:
        rho, matter = ground.reflectance, ground.sideways
        if id(matter) not in lit:
            open_ = opened(matter)
            straight, spread = open_.straight.astype(kind), np.asarray(open_.hit_spread)
            lit[id(matter)] = spread, *cast(
                open_.joint.astype(kind), straight[..., :, None], spread_in[:, :, None],
                straight[..., None, :], spread_in[:, None], spread.astype(kind)[..., None, None],
            )  # fmt: skip
        spread, first, further = lit[id(matter)]
        seen = rho.astype(kind)[:, None, None] * first
        seen += rounds(rho, inner, spread).astype(kind)[:, None, None] * further
        seen += pile.reflect
        out.append(seen)
    return out
