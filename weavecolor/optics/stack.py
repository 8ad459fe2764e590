"""Layers over a backing: what the maker lays up, outermost first.

Knows how sheets of cloth are ordered and turned; the optics of a stack is in ``adding``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weavecolor.errors import InputError
from weavecolor.scene.backings import Backing
from weavecolor.textile.cloth import Cloth

FACES = ("face", "back")
LAYS = ("touching", "loose", "apart")


@dataclass(frozen=True, eq=False)
class Layer:
    """One laid sheet of cloth.

    ``grain_deg`` is the azimuth of its warp in the garment: 0 straight grain (warp runs down
    the garment), 90 cross grain, 45 bias; any value. ``face`` tells which side is outermost.
    """

    cloth: Cloth
    grain_deg: float = 0.0
    face: str = "face"

    def __post_init__(self) -> None:
        if self.face not in FACES:
            raise InputError(f"{self.face!r} is not a side of cloth; use face or back")
        if not np.isfinite(self.grain_deg):
            raise InputError("a grain angle is a number of degrees")


@dataclass(frozen=True, eq=False)
class Stack:
    """Layers, outermost first, over a backing (None: nothing behind, open air).

    ``lay`` tells how the sheets lie: "touching" (pressed together, weaves in register),
    "loose" (as worn, irregular; the default), "apart" (hung well clear of one another).
    """

    layers: tuple[Layer, ...]
    backing: Backing | None = None
    lay: str = "loose"

    def __post_init__(self) -> None:
        if self.lay not in LAYS:
            raise InputError(f"{self.lay!r} is not a way to lay cloth; use {', '.join(LAYS)}")
