"""Slow things worked out aside, one after the other, and kept: in memory, and on this machine.

Knows bounded stores by content key and one working thread; knows nothing of cloth. A page places
orders while it is drawn and waits for them at its end; an order that is no longer wanted before its
turn has come is dropped.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import os
import queue
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from weavecolor.errors import InputError
from weavecolor.files.atomic import write_bytes
from weavecolor.files.store import home, source

#: Bytes kept in memory, and on the disk.
MOST_MEMORY, MOST_DISK = 120_000_000, 400_000_000
#: How often a page looks whether something is done, s; how long it waits for what is soon done.
LOOK_EVERY, SOON = 0.05, 0.4

_kept: OrderedDict[str, bytes] = OrderedDict()
_lock = threading.Lock()
_queue: queue.PriorityQueue[tuple[int, int, Future[bytes], Order]] = queue.PriorityQueue()
_number = itertools.count()
#: What is served first, of all sessions' orders: the large picture, choices, the shelf.
LARGE, CHOICE, SHELF = 0, 1, 2


@dataclass(frozen=True)
class Order:
    """Something wanted: the name of its content, and how it is made."""

    name: str
    make: Callable[[], bytes]

    def there(self) -> bytes | None:
        """What was made, if it is there."""
        return kept(self.name)


def name_of(kind: str, *content: object) -> str:
    """A name for content, the same on every start of the same tool."""
    told = repr((kind, source(), content))
    return f"{kind}-{hashlib.sha256(told.encode()).hexdigest()[:24]}"


def kept(name: str) -> bytes | None:
    """From memory, else from the disk."""
    with _lock:
        if name in _kept:
            _kept.move_to_end(name)
            return _kept[name]
    with contextlib.suppress(OSError):
        file = folder() / name
        data = file.read_bytes()
        os.utime(file)
        _remember(name, data)
        return data
    return None


def folder() -> Path:
    return home() / "pictures"


def _remember(name: str, data: bytes) -> None:
    with _lock:
        _kept[name] = data
        while len(_kept) > 1 and sum(map(len, _kept.values())) > MOST_MEMORY:
            _kept.popitem(last=False)


def made(order: Order) -> bytes:
    """Worked out now, in the working thread's turn, unless it is there."""
    data = kept(order.name)
    if data is None:
        data = order.make()
        _remember(order.name, data)
        with contextlib.suppress(OSError, InputError):  # a full or closed disk costs time only
            folder().mkdir(parents=True, exist_ok=True)
            write_bytes(folder() / order.name, data)
            _tidy()
    return data


def _tidy() -> None:
    """The oldest files go once there is too much."""
    files = sorted(folder().iterdir(), key=lambda f: -f.stat().st_mtime)
    total = 0
    for file in files:
        total += file.stat().st_size
        if total > MOST_DISK:
            file.unlink(missing_ok=True)


def _serve() -> None:
    """One order after the other, for ever; a daemon, so that the page's end never waits for it."""
    while True:
        _, _, future, order = _queue.get()
        if not future.set_running_or_notify_cancel():
            continue
        try:
            future.set_result(made(order))
        except BaseException as error:  # told to whoever asks
            future.set_exception(error)


@lru_cache(maxsize=1)
def _hand() -> threading.Thread:
    thread = threading.Thread(target=_serve, name="orders", daemon=True)
    thread.start()
    return thread


def submit(order: Order, rank: int = CHOICE) -> Future[bytes]:
    """The order placed in the queue: behind those of its rank, before those of a higher one."""
    _hand()
    future: Future[bytes] = Future()
    _queue.put((rank, next(_number), future, order))
    return future


class Waiting:
    """The orders of one drawing of the page, of each rank the first placed served first."""

    def __init__(self, hurried: Callable[[], bool] = lambda: False) -> None:
        """``hurried``: whether nothing is to be waited for before the end."""
        self._hurried = hurried
        self._placed: list[tuple[int, Order, Callable[[bytes], None]]] = []

    def place(self, order: Order, show: Callable[[bytes], None], rank: int = CHOICE) -> None:
        """Want ``order``, of that ``rank``; ``show`` gets it, at once where it is there."""
        data = order.there()
        if data is None:
            self._placed.append((rank, order, show))
        else:
            show(data)

    def soon(self, order: Order, show: Callable[[bytes], None]) -> bytes | None:
        """What ``order``, of the highest rank, makes, where that takes no longer than
        :data:`SOON`: one drawing then shows it; else it is placed, and comes to ``show``."""
        future = submit(order, LARGE)
        for _ in range(round(SOON / LOOK_EVERY)):
            if self._hurried() or wait([future], LOOK_EVERY).done:
                break
        if not future.cancel() and future.done() and future.exception() is None:
            return future.result()
        self.place(order, show, LARGE)
        return None

    def finish(self, called: Callable[[], bool], left: Callable[[int], None]) -> None:
        """Until everything is shown, or ``called`` is true; ``left`` is told how many are still to
        come, and may break off by raising. What one could not do is raised once all are done."""
        futures: list[tuple[Future[bytes], Callable[[bytes], None]]] = [
            (submit(order, rank), show) for rank, order, show in self._placed
        ]
        self._placed = []
        failed: Exception | None = None
        left(len(futures))
        try:
            while futures and not called():
                wait([f for f, _ in futures], LOOK_EVERY, FIRST_COMPLETED)
                done = [(f, show) for f, show in futures if f.done()]
                if done:
                    futures = [x for x in futures if x not in done]
                    for future, show in done:
                        try:
                            show(future.result())
                        except Exception as error:
                            failed = failed or error
                    left(len(futures))
        finally:
            for future, _ in futures:
                future.cancel()
        if failed is not None:
            raise failed


def drawing() -> bool:
    """Whether pictures of hung cloth are drawn; the variable ``WEAVECOLOR_PICTURES=0``, for tests
    of everything else, leaves them out."""
    return os.environ.get("WEAVECOLOR_PICTURES", "1") != "0"
