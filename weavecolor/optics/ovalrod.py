"""Where light goes that meets one clear rod of oval section: how much of it to each turn round it.

Knows sections and glass; knows nothing of yarns, cloth or colour. Along a rod nothing changes the
angle to its axis, so that its section tells all, with an index that grows with the slant
(A. Bravais; M. Kerker, The Scattering of Light, 1969, both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: Rays over half of the width of a rod, and how often each comes to the rim from inside: of index
#: 1.6 less than .01 of the light goes on after that.
RAYS, TURNS = 100, 5


def ways(ratios: Sequence[float] | Array, index: float, slant: float) -> tuple[Array, Array, Array]:
    """Where rays go that meet rods from above, square to their width, evenly over half of it.

    Parameters
    ----------
    ratios : sequence of float
        N widths over heights, the area of the section being that of a round rod of diameter 1.
    index : float
        Of refraction, above 1.
    slant : float
        Of the light off square to the axis, radians, below a quarter turn.

    Returns
    -------
    turn, share, length : ndarray, shape (N, RAYS, 1 + TURNS)
        Of each ray, each time that it leaves: to where, radians round the axis, 0 back to where it
        came from; how much of it; and how far it went inside.

    Examples
    --------
    >>> turn, share, length = ways([1.0], 1.5, 0.0)
    >>> bool(0.99 < share.sum(axis=2).mean() <= 1.0)
    True
    """
    ratio = np.asarray(ratios, float)[:, None]
    squares = 0.25 * ratio, 0.25 / ratio  # of half width and half height
    flat = index_of_slant(index, slant)
    inside = np.cos(np.arcsin(np.sin(slant) / index))
    across = np.broadcast_to((np.arange(RAYS) + 0.5) / RAYS, (ratio.size, RAYS))
    x, y = np.sqrt(squares[0]) * across, np.sqrt(squares[1] * (1.0 - across**2))
    dx, dy = np.zeros_like(x), -np.ones_like(x)
    turns, shares, lengths = [], [], []

    def mirrored(cosine: Array, nx: Array, ny: Array) -> tuple[Array, Array]:
        return dx - 2.0 * cosine * nx, dy - 2.0 * cosine * ny

    def leaves(x: Array, y: Array, share: Array, length: Array) -> None:
        turns.append(np.arctan2(x, y))
        shares.append(share.mean(axis=0))
        lengths.append(length)

    nx, ny = _normal(x, y, squares)
    cosine = dx * nx + dy * ny
    back = _fresnel(-cosine * np.cos(slant), index)
    length = np.zeros_like(x)
    leaves(*mirrored(cosine, nx, ny), back, length)
    beyond = np.sqrt(1.0 - (1.0 - cosine**2) / flat**2)
    dx, dy = ((d - (cosine + flat * beyond) * n) / flat for d, n in ((dx, nx), (dy, ny)))
    left = 1.0 - back
    for _ in range(TURNS):
        chord = -2.0 * (x * dx / squares[0] + y * dy / squares[1]) / (
            dx**2 / squares[0] + dy**2 / squares[1]
        )
        x, y, length = x + chord * dx, y + chord * dy, length + chord / inside
        nx, ny = _normal(x, y, squares)
        cosine = dx * nx + dy * ny
        back = _fresnel(cosine * inside, 1.0 / index)
        beyond = np.sqrt(np.maximum(1.0 - flat**2 * (1.0 - cosine**2), 0.0))
        ox, oy = (flat * d + (beyond - flat * cosine) * n for d, n in ((dx, nx), (dy, ny)))
        leaves(ox, oy, left * (1.0 - back), length)
        left = left * back
        dx, dy = mirrored(cosine, nx, ny)
    return np.stack(turns, -1), np.stack(shares, -1), np.stack(lengths, -1)


def index_of_slant(index: float, slant: float) -> float:
    """The index by which light bends in the section of a rod that it meets at a ``slant``.

    Examples
    --------
    >>> index_of_slant(1.5, 0.0)
    1.5
    """
    return float(np.sqrt(index**2 - np.sin(slant) ** 2) / np.cos(slant))


def _normal(x: Array, y: Array, squares: tuple[Array, Array]) -> tuple[Array, Array]:
    nx, ny = x / squares[0], y / squares[1]
    long = np.hypot(nx, ny)
    return nx / long, ny / long


def _fresnel(cosine: Array, index: float) -> Array:
    """Reflected shares (2, ...) of light across and along the plane of incidence."""
    beyond = np.sqrt(np.maximum(1.0 - (1.0 - cosine**2) / index**2, 0.0))
    return np.stack([
        ((cosine - index * beyond) / (cosine + index * beyond)) ** 2,
        ((index * cosine - beyond) / (index * cosine + beyond)) ** 2,
    ])  # fmt: skip


def thrown(
    ratios: Sequence[float] | Array, index: float, slant: float, turn: float, blur: float,
    depth: Array,
) -> Array:  # fmt: skip
    """How much of the light on a rod it throws to a turn round it.

    Parameters
    ----------
    ratios, index, slant
        As for :func:`ways`.
    turn : float
        Radians from where the light comes from, 0 to half a turn, of either side the mean.
    blur : float
        Standard deviation of the turn, radians.
    depth : ndarray, shape (B,)
        How much is lost along a diameter of the round rod of that section, natural logarithm.

    Returns
    -------
    ndarray, shape (N, B)
        Share per radian.

    Examples
    --------
    >>> clear = np.zeros(1)
    >>> near, far = (thrown([1.0], 1.5, 0.0, t, 0.05, clear)[0, 0] for t in (0.35, 1.2))
    >>> bool(near > 5.0 * far)  # turned back once, light goes no further off than .4
    True
    """
    to, share, length = ways(ratios, index, slant)
    off = np.abs(to)
    met = sum(np.exp(-0.5 * ((off - at) / blur) ** 2)
              for at in (turn, -turn, 2.0 * np.pi - turn))  # fmt: skip
    met = (met * share).reshape(len(share), -1) / (2.0 * RAYS * blur * np.sqrt(2.0 * np.pi))
    length = length.reshape(met.shape)
    return np.stack([
        one[those] @ np.exp(-np.outer(far[those], depth))
        for one, far in zip(met, length, strict=True) for those in [one > 1e-5 * one.max()]
    ])  # fmt: skip
