"""Spectra from instrument files: CSV or TSV tables, and CGATS.17 / ISO 28178 text.

Knows how files set out wavelengths and readings; knows nothing of cloth or colour. Text is data
only: nothing in a file is followed or run.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from weavecolor.colour.spectra import PERCENT_ABOVE, UNITS, Resampled, resample
from weavecolor.errors import InputError
from weavecolor.files.textfile import read_text

MAX_BYTES = 20_000_000
MAX_SPECTRA = 2000
#: Most cells of a table: every spectrum there may be, at 1 nm from 200 to 1200 nm.
MAX_CELLS = 2_000_000
#: Most fields of a sample: a wavelength and a reading at every nm, and many words beside.
MAX_FIELDS = 10_000

_NM_CELL = re.compile(
    r"(?:(?:spectral|spec|reflectance|lambda|nm|wl|r)[_ ]*)?(?:(?:nm|pct|dec)[_ ]*)?"
    r"(?P<nm>\d{3,4}(?:\.\d+)?)(?:[_ ]*nm)?(?:[_ ]*(?:%|\(%\)))?",
    re.IGNORECASE,
)
_WAVELENGTH_NAME = re.compile(r"wave ?length|wavelength|lambda|λ|^nm$|^wl$", re.IGNORECASE)
#: A unit in a heading; "red 2 %" is dye upon the weight of its fibre.
_PERCENT = re.compile(r"(?<!\d)(?<!\d )%|\bpct\b|\bper ?cent(age)?\b", re.IGNORECASE)
_SHARE = re.compile(r"\b(?:R|T|refl\w*|trans\w*|spectr\w*)\b", re.IGNORECASE)
#: Readings that are no share of light, by their heading, and what makes one of each value.
_NO_SHARE: Sequence[tuple[re.Pattern[str], str]] = (
    (re.compile(r"\babs(?:orbance|orption)?\b|\blog(?:10)?\b.*1 ?/ ?[RT]\b", re.IGNORECASE),
     "10^-A"),
    (re.compile(r"\bK ?/ ?S\b|kubelka", re.IGNORECASE), "1 + A - sqrt(A^2 + 2 A)"),
)
_HEADING = "heading in the first line: take out what stands above it"
_TOKEN = re.compile(r'"([^"]*)"|(\S+)')
#: Fewest wavelength columns that make a row-wise table: 400-700 nm in steps of 20.
_FEWEST = 16


@dataclass(frozen=True)
class _Column:
    """Readings of one sample before they are brought onto the grid."""

    name: str
    nm: Sequence[float]
    values: Sequence[float]
    place: str
    unit: str = "auto"


#: What an instrument calls a reading with its gloss trap open (RSEX) and closed (CIE 15).
_SCE, _SCI = (
    re.compile(rf"(?<![a-z])({short})(?![a-z])|specular[ _-]*(component)?[ _-]*{word}", re.I)
    for short, word in (("sce|rsex", "exclu"), ("sci|rsin", "inclu"))
)
GLOSS_LEFT_OUT = (
    "read with the gloss left out (SCE): a satin reads 1 to 2 L* darker so than it is taken here; "
    "read it with the gloss (SCI)"
)


def read_spectra(path: str | Path, unit: str = "auto") -> dict[str, Resampled]:
    """Every spectrum in the file by its name, on the shared grid, in the file's order.

    ``unit`` is "auto", "fraction" or "percent", see
    :func:`weavecolor.colour.spectra.resample`; a unit that the file itself states (a "%" in the
    heading) counts where "auto" is given.
    Raises InputError naming file and line or field; refuses files above 20 MB, readings without a
    unit of which some are percent and some might be fractions, and absorbance or K/S.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "dye.csv"
    >>> _ = file.write_text("nm,red\\n" + "\\n".join(f"{nm},0.3" for nm in range(400, 710, 10)))
    >>> float(read_spectra(file)["red"].values[0])
    0.3
    """
    text = read_text(path, MAX_BYTES, "table of spectra")
    return spectra_from_text(text, file=str(path), unit=unit)


def spectra_from_text(text: str, *, file: str, unit: str = "auto") -> dict[str, Resampled]:
    """As :func:`read_spectra`, from ``text`` already read; ``file`` is its name for messages,
    ``unit`` of its values as there.

    Examples
    --------
    >>> rows = "\\n".join(f"{nm},30" for nm in range(400, 710, 10))
    >>> found = spectra_from_text("nm,red\\n" + rows, file="dye.csv", unit="percent")
    >>> float(found["red"].values[0])
    0.3
    """
    if unit not in UNITS:
        raise InputError(f"{unit!r} is not a unit of reflectance; use {', '.join(UNITS)}")
    if len(text) > MAX_BYTES:
        raise InputError(f"more than {MAX_BYTES // 1_000_000} MB", file=file)
    try:
        columns = _cgats(text) if re.search(r"^\s*BEGIN_DATA\b", text, re.M) else _table(text)
        if len(columns) > MAX_SPECTRA:
            raise InputError(f"{len(columns)} spectra; a file has at most {MAX_SPECTRA}")
    except InputError as error:
        raise error.at(file=file) from None
    if unit == "auto":
        _one_unit(columns, file)
    found: dict[str, Resampled] = {}
    # some files hold readings of both kinds, told by their names
    everywhere = bool(_SCE.search(text)) and not _SCI.search(text)
    for column in columns:
        name, copy = column.name, 2
        while name in found:
            name, copy = f"{column.name} ({copy})", copy + 1
        chosen = column.unit if unit == "auto" else unit
        one = resample(column.nm, column.values, unit=chosen, file=file, field=column.place)
        if _SCE.search(column.name) or everywhere:
            one = replace(one, notes=(*one.notes, GLOSS_LEFT_OUT))
        found[name] = one
    return found


def _one_unit(columns: Sequence[_Column], file: str) -> None:
    """Refuses readings of no stated unit of which some are percent and some might be fractions: a
    black trap of 0.4 beside a tile of 89 is 0.4 percent, which by itself would be read as 40."""
    peaks = {x.place: max(x.values, default=0.0) for x in columns if x.unit == "auto"}
    percent = next((place for place, peak in peaks.items() if peak > PERCENT_ABOVE), None)
    other = next((place for place, peak in peaks.items() if 0.0 < peak <= 1.0), None)
    if percent and other:
        raise InputError(
            f"its highest value is {peaks[other]:g}, but {peaks[percent]:g} in {percent}: write % "
            "in the heading of all that is in percent",
            file=file, field=other,
        )  # fmt: skip


# --- CSV and TSV ---------------------------------------------------------------------------


def _table(text: str) -> list[_Column]:
    rows = list(_rows(text))
    if not rows:
        raise InputError("is empty; a table of wavelengths and reflectances is needed")
    first_line, first = rows[0]
    wide = [(i, float(m["nm"])) for i, c in enumerate(first) if (m := _NM_CELL.fullmatch(c))]
    if len(wide) >= _FEWEST:
        return _by_rows(rows, wide)
    heading = first if any(_number(cell) is None for cell in first if cell) else None
    if heading is not None:
        rows = rows[1:]
    if not rows:
        raise InputError("has a heading but no readings", field=f"line {first_line}")
    width = len(rows[0][1])
    if heading is None and width > 2 and _decimal_commas(rows):
        raise InputError(
            "its commas could part columns or be decimal ones: write a heading, or decimal points",
            field=f"line {first_line}",
        )
    names = heading or ["wavelength", *(f"spectrum {i}" for i in range(1, width))]
    if width < 2 or len(names) < 2:
        raise InputError(
            "needs a column of wavelengths in nm and at least one of reflectance, with their "
            f"{_HEADING}",
            field=f"line {rows[0][0]}",
        )
    if width - 1 > MAX_SPECTRA:
        raise InputError(f"{width - 1} spectra; a file has at most {MAX_SPECTRA}")
    key = next((i for i, name in enumerate(names) if _WAVELENGTH_NAME.search(name)), 0)
    for name in names:
        _is_share(name, first_line)
    table: list[list[float]] = []
    for line, cells in rows:
        # what is no reading below a first line of text may be the heading, which comes first
        more = "" if table or heading is None else f"; write the {_HEADING}"
        if len(cells) > len(names):
            raise InputError(
                f"{len(cells)} values under {len(names)} headings{more}", field=f"line {line}"
            )
        cells = cells + [""] * (len(names) - len(cells))
        table.append([_reading(cell, line, names[i], more) for i, cell in enumerate(cells)])
    by_column = list(zip(*table, strict=True))
    return [
        _Column(
            _clean(name) or f"spectrum {i}", by_column[key], by_column[i], f"column {name[:60]!r}",
            "percent" if _PERCENT.search(name) else "auto",
        )
        for i, name in enumerate(names)
        if i != key
    ]  # fmt: skip


def _by_rows(rows: list[tuple[int, list[str]]], wide: list[tuple[int, float]]) -> list[_Column]:
    """A table with one sample a row and the wavelengths in the heading."""
    heading = rows[0][1]
    if len(rows) - 1 > MAX_SPECTRA:
        raise InputError(f"{len(rows) - 1} spectra; a file has at most {MAX_SPECTRA}")
    taken = {i for i, _ in wide}
    # of other columns "R %" tells the readings' unit, "dye %" does not
    percent = any(
        "pct" in cell.casefold() or "%" in cell if i in taken
        else _PERCENT.search(cell) and _SHARE.search(cell)
        for i, cell in enumerate(heading)
    )  # fmt: skip
    label = next((i for i in range(len(heading)) if i not in taken), None)
    columns = []
    for number, (line, cells) in enumerate(rows[1:], 1):
        cells = cells + [""] * (len(heading) - len(cells))
        name = _clean(cells[label]) if label is not None else ""
        values = [_reading(cells[i], line, heading[i]) for i, _ in wide]
        columns.append(
            _Column(
                name or f"spectrum {number}", [nm for _, nm in wide], values, f"line {line}",
                "percent" if percent else "auto",
            )
        )  # fmt: skip
    if not columns:
        raise InputError("has a heading but no readings", field=f"line {rows[0][0]}")
    return columns


def _is_share(heading: str, line: int) -> None:
    """Refuse a heading of readings that are neither reflectance nor transmittance."""
    for pattern, told in _NO_SHARE:
        if pattern.search(heading):
            raise InputError(
                f"{heading[:40]!r} is no share of light: write {told} in place of each A, or leave "
                "that column out",
                field=f"line {line}",
            )


def _decimal_commas(rows: list[tuple[int, list[str]]]) -> bool:
    """Whether whole numbers stand in every cell, an odd one and pairs: "400,12,50" may be two
    spectra, or one of 12.50."""
    return all(
        len(cells) % 2 == 1 and all(cell.isdecimal() for cell in cells) for _, cells in rows
    )


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """(line number, cells) of every line that is neither blank nor a # comment."""
    lines = [(n, s) for n, s in enumerate(text.splitlines(), 1) if s.strip() and s[:1] != "#"]
    sample = "\n".join(s for _, s in lines[:20])
    mark = "\t" if "\t" in sample else ";" if ";" in sample else ","
    if sum(line.count(mark) + 1 for _, line in lines) > MAX_CELLS:
        raise InputError(f"more than {MAX_CELLS} cells; that is no table of spectra")
    for number, line in lines:
        try:
            cells = next(csv.reader([line], delimiter=mark))
        except (csv.Error, StopIteration):
            raise InputError("is no line of a table", field=f"line {number}") from None
        # a comma inside a cell stands in quotes, or another mark parts the cells
        cells = [re.sub(r"(?<=\d),(?=\d)", ".", cell.strip()) for cell in cells]
        while cells and not cells[-1]:
            cells.pop()
        if cells:
            yield number, cells


# --- CGATS.17 / ISO 28178 ------------------------------------------------------------------


def _cgats(text: str) -> list[_Column]:
    columns: list[_Column] = []
    fields: list[str] = []
    section, scale, began = "", 1.0, 0
    for number, line in enumerate(text.splitlines(), 1):
        tokens = [quoted or bare for quoted, bare in _TOKEN.findall(line)]
        if not tokens or tokens[0].startswith("#"):
            continue
        word = tokens[0].upper()
        if word == "BEGIN_DATA_FORMAT":
            section, fields, began = "format", [], number
        elif word == "BEGIN_DATA":
            section, began = "data", number
            if not fields:
                raise InputError("data without BEGIN_DATA_FORMAT", field=f"line {number}")
            layout = _layout(fields)
        elif word in ("END_DATA_FORMAT", "END_DATA"):
            section = ""
        elif section == "format":
            fields += tokens
            if len(fields) > MAX_FIELDS:
                many = f"more than {MAX_FIELDS} fields; that is no table of spectra"
                raise InputError(many, field=f"line {number}")
        elif section == "data":
            if len(tokens) != len(fields):
                raise InputError(
                    f"{len(tokens)} values for {len(fields)} fields", field=f"line {number}"
                )
            if len(columns) == MAX_SPECTRA:
                many = f"a file has at most {MAX_SPECTRA} spectra"
                raise InputError(many, field=f"line {number}")
            if layout:
                columns.append(_sample(tokens, fields, layout, number, scale, len(columns)))
        elif word == "SPECTRAL_NORM" and len(tokens) > 1:
            # The value that stands for a reflectance of 1.
            scale = _reading(tokens[1], number, "SPECTRAL_NORM")
            if not 0.0 < scale < math.inf:
                raise InputError("must be more than 0, and finite", field="SPECTRAL_NORM")
    if section:
        raise InputError(f"has no END for what begins at line {began}; the file is cut off")
    if not columns:
        raise InputError(
            "holds no spectra; fields such as SPECTRAL_NM400 or SPECTRAL_NM with SPECTRAL_DEC "
            "are needed",
            field="BEGIN_DATA_FORMAT",
        )
    return columns


def _layout(fields: list[str]) -> list[tuple[int, int | None, float, str]]:
    """(value column, wavelength column or None, wavelength, unit) of every spectral field."""
    upper = [field.upper() for field in fields]
    if "SPECTRAL_NM" in upper:  # pairs: each wavelength stands before its reading
        return [
            (i + 1, i, 0.0, "percent" if upper[i + 1].endswith("PCT") else "auto")
            for i, name in enumerate(upper[:-1])
            if name == "SPECTRAL_NM"
        ]
    found: list[tuple[int, int | None, float, str]] = []
    for i, name in enumerate(fields):
        match = _NM_CELL.fullmatch(name)
        if match and 300.0 <= float(match["nm"]) <= 1200.0:
            found.append((i, None, float(match["nm"]), "percent" if "PCT" in upper[i] else "auto"))
    return found


def _sample(
    tokens: list[str],
    fields: list[str],
    layout: list[tuple[int, int | None, float, str]],
    line: int,
    scale: float,
    count: int,
) -> _Column:
    upper = [field.upper() for field in fields]
    name = ""
    for key in ("SAMPLE_NAME", "SAMPLE_ID", "SAMPLEID"):
        if not name and key in upper:
            name = _clean(tokens[upper.index(key)])
    nm = [
        wavelength if key is None else _reading(tokens[key], line, fields[key])
        for _, key, wavelength, _ in layout
    ]
    values = [_reading(tokens[i], line, fields[i]) for i, _, _, _ in layout]
    unit = layout[0][3]
    if scale != 1.0:
        values, unit = [value / scale for value in values], "fraction"
    return _Column(name or f"spectrum {count + 1}", nm, values, f"line {line}", unit)


# --- cells ---------------------------------------------------------------------------------


def _number(cell: str) -> float | None:
    try:
        return float(cell.rstrip("% ")) if "_" not in cell else None
    except ValueError:
        return None


def _reading(cell: str, line: int, column: str, more: str = "") -> float:
    value = _number(cell)
    if value is None:
        what = f"{cell[:40]!r} is not a number{more}" if cell else "a value is missing"
        raise InputError(what, field=f"line {line}, {column[:60]}")
    return value


def _clean(name: str) -> str:
    """A name fit to print: one line, no control characters, not endless."""
    return " ".join("".join(c if c.isprintable() else " " for c in name).split())[:100]
