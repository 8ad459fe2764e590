"""What a cloth is: two yarns, a weave, setts and crimps.

Knows the trade's construction of cloth; knows nothing of light, files or pictures.
"""

from __future__ import annotations

from dataclasses import dataclass

from weavecolor.errors import InputError, shown, within
from weavecolor.textile.howknown import HowKnown, Knowledge, knowledge
from weavecolor.textile.units import SETTS_PER_CM, WEIGHTS_G_M2
from weavecolor.textile.weaves import Weave
from weavecolor.textile.yarn import Fibre, Yarn

__all__ = ["Cloth", "Construction", "Fibre", "HowKnown", "Weave", "Yarn"]

#: Extra length that a crimped thread can have; crepe and seersucker stay below.
MOST_CRIMP = 0.8


@dataclass(frozen=True)
class Construction:
    """The colour-blind geometry of a cloth; hashable, so that geometry can be cached by it.

    Warp yarns run along y at spacing ``warp_spacing`` in x; weft yarns run along x at spacing
    ``weft_spacing`` in y. Lengths in mm. ``warp_share`` is the part of the total crimp
    displacement (sum of the two yarn heights) that the warp makes, 0-1.
    """

    lift: tuple[tuple[int, ...], ...]
    warp_spacing: float
    weft_spacing: float
    warp_width: float
    warp_height: float
    weft_width: float
    weft_height: float
    warp_share: float

    @property
    def swings(self) -> tuple[float, float]:
        """How far the axes of warp and weft swing from the mid-plane, mm."""
        drop = 0.5 * (self.warp_height + self.weft_height)
        return drop * self.warp_share, drop * (1.0 - self.warp_share)


@dataclass(frozen=True)
class Cloth:
    """A two-tone woven cloth, face up, warp along azimuth 0. Cloths compare, and hash, by value.

    Parameters
    ----------
    name : str
    warp, weft : Yarn
    weave : Weave
    ends_per_cm, picks_per_cm : float
        Setts, 0.2 to 500 threads per cm.
    warp_crimp, weft_crimp : float
        Extra lengths of the yarns as fractions, 0 to 0.8 (for the weight).
    warp_share : float or None
        As in :class:`Construction`, 0 to 1; None: balanced, or as near to it as the setts allow.
    notes : str
        The owner's own text.
    declared_g_m2 : float or None
        The weight somebody stated, 1 to 10 000.
    sources : tuple of (str, str)
        Where single numbers come from, for people to read.
    remarks : tuple of str
        What was noticed when the cloth was read in.
    known : tuple of (str, HowKnown)
        How numbers are known, by their names in ``howknown.NUMBERS``; a mapping will do. What a
        yarn was not told is assumed, with its range; any other number not in it is stated.

    Raises
    ------
    InputError
        In one line naming the field, for setts, crimps, shares and weights that the trade could
        never meet, and as ``howknown.knowledge`` for ``known``.

    Notes
    -----
    Its weight, g/m2, is (n1 T1 (1 + c1) + n2 T2 (1 + c2)) / 10, with n the setts per cm, T the
    yarns in tex and c the crimps. How closely it can be set is Peirce's jamming relation
    (``construction.check_weavable``).

    References
    ----------
    F. T. Peirce, The geometry of cloth structure, J. Text. Inst. 28 (1937) T45.

    Examples
    --------
    >>> Cloth("Plain", organza.warp, organza.weft, organza.weave, 40.0, 38.0).picks_per_cm
    38.0
    """

    name: str
    warp: Yarn
    weft: Yarn
    weave: Weave
    ends_per_cm: float
    picks_per_cm: float
    warp_crimp: float = 0.05
    weft_crimp: float = 0.05
    warp_share: float | None = None
    notes: str = ""
    declared_g_m2: float | None = None
    sources: tuple[tuple[str, str], ...] = ()
    remarks: tuple[str, ...] = ()
    known: Knowledge = ()

    def __post_init__(self) -> None:
        for what, kind in (("warp", Yarn), ("weft", Yarn), ("weave", Weave)):
            if not isinstance(getattr(self, what), kind):
                got = shown(getattr(self, what), 33)
                raise InputError(f"must be a {kind.__name__}, got {got}", field=what)
        told = dict(knowledge(self.known))
        for system, yarn in (("warp", self.warp), ("weft", self.weft)):
            for name, span in yarn.supposed:
                why = f"as usual for {yarn.sort.name or f'{yarn.fibre.name} {yarn.kind}'} yarn"
                key = f"{system}.{'twist' if name == 'twist_turns_m' else name}"
                told.setdefault(key, HowKnown.assumed(span.low, span.high, why))
        object.__setattr__(self, "known", knowledge(told))
        within("ends", self.ends_per_cm, *SETTS_PER_CM)
        within("picks", self.picks_per_cm, *SETTS_PER_CM)
        within("warp.crimp", self.warp_crimp, 0.0, MOST_CRIMP)
        within("weft.crimp", self.weft_crimp, 0.0, MOST_CRIMP)
        if self.warp_share is not None:
            within("warp_share", self.warp_share, 0.0, 1.0)
        if self.declared_g_m2 is not None:
            within("weight", self.declared_g_m2, *WEIGHTS_G_M2)

    @property
    def hands(self) -> tuple[str, str]:
        """To which hand, "S" or "Z", warp and weft are twisted, as told or, where nobody did, as
        the other is, or S; that both are alike, as most are, is common practice, no source."""
        warp, weft = self.warp.hand, self.weft.hand
        return warp or weft or "S", weft or warp or "S"

    def __repr__(self) -> str:
        return (
            f"Cloth({self.name!r}, {self.weave.name}, {self.ends_per_cm:.4g} x "
            f"{self.picks_per_cm:.4g} /cm, warp {self.warp!r}, weft {self.weft!r})"
        )
