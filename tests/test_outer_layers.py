"""Double only at the bodice: what is cut in the outer layers alone, summed, kept and told alike.

The lengths are worked by hand: rectangles one after another. Common practice, no source.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from weavecolor.cli import run
from weavecolor.cutting.asked import fullness_from
from weavecolor.cutting.fullness import FullnessWanted
from weavecolor.cutting.needed import Layers, cloth_needed
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.enoughcloth import fits_by_lay, stack_needs
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.making.answers import as_cut, fits_of, needs_of, stack_of, swatch_cloth
from weavecolor.making.file import VERSION, from_json, open_json, save_making, to_json
from weavecolor.making.model import FullnessAsked, Making, MakingLayer, MakingOption
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.report import sheetfrommaking
from weavecolor.report.makingsheet import SheetSwatch, making_sheet_images
from weavecolor.report.sheetfrommaking import SheetChoices, making_sheet
from weavecolor.report.sheetlayout import sheet_pages
from weavecolor.report.sheetwords import needed_sentences
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import hung
from weavecolor.scene.places import scene

pytestmark = pytest.mark.usefixtures("few_lays")

ORGANZA, CHIFFON = "shot-organza-teal-copper", "silk-chiffon-ivory"
#: Takes the whole of 100 cm of width and 40 of length.
BODICE = Piece.rectangle("bodice", 100.0, 40.0, seam_cm=0.0)
#: 2 widths of 100 cm, each 60 + 1.5 + 5 = 66.5 long: 133 cm a layer.
SKIRT = FullnessWanted("skirt", "gathered", 70.0, 100.0, 60.0, fullness=2.5, layers=1)
ROOMY = ClothInHand(100.0, 1000.0)


@pytest.mark.parametrize("layers", [1, 2, 3])
def test_the_sum_has_a_skirt_of_one_layer_once_and_the_bodice_of_all(layers):
    need = cloth_needed("silk", ((0.0, layers),), [BODICE], [SKIRT], [ROOMY], tries=5)
    assert need.fits and need.used_cm == pytest.approx(layers * 40.0 + 133.0)
    assert sorted((part.name, part.quantity) for part in need.parts) == [
        ("bodice", layers), ("skirt panel", 2)
    ]  # fmt: skip
    said = " ".join(needed_sentences(need))
    assert ("Cut in the outermost layer alone: skirt." in said) == (layers > 1)
    every = cloth_needed("silk", ((0.0, layers),), [BODICE], [replace(SKIRT, layers=None)], [ROOMY],
                         tries=5)  # fmt: skip
    assert every.used_cm == pytest.approx(layers * 173.0)
    assert "alone" not in " ".join(needed_sentences(every))


def test_layers_at_two_grains_take_what_is_theirs_by_their_place():
    """The outermost, on the cross, is named last; the skirt lies sideways on it, once: a length of
    194 + 3 (seams) = 197 or less, of which 66.5 go down the width."""
    grains = (Layers(0.0, 1, depths=(2,)), Layers(90.0, 1, depths=(1,)))
    need = cloth_needed("silk", grains, [BODICE], [SKIRT], [ROOMY], tries=5)
    ((what, plan, many),) = need.plans
    assert (what, many, plan.sideways) == ("skirt", 1, True)
    # too little for both layers: the innermost goes, not the one that is named last
    scant = cloth_needed("silk", grains, [BODICE], [replace(SKIRT, fullness=1.0)],
                         [ClothInHand(100.0, 180.0)], tries=5)  # fmt: skip
    # a band of 40 turned and 70 + 3 of the skirt, 66.5 wide, do not lie side by side: 100 + 73
    assert not scant.fits and "1 layer, cross grain, taking 173 cm" in scant.largest


def _stack(*names):
    return Stack(tuple(Layer(load_swatch(name)) for name in names), backing("white"))


def test_a_cloth_gives_only_what_its_own_layers_are_cut():
    organza, chiffon = (load_swatch(name).name for name in (ORGANZA, CHIFFON))
    hands = {organza: [ROOMY], chiffon: [ROOMY]}
    outer, inner = stack_needs(_stack(ORGANZA, CHIFFON), [BODICE], [SKIRT], hands, tries=5)
    assert (outer.used_cm, inner.used_cm) == (pytest.approx(173.0), pytest.approx(40.0))
    assert inner.plans == () and "Cut in the outermost layer alone: skirt." in inner.notes
    inner, outer = stack_needs(_stack(CHIFFON, ORGANZA), [BODICE], [SKIRT], hands, tries=5)
    assert (inner.used_cm, outer.used_cm) == (pytest.approx(173.0), pytest.approx(40.0))
    # three layers, the organza first and third
    both = stack_needs(_stack(ORGANZA, CHIFFON, ORGANZA), [BODICE], [replace(SKIRT, layers=2)],
                       hands, tries=5)  # fmt: skip
    assert [need.used_cm for need in both] == [pytest.approx(80 + 133), pytest.approx(40 + 133)]
    # nothing at all of the inner cloth: no sum of it, and it is enough
    own = [replace(BODICE, layers=1)]
    (only,) = stack_needs(_stack(ORGANZA, CHIFFON), own, [SKIRT], hands, tries=5)
    assert only.cloth == organza
    with pytest.raises(InputError, match="^silk: nothing is cut in its layers"):
        cloth_needed("silk", [Layers(0.0, 1, depths=(2,))], own, [SKIRT], [ROOMY])
    ask = fits_by_lay(own, {organza: [ROOMY], chiffon: [ClothInHand(5.0, 5.0)]}, [SKIRT], tries=5)
    fit = ask(_stack(ORGANZA, CHIFFON))
    assert fit.enough and f"{chiffon}: nothing is cut of it" in fit.words
    assert ask(_stack(CHIFFON, ORGANZA)).enough is False


def test_a_search_asks_once_where_all_layers_take_the_same(monkeypatch):
    from weavecolor.decide import enoughcloth

    calls = []
    monkeypatch.setattr(enoughcloth, "cloth_needed",
                        lambda *a, **k: calls.append(a[1]) or cloth_needed(*a, **k))  # fmt: skip
    hands = {load_swatch(ORGANZA).name: [ROOMY]}
    stacks = [_stack(ORGANZA, CHIFFON), _stack(CHIFFON, ORGANZA)]
    for skirt, asked in ((replace(SKIRT, layers=None), 1), (SKIRT, 2)):
        calls.clear()
        ask = fits_by_lay([BODICE], hands, [skirt], tries=5)
        assert [ask(stack).enough for stack in stacks] == [True, True]
        assert len(calls) == asked


def _making(**changes):
    option = MakingOption("A", (MakingLayer(ORGANZA), MakingLayer(ORGANZA)), "white")
    cloths = (swatch_cloth(ORGANZA, (ROOMY,)),)
    full = Making("Double bodice", cloths=cloths, options=(option,), chosen="A",
                  scenes=("ballroom",), pieces=(BODICE,), fullness=(SKIRT,))  # fmt: skip
    return replace(full, **changes)


def test_a_project_keeps_it_and_says_it_wherever_it_is_asked(tmp_path, capsys):
    made = _making()
    assert from_json(to_json(made)) == made
    assert json.loads(to_json(made))["weavecolor_project"] == VERSION >= 5
    # a file of before is of all layers
    table = json.loads(to_json(made))
    for row in (*table["pieces"], *table["fullness"], table["fullness_asked"]):
        del row["layers"]
    older = open_json(json.dumps({**table, "weavecolor_project": 4}))
    assert older == (_making(fullness=(replace(SKIRT, layers=None),)), "")
    file = tmp_path / "mine.json"
    save_making(file, made)
    (need,) = needs_of(made, made.option("A"), 5)
    assert need.used_cm == pytest.approx(2 * 40 + 133)
    assert fits_of(made, 5)(stack_of(made, made.option("A"))).enough
    assert run(["lay", str(file), "--tries", "5"]) == 0
    laid = capsys.readouterr().out
    assert "Cut in the outermost layer alone: skirt." in laid and "213 cm" in laid
    assert run(["lay", str(file), "--tries", "5", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["lays"][0]["used_cm"] == pytest.approx(213.0)
    assert run(["project", "show", str(file)]) == 0
    assert "Cut in the outermost layer alone: skirt\n" in capsys.readouterr().out
    # over a lining the skirt is planned of the outer cloth alone
    lined = replace(made.option("A"), layers=(MakingLayer(ORGANZA), MakingLayer(CHIFFON)))
    cloths = (*made.cloths, swatch_cloth(CHIFFON, (ROOMY,)))
    save_making(file, replace(made, cloths=cloths, options=(lined,)))
    assert run(["project", "show", str(file)]) == 0
    told = capsys.readouterr().out
    assert f"Skirt, {ORGANZA}: gathered" in told and f"Skirt, {CHIFFON}" not in told


def test_the_sheet_says_what_has_fewer_layers_and_how_that_looks(monkeypatch):
    made = _making()
    sheet = making_sheet(made, SheetChoices("today", pictures=(), tries=5))
    text = " ".join(
        mark.text for page in sheet_pages(sheet) for mark in page.marks if hasattr(mark, "text")
    )
    assert "in the outermost layer alone" in text
    assert "cut every piece once in each of the 2 layers, but what is said to be of the" in text
    assert any(note.startswith("Skirt is cut in the outermost layer alone") for note in sheet.notes)
    (row,) = [colour for colour in sheet.colours if "alone" in colour.light]
    assert row.light == "ballroom, in folds, outermost layer alone"
    one = Stack((Layer(load_swatch(ORGANZA)),), backing("white"))
    assert np.allclose(row.lab, appearance(one, hung(scene("ballroom"))).reading.Lab, atol=1e-6)
    assert len(making_sheet_images(sheet)) in (1, 2)
    # the skirt is drawn as it is cut, and that is said beside it
    drawn = []

    def drape(stack, light, form, beneath, dress_form):
        drawn.append(len(stack.layers))
        return (SheetSwatch(Image.new("RGB", (8, 8)), "Ballroom: a skirt."),)

    monkeypatch.setattr(sheetfrommaking, "sheet_drape", drape)
    (picture,) = making_sheet(made, SheetChoices("today", tries=5)).swatches
    assert drawn == [1]
    assert picture.caption == "The outermost layer alone. Ballroom: a skirt."
    # where all is cut in every layer nothing is said of it
    every = making_sheet(_making(fullness=(replace(SKIRT, layers=2),)),
                         SheetChoices("today", pictures=(), tries=5), whole=False)  # fmt: skip
    assert every.notes == () and not every.colours


def test_a_skirt_hangs_in_the_layers_it_is_cut_in():
    """And all else in all: a cape, a panel, a skirt that is cut in every layer."""
    double = _stack(ORGANZA, CHIFFON)
    skirt, cape = "gathered-3-organza", "cape-chiffon"
    alone = (Stack(double.layers[:1], double.backing), "in the outermost layer alone")
    assert as_cut(_making(), double, skirt) == alone
    assert as_cut(_making(), double, cape) == (double, "")
    assert as_cut(_making(), Stack(double.layers[:1]), skirt)[1] == ""
    under = replace(SKIRT, what="underskirt", layers=None)
    assert as_cut(_making(fullness=(SKIRT, under)), double, skirt) == (double, "")
    # asked about at the page alone, or told as a piece
    asked = _making(fullness=(), fullness_asked=FullnessAsked(layers=1))
    assert as_cut(asked, double, skirt) == alone
    over = Piece.rectangle("overskirt", 40.0, 60.0, layers=1)
    pieces = (BODICE, over)
    assert as_cut(_making(fullness=(), pieces=pieces), double, skirt) == alone


def test_an_option_is_named_in_small_letters_or_large(tmp_path, capsys):
    one = _making().option("A")
    made = _making(options=(one, replace(one, name="b")), chosen="")
    assert made.option(" a").name == "A" and made.option("B").name == "b"
    both = _making(options=(one, replace(one, name="a")))
    assert (both.option("a").name, both.option("A").name) == ("a", "A")
    with pytest.raises(InputError, match="there is no option 'C'; there are: A, a"):
        both.option("C")
    file = tmp_path / "mine.json"
    save_making(file, made)
    assert run(["project", "choose", str(file), "a"]) == 0
    assert "chosen A in" in capsys.readouterr().err
    assert json.loads(file.read_text())["chosen"] == "A"


def test_it_is_told_in_a_file_on_the_line_and_of_the_skirt_asked_about():
    told = cutting_from_toml("""unit = "cm"
[[piece]]
name = "bodice"
across = 100
down = 40
[[piece]]
name = "overskirt"
across = 100
down = 40
layers = 1
[[fullness]]
what = "skirt"
finished = 70
length = 60
layers = 2
""")
    assert [piece.layers for piece in told.pieces] == [None, 1]
    assert [wanted.layers for wanted in told.fullness] == [2]
    for said, layers in (("1 layer", 1), ("in the outermost layer", 1), ("outer 2 layers", 2)):
        assert fullness_from(f"skirt: 70 x 60 cm, gathered, 2.5 to 1, {said}").layers == layers
    assert FullnessAsked(layers=1).wanted().layers == 1
    for wrong in (0, 13, True, 1.5):
        for make in (lambda x: replace(BODICE, layers=x), lambda x: replace(SKIRT, layers=x),
                     lambda x: FullnessAsked(layers=x)):  # fmt: skip
            with pytest.raises(InputError, match="layers will not do; use 1 to 12"):
                make(wrong)
