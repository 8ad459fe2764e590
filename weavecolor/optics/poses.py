"""One stack in many poses before the same lights: turned flat, or bent away, seen by one viewer.

Knows stacks and directions; knows nothing of colour or pictures. All poses are worked out
together, which costs far less than one after the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.spectra import BANDS
from weavecolor.optics.adding import GAPS, Ground, StackOptics, over_backings
from weavecolor.optics.appearance import Way, from_surface, in_line, seen_optics
from weavecolor.optics.stack import Stack

Array = NDArray[np.float64]
#: Directions of lights by (pose, light).
Aims = Mapping[tuple[int, int], Way]


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
    sights: Sequence[Way],
    front: Aims,
    back: Aims,
    lights: int,
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

    Raises InputError as ``seen_optics``.
    """
    if stack.backing is not None:
        back = {}
    asked = _asked(sights, front, back)
    pile = seen_optics(stack, asked.above, asked.below, links=asked.links)
    over = (
        pile.reflect
        if stack.backing is None
        else over_backings(pile, [Ground.of(stack.backing)], GAPS[stack.lay])[0]
    )
    return _read(pile, over, asked, sights, front, back, lights)


@dataclass(frozen=True, eq=False)
class _Asked:
    """Directions named once, the viewer's place among them by pose, and pairs with mutual sheen."""

    above: list[Way]
    below: list[Way]
    at: dict[Way, int]
    under: dict[Way, int]
    eye: list[int]
    links: list[tuple[int, int]]


def _asked(sights: Sequence[Way], front: Aims, back: Aims) -> _Asked:
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
    pile: StackOptics,
    over: Array,
    asked: _Asked,
    sights: Sequence[Way],
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
        at = nodes + eye[n]
        surface = in_line(d, sights[n])
        behind[n, k] = (
            from_surface(pile, at) if surface else pile.transmit[:, at, nodes + asked.under[d]]
        )
    even = np.stack([over[:, nodes + e] @ share for e in eye])
    return Poses(factors, behind, even, (over @ share) @ share)
