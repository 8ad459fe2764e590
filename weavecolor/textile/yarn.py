"""What a yarn is: clear, dyed filaments of one fibre, and how they lie in its section.

Knows numbers that a maker or a mill can know, and which of them the trade could ever meet; knows
nothing of weave, light or files.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from weavecolor.colour.spectra import BANDS, Spectrum, frozen
from weavecolor.errors import InputError, shown, within
from weavecolor.textile.usual import (
    KINDS,
    LUSTRES,
    ROD,
    ROUND,
    USUAL,
    Span,
    UsualYarn,
    usual_section,
    usual_yarn,
)

#: Stands where nobody has told a number.
_UNTOLD = float("nan")


@dataclass(frozen=True)
class Fibre:
    """A textile fibre.

    Parameters
    ----------
    name : str
    n_parallel, n_perpendicular : float
        Refractive index along and across its axis, 1.3 to 1.9.
    density_g_cm3 : float
        0.85 to 3.
    source : str

    Raises
    ------
    InputError
        For an index or a density that no textile fibre has.

    Notes
    -----
    Light meets it as clear, of the mean index (n_parallel + 2 n_perpendicular) / 3.

    References
    ----------
    W. E. Morton, J. W. S. Hearle, Physical Properties of Textile Fibres (4th ed. 2008), table 24.1,
    from memory; the source of each fibre is beside it in ``data/fibres.csv``.

    Examples
    --------
    >>> round(Fibre("silk", 1.591, 1.538, 1.33).index, 3)
    1.556
    """

    name: str
    n_parallel: float
    n_perpendicular: float
    density_g_cm3: float
    source: str = ""

    def __post_init__(self) -> None:
        # from fluoropolymer (1.35) to polyester along its axis (1.73); from polypropylene to wire
        within("index", self.n_parallel, 1.3, 1.9)
        within("index", self.n_perpendicular, 1.3, 1.9)
        within("density", self.density_g_cm3, 0.85, 3.0, "g/cm3")

    @property
    def index(self) -> float:
        """Mean refractive index (n_parallel + 2 n_perpendicular) / 3."""
        return (self.n_parallel + 2.0 * self.n_perpendicular) / 3.0


#: What the trade could ever meet, by field: least, greatest, unit. Finest silk is about 8 dtex and
#: the finest woven rod 5 dtex; heavy net and braid reach kilotex. Hardest crepe has about 4000
#: turns a metre. Fully dulled fibre scatters some 40 times a millimetre.
RANGES: Mapping[str, tuple[float, float, str]] = MappingProxyType(
    {
        "tex": (0.05, 10_000.0, "tex"),
        "packing": (0.1, 1.0, ""),
        "flattening": (1.0, 30.0, ""),  # tapes and calendered yarns are flattest
        "filaments": (1, 20_000, ""),
        "twist_turns_m": (0.0, 5000.0, "turns/m"),
        "dull_per_mm": (0.0, 100.0, "per mm"),
        "section": (1.0, 1.9, ""),  # at 2 the sides of a triangle are straight
    }
)
#: Fineness of one filament, dtex: from microfibre to the thickest woven rod.
FINENESS_DTEX = (0.03, 100_000.0)
#: Steepest lie of the outermost filaments, degrees from the yarn's axis; cord is not laid steeper.
STEEPEST_TWIST_DEG = 65.0

#: Least slope of the outer filaments, rise over run, at which a flat yarn is traced as twisted: its
#: filaments then run into one another where their axes are pressed flat. By flatter helices light
#: is turned less than by crimp, and untwisted ones make room for one another.
STEEP = 0.18
#: The hand of a yarn's twist (ISO 2:1973): as the middle stroke of the letter, held upright.
HANDS = ("S", "Z")

# Densest known packings of 2 to 20 equal circles in a circle (Graham and others, Discrete Math.
# 181 (1998) 139; from memory), cut off to three places.
_CLOSEST = (0.5, 0.646, 0.686, 0.685, 0.666, 0.777, 0.732, 0.689, 0.687, 0.714, 0.739, 0.724,
            0.747, 0.733, 0.751, 0.740, 0.760, 0.803, 0.762)  # fmt: skip


def greatest_packing(rods: int) -> float:
    """The largest share of a round yarn that ``rods`` round filaments can fill.

    The densest known packings of equal circles in a circle to 20; 0.8 is taken beyond.

    Examples
    --------
    >>> greatest_packing(1), greatest_packing(7), greatest_packing(60)
    (1.0, 0.777, 0.8)
    """
    if rods <= 1:
        return 1.0
    return _CLOSEST[rods - 2] if rods <= 20 else 0.8


@dataclass(frozen=True, eq=False)
class Yarn:
    """One yarn system, warp or weft: filaments, or staple fibres, of one clear and dyed fibre.

    Yarns compare, and hash, by value.

    Parameters
    ----------
    fibre : Fibre
    tex : float
        Linear density, g/km, 0.05 to 10 000.
    colour : ndarray, shape (41,)
        Reflectance of closely wound thread, 0-1, on ``spectra.WAVELENGTHS``.
    packing : float
        Share of the yarn's cross-section that is fibre, 0.1 to 1; several round filaments cannot
        fill more than :func:`greatest_packing`. Where this and what follows is not told, the usual
        of the fibre is supposed.
    flattening : float
        Width over height of the yarn's elliptical section, 1 to 30; the area is kept.
    kind : {"filament", "spun"}
    colour_name : str
    filaments : int
        Filaments, or staple fibres, in the section; 0: not told.
    gum : bool
        Silk thread in its gum: to light one rod as thick as the yarn.
    twist_turns_m : float
        Turns per metre, 0 to 5000.
    hand : {"S", "Z", ""}
        To which hand it is twisted; "": not told.
    dull_per_mm : float
        Scattering inside the fibre, 1/mm, as if even to all sides; 0 is bright.
    section : float
        Modification ratio of a filament's section, 1 to 1.9: of the circle about it to the circle
        in it. 1 is round; else it is a triangle rounded so far, turned any way in the yarn. Of
        single rods it is not asked.
    absorption : ndarray, shape (41,), optional
        Absorption coefficient inside the fibre (of natural logarithms), 1/mm. Where it is given,
        it is the dye, and ``colour`` is only what the thread looks like.
    supposed : tuple of (str, Span)
        What nobody has told, filled in by itself; a number told later is taken off it.

    Raises
    ------
    InputError
        In one line naming the field, for what the trade could never meet and for fields that
        contradict one another.

    Notes
    -----
    The round yarn's diameter is d = sqrt(4 T / (pi rho phi)), with T the linear density, rho the
    fibre's density and phi the packing; flattened, it is d sqrt(flattening) wide.

    References
    ----------
    F. T. Peirce, J. Text. Inst. 28 (1937) T45.

    Examples
    --------
    >>> Yarn(organza.warp.fibre, 21 / 9, organza.warp.colour).filaments
    16
    """

    fibre: Fibre
    tex: float
    colour: Spectrum
    packing: float = _UNTOLD
    flattening: float = _UNTOLD
    kind: str = "filament"
    colour_name: str = ""
    filaments: int = 0
    gum: bool = False
    twist_turns_m: float = _UNTOLD
    dull_per_mm: float = _UNTOLD
    section: float = _UNTOLD
    absorption: Spectrum | None = None
    hand: str = ""
    supposed: tuple[tuple[str, Span], ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(f"{str(self.kind)[:40]!r} must be one of filament, spun", field="kind")
        if self.hand not in ("", *HANDS):
            raise InputError(f"{shown(self.hand)} is not a hand of twist; use S or Z", field="hand")
        if not isinstance(self.fibre, Fibre):
            raise InputError(f"a Fibre, such as fibre('silk'), got {shown(self.fibre, 33)}",
                             field="fibre")  # fmt: skip
        # a copy that cannot change: a yarn is a value
        object.__setattr__(self, "colour", self._spectrum("colour", self.colour, 1.0))
        if self.absorption is not None:
            held = self._spectrum("absorption", self.absorption, 1e5)
            object.__setattr__(self, "absorption", held)
        within("tex", self.tex, *RANGES["tex"])
        self._suppose()
        for name, (low, high, unit) in RANGES.items():
            within(name, getattr(self, name), low, high, unit)
        self._agree()

    def _suppose(self) -> None:
        """Take what is usual where nobody has told, and keep that it was supposed."""
        sort = self.sort
        kept = [(name, span) for name, span in self.supposed if getattr(self, name) == span.usual]
        if self.filaments == 0:
            many = sort.filaments(self.tex)
            object.__setattr__(self, "filaments", many)
            kept.append(("filaments", sort.filaments_span(self.tex, many)))
        packing = ROD if self.filaments == 1 and not self.gum else sort.packing
        for name, span in (
            ("packing", packing.at_most(greatest_packing(int(self.rods)))),
            ("flattening", sort.flattening),
            ("twist_turns_m", sort.twist(self.tex)),
            ("dull_per_mm", LUSTRES[sort.lustre]),
            ("section", None),
        ):
            if getattr(self, name) is _UNTOLD:
                if span is None:  # hangs on what was taken before
                    usual = self.fibre.name, self.kind, self.dull_per_mm, self.rods
                    span = usual_section(*usual)
                object.__setattr__(self, name, span.usual)
                if (name != "twist_turns_m" or self.rods > 1) and span != ROUND:
                    kept.append((name, span))
        object.__setattr__(self, "supposed", tuple(kept))

    def _spectrum(self, what: str, values: Spectrum, most: float) -> Spectrum:
        try:
            found = np.asarray(values, dtype=np.float64)
        except (TypeError, ValueError):
            raise InputError(
                f"a yarn's {what} is {BANDS} numbers, one for each band, got {shown(values, 33)}"
            ) from None
        if found.shape != (BANDS,):
            raise InputError(f"a yarn's {what} has {BANDS} bands, got shape {found.shape}")
        if not (np.all(found >= 0.0) and np.all(found <= most)):
            raise InputError(f"a yarn's {what} lies from 0 to {most:g} in every band")
        return found if not found.flags.writeable else frozen(found)

    def _agree(self) -> None:
        """Raise where fields contradict one another."""
        if self.filaments != int(self.filaments):
            raise InputError(f"must be a whole number, got {self.filaments:g}", field="filaments")
        within("dtex per filament", self.fineness_dtex, *FINENESS_DTEX, "dtex")
        if self.gum and (self.fibre.name != "silk" or self.kind != "filament"):
            raise InputError(
                f"{self.kind} {self.fibre.name} has no gum; only reeled silk is woven in it",
                field="gum",
            )
        most = greatest_packing(self.rods)
        if self.packing > most:
            raise InputError(
                f"{self.rods} round filaments fill at most {most:g} of a yarn, "
                f"got {self.packing:g}; one solid filament fills 1, thread in gum nearly 1",
                field="packing",
            )
        steep = math.degrees(math.atan(math.pi * self.diameter_mm * self.twist_turns_m / 1000.0))
        if self.rods > 1 and steep > STEEPEST_TWIST_DEG:
            raise InputError(
                f"{self.twist_turns_m:g} turns/m lay the outer filaments of a yarn "
                f"{self.diameter_mm:.3g} mm thick at {steep:.0f} degrees, at most "
                f"{STEEPEST_TWIST_DEG:g}; give fewer turns",
                field="twist_turns_m",
            )

    def _value(self) -> tuple[object, ...]:
        dye = None if self.absorption is None else self.absorption.tobytes()
        return (
            self.fibre, self.tex, self.colour.tobytes(), self.packing, self.flattening, self.kind,
            self.colour_name, self.filaments,
            self.gum, self.twist_turns_m, self.dull_per_mm, self.section, dye, self.hand,
        )  # fmt: skip

    def __repr__(self) -> str:
        name = f", {self.colour_name!r}" if self.colour_name else ""
        return f"Yarn({self.fibre.name} {self.kind}, {self.tex:.4g} tex{name})"

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Yarn):
            return NotImplemented
        return self is other or self._value() == other._value()

    def __hash__(self) -> int:
        return hash(self._value())

    @property
    def sort(self) -> UsualYarn:
        """The sort of yarn that what nobody told is taken from."""
        if self.gum and self.fibre.name == "silk":
            return USUAL["silk organza"]
        return usual_yarn(self.fibre.name, self.kind)

    @property
    def diameter_mm(self) -> float:
        """Diameter of the round yarn, d = sqrt(4 T / (pi rho phi)) (Peirce 1937)."""
        area_cm2 = self.tex * 1e-5 / (self.fibre.density_g_cm3 * self.packing)
        return 10.0 * math.sqrt(4.0 * area_cm2 / math.pi)

    @property
    def width_mm(self) -> float:
        """Width of the section, lying flat in the cloth."""
        return self.diameter_mm * math.sqrt(self.flattening)

    @property
    def height_mm(self) -> float:
        """Height of the section, through the cloth."""
        return self.diameter_mm / math.sqrt(self.flattening)

    @property
    def fineness_dtex(self) -> float:
        """Linear density of one filament or staple fibre, dtex (g per 10 km)."""
        return 10.0 * self.tex / self.filaments

    @property
    def rods(self) -> int:
        """How many separate rods light meets in the section: 1 in gum."""
        return 1 if self.gum else self.filaments

    @property
    def rod_diameter_mm(self) -> float:
        """Diameter of one such rod: of a filament, or of the whole thread in gum."""
        if self.rods == 1:
            return self.diameter_mm
        return self.diameter_mm * math.sqrt(self.packing / self.rods)

    @property
    def twist_rad_mm(self) -> float:
        """Twist as an angle by length, radians per mm."""
        return 2.0e-3 * math.pi * self.twist_turns_m


def filaments_of(tex: float, dtex_per_filament: float) -> int:
    """How many filaments of ``dtex_per_filament`` a yarn of ``tex`` g/km has, at least 1.

    Raises InputError for a fineness that no filament has.

    Examples
    --------
    >>> filaments_of(8.4, 3.5)
    24
    """
    within("dtex_per_filament", dtex_per_filament, *FINENESS_DTEX, "dtex")
    return max(1, round(10.0 * tex / dtex_per_filament))
