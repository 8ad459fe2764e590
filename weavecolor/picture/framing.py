"""The frame of a parcel of arrays: quick to load, for whoever only hands parcels on.

A parcel is eight bytes ``HUNGVIEW``, the length of a header (4 bytes, little end first), the
header in JSON and, from the next multiple of 8, the arrays that its ``arrays`` lists: name, kind
of number, shape, and where it begins. Knows nothing of cloth.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

MAGIC = b"HUNGVIEW"
_KINDS = {"<f4": "f4", "<f2": "f2", "|u1": "u1", "<i2": "i2", "<i4": "i4"}


def parcel(header: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """A parcel of arrays with a header, which may hold anything that JSON can.

    Examples
    --------
    >>> parcel({"id": "a"}, {"x": np.zeros(2, np.float32)})[:8]
    b'HUNGVIEW'
    """
    listed, parts, at = [], [], 0
    for name, array in arrays.items():
        data = np.ascontiguousarray(array).tobytes()
        listed.append({"name": name, "type": _KINDS[array.dtype.str], "shape": array.shape,
                       "at": at})  # fmt: skip
        parts.append(data + bytes(-len(data) % 8))
        at += len(parts[-1])
    return _framed({**header, "arrays": listed}) + b"".join(parts)


def header_of(made: bytes) -> dict[str, Any]:
    """What the header of a parcel says.

    Examples
    --------
    >>> header_of(parcel({"id": "a"}, {}))["id"]
    'a'
    """
    told: dict[str, Any] = json.loads(made[12 : 12 + int.from_bytes(made[8:12], "little")])
    return told


def headed(made: bytes, extra: Mapping[str, Any]) -> bytes:
    """A parcel with more in its header.

    Examples
    --------
    >>> b"words" in headed(parcel({"id": "a"}, {}), {"words": "b"})
    True
    """
    length = int.from_bytes(made[8:12], "little")
    arrays = made[12 + length + (-(12 + length) % 8) :]
    return _framed({**header_of(made), **extra}) + arrays


def _framed(header: Mapping[str, Any]) -> bytes:
    head = json.dumps(header).encode()
    front = MAGIC + len(head).to_bytes(4, "little") + head
    return front + bytes(-len(front) % 8)
