"""Options, differences, tables and the sheet, on the demo's crimson and black organza."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from decide_samples import settled_as
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.perception import would_see
from weavecolor.colour.tristimulus import xyz
from weavecolor.colour.words import difference_words
from weavecolor.decide.compare import AXES, compare, compare_stacks, options, steps
from weavecolor.decide.unexpected import _off_fan, parts, unexpected
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.report.comparisontable import as_csv, as_data, as_json, as_text, rounded, steps_text
from weavecolor.report.sheetpicture import GROUND, PATCH, _Sheet, font, sheet_image, sheet_png
from weavecolor.scene.backings import Backing, backing
from weavecolor.scene.places import custom_scene, scene
from weavecolor.textile.grain import grain_deg, grain_words

WINDOW = scene("window at the side")
WHITE, BLACK = backing("white"), backing("black")


@pytest.fixture(scope="module")
def organza():
    return load_swatch("shot-organza-red-black")


def test_two_lights_are_held_together_by_a_settled_eye():
    """Against colour-science; draws go the same way, so that what is told does not jump."""
    scenes = (scene("overcast"), scene("candlelit"))
    teal = load_swatch("shot-organza-teal-copper")
    made = compare(teal, (0.0, 90.0), (1,), (WHITE,), scenes)
    (one, two) = (
        settled_as(
            made.outcomes[k].appearance.reading.XYZ, xyz(scenes[k // 2].white, scenes[k // 2].white)
        )
        for k in (0, 2)
    )
    step = next(x for x in made.steps if (x.start, x.end) == (0, 2))
    assert step.axis == "scene" and step.verdict is None
    assert step.delta == pytest.approx(float(ciede2000(one, two)), abs=1e-3)
    assert step.effect == difference_words(one, two)
    # in one light, too, words of change go with the colours' names and patches
    white = xyz(scenes[1].white, scenes[1].white)
    cross = settled_as(made.outcomes[3].appearance.reading.XYZ, white)
    by_candle = next(x for x in made.steps if (x.start, x.end) == (2, 3))
    assert by_candle.effect == difference_words(two, cross)
    Labs = [made.outcomes[k].appearance.reading.Lab for k in (0, 1, 2)]
    assert abs(float(ciede2000(Labs[0], Labs[2])) - step.delta) > 1.0
    grain = next(x for x in made.steps if (x.start, x.end) == (0, 1))  # one light: as it was
    assert grain.delta == pytest.approx(float(ciede2000(Labs[0], Labs[1])))


def test_cloth_that_touches_skin_looks_as_if_it_lay_loose():
    """Light that enters skin or lining comes out beside the opening, under the threads too (its
    mean way is .3 to 1 mm in skin, threads lie .25 mm apart); of a matt surface it does not."""
    organza = load_swatch("shot-organza-red-black")
    matt = Backing("matt", backing("skin light").reflectance)
    grounds = (backing("skin light"), WHITE, matt)
    made = compare(organza, (0.0,), (1,), grounds, (scene("overcast"),), lays=("touching", "loose"))
    on_skin, on_white, on_matt = (x for x in made.steps if x.axis == "lay")
    assert on_skin.delta < 0.4 and on_skin.verdict.sees is not True
    assert on_skin.delta < on_white.delta < on_matt.delta and on_matt.delta > 1.5
    assert on_white.verdict.sees is not True
    beneath = [x for x in made.steps if x.axis == "backing" and x.delta > 2.0]
    assert len(beneath) == 4 and all(x.verdict.sees for x in beneath)


def test_a_ground_that_keeps_out_the_light_behind_is_said():
    """A white lining before a window glows; as a ground it would read dark grey."""
    chiffon, box = load_swatch("silk-chiffon-ivory"), scene("lightbox behind")
    lined = compare(chiffon, (0.0,), (1,), (WHITE, None), (box,))
    assert lined.outcomes[0].appearance.reading.Lab[0] < 40.0
    (said,) = unexpected(lined.outcomes)
    assert "(white) is taken to let no light through" in said and "innermost layer" in said
    for backings, place in (((None,), box), ((WHITE,), WINDOW)):
        assert unexpected(compare(chiffon, (0.0,), (1,), backings, (place,)).outcomes) == ()
    slip = Stack((Layer(chiffon), Layer(load_swatch("slip-white"))))  # a lining as a layer
    glows = compare_stacks((slip,), (None,), (box,)).outcomes[0].appearance.reading
    assert glows.Lab[0] > lined.outcomes[0].appearance.reading.Lab[0] + 20.0


@pytest.fixture(scope="module")
def made(organza):
    return compare(organza, (0.0, 90.0), (1, 2), (WHITE, BLACK), (WINDOW,))


def _find(made, **wanted):
    for outcome in made.outcomes:
        if all(outcome.option.aspect(axis) == words for axis, words in wanted.items()):
            return outcome.appearance.reading
    raise AssertionError(wanted)


# What a maker expects of shot organza: common practice, no source.


@pytest.mark.parametrize("grain", ["straight grain", "cross grain"])
def test_a_doubled_layer_is_deeper_than_a_single_one(made, grain):
    for ground in ("white behind", "black behind"):
        single = _find(made, grain=grain, layers="1 layer", backing=ground)
        double = _find(made, grain=grain, layers="2 layers", backing=ground)
        assert double.LCh[1] > single.LCh[1] + 2.0
    single = _find(made, grain=grain, layers="1 layer", backing="white behind")
    double = _find(made, grain=grain, layers="2 layers", backing="white behind")
    assert double.Lab[0] < single.Lab[0] - 5.0


def test_white_behind_is_lighter_than_black_behind(made):
    for grain in made.labels("grain"):
        for count in made.labels("layers"):
            over = [
                _find(made, grain=grain, layers=count, backing=ground).Lab[0]
                for ground in ("white behind", "black behind")
            ]
            assert over[0] > over[1] + 5.0


def test_straight_and_cross_grain_differ_under_light_from_the_side(made):
    turned = [step for step in made.steps if step.axis == "grain"]
    assert len(turned) == 4
    assert all(step.delta > 1.0 for step in turned)
    # how flat and twisted its yarns are is assumed, so that no difference is ever denied
    assert all(step.verdict.sees is not False for step in turned)


def test_grain_makes_no_difference_in_even_light_seen_straight_on(organza):
    """Light from everywhere and a viewer on the normal have no direction to turn against."""
    found = compare(organza, (0.0, 90.0), (1,), (WHITE,), (scene("overcast"),))
    assert found.steps[0].delta < 0.05
    assert found.steps[0].verdict.sees is False


def test_one_layer_over_another_hides_more_of_the_backing(made):
    def gap(count):
        a, b = (_find(made, grain="straight grain", layers=count, backing=ground).Lab
                for ground in ("white behind", "black behind"))  # fmt: skip
        return float(ciede2000(a, b))

    assert gap("2 layers") < gap("1 layer")


# The bookkeeping.


def test_options_are_every_combination_in_order(organza):
    chosen = options(
        organza, (0.0, 45.0, 90.0), (1, 3), (WHITE, None), (WINDOW,), ("face", "back"),
        ("loose", "apart"), 90.0,
    )  # fmt: skip
    assert len(chosen) == 3 * 2 * 2 * 2 * 2
    assert [option.aspect("backing") for option in chosen[:2]] == ["white behind", "nothing behind"]
    seen = {tuple(option.aspect(axis) for axis in AXES) for option in chosen}
    assert len(seen) == len(chosen)
    three = next(option for option in chosen if len(option.stack.layers) == 3)
    assert [layer.grain_deg for layer in three.stack.layers] == [0.0, 90.0, 180.0]


def test_outcomes_are_what_each_stack_looks_like_alone(made):
    for outcome in made.outcomes[::3]:
        alone = appearance(outcome.option.stack, WINDOW)
        assert np.allclose(alone.radiance, outcome.appearance.radiance, rtol=1e-9)


def test_steps_join_neighbours_that_differ_in_one_thing(made):
    # A 2 x 2 x 2 grid has 3 x 4 edges.
    assert len(made.steps) == 12
    for step in made.steps:
        a, b = made.outcomes[step.start], made.outcomes[step.end]
        changed = [ax for ax in AXES if a.option.aspect(ax) != b.option.aspect(ax)]
        assert changed == [step.axis]
        expected = ciede2000(a.appearance.reading.Lab, b.appearance.reading.Lab)
        assert step.delta == pytest.approx(float(expected), abs=1e-9)
    assert [step.end for step in made.from_first] == list(range(1, 8))
    assert {step.start for step in made.from_first} == {0}


def test_sentences_say_what_was_done_and_whether_it_shows(made):
    for step in made.steps:
        assert step.sentence.startswith(step.change)
        assert step.verdict.words in step.sentence
    changes = {step.change for step in made.steps}
    assert changes == {
        "Turning straight grain to cross grain",
        "Laying 2 layers instead of 1",
        "Putting black behind instead of white",
    }


def test_one_sentence_has_two_names_only_where_she_would_see_a_difference(organza):
    grains = (0.0, 45.0, 90.0)
    found = compare(organza, grains, (1, 2), (WHITE, BLACK), (WINDOW, scene("overcast")))
    for step in (*found.steps, *found.from_first):
        own = tuple(found.outcomes[k].appearance.reading.words for k in (step.start, step.end))
        seen = would_see(step.delta, step.uncertainty.stated).sees
        assert step.names == (own if seen else (own[0], own[0]))
        named = f"({own[0]} to {own[1]})"
        assert (named in step.sentence) == bool(seen and own[0] != own[1])
    # a table keeps each colour's own
    rows = csv.DictReader(io.StringIO(as_csv(found)))
    assert [row["words"] for row in rows] == [o.appearance.reading.words for o in found.outcomes]


def _with_lightness(outcome, L):
    reading = outcome.appearance.reading
    held = replace(reading, Lab=np.array([L, *reading.Lab[1:]]))
    return replace(outcome, appearance=replace(outcome.appearance, reading=held))


def test_cloth_off_the_grain_beyond_straight_and_cross_alike_is_explained(organza):
    found = compare(organza, (0.0, 45.0, 90.0), (1,), (WHITE,), (WINDOW,))
    straight, _, cross = (o.appearance.reading.Lab[0] for o in found.outcomes)
    darker, lighter = min(straight, cross) - 4.0, max(straight, cross) + 4.0
    for L, word in ((darker, "darker"), (lighter, "lighter")):
        beyond = [_with_lightness(o, L) if k == 1 else o for k, o in enumerate(found.outcomes)]
        (told,) = unexpected(beyond)
        assert told.startswith(
            f"On the bias it is {word} than on straight and cross grain alike (1 layer, over white"
        )
        # what is said to be so is what the comparison itself is sure of
        sure = [s.verdict.sees for s in steps(beyond, [(1, 0), (1, 2)])]
        assert ("not for sure" in told) == (not all(sure))
    between = [
        _with_lightness(o, 0.5 * (straight + cross)) if k == 1 else o
        for k, o in enumerate(found.outcomes)
    ]
    assert unexpected(between) == ()
    short_of_it = compare(organza, (0.0, 45.0), (1,), (WHITE,), (WINDOW,))
    assert unexpected(short_of_it.outcomes) == ()


def test_a_further_layer_that_makes_it_lighter_is_explained(organza):
    found = compare(organza, (0.0,), (1, 2), (WHITE, BLACK), (WINDOW,))
    outcomes = list(found.outcomes)
    below = [o.appearance.reading.Lab[0] for o in outcomes]
    outcomes[2] = _with_lightness(outcomes[2], below[0] - 5.0)  # white: deeper, as expected
    outcomes[3] = _with_lightness(outcomes[3], below[1] + 5.0)
    told, pattern = unexpected(outcomes)
    assert told.startswith("2 layers are lighter than 1 (over black, window at the side)")
    assert "watered pattern" in pattern
    outcomes[3] = _with_lightness(outcomes[3], below[1] - 5.0)
    assert unexpected(outcomes) == (pattern,)


def test_light_taken_apart_adds_up_and_nothing_comes_from_nothing(made, organza):
    for outcome in made.outcomes:
        found = parts(outcome)
        assert found.all == pytest.approx(outcome.appearance.reading.XYZ[1], abs=1e-9)
        assert found.cloth > 0.0 and found.behind >= -1e-9
    over = [parts(o) for o in made.outcomes[:2]]  # one stack over white and over black
    assert over[0].cloth == pytest.approx(over[1].cloth, abs=1e-9)
    assert over[0].behind > over[1].behind
    # light that is reflected at a cylinder keeps its angle with the axis (any book of optics): lit
    # from straight across the warp and seen square on, the warp gleams on straight grain, the weft
    # on cross grain, neither between
    side = custom_scene("daylight", 60.0, 90.0)
    gleam = [_off_fan(o) for o in options(organza, (0.0, 45.0, 90.0), scenes=(side,))]
    assert gleam == pytest.approx([0.0, np.sin(np.radians(60.0)) * np.sqrt(0.5), 0.0], abs=1e-9)


def test_nobody_is_said_to_see_two_places_side_by_side(organza):
    found = compare(organza, scenes=(WINDOW, scene("ballroom")))
    (step,) = found.steps
    assert step.verdict is None and "side by side" in step.sentence
    assert found.from_first == ()
    assert as_data(found)["steps"][0]["seen"] == "not side by side"


def test_any_two_outcomes_can_be_compared(made):
    (step,) = steps(made.outcomes, [(0, 7)])
    assert step.axis == ""
    assert step.change.startswith("Laying 2 layers instead of 1, turning straight grain to cross")


def test_progress_is_told_to_the_end(organza):
    told = []
    compare(organza, counts=(1, 2), scenes=(WINDOW,), progress=lambda *at: told.append(at))
    assert told == [(1, 2), (2, 2)]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"grains": (0.0, np.nan)}, "grain"),
        ({"counts": (0,)}, "layers"),
        ({"counts": (13,)}, "layers"),
        ({"counts": (1.5,)}, "layers"),
        ({"counts": ()}, "layers"),
        ({"counts": (1, 1)}, "layers"),
        ({"faces": ("inside",)}, "face"),
        ({"lays": ("heaped",)}, "lay"),
        ({"scenes": ()}, "scene"),
        ({"backings": (WHITE, WHITE)}, "backing"),
        ({"grains": tuple(range(180)), "counts": tuple(range(1, 13))}, None),
    ],
)
def test_choices_that_will_not_do_are_refused(organza, wrong, field):
    with pytest.raises(InputError) as told:
        compare(organza, **{"scenes": (WINDOW,), **wrong})
    assert told.value.field == field


@pytest.mark.parametrize(
    ("text", "degrees", "words"),
    [
        ("straight", 0.0, "straight grain"),
        ("Cross grain", 90.0, "cross grain"),
        ("bias", 45.0, "bias"),
        ("30", 30.0, "warp 30° off straight"),
        ("-45 deg", -45.0, "other bias"),
        ("the other bias", -45.0, "other bias"),
        ("135", 135.0, "other bias, upside down"),
        ("-135", -135.0, "bias, upside down"),
        ("180", 180.0, "straight grain, upside down"),
        ("upside down", 180.0, "straight grain, upside down"),
        ("cross grain, upside down", -90.0, "cross grain, upside down"),
        ("warp 30\u00b0 off straight", 30.0, "warp 30\u00b0 off straight"),
    ],
)
def test_grain_in_words_and_degrees(text, degrees, words):
    assert grain_deg(text) == degrees
    assert grain_words(degrees) == words


@given(st.integers(-179, 180))
def test_grain_is_read_back_from_its_words(degrees):
    assert grain_deg(grain_words(degrees)) % 360 == degrees % 360


@pytest.mark.parametrize("text", ["", "grain", "sideways", "nan", "inf", "181", "1e9", "bias bias"])
def test_what_is_no_grain_is_refused(text):
    with pytest.raises(InputError, match="is no grain"):
        grain_deg(text)


# Tables.


def test_json_is_the_same_every_time_and_holds_the_numbers(organza, made):
    again = compare(organza, (0.0, 90.0), (1, 2), (WHITE, BLACK), (WINDOW,))
    assert as_json(made) == as_json(again)
    data = json.loads(as_json(made), parse_constant=lambda name: pytest.fail(name))
    assert [option["place"] for option in data["options"]] == list(range(8))
    for option, outcome in zip(data["options"], made.outcomes, strict=True):
        assert np.allclose(option["Lab"], outcome.appearance.reading.Lab, atol=5e-4)
        assert option["stack"][0]["cloth"] == organza.name
    assert data["options"][0]["from_first"] is None
    assert len(data["steps"]) == 12


def test_numbers_are_rounded_never_minus_nought_never_nan():
    assert str(rounded(-0.0001)) == "0.0"
    assert rounded([[1.23456]]) == [[1.235]]
    for bad in (np.nan, np.inf):
        with pytest.raises(InputError, match="not a number"):
            rounded([1.0, bad])


def test_csv_has_one_line_an_option(made):
    rows = list(csv.DictReader(io.StringIO(as_csv(made))))
    assert len(rows) == 8
    assert float(rows[0]["L*"]) == pytest.approx(
        made.outcomes[0].appearance.reading.Lab[0], abs=1e-3
    )
    assert rows[0]["seen"] == "" and rows[1]["seen"] == "yes"


def test_text_has_a_row_an_option_and_says_what_was_assumed(made):
    text = as_text(made)
    assert text.count("#") == 8
    assert "assumed, not measured" in text
    assert len(steps_text(made, every_step=True)) == 12


def test_a_colour_beyond_the_screen_is_marked_everywhere(organza):
    yarn = organza.warp
    # A saturated band-pass dye: far outside sRGB where the cloth lies deep.
    wavelength = np.arange(380, 781, 10)
    vivid = np.where((wavelength > 490) & (wavelength < 570), 0.95, 0.003)
    strong = replace(
        organza,
        warp=replace(yarn, colour=vivid),
        weft=replace(organza.weft, colour=vivid),
    )
    found = compare(strong, counts=(1, 6), backings=(WHITE,), scenes=(scene("overcast"),))
    flags = [outcome.appearance.reading.in_srgb for outcome in found.outcomes]
    assert flags == [True, False]
    assert [option["on_screen"] for option in as_data(found)["options"]] == flags
    assert "beyond what an sRGB screen can show" in as_text(found)
    picture = np.asarray(sheet_image(found, scale=1)).astype(int)
    shown = [np.rint(255 * o.appearance.reading.srgb).astype(int) for o in found.outcomes]
    for colour, fits in zip(shown, flags, strict=True):
        area = int((picture == colour).all(axis=-1).sum())
        full = PATCH[0] * PATCH[1]
        # A hatched corner takes a little of the patch; one that fits is whole.
        assert area == full if fits else 0.9 * full < area < full - 50


# The sheet.


def test_the_sheet_shows_every_colour_on_a_neutral_ground(made):
    png = sheet_png(made, scale=1)
    assert png == sheet_png(made, scale=1)
    picture = Image.open(io.BytesIO(png))
    profile = ImageCms.ImageCmsProfile(io.BytesIO(picture.info["icc_profile"]))
    assert "sRGB" in ImageCms.getProfileDescription(profile)
    pixels = np.asarray(picture.convert("RGB")).astype(int)
    for outcome in made.outcomes:
        colour = np.rint(255 * outcome.appearance.reading.srgb).astype(int)
        assert int((pixels == colour).all(axis=-1).sum()) >= PATCH[0] * PATCH[1]
    assert (pixels[0] == GROUND).all() and (pixels[-1] == GROUND).all()
    # ISO 3664 (from memory): a surround of 10 to 60 % luminous reflectance.
    linear = ((GROUND / 255 + 0.055) / 1.055) ** 2.4
    assert 0.1 <= linear <= 0.6


def test_nothing_on_the_sheet_runs_off_its_edges(organza):
    long_name = replace(organza, name="A name as long as a bolt of cloth " * 5)
    found = compare(long_name, (0.0, 30.0), (1,), (WHITE, backing("skin medium")), (WINDOW,))
    picture = np.asarray(sheet_image(found, scale=1))
    for edge in (picture[:20], picture[-20:], picture[:, :20], picture[:, -20:]):
        assert (edge == GROUND).all()


def test_every_kind_of_choice_finds_its_place_on_the_sheet(organza):
    found = compare(
        organza, (0.0, 90.0), (1, 2), (WHITE, None), (WINDOW, scene("overcast")),
        ("face", "back"), ("loose",),
    )  # fmt: skip
    pixels = np.asarray(sheet_image(found, scale=1)).astype(int)
    codes = pixels[..., 0] << 16 | pixels[..., 1] << 8 | pixels[..., 2]
    present, counts = np.unique(codes, return_counts=True)
    area = dict(zip(present.tolist(), counts.tolist(), strict=True))
    wanted: dict[int, int] = {}
    for outcome in found.outcomes:
        red, green, blue = np.rint(255 * outcome.appearance.reading.srgb).astype(int).tolist()
        code = red << 16 | green << 8 | blue
        wanted[code] = wanted.get(code, 0) + 1
    assert len(found.outcomes) == 32
    assert all(area[code] >= n * PATCH[0] * PATCH[1] for code, n in wanted.items())


def test_too_much_for_one_sheet_is_refused(organza, made):
    with pytest.raises(InputError, match="scale"):
        sheet_png(made, scale=9)
    many = replace(made, outcomes=made.outcomes * 60)
    with pytest.raises(InputError, match="do not fit one sheet"):
        sheet_png(many)


def test_mixed_stacks_are_compared_each_layer_with_its_own_cloth_grain_and_face():
    outer, lining = load_swatch("shot-organza-red-black"), load_swatch("silk-chiffon-ivory")
    over = Stack((Layer(outer, 90.0, "back"), Layer(lining, 45.0)))
    under = Stack((Layer(lining, 45.0), Layer(outer, 90.0, "back")))
    grounds, lights = (backing("white"), backing("black")), (scene("window at the side"),)
    made = compare_stacks((over, under), grounds, lights)
    assert made.varied() == ("stack", "backing")
    for outcome in made.outcomes:  # the same as each stack by itself
        alone = appearance(outcome.option.stack, lights[0]).reading
        assert outcome.appearance.reading.Lab == pytest.approx(alone.Lab, abs=1e-9)
    assert [o.option.stack.backing.name for o in made.outcomes] == ["white", "black"] * 2
    told = next(step for step in made.steps if step.axis == "stack")
    assert told.change == (
        "Laying Silk chiffon, ivory, bias over Shot silk organza, crimson and black, cross grain, "
        "back out instead of Shot silk organza, crimson and black, cross grain, back out over "
        "Silk chiffon, ivory, bias"
    )
    with pytest.raises(InputError, match="named twice"):
        compare_stacks((over, over), grounds, lights)


def test_the_heading_tells_of_stacks_only_what_is_true_of_all_their_layers():
    outer, lining = load_swatch("shot-organza-red-black"), load_swatch("silk-chiffon-ivory")
    over = Stack((Layer(outer, 90.0, "back"), Layer(lining, 45.0)))
    grounds, lights = (backing("white"),), (scene("window at the side"),)
    for piles in ((over,), (Stack((Layer(outer),)), over)):
        made = compare_stacks(piles, grounds, lights)
        drawn = _Sheet(made, "", 1)
        drawn.image()
        on_sheet = [args[2] for kind, args in drawn.marks if kind == "text"][:3]
        for title, common in (as_text(made).splitlines()[:2], (on_sheet[0], " ".join(on_sheet))):
            assert len(piles) == 2 or title.startswith(outer.name)
            assert title == "2 stacks" or f"over {lining.name}" in as_text(made).splitlines()[0]
            for one in ("1 layer", "2 layers", "face out", "; straight", ", straight"):
                assert one not in common
            assert "white behind" in common and "window at the side" in common


def test_mixed_stacks_from_the_command_line(tmp_path, capsys):
    from weavecolor.cli import run

    out = tmp_path / "sheet.png"
    asked = ["compare", "--stack", "shot-organza-red-black cross back + silk-chiffon-ivory bias",
             "--stack", "silk-chiffon-ivory + shot-organza-red-black", "--behind", "white",
             "--out", str(out)]  # fmt: skip
    assert run(asked) == 0 and out.exists()
    told = capsys.readouterr().out
    assert "cross grain, back out over Silk chiffon, ivory, bias" in told
    for bad, says in (
        (["compare"], "name one cloth, or whole stacks"),
        (["compare", "shot-organza-red-black", "--behind", "tarlatan-green"], "lay it as the inn"),
        (["compare", "--stack", "shot-organza-red-black + "], "names no cloth"),
        (["compare", "--stack", "nothing-such cross"], "neither a swatch"),
        (["draw", "hung", "--out", str(out)], "name one cloth, or whole stacks"),
    ):
        assert run(bad) == 2
        assert says in capsys.readouterr().err


def test_layers_that_are_turned_are_told_with_their_turn():
    """A row that says straight grain alone would be cut so, all layers of it."""
    from weavecolor.report.comparisontable import as_csv, as_text

    asked = dict(grains=(0.0,), counts=(1, 2), backings=(None,), scenes=(scene("overcast"),))
    told = as_text(compare(load_swatch("silk-chiffon-ivory"), turn_deg=30.0, **asked))
    assert "2 layers (each turned 30\u00b0 from the one before" in told
    assert "1 layer  " in told
    alike = compare(load_swatch("silk-chiffon-ivory"), **asked)
    assert "turned" not in as_text(alike)
    asked["counts"] = (2,)
    made = compare(load_swatch("silk-chiffon-ivory"), turn_deg=-45.0, **asked)
    assert "each turned -45\u00b0" in as_text(made).splitlines()[1]
    assert "each turned -45\u00b0" in as_csv(made)


def test_grain_in_the_words_of_patterns():
    """Lengthwise and crosswise grain, as pattern envelopes have it; common practice, no source."""
    words = ("lengthwise grain", "straight of grain", "Crosswise", "true bias", "on the bias")
    assert [grain_deg(said) for said in words] == [0.0, 0.0, 90.0, 45.0, 45.0]
    with pytest.raises(InputError, match="write bias, or cross grain"):
        grain_deg("on the cross")  # the bias to some, cross grain to others


def test_numbers_keep_clear_of_the_screen_colour_beside_them():
    teal = load_swatch("shot-organza-teal-copper")
    made = compare(teal, (0.0, 90.0), (1, 2), (BLACK,), (scene("ballroom"),))
    sheet = _Sheet(made, "teal", 2)
    sheet.image()
    texts = [mark[1] for mark in sheet.marks if mark[0] == "text"]
    codes = [text for text in texts if text[2].startswith("#")]
    assert len(codes) == 4
    for right, y, code, size, *_ in codes:
        (left, numbers) = next((t[0], t[2]) for t in texts if t[1] == y and t[2].startswith("L ")
                               and right - PATCH[0] == t[0])  # fmt: skip
        taken = sum(font(size * 2).getlength(text) for text in (numbers, code)) / 2
        assert taken < PATCH[0] - 3, numbers
