"""Shapes of s-expression board files: points of lines, arcs, circles, and the box around them.

All in the file's own frame (millimetres, y down); only `Frame` turns it into board millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

Point = tuple[float, float]

#: An arc is drawn with a corner at least every so many degrees.
ARC_STEP_DEGREES = 10.0
CURVE_STEPS = 12
_QUARTERS = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}


class Frame:
    """Where a footprint stands: turns its own offsets (y down) into board places (y up).

    Angles are counter-clockwise as seen on the screen; a footprint on the bottom is stored
    mirrored already.
    """

    __slots__ = ("cos", "sin", "x", "y")

    def __init__(self, x: float, y: float, angle: float) -> None:
        self.x = x
        self.y = -y
        exact = _QUARTERS.get(angle % 360.0)
        if exact is None:
            turned = math.radians(angle)
            exact = math.cos(turned), math.sin(turned)
        self.cos, self.sin = exact

    def place(self, x: float, y: float) -> Point:
        """Return the board place of an offset, to the nanometre (the file's own step)."""
        cos, sin = self.cos, self.sin
        # adding 0.0 turns -0.0 into 0.0
        return (
            round(self.x + x * cos + y * sin, 6) + 0.0,
            round(self.y + x * sin - y * cos, 6) + 0.0,
        )


def reach(kind: str, points: Sequence[Point], angle: float | None) -> list[Point]:
    """Return points whose box holds the shape (an old-style arc counts as its whole circle)."""
    if len(points) >= 2 and (kind == "circle" or (kind == "arc" and angle is not None)):
        (cx, cy), (x, y) = points[0], points[1]
        radius = math.hypot(x - cx, y - cy)
        return [(cx - radius, cy - radius), (cx + radius, cy + radius)]
    return list(points)


def box_of(points: Iterable[Point]) -> tuple[float, float, float, float] | None:
    """Return (x1, y1, x2, y2) around the points, None without any."""
    known = list(points)
    if not known:
        return None
    xs = [point[0] for point in known]
    ys = [point[1] for point in known]
    return min(xs), min(ys), max(xs), max(ys)


def polyline(kind: str, points: Sequence[Point], angle: float | None) -> list[Point]:
    """Return a shape as corners joined by straight lines; [] where it has too few points.

    Args:
        kind: line, arc, rect, circle, poly or curve.
        points: start and end; centre and a point of a circle; start, middle and end of an arc,
            or (with `angle`) its centre and its start.
        angle: of an old-style arc, degrees, clockwise on the screen.
    """
    if kind == "rect" and len(points) >= 2:
        (x1, y1), (x2, y2) = points[:2]
        return [(x1, y1), (x2, y1), (x2, y2), (x1, y2), (x1, y1)]
    if kind == "circle" and len(points) >= 2:
        return _turned(points[0], points[1], 360.0)
    if kind == "arc" and angle is not None and len(points) >= 2:
        return _turned(points[0], points[1], angle)
    if kind == "arc" and len(points) >= 3:
        return _arc_through(points[0], points[1], points[2])
    if kind == "curve" and len(points) == 4:
        return [_bezier(points, step / CURVE_STEPS) for step in range(CURVE_STEPS + 1)]
    if kind == "poly" and len(points) >= 3:
        return [*points, points[0]]
    return list(points) if len(points) >= 2 else []


def _turned(centre: Point, start: Point, degrees: float) -> list[Point]:
    cx, cy = centre
    dx, dy = start[0] - cx, start[1] - cy
    steps = max(1, math.ceil(abs(degrees) / ARC_STEP_DEGREES))
    corners = []
    for step in range(steps + 1):
        turned = math.radians(degrees * step / steps)
        cos, sin = math.cos(turned), math.sin(turned)
        corners.append((cx + dx * cos - dy * sin, cy + dx * sin + dy * cos))
    return corners


def _arc_through(start: Point, middle: Point, end: Point) -> list[Point]:
    (x1, y1), (x2, y2), (x3, y3) = start, middle, end
    double = 2 * (x1 * (y2 - y3) + x2 * (y3 - y1) + x3 * (y1 - y2))
    if abs(double) < 1e-9:  # the three lie on one line
        return [start, middle, end]
    s1, s2, s3 = x1 * x1 + y1 * y1, x2 * x2 + y2 * y2, x3 * x3 + y3 * y3
    cx = (s1 * (y2 - y3) + s2 * (y3 - y1) + s3 * (y1 - y2)) / double
    cy = (s1 * (x3 - x2) + s2 * (x1 - x3) + s3 * (x2 - x1)) / double
    first = math.atan2(y1 - cy, x1 - cx)
    to_middle = (math.atan2(y2 - cy, x2 - cx) - first) % math.tau
    to_end = (math.atan2(y3 - cy, x3 - cx) - first) % math.tau
    sweep = to_end if to_middle <= to_end else to_end - math.tau
    corners = _turned((cx, cy), start, math.degrees(sweep))
    corners[-1] = end
    return corners


def _bezier(points: Sequence[Point], at: float) -> Point:
    rest = 1.0 - at
    weights = (rest**3, 3 * rest * rest * at, 3 * rest * at * at, at**3)
    return (
        sum(weight * point[0] for weight, point in zip(weights, points, strict=True)),
        sum(weight * point[1] for weight, point in zip(weights, points, strict=True)),
    )
