"""Each laid layer once: its exchange between named directions and a few streams of diffuse light.

Knows how the full directional optics of a layer is averaged down for screening; knows nothing of
stacks, wishes or colour. The nodes of the diffuse quadrature are gathered into streams, bands of
zenith angle: one stream would be Kubelka and Munk's two-flux picture, all rings nearly the whole
model. Named beams (lights, viewers) keep their exact directions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.decide.looks import ViewingCondition
from weavecolor.optics.adding import GAPS, as_stack, openings
from weavecolor.optics.appearance import Way, named_direction
from weavecolor.optics.cell.nodes import Named
from weavecolor.optics.layer import LayerOptics, laid, solved, strands, to_cloth_frame
from weavecolor.optics.sideways import Sideways
from weavecolor.optics.stack import Layer
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import geometry_of

Array = NDArray[np.float64]
#: Runs a function on each of several arguments, results in order.
Running = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]]], Iterable[Any]]

#: Streams of diffuse light: how many of the six zenith rings each holds, from the steepest to the
#: most grazing (the quadrature's order is by rising cosine).
STREAMS = 4
#: Every how many of the 41 bands is screened; colour is made from the rest by interpolation.
BAND_STEP = 2
#: So many constructions are traced with all rays; of more, each gets its part of as many, but not
#: less than the least share.
_TRACED, _LEAST_RAYS = 12, 0.15
#: Layers further apart than this share the openings' correlation of the last one told apart.
_MOST_APART = 3


@dataclass(frozen=True, eq=False)
class Tables:
    """Screening tables of L laid layers. G streams, E named directions above, H below; M = G + E
    rows, C = G + H columns, B bands, P pairs of named directions that are looked at.

    ``share`` (G,); ``transmit`` (L, B, M, C) scattered through; ``under`` (L, B, G, C); ``above``
    (L, B, M, G) reflected; ``pairs`` (L, B, P) reflected between named directions; ``through``
    (L, M) and ``through_below`` (L, H) beams; ``joint`` (K, L, M, G) and ``joint_pairs`` (K, L, P)
    joint openness before the k-th layer further in, the last entries before what is behind:
    ``apart`` is the number of the first of them, a matt surface; then each matter asked for.
    """

    share: Array
    transmit: Array
    under: Array
    above: Array
    pairs: Array
    through: Array
    through_below: Array
    joint: Array
    joint_pairs: Array
    views: NDArray[np.intp]
    pair_views: NDArray[np.intp]
    pair_lights: NDArray[np.intp]
    apart: int


@dataclass(frozen=True)
class Labels:
    """The distinct directions of some looks, each with the share of the usual rays that it is
    worth, and which rows each look uses."""

    above: dict[Way, float]
    below: dict[Way, float]
    pairs: tuple[tuple[int, int], ...]
    views: tuple[int, ...]


def labels(looks: Sequence[ViewingCondition], through: bool = True) -> Labels:
    """Every direction of the ``looks`` once; not ``through``: but for those behind of cloth in
    folds, from where no light comes. Pairs and views are counted within ``above``."""
    above: dict[Way, float] = {}
    below: dict[Way, float] = {}
    pairs: dict[tuple[Way, Way], None] = {}
    for one in (part for look in looks for part in look.parts):
        view, lights = _tidy(one.view), [_tidy(light) for light in one.front]
        whole = one.share == 1.0
        if not (lights or whole):
            lights = [view]  # by as many rays as where there are some, as answers do
        opposite = [_tidy(light) for light in one.behind] if through or whole else []
        for side, ways in ((above, [view, *lights]), (below, opposite)):
            side.update((way, max(one.share, side.get(way, 0.0))) for way in ways)
        pairs.update(dict.fromkeys((view, light) for light in lights))
    number = {way: k for k, way in enumerate(above)}
    views = dict.fromkeys(number[_tidy(part.view)] for look in looks for part in look.parts)
    return Labels(above, below, tuple((number[a], number[b]) for a, b in pairs), tuple(views))


def _tidy(direction: Way) -> Way:
    zenith, azimuth, *half_deg = direction
    return (round(zenith, 9), 0.0 if zenith < 1e-9 else round(azimuth % 360.0, 9), *half_deg)


def links(named: Labels) -> tuple[tuple[int, int], ...] | None:
    """Pairs of directions (numbers in ``above`` then ``below``) whose mutual sheen is looked at."""
    behind = [len(named.above) + h for h in range(len(named.below))]
    return (*named.pairs, *((v, h) for v in named.views for h in behind)) or None


def place(looks_labels: Labels, direction: Way) -> int:
    """Where a direction stands among ``above``."""
    return list(looks_labels.above).index(_tidy(direction))


def place_below(looks_labels: Labels, direction: Way) -> int:
    """Where a direction stands among ``below``."""
    return list(looks_labels.below).index(_tidy(direction))


def build(
    layers: Sequence[Layer],
    named: Labels,
    lay: str,
    most_layers: int,
    streams: int = STREAMS,
    run: Running | None = None,
    matters: Sequence[Sideways] = (),
) -> Tables:
    """Tables of all laid layers; ``run`` works the cloths out, wherever it likes (default: here).

    Grains of one cloth and face share one evaluation: the streams do not change when cloth is
    turned, only the named directions do.

    Parameters
    ----------
    layers : sequence of Layer
    named : Labels
        Directions of light and eye.
    lay : {"touching", "loose", "apart"}
    most_layers : int
        Deepest stack, 1 to 12.
    streams : int
        Of diffuse light to a side, by zenith.
    run : callable, optional
    matters : sequence of Sideways
        What light goes sideways in behind a stack, at one wavelength each.
    """
    groups: dict[int, dict[str, list[int]]] = {}
    for index, layer in enumerate(layers):
        groups.setdefault(id(layer.cloth), {}).setdefault(layer.face, []).append(index)
    faces = [list(each.values()) for each in groups.values()]
    firsts = [layers[members[0]] for each in faces for members in each]
    pitch, thick = _typical(firsts)
    rays = ray_share([layer.cloth for layer in firsts])
    found: list[dict[str, Array]] = [{}] * len(layers)
    arguments = [
        ([[layers[m] for m in members] for members in each], named, lay, most_layers, streams,
         pitch, thick, rays, tuple(matters))
        for each in faces
    ]  # fmt: skip
    results = (both_faces(*one) for one in arguments) if run is None else run(both_faces, arguments)
    for each, rows in zip(faces, results, strict=True):
        for member, fields_ in zip((m for members in each for m in members), rows, strict=True):
            found[member] = fields_
    fields = {key: np.ascontiguousarray(np.stack([f[key] for f in found])) for key in found[0]}
    share = fields.pop("share")[0]
    for key in ("joint", "joint_pairs"):
        fields[key] = np.ascontiguousarray(np.swapaxes(fields[key], 0, 1))
    count = share.size
    pairs = np.array(named.pairs, dtype=np.intp).reshape(-1, 2) + count
    views = np.array(named.views, dtype=np.intp) + count
    return Tables(
        share, **fields, views=views, pair_views=pairs[:, 0], pair_lights=pairs[:, 1],
        apart=fields["joint"].shape[0] - 1 - len(matters),
    )  # fmt: skip


def ray_share(cloths: Sequence[Cloth]) -> float:
    """Share of the usual rays, 0 to 1, by which each construction is traced for screening: less
    where there are many, for a search measures how far its screening is off.

    Parameters
    ----------
    cloths : sequence of Cloth
    """
    built = {(geometry_of(c), *strands(c)) for c in cloths}
    return float(np.clip(_TRACED / max(len(built), 1), _LEAST_RAYS, 1.0))


def _typical(layers: Sequence[Layer]) -> tuple[float, float]:
    """Mean pitch and thickness, mm, of the cloths: what lies between a layer and a further one."""
    shapes = [geometry_of(layer.cloth) for layer in layers]
    pitch = [0.5 * (c.warp_spacing + c.weft_spacing) for c in shapes]
    thick = [c.warp_height + c.weft_height for c in shapes]
    return float(np.mean(pitch)), float(np.mean(thick))


def both_faces(faces: Sequence[Sequence[Layer]], *asked: Any) -> list[dict[str, Array]]:
    """:func:`reduced` for each face of one cloth, one after the other: whoever works one out has
    traced the cloth for the other, too. ``asked``: what else that takes."""
    return [row for layers in faces for row in reduced(layers, *asked)]


def reduced(
    layers: Sequence[Layer],
    named: Labels,
    lay: str,
    most_layers: int,
    streams: int,
    pitch: float,
    thick: float,
    rays: float = 1.0,
    matters: tuple[Sideways, ...] = (),
) -> list[dict[str, Array]]:
    """The rows of :class:`Tables` for one cloth and face, laid at several grains.

    Parameters
    ----------
    layers, named, lay, most_layers, streams, matters
        As for :func:`build`.
    pitch, thick : float
        Typical yarn spacing and thickness of what else is in a stack, mm.
    rays : float
        Share of the usual rays, above 0, at most 1.
    """
    grains = [float(np.radians(layer.grain_deg)) for layer in layers]
    above: dict[Named, int] = {}
    below: dict[Named, int] = {}
    worth: dict[tuple[bool, int], float] = {}
    for grain in grains:
        for directions, seen in ((named.above, above), (named.below, below)):
            for direction, share_of in directions.items():
                k = seen.setdefault(_laid(direction, grain), len(seen))
                worth[seen is below, k] = max(share_of, worth.get((seen is below, k), 0.0))
    each = tuple(rays * worth[key] for key in sorted(worth))  # above first
    linked: dict[tuple[int, int], None] = {}
    for grain in grains:
        number = [above[_laid(d, grain)] for d in named.above]
        number += [len(above) + below[_laid(d, grain)] for d in named.below]
        linked.update(dict.fromkeys((number[a], number[b]) for a, b in links(named) or ()))
    optics = laid(
        solved(layers[0].cloth, rays, BAND_STEP),
        0.0,
        layers[0].face == "back",
        tuple(above),
        tuple(below),
        links=tuple(linked) or None,
        rays=rays if set(each) == {rays} else each,
    )
    half = optics.placement.share.size - len(above) - len(below)
    streams_of = _streams(optics.placement.share[:half], streams)
    share = streams_of @ optics.placement.share[:half]
    mean = streams_of * optics.placement.share[:half] / share[:, None]  # (G, D), rows sum to 1
    joints = _joints(optics, lay, most_layers, pitch, thick, matters)
    out = []
    for grain in grains:
        up = [half + above[_laid(d, grain)] for d in named.above]
        down = [half + len(above) + below[_laid(d, grain)] for d in named.below]
        rows = _gather(mean, up, optics.placement.share.size)
        columns = _gather(mean, down, optics.placement.share.size)
        into = _gather(mean, [], optics.placement.share.size)
        a = [up[v] for v, _ in named.pairs]
        b = [up[k] for _, k in named.pairs]
        out.append(
            {
                "share": share,
                "transmit": rows @ optics.transmit @ columns.T,
                "under": into @ optics.under @ columns.T,
                "above": rows @ optics.reflect @ into.T,
                "pairs": optics.reflect[:, a, b].astype(float),
                "through": rows @ optics.placement.through,
                "through_below": optics.placement.through[down],
                "joint": np.stack([rows @ j @ into.T for j in joints]),
                "joint_pairs": np.stack([j[a, b] for j in joints]),
            }
        )
    return out


def _laid(direction: Way, grain: float) -> Named:
    """A direction in the garment as a unit vector against the warp of a cloth laid at ``grain``."""
    return to_cloth_frame(named_direction(direction, 0.0), grain, False)


def _streams(share: Array, streams: int) -> Array:
    """Which nodes each stream holds, (G, D) of 0 and 1: nodes are told into zenith rings by their
    equal shares, and neighbouring rings joined."""
    rings = np.cumsum(np.concatenate([[0], np.abs(np.diff(share)) > 1e-12]))
    groups = rings * streams // (rings[-1] + 1)
    return np.asarray(groups == np.arange(streams)[:, None], np.float64)


def _gather(mean: Array, labels_: list[int], size: int) -> Array:
    """The matrix (G + n, N) that averages node labels into streams and picks named labels."""
    streams, half = mean.shape
    out = np.zeros((streams + len(labels_), size))
    out[:streams, :half] = mean
    out[streams + np.arange(len(labels_)), labels_] = 1.0
    return out


def _joints(
    optics: LayerOptics, lay: str, most_layers: int, pitch: float, thick: float,
    matters: tuple[Sideways, ...],
) -> list[Array]:  # fmt: skip
    """Joint openness of the layer before the k-th layer further in, before a matt surface and
    before each of ``matters``.

    What lies between, and how deep a further layer is met, is not known yet: typical ones are
    taken.
    """
    gap = GAPS[lay]
    apart = min(most_layers - 1, _MOST_APART)
    between = () if gap is None else ((gap[0] * pitch, gap[1] * pitch), (thick, thick))
    met = tuple(thick / optics.placement.thickness * depth for depth in optics.placement.depths)
    single = as_stack(optics)
    out = []
    for k, depths in (*((k, met) for k in range(apart + 1)), (0, ())):
        pile = replace(single, members=((optics.placement, between * k),))
        out.append(openings(pile, gap, depths).joint)
    before = (openings(single, gap, matter=one).joint for one in matters)
    return [*out, *(one.reshape(one.shape[-2:]) for one in before)]
