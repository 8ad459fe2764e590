"""Cloth needed: one sum of all that is cut from one cloth, laid on what there is of it.

Every layer of the cloth takes every piece and the panels of every fullness (skirts, sleeves), at
that layer's grain, but for what is cut in the outer layers alone; all of it is laid together on
the lengths in hand, on one where one holds it, else filling one after another. Whatever asks
whether there is cloth enough asks here. Knows lengths and shapes; nothing of stacks or colour.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import NamedTuple

from weavecolor.cutting.folds import MOST_FULLNESS
from weavecolor.cutting.fullness import FullnessPlan, FullnessWanted
from weavecolor.cutting.lay import CANNOT, FITS, NO_LAY, Lay, lay_parts
from weavecolor.cutting.lengths import LONGEST_CM, cm_and_inches
from weavecolor.cutting.pieces import Piece, cut_area_cm2, named_apart, outer_words
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.cutting.turns import Part, mirrors_itself
from weavecolor.errors import InputError
from weavecolor.textile.grain import GRAINS, grain_words

NOT_GIVEN = "the amount in hand is not given"


class Layers(NamedTuple):
    """Layers of a cloth that lie alike: their grain, degrees as seen from outside or a word of
    ``lay.lay``, how many there are, whether the cloth's back is out, and their places in the stack,
    the outermost 1; none where layers are only counted, or all take the same."""

    grain: float | str
    many: int
    back: bool = False
    depths: tuple[int, ...] = ()

    def taking(self, outer: int | None) -> int:
        """How many of them are among the ``outer`` layers of the stack; None: all."""
        if outer is None or not self.depths:
            return self.many
        return sum(depth <= outer for depth in self.depths)


#: Of one cloth; a pair of grain and number will do for layers that go face out.
Grains = Sequence[tuple[float | str, int] | Layers]
_Parts = tuple[Part, ...]
_Planned = tuple[tuple[str, FullnessPlan, int], ...]
#: What a garment has two of: a fullness so named is one of them.
_LIMBS = ("sleeve", "cuff", "leg")
#: Lays tried to see whether less, or more, than what was asked would fit.
_QUICK = 40
#: The largest fullness that fits is told as near as this.
_NEAR = 0.05
#: Joins more than the length asks for that are tried where panels find no room.
_MOST_JOINS = 3
#: Panels more than asked that are tried for the most that fits.
_MOST_MORE = 12


@dataclass(frozen=True, eq=False)
class ClothNeeded:
    """What one cloth must give, and whether it can.

    Attributes
    ----------
    cloth : its name.
    grains : the layers of it.
    laid : each length used, with its lay; one lay on cloth without an end where no amount is given.
    plans : (what, plan, layers) of each fullness as cut from this cloth, for each grain.
    parts : all that is cut, the quantities of all layers counted.
    verdict : "fits", "no lay found", "cannot fit", or that the amount is not given.
    reason : why.
    used_cm : length taken off, of all lengths used; what it would take where no amount is given;
        not a number where nothing could be laid.
    short_cm : how much more cloth of the first one's width would do; None where no length would,
        or where it fits.
    largest : what still fits, as a sentence; "" where nothing less can be made of it.
    """

    cloth: str
    grains: tuple[Layers, ...]
    laid: tuple[tuple[ClothInHand, Lay], ...]
    plans: _Planned
    parts: tuple[Piece, ...]
    verdict: str
    reason: str
    used_cm: float
    short_cm: float | None = None
    largest: str = ""
    notes: tuple[str, ...] = ()

    @property
    def fits(self) -> bool:
        return self.verdict == FITS

    @property
    def enough(self) -> bool | None:
        """True or False; None where the amount is not given."""
        return None if self.verdict == NOT_GIVEN else self.fits

    @property
    def needed_cm(self) -> float | None:
        """Length that all of it takes of the cloth in hand, cm; None where no length would do, or
        several were filled without room for all."""
        if math.isfinite(self.used_cm) and (self.fits or self.verdict == NOT_GIVEN):
            return self.used_cm
        if self.short_cm is None or len(self.laid) != 1:
            return None
        return self.laid[0][0].length_cm + self.short_cm

    @property
    def layers(self) -> int:
        """How many layers of this cloth there are."""
        return sum(layers.many for layers in self.grains)

    @property
    def directions(self) -> set[int]:
        """Which ways the pieces' grain lines point on the cloth, degrees anticlockwise from along
        the warp, whole, 0 to 359."""
        arrows = [piece.grain for _, lay in self.laid for piece in lay.placements]
        turns = (math.degrees(math.atan2(x0 - x1, y1 - y0)) for (x0, y0), (x1, y1) in arrows)
        return {round(turn) % 360 for turn in turns}

    @property
    def counted(self) -> str:
        """What was counted, in words: layers, pieces, panels of each fullness."""
        pieces = sum(part.quantity for part in self.parts) - sum(
            plan.widths * layers for _, plan, layers in self.plans
        )
        told = [layer_words(self.grains)]
        if pieces:
            told.append(f"{pieces} piece{'s' if pieces > 1 else ''} in all")
        for what, plan, layers in self.plans:
            at = f" ({grain_words(plan.grain_deg)})" if len(self.grains) > 1 else ""
            told.append(f"{what}{at} {panel_words(plan, layers)}")
        return "; ".join(told)


def layer_words(grains: Grains) -> str:
    """Such as "2 layers, straight grain" or "1 layer, straight grain, and 1, cross grain".

    Examples
    --------
    >>> layer_words([(0.0, 2)]), layer_words([(0.0, 1), Layers(90.0, 1, back=True)])
    ('2 layers, straight grain', '1 layer, straight grain, and 1, cross grain, back out')
    """
    laid = [Layers(*layers) for layers in grains]
    parts = [f"{n}, {_grain(angle)}{', back out' if back else ''}" for angle, n, back, _ in laid]
    first = laid[0].many
    parts[0] = parts[0].replace(f"{first},", f"{first} layer{'s' if first > 1 else ''},", 1)
    return ", and ".join(parts)


def _grain(angle: float | str) -> str:
    return "straight or cross grain" if angle == "either" else grain_words(_degrees(angle))


def _degrees(angle: float | str) -> float:
    """A word's angle; panels of "either" are joined from widths, on straight grain."""
    return GRAINS.get(angle, 0.0) if isinstance(angle, str) else angle


def panel_words(plan: FullnessPlan, layers: int = 1) -> str:
    """Such as "2 widths of 110 cm (43 1/4 in) x 90 cm (35 3/8 in) a layer, 4 in all".

    Examples
    --------
    >>> from weavecolor.cutting.fullness import plan_fullness
    >>> panel_words(plan_fullness("gathered", 70.0, 110.0, 70.0, fullness=2.5))
    '2 widths of 110 cm (43 1/4 in), each cut 76.5 cm (30 1/8 in) long'
    """
    many = plan.widths
    if plan.sideways:
        what, long = ("length" if many == 1 else "lengths"), "down the width of the cloth"
    else:
        what = ("width" if plan.whole_widths else "panel") + ("" if many == 1 else "s")
        long = "long"
    text = (
        f"{many} {what} of {cm_and_inches(plan.panel_cm)}, {'each ' if many > 1 else ''}cut "
        f"{cm_and_inches(plan.drop_cm)} {long}"
    )
    return text if layers == 1 else f"{text}, in each of {layers} layers: {many * layers} in all"


def panels(what: str, plan: FullnessPlan, layers: int = 1) -> Piece:
    """The panels of a fullness as pieces to lay, allowances included.

    Parameters
    ----------
    what : str
        Names the piece.
    plan : FullnessPlan
    layers : int
        Layers of the cloth, each with all panels; at least 1.

    Examples
    --------
    >>> from weavecolor.cutting.fullness import plan_fullness
    >>> panels("skirt", plan_fullness("gathered", 70.0, 110.0, 70.0, fullness=2.5), 2).quantity
    4
    """
    return Piece.rectangle(
        f"{what} panel", plan.panel_cm, plan.drop_cm, quantity=plan.widths * layers, seam_cm=0.0
    )


def cloth_needed(
    cloth: str,
    grains: Grains,
    pieces: Sequence[Piece],
    fullness: Sequence[FullnessWanted] = (),
    in_hand: Sequence[ClothInHand] = (),
    *,
    fold: str = "open",
    tries: int | None = None,
    stop: Callable[[], bool] | None = None,
    largest: bool = True,
) -> ClothNeeded:
    """All that is cut from one cloth, laid on what there is of it.

    Parameters
    ----------
    cloth : its name, for the words.
    grains : the grain of its layers, and how many layers at each.
    pieces : what each layer takes.
    fullness : what each layer takes in; planned for this cloth's usable width and each grain.
    in_hand : its lengths and remnants; none where the amount is not given.
    fold, tries, stop : as for ``lay.lay``.
    largest : also find what still fits (more lays).

    Raises
    ------
    InputError
        Nothing to cut, or as ``lay.lay``.

    Examples
    --------
    >>> panel = Piece.rectangle("panel", 40.0, 60.0)
    >>> two = cloth_needed("silk", ((0.0, 2),), [panel], (), [ClothInHand(60.0, 100.0)], tries=2)
    >>> two.verdict, round(two.short_cm)
    ('cannot fit', 26)
    """
    if not pieces and not fullness:
        raise InputError("there are no pieces to lay, and no fullness", field="pieces")
    layers = _in_their_places(grains, pieces, fullness)
    if not layers or any(each.many < 1 for each in layers):
        raise InputError("there is no layer of it", field=cloth)
    if not is_cut(layers, pieces, fullness):
        raise InputError("nothing is cut in its layers", field=cloth)
    apart, hands = named_apart(pieces), tuple(in_hand)
    alike = _face_up(layers, apart, any(hand.one_way for hand in hands))
    asked = (alike, apart, tuple(fullness), hands, fold, tries, largest)
    made = _needed(*asked) if stop is None else _work_out(*asked, stop)
    some = _in_some_alone(layers, apart, fullness)
    notes = (*made.notes, *some, *_on_both_diagonals(made, apart))
    if any(each.back for each in layers):
        notes += ("The cloth lies face up; patterns of what goes back out lie face down on it.",)
    return replace(made, cloth=cloth, grains=layers, notes=notes)


def _in_their_places(
    grains: Grains, pieces: Sequence[Piece], fullness: Sequence[FullnessWanted]
) -> tuple[Layers, ...]:
    """The layers with their places, one after another where none are told; without any where all
    layers take the same."""
    layers = tuple(Layers(*each) for each in grains)
    if not in_outer_layers(pieces, fullness):
        return tuple(each._replace(depths=()) for each in layers)
    ends = [sum(each.many for each in layers[: i + 1]) for i in range(len(layers))]
    return tuple(
        each if each.depths else each._replace(depths=tuple(range(end - each.many + 1, end + 1)))
        for each, end in zip(layers, ends, strict=True)
    )


def is_cut(
    grains: Grains, pieces: Sequence[Piece], fullness: Sequence[FullnessWanted]
) -> bool:
    """Whether any of ``pieces`` or ``fullness`` is cut in layers that lie so.

    Parameters
    ----------
    grains : sequence of Layers
    pieces : sequence of Piece
    fullness : sequence of FullnessWanted

    Examples
    --------
    >>> outer = Piece.rectangle("overskirt", 40.0, 60.0, layers=1)
    >>> is_cut([Layers(0.0, 1, depths=(2,))], [outer], [])
    False
    """
    outer = {*(piece.layers for piece in pieces), *(wanted.layers for wanted in fullness)}
    return any(Layers(*each).taking(many) for each in grains for many in outer)


def in_outer_layers(
    pieces: Sequence[Piece], fullness: Sequence[FullnessWanted]
) -> dict[int, list[str]]:
    """What is cut in so many outer layers of a stack alone, by their number.

    Examples
    --------
    >>> in_outer_layers([Piece.rectangle("overskirt", 40.0, 60.0, layers=1)], [])
    {1: ['overskirt']}
    """
    own = [(piece.layers, piece.name) for piece in pieces]
    own += [(wanted.layers, wanted.what) for wanted in fullness]
    told = sorted({outer for outer, _ in own if outer is not None})
    return {outer: [name for many, name in own if many == outer] for outer in told}


def _in_some_alone(
    layers: tuple[Layers, ...], pieces: Sequence[Piece], fullness: Sequence[FullnessWanted]
) -> Iterator[str]:
    """What is cut in some layers of a stack alone, where that leaves out a layer of this cloth."""
    deepest = max((depth for each in layers for depth in each.depths), default=0)
    for outer, names in in_outer_layers(pieces, fullness).items():
        if outer < deepest:
            yield f"Cut {outer_words(outer)}: {', '.join(names)}."


def _face_up(
    layers: tuple[Layers, ...], pieces: tuple[Piece, ...], one_way: bool
) -> tuple[Layers, ...]:
    """The layers, those back out counted as face out where that cuts the same pieces."""
    if not any(each.back for each in layers):
        return layers
    either = all(mirrors_itself(piece, one_way) for piece in pieces)
    alike: dict[tuple[float | str, bool], Layers] = {}
    for grain, many, back, depths in layers:
        turned = isinstance(grain, str) or grain % (180.0 if one_way else 90.0) > 1e-9
        key = grain, back and (turned or not either)
        before = alike.get(key, Layers(grain, 0))
        alike[key] = Layers(grain, before.many + many, key[1], before.depths + depths)
    return tuple(alike.values())


def _on_both_diagonals(made: ClothNeeded, pieces: Sequence[Piece]) -> tuple[str, ...]:
    """What to mind where the word "bias" let pieces lie on either diagonal, or a slanting grain
    line is mirrored."""
    asked = [*(layers.grain for layers in made.grains), *(part.grain for part in made.parts)]
    halves = [piece.name for piece in pieces if piece.pair and piece.grain_deg % 90.0]
    if "bias" in asked and {45, 135} <= {angle % 180 for angle in made.directions}:
        what, instead = "Pieces", "lay them at 45 degrees"
    elif halves:
        what = f"Left and right of {' and of '.join(halves)}"
        instead = "tell left and right as two pieces"
    else:
        return ()
    return (
        f"{what} lie on both diagonals, which look different in shot cloth, in a twill and in hard "
        f"twisted yarn: compare bias and other bias; to keep to one, {instead}.",
    )


def _work_out(
    grains: tuple[Layers, ...],
    pieces: tuple[Piece, ...],
    fullness: tuple[FullnessWanted, ...],
    in_hand: tuple[ClothInHand, ...],
    fold: str,
    tries: int | None,
    largest: bool,
    stop: Callable[[], bool] | None = None,
) -> ClothNeeded:
    if not in_hand:
        return _endless(grains, pieces, fullness, fold, tries)
    tried: list[ClothNeeded] = []
    for length in in_hand:
        made = _on_lengths(grains, pieces, fullness, (length,), fold, tries, stop)
        if made.fits:
            return _with_largest(made, pieces, fullness, (length,), fold) if largest else made
        tried.append(made)
    best = min(tried, key=lambda made: (len(_missing(made)), made.short_cm or math.inf))
    hands = tuple(in_hand)
    if len(hands) > 1:
        together = tuple(sorted(hands, key=lambda hand: -hand.shape.area))
        made = _on_lengths(grains, pieces, fullness, together, fold, tries, stop)
        if made.fits:
            return made
        if len(_missing(made)) < len(_missing(best)) or best.verdict == CANNOT:
            best = made
    return _with_less(best, pieces, fullness, hands, fold) if largest else best


#: Page, sheet and search ask the same again and again: the last answers are kept.
_needed = lru_cache(maxsize=512)(_work_out)


def _missing(made: ClothNeeded) -> tuple[str, ...]:
    """Names of what was not placed on the last length; all of it where nothing could be laid."""
    if not made.laid:
        return tuple(name for part in made.parts for name in [part.name] * part.quantity)
    return made.laid[-1][1].missing


def _planned(
    grains: tuple[Layers, ...],
    fullness: tuple[FullnessWanted, ...],
    hands: tuple[ClothInHand, ...],
    joined: int,
) -> tuple[_Planned, _Parts]:
    """Every fullness for every grain, cut to the narrowest of the lengths; plans and panels.

    Off straight grain a panel goes round in as few parts as the longest allows, but at least in
    ``joined``.
    """
    width = min(hand.usable_width_cm for hand in hands)
    bounds = [hand.shape.bounds for hand in hands]
    longest = max(high - low for _, low, _, high in bounds)
    plans = []
    panels_of: list[Part] = []
    for wanted in fullness:
        for layers in grains:
            if not (many := layers.taking(wanted.layers)):
                continue
            try:
                degrees = _degrees(layers.grain)
                plan = wanted.plan(width, degrees, longest, joined if degrees % 180.0 else 1)
            except InputError as error:
                raise InputError(error.what, field=wanted.what) from None
            plans.append((wanted.what, plan, many))
            piece = replace(panels(wanted.what, plan, many), layers=wanted.layers)
            panels_of.append(Part(piece, _on_face(layers)))
    return tuple(plans), tuple(panels_of)


def _parts(grains: tuple[Layers, ...], pieces: tuple[Piece, ...]) -> _Parts:
    return tuple(
        Part(
            replace(piece, quantity=piece.quantity * many),
            _on_face(layers),
            True if layers.back and not piece.pair else None,
        )
        for layers in grains
        for piece in pieces
        if (many := layers.taking(piece.layers))
    )


def _on_face(layers: Layers) -> float | str:
    """Their grain as seen from the face of the cloth: from behind it leans the other way."""
    turned = layers.back and not isinstance(layers.grain, str)
    return -float(layers.grain) if turned else layers.grain


def _on_lengths(
    grains: tuple[Layers, ...],
    pieces: tuple[Piece, ...],
    fullness: tuple[FullnessWanted, ...],
    hands: tuple[ClothInHand, ...],
    fold: str,
    tries: int | None,
    stop: Callable[[], bool] | None,
    hopeless: bool = True,
    joined: int | None = None,
) -> ClothNeeded:
    """Everything on these lengths, what finds no room on one going to the next; what is proved not
    to fit on one alone is laid only where ``hopeless``. Panels off straight grain are ``joined``
    from at least so many parts; None: from more only where they find no room as long as can be."""
    if joined is None:
        laid_from = partial(
            _on_lengths, grains, pieces, fullness, hands, fold, tries, stop, hopeless
        )
        first = laid_from(1)
        cut = [plan.widths for _, plan, _ in first.plans if plan.grain_deg >= 0.5]
        if first.verdict == NO_LAY and cut:
            more = map(laid_from, range(min(cut) + 1, max(cut) + 1 + _MOST_JOINS))
            return next((made for made in more if made.fits), first)
        return first
    try:
        plans, panelled = _planned(grains, fullness, hands, joined)
    except InputError as error:
        why = str(error)
        return ClothNeeded(
            "", grains, (), (), tuple(part.piece for part in _parts(grains, pieces)), CANNOT, why,
            math.nan,
        )  # fmt: skip
    parts = (*panelled, *_parts(grains, pieces))
    everything = tuple(part.piece for part in parts)
    doubts = _doubts(pieces, fullness)
    laid: list[tuple[ClothInHand, Lay]] = []
    left = parts
    for hand in hands:
        # one hand that is left is cut of cloth that lies open
        single = laid and any(part.other_hand is not None for part in left)
        folded = "open" if single or hand.outline is not None else fold
        made = lay_parts(
            left, hand, fold=folded, tries=tries, stop=stop, hopeless=hopeless or len(hands) > 1
        )
        laid.append((hand, made))
        left = tuple(_left_over(left, made))
        if not left:
            break
    used = sum(made.used_cm for _, made in laid)
    last = laid[-1][1]
    if len(laid) == 1:
        return ClothNeeded(
            "", grains, tuple(laid), plans, everything, last.verdict, last.reason,
            used, None if last.fits else last.short_cm, "", doubts,
        )  # fmt: skip
    if not left:
        reason = f"every piece is placed, on {len(laid)} lengths"
        return ClothNeeded(
            "", grains, tuple(laid), plans, everything, FITS, reason, used, None, "", doubts
        )
    need = sum(item.quantity * cut_area_cm2(item) for item in everything)
    have = sum(hand.shape.area for hand in hands)
    verdict, reason = NO_LAY, (
        "filling one length after another the search found no lay; that does not prove there is "
        "none"
    )  # fmt: skip
    if need > have * (1 + 1e-9):
        verdict = CANNOT
        reason = (
            f"the pieces cover {need / 1e4:.3f} m2, all lengths together only {have / 1e4:.3f} m2"
        )
    for part in left if verdict == NO_LAY else ():
        alone = [_alone(part, hand, fold) for hand in hands]
        if all(made.verdict == CANNOT for made in alone):
            verdict = CANNOT
            reason = f"none of the {len(hands)} lengths has room for it: {alone[0].reason}"
            break
    return ClothNeeded(
        "", grains, tuple(laid), plans, everything, verdict, reason, used,
        _short_of(left, hands[0], tries), "", doubts,
    )  # fmt: skip


def _alone(part: Part, hand: ClothInHand, fold: str) -> Lay:
    """One copy, on a fold both hands of a pair, on a length that holds nothing else."""
    folded = fold if hand.outline is None and part.other_hand is None else "open"
    pair = part.piece.pair and folded != "open"
    one = part._replace(piece=replace(part.piece, quantity=1 + pair, pair=pair))
    return lay_parts([one], hand, fold=folded, tries=1, hopeless=False)


def _left_over(parts: _Parts, made: Lay) -> Iterator[Part]:
    """What of ``parts`` was not placed, of a pair whole ones and then single hands."""
    for part, (plain, other) in zip(parts, made.left_over, strict=True):
        piece = part.piece
        if made.fold != "open" and piece.fold_edge is None and piece.quantity % 2:
            plain = max(0, plain - 1)  # the spare one of cloth that lies double
        if both := min(plain, other):
            yield part._replace(piece=replace(piece, quantity=2 * both))
        for count, mirrored in ((plain - both, False), (other - both, True)):
            if count:
                hand = mirrored if piece.pair else part.other_hand
                one = replace(piece, quantity=count, pair=False)
                yield part._replace(piece=one, other_hand=hand)


def _short_of(left: _Parts, like: ClothInHand, tries: int | None) -> float | None:
    """Length of further cloth like ``like`` that would take what is left; None if none would."""
    width = like.usable_width_cm
    try:
        made = lay_parts(
            left, ClothInHand(width, LONGEST_CM, one_way=like.one_way), tries=tries or _QUICK
        )
    except InputError:
        return None
    return made.used_cm if made.fits else None


def _endless(
    grains: tuple[Layers, ...],
    pieces: tuple[Piece, ...],
    fullness: tuple[FullnessWanted, ...],
    fold: str,
    tries: int | None,
) -> ClothNeeded:
    """What it takes of cloth as wide as the fullness was meant for; unknown without fullness."""
    if not fullness:
        return ClothNeeded(
            "", grains, (), (), tuple(part.piece for part in _parts(grains, pieces)), NOT_GIVEN,
            NOT_GIVEN, math.nan,
        )  # fmt: skip
    hand = ClothInHand(fullness[0].cloth_width_cm, LONGEST_CM)
    made = _on_lengths(grains, pieces, fullness, (hand,), fold, tries, None)
    if made.fits:
        takes = f"it takes {cm_and_inches(made.used_cm)}"
    else:  # wider cloth may do
        takes = f"it was not made to fit: {made.reason}"
        made = replace(made, used_cm=math.nan, short_cm=None, largest="")
    reason = f"{NOT_GIVEN}; of cloth {cm_and_inches(hand.width_cm)} wide {takes}"
    return replace(made, verdict=NOT_GIVEN, reason=reason, laid=())


def _doubts(pieces: tuple[Piece, ...], fullness: tuple[FullnessWanted, ...]) -> tuple[str, ...]:
    """What may be counted twice, or once too few: said, not guessed.

    Examples
    --------
    >>> _doubts((Piece.rectangle("skirt panel", 40.0, 60.0),), ())
    ()
    """
    twice = [
        f"Both the piece {piece.name!r} and the fullness of the {wanted.what!r} are counted: if "
        "they are the same cloth, take one away."
        for wanted in fullness
        for piece in pieces
        if wanted.what.strip().casefold() in piece.name.casefold()
        and "panel" in piece.name.casefold()
    ]
    names = [wanted.what.strip().casefold() for wanted in fullness]
    once = [
        f"One {limb} is counted; tell it twice, by two names, where there are two."
        for limb in _LIMBS
        if limb in names and sum(limb in name for name in names) == 1
    ]
    return (*twice, *once)


# --- the largest that still fits --------------------------------------------------------------


def _fits(
    grains: tuple[Layers, ...],
    pieces: tuple[Piece, ...],
    fullness: tuple[FullnessWanted, ...],
    hands: tuple[ClothInHand, ...],
    fold: str,
) -> ClothNeeded | None:
    """The quick answer on one of the lengths, or on all together; None where it does not fit."""
    for hand in hands:
        made = _on_lengths(grains, pieces, fullness, (hand,), fold, _QUICK, None, hopeless=False)
        if made.fits:
            return made
    if len(hands) > 1:
        made = _on_lengths(grains, pieces, fullness, hands, fold, _QUICK, None)
        if made.fits:
            return made
    return None


def _with_less(
    made: ClothNeeded,
    pieces: tuple[Piece, ...],
    fullness: tuple[FullnessWanted, ...],
    hands: tuple[ClothInHand, ...],
    fold: str,
) -> ClothNeeded:
    """With what still fits where all of it does not: less fullness, then fewer layers."""
    said = []
    grains = made.grains
    too_full = {what: plan.fullness for what, plan, _ in made.plans}
    for wanted, full, less in _less_full(fullness, hands, grains):
        if all(not each.taking(wanted.layers) for each in grains):
            continue  # it is cut of another cloth
        found = _fits(grains, pieces, less, hands, fold)
        if found is None:
            too_full[wanted.what] = full
        else:
            found = _fullest(
                lambda full, one=wanted: _fits(  # type: ignore[misc]
                    grains, pieces, _as_full(fullness, one, full), hands, fold
                ),
                full, too_full.get(wanted.what, full), found, wanted.what,
            )  # fmt: skip
            plan = next(plan for what, plan, _ in found.plans if what == wanted.what)
            hem = wanted.hem_round_cm
            round_ = f", {cm_and_inches(plan.joined_cm)} round the hem" if hem is not None else ""
            said.append(
                f"{wanted.what} {plan.fullness:.2f} to 1 instead, {panel_words(plan)}{round_}, "
                f"taking {cm_and_inches(found.used_cm)} in all"
            )
            break
    while sum(layers.many for layers in grains) > 1:
        grains = _one_less(grains)
        found = _fits(grains, pieces, fullness, hands, fold)
        if found is not None:
            said.append(f"{layer_words(grains)}, taking {cm_and_inches(found.used_cm)}")
            break
    if not said and (made.layers > 1 or fullness):
        return replace(made, largest="Nothing less of it was found to fit.")
    return replace(made, largest=f"Largest that still fits: {'; or '.join(said)}." if said else "")


def _one_less(grains: tuple[Layers, ...]) -> tuple[Layers, ...]:
    """The layers but the innermost, or one of the last named where their places are not told."""
    last = max(range(len(grains)), key=lambda i: (max(grains[i].depths, default=0), i))
    of = grains[last]
    less = of._replace(many=of.many - 1, depths=tuple(sorted(of.depths))[:-1])
    return tuple(each for each in (*grains[:last], less, *grains[last + 1 :]) if each.many)


def _as_full(
    fullness: tuple[FullnessWanted, ...], wanted: FullnessWanted, full: float
) -> tuple[FullnessWanted, ...]:
    """All of it, with ``full`` to 1 for ``wanted``, however far that goes round the hem."""
    other = replace(wanted, fullness=full - 1e-9, widths=None, hem_round_cm=None)
    return tuple(other if one is wanted else one for one in fullness)


def _fullest(
    fits: Callable[[float], ClothNeeded | None],
    good: float,
    bad: float,
    found: ClothNeeded,
    what: str,
) -> ClothNeeded:
    """Between ``good``, which fits as ``found``, and ``bad``, which does not; where whole widths
    are joined there is none."""
    while bad - good > _NEAR and all(
        not plan.whole_widths for name, plan, _ in found.plans if name == what
    ):
        middle = 0.5 * (good + bad)
        made = fits(middle)
        if made is None:
            bad = middle
        else:
            good, found = middle, made
    return found


def _less_full(
    fullness: tuple[FullnessWanted, ...], hands: tuple[ClothInHand, ...], grains: tuple[Layers, ...]
) -> Iterator[tuple[FullnessWanted, float, tuple[FullnessWanted, ...]]]:
    """Each fullness with fewer and fewer panels, the widest first: which, how full, and all."""
    width = max(hand.usable_width_cm for hand in hands)
    for wanted in fullness:
        if wanted.kind == "flat":
            continue
        try:
            begun = wanted.plan(width, _degrees(grains[0].grain))
        except InputError:
            continue
        one = begun.joined_cm / begun.widths / begun.finished_cm
        steps = (
            [*(widths * one for widths in range(begun.widths - 1, 0, -1)),
             *(share * one for share in (0.7, 0.6, 0.5, 0.4))]
            if begun.whole_widths
            else [begun.fullness * share for share in (0.9, 0.8, 0.7, 0.6, 0.5, 0.4)]
        )  # fmt: skip
        for full in steps:
            if full < 1.0:
                break
            try:
                less = _as_full(fullness, wanted, full)
            except InputError:
                continue
            yield wanted, full, less


def _with_largest(
    made: ClothNeeded,
    pieces: tuple[Piece, ...],
    fullness: tuple[FullnessWanted, ...],
    hands: tuple[ClothInHand, ...],
    fold: str,
) -> ClothNeeded:
    """With the most that the same cloth would still give: more panels of the first fullness."""
    cut = {what for what, _, _ in made.plans}
    wanted = next((one for one in fullness if one.kind != "flat" and one.what in cut), None)
    if wanted is None:
        return made
    plan = next(plan for what, plan, _ in made.plans if what == wanted.what)
    def fits(full: float) -> ClothNeeded | None:
        return _fits(made.grains, pieces, _as_full(fullness, wanted, full), hands, fold)

    good, best = plan.fullness, made
    some = ""
    for more in range(1, _MOST_MORE + 1):
        full = plan.fullness * (plan.widths + more) / plan.widths
        if not plan.whole_widths:
            full = min(plan.fullness * (1.0 + 0.1 * more), MOST_FULLNESS)
            if full <= good:
                break  # folds take in no more
        try:
            found = fits(full)
        except InputError:
            break
        if found is None:
            best = _fullest(fits, good, full, best, wanted.what)
            break
        good, best = full, found
    else:
        some = "at least "  # more was not tried
    if best is made:
        text = f"Largest {wanted.what} that fits: this one, {plan.fullness:.2f} to 1."
    else:
        plan = next(plan for what, plan, _ in best.plans if what == wanted.what)
        text = (
            f"Largest {wanted.what} that still fits: {some}{plan.fullness:.2f} to 1, "
            f"{panel_words(plan)}, taking {cm_and_inches(best.used_cm)} in all."
        )
    return replace(made, largest=text)
