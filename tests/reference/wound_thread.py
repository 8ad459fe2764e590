"""Make tests/data/wound_thread.json: reflectance of beds of clear, dyed rods, traced ray by ray.

    python tests/reference/wound_thread.py            # the whole table, some minutes

Knows straight rods side by side in even light; knows nothing of weavecolor, whose formula for
wound thread is fitted to these beds and checked against others. Lengths are in rod diameters, of
the circle of a rod's area. Rods are round, or triangles rounded so far that the circles about them
and in them are of the ratio "modification": g r^2 - k r^3 cos 3a = 1 in radii.

A bed is endless sideways and deep. Its rods lie at the points of a triangular lattice, each
shifted at random as far as it can without meeting its neighbour ("lattice"), or are driven about
until they have forgotten it ("loose"). Rods that are not round are driven about and turned ("any
way"). Light comes evenly from the half space above, is reflected
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
#: Of rods that are not round.
MODIFICATIONS = (1.05, 1.1, 1.2, 1.35, 1.6)
PATHS = 30_000

ABOUT = (
    "Reflectance of deep beds of parallel clear rods in even light, traced by "
    "tests/reference/wound_thread.py. depths: sigma times rod diameter; reflectance: of the bed, "
    "by depth; surface: share that never entered a rod; dull: scattering times rod diameter; "
    "standard error of a share s: sqrt(s (1 - s) / paths) at most."
)


def shape(modification: float) -> np.ndarray:
    """g, k and the greatest r of the outline whose greatest and least r have this ratio."""
    around = np.arange(3600) * (2.0 * np.pi / 3600)

    def radius(cubic: float) -> np.ndarray:
        c = cubic * np.cos(3.0 * around)
        low, high = np.zeros_like(c), np.full_like(c, np.sqrt(3.0))
        for _ in range(80):
            middle = 0.5 * (low + high)
            within = middle**2 - c * middle**3 < 1.0
            low, high = np.where(within, middle, low), np.where(within, high, middle)
        return low

    low, high = 0.0, 2.0 / np.sqrt(27.0)
    for _ in range(50):
        middle = 0.5 * (low + high)
        r = radius(middle)
        low, high = (middle, high) if r.max() < modification * r.min() else (low, middle)
    r = radius(low)
    area = np.mean(r**2)
    return np.array([area, low * area**1.5, r.max() / np.sqrt(area)])


@njit
def value(form, turn, x, z):
    """g r^2 - k r^3 cos 3a of a place in diameters from a rod's middle; 9 beyond its circle."""
    far = 4.0 * (x * x + z * z)
    if far > form[2] * form[2] * (1.0 + 1e-12):
        return 9.0
    c, s = np.cos(turn), np.sin(turn)
    p, q = 2.0 * (c * x + s * z), 2.0 * (c * z - s * x)
    return form[0] * far - form[1] * (p * p * p - 3.0 * p * q * q)


@njit
def meet(form, turn, x, z, dx, dz, leaving):
    """How far along (dx, dz) a line from (x, z) goes into a rod, or comes out; 1e30: never."""
    flat = dx * dx + dz * dz
    half = x * dx + z * dz
    under = half * half - flat * (x * x + z * z - 0.25 * form[2] * form[2])
    if under <= 0.0:
        return 1e30
    under = np.sqrt(under)
    if form[1] == 0.0:
        return (-half + under) / flat if leaving else (-half - under) / flat
    first, last = (-half - under) / flat, (-half + under) / flat
    # a cubic is had from four of its values: here from those about the middle
    m, w = 0.5 * (first + last), 0.5 * (last - first)
    v = np.empty(4)
    c, s = np.cos(turn), np.sin(turn)
    for n in range(4):
        t = m + w * (n - 1.5) / 1.5
        p, q = 2.0 * (x + t * dx), 2.0 * (z + t * dz)
        p, q = c * p + s * q, c * q - s * p
        v[n] = form[0] * (p * p + q * q) - form[1] * (p * p * p - 3.0 * p * q * q) - 1.0
    a3 = (v[3] - 3.0 * v[2] + 3.0 * v[1] - v[0]) * 27.0 / 48.0
    a2 = (v[3] - v[2] - v[1] + v[0]) * 9.0 / 16.0
    a1 = 0.5 * (v[3] - v[0]) - a3
    a0 = 0.5 * (v[3] + v[0]) - a2
    under = a2 * a2 - 3.0 * a1 * a3
    if under <= 0.0:
        return 1e30
    if a2 > 0.0:
        low = -a1 / (a2 + np.sqrt(under))
    else:
        low = (np.sqrt(under) - a2) / (3.0 * a3)
    if not -1.0 < low < 1.0 or a0 + low * (a1 + low * (a2 + low * a3)) >= 0.0:
        return 1e30
    inner, outer = low, (1.0 if leaving else -1.0)
    for _ in range(52):
        t = 0.5 * (inner + outer)
        if a0 + t * (a1 + t * (a2 + t * a3)) < 0.0:
            inner = t
        else:
            outer = t
    return m + w * outer


@njit
def outward(form, turn, x, z):
    """The normal of a rod at a place on its outline."""
    c, s = np.cos(turn), np.sin(turn)
    p, q = 2.0 * (c * x + s * z), 2.0 * (c * z - s * x)
    gp = 2.0 * form[0] * p - 3.0 * form[1] * (p * p - q * q)
    gq = 2.0 * form[0] * q + 6.0 * form[1] * p * q
    size = np.sqrt(gp * gp + gq * gq)
    return (c * gp - s * gq) / size, (c * gq + s * gp) / size


@njit
def overlap(form, one, other):
    """Whether two rods (x, z, turn) run into one another, by points of their outlines."""
    dx, dz = other[0] - one[0], other[1] - one[1]
    far = np.sqrt(dx * dx + dz * dz)
    if far > form[2]:
        return False
    for k in range(90):
        a = k * (2.0 * np.pi / 90)
        r = 0.5
        for _ in range(30):  # out from the middle to the outline
            cubic = form[1] * np.cos(3.0 * a)
            g = 2.0 * r
            above = form[0] * g * g - cubic * g**3 - 1.0
            r -= 0.5 * above / (2.0 * form[0] * g - 3.0 * cubic * g * g)
        for n in range(2):
            own, its = (one, other) if n == 0 else (other, one)
            sign = 1.0 if n == 0 else -1.0
            px, pz = r * np.cos(a + own[2]), r * np.sin(a + own[2])
            if value(form, its[2], px - sign * dx, pz - sign * dz) < 1.0:
                return True
    return False


@njit
def driven(at, box, form, rounds, step, rng):
    """Rods (N, 3) moved and turned at random, in place, never into one another."""
    new, near = np.empty(3), np.empty(3)
    for _ in range(rounds):
        for k in range(at.shape[0]):
            new[0] = at[k, 0] + step * (2.0 * rng.random() - 1.0)
            new[1] = at[k, 1] + step * (2.0 * rng.random() - 1.0)
            new[2] = at[k, 2] + 4.0 * step * (2.0 * rng.random() - 1.0)
            free = True
            for j in range(at.shape[0]):
                if j == k:
                    continue
                for c in range(2):
                    gap = at[j, c] - new[c]
                    near[c] = new[c] + gap - box[c] * np.round(gap / box[c])
                near[2] = at[j, 2]
                if overlap(form, new, near):
                    free = False
                    break
            if free:
                at[k] = new


def turned(packing: float, form: np.ndarray, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """As :func:`bed`, with turns (N, 3), of rods that are not round: from a lattice of rods that
    all lie alike, as they fill most, driven about and turned."""
    rng = np.random.default_rng(seed)
    at, box = bed(packing, False, still=True)
    at = np.column_stack([at, np.full(len(at), np.pi / 6.0)])
    for step in (0.02, 0.06, 0.1, 0.06):
        driven(at, box, form, 150, step, rng)
    at[:, :2] %= box
    return at, box


def bed(
    packing: float, loose: bool, seed: int = 3, still: bool = False
) -> tuple[np.ndarray, np.ndarray]:
    """Centres (N, 2) of rods of diameter 1 in a periodic box, and the box (2,): across, deep."""
    rng = np.random.default_rng(seed)
    pitch = np.sqrt(np.pi / (2.0 * np.sqrt(3.0) * packing))
    row = pitch * np.sqrt(3.0) / 2.0
    across, deep = 16, 18
    box = np.array([across * pitch, deep * row])
    i, j = np.meshgrid(np.arange(across), np.arange(deep), indexing="ij")
    at = np.stack([(i + 0.5 * (j % 2)) * pitch, j * row], -1).reshape(-1, 2)
    room = 0.5 * (pitch - 1.0)
    if still:
        pass
    elif not loose:
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


def cells(
    at: np.ndarray, box: np.ndarray, reach: float = 0.5
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Per cell of the box: how many rods touch it, and their centres (also of periodic images) and
    turns."""
    count = np.floor(box / 1.0).astype(int)
    size = box / count
    lists: list[list[tuple[float, float, float]]] = [[] for _ in range(count[0] * count[1])]
    for x, z, *turn in at:
        for sx in (-1, 0, 1):
            for sz in (-1, 0, 1):
                cx, cz = x + sx * box[0], z + sz * box[1]
                for a in range(count[0]):
                    dx = max(a * size[0] - cx, 0.0, cx - (a + 1) * size[0])
                    if dx >= reach:
                        continue
                    for b in range(count[1]):
                        dz = max(b * size[1] - cz, 0.0, cz - (b + 1) * size[1])
                        if dx * dx + dz * dz < reach * reach:
                            lists[a * count[1] + b].append((cx, cz, *turn, 0.0)[:3])
    most = max(map(len, lists))
    held = np.zeros((count[0], count[1], most, 3))
    number = np.zeros((count[0], count[1]), np.int64)
    for a in range(count[0]):
        for b in range(count[1]):
            mine = lists[a * count[1] + b]
            number[a, b] = len(mine)
            held[a, b, : len(mine)] = np.array(mine).reshape(-1, 3)
    return number, held, size


@njit
def trace(index, number, held, size, form, dull, depths, paths, rng):
    """Reflectance by depth, the share that never entered, the share given up."""
    out = np.zeros(len(depths))
    surface = lost = 0.0
    na, nb = number.shape
    wide, deep = na * size[0], nb * size[1]
    least = -1e-9 if form[1] == 0.0 else 1e-9  # so near lies the rod that is just left
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
            best = 1e30
            cx = cz = around = 0.0
            for k in range(number[a, b]):
                ox, oz = held[a, b, k, 0], held[a, b, k, 1]
                if tile * deep + oz < 0.5 * form[2]:
                    continue  # would stand out of the bed
                px, pz = x - ox, z - oz
                if form[1] == 0.0 and px * dx + pz * dz >= 0.0:
                    continue
                t = meet(form, held[a, b, k, 2], px, pz, dx, dz, False)
                if t < best and t > least:
                    best, cx, cz, around = t, ox, oz, held[a, b, k, 2]
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
            nx, nz = outward(form, around, x - cx, z - cz)
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
                    t = meet(form, around, x - cx, z - cz, dx, dz, True)
                    if t < 0.0 or t > 1e29:
                        t = 0.0  # grazes out
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
                    nx, nz = outward(form, around, x - cx, z - cz)
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
        paths: int = PATHS, modification: float = 1.0) -> dict[str, object]:  # fmt: skip
    """One bed of the table."""
    form = np.array([1.0, 0.0, 1.0]) if modification == 1.0 else shape(modification)
    at, box = bed(packing, loose) if modification == 1.0 else turned(packing, form)
    rng = np.random.default_rng(seed)
    number, held, size = cells(at, box, 0.5 * form[2])
    shares, surface, lost = trace(index, number, held, size, form, dull, DEPTHS, paths, rng)
    lie = "any way" if modification > 1.0 else "loose" if loose else "lattice"
    return {
        "index": index, "packing": packing, "arrangement": lie, "modification": modification,
        "dull": dull, "surface": round(surface, 5), "lost": lost, "paths": paths,
        "reflectance": [round(float(s), 5) for s in shares],
    }  # fmt: skip


def main() -> None:
    """Trace every bed, saying how far it is."""
    wanted = [(n, p, False, 0.0, 1.0) for n in INDICES for p in PACKINGS]
    wanted += [(n, p, True, 0.0, 1.0) for n in (1.47, 1.59, 1.72) for p in (0.4, 0.55, 0.7)]
    wanted += [
        (n, p, False, d, 1.0) for n, p in ((1.55, 0.6), (1.6, 0.85), (1.6, 0.5)) for d in DULLS
    ]
    wanted += [
        (n, p, True, 0.0, m)
        for m in (1.0, *MODIFICATIONS)
        for n in (1.47, 1.5557, 1.65)
        for p in (0.45, 0.6, 0.75)
    ]
    wanted += [(1.5557, 0.6, True, d, m) for m in (1.2, 1.4) for d in (0.003, 0.01, 0.03, 0.1, 1.0)]
    rows = []
    began = time.monotonic()
    for k, (n, p, loose, dull, m) in enumerate(wanted):
        rows.append(row(n, p, loose, dull, seed=100 + k, modification=m))
        left = (time.monotonic() - began) / (k + 1) * (len(wanted) - k - 1)
        print(f"{k + 1} of {len(wanted)}, {left / 60:.0f} min left", file=sys.stderr, flush=True)
    table = {"about": ABOUT, "depths": [float(f"{d:.6g}") for d in DEPTHS], "beds": rows}
    TABLE.write_text(json.dumps(table, indent=0) + "\n", "utf-8")


if __name__ == "__main__":
    main()
