"""Stages and their light as bytes, for the drawing in the browser.

Knows what the browser's drawing needs; knows nothing of the page. How a parcel is framed is
``framing``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.screen import space
from weavecolor.picture.celltexture import LIGHT_DEG
from weavecolor.picture.encode import AS_SEEN, Seeing
from weavecolor.picture.framing import parcel
from weavecolor.picture.hanging import (
    AHEAD_MM,
    FLOOR_MM,
    Lit,
    Stage,
    extent,
)
from weavecolor.picture.raster import LEAST
from weavecolor.picture.tables import SOFT_DEG
from weavecolor.picture.threads import BEGIN, LOOSE, WHOLE

#: Kinds of laid cloth that the browser's drawing can hold at once: with their turns, as deep as
#: graphics hold tables (2048).
MOST_KINDS = 12


def _small(unit: NDArray[Any]) -> NDArray[np.int16]:
    return np.asarray(np.rint(np.clip(unit, -1.0, 1.0) * 32767.0), dtype=np.int16)


def _share(values: NDArray[Any]) -> NDArray[np.uint8]:
    return np.asarray(np.rint(np.clip(values, 0.0, 1.0) * 255.0), dtype=np.uint8)


def stage_parcel(staged: Stage) -> tuple[str, bytes]:
    """A stage's name (its content's digest) and its bytes; sent once."""
    reach, lowest, highest = extent(staged)
    arrays: dict[str, NDArray[Any]] = {
        "points": staged.points, "normals": _small(staged.normals), "warps": _small(staged.warps),
        "opens": _share(staged.opens), "places": staged.places, "folds": staged.folds,
        "quads": staged.quads, "kind": staged.kind, "body": staged.body,
        "body_normals": _small(staged.body_normals), "triangles": staged.triangles,
        "body_part": staged.body_part, "body_open": _share(staged.body_open),
        "floor": staged.floor, "tiles": staged.tiles, "floor_open": _share(staged.floor_open),
    }  # fmt: skip
    digest = hashlib.sha256()
    for array in arrays.values():
        digest.update(np.ascontiguousarray(array).tobytes())
    name = digest.hexdigest()[:16]
    header = {"parcel": "stage", "id": name, "floor_mm": FLOOR_MM, "lift_mm": staged.lifts,
              "view": {"reach": reach, "lowest": lowest, "highest": highest}}  # fmt: skip
    return name, parcel(header, arrays)


def light_parcel(
    made: Lit, stage: str, seeing: Seeing = AS_SEEN, extra: Mapping[str, Any] | None = None,
    still: bytes = b"",
) -> bytes:  # fmt: skip
    """The tables, lamps and levels of ``made`` that the stage of the name ``stage`` is drawn with.

    ``seeing`` as it was lit with; ``extra`` goes into the header as it is; ``still``: a PNG for
    machines without graphics. Raises ValueError for more kinds of laid cloth than a shader holds.
    """
    key, room, glow, spans = made.stacked
    kinds = len(made.tables)
    if kinds > MOST_KINDS:
        raise ValueError(f"{kinds} kinds of laid cloth, {MOST_KINDS} at most")

    def filled(values: NDArray[Any]) -> NDArray[np.float32]:
        out = np.zeros((MOST_KINDS, *values.shape[1:]), np.float32)
        out[:kinds] = values
        return out

    arrays: dict[str, NDArray[Any]] = {
        "key": key.astype(np.float16), "room": room.astype(np.float16),
        "glow": glow.astype(np.float16),
        "dim": np.stack([t.dim for t in made.tables]).astype(np.float32),
        "spans": filled(spans), "light": filled(made.light[:, :3]),
        "uneven": filled(made.uneven[:, :4]), "lengths": filled(made.uneven[:, 4]),
        "threads": made.threads.astype(np.float32), "still": np.frombuffer(still, np.uint8),
    }  # fmt: skip
    header = {
        "parcel": "light", "stage": stage, "space": seeing.space, "exposure": made.exposure,
        "lamps": [
            {"direction": x.direction.tolist(), "white": x.white.tolist(), "body": x.body.tolist()}
            for x in made.lamps
        ],
        "body_room": made.body_room.ravel().tolist(),
        "floor_room": made.floor_room.ravel().tolist(),
        "ground": made.ground.tolist(), "soft_deg": SOFT_DEG, "least": LEAST, "ahead_mm": AHEAD_MM,
        "nearness": [LIGHT_DEG, BEGIN, WHOLE, LOOSE],
        "luminance": space(seeing.space).to_xyz[1].tolist(), **(extra or {}),
    }  # fmt: skip
    digest = hashlib.sha256(json.dumps(header).encode())
    for array in arrays.values():
        digest.update(array.tobytes())
    return parcel({**header, "id": digest.hexdigest()[:16]}, arrays)
