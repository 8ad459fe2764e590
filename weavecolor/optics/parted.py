"""What the eye gets of a stack, told apart by where its own line of sight goes on.

A line of sight passes the outer layers' openings to one of the layers, and there is sent back or
let on, or it passes all of them. Each such way is put into the one addition of layers as an eye of
its own that sees nothing else; since the addition is linear in what an eye sees, the ways together
are the eye. Knows stacks and scenes; knows nothing of pictures or of places on a cloth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.spectra import Spectrum
from weavecolor.optics.adding import (
    GAPS,
    Ground,
    Openings,
    StackOptics,
    add,
    mixed,
    openings,
    over_backings,
    seen,
    viewed,
)
from weavecolor.optics.appearance import Lit, laid_in, lit_by, radiance
from weavecolor.optics.cell.pairs import UNEVEN
from weavecolor.optics.sideways import Sideways
from weavecolor.optics.stack import Stack
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class LayerSeen:
    """Radiance times pi (41,) that reaches the eye by way of one layer.

    ``back``: sent back by it, of light that comes to it from all sides; ``on``: let on by it, of
    light that comes from behind it; ``lights``: from each of the scene's lights straight to it, the
    ones in front, sent back, then the ones behind, let on.
    """

    back: Spectrum
    on: Spectrum
    lights: tuple[Spectrum, ...]

    @property
    def all(self) -> Spectrum:
        """The whole of it."""
        return np.asarray(sum(self.lights, self.back + self.on))


@lru_cache(maxsize=32)
def parted(stack: Stack, scene: Scene) -> tuple[tuple[LayerSeen, ...], Spectrum]:
    """What the eye gets by way of each layer of ``stack``, and straight through all of them,
    (41,); together they are ``appearance.radiances``.

    Examples
    --------
    >>> (layer,), straight = parted(single, window)
    >>> len(layer.lights), bool(straight.sum() > layer.on.sum())  # it is sheer
    (1, True)
    """
    ways, (lit,) = lit_by([scene])
    laid, gap = laid_in(stack, ways), GAPS[stack.lay]
    if stack.backing is None:
        return ways_of(laid, lit, None, gap)
    return ways_of(laid, lit, Ground.of(stack.backing), gap)


def ways_of(
    piles: Sequence[StackOptics],
    lit: Lit,
    backing: Ground | None,
    gap: tuple[float, float] | None,
    uneven: float = UNEVEN,
) -> tuple[tuple[LayerSeen, ...], Spectrum]:
    """As :func:`parted`, of layers that are laid in one frame already.

    Parameters
    ----------
    piles : sequence of StackOptics
        Each layer by itself, outermost first, at B wavelengths.
    lit : Lit
        At the same wavelengths, of the directions that the layers name.
    backing : Ground or None
        None: nothing behind.
    gap, uneven
        As for :func:`weavecolor.optics.adding.openings`.

    Examples
    --------
    >>> ways, (lit,) = lit_by([window])
    >>> len(ways_of(laid_in(double, ways), lit, None, (0.0, 2.0))[0])
    2
    """
    count = piles[0].through.size
    nodes = slice(0, np.count_nonzero(piles[0].share))
    eye = nodes.stop + lit.eye
    # the ways: of each layer back, on and the lights; at the end straight through all
    lights: list[tuple[int, Any]] = [
        (2 + n, nodes.stop + k) for n, k in enumerate((*lit.front, *lit.behind))
    ]
    each = 2 + len(lights)
    label = np.concatenate([np.arange(count), np.full(each * len(piles) + 1, eye)])
    ends = np.concatenate([
        np.full(count, len(piles)), np.repeat(np.arange(len(piles)), each), [len(piles)]
    ])  # fmt: skip

    def own(number: int) -> StackOptics:
        """A layer as the ways meet it."""
        pile = piles[number]
        first = count + each * number
        whole: list[Array] = []
        for table, to in (
            (pile.reflect, [(0, nodes), *lights[: len(lit.front)]]),
            (pile.under, []),
            (pile.transmit, [(1, nodes), *lights[len(lit.front) :]]),
        ):
            made = np.zeros((len(table), label.size, label.size), table.dtype)
            made[:, :count, :count] = table
            for k, target in to:
                made[:, first + k, target] = table[:, eye, target]
            whole.append(made)
        share = np.concatenate([pile.share, np.zeros(label.size - count)])
        through = pile.through[label] * (ends > number)
        return StackOptics(whole[0], whole[1], whole[2], through, share, pile.members)

    def open_(
        pile: StackOptics, number: int, depths: tuple[float, ...] = (),
        matter: Sideways | None = None,
    ) -> Openings:  # fmt: skip
        """How the openings of a pile down to layer ``number`` line up for the ways."""
        through = np.prod([one.through for one in piles[: number + 1]], axis=0)
        plain = replace(pile, through=through, share=piles[0].share, rows=None)
        made, goes = openings(plain, gap, depths, uneven, matter), ends > number
        joint = made.joint[..., label[:, None], label] * np.outer(goes, goes)
        return Openings(joint, made.straight[..., label] * goes, made.hit_spread)

    pile = lower = own(0)
    for number in range(1, len(piles)):
        lower = own(number)
        between = open_(pile, number - 1, lower.members[0][0].depths)
        rows = viewed(lower) if number + 1 == len(piles) else None
        pile = add(pile, lower, gap, uneven, rows, between)
    pile = seen(pile) if len(piles) == 1 else pile
    factors = pile.reflect
    if backing is not None:
        last = mixed(open_(pile, len(piles) - 1, (), backing.sideways), viewed(lower))
        (factors,) = over_backings(pile, [backing], gap, opened=lambda _: last)
    first = 1 + count - nodes.stop  # label 0 is even light
    got = [
        radiance(pile, factors, replace(lit, eye=k - 1), backing is None)
        for k in range(first, len(pile.share))
    ]
    layers = (
        LayerSeen(got[k], got[k + 1], tuple(got[k + 2 : k + each]))
        for k in range(0, each * len(piles), each)
    )
    return tuple(layers), got[-1]
