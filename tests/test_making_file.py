"""One making: nothing told is lost in its file, and every damaged file refused in one line."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weavecolor.cli import run
from weavecolor.cli._making import example_projects
from weavecolor.colour.screencolour import screen_code, screen_rgb
from weavecolor.cutting.fullness import FullnessWanted
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.compare import Option, evaluate, steps
from weavecolor.decide.wishes import Limits
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, cloth_to_toml, load_swatch, swatch_names
from weavecolor.making.answers import (
    asked_of,
    check_project,
    cloths_of,
    in_hand_of,
    lights_of,
    limits_of,
    plans_of,
    shape_of,
    stack_of,
)
from weavecolor.making.file import (
    VERSION,
    from_json,
    load_making,
    open_json,
    open_making,
    save_making,
    to_dict,
    to_json,
)
from weavecolor.making.lightchoice import OWN_LIGHT, LightChoice
from weavecolor.making.model import (
    FullnessAsked,
    Making,
    MakingCloth,
    MakingLayer,
    MakingOption,
    Measured,
)
from weavecolor.optics.layer import content
from weavecolor.optics.stack import FACES, LAYS, Layer, Stack
from weavecolor.picture.forms import shape_called
from weavecolor.report.cautions import FLAME, cautions
from weavecolor.scene.places import scene, scene_names


def example():
    name = swatch_names()[0]
    remnant = ClothInHand(
        outline=((0, 0), (90, 3), (80.125, 110)), damage=(((5, 5), (9, 5), (9, 9)),), one_way=True
    )
    return Making(
        title="Éventail — 舞踏会",
        notes="two lines\nof notes",
        units="inch",
        cloths=(
            MakingCloth.from_toml("shot", cloth_to_toml(load_swatch(name)), (remnant,)),
            MakingCloth.from_toml("plain", cloth_to_toml(load_swatch("slip-white")),
                                  (ClothInHand(110, 250.5),)),
        ),
        backings=("white", "#102030"),
        options=(
            MakingOption(
                "A",
                (MakingLayer("shot", 45.0, "back"), MakingLayer("plain")),
                "skin medium",
                "apart",
            ),
            MakingOption("B", (MakingLayer("plain", -0.1),)),
        ),
        chosen="A",
        table=MakingOption("on the table", (MakingLayer("plain", 90.0),), "black"),
        light=LightChoice("ballroom", True, -40, 20),
        scenes=("candlelit",),
        wishes=("deepest", "target #102030"),
        limits=Limits((1, 2), ("shot",), (0.0, 45.0), False, ("back",), 80.0, "apart"),
        pieces=(
            Piece.rectangle("front", 10, 20, unit="inch", fold_edge=3),
            Piece("sleeve", ((0, 0), (1 / 3, 0), (0, 7)), 4, 12.5, 0.7, None, True, "either"),
        ),
        fold="lengthwise",
        measured=(Measured("red yarn", "spectrum", {"values": [0.1, 1e-300, 1]}, "by phone"),),
        fullness=(FullnessWanted("skirt", "knife", 72, 112, 84, widths=2),),
        fullness_asked=FullnessAsked("box", 3.0, True, on_sheet=True),
        form="box pleats",
        together=False,
        before=Making("as it was"),
    )


def test_a_project_comes_back_unchanged(tmp_path):
    path = save_making(tmp_path / "ball gown.json", example())
    again = load_making(path)
    assert again == example()
    assert to_json(again) == path.read_text(encoding="utf-8")
    cloth = cloth_from_dict(dict(again.cloth("shot").definition), file="shot")
    assert cloth.name == load_swatch(swatch_names()[0]).name
    assert again.option("A").layers[0].face == "back"
    with pytest.raises(InputError, match="there are: A, B"):
        again.option("C")


words = st.text(st.characters(categories=("L", "N", "P", "Zs")), min_size=1, max_size=12).filter(
    lambda text: text.strip() and text.isprintable()
)
KEYS = ("shot", "plain", "chiffon")
CLOTHS = {
    key: cloth_to_toml(load_swatch(name))
    for key, name in zip(KEYS, (swatch_names()[0], "slip-white", "silk-chiffon-ivory"), strict=True)
}
CLOTHS["chiffon"] = CLOTHS["chiffon"].replace("\ntwist =", '\nhand = "Z"\ntwist =', 1)
plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(-1e5, 1e5) | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=8,
)
sizes = st.floats(4.0, 500.0)
outer = st.none() | st.integers(1, 12)
hands = st.builds(ClothInHand, sizes, sizes, one_way=st.booleans(), name=words)
kept_cloths = st.lists(st.sampled_from(KEYS), min_size=1, max_size=3, unique=True).flatmap(
    lambda keys: st.tuples(
        *(st.builds(MakingCloth.from_toml, st.just(key), st.just(CLOTHS[key]),
                    st.lists(hands, max_size=2).map(tuple)) for key in keys)
    )
)  # fmt: skip
backs = st.sampled_from(("", "white", "black", "skin medium", "#a3122a"))
lights = st.builds(
    LightChoice, st.sampled_from(("footlights", "candlelit", OWN_LIGHT)), st.booleans(),
    st.integers(-180, 180), st.integers(-90, 90), soft=st.floats(0, 1), eye_moved=st.booleans(),
    eye_side_deg=st.integers(-75, 75),
)  # fmt: skip


def stacks(keys):
    layer = st.builds(
        MakingLayer, st.sampled_from(keys), st.floats(-3600, 3600), st.sampled_from(FACES)
    )
    return st.builds(
        MakingOption, words, st.lists(layer, min_size=1, max_size=12).map(tuple), backs,
        st.sampled_from(LAYS), words,
    )  # fmt: skip


@st.composite
def makings(draw, again=True):
    cloths = draw(kept_cloths)
    keys = tuple(cloth.key for cloth in cloths)
    options = tuple(draw(st.lists(stacks(keys), max_size=3, unique_by=lambda o: o.name)))
    return Making(
        title=draw(words),
        notes=draw(words),
        units=draw(st.sampled_from(("cm", "inch"))),
        cloths=cloths,
        backings=tuple(draw(st.lists(st.sampled_from(("white", "open", "#445566")), max_size=2))),
        options=options,
        chosen=draw(st.sampled_from(("", *(o.name for o in options)))),
        table=draw(st.none() | stacks(keys)),
        light=draw(st.none() | lights),
        scenes=tuple(draw(st.lists(st.sampled_from(scene_names()), max_size=3, unique=True))),
        wishes=tuple(draw(st.lists(st.sampled_from(("deepest", "target 40 5 -10")), max_size=2))),
        limits=Limits((1, draw(st.integers(1, 12))), (keys[0],), weight_g_m2=draw(sizes)),
        hung=draw(st.booleans()),
        pieces=(
            Piece.rectangle("p", draw(sizes), draw(sizes), seam_cm=draw(st.floats(0, 20)),
                            layers=draw(outer)),
        ),
        fullness=tuple(draw(st.lists(
            st.builds(FullnessWanted, words, st.sampled_from(("knife", "gathered")),
                      st.floats(30, 300), st.just(150.0), st.floats(30, 120), st.floats(1, 3),
                      layers=outer),
            max_size=2,
        ))),
        fold=draw(st.sampled_from(("open", "lengthwise"))),
        fullness_asked=draw(
            st.builds(FullnessAsked, st.sampled_from(("flat", "gathered")), st.floats(1, 6),
                      st.booleans(), st.floats(30, 300), on_sheet=st.booleans(), layers=outer)
        ),
        measured=(
            Measured(draw(words), "reading", draw(st.dictionaries(words, plain, max_size=3))),
        ),
        form=draw(st.sampled_from(("", "gathered skirt"))),
        together=draw(st.booleans()),
        before=draw(st.none() | makings(again=False)) if again else None,
    )  # fmt: skip


@given(makings())
@settings(deadline=None, max_examples=60)
def test_any_making_comes_back_as_it_was_with_the_same_answers(making):
    back = from_json(to_json(making))
    assert back == making and hash(back) == hash(making)
    assert to_json(back) == to_json(making)
    assert lights_of(back) == lights_of(making)
    assert plans_of(back) == plans_of(making) and check_project(back) == check_project(making)
    assert limits_of(back) == limits_of(making) and in_hand_of(back) == in_hand_of(making)
    for one, other in zip(making.options, back.options, strict=True):
        # The same cloths, so the same colours: what is computed depends on nothing else.
        x, y = stack_of(making, one), stack_of(back, other)
        assert [(content(a.cloth), a.cloth.name, a.grain_deg, a.face) for a in x.layers] == [
            (content(a.cloth), a.cloth.name, a.grain_deg, a.face) for a in y.layers
        ]
        assert (x.backing is None) == (y.backing is None) and x.lay == y.lay


def test_the_same_verdict_before_and_after_reopening():
    made = Making(
        cloths=(MakingCloth.from_toml("shot", CLOTHS["shot"]),),
        options=(
            MakingOption("A", (MakingLayer("shot"),), "white"),
            MakingOption("B", (MakingLayer("shot", 90.0),), "white"),
        ),
    )
    back = from_json(to_json(made))
    window = scene("window at the side")

    def told(one, other):
        options = (Option(stack_of(one, one.option("A")), window),
                   Option(stack_of(other, other.option("B")), window))  # fmt: skip
        outcomes = evaluate(options)
        return steps(outcomes, [(0, 1)])[0].sentence, outcomes[0].uncertainty.stated

    answers = {told(one, other) for one in (made, back) for other in (made, back)}
    assert len(answers) == 1, answers


def test_a_file_of_version_1_is_read():
    old = Path(__file__).parent / "data" / "projects" / "version-1.json"
    made = load_making(old)
    now = load_making(example_projects()["two-skirt-evening"])
    # The example has been saved anew since, with the swatches of today; all else is the same, save
    # the panels of the skirt, which its fullness counts.
    assert made.pieces[0].name == "skirt panel" and made.pieces[1:] == now.pieces
    assert [(c.key, c.in_hand) for c in made.cloths] == [(c.key, c.in_hand) for c in now.cloths]
    assert replace(now, cloths=made.cloths, pieces=made.pieces) == made
    data = json.loads(old.read_text())
    data["options"].append({**data["options"][0], "name": "on the table", "backing": "black"})
    data["pins"] = ["C"]
    data["settings"] = {
        "light": {"place": "footlights", "moved": True, "side_deg": -30, "height_deg": 10},
        "together": False, "drape": "box pleats", "origins": {"silk-chiffon-ivory": "described"},
        "fullness": {"kind": "knife", "ratio": 3.0, "on_sheet": True},
    }  # fmt: skip
    made = from_json(json.dumps(data))
    assert [option.name for option in made.options] == ["C", "A", "B"] and made.chosen == "A"
    assert made.table.backing == "black" and made.light.side_deg == -30
    assert not made.together and made.form == "box pleats"
    assert made.fullness_asked == FullnessAsked("knife", 3.0, on_sheet=True)
    assert made.cloth("silk-chiffon-ivory").origin == "described"
    assert from_json(to_json(made)) == made
    for strange in (None, 3, {"place": "the moon"}, {"soft": "very"}, {"side_deg": 9000}):
        data["settings"] = {"light": strange, "fullness": {"kind": "ruched"}, "drape": 3}
        made = from_json(json.dumps(data))
        assert made.light in (None, LightChoice()) and made.fullness_asked == FullnessAsked()


@pytest.mark.parametrize("version", [1, 2])
def test_of_an_older_file_it_is_said_what_is_worked_out_anew(version, tmp_path, capsys):
    old = Path(__file__).parent / "data" / "projects" / f"version-{version}.json"
    made, said = open_making(old)
    assert made == load_making(old)
    assert "matt" in said and "clear filaments" in said and said.count(".") == 1
    assert "(kept: A, B, C)" in said and "fit again" not in said
    fitted = replace(made, cloths=(replace(made.cloths[0], origin="measured"), *made.cloths[1:]))
    text = to_json(fitted).replace(f'"weavecolor_project": {VERSION}', '"weavecolor_project": 2')
    assert f"fit again what was fitted to measurements ({made.cloths[0].key})" in open_json(text)[1]
    # the command line says the same sentence, and a file saved anew has nothing more to say
    file = tmp_path / "mine.json"
    file.write_bytes(old.read_bytes())
    for verb in (["show", str(file)], ["choose", str(file), "B"]):
        assert run(["project", *verb]) == 0
        assert capsys.readouterr().err.count(f"{file}: {said}\n") == 1
    assert run(["project", "show", str(file)]) == 0
    assert "matt" not in capsys.readouterr().err
    assert open_making(file)[1] == "" and open_json(to_json(fitted))[1] == ""


def test_a_file_of_version_3_is_read_and_nothing_is_to_be_said_of_it():
    """It is one of today, but that those of before cloth in folds was ranked do not tell of it."""
    told = {**to_dict(example()), "weavecolor_project": 3}
    assert open_json(json.dumps(told)) == (example(), "")
    del told["hung"]
    assert open_json(json.dumps(told)) == (example(), "")
    told["hung"] = True
    assert open_json(json.dumps(told)) == (replace(example(), hung=True), "")
    # a tool that does not know a field of a later version says that, not that the field is unknown
    told |= {"weavecolor_project": VERSION + 1, "turned": 3}
    newer = rf"newer weavecolor \(project version {VERSION + 1}, this one reads {VERSION}"
    with pytest.raises(InputError, match=newer):
        from_json(json.dumps(told))


@pytest.mark.parametrize("version", [3, 4])
def test_a_file_of_before_version_5_cuts_all_in_every_layer(version):
    """The example as it was: nothing is said of it, and saved anew it is the example of today."""
    old = Path(__file__).parent / "data" / "projects" / f"version-{version}.json"
    assert json.loads(old.read_text("utf-8"))["weavecolor_project"] == version
    made, said = open_making(old)
    assert said == "" and {one.layers for one in (*made.pieces, *made.fullness)} == {None}
    assert made == load_making(example_projects()["two-skirt-evening"])


def test_a_file_of_version_5_hangs_all_layers_together():
    """The example as it was; what hangs beneath comes back as it was kept."""
    old = Path(__file__).parent / "data" / "projects" / "version-5.json"
    told = json.loads(old.read_text("utf-8"))
    assert told["weavecolor_project"] == 5 and "beneath" not in json.dumps(told)
    made, said = open_making(old)
    assert said == "" and {one.beneath for one in made.options} == {"none"}
    assert made.dress_form == "" and json.loads(to_json(made))["weavecolor_project"] == VERSION
    under = replace(made.options[0], beneath="stiffener")
    kept = replace(made, options=(under, *made.options[1:]), dress_form="to the hip")
    assert from_json(to_json(kept)) == kept and not under.same_stack(made.options[0])
    with pytest.raises(InputError, match="beneath"):
        from_json(to_json(kept).replace('"stiffener"', '"hoop"'))
    with pytest.raises(InputError, match="dress_form"):
        from_json(to_json(kept).replace('"to the hip"', '"to the knee"'))


def test_of_a_file_of_version_3_it_is_said_which_named_colours_moved(tmp_path, capsys):
    """CSS Color Module Level 4, section 6.1: navy is #000080, brown #a52a2a, black #000000; until
    version 4 a name meant that."""
    yarn = {"like": "silk organza", "colour": "Navy"}
    table = {"name": "C", "weave": "plain", "ends": "40 /cm", "picks": "38 /cm", "warp": yarn,
             "weft": {**yarn, "colour": {"name": "coal", "srgb": "black"}}}  # fmt: skip
    made = Making(
        cloths=(MakingCloth("c", table),),
        options=(MakingOption("A", (MakingLayer("c"),), "white"),),
        backings=("#000080", "calico", "dusty rose"),
        wishes=("target brown", "deepest"),
    )
    old = to_json(made).replace(f'"weavecolor_project": {VERSION}', '"weavecolor_project": 3')
    said = open_json(old)[1]
    assert f"(Navy: {screen_code(screen_rgb('navy'))}, was #000080; brown: " in said
    assert "was #a52a2a)" in said and said.count("was #") == 2
    assert open_json(to_json(made))[1] == ""
    file = tmp_path / "mine.json"
    file.write_text(old)
    assert run(["project", "show", str(file)]) == 0
    assert capsys.readouterr().err.count(said) == 1


def test_the_example_in_the_documentation_is_read():
    text = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
    part = text[text.index('    {"weavecolor_project"'):]
    made = from_json(part[: part.index("\n\n")], "DEVELOPERS.md")
    assert made.chosen == "A" and len(made.option("A").layers) == 2
    assert cloths_of(made)["organza"].name == "Organza" and made.pieces[0].quantity == 2
    # Every field that there is is told of.
    for kind in (Making, MakingCloth, MakingOption, MakingLayer, FullnessWanted, Measured,
                 LightChoice, Limits, Piece, ClothInHand):  # fmt: skip
        for name in kind.__dataclass_fields__:
            assert f"`{name}`" in text or f'"{name}"' in text, (kind.__name__, name)


def test_two_cloths_of_one_name_are_told_apart():
    one, other = (MakingCloth.from_toml(key, CLOTHS["shot"]) for key in ("mill", "market"))
    made = Making(cloths=(one, other))
    names = [cloth.name for cloth in cloths_of(made).values()]
    assert names == [one.cloth.name, f"{one.cloth.name} (market)"]
    assert check_project(made)[-1].startswith(f"{one.cloth.name} (market): the amount")


def changed(**changes):
    data = to_dict(example())
    for path, value in changes.items():
        *parents, last = path.split("__")
        table = data
        for key in parents:
            table = table[int(key) if key.isdigit() else key]
        table[int(last) if last.isdigit() else last] = value
    return json.dumps(data)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (changed(weavecolor_project=VERSION + 1), "newer weavecolor"),
        (changed(weavecolor_project="1"), "whole number"),
        (changed(weavecolor_project=True), "whole number"),
        ('{"title": "x"}', "not a project file"),
        ("[1]", "must be a table"),
        ("{", "damaged"),
        ("", "damaged"),
        ("[" * 100000, "damaged"),
        ('{"weavecolor_project": 1, "title": "a", "title": "b"}', "twice"),
        ('{"weavecolor_project": 2, "measured": [{"x": NaN}]}', "not a finite number"),
        ('{"weavecolor_project": 2, "measured": [{"x": 1e999}]}', "not a finite number"),
        (changed(measured__0__data={"x": "\ud800"}), "UTF-8"),
        ('{"weavecolor_project": 2, "title": ' + "9" * 5000 + "}", "damaged"),
        ('{"weavecolor_project": 1, "sett": 1}', "not a known field"),
        ('{"weavecolor_project": 2, "titel": "x"}', "titel: .*did you mean title"),
        ('{"weavecolor_project": 1, "pins": ["Z"]}', "not one of the options"),
        ('{"weavecolor_project": 1, "settings": [1]}', "settings"),
        (changed(units="yard"), "units"),
        (changed(title=7), "title: must be text"),
        (changed(cloths={}), "cloths: must be a list"),
        (changed(cloths__0__key="plain"), "twice"),
        (changed(cloths__0__in_hand__0__outline=[[0, 0], [1, "a"]]), r"in_hand\[0\].outline\[1\]"),
        (changed(cloths__1__in_hand__0__width_cm=0), "width_cm"),
        (changed(options__0__layers__0__cloth="gone"), "not one of the cloths"),
        (changed(options__0__layers__0__face="inside"), r"options\[0\].layers\[0\].face"),
        (changed(options__0__lay="tight"), "lay"),
        (changed(chosen="Z"), "not one of the options"),
        (changed(table__backing="mirror"), r"table.backing.*mirror"),
        (changed(options__0__layers=[]), r"options\[0\].layers.*1 to 12"),
        (changed(options__0__layer=[]), r"options\[0\].layer: is not a known field"),
        (changed(cloths__1__definition={"name": "x"}), "cloth 'plain': "),
        (changed(light__place="the moon"), "light.*moon"),
        (changed(form="tent"), "form"),
        (changed(wishes=["shiny"]), "no wish"),
        (changed(before__before={"title": "x"}), "before.*one step"),
        (changed(pieces__1__quantity=3), r"pieces\[1\].*even numbers"),
        (changed(pieces__1__quantity=2.0), "whole number"),
        (changed(pieces__1__pair="yes"), "true or false"),
        (changed(pieces__0__outline=[[0, 0], [1, 1], [1, 0], [0, 1]]), "touches itself"),
        (" " * 10_000_001, "too big"),
    ],
)
def test_damaged_projects_are_refused_in_one_line(text, says, tmp_path):
    with pytest.raises(InputError, match=says) as caught:
        from_json(text, "gown.json")
    assert "\n" not in str(caught.value) and "gown.json" in str(caught.value)
    path = tmp_path / "gown.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError):
        load_making(path)


def test_saving_refuses_what_would_not_come_back(tmp_path):
    for bad in ({"x": float("nan")}, {"x": object()}, {1: "x"}, {"x": (1, 2)}):
        with pytest.raises(InputError):
            Measured("x", "y", bad)
    with pytest.raises(InputError, match="not one of the options"):
        Making(chosen="A")
    with pytest.raises(InputError):
        save_making(tmp_path / "no such folder" / "x.json", example())
    with pytest.raises(InputError, match="must be a tuple"):
        replace(example(), scenes=["ballroom"])  # a list would come back as a tuple
    listed = replace(example(), limits=Limits((1, 2), ["shot"]))  # a list within
    with pytest.raises(InputError, match="would not come back"):
        to_json(listed)
    target = tmp_path / "kept.json"
    save_making(target, example())
    before = target.read_bytes()
    with pytest.raises(InputError):
        save_making(target, listed)
    assert target.read_bytes() == before and list(tmp_path.iterdir()) == [target]


def test_a_project_keeps_its_own_copy_of_tables():
    table = {"x": [1]}
    kept = Measured("x", "y", table)
    table["x"].append(2)
    assert kept.data == {"x": [1]}


def test_cautions_fit_the_cloth():
    # Common practice, no source.
    sheer = cautions(["Polyester"], sheer=True, pleating=True)
    assert sheer[0] == FLAME and "open flame" in FLAME and "fire code" in FLAME
    assert any("cool" in line and "polyester" in line for line in sheer)
    assert any("scrap" in line for line in sheer)
    assert any("Acetone" in line for line in cautions(["acetate"]))
    silk = cautions(["silk"], sheer=True, dyeing=True, solvent=True, stage=True)
    assert any("bleach" in line for line in silk) and any("label" in line for line in silk)
    assert not any("melts" in line for line in silk)
    assert not any("Acetone" in line or "Dye" in line for line in cautions(["cotton"]))


def test_many_threads_may_fit_their_first_project_at_once():
    """The fitting library builds what it knows of the types without a lock of its own."""
    import subprocess
    import sys

    asked = """
import sys, threading
from weavecolor.making.file import to_json
from weavecolor.making.model import Making
sys.setswitchinterval(1e-6)
begin, told = threading.Barrier(16), []
def one():
    begin.wait()
    told.append(to_json(Making("Cape")))
threads = [threading.Thread(target=one) for _ in range(16)]
for thread in threads: thread.start()
for thread in threads: thread.join()
print(len(told), len(set(told)))
"""
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True)
    assert done.returncode == 0 and done.stdout.split() == ["16", "1"], done.stderr


@pytest.mark.parametrize(
    ("plan", "shape"),
    [
        ({"kind": "knife", "fullness": 3.0}, "pleated-knife-taffeta"),
        ({"kind": "box", "fullness": 3.0}, "pleated-box-taffeta"),
        ({"kind": "flat", "widths": 1}, "panel-organza"),
        ({"kind": "gathered", "fullness": 1.8}, "gathered-2-organza"),
        ({"kind": "gathered", "widths": 4}, "gathered-5-organza"),  # 440 of 90 cm: 4.9 to 1
    ],
)
def test_the_picture_hangs_as_the_skirt_is_planned(plan, shape):
    skirt = FullnessWanted("over skirt", finished_cm=90.0, cloth_width_cm=110.0, length_cm=95.0,
                           **plan)  # fmt: skip
    sleeve = replace(skirt, what="sleeve", kind="gathered", fullness=5.0, widths=None)
    crisp = Stack((Layer(load_swatch("shot-organza-red-black")),))
    assert shape_of(Making("m", fullness=(sleeve, skirt)), crisp) == shape
    assert shape_of(Making("m", fullness=(sleeve,)), crisp) == shape_of(Making("m"), crisp)
    # what was asked at the page, or picked there, comes first
    asked = Making("m", fullness=(skirt,), fullness_asked=FullnessAsked(kind="box"))
    assert shape_of(asked, crisp) == "pleated-box-taffeta"
    kept = Making("m", fullness=(skirt,), shape="cape-chiffon")
    assert shape_of(kept, crisp) == "cape-chiffon"


@pytest.mark.parametrize("form", ["", "hanging panel"])
@pytest.mark.parametrize("name", swatch_names())
def test_a_making_hangs_as_the_command_line_hangs_its_cloth(name, form):
    stack = Stack((Layer(load_swatch(name)),))
    said = shape_called(form or "gathered skirt", stack)
    assert shape_of(Making("m", form=form), stack) == said
    soft = "chiffon" in name or "gauze" in name
    assert not soft or said.endswith("-chiffon")


def test_the_page_asks_about_the_skirt_that_was_planned():
    """A project told of a skirt on the command line: not about one of 70 by 90 that nobody has."""
    skirt = FullnessWanted("overskirt", "knife", 72.0, 138.0, 105.0, fullness=2.5, doubled=True)
    made = Making("m", fullness=(skirt,))
    assert asked_of(made) == FullnessAsked("knife", 2.5, True, 72.0, 138.0, 105.0)
    assert asked_of(made).wanted().plan() == skirt.plan()
    by_widths = replace(skirt, fullness=None, widths=2)  # 276 of 72
    assert asked_of(Making("m", fullness=(by_widths,))).ratio == pytest.approx(276.0 / 72.0)
    asked = FullnessAsked(finished_cm=80.0)
    assert asked_of(replace(made, fullness_asked=asked)) == asked
    assert asked_of(Making("m", fullness=(replace(skirt, what="sleeve"),))) == FullnessAsked()
