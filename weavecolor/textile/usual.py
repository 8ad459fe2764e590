"""What yarns usually are, where nobody has said: filaments, gum, packing, twist, lustre.

Knows the trade's habits as numbers with a range; knows nothing of one yarn or of light. Nearly all
of it is common practice without a source; what was looked up or worked out says so. Whoever takes a
number from here says that it was assumed, and takes its range along.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from weavecolor.errors import InputError

KINDS = ("filament", "spun")
#: How far a count worked out from the weight may be off: the crimp lies within 0.02 and 0.12, and a
#: stated weight within 8 % of the cloth's (common practice, no source).
COUNT_OFF = 0.12
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Span:
    """An assumed number and the range it lies in nine times in ten, as far as anybody can say."""

    usual: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.usual <= self.high:
            raise InputError(f"{self.usual:g} lies outside {self.low:g} to {self.high:g}")

    def at_most(self, most: float) -> Span:
        """The same, cut off at ``most``.

        Examples
        --------
        >>> Span(0.85, 0.7, 0.97).at_most(0.8)
        Span(usual=0.8, low=0.7, high=0.8)
        """
        value = min(self.usual, most)
        return Span(value, min(self.low, value), max(value, min(self.high, most)))


@dataclass(frozen=True)
class UsualYarn:
    """One sort of yarn as the trade makes it.

    ``fineness_dtex``: linear density of one filament or staple fibre, None where the yarn is one
    solid filament; ``packing`` and ``flattening`` as in :class:`weavecolor.textile.yarn.Yarn`;
    ``twist_factor``: turns per metre times the root of tex, which sets how steep the outer fibres
    lie; ``gum``: thread in its gum; ``lustre``: a key of :data:`LUSTRES`; ``tex``: linear density
    of the yarn, where a cloth of that name has a usual one.
    """

    name: str
    fibre: str
    kind: str
    fineness_dtex: Span | None
    packing: Span
    twist_factor: Span
    flattening: Span = Span(1.0, 1.0, 1.5)
    gum: bool = False
    lustre: str = "bright"
    source: str = _PRACTICE
    tex: Span | None = None

    def filaments(self, tex: float) -> int:
        """Number in the section of a yarn of ``tex`` g/km, at least 1.

        Examples
        --------
        >>> USUAL["silk chiffon"].filaments(21 / 9)
        16
        """
        if self.fineness_dtex is None:
            return 1
        return max(1, round(10.0 * tex / self.fineness_dtex.usual))

    def filaments_span(self, tex: float, usual: int) -> Span:
        """``usual`` filaments in the section of a yarn of ``tex`` g/km, with their range.

        Examples
        --------
        >>> USUAL["silk chiffon"].filaments_span(21 / 9, 16)
        Span(usual=16, low=12, high=21)
        """
        fine = self.fineness_dtex
        few, many = (usual, usual) if fine is None else (
            max(1, round(10.0 * tex / f)) for f in (fine.high, fine.low)
        )  # fmt: skip
        return Span(usual, min(few, usual), max(many, usual))

    def twist(self, tex: float) -> Span:
        """Turns per metre of a yarn of ``tex`` g/km.

        Examples
        --------
        >>> USUAL["cotton spun"].twist(25.0).usual
        760.0
        """
        factor, root = self.twist_factor, math.sqrt(tex)
        return Span(factor.usual / root, factor.low / root, factor.high / root)


#: Scattering inside the fibre by its titanium dioxide, 1/mm, by the trade's words. Worked out for
#: anatase particles of 0.3 um (index 2.5) in a fibre of index 1.6 and 1.39 g/cm3: 0.3 % by mass in
#: semi-dull and 1.5 % in dull fibre, contents that are common practice; particles clump, so that
#: the range is wide.
LUSTRES: Mapping[str, Span] = MappingProxyType(
    {
        "bright": Span(0.0, 0.0, 0.5),
        "semi-dull": Span(4.0, 2.0, 8.0),
        "dull": Span(20.0, 10.0, 40.0),
    }
)

#: Sections of filaments by the trade's words: ratio of the circles about them and in them. Silk
#: boiled off is a triangle with rounded corners; bright nylon and polyester are spun trilobal, too
#: (W. E. Morton, J. W. S. Hearle, Physical Properties of Textile Fibres, 2008, ch. 1, from memory;
#: the ratios by judgement, no source). Beyond 1.35 it hardly matters to light.
SECTIONS: Mapping[str, Span] = MappingProxyType(
    {
        "round": Span(1.0, 1.0, 1.0),
        "rounded triangle": Span(1.3, 1.1, 1.6),
        "trilobal": Span(1.5, 1.3, 1.9),
    }
)
ROUND = SECTIONS["round"]
#: Viscose and acetate are serrated all around, cotton is a flat ribbon: each stands as a triangle
#: that does as much, more or less (by judgement; a ribbon of 1 + .25 cos 2a was traced). Cupro,
#: drawn while it sets, has a smooth skin and is round or nearly so (Morton and Hearle, ch. 1, from
#: memory).
_OF_FIBRE: Mapping[str, Span] = MappingProxyType(
    {
        "silk": SECTIONS["rounded triangle"],
        **dict.fromkeys(("viscose", "acetate", "triacetate"), Span(1.15, 1.0, 1.4)),
        **dict.fromkeys(("cotton", "cupro"), Span(1.0, 1.0, 1.1)),
    }
)
#: Bright nylon and polyester of many filaments are round as often as not (common practice).
_PERHAPS_LOBED = Span(1.0, 1.0, SECTIONS["trilobal"].usual)

_SILK = Span(1.45, 1.1, 1.9)
_NO_TWIST = Span(0.0, 0.0, 300.0)
_FLAT = Span(2.0, 1.3, 3.0)
_LOOSE = Span(0.6, 0.5, 0.7)
#: Packing of one solid filament.
ROD = Span(1.0, 0.97, 1.0)


def _sorts() -> dict[str, UsualYarn]:
    made = [
        UsualYarn(
            "silk organza", "silk", "filament", _SILK, Span(0.85, 0.7, 0.97),
            Span(0.0, 0.0, 1200.0), Span(1.1, 1.0, 1.5), gum=True,
            source="raw silk of 7 to 8 cocoons, two filaments each, in its gum: " + _PRACTICE,
            tex=Span(21 / 9, 13 / 9, 28 / 9),
        ),
        UsualYarn("silk chiffon", "silk", "filament", _SILK, Span(0.68, 0.6, 0.73),
                  Span(3400.0, 2000.0, 5000.0), Span(1.0, 1.0, 1.2),
                  tex=Span(21 / 9, 13 / 9, 42 / 9)),
        UsualYarn("silk", "silk", "filament", _SILK, Span(0.62, 0.5, 0.72), _NO_TWIST,
                  Span(1.5, 1.0, 2.5)),
        UsualYarn("silk taffeta", "silk", "filament", _SILK, Span(0.65, 0.55, 0.75),
                  Span(700.0, 200.0, 1300.0), _FLAT),
        UsualYarn("silk satin", "silk", "filament", _SILK, Span(0.65, 0.55, 0.75), _NO_TWIST,
                  _FLAT),
        UsualYarn("polyester organza", "polyester", "filament", None, ROD, _NO_TWIST,
                  Span(1.0, 1.0, 1.1),
                  source="single bright rods of 15 to 30 denier: " + _PRACTICE,
                  tex=Span(20 / 9, 15 / 9, 30 / 9)),
        UsualYarn("polyester chiffon", "polyester", "filament", Span(2.5, 1.4, 4.0),
                  Span(0.68, 0.6, 0.73), Span(3400.0, 2000.0, 5500.0), lustre="semi-dull"),
        UsualYarn("polyester", "polyester", "filament", Span(2.3, 0.9, 4.5), _LOOSE, _NO_TWIST,
                  Span(1.5, 1.0, 2.5), lustre="semi-dull"),
        UsualYarn("nylon net", "nylon", "filament", None, ROD, _NO_TWIST, Span(1.0, 1.0, 1.1),
                  source="single bright rods: " + _PRACTICE),
        UsualYarn("nylon", "nylon", "filament", Span(3.0, 1.0, 5.5), _LOOSE, _NO_TWIST,
                  Span(1.5, 1.0, 2.5), lustre="semi-dull"),
        UsualYarn("viscose", "viscose", "filament", Span(3.3, 1.8, 5.5), _LOOSE, _NO_TWIST, _FLAT),
        UsualYarn("cupro", "cupro", "filament", Span(1.8, 1.2, 2.5), _LOOSE, _NO_TWIST, _FLAT),
        UsualYarn("acetate", "acetate", "filament", Span(3.7, 2.5, 5.0), _LOOSE, _NO_TWIST, _FLAT),
        UsualYarn("triacetate", "triacetate", "filament", Span(3.7, 2.5, 5.0), _LOOSE, _NO_TWIST,
                  _FLAT),
        UsualYarn("acrylic", "acrylic", "filament", Span(3.3, 1.7, 6.0), _LOOSE, _NO_TWIST),
        UsualYarn("cotton voile", "cotton", "spun", Span(1.5, 1.2, 1.8), Span(0.65, 0.55, 0.72),
                  Span(4800.0, 4000.0, 6000.0), Span(1.0, 1.0, 1.2),
                  tex=Span(7.4, 5.0, 10.0)),
        UsualYarn("cotton spun", "cotton", "spun", Span(1.7, 1.3, 2.1), Span(0.6, 0.45, 0.7),
                  Span(3800.0, 3000.0, 4800.0), Span(1.2, 1.0, 1.8)),
        UsualYarn("flax spun", "flax", "spun", Span(4.0, 1.5, 15.0), Span(0.6, 0.45, 0.7),
                  Span(3000.0, 2200.0, 4000.0), Span(1.2, 1.0, 1.8),
                  source="bundles of a few ultimate fibres each: " + _PRACTICE),
        UsualYarn("wool spun", "wool", "spun", Span(4.5, 3.0, 9.0), Span(0.5, 0.35, 0.65),
                  Span(2700.0, 2000.0, 3600.0), Span(1.2, 1.0, 1.6)),
        UsualYarn("silk spun", "silk", "spun", Span(1.3, 0.9, 1.7), Span(0.58, 0.45, 0.7),
                  Span(3000.0, 2000.0, 4000.0), Span(1.2, 1.0, 1.8)),
        *(
            UsualYarn(f"{name} spun", name, "spun", fineness, Span(0.55, 0.42, 0.68),
                      Span(3300.0, 2500.0, 4200.0), Span(1.2, 1.0, 1.8), lustre=lustre)
            for name, fineness, lustre in (
                ("viscose", Span(1.7, 1.2, 3.3), "bright"),
                ("cupro", Span(1.5, 1.2, 2.5), "bright"),
                ("acetate", Span(3.0, 1.7, 5.0), "bright"),
                ("triacetate", Span(3.0, 1.7, 5.0), "bright"),
                ("nylon", Span(1.7, 1.1, 3.3), "semi-dull"),
                ("polyester", Span(1.5, 1.0, 3.3), "semi-dull"),
                ("acrylic", Span(2.2, 1.3, 3.3), "semi-dull"),
            )
        ),
    ]  # fmt: skip
    sorts = {sort.name: sort for sort in made}
    # thread as of another cloth, but of no one size: doubled gummed silk; thread of either twist,
    # often of two; rods of nylon
    for name, other, fibre in (
        ("silk gazar", "silk organza", "silk"), ("silk georgette", "silk chiffon", "silk"),
        ("nylon organza", "polyester organza", "nylon"),
    ):  # fmt: skip
        sorts[name] = replace(sorts[other], name=name, fibre=fibre, source=_PRACTICE, tex=None)
    return sorts


#: Sorts of yarn by the cloth they are made for; the fibre's own name, and "... spun", for the rest.
USUAL: Mapping[str, UsualYarn] = MappingProxyType(_sorts())

def usual_section(fibre: str, kind: str, dull_per_mm: float, rods: int) -> Span:
    """The section that filaments of ``fibre`` usually have, as in
    :class:`weavecolor.textile.yarn.Yarn`.

    Parameters
    ----------
    fibre : str
    kind : {"filament", "spun"}
    dull_per_mm : float
    rods : int
        How many light meets in the yarn's section; of one or two the section is the yarn's own.

    Examples
    --------
    >>> usual_section("silk", "filament", 0.0, 15) == SECTIONS["rounded triangle"]
    True
    """
    if rods <= 2:
        return ROUND
    spun_round = kind == "spun" or dull_per_mm >= LUSTRES["semi-dull"].low
    if fibre in ("nylon", "polyester") and not spun_round:
        return _PERHAPS_LOBED
    return _OF_FIBRE.get(fibre, ROUND)


_UNKNOWN = {
    "filament": UsualYarn("", "", "filament", None, ROD, _NO_TWIST),
    "spun": UsualYarn("", "", "spun", Span(2.0, 1.0, 5.0), Span(0.58, 0.4, 0.7),
                      Span(3300.0, 2200.0, 4500.0)),
}  # fmt: skip


def usual_yarn(fibre: str, kind: str = "filament") -> UsualYarn:
    """The yarn that ``fibre`` usually makes when no cloth is named; a fibre that is not in the
    table is taken as one solid filament, or as staple of 2 dtex.

    Raises InputError for a ``kind`` other than filament and spun.

    Examples
    --------
    >>> usual_yarn("cotton", "spun").filaments(10.0)
    59
    """
    if kind not in KINDS:
        raise InputError(f"{str(kind)[:40]!r} is no kind of yarn; use filament or spun")
    found = USUAL.get(fibre if kind == "filament" else f"{fibre} spun")
    if found is None:  # cotton, flax and wool come spun only
        spun = USUAL.get(f"{fibre} spun")
        found = _UNKNOWN[kind] if spun is None else spun
    return found
