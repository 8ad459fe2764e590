"""The door to colour-science: imported on first use, because importing it takes about a second.

Knows how to fetch the library and put its spectra on the project's grid; knows nothing of what
is computed with it. Everything fetched is cached as plain read-only arrays.
"""

from __future__ import annotations

import warnings
from functools import lru_cache
from types import ModuleType

from weavecolor.colour.spectra import Spectrum, frozen
from weavecolor.errors import InputError

#: Observers by their angle, as the CIE names them.
OBSERVERS = {
    "2": "CIE 1931 2 Degree Standard Observer",
    "10": "CIE 1964 10 Degree Standard Observer",
}


@lru_cache(maxsize=1)
def science() -> ModuleType:
    """The ``colour`` package, without its notice about plotting (no plotting is done here)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def observer_name(observer: str | int) -> str:
    """colour-science's name for observer "2" or "10"; InputError for any other."""
    try:
        return OBSERVERS[str(observer)]
    except KeyError:
        raise InputError(f"no {observer!r} degree observer; use 2 or 10") from None


@lru_cache(maxsize=4)
def matching_functions(observer: str) -> Spectrum:
    """CIE colour matching functions at 1 nm, 360-780, shape (421, 3)."""
    cmfs = science().MSDS_CMFS[observer_name(observer)]
    inside = (cmfs.wavelengths >= 360) & (cmfs.wavelengths <= 780)
    return frozen(cmfs.values[inside])
