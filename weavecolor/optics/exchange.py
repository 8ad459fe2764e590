"""The adding equations of light between a sheet and what lies under it, each written once.

G. G. Stokes, Proc. R. Soc. 11 (1862) 545; P. Kubelka, JOSA 44 (1954) 330; in matrix form over
directions H. C. van de Hulst, Multiple Light Scattering, 1980, ch. 4; with the beam that passes
unscattered kept apart. Whole tables of a pile, the few entries that a fit needs and the streams of
a search are put in alike; of single numbers the first two are compiled, too. Knows arrays; knows
nothing of layers, openings or bands.
"""

from __future__ import annotations

from typing import Any

import numpy as np


def cast(
    joint: Any, straight: Any, scattered: Any, leaving_straight: Any, leaving_scattered: Any,
    spread: Any,
) -> tuple[Any, Any]:  # fmt: skip
    """Light that falls through a sheet onto a ground and leaves through it, for a ground that sends
    all of it back: once, and what of it has part in every further round.

    Parameters
    ----------
    joint : array
        Share open on the way in and on the way out at once, 0 to 1.
    straight, scattered : array
        What comes in straight through (as it hits the underside, sent back evenly), and scattered.
    leaving_straight, leaving_scattered : array
        The same of the way out. All broadcast.
    spread : array
        How much of even light from behind hits the underside, over its uncorrelated share.

    Examples
    --------
    >>> cast(1.0, 1.0, 0.0, 1.0, 0.0, 1.0)  # nothing before the ground
    (1.0, 1.0)
    """
    leaving = leaving_straight + spread * leaving_scattered
    first = joint + straight * leaving_scattered + scattered * leaving
    return first, (straight + spread * scattered) * leaving


def rounds(ground: Any, inner: Any, spread: Any) -> Any:
    """By how much :func:`cast`'s second counts for a ``ground`` of reflectance 0 to 1, beside the
    first times it: ``inner``, what the underside sends back of even light; ``spread`` as there.

    Examples
    --------
    >>> rounds(0.5, 0.0, 1.0)  # an underside that sends nothing back
    0.0
    """
    return ground * ground * inner / (1.0 - ground * spread * inner)


def between(passed: Any, hit: Any, above: Any, below: Any, share: Any, spread: Any) -> Any:
    """All rounds of light to and fro between an upper sheet and a lower one.

    Parameters
    ----------
    passed : array, shape (..., R, G)
        What the upper scatters through, of R labels' light from above, to G nodes below.
    hit : array, shape (..., R, K)
        What the lower sends to K labels of light that comes straight through the upper.
    above : array, shape (..., G, K)
        What the lower sends up, from nodes to labels; the first labels are the nodes.
    below : array, shape (..., G, N)
        What the upper's underside sends down, likewise.
    share : array, shape (G,)
        Of even light by node, sum 1.
    spread : array
        How much of scattered light from behind hits the underside, over its uncorrelated share.

    Returns
    -------
    scattered, sent : array, shape (..., R, K)
        Sent up at first by the lower, of what the upper scattered; and in all, as it meets the
        underside.
    closed : array, shape (..., G, G)
        The sum of all rounds, from the underside down, up and to it again.
    again : array, shape (..., R, N)
        What comes down again after any of them.

    Examples
    --------
    >>> one = np.ones((1, 1))  # each sends half back: 1/2 + 1/8 + 1/32 + ... meets the underside
    >>> _, sent, closed, again = between(0 * one, one / 2, one / 2, one / 2, np.ones(1), 1.0)
    >>> (sent @ closed).round(3).item(), again.round(3).item()
    (0.667, 0.333)
    """
    nodes = share.size
    scattered = (passed * share) @ above
    sent = hit + spread * scattered
    once = spread * (share[:, None] * below[..., :nodes] * share) @ above[..., :nodes]
    closed = np.linalg.inv(np.eye(nodes, dtype=once.dtype) - once)
    again = ((sent[..., :nodes] @ closed) * share) @ below
    return scattered, sent, closed, again
