"""Pleats against gathers on one finished width: cloth taken, pleats, bulk, layers by height.

Knows which plans are laid side by side and how they are written down; the working out is
``fullness``, the sum of cloth ``needed``. Lengths in cm.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from weavecolor.cutting.folds import LayerShares, fold_profile
from weavecolor.cutting.fullness import FullnessPlan, FullnessWanted, HeightLayers, skirt_layers
from weavecolor.cutting.lengths import LONGEST_CM, cm, cm_and_inches, enough_words
from weavecolor.cutting.needed import ClothNeeded, cloth_needed, panel_words
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.compare import Option
from weavecolor.decide.watered import watered
from weavecolor.errors import InputError, capital
from weavecolor.optics.appearance import CONTRAST_WORDS, contrast_ratio, contrast_ratios
from weavecolor.optics.stack import MOST_LAYERS, Layer, Stack, layer_count
from weavecolor.report.comparisontable import columns, rounded
from weavecolor.report.sheetwords import KIND_WORDS, pleat_words
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import describe


@dataclass(frozen=True, eq=False)
class FullnessWay:
    """One way to take the width in: its plan, the cloth it takes, the layers down the skirt (none
    if not asked), bulk at the waist in mm and what it hides, 0-1 (None without the cloth)."""

    plan: FullnessPlan
    need: ClothNeeded
    heights: tuple[HeightLayers, ...] = ()
    bulk_mm: tuple[float, float] | None = None
    hides: float | None = None

    @property
    def words(self) -> str:
        """Such as "knife pleats, sideways, doubled"."""
        return _way_words(self.plan.kind, self.plan.sideways, self.plan.doubled)


def _way_words(kind: str, sideways: bool, doubled: bool) -> str:
    return KIND_WORDS[kind] + ", sideways" * sideways + ", doubled" * doubled


@dataclass(frozen=True, eq=False)
class FullnessTable:
    """Ways to take in one finished width, all asked for the same ``fullness`` at least.

    ``layers`` of the cloth hang on one another, each of them so; ``flat_hides`` is what they hide
    laid flat; ``pattern``: the watered pattern where folds lie pressed on one another, in a
    sentence, empty where there is none; ``refused``: ways that cannot be, each with the reason.
    """

    finished_cm: float
    cloth_width_cm: float
    length_cm: float
    fullness: float | None
    hem_round_cm: float | None
    ways: tuple[FullnessWay, ...]
    layers: int = 1
    cloth: str = ""
    thickness_mm: float | None = None
    flat_hides: float | None = None
    pattern: str = ""
    refused: tuple[str, ...] = ()


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
    sideways: Sequence[bool] = (False,),
    heights: int = 5,
    seam_cm: float = 1.5,
    top_cm: float = 1.5,
    hem_cm: float = 5.0,
    pleat_cm: float | None = None,
    layers: int = 1,
    in_hand: Sequence[ClothInHand] = (),
    cloth: Cloth | None = None,
) -> FullnessTable:
    """Each of ``kinds``, single or doubled, planned; with ``hem_round_cm`` also down the skirt.

    Raises InputError as ``fullness.plan_fullness``, ``fullness.skirt_layers`` and
    ``needed.cloth_needed``, where none of the ways can be.

    Parameters
    ----------
    kinds : sequence of str
        "flat", "gathered", "knife" or "box".
    finished_cm, cloth_width_cm, length_cm : float
        Finished width, width of the cloth in use, finished length.
    fullness : float, optional
        Cloth over finished width; or, instead of it, ``widths``, how many are joined.
    widths : int, optional
    hem_round_cm : float, optional
        How far round the hem hangs; the cloth goes straight down, and as many widths are joined
        as that takes.
    doubled, sideways : sequences of bool
        Folded at the hem; the cloth's length going round.
    heights : int
        How many of the skirt's heights are told.
    seam_cm, top_cm, hem_cm : float
        Allowances.
    pleat_cm : float, optional
        Depth of a pleat.
    layers : int
    in_hand : sequence of ClothInHand
        Whether it is enough for ``layers`` of it.
    cloth : Cloth, optional
        For bulk, and what the folds hide.

    Examples
    --------
    >>> fullness_table(["gathered"], 70.0, 110.0, 70.0, fullness=2.5).finished_cm
    70.0
    """
    if not kinds or not doubled or not sideways:
        raise InputError("give at least one way to take it in", field="kinds")
    layer_count(layers)
    thick = None if cloth is None else describe(cloth).thickness_mm
    longest = max((hand.length_cm for hand in in_hand), default=math.inf)
    ways: list[FullnessWay] = []
    refused: list[tuple[str, InputError]] = []
    for kind, across, double in product(dict.fromkeys(kinds), sideways, doubled):
        try:
            wanted = FullnessWanted(
                "fullness", kind, finished_cm, cloth_width_cm, length_cm, fullness, widths, seam_cm,
                top_cm, hem_cm, double, hem_round_cm,
                pleat_cm if kind in ("knife", "box") else None,
            )  # fmt: skip
            grain = 90.0 if across else 0.0
            plan = wanted.plan(None, grain, longest)
            need = cloth_needed(
                "cloth", ((grain, layers),), (), (wanted,), in_hand or (_roll(cloth_width_cm),)
            )  # fmt: skip
            if need.plans:
                plan = need.plans[0][1]
            down: tuple[HeightLayers, ...] = ()
            if hem_round_cm is not None and kind != "flat":
                down = skirt_layers(
                    kind, finished_cm, hem_round_cm, length_cm, plan.joined_cm,
                    doubled=double, turned_up_cm=min(hem_cm, length_cm),
                    heights=heights,
                )  # fmt: skip
            ways.append(
                FullnessWay(
                    plan, need, down,
                    None if thick is None else plan.bulk_mm(thick, layers),
                    None if cloth is None else _hides(cloth, plan, layers, grain),
                )
            )  # fmt: skip
        except InputError as error:
            refused.append((_way_words(kind, across, double), error))
    if not ways:
        raise refused[0][1]
    return FullnessTable(
        finished_cm, cloth_width_cm, length_cm, fullness, hem_round_cm, tuple(ways), layers,
        "" if cloth is None else cloth.name, thick,
        None if cloth is None else contrast_ratio(_deep_stack(cloth, layers, 0.0)),
        "" if cloth is None else _pattern(cloth, [way.plan for way in ways]),
        tuple(f"{capital(words)}: {error.what}" for words, error in refused),
    )  # fmt: skip


def _roll(width: float) -> ClothInHand:
    """Cloth of that width without an end, to tell what is taken off it."""
    return ClothInHand(width, LONGEST_CM)


def _pattern(cloth: Cloth, plans: Sequence[FullnessPlan]) -> str:
    """The watered pattern that a sheer cloth shows with itself, folded over, in even light."""
    grains = [p.grain_deg for p in plans if p.doubled or p.kind in ("knife", "box")]
    if not grains:
        return ""
    folded = (Layer(cloth, grains[0]), Layer(cloth, -grains[0], "back"))  # a fold mirrors
    told = watered([Option(Stack(folded, backing("white")), scene("overcast"))])
    # folds cannot be turned against one another, so that advice is left out
    return f"Where folds lie on folds, {told.partition(' Turned ')[0]}" if told else ""


#: Slopes, degrees, at which cloth in gathers is looked at; what lies steeper is seen as the last.
#: Fifteen of them change what gathers hide by .006 at most (organza and voile, 1.5 to 6 to 1).
_SLANTS = (0.0, 50.0, 75.0)


def _hides(cloth: Cloth, plan: FullnessPlan, layers: int, grain: float) -> float:
    """Contrast ratio over the view, each part with its number of layers; 0-1.

    In gathers cloth lies at a slope, where its threads cover more of what is behind: it is seen
    there from so far aside. Beyond the most layers that a stack can have, the deepest of them
    stands for it.
    """
    if plan.kind != "gathered":
        parts = zip(plan.shares.layers, plan.shares.share, strict=True)
        return sum(share * contrast_ratio(_deep_stack(cloth, n * layers, grain))
                   for n, share in parts)  # fmt: skip
    from scipy.interpolate import PchipInterpolator  # slow to load

    folds = fold_profile("gathered", plan.fullness)
    slants = np.minimum(folds.slant_deg, _SLANTS[-1])
    total = 0.0
    for count in np.unique(folds.layers):
        deep = _deep_stack(cloth, int(count) * layers * (2 if plan.doubled else 1), grain)
        # folds run down the garment, so cloth slopes to either side
        hides = contrast_ratios(deep, [(slant, 90.0) for slant in _SLANTS])
        total += float(PchipInterpolator(_SLANTS, hides)(slants[folds.layers == count]).sum())
    return total / folds.layers.size


def _deep_stack(cloth: Cloth, count: int, grain: float) -> Stack:
    return Stack((Layer(cloth, grain),) * min(count, MOST_LAYERS))


def as_text(table: FullnessTable) -> str:
    """To read: what each way takes, and how many layers are met straight on.

    Examples
    --------
    >>> len(as_text(fullness_table(["gathered"], 70.0, 110.0, 70.0, fullness=2.5))) > 100
    True
    """
    asked = "" if table.fullness is None else f", {table.fullness:g} to 1 or more"
    deep = "" if table.layers == 1 else f", {table.layers} layers"
    lines = [
        f"Finished width {cm_and_inches(table.finished_cm)}, length "
        f"{cm_and_inches(table.length_cm)}, cloth {cm_and_inches(table.cloth_width_cm)} "
        f"wide{asked}{deep}",
        "",
    ]
    rows = []
    for way in table.ways:
        plan = way.plan
        rows.append(
            (
                way.words,
                f"{plan.fullness:.2f}",
                "none would do"
                if way.need.needed_cm is None
                else cm_and_inches(way.need.needed_cm),
                f"{plan.cover * table.layers:.2f}",
                f"{plan.shares.mean * table.layers:.2f}",
                shares_words(_deep(plan.shares, table.layers)),
            )
        )
    heads = ("taken in as", "fullness", "cloth used", "cover", "mean layers",
             "layers straight on, top")  # fmt: skip
    lines += columns(heads, rows, {"fullness", "cover", "mean layers"})
    for way in table.ways:
        lines += _of_way(way, table.layers)
    for line in table.refused:
        lines += ["", line]
    if table.flat_hides is not None and table.thickness_mm is not None:
        all_ = f"{table.layers} layers laid flat hide" if table.layers > 1 else "laid flat it hides"
        lines += [
            "",
            f"{table.cloth}: {table.thickness_mm:.2g} mm thick; {all_} "
            f"{100 * table.flat_hides:.0f} %, 100 % hides all ({CONTRAST_WORDS}).",
        ]
    if table.pattern:
        lines += ["", table.pattern]
    lines += _down_the_skirt(table)
    lines += [
        "",
        "Cover is the cloth over each cm of the finished width. Layers straight on are those that "
        "the eye meets; the other folds lie aside. Seams take "
        f"{_seam(table)} at both edges of each panel. Common practice, no source: try a scrap.",
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _of_way(way: FullnessWay, layers: int) -> list[str]:
    """What is cut, pleats, bulk, what it hides and whether the cloth in hand is enough, in a line
    each."""
    told = [panel_words(way.plan, layers)]
    if way.plan.pleats is not None:
        told.append(pleat_words(way.plan))
    if way.plan.sideways:
        told.append(
            "the cloth's length goes round, its width gives the drop: cross grain; on straight "
            "grain its colour may differ"
        )
    if way.bulk_mm is not None:
        mean, most = way.bulk_mm
        at = "" if most <= mean * 1.001 else f", {most:.2g} mm where folds lie on folds"
        told.append(f"about {mean:.2g} mm of cloth in the waist seam{at}")
    if way.hides is not None:
        told.append(f"hides {100 * way.hides:.0f} %")
    if not _endless(way.need):
        verdict = "fits" if way.need.fits else f"{way.need.verdict}: {way.need.reason}"
        if way.need.short_cm is not None:
            verdict += f", short of {enough_words(way.need.short_cm)}"
        told.append(f"in hand: {verdict}")
        if way.need.largest:
            told.append(way.need.largest.rstrip("."))
    return ["", f"{capital(way.words)}:", *(f"   {x}" for x in told)]


def _endless(need: ClothNeeded) -> bool:
    return bool(need.laid) and need.laid[0][0].length_cm >= LONGEST_CM


def _down_the_skirt(table: FullnessTable) -> list[str]:
    """The heights as one table a number of widths, since the fullness goes with that."""
    lines: list[str] = []
    like = [(round(way.plan.joined_cm, 6), len(way.heights)) for way in table.ways]
    for joined, steps in dict.fromkeys(pair for pair in like if pair[1]):
        ways = [
            way for way, pair in zip(table.ways, like, strict=True) if pair == (joined, steps)
        ]  # fmt: skip
        rows = [
            (
                cm_and_inches(at.below_waist_cm),
                cm(at.hang_cm),
                f"{at.fullness:.2f}",
                *(_cover_and_bare(way.heights[step], table.layers) for way in ways),
            )
            for step, at in enumerate(ways[0].heights)
        ]
        heads = ("below the waist", "round", "fullness", *(way.words for way in ways))
        lines += ["", f"Down the skirt, {cm_and_inches(joined)} of cloth round: cover, mean layers "
            "straight on, and the share of the view that no fold covers; the hem turned up or "
            "folded is counted double"]  # fmt: skip
        lines += columns(heads, rows, set(heads[1:]))
    return lines


def _cover_and_bare(at: HeightLayers, layers: int) -> str:
    bare = at.shares.of(2 if at.doubled else 1)
    return f"{layers * at.cover:.2f} {layers * at.shares.mean:.2f} {100 * bare:4.0f} %"


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
    ['cloth', 'cloth_width_cm']
    """
    return {
        "finished_cm": table.finished_cm,
        "cloth_width_cm": table.cloth_width_cm,
        "length_cm": table.length_cm,
        "fullness_asked": table.fullness,
        "hem_round_cm": table.hem_round_cm,
        "layers": table.layers,
        "cloth": table.cloth or None,
        "thickness_mm": _rounded(table.thickness_mm),
        "flat_hides": _rounded(table.flat_hides),
        "watered": table.pattern or None,
        "refused": list(table.refused),
        "ways": [
            {
                "kind": way.plan.kind,
                "doubled": way.plan.doubled,
                "fullness": rounded(way.plan.fullness, 4),
                "sideways": way.plan.sideways,
                "widths": way.plan.widths,
                "panel_cm": rounded(way.plan.panel_cm, 3),
                "joined_cm": rounded(way.plan.joined_cm, 3),
                "drop_cm": rounded(way.plan.drop_cm, 3),
                "cloth_length_cm": _rounded(way.need.needed_cm),
                "cloth_area_m2": _rounded(
                    None
                    if way.need.needed_cm is None
                    else way.need.needed_cm * table.cloth_width_cm / 1e4
                ),
                "enough": None if _endless(way.need) else way.need.fits,
                "short_cm": way.need.short_cm,
                "largest": "" if _endless(way.need) else way.need.largest,
                "cover": rounded(way.plan.cover * table.layers, 4),
                "pleats": way.plan.pleats,
                "pleat_face_cm": _rounded(way.plan.pleat_face_cm),
                "pleat_depth_cm": _rounded(way.plan.pleat_depth_cm),
                "bulk_mm": None if way.bulk_mm is None else [rounded(x, 4) for x in way.bulk_mm],
                "hides": _rounded(way.hides),
                **_shares(way.plan.shares, table.layers),
                "by_height": [
                    {
                        "below_waist_cm": rounded(at.below_waist_cm, 3),
                        "round_cm": rounded(at.hang_cm, 3),
                        "fullness": rounded(at.fullness, 4),
                        "cover": rounded(at.cover * table.layers, 4),
                        "doubled": at.doubled,
                        **_shares(at.shares, table.layers),
                    }
                    for at in way.heights
                ],
            }
            for way in table.ways
        ],
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else rounded(value, 4)


def _deep(shares: LayerShares, layers: int) -> LayerShares:
    """The same folds in so many layers of cloth."""
    return LayerShares(tuple(layers * n for n in shares.layers), shares.share)


def _shares(shares: LayerShares, layers: int) -> dict[str, Any]:
    deep = _deep(shares, layers)
    return {
        "layers": list(deep.layers),
        "share": [rounded(share, 4) for share in deep.share],
        "mean_layers": rounded(deep.mean, 4),
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
