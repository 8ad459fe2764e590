"""What shops call a cloth, and the sort of yarn that such cloth is woven of.

Knows names only; what such yarn is like is in ``usual``. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from weavecolor.errors import InputError
from weavecolor.textile.fibres import ALSO_CALLED
from weavecolor.textile.notmodelled import elsewhere
from weavecolor.textile.usual import USUAL, UsualYarn

#: A cloth that is woven of several sorts, such as organza, is not among them.
_CLOTHS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("habotai", "habutai", "silk habotai", "silk habutai", "china silk",
                         "pongee", "silk pongee", "silk lining", "silk twill", "silk faille",
                         *(f"{fibre}{cloth}" for fibre in ("", "silk ")
                           for cloth in ("dupion", "dupioni", "shantung"))), "silk"),
        "silk noil": "silk spun",
        **dict.fromkeys(("charmeuse", "silk charmeuse"), "silk satin"),
        **dict.fromkeys(("gazar", "silk gazaar", "gazaar"), "silk gazar"),
        **dict.fromkeys(("tulle", "nylon tulle", "net", "bobbinet"), "nylon net"),
        **{f"{fibre}{cloth}": fibre for cloth in ("", " taffeta", " satin", " lining")
           for fibre in ("polyester", "nylon", "viscose", "cupro", "acetate", "triacetate")},
        "polyester georgette": "polyester chiffon",
        **dict.fromkeys(("voile", "swiss voile"), "cotton voile"),
        **{cloth: "cotton spun" for name in ("lawn", "batiste", "muslin", "calico", "poplin",
                                             "tarlatan", "cheesecloth", "mull", "cambric",
                                             "organdie", "organdy", "butter muslin")
           for cloth in (name, f"cotton {name}")},
        **{f"{fibre}{cloth}": f"{fibre} spun" for cloth in ("", " gauze", " lawn", " scrim")
           for fibre in ("cotton", "flax", "wool")},
        **dict.fromkeys(("challis", "wool challis", "serge", "wool serge"), "wool spun"),
    }
)  # fmt: skip


def sort_called(name: str) -> UsualYarn:
    """The sort of yarn of that name, or that cloth of that name is woven of.

    What a label adds ("100 %", "pure", "shot") is left out, and the fibre may come last. Raises
    InputError, with the sorts that share a word with it and the cloths that end alike, or else all
    sorts.

    Examples
    --------
    >>> sort_called("Silk organza").name, sort_called("linen lawn").name
    ('silk organza', 'flax spun')
    """
    told = re.sub(r"\b100 ?%|\b(?:pure|real|shot)\b", " ", name.casefold()).split()
    words = [{"poly": "polyester", **ALSO_CALLED}.get(word, word) for word in told]
    called = (" ".join(order) for order in (words, words[::-1]))
    found = next((USUAL[x] for tidy in called if (x := _CLOTHS.get(tidy, tidy)) in USUAL), None)
    if found is None:
        near = [sort for sort in USUAL if set(words) & set(sort.split())]
        beyond = elsewhere(name)
        if beyond and not near:
            raise InputError(f"{name[:60]!r} is no yarn that is known{beyond}")
        if not beyond:  # what is not modelled is not called by its like either
            near += [x for x in _CLOTHS if " " in x and x.split()[-1:] == words[-1:]]
        wanted = f"one of {', '.join(near or USUAL)}" if len(near) != 1 else near[0]
        raise InputError(f"{name[:60]!r} must be {wanted}{beyond}")
    return found
