"""Make tests/data/wound_thread.json: reflectance of beds of clear, dyed rods, traced ray by ray.

    python tests/reference/wound_thread.py            # the whole table, some minutes

Knows straight rods side by side in even light; knows nothing of weavecolor, whose formula for
wound thread is fitted to these beds and checked against others. Lengths are in rod diameters.

A bed is endless sideways and deep. Its rods lie at the points of a triangular lattice, each
shifted at random as far as it can without meeting its neighbour ("lattice"), or are driven about
until they have forgotten it ("loose"). Light comes evenly from the half space above, is reflected
and refracted at every surface by Fresnel's formulas without polarisation, and loses exp(-sigma L)
inside; in dull rods it is scattered evenly to all sides after paths of mean 1/dull.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np
from numba import njit

TABLE = Path(__file__).parents[1] / "data" / "wound_thread.json"
DEPTHS = np.geomspace(4e-4, 8.0, 27)
INDICES = (1.47, 1.53, 1.59, 1.65, 1.72)
PACKINGS = (0.4, 0.5, 0.6, 0.7, 0.8, 0.88)
DULLS = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0)
PATHS = 30_000

ABOUT = (
    "Reflectance of deep beds of parallel clear rods in even light, traced by "
    "tests/reference/wound_thread.py. depths: sigma times rod diameter; reflectance: of the bed, "
    "by depth; surface: share that never entered a rod; dull: scattering times rod diameter; "
    "standard error of a share s: sqrt(s (1 - s) / paths) at most."
)


def bed(packing: float, loose: bool, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Centres (N, 2) of rods of diameter 1 in a periodic box, and the box (2,): across, deep."""
    rng = np.random.default_rng(seed)
    pitch = np.sqrt(np.pi / (2.0 * np.sqrt(3.0) * packing))
    row = pitch * np.sqrt(3.0) / 2.0
    across, deep = 16, 18
    box = np.array([across * pitch, deep * row])
    i, j = np.meshgrid(np.arange(across), np.arange(deep), indexing="ij")
    at = np.stack([(i + 0.5 * (j % 2)) * pitch, j * row], -1).reshape(-1, 2)
    room = 0.5 * (pitch - 1.0)
    if not loose:
        angle, far = rng.uniform(0.0, 2.0 * np.pi, len(at)), room * np.sqrt(rng.random(len(at)))
        at = at + np.stack([far * np.cos(angle), far * np.sin(angle)], -1)
    else:
        for _ in range(400):
            for k in rng.permutation(len(at)):
                new = at[k] + rng.uniform(-1.0, 1.0, 2) * min(room, 0.3)
                apart = at - new
                apart -= box * np.round(apart / box)
                apart[k] = 9.0
                if (apart**2).sum(1).min() > 1.0:
                    at[k] = new
    at[:, 1] += 0.5 * pitch
    return at % box, box


def cells(at: np.ndarray, box: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Per cell of the box: how many rods touch it, and their centres (also of periodic images)."""
    count = np.floor(box / 1.0).astype(int)
    size = box / count
    lists: list[list[tuple[float, float]]] = [[] for _ in range(count[0] * count[1])]
    for x, z in at:
        for sx in (-1, 0, 1):
            for sz in (-1, 0, 1):
                cx, cz = x + sx * box[0], z + sz * box[1]
                for a in range(count[0]):
                    dx = max(a * size[0] - cx, 0.0, cx - (a + 1) * size[0])
                    if dx >= 0.5:
                        continue
                    for b in range(count[1]):
                        dz = max(b * size[1] - cz, 0.0, cz - (b + 1) * size[1])
                        if dx * dx + dz * dz < 0.25:
                            lists[a * count[1] + b].append((cx, cz))
    most = max(map(len, lists))
    held = np.zeros((count[0], count[1], most, 2))
    number = np.zeros((count[0], count[1]), np.int64)
    for a in range(count[0]):
        for b in range(count[1]):
            mine = lists[a * count[1] + b]
            number[a, b] = len(mine)
            held[a, b, : len(mine)] = np.array(mine).reshape(-1, 2)
    return number, held, size


@njit
def trace(index, number, held, size, dull, depths, paths, rng):
    """Reflectance by depth, the share that never entered, the share given up."""
    out = np.zeros(len(depths))
    surface = lost = 0.0
    na, nb = number.shape
    wide, deep = na * size[0], nb * size[1]
    for _ in range(paths):
        turn, square = 2.0 * np.pi * rng.random(), rng.random()
        s = np.sqrt(square)
        dx, dy, dz = s * np.cos(turn), s * np.sin(turn), np.sqrt(1.0 - square)  # z goes down
        x, z = rng.random() * wide, 0.0
        tile = 0  # how many boxes down; x and z stay within the box
        a, b = min(int(x / size[0]), na - 1), 0
        length = 0.0
        events = 0
        state = 0  # 0 outside, 1 left, 2 given up
        while state == 0:
            # to the nearest rod that touches this cell, or on to the next cell
            flat = dx * dx + dz * dz
            best = 1e30
            cx = cz = 0.0
            for k in range(number[a, b]):
                ox, oz = held[a, b, k, 0], held[a, b, k, 1]
                if tile * deep + oz < 0.5:
                    continue  # would stand out of the bed
                px, pz = x - ox, z - oz
                half = px * dx + pz * dz
                if half >= 0.0:
                    continue
                under = half * half - flat * (px * px + pz * pz - 0.25)
                if under <= 0.0:
                    continue
                t = (-half - np.sqrt(under)) / flat
                if t < best and t > -1e-9:
                    best, cx, cz = t, ox, oz
            tx = ((a + (1.0 if dx > 0.0 else 0.0)) * size[0] - x) / dx if dx != 0.0 else 1e30
            tz = ((b + (1.0 if dz > 0.0 else 0.0)) * size[1] - z) / dz if dz != 0.0 else 1e30
            if best > min(tx, tz):
                if tx < tz:
                    x, z = x + tx * dx, z + tx * dz
                    if dx > 0.0:
                        a += 1
                        if a == na:
                            a, x = 0, 0.0
                        else:
                            x = a * size[0]
                    else:
                        a -= 1
                        if a < 0:
                            a, x = na - 1, wide
                        else:
                            x = (a + 1) * size[0]
                else:
                    x, z = x + tz * dx, z + tz * dz
                    if dz > 0.0:
                        b += 1
                        if b == nb:
                            b, z, tile = 0, 0.0, tile + 1
                        else:
                            z = b * size[1]
                    else:
                        b -= 1
                        if b < 0:
                            b, z, tile = nb - 1, deep, tile - 1
                            if tile < 0:
                                state = 1
                        else:
                            z = (b + 1) * size[1]
                continue
            x, z = x + best * dx, z + best * dz
            nx, nz = 2.0 * (x - cx), 2.0 * (z - cz)  # outward
            cosine = -(nx * dx + nz * dz)
            below = 1.0 - (1.0 - cosine * cosine) / (index * index)
            bent = np.sqrt(below)
            rs = (cosine - index * bent) / (cosine + index * bent)
            rp = (bent - index * cosine) / (bent + index * cosine)
            events += 1
            if rng.random() < 0.5 * (rs * rs + rp * rp):
                dx, dz = dx + 2.0 * cosine * nx, dz + 2.0 * cosine * nz
            else:
                g = cosine / index - bent
                dx, dy, dz = dx / index + g * nx, dy / index, dz / index + g * nz
                while True:  # inside
                    flat = dx * dx + dz * dz
                    px, pz = x - cx, z - cz
                    half = px * dx + pz * dz
                    under = max(half * half - flat * (px * px + pz * pz - 0.25), 0.0)
                    t = (-half + np.sqrt(under)) / flat
                    if dull > 0.0:
                        free = -np.log(1.0 - rng.random()) / dull
                        if free < t:
                            length += free
                            x, z = x + free * dx, z + free * dz
                            up = 2.0 * rng.random() - 1.0
                            turn = 2.0 * np.pi * rng.random()
                            s = np.sqrt(1.0 - up * up)
                            dx, dy, dz = s * np.cos(turn), s * np.sin(turn), up
                            if length * depths[0] > 14.0:
                                state = 2
                                break
                            continue
                    length += t
                    x, z = x + t * dx, z + t * dz
                    nx, nz = 2.0 * (x - cx), 2.0 * (z - cz)
                    cosine = nx * dx + nz * dz
                    events += 1
                    if length * depths[0] > 14.0 or events > 200_000:
                        state = 2
                        break
                    above = 1.0 - index * index * (1.0 - cosine * cosine)
                    leave = False
                    if above > 0.0:
                        bent = np.sqrt(above)
                        rs = (index * cosine - bent) / (index * cosine + bent)
                        rp = (index * bent - cosine) / (index * bent + cosine)
                        leave = rng.random() >= 0.5 * (rs * rs + rp * rp)
                    if leave:
                        g = bent - index * cosine
                        dx, dy, dz = index * dx + g * nx, index * dy, index * dz + g * nz
                        break
                    dx, dz = dx - 2.0 * cosine * nx, dz - 2.0 * cosine * nz
                if state != 0:
                    break
            # the rod may reach over the cell's edge, or the box's
            if x < 0.0:
                x += wide
            elif x >= wide:
                x -= wide
            if z < 0.0:
                z, tile = z + deep, tile - 1
            elif z >= deep:
                z, tile = z - deep, tile + 1
            a, b = min(int(x / size[0]), na - 1), min(int(z / size[1]), nb - 1)
        if state == 1:
            if length == 0.0:
                surface += 1.0
            for k in range(len(depths)):
                out[k] += np.exp(-depths[k] * length)
        elif length * depths[0] <= 14.0:
            lost += 1.0
    return out / paths, surface / paths, lost / paths


def row(index: float, packing: float, loose: bool = False, dull: float = 0.0, seed: int = 1,
        paths: int = PATHS) -> dict[str, object]:  # fmt: skip
    """One bed of the table."""
    number, held, size = cells(*bed(packing, loose))
    rng = np.random.default_rng(seed)
    shares, surface, lost = trace(index, number, held, size, dull, DEPTHS, paths, rng)
    return {
        "index": index, "packing": packing, "arrangement": "loose" if loose else "lattice",
        "dull": dull, "surface": round(surface, 5), "lost": lost, "paths": paths,
        "reflectance": [round(float(s), 5) for s in shares],
    }  # fmt: skip


def main() -> None:
    """Trace every bed, saying how far it is."""
    wanted = [(n, p, False, 0.0) for n in INDICES for p in PACKINGS]
    wanted += [(n, p, True, 0.0) for n in (1.47, 1.59, 1.72) for p in (0.4, 0.55, 0.7)]
    wanted += [(n, p, False, d) for n, p in ((1.55, 0.6), (1.6, 0.85), (1.6, 0.5)) for d in DULLS]
    rows = []
    began = time.monotonic()
    for k, (n, p, loose, dull) in enumerate(wanted):
        rows.append(row(n, p, loose, dull, seed=100 + k))
        left = (time.monotonic() - began) / (k + 1) * (len(wanted) - k - 1)
        print(f"{k + 1} of {len(wanted)}, {left / 60:.0f} min left", file=sys.stderr, flush=True)
    table = {"about": ABOUT, "depths": [float(f"{d:.6g}") for d in DEPTHS], "beds": rows}
    TABLE.write_text(json.dumps(table, indent=0) + "\n", "utf-8")


if __name__ == "__main__":
    main()
