"""What a fit may change in a cloth, how sure one is of it beforehand, and the cloth that results.

Knows yarns and constructions; knows nothing of light or of what was seen. A parameter vector holds
first the *slow* numbers, which change the geometry or the surface and so cost time, then the
*fast* ones: both yarns' colours, translucency, packing, and two numbers about the photographs.

A yarn's colour is ln(K/S) over wavelength: a starting curve plus a smooth curve through knots.
Beforehand its level is almost free; its finer shape stays about as near to the recovered curve of
that colour as measured surfaces do (see :data:`SHAPE_SPREAD`), which is what tells how uncertain
the colour is in another light.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.recovery import spectrum_from_srgb
from weavecolor.colour.screen import encoded
from weavecolor.colour.spectra import WAVELENGTHS, Spectrum, frozen
from weavecolor.measure.observations import camera_channels, channels_in_light
from weavecolor.optics.kubelka import k_over_s, reflectivity
from weavecolor.textile import construction
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.yarn import RANGES, greatest_packing

Array = NDArray[np.float64]

#: nm; colour is a smooth curve through these.
KNOTS = np.linspace(390.0, 720.0, 12)
#: Bands that a fit works on: every second one.
COARSE = slice(None, None, 2)

SLOW = 3  # logit of warp cover, of weft cover; ln of lustre
_COLOUR = slice(SLOW, SLOW + KNOTS.size), slice(SLOW + KNOTS.size, SLOW + 2 * KNOTS.size)
_REST = SLOW + 2 * KNOTS.size
SCATTER = _REST, _REST + 1  # ln of scattering of warp, weft
PACKING, PAPER, LIGHT = _REST + 2, _REST + 3, _REST + 4
SIZE = _REST + 5

#: Standard deviations beforehand. Cover, logit: 0.5 lies between 0.27 and 0.73. Lustre: within a
#: factor 1.5. Scattering: within a factor 2.2, nearly the same factor for both yarns. Packing:
#: 0.6 to 0.8. All assumed, not sourced.
COVER_SPREAD, COVER_TOGETHER = 1.0, 0.3
LUSTRE_SPREAD = 0.4
SCATTER_SPREAD, SCATTER_TOGETHER = 0.8, 0.8
PACKING_SPREAD = 0.15
#: ln(K/S) level and slow trend of a yarn's colour.
LEVEL_SPREAD, LEVEL_WIDTH_NM = 1.5, 120.0
#: ln(K/S), finer shape: how far the 48 spectra of two published 24-patch charts (colour-science)
#: lie from the curves recovered from their colours: 0.1-0.3 within 410-640 nm, about 1 at the red
#: end, which the eye hardly sees; neighbours 30 nm apart correlate by 0.4.
SHAPE_SPREAD = np.interp(KNOTS, [390, 410, 640, 680, 720], [0.5, 0.25, 0.25, 0.7, 0.9])
SHAPE_WIDTH_NM = 25.0

#: Reflectivity of a yarn stays within these, so that ln(K/S) is finite.
DARKEST, LIGHTEST = 0.003, 0.985
#: Spare room left before jamming where flattening is raised to make a cloth weavable.
_ROOM = 1.03

_MOST_TURNS = RANGES["twist_turns_m"][1]


def _basis() -> Array:
    inside = np.clip(WAVELENGTHS, KNOTS[0], KNOTS[-1])
    return CubicSpline(KNOTS, np.eye(KNOTS.size), bc_type="natural")(inside)


BASIS = _basis()
BASIS.setflags(write=False)


def level_prior() -> Array:
    """Covariance (K, K) of the level and slow trend of ln(K/S) at the knots."""
    return LEVEL_SPREAD**2 * _bell(LEVEL_WIDTH_NM)


def shape_prior() -> Array:
    """Covariance (K, K) of its finer shape."""
    return np.outer(SHAPE_SPREAD, SHAPE_SPREAD) * _bell(SHAPE_WIDTH_NM)


def _bell(width: float) -> Array:
    return np.exp(-0.5 * ((KNOTS[:, None] - KNOTS[None, :]) / width) ** 2)


@lru_cache(maxsize=1)
def prior_covariance() -> Array:
    """Covariance (SIZE, SIZE) beforehand; photograph numbers are in their own standard
    deviations."""
    out = np.eye(SIZE)

    def block(at: tuple[int, int], spread: float, together: float) -> None:
        out[np.ix_(at, at)] = spread**2 * np.array([[1.0, together], [together, 1.0]])

    block((0, 1), COVER_SPREAD, COVER_TOGETHER)
    out[2, 2] = LUSTRE_SPREAD**2
    for part in _COLOUR:
        out[part, part] = level_prior() + shape_prior()
    block(SCATTER, SCATTER_SPREAD, SCATTER_TOGETHER)
    out[PACKING, PACKING] = PACKING_SPREAD**2
    out.setflags(write=False)
    return out


def prior_precision() -> Array:
    """Inverse (SIZE, SIZE) of :func:`prior_covariance`."""
    return np.asarray(np.linalg.inv(prior_covariance()), dtype=np.float64)


def logit(share: ArrayLike) -> Array:
    value = np.clip(np.asarray(share, dtype=np.float64), 1e-3, 1 - 1e-3)
    return np.log(value / (1 - value))


def logistic(value: ArrayLike) -> Array:
    return 1.0 / (1.0 + np.exp(-np.asarray(value, dtype=np.float64)))


def ln_k_over_s(reflectance: ArrayLike) -> Array:
    """ln(K/S) with reflectivity held within :data:`DARKEST` and :data:`LIGHTEST`."""
    return np.log(k_over_s(np.clip(np.asarray(reflectance), DARKEST, LIGHTEST)))


def colour_curve(linear: ArrayLike) -> Spectrum:
    """A recovered reflectance (41,) near a linear sRGB colour, brought into the screen's range."""
    inside = np.clip(np.asarray(linear, dtype=np.float64), 0.002, 0.95)
    return spectrum_from_srgb(np.round(encoded(inside), 4))


@dataclass(frozen=True, eq=False)
class Unknowns:
    """A start cloth and what a parameter vector (SIZE,) makes of it.

    ``curves`` (2, 41): starting ln(K/S) of warp and weft; ``first`` (2, 41): those that the level
    beforehand is centred on. ``measured``: the curves come from spectra, so their finer shape is
    nearer the truth than a recovered one and is kept.
    """

    start: Cloth
    curves: Array
    first: Array
    measured: bool = False

    def prior_mean(self) -> Array:
        """Mean (SIZE,) beforehand."""
        out = np.zeros(SIZE)
        out[:2] = logit(construction.covers(self.start))
        level, both = level_prior(), level_prior() + shape_prior()
        for k, part in enumerate(_COLOUR):
            off = np.interp(KNOTS, WAVELENGTHS, self.first[k] - self.curves[k])
            out[part] = level @ np.linalg.solve(both, off)
        return out

    def ln_ks(self, x: Array, system: int) -> Array:
        """ln(K/S) (41,) of one system."""
        lightest, darkest = float(ln_k_over_s(LIGHTEST)), float(ln_k_over_s(DARKEST))
        curve = self.curves[system] + BASIS @ x[_COLOUR[system]]
        return np.asarray(np.clip(curve, lightest - 1.0, darkest + 1.0))

    def recentred(self, x: Array) -> tuple[Unknowns, Array]:
        """The same with its curves at the recovered curves of the colours now reached, and the
        parameters of the same cloth as nearly as may be. Nothing changes where spectra were
        measured."""
        if self.measured:
            return self, x
        curves, moved = self.curves.copy(), x.copy()
        for k, part in enumerate(_COLOUR):
            now = self.ln_ks(x, k)
            curves[k] = ln_k_over_s(colour_curve(linear_of(reflectivity(np.exp(now)))))
            moved[part] = np.interp(KNOTS, WAVELENGTHS, now - curves[k])
        return replace(self, curves=curves), moved

    def cloth(self, x: Array, name: str | None = None) -> Cloth:
        """The cloth of a parameter vector."""
        shaped = self.shaped(x)
        made = []
        for k, yarn in enumerate((shaped.warp, shaped.weft)):
            colour = np.clip(reflectivity(np.exp(self.ln_ks(x, k))), 0.0, 1.0)
            made.append(
                replace(
                    yarn,
                    colour=frozen(colour),
                    scattering_m2_g=yarn.scattering_m2_g * float(np.exp(x[SCATTER[k]])),
                )
            )
        return replace(shaped, warp=made[0], weft=made[1], name=name or shaped.name)

    def shaped(self, x: Array) -> Cloth:
        """The start cloth with the covers, packing and lustre of ``x``, flattened as far as it must
        be to be weavable; colours and scattering as at the start."""
        packing = float(np.exp(x[PACKING]))
        return _shaped(_Held(self.start), *(float(v) for v in x[:SLOW]), packing)


class _Held:
    """Lets a cache look a cloth up by identity."""

    def __init__(self, cloth: Cloth) -> None:
        self.cloth = cloth

    def __hash__(self) -> int:
        return id(self.cloth)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Held) and self.cloth is other.cloth


@lru_cache(maxsize=256)
def _shaped(held: _Held, warp: float, weft: float, lustre: float, packing: float) -> Cloth:
    start = held.cloth
    setts = start.ends_per_cm, start.picks_per_cm
    widths = [10.0 * float(logistic(u)) / n for u, n in zip((warp, weft), setts, strict=True)]

    def woven(flatter: float) -> Cloth:
        yarns = [
            _of_width(y, w, flatter, packing, lustre)
            for y, w in zip((start.warp, start.weft), widths, strict=True)
        ]
        return replace(start, warp=yarns[0], weft=yarns[1], warp_share=None)

    def spare(flatter: float) -> float:
        # room before jamming: as if set a little closer, which jams as thicker yarn does
        cloth = woven(flatter)
        ends, picks = (n * _ROOM**2 for n in setts)
        tight = replace(cloth, ends_per_cm=ends, picks_per_cm=picks)
        low, high = construction.share_range(tight)
        return high - low

    flatter = 1.0
    if spare(1.0) < 0.0:
        low, high = 1.0, 1.0
        while spare(high) < 0.0 and high < 64.0:
            low, high = high, 1.5 * high
        for _ in range(40):
            flatter = 0.5 * (low + high)
            low, high = (low, flatter) if spare(flatter) >= 0 else (flatter, high)
        flatter = high
    cloth = woven(flatter)
    low, high = construction.share_range(cloth)
    share = construction.natural_share(cloth)
    if start.warp_share is not None:
        share = start.warp_share
    cloth = replace(cloth, warp_share=min(max(share, low), high))
    ends, picks = construction.predicted_crimps(cloth)
    return replace(cloth, warp_crimp=ends, weft_crimp=picks)


def _of_width(yarn: Yarn, width: float, flatter: float, packing: float, lustre: float) -> Yarn:
    """``yarn`` made ``width`` mm wide of filaments as fine as they were, with its linear density
    to match; no finer than any yarn."""
    flattening = yarn.flattening * flatter
    share = min(yarn.packing * packing, 0.98)
    area_cm2 = np.pi / 4.0 * (width / flattening**0.5 / 10.0) ** 2
    tex_full = area_cm2 * yarn.fibre.density_g_cm3 * 1e5
    filaments = yarn.filaments
    if filaments > 1:
        filaments = int(np.clip(round(10.0 * tex_full * share / yarn.fineness_dtex), 2, 20_000))
    share = min(share, greatest_packing(1 if yarn.gum else filaments))
    tex = max(float(tex_full * share), RANGES["tex"][0])
    return replace(
        yarn,
        tex=tex,
        filaments=filaments,
        # the outer filaments lie as steep as they did
        twist_turns_m=min(yarn.twist_turns_m * float(np.sqrt(yarn.tex / tex)), _MOST_TURNS),
        packing=share,
        flattening=flattening,
        lustre_deg=float(np.clip(yarn.lustre_deg * np.exp(lustre), 0.5, 60.0)),
    )


def areal_mass(yarn: Yarn) -> float:
    """g/m2 of the yarn itself, linear density over width."""
    return yarn.tex / yarn.width_mm


def linear_of(reflectance: ArrayLike) -> Array:
    """Linear sRGB (3,) of a reflectance (41,) in daylight."""
    lit = channels_in_light(camera_channels(), light_spectrum("daylight"))
    return np.asarray(lit @ np.asarray(reflectance))
