"""Cloth files: a cloth as TOML, read and written, and the swatches that come with the tool.

Knows the file's fields and their units; knows nothing of optics. What a field means physically is
in ``cloth``; what cannot be woven is refused by ``construction``.

A file looks like this (see swatches/ for more)::

    name = "Shot silk organza, red and black"
    weave = "plain"
    ends = "40 /cm"
    picks = "38 /cm"
    weight = "4.3 momme"          # optional, checked against the construction

    [warp]
    fibre = "silk"
    count = "20/22 denier"
    kind = "filament"             # or "spun", "monofilament"; needless where all else tells it
    filaments = 15                # or dtex_per_filament = 1.5, or in the count: "23 dtex f 15"
    gum = true                    # or "in gum"; false or "boiled off"
    twist = "400 /m"              # or "S 400", with its hand; or hand = "S", "Z"
    packing = 0.85                # share of the section that is fibre
    flattening = 1.1              # width over height of the section
    lustre = "bright"             # or "semi-dull", "dull"; or dull_per_mm = 4.0
    section = "round"             # of a filament; or "rounded triangle", "trilobal"; or section =
                                  # 1.3, the ratio of the circles about it and in it
    like = "silk organza"         # where what is not given is taken from; see textile/usual.py
    colour = { name = "red", srgb = "#b01020" }

    [weft]
    ...

Of a yarn only fibre, count, kind and colour must be told; fibre and kind are those of what the yarn
is ``like``, a sort or what shops call such cloth (textile/shopnames.py), and a count that is not
known is worked out from the weight and the setts, or is the usual one of what it is ``like``. Ends
and picks that nobody counted are those usual for the cloth that both yarns are ``like``, where
textile/shopnames.py knows such. The rest is assumed as usual for the fibre, with its range. Of a
spun yarn, ``filaments`` are the staple fibres in its section. ``dull_per_mm`` is scattering inside
the fibre.

A colour is one of: ``wavelengths`` and ``reflectance`` lists (``unit`` = "fraction" or
"percent"); ``lab`` with ``illuminant`` "D65", which is supposed, or "D50"; ``srgb`` = "#rrggbb" or
a name (colour/screencolour.py); ``spectrum_file``, a CSV, TSV or CGATS file in the same folder,
with ``spectrum`` naming which, and ``unit`` as before. It is the colour of closely wound thread.
Beside ``reflectance`` a list ``absorption``, 1/mm inside the fibre, may stand: then that is the
dye.

How a number is known may be told, and always is in a file that the tool wrote; what is not told
counts as stated. Names are those of the fields, and of a fit also ``cover`` of a system and
``shown``, how far answers show the cloth from what it was fitted to, in CIEDE2000::

    [known]
    ends = { how = "measured", spread = 0.5, source = "counted over 2 cm" }
    "warp.count" = { how = "stated", source = "the mill" }
    "warp.packing" = { how = "assumed", low = 0.7, high = 0.95 }
    "warp.colour" = { how = "fitted", spread = 1.2, together = { "weft.colour" = 0.4 } }

``spread`` is a standard uncertainty in the number's unit (of a colour CIEDE2000), ``low`` to
``high`` hold nine times in ten (of a colour its L*), ``together`` are correlations between fitted
numbers.
``root`` of ``foretold`` keeps all that a fit left open, and of ``photographed`` how the cloth
looked in its pictures, in numbers of their own. A file without this table is read by its sources
and remarks, as ``earlierknown`` says.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Literal

from msgspec import Struct, structs

from weavecolor.colour.screencolour import NAMED_OFF, is_colour_name, screen_code, screen_rgb
from weavecolor.colour.spectra import UNITS, WAVELENGTHS, Resampled, Spectrum, frozen, resample
from weavecolor.errors import InputError, lines, one_line, within
from weavecolor.files.earlierknown import known_of_texts
from weavecolor.files.schema import (
    Bare,
    Finite,
    Meant,
    Numbers,
    chosen,
    fit,
    inside,
    not_known,
    value_of,
)
from weavecolor.files.spectrafile import read_spectra
from weavecolor.files.textfile import read_text, toml_table
from weavecolor.textile import construction, units
from weavecolor.textile.cloth import MOST_CRIMP, Cloth, Weave
from weavecolor.textile.fibres import FIBRES, fibre
from weavecolor.textile.howknown import NUMBERS, WAYS, HowKnown, Way
from weavecolor.textile.notmodelled import named_so
from weavecolor.textile.shopnames import SET_AS_USUAL, sort_called, usual_setts
from weavecolor.textile.usual import (
    COUNT_OFF,
    KINDS,
    LUSTRES,
    ROD,
    ROUND,
    SECTIONS,
    USUAL,
    Span,
    UsualYarn,
    usual_section,
    usual_yarn,
)
from weavecolor.textile.weaves import weave
from weavecolor.textile.yarn import (
    FINENESS_DTEX,
    HANDS,
    RANGES,
    Fibre,
    Yarn,
    filaments_of,
    greatest_packing,
)

MAX_BYTES = 1_000_000
#: Read from older files, checked and left alone: they follow from the filaments now.
_OLD = {
    "lustre_deg": (0.5, 60.0, ""),
    "scattering_m2_g": (0.0, math.inf, ""),
    "sheen": (0.0, 1.0, ""),
}
_RANGES: Mapping[str, tuple[float, float, str]] = {
    **{key: RANGES[key] for key in ("packing", "flattening", "filaments", "dull_per_mm")},
    "dtex_per_filament": (*FINENESS_DTEX, "dtex"),
    "warp_share": (0.0, 1.0, ""),
    **_OLD,
}
#: What a field of the file is called in the yarn.
_FIELD_OF = {"tex": "count", "dtex per filament": "filaments", "twist_turns_m": "twist"}
#: The section by which cloth was fitted before its file told of one.
_FITTED_AS = Bare[Literal["section"], Span]("round", ROUND)
_GUM_WORDS = {"in gum": True, "in the gum": True, "boiled off": False, "degummed": False}
#: What to write where a field is missing, or holds something else.
_OF_YARN = {
    "fibre": 'for example fibre = "silk", or what the yarn is like: like = "silk organza"',
    "kind": 'kind = "filament" or "spun", or what the yarn is like: like = "silk organza"',
    "colour": 'for example colour = "navy" or "#b01020"',
    "count": 'it with its unit, for example count = "20/22 denier"',
    "twist": 'it with its unit, for example twist = "600 /m", or "S 600" with its hand',
    "hand": 'the hand of its twist, hand = "S" or "Z"',
    "colour.wavelengths": "numbers, for example wavelengths = [400, 420, 440]",
    "colour.reflectance": "numbers, for example reflectance = [0.05, 0.06, 0.08]",
    "colour.absorption": "numbers, for example absorption = [20, 18, 15]",
    "colour.lab": "numbers, for example lab = [40, 30, -10]",
}
_COUNTED = (
    "weavecolor measure threads counts them in a close-up; usual ones are known where the yarn is "
    'told as of a cloth, like = "silk organza", and it is woven as such cloth is: '
    + ", ".join(SET_AS_USUAL)
)
_EXAMPLES = {
    "name": 'for example name = "Shot organza"',
    "weave": 'for example weave = "plain"',
    "ends": 'how many ends there are, for example ends = "40 /cm" or "100 /inch"; ' + _COUNTED,
    "picks": 'how many picks there are, for example picks = "38 /cm" or "96 /inch"; ' + _COUNTED,
    # no fields of a cloth: of a length of it
    **dict.fromkeys(("width", "length"), "it where the cloth in hand is told, such as --cloth "
                    '"150 x 300 cm"'),
    "weight": 'it with its unit, for example weight = "4.3 momme"',
    "warp": "a table [warp] with the fibre, count, kind and colour of its yarn",
    "weft": "a table [weft] with the fibre, count, kind and colour of its yarn",
    **{f"{system}.{key}": text for system in ("warp", "weft") for key, text in _OF_YARN.items()},
}


class HowTold(Struct, frozen=True):
    """A number's table in ``known``."""

    how: Meant[Literal["how"], Way]
    spread: float | None = None
    low: float | None = None
    high: float | None = None
    source: str = ""
    together: dict[str, Any] = {}
    root: Numbers = ()


class ColourTold(Struct, frozen=True):
    """A yarn's table ``colour``."""

    name: str = ""
    wavelengths: Numbers | None = None
    reflectance: Numbers | None = None
    absorption: Numbers | None = None
    unit: Meant[Literal["unit"], str] | None = None
    lab: tuple[Finite, Finite, Finite] | None = None
    illuminant: Meant[Literal["illuminant"], str] | None = None
    observer: Meant[Literal["observer"], str] | None = None
    srgb: str | None = None
    spectrum_file: str | None = None
    spectrum: str | None = None

    def __post_init__(self) -> None:
        one_line(self.name, "name", 80, empty=True)


class YarnTold(Struct, frozen=True, kw_only=True):
    """The tables ``warp`` and ``weft``."""

    fibre: Meant[Literal["fibre"], Fibre] | None = None
    count: Meant[Literal["count"], tuple[float, int | None]] | None = None
    kind: Meant[Literal["kind"], str] | None = None
    like: Meant[Literal["like"], UsualYarn] | None = None
    filaments: Bare[Literal["filaments"], float] | None = None
    dtex_per_filament: Bare[Literal["dtex_per_filament"], float] | None = None
    gum: Bare[Literal["gum"], bool] | None = None
    twist: Meant[Literal["twist"], tuple[float, str]] | None = None
    hand: Meant[Literal["hand"], str] | None = None
    packing: Bare[Literal["packing"], float] | None = None
    flattening: Bare[Literal["flattening"], float] | None = None
    lustre: Meant[Literal["lustre"], str] | None = None
    dull_per_mm: Bare[Literal["dull_per_mm"], float] | None = None
    section: Bare[Literal["section"], Span] | None = None
    crimp: Bare[Literal["crimp"], float] | None = None
    colour: ColourTold | str
    lustre_deg: Bare[Literal["lustre_deg"], float] | None = None
    scattering_m2_g: Bare[Literal["scattering_m2_g"], float] | None = None
    sheen: Bare[Literal["sheen"], float] | None = None


class ClothTold(Struct, frozen=True, kw_only=True):
    """The whole file."""

    name: str
    weave: str | list[Any]
    ends: Meant[Literal["sett"], float] | None = None
    picks: Meant[Literal["sett"], float] | None = None
    weight: Meant[Literal["weight"], float] | None = None
    warp_share: Bare[Literal["warp_share"], float] | None = None
    notes: str = ""
    remarks: str = ""
    warp: YarnTold
    weft: YarnTold
    source: dict[str, Any] = {}
    known: dict[str, Any] | None = None

    def __post_init__(self) -> None:
        one_line(self.name, "name", 200)
        lines(self.notes, "notes", 5000)
        lines(self.remarks, "remarks", 5000)
        for key, text in self.source.items():
            one_line(text, f"source.{key[:60]}", 400, empty=True)


def _number(low: float, high: float, unit: str, told: Any) -> float:
    within(None, told, low, high, unit)
    return float(min(told, 1e308))  # a whole number may be longer than any float


def _size(told: str) -> tuple[float, int | None]:
    size = units.yarn_size(told)
    within(None, size[0], *RANGES["tex"])
    return size


def _crimp(told: object) -> float:
    """A crimp as a share, or in percent."""
    share: object = told
    if isinstance(told, str) and told.strip().endswith("%"):
        try:
            share = float(told.strip()[:-1]) / 100.0
        except ValueError:
            raise InputError(f"{told[:40]!r} is not a percentage") from None
    return _number(0.0, MOST_CRIMP, "", share)


def _section(told: object) -> Span:
    """A filament's section by its word, or by the ratio of its circles."""
    if isinstance(told, str):
        try:
            return SECTIONS[chosen(SECTIONS, told)]
        except InputError as error:
            raise InputError(f"{error}, or a ratio such as section = 1.3") from None
    ratio = _number(*RANGES["section"], told)
    return Span(ratio, ratio, ratio)


def _gum(told: object) -> bool:
    word = told.strip().casefold() if isinstance(told, str) else ""
    gum = told if isinstance(told, bool) else _GUM_WORDS.get(word)
    if gum is None:
        raise InputError('must be true, false, "in gum" or "boiled off"')
    return gum


#: Kind of a yarn of one filament.
_ONE = "monofilament"
#: What texts mean.
_READ: Mapping[str, Callable[[Any], Any]] = {
    **{key: partial(_number, *span) for key, span in _RANGES.items()},
    "sett": units.sett_per_cm,
    "weight": units.areal_mass_g_m2,
    "fibre": fibre,
    "count": _size,
    "like": sort_called,
    "kind": lambda told: _ONE if told.casefold() == _ONE else chosen(KINDS, told),
    "gum": _gum,
    "twist": units.twist,
    "hand": lambda told: chosen(HANDS, told.strip().upper()),
    "lustre": partial(chosen, LUSTRES),
    "crimp": _crimp,
    "section": _section,
    "unit": partial(chosen, UNITS),
    "illuminant": partial(chosen, ("D65", "D50")),
    "observer": partial(chosen, ("2", "10")),
    "how": partial(chosen, WAYS),
}
_WRITTEN = ("packing", "flattening", "dull_per_mm", "section")
#: How a colour may be told, and what may stand beside it.
_COLOUR_WAYS: Mapping[str, tuple[str, ...]] = {
    "wavelengths": (),
    "reflectance": ("unit", "absorption"),
    "lab": ("illuminant", "observer"),
    "srgb": (),
    "spectrum_file": ("unit", "spectrum"),
}


def read_cloth(path: str | Path) -> Cloth:
    """The cloth described by the TOML file at ``path``.

    Raises InputError, naming file and field, for anything missing, unknown, impossible or unsafe;
    refuses files above 1 MB.

    Examples
    --------
    >>> read_cloth(swatch_folder() / "silk-chiffon-ivory.toml").weave.name
    'plain'
    """
    source = Path(path)
    text = read_text(source, MAX_BYTES, "cloth file")
    return cloth_from_toml(text, file=str(path), folder=source.parent)


def cloth_from_toml(text: str, *, file: str = "cloth", folder: Path | None = None) -> Cloth:
    """The cloth described by TOML ``text``; ``file`` is its name for messages.

    ``folder`` is where a ``spectrum_file`` may stand; without it none is read.

    Examples
    --------
    >>> cloth_from_toml(cloth_to_toml(organza)).name == organza.name
    True
    """
    if len(text) > MAX_BYTES:
        raise InputError("more than 1 MB; that is no cloth file", file=file)
    return cloth_from_dict(toml_table(text, "cloth file", file=file), file=file, folder=folder)


def cloth_from_dict(
    data: Mapping[str, Any], *, file: str = "cloth", folder: Path | None = None
) -> Cloth:
    """The cloth described by ``data``, laid out as in a cloth file; see :func:`read_cloth`.

    Parameters
    ----------
    data : mapping
        The file's tables.
    file : str
        What complaints call it.
    folder : Path, optional
        Where spectra named in it lie; none may be named without.

    Examples
    --------
    >>> yarn = {'fibre': 'silk', 'count': '21 denier', 'kind': 'filament', 'colour': '#b01020'}
    >>> cloth = {'name': 'Own', 'weave': 'plain', 'ends': '40 /cm', 'picks': '38 /cm'}
    >>> cloth_from_dict({**cloth, 'warp': yarn, 'weft': yarn}).ends_per_cm
    40.0
    """
    top = fit(data, ClothTold, file, read=_READ, examples=_EXAMPLES)
    with inside(file=file):
        try:
            return _cloth(top, _THICKER, folder)
        except InputError:
            if top.weight is None or top.warp.count or top.weft.count:
                raise
        # what was supposed may leave no room where one yarn both ways does
        return _cloth(top, 0.0, folder)


def _untold(top: ClothTold) -> InputError:
    """That ends or picks are to be told."""
    name = "ends" if top.ends is None else "picks"
    return InputError(f"is missing; write {_EXAMPLES[name]}", field=name)


def _cloth(
    top: ClothTold, thicker: float, folder: Path | None, crimps: tuple[float, float] | None = None
) -> Cloth:
    """The cloth in the fields; ``thicker`` as :data:`_THICKER`, where no count is told. What is
    from the weight goes by ``crimps``; where they are not given, by those that the cloth then has.
    """
    remarks = top.remarks.splitlines()
    sources = tuple(top.source.items())
    known: dict[str, HowKnown] = {}
    if top.known is None:
        remarks, known = known_of_texts(remarks, sources)
    with inside("weave"):
        plan = weave(top.weave)
    crimped = crimps or (_USUAL_CRIMP, _USUAL_CRIMP)
    setts = _setts(top, plan, crimped, known)
    sizes = _sizes(top, setts, thicker, known, crimped)
    yarns = {}
    for system, told in (("warp", top.warp), ("weft", top.weft)):
        if told.section is None and "foretold" in (top.known or {}):
            told = structs.replace(told, section=_FITTED_AS)
        with inside(system, _FIELD_OF):
            yarns[system] = _yarn(told, system, sizes[system], folder, remarks, known)
    known |= _known(top.known or {})
    cloth = Cloth(
        name=top.name,
        warp=yarns["warp"],
        weft=yarns["weft"],
        weave=plan,
        ends_per_cm=setts["warp"].usual,
        picks_per_cm=setts["weft"].usual,
        warp_share=value_of(top.warp_share),
        notes=top.notes,
        declared_g_m2=value_of(top.weight),
        sources=sources,
        known=tuple(known.items()),
    )
    try:
        cloth = construction.pressed(cloth)
        construction.check_weavable(cloth)
    except InputError:
        if top.ends and top.picks:
            raise
        raise _untold(top) from None  # what is usual cannot be woven of such yarn
    cloth = _with_crimp(cloth, value_of(top.warp.crimp), value_of(top.weft.crimp))
    all_told = top.warp.count and top.weft.count and top.ends and top.picks
    if crimps is None and top.weight is not None and not all_told:
        return _cloth(top, thicker, folder, (cloth.warp_crimp, cloth.weft_crimp))
    return replace(cloth, remarks=tuple(dict.fromkeys(remarks)))


def cloth_to_toml(cloth: Cloth) -> str:
    """``cloth`` as TOML text that :func:`read_cloth` turns back into the same cloth.

    Colours are written as spectra, whatever they were read from, and to the last digit: what is
    read again compares equal, but for the name of a weave drawn by rows, and a ``warp_share`` of
    None, which is written as it will be woven. Raises InputError for a
    fibre that is not as the table has it: a file holds its name alone.

    Examples
    --------
    >>> print(cloth_to_toml(organza).splitlines()[2])
    ends = "40.0 /cm"
    """
    lines = [
        f"name = {_quoted(cloth.name)}",
        f"weave = {_weave_text(cloth.weave)}",
        f"ends = {_quoted(f'{float(cloth.ends_per_cm)!r} /cm')}",
        f"picks = {_quoted(f'{float(cloth.picks_per_cm)!r} /cm')}",
    ]
    if cloth.declared_g_m2 is not None:
        lines.append(f"weight = {_quoted(f'{float(cloth.declared_g_m2)!r} g/m2')}")
    lines.append(f"warp_share = {float(construction.geometry_of(cloth).warp_share)!r}")
    if cloth.notes:
        lines.append(f"notes = {_quoted(cloth.notes)}")
    if cloth.remarks:
        lines.append(f"remarks = {_quoted(chr(10).join(cloth.remarks))}")
    for name, yarn, crimp in (
        ("warp", cloth.warp, cloth.warp_crimp),
        ("weft", cloth.weft, cloth.weft_crimp),
    ):
        if FIBRES.get(yarn.fibre.name) != yarn.fibre:
            raise InputError(
                f"{yarn.fibre.name!r} of these indices and density is not in the table of fibres, "
                "which is all that a cloth file can name",
                field=f"{name}.fibre",
            )
        lines += [
            "",
            f"[{name}]",
            f"fibre = {_quoted(yarn.fibre.name)}",
            f"count = {_quoted(f'{float(yarn.tex)!r} tex')}",
            f"kind = {_quoted(yarn.kind)}",
            f"crimp = {float(crimp)!r}",
            f"filaments = {yarn.filaments}",
            f"gum = {str(yarn.gum).lower()}",
            f"twist = {_quoted(f'{float(yarn.twist_turns_m)!r} /m')}",
            *(f"hand = {_quoted(yarn.hand)}" for _ in yarn.hand),
            *(f"{key} = {float(getattr(yarn, key))!r}" for key in _WRITTEN),
            "",
            f"[{name}.colour]",
        ]
        if yarn.colour_name:
            lines.append(f"name = {_quoted(yarn.colour_name)}")
        lines.append(f"wavelengths = {[int(nm) for nm in WAVELENGTHS]}")
        lines.append(f"reflectance = {[float(value) for value in yarn.colour]}")
        lines.append('unit = "fraction"')
        if yarn.absorption is not None:
            lines.append(f"absorption = {[float(value) for value in yarn.absorption]}")
    if cloth.sources:
        lines += ["", "[source]"]
        lines += [f"{_quoted(key)} = {_quoted(text)}" for key, text in cloth.sources]
    # what was assumed stays so, though it is written out in full above; and words are not asked
    if cloth.known or cloth.sources or cloth.remarks:
        lines += ["", "[known]"]
        lines += [f"{_quoted(name)} = {_known_text(how)}" for name, how in cloth.known]
    return "\n".join(lines) + "\n"


def swatch_folder() -> Path:
    """The folder of the swatches that come with the tool, installed or in a checkout.

    Examples
    --------
    >>> swatch_folder().is_dir()
    True
    """
    here = Path(__file__).resolve().parents[1]
    for folder in (here / "swatches", here.parent / "swatches"):
        if any(folder.glob("*.toml")):
            return folder
    raise InputError("the swatches that come with weavecolor are missing; install it again")


def swatch_names() -> tuple[str, ...]:
    """Names of the swatches that come with the tool, in alphabetical order.

    Examples
    --------
    >>> "shot-organza-red-black" in swatch_names()
    True
    """
    return tuple(sorted(path.stem for path in swatch_folder().glob("*.toml")))


def swatch_called(name: str) -> str:
    """The swatch that ``name`` is, with blanks or capitals, or by the cloth's own name as answers
    tell it, or "".

    Examples
    --------
    >>> swatch_called("Silk satin gold"), swatch_called("Silk satin, gold"), swatch_called("silk")
    ('silk-satin-gold', 'silk-satin-gold', '')
    """
    tidy = tidy_name(name)
    return tidy if tidy in swatch_names() else _by_own_name().get(tidy, "")


def tidy_name(name: str) -> str:
    """A cloth's name in one way of writing, by which it is looked for.

    Examples
    --------
    >>> tidy_name("Silk satin, gold")
    'silk-satin-gold'
    """
    return "-".join(name.casefold().replace(",", " ").split())


@lru_cache(maxsize=1)
def _by_own_name() -> Mapping[str, str]:
    return {tidy_name(load_swatch(name).name): name for name in swatch_names()}


@lru_cache(maxsize=64)
def load_swatch(name: str) -> Cloth:
    """The swatch called ``name``. Raises InputError listing the swatches there are.

    Examples
    --------
    >>> load_swatch("shot-organza-red-black").ends_per_cm
    40.0
    """
    names = swatch_names()
    if name not in names:
        raise InputError(f"{str(name)[:60]!r} is not a swatch; there are {', '.join(names)}")
    return read_cloth(swatch_folder() / f"{name}.toml")


#: Crimp from which the search for a count begins (common practice, no source).
_USUAL_CRIMP = 0.06
#: The weight tells the sum of the yarns only. Cloth set nearly alike, within this ratio, has the
#: same yarn both ways; of cloth set more unlike, the system of fewer threads has the thicker ones,
#: as in taffeta, dupion, satin and repp, by this power of what is beyond; but poplin has the same,
#: and a slubbed weft is thicker still (common practice, no source).
_SET_ALIKE, _THICKER = 1.25, 0.9
#: The logarithm of one count to the other is off by this nine times in ten, and by as much again
#: for each e-fold between the setts.
_SPLIT_OFF, _SPLIT_MORE = 0.22, 0.7


#: How far setts may be off that were worked out from the weight and both counts: the weight by its
#: own, and how ends and picks share it (common practice, no source).
_SETT_OFF = 0.2


def _setts(
    top: ClothTold, plan: Weave, crimps: tuple[float, float], known: dict[str, HowKnown]
) -> dict[str, Span]:
    """Ends and picks per cm with their ranges: as told, or as usual for the cloth that both yarns
    are ``like``, which are then assumed; nearer where a weight and both counts tell their sum."""
    told = {"warp": top.ends, "weft": top.picks}
    given = {name: Span(x.value, x.value, x.value) for name, x in told.items() if x is not None}
    if len(given) == 2:
        return given
    likes = [yarn.like.told if yarn.like else "" for yarn in (top.warp, top.weft)]
    usual = usual_setts(likes[0], plan.name)
    if usual is None or usual_setts(likes[1], plan.name) != usual:
        raise _untold(top)
    setts, why = dict(zip(told, usual, strict=True)) | given, f"as usual for {likes[0]}"
    if top.weight and top.warp.count and top.weft.count:
        sizes = (top.warp.count.value[0], top.weft.count.value[0])
        mass = {
            name: setts[name].usual * tex * (1.0 + crimp) / 10.0
            for name, tex, crimp in zip(told, sizes, crimps, strict=True)
        }
        free = sum(mass[name] for name in told if name not in given)
        factor = (top.weight.value - sum(mass.values()) + free) / free
        for name in told:
            one = setts[name]
            if name not in given and one.low <= one.usual * factor <= one.high:
                sett = one.usual * factor
                setts[name] = Span(sett, sett * (1.0 - _SETT_OFF), sett * (1.0 + _SETT_OFF))
                why = f"as usual for {likes[0]} and from the weight and the counts"
    for name, key in (("warp", "ends"), ("weft", "picks")):
        if name not in given:
            known[key] = HowKnown.assumed(setts[name].low, setts[name].high, why)
    return setts


def _sizes(
    top: ClothTold, setts: Mapping[str, Span], thicker: float, known: dict[str, HowKnown],
    crimps: tuple[float, float],
) -> dict[str, tuple[float, int | None]]:
    """Linear density, tex, and number of filaments if told, of each system's yarn.

    A count that nobody gave is worked out from the weight and the setts, shared as is usual of such
    setts where both are missing, or is the usual one of the cloth the yarn is ``like``; either is
    assumed, with its range.
    """
    systems = {"warp": top.warp, "weft": top.weft}
    sizes = {name: yarn.count.value for name, yarn in systems.items() if yarn.count}
    missing = [name for name in systems if name not in sizes]
    if not missing:
        return sizes
    if top.weight is not None:
        mass = top.weight.value
        sett = {name: span.usual for name, span in setts.items()}
        longer = dict(zip(systems, crimps, strict=True))
        per_tex = {name: sett[name] * (1.0 + longer[name]) / 10.0 for name in systems}
        rest = mass - sum(per_tex[name] * tex for name, (tex, _) in sizes.items())
        if rest < 0.1 * mass * sum(per_tex[name] for name in missing) / sum(per_tex.values()):
            raise InputError(
                "is missing, and the other yarn alone makes nearly the stated weight; give it",
                field=f"{missing[0]}.count",
            )
        unlike = math.log(sett["warp"] / sett["weft"]) if len(missing) == 2 else 0.0
        beyond = math.copysign(max(0.0, abs(unlike) - math.log(_SET_ALIKE)), unlike)
        off = (_SPLIT_OFF + _SPLIT_MORE * abs(unlike)) * (len(missing) == 2)

        def share(name: str, ratio: float) -> float:
            """Tex, where the weft's is the warp's times the exponential of ``ratio``."""
            thick = {"warp": 1.0, "weft": math.exp(ratio)}
            return rest * thick[name] / sum(per_tex[x] * thick[x] for x in missing)

        heavier = COUNT_OFF * mass / rest
        closest, openest = (  # as much more and less as setts that were only supposed
            sum(getattr(span, end) for span in setts.values()) / sum(sett.values())
            for end in ("high", "low")
        )
        lighter = 1.0 - math.hypot(heavier, 1.0 - 1.0 / closest)
        heavier = math.hypot(heavier, 1.0 / openest - 1.0)
        spans = {
            name: sorted(share(name, thicker * beyond + x) for x in (-off, 0.0, off))
            for name in missing
        }
        if not beyond:  # one yarn has one range
            lows, middles, highs = zip(*spans.values(), strict=True)
            spans = dict.fromkeys(missing, [min(lows), middles[0], max(highs)])
        for name, (low, tex, high) in spans.items():
            sizes[name] = tex, None
            known[f"{name}.count"] = HowKnown.assumed(
                low * max(0.1, lighter), high * (1.0 + heavier),
                "from the weight and the setts",
            )  # fmt: skip
        return sizes
    for name in missing:
        sort = value_of(systems[name].like)
        if sort is None or sort.tex is None:
            usual = ", ".join(key for key, x in USUAL.items() if x.tex is not None)
            raise InputError(
                'is missing; write for example "21 denier", or give the cloth\'s weight, from '
                f"which it is worked out, or say what the yarn is like: {usual}",
                field=f"{name}.count",
            )
        sizes[name] = sort.tex.usual, None
        known[f"{name}.count"] = _usual(sort.tex, sort.name)
    return sizes


def _usual(span: Span, sort: str) -> HowKnown:
    return HowKnown.assumed(span.low, span.high, f"as usual for {sort} yarn")


def _yarn(
    told: YarnTold,
    system: str,
    size: tuple[float, int | None],
    folder: Path | None,
    remarks: list[str],
    known: dict[str, HowKnown],
) -> Yarn:
    like = value_of(told.like)
    made_of = value_of(told.fibre) or (fibre(like.fibre) if like else None)
    if made_of is None:
        raise InputError(f"is missing; write {_OF_YARN['fibre']}", field="fibre")
    kind = _kind(told, made_of.name, size[1] is not None)
    sort = like or usual_yarn(made_of.name, kind)
    if like and (sort.fibre, sort.kind) != (made_of.name, kind):
        raise InputError(
            f"{sort.name!r} is {sort.kind} {sort.fibre}, the yarn {kind} {made_of.name}",
            field="like",
        )
    tex, many = size
    if told.count:
        with inside("count"):
            units.check_hank(told.count.told, made_of.name)
    if told.like is not None:
        remarks += filter(None, [named_so(told.like.told)])
    filaments = _filaments(told, tex, many)
    gum = value_of(told.gum)
    if gum and not sort.gum and like is None and made_of.name == "silk":
        sort = USUAL["silk organza"]
    usually = sort.name or f"{made_of.name} {kind}"

    def suppose(key: str, span: Span) -> None:
        known[f"{system}.{key}"] = _usual(span, usually)

    def usual(key: str, span: Span, most: float = math.inf) -> float:
        """The number of a field, or what is usual, which is then assumed with its range."""
        if (given := getattr(told, key)) is not None:
            return float(given.value)
        suppose(key, span.at_most(most))
        return span.at_most(most).usual

    if filaments is None:
        filaments = sort.filaments(tex)
        range_of = sort.filaments_span(tex, filaments)
        packing = value_of(told.packing) or 0.0
        if packing > greatest_packing(filaments) and not (gum or sort.gum) and packing >= 0.85:
            filaments, range_of = 1, Span(1, 1, 1)  # only one solid filament is so close
        suppose("filaments", range_of)
    if gum is None:
        gum = sort.gum
        if made_of.name == "silk" and kind == "filament":
            suppose("gum", Span(gum, 0.0, 1.0))
    most = 1.0 if gum else greatest_packing(filaments)
    packing = usual("packing", sort.packing if filaments > 1 or gum else ROD, most)
    flattening = usual("flattening", sort.flattening)
    hand = value_of(told.hand) or ""
    if told.twist is not None:
        twist, own = told.twist.value
        if hand and own and hand != own:
            raise InputError(f"{hand} contradicts a twist of {own}", field="hand")
        hand = hand or own
    else:
        turns = sort.twist(tex)
        twist = float(f"{turns.usual:.3g}")
        if filaments > 1 and not gum:
            suppose("twist", turns)
    dull = _dull(told, sort)
    if told.dull_per_mm is None and (told.lustre is None or dull.usual > 0.0):
        suppose("dull_per_mm", dull)
    section = value_of(told.section) or usual_section(
        made_of.name, kind, dull.usual, 1 if gum else filaments
    )
    if told.section is None and section.low < section.high:
        suppose("section", section)
    elif section.low < section.high:
        how = HowKnown.assumed(section.low, section.high, "as the word has it")
        known[f"{system}.section"] = how
    if unused := [key for key in _OLD if getattr(told, key) is not None]:
        remarks.append(
            f"{system}: {', '.join(unused)} no longer used; "
            "they follow from filaments, gum and lustre"
        )
    with inside("colour"):
        colour, absorption, name = _colour(told.colour, system, folder, remarks, known)
    return Yarn(
        fibre=made_of,
        tex=tex,
        colour=colour,
        absorption=absorption,
        kind=kind,
        colour_name=name,
        packing=packing,
        flattening=flattening,
        filaments=filaments,
        gum=gum,
        twist_turns_m=twist,
        dull_per_mm=dull.usual,
        section=section.usual,
        hand=hand,
    )


def _kind(told: YarnTold, fibre_name: str, counted: bool) -> str:
    """Filament or spun: as told, or as what else is told leaves no choice."""
    if told.kind:
        return "filament" if told.kind.value == _ONE else told.kind.value
    if told.like:
        return told.like.value.kind
    if counted or told.dtex_per_filament is not None:
        return "filament"
    if usual_yarn(fibre_name).kind == "spun":  # cotton, flax and wool
        return "spun"
    raise InputError(f"is missing; write {_OF_YARN['kind']}", field="kind")


def _filaments(told: YarnTold, tex: float, counted: int | None) -> int | None:
    """The number of filaments, told in one of three ways, or None."""
    number, fineness = value_of(told.filaments), value_of(told.dtex_per_filament)
    one = 1 if value_of(told.kind) == _ONE else None
    ways = {"count": counted, "filaments": number, "dtex_per_filament": fineness, "kind": one}
    given = [key for key, value in ways.items() if value is not None]
    if len(given) > 1:
        raise InputError(
            "tell the number of filaments once: in the count, as filaments or by dtex_per_filament",
            field=given[-1],
        )
    if number is not None and number != int(number):
        raise InputError(f"must be a whole number, got {number:g}", field="filaments")
    if fineness is not None:
        return filaments_of(tex, fineness)
    return next((int(ways[key] or 0) for key in given), None)


def _dull(told: YarnTold, sort: UsualYarn) -> Span:
    """Scattering inside the fibre, 1/mm, from its number or its word."""
    if told.dull_per_mm is None:
        return LUSTRES[value_of(told.lustre) or sort.lustre]
    if told.lustre:
        raise InputError("give lustre or dull_per_mm, not both", field="lustre")
    return Span(*[told.dull_per_mm.value] * 3)


def _colour(
    told: ColourTold | str,
    system: str,
    folder: Path | None,
    remarks: list[str],
    known: dict[str, HowKnown],
) -> tuple[Spectrum, Spectrum | None, str]:
    """Spectrum, absorption and name of a yarn's colour; a recovered one counts as assumed."""
    colour = ColourTold(srgb=told) if isinstance(told, str) else told
    given = [key for key in colour.__struct_fields__[1:] if getattr(colour, key) is not None]
    ways = [key for key in _COLOUR_WAYS if key in given]
    if ways not in (["wavelengths", "reflectance"], ["lab"], ["srgb"], ["spectrum_file"]):
        raise InputError(
            f"give the colour one way, got {' and '.join(ways) or 'none'}: wavelengths with "
            "reflectance, lab, srgb or spectrum_file"
        )
    for key in given:
        if key not in (*ways, *_COLOUR_WAYS[ways[-1]]):
            owner = next(way for way, beside in _COLOUR_WAYS.items() if key in beside)
            raise InputError(f"belongs to {owner}, and says nothing of {ways[-1]}", field=key)
    unit, found = value_of(colour.unit) or "auto", None
    if colour.spectrum_file is not None:
        found = _from_spectrum_file(colour.spectrum_file, colour.spectrum, unit, folder)
    if colour.wavelengths is not None and colour.reflectance is not None:
        found = resample(colour.wavelengths, colour.reflectance, unit=unit, field="reflectance")
    if found is not None:
        remarks.extend(f"{system} colour: {note}" for note in found.notes)
        return found.values, _absorption(colour), colour.name
    # Recovery loads the colour library: only when a file needs it.
    from weavecolor.colour.colorimetry import (
        daylight_white,
        lab_from_xyz,
        spectrum_from_lab,
        spectrum_from_srgb,
    )
    from weavecolor.colour.screen import decoded, space

    low = high = None
    beware = "many dyes look so in daylight, and they differ in other light"
    with inside("" if isinstance(told, str) else ways[0]):
        if colour.lab is None:
            said, source = colour.srgb or "", "a screen colour"
            one_line(said, "", 40)
            rgb = screen_rgb(said)
            if is_colour_name(said):
                seen = space("sRGB").to_xyz @ decoded(rgb) * 100.0
                lightness = float(lab_from_xyz(seen, daylight_white("2"))[0])
                low, high = max(0.0, lightness - NAMED_OFF), min(100.0, lightness + NAMED_OFF)
                source = f"its name ({said}, on a screen {screen_code(rgb)})"
                beware = f"cloths of one name differ, {beware}"
            spectrum = spectrum_from_srgb(rgb)
        else:
            if not (0.0 <= colour.lab[0] <= 100.0 and max(map(abs, colour.lab[1:])) <= 150.0):
                raise InputError("L lies within 0-100, a and b within -150 and 150")
            supposed = "" if colour.illuminant else ", supposed to be by daylight (D65)"
            source = f"a colour in Lab{supposed}"
            by = value_of(colour.illuminant) or "D65", value_of(colour.observer) or "2"
            spectrum = spectrum_from_lab(colour.lab, *by)
    known[f"{system}.colour"] = HowKnown.assumed(low, high, f"taken from {source}: {beware}")
    return spectrum, None, colour.name


def _absorption(colour: ColourTold) -> Spectrum | None:
    """Absorption inside the fibre, 1/mm, where the file gives it."""
    if colour.absorption is None or colour.wavelengths is None:
        return None
    most = max(colour.absorption, default=0.0)
    if most <= 0.0:
        if any(value < 0.0 for value in colour.absorption):
            raise InputError("absorption is zero or more", field="absorption")
        most = 1.0
    most = math.ldexp(1.0, math.frexp(most)[1])  # a power of two: no digit is lost
    parts = [value / most for value in colour.absorption]
    shares = resample(colour.wavelengths, parts, unit="fraction", field="absorption")
    return frozen(shares.values * most)


def _from_spectrum_file(
    wanted: str, name: str | None, unit: str, folder: Path | None
) -> Resampled:
    with inside("spectrum_file"):
        one_line(wanted, "", 120)
        if folder is None:
            raise InputError("a spectrum file is read only beside a cloth file")
        if not re.fullmatch(r"[\w][\w .()+-]*", wanted) or wanted != Path(wanted).name:
            raise InputError(f"{wanted!r} must be the plain name of a file in the same folder")
        path = folder / wanted
        if path.exists() and path.resolve().parent != folder.resolve():
            raise InputError(f"{wanted!r} leads out of the folder")
        spectra = read_spectra(path, unit)
    choices = ", ".join(list(spectra)[:12])
    if name is None and len(spectra) > 1:
        raise InputError(f"is missing; {wanted} has {choices}", field="spectrum")
    name = next(iter(spectra)) if name is None else name
    if name not in spectra:
        raise InputError(
            f"{name[:100]!r} is not in {wanted}, which has {choices}", field="spectrum"
        )
    return spectra[name]


def _with_crimp(cloth: Cloth, warp_crimp: float | None, weft_crimp: float | None) -> Cloth:
    """``cloth`` with its crimps, given or from Peirce's geometry, and the share they go with."""
    low, high = construction.share_range(cloth)
    share = cloth.warp_share
    if share is None and warp_crimp is not None and weft_crimp is not None:
        share = construction.share_from_crimps(cloth, warp_crimp, weft_crimp)
    elif share is None and warp_crimp is not None:
        share = construction.share_from_crimp(cloth, "warp", warp_crimp)
    elif share is None and weft_crimp is not None:
        share = construction.share_from_crimp(cloth, "weft", weft_crimp)
    if share is None:
        share = construction.natural_share(cloth)
    cloth = replace(cloth, warp_share=min(max(share, low), high))
    warp, weft = construction.predicted_crimps(cloth)
    return replace(
        cloth,
        warp_crimp=warp if warp_crimp is None else warp_crimp,
        weft_crimp=weft if weft_crimp is None else weft_crimp,
    )


def _known(told: Mapping[str, Any]) -> dict[str, HowKnown]:
    """How numbers are known, as the file tells."""
    made = {}
    for name, table in told.items():
        if name not in NUMBERS:
            raise not_known(name, NUMBERS, table, "known")
        one = fit(table, HowTold, "", f"known.{name}", read=_READ)
        with inside(f"known.{name}"):
            for other, share in one.together.items():
                within(f"together.{other[:60]}", share, -1.0, 1.0)
            together = tuple((other, float(share)) for other, share in one.together.items())
            made[name] = HowKnown(
                one.how.value, one.spread, one.low, one.high, one.source, together, one.root
            )
    return made


def _known_text(how: HowKnown) -> str:
    parts = [f"how = {_quoted(how.way)}"]
    for key in ("spread", "low", "high"):
        if (value := getattr(how, key)) is not None:
            parts.append(f"{key} = {float(value)!r}")
    if how.source:
        parts.append(f"source = {_quoted(how.source)}")
    if how.together:
        told = ", ".join(f"{_quoted(other)} = {float(v)!r}" for other, v in how.together)
        parts.append(f"together = {{ {told} }}")
    if how.root:
        parts.append(f"root = {list(how.root)}")
    return f"{{ {', '.join(parts)} }}"


def _weave_text(plan: Weave) -> str:
    try:
        if weave(plan.name).lift == plan.lift:
            return _quoted(plan.name)
    except InputError:
        pass
    return json.dumps(["".join(".X"[up] for up in row) for row in plan.lift])


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are TOML's, but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
