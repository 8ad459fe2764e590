"""A periodic sheet of woven round yarns as a triangle mesh for the renderer mitsuba.

Knows the yarns' axes and sections; knows nothing of light, and nothing of weavecolor, whose
optics are checked against what is traced on these meshes.

Lengths are in units of the yarn spacing, the same in both systems:

* warp axes run along x at y = i, weft axes along y at x = j, i and j whole numbers;
* an axis swings by A = half the *other* yarn's diameter. At crossing number k it is at +A if
  the yarn is uppermost there and at -A if not. Between two like crossings (a float) it stays
  where it is; between unlike ones it follows a half cosine, z = +-A cos(pi (s - k)). Plain
  weave is then an exact cosine, warp and weft in opposite phase;
* the yarn is the tube of circular section perpendicular to the axis tangent. Where the ideal
  tubes of warp and weft overlap (see `overlap`), the solid is their union;
* one sheet fills |z| <= (d1 + d2)/2 exactly.
"""

from __future__ import annotations

import glob
import os
import re
from collections.abc import Sequence

import numpy as np

# LLVM 15 is too old for the compiler in mitsuba (it aborts); take the newest in the usual places.
for _path in sorted(
    glob.glob("/usr/lib/*-linux-gnu/libLLVM*.so*") + glob.glob("/usr/lib/llvm-*/lib/libLLVM.so*"),
    key=lambda p: max([int(x) for x in re.findall(r"\d\d", p.split("LLVM")[-1])] or [0]),
)[-1:]:
    os.environ.setdefault("DRJIT_LIBLLVM_PATH", _path)

import mitsuba as mi  # noqa: E402

mi.set_variant("llvm_ad_rgb")

MARGIN = 4.0  # spacings of cloth beyond the repeat, on every side

PLAIN = ((1, 0), (0, 1))
TWILL_2_2 = ((1, 1, 0, 0), (0, 1, 1, 0), (0, 0, 1, 1), (1, 0, 0, 1))
# 5-end warp satin, step 2: four up, one down
SATIN_5 = tuple(tuple(0 if (2 * j) % 5 == i else 1 for i in range(5)) for j in range(5))
WEAVES = {"plain": PLAIN, "twill 2/2": TWILL_2_2, "satin 5/2": SATIN_5}


def axis_height(levels: Sequence[int], s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Axis height and slope for unit amplitude at positions `s` (spacings); levels are 1 or 0."""
    b = 2.0 * np.asarray(levels, float) - 1.0
    k = np.floor(s).astype(int)
    here, there = b[k % len(b)], b[(k + 1) % len(b)]
    f = s - k
    moving = here != there
    z = np.where(moving, here * np.cos(np.pi * f), here)
    dz = np.where(moving, -np.pi * here * np.sin(np.pi * f), 0.0)
    return z, dz


def overlap(cover: tuple[float, float]) -> float:
    """Deepest overlap of plain-weave warp and weft tubes, as a fraction of (d1 + d2)/2.

    Zero: the least distance between the two axes is (d1 + d2)/2, so the tubes just touch.
    """
    d1, d2 = cover
    s = np.linspace(0.0, 1.0, 1001)
    warp = 0.5 * d2 * np.cos(np.pi * s)[:, None]
    weft = -0.5 * d1 * np.cos(np.pi * s)[None, :]
    least = np.sqrt(s[:, None] ** 2 + s[None, :] ** 2 + (warp - weft) ** 2).min()
    return float(max(0.0, 1.0 - least / (0.5 * (d1 + d2))))


def folds(cover: tuple[float, float]) -> bool:
    """Whether a tube is thicker than the radius of its own tightest bend (d1 d2 > 4/pi^2)."""
    return cover[0] * cover[1] > 4.0 / np.pi**2


def _tubes(lift: np.ndarray, cover, warp: bool, around: int, along: int):
    """Vertices and faces of all yarns of one system over the repeat and its margin."""
    d_own, d_other = cover if warp else cover[::-1]
    # mean projected width of the inscribed polygon made equal to that of the circle
    radius = 0.5 * d_own * (np.pi / around) / np.sin(np.pi / around)
    n_weft, n_warp = lift.shape
    length, count = (n_weft, n_warp) if warp else (n_warp, n_weft)
    m = int(MARGIN)
    n_s = (length + 2 * m) * along + 1
    s = np.linspace(-m, length + m, n_s)
    phi = 2.0 * np.pi * (np.arange(around) + 0.5) / around
    ring = np.arange(n_s - 1)[:, None] * around
    v00, v01 = ring + np.arange(around), ring + (np.arange(around) + 1) % around
    v10, v11 = v00 + around, v01 + around
    halves = [np.stack([v00, v11, v10], -1), np.stack([v00, v01, v11], -1)]
    one = np.concatenate([h.reshape(-1, 3) for h in halves])
    if not warp:
        one = one[:, ::-1]  # x and y are exchanged below, which turns facets inside out
    verts, faces = [], []
    for i in range(-m, count + m + 1):
        levels = lift[:, i % count] if warp else 1 - lift[i % count, :]
        z, dz = (0.5 * d_other * a for a in axis_height(levels, s))
        tangent = np.stack([np.ones_like(s), np.zeros_like(s), dz], -1)
        tangent /= np.linalg.norm(tangent, axis=-1, keepdims=True)
        up = np.stack([-tangent[:, 2], np.zeros_like(s), tangent[:, 0]], -1)
        centre = np.stack([s, np.full_like(s, i), z], -1)
        p = centre[:, None] + radius * (
            np.cos(phi)[None, :, None] * np.array([0.0, 1.0, 0.0])
            + np.sin(phi)[None, :, None] * up[:, None]
        )
        p = p.reshape(-1, 3)
        faces.append(one + len(verts) * len(p))
        verts.append(p if warp else p[:, [1, 0, 2]])
    return np.concatenate(verts), np.concatenate(faces)


class Sheet:
    """One periodic sheet of cloth: covers, and lift plan (rows picks, columns ends; 1 warp up)."""

    def __init__(self, cover: tuple[float, float], lift=PLAIN, around: int = 72, along: int = 40):
        plan = np.asarray(lift, int)
        v1, f1 = _tubes(plan, cover, True, around, along)
        v2, f2 = _tubes(plan, cover, False, around, along)
        v = np.concatenate([v1, v2]).astype(np.float32)
        f = np.concatenate([f1, f2 + len(v1)]).astype(np.uint32)
        mesh = mi.Mesh("yarns", len(v), len(f), has_vertex_normals=False)
        params = mi.traverse(mesh)
        params["vertex_positions"] = v.ravel()
        params["faces"] = f.ravel()
        params.update()
        self.cover = cover
        self.n_warp_faces = len(f1)
        self.scene = mi.load_dict({"type": "scene", "yarns": mesh})
        self.repeat = (float(plan.shape[0]), float(plan.shape[1]))  # along x, along y
        self.half = 0.5 * sum(cover)
