"""What was worked out lately, kept for the next time. Knows nothing of what it keeps."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Sequence
from threading import Lock
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class Kept(Generic[Key, Value]):
    """The ``most`` values asked for last, by key; safe to share between threads. With ``weigh``,
    as many as together weigh at most ``most``, and the last one in any case.

    Unlike a cache on one function, it asks for all that is missing at once, for work that goes
    faster together.
    """

    def __init__(self, most: int, weigh: Callable[[Value], int] = lambda _: 1) -> None:
        self._most, self._weigh, self._weight = most, weigh, 0
        self._held: OrderedDict[Key, Value] = OrderedDict()
        self._lock = Lock()

    def fetch(
        self, keys: Iterable[Key], make: Callable[[list[Key]], Sequence[Value]]
    ) -> list[Value]:
        """The values of ``keys``; those not held come from one call of ``make``."""
        wanted = list(keys)
        found: dict[Key, Value] = {}
        with self._lock:
            for key in wanted:
                if key in self._held:
                    self._held.move_to_end(key)
                    found[key] = self._held[key]
        missing = list(dict.fromkeys(key for key in wanted if key not in found))
        if missing:
            new = dict(zip(missing, make(missing), strict=True))
            found |= new
            with self._lock:
                for key, value in new.items():
                    if key not in self._held:  # another thread may have been quicker
                        self._weight += self._weigh(value)
                        self._held[key] = value
                while self._weight > self._most and len(self._held) > 1:
                    self._weight -= self._weigh(self._held.popitem(last=False)[1])
        return [found[key] for key in wanted]

    def one(self, key: Key, make: Callable[[], Value]) -> Value:
        """The value of ``key``, from ``make`` where it is not held."""
        return self.fetch([key], lambda _: [make()])[0]

    def cache_clear(self) -> None:
        """Forget everything, as the caches of the standard library do."""
        with self._lock:
            self._held.clear()
            self._weight = 0
