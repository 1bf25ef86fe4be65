"""How wide text is and where it may stand: measures, boxes, and places without an overlap."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["FONTS", "Box", "Room", "fit_text", "text_box", "text_width"]

#: Faces with the same measures, then whatever the viewer has.
FONTS = "Arial, Helvetica, 'Liberation Sans', sans-serif"

#: Widths of the printable ASCII characters in thousandths of the type size.
#: Source: the Helvetica font metrics of the PostScript core fonts (from memory); Arial and
#: Liberation Sans are made to the same.
_WIDTHS = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
)  # fmt: skip
_BOLD_WIDTHS = (
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611,
    975, 722, 722, 722, 722, 667, 611, 778, 722, 278, 556, 722, 611, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 333, 278, 333, 584, 556,
    333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889, 611, 611,
    611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
)  # fmt: skip
#: Signs of ours outside ASCII; anything else is taken for as wide as its height.
_SIGNS = {"Ω": 768, "µ": 576, "μ": 576, "·": 278, "…": 1000, "×": 584, "–": 556, "°": 400, "±": 549}
#: Height of capitals, and depth of a g, in parts of the type size.
_RISE, _DEPTH = 0.74, 0.22


class Box(NamedTuple):
    """An upright rectangle on the paper: x right, y down, mm."""

    x1: float
    y1: float
    x2: float
    y2: float

    def overlaps(self, other: Box, gap: float = 0.0) -> bool:
        """Return whether the boxes come closer than `gap` mm."""
        return (
            self.x1 < other.x2 + gap
            and other.x1 < self.x2 + gap
            and self.y1 < other.y2 + gap
            and other.y1 < self.y2 + gap
        )

    def holds(self, other: Box) -> bool:
        """Return whether the other box is wholly inside."""
        return (
            self.x1 <= other.x1
            and self.y1 <= other.y1
            and other.x2 <= self.x2
            and other.y2 <= self.y2
        )

    def grown(self, by: float) -> Box:
        """Return the box larger by so much on every side."""
        return Box(self.x1 - by, self.y1 - by, self.x2 + by, self.y2 + by)


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line is, in the unit of `size` (the type size).

    >>> round(text_width("GND", 2.0), 2)
    4.44
    """
    total = 0
    widths = _BOLD_WIDTHS if bold else _WIDTHS
    for sign in text:
        code = ord(sign)
        total += widths[code - 32] if 32 <= code < 127 else _SIGNS.get(sign, 1000)
    return total * size / 1000


def text_box(
    x: float, y: float, text: str, size: float, *, anchor: str = "start", bold: bool = False
) -> Box:
    """Return the box of a line whose baseline stands at x, y."""
    width = text_width(text, size, bold=bold)
    left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
    return Box(left, y - _RISE * size, left + width, y + _DEPTH * size)


def fit_text(text: str, size: float, width: float, *, bold: bool = False) -> str:
    """Return the text, its middle left out where it is wider than `width`.

    >>> fit_text("/Power/Charger/BAT_SENSE", 2.0, 24.0)
    '/Power/Ch…/BAT_SENSE'
    """
    if text_width(text, size, bold=bold) <= width:
        return text
    for letters in range(len(text) - 1, 0, -1):
        tail = (letters + 1) // 2
        short = f"{text[: letters - tail]}…{text[len(text) - tail :]}"
        if text_width(short, size, bold=bold) <= width:
            return short
    return ""


@dataclass(frozen=True, slots=True)
class _Segment:
    x1: float
    y1: float
    x2: float
    y2: float

    def crosses(self, other: _Segment) -> bool:
        """Return whether the two cross (touching at an end does not count)."""

        def side(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> float:
            return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)

        a, b = self, other
        return (
            side(a.x1, a.y1, a.x2, a.y2, b.x1, b.y1) * side(a.x1, a.y1, a.x2, a.y2, b.x2, b.y2) < 0
            and side(b.x1, b.y1, b.x2, b.y2, a.x1, a.y1) * side(b.x1, b.y1, b.x2, b.y2, a.x2, a.y2)
            < 0
        )

    def meets(self, box: Box) -> bool:
        """Return whether it goes through the box (clipping by Liang and Barsky)."""
        dx, dy = self.x2 - self.x1, self.y2 - self.y1
        start, end = 0.0, 1.0
        for slope, room in (
            (-dx, self.x1 - box.x1),
            (dx, box.x2 - self.x1),
            (-dy, self.y1 - box.y1),
            (dy, box.y2 - self.y1),
        ):
            if slope == 0:
                if room < 0:
                    return False
                continue
            at = room / slope
            if slope < 0:
                start = max(start, at)
            else:
                end = min(end, at)
            if start > end:
                return False
        return True


#: Side of a cell of the paper, mm: a label's height or two.
_CELL_MM = 12.0


class Room:
    """The paper of a map with what stands on it: labels find their places one by one.

    Labels never overlap one another; a label on copper, or a leader across it, costs.
    """

    def __init__(self, window: Box, gap: float = 0.5) -> None:
        self.window = window
        self.gap = gap
        self._taken: dict[tuple[int, int], list[Box]] = {}
        self._copper: dict[tuple[int, int], list[Box]] = {}
        self._leaders: list[_Segment] = []

    def take(self, box: Box) -> None:
        """Mark a box as written on."""
        _add(self._taken, box)

    def add_copper(self, box: Box) -> None:
        """Mark a box as copper: labels keep off it, leaders go round it if they can."""
        _add(self._copper, box)

    def is_free(self, box: Box, *, on_copper: bool = False) -> bool:
        """Return whether a label may stand there."""
        if not self.window.holds(box):
            return False
        if any(box.overlaps(other, self.gap) for other in _near(self._taken, box)):
            return False
        if any(leader.meets(box.grown(self.gap / 2)) for leader in self._leaders):
            return False
        return on_copper or not any(box.overlaps(other, 0.2) for other in _near(self._copper, box))

    def is_free_of_text(self, box: Box) -> bool:
        """Return whether no other writing is there; leaders and copper may be."""
        return self.window.holds(box) and not any(
            box.overlaps(other, 0.1) for other in _near(self._taken, box)
        )

    def cost(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        own: Box,
        bodies: Sequence[Box] = (),
    ) -> float | None:
        """Return what a leader costs; None where it would go through text.

        Its length in mm, and fines for what it crosses: leaders, copper (not that of `own`), and
        `bodies` of others, which it would seem to belong to.
        """
        line = _Segment(*start, *end)
        around = Box(
            min(start[0], end[0]),
            min(start[1], end[1]),
            max(start[0], end[0]),
            max(start[1], end[1]),
        )
        if any(line.meets(box) for box in _near(self._taken, around)):
            return None
        crossed = sum(1 for leader in self._leaders if line.crosses(leader))
        copper = sum(
            1
            for box in _near(self._copper, around)
            if not box.overlaps(own, -0.01) and line.meets(box)
        )
        length = math.dist(start, end)
        entered = sum(1 for box in bodies if line.meets(box))
        return length + 12 * crossed + 5 * copper + 15 * entered

    def draw_leader(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Mark a leader as drawn."""
        self._leaders.append(_Segment(*start, *end))


def _cells(box: Box) -> Iterable[tuple[int, int]]:
    for x in range(int(box.x1 // _CELL_MM), int(box.x2 // _CELL_MM) + 1):
        for y in range(int(box.y1 // _CELL_MM), int(box.y2 // _CELL_MM) + 1):
            yield x, y


def _add(cells: dict[tuple[int, int], list[Box]], box: Box) -> None:
    for key in _cells(box):
        cells.setdefault(key, []).append(box)


def _near(cells: dict[tuple[int, int], list[Box]], box: Box) -> Sequence[Box]:
    found: dict[Box, None] = {}
    for key in _cells(box.grown(1.0)):
        found.update(dict.fromkeys(cells.get(key, ())))
    return tuple(found)
