"""Hung cloth path traced: the same shape, with a layer's tables as its material, in the same light.

Where each ray meets cloth and body is found by the general renderer mitsuba; the path loop is
written here and must not know how pictures are drawn (:mod:`weavecolor.picture.hanging` keeps
neither its sums nor its guesses of what cloth throws on cloth): light that is scattered goes on in
directions drawn anew, meets whatever is there, and lights are looked for from every place met.
"""

from __future__ import annotations

import mitsuba as mi
import numpy as np
from lookedup import looked_up

from weavecolor.picture.hanging import FRONT, Lit, Sight, eye, framing, rotation
from weavecolor.picture.raster import LEAST
from weavecolor.picture.sweep import axes
from weavecolor.picture.tables import SOFT_DEG

MOST = 24  # places met on one path
_OFF = 0.05  # mm that a ray starts off the place it was at


def _mesh(points: np.ndarray, faces: np.ndarray, name: str) -> mi.Mesh:
    mesh = mi.Mesh(name, len(points), len(faces))
    own = mi.traverse(mesh)
    own["vertex_positions"] = np.ascontiguousarray(points, np.float32).ravel()
    own["faces"] = np.ascontiguousarray(faces, np.uint32).ravel()
    own.update()
    return mesh


class Tracer:
    """A lit stage in the view's frame, ready to be traced."""

    def __init__(self, made: Lit, sight: Sight = FRONT, seed: int = 1) -> None:
        mi.set_variant("llvm_ad_rgb")
        s = made.stage
        self.made, self.sight = made, sight
        self.turned = rotation(sight.turn_deg, made.raised_deg + sight.tilt_deg)
        self.rng = np.random.default_rng(seed)
        q = s.quads
        self.faces = np.concatenate([q[:, [0, 1, 2]], q[:, [0, 2, 3]]])
        self.kind = np.concatenate([s.kind, s.kind])
        self.points = s.points @ self.turned.T
        self.normals, self.warps = s.normals @ self.turned.T, s.warps @ self.turned.T
        self.cloth = mi.load_dict({"type": "scene", "a": _mesh(self.points, self.faces, "cloth")})
        self.body_normals = s.body_normals @ self.turned.T
        self.body = None
        if len(s.body):
            body = _mesh(s.body @ self.turned.T, s.triangles, "body")
            self.body = mi.load_dict({"type": "scene", "a": body})

    def _meet(self, scene, start, way):
        place, toward = (v.T.astype(np.float32) for v in (start, way))
        ray = mi.Ray3f(mi.Point3f(place), mi.Vector3f(toward))
        hit = scene.ray_intersect_preliminary(ray, coherent=False)
        far = np.array(hit.t, float)
        u, v = np.array(hit.prim_uv, float)
        return far, np.array(hit.prim_index, np.int64), u, v

    def met(self, start, way):
        """Distance (infinite: nothing), whether cloth or body, face, its corners' weights."""
        far, face, u, v = self._meet(self.cloth, start, way)
        cloth = np.isfinite(far)
        if self.body is not None:
            far_b, face_b, u_b, v_b = self._meet(self.body, start, way)
            first = far_b < far
            far, cloth = np.where(first, far_b, far), cloth & ~first
            face, u, v = (np.where(first, b, a) for a, b in ((face, face_b), (u, u_b), (v, v_b)))
        face = np.where(np.isfinite(far), face, 0)
        return far, cloth, face, np.stack([1.0 - u - v, u, v], axis=1)

    def at(self, face, weight, way):
        """Normal and warp where cloth is met, in a frame whose z looks back along the way and
        which the normal faces; side; kind of tables; normal that faces back, in the view."""
        corner = self.faces[face]
        n = np.einsum("nk,nkc->nc", weight, self.normals[corner])
        w = np.einsum("nk,nkc->nc", weight, self.warps[corner])
        fold = np.einsum("nk,nk->n", weight, self.made.stage.folds[corner])
        p = self.points[corner]
        flat = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
        side = ((flat * way).sum(axis=1) > 0.0).astype(np.int64)
        n = np.where(side[:, None] == 1, -n, n)
        n /= np.linalg.norm(n, axis=1, keepdims=True)
        slope = -(n * way).sum(axis=1)
        low = slope < LEAST  # smooth normals lean over the edge: as at it
        n[low] += (LEAST - slope[low])[:, None] * -way[low]
        n /= np.linalg.norm(n, axis=1, keepdims=True)
        w -= (w * n).sum(axis=1, keepdims=True) * n
        w /= np.linalg.norm(w, axis=1, keepdims=True)
        return n, w, side, self.kind[face] + (fold < 0.0)

    def _frame(self, way):
        """Axes (n, 3, 3) whose third looks back along the way."""
        z = -way
        helper = np.where(np.abs(z[:, 1:2]) < 0.9, [[0.0, 1.0, 0.0]], [[1.0, 0.0, 0.0]])
        x = np.cross(helper, z)
        x /= np.linalg.norm(x, axis=1, keepdims=True)
        return np.stack([x, np.cross(z, x), z], axis=1)

    def looked(self, n, w, side, kind, way=None):
        """The tables' ten columns (see ``lookedup``) seen back along the way; without one, by the
        eye."""
        if way is not None:
            frame = self._frame(way)
            n, w = (np.einsum("nij,nj->ni", frame, v) for v in (n, w))
        out = np.empty((len(n), 10))
        for k in np.unique(kind):
            own = kind == k
            out[own] = looked_up(self.made.tables[k], n[own], w[own], side[own])
        return out

    def unshaded(self, start, way):
        """Share (n, 3) of a light that reaches places unscattered."""
        share = np.ones((len(start), 3))
        alive = np.arange(len(start))
        start = start.copy()
        for _ in range(MOST):
            far, cloth, face, weight = self.met(start[alive], way[alive])
            hit = np.isfinite(far)
            share[alive[hit & ~cloth]] = 0.0
            go = hit & cloth
            alive, far, face, weight = alive[go], far[go], face[go], weight[go]
            if not alive.size:
                break
            got = self.looked(*self.at(face, weight, way[alive]), way[alive])
            share[alive] *= np.clip(got[:, 9:10], 0.0, 1.0)
            start[alive] += (far + _OFF)[:, None] * way[alive]
        return share

    def _toward(self, direction, count):
        """Directions (count, 3) within a light's width."""
        right, up, ahead = axes(direction)
        r = np.sin(np.radians(SOFT_DEG)) * np.sqrt(self.rng.random(count))
        a = 2.0 * np.pi * self.rng.random(count)
        out = ahead + (r * np.cos(a))[:, None] * right + (r * np.sin(a))[:, None] * up
        return out / np.linalg.norm(out, axis=1, keepdims=True)

    def _about(self, n):
        """Directions about normals, by the cosine."""
        count = len(n)
        u, a = self.rng.random(count), 2.0 * np.pi * self.rng.random(count)
        frame = self._frame(-n)
        flat = np.sqrt(u)
        local = np.stack([flat * np.cos(a), flat * np.sin(a), np.sqrt(1.0 - u)], axis=1)
        return np.einsum("nij,ni->nj", frame, local)

    def radiance(self, start, way):
        """Linear RGB (n, 3) seen along ways from the eye; what misses everything at once is the
        ground."""
        made = self.made
        level = made.light[0, 0]
        total, w = np.zeros((len(start), 3)), np.ones((len(start), 3))
        alive = np.arange(len(start))
        start, way = start.copy(), way.copy()
        eye = np.ones(len(start), bool)  # still on the eye's own straight ray
        for _ in range(MOST):
            far, cloth, face, weight = self.met(start[alive], way[alive])
            gone = ~np.isfinite(far)
            out = alive[gone]
            total[out] += w[out] * np.where(eye[out, None], made.ground, level)
            go = ~gone
            alive, far, cloth = alive[go], far[go], cloth[go]
            face, weight = face[go], weight[go]
            if not alive.size:
                break
            start[alive] += far[:, None] * way[alive]
            self._on_body(alive[~cloth], face[~cloth], weight[~cloth], total, w, start, way)
            self._on_cloth(alive[cloth], face[cloth], weight[cloth], total, w, start, way, eye)
            eye[alive[~cloth]] = False
            dark = w[alive].max(axis=1) < 1e-4
            alive = alive[~dark]
            if not alive.size:
                break
        return total

    def _on_body(self, i, face, weight, total, w, start, way):
        if not i.size:
            return
        made = self.made
        corner = made.stage.triangles[face]
        n = np.einsum("nk,nkc->nc", weight, self.body_normals[corner])
        n /= np.linalg.norm(n, axis=1, keepdims=True)
        n = np.where((n * way[i]).sum(axis=1, keepdims=True) > 0.0, -n, n)
        start[i] += 4.0 * _OFF * n
        for lamp in made.lamps:
            to = self._toward(lamp.direction, len(i))
            facing = np.maximum((to * n).sum(axis=1), 0.0)[:, None]
            total[i] += w[i] * lamp.body[0] * facing * self.unshaded(start[i], to)
        w[i] *= made.body_room[0, 0] / made.light[0, 0]
        way[i] = self._about(n)

    def _on_cloth(self, i, face, weight, total, w, start, way, eye):
        if not i.size:
            return
        made = self.made
        level = made.light[0, 0]
        n, warp, side, kind = self.at(face, weight, way[i])
        got = self.looked(n, warp, side, kind, way[i])
        back, through, straight = got[:, 3:6] / level, got[:, 6:9], np.clip(got[:, 9], 0.0, 1.0)
        seen = eye[i]
        for lamp in made.lamps:
            to = self._toward(lamp.direction, len(i))
            facing = (to * n).sum(axis=1)[:, None]
            reach = self.unshaded(start[i] + 4.0 * _OFF * np.sign(facing) * n, to)
            share = np.where(facing > 0.0, back, through) * np.abs(facing) * lamp.white
            total[i] += w[i] * np.where(seen[:, None], 0.0, share) * reach
            if seen.any():  # the tables know what the eye gets of the lights
                own = self.looked(n[seen], warp[seen], side[seen], kind[seen])[:, :3]
                total[i[seen]] += w[i[seen]] * own * reach[seen] / len(made.lamps)
        # on: straight, sent back, or through, by how much
        much = np.stack([straight, back.mean(axis=1), through.mean(axis=1)], axis=1) + 1e-6
        much /= much.sum(axis=1, keepdims=True)
        drawn = self.rng.random(len(i))
        which = (drawn[:, None] > np.cumsum(much, axis=1)[:, :2]).sum(axis=1)
        chance = much[np.arange(len(i)), which][:, None]
        share = np.where(which[:, None] == 0, straight[:, None],
                         np.where(which[:, None] == 1, back, through))  # fmt: skip
        w[i] *= share / chance
        on = which == 0
        start[i[on]] += _OFF * way[i[on]]
        for turn, sign in ((1, 1.0), (2, -1.0)):
            own = which == turn
            way[i[own]] = self._about(sign * n[own])
            start[i[own]] += 4.0 * _OFF * sign * n[own]
            eye[i[own]] = False

    def picture(self, width: int, height: int, samples: int) -> np.ndarray:
        """(height, width, 3), exposed, by ``samples`` paths a pixel."""
        x, y, step = framing(self.made.stage, width, height, self.sight, self.made.raised_deg)
        away, high = eye(self.made.stage, self.sight, self.made.raised_deg)
        row, column = np.divmod(np.arange(width * height), width)
        out = np.zeros((width * height, 3))
        for _ in range(samples):
            right = (column + self.rng.random(column.size) - 0.5 * width) * step + x
            up = y - (row + self.rng.random(row.size) - 0.5 * height) * step
            start = np.tile([0.0, high, away], (right.size, 1))
            way = np.stack([right, up, np.zeros(right.size)], axis=1) - start
            way /= np.linalg.norm(way, axis=1, keepdims=True)
            out += self.radiance(start, way)
        return out.reshape(height, width, 3) * (self.made.exposure / samples)
