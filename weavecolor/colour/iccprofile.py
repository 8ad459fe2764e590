"""ICC profiles to put into pictures, so that every program shows the same colour.

Knows the ICC file format (ICC.1:2022, profile version 4.3, three-component matrix profile);
knows nothing of pictures or cloth. The profiles are built here from the published primaries, so
no profile file with terms of its own is shipped.
"""

from __future__ import annotations

import struct
from functools import lru_cache

import numpy as np

from weavecolor.colour.screen import space
from weavecolor.colour.tristimulus import BRADFORD, adaptation_matrix

#: The profile connection space white, D50 as ICC.1 prints it.
PCS_WHITE = np.array([0.9642, 1.0, 0.8249])


@lru_cache(maxsize=4)
def icc_profile(name: str = "sRGB") -> bytes:
    """Profile bytes of the screen "sRGB" or "Display P3"; InputError for any other name.

    Primaries adapted from D65 to D50 by the linear Bradford transform, as ICC.1 Annex E lays
    down; the transfer curve is IEC 61966-2-1 as a parametric curve of type 3.

    Examples
    --------
    >>> icc_profile("sRGB")[36:40]
    b'acsp'
    """
    screen = space(name)
    bradford = adaptation_matrix(screen.white / 100.0, PCS_WHITE, BRADFORD)
    colorants = bradford @ screen.to_xyz
    curve = _tag(
        b"para",
        struct.pack(">HH", 3, 0) + _fixed([2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045]),
    )
    tags = [
        (b"desc", _text(name)),
        (b"cprt", _text("No copyright: free to use, copy and embed (CC0)")),
        (b"wtpt", _tag(b"XYZ ", _fixed(PCS_WHITE))),
        (b"chad", _tag(b"sf32", _fixed(bradford.ravel()))),
        (b"rXYZ", _tag(b"XYZ ", _fixed(colorants[:, 0]))),
        (b"gXYZ", _tag(b"XYZ ", _fixed(colorants[:, 1]))),
        (b"bXYZ", _tag(b"XYZ ", _fixed(colorants[:, 2]))),
        (b"rTRC", curve),
        (b"gTRC", curve),
        (b"bTRC", curve),
    ]
    return _assemble(tags)


def _fixed(values: object) -> bytes:
    """s15Fixed16Number array."""
    return b"".join(struct.pack(">i", round(float(v) * 65536)) for v in np.asarray(values))


def _tag(kind: bytes, content: bytes) -> bytes:
    return kind + bytes(4) + content


def _text(text: str) -> bytes:
    """multiLocalizedUnicodeType with one English record."""
    coded = text.encode("utf-16-be")
    return _tag(b"mluc", struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(coded), 28) + coded)


def _assemble(tags: list[tuple[bytes, bytes]]) -> bytes:
    start = 128 + 4 + 12 * len(tags)
    directory, body, places = b"", b"", dict[bytes, int]()
    for signature, content in tags:
        if content not in places:  # equal tags (the three curves) share their data
            places[content] = start + len(body)
            body += content + bytes(-len(content) % 4)
        directory += signature + struct.pack(">II", places[content], len(content))
    size = start + len(body)
    header = struct.pack(
        ">I4sI4s4s4s6H4s4sI4s4sQI12s4s16s28s",
        size, bytes(4), 0x04300000, b"mntr", b"RGB ", b"XYZ ",
        2020, 1, 1, 0, 0, 0,  # a fixed date: the same profile is the same bytes
        b"acsp", bytes(4), 0, bytes(4), bytes(4), 0, 0, _fixed(PCS_WHITE), bytes(4),
        bytes(16), bytes(28),
    )  # fmt: skip
    return header + struct.pack(">I", len(tags)) + directory + body
