"""Stages and their light as bytes, for the drawing in the browser.

Knows what the browser's drawing needs; knows nothing of the page. How a parcel is framed is
``framing``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.screen import space
from weavecolor.picture.celltexture import LIGHT_DEG
from weavecolor.picture.encode import AS_SEEN, SHOULDER, Seeing
from weavecolor.picture.framing import parcel
from weavecolor.picture.hanging import (
    AHEAD_MM,
    AWAY_MM,
    FLOOR_MM,
    Lit,
    Stage,
    extent,
    over_middle,
)
from weavecolor.picture.raster import LEAST, SCATTERED
from weavecolor.picture.tables import SOFT_DEG
from weavecolor.picture.threads import BEGIN, LOOSE, WHOLE
from weavecolor.scene.folds import INSIDE

#: Kinds of laid cloth that the browser's drawing can hold at once: with their turns, as deep as
#: graphics hold tables (2048).
MOST_KINDS = 12


def _small(unit: NDArray[Any]) -> NDArray[np.int16]:
    return np.asarray(np.rint(np.clip(unit, -1.0, 1.0) * 32767.0), dtype=np.int16)


def _share(values: NDArray[Any]) -> NDArray[np.uint8]:
    return np.asarray(np.rint(np.clip(values, 0.0, 1.0) * 255.0), dtype=np.uint8)


def stage_parcel(staged: Stage) -> tuple[str, bytes]:
    """A stage's name (its content's digest) and its bytes; the same for all grains."""
    reach, lowest, highest = extent(staged)
    arrays: dict[str, NDArray[Any]] = {
        "points": staged.points, "normals": _small(staged.normals),
        "warps": _small(staged.own_warps), "opens": _share(staged.opens),
        "places": staged.own_places, "folds": staged.folds,
        "quads": staged.quads, "kind": staged.kind, "body": staged.body,
        "body_normals": _small(staged.body_normals), "triangles": staged.triangles,
        "body_part": staged.body_part, "body_open": _share(staged.body_open),
        "floor": staged.floor, "tiles": staged.tiles, "floor_open": _share(staged.floor_open),
    }  # fmt: skip
    header = {"parcel": "stage", "floor_mm": FLOOR_MM, "lift_mm": staged.lifts,
              "fit": staged.fit.ravel().tolist(),
              "view": {"reach": reach, "lowest": lowest, "highest": highest}}  # fmt: skip
    return _named(header, arrays)


def cloth_parcels(made: Lit) -> list[tuple[str, bytes]]:
    """For each kind of laid cloth its tables' and threads' name (their content's digest) and bytes.
    """
    return [
        _named(
            {"parcel": "cloth", "span": float(np.pi if t.half_turn else 2.0 * np.pi)},
            {"key": t.key, "room": t.room, "glow": t.glow, "dim": t.dim.astype(np.float32),
             "threads": rows.astype(np.float32)},
        )
        for t, rows in zip(made.tables, made.threads, strict=True)
    ]  # fmt: skip


def light_parcel(
    made: Lit, stage: str, cloths: Sequence[str], seeing: Seeing = AS_SEEN
) -> bytes:
    """The lamps and levels of ``made``, and how its cloth lies, with which the stage of the name
    ``stage`` is drawn.

    ``cloths``: names of the kinds' tables; ``seeing`` as it was lit with. Raises ValueError for
    more kinds of laid cloth than a shader holds.
    """
    kinds = len(made.tables)
    if kinds > MOST_KINDS:
        raise ValueError(f"{kinds} kinds of laid cloth, {MOST_KINDS} at most")

    def filled(values: NDArray[Any]) -> NDArray[np.float32]:
        out = np.zeros((MOST_KINDS, *values.shape[1:]), np.float32)
        out[:kinds] = values
        return out

    arrays: dict[str, NDArray[Any]] = {
        "light": filled(made.light), "uneven": filled(made.uneven[:, :4]),
        "lengths": filled(made.uneven[:, 4]),
        "grains": filled(np.radians(made.stage.grains)),
    }  # fmt: skip
    header = {
        "parcel": "light", "stage": stage, "cloths": list(cloths),
        "plains": made.stage.plains, "bands": made.stage.bands, "space": seeing.space,
        "exposure": made.exposure, "shoulder": SHOULDER, "inside": [INSIDE, SCATTERED],
        "lamps": [
            {"direction": x.direction.tolist(), "white": x.white.tolist(), "body": x.body.tolist()}
            for x in made.lamps
        ],
        "body_room": made.body_room.ravel().tolist(),
        "floor_room": made.floor_room.ravel().tolist(),
        "raised_deg": made.raised_deg, "eye": [AWAY_MM, over_middle(made.stage, made.raised_deg)],
        "ground": made.ground.tolist(), "soft_deg": SOFT_DEG,
        "least": LEAST, "ahead_mm": AHEAD_MM,
        "nearness": [LIGHT_DEG, BEGIN, WHOLE, LOOSE],
        "luminance": space(seeing.space).to_xyz[1].tolist(),
    }  # fmt: skip
    return _named(header, arrays)[1]


def _named(header: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> tuple[str, bytes]:
    """A name by content, and a parcel whose header tells it."""
    digest = hashlib.sha256(json.dumps(header).encode())
    for array in arrays.values():
        digest.update(np.ascontiguousarray(array).tobytes())
    name = digest.hexdigest()[:16]
    return name, parcel({**header, "id": name}, arrays)
