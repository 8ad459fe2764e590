"""Running tasks in order on any executor of the ``concurrent.futures`` kind, or on none.

Knows submitting, stopping and progress; knows nothing of what the tasks do. ``dask.distributed``
offers the same interface by ``Client.get_executor()``.
"""

from __future__ import annotations

import pickle
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar, cast
from uuid import uuid4

from weavecolor.cache import Kept

T = TypeVar("T")
#: Tasks under way at once on an executor: enough to keep a dozen workers busy, bounded in memory.
WINDOW = 24


class Executor(Protocol):
    """What is needed of an executor."""

    def submit(self, fn: Callable[..., Any], /, *args: Any) -> Any:
        """Start a call; the answer has ``result()`` and ``cancel()``."""


@dataclass(frozen=True, eq=False)
class Sent:
    """A value on its way to other processes, each of which unpacks it once."""

    token: str
    data: bytes


_unpacked: Kept[str, Any] = Kept(1)


def shared(executor: Executor | None, value: T) -> T | Sent:
    """A value that many tasks need, to be given to them in its place and read by ``received``."""
    if executor is None:
        return value
    share = getattr(executor, "share", None)
    if share is not None:
        return cast(T, share(value))
    return Sent(uuid4().hex, pickle.dumps(value))


def received(value: T | Sent) -> T:
    """The value that was :func:`shared`."""
    if not isinstance(value, Sent):
        return value
    data = value.data
    return cast(T, _unpacked.one(value.token, lambda: pickle.loads(data)))


class Cluster:
    """A cluster of ``dask.distributed`` as an executor: its client, with values shared.

    A task whose worker is lost is done again by another, and what was shared is sent again: it is
    the result of a task, for values laid on workers (scattered) are lost with them.
    """

    def __init__(self, client: Any) -> None:
        self.client = client

    def submit(self, fn: Callable[..., Any], /, *args: Any) -> Any:
        """Start a call on some worker."""
        return self.client.submit(fn, *args, pure=False)

    def share(self, value: Any) -> Any:
        """Send a value once; tasks are given it in place of what this returns."""
        return self.client.submit(_itself, value, pure=False)


def _itself(value: T) -> T:
    return value


class Ticker:
    """Counts work done and tells (done, total); asks whether to stop. Raises nothing itself."""

    def __init__(
        self,
        total: int,
        progress: Callable[[int, int], None] | None,
        stop: Callable[[], bool] | None,
    ) -> None:
        self.done, self.total = 0, total
        self._progress, self._stop = progress, stop
        self.stopped = False

    def tick(self, steps: int = 1) -> None:
        """Some work is done."""
        self.done = min(self.done + steps, self.total)
        if self._progress is not None:
            self._progress(self.done, self.total)

    def finish(self) -> None:
        """All is done, whatever was not needed."""
        self.tick(self.total - self.done)

    def stop(self) -> bool:
        """Whether the user has had enough; stays true once true."""
        self.stopped = self.stopped or bool(self._stop is not None and self._stop())
        return self.stopped


def in_order(
    executor: Executor | None,
    call: Callable[..., T],
    arguments: Iterable[tuple[Any, ...]],
    ticker: Ticker,
) -> Iterator[T]:
    """Results in the order of the arguments; ends early, cancelling the rest, on a stop.

    Parameters
    ----------
    executor : Executor or None
        None: here, one after the other.
    call : callable
    arguments : iterable of tuple
        One tuple of arguments a call.
    ticker : Ticker
        One tick a result.
    """
    if executor is None:
        for each in arguments:
            if ticker.stop():
                return
            yield call(*each)
            ticker.tick()
        return
    pending: deque[Any] = deque()
    waiting = iter(arguments)
    try:
        while True:
            while len(pending) < WINDOW and not ticker.stop():
                each = next(waiting, ())
                if not each:
                    break
                pending.append(executor.submit(call, *each))
            if not pending or ticker.stop():
                return
            yield pending.popleft().result()
            ticker.tick()
    finally:
        for future in pending:
            future.cancel()
