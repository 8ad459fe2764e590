"""How far folds shade what is seen of cloth, from the shapes: ``weavecolor/data/folds.npz``.

    python swatches/shapes/parts.py [--each]

An upright shape is looked at level from all round (a panel from before it). What is seen of it is
parted by how far it is turned from the eye into :data:`weavecolor.scene.folds.PARTS` parts, each
as large to the eye, left and right alike. Of each part is kept what share of its hemisphere is
other cloth (``met``), and of light from each direction about the eye what share is not taken by
cloth before it (``free``), as cloth that lets nothing through takes it: bytes, shares of 255. All
shapes count alike. ``--each`` prints how far they differ instead.
"""

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
from weavecolor.picture.shapes import load_shape, shape_names  # noqa: E402
from weavecolor.picture.sweep import taken  # noqa: E402
from weavecolor.scene.folds import AZIMUTHS, HEIGHTS, PARTS  # noqa: E402

KINDS = ("gathered", "pleated", "panel", "circle")


def looked_at(name):
    """From all round one shape, of each of its vertices: how large it is to the eye, how far it
    faces to the right and up (radians), the share of its hemisphere that is other cloth, and what
    of a light is free to it (heights, azimuths from the eye's to the right, vertices)."""
    shape = load_shape(name)
    quads = shape.quads[~shape.band[shape.quads[:, 0]]].astype(np.int64)
    p = shape.vertices.astype(float) * [-1.0, 1.0, 1.0]  # right of the viewer, ahead, up
    n = shape.normals.astype(float) * [-1.0, 1.0, 1.0]
    corner = p[quads]
    across = np.cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1])
    size = np.linalg.norm(across, axis=1)
    area = np.zeros(len(p))
    np.add.at(area, quads.ravel(), np.repeat(size, 4))
    lift = np.full(len(p), np.median(np.linalg.norm(corner[:, 0] - corner[:, 2], axis=1)))
    take = np.full((len(quads), 3), 9.2, np.float32)
    around = np.radians(np.arange(AZIMUTHS) * 360.0 / AZIMUTHS)
    seen = np.empty((len(HEIGHTS), AZIMUTHS, len(p)))
    for i, e in enumerate(np.radians(HEIGHTS)):
        for j, a in enumerate(around):
            way = np.array([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)])
            seen[i, j] = np.exp(-taken(p, quads, take, p, lift, way, n)[:, 0])
    own = 1.0 - shape.open_front - shape.body_front
    tilt = np.arcsin(np.clip(n[:, 2], -1.0, 1.0))
    for j in [0] if name.startswith("panel") else range(0, AZIMUTHS, 2):
        ahead = np.sin(around[j]), np.cos(around[j])
        toward = n[:, 0] * ahead[0] + n[:, 1] * ahead[1]
        aside = n[:, 0] * ahead[1] - n[:, 1] * ahead[0]
        weight = area * np.maximum(toward, 0.0) * seen[list(HEIGHTS).index(0.0), j]
        yield weight, np.arctan2(aside, toward), tilt, own, np.roll(seen, -j, axis=1)


def parts_of(name):
    """``met`` (PARTS,) and ``free`` (PARTS, heights, azimuths) of one shape."""
    met = np.zeros(PARTS)
    free = np.zeros((PARTS, len(HEIGHTS), AZIMUTHS))
    total = np.zeros(PARTS)
    for weight, turn, _, own, seen in looked_at(name):
        part = np.clip(((np.sin(turn) + 1.0) * 0.5 * PARTS).astype(int), 0, PARTS - 1)
        for k in range(PARTS):
            w = weight * (part == k)
            total[k] += w.sum()
            met[k] += w @ own
            free[k] += seen @ w
    met, free = met / total, free / total[:, None, None]
    other = np.roll(free[::-1, :, ::-1], 1, axis=2)
    return 0.5 * (met + met[::-1]), 0.5 * (free + other)


def main(asked):
    names = [n for n in shape_names() if n.startswith(KINDS)]
    made = [parts_of(name) for name in names]
    if asked == ["--each"]:
        for name, (met, free) in zip(names, made, strict=True):
            side, above, ahead = (free[:, i, j].mean() for i, j in ((4, 4), (7, 0), (4, 0)))
            print(f"{name:26s} met {met.mean():.2f}, free from the side {side:.2f}, "
                  f"from above {above:.2f}, from ahead {ahead:.2f}")
        return
    met, free = (np.mean([x[k] for x in made], axis=0) for k in (0, 1))
    np.savez_compressed(ROOT / "weavecolor" / "data" / "folds.npz",
                        met=np.rint(255.0 * met).astype(np.uint8),
                        free=np.rint(255.0 * free).astype(np.uint8))


if __name__ == "__main__":
    main(sys.argv[1:])
