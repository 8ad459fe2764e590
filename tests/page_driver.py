"""A page served on this machine and a browser to work it, for tests.

Chromium from the system's packages, headless, with an empty profile, driven by selenium.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

from selenium import webdriver
from selenium.common.exceptions import (
    ElementClickInterceptedException,
    StaleElementReferenceException,
)
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement

from weavecolor.cli.page import page_command, page_file

ROOT = Path(__file__).resolve().parents[1]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
CHROMEDRIVER = shutil.which("chromedriver")
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--hide-scrollbars",
)  # fmt: skip
#: Graphics worked out by the processor: the same on every machine.
SOFTWARE = ("--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist",
            "--force-color-profile=srgb")  # fmt: skip
#: A machine without graphics for the live picture.
NO_GRAPHICS = ("--disable-gpu", "--disable-3d-apis")
#: The element that holds the live picture, wherever its component keeps it.
CLOTH = """
const inside = root => {
  for (const e of root.querySelectorAll("*")) {
    if (e.classList.contains("hung")) return e;
    const found = e.shadowRoot && inside(e.shadowRoot);
    if (found) return found;
  }
  return null;
};
const cloth = inside(document);
"""
INTO_VIEW = "arguments[0].scrollIntoView({block: 'center'})"
DRAWN = "requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(arguments[0], 100)))"
# what is asked of every element in turn takes one message each from here, all together one
SHOWN = """
const shown = css => [...document.querySelectorAll(css)].filter(e => e.checkVisibility());
"""
NAMED = SHOWN + """
const label = arguments[1], all = shown(arguments[0]);
return all.find(b => b.innerText.trim() === label) || all.find(b => b.innerText.includes(label));
"""
LISTED = SHOWN + """
const all = shown('[data-testid="stSelectbox"]');
return all.find(e => e.innerText.split("\\n")[0] === arguments[0])?.querySelector("input");
"""
BUSY = '[data-testid="stApp"][data-test-script-state="running"], [data-testid="stSpinner"]'


class Served:
    """The page as the command ``weavecolor page`` starts it, on a free port of the loopback
    address, or on ``port``; with the few rays of the tests unless ``all_rays``."""

    def __init__(
        self, folder: Path, pictures: bool = True, all_rays: bool = False, port: int = 0
    ) -> None:
        with socket.socket() as free:
            free.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            free.bind(("127.0.0.1", port))
            self.port = free.getsockname()[1]
        self.log = folder / "server.log"
        environment = {**os.environ, "PYTHONPATH": str(ROOT),
                       "WEAVECOLOR_HOME": str(folder / "home")}  # fmt: skip
        if not pictures:
            environment["WEAVECOLOR_PICTURES"] = "0"
        environment.pop("PYTHONDONTWRITEBYTECODE", None)  # compiled once, as anywhere else
        command = page_command(page_file(), self.port, show=False)
        if not all_rays:
            command[1:3] = [str(ROOT / "tests" / "page_few_rays.py")]
        self.began = time.monotonic()
        self.process = subprocess.Popen(
            command,
            stdout=self.log.open("w"), stderr=subprocess.STDOUT,
            cwd=ROOT, env=environment,
        )  # fmt: skip
        self.url = f"http://127.0.0.1:{self.port}"

    def wait(self, seconds: float = 90.0) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=2):
                    return
            except OSError:
                time.sleep(0.05)
        raise TimeoutError(self.log.read_text())

    def alive(self) -> bool:
        if self.process.poll() is not None:
            return False
        with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=30) as answer:
            return answer.status == 200

    def memory_mb(self) -> float:
        """Resident memory of the server (Linux)."""
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        line = next(x for x in status.splitlines() if x.startswith("VmRSS"))
        return float(line.split()[1]) / 1024.0

    def processor_s(self) -> float:
        """Processor seconds that the server has spent (Linux)."""
        told = Path(f"/proc/{self.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")

    def stop(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:  # as the command does: it does not wait for pictures
            self.process.kill()
            self.process.wait(20)


class Page:
    """One person's browser at the page."""

    def __init__(
        self, url: str, folder: Path, width: int = 1440, graphics: tuple[str, ...] = SOFTWARE
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        options = webdriver.ChromeOptions()
        options.binary_location = str(CHROMIUM)
        for flag in (*FLAGS, *graphics, f"--user-data-dir={folder / 'profile'}"):
            options.add_argument(flag)
        self.driver = webdriver.Chrome(options=options, service=Service(str(CHROMEDRIVER)))
        self.begin(url, folder, width)

    def begin(self, url: str, folder: Path, width: int = 1440) -> None:
        """The page from its start, as a new person finds it; downloads go below ``folder``."""
        self.driver.get("about:blank")
        self.downloads = folder / "downloads"
        self.downloads.mkdir(parents=True, exist_ok=True)
        self.driver.execute_cdp_cmd(
            "Browser.setDownloadBehavior",
            {"behavior": "allow", "downloadPath": str(self.downloads)},
        )
        self.resize(width)
        self.driver.get(url)

    def resize(self, width: int, height: int = 900) -> None:
        self.width = width
        self.driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
        )

    def close(self) -> None:
        self.driver.quit()

    # --- waiting and reading ---

    def until(self, true: Callable[[], object], seconds: float = 120.0, what: str = "") -> object:
        """What ``true`` gives once it is not false; elements that vanish meanwhile are no fault."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                found = true()
            except StaleElementReferenceException:
                found = None
            if found:
                return found
            time.sleep(0.05)
        raise AssertionError(f"waited {seconds:g} s for {what or true}; page: {self.text()}")

    def settle(self, seconds: float = 300.0) -> None:
        """Until nothing runs but the drawing of pictures, twice in a row."""

        def calm() -> bool:
            if not self.all(BUSY):
                return True
            run, left = self.all(".wc-run"), self.all(".wc-left")
            runs = [e[0].get_attribute("data-run") for e in (run, left) if e]
            return len(runs) == 2 and runs[0] == runs[1]

        self.until(lambda: calm() and (time.sleep(0.25) or calm()), seconds, "the page to settle")
        assert not self.all('[data-testid="stException"]')
        assert "Traceback" not in self.text()

    def all(self, css: str) -> list[WebElement]:
        return self.driver.find_elements(By.CSS_SELECTOR, css)

    def one(self, css: str) -> WebElement:
        found = self.until(lambda: self.all(css), what=css)
        return found[0]  # type: ignore[index]

    def text(self) -> str:
        return self.driver.execute_script("return document.body.innerText")

    def drawn(self) -> str:
        """The words under the live picture."""
        return self.one(".wc-drawn").text

    def answer(self) -> str:
        """The open question's one answer."""
        return self.one(".wc-answer").text

    def cloth(self, asked: str) -> object:
        """What a script finds at ``cloth``, the element that holds the live picture."""
        return self.driver.execute_script(CLOTH + asked)

    def hung(self, words: str = "", seconds: float = 400.0) -> None:
        """Until the live picture is of what ``words`` says, and nothing is waited for."""
        self.until(
            lambda: self.cloth(
                "return cloth && cloth.classList.contains('live') && cloth.view?.drawn > 0"
                " && !['waiting', 'first', 'late'].some(x => cloth.classList.contains(x))"
            ) and words in self.drawn(),
            seconds, f"the cloth hung, {words!r}",
        )  # fmt: skip

    # --- doing ---

    def press(self, label: str, within: str = "button", settle: bool = True) -> None:
        """The button that says ``label``, pressed."""

        def pressed() -> bool:
            button = self.driver.execute_script(NAMED, within, label)
            if button is None or not button.is_enabled():
                return False
            self.driver.execute_script(INTO_VIEW, button)
            try:
                button.click()
            except ElementClickInterceptedException:
                return False
            return True

        self.until(pressed, what=f"a button {label!r}")
        if settle:
            time.sleep(0.2)
            self.settle()

    def choose(self, label: str, option: str) -> None:
        """One of a list, as by keyboard: the words typed, then Enter."""

        field = self.until(
            lambda: self.driver.execute_script(LISTED, label), what=f"a list {label!r}"
        )
        self.driver.execute_script(INTO_VIEW, field)
        field.send_keys(option)  # type: ignore[union-attr]
        time.sleep(0.3)
        field.send_keys(Keys.ENTER)  # type: ignore[union-attr]
        time.sleep(0.2)
        self.settle()

    def type(self, label: str, text: str) -> None:
        """Text into the field of that label, closed with Tab."""
        field = self.one(f'input[aria-label="{label}"]')
        self.driver.execute_script(INTO_VIEW, field)
        field.send_keys(Keys.CONTROL, "a")
        field.send_keys(text, Keys.TAB)
        time.sleep(0.2)
        self.settle()

    def upload(self, label: str, file: Path) -> None:
        def field() -> WebElement | None:
            for one in self.all('[data-testid="stFileUploader"]'):
                if one.text.startswith(label):
                    return one.find_element(By.CSS_SELECTOR, "input[type=file]")
            return None

        self.until(field, what=f"a place to upload {label!r}").send_keys(str(file))  # type: ignore
        time.sleep(0.5)
        self.settle()

    def download(self, label: str, pattern: str) -> Path:
        """The file that a button gives."""
        before = set(self.downloads.glob(pattern))
        self.press(label)
        new = self.until(
            lambda: set(self.downloads.glob(pattern)) - before, what=f"a download {pattern}"
        )
        return next(iter(new))  # type: ignore[call-overload]

    def turn(self, keys: str, count: int = 1, slider: int = 0) -> None:
        """The grain's slider moved by keyboard."""
        knobs = '[data-testid="stSlider"] :is(input[type="range"], [role="slider"])'
        knob = self.all(knobs)[slider]
        for _ in range(count):
            knob.send_keys(keys)

    def picture(self, file: Path, most: int = 2600) -> None:
        """The whole screen as it stands, from top to bottom."""
        self.resize(self.width)
        self.driver.execute_async_script(DRAWN)
        height = self.driver.execute_script(
            "return document.querySelector('[data-testid=stMain]').scrollHeight"
        )
        self.resize(self.width, min(int(height) + 8, most))
        self.driver.execute_async_script(DRAWN)
        self.settle()
        self.driver.save_screenshot(str(file))
        self.resize(self.width)
