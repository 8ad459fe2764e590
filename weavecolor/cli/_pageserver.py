"""The page's server: Streamlit, and what the page needs loaded while the browser still opens.

Started by ``weavecolor page`` as ``python -m weavecolor.cli._pageserver run ui/page.py ...``.
"""

from __future__ import annotations

import contextlib
import importlib
import sys
import threading
import time
from collections.abc import Callable

from weavecolor.cache import hold_at_most, keep_on, make_room
from weavecolor.cli import heaps
from weavecolor.files.store import on_this_machine, source

#: What the first picture needs, in the order in which the page comes to it; then what its answers
#: and further pictures need and what takes long to load.
NEEDED = (
    "weavecolor.making.answers",
    "weavecolor.making.file",
    "weavecolor.picture.framing",
    "weavecolor.picture.shapes",
    "PIL.WebPImagePlugin",
    "streamlit.emojis",
    "scipy.sparse",
    "numba",
    "weavecolor.picture.hung",
    "weavecolor.picture.closeup",
    "weavecolor.decide.compare",
)


def load_ahead(seconds: float = 60.0) -> None:
    """Load what the page needs once the server answers, so that it starts no later for it; nothing
    while a page is drawn, which loads what it needs itself and would wait for the rest."""
    from streamlit import runtime

    def wait(free: Callable[[], bool]) -> None:
        end = time.monotonic() + seconds
        while not free() and time.monotonic() < end:
            time.sleep(0.02)

    def answers() -> bool:
        return (runtime.exists()
                and runtime.get_instance().state is not runtime.RuntimeState.INITIAL)  # fmt: skip

    def free() -> bool:
        return not any(x.name.startswith("ScriptRunner") for x in threading.enumerate())

    usual = sys.getswitchinterval()
    sys.setswitchinterval(0.0005)  # what the browser asks for meanwhile is not held up
    wait(answers)
    with contextlib.suppress(Exception):  # the page itself says what is wrong, where it is seen
        source()
        for name in NEEDED:
            wait(free)
            importlib.import_module(name)
    sys.setswitchinterval(usual)


def _unsearched() -> None:
    """Streamlit looks through everything installed for components, of which the page uses none, and
    through the files of all that is loaded for how it was started: together more than a second
    where files are slow to reach. There is no other door."""
    with contextlib.suppress(ImportError):
        from streamlit import delta_generator
        from streamlit.components.v2 import manifest_scanner

        manifest_scanner.scan_component_manifests = lambda *_, **__: []
        delta_generator._use_warning_has_been_displayed = True


#: How many heaps there are; and how often what is free in them is handed back, s, where so much was
#: worked meanwhile, s.
_HEAPS, _EVERY, _WORKED = 2, 5.0, 0.2
#: Bytes that all stores hold together; and while nobody asks for anything: what lay on the table
#: last.
AT_WORK, AT_REST = 330_000_000, 200_000_000


def lean() -> None:
    """Hand memory that is free back to the system, for ever, and keep less, least at rest. The GNU
    C library keeps it, in heaps of as many as eight threads a core, to 200 MB in all; another is
    left as it is."""
    hold_at_most(AT_WORK)
    hand_back = heaps(_HEAPS)

    def from_time_to_time() -> None:
        worked, much = 0.0, False
        while True:
            time.sleep(_EVERY)
            before, worked = worked, time.process_time()
            resting, much = much, worked > before + _WORKED
            resting = resting and not much
            if resting:
                make_room(AT_REST)
            if hand_back and (much or resting):
                hand_back(0)

    threading.Thread(target=from_time_to_time, daemon=True).start()


def main() -> None:
    from streamlit.web.cli import main as streamlit

    lean()
    _unsearched()
    keep_on(on_this_machine())
    threading.Thread(target=load_ahead, daemon=True).start()
    streamlit(prog_name="streamlit")


if __name__ == "__main__":
    main()
