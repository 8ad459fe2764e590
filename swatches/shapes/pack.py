"""Write hung shapes and bodies as ``weavecolor.picture.shapes`` reads them."""

from __future__ import annotations

import json
import zlib

import numpy as np

MAGIC = b"CLOTHHG1"


def whole(values, byte, origin, step):
    """Numbers of ``byte`` bytes for values; the nearest."""
    top = 2 ** (8 * byte) - 1
    raw = np.rint((np.asarray(values, float) - origin) / step)
    return np.clip(np.where(np.isfinite(raw), raw, top), 0, top).astype(np.int64)


def coded(raw, byte, grids):
    """Differences along rows and columns, folded, as byte planes."""
    raw = raw.reshape(len(raw), -1).T
    bits = 8 * byte
    out = np.empty_like(raw)
    for start, rows, columns in grids:
        part = raw[:, start : start + rows * columns].reshape(-1, rows, columns)
        part = np.diff(np.diff(part, axis=1, prepend=0), axis=2, prepend=0)
        part = (part + (1 << (bits - 1))) % (1 << bits) - (1 << (bits - 1))
        out[:, start : start + rows * columns] = part.reshape(len(raw), -1)
    folded = np.where(out < 0, -2 * out - 1, 2 * out).astype(np.uint64)
    planes = [((folded >> np.uint64(8 * k)) & np.uint64(255)).astype(np.uint8) for k in range(byte)]
    return np.stack(planes, axis=1).tobytes()


class Arrays:
    """Arrays gathered for one file."""

    def __init__(self, grids):
        self.grids, self.heads, self.runs = grids, [], []

    def add(self, name, values, byte, origin=0.0, step=1.0, *, none=False, grids=None):
        grids = self.grids if grids is None else grids
        values = np.asarray(values)
        raw = whole(values, byte, origin, step)
        head = {
            "name": name, "shape": list(values.shape), "bytes": byte,
            "origin": np.asarray(origin).tolist(), "step": np.asarray(step).tolist(),
            "grids": grids,
        }  # fmt: skip
        if none:
            head["none_is_last"] = True
        self.heads.append(head)
        self.runs.append(coded(raw, byte, grids))

    def file(self, header):
        text = json.dumps({**header, "arrays": self.heads}, separators=(",", ":")).encode()
        return (
            MAGIC + len(text).to_bytes(4, "little") + text + zlib.compress(b"".join(self.runs), 9)
        )


def _box(values, byte=2):
    low, high = values.min(axis=0), values.max(axis=0)
    return low, np.maximum(high - low, 1e-3) / (2 ** (8 * byte) - 2)


def shape_file(header, vertices, cloth_mm, shares, distances):
    """Bytes of a shape's file.

    ``header`` has all fields of ``Shape`` that are no arrays; ``shares`` the four of openness,
    ``distances`` the three to hem, seam and selvedge (inf where there is none).
    """
    arrays = Arrays([[g["start"], g["rows"], g["columns"]] for g in header["grids"]])
    # one step for all three axes, so that coinciding vertices stay so and shapes stay true
    low, step = _box(vertices)
    arrays.add("position", vertices, 2, low, step)
    low, step = _box(cloth_mm)
    arrays.add("cloth_mm", cloth_mm, 2, low, step)
    for name, values in shares.items():
        arrays.add(name, values, 1, 0.0, 1 / 255)
    for name, values in distances.items():
        arrays.add(name, values, 2, 0.0, 0.1, none=True)
    return arrays.file(header)


def body_file(header, vertices, triangles, openness):
    """Bytes of a body's file."""
    n, m = len(vertices), len(triangles)
    arrays = Arrays([[0, 1, n]])
    low, step = _box(vertices)
    arrays.add("position", vertices, 2, low, step)
    arrays.add("triangles", triangles, 4, grids=[[0, m, 1]])
    arrays.add("open", openness, 1, 0.0, 1 / 255)
    return arrays.file(header)
