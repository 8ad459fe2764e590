"""What shops call a cloth, the sort of yarn that such cloth is woven of, and how closely.

Knows names and usual setts; what such yarn is like is in ``usual``. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from weavecolor.errors import InputError
from weavecolor.textile.fibres import ALSO_CALLED
from weavecolor.textile.notmodelled import elsewhere
from weavecolor.textile.usual import USUAL, Span, UsualYarn

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

#: Ends and picks per cm of what shops call so, and the weaves that it is woven in; two words count
#: before one.
_SETTS: Mapping[str, tuple[tuple[str, ...], Span, Span]] = MappingProxyType(
    {
        "organza": (("plain",), Span(40.0, 30.0, 52.0), Span(38.0, 28.0, 48.0)),
        **dict.fromkeys(("gazar", "gazaar"),
                        (("plain",), Span(30.0, 22.0, 40.0), Span(28.0, 20.0, 38.0))),
        "silk chiffon": (("plain",), Span(48.0, 38.0, 62.0), Span(44.0, 34.0, 58.0)),
        "chiffon": (("plain",), Span(38.0, 30.0, 50.0), Span(34.0, 26.0, 46.0)),
        "georgette": (("plain",), Span(40.0, 30.0, 54.0), Span(36.0, 26.0, 50.0)),
        "voile": (("plain",), Span(28.0, 22.0, 36.0), Span(26.0, 20.0, 34.0)),
        **dict.fromkeys(("habotai", "habutai", "china silk", "pongee", "silk lining"),
                        (("plain",), Span(56.0, 44.0, 74.0), Span(45.0, 34.0, 62.0))),
        "silk taffeta": (("plain",), Span(60.0, 44.0, 84.0), Span(36.0, 26.0, 50.0)),
        "taffeta": (("plain",), Span(43.0, 34.0, 54.0), Span(30.0, 22.0, 38.0)),
        "lining": (("plain", "twill"), Span(43.0, 34.0, 54.0), Span(30.0, 22.0, 38.0)),
        **dict.fromkeys(("silk satin", "charmeuse"),
                        (("satin",), Span(110.0, 85.0, 140.0), Span(46.0, 36.0, 60.0))),
        "satin": (("satin",), Span(90.0, 70.0, 120.0), Span(40.0, 30.0, 52.0)),
        **dict.fromkeys(("dupion", "dupioni", "shantung"),
                        (("plain",), Span(48.0, 36.0, 62.0), Span(25.0, 18.0, 34.0))),
        **dict.fromkeys(("lawn", "batiste", "organdie", "organdy"),
                        (("plain",), Span(36.0, 28.0, 46.0), Span(33.0, 25.0, 42.0))),
        **dict.fromkeys(("tulle", "net", "bobbinet"),
                        (("plain",), Span(13.0, 8.0, 20.0), Span(13.0, 8.0, 20.0))),
    }
)  # fmt: skip
#: Cloths whose usual setts are known, for complaints.
SET_AS_USUAL = tuple(sorted(name for name in _SETTS if " " not in name))


def _words(name: str) -> list[str]:
    told = re.sub(r"\b100 ?%|\b(?:pure|real|shot)\b", " ", name.casefold()).split()
    return [{"poly": "polyester", **ALSO_CALLED}.get(word, word) for word in told]


def usual_setts(name: str, woven: str) -> tuple[Span, Span] | None:
    """Ends and picks per cm that cloth of this name usually has; None where the name tells of no
    one such cloth, or it is not woven so.

    Parameters
    ----------
    name : str
        What shops call it, as for :func:`sort_called`.
    woven : str
        Its weave's name.

    Examples
    --------
    >>> usual_setts("polyester organza", "plain")[0]
    Span(usual=40.0, low=30.0, high=52.0)
    >>> usual_setts("silk organza", "twill 2/1") is None
    True
    """
    words = set(_words(name))
    called = max((x for x in _SETTS if words >= set(x.split())), key=len, default=None)
    if called is None:
        return None
    weaves, ends, picks = _SETTS[called]
    return (ends, picks) if woven.split()[0] in weaves else None


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
    words = _words(name)
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
