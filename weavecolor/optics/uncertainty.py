"""How far to trust a predicted colour, and a predicted difference, in CIEDE2000.

Knows where error comes from and about how large it is; computes no colours. Three sources, taken as
independent and so added in quadrature:

* The model: the layer optics against exact tracing of explicit yarns.
* What is not known of the cloth's build and dye: drawn and carried through the optics by
  :mod:`weavecolor.optics.mightbe`, which hands on what a colour or a difference is left open by.
* What was measured or fitted, by its own spread.

All numbers are standard uncertainties (about two times in three the truth is nearer);
:data:`COVERAGE` widens them to what is said aloud.

How each number is known is a value of the cloth (``Cloth.known``); no words are searched.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.construction import doubts_of
from weavecolor.textile.howknown import HowKnown, covariance
from weavecolor.textile.notmodelled import named_so, remarked_so
from weavecolor.textile.usual import LUSTRES, Span, usual_yarn

#: One colour, from the optics alone: shares of light 0.15 L* rms off cloth that was traced exactly
#: and never shown to the model, single directions 0.9; real yarn is neither round nor even.
MODEL = 0.8
#: A difference between options of one cloth in one light, from the optics alone: what is left of
#: the noise of its rays, and a share of the difference.
MODEL_DIFFERENCE = 0.35
MODEL_SHARE = 0.06
#: Of one cloth seen in two lights, one like daylight and one not, where its colours are known by
#: daylight alone: measured surfaces differ by 1.8 on average under tungsten.
RECOVERED = 1.8
#: Kept even for measured input: no two pieces of one cloth, and no two readings, are quite alike.
MEASURED = 0.3
MEASURED_SHARE = 0.03
#: Widens a standard uncertainty to what is said aloud (nine times in ten, were errors normal).
COVERAGE = 1.645
#: How often what is said so holds: of answers by simulation 90 to 98 of 100, and what a fit or a
#: count leaves open is told to 19 of 20.
HELD = "at least nine times in ten"
#: How much further than its draws tell cloth goes that was described, drawn anew and traced: slopes
#: follow its build and dye not all the way (``python -m tests.ranges --seed 101``).
DRAWN = 1.1
#: Cloth that was fitted is drawn from what its fit left open, turned as it is. Slopes follow that
#: less than all the way in a colour, and least in what shows through of the ground. Counted on 62
#: invented cloths, photographed and fitted (``python -m tests.fit_coverage``).
COLOUR_FITTED, BENEATH_FITTED = 1.15, 1.3
#: What answers about cloth as it hangs rest on besides.
GARMENT = "folds are told as many garments show them in the mean, one shows more or less of a sheen"
#: A difference below this is nought by the symmetry of the cloth.
NOUGHT = 1e-6


#: Sorts of yarn: one or two solid rods (a monofilament, thread in its gum), several filaments,
#: staple fibres.
SORTS = ("rods", "filaments", "spun")

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
    """What is known of the cloths, the least of them.

    Parameters
    ----------
    yarn_assumed : bool
        Whether any of a yarn's build was assumed.
    colour_recovered : bool
        Whether a dye was found from a colour, or assumed, instead of read as a spectrum.
    contradictions : tuple of str
        Where a stated weight contradicts the construction, a sett may have been told by another
        unit, or a name tells of what is not modelled.
    sort : {"rods", "filaments", "spun"}
        The least sure sort of yarn.
    off : float
        How far a fitted cloth is shown from what it was fitted to, CIEDE2000.
    yarn_left : float
        How much of what the usual ranges of a yarn's build leave open is left, 0 to 1.
    colours, apart : float
        Standard uncertainties, CIEDE2000, of measured or fitted yarn colours: of one, and of warp
        against weft.
    fitted, all_fitted : bool
        Whether a cloth was fitted, or every one was, and keeps what that left open, which is drawn.
    set_assumed : bool
        Whether nobody counted ends or picks.
    each : tuple of (str, Known)
        Of several cloths every one by itself, with its name.
    hung : bool
        Whether they hang in folds, of which a garment shows some more and some less.
    """

    yarn_assumed: bool
    colour_recovered: bool
    contradictions: tuple[str, ...] = ()
    sort: str = "rods"
    off: float = 0.0
    yarn_left: float = -1.0
    colours: float = 0.0
    apart: float = 0.0
    fitted: bool = False
    all_fitted: bool = False
    set_assumed: bool = False
    each: tuple[tuple[str, Known], ...] = ()
    hung: bool = False

    def __post_init__(self) -> None:
        if self.yarn_left < 0.0:
            object.__setattr__(self, "yarn_left", float(self.yarn_assumed))

    @property
    def read(self) -> float:
        """What readings and fits leave open of one colour."""
        return math.hypot(MEASURED, self.off, self.colours)

    def colours_of(self, changed: Collection[str], delta: float) -> float:
        """What uncertain colours of warp and weft leave open of a difference ``delta``."""
        if delta < NOUGHT:
            return 0.0
        turned = not changed or bool({"grain", "face", "lay"} & set(changed))
        own = self.colours if "scene" in changed else min(self.colours, 0.2 + 0.25 * delta)
        return max(own, self.apart if turned else 0.0)


def sort_of(yarn: Yarn) -> str:
    """Which of :data:`SORTS` a yarn is.

    Examples
    --------
    >>> sort_of(organza.warp)
    'rods'
    """
    if yarn.kind == "spun":
        return "spun"
    return "rods" if yarn.rods <= 2 else "filaments"


#: How much a section does to light, 1 what trilobal filaments with hollow sides do, by the ratio of
#: the circles about it and in it (traced).
_SECTION = (1.0, 1.05, 1.1, 1.2, 1.3, 1.45), (0.0, 0.03, 0.2, 0.65, 0.85, 0.95)


def lobed(section: ArrayLike) -> NDArray[np.float64]:
    """How much a ``section`` of filaments, as in :class:`weavecolor.textile.yarn.Yarn`, does to
    light, 0 (round) to 1 (as trilobal filaments do whose radius is 1 + .2 cos 3a of its mean).

    Examples
    --------
    >>> lobed([1.0, 1.2, 1.9]).tolist()
    [0.0, 0.65, 0.95]
    """
    return np.asarray(np.interp(np.asarray(section, float), *_SECTION))


def _section_doubt(cloth: Cloth) -> str:
    known = dict(cloth.known)
    perhaps = {
        yarn.fibre.name
        for system, yarn in (("warp", cloth.warp), ("weft", cloth.weft))
        if (how := known.get(f"{system}.section"))
        and how.way == "assumed" and yarn.section == 1.0 and (how.high or 1.0) > 1.3
    }  # fmt: skip
    if not perhaps:
        return ""
    return (
        f"{cloth.name}: bright {' and '.join(sorted(perhaps))} is as often trilobal as round, and "
        "is told as round: trilobal it sends back more and lets less through, which the ranges "
        'count; where it is known, write section = "trilobal" or "round"'
    )


#: What makes up a yarn's build.
BUILD = ("count", "filaments", "gum", "packing", "flattening", "twist", "dull_per_mm")
_COLOURS = ("warp.colour", "weft.colour")


def known_of(cloths: Iterable[Cloth], hung: bool = False) -> Known:
    """What the cloths' own ``known`` and stated weights say of them together.

    Parameters
    ----------
    cloths : iterable of Cloth
        Their order does not matter, nor how often one comes.
    hung : bool
        Whether they hang in folds.

    Returns
    -------
    Known

    Examples
    --------
    >>> known_of([organza]).yarn_assumed, known_of([organza]).off
    (True, 0.0)
    """
    recovered, assumed, uncounted = False, False, False
    off = left = colours = apart = 0.0
    drawn = []
    sorts = set()
    told: set[str] = set()
    cloths = list(cloths)
    alone = {cloth.name: cloth for cloth in cloths}
    each = [(x, known_of([alone[x]])) for x in sorted(alone)] if len(alone) > 1 else []
    for cloth in cloths:
        told |= {*doubts_of(cloth), *_not_modelled(cloth), _section_doubt(cloth)} - {""}
        known = dict(cloth.known)
        for system, yarn in (("warp", cloth.warp), ("weft", cloth.weft)):
            sorts.add(sort_of(yarn))
            for key in BUILD:
                how = known.get(f"{system}.{key}", _STATED)
                assumed |= how.way == "assumed"
                left = max(left, _left(key, yarn, how))
        if any(known.get(key, _STATED).way == "assumed" for key in ("ends", "picks")):
            uncounted, left = True, 1.0
        recovered |= any(known.get(key, _STATED).way == "assumed" for key in _COLOURS)
        off = max(off, known.get("shown", _STATED).spread or 0.0)
        drawn.append(bool(known.get("foretold", _STATED).root))
        if drawn[-1]:
            continue  # what the fit left of dye and build is drawn
        if "foretold" in known:
            left = 1.0  # an earlier fit, whose file does not keep that
        both = covariance(cloth.known, _COLOURS)
        colours = max(colours, math.sqrt(float(both.diagonal().max())))
        between = float(both[0, 0] + both[1, 1] - 2.0 * both[0, 1])
        apart = max(apart, math.sqrt(max(0.0, between)))
    least = next((s for s in SORTS if s in sorts), SORTS[0])
    return Known(
        assumed, recovered, tuple(sorted(told)), least, off, left, colours, apart,
        any(drawn), bool(drawn) and all(drawn), uncounted, tuple(each), hung,
    )  # fmt: skip


_STATED = HowKnown.stated()


def _not_modelled(cloth: Cloth) -> Iterator[str]:
    """What the names of ``cloth``, of its colours and of what its yarns are like tell of that no
    answer takes into account; each thing once, with the cloth's name."""
    names = (cloth.name, cloth.warp.colour_name, cloth.weft.colour_name)
    said: dict[str, str] = {}
    for text in (*filter(None, map(named_so, names)), *sorted(remarked_so(cloth.remarks))):
        name, what, instead = text.rsplit(": ", 2)
        said.setdefault(f"{what}: {instead}", name)
    for text, name in said.items():
        yield f"{cloth.name}: {text}" if name == cloth.name else f"{cloth.name} ({name}): {text}"


def _left(key: str, yarn: Yarn, how: HowKnown) -> float:
    """What ``how`` leaves of the usual range of a number of the yarn's build, 0 to 1."""
    if how.way == "assumed":
        return 1.0
    if not how.spread:
        return 0.0
    usual = usual_yarn(yarn.fibre.name, yarn.kind)
    fine = usual.fineness_dtex
    span: Span | None = {
        "packing": usual.packing,
        "flattening": usual.flattening,
        "twist": usual.twist(yarn.tex),
        "dull_per_mm": min(LUSTRES.values(), key=lambda one: abs(one.usual - yarn.dull_per_mm)),
    }.get(key)
    if key == "filaments" and fine is not None:
        few, many = 10.0 * yarn.tex / fine.high, 10.0 * yarn.tex / fine.low
        span = Span(few, few, many)
    if span is None or span.high == span.low:
        # of a count 3 in 100 are open even where it was stated, and part of what was drawn
        return 1.0 if key != "count" or how.spread > 0.03 * yarn.tex else 0.0
    return min(1.0, 2.0 * COVERAGE * how.spread / (span.high - span.low))


def reasons(known: Known) -> tuple[str, ...]:
    """What limits an answer about these cloths, in words, contradictions first; of several cloths
    with the names of those it is said of.

    Examples
    --------
    >>> reasons(Known(False, False))
    ()
    """
    whose: dict[str, list[str]] = {}
    for name, one in known.each:
        for text in reasons(replace(one, contradictions=())):
            whose.setdefault(text, []).append(name)
    if whose:
        everyone = "both cloths" if len(known.each) == 2 else "all cloths"
        named = (
            f"{everyone if len(names) == len(known.each) else ' and '.join(names)}: {text}"
            for text, names in whose.items()
        )
        return (*known.contradictions, *named, *[GARMENT] * known.hung)
    told = list(known.contradictions)
    if known.yarn_assumed:
        told.append("how the yarns are built is assumed, not measured")
    if known.set_assumed:
        told.append("how closely it is woven is assumed, not counted")
    if known.colour_recovered:
        told.append(
            "the dye was recovered from a colour by eye or on a screen, not read as a spectrum"
        )
    if known.off:
        told.append(f"the cloth is shown {known.off:.1f} CIEDE2000 off what it was fitted to")
    if known.colours:
        told.append(f"a yarn's colour is known to {known.colours:.1f} CIEDE2000")
    if known.fitted:
        told.append("what the fit of the cloth left open")
    return (*told, *[GARMENT] * known.hung)


def of_colour(known: Known, left: float) -> Uncertainty:
    """Of one predicted colour.

    Parameters
    ----------
    known : Known
        Of its cloths, from :func:`known_of`.
    left : float
        What is drawn of it leaves open, a standard uncertainty, CIEDE2000.

    Examples
    --------
    >>> of_colour(Known(False, False), 0.0).stated < of_colour(Known(True, False), 3.0).stated
    True
    """
    left *= _widened(known)
    return Uncertainty(MODEL, math.hypot(known.read, left), reasons(known))


def _widened(known: Known) -> float:
    """How much further colours go than draws of their cloths tell."""
    return COLOUR_FITTED if known.fitted else DRAWN


def of_difference(
    delta: float,
    known: Known,
    left: float,
    daylight: bool = True,
    *,
    same_cloth: bool = True,
    same_light: bool = True,
    changed: Collection[str] = (),
) -> Uncertainty:
    """Of a predicted CIEDE2000 ``delta`` between two options.

    Parameters
    ----------
    delta : float
        CIEDE2000, from 0.
    known : Known
        Of all cloths of both options, from :func:`known_of`.
    left : float
        What is drawn of it leaves open, a standard uncertainty, CIEDE2000.
    daylight : bool
        Whether both lights are near that in which colours were given.
    same_cloth, same_light : bool
        Whether both options share them, so that errors of input cancel.
    changed : collection of str
        Which of ``compare.AXES`` differ; none stands for any but the scene.

    Returns
    -------
    Uncertainty
        CIEDE2000.

    Examples
    --------
    >>> measured, assumed = Known(False, False), Known(True, False)
    >>> of_difference(2.0, measured, 0.0).stated < of_difference(8.0, assumed, 2.0).stated
    True
    """
    both = math.sqrt(2.0)
    if not same_cloth:
        left *= _widened(known)  # each errs as a colour by itself does
        return Uncertainty(both * MODEL, math.hypot(both * known.read, left), reasons(known))
    within = math.hypot(MODEL_DIFFERENCE, MODEL_SHARE * delta)
    model = within if same_light else both * MODEL
    if known.all_fitted:
        left *= BENEATH_FITTED if "backing" in changed else 1.0
    else:
        left *= DRAWN
    terms = [MEASURED_SHARE * delta, known.colours_of(changed, delta), left]
    if delta >= NOUGHT:
        terms.append(known.off)  # how much of it two options share is not known
    if known.colour_recovered and not daylight and not same_light:
        terms.append(RECOVERED)  # right in daylight, off in the other light: nothing cancels
    return Uncertainty(model, math.hypot(*terms), reasons(known))
