"""Whether the cloth in hand is enough for a stack: one sum for each cloth of it.

Knows which layers are of which cloth, and their places; the sum and its laying are
``cutting.needed``. Every layer of the stack takes every piece, and the panels of every fullness,
but for what is cut in the outer layers alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from weavecolor.cutting.fullness import FullnessWanted
from weavecolor.cutting.lay import CANNOT
from weavecolor.cutting.lengths import cm_and_inches, enough_words
from weavecolor.cutting.needed import (
    NOT_GIVEN,
    ClothNeeded,
    Layers,
    cloth_needed,
    in_outer_layers,
    is_cut,
    layer_words,
)
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.judged import Fit, Fits
from weavecolor.errors import InputError
from weavecolor.optics.stack import Stack
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.grain import grain_words
from weavecolor.textile.weaves import half_turn

#: Said where cloth that half a turn changes was laid both ways up.
UPSIDE_DOWN = (
    "Some pieces lie upside down, and this weave looks different so: say 'one way' of the cloth in "
    "hand to cut all of them alike."
)


def fits_by_lay(
    pieces: Sequence[Piece],
    in_hand: Mapping[str, Sequence[ClothInHand]],
    fullness: Sequence[FullnessWanted] = (),
    *,
    fold: str = "open",
    tries: int | None = None,
    stop: Callable[[], bool] | None = None,
) -> Fits:
    """A question to put to stacks: do pieces and fullness fit the cloths in hand, at each grain?

    ``in_hand``: the lengths or remnants of each cloth, by its name; cloth that is not listed is
    taken as enough, and the answer says so. Where a cloth does not fit at the grain asked for but
    would at straight or cross grain, the answer says that too. Raises InputError as
    ``needed.cloth_needed``, when asked.

    Parameters
    ----------
    pieces : sequence of Piece
    in_hand : mapping of str to sequence of ClothInHand
    fullness : sequence of FullnessWanted
    fold : {"open", "lengthwise", "crosswise"}
    tries : int, optional
        Lays tried for each question.
    stop : callable, optional
        Asked between tries; true ends with the best so far.

    Examples
    --------
    >>> hand = {organza.name: [ClothInHand(110.0, 90.0)]}
    >>> fits_by_lay([Piece.rectangle("panel", 40.0, 60.0)], hand, tries=2)(single).enough
    True
    """
    if not pieces and not fullness:
        raise InputError("there are no pieces to lay, and no fullness", field="pieces")
    alike = not in_outer_layers(pieces, fullness)
    answers: dict[tuple[str, tuple[Layers, ...]], tuple[bool | None, str]] = {}

    def one_cloth(name: str, grains: tuple[Layers, ...]) -> tuple[bool | None, str]:
        def sum_at(angles: tuple[Layers, ...]) -> ClothNeeded:
            return cloth_needed(
                name, angles, pieces, fullness, in_hand.get(name, ()), fold=fold, tries=tries,
                stop=stop, largest=False,
            )  # fmt: skip

        if alike:
            grains = tuple(layers._replace(depths=()) for layers in grains)
        key = (name, grains)
        if key not in answers:
            answers[key] = _answer(sum_at, grains, stop)
        return answers[key]

    def ask(stack: Stack) -> Fit:
        found: list[bool | None] = []
        words: list[str] = []
        for name, use in grains_used(stack).items():
            if name not in in_hand:
                words.append(f"{name}: {NOT_GIVEN}, taken as enough")
                found.append(True)
                continue
            if not is_cut(use, pieces, fullness):
                words.append(f"{name}: nothing is cut of it")
                found.append(True)
                continue
            enough, text = one_cloth(name, use)
            found.append(enough)
            words.append(f"{name}: {text}")
        enough = False if False in found else None if None in found else True
        return Fit(enough, "; ".join(words) + ".")

    return ask


def grains_used(stack: Stack) -> dict[str, tuple[Layers, ...]]:
    """For each cloth of a stack, by name: the grains it is laid at, 0 to below 360 degrees, with
    which side out, how many layers so, and their places.

    Raises InputError where two different cloths have one name: their lengths would be mixed up.

    Examples
    --------
    >>> grains_used(double)[organza.name]
    (Layers(grain=0.0, many=2, back=False, depths=(1, 2)),)
    """
    uses: dict[str, dict[tuple[float, bool], tuple[int, ...]]] = {}
    called: dict[str, Cloth] = {}
    for depth, layer in enumerate(stack.layers, 1):
        name = layer.cloth.name
        if called.setdefault(name, layer.cloth) != layer.cloth:
            raise InputError(f"two cloths are called {name!r}; name them apart", field="cloths")
        lies = layer.grain_deg % 360.0, layer.face == "back"
        use = uses.setdefault(name, {})
        use[lies] = (*use.get(lies, ()), depth)
    return {
        name: tuple(Layers(grain, len(at), back, at) for (grain, back), at in sorted(use.items()))
        for name, use in uses.items()
    }


def stack_needs(
    stack: Stack,
    pieces: Sequence[Piece],
    fullness: Sequence[FullnessWanted],
    in_hand: Mapping[str, Sequence[ClothInHand]],
    *,
    fold: str = "open",
    tries: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[ClothNeeded, ...]:
    """The sum of each cloth of a stack, outermost first, with the largest that still fits.

    None where there is nothing to cut; none of a cloth of which nothing is cut. Raises InputError
    as ``needed.cloth_needed``.

    Parameters
    ----------
    stack : Stack
    pieces : sequence of Piece
    fullness : sequence of FullnessWanted
        Every layer takes all of both, but for what is cut in the outer layers alone.
    in_hand : mapping of str to sequence of ClothInHand
        By the cloth's name; a cloth not listed is said not to have been given.
    fold : {"open", "lengthwise", "crosswise"}
    tries : int, optional
        Lays tried for each cloth.
    progress : callable, optional
        Told (done, total) along the way.

    Examples
    --------
    >>> panel = Piece.rectangle("panel", 40.0, 60.0)
    >>> hand = {organza.name: [ClothInHand(110.0, 90.0)]}
    >>> [need.fits for need in stack_needs(double, [panel], [], hand, tries=2)]
    [True]
    """
    if not pieces and not fullness:
        return ()
    uses = {
        name: use for name, use in grains_used(stack).items() if is_cut(use, pieces, fullness)
    }
    made = []
    weaves = {layer.cloth.name: layer.cloth.weave for layer in stack.layers}
    for done, (name, grains) in enumerate(uses.items(), 1):
        need = cloth_needed(
            name, grains, pieces, fullness, in_hand.get(name, ()), fold=fold, tries=tries
        )
        if half_turn(weaves[name].lift) is None and _upside_down(need):
            need = replace(need, notes=(*need.notes, UPSIDE_DOWN))
        made.append(need)
        if progress is not None:
            progress(done, len(uses))
    return tuple(made)


def _upside_down(need: ClothNeeded) -> bool:
    """Whether pieces lie head up and head down, where all layers were asked for one way up."""

    def opposed(turns: set[int]) -> bool:
        return any((turn + 180) % 360 in turns for turn in turns)

    asked = {
        round(layers.grain) % 360 for layers in need.grains if not isinstance(layers.grain, str)
    }
    # of cloth folded crosswise the under one lies the other way up
    under = any(
        lay.fold == "crosswise" and any(piece.copies > 1 for piece in lay.placements)
        for _, lay in need.laid
    )
    return (under or opposed(need.directions)) and not opposed(asked)


def _answer(
    sum_at: Callable[[tuple[Layers, ...]], ClothNeeded],
    grains: tuple[Layers, ...],
    stop: Callable[[], bool] | None,
) -> tuple[bool | None, str]:
    made = sum_at(grains)
    words = layer_words(grains)
    if made.layers == 1:
        words = words.removeprefix("1 layer, ")
    if made.fits:
        say = "fits" if made.layers == 1 else "fit"
        return True, f"{words} {say}, taking {cm_and_inches(made.used_cm)}"
    text = f"{words}: {made.verdict}, {made.reason}"
    if made.short_cm is not None:
        text += f", short of {enough_words(made.short_cm)}"
    for angle in (0.0, 90.0):
        if all(layers.grain == angle for layers in grains):
            continue
        other = sum_at(tuple(layers._replace(grain=angle) for layers in grains))
        if other.fits:
            text += f" ({grain_words(angle)} fits, taking {cm_and_inches(other.used_cm)})"
    # a search that found no lay has proved nothing, but nobody should count on it
    return (False if made.verdict == CANNOT or stop is None or not stop() else None), text
