"""The page's logic, run through Streamlit's own app tests: every number against the core."""

from __future__ import annotations

import csv
import fcntl
import io
import itertools
import json
import os
import re
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from streamlit.components.v2 import manifest_scanner
from streamlit.runtime.scriptrunner import RerunData, RerunException
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import Selectbox

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.decide.compare import Option, evaluate, steps
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_to_toml, load_swatch
from weavecolor.making.answers import lights_of, stack_of, with_option
from weavecolor.making.file import change_making, from_json, load_making, open_making, to_json
from weavecolor.making.lightchoice import LightChoice, scene_of
from weavecolor.making.model import Making
from weavecolor.optics.appearance import appearance, contrast_ratio
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import hung
from weavecolor.scene.places import scene

pytestmark = pytest.mark.usefixtures("few_lays")

UI = Path(__file__).resolve().parents[1] / "ui"
DEMO = "shot-organza-red-black"
PLACE = "window at the side"


@pytest.fixture(autouse=True)
def _page_at_home(monkeypatch, tmp_path):
    monkeypatch.syspath_prepend(str(UI))
    monkeypatch.setenv("WEAVECOLOR_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("WEAVECOLOR_PICTURES", "0")  # the browser's tests draw them


@pytest.fixture(scope="module", autouse=True)
def _components_listed_once():
    """Streamlit looks through all that is installed for components anew in each app test."""
    found = manifest_scanner.scan_component_manifests()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(manifest_scanner, "scan_component_manifests", lambda *_, **__: found)
        yield


@pytest.fixture
def page():
    return AppTest.from_file(str(UI / "page.py"), default_timeout=120).run()


def html(at: AppTest) -> str:
    return "\n".join(element.proto.body for element in at.get("html"))


def lightness(at: AppTest) -> float:
    """L* as the page prints it among the figures of the open question."""
    return float(re.search(r"<dt>Lightness</dt><dd>([\d.]+)</dd>", html(at))[1])


def to(at: AppTest, question: str, *folds: str) -> AppTest:
    """The question opened, its figures and these folds too."""
    at.session_state["asked"] = question
    for name in (f"figures-{question}", *folds):
        at.session_state[f"fold-{name}"] = True
    return at.run()


def press(at: AppTest, key: str) -> AppTest:
    return button(at, key).click().run()


def button(at: AppTest, key: str):
    return next(b for b in at.get("button") if b.key == key)


def clean(at: AppTest) -> None:
    assert not at.exception
    assert not at.error


def reading(layers, behind="white", place=PLACE):
    stack = Stack(tuple(layers), backing(behind))
    return appearance(stack, scene(place)).reading


def test_opens_on_the_demo_cloth_with_true_numbers(page):
    clean(page)
    expected = reading([Layer(load_swatch(DEMO))])
    assert f"{expected.words} as it lies" in html(page)
    to(page, "facing")
    clean(page)
    assert f"{expected.words} {expected.hex}" in html(page)
    assert lightness(page) == pytest.approx(expected.Lab[0], abs=0.051)
    opacity = contrast_ratio(Stack((Layer(load_swatch(DEMO)),)))
    assert f"<dt>Opacity</dt><dd>{100 * opacity:.0f} %</dd>" in html(page)


def test_every_number_has_its_line(page):
    told = ""
    for question in ("cloth", "facing"):
        told += html(to(page, question))
    fact = r'<div class="wc-fact"><dt>(.*?)</dt><dd>(.*?)</dd><dd class=wc-means>(.*?)</dd>'
    facts = re.findall(fact, told)
    assert len(facts) >= 12
    for name, value, meaning in facts:
        assert value and len(meaning) > 20, name


def test_grain_by_pressing_and_by_hand(page):
    to(page, "facing", "by-hand")
    cloth = load_swatch(DEMO)
    press(page, "take-facing-cross")
    clean(page)
    assert lightness(page) == pytest.approx(reading([Layer(cloth, 90.0)]).Lab[0], abs=0.051)
    page.slider(key="grain-0").set_value(30).run()
    clean(page)
    assert lightness(page) == pytest.approx(reading([Layer(cloth, 30.0)]).Lab[0], abs=0.051)
    assert any("As it lies" in b.label for b in page.get("button"))
    page.button_group(key="preset-0").set_value("bias").run()
    assert page.slider(key="grain-0").value == 45
    press(page, "take-facing-back")
    back = reading([Layer(cloth, 45.0, "back")])
    assert lightness(page) == pytest.approx(back.Lab[0], abs=0.051)


def test_a_strip_says_what_the_command_line_says(page):
    """The sentence under the strip is the step of ``weavecolor.decide``, word for word."""
    from weavecolor.decide.compare import Option, evaluate, steps

    to(page, "facing")
    press(page, "take-facing-cross")
    cloth = load_swatch(DEMO)
    lit = scene(PLACE)
    seen = evaluate(
        [Option(Stack((Layer(cloth, g),), backing("white")), lit) for g in (0.0, 90.0)]
    )
    (step,) = steps(seen, [(0, 1)])
    answer = re.search(r'class="wc-answer" role="status">(.*?)</p>', html(page))[1]
    assert answer == step.sentence
    assert f"{step.effect[:1].upper()}{step.effect[1:]}. <span" in html(page)


def test_a_strip_says_what_the_command_line_says_of_folds(page):
    """Worked out aside, word for word; and nothing where light shines through cloth held flat."""
    import looks
    import state
    import strip

    import weavecolor as wc

    now = page.session_state["work"]
    table = state.table_of(now)
    asked = [(table, None), (state.table_of(state.with_now(now, backing="black")), None)]
    made = wc.compare(load_swatch(DEMO), "straight", behind=("white", "black"), hung=True)
    (told,) = json.loads(looks.in_folds(now, asked, strip.told_of).make())
    assert told["sentence"] == made.steps[0].sentence
    assert told["line"] == strip.line_of(made.steps[0]) and "Much darker" in told["line"]
    assert looks.hangs(now, None) and not looks.hangs(now, LightChoice("lightbox behind"))


def test_the_other_side_is_called_by_its_grain_where_it_is_told_from_another(page):
    import ask_facing
    import state

    now = page.session_state["work"]
    assert [one.name for one in ask_facing.choices(now)][-1] == "Back out"
    crossed = state.with_now(now, layers=ask_facing.turned(state.table_of(now), 90.0).layers)
    assert [one.name for one in ask_facing.choices(crossed)][-1] == "Back out, cross grain"


def test_what_may_be_otherwise_in_another_light_is_told_as_perhaps(page):
    """Nobody sees two lights side by side, so no verdict says there that it cannot be told."""
    import strip

    import weavecolor as wc

    made = wc.compare(
        load_swatch(DEMO), "straight", behind="white", places=("overcast", "stage LED", "candlelit")
    )
    (step, *_) = made.steps
    assert step.verdict is None and step.delta < step.uncertainty.stated
    assert " may make it lighter" in step.sentence and " makes " not in step.sentence
    assert strip.line_of(step) == f"Perhaps {step.effect}."
    to(page, "worn")
    assert "Perhaps " in html(page)
    hung = wc.compare(
        load_swatch(DEMO), "straight", behind="white", places=("overcast", "candlelit"), hung=True
    )
    assert hung.steps[0].sentence.startswith("Going from overcast to candlelit m")


def test_doubling_deepens_and_black_behind_darkens(page):
    to(page, "depth")
    single = lightness(page)
    press(page, "take-depth-two")
    double = lightness(page)
    assert double < single - 5
    to(page, "beneath")
    press(page, "take-beneath-black")
    clean(page)
    black = lightness(page)
    assert black < double - 5
    cloth = load_swatch(DEMO)
    assert black == pytest.approx(reading([Layer(cloth)] * 2, "black").Lab[0], abs=0.051)


def test_layers_turn_together_or_alone(page):
    to(page, "depth", "by-hand")
    press(page, "add-layer")
    to(page, "facing", "by-hand")
    page.slider(key="grain-0").set_value(20).run()
    assert page.slider(key="grain-1").value == 20
    page.toggle(key="together").set_value(False).run()
    page.slider(key="grain-1").set_value(110).run()
    assert page.slider(key="grain-0").value == 20
    cloth = load_swatch(DEMO)
    crossed = reading([Layer(cloth, 20.0), Layer(cloth, 110.0)])
    assert lightness(page) == pytest.approx(crossed.Lab[0], abs=0.051)


def test_moving_the_light_and_the_place(page):
    to(page, "worn", "by-hand")
    press(page, "take-worn-footlights")
    clean(page)
    lit = reading([Layer(load_swatch(DEMO))], place="footlights")
    assert lightness(page) == pytest.approx(lit.Lab[0], abs=0.051)
    page.toggle(key="moved").set_value(True).run()
    page.slider(key="light-side").set_value(-60).run()
    clean(page)
    from weavecolor.making.lightchoice import light_words

    assert "60° left" in light_words(page.session_state["work"].light)


def test_kept_ones_are_told_from_the_first(page):
    to(page, "facing")
    press(page, "keep-all-facing")
    clean(page)
    assert [p.name for p in page.session_state["work"].options] == ["A", "B", "C", "D"]
    cloth = load_swatch(DEMO)
    first, cross = (reading([Layer(cloth, g)]) for g in (0.0, 90.0))
    delta = float(ciede2000(first.Lab, cross.Lab))
    to(page, "kept", "kept-table")
    table = page.dataframe[0].value.set_index("piece")
    assert table.loc["B", "difference"] == pytest.approx(delta, abs=0.006)
    assert table.loc["A", "difference"] == 0.0
    assert f"difference {delta:.1f} give or take" in html(page)  # two under one slider
    press(page, "off-B")
    assert list(page.dataframe[0].value["piece"]) == ["A", "C", "D"]
    press(page, "undo")
    assert list(page.dataframe[0].value["piece"]) == ["A", "B", "C", "D"]
    press(page, "redo")
    assert list(page.dataframe[0].value["piece"]) == ["A", "C", "D"]


def test_the_same_is_not_kept_twice(page):
    press(page, "keep")
    press(page, "keep")
    assert len(page.session_state["work"].options) == 1
    assert any("already" in t.value for t in page.toast)


def test_all_choices_are_kept_where_they_are_different_pieces(page):
    to(page, "facing")
    press(page, "keep-all-facing")
    assert any("4 more kept" in t.value for t in page.toast)
    press(page, "keep-all-facing")
    assert any("already" in t.value for t in page.toast)
    for question in ("worn", "reach"):  # one piece in other lights, or taken in otherwise
        to(page, question)
        assert not [b.key for b in page.button if str(b.key).startswith("keep-all")]
        if question == "worn":
            assert "Stage LED" in [b.label for b in page.button]


def test_what_one_would_not_expect_of_kept_ones_is_said_to_be_of_flat_cloth(page):
    to(page, "depth")
    press(page, "keep-all-depth")
    to(page, "kept")
    assert "watered pattern" not in html(page)
    assert button(page, "turn-fold-why-kept").label.endswith("Not what one expects, held flat: why")
    to(page, "kept", "why-kept")
    clean(page)
    assert "watered pattern" in html(page)


def test_table_files_hold_what_the_board_shows(page):
    to(page, "depth")
    press(page, "keep-all-depth")
    import side_by_side

    now = page.session_state["work"]
    rows = side_by_side.board(now)
    records = list(csv.DictReader(io.StringIO(side_by_side.csv_text(now, rows))))
    data = json.loads(side_by_side.json_text(now, rows))
    names = ["A", "B", "C", "D"]
    assert [r["piece"] for r in records] == [o["piece"] for o in data["options"]] == names
    stacks = [[(0.0,)], [(0.0,), (0.0,)], [(0.0,), (90.0,)], [(0.0,)] * 3]
    for record, option, grains in zip(records, data["options"], stacks, strict=True):
        Lab = reading([Layer(load_swatch(DEMO), g) for (g,) in grains]).Lab
        assert np.allclose(option["Lab"], Lab, atol=6e-4)
        assert float(record["L*"]) == pytest.approx(Lab[0], abs=0.051)


# --- nothing is lost ----------------------------------------------------------------------------


def test_a_reload_and_a_second_tab_go_on_with_the_same_making(page):
    import shelf

    assert not shelf.kept()  # nothing is written before something is done
    to(page, "depth")
    press(page, "take-depth-two")
    given = page.query_params["making"]
    name = given if isinstance(given, str) else given[0]
    assert [k.name for k in shelf.kept()] == [name]
    again = AppTest.from_file(str(UI / "page.py"), default_timeout=120)
    again.query_params["making"] = name
    again.query_params["asking"] = "beneath"
    again.run()
    clean(again)
    assert again.session_state["work"] == page.session_state["work"]
    assert again.session_state["asked"] == "beneath"
    press(again, "take-beneath-black")
    page.run()  # the other tab wrote meanwhile
    assert page.session_state["work"].table.backing == "black"
    fresh = AppTest.from_file(str(UI / "page.py"), default_timeout=120).run()
    assert len(fresh.session_state["work"].table.layers) == 1
    assert name in [k.name for k in shelf.kept()]
    assert any("My making" in text for text in fresh.selectbox(key="earlier").options)


def kept_of(making: Making) -> dict[str, tuple[float, str]]:
    """Grain and backing of what is kept there, by its name."""
    return {x.name: (x.layers[0].grain_deg, x.backing) for x in making.options}


def test_two_tabs_and_the_command_line_lose_nothing_of_one_another(page, monkeypatch):
    import livepicture
    import shelf

    to(page, "facing")
    press(page, "take-facing-cross")
    name = shelf.kept()[0].name
    tab = AppTest.from_file(str(UI / "page.py"), default_timeout=120)
    tab.query_params["making"] = name
    tab.run()
    press(to(tab, "facing"), "keep")
    press(page, "take-facing-bias")  # takes over what the other tab kept
    before, file = load_making(shelf.file_of(name)), shelf.file_of(name)
    assert kept_of(before) == kept_of(page.session_state["work"]) == {"A": (90.0, "white")}
    # both keep something before either is drawn again
    press(tab, "take-facing-straight")
    page.session_state["work"] = replace(before, table=replace(before.table, backing="black"))
    press(page, "keep")
    press(tab, "keep")
    three = {"A": (90.0, "white"), "B": (45.0, "black"), "C": (0.0, "white")}
    assert kept_of(tab.session_state["work"]) == kept_of(load_making(file)) == three
    press(press(tab, "undo"), "redo")
    press(tab, "undo")  # goes back over what was done here alone
    assert list(kept_of(page.run().session_state["work"])) == ["A", "B"]

    def also(now):
        return with_option(now, replace(now.options[0], backing="calico"))[0]

    drawn, late = livepicture.draw, [lambda: change_making(file, also)]

    def draw(waiting):
        drawn(waiting)
        if late:
            late.pop()()

    monkeypatch.setattr(livepicture, "draw", draw)  # written between reading and writing
    press(page, "take-facing-straight")
    press(page, "keep")
    four = {**dict(list(three.items())[:2]), "C": (90.0, "calico"), "D": (0.0, "black")}
    assert kept_of(page.session_state["work"]) == kept_of(load_making(file)) == four
    clean(page)


def test_whoever_else_writes_to_the_making_is_waited_for(page, monkeypatch):
    import shelf

    press(to(page, "facing"), "take-facing-cross")
    name = shelf.kept()[0].name
    seen = []

    def write(making, wrote=shelf.write):
        folder = os.open(shelf.folder(), os.O_RDONLY)
        try:
            fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
            seen.append("free")
        except BlockingIOError:
            seen.append("held")
        finally:
            os.close(folder)
        wrote(making)

    monkeypatch.setattr(shelf, "write", write)
    press(page, "take-facing-bias")
    assert seen == ["held"]
    assert load_making(shelf.file_of(name)).table.layers[0].grain_deg == 45.0


def test_only_going_there_follows_an_address(page):
    """A message may carry the address before the last; Back and Forward are told apart."""
    import address

    to(page, "facing")
    press(page, "take-facing-cross")
    making = page.query_params["making"]
    page.query_params["asking"] = "beneath"  # late
    page.query_params["making"] = ["20200101-000000"]
    page.run()
    clean(page)
    assert page.session_state["asked"] == "facing"
    assert page.session_state["work"].table.layers[0].grain_deg == 90.0
    page.session_state["address-gone-to"] = {address.ASKING: "depth", address.MAKING: making[0]}
    page.run()
    assert page.session_state["asked"] == "depth"
    page.run()
    assert page.session_state["asked"] == "depth"


@pytest.mark.parametrize("name", ["../../etc/passwd", "no-such-making", "A B", "x" * 400])
def test_an_address_that_names_no_making_begins_a_new_one(name):
    at = AppTest.from_file(str(UI / "page.py"), default_timeout=120)
    at.query_params["making"] = name
    at.run()
    assert not at.exception and len(at.error) == 1 and "making" in at.error[0].value
    assert [c.key for c in at.session_state["work"].cloths] == [DEMO]
    press(at, "keep")
    assert len(at.session_state["work"].options) == 1


def test_how_the_colour_moves_is_told_as_surely_as_its_grains(page):
    to(page, "facing", "turning")
    assert not page.exception and not page.error
    said = next(c.value for c in page.caption if "The colour travels" in c.value)
    travels, doubt = map(
        float, re.search(r"travels ([\d.]+) give or take ([\d.]+) CIEDE2000", said).groups()
    )
    now = page.session_state["work"]
    stack = stack_of(now, now.table)
    turned = [
        replace(stack, layers=tuple(replace(x, grain_deg=float(angle)) for x in stack.layers))
        for angle in range(0, 181, 15)
    ]
    lit = scene_of(lights_of(now)[0])
    outcomes = evaluate([Option(one, lit) for one in turned])
    pairs = list(itertools.combinations(range(len(turned)), 2))
    widest = max(steps(outcomes, pairs), key=lambda step: step.delta)
    assert travels == pytest.approx(widest.delta, abs=0.06)
    assert doubt == pytest.approx(widest.uncertainty.stated, abs=0.06) and doubt > 0.0


def test_undo_and_redo_go_step_by_step(page):
    to(page, "depth")
    begun = page.session_state["work"]
    press(page, "take-depth-two")
    press(page, "take-depth-three")
    three = page.session_state["work"]
    press(page, "undo")
    press(page, "undo")
    assert page.session_state["work"] == begun
    assert button(page, "undo").disabled
    press(page, "redo")
    press(page, "redo")
    assert page.session_state["work"] == three and button(page, "redo").disabled


def test_a_reload_keeps_the_steps_back_and_forward(page):
    """And a making that somebody else wrote meanwhile has none, for they would lead past that."""
    to(page, "depth")
    begun = page.session_state["work"]
    for key in ("take-depth-two", "take-depth-three", "undo"):
        press(page, key)

    def reloaded():
        fresh = AppTest.from_file(str(UI / "page.py"), default_timeout=120)
        fresh.query_params["making"] = page.query_params["making"]
        return fresh.run()

    again = reloaded()
    press(again, "redo")
    assert len(again.session_state["work"].table.layers) == 3
    again = reloaded()
    press(press(again, "undo"), "undo")
    assert again.session_state["work"] == begun and button(again, "undo").disabled
    clean(again)
    import shelf

    (kept,) = shelf.kept()
    change_making(kept.file, lambda made: replace(made, title="Another hand"))
    other = reloaded()
    assert other.session_state["work"].title == "Another hand"
    assert button(other, "undo").disabled and button(other, "redo").disabled


# --- a cloth of her own -------------------------------------------------------------------------


class BrokenOff(dict):
    """A session that breaks off at one look at it, as Streamlit does where another word of the
    browser has come meanwhile; at the next look it goes on."""

    def __init__(self, held, look):
        super().__init__(held)
        self.left = look

    def _look(self):
        self.left -= 1
        if self.left == 0:
            raise RerunException(RerunData())

    def __contains__(self, key):
        self._look()
        return super().__contains__(key)

    def __getitem__(self, key):
        self._look()
        return super().__getitem__(key)

    def __setitem__(self, key, value):
        self._look()
        super().__setitem__(key, value)

    def get(self, key, usual=None):
        self._look()
        return super().get(key, usual)

    def pop(self, key, usual=None):
        self._look()
        return super().pop(key, usual)


def test_a_press_is_neither_lost_nor_done_twice_when_a_run_is_broken_off(monkeypatch):
    import keptbar
    import session
    import state

    broken = 0
    for look in range(1, 60):
        held = BrokenOff({"work": state.begun(), "undo-steps": ["before"]}, look)
        monkeypatch.setattr(session.st, "session_state", held)
        try:
            session.change(keptbar._keep)
        except RerunException:  # heard after the press was done
            broken += 1
        made = dict(held)
        assert [option.name for option in made["work"].options] == ["A"], look
        assert made["undo-steps"] == ["before", state.begun()], look
        assert made["notice"] == ("info", "Kept as A."), look
    assert 15 < broken < 59


def test_a_project_of_an_older_version_is_told_so_when_it_is_opened(page):
    old = UI.parent / "tests" / "data" / "projects" / "version-2.json"
    home = Path(os.environ["WEAVECOLOR_HOME"])
    import shelf

    shelf.file_of("old-one").parent.mkdir(parents=True)
    shelf.file_of("old-one").write_bytes(old.read_bytes())
    assert shelf.file_of("old-one").is_relative_to(home)
    at = AppTest.from_file(str(UI / "page.py"), default_timeout=120)
    at.query_params["making"] = "old-one"
    at.run()
    said = open_making(old)[1]
    assert [w.value.replace("\\", "") for w in at.warning] == [said]
    clean(at)
    assert not at.run().warning


def test_a_described_cloth_is_answered_in_two_presses_and_stays_with_its_maker(page):
    other = AppTest.from_file(str(UI / "page.py"), default_timeout=120).run()
    press(page, "way-describe")
    assert "Still to tell: ends and picks." in html(page)
    assert button(page, "take-described").disabled
    assert 'class="wc-error"' not in html(page)  # nothing is wrong yet
    page.text_input(key="d-name").set_value("Secret <b>bolt</b>").run()
    page.text_input(key="d-weight").set_value("5 momme").run()
    clean(page)
    supposed = "ends 40 /cm (30 to 52) supposed, as usual for silk organza"
    assert f"Not told: {supposed}; picks 38 /cm" in html(page) and "So described" in html(page)
    page.text_input(key="d-weight").set_value("").run()
    assert button(page, "take-described").disabled
    for key, told in (("d-ends", "40 /cm"), ("d-picks", "38 /cm")):
        page.text_input(key=key).set_value(told).run()
    clean(page)
    assert "Not told" not in html(page)
    assert "So described" in html(page)  # shown before it is taken
    press(page, "take-described")
    clean(page)
    assert page.session_state["asked"] == "facing"
    assert page.session_state["work"].table.layers[0].cloth.startswith("own-secret")
    assert 'class="wc-answer"' in html(page)
    told = "".join(m.value for m in (*page.markdown, *page.toast)) + html(page)
    assert "<b>bolt" not in told
    other.run()
    assert "Secret" not in html(other)
    assert [c.key for c in other.session_state["work"].cloths] == [DEMO]


def test_a_cloth_is_described_as_shops_call_it_and_what_is_not_modelled_is_said(page, monkeypatch):
    """The sentences are those that the command line ends every answer with."""
    listed = Selectbox.index.fget

    def index(box):
        if box.value not in box.options:  # the test's own page knows of no word that is written
            box.options.append(box.value)
        return listed(box)

    monkeypatch.setattr(Selectbox, "index", property(index))

    def written(at, word):
        for system in ("warp", "weft"):
            at.selectbox(key=f"d-{system}-like").set_value(word).run()

    press(page, "way-describe")
    for key, told in (("d-name", "Overlay"), ("d-ends", "8 /cm"), ("d-picks", "8 /cm")):
        page.text_input(key=key).set_value(told).run()
    written(page, "silk flannel")
    clean(page)
    assert re.search('role="alert">.*silk flannel.* must be one of', html(page))
    assert button(page, "take-described").disabled
    page.text_input(key="d-weight").set_value("12 gsm").run()
    written(page, "nylon tulle")
    clean(page)
    said = "Overlay (nylon tulle): lace, net, leno, knitted and felted cloth are not modelled"
    assert f"<b>Mind</b><ul><li>{said}" in html(page)
    assert re.search(r"So described, .*, give or take [\d.]+ \(CIEDE2000\)", html(page))
    press(page, "take-described")
    clean(page)
    assert page.session_state["asked"] == "facing" and f"<b>Mind</b><ul><li>{said}" in html(page)
    cloth = page.session_state["work"].cloths[0].cloth
    assert cloth.name == "Overlay"
    assert (cloth.warp.fibre.name, cloth.warp.filaments) == ("nylon", 1)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("d-ends", "-3 /cm", "threads/cm"),
        ("d-ends", "40", "unit"),
        ("d-picks", "900 /cm", "threads/cm"),
        ("d-warp-count", "21 stone", "yarn"),
        ("d-weight", "heavy", "weight"),
    ],
)
def test_a_bad_description_is_told_beside_its_field_and_changes_nothing(page, key, value, said):
    press(page, "way-describe")
    for field, told in {"d-ends": "40 /cm", "d-picks": "38 /cm", key: value}.items():
        page.text_input(key=field).set_value(told).run()
    clean(page)
    (line,) = re.findall(r'<p class="wc-error" role="alert">(.*?)</p>', html(page), re.S)
    assert "\n" not in line and "Traceback" not in line and said in line
    assert button(page, "take-described").disabled
    assert page.session_state["work"].table.layers[0].cloth == DEMO


def _chosen(making):
    import state

    return state.choose(state.pin(making, state.table_of(making)), "A")


def test_no_exception_text_reaches_the_page(page, monkeypatch, capsys):
    import ask_table
    import looks

    def broken(*_args, **_rest):
        raise RuntimeError("secret inner workings")

    monkeypatch.setattr(looks, "outcome", broken)
    monkeypatch.setattr(ask_table, "making_sheet", broken)
    page.session_state["work"] = _chosen(page.session_state["work"])
    for question in ("cloth", "facing", "kept", "worn", "reach", "table"):
        to(page, question, "every-light", "skirt")
        assert not page.exception
        assert all("secret" not in e.value for e in page.error)
        assert "secret" not in html(page)
    assert any("Something went wrong" in e.value for e in page.error)
    assert "secret inner workings" in capsys.readouterr().err


def test_lengths_and_setts_switch_to_inches(page):
    to(page, "cloth")
    assert "40 × 38 /cm" in html(page)
    page.button_group(key="lengths").set_value("inch").run()
    clean(page)
    # 40 and 38 to the centimetre times 2.54 (the international inch).
    assert "102 × 97 /inch" in html(page)


def test_the_kept_are_ranked_the_deepest_first(page):
    to(page, "beneath")
    press(page, "keep-all-beneath")
    to(page, "kept", "kept-ranked")
    clean(page)
    ranked = [m.value for m in page.markdown if re.match(r"\d\. \*\*", m.value)]
    layer = Layer(load_swatch(DEMO))
    behind = {"A": "white", "B": "calico", "C": "black", "D": "skin medium"}
    lights = {name: reading([layer], back).Lab[0] for name, back in behind.items()}
    lights["E"] = appearance(Stack((layer,), None), scene(PLACE)).reading.Lab[0]
    order = [re.match(r"\d\. \*\*(\w)\*\*", line)[1] for line in ranked]
    assert order == sorted(lights, key=lights.__getitem__)
    assert any(caption.value.startswith("Held flat. Deepest") for caption in page.caption)


def test_the_kept_are_ranked_as_they_hang_once_that_is_known(page, monkeypatch):
    import looks
    import side_by_side

    def folded(now, asked, waiting):
        return json.loads(asked().make())

    monkeypatch.setattr(side_by_side, "_folded", folded)
    to(page, "beneath")
    press(page, "keep-all-beneath")
    to(page, "kept", "kept-ranked")
    clean(page)
    now = page.session_state["work"]
    seen = {
        x.name: appearance(stack_of(now, x), hung(scene(PLACE))).reading for x in now.options
    }
    ranked = [m.value for m in page.markdown if re.match(r"\d\. \*\*", m.value)]
    order = sorted(seen, key=lambda name: seen[name].Lab[0])
    assert [re.match(r"\d\. \*\*(\w)\*\*", line)[1] for line in ranked] == order
    assert f"L* {seen[order[0]].Lab[0]:.0f}, {seen[order[0]].words}" in ranked[0]
    assert any(caption.value.startswith("As it hangs. Deepest") for caption in page.caption)
    told = evaluate([Option(stack_of(now, x), hung(scene(PLACE))) for x in now.options[:2]])
    assert steps(told, [(0, 1)])[0].sentence in html(page)  # under the slider, too
    behind = replace(now, light=LightChoice("lightbox behind"))
    monkeypatch.undo()
    monkeypatch.setattr("orders.drawing", lambda: True)
    assert side_by_side._folded(behind, lambda: looks.hung_readings(behind, ()), None) is None


def test_pieces_are_laid_and_stand_on_the_sheet(page):
    to(page, "reach", "pieces")
    press(page, "demo-pieces")
    press(page, "lay-it")
    clean(page)
    assert any("It fits" in s.value for s in page.success)
    assert any("Cross grain" in m.value and "taking" in m.value for m in page.markdown)
    import ask_table

    from weavecolor.making.answers import needs_of
    from weavecolor.report.sheetwords import needed_sentences

    now = page.session_state["work"]
    assert [p.name for p in now.pieces][:2] == ["skirt panel", "bodice front"]
    # The page says of the choice what sheet and command line say: the same sum.
    (need,) = needs_of(now, now.table)
    said = " ".join(s.value for s in page.success).replace("\\", "")
    for sentence in needed_sentences(need):
        assert sentence[:40] in said, sentence
    sheet = ask_table.making_sheet(now, now.table)
    assert sheet.pieces == now.pieces and sheet.needs[0].used_cm == need.used_cm
    to(page, "depth")  # and beside every choice, the same sum in short
    assert re.search(r"wc-enough-yes.*✓ enough: takes", html(page))
    assert "wc-enough-no" in html(page)  # three layers of it are too much for 250 cm


def test_of_two_cloths_it_is_told_which_is_short(page):
    import enough

    from weavecolor.cutting.fullness import FullnessWanted
    from weavecolor.cutting.remnant import ClothInHand
    from weavecolor.making.answers import swatch_cloth
    from weavecolor.making.model import MakingLayer

    now = page.session_state["work"]
    own = replace(now.cloths[0], in_hand=(ClothInHand(112.0, 500.0),))
    slip = swatch_cloth("slip-white", (ClothInHand(112.0, 50.0),))
    both = replace(now.table, layers=(MakingLayer(own.key), MakingLayer(slip.key)))
    skirt = FullnessWanted("skirt", "gathered", 60.0, 112.0, 80.0, fullness=3.0)
    told = replace(now, cloths=(own, slip), table=both, pieces=(), fullness=(skirt,))
    said = enough.line(told, both)
    one, other = (made["name"] for made in (own.definition, slip.definition))
    assert re.search(rf"{one}: <b class=.wc-enough-yes.*{other}: <b class=.wc-enough-no", said)
    alone = replace(both, layers=both.layers[:1])
    assert one not in enough.line(told, alone)  # of one cloth there is nothing to tell apart
    page.session_state["work"] = told
    to(page, "reach")
    assert f"the skirt alone, of {one}: all that is cut is told under Pieces" in html(page)


def test_the_skirt_alone_takes_what_the_sum_of_its_layers_says(page):
    import fullness_panel

    from weavecolor.cutting.remnant import ClothInHand
    from weavecolor.making.answers import needs_of
    from weavecolor.making.model import MakingLayer

    now = page.session_state["work"]
    crossed = replace(now.table, layers=(MakingLayer(DEMO), MakingLayer(DEMO, 90.0)))
    hands = (ClothInHand(112.0, 120.0), ClothInHand(112.0, 500.0))
    for lengths in (hands, hands[:1], ()):
        own = replace(now.cloths[0], in_hand=lengths)
        told = replace(
            now, cloths=(own,), table=crossed, pieces=(), fullness=(),
            fullness_asked=replace(now.fullness_asked, on_sheet=True),
        )  # fmt: skip
        (need,) = needs_of(told, crossed)
        alone = fullness_panel.cut(told, crossed)[1]
        assert [(layers.grain, layers.many) for layers in alone.grains] == [(0.0, 1), (90.0, 1)]
        assert (alone.verdict, alone.counted) == (need.verdict, need.counted)
        assert (alone.used_cm, alone.short_cm) == pytest.approx((need.used_cm, need.short_cm),
                                                                nan_ok=True)  # fmt: skip
        plan, said = fullness_panel.planned(told, crossed)
        assert not plan.sideways and any("skirt alone" in line for line in said)


@pytest.mark.parametrize(
    ("told", "choice", "code"),
    [("navy", "a colour of your own", "#01153e"), ("#abc", "a colour of your own", "#aabbcc"),
     ("White", "white", None), ("skin black", "skin deep", None),
     ("open", "nothing (open air)", None), ("nothing", "nothing (open air)", None)],
)  # fmt: skip
def test_the_page_names_the_backing_that_a_project_tells(page, told, choice, code):
    now = page.session_state["work"]
    page.session_state["work"] = replace(now, table=replace(now.table, backing=told))
    to(page, "beneath", "by-hand")
    clean(page)
    assert next(s for s in page.selectbox if s.label == "What lies behind").value == choice
    assert [c.value for c in page.color_picker] == ([code] if code else [])
    seen = html(page)
    assert "over open" not in seen and "over nothing" not in seen


@pytest.mark.parametrize("wish", ["target navy", "target 45 30 20"])
def test_the_page_searches_for_the_colour_that_a_project_tells(page, wish):
    import search_panel
    from words_page import SIDE_BY_SIDE

    from weavecolor.decide.wishwords import wish_from

    told = replace(page.session_state["work"], wishes=(wish,))
    page.session_state["work"] = told
    to(page, SIDE_BY_SIDE, "search")
    clean(page)
    (picker,) = page.color_picker
    assert ciede2000(wish_from(f"target {picker.value}").target, wish_from(wish).target) < 0.5
    asked = {"want": ["target"], "cloths": [DEMO], "behind": ["white"], "grains": ["straight"],
             "outside": "any of them", "colour": picker.value, "layers": (1, 2), "sides": ["face"],
             "weight": 0.0, "scenes": [], "hung": False}  # fmt: skip
    assert search_panel.asked_of(told, asked).wishes == (wish,)
    other = search_panel.asked_of(told, {**asked, "colour": "#203040"})
    assert other.wishes == ("target #203040",)


@pytest.mark.parametrize("unit", ["cm", "inch"])
def test_what_only_a_project_can_tell_stands_on_the_page_as_it_is(page, unit):
    from weavecolor.cutting.remnant import ClothInHand

    now = page.session_state["work"]
    hands = (ClothInHand(112.0, 6000.0), ClothInHand(3.0, 100.0))  # a bolt, and a ribbon
    told = replace(now, units=unit, cloths=(replace(now.cloths[0], in_hand=hands),))
    page.session_state["work"] = told
    to(page, "reach", "pieces")
    clean(page)
    size = 1.0 if unit == "cm" else 2.54
    shown = [n.value * size for n in page.number_input if " in hand" in n.label]
    assert shown == pytest.approx([112.0, 6000.0, 3.0, 100.0], abs=0.02)
    overhead = LightChoice(PLACE, moved=True, height_deg=90, eye_moved=True, eye_side_deg=120)
    page.session_state["work"] = replace(told, light=overhead)
    to(page, "worn", "by-hand")
    clean(page)
    assert {s.label: s.value for s in page.slider}["Light: low or high"] == 90
    assert page.session_state["work"].cloths[0].in_hand == hands


def test_every_length_in_hand_is_told_and_counted(page):
    to(page, "reach", "pieces")
    press(page, "demo-pieces")
    page.number_input(key=f"length-hand-l-{DEMO}-cm").set_value(90.0).run()
    press(page, "lay-it")
    clean(page)
    assert not page.success  # 90 cm are too little for it
    press(page, f"hand-more-{DEMO}")
    page.number_input(key=f"length-hand-l-{DEMO}-1-cm").set_value(180.0).run()
    press(page, "lay-it")
    clean(page)
    now = page.session_state["work"]
    (kept,) = (cloth.in_hand for cloth in now.cloths if cloth.key == DEMO)
    assert [x.length_cm for x in kept] == [90.0, 180.0]
    assert any("It fits" in s.value for s in page.success)
    press(page, f"hand-off-{DEMO}-0")
    (left,) = (c.in_hand for c in page.session_state["work"].cloths if c.key == DEMO)
    assert left == kept[1:]
    press(page, "undo")
    assert page.session_state["work"] == now


def test_the_making_sheet_is_offered(page):
    to(page, "table")
    press(page, "choose-table")
    clean(page)
    assert 'alt="Page 1 of the making sheet"' in html(page)
    labels = [b.proto.label for b in page.get("download_button")]
    assert "Making sheet (PDF)" in labels and "Save a copy (JSON)" in labels


def test_candle_light_comes_with_its_caution(page):
    to(page, "worn")
    press(page, "take-worn-candlelit")
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
    assert state.cloth_called(back, key).known == state.cloth_called(made, key).known
    assert state.cloth_called(back, key).known
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
    to(page, "facing")
    press(page, "keep-all-facing")
    assert page.session_state["work"].chosen == ""
    to(page, "table")
    clean(page)
    assert any("Nothing is chosen yet" in x.value for x in page.info)
    assert "Page 1 of the making sheet" not in html(page)
    press(page, "choose-B")
    to(page, "kept")
    kept = page.session_state["work"]
    assert kept.chosen == "B"
    press(page, "clear")
    assert page.session_state["work"] == kept  # it asks first
    press(page, "clear-yes")
    assert page.session_state["work"].options == () and page.session_state["work"].chosen == ""
    saved = from_json(to_json(page.session_state["work"]))  # also over save and reopen
    assert saved.before == kept
    press(page, "undo")
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
    labels = [state.cloth_labels(made)[key] for key in state.own_cloths(made)]
    assert labels == ["Taffeta (yours)", f"Taffeta ({second}) (yours)"]


def test_a_search_keeps_what_was_asked_in_the_making():
    import search_panel
    import state

    asked = {
        "want": ["deepest", "target"], "cloths": [DEMO, "silk-chiffon-ivory"],
        "outside": "silk-chiffon-ivory", "behind": ["white", search_panel.OPEN_AIR],
        "colour": "#203040", "layers": (1, 2), "grains": ["straight"], "sides": ["face"],
        "weight": 80.0, "scenes": ["candlelit"], "hung": True, "enough": False,
    }  # fmt: skip
    made = from_json(to_json(search_panel.asked_of(state.begun(), asked)))
    assert made.wishes == ("deepest", "target #203040") and made.backings == ("white", "open")
    assert made.limits.outside == ("silk-chiffon-ivory",) and made.limits.weight_g_m2 == 80.0
    assert made.scenes == ("candlelit",) and made.limits.layers == (1, 2) and made.hung
    # a garment hangs; where wishes are told held flat they are asked so
    assert search_panel._hangs(state.begun()) and search_panel._hangs(made)
    assert not search_panel._hangs(replace(made, hung=False))
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
            assert one.layers is other.layers is None


def test_in_which_layers_a_piece_is_cut_survives_the_table():
    import enough_panel

    told = tuple(
        replace(piece, layers=layers)
        for piece, layers in zip(enough_panel.demo_pieces(), (1, 2, 11, None), strict=True)
    )
    frame = enough_panel.pieces_frame(told, "cm")
    assert list(frame["layers"]) == ["outermost", "outer 2", "outer 11", "all"]
    back = enough_panel.pieces_from(frame, "cm")
    assert [piece.layers for piece in back] == [1, 2, 11, None]
    frame.loc[0, "layers"] = "all"
    rows = enough_panel.kept_rows(told, enough_panel.pieces_from(frame, "cm"), "cm")
    assert [piece.layers for piece in rows] == [None, 2, 11, None]


def test_a_table_in_inches_changes_nothing_that_was_told_in_the_project():
    import enough_panel
    import laying

    from weavecolor.cutting.pieces import Piece
    from weavecolor.cutting.remnant import ClothInHand

    # 11 1/8 inch is shown as 11.12; the allowance is not shown at all
    told = (Piece.rectangle("band", 11.125, 3.375, unit="inch", seam_cm=0.0, grain_deg=10.0),)
    frame = enough_panel.pieces_frame(told, "inch")
    rows = enough_panel.pieces_from(frame, "inch")
    assert enough_panel.kept_rows(told, rows, "inch") == list(told)
    frame.loc[0, "quantity"] = 2
    (more,) = enough_panel.kept_rows(told, enough_panel.pieces_from(frame, "inch"), "inch")
    assert (more.quantity, more.seam_cm, more.grain_deg) == (2, 0.0, 10.0)
    # a bite that was at the edge still is
    bite = ((0.0, 209.0), (30.0, 209.0), (30.0, 249.0), (0.0, 249.0))
    hand = ClothInHand(112.0, 249.0, damage=(bite,))
    frame = enough_panel.spots_frame(hand, "inch")
    assert enough_panel.spots_from(frame, hand, "inch") == (bite,)
    frame.loc[0, "across"] = 10.0
    assert enough_panel.spots_from(frame, hand, "inch")[0][1][0] == pytest.approx(25.4)
    # -45 and 135 degrees are one line
    assert [laying._on_slider(x) for x in (45.0, -45.0, -90.0, 270.0, 180.0)] == [
        45, 135, 90, 90, 180,
    ]  # fmt: skip


def test_markdown_of_the_users_own_is_made_harmless():
    import session

    assert session.plain("a*b [x](y) <i>") == r"a\*b \[x\]\(y\) \<i\>"
    assert "streamlit" in sys.modules


def test_what_shows_through_and_every_light(page):
    from weavecolor.decide.showthrough import show_through, tape

    to(page, "beneath", "shows-through")
    clean(page)
    item = tape(Stack((Layer(load_swatch(DEMO)),), backing("white")), "dark")
    expected = show_through(item, scene(PLACE)).words
    told = [m.value.replace("\\", "") for m in page.markdown]
    assert any(line.endswith(expected) for line in told)
    assert any(caption.value.startswith("Held flat.") for caption in page.caption)
    import show_panel

    now = page.session_state["work"]
    folded = json.loads(show_panel.in_folds(now).make())
    assert folded[0][1] == show_through(item, hung(scene(PLACE))).words and len(folded) > 3
    with pytest.raises(InputError, match="lights cloth from behind"):
        show_panel.in_folds(replace(now, light=LightChoice("lightbox behind")))
    to(page, "worn", "every-light")
    clean(page)
    assert "ballroom" in html(page) and "Changes most between" in html(page)
    stack = Stack((Layer(load_swatch(DEMO)),), backing("white"))
    figures, words = json.loads(show_panel.lights_in_folds(stack).make())
    alone = appearance(stack, hung(scene(PLACE)))
    shown = next(one for one in figures if one[0] == hung(scene(PLACE)).name)
    assert shown[1:3] == [alone.reading.hex, alone.reading.words]
    # as sure as a comparison says
    (one,) = evaluate([Option(stack, hung(scene(PLACE)))])
    assert shown[5] == pytest.approx(one.uncertainty.stated)
    assert re.search(r"L\*\xa0\d+, give or take \d+ \(CIEDE2000\)", html(page))
    assert ", in folds" in words and not any("lightbox" in one[0] for one in figures)


@pytest.mark.parametrize("folded", [True, False], ids=["hung", "flat"])
def test_a_search_finds_what_the_core_finds(page, folded):
    from weavecolor.decide.candidates import Material, candidates
    from weavecolor.decide.search import search
    from weavecolor.decide.wishes import Limits, Wish

    to(page, "kept", "search")
    page.slider(key="s-layers").set_value((1, 2))
    page.multiselect(key="s-behind").set_value(["white", "black"])
    if not folded:
        page.toggle(key="s-hung").set_value(False)
    next(b for b in page.get("button") if b.label == "Search all of them").click().run()
    clean(page)
    found = page.session_state["search-found"]
    assert page.session_state["work"].hung == folded
    how = "Judged as it hangs, in folds" if folded else "Held flat."
    assert any(caption.value.startswith(how) for caption in page.caption)
    cloth = load_swatch(DEMO)
    made = candidates(
        [Material(cloth)], [backing("white"), backing("black")], Limits(layers=(1, 2))
    )
    place = hung(scene(PLACE)) if folded else scene(PLACE)
    expected = search(made, [Wish("deepest")], [place], options=5)
    assert [o.words for o in found.options] == [o.words for o in expected.options]
    assert all((o.Lab == x.Lab).all() for o, x in zip(found.options, expected.options, strict=True))
    assert appearance(expected.options[0].stack, place).reading.hex in html(page)
    press(page, "s-pin-1")
    clean(page)
    pinned = page.session_state["work"].options[0]
    first = expected.options[0].stack
    assert pinned.backing == first.backing.name
    assert [x.grain_deg for x in pinned.layers] == [x.grain_deg for x in first.layers]


def test_fullness_is_kept_in_the_project_and_on_the_sheet(page):
    import ask_table

    from weavecolor.cutting.fullness import plan_fullness

    page.session_state["work"] = _chosen(page.session_state["work"])
    to(page, "reach", "skirt")
    answer = next(h.proto.body for h in page.get("html") if "wc-answer" in h.proto.body)
    assert "Gathered, 2.5 to 1:" in answer and "takes " in answer and "? takes" not in answer
    page.radio(key="full-kind").set_value("knife").run()
    page.slider(key="full-ratio").set_value(3.0).run()
    page.toggle(key="full-on-sheet").set_value(True).run()
    clean(page)
    to(page, "table")
    clean(page)
    now = page.session_state["work"]
    plan = plan_fullness("knife", 70.0, 112.0, 90.0, fullness=3.0)
    (told,) = ask_table.making_sheet(now, now.table).fullness
    assert told[1].cloth_length_cm == plan.cloth_length_cm
    assert from_json(to_json(now)) == now


def test_each_fullness_is_told_as_whole_widths_make_it(page):
    """Two widths of 112 less four seams of 1.5 on 70 are 218 / 70, or 3.11 to 1, whether two,
    two and a half or three were asked; one width would be 1.56. Five asks for four: 6.23."""
    to(page, "reach", "skirt")
    said = html(page)
    comes_out = re.findall(r"Comes out ([\d.]+) to 1", said)
    assert comes_out == ["3.1", "3.1", "3.1", "6.2", "3.1"]
    assert "Whole widths make it 3.1 to 1." in said and "Drawn" not in said
    assert any("3.11 to 1 on 70 cm" in m.value for m in page.markdown)
    # held flat all are alike, which says nothing of how they look
    assert "CIEDE2000 from the first" not in said and "Lightness" in said
    press(page, "take-reach-slightly-gathered-skirt")
    assert "Whole widths make it 3.1 to 1. Drawn 2 to 1." in html(page)
    # of soft cloth no skirt as full is hung, and no pleats
    assert "Drawn as" not in html(page)
    press(to(page, "cloth"), "shelf-silk-chiffon-ivory")
    said = html(to(page, "reach"))
    assert re.findall(r"Drawn as \w+ hangs", said) == ["Drawn as organza hangs",
                                                       "Drawn as taffeta hangs"]  # fmt: skip


def test_the_page_hangs_a_lining_a_slip_or_a_stiffener_beneath(page):
    """Told as comparison tells the same layers, drawn as the front door draws them; what cannot be
    combined is said in the words beneath the picture."""
    import pictures
    from livepicture import with_shape

    to(page, "beneath")
    assert not [b for b in page.get("button") if b.key == "take-beneath-stiffener"]
    press(page, "hang-beneath")
    press(page, "take-beneath-stiffener")
    clean(page)
    cloths = [load_swatch(DEMO), load_swatch("tarlatan-green")]
    told = reading([Layer(x) for x in cloths])
    assert lightness(page) == pytest.approx(told.Lab[0], abs=0.051)
    now = page.session_state["work"]
    assert (now.table.beneath, [x.cloth for x in now.table.layers]) == (
        "stiffener", [DEMO, "tarlatan-green"]
    )  # fmt: skip
    worn = pictures.worn(now, now.table)
    assert worn.said == "The innermost layer hangs beneath as a stiffener, drawn smooth"
    assert worn.key() != replace(worn, beneath="none").key()
    # another thing beneath takes its place, over what it can be seen against; white again, nothing
    press(page, "take-beneath-slip")
    table = page.session_state["work"].table
    assert [x.cloth for x in table.layers] == [DEMO, "slip-white"]
    assert (table.beneath, table.backing) == ("slip", "calico")
    press(page, "take-beneath-white")
    assert page.session_state["work"].table == replace(now.table, layers=now.table.layers[:1],
                                                       beneath="none")  # fmt: skip
    to(page, "beneath", "by-hand")
    page.selectbox(key="dress-form").set_value("to the hip").run()
    clean(page)
    now = page.session_state["work"]
    assert pictures.worn(now, now.table).dress_form == "to the hip"
    panel = with_shape(now, "panel-organza")
    left = pictures.worn(panel, panel.table)
    assert left.dress_form == "" and "a hanging panel hangs on no dress form" in left.said
    alone = replace(now.table, beneath="slip")
    left = pictures.worn(now, alone)
    assert left.beneath == "none" and "innermost of two layers or more" in left.said


def test_the_picture_is_of_the_cloth_and_of_the_layers_that_hang(page):
    """Soft cloth hangs soft, also where it comes after crisp cloth; a skirt in its own layers."""
    import livepicture
    import pictures
    import state
    import strip

    now = page.session_state["work"]
    crisp = pictures.worn(now, now.table)
    assert (crisp.shape, crisp.alone, len(crisp.stack.layers)) == ("gathered-3-organza", "", 1)
    for take in ("gathered-skirt", "slightly-gathered-skirt"):
        press(to(page, "reach"), f"take-reach-{take}")
    now = page.session_state["work"]
    assert pictures.worn(now, now.table).shape == "gathered-2-organza"
    layers = 2 * (replace(now.table.layers[0], cloth="silk-chiffon-ivory"),)
    soft = state.with_now(now, layers=layers)
    worn = pictures.worn(soft, soft.table)
    assert (worn.shape, len(worn.stack.layers)) == ("gathered-2-chiffon", 2)
    outer = replace(soft, fullness_asked=replace(soft.fullness_asked, layers=1))
    worn = pictures.worn(outer, outer.table)
    assert len(worn.stack.layers) == 1
    unbacked = replace(outer.table, backing="")
    said = strip.otherwise(outer, [outer.table, unbacked])
    assert said == " Told of all layers. Open air: dark behind."
    assert strip.otherwise(now, [now.table]) == ""
    words = livepicture.shape_words(worn.shape, worn.alone)
    assert words == "Gathered skirt as chiffon hangs, 2 to 1, in the outermost layer alone"


def test_a_project_of_somebody_else_cannot_write_markup(page):
    import state

    made = state.pin(state.begun(), state.begun_table())
    named = replace(made.options[0], name="<img src=x onerror=alert(1)>[a](b)")
    made = replace(made, options=(named,), chosen=named.name, title="<script>x</script>")
    project = to_json(made)
    page.file_uploader(key="project-file").upload("p.json", project.encode()).run()
    clean(page)
    assert page.session_state["work"].title == "<script>x</script>"
    for question in ("cloth", "kept", "reach", "table"):
        to(page, question, "kept-table", "kept-ranked", "skirt")
        clean(page)
        told = "".join(m.value for m in (*page.markdown, *page.caption, *page.toast))
        told = re.sub(r"\\.", "", told)  # a mark after a backslash is harmless
        assert "](b)" not in told
        for mark in ("<img src=x", "<script>"):
            assert mark not in told and mark not in html(page)


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.toml", b"name = 3", "name: must be text in quotes, got the number 3; write for"),
        ("b.toml", b"[" * 50_000, "TOML"),
        ("../../c.toml", b"\xff\xfe", "UTF-8"),
        ("d.toml", b"x = 1\n" * 200_000, "1 MB"),
    ],
)
def test_a_bad_cloth_file_gets_one_line(page, name, data, said):
    press(page, "way-file")
    page.file_uploader(key="cloth-file").upload(name, data).run()
    assert not page.exception
    line = "".join(e.value for e in page.error)
    assert said in line.replace("\\", "") and "\n" not in line and ".." not in line
    assert [cloth.key for cloth in page.session_state["work"].cloths] == [DEMO]


def test_pictures_that_are_none_get_one_line(page):
    press(page, "way-measure")
    for data in (b"not a picture", b"\xff\xd8\xff" + b"\0" * 1000):
        page.file_uploader(key="m-white").set_value(("x.jpg", data, "image/jpeg")).run()
        assert not page.exception
        assert not page.error and html(page).count('class="wc-error"') == 1  # beside its place


def test_photographs_stay_while_another_question_is_open_and_others_clear_the_fit(page):
    from camera import Room, photograph, picture_of

    room, cloth = Room(), load_swatch("silk-chiffon-ivory")
    shot = {
        over: photograph(picture_of(cloth, over, 0.0, room, False), room, np.random.default_rng(3))
        for over in ("white", "black")
    }
    press(page, "way-measure")
    for over, data in shot.items():
        page.file_uploader(key=f"m-{over}").upload(f"{over}.jpg", data)
        page.run()
        half = "Still to come: picture 2" in html(page)  # which is nothing wrong
        assert half == (over == "white") and 'class="wc-error"' not in html(page)
        clean(page)
    for key, told in (("m-ends", "40 /cm"), ("m-picks", "38 /cm")):
        page.text_input(key=key).set_value(told)
    page.run()
    clean(page)
    assert "What was found" in "".join(m.value for m in page.markdown)
    found = page.session_state["measured"]
    press(page, "m-fit")
    clean(page)
    assert button(page, "m-keep")
    to(page, "facing")
    to(page, "cloth")
    clean(page)
    assert page.session_state["measured"] is found and button(page, "m-keep")
    assert page.text_input(key="m-ends").value == "40 /cm"
    brighter = photograph(
        1.1 * picture_of(cloth, "white", 0.0, room, False), room, np.random.default_rng(3)
    )
    page.file_uploader(key="m-white").upload("again.jpg", brighter)
    page.run()
    clean(page)
    assert page.session_state["measured"] is not found
    assert "m-keep" not in [b.key for b in page.get("button")]
    to(page, "facing")
    to(page, "cloth")
    held = [b.key for b in page.get("button") if str(b.key).startswith("away-")]
    assert held == ["away-m-white", "away-m-black"]
    press(page, "away-m-black")
    press(page, "away-m-white")
    assert "measured" not in page.session_state and not page.exception


def test_a_close_up_is_counted_by_the_ruler_in_it_or_by_a_width_that_was_told(page):
    """A width told to the nearest half mm carries that into the range; none is taken for told."""
    import measured
    from closeups import Closeup
    from rulers import Ruler, photographed

    close = Closeup(family="plain", weave="plain", ends_per_cm=24.0, picks_per_cm=20.0,
                    pixels_per_mm=30.0, size=(700, 900), seed=4)  # fmt: skip
    data, truth = photographed(close, Ruler())
    press(page, "way-measure")
    page.file_uploader(key="m-closeup").upload("close.png", data)
    page.run()
    clean(page)
    count = page.session_state["counted"][1]
    assert count.ends_range[0] < truth.ends_per_cm < count.ends_range[1]
    assert count.picks_range[0] < truth.picks_per_cm < count.picks_range[1]
    page.radio(key="m-scale").set_value("width of the picture").run()
    clean(page)
    assert "counted" not in page.session_state
    page.number_input(key="m-wide").set_value(30.0).run()
    clean(page)
    low, high = page.session_state["counted"][1].ends_range
    told = 1.96 * measured.WIDTH_TOLD_MM / 30.0
    assert (high - low) / page.session_state["counted"][1].ends_per_cm > 1.9 * told


def test_a_wound_card_is_told_as_on_the_command_line_and_colours_a_described_cloth(
    page, tmp_path, capsys
):
    from test_measure_grid import PER_CM, photographed_cards

    from weavecolor.cli import run

    yarn, _, paths = photographed_cards(tmp_path)
    press(page, "way-measure")
    press(page, "turn-fold-wound")
    assert 'src="data:image/svg+xml' in html(page) and "Wind one thread evenly" in html(page)
    words = ["measure", "grid", *map(str, paths.values())]
    for over, path in paths.items():
        page.file_uploader(key=f"m-wound-{over}").upload(path.name, path.read_bytes())
    page.run()
    for threads, count, said in (
        ("400 /cm", "20/22 denier", "use 1 to 300"),
        ("250 /cm", "20/22 denier", "one on the other"),
        (f"{PER_CM} /cm", "21 stone", "yarn"),
        (f"{PER_CM} /cm", "20/22 denier", None),
    ):
        page.text_input(key="m-wound-threads").set_value(threads)
        page.text_input(key="m-wound-count").set_value(count).run()
        clean(page)
        told = re.findall(r'<p class="wc-error" role="alert">(.*?)</p>', html(page))
        assert len(told) == (said is not None) and (said or "") in "".join(told)
    assert run([*words, "--threads", f"{PER_CM} /cm", "--count", "20/22 denier",
                "--like", "silk organza"]) == 0  # fmt: skip
    line = capsys.readouterr().out.strip()
    assert "Closely wound it looks" in line and line in "\n".join(t.value for t in page.text)
    press(page, "m-wound-warp")
    for key, told in (("d-ends", "40 /cm"), ("d-picks", "38 /cm")):
        page.text_input(key=key).set_value(told).run()
    assert "Colour of the warp: ✔ from the wound card" in html(page)
    press(page, "take-described")
    clean(page)
    import state

    work = page.session_state["work"]
    cloth = state.cloth_called(work, work.table.layers[0].cloth)
    known = dict(cloth.known)["warp.colour"]
    within = float(re.search(r"within ([\d.]+) CIEDE2000 at least nine times in ten", line)[1])
    assert known.way == "measured" and known.spread == pytest.approx(within / 1.96, abs=0.05)
    assert getattr(dict(cloth.known).get("weft.colour"), "way", "") != "measured"


def test_a_sample_is_asked_for_where_a_fitted_cloth_is_there(page, tmp_path):
    """Nothing to correct is said; how it lies is read as on the command line; a picture without a
    sample gets one line, and nothing is learnt."""
    from PIL import Image

    from weavecolor.optics.fitted import SIZE
    from weavecolor.textile.howknown import HowKnown

    press(page, "way-measure")
    press(page, "turn-fold-sample")
    assert any("Work out a cloth" in line.value for line in page.caption)
    import state

    work = page.session_state["work"]
    cloth = state.cloth_called(work, work.table.layers[0].cloth)
    root = (0.1 * np.eye(SIZE - 2)[np.tril_indices(SIZE - 2)]).tolist()
    fitted = replace(cloth, name="Measured", known={"foretold": HowKnown.fitted(root=root)})
    kept, _ = state.keep_cloth(work, tomllib.loads(cloth_to_toml(fitted)), "measured")
    page.session_state["work"] = kept
    page.run()
    assert page.selectbox(key="m-sample-cloth").options == ["Measured"]
    page.text_input(key="m-sample-laid").set_value("straight + sideways").run()
    assert "tells of no layer" in html(page)
    page.text_input(key="m-sample-laid").set_value("straight + cross back").run()
    assert "tells of no layer" not in html(page)
    path = tmp_path / "bare.png"
    Image.new("RGB", (300, 240), (225, 225, 225)).save(path)
    page.file_uploader(key="m-sample").upload(path.name, path.read_bytes())
    page.run()
    press(page, "m-sample-learn")
    assert not page.exception and len(page.error) == 1
    assert "lesson" not in page.session_state
