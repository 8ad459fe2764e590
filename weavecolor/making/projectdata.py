"""What a project holds, as plain frozen data: cloths, wishes, options, choice, pieces, readings.

Knows what is kept; reading and writing it is ``project``. A cloth is kept as the table of its
cloth file (see ``weavecolor.files.clothfile``), so a project needs no other file. Lengths are cm
whatever ``units`` the maker reads.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from weavecolor.cutting.fullness import FullnessPlan, plan_fullness
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.wishes import Limits
from weavecolor.errors import InputError
from weavecolor.files.textfile import toml_table

_MOST_NESTING = 60
_MOST_BITS = 1000


@dataclass(frozen=True)
class ProjectCloth:
    """A cloth to hand: ``key`` names it in options; ``definition`` is its cloth file's table.

    ``in_hand``: the pieces of it there are, each a length or an odd remnant.
    """

    key: str
    definition: Mapping[str, Any]
    in_hand: tuple[ClothInHand, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "definition", _plain(self.definition, self.key))

    @classmethod
    def from_toml(cls, key: str, text: str, in_hand: tuple[ClothInHand, ...] = ()) -> ProjectCloth:
        """From the text of a cloth file. Raises InputError if that is not TOML."""
        return cls(key, toml_table(text, "cloth file", file=key), in_hand)


@dataclass(frozen=True)
class ProjectLayer:
    """One layer of an option: a cloth's key, its grain in degrees, which side is out."""

    cloth: str
    grain_deg: float = 0.0
    face: str = "face"


@dataclass(frozen=True)
class ProjectOption:
    """A stack under consideration, outermost layer first; ``backing`` "" is open air."""

    name: str
    layers: tuple[ProjectLayer, ...]
    backing: str = ""
    lay: str = "loose"
    note: str = ""


@dataclass(frozen=True)
class Measured:
    """Something measured: what, how, and its data as plain JSON (spectra, counts, readings)."""

    name: str
    kind: str
    data: Mapping[str, Any]
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "data", _plain(self.data, self.name))


@dataclass(frozen=True)
class ProjectFullness:
    """A finished width to be taken in, as asked of ``fullness.plan_fullness``; lengths in cm.

    ``what``: what it is for, such as "skirt". ``widths`` None: as many as ``fullness`` needs.
    Raises InputError where no plan can be made of it.
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

    def __post_init__(self) -> None:
        if not self.what.strip():
            raise InputError("say what the fullness is for, such as skirt", field="what")
        self.plan()

    def plan(self) -> FullnessPlan:
        """Widths, cut length and layers."""
        return plan_fullness(
            self.kind,
            self.finished_cm,
            self.cloth_width_cm,
            self.length_cm,
            fullness=self.fullness,
            widths=self.widths,
            seam_cm=self.seam_cm,
            top_cm=self.top_cm,
            hem_cm=self.hem_cm,
            doubled=self.doubled,
        )


@dataclass(frozen=True)
class Project:
    """Everything that is saved.

    ``pins`` and ``chosen`` name options; ``backings`` and ``scenes`` are names or backing
    specifications, the main scene first. ``wishes`` are what is wanted of the choice, in the words
    of ``decide.wishwords``; ``limits`` what is not, its ``outside`` naming cloths by key.
    ``settings`` is plain JSON for what else a page remembers.
    """

    title: str = ""
    notes: str = ""
    units: str = "cm"
    cloths: tuple[ProjectCloth, ...] = ()
    backings: tuple[str, ...] = ()
    options: tuple[ProjectOption, ...] = ()
    pins: tuple[str, ...] = ()
    chosen: str = ""
    scenes: tuple[str, ...] = ()
    wishes: tuple[str, ...] = ()
    limits: Limits = Limits()
    pieces: tuple[Piece, ...] = ()
    fold: str = "open"
    fullness: tuple[ProjectFullness, ...] = ()
    measured: tuple[Measured, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "settings", _plain(self.settings, "settings"))

    def option(self, name: str) -> ProjectOption:
        """The option of that name. Raises InputError where there is none."""
        for option in self.options:
            if option.name == name:
                return option
        known = ", ".join(option.name for option in self.options) or "none yet"
        raise InputError(f"there is no option {name!r}; there are: {known}")

    def cloth(self, key: str) -> ProjectCloth:
        """The cloth of that key. Raises InputError where there is none."""
        for cloth in self.cloths:
            if cloth.key == key:
                return cloth
        known = ", ".join(cloth.key for cloth in self.cloths) or "none yet"
        raise InputError(f"there is no cloth {key!r}; there are: {known}")


def _plain(value: Any, where: str) -> Any:
    """A deep copy if ``value`` is plain JSON with finite numbers; else InputError."""

    def check(item: Any, depth: int) -> None:
        if depth > _MOST_NESTING:
            raise InputError("is nested too deeply", field=where)
        if isinstance(item, Mapping):
            for key, inner in item.items():
                if not isinstance(key, str):
                    raise InputError(f"key {key!r} is not text", field=where)
                check(key, depth)
                check(inner, depth + 1)
        elif isinstance(item, list):
            for inner in item:
                check(inner, depth + 1)
        elif isinstance(item, str):
            if any("\ud800" <= c <= "\udfff" for c in item):
                raise InputError("holds text that cannot be written as UTF-8", field=where)
        elif isinstance(item, float):
            if not math.isfinite(item):
                raise InputError("holds a number that is not finite", field=where)
        elif isinstance(item, int) and item.bit_length() > _MOST_BITS:
            raise InputError("holds a number that is too large", field=where)
        elif item is not None and not isinstance(item, bool | int):
            raise InputError(
                f"{type(item).__name__} cannot be kept in a project; use text, numbers and lists",
                field=where,
            )

    if not isinstance(value, Mapping):
        raise InputError("must be a table of fields", field=where)
    check(value, 0)
    return copy.deepcopy(dict(value))
