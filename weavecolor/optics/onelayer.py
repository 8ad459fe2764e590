"""One layer over a backing, for a handful of directions: the same optics as ``layer`` and
``adding``, arranged so that a new dye costs a millisecond and a new construction half a second.

Knows how traced light is summed and how a layer meets a Lambertian backing; knows nothing of
cameras, priors or fitting. Whatever the light, only the directions named and uniformly diffuse
light from either side take part, so light is traced from these alone and gathered by the lengths
that it ran in the fibres; a dye is then a sum over lengths, band by band, with its slopes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.spectra import BANDS
from weavecolor.optics.adding import GAPS, StackOptics, openings
from weavecolor.optics.cell.filaments import (
    FilamentCell,
    Strand,
    beam,
    by_side,
    even,
    lengths,
    looked_at,
    pair_rays,
    rays_each,
    unmet,
)
from weavecolor.optics.cell.nodes import Named, half_deg_of, nodes, unit
from weavecolor.optics.cell.rays import bodies
from weavecolor.optics.exchange import cast, rounds
from weavecolor.optics.layer import Placement, pitch, strand, strands, to_cloth_frame, woven
from weavecolor.optics.sideways import Sideways, sideways
from weavecolor.scene.backings import PAPER, Backing
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth, Construction, Yarn
from weavecolor.textile.construction import geometry_of

Array = NDArray[np.float64]

_STEP = 1e-20  # of complex-step differentiation (Squire and Trapp, SIAM Rev. 40 (1998) 110)
#: Rays from each node that are only asked whether they meet anything.
_UNMET = 60


@dataclass(frozen=True)
class Laid:
    """One sheet laid down, seen from ``eye`` and lit from ``lamps``: unit vectors in the cloth's
    frame before it is turned over (z > 0 outwards), of lamps with half their angle. ``flip``: its
    back lies outwards."""

    eye: Named
    lamps: tuple[Named, ...]
    flip: bool


#: Looked at straight on, in light from all around.
SQUARE = Laid((0.0, 0.0, 1.0), (), False)


def laid(scene: Scene, grain_deg: float, face: str) -> Laid:
    """How ``scene`` meets a sheet whose warp lies at ``grain_deg``, its ``face`` ("face" or "back")
    outwards; lights from the front only."""

    def vector(zenith: float, azimuth: float, *half_deg: float) -> Named:
        v = unit(np.radians(zenith), np.radians(azimuth - grain_deg))
        return to_cloth_frame((*map(float, v), *half_deg), 0.0, False)

    return Laid(
        vector(scene.view_zenith_deg, scene.view_azimuth_deg),
        tuple(vector(*x.way) for x in scene.in_front),
        face == "back",
    )


@dataclass(frozen=True, eq=False)
class Openness:
    """Openness of one sheet before a backing: for eye and lamps (E,), pairs (E, E), and sums over
    diffuse light; names as in ``adding``."""

    joint: Array
    joint_diffuse: Array
    straight: Array
    straight_diffuse: float
    spread: float


@dataclass(frozen=True, eq=False)
class OneLayer:
    """One construction for all that was seen of it, its dye still open.

    Sources, in order: the E directions, diffuse light on the face, diffuse light on the back.
    ``weights`` (m * m, lengths): radiance factors by lengths run in warp and weft; ``plain``
    (m, m): what no dye changes.
    """

    sheets: tuple[Laid, ...]
    places: tuple[tuple[int, ...], ...]
    openings: tuple[Openness, ...]
    count: int
    cell: FilamentCell
    weights: Array
    plain: Array


def one_layer(cloth: Cloth, sheets: Sequence[Laid], effort: float = 1.0) -> OneLayer:
    """Prepare ``cloth``'s geometry for what is seen in ``sheets``, by ``effort`` times the rays
    that an appearance takes."""
    cell = woven(geometry_of(cloth), *strands(cloth))
    return _layer(geometry_of(cloth), cell, sheets, "loose", effort)


def thread_grid(yarn: Yarn, pitch_mm: float) -> tuple[Construction, FilamentCell]:
    """Parallel straight threads every ``pitch_mm``, as they lie when wound round a card: a cell
    whose weft is so thin and far apart that it does not count."""
    one = strand(yarn)
    pitch = max(pitch_mm, 1.0001 * one.width)
    none = Strand(1e-3 * one.width, 1e-3 * one.height)
    far = 2000.0 * one.width
    made = Construction(((1,),), pitch, far, one.width, one.height, none.width, none.height, 0.0)
    return made, FilamentCell(((1,),), one, none, pitch, far, 0.0, 0.0)


def grid_layer(
    yarn: Yarn, pitch_mm: float, sheets: Sequence[Laid], effort: float = 1.0
) -> OneLayer:
    """As :func:`one_layer`, of parallel threads of ``yarn`` every ``pitch_mm``, as seen in
    ``sheets``, by ``effort`` times the rays that an appearance takes; their dye is the first, the
    second does not matter."""
    made, cell = thread_grid(yarn, pitch_mm)
    return _layer(made, cell, sheets, None, effort)


def _layer(
    construction: Construction,
    cell: FilamentCell,
    sheets: Sequence[Laid],
    lay: str | None,
    effort: float,
) -> OneLayer:
    met = [tuple(to_cloth_frame(v, 0.0, s.flip) for v in (s.eye, *s.lamps)) for s in sheets]
    vectors = tuple(dict.fromkeys(v for vs in met for v in vs))
    index = {v: k for k, v in enumerate(vectors)}
    places = tuple(tuple(index[v] for v in vs) for vs in met)
    # light is looked at from the eye, as an appearance does
    links: dict[int, list[int]] = {}
    for at in places:
        known = links.setdefault(at[0], [])
        known += [lamp for lamp in dict.fromkeys(at[1:]) if lamp not in known]
    looked, small = (max(int(effort * n(cell)), 400) for n in (pair_rays, rays_each))
    count, steps = len(vectors), lengths(cell)[0].size ** 2
    m = count + 2
    weights, plain = np.zeros((m, m, steps)), np.zeros((m, m))
    through = np.zeros(count)
    for e, vector in enumerate(vectors):
        eye = bool(links.get(e))
        rays = beam(cell, vector, looked if eye else small, half_deg_of(vector))
        weights[e, count:] = by_side(cell, vector, rays)
        through[e] = rays.through
        if links.get(e):
            to = links[e]
            table, glint = looked_at(cell, vector, [vectors[n] for n in to], rays, looked)
            weights[e, to] = table.todense()
            weights[to, e] = weights[e, to]
            plain[e, to] = plain[to, e] = glint
    weights[count:, :count] = np.swapaxes(weights[:count, count:], 0, 1)
    for k, up in enumerate((True, False)):
        weights[count + k, count:] = even(cell, small, up)[0]
    across = 0.5 * (weights[count, count + 1] + weights[count + 1, count])
    weights[count, count + 1] = weights[count + 1, count] = across
    free = unmet(cell, _UNMET)
    met_by = {v: float(through[e]) for e, v in enumerate(vectors)}
    return OneLayer(
        tuple(sheets),
        places,
        _openings(construction, cell, sheets, lay, free, met_by, effort >= 0.5),
        count,
        cell,
        weights.reshape(m * m, steps),
        plain,
    )


@lru_cache(maxsize=1)
def _paper() -> Sideways:
    """What cloth is photographed or measured on, at one wavelength."""
    made = sideways(Backing("white paper", np.full(BANDS, 0.8), PAPER))
    assert made is not None
    return made.at(slice(0, 1))


def _openings(
    construction: Construction,
    cell: FilamentCell,
    sheets: Sequence[Laid],
    lay: str | None,
    free: Array,
    named: dict[Named, float],
    exact: bool,
) -> tuple[Openness, ...]:
    """Each sheet's openings, with diffuse light already summed. Colour takes no part."""
    grid = nodes()
    half, none = grid.half, np.zeros((0, 0, 0))
    out, laid_down = [], {}
    for sheet in sheets:
        alike = [s for s in sheets if s.flip == sheet.flip]
        vectors = tuple(dict.fromkeys(v for s in alike for v in (s.eye, *s.lamps)))
        if sheet.flip not in laid_down:
            side = slice(half, None) if sheet.flip else slice(0, half)
            met = np.array([named[to_cloth_frame(v, 0.0, sheet.flip)] for v in vectors])
            through = np.concatenate([free[side], met])
            share = np.concatenate([grid.share[:half], np.zeros(len(vectors))])
            # nothing meets this layer below another, so how deep it is met does not count
            placement = Placement(
                construction, bodies(cell), 0.0, sheet.flip, vectors, exact, through, share,
                2.0 * cell.top, (), pitch(cell),
            )  # fmt: skip
            pile = StackOptics(none, none, none, through, share, ((placement, ()),))
            gap = None if lay is None else GAPS[lay]
            made = openings(pile, gap, matter=None if lay is None else _paper())
            laid_down[sheet.flip] = made, share
        made, share = laid_down[sheet.flip]
        at = [half + vectors.index(v) for v in (sheet.eye, *sheet.lamps)]
        out.append(
            Openness(
                made.joint[..., np.ix_(at, at)[0], at].reshape(len(at), -1),
                (made.joint[..., at, :] @ share).ravel(),
                made.straight[..., at].ravel(),
                np.asarray(made.straight @ share).item(),
                np.asarray(made.hit_spread).item(),
            )
        )
    return tuple(out)


def between(ready: OneLayer, absorption: Array, sloped: bool = True) -> tuple[Array, Array]:
    """Radiance factors (B, m, m) between the sources of ``ready``, and slopes (B, 2, m, m) against
    the logarithms of ``absorption`` (B, 2), 1/mm, of warp and weft fibre; none where it is not
    ``sloped``."""
    warp, weft = lengths(ready.cell)
    m = ready.count + 2
    by_warp = ready.weights.reshape(m * m, warp.size, weft.size)
    run = np.outer(warp, absorption[:, 0]), np.outer(weft, absorption[:, 1])
    left = [np.exp(-r) for r in run]

    def summed(one: Array, other: Array) -> Array:
        value: Array = np.einsum("kib,ib->bk", by_warp @ other, one)
        return value.reshape(-1, m, m)

    value = summed(left[0], left[1]) + ready.plain
    if not sloped:
        return value, np.zeros((len(value), 0, m, m))
    slopes = [summed(-run[0] * left[0], left[1]), summed(left[0], -run[1] * left[1])]
    return value, np.stack(slopes, axis=1)


def over_backing(
    ready: OneLayer, which: int, value: Array, slopes: Array, backing: Array
) -> tuple[Array, Array]:
    """Radiance factors towards the eye of sheet ``which`` of ``ready``, over a ``backing`` (B,);
    ``value`` and ``slopes`` from :func:`between`.

    Returns (B, L + 1): light from each lamp, then diffuse light; and the slopes (3, B, L + 1)
    against ln of both absorptions and the backing's reflectance.
    """
    out = [
        _over(ready, which, value + 1j * _STEP * slopes[:, k], backing).imag / _STEP
        for k in range(slopes.shape[1])
    ]
    moved = _over(ready, which, value.astype(complex), backing + 1j * _STEP)
    return moved.real, np.stack([*out, moved.imag / _STEP])


def _over(ready: OneLayer, which: int, value: NDArray[Any], backing: NDArray[Any]) -> NDArray[Any]:
    """As ``adding.over_backing``, for the entries that the eye of one sheet needs."""
    open_, places = ready.openings[which], ready.places[which]
    up, down = ready.count, ready.count + 1
    if ready.sheets[which].flip:
        up, down = down, up
    eye, ways = places[0], [*places[1:], up]
    # light to the eye, by which it came
    first, further = cast(
        np.append(open_.joint[0, 1:], open_.joint_diffuse[0]),
        np.append(open_.straight[1:], open_.straight_diffuse),
        value[:, ways, down],
        open_.straight[0],
        value[:, eye, down, None],
        open_.spread,
    )
    rho = np.asarray(backing)
    more = rounds(rho, value[:, down, down], open_.spread)
    return np.asarray(value[:, eye, ways] + rho[:, None] * first + more[:, None] * further)
