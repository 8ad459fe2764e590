"""Whether the cloth in hand is enough for a stack: asks the lay, once for each use of cloth.

Knows which pieces each layer needs; the laying itself is ``cutting.lay``. Every layer of the
stack is taken to need every piece.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from weavecolor.cutting.lay import CANNOT, FITS, Lay, lay
from weavecolor.cutting.lengths import cm_and_inches
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.judged import Fit, Fits
from weavecolor.errors import InputError
from weavecolor.optics.stack import Stack
from weavecolor.textile.grain import GRAINS, grain_words

_WORD = {angle: word for word, angle in GRAINS.items()}


def fits_by_lay(
    pieces: Sequence[Piece],
    in_hand: Mapping[str, Sequence[ClothInHand]],
    *,
    fold: str = "open",
    tries: int | None = None,
    stop: Callable[[], bool] | None = None,
) -> Fits:
    """A question to put to stacks: do these pieces fit the cloths in hand, at each layer's grain?

    ``in_hand``: the lengths or remnants of each cloth, by its name; cloth that is not listed is
    taken as enough, and the answer says so. All pieces of one cloth are laid on one of its lengths;
    where only several together might do, the answer is that nobody can tell. Where a cloth does
    not fit at the grain asked for but would at straight or cross grain, the answer says that too.
    Raises InputError as ``make.lay.lay``, when asked.

    Examples
    --------
    >>> hand = {organza.name: [ClothInHand(110.0, 90.0)]}
    >>> fits_by_lay([Piece.rectangle("panel", 40.0, 60.0)], hand, tries=2)(single).enough
    True
    """
    if not pieces:
        raise InputError("there are no pieces to lay", field="pieces")
    answers: dict[tuple[str, tuple[tuple[float, int], ...]], tuple[bool | None, str]] = {}

    def one_cloth(name: str, grains: tuple[tuple[float, int], ...]) -> tuple[bool | None, str]:
        key = (name, grains)
        if key not in answers:
            found: tuple[bool | None, str] = (False, "none in hand")
            for number, length in enumerate(in_hand[name]):
                enough, text = _one_cloth(pieces, length, grains, fold, tries, stop)
                if number == 0 or enough:
                    found = (enough, text)
                if enough:
                    break
            if not found[0] and len(in_hand[name]) > 1:
                found = (None, f"no one length holds it ({found[1]}); try several by hand")
            answers[key] = found
        return answers[key]

    def ask(stack: Stack) -> Fit:
        uses = grains_used(stack)
        found: list[bool | None] = []
        words: list[str] = []
        for name, use in uses.items():
            if name not in in_hand:
                words.append(f"{name}: the amount in hand is not given, taken as enough")
                found.append(True)
                continue
            enough, text = one_cloth(name, use)
            found.append(enough)
            words.append(f"{name}: {text}")
        enough = False if False in found else None if None in found else True
        return Fit(enough, "; ".join(words) + ".")

    return ask


def grains_used(stack: Stack) -> dict[str, tuple[tuple[float, int], ...]]:
    """For each cloth of a stack, by name: the grains it is laid at, below 180 degrees, and how
    many layers at each.

    Examples
    --------
    >>> grains_used(double)[organza.name]
    ((0.0, 2),)
    """
    uses: dict[str, Counter[float]] = {}
    for layer in stack.layers:
        uses.setdefault(layer.cloth.name, Counter())[layer.grain_deg % 180.0] += 1
    return {name: tuple(sorted(use.items())) for name, use in uses.items()}


def _one_cloth(
    pieces: Sequence[Piece],
    cloth: ClothInHand,
    grains: tuple[tuple[float, int], ...],
    fold: str,
    tries: int | None,
    stop: Callable[[], bool] | None,
) -> tuple[bool | None, str]:
    layers = " and ".join(f"{n} x {grain_words(g)}" if n > 1 else grain_words(g) for g, n in grains)
    made = lay_layers(pieces, cloth, grains, fold, tries, stop)
    if made is None:
        return None, f"{layers}: layers of one cloth at odd angles cannot be laid together here"
    if made.verdict == FITS:
        return True, f"{layers} fits, taking {cm_and_inches(made.used_cm)}"
    text = f"{layers}: {made.verdict}, {made.reason}"
    count = sum(n for _, n in grains)
    for angle in (0.0, 90.0):
        if grains == ((angle, count),):
            continue
        other = lay_layers(pieces, cloth, ((angle, count),), fold, tries, stop)
        if other is not None and other.verdict == FITS:
            text += f" ({grain_words(angle)} fits, taking {cm_and_inches(other.used_cm)})"
    # a search that found no lay has proved nothing, but nobody should count on it
    return (False if made.verdict == CANNOT or stop is None or not stop() else None), text


def lay_layers(
    pieces: Sequence[Piece],
    cloth: ClothInHand,
    grains: tuple[tuple[float, int], ...],
    fold: str = "open",
    tries: int | None = None,
    stop: Callable[[], bool] | None = None,
) -> Lay | None:
    """The lay of every layer's pieces at once, or None where grains cannot be mixed.

    Examples
    --------
    >>> panel = Piece.rectangle("panel", 40.0, 60.0)
    >>> lay_layers([panel], ClothInHand(110.0, 90.0), ((0.0, 1),), tries=2).fits
    True
    """
    if len(grains) == 1:
        angle, count = grains[0]
        many = [replace(p, quantity=p.quantity * count) for p in pieces]
        return lay(many, cloth, angle, fold=fold, tries=tries, stop=stop)
    many = []
    for angle, count in grains:
        if angle not in _WORD:
            return None
        many += [
            replace(p, quantity=p.quantity * count, grain=p.grain or _WORD[angle]) for p in pieces
        ]
    return lay(many, cloth, fold=fold, tries=tries, stop=stop)
