"""The wavelength grid that everything shares, and how a spectrum gets onto it.

Knows wavelengths; knows nothing of cloth, light sources or colour.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.errors import InputError

Spectrum = NDArray[np.float64]

#: nm, shape (41,): 380 to 780 in steps of 10 (CIE 15 / ASTM E308 range).
WAVELENGTHS: Spectrum = np.arange(380.0, 781.0, 10.0)
WAVELENGTHS.setflags(write=False)
BANDS = WAVELENGTHS.size

#: A reading must cover at least this, nm; many instruments stop here. The rest is held level.
MUST_COVER = (400.0, 700.0)
#: Widest gap between two readings, nm.
MAX_STEP = 20.0
#: Most readings in one spectrum.
MAX_READINGS = 10_000
UNITS = ("auto", "fraction", "percent")
#: Readings whose peak is above this are percent, where nobody says.
PERCENT_ABOVE = 2.0


def frozen(values: ArrayLike) -> Spectrum:
    """A read-only float64 copy, so that a spectrum inside a frozen dataclass stays as it was.

    Examples
    --------
    >>> frozen([0.1, 0.2]).flags.writeable
    False
    """
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def thinned(weights: Spectrum, step: int) -> Spectrum:
    """Weights (..., 41, n) folded onto every ``step``-th band, those between read by a cubic
    spline.

    Examples
    --------
    >>> thinned(np.ones((41, 3)), 2).shape
    (21, 3)
    """
    from scipy.interpolate import CubicSpline  # slow to load

    kept = WAVELENGTHS[::step]
    reading = CubicSpline(kept, np.eye(kept.size))(WAVELENGTHS)  # (41, K)
    return np.asarray(np.einsum("bk,...bx->...kx", reading, weights))


class ByValue:
    """Equality and hash by the fields of a frozen dataclass, arrays by what they hold."""

    @cached_property
    def _held(self) -> tuple[object, ...]:
        values = (getattr(self, field.name) for field in fields(self))  # type: ignore[arg-type]
        return tuple(
            (v.shape, v.tobytes()) if isinstance(v, np.ndarray) else v for v in values
        )

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return self is other or self._held == other._held

    def __hash__(self) -> int:
        return hash(self._held)


@dataclass(frozen=True, eq=False)
class Resampled:
    """A spectrum on ``WAVELENGTHS``, shape (41,), 0-1, and what had to be supposed to get there."""

    values: Spectrum
    notes: tuple[str, ...] = ()


def resample(
    wavelengths_nm: ArrayLike,
    values: ArrayLike,
    *,
    unit: str = "auto",
    file: str | None = None,
    field: str | None = None,
) -> Resampled:
    """A reflectance spectrum brought onto ``WAVELENGTHS``.

    Parameters
    ----------
    wavelengths_nm, values : sequences of equal length
        Wavelengths that strictly rise, or fall, at most 20 nm apart, covering at least 400-700 nm.
    unit : {"auto", "fraction", "percent"}
        "auto" takes values up to 1 as fractions and a peak above 2 as percent; a peak between 1 and
        2 could be either and is refused. (No cloth reflects under 1 % at every wavelength.)
    file, field : str, optional
        Where it stands, for complaints.

    Even steps are interpolated by a cubic spline (one of the methods of CIE 15), uneven ones by
    PCHIP, which cannot overshoot; readings finer than the grid are averaged over 10 nm. Beyond 400
    or 700 nm the end value is held, and a note says so. Raises InputError for anything that is not
    such a spectrum.

    Examples
    --------
    >>> found = resample(range(400, 720, 20), [20.0] * 16, unit="percent")
    >>> float(found.values[0]), found.notes
    (0.2, ('not measured below 400 nm and above 700 nm: the end value is held there',))
    """

    def refuse(what: str) -> InputError:
        return InputError(what, file=file, field=field)

    if unit not in UNITS:
        raise refuse(f"{unit!r} is not a unit of reflectance; use {', '.join(UNITS)}")
    try:
        nm = np.asarray(wavelengths_nm, dtype=np.float64)
        refl = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        raise refuse("a spectrum is two lists of numbers, wavelengths and reflectances") from None
    if nm.ndim != 1 or refl.ndim != 1:
        raise refuse("a spectrum is two plain lists of numbers, wavelengths and reflectances")
    if nm.size != refl.size:
        raise refuse(f"{nm.size} wavelengths but {refl.size} reflectances; give one for each")
    if nm.size > MAX_READINGS:
        raise refuse(f"{nm.size} readings; a spectrum has at most {MAX_READINGS}")
    if nm.size < 2:
        raise refuse("a spectrum has readings from 400 to 700 nm at least")
    if not (np.all(np.isfinite(nm)) and np.all(np.isfinite(refl))):
        bad = int(np.flatnonzero(~(np.isfinite(nm) & np.isfinite(refl)))[0])
        raise refuse(f"reading {bad + 1} is not a number; every reading must be finite")
    steps = np.diff(nm)
    if np.all(steps <= 0.0):  # as some instruments scan
        nm, refl, steps = nm[::-1], refl[::-1], -steps[::-1]
    if np.any(steps <= 0.0):
        bad = int(np.flatnonzero(steps <= 0.0)[0])
        raise refuse(f"wavelengths must rise, but {nm[bad + 1]:g} nm follows {nm[bad]:g} nm")
    if nm[0] > MUST_COVER[0] or nm[-1] < MUST_COVER[1]:
        if nm[-1] < 10.0:  # micrometres: 0.4 to 0.7
            raise refuse(
                f"wavelengths from {nm[0]:g} to {nm[-1]:g} look like micrometres: write them in nm"
            )
        raise refuse(
            f"the spectrum stops short: it runs from {nm[0]:g} to {nm[-1]:g} nm and must cover "
            f"{MUST_COVER[0]:g}-{MUST_COVER[1]:g} nm at least, better 380-780 nm"
        )
    seen = (nm[1:] > WAVELENGTHS[0]) & (nm[:-1] < WAVELENGTHS[-1])
    if np.any(seen) and steps[seen].max() > MAX_STEP + 1e-6:
        gap = int(np.flatnonzero(seen & (steps > MAX_STEP + 1e-6))[0])
        raise refuse(
            f"there is a gap from {nm[gap]:g} to {nm[gap + 1]:g} nm; readings are at most "
            f"{MAX_STEP:g} nm apart"
        )
    refl = _fractions(refl, unit, refuse)
    on_grid = np.clip(_onto_grid(nm, refl), 0.0, 1.0)
    return Resampled(frozen(on_grid), _held(nm))


def _fractions(refl: Spectrum, unit: str, refuse: Callable[[str], InputError]) -> Spectrum:
    peak = refl.max()
    if unit == "auto" and 1.0 < peak <= PERCENT_ABOVE:
        raise refuse(
            f"the highest value is {peak:g}: say whether the unit is fraction or percent, in a "
            'table by "%" in the heading; as a fraction it is of a whitener or fluorescent dye, '
            "which is not modelled"
        )
    scale = 100.0 if unit == "percent" or (unit == "auto" and peak > PERCENT_ABOVE) else 1.0
    refl = refl / scale
    if refl.min() < 0.0 or refl.max() > 1.0:
        worst = refl.min() if refl.min() < 0.0 else refl.max()
        word = "0-100 percent" if scale == 100.0 else "0-1"
        glows = "; whiteners and fluorescent dyes, which send back more, are not modelled" if (
            1.0 < worst <= PERCENT_ABOVE
        ) else ""  # fmt: skip
        raise refuse(f"a reflectance lies within {word}, got {worst * scale:g}{glows}")
    return refl


def _onto_grid(nm: Spectrum, refl: Spectrum) -> Spectrum:
    step = float(np.median(np.diff(nm)))
    inside = np.clip(WAVELENGTHS, nm[0], nm[-1])
    if step < 9.999:
        # Mean over the 10 nm about each band, less near the ends so that the mean stays centred.
        half = np.minimum(5.0, np.minimum(inside - nm[0], nm[-1] - inside))
        offsets = np.linspace(-1.0, 1.0, 41)
        weights = np.full(41, 1.0)
        weights[[0, -1]] = 0.5
        points = inside[:, None] + half[:, None] * offsets
        return np.asarray(np.interp(points, nm, refl) @ (weights / weights.sum()))
    where = np.clip(np.searchsorted(nm, inside), 0, nm.size - 1)
    if np.array_equal(nm[where], inside):
        return refl[where]
    if nm.size >= 4 and np.allclose(np.diff(nm), step, atol=1e-6):
        return _splines.one(tuple(nm.tolist()), lambda: _spline(nm, inside)) @ refl
    from scipy.interpolate import PchipInterpolator  # slow to load, seldom needed

    return PchipInterpolator(nm, refl)(inside)


#: By their nodes, nm: what each node's value adds to each band of a spline, shape (41, n).
_splines: Kept[tuple[float, ...], Spectrum] = Kept(
    16, packed=Packed("spline", lambda nm: nm, lambda x: {"x": x}, lambda _, a: frozen(a["x"]))
)


def _spline(nm: Spectrum, inside: Spectrum) -> Spectrum:
    from scipy.interpolate import CubicSpline  # slow to load

    return frozen(CubicSpline(nm, np.eye(nm.size))(inside))


def _held(nm: Spectrum) -> tuple[str, ...]:
    ends: Sequence[str] = [
        text
        for needed, text in (
            (nm[0] > WAVELENGTHS[0], f"below {nm[0]:g} nm"),
            (nm[-1] < WAVELENGTHS[-1], f"above {nm[-1]:g} nm"),
        )
        if needed
    ]
    return (f"not measured {' and '.join(ends)}: the end value is held there",) if ends else ()
