"""Every reader against spoilt, hostile and random input: one plain line, or sound data.

No outside source: these are properties. What may come out is checked by what a thing is: a
reflectance lies within 0-1, a written cloth reads back, a refused file leaves its folder as it was.
"""

from __future__ import annotations

import gc
import io
import json
import os
import resource
import struct
import subprocess
import sys
import tracemalloc
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fuzzing import (
    REFUSED,
    TRIED,
    bounded,
    plausible,
    quick,
    replaced,
    spoilt,
    texts,
    tried,
    values,
)
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.screencolour import screen_rgb
from weavecolor.colour.spectra import resample
from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.files.clothfile import (
    cloth_from_dict,
    cloth_from_toml,
    cloth_to_toml,
    load_swatch,
    read_cloth,
    swatch_folder,
    swatch_names,
)
from weavecolor.files.spectrafile import read_spectra, spectra_from_text
from weavecolor.making.file import from_dict, from_json, load_making, to_dict, to_json
from weavecolor.making.model import (
    Making,
    MakingCloth,
    MakingLayer,
    MakingOption,
)
from weavecolor.measure.photograph import read_photograph
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene
from weavecolor.textile import units
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import describe
from weavecolor.textile.fibres import fibre
from weavecolor.textile.grain import grain_deg
from weavecolor.textile.weaves import weave


@pytest.fixture(scope="module", autouse=True)
def _count(request):
    """How many inputs were tried, told at the end where output is shown (pytest -s)."""
    yield
    for what in sorted(TRIED):
        print(f"\n{what}: {TRIED[what]} tried, {REFUSED[what]} refused", end="")


# --- seeds ---------------------------------------------------------------------------------

CLOTHS = tuple((swatch_folder() / f"{name}.toml").read_bytes() for name in swatch_names())
NM = range(380, 790, 10)
CSV = ("wavelength,warp,weft %\n" + "\n".join(f"{nm},0.{nm},{nm / 10}" for nm in NM)).encode()
TSV = ("name\t" + "\t".join(f"{nm} nm" for nm in NM) + "\nred\t" + "\t".join(["0,5"] * 41)).encode()
CGATS = (
    "CGATS.17\nSPECTRAL_NORM 1.0\nBEGIN_DATA_FORMAT\nSAMPLE_ID SAMPLE_NAME "
    + " ".join(f"SPECTRAL_NM{nm}" for nm in NM)
    + '\nEND_DATA_FORMAT\nBEGIN_DATA\n1 "dark red" '
    + " ".join(["0.2"] * 41)
    + "\nEND_DATA\n"
).encode()
PIECES = b"""unit = "cm"
[[piece]]
name = "skirt panel"
across = 70
down = 95
quantity = 2
[[piece]]
name = "bodice front"
corners = [[0, 0], [22, 0], [24, 40], [0, 42]]
fold_edge = 3
layers = 1
[[cloth]]
corners = [[0, 0], [110, 3], [104, 300], [0, 290]]
one_way = true
[[cloth.flaw]]
across = 8
along = 8
from_left = 70
from_end = 190
[[fullness]]
what = "skirt"
kind = "knife"
finished = 70
length = 90
fullness = 2.5
pleat = 4
layers = 2
"""


def _project() -> Making:
    cloth = MakingCloth.from_toml("cloth", CLOTHS[0].decode())
    option = MakingOption("A", (MakingLayer("cloth", 45.0),), "black")
    told = cutting_from_toml(PIECES.decode())
    bought = replace(cloth, in_hand=told.cloth)
    return Making("Cape", cloths=(bought,), options=(option,), pieces=told.pieces,
                  fullness=told.fullness)


PROJECT = to_json(_project()).encode()


def _sound(cloth: Cloth) -> None:
    for yarn in (cloth.warp, cloth.weft):
        assert yarn.colour.shape == (41,)
        assert np.all((yarn.colour >= 0.0) & (yarn.colour <= 1.0))
        assert 0.0 < yarn.tex < np.inf
    numbers = vars(describe(cloth))
    assert all(np.isfinite(v) and v >= 0.0 for v in numbers.values()), numbers
    again = cloth_from_toml(cloth_to_toml(cloth))
    assert cloth_to_toml(again) == cloth_to_toml(cloth)


def _read(folder: Path, name: str, data: bytes, what: str, read):
    """``read(path)`` of a file of ``data``; nothing but the file is in the folder afterwards."""
    path = folder / name
    path.write_bytes(data)
    found = tried(what, lambda: read(path))
    assert [p.name for p in folder.iterdir()] == [name]
    assert path.read_bytes() == data
    return found


# --- files ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("handed-in")


@pytest.fixture(autouse=True)
def _empty(request):
    yield
    if "folder" in request.fixturenames:
        for path in request.getfixturevalue("folder").iterdir():
            path.unlink()


@bounded(120)
@given(st.one_of(spoilt(CLOTHS), texts.map(lambda t: t.encode("utf-8", "replace")), st.binary()))
def test_cloth_files(folder, data):
    cloth = _read(folder, "cloth.toml", data, "cloth file", read_cloth)
    if cloth is not None:
        _sound(cloth)


@bounded(250)
@given(st.one_of(spoilt((CSV, TSV, CGATS)), texts.map(lambda t: t.encode("utf-8", "replace"))))
def test_spectra_files(folder, data):
    found = _read(folder, "dye.csv", data, "spectra file", read_spectra)
    for name, spectrum in (found or {}).items():
        assert name.isprintable()
        assert spectrum.values.shape == (41,)
        assert np.all((spectrum.values >= 0.0) & (spectrum.values <= 1.0))


@bounded(120)
@given(st.one_of(spoilt((PROJECT,)), texts.map(lambda t: t.encode("utf-8", "replace"))))
def test_project_files(folder, data):
    project = _read(folder, "cape.json", data, "project file", load_making)
    if project is not None:
        text = to_json(project)
        assert to_json(from_json(text)) == text


@bounded(120)
@given(spoilt((PIECES,)))
def test_piece_files(data):
    text = data.decode("utf-8", "replace")
    for piece in tried("piece file", lambda: cutting_from_toml(text).pieces) or ():
        assert 3 <= len(piece.outline) <= 500
        assert np.all(np.isfinite(piece.outline))


# --- fields --------------------------------------------------------------------------------

CLOTH_TABLE = {
    "name": "Own taffeta",
    "weave": "plain",
    "ends": "50 /cm",
    "picks": "30 /cm",
    "weight": "60 g/m2",
    "warp_share": 0.5,
    "warp": {"fibre": "silk", "count": "30 denier", "kind": "filament", "colour": "#aa3311",
             "twist": "S 120", "hand": "S", "section": 1.2},
    "weft": {
        "fibre": "silk",
        "count": "60 denier",
        "kind": "spun",
        "crimp": 0.05,
        "packing": 0.6,
        "colour": {"wavelengths": list(range(400, 720, 20)), "reflectance": [0.2] * 16},
    },
}


@bounded(250)
@given(st.data(), st.one_of(plausible, values))
def test_cloth_tables(data, value):
    table = replaced(CLOTH_TABLE, data.draw, value)
    cloth = tried("cloth table", lambda: cloth_from_dict(table))
    if cloth is not None:
        _sound(cloth)


@bounded(250)
@given(st.data(), st.one_of(plausible, values))
def test_project_tables(data, value):
    table = replaced(to_dict(_project()), data.draw, value)
    project = tried("project table", lambda: from_dict(table))
    if project is not None:
        written = tried("project written", lambda: to_json(project))
        assert from_json(written) == project and to_json(from_json(written)) == written


NUMBERS = st.one_of(st.floats(), st.integers(-(10**4), 10**4), st.sampled_from([10**400, None]))


@bounded(150)
@given(
    st.lists(NUMBERS, max_size=45),
    st.one_of(
        st.lists(NUMBERS, max_size=45),
        st.lists(st.floats(0.0, 1.0), min_size=21, max_size=45),
        st.lists(st.floats(0.0, 100.0), min_size=21, max_size=45),
    ),
    st.sampled_from(["auto", "fraction", "percent", "x"]),
    st.booleans(),
)
def test_lists_of_readings(nm, readings, unit, sorted_nm):
    if sorted_nm:  # wavelengths that pass, so that the readings are reached
        nm = list(np.linspace(380, 780, len(readings)))
    found = tried("readings", lambda: resample(nm, readings, unit=unit))
    if found is not None:
        assert np.all((found.values >= 0.0) & (found.values <= 1.0))


NAMED = {
    "yarn size": units.linear_density_tex,
    "sett": units.sett_per_cm,
    "weight": units.areal_mass_g_m2,
    "length": units.length_mm,
    "weave": weave,
    "fibre": fibre,
    "backing": backing,
    "light": light_spectrum,
    "scene": scene,
    "swatch": load_swatch,
    "grain": grain_deg,
    "screen colour": screen_rgb,
}
BITS = st.lists(
    st.sampled_from(
        ["1", "0", "9" * 30, "/", "x", ".", "-", "e", "e9", "e400", " ", "denier", "tex", "Ne", "s",
         "Nm", "cm", "inch", "/cm", "epi", "g/m2", "momme", "mm", "twill ", "satin ", "2/2", "8/3",
         "hopsack ", "left", "X.", "#b01020", "#", "6500 K", "D65", "bias", "45", "nan", "inf",
         "skin ", "dark", "\x00", "\ud800", "\u0661", "²"]
    ),
    max_size=5,
).map("".join)  # fmt: skip


#: A number and a unit, most of them right for something.
MEASURES = st.tuples(
    st.one_of(st.floats(), st.floats(0.01, 500.0), st.integers(0, 200), st.just("20/22")),
    st.sampled_from(["denier", "tex", "dtex", "s", "/cm", "/inch", "epi", "g/m2", "momme",
                     "oz/yd2", "mm", "cm", "inch", "yd", "K"]),
).map(lambda pair: f"{pair[0]} {pair[1]}")  # fmt: skip
CALLED = st.sampled_from(["silk", "cotton", "plain", "twill 2/2", "satin 8/3", "hopsack 3/2",
                          "calico", "skin dark", "#8090a0", "daylight", "D65", "3000 K", "bias",
                          "overcast", "footlights", "cross", "slip-white"])  # fmt: skip


@pytest.mark.parametrize("what", NAMED)
def test_names_and_measures(what):
    @bounded(80)
    @given(st.one_of(MEASURES, CALLED, BITS, texts))
    def check(text):
        found = tried(what, lambda: NAMED[what](text))
        if isinstance(found, float) and what != "grain":
            assert 0.0 < found < np.inf

    check()


@bounded(80)
@given(
    st.one_of(
        st.lists(st.text("X.", min_size=3, max_size=3), min_size=2, max_size=5),
        st.lists(st.text("X.# 01-", max_size=6), max_size=6),
        st.lists(st.lists(values, max_size=4), max_size=4),
    )
)
def test_weaves_drawn_by_rows(rows):
    made = tried("lift plan", lambda: weave(rows))
    if made is not None:
        assert set(np.unique(made.lift)) == {0, 1}


# --- pictures ------------------------------------------------------------------------------


def _encoded(kind: str, **rest: object) -> bytes:
    rng = np.random.default_rng(1)
    ramp = np.linspace(20, 230, 80)[None, :, None] + rng.normal(0, 5, (72, 80, 3))
    out = io.BytesIO()
    Image.fromarray(ramp.clip(0, 255).astype(np.uint8)).save(out, kind, **rest)
    return out.getvalue()


PICTURES = (
    _encoded("JPEG"),
    _encoded("PNG"),
    _encoded("TIFF"),
    _encoded("TIFF", compression="tiff_lzw"),
    _encoded("TIFF", compression="tiff_adobe_deflate"),
    _encoded("WEBP"),
    _encoded("PNG", icc_profile=b"nonsense"),
    _encoded("JPEG", exif=b"Exif\0\0II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0"),
)


def _read_picture(data: bytes) -> None:
    seen = tried("picture", lambda: read_photograph(data))
    if seen is not None:
        assert seen.linear.ndim == 3 and seen.linear.shape[2] == 3
        assert np.all((seen.linear >= 0.0) & (seen.linear <= 1.0))  # and so no NaN


@bounded(250)
@given(st.one_of(spoilt(PICTURES), st.binary(max_size=400)))
def test_pictures(data):
    _read_picture(data)


@pytest.mark.parametrize("data", PICTURES, ids=lambda d: d[:4].hex())
def test_pictures_cut_off_anywhere(data):
    for at in range(0, len(data), max(1, len(data) // 25)):
        _read_picture(data[:at])


def _png(columns: int, rows: int, body: bytes, *extra: tuple[bytes, bytes]) -> bytes:
    """A PNG by hand (ISO/IEC 15948), with whatever size it claims."""

    def chunk(name: bytes, data: bytes) -> bytes:
        crc = zlib.crc32(name + data)
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", crc)

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 2, 0, 0, 0))
    more = b"".join(chunk(*part) for part in extra)
    return b"\x89PNG\r\n\x1a\n" + header + more + chunk(b"IDAT", body) + chunk(b"IEND", b"")


ZEROS = zlib.compress(bytes(50_000_000), 9)
BOMBS = {
    "a gigapixel in few bytes": _png(40_000, 40_000, ZEROS),
    "just under the library's own limit": _png(9000, 9000, ZEROS),
    "one row of very many": _png(2**31 - 1, 1, ZEROS),
    "no columns": _png(0, 100, b""),
    "text that unpacks": _png(100, 100, b"", (b"zTXt", b"a\0\0" + ZEROS)),
    "a profile that unpacks": _png(100, 100, b"", (b"iCCP", b"a\0\0" + ZEROS)),
    "small, unpacking to much more": _png(80, 80, ZEROS),
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_picture_bombs_are_refused_before_they_unpack(bomb):
    tracemalloc.start()
    try:
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        _read_picture(BOMBS[bomb])
        after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 200e6
    assert (after - before) < 200_000  # kB


# --- made to wear a reader out --------------------------------------------------------------

@pytest.fixture(scope="module")
def worn():
    done = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("wearing.py"))],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[1])},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


def test_nothing_wears_a_reader_out(worn):
    out, peak_mb = worn
    slow = {name: spent for name, (_, spent) in out.items() if spent > 10.0}
    assert not slow
    assert peak_mb < 1500  # the largest text here is 10 MB, the largest table 2 million cells


def test_what_wears_out_is_told_in_a_line(worn):
    taken = [name for name, (said, _) in worn[0].items() if said == "taken"]
    assert taken == ["many layers of many cloths"]  # large, but nothing is wrong with it
    assert all("\n" not in said for said, _ in worn[0].values())


def test_reading_over_and_over_keeps_no_memory():
    rng = np.random.default_rng(3)

    def spoil(data: bytes) -> bytes:
        spoilt = bytearray(data)
        for at in rng.integers(0, len(spoilt), 3):
            spoilt[at] = rng.integers(0, 256)
        return bytes(spoilt)

    def round_of() -> None:
        for _ in range(30):
            tried("over and over", lambda: cloth_from_toml(spoil(CLOTHS[0]).decode("latin-1")))
            tried("over and over", lambda: from_json(spoil(PROJECT).decode("latin-1")))
            tried(
                "over and over", lambda: spectra_from_text(spoil(CSV).decode("latin-1"), file="x")
            )
            tried("over and over", lambda: read_photograph(spoil(PICTURES[0])))

    tracemalloc.start()
    try:
        round_of()
        gc.collect()
        first = tracemalloc.get_traced_memory()[0]
        for _ in range(4):
            round_of()
        gc.collect()
        last = tracemalloc.get_traced_memory()[0]
    finally:
        tracemalloc.stop()
    # 480 inputs of 1 to 30 kB each: keeping them would be megabytes.
    assert last - first < 300_000


def test_the_watch_itself_notices(monkeypatch):
    clock = iter([0.0, 11.0])
    monkeypatch.setattr("fuzzing.time.process_time", lambda: next(clock))
    with pytest.raises(AssertionError, match="slow thing: 11.0 s"), quick("slow thing"):
        pass
