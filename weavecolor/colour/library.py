"""Tables of colour-science, copied: the library takes a second or two and 90 MB to load.

They lie in ``data/`` (observers, weights, illuminants, surfaces, with their source in the first
lines); the tests hold them against the library. Knows nothing of what is computed with them.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np

from weavecolor.colour.spectra import Spectrum, frozen
from weavecolor.errors import InputError

#: Observers by their angle, as the CIE names them.
OBSERVERS = {
    "2": "CIE 1931 2 Degree Standard Observer",
    "10": "CIE 1964 10 Degree Standard Observer",
}


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
