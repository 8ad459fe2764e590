"""Colour correction from a 24-patch reference chart in the picture.

Knows the chart's published colours (in colour-science) and how to find its grid of patches;
knows nothing of cloth. A chart that is not found for certain is not used.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from weavecolor.colour.colorimetry import ciede2000, daylight_white, lab_from_xyz
from weavecolor.colour.library import science
from weavecolor.colour.screen import space
from weavecolor.errors import InputError
from weavecolor.measure.photograph import LUMINANCE

Array = NDArray[np.float64]

COLUMNS, ROWS = 6, 4
#: Mean CIEDE2000 left after correction above which the grid is taken not to be the chart.
WORST_FIT = 6.0
SHOOT_AGAIN = (
    "show the whole chart flat, sharp and evenly lit, at least a fifth of the picture wide, or "
    "leave it out and use white paper"
)


@dataclass(frozen=True, eq=False)
class Chart:
    """A chart found: patch ``centres`` (24, 2) as (x, y) in the chart's own order, their
    ``corners`` (24, 4, 2), mean linear colours ``seen`` (24, 3)."""

    centres: Array
    corners: Array
    seen: Array


@dataclass(frozen=True, eq=False)
class Correction:
    """``matrix`` takes a picture's linear colour (or its root polynomial) to linear sRGB.

    ``residual`` (24,) is CIEDE2000 patch by patch after correction, ``mean`` and ``worst`` of it;
    ``left_out`` (mean) is the same with each patch predicted from the others, the honest figure.
    """

    matrix: Array
    degree: int
    residual: Array
    mean: float
    worst: float
    left_out: float

    def __call__(self, linear: ArrayLike) -> NDArray[np.float32]:
        """Corrected linear sRGB, any shape (..., 3)."""
        image = np.asarray(linear)
        return (_terms(image, self.degree) @ self.matrix).astype(np.float32)


@lru_cache(maxsize=1)
def published() -> tuple[Array, Array]:
    """Linear sRGB (24, 3) and D65 Lab (24, 3) of the patches under daylight.

    From colour-science's "ColorChecker24 - After November 2014" (the maker's Lab, D50),
    Bradford-adapted to D65.

    Examples
    --------
    >>> [array.shape for array in published()]
    [(24, 3), (24, 3)]
    """
    colour = science()
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    XYZ = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    white = colour.xy_to_XYZ(chart.illuminant)
    target = daylight_white("2") / 100.0
    XYZ = colour.adaptation.chromatic_adaptation_VonKries(XYZ, white, target, "Bradford")
    linear = XYZ @ space("sRGB").from_xyz.T
    Lab = np.asarray(lab_from_xyz(100 * XYZ, daylight_white("2")))
    for array in (linear, Lab):
        array.setflags(write=False)
    return linear, Lab


def _terms(linear: Array, degree: int) -> Array:
    """Root polynomials (Finlayson, Mackiewicz and Hurlbert 2015): exposure scales all alike."""
    if degree == 1:
        return linear
    r, g, b = np.moveaxis(np.clip(linear, 0, None), -1, 0)
    return np.stack([r, g, b, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], -1)


def fit_correction(seen: ArrayLike, degree: int = 1) -> Correction:
    """Fit patches as photographed, linear (24, 3) in chart order, to their published colours.

    ``degree`` 1 is a 3 x 3 matrix; 2 a root polynomial of six terms. Least squares weighted by
    lightness, so that dark patches count as the eye counts them. InputError where patches are
    burnt out or the colours cannot be those of the chart.

    Examples
    --------
    >>> type(fit_correction(published()[0])).__name__
    'Correction'
    """
    values = np.asarray(seen, dtype=np.float64)
    if values.shape != (24, 3) or not np.isfinite(values).all():
        raise InputError("a chart has 24 patches of three channels")
    if degree not in (1, 2):
        raise InputError("the correction's degree is 1 or 2")
    if (values > 0.985).any():
        raise InputError("a patch of the chart is burnt out; shoot it again a little darker")
    target, _ = published()
    matrix, residual = _fitted(values, target, degree, np.arange(24))
    if residual.mean() > WORST_FIT:
        raise InputError(
            f"the patches do not have the chart's colours (CIEDE2000 {residual.mean():.0f} left "
            f"after correction); {SHOOT_AGAIN}"
        )
    left_out = []
    for k in range(24):
        others = np.delete(np.arange(24), k)
        left_out.append(_fitted(values, target, degree, others)[1][k])
    return Correction(
        matrix, degree, residual, float(residual.mean()), float(residual.max()),
        float(np.mean(left_out)),
    )


def _fitted(
    values: Array, target: Array, degree: int, use: NDArray[np.intp]
) -> tuple[Array, Array]:
    terms = _terms(values, degree)
    weight = 1.0 / (0.05 + target @ LUMINANCE)[:, None] ** (2 / 3)
    matrix = np.linalg.lstsq((terms * weight)[use], (target * weight)[use], rcond=None)[0]
    got = np.maximum(terms @ matrix, 0.0) @ space("sRGB").to_xyz.T
    Lab = lab_from_xyz(100 * got, daylight_white("2"))
    return np.asarray(matrix, dtype=np.float64), np.asarray(ciede2000(published()[1], Lab))


def find_chart(linear: ArrayLike) -> Chart:
    """Find the chart in a picture (rows, columns, 3), linear light, any turn, mild perspective.

    Even, four-cornered patches of like size are sought, set into a 6 x 4 grid under a
    perspective, and read in the one turn whose colours fit. InputError where fewer than 20
    patches make a grid, or the turn is not decided: nothing is guessed.
    """
    image = np.asarray(linear, dtype=np.float32)
    if image.ndim != 3 or image.shape[2] != 3:
        raise InputError("a picture is (rows, columns, 3)")
    step = max(1, int(np.ceil(max(image.shape[:2]) / 900)))
    h, w = image.shape[0] // step, image.shape[1] // step
    small = image[: h * step, : w * step].reshape(h, step, w, step, 3).mean((1, 3))
    grid = None
    for smoothing, edge in ((1.0, 0.035), (1.0, 0.06), (2.0, 0.025), (1.0, 0.1)):
        grid = _grid(_patches(small, smoothing, edge))
        if grid is not None:
            break
    if grid is None:
        raise InputError(f"no 24-patch chart is found in the picture; {SHOOT_AGAIN}")
    # the chart's outline as (column, row) unit squares -> picture
    best: list[tuple[float, Array, Array, Array]] = []
    for turn in range(2):
        for flip in (False, True):
            centres, corners = _places(grid, turn == 1, flip)
            if _handed(centres) < 0:
                continue
            seen = _means(small, corners)
            residual = _fitted(seen, published()[0], 1, np.arange(24))[1].mean()
            best.append((float(residual), centres, corners, seen))
    best.sort(key=lambda item: item[0])
    if not best or best[0][0] > WORST_FIT or (len(best) > 1 and best[1][0] < 1.8 * best[0][0]):
        raise InputError(
            f"a grid of patches is found but it does not have the chart's colours; {SHOOT_AGAIN}"
        )
    _, centres, corners, seen = best[0]
    return Chart((centres + 0.5) * step, (corners + 0.5) * step, seen)


def _patches(small: NDArray[np.float32], smoothing: float, edge: float) -> Array:
    """Centres, areas and half-axes (n, 4) of even four-cornered parts: x, y, area, fill."""
    # root: edges between dark patches and the dark surround count too
    root = np.cbrt(np.clip(small, 0, None) + 0.002)
    slope = np.max(
        [ndimage.gaussian_gradient_magnitude(root[..., k], smoothing) for k in range(3)], axis=0
    )
    labels, count = ndimage.label(slope < edge)
    found = []
    size = small.shape[0] * small.shape[1]
    for k, box in enumerate(ndimage.find_objects(labels), 1):
        if box is None:
            continue
        mask = labels[box] == k
        area = int(mask.sum())
        if not 60 < area < size / 30:
            continue
        mask = ndimage.binary_fill_holes(mask)
        y, x = np.nonzero(mask)
        area = len(x)
        cov = np.cov(np.stack([x, y])) + np.eye(2) / 12
        # a filled parallelogram has area = 12 sqrt(det cov), whatever its turn or slant
        fill = area / (12 * np.sqrt(np.linalg.det(cov)))
        values = np.linalg.eigvalsh(cov)
        if 0.9 < fill < 1.06 and values[1] < 3.2 * values[0]:
            found.append((x.mean() + box[1].start, y.mean() + box[0].start, area, fill))
    return np.array(found).reshape(-1, 4)


def _grid(patches: Array) -> tuple[Array, Array] | None:
    """Perspective (3, 3) from grid places (column 0-5, row 0-3) and the shares found, or None."""
    if len(patches) < 20:
        return None
    for middle in np.unique(np.round(np.log(patches[:, 2]), 1)):
        like = patches[np.abs(np.log(patches[:, 2]) - middle) < 0.55]
        if len(like) < 20:
            continue
        result = _grid_of(like)
        if result is not None:
            return result
    return None


def _grid_of(like: Array) -> tuple[Array, Array] | None:
    points = like[:, :2]
    side = float(np.median(np.sqrt(like[:, 2])))
    gap = points[:, None] - points[None]
    distance = np.hypot(gap[..., 0], gap[..., 1])
    np.fill_diagonal(distance, np.inf)
    near = (distance < 1.75 * side) & (distance > 0.9 * side)
    vectors = gap[near]
    if len(vectors) < 30:
        return None
    angle = np.angle(np.exp(4j * np.arctan2(vectors[:, 1], vectors[:, 0])).mean()) / 4
    u, v = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    # walk from neighbour to neighbour, giving each patch its whole-number place
    for start in np.argsort(np.hypot(*(points - points.mean(0)).T))[:4]:
        place: dict[int, tuple[int, int]] = {int(start): (0, 0)}
        queue = [int(start)]
        while queue:
            k = queue.pop(0)
            for m in np.nonzero(near[k])[0]:
                step = points[m] - points[k]
                a, b = step @ u, step @ v
                if min(abs(a), abs(b)) > 0.35 * max(abs(a), abs(b)) or int(m) in place:
                    continue
                move = (int(np.sign(a)), 0) if abs(a) > abs(b) else (0, int(np.sign(b)))
                place[int(m)] = (place[k][0] + move[0], place[k][1] + move[1])
                queue.append(int(m))
        if len(place) < 20:
            continue
        index = np.array(list(place))
        cells = np.array([place[k] for k in index])
        cells -= cells.min(axis=0)
        span = cells.max(axis=0) + 1
        if sorted(span) != [ROWS, COLUMNS] or len({tuple(c) for c in cells}) != len(cells):
            continue
        if span[0] == ROWS:
            cells = cells[:, ::-1]
        matrix = _perspective(cells.astype(float), points[index])
        miss = np.hypot(*(_apply(matrix, cells.astype(float)) - points[index]).T)
        if np.median(miss) < 0.06 * side and miss.max() < 0.25 * side:
            return matrix, np.array([side])
    return None


def _perspective(source: Array, target: Array) -> Array:
    """Direct linear transform of a plane perspective, at least four pairs (n, 2)."""
    centre, size = target.mean(0), target.std()
    scaled = (target - centre) / size
    rows = []
    for (x, y), (u, v) in zip(source, scaled, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, -u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    matrix = np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)
    back = np.array([[size, 0, centre[0]], [0, size, centre[1]], [0, 0, 1]])
    return np.asarray(back @ matrix)


def _apply(matrix: Array, points: Array) -> Array:
    out = np.concatenate([points, np.ones((*points.shape[:-1], 1))], -1) @ matrix.T
    return out[..., :2] / out[..., 2:]


def _places(grid: tuple[Array, Array], turned: bool, flipped: bool) -> tuple[Array, Array]:
    """Centres (24, 2) and corners (24, 4, 2) of the patches' inner parts, in reading order."""
    matrix, _ = grid
    row, column = np.divmod(np.arange(24), COLUMNS)
    cells = np.stack([column, row], -1).astype(float)
    if turned:
        cells = np.array([COLUMNS - 1.0, ROWS - 1.0]) - cells
    if flipped:
        cells = cells * [1, -1] + [0, ROWS - 1.0]
    inner = 0.25 * np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    return _apply(matrix, cells), _apply(matrix, cells[:, None] + inner)


def _handed(centres: Array) -> float:
    """Positive when the reading order runs as on the chart, not mirrored (y down)."""
    along, down = centres[5] - centres[0], centres[18] - centres[0]
    return float(along[0] * down[1] - along[1] * down[0])


def _means(small: NDArray[np.float32], corners: Array) -> Array:
    """Median colour of each inner patch, sampled on an 11 x 11 net."""
    t = np.linspace(0, 1, 11)
    a, b = np.meshgrid(t, t)
    weights = np.stack([(1 - a) * (1 - b), a * (1 - b), a * b, (1 - a) * b], -1).reshape(-1, 4)
    places = np.einsum("nk,pkc->pnc", weights, corners)
    index = [places[..., 1], places[..., 0]]
    return np.stack(
        [np.median(ndimage.map_coordinates(small[..., k], index, order=1, mode="nearest"), axis=1)
         for k in range(3)], -1
    ).astype(np.float64)
