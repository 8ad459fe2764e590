"""The drawing in a real browser, with software graphics, against the drawing in Python."""

from __future__ import annotations

import functools
import http.server
import io
import os
import shutil
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from page_driver import CHROMEDRIVER, CHROMIUM, FLAGS, ROOT, SOFTWARE
from PIL import Image
from scipy.ndimage import uniform_filter
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from weavecolor.colour.screen import decoded, encoded, space
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.encode import Seeing, eased
from weavecolor.picture.hanging import Lit, Sight, lit_stage, picture
from weavecolor.picture.hung import hung_stage
from weavecolor.picture.parcels import cloth_parcels, light_parcel, stage_parcel
from weavecolor.scene.places import scene

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        not (CHROMIUM and CHROMEDRIVER) and not os.environ.get("CI"), reason="no Chromium here"
    ),
]
WIDTH, HEIGHT = 300, 376
#: Sweeps of a light, as in ``viewer.js``.
SOFT = 12
LOOK, NEAR = Sight(20.0, 6.0), Sight(20.0, 6.0, 40.0, 0.05, -0.1)
PAGE = f"""<!doctype html><meta charset="utf-8"><style>body {{ margin: 0 }}
canvas {{ display: block; width: {WIDTH}px; height: {HEIGHT}px }}</style>
<canvas id="one" tabindex="0"></canvas><canvas id="two"></canvas>
<script type="module">
import {{ View, unpacked }} from "./viewer.js";
window.get = async n => unpacked(new Uint8Array(await (await fetch(n)).arrayBuffer()));
try {{
  window.lit = async n => {{ const light = await get(n);
    return [stage, light, await Promise.all(light.cloths.map(get))]; }};
  window.stage = await get("stage.bin"); window.shown = await lit("light.bin");
  window.view = new View(document.querySelector("#one"), "all", {{ turn: 20, tilt: 6 }});
  window.View = View; view.patience = 0;  // few frames make the still, however quick it is
  view.show(...shown);
}} catch (e) {{ window.failed = String(e.stack || e); }}
</script>"""
SETTLED = "return window.failed || document.querySelector('#one').dataset.settled"
ONCE = """const v = window.view; v.frontOnly = arguments[0];
while (!v.sweptAll) throw Error('light');
v.draw(v.canvas.width, v.canvas.height, [0, 0], 1);"""
PIXELS = """const done = arguments[0];
document.querySelector('#one').toBlob(
  async b => done([...new Uint8Array(await b.arrayBuffer())]))"""


@functools.lru_cache(maxsize=2)
def lit(space: str) -> Lit:
    stack = Stack((Layer(load_swatch("shot-chiffon-rose-yellow"), 30.0),))
    return lit_stage(hung_stage(stack, "gathered-3-organza"), scene("window at the side"),
                     seeing=Seeing(space), coarse=True)  # fmt: skip


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    folder: Path = tmp_path_factory.mktemp("viewer")
    name, places = stage_parcel(lit("sRGB").stage)
    (folder / "stage.bin").write_bytes(places)
    for file, screen in (("light.bin", "sRGB"), ("p3.bin", "Display P3")):
        cloths = cloth_parcels(lit(screen))
        for cloth, data in cloths:
            (folder / cloth).write_bytes(data)
        light = light_parcel(lit(screen), name, [c for c, _ in cloths], Seeing(screen))
        (folder / file).write_bytes(light)
    (folder / "index.html").write_text(PAGE)
    shutil.copy(ROOT / "ui" / "viewer" / "viewer.js", folder)
    serve = functools.partial(Quiet, directory=str(folder))
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), serve)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for flag in (*FLAGS, *SOFTWARE, f"--user-data-dir={folder / 'profile'}"):
        options.add_argument(flag)
    driver = webdriver.Chrome(options=options, service=Service(str(CHROMEDRIVER)))
    driver.set_script_timeout(300)
    driver.get(f"http://127.0.0.1:{server.server_port}/index.html")
    try:
        assert WebDriverWait(driver, 300, 0.5).until(lambda d: d.execute_script(SETTLED)) == "yes"
        yield driver
    finally:
        driver.quit()
        server.shutdown()


def pixels(driver) -> np.ndarray:
    data = bytes(driver.execute_async_script(PIXELS))
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def codes(made: Lit, screen: str, sight: Sight = LOOK, **how: object) -> np.ndarray:
    linear = picture(made, WIDTH, HEIGHT, sight, **how)  # type: ignore[arg-type]
    linear = eased(linear, Seeing(screen))
    # what the screen cannot show goes towards the grey of its luminance, as in the shader
    grey = np.clip(linear @ space(screen).to_xyz[1], 0.0, 1.0)[..., None]
    most, least = linear.max(axis=2, keepdims=True), linear.min(axis=2, keepdims=True)
    kept = np.ones_like(grey)
    kept = np.where(most > 1.0, (1.0 - grey) / np.maximum(most - grey, 1e-6), kept)
    kept = np.where(least < 0.0, np.minimum(kept, grey / np.maximum(grey - least, 1e-6)), kept)
    return np.rint(255.0 * encoded(np.clip(grey + kept * (linear - grey), 0.0, 1.0))).astype(int)


@pytest.mark.parametrize("screen", ["sRGB", "Display P3"])
def test_five_hundred_points_are_what_python_draws(browser, screen):
    """Front layer within 2 of 255, all layers within 3; but where a pixel's middle lies on the
    edge of a fold, and either may be right."""
    if screen != "sRGB":
        browser.execute_async_script(
            "const done = arguments[0]; lit('p3.bin').then(l => { view.show(...l); done() })"
        )
        WebDriverWait(browser, 300, 0.5).until(lambda d: d.execute_script(SETTLED) == "yes")
    rng = np.random.default_rng(2)
    for front, most in ((True, 2), (False, 3)):
        browser.execute_script(ONCE, front)
        got, expected = pixels(browser), codes(lit(screen), screen, samples=1, front=front)
        whole, first = (codes(lit(screen), screen, samples=1, front=f) for f in (False, True))
        cloth = np.abs(whole - first)
        rows, columns = np.nonzero(cloth.max(axis=2) > 0)
        chosen = rng.choice(rows.size, 500, replace=False)
        apart = np.abs(got - expected).max(axis=2)[rows[chosen], columns[chosen]]
        assert (apart > most).mean() < 0.02, (screen, front, np.quantile(apart, [0.5, 0.9, 0.99]))
        assert np.median(apart) <= 1
    browser.execute_script("view.frontOnly = false; view.show(...shown)")


def test_threads_seen_from_near_are_what_python_draws(browser):
    """Three pixels a thread, the foremost cloth. Graphics place corners on sixteenths of a pixel,
    so that edges of threads fall to one place of a pixel or the next: the pattern is the same
    where the two rise and fall together, and the light where means of 25 by 25 pixels do."""
    there = "const [zoom, right, up] = arguments; Object.assign(view.sight, { zoom, right, up });"
    WebDriverWait(browser, 300, 0.5).until(lambda d: d.execute_script(SETTLED) == "yes")
    browser.execute_script(there, NEAR.zoom, NEAR.right, NEAR.up)  # turned as before: lit already
    browser.execute_script(ONCE, True)
    plain = replace(lit("sRGB"))
    vars(plain)["threads"] = np.zeros_like(lit("sRGB").threads)  # in place of what it would trace
    got, expected, without = (
        decoded(x / 255.0) for x in (
            pixels(browser),
            *(codes(x, "sRGB", NEAR, samples=1, front=True) for x in (lit("sRGB"), plain)),
        )
    )  # fmt: skip
    assert np.corrcoef(got.ravel(), expected.ravel())[0, 1] > 0.9
    assert np.corrcoef(got.ravel(), without.ravel())[0, 1] < 0.7  # threads are seen
    mean = expected.mean(axis=(0, 1))
    np.testing.assert_allclose(got.mean(axis=(0, 1)), mean, rtol=0.01)
    apart = [uniform_filter(x, (25, 25, 0)) for x in (got, expected)]
    assert np.quantile(np.abs(apart[0] - apart[1]) / mean, 0.9) < 0.04
    browser.execute_script("view.frontOnly = false;" + there, 1, 0, 0)


def test_the_hand_turns_and_zooms_and_new_tables_keep_the_turn(browser):
    canvas = browser.find_element(By.ID, "one")
    before = browser.execute_script("return [view.sight.turn, view.sight.tilt, view.sight.zoom]")
    ActionChains(browser).drag_and_drop_by_offset(canvas, 50, 20).perform()
    ActionChains(browser).scroll_from_origin(
        webdriver.common.actions.wheel_input.ScrollOrigin.from_element(canvas), 0, -120
    ).perform()
    canvas.send_keys(webdriver.Keys.ARROW_LEFT)
    after = browser.execute_script("return [view.sight.turn, view.sight.tilt, view.sight.zoom]")
    assert after[0] == pytest.approx(before[0] - 50 * 0.4 + 5, abs=0.5)
    assert after[1] == pytest.approx(before[1] + 20 * 0.2, abs=0.3) and after[2] > before[2]
    kept = browser.execute_async_script(
        "const done = arguments[0]; lit('light.bin').then(l => { view.show(...l);"
        "done([view.sight.turn, view.sight.tilt, view.sight.zoom]) })"
    )
    assert kept == after
    shared = browser.execute_script(
        "const w = new View(document.querySelector('#two'), 'all');"
        "const s = w.sight === view.sight; w.close(); return s"
    )
    assert shared


def test_what_throws_the_same_shade_is_not_swept_anew(browser):
    """A first look of the same cloth, its hems as the cloth itself, and then the whole."""
    WebDriverWait(browser, 300, 0.5).until(lambda d: d.execute_script(SETTLED) == "yes")
    browser.execute_script(
        "window.swept = 0; const run = view.sweep.run;"
        "view.sweep.run = function (...a) { swept++; return run.apply(this, a) };"
        "const [stage, light, cloths] = shown;"
        "window.look = (id, of) => { swept = 0; view.show(stage, { ...light, id }, of) };"
        "look('first', light.plains.map(k => cloths[k]))"
    )
    told = []
    for then in ("look('whole', shown[2])", "view.way = ''; look('alone', [0, 0, 0].map(k => "
                 "shown[2][k]))", "look('after', shown[2])", ""):  # fmt: skip
        WebDriverWait(browser, 300, 0.5).until(lambda d: d.execute_script(SETTLED) == "yes")
        told.append((browser.execute_script("return swept"), pixels(browser)))
        browser.execute_script(then)
    sweeps, drawn = zip(*told, strict=True)
    assert sweeps[:2] == (0, 0) and sweeps[2] == sweeps[3] == SOFT  # else its own shade is thrown
    assert np.abs(drawn[1] - drawn[3]).max() <= 1
    browser.execute_script("delete view.sweep.run; view.show(...shown)")


@pytest.mark.parametrize("change", [
    "view.canvas.style.height = '450px'",
    "view.show(stage, { ...shown[1], id: 'other', ground: [.1, .1, .1] }, shown[2])",
])  # fmt: skip
def test_what_changes_while_it_is_drawn_leaves_nothing_of_what_was(browser, change):
    """The picture of another size, or of another light, is the mean of its own frames."""
    drawing = (
        "const gl = view.gl, real = gl.clientWaitSync.bind(gl), end = performance.now() + 500;"
        "view.moved(false); const until = setInterval(() => { if (view.waiting) {"
        f"clearInterval(until); {change} }} }}, 1);"
        "gl.clientWaitSync = (...a) => performance.now() < end ? gl.TIMEOUT_EXPIRED : real(...a);"
        "setTimeout(arguments[0], 600)"
    )
    browser.execute_async_script(drawing)
    WebDriverWait(browser, 300, 0.5).until(lambda d: d.execute_script(SETTLED) == "yes")
    ground = browser.execute_script("return view.light.ground.map(x => x * view.light.exposure)")
    expected = np.rint(255.0 * encoded(np.array(ground)))
    try:
        assert np.abs(pixels(browser)[:20, :20] - expected).max() <= 1
    finally:
        browser.execute_script(
            "delete view.gl.clientWaitSync; view.canvas.style.height = ''; view.show(...shown)"
        )
        WebDriverWait(browser, 300, 0.5).until(lambda d: d.execute_script(SETTLED) == "yes")


def test_a_press_tells_colour_and_place(browser):
    browser.execute_script("Object.assign(view.sight, {turn: 20, tilt: 6, zoom: 1}); view.moved()")
    WebDriverWait(browser, 300, 0.5).until(lambda d: d.execute_script(SETTLED) == "yes")
    told = browser.execute_script(
        "const b = view.canvas.getBoundingClientRect();"
        "return view.press(b.left + 0.4 * b.width, b.top + 0.5 * b.height)"
    )
    seen = pixels(browser)[HEIGHT // 2, int(0.4 * WIDTH)]
    assert told["what"] == "cloth" and told["layers"] >= 1 and len(told["cloth_mm"]) == 2
    assert np.abs(np.array(told["code"]) - seen).max() <= 1
    assert browser.execute_script("return view.at(0.01, 0.5).what") == "ground"


def test_lost_graphics_heal(browser):
    shown = pixels(browser)
    browser.execute_async_script(
        "const done = arguments[0], lose = view.gl.getExtension('WEBGL_lose_context');"
        "view.canvas.addEventListener('webglcontextrestored', () => setTimeout(done, 50));"
        "lose.loseContext(); setTimeout(() => lose.restoreContext(), 300)"
    )
    WebDriverWait(browser, 300, 0.5).until(lambda d: d.execute_script(SETTLED) == "yes")
    assert np.abs(pixels(browser) - shown).mean() < 1.0
