"""The page's logic, run through Streamlit's own app tests: every number against the core."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.files.clothfile import load_swatch
from weavecolor.making.file import from_json, to_json
from weavecolor.making.lightchoice import LightChoice
from weavecolor.optics.appearance import appearance, contrast_ratio
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

UI = Path(__file__).resolve().parents[1] / "ui"
DEMO = "shot-organza-red-black"
PLACE = "window at the side"


#: The oldest Streamlit that the page runs with cannot yet hand in files in its tests.
can_upload = pytest.mark.skipif(
    not hasattr(AppTest, "file_uploader"), reason="this Streamlit's app tests hand in no files"
)


@pytest.fixture(autouse=True)
def _panels_on_path(monkeypatch):
    monkeypatch.syspath_prepend(str(UI))


@pytest.fixture
def page():
    return AppTest.from_file(str(UI / "page.py"), default_timeout=120).run()


def html(at: AppTest) -> str:
    return "\n".join(element.proto.body for element in at.get("html"))


def lightness(at: AppTest) -> float:
    """L* as the page prints it under the numbers."""
    return float(re.search(r"<dt>Lightness</dt><dd>([\d.]+)</dd>", html(at))[1])


def to_step(at: AppTest, step: str) -> AppTest:
    at.session_state["step"] = step
    return at.run()


def button(at: AppTest, key: str):
    return next(b for b in at.get("button") if b.key == key)


def clean(at: AppTest) -> None:
    assert not at.exception
    assert not at.error


def reading(layers, behind="white", place=PLACE):
    stack = Stack(tuple(layers), backing(behind))
    return appearance(stack, scene(place)).reading


def test_opens_on_the_demo_cloth_with_a_picture_and_true_numbers(page):
    clean(page)
    shown = html(page)
    expected = reading([Layer(load_swatch(DEMO))])
    assert expected.hex in shown
    assert f'id="wc-words">{expected.words}<' in shown
    assert "data:image/webp;base64," in shown
    assert lightness(page) == pytest.approx(expected.Lab[0], abs=0.051)
    opacity = contrast_ratio(Stack((Layer(load_swatch(DEMO)),)))
    assert f"<dt>Opacity</dt><dd>{100 * opacity:.0f} %</dd>" in shown


def test_every_number_has_its_line(page):
    facts = re.findall(r'<div class="wc-fact"><dt>(.*?)</dt><dd>(.*?)</dd><p>(.*?)</p>', html(page))
    assert len(facts) >= 12
    for name, value, meaning in facts:
        assert value and len(meaning) > 20, name


def test_grain_by_slider_and_by_preset(page):
    to_step(page, "Layers")
    page.slider(key="grain-0").set_value(30).run()
    clean(page)
    cloth = load_swatch(DEMO)
    assert lightness(page) == pytest.approx(reading([Layer(cloth, 30.0)]).Lab[0], abs=0.051)
    page.button_group(key="preset-0").set_value("bias").run()
    assert page.slider(key="grain-0").value == 45
    assert lightness(page) == pytest.approx(reading([Layer(cloth, 45.0)]).Lab[0], abs=0.051)


def test_doubling_deepens_and_black_behind_darkens(page):
    to_step(page, "Layers")
    single = lightness(page)
    button(page, "add-layer").click().run()
    double = lightness(page)
    assert double < single - 5
    page.selectbox(key="backing").set_value("black").run()
    clean(page)
    black = lightness(page)
    assert black < double - 5
    cloth = load_swatch(DEMO)
    assert black == pytest.approx(reading([Layer(cloth)] * 2, "black").Lab[0], abs=0.051)


def test_layers_turn_together_or_alone(page):
    to_step(page, "Layers")
    button(page, "add-layer").click().run()
    page.slider(key="grain-0").set_value(20).run()
    assert page.slider(key="grain-1").value == 20
    page.toggle(key="together").set_value(False).run()
    page.slider(key="grain-1").set_value(110).run()
    assert page.slider(key="grain-0").value == 20
    cloth = load_swatch(DEMO)
    crossed = reading([Layer(cloth, 20.0), Layer(cloth, 110.0)])
    assert lightness(page) == pytest.approx(crossed.Lab[0], abs=0.051)


def test_moving_the_light_and_the_place(page):
    to_step(page, "Light")
    page.selectbox(key="place").set_value("footlights").run()
    clean(page)
    lit = reading([Layer(load_swatch(DEMO))], place="footlights")
    assert lightness(page) == pytest.approx(lit.Lab[0], abs=0.051)
    page.toggle(key="moved").set_value(True).run()
    page.slider(key="light-side").set_value(-60).run()
    clean(page)
    assert "60° left" in html(page)


def test_pins_are_told_from_the_first(page):
    to_step(page, "Compare")
    button(page, "ready-grains").click().run()
    clean(page)
    assert [p.name for p in page.session_state["work"].options] == ["A", "B", "C"]
    cloth = load_swatch(DEMO)
    first, cross = (reading([Layer(cloth, g)]) for g in (0.0, 90.0))
    delta = float(ciede2000(first.Lab, cross.Lab))
    table = page.dataframe[0].value.set_index("pin")
    assert table.loc["B", "difference"] == pytest.approx(delta, abs=0.006)
    assert table.loc["A", "difference"] == 0.0
    assert f"difference {delta:.1f} give or take" in html(page)
    button(page, "off-B").click().run()
    assert list(page.dataframe[0].value["pin"]) == ["A", "C"]


def test_the_same_is_not_pinned_twice(page):
    to_step(page, "Compare")
    button(page, "pin-now").click().run()
    button(page, "pin-now").click().run()
    assert len(page.session_state["work"].options) == 1
    assert any("already" in s.value for s in page.success)


def test_table_files_hold_what_the_board_shows(page):
    to_step(page, "Compare")
    button(page, "ready-layers").click().run()
    import compare_panel

    now = page.session_state["work"]
    rows = compare_panel.board(now)
    records = list(csv.DictReader(io.StringIO(compare_panel.csv_text(now, rows))))
    data = json.loads(compare_panel.json_text(now, rows))
    assert [r["pin"] for r in records] == [o["pin"] for o in data["options"]] == ["A", "B", "C"]
    for record, option, n in zip(records, data["options"], (1, 2, 3), strict=True):
        Lab = reading([Layer(load_swatch(DEMO))] * n).Lab
        assert np.allclose(option["Lab"], Lab, atol=6e-4)
        assert float(record["L*"]) == pytest.approx(Lab[0], abs=0.051)


def test_a_described_cloth_stays_with_the_one_who_described_it(page):
    other = AppTest.from_file(str(UI / "page.py"), default_timeout=120).run()
    page.button_group(key="cloth-way").set_value("Describe").run()
    page.text_input(key="d-name").set_value("Secret <b>bolt</b>")
    page.get("button")[0].click().run()
    clean(page)
    assert page.session_state["work"].table.layers[0].cloth.startswith("own-secret")
    shown = html(page)
    assert "Secret &lt;b&gt;bolt&lt;/b&gt;" in shown and "<b>bolt" not in shown
    other.run()
    assert "Secret" not in html(other)
    assert [c.key for c in other.session_state["work"].cloths] == [DEMO]


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("d-ends", "-3 /cm", "sett"),
        ("d-ends", "40", "unit"),
        ("d-picks", "900 /cm", "threads/cm"),
        ("d-warp-count", "21 stone", "yarn"),
        ("d-weight", "heavy", "weight"),
    ],
)
def test_a_bad_description_gets_one_line_and_changes_nothing(page, key, value, said):
    page.button_group(key="cloth-way").set_value("Describe").run()
    page.text_input(key=key).set_value(value)
    page.get("button")[0].click().run()
    assert not page.exception
    assert len(page.error) == 1
    line = page.error[0].value
    assert "\n" not in line and "Traceback" not in line and said in line.replace("\\", "")
    assert page.session_state["work"].table.layers[0].cloth == DEMO


def _chosen(making):
    import state

    return state.choose(state.pin(making, state.table_of(making)), "A")


def test_no_exception_text_reaches_the_page(page, monkeypatch, capsys):
    import looks
    import sheet_panel

    def broken(*_args, **_rest):
        raise RuntimeError("secret inner workings")

    monkeypatch.setattr(looks, "outcome", broken)
    monkeypatch.setattr(sheet_panel, "making_sheet", broken)
    page.session_state["work"] = _chosen(page.session_state["work"])
    for step in ("Cloth", "Compare", "Decide", "Making sheet"):
        to_step(page, step)
        assert not page.exception
        assert all("secret" not in e.value for e in page.error)
        assert "secret" not in html(page)
    assert any("Something went wrong" in e.value for e in page.error)
    assert "secret inner workings" in capsys.readouterr().err


def test_lengths_and_setts_switch_to_inches(page):
    assert "40 × 38 /cm" in html(page)
    page.button_group(key="lengths").set_value("inch").run()
    clean(page)
    # 40 and 38 to the centimetre times 2.54 (the international inch).
    assert "102 × 97 /inch" in html(page)
    assert "in wide" in html(page)


def test_decision_ranks_the_deepest_first(page):
    to_step(page, "Compare")
    button(page, "ready-backings").click().run()
    to_step(page, "Decide")
    clean(page)
    assert page.button_group(key="decide-part").value == "What I want"
    ranked = [m.value for m in page.markdown if re.match(r"\d\. \*\*", m.value)]
    assert ranked[0].startswith("1. **D**") and "black" in ranked[0]


def test_pieces_are_laid_and_stand_on_the_sheet(page):
    to_step(page, "Decide")
    page.button_group(key="decide-part").set_value("Is there cloth enough?").run()
    button(page, "demo-pieces").click().run()
    button(page, "lay-it").click().run()
    clean(page)
    assert any("It fits" in s.value for s in page.success)
    assert any("Cross grain" in m.value and "taking" in m.value for m in page.markdown)
    import sheet_panel

    from weavecolor.making.answers import needs_of
    from weavecolor.report.sheetwords import needed_sentences

    now = page.session_state["work"]
    assert [p.name for p in now.pieces][:2] == ["skirt panel", "bodice front"]
    # The page says of the choice what sheet and command line say: the same sum.
    (need,) = needs_of(now, now.table)
    said = " ".join(s.value for s in page.success).replace("\\", "")
    for sentence in needed_sentences(need):
        assert sentence[:40] in said, sentence
    sheet = sheet_panel.making_sheet(now, now.table)
    assert sheet.pieces == now.pieces and sheet.needs[0].used_cm == need.used_cm


def test_the_making_sheet_is_offered(page):
    to_step(page, "Making sheet")
    button(page, "choose-table").click().run()
    clean(page)
    assert 'alt="Page 1 of the making sheet"' in html(page)
    labels = [b.proto.label for b in page.get("download_button")]
    assert "Making sheet (PDF)" in labels and "Save the project (JSON)" in labels


def test_candle_light_comes_with_its_caution(page):
    to_step(page, "Light")
    page.selectbox(key="place").set_value("candlelit").run()
    assert "candle" in html(page) and "Mind" in html(page)


# --- the state by itself ------------------------------------------------------------------------


def test_what_was_made_on_the_page_comes_back_as_it_was():
    import looks
    import state

    table = {
        "name": "Own taffeta",
        "weave": "plain",
        "ends": "50 /cm",
        "picks": "30 /cm",
        "warp": {"fibre": "silk", "count": "30 denier", "kind": "filament", "colour": "#aa3311"},
        "weft": {"fibre": "silk", "count": "60 denier", "kind": "filament", "colour": "#113355"},
    }
    made, key = state.keep_cloth(state.begun(), table, "described")
    made = state.with_cloth(made, key)
    made = state.pin(state.add_layer(made), made.table)
    made = state.with_now(made, backing="#445566")
    made = replace(made, units="inch", title="Cape", light=LightChoice("ballroom", moved=True))
    back = from_json(to_json(made))
    assert back == made and back.before is None
    # What had to be supposed is still said, so the same is given or taken, and seen, as before.
    assert state.cloth_called(back, key).remarks == state.cloth_called(made, key).remarks != ()
    assert back.chosen == "" and [x.name for x in back.options] == ["A"]
    first = looks.outcome(made, made.options[0])
    told = [
        looks.differences(
            [looks.outcome(one, one.options[0]), looks.outcome(other, other.table)]
        )[0]
        for one, other in ((made, made), (made, back), (back, made), (back, back))
    ]
    assert len({(step.sentence, step.uncertainty.stated) for step in told}) == 1
    assert looks.outcome(back, back.options[0]).uncertainty.stated == first.uncertainty.stated


def test_nothing_is_chosen_unasked_and_what_was_cleared_comes_back(page):
    to_step(page, "Compare")
    button(page, "ready-grains").click().run()
    assert page.session_state["work"].chosen == ""
    to_step(page, "Making sheet")
    clean(page)
    assert any("Nothing is chosen yet" in x.value for x in page.info)
    assert "Page 1 of the making sheet" not in html(page)
    to_step(page, "Compare")
    button(page, "choose-B").click().run()
    kept = page.session_state["work"]
    assert kept.chosen == "B"
    button(page, "clear").click().run()
    assert page.session_state["work"] == kept  # it asks first
    button(page, "clear-yes").click().run()
    assert page.session_state["work"].options == () and page.session_state["work"].chosen == ""
    saved = from_json(to_json(page.session_state["work"]))  # also over save and reopen
    assert saved.before == kept
    button(page, "undo").click().run()
    clean(page)
    assert page.session_state["work"] == kept


def test_two_cloths_of_one_name_are_told_apart():
    import state

    table = {
        "name": "Taffeta", "weave": "plain", "ends": "50 /cm", "picks": "30 /cm",
        "warp": {"fibre": "silk", "count": "30 denier", "kind": "filament", "colour": "#aa3311"},
        "weft": {"fibre": "silk", "count": "60 denier", "kind": "filament", "colour": "#113355"},
    }  # fmt: skip
    made, first = state.keep_cloth(state.begun(), table, "described")
    made, second = state.keep_cloth(made, {**table, "ends": "40 /cm"}, "described")
    again, third = state.keep_cloth(made, table, "described")
    assert third == first != second and again == made
    labels = [state.cloth_label(made, key) for key in state.own_cloths(made)]
    assert labels == ["Taffeta (yours)", f"Taffeta ({second}) (yours)"]


def test_a_search_keeps_what_was_asked_in_the_making():
    import search_panel
    import state

    asked = {
        "want": ["deepest", "target"], "cloths": [DEMO, "silk-chiffon-ivory"],
        "outside": "silk-chiffon-ivory", "behind": ["white", search_panel.OPEN_AIR],
        "colour": "#203040", "layers": (1, 2), "grains": ["straight"], "sides": ["face"],
        "weight": 80.0, "scenes": ["candlelit"], "enough": False,
    }  # fmt: skip
    made = from_json(to_json(search_panel.asked_of(state.begun(), asked)))
    assert made.wishes == ("deepest", "target #203040") and made.backings == ("white", "open")
    assert made.limits.outside == ("silk-chiffon-ivory",) and made.limits.weight_g_m2 == 80.0
    assert made.scenes == ("candlelit",) and made.limits.layers == (1, 2)
    assert search_panel._wanted(made) == ["deepest", "target"]
    assert search_panel._colour(made) == "#203040"
    assert search_panel._behind(made) == ["white", search_panel.OPEN_AIR]


def test_a_new_pin_takes_no_name_of_a_project_and_one_taken_off_is_gone():
    import state

    file = UI.parent / "swatches" / "projects" / "two-skirt-evening.json"
    made = state.opened(from_json(file.read_text()))
    made = state.pin(made, state.table_of(state.with_now(made, backing="#445566")))
    assert [x.name for x in made.options] == ["A", "B", "C", "D"]
    saved = state.unpin(made, "A")
    assert [x.name for x in saved.options] == ["B", "C", "D"] and saved.chosen == ""


@pytest.mark.parametrize(
    ("side", "height", "zenith", "azimuth"),
    [
        # The frame of weavecolor.scene.places: 0 towards the floor, 90 right of one who faces the
        # cloth, 180 up; zenith 0 straight ahead.
        (55, 0, 55, 90),
        (-55, 0, 55, 270),
        (0, 60, 60, 180),
        (0, -55, 55, 0),
        (180, 0, 180, None),
        (30, 40, np.degrees(np.arccos(np.cos(np.radians(40)) * np.cos(np.radians(30)))), None),
    ],
)
def test_side_and_height_become_a_direction(side, height, zenith, azimuth):
    from weavecolor.making import lightchoice as lighting

    found = lighting.direction(side, height)
    assert found[0] == pytest.approx(zenith, abs=1e-6)
    if azimuth is not None:
        assert found[1] == pytest.approx(azimuth, abs=1e-6)


def test_no_side_or_height_is_refused_by_the_scene():
    from weavecolor.making import lightchoice as lighting

    for side in range(-180, 181, 15):
        for height in range(-85, 86, 17):
            light = lighting.LightChoice(lighting.OWN_LIGHT, side_deg=side, height_deg=height)
            assert lighting.scene_of(light).lights


def test_pieces_survive_their_table():
    import enough_panel

    for units in ("cm", "inch"):
        frame = enough_panel.pieces_frame(enough_panel.demo_pieces(), units)
        back = enough_panel.pieces_from(frame, units)
        for one, other in zip(enough_panel.demo_pieces(), back, strict=True):
            assert np.allclose(one.outline, other.outline, atol=0.02)
            assert (one.quantity, one.fold_edge) == (other.quantity, other.fold_edge)


def test_markdown_of_the_users_own_is_made_harmless():
    import session

    assert session.plain("a*b [x](y) <i>") == r"a\*b \[x\]\(y\) \<i\>"
    assert "streamlit" in sys.modules


def test_what_shows_through_and_every_light(page):
    from weavecolor.decide.showthrough import show_through, tape

    to_step(page, "Decide")
    page.button_group(key="decide-part").set_value("What shows through").run()
    clean(page)
    item = tape(Stack((Layer(load_swatch(DEMO)),), backing("white")), "dark")
    expected = show_through(item, scene(PLACE)).words
    told = [m.value.replace("\\", "") for m in page.markdown]
    assert any(line.endswith(expected) for line in told)
    page.button_group(key="decide-part").set_value("In every light").run()
    clean(page)
    assert "ballroom" in html(page) and "Changes most between" in html(page)


def test_a_search_finds_what_the_core_finds(page):
    from weavecolor.decide.candidates import Material, candidates
    from weavecolor.decide.search import search
    from weavecolor.decide.wishes import Limits, Wish

    to_step(page, "Decide")
    page.slider(key="s-layers").set_value((1, 2))
    page.multiselect(key="s-behind").set_value(["white", "black"])
    next(b for b in page.get("button") if b.label == "Search all of them").click().run()
    clean(page)
    found = page.session_state["search-found"]
    cloth = load_swatch(DEMO)
    made = candidates(
        [Material(cloth)], [backing("white"), backing("black")], Limits(layers=(1, 2))
    )
    expected = search(made, [Wish("deepest")], [scene(PLACE)], options=5)
    assert [o.words for o in found.options] == [o.words for o in expected.options]
    button(page, "s-pin-1").click().run()
    clean(page)
    pinned = page.session_state["work"].options[0]
    first = expected.options[0].stack
    assert pinned.backing == first.backing.name
    assert [x.grain_deg for x in pinned.layers] == [x.grain_deg for x in first.layers]


def test_fullness_is_kept_in_the_project_and_on_the_sheet(page):
    import sheet_panel

    from weavecolor.cutting.fullness import plan_fullness

    page.session_state["work"] = _chosen(page.session_state["work"])
    to_step(page, "Decide")
    page.button_group(key="decide-part").set_value("Fullness").run()
    page.radio(key="full-kind").set_value("knife").run()
    page.slider(key="full-ratio").set_value(3.0).run()
    page.toggle(key="full-on-sheet").set_value(True).run()
    clean(page)
    to_step(page, "Making sheet")
    clean(page)
    now = page.session_state["work"]
    plan = plan_fullness("knife", 70.0, 112.0, 90.0, fullness=3.0)
    (told,) = sheet_panel.making_sheet(now, now.table).fullness
    assert told[1].cloth_length_cm == plan.cloth_length_cm
    assert from_json(to_json(now)) == now


@can_upload
def test_a_project_of_somebody_else_cannot_write_markup(page):
    import state

    made = state.pin(state.begun(), state.begun_table())
    named = replace(made.options[0], name="<img src=x onerror=alert(1)>[a](b)")
    made = replace(made, options=(named,), chosen=named.name, title="<script>x</script>")
    project = to_json(made)
    to_step(page, "Making sheet")
    page.file_uploader(key="project-file").upload("p.json", project.encode()).run()
    clean(page)
    assert page.session_state["work"].title == "<script>x</script>"
    for step in ("Compare", "Decide", "Making sheet"):
        to_step(page, step)
        clean(page)
        told = "".join(m.value for m in (*page.markdown, *page.caption, *page.success))
        told = re.sub(r"\\.", "", told)  # a mark after a backslash is harmless
        assert "](b)" not in told
        for mark in ("<img src=x", "<script>"):
            assert mark not in told and mark not in html(page)


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.toml", b"name = 3", "is missing"),
        ("b.toml", b"[" * 50_000, "TOML"),
        ("../../c.toml", b"\xff\xfe", "UTF-8"),
        ("d.toml", b"x = 1\n" * 200_000, "1 MB"),
    ],
)
@can_upload
def test_a_bad_cloth_file_gets_one_line(page, name, data, said):
    page.button_group(key="cloth-way").set_value("Open a file").run()
    page.file_uploader(key="cloth-file").upload(name, data).run()
    assert not page.exception
    line = "".join(e.value for e in page.error)
    assert said in line.replace("\\", "") and "\n" not in line and ".." not in line
    assert [cloth.key for cloth in page.session_state["work"].cloths] == [DEMO]


@can_upload
def test_pictures_that_are_none_get_one_line(page):
    page.button_group(key="cloth-way").set_value("Measure").run()
    for data in (b"not a picture", b"\xff\xd8\xff" + b"\0" * 1000):
        page.file_uploader(key="m-white").set_value(("x.jpg", data, "image/jpeg")).run()
        assert not page.exception
        assert len(page.error) == 1 and "1 Over white" in page.error[0].value.replace("\\", "")
