"""The command line as a user meets it: verbs, files left behind, one line when it goes wrong."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import click
import pytest
from PIL import Image

from weavecolor import cli
from weavecolor.cli import page, run
from weavecolor.colour.lights import light_names
from weavecolor.files.clothfile import cloth_to_toml, load_swatch, swatch_folder, swatch_names
from weavecolor.front import save_cloth
from weavecolor.scene.backings import backing_names
from weavecolor.scene.places import scene_names

CLOTH = "shot-organza-red-black"
QUICK = ["compare", CLOTH, "--grain", "straight", "--layers", "1,2", "--behind", "white"]


def good(capsys, *words):
    """Run, expect success, and return what was printed."""
    assert run(words) == 0
    return capsys.readouterr().out


def told(capsys, *words, code=2):
    """Run, expect a refusal, and return its one line."""
    assert run(words) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.endswith("\n") and err.count("\n") == 1
    assert err.startswith("weavecolor: ") and "Traceback" not in err
    return err.removeprefix("weavecolor: ").strip()


@pytest.mark.parametrize(
    ("verb", "names"),
    [
        ("cloths", swatch_names()),
        ("scenes", scene_names()),
        ("lights", light_names()),
        ("backings", backing_names()),
    ],
)
def test_lists_name_everything_there_is(capsys, verb, names):
    lines = good(capsys, verb).splitlines()
    for name in names:
        assert any(line.startswith(name) for line in lines)


def test_every_verb_has_help_of_its_own(capsys):
    listed = good(capsys, "--help")
    context = click.Context(cli.verbs)
    verbs = cli.verbs.list_commands(context)
    assert {"cloths", "describe", "compare", "scenes", "lights", "page"} <= set(verbs)
    for verb in verbs:
        assert verb in listed
        command = cli.verbs.get_command(context, verb)
        assert command is not None and command.get_short_help_str()
        assert "Usage: weavecolor" in good(capsys, verb, "--help")


def test_without_a_verb_it_shows_its_help(capsys):
    assert good(capsys) == good(capsys, "--help")


def test_describe_says_what_hairs_would_take(capsys):
    text = good(capsys, "describe", "cotton-voile-white")
    (few, many) = json.loads(good(capsys, "describe", "cotton-voile-white", "--table", "json"))[
        "one_layer"
    ]["straight_light_hairs_would_scatter"]
    assert 0.05 < few < many < 0.5
    assert f"hairs of the yarn, which are left out, scatter {few:.0%} to {many:.0%} of what" in text


def test_describe_gives_the_numbers_and_the_assumptions(capsys):
    text = good(capsys, "describe", CLOTH)
    assert "of the area, between yarns" in text and "between yarns and their filaments" in text
    assert "hairs" not in text  # of silk that is not spun
    for word in ("momme", "cover", "openness", "crimp", "jamming", "opacity", "Assumed"):
        assert word in text
    data = json.loads(good(capsys, "describe", CLOTH, "--table", "json"))
    numbers = data["construction"]
    # 1 momme = 4.340 g/m2 (3.75 g on 36 inches by 38 common-silk inches; handbook value).
    assert numbers["mass_g_m2"] / numbers["mass_momme"] == pytest.approx(4.34, abs=0.01)
    # Seen straight on, light passes where neither yarn is: (1 - c1)(1 - c2) (ISO 9044).
    open_area = (1 - numbers["warp_cover"]) * (1 - numbers["weft_cover"])
    assert data["one_layer"]["light_straight_through"] == pytest.approx(open_area, abs=2e-3)
    assert data["one_layer"]["straight_light_hairs_would_scatter"] == [0.0, 0.0]
    looks = data["one_layer"]["looks"]
    assert [(look["side"], look["behind"]) for look in looks] == [
        ("face", "white"), ("face", "black"), ("back", "white"), ("back", "black"),
    ]  # fmt: skip
    assert 0.0 < data["one_layer"]["opacity"] < 0.5  # a sheer hides little


def test_describe_tells_all_doubts_in_words_and_as_json(capsys, tmp_path):
    cloth = load_swatch("silk-chiffon-ivory")
    odd = replace(
        cloth, name="Crêpe", declared_g_m2=200.0, warp_crimp=0.3, weft_crimp=0.3,
        weft=replace(cloth.weft, colour_name="silver lurex"),
    )  # fmt: skip
    path = str(save_cloth(tmp_path / "odd.toml", odd))
    told = json.loads(good(capsys, "describe", path, "--table", "json"))["doubts"]
    for what in ("stated weight of 200", "crimps of 30 and 30", "crinkled", "(silver lurex): "):
        assert sum(what in doubt for doubt in told) == 1
    text = good(capsys, "describe", path)
    assert [line.removeprefix("Mind: ") for line in text.splitlines() if "Mind: " in line] == told


def test_describe_tells_what_was_supposed_of_a_file(capsys, tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(
        'name = "Own"\nweave = "plain"\nends = "40 /cm"\npicks = "38 /cm"\n'
        + "".join(
            f'[{s}]\nfibre = "silk"\ncount = "21 denier"\nkind = "filament"\ncolour = "#a02030"\n'
            for s in ("warp", "weft")
        ),
        "utf-8",
    )
    text = good(capsys, "describe", str(path))
    assert "supposed, as usual for silk yarn" in text
    assert "colour taken from a screen colour" in text


def test_compare_leaves_a_sheet_and_a_table(capsys, tmp_path):
    sheet, table = tmp_path / "sheet.png", tmp_path / "table.json"
    words = [*QUICK, "--out", str(sheet), "--table", "json", "--save", str(table)]
    assert good(capsys, *words) == ""
    picture = Image.open(sheet)
    assert picture.format == "PNG" and picture.info["icc_profile"]
    data = json.loads(table.read_text("utf-8"))
    assert [option["layers"] for option in data["options"]] == ["1 layer", "2 layers"]
    before = table.read_bytes(), sheet.read_bytes()
    good(capsys, *words)
    assert (table.read_bytes(), sheet.read_bytes()) == before
    assert sorted(tmp_path.iterdir()) == [sheet, table]


def test_compare_prints_text_or_csv(capsys):
    text = good(capsys, *QUICK)
    assert "Laying 2 layers instead of 1 makes it" in text
    rows = list(csv.reader(io.StringIO(good(capsys, *QUICK, "--table", "csv"))))
    assert len(rows) == 3 and len({len(row) for row in rows}) == 1


def test_a_cloth_file_stands_in_for_a_swatch(capsys, tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(cloth_to_toml(load_swatch(CLOTH)), "utf-8")
    mine = json.loads(good(capsys, "compare", str(path), *QUICK[2:], "--table", "json"))
    swatch = json.loads(good(capsys, *QUICK, "--table", "json"))
    for a, b in zip(mine["options"], swatch["options"], strict=True):
        assert a["Lab"] == pytest.approx(b["Lab"], abs=0.01)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["frob"], "No such command 'frob'"),
        (["compare"], "CLOTH: name one cloth"),
        (["compare", "nope"], "CLOTH: 'nope' is neither a swatch nor a cloth file"),
        (["compare", "no.toml"], "no.toml: no such file"),
        ([*QUICK, "--frob"], "No such option"),
        ([*QUICK, "--grain", "sideways"], "--grain: 'sideways' is no grain"),
        ([*QUICK, "--grain", "nan"], "--grain: "),
        ([*QUICK, "--layers", "1,,2"], "--layers: has an empty place"),
        ([*QUICK, "--layers", "two"], "--layers: 'two' is not a whole number"),
        ([*QUICK, "--layers", "99"], "--layers: 99 layers will not do"),
        ([*QUICK, "--layers", "1-13"], "--layers: 13 layers will not do"),
        ([*QUICK, "--layers", "3-1"], "--layers: '3-1' runs backwards; write 1-3"),
        ([*QUICK, "--scale", "3"], "--scale: does not count with no --out"),
        ([*QUICK, "--every-step", "--table", "csv"], "--every-step: does not count with --table"),
        ([*QUICK, "--layers", "1", "--turn", "20"], "--turn: does not count with one layer"),
        (["draw", "close-up", "muslin-white", "--turn", "5", "--out", "x.png"],
         "--turn: does not count with one layer"),
        ([*QUICK, "--layers", ",".join("1" * 99)], "--layers: 99 choices are too many"),
        ([*QUICK, "--behind", "moonshine"], "--behind: 'moonshine' is not a known backing"),
        ([*QUICK, "--scene", "moon"], "--scene: no scene called 'moon'"),
        ([*QUICK, "--side", "inside"], "--side: 'inside' is not a side of cloth; use face or back"),
        ([*QUICK, "--layers", "2", "--turn", "inf"], "grain: a grain angle is a number of degrees"),
        ([*QUICK, "--layers", "2", "--turn", "1e308"], "a grain angle is from -3600 to 3600"),
        (["draw", "close-up", "muslin-white", "--exposure", "1e6", "--out", "x.png"],
         "an exposure is a factor from 0.01 to 100"),
        (["draw", "hung", "muslin-white", "--turned", "1e308", "--out", "x.png"],
         "hung cloth is turned by -3600 to 3600 degrees, got 1e+308"),
        (["draw", "hung", "muslin-white", "--turned", "nan", "--out", "x.png"],
         "hung cloth is turned by -3600 to 3600 degrees, got nan"),
        ([*QUICK, "--out", "sheet.jpg"], "sheet.jpg: the sheet is a PNG"),
        ([*QUICK, "--observer", "4"], "Invalid value for '--observer'"),
    ],
)
def test_bad_input_is_told_in_one_line(capsys, words, line):
    assert told(capsys, *words).startswith(line)


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (('fibre = "silk"', 'fibre = "gossamer"'), "warp.fibre"),
        (('ends = "40.0 /cm"', 'ends = "-40 /cm"'), "ends"),
        (('ends = "40.0 /cm"', 'ends = "4000 /cm"'), "ends"),
        (("packing = 0.8", "packing = nan"), "warp.packing"),
        (("reflectance = [", "reflectance = [0.5, "), "warp.colour.reflectance"),
    ],
)
def test_a_bad_cloth_file_is_told_by_file_and_field(capsys, tmp_path, change, place):
    text = cloth_to_toml(load_swatch(CLOTH))
    assert change[0] in text
    path = tmp_path / "bad.toml"
    path.write_text(text.replace(*change, 1), "utf-8")
    out = tmp_path / "sheet.png"
    for verb in (["describe", str(path)], ["compare", str(path), "--out", str(out)]):
        assert told(capsys, *verb).startswith(f"{path}: {place}: ")
    assert not out.exists()


def test_a_folder_that_is_not_there_leaves_nothing(capsys, tmp_path):
    missing = tmp_path / "none" / "sheet.png"
    assert str(missing) in told(capsys, *QUICK, "--out", str(missing))
    assert list(tmp_path.iterdir()) == []


def test_a_fault_is_one_line_and_debug_shows_where(capsys, monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("two\nlines")

    monkeypatch.setattr("weavecolor.scene.places.scene_names", broken)
    line = told(capsys, "scenes", code=1)
    assert line.startswith("ZeroDivisionError: two lines") and "--debug" in line
    assert run(["scenes", "--debug"]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_being_stopped_is_no_fault(capsys, monkeypatch):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("weavecolor.scene.places.scene_names", stopped)
    assert run(["scenes"]) == 130
    assert capsys.readouterr().err.strip() == "weavecolor: stopped"


def test_help_starts_quickly_without_the_heavy_libraries():
    code = (
        "import sys; from weavecolor.cli import run; run(['--help']);"
        "print([m for m in ('numpy','colour','scipy','PIL','streamlit') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_it_runs_as_a_module_and_stops_quietly_when_the_reader_does():
    done = subprocess.run(
        f"{sys.executable} -m weavecolor scenes | head -n 1", shell=True, capture_output=True,
        text=True,
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout.startswith(scene_names()[0])


def test_what_the_page_needs_first_can_be_loaded_ahead():
    # what goes wrong there is passed over in silence: the page would only start later
    from weavecolor.cli import _pageserver

    for name in _pageserver.NEEDED:
        assert importlib.util.find_spec(name) is not None, name


def test_the_page_is_served_to_this_machine_alone_without_telemetry():
    words = page.page_command(Path("ui/page.py"), 8765, False)
    options = dict(zip(words, words[1:], strict=False))
    assert options["--server.address"] == "127.0.0.1"
    assert options["--browser.gatherUsageStats"] == "false"
    assert options["--server.port"] == "8765"
    assert options["--server.headless"] == "true"


def _heavy(tmp_path):
    """The demo cloth with a weight that its yarns and setts contradict, and a small project."""
    path = tmp_path / "heavy.toml"
    text = (swatch_folder() / "shot-organza-red-black.toml").read_text("utf-8")
    path.write_text(text.replace('weight = "4.3 momme"', 'weight = "400 g/m2"'), "utf-8")
    return str(path)


@pytest.mark.parametrize(
    "words",
    [
        ("describe", "CLOTH"),
        ("compare", "CLOTH", "--grain", "straight", "--behind", "white"),
        ("decide", "show-through", "CLOTH", "--hide", "dark underwear"),
        ("decide", "lights", "CLOTH", "--scene", "overcast,noon outdoors"),
        ("decide", "stacks", "CLOTH", "--want", "deepest", "--layers", "1", "--grain", "straight"),
        ("fullness", "--finished", "70cm", "--length", "90cm", "--cloth", "112cm", "--of", "CLOTH"),
        ("draw", "close-up", "CLOTH", "--size", "64", "--out", "PNG"),
    ],
    ids=lambda words: " ".join(words[:2]),
)  # fmt: skip
def test_a_contradicted_weight_is_told_beside_every_answer(capsys, tmp_path, words):
    named = {"CLOTH": _heavy(tmp_path), "PNG": str(tmp_path / "out.png")}
    assert run([named.get(word, word) for word in words]) == 0
    told = capsys.readouterr()
    text = " ".join((told.out + told.err).split())
    assert "the stated weight of 400 g/m2 is" in text and "Likely cause: " in text
    named["CLOTH"] = "shot-organza-red-black"
    assert run([named.get(word, word) for word in words]) == 0
    told = capsys.readouterr()
    assert "stated weight" not in told.out + told.err


def test_whole_stacks_are_headed_by_what_they_have_in_common(capsys):
    """No grain, face or number of layers of the first stands over the others."""
    words = ["compare", "--stack", "shot-organza-red-black", "--stack",
             "silk-chiffon-ivory back + shot-organza-red-black bias"]  # fmt: skip
    assert run([*words, "--behind", "white"]) == 0
    head = capsys.readouterr().out.splitlines()[:2]
    assert head == ["2 stacks", "window at the side; white behind; 2 degree observer"]


@pytest.mark.parametrize(
    ("words", "field"),
    [
        ("compare --stack silk-chiffon-ivory --stack slip-white --grain bias", "--grain"),
        ("compare --stack silk-chiffon-ivory --stack slip-white --side back", "--side"),
        ("compare --stack silk-chiffon-ivory --stack slip-white --layers 2", "--layers"),
        ("draw close-up --stack silk-chiffon-ivory --grain bias --out x.png", "--grain"),
        ("draw close-up silk-chiffon-ivory --zoom 3 --out x.png", "--zoom"),
        ("draw hung silk-chiffon-ivory --scale 0.1 --out x.png", "--scale"),
        ("draw hung silk-chiffon-ivory --frames 9 --out x.png", "--frames"),
        ("draw sheet silk-chiffon-ivory --grain straight,bias --turned 40 --out x.png", "--turned"),
        ("fullness --finished 70cm --length 90cm --cloth 112cm --kind flat --fullness 3",
         "--fullness"),
        ("fullness --finished 70cm --length 90cm --cloth 112cm --kind gathered --pleat 3cm",
         "--pleat"),
        ("fullness --finished 70cm --length 90cm --cloth 112cm --heights 9", "--heights"),
    ],
)  # fmt: skip
def test_what_was_said_and_does_not_count_is_told(words, field, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(words.split()) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"weavecolor: {field}: does not count with ")
    assert told.count("\n") == 1 and not list(tmp_path.iterdir())
