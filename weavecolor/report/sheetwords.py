"""What a making sheet says of a grain, a lay and a fullness, in words, cm and inches.

Knows sentences; how they are set on the page is ``sheetlayout``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from weavecolor.cutting.fullness import FullnessPlan
from weavecolor.cutting.lay import Lay
from weavecolor.cutting.lengths import cm, cm_and_inches, enough_words, inches
from weavecolor.cutting.needed import ClothNeeded, panel_words
from weavecolor.cutting.remnant import ClothInHand, in_hand_words
from weavecolor.errors import capital

KIND_WORDS = {
    "flat": "flat", "gathered": "gathered", "knife": "knife pleats", "box": "box pleats",
}  # fmt: skip


def grain_words(grain_deg: float) -> str:
    """A grain angle in the trade's words, as seen from outside with the hem down.

    Turned by more than a right angle, the warp's far end points up: that is said too, for a cloth
    that differs seen up and down.
    """
    turned = grain_deg % 180.0
    # Anticlockwise, so the lower end of the warp swings to the right first.
    up = 90.0 + 0.5 < grain_deg % 360.0 < 270.0 - 0.5
    end = ", turned end for end" if up else ""
    if min(turned, 180.0 - turned) < 0.5:
        return f"straight grain, warp down{end}"
    if abs(turned - 90.0) < 0.5:
        side = "right" if grain_deg % 360.0 < 180.0 else "left"
        return f"cross grain, warp to the {side}"
    lean = turned if turned < 90.0 else turned - 180.0
    side = "right" if lean > 0 else "left"
    if abs(abs(lean) - 45.0) < 0.5:
        return f"bias, warp down to the {side}{end}"
    return f"warp {abs(lean):.0f}\u00b0 off straight, down to the {side}{end}"


def needed_sentences(need: ClothNeeded) -> tuple[str, ...]:
    """What was counted of one cloth, whether there is enough, what is short, what would do."""
    counted = f"Counted: {need.counted}."
    if not need.laid:
        return (counted, f"{capital(need.reason)}.", *need.notes)
    if len(need.laid) == 1:
        hand, made = need.laid[0]
        lines = [counted, *lay_sentences(made, hand)]
    else:
        lines = [counted]
        total = sum(in_hand_cm(made) for _, made in need.laid)
        if need.fits:
            lines.append(
                f"It fits: {cm_and_inches(need.used_cm)} of the {cm_and_inches(total)} in hand; "
                f"{need.reason}."
            )
        else:
            lines.append(f"{capital(need.verdict)}: {need.reason}.")
            lines += _not_placed(need.laid[-1][1])
        for number, (hand, made) in enumerate(need.laid, 1):
            name = f" ({hand.name})" if hand.name else ""
            lines.append(
                f"Length {number}{name}: {cm_and_inches(made.used_cm)} of "
                f"{cm_and_inches(in_hand_cm(made))}."
            )
    if need.short_cm is not None:
        all_of_it = need.needed_cm
        takes = "" if all_of_it is None else f"; in all it takes {enough_words(all_of_it)}"
        lines.append(f"Short: {enough_words(need.short_cm)} more of that width would do{takes}.")
    if need.largest:
        lines.append(need.largest)
    return (*lines, *need.notes)


def lay_sentences(lay: Lay, hand: ClothInHand | None = None) -> tuple[str, ...]:
    """What one lay amounts to, in words, cm and inches; on the cloth in hand, where it is told."""
    lines = []
    if lay.fits:
        lines.append(
            f"It fits: {cm_and_inches(lay.used_cm)} of the {cm_and_inches(in_hand_cm(lay))} in "
            f"hand, {100 - 100 * lay.used_share:.0f} % of that left over between pieces; "
            f"{lay.reason}."
        )
    else:
        lines.append(f"{capital(lay.verdict)}: {lay.reason}.")
        lines += _not_placed(lay)
    if hand is not None:
        lines.append(f"Laid on: {in_hand_words(hand)}.")
    _, _, wide, tall = lay.largest_left
    if wide * tall >= 25.0:
        double = " (of folded cloth)" if lay.fold != "open" else ""
        lines.append(
            f"Largest rectangle left{double}: {cm(wide)} across by {cm(tall)} along the warp "
            f"({inches(wide)} by {inches(tall)})."
        )
    return (*lines, *lay.notes)


def _not_placed(lay: Lay) -> list[str]:
    number = Counter(lay.missing)
    names = (f"{name} \u00d7{n}" if n > 1 else name for name, n in number.items())
    return ["Not placed: " + ", ".join(names) + "."] if number else []


def in_hand_cm(lay: Lay) -> float:
    """Length of the cloth that was laid on, along the warp, cm."""
    along = [y for _, y in lay.edge]
    return (max(along) - min(along)) * (2.0 if lay.fold == "crosswise" else 1.0)


def folds_words(plans: Sequence[tuple[str, FullnessPlan]], hung: bool) -> str:
    """What colours and what shows through are told of, where any cloth is taken in; ``hung``: of
    folds."""
    taken = dict.fromkeys(
        f"{KIND_WORDS[plan.kind]} {plan.fullness:.1f} to 1"
        for _, plan in plans if plan.kind != "flat"
    )  # fmt: skip
    if not taken:
        return ""
    of = "one surface over what is behind" if hung else "the layers lying flat"
    return (
        f"Colours{' in folds' if hung else ''} and what will show through are told of {of}. "
        f"Taken in ({', '.join(taken)}) cloth covers more: over itself it shows more of its own "
        "colour and less of what is behind, in pleats often by more than the \u00b1. Fold a piece "
        "so and look."
    )


def fullness_sentences(
    name: str, plan: FullnessPlan, thickness_mm: float | None = None, layers: int = 1
) -> tuple[str, ...]:
    """What a fullness plan takes and shows, in words.

    ``thickness_mm`` of the cloth adds the bulk at the waist, of so many ``layers`` of it.

    Parameters
    ----------
    name : str
        What is gathered or pleated, "skirt".
    plan : FullnessPlan
    thickness_mm : float, optional
    layers : int
    """
    name = capital(name)
    doubled = ", cloth doubled with the fold at the hem" if plan.doubled else ""
    side = ", cloth sideways (its length goes round)" if plan.sideways else ""
    shares = ", ".join(
        f"{layers} layer{'s' if layers > 1 else ''} over {100 * share:.0f} %"
        for layers, share in zip(plan.shares.layers, plan.shares.share, strict=True)
        if share >= 0.005
    )
    lines = [
        f"{name}: {KIND_WORDS[plan.kind]}, {plan.fullness:.2f} to 1 on "
        f"{cm_and_inches(plan.finished_cm)}{doubled}{side}. Seen straight on: {shares}.",
        f"{name}: {panel_words(plan)}: {cm_and_inches(plan.cloth_length_cm)} of cloth "
        f"{cm_and_inches(plan.cloth_width_cm)} wide.",
    ]
    if plan.pleats is not None:
        lines.append(f"{name}: {pleat_words(plan)}.")
    if thickness_mm is not None:
        mean, most = plan.bulk_mm(thickness_mm, layers)
        at_most = "" if most <= mean * 1.001 else f", {most:.2g} mm where folds lie on folds"
        lines.append(
            f"{name}: about {mean:.2g} mm of cloth in the waist seam{at_most}, pressed flat "
            f"({thickness_mm:.2g} mm a layer)."
        )
    return tuple(lines)


def pleat_words(plan: FullnessPlan) -> str:
    """Such as "18 pleats of 4 cm (1 5/8 in), each folded 3.9 cm (1 1/2 in) deep"."""
    assert plan.pleats is not None and plan.pleat_face_cm is not None
    assert plan.pleat_depth_cm is not None
    sides = " on each side" if plan.kind == "box" else ""
    return (
        f"{plan.pleats} pleat{'s' if plan.pleats > 1 else ''} of "
        f"{cm_and_inches(plan.pleat_face_cm)}, each folded "
        f"{cm_and_inches(plan.pleat_depth_cm)} deep{sides}"
    )
