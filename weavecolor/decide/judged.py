"""One stack judged: what it is, its measures, its loss, and whether the cloth in hand is enough.

Plain data shared by the search, the short list and the chart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.decide.compare import behind
from weavecolor.decide.wishes import Measures
from weavecolor.optics.stack import Stack, layers_words


@dataclass(frozen=True)
class Fit:
    """Whether the cloth in hand is enough: True, False, or None where nobody can tell; and why."""

    enough: bool | None
    words: str


#: Asked of a stack: is there enough cloth for it?
Fits = Callable[[Stack], Fit]


@dataclass(frozen=True, eq=False)
class Evaluation:
    """A stack and what it measures.

    ``key``: (layers, number) in the order of the candidates. ``measures`` of this one stack
    (n = 1); ``exact`` tells whether by the full model or by screening alone. ``loss``: by the
    wishes, smaller is better. ``mass_g_m2`` of all cloth. ``fit`` None where not asked.
    """

    key: tuple[int, int]
    stack: Stack
    measures: Measures
    loss: float
    exact: bool
    mass_g_m2: float
    fit: Fit | None = None

    @property
    def Lab(self) -> NDArray[np.float64]:
        """Its colour in the main scene, (3,)."""
        return np.asarray(self.measures.Lab[0])

    @property
    def opacity(self) -> float:
        """Contrast ratio, 0-1."""
        return float(self.measures.opacity[0])

    @property
    def words(self) -> str:
        """The stack in words, outermost layer first."""
        return stack_words(self.stack)


def stack_words(stack: Stack) -> str:
    """The layers, outermost first, and what is behind; equal neighbours are counted.

    Examples
    --------
    >>> print(stack_words(double))
    2 x Shot silk organza, crimson and black, straight grain; white behind
    """
    return f"{layers_words(stack) or 'no cloth'}; {behind(stack.backing)}"
