"""How long the renderer takes for one cloth to 1 % error, by two programs.

Knows the tracer; knows nothing of weavecolor.
"""

from __future__ import annotations

import os
import time

import numpy as np
import yarn_mesh as ym
import yarn_tracer as yt
from yarn_mesh import mi


def speed(channels: list[tuple[float, float]]) -> dict:
    """Time to 1 % standard error (worst of 5 views x 4 colours over black), one layer, 45/45.

    Also the same cloth with the renderer's own path integrator, one view and three colours at a
    time, over a finite patch: a second, independent program for the same numbers. At so few
    photons starting the kernels costs more than the rays: the share of a large batch leaves it out.
    """
    cover, inc = (0.5, 0.4), (45, 45)
    start = time.perf_counter()
    sheet = ym.Sheet(cover)
    built = time.perf_counter()
    views = yt.five_views(inc[1])

    def once(side, seed):
        return yt.trace(sheet, yt.Setup(), inc, views, channels, side, seed)

    once(64, 0)
    compiled = time.perf_counter()
    b = np.array([once(64, s)["brf"][:, :4] for s in range(1, 41)])
    rel = float((b.std(0, ddof=1) / b.mean(0)).max())  # of 64^2 photons
    side = int(np.ceil(64 * rel / 0.01))
    once(side, 1)
    runs, cpu = time.perf_counter(), time.process_time()
    got = [once(side, s) for s in range(2, 12)]
    wall, cpu = (time.perf_counter() - runs) / 10, (time.process_time() - cpu) / 10
    once(512, 1)
    big_wall, big_cpu = time.perf_counter(), time.process_time()
    once(512, 2)
    big_wall, big_cpu = time.perf_counter() - big_wall, time.process_time() - big_cpu
    scale = side**2 / 512**2
    check = np.array([g["brf"][:, :4] for g in got])
    return {
        "case": "plain weave 0.5 x 0.4, one layer over black, light 45/45: 5 views x 4 colours, "
        "all to 1 % standard error",
        "cores": os.cpu_count(),
        "mesh_and_tree_seconds": round(built - start, 2),
        "compile_seconds": round(compiled - built, 2),
        "photons": side * side,
        "rays": round(side * side * float(got[0]["rays"][0])),
        "wall_seconds": round(wall, 4),
        "cpu_seconds": round(cpu, 4),
        "wall_seconds_as_share_of_a_large_batch": round(big_wall * scale, 4),
        "cpu_seconds_as_share_of_a_large_batch": round(big_cpu * scale, 4),
        "load_average": os.getloadavg()[0],
        "rel_se_seen": round(float((check.std(0, ddof=1) / check.mean(0)).max()), 4),
        "stock_integrator": _stock(sheet, inc, views, channels),
    }


def _stock(sheet: ym.Sheet, inc, views, channels) -> dict:
    """The renderer's own path integrator on the same meshes, normal and hot-spot views."""
    shape = sheet.scene.shapes()[0]
    params = mi.traverse(shape)
    v = np.array(params["vertex_positions"]).reshape(-1, 3)
    f = np.array(params["faces"]).reshape(-1, 3)

    def part(faces, albedo):
        props = mi.Properties()
        props["bsdf"] = mi.load_dict(
            {"type": "diffuse", "reflectance": {"type": "rgb", "value": list(albedo)}}
        )
        mesh = mi.Mesh("part", len(v), len(faces), props=props)
        p = mi.traverse(mesh)
        p["vertex_positions"], p["faces"] = v.ravel(), faces.astype(np.uint32).ravel()
        p.update()
        return mesh

    three = np.array(channels)[[0, 2, 3]]  # one rgb image
    light = yt.direction(*inc)
    out = []
    for k in (0, 2):
        d = yt.direction(*views[k])
        across = np.array([-np.sin(np.radians(views[k][1])), np.cos(np.radians(views[k][1])), 0])
        # an orthographic window, turned 45 degrees, that covers just 4 of the diagonal repeats
        half = 2.0**0.5
        to_world = mi.ScalarTransform4f().look_at(
            origin=(np.array([1.0, 1.0, 0.0]) + 10 * d).tolist(), target=[1.0, 1.0, 0.0],
            up=np.cross(across, d).tolist(),
        ) @ mi.ScalarTransform4f().scale([half, half * d[2], 1.0])  # fmt: skip
        scene = mi.load_dict(
            {
                "type": "scene",
                "integrator": {"type": "path", "max_depth": 64, "rr_depth": 5},
                "warp": part(f[: sheet.n_warp_faces], three[:, 0]),
                "weft": part(f[sheet.n_warp_faces :], three[:, 1]),
                "light": {
                    "type": "directional",
                    "direction": (-light).tolist(),
                    "irradiance": {"type": "rgb", "value": [float(np.pi / light[2])] * 3},
                },
                "sensor": {
                    "type": "orthographic",
                    "to_world": to_world,
                    "film": {
                        "type": "hdrfilm",
                        "width": 64,
                        "height": 64,
                        "rfilter": {"type": "box"},
                    },
                    "sampler": {"type": "independent", "sample_count": 4},
                },
            }
        )

        def once(spp, seed, scene=scene):
            return np.array(mi.render(scene, spp=spp, seed=seed)).mean((0, 1), dtype=float)[:3]

        once(4, 0)
        t0 = time.perf_counter()
        b = np.array([once(4, s) for s in range(1, 21)])
        t = (time.perf_counter() - t0) / 20
        rel = float((b.std(0, ddof=1) / b.mean(0)).max())
        seen = {
            "view": list(views[k]),
            "colours": ["R", "grey.5", "grey.8"],
            "brf": np.round(b.mean(0), 5).tolist(),
            "rel_se": round(rel / 20**0.5, 5),
            "paths_per_image": 4 * 64 * 64,
            "wall_seconds_per_image": round(t, 4),
            "rel_se_of_image": round(rel, 5),
        }
        out.append(seen)
    return {"about": "path integrator, orthographic view, finite patch", "views": out}
