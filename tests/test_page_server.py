"""The page's server ends with the command that started it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
#: Stands for the server: says its number, then lives on.
SERVER = "import os, time; print(os.getpid(), flush=True); time.sleep(600)"
STARTER = f"""
import sys
from weavecolor.cli.page import served
sys.exit(served([sys.executable, "-c", {SERVER!r}]))
"""


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="signals of a POSIX system")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_the_server_does_not_outlive_its_command(name):
    with subprocess.Popen(
        [sys.executable, "-c", STARTER], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as starter:
        assert starter.stdout is not None
        server = int(starter.stdout.readline())
        time.sleep(0.2)  # the handlers are set once the server runs
        starter.send_signal(getattr(signal, name))
        assert starter.wait(60) == 0
        with pytest.raises(ProcessLookupError):
            for _ in range(100):  # gone at once, or as soon as it is cleared away
                os.kill(server, 0)
                time.sleep(0.1)
