"""What the model says for the rows of the path-traced tables, next to what was traced.

Knows how the traced cloths were built (see ``data/raytraced.json``, ``data/traced_covers.json`` and
``reference/yarn_tracer.py``): round opaque Lambertian yarns, spacing 1, so diameter = cover; a
backing of reflectance 0.85; distances between mid-planes, jittered evenly. Knows nothing of limits:
the tests hold the figures to those.

The tables count azimuth from increasing picks towards increasing ends, the model the other way
round, so azimuths and turns change sign.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.adding import StackOptics, add, as_stack, over_backing
from weavecolor.optics.cell.filaments import Strand
from weavecolor.optics.cell.nodes import Named, Vector, unit
from weavecolor.optics.layer import Solved, laid, solve, woven
from weavecolor.textile.cloth import Construction

DATA = Path(__file__).parent / "data"
ALBEDOS = ((0.8, 0.05), (0.1, 0.05), (0.5, 0.5), (0.8, 0.8))
BACKING = 0.85
PLAIN = ((1, 0), (0, 1))

Array = NDArray[np.float64]


@lru_cache(maxsize=32)
def construction(
    cover: tuple[float, float], lift: tuple[tuple[int, ...], ...] = PLAIN
) -> Construction:
    """The geometry of a traced row."""
    warp, weft = cover
    return Construction(lift, 1.0, 1.0, warp, warp, weft, weft, weft / (warp + weft))


@lru_cache(maxsize=32)
def solution(cover: tuple[float, float], lift: tuple[tuple[int, ...], ...] = PLAIN) -> Solved:
    """The traced cloth's light, of matt yarns that nothing enters, in the albedos of its channels.
    """
    made = construction(cover, lift)
    strands = (Strand(d, d, opaque=True) for d in cover)
    return solve(made, woven(made, *strands), -np.log(np.array(ALBEDOS)))


def vector(zenith_deg: float, azimuth_deg: float) -> Vector:
    """A direction of the tables in the model's frame."""
    v = unit(np.radians(zenith_deg), -np.radians(azimuth_deg))
    return tuple(round(float(x), 9) + 0.0 for x in v)  # type: ignore[return-value]


def beam(zenith_deg: float, azimuth_deg: float) -> Named:
    """As :func:`vector`, of the parallel light that was traced."""
    return (*vector(zenith_deg, azimuth_deg), 0.0)


@dataclass(frozen=True)
class Row:
    """One traced row in one form for both tables."""

    group: str
    cover: tuple[float, float]
    lift: tuple[tuple[int, ...], ...]
    weave: str
    inc: tuple[float, float] | None  # None: uniform hemisphere
    views: tuple[tuple[float, float], ...]
    turns: tuple[float, ...]
    distance: float
    jitter: float
    uncorrelated: bool
    brf: Array  # views x (4 over black, 4 over the backing)
    up: Array  # upward flux, the same 8
    down: Array  # share reaching the backing the first time, 4

    def gap(self, sheets: int) -> tuple[float, float] | None:
        """Nearest and farthest gap between two sheets (2) or sheet and backing (1)."""
        if self.uncorrelated:
            return None
        # a sheet fills (d1 + d2)/2 on either side of its mid-plane
        clear = self.distance - sheets * 0.5 * sum(self.cover)
        clear = max(round(clear, 9), 0.0)
        return clear - self.jitter, clear + self.jitter

    @property
    def directions(self) -> tuple[Vector, ...]:
        inc = () if self.inc is None else (self.inc,)
        return tuple(dict.fromkeys(beam(*a) for a in (*inc, *self.views)))


def first_table() -> dict:
    return json.loads((DATA / "raytraced.json").read_text("utf-8"))


def covers_table() -> dict:
    return json.loads((DATA / "traced_covers.json").read_text("utf-8"))


def first_rows() -> list[Row]:
    """Rows of ``raytraced.json``."""
    table = first_table()
    out = []
    for group in ("one_layer", "stacks_loose", "stacks_uncorrelated", "diffuse"):
        for r in table[group]:
            diffuse = r["inc"] == "diffuse"
            inc = None if diffuse else tuple(r["inc"])
            zenith, azimuth = inc or (0.0, 0.0)
            views = ((0.0, 0.0), (zenith, azimuth + 180.0), (zenith, azimuth),
                     (30.0, azimuth), (45.0, azimuth + 90.0))  # fmt: skip
            sheets = r.get("nlay", 2 if group == "stacks_loose" else 1)
            brf = np.array(r["brf"]["mean"])
            out.append(
                Row(
                    group, tuple(r["cover"]), PLAIN, "plain", inc, views[: len(brf)],
                    (0.0, float(r.get("rot", 0)))[:sheets], 3.0, r.get("gapjit", 0.0),
                    group == "stacks_uncorrelated", brf,
                    np.array(r["Rup"]["mean"]), np.array(r["Tdn"]["mean"]),
                )
            )  # fmt: skip
    return out


def cover_rows() -> list[Row]:
    """Rows of ``traced_covers.json``."""
    table = covers_table()
    lifts = {k: tuple(map(tuple, v)) for k, v in table["lifts"].items()}
    return [
        Row(
            r["group"], tuple(r["cover"]), lifts[r["weave"]], r["weave"],
            None if r["inc"] == "diffuse" else tuple(r["inc"]),
            tuple(map(tuple, r["views"])), tuple(r["turns"]), r["distance"], r["jitter"],
            r["uncorrelated"], np.array(r["brf"]["mean"]), np.array(r["Rup"]["mean"]),
            np.array(r["Tdn"]["mean"]),
        )
        for r in table["rows"]
    ]  # fmt: skip


@dataclass(frozen=True)
class Answer:
    """What the model says for a row; shapes as in :class:`Row`."""

    row: Row
    brf: Array
    up: Array
    down: Array

    @property
    def error(self) -> Array:
        """Relative error of the radiance factors, views x 8."""
        return self.brf / self.row.brf - 1.0


def _answer(row: Row, pile: StackOptics, named: tuple[Vector, ...]) -> Answer:
    share = pile.share
    half = pile.through.size - len(named)
    label = {v: half + k for k, v in enumerate(named)}
    over = over_backing(pile, np.full(4, BACKING), row.gap(1), uneven=0.0)
    both = np.concatenate([pile.reflect[:4], over[:4]])  # 8 x N x N
    views = [label[beam(*v)] for v in row.views]
    if row.inc is None:
        brf = np.einsum("bvn,n->vb", both[:, views], share)
        up = np.einsum("m,bmn,n->b", share, both, share)
        down = np.einsum("m,bmn,n->b", share, pile.transmit[:4], share) + share @ pile.through
    else:
        k = label[beam(*row.inc)]
        brf, up = both[:, k, views].T, both[:, k] @ share
        down = pile.transmit[:4, k] @ share + pile.through[k]
    return Answer(row, brf, up, down)


def answers(rows: Iterable[Row]) -> list[Answer]:
    """The model's answers, cloth by cloth, so that each construction is traced once."""
    by_cloth = defaultdict(list)
    for row in rows:
        by_cloth[row.cover, row.lift].append(row)
    out = []
    for (cover, lift), group in by_cloth.items():
        cloth = solution(cover, lift)
        piles: dict = {}

        def single(turn, named, cloth=cloth, piles=piles):
            if (turn, named) not in piles:
                piles[turn, named] = as_stack(laid(cloth, -np.radians(turn), False, named))
            return piles[turn, named]

        for row in group:
            named = row.directions
            pile = single(row.turns[0], named)
            for turn in row.turns[1:]:
                pile = add(pile, single(turn, named), row.gap(2), uneven=0.0)
            out.append(_answer(row, pile, named))
    return out


def rms(errors: Array) -> float:
    return float(np.sqrt(np.mean(np.square(errors))))


def worst(errors: Array) -> float:
    return float(np.abs(errors).max())
