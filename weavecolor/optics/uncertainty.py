"""How far to trust a predicted colour, and a predicted difference, in CIEDE2000.

Knows where error comes from and about how large it is; computes no colours. Two sources, taken as
independent and so added in quadrature:

* The model: the layer optics against path tracing of explicit yarns.
* What was put in: yarn optics that were assumed, colours recovered from Lab or a screen colour.

Between two options of one cloth most error is shared and cancels: if the crimson warp is a little
brighter than the file says, it is so on straight and on cross grain. What is left grows with the
difference itself, so most of it is given as a share of the difference. It does not cancel to
nothing: a yarn that is more translucent than assumed makes the step from black behind to white
behind larger, in every option alike.

All numbers are standard uncertainties (about two times in three the truth is nearer);
:data:`COVERAGE` widens them to what is said aloud. They rest on two studies: the path-traced
tables (opaque yarns; the tests repeat this one), and three swatches worked out again with
scattering 1.5 times more and less, packing 0.62 and 0.78, sheen 0.7 and lustre 1.5 times.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import weight_contradiction

#: One colour, from the optics alone. Against traced opaque yarns 0.3 rms; real yarn is neither
#: round nor even, and translucency and sheen were not traced: doubled, by judgement.
MODEL = 0.6
#: A difference between options of one cloth in one light, from the optics alone: against traced
#: yarns 0.14 to 0.22 rms for grain, and 4 to 12 % of the difference for layers and backing.
MODEL_DIFFERENCE = 0.25
MODEL_SHARE = 0.06
#: One colour, where packing, flattening, lustre, scattering or sheen of the yarn were assumed:
#: scattering moves it by 0.3 to 2.5, packing by 0.2 to 2.1, sheen by 0.1 to 0.5.
ASSUMED_YARN = 2.0
#: What is left of that in a difference of grain, face or lay, as a share of it (up to 13 %, often
#: 3 %), and in one of layers or backing, which hangs on translucency (7 to 36 %).
ASSUMED_YARN_SHARE = 0.08
ASSUMED_YARN_DEPTH_SHARE = 0.17
#: One colour of cloth woven of clear, bright filaments, which the optics still take for a matt,
#: translucent film: against exact tracing of such cloth an outside check found 10.9 L* rms over six
#: dyes, black and white behind, one and two layers (worst 33).
CLEAR_YARN = 10.9
#: A difference between options of such cloth: 20 steps of grain, backing and layers of the crimson
#: and black organza, computed with the cell of clear filaments, were 6.1 rms off (grain 7.2,
#: backing 6.8, layers 2.6), whatever their size; none grew more than eightfold, and what is nought
#: by symmetry stays nought. One cloth; no second was tried.
CLEAR_YARN_DIFFERENCE, CLEAR_YARN_GROWTH = 6.1, 5.0
#: Filaments that scatter less than this inside, 1/mm, are clear: the light goes on through them.
CLEAR_BELOW_PER_MM = 10.0
#: One colour whose yarn spectra were recovered from Lab or sRGB, seen in a light unlike daylight:
#: measured surfaces differ by 1.8 on average under tungsten, and by nothing in daylight.
RECOVERED = 1.8
#: What is left of that in a difference between options of one cloth in one light, a share of it.
RECOVERED_SHARE = 0.05
#: Kept even for measured input: no two pieces of one cloth, and no two readings, are quite alike.
MEASURED = 0.3
MEASURED_SHARE = 0.03
#: Widens a standard uncertainty to what is said aloud (nine times in ten, were errors normal).
COVERAGE = 1.645


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
    """What is known of the cloths: whether yarn optics were assumed, colours recovered, where a
    stated weight contradicts the construction, and whether a yarn is of clear filaments."""

    yarn_assumed: bool
    colour_recovered: bool
    contradictions: tuple[str, ...] = ()
    clear: bool = False


def known_of(cloths: Iterable[Cloth]) -> Known:
    """Read from each cloth's remarks (made on reading its file) and its owner's sources.

    Examples
    --------
    >>> known_of([organza])
    Known(yarn_assumed=True, colour_recovered=False, contradictions=(), clear=True)
    """
    yarn = colour = clear = False
    told: dict[str, None] = {}
    for cloth in cloths:
        if contradiction := weight_contradiction(cloth):
            told[contradiction] = None
        clear |= any(
            y.kind == "filament" and y.dull_per_mm < CLEAR_BELOW_PER_MM
            for y in (cloth.warp, cloth.weft)
        )
        yarn |= any("supposed" in remark for remark in cloth.remarks)
        yarn |= any(
            key == "yarn optics" and text.startswith("assumed") for key, text in cloth.sources
        )
        colour |= any("colour recovered" in remark for remark in cloth.remarks)
    return Known(yarn, colour, tuple(told), clear)


def of_colour(known: Known, daylight: bool = True) -> Uncertainty:
    """Of one predicted colour; ``daylight``: the light is near that in which colours were given.

    Examples
    --------
    >>> of_colour(Known(False, False)).stated < of_colour(Known(True, False)).stated
    True
    """
    terms, reasons = [MEASURED], list(known.contradictions)
    if known.yarn_assumed:
        terms.append(ASSUMED_YARN)
        reasons.append("the yarn's translucency and sheen are assumed, not measured")
    if known.colour_recovered and not daylight:
        terms.append(RECOVERED)
        reasons.append("yarn colours were recovered from a daylight colour; this light is another")
    model = MODEL
    if known.clear:
        model = math.hypot(MODEL, CLEAR_YARN)
        reasons.append(
            "the yarns are clear filaments, which the optics still take for matt: colours and "
            "their differences may be far off, so lay a piece and look"
        )
    return Uncertainty(model, math.hypot(*terms), tuple(reasons))


def of_difference(
    delta: float,
    known: Known,
    daylight: bool = True,
    *,
    same_cloth: bool = True,
    same_light: bool = True,
    depth: bool = True,
) -> Uncertainty:
    """Of a predicted CIEDE2000 ``delta`` between two options.

    ``same_cloth``, ``same_light``: both options share them, so that errors of input cancel.
    ``depth``: layers or backing differ, so that the cloth's translucency counts. ``daylight`` as
    in :func:`of_colour`, of both lights.

    Examples
    --------
    >>> measured, assumed = Known(False, False), Known(True, False)
    >>> of_difference(2.0, measured).stated < of_difference(8.0, assumed).stated
    True
    """
    one = of_colour(known, daylight)
    both = math.sqrt(2.0)
    if not same_cloth:
        return Uncertainty(both * one.model, both * one.inputs, one.reasons)
    model = math.hypot(MODEL_DIFFERENCE, MODEL_SHARE * delta) if same_light else both * MODEL
    if known.clear:
        model = math.hypot(model, min(CLEAR_YARN_DIFFERENCE, CLEAR_YARN_GROWTH * delta))
    shares = [MEASURED_SHARE]
    if known.yarn_assumed:
        shares.append(ASSUMED_YARN_DEPTH_SHARE if depth else ASSUMED_YARN_SHARE)
    left = 0.0
    if known.colour_recovered and not daylight:
        if same_light:
            shares.append(RECOVERED_SHARE)
        else:
            left = RECOVERED  # right in daylight, off in the other light: nothing cancels
    return Uncertainty(model, math.hypot(left, delta * math.hypot(*shares)), one.reasons)
