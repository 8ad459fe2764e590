"""Pleats against gathers on one finished width: cloth taken, layers straight on, layers by height.

Knows which plans are laid side by side and how they are written down; the working out is
``fullness``. Lengths in cm.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from weavecolor.cutting.folds import LayerShares
from weavecolor.cutting.fullness import FullnessPlan, HeightLayers, plan_fullness, skirt_layers
from weavecolor.cutting.lengths import cm, cm_and_inches
from weavecolor.errors import InputError
from weavecolor.report.comparisontable import columns, rounded

KIND_WORDS = {
    "flat": "flat", "gathered": "gathered", "knife": "knife pleats", "box": "box pleats",
}  # fmt: skip


@dataclass(frozen=True)
class FullnessWay:
    """One way to take the width in: its plan, and the layers down the skirt (none if not asked)."""

    plan: FullnessPlan
    heights: tuple[HeightLayers, ...] = ()

    @property
    def words(self) -> str:
        """Such as "knife pleats, doubled"."""
        return KIND_WORDS[self.plan.kind] + (", doubled" if self.plan.doubled else "")


@dataclass(frozen=True)
class FullnessTable:
    """Ways to take in one finished width, all asked for the same ``fullness`` at least."""

    finished_cm: float
    cloth_width_cm: float
    length_cm: float
    fullness: float | None
    hem_round_cm: float | None
    ways: tuple[FullnessWay, ...]


def fullness_table(
    kinds: Sequence[str],
    finished_cm: float,
    cloth_width_cm: float,
    length_cm: float,
    *,
    fullness: float | None = None,
    widths: int | None = None,
    hem_round_cm: float | None = None,
    doubled: Sequence[bool] = (False,),
    heights: int = 5,
    seam_cm: float = 1.5,
    top_cm: float = 1.5,
    hem_cm: float = 5.0,
) -> FullnessTable:
    """Each of ``kinds``, single or doubled, planned; with ``hem_round_cm`` also down the skirt.

    ``hem_round_cm``: how far round the hem hangs; the cloth goes straight down. Raises InputError
    as ``fullness.plan_fullness`` and ``fullness.skirt_layers``.

    Examples
    --------
    >>> fullness_table(["gathered"], 70.0, 110.0, 70.0, fullness=2.5).finished_cm
    70.0
    """
    if not kinds or not doubled:
        raise InputError("give at least one way to take it in", field="kinds")
    ways = []
    for kind in dict.fromkeys(kinds):
        for double in doubled:
            plan = plan_fullness(
                kind,
                finished_cm,
                cloth_width_cm,
                length_cm,
                fullness=fullness,
                widths=widths,
                seam_cm=seam_cm,
                top_cm=top_cm,
                hem_cm=hem_cm,
                doubled=double,
            )
            down: tuple[HeightLayers, ...] = ()
            if hem_round_cm is not None and kind != "flat":
                down = skirt_layers(
                    kind,
                    finished_cm,
                    hem_round_cm,
                    length_cm,
                    plan.joined_cm,
                    doubled=double,
                    heights=heights,
                )
            ways.append(FullnessWay(plan, down))
    return FullnessTable(
        finished_cm, cloth_width_cm, length_cm, fullness, hem_round_cm, tuple(ways)
    )


def as_text(table: FullnessTable) -> str:
    """To read: what each way takes, and how many layers are met straight on.

    Examples
    --------
    >>> len(as_text(fullness_table(["gathered"], 70.0, 110.0, 70.0, fullness=2.5))) > 100
    True
    """
    asked = "" if table.fullness is None else f", {table.fullness:g} to 1 or more"
    lines = [
        f"Finished width {cm_and_inches(table.finished_cm)}, length "
        f"{cm_and_inches(table.length_cm)}, cloth {cm_and_inches(table.cloth_width_cm)} "
        f"wide{asked}",
        "",
    ]
    rows = []
    for way in table.ways:
        plan = way.plan
        rows.append(
            (
                way.words,
                f"{plan.fullness:.2f}",
                str(plan.widths),
                cm(plan.drop_cm),
                cm_and_inches(plan.cloth_length_cm),
                f"{plan.shares.mean:.2f}",
                shares_words(plan.shares),
            )
        )
    heads = ("taken in as", "fullness", "widths", "each cut", "cloth used", "mean layers",
             "layers straight on, top")  # fmt: skip
    lines += columns(heads, rows, {"fullness", "widths", "each cut", "mean layers"})
    lines += _down_the_skirt(table)
    lines += [
        "",
        "Layers straight on are those that the eye meets; the other folds lie aside. Seams take "
        f"{_seam(table)} at both edges of each width. Common practice, no source: try a scrap.",
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _down_the_skirt(table: FullnessTable) -> list[str]:
    """The heights as one table a number of widths, since the fullness goes with that."""
    lines: list[str] = []
    for widths in dict.fromkeys(way.plan.widths for way in table.ways if way.heights):
        ways = [way for way in table.ways if way.heights and way.plan.widths == widths]
        rows = [
            (
                cm_and_inches(at.below_waist_cm),
                cm(at.hang_cm),
                f"{at.fullness:.2f}",
                *(_mean_and_bare(way, way.heights[step].shares) for way in ways),
            )
            for step, at in enumerate(ways[0].heights)
        ]
        heads = ("below the waist", "round", "fullness", *(way.words for way in ways))
        lines += ["", f"Down the skirt, {widths} widths: mean layers, and the share of the view "
            "that no fold covers"]  # fmt: skip
        lines += columns(heads, rows, set(heads[1:]))
    return lines


def _mean_and_bare(way: FullnessWay, shares: LayerShares) -> str:
    return f"{shares.mean:.2f} {100 * shares.of(2 if way.plan.doubled else 1):4.0f} %"


def _seam(table: FullnessTable) -> str:
    return cm_and_inches(table.ways[0].plan.seam_cm)


def shares_words(shares: LayerShares) -> str:
    """Such as "1 over 60 %, 3 over 40 %"; shares below half a per cent are left out.

    Examples
    --------
    >>> from weavecolor.cutting.folds import layer_shares
    >>> shares_words(layer_shares("knife", 3.0))
    '3 over 100 %'
    """
    return ", ".join(
        f"{layers} over {100 * share:.0f} %"
        for layers, share in zip(shares.layers, shares.share, strict=True)
        if share > 0.005
    )


def as_data(table: FullnessTable) -> dict[str, Any]:
    """Plain data, ready for JSON.

    Examples
    --------
    >>> sorted(as_data(fullness_table(["gathered"], 70.0, 110.0, 70.0, fullness=2.5)))[:2]
    ['cloth_width_cm', 'finished_cm']
    """
    return {
        "finished_cm": table.finished_cm,
        "cloth_width_cm": table.cloth_width_cm,
        "length_cm": table.length_cm,
        "fullness_asked": table.fullness,
        "hem_round_cm": table.hem_round_cm,
        "ways": [
            {
                "kind": way.plan.kind,
                "doubled": way.plan.doubled,
                "fullness": rounded(way.plan.fullness, 4),
                "widths": way.plan.widths,
                "joined_cm": rounded(way.plan.joined_cm, 3),
                "drop_cm": rounded(way.plan.drop_cm, 3),
                "cloth_length_cm": rounded(way.plan.cloth_length_cm, 3),
                "cloth_area_m2": rounded(way.plan.cloth_area_m2, 4),
                **_shares(way.plan.shares),
                "by_height": [
                    {
                        "below_waist_cm": rounded(at.below_waist_cm, 3),
                        "round_cm": rounded(at.hang_cm, 3),
                        "fullness": rounded(at.fullness, 4),
                        **_shares(at.shares),
                    }
                    for at in way.heights
                ],
            }
            for way in table.ways
        ],
    }


def _shares(shares: LayerShares) -> dict[str, Any]:
    return {
        "layers": list(shares.layers),
        "share": [rounded(share, 4) for share in shares.share],
        "mean_layers": rounded(shares.mean, 4),
        "bare_share": rounded(shares.bare, 4),
    }


def as_json(table: FullnessTable) -> str:
    """:func:`as_data` as JSON text; the same table gives the same bytes.

    Examples
    --------
    >>> as_json(fullness_table(["gathered"], 70.0, 110.0, 70.0, fullness=2.5))[0]
    '{'
    """
    return json.dumps(as_data(table), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
