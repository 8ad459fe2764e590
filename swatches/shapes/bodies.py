"""Bodies that cloth hangs on: smooth sections round an axis, joined softly. mm, z up, y front.

Sizes are of a dress form with bust 90, waist 70, hip 96 cm (common practice, no source).
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import PchipInterpolator
from skimage.measure import marching_cubes

WAIST_Z = 1050.0

# height, half width, depth to the front, depth to the back
_TORSO = np.array(
    [
        (1560, 52, 52, 54), (1500, 53, 52, 56), (1462, 60, 54, 62), (1440, 84, 60, 70),
        (1420, 128, 68, 79), (1396, 168, 78, 88), (1365, 183, 88, 97), (1325, 176, 97, 103),
        (1275, 157, 103, 100), (1215, 141, 98, 93), (1140, 126, 92, 86), (1065, 120, 91, 85),
        (1040, 121, 92, 87), (980, 142, 101, 99), (920, 164, 106, 108), (860, 175, 105, 112),
        (800, 173, 98, 106), (740, 165, 90, 98), (600, 150, 85, 90),
    ],
    float,
)[::-1]  # fmt: skip
# height, x of the axis, y of the axis, half width, half depth
_LEG = np.array(
    [
        (1000, 72, 0, 25, 30), (940, 76, -2, 52, 60), (880, 82, -4, 74, 86),
        (800, 85, -4, 83, 93), (720, 83, -2, 79, 84), (620, 79, 1, 70, 74),
        (530, 75, 4, 59, 63), (470, 73, 6, 52, 56), (420, 72, 2, 49, 53),
        (350, 71, -5, 50, 56), (280, 70, -8, 44, 50), (180, 69, -10, 34, 39),
        (100, 68, -12, 30, 37), (40, 68, -12, 31, 40), (0, 68, -12, 33, 43),
    ],
    float,
)[::-1]  # fmt: skip


def _curves(table):
    """A smooth curve through each column: monotone between knots, then rounded."""
    z = np.arange(table[0, 0], table[-1, 0] + 1.0)
    out = []
    for column in table.T[1:]:
        y = PchipInterpolator(table[:, 0], column)(z)
        width = 18.0
        kernel = np.exp(-0.5 * (np.arange(-54, 55) / width) ** 2)
        out.append(np.convolve(np.pad(y, 54, mode="edge"), kernel / kernel.sum(), "valid"))
    return z, out


_TZ, _TC = _curves(_TORSO)
_LZ, _LC = _curves(_LEG)


def _at(z, knots, curves):
    return [np.interp(z, knots, c) for c in curves]


def torso_radius(angle, z):
    """Distance of the torso's surface from the axis at an angle (0 right, pi/2 front)."""
    a, front, back = _at(z, _TZ, _TC)
    c, s = np.cos(angle), np.sin(angle)
    # front and back depth meet softly at the side
    side = 0.5 * (1 + np.tanh(s / 0.25))
    b = back + (front - back) * side
    p = 2.25
    r = (np.abs(c / a) ** p + np.abs(s / b) ** p) ** (-1 / p)
    for sign in (-1, 1):
        # bust: fuller below than above
        at = np.angle(np.exp(1j * (angle - np.pi / 2 - sign * np.radians(35))))
        up = (z - 1268) / np.where(z > 1268, 74.0, 50.0)
        r = r + 29.0 * np.exp(-((at / np.radians(24)) ** 2) - up**2)
        at = np.angle(np.exp(1j * (angle + np.pi / 2 - sign * np.radians(36))))
        r = r + 17.0 * np.exp(-((at / np.radians(30)) ** 2) - ((z - 858) / 72) ** 2)
    return r


def _smooth_min(a, b, k):
    h = np.clip(0.5 + 0.5 * (b - a) / k, 0, 1)
    return b + (a - b) * h - k * h * (1 - h)


def _tube(x, y, z, axis_x, axis_y, a, b):
    q = np.sqrt(((x - axis_x) / a) ** 2 + ((y - axis_y) / b) ** 2)
    return (q - 1.0) * np.minimum(a, b)


def figure_field(x, y, z):
    """Below 0 inside the whole figure; about the distance, mm, near its surface."""
    r = np.hypot(x, y)
    angle = np.arctan2(y, x)
    low = 845.0
    zz = np.clip(z, low, 1560)
    torso = (r - torso_radius(angle, zz)) * 0.93
    cap = np.hypot(np.maximum(torso + 95.0, 0), np.maximum(low - z, 0) * 0.95) - 95.0
    torso = np.where(z < low, cap, torso)
    torso = -_smooth_min(-torso, 1506.0 - z, 10.0)
    torso = np.where(z > 1480, np.maximum(torso, z - 1506.0), torso)
    all_ = torso
    for sign in (-1, 1):
        ax, ay, a, b = _at(z, _LZ, _LC)
        leg = _tube(x, y, z, sign * ax, ay, a, b)
        leg = np.maximum(leg, z - 990.0)
        # the foot: an egg along the ground, higher at the instep
        foot = (
            np.sqrt(
                ((x - sign * 74) / 38) ** 2
                + ((y - 48) / 108) ** 2
                + ((z - 22) / (30 - 0.1 * (y - 48))) ** 2
            )
            - 1
        ) * 30
        leg = _smooth_min(leg, foot, 26.0)
        all_ = _smooth_min(all_, leg, 34.0)
    return -_smooth_min(-all_, z, 8.0)


def stand_field(x, y, z):
    """A dress form that ends below the hip, closed flat."""
    torso = (np.hypot(x, y) - torso_radius(np.arctan2(y, x), np.clip(z, 772, 1560))) * 0.93
    torso = -_smooth_min(-torso, 1506.0 - z, 10.0)
    torso = -_smooth_min(-torso, z - 790.0, 14.0)
    pole = np.maximum(np.hypot(x, y) - 17.0, z - 800.0)
    base = np.maximum(np.hypot(x, y) - 175.0, np.abs(z - 12.0) - 12.0)
    return np.minimum(torso, np.minimum(np.maximum(pole, -z), base))


def lining_radius(angle, z):
    """The surface of a plain lining: off the body by a little, hanging straight from the hip."""
    hip = 858.0
    r = torso_radius(angle, np.maximum(z, hip))
    # a lining bridges the hollows that a body has: round it a little
    away = 3.0 + 6.0 * np.clip((WAIST_Z - z) / 190.0, 0, 1)
    below = np.maximum(hip - z, 0.0)
    return r + away + 0.028 * below


def _capsule(x, y, z, a, b, ra, rb):
    d = np.array(b, float) - a
    t = np.clip(((x - a[0]) * d[0] + (y - a[1]) * d[1] + (z - a[2]) * d[2]) / (d @ d), 0, 1)
    dist = np.sqrt(
        (x - a[0] - t * d[0]) ** 2 + (y - a[1] - t * d[1]) ** 2 + (z - a[2] - t * d[2]) ** 2
    )
    return dist - (ra + (rb - ra) * t)


# a right hand held out flat, palm down, fingers along y and a little apart and bent:
# of each finger its root, two joints and tip, then the radii there
_FINGERS = [
    [(-34, 46, 0), (-43, 84, 3), (-47, 108, -3), (-49, 127, -14), 9.2, 8.4, 7.6, 6.4],
    [(-12, 52, 3), (-15, 97, 8), (-16, 126, 1), (-16, 148, -11), 9.6, 8.8, 7.9, 6.6],
    [(10, 50, 2), (13, 92, 6), (15, 119, -1), (16, 139, -12), 9.2, 8.4, 7.5, 6.3],
    [(30, 42, -2), (38, 73, 0), (42, 92, -6), (45, 107, -15), 8.2, 7.3, 6.5, 5.5],
    [(-30, -22, -6), (-58, 10, -14), (-70, 34, -19), (-77, 55, -25), 13.5, 10.5, 9.0, 7.0],
]


def across(x, y):
    """Places about a hand whose fingers lie along y, as it is held: across the picture, its fingers
    to the viewer's left and the middle of cloth upon it over the middle of the stand."""
    return y - 18.0, -9.0 - x


def hand_field(x, y, z):
    """A hand held out, palm down, its back at z = 0, as ``across`` has it."""
    x, y = -9.0 - y, x + 18.0
    palm = 1e9
    for a, b, ra, rb in (
        ((-26, -28, -9), (-33, 44, -6), 15, 12.0), ((-9, -32, -7), (-12, 50, -3), 16, 12.5),
        ((9, -32, -8), (10, 48, -4), 16, 12.0), ((22, -28, -11), (29, 40, -8), 14.5, 11.0),
    ):  # fmt: skip
        new = _capsule(x, y, z, np.array(a, float), b, ra, rb)
        palm = new if np.isscalar(palm) else _smooth_min(palm, new, 14.0)
    for *joints, r0, r1, r2, r3 in _FINGERS:
        radii, finger = (r0, r1, r2, r3), None
        for k in range(3):
            new = _capsule(
                x, y, z, np.array(joints[k], float), joints[k + 1], radii[k], radii[k + 1]
            )
            finger = new if finger is None else _smooth_min(finger, new, 3.0)
        palm = _smooth_min(palm, finger, 9.0)
    wrist = _arm(x, y, z)
    return _smooth_min(palm, wrist, 22.0)


def _arm(x, y, z):
    t = np.clip((-y - 30) / 190.0, 0, 1)
    a, b = 27 + 9 * t, 19 + 13 * t
    axis_z = -10 - 34 * t**1.3
    q = np.sqrt(((x - 0) / a) ** 2 + ((z - axis_z) / b) ** 2)
    tube = (q - 1) * np.minimum(a, b)
    return -_smooth_min(-np.maximum(tube, y + 40), y + 215, 10.0)


def gradient(field, p, h=0.5):
    out = np.empty_like(p)
    for k in range(3):
        d = np.zeros(3)
        d[k] = h
        out[:, k] = (field(*(p + d).T) - field(*(p - d).T)) / (2 * h)
    return out


def mesh(field, low, high, cell):
    """Vertices on the field's surface and triangles seen counter-clockwise from outside."""
    axes = [np.arange(a, b + cell, cell) for a, b in zip(low, high, strict=True)]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    values = field(x, y, z).astype(np.float32)
    p, tri, _, _ = marching_cubes(values, 0.0, spacing=(cell,) * 3, gradient_direction="ascent")
    p = p.astype(float) + np.array([a[0] for a in axes])
    n = len(p)
    pairs = np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]])
    for _ in range(6):
        # spread the vertices evenly along the surface, then put them back on it
        mean = np.stack([np.bincount(pairs[:, 0], p[pairs[:, 1], k], n) for k in range(3)], 1)
        mean /= np.maximum(np.bincount(pairs[:, 0], minlength=n), 1)[:, None]
        p = p + 0.7 * (mean - p)
        for _ in range(3):
            g = gradient(field, p)
            g2 = np.maximum((g**2).sum(1), 0.05)
            step = field(*p.T) / g2
            p = p - np.clip(step, -4, 4)[:, None] * g
    a, b, c = (p[tri[:, k]] for k in range(3))
    out = np.einsum("ij,ij->i", np.cross(b - a, c - a), gradient(field, (a + b + c) / 3))
    if np.median(out) < 0:
        tri = tri[:, ::-1]
    # along the surface in rows, so that differences stay small
    order = np.lexsort((np.arctan2(p[:, 1], p[:, 0]), np.round(p[:, 2] / cell)))
    place = np.empty(n, int)
    place[order] = np.arange(n)
    tri = place[tri]
    first = tri.argmin(1)
    tri = np.take_along_axis(tri, (first[:, None] + np.arange(3)) % 3, 1)
    return p[order], tri[np.lexsort(tri.T[::-1])]


def distances(field, low, high, cell):
    """(counts, origin, step, values) of the field on a grid, metres, for the collider."""
    axes = [np.arange(a, b + cell, cell) for a, b in zip(low, high, strict=True)]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    values = field(x, y, z)
    slope = np.sqrt(sum(g**2 for g in np.gradient(values, cell)))
    near = np.abs(values) < 60
    values = np.where(near, values / np.clip(slope, 0.5, 2.0), values)
    counts = np.array(values.shape, np.int32)
    origin = np.array([a[0] for a in axes]) / 1000
    return counts, origin, cell / 1000, np.ascontiguousarray(values / 1000, np.float32)


def lining_field(x, y, z):
    return (np.hypot(x, y) - lining_radius(np.arctan2(y, x), z)) * 0.97


BODIES = {
    "figure": (figure_field, (-260, -240, -12), (260, 260, 1530), 11.0),
    "stand": (stand_field, (-260, -240, -12), (260, 260, 1530), 11.0),
    "hand": (hand_field, (-258, -99, -90), (157, 101, 50), 4.0),
}
