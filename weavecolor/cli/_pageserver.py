"""The page's server: Streamlit, and what the page needs loaded while the browser still opens.

Started by ``weavecolor page`` as ``python -m weavecolor.cli._pageserver run ui/page.py ...``.
"""

from __future__ import annotations

import contextlib
import importlib
import threading
import time
from types import ModuleType

from weavecolor.cache import keep_on
from weavecolor.files.store import on_this_machine

#: What the first picture needs, in the order in which the page comes to it; then what its answers
#: and further pictures need and what takes long to load.
NEEDED = (
    "weavecolor.making.answers",
    "weavecolor.making.file",
    "pandas",
    "weavecolor.picture.hung",
    "weavecolor.picture.closeup",
)


def load_ahead(seconds: float = 60.0) -> None:
    """Load what the page needs once the server answers, so that it starts no later for it."""
    from streamlit import runtime

    end = time.monotonic() + seconds
    while not _answers(runtime) and time.monotonic() < end:
        time.sleep(0.02)
    with contextlib.suppress(Exception):  # the page itself says what is wrong, where it is seen
        for name in NEEDED:
            importlib.import_module(name)
        from weavecolor.colour.library import science

        science()


def _answers(runtime: ModuleType) -> bool:
    return runtime.exists() and runtime.get_instance().state is not runtime.RuntimeState.INITIAL


def main() -> None:
    from streamlit.web.cli import main as streamlit

    keep_on(on_this_machine())
    threading.Thread(target=load_ahead, daemon=True).start()
    streamlit(prog_name="streamlit")


if __name__ == "__main__":
    main()
