"""The model against exact tracing of clear filaments: ``python -m tests.filaments FILE [--json]``.

FILE has the form of ``data/filaments.json.gz`` (its ``about`` tells geometry, units and checks), as
it is or compressed; geometry and dye are taken from it. Prints, by cloth, layers and backing, the
root mean square and the worst error in L* (of the share as Y) of what is reflected, reflected over
white and transmitted, and the same for the angular bins of ``up`` and ``up_over_white`` whose own
noise is under 0.5 L*. With --json one last line holds the figures of the whole file.

Knows how the traced cloths were built; knows nothing of limits: the tests hold the figures to
those. Only light from exact directions and the bins of the file are special here; nodes, layers and
backings go through the same additions as every cloth.
"""

from __future__ import annotations

import gzip
import json
import sys
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.adding import Ground, StackOptics, add, as_stack, over_backings
from weavecolor.optics.cell import filaments as cells
from weavecolor.optics.cell.filaments import FilamentCell, Rays, Strand, follow, white_cell
from weavecolor.optics.cell.nodes import unit
from weavecolor.optics.cell.rays import bodies
from weavecolor.optics.layer import LayerOptics, Placement, orders, to_cloth_frame
from weavecolor.textile.cloth import Construction

DATA = Path(__file__).parent / "data" / "filaments.json.gz"
WHITE = 0.85
GAP_MM = (0.0, 0.5)
RINGS, SECTORS = 9, 16
LEAST_NOISE = 0.5  # L*; bins noisier than this do not count
LIGHT_RAYS, BIN_RAYS = 100000, 800

Array = NDArray[np.float64]


def load(path: str | Path) -> dict[str, Any]:
    """The table in a file, compressed or not."""
    data = Path(path).read_bytes()
    return json.loads(gzip.decompress(data) if data[:2] == b"\x1f\x8b" else data)


def lightness(share: Any) -> Array:
    """L* of a share of light taken as Y."""
    y = np.asarray(share, float)
    return np.where(y > 216 / 24389, 116.0 * np.cbrt(y) - 16.0, y * 24389 / 27)


def cell_of(cloth: dict[str, Any]) -> FilamentCell:
    """The traced cloth's cell; ``filament_centres`` may be missing."""
    strands = []
    for way in ("warp", "weft"):
        count = int(cloth["filaments"])
        flat = float(cloth["width_over_height"]) if count > 1 else 1.0
        across = float(cloth[f"{way}_diameter_mm"])
        given = cloth.get("filament_centres") if count > 1 else None
        strands.append(
            Strand(
                across * flat**0.5, across / flat**0.5, count, float(cloth["packing"]),
                float(cloth["index"]), float(cloth["twist_rad_mm"]) if flat == 1.0 else 0.0,
                centres=None if given is None else tuple((float(a), float(b)) for a, b in given),
            )
        )  # fmt: skip
    numbers = (float(cloth[f"{way}_{what}_mm"]) for what in ("spacing", "swing")
               for way in ("warp", "weft"))  # fmt: skip
    return FilamentCell(tuple(tuple(map(int, row)) for row in cloth["lift"]), *strands, *numbers)


def construction_of(cell: FilamentCell) -> Construction:
    """The outlines of a cell's yarns."""
    swing = cell.warp_swing + cell.weft_swing
    return Construction(
        cell.lift, cell.warp_spacing, cell.weft_spacing, cell.warp.width, cell.warp.height,
        cell.weft.width, cell.weft.height, cell.warp_swing / swing,
    )  # fmt: skip


def bin_edges() -> Array:
    """Squares of the cosines between the rings of bins, rising."""
    return np.cos(np.radians(np.arange(RINGS, -1, -1) * 90.0 / RINGS)) ** 2


def bins_of(toward: NDArray) -> NDArray[np.intp]:
    """The bin (zenith ring, then sector) of directions (n, 3) that go up; -1 for the others."""
    ring = np.degrees(np.arccos(np.clip(toward[:, 2], -1.0, 1.0))) // (90.0 / RINGS)
    around = np.arctan2(-toward[:, 0], toward[:, 1]) / (2 * np.pi)
    sector = np.floor((around + 1.0) * SECTORS + 0.5).astype(np.intp) % SECTORS
    where = np.minimum(ring, RINGS - 1).astype(np.intp) * SECTORS + sector
    return np.where(toward[:, 2] > 0, where, -1)


def bin_shares() -> Array:
    """Share of even light of each bin (144,)."""
    return np.repeat(-np.diff(bin_edges()[::-1]), SECTORS) / SECTORS


def bin_middle(number: int) -> tuple[float, float, float]:
    ring, sector = divmod(number, SECTORS)
    zenith = (ring + 0.5) * 90.0 / RINGS
    v = unit(np.radians(zenith), sector * 2 * np.pi / SECTORS)
    return tuple(round(float(x), 9) for x in v)  # type: ignore[return-value]


def bin_directions(number: int, count: int) -> Array:
    """Directions (count, 3) spread over a bin as even light is."""
    ring, sector = divmod(number, SECTORS)
    edges = bin_edges()[::-1]
    a, b = cells.evenly(count, 4)[:, :2].T
    square = edges[ring + 1] + a * (edges[ring] - edges[ring + 1])
    azimuth = (sector - 0.5 + b) * 2 * np.pi / SECTORS
    return unit(np.arccos(np.sqrt(np.clip(square, 1e-6, 1.0))), azimuth)


def _turned(vectors: Array, turn: float) -> Array:
    """Directions of the stack's frame in that of a cloth laid at ``turn``."""
    c, s = np.cos(turn), np.sin(turn)
    x, y, z = np.asarray(vectors, float).T
    return np.column_stack([c * x + s * y, c * y - s * x, z])


@dataclass
class Model:
    """One traced cloth, ready to be dyed and laid."""

    cell: FilamentCell
    dyes: Array  # (K, 2) absorption, 1/mm
    with_bins: bool = True
    lamps: dict[tuple, Rays] = field(default_factory=dict)
    bins: dict[float, list[Rays]] = field(default_factory=dict)

    def lamp(self, light: Sequence[float], turn: float) -> Rays:
        key = (*light, turn)
        if key not in self.lamps:
            v = _turned(unit(*np.radians(light))[None], turn)
            self.lamps[key] = follow(self.cell, np.repeat(v, LIGHT_RAYS, 0), np.ones(LIGHT_RAYS))
        return self.lamps[key]

    def sectors(self, turn: float) -> list[Rays]:
        if not self.with_bins:
            return []
        if turn not in self.bins:
            self.bins[turn] = [
                follow(self.cell, _turned(bin_directions(k, BIN_RAYS), turn), np.ones(BIN_RAYS))
                for k in range(RINGS * SECTORS)
            ]
        return self.bins[turn]

    def layer(self, light: Sequence[float] | None, turn_deg: float) -> LayerOptics:
        """Labels: nodes, the light if it is a beam, the bins."""
        turn = float(np.radians(turn_deg))
        white = white_cell(self.cell)
        grid, half = white.grid, white.grid.half
        left = cells.kept(self.cell, self.dyes)
        node = white.dyed(self.dyes)
        bundles = ([] if light is None else [self.lamp(light, turn)]) + self.sectors(turn)
        # the traced light is a parallel beam
        named = [] if light is None else [(*unit(*np.radians(light)), 0.0)]
        if self.with_bins:
            named += [bin_middle(k) for k in range(RINGS * SECTORS)]
        count, bands = len(bundles), len(self.dyes)
        edges = cells.ring_edges(grid)
        cross = np.empty((bands, count, 2 * half))
        for k, rays in enumerate(bundles):
            place = cells.paths.nodes_of(rays.toward, edges, grid.steps)
            cross[:, k] = (rays.gathered(place, 2 * half, left) / grid.share[:, None]).T
        size = half + count
        reflect, under, through_ = (np.zeros((bands, size, size)) for _ in range(3))
        q = slice(0, half)
        through = np.zeros(size)
        for order, weight in orders(grid, turn, False):
            up, down = order[:half], order[half:]
            reflect[:, q, q] += weight * node[:, up[:, None], up[None]]
            under[:, q, q] += weight * node[:, down[:, None], down[None]]
            through_[:, q, q] += weight * node[:, up[:, None], down[None]]
            reflect[:, half:, q] += weight * cross[:, :, up]
            through_[:, half:, q] += weight * cross[:, :, down]
            through[q] += weight * white.through[up]
        reflect[:, q, half:] = np.swapaxes(reflect[:, half:, q], 1, 2)
        through[half:] = [r.through for r in bundles]
        if light is not None and self.with_bins:
            rays = bundles[0]
            place = bins_of(_turned(rays.toward, -turn))
            got = rays.gathered(place, count - 1, left) / bin_shares()[:, None]
            reflect[:, half, half + 1 :] = got.T
            reflect[:, half + 1 :, half] = got.T
        share = np.concatenate([grid.share[:half], np.zeros(count)])
        shape = construction_of(self.cell)
        labels = tuple(to_cloth_frame(tuple(v), 0.0, False) for v in named)
        top = self.cell.top
        depths = tuple(np.linspace(0.0, 2.0 * top, 9).round(9).tolist())
        pitch = (self.cell.warp_spacing * self.cell.weft_spacing) ** 0.5
        placement = Placement(
            shape, bodies(self.cell), turn, False, labels, True, through, share, 2.0 * top, depths,
            pitch,
        )
        return LayerOptics(reflect, under, through_, placement)


@dataclass(frozen=True)
class Answer:
    """What the model says of one row, next to it; shares (K,), bins (K, rings, sectors)."""

    row: dict[str, Any]
    shares: dict[str, Array]
    bins: dict[str, Array]

    def errors(self) -> Array:
        """Of the shares, L*, (3 K,)."""
        return np.concatenate(
            [lightness(v) - lightness(self.row[k]) for k, v in self.shares.items()]
        )

    def bin_errors(self) -> Array:
        """Of the bins whose own noise is small, L*."""
        out = []
        for key, mine in self.bins.items():
            if key not in self.row:
                continue
            theirs = np.array(self.row[key])
            # standard error of a count, and one path more: no bin is quiet for being empty
            one = RINGS * SECTORS / self.row["paths"]
            noise = np.sqrt(one * (theirs + one))
            pooled = [mine[:, :1].mean(axis=2, keepdims=True), mine[:, 1:]]
            traced = [theirs[:, :1].mean(axis=2, keepdims=True), theirs[:, 1:]]
            noises = [
                noise[:, :1].mean(axis=2, keepdims=True) / SECTORS**0.5, noise[:, 1:]
            ]  # fmt: skip
            for a, b, n in zip(pooled, traced, noises, strict=True):
                level = lightness(b)
                good = (lightness(b + n) - level < LEAST_NOISE) & (b > 0)
                out.append((lightness(np.maximum(a, 0.0)) - level)[good])
        return np.concatenate([*out, np.zeros(0)])


def answers(
    table: dict[str, Any], cloths: Sequence[str] | None = None, bins: bool = True
) -> list[Answer]:
    """The model's answers, cloth by cloth; the shares alone without ``bins``."""
    out = []
    for name, cloth in table["cloths"].items():
        if cloths is not None and name not in cloths:
            continue
        dyes = np.array(table["dyes"], float) / float(cloth["warp_diameter_mm"])
        model = Model(cell_of(cloth), dyes, bins)
        out += [_answer(model, row) for row in table["rows"] if row["cloth"] == name]
    return out


def _answer(model: Model, row: dict[str, Any]) -> Answer:
    light = None if row["light"] == "diffuse" else tuple(row["light"])
    pitch = (model.cell.warp_spacing * model.cell.weft_spacing) ** 0.5
    gap = (GAP_MM[0] / pitch, GAP_MM[1] / pitch)
    pile = as_stack(model.layer(light, 0.0))
    if row["layers"] == 2:
        under = as_stack(model.layer(light, float(row["turn_deg"])))
        pile = add(pile, under, gap, uneven=0.0)
    white = over_backings(pile, [Ground(np.full(len(model.dyes), WHITE))], gap, uneven=0.0)[0]
    half = np.count_nonzero(pile.share)
    first = half + (light is not None)

    def up(table: Array) -> tuple[Array, Array]:
        from_ = pile.share if light is None else np.eye(pile.share.size)[half]
        got = np.einsum("n,bnm->bm", from_, table)
        sectors = got[:, first:]
        if model.with_bins:
            sectors = sectors.reshape(len(got), RINGS, SECTORS)
        return got @ pile.share, sectors

    reflected, bins = up(pile.reflect)
    over, over_bins = up(white)
    return Answer(
        row,
        {
            "reflected": reflected,
            "reflected_over_white": over,
            "transmitted": _through(pile, light is not None, half),
        },
        {"up": bins, "up_over_white": over_bins} if model.with_bins else {},
    )


def _through(pile: StackOptics, beam: bool, half: int) -> Array:
    if beam:
        return pile.transmit[:, half] @ pile.share + pile.through[half]
    return (pile.transmit @ pile.share) @ pile.share + pile.share @ pile.through


def figures(found: Sequence[Answer]) -> dict[str, float]:
    """The figures of the whole: number of shares, and root mean squares and worst in L*; of the
    bins 0 where all are too noisy to count."""
    shares = np.concatenate([a.errors() for a in found])
    bins = np.concatenate([a.bin_errors() for a in found])
    (rms, worst), (bins_rms, bins_worst) = (_rms_worst(e) for e in (shares, bins))
    return {
        "values": int(shares.size),
        "rms_L": round(rms, 4),
        "worst_L": round(worst, 4),
        "bins_rms_L": round(bins_rms, 4),
        "bins_worst_L": round(bins_worst, 4),
    }


def _rms_worst(errors: Array) -> tuple[float, float]:
    """Both nought where there is nothing to err in."""
    if not errors.size:
        return 0.0, 0.0
    return float(np.sqrt(np.mean(errors**2))), float(np.abs(errors).max())


def _print(found: Sequence[Answer]) -> None:
    print(f"{'cloth':16} {'layers':>6}  {'what':22} {'rms L*':>7} {'worst':>7}")
    groups: dict[tuple, list[Array]] = defaultdict(list)
    for a in found:
        key = (a.row["cloth"], a.row["layers"])
        for what, mine in a.shares.items():
            groups[(*key, what)].append(lightness(mine) - lightness(a.row[what]))
        groups[(*key, "bins")].append(a.bin_errors())
    for (cloth, layers, what), parts in groups.items():
        e = np.concatenate(parts)
        if not e.size:
            print(f"{cloth:16} {layers:6}  {what:22}  every one is too noisy")
            continue
        rms, worst = _rms_worst(e)
        print(f"{cloth:16} {layers:6}  {what:22} {rms:7.2f} {worst:7.2f}")
    whole = figures(found)
    print(
        f"in all {whole['values']} shares: rms {whole['rms_L']:.2f}, worst {whole['worst_L']:.2f} "
        f"L*; bins: rms {whole['bins_rms_L']:.2f}, worst {whole['bins_worst_L']:.2f} L*"
    )


def main(arguments: Sequence[str]) -> int:
    files = [a for a in arguments if a != "--json"]
    if len(files) != 1 or files[0].startswith("-"):
        print("usage: python -m tests.filaments FILE [--json]", file=sys.stderr)
        return 2
    try:
        table = load(files[0])
        found = answers(table)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as problem:
        print(f"{files[0]}: not a table of traced filaments ({problem!r})", file=sys.stderr)
        return 2
    _print(found)
    if "--json" in arguments:
        print(json.dumps(figures(found)))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
