"""Drawings of the page take turns, so that many people at once all get on.

Python draws one page at a time anyway. If all drew at once, each would take as long as all together
and be late for all. A drawing that has begun is drawn to its end; what was asked while its session
waited comes to one drawing, of what was asked last. Knows places in a queue.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

#: Drawings at the same time; how long a turn is kept for whoever does not come, s; how long a
#: drawing that works something out, and so lets others on to the processor, is counted, s; how long
#: a drawing takes at most to be sent, s.
AT_ONCE, KEPT, COUNTED, SENT = 1, 1.0, 1.0, 0.25


class Turns:
    """First come, first served; ``name`` is who draws."""

    def __init__(self, at_once: int = AT_ONCE) -> None:
        self._at_once = at_once
        self._drawing: dict[str, float] = {}
        self._kept: dict[str, float] = {}  # whose turn has come, and until when it is kept
        self._places: list[str] = []
        self._changed = threading.Condition()

    def begin(self, name: str) -> bool:
        """Take one's turn, or wait until it comes. Whether it was there at once: after a wait it is
        kept, and to be begun anew with what was asked last."""
        with self._changed:
            if self._kept.pop(name, None) is not None or (not self._places and self._free() > 0):
                self._drawing[name] = time.monotonic()
                return True
        self.wait(name)
        return False

    def wait(self, name: str) -> None:
        """Until one's next turn has come; it is kept a while."""
        with self._changed:
            while name not in self._kept:
                if name not in self._places:
                    self._places.append(name)
                if self._free() > 0:
                    first = self._places.pop(0)
                    self._kept[first] = time.monotonic() + KEPT
                    self._changed.notify_all()
                else:
                    self._changed.wait(self._until())

    def linger(self, called: Callable[[], bool]) -> None:
        """After a drawing, while others wait and until ``called``: a moment in which it is sent.
        Streamlit drops what it has not sent yet where a session's next drawing begins, and is late
        to send while many draw; what was drawn would never be seen."""
        end = time.monotonic() + SENT
        while self._places and not called() and time.monotonic() < end:
            time.sleep(SENT / 10.0)

    def crowded(self) -> bool:
        """Whether somebody waits for a turn."""
        return bool(self._places)

    def end(self, name: str) -> None:
        """The drawing is over."""
        with self._changed:
            self._drawing.pop(name, None)
            self._changed.notify_all()

    def _free(self) -> int:
        now = time.monotonic()
        self._kept = {name: until for name, until in self._kept.items() if until > now}
        busy = sum(now - begun < COUNTED for begun in self._drawing.values())
        return self._at_once - busy - len(self._kept)

    def _until(self) -> float:
        """How long nothing changes by itself, s."""
        now = time.monotonic()
        ends = [begun + COUNTED - now for begun in self._drawing.values()]
        ends += [until - now for until in self._kept.values()]
        return max(min((t for t in ends if t > 0), default=KEPT), 0.001)
