"""What a cloth is: fibre, yarn, weave, sett. Plain geometry of thread follows from it.

Knows the trade's construction of cloth; knows nothing of light, files or pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from weavecolor.colour.spectra import BANDS, Spectrum
from weavecolor.errors import InputError


@dataclass(frozen=True)
class Fibre:
    """A textile fibre: refractive index along and across the axis, density in g/cm3."""

    name: str
    n_parallel: float
    n_perpendicular: float
    density_g_cm3: float
    source: str = ""

    @property
    def index(self) -> float:
        """Mean refractive index (n_parallel + 2 n_perpendicular) / 3."""
        return (self.n_parallel + 2.0 * self.n_perpendicular) / 3.0


@dataclass(frozen=True, eq=False)
class Yarn:
    """One yarn system, warp or weft.

    Parameters
    ----------
    fibre : Fibre
    tex : float
        Linear density, g/km, > 0.
    colour : ndarray, shape (41,)
        Reflectivity R-infinity of an opaque hank, 0-1, on ``spectra.WAVELENGTHS``.
    packing : float
        Packing fraction phi, 0-1: the share of the yarn's cross-section that is fibre.
    flattening : float
        Width over height of the yarn's elliptical section, >= 1; the area is kept.
    kind : {"filament", "spun"}
    lustre_deg : float
        Standard deviation of the longitudinal surface lobe, degrees: small is glossy.
    scattering_m2_g : float
        Kubelka-Munk scattering coefficient per areal mass, m2/g. ``inf`` is an opaque yarn.
    sheen : float
        Share of the Fresnel surface reflection that is kept, 0 (none) to 1 (bare fibre).
    """

    fibre: Fibre
    tex: float
    colour: Spectrum
    packing: float = 0.7
    flattening: float = 1.0
    kind: str = "filament"
    lustre_deg: float = 10.0
    scattering_m2_g: float = 0.02
    sheen: float = 1.0
    colour_name: str = ""

    def __post_init__(self) -> None:
        if np.shape(self.colour) != (BANDS,):
            raise InputError(f"a yarn colour has {BANDS} bands, got shape {np.shape(self.colour)}")

    @property
    def diameter_mm(self) -> float:
        """Diameter of the round yarn, d = sqrt(4 T / (pi rho phi)) (Peirce 1937)."""
        area_cm2 = self.tex * 1e-5 / (self.fibre.density_g_cm3 * self.packing)
        return 10.0 * float(np.sqrt(4.0 * area_cm2 / np.pi))

    @property
    def width_mm(self) -> float:
        return self.diameter_mm * sqrt(self.flattening)

    @property
    def height_mm(self) -> float:
        return self.diameter_mm / sqrt(self.flattening)


@dataclass(frozen=True)
class Weave:
    """A lift plan: rows are picks, columns are ends, 1 where the warp is up on the face."""

    name: str
    lift: tuple[tuple[int, ...], ...]


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


@dataclass(frozen=True, eq=False)
class Cloth:
    """A two-tone woven cloth, face up, warp along azimuth 0.

    ``warp_crimp`` and ``weft_crimp`` are the extra yarn lengths as fractions (for the weight);
    ``warp_share`` as in :class:`Construction`, None for the balanced default.
    ``declared_g_m2`` is the weight somebody stated, if anybody did. ``notes`` is the owner's own
    text, ``sources`` tells where single numbers come from, and ``remarks`` is what was noticed
    or supposed when the cloth was read in.
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

    def construction(self) -> Construction:
        """The geometry alone, for the unit cell."""
        share = self.warp_share
        if share is None:
            share = self.weft.height_mm / (self.warp.height_mm + self.weft.height_mm)
        return Construction(
            self.weave.lift,
            10.0 / self.ends_per_cm,
            10.0 / self.picks_per_cm,
            self.warp.width_mm,
            self.warp.height_mm,
            self.weft.width_mm,
            self.weft.height_mm,
            share,
        )
