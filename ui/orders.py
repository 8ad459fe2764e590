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
import time
from collections import OrderedDict, deque
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from weavecolor.cache import ask_before
from weavecolor.errors import InputError
from weavecolor.files.atomic import write_bytes
from weavecolor.files.store import home, source

#: Bytes kept in memory, and on the disk.
MOST_MEMORY, MOST_DISK = 30_000_000, 400_000_000
#: How often a page looks whether something is done, s; how long it waits for what is soon done.
LOOK_EVERY, SOON = 0.05, 0.4
#: How long nothing is asked for before what may be asked for next is begun with, s.
QUIET = 1.0
#: How long a new large picture has the processor to itself, to be drawn where there are no
#: graphics, s.
DRAWN = 0.3

_kept: OrderedDict[str, bytes] = OrderedDict()
_lock = threading.Lock()
#: Something to be done: its rank, a number, who waits for it, and the work.
Job = tuple[int, int, "Future[Any]", Callable[[], Any]]
_queue: queue.PriorityQueue[Job] = queue.PriorityQueue()
_unwritten: queue.SimpleQueue[tuple[str, bytes]] = queue.SimpleQueue()
_number = itertools.count()
#: The rank of what the working thread works at; when something was asked for last, s; what may be
#: asked for next.
_worker, _asked = threading.local(), [0.0]
_ahead: deque[Job] = deque()
#: What is served first, of all sessions' orders: the large picture, choices, the shelf, and what
#: may be asked for next.
LARGE, CHOICE, SHELF, AHEAD = 0, 1, 2, 3


T = TypeVar("T")


@dataclass(frozen=True)
class Order:
    """Something wanted: the name of its content, how it is made, and whether what it names of
    other things is still kept."""

    name: str
    make: Callable[[], bytes]
    whole: Callable[[bytes], bool] = lambda data: True

    def there(self) -> bytes | None:
        """What was made, if it is there."""
        data = kept(self.name)
        return data if data is not None and self.whole(data) else None


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
    data = order.there()
    if data is None:
        data = order.make()
        keep(order.name, data)
    return data


def keep(name: str, data: bytes) -> None:
    """In memory, and on the disk once nobody waits for what it belongs to."""
    if kept(name) == data:
        return
    _remember(name, data)
    _hands()
    _unwritten.put((name, data))


def _write() -> None:
    """Write down what is kept in memory alone, one after the other, for ever."""
    while True:
        name, data = _unwritten.get()
        with contextlib.suppress(OSError, InputError):  # a full or closed disk costs time only
            folder().mkdir(parents=True, exist_ok=True)
            write_bytes(folder() / name, data, synced=False)
            _tidy()


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
    _worker.rank = LARGE
    ask_before(give_way)
    while True:
        since = time.monotonic() - _asked[0]
        try:
            work = _queue.get(timeout=max(QUIET - since, 0.01) if _ahead else None)
        except queue.Empty:
            if time.monotonic() - _asked[0] < QUIET:
                continue
            try:
                work = _ahead.popleft()
            except IndexError:  # dropped meanwhile
                continue
        _do(*work)


def _do(rank: int, _: int, future: Future[Any], work: Callable[[], Any]) -> None:
    if not future.set_running_or_notify_cancel():
        return
    before, _worker.rank = _worker.rank, rank
    try:
        future.set_result(work())
    except BaseException as error:  # told to whoever asks
        future.set_exception(error)
    finally:
        _worker.rank = before


def give_way() -> None:
    """Between two steps of long work: what is asked for before it is made first. What may be asked
    for next leaves the processor, too, to whoever has asked, and to the browser that draws."""
    while (rank := getattr(_worker, "rank", LARGE)) > LARGE:
        first = _before(rank)
        if first is not None:
            _do(*first)
        elif rank == AHEAD and time.monotonic() - _asked[0] < QUIET:
            time.sleep(LOOK_EVERY)
        else:
            return


def _before(rank: int) -> Job | None:
    """What waits and comes before that ``rank``."""
    try:
        first = _queue.get_nowait()
    except queue.Empty:
        return None
    if first[0] < rank:
        return first
    _queue.put(first)
    return None


@lru_cache(maxsize=1)
def _hands() -> None:
    for work in (_serve, _write):
        threading.Thread(target=work, name="orders", daemon=True).start()


def submit(order: Order, rank: int = CHOICE) -> Future[bytes]:
    """The order placed in the queue: behind those of its rank, before those of a higher one."""
    return _placed(lambda: made(order), rank)


def _placed(work: Callable[[], T], rank: int) -> Future[T]:
    _hands()
    asked()
    future: Future[T] = Future()
    _queue.put((rank, next(_number), future, work))
    return future


def drop(jobs: Iterable[Job]) -> None:
    """Jobs that are no longer wanted; the one that has begun goes on."""
    for job in jobs:
        job[2].cancel()
        with contextlib.suppress(ValueError):  # it has begun
            _ahead.remove(job)


def asked() -> None:
    """Somebody asked for something: what may be asked for next waits a while longer."""
    _asked[0] = time.monotonic()


class Waiting:
    """The orders of one drawing of the page, of each rank the first placed served first."""

    def __init__(self, hurried: Callable[[], bool] = lambda: False) -> None:
        """``hurried``: whether nothing is to be waited for before the end."""
        self._hurried = hurried
        self._placed: list[tuple[int, Order, Callable[[bytes], None]]] = []
        self._next: list[Callable[[], object]] = []
        self._until = 0.0

    def sent(self) -> None:
        """A new large picture is on its way: the rest begins once the browser has had time to draw
        it."""
        self._until = time.monotonic() + DRAWN

    def place(self, order: Order, show: Callable[[bytes], None], rank: int = CHOICE) -> None:
        """Want ``order``, of that ``rank``; ``show`` gets it, at once where it is there."""
        data = order.there()
        if data is None:
            self._placed.append((rank, order, show))
        else:
            show(data)

    def ahead(self, order: Order | Callable[[], object]) -> None:
        """What may be asked for next, to be made or worked out once all else is there."""
        if not isinstance(order, Order):
            self._next.append(order)
        elif order.there() is None:
            self._next.append(lambda: made(order))

    def look_ahead(self) -> list[Job]:
        """Begin soon with what may be asked for next; whoever draws again drops the rest of it."""
        jobs: list[Job] = [(AHEAD, 0, Future(), work) for work in self._next]
        self._next = []
        _ahead.extend(jobs)
        _placed(lambda: None, AHEAD)  # wakes whoever waits for orders
        return jobs

    def soon(
        self, order: Order, show: Callable[[bytes], None], seconds: float = SOON
    ) -> bytes | None:
        """What ``order``, of the highest rank, makes, where that takes no longer than ``seconds``:
        one drawing then shows it; else it is placed, and comes to ``show``."""
        future = submit(order, LARGE)
        for _ in range(round(seconds / LOOK_EVERY)):
            if self._hurried() or wait([future], LOOK_EVERY).done:
                break
        if not future.cancel() and future.done() and future.exception() is None:
            return future.result()
        self.place(order, show, LARGE)
        return None

    def finish(self, called: Callable[[], bool], left: Callable[[int], None]) -> None:
        """Until everything is shown, or ``called`` is true; ``left`` is told how many are still to
        come, and may break off by raising. What one could not do is raised once all are done."""
        left(len(self._placed))
        while time.monotonic() < self._until and not called():
            time.sleep(LOOK_EVERY)
        futures: list[tuple[Future[bytes], Callable[[bytes], None]]] = [
            (submit(order, rank), show) for rank, order, show in self._placed
        ]
        self._placed = []
        failed: Exception | None = None
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
