"""The residuals of a fit and their slopes.

Knows how a parameter vector shows in each observation; knows nothing of search or report.
Residuals are whitened: in standard uncertainties, uncorrelated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.linalg import solve_triangular

from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.colour.tristimulus import weights
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_forward import OneLayer, between, laid, one_layer, over_backing
from weavecolor.measure.observations import Known, Seen, Thread, channels_in_light
from weavecolor.optics.kubelka import film, reflectivity
from weavecolor.textile import construction
from weavecolor.textile.cloth import Cloth

Array = NDArray[np.float64]

_FROM_COARSE = CubicSpline(WAVELENGTHS[p.COARSE], np.eye(WAVELENGTHS[p.COARSE].size))(WAVELENGTHS)
_NUDGE = 1e-4
#: Geometries kept ready at once.
_KEEP = 8


@dataclass(frozen=True, eq=False)
class _Sight:
    """An observation made ready: ``lamps`` (L, n, B) and ``diffuse`` (n, B) weigh radiance
    factors, ``root`` is the covariance's Cholesky factor, ``share`` the directional light's."""

    seen: Seen
    lamps: Array
    diffuse: Array
    share: float
    backing: Array
    root: Array


@dataclass(eq=False)
class Problem:
    """All that was seen of one cloth. Keeps the last few geometries it was asked about."""

    start: Cloth
    sights: tuple[_Sight, ...]
    threads: tuple[tuple[Thread, Array, Array], ...]
    known: tuple[Known, ...]
    _ready: dict[tuple[Any, ...], OneLayer]

    @classmethod
    def of(
        cls,
        start: Cloth,
        seen: Sequence[Seen],
        threads: Sequence[Thread],
        known: Sequence[Known],
    ) -> Problem:
        return cls(
            start,
            tuple(_sight(s) for s in seen),
            tuple(
                (t, channels_in_light(t.channels, t.light) @ _FROM_COARSE, _chol(t.covariance))
                for t in threads
            ),
            tuple(known),
            {},
        )

    def geometry(self, cloth: Cloth, x: Array) -> OneLayer:
        """The forms for all sights of ``cloth``, whose geometry the slow numbers of ``x`` set."""
        key = tuple(float(v) for v in x[: p.SLOW])
        if key not in self._ready:
            while len(self._ready) >= _KEEP:
                self._ready.pop(next(iter(self._ready)))
            sheets = [laid(s.seen.scene, s.seen.grain_deg, s.seen.face) for s in self.sights]
            self._ready[key] = one_layer(cloth, sheets)
        return self._ready[key]

    def residual(self, unknowns: p.Unknowns, x: Array) -> tuple[Array, Array]:
        """Residuals (r,) and slopes (r, fast parameters)."""
        shown, slopes = self.shown(unknowns, x)
        rows: list[Array] = []
        columns: list[Array] = []
        targets = [(s.seen.value, s.root) for s in self.sights]
        targets += [(t.value, root) for t, _, root in self.threads]
        for (value, root), model, slope in zip(targets, shown, slopes, strict=True):
            rows.append(solve_triangular(root, model - value, lower=True))
            columns.append(solve_triangular(root, slope, lower=True))
        for number in self.known:
            off = _known(unknowns, x, number) - number.value
            rows.append(np.array([off / number.uncertainty]))
            line = np.zeros((1, p.SIZE - p.SLOW))
            moved = x.copy()
            moved[p.PACKING] += 1e-3
            change = _known(unknowns, moved, number) - _known(unknowns, x, number)
            line[0, p.PACKING - p.SLOW] = change / 1e-3 / number.uncertainty
            columns.append(line)
        return np.concatenate(rows), np.concatenate(columns)

    def shown(self, unknowns: p.Unknowns, x: Array) -> tuple[list[Array], list[Array]]:
        """What each sight and thread would read (n,), and slopes (n, fast parameters)."""
        cloth = unknowns.shaped(x)
        yarns = [_yarn(unknowns, x, cloth, k) for k in (0, 1)]
        weight = np.stack([yarns[0].R, yarns[1].R, yarns[0].T, yarns[1].T], axis=1)
        ready = self.geometry(cloth, x)
        value, slope = between(ready, weight)
        models, slopes = [], []
        for which, sight in enumerate(self.sights):
            model, change = _sight_shown(ready, which, sight, x, yarns, value, slope)
            models.append(model)
            slopes.append(change)
        for thread, channels, _ in self.threads:
            model, change = _thread_shown(thread, channels, yarns)
            models.append(model)
            slopes.append(change)
        return models, slopes


def _chol(covariance: Array) -> Array:
    return np.asarray(np.linalg.cholesky(covariance + 1e-12 * np.eye(len(covariance))))


def _sight(seen: Seen) -> _Sight:
    place = seen.scene
    falls = [x.irradiance * np.cos(np.radians(x.zenith_deg)) for x in place.lights]
    total = place.diffuse + sum(falls, np.zeros_like(place.diffuse))
    scale = (seen.channels * total).sum(axis=1)[:, None]
    to_Y = weights("2")[:, 1]
    lamps = np.array([seen.channels * fall / scale @ _FROM_COARSE for fall in falls])
    count = (0, len(seen.channels), _FROM_COARSE.shape[1])
    return _Sight(
        seen,
        lamps if falls else np.zeros(count),
        seen.channels * place.diffuse / scale @ _FROM_COARSE,
        float((total - place.diffuse) @ to_Y / (total @ to_Y)),
        np.asarray(seen.backing.reflectance)[p.COARSE],
        _chol(seen.covariance),
    )


@dataclass(frozen=True, eq=False)
class _YarnNow:
    """One system's R-infinity, R and T on the coarse bands, with slopes against ln(K/S) and ln of
    scattering power; ``at`` its place among the systems."""

    at: int
    r: Array
    R: Array
    T: Array
    by_colour: tuple[Array, Array, Array]  # of r, R, T
    by_scatter: tuple[Array, Array]  # of R, T


def _yarn(unknowns: p.Unknowns, x: Array, cloth: Cloth, k: int) -> _YarnNow:
    yarn = (cloth.warp, cloth.weft)[k]
    ln_ks = unknowns.ln_ks(x, k)[p.COARSE]
    power = yarn.scattering_m2_g * float(np.exp(x[p.SCATTER[k]])) * p.areal_mass(yarn)

    def at(shift: float, scale: float) -> tuple[Array, Array, Array]:
        r = reflectivity(np.exp(ln_ks + shift))
        return r, *film(r, power * np.exp(scale))

    r, R, T = at(0.0, 0.0)
    up, down = at(_NUDGE, 0.0), at(-_NUDGE, 0.0)
    more, less = at(0.0, _NUDGE), at(0.0, -_NUDGE)

    def slope(a: Array, b: Array) -> Array:
        return (a - b) / (2 * _NUDGE)

    return _YarnNow(
        k, r, R, T,
        (slope(up[0], down[0]), slope(up[1], down[1]), slope(up[2], down[2])),
        (slope(more[1], less[1]), slope(more[2], less[2])),
    )  # fmt: skip


def _chain(by_R: Array, by_T: Array, yarn: _YarnNow, out: Array, by_r: Array | None = None) -> None:
    """Add to ``out`` (n, fast) what readings with slopes (n, B) against R and T (and r) owe to one
    system's colour, scattering and packing."""
    basis = p.BASIS[p.COARSE]
    band = by_R * yarn.by_colour[1] + by_T * yarn.by_colour[2]
    if by_r is not None:
        band = band + by_r * yarn.by_colour[0]
    first = yarn.at * p.KNOTS.size
    out[:, first : first + p.KNOTS.size] += band @ basis
    power = (by_R * yarn.by_scatter[0] + by_T * yarn.by_scatter[1]).sum(axis=1)
    out[:, p.SCATTER[yarn.at] - p.SLOW] += power
    out[:, p.PACKING - p.SLOW] += power  # denser yarn of one width scatters more


def _sight_shown(
    ready: OneLayer,
    which: int,
    sight: _Sight,
    x: Array,
    yarns: list[_YarnNow],
    value: Array,
    slope: Array,
) -> tuple[Array, Array]:
    seen = sight.seen
    lift = float(np.exp(seen.paper_error * x[p.PAPER]))
    factors, changes = over_backing(ready, which, value, slope, sight.backing * lift)
    lamp, sky, lamp_slope, sky_slope = _mixture(sight, x)

    def read(f: Array) -> tuple[Array, Array]:
        """Readings (n,) from lamps and from diffuse light of radiance factors (B, L + 1)."""
        return (
            np.einsum("lnb,bl->n", sight.lamps, f[:, :-1]),
            sight.diffuse @ f[:, -1],
        )

    def weigh(f: Array) -> Array:
        """The same, (n, B), before the sum over bands."""
        from_beams = np.einsum("lnb,bl->nb", sight.lamps, f[:, :-1])
        return np.asarray(lamp * from_beams + sky * (sight.diffuse * f[:, -1]))

    from_lamps, from_sky = read(factors)
    white_lamps, white_sky = sight.lamps.sum(axis=(0, 2)), sight.diffuse.sum(axis=1)
    white = lamp * white_lamps + sky * white_sky
    model = (lamp * from_lamps + sky * from_sky) / white / lift
    out = np.zeros((model.size, p.SIZE - p.SLOW))
    scale = (1.0 / white / lift)[:, None]
    for yarn in yarns:
        _chain(scale * weigh(changes[yarn.at]), scale * weigh(changes[2 + yarn.at]), yarn, out)
    ground = (scale * weigh(changes[4]) * (sight.backing * lift)).sum(axis=1)
    out[:, p.PAPER - p.SLOW] = seen.paper_error * (ground - model)
    turned = lamp_slope * from_lamps + sky_slope * from_sky
    turned = turned / white / lift - model * (
        (lamp_slope * white_lamps + sky_slope * white_sky) / white
    )
    out[:, p.LIGHT - p.SLOW] = turned
    return model, out


def _mixture(sight: _Sight, x: Array) -> tuple[float, float, float, float]:
    """Factors on directional and diffuse light for the light parameter, and their slopes."""
    share, error = sight.share, sight.seen.light_error
    if not 0.0 < share < 1.0 or error == 0.0:
        return 1.0, 1.0, 0.0, 0.0
    moved = share + error * x[p.LIGHT]
    inside = float(np.clip(moved, 0.02, 0.98))
    rate = error if inside == moved else 0.0
    return inside / share, (1 - inside) / (1 - share), rate / share, -rate / (1 - share)


def _thread_shown(
    thread: Thread, channels: Array, yarns: list[_YarnNow]
) -> tuple[Array, Array]:
    yarn = yarns[0 if thread.system == "warp" else 1]
    out = np.zeros((len(channels), p.SIZE - p.SLOW))
    none = np.zeros_like(channels)
    if thread.opaque:
        _chain(none, none, yarn, out, channels)
        return channels @ yarn.r, out
    total, by_R, by_T = (np.zeros_like(yarn.R) for _ in range(3))
    for ground in thread.grounds:
        loop = 1.0 - ground * yarn.R
        total = total + yarn.R + yarn.T**2 * ground / loop
        by_R = by_R + 1.0 + (yarn.T * ground / loop) ** 2
        by_T = by_T + 2.0 * yarn.T * ground / loop
    n = len(thread.grounds)
    _chain(channels * by_R / n, channels * by_T / n, yarn, out)
    return channels @ (total / n), out


def _known(unknowns: p.Unknowns, x: Array, number: Known) -> float:
    """What the cloth of ``x`` has for one known number."""
    cloth = unknowns.shaped(x)
    if number.what == "weight":
        return construction.cloth_mass_g_m2(cloth)
    if number.what == "open share":
        return construction.openness(cloth)
    return cloth.warp.tex if number.what == "warp tex" else cloth.weft.tex


def start_unknowns(start: Cloth, seen: Sequence[Seen], threads: Sequence[Thread]) -> p.Unknowns:
    """Where the search begins: each yarn's colour from bare thread where there is some, else from
    the cloth's own colour where it shows most of itself: over the darkest backing, made as light
    as half-way to the lightest. Spectra keep their shape; other colours get a recovered one."""
    light = max(seen, key=lambda s: float(s.backing.reflectance.mean()))
    dark = min(seen, key=lambda s: float(s.backing.reflectance.mean()))
    shade, bright = (max(float(np.mean(s.value)), 1e-3) for s in (dark, light))
    colour = dark.value * 0.5 * (1.0 + bright / shade)
    values = [colour, colour]
    for k, system in enumerate(("warp", "weft")):
        own = [t.value for t in threads if t.system == system]
        # a spectrum tells most
        values[k] = max(own, key=len, default=colour)
    curves = np.array([p.ln_k_over_s(_curve(v)) for v in values])
    measured = any(len(v) == WAVELENGTHS.size for v in values)
    return p.Unknowns(start, curves, curves, measured)


def _curve(value: Array) -> Array:
    """Reflectance (41,) of a reading: a spectrum as it is, a colour recovered."""
    return np.clip(value, 0.0, 1.0) if len(value) == WAVELENGTHS.size else p.colour_curve(value)


__all__ = ["Problem", "start_unknowns"]
