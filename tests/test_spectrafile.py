"""Instrument files in the layouts that occur, and every way they go wrong."""

import numpy as np
import pytest

from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.errors import InputError
from weavecolor.files import spectrafile
from weavecolor.files.spectrafile import read_spectra, spectra_from_text

RED = 0.05 + 0.6 / (1 + np.exp(-(WAVELENGTHS - 600) / 15))
GREY = np.full(41, 0.25)


def table(mark=",", heading="wavelength,red,grey", scale=1.0, decimals="."):
    lines = [heading.replace(",", mark)]
    for nm, r, g in zip(WAVELENGTHS, RED, GREY, strict=True):
        cells = (f"{nm:g}", f"{scale * r:.9f}", f"{scale * g:.9f}")
        lines.append(mark.join(cells).replace(".", decimals))
    return "\n".join(lines)


def cgats(fields, rows, before="", count=2):
    return "\n".join(
        ["CGATS.17", 'ORIGINATOR "bench"', before, f"NUMBER_OF_FIELDS {len(fields)}",
         "BEGIN_DATA_FORMAT", " ".join(fields), "END_DATA_FORMAT", f"NUMBER_OF_SETS {count}",
         "BEGIN_DATA", *rows, "END_DATA"]
    )  # fmt: skip


def same(found, **expected):
    assert list(found) == list(expected)
    for name, values in expected.items():
        assert found[name].values == pytest.approx(values, abs=1e-8)


@pytest.mark.parametrize(
    "text",
    [
        table(),
        table("\t"),
        table(";", decimals=","),
        table(heading="Wavelength (nm),red,grey", scale=100),
        "# from the bench\n\n" + table() + "\n\n",
        "\ufeff" + table(),
        table().replace("\n", "\r\n"),
    ],
    ids=["csv", "tsv", "semicolon", "percent", "comments", "mark", "crlf"],
)
def test_columns(tmp_path, text):
    path = tmp_path / "red.csv"
    path.write_bytes(text.encode("utf-8"))
    same(read_spectra(path), red=RED, grey=GREY)


def test_utf16_from_an_office_program(tmp_path):
    path = tmp_path / "red.csv"
    path.write_bytes(table("\t").encode("utf-16"))
    same(read_spectra(path), red=RED, grey=GREY)


def test_wavelength_column_need_not_be_first():
    lines = [",".join(reversed(line.split(","))) for line in table().splitlines()]
    same(spectra_from_text("\n".join(lines), file="x"), grey=GREY, red=RED)


def test_no_heading_and_repeated_names():
    bare = "\n".join(table().splitlines()[1:])
    same(spectra_from_text(bare, file="x"), **{"spectrum 1": RED, "spectrum 2": GREY})
    twice = table(heading="nm,red,red")
    same(spectra_from_text(twice, file="x"), **{"red": RED, "red (2)": GREY})


def test_percent_in_the_heading_settles_a_dark_cloth():
    text = "nm,black %\n" + "\n".join(f"{nm:g},1.6" for nm in WAVELENGTHS)
    same(spectra_from_text(text, file="x"), **{"black %": np.full(41, 0.016)})
    with pytest.raises(InputError, match="fraction or percent"):
        spectra_from_text(text.replace("%", ""), file="x")
    same(
        spectra_from_text(text.replace(" %", ""), file="x", unit="percent"),
        black=np.full(41, 0.016),
    )


def test_cloth_that_glows_is_refused_by_name():
    """A whitener lifts readings under daylight above 100 % about 440 nm (ISO 105-J02; from memory).
    """
    text = "nm,white %\n" + "\n".join(
        f"{nm:g},{112 if 430 < nm < 450 else 92}" for nm in WAVELENGTHS
    )
    with pytest.raises(InputError, match="got 112; whiteners and fluorescent dyes, which send"):
        spectra_from_text(text, file="x")
    with pytest.raises(InputError, match=r"got 9200$"):
        spectra_from_text(text.replace(",92", ",9200"), file="x")


def test_a_black_below_one_percent_is_no_grey():
    """Common practice: an instrument writes its light trap, 0.4 %, beside its tile, 89 %."""
    text = "nm,tile,trap,cloth\n" + "\n".join(f"{nm:g},89,0.4,45" for nm in WAVELENGTHS)
    with pytest.raises(InputError, match=r"'trap': its highest value is 0\.4, but 89 in .*'tile'"):
        spectra_from_text(text, file="x")
    told = text.replace("tile,trap,cloth", "tile %,trap %,cloth %")
    wanted = {"tile %": 0.89, "trap %": 0.004, "cloth %": 0.45}
    same(spectra_from_text(told, file="x"), **{k: np.full(41, v) for k, v in wanted.items()})
    found = spectra_from_text(text, file="x", unit="percent")
    same(found, tile=np.full(41, 0.89), trap=np.full(41, 0.004), cloth=np.full(41, 0.45))
    mixed = text.replace("tile,trap,cloth", "tile %,trap,cloth %")  # the trap's is then a fraction
    assert spectra_from_text(mixed, file="x")["trap"].values == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("heading", "share"),
    [("black (percent)", 0.008), ("black pct", 0.008), ("R[%]", 0.008), ("percentile", 0.8),
     ("red 2% owf", 0.8), ("red 0.5 % owf", 0.8)],
)  # fmt: skip
def test_a_heading_tells_percent_in_words_and_dye_on_fibre_in_percent(heading, share):
    """A dyer's shades are named by the dye upon the weight of their fibre (owf)."""
    text = f"nm,{heading}\n" + "\n".join(f"{nm:g},0.8" for nm in WAVELENGTHS)
    same(spectra_from_text(text, file="x"), **{heading: np.full(41, share)})


@pytest.mark.parametrize(
    ("label", "mark", "share"),
    [("dye % owf,name", "", 0.8), ("K/S,name", "", 0.8), ("name,R%", "", 0.008),
     ("name,lot", " %", 0.008), ("name,lot", "(%)", 0.008)],
)  # fmt: skip
def test_a_row_is_in_percent_where_its_readings_are(label, mark, share):
    text = f"{label}," + ",".join(f"{nm:g}{mark}" for nm in WAVELENGTHS) + "\n2,2" + ",0.8" * 41
    same(spectra_from_text(text, file="x"), **{"2": np.full(41, share)})


@pytest.mark.parametrize(
    ("heading", "makes"),
    [("absorbance", "10^-A"), ("Abs", "10^-A"), ("log(1/R)", "10^-A"), ("log10 1/T", "10^-A"),
     ("K/S", "1 + A - sqrt(A^2 + 2 A)"), ("navy K/S", "1 + A - sqrt(A^2 + 2 A)")],
)  # fmt: skip
def test_what_is_no_share_of_light_is_not_read_as_one(heading, makes):
    """Absorbance is -log10 of the share of light; K/S of Kubelka and Munk is (1 - R)^2 / 2 R."""
    made = {"10": lambda a: 10**-a, "1 ": lambda a: 1 + a - np.sqrt(a**2 + 2 * a)}[makes[:2]]
    back = {"10": lambda r: -np.log10(r), "1 ": lambda r: (1 - r) ** 2 / 2 / r}[makes[:2]]
    assert made(back(0.3)) == pytest.approx(0.3)
    text = f"nm,{heading}\n" + "\n".join(f"{nm:g},0.5" for nm in WAVELENGTHS)
    with pytest.raises(InputError) as caught:
        spectra_from_text(text, file="dye.csv")
    assert f"is no share of light: write {makes} in place of each A" in str(caught.value)


def test_decimal_commas_between_commas_are_asked_about():
    text = "\n".join(f"{nm:g},12,50" for nm in WAVELENGTHS)
    with pytest.raises(InputError, match="could part columns or be decimal ones"):
        spectra_from_text(text, file="x")
    same(spectra_from_text("nm,a,b\n" + text, file="x"),
         a=np.full(41, 0.12), b=np.full(41, 0.5))  # fmt: skip
    quoted = "nm,a\n" + "\n".join(f'{nm:g},"12,50"' for nm in WAVELENGTHS)
    same(spectra_from_text(quoted, file="x"), a=np.full(41, 0.125))


@pytest.mark.parametrize("prefix", ["", "R", "SPECTRAL_NM", "nm"])
def test_one_sample_a_row(prefix):
    heading = ",".join(["name", *(f"{prefix}{nm:g}" for nm in WAVELENGTHS)])
    rows = [",".join([n, *map(str, v)]) for n, v in (("red", RED), ("grey", GREY))]
    same(spectra_from_text("\n".join([heading, *rows]), file="x"), red=RED, grey=GREY)


def test_cgats_one_field_a_wavelength():
    # CGATS.17 / ISO 28178 text: fields between BEGIN_DATA_FORMAT and END_DATA_FORMAT, one sample
    # a line between BEGIN_DATA and END_DATA (layout from memory).
    fields = ["SAMPLE_ID", "SAMPLE_NAME", *(f"SPECTRAL_NM{nm:g}" for nm in WAVELENGTHS)]
    rows = [
        " ".join(["1", '"dyed red"', *map(str, RED)]),
        " ".join(["2", "grey", *map(str, GREY)]),
    ]
    same(spectra_from_text(cgats(fields, rows), file="x"), **{"dyed red": RED, "grey": GREY})


def test_cgats_pairs_in_percent():
    fields = ["SAMPLE_ID"] + ["SPECTRAL_NM", "SPECTRAL_PCT"] * 41
    pairs = [f"{nm:g} {100 * r}" for nm, r in zip(WAVELENGTHS, RED, strict=True)]
    found = spectra_from_text(cgats(fields, ["A1 " + " ".join(pairs)], count=1), file="x")
    same(found, A1=RED)


def test_cgats_stated_norm():
    fields = ["SAMPLE_ID", *(f"SPEC_{nm:g}" for nm in WAVELENGTHS)]
    text = cgats(fields, ["A1 " + " ".join(["1.5"] * 41)], before='SPECTRAL_NORM "100.0"', count=1)
    same(spectra_from_text(text, file="x"), A1=np.full(41, 0.015))


def test_short_range_is_noted():
    rows = "\n".join(f"{nm},0.3" for nm in range(400, 701, 10))
    found = spectra_from_text("nm,a\n" + rows, file="x")
    assert found["a"].notes[0].startswith("not measured below 400 nm and above 700 nm")


SHORT = "nm,a\n" + "\n".join(f"{nm},0.3" for nm in range(450, 701, 10))
FIELDS = ["SAMPLE_ID", *(f"SPECTRAL_NM{nm:g}" for nm in WAVELENGTHS)]


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "^dye.csv: is empty"),
        ("\n# nothing\n", "^dye.csv: is empty"),
        ("nm,red\n", "^dye.csv: line 1: has a heading but no readings"),
        ("just words", "^dye.csv: line 1: has a heading but no readings"),
        ("380\n390", "^dye.csv: line 1: needs a column of wavelengths"),
        (table().replace("480,", "480,x"), r"^dye.csv: line 12, red: 'x0\.05\d+' is not a number"),
        (table().replace("\n480,", "\n480,,"), "^dye.csv: line 12: 4 values under 3 headings"),
        ('"Measured","D65/10"\nnm,a,b\n400,1,2', "^dye.csv: line 2: 3 values under 2 headings; "
         "write the heading in the first line: take out what stands above it$"),
        ("Cone 12, D65, SCI\nnm,a,b\n400,1,2", "^dye.csv: line 2, Cone 12: 'nm' is not a number; "
         "write the heading in the first line"),
        ("nm,a,b\n380,,0.2\n390,0.1,0.2", "^dye.csv: line 2, a: a value is missing"),
        (table().replace("0.250000000", "nan", 3), "^dye.csv: column 'grey': reading 1 is not a"),
        (table().replace("\n480,", "\n380,"), "^dye.csv: column 'red': wavelengths must rise"),
        (SHORT, "^dye.csv: column 'a': the spectrum stops short: it runs from 450 to 700 nm"),
        (table(scale=-1), "^dye.csv: column 'red': a reflectance lies within 0-1"),
        (cgats(FIELDS, ["1 0.5"]), "^dye.csv: line 10: 2 values for 42 fields"),
        (cgats(["SAMPLE_ID", "LAB_L"], ["1 50"]), "^dye.csv: BEGIN_DATA_FORMAT: holds no spectra"),
        (cgats(FIELDS, ["1 " + "x " * 41]), "^dye.csv: line 10, SPECTRAL_NM380: 'x' is not"),
        ("CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA", "^dye.csv: line 2: data without BEGIN_DATA_FORMAT"),
        (
            cgats(FIELDS, ["1 " + "0.5 " * 41], before="SPECTRAL_NORM 0"),
            "^dye.csv: SPECTRAL_NORM: must be more than 0",
        ),
    ],
)  # fmt: skip
def test_bad_text_names_file_and_place(text, complaint):
    with pytest.raises(InputError, match=complaint) as caught:
        spectra_from_text(text, file="dye.csv")
    assert "\n" not in str(caught.value)


def test_cut_off_file():
    text = cgats(FIELDS, ["1 " + "0.5 " * 41]).removesuffix("END_DATA")
    with pytest.raises(InputError, match="has no END for what begins at line 9; .* cut off"):
        spectra_from_text(text, file="dye.csv")


@pytest.mark.parametrize(
    ("data", "complaint"),
    [
        (b"\x89PNG\r\n\x1a\n\xff\xfe", "is not text in UTF-8"),
        (b"nm,a\n380,0.1\0", "is not text"),
        ("nm,gr\u00fcn\n".encode("latin-1"), "is not text in UTF-8 \\(byte 5\\)"),
    ],
)
def test_not_text(tmp_path, data, complaint):
    path = tmp_path / "dye.csv"
    path.write_bytes(data)
    with pytest.raises(InputError, match=f"dye.csv: {complaint}"):
        read_spectra(path)


def test_missing_folder_and_huge(tmp_path, monkeypatch):
    with pytest.raises(InputError, match="none.csv: no such file"):
        read_spectra(tmp_path / "none.csv")
    with pytest.raises(InputError, match="is not a file"):
        read_spectra(tmp_path)
    monkeypatch.setattr(spectrafile, "MAX_BYTES", 1_000_000)
    (tmp_path / "big.csv").write_bytes(b"1" * 1_000_001)
    with pytest.raises(InputError, match="big.csv: is above 1 MB"):
        read_spectra(tmp_path / "big.csv")
    assert spectrafile.MAX_SPECTRA == 2000
    many = "nm," + ",".join(f"s{i}" for i in range(2001)) + "\n380" + ",0.5" * 2001
    with pytest.raises(InputError, match="2001 spectra; a file has at most 2000"):
        spectra_from_text(many, file="x")


def test_readings_with_the_gloss_left_out_are_told():
    """Instruments call a reading by a sphere with its gloss trap open SCE, or RSEX, and closed SCI,
    RSIN (CIE 15 has both geometries; the short names from memory)."""

    def noted(heading, *names):
        rows = "\n".join(f"{nm}" + ",0.3" * len(names) for nm in range(400, 710, 10))
        found = spectra_from_text(f"{heading}nm,{','.join(names)}\n{rows}", file="x.csv")
        return [any("gloss left out" in n for n in one.notes) for one in found.values()]

    assert noted("", "satin SCE", "satin SCI") == [True, False]
    assert noted("", "red_rsex", "blue") == [True, True]
    assert noted("", "red", "blue") == [False, False]
    assert noted("", "scene red", "sceptre") == [False, False]
    assert noted("", "satin, specular component excluded".replace(",", "")) == [True]


def test_readings_just_above_one_are_told_how_to_be_read():
    """1.23 may be 1.23 % of a black thread, or a neon dye as a fraction: nothing else tells."""
    rows = "".join(f"{nm},{0.8 + 0.001 * nm:.3f}\n" for nm in range(400, 701, 10))
    with pytest.raises(InputError, match='by "%" in the heading; .* fluorescent dye'):
        spectra_from_text(f"nm,thread\n{rows}", file="t.csv")
    (black,) = spectra_from_text(f"nm,thread %\n{rows}", file="t.csv").values()
    assert black.values.max() == pytest.approx(0.015)
