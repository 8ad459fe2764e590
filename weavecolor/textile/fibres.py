"""The table of textile fibres: refractive indices and densities, with their sources.

Knows fibres by name; knows nothing of yarn or cloth. The numbers are in ``data/fibres.csv``:
Morton and Hearle, Physical Properties of Textile Fibres, Tables 5.1 and 24.1.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType

from weavecolor.errors import InputError
from weavecolor.textile.cloth import Fibre
from weavecolor.textile.notmodelled import elsewhere

#: Other names the trade uses for a fibre of the table.
ALSO_CALLED: Mapping[str, str] = MappingProxyType(
    {
        "linen": "flax",
        "rayon": "viscose",
        "polyamide": "nylon",
        "ramie": "flax",  # the source gives both one index
        "wild silk": "silk",
    }
)


@lru_cache(maxsize=1)
def _table() -> Mapping[str, Fibre]:
    text = (files("weavecolor") / "data" / "fibres.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return MappingProxyType(
        {
            row["fibre"]: Fibre(
                row["fibre"],
                float(row["n_parallel"]),
                float(row["n_perpendicular"]),
                float(row["density_g_cm3"]),
                row["source"],
            )
            for row in rows
        }
    )


#: Every known fibre by name.
FIBRES: Mapping[str, Fibre] = _table()


def fibre(name: str) -> Fibre:
    """The fibre called ``name``.

    Parameters
    ----------
    name : str
        In any case.

    Returns
    -------
    Fibre
        With its indices, density and their source.

    Raises
    ------
    InputError
        Listing the known ones.

    Notes
    -----
    Rows of ``data/fibres.csv``; "linen", "rayon", "polyamide" and the like are understood.

    References
    ----------
    W. E. Morton, J. W. S. Hearle, Physical Properties of Textile Fibres (4th ed. 2008), table 24.1,
    from memory.

    Examples
    --------
    >>> fibre("silk").name
    'silk'
    """
    key = " ".join(name.split()).casefold() if isinstance(name, str) else ""
    found = FIBRES.get(ALSO_CALLED.get(key, key))
    if found is None:
        known = ", ".join([*FIBRES, *ALSO_CALLED])
        raise InputError(
            f"{str(name)[:40]!r} is not a known fibre; known: {known}{elsewhere(key)}"
        )
    return found
