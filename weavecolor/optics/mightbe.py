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

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cache import Kept, Packed
from weavecolor.colour.colorimetry import ciede2000, readings_lab
from weavecolor.colour.screen import camera_channels, channels_in_light
from weavecolor.colour.spectra import BANDS, WAVELENGTHS, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.optics.adding import GAPS, Ground, as_stack, over_backings
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
from weavecolor.optics.fitted import GROUNDS, Looks, left_open, looks_of, moves
from weavecolor.optics.layer import Solved, content, laid, solved
from weavecolor.optics.mightbe_build import (
    DRAWS,
    LEAST,
    drawn_of_fit,
    dye_errors,
    dye_spreads,
    more_lobed,
    moved_by_build,
    seed,
    shares_weight,
)
from weavecolor.optics.mightbe_sheen import glint_of, sheen_errors
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import COVERAGE, known_of
from weavecolor.scene.backings import PAPER, Backing
from weavecolor.scene.folds import garments
from weavecolor.scene.places import PHOTO_SCENE, illumination
from weavecolor.scene.places import scene as named
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import check_weavable, pressed

Array = NDArray[np.float64]

#: Bands at which slopes are taken; ln sigma is moved by its spread, and by this at least.
_AT = np.arange(0, BANDS, 5)
_MOVE = 0.25
_SIDES = np.array([-2.0, -1.0, 1.0, 2.0])
#: With more directions than this, slopes of one system are taken at a time.
_MANY = 64
#: Place without a light from one side.
_EVEN = "overcast"
#: Reflectance of the ground that tells what a stack lets through there and back.
_GROUND = GROUNDS[1]
_GROUNDS = tuple(zip(("nothing", "white ground"), GROUNDS, strict=True))
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
    spreads : sequence of ndarray, shape (2, 2, 41)
        Of each of them, how far ln sigma of warp and weft is moved, towards less dye and towards
        more, 0.25 at least.
    looks : sequence of ndarray, shape (2, 41)
        In each scene, what slopes are taken of, with the dye as it is.

    Returns
    -------
    ndarray, shape (S, C, 2, 4, 2, 41)
        By scene, cloth, system (warp, weft), side (beyond as much less dye, less, more, and beyond
        as much more), and what is looked at: sent back by the stack alone, and got from a white
        ground behind it. In very dark dye light hardly falls with more of it, in pale dye ever
        faster, and where hardly any is left it hardly grows with less.

    Examples
    --------
    >>> slopes = dye_slopes(
    ...     single, [window], [organza], [np.zeros((2, 2, 41))], sent_and_got(single, [window])
    ... )
    >>> slopes.shape, bool(np.all(slopes.mean(axis=-1) < 0.0))  # more dye, less light
    ((1, 1, 2, 4, 2, 41), True)
    """
    from scipy.interpolate import PchipInterpolator  # slow to load

    # (C, 2, sides, bands)
    moves = np.maximum(np.array(spreads)[..., _AT], _MOVE)[:, :, [0, 0, 1, 1]]
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
    little, less, more, much = np.moveaxis(gone, 4, 0)
    slopes = np.stack([less - little, -less, more, much - more], axis=3) / moves[:, :, :, None]
    return np.asarray(PchipInterpolator(WAVELENGTHS[_AT], slopes, axis=-1)(WAVELENGTHS))


def _dyed(
    stack: Stack, scenes: Sequence[Scene], moved: Sequence[tuple[object, int, Array]]
) -> Array:
    """Logarithms (S, 2, V, sides, bands) of what a stack sends back alone and gets from a white
    ground, where each of the V ``moved``, a cloth's content and its system, has ln sigma moved by
    so much (sides, bands) to each of the sides."""
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
    grounds = [Ground(np.full(variants * _AT.size, rho)) for _, rho in _GROUNDS]
    factors = over_backings(pile, grounds, GAPS[stack.lay])
    out = []
    for one in (each.at(_AT) for each in lit):
        all_ = one.repeated(variants)
        dark, light = (radiance(pile, over, all_, False) for over in factors)
        out.append(_logs(np.stack([dark, light - dark])).reshape(2, len(moved), _SIDES.size, -1))
    return np.stack(out)


def _logs(look: Array) -> Array:
    return np.asarray(np.log(np.maximum(look, LEAST)))


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
        hangs = _hangs(stack, [*backings, *sides_of], scene)
        for k, behind in enumerate(backings):
            look, *sides = looks[k::count]
            once = 0.5 if behind is None else 1.0  # light from behind goes through but once
            might = sent + (look - dark) * np.exp(once * let) + _aside(behind, look, sides)
            might = might + hangs[:, k]
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


def _hangs(stack: Stack, backings: Sequence[Backing | None], scene: Scene) -> Array:
    """By how much a look over each of ``backings`` might be otherwise, (DRAWS, K, 41), for a single
    garment shows more of some parts of folds, less of others. One garment hangs alike, whatever it
    is made of and wherever it is seen."""
    if not scene.views:
        return np.zeros((1, len(backings), 1))
    parts = np.array(radiances(stack, backings, scene.views))
    return np.tensordot(garments(DRAWS), parts - parts.mean(axis=0), 1)


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
    more = (got * np.exp(let)).mean(axis=0) / np.maximum(got.mean(axis=0), LEAST)
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
    if glint := glint_of(cloth):
        lamps = place.by_lights.sum() / illumination(place).sum()
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
        known_of([one]).yarn_left or left_open(one) is not None or more_lobed(one).any()
        for one in cloths
    ):
        none = np.zeros((1, 1))
        return [(none, none)] * len(scenes)
    # where all comes from behind, in even light
    lit = [scene if _from_the_front(scene).any() else named(_EVEN) for scene in scenes]
    alone = {one: sent_and_got(Stack((x,)), lit) for one, x in ones.items()}
    even = {one: _sent_of_each(Stack((x,)), scenes) for one, x in ones.items()}
    told = {one: (_by_build(x, scenes), _by_share(x.cloth)) for one, x in ones.items()}
    out = []
    for k, scene in enumerate(lit):
        falls = np.maximum(_from_the_front(scene), LEAST)
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


def _from_the_front(scene: Scene) -> Array:
    """Irradiance (41,) of the side that is seen."""
    return np.asarray(scene.diffuse + scene.by_lights)


def _by_causes(cloth: Cloth, light: Array) -> Array:
    """Draws (DRAWS, 2, 41) of errors of the logarithms of one layer's ``light`` (2, 41), sent back
    and let through there and back, by the build of a cloth that was described."""
    if left_open(cloth) is not None:
        return np.zeros((1, 2, BANDS))
    more, back = moved_by_build(cloth)
    return np.stack([back, more * np.log(np.clip(light[1], 1e-4, 1.0))], axis=1)


def _by_share(cloth: Cloth) -> Array:
    """Draws (DRAWS, 2, 41) of errors of the logarithms of one layer's light, by how warp and weft
    share a weight: as even light shows them, along the straight line to one end of the range, which
    holds nine in ten, and as far the other way."""
    if not shares_weight(cloth):
        return np.zeros((DRAWS, 2, BANDS))
    known = dict(cloth.known)
    fine, thick = known["warp.count"].low, known["weft.count"].high
    end = _woven_nearest(cloth, fine or cloth.warp.tex, thick or cloth.weft.tex)
    was, moved = (
        _logs(sent_and_got(Stack((Layer(one),)), [named(_EVEN)])[0]) for one in (cloth, end)
    )
    drawn = np.random.default_rng([seed(cloth), 7]).normal(size=DRAWS) / COVERAGE
    return np.asarray(drawn[:, None, None] * (moved - was))


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
    root, drawn = left_open(layer.cloth), drawn_of_fit(layer.cloth)
    if root is None or drawn is None:
        return [np.zeros((1, 2, BANDS))] * len(scenes)
    slow, _ = drawn
    met = np.random.default_rng([seed(layer.cloth), 4])
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
    """In each scene, of each cloth whose dye is not told: it, its spreads and its slopes."""
    cloths = {content(x.cloth): x.cloth for x in stack.layers}.values()
    open_ = [(cloth, spread) for cloth in cloths if (spread := dye_spreads(cloth)).any()]
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
    back, let = np.zeros((2, DRAWS, BANDS))
    for cloth, wide, slope in slopes:
        drawn = dye_errors(cloth, wide)
        less, more = np.maximum(np.moveaxis(wide, 1, 0), _MOVE)
        parts = (
            np.minimum(drawn + less, 0.0), np.clip(drawn, -less, 0.0),
            np.clip(drawn, 0.0, more), np.maximum(drawn - more, 0.0),
        )  # fmt: skip
        for side, part in enumerate(parts):
            back += np.einsum("zsb,sb->zb", part, slope[:, side, 0])
            let += np.einsum("zsb,sb->zb", part, slope[:, side, 1])
    shone, glints = sheen_errors(stack, scene, even)
    return back, let, np.einsum("ldb,lb->db", np.expm1(shone), sent), glints


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
