"""Lengths, the cloth in hand and fullness as one writes them in a line of text.

Knows the wording; what is meant by it is in ``remnant`` and ``fullness``. A number without a unit
is asked about, never guessed: 112 could be centimetres, 60 inches, 3.5 yards.

A length: ``112 cm``, ``44 1/2 inch``, ``44½"``, ``5' 6"``, ``1.2 m``, ``3 yd``, ``8 dm``. A size:
``112 x 250 cm`` (one unit for both), ``60 inch x 3.5 yd``, the width first, ``3.5 yd long x 60
inch wide`` or ``3.5 yd of 60 inch``.
Cloth in hand is a size and, after commas, what is to be known of it::

    112 x 250 cm, selvedge 1 cm, one way, flaw 8 x 8 cm at 70 x 190 cm, bite 30 x 40 cm at far left

A place is the distance from the left selvedge and from the cut end that is laid from, the cloth's
face up, or a corner: near or far, left or right. Fullness is what it is for, its finished width and
length, and how::

    skirt: 70 x 90 cm, gathered, 2.5 to 1
    sleeve: 25 cm x 40 cm, knife, 3 widths, pleat 3 cm, hem round 60 cm, hem 2 cm, doubled
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from weavecolor.cutting.folds import KINDS, KINDS_ALSO, kind_called
from weavecolor.cutting.fullness import FullnessWanted
from weavecolor.cutting.lengths import LONGEST_CM, WIDEST_CM
from weavecolor.cutting.pieces import Points
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.errors import InputError, shown
from weavecolor.textile.notmodelled import elsewhere
from weavecolor.textile.units import length_mm, typed

T = TypeVar("T")

_NUMBER = r"(?:\d+[\s-]+\d+/\d+|\d+/\d+|\d+\.?\d*|\.\d+)"
_LENGTH = re.compile(rf"^({_NUMBER})\s*([^\d\s.,/][^\d]*)?$")
#: Two lengths that make one: 5 ft 6 in, 2 yd 18 inch.
_JOINED = re.compile(rf"^({_NUMBER})\s*([a-z']+)\s*({_NUMBER})\s*([a-z]+|\")$")
_SIZE_HINT = "write width x length with its unit, such as 112 x 250 cm or 60 inch x 3.5 yd"
#: Units in which cloth is bought by the length, not measured across.
_LONG_UNITS = ("m", "yd", "yds", "yard", "yards", "ft", "foot", "feet", "'")
#: Cloth is seldom wider (common practice, no source).
_USUALLY_WIDE_CM = 160.0
_LONGEST_TEXT = 400
_CORNERS = {
    "near left": (0.0, 0.0), "near right": (1.0, 0.0), "far left": (0.0, 1.0),
    "far right": (1.0, 1.0),
}  # fmt: skip


def length_from(text: str, field: str, *, zero: bool = False) -> float:
    """Centimetres of a length with its unit; "0" needs none where nothing is allowed.

    Raises InputError naming ``field``: no number, no unit or none that is known, not above zero.

    Parameters
    ----------
    text : str
        Number, fraction or both, and unit: mm, cm, dm, m, inch, ft, yd and the like.
    field : str
        Named in complaints.
    zero : bool
        Whether 0 will do.

    Returns
    -------
    float
        cm, above 0 (or 0).

    Examples
    --------
    >>> length_from("8 dm", "length"), length_from("44 1/2 inch", "width")
    (80.0, 113.03)
    """
    number, unit = _length(text, field)
    if number == 0.0 and zero:
        return 0.0
    if not unit:
        raise InputError(
            f"{text.strip()!r} has no unit; write {text.strip()} cm or {text.strip()} inch",
            field=field,
        )
    return _in_cm(number, unit, field)


def size_from(text: str, field: str, *, cloth: bool = True) -> tuple[float, float]:
    """Width and length in cm of "112 x 250 cm", "60 inch x 3.5 yd", "3 yd long x 60 inch wide",
    "3.2 m of 140 cm".

    Raises InputError naming ``field``, saying what would be right.

    Parameters
    ----------
    text, field : str
    cloth : bool
        Whether it is of cloth, which is longer than wide; a frill is not, nor a streak across.

    Examples
    --------
    >>> size_from("150 cm x 3.2 m", "--cloth")
    (150.0, 320.0)
    """
    said = re.sub(r"^(.+?) of (.+?)(?: wide)?$", r"\2 wide x \1 long", text.strip().casefold())
    sides = re.split(r"\s*[x\u00d7]\s*|\s+by\s+", said)
    if len(sides) != 2:
        raise InputError(f"{shown(text.strip())} is no size; {_SIZE_HINT}", field=field)
    found_words = [re.search(r"\s(wide|long)$", side) for side in sides]
    words = [match[1] if match else "" for match in found_words]
    (wide, wide_unit), (long, long_unit) = (
        _length(side.removesuffix(word).strip(), field)
        for side, word in zip(sides, words, strict=True)
    )
    if words in (["long", "wide"], ["long", ""], ["", "wide"]):
        wide, wide_unit, long, long_unit = long, long_unit, wide, wide_unit
    elif words[0] and words[0] == words[1]:
        raise InputError(f"{shown(text.strip())} tells {words[0]} twice; {_SIZE_HINT}", field=field)
    if not wide_unit and not long_unit:
        tidy = text.strip()
        raise InputError(
            f"{shown(tidy)} has no unit; write {tidy[:40]} cm or {tidy[:40]} inch", field=field
        )
    if not long_unit:
        one, other = ("cm", "inch") if long > 20.0 else ("m", "yd")
        raise InputError(
            f"{shown(text.strip())}: {long:g} of what? write {wide:g} {wide_unit} x {long:g} "
            f"{one}, or {long:g} {other}",
            field=field,
        )
    shared, wide_unit = not wide_unit, wide_unit or long_unit
    found = _in_cm(wide, wide_unit, field), _in_cm(long, long_unit, field)
    if shared and long_unit in _LONG_UNITS and not 30.0 <= found[0] <= WIDEST_CM:
        usual = "cm" if long_unit == "m" else "inch"
        raise InputError(
            f"{shown(text.strip())}: {wide:g} of what? write {wide:g} {usual} x {long:g} "
            f"{long_unit}",
            field=field,
        )
    swapped = wide_unit in _LONG_UNITS and long_unit not in _LONG_UNITS and found[0] > found[1]
    if cloth and swapped and not any(words):
        raise InputError(
            f"{shown(text.strip())}: the width comes first; write {long:g} {long_unit} x {wide:g} "
            f"{wide_unit}, or {wide:g} {wide_unit} wide x {long:g} {long_unit} long",
            field=field,
        )
    broad = max(found[1], _USUALLY_WIDE_CM) < found[0] <= WIDEST_CM
    if cloth and broad and not any(words):
        raise InputError(
            f"{shown(text.strip())}: {wide:g} {wide_unit} wide? write {wide:g} {wide_unit} wide x "
            f"{long:g} {long_unit} long, or {long:g} {long_unit} x {wide:g} {wide_unit}",
            field=field,
        )
    return found


def in_hand_from(text: str, field: str = "cloth in hand") -> ClothInHand:
    """A length of cloth as in the module's example. Raises InputError naming ``field``.

    Examples
    --------
    >>> hand = in_hand_from("112 x 250 cm, selvedge 1 cm, bite 30 x 40 cm at far left")
    >>> hand.selvedge_cm, hand.damage
    (1.0, (((0.0, 210.0), (30.0, 210.0), (30.0, 250.0), (0.0, 250.0)),))
    """
    first, *rest = _parts(text, field)
    if rest and {first.split()[-1], rest[0].split()[-1]} == {"wide", "long"}:
        first = f"{first} x {rest.pop(0)}"
    width, length = size_from(first, field)
    selvedge, one_way = 0.0, False
    places = []
    for part in rest:
        word, _, value = part.partition(" ")
        if part in ("one way", "one-way", "nap"):
            one_way = True
        elif word in ("selvedge", "selvedges", "selvage", "selvages"):
            each = re.sub(" each( side)?$", "", value)
            selvedge = length_from(each, f"{field} selvedge", zero=True)
        elif word in ("bite", "flaw", "hole", "stain"):
            places.append(("bite" if word == "bite" else "flaw", value))
        else:
            raise InputError(
                f"{shown(part)} is not known of cloth; after the size: selvedge 1 cm, one way, "
                f"flaw SIZE at PLACE, bite SIZE at PLACE{elsewhere(part)}",
                field=field,
            )
    cloth = _made(lambda: ClothInHand(width, length, selvedge_cm=selvedge, one_way=one_way), field)
    for word, value in places:
        cloth = with_damage(cloth, word, value, field)
    return cloth


def with_damage(cloth: ClothInHand, kind: str, text: str, field: str) -> ClothInHand:
    """The cloth with one more flaw (inside) or bite (at an edge), as "30 x 40 cm at far left".

    Parameters
    ----------
    cloth : ClothInHand
    kind : {"flaw", "bite"}
    text : str
        Its size and place with their units.
    field : str
        Named in complaints.

    Raises
    ------
    InputError
        For a size or place without unit, or off the cloth.

    Examples
    --------
    >>> with_damage(ClothInHand(112.0, 250.0), "flaw", "8 x 8 cm at 70 x 190 cm", "--flaw").damage
    (((70.0, 190.0), (78.0, 190.0), (78.0, 198.0), (70.0, 198.0)),)
    """
    size, _, place = text.strip().casefold().partition(" at ")
    across, along = size_from(size, field, cloth=False)
    place = place.strip()
    left, low, right, high = cloth.edge.bounds
    if place in _CORNERS:
        x, y = _CORNERS[place]
        corner = left + x * (right - left - across), low + y * (high - low - along)
    elif place:
        corner = _place(place, field)
    else:
        raise InputError(
            f"say where the {kind} is: {size} at far left (or near, right), or {size} at 70 x 190 "
            "cm (from the left selvedge, from the cut end)",
            field=field,
        )
    spot = damage_at(corner[0], corner[1], across, along)
    damaged = _made(lambda: replace(cloth, damage=(*cloth.damage, spot)), field)
    at_edge = (
        corner[0] <= left + 1e-6
        or corner[1] <= low + 1e-6
        or corner[0] + across >= right - 1e-6
        or corner[1] + along >= high - 1e-6
    )
    if at_edge != (kind == "bite"):
        raise InputError(
            "a bite is cut out at an edge; a place inside the cloth is a flaw"
            if kind == "bite"
            else "a flaw lies inside the cloth; what is gone at an edge is a bite",
            field=field,
        )
    return damaged


def damage_at(from_left: float, from_end: float, across: float, along: float) -> Points:
    """A rectangle to keep clear of, cm: its nearest corner's place, its size.

    Parameters
    ----------
    from_left, from_end : float
        Its nearest corner from the left edge and from the cut end, cm.
    across, along : float
        Its size across the cloth and along the warp, cm.

    Examples
    --------
    >>> damage_at(70.0, 190.0, 8.0, 8.0)[2]
    (78.0, 198.0)
    """
    right, high = from_left + across, from_end + along
    return ((from_left, from_end), (right, from_end), (right, high), (from_left, high))


def fullness_from(
    text: str, field: str = "fullness", cloth_width_cm: float = 110.0
) -> FullnessWanted:
    """A fullness as in the module's example, meant for cloth of that usable width.

    Raises InputError naming ``field``.

    Parameters
    ----------
    text : str
        "NAME: FINISHED x LENGTH, KIND, FULLNESS to 1" or "... widths".
    field : str
        Named in complaints.
    cloth_width_cm : float
        Usable width, cm, above 0.

    Examples
    --------
    >>> wanted = fullness_from("skirt: 70 x 90 cm, knife, 3 to 1")
    >>> wanted.what, wanted.finished_cm, wanted.length_cm, wanted.fullness
    ('skirt', 70.0, 90.0, 3.0)
    """
    what, colon, how = text.partition(":")
    if not colon or not what.strip():
        raise InputError(
            f"{shown(text.strip())} does not say what for; write skirt: 70 x 90 cm, gathered, "
            "2.5 to 1",
            field=field,
        )
    first, *rest = _parts(how, field)
    finished, length = size_from(first, field, cloth=False)
    said: dict[str, object] = {}
    kind = "gathered"
    for part in rest:
        ratio = re.fullmatch(rf"(?:fullness\s+)?({_NUMBER})(?:\s*(?:(?:to|:)\s*1|x|times))?", part)
        many = re.fullmatch(r"(double|treble|triple) fullness", part)
        widths = re.fullmatch(r"(\d+)\s+widths?", part)
        layers = re.fullmatch(r"(?:in )?(?:the )?(?:outermost layer|(?:outer )?(\d+) layers?)",
                              part)  # fmt: skip
        named = re.fullmatch(r"(pleat|hem round|hem|seam|top)\s+(.+)", part)
        if part in KINDS or part in KINDS_ALSO:
            kind = kind_called(part)
        elif part == "doubled":
            said["doubled"] = True
        elif many:
            said["fullness"] = 2.0 if many[1] == "double" else 3.0
        elif layers:
            said["layers"] = int((layers[1] or "1")[:6])
        elif widths:
            said["widths"] = int(widths[1][:6])
        elif ratio:
            said["fullness"] = _number(ratio[1])
        elif named:
            key = {"hem round": "hem_round_cm"}.get(named[1], f"{named[1]}_cm")
            said[key] = length_from(
                named[2], f"{field} {named[1]}", zero=named[1] in ("hem", "seam", "top")
            )
        else:
            raise InputError(
                f"{shown(part)} is not known of fullness; after the size: {', '.join(KINDS)}, "
                "2.5 to 1 or 3 widths, doubled, pleat 3 cm, hem round 260 cm, hem, seam, top, "
                "1 layer (the outermost alone)",
                field=field,
            )
    if "fullness" not in said and "widths" not in said:
        said["fullness"] = 1.0 if kind == "flat" else 2.5
    return _made(
        lambda: FullnessWanted(what.strip(), kind, finished, cloth_width_cm, length, **said),  # type: ignore[arg-type]
        field,
    )


def _parts(text: str, field: str) -> list[str]:
    if len(text) > _LONGEST_TEXT:
        raise InputError(f"is longer than {_LONGEST_TEXT} characters", field=field)
    told = _made(lambda: typed(text), field)
    parts = [" ".join(part.casefold().split()) for part in told.split(",")]
    if not all(parts):
        raise InputError(f"{shown(text.strip())} has an empty place between commas", field=field)
    return parts


def _place(text: str, field: str) -> tuple[float, float]:
    """A place, from the left and from the cut end; 0 needs no unit."""
    sides = re.split(r"\s*[x\u00d7]\s*", text)
    if len(sides) != 2:
        raise InputError(
            f"{shown(text)} is no place; write 70 x 190 cm (from the left selvedge, from the cut "
            "end), or near or far, left or right",
            field=field,
        )
    (x, x_unit), (y, y_unit) = (_length(side, field) for side in sides)
    units = x_unit or y_unit, y_unit or x_unit
    if not any(units) and (x or y):
        raise InputError(f"{shown(text)} has no unit; write {text} cm or {text} inch", field=field)
    return tuple(  # type: ignore[return-value]
        0.0 if value == 0.0 else _in_cm(value, unit, field)
        for value, unit in zip((x, y), units, strict=True)
    )


def _length(text: str, field: str) -> tuple[float, str]:
    """The number and the unit ("" where there is none)."""
    told = _made(lambda: typed(text), field)
    tidy = " ".join(told.casefold().split())[:60]
    joined = _JOINED.match(tidy)
    if joined is not None:
        whole, part = (_in_cm(_number(joined[k]), joined[k + 1], field) for k in (1, 3))
        one, smaller = (_in_cm(1.0, joined[k], field) for k in (2, 4))
        if part < one:
            return round((whole + part) / smaller, 9), joined[4]
    match = _LENGTH.match(tidy)
    if match is None:
        raise InputError(
            f"{shown(text.strip())} is no length; write 70 cm, 27 1/2 inch or 1.2 m", field=field
        )
    return _number(match[1]), (match[2] or "").strip()


def _number(text: str) -> float:
    """The value of "44", "44.5", "1/2" or "44 1/2"."""
    try:
        return float(sum(Fraction(part) for part in re.split(r"[\s-]+", text)))
    except (ZeroDivisionError, OverflowError):
        return math.nan


def _in_cm(number: float, unit: str, field: str) -> float:
    if not math.isfinite(number):
        raise InputError("that is no number; write 70 cm, 27 1/2 inch or 1.2 m", field=field)
    try:
        value = round(length_mm(f"{number!r} {unit}") / 10.0, 9)
    except InputError as error:
        raise InputError(error.what, field=field) from None
    if value > LONGEST_CM:
        raise InputError(
            f"{number:g} {unit} will not do; use at most {LONGEST_CM / 100:g} m (check the unit)",
            field=field,
        )
    return value


def _made(make: Callable[[], T], field: str) -> T:
    try:
        return make()
    except InputError as error:
        inner = (error.field or "").removeprefix("cloth in hand").strip()
        inner = inner.removesuffix("_cm").replace("_", " ")
        raise InputError(f"{inner}: {error.what}" if inner else error.what, field=field) from None
