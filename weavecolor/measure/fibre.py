"""The dye of a yarn from a spectrum of one of its fibres, read in a liquid of its own index.

Knows one fibre and the thread that is wound of it; knows nothing of weave or files.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from weavecolor.colour.colorimetry import ciede2000, colour_words
from weavecolor.colour.spectra import WAVELENGTHS, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.measure.observations import colour_of
from weavecolor.measure.parameters import linear_of
from weavecolor.measure.threads import NINETEEN_OF_TWENTY
from weavecolor.optics.dye import Dye, from_fibre, wound_colour
from weavecolor.optics.uncertainty import HELD
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.yarn import Yarn

#: Less light than this through a fibre is the reader's own noise.
LEAST_THROUGH = 1e-4


@dataclass(frozen=True, eq=False)
class FibreRead:
    """What one fibre says of its yarn: ``dye``; ``wound`` (41,), reflectance of the yarn closely
    wound; ``within``: CIEDE2000 that its colour stays within 19 times in 20."""

    dye: Dye
    wound: Spectrum
    within: float


def read_fibre(yarn: Yarn, through: ArrayLike, across_mm: float) -> FibreRead:
    """The dye of ``yarn``, whose own colour does not count, from a round fibre ``across_mm`` thick
    that lets ``through`` (41,), above 0 to 1, read over its whole width.

    Raises InputError where nothing comes through, or for a fibre too thick or too fine.

    Examples
    --------
    >>> made = read_fibre(organza.warp, np.full(41, 0.5), 0.012)
    >>> round(float(made.dye.absorption[0]), 1)
    75.9
    """
    told = np.asarray(through, dtype=np.float64)
    if not (told >= LEAST_THROUGH).all():
        dark = WAVELENGTHS[~(told >= LEAST_THROUGH)]
        raise InputError(
            f"next to no light came through at {dark[0]:g} nm: read a finer fibre, or thread wound "
            "closely"
        )
    dye = from_fibre(np.minimum(told, 1.0), across_mm)
    ways = (dye.absorption * np.exp(k * NINETEEN_OF_TWENTY * dye.spread) for k in (0.0, -1.0, 1.0))
    wound, *ends = (np.clip(wound_colour(sigma, yarn), 0.0, 1.0) for sigma in ways)
    Lab, *others = (colour_of(linear_of(one)) for one in (wound, *ends))
    return FibreRead(dye, frozen(wound), max(float(ciede2000(Lab, other)) for other in others))


def dyed_cloth(cloth: Cloth, system: Literal["warp", "weft"], found: FibreRead) -> Cloth:
    """``cloth`` whose ``system`` has the dye that one of its fibres told (``found``).

    Raises InputError for a cloth that was fitted, whose dyes the fit tells.

    Examples
    --------
    >>> found = read_fibre(organza.warp, np.full(41, 0.5), 0.012)
    >>> dict(dyed_cloth(organza, "warp", found).known)["warp.colour"].way
    'measured'
    """
    if any(how.way == "fitted" for _, how in cloth.known):
        raise InputError("was fitted to pictures or spectra, which tell its dyes", file=cloth.name)
    yarn = replace(found.dye.on(getattr(cloth, system)), colour_name="")
    spread = round(found.within / NINETEEN_OF_TWENTY, 2)
    known = dict(cloth.known) | {f"{system}.colour": HowKnown.measured(spread, found.dye.way)}
    dyed = replace(cloth, known=tuple(known.items()))
    return replace(dyed, warp=yarn) if system == "warp" else replace(dyed, weft=yarn)


def fibre_report(found: FibreRead) -> str:
    """The colour of the wound thread and how sure it is, in plain lines.

    Examples
    --------
    >>> fibre_report(read_fibre(organza.warp, np.full(41, 0.5), 0.012)).split(" (")[0]
    'Closely wound the thread looks dark grey'
    """
    Lab = colour_of(linear_of(found.wound))
    return (
        f"Closely wound the thread looks {colour_words(Lab)} (L* {Lab[0]:.0f}, a* {Lab[1]:.0f}, "
        f"b* {Lab[2]:.0f}), within {found.within:.1f} CIEDE2000 {HELD}.\n"
        "Known from the spectrum of one fibre, its thickness taken as good to 10 %: read several, "
        "and let a wound sample in the real light decide.\n"
    )
