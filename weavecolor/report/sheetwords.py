"""What a making sheet says of a grain, a lay and a fullness, in words, cm and inches.

Knows sentences; how they are set on the page is ``sheetlayout``.
"""

from __future__ import annotations

from collections import Counter

from weavecolor.cutting.fullness import FullnessPlan
from weavecolor.cutting.lay import Lay
from weavecolor.cutting.lengths import cm, cm_and_inches, inches


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


def lay_sentences(lay: Lay) -> tuple[str, ...]:
    """What the lay amounts to, in words, cm and inches."""
    lines = []
    if lay.fits:
        lines.append(
            f"It fits: {cm_and_inches(lay.used_cm)} of the {cm_and_inches(in_hand_cm(lay))} in "
            f"hand, {100 * lay.used_share:.0f} % of that in the pieces; {lay.reason}."
        )
    else:
        lines.append(f"{lay.verdict[:1].upper()}{lay.verdict[1:]}: {lay.reason}.")
        if lay.missing:
            number = Counter(lay.missing)
            names = (f"{name} \u00d7{n}" if n > 1 else name for name, n in number.items())
            lines.append("Not placed: " + ", ".join(names) + ".")
    _, _, wide, tall = lay.largest_left
    if wide * tall >= 25.0:
        double = " (of folded cloth)" if lay.fold != "open" else ""
        lines.append(
            f"Largest rectangle left{double}: {cm(wide)} across by {cm(tall)} along the warp "
            f"({inches(wide)} by {inches(tall)})."
        )
    return (*lines, *lay.notes)


def in_hand_cm(lay: Lay) -> float:
    """Length of the cloth that was laid on, along the warp, cm."""
    along = [y for _, y in lay.edge]
    return (max(along) - min(along)) * (2.0 if lay.fold == "crosswise" else 1.0)


def fullness_sentences(name: str, plan: FullnessPlan) -> tuple[str, ...]:
    """What a fullness plan takes and shows, in words."""
    name = name[:1].upper() + name[1:]
    kinds = {"flat": "flat", "gathered": "gathered", "knife": "knife pleats", "box": "box pleats"}
    doubled = ", cloth doubled with the fold at the hem" if plan.doubled else ""
    shares = ", ".join(
        f"{layers} layer{'s' if layers > 1 else ''} over {100 * share:.0f} %"
        for layers, share in zip(plan.shares.layers, plan.shares.share, strict=True)
        if share > 0.004
    )
    return (
        f"{name}: {kinds[plan.kind]}, {plan.fullness:.2f} to 1 on {cm_and_inches(plan.finished_cm)}"
        f"{doubled}. Straight on: {shares}.",
        f"{name}: {plan.widths} width{'s' if plan.widths > 1 else ''} of "
        f"{cm_and_inches(plan.cloth_width_cm)}, each cut {cm_and_inches(plan.drop_cm)} long: "
        f"{cm_and_inches(plan.cloth_length_cm)} of cloth.",
    )
