"""Long work beside the page: begun once, told how far it is, stopped when asked.

Knows one thread per job and nothing of what the work is.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

#: Jobs that may work at the same time, all sessions together; more are asked to wait.
AT_ONCE = threading.Semaphore(2)


class Job:
    """``work(progress, stop)`` in a thread; ``progress(done, total)``, ``stop()`` true to end."""

    def __init__(self, work: Callable[[Callable[[int, int], None], Callable[[], bool]], Any]):
        self.share = 0.0
        self.result: Any = None
        self.error: BaseException | None = None
        self._stopped = threading.Event()
        self._done = threading.Event()
        self._work = work
        threading.Thread(target=self._run, name="job", daemon=True).start()

    def _run(self) -> None:
        try:
            with AT_ONCE:
                self.result = self._work(self._told, self._stopped.is_set)
        except BaseException as error:  # told to whoever asks
            self.error = error
        finally:
            self._done.set()

    def _told(self, done: int, total: int) -> None:
        self.share = min(done / max(total, 1), 1.0)

    def stop(self) -> None:
        self._stopped.set()

    def wait(self, seconds: float) -> bool:
        """Whether it is done within that time."""
        return self._done.wait(seconds)
