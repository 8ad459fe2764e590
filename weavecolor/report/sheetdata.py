"""What stands on a making sheet, as plain data.

Pictures, readings and sentences come ready from the caller, who also gives the date.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from PIL import Image

from weavecolor.cutting.fullness import FullnessPlan
from weavecolor.cutting.needed import ClothNeeded
from weavecolor.cutting.pieces import Piece
from weavecolor.errors import InputError
from weavecolor.optics.stack import FACES, layer_count
from weavecolor.textile.grain import angle_deg
from weavecolor.textile.howknown import WAYS

_LONGEST = 2000


@dataclass(frozen=True)
class SheetLayer:
    """A layer of the chosen stack: cloth name, grain in degrees, the side that is out."""

    cloth: str
    grain_deg: float = 0.0
    face: str = "face"
    note: str = ""


@dataclass(frozen=True, eq=False)
class SheetSwatch:
    """A finished picture (any mode and size) and its caption."""

    picture: Image.Image = field(repr=False)
    caption: str = ""


@dataclass(frozen=True)
class SheetColour:
    """The predicted colour under one light.

    ``lab`` is L*, a*, b*; ``srgb`` three screen values 0-1; ``on_screen`` False where the colour
    lies outside the screen's range and the chip is duller than the cloth; ``uncertainty`` in
    CIEDE2000, None where not known.
    """

    light: str
    words: str
    lab: tuple[float, float, float]
    srgb: tuple[float, float, float]
    on_screen: bool = True
    uncertainty: float | None = None


@dataclass(frozen=True)
class SheetBasis:
    """Something the prediction rests on: ``what``, its ``source``, and ``how_known``.

    ``how_known``: "measured", "stated", "assumed" or "fitted".
    """

    what: str
    source: str = ""
    how_known: str = "stated"


@dataclass(frozen=True, eq=False)
class MakingSheet:
    """Everything on the sheet; only title, date and layers are needed.

    Parameters
    ----------
    title, date : str, as printed.
    layers : outermost first, 1 to 12.
    backing : what lies behind, in words ("" where open).
    lay_of_stack : how the layers lie: "touching", "loose" or "apart".
    swatches : up to 6 are set; the sheet says how many more there were.
    colours : one row a light.
    show_through : sentences.
    pieces : the cutting list, of one layer.
    needs : what each cloth must give, with its lays.
    fullness : (what, plan) such as ("skirt", plan_fullness(...)).
    cautions : sentences, as from ``cautions.cautions``.
    basis : what was measured and what was assumed.
    notes : further sentences.

    Raises
    ------
    InputError
        Naming the field: empty title, no layers, wrong side, numbers that are not finite.
    """

    title: str
    date: str
    layers: tuple[SheetLayer, ...]
    backing: str = ""
    lay_of_stack: str = "loose"
    swatches: tuple[SheetSwatch, ...] = ()
    colours: tuple[SheetColour, ...] = ()
    show_through: tuple[str, ...] = ()
    pieces: tuple[Piece, ...] = ()
    needs: tuple[ClothNeeded, ...] = ()
    fullness: tuple[tuple[str, FullnessPlan], ...] = ()
    cautions: tuple[str, ...] = ()
    basis: tuple[SheetBasis, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise InputError("a making sheet needs a title", field="title")
        layer_count(len(self.layers))
        for layer in self.layers:
            if layer.face not in FACES:
                raise InputError(f"{layer.face!r} is not a side; use face or back", field="layers")
            angle_deg(layer.grain_deg, "layers")
        for colour in self.colours:
            if len(colour.lab) != 3 or len(colour.srgb) != 3:
                raise InputError("lab and srgb hold three numbers", field=colour.light)
            if not all(math.isfinite(value) for value in (*colour.lab, *colour.srgb)):
                raise InputError("a colour is not finite", field=colour.light)
        for entry in self.basis:
            if entry.how_known not in WAYS:
                raise InputError(
                    f"{entry.how_known!r} is no way of knowing; use {', '.join(WAYS)}",
                    field="basis",
                )
        texts = (
            self.title,
            self.date,
            self.backing,
            *self.show_through,
            *self.cautions,
            *self.notes,
            *(need.cloth for need in self.needs),
            *(name for name, _ in self.fullness),
            *(text for layer in self.layers for text in (layer.cloth, layer.note)),
            *(swatch.caption for swatch in self.swatches),
            *(text for entry in self.basis for text in (entry.what, entry.source)),
            *(text for colour in self.colours for text in (colour.light, colour.words)),
        )
        if any(len(text) > _LONGEST for text in texts):
            raise InputError(f"a text is longer than {_LONGEST} characters", field="making sheet")
