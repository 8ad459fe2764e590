"""From options to a sheet at the command line: fullness, lay, project, ranking, sheet."""

from __future__ import annotations

import io
import json
import time
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from weavecolor.cli import run
from weavecolor.cli._making import example_projects
from weavecolor.cutting.fullness import FullnessWanted
from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide import search as decide_search
from weavecolor.decide.showthrough import show_through, tape
from weavecolor.decide.wishes import Limits
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch, read_cloth, swatch_folder
from weavecolor.making.answers import (
    check_project,
    cloths_of,
    in_hand_of,
    lights_of,
    needs_of,
    project_cloth,
    stack_of,
    with_option,
    with_stacks,
)
from weavecolor.making.file import (
    change_making,
    from_json,
    load_making,
    save_making,
    to_dict,
    to_json,
)
from weavecolor.making.lightchoice import OWN_LIGHT, LightChoice, light_words, scene_of
from weavecolor.making.model import Making, MakingLayer, MakingOption, Measured
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.report.makingsheet import MakingSheet, SheetLayer, SheetSwatch, making_sheet_pdf
from weavecolor.report.sheetfrommaking import sheet_basis
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

EXAMPLE = "two-skirt-evening"
ORGANZA = "shot-organza-teal-copper"
PIECES = """
unit = "inch"
seam = 0.5
[[piece]]
name = "panel"
across = 20
down = 30
quantity = 2
[[piece]]
name = "front"
corners = [[0, 0], [8, 0], [8, 16], [0, 16]]
fold_edge = 3
seam = 0
"""


def pdf_words(data: bytes) -> str:
    pypdf = pytest.importorskip("pypdf")
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def project(**changes) -> Making:
    held = Making(
        title="Gown",
        cloths=(
            project_cloth("o", swatch_folder() / f"{ORGANZA}.toml", (ClothInHand(112, 250),)),
            project_cloth("c", swatch_folder() / "silk-chiffon-ivory.toml"),
        ),
        options=(MakingOption("A", (MakingLayer("o", 90.0), MakingLayer("c")), "white"),),
        chosen="A",
        scenes=("ballroom",),
        pieces=cutting_from_toml(PIECES).pieces,
    )
    return replace(held, **changes)


# --- the whole way ----------------------------------------------------------------------------


def test_from_the_example_to_a_ranking_a_choice_a_lay_and_a_sheet(tmp_path, capsys):
    mine = tmp_path / "mine.json"
    asked = ["project", "new", str(mine), "--like", EXAMPLE, "--scene", "ballroom"]
    assert run(asked) == 0
    before = load_making(mine)
    asked = ["decide", "stacks", ORGANZA, "--project", str(mine), "--want", "deepest"]
    asked += ["--layers", "1", "--behind", "white,black", "--options", "2", "--keep"]
    capsys.readouterr()
    assert run(asked) == 0
    told = capsys.readouterr()
    # The cloth in hand decides: cross grain is deeper, but only straight grain can be cut.
    assert told.out.startswith("1. Shot silk organza, teal and copper, straight grain; black")
    assert "cross grain: no lay found" in told.out and "straight grain fits" in told.out
    held = load_making(mine)
    new = [o for o in held.options if o.name not in {x.name for x in before.options}]
    assert new[0].layers == (MakingLayer(ORGANZA),) and new[0].backing == "black"
    assert held.chosen == before.chosen and {o.name for o in new} <= {o.name for o in held.options}

    assert run(["project", "choose", str(mine), new[0].name]) == 0
    drawn = tmp_path / "lay.svg"
    assert run(["lay", str(mine), "--tries", "60", "--out", str(drawn)]) == 0
    assert "It fits: " in capsys.readouterr().out and drawn.exists()

    sheet = tmp_path / "sheet.pdf"
    asked = ["sheet", str(mine), "--out", str(sheet), "--png", "--pictures", "close-up"]
    assert run([*asked, "--date", "4 March", "--tries", "60"]) == 0
    words = pdf_words(sheet.read_bytes())
    held = load_making(mine)
    expected = appearance(stack_of(held, held.option(new[0].name)), scene("ballroom")).reading
    for text in (
        "Evening dress, two skirts",
        "4 March",
        "straight grain, warp down; face out",
        "Behind: black.",
        expected.words,
        f"{expected.Lab[0]:.1f}",
        "Dark bone channel tape, 3/8 inch: ",
        "skirt panel",
        "Lay on Shot silk organza, teal and copper",
        "Laid on: the last of the bolt, 112 cm (44 1/8 in) wide",
        "flaw 8 x 8 cm",
        "2.97 to 1",  # 2 x (110 - 3) cm on 72 cm
        "open flame",
        "thread count",
        "Stitch the real sample here",
    ):
        assert text in words, text
    pages = sorted(tmp_path.glob("sheet-*.png"))
    assert [p.name for p in pages] == ["sheet-1.png", "sheet-2.png"]
    with Image.open(pages[0]) as page:
        assert page.size == (1654, 2339)  # A4 (ISO 216) at 200 dots an inch


def test_the_example_is_sound_and_is_not_written_to(capsys):
    assert run(["project", "check", EXAMPLE]) == 0
    assert "Sound." in capsys.readouterr().out
    assert run(["project", "show", EXAMPLE]) == 0
    assert " * A: Shot silk organza" in capsys.readouterr().out
    before = example_projects()[EXAMPLE].read_bytes()
    assert run(["project", "choose", EXAMPLE, "B"]) == 2
    asked = ["decide", "stacks", "--project", EXAMPLE, "--keep"]
    assert run(asked) == 2
    assert example_projects()[EXAMPLE].read_bytes() == before
    held = load_making(example_projects()[EXAMPLE])
    assert to_json(held) == before.decode("utf-8") and check_project(held) == ()


# --- fullness ---------------------------------------------------------------------------------


def test_fullness_lays_pleats_beside_gathers(capsys):
    asked = ["fullness", "--finished", "72 cm", "--length", "84 cm", "--cloth", "1.12 m"]
    asked += ["--hem-round", "200 cm", "--doubled", "both", "--json"]
    assert run(asked) == 0
    found = json.loads(capsys.readouterr().out)
    ways = {(w["kind"], w["doubled"]): w for w in found["ways"]}
    assert len(ways) == 6
    # Worked by hand (common practice, no source): 2.5 x 72 = 180 needs 2 widths of 109 = 218 cm;
    # single drop 84 + 1.5 + 5 = 90.5, doubled 2 x (84 + 1.5) = 171.
    single, double = ways["knife", False], ways["knife", True]
    assert single["widths"] == 2 and single["fullness"] == pytest.approx(218 / 72, abs=1e-4)
    assert single["cloth_length_cm"] == 181.0 and double["cloth_length_cm"] == 342.0
    assert single["mean_layers"] == pytest.approx(218 / 72, abs=1e-3)  # flat folds
    assert double["mean_layers"] == pytest.approx(2 * 218 / 72, abs=2e-3)
    *_, above, edge, hem = ways["gathered", False]["by_height"]
    assert hem["fullness"] == pytest.approx(218 / 200, abs=1e-4) and above["bare_share"] == 1.0
    # The hem of 5 cm is turned up: there every layer is two, and the cloth is counted twice.
    assert edge["below_waist_cm"] == pytest.approx(79.0) and not above["doubled"]
    assert hem["doubled"] and hem["bare_share"] == 0.0 and hem["layers"] == [2]
    assert hem["cover"] == pytest.approx(2 * 218 / 200, abs=1e-4)
    assert run(asked[:-1]) == 0
    text = capsys.readouterr().out
    assert "knife pleats, doubled" in text and "84 cm (33 1/8 in)" in text


# --- lay --------------------------------------------------------------------------------------


def test_a_list_of_pieces_is_laid_at_each_grain(tmp_path, capsys):
    listed = tmp_path / "pieces.toml"
    listed.write_text(PIECES)
    # Panels are 21 x 31 in cut: two side by side on straight grain need 42 in of width and 31 in
    # of length; across the grain they lie one after another, 42 in of length.
    asked = ["lay", str(listed), "--cloth", "42 x 47.5 inch", "--grain", "straight,cross"]
    saved = tmp_path / "lays.json"
    assert run([*asked, "--json", "--save", str(saved), "--tries", "40"]) == 0
    straight, cross = json.loads(saved.read_text())["lays"]
    assert straight["verdict"] == "fits"
    assert straight["used_cm"] == pytest.approx((31 + 16) * 2.54, abs=0.02)  # front below panels
    # 31 in of panel leave 11 in beside them and 5.5 in below: no room for 16 x 16 in.
    assert cross["verdict"] != "fits" and cross["missing"] == ["front"]
    for ending in ("png", "svg", "pdf"):
        out = tmp_path / f"lay.{ending}"
        assert run([*asked[:5], "straight", "--out", str(out), "--tries", "40"]) == 0
    with Image.open(tmp_path / "lay.png") as image:
        assert image.width > 1000 and len(image.getcolors(1 << 20)) > 5
    root = ET.parse(tmp_path / "lay.svg").getroot()
    space = "{http://www.w3.org/2000/svg}"
    said = [node.text for node in root.iter(f"{space}text")]
    assert said.count("1 panel") == 2 and "It fits" in " ".join(map(str, said))
    assert len(list(root.iter(f"{space}polygon"))) >= 4
    assert "panel" in pdf_words((tmp_path / "lay.pdf").read_bytes())


def test_every_layer_is_laid_and_the_cloth_without_an_amount_is_told(capsys):
    held = project()
    organza, chiffon = needs_of(held, held.options[0], 30)
    assert organza.fits and len(organza.laid[0][1].placements) == 3
    assert chiffon.laid == () and chiffon.enough is None and "not given" in chiffon.reason
    twice = MakingOption("B", (MakingLayer("o"), MakingLayer("o", 90.0)))
    (both,) = needs_of(held, twice, 30)
    (_, made), = both.laid  # fmt: skip
    assert len(made.placements) + len(made.missing) == 6
    odd = MakingOption("C", (MakingLayer("o", 10.0), MakingLayer("o", 60.0)))
    (need,) = needs_of(held, odd, 10)
    turns = {round(p.turned_deg % 180.0) for p in need.laid[0][1].placements}
    assert turns == {170, 120}  # each layer's pieces at its own grain
    assert needs_of(replace(held, pieces=()), twice) == ()
    assert set(in_hand_of(held)) == {load_swatch(ORGANZA).name}


def test_pieces_in_inches_become_centimetres():
    panel, front = cutting_from_toml(PIECES).pieces
    assert panel.outline[2] == pytest.approx((50.8, 76.2)) and panel.seam_cm == pytest.approx(1.27)
    assert front.fold_edge == 3 and front.seam_cm == 0.0 and front.quantity == 1


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "at least one piece"),
        ("piece = 3", "at least one piece"),
        ("[[piece]]\nacross = 3", "name: is missing"),
        ("[[piece]]\nname = 'a'\nacross = 3", "down: is missing"),
        ("[[piece]]\nname = 'a'\nacross = 3\ndown = 4\nwide = 1", "not a known field"),
        ("[[piece]]\nname = 'a'\nacross = 3\ncorners = []", "not both"),
        ("[[piece]]\nname = 'a'\ncorners = [[0, 0], [1, 1], [1, 0], [0, 1]]", "touches itself"),
        ("[[piece]]\nname = 'a'\nacross = 3\ndown = 4\nquantity = 1.5", "whole number"),
        ("[[piece]]\nname = 'a'\nacross = 3\ndown = 4\npair = true", "even numbers"),
        ("[[piece]", "not valid TOML"),
    ],
)
def test_a_wrong_list_of_pieces_is_refused(text, says):
    with pytest.raises(InputError, match=says) as caught:
        cutting_from_toml(f'unit = "cm"\n{text}', "mine.toml")
    assert "mine.toml" in str(caught.value)


# --- project ----------------------------------------------------------------------------------


def test_a_project_is_begun_shown_and_chosen_in(tmp_path, capsys):
    file, listed = tmp_path / "dress.json", tmp_path / "pieces.toml"
    listed.write_text(PIECES)
    asked = ["project", "new", str(file), "--title", "Dress", "--pieces", str(listed)]
    asked += ["--cloth", "polyester-organza-blue=112x250cm", "--behind", "white,open"]
    assert run([*asked, "--scene", "candlelit,ballroom", "--want", "most shot"]) == 0
    assert "No option yet" in capsys.readouterr().err
    held = load_making(file)
    cloth = cloths_of(held)["polyester-organza-blue"]
    # Its spectra come from a file beside the swatch; the project needs no other file.
    original = read_cloth(swatch_folder() / "polyester-organza-blue.toml")
    assert cloth.warp.colour == pytest.approx(original.warp.colour, abs=1e-12)
    assert run(asked) == 2 and "is there already" in capsys.readouterr().err
    same = Stack((*stack_of(project(), project().options[0]).layers[:1],))
    both, names = with_stacks(project(), (same, same))
    assert names == ("B", "B") and both.option("B").backing == "" and both.chosen == "A"


def test_there_is_a_name_for_every_option_that_is_kept():
    first = project().options[0]
    turned = (replace(first.layers[0], grain_deg=float(k)) for k in range(1, 200))
    many = tuple(replace(first, name=f"own {k}", layers=(x,)) for k, x in enumerate(turned))
    made, name = with_option(replace(project(), options=many, chosen=""), first)
    assert (name, made.option(name)) == ("A", replace(first, name="A"))
    for k in range(130):
        backing = f"#{k:02x}4444"
        made, name = with_option(made, replace(first, backing=backing))
        assert made.option(name).backing == backing
    assert name == "A104"


def test_what_was_supposed_of_a_cloth_is_still_known_in_the_project(tmp_path):
    bare = tmp_path / "bare.toml"
    yarn = 'fibre = "silk"\ncount = "20 denier"\nkind = "filament"\ncolour = "#aa2233"\n'
    bare.write_text(
        f'name = "bare"\nweave = "plain"\nends = "40 /cm"\npicks = "40 /cm"\n'
        f'[warp]\n{yarn}[weft]\n{yarn}[source]\nends = "counted over 2 cm"\n'
    )
    held = Making(cloths=(project_cloth("bare", bare),))
    (cloth,) = cloths_of(held).values()
    assert cloth.known == read_cloth(bare).known and cloth.known
    basis = sheet_basis([cloth], [Measured("weight", "scales", {})])
    assert [b.what for b in basis if b.how_known == "measured"] == ["weight", "Ends"]
    assert any("supposed" in b.what and b.how_known == "assumed" for b in basis)


def test_fullness_told_besides_leaves_that_of_the_file(capsys, tmp_path):
    pieces = tmp_path / "p.toml"
    pieces.write_text(
        'unit = "cm"\n[[fullness]]\nwhat = "underskirt"\nkind = "gathered"\nfinished = 70\n'
        "length = 90\nfullness = 2\n", "utf-8",
    )  # fmt: skip
    asked = ["lay", str(pieces), "--cloth", "112 x 900 cm", "--grain", "straight", "--json"]
    for told, kept in (
        ([], ["underskirt"]),
        (["skirt: 70 x 60 cm, gathered, 2 to 1"], ["underskirt", "skirt"]),
        (["Underskirt: 70 x 60 cm, gathered, 2 to 1"], ["Underskirt"]),  # another length of it
    ):
        assert run([*asked, *(word for text in told for word in ("--fullness", text))]) == 0
        (laid,) = json.loads(capsys.readouterr().out)["lays"]
        assert [one["what"] for one in laid["fullness"]] == kept


def test_a_lay_is_drawn_though_nobody_reads_what_is_told(tmp_path, monkeypatch):
    def cut_off(*_args):
        raise BrokenPipeError

    monkeypatch.setattr("weavecolor.cli.lay.give", cut_off)
    pieces = tmp_path / "p.toml"
    pieces.write_text('unit = "cm"\n[[piece]]\nname = "band"\nacross = 30\ndown = 40\n', "utf-8")
    drawn = tmp_path / "lay.png"
    run(["lay", str(pieces), "--cloth", "112 x 100 cm", "--grain", "straight", "--out", str(drawn)])
    assert drawn.read_bytes()[:4] == b"\x89PNG"


def test_the_light_of_a_project_is_the_one_that_was_set():
    moved = LightChoice("ballroom", True, -40, 20)
    held = project(light=moved, scenes=("ballroom", "candlelit"))
    assert lights_of(held) == (moved, LightChoice("candlelit"))
    assert scene_of(moved).lights[0].azimuth_deg != scene("ballroom").lights[0].azimuth_deg
    assert lights_of(project(scenes=())) == (LightChoice(),)
    # one place by two names, as written by hand, is one light
    twice = lights_of(project(scenes=("Chandeliers", "ballroom", "candle", "candlelit")))
    assert [light.place for light in twice] == ["ballroom", "candlelit"]
    assert len(lights_of(project(light=LightChoice("Candle"), scenes=("candlelit",)))) == 1


def test_where_light_and_eye_stand_is_told_with_every_answer(tmp_path, capsys):
    """By what was set, in the words of one who faces the cloth."""
    below = LightChoice("footlights", eye_moved=True, eye_side_deg=40, eye_height_deg=-10)
    own = LightChoice(OWN_LIGHT, side_deg=-60, lamp="candle", soft=0.25, wide_deg=10)
    for light, words in (
        (below, "footlights, seen from 40° right, 10° down"),
        (own, "light of your own (candle, 10° wide to each side, 25% all around), light from 60° "
         "left, level"),
        (LightChoice("ballroom", True, 0, 20), "ballroom, light from straight ahead, 20° up"),
    ):  # fmt: skip
        assert light_words(light) == words == scene_of(light).name
        path = tmp_path / "mine.json"
        save_making(path, project(light=light, scenes=()))
        assert run(["project", "show", str(path)]) == 0
        assert f"Lights: {words}" in capsys.readouterr().out
    stack = Stack((Layer(load_swatch("silk-chiffon-ivory")),), backing("white"))
    told = show_through(tape(stack), scene_of(below)).words
    assert "footlights, seen from 40° right, 10° down" in told


def test_wishes_limits_and_fullness_are_kept():
    wanted = FullnessWanted("skirt", "knife", 72, 112, 84, widths=2)
    limits = Limits((2, 3), ("o",), (0.0, 45.0), False, ("back",), 80.0, "apart")
    held = project(wishes=("deepest", "target #102030"), limits=limits, fullness=(wanted,))
    assert from_json(to_json(held)) == held
    for path, value, says in (
        (("limits", "layers"), [2, 1], "limits.layers"),
        (("limits", "faces"), ["inside"], "limits.faces"),
        (("limits", "outside"), ["gone"], "not one of the cloths"),
        (("limits", "weight_g_m2"), -1, "limits.weight_g_m2"),
        (("limits", "lay"), "tight", "limits.lay: 'tight' is not a way to lay cloth"),
        (("fullness", 0, "widths"), None, "fullness wanted or the number of widths"),
        (("fullness", 0, "kind"), "ruched", "kind"),
        (("fullness", 0, "finished_cm"), 0, r"fullness\[0\]"),
    ):
        data = to_dict(held)
        table = data
        for key in path[:-1]:
            table = table[key]
        table[path[-1]] = value
        with pytest.raises(InputError, match=says):
            from_json(json.dumps(data))


def test_a_sheet_for_which_there_is_too_little_cloth_says_so(tmp_path, capsys):
    file, out = tmp_path / "p.json", tmp_path / "s.pdf"
    short = project_cloth("o", swatch_folder() / f"{ORGANZA}.toml", (ClothInHand(112, 60),))
    option = MakingOption("A", (MakingLayer("o"),), "black")
    save_making(file, project(cloths=(short,), options=(option,)))
    assert run(["sheet", str(file), "--out", str(out), "--pictures", "none"]) == 0
    assert "caution: " in capsys.readouterr().err
    assert "Cannot fit: Shot silk organza" in pdf_words(out.read_bytes())


def test_pictures_that_find_no_room_are_counted():
    swatch = SheetSwatch(Image.new("RGB", (40, 30), "red"), "red")
    made = MakingSheet("Gown", "today", (SheetLayer("silk"),), swatches=(swatch,) * 8)
    assert "and 2 more pictures that this sheet has no room for" in pdf_words(
        making_sheet_pdf(made)
    )


# --- complaints -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["fullness", "--finished", "x", "--length", "9cm", "--cloth", "9cm"], "--finished"),
        (["fullness", "--finished", "70", "--length", "9cm", "--cloth", "9cm"], "70 inch"),
        (["fullness", "--finished", "70cm", "--length", "90cm", "--cloth", "112cm", "--doubled",
          "yes", "--hem", "3cm"], "--hem: does not count with --doubled yes"),
        (["fullness", "--finished", "70cm", "--length", "90cm", "--cloth", "2cm"],
         "seam allowances"),
        (["fullness", "--finished", "70cm", "--length", "90cm", "--cloth", "112cm", "--kind",
          "ruched"], "--kind"),
        (["fullness", "--finished", "70cm", "--length", "90cm", "--cloth", "112cm",
          "--hem-round", "999cm"], "10 widths, 15.6 to 1"),
        (["lay", "nothing-such"], "neither a project file nor an example"),
        (["lay", "9" * 300], "too long to name a file"),
        (["project", "keep", "9" * 300, "muslin-white"], "too long to name a file"),
        (["lay", "gone.toml", "--cloth", "112x250cm"], "no such file"),
        (["lay", EXAMPLE, "--out", "OUT/lay.gif"], ".png, .svg"),
        (["lay", EXAMPLE, "--cloth", "112cm"], "width x length"),
        (["lay", EXAMPLE, "--option", "Z"], "there are: A, B, C"),
        (["project", "new", "OUT/a.txt"], "ends in .json"),
        (["project", "new", "OUT/a.json", "--like", "nothing"], "no example"),
        (["project", "new", "OUT/a.json", "--cloth", "nothing"], "neither a swatch"),
        (["project", "new", "OUT/a.json", "--want", "shiny"], "no wish"),
        (["project", "new", "OUT/a.json", "--scene", "moon"], "scenes"),
        (["project", "new", "OUT/a.json", "--behind", "mirror"], "backings"),
        (["project", "show", "OUT/gone.json"], "no such file"),
        (["sheet", EXAMPLE, "--out", "OUT/s.doc"], ".pdf or .png"),
        (["sheet", EXAMPLE, "--out", "OUT/s.pdf", "--pictures", "portrait"], "pictures"),
        (["sheet", EXAMPLE, "--out", "OUT/s.pdf", "--option", "Z"], "there are: A, B, C"),
        (["decide", "stacks", "--want", "deepest"], "name the cloths"),
        (["decide", "stacks", ORGANZA, "--keep", "--want", "deepest"], "--project"),
        (["decide", "stacks", "silk", "--project", EXAMPLE], "not a cloth of the project"),
    ],
)  # fmt: skip
def test_bad_input_is_one_line_and_leaves_nothing(words, told, capsys, tmp_path):
    assert run([word.replace("OUT", str(tmp_path)) for word in words]) == 2
    captured = capsys.readouterr()
    assert told in captured.err and captured.err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_a_project_without_a_choice_or_of_a_newer_version_is_refused(tmp_path, capsys):
    file = tmp_path / "p.json"
    save_making(file, project(chosen="", options=()))
    out = tmp_path / "s.pdf"
    assert run(["sheet", str(file), "--out", str(out)]) == 2
    assert "holds no option yet" in capsys.readouterr().err
    save_making(file, project(chosen=""))  # one option, and still not chosen unasked
    assert run(["sheet", str(file), "--out", str(out)]) == 2
    assert "no option is chosen" in capsys.readouterr().err
    file.write_text(json.dumps({**to_dict(project()), "weavecolor_project": 99}))
    for verb in (["sheet", str(file), "--out", str(out)], ["project", "check", str(file)]):
        assert run(verb) == 2
        assert "newer weavecolor" in capsys.readouterr().err
    assert not out.exists()


def test_a_stack_of_ones_own_is_kept_and_its_fullness_told_as_it_is_cut(tmp_path, capsys):
    skirt = FullnessWanted("skirt", "gathered", 70.0, 110.0, 60.0, fullness=2.5)
    hand = (ClothInHand(150.0, 400.0, selvedge_cm=1.0),)
    held = project(fullness=(skirt,), chosen="", backings=("black",))
    held = replace(held, cloths=(held.cloths[0], replace(held.cloths[1], in_hand=hand)))
    file = str(save_making(tmp_path / "p.json", held))

    def shown():
        assert run(["project", "show", file]) == 0
        return capsys.readouterr().out

    # 175 on 112, and on 148 between the selvedges: two widths joined of each
    told = shown()
    assert "Skirt, o: 2 widths of 112 cm" in told and "Skirt, c: 2 widths of 148 cm" in told
    assert run(["project", "keep", file, "c back cross + o 30"]) == 0
    assert "kept in" in (said := capsys.readouterr().err) and "choose" in said
    kept = load_making(file).option("B")
    assert [(x.cloth, x.grain_deg, x.face) for x in kept.layers] == [
        ("c", 90.0, "back"), ("o", 30.0, "face")
    ]  # fmt: skip
    assert kept.backing == "black" and not load_making(file).chosen
    # a stack that answers told is read again by the cloths' own names, and is the same one
    one, other = (load_making(file).cloth(key).cloth.name for key in ("c", "o"))
    again = f"{one}, cross grain, back out over {other}, warp 30\u00b0 off straight"
    assert run(["project", "keep", file, again]) == 0
    assert load_making(file).options[-1] == kept
    capsys.readouterr()
    assert run(["project", "choose", file, "B"]) == 0
    # sideways 175 and two seams go round in one
    told = shown()
    assert "Skirt, c: 1 length of 178 cm" in told and "2 widths" not in told
    for wrong, says in (("q + o", "no cloth of"), ("", "names no cloth")):
        assert run(["project", "keep", file, wrong]) == 2
        assert says in capsys.readouterr().err
    assert run(["project", "keep", file, "c", "--behind", ORGANZA]) == 2
    assert "innermost layer" in capsys.readouterr().err


def test_two_who_work_at_one_file_lose_nothing_and_each_is_told_her_own_letter(
    tmp_path, capsys, monkeypatch
):
    file = str(save_making(tmp_path / "p.json", project(chosen="")))
    search = decide_search.search

    def meanwhile(*args, **more):
        """A search takes a minute; in that time another keeps and chooses."""
        found = search(*args, **more)
        assert run(["project", "keep", file, "c bias"]) == 0
        assert run(["project", "choose", file, "B"]) == 0
        return found

    monkeypatch.setattr(decide_search, "search", meanwhile)
    asked = ["decide", "stacks", "--project", file, "--keep", "--layers", "1", "--options", "2",
             "--no-bias", "--want", "brightest"]  # fmt: skip
    assert run(asked) == 0
    assert "as C, D" in capsys.readouterr().err
    held = load_making(file)
    assert [one.name for one in held.options] == ["A", "B", "C", "D"] and held.chosen == "B"
    assert [(x.cloth, x.grain_deg) for x in held.option("B").layers] == [("c", 45.0)]


def test_changes_at_one_moment_wait_for_one_another(tmp_path):
    file = save_making(tmp_path / "p.json", Making(""))

    def more(letter):
        def slow(now):
            time.sleep(0.02)
            return replace(now, title=now.title + letter)

        change_making(file, slow)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(more, "abcdefgh"))
    assert sorted(load_making(file).title) == list("abcdefgh")
    assert [path.name for path in tmp_path.iterdir()] == ["p.json"]


def test_a_grain_that_nobody_asked_for_and_a_fold_does_not_allow_leaves_the_others_told(
    tmp_path, capsys
):
    """A single piece on the bias of folded cloth: its copy beneath lies on the other diagonal."""
    file = tmp_path / "pieces.toml"
    piece = 'name = "collar"\nacross = 30\ndown = 20\nquantity = 2\n'
    file.write_text(f'unit = "cm"\n[[piece]]\n{piece}')
    asked = ["lay", str(file), "--cloth", "112x100cm", "--fold", "lengthwise", "--tries", "2"]
    assert run(asked) == 0
    said = capsys.readouterr()
    assert "Straight grain:" in said.out and "Cross grain:" in said.out and "Bias" not in said.out
    assert said.err.startswith("Bias: ") and "other diagonal" in said.err
    assert run([*asked, "--grain", "straight,bias"]) == 2
    assert "other diagonal" in capsys.readouterr().err


def test_what_is_cut_for_fullness_is_told_in_inches_as_on_the_sheet(capsys):
    """Two widths of 44 inches; 35 1/2 and 5/8 and 2 inches long: 38 1/8."""
    asked = "fullness --finished 27.5inch --length 35.5inch --top 0.625inch --hem 2inch"
    assert run([*asked.split(), "--cloth", "44inch", "--kind", "gathered", "--layers", "2"]) == 0
    said = capsys.readouterr().out
    assert "2 widths of 111.8 cm (44 in), each cut 96.8 cm (38 1/8 in) long, in each of 2" in said


def test_what_hangs_beneath_is_kept_and_drawn_on_the_sheet_as_everywhere(tmp_path, capsys):
    """A slip over white is refused in one line and nothing is kept; over calico it is drawn as the
    front door draws it, and the sheet says so."""
    from weavecolor.making.answers import shape_of, swatch_cloth
    from weavecolor.picture.hung import ASIDE, draw_hung
    from weavecolor.report.sheetfrommaking import SheetChoices, making_sheet

    mine = tmp_path / "mine.json"
    cloths = tuple(swatch_cloth(x) for x in ("shot-organza-red-black", "slip-white"))
    mine.write_text(to_json(Making("Skirt", cloths=cloths)))
    asked = ["project", "keep", str(mine), "shot-organza-red-black + slip-white", "--beneath",
             "slip", "--behind"]  # fmt: skip
    before = mine.read_text()
    assert run([*asked, "white"]) == 2
    said = capsys.readouterr().err
    assert "white behind is worn as a lining" in said and len(said.splitlines()) == 1
    assert mine.read_text() == before
    assert run([*asked, "calico"]) == 0
    held = load_making(mine)
    (option,) = held.options
    assert (option.beneath, option.backing) == ("slip", "calico")
    made = replace(held, chosen=option.name)
    (swatch,) = making_sheet(made, SheetChoices("today", pictures=("drape",))).swatches
    assert "innermost layer hangs beneath as a slip" in swatch.caption
    stack = stack_of(made, option)
    drawn = draw_hung(stack, scene_of(lights_of(made)[0]), shape_of(made, stack), 760, 800,
                      sight=ASIDE, behind=stack.backing, beneath="slip")  # fmt: skip
    assert (np.asarray(swatch.picture) == np.asarray(drawn)).all()
