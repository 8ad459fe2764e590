"""The door to colour-science: what is needed of its tables, copied, and the library itself.

Importing the library takes a second or two, so its tables that nearly every answer needs lie in
``data/`` (observers, weights, illuminants, with their source in the first lines). The rest is
imported on first use. Knows nothing of what is computed with them.
"""

from __future__ import annotations

import warnings
from functools import lru_cache
from importlib.resources import files
from types import ModuleType

import numpy as np

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
def table(name: str) -> dict[str, Spectrum]:
    """The columns of a table of ``data/`` by their names, the first ``wavelength_nm``."""
    text = (files("weavecolor") / "data" / f"{name}.csv").read_text("ascii")
    head, *rows = (line.split(",") for line in text.splitlines() if not line.startswith("#"))
    return dict(zip(head, map(frozen, np.array(rows, dtype=np.float64).T), strict=True))


def of_observer(name: str, observer: str) -> Spectrum:
    """Columns x, y, z of an observer in the table ``name``, shape (n, 3)."""
    observer_name(observer)
    return frozen(np.stack([table(name)[f"{axis}_{observer}"] for axis in "xyz"], axis=-1))


@lru_cache(maxsize=4)
def matching_functions(observer: str) -> Spectrum:
    """CIE colour matching functions at 1 nm, 360-780, shape (421, 3)."""
    return of_observer("observers", str(observer))
