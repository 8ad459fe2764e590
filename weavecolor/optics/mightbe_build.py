"""What a cloth might truly be made of: its dyes and build, drawn; and what the build does to the
even light of one layer (:mod:`weavecolor.optics.mightbe`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from hashlib import blake2b
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept
from weavecolor.colour.spectra import BANDS, WAVELENGTHS
from weavecolor.errors import InputError
from weavecolor.optics.dye import BY_EYE, dye_of, from_colour
from weavecolor.optics.fitted import left_open, might
from weavecolor.optics.layer import content
from weavecolor.optics.uncertainty import COVERAGE, known_of, lobed, sort_of
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.construction import check_weavable, covers
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.usual import COUNT_OFF
from weavecolor.textile.yarn import greatest_packing

Array = NDArray[np.float64]

#: How many draws: enough for the ninth tenth to lie within a tenth of itself.
DRAWS = 200
#: Draws tried for each that is kept, and the cover below which cloth can always be woven.
_TRIED, _OPEN = 3, 0.3
#: A rod this much wider than high goes half of the way from what is round: light finds at once
#: another way through it.
_OVAL = 0.15
#: Share of the variance that errors of warp and weft have in common: one maker, one fibre, one
#: bath; and errors of sheen of lights that come over the cloth at one turn (by judgement, no
#: source).
ALIKE = 0.7
#: Over how many nm an error of a dye goes over into another.
_NEAR = 80.0
#: Factors below this are taken as this, so that they have logarithms.
LEAST = 1e-6


@dataclass(frozen=True)
class Build:
    """What the unknown build of a sort of yarn does to a layer, in even light.

    ``hinders`` and ``back``: by what share what hinders the light (the logarithm of what is let
    through) grows, and by how much the logarithm of what is sent back, with each of the
    :meth:`Built.causes`: for black thread, and by how much more for white. ``own``: standard
    deviations of what else moves both, as index, crimp and what no slope follows do.
    """

    hinders: tuple[tuple[float, float], ...]
    back: tuple[tuple[float, float], ...]
    own: tuple[float, float]


_HINDERS = (0.84, -0.62), (0.44, -0.21), (0.09, 0.34), (-0.27, 0.09), (1.43, -0.67)
_BACK = (-0.06, 0.62), (0.31, -0.03), (-0.04, 0.26), (0.26, -0.41), (-0.10, 0.94)
#: By sort of yarn (how closely it is set: swatches and labels of tests/ranges.py, traced with setts
#: .87 and 1.15 times as close) (:data:`weavecolor.optics.uncertainty.SORTS`).
BUILD: Mapping[str, Build] = MappingProxyType(
    {
        "rods": Build(
            ((1.31, 0.27), (-0.30, 1.84), (1.18, -0.88)),
            ((0.54, 0.64), (0.77, 0.72), (0.01, 0.57)), (0.065, 0.06),
        ),
        "filaments": Build(_HINDERS, _BACK, (0.05, 0.055)),
        "spun": Build(_HINDERS, _BACK, (0.045, 0.065)),
    }
)
#: The same of lobed filaments against round ones of their mass (:func:`uncertainty.lobed`, 1), by
#: the reflectance of their wound thread, which is told and so has more dye in it: explicit
#: filaments traced in even light, mean of two cloths (tests/data/lobed.json).
_WOUND, _LOBED = (0.16, 0.36, 0.72), ((0.40, 0.73, 0.68), (-0.11, 0.02, 0.34))


@dataclass(frozen=True, eq=False)
class Built:
    """Draws (DRAWS,) of what a yarn may be: logarithms of count, flattening, packing and number of
    filaments, and of how much closer it is set than told; ``told``: the yarn that was told. Twist
    moves even light next to not."""

    told: Yarn
    tex: Array
    flattening: Array
    packing: Array
    filaments: Array
    closer: Array

    @property
    def sort(self) -> str:
        return sort_of(self.told)

    def only(self, kept: NDArray[np.int64]) -> Built:
        """Those draws alone."""
        drawn = {f.name: getattr(self, f.name)[kept] for f in fields(self) if f.name != "told"}
        return replace(self, **drawn)

    def yarn(self, k: int) -> Yarn:
        """As wide and as high as in one draw."""
        return replace(
            self.told, tex=float(np.exp(self.tex[k])), packing=float(np.exp(self.packing[k])),
            flattening=float(np.exp(self.flattening[k])),
        )  # fmt: skip

    def causes(self) -> Array:
        """By how much what matters to light is more (causes, DRAWS): of rods the logarithm of their
        width, how far from round they are and how closely set; of many fibres the logarithms of
        count, flattening, number, packing and how closely they are set."""
        told = self.told
        tex, packing = self.tex - np.log(told.tex), self.packing - np.log(told.packing)
        flat = self.flattening - np.log(told.flattening)
        if self.sort == "rods":
            wide, was = np.exp(self.flattening) - 1.0, told.flattening - 1.0
            oval = wide / (wide + _OVAL) - was / (was + _OVAL)
            return np.array([0.5 * (tex + flat - packing), oval, self.closer])
        number = self.filaments - np.log(told.filaments)
        return np.array([tex, flat, number, packing, self.closer])


def shares_weight(cloth: Cloth) -> bool:
    """Whether the weight alone told both counts: what one yarn has more the other has less."""
    known = dict(cloth.known)
    hows = [known.get(f"{system}.count", HowKnown.stated()) for system in ("warp", "weft")]
    return cloth.declared_g_m2 is not None and all(how.way == "assumed" for how in hows)


def dye_spreads(cloth: Cloth) -> Array:
    """Standard errors (2, 2, 41) of ln sigma of warp and weft, towards less dye and towards more, 0
    where what is known of the colour tells its own: a reading with its spread, or a fit that does
    not keep what it left open."""
    known, drawn = dict(cloth.known), drawn_of_fit(cloth)
    if drawn is not None:
        return np.repeat(drawn[1].std(axis=0)[:, None], 2, axis=1)
    out = np.zeros((2, 2, BANDS))
    for row, system, yarn in zip(out, ("warp", "weft"), (cloth.warp, cloth.weft), strict=True):
        how = known.get(f"{system}.colour", HowKnown.stated())
        if how.way == "assumed" and yarn.absorption is None:
            off = 0.0 if how.low is None or how.high is None else 0.5 * (how.high - how.low)
            row[:] = from_colour(yarn.colour, yarn, max(BY_EYE, off / COVERAGE)).sides
        elif how.way != "fitted" and not how.spread:
            row[:] = dye_of(yarn).sides
    return out


def seed(cloth: Cloth) -> int:
    """By content: what a cloth might be never depends on what it is compared with. Of a fitted one
    by what its fit left open, which its file keeps to the last digit."""
    root = left_open(cloth)
    told = content(cloth) if root is None else root.tolist()
    return int.from_bytes(blake2b(repr(told).encode(), digest_size=8).digest(), "big")


def _builds(cloth: Cloth) -> Array:
    """Normal draws (2, DRAWS) of what else of a cloth's build nobody told."""
    return np.random.default_rng([seed(cloth), 1]).normal(size=(2, DRAWS))


def built(cloth: Cloth) -> tuple[Built, Built]:
    """Warp and weft as they may be, by how each of their numbers is known: of one kind they err
    mostly alike. Of a weight that was told alone both are heavier together. What cannot be woven is
    drawn anew."""
    return _drawn.one((content(cloth), cloth.known), lambda: _draw(cloth))


def _draw(cloth: Cloth) -> tuple[Built, Built]:
    known, rng = dict(cloth.known), np.random.default_rng([seed(cloth), 6])
    both, *own = rng.normal(size=(3, 4, _TRIED * DRAWS))
    closer = _closer(cloth)
    warp, weft = cloth.warp, cloth.weft
    alike = ALIKE if (warp.fibre, warp.kind) == (weft.fibre, weft.kind) else 0.0
    out = []
    for system, yarn, mine, near in zip(
        ("warp", "weft"), (warp, weft), own, closer, strict=True
    ):
        z = np.sqrt(alike) * both + np.sqrt(1.0 - alike) * mine

        def might(key: str, told: float, z: Array, system: str = system) -> Array:
            return _might(known.get(f"{system}.{key}", HowKnown.stated()), told, z)

        if shares_weight(cloth):
            tex = np.log(yarn.tex) + both[0] * np.log1p(COUNT_OFF) / COVERAGE - closer.mean(axis=0)
        else:
            tex = might("count", yarn.tex, z[0])
        number = might("filaments", yarn.filaments, z[3])
        if f"{system}.filaments" in known:  # as fine in yarn of another count
            number = number + tex - np.log(yarn.tex)
        most = np.log(1.0 if yarn.gum else greatest_packing(yarn.filaments))
        out.append(Built(
            yarn, tex,
            np.maximum(might("flattening", yarn.flattening, z[1]), 0.0),
            np.minimum(might("packing", yarn.packing, z[2]), max(most, np.log(yarn.packing))),
            number, near,
        ))  # fmt: skip
    warps, wefts = out
    kept = np.resize(_woven(cloth, warps, wefts), DRAWS)
    return warps.only(kept), wefts.only(kept)


def _closer(cloth: Cloth) -> Array:
    """Logarithms (2, draws) of how much closer ends and picks may be set than told: what nobody
    counted is mostly close or open both ways."""
    known, rng = dict(cloth.known), np.random.default_rng([seed(cloth), 12])
    both, *own = rng.normal(size=(3, _TRIED * DRAWS))
    setts = (("ends", cloth.ends_per_cm), ("picks", cloth.picks_per_cm))
    return np.array([
        _might(how, told, np.sqrt(alike) * both + np.sqrt(1.0 - alike) * mine) - np.log(told)
        for (key, told), mine in zip(setts, own, strict=True)
        for how in [known.get(key, HowKnown.stated())]
        for alike in [ALIKE * (how.way == "assumed")]
    ])  # fmt: skip


def _woven(cloth: Cloth, warps: Built, wefts: Built) -> NDArray[np.int64]:
    """Which draws can be woven, as many as are asked for; of open cloth the first."""
    if max(covers(cloth)) < _OPEN:
        return np.arange(DRAWS)
    found: list[int] = []
    for k in range(warps.tex.size):
        try:
            check_weavable(replace(
                cloth, warp=warps.yarn(k), weft=wefts.yarn(k), known=(),
                ends_per_cm=cloth.ends_per_cm * float(np.exp(warps.closer[k])),
                picks_per_cm=cloth.picks_per_cm * float(np.exp(wefts.closer[k])),
            ))  # fmt: skip
        except InputError:
            continue
        found.append(k)
        if len(found) == DRAWS:
            break
    return np.array(found or range(DRAWS))


def _might(how: HowKnown, told: float, z: Array) -> Array:
    """Draws of the logarithm of a number, by how it is known: a range holds nine in ten, normal
    to either side of what was ``told``."""
    if how.way == "assumed" and how.low is not None and how.high is not None:
        low, high = min(how.low, told), max(how.high, told)
    else:
        off = COVERAGE * (how.spread or 0.0) * (how.way != "assumed")
        low, high = told - off, told + off
    low, told, high = np.log([max(low, 0.01 * told), told, high])
    return np.asarray(told + np.where(z > 0.0, high - told, told - low) * z / COVERAGE)


#: Of a cloth, what :func:`moved_by_build` tells.
_moved: Kept[tuple[Any, ...], tuple[Array, Array]] = Kept(16)
#: Of a cloth, what :func:`built` draws.
_drawn: Kept[tuple[Any, ...], tuple[Built, Built]] = Kept(16)


def moved_by_build(cloth: Cloth) -> tuple[Array, Array]:
    """Draws (DRAWS, 41) of by what share more hinders the light in a layer, and of the logarithm of
    how much more it sends back, by its build."""
    return _moved.one((content(cloth), cloth.known), lambda: _moves(cloth))


def _moves(cloth: Cloth) -> tuple[Array, Array]:
    yarns, left = built(cloth), known_of([cloth]).yarn_left
    pale, tint = 0.5 * (cloth.warp.colour + cloth.weft.colour), tint_of(cloth)
    more = np.zeros((2, DRAWS, BANDS))
    for yarn, sent in zip(yarns, (1.0 + tint, 1.0 - tint), strict=True):
        build, causes = BUILD[yarn.sort], yarn.causes()
        for one, (hinders, back) in zip(
            causes, zip(build.hinders, build.back, strict=True), strict=True
        ):
            more[0] += 0.5 * np.outer(one, hinders[0] + hinders[1] * pale)
            more[1] += 0.5 * np.outer(one, sent * (back[0] + back[1] * pale))
    darker, brighter = (np.interp(pale, _WOUND, told) for told in _LOBED)
    for far, sent in zip(more_lobed(cloth), (1.0 + tint, 1.0 - tint), strict=True):
        more[0] += 0.5 * np.outer(far, darker)
        more[1] += 0.5 * np.outer(far, sent * brighter)
    own = np.mean([BUILD[yarn.sort].own for yarn in yarns], axis=0)
    more += left * own[:, None, None] * _builds(cloth)[..., None]
    return more[0], more[1]


def more_lobed(cloth: Cloth) -> Array:
    """Draws (2, DRAWS) of how much more lobed the filaments of warp and weft of a described cloth
    are than told: of one fibre alike."""
    if left_open(cloth) is not None:
        return np.zeros((2, DRAWS))
    known, rng = dict(cloth.known), np.random.default_rng([seed(cloth), 10])
    z = rng.normal(size=(2, DRAWS))
    out = []
    for k, (system, yarn) in enumerate((("warp", cloth.warp), ("weft", cloth.weft))):
        which = 0 if cloth.warp.fibre == cloth.weft.fibre else k
        how = known.get(f"{system}.section", HowKnown.stated())
        drawn = np.exp(_might(how, yarn.section, z[which]))
        out.append((lobed(drawn) - lobed(yarn.section)) * (yarn.rods > 2))
    return np.array(out)


def tint_of(cloth: Cloth) -> Array:
    """By how much more the warp shows than the weft, by wavelength (41,): -1 to 1."""
    warp, weft = (np.maximum(yarn.colour, LEAST) for yarn in (cloth.warp, cloth.weft))
    return np.asarray((warp - weft) / (warp + weft))


def dye_errors(cloth: Cloth, wide: Array) -> Array:
    """Draws (DRAWS, 2, 41) of errors of ln sigma, of standard errors ``wide`` (2, 2, 41) as
    :func:`dye_spreads` has them."""
    drawn = drawn_of_fit(cloth)
    if drawn is not None:
        return drawn[1]
    z = _dyes(cloth)
    return np.where(z < 0.0, z * wide[:, 0], z * wide[:, 1])


def drawn_of_fit(cloth: Cloth) -> tuple[Array, Array] | None:
    """Draws of the slow numbers (DRAWS, SLOW) and of ln of both dyes (DRAWS, 2, 41) that a fit left
    open; None for a cloth that keeps no such."""
    root = left_open(cloth)
    return None if root is None else might(root, DRAWS, [seed(cloth), 3])


def _dyes(cloth: Cloth) -> Array:
    """Draws (DRAWS, 2, 41) of errors of ln sigma in warp and weft, in their spreads: half of their
    variance is one error for all wavelengths, half goes over from one to the next."""
    apart = (WAVELENGTHS[:, None] - WAVELENGTHS[None]) / _NEAR
    near = np.linalg.cholesky(np.exp(-0.5 * apart**2) + 1e-6 * np.eye(BANDS))
    rng = np.random.default_rng([seed(cloth), 2])
    even, along = rng.normal(size=(3, DRAWS, 1)), rng.normal(size=(3, DRAWS, BANDS)) @ near.T
    both, *own = np.sqrt(0.5) * (even + along)
    yarns = (cloth.warp, cloth.weft)
    one_bath = yarns[0].fibre == yarns[1].fibre and np.array_equal(yarns[0].colour, yarns[1].colour)
    alike = ALIKE if one_bath else 0.0
    drawn = np.sqrt(alike) * both + np.sqrt(1.0 - alike) * np.stack(own)
    return np.moveaxis(drawn, 0, 1)
