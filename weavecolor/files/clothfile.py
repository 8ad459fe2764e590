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
    kind = "filament"             # or "spun"; sets what is not given below
    colour = { name = "red", srgb = "#b01020" }

    [weft]
    ...

A colour is one of: ``wavelengths`` and ``reflectance`` lists (``unit`` = "fraction" or
"percent"); ``lab`` with ``illuminant`` "D65" or "D50"; ``srgb`` = "#rrggbb"; ``spectrum_file``, a
CSV, TSV or CGATS file in the same folder, with ``spectrum`` naming which. It is the colour of an
opaque hank of the yarn.
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

from weavecolor.colour.screencolour import screen_rgb
from weavecolor.colour.spectra import WAVELENGTHS, Spectrum, resample
from weavecolor.errors import InputError
from weavecolor.files.fields import Fields
from weavecolor.files.spectrafile import read_spectra
from weavecolor.files.textfile import read_text, toml_table
from weavecolor.textile import construction, units
from weavecolor.textile.cloth import Cloth, Weave, Yarn
from weavecolor.textile.fibres import fibre
from weavecolor.textile.weaves import weave

MAX_BYTES = 1_000_000
#: A stated weight further than this from the construction's is remarked on.
WEIGHT_TOLERANCE = 0.25

#: What is supposed of a yarn when its file does not say: common practice, no source.
YARN_DEFAULTS: Mapping[str, Mapping[str, float]] = {
    "filament": {
        "packing": 0.7,
        "flattening": 1.0,
        "lustre_deg": 8.0,
        "scattering_m2_g": 0.015,
        "sheen": 1.0,
    },
    "spun": {
        "packing": 0.6,
        "flattening": 1.0,
        "lustre_deg": 25.0,
        "scattering_m2_g": 0.04,
        "sheen": 0.6,
    },
}
_RANGES: Mapping[str, tuple[float, float, str]] = {
    "packing": (0.05, 1.0, ""),
    "flattening": (1.0, 10.0, ""),
    "lustre_deg": (0.5, 60.0, " degrees"),
    "scattering_m2_g": (0.0, math.inf, " m2/g"),
    "sheen": (0.0, 1.0, ""),
}
_CLOTH_KEYS = (
    "name", "weave", "ends", "picks", "weight", "warp_share", "notes", "remarks", "warp", "weft",
    "source",
)  # fmt: skip
_YARN_KEYS = ("fibre", "count", "kind", "colour", "crimp", *_RANGES)
_COLOUR_KEYS = (
    "name", "wavelengths", "reflectance", "unit", "lab", "illuminant", "observer", "srgb",
    "spectrum_file", "spectrum",
)  # fmt: skip
_COLOUR_WAYS = ("wavelengths", "reflectance", "lab", "srgb", "spectrum_file")


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
    """The cloth described by TOML text; ``file`` is its name for messages.

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

    Examples
    --------
    >>> yarn = {'fibre': 'silk', 'count': '21 denier', 'kind': 'filament', 'colour': '#b01020'}
    >>> cloth = {'name': 'Own', 'weave': 'plain', 'ends': '40 /cm', 'picks': '38 /cm'}
    >>> cloth_from_dict({**cloth, 'warp': yarn, 'weft': yarn}).ends_per_cm
    40.0
    """
    top = Fields(data, file)
    top.only(_CLOTH_KEYS)
    remarks: list[str] = []
    try:
        remarks += top.text("remarks", 5000, default="", lines=True).splitlines()
        warp, warp_crimp = _yarn(top.table("warp"), "warp", folder, remarks)
        weft, weft_crimp = _yarn(top.table("weft"), "weft", folder, remarks)
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
            sources=_sources(top),
        )
        construction.check_weavable(cloth)
        cloth = _with_crimp(cloth, warp_crimp, weft_crimp)
    except InputError as error:
        raise error.at(file=file) from None
    mass = construction.cloth_mass_g_m2(cloth)
    stated = cloth.declared_g_m2
    if stated is not None and abs(stated / mass - 1.0) > WEIGHT_TOLERANCE:
        remarks.append(
            f"the stated weight of {stated:.3g} g/m2 does not fit the {mass:.3g} g/m2 that yarns "
            "and setts give; check both"
        )
    return replace(cloth, remarks=tuple(dict.fromkeys(remarks)))


def cloth_to_toml(cloth: Cloth) -> str:
    """``cloth`` as TOML text that :func:`read_cloth` turns back into the same cloth.

    Colours are written as spectra of six decimals, whatever they were read from.

    Examples
    --------
    >>> print(cloth_to_toml(organza).splitlines()[2])
    ends = "40.0 /cm"
    """
    lines = [
        f"name = {_quoted(cloth.name)}",
        f"weave = {_weave_text(cloth.weave)}",
        f"ends = {_quoted(f'{cloth.ends_per_cm!r} /cm')}",
        f"picks = {_quoted(f'{cloth.picks_per_cm!r} /cm')}",
    ]
    if cloth.declared_g_m2 is not None:
        lines.append(f"weight = {_quoted(f'{cloth.declared_g_m2!r} g/m2')}")
    if cloth.warp_share is not None:
        lines.append(f"warp_share = {float(cloth.warp_share)!r}")
    if cloth.notes:
        lines.append(f"notes = {_quoted(cloth.notes)}")
    if cloth.remarks:  # what was supposed stays so, though it is written out in full below
        lines.append(f"remarks = {_quoted(chr(10).join(cloth.remarks))}")
    for name, yarn, crimp in (
        ("warp", cloth.warp, cloth.warp_crimp),
        ("weft", cloth.weft, cloth.weft_crimp),
    ):
        lines += [
            "",
            f"[{name}]",
            f"fibre = {_quoted(yarn.fibre.name)}",
            f"count = {_quoted(f'{yarn.tex!r} tex')}",
            f"kind = {_quoted(yarn.kind)}",
            f"crimp = {float(crimp)!r}",
            *(f"{key} = {float(getattr(yarn, key))!r}" for key in _RANGES),
            "",
            f"[{name}.colour]",
        ]
        if yarn.colour_name:
            lines.append(f"name = {_quoted(yarn.colour_name)}")
        lines.append(f"wavelengths = {[int(nm) for nm in WAVELENGTHS]}")
        lines.append(f"reflectance = {[round(float(value), 6) for value in yarn.colour]}")
        lines.append('unit = "fraction"')
    if cloth.sources:
        lines += ["", "[source]"]
        lines += [f"{_quoted(key)} = {_quoted(text)}" for key, text in cloth.sources]
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


def _yarn(
    fields: Fields, system: str, folder: Path | None, remarks: list[str]
) -> tuple[Yarn, float | None]:
    fields.only(_YARN_KEYS)
    kind = fields.choice("kind", tuple(YARN_DEFAULTS))
    chosen, supposed = {}, []
    for key, (low, high, unit) in _RANGES.items():
        if key in fields:
            infinite = key == "scattering_m2_g"
            chosen[key] = fields.number(key, low, high, infinite=infinite)
        else:
            chosen[key] = YARN_DEFAULTS[kind][key]
            supposed.append(f"{key} {chosen[key]:g}{unit}")
    if supposed:
        remarks.append(f"{system}: {', '.join(supposed)} supposed, as usual for {kind} yarn")
    colour, name = _colour(fields, system, folder, remarks)
    yarn = Yarn(
        fibre=fields.convert("fibre", fibre),
        tex=fields.convert("count", units.linear_density_tex),
        colour=colour,
        kind=kind,
        colour_name=name,
        **chosen,
    )
    return yarn, fields.number("crimp", 0.0, 1.0, default=None, percent=True)


def _colour(
    fields: Fields, system: str, folder: Path | None, remarks: list[str]
) -> tuple[Spectrum, str]:
    """Spectrum and name of a yarn's colour; recovered colours and held ends are remarked on."""
    if isinstance(fields.get("colour"), str):
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
    if ways == ["spectrum_file"]:
        return _from_spectrum_file(fields, folder, system, remarks), name
    if ways == ["wavelengths", "reflectance"]:
        found = resample(
            fields.numbers("wavelengths"),
            fields.numbers("reflectance"),
            unit=fields.choice("unit", ("auto", "fraction", "percent"), default="auto"),
            file=fields.file,
            field=fields.place("reflectance"),
        )
        remarks.extend(f"{system} colour: {note}" for note in found.notes)
        return found.values, name
    # Recovery loads the colour library: only when a file needs it.
    from weavecolor.colour.colorimetry import spectrum_from_lab, spectrum_from_srgb

    remarks.append(
        f"{system} colour recovered from {'Lab' if ways == ['lab'] else 'sRGB'}: many spectra look "
        "so in daylight, and they differ in other light"
    )
    try:
        if ways == ["srgb"]:
            return spectrum_from_srgb(screen_rgb(fields.text("srgb", 20))), name
        lab = fields.numbers("lab", exactly=3)
        if not (0.0 <= lab[0] <= 100.0 and max(abs(lab[1]), abs(lab[2])) <= 150.0):
            raise InputError("L lies within 0-100, a and b within -150 and 150")
        illuminant = fields.choice("illuminant", ("D65", "D50"))
        observer = fields.choice("observer", ("2", "10"), default="2")
        return spectrum_from_lab(lab, illuminant, observer), name
    except InputError as error:
        raise error.at(file=fields.file, field=fields.place(ways[0])) from None


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
    spectra = read_spectra(path)
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
    if share is not None and not low - 1e-6 <= share <= high + 1e-6:
        raise InputError(
            f"{share:g} cannot be woven at these setts; between {low:.3f} and {high:.3f} can",
            field="warp_share",
        )
    if share is None and warp_crimp is not None and weft_crimp is not None:
        share = construction.share_from_crimps(cloth, warp_crimp, weft_crimp)
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
    return tuple((key, table.text(key, 400)) for key in table)


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
