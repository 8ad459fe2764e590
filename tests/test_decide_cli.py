"""The verbs of deciding, at the command line."""

from __future__ import annotations

import json

import pytest

import weavecolor as wc
from weavecolor.cli import run
from weavecolor.decide.compare import Option, evaluate

ORGANZA = "shot-organza-red-black"


def test_stacks_are_ranked(capsys, tmp_path):
    asked = ["decide", "stacks", ORGANZA, "--want", "target #803040", "--layers", "1-2"]
    asked += ["--behind", "white,black", "--grain", "straight", "--options", "2"]
    assert run(asked) == 0
    text = capsys.readouterr().out
    assert text.startswith("1. ") and "looked at" in text
    assert "of the target colour, both as seen in " in text
    saved = tmp_path / "found.json"
    drawn = tmp_path / "found.png"
    assert run([*asked, "--json", "--save", str(saved), "--out", str(drawn)]) == 0
    assert drawn.read_bytes()[:4] == b"\x89PNG"
    assert run([*asked, "--hung", "--save", str(saved), "--out", str(tmp_path / "hung.png")]) == 0
    assert "in folds" in saved.read_text() and (tmp_path / "hung.png").stat().st_size > 10_000
    assert run([*asked, "--json", "--save", str(saved)]) == 0
    found = json.loads(saved.read_text())
    losses = [row["loss"] for row in found["options"]]
    assert losses == sorted(losses) and found["guarantee"]["screened"] == 4
    assert found["options"][0]["reasons"][0]["numbers"]["CIEDE2000 to target"] == losses[0]


@pytest.mark.parametrize(
    "asked",
    [
        ["describe"],
        ["decide", "show-through", "--behind", "white"],
        ["decide", "lights", "--behind", "white"],
        ["decide", "stacks", "--want", "most sheer", "--layers", "1", "--behind", "white"],
    ],
)
def test_what_keeps_light_from_behind_out_is_said_wherever_it_is_asked(asked, capsys):
    """As by compare: gauze before white lining looks dark there, which it does not on a stage."""
    place = "lightbox behind,overcast" if "lights" in asked else "lightbox behind"
    told = [*asked, "stage-gauze-black", "--scene"]
    assert run([*told, place]) == 0
    assert "white" in (said := capsys.readouterr().out) and "to let no light through" in said
    if asked[0] == "decide":
        assert run([*(x.replace("white", "open") for x in told), place]) == 0
        assert "to let no light through" not in capsys.readouterr().out


def test_show_through_and_what_hides(capsys):
    assert run(["decide", "show-through", ORGANZA, ORGANZA, "--scene", "overcast"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 10 and lines[-1].startswith("Mind: ")
    assert lines[-2].startswith("Colours of cloth held flat")
    assert lines[0].startswith("Dark bone channel tape, 3/8 inch: ")
    # Where it was asked: in what light, and over what.
    assert all("; overcast, " in line and "white behind" in line for line in lines[:3])
    asked = ["decide", "show-through", ORGANZA, "--scene", "overcast", "--hide", "white tape"]
    assert run([*asked, "--behind", "black", "--show"]) == 0
    assert "plain" in capsys.readouterr().out.splitlines()[-3]


def test_lights_and_metamerism(capsys):
    asked = ["decide", "lights", ORGANZA, "--scene", "overcast,candlelit"]
    assert run([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [row["scene"] for row in told["lights"]] == ["overcast", "candlelit"]
    stack = wc.laid(wc.load_cloth(ORGANZA))
    for row in told["lights"]:  # as sure as a comparison of the same states
        (one,) = evaluate([Option(stack, wc.named_scene(row["scene"]))])
        assert row["uncertainty"] == pytest.approx(one.uncertainty.stated)
        assert row["Lab"] == pytest.approx(one.appearance.reading.Lab.tolist())
    flat = "Colours of cloth held flat; --hung tells them of folds, as a garment hangs."
    assert told["held"] == flat and told["mind"]
    assert told["most"]["words"].endswith("to a settled eye.")
    assert run(["decide", "show-through", ORGANZA, "--hide", "skin", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["wanted"] == "hidden" and told["tried"][0]["grade"] == "plain"
    assert run(["decide", "show-through", ORGANZA, "--json"]) == 0
    items = json.loads(capsys.readouterr().out)["items"]
    assert run(["decide", "show-through", ORGANZA]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[: len(items)] == [item["words"] for item in items] and flat in lines
    # light from behind shows no folds, so they are not offered
    assert run(["compare", ORGANZA, "--scene", "lightbox behind", "--behind", "open"]) == 0
    told = capsys.readouterr().out
    assert "Colours of cloth held flat.\n" in told and "--hung" not in told
    assert run(asked) == 0
    assert "between" in capsys.readouterr().out.splitlines()[-3]
    assert run(["decide", "metamerism", f"{ORGANZA}:warp", f"{ORGANZA}:weft"]) == 0
    assert "index" in capsys.readouterr().out
    by_eye = "shot-chiffon-rose-yellow"  # its file gives screen colours
    assert run(["decide", "metamerism", f"{by_eye}:warp", f"{by_eye}:warp"]) == 0
    told = capsys.readouterr().out
    assert "cannot be told" in told and "index" not in told and "hardly parts" not in told


def test_of_one_stack_there_are_no_others(capsys):
    asked = ["decide", "stacks", ORGANZA, "--want", "deepest", "--behind", "white"]
    assert run([*asked, "--layers", "1", "--grain", "straight", "--side", "right side"]) == 0
    told = capsys.readouterr().out
    assert "There are no others." in told and "the rest" not in told and "All 1" not in told


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["stacks", ORGANZA, "--want", "shiny"], "no wish"),
        (["stacks", ORGANZA, "--want", "target 1 2"], "target"),
        (["stacks", ORGANZA, "--want", "target 50 900 0"], "a* and b*"),
        (["stacks", ORGANZA, "--want", "palest", "--want", "darkest"], "cancel out"),
        (["stacks", ORGANZA, "--want", "sheerest", "--want", "hides most"], "cancel out"),
        (["stacks", ORGANZA, "--want", "brightest", "--layers", "two"], "whole number"),
        (["stacks", ORGANZA, "--want", "brightest", "--have", "silk 2"],
         f"'silk' is not among the cloths given; there are {ORGANZA}"),
        (["stacks", ORGANZA, "--want", "brightest", "--have", ORGANZA],
         f"--have: '{ORGANZA}' is no cloth and how many layers it makes; write for example"),
        (["stacks", ORGANZA, "--want", "brightest", "--have", f"{ORGANZA} " + "9" * 5000],
         "is no cloth and how many layers it makes"),
        (["stacks", ORGANZA, "--want", "brightest", "--have", f"{ORGANZA}  0"], "no cloth in hand"),
        (["stacks", "nothing-such", "--want", "brightest"], "neither a swatch"),
        (["show-through", ORGANZA, "--show"], "--hide"),
        (["show-through", ORGANZA, "--hide", "seam,skin"], "--hide: name one thing"),
        (["show-through", ORGANZA, "--hide", "wallpaper"], "'wallpaper' is not one of dark tape,"),
        (["show-through", ORGANZA, "--hide", "beads"], "beads, sequins and stones are not"),
        (["show-through", ORGANZA, "--grain", "straight,cross"], "give one grain\n"),
        (["stacks", ORGANZA, "--want", "brightest", "--layers", "3-1"], "write 1-3"),
        (["metamerism", ORGANZA, ORGANZA], "names no yarn"),
        (["lights", ORGANZA, "--scene", "overcast"], "at least 2 scenes"),
    ],
)
def test_bad_input_is_one_line(capsys, words, told):
    assert run(["decide", *words]) == 2
    captured = capsys.readouterr()
    assert told in captured.err and captured.err.count("\n") == 1
