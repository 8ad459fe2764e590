"""Brute-force light transport through sheets of explicitly modelled Lambertian yarns.

Knows how to follow light through periodic sheets over a flat backing with the ray intersections
and the compiler of the general renderer mitsuba; the path loop is written here. Must not know:
anything of weavecolor, whose optics are checked against the numbers made here.

The method is plain Monte Carlo light tracing: photons start uniformly over the weave repeat, are
scattered by Lambertian yarns and backing, and at every scattering are connected to the views by
shadow rays. Every photon carries all albedo channels at once; its part before it first touches
the backing is the result over black. A ray that leaves the meshed patch sideways is put back
into the central repeat, so the cloth is endless at any grazing angle. Azimuth is measured from
+x (along the warp, in the order of the picks) towards +y (the order of the ends).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import drjit as dr
import numpy as np
from yarn_mesh import MARGIN, Sheet, mi

EPS = 2e-5  # start of a scattered ray above its facet, spacings


@dataclass(frozen=True)
class Setup:
    """What is laid on what.

    turns: grain angle of each sheet, degrees, top first. distance: from mid-plane to mid-plane
    and from the last mid-plane to the backing; jitter: each distance is drawn once per photon,
    uniform in distance -+ jitter. The sheets are shifted sideways at random, once per photon;
    uncorrelated: the shift is drawn anew at every passage, so that a photon forgets the opening
    it came through. backing: Lambertian reflectance of the backing (black is always computed).
    """

    turns: tuple[float, ...] = (0.0,)
    distance: float = 3.0
    jitter: float = 0.0
    uncorrelated: bool = False
    backing: float = 0.85


def direction(theta: float, az: float) -> np.ndarray:
    """Unit vector pointing away from the cloth; degrees, azimuth from the warp."""
    t, a = np.radians([theta, az])
    return np.array([np.sin(t) * np.cos(a), np.sin(t) * np.sin(a), np.cos(t)])


def five_views(az: float) -> list[tuple[float, float]]:
    """(zenith, azimuth) of: normal, mirror45, same45 (hot spot), same30, side45."""
    return [(0.0, az), (45.0, az + 180.0), (45.0, az), (30.0, az), (45.0, az + 90.0)]


def trace(
    sheet: Sheet,
    setup: Setup,
    inc: tuple[float, float] | str,
    views: Sequence[tuple[float, float]],
    albedos: Sequence[tuple[float, float]],
    side: int,
    seed: int,
    max_events: int = 400,
) -> dict[str, np.ndarray]:
    """Batch means over side * side photons, each of unit irradiance (brf = pi L / E).

    inc: (zenith, azimuth) in degrees, or "diffuse" (uniform hemisphere).

    brf (views, 2 C) and Rup (2 C): C channels over black, then C over the backing. Tdn (C):
    share that reaches the backing plane for the first time. S1 (views, 2): single scattering
    over black per unit albedo of (warp, weft). first (3): share first met by warp, by weft, or
    by neither in any sheet. lost: photons given up. rays: traced rays per photon.
    """
    sums = _run(sheet, setup, inc, views, albedos, side, seed, max_events)
    flat = np.array([dr.mean(v)[0] for v in sums], float)
    n_v, n_c = len(views), len(albedos)
    shapes = {
        "brf": (n_v, 2 * n_c),
        "Rup": (2 * n_c,),
        "Tdn": (n_c,),
        "S1": (n_v, 2),
        "first": (3,),
        "lost": (1,),
        "rays": (1,),
    }
    out, k = {}, 0
    for name, shape in shapes.items():
        n = int(np.prod(shape))
        out[name] = flat[k : k + n].reshape(shape)
        k += n
    return out


def _enter(sheet: Sheet, o, d, cos_t, sin_t, zc, sx, sy):
    """World point and direction to a sheet's own frame, wrapped into its central repeat."""
    x = cos_t * o.x + sin_t * o.y + sx
    y = -sin_t * o.x + cos_t * o.y + sy
    lx, ly = sheet.repeat
    p = mi.Point3f(x - lx * dr.floor(x / lx), y - ly * dr.floor(y / ly), o.z - zc)
    return p, mi.Vector3f(cos_t * d.x + sin_t * d.y, -sin_t * d.x + cos_t * d.y, d.z)


def _slab_exit(sheet: Sheet, z, dz):
    """Distance to the face of the sheet's slab ahead, a hair outside it."""
    edge = dr.select(dz > 0, sheet.half + EPS, -sheet.half - EPS)
    safe = dr.select(dr.abs(dz) < 1e-7, dr.copysign(mi.Float(1e-7), dz), dz)
    return dr.maximum((edge - z) / safe, 0.0)


@dr.syntax
def _run(sheet, setup, inc, views, albedos, side, seed, max_events):
    """The photon loop; returns one array (a value per photon) for every number of `trace`."""
    Float, Bool, UInt = mi.Float, mi.Bool, mi.UInt32
    photons = side * side
    n_v, n_c, n_l = len(views), len(albedos), len(setup.turns)
    half, scene, n_warp_faces = sheet.half, sheet.scene, sheet.n_warp_faces
    lx, ly = sheet.repeat
    rng = mi.PCG32(size=photons, initstate=seed)
    view_dirs = [direction(*v) for v in views]
    turn_cs = [(float(np.cos(np.radians(a))), float(np.sin(np.radians(a)))) for a in setup.turns]

    def zeros(n):
        return [dr.zeros(Float, photons) for _ in range(n)]

    idx = dr.arange(UInt, photons)  # start on a jittered grid over the repeat
    o = mi.Point3f(
        (Float(idx % side) + rng.next_float32()) * (lx / side),
        (Float(idx // side) + rng.next_float32()) * (ly / side),
        Float(half + EPS),
    )
    if dr.hint(isinstance(inc, str), mode="scalar"):
        u, v = rng.next_float32(), rng.next_float32()
        d = -mi.Vector3f(mi.warp.square_to_cosine_hemisphere(mi.Point2f(u, v)))
    else:
        d = mi.Vector3f(*[Float(float(-c)) + dr.zeros(Float, photons) for c in direction(*inc)])

    zc, shift = [dr.zeros(Float, photons)], [zeros(2)]
    for sheet_no in range(n_l):  # the last z is the backing's
        zc.append(zc[sheet_no] - setup.distance - setup.jitter * (2.0 * rng.next_float32() - 1.0))
        shift.append([lx * rng.next_float32(), ly * rng.next_float32()])
    z_back = zc.pop()

    w = [f + 1.0 for f in zeros(n_c)]
    brf, rup, tdn, s1 = zeros(n_v * 2 * n_c), zeros(2 * n_c), zeros(n_c), zeros(2 * n_v)
    first, lost, rays, segments = zeros(3), zeros(1)[0], zeros(1)[0], zeros(1)[0]
    layer = dr.zeros(mi.Int32, photons)
    virgin = dr.full(Bool, True, photons)  # not scattered yet
    clean = dr.full(Bool, True, photons)  # backing not touched yet
    active = dr.full(Bool, True, photons)
    events = dr.zeros(UInt, photons)

    # constants are no part of the loop state that the compiler has to carry along
    while dr.hint(
        active,
        exclude=[sheet, setup, scene, views, view_dirs, turn_cs, albedos, inc],
        strict=False,
    ):
        # one segment inside the current sheet
        cos_t, sin_t = Float(1.0), Float(0.0)
        z0, sx, sy = zc[0] + 0.0, shift[0][0] + 0.0, shift[0][1] + 0.0
        for sheet_no in range(n_l):
            at = layer == sheet_no
            cos_t = dr.select(at, turn_cs[sheet_no][0], cos_t)
            sin_t = dr.select(at, turn_cs[sheet_no][1], sin_t)
            z0 = dr.select(at, zc[sheet_no], z0)
            sx = dr.select(at, shift[sheet_no][0], sx)
            sy = dr.select(at, shift[sheet_no][1], sy)
        p, dl = _enter(sheet, o, d, cos_t, sin_t, z0, sx, sy)
        t_slab = _slab_exit(sheet, p.z, dl.z)
        t_side = (MARGIN - 0.6) / dr.maximum(dr.sqrt(dl.x * dl.x + dl.y * dl.y), 1e-6)
        t_max = dr.minimum(t_slab, t_side)
        ray = mi.Ray3f(p, dl, t_max, 0.0, mi.Color0f())
        found = scene.ray_intersect_preliminary(ray, coherent=False, active=active)
        si = found.compute_surface_interaction(ray, mi.RayFlags.Minimal, active)
        segments += dr.select(active, 1.0, 0.0)
        rays += dr.select(active, 1.0, 0.0)
        hit = active & si.is_valid()
        inside = hit & (dr.dot(si.n, dl) > 0)  # from within a yarn: a numerical accident
        lost += dr.select(inside, 1.0, 0.0)
        active &= ~inside
        hit &= ~inside
        is_warp = found.prim_index < n_warp_faces
        through = active & ~hit & (t_slab <= t_side)
        go_up, go_down = through & (d.z > 0), through & (d.z <= 0)
        o = dr.select(active, o + dr.select(hit, si.t, t_max) * d, o)

        # leave the stack upwards, or reach the backing
        out = go_up & (layer == 0)
        land = go_down & (layer == n_l - 1)
        active &= ~out
        for ch in range(n_c):
            rup[ch] += dr.select(out & clean, w[ch], 0.0)
            rup[n_c + ch] += dr.select(out, w[ch], 0.0)
            tdn[ch] += dr.select(land & clean, w[ch], 0.0)
        first[0] += dr.select(hit & virgin & is_warp, 1.0, 0.0)
        first[1] += dr.select(hit & virgin & ~is_warp, 1.0, 0.0)
        first[2] += dr.select(land & virgin, 1.0, 0.0)
        layer = dr.select(go_up & ~out, layer - 1, dr.select(go_down, layer + 1, layer))
        if dr.hint(setup.uncorrelated, mode="scalar"):
            crossing = (go_up & ~out) | go_down
            o.x = dr.select(crossing, lx * rng.next_float32(), o.x)
            o.y = dr.select(crossing, ly * rng.next_float32(), o.y)
        fall = (z_back - o.z) / dr.select(land, d.z, -1.0)
        o = dr.select(land, o + fall * d, o)
        o.z = dr.select(land, z_back, o.z)

        # scatter
        event = hit | land
        n = mi.Vector3f(
            dr.select(land, 0.0, cos_t * si.n.x - sin_t * si.n.y),
            dr.select(land, 0.0, sin_t * si.n.x + cos_t * si.n.y),
            dr.select(land, 1.0, si.n.z),
        )
        clean &= ~land
        o = dr.select(hit, o + EPS * n, o)
        for ch in range(n_c):
            yarn = dr.select(is_warp, albedos[ch][0], albedos[ch][1])
            w[ch] = dr.select(event, w[ch] * dr.select(land, setup.backing, yarn), w[ch])

        # connect to the views
        for view in range(n_v):
            vd = mi.Vector3f(*[float(c) for c in view_dirs[view]])
            cos_n = dr.dot(n, vd)
            see = event & (cos_n > 0)
            for sheet_no in reversed(range(n_l)):
                test = see & (layer >= sheet_no)
                below = layer > sheet_no
                q = dr.select(below, o + (zc[sheet_no] - half - EPS - o.z) / vd.z * vd, o)
                if dr.hint(setup.uncorrelated, mode="scalar"):
                    q.x = dr.select(below, lx * rng.next_float32(), q.x)
                    q.y = dr.select(below, ly * rng.next_float32(), q.y)
                q, ql = _enter(sheet, q, vd, *turn_cs[sheet_no], zc[sheet_no], *shift[sheet_no])
                shadow = mi.Ray3f(q, ql, _slab_exit(sheet, q.z, ql.z), 0.0, mi.Color0f())
                see &= ~(test & scene.ray_test(shadow, coherent=False, active=test))
                rays += dr.select(test, 1.0, 0.0)
            g = dr.select(see, cos_n / vd.z, 0.0)
            for ch in range(n_c):
                brf[view * 2 * n_c + ch] += dr.select(clean, w[ch] * g, 0.0)
                brf[view * 2 * n_c + n_c + ch] += w[ch] * g
            s1[2 * view] += dr.select(virgin & hit & is_warp, g, 0.0)
            s1[2 * view + 1] += dr.select(virgin & hit & ~is_warp, g, 0.0)
        virgin &= ~event
        layer = dr.select(land, n_l - 1, layer)

        # new direction, roulette
        u1, u2, u3 = rng.next_float32(), rng.next_float32(), rng.next_float32()
        new = mi.Frame3f(n).to_world(mi.warp.square_to_cosine_hemisphere(mi.Point2f(u1, u2)))
        d = dr.select(event, new, d)
        events = dr.select(event, events + 1, events)
        top = w[0] + 0.0
        for ch in range(1, n_c):
            top = dr.maximum(top, w[ch])
        keep = dr.select(event & (events > 2), dr.minimum(top * 2.0, 1.0), 1.0)
        live = u3 < keep
        active &= live
        for ch in range(n_c):
            w[ch] = dr.select(live, w[ch] / dr.maximum(keep, 1e-12), w[ch])
        over = active & ((events >= max_events) | (segments > 4 * max_events))
        lost += dr.select(over, 1.0, 0.0)
        active &= ~over

    res = [*brf, *rup, *tdn, *s1, *first, lost, rays]
    dr.eval(*res)
    return res


def _march(sheet: Sheet, x, y, start: float, d: np.ndarray) -> np.ndarray:
    """What a ray from z = start to the far slab face meets: 0 warp, 1 weft, 2 nothing."""
    got, todo = np.full(len(x), 2), np.arange(len(x))
    reach = (MARGIN - 0.6) / max(np.hypot(d[0], d[1]), 1e-6)
    p = np.stack([x, y, np.full(len(x), start)])
    while len(todo):
        q = p[:, todo]
        q[0] -= sheet.repeat[0] * np.floor(q[0] / sheet.repeat[0])
        q[1] -= sheet.repeat[1] * np.floor(q[1] / sheet.repeat[1])
        left = (np.sign(d[2]) * (sheet.half + EPS) - q[2]) / d[2]
        t_max = mi.Float(np.minimum(left, reach))
        heading = mi.Vector3f(*[float(c) for c in d])
        ray = mi.Ray3f(mi.Point3f(q), heading, t_max, 0.0, mi.Color0f())
        found = sheet.scene.ray_intersect_preliminary(ray, coherent=False)
        hit = np.array(found.is_valid()).astype(bool)
        warp = np.array(found.prim_index) < sheet.n_warp_faces
        got[todo[hit]] = np.where(warp[hit], 0, 1)
        p[:, todo] = q + d[:, None] * reach
        todo = todo[~hit & (left > reach)]
    return got


def _jittered(sheet: Sheet, n: int, rng: np.random.Generator):
    g = (np.arange(n)[:, None] + rng.random((2, n, n))) / n
    return g[0].T.ravel() * sheet.repeat[0], g[1].ravel() * sheet.repeat[1]


def first_hit(sheet: Sheet, theta: float, az: float, n: int = 1000) -> np.ndarray:
    """Shares of the cloth plane in which a ray from (theta, az) meets warp, weft, nothing."""
    x, y = _jittered(sheet, n, np.random.default_rng(1))
    got = _march(sheet, x, y, sheet.half + EPS, -direction(theta, az))
    return np.bincount(got, minlength=3) / len(got)


def pair_probability(
    sheet: Sheet, inc, views, distances: Sequence[float], n: int = 300
) -> list[float]:
    """Shares of a plane, `distance` under the mid-plane, that see both `inc` and each view."""
    rng = np.random.default_rng(2)
    total = np.zeros(len(views))
    start = -sheet.half - EPS
    for dist in distances:
        x, y = _jittered(sheet, n, rng)

        def seen(angles, x=x, y=y, fall=dist + start):
            d = direction(*angles)
            up = fall / d[2]  # from the plane to the slab's lower face
            return _march(sheet, x + up * d[0], y + up * d[1], start, d) == 2

        lit = seen(inc)
        total += [(lit & seen(v)).mean() for v in views]
    return list(total / len(distances))
