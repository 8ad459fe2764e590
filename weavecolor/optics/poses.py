"""One stack in many poses before the same lights: turned flat, or bent away, seen by one viewer.

Knows stacks and directions; knows nothing of colour or pictures. All poses are worked out
together, which costs far less than one after the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.spectra import BANDS, Spectrum
from weavecolor.optics.adding import GAPS, PileOptics, over_backings
from weavecolor.optics.appearance import MOST_LAYERS, seen_optics, seen_prefixes
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.stack import Layer, Stack

Array = NDArray[np.float64]
Direction = tuple[float, float]  # zenith, azimuth, degrees
#: Directions of lights by (pose, light).
Aims = Mapping[tuple[int, int], Direction]


@dataclass(frozen=True, eq=False)
class Poses:
    """Radiance over irradiance on the cloth, times pi, in n poses.

    ``factors`` (n, k, 41) for lights in front, ``behind`` (n, k, 41) for lights behind an open
    stack, 0 where a light was not named; ``even`` (n, 41) in even light from in front; ``mean``
    (41,) share of even light sent back in all.
    """

    factors: Array
    behind: Array
    even: Array
    mean: Array


def poses(
    stack: Stack,
    sights: Sequence[Direction],
    front: Aims,
    back: Aims,
    lights: int,
    *,
    exact: bool = True,
) -> Poses:
    """Work out ``stack`` in ``len(sights)`` poses.

    Parameters
    ----------
    sights : directions of the viewer about the local normal, one a pose
    front : directions of the lights before the cloth
    back : directions straight opposite to lights behind it (zenith below 90 too); ignored where
        the stack has a backing
    lights : int
        How many lights there are.
    exact : bool
        False takes fewer samples: quicker, for pictures.

    Raises InputError as ``seen_optics``.
    """
    if stack.backing is not None:
        back = {}
    asked = _asked(sights, front, back)
    pile = seen_optics(stack, asked.above, asked.below, links=asked.links, exact=exact)
    over = (
        pile.reflect
        if stack.backing is None
        else over_backings(pile, [stack.backing.reflectance], GAPS[stack.lay])[0]
    )
    return _read(pile, over, asked, sights, front, back, lights)


#: Layers of folded cloth that are followed by direction; those behind them send back even light.
#: Against all layers by direction that is at most 0.9 CIEDE2000, 0.4 in the mean over the turns of
#: two layers of organza over one of chiffon, in one and two folds by a window.
OUTER = 4


def folded_stack(stack: Stack, folded: int, doubled: bool = False) -> Stack:
    """The layers met where cloth lies in ``folded`` folds (0: once, 1: three times, 2: five).

    Folded cloth turns its other side out every second time; ``doubled`` first lays it double, as
    a skirt turned up at the hem, the inner cloth's back outward. No more than twelve layers.
    Folds stand so far from one another that their openings do not line up ("apart").

    Examples
    --------
    >>> len(folded_stack(single, 3).layers)
    7
    """
    once = stack.layers
    over = tuple(
        replace(x, face="back" if x.face == "face" else "face") for x in reversed(stack.layers)
    )
    if doubled:
        once, over = once + over, once + over
    layers = once
    for _ in range(folded):
        layers = layers + over + once
    keep = max(len(once), MOST_LAYERS // len(once) * len(once))
    return replace(stack, layers=layers[:keep], lay="apart" if folded else stack.lay)


def folded_poses(
    stack: Stack,
    folded: Sequence[int],
    doubled: bool,
    sights: Sequence[Direction],
    front: Aims,
    back: Aims,
    lights: int,
    *,
    exact: bool = True,
) -> dict[int, Poses]:
    """As :func:`poses`, for cloth that lies in folds, by number of folds as ``folded_stack`` has.

    Within a fold layers lie as in the stack, folds lie apart. The outermost layers are the same
    whatever lies in the folds behind them, so they are laid once for all: :data:`OUTER` of them
    with all directions, what is behind as a surface that sends back as much even light. Over open
    air, where light comes through from behind, every number of folds is laid by itself.

    Examples
    --------
    >>> found = folded_poses(single, (0, 1), False, [(0.0, 0.0)], {(0, 0): (45.0, 0.0)}, {}, 1)
    >>> found[1].factors.shape
    (1, 1, 41)
    """
    if stack.backing is None:
        return {
            n: poses(folded_stack(stack, n, doubled), sights, front, back, lights, exact=exact)
            for n in folded
        }
    asked = _asked(sights, front, {})
    one = len(folded_stack(stack, 0, doubled).layers)
    deepest = folded_stack(stack, max(folded), doubled).layers
    outer = min(OUTER, len(deepest)) if max(folded) else one
    depths = {one if n == 0 else outer for n in folded}

    def lay(depth: int) -> str:
        """How the layer at that depth lies on what is behind it."""
        return "apart" if depth % one == 0 else stack.lay

    most = max(depths)
    piles = seen_prefixes(
        deepest[:most],
        [lay(depth) for depth in range(1, most)],
        sorted(depths),
        asked.above,
        links=asked.links,
        exact=exact,
    )
    rho = stack.backing.reflectance
    made: dict[int, Poses] = {}
    for n in folded:
        if n == 0:
            pile, gap, below = piles[one], GAPS[stack.lay], rho
        else:
            rest = folded_stack(stack, n, doubled).layers[outer:]
            pile, gap, below = piles[outer], GAPS[lay(outer)], _even_light(rest, rho)
        over = over_backings(pile, [below], gap)[0]
        made[n] = _read(pile, over, asked, sights, front, {}, lights)
    return made


def _even_light(layers: Sequence[Layer], behind: Spectrum) -> Spectrum:
    """Share of even light (41,) that layers over a surface send back, taken one by one from
    behind, each sending on even light."""
    for layer in reversed(layers):
        pile = seen_optics(Stack((layer,)), [(0.0, 0.0)])
        behind = np.clip(over_backings(pile, [behind], GAPS["apart"])[0][:, 0, 0], 0.0, 1.0)
    return behind


@dataclass(frozen=True, eq=False)
class _Asked:
    """Directions named once, the viewer's place among them by pose, and pairs with mutual sheen."""

    above: list[Direction]
    below: list[Direction]
    at: dict[Direction, int]
    under: dict[Direction, int]
    eye: list[int]
    links: list[tuple[int, int]]


def _asked(sights: Sequence[Direction], front: Aims, back: Aims) -> _Asked:
    above = list(dict.fromkeys([*sights, *front.values()]))
    below = list(dict.fromkeys(back.values()))
    at = {d: i for i, d in enumerate(above)}
    under = {d: len(above) + i for i, d in enumerate(below)}
    eye = [at[s] for s in sights]
    links = [(eye[n], at[d]) for (n, _), d in front.items()]
    links += [(eye[n], under[d]) for (n, _), d in back.items()]
    links = links or [(0, 0)]  # at least one pair is to be named
    return _Asked(above, below, at, under, eye, list(dict.fromkeys(links)))


def _read(
    pile: PileOptics,
    over: Array,
    asked: _Asked,
    sights: Sequence[Direction],
    front: Aims,
    back: Aims,
    lights: int,
) -> Poses:
    """What each pose sends to the viewer, from the stack's radiance factors by label."""
    share, eye = pile.share, asked.eye
    nodes = share.size - len(asked.above) - len(asked.below)  # labels that stand for diffuse light
    factors = np.zeros((len(sights), lights, BANDS))
    behind = np.zeros_like(factors)
    for (n, k), d in front.items():
        factors[n, k] = over[:, nodes + eye[n], nodes + asked.at[d]]
    for (n, k), d in back.items():
        seen = pile.pass_[:, nodes + eye[n], nodes + asked.under[d]]
        straight = pile.through[nodes + eye[n]] if in_line(d, sights[n]) else 0.0
        behind[n, k] = seen + straight
    even = np.stack([over[:, nodes + e] @ share for e in eye])
    return Poses(factors, behind, even, (over @ share) @ share)


def in_line(one: Direction, other: Direction) -> bool:
    """Whether two directions are the same within 5 degrees."""
    a, b = (unit(*np.radians(d)) for d in (one, other))
    return bool(a @ b > np.cos(np.radians(5.0)))
