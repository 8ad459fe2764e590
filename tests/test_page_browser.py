"""The page in a real browser: from the demo cloth to the making sheet, as a maker works it.

One server and one browser serve all tests; the live picture is drawn by software graphics, so that
its times here are no measure of a machine with a graphics unit.
"""

from __future__ import annotations

import gzip
import json
import os
import re
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

selenium = pytest.importorskip("selenium")

from camera import Room, colour_in, photograph  # noqa: E402
from page_driver import CHROMEDRIVER, CHROMIUM, NO_GRAPHICS, Page, Served  # noqa: E402
from selenium.webdriver.common.keys import Keys  # noqa: E402

from weavecolor.colour.lights import light_spectrum  # noqa: E402
from weavecolor.colour.spectra import BANDS, frozen  # noqa: E402
from weavecolor.files.clothfile import load_swatch, read_cloth  # noqa: E402
from weavecolor.making.file import load_making  # noqa: E402
from weavecolor.optics.appearance import appearance  # noqa: E402
from weavecolor.optics.stack import Layer, Stack  # noqa: E402
from weavecolor.scene.backings import Backing, backing  # noqa: E402
from weavecolor.scene.places import scene  # noqa: E402

pytestmark = [pytest.mark.browser, pytest.mark.slow]

DEMO = "shot-organza-red-black"
QUESTIONS = ("My cloth", "Facing", "Depth", "Beneath", "Where worn", "Will it reach",
             "To the table")  # fmt: skip
#: A start with the pictures of an earlier one, to the first picture.
START_S = 4.0
#: Whether there is a picture to see: one that was drawn before, or a live one.
SEEN = """return !!cloth && (!!cloth.querySelector('img').naturalWidth
  || (cloth.classList.contains('live') && cloth.view?.drawn > 0))"""
#: Pictures for the README are written only when asked for.
KEEP = os.environ.get("WEAVECOLOR_KEEP_PICTURES")
SIGHT = "const s = cloth.view.sight; return [s.turn, s.tilt, s.zoom]"
SETTLED = "return cloth.querySelector('canvas').dataset.settled === 'yes'"
BOX = "const b = cloth.getBoundingClientRect(); return [b.left, b.top, b.width, b.height]"


def busy() -> float:
    """By how much everything is slowed by other work: tasks waiting per processor, at least 1."""
    return max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    if not (CHROMIUM and CHROMEDRIVER):
        reason = "Chromium and its driver are not installed (Debian: chromium chromium-driver)"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    server = Served(tmp_path_factory.mktemp("server"))
    try:
        server.wait()
        yield server
    finally:
        server.stop()
    log = server.log.read_text()
    assert "Traceback" not in log, log[-3000:]


@pytest.fixture(scope="module")
def browser(served, tmp_path_factory):
    opened = Page(served.url, tmp_path_factory.mktemp("browser"))
    try:
        yield opened
    finally:
        opened.close()


@pytest.fixture
def page(browser, served, tmp_path):
    browser.begin(served.url, tmp_path / "browser")
    browser.one(".wc-drawn")
    browser.settle()
    return browser


def expected(*layers, behind="white", place="window at the side"):
    return appearance(Stack(layers, backing(behind)), scene(place)).reading


def mouse(page: Page, kind: str, x: float, y: float, **more: object) -> None:
    page.driver.execute_cdp_cmd(
        "Input.dispatchMouseEvent",
        {"type": kind, "x": x, "y": y, "button": "left", "clickCount": 1, **more},
    )


def touch(page: Page, kind: str, *points: tuple[float, float]) -> None:
    page.driver.execute_cdp_cmd(
        "Input.dispatchTouchEvent",
        {"type": kind, "touchPoints": [
            {"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]},
    )  # fmt: skip


@pytest.mark.slow
def test_starts_soon_with_a_picture(tmp_path):
    # a measurement, from the command to the picture in a browser that is open already: run it by
    # itself on a quiet machine; the second start has the pictures of the first, and at the same
    # address the browser has what it drew there last
    page = Page("about:blank", tmp_path / "browser")
    took, port = [], 0
    try:
        slow = busy()
        for _start in range(3):
            server = Served(tmp_path, all_rays=True, port=port)
            port = server.port
            try:
                server.wait()
                page.driver.get(server.url)
                page.until(lambda: page.cloth(SEEN), 60)
                first = time.monotonic() - server.began
                page.hung()
                took.append((first, time.monotonic() - server.began, server.processor_s()))
                page.until(lambda: page.cloth(SETTLED), 300)
            finally:
                server.stop()
                page.driver.get("about:blank")
    finally:
        page.close()
    for first, hung, worked in took:
        print(f"\nstart: something to see {first:.1f} s, hung {hung:.1f} s; the server worked "
              f"{worked:.1f} s; busy {slow:.1f}")  # fmt: skip
    assert took[1][0] < START_S * slow and took[2][0] < START_S * slow


#: Notes what is drawn whenever the picture's words or its state change: the words, the state, how
#: many kinds of laid cloth have tables of their own, when, and what is drawn; at a press, what is.
NOTED = """
window.noted = [];
const note = () => noted.push([document.querySelector(".wc-drawn")?.innerText ?? "",
  cloth.className, new Set(cloth.view.light.wanted).size, performance.now(), cloth.view.light.id]);
new MutationObserver(note).observe(
  document.body, {subtree: true, childList: true, characterData: true});
new MutationObserver(note).observe(cloth, {attributes: true, attributeFilter: ["class"]});
document.addEventListener("click", () => {
  window.pressed = performance.now(); window.stood = cloth.view.light.id;
}, true);
"""
#: Seconds from the last press to the picture of what was pressed, whole or without its hems.
TOOK = """
const of = noted.filter(x => x[3] > pressed && x[4] !== stood
  && RegExp(arguments[0], "i").test(x[0])
  && !["late", "waiting"].some(c => x[1].split(" ").includes(c)));
return of.length ? (of[0][3] - pressed) / 1000 : null;
"""


def test_a_first_look_says_that_hems_and_seams_are_still_to_come(page):
    page.press("Facing")
    page.press("▸ By hand: any angle, each layer")
    page.hung("straight grain")
    page.cloth(NOTED)
    page.turn(Keys.ARROW_RIGHT, 7)
    page.hung("7° off straight")
    seen = [(words, kinds) for words, state, kinds, *_ in page.cloth("return noted")
            if "late" not in state and "waiting" not in state]  # fmt: skip
    told = {("still to come" in words, kinds) for words, kinds in seen if "7° off" in words}
    assert (False, 3) in told  # cloth, what is doubled, and the band
    assert told <= {(True, 1), (False, 3)}


#: What a press asks for, which words then stand under the picture, and seconds it may take.
PRESSES = (
    ("Facing", "Cross grain", "cross grain", 0.3), ("Facing", "Bias", "bias", 0.3),
    ("Facing", "Straight grain", "straight grain", 0.3), ("Depth", "Two layers", "^2 x", 1.0),
    ("Depth", "Three layers", "^3 x", 1.0), ("Depth", "One layer", "^shot", 0.3),
    ("Beneath", "Calico", "over calico", 0.3), ("Beneath", "Black", "over black", 0.3),
    ("Beneath", "White", "over white", 0.3), ("Where worn", "Ballroom", "Ballroom", 0.3),
    ("Where worn", "Candlelit", "Candlelit", 0.3),
)  # fmt: skip


@pytest.mark.slow
def test_redraws_soon(tmp_path):
    # a measurement, from the press to the picture, with software graphics: run it by itself on a
    # quiet machine; each question is read first, for as long as its pictures take
    server = Served(tmp_path, all_rays=True)
    page = Page("about:blank", tmp_path / "browser")
    told = []
    try:
        server.wait()
        page.driver.get(server.url)
        page.hung()
        page.cloth(NOTED)
        slow = busy()
        for question, choice, words, most in PRESSES:
            page.press(question)
            page.until(lambda: page.driver.execute_script(READ), 300, "the strip's pictures")
            page.until(lambda: page.cloth(SETTLED), 300)
            time.sleep(3.0)  # as one looks at a strip
            page.press(choice, settle=False)
            took = page.until(lambda w=words: page.driver.execute_script(TOOK, w), 60, words)
            told.append((choice, took, most))
            page.hung()
    finally:
        page.close()
        server.stop()
    for choice, took, most in told:
        print(f"\nredraw: {choice} {took:.2f} s ({most:g} asked); busy {slow:.1f}", end="")
    assert all(took < 3.0 * most * slow for _, took, most in told), told


READ = "return document.querySelector('.wc-left')?.dataset.left === '0'"


def test_the_cloth_is_large_live_and_obeys_the_hand(page, tmp_path):
    page.resize(1440, 900)
    page.hung("straight grain")
    left, top, width, height = page.cloth(BOX)
    assert width * height >= 0.45 * 1440 * 900 and left <= 1 and top <= 1
    x, y = left + width / 2, top + height / 2
    before = page.cloth(SIGHT)
    mouse(page, "mousePressed", x, y)
    mouse(page, "mouseMoved", x + 60, y + 20)
    mouse(page, "mouseReleased", x + 60, y + 20)
    turned = page.cloth(SIGHT)
    assert (turned[0] - before[0]) % 360 == pytest.approx(360 - 60 * 0.4, abs=1.0)
    assert turned[1] == pytest.approx(before[1] + 20 * 0.2, abs=0.5)
    mouse(page, "mouseWheel", x, y, deltaX=0, deltaY=-120)
    page.until(lambda: page.cloth(SIGHT)[2] > before[2], what="the wheel to bring it nearer")
    page.cloth("cloth.querySelector('canvas').focus()")
    page.driver.execute_cdp_cmd("Input.dispatchKeyEvent", {"type": "keyDown", "key": "ArrowLeft"})
    page.until(lambda: page.cloth(SIGHT)[0] != turned[0], what="the arrow to turn it")
    sight = page.cloth(SIGHT)
    # a press is read: the colour on the screen, and where on the cloth
    mouse(page, "mousePressed", x, y)
    mouse(page, "mouseReleased", x, y)
    page.until(lambda: "Pressed:" in page.text(), what="the press told")
    code = re.search(r"Pressed: .*? (#[0-9a-f]{6}), L\* \d+", page.text())[1]
    assert code == "#" + "".join(f"{v:02x}" for v in page.cloth("return cloth.view.lastPress.code"))
    assert "cm across the cloth" in page.text()
    # a choice is drawn, told in words, and the turn stays
    page.press("Facing")
    page.press("Cross grain")
    page.hung("cross grain")
    assert page.cloth(SIGHT) == sight
    assert "grain" in page.answer()
    page.until(lambda: "As it hangs." in page.text(), what="folds told")
    # lost graphics heal
    page.driver.execute_async_script(
        page_script("const done = arguments[0], v = cloth.view,"
                    "lose = v.gl.getExtension('WEBGL_lose_context'), drawn = v.drawn;"
                    "v.canvas.addEventListener('webglcontextrestored', () => setTimeout(done, 50));"
                    "lose.loseContext(); setTimeout(() => lose.restoreContext(), 300)")
    )  # fmt: skip
    frames = page.cloth("return cloth.view.drawn")
    page.until(lambda: page.cloth("return cloth.view.drawn") > frames, 120, "frames again")
    # a reload opens the same view of the same making
    page.until(lambda: page.cloth("return !cloth.view.moving"), what="the hand to rest")
    page.driver.refresh()
    page.hung("cross grain")
    assert "Which way does it run" in page.text()
    assert page.cloth(SIGHT) == pytest.approx(sight, abs=0.01)
    # Back leads to the question before, the work stays
    page.press("Depth")
    page.driver.back()
    page.until(lambda: "Which way does it run" in page.text(), what="the question before")
    assert "cross grain" in page.drawn()
    # and to where the making had no name yet; Forward leads on again
    on = (("back", "Which cloth"), ("forward", "Which way"), ("forward", "How many"))
    for way, heading in on:
        getattr(page.driver, way)()
        page.until(lambda h=heading: h in page.one(".wc-question").text, 30, heading)
        page.settle()
    assert "cross grain" in page.drawn()


def page_script(asked: str) -> str:
    from page_driver import CLOTH

    return CLOTH + asked


@pytest.mark.slow
def test_from_her_own_cloth_to_the_making_sheet(page, tmp_path):
    page.press("Describe mine")  # one press
    page.type("Name", "Label organza")
    page.type("Picks", "38 /cm")
    page.type("Ends", "nonsense")
    page.until(lambda: page.all(".wc-error"), what="a word beside the field")
    field = page.one('input[aria-label="Ends"]').rect
    error = page.one(".wc-error").rect
    assert 0 <= error["y"] - field["y"] < 120 and abs(error["x"] - field["x"]) < 80
    page.type("Ends", "40 /cm")
    page.until(lambda: "So described" in page.text(), what="the cloth as described")
    page.press("Put it on the table")  # and two: the grain is answered
    page.until(lambda: "Turning straight grain" in page.answer(), what="the answer about grain")
    page.press("Cross grain")
    page.until(lambda: "✔ Cross grain" in page.text(), what="the grain turned")
    page.press("Keep this")
    page.until(lambda: page.all(".st-key-wc-piece-0"), what="the first piece kept")
    page.press("Depth")
    page.press("Two layers")
    page.press("Beneath")
    page.press("Black")
    page.until(lambda: "✔ Black" in page.text(), what="black behind")
    page.press("Keep this")
    page.until(lambda: page.all(".st-key-wc-piece-1"), what="the second piece kept")
    page.press("Where worn")
    page.press("Ballroom")
    page.press("Side by side")
    assert re.search(r"give or take", page.answer())
    page.press("▸ All in a table")
    table = page.download("Table as CSV", "*.csv").read_text(encoding="utf-8")
    assert table.count("\n") == 3 and "ballroom" in table
    page.press("To the table")
    page.press("Choose what lies on the table")
    page.type("What you are making", "Ball cape")
    sheet = page.download("Making sheet (PDF)", "*.pdf")
    from pypdf import PdfReader

    text = "".join(p.extract_text() for p in PdfReader(sheet).pages)
    assert "Ball cape" in text and "Label organza" in text and "cross grain" in text
    page.press("This making")
    saved = load_making(page.download("Save a copy (JSON)", "*.json"))
    assert saved.title == "Ball cape" and saved.chosen == "B" and len(saved.options) == 2
    assert not list(page.downloads.glob("*.crdownload"))
    page.press("Begin anew")
    page.press("Yes, begin anew")
    page.until(lambda: "Label organza" not in page.drawn(), 400, "a clean table")
    page.press("↶ Undo")
    page.until(lambda: "Ball cape" in page.text(), what="the work brought back")


def swatch_photographs(folder: Path) -> tuple[Path, Path]:
    """A chiffon photographed over paper and over card, with noise and a wrong white balance."""
    cloth, room = load_swatch("shot-chiffon-rose-yellow"), Room()
    rng = np.random.default_rng(5)
    files = []
    for over, ground in (("white", room.paper), ("black", room.card)):
        behind = Backing(over, frozen(np.full(BANDS, ground)))
        shown = appearance(Stack((Layer(cloth),), behind), room.scene()).radiance_factor
        picture = np.full((450, 600, 3), ground)
        picture[110:340, 120:430] = colour_in(shown, light_spectrum(room.light))
        picture[:, 540:] = room.paper
        file = folder / f"over-{over}.jpg"
        file.write_bytes(photograph(picture, room, rng))
        files.append(file)
    return files[0], files[1]


@pytest.mark.slow
def test_a_swatch_pair_becomes_a_cloth(page, tmp_path):
    white, black = swatch_photographs(tmp_path)
    page.press("Measure mine")
    page.upload("1 Over white", black)
    page.until(lambda: page.all(".wc-error"), what="a complaint")
    page.driver.refresh()
    page.one(".wc-drawn")
    page.settle()
    page.press("Measure mine")
    page.upload("1 Over white", white)
    page.upload("2 Over black", black)
    assert page.all("img.wc-found"), page.text()
    assert "Opacity" in page.text()
    page.press("Beneath")
    assert not page.all("img.wc-found")
    page.press("My cloth")
    page.until(lambda: page.all("img.wc-found"), what="the photographs given before")
    # named by what holds them, or by the uploader itself where it had no time to forget
    assert all(f"over-{ground}.jpg" in page.text() for ground in ("white", "black")), page.text()
    page.type("Ends", "56 /cm")
    page.type("Picks", "54 /cm")
    page.press("Work out the cloth", settle=False)
    page.until(lambda: "Put it on the table" in page.text(), 240, "the cloth worked out")
    page.press("Put it on the table")
    # what is drawn is named, and it takes a while to be hung
    page.until(lambda: "My measured cloth" in page.text(), 120, "the measured cloth drawn")
    page.press("My cloth")
    page.press("▸ Figures")
    kept = read_cloth(page.download("Save this cloth as a file (TOML)", "*.toml"))
    assert kept.name == "My measured cloth" and kept.ends_per_cm == pytest.approx(56.0)
    # Over white it must look as the photographed cloth does: within what the fit promises.
    true = expected(Layer(load_swatch("shot-chiffon-rose-yellow")))
    from weavecolor.colour.colorimetry import ciede2000

    assert float(ciede2000(expected(Layer(kept)).Lab, true.Lab)) < 4.0


@pytest.mark.slow
def test_two_people_do_not_see_each_others_cloth(page, served, tmp_path):
    other = Page(served.url, tmp_path / "other", graphics=NO_GRAPHICS)
    try:
        other.one(".wc-drawn")
        page.press("Describe mine")
        page.type("Name", "Velvet of the first")
        page.type("Ends", "40 /cm")
        page.type("Picks", "38 /cm")
        page.press("Put it on the table", settle=False)
        page.until(lambda: "Which way does it run" in page.text(), what="the question of grain")
        assert "Put it on the table" not in page.text()  # gone at once, not after the pictures
        page.hung("Velvet of the first")
        # a machine without graphics sees the still
        other.until(
            lambda: other.cloth(
                "const i = cloth.querySelector('img');"
                "return cloth.classList.contains('plain') && i.complete && i.naturalHeight > 700"
            ),
            400, "the still",
        )  # fmt: skip
        other.press("Facing")
        other.press("Cross grain")
        other.settle()
        assert "Velvet" not in other.text() and "Velvet" not in other.driver.page_source
    finally:
        other.close()


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("bad.json", b"{ not json", "not a project file"),
        ("..%2f..%2fetc.json", b"\xff\xfe\x00", "not text"),
    ],
)
def test_a_bad_project_gets_one_plain_line(page, tmp_path, name, data, said):
    file = tmp_path / name
    file.write_bytes(data)
    page.press("This making")
    page.upload("Open a saved making", file)
    page.until(lambda: said in page.text(), what=f"the words {said!r}")
    for forbidden in ("Traceback", "Error:", "Exception", "/site-packages/"):
        assert forbidden not in page.text()


def test_works_by_keyboard_alone(page):
    driver = page.driver

    def onward(reached, most=80) -> None:
        for _ in range(most):
            driver.switch_to.active_element.send_keys(Keys.TAB)
            focus = driver.switch_to.active_element
            if reached(focus):
                return
        raise AssertionError("the keyboard does not get there")

    onward(lambda e: e.text.strip() == "My cloth")
    driver.switch_to.active_element.send_keys(Keys.ARROW_RIGHT)
    assert driver.switch_to.active_element.text.strip() == "Facing"
    driver.switch_to.active_element.send_keys(Keys.SPACE)
    page.until(lambda: "Which way does it run" in page.text(), what="the question")
    page.settle()
    onward(lambda e: e.text.strip() == "Cross grain")
    driver.switch_to.active_element.send_keys(Keys.ENTER)
    page.until(lambda: "✔ Cross grain" in page.text(), what="the grain turned")
    outline = driver.execute_script(
        "return getComputedStyle(document.activeElement).outlineStyle + "
        "getComputedStyle(document.activeElement).boxShadow"
    )
    assert outline != "nonenone"


AXE = """
const done = arguments[0];
axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}).then(r =>
  done(r.violations.flatMap(v => v.nodes.map(n =>
    [v.id, [].concat(n.target).flat().join(" "), n.html.slice(0, 160)]))));
"""
SMALL = """
const small = [];
for (const e of document.querySelectorAll('button, a[href], input, [role=radio], [role=slider]')) {
  const b = e.getBoundingClientRect();
  if (!e.checkVisibility() || b.width < 2 || b.height < 2) continue;
  if (e.matches('input[type=checkbox], input[type=radio], input[type=file], input[type=range]'))
    continue;                       // its label is what is pressed
  if (e.closest('[data-testid="stDataFrame"]')) continue;
  if (b.width < 24 || b.height < 24) small.push([e.outerHTML.slice(0, 120), b.width, b.height]);
}
return small;
"""
#: Choices that stand partly outside of their row, by their words.
HIDDEN = """
return [...document.querySelectorAll('[class*="st-key-wc-card-"]')].filter(card => {
  const row = card.closest('[class*="st-key-wc-strip-"]');
  if (!row) return false;
  const one = card.getBoundingClientRect(), all = row.getBoundingClientRect();
  return one.left < all.left - 1 || one.right > all.right + 1 || one.width < 24;
}).map(card => card.innerText);
"""


@pytest.mark.slow
@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844)])
def test_every_question_is_whole_legible_and_reachable(page, tmp_path, width, height):
    folder = Path(KEEP) if KEEP else tmp_path
    page.resize(width, height)
    page.hung()
    axe = gzip.decompress((Path(__file__).parent / "data" / "axe.min.js.gz").read_bytes()).decode()
    page.driver.execute_script(axe)
    if width < 600:
        left, top, wide, high = page.cloth(BOX)
        assert (left, top) == (0, 0) and wide == width and high >= 0.5 * height - 1
        x, y, before = width / 2, high / 2, page.cloth(SIGHT)
        touch(page, "touchStart", (x - 40, y), (x + 40, y))
        touch(page, "touchMove", (x - 80, y), (x + 80, y))
        touch(page, "touchEnd")
        page.until(lambda: page.cloth(SIGHT)[2] > 1.5 * before[2], what="a pinch to bring it near")
    told = []
    for question in QUESTIONS:
        page.press(question)
        for narrow in (320, 768) if width < 600 else (width,):
            page.resize(narrow, height)
            page.driver.execute_async_script("requestAnimationFrame(() => arguments[0]())")
            wide = page.driver.execute_script(
                "const m = document.querySelector('[data-testid=stMain]');"
                "return [m.scrollWidth, m.clientWidth]"
            )
            assert wide[0] <= wide[1] + 1, f"{question} is wider than the screen at {narrow}"
            kept = page.one(".st-key-wc-kept").rect
            assert kept["height"] <= 64, (narrow, kept)  # the question keeps its room
        page.resize(width, height)
        hidden = page.driver.execute_script(HIDDEN)
        assert not hidden, (question, hidden)
        if question == "Beneath":  # the longest, with what is told of folds
            page.until(lambda: page.driver.execute_script(READ), 300, "all that it tells")
        words = len(re.findall(r"\w\S*", page.one(".st-key-wc-panel").text))
        small = page.driver.execute_script(SMALL)
        violations = page.driver.execute_async_script(AXE)
        told.append((question, words))
        assert words <= 120, (question, words)
        assert not small, (question, small)
        assert not violations, (question, violations)  # the framework's own too
        file = folder / f"page-{width}-{QUESTIONS.index(question) + 1}.png"
        page.driver.save_screenshot(str(file))
        with Image.open(file) as shot:
            assert shot.width == width
            shot.convert("P", palette=Image.Palette.ADAPTIVE, colors=256).save(file, optimize=True)
    page.press("My cloth")
    for way in ("Describe mine", "Measure mine", "Open a file"):
        page.press(way)
        words = len(re.findall(r"\w\S*", page.one(".st-key-wc-panel").text))
        told.append((way, words))
        assert words <= 120, (way, words)
    missing = [img.get_attribute("outerHTML")[:80] for img in page.all("img") if
               img.get_attribute("alt") is None]  # fmt: skip
    assert not missing
    print("\nquestion, words: " + json.dumps(told))


#: Whether what would be pressed at the middle of "Next" is that button.
NEXT = """
const button = document.querySelector('.st-key-next button');
if (!button) return null;
const b = button.getBoundingClientRect();
return b.top >= 0 && b.bottom <= innerHeight && b.left >= 0 && b.right <= innerWidth
  && button.contains(document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2));
"""


@pytest.mark.parametrize(("width", "height"), [(1440, 757), (390, 844)])
def test_the_way_on_can_be_pressed_where_it_stands(page, width, height):
    page.resize(width, height)
    page.press("My cloth")
    for question, onward in zip(QUESTIONS, QUESTIONS[1:], strict=False):
        page.driver.execute_script(
            "document.querySelector('[data-testid=stMain]').scrollTo(0, 0)"
        )
        page.until(lambda: page.driver.execute_script(NEXT), 30, f"the way on from {question!r}")
        at = page.one(".st-key-next button").rect
        for kind in ("mousePressed", "mouseReleased"):
            mouse(page, kind, at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
        page.until(
            lambda name=onward: page.one('.st-key-way [aria-checked="true"]').text == name,
            what=f"{onward!r} opened",
        )
        page.settle()
    assert not page.all(".st-key-next")


@pytest.mark.slow
def test_memory_stays_bounded_over_many_changes(page, served):
    page.press("Facing")
    page.press("▸ By hand: any angle, each layer")
    told = {}
    for change in range(1, 501):
        page.turn(Keys.ARROW_RIGHT if change % 180 < 90 else Keys.ARROW_LEFT)
        time.sleep(0.25)
        if change in (50, 200, 350, 500):
            page.settle(300)
            told[change] = served.memory_mb()
    print("\nserver's memory, MB, after changes: " + json.dumps(told))
    assert told[500] - told[200] < 120.0 and told[500] < 800.0
