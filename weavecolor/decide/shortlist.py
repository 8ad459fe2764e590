"""Truly different options, few enough to choose from, and why each is there, in words.

Knows judged stacks, their colours and their make-up; computes no optics.

Two options are near copies where the same cloth is outermost and they would hardly be told apart
(CIEDE2000 below :data:`ALIKE` under every light and, where that is asked for, while the cloth
turns). Of near copies only the better is kept. One that is hardly worse and has fewer layers is
told of as the simpler way.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from weavecolor.colour.colorimetry import ciede2000, colour_words
from weavecolor.colour.perception import JUST_NOTICEABLE, would_see
from weavecolor.colour.tristimulus import FloatArray
from weavecolor.decide.compare import Option, step_between
from weavecolor.decide.judged import Evaluation
from weavecolor.decide.looks import SHOT_TURNS, at_a_slant
from weavecolor.decide.wishes import Wish, loss, widest
from weavecolor.optics.appearance import CONTRAST_WORDS
from weavecolor.optics.mightbe import lots, open_colour
from weavecolor.optics.multiangle import travel
from weavecolor.optics.uncertainty import known_of, of_colour
from weavecolor.scene.scene import Scene

#: CIEDE2000: two to three times what is just noticeable, since folds of two dresses are never seen
#: as two flat chips edge to edge (chosen by judgement).
ALIKE = 2.5


def near_copy(one: Evaluation, other: Evaluation) -> bool:
    """Whether two options are not truly different.

    Examples
    --------
    >>> from weavecolor.decide.wishes import Measures
    >>> measures = Measures(np.array([[[40.0, 20.0, 10.0]]]), np.zeros((1, 0, 3)), np.array([0.5]))
    >>> one = Evaluation((1, 0), single, measures, 1.0, True, 19.0)
    >>> other = Evaluation((2, 0), double, measures, 1.1, True, 38.0)
    >>> near_copy(one, other)
    True
    """
    if one.stack.layers[0].cloth.name != other.stack.layers[0].cloth.name:
        return False
    mine, theirs = one.measures, other.measures
    if ciede2000(mine.scenes, theirs.scenes).max() >= ALIKE:
        return False
    return not mine.turns.size or bool(ciede2000(mine.turns, theirs.turns).max() < ALIKE)


def simpler(one: Evaluation, others: Sequence[Evaluation]) -> Evaluation | None:
    """The best near copy with fewer layers whose loss is less than one just noticeable difference
    (one point) more, or None.

    Examples
    --------
    >>> from weavecolor.decide.wishes import Measures
    >>> measures = Measures(np.array([[[40.0, 20.0, 10.0]]]), np.zeros((1, 0, 3)), np.array([0.5]))
    >>> more = Evaluation((2, 0), double, measures, 1.0, True, 38.0)
    >>> less = Evaluation((1, 0), single, measures, 1.2, True, 19.0)
    >>> simpler(more, [less]) is less
    True
    """
    fewer = [
        other
        for other in order(others)
        if len(other.stack.layers) < len(one.stack.layers)
        and other.loss - one.loss < JUST_NOTICEABLE
        and not (other.fit is not None and other.fit.enough is False)
        and near_copy(one, other)
    ]
    return min(fewer, key=lambda j: len(j.stack.layers), default=None)


def order(judged: Sequence[Evaluation]) -> list[Evaluation]:
    """Best first; a tie (to a millionth) goes to fewer layers, then to the lower number.

    Examples
    --------
    >>> from weavecolor.decide.wishes import Measures
    >>> measures = Measures(np.array([[[40.0, 20.0, 10.0]]]), np.zeros((1, 0, 3)), np.array([0.5]))
    >>> one = Evaluation((1, 0), single, measures, 3.0, True, 19.0)
    >>> better = Evaluation((2, 0), double, measures, 1.0, True, 38.0)
    >>> order([one, better])[0] is better
    True
    """
    return sorted(judged, key=lambda j: (round(j.loss, 6), j.key))


def pick(judged: Sequence[Evaluation], most: int) -> list[Evaluation]:
    """At most ``most`` truly different options, best first.

    Examples
    --------
    >>> from weavecolor.decide.wishes import Measures
    >>> measures = Measures(np.array([[[40.0, 20.0, 10.0]]]), np.zeros((1, 0, 3)), np.array([0.5]))
    >>> one = Evaluation((1, 0), single, measures, 3.0, True, 19.0)
    >>> len(pick([one], 5))
    1
    """
    chosen: list[Evaluation] = []
    for one in order(judged):
        if len(chosen) == most:
            break
        if not any(near_copy(one, other) for other in chosen):
            chosen.append(one)
    return chosen


@dataclass(frozen=True)
class Reason:
    """One thing to know about an option: a sentence, and the numbers behind it."""

    words: str
    numbers: tuple[tuple[str, float], ...] = ()


def reasons(
    one: Evaluation,
    wishes: Sequence[Wish],
    scenes: Sequence[Scene],
    best: Evaluation | None = None,
    others: Sequence[Evaluation] = (),
) -> tuple[Reason, ...]:
    """Why this option stands where it does. ``best``: the first of the list, to compare with;
    ``others``: where to look for a simpler way to the same.

    Parameters
    ----------
    one : Evaluation
    wishes : sequence of Wish
    scenes : sequence of Scene
        Her lights, the main one first.
    best : Evaluation, optional
    others : sequence of Evaluation

    Examples
    --------
    >>> from weavecolor.decide.wishes import Measures, Wish
    >>> measures = Measures(np.array([[[40.0, 20.0, 10.0]]]), np.zeros((1, 0, 3)), np.array([0.5]))
    >>> one = Evaluation((1, 0), single, measures, 3.0, True, 19.0)
    >>> reasons(one, [Wish("deepest")], [window])[0].words
    'As deep as L* 40.0 in window at the side.'
    """
    said = [_REASONS[wish.kind](one, wish, scenes) for wish in wishes]
    kinds = {wish.kind for wish in wishes}
    L, a, b = one.Lab
    doubt = _doubt(one, scenes[0])
    said.append(
        Reason(
            f"Looks {colour_words(one.measures.settled[0, 0])} in {scenes[0].name}, give or take "
            f"{doubt:.1f} CIEDE2000.",
            (("L*", float(L)), ("a*", float(a)), ("b*", float(b)), ("give or take", doubt)),
        )
    )
    if not kinds & {"most opaque", "most sheer"}:
        said.append(_cover(one))
    if one.measures.turns.shape[1] and not kinds & {"most shot", "least shot"}:
        said.append(_shot(one, None, scenes))
    if len(scenes) > 1 and "most even" not in kinds:
        said.append(_even(one, None, scenes))
    said.append(
        Reason(f"All layers together weigh {one.mass_g_m2:.0f} g/m2.", (("g/m2", one.mass_g_m2),))
    )
    if best is not None and best is not one:
        said.append(_against(one, best, scenes[0]))
    less = simpler(one, others)
    if less is not None:
        said.append(
            Reason(
                f"Simpler and much the same: {less.words} (hides {100.0 * less.opacity:.0f} %).",
                (("loss", less.loss), ("layers", float(len(less.stack.layers)))),
            )
        )
    if one.fit is not None:
        said.append(Reason(one.fit.words))
    if not one.exact:
        said.append(Reason("Screened only, not worked out by the full model."))
    return tuple(said)


def _near(one: Evaluation, wish: Wish, scenes: Sequence[Scene]) -> Reason:
    value = float(loss(wish, one.measures)[0])
    doubt = _doubt(one, scenes[0])
    seen = would_see(value, doubt, dim=scenes[0].dim)
    return Reason(
        f"Comes within {value:.1f} CIEDE2000 of the target colour, both as seen in {scenes[0].name}"
        f"{',' if scenes[0].views else ''} by an eye that has settled to it. {seen.words}",
        (("CIEDE2000 to target", value), ("give or take", doubt)),
    )


def _doubt(one: Evaluation, place: Scene) -> float:
    """How far off the colour told of it may be, as a comparison states it."""
    known = known_of([layer.cloth for layer in one.stack.layers])
    return of_colour(known, open_colour(one.Lab, _drawn(one, place))).stated


def _lightness(one: Evaluation, wish: Wish, scenes: Sequence[Scene]) -> Reason:
    L = float(one.Lab[0])
    word = "light" if wish.kind == "brightest" else "deep"
    return Reason(f"As {word} as L* {L:.1f} in {scenes[0].name}.", (("L*", L),))


def _cover(one: Evaluation, *_: object) -> Reason:
    hides = 100.0 * one.opacity
    return Reason(
        f"Hides {hides:.0f} % ({CONTRAST_WORDS}).",
        (("contrast ratio", one.opacity),),
    )


#: Whether the colour's move as cloth is turned would be seen.
_SHOT_SEEN = {
    True: "",
    False: " She would not see it.",
    None: " That may be too little to see: turn a piece and look.",
}


def _shot(one: Evaluation, _: object, scenes: Sequence[Scene]) -> Reason:
    gone = travel(one.measures.turns[0])
    a, b = (SHOT_TURNS[k] for k in gone.between)
    lit = at_a_slant(scenes[0])
    first, second = (Option(one.stack.turned(angle), lit) for angle in (a, b))
    doubt = step_between(first, second).uncertainty.stated
    seen = would_see(gone.colour, doubt, dim=lit.dim)
    turned = f"{gone.hue_deg or 0.0:.0f}"
    turned += " degree of hue" if turned == "1" else " degrees of hue"
    hue = "too grey to have a hue" if gone.hue_deg is None else turned
    numbers = [
        ("CIEDE2000 travel", gone.colour), ("give or take", doubt), ("L* travel", gone.lightness),
    ]  # fmt: skip
    if gone.hue_deg is not None:
        numbers.append(("hue travel", gone.hue_deg))
    return Reason(
        f"Turned in the light, held flat and seen at a slant, its colour moves by "
        f"{gone.colour:.1f} CIEDE2000, give or take {doubt:.1f}, most between {a:g} and {b:g} "
        f"degrees ({gone.lightness:.1f} in lightness, L*; {hue}).{_SHOT_SEEN[seen.sees]}",
        tuple(numbers),
    )


def _even(one: Evaluation, _: object, scenes: Sequence[Scene]) -> Reason:
    delta, first, second = widest(one.measures.settled)
    worst = float(delta[0])
    ends = [scenes[int(k[0])] for k in (first, second)]
    here, there = (Option(one.stack, scene) for scene in ends)
    doubt = step_between(here, there).uncertainty.stated
    return Reason(
        f"From light to light it changes by {worst:.1f} CIEDE2000 at most, give or take "
        f"{doubt:.1f}; "
        f"furthest apart are {ends[0].name} and {ends[1].name}.",
        (("worst CIEDE2000 between lights", worst), ("give or take", doubt)),
    )


#: What is told of each wish.
_REASONS: dict[str, Callable[[Evaluation, Wish, Sequence[Scene]], Reason]] = {
    "target": _near,
    "brightest": _lightness,
    "deepest": _lightness,
    "most shot": _shot,
    "least shot": _shot,
    "most opaque": _cover,
    "most sheer": _cover,
    "most even": _even,
}


def _drawn(one: Evaluation, scene: Scene) -> FloatArray:
    return lots(one.stack, [one.stack.backing], scene)[0]


def _against(one: Evaluation, best: Evaluation, scene: Scene) -> Reason:
    step = step_between(Option(best.stack, scene), Option(one.stack, scene))
    assert step.verdict is not None  # one light
    return Reason(
        f"Beside the first option: {step.verdict.words}",
        (("CIEDE2000 to the first", step.delta), ("give or take", step.uncertainty.stated)),
    )
