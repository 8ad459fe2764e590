"""Placing shapes low and left in a box without overlap: the geometry under ``lay``.

Knows polygons only; nothing of cloth, grain or pieces. Where a shape may go is found exactly,
from the Minkowski difference of convex parts (the no-fit polygon): the lowest, then leftmost
free position is always a corner or a crossing of those polygons' edges. Sets of upright
rectangles take a short cut with the same result.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, cast

import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import MultiPoint, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from weavecolor.cutting.pieces import GRID

_MOST_SPOTS = 20_000  # places remembered of one search
TOLERANCE = 1e-6  # cm; shapes may touch, and rounding may overlap them by no more than this


@dataclass(frozen=True, eq=False)
class Form:
    """A shape in one position of turn, its bounding box starting at the origin.

    ``pin`` "x" keeps it at x = 0 (on a lengthwise fold), "y" at y = 0 (on a crosswise one).
    ``shift`` is what was added to the given polygon to bring it to the origin.
    """

    polygon: Polygon
    parts: tuple[NDArray[np.float64], ...]
    width: float
    height: float
    box: bool
    pin: str
    shift: tuple[float, float]


def form(polygon: Polygon, pin: str = "") -> Form:
    """Bring a polygon to the origin and cut it into convex parts."""
    left, low, right, high = polygon.bounds
    moved = affinity.translate(polygon, -left, -low)
    width, height = right - left, high - low
    box = abs(moved.area - width * height) <= 1e-9 * width * height
    return Form(moved, convex_parts(moved), width, height, box, pin, (-left, -low))


def convex_parts(shape: BaseGeometry) -> tuple[NDArray[np.float64], ...]:
    """Convex polygons (n, 2) that together make up ``shape``, few rather than fewest."""
    parts: list[Polygon] = []
    for polygon in getattr(shape, "geoms", [shape]):
        if polygon.geom_type != "Polygon" or polygon.area <= 0.0:
            continue
        if not polygon.interiors and _convex(polygon):
            parts.append(polygon)
            continue
        pieces = list(shapely.constrained_delaunay_triangles(polygon).geoms)
        merged = True
        while merged:
            merged = False
            for i in range(len(pieces)):
                for j in range(i + 1, len(pieces)):
                    hull = shapely.convex_hull(shapely.multipolygons([pieces[i], pieces[j]]))
                    if hull.area - pieces[i].area - pieces[j].area <= 1e-9 * hull.area:
                        pieces[i] = hull
                        del pieces[j]
                        merged = True
                        break
                if merged:
                    break
        parts += pieces
    return tuple(np.asarray(part.exterior.coords)[:-1] for part in parts)


def _convex(polygon: Polygon) -> bool:
    return float(shapely.convex_hull(polygon).area - polygon.area) <= 1e-9 * polygon.area


@dataclass(frozen=True, eq=False)
class _NoFit:
    """Offsets at which a moving form would overlap a fixed one.

    ``planes`` (k, 3) are the half-planes a x + b y > c of convex hulls, one hull after another
    from the rows ``starts``: their union is the set. ``edges`` (n, 4) is about its outline.
    """

    planes: NDArray[np.float64]
    starts: NDArray[np.int64]
    edges: NDArray[np.float64]
    bounds: NDArray[np.float64]


def _told(parts: tuple[NDArray[np.float64], ...]) -> tuple[bytes, ...]:
    return tuple(part.tobytes() for part in parts)


@lru_cache(maxsize=1024)
def _no_fit(fixed: tuple[bytes, ...], moving: tuple[bytes, ...]) -> _NoFit:
    """By the corners of convex parts: one lay after another asks about the same pieces."""
    corners_of, of_moving = (
        [np.frombuffer(part).reshape(-1, 2) for part in parts] for parts in (fixed, moving)
    )
    hulls = [
        cast(Polygon, MultiPoint((p[:, None, :] - q[None, :, :]).reshape(-1, 2)).convex_hull)
        for p in corners_of
        for q in of_moving
    ]
    planes, starts = [], [0]
    for hull in hulls:
        ring = np.asarray(orient(hull).exterior.coords)
        along = np.diff(ring, axis=0)
        inward = np.stack([-along[:, 1], along[:, 0]], axis=1)
        inward /= np.hypot(inward[:, 0], inward[:, 1])[:, None]
        planes.append(np.column_stack([inward, (inward * ring[:-1]).sum(axis=1)]))
        starts.append(starts[-1] + len(along))
    # Overlap is judged hull by hull, free of overlay rounding; the outline only proposes places.
    whole = hulls[0] if len(hulls) == 1 else shapely.union_all(hulls, grid_size=GRID)
    edges = []
    for polygon in getattr(whole, "geoms", [whole]):
        for ring_line in (polygon.exterior, *polygon.interiors):
            corners = np.asarray(ring_line.coords)
            edges.append(np.hstack([corners[:-1], corners[1:]]))
    corners = np.concatenate([np.asarray(hull.exterior.coords) for hull in hulls])
    return _NoFit(
        np.concatenate(planes),
        np.array(starts[:-1]),
        np.concatenate(edges),
        np.concatenate([corners.min(axis=0), corners.max(axis=0)]),
    )


class Nest:
    """A box ``width`` by ``height`` (may be inf) with ``blocked`` parts, to place forms in."""

    def __init__(self, width: float, height: float, blocked: BaseGeometry | None = None) -> None:
        self.width, self.height = width, height
        blocked = MultiPolygon() if blocked is None or blocked.is_empty else blocked
        self._blocked = convex_parts(blocked)
        self._boxes_only = all(
            form(Polygon(part)).box for part in self._blocked
        )  # damage drawn as rectangles
        self._blocked_boxes = [
            (*part.min(axis=0).tolist(), *part.max(axis=0).tolist()) for part in self._blocked
        ]
        # by the forms themselves: a number of theirs may come again once one is forgotten
        self._cache: dict[tuple[Form | None, Form], _NoFit] = {}
        self._spots: dict[tuple[object, ...], tuple[float, float] | None] = {}

    def lowest(
        self, placed: list[tuple[Form, float, float]], moving: Form
    ) -> tuple[float, float] | None:
        """The lowest, then leftmost place for ``moving``; None where there is none."""
        # Tries that begin alike ask again for the same places: each is worked out once.
        key = (moving, *placed)
        if key not in self._spots:
            if len(self._spots) >= _MOST_SPOTS:
                self._spots.clear()
            self._spots[key] = self._lowest(placed, moving)
        return self._spots[key]

    def _lowest(
        self, placed: list[tuple[Form, float, float]], moving: Form
    ) -> tuple[float, float] | None:
        if moving.width > self.width + TOLERANCE or moving.height > self.height + TOLERANCE:
            return None
        if (
            moving.box
            and moving.pin != "x"
            and self._boxes_only
            and all(other.box for other, _, _ in placed)
        ):
            return self._lowest_box(placed, moving)
        return self._lowest_polygon(placed, moving)

    def _lowest_box(
        self, placed: list[tuple[Form, float, float]], moving: Form
    ) -> tuple[float, float] | None:
        taken = self._blocked_boxes + [
            (x, y, x + other.width, y + other.height) for other, x, y in placed
        ]
        width, height, slack = moving.width, moving.height, TOLERANCE / 2
        levels = [0.0] if moving.pin == "y" else sorted({0.0, *(box[3] for box in taken)})
        for y in levels:
            if y + height > self.height + slack:
                return None
            over, under, x = y + height - slack, y + slack, 0.0
            beside = [
                (left, right) for left, low, right, high in taken if low < over and high > under
            ]
            while x + width <= self.width + slack:
                far, near = x + width - slack, x + slack
                hit = [right for left, right in beside if left < far and right > near]
                if not hit:
                    return x, y
                x = max(hit)  # every box hit must be passed
        return None

    def _lowest_polygon(
        self, placed: list[tuple[Form, float, float]], moving: Form
    ) -> tuple[float, float] | None:
        right = 0.0 if moving.pin == "x" else max(0.0, self.width - moving.width)
        top = 0.0 if moving.pin == "y" else max(0.0, self.height - moving.height)
        if not np.isfinite(top):
            top = max([0.0, *(y + other.height for other, _, y in placed)])
            top = max([top, *(box[3] for box in self._blocked_boxes)])
        walls: list[tuple[_NoFit, float, float]] = [
            (self._against(other, moving), x, y) for other, x, y in placed
        ]
        if self._blocked:
            walls.append((self._against(None, moving), 0.0, 0.0))
        frame = np.array(
            [[0, 0, right, 0], [right, 0, right, top], [right, top, 0, top], [0, top, 0, 0]],
            dtype=float,
        )
        lines = frame
        if walls:
            at = np.array([(x, y, x, y) for _, x, y in walls])
            bounds = np.array([wall.bounds for wall, _, _ in walls]) + at
            near = (bounds[:, :2] <= [right, top]).all(axis=1) & (bounds[:, 2:] >= 0.0).all(axis=1)
            edges = [walls[k][0].edges for k in np.flatnonzero(near)]
            shifts = at[near].repeat([len(one) for one in edges], axis=0)
            lines = np.concatenate([frame, np.concatenate(edges) + shifts]) if edges else frame
        points = np.concatenate([lines[:, :2], _crossings(lines)])
        slack = TOLERANCE / 2
        keep = (points >= -slack).all(axis=1) & (points <= [right + slack, top + slack]).all(axis=1)
        points = np.clip(points[keep], 0.0, [right, top])
        points = points[np.lexsort((points[:, 0], np.round(points[:, 1], 7)))]
        if not walls:
            return (float(points[0, 0]), float(points[0, 1])) if len(points) else None
        sizes = [len(wall.planes) for wall, _, _ in walls]
        hulls = [len(wall.starts) for wall, _, _ in walls]
        first = np.cumsum([0, *sizes])
        starts = np.concatenate([*(wall.starts for wall, _, _ in walls), first[-1:]])
        starts[:-1] += first[:-1].repeat(hulls)
        offsets = at[:, :2].repeat(hulls, axis=0)
        planes = np.concatenate([wall.planes for wall, _, _ in walls])
        spot = _first_free(points, planes, starts, offsets)
        return None if spot < 0 else (float(points[spot, 0]), float(points[spot, 1]))

    def _against(self, fixed: Form | None, moving: Form) -> _NoFit:
        key = (fixed, moving)
        if key not in self._cache:
            parts = self._blocked if fixed is None else fixed.parts
            self._cache[key] = _no_fit(_told(parts), _told(moving.parts))
        return self._cache[key]


@njit(cache=True, error_model="numpy")
def _first_free(points: Any, planes: Any, starts: Any, offsets: Any) -> int:
    """The first of ``points`` (n, 2) that lies in no hull by more than a hair; -1 for none.

    ``planes`` as in :class:`_NoFit`, hull k from row ``starts[k]`` to ``starts[k + 1]``, moved by
    ``offsets`` (hulls, 2). Touching is free.
    """
    for n in range(points.shape[0]):
        free = True
        for k in range(offsets.shape[0]):
            x, y = points[n, 0] - offsets[k, 0], points[n, 1] - offsets[k, 1]
            inside = True
            for row in range(starts[k], starts[k + 1]):
                if planes[row, 0] * x + planes[row, 1] * y - planes[row, 2] <= TOLERANCE / 2:
                    inside = False
                    break
            if inside:
                free = False
                break
        if free:
            return n
    return -1


@njit(cache=True, error_model="numpy")
def _crossings(lines: Any) -> Any:
    """Where the segments (n, 4) cross or touch one another, shape (m, 2)."""
    n, slack = lines.shape[0], TOLERANCE
    found = np.empty((64, 2))
    count = 0
    for i in range(n):
        px, py, rx, ry = lines[i, 0], lines[i, 1], lines[i, 2], lines[i, 3]
        left, right = min(px, rx) - slack, max(px, rx) + slack
        low, high = min(py, ry) - slack, max(py, ry) + slack
        rx -= px
        ry -= py
        long = math.hypot(rx, ry)
        for j in range(i + 1, n):
            qx, qy, sx, sy = lines[j, 0], lines[j, 1], lines[j, 2], lines[j, 3]
            if max(qx, sx) + slack < left or min(qx, sx) - slack > right:
                continue
            if max(qy, sy) + slack < low or min(qy, sy) - slack > high:
                continue
            sx -= qx
            sy -= qy
            turn = rx * sy - ry * sx
            if abs(turn) <= 1e-12 * long * math.hypot(sx, sy):
                continue
            t = ((qx - px) * sy - (qy - py) * sx) / turn
            u = ((qx - px) * ry - (qy - py) * rx) / turn
            if -1e-9 < t < 1 + 1e-9 and -1e-9 < u < 1 + 1e-9:
                if count == found.shape[0]:
                    more = np.empty((2 * count, 2))
                    for k in range(count):  # a slice would take seconds to compile
                        more[k, 0], more[k, 1] = found[k, 0], found[k, 1]
                    found = more
                found[count, 0] = px + t * rx
                found[count, 1] = py + t * ry
                count += 1
    return found[:count]


def largest_rectangle(
    bounds: tuple[float, float, float, float], blocked: BaseGeometry, most: int = 160
) -> tuple[float, float, float, float]:
    """Largest upright rectangle inside ``bounds`` clear of ``blocked``: x, y, width, height.

    Exact where ``blocked`` is made of upright edges with at most about ``most`` different
    levels; otherwise clear, but maybe not quite the largest. Zeros where nothing is left.
    """
    left, low, right, high = bounds
    corners = shapely.get_coordinates(blocked)
    xs = _levels(corners[:, 0], left, right, most)
    ys = _levels(corners[:, 1], low, high, most)
    if len(xs) < 2 or len(ys) < 2:
        return (left, low, 0.0, 0.0)
    slim = TOLERANCE
    cells = shapely.box(
        xs[None, :-1] + slim, ys[:-1, None] + slim, xs[None, 1:] - slim, ys[1:, None] - slim
    )
    shapely.prepare(blocked)
    free = ~shapely.intersects(blocked, cells)
    best, found = 0.0, (left, low, 0.0, 0.0)
    floor = np.zeros(len(xs) - 1)  # clear height under each column down from this row
    for row in range(len(ys) - 1):
        floor = np.where(free[row], floor + ys[row + 1] - ys[row], 0.0)
        waiting: list[tuple[int, float]] = []  # column where a height starts, and the height
        for column in range(len(floor) + 1):
            height = float(floor[column]) if column < len(floor) else 0.0
            begin = column
            while waiting and waiting[-1][1] >= height:
                begin, tall = waiting.pop()
                area = tall * (xs[column] - xs[begin])
                if area > best * (1 + 1e-12) + 1e-12:
                    best = float(area)
                    wide = float(xs[column] - xs[begin])
                    found = (float(xs[begin]), float(ys[row + 1]) - tall, wide, tall)
            waiting.append((begin, height))
    return found


def _levels(values: NDArray[Any], low: float, high: float, most: int) -> NDArray[np.float64]:
    """Distinct coordinates within the range, thinned or filled to a workable number."""
    even = np.linspace(low, high, 49)  # so that slanting edges cost only a strip
    levels = np.unique(np.round(np.concatenate([even, values]), 6))
    levels = levels[(levels >= low - 1e-9) & (levels <= high + 1e-9)]
    if len(levels) > most:
        levels = levels[np.round(np.linspace(0, len(levels) - 1, most)).astype(int)]
    return levels
