"""What the outlines of yarns say of single lines, to hold them against rays."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell.silhouette import Silhouette


def blocked(seen: Silhouette, point: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether a yarn of the cell as ``seen`` stands before each ``point`` (3, n), mm, beyond the
    cloth, looking along the direction."""
    point = np.asarray(point, np.float32)
    shut = np.zeros(point.shape[1], bool)
    for one, yarn, way, along in seen._covers(point):
        low, _, high, _ = one.table
        place = one.places(yarn, along)
        shut |= (way > low.take(place)) & (way < high.take(place))
    return shut
