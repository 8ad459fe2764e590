"""The whole job at the page as a strip of pictures, for the README.

    python -m tests.film swatches/pictures/film.png

A cloth of her own from its label, photographed instead, its grain, layers, backing, light, pieces
and the sheet: each question at 1440 x 900 in a real browser, drawn with all rays. Needs Chromium
and the test extra, and some minutes.
"""

from __future__ import annotations

import argparse
import io
import sys
import tempfile
from pathlib import Path

from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))

from page_driver import Page, Served
from test_page_browser import swatch_photographs

#: The page from its top, with nothing told about where the hand was last.
TOP = """
document.activeElement.blur();
document.querySelector('[data-testid=stMain]').scrollTo(0, 0);
"""
#: Each frame this wide, and so many in a row.
WIDE, ACROSS = 720, 2


def frames(page: Page, folder: Path) -> list[Image.Image]:
    """The screen at every question, in her order."""
    made: list[Image.Image] = []

    def shot(words: str = "") -> None:
        page.settle()
        page.hung(words)
        waits = '[class*="st-key-wc-card"] .wc-patch'
        page.until(lambda: not page.all(waits), what="every choice's picture")
        told = ".st-key-wc-panel"
        page.until(lambda: "Held flat." not in page.one(told).text, 300, "all as it hangs")
        page.settle()
        page.driver.execute_script(TOP)
        screen = Image.open(io.BytesIO(page.driver.get_screenshot_as_png())).convert("RGB")
        high = screen.height * WIDE // screen.width
        made.append(screen.resize((WIDE, high), Image.Resampling.LANCZOS))

    page.settle()
    page.press("Measure mine")
    white, black = swatch_photographs(folder)
    page.upload("1 Over white", white)
    page.upload("2 Over black", black)
    page.type("Ends", "56 /cm")
    page.type("Picks", "54 /cm")
    shot()
    page.press("Describe mine")
    page.type("Name", "Label organza")
    page.type("Ends", "40 /cm")
    page.type("Picks", "38 /cm")
    page.until(lambda: "So described" in page.text(), what="the cloth as described")
    shot()
    page.press("Put it on the table")
    page.press("Facing")
    page.press("Cross grain")
    shot("cross grain")
    page.press("Depth")
    page.press("Two layers")
    shot("2 x")
    page.press("Beneath")
    page.press("Skin")
    shot("skin")
    page.press("Where worn")
    page.press("Ballroom")
    shot("Ballroom")
    page.press("Will it reach")
    page.press("Gathered, 3 to 1")
    shot()
    page.press("To the table")
    page.press("Choose what lies on the table")
    page.type("What you are making", "Ball skirt")
    shot()
    return made


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("out", type=Path)
    out = parser.parse_args(arguments).out
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        served = Served(folder, all_rays=True)
        try:
            served.wait()
            page = Page(served.url, folder / "browser")
            try:
                made = frames(page, folder)
            finally:
                page.close()
        finally:
            served.stop()
    high = made[0].height
    strip = Image.new("RGB", (WIDE * ACROSS, high * -(-len(made) // ACROSS)), "white")
    for k, one in enumerate(made):
        strip.paste(one, (WIDE * (k % ACROSS), high * (k // ACROSS)))
    strip.save(out, optimize=True)  # of few colours, pale sheen would be told in cream


if __name__ == "__main__":
    main()
