"""Plane geometry on the board: millimetres, y up. Distances, areas, turning, nearest pads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from nettrace.model.board import Pad, Side

__all__ = ["distance", "inside", "nearest_pads", "pad_distance", "turn"]


def distance(x1: float, y1: float, x2: float, y2: float) -> float:
    """Return the straight distance, mm."""
    return math.hypot(x2 - x1, y2 - y1)


def turn(x: float, y: float, degrees: float) -> tuple[float, float]:
    """Return the point turned counter-clockwise about the origin; quarter turns are exact."""
    quarter = degrees % 360
    if quarter == 0:
        return x, y
    if quarter == 90:
        return -y, x
    if quarter == 180:
        return -x, -y
    if quarter == 270:
        return y, -x
    angle = math.radians(degrees)
    cos, sin = math.cos(angle), math.sin(angle)
    return x * cos - y * sin, x * sin + y * cos


def inside(x: float, y: float, corners: Sequence[tuple[float, float]]) -> bool:
    """Return whether the point is in the closed polygon (even-odd rule; the edge counts)."""
    result = False
    count = len(corners)
    for index in range(count):
        x1, y1 = corners[index]
        x2, y2 = corners[(index + 1) % count]
        cross = (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)
        if (
            abs(cross) < 1e-9
            and min(x1, x2) - 1e-9 <= x <= max(x1, x2) + 1e-9
            and min(y1, y2) - 1e-9 <= y <= max(y1, y2) + 1e-9
        ):
            return True
        if (y1 > y) != (y2 > y) and x < (x2 - x1) * (y - y1) / (y2 - y1) + x1:
            result = not result
    return result


def pad_distance(pad: Pad, x: float, y: float) -> float:
    """Return how far the point is from the pad's copper, mm; 0 on it.

    The pad counts as a rectangle turned by its angle (a circle as a circle); without a size, as a
    point.
    """
    if not pad.width or not pad.height:
        return distance(pad.x, pad.y, x, y)
    if pad.shape == "circle":
        return max(0.0, distance(pad.x, pad.y, x, y) - pad.width / 2)
    dx, dy = turn(x - pad.x, y - pad.y, -pad.angle)
    over_x = max(0.0, abs(dx) - pad.width / 2)
    over_y = max(0.0, abs(dy) - pad.height / 2)
    return math.hypot(over_x, over_y)


def nearest_pads(
    pads: Iterable[Pad], x: float, y: float, side: Side | None = None
) -> list[tuple[float, Pad]]:
    """Return (distance to the pad's centre in mm, pad) for pads facing `side`, nearest first."""
    found = [
        (distance(pad.x, pad.y, x, y), index, pad)
        for index, pad in enumerate(pads)
        if pad.side.faces(side)
    ]
    found.sort(key=lambda item: item[:2])
    return [(gap, pad) for gap, _, pad in found]
