"""Slow pictures drawn aside, one after the other, and kept.

Knows a bounded store by content key and one drawing thread; knows nothing of cloth. A picture
that is no longer wanted before its turn has come is not drawn.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from typing import Any

#: Pictures kept, each some ten to thirty kB.
MOST = 150
#: How often the page looks whether a picture is done, or its wearer has moved on, s.
LOOK_EVERY = 0.05
#: An order is not begun before it has stood so long, s: who turns the grain by a slider makes
#: many orders, and only the last is wanted.
PATIENCE = 0.2

_kept: OrderedDict[Hashable, Any] = OrderedDict()
_lock = threading.Lock()
_hand = ThreadPoolExecutor(max_workers=1, thread_name_prefix="drawing")


def kept(key: Hashable) -> Any | None:
    """The picture of that key, if it has been drawn lately."""
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
        return _kept.get(key)


def drawn(key: Hashable, draw: Callable[[], Any]) -> Iterator[Any | None]:
    """None again and again while ``draw`` works aside, at last the picture.

    Whoever stops asking withdraws the order, if it has not been begun.
    """
    there = kept(key)
    if there is not None:
        yield there
        return
    placed = time.monotonic()
    while time.monotonic() < placed + PATIENCE:
        yield None
        time.sleep(LOOK_EVERY)
    future: Future[Any] = _hand.submit(_once, key, draw)
    try:
        while True:
            try:
                yield future.result(timeout=LOOK_EVERY)
                return
            except NotYet:
                yield None
    finally:
        future.cancel()


def _once(key: Hashable, draw: Callable[[], Any]) -> Any:
    there = kept(key)
    if there is None:
        there = draw()
        with _lock:
            _kept[key] = there
            while len(_kept) > MOST:
                _kept.popitem(last=False)
    return there
