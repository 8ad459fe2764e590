"""What a fit left open of a cloth: the numbers that it sought, their covariance as the cloth keeps
it, the cloths that such numbers make, and how the light of one layer moves with them.

Knows yarns, constructions and the optics of one layer; knows nothing of what was seen, nor of what
was known beforehand. A parameter vector holds first the *slow* numbers, which change the geometry
and so cost time, then the *fast* ones: both yarns' dyes, and two numbers about the photographs.

A dye is ln of absorption, 1/mm, over wavelength: a starting curve plus a smooth curve through
knots.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.colour.spectra import WAVELENGTHS, frozen
from weavecolor.optics.cell import filaments
from weavecolor.optics.cell.pairs import radical_inverses
from weavecolor.optics.dye import absorption, wound_colour
from weavecolor.optics.layer import content
from weavecolor.optics.onelayer import Laid, between, laid, one_layer, over_backing
from weavecolor.scene.scene import Scene
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
COLOUR = slice(SLOW, SLOW + KNOTS.size), slice(SLOW + KNOTS.size, SLOW + 2 * KNOTS.size)
_REST = SLOW + 2 * KNOTS.size
PAPER, LIGHT = _REST, _REST + 1
SIZE = _REST + 2

#: 1/mm that even a bright fibre may scatter, by which dullness is counted in factors.
BRIGHT = 0.3
#: ln of absorption, 1/mm, stays within these.
_CLEAREST, _DEEPEST = -4.0, 8.0
#: Slow numbers beyond these make no other cloth.
_FARTHEST = (-3.0, -3.0, -1.0, -0.5, -2.5), (3.5, 3.5, 1.5, 0.5, 2.5)
#: Logarithms within which flattening and packing bend before their limits.
_ROUND, _DENSE = 0.1, 0.03
#: Spare room left before jamming where flattening is raised to make a cloth weavable.
_ROOM = 1.03
#: Constructions are traced within so many widths of the middle.
SPAN = 1.5
#: Least widths of the slow numbers over which light is traced: nearer ones differ by noise.
LEAST_WIDTHS = np.array([0.21, 0.21, 0.075, 0.03, 0.15, 0.3])
#: Constructions traced beside one for each number that moves; rays, as a share of an appearance's,
#: of single rods and of yarns of many.
_SPARE, _EFFORT, _EFFORT_MANY = 5, 0.1, 0.2
#: Reflectance of the grounds over which a layer is looked at.
GROUNDS = (0.0, 0.85)
_LEAST = 1e-6


@lru_cache(maxsize=1)
def basis() -> Array:
    """Matrix (41, knots): what numbers at ``KNOTS`` add to each band."""
    from scipy.interpolate import CubicSpline  # slow to load

    inside = np.clip(WAVELENGTHS, KNOTS[0], KNOTS[-1])
    return frozen(CubicSpline(KNOTS, np.eye(KNOTS.size), bc_type="natural")(inside))


def logit(share: ArrayLike) -> Array:
    value = np.clip(np.asarray(share, dtype=np.float64), 1e-3, 1 - 1e-3)
    return np.log(value / (1 - value))


def logistic(value: ArrayLike) -> Array:
    return 1.0 / (1.0 + np.exp(-np.asarray(value, dtype=np.float64)))


@dataclass(frozen=True, eq=False)
class Varied:
    """A start cloth and what a parameter vector (SIZE,) makes of it. ``curves`` (2, 41): starting
    ln(absorption) of warp and weft."""

    start: Cloth
    curves: Array

    def ln_dye(self, x: Array, system: int) -> Array:
        """ln(absorption) (41,) of one system, were its fibre as thick as at the start."""
        curve = self.curves[system] + basis() @ x[COLOUR[system]]
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
        from scipy.optimize import brentq  # slow to load

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


def as_it_is(yarn: Yarn) -> tuple[float, float]:
    """How much flatter and denser leaves a yarn as flat and dense as it is: the bends undone."""

    def before(kept: float, bend: float) -> float:
        kept = max(kept, 0.05 * bend)
        return bend * math.log(math.expm1(kept / bend)) - kept

    most = np.log(greatest_packing(1 if yarn.gum else yarn.filaments))
    return (
        before(float(np.log(yarn.flattening)), _ROUND),
        -before(float(most - np.log(yarn.packing)), _DENSE),
    )


def ln_dyes(cloth: Cloth) -> Array:
    """ln of absorption (2, 41), 1/mm, of warp and weft."""
    return np.array([np.log(np.maximum(absorption(y), 1e-6)) for y in (cloth.warp, cloth.weft)])


def middle(cloth: Cloth) -> Array:
    """The parameters (SIZE,) of a cloth as it is, its curves being its own dyes."""
    out = np.zeros(SIZE)
    out[:2] = logit(construction.covers(cloth))
    out[[FLATTER, PACKING]] = as_it_is(cloth.warp)
    return out


def left_open(cloth: Cloth) -> Array | None:
    """The root (SIZE - 2, SIZE - 2) of the covariance that a fit of ``cloth`` left of all but the
    two numbers about its photographs; None where it does not keep one."""
    count = SIZE - 2
    kept = dict(cloth.known).get("foretold", HowKnown.fitted()).root
    return _root(kept, count) if len(kept) == count * (count + 1) // 2 else None


def _root(kept: ArrayLike, count: int) -> Array:
    """The matrix (count, count) whose lower triangle is ``kept``, row by row."""
    lower = np.zeros((count, count))
    lower[np.tril_indices(count)] = kept
    return lower


def root_told(covariance: Array) -> list[float]:
    """The root of a ``covariance`` as a cloth keeps it: its lower triangle, row by row.

    Examples
    --------
    >>> root_told(np.array([[4.0, 2.0], [2.0, 10.0]]))
    [2.0, 1.0, 3.0]
    """
    return _short(np.linalg.cholesky(covariance)[np.tril_indices(len(covariance))])


def _short(values: Iterable[float]) -> list[float]:
    return [float(f"{v:.4g}") for v in values]


@dataclass(frozen=True, eq=False)
class Looks:
    """How one layer of a cloth looked in the pictures that it was fitted to, each taken at
    ``scene.places.PHOTO_SCENE``: ``lies`` (grain in degrees, face outwards, reflectance of the grey
    ground), ``values`` (n, 3), linear sRGB of a perfect white 1, and their ``covariance``
    (3n, 3n)."""

    lies: tuple[tuple[float, bool, float], ...]
    values: Array
    covariance: Array

    def told(self) -> list[float]:
        """In numbers, as a cloth keeps it: each way of lying and value, then the root's lower
        triangle."""
        each = np.c_[np.array(self.lies, float), self.values].ravel()
        return _short(each) + root_told(self.covariance)


def looks_of(cloth: Cloth) -> Looks | None:
    """What a cloth keeps of how it was photographed; None where it keeps nothing that can be."""
    kept = np.array(dict(cloth.known).get("photographed", HowKnown.fitted()).root)
    # 6 numbers each and a triangle of 3 for each: 4.5 n^2 + 7.5 n
    count = round((math.sqrt(56.25 + 18.0 * kept.size) - 7.5) / 9.0)
    if not count or kept.size != 6 * count + 3 * count * (3 * count + 1) // 2:
        return None
    each = kept[: 6 * count].reshape(count, 6)
    root = _root(kept[6 * count :], 3 * count)
    if (np.abs(each) > (180.0, 1.0, 1.0, 4.0, 4.0, 4.0)).any() or (np.diag(root) <= 0.0).any():
        return None
    lies = tuple((float(g), bool(face), abs(float(ground))) for g, face, ground, *_ in each)
    return Looks(lies, each[:, 3:], root @ root.T)


def might(root: Array, count: int, seed: Sequence[int]) -> tuple[Array, Array]:
    """Errors of what a fit left open, drawn ``count`` times from its ``root`` by
    ``seed``: of the slow numbers (count, SLOW) and of ln of both dyes (count, 2, 41)."""
    drawn = np.random.default_rng(seed).normal(size=(count, len(root))) @ root.T
    knots = drawn[:, SLOW:].reshape(count, 2, KNOTS.size)
    return drawn[:, :SLOW], knots @ basis().T


def places(middle: Array, width: Array, count: int, skip: int = 0) -> Array:
    """Slow numbers (``count``, k) of constructions to trace about ``middle`` (k,), evenly spread
    over :data:`SPAN` of ``width`` (k,) to each side; ``skip`` of the sequence were used before."""
    each = [radical_inverses(skip + count, k)[skip:] for k in range(middle.size)]
    return np.asarray(middle + SPAN * width * (2.0 * np.stack(each, axis=1) - 1.0))


def still_numbers(cloth: Cloth, lamp: bool) -> list[int]:
    """The slow numbers that change nothing: dullness of bright fibre, packing of single filaments,
    and the lamp's place but where there is a ``lamp`` whose place is not known."""
    yarns = cloth.warp, cloth.weft
    moves = {
        DULLER: max(y.dull_per_mm for y in yarns) > 0.0,
        PACKING: max(y.rods for y in yarns) > 1,
        LAMP: lamp,
    }
    return [k for k, yes in moves.items() if not yes]


@dataclass(frozen=True, eq=False)
class Moves:
    """How one layer's light moves with the slow numbers: logarithms of what it sends back by
    itself and of what it gets from a white ground. ``slopes`` (SLOW, 2, 41), and ``missed``
    (K, 2, 41), by how much constructions that were traced differ from that."""

    slopes: Array
    missed: Array

    def of(self, slow: Array, which: NDArray[np.intp]) -> Array:
        """Errors (Z, 2, 41) for errors (Z, SLOW) of the slow numbers; what no slope follows is
        drawn as it was met, by number (Z,) of the construction."""
        moved = np.einsum("zs,skb->zkb", slow, self.slopes)
        return np.asarray(moved + self.missed[which])


def moves(cloth: Cloth, root: Array, lies: Sequence[tuple[Scene, float, str]]) -> list[Moves]:
    """How the light of one layer of a fitted ``cloth`` moves, as it ``lies`` in each scene, at a
    grain in degrees, with its face or back outwards; ``root`` as from :func:`left_open`.

    A plane through constructions traced about the cloth: cloth of smooth fibre sends light to the
    eye at one build and not at the next, which no slope shows.
    """
    start = replace(cloth, warp_share=None)
    from scipy.interpolate import CubicSpline  # slow to load

    at, moving = _places(start, root)
    sheets = [laid(scene, grain, face) for scene, grain, face in lies]
    # a view among many is seen in their mean alone, and its logarithms want some rays
    rays = max((scene.share for scene, _, _ in lies), default=1.0) ** 0.5
    key = content(cloth), root.tobytes(), filaments.EFFORT * rays
    made = _light.fetch([(*key, s) for s in sheets], lambda missing: _traced(
        start, at, [one[-1] for one in missing], rays))  # fmt: skip
    mean = middle(start)[:SLOW]
    terms = np.c_[np.ones(len(at)), (at - mean)[:, moving]]
    own = np.einsum("ka,ak->k", terms, np.linalg.pinv(terms))
    out = []
    for (scene, _, _), factors in zip(lies, made, strict=True):
        lamps = [x.on_cloth for x in scene.in_front]
        falls = np.stack([*lamps, scene.diffuse])[:, COARSE]
        falls = falls if falls.any() else np.ones_like(falls)
        dark, light = np.moveaxis(np.einsum("kgbl,lb->kgb", factors, falls), 1, 0)
        logs = np.log(np.maximum(np.stack([dark, light - dark], axis=1), _LEAST))
        logs = CubicSpline(WAVELENGTHS[COARSE], logs, axis=-1)(WAVELENGTHS)
        flat = logs.reshape(len(at), -1)
        plane = np.linalg.lstsq(terms, flat, rcond=None)[0]
        slopes = np.zeros((SLOW, *logs.shape[1:]))
        slopes[moving] = plane[1:].reshape(-1, *logs.shape[1:])
        # what a plane was laid through it misses by less than what it was not
        missed = (flat - terms @ plane) / np.sqrt(np.maximum(1.0 - own, 0.1))[:, None]
        out.append(Moves(slopes, missed.reshape(logs.shape)))
    return out


def _places(start: Cloth, root: Array) -> tuple[Array, NDArray[np.intp]]:
    """The constructions (K, SLOW) that are traced, and which of their numbers move."""
    width = np.maximum(np.linalg.norm(root, axis=1)[:SLOW], LEAST_WIDTHS)
    mean, still = middle(start)[:SLOW], still_numbers(start, False)
    moving = np.setdiff1d(np.arange(SLOW), still)
    at = places(mean, width, moving.size + _SPARE)
    at[:, still] = mean[still]
    return at, moving


def _traced(start: Cloth, at: Array, sheets: Sequence[Laid], rays: float) -> list[Array]:
    """Radiance factors (K, grounds, bands, lamps and even light) of constructions, by sheet, by
    that share of the ``rays`` that one sheet gets."""
    varied = Varied(start, ln_dyes(start))
    effort = _EFFORT_MANY if max(start.warp.rods, start.weft.rods) > 1 else _EFFORT
    effort *= rays
    out: list[list[Array]] = [[] for _ in sheets]
    for slow in at:
        cloth = varied.cloth(np.concatenate([slow, np.zeros(SIZE - SLOW)]))
        ready = one_layer(cloth, sheets, effort)
        value, none = between(ready, np.exp(ln_dyes(cloth)).T[COARSE], False)
        for which, own in enumerate(out):
            own.append(np.stack([
                over_backing(ready, which, value, none, np.full(len(value), ground))[0]
                for ground in GROUNDS
            ]))  # fmt: skip
    return [np.stack(one) for one in out]


_light: Kept[tuple[Any, ...], Array] = Kept(
    64, packed=Packed("moves", lambda key: key, lambda x: {"x": x}, lambda _, a: a["x"])
)
