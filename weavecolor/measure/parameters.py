"""How sure one is of a cloth before it is fitted, in the numbers of ``optics.fitted``.

Knows yarns and constructions; knows nothing of light or of what was seen. Beforehand the level of a
dye is almost free; its finer shape stays about as near to the recovered
curve of that colour as measured surfaces do (see :data:`SHAPE_SPREAD`), which is what tells how
uncertain the colour is in another light.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.recovery import spectrum_from_srgb
from weavecolor.colour.screen import camera_channels, channels_in_light, encoded
from weavecolor.colour.spectra import WAVELENGTHS, Spectrum
from weavecolor.errors import InputError
from weavecolor.optics.dye import absorption_of_wound
from weavecolor.optics.fitted import (
    COARSE,
    COLOUR,
    DULLER,
    FLATTER,
    KNOTS,
    LAMP,
    LIGHT,
    PACKING,
    PAPER,
    SIZE,
    SLOW,
    Varied,
    basis,
    left_open,
    ln_dyes,
    logit,
    middle,
)
from weavecolor.textile import construction
from weavecolor.textile.cloth import Cloth, Yarn

Array = NDArray[np.float64]

BASIS = basis()
#: Standard deviations beforehand. Cover, logit: 0.5 lies between 0.27 and 0.73. Flattening, packing
#: and dullness: about what :mod:`weavecolor.textile.usual` allows a sort of yarn. Assumed, not
#: sourced.
COVER_SPREAD, COVER_TOGETHER = 1.0, 0.3
FLATTER_SPREAD, PACKING_SPREAD, DULLER_SPREAD = 0.25, 0.1, 0.5
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
    for part in COLOUR:
        out[part, part] = level_prior() + shape_prior()
    out.setflags(write=False)
    return out


def ln_dye(reflectance: ArrayLike, yarn: Yarn) -> Array:
    """ln of absorption of wound ``yarn`` that reflects so, held within what thread can show."""
    told = np.clip(np.asarray(reflectance, dtype=np.float64), DARKEST, LIGHTEST)
    return np.log(np.maximum(absorption_of_wound(told, yarn), 1e-6))


def colour_curve(linear: ArrayLike) -> Spectrum:
    """A recovered reflectance (41,) near a linear sRGB colour, brought into the screen's range."""
    inside = np.clip(np.asarray(linear, dtype=np.float64), 0.002, 0.95)
    return spectrum_from_srgb(np.round(encoded(inside), 4))


@dataclass(frozen=True, eq=False)
class Unknowns(Varied):
    """As ``Varied``, and what is known beforehand. ``first`` (2, 41): curves that the level
    beforehand is centred on. ``measured``: the curves come from spectra, so their finer shape
    is nearer the truth than a recovered one and is kept. ``learnt`` (SIZE, SIZE): the covariance
    that an earlier fit of ``start`` left, where there was one.
    """

    first: Array
    measured: bool = False
    learnt: Array | None = None

    @classmethod
    def again(cls, start: Cloth) -> Unknowns:
        """A cloth fitted before, as where the next reading begins; InputError where the file does
        not keep what its fit left open."""
        root = left_open(start)
        if root is None:
            raise InputError(
                "its file does not keep what a fit left open; measure the cloth (weavecolor "
                "measure photos), then correct it", field=start.name,
            )  # fmt: skip
        learnt = np.eye(SIZE)  # paper and light were of those photographs
        learnt[: len(root), : len(root)] = root @ root.T
        learnt[LAMP, :] = learnt[:, LAMP] = np.eye(SIZE)[LAMP]  # and so was the lamp
        curves = ln_dyes(start)
        return cls(replace(start, warp_share=None), curves, curves, True, learnt)

    def covariance(self) -> Array:
        """Covariance (SIZE, SIZE) beforehand."""
        return prior_covariance() if self.learnt is None else self.learnt

    def prior_mean(self) -> Array:
        """Mean (SIZE,) beforehand."""
        if self.learnt is not None:
            return middle(self.start)
        out = np.zeros(SIZE)
        out[:2] = logit(construction.covers(self.start))
        level, both = level_prior(), level_prior() + shape_prior()
        for k, part in enumerate(COLOUR):
            off = np.interp(KNOTS, WAVELENGTHS, self.first[k] - self.curves[k])
            out[part] = level @ np.linalg.solve(both, off)
        return out

    def recentred(self, x: Array) -> tuple[Unknowns, Array]:
        """The same with its curves at the recovered curves of the colours now reached, and the
        parameters of the same cloth as nearly as may be. Nothing changes where spectra were
        measured."""
        if self.measured:
            return self, x
        curves = self.curves.copy()
        cloth = self.shaped(x)
        for k, yarn in enumerate((cloth.warp, cloth.weft)):
            reached = ln_dye(colour_curve(linear_of(self.wound(x, k))), yarn)
            curves[k] = reached + self.ln_dye(x, k) - np.log(self.absorption(x, k))
        there = replace(self, curves=curves)
        return there, there.same(self, x)

    def same(self, other: Unknowns, x: Array) -> Array:
        """The parameters (SIZE,), as nearly as may be, of the cloth that has ``x`` in another."""
        moved = x.copy()
        for k, part in enumerate(COLOUR):
            moved[part] = np.interp(KNOTS, WAVELENGTHS, other.ln_dye(x, k) - self.curves[k])
        return moved


def linear_of(reflectance: ArrayLike) -> Array:
    """Linear sRGB (3,) of a reflectance (41,) in daylight."""
    lit = channels_in_light(camera_channels(), light_spectrum("daylight"))
    return np.asarray(lit @ np.asarray(reflectance))


__all__ = [
    "BASIS", "COARSE", "KNOTS", "LAMP", "LIGHT", "PAPER", "SIZE", "SLOW", "DULLER", "FLATTER",
    "PACKING", "Unknowns", "colour_curve", "level_prior", "linear_of", "ln_dye", "logit",
    "prior_covariance", "shape_prior",
]  # fmt: skip
