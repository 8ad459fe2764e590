"""Fullness: the cloth that pleats and gathers take, and the layers they show down a skirt.

Knows how widths are joined and how a skirt hangs; how cloth folds is ``folds``, whose profile and
layer counts are offered here too. Lengths in cm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.cutting.folds import (
    KINDS,
    FoldProfile,
    LayerShares,
    check_fullness,
    fold_profile,
    layer_shares,
    meander_angle,
)
from weavecolor.cutting.lengths import positive
from weavecolor.errors import InputError

__all__ = [
    "KINDS",
    "FoldProfile",
    "FullnessPlan",
    "HeightLayers",
    "LayerShares",
    "fold_profile",
    "layer_shares",
    "meander_angle",
    "plan_fullness",
    "pleat_marks",
    "skirt_layers",
]


@dataclass(frozen=True)
class HeightLayers:
    """The folds at one height of a skirt, ``below_waist_cm`` down."""

    below_waist_cm: float
    hang_cm: float
    cloth_cm: float
    fullness: float
    shares: LayerShares


def skirt_layers(
    kind: str,
    waist_cm: float,
    hem_cm: float,
    length_cm: float,
    cloth_waist_cm: float,
    cloth_hem_cm: float | None = None,
    *,
    doubled: bool = False,
    heights: int = 5,
) -> tuple[HeightLayers, ...]:
    """Fullness and layers down a skirt, waist to hem in ``heights`` even steps.

    The skirt hangs on a cone, from ``waist_cm`` round at the top to ``hem_cm`` round at the
    hem. The cloth measures ``cloth_waist_cm`` across at the top and ``cloth_hem_cm`` at the hem
    (the same for straight panels; more for flared or gored ones), both straight-sided.
    Raises InputError where the cloth is narrower than the figure it must go round.

    Examples
    --------
    >>> rows = skirt_layers("gathered", 70.0, 140.0, 60.0, 210.0, heights=2)
    >>> [round(row.fullness, 1) for row in rows]
    [3.0, 1.5]
    """
    for value, field in (
        (waist_cm, "waist_cm"),
        (hem_cm, "hem_cm"),
        (length_cm, "length_cm"),
        (cloth_waist_cm, "cloth_waist_cm"),
    ):
        positive(value, field)
    cloth_hem = cloth_waist_cm if cloth_hem_cm is None else positive(cloth_hem_cm, "cloth_hem_cm")
    if not 2 <= heights <= 1000:
        raise InputError("use 2 to 1000 heights", field="heights")
    rows = []
    for part in np.linspace(0.0, 1.0, heights):
        hang = waist_cm + (hem_cm - waist_cm) * float(part)
        cloth = cloth_waist_cm + (cloth_hem - cloth_waist_cm) * float(part)
        if cloth < hang * (1.0 - 1e-9):
            raise InputError(
                f"{cloth:.1f} cm of cloth will not go round {hang:.1f} cm, "
                f"{part * length_cm:.1f} cm below the waist; add widths or narrow the hem"
            )
        fullness = max(1.0, cloth / hang)
        here = "flat" if fullness < 1.0 + 1e-9 else kind
        rows.append(
            HeightLayers(
                float(part) * length_cm,
                hang,
                cloth,
                fullness,
                layer_shares(here, 1.0 if here == "flat" else fullness, doubled),
            )
        )
    return tuple(rows)


@dataclass(frozen=True)
class FullnessPlan:
    """What a finished width takes: widths to join, cloth to cut, layers in view."""

    kind: str
    finished_cm: float
    cloth_width_cm: float
    seam_cm: float
    widths: int
    fullness: float
    drop_cm: float
    doubled: bool
    shares: LayerShares

    @property
    def joined_cm(self) -> float:
        """Cloth across after joining, cm: each width loses a seam allowance on both sides."""
        return self.widths * (self.cloth_width_cm - 2.0 * self.seam_cm)

    @property
    def cloth_length_cm(self) -> float:
        """Length to cut off the roll, cm: drop times widths."""
        return self.drop_cm * self.widths

    @property
    def cloth_area_m2(self) -> float:
        return self.cloth_length_cm * self.cloth_width_cm / 1e4


def plan_fullness(
    kind: str,
    finished_cm: float,
    cloth_width_cm: float,
    length_cm: float,
    *,
    fullness: float | None = None,
    widths: int | None = None,
    seam_cm: float = 1.5,
    top_cm: float = 1.5,
    hem_cm: float = 5.0,
    doubled: bool = False,
) -> FullnessPlan:
    """Widths, cut length and layers for a finished width.

    Give ``fullness`` (the least wanted; whole widths are used, so the plan's fullness is that or
    more) or ``widths``. Every width loses ``seam_cm`` at both edges, joined in a ring or hemmed
    flat. A single drop is length + top + hem allowance; ``doubled`` (the cloth folded up at the
    hem, both edges in the waist seam) takes twice the length and twice the top allowance, needs
    no hem, and doubles the layers. Common practice, no source.

    Examples
    --------
    >>> plan = plan_fullness("gathered", 70.0, 110.0, 70.0, fullness=2.5)
    >>> plan.widths, round(plan.fullness, 2)
    (2, 3.06)
    """
    for value, field in (
        (finished_cm, "finished_cm"),
        (cloth_width_cm, "cloth_width_cm"),
        (length_cm, "length_cm"),
    ):
        positive(value, field)
    for value, field in ((seam_cm, "seam_cm"), (top_cm, "top_cm"), (hem_cm, "hem_cm")):
        positive(value, field, zero=True)
    usable = cloth_width_cm - 2.0 * seam_cm
    if usable <= 0.0:
        raise InputError("the seam allowances take the whole cloth width", field="seam_cm")
    if (fullness is None) == (widths is None):
        raise InputError("give either the fullness wanted or the number of widths")
    if widths is None:
        assert fullness is not None
        check_fullness(kind, fullness)
        widths = int(np.ceil(fullness * finished_cm / usable - 1e-9))
    if isinstance(widths, bool) or not isinstance(widths, int) or not 1 <= widths <= 1000:
        raise InputError("the number of widths is a whole number, 1 to 1000", field="widths")
    actual = widths * usable / finished_cm
    if actual < 1.0 - 1e-9:
        raise InputError(
            f"{widths} width(s) give {widths * usable:.1f} cm, less than the finished "
            f"{finished_cm:g} cm; use {int(np.ceil(finished_cm / usable))} or more",
            field="widths",
        )
    if kind == "flat":  # the rest of the width is cut away, not folded in
        actual = 1.0
    check_fullness(kind, max(1.0, actual))
    drop = 2.0 * (length_cm + top_cm) if doubled else length_cm + top_cm + hem_cm
    return FullnessPlan(
        kind,
        float(finished_cm),
        float(cloth_width_cm),
        float(seam_cm),
        widths,
        max(1.0, actual),
        drop,
        doubled,
        layer_shares(kind, max(1.0, actual), doubled),
    )


def pleat_marks(kind: str, pitch_cm: float, fullness: float, pleats: int) -> NDArray[np.float64]:
    """Where to mark the cloth for pressed pleats, cm from its edge, shape (pleats, 2).

    Each row is (fold line, line it is laid to): for a knife pleat the outer fold and the
    placement line; for a box pleat the right edge of the box (its outer fold) and the centre
    line of the underlay behind it, from which the next box rises as a mirror image.

    Examples
    --------
    >>> pleat_marks("knife", 4.0, 3.0, 2).round(1).tolist()
    [[4.0, 12.0], [16.0, 24.0]]
    """
    check_fullness(kind, fullness)
    if kind not in ("knife", "box"):
        raise InputError("only knife and box pleats are marked", field="kind")
    positive(pitch_cm, "pitch_cm")
    if isinstance(pleats, bool) or not 1 <= pleats <= 10000:
        raise InputError("use 1 to 10000 pleats", field="pleats")
    under = (fullness - 1.0) * pitch_cm / 2.0  # cloth folded away, half out and half back
    start = np.arange(pleats) * pitch_cm * fullness
    fold = start + pitch_cm
    return np.stack([fold, fold + (2.0 * under if kind == "knife" else under)], axis=1)
