"""Fullness: the cloth that pleats and gathers take, and the layers they show down a skirt.

Knows how cloth is joined round a finished width, at any grain, and how a skirt hangs; how cloth
folds is ``folds``, whose profile and layer counts are offered here too. Lengths in cm.

On straight grain whole widths are joined, selvedge to selvedge; what takes no more than
``_WHOLE_FROM`` of one width, such as a sleeve, is cut to size from it. On cross grain the cloth is
used sideways: its length goes round and its width gives the drop; doubled, the cloth's own fold is
the hem. At other angles the panels are as wide as the drop leaves room for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from weavecolor.cutting.folds import (
    KINDS,
    MOST_FULLNESS,
    FoldProfile,
    LayerShares,
    check_fullness,
    fold_profile,
    layer_shares,
    meander_angle,
)
from weavecolor.cutting.lengths import WIDEST_CM, cm, cm_and_inches, positive
from weavecolor.errors import InputError
from weavecolor.optics.stack import layer_count
from weavecolor.textile.grain import angle_deg

__all__ = [
    "KINDS",
    "FoldProfile",
    "FullnessPlan",
    "FullnessWanted",
    "HeightLayers",
    "LayerShares",
    "fold_profile",
    "layer_shares",
    "meander_angle",
    "plan_fullness",
    "skirt_layers",
]

#: Finished widths and lengths beyond this are a slip of the unit, cm.
MOST_FINISHED_CM = 3000.0
#: Face of a pressed pleat where none is said, cm. Common practice, no source.
USUAL_PLEAT_CM = 4.0
#: The narrowest that is pressed, by pleating machines, cm. From memory.
LEAST_PLEAT_CM = 0.1
#: A panel narrower than this between its seams is no panel, cm. Common practice, no source.
_LEAST_PANEL_CM = 5.0
#: Share of the width from which a panel takes all of it: a narrower strip than the rest is seldom
#: used, a wider one is cloth for another piece. Common practice, no source.
_WHOLE_FROM = 0.75


@dataclass(frozen=True)
class HeightLayers:
    """The folds at one height of a skirt, ``below_waist_cm`` down.

    ``hang_cm`` round the figure, ``cloth_cm`` across the cloth; ``doubled`` where the cloth lies
    double (folded up at the hem); ``cover``: cloth over each cm of figure, all layers counted.
    """

    below_waist_cm: float
    hang_cm: float
    cloth_cm: float
    fullness: float
    shares: LayerShares
    doubled: bool = False

    @property
    def cover(self) -> float:
        """Cloth over each cm of the figure, cm: the fullness, twice where the cloth is double."""
        return self.fullness * (2.0 if self.doubled else 1.0)


def skirt_layers(
    kind: str,
    waist_cm: float,
    hem_cm: float,
    length_cm: float,
    cloth_waist_cm: float,
    cloth_hem_cm: float | None = None,
    *,
    doubled: bool = False,
    turned_up_cm: float = 0.0,
    heights: int = 5,
) -> tuple[HeightLayers, ...]:
    """Fullness and layers down a skirt, waist to hem in ``heights`` even steps.

    The skirt hangs on a cone, from ``waist_cm`` round at the top to ``hem_cm`` round at the
    hem. The cloth measures ``cloth_waist_cm`` across at the top and ``cloth_hem_cm`` at the hem
    (the same for straight panels; more for flared or gored ones), both straight-sided.
    ``turned_up_cm``: the hem allowance turned up inside; there the cloth lies double, and its
    upper edge is one more height. ``doubled``: all of it double, the fold at
    the hem.
    Raises InputError where the cloth is narrower than the figure it must go round.

    Parameters
    ----------
    kind : {"gathered", "knife", "box", "flat"}
    waist_cm, hem_cm, length_cm : float
        Round the top, round the hem, waist to hem; above 0.
    cloth_waist_cm, cloth_hem_cm : float
        The cloth across at top and hem; the hem as the top by default.
    doubled : bool
        Whether all of it hangs double.
    turned_up_cm : float
        Hem allowance turned up inside, from 0.
    heights : int
        How many heights are told of, 2 to 1000.

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
    turned_up_cm = positive(turned_up_cm, "turned_up_cm", zero=True)
    if not 2 <= heights <= 1000:
        raise InputError("use 2 to 1000 heights", field="heights")
    parts = {float(part) for part in np.linspace(0.0, 1.0, heights)}
    edge = 1.0 - turned_up_cm / length_cm
    if turned_up_cm > 0.0 and edge > 0.0:
        parts = {part for part in parts if abs(part - edge) > 1e-9} | {edge}
    rows = []
    for part in sorted(parts):
        hang = waist_cm + (hem_cm - waist_cm) * part
        cloth = cloth_waist_cm + (cloth_hem - cloth_waist_cm) * part
        if cloth < hang * (1.0 - 1e-9):
            raise InputError(
                f"{cloth:.1f} cm of cloth will not go round {hang:.1f} cm, "
                f"{part * length_cm:.1f} cm below the waist; add widths or narrow the hem"
            )
        fullness = max(1.0, cloth / hang)
        here = "flat" if fullness < 1.0 + 1e-9 else kind
        double = doubled or (turned_up_cm > 0.0 and part >= edge - 1e-12)
        shares = layer_shares(here, 1.0 if here == "flat" else fullness, double)
        rows.append(HeightLayers(part * length_cm, hang, cloth, fullness, shares, double))
    return tuple(rows)


@dataclass(frozen=True)
class FullnessPlan:
    """What a finished width takes: panels to join, cloth to cut, layers in view.

    ``widths`` panels, each cut ``panel_cm`` round the figure and ``drop_cm`` down it, at
    ``grain_deg`` (0 to 90 off straight grain: 0 whole widths, 90 sideways). ``hem_round_cm`` is
    how far round the hem hangs, None where not asked; ``pleats`` how many there are, None for
    gathers and flat cloth.
    """

    kind: str
    finished_cm: float
    cloth_width_cm: float
    seam_cm: float
    widths: int
    fullness: float
    drop_cm: float
    doubled: bool
    shares: LayerShares
    panel_cm: float
    grain_deg: float
    length_cm: float
    hem_cm: float
    hem_round_cm: float | None
    pleats: int | None

    @property
    def sideways(self) -> bool:
        """Whether the cloth's length goes round and its width gives the drop."""
        return self.grain_deg > 89.5

    @property
    def whole_widths(self) -> bool:
        """Whether whole widths are joined; else the panels are cut to size."""
        return self.grain_deg < 0.5 and abs(self.panel_cm - self.cloth_width_cm) < 1e-6

    @property
    def joined_cm(self) -> float:
        """Cloth round after joining, cm: each panel loses a seam allowance on both sides."""
        return self.widths * (self.panel_cm - 2.0 * self.seam_cm)

    @property
    def cloth_length_cm(self) -> float:
        """Length that a plain lay of the panels takes off the roll, cm; none other on it.

        Whole widths one after another; sideways as many side by side as the width holds; on the
        bias each slid along the last.
        """
        if self.grain_deg < 0.5:
            if self.panel_cm * 2.0 <= self.cloth_width_cm + 1e-9:  # cut narrow
                across = int(self.cloth_width_cm / self.panel_cm + 1e-9)
                return self.drop_cm * math.ceil(self.widths / across)
            return self.drop_cm * self.widths
        if self.sideways:
            across = int(self.cloth_width_cm / self.drop_cm + 1e-9)
            return self.panel_cm * math.ceil(self.widths / max(1, across))
        turn = math.radians(self.grain_deg)
        step = min(self.panel_cm / math.sin(turn), self.drop_cm / math.cos(turn))
        tall = self.panel_cm * math.sin(turn) + self.drop_cm * math.cos(turn)
        return (self.widths - 1) * step + tall

    @property
    def cloth_area_m2(self) -> float:
        return self.cloth_length_cm * self.cloth_width_cm / 1e4

    @property
    def cover(self) -> float:
        """Cloth over each cm of the finished width, cm: the fullness, twice where doubled."""
        return self.fullness * (2.0 if self.doubled else 1.0)

    @property
    def pleat_face_cm(self) -> float | None:
        """Finished width of one pressed pleat, cm."""
        return None if self.pleats is None else self.finished_cm / self.pleats

    @property
    def pleat_depth_cm(self) -> float | None:
        """How deep a pleat is folded under, cm: a knife pleat once, a box pleat on each side.

        A knife pleat of face s at fullness f takes f s of cloth: its face, and (f - 1) s folded in
        two, so (f - 1) s / 2 deep; a box pleat has two such folds, each half as deep. Common
        practice, no source.
        """
        face = self.pleat_face_cm
        if face is None:
            return None
        return (self.fullness - 1.0) * face / (2.0 if self.kind == "knife" else 4.0)

    def bulk_mm(self, thickness_mm: float, layers: int = 1) -> tuple[float, float]:
        """Cloth pressed flat in the waist seam, mm: on average, and where it is thickest.

        Layers met times the thickness of one; ``layers`` of the same cloth lie on one another.
        Of gathers only the average can be told: both values are that.
        """
        mean = self.cover * layers * thickness_mm
        most = mean if self.kind == "gathered" else max(self.shares.layers) * layers * thickness_mm
        return mean, most


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
    hem_round_cm: float | None = None,
    pleat_cm: float | None = None,
    grain_deg: float = 0.0,
    longest_cm: float = math.inf,
    least_panels: int = 1,
) -> FullnessPlan:
    """Panels, cut length, pleats and layers for a finished width.

    Parameters
    ----------
    kind : {"flat", "gathered", "knife", "box"}
    finished_cm, length_cm : float
        Round the waist (or across), and down to the hem.
    cloth_width_cm : float
        Usable width of the cloth, without the selvedges.
    fullness, widths : float or int
        Either the least fullness wanted (whole widths are joined on straight grain, so it comes
        out at that or more; panels are cut to size where folds cannot take in so much, or where
        one takes less than three quarters of a width), or the number of widths. On another grain
        ``widths`` counts panels.
    seam_cm : allowance at both edges of every panel, joined in a ring or hemmed flat.
    top_cm, hem_cm : a single drop is length + top + hem allowance.
    doubled : the cloth folded up at the hem, both edges in the waist seam: twice the length and
        twice the top allowance, no hem, and every layer is two.
    hem_round_cm : how far round the hem hangs; the panels then reach at least that far.
    pleat_cm : face of a pressed pleat, from .1; the nearest that divides the width is used.
    grain_deg : the layer's grain; 0 joins widths, 90 uses the cloth sideways.
    longest_cm : length of the cloth in hand, which bounds a panel used sideways.
    least_panels : panels at least that go round, where they are cut to size from the fullness.

    Common practice, no source. Raises InputError where no such plan can be made.

    Examples
    --------
    >>> plan = plan_fullness("gathered", 70.0, 110.0, 70.0, fullness=2.5)
    >>> plan.widths, round(plan.fullness, 2)
    (2, 3.06)
    >>> sideways = plan_fullness("gathered", 70.0, 110.0, 70.0, fullness=2.5, grain_deg=90.0)
    >>> sideways.widths, sideways.panel_cm
    (1, 178.0)
    """
    positive(finished_cm, "finished_cm", most=MOST_FINISHED_CM)
    positive(length_cm, "length_cm", most=MOST_FINISHED_CM)
    positive(cloth_width_cm, "cloth_width_cm", most=WIDEST_CM)
    for value, field in ((seam_cm, "seam_cm"), (top_cm, "top_cm"), (hem_cm, "hem_cm")):
        positive(value, field, zero=True)
    if hem_round_cm is not None:
        positive(hem_round_cm, "hem_round_cm", most=MOST_FINISHED_CM)
    check_fullness(kind, 1.0 if fullness is None else fullness)
    if (fullness is None) == (widths is None):
        raise InputError("give either the fullness wanted or the number of widths")
    if widths is not None and (
        isinstance(widths, bool) or not isinstance(widths, int) or not 1 <= widths <= 1000
    ):
        raise InputError("the number of widths is a whole number, 1 to 1000", field="widths")
    off = angle_deg(grain_deg, "grain_deg") % 180.0
    off = min(off, 180.0 - off)
    drop = 2.0 * (length_cm + top_cm) if doubled else length_cm + top_cm + hem_cm
    room = _widest_panel(cloth_width_cm, drop, off, longest_cm)
    usable = room - 2.0 * seam_cm
    if usable <= 0.0:
        raise InputError("the seam allowances take the whole cloth width", field="seam_cm")
    least = finished_cm if hem_round_cm is None else max(finished_cm, hem_round_cm)
    whole = off < 0.5 and kind != "flat"  # whole widths; else the panels are cut to size
    if widths is None:
        assert fullness is not None
        wanted = least if kind == "flat" else max(fullness * finished_cm, least)
        widths = 1 if math.isinf(usable) else int(np.ceil(wanted / usable - 1e-9))
        narrow = wanted + 2.0 * seam_cm < _WHOLE_FROM * room
        if whole and (narrow or widths * usable > MOST_FULLNESS * finished_cm >= wanted):
            whole = False  # a sleeve of wide cloth, or no fold takes in the whole width
        if not whole:
            widths = max(widths, least_panels)
        panel = room if whole else wanted / widths + 2.0 * seam_cm
    else:
        if math.isinf(usable):
            raise InputError(
                "sideways the length in hand says how many; give the fullness instead",
                field="widths",
            )
        panel = room
        if kind == "flat" and widths * usable >= least:
            panel = least / widths + 2.0 * seam_cm
    joined = widths * (panel - 2.0 * seam_cm)
    if joined < least * (1.0 - 1e-9):
        what = "finished" if least == finished_cm else "hem of"
        raise InputError(
            f"{widths} width(s) give {joined:.1f} cm, less than the {what} "
            f"{least:g} cm; use {int(np.ceil(least / usable - 1e-9))} or more",
            field="widths",
        )
    actual = 1.0 if kind == "flat" else max(1.0, joined / finished_cm)
    if actual > MOST_FULLNESS:
        raise InputError(
            f"that is {widths} width{'' if widths == 1 else 's'}, {actual:.1f} to 1 on "
            f"{cm_and_inches(finished_cm)}; folds take in at most {MOST_FULLNESS:g} to 1: flare or "
            "gore the panels, or use fewer",
            field="hem_round_cm" if fullness is not None else "widths",
        )
    pleats = None
    if kind in ("knife", "box") and actual > 1.0 + 1e-9:
        face = USUAL_PLEAT_CM if pleat_cm is None else positive(pleat_cm, "pleat_cm")
        if face < LEAST_PLEAT_CM:
            raise InputError(
                f"a pleat of {face:g} cm is too narrow to press; use {cm(LEAST_PLEAT_CM)} or more",
                field="pleat_cm",
            )
        if face > finished_cm:
            raise InputError(
                f"a pleat of {cm_and_inches(face)} is wider than the finished "
                f"{cm_and_inches(finished_cm)}",
                field="pleat_cm",
            )
        pleats = max(1, round(finished_cm / face))
    elif pleat_cm is not None and kind not in ("knife", "box"):
        raise InputError("only knife and box pleats have a face", field="pleat_cm")
    return FullnessPlan(
        kind,
        float(finished_cm),
        float(cloth_width_cm),
        float(seam_cm),
        widths,
        actual,
        drop,
        doubled,
        layer_shares(kind, actual, doubled),
        panel,
        off,
        float(length_cm),
        float(hem_cm),
        hem_round_cm,
        pleats,
    )


def _widest_panel(width: float, drop: float, off: float, longest: float) -> float:
    """Most that a panel ``drop`` long can measure round, laid ``off`` degrees from straight."""
    if off < 0.5:
        return width
    if off > 89.5:
        if drop > width + 1e-9:
            raise InputError(
                f"used sideways the width gives the drop: {cm_and_inches(drop)} is cut, the cloth "
                f"is {cm_and_inches(width)} wide; join widths on straight grain instead",
                field="length_cm",
            )
        return longest
    turn = math.radians(off)
    room = (width - drop * math.sin(turn)) / math.cos(turn)
    if room < _LEAST_PANEL_CM:
        raise InputError(
            f"{off:.0f} degrees off straight, a drop of {cm_and_inches(drop)} cannot be cut from "
            f"cloth {cm_and_inches(width)} wide; join it from shorter parts, or use another grain",
            field="length_cm",
        )
    # never longer than the piece in hand either: height = p sin + D cos
    return min(room, max(_LEAST_PANEL_CM, (longest - drop * math.cos(turn)) / math.sin(turn)))


@dataclass(frozen=True)
class FullnessWanted:
    """A finished width to be taken in, as asked of :func:`plan_fullness`; lengths in cm.

    ``what``: what it is for, such as "skirt". ``widths`` None: as many as ``fullness`` needs. The
    cloth it is cut from decides in the end: ``plan`` takes that cloth's usable width instead of
    ``cloth_width_cm``. ``layers``: in how many layers of a stack it is cut at most, from the
    outermost; None: in all. Raises InputError where no plan can be made of it.
    """

    what: str
    kind: str
    finished_cm: float
    cloth_width_cm: float
    length_cm: float
    fullness: float | None = None
    widths: int | None = None
    seam_cm: float = 1.5
    top_cm: float = 1.5
    hem_cm: float = 5.0
    doubled: bool = False
    hem_round_cm: float | None = None
    pleat_cm: float | None = None
    layers: int | None = None

    def __post_init__(self) -> None:
        if self.layers is not None:
            layer_count(self.layers)
        if not self.what.strip():
            raise InputError("say what the fullness is for, such as skirt", field="what")
        if len(self.what) > 60 or not self.what.isprintable():
            raise InputError("must be one plain line of at most 60 characters", field="what")
        self.plan()

    def plan(
        self,
        cloth_width_cm: float | None = None,
        grain_deg: float = 0.0,
        longest_cm: float = math.inf,
        least_panels: int = 1,
    ) -> FullnessPlan:
        """Panels, cut length and layers; cut from cloth that wide, laid at that grain.

        A number of widths is of the cloth that was meant: cloth of another width, or at another
        grain, is taken in as much.

        Parameters
        ----------
        cloth_width_cm : float, optional
            Usable width, cm; by default that of the cloth that was meant.
        grain_deg : float
            Of the panels, degrees.
        longest_cm : float
            The longest cloth there is, for panels that go round along it.
        least_panels : int
            Panels at least, where they are cut to size.
        """
        fullness, widths = self.fullness, self.widths
        width = self.cloth_width_cm if cloth_width_cm is None else cloth_width_cm
        off = min(grain_deg % 180.0, -grain_deg % 180.0)
        if widths is not None and (off >= 0.5 or abs(width - self.cloth_width_cm) > 1e-6):
            meant = self.plan()
            fullness, widths = max(1.0, meant.joined_cm / meant.finished_cm), None
            if self.kind == "flat":
                fullness = 1.0
        return plan_fullness(
            self.kind,
            self.finished_cm,
            width,
            self.length_cm,
            fullness=fullness,
            widths=widths,
            seam_cm=self.seam_cm,
            top_cm=self.top_cm,
            hem_cm=self.hem_cm,
            doubled=self.doubled,
            hem_round_cm=self.hem_round_cm,
            pleat_cm=self.pleat_cm,
            grain_deg=grain_deg,
            longest_cm=longest_cm,
            least_panels=least_panels,
        )
