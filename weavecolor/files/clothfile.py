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
    twist = "400 /m"
    packing = 0.85                # share of the section that is fibre
    flattening = 1.1              # width over height of the section
    lustre = "bright"             # or "semi-dull", "dull"; or dull_per_mm = 4.0
    like = "silk organza"         # where what is not given is taken from; see textile/usual.py
    colour = { name = "red", srgb = "#b01020" }

    [weft]
    ...

Of a yarn only fibre, count, kind and colour must be told; fibre and kind are those of what the yarn
is ``like``, a sort or what shops call such cloth (textile/shopnames.py), and a count that is not
known is worked out from the weight and the setts, or is the usual one of what it is ``like``. The
rest is assumed as usual for the fibre, with its range. Of a spun yarn, ``filaments`` are the staple
fibres in its section. ``dull_per_mm`` is scattering inside the fibre.

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
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from weavecolor.colour.screencolour import NAMED_OFF, is_colour_name, screen_code, screen_rgb
from weavecolor.colour.spectra import UNITS, WAVELENGTHS, Spectrum, frozen, resample
from weavecolor.errors import InputError, within
from weavecolor.files.earlierknown import known_of_texts
from weavecolor.files.fields import Fields
from weavecolor.files.spectrafile import read_spectra
from weavecolor.files.textfile import read_text, toml_table
from weavecolor.textile import construction, units
from weavecolor.textile.cloth import MOST_CRIMP, Cloth, Weave
from weavecolor.textile.fibres import FIBRES, fibre
from weavecolor.textile.howknown import NUMBERS, WAYS, HowKnown
from weavecolor.textile.shopnames import sort_called
from weavecolor.textile.usual import (
    COUNT_OFF,
    KINDS,
    LUSTRES,
    ROD,
    USUAL,
    Span,
    UsualYarn,
    usual_yarn,
)
from weavecolor.textile.weaves import weave
from weavecolor.textile.yarn import (
    FINENESS_DTEX,
    RANGES,
    Yarn,
    filaments_of,
    greatest_packing,
)

MAX_BYTES = 1_000_000
#: Read from older files, checked and left alone: they follow from the filaments now.
_OLD_RANGES: Mapping[str, tuple[float, float]] = {
    "lustre_deg": (0.5, 60.0),
    "scattering_m2_g": (0.0, math.inf),
    "sheen": (0.0, 1.0),
}
_CLOTH_KEYS = (
    "name", "weave", "ends", "picks", "weight", "warp_share", "notes", "remarks", "warp", "weft",
    "source", "known",
)  # fmt: skip
_YARN_KEYS = (
    "fibre", "count", "kind", "like", "filaments", "dtex_per_filament", "gum", "twist", "packing",
    "flattening", "lustre", "dull_per_mm", "crimp", "colour", *_OLD_RANGES,
)  # fmt: skip
#: What a field of the file is called in the yarn.
_FIELD_OF = {"tex": "count", "dtex per filament": "filaments", "twist_turns_m": "twist"}
_GUM_WORDS = {"in gum": True, "in the gum": True, "boiled off": False, "degummed": False}
_COLOUR_KEYS = (
    "name", "wavelengths", "reflectance", "absorption", "unit", "lab", "illuminant", "observer",
    "srgb", "spectrum_file", "spectrum",
)  # fmt: skip
#: What to write where a field is missing.
_EXAMPLES = {
    "name": 'for example name = "Shot organza"',
    "weave": 'for example weave = "plain"',
    "ends": 'how many ends there are, for example ends = "40 /cm" or "100 /inch"',
    "picks": 'how many picks there are, for example picks = "38 /cm" or "96 /inch"',
    "warp": "a table [warp] with the fibre, count, kind and colour of its yarn",
    "weft": "a table [weft] with the fibre, count, kind and colour of its yarn",
    "fibre": 'for example fibre = "silk", or what the yarn is like: like = "silk organza"',
    "kind": 'kind = "filament" or "spun", or what the yarn is like: like = "silk organza"',
    "colour": 'for example colour = "navy" or "#b01020"',
}
_WRITTEN = ("packing", "flattening", "dull_per_mm")
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
    top = Fields(data, file, examples=_EXAMPLES)
    top.only(_CLOTH_KEYS)
    try:
        systems = {name: top.table(name) for name in ("warp", "weft")}
        try:
            return _cloth(top, systems, _THICKER, folder)
        except InputError:
            if "weight" not in top or any("count" in system for system in systems.values()):
                raise
        # what was supposed may leave no room where one yarn both ways does
        return _cloth(top, systems, 0.0, folder)
    except InputError as error:
        raise error.at(file=file) from None


def _cloth(
    top: Fields, systems: Mapping[str, Fields], thicker: float, folder: Path | None
) -> Cloth:
    """The cloth in the fields; ``thicker`` as :data:`_THICKER`, where no count is told."""
    remarks = top.text("remarks", 5000, default="", lines=True).splitlines()
    sources = _sources(top)
    known: dict[str, HowKnown] = {}
    if "known" not in top:
        remarks, known = known_of_texts(remarks, sources)
    sizes = _sizes(top, systems, thicker, known)
    warp, warp_crimp = _yarn(systems["warp"], "warp", sizes["warp"], folder, remarks, known)
    weft, weft_crimp = _yarn(systems["weft"], "weft", sizes["weft"], folder, remarks, known)
    known |= _known(top)
    cloth = Cloth(
        name=top.text("name", 200),
        warp=warp,
        weft=weft,
        weave=top.convert("weave", weave, (str, list)),
        ends_per_cm=top.convert("ends", units.sett_per_cm),
        picks_per_cm=top.convert("picks", units.sett_per_cm),
        warp_share=top.number("warp_share", 0.0, 1.0, default=None),
        notes=top.text("notes", 5000, default="", lines=True),
        declared_g_m2=top.convert("weight", units.areal_mass_g_m2, default=None),
        sources=sources,
        known=tuple(known.items()),
    )
    cloth = construction.pressed(cloth)
    construction.check_weavable(cloth)
    cloth = _with_crimp(cloth, warp_crimp, weft_crimp)
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


#: Crimp taken where a count is worked out from the weight (common practice, no source).
_USUAL_CRIMP = 0.06
#: The weight tells the sum of the yarns only. Cloth set nearly alike, within this ratio, has the
#: same yarn both ways; of cloth set more unlike, the system of fewer threads has the thicker ones,
#: as in taffeta, dupion, satin and repp, by this power of what is beyond; but poplin has the same,
#: and a slubbed weft is thicker still (common practice, no source).
_SET_ALIKE, _THICKER = 1.25, 0.9
#: The logarithm of one count to the other is off by this nine times in ten, and by as much again
#: for each e-fold between the setts.
_SPLIT_OFF, _SPLIT_MORE = 0.22, 0.7


def _sizes(
    top: Fields, systems: Mapping[str, Fields], thicker: float, known: dict[str, HowKnown]
) -> dict[str, tuple[float, int | None]]:
    """Linear density, tex, and number of filaments if told, of each system's yarn.

    A count that nobody gave is worked out from the weight and the setts, shared as is usual of such
    setts where both are missing, or is the usual one of the cloth the yarn is ``like``; either is
    assumed, with its range.
    """
    sizes = {
        name: fields.convert("count", units.yarn_size)
        for name, fields in systems.items()
        if "count" in fields
    }
    for name, (tex, _filaments) in sizes.items():
        within(systems[name].place("count"), tex, *RANGES["tex"])
    missing = [name for name in systems if name not in sizes]
    if not missing:
        return sizes
    if "weight" in top:
        mass = top.convert("weight", units.areal_mass_g_m2)
        sett = {
            "warp": top.convert("ends", units.sett_per_cm),
            "weft": top.convert("picks", units.sett_per_cm),
        }
        per_tex = {name: sett[name] * (1.0 + _USUAL_CRIMP) / 10.0 for name in systems}
        rest = mass - sum(per_tex[name] * tex for name, (tex, _) in sizes.items())
        if rest < 0.1 * mass * sum(per_tex[name] for name in missing) / sum(per_tex.values()):
            raise systems[missing[0]].refuse(
                "is missing, and the other yarn alone makes nearly the stated weight; give it",
                "count",
            )
        unlike = math.log(sett["warp"] / sett["weft"]) if len(missing) == 2 else 0.0
        beyond = math.copysign(max(0.0, abs(unlike) - math.log(_SET_ALIKE)), unlike)
        off = (_SPLIT_OFF + _SPLIT_MORE * abs(unlike)) * (len(missing) == 2)

        def share(name: str, ratio: float) -> float:
            """Tex, where the weft's is the warp's times the exponential of ``ratio``."""
            thick = {"warp": 1.0, "weft": math.exp(ratio)}
            return rest * thick[name] / sum(per_tex[x] * thick[x] for x in missing)

        heavier = COUNT_OFF * mass / rest
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
                low * max(0.1, 1.0 - heavier), high * (1.0 + heavier),
                "from the weight and the setts",
            )  # fmt: skip
        return sizes
    for name in missing:
        own = systems[name]
        sort = own.convert("like", sort_called) if "like" in own else None
        if sort is None or sort.tex is None:
            usual = ", ".join(key for key, x in USUAL.items() if x.tex is not None)
            raise systems[name].refuse(
                'is missing; write for example "21 denier", or give the cloth\'s weight, from '
                f"which it is worked out, or say what the yarn is like: {usual}",
                "count",
            )
        sizes[name] = sort.tex.usual, None
        known[f"{name}.count"] = _usual(sort.tex, sort.name)
    return sizes


def _usual(span: Span, sort: str) -> HowKnown:
    return HowKnown.assumed(span.low, span.high, f"as usual for {sort} yarn")


def _yarn(
    fields: Fields,
    system: str,
    size: tuple[float, int | None],
    folder: Path | None,
    remarks: list[str],
    known: dict[str, HowKnown],
) -> tuple[Yarn, float | None]:
    fields.only(_YARN_KEYS)
    like = fields.convert("like", sort_called) if "like" in fields else None
    named = like if "fibre" not in fields else None
    made_of = fibre(named.fibre) if named else fields.convert("fibre", fibre)
    kind = _kind(fields, like, made_of.name, size[1] is not None)
    sort = like or usual_yarn(made_of.name, kind)
    if like and (sort.fibre, sort.kind) != (made_of.name, kind):
        raise fields.refuse(
            f"{sort.name!r} is {sort.kind} {sort.fibre}, the yarn {kind} {made_of.name}", "like"
        )
    if "count" in fields:
        fields.convert("count", lambda text: units.check_hank(text, made_of.name))
    tex, told = size
    filaments = _filaments(fields, tex, told)
    gum = _gum(fields)
    if gum and not sort.gum and "like" not in fields and made_of.name == "silk":
        sort = USUAL["silk organza"]
    usually = sort.name or f"{made_of.name} {kind}"

    def suppose(key: str, span: Span) -> None:
        known[f"{system}.{key}"] = _usual(span, usually)

    def usual(key: str, span: Span, most: float = math.inf) -> float:
        """The number of a field, or what is usual, which is then assumed with its range."""
        if key in fields:
            return float(fields.number(key, *RANGES[key][:2], unit=RANGES[key][2]))
        suppose(key, span.at_most(most))
        return span.at_most(most).usual

    if filaments is None:
        filaments = sort.filaments(tex)
        range_of = sort.filaments_span(tex, filaments)
        packing = fields.number("packing", *RANGES["packing"][:2], default=0.0)
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
    if "twist" in fields:
        twist = fields.convert("twist", units.turns_per_m)
    else:
        turns = sort.twist(tex)
        twist = float(f"{turns.usual:.3g}")
        if filaments > 1 and not gum:
            suppose("twist", turns)
    dull = _dull(fields, sort)
    if "dull_per_mm" not in fields and ("lustre" not in fields or dull.usual > 0.0):
        suppose("dull_per_mm", dull)
    unused = [key for key in _OLD_RANGES if key in fields]
    for key in unused:
        fields.number(key, *_OLD_RANGES[key], infinite=key == "scattering_m2_g")
    if unused:
        remarks.append(
            f"{system}: {', '.join(unused)} no longer used; "
            "they follow from filaments, gum and lustre"
        )
    colour, absorption, name = _colour(fields, system, folder, remarks, known)
    try:
        yarn = Yarn(
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
        )
    except InputError as error:
        field = _FIELD_OF.get(error.field or "", error.field)
        raise fields.refuse(error.what, field) from None
    return yarn, fields.number("crimp", 0.0, MOST_CRIMP, default=None, percent=True)


def _kind(fields: Fields, like: UsualYarn | None, fibre_name: str, counted: bool) -> str:
    """Filament or spun: as told, or as what else is told leaves no choice."""
    if "kind" not in fields:
        if like:
            return like.kind
        if counted or "dtex_per_filament" in fields:
            return "filament"
        if (only := usual_yarn(fibre_name)).kind == "spun":  # cotton, flax and wool
            return only.kind
    return "filament" if _one(fields) else fields.choice("kind", KINDS)


def _one(fields: Fields) -> bool:
    """Whether the kind tells that there is one filament."""
    kind = fields.get("kind")
    return isinstance(kind, str) and kind.casefold() == "monofilament"


def _filaments(fields: Fields, tex: float, told: int | None) -> int | None:
    """The number of filaments, told in one of three ways, or None."""
    ways = [key for key in ("filaments", "dtex_per_filament") if key in fields]
    if _one(fields):
        ways.append("kind")
    if len(ways) + (told is not None) > 1:
        raise fields.refuse(
            "tell the number of filaments once: in the count, as filaments or by dtex_per_filament",
            ways[-1],
        )
    if told is not None:
        return told
    if ways == ["kind"]:
        return 1
    if ways == ["filaments"]:
        return int(fields.number("filaments", *RANGES["filaments"][:2], whole=True))
    if ways == ["dtex_per_filament"]:
        return filaments_of(tex, fields.number("dtex_per_filament", *FINENESS_DTEX, unit="dtex"))
    return None


def _gum(fields: Fields) -> bool | None:
    value = fields.get("gum")
    if value is None or isinstance(value, bool):
        return value
    word = value.strip().casefold() if isinstance(value, str) else ""
    if word not in _GUM_WORDS:
        raise fields.refuse('must be true, false, "in gum" or "boiled off"', "gum")
    return _GUM_WORDS[word]


def _dull(fields: Fields, sort: UsualYarn) -> Span:
    """Scattering inside the fibre, 1/mm, from its number or its word."""
    if "dull_per_mm" in fields:
        if "lustre" in fields:
            raise fields.refuse("give lustre or dull_per_mm, not both", "lustre")
        low, high, unit = RANGES["dull_per_mm"]
        given = float(fields.number("dull_per_mm", low, high, unit=unit))
        return Span(given, given, given)
    return LUSTRES[fields.choice("lustre", tuple(LUSTRES), default=sort.lustre)]


def _colour(
    fields: Fields,
    system: str,
    folder: Path | None,
    remarks: list[str],
    known: dict[str, HowKnown],
) -> tuple[Spectrum, Spectrum | None, str]:
    """Spectrum, absorption and name of a yarn's colour; a recovered one counts as assumed."""
    named = isinstance(fields.get("colour"), str)
    if named:
        fields = Fields({"srgb": fields.get("colour")}, fields.file, fields.place("colour"))
    else:
        fields = fields.table("colour")
    fields.only(_COLOUR_KEYS)
    name = fields.text("name", 80, default="")
    ways = [key for key in _COLOUR_WAYS if key in fields]
    if ways not in (["wavelengths", "reflectance"], ["lab"], ["srgb"], ["spectrum_file"]):
        raise fields.refuse(
            f"give the colour one way, got {' and '.join(ways) or 'none'}: wavelengths with "
            "reflectance, lab, srgb or spectrum_file"
        )
    for key in fields:
        if key not in ("name", *ways, *_COLOUR_WAYS[ways[-1]]):
            owner = next(way for way, beside in _COLOUR_WAYS.items() if key in beside)
            raise fields.refuse(f"belongs to {owner}, and says nothing of {ways[-1]}", key)
    if ways == ["spectrum_file"]:
        return _from_spectrum_file(fields, folder, system, remarks), None, name
    if ways == ["wavelengths", "reflectance"]:
        found = resample(
            fields.numbers("wavelengths"),
            fields.numbers("reflectance"),
            unit=fields.choice("unit", UNITS, default="auto"),
            file=fields.file,
            field=fields.place("reflectance"),
        )
        remarks.extend(f"{system} colour: {note}" for note in found.notes)
        return found.values, _absorption(fields), name
    # Recovery loads the colour library: only when a file needs it.
    from weavecolor.colour.colorimetry import (
        daylight_white,
        lab_from_xyz,
        spectrum_from_lab,
        spectrum_from_srgb,
    )
    from weavecolor.colour.screen import decoded, space

    told = "a screen colour" if ways == ["srgb"] else "a colour in Lab"
    if ways == ["lab"] and "illuminant" not in fields:
        told += ", supposed to be by daylight (D65)"
    low = high = None
    beware = "many dyes look so in daylight, and they differ in other light"
    try:
        if ways == ["srgb"]:
            said = fields.text("srgb", 40)
            rgb = screen_rgb(said)
            if is_colour_name(said):
                seen = space("sRGB").to_xyz @ decoded(rgb) * 100.0
                lightness = float(lab_from_xyz(seen, daylight_white("2"))[0])
                low, high = max(0.0, lightness - NAMED_OFF), min(100.0, lightness + NAMED_OFF)
                told = f"its name ({said}, on a screen {screen_code(rgb)})"
                beware = f"cloths of one name differ, {beware}"
        source = f"taken from {told}: {beware}"
        known[f"{system}.colour"] = HowKnown.assumed(low, high, source)
        if ways == ["srgb"]:
            return spectrum_from_srgb(rgb), None, name
        lab = fields.numbers("lab", exactly=3)
        if not (0.0 <= lab[0] <= 100.0 and max(abs(lab[1]), abs(lab[2])) <= 150.0):
            raise InputError("L lies within 0-100, a and b within -150 and 150")
        illuminant = fields.choice("illuminant", ("D65", "D50"), default="D65")
        observer = fields.choice("observer", ("2", "10"), default="2")
        return spectrum_from_lab(lab, illuminant, observer), None, name
    except InputError as error:
        field = fields.prefix if named else fields.place(ways[0])
        raise error.at(file=fields.file, field=field) from None


def _absorption(fields: Fields) -> Spectrum | None:
    """Absorption inside the fibre, 1/mm, where the file gives it."""
    if "absorption" not in fields:
        return None
    values = fields.numbers("absorption")
    most = max(values, default=0.0)
    if most <= 0.0:
        if any(value < 0.0 for value in values):
            raise fields.refuse("absorption is zero or more", "absorption")
        most = 1.0
    most = math.ldexp(1.0, math.frexp(most)[1])  # a power of two: no digit is lost
    shares = resample(
        fields.numbers("wavelengths"),
        [value / most for value in values],
        unit="fraction",
        file=fields.file,
        field=fields.place("absorption"),
    )
    return frozen(shares.values * most)


def _from_spectrum_file(
    fields: Fields, folder: Path | None, system: str, remarks: list[str]
) -> Spectrum:
    wanted = fields.text("spectrum_file", 120)
    if folder is None:
        raise fields.refuse("a spectrum file is read only beside a cloth file", "spectrum_file")
    if not re.fullmatch(r"[\w][\w .()+-]*", wanted) or wanted != Path(wanted).name:
        raise fields.refuse(
            f"{wanted!r} must be the plain name of a file in the same folder", "spectrum_file"
        )
    path = folder / wanted
    if path.exists() and path.resolve().parent != folder.resolve():
        raise fields.refuse(f"{wanted!r} leads out of the folder", "spectrum_file")
    spectra = read_spectra(path, fields.choice("unit", UNITS, default="auto"))
    choices = ", ".join(list(spectra)[:12])
    if "spectrum" not in fields and len(spectra) > 1:
        raise fields.refuse(f"is missing; {wanted} has {choices}", "spectrum")
    name = fields.text("spectrum", 100, default=next(iter(spectra)))
    if name not in spectra:
        raise fields.refuse(f"{name!r} is not in {wanted}, which has {choices}", "spectrum")
    remarks.extend(f"{system} colour: {note}" for note in spectra[name].notes)
    return spectra[name].values


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


def _sources(top: Fields) -> tuple[tuple[str, str], ...]:
    if "source" not in top:
        return ()
    table = top.table("source")
    return tuple((key, table.text(key, 400, default="")) for key in table)


def _known(top: Fields) -> dict[str, HowKnown]:
    """How numbers are known, as the file tells."""
    if "known" not in top:
        return {}
    table = top.table("known")
    table.only(NUMBERS)
    made = {}
    for name in table:
        one = table.table(name)
        one.only(("how", "spread", "low", "high", "source", "together", "root"))
        ends = (-math.inf, math.inf)
        told = one.table("together") if "together" in one else Fields({}, one.file, one.prefix)
        try:
            made[name] = HowKnown(
                next(way for way in WAYS if way == one.choice("how", WAYS)),
                one.number("spread", 0.0, math.inf, default=None),
                one.number("low", *ends, default=None),
                one.number("high", *ends, default=None),
                one.text("source", 400, default=""),
                tuple((other, told.number(other, -1.0, 1.0)) for other in told),
                tuple(one.numbers("root")) if "root" in one else (),
            )
        except InputError as error:
            raise error if error.file else one.refuse(error.what, error.field) from None
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
