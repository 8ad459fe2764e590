"""How a look might truly be: drawn from what is not known of its cloths.

Three things are drawn together, for each cloth by itself, the same for every look of it, so that
what two looks share cancels in their difference. Knows cloths, stacks and scenes; says nothing of
how sure anything is.

* The dye, wavelength by wavelength within its spread, by slopes: the stack is worked out once more
  with the dye of each system a little stronger, at a few wavelengths.
* Where the weight is told and no count, how warp and weft share it: the cloth is worked out once
  more with its counts at one end of what they may be.
* The build of the yarns: counts, flattening, packing, filaments and twist within the ranges that
  the cloth's own file tells, but for what cannot be woven; and what each of them does to the even
  light of one layer, by slopes that were taken from cloths drawn so and traced (``python -m
  tests.ranges --slopes``). Layers are then laid one under the other. Sheen errs besides, for each
  way of light by itself.

A cloth that was fitted keeps what the fit left open of dye and build together: it is drawn from
that, and single layers of its constructions are traced (``fitted``). Such draws are by slopes, and
what is left open lies along a bent line: cloths far apart show the same where it was photographed.
So what draws show there beyond what the pictures were unsure of is taken off them, and with it what
goes along with it elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial
from hashlib import blake2b
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.colour.colorimetry import ciede2000, readings_lab
from weavecolor.colour.screen import camera_channels, channels_in_light
from weavecolor.colour.spectra import BANDS, WAVELENGTHS, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.optics.adding import GAPS, as_stack, over_backings
from weavecolor.optics.appearance import (
    by_views,
    lit_by,
    named_direction,
    radiance,
    radiances,
    seen_optics,
    viewer_pile,
)
from weavecolor.optics.cell import filaments
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.dye import BY_EYE, absorption, dye_of, from_colour
from weavecolor.optics.fitted import GROUNDS, Looks, left_open, looks_of, might, moves
from weavecolor.optics.layer import Solved, content, laid, solved, strand
from weavecolor.optics.ovalrod import thrown
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import COVERAGE, known_of, lobed, sort_of
from weavecolor.scene.backings import PAPER, Backing
from weavecolor.scene.places import PHOTO_SCENE, illumination
from weavecolor.scene.places import scene as named
from weavecolor.scene.scene import APERTURE_DEG, Light, Scene
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.construction import (
    check_weavable,
    covers,
    geometry_of,
    pressed,
    share_range,
)
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.usual import COUNT_OFF
from weavecolor.textile.yarn import greatest_packing

Array = NDArray[np.float64]

#: How many draws: enough for the ninth tenth to lie within a tenth of itself.
DRAWS = 200


@dataclass(frozen=True)
class Build:
    """What the unknown build of a sort of yarn does to a layer, in even light.

    ``hinders`` and ``back``: by what share what hinders the light (the logarithm of what is let
    through) grows, and by how much the logarithm of what is sent back, with each of the
    :func:`_causes`: for black thread, and by how much more for white. ``own``: standard deviations
    of what else moves both, as index, crimp and what no slope follows do.
    """

    hinders: tuple[tuple[float, float], ...]
    back: tuple[tuple[float, float], ...]
    own: tuple[float, float]


_HINDERS = (0.84, -0.62), (0.44, -0.21), (0.09, 0.34), (-0.27, 0.09)
_BACK = (-0.06, 0.62), (0.31, -0.03), (-0.04, 0.26), (0.26, -0.41)
#: By sort of yarn (:data:`weavecolor.optics.uncertainty.SORTS`).
BUILD: Mapping[str, Build] = MappingProxyType(
    {
        "rods": Build(
            ((1.31, 0.27), (-0.30, 1.84)), ((0.54, 0.64), (0.77, 0.72)), (0.065, 0.06)
        ),
        "filaments": Build(_HINDERS, _BACK, (0.05, 0.055)),
        "spun": Build(_HINDERS, _BACK, (0.045, 0.065)),
    }
)
#: The same of lobed filaments against round ones of their mass (:func:`uncertainty.lobed`, 1), by
#: the reflectance of their wound thread, which is told and so has more dye in it: explicit
#: filaments traced in even light, mean of two cloths (tests/data/lobed.json).
_WOUND, _LOBED = (0.16, 0.36, 0.72), ((0.40, 0.73, 0.68), (-0.11, 0.02, 0.34))
#: Draws tried for each that is kept, and the cover below which cloth can always be woven.
_TRIED, _OPEN = 3, 0.3
#: A rod this much wider than high goes half of the way from what is round: light finds at once
#: another way through it.
_OVAL = 0.15
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
#: Share of the variance that errors of warp and weft have in common: one maker, one fibre, one
#: bath; and errors of sheen of lights that come over the cloth at one turn (by judgement, no
#: source).
ALIKE = 0.7
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
#: Over how many nm an error of a dye goes over into another.
_NEAR = 80.0
#: Bands at which slopes are taken; ln sigma is moved by its spread, and by this at least.
_AT = np.arange(0, BANDS, 5)
_MOVE = 0.25
_SIDES = np.array([-1.0, 1.0, 2.0])
#: With more directions than this, slopes of one system are taken at a time.
_MANY = 64
#: Place without a light from one side.
_EVEN = "overcast"
#: Reflectance of the ground that tells what a stack lets through there and back.
_GROUND = GROUNDS[1]
_GROUNDS = tuple(zip(("nothing", "white ground"), GROUNDS, strict=True))
#: Factors below this are taken as this, so that they have logarithms.
_LEAST = 1e-6
#: However dull a cloth may be, it sends back this share of what is foretold.
_LEFT = 0.25
#: Steps in which draws are brought to what was photographed; one that leads away is halved.
_TIMES = 4


def dye_slopes(
    stack: Stack,
    scenes: Sequence[Scene],
    cloths: Sequence[Cloth],
    spreads: Sequence[Array],
    looks: Sequence[Array],
) -> Array:
    """How the logarithms of a look in each scene move with ln sigma of each cloth's warp and weft.

    Parameters
    ----------
    stack : Stack
        With at least one layer; its backing does not count.
    scenes : sequence of Scene
        S of them.
    cloths : sequence of Cloth
        C of the stack's.
    spreads : sequence of ndarray, shape (2, 41)
        Of each of them, how far ln sigma of warp and weft is moved to either side, 0.25 at least.
    looks : sequence of ndarray, shape (2, 41)
        In each scene, what slopes are taken of, with the dye as it is.

    Returns
    -------
    ndarray, shape (S, C, 2, 3, 2, 41)
        By scene, cloth, system (warp, weft), side (less dye, more, and beyond as much more), and
        what is looked at: sent back by the stack alone, and got from a white ground behind it.
        In very dark dye light hardly falls with more of it, in pale dye ever faster.

    Examples
    --------
    >>> slopes = dye_slopes(
    ...     single, [window], [organza], [np.zeros((2, 41))], sent_and_got(single, [window])
    ... )
    >>> slopes.shape, bool(np.all(slopes.mean(axis=-1) < 0.0))  # more dye, less light
    ((1, 1, 2, 3, 2, 41), True)
    """
    from scipy.interpolate import PchipInterpolator  # slow to load

    moves = np.maximum(np.array(spreads)[..., _AT], _MOVE)  # (C, 2, bands)
    moved = [
        (content(cloth), system, move)
        for cloth, both in zip(cloths, moves, strict=True) for system, move in enumerate(both)
    ]  # fmt: skip
    ways, _ = lit_by(scenes)
    # with many directions, as of folds, one at a time: together they would take much room
    each = len(moved) if len(ways.above) + len(ways.below) <= _MANY else 1
    logs = np.concatenate(
        [_dyed(stack, scenes, moved[k : k + each]) for k in range(0, len(moved), each)], axis=2
    )
    gone = logs - _logs(np.array(looks)[..., _AT])[:, :, None, None]
    gone = np.moveaxis(gone.reshape(len(looks), 2, len(cloths), 2, _SIDES.size, -1), 1, 3)
    less, more, much = np.moveaxis(gone, 4, 0)
    slopes = np.stack([-less, more, much - more], axis=3) / moves[:, :, None, None]
    return np.asarray(PchipInterpolator(WAVELENGTHS[_AT], slopes, axis=-1)(WAVELENGTHS))


def _dyed(
    stack: Stack, scenes: Sequence[Scene], moved: Sequence[tuple[object, int, Array]]
) -> Array:
    """Logarithms (S, 2, V, sides, bands) of what a stack sends back alone and gets from a white
    ground, where each of the V ``moved``, a cloth's content and its system, has ln sigma moved by
    so much (bands,) to each of the sides."""
    made: dict[object, Solved] = {}
    variants = _SIDES.size * len(moved)
    for key, cloth in {content(x.cloth): x.cloth for x in stack.layers}.items():
        kept = solved(cloth)
        sigma = np.repeat(kept.absorption[None, _AT], variants, axis=0)
        for k, (mine, system, move) in enumerate(moved):
            if key == mine:
                own = slice(_SIDES.size * k, _SIDES.size * (k + 1))
                sigma[own, :, system] *= np.exp(_SIDES[:, None] * move)
        flat = sigma.reshape(-1, 2)
        made[key] = replace(kept, absorption=flat, node=kept.white.dyed(flat))
    ways, lit = lit_by(scenes)
    start = stack.layers[0].grain_deg
    above, below = (
        tuple(named_direction(way, start) for way in side) for side in (ways.above, ways.below)
    )
    ones = [(content(x.cloth), (x.grain_deg - start) % 360.0, x.face) for x in stack.layers]
    piles = {
        one: as_stack(
            laid(made[one[0]], float(np.radians(one[1])), one[2] == "back", above, below,
                 links=ways.links, rays=ways.rays)
        )
        for one in dict.fromkeys(ones)
    }  # fmt: skip
    pile = viewer_pile([piles[one] for one in ones], stack.lay)
    grounds = [np.full(variants * _AT.size, rho) for _, rho in _GROUNDS]
    factors = over_backings(pile, grounds, GAPS[stack.lay])
    out = []
    for one in (each.at(_AT) for each in lit):
        all_ = one.repeated(variants)
        dark, light = (radiance(pile, over, all_, False) for over in factors)
        out.append(_logs(np.stack([dark, light - dark])).reshape(2, len(moved), _SIDES.size, -1))
    return np.stack(out)


def _logs(look: Array) -> Array:
    return np.asarray(np.log(np.maximum(look, _LEAST)))


def sent_and_got(stack: Stack, scenes: Sequence[Scene]) -> list[Array]:
    """In each scene (2, 41), as radiance: what a stack sends back by itself, and what it gets from
    a white ground behind it.

    Examples
    --------
    >>> sent_and_got(single, [window])[0].shape
    (2, 41)
    """
    grounds = [Backing(name, frozen(np.full(BANDS, rho))) for name, rho in _GROUNDS]
    return [np.stack([dark, light - dark]) for dark, light in radiances(stack, grounds, scenes)]


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
    return lots_in(stack, backings, (scene,), observer)[0]


def lots_in(
    stack: Stack,
    backings: Sequence[Backing | None],
    scenes: Sequence[Scene],
    observer: str = "2",
) -> list[list[Array]]:
    """As :func:`lots`, in several scenes: laid once for all of them and all backings.

    Parameters
    ----------
    stack, backings, observer
        As for :func:`lots`.
    scenes : sequence of Scene

    Returns
    -------
    list of lists of ndarray, shape (DRAWS, 3)
        By scene, then by backing.

    Examples
    --------
    >>> drawn = lots_in(single, [backing("white"), None], [window])
    >>> len(drawn), len(drawn[0])
    (1, 2)
    """
    layers = tuple(map(_lies, stack.layers))
    drawn = _sent.fetch(
        [(layers, stack.lay, scene) for scene in scenes],
        lambda missing: _drawn(stack, [key[-1] for key in missing]),
    )
    out = []
    count = len(backings)
    sides_of = [_sides_of(behind, side) for side in (0, 1) for behind in backings]
    seen = radiances(stack, [*backings, *sides_of], scenes)
    for scene, looks, (dark, sent, let) in zip(scenes, seen, drawn, strict=True):
        falls, own = illumination(scene), []
        for k, behind in enumerate(backings):
            look, *sides = looks[k::count]
            once = 0.5 if behind is None else 1.0  # light from behind goes through but once
            might = sent + (look - dark) * np.exp(once * let) + _aside(behind, look, sides)
            own.append(readings_lab(might, falls, scene.white, observer))
        out.append(own)
    return out


def _sides_of(behind: Backing | None, side: int) -> Backing | None:
    """A backing in which light goes as far aside as it may, or as little."""
    if behind is None or behind.inside is None:
        return behind
    return replace(behind, inside=behind.inside.times(behind.inside.doubt ** (2 * side - 1)))


def _aside(behind: Backing | None, look: Spectrum, sides: Sequence[Spectrum]) -> Array:
    """By how much a look (41,) might be otherwise, (DRAWS, 41), for light goes further aside in
    what is behind, or less far; ``sides``: the look where it goes furthest and least. One matter
    errs alike, whatever lies on it."""
    if behind is None or behind.inside is None:
        return np.zeros((1, 1))
    matter = [int(1e6 * x) for x in behind.inside.scattering[:1]]
    drawn = np.random.default_rng([*matter, 12]).normal(size=(DRAWS, 1)) / COVERAGE
    far, near = (side - look for side in sides)
    return np.asarray(np.where(drawn < 0.0, -drawn * far, drawn * near))


_Sent = tuple[Array, Array, Array]
#: Of a stack in a scene: what it sends back by itself (41,); draws (DRAWS, 41) of that, and of the
#: logarithm of how much more it might let through.
_sent: Kept[tuple[Any, ...], _Sent] = Kept(
    64,
    packed=Packed(
        "lots",
        lambda key: (*key[:-1], key[-1].told(), filaments.EFFORT),
        lambda made: dict(zip(("dark", "sent", "let"), made, strict=True)),
        lambda _, arrays: (arrays["dark"], arrays["sent"], arrays["let"]),
    ),
)


def _drawn(stack: Stack, scenes: Sequence[Scene]) -> list[_Sent]:
    """As in :data:`_sent`, of scenes with views as the mean of these."""
    return by_views(scenes, partial(_alone, stack), partial(_together, stack))


def _together(stack: Stack, views: Sequence[Scene]) -> _Sent:
    """As in :data:`_sent`, of views that are all as large: the means of what they send, and of what
    they get through."""
    dark, sent, let = map(np.stack, zip(*_alone(stack, views), strict=True))
    got = np.array([got for _, got in sent_and_got(stack, views)])[:, None]
    more = (got * np.exp(let)).mean(axis=0) / np.maximum(got.mean(axis=0), _LEAST)
    return dark.mean(axis=0), sent.mean(axis=0), _logs(more)


def _alone(stack: Stack, scenes: Sequence[Scene]) -> list[_Sent]:
    """As in :data:`_sent`, of scenes without views, held to what was photographed of each of the
    cloths."""
    out = _free(stack, scenes)
    for cloth in {content(x.cloth): x.cloth for x in stack.layers}.values():
        looks = looks_of(cloth)
        if looks is None or left_open(cloth) is None:
            continue
        held = _photographed.one(
            (content(cloth), cloth.known), lambda c=cloth, seen=looks: _held(c, seen)  # type: ignore[misc]
        )
        out = [_without(one, *held) for one in out]
    return out


def _without(one: _Sent, shown: Array, beyond: Array) -> _Sent:
    """Draws less what goes, in them, with ``beyond`` of what they ``shown`` (DRAWS, p)."""
    dark, sent, let = one
    errors = np.concatenate([_logs(sent) - _logs(dark), let], axis=1)
    errors -= beyond @ np.linalg.lstsq(shown, errors, rcond=None)[0]
    return dark, np.exp(_logs(dark) + errors[:, :BANDS]), errors[:, BANDS:]


#: Of a fitted cloth, by how much draws (DRAWS, p) differ from it where it was photographed, and how
#: much of that is more than the pictures were unsure.
_photographed: Kept[tuple[Any, ...], tuple[Array, Array]] = Kept(
    16,
    packed=Packed(
        "photographed",
        lambda key: (*key, filaments.EFFORT),
        lambda made: dict(zip(("shown", "beyond"), made, strict=True)),
        lambda _, arrays: (arrays["shown"], arrays["beyond"]),
    ),
)


def _held(cloth: Cloth, looks: Looks) -> tuple[Array, Array]:
    """As in :data:`_photographed`, by how the cloth ``looks`` in its pictures.

    The draws are shrunk, in the directions where they are wider than the pictures, to the pictures'
    covariance: a square root filter (P. L. Houtekamer and F. Zhang, Monthly Weather Review 144
    (2016) 4489, from memory). What the cloth itself misses the pictures by counts as unsure.
    """
    place = named(PHOTO_SCENE)
    channels = channels_in_light(camera_channels(), illumination(place)) / illumination(place)
    free: list[_Sent] = []
    own = []
    bare: dict[tuple[float, bool], _Sent] = {}  # over however many grounds
    for grain, face, ground in looks.lies:
        behind = Backing("the paper", frozen(np.full(BANDS, ground)), PAPER)
        stack = Stack((Layer(cloth, grain, "face" if face else "back"),), behind)
        if (grain, face) not in bare:
            (bare[grain, face],) = _free(stack, [place])
        free.append(bare[grain, face])
        own += radiances(stack, [behind], [place])[0]

    def seen(drawn: Sequence[_Sent]) -> Array:
        """By how much draws look otherwise than the cloth itself (DRAWS, p)."""
        each = [
            (sent + (look - dark) * np.exp(let) - look) @ channels.T
            for look, (dark, sent, let) in zip(own, drawn, strict=True)
        ]
        return np.concatenate(each, axis=1)

    shown = seen(free)
    missed = (looks.values - own @ channels.T).ravel()
    aim = looks.covariance + np.outer(missed, missed)
    if glint := _glint(cloth):
        lamps = sum(x.on_cloth.sum() for x in place.in_front) / illumination(place).sum()
        ways = [way[:2] for way in looks.lies]  # over however many grounds it is the same
        alike = np.array([[one == other for other in ways] for one in ways], float)
        aim += (glint * lamps) ** 2 * np.kron(alike, np.ones((3, 3)))
    spread = shown.T @ shown / len(shown)
    root = np.linalg.cholesky(spread + 1e-6 * np.trace(spread) * np.eye(len(spread)))
    as_wide = np.linalg.solve(root, np.linalg.solve(root, aim).T)
    value, vector = np.linalg.eigh(as_wide)
    kept = (vector * np.sqrt(np.clip(value, 0.0, 1.0))) @ vector.T
    wanted = np.linalg.solve(root, shown.T).T @ kept @ root.T

    def left(beyond: Array) -> Array:
        return np.asarray(seen([_without(one, shown, beyond) for one in free]) - wanted)

    return shown, _ended(left, shown - wanted)


def _ended(left: Callable[[Array], Array], off: Array) -> Array:
    """What brings each row of ``off`` (n, p), which is ``left`` of nought, nearest to nought, by
    steps as long as what is left; of one that leads away, or nowhere, half is tried."""
    at, step = np.zeros_like(off), np.ones((len(off), 1))
    for _ in range(_TIMES):  # looks are no straight line in what is drawn
        tried = at + step * off
        with np.errstate(over="ignore", invalid="ignore"):
            then = left(tried)
        took = (np.linalg.norm(then, axis=1) < np.linalg.norm(off, axis=1))[:, None]
        at, off = np.where(took, tried, at), np.where(took, then, off)
        step = np.where(took, 1.0, 0.5 * step)
    return at


def _free(stack: Stack, scenes: Sequence[Scene]) -> list[_Sent]:
    """As in :data:`_sent`, whatever was photographed."""
    if not stack.layers:
        none = np.zeros((DRAWS, BANDS))
        return [(none[0], none, none)] * len(scenes)
    looks = sent_and_got(stack, scenes)
    out = []
    for scene, (dark, _), each, slopes, (more_back, more_let) in zip(
        scenes, looks, _sent_of_each(stack, scenes), _slopes(stack, scenes, looks),
        _of_layers(stack, scenes), strict=True,
    ):  # fmt: skip
        back, let, sheen, glints = _errors(stack, scene, slopes, each)
        sent = np.exp(back + more_back) * (dark + sheen)
        out.append((dark, np.maximum(sent + glints, _LEFT * sent), let + more_let))
    return out


def _of_layers(stack: Stack, scenes: Sequence[Scene]) -> list[tuple[Array, Array]]:
    """In each scene, draws (DRAWS, 41) of what the build of the cloths adds to the logarithms of
    what a stack sends back by itself and gets from a white ground.

    Each layer's own light as its cloth might be, laid one under the other as even light would be
    (P. Kubelka, JOSA 44 (1954) 330), against the same of the layers as they are.
    """
    ones = {_lies(x): x for x in stack.layers}
    cloths = [x.cloth for x in ones.values()]
    if not any(
        known_of([one]).yarn_left or left_open(one) is not None or _lobed(one).any()
        for one in cloths
    ):
        none = np.zeros((1, 1))
        return [(none, none)] * len(scenes)
    alone = {one: sent_and_got(Stack((x,)), scenes) for one, x in ones.items()}
    even = {one: _sent_of_each(Stack((x,)), scenes) for one, x in ones.items()}
    told = {one: (_by_build(x, scenes), _by_share(x.cloth)) for one, x in ones.items()}
    out = []
    for k, scene in enumerate(scenes):
        falls = np.maximum(illumination(scene), _LEAST)
        own = {}
        for one, x in ones.items():
            light = alone[one][k] / falls / [[1.0], [_GROUND]]
            build, shared = told[one]
            off = build[k] + shared + _by_causes(x.cloth, light)
            own[one] = np.vstack([light, even[one][k][1]]), off[:, [0, 1, 0]]
        each = [own[_lies(x)] for x in stack.layers]
        base = _one_under_the_other([light[None] for light, _ in each])
        moved = _one_under_the_other([light * np.exp(off) for light, off in each])
        gone = _logs(moved) - _logs(base)
        out.append((gone[:, 0], gone[:, 1]))
    return out


def _by_causes(cloth: Cloth, light: Array) -> Array:
    """Draws (DRAWS, 2, 41) of errors of the logarithms of one layer's ``light`` (2, 41), sent back
    and let through there and back, by the build of a cloth that was described."""
    if left_open(cloth) is not None:
        return np.zeros((1, 2, BANDS))
    (more, back), _ = _kept_build(cloth)
    return np.stack([back, more * np.log(np.clip(light[1], 1e-4, 1.0))], axis=1)


def _by_share(cloth: Cloth) -> Array:
    """Draws (DRAWS, 2, 41) of errors of the logarithms of one layer's light, by how warp and weft
    share a weight: as even light shows them, along the straight line to one end of the range, which
    holds nine in ten, and as far the other way."""
    if not _shares_weight(cloth):
        return np.zeros((DRAWS, 2, BANDS))
    known = dict(cloth.known)
    fine, thick = known["warp.count"].low, known["weft.count"].high
    end = _woven_nearest(cloth, fine or cloth.warp.tex, thick or cloth.weft.tex)
    was, moved = (
        _logs(sent_and_got(Stack((Layer(one),)), [named(_EVEN)])[0]) for one in (cloth, end)
    )
    drawn = np.random.default_rng([_seed(cloth), 7]).normal(size=DRAWS) / COVERAGE
    return np.asarray(drawn[:, None, None] * (moved - was))


def _shares_weight(cloth: Cloth) -> bool:
    """Whether the weight alone told both counts: what one yarn has more the other has less."""
    known = dict(cloth.known)
    hows = [known.get(f"{system}.count", HowKnown.stated()) for system in ("warp", "weft")]
    return cloth.declared_g_m2 is not None and all(how.way == "assumed" for how in hows)


def _woven_nearest(cloth: Cloth, warp_tex: float, weft_tex: float) -> Cloth:
    """The cloth of yarns of these counts, or as far towards them as it can be woven."""
    for near in (1.0, 0.5, 0.25):
        try:
            warp, weft = (
                replace(
                    yarn, tex=yarn.tex * (times := (tex / yarn.tex) ** near),
                    filaments=1 if yarn.filaments == 1 else max(2, round(yarn.filaments * times)),
                )
                for yarn, tex in ((cloth.warp, warp_tex), (cloth.weft, weft_tex))
            )  # fmt: skip
            made = pressed(replace(cloth, warp=warp, weft=weft, warp_share=None))
            check_weavable(made)
        except InputError:
            continue
        return made
    return cloth


def _lies(layer: Layer) -> tuple[Any, ...]:
    cloth = layer.cloth
    told = cloth.warp.hand, cloth.weft.hand
    return content(cloth), cloth.known, told, layer.grain_deg, layer.face


def _by_build(layer: Layer, scenes: Sequence[Scene]) -> list[Array]:
    """In each scene, draws (DRAWS, 2, 41) of errors of the logarithms of one layer's light."""
    root, drawn = left_open(layer.cloth), _left_open(layer.cloth)
    if root is None or drawn is None:
        return [np.zeros((1, 2, BANDS))] * len(scenes)
    slow, _ = drawn
    met = np.random.default_rng([_seed(layer.cloth), 4])
    lies = [(scene, layer.grain_deg, layer.face) for scene in scenes]
    found = moves(layer.cloth, root, lies)
    which = met.integers(len(found[0].missed), size=DRAWS)
    return [one.of(slow, which) for one in found]


def _one_under_the_other(layers: Sequence[Array]) -> Array:
    """What layers (Z, 3, 41) send back and let through there and back, together (Z, 2, 41), where
    each also tells what it would send back of even light, as that is which goes to and fro."""
    *upper, last = (np.moveaxis(layer, 1, 0) for layer in layers)
    back, let, even = last
    for sends, lets, evenly in reversed(upper):
        again = 1.0 / (1.0 - np.minimum(evenly * even, 0.9))
        back, let = sends + lets * back * again, lets * let * again**2
        even = evenly + lets * even * again
    return np.stack([back, let], axis=1)


def _slopes(
    stack: Stack, scenes: Sequence[Scene], looks: Sequence[Array]
) -> list[list[tuple[Cloth, Array, Array]]]:
    """In each scene, of each cloth whose dye is not told: it, its spreads (2, 41), its slopes."""
    cloths = {content(x.cloth): x.cloth for x in stack.layers}.values()
    open_ = [(cloth, spread) for cloth in cloths if (spread := _spreads(cloth)).any()]
    if not open_:
        return [[] for _ in scenes]
    dyed, spreads = zip(*open_, strict=True)
    made = dye_slopes(stack, scenes, dyed, spreads, looks)
    return [list(zip(dyed, spreads, one, strict=True)) for one in made]


def _errors(
    stack: Stack,
    scene: Scene,
    slopes: list[tuple[Cloth, Array, Array]],
    each: tuple[Array, Array],
) -> tuple[Array, Array, Array, Array]:
    """Draws (DRAWS, 41) of errors: by the dye, of the logarithms of what a stack sends back and of
    what it lets through, there and back; of its sheen, as radiance, where of the scene's lights in
    front it sends back, and its share of even light, ``each`` (L, 41), (41,); and of glints.
    """
    sent, even = each
    shone = np.zeros((len(sent), DRAWS, BANDS))
    back, let, glints = np.zeros((3, DRAWS, BANDS))
    cloths = list({content(x.cloth): x.cloth for x in stack.layers}.values())
    for cloth, wide, slope in slopes:
        drawn = _dye_errors(cloth, wide)
        step = np.maximum(wide, _MOVE)
        parts = np.minimum(drawn, 0.0), np.clip(drawn, 0.0, step), np.maximum(drawn - step, 0.0)
        for side, part in enumerate(parts):
            back += np.einsum("zsb,sb->zb", part, slope[:, side, 0])
            let += np.einsum("zsb,sb->zb", part, slope[:, side, 1])
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
        if glint := _glint(cloth):
            met = np.random.default_rng([_seed(cloth), 5])
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
        (_, by_build), shine = _kept_build(cloth)
        drawn = known.yarn_left * _shines(cloth)
        drawn[:, :, 0] *= shine.ahead / shine.astray
        tint, whole = _tint(cloth), sum(share for _, share in own_layers)
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
    return back, let, np.einsum("ldb,lb->db", np.expm1(shone), sent), glints


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


def _glint(cloth: Cloth) -> float:
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


def _sent_of_each(stack: Stack, scenes: Sequence[Scene]) -> list[tuple[Array, Array]]:
    """In each scene: what a stack by itself sends back of each light in front (L, 41), as radiance,
    and what share it would of even light (41,)."""
    ways, each = lit_by(scenes)
    pile = seen_optics(stack, ways.above, ways.below, links=ways.links, rays=ways.rays)
    out = []
    for lit in each:
        front, eye = [1 + k for k in lit.front], 1 + lit.eye
        falls = lit.falls[: len(front)]
        sent = pile.reflect[:, eye, front].T * falls
        out.append((sent, pile.reflect[:, eye] @ pile.share))
    return out


def _spreads(cloth: Cloth) -> Array:
    """Standard errors (2, 41) of ln sigma of warp and weft, 0 where what is known of the colour
    tells its own: a reading with its spread, or a fit that does not keep what it left open."""
    known, drawn = dict(cloth.known), _left_open(cloth)
    if drawn is not None:
        return np.asarray(drawn[1].std(axis=0))
    out = np.zeros((2, BANDS))
    for row, system, yarn in zip(out, ("warp", "weft"), (cloth.warp, cloth.weft), strict=True):
        how = known.get(f"{system}.colour", HowKnown.stated())
        if how.way == "assumed" and yarn.absorption is None:
            off = 0.0 if how.low is None or how.high is None else 0.5 * (how.high - how.low)
            row[:] = from_colour(yarn.colour, yarn, max(BY_EYE, off / COVERAGE)).spread
        elif how.way != "fitted" and not how.spread:
            row[:] = dye_of(yarn).spread
    return out


def _seed(cloth: Cloth) -> int:
    """By content: what a cloth might be never depends on what it is compared with. Of a fitted one
    by what its fit left open, which its file keeps to the last digit."""
    root = left_open(cloth)
    told = content(cloth) if root is None else root.tolist()
    return int.from_bytes(blake2b(repr(told).encode(), digest_size=8).digest(), "big")


def _builds(cloth: Cloth) -> Array:
    """Normal draws (2, DRAWS) of what else of a cloth's build nobody told."""
    return np.random.default_rng([_seed(cloth), 1]).normal(size=(2, DRAWS))


def _shines(cloth: Cloth) -> Array:
    """Normal draws (2, 2, zeniths, turns, DRAWS) of errors of sheen, on either side, of both
    systems and of warp against weft, for light from each of :data:`_APART`. A cylinder mirrors all
    of a fan square to it: light that comes across a thread shows the same thread, at any height."""
    each = np.random.default_rng([_seed(cloth), 8]).normal(
        size=(2, 2, 1 + _APART.size, _APART.size, DRAWS)
    )
    fan, own = each[:, :, :1], each[:, :, 1:]
    own[:, :, 1:] = np.sqrt(ALIKE) * fan + np.sqrt(1.0 - ALIKE) * own[:, :, 1:]
    return np.asarray(own)


def _hands(cloth: Cloth) -> Array:
    """Draws (2, DRAWS, 41) of by how much more warp and weft of a described cloth send back, in
    logarithms, of light that shows the hand of their twist most: as it is traced, the other, or
    both by turns, alike likely (by judgement, no source) where nobody told it."""
    drawn = np.random.default_rng([_seed(cloth), 9]).integers(3, size=(2, DRAWS)) / 2.0
    out, tint = np.zeros((2, DRAWS, BANDS)), _tint(cloth)
    if left_open(cloth) is not None:
        return out
    for k, (yarn, sent) in enumerate(((cloth.warp, 1.0 + tint), (cloth.weft, 1.0 - tint))):
        if sort_of(yarn) != "rods" and not yarn.hand:
            slant = 0.5 * yarn.diameter_mm * abs(strand(yarn).twist)
            most = _HAND * min(1.0, slant / _SLANT) * (1.0 - _CORNERS * float(lobed(yarn.section)))
            out[k] = np.outer(drawn[k], most * sent * (0.5 + 0.5 * yarn.colour))
    return out


@dataclass(frozen=True, eq=False)
class _Built:
    """Draws (DRAWS,) of what a yarn may be: logarithms of count, flattening, packing and number of
    filaments; ``told``: the yarn that was told. Twist moves even light next to not."""

    told: Yarn
    tex: Array
    flattening: Array
    packing: Array
    filaments: Array

    @property
    def sort(self) -> str:
        return sort_of(self.told)

    def only(self, kept: NDArray[np.int64]) -> _Built:
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
        width and how far from round they are; of many fibres the logarithms of count, flattening,
        number and packing."""
        told = self.told
        tex, packing = self.tex - np.log(told.tex), self.packing - np.log(told.packing)
        flat = self.flattening - np.log(told.flattening)
        if self.sort == "rods":
            wide, was = np.exp(self.flattening) - 1.0, told.flattening - 1.0
            oval = wide / (wide + _OVAL) - was / (was + _OVAL)
            return np.array([0.5 * (tex + flat - packing), oval])
        return np.array([tex, flat, self.filaments - np.log(told.filaments), packing])


def _built(cloth: Cloth) -> tuple[_Built, _Built]:
    """Warp and weft as they may be, by how each of their numbers is known: of one kind they err
    mostly alike. Of a weight that was told alone both are heavier together. What cannot be woven is
    drawn anew."""
    known, rng = dict(cloth.known), np.random.default_rng([_seed(cloth), 6])
    both, *own = rng.normal(size=(3, 4, _TRIED * DRAWS))
    warp, weft = cloth.warp, cloth.weft
    alike = ALIKE if (warp.fibre, warp.kind) == (weft.fibre, weft.kind) else 0.0
    out = []
    for system, yarn, mine in zip(("warp", "weft"), (warp, weft), own, strict=True):
        z = np.sqrt(alike) * both + np.sqrt(1.0 - alike) * mine

        def might(key: str, told: float, z: Array, system: str = system) -> Array:
            return _might(known.get(f"{system}.{key}", HowKnown.stated()), told, z)

        if _shares_weight(cloth):
            tex = np.log(yarn.tex) + both[0] * np.log1p(COUNT_OFF) / COVERAGE
        else:
            tex = might("count", yarn.tex, z[0])
        number = might("filaments", yarn.filaments, z[3])
        if f"{system}.filaments" in known:  # as fine in yarn of another count
            number = number + tex - np.log(yarn.tex)
        most = np.log(1.0 if yarn.gum else greatest_packing(yarn.filaments))
        out.append(_Built(
            yarn, tex,
            np.maximum(might("flattening", yarn.flattening, z[1]), 0.0),
            np.minimum(might("packing", yarn.packing, z[2]), max(most, np.log(yarn.packing))),
            number,
        ))  # fmt: skip
    warps, wefts = out
    kept = np.resize(_woven(cloth, warps, wefts), DRAWS)
    return warps.only(kept), wefts.only(kept)


def _woven(cloth: Cloth, warps: _Built, wefts: _Built) -> NDArray[np.int64]:
    """Which draws can be woven, as many as are asked for; of open cloth the first."""
    if max(covers(cloth)) < _OPEN:
        return np.arange(DRAWS)
    found: list[int] = []
    for k in range(warps.tex.size):
        try:
            check_weavable(replace(cloth, warp=warps.yarn(k), weft=wefts.yarn(k), known=()))
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


#: Of a cloth, what :func:`_moved` and :func:`_shine` tell.
_of_build: Kept[tuple[Any, ...], tuple[tuple[Array, Array], _Shine]] = Kept(16)


def _kept_build(cloth: Cloth) -> tuple[tuple[Array, Array], _Shine]:
    def make() -> tuple[tuple[Array, Array], _Shine]:
        yarns = _built(cloth)
        return _moved(cloth, yarns), _shine(cloth, yarns)

    return _of_build.one((content(cloth), cloth.known), make)


def _moved(cloth: Cloth, yarns: tuple[_Built, _Built]) -> tuple[Array, Array]:
    """Draws (DRAWS, 41) of by what share more hinders the light in a layer, and of the logarithm of
    how much more it sends back, by its build."""
    left = known_of([cloth]).yarn_left
    pale, tint = 0.5 * (cloth.warp.colour + cloth.weft.colour), _tint(cloth)
    more = np.zeros((2, DRAWS, BANDS))
    for yarn, sent in zip(yarns, (1.0 + tint, 1.0 - tint), strict=True):
        build, causes = BUILD[yarn.sort], yarn.causes()
        for one, (hinders, back) in zip(
            causes, zip(build.hinders, build.back, strict=True), strict=True
        ):
            more[0] += 0.5 * np.outer(one, hinders[0] + hinders[1] * pale)
            more[1] += 0.5 * np.outer(one, sent * (back[0] + back[1] * pale))
    darker, brighter = (np.interp(pale, _WOUND, told) for told in _LOBED)
    for far, sent in zip(_lobed(cloth), (1.0 + tint, 1.0 - tint), strict=True):
        more[0] += 0.5 * np.outer(far, darker)
        more[1] += 0.5 * np.outer(far, sent * brighter)
    own = np.mean([BUILD[yarn.sort].own for yarn in yarns], axis=0)
    more += left * own[:, None, None] * _builds(cloth)[..., None]
    return more[0], more[1]


def _lobed(cloth: Cloth) -> Array:
    """Draws (2, DRAWS) of how much more lobed the filaments of warp and weft of a described cloth
    are than told: of one fibre alike."""
    if left_open(cloth) is not None:
        return np.zeros((2, DRAWS))
    known, rng = dict(cloth.known), np.random.default_rng([_seed(cloth), 10])
    z = rng.normal(size=(2, DRAWS))
    out = []
    for k, (system, yarn) in enumerate((("warp", cloth.warp), ("weft", cloth.weft))):
        which = 0 if cloth.warp.fibre == cloth.weft.fibre else k
        how = known.get(f"{system}.section", HowKnown.stated())
        drawn = np.exp(_might(how, yarn.section, z[which]))
        out.append((lobed(drawn) - lobed(yarn.section)) * (yarn.rods > 2))
    return np.array(out)


def _tint(cloth: Cloth) -> Array:
    """By how much more the warp shows than the weft, by wavelength (41,): -1 to 1."""
    warp, weft = (np.maximum(yarn.colour, _LEAST) for yarn in (cloth.warp, cloth.weft))
    return np.asarray((warp - weft) / (warp + weft))


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
        part = ((logs - at[below]) / max(at[1] - at[0], _LEAST))[:, None]
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


def _shine(cloth: Cloth, yarns: tuple[_Built, _Built]) -> _Shine:
    """How sheen of lights from one side errs, by draws of the ``yarns`` and of how warp and weft
    share their crimp."""
    made, told = geometry_of(cloth), (cloth.warp, cloth.weft)
    low, high = share_range(cloth)
    measured = dict(cloth.known).get("warp_share", HowKnown.stated()).spread
    spread = measured or known_of([cloth]).yarn_left * _CRIMP_SHARED
    drawn = np.random.default_rng([_seed(cloth), 11]).normal(size=1 + DRAWS)
    share = made.warp_share + spread * drawn
    share = np.clip(share, max(low, 0.05), max(min(high, 0.95), low))
    share[0] = made.warp_share
    area, flat = np.zeros((2, 2, 1 + DRAWS))  # logarithms, less what was told
    for k, yarn in enumerate(yarns):
        area[k, 1:] = yarn.tex - yarn.packing - np.log(told[k].tex / told[k].packing)
        flat[k, 1:] = yarn.flattening - np.log(told[k].flattening)
    spacings = np.array([[made.warp_spacing], [made.weft_spacing]])
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


def _dye_errors(cloth: Cloth, wide: Array) -> Array:
    """Draws (DRAWS, 2, 41) of errors of ln sigma, of standard errors ``wide`` (2, 41)."""
    drawn = _left_open(cloth)
    return _dyes(cloth) * wide if drawn is None else drawn[1]


def _left_open(cloth: Cloth) -> tuple[Array, Array] | None:
    """Draws of the slow numbers (DRAWS, SLOW) and of ln of both dyes (DRAWS, 2, 41) that a fit left
    open; None for a cloth that keeps no such."""
    root = left_open(cloth)
    return None if root is None else might(root, DRAWS, [_seed(cloth), 3])


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
