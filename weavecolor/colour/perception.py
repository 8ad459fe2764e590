"""Whether a person would see a difference, said plainly and with its uncertainty.

Knows thresholds of seeing; computes no colours. Thresholds:

* A CIEDE2000 difference of about 1 is just noticeable side by side in good light: common
  practice, no single source.
* By candle, about 1 cd/m2 off the cloth, the eye parts colours less finely, up to about half as
  well: discrimination holds down to some 3 cd/m2 and falls below (W. R. J. Brown, J. Opt. Soc. Am.
  41 (1951) 684; from memory). How dark it is nobody told: both are allowed for.
* How large a seen difference is called follows the steps of the grey scale for assessing change
  in colour, ISO 105-A02 (grade 4 is 1.7, 3 is 3.4, 2 is 6.8, 1 is 13.6 CIELAB units). The scale
  is defined in CIELAB; using its steps for CIEDE2000 wording is an approximation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weavecolor.errors import InputError

#: CIEDE2000, just noticeable side by side in good light (common practice).
JUST_NOTICEABLE = 1.0

#: By so little light a difference may look as if it were only this share of itself.
DIM_SHARE = 0.5

#: Upper ends are the differences of grades 3-4, 2-3 and 1-2 of the grey scale (ISO 105-A02).
_SIZES: tuple[tuple[float, str], ...] = (
    (2.5, "a slight difference, seen side by side"),
    (4.8, "a clear difference"),
    (9.6, "a strong difference"),
    (np.inf, "so strong that it looks like another colour"),
)


@dataclass(frozen=True)
class Verdict:
    """``sees``: True, False, or None where the uncertainty straddles the threshold."""

    delta: float
    uncertainty: float
    sees: bool | None
    words: str

    def __str__(self) -> str:
        return self.words

    @property
    def seen(self) -> str:
        """ "yes", "no" or "cannot tell", as tables have it."""
        return "cannot tell" if self.sees is None else "yes" if self.sees else "no"


#: What settles a difference that cannot be told.
LOOK = "lay a piece and look"


def would_see(
    delta: float, uncertainty: float = 0.0, settled_by: str = LOOK, dim: bool = False
) -> Verdict:
    """Whether she would see a CIEDE2000 difference ``delta`` known to +- ``uncertainty`` (both >=
    0); ``settled_by``: what to do where that cannot be told; ``dim``: by so little light as candles
    give.

    "Would not see it" only where delta + uncertainty is below the threshold; "would see it" only
    where delta - uncertainty is at or above it, in dim light at or above twice that; otherwise it
    cannot be told.

    Parameters
    ----------
    delta, uncertainty : float
        CIEDE2000, from 0.
    settled_by : str
    dim : bool

    Examples
    --------
    >>> print(would_see(0.4, 0.3))
    She would not see it (difference 0.4 give or take 0.3).
    >>> print(would_see(0.9, 0.3))
    Cannot tell (difference 0.9 give or take 0.3; about 1 is just noticeable): lay a piece and look.
    """
    delta, uncertainty = float(delta), float(uncertainty)
    if not (np.isfinite([delta, uncertainty]).all() and delta >= 0 and uncertainty >= 0):
        raise InputError("a colour difference and its uncertainty are numbers from 0 up")
    size = f"{delta:.1f}" + (f" give or take {uncertainty:.1f}" if uncertainty else "")
    if delta + uncertainty < JUST_NOTICEABLE:
        return Verdict(delta, uncertainty, False, f"She would not see it (difference {size}).")
    if (delta - uncertainty) * (DIM_SHARE if dim else 1.0) < JUST_NOTICEABLE:
        least = f"about {JUST_NOTICEABLE:g}"
        if dim:
            least = f"by so little light {JUST_NOTICEABLE:g} to {JUST_NOTICEABLE / DIM_SHARE:g}"
        words = (
            f"Cannot tell (difference {size}; {least} is just noticeable): {settled_by}."
        )
        return Verdict(delta, uncertainty, None, words)
    return Verdict(
        delta, uncertainty, True, f"She would see it: {size_words(delta)} (difference {size})."
    )


def names_together(one: str, other: str, verdict: Verdict) -> tuple[str, str]:
    """Two colours' names as they are told in one sentence: ``one`` and ``other`` only where she
    would see a difference by ``verdict``, else ``one`` for both, for a name that jumps says there
    is one.

    Examples
    --------
    >>> names_together("greyish brown", "dusty pink", would_see(0.4, 0.3))
    ('greyish brown', 'greyish brown')
    >>> names_together("greyish brown", "dusty pink", would_see(4.0, 0.3))
    ('greyish brown', 'dusty pink')
    """
    return (one, other) if verdict.sees else (one, one)


def size_words(delta: float) -> str:
    """What a difference that is seen would be called, by grey-scale steps.

    Examples
    --------
    >>> size_words(3.0)
    'a clear difference'
    """
    return next(words for upper, words in _SIZES if delta < upper or upper == np.inf)
