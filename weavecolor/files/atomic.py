"""Files are written whole or not at all: to a temporary file beside the target, then renamed.

Knows the file system only.
"""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from weavecolor.errors import InputError

# Asked for once: to ask is to change it for a moment, for every thread.
_MASK = os.umask(0)
os.umask(_MASK)
_USUAL_MODE = 0o666 & ~_MASK


def write_bytes(path: str | os.PathLike[str], data: bytes, *, synced: bool = True) -> Path:
    """Write ``data`` to ``path``, replacing what is there only when all of it is on disk; or, not
    ``synced``, when the system has taken all of it: sooner, for what can be made again.

    A file reached through a link is written where the link leads, and the link stays; what is no
    file, such as a pipe, holds nothing to lose and is written to. Raises InputError naming the file
    when its folder is missing or cannot be written, or the disk is full.

    Examples
    --------
    >>> import tempfile
    >>> write_bytes(Path(tempfile.mkdtemp()) / "sheet.png", b"all of it").read_bytes()
    b'all of it'
    """
    target = Path(path)
    temporary: str | None = None
    try:
        if target.is_dir():
            raise InputError("is a folder; give a file name", file=str(target))
        if target.exists() and not target.is_file():
            target.write_bytes(data)
            return target
        real = target.resolve() if target.is_symlink() else target
        handle, temporary = tempfile.mkstemp(prefix=".part-", dir=real.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            if synced:
                os.fsync(stream.fileno())
        # mkstemp makes it private; a saved file is as the earlier one, or as usual
        os.chmod(temporary, real.stat().st_mode & 0o777 if real.exists() else _USUAL_MODE)
        os.replace(temporary, real)
        temporary = None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise InputError(
                f"cannot be written: the disk is full ({error.strerror}); make room, or choose "
                "another folder",
                file=str(target),
            ) from error
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot be written ({reason}); choose a folder that exists and is yours to write",
            file=str(target),
        ) from error
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
    return target


@contextmanager
def one_at_a_time(path: str | os.PathLike[str]) -> Iterator[None]:
    """While it lasts, whoever else asks so for a file of the same folder waits: what is read,
    changed and written within is not written over. Where the system has no such locks, nobody
    waits.

    Examples
    --------
    >>> import tempfile
    >>> with one_at_a_time(Path(tempfile.mkdtemp()) / "cape.json"):
    ...     pass
    """
    try:
        import fcntl
    except ImportError:  # Windows
        yield
        return
    try:
        folder = os.open(Path(path).resolve().parent, os.O_RDONLY)
    except (OSError, ValueError):  # reading or writing the file will say what is wrong
        yield
        return
    try:
        with suppress(OSError):  # a folder of another machine may know no locks
            fcntl.flock(folder, fcntl.LOCK_EX)
        yield
    finally:
        os.close(folder)


def write_text(path: str | os.PathLike[str], text: str) -> Path:
    """Write ``text`` as UTF-8, see :func:`write_bytes`.

    Examples
    --------
    >>> import tempfile
    >>> write_text(Path(tempfile.mkdtemp()) / "cloth.toml", "all of it").read_text()
    'all of it'
    """
    try:
        data = text.encode("utf-8")
    except UnicodeEncodeError:
        raise InputError("holds text that cannot be written as UTF-8", file=str(path)) from None
    return write_bytes(path, data)
