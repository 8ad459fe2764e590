"""Make the hung shapes and bodies that the package ships.

    python swatches/shapes/make.py             all of them (an hour of one core)
    python swatches/shapes/make.py NAME...     these
    python swatches/shapes/make.py --mend NAME...   smooth away what still pierces in these
    python swatches/shapes/make.py --draw-in NAME...   sew gathers of these close under their bands
    python swatches/shapes/make.py --open NAME...   how open what these hang on is to the room
    python swatches/shapes/make.py --list

Needs a C compiler (``cc``). Writes ``weavecolor/data/shapes``. The same seed gives the same shape
on the same machine and compiler; elsewhere folds may fall otherwise, for small differences grow.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import replace
from pathlib import Path

import bodies
import garments
import numpy as np
import pack
from garments import finer
from hang import CLOTHS, Hanging, crossings, openness, quad_corners
from scipy.interpolate import RegularGridInterpolator

from weavecolor.front import load_cloth
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.hanging import Cover, stage
from weavecolor.picture.shapes import load_form, load_shape, read_form, read_shape, shape_names

OUT = Path(__file__).resolve().parents[2] / "weavecolor" / "data" / "shapes"


def say(*words):
    print(time.strftime("%H:%M:%S"), *words, flush=True)


def normals_of(places, quads):
    p = places.reshape(-1, 3)
    d1, d2 = p[quads[:, 2]] - p[quads[:, 0]], p[quads[:, 3]] - p[quads[:, 1]]
    across = np.cross(d1, d2)
    out = np.zeros_like(p)
    for k in range(4):
        for c in range(3):
            out[:, c] += np.bincount(quads[:, k], across[:, c], len(p))
    return out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)


def smoothed(values, wrap):
    """A share averaged a little over its neighbours, against the grain of few rays."""
    a = np.pad(values, ((1, 1), (0, 0)), mode="edge")
    a = 0.25 * a[:-2] + 0.5 * a[1:-1] + 0.25 * a[2:]
    a = np.pad(a, ((0, 0), (1, 1)), mode="wrap" if wrap else "edge")
    return 0.25 * a[:, :-2] + 0.5 * a[:, 1:-1] + 0.25 * a[:, 2:]


def level(pattern, places, reach):
    """The pattern with its hem cut so that it hangs even, as marked from the floor."""
    z = places[-1, :, 2]
    pitch = np.linalg.norm(pattern.lay[-1, 1] - pattern.lay[-1, 0])
    half = max(1, round(reach / pitch))
    kernel = np.hanning(2 * half + 3)[1:-1]
    padded = np.pad(z, half, mode="wrap" if pattern.wrap else "edge")
    z = np.convolve(padded, kernel / kernel.sum(), "valid")
    down = pattern.down()[-1, : places.shape[1]]
    # a fold that is caught up is not cut longer, or it would crumple when it comes free
    more = np.clip(z - np.median(z), -25.0, 10.0)
    return replace(pattern, start=places).lengthened(1 + more / down)


def mended(places, wrap, step, most=80):
    """Places with what still pierces smoothed away, on a lattice of ``step`` mm an axis.

    About every edge that pierces, cloth is drawn towards the mean of its neighbours until nothing
    pierces; the top row stays. Returns places and how many edges still pierce.
    """
    rows, columns = places.shape[:2]
    quads = quad_corners(rows, columns, wrap).reshape(-1, 4)
    corners = np.array([(0, 1), (1, 2), (2, 3), (3, 0), (0, 2)])
    origin = places.reshape(-1, 3).min(axis=0)
    p = places.copy()
    for _ in range(most):
        p = origin + np.rint((p - origin) / step) * step
        marks = crossings(p, quads)
        if not marks.any():
            break
        q, e = np.nonzero(marks)
        near = np.zeros(rows * columns)
        near[quads[q[:, None], corners[e]].ravel()] = 1.0
        near = near.reshape(rows, columns)
        for _ in range(2):
            pad = np.pad(near, ((1, 1), (0, 0)))
            side = np.pad(near, ((0, 0), (1, 1)), mode="wrap" if wrap else "constant")
            near = np.max(
                [near, 0.5 * pad[:-2], 0.5 * pad[2:], 0.5 * side[:, :-2], 0.5 * side[:, 2:]], 0
            )
        near[0] = 0.0
        up = np.pad(p, ((1, 1), (0, 0), (0, 0)), mode="edge")
        side = np.pad(p, ((0, 0), (1, 1), (0, 0)), mode="wrap" if wrap else "edge")
        mean = 0.25 * (up[:-2] + up[2:] + side[:, :-2] + side[:, 2:])
        p = p + 0.5 * near[..., None] * (mean - p)
    return p, int(marks.sum())


def mend(name):
    """Mend a shape that is shipped, in place."""
    file = OUT / f"{name}.shape"
    data = file.read_bytes()
    shape = read_shape(data)
    vertices = shape.vertices.astype(float)
    pieces = [g for g in shape.grids if g.part == "cloth"]
    parts = [
        vertices[g.start : g.start + g.rows * g.columns].reshape(g.rows, g.columns, 3)
        for g in pieces
    ]
    wrap = np.allclose(parts[0][:, 0], parts[-1][:, -1], atol=1e-3)
    whole = np.concatenate([part[:, :-1] for part in parts], 1)
    if not wrap:
        whole = np.concatenate([whole, parts[-1][:, -1:]], 1)
    step = np.ptp(vertices, axis=0) / 65534
    before = int(crossings(whole, quad_corners(*whole.shape[:2], wrap).reshape(-1, 4)).sum())
    whole, left = mended(whole, wrap, step)
    at = 0
    for g in pieces:
        n = (at + np.arange(g.columns)) % whole.shape[1]
        vertices[g.start : g.start + g.rows * g.columns] = whole[:, n].reshape(-1, 3)
        at += g.columns - 1
    about = {"pierced_share": left / (3 * len(shape.quads)), "mended": before}
    rewrite(file, data, shape, vertices, about)
    say(f"{name}: {before} edges pierced, {left} after mending")


def rewrite(file, data, shape, vertices, about):
    """Write a shape that was read from ``data`` with other ``vertices``, and more ``about`` it."""
    header = json.loads(data[12 : 12 + int.from_bytes(data[8:12], "little")])
    header.pop("arrays")
    header["about"].update(about)
    file.write_bytes(
        pack.shape_file(
            header, vertices, shape.cloth_mm,
            {k: getattr(shape, k) for k in ("open_front", "body_front", "open_back", "body_back")},
            {k: getattr(shape, k) for k in ("to_hem_mm", "to_seam_mm", "to_selvedge_mm")},
        )  # fmt: skip
    )


def drawn_in(places, tight=0.2, over=40.0):
    """Places (..., 3) with gathers drawn in to a share ``tight`` of their depth where they are sewn
    under a band, and free ``over`` mm further down: along straight lines out of the body, so that
    nothing pierces that did not."""
    angle, z = np.arctan2(places[..., 1], places[..., 0]), places[..., 2]
    body = bodies.torso_radius(angle, z)
    away = np.hypot(places[..., 0], places[..., 1])
    sewn = bodies.WAIST_Z - 4.0
    # what lies on the lining stays there
    least = np.interp(z, [sewn - 46.0, sewn - 16.0, sewn, sewn + 4.0], [6.7, 5.5, 5.0, 2.5])
    down = np.clip((sewn - z) / over, 0.0, 1.0)
    share = tight + (1.0 - tight) * down**2 * (3.0 - 2.0 * down)
    off = away - body
    off = np.where((off > least) & (down < 1.0), least + (off - least) * share, off)
    return places * np.stack([(body + off) / away] * 2 + [np.ones_like(z)], -1)


def draw_in(name):
    """Draw gathers of a shape that is shipped in, in place."""
    file = OUT / f"{name}.shape"
    data = file.read_bytes()
    shape = read_shape(data)
    if "drawn_in" in shape.about:
        sys.exit(f"{name}: its gathers are drawn in")
    vertices = shape.vertices.astype(float)
    cloth = ~shape.band
    vertices[cloth] = drawn_in(vertices[cloth])
    rewrite(file, data, shape, vertices, {"drawn_in": True})
    say(f"{name}: gathers drawn in")


def write(name, form, cloth, fullness, pattern, hanging, *, seam, body, about, band=None,
          inner=()):  # fmt: skip
    """Measure openness and write one shape."""
    places, quads = hanging.places, hanging.quads
    places, pierced = mended(places, pattern.wrap, np.ptp(places.reshape(-1, 3), axis=0) / 65534)
    rows, columns = hanging.shape
    wrap = pattern.wrap
    normals = normals_of(places, quads)
    tri = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    p = places.reshape(-1, 3)
    body_v, body_t = body_mesh(body)
    all_p, body_tri = np.concatenate([p, body_v]), body_t + len(p)
    shares = {}
    for side, sign in (("front", 1.0), ("back", -1.0)):
        free, met = openness(all_p, tri, body_tri, p, sign * normals, np.arange(len(p)))
        shares["open_" + side] = smoothed(free.reshape(rows, columns), wrap)
        shares["body_" + side] = smoothed(met.reshape(rows, columns), wrap)
    grids, start = [], 0
    out = {k: [] for k in ("vertices", "cloth", "to_hem_mm", "to_seam_mm", "to_selvedge_mm")}
    held = {k: [] for k in shares}
    for n, to_hem, to_seam, to_selvedge in pattern.pieces():
        m = n % columns
        on = pattern.to_grain(pattern.lay[:, n])
        if not pattern.centre:
            on = on - on[:1, :1]
        grids.append({"part": "cloth", "start": start, "rows": rows, "columns": len(n)})
        start += rows * len(n)
        out["vertices"].append(places[:, m].reshape(-1, 3))
        out["cloth"].append(on.reshape(-1, 2))
        out["to_hem_mm"].append(to_hem.ravel() if pattern.hem else np.full(to_hem.size, np.inf))
        out["to_seam_mm"].append(to_seam.ravel())
        out["to_selvedge_mm"].append(to_selvedge.ravel())
        for k, s in shares.items():
            held[k].append(s[:, m].ravel())
    if band is not None:
        bp, bc, bshares = band
        count = bp.shape[0] * bp.shape[1]
        grids.append({"part": "band", "start": start, "rows": bp.shape[0], "columns": bp.shape[1]})
        out["vertices"].append(bp.reshape(-1, 3))
        out["cloth"].append(bc.reshape(-1, 2))
        for k in ("to_hem_mm", "to_seam_mm", "to_selvedge_mm"):
            out[k].append(np.full(count, np.inf))
        for k in held:
            held[k].append(np.full(count, bshares[k]))
    j = {k: np.concatenate(a) for k, a in out.items()}
    z = places[-1, :, 2]
    measured = {
        "pierced_share": pierced / (3 * len(quads)),
        "hem_height_mm": [round(float(z.min()), 1), round(float(z.max()), 1)],
    }
    header = {
        "name": name, "form": form, "cloth_kind": cloth.name, "role": "outer",
        "fullness": fullness, "hem_mm": pattern.hem, "seam_mm": seam, "grids": grids,
        "inner": list(inner), "body": body,
        "about": {
            "weight_g_m2": cloth.weight, "bending_uN_m": cloth.bending,
            "shear_N_m": cloth.shear, "made_by": "swatches/shapes/make.py", **about, **measured,
        },
    }  # fmt: skip
    data = pack.shape_file(
        header,
        j["vertices"],
        j["cloth"],
        {k: np.concatenate(a) for k, a in held.items()},
        {k: j[k] for k in ("to_hem_mm", "to_seam_mm", "to_selvedge_mm")},
    )
    OUT.mkdir(parents=True, exist_ok=True)
    (OUT / f"{name}.shape").write_bytes(data)
    say(f"{name}: {len(j['vertices'])} vertices, {len(data) / 1000:.0f} kB, {measured}")


_BODIES = {}


def body_mesh(name):
    if not name:
        return np.zeros((0, 3)), np.zeros((0, 3), int)
    if name not in _BODIES:
        made = OUT / f"{name}.body"
        if made.exists():
            form = read_form(made.read_bytes())
            _BODIES[name] = form.vertices.astype(float), form.triangles
        else:
            _BODIES[name] = bodies.mesh(*bodies.BODIES[name])
    return _BODIES[name]


def body(name):
    p, t = bodies.mesh(*bodies.BODIES[name])
    t = t.astype(np.int32)
    _BODIES[name] = p, t
    a, b, c = (p[t[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    normals = np.zeros_like(p)
    for k in range(3):
        for d in range(3):
            normals[:, d] += np.bincount(t[:, k], across[:, d], len(p))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    free, _ = openness(p, t, np.zeros((0, 3), int), p, normals, np.arange(len(p)), 64)
    about = {"made_by": "swatches/shapes/make.py"}
    data = pack.body_file({"name": name, "about": about}, p, t, free)
    OUT.mkdir(parents=True, exist_ok=True)
    (OUT / f"{name}.body").write_bytes(data)
    say(f"{name}: {len(p)} vertices, {len(data) / 1000:.0f} kB")


def waistband(body_name="figure", tall=30.0, columns=120):
    """A band on the waist: places, place on the cloth (warp round the body), openness."""
    angle = -np.pi / 2 + np.linspace(0, 2 * np.pi, columns + 1)
    rows = np.linspace(0, 1, 5)
    # its seam lies on the gathers: beside them the body would show through the gap
    z = bodies.WAIST_Z - 2.5 + (tall + 2.9) * (1 - rows)
    # flat against the body above, over the thickness of the gathers below
    away = 2.5 + 4.0 * rows**2
    r = np.stack(
        [
            bodies.torso_radius(angle, np.full_like(angle, h)) + a
            for h, a in zip(z, away, strict=True)
        ]
    )
    places = np.stack(
        [r * np.cos(angle), r * np.sin(angle), np.repeat(z[:, None], columns + 1, 1)], -1
    )
    run = np.concatenate([[0], np.linalg.norm(np.diff(places[2], axis=0), axis=1).cumsum()])
    cloth = np.stack(np.broadcast_arrays((tall * rows)[:, None], run[None, :]), -1)
    shares = {"open_front": 0.95, "open_back": 0.0, "body_front": 0.0, "body_back": 1.0}
    return places, cloth, shares


def time_step(pattern, cloth):
    """The longest step, s, at which one sweep still gives the cloth its whole stiffness.

    Bending across cells of width h is a spring of 6 B / h^4 on the weight of an area.
    """
    wide = np.linalg.norm(np.diff(pattern.lay, axis=1), axis=-1)
    wide = np.percentile(wide, 30) / 1000
    stiff = 6 * cloth.bending * 1e-6 / (cloth.weight * 1e-3 * wide**4)
    return float(np.clip(np.sqrt(0.7 / stiff), 3e-4, 8e-4))


def hang(pattern, cloth, box, coarse, fine, *, radius=1.9, careful=8, friction=0.25,
         levels=1):  # fmt: skip
    """Hang cloth: coarse for a while, its hem made even, then finer. Seconds of cloth's time."""

    dt = time_step(pattern, cloth)

    def fresh(pattern, radius, careful):
        return Hanging(pattern, cloth, radius, box and (*box, 2.0), friction, careful)

    sim = fresh(pattern, radius, careful)
    say("start:", sim.n, "vertices, pierced", int(sim.crossings().sum()))
    for k in range(max(1, round(coarse / 0.4))):
        sim.run(0.4, dt, drag=3.0)
        z = sim.places[-1, :, 2]
        say(f"  {0.4 * (k + 1):.1f} s, hem", z.min().round(), z.max().round(),
            "pierced", int(sim.crossings().sum()))  # fmt: skip
    for _ in range(levels):
        pattern = level(pattern, sim.places, reach=60.0)
        sim.free()
        sim = fresh(pattern, radius, careful)
        sim.run(0.25, dt, drag=5.0)
    pattern = finer(pattern, sim.places)
    for share, drag in ((0.6, 4.0), (0.4, 6.0)):
        sim.free()
        sim = fresh(pattern, 0.8 * radius, 2 * careful)
        say("finer:", sim.n, "vertices, pierced", int(sim.crossings().sum()))
        sim.run(fine * share, dt, drag=drag, calm=0.15)
        if drag == 4.0 and levels:
            pattern = level(pattern, sim.places, reach=25.0)
        else:
            pattern = replace(pattern, start=sim.places)
    return pattern, sim


def skirt_box():
    return bodies.distances(bodies.lining_field, (-270, -250, 330), (270, 250, 1080), 10.0)


def _skirt(form, kind, fullness, pattern, about, **how):
    def make(name):
        cloth = CLOTHS[kind]
        times = {"coarse": 1.2 if fullness < 4 else 2.0, "fine": 0.4, **how}
        done, sim = hang(pattern(), cloth, skirt_box(), **times)
        inner = ["inner-slip", "inner-lining"]
        if kind in ("organza", "taffeta"):
            inner.append(f"inner-stiffener-{name}")
            stiffener(inner[-1], sim.places)
        write(
            name, form, cloth, fullness, done, sim, seam=6.0, body="figure", band=waistband(),
            about={"waist_mm": 700, **about}, inner=inner,
        )  # fmt: skip
        sim.free()

    return make


def gathered(fullness, kind, columns, rows, seed, **how):
    about = {"seed": seed, "length_mm": 660}
    return _skirt(
        "gathered skirt", kind, fullness,
        lambda: garments.gathered(fullness, columns, rows, seed), about, **how,
    )  # fmt: skip


def pleated(kind_of_pleat, pleats, kind, seed):
    about = {"seed": seed, "length_mm": 660, "pleats": pleats}
    return _skirt(
        f"{kind_of_pleat}-pleated skirt", kind, 3.0,
        lambda: garments.pleated(kind_of_pleat, pleats, 36, seed), about, coarse=0.8, levels=1,
    )  # fmt: skip


def circle(grain, kind, seed):
    about = {"seed": seed, "length_mm": 630, "grain_at_centre_front_deg": grain}
    return _skirt(
        "circle skirt on the " + ("bias" if grain else "straight"), kind, 1.0,
        lambda: garments.circle(grain, 240, 30, seed), about, coarse=4.0, fine=0.5, levels=4,
        radius=1.6, careful=0,
    )  # fmt: skip


def cape(kind, seed):
    def make(name):
        cloth = CLOTHS[kind]
        box = bodies.distances(bodies.stand_field, (-260, -220, 780), (260, 220, 1560), 8.0)
        done, sim = hang(
            garments.cape(220, 34, seed), cloth, box, 4.0, 0.5, radius=1.5, careful=0,
        )  # fmt: skip
        write(
            name, "cape", cloth, 1.0, done, sim, seam=6.0, body="figure",
            about={"seed": seed, "length_mm": 470},
        )  # fmt: skip
        sim.free()

    return make


def panel(kind, seed):
    def make(name):
        cloth = CLOTHS[kind]
        done, sim = hang(garments.panel(150, 38, seed), cloth, None, 1.2, 0.3)
        write(
            name, "hanging panel", cloth, 2.0, done, sim, seam=6.0, body="",
            about={"seed": seed, "length_mm": 900, "finished_mm": 560},
        )  # fmt: skip
        sim.free()

    return make


def swatch(kind, seed):
    def make(name):
        cloth = CLOTHS[kind]
        box = bodies.distances(bodies.hand_field, (-263, -124, -110), (162, 106, 60), 3.0)
        pattern = garments.swatch(72, seed)
        sim = Hanging(pattern, cloth, 1.5, (*box, 1.5), 0.5, 0)
        for k in range(3):
            sim.run(0.3, 2.5e-4, drag=4.0)
            say(f"  {0.3 * (k + 1):.1f} s, pierced", int(sim.crossings().sum()))
        sim.run(0.25, 2.5e-4, drag=8.0, calm=0.3)
        write(
            name, "swatch over a hand", cloth, 1.0, pattern, sim, seam=0.0, body="hand",
            about={"seed": seed, "size_mm": 300},
        )  # fmt: skip
        sim.free()

    return make


# ---------------------------------------------------------------- inside a skirt


def _inner(name, radius, bottom, kind, columns=144, rows=56):
    """A smooth closed surface round the body from the waist down: radius(angle, z)."""
    angle = garments.BACK + np.linspace(0, 2 * np.pi, columns + 1)
    z = np.linspace(bodies.WAIST_Z - 1.0, bottom, rows)
    r = np.stack([radius(angle, np.full_like(angle, h)) for h in z])
    # sewn into the waist seam with the skirt, under all its layers
    r = r - 2.4 * np.exp(-(bodies.WAIST_Z - z) / 9.0)[:, None]
    places = np.stack(
        [r * np.cos(angle), r * np.sin(angle), np.repeat(z[:, None], columns + 1, 1)], -1
    )
    places[:, -1] = places[:, 0]
    u = np.linalg.norm(np.diff(places, axis=1), axis=-1).cumsum(1)
    v = np.linalg.norm(np.diff(places, axis=0), axis=-1).cumsum(0)
    u = np.concatenate([np.zeros((rows, 1)), u], 1)
    v = np.concatenate([np.zeros((1, columns + 1)), v])
    u = u - u[:, -1:] / 2
    quads = quad_corners(rows, columns, True).reshape(-1, 4).astype(np.int32)
    p = places[:, :-1].reshape(-1, 3)
    normals = normals_of(p, quads)
    tri = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    body_v, body_t = body_mesh("figure")
    shares = {}
    for side, sign in (("front", 1.0), ("back", -1.0)):
        free, met = openness(
            np.concatenate([p, body_v]), tri, body_t + len(p), p, sign * normals, np.arange(len(p))
        )
        for what, values in (("open_", free), ("body_", met)):
            values = smoothed(values.reshape(rows, columns), True)
            shares[what + side] = np.concatenate([values, values[:, :1]], 1).ravel()
    far = np.full(u.size, np.inf)
    header = {
        "name": name, "form": kind, "cloth_kind": kind, "role": "inner", "fullness": 1.0,
        "hem_mm": 15.0, "seam_mm": 6.0, "inner": [], "body": "figure",
        "grids": [{"part": "cloth", "start": 0, "rows": rows, "columns": columns + 1}],
        "about": {"made_by": "swatches/shapes/make.py", "modelled": "a smooth surface, not hung"},
    }  # fmt: skip
    data = pack.shape_file(
        header, places.reshape(-1, 3), np.stack([u, v], -1).reshape(-1, 2), shares,
        {"to_hem_mm": (v[-1:] - v).ravel(), "to_seam_mm": (u[:, -1:] - np.abs(u)).ravel(),
         "to_selvedge_mm": far},
    )  # fmt: skip
    OUT.mkdir(parents=True, exist_ok=True)
    (OUT / f"{name}.shape").write_bytes(data)
    say(f"{name}: {u.size} vertices, {len(data) / 1000:.0f} kB")


def slip(name):
    def radius(angle, z):
        away = np.minimum(3.5, 0.6 + 2.9 * np.clip((bodies.WAIST_Z - z) / 190.0, 0, 1))
        return bodies.lining_radius(angle, z) - away - 1.0

    _inner(name, radius, 470.0, "slip")


def lining(name):
    _inner(name, lambda angle, z: bodies.lining_radius(angle, z) - 1.0, 452.0, "lining")


def stiffener(name, places):
    """A stiff petticoat that fills the skirt: as wide as fits within it, smoothly."""
    p = places.reshape(-1, 3)
    angles = garments.BACK + np.linspace(0, 2 * np.pi, 145)
    levels = np.linspace(bodies.WAIST_Z, 440.0, 41)
    turn, far = np.arctan2(p[:, 1], p[:, 0]), np.hypot(p[:, 0], p[:, 1])
    least = np.full((41, 144), np.inf)
    for i, h in enumerate(levels):
        near = np.abs(p[:, 2] - h) < 26
        k = np.floor((turn[near] - garments.BACK) / (2 * np.pi) * 144).astype(int) % 144
        np.minimum.at(least[i], k, far[near])
    wide = 12
    padded = np.pad(least, ((2, 2), (wide, wide)), mode="wrap")
    padded[:2], padded[-2:] = padded[2:3], padded[-3:-2]
    least = np.min([np.roll(padded, s, 1) for s in range(-wide, wide + 1)], 0)
    least = np.min([least[s : s + 41] for s in range(5)], 0)[:, wide:-wide]
    for _ in range(5):
        b = np.pad(least, ((1, 1), (3, 3)), mode="wrap")
        b[0], b[-1] = b[1], b[-2]
        b = np.mean([b[:, 3 + s : 147 + s] for s in range(-3, 4)], 0)
        least = np.minimum(least + 0.4, (b[:-2] + 2 * b[1:-1] + b[2:]) / 4)
    field = RegularGridInterpolator(
        (levels[::-1], angles), np.concatenate([least, least[:, :1]], 1)[::-1],
        bounds_error=False, fill_value=None,
    )  # fmt: skip

    def radius(angle, z):
        a = (angle - garments.BACK) % (2 * np.pi) + garments.BACK
        inside = field(np.stack([z, a], -1)) - 5.0
        base = bodies.lining_radius(angle, z) - 0.7
        return np.maximum(base, inside) if z[0] < bodies.WAIST_Z - 25 else base

    _inner(name, radius, 458.0, "stiffener")


SHAPES = {
    "inner-slip": slip,
    "inner-lining": lining,
    "gathered-3-organza": gathered(3.0, "organza", 350, 36, 1),
    "gathered-3-chiffon": gathered(3.0, "chiffon", 350, 36, 2),
    "gathered-2-organza": gathered(2.0, "organza", 260, 36, 3),
    "gathered-2-chiffon": gathered(2.0, "chiffon", 240, 36, 4),
    "gathered-5-organza": gathered(5.0, "organza", 410, 31, 5),
    "gathered-5-chiffon": gathered(5.0, "chiffon", 430, 31, 6),
    "panel-organza": panel("organza", 7),
    "panel-chiffon": panel("chiffon", 66),
    "swatch-hand-organza": swatch("organza", 9),
    "swatch-hand-chiffon": swatch("chiffon", 10),
    "circle-straight-organza": circle(0, "organza", 11),
    "circle-bias-organza": circle(45, "organza", 12),
    "circle-straight-chiffon": circle(0, "chiffon", 13),
    "circle-bias-chiffon": circle(45, "chiffon", 14),
    "pleated-knife-taffeta": pleated("knife", 24, "taffeta", 15),
    "pleated-box-taffeta": pleated("box", 14, "taffeta", 16),
    "pleated-knife-chiffon": pleated("knife", 24, "chiffon", 17),
    "cape-organza": cape("organza", 18),
    "cape-chiffon": cape("chiffon", 23),
    "gathered-3-taffeta": gathered(3.0, "taffeta", 350, 36, 20),
    "gathered-3-voile": gathered(3.0, "voile", 350, 36, 21),
}


def open_places(name):
    """Write how open body, lining and floor are under a shape, for each way it is drawn."""
    shape = read_shape((OUT / f"{name}.shape").read_bytes())
    found = {}
    for body in {"", shape.body}:
        form = load_form(body) if body else None
        for worn in ("", "inner-lining") if body and "inner-lining" in shape.inner else ("",):
            under = load_shape(worn) if worn else None
            made = stage([Cover(shape, Stack((Layer(load_cloth("muslin-white")),)))], form,
                         beneath=under)  # fmt: skip
            shares = np.concatenate([made.body_open, made.floor_open])[:, :3]
            found[f"{body}+{worn}"] = np.rint(255.0 * shares).astype(np.uint8)
    np.savez_compressed(OUT / f"{name}.open.npz", **found)
    say(name, sorted(found))


def main(names):
    known = [*bodies.BODIES, *SHAPES]
    if "--list" in names:
        print("\n".join(known))
        return
    if names[:1] == ["--mend"]:
        for name in names[1:]:
            mend(name)
        return
    if names[:1] == ["--draw-in"]:
        for name in names[1:]:
            draw_in(name)
            open_places(name)
        return
    if names[:1] == ["--open"]:
        for name in names[1:] or shape_names():
            open_places(name)
        return
    for name in names:
        if name not in known:
            sys.exit(f"no shape called {name!r}; use {', '.join(known)}")
    for name in names or known:
        if name in bodies.BODIES:
            body(name)
        else:
            SHAPES[name](name)
            if name.startswith("gathered"):
                draw_in(name)
            open_places(name)


if __name__ == "__main__":
    main(sys.argv[1:])
