"""Open share of a cloth in a close-up: how much bare backing shows between the threads.

Knows pictures as arrays and the backing's colour; knows nothing of lattices or of optics.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import uniform_filter

from weavecolor.errors import InputError


def open_share(picture: ArrayLike, backing: ArrayLike) -> tuple[float, float]:
    """Share of the picture that is bare backing, and a standard uncertainty.

    Each pixel is placed between the backing (0) and the cloth: the least different colour of the
    yarn that covers a tenth of what is not backing (1). Half-way is the edge; the uncertainty is
    the spread between edges at a third and two thirds, for yarn has no sharp edge. Raises
    InputError where backing and yarn are too alike to tell apart.

    Examples
    --------
    >>> picture = np.full((80, 80), 0.1)
    >>> picture[:, ::4] = 1.0  # a quarter is bare white ground
    >>> round(open_share(picture, 1.0)[0], 2)
    0.25
    """
    image = np.asarray(picture, dtype=float)
    image = image[..., None] if image.ndim == 2 else image
    back = np.broadcast_to(np.asarray(backing, dtype=float), image.shape[-1:])
    light = np.stack(
        [uniform_filter(c, min(c.shape) // 3) for c in np.moveaxis(image, -1, 0)], -1
    )
    light = light / light.mean((0, 1))
    away = np.sqrt((((image / np.maximum(light, 0.05)) - back) ** 2).sum(-1))
    bright = np.percentile(away, 90)
    if bright < 0.04 + 0.1 * float(np.sqrt((back**2).sum())):
        raise InputError(
            "the backing looks like the yarn, so the gaps cannot be told apart; "
            "lay the cloth on a card of a very different colour"
        )
    yarn = away[away > 0.35 * bright]
    full = float(np.percentile(yarn, 35))
    shares = [float((away < t * full).mean()) for t in (0.35, 0.5, 0.65)]
    return shares[1], max(0.02, shares[2] - shares[0])
