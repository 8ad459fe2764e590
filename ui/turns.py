"""Drawings of the page take turns, so that many people at once all get on.

Python draws one page at a time anyway. If all drew at once, each would take as long as all
together, and a slider that goes on moving would break every drawing off before it came to its
answer. Knows places in a queue; whoever is broken off while waiting keeps the place.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: Drawings at the same time; how long an unclaimed place is kept, s; how long one that works
#: something out, and so lets others on to the processor, is counted, s.
AT_ONCE, KEPT, COUNTED = 1, 0.5, 1.0
#: How often a waiting one looks whether it is still wanted, s.
LOOK_EVERY = 0.03


class Turns:
    """First come, first served; ``name`` is who waits."""

    def __init__(self, at_once: int = AT_ONCE) -> None:
        self._at_once = at_once
        self._drawing: dict[object, float] = {}
        self._places: dict[str, float] = {}  # in the order in which they came
        self._changed = threading.Condition()

    @contextmanager
    def turn(self, name: str, look: Callable[[], object]) -> Iterator[None]:
        """One's own turn; ``look`` is called again and again while waiting, and may break off by
        raising."""
        mine = object()
        while not self._taken(name, mine):
            look()
        try:
            yield
        finally:
            with self._changed:
                del self._drawing[mine]
                self._changed.notify_all()

    def _taken(self, name: str, mine: object) -> bool:
        with self._changed:
            now = time.monotonic()
            self._places[name] = now
            for other, seen in list(self._places.items()):
                if now - seen > KEPT:
                    del self._places[other]
            busy = sum(now - begun < COUNTED for begun in self._drawing.values())
            if name in list(self._places)[: max(self._at_once - busy, 0)]:
                del self._places[name]
                self._drawing[mine] = now
                return True
            self._changed.wait(LOOK_EVERY)
            return False
