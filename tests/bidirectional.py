"""Light between directions of a stack: all its labels, and radiance factors between named ones."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.adding import StackOptics
from weavecolor.optics.appearance import _asked, _over, _pile, seen_optics
from weavecolor.optics.stack import Stack

Array = NDArray[np.float64]


def pile_optics(
    stack: Stack,
    above: Sequence[tuple[float, float]] = (),
    below: Sequence[tuple[float, float]] = (),
    *,
    links: Sequence[tuple[int, int]] | None = None,
) -> StackOptics:
    """Optics of the layers of ``stack``, without its backing.

    ``above`` (zenith, azimuth) in degrees of named directions in front of the cloth; ``below`` of
    lights behind it, given by the direction straight opposite (so zenith below 90 as well).
    Labels of the result: the nodes, then ``above``, then ``below``. Raises InputError for no
    layer, more than twelve, a direction along the cloth, or cloth that cannot be woven.

    For pictures of very many directions: ``links`` names the pairs of directions whose mutual
    light is wanted (numbers in ``above`` then ``below``).
    """
    layers, lay, how, _ = _asked(stack, above, below, links, 1.0)
    return _pile(layers, lay, how)


def brf(
    stack: Stack,
    lights: Sequence[tuple[float, float]],
    views: Sequence[tuple[float, float]],
) -> Array:
    """Bidirectional radiance factors pi L / E of a stack over its backing.

    Parameters
    ----------
    stack : Stack
    lights, views : sequences of (zenith, azimuth) in degrees, in front of the cloth.

    Returns
    -------
    ndarray, shape (len(lights), len(views), 41)
    """
    links = [(len(lights) + v, k) for v in range(len(views)) for k in range(len(lights))]
    pile = seen_optics(stack, (*lights, *views), links=links)
    factors = _over(pile, stack, (stack.backing,))[0]
    start = pile.through.size - len(lights) - len(views)
    middle = start + len(lights)
    return np.moveaxis(factors[:, start:middle, middle:], 0, -1)
