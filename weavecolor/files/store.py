"""The tool's own folder on this machine, and what was worked out kept there for the next run.

Knows files; knows nothing of what is kept. What another state of the tool's own code and data made
is not taken.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from weavecolor.errors import InputError
from weavecolor.files.atomic import write_bytes

#: Bytes kept, the oldest going first; looked after once in so many new files; least bytes of one.
MOST, EACH, BLOCK = 300_000_000, 64, 4096


def home() -> Path:
    """The tool's own folder on this machine; the variable ``WEAVECOLOR_HOME`` puts it elsewhere.

    Examples
    --------
    >>> home().is_absolute()
    True
    """
    given = os.environ.get("WEAVECOLOR_HOME")
    if given:
        return Path(given)
    import click

    return Path(click.get_app_dir("weavecolor"))


@lru_cache(maxsize=1)
def source() -> str:
    """A name for the tool's own code and data.

    Examples
    --------
    >>> len(source())
    16
    """
    root = Path(__file__).resolve().parents[1]
    listed = sorted(
        (str(f.relative_to(root)), f.stat().st_size, f.stat().st_mtime_ns)
        for f in root.rglob("*")
        if f.is_file() and f.suffix not in (".pyc", ".nbi", ".nbc")
    )
    return hashlib.sha256(repr(listed).encode()).hexdigest()[:16]


@dataclass
class FolderStore:
    """Bytes by name in files of one folder; where it cannot be read or written, nothing is kept."""

    folder: Path
    _written: int = field(default=0, init=False)

    def read(self, name: str) -> bytes | None:
        with contextlib.suppress(OSError):
            file = self._file(name)
            data = file.read_bytes()
            os.utime(file)  # asked for lately
            return data
        return None

    def write(self, name: str, data: bytes) -> None:
        with contextlib.suppress(OSError, InputError):  # a full or closed disk costs time only
            self.folder.mkdir(parents=True, exist_ok=True)
            write_bytes(self._file(name), data, synced=False)
            if self._written % EACH == 0:
                self._tidy()
            self._written += 1

    def _file(self, name: str) -> Path:
        return self.folder / f"{name}-{source()}"

    def _tidy(self) -> None:
        total = 0
        for file in sorted(self.folder.iterdir(), key=lambda f: -f.stat().st_mtime):
            total += max(file.stat().st_size, BLOCK)  # what it takes up of the disk
            if total > MOST:
                file.unlink(missing_ok=True)


def on_this_machine() -> FolderStore | None:
    """The store of every door of the tool; the variable ``WEAVECOLOR_STORE=0`` leaves it out.

    Examples
    --------
    >>> kept = on_this_machine()
    >>> kept is None or kept.folder.name == "worked-out"
    True
    """
    if os.environ.get("WEAVECOLOR_STORE", "1") == "0":
        return None
    return FolderStore(home() / "worked-out")
