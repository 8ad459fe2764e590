"""Reading a text file that somebody hands in: size, kind and encoding checked first.

Knows the file system and encodings; knows nothing of what the text says.
"""

from __future__ import annotations

from pathlib import Path

from weavecolor.errors import InputError


def read_text(path: str | Path, max_bytes: int, kind: str) -> str:
    """The text of the file at ``path``: UTF-8, or UTF-16 with its mark; line ends as ``\\n``.

    ``kind`` is what it should be ("cloth file"), for messages. Raises InputError naming the file
    when it is missing, no plain file, unreadable, above ``max_bytes`` or not text.
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
