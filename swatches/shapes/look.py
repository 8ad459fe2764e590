"""Look at shapes: plain shaded pictures, sorted by depth. ``python look.py OUT.png NAME...``"""

from __future__ import annotations

import sys

import numpy as np
from PIL import Image


def compiled():
    import numba

    @numba.njit(cache=True)
    def draw(tris, image):
        size = image.shape[0]
        for k in range(tris.shape[0]):
            x0, x1, x2, y0, y1, y2 = (
                tris[k, 1],
                tris[k, 2],
                tris[k, 3],
                tris[k, 4],
                tris[k, 5],
                tris[k, 6],
            )
            area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
            if abs(area) < 1e-9:
                continue
            for i in range(max(int(min(y0, y1, y2) - 0.5), 0), min(int(max(y0, y1, y2)) + 1, size)):
                for j in range(
                    max(int(min(x0, x1, x2) - 0.5), 0), min(int(max(x0, x1, x2)) + 1, size)
                ):
                    x, y = j + 0.5, i + 0.5
                    w0 = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) / area
                    w1 = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) / area
                    if w0 >= 0 and w1 >= 0 and w0 + w1 <= 1:
                        w2 = 1 - w0 - w1
                        for c in range(3):
                            s = w0 * tris[k, 7 + c] + w1 * tris[k, 10 + c] + w2 * tris[k, 13 + c]
                            image[i, j, c] += tris[k, 16] * (s - image[i, j, c])

    return draw


_DRAW = None


def picture(parts, turn, size=700, tilt=6.0, box=None):
    global _DRAW
    if _DRAW is None:
        _DRAW = compiled()
    a, b = np.radians(turn), np.radians(tilt)
    back = np.array([np.sin(a), np.cos(a), 0])
    eye = np.cos(b) * back + np.sin(b) * np.array([0, 0, 1])
    up = np.cos(b) * np.array([0, 0, 1]) - np.sin(b) * back
    right = np.cross(up, eye)
    light = -0.6 * right + 0.5 * eye + 0.62 * up
    if box is None:
        every = np.concatenate([p[0] for p in parts])
        u, v = every @ right, every @ up
        box = (u.min(), u.max(), v.min(), v.max())
    scale = (size - 20) / max(box[1] - box[0], box[3] - box[2])
    cx, cy = 0.5 * (box[0] + box[1]), 0.5 * (box[2] + box[3])
    image = np.full((size, size, 3), 0.92)
    rows = []
    for vertices, t, normals, rgb, alpha in parts:
        x = (vertices @ right - cx) * scale + size / 2
        y = size / 2 - (vertices @ up - cy) * scale
        facing = np.abs(normals @ eye)
        n = normals * np.where(normals @ eye < 0, -1, 1)[:, None]
        lit = 0.28 + 0.72 * np.clip(0.25 + 0.75 * (n @ light), 0, 1)
        shade = lit[:, None] * np.array(rgb)
        cover = 1 - (1 - alpha) ** (1 / np.maximum(facing, 0.15)) if alpha < 1 else np.ones(len(x))
        depth = (vertices[t] @ eye).mean(1)
        rows.append(
            np.column_stack([depth, x[t], y[t], shade[t].reshape(len(t), 9), cover[t].mean(1)])
        )
    rows = np.concatenate(rows)
    _DRAW(rows[np.argsort(rows[:, 0])], image)
    return image


def save(image, path):
    Image.fromarray((np.clip(image, 0, 1) ** (1 / 1.6) * 255).astype(np.uint8)).save(path)


def parts_of(shape, body=None, rgb=(0.75, 0.35, 0.5), alpha=0.35):
    out = []
    if body is not None:
        out.append((body.vertices, body.triangles, body.normals, (0.85, 0.78, 0.7), 1.0))
    tri = shape.triangles
    band = shape.band[tri[:, 0]]
    out.append((shape.vertices, tri[~band], shape.normals, rgb, alpha))
    if band.any():
        out.append((shape.vertices, tri[band], shape.normals, rgb, 0.97))
    return out


if __name__ == "__main__":
    from weavecolor.picture.shapes import load_form, load_shape

    views = []
    for name in sys.argv[2:]:
        shape = load_shape(name)
        body = load_form(shape.body) if shape.body else None
        row = [
            picture(parts_of(shape, body, alpha=a), turn, 620)
            for turn, a in ((0, 0.35), (55, 0.35), (0, 0.98))
        ]
        views.append(np.concatenate(row, axis=1))
    save(np.concatenate(views, axis=0), sys.argv[1])
