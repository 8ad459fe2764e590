"""The residuals of a fit and their slopes.

Knows how a parameter vector shows in each observation; knows nothing of search or report.
Residuals are whitened: in standard uncertainties, uncorrelated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.linalg import block_diag, solve_triangular

from weavecolor.colour.screen import channels_in_light
from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.colour.tristimulus import weights
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_surface import Smooth, Traced
from weavecolor.measure.observations import Known, Seen, Thread, with_lamp
from weavecolor.optics.dye import wound_colour
from weavecolor.optics.fitted import still_numbers
from weavecolor.optics.layer import strands, woven
from weavecolor.optics.onelayer import (
    SQUARE,
    Laid,
    OneLayer,
    between,
    grid_layer,
    laid,
    one_layer,
    over_backing,
    thread_grid,
)
from weavecolor.scene.scene import Scene
from weavecolor.textile import construction
from weavecolor.textile.cloth import Cloth, Yarn

Array = NDArray[np.float64]

_FROM_COARSE = CubicSpline(WAVELENGTHS[p.COARSE], np.eye(WAVELENGTHS[p.COARSE].size))(WAVELENGTHS)
_NUDGE = 1e-4
#: Rays of one construction, as a share of an appearance's: of single rods, and of yarns of many.
_EFFORT, _EFFORT_MANY = 0.15, 0.25
#: Steps for slopes against the slow numbers, in widths of the surface.
_STEP = 0.02
#: Bare thread in even light, seen straight on.


@dataclass(frozen=True, eq=False)
class _Sight:
    """An observation made ready: ``lamps`` (L, n, B) and ``diffuse`` (n, B) weigh radiance
    factors, ``share`` is the directional light's."""

    seen: Seen
    lamps: Array
    diffuse: Array
    share: float
    backing: Array


@dataclass(eq=False)
class Problem:
    """All that was seen of one cloth, and the ``surface`` of light that it is held against.

    ``own`` (r, r): covariance of all readings as read; ``unsure`` (r, r): what the surface's own
    noise and misfit add.
    """

    start: Cloth
    sights: tuple[_Sight, ...]
    threads: tuple[tuple[Thread, Array], ...]
    known: tuple[Known, ...]
    surface: Smooth | None
    own: Array
    unsure: Array

    @classmethod
    def of(
        cls,
        start: Cloth,
        seen: Sequence[Seen],
        threads: Sequence[Thread],
        known: Sequence[Known],
    ) -> Problem:
        """What was ``seen`` of a cloth and of its bare ``threads``, and the numbers ``known`` of
        it, made ready; the search begins at ``start``. Nothing is traced yet."""
        own = block_diag(*(s.covariance for s in seen), *(t.covariance for t in threads))
        return cls(
            start,
            tuple(_sight(s) for s in seen),
            tuple((t, channels_in_light(t.channels, t.light) @ _FROM_COARSE) for t in threads),
            tuple(known),
            None,
            own,
            np.zeros_like(own),
        )

    @property
    def many(self) -> bool:
        """Whether a yarn has many filaments."""
        return max(self.start.warp.rods, self.start.weft.rods) > 1

    @property
    def still(self) -> list[int]:
        """The slow numbers that change nothing here."""
        return still_numbers(
            self.start, any(s.seen.light_error and s.seen.scene.lights for s in self.sights)
        )

    def traced(self, unknowns: p.Unknowns, slow: Array, share: float = 1.0) -> Traced:
        """The light of one construction, of the ``slow`` numbers (SLOW,) of ``unknowns``, for all
        sights, by a ``share`` of the usual rays."""
        sheets = [
            laid(
                with_lamp(s.seen.scene, float(slow[p.LAMP]) if s.seen.light_error else 0.0),
                s.seen.grain_deg, s.seen.face,
            )
            for s in self.sights
        ]  # fmt: skip
        x = np.concatenate([slow, np.zeros(p.SIZE - p.SLOW)])
        cloth = unknowns.shaped(x)
        effort = share * (_EFFORT, _EFFORT_MANY)[self.many]
        bare = [
            grid_layer(yarn, yarn.width_mm, [SQUARE], effort) for yarn in self._bare(cloth)
        ]
        return Traced(slow, (one_layer(cloth, sheets, effort), *bare))

    def traced_all(
        self,
        unknowns: p.Unknowns,
        at: Array,
        share: float = 1.0,
        told: Callable[[], None] | None = None,
    ) -> list[Traced]:
        """:meth:`traced` for several constructions ``at`` (n, SLOW) of ``unknowns``, two at once:
        what tracing leaves idle the other uses. ``share`` of the usual rays; ``told``: called after
        each."""
        made = []
        with ThreadPoolExecutor(2) as pool:
            # whoever is told may end it: with the map goes what has not begun
            for one in pool.map(lambda slow: self.traced(unknowns, slow, share), at):
                made.append(one)
                if told is not None:
                    told()
        return made

    def _bare(self, cloth: Cloth) -> list[Yarn]:
        """The yarns of which bare thread was seen."""
        loose = {t.system for t, _ in self.threads if not t.opaque}
        return [getattr(cloth, system) for system in ("warp", "weft") if system in loose]

    def residual(self, unknowns: p.Unknowns, x: Array) -> tuple[Array, Array]:
        """Residuals (r,) and slopes (r, SIZE)."""
        steps = _STEP * self._held.width
        moved = x + np.vstack([np.zeros(p.SIZE), np.eye(p.SLOW, p.SIZE) * steps[:, None]])
        here, *there = self.lit(unknowns, moved)
        shown, slopes = self.shown(unknowns, x, here)
        sized = self.numbers(unknowns, x)
        change = np.zeros((sized.size, p.SIZE))
        for k, step in enumerate(steps):
            aside = self.shown(unknowns, moved[1 + k], there[k], False)[0]
            for slope, new, old in zip(slopes, aside, shown, strict=True):
                slope[:, k] = (new - old) / step
            change[:, k] = (self.numbers(unknowns, moved[1 + k]) - sized) / step
        off = np.concatenate(shown) - self.values
        root = _chol(self.own + self.unsure)
        return (
            np.concatenate([solve_triangular(root, off, lower=True), sized]),
            np.concatenate([solve_triangular(root, np.concatenate(slopes), lower=True), change]),
        )

    @property
    def values(self) -> Array:
        """All that was read, (r,)."""
        told = [s.seen.value for s in self.sights] + [t.value for t, _ in self.threads]
        return np.concatenate(told)

    @property
    def arrangements(self) -> NDArray[np.intp]:
        """Which way of lying in the light each reading (r,) belongs to; -1 of bare thread."""
        known: dict[Laid, int] = {}
        out = []
        for s in self.sights:
            sheet = laid(s.seen.scene, s.seen.grain_deg, s.seen.face)
            out += [known.setdefault(sheet, len(known))] * len(s.seen.value)
        return np.array(out + [-1] * (len(self.own) - len(out)), dtype=np.intp)

    @property
    def _held(self) -> Smooth:
        assert self.surface is not None, "nothing was traced"
        return self.surface

    def numbers(self, unknowns: p.Unknowns, x: Array) -> Array:
        """Residuals of the known numbers."""
        return np.array([(_known(unknowns, x, n) - n.value) / n.uncertainty for n in self.known])

    def lit(self, unknowns: p.Unknowns, many: Array) -> list[tuple[OneLayer, ...]]:
        """The surface's light of parameter vectors (n, SIZE)."""
        cells = []
        for x in many:
            cloth = unknowns.shaped(x)
            own = [woven(construction.geometry_of(cloth), *strands(cloth))]
            own += [thread_grid(yarn, yarn.width_mm)[1] for yarn in self._bare(cloth)]
            cells.append(own)
        return self._held.at(many[:, : p.SLOW], cells)

    def shown(
        self, unknowns: p.Unknowns, x: Array, layers: tuple[OneLayer, ...], sloped: bool = True
    ) -> tuple[list[Array], list[Array]]:
        """What each sight and thread would read (n,) of the cloth of ``x`` (SIZE,) of ``unknowns``
        in the light ``layers``, and slopes (n, SIZE) against the fast parameters; these only where
        ``sloped``."""
        cloth = unknowns.shaped(x)
        dyes = np.stack([unknowns.absorption(x, k)[p.COARSE] for k in (0, 1)], axis=1)
        layer, *bare = layers
        threads = dict(zip((id(y) for y in self._bare(cloth)), bare, strict=True))
        value, slope = between(layer, dyes, sloped)
        models, slopes = [], []
        for which, sight in enumerate(self.sights):
            model, change = _sight_shown(layer, which, sight, x, value, slope)
            models.append(model)
            slopes.append(change)
        for thread, channels in self.threads:
            at = 0 if thread.system == "warp" else 1
            yarn = (cloth.warp, cloth.weft)[at]
            ready = None if thread.opaque else threads[id(yarn)]
            model, change = _thread_shown(thread, channels, yarn, dyes[:, at], ready)
            change = _chained(change, at)
            models.append(model)
            slopes.append(change)
        return models, slopes

def _thread_shown(
    thread: Thread, channels: Array, yarn: Yarn, dye: Array, ready: OneLayer | None
) -> tuple[Array, Array]:
    """Readings (n,) of bare thread, and slopes (n, B) against ln of its dye."""
    if ready is None:
        shown, change = _wound(dye, yarn)
    else:
        value, slope = between(ready, np.stack([dye, np.zeros_like(dye)], axis=1))
        parts = [
            over_backing(ready, 0, value, slope, np.full(len(dye), ground))
            for ground in thread.grounds
        ]
        shown = np.mean([f[:, -1] for f, _ in parts], axis=0)
        change = np.mean([c[0][:, -1] for _, c in parts], axis=0)
    return channels @ shown, channels * change


def _wound(dye: Array, yarn: Yarn) -> tuple[Array, Array]:
    """Reflectance of wound thread and its slope against ln of the dye."""
    up, down = (wound_colour(dye * np.exp(s), yarn) for s in (_NUDGE, -_NUDGE))
    return np.asarray(wound_colour(dye, yarn)), (up - down) / (2 * _NUDGE)


def _chol(covariance: Array) -> Array:
    return np.asarray(np.linalg.cholesky(covariance + 1e-12 * np.eye(len(covariance))))


def _sight(seen: Seen) -> _Sight:
    place = seen.scene
    falls = [x.on_cloth for x in place.in_front]
    total = place.diffuse + sum(falls, np.zeros_like(place.diffuse))
    scale = (seen.channels * total).sum(axis=1)[:, None]
    lamps = np.array([seen.channels * fall / scale @ _FROM_COARSE for fall in falls])
    count = (0, len(seen.channels), _FROM_COARSE.shape[1])
    return _Sight(
        seen,
        lamps if falls else np.zeros(count),
        seen.channels * place.diffuse / scale @ _FROM_COARSE,
        directional(place),
        np.asarray(seen.backing.reflectance)[p.COARSE],
    )


def _chained(by_band: Array, system: int) -> Array:
    """What readings with slopes (n, B) against ln of one system's dye owe to its knots, as slopes
    (n, SIZE)."""
    out = np.zeros((len(by_band), p.SIZE))
    first = p.SLOW + system * p.KNOTS.size
    out[:, first : first + p.KNOTS.size] = by_band @ p.BASIS[p.COARSE]
    return out


def _sight_shown(
    ready: OneLayer,
    which: int,
    sight: _Sight,
    x: Array,
    value: Array,
    slope: Array,
) -> tuple[Array, Array]:
    seen = sight.seen
    lift = float(np.exp(seen.paper_error * x[p.PAPER]))
    factors, changes = over_backing(ready, which, value, slope, sight.backing * lift)
    lamp, sky, lamp_slope, sky_slope = mixture(sight.share, seen.light_error, x[p.LIGHT])

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
    out = np.zeros((model.size, p.SIZE))
    scale = (1.0 / white / lift)[:, None]
    if not slope.shape[1]:
        return model, out
    for k in (0, 1):
        out += _chained(scale * weigh(changes[k]), k)
    ground = (scale * weigh(changes[2]) * (sight.backing * lift)).sum(axis=1)
    out[:, p.PAPER] = seen.paper_error * (ground - model)
    turned = lamp_slope * from_lamps + sky_slope * from_sky
    turned = turned / white / lift - model * (
        (lamp_slope * white_lamps + sky_slope * white_sky) / white
    )
    out[:, p.LIGHT] = turned
    return model, out


def mixture(share: float, error: float, off: float) -> tuple[float, float, float, float]:
    """Factors on directional and diffuse light where the ``share`` of the first is ``off`` standard
    uncertainties ``error`` from what was told, and their slopes."""
    if not 0.0 < share < 1.0 or error == 0.0:
        return 1.0, 1.0, 0.0, 0.0
    moved = share + error * off
    inside = float(np.clip(moved, min(share, 0.02), max(share, 0.98)))
    rate = error if inside == moved else 0.0
    return inside / share, (1 - inside) / (1 - share), rate / share, -rate / (1 - share)


def directional(place: Scene) -> float:
    """The share of directional light on the cloth, as an eye weighs it."""
    falls = [x.on_cloth for x in place.lights]
    to_Y = weights("2")[:, 1]
    lamps = float(sum(falls, np.zeros_like(place.diffuse)) @ to_Y)
    return lamps / (lamps + float(place.diffuse @ to_Y))


def _known(unknowns: p.Unknowns, x: Array, number: Known) -> float:
    """What the cloth of ``x`` has for one known number."""
    cloth = unknowns.shaped(x)
    if number.what == "weight":
        return construction.cloth_mass_g_m2(cloth)
    if number.what == "open share":
        return construction.openness(cloth)
    return cloth.warp.tex if number.what == "warp tex" else cloth.weft.tex


def start_unknowns(start: Cloth, seen: Sequence[Seen], threads: Sequence[Thread]) -> p.Unknowns:
    """Where the search begins for ``start``: each yarn's colour from bare ``threads`` where there
    are some, else from the cloth's own colour where it shows most of itself: of what was ``seen``,
    over the darkest backing, made as light as half-way to the lightest. Spectra keep their shape;
    other colours get a recovered one.
    """
    light = max(seen, key=lambda s: float(s.backing.reflectance.mean()))
    dark = min(seen, key=lambda s: float(s.backing.reflectance.mean()))
    shade, bright = (max(float(np.mean(s.value)), 1e-3) for s in (dark, light))
    colour = dark.value * 0.5 * (1.0 + bright / shade)
    values = [colour, colour]
    for k, system in enumerate(("warp", "weft")):
        own = [t.value for t in threads if t.system == system]
        # a spectrum tells most
        values[k] = max(own, key=len, default=colour)
    yarns = (start.warp, start.weft)
    curves = np.array([p.ln_dye(_curve(v), y) for v, y in zip(values, yarns, strict=True)])
    measured = any(len(v) == WAVELENGTHS.size for v in values)
    return p.Unknowns(start, curves, curves, measured)


def _curve(value: Array) -> Array:
    """Reflectance (41,) of a reading: a spectrum as it is, a colour recovered."""
    return np.clip(value, 0.0, 1.0) if len(value) == WAVELENGTHS.size else p.colour_curve(value)


__all__ = ["Problem", "start_unknowns"]
