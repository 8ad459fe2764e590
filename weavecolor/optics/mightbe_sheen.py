"""How far sheen may err: what threads mirror of single lights to the eye hangs on slopes and
sections that nobody told (:mod:`weavecolor.optics.mightbe`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept
from weavecolor.colour.spectra import BANDS
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.dye import absorption
from weavecolor.optics.fitted import left_open
from weavecolor.optics.layer import content, strand
from weavecolor.optics.mightbe_build import (
    ALIKE,
    DRAWS,
    LEAST,
    built,
    moved_by_build,
    seed,
    tint_of,
)
from weavecolor.optics.ovalrod import thrown
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import known_of, lobed, sort_of
from weavecolor.scene.scene import APERTURE_DEG, Light, Scene
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.construction import geometry_of, share_range
from weavecolor.textile.howknown import HowKnown

Array = NDArray[np.float64]

#: Standard deviation of the warp's share of the crimp, where nobody measured it (by judgement, no
#: source).
_CRIMP_SHARED = 0.1
#: Of sheen: what comes back whatever the slopes of the yarns, as a share of what even light sends,
#: of rods and of many fibres; and the share of the twist of the outer fibres that blurs the slopes
#: they mirror by.
_WHATEVER, _BLUR = (0.03, 0.15), 0.5
#: What slopes do not tell of sheen, in its logarithm: in any case, and more of many fibres
#: untwisted, and the tangent of twist that leaves half of that: steep fibres throw light over so
#: many angles that it matters less how they lie. Set, with the next, on 6 draws each of 15 cloths
#: traced by 35 single lights; of rods on 16 of nine.
_SHEEN, _UNTWISTED, _STEEP = 0.08, 0.12, 0.60
#: What they do tell is off by this share, of many fibres and of rods.
_FOLLOWED = 0.5, 0.15
#: The first for rods, of light along the eye, and how much more of light square to it: the lower it
#: comes, the more yarns it meets.
_SHEEN_ROD, _SHEEN_LOW = 0.07, 0.33
#: How many rods between the least and most oval are followed; between them light goes over.
_OVALS = 20
#: All of that is of light so wide, half of it, degrees; and by this power of its width less of
#: wider light: the narrower it is, the more a degree matters.
_WIDTH, _SHARPER = 9.0, 0.4
#: What smooth yarn of a fitted cloth, by sort, may send back more or less of a light than was told,
#: whatever its dye, standard deviation as a radiance factor: a few degrees of lamp or slope, or how
#: wide a window was, bring what its surfaces mirror to the eye or take it away, and photographs by
#: a light that nobody measured do not tell it of the next. Set on 32 fits of four swatches.
GLINT: Mapping[str, float] = MappingProxyType({"rods": 0.04, "filaments": 0.02, "spun": 0.0})
#: Sheen of lights that lie as far apart as these, in degrees of zenith and of turn from the warp,
#: errs each by itself: crimp and twist tilt yarn by some 15 degrees, which turns what it mirrors by
#: 30 (by judgement, no source).
_APART = np.array([0.0, 30.0, 60.0, 90.0])
#: Warp and weft are alike where no measure of one is more times the other's (by judgement).
_NEARLY = 1.2
#: Of light from straight ahead this comes back more or less, in logarithms, whatever the grain, and
#: it is not evened: however yarn lies, it meets the eye's own direction.
_AHEAD = 0.18
#: Logarithm of how much more light from one side a yarn sends back once it is twisted to the other
#: hand, were it white and the light's turn right, and the slant of its outer fibres from which that
#: much: from chiffon and voile traced either way, at 30 to 75 degrees of zenith.
_HAND, _SLANT = 0.35, 0.25
#: Of that, what corners of filaments take, which send light on to all sides.
_CORNERS = 0.65


def sheen_errors(stack: Stack, scene: Scene, even: Array) -> tuple[Array, Array]:
    """Draws of errors of sheen: of the logarithm of what a ``stack`` that sends back a share
    ``even`` (41,) of even light shows of each of the lights in front of a ``scene``
    (L, DRAWS, 41); and of what fitted cloth may mirror besides, as radiance (DRAWS, 41)."""
    shone = np.zeros((len(scene.in_front), DRAWS, BANDS))
    glints = np.zeros((DRAWS, BANDS))
    cloths = list({content(x.cloth): x.cloth for x in stack.layers}.values())
    # the further in a layer lies, the less of what comes back is its own
    weight = 0.5 ** np.arange(len(stack.layers))
    weight /= weight.sum()
    for cloth in cloths:
        known, mine = known_of([cloth]), content(cloth)
        own_layers = [
            (layer, share)
            for layer, share in zip(stack.layers, weight, strict=True)
            if content(layer.cloth) == mine
        ]
        if glint := glint_of(cloth):
            met = np.random.default_rng([seed(cloth), 5])
            shines = met.normal(scale=glint, size=(_APART.size, _APART.size, DRAWS))
            for light in scene.in_front:
                mirrored = _met_by(_straight(light, scene), own_layers, shines)
                glints += np.outer(mirrored, light.on_cloth)
        if (hands := _hands(cloth)).any():
            for moved, light in zip(shone, scene.in_front, strict=True):
                lies = _straight(light, scene)
                aslant = sum(share * _aslant(lies, layer.grain_deg) for layer, share in own_layers)
                moved += np.einsum("s,sdb->db", aslant, hands)
        if not known.yarn_left:
            continue
        shine, by_build = _shine(cloth), moved_by_build(cloth)[1]
        drawn = known.yarn_left * _shines(cloth)
        drawn[:, :, 0] *= shine.ahead / shine.astray
        tint, whole = tint_of(cloth), sum(share for _, share in own_layers)
        eye = scene.view_zenith_deg, scene.view_azimuth_deg
        for moved, light in zip(shone, scene.in_front, strict=True):
            lies, sharp = _straight(light, scene), (_WIDTH / light.half_deg) ** _SHARPER
            sends, aside = np.zeros((1 + DRAWS, BANDS)), 0.0
            for layer, share in own_layers:
                aside += share * np.square(_way(lies, layer.grain_deg)[1:]).sum()
                sends = sends + share * shine.sends(light, eye, layer, even)
            told = np.log(sends[1:] / sends[0])
            moved += (aside + (whole - aside) * shine.solid) * told - whole * shine.solid * by_build
            low = _SHEEN_LOW * shine.solid * (1.0 - np.cos(np.radians(lies[0])))
            follow = _FOLLOWED[0] * (1.0 - shine.solid) + _FOLLOWED[1] * shine.solid
            off = sharp * np.hypot(shine.astray + low, follow * told)
            for side, kinds in enumerate(drawn):
                those = [one for one in own_layers if _other_side(one[0]) == side]
                for colour, shines in zip((np.ones(BANDS), tint), kinds, strict=True):
                    if those and colour.any():
                        moved += off * np.outer(_met_by(lies, those, shines), colour)
    return shone, glints


def _straight(light: Light, scene: Scene) -> tuple[float, float]:
    """Zenith and azimuth, degrees, of a light that an eye straight ahead would see mirrored by the
    same slopes as the scene's does ``light``: twice as far out as what lies half way between."""
    zenith, azimuth = light.way[:2]
    if scene.view_zenith_deg == 0.0:
        return zenith, azimuth
    one, eye = (
        np.array(unit(*np.radians(way)))
        for way in ((zenith, azimuth), (scene.view_zenith_deg, scene.view_azimuth_deg))
    )
    half = (one + eye) / np.linalg.norm(one + eye)
    out = np.degrees(np.arccos(np.clip(half[2], -1.0, 1.0)))
    around = np.degrees(np.arctan2(-half[0], half[1]))
    return min(2.0 * float(out), float(_APART[-1])), float(around)


def _met_by(
    light: tuple[float, float], layers: Sequence[tuple[Layer, float]], shines: Array
) -> Array:
    """Of errors of sheen drawn for each of :data:`_APART` (zeniths, turns, DRAWS), those (DRAWS,)
    that a light meets in ``layers``, each with its share of what comes back."""
    way = sum(share * _way(light, layer.grain_deg, _square(layer.cloth)) for layer, share in layers)
    return np.asarray(np.einsum("zs,zsd->d", way, shines))


def _other_side(layer: Layer) -> bool:
    """Whether a layer shows a back that is built otherwise than its face, which errs by itself."""
    return layer.face == "back" and bool(np.mean(layer.cloth.weave.lift) != 0.5)


def _square(cloth: Cloth) -> bool:
    """Whether warp and weft of a described cloth, of many filaments, are built and laid alike,
    whatever their colours, and each as often on top: mirrored in its bias, which changes them over,
    it is the same. What little warp and weft of rods differ by moves the single angles at which
    they shine, and spun yarn errs by little: so, 75 of 100 grains of pale organza were held, and 87
    of seven spun cloths."""
    if left_open(cloth) is not None or sort_of(cloth.warp) != "filaments":
        return False
    made, warp, weft = geometry_of(cloth), cloth.warp, cloth.weft
    pairs = (
        (made.warp_spacing, made.weft_spacing),
        (made.warp_width, made.weft_width),
        (made.warp_height, made.weft_height),
        made.swings,
        (100.0 + warp.twist_turns_m, 100.0 + weft.twist_turns_m),
    )
    return (
        bool(np.mean(made.lift) == 0.5)
        and (warp.fibre, warp.rods) == (weft.fibre, weft.rods)
        and all(max(pair) <= _NEARLY * min(pair) for pair in pairs)
    )


def glint_of(cloth: Cloth) -> float:
    """Of :data:`GLINT`, what a cloth has: 0 where it was not fitted."""
    if left_open(cloth) is None:
        return 0.0
    return max(GLINT[sort_of(yarn)] for yarn in (cloth.warp, cloth.weft))


def _way(light: tuple[float, float], grain_deg: float, square: bool = False) -> Array:
    """By how much (zeniths, turns) the errors of sheen drawn for light from each of :data:`_APART`
    take part in that of a light at such a zenith and azimuth; squares add to 1. Light from either
    side of the warp is alike, and light from straight ahead, which lies at no turn, is whatever the
    grain; of ``square`` cloth light as near to the weft errs alike by :data:`ALIKE`."""
    zenith, azimuth = light
    turn = abs((azimuth - grain_deg + 90.0) % 180.0 - 90.0)
    near = [np.maximum(1.0 - np.abs(at - _APART) / _APART[1], 0.0)
            for at in (zenith, turn)]  # fmt: skip
    way = np.outer(*near)
    if square:
        one, other = (0.5 * (np.sqrt(1.0 + ALIKE) + s * np.sqrt(1.0 - ALIKE)) for s in (1, -1))
        way = one * way + other * way[:, ::-1]
    way[0] = near[0][0] * np.eye(1, _APART.size)[0]
    return np.asarray(way / np.linalg.norm(way))


def _aslant(light: tuple[float, float], grain_deg: float) -> Array:
    """By how much (2,) of :func:`_hands` light at such a zenith and azimuth shows warp and weft:
    none along or across either; the other way on the other side of the warp."""
    zenith, azimuth = light
    turn = np.radians(azimuth - grain_deg)
    sides = np.array([-(np.cos(turn) ** 2), np.sin(turn) ** 2])
    return np.asarray(min(1.0, zenith / 30.0) * np.sin(2.0 * turn) * sides)


def _shines(cloth: Cloth) -> Array:
    """Normal draws (2, 2, zeniths, turns, DRAWS) of errors of sheen, on either side, of both
    systems and of warp against weft, for light from each of :data:`_APART`. A cylinder mirrors all
    of a fan square to it: light that comes across a thread shows the same thread, at any height."""
    each = np.random.default_rng([seed(cloth), 8]).normal(
        size=(2, 2, 1 + _APART.size, _APART.size, DRAWS)
    )
    fan, own = each[:, :, :1], each[:, :, 1:]
    own[:, :, 1:] = np.sqrt(ALIKE) * fan + np.sqrt(1.0 - ALIKE) * own[:, :, 1:]
    return np.asarray(own)


def _hands(cloth: Cloth) -> Array:
    """Draws (2, DRAWS, 41) of by how much more warp and weft of a described cloth send back, in
    logarithms, of light that shows the hand of their twist most: as it is traced, the other, or
    both by turns, alike likely (by judgement, no source) where nobody told it."""
    drawn = np.random.default_rng([seed(cloth), 9]).integers(3, size=(2, DRAWS)) / 2.0
    out, tint = np.zeros((2, DRAWS, BANDS)), tint_of(cloth)
    if left_open(cloth) is not None:
        return out
    for k, (yarn, sent) in enumerate(((cloth.warp, 1.0 + tint), (cloth.weft, 1.0 - tint))):
        if sort_of(yarn) != "rods" and not yarn.hand:
            slant = 0.5 * yarn.diameter_mm * abs(strand(yarn).twist)
            most = _HAND * min(1.0, slant / _SLANT) * (1.0 - _CORNERS * float(lobed(yarn.section)))
            out[k] = np.outer(drawn[k], most * sent * (0.5 + 0.5 * yarn.colour))
    return out


@dataclass(frozen=True, eq=False)
class _Oval:
    """A yarn that is one clear rod: its index, how much its dye takes of light that goes once
    across it (41,), and draws (1 + DRAWS,) of its width over its height, first as told."""

    index: float
    depth: Array
    ratios: Array

    def thrown(self, slant: float, turn: float, blur: float) -> Array:
        """As :func:`ovalrod.thrown`, of each draw (1 + DRAWS, 41); layers, parts of folds and
        questions ask for the same again and again."""
        logs = np.log(self.ratios)
        at = np.linspace(logs.min(), logs.max(), _OVALS)
        slant, turn, blur = (round(float(angle), 9) for angle in (slant, turn, blur))
        found = _thrown.one(
            (self, slant, turn, blur),
            lambda: thrown(np.exp(at), self.index, slant, turn, blur, self.depth),
        )
        below = np.clip(np.searchsorted(at, logs) - 1, 0, _OVALS - 2)
        part = ((logs - at[below]) / max(at[1] - at[0], LEAST))[:, None]
        return np.asarray((1.0 - part) * found[below] + part * found[below + 1])


#: Of a rod, where it throws light at such a slant, turn and blur, for :data:`_OVALS` of its ratios.
_thrown: Kept[tuple[_Oval, float, float, float], Array] = Kept(1024)


@dataclass(frozen=True, eq=False)
class _Shine:
    """Draws of what sheen of warp and weft hangs on, and how far it errs besides.

    A thread sends light on along a cone about its axis, whatever its section, for along a cylinder
    nothing changes the angle to the axis (any textbook of optics). So it sends a light to the eye
    where its crimp tilts it by just so much, and how much of it lies so is told by its slopes. How
    much of the cone goes to the eye is told by the section of a rod; many fibres send as much to
    all sides.

    ``slopes``, ``covers`` (2, 1 + DRAWS): greatest slope of warp and weft, radians, and their
    covers, first as told; ``crossing``, ``blur`` (2,): the share of their length that goes from one
    side to the other, and by how much twist blurs slopes, radians; ``over``: how often the warp is
    on top; ``yarns``: rods, or the colour (41,) of many fibres; ``astray``, ``ahead``: standard
    deviation, in logarithms, of what this never tells, and of light from straight ahead.
    """

    slopes: Array
    covers: Array
    crossing: Array
    blur: Array
    over: float
    yarns: tuple[_Oval | Array, _Oval | Array]
    astray: float
    ahead: float

    @property
    def solid(self) -> float:
        """How much of the yarn is rods, 0 to 1, of which all is told of a light that is sent back,
        not by how much more or less than by even light."""
        return 0.5 * sum(isinstance(yarn, _Oval) for yarn in self.yarns)

    def sends(
        self, light: Light, eye: tuple[float, float], layer: Layer, even: Array
    ) -> Array:
        """About the radiance factor (1 + DRAWS, 41), first as told, of a ``light`` to an ``eye`` at
        such a zenith and azimuth, degrees, where so much of ``even`` light (41,) is sent back."""
        over = self.over if layer.face == "face" else 1.0 - self.over
        top = np.array([[over], [1.0 - over]])
        shows = self.covers * (top + (1.0 - top) * (1.0 - self.covers[::-1]))
        ways = (
            np.array(unit(np.radians(zenith), np.radians(azimuth - layer.grain_deg)))
            for zenith, azimuth in (light.way[:2], eye)
        )
        # along, across and up of the warp
        lamp, sight = (np.array([way[1], -way[0], way[2]]) for way in ways)
        half = lamp + sight
        # a thread turns what it sends by twice its tilt; discs count by their second moments
        disc = 0.5 * np.radians(np.hypot(light.half_deg, APERTURE_DEG))
        wide = np.hypot(0.5 * disc, self.blur)
        whatever = _WHATEVER[0] * self.solid + _WHATEVER[1] * (1.0 - self.solid)
        sent = np.tile(whatever * even, (self.slopes.shape[1], 1))
        for k, yarn in enumerate(self.yarns):
            tilt = np.arctan2(half[k], half[2])
            axis = np.sin(tilt) * -np.eye(3)[2] + np.cos(tilt) * np.eye(3)[k]
            slant = np.arcsin(lamp @ axis)
            one, other = (way - (way @ axis) * axis for way in (lamp, sight))
            about = np.arctan2(np.linalg.norm(np.cross(one, other)), one @ other)
            off = (tilt - self.slopes[k, :, None] * _PHASES) / wide[k]
            met = self.crossing[k] * np.exp(-0.5 * off**2).mean(axis=1)
            met += (1.0 - self.crossing[k]) * np.exp(-0.5 * (tilt / wide[k]) ** 2)
            met *= shows[k] / (wide[k] * np.sqrt(2.0 * np.pi))
            part = (
                yarn.thrown(abs(slant), about, disc) if isinstance(yarn, _Oval) else yarn / np.pi
            )
            sent += met[:, None] * part * (0.5 * np.pi / np.cos(slant))
        return np.asarray(sent / max(lamp[2], 0.1) / max(sight[2], 0.1))


#: Along half a wave of crimp, its slope in shares of the greatest.
_PHASES = np.cos((np.arange(48) + 0.5) / 48 * np.pi)


#: Of a cloth, how its sheen errs.
_kept: Kept[tuple[Any, ...], _Shine] = Kept(16)


def _shine(cloth: Cloth) -> _Shine:
    """As in :class:`_Shine`, of a cloth as it is told."""
    return _kept.one((content(cloth), cloth.known), lambda: _shine_of(cloth))


def _shine_of(cloth: Cloth) -> _Shine:
    """How sheen of lights from one side errs, by draws of the yarns and of how warp and weft share
    their crimp."""
    made, told = geometry_of(cloth), (cloth.warp, cloth.weft)
    low, high = share_range(cloth)
    measured = dict(cloth.known).get("warp_share", HowKnown.stated()).spread
    spread = measured or known_of([cloth]).yarn_left * _CRIMP_SHARED
    drawn = np.random.default_rng([seed(cloth), 11]).normal(size=1 + DRAWS)
    share = made.warp_share + spread * drawn
    share = np.clip(share, max(low, 0.05), max(min(high, 0.95), low))
    share[0] = made.warp_share
    area, flat, closer = np.zeros((3, 2, 1 + DRAWS))  # logarithms, less what was told
    for k, yarn in enumerate(built(cloth)):
        area[k, 1:] = yarn.tex - yarn.packing - np.log(told[k].tex / told[k].packing)
        flat[k, 1:] = yarn.flattening - np.log(told[k].flattening)
        closer[k, 1:] = yarn.closer
    spacings = np.array([[made.warp_spacing], [made.weft_spacing]]) * np.exp(-closer)
    widths = np.array([[made.warp_width], [made.weft_width]]) * np.exp(0.5 * (area + flat))
    heights = np.array([[made.warp_height], [made.weft_height]]) * np.exp(0.5 * (area - flat))
    swings = 0.5 * heights.sum(axis=0) * np.array([share, 1.0 - share])
    lift = np.array(made.lift)
    seen: list[_Oval | Array] = []
    for one, off in zip(told, flat, strict=True):
        if sort_of(one) == "rods" and one.rods == 1:
            lost = (absorption(one) + one.dull_per_mm) * one.diameter_mm
            seen.append(_Oval(one.fibre.index, lost, one.flattening * np.exp(off)))
        else:
            seen.append(one.colour)
    rods = [isinstance(one, _Oval) for one in seen]
    slants = np.array([_slant(one) for one in told])
    astray = np.hypot(_SHEEN, _UNTWISTED / (1.0 + (slants / _STEEP) ** 2))
    return _Shine(
        np.arctan(np.pi * swings / spacings[::-1]),
        np.minimum(widths / spacings, 1.0),
        np.array([np.mean(lift != np.roll(lift, 1, axis=k)) for k in (0, 1)]),
        np.where(rods, 0.0, _BLUR * np.arctan(slants)),
        float(lift.mean()),
        (seen[0], seen[1]),
        float(np.where(rods, _SHEEN_ROD, astray).mean()),
        float(np.where(rods, _SHEEN_ROD, _AHEAD).mean()),
    )


def _slant(yarn: Yarn) -> float:
    """Tangent of how steep twist lays the outer fibres of a yarn."""
    return 0.5 * yarn.diameter_mm * yarn.twist_rad_mm
