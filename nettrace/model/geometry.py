"""Plane geometry on the board: millimetres, y up. Distances, areas, turning, where pads are."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from heapq import heappop, heappush

from nettrace.model.board import Board, Pad, Side

#: Side of a cell, mm: a few pads of a dense board each. Larger where a stray pad would make the
#: grid wider than so many cells.
CELL_MM, MOST_CELLS = 2.0, 1000


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


class PadGrid:
    """The pads of a board by the cell that their middle is in; made once, read only.

    Building is one pass over the pads; a look-up touches the cells near the place. Parts without
    any pad stand in `parts_without_pads`.
    """

    def __init__(self, board: Board) -> None:
        self.parts_without_pads = tuple(part for part in board.parts if not part.pads)
        placed = [pad for pad in board.pads() if math.isfinite(pad.x) and math.isfinite(pad.y)]
        span = 0.0
        if placed:
            wide = max(pad.x for pad in placed) - min(pad.x for pad in placed)
            high = max(pad.y for pad in placed) - min(pad.y for pad in placed)
            span = max(wide, high)
        self._size = size = max(CELL_MM, span / MOST_CELLS)
        cells: dict[tuple[int, int], list[tuple[int, Pad]]] = {}
        for index, pad in enumerate(placed):
            key = (math.floor(pad.x / size), math.floor(pad.y / size))
            cell = cells.get(key)
            if cell is None:
                cells[key] = [(index, pad)]
            else:
                cell.append((index, pad))
        self._cells = cells
        xs, ys = {x for x, _ in cells}, {y for _, y in cells}
        self._bounds = (min(xs), min(ys), max(xs), max(ys)) if cells else (0, 0, -1, -1)

    def inside(self, box: tuple[float, float, float, float]) -> list[Pad]:
        """Return the pads of the cells that a box (x1, y1, x2, y2) touches, in board order.

        These are candidates: some stand outside the box.
        """
        low_x, low_y, high_x, high_y = self._bounds
        x1, x2 = max(low_x, self._cell(box[0])), min(high_x, self._cell(box[2]))
        y1, y2 = max(low_y, self._cell(box[1])), min(high_y, self._cell(box[3]))
        found: list[tuple[int, Pad]] = []
        if (x2 - x1 + 1) * (y2 - y1 + 1) > len(self._cells):
            for (x, y), cell in self._cells.items():
                if x1 <= x <= x2 and y1 <= y <= y2:
                    found += cell
        else:
            for x in range(x1, x2 + 1):
                for y in range(y1, y2 + 1):
                    found += self._cells.get((x, y), ())
        found.sort(key=lambda item: item[0])
        return [pad for _, pad in found]

    def near(self, x: float, y: float, side: Side | None = None) -> Iterator[tuple[float, Pad]]:
        """Yield (distance to the pad's middle, mm; pad) for pads facing `side`, nearest first."""
        low_x, low_y, high_x, high_y = self._bounds
        at_x, at_y = self._cell(x), self._cell(y)
        ring = max(low_x - at_x, at_x - high_x, low_y - at_y, at_y - high_y, 0)
        last = max(abs(low_x - at_x), abs(high_x - at_x), abs(low_y - at_y), abs(high_y - at_y))
        waiting: list[tuple[float, int, Pad]] = []
        while ring <= last:
            for key in self._ring(at_x, at_y, ring):
                for index, pad in self._cells.get(key, ()):
                    if pad.side.faces(side):
                        heappush(waiting, (distance(x, y, pad.x, pad.y), index, pad))
            # whatever is outside this ring of cells is at least that far away
            while waiting and waiting[0][0] <= ring * self._size:
                gap, _, pad = heappop(waiting)
                yield gap, pad
            ring += 1
        while waiting:
            gap, _, pad = heappop(waiting)
            yield gap, pad

    def _ring(self, at_x: int, at_y: int, ring: int) -> Iterator[tuple[int, int]]:
        """Yield the cells at exactly that many steps around one, as far as the board goes."""
        low_x, low_y, high_x, high_y = self._bounds
        for x in range(max(low_x, at_x - ring), min(high_x, at_x + ring) + 1):
            if abs(x - at_x) == ring:
                for y in range(max(low_y, at_y - ring), min(high_y, at_y + ring) + 1):
                    yield x, y
                continue
            for y in {at_y - ring, at_y + ring}:
                if low_y <= y <= high_y:
                    yield x, y

    def _cell(self, value: float) -> int:
        # far beyond any board, but still a number that cells can be counted with
        return math.floor(max(-1e12, min(1e12, value)) / self._size)
