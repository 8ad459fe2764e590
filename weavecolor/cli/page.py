"""``weavecolor page``: the tool as a page in the browser, served to this machine alone."""

from __future__ import annotations

import importlib.util
import signal
import subprocess
import sys
from pathlib import Path

import click

from weavecolor.errors import InputError


@click.command()
@click.option("--port", type=click.IntRange(1024, 65535), default=8501, show_default=True)
@click.option("--open/--no-open", "show", default=True, help="Open the browser.", show_default=True)
def command(port: int, show: bool) -> int:
    """Open the tool as a page in the browser.

    The page is served on this machine's own address only, and nothing is reported to anybody.
    """
    if importlib.util.find_spec("streamlit") is None:
        raise InputError("the page needs streamlit, which is missing; install weavecolor again")
    return served(page_command(page_file(), port, show))


def served(words: list[str]) -> int:
    """Run the server until it ends or this process is told to: the server never outlives it."""
    ended = False

    def end(*_: object) -> None:
        nonlocal ended
        ended = True
        server.terminate()

    server = subprocess.Popen(words)
    for name in ("SIGTERM", "SIGHUP"):  # Windows has the first alone
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), end)
    try:
        code = server.wait()
    except KeyboardInterrupt:
        ended = True
    finally:
        if server.poll() is None:
            server.terminate()
            try:
                server.wait(5.0)
            except subprocess.TimeoutExpired:
                server.kill()
    return 0 if ended else code


def page_file() -> Path:
    """The page's script, installed or in a checkout."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "ui", package.parent / "ui"):
        if (folder / "page.py").is_file():
            return folder / "page.py"
    raise InputError("ui/page.py, which comes with weavecolor, is missing; install it again")


def page_command(script: Path, port: int, show: bool) -> list[str]:
    """The command that serves the page on the loopback address without telemetry."""
    return [
        sys.executable, "-m", "weavecolor.cli._pageserver", "run", str(script),
        "--server.address", "127.0.0.1",
        "--server.port", str(port),
        "--server.headless", "false" if show else "true",
        "--server.fileWatcherType", "none",
        "--server.maxUploadSize", "40",
        "--browser.gatherUsageStats", "false",
        "--client.toolbarMode", "minimal",
        "--client.showErrorDetails", "none",
    ]  # fmt: skip
