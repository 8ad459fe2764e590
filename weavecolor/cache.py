"""What was worked out lately, kept for the next time: in memory, and where the edge of the tool
(the command line, the page) has named a store, beyond this run. Knows nothing of what it keeps."""

from __future__ import annotations

import io
import zipfile
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import count
from threading import RLock
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Arrays = Mapping[str, NDArray[Any]]
Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class Store(Protocol):
    """Bytes by name, kept beyond this run; may forget any of them at any time."""

    def read(self, name: str) -> bytes | None: ...

    def write(self, name: str, data: bytes) -> None: ...


_store: Store | None = None


def keep_on(store: Store | None) -> None:
    """Name where what is worked out is kept beyond this run; None: nowhere, as at first.

    Examples
    --------
    >>> keep_on(None)
    """
    global _store
    _store = store


#: Asked before anything is worked out, and between steps of it.
_before: Callable[[], None] | None = None


def ask_before(ask: Callable[[], None] | None) -> None:
    """Name what is asked, in the thread that works, before each thing that is not kept is worked
    out, and within what takes long (:func:`breathe`): long work can so let what is more urgent go
    first; None: nothing, as at first.

    Examples
    --------
    >>> ask_before(None)
    """
    global _before
    _before = ask


def breathe() -> None:
    """Between two steps of long work: whoever is named by :func:`ask_before` is asked.

    Examples
    --------
    >>> breathe()
    """
    if _before is not None:
        _before()


@dataclass(frozen=True)
class Packed(Generic[Key, Value]):
    """How values are kept beyond this run: the ``kind`` of thing; ``told``, all that a value
    depends on, by its ``repr``; and the way to named arrays and back."""

    kind: str
    told: Callable[[Key], object]
    pack: Callable[[Value], dict[str, Any]]
    unpack: Callable[[Key, Arrays], Value]

    def read(self, key: Key, store: Store) -> Value | None:
        """The value of ``key``, None where it is not there or cannot be read."""
        import numpy as np  # loaded already by whoever has arrays

        data = store.read(self._name(key))
        if data is None:
            return None
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
                return self.unpack(key, arrays)
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return None  # cut short, or not ours: worked out anew

    def write(self, key: Key, value: Value, store: Store) -> None:
        """Keep ``value``, which belongs to ``key``, in ``store``."""
        import numpy as np

        out = io.BytesIO()
        np.savez(out, **self.pack(value))
        store.write(self._name(key), out.getvalue())

    def _name(self, key: Key) -> str:
        return f"{self.kind}-{sha256(repr(self.told(key)).encode()).hexdigest()[:32]}"


#: Bytes that all stores of this run hold together, but for the last value of each, unless told
#: otherwise.
MOST_BYTES = 450_000_000
#: Values of fewer bytes are not counted.
_LEAST = 100_000
#: One for all: what one store takes in may push out what another holds.
_lock = RLock()
#: Large values by ticket, those asked for last at the end: their store, key and bytes.
_large: OrderedDict[int, tuple[Kept[Any, Any], Any, int]] = OrderedDict()
_tickets = count(1)


def bytes_of(value: object, deep: int = 6) -> int:
    """About how many bytes the arrays of ``value`` take, ``deep`` levels of parts down.

    Examples
    --------
    >>> import numpy as np
    >>> bytes_of((np.zeros(10), {"a": np.zeros(5)}))
    120
    """
    if (own := getattr(value, "nbytes", None)) is not None:
        return int(own)
    if isinstance(value, (str, bytes)) or deep == 0:
        return 0
    parts = value if isinstance(value, (tuple, list)) else (
        value.values() if isinstance(value, Mapping) else vars(value).values()
        if hasattr(value, "__dict__") else ()
    )  # fmt: skip
    return sum(bytes_of(part, deep - 1) for part in parts)


def hold_at_most(most: int) -> None:
    """Let all stores together hold ``most`` bytes from now on, but for the last value of each.

    Examples
    --------
    >>> hold_at_most(MOST_BYTES)
    """
    global MOST_BYTES
    MOST_BYTES = most


def make_room(most: int) -> None:
    """Forget what was asked for longest ago, until all stores together hold ``most`` bytes.

    Examples
    --------
    >>> make_room(MOST_BYTES)
    """
    with _lock:
        total = sum(size for _, _, size in _large.values())
        for kept, key, size in list(_large.values()):
            if total <= most:
                return
            if kept.forget(key):
                total -= size


def let_go(what_for: str = "") -> None:
    """Forget all large values, or those that are needed for one thing alone: for a run that has
    looked at cloth, or drawn it, for the last time.

    Examples
    --------
    >>> let_go("hung pictures")
    """
    with _lock:
        for kept in {kept for kept, _, _ in _large.values()}:
            if what_for in ("", kept.what_for):
                kept.cache_clear()


class Kept(Generic[Key, Value]):
    """The ``most`` values asked for last, by key; safe to share between threads. With ``weigh``,
    as many as together weigh at most ``most``, and the last one in any case. What is ``packed`` is
    looked for in the store, too, and kept there. All of them together hold :data:`MOST_BYTES`.
    ``what_for``: the one thing that they are needed for, if any.

    Unlike a cache on one function, it asks for all that is missing at once, for work that goes
    faster together.
    """

    def __init__(
        self,
        most: int,
        weigh: Callable[[Value], int] = lambda _: 1,
        packed: Packed[Key, Value] | None = None,
        what_for: str = "",
    ) -> None:
        self.what_for = what_for
        self._most, self._weigh, self._weight = most, weigh, 0
        self._packed = packed
        self._held: OrderedDict[Key, tuple[Value, int]] = OrderedDict()  # with its ticket, or 0

    def fetch(
        self, keys: Iterable[Key], make: Callable[[list[Key]], Sequence[Value]]
    ) -> list[Value]:
        """The values of ``keys``; those not held come from one call of ``make``."""
        wanted = list(keys)
        found: dict[int, Value] = {}  # by number: keys may be long to hash
        with _lock:
            for n, key in enumerate(wanted):
                if (held := self._held.get(key)) is not None:
                    self._held.move_to_end(key)
                    found[n], ticket = held
                    if ticket:
                        _large.move_to_end(ticket)
        if len(found) == len(wanted):
            return list(found.values())
        missing = list(dict.fromkeys(key for n, key in enumerate(wanted) if n not in found))
        new = self._stored(missing, make)
        with _lock:
            for key, value in new.items():
                if key not in self._held:  # another thread may have been quicker
                    self._hold(key, value)
            while self._weight > self._most and self.forget(next(iter(self._held))):
                pass
            make_room(MOST_BYTES)
        return [found[n] if n in found else new[key] for n, key in enumerate(wanted)]

    def _hold(self, key: Key, value: Value) -> None:
        size = bytes_of(value)
        ticket = next(_tickets) if size >= _LEAST else 0
        if ticket:
            _large[ticket] = self, key, size
        self._weight += self._weigh(value)
        self._held[key] = value, ticket

    def forget(self, key: Key) -> bool:
        """Forget ``key``, unless it is the last one; whether it was."""
        if len(self._held) < 2:
            return False
        self._drop(key)
        return True

    def drop(self, which: Callable[[Key], bool]) -> None:
        """Forget all keys that ``which`` names: what was made of them is all that is asked for."""
        with _lock:
            for key in [key for key in self._held if which(key)]:
                self._drop(key)

    def _drop(self, key: Key) -> None:
        value, ticket = self._held.pop(key)
        _large.pop(ticket, None)
        self._weight -= self._weigh(value)

    def _stored(
        self, missing: list[Key], make: Callable[[list[Key]], Sequence[Value]]
    ) -> dict[Key, Value]:
        """From the store, else made and stored."""
        breathe()
        packed, store = self._packed, _store
        if packed is None or store is None:
            return dict(zip(missing, make(missing), strict=True))
        there = {key: packed.read(key, store) for key in missing}
        new = {key: value for key, value in there.items() if value is not None}
        left = [key for key in missing if key not in new]
        if left:
            for key, value in zip(left, make(left), strict=True):
                packed.write(key, value, store)
                new[key] = value
        return new

    def one(self, key: Key, make: Callable[[], Value]) -> Value:
        """The value of ``key``, from ``make`` where it is not held."""
        return self.fetch([key], lambda _: [make()])[0]

    def cache_clear(self) -> None:
        """Forget everything, as the caches of the standard library do."""
        with _lock:
            for _, ticket in self._held.values():
                _large.pop(ticket, None)
            self._held.clear()
            self._weight = 0
