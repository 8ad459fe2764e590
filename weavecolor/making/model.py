"""What she is making, as one frozen value: cloths in hand, options, choice, light, pieces, plans.

The page holds a :class:`Making`, the file keeps one, the command line and the making sheet read
one; there is no other. Each type refuses what it cannot hold, in the words that the file's reader
uses too, and compares by value. Lengths are cm whatever ``units`` the maker reads. A cloth is kept
as the table of its cloth file (see ``weavecolor.files.clothfile``), so a making needs no other
file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

from weavecolor.cutting.fullness import KINDS, FullnessWanted
from weavecolor.cutting.lengths import UNITS
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import FOLDS, ClothInHand
from weavecolor.decide.wishes import Limits
from weavecolor.decide.wishwords import wish_from
from weavecolor.errors import InputError, lines, one_line, shown, within
from weavecolor.files.clothfile import cloth_from_dict
from weavecolor.files.textfile import toml_table
from weavecolor.making.checks import NAME_LONGEST, one_of, placed, plain, rows, unique
from weavecolor.making.lightchoice import LightChoice
from weavecolor.optics.stack import FACES, known_lay, layer_count
from weavecolor.picture.forms import BENEATH, DRESS_FORMS, known_forms
from weavecolor.picture.shapes import shape_names
from weavecolor.scene.backings import Backing, behind_called
from weavecolor.scene.places import known_scene
from weavecolor.textile.cloth import Cloth


def backing_of(text: str) -> Backing | None:
    """The backing of that name; "", "open" and "nothing" are open air. Raises InputError.

    Examples
    --------
    >>> backing_of("open") is None, backing_of("black").name
    (True, 'black')
    """
    return behind_called(text) if text.strip() else None


@dataclass(frozen=True)
class MakingCloth:
    """A cloth to hand.

    Parameters
    ----------
    key : what options call it by, unique in a making.
    definition : its cloth file's table, kept as it was given, so that what had to be assumed is
        still known after reopening.
    in_hand : the pieces of it there are, each a length or an odd remnant.
    origin : where it came from, in a word or two ("swatch", "described", "measured").

    Raises
    ------
    InputError
        Where the table is no cloth.
    """

    key: str
    definition: Mapping[str, Any]
    in_hand: tuple[ClothInHand, ...] = ()
    origin: str = ""

    def __post_init__(self) -> None:
        one_line(self.key, "key", NAME_LONGEST)
        one_line(self.origin, "origin", NAME_LONGEST, empty=True)
        object.__setattr__(self, "definition", plain(self.definition, "definition"))
        self.cloth  # noqa: B018  (refuses what is no cloth)

    def __hash__(self) -> int:
        text = json.dumps(self.definition, sort_keys=True)
        return hash((self.key, text, self.in_hand, self.origin))

    @property
    def cloth(self) -> Cloth:
        """The cloth; the same content gives the same object."""
        return _cloth(json.dumps(self.definition), self.key)

    @classmethod
    def from_toml(cls, key: str, text: str, in_hand: tuple[ClothInHand, ...] = ()) -> MakingCloth:
        """From the text of a cloth file. Raises InputError if that is not TOML or no cloth.

        Parameters
        ----------
        key : str
            What options call the cloth by.
        text : str
        in_hand : tuple of ClothInHand
            Lengths in hand, cm.
        """
        return cls(key, toml_table(text, "cloth file", file=key), in_hand)


@lru_cache(maxsize=256)
def _cloth(definition: str, key: str) -> Cloth:
    return cloth_from_dict(json.loads(definition), file=f"cloth {key!r}")


@dataclass(frozen=True)
class MakingLayer:
    """One layer of an option: a cloth's key, its grain in degrees, which side is out."""

    cloth: str
    grain_deg: float = 0.0
    face: str = "face"

    def __post_init__(self) -> None:
        one_line(self.cloth, "cloth", NAME_LONGEST)
        within("grain_deg", self.grain_deg, -3600.0, 3600.0)
        one_of(self.face, "face", FACES)


@dataclass(frozen=True)
class MakingOption:
    """A stack under consideration, 1 to 12 layers, outermost first; ``backing``, held by the name
    that :func:`backing_of` gives it, "" is open air; ``beneath``: what the innermost layer hangs
    as, "none" with the others."""

    name: str
    layers: tuple[MakingLayer, ...]
    backing: str = ""
    lay: str = "loose"
    note: str = ""
    beneath: str = "none"

    def __post_init__(self) -> None:
        one_line(self.name, "name", NAME_LONGEST)
        layer_count(len(self.layers))
        one_line(self.backing, "backing", NAME_LONGEST, empty=True)
        found = placed("backing", backing_of, self.backing)
        object.__setattr__(self, "backing", "" if found is None else found.name)
        known_lay(self.lay)
        lines(self.note, "note")
        one_of(self.beneath, "beneath", BENEATH)

    def same_stack(self, other: MakingOption) -> bool:
        """Whether both hang the same layers over the same backing, whatever they are called."""
        return replace(self, name=other.name, note=other.note) == other


@dataclass(frozen=True)
class Measured:
    """Something measured: what, how, and its data as plain JSON (spectra, counts, readings)."""

    name: str
    kind: str
    data: Mapping[str, Any]
    note: str = ""

    def __post_init__(self) -> None:
        one_line(self.name, "name", NAME_LONGEST)
        one_line(self.kind, "kind", NAME_LONGEST)
        lines(self.note, "note")
        object.__setattr__(self, "data", plain(self.data, "data"))

    def __hash__(self) -> int:
        return hash((self.name, self.kind, json.dumps(self.data, sort_keys=True), self.note))


@dataclass(frozen=True)
class FullnessAsked:
    """What is being asked about pleats and gathers of the skirt; lengths in cm.

    ``ratio``: cloth to finished width, 1 to 6. ``on_sheet``: whether it is planned, and so stands
    on the making sheet. ``layers``: in how many layers of a stack it is cut at most, from the
    outermost; None: in all. Raises InputError for a length that is none.
    """

    kind: str = "gathered"
    ratio: float = 2.5
    doubled: bool = False
    finished_cm: float = 70.0
    width_cm: float = 112.0
    drop_cm: float = 90.0
    on_sheet: bool = False
    layers: int | None = None

    def __post_init__(self) -> None:
        if self.layers is not None:
            layer_count(self.layers)
        one_of(self.kind, "kind", KINDS)
        within("ratio", self.ratio, 1.0, 6.0)
        for name in ("finished_cm", "width_cm", "drop_cm"):
            within(name, getattr(self, name), 1.0, 5000.0)

    def wanted(self) -> FullnessWanted:
        """The plan it asks for; flat takes as many whole widths as it needs."""
        flat = self.kind == "flat"
        widths = max(1, int(-(-self.finished_cm // max(self.width_cm - 3.0, 0.1))))
        return FullnessWanted(
            "skirt",
            self.kind,
            self.finished_cm,
            self.width_cm,
            self.drop_cm,
            fullness=None if flat else self.ratio,
            widths=widths if flat else None,
            doubled=self.doubled,
            layers=self.layers,
        )


@dataclass(frozen=True)
class Making:
    """Everything that is told about one making.

    Parameters
    ----------
    title, notes, units : as the maker writes them; ``units`` "cm" or "inch".
    cloths : those in hand or looked at, each with its own key.
    backings : what may lie behind when stacks are searched, names or backing specifications.
    options : stacks that were kept, each with its own name.
    chosen : the name of the option that will be made; "" while nothing is chosen. Nothing is
        chosen but by the maker.
    table : what is being worked on, "" or None where nothing was laid yet.
    light : the main light; None: the first of ``scenes``, or the usual one.
    scenes : further places it will be seen in.
    wishes, limits : what is wanted, in the words of ``decide.wishwords``, and what is not;
        ``limits.outside`` names cloths by key.
    hung : whether wishes are of cloth as it hangs in folds, not held flat.
    pieces, fold : what is cut, and how the cloth is folded for it.
    fullness, fullness_asked : what is planned, and what is being asked about the skirt.
    measured : readings.
    form : the form the drape is drawn in; "" that which goes with the fullness.
    shape : the hung shape it is looked at in; "" that which goes with the fullness.
    dress_form : how far the dress form reaches; "" as goes with what lies behind.
    together : whether the layers on the table turn together.
    before : the making as it was before the last clearing, to go back to.

    Raises
    ------
    InputError
        Naming the field: an unknown cloth, option, backing, place or form, a name given twice, a
        text that is too long or cannot be written.

    Examples
    --------
    >>> Making("Cape").chosen
    ''
    """

    title: str = ""
    notes: str = ""
    units: str = "cm"
    cloths: tuple[MakingCloth, ...] = ()
    backings: tuple[str, ...] = ()
    options: tuple[MakingOption, ...] = ()
    chosen: str = ""
    table: MakingOption | None = None
    light: LightChoice | None = None
    scenes: tuple[str, ...] = ()
    wishes: tuple[str, ...] = ()
    limits: Limits = Limits()
    hung: bool = False
    pieces: tuple[Piece, ...] = ()
    fold: str = "open"
    fullness: tuple[FullnessWanted, ...] = ()
    fullness_asked: FullnessAsked = FullnessAsked()
    measured: tuple[Measured, ...] = ()
    form: str = ""
    shape: str = ""
    dress_form: str = ""
    together: bool = True
    before: Making | None = None

    def __post_init__(self) -> None:
        one_line(self.title, "title", NAME_LONGEST, empty=True)
        lines(self.notes, "notes")
        one_of(self.units, "units", tuple(UNITS))
        one_of(self.fold, "fold", FOLDS)
        one_of(self.form, "form", ("", *known_forms()))
        one_of(self.shape, "shape", ("", *shape_names()))
        one_of(self.dress_form, "dress_form", ("", *DRESS_FORMS))
        for field in fields(self):
            if isinstance(field.default, tuple):
                rows(getattr(self, field.name), field.name)
        for name in ("backings", "scenes", "wishes"):
            for text in getattr(self, name):
                one_line(text, name, NAME_LONGEST)
        for text in self.backings:
            placed("backings", backing_of, text)
        for text in self.scenes:
            placed("scenes", known_scene, text)
        for text in self.wishes:
            placed("wishes", wish_from, text)
        unique((cloth.key for cloth in self.cloths), "cloths")
        unique((option.name for option in self.options), "options")
        keys = {cloth.key for cloth in self.cloths}
        kept = [(f"options[{i}]", option) for i, option in enumerate(self.options)]
        for place, option in (*kept, *([("table", self.table)] if self.table else [])):
            for layer in option.layers:
                if layer.cloth not in keys:
                    raise InputError(f"{layer.cloth!r} is not one of the cloths", field=place)
        for key in self.limits.outside:
            if key not in keys:
                raise InputError(f"{key!r} is not one of the cloths", field="limits.outside")
        if self.chosen and self.chosen not in {option.name for option in self.options}:
            raise InputError(f"{self.chosen!r} is not one of the options", field="chosen")
        if self.before is not None and self.before.before is not None:
            raise InputError("holds more than one step back", field="before")

    def option(self, name: str) -> MakingOption:
        """The option of that name, in small letters or large where only one is so called. Raises
        InputError where there is none."""
        like = [one for one in self.options if one.name.casefold() == name.strip().casefold()]
        if found := [one for one in like if one.name == name] or like[: len(like) == 1]:
            return found[0]
        known = ", ".join(option.name for option in self.options) or "none yet"
        raise InputError(f"there is no option {shown(name)}; there are: {known}")

    def cloth(self, key: str) -> MakingCloth:
        """The cloth of that key. Raises InputError where there is none."""
        for cloth in self.cloths:
            if cloth.key == key:
                return cloth
        known = ", ".join(cloth.key for cloth in self.cloths) or "none yet"
        raise InputError(f"there is no cloth {key!r}; there are: {known}")
