"""The dye of a yarn: absorption inside its fibre, from what is known, and back.

Knows closely wound thread, and the fibre under it; knows nothing of weave or of places. Absorption
sigma is per wavelength, 1/mm, of natural logarithms: light that goes L mm inside the fibre keeps
exp(-sigma L).

Wound thread is a deep bed of clear rods, round or not, in even light. Its surfaces send back R_s
before anything is dyed, the rest r = (R - R_s)/(1 - R_s) went through fibre, and y = -ln r grows
with the product of sigma and the rods' diameter. The formula was fitted to beds traced ray by ray
(tests/reference/wound_thread.py).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.spectra import BANDS, WAVELENGTHS, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.textile.yarn import Yarn

Array = NDArray[np.float64]

#: Share of a bed of closely wound single rods that is fibre: between a square heap and the densest.
ROD_BED = 0.85
#: Below this r (beyond the surface's share) wound thread no longer tells how dark the dye is.
DARKEST_TOLD = 0.015
#: What is taken as r where the thread is darker than that; anything darker looks alike.
DARKEST = 0.004

# ln(sigma d) - 2 ln y by 1, u, u^2, u^3, a, b, a u, b u, a^2, b^2, a b with u = y / (2 + y),
# a = index - 1.55, b = packing - 0.65: least squares over 30 traced beds of index 1.47 to 1.72 and
# packing 0.4 to 0.88 and the 28 hanks of the tests; 2 and 3 % rms, 4 % where a hank is left out.
_FORM = (-2.9836, -0.2231, 1.9195, -1.7463, 2.083, -1.0116, -1.2163, 0.8634, -1.6276, -0.0366,
         0.0803)  # fmt: skip
# What dull fibre does to that, by y (columns) and by scattering times diameter (rows): even a
# little scattering throws light into ways that stay in the fibre, where it meets more dye.
_DULL_Y = (0.1, 0.15, 0.25, 0.4, 0.6, 0.9, 1.3, 1.8, 2.5, 3.3, 4.2)
_DULL = (0.0, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0)
_DULL_LN = (
    (0.0,) * 11,
    (-0.70, -0.63, -0.36, -0.15, -0.06, -0.02, -0.01, 0.0, 0.0, 0.0, 0.0),
    (-0.81, -0.79, -0.66, -0.44, -0.23, -0.10, -0.05, -0.02, 0.0, 0.01, 0.02),
    (-0.82, -0.81, -0.76, -0.65, -0.47, -0.26, -0.11, -0.04, 0.0, 0.02, 0.02),
    (-0.66, -0.65, -0.64, -0.60, -0.54, -0.41, -0.23, -0.09, 0.02, 0.07, 0.12),
    (-0.33, -0.32, -0.32, -0.32, -0.30, -0.26, -0.18, -0.06, 0.09, 0.20, 0.29),
    (0.36, 0.36, 0.36, 0.36, 0.36, 0.36, 0.39, 0.46, 0.59, 0.76, 0.94),
)
# What a section that is not round does to it: by y, for ratios of the circles about it and in it,
# and by how much more a step of a and of b (beds of index 1.47 to 1.65 and packing 0.45 to 0.75,
# whose rods lie any way, against round ones driven about as they; 4 to 7 % rms). In a circle light
# goes out at the angle it came in at, and what is led round stays so for ever: corners change that.
# Dull fibre changes it as well: of what that does, half is left where there are corners (beds of
# ratio 1.2 and 1.4; 11 % rms).
_SECTIONS = (1.0, 1.05, 1.1, 1.2, 1.35, 1.6)
_CORNERS = 1.2  # from here on a section counts as one with corners
_SECTION_Y = (0.1, 0.2, 0.4, 0.7, 1.0, 1.5, 2.0, 3.0)
_SECTION_LN = (
    (0.0,) * 8,
    (-0.076, -0.079, -0.081, -0.079, -0.078, -0.079, -0.082, -0.091),
    (0.043, 0.045, 0.044, 0.045, 0.044, 0.037, 0.024, -0.007),
    (0.373, 0.371, 0.373, 0.378, 0.372, 0.338, 0.288, 0.182),
    (0.591, 0.593, 0.594, 0.590, 0.571, 0.514, 0.442, 0.303),
    (0.560, 0.569, 0.583, 0.600, 0.603, 0.577, 0.525, 0.394),
)
_SECTION_BY = (0.0, -0.50, -0.95, -0.70, -0.10, -0.26), (0.0, 0.0, 0.10, 0.20, 0.26, 0.24)


#: Steps of y that wound thread is looked up between, and how often they are halved then.
_STEPS = np.concatenate([[0.0], np.geomspace(1e-6, 30.0, 400)])
_HALVINGS = 10


def surface_share(index: float, packing: float) -> float:
    """Reflectance R_s of wound thread dyed black through and through; traced within 0.005.

    Examples
    --------
    >>> round(surface_share(1.55, 0.85), 3)
    0.06
    """
    return (index - 1.0) * (0.0527 + 0.0655 * packing)


def optical_depth(
    y: ArrayLike, index: float, packing: float, dull: float = 0.0, section: float = 1.0
) -> Array:
    """sigma times rod diameter at which wound thread has -ln r = ``y`` >= 0.

    ``index`` 1.4 to 1.8 and ``packing`` 0.35 to 0.95 (beyond, the nearest is taken); ``dull``:
    scattering inside the fibre times rod diameter, 0 to 1; ``section`` of the rods as in
    :class:`weavecolor.textile.yarn.Yarn`, of whose area the diameter is.

    Examples
    --------
    >>> optical_depth([0.0, 1.0], 1.55, 0.65).round(3).tolist()
    [0.0, 0.055]
    """
    v = np.asarray(y, dtype=np.float64)
    a, b = np.clip(index, 1.4, 1.8) - 1.55, np.clip(packing, 0.35, 0.95) - 0.65
    u = v / (2.0 + v)
    k = _FORM
    ln = k[0] + u * (k[1] + u * (k[2] + u * k[3]))
    ln = ln + a * (k[4] + k[6] * u + k[8] * a) + b * (k[5] + k[7] * u + k[9] * b) + k[10] * a * b
    corners = min((section - 1.0) / (_CORNERS - 1.0), 1.0)
    ln = ln + (1.0 - 0.5 * corners) * _dulled(v, dull) + _lobed(v, a, b, section)
    return np.asarray(v * v * np.exp(ln))


def _lobed(y: Array, a: float, b: float, section: float) -> Array:
    """ln of what a ``section`` does to sigma of thread that looks the same."""
    if section <= 1.0:
        return np.zeros_like(y)
    by_a, by_b = (np.interp(section, _SECTIONS, by) for by in _SECTION_BY)
    place = np.interp(section, _SECTIONS, np.arange(len(_SECTIONS)))
    return _between(place, y, _SECTION_Y, _SECTION_LN) + a * by_a + b * by_b


def _between(place: float, y: Array, at: Sequence[float], rows: Sequence[Sequence[float]]) -> Array:
    """A table by ``y`` (columns, ``at``) so many ``rows`` down."""
    low = min(int(place), len(rows) - 2)
    one, two = (np.interp(y, at, rows[low + step]) for step in (0, 1))
    return np.asarray(one + (two - one) * (place - low))


def _dulled(y: Array, dull: float) -> Array:
    """ln of what dull fibre does to sigma of thread that looks the same."""
    if dull <= 0.0:
        return np.zeros_like(y)
    # even steps of ln from row to row; from bright to the first, even steps
    place = np.interp(np.log(dull), np.log(_DULL[1:]), np.arange(1.0, len(_DULL)))
    if dull < _DULL[1]:
        place = np.float64(dull / _DULL[1])
    return _between(place, y, _DULL_Y, _DULL_LN)


def depth_of_wound(
    reflectance: ArrayLike,
    index: float,
    packing: float,
    dull: float = 0.0,
    section: float = 1.0,
) -> Array:
    """sigma times rod diameter of wound thread that reflects ``reflectance``, 0-1.

    ``index``, ``packing``, ``dull`` and ``section`` as in :func:`optical_depth`. Where the thread
    is too dark to tell, :data:`DARKEST` is taken.

    Examples
    --------
    >>> round(float(depth_of_wound(0.41, 1.6, 0.85)), 3)  # traced: 0.050
    0.051
    """
    surface = surface_share(index, packing)
    r = (np.asarray(reflectance, dtype=np.float64) - surface) / (1.0 - surface)
    return optical_depth(-np.log(np.clip(r, DARKEST, 1.0)), index, packing, dull, section)


def wound_of_depth(
    depth: ArrayLike, index: float, packing: float, dull: float = 0.0, section: float = 1.0
) -> Array:
    """Reflectance of closely wound thread whose sigma times rod diameter is ``depth`` >= 0.

    ``index``, ``packing``, ``dull`` and ``section`` as in :func:`optical_depth`, which this turns
    round.

    Examples
    --------
    >>> round(float(wound_of_depth(depth_of_wound(0.3, 1.55, 0.6), 1.55, 0.6)), 9)
    0.3
    """
    target = np.asarray(depth, dtype=np.float64)
    thread = index, packing, dull, section
    told = optical_depth(_STEPS, *thread)  # rises
    at = np.clip(np.searchsorted(told, target) - 1, 0, _STEPS.size - 2)
    low, high = _STEPS[at], _STEPS[at + 1]
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        deeper = optical_depth(middle, *thread) > target
        low, high = np.where(deeper, low, middle), np.where(deeper, middle, high)
    below, above = (optical_depth(y, *thread) for y in (low, high))
    # the rest of the way is straight
    share = np.clip((target - below) / np.maximum(above - below, 1e-300), 0.0, 1.0)
    y = low + share * (high - low)
    surface = surface_share(index, packing)
    return np.asarray(surface + (1.0 - surface) * np.exp(-y))


def bed_packing(yarn: Yarn) -> float:
    """Packing of closely wound thread of ``yarn``: the yarn's own, or that of wound rods.

    Examples
    --------
    >>> bed_packing(organza.warp) in (ROD_BED, organza.warp.packing)
    True
    """
    return ROD_BED if yarn.rods == 1 else yarn.packing


def absorption_of_wound(reflectance: ArrayLike, yarn: Yarn) -> Array:
    """Absorption inside the fibre, 1/mm, of thread that reflects ``reflectance`` when wound.

    Examples
    --------
    >>> bool(absorption_of_wound(0.2, organza.warp) > absorption_of_wound(0.4, organza.warp))
    True
    """
    depth = depth_of_wound(reflectance, yarn.fibre.index, bed_packing(yarn), *_lies(yarn))
    return np.asarray(depth / yarn.rod_diameter_mm)


def wound_colour(absorption: ArrayLike, yarn: Yarn) -> Array:
    """Reflectance of closely wound ``yarn`` with ``absorption``, 1/mm; its dye is not looked at.

    Examples
    --------
    >>> round(float(wound_colour(absorption_of_wound(0.4, organza.warp), organza.warp)), 6)
    0.4
    """
    depth = np.asarray(absorption, dtype=np.float64) * yarn.rod_diameter_mm
    return wound_of_depth(depth, yarn.fibre.index, bed_packing(yarn), *_lies(yarn))


def _lies(yarn: Yarn) -> tuple[float, float]:
    """Dullness and section of a yarn as the formula asks for them."""
    return yarn.dull_per_mm * yarn.rod_diameter_mm, yarn.section if yarn.rods > 1 else 1.0


def absorption(yarn: Yarn) -> Spectrum:
    """The dye of ``yarn``, (41,), 1/mm: as given, or from the colour of its wound thread.

    Examples
    --------
    >>> absorption(organza.weft).shape
    (41,)
    """
    if yarn.absorption is not None:
        return yarn.absorption
    return frozen(absorption_of_wound(yarn.colour, yarn))


#: Standard error of ln sigma from the formula itself: 4 % where it was not fitted, and as much by
#: how the thread lies (beds driven about until they had forgotten their rows ask for 6 % more dye
#: on average); and of what is read on wound thread: a share of the reading, and an even part.
FORMULA_ERROR = 0.06
READING_SHARE, READING_EVEN = 0.01, 0.004
#: Standard errors of what the formula is told: mean index of the fibre, packing of the bed, and
#: the ratio of the circles about a section that is not round and in it.
INDEX_ERROR, BED_ERROR, SECTION_ERROR = 0.012, 0.05, 0.1
#: Standard error of ln sigma where wound thread is too dark to tell.
UNTOLD = 0.8
#: Share, as a standard error, of the way from perfect rods to slightly dull ones: no fibre is a
#: perfect cylinder, and in pale thread light that is thrown off its way meets more dye.
UNEVEN = 0.35


@dataclass(frozen=True, eq=False)
class Dye:
    """A yarn's dye and how it is known.

    ``absorption`` (41,), 1/mm; ``spread`` (41,): standard error of its natural logarithm, so that
    0.1 is a tenth more or less; ``less`` (41,): that towards less dye, where it is another, as of
    pale thread, which may hold next to none; ``way``: what it was found from; ``notes``: what could
    not be told.
    """

    absorption: Spectrum
    spread: Spectrum
    way: str
    notes: tuple[str, ...] = ()
    less: Spectrum | None = None

    @property
    def sides(self) -> Array:
        """Standard errors (2, 41) towards less dye, and towards more."""
        return np.array([self.spread if self.less is None else self.less, self.spread])

    def __post_init__(self) -> None:
        for what in (self.absorption, *self.sides):
            if what.shape != (BANDS,) or not np.all(np.isfinite(what)) or np.any(what < 0.0):
                raise InputError(f"a dye has {BANDS} bands, each zero or more")

    def on(self, yarn: Yarn) -> Yarn:
        """``yarn`` dyed so; its colour becomes that of its wound thread."""
        return replace(
            yarn,
            absorption=self.absorption,
            colour=frozen(np.clip(wound_colour(self.absorption, yarn), 0.0, 1.0)),
        )


def from_wound(reflectance: ArrayLike, yarn: Yarn, reading: ArrayLike | None = None) -> Dye:
    """The dye of thread of ``yarn`` whose closely wound hank reflects ``reflectance`` (41,), 0-1.

    ``reading``: standard error of the reflectance (41,) or one number; a hundredth of it and 0.004
    are taken where none is given. Raises InputError unless there are 41 values from 0 to 1.

    Examples
    --------
    >>> from_wound(organza.warp.colour, organza.warp).way
    'closely wound thread'
    """
    told = _bands(reflectance, "reflectance", 1.0)
    error = READING_EVEN + READING_SHARE * told if reading is None else np.broadcast_to(
        np.asarray(reading, dtype=np.float64), (BANDS,)
    )  # fmt: skip
    index, packing = yarn.fibre.index, bed_packing(yarn)
    dull, section = _lies(yarn)

    def ln_depth(
        seen: Array, n: float = index, p: float = packing, lobed: float = section
    ) -> Array:
        return np.asarray(np.log(np.maximum(depth_of_wound(seen, n, p, dull, lobed), 1e-12)))

    # how far one standard error of each input moves the answer, to either side; of what was read
    # to each by itself, for in pale thread it tells whether there is any dye
    seen = ln_depth(told)
    less = seen - ln_depth(np.minimum(told + error, 1.0))
    more = ln_depth(np.maximum(told - error, 0.0)) - seen
    moved = [
        0.5 * (ln_depth(told, n=index + INDEX_ERROR) - ln_depth(told, n=index - INDEX_ERROR)),
        0.5 * (ln_depth(told, p=packing + BED_ERROR) - ln_depth(told, p=packing - BED_ERROR)),
        np.full(BANDS, FORMULA_ERROR),
    ]
    if section > 1.0:
        out, in_ = (ln_depth(told, lobed=section + k * SECTION_ERROR) for k in (1.0, -1.0))
        moved.append(0.5 * (out - in_))
    surface = surface_share(index, packing)
    share = (told - surface) / (1.0 - surface)
    dark = share < DARKEST_TOLD
    moved.append(np.where(dark, UNTOLD, 0.0))
    if dull < _DULL[2]:
        depth = -np.log(np.clip(share, DARKEST, 1.0))
        moved.append(UNEVEN * (_dulled(depth, _DULL[2]) - _dulled(depth, dull)))
    notes = []
    if np.any(dark):
        notes.append(
            f"too dark to tell how dark at {_spans(dark)} nm: wound thread of black looks like this"
        )
    less, more = (
        np.minimum(np.sqrt(np.sum(np.square([side, *moved]), axis=0)), _WIDEST)
        for side in (less, more)
    )
    return Dye(
        frozen(absorption_of_wound(told, yarn)), frozen(more), "closely wound thread",
        tuple(notes), frozen(less),
    )  # fmt: skip


#: How far a colour that was told by eye may be off, a standard error in L*.
BY_EYE = 5.0


def from_colour(recovered: ArrayLike, yarn: Yarn, known_to: float = BY_EYE) -> Dye:
    """The dye of wound thread of ``yarn`` of which only a colour is known, seen in daylight.

    ``recovered`` (41,): a spectrum of that colour, 0-1 (one of many, see
    :func:`weavecolor.colour.colorimetry.spectrum_from_lab`); ``known_to``: how far the colour may
    be off, a standard error in L*, 0 to 30. The spread tells what the choice of spectrum leaves
    open: measured against reflecting surfaces whose spectra are known (see the tests). Raises
    InputError for values outside these.

    Examples
    --------
    >>> by_eye = from_colour(organza.warp.colour, organza.warp)
    >>> bool(np.all(by_eye.spread > from_wound(organza.warp.colour, organza.warp).spread))
    True
    """
    if not 0.0 <= known_to <= 30.0:
        raise InputError("a colour is known to 0-30 L*")
    told = _bands(recovered, "reflectance", 1.0)
    # dY/dL* = 3 (L* + 16)^2 / 116^3 (CIE 1976), at the lightness of each band taken alone
    lightness = 116.0 * np.cbrt(np.maximum(told, 0.008856)) - 16.0
    slope = 3.0 * (lightness + 16.0) ** 2 / 116.0**3
    base = from_wound(told, yarn, READING_EVEN + known_to * slope)
    many = np.interp(WAVELENGTHS, *_METAMERS)
    less, more = (frozen(np.minimum(np.hypot(side, many), _WIDEST)) for side in base.sides)
    return Dye(
        base.absorption, more, "a colour by eye or on a screen, its spectrum recovered",
        base.notes, less,
    )  # fmt: skip


def rod_depth(through: ArrayLike) -> Array:
    """sigma times the diameter of a round rod that lets the share ``through``, above 0 to 1, of
    light across it pass, all over its width, in a liquid of its own index.

    Where a rod is dark most light passes by its thin edges, so that the mean of what passes is more
    than what passes the mean way.

    Examples
    --------
    >>> rod_depth([1.0, 0.1]).round(2).tolist()
    [0.0, 3.4]
    """
    depth = np.maximum(-np.log(np.asarray(through, dtype=np.float64)), 0.0)
    at = np.log(np.maximum(depth, 1e-300))
    found = np.exp(np.interp(at, *_rod_depths()))
    return np.where(depth > 1e-5, found, depth / MEAN_CHORD)


#: Mean way through a round rod, of its diameter (Cauchy).
MEAN_CHORD = 0.25 * math.pi


@lru_cache(maxsize=1)
def _rod_depths() -> tuple[Array, Array]:
    """Logs of -ln of what a round rod lets through, and of its depths, to look up between."""
    deep = np.geomspace(1e-6, 1e3, 600)
    # angles from its middle to its edge, with their shares
    across, share = (
        0.25 * math.pi * x
        for x in (np.polynomial.legendre.leggauss(200) + np.array([[1.0], [0.0]]))
    )
    passed = np.exp(-deep[:, None] * np.cos(across)) @ (share * np.cos(across))
    return np.log(-np.log(passed)), np.log(deep)


def from_fibre(through: ArrayLike, across_mm: float, across_error: float = 0.1) -> Dye:
    """The dye of one round fibre that lets the share ``through`` (41,) of light pass, above 0 to 1,
    read over its whole width in a liquid of its own index, so that its surfaces send nothing back.

    ``across_mm``: its diameter, 0.0005 to 5; ``across_error``: the standard error of that as a
    share, 0 to 1. No fibre is quite round: as much as its roundness matters is left open besides.

    Examples
    --------
    >>> round(float(from_fibre(np.full(41, 0.5), 0.012).absorption[0]), 1)
    75.9
    """
    if not 5e-4 <= across_mm <= 5.0:
        raise InputError(f"a fibre is 0.0005 to 5 mm thick, got {across_mm:g}")
    if not 0.0 <= across_error <= 1.0:
        raise InputError("the error of the thickness is a share from 0 to 1")
    told = _bands(through, "light through a fibre", 1.0)
    if not np.all(told > 0.0):
        raise InputError("some light comes through a fibre in every band")
    depth = rod_depth(told)
    # readers of single fibres are good to 0.01 of absorbance (common practice, no source)
    lighter, darker = (rod_depth(np.minimum(told * 10.0**k, 1.0)) for k in (0.01, -0.01))
    reading = 0.5 * (darker - lighter) / np.maximum(depth, 1e-9)
    # of a fibre that is as thick all across
    even = -np.log(told) / MEAN_CHORD
    shape = np.log(np.maximum(depth, 1e-9) / np.maximum(even, 1e-9))
    spread = np.minimum(np.sqrt(across_error**2 + reading**2 + shape**2), _WIDEST)
    return Dye(frozen(depth / across_mm), frozen(spread), "a spectrum of dyed fibre")


def dye_of(yarn: Yarn) -> Dye:
    """The dye of ``yarn`` and its spread: as given, or from the colour of its wound thread.

    Examples
    --------
    >>> dye_of(organza.warp).way
    'closely wound thread'
    """
    if yarn.absorption is None:
        return from_wound(yarn.colour, yarn)
    return Dye(yarn.absorption, frozen(np.zeros(BANDS)), "given")


#: Widest standard error of ln sigma that is told.
_WIDEST = 2.5


#: Standard error of ln sigma by the choice among spectra of one colour, by wavelength, nm: rms over
#: 147 reflecting surfaces of known spectrum, recovered from their colour in daylight.
_METAMERS = (
    (380.0, 400.0, 420.0, 440.0, 450.0, 500.0, 540.0, 570.0, 600.0, 640.0, 660.0, 680.0, 700.0,
     740.0, 780.0),
    (0.87, 0.50, 0.38, 0.17, 0.12, 0.30, 0.12, 0.23, 0.16, 0.38, 0.63, 0.88, 1.15, 1.65, 2.26),
)  # fmt: skip


def _bands(values: ArrayLike, what: str, most: float) -> Array:
    found = np.asarray(values, dtype=np.float64)
    if found.shape != (BANDS,):
        raise InputError(f"{what} has {BANDS} bands, got shape {found.shape}")
    if not (np.all(found >= 0.0) and np.all(found <= most)):
        raise InputError(f"{what} lies from 0 to {most:g} in every band")
    return found


def _spans(chosen: NDArray[np.bool_]) -> str:
    """Wavelengths in words: "380-560, 700"."""
    at = WAVELENGTHS[chosen]
    parts = np.split(at, np.flatnonzero(np.diff(at) > 10.0) + 1)
    return ", ".join(f"{p[0]:g}-{p[-1]:g}" if len(p) > 1 else f"{p[0]:g}" for p in parts)
