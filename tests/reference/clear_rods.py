"""Light through woven clear, dyed rods, by the general renderer mitsuba: a check of a check.

    python tests/reference/clear_rods.py FILE CLOTH [PATHS]   # FILE in the format of filaments.json

Writes tests/data/clear_rods.json with both answers. Needs the optional extra `trace` and a recent
LLVM, as yarn_mesh.py says.

Knows meshes of curved tubes and the renderer's intersections, refraction and Fresnel's formulas;
knows nothing of weavecolor, nor of the tracer that made the file. The rods are triangle meshes with
smooth normals; what runs inside them is counted in mm for warp and weft, and dyes follow by
exp(-sigma L). A ray that leaves the meshed patch sideways is put back into the central repeat.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import drjit as dr
import numpy as np
from yarn_mesh import axis_height, mi

DATA = Path(__file__).parents[1] / "data" / "clear_rods.json"
AROUND, ALONG = 96, 48  # facets around a rod, and along it from crossing to crossing
EDGE = 3  # crossings of cloth beyond the repeat, on every side
GAP, WHITE = 0.5, 0.85  # furthest backing, mm; its reflectance
EPS = 1e-5  # start of a ray off the surface it left, mm


@dataclass(frozen=True)
class Rods:
    """The meshed cloth: warp triangles come first. Lengths mm; ``half`` its half thickness."""

    scene: Any
    warp_faces: int
    repeat: tuple[float, float]
    half: float
    side: float


def _tube(points: np.ndarray, across: np.ndarray, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and normals (S, AROUND, 3) of a tube about ``points`` (S, 3) lying in the plane of
    the cloth's normal, ``across`` the unit vector square to that plane."""
    tangent = np.gradient(points, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    up = np.cross(across, tangent)
    up *= np.sign(up[:, 2:3])
    angle = 2.0 * np.pi * np.arange(AROUND) / AROUND
    normal = np.cos(angle)[None, :, None] * across + np.sin(angle)[None, :, None] * up[:, None]
    return points[:, None] + radius * normal, normal


def mesh(cloth: dict[str, Any]) -> Rods:
    """The rods of one cloth of the file: x across the warp, y along it."""
    lift = np.array(cloth["lift"])
    picks, ends = lift.shape
    sw, sf = cloth["warp_spacing_mm"], cloth["weft_spacing_mm"]
    vertices: list[np.ndarray] = []
    normals: list[np.ndarray] = []
    faces: list[np.ndarray] = []
    start = 0
    warp_faces = 0
    for system in (0, 1):
        count, other = (ends, picks) if system == 0 else (picks, ends)
        step, pitch = (sf, sw) if system == 0 else (sw, sf)
        name = ("warp", "weft")[system]
        swing, radius = cloth[f"{name}_swing_mm"], 0.5 * cloth[f"{name}_diameter_mm"]
        s = np.linspace(-EDGE, other + EDGE, (other + 2 * EDGE) * ALONG + 1)
        for k in range(-EDGE, count + EDGE + 1):
            levels = lift[:, k % ends] if system == 0 else 1 - lift[k % picks]
            z = swing * axis_height(list(levels), s)[0]
            if system == 0:
                points = np.stack([np.full_like(s, k * pitch), s * step, z], 1)
                across = np.array([1.0, 0.0, 0.0])
            else:
                points = np.stack([s * step, np.full_like(s, k * pitch), z], 1)
                across = np.array([0.0, 1.0, 0.0])
            at, normal = _tube(points, across, radius)
            i, j = np.meshgrid(np.arange(len(s) - 1), np.arange(AROUND), indexing="ij")
            one, two = start + i * AROUND + j, start + i * AROUND + (j + 1) % AROUND
            three, four = one + AROUND, two + AROUND
            made = np.concatenate(
                [np.stack([one, two, three], -1).reshape(-1, 3),
                 np.stack([two, four, three], -1).reshape(-1, 3)]
            )  # fmt: skip
            # facets wind so that their own normal points outwards, too
            a, b, c = (at.reshape(-1, 3)[made[0, m] - start] for m in range(3))
            if np.dot(np.cross(b - a, c - a), normal.reshape(-1, 3)[made[0, 0] - start]) < 0.0:
                made = made[:, [0, 2, 1]]
            vertices.append(at.reshape(-1, 3))
            normals.append(normal.reshape(-1, 3))
            faces.append(made)
            start += at.shape[0] * AROUND
            if system == 0:
                warp_faces += len(made)
    every, index = np.concatenate(vertices), np.concatenate(faces)
    shape = mi.Mesh("rods", len(every), len(index), has_vertex_normals=True)
    held = mi.traverse(shape)
    held["vertex_positions"] = every.astype(np.float32).ravel()
    held["vertex_normals"] = np.concatenate(normals).astype(np.float32).ravel()
    held["faces"] = index.astype(np.uint32).ravel()
    held.update()
    scene = mi.load_dict({"type": "scene", "rods": shape})
    half = max(
        cloth["warp_swing_mm"] + 0.5 * cloth["warp_diameter_mm"],
        cloth["weft_swing_mm"] + 0.5 * cloth["weft_diameter_mm"],
    )
    return Rods(scene, warp_faces, (ends * sw, picks * sf), half + 1e-4, (EDGE - 1) * min(sw, sf))


def shares(
    rods: Rods, index: float, dyes: list[tuple[float, float]], light: Any, paths: int, seed: int
) -> dict[str, np.ndarray]:
    """Shares by dye: reflected, transmitted (the first time), reflected_over_white; then beam and
    lost. ``dyes`` are sigma (warp, weft), 1/mm; ``light`` (zenith, azimuth from the warp) in
    degrees, or "diffuse"."""
    sums = [float(dr.mean(v)[0]) for v in _run(rods, index, dyes, light, paths, seed)]
    n = len(dyes)
    return {
        "reflected": np.array(sums[:n]),
        "transmitted": np.array(sums[n : 2 * n]),
        "reflected_over_white": np.array(sums[2 * n : 3 * n]),
        "beam": np.array(sums[-2]),
        "lost": np.array(sums[-1]),
    }


@dr.syntax
def _run(rods, index, dyes, light, paths, seed):
    Float, Bool, UInt = mi.Float, mi.Bool, mi.UInt32
    scene, half, warp_faces, side = rods.scene, rods.half, rods.warp_faces, rods.side
    lx, ly = rods.repeat
    rng = mi.PCG32(size=paths, initstate=seed)
    if dr.hint(isinstance(light, str), mode="scalar"):
        d = -mi.Vector3f(
            mi.warp.square_to_cosine_hemisphere(
                mi.Point2f(rng.next_float32(), rng.next_float32())
            )
        )
    else:
        zenith, azimuth = np.radians(light)
        d = mi.Vector3f(
            dr.full(Float, float(np.sin(zenith) * np.sin(azimuth)), paths),
            dr.full(Float, float(-np.sin(zenith) * np.cos(azimuth)), paths),
            dr.full(Float, float(-np.cos(zenith)), paths),
        )
    o = mi.Point3f(rng.next_float32() * lx, rng.next_float32() * ly, dr.full(Float, half, paths))
    n = len(dyes)
    up = [dr.zeros(Float, paths) for _ in range(n)]
    down = [dr.zeros(Float, paths) for _ in range(n)]
    over = [dr.zeros(Float, paths) for _ in range(n)]
    beam, lost = dr.zeros(Float, paths), dr.zeros(Float, paths)
    ran_warp, ran_weft = dr.zeros(Float, paths), dr.zeros(Float, paths)
    weight = dr.full(Float, 1.0, paths)
    inside = dr.full(Bool, False, paths)
    first = dr.full(Bool, True, paths)  # the backing was not met yet
    events = dr.zeros(UInt, paths)
    active = dr.full(Bool, True, paths)
    while dr.hint(active, exclude=[rods, scene, dyes, light, index], strict=False):
        # back into the central repeat, unless within a rod, which is never long
        o.x = o.x - lx * dr.floor(o.x / lx)
        o.y = o.y - ly * dr.floor(o.y / ly)
        edge = dr.select(d.z > 0.0, half, -half)
        safe = dr.select(dr.abs(d.z) < 1e-7, dr.copysign(Float(1e-7), d.z), d.z)
        t_slab = dr.maximum((edge - o.z) / safe, 0.0)
        t_side = side / dr.maximum(dr.sqrt(d.x * d.x + d.y * d.y), 1e-6)
        t_most = dr.select(inside, t_side, dr.minimum(t_slab, t_side))
        ray = mi.Ray3f(o, d, t_most, 0.0, mi.Color0f())
        found = scene.ray_intersect_preliminary(ray, coherent=False, active=active)
        si = found.compute_surface_interaction(ray, mi.RayFlags.All, active)
        hit = active & si.is_valid()
        far = dr.select(hit, si.t, t_most)
        warp = found.prim_index < warp_faces
        outward = dr.dot(si.n, d) > 0.0
        # inside and outside are told by the facet that is met; what disagrees is an accident
        wrong = hit & (outward != inside)
        lost += dr.select(wrong, 1.0, 0.0)
        ran_warp += dr.select(hit & inside & warp, far, 0.0)
        ran_weft += dr.select(hit & inside & ~warp, far, 0.0)
        o = dr.select(active, o + far * d, o)
        # the renderer's Fresnel and refraction at the smooth normal
        normal = si.sh_frame.n
        cosine = -dr.dot(d, normal)
        share, cos_t, eta_it, eta_ti = mi.fresnel(cosine, index)
        mirrored = dr.normalize(d + 2.0 * cosine * normal)
        bent = dr.normalize(mi.Vector3f(eta_ti * d + (eta_ti * cosine + cos_t) * normal))
        back = rng.next_float32() < share
        inside = dr.select(hit & ~back, ~inside, inside)
        d = dr.select(hit, dr.select(back, mirrored, bent), d)
        o = dr.select(hit, o + EPS * dr.select(inside, -1.0, 1.0) * si.n, o)
        events += dr.select(hit, UInt(1), UInt(0))

        out = active & ~hit & ~inside & (t_slab <= t_side)
        rises, falls = out & (d.z > 0.0), out & (d.z <= 0.0)
        beam += dr.select(falls & first & (events == 0), 1.0, 0.0)
        for k in range(n):
            kept = dr.exp(-(dyes[k][0] * ran_warp + dyes[k][1] * ran_weft))
            up[k] += dr.select(rises & first, kept, 0.0)
            down[k] += dr.select(falls & first, kept, 0.0)
            over[k] += dr.select(rises, weight * kept, 0.0)
        # on to the backing, and from there evenly back
        gap = rng.next_float32() * GAP
        new = mi.Vector3f(
            mi.warp.square_to_cosine_hemisphere(
                mi.Point2f(rng.next_float32(), rng.next_float32())
            )
        )
        new.z = dr.maximum(new.z, 1e-3)
        land = o + gap / dr.maximum(-d.z, 1e-6) * d + gap / new.z * new
        o = dr.select(falls, mi.Point3f(land.x, land.y, -half), o)
        d = dr.select(falls, new, d)
        weight = dr.select(falls, weight * WHITE, weight)
        first &= ~falls
        gone = (events > 400) | (hit & (ran_warp + ran_weft > 1e3))
        lost += dr.select(active & gone, 1.0, 0.0)
        active &= ~rises & ~wrong & ~gone & (weight > 1e-3)
    return [*up, *down, *over, beam, lost]


def dyes_of(about: dict[str, Any], cloth: dict[str, Any]) -> list[tuple[float, float]]:
    """sigma (warp, weft), 1/mm, of every dye of the file on one cloth."""
    d = cloth["warp_diameter_mm"]
    return [(a / d, b / d) for a, b in about["dyes"]]


ABOUT = (
    "One cloth of clear, dyed rods by two tracers that share nothing. told: the rows of one layer "
    "of the reference for woven clear filaments, with their paths; traced: the same by the general "
    "renderer mitsuba, made by tests/reference/clear_rods.py. Shares of the light by dye; light: "
    "[zenith, azimuth from the warp] in degrees, or diffuse; sigma (warp, weft) in 1/mm."
)


def main(path: str, name: str, paths: int = 100_000) -> None:
    """Trace every row of one layer of one cloth, and keep both answers."""
    with open(path, encoding="utf-8") as file:
        table = json.load(file)
    cloth = table["cloths"][name]
    rods = mesh(cloth)
    dyes = dyes_of(table, cloth)
    rows = []
    for number, row in enumerate(table["rows"]):
        if row["cloth"] != name or row["layers"] != 1:
            continue
        got = shares(rods, cloth["index"], dyes, row["light"], paths, 7 + number)
        keys = ("reflected", "transmitted", "reflected_over_white", "beam")
        told = {key: row[key] for key in (*keys, "paths")}
        traced = {key: got[key].round(5).tolist() for key in (*keys, "lost")}
        rows.append({"light": row["light"], "told": told, "traced": {**traced, "paths": paths}})
        print(row["light"], told, traced, flush=True)
        held = {"about": ABOUT, "name": name, "cloth": cloth, "sigma": dyes, "rows": rows}
        DATA.write_text(json.dumps(held, indent=0) + "\n", "utf-8")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], *map(int, sys.argv[3:]))
