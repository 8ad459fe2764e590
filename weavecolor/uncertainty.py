"""How far to trust a predicted colour, and a predicted difference, in CIEDE2000.

Knows where error comes from and about how large it is; computes no colours. Two sources, taken as
independent and so added in quadrature:

* The model: the layer optics against path tracing of explicit yarns.
* What was put in: yarn optics that were assumed, colours recovered from Lab or a screen colour.

Between two options of one cloth most of the input error is shared: if the crimson warp is a
little brighter than the file says, it is so on straight and on cross grain. What is left grows
with the difference itself, so it is given as a share of the difference. All numbers are standard
uncertainties (about two times in three the truth is nearer); :data:`COVERAGE` widens them for the
sentence a maker reads.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from weavecolor.cloth import Cloth

#: One colour, from the optics alone. Radiance factors come within about 1 to 2 % rms of path
#: tracing; 1.5 % of Y is 0.3 in L* at L* 50, and an error that differs by waveband adds about as
#: much again in hue and chroma: 0.5 to 0.8.
MODEL = 0.65
#: Share of the variance of the model's error that two options of one cloth in one light have in
#: common (same yarns, same crimp): taken as half, so that a difference has as much as one colour.
MODEL_SHARED = 0.5
#: One colour, where packing, flattening, lustre, scattering or sheen of the yarn were assumed.
ASSUMED_YARN = 3.0
#: What is left of that in a difference between options of the same cloth, as a share of it.
ASSUMED_YARN_SHARE = 0.12
#: One colour whose yarn spectra were recovered from Lab or sRGB, seen in a light unlike daylight:
#: measured surfaces differ by 1.8 on average under tungsten, and by nothing in daylight.
RECOVERED = 1.8
#: What is left of that in a difference between options of the same cloth, as a share of it.
RECOVERED_SHARE = 0.05
#: Kept even for measured input: no two pieces of one cloth, and no two readings, are quite alike.
MEASURED = 0.3
MEASURED_SHARE = 0.03
#: Widens a standard uncertainty to what is said aloud (about nine times in ten for both halves).
COVERAGE = 1.6


@dataclass(frozen=True)
class Uncertainty:
    """Two standard uncertainties, CIEDE2000, and what made up the second in words."""

    model: float
    inputs: float
    reasons: tuple[str, ...] = ()

    @property
    def standard(self) -> float:
        return math.hypot(self.model, self.inputs)

    @property
    def stated(self) -> float:
        """What "give or take" means to a reader."""
        return COVERAGE * self.standard


@dataclass(frozen=True)
class Known:
    """What is known of the cloths: whether yarn optics were assumed, colours recovered."""

    yarn_assumed: bool
    colour_recovered: bool


def known_of(cloths: Iterable[Cloth]) -> Known:
    """Read from each cloth's remarks (made on reading its file) and its owner's sources."""
    yarn = colour = False
    for cloth in cloths:
        yarn |= any("supposed" in remark for remark in cloth.remarks)
        yarn |= any(
            key == "yarn optics" and text.startswith("assumed") for key, text in cloth.sources
        )
        colour |= any("colour recovered" in remark for remark in cloth.remarks)
    return Known(yarn, colour)


def of_colour(known: Known, daylight: bool = True) -> Uncertainty:
    """Of one predicted colour; ``daylight``: the light is near that in which colours were given."""
    terms, reasons = [MEASURED], []
    if known.yarn_assumed:
        terms.append(ASSUMED_YARN)
        reasons.append("the yarn's translucency and sheen are assumed, not measured")
    if known.colour_recovered and not daylight:
        terms.append(RECOVERED)
        reasons.append("yarn colours were recovered from a daylight colour; this light is another")
    return Uncertainty(MODEL, math.hypot(*terms), tuple(reasons))


def of_difference(
    delta: float, known: Known, daylight: bool = True, same_cloth: bool = True
) -> Uncertainty:
    """Of a predicted CIEDE2000 ``delta`` between two options.

    ``same_cloth``: both options are made of the same cloths and seen in the same light, so that
    errors of input are shared; otherwise both colours' errors count in full.
    """
    one = of_colour(known, daylight)
    if not same_cloth:
        both = math.sqrt(2.0)
        return Uncertainty(both * one.model, both * one.inputs, one.reasons)
    shares = [MEASURED_SHARE]
    if known.yarn_assumed:
        shares.append(ASSUMED_YARN_SHARE)
    if known.colour_recovered and not daylight:
        shares.append(RECOVERED_SHARE)
    model = MODEL * math.sqrt(2.0 * (1.0 - MODEL_SHARED))
    return Uncertainty(model, delta * math.hypot(*shares), one.reasons)
