"""Project files: nothing lost, and every damaged file refused in one line."""

import dataclasses
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, cloth_to_toml, load_swatch, swatch_names
from weavecolor.making.project import (
    Measured,
    Project,
    ProjectCloth,
    ProjectLayer,
    ProjectOption,
    from_json,
    open_project,
    save_project,
    to_dict,
    to_json,
)
from weavecolor.report.cautions import FLAME, cautions


def example():
    name = swatch_names()[0]
    remnant = ClothInHand(
        outline=((0, 0), (90, 3), (80.125, 110)), damage=(((5, 5), (9, 5), (9, 9)),), one_way=True
    )
    return Project(
        title="Éventail — 舞踏会",
        notes="two lines\nof notes",
        units="inch",
        cloths=(
            ProjectCloth.from_toml("shot", cloth_to_toml(load_swatch(name)), (remnant,)),
            ProjectCloth("plain", {"name": "x", "ends": 40}, (ClothInHand(110, 250.5),)),
        ),
        backings=("white", "#102030"),
        options=(
            ProjectOption(
                "A",
                (ProjectLayer("shot", 45.0, "back"), ProjectLayer("plain")),
                "skin medium",
                "apart",
            ),
            ProjectOption("B", (ProjectLayer("plain", -0.1),)),
        ),
        pins=("B",),
        chosen="A",
        scenes=("window",),
        pieces=(
            Piece.rectangle("front", 10, 20, unit="inch", fold_edge=3),
            Piece("sleeve", ((0, 0), (1 / 3, 0), (0, 7)), 4, 12.5, 0.7, None, True, "either"),
        ),
        fold="lengthwise",
        measured=(Measured("red yarn", "spectrum", {"values": [0.1, 1e-300, 1]}, "by phone"),),
        settings={"layers": 3, "deep": {"x": [None, True, "é"]}},
    )


def test_a_project_comes_back_unchanged(tmp_path):
    path = save_project(tmp_path / "ball gown.json", example())
    again = open_project(path)
    assert again == example()
    assert to_json(again) == path.read_text(encoding="utf-8")
    cloth = cloth_from_dict(dict(again.cloth("shot").definition), file="shot")
    assert cloth.name == load_swatch(swatch_names()[0]).name
    assert again.option("A").layers[0].face == "back"
    with pytest.raises(InputError, match="there are: A, B"):
        again.option("C")


finite = st.floats(-1e5, 1e5)
words = st.text(st.characters(categories=("L", "N", "P", "Zs")), min_size=1, max_size=12).filter(
    lambda text: text.strip() and text.isprintable()
)
plain = st.recursive(
    st.none() | st.booleans() | st.integers() | finite | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=8,
)


@given(
    st.lists(
        st.tuples(words, st.floats(-3600, 3600)), min_size=1, max_size=3, unique_by=lambda t: t[0]
    ),
    st.dictionaries(words, plain, max_size=3),
    st.floats(0.1, 500),
    st.floats(0, 20),
)
@settings(deadline=None, max_examples=50)
def test_any_sound_project_comes_back_unchanged(rows, extra, size, seam):
    project = Project(
        cloths=(ProjectCloth("c", extra, (ClothInHand(size, size / 3),)),),
        options=tuple(ProjectOption(name, (ProjectLayer("c", deg),)) for name, deg in rows),
        chosen=rows[0][0],
        pieces=(Piece.rectangle("p", size, size, seam_cm=seam),),
        settings=extra,
    )
    assert from_json(to_json(project)) == project


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
        (changed(weavecolor_project=2), "newer weavecolor"),
        (changed(weavecolor_project="1"), "whole number"),
        (changed(weavecolor_project=True), "whole number"),
        ('{"title": "x"}', "not a project file"),
        ("[1]", "must be a table"),
        ("{", "damaged"),
        ("", "damaged"),
        ("[" * 100000, "damaged"),
        ('{"weavecolor_project": 1, "title": "a", "title": "b"}', "twice"),
        ('{"weavecolor_project": 1, "settings": {"x": NaN}}', "not a finite number"),
        ('{"weavecolor_project": 1, "settings": {"x": 1e999}}', "not a finite number"),
        ('{"weavecolor_project": 1, "settings": {"x": "\\ud800"}}', "UTF-8"),
        ('{"weavecolor_project": 1, "settings": {"x": ' + "9" * 5000 + "}}", "damaged"),
        ('{"weavecolor_project": 1, "sett": 1}', "not a known field"),
        (changed(units="yard"), "units"),
        (changed(title=7), "title: must be text"),
        (changed(cloths={}), "cloths: must be a list"),
        (changed(cloths__0__key="plain"), "twice"),
        (changed(cloths__0__in_hand__0__outline=[[0, 0], [1, "a"]]), r"in_hand\[0\].outline\[1\]"),
        (changed(cloths__1__in_hand__0__width_cm=0), "width_cm"),
        (changed(options__0__layers__0__cloth="gone"), "not one of the cloths"),
        (changed(options__0__layers__0__face="inside"), r"options\[0\].layers\[0\].face"),
        (changed(options__0__lay="tight"), "lay"),
        (changed(pins=["Z"]), "not one of the options"),
        (changed(pieces__1__quantity=3), r"pieces\[1\].*even numbers"),
        (changed(pieces__1__quantity=2.0), "whole number"),
        (changed(pieces__1__pair="yes"), "true or false"),
        (changed(pieces__0__outline=[[0, 0], [1, 1], [1, 0], [0, 1]]), "touches itself"),
        (changed(settings=[1]), "settings"),
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
        open_project(path)


def test_saving_refuses_what_would_not_come_back(tmp_path):
    for bad in ({"x": float("nan")}, {"x": object()}, {1: "x"}, {"x": (1, 2)}):
        with pytest.raises(InputError):
            Project(settings=bad)
    with pytest.raises(InputError, match="not one of the options"):
        to_json(Project(chosen="A"))
    with pytest.raises(InputError):
        save_project(tmp_path / "no such folder" / "x.json", example())
    listed = dataclasses.replace(example(), pins=["B"])  # a list comes back as a tuple
    with pytest.raises(InputError, match="would not come back"):
        to_json(listed)
    target = tmp_path / "kept.json"
    save_project(target, example())
    before = target.read_bytes()
    with pytest.raises(InputError):
        save_project(target, listed)
    assert target.read_bytes() == before and list(tmp_path.iterdir()) == [target]


def test_a_project_keeps_its_own_copy_of_tables():
    table = {"x": [1]}
    project = Project(settings=table)
    table["x"].append(2)
    assert project.settings == {"x": [1]}


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
