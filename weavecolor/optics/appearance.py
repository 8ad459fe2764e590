"""What a stack looks like in a scene: radiance, radiance factor, and the colour that is read.

Knows stacks and scenes, and puts the optics of one in the light of the other; knows nothing of
pictures, files or decisions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.colour.colorimetry import Reading, reading, xyz
from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.spectra import BANDS, ByValue, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.optics.adding import (
    GAPS,
    Ground,
    StackOptics,
    add,
    as_stack,
    over_backings,
    seen,
    viewed,
)
from weavecolor.optics.cell import filaments
from weavecolor.optics.cell.nodes import Named, Vector, half_deg_of, middle, unit
from weavecolor.optics.layer import Links, content, layer_optics
from weavecolor.optics.stack import Layer, Stack, layer_count
from weavecolor.scene.backings import Backing
from weavecolor.scene.folds import sent_on
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]
_T = TypeVar("_T")


class Viewed(Protocol):
    """What may have parts that are seen otherwise."""

    @property
    def views(self) -> tuple[Any, ...]: ...


_Viewed = TypeVar("_Viewed", bound=Viewed)
#: A direction: zenith, azimuth and, of a light, half its angle, degrees; 1 behind that where the
#: plane of the cloth cuts a light whose middle lies beyond it, of which this is the mirror image.
Way = tuple[float, ...]

#: Directions nearer than this to the plane of the cloth are refused.
GRAZING_DEG = 89.5

#: With more named directions than this, or twice as many of views, a pile's optics is not kept.
_FEW = 64

#: White ground of the contrast ratio (TAPPI T 425, ISO 2471 use 0.89); the black one reflects 0.
CONTRAST_WHITE = 0.89


@dataclass(frozen=True, eq=False)
class Appearance(ByValue):
    """What the viewer gets, as :func:`appearance` computes it.

    Parameters
    ----------
    radiance : ndarray, shape (41,)
        Radiance times pi, on the scene's scale.
    radiance_factor : ndarray, shape (41,)
        Against a perfect diffuser in the same light.
    reading : Reading
        Its colour: XYZ, Lab, LCh, screen values and words.

    Notes
    -----
    The radiance factor is L / L0, with L the radiance to the viewer and L0 that of a perfect
    diffuser lit alike: pi L / E, of an irradiance E on its face.

    References
    ----------
    CIE S 017:2020, International lighting vocabulary, radiance factor, from memory; ASTM E284.

    Examples
    --------
    >>> appearance(single, window).reading.in_srgb
    True
    """

    radiance: Spectrum
    radiance_factor: Spectrum
    reading: Reading

    def __repr__(self) -> str:
        return f"Appearance({self.reading!r})"


class _Same:
    """Lets a cache look a layer up by what its optics depend on."""

    def __init__(self, layer: Layer) -> None:
        self.layer = layer
        self.key = (content(layer.cloth), round(layer.grain_deg % 360.0, 9), layer.face)

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.key == other.key


def direction(zenith_deg: float, azimuth_deg: float, turn_deg: float) -> Vector:
    """A world direction, ``zenith_deg`` below 89.5 and any ``azimuth_deg``, in the frame of a layer
    whose warp lies at ``turn_deg``.

    Examples
    --------
    >>> direction(45.0, 90.0, 90.0)
    (0.0, 0.707106781, 0.707106781)
    """
    if not (np.isfinite(zenith_deg) and np.isfinite(azimuth_deg)):
        raise InputError("a direction needs two finite angles")
    if not 0.0 <= zenith_deg <= GRAZING_DEG:
        raise InputError(f"zenith angle {zenith_deg:g} is not within 0 to {GRAZING_DEG:g} degrees")
    return _vector(zenith_deg, azimuth_deg - turn_deg)


def _vector(zenith_deg: float, azimuth_deg: float) -> Vector:
    v = unit(np.radians(zenith_deg), np.radians(azimuth_deg))
    return tuple(round(float(a), 9) + 0.0 for a in v)  # type: ignore[return-value]


def named_direction(way: Sequence[float], turn_deg: float) -> Named:
    """A world direction, as :data:`Way` has it, in the frame of a layer whose warp lies at
    ``turn_deg``.

    Examples
    --------
    >>> named_direction((0.0, 0.0, 15.0), 90.0)
    (0.0, 0.0, 1.0, 15.0)
    """
    zenith, azimuth, *wide = way
    if wide and GRAZING_DEG < zenith < 90.0:  # a disc, of which a part is lit
        return (*_vector(zenith, azimuth - turn_deg), *wide)
    return (*direction(zenith, azimuth, turn_deg), *wide)


def _laid(
    same: _Same,
    turn: float,
    above: tuple[Named, ...],
    below: tuple[Named, ...],
    links: Links | None,
    rays: float,
) -> StackOptics:
    """One layer whose warp lies at ``turn`` degrees in the stack's frame."""
    layer, turned = same.layer, float(np.radians(turn))
    flip = layer.face == "back"
    return as_stack(layer_optics(layer.cloth, turned, flip, above, below, links=links, rays=rays))


def _weight(pile: StackOptics) -> int:
    return 3 * pile.reflect.nbytes


#: Bytes: the layers and piles that a search works out in full lie on one another many ways.
_layers: Kept[tuple[Any, ...], StackOptics] = Kept(120_000_000, _weight)
_piles: Kept[tuple[Any, ...], StackOptics] = Kept(60_000_000, _weight)
_seen: Kept[tuple[Any, ...], StackOptics] = Kept(20_000_000, _weight)
#: Radiances (scenes, backings, 41) towards the eye, for other runs, too.
_got: Kept[tuple[Any, ...], Array] = Kept(
    400, packed=Packed("looks", lambda key: key, lambda x: {"x": x}, lambda _, a: frozen(a["x"]))
)


def _one(layers: tuple[_Same, ...], how: tuple[Any, ...]) -> tuple[Any, ...]:
    """What the innermost layer's optics depend on, in the frame of the outermost."""
    turn = (layers[-1].layer.grain_deg - layers[0].layer.grain_deg) % 360.0
    return (layers[-1], turn, *how)


def _kept_layer(layers: tuple[_Same, ...], how: tuple[Any, ...]) -> StackOptics:
    one = _one(layers, how)
    return _layers.one(one, lambda: _laid(*one))


def laid_in(stack: Stack, ways: Ways) -> list[StackOptics]:
    """Every layer of ``stack`` by itself, in the frame of the outermost, with the directions of
    ``ways`` named.

    Examples
    --------
    >>> [len(pile.members) for pile in laid_in(double, lit_by([window])[0])]
    [1, 1]
    """
    layers, _, how, _ = _asked(stack, ways.above, ways.below, ways.links, ways.rays)
    return [_kept_layer(layers[: k + 1], how) for k in range(len(layers))]


def _each(layers: tuple[_Same, ...], how: tuple[Any, ...]) -> list[StackOptics]:
    """Every layer in the frame of the outermost, alike ones once; not kept."""
    ones = [_one(layers[: k + 1], how) for k in range(len(layers))]
    laid = {one: _laid(*one) for one in dict.fromkeys(ones)}
    return [laid[one] for one in ones]


def _piled(laid: list[StackOptics], lay: str) -> StackOptics:
    return reduce(lambda upper, lower: add(upper, lower, GAPS[lay]), laid)


def _pile(layers: tuple[_Same, ...], lay: str, how: tuple[Any, ...]) -> StackOptics:
    """All ``layers``, outermost first, one laid under the other."""

    def build() -> StackOptics:
        last = _kept_layer(layers, how)
        if len(layers) == 1:
            return last
        return add(_pile(layers[:-1], lay, how), last, GAPS[lay])

    return _piles.one((layers, lay, how), build)


def _small(layers: tuple[_Same, ...], lay: str, how: tuple[Any, ...], keep: bool) -> StackOptics:
    """As :func:`_pile`, with only what a viewer needs of it."""
    if not keep:
        return viewer_pile(_each(layers, how), lay)

    def build() -> StackOptics:
        last = _kept_layer(layers, how)
        return _under(_pile(layers[:-1], lay, how) if len(layers) > 1 else None, last, lay)

    return _seen.one((layers, lay, how), build)


def viewer_pile(laid: Sequence[StackOptics], lay: str) -> StackOptics:
    """Laid layers, outermost first, one under the other, with only what a viewer needs of it.

    Examples
    --------
    >>> viewer_pile(laid_in(single, Ways(((0.0, 0.0),), (), ())), "loose").reflect.shape
    (41, 2, 2)
    """
    *upper, last = laid
    return _under(_piled(upper, lay) if upper else None, last, lay)


def _under(upper: StackOptics | None, last: StackOptics, lay: str) -> StackOptics:
    """The last layer laid under the others, if any, with only what a viewer needs of it all."""
    return seen(last) if upper is None else add(upper, last, GAPS[lay], rows=viewed(last))


def _asked(
    stack: Stack,
    above: Sequence[Way],
    below: Sequence[Way],
    links: Sequence[tuple[int, int]] | None,
    rays: float,
) -> tuple[tuple[_Same, ...], str, tuple[Any, ...], bool]:
    """What the optics depend on, checked: layers, how they lie on one another, directions with
    their links and rays; and whether to keep it, for very many directions make large arrays."""
    layer_count(len(stack.layers))
    turn = stack.layers[0].grain_deg
    layers = tuple(_Same(layer) for layer in stack.layers)
    directions = [tuple(named_direction(way, turn) for way in side) for side in (above, below)]
    pairs = None if links is None else tuple((int(a), int(b)) for a, b in links)
    few = _FEW if rays == 1.0 else 2 * _FEW
    return layers, stack.lay, (*directions, pairs, rays), sum(map(len, directions)) <= few


def seen_optics(
    stack: Stack,
    above: Sequence[Way],
    below: Sequence[Way] = (),
    *,
    links: Sequence[tuple[int, int]] | None = None,
    rays: float = 1.0,
) -> StackOptics:
    """Optics of the layers of ``stack``, without its backing, as a viewer needs it; labels: even
    diffuse light, then ``above``, then ``below``.

    Parameters
    ----------
    stack : Stack
        1 to 12 layers; its backing does not count.
    above, below : sequences of (zenith, azimuth) or (zenith, azimuth, half angle)
        Degrees, zenith below 90; named directions in front, and the opposites of lights behind; a
        light without its half angle is a small lamp (5 degrees).
    links : sequence of (int, int), optional
        For pictures of very many directions: the pairs whose mutual light is wanted, by numbers in
        ``above`` then ``below``.
    rays : float
        Share of the usual rays of named directions that is followed, above 0 to 1.

    Raises InputError for no layer, more than twelve, a direction along the cloth, or cloth that
    cannot be woven.

    Examples
    --------
    >>> seen_optics(double, [(0.0, 0.0)]).reflect.shape
    (41, 2, 2)
    """
    return _small(*_asked(stack, above, below, links, rays))


def _over(pile: StackOptics, stack: Stack, backings: Sequence[Backing | None]) -> list[Array]:
    there = [Ground.of(b) for b in backings if b is not None]
    made = iter(over_backings(pile, there, GAPS[stack.lay]) if there else ())
    return [pile.reflect if b is None else next(made) for b in backings]


@dataclass(frozen=True, eq=False)
class Transmittance:
    """Light through the layers, by wavelength (41,).

    ``straight``: share of a beam at normal incidence that passes unscattered (openness, the same
    at all wavelengths); ``scattered``: the rest of it that comes through; ``diffuse``: share of
    uniform diffuse light that comes through, both parts.
    """

    straight: float
    scattered: Spectrum
    diffuse: Spectrum


def transmittance(stack: Stack, zenith_deg: float = 0.0, azimuth_deg: float = 0.0) -> Transmittance:
    """How much light the layers let through; the backing does not count.

    Parameters
    ----------
    stack : Stack
        1 to 12 layers.
    zenith_deg, azimuth_deg : float
        Where the beam comes from, degrees; zenith below 90.

    Examples
    --------
    >>> through = transmittance(double)
    >>> 0.0 < through.straight < transmittance(single).straight
    True
    """
    pile = seen_optics(stack, ((zenith_deg, azimuth_deg),))
    share = pile.share
    return Transmittance(
        float(pile.through[-1]),
        pile.transmit[:, -1] @ share,
        (pile.transmit @ share) @ share + float(pile.through @ share),
    )


#: The one definition, as it is told beside every number of it.
CONTRAST_WORDS = (
    "contrast ratio of ISO 2471: over black that sends nothing back against over white of "
    f"{100 * CONTRAST_WHITE:.0f} %, in even daylight, held flat and seen square on"
)


def contrast_ratio(stack: Stack) -> float:
    """Opacity by contrast ratio, 0-1: Y over black over Y over white of reflectance 0.89.

    Diffuse light, seen along the normal, D65 (the geometry of ISO 2471 and TAPPI T 425, which
    ASTM D2805 uses for paint films over 0.80). 1 hides all, 0 nothing.

    Examples
    --------
    >>> contrast_ratio(single) < contrast_ratio(double) < 1.0
    True
    """
    return contrast_ratios(stack, ((0.0, 0.0),))[0]


def contrast_ratios(stack: Stack, sights: Sequence[Way]) -> tuple[float, ...]:
    """As :func:`contrast_ratio`, seen from each of ``sights`` (zenith, azimuth), degrees: of cloth
    that lies at a slope, as in folds.

    Examples
    --------
    >>> straight, slant = contrast_ratios(single, ((0.0, 0.0), (60.0, 90.0)))
    >>> abs(straight - contrast_ratio(single)) < 1e-12, straight < slant
    (True, True)
    """
    pile = seen_optics(stack, sights)
    grounds = [Ground(np.zeros(BANDS)), Ground(np.full(BANDS, CONTRAST_WHITE))]
    light = light_spectrum("D65")
    black, white = (
        [xyz((k[:, sight] @ pile.share) * light, light)[1] for sight in range(-len(sights), 0)]
        for k in over_backings(pile, grounds, GAPS[stack.lay])
    )
    return tuple(float(b / w) if w > 0 else 1.0 for b, w in zip(black, white, strict=True))


def appearance(stack: Stack, scene: Scene, observer: str = "2") -> Appearance:
    """How ``stack`` looks in ``scene``; ``observer`` "2" or "10" degrees.

    A light straight behind the cloth from the viewer is taken as a luminous surface there: it is
    seen through the openings, and lights the cloth from all sides behind. Raises InputError as
    :func:`seen_optics`.

    Examples
    --------
    >>> once, twice = appearance(single, window), appearance(double, window)
    >>> bool(twice.reading.Lab[0] < once.reading.Lab[0])  # doubled cloth is deeper
    True
    """
    return appearances(stack, (stack.backing,), scene, observer)[0]


def appearances(
    stack: Stack, backings: Sequence[Backing | None], scene: Scene, observer: str = "2"
) -> list[Appearance]:
    """As :func:`appearance`, over several backings at little more than the cost of one.

    Parameters
    ----------
    stack : Stack
        Its own backing does not count.
    backings : sequence of Backing or None
        None: nothing behind.
    scene : Scene
    observer : {"2", "10"}
        CIE standard observer, degrees.

    Returns
    -------
    list of Appearance
        In the order of ``backings``.

    Examples
    --------
    >>> white, black = appearances(single, [backing("white"), backing("black")], window)
    >>> bool(black.reading.Lab[0] < white.reading.Lab[0])
    True
    """
    return in_scenes(stack, backings, (scene,), observer)[0]


def in_scenes(
    stack: Stack,
    backings: Sequence[Backing | None],
    scenes: Sequence[Scene],
    observer: str = "2",
) -> list[list[Appearance]]:
    """As :func:`appearances`, in several scenes at little more than the cost of one: the layers are
    laid and added once for the lights and eyes of all.

    Parameters
    ----------
    stack, backings, observer
        As for :func:`appearances`.
    scenes : sequence of Scene

    Returns
    -------
    list of lists of Appearance
        By scene, then by backing.

    Examples
    --------
    >>> ((near,), (same,)) = in_scenes(single, [None], [window, window])
    >>> near.reading.hex == same.reading.hex
    True
    """
    out = []
    for scene, looks in zip(scenes, radiances(stack, backings, scenes), strict=True):
        falls = illumination(scene)
        out.append([
            Appearance(
                one,
                np.divide(one, falls, out=np.zeros(BANDS), where=falls > 0),
                reading(one, falls, white=scene.white, observer=observer),
            )
            for one in looks
        ])  # fmt: skip
    return out


def radiances(
    stack: Stack, backings: Sequence[Backing | None], scenes: Sequence[Scene]
) -> list[list[Spectrum]]:
    """Radiance times pi (41,) towards the eye, by scene, then by backing.

    Parameters
    ----------
    stack, backings, scenes
        As for :func:`in_scenes`.

    Examples
    --------
    >>> radiances(single, [None], [window])[0][0].shape
    (41,)
    """
    if not stack.layers:
        return [[_bare(scene, b) for b in backings] for scene in scenes]

    if any(scene.views for scene in scenes):
        return by_views(
            scenes, lambda some: radiances(stack, backings, some),
            lambda views: _mean(radiances(stack, backings, views)),
        )  # fmt: skip

    def work_out() -> Array:
        ways, each = lit_by(scenes)
        pile = seen_optics(stack, ways.above, ways.below, links=ways.links, rays=ways.rays)
        over = list(zip(backings, _over(pile, stack, backings), strict=True))
        return frozen(np.array([
            [np.maximum(radiance(pile, factors, lit, b is None), 0.0) for b, factors in over]
            for lit in each
        ]))  # fmt: skip

    asked = (
        tuple(_Same(layer).key for layer in stack.layers),
        stack.lay,
        tuple(None if b is None else b.optics for b in backings),
        tuple(scene.told() for scene in scenes),
        filaments.EFFORT,
    )
    return [list(one) for one in _got.one(asked, work_out)]


def by_views(
    scenes: Sequence[_Viewed],
    plain: Callable[[Sequence[_Viewed]], list[_T]],
    together: Callable[[Sequence[_Viewed]], _T],
) -> list[_T]:
    """What is worked out of each of ``scenes``: of those without views all at once, as ``plain``
    does, so that none hangs on the others; of the views of any other what they make ``together``.

    Examples
    --------
    >>> by_views([window], lambda some: [one.name for one in some], len)
    ['window at the side']
    """
    flat = [scene for scene in scenes if not scene.views]
    made = iter(plain(flat) if flat else ())
    return [together(scene.views) if scene.views else next(made) for scene in scenes]


def _mean(views: list[list[Spectrum]]) -> list[Spectrum]:
    """What is seen of views that are all as large, by backing."""
    return [frozen(np.mean(own, axis=0)) for own in zip(*views, strict=True)]


@dataclass(frozen=True)
class Ways:
    """Directions that scenes name to layers: ``above`` the eyes, then lights in front; ``below``
    the opposites of lights behind; ``links`` of each eye with its lights, by number. A direction
    that is one scene's eye and another's light stands twice, so that no answer depends on what else
    is asked. ``rays``: the share of the usual rays that each is worth, for a view of many less."""

    above: tuple[Way, ...]
    below: tuple[Way, ...]
    links: tuple[tuple[int, int], ...]
    rays: float = 1.0


@dataclass(frozen=True, eq=False)
class Lit:
    """A scene as layers meet it, its directions by their numbers in :class:`Ways`: the ``eye``,
    lights in ``front`` and ``behind``; ``diffuse`` (B,), ``falls`` (K, B): irradiance of each light
    on the cloth; ``in_line``: whether the eye looks into a light behind, for each of those;
    ``around`` (B,) as of the scene."""

    eye: int
    front: tuple[int, ...]
    behind: tuple[int, ...]
    diffuse: Array
    falls: Array
    in_line: tuple[bool, ...]
    around: Array | None = None

    def at(self, bands: NDArray[np.intp]) -> Lit:
        """The same at some of its wavelengths."""
        around = None if self.around is None else self.around[bands]
        return replace(
            self, diffuse=self.diffuse[bands], falls=self.falls[:, bands], around=around
        )

    def repeated(self, times: int) -> Lit:
        """The same for each of so many dyeings, one after the other."""
        return self.at(np.tile(np.arange(self.diffuse.size), times))


def lit_by(scenes: Sequence[Scene]) -> tuple[Ways, list[Lit]]:
    """The lights and eyes of ``scenes``.

    Examples
    --------
    >>> ways, (lit,) = lit_by([window])
    >>> len(ways.above) == 1 + len(lit.falls)
    True
    """
    eyes, fronts, backs = (
        tuple(dict.fromkeys(way for scene in scenes for way in named(scene)))
        for named in (_eye, _in_front, _opposite)
    )
    count = len(eyes) + len(fronts)
    each: list[Lit] = []
    links: dict[tuple[int, int], None] = {}
    for scene in scenes:
        front = tuple(len(eyes) + fronts.index(way) for way in _in_front(scene))
        behind = tuple(count + backs.index(way) for way in _opposite(scene))
        (view,) = _eye(scene)
        eye = eyes.index(view)
        links |= dict.fromkeys((eye, k) for k in (front + behind or (eye,)))
        sides = (*scene.in_front, *scene.behind)
        each.append(
            Lit(
                eye,
                front,
                behind,
                np.asarray(scene.diffuse),
                np.array([x.on_cloth for x in sides]).reshape(-1, BANDS),
                tuple(in_line(way, view) for way in _opposite(scene)),
                scene.around,
            )
        )
    (rays,) = {scene.share for scene in scenes}
    return Ways((*eyes, *fronts), backs, tuple(links), rays), each


def _eye(scene: Scene) -> list[Way]:
    return [(scene.view_zenith_deg, scene.view_azimuth_deg)]


def _in_front(scene: Scene) -> list[Way]:
    return [x.way for x in scene.in_front]


def _opposite(scene: Scene) -> list[Way]:
    return [x.way for x in scene.behind]


def radiance(pile: StackOptics, factors: Array, lit: Lit, bare: bool) -> Array:
    """Radiance times pi towards the eye, (B,).

    Parameters
    ----------
    pile : StackOptics
        As from :func:`seen_optics`, of the directions that ``lit`` numbers.
    factors : ndarray, shape (B, N, N)
        Of the pile over what is behind it.
    lit : Lit
        At the same B wavelengths.
    bare : bool
        Nothing is behind, so that lights there come through.

    Examples
    --------
    >>> ways, (lit,) = lit_by([window])
    >>> pile = seen_optics(single, ways.above, ways.below, links=ways.links)
    >>> radiance(pile, pile.reflect, lit, True).shape
    (41,)
    """
    eye, front = 1 + lit.eye, len(lit.front)  # label 0 is even light
    even = factors[:, eye] @ pile.share
    total = even * lit.diffuse
    if lit.around is not None:
        total = total + even * lit.around * from_folds(pile, factors, bare)
    for k, falls in zip(lit.front, lit.falls[:front], strict=True):
        total = total + factors[:, eye, 1 + k] * falls
    if bare:
        for k, falls, in_line in zip(lit.behind, lit.falls[front:], lit.in_line, strict=True):
            passed = from_surface(pile, eye) if in_line else pile.transmit[:, eye, 1 + k]
            total = total + passed * falls
    return np.asarray(total)


def from_folds(pile: StackOptics, factors: Array, bare: bool) -> Array:
    """What folds of a stack send on (B,) of what falls on them, to and fro.

    Parameters
    ----------
    pile : StackOptics
        As from :func:`seen_optics`.
    factors : ndarray, shape (B, N, N)
        Of the pile over what is behind it.
    bare : bool
        Nothing is behind, so that what comes through goes on, too.

    Examples
    --------
    >>> pile = seen_optics(single, [(0.0, 0.0)])
    >>> bool((from_folds(pile, pile.reflect, True) > from_folds(pile, pile.reflect, False)).all())
    True
    """
    sent = factors[:, 0] @ pile.share
    if bare:
        sent = sent + from_surface(pile, 0)
    return np.asarray(sent_on(sent, sent))


def from_surface(pile: StackOptics, eye: int) -> Array:
    """Radiance factors (B,) towards the label ``eye`` of even light from behind, scattered on and
    straight through: of a luminous surface there, whose light is no lamp's. Undyed cloth before it
    is nowhere brighter than it (radiance is kept along rays: W. T. Welford, R. Winston, The Optics
    of Nonimaging Concentrators, 1978, ch. 2; from memory).

    Examples
    --------
    >>> pile = seen_optics(single, [(0.0, 0.0)])
    >>> bool((from_surface(pile, 1) < 1.0).all())
    True
    """
    return np.asarray(pile.transmit[:, eye] @ pile.share + pile.through[eye])


def _bare(scene: Scene, backing: Backing | None) -> Array:
    """Radiance times pi of what is behind, (41,), without any cloth."""
    (lit,) = lit_by([scene])[1]
    front = len(lit.front)
    if backing is not None:
        return np.asarray(backing.reflectance * (lit.diffuse + lit.falls[:front].sum(axis=0)))
    return np.asarray((lit.falls[front:] * np.array(lit.in_line)[:, None]).sum(axis=0))


def in_line(light: Way, view: Way) -> bool:
    """Whether a viewer looks into a light: both directions (zenith, azimuth, ...), degrees, are the
    same within half the light's angle. Behind the cloth it is then taken as a luminous surface.

    Examples
    --------
    >>> in_line((30.0, 0.0), (34.0, 0.0)), in_line((30.0, 0.0), (36.0, 0.0))
    (True, False)
    >>> in_line((30.0, 0.0, 15.0), (36.0, 0.0))
    True
    """
    toward = (*unit(np.radians(light[0]), np.radians(light[1])), *light[2:])
    eye = unit(np.radians(view[0]), np.radians(view[1]))
    return bool(np.array(middle(toward)) @ eye > np.cos(np.radians(half_deg_of(toward))))
