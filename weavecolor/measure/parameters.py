"""What a fit may change in a cloth, how sure one is of it beforehand, and the cloth that results.

Knows yarns and constructions; knows nothing of light or of what was seen. A parameter vector holds
first the *slow* numbers, which change the geometry and so cost time, then the *fast* ones: both
yarns' dyes, and two numbers about the photographs.

A dye is ln of absorption, 1/mm, over wavelength: a starting curve plus a smooth curve through
knots. Beforehand its level is almost free; its finer shape stays about as near to the recovered
curve of that colour as measured surfaces do (see :data:`SHAPE_SPREAD`), which is what tells how
uncertain the colour is in another light.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.recovery import spectrum_from_srgb
from weavecolor.colour.screen import encoded
from weavecolor.colour.spectra import WAVELENGTHS, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.measure.observations import camera_channels, channels_in_light
from weavecolor.optics.dye import absorption, absorption_of_wound, wound_colour
from weavecolor.textile import construction
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.yarn import RANGES, greatest_packing

Array = NDArray[np.float64]

#: nm; colour is a smooth curve through these.
KNOTS = np.linspace(390.0, 720.0, 12)
#: Bands that a fit works on: every second one.
COARSE = slice(None, None, 2)

#: The slow numbers: logit of warp cover, of weft cover; ln of how much flatter, how much denser
#: and how much duller both yarns are than they were taken for; and of the photographs, how far
#: from its place the lamp stood, in standard deviations.
SLOW = 6
FLATTER, PACKING, DULLER, LAMP = 2, 3, 4, 5
_COLOUR = slice(SLOW, SLOW + KNOTS.size), slice(SLOW + KNOTS.size, SLOW + 2 * KNOTS.size)
_REST = SLOW + 2 * KNOTS.size
PAPER, LIGHT = _REST, _REST + 1
SIZE = _REST + 2

#: Standard deviations beforehand. Cover, logit: 0.5 lies between 0.27 and 0.73. Flattening, packing
#: and dullness: about what :mod:`weavecolor.textile.usual` allows a sort of yarn. Assumed, not
#: sourced.
COVER_SPREAD, COVER_TOGETHER = 1.0, 0.3
FLATTER_SPREAD, PACKING_SPREAD, DULLER_SPREAD = 0.25, 0.1, 0.5
#: 1/mm that even a bright fibre may scatter, by which dullness is counted in factors.
BRIGHT = 0.3
#: ln(absorption), level and slow trend.
LEVEL_SPREAD, LEVEL_WIDTH_NM = 1.5, 120.0
#: ln(absorption), finer shape: how far ln(K/S), which goes with it, of the 48 spectra of two
#: published 24-patch charts (colour-science) lies from the curves recovered from their colours:
#: 0.1-0.3 within 410-640 nm, about 1 at the red end, which the eye hardly sees; neighbours 30 nm
#: apart correlate by 0.4.
SHAPE_SPREAD = np.interp(KNOTS, [390, 410, 640, 680, 720], [0.5, 0.25, 0.25, 0.7, 0.9])
SHAPE_WIDTH_NM = 25.0

#: Reflectance of wound thread that a search starts from stays within these.
DARKEST, LIGHTEST = 0.03, 0.93
#: ln of absorption, 1/mm, stays within these.
_CLEAREST, _DEEPEST = -4.0, 8.0
#: Slow numbers beyond these make no other cloth.
_FARTHEST = (-3.0, -3.0, -1.0, -0.5, -2.5), (3.5, 3.5, 1.5, 0.5, 2.5)
#: Logarithms within which flattening and packing bend before their limits.
_ROUND, _DENSE = 0.1, 0.03
#: Spare room left before jamming where flattening is raised to make a cloth weavable.
_ROOM = 1.03


def _basis() -> Array:
    inside = np.clip(WAVELENGTHS, KNOTS[0], KNOTS[-1])
    return CubicSpline(KNOTS, np.eye(KNOTS.size), bc_type="natural")(inside)


BASIS = _basis()
BASIS.setflags(write=False)


def level_prior() -> Array:
    """Covariance (K, K) of the level and slow trend of ln(absorption) at the knots."""
    return LEVEL_SPREAD**2 * _bell(LEVEL_WIDTH_NM)


def shape_prior() -> Array:
    """Covariance (K, K) of its finer shape."""
    return np.outer(SHAPE_SPREAD, SHAPE_SPREAD) * _bell(SHAPE_WIDTH_NM)


def _bell(width: float) -> Array:
    return np.exp(-0.5 * ((KNOTS[:, None] - KNOTS[None, :]) / width) ** 2)


@lru_cache(maxsize=1)
def prior_covariance() -> Array:
    """Covariance (SIZE, SIZE) beforehand; photograph numbers (LAMP, PAPER, LIGHT) are in their own
    standard deviations."""
    out = np.eye(SIZE)

    def block(at: tuple[int, int], spread: float, together: float) -> None:
        out[np.ix_(at, at)] = spread**2 * np.array([[1.0, together], [together, 1.0]])

    block((0, 1), COVER_SPREAD, COVER_TOGETHER)
    out[FLATTER, FLATTER] = FLATTER_SPREAD**2
    out[PACKING, PACKING] = PACKING_SPREAD**2
    out[DULLER, DULLER] = DULLER_SPREAD**2
    for part in _COLOUR:
        out[part, part] = level_prior() + shape_prior()
    out.setflags(write=False)
    return out


def logit(share: ArrayLike) -> Array:
    value = np.clip(np.asarray(share, dtype=np.float64), 1e-3, 1 - 1e-3)
    return np.log(value / (1 - value))


def logistic(value: ArrayLike) -> Array:
    return 1.0 / (1.0 + np.exp(-np.asarray(value, dtype=np.float64)))


def ln_dye(reflectance: ArrayLike, yarn: Yarn) -> Array:
    """ln of absorption of wound ``yarn`` that reflects so, held within what thread can show."""
    told = np.clip(np.asarray(reflectance, dtype=np.float64), DARKEST, LIGHTEST)
    return np.log(np.maximum(absorption_of_wound(told, yarn), 1e-6))


def colour_curve(linear: ArrayLike) -> Spectrum:
    """A recovered reflectance (41,) near a linear sRGB colour, brought into the screen's range."""
    inside = np.clip(np.asarray(linear, dtype=np.float64), 0.002, 0.95)
    return spectrum_from_srgb(np.round(encoded(inside), 4))


@dataclass(frozen=True, eq=False)
class Unknowns:
    """A start cloth and what a parameter vector (SIZE,) makes of it.

    ``curves`` (2, 41): starting ln(absorption) of warp and weft; ``first`` (2, 41): those that the
    level beforehand is centred on. ``measured``: the curves come from spectra, so their finer shape
    is nearer the truth than a recovered one and is kept. ``learnt`` (SIZE, SIZE): the covariance
    that an earlier fit of ``start`` left, where there was one.
    """

    start: Cloth
    curves: Array
    first: Array
    measured: bool = False
    learnt: Array | None = None

    @classmethod
    def again(cls, start: Cloth) -> Unknowns:
        """A cloth fitted before, as where the next reading begins; InputError where the file does
        not keep what its fit left open."""
        count = SIZE - 2  # paper and light were of those photographs
        root = dict(start.known).get("foretold", HowKnown.fitted()).root
        if len(root) != count * (count + 1) // 2:
            raise InputError(
                "its file does not keep what a fit left open; measure the cloth (weavecolor "
                "measure photos), then correct it", field=start.name,
            )  # fmt: skip
        lower = np.zeros((count, count))
        lower[np.tril_indices(count)] = root
        learnt = np.eye(SIZE)
        learnt[:count, :count] = lower @ lower.T
        learnt[LAMP, :] = learnt[:, LAMP] = np.eye(SIZE)[LAMP]  # and so was the lamp
        yarns = (start.warp, start.weft)
        curves = np.array([np.log(np.maximum(absorption(y), 1e-6)) for y in yarns])
        return cls(replace(start, warp_share=None), curves, curves, True, learnt)

    def covariance(self) -> Array:
        """Covariance (SIZE, SIZE) beforehand."""
        return prior_covariance() if self.learnt is None else self.learnt

    def prior_mean(self) -> Array:
        """Mean (SIZE,) beforehand."""
        out = np.zeros(SIZE)
        out[:2] = logit(construction.covers(self.start))
        if self.learnt is not None:
            out[[FLATTER, PACKING]] = _as_it_is(self.start.warp)
            return out
        level, both = level_prior(), level_prior() + shape_prior()
        for k, part in enumerate(_COLOUR):
            off = np.interp(KNOTS, WAVELENGTHS, self.first[k] - self.curves[k])
            out[part] = level @ np.linalg.solve(both, off)
        return out

    def ln_dye(self, x: Array, system: int) -> Array:
        """ln(absorption) (41,) of one system, were its fibre as thick as at the start."""
        curve = self.curves[system] + BASIS @ x[_COLOUR[system]]
        return np.asarray(np.clip(curve, _CLEAREST, _DEEPEST))

    def absorption(self, x: Array, system: int) -> Array:
        """Absorption (41,), 1/mm, of one system: weaker in thicker fibre, which looks the same."""
        cloth = self.shaped(x)
        now, began = ((c.warp, c.weft)[system] for c in (cloth, self.start))
        # filaments stay as fine as they were, but for their whole number
        thicker = now.rod_diameter_mm / began.rod_diameter_mm if now.rods == 1 else 1.0
        return np.asarray(np.exp(self.ln_dye(x, system)) / thicker)

    def wound(self, x: Array, system: int) -> Array:
        """Reflectance (41,) of closely wound thread of one system."""
        cloth = self.shaped(x)
        yarn = (cloth.warp, cloth.weft)[system]
        return np.clip(wound_colour(self.absorption(x, system), yarn), 0.0, 1.0)

    def recentred(self, x: Array) -> tuple[Unknowns, Array]:
        """The same with its curves at the recovered curves of the colours now reached, and the
        parameters of the same cloth as nearly as may be. Nothing changes where spectra were
        measured."""
        if self.measured:
            return self, x
        curves, moved = self.curves.copy(), x.copy()
        cloth = self.shaped(x)
        for k, part in enumerate(_COLOUR):
            yarn = (cloth.warp, cloth.weft)[k]
            reached = ln_dye(colour_curve(linear_of(self.wound(x, k))), yarn)
            curves[k] = reached + self.ln_dye(x, k) - np.log(self.absorption(x, k))
            moved[part] = np.interp(KNOTS, WAVELENGTHS, self.ln_dye(x, k) - curves[k])
        return replace(self, curves=curves), moved

    def cloth(self, x: Array, name: str | None = None) -> Cloth:
        """The cloth of a parameter vector."""
        shaped = self.shaped(x)
        warp, weft = (
            replace(
                yarn,
                colour=frozen(self.wound(x, k)),
                absorption=frozen(self.absorption(x, k)),
            )
            for k, yarn in enumerate((shaped.warp, shaped.weft))
        )
        return replace(shaped, warp=warp, weft=weft, name=name or shaped.name)

    def shaped(self, x: Array) -> Cloth:
        """The start cloth with the slow numbers of ``x``, flattened as far as it must be to be
        weavable; colours as at the start."""
        return _shaped(_Held(self.start), *(float(v) for v in np.clip(x[:LAMP], *_FARTHEST)))


class _Held:
    """Lets a cache look a cloth up by identity."""

    def __init__(self, cloth: Cloth) -> None:
        self.cloth = cloth

    def __hash__(self) -> int:
        return id(self.cloth)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Held) and self.cloth is other.cloth


@lru_cache(maxsize=256)
def _shaped(
    held: _Held, warp: float, weft: float, flatter: float, denser: float, duller: float
) -> Cloth:
    start = held.cloth
    setts = start.ends_per_cm, start.picks_per_cm
    widths = [10.0 * float(logistic(u)) / n for u, n in zip((warp, weft), setts, strict=True)]

    def woven(more: float) -> Cloth:
        yarns = [
            _of_width(y, w, math.exp(flatter) * more, math.exp(denser), math.exp(duller))
            for y, w in zip((start.warp, start.weft), widths, strict=True)
        ]
        return replace(start, warp=yarns[0], weft=yarns[1], warp_share=None)

    def spare(more: float) -> float:
        # room before jamming: as if set a little closer, which jams as thicker yarn does
        cloth = woven(more)
        ends, picks = (n * _ROOM**2 for n in setts)
        tight = replace(cloth, ends_per_cm=ends, picks_per_cm=picks)
        low, high = construction.share_range(tight)
        return high - low

    more = high = 1.0
    while spare(high) < 0.0 and high < 64.0:
        high *= 1.5
    if high > 1.0:
        # the room below is far wider than what is missed here
        more = float(brentq(spare, high / 1.5, high, xtol=1e-6)) if spare(high) >= 0.0 else high
    cloth = woven(more)
    low, high = construction.share_range(cloth)
    share = construction.natural_share(cloth)
    if start.warp_share is not None:
        share = start.warp_share
    cloth = replace(cloth, warp_share=min(max(share, low), high))
    ends, picks = construction.predicted_crimps(cloth)
    return replace(cloth, warp_crimp=ends, weft_crimp=picks)


def _of_width(yarn: Yarn, width: float, flatter: float, denser: float, duller: float) -> Yarn:
    """``yarn`` made ``width`` mm wide of filaments as fine as they were, with its linear density
    to match."""
    # limits are bent smoothly: one that a search could sit on would hide its doubt
    flattening = math.exp(_at_least(math.log(yarn.flattening * flatter), 0.0, _ROUND))
    flattening = min(flattening, RANGES["flattening"][1])
    area_cm2 = math.pi / 4.0 * (width / flattening**0.5 / 10.0) ** 2

    def tex(share: float) -> float:
        low, high, _ = RANGES["tex"]
        return float(min(max(area_cm2 * yarn.fibre.density_g_cm3 * share * 1e5, low), high))

    share, most_turns = yarn.packing * denser, RANGES["twist_turns_m"][1]
    filaments = yarn.filaments
    if filaments > 1:
        # never fewer than a filament's own width allows: one rod is another sort of yarn
        filaments = min(max(round(10.0 * tex(share) / yarn.fineness_dtex), 2), 20_000)
    most = math.log(greatest_packing(1 if yarn.gum else filaments))
    share = math.exp(most - _at_least(most - math.log(share), 0.0, _DENSE))
    return replace(
        yarn,
        tex=tex(share),
        filaments=filaments,
        # the outer filaments lie as steep as they did
        twist_turns_m=min(yarn.twist_turns_m * math.sqrt(yarn.tex / tex(share)), most_turns),
        packing=share,
        flattening=flattening,
        dull_per_mm=min(max((yarn.dull_per_mm + BRIGHT) * duller - BRIGHT, 0.0), 100.0),
    )


def _at_least(value: float, limit: float, bend: float) -> float:
    """``value``, smoothly kept above ``limit`` from about ``bend`` beside it."""
    over = (value - limit) / bend
    return limit + bend * (max(over, 0.0) + math.log1p(math.exp(-abs(over))))


def _as_it_is(yarn: Yarn) -> tuple[float, float]:
    """How much flatter and denser leaves a yarn as flat and dense as it is: the bends undone."""

    def before(kept: float, bend: float) -> float:
        kept = max(kept, 0.05 * bend)
        return bend * math.log(math.expm1(kept / bend)) - kept

    most = np.log(greatest_packing(1 if yarn.gum else yarn.filaments))
    return (
        before(float(np.log(yarn.flattening)), _ROUND),
        -before(float(most - np.log(yarn.packing)), _DENSE),
    )


def linear_of(reflectance: ArrayLike) -> Array:
    """Linear sRGB (3,) of a reflectance (41,) in daylight."""
    lit = channels_in_light(camera_channels(), light_spectrum("daylight"))
    return np.asarray(lit @ np.asarray(reflectance))
