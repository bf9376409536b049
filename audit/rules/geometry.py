"""Distances in the plan of a room, measured as a taut string round fixed partitions.

Section 701 of IEC 60364-7 measures zones in plan, round the free ends of fixed
partitions (figures 701.1 and 701.2: the string runs along the partition, round
its thickness, and on). The string's last leg ends at a corner of the target or
square to one of its edges, and every bend is at a corner of an obstacle, so a
visibility graph over those corners is exact.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

XY = tuple[float, float]

THIN_M = 0.002
"""Least thickness a partition is given, in m: a line has no inside to be blocked by."""
MEETS_M = 0.05
"""Within this of a wall or another partition an end counts as meeting it, in m."""
_SKIN_M = 1e-4
"""How far an obstacle is shrunk before sight lines are held against it, so that a
string may lie along its face; errs on the short, stricter side by less than 1 mm."""
_WALL_M = 0.03
"""How far outside the walls a tape may still put a point."""


@dataclass(frozen=True)
class Plan:
    """What stands in the way in one room's plan.

    Parameters
    ----------
    walls : Polygon or None
        Inside of the room in m; None where it is not known: nothing limits then.
    partitions : tuple of Polygon
        Fixed partitions with their thickness, in m.
    """

    walls: Polygon | None
    partitions: tuple[Polygon, ...] = ()

    @cached_property
    def _inside(self) -> Polygon | None:
        return None if self.walls is None else self.walls.buffer(_WALL_M, join_style="mitre")

    @cached_property
    def _blocks(self) -> BaseGeometry | None:
        # Joined before they are shrunk: partitions that meet leave no slit between them.
        union = shapely.union_all(self.partitions).buffer(-_SKIN_M, join_style="mitre")
        if union.is_empty:
            return None
        shapely.prepare(union)
        return union

    @cached_property
    def barrier(self) -> BaseGeometry | None:
        """Everything that stops a string: partitions, and what lies outside the walls."""
        parts = [] if self._blocks is None else [self._blocks]
        if self._inside is not None:
            parts.append(self._inside.exterior)
        return shapely.union_all(parts) if parts else None

    @cached_property
    def open(self) -> bool:
        """Whether every straight line within the room is free."""
        walls = self._inside
        round_walls = walls is None or walls.convex_hull.area - walls.area < 1e-9
        return round_walls and self._blocks is None

    @cached_property
    def corners(self) -> tuple[XY, ...]:
        """Where a string may bend: corners of partitions, and of walls that jut in."""
        found = [c for p in self.partitions for c in p.exterior.coords[:-1]]
        inside = self._inside
        if inside is not None:
            found += _reflex(inside)
            found = [c for c in found if inside.covers(Point(c))]
        return tuple((float(x), float(y)) for x, y in found)

    def sees(self, a: XY, b: XY) -> bool:
        """Whether the straight line from `a` to `b` is free."""
        if self.open or a == b:
            return True
        line = LineString([a, b])
        if self._blocks is not None and self._blocks.intersects(line):
            return False
        return self._inside is None or bool(self._inside.covers(line))


def _reflex(shape: Polygon) -> list[XY]:
    ring = shapely.geometry.polygon.orient(shape).exterior.coords[:-1]
    found = []
    for i, (x, y) in enumerate(ring):
        (px, py), (nx, ny) = ring[i - 1], ring[(i + 1) % len(ring)]
        if (x - px) * (ny - y) - (y - py) * (nx - x) < 0:
            found.append((float(x), float(y)))
    return found


def partition_shape(
    line: Sequence[XY], thickness_m: float, meets: Sequence[BaseGeometry] = ()
) -> Polygon:
    """Plan of a partition along `line` (m), square at its free ends.

    An end that comes within `MEETS_M` of something in `meets` (walls, other
    partitions) is no free end: it is carried on into it.
    """
    half = max(thickness_m, THIN_M) / 2
    points = [*line]
    for end, before in ((0, 1), (-1, -2)):
        if any(m.distance(Point(points[end])) <= MEETS_M for m in meets):
            points[end] = _onwards(points[before], points[end], 2 * MEETS_M)
    shape = LineString(points).buffer(half, cap_style="flat", join_style="mitre")
    if not isinstance(shape, Polygon):
        raise ValueError("a partition is one piece")
    return shape


def _onwards(a: XY, b: XY, by: float) -> XY:
    length = math.dist(a, b)
    return (b[0] + (b[0] - a[0]) / length * by, b[1] + (b[1] - a[1]) / length * by)


@dataclass(frozen=True)
class Target:
    """Something distances are taken to: outlines of baths and trays, or a point.

    Parameters
    ----------
    plan : Plan
    shape : Polygon or Point
    """

    plan: Plan
    shape: Polygon | Point

    @cached_property
    def _edges(self) -> tuple[tuple[XY, XY], ...]:
        if isinstance(self.shape, Point):
            p = (float(self.shape.x), float(self.shape.y))
            return ((p, p),)
        ring = [(float(x), float(y)) for x, y in self.shape.exterior.coords]
        return tuple(itertools.pairwise(ring))

    def _straight(self, p: XY) -> float:
        """Shortest free straight line from `p`, or infinity."""
        if isinstance(self.shape, Polygon) and self.shape.covers(Point(p)):
            return 0.0
        best = math.inf
        for a, b in self._edges:
            for q in (_foot(p, a, b), a, b):
                d = math.dist(p, q)
                if d < best and self.plan.sees(p, q):
                    best = d
        return best

    @cached_property
    def _from_corners(self) -> tuple[float, ...]:
        """Length of the string from each corner of the plan (Dijkstra)."""
        corners = self.plan.corners
        best = [self._straight(c) for c in corners]
        heap = [(d, i) for i, d in enumerate(best) if d < math.inf]
        heapq.heapify(heap)
        done = [False] * len(corners)
        while heap:
            d, i = heapq.heappop(heap)
            if done[i]:
                continue
            done[i] = True
            for j, c in enumerate(corners):
                step = d + math.dist(c, corners[i])
                if not done[j] and step < best[j] and self.plan.sees(c, corners[i]):
                    best[j] = step
                    heapq.heappush(heap, (step, j))
        return tuple(best)

    def distance(self, p: XY) -> float:
        """Length in m of the taut string from `p`; infinity where no way leads there."""
        if self.plan.open:
            return float(self.shape.distance(Point(p)))
        best = self._straight(p)
        for corner, rest in zip(self.plan.corners, self._from_corners, strict=True):
            length = math.dist(p, corner) + rest
            if length < best and self.plan.sees(p, corner):
                best = length
        return best

    def path(self, p: XY) -> tuple[XY, ...]:
        """Points of the taut string from `p` to the target, both ends included."""
        points, here, left = [p], p, self.distance(p)
        while math.isfinite(left) and left > 1e-9:
            foot = self._nearest(here)
            if foot is not None and math.dist(here, foot) <= left + 1e-9:
                return (*points, foot)
            step = next(
                (
                    (c, rest)
                    for c, rest in zip(self.plan.corners, self._from_corners, strict=True)
                    if c != here
                    and abs(math.dist(here, c) + rest - left) < 1e-9
                    and self.plan.sees(here, c)
                ),
                None,
            )
            if step is None:
                break
            here, left = step
            points.append(here)
        return tuple(points)

    def _nearest(self, p: XY) -> XY | None:
        feet = [q for a, b in self._edges for q in (_foot(p, a, b), a, b) if self.plan.sees(p, q)]
        return min(feet, key=lambda q: math.dist(p, q), default=None)

    def signed(self, p: XY) -> float:
        """Like `distance`, but inside the shape minus the depth below its rim's line."""
        at = Point(p)
        if isinstance(self.shape, Polygon) and self.shape.covers(at):
            return -float(self.shape.exterior.distance(at))
        return self.distance(p)

    def reach(self, length_m: float) -> BaseGeometry:
        """Region of the plan that a string of `length_m` reaches, for drawing.

        Arcs are drawn with a ray every 3 degrees; the region errs inwards by less
        than 0.04 % of the length.
        """
        if self.plan.open:
            return self._clip(self.shape.buffer(length_m, quad_segs=64))
        pieces = [self.shape, _ring(self.plan, self._starts(), length_m)]
        for corner, rest in zip(self.plan.corners, self._from_corners, strict=True):
            if rest < length_m:
                pieces.append(_ring(self.plan, _fan(corner, 0.0, math.tau), length_m - rest))
        return self._clip(shapely.union_all([shapely.make_valid(p) for p in pieces]))

    def _clip(self, shape: BaseGeometry) -> BaseGeometry:
        for block in self.plan.partitions:
            shape = shape.difference(block)
        return shape if self.plan.walls is None else shape.intersection(self.plan.walls)

    def _starts(self) -> list[tuple[XY, float]]:
        """Rays that leave the shape squarely: points of its rim and directions."""
        if isinstance(self.shape, Point):
            return _fan((self.shape.x, self.shape.y), 0.0, math.tau)
        ring = shapely.geometry.polygon.orient(self.shape).exterior.coords[:-1]
        rays: list[tuple[XY, float]] = []
        normals = []
        for i, a in enumerate(ring):
            b = ring[(i + 1) % len(ring)]
            normals.append(math.atan2(b[1] - a[1], b[0] - a[0]) - math.pi / 2)
        for i, a in enumerate(ring):
            b = ring[(i + 1) % len(ring)]
            turn = (normals[i] - normals[i - 1] + math.pi) % math.tau - math.pi
            if turn > 0:
                rays += _fan(a, normals[i - 1], normals[i - 1] + turn)
            steps = max(2, math.ceil(math.dist(a, b) / 0.02))
            for k in range(steps + 1):
                t = k / steps
                at = (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))
                rays.append((at, normals[i]))
        return rays


def _fan(at: XY, start: float, end: float) -> list[tuple[XY, float]]:
    steps = max(2, math.ceil((end - start) / math.radians(3)))
    return [(at, start + (end - start) * k / steps) for k in range(steps + 1)]


def _ring(plan: Plan, rays: Sequence[tuple[XY, float]], length_m: float) -> Polygon:
    """Outline through the ends of rays, each cut where it meets an obstacle."""
    lines = shapely.linestrings(
        [[at, (at[0] + length_m * math.cos(w), at[1] + length_m * math.sin(w))] for at, w in rays]
    )
    blocks = plan.barrier
    if blocks is not None:
        hits = shapely.intersection(lines, blocks)
        starts = shapely.points([at for at, _ in rays])
        cut = shapely.distance(hits, starts)
        free = [length_m if math.isnan(d) else max(float(d), 0.0) for d in cut]
    else:
        free = [length_m] * len(rays)
    return Polygon(
        [
            (at[0] + d * math.cos(w), at[1] + d * math.sin(w))
            for (at, w), d in zip(rays, free, strict=True)
        ]
    )


def _foot(p: XY, a: XY, b: XY) -> XY:
    dx, dy = b[0] - a[0], b[1] - a[1]
    square = dx * dx + dy * dy
    if square == 0:
        return a
    t = max(0.0, min(1.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / square))
    return (a[0] + t * dx, a[1] + t * dy)


def slope_height(low_m: float, high_m: float, low_at: XY, high_at: XY, p: XY) -> float:
    """Height in m of an evenly sloping ceiling over the plan point `p`.

    The ceiling rises from `low_m` over `low_at` to `high_m` over `high_at` and is
    level across that direction; beyond both it stays level.
    """
    dx, dy = high_at[0] - low_at[0], high_at[1] - low_at[1]
    t = ((p[0] - low_at[0]) * dx + (p[1] - low_at[1]) * dy) / (dx * dx + dy * dy)
    return low_m + (high_m - low_m) * max(0.0, min(1.0, t))
