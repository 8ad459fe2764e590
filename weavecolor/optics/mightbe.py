"""How a look might truly be: drawn from what is not known of its cloths.

Two things are drawn together, for each cloth by itself, the same for every look of it, so that
what two looks share cancels in their difference. Knows cloths, stacks and scenes; says nothing of
how sure anything is.

* The dye, wavelength by wavelength within its spread, by slopes: the stack is worked out once more
  with the dye of each system a little stronger, at a few wavelengths.
* The build of the yarns, by factors on what the stack sends back and on what it lets through. How
  far those go was found by sampling: every swatch drawn anew within the trade's ranges and worked
  out by the same optics (``python -m tests.ranges --factors``), by sort of yarn.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import blake2b
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from weavecolor.cache import Kept
from weavecolor.colour.colorimetry import ciede2000, readings_lab
from weavecolor.colour.spectra import BANDS, WAVELENGTHS, frozen
from weavecolor.optics.adding import GAPS, over_backings, pile_of
from weavecolor.optics.appearance import appearances, direction, lit_by, radiance, viewer_pile
from weavecolor.optics.dye import absorption, dye_of, from_colour
from weavecolor.optics.layer import Solved, content, laid, solved
from weavecolor.optics.stack import Stack
from weavecolor.optics.uncertainty import COVERAGE, known_of
from weavecolor.scene.backings import Backing
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.howknown import HowKnown

Array = NDArray[np.float64]

#: How many draws: enough for the ninth tenth to lie within a tenth of itself.
DRAWS = 200


@dataclass(frozen=True)
class Build:
    """What the unknown build of a sort of yarn does to a stack, as standard deviations.

    ``wide``, about a mean ``lean``: of how much more there is to hinder the light, as a share of
    what hinders it (the logarithm of what is let through). ``back``: what is sent back grows by
    this many times as much, and by ``own`` besides, in logarithms. In light from one side each
    system that lies across it sends back more or less by ``shine`` of what it covers, in the colour
    of its yarn.
    """

    lean: float
    wide: float
    back: float
    own: float
    shine: float


#: By sort of yarn (:data:`weavecolor.optics.uncertainty.SORTS`).
BUILD: Mapping[str, Build] = MappingProxyType(
    {
        "rods": Build(0.03, 0.16, 1.7, 0.20, 0.50),
        "filaments": Build(0.05, 0.18, 1.4, 0.14, 0.30),
        "spun": Build(0.08, 0.16, 1.1, 0.10, 0.14),
    }
)
#: Share of the variance that errors of warp and weft have in common: one maker, one fibre, one bath
#: (by judgement, no source).
ALIKE = 0.7
#: Over how many nm an error of a dye goes over into another.
_NEAR = 80.0
#: Bands at which slopes are taken; ln sigma is moved by its spread, and by this at least.
_AT = np.arange(0, BANDS, 5)
_MOVE = 0.25
#: Reflectance of the ground that tells what a stack lets through there and back.
_GROUND = 0.85
_GROUNDS = (("nothing", 0.0), ("white ground", _GROUND))
#: Factors below this are taken as this, so that they have logarithms.
_LEAST = 1e-6
#: However dull a cloth may be, it sends back this share of what is foretold.
_LEFT = 0.25


def dye_slopes(
    stack: Stack, scene: Scene, cloths: Sequence[Cloth], spreads: Sequence[Array]
) -> Array:
    """How the logarithms of a look move with ln sigma of each cloth's warp and weft.

    Parameters
    ----------
    stack : Stack
        With at least one layer; its backing does not count.
    scene : Scene
    cloths : sequence of Cloth
        C of the stack's.
    spreads : sequence of ndarray, shape (2, 41)
        Of each of them, how far ln sigma of warp and weft is moved to either side, 0.25 at least.

    Returns
    -------
    ndarray, shape (C, 2, 2, 2, 41)
        By cloth, system (warp, weft), side (less dye, more), and what is looked at: sent back by
        the stack alone, and got from a white ground behind it. In very dark dye the sides differ.

    Examples
    --------
    >>> slopes = dye_slopes(single, window, [organza], [np.zeros((2, 41))])
    >>> slopes.shape, bool(np.all(slopes.mean(axis=-1) < 0.0))  # more dye, less light
    ((1, 2, 2, 2, 41), True)
    """
    moves = np.maximum(np.array(spreads)[..., _AT], _MOVE)  # (C, 2, bands)
    variants = 1 + 4 * len(cloths)
    number = {content(cloth): k for k, cloth in enumerate(cloths)}
    made: dict[object, Solved] = {}
    for key, cloth in {content(x.cloth): x.cloth for x in stack.layers}.items():
        kept = solved(cloth)
        sigma = np.repeat(kept.absorption[None, _AT], variants, axis=0)
        if key in number:
            for system, move in enumerate(moves[number[key]]):
                first = 1 + 4 * number[key] + 2 * system
                sigma[first, :, system] *= np.exp(-move)
                sigma[first + 1, :, system] *= np.exp(move)
        flat = sigma.reshape(-1, 2)
        made[key] = replace(kept, absorption=flat, node=kept.white.dyed(flat))
    lit = lit_by(scene).at(_AT)
    start = stack.layers[0].grain_deg
    above, below = (
        tuple(direction(z, a, start) for z, a in side) for side in (lit.above, lit.below)
    )
    links = tuple(lit.links)
    ones = [(content(x.cloth), (x.grain_deg - start) % 360.0, x.face) for x in stack.layers]
    piles = {
        one: pile_of(
            laid(made[one[0]], float(np.radians(one[1])), one[2] == "back", above, below,
                 links=links)
        )
        for one in dict.fromkeys(ones)
    }  # fmt: skip
    pile = viewer_pile([piles[one] for one in ones], stack.lay)
    each = replace(
        lit, diffuse=np.tile(lit.diffuse, variants), falls=np.tile(lit.falls, (1, variants))
    )
    grounds = [np.full(variants * _AT.size, rho) for _, rho in _GROUNDS]
    dark, light = (
        radiance(pile, factors, each, False).reshape(variants, -1)
        for factors in over_backings(pile, grounds, GAPS[stack.lay])
    )
    logs = np.log(np.maximum(np.stack([dark, light - dark]), _LEAST))  # (2, V, bands)
    gone = (logs[:, 1:] - logs[:, :1]).reshape(2, len(cloths), 2, 2, _AT.size)
    slopes = np.moveaxis(gone / np.stack([-moves, moves], axis=2), 0, 3)
    return np.asarray(CubicSpline(WAVELENGTHS[_AT], slopes, axis=-1)(WAVELENGTHS))


def lots(
    stack: Stack, backings: Sequence[Backing | None], scene: Scene, observer: str = "2"
) -> list[Array]:
    """What a stack over each of ``backings`` might truly look like.

    Parameters
    ----------
    stack : Stack
        Its own backing does not count.
    backings : sequence of Backing or None
    scene : Scene
    observer : {"2", "10"}

    Returns
    -------
    list of ndarray, shape (DRAWS, 3)
        Lab; the same cloth errs alike in draws of one number, whatever it is laid with. Where
        nothing is unknown, the look itself.

    Examples
    --------
    >>> (drawn,) = lots(single, [backing("white")], window)
    >>> drawn.shape
    (200, 3)
    """
    layers = tuple((content(x.cloth), x.cloth.known, x.grain_deg, x.face) for x in stack.layers)
    key = (layers, stack.lay, tuple(backings), scene, observer)
    return _lots.one(key, lambda: _drawn(stack, backings, scene, observer))


_lots: Kept[tuple[Any, ...], list[Array]] = Kept(64)


def _drawn(
    stack: Stack, backings: Sequence[Backing | None], scene: Scene, observer: str
) -> list[Array]:
    if not stack.layers:
        bare = appearances(stack, backings, scene, observer)
        return [np.tile(x.reading.Lab, (DRAWS, 1)) for x in bare]
    black, white = (Backing(name, frozen(np.full(BANDS, rho))) for name, rho in _GROUNDS)
    found = appearances(stack, [black, white, *backings], scene, observer)
    dark, light, *looks = (x.radiance_factor for x in found)
    back, let, sheen = _errors(stack, scene, float(np.mean(light - dark)) / _GROUND)
    sent = np.maximum(dark * np.exp(back) + sheen, _LEFT * dark)
    falls = illumination(scene)
    out = []
    for look, behind in zip(looks, backings, strict=True):
        once = 0.5 if behind is None else 1.0  # light from behind goes through but once
        might = sent + (look - dark) * np.exp(once * let)
        out.append(readings_lab(might * falls, falls, scene.white, observer))
    return out


def _errors(stack: Stack, scene: Scene, passed: float) -> tuple[Array, Array, Array]:
    """Draws (DRAWS, 41) of errors: of the logarithms of what a stack sends back and of what it lets
    through, which is ``passed`` of the light, there and back; and of its sheen, a radiance factor.
    """
    back, let, sheen = np.zeros((3, DRAWS, BANDS))
    cloths = list({content(x.cloth): x.cloth for x in stack.layers}.values())
    open_ = [(cloth, spread) for cloth in cloths if (spread := _spreads(cloth)).any()]
    if open_:
        dyed, spreads = zip(*open_, strict=True)
        for cloth, wide, slopes in zip(
            dyed, spreads, dye_slopes(stack, scene, dyed, spreads), strict=True
        ):
            drawn = _dyes(cloth) * wide
            for side, part in enumerate((np.minimum(drawn, 0.0), np.maximum(drawn, 0.0))):
                back += np.einsum("zsb,sb->zb", part, slopes[:, side, 0])
                let += np.einsum("zsb,sb->zb", part, slopes[:, side, 1])
    hinders = -np.log(np.clip(passed, 1e-4, 1.0)) / len(stack.layers)
    # the further in a layer lies, the less of what comes back is its own
    weight = 0.5 ** np.arange(len(stack.layers))
    weight /= weight.sum()
    for cloth in cloths:
        known = known_of([cloth])
        if not known.yarn_left:
            continue
        build, mine = BUILD[known.sort], content(cloth)
        own_layers = [
            (layer, share)
            for layer, share in zip(stack.layers, weight, strict=True)
            if content(layer.cloth) == mine
        ]
        whole = sum(share for _, share in own_layers)
        more, own, *shines = known.yarn_left * _builds(cloth)
        more = known.yarn_left * build.lean + build.wide * more
        let -= (len(own_layers) * hinders * more)[:, None]
        back += whole * (build.back * more + build.own * own)[:, None]
        across = build.shine * sum(s * _across(scene, x.grain_deg) for x, s in own_layers)
        for shine, much, glint in zip(shines, across, _glints(cloth), strict=True):
            sheen += much * np.outer(shine, glint)
    return back, let, sheen


def _glints(cloth: Cloth) -> Array:
    """What the yarns of warp and of weft send back by themselves, (2, 41), in proportion: light
    that went through a rod and back, of the share that they cover."""
    made = cloth.construction()
    covers = made.warp_width / made.warp_spacing, made.weft_width / made.weft_spacing
    return np.stack([
        min(cover, 1.0) * np.exp(-2.0 * absorption(yarn) * yarn.rod_diameter_mm)
        for cover, yarn in zip(covers, (cloth.warp, cloth.weft), strict=True)
    ])  # fmt: skip


def _across(scene: Scene, grain_deg: float) -> Array:
    """Shares (2,) of the light that comes square to warp and to weft, as far as it comes from one
    side."""
    total = float(illumination(scene).sum())
    out = np.zeros(2)
    for light in scene.lights:
        turn = np.radians(light.azimuth_deg - grain_deg)
        share = float(light.on_cloth.sum()) / total
        out += share * np.array([np.sin(turn) ** 2, np.cos(turn) ** 2])
    return out


def _spreads(cloth: Cloth) -> Array:
    """Standard errors (2, 41) of ln sigma of warp and weft, 0 where what is known of the colour
    tells its own: a fit, or a reading with its spread."""
    known = dict(cloth.known)
    out = np.zeros((2, BANDS))
    for row, system, yarn in zip(out, ("warp", "weft"), (cloth.warp, cloth.weft), strict=True):
        how = known.get(f"{system}.colour", HowKnown.stated())
        if how.way == "assumed" and yarn.absorption is None:
            row[:] = from_colour(yarn.colour, yarn).spread
        elif how.way != "fitted" and not how.spread:
            row[:] = dye_of(yarn).spread
    return out


def _seed(cloth: Cloth) -> int:
    """By content: what a cloth might be never depends on what it is compared with."""
    return int.from_bytes(blake2b(repr(content(cloth)).encode(), digest_size=8).digest(), "big")


def _builds(cloth: Cloth) -> Array:
    """Normal draws (4, DRAWS) of a cloth's build."""
    return np.random.default_rng([_seed(cloth), 1]).normal(size=(4, DRAWS))


def _dyes(cloth: Cloth) -> Array:
    """Draws (DRAWS, 2, 41) of errors of ln sigma in warp and weft, in their spreads: half of their
    variance is one error for all wavelengths, half goes over from one to the next."""
    apart = (WAVELENGTHS[:, None] - WAVELENGTHS[None]) / _NEAR
    near = np.linalg.cholesky(np.exp(-0.5 * apart**2) + 1e-6 * np.eye(BANDS))
    rng = np.random.default_rng([_seed(cloth), 2])
    even, along = rng.normal(size=(3, DRAWS, 1)), rng.normal(size=(3, DRAWS, BANDS)) @ near.T
    both, *own = np.sqrt(0.5) * (even + along)
    yarns = (cloth.warp, cloth.weft)
    one_bath = yarns[0].fibre == yarns[1].fibre and np.array_equal(yarns[0].colour, yarns[1].colour)
    alike = ALIKE if one_bath else 0.0
    drawn = np.sqrt(alike) * both + np.sqrt(1.0 - alike) * np.stack(own)
    return np.moveaxis(drawn, 0, 1)


def open_colour(lab: Array, drawn: Array) -> float:
    """Standard uncertainty of a colour, CIEDE2000: nine in ten draws lie within COVERAGE of it.

    Parameters
    ----------
    lab : ndarray, shape (3,)
    drawn : ndarray, shape (DRAWS, 3)

    Examples
    --------
    >>> look = np.array([50.0, 0.0, 0.0])
    >>> open_colour(look, np.tile(look, (DRAWS, 1)))
    0.0
    """
    return float(np.quantile(ciede2000(lab[None], drawn), 0.9)) / COVERAGE


def open_difference(one: tuple[Array, Array], other: tuple[Array, Array]) -> Array:
    """Standard uncertainty of the CIEDE2000 between two looks, each with its draws.

    Parameters
    ----------
    one, other : (Lab, draws), shapes (..., 3) and (..., DRAWS, 3)

    Returns
    -------
    ndarray, shape (...)

    Examples
    --------
    >>> (drawn,) = lots(single, [backing("white")], window)
    >>> float(open_difference((drawn[0], drawn), (drawn[0], drawn)))  # all is shared
    0.0
    """
    said = np.asarray(ciede2000(one[0], other[0]))[..., None]
    misses = np.abs(ciede2000(one[1], other[1]) - said)
    return np.asarray(np.quantile(misses, 0.9, axis=-1) / COVERAGE)
