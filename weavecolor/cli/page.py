"""``weavecolor page``: the tool as a page in the browser, served to this machine alone."""

from __future__ import annotations

import importlib.util
import os
import secrets
import signal
import socket
import subprocess
import sys
import threading
import webbrowser
from pathlib import Path

import click

from weavecolor.errors import InputError


@click.command()
@click.option("--port", type=click.IntRange(1024, 65535), default=8501, show_default=True,
              help="Where on this machine it is served.")  # fmt: skip
@click.option("--open/--no-open", "show", default=True, help="Open the browser.", show_default=True)
@click.option(
    "--telephone", is_flag=True,
    help="Also to a telephone on the home network, let in by a code that opens once.",
)  # fmt: skip
def command(port: int, show: bool, telephone: bool) -> int:
    """Open the tool as a page in the browser.

    The page is served on this machine's own address only, and nothing is reported to anybody. With
    --telephone it is served on the home network too; whoever has no code is shown nothing. What
    goes over that network is not encrypted: use it at home.
    """
    if importlib.util.find_spec("streamlit") is None:
        raise InputError("the page needs streamlit, which is missing; install weavecolor again")
    if not telephone:
        return served(page_command(page_file(), port, show))
    here, there, at = handed = new_code(), new_code(), f"http://{home_address()}:{port}"
    click.echo(f"On this machine: http://127.0.0.1:{port}/?code={here}")
    click.echo(f"On the telephone: {at}/?code={there}  (each code opens once)")
    if show:
        threading.Timer(
            2.0, webbrowser.open, (f"http://127.0.0.1:{port}/?code={here}",)
        ).start()
    words = page_command(page_file(), port, False, "0.0.0.0", home_address())
    return served(words, {HANDED: " ".join(handed)})


#: The variable by which the page is handed its codes: this machine's, the telephone's, the address.
HANDED = "WEAVECOLOR_TELEPHONE"


def new_code() -> str:
    """Eight letters and figures that are not taken for one another."""
    return "".join(secrets.choice("23456789ABCDEFGHJKMNPQRSTUVWXYZ") for _ in range(8))


def home_address() -> str:
    """This machine's address on the network that it would go out by; nothing is sent.

    Raises InputError where there is no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737)
        except OSError:
            raise InputError("this machine is on no network that a telephone could reach") from None
        address: str = probe.getsockname()[0]
    return address


def served(words: list[str], handed: dict[str, str] | None = None) -> int:
    """Run the server until it ends or this process is told to: the server never outlives it."""
    ended = False

    def end(*_: object) -> None:
        nonlocal ended
        ended = True
        server.terminate()

    server = subprocess.Popen(words, env={**os.environ, **(handed or {})})
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


def page_command(
    script: Path, port: int, show: bool, address: str = "127.0.0.1", named: str = ""
) -> list[str]:
    """The command that serves the page, ``script``, on ``port`` of ``address`` (the loopback one if
    no other is given), without telemetry; ``show``: in a browser that is opened for it; ``named``:
    the address that browsers come by."""
    return [
        sys.executable, "-m", "weavecolor.cli._pageserver", "run", str(script),
        "--server.address", address,
        "--server.port", str(port),
        "--server.headless", "false" if show else "true",
        "--server.fileWatcherType", "none",
        "--server.maxUploadSize", "64",
        "--browser.gatherUsageStats", "false",
        "--client.toolbarMode", "minimal",
        # a browser forgets what so many drawings did without; a server that hears of it late would
        # send the name alone of what is gone
        "--global.maxCachedMessageAge", "20",
        "--client.showErrorDetails", "none",
        *(("--browser.serverAddress", named) if named else ()),
    ]  # fmt: skip
