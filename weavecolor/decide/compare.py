"""Options laid side by side: how each looks, and whether anyone would see the difference.

Knows stacks in scenes and compares their colours; knows nothing of files, tables or pictures.
Differences are CIEDE2000 (ISO/CIE 11664-6), each colour relative to the light it is seen in;
between two lights, of what looks so by daylight once the eye has settled to each.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from weavecolor.colour.colorimetry import adopted_white, ciede2000, daylight_white, settled
from weavecolor.colour.perception import LOOK, Verdict, names_together, would_see
from weavecolor.colour.spectra import ByValue
from weavecolor.colour.tristimulus import FloatArray
from weavecolor.colour.words import difference_words
from weavecolor.errors import InputError
from weavecolor.optics.appearance import Appearance, in_scenes
from weavecolor.optics.fitted import looks_of
from weavecolor.optics.layer import content
from weavecolor.optics.mightbe import lots_in, open_colour, open_difference
from weavecolor.optics.stack import Layer, Stack, layer_count, layers_words
from weavecolor.optics.uncertainty import Uncertainty, known_of, of_colour, of_difference
from weavecolor.scene.backings import Backing
from weavecolor.scene.folds import IN_FOLDS
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.grain import angle_deg, grain_words

if TYPE_CHECKING:
    from pandas import DataFrame

MOST_OPTIONS = 2000
#: A light whose white lies this near to daylight's in u'v' counts as daylight: about D50 to D75.
DAYLIGHT_UV = 0.03

#: What can be chosen, slowest first in the order of options.
AXES = ("scene", "lay", "face", "layers", "grain", "stack", "backing")


@dataclass(frozen=True)
class Option:
    """One way to make it up: a stack, and where it is seen.

    ``label``: the stack in words, where whole stacks are compared and not one thing about them.
    """

    stack: Stack
    scene: Scene
    label: str = ""

    def aspect(self, axis: str) -> str:
        """One of ``AXES`` in words; of the outermost layer where layers differ."""
        layers = self.stack.layers
        if axis == "scene":
            return self.scene.name
        if axis == "lay":
            return self.stack.lay
        if axis == "layers":
            return f"{len(layers)} layer{'s' if len(layers) != 1 else ''}{self._turned()}"
        if axis == "backing":
            return behind(self.stack.backing)
        if axis == "stack":
            return self.label or " over ".join(dict.fromkeys(x.cloth.name for x in layers))
        if not layers:
            return "no cloth"
        if axis == "face":
            return f"{layers[0].face} out"
        if axis == "grain":
            return grain_words(layers[0].grain_deg)
        raise InputError(f"{axis!r} is nothing to choose; there are {', '.join(AXES)}")

    def unlike(self, other: Option) -> list[str]:
        """Which of :data:`AXES` it differs in from an ``other``."""
        return [axis for axis in AXES if self.aspect(axis) != other.aspect(axis)]

    def _turned(self) -> str:
        """How layers lie to one another, where nothing else tells that they do not lie alike."""
        grains = [layer.grain_deg for layer in self.stack.layers]
        turns = {round(b - a, 6) for a, b in itertools.pairwise(grains)}
        if self.label or len(turns) != 1 or turns == {0.0}:
            return ""
        return f" (each turned {turns.pop():g}\u00b0 from the one before)"


@dataclass(frozen=True, eq=False)
class Outcome(ByValue):
    """An option, how it looks, the uncertainty of that colour, and ``drawn`` (DRAWS, 3): Lab as it
    might truly be (:func:`weavecolor.optics.mightbe.lots`)."""

    option: Option
    appearance: Appearance
    uncertainty: Uncertainty
    drawn: FloatArray

    def __repr__(self) -> str:
        axes = ("stack", "layers", "grain", "backing")
        told = ", ".join(self.option.aspect(axis) for axis in axes)
        return f"Outcome({told}: {self.appearance.reading!r} +-{self.uncertainty.stated:.1f})"


@dataclass(frozen=True)
class Step:
    """From one outcome to another, by their places in the list.

    ``axis``: which of ``AXES`` changes, "" where several do. ``uncertainty`` is of ``delta``.
    ``verdict`` is None across scenes, where nobody sees both side by side. ``change``: what was
    done; ``effect``: how the colour moves; ``names``: of both colours, one and the same where no
    difference would be seen; ``sentence``: the whole, for reading.
    """

    start: int
    end: int
    axis: str
    delta: float
    uncertainty: Uncertainty
    verdict: Verdict | None
    change: str
    effect: str
    names: tuple[str, str]
    sentence: str

    def __repr__(self) -> str:
        return f"Step({self.start} to {self.end}: {self.sentence!r})"


@dataclass(frozen=True)
class Comparison:
    """Options side by side, as :func:`compare` makes them.

    Parameters
    ----------
    outcomes : tuple of Outcome
        In row-major order of ``shape`` over ``AXES``.
    shape : tuple of int
        How many choices there are along each of ``AXES``.
    steps : tuple of Step
        Between neighbours along every axis.
    from_first : tuple of Step
        One for every outcome but the first of each scene.
    observer : {"2", "10"}
        CIE standard observer, degrees.

    Notes
    -----
    A step is the CIEDE2000 difference of two neighbours, as seen by an eye settled to the light,
    and the verdict that its uncertainty allows (:mod:`weavecolor.colour.perception`).

    References
    ----------
    ISO/CIE 11664-6:2014, Colorimetry, CIEDE2000 colour-difference formula.

    Examples
    --------
    >>> compare(organza, counts=(1, 2), scenes=(window,)).varied()
    ('layers',)
    """

    outcomes: tuple[Outcome, ...]
    shape: tuple[int, ...]
    steps: tuple[Step, ...]
    from_first: tuple[Step, ...]
    observer: str = "2"

    def __repr__(self) -> str:
        told = ", ".join(self.varied()) or "nothing"
        return f"Comparison({len(self.outcomes)} options, varied: {told})"

    def varied(self) -> tuple[str, ...]:
        """The axes along which there is more than one choice."""
        return tuple(axis for axis, size in zip(AXES, self.shape, strict=True) if size > 1)

    def to_frame(self) -> DataFrame:
        """One row an option, as a pandas table: its choices, Lab and LCh, ``give_or_take`` and
        the difference to the first option of its scene (CIEDE2000) and whether it would be seen
        beside that ("yes", "no", "cannot tell", "" where nobody sees both), screen colour, words.

        Examples
        --------
        >>> compare(organza, counts=(1, 2), scenes=(window,)).to_frame()["layers"].tolist()
        ['1 layer', '2 layers']
        """
        import pandas as pd  # loaded for whoever wants a table

        first = {step.end: step for step in self.from_first}
        rows = []
        for place, outcome in enumerate(self.outcomes):
            seen, step = outcome.appearance.reading, first.get(place)
            row: dict[str, object] = {axis: outcome.option.aspect(axis) for axis in AXES}
            row |= dict(zip(("L", "a", "b"), map(float, seen.Lab), strict=True))
            row |= dict(zip(("C", "h"), map(float, seen.LCh[1:]), strict=True))
            row["give_or_take"] = outcome.uncertainty.stated
            row["difference"] = step.delta if step else 0.0
            row["difference_give_or_take"] = step.uncertainty.stated if step else 0.0
            row["seen"] = step.verdict.seen if step and step.verdict else ""
            row |= {"screen": seen.hex, "words": seen.words}
            rows.append(row)
        return pd.DataFrame(rows)

    def labels(self, axis: str) -> tuple[str, ...]:
        """The choices along one axis, in words."""
        k = AXES.index(axis)
        stride = int(np.prod(self.shape[k + 1 :], dtype=int))
        return tuple(self.outcomes[i * stride].option.aspect(axis) for i in range(self.shape[k]))


def behind(backing: Backing | None) -> str:
    """The backing in words.

    Examples
    --------
    >>> behind(backing("black")), behind(None)
    ('black behind', 'nothing behind')
    """
    return "nothing behind" if backing is None else f"{backing.name} behind"


def options(
    cloth: Cloth,
    grains: Sequence[float] = (0.0,),
    counts: Sequence[int] = (1,),
    backings: Sequence[Backing | None] = (None,),
    scenes: Sequence[Scene] = (),
    faces: Sequence[str] = ("face",),
    lays: Sequence[str] = ("loose",),
    turn_deg: float = 0.0,
) -> tuple[Option, ...]:
    """Every combination, in row-major order of ``AXES``.

    ``grains`` in degrees of the outermost layer; ``counts`` of layers, 1 to 12; each layer
    further in is turned by ``turn_deg`` more. Raises InputError for a list that is empty, names
    something twice, or makes more than 2000 options.

    Parameters
    ----------
    cloth : Cloth
    grains : sequence of float
        Of the outermost layer, degrees.
    counts : sequence of int
        Layers, 1 to 12.
    backings : sequence of Backing or None
        None: nothing behind.
    scenes : sequence of Scene
    faces : sequence of {"face", "back"}
    lays : sequence of {"touching", "loose", "apart"}
    turn_deg : float
        How much further each layer further in is turned, degrees.

    Examples
    --------
    >>> len(options(organza, grains=(0.0, 90.0), counts=(1, 2), scenes=(window,)))
    4
    """
    lists: dict[str, Sequence[object]] = {
        "scene": scenes, "lay": lays, "face": faces,
        "layers": counts, "grain": grains, "backing": backings,
    }  # fmt: skip
    for axis, chosen in lists.items():
        if not chosen:
            raise InputError("nothing chosen; give at least one", field=axis)
        if axis in ("scene", "backing"):
            keys = [getattr(choice, "name", None) for choice in chosen]
        else:
            keys = list(chosen)
        if len(set(keys)) < len(keys):
            raise InputError("the same choice is named twice; name each once", field=axis)
    for count in counts:
        layer_count(count)
    for angle in (*grains, turn_deg):
        angle_deg(angle, "grain")
    total = int(np.prod([len(chosen) for chosen in lists.values()]))
    if total > MOST_OPTIONS:
        raise InputError(f"{total} options are too many to compare; choose {MOST_OPTIONS} or fewer")
    return tuple(
        Option(
            Stack(
                tuple(Layer(cloth, grain + turn_deg * k, face) for k in range(count)), backing, lay
            ),
            scene,
        )
        for scene, lay, face, count, grain, backing in itertools.product(
            scenes, lays, faces, counts, grains, backings
        )
    )


def evaluate(
    chosen: Sequence[Option],
    observer: str = "2",
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Outcome, ...]:
    """How each option looks. ``progress`` is told (done, total) along the way.

    Options of the same layers are worked out together, over all backings and in all scenes.

    Parameters
    ----------
    chosen : sequence of Option
    observer : {"2", "10"}
        CIE standard observer, degrees.
    progress : callable, optional

    Returns
    -------
    tuple of Outcome
        In the order of ``chosen``.

    Examples
    --------
    >>> made = evaluate(options(organza, scenes=(window,)))
    >>> made[0].appearance.reading.Lab.shape
    (3,)
    """
    one_pile: dict[tuple[object, ...], dict[int, list[int]]] = {}
    for place, option in enumerate(chosen):
        stack = option.stack
        layers = tuple((id(x.cloth), x.grain_deg, x.face) for x in stack.layers)
        lit = one_pile.setdefault((layers, stack.lay), {})
        lit.setdefault(id(option.scene), []).append(place)
    seen: list[tuple[Appearance, FloatArray] | None] = [None] * len(chosen)
    done = 0
    for lit in one_pile.values():
        groups: dict[tuple[int, ...], list[list[int]]] = {}
        for places in lit.values():
            behind_it = tuple(id(chosen[place].stack.backing) for place in places)
            groups.setdefault(behind_it, []).append(places)
        for alike in groups.values():
            stack = chosen[alike[0][0]].stack
            backings = [chosen[place].stack.backing for place in alike[0]]
            scenes = [chosen[places[0]].scene for places in alike]
            found = in_scenes(stack, backings, scenes, observer)
            might = lots_in(stack, backings, scenes, observer)
            for places, looks, drawn in zip(alike, found, might, strict=True):
                for place, look, might_be in zip(places, looks, drawn, strict=True):
                    seen[place] = look, might_be
            done += sum(map(len, alike))
            if progress is not None:
                progress(done, len(chosen))
    return tuple(
        Outcome(
            option,
            look,
            of_colour(
                known_of(_cloths(option), bool(option.scene.views)),
                open_colour(look.reading.Lab, drawn),
            ),
            drawn,
        )
        for option, (look, drawn) in zip(chosen, filter(None, seen), strict=True)
    )


def compare(
    cloth: Cloth,
    grains: Sequence[float] = (0.0,),
    counts: Sequence[int] = (1,),
    backings: Sequence[Backing | None] = (None,),
    scenes: Sequence[Scene] = (),
    faces: Sequence[str] = ("face",),
    lays: Sequence[str] = ("loose",),
    turn_deg: float = 0.0,
    observer: str = "2",
    progress: Callable[[int, int], None] | None = None,
) -> Comparison:
    """All :func:`options` evaluated, with the steps between neighbours along every axis.

    Parameters
    ----------
    cloth, grains, counts, backings, scenes, faces, lays, turn_deg
        As for :func:`options`.
    observer : {"2", "10"}
        CIE standard observer, degrees.
    progress : callable, optional
        Told (done, total) along the way.

    Raises
    ------
    InputError
        As :func:`options`, and for cloth that cannot be woven.

    Examples
    --------
    >>> made = compare(organza, counts=(1, 2), backings=(backing("white"),), scenes=(window,))
    >>> len(made.outcomes), made.steps[0].axis
    (2, 'layers')
    """
    chosen = options(cloth, grains, counts, backings, scenes, faces, lays, turn_deg)
    outcomes = evaluate(chosen, observer, progress)
    shape = tuple(len(x) for x in (scenes, lays, faces, counts, grains, (cloth,), backings))
    return _laid_out(outcomes, shape, observer)


def compare_stacks(
    stacks: Sequence[Stack],
    backings: Sequence[Backing | None] = (None,),
    scenes: Sequence[Scene] = (),
    observer: str = "2",
    progress: Callable[[int, int], None] | None = None,
) -> Comparison:
    """Whole stacks side by side: each layer with its own cloth, grain and face, in any order.

    Parameters
    ----------
    stacks : what is laid, outermost first; what is behind each is put there by ``backings``.
    backings, scenes, observer, progress : as for :func:`compare`.

    Returns
    -------
    Comparison
        Told along "stack", "backing" and "scene".

    Raises
    ------
    InputError
        A list that is empty, the same stack twice, or more than 2000 options.

    Examples
    --------
    >>> made = compare_stacks((single, double), (backing("white"),), (window,))
    >>> made.varied(), made.labels("stack")[1]
    (('stack',), '2 x Shot silk organza, crimson and black, straight grain')
    """
    labels = [layers_words(stack) for stack in stacks]
    for axis, chosen in (("stack", labels), ("backing", backings), ("scene", scenes)):
        if not chosen:
            raise InputError("nothing chosen; give at least one", field=axis)
    if len(set(labels)) < len(labels):
        raise InputError("the same stack is named twice; name each once", field="stack")
    total = len(stacks) * len(backings) * len(scenes)
    if total > MOST_OPTIONS:
        raise InputError(f"{total} options are too many to compare; choose {MOST_OPTIONS} or fewer")
    outcomes = evaluate(
        [
            Option(replace(stack, backing=behind_it), scene, label)
            for scene in scenes
            for stack, label in zip(stacks, labels, strict=True)
            for behind_it in backings
        ],
        observer,
        progress,
    )
    shape = (len(scenes), 1, 1, 1, 1, len(stacks), len(backings))
    return _laid_out(outcomes, shape, observer)


def _laid_out(
    outcomes: tuple[Outcome, ...], shape: tuple[int, ...], observer: str
) -> Comparison:
    """Outcomes in row-major order of ``shape``, with the steps between neighbours."""
    places = np.arange(len(outcomes)).reshape(shape)
    pairs: list[tuple[int, int]] = []
    for axis in reversed(range(len(AXES))):
        before = np.moveaxis(places, axis, 0)[:-1].ravel()
        after = np.moveaxis(places, axis, 0)[1:].ravel()
        pairs += sorted(zip(before.tolist(), after.tolist(), strict=True))
    per_scene = places.reshape(shape[0], -1)
    firsts = [(int(row[0]), int(place)) for row in per_scene for place in row[1:]]
    return Comparison(outcomes, shape, steps(outcomes, pairs), steps(outcomes, firsts), observer)


def steps(outcomes: Sequence[Outcome], pairs: Iterable[tuple[int, int]]) -> tuple[Step, ...]:
    """The differences between pairs of outcomes, told from the first of each pair to the second.

    Examples
    --------
    >>> made = evaluate(options(organza, counts=(1, 2), scenes=(window,)))
    >>> steps(made, [(0, 1)])[0].axis
    'layers'
    """
    pairs = list(pairs)
    if not pairs:
        return ()
    one = _held([(outcomes[i], outcomes[j]) for i, j in pairs])
    other = _held([(outcomes[j], outcomes[i]) for i, j in pairs])
    deltas, left = ciede2000(one[0], other[0]), open_difference(one, other)
    return tuple(
        _step(outcomes, i, j, float(delta), float(open_))
        for (i, j), delta, open_ in zip(pairs, deltas, left, strict=True)
    )


def step_between(one: Option, other: Option, observer: str = "2") -> Step:
    """The difference of ``one`` option from an ``other``, of the same cloth or not, to an
    ``observer`` of 2 or 10 degrees.

    Examples
    --------
    >>> one, two = options(organza, counts=(1, 2), scenes=(window,))
    >>> step_between(one, two).axis
    'layers'
    """
    return steps(evaluate((one, other), observer), [(0, 1)])[0]


def _held(pairs: Iterable[tuple[Outcome, Outcome]]) -> tuple[FloatArray, FloatArray]:
    """Lab and draws of the first of each pair, as they are held against the second: across lights
    as they look once the eye has settled."""
    made = []
    for outcome, other in pairs:
        seen, drawn = outcome.appearance.reading, outcome.drawn
        if _same_light(outcome.option, other.option):
            made.append((seen.Lab, drawn))
        else:
            made.append((seen.settled, settled(drawn, seen.white)))
    Lab, might = zip(*made, strict=True)
    return np.array(Lab), np.array(might)


def _same_light(a: Option, b: Option) -> bool:
    return a.scene is b.scene or a.scene.name == b.scene.name


def _settled_by(changed: Sequence[str], cloths: Sequence[Cloth]) -> str:
    """What would settle a difference: of grain, a picture that the fit of a cloth did not have."""
    for looks in filter(None, map(looks_of, cloths if "grain" in changed else ())):
        if len({round(grain / 90.0) % 2 for grain, *_ in looks.lies}) == 1:
            return f"photograph it turned a quarter too, or {LOOK}"
    return LOOK


def _changed(a: Option, b: Option) -> list[str]:
    """Which of :data:`AXES` differ in what is laid, whatever it is called: grain and face of any
    cloth in it, at any depth."""
    bare, other = (replace(x, label="") for x in (a, b))
    lies = [
        [{(content(x.cloth), x.grain_deg % 360.0) for x in option.stack.layers},
         {(content(x.cloth), x.face) for x in option.stack.layers}] for option in (a, b)
    ]  # fmt: skip
    turned = [axis for axis, one, two in zip(("grain", "face"), *lies, strict=True) if one != two]
    return [axis for axis in bare.unlike(other) if axis not in ("grain", "face")] + turned


def _step(outcomes: Sequence[Outcome], i: int, j: int, delta: float, left: float) -> Step:
    a, b = outcomes[i].option, outcomes[j].option
    same_light = _same_light(a, b)
    cloths = _cloths(a) + _cloths(b)
    one_set = set(map(content, _cloths(a))) == set(map(content, _cloths(b)))
    daylight = near_daylight(a.scene) and near_daylight(b.scene)
    changed = _changed(a, b)
    doubt = of_difference(
        delta,
        known_of(cloths, bool(a.scene.views)),
        left,
        daylight,
        same_cloth=one_set,
        same_light=same_light,
        changed=changed,
    )
    first, second = outcomes[i].appearance.reading, outcomes[j].appearance.reading
    effect = difference_words(first.settled, second.settled)  # as its names and screen colours
    seen = would_see(delta, doubt.stated, _settled_by(changed, cloths), a.scene.dim)
    # nobody sees two lights side by side, so nothing else says there that it cannot be told
    makes = "makes" if same_light or seen.sees is not None else "may make"
    none = effect.startswith("no ")
    made = f"{makes} no difference to speak of" if none else f"{makes} it {effect}"
    names = names_together(first.words, second.words, seen)
    if names[0] != names[1]:
        made += f" ({names[0]} to {names[1]})"
    done = change_words(a, b)
    if same_light:
        sentence = f"{done} {made}. {seen.words}"
    else:
        size = f"{delta:.1f} give or take {doubt.stated:.1f}"
        sentence = (
            f"{done} {made} (difference {size}, each to an eye that has settled to its light; "
            "nobody sees the two side by side)."
        )
    whole = ("lay", "face", "layers", "grain") if a.label and b.label else ()
    told = [axis for axis in a.unlike(b) if axis not in whole]
    axis = told[0] if len(told) == 1 else ""
    verdict = seen if same_light else None
    return Step(i, j, axis, delta, doubt, verdict, done, effect, names, sentence)


def change_words(a: Option, b: Option) -> str:
    """What is done to get from one option to the other, as the start of a sentence.

    Examples
    --------
    >>> one, two = options(organza, counts=(1, 2), scenes=(window,))
    >>> change_words(one, two)
    'Laying 2 layers instead of 1'
    """
    parts: list[str] = []
    x, y = a.stack, b.stack
    if a.label and b.label:
        if a.label != b.label:
            parts.append(f"laying {b.label} instead of {a.label}")
        return _sentence([*parts, *_around(a, b)])
    if [layer.cloth.name for layer in x.layers[:1]] != [layer.cloth.name for layer in y.layers[:1]]:
        parts.append("taking another cloth")
    if len(x.layers) != len(y.layers):
        parts.append(f"laying {b.aspect('layers')} instead of {len(x.layers)}")
    if a.aspect("grain") != b.aspect("grain"):
        parts.append(f"turning {a.aspect('grain')} to {b.aspect('grain')}")
    if a.aspect("face") != b.aspect("face"):
        parts.append(f"turning the {y.layers[0].face if y.layers else 'face'} outward")
    if x.lay != y.lay:
        parts.append(f"laying it {y.lay} instead of {x.lay}")
    return _sentence([*parts, *_around(a, b)])


def _around(a: Option, b: Option) -> list[str]:
    """What changes behind and about the layers."""
    parts: list[str] = []
    x, y = a.stack, b.stack
    if a.aspect("backing") != b.aspect("backing"):
        old = "nothing" if x.backing is None else x.backing.name
        new = "nothing" if y.backing is None else y.backing.name
        parts.append(f"putting {new} behind instead of {old}")
    if a.scene.name != b.scene.name:
        names = [a.scene.name, b.scene.name]
        if all(name.endswith(IN_FOLDS) for name in names):  # that is no change
            names = [name.removesuffix(IN_FOLDS) for name in names]
        parts.append(f"going from {' to '.join(names)}")
    return parts


def _sentence(parts: list[str]) -> str:
    text = (", ".join(parts[:-1]) + " and " if len(parts) > 1 else "") + (parts or ["this"])[-1]
    return text[0].upper() + text[1:]


def near_daylight(scene: Scene) -> bool:
    """Whether the scene's white is near the daylight in which cloth colours are given.

    Examples
    --------
    >>> near_daylight(window), near_daylight(scene("candlelit"))
    (True, False)
    """
    white = adopted_white(scene.white, scene.white, "2", True)
    return bool(np.linalg.norm(_uv(white) - _uv(daylight_white("2"))) < DAYLIGHT_UV)


def _uv(XYZ: np.ndarray) -> np.ndarray:
    """CIE 1976 u'v'."""
    X, Y, Z = XYZ
    return np.asarray(np.array([4.0 * X, 9.0 * Y]) / (X + 15.0 * Y + 3.0 * Z))


def _cloths(option: Option) -> list[Cloth]:
    return [layer.cloth for layer in option.stack.layers]
