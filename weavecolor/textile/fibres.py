"""The table of textile fibres: refractive indices and densities, with their sources.

Knows fibres by name; knows nothing of yarn or cloth. The numbers are in ``data/fibres.csv``:
Morton and Hearle, Physical Properties of Textile Fibres, Tables 5.1 and 24.1.
"""

from __future__ import annotations

import csv
import re
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
        # regenerated cellulose as viscose is, and within 0.03 of its indices (from memory)
        **dict.fromkeys(("lyocell", "modal"), "viscose"),
        **dict.fromkeys(("cuprammonium", "cupra", "cuprammonium rayon"), "cupro"),
    }
)
#: Fibres as labels shorten them (codes of ISO 2076 and DIN 60001-4, from memory).
LABELS: Mapping[str, str] = MappingProxyType(
    {
        "co": "cotton", "li": "flax", "ra": "flax", "se": "silk", "wo": "wool", "wv": "wool",
        **dict.fromkeys(("pes", "pet", "pl"), "polyester"),
        "pa": "nylon", "pan": "acrylic", "ca": "acetate", "cta": "triacetate",
        **dict.fromkeys(("cv", "vi", "cly", "cmd"), "viscose"),
        "cup": "cupro",
    }
)  # fmt: skip


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
    Rows of ``data/fibres.csv``; "linen", "rayon", "polyamide" and the like are understood, and a
    label's "PES" or "CV".

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
    key = re.sub(r"^100 ?%,? ", "", key)
    key = re.sub(r"^(pa|polyamide|nylon) ?(?:6|6[./]?6)$", r"\1", key)
    found = FIBRES.get({**LABELS, **ALSO_CALLED}.get(key, key))
    if found is None:
        called = {*FIBRES, *ALSO_CALLED, *LABELS}
        if len(called & set(re.findall("[a-z]+", key))) > 1:
            raise InputError(
                f"{str(name)[:40]!r}: a blend of fibres in one yarn is not modelled: write the "
                "fibre that it has most of, and let a piece of the cloth decide"
            )
        known = ", ".join([*FIBRES, *ALSO_CALLED])
        raise InputError(
            f"{str(name)[:40]!r} is not a known fibre; known: {known}{elsewhere(key)}"
        )
    return found
