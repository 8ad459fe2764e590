"""A yarn by itself: one thread wound evenly round a white and a black card.

Threads that lie side by side and do not cross (uninterlaced grids: P. Kostajnsek and others,
Polymers 13 (2021) 1188) show the yarn's own reflectance and transmittance without any weave. Over
two grounds the grid is a layer like any other (Kubelka's pair); what its bare ground shows is taken
off by how far the threads cover it. The dye is what makes a traced grid of the same threads look
as the photographs do. Knows colours over grounds; knows nothing of pictures or files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.screen import camera_channels, channels_in_light
from weavecolor.colour.spectra import BANDS, frozen
from weavecolor.errors import InputError
from weavecolor.measure import parameters as p
from weavecolor.measure.observations import (
    MODEL_SHARE,
    colour_of,
)
from weavecolor.measure.threads import NINETEEN_OF_TWENTY
from weavecolor.optics.dye import FORMULA_ERROR, Dye, wound_colour
from weavecolor.optics.onelayer import SQUARE, between, grid_layer, over_backing
from weavecolor.textile.yarn import Yarn

Array = NDArray[np.float64]

#: Threads that cover less of the card than this tell little of the yarn.
LEAST_COVER = 0.3
#: Relative standard errors of how evenly a hand winds, and of the light on a grid, which is lit
#: from a window and not evenly from all sides. Assumed, not sourced.
WINDING, LIT = 0.03, 0.05


@dataclass(frozen=True, eq=False)
class Grid:
    """What a wound card says of a yarn.

    ``cover``: share of the card that the threads hide; ``R`` and ``T`` (3,): the yarn's own, per
    linear channel, with standard uncertainties; ``dye``: its absorption; ``wound`` (41,):
    reflectance of the same thread closely wound; ``within``: CIEDE2000 that its colour stays
    within 19 times in 20; ``missed``: CIEDE2000 of the grid as seen and as the dye shows it.
    """

    cover: float
    R: Array
    R_uncertainty: Array
    T: Array
    T_uncertainty: Array
    dye: Dye
    wound: Array
    within: float
    missed: float

    @property
    def spread(self) -> float:
        """Standard uncertainty of the closely wound thread's colour, CIEDE2000."""
        return self.within / NINETEEN_OF_TWENTY


def read_grid(
    yarn: Yarn,
    threads_per_cm: float,
    seen: Sequence[tuple[float, ArrayLike, ArrayLike]],
    pair: tuple[ArrayLike, ArrayLike, ArrayLike, ArrayLike],
    light: str = "daylight",
) -> Grid:
    """The yarn's own colour from grids of it.

    Parameters
    ----------
    yarn : Yarn
        Its fibre, linear density and filaments, as known; its colour does not count.
    threads_per_cm : float
        How closely it was wound.
    seen : (ground's reflectance, linear sRGB (3,), standard uncertainty (3,)), two or more
        The grid over each ground.
    pair : R, its uncertainty, T, its uncertainty, (3,) each
        The grid as a layer (see ``swatchpair``).
    light : str
        That it was photographed in, any name of ``lights``.

    Raises InputError where threads overlap or leave nearly all of the card bare.
    """
    cover = yarn.width_mm * threads_per_cm / 10.0
    if not np.isfinite(cover) or cover <= LEAST_COVER:
        raise InputError(
            f"threads {yarn.width_mm:.2g} mm wide, {threads_per_cm:g} to the cm, cover too little "
            "of the card; wind them closer", field="--threads",
        )  # fmt: skip
    if cover > 1.1:
        raise InputError(
            f"threads {yarn.width_mm:.2g} mm wide lie {threads_per_cm:g} to the cm one on the "
            "other; wind one layer only, or check the yarn's count", field="--threads",
        )  # fmt: skip
    cover = min(cover, 1.0)
    R, e_R, T, e_T = (np.asarray(v, dtype=np.float64) for v in pair)
    own_T = (T - (1.0 - cover)) / cover
    x, covariance, curve, missed = _dyed(yarn, 10.0 / threads_per_cm, seen, light)

    def ln(at: Array) -> Array:
        return np.asarray(np.clip(curve + p.BASIS @ at, -4.0, 8.0))

    absorption = np.exp(ln(x))
    spread = np.sqrt(np.einsum("bi,ij,bj->b", p.BASIS, covariance, p.BASIS) + FORMULA_ERROR**2)
    dye = Dye(frozen(absorption), frozen(np.minimum(spread, 2.5)), "a grid of parallel threads")
    wound = np.clip(wound_colour(absorption, yarn), 0.0, 1.0)
    rng = np.random.default_rng(3)
    drawn = rng.multivariate_normal(x, covariance, 200, check_valid="ignore")
    Lab = np.array([colour_of(p.linear_of(wound_colour(np.exp(ln(at)), yarn))) for at in drawn])
    away = ciede2000(np.broadcast_to(colour_of(p.linear_of(wound)), Lab.shape), Lab)
    return Grid(
        cover,
        np.clip(R / cover, 0.0, 1.0),
        np.hypot(e_R, WINDING * R) / cover,
        np.clip(own_T, 0.0, 1.0),
        np.hypot(e_T, WINDING) / cover,
        dye,
        wound,
        float(np.percentile(away, 95.0)),
        missed,
    )


def _dyed(
    yarn: Yarn, pitch: float, seen: Sequence[tuple[float, ArrayLike, ArrayLike]], light: str
) -> tuple[Array, Array, Array, float]:
    """Knots of the dye, their covariance, the curve they stand on, and the CIEDE2000 missed."""
    ready = grid_layer(yarn, pitch, [SQUARE])
    channels = channels_in_light(camera_channels(), light_spectrum(light))
    values = [np.asarray(v, dtype=np.float64) for _, v, _ in seen]
    darkest = values[int(np.argmin([g for g, _, _ in seen]))]
    curve = p.ln_dye(p.colour_curve(1.5 * darkest), yarn)
    whiten = np.linalg.inv(np.linalg.cholesky(p.level_prior() + p.shape_prior()))
    errors = [
        np.sqrt(np.asarray(e) ** 2 + (MODEL_SHARE**2 + LIT**2) * v**2 + 1e-6)
        for v, (_, _, e) in zip(values, seen, strict=True)
    ]

    def shown(at: Array) -> tuple[Array, Array]:
        ln = np.clip(curve + p.BASIS @ at, -4.0, 8.0)
        dyes = np.stack([np.exp(ln), np.zeros(BANDS)], axis=1)
        value, slope = between(ready, dyes)
        made, change = [], []
        for ground, _, _ in seen:
            f, c = over_backing(ready, 0, value, slope, np.full(BANDS, float(ground)))
            made.append(channels @ f[:, -1])
            change.append((channels * c[0][:, -1]) @ p.BASIS)
        return np.concatenate(made), np.concatenate(change)

    target, error = np.concatenate(values), np.concatenate(errors)[:, None]

    def off(at: Array) -> Array:
        return np.concatenate([(shown(at)[0] - target) / error[:, 0], whiten @ at])

    def slopes(at: Array) -> Array:
        return np.concatenate([shown(at)[1] / error, whiten])

    found = least_squares(off, np.zeros(p.KNOTS.size), jac=slopes, ftol=1e-5)
    x, (made, slope) = found.x, shown(found.x)
    precision = (slope / error).T @ (slope / error) + whiten.T @ whiten
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    parts = zip(values, np.split(made, len(values)), strict=True)
    missed = max(float(ciede2000(colour_of(v), colour_of(m))) for v, m in parts)
    return x, covariance, curve, missed
