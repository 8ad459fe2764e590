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
        self._cache: dict[tuple[Form | None, Form], int] = {}
        self._walls = _Walls()
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
        walls = [(self._against(other, moving), x, y) for other, x, y in placed]
        if self._blocked:
            walls.append((self._against(None, moving), 0.0, 0.0))
        which = np.array([wall for wall, _, _ in walls], np.int64)
        at = np.array([(x, y) for _, x, y in walls], float).reshape(-1, 2)
        found, x, y = _lowest_free(which, at, right, top, *self._walls.packed())
        return (x, y) if found else None

    def _against(self, fixed: Form | None, moving: Form) -> int:
        key = (fixed, moving)
        if key not in self._cache:
            parts = self._blocked if fixed is None else fixed.parts
            self._cache[key] = self._walls.add(_no_fit(_told(parts), _told(moving.parts)))
        return self._cache[key]


class _Walls:
    """Offsets at which forms would overlap, one after another in a few tables, for compiled code.
    """

    def __init__(self) -> None:
        none, first = np.zeros((0, 4)), np.zeros(1, np.int64)
        self._packed: tuple[NDArray[Any], ...] = none, none, first, first, none[:, :3], first
        self._added: list[_NoFit] = []

    def add(self, wall: _NoFit) -> int:
        """Its number."""
        self._added.append(wall)
        return len(self._packed[0]) + len(self._added) - 1

    def packed(self) -> tuple[NDArray[Any], ...]:
        """Bounds (walls, 4) and edges (n, 4) of all; where the edges and the hulls of each begin,
        and the ends, (walls + 1,); planes (k, 3), and where those of each hull begin, (hulls + 1,).
        """
        if self._added:
            walls, self._added = self._added, []
            bounds, edges, first_edge, first_hull, planes, first_plane = self._packed
            begin = first_plane[-1] + np.cumsum([0, *(len(wall.planes) for wall in walls)])
            own = [wall.starts + k for wall, k in zip(walls, begin[:-1], strict=True)]
            self._packed = (
                np.concatenate([bounds, np.array([wall.bounds for wall in walls])]),
                np.concatenate([edges, *(wall.edges for wall in walls)]),
                _ends(first_edge, [len(wall.edges) for wall in walls]),
                _ends(first_hull, [len(wall.starts) for wall in walls]),
                np.concatenate([planes, *(wall.planes for wall in walls)]),
                np.concatenate([first_plane[:-1], *own, begin[-1:]]),
            )
        return self._packed


def _ends(first: NDArray[np.int64], sizes: list[int]) -> NDArray[np.int64]:
    return np.concatenate([first, first[-1] + np.cumsum(sizes)])


@njit(cache=True, error_model="numpy")
def _lowest_free(
    which: Any, at: Any, right: float, top: float, bounds: Any, edges: Any, first_edge: Any,
    first_hull: Any, planes: Any, first_plane: Any,
) -> Any:  # fmt: skip
    """The lowest, then leftmost place in the box to ``right`` and ``top`` that lies in no hull of
    the walls ``which`` (n,), moved ``at`` (n, 2), by more than a hair: whether there is one, x and
    y. Touching is free. The walls are told as by ``_Walls.packed``."""
    slack = TOLERANCE / 2
    near = np.empty(which.size, np.bool_)
    count = 4
    for n in range(which.size):
        x, y, k = at[n, 0], at[n, 1], which[n]
        near[n] = (
            bounds[k, 0] + x <= right and bounds[k, 1] + y <= top
            and bounds[k, 2] + x >= 0.0 and bounds[k, 3] + y >= 0.0
        )  # fmt: skip
        if near[n]:
            count += first_edge[k + 1] - first_edge[k]
    lines = np.zeros((count, 4))
    lines[0, 2] = lines[1, 0] = lines[1, 2] = lines[2, 0] = right
    lines[1, 3] = lines[2, 1] = lines[2, 3] = lines[3, 1] = top
    count = 4
    first = np.zeros(which.size + 2, np.int64)  # where the box's own and each wall's lines begin
    first[1] = 4
    for n in range(which.size):
        if near[n]:
            for row in range(first_edge[which[n]], first_edge[which[n] + 1]):
                for axis in range(4):
                    lines[count, axis] = edges[row, axis] + at[n, axis % 2]
                count += 1
        first[n + 2] = count
    found, level, best_x, best_y = False, 0.0, 0.0, 0.0
    for crossed in range(2):  # corners first: what crosses above the best of them is not asked for
        points = _crossings(lines, first, best_y if found else top) if crossed else lines
        for point in range(points.shape[0]):
            x, y = points[point, 0], points[point, 1]
            if x < -slack or y < -slack or x > right + slack or y > top + slack:
                continue
            x, y = min(max(x, 0.0), right), min(max(y, 0.0), top)
            own = np.rint(y * 1e7)
            if found and (own > level or (own == level and x >= best_x)):
                continue
            free = True
            for n in range(which.size):
                if not near[n]:
                    continue
                for hull in range(first_hull[which[n]], first_hull[which[n] + 1]):
                    inside = True
                    for row in range(first_plane[hull], first_plane[hull + 1]):
                        along = planes[row, 0] * (x - at[n, 0]) + planes[row, 1] * (y - at[n, 1])
                        if along - planes[row, 2] <= slack:
                            inside = False
                            break
                    if inside:
                        free = False
                        break
                if not free:
                    break
            if free:
                found, level, best_x, best_y = True, own, x, y
    return found, best_x, best_y


@njit(cache=True, error_model="numpy")
def _crossings(lines: Any, first: Any, highest: float) -> Any:
    """Where segments (n, 4) that begin no higher than ``highest`` cross or touch those of another
    outline, shape (m, 2); ``first`` (outlines + 1,): where the lines of each begin, and the end.
    """
    slack = TOLERANCE
    found = np.empty((64, 2))
    count = 0
    boxes = np.empty((first.size - 1, 4))
    for n in range(first.size - 1):
        boxes[n, 0] = boxes[n, 1] = np.inf
        boxes[n, 2] = boxes[n, 3] = -np.inf
        for i in range(first[n], first[n + 1]):
            for end in range(4):
                boxes[n, end % 2] = min(boxes[n, end % 2], lines[i, end])
                boxes[n, 2 + end % 2] = max(boxes[n, 2 + end % 2], lines[i, end])
    for n in range(first.size - 1):
        for other in range(n + 1, first.size - 1):
            if _apart(boxes[n], boxes[other], slack):
                continue
            for i in range(first[n], first[n + 1]):
                px, py, rx, ry = lines[i, 0], lines[i, 1], lines[i, 2], lines[i, 3]
                left, right = min(px, rx) - slack, max(px, rx) + slack
                low, high = min(py, ry) - slack, min(max(py, ry) + slack, highest)
                own = (left, low, right, high)
                if low > highest or _apart(own, boxes[other], slack):
                    continue
                rx -= px
                ry -= py
                long = math.hypot(rx, ry)
                for j in range(first[other], first[other + 1]):
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


@njit(cache=True, error_model="numpy")
def _apart(one: Any, other: Any, slack: float) -> Any:
    """Whether boxes (left, low, right, high) lie farther apart than ``slack``."""
    return (
        one[0] > other[2] + slack or other[0] > one[2] + slack
        or one[1] > other[3] + slack or other[1] > one[3] + slack
    )  # fmt: skip


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
