"""What `import weavecolor` gives: quick to load, typed, documented, and the same as the rooms."""

from __future__ import annotations

import csv
import json
import pickle
import runpy
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import weavecolor as wc
from weavecolor.cli import run

ROOT = Path(__file__).resolve().parents[1]
EXAMPLES = sorted((ROOT / "swatches" / "examples").glob("*.py"))


@pytest.mark.parametrize("work", [wc.laid, wc.appearance, wc.compare])
@pytest.mark.parametrize("name", ["silk-chiffon-ivory", None, 3])
def test_a_name_is_no_cloth_yet(work, name):
    with pytest.raises(wc.InputError, match="cloth: .* is no cloth; load_cloth reads one"):
        work(name)


def test_importing_loads_nothing_heavy_and_is_quick():
    code = (
        "import time; t = time.process_time(); import weavecolor, sys, json;"
        "print(json.dumps([time.process_time() - t, sorted(sys.modules)]))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    seconds, loaded = json.loads(ran.stdout)
    assert seconds < 0.3
    assert not {"numpy", "scipy", "colour", "streamlit", "PIL", "pandas"} & set(loaded)


def test_every_name_is_there_and_documented():
    for name in wc.__all__:
        thing = getattr(wc, name)
        assert thing.__doc__ and len(thing.__doc__) > 30, name
        assert name in dir(wc)
    assert 20 <= len(wc.__all__) <= 35
    assert (Path(wc.__file__).parent / "py.typed").exists()
    with pytest.raises(AttributeError, match="no attribute 'banana'"):
        wc.banana  # noqa: B018


def test_functions_of_the_front_door_say_what_they_take_and_give():
    import weavecolor.front as front

    for name in wc._ROOMS["front"]:
        text = getattr(front, name).__doc__
        assert ">>>" in text, name
        if name not in ("swatches", "named_scene", "named_backing"):
            assert all(part in text for part in ("Parameters", "Raises", "Examples")), name


def test_a_first_colour_takes_three_lines_and_a_comparison_six():
    cloth = wc.load_cloth("shot-organza-red-black")
    assert wc.appearance(cloth).reading.words
    made = wc.compare(cloth, grains=("straight", "cross", "bias"), behind=("white", "black"))
    table = made.to_frame()
    assert len(table) == 6
    assert list(table["grain"].unique()) == ["straight grain", "cross grain", "bias"]
    assert np.isfinite(table[["L", "a", "b", "give_or_take"]].to_numpy()).all()
    # one colour, the same from both doors
    over_white = table[(table.grain == "straight grain") & (table.backing == "white behind")]
    assert over_white["L"].item() == pytest.approx(wc.appearance(cloth).reading.Lab[0], abs=1e-9)


def test_what_would_be_seen_is_told_here_as_in_the_table_of_the_command_line(capsys):
    cloth = wc.load_cloth("muslin-white")
    table = wc.compare(cloth, behind=("white", "black")).to_frame()
    asked = ["compare", "muslin-white", "--behind", "white,black", "--grain", "straight,cross",
             "--layers", "1"]  # fmt: skip
    assert run([*asked, "--table", "csv"]) == 0
    rows = list(csv.DictReader(capsys.readouterr().out.splitlines()))
    assert list(table["seen"]) == [row["seen"] for row in rows] and "yes" in list(table["seen"])
    assert table["seen"][0] == ""
    # JSON by the option of the other verbs, too
    assert run([*asked, "--json"]) == 0
    told = capsys.readouterr().out
    assert run([*asked, "--table", "json"]) == 0
    assert json.loads(told) == json.loads(capsys.readouterr().out)
    assert run(["describe", "muslin-white", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["weave"] == "plain"


def test_one_choice_by_itself_is_compared_as_a_list_of_one():
    cloth = wc.load_cloth("silk-chiffon-ivory")
    alone = wc.compare(cloth, "straight", 2, "black", "overcast")
    listed = wc.compare(cloth, ("straight",), (2,), ["black"], [wc.named_scene("overcast")])
    (one,), (other,) = alone.outcomes, listed.outcomes
    assert one.option.stack == other.option.stack and one.option.scene == other.option.scene
    assert wc.compare(cloth, 45.0, 1, None, "overcast").outcomes[0].option.stack.backing is None


def test_the_side_that_is_out_is_asked_here_as_on_the_command_line(capsys):
    satin = wc.load_cloth("silk-satin-gold")
    made = wc.compare(satin, "straight", 1, "black", "overcast", sides=("face", "wrong side"))
    assert run(["compare", "silk-satin-gold", "--grain", "straight", "--layers", "1", "--behind",
                "black", "--scene", "overcast", "--side", "face,wrong side"]) == 0  # fmt: skip
    assert made.steps[0].sentence in capsys.readouterr().out
    back = wc.laid(satin, behind="black", side="back")
    assert back == made.outcomes[1].option.stack
    with pytest.raises(wc.InputError, match="change them in it"):
        wc.laid(back, side="back")


def test_values_compare_hash_and_print_short():
    def made():
        cloth = wc.load_cloth("silk-chiffon-ivory")
        scene = wc.named_scene("ballroom")
        return [
            wc.Layer(cloth, 90.0),
            wc.laid(cloth, 2, "cross", "calico"),
            wc.Backing("own", np.full(41, 0.5)),
            wc.Light(30.0, 90.0, np.ones(41)),
            wc.Scene("own", scene.lights, np.ones(41), np.ones(41)),
            wc.Cloth("own", cloth.warp, cloth.weft, cloth.weave, 30.0, 30.0),
        ]

    for one, other in zip(made(), made(), strict=True):
        assert one == other and hash(one) == hash(other) and one is not other
        assert len(repr(one)) < 200
    made = wc.compare(wc.load_cloth("silk-chiffon-ivory"), grains=("straight",))
    look = made.outcomes[0]
    again = pickle.loads(pickle.dumps(made))  # same content, another object
    assert again == made and hash(again) == hash(made) and again is not made
    other = wc.compare(wc.load_cloth("silk-chiffon-ivory"), grains=("cross",))
    assert other != made and other.outcomes[0].appearance != look.appearance
    for told in (made, look, look.appearance, look.appearance.reading, *made.steps):
        assert len(repr(told)) < 300 and "array(" not in repr(told)
    assert {"Any", "annotations", "TYPE_CHECKING"}.isdisjoint(dir(wc)) and "compare" in dir(wc)
    backings = {wc.Backing("own", np.full(41, value)) for value in (0.5, 0.5, 0.6)}
    assert len(backings) == 2
    assert wc.Backing("own", np.full(41, 0.5)) != "own"


def test_a_value_cannot_be_changed_behind_its_back():
    own = np.full(41, 0.5)
    backing = wc.Backing("own", own)
    own[:] = 0.9
    assert backing.reflectance[0] == 0.5
    with pytest.raises(ValueError, match="read-only"):
        backing.reflectance[0] = 0.1


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: wc.load_cloth("shot-velvet"), "not a swatch"),
        (lambda: wc.save_cloth("cloth.txt", wc.load_cloth("muslin-white")), "ends in .toml"),
        (lambda: wc.named_scene("moon"), "no scene called"),
        (lambda: wc.named_backing("moon"), "not a known backing"),
        (lambda: wc.laid(wc.load_cloth("muslin-white"), 13), "use 1 to 12"),
        (lambda: wc.appearance(wc.laid(wc.load_cloth("muslin-white")), behind="black"),
         "a stack has its own"),
        (lambda: wc.laid(wc.laid(wc.load_cloth("muslin-white")), 2), "a stack has its own"),
        (lambda: wc.Backing("own", np.full(41, 1.5)), "0 to 1"),
        (lambda: wc.Light(30.0, 0.0, -np.ones(41)), "from 0 up"),
        (lambda: wc.Scene("own", (), np.ones(3), np.ones(41)), "41 numbers"),
        (lambda: wc.Scene("own", (), np.ones(41), np.ones(41), 95.0), "in front of the cloth"),
        (lambda: wc.Layer(wc.load_cloth("muslin-white"), 0.0, "inside"), "side of cloth"),
    ],
)
def test_bad_input_is_refused_in_one_line(make, said):
    with pytest.raises(wc.InputError, match=said) as found:
        make()
    assert "\n" not in str(found.value)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_worked_examples_run(path, capsys):
    runpy.run_path(str(path), run_name="__main__")
    told = capsys.readouterr().out
    assert told.strip()
    if path.stem == "own_cloth":
        assert "the same cloth: True" in told
    if path.stem == "which_grain":
        assert told.count("She would") + told.count("Cannot tell") >= 4
    if path.stem == "stack_for_a_target":
        deltas = [float(line.split()[0]) for line in told.splitlines()]
        assert len(deltas) == 8 and deltas == sorted(deltas)


def test_there_are_three_worked_examples():
    assert len(EXAMPLES) == 3
    readme = (ROOT / "README.md").read_text("utf-8")
    for path in EXAMPLES:
        assert f"swatches/examples/{path.name}" in readme


def test_a_cloth_is_saved_to_the_last_digit_or_not_at_all(tmp_path):
    organza = wc.load_cloth("shot-organza-red-black")
    dyed = replace(organza.warp, absorption=np.linspace(0.0, 50.0, 41), tex=np.float64(7.7))
    drawn = replace(organza, warp=dyed, ends_per_cm=np.float32(40.1))
    assert wc.load_cloth(wc.save_cloth(tmp_path / "own.toml", drawn)) == drawn
    heavy = wc.Fibre("silk", 1.70, 1.65, 1.34)  # no silk: read again it would be another cloth
    for other, says in (
        (replace(organza, warp=replace(organza.warp, fibre=heavy)), "warp.fibre: .*table"),
        (replace(organza, name="two\nlines"), "plain text"),
        (replace(organza, name=""), "must not be empty"),
    ):
        with pytest.raises(wc.InputError, match=says):
            wc.save_cloth(tmp_path / "other.toml", other)
        assert not (tmp_path / "other.toml").exists()


def test_nothing_behind_has_one_name_at_every_door():
    organza = wc.load_cloth("shot-organza-red-black")
    for word in ("open", "Nothing", None):
        assert wc.laid(organza, behind=word).backing is None
    made = wc.compare(organza, grains=("straight",), behind=("open", "white"))
    assert made.outcomes[0].option.stack.backing is None
    with pytest.raises(wc.InputError, match="not a known backing"):
        wc.laid(organza, behind="")
