"""Reading a text file that somebody hands in: size, kind and encoding checked first; and TOML.

Knows the file system, encodings and what wears a parser out; knows nothing of what the text says.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from weavecolor.errors import InputError

#: Most parts of a dotted key: a parser's time and memory grow with their square.
MAX_KEY_PARTS = 16
_LONG_KEY = re.compile(
    r"""(?:^|[\[{,])[ \t]*+(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+)"""
    rf"{{{MAX_KEY_PARTS}}}",
    re.MULTILINE,
)


def read_text(path: str | Path, max_bytes: int, kind: str) -> str:
    """The text of the file at ``path``: UTF-8, or UTF-16 with its mark; line ends as ``\\n``.

    ``kind`` is what it should be ("cloth file"), for messages. Raises InputError naming the file
    when it is missing, no plain file, unreadable, above ``max_bytes`` or not text.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "note.txt"
    >>> _ = file.write_text("ends and picks")
    >>> read_text(file, 1000, "note")
    'ends and picks'
    """
    source, file = Path(path), str(path)
    try:
        if not source.exists():
            raise InputError("no such file; check the name and the folder", file=file)
        if not source.is_file():
            raise InputError(f"is not a file; give a {kind}", file=file)
        with source.open("rb") as stream:
            data = stream.read(max_bytes + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = getattr(error, "strerror", None) or "not a usable name"
        raise InputError(f"cannot be read ({reason})", file=file) from None
    if len(data) > max_bytes:
        raise InputError(f"is above {max_bytes // 1_000_000} MB, too big for a {kind}", file=file)
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise InputError(
            f"is not text in UTF-8 (byte {error.start}); save it again as UTF-8", file=file
        ) from None
    if "\0" in text:
        raise InputError(f"is not text; give a {kind}", file=file)
    return text.replace("\r\n", "\n")


def toml_table(text: str, kind: str, *, file: str) -> dict[str, Any]:
    """The table that TOML ``text`` holds, not yet looked at; ``kind`` and ``file`` are for
    messages.

    Raises InputError for what is not TOML, or is nested to wear a parser out.

    Examples
    --------
    >>> toml_table('ends = "40 /cm"', "cloth file", file="cloth")
    {'ends': '40 /cm'}
    """
    if _LONG_KEY.search(text):
        raise InputError(f"has a key of too many parts for a {kind}", file=file)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputError(f"is nested too deeply for a {kind}", file=file) from None
    except ValueError as error:
        raise InputError(f"is not valid TOML: {str(error)[:200]}", file=file) from None
