"""Makings kept on this machine, one file each, so that nothing is lost when the page is reloaded.

Knows a folder, and which making the page's address names; a file is the project file that every
other door reads and writes. Who writes does so alone, and takes over first what another tab or the
command line wrote meanwhile.
"""

from __future__ import annotations

import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import streamlit as st

from weavecolor.errors import InputError
from weavecolor.files.atomic import one_at_a_time
from weavecolor.files.store import home
from weavecolor.making.file import open_making, save_making
from weavecolor.making.model import Making

_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_NAMED, _STAMP, _LAST = "making-name", "making-stamp", "making-last"
#: Which writing of a file: when, and which file it then was.
Stamp = tuple[int, int]
#: Earlier makings that are offered.
MOST_OFFERED = 12


@dataclass(frozen=True)
class Kept:
    """A making on this machine: its name in the address, its file, when it was last written."""

    name: str
    file: Path
    written: float

    @property
    def when(self) -> str:
        return time.strftime("%d %B %Y, %H:%M", time.localtime(self.written)).lstrip("0")


def folder() -> Path:
    """Where this machine keeps makings; the variable ``WEAVECOLOR_HOME`` puts it elsewhere."""
    return home() / "makings"


def kept() -> list[Kept]:
    """Makings on this machine, last written first."""
    try:
        files = [(f, f.stat().st_mtime) for f in folder().glob("*.json")]
    except OSError:
        return []
    return [
        Kept(f.stem, f, written)
        for f, written in sorted(files, key=lambda x: -x[1])[:MOST_OFFERED]
        if _NAME.fullmatch(f.stem)
    ]


def file_of(name: str) -> Path:
    """The file of the making of that name. Raises InputError for what is no such name."""
    if not _NAME.fullmatch(name) or len(name) > 60:
        raise InputError("this address names no making")
    return folder() / f"{name}.json"


def named() -> str:
    """The name of this session's making; a new one gets it with its first change."""
    held: str = st.session_state.get(_NAMED, "")
    return held


@dataclass(frozen=True)
class Taken:
    """A making read from its file, what is to be said of an old file, and which writing of it."""

    name: str
    making: Making
    said: str
    stamp: Stamp | None

    @property
    def own(self) -> bool:
        """Whether it is the session's own, written by another meanwhile."""
        return self.name == named()


def begin(wanted: str | None) -> Taken | None:
    """The making to take up in this run: the one ``wanted``, where it is another than the
    session's (None or "" for the session's own), or where another tab wrote it meanwhile; None
    where there is nothing to take up. It is the session's once :func:`took` it."""
    asked = wanted or named()
    if not asked:
        return None
    file = file_of(asked)
    if asked == named() and _stamp(file) in (None, st.session_state.get(_STAMP)):
        return None
    if not file.exists():
        if asked != named():
            raise InputError("the making of this address is not on this machine; a new one begins")
        return None
    stamp = _stamp(file)
    return Taken(asked, *open_making(file), stamp)


def took(taken: Taken) -> None:
    """It is what this session goes on with, and writes to its file."""
    st.session_state[_NAMED], st.session_state[_STAMP] = taken.name, taken.stamp
    st.session_state[_LAST] = taken.making


def last() -> Making:
    """What this session's file held when it was last read or written here."""
    held: Making = st.session_state[_LAST]
    return held


def christen() -> str:
    """The name of this session's making; a new one gets it now."""
    if not named():
        st.session_state[_NAMED] = f"{time.strftime('%Y%m%d')}-{secrets.token_hex(3)}"
    return named()


@contextmanager
def alone() -> Iterator[None]:
    """While it lasts, nobody else who asks so writes to this session's file. Raises InputError
    where its folder cannot be made."""
    file = file_of(christen())
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=str(file)) from None
    with one_at_a_time(file):
        yield


def write(making: Making) -> None:
    """Write it down. Raises InputError where the folder cannot be written."""
    file = save_making(file_of(named()), making)
    st.session_state[_STAMP], st.session_state[_LAST] = _stamp(file), making


def leave() -> None:
    """The next change begins a new file; the present one stays as it is."""
    for key in (_NAMED, _STAMP, _LAST):
        st.session_state.pop(key, None)


def _stamp(file: Path) -> Stamp | None:
    try:
        told = file.stat()
    except OSError:
        return None
    return told.st_mtime_ns, told.st_ino
