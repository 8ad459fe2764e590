"""Compile and drive ``hang.c``: cloth as a grid of quads, hung until it rests."""

from __future__ import annotations

import ctypes
import hashlib
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

_D, _I, _U, _F = (np.ctypeslib.ndpointer(t, flags="C") for t in ("f8", "i4", "u1", "f4"))
_c, _d, _p = ctypes.c_int, ctypes.c_double, ctypes.c_void_p


def _library():
    source = Path(__file__).with_name("hang.c")
    mark = hashlib.sha256(source.read_bytes()).hexdigest()[:16]
    built = Path(tempfile.gettempdir()) / f"hang-{mark}.so"
    if not built.exists():
        part = built.with_suffix(".part")
        subprocess.run(
            [
                "cc",
                "-O3",
                "-march=native",
                "-ffast-math",
                "-shared",
                "-fPIC",
                "-o",
                part,
                source,
                "-lm",
            ],
            check=True,
        )
        part.rename(built)
    lib = ctypes.CDLL(str(built))
    lib.sim_new.restype = _p
    lib.sim_new.argtypes = [
        _c, _D, _D, _c, _I, _c, _I, _D, _D, _c, _I, _D, _D, _c, _I, _D, _D, _c, _I, _D, _d, _d,
    ]  # fmt: skip
    lib.sim_collider.argtypes = [_p, _I, _D, _d, _F, _d, _d]
    lib.sim_careful.argtypes = [_p, _c]
    lib.sim_free.argtypes = [_p]
    for name in ("sim_get", "sim_set", "sim_velocity", "sim_weights"):
        getattr(lib, name).argtypes = [_p, _D]
    lib.sim_counts.argtypes = [_p, np.ctypeslib.ndpointer("i8", flags="C")]
    lib.sim_run.argtypes = [_p, _c, _d, _d, _d, _c, _D]
    lib.sim_run.restype = _d
    lib.sim_crossings.argtypes = [_p, _U]
    lib.openness.argtypes = [
        _c, _D, _c, _I, _c, _c, _D, _D, _I, _c, _D, _d, _D, _D,
    ]  # fmt: skip
    return lib


LIB = _library()
CREASE = 0.05  # N/m, how firmly a pressed pleat's edge is kept


@dataclass(frozen=True)
class Cloth:
    """Weight g/m2, bending rigidity uN m, shear rigidity N/m, friction."""

    name: str
    weight: float
    bending: float
    shear: float
    friction: float = 0.25


# Bending 1 to 25 uN m and weights as light woven cloths have; shear from memory of tables of
# fabric hand (0.2 to 1 gf/cm per degree). Each stands for its kind, not for one cloth.
CLOTHS = {
    c.name: c
    for c in (
        Cloth("organza", 38.0, 22.0, 45.0),
        Cloth("taffeta", 75.0, 14.0, 35.0),
        Cloth("voile", 60.0, 3.5, 20.0),
        Cloth("chiffon", 48.0, 1.3, 9.0),
    )
}


def quad_corners(rows, columns, wrap):
    r, c = np.mgrid[0 : rows - 1, 0 : columns - (0 if wrap else 1)]
    n = (c + 1) % columns
    first = r * columns + c
    return np.stack([first, first + columns, (r + 1) * columns + n, r * columns + n], -1)


def _stencils(pattern, cloth):
    """Nine vertices, weights (1/m2) of the flat cloth's Laplacian, and compliance."""
    lay, wrap = pattern.lay / 1000, pattern.wrap
    rows, columns = pattern.pinned.shape
    period = lay[:, -1] - lay[:, 0] if wrap else None
    r, c = np.mgrid[0:rows, 0:columns]
    base_r = np.clip(r, 1, rows - 2)
    base_c = c if wrap else np.clip(c, 1, columns - 2)
    index, place = [], []
    for dr in (-1, 0, 1):
        for dc in (-1, 0, 1):
            rr, cc = base_r + dr, base_c + dc
            turn = np.floor_divide(cc, columns)
            inside = cc - turn * columns
            spot = lay[rr, inside]
            if wrap:
                spot = spot + turn[..., None] * period[rr]
            index.append(rr * columns + inside)
            place.append(spot)
    index, place = np.stack(index, -1), np.stack(place, -2)
    offset = place - lay[:, :columns][:, :, None]
    size = np.sqrt((offset**2).sum(-1).mean(-1))[..., None, None]
    o = offset / size
    x, y = o[..., 0], o[..., 1]
    rows_ = np.stack([np.ones_like(x), x, y, x * x, y * y, x * y], -2)
    target = np.zeros((*x.shape[:2], 6))
    target[..., 3:5] = 2.0
    cost = np.array([8.0, 1, 8, 1, 1, 1, 8, 1, 8])  # along the threads rather than across corners
    a = rows_ / cost
    weights = a.swapaxes(-1, -2) @ np.linalg.solve(a @ rows_.swapaxes(-1, -2), target[..., None])
    weights = weights[..., 0] / size[..., 0] ** 2
    area = vertex_area(pattern)
    stiff = cloth.bending * 1e-6 * area * np.where(pattern.layers > 1, 2.0, 1.0)
    keep = np.ones((rows, columns), bool)
    keep[:, list(pattern.creases)] = False
    if pattern.pinned[0].all():
        keep[0] = False
    keep = keep.ravel()
    return (
        index.reshape(-1, 9)[keep].astype(np.int32),
        weights.reshape(-1, 9)[keep],
        1.0 / stiff.ravel()[keep],
    )


def vertex_area(pattern):
    """m2 of one layer at each vertex."""
    rows, columns = pattern.pinned.shape
    q = quad_corners(rows, columns, pattern.wrap).reshape(-1, 4)
    flat = pattern.corners(pattern.lay).reshape(-1, 4, 2) / 1000
    d1, d2 = flat[:, 2] - flat[:, 0], flat[:, 3] - flat[:, 1]
    area = 0.5 * np.abs(d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0])
    out = np.zeros(rows * columns)
    for k in range(4):
        out += np.bincount(q[:, k], area / 4, rows * columns)
    return out.reshape(rows, columns)


class Hanging:
    """One simulation at one fineness. Positions mm outside, m inside."""

    def __init__(self, pattern, cloth, radius, collider=None, friction=0.3, careful=0):
        rows, columns = pattern.pinned.shape
        self.shape = rows, columns
        self.pattern = pattern
        n = rows * columns
        quads = quad_corners(rows, columns, pattern.wrap).reshape(-1, 4).astype(np.int32)
        grain = pattern.corners(pattern.to_grain(pattern.lay)).reshape(-1, 4, 2) / 1000
        tri = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        corner = np.concatenate([grain[:, [0, 1, 2]], grain[:, [0, 2, 3]]])
        edges = np.stack([corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]], -1)
        dinv = np.linalg.inv(edges).reshape(-1, 4)
        area = 0.5 * np.abs(np.linalg.det(edges))
        comp = np.stack([1 / (300 * area), 1 / (300 * area), 1 / (cloth.shear * area)], -1)
        mass = vertex_area(pattern) * pattern.layers * cloth.weight * 1e-3
        self.weights = np.where(pattern.pinned, 0.0, 1.0 / mass).ravel()
        bi, bw, ba = _stencils(pattern, cloth)
        springs, rest, soft = [], [], []
        for j in pattern.creases:
            left, right = (j - 1) % columns, (j + 1) % columns
            for r in range(1, rows):
                springs.append((r * columns + left, r * columns + right, 1))
                # a pressed edge springs open to some 45 degrees if nothing holds it
                rest.append(0.0045)
                soft.append(1.0 / CREASE)
        anchors, reach = [], []
        if pattern.reach:
            down = pattern.down() / 1000
            for r in range(2, rows):
                for c in range(columns):
                    if pattern.pinned[0, c]:
                        anchors.append((c, r * columns + c))
                        reach.append(down[r, c] * pattern.reach)
        as_i = lambda a, w: np.ascontiguousarray(np.array(a, np.int32).reshape(-1, w))  # noqa: E731
        as_d = lambda a: np.ascontiguousarray(a, float)  # noqa: E731
        start = as_d(pattern.start.reshape(-1, 3) / 1000)
        self.sim = LIB.sim_new(
            n, start, as_d(self.weights), len(quads), np.ascontiguousarray(quads), len(tri),
            np.ascontiguousarray(tri), as_d(dinv), as_d(comp), len(bi), np.ascontiguousarray(bi),
            as_d(bw), as_d(ba), len(springs), as_i(springs, 3), as_d(rest), as_d(soft),
            len(anchors), as_i(anchors, 2), as_d(reach), radius / 1000, cloth.friction,
        )  # fmt: skip
        self.quads, self.n = quads, n
        LIB.sim_careful(self.sim, careful * (columns if pattern.wrap else columns - 1))
        if collider is not None:
            counts, origin, step, values, away = collider
            LIB.sim_collider(self.sim, counts, origin, step, values, away / 1000, friction)

    def run(self, seconds, dt, drag=3.0, calm=0.1, most=12, gravity=(0, 0, -9.81)):
        g = np.array(gravity, float)
        return LIB.sim_run(self.sim, max(1, round(seconds / dt)), dt, drag, calm, most, g)

    @property
    def places(self):
        out = np.empty((self.n, 3))
        LIB.sim_get(self.sim, out)
        return 1000 * out.reshape(*self.shape, 3)

    def counts(self):
        out = np.zeros(3, np.int64)
        LIB.sim_counts(self.sim, out)
        return out

    def crossings(self):
        """Which edges pierce a triangle: (quads, 5) for corners 01, 12, 23, 30, 02."""
        mark = np.zeros(5 * len(self.quads), np.uint8)
        LIB.sim_crossings(self.sim, mark)
        return mark.reshape(-1, 5)

    def free(self):
        LIB.sim_free(self.sim)


def openness(vertices, triangles, body_triangles, at, normals, skip, rays=40):
    """Shares open and on the body, for points (mm) with normals; see ``hang.c``."""
    k = np.arange(rays) + 0.5
    z = np.sqrt(1 - k / rays)  # even in the square of the sine: cosine-weighted
    turn = k * np.pi * (3 - 5**0.5)
    dirs = np.stack([np.sqrt(1 - z * z) * np.cos(turn), np.sqrt(1 - z * z) * np.sin(turn), z], -1)
    tri = np.ascontiguousarray(np.concatenate([triangles, body_triangles]), np.int32)
    free, body = np.empty(len(at)), np.empty(len(at))
    LIB.openness(
        len(vertices), np.ascontiguousarray(vertices / 1000, float), len(tri), tri, len(triangles),
        len(at), np.ascontiguousarray(at / 1000, float), np.ascontiguousarray(normals, float),
        np.ascontiguousarray(skip, np.int32), rays, np.ascontiguousarray(dirs), 0.016, free, body,
    )  # fmt: skip
    return free, body


def crossings(places, quads):
    """Which edges pierce a triangle: (quads, 5), for any places (mm) of quads."""
    none_i, none_d = np.zeros(0, np.int32), np.zeros(0)
    flat = np.ascontiguousarray(places.reshape(-1, 3) / 1000, float)
    quads = np.ascontiguousarray(quads, np.int32)
    sim = LIB.sim_new(
        len(flat), flat, np.ones(len(flat)), len(quads), quads, 0, none_i, none_d, none_d,
        0, none_i, none_d, none_d, 0, none_i, none_d, none_d, 0, none_i, none_d, 1e-3, 0.0,
    )  # fmt: skip
    mark = np.zeros(5 * len(quads), np.uint8)
    LIB.sim_crossings(sim, mark)
    LIB.sim_free(sim)
    return mark.reshape(-1, 5)
