"""From the board to the paper: scale, window, side, and the shapes of pads and bodies on it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from nettrace.model.board import Pad, Part, Side
from nettrace.model.geometry import turn
from nettrace.views.drawing_text import Box

__all__ = [
    "CROSS_MM",
    "Position",
    "SolderedWire",
    "TornPad",
    "View",
    "body_corners",
    "choose_view",
    "hull_corners",
    "pad_corners",
    "scale_words",
]

Point = tuple[float, float]

#: Scales that are chosen from, largest first: ISO 5455 and steps between them, since a position
#: of a millimetre must be readable.
SCALES = (50.0, 40.0, 30.0, 25.0, 20.0, 15.0, 12.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 1.5,
          1.0, 0.75, 0.5, 0.4, 0.2, 0.1, 0.05, 0.02, 0.01)  # fmt: skip
#: Blank paper around the area, for balloons and names, mm.
MARGIN_MM = 16.0
#: Corner radius of a rounded pad, in parts of its shorter side: what files that do not say mean.
ROUNDED = 0.25
#: Body around the pads where the file draws none, mm.
BODY_MM = 0.15
#: A pad without a size is shown as a cross of this size, mm on the board.
POINT_MM = 0.3
#: Half of that cross on the paper, mm.
CROSS_MM = 0.8


@dataclass(frozen=True, slots=True)
class Position:
    """A missing part with its number on the map.

    One that was never `fitted` is bare by design; a `refitted` one is there again.
    """

    number: int
    part: Part
    side: Side
    fitted: bool = True
    refitted: bool = False


@dataclass(frozen=True, slots=True)
class SolderedWire:
    """A wire on the map: what it is in words, and its two ends on the board, mm."""

    words: str
    start: Point
    end: Point


@dataclass(frozen=True, slots=True)
class TornPad:
    """A lifted pad, or an end of a cut track, on the map: what it is, and its place, mm."""

    words: str
    at: Point


@dataclass(frozen=True, slots=True)
class View:
    """A window of the paper (mm, y down) onto the board (mm, y up), seen from one side."""

    window: Box
    scale: float
    middle: Point
    side: Side

    @property
    def mirrored(self) -> bool:
        """Whether x runs to the left: the bottom as it is seen with the board turned over."""
        return self.side is Side.BOTTOM

    def at(self, x: float, y: float) -> Point:
        """Return where a point of the board is on the paper."""
        across = (x - self.middle[0]) * (-1 if self.mirrored else 1)
        return (
            (self.window.x1 + self.window.x2) / 2 + across * self.scale,
            (self.window.y1 + self.window.y2) / 2 - (y - self.middle[1]) * self.scale,
        )

    def points(self, points: Iterable[Point]) -> list[Point]:
        """Return where points of the board are on the paper."""
        return [self.at(x, y) for x, y in points]

    def box(self, points: Iterable[Point]) -> Box:
        """Return the box on the paper around points of the board, at least one."""
        there = self.points(points)
        xs, ys = [x for x, _ in there], [y for _, y in there]
        return Box(min(xs), min(ys), max(xs), max(ys))

    def pad_box(self, pad: Pad) -> Box:
        """Return the box on the paper around a pad, or around the cross that stands for it."""
        corners = pad_corners(pad)
        if corners is not None:
            return self.box(corners)
        x, y = self.at(pad.x, pad.y)
        return Box(x, y, x, y).grown(CROSS_MM)

    def board_box(self) -> tuple[float, float, float, float]:
        """Return the part of the board that the window shows: x1, y1, x2, y2."""
        half_x = (self.window.x2 - self.window.x1) / 2 / self.scale
        half_y = (self.window.y2 - self.window.y1) / 2 / self.scale
        x, y = self.middle
        return x - half_x, y - half_y, x + half_x, y + half_y


def choose_view(
    window: Box, boxes: Sequence[tuple[float, float, float, float]], side: Side
) -> View:
    """Return the view of the largest scale that shows all boxes (x1, y1, x2, y2, board mm)."""
    x1, y1 = min(box[0] for box in boxes), min(box[1] for box in boxes)
    x2, y2 = max(box[2] for box in boxes), max(box[3] for box in boxes)
    wide = window.x2 - window.x1 - 2 * MARGIN_MM
    high = window.y2 - window.y1 - 2 * MARGIN_MM
    fits = [s for s in SCALES if (x2 - x1) * s <= wide and (y2 - y1) * s <= high]
    scale = fits[0] if fits else SCALES[-1]
    return View(window, scale, ((x1 + x2) / 2, (y1 + y2) / 2), side)


def scale_words(scale: float) -> str:
    """Return a scale as a drawing states it.

    >>> scale_words(15.0), scale_words(0.5), scale_words(2.5)
    ('15:1', '1:2', '2.5:1')
    """
    return f"{scale:g}:1" if scale >= 1 else f"1:{1 / scale:g}"


def pad_corners(pad: Pad) -> tuple[Point, ...] | None:
    """Return a pad's outline on the board, as a polygon; None where it has no size.

    Round ends are drawn with short chords; a shape that the model does not know counts as the
    rectangle it spans.
    """
    if not pad.width or not pad.height:
        return None
    half_x, half_y = pad.width / 2, pad.height / 2
    if pad.shape in {"circle", "oval", "thru_hole"}:
        radius = min(half_x, half_y)
    elif pad.shape == "roundrect":
        radius = 2 * min(half_x, half_y) * ROUNDED
    else:
        radius = 0.0
    own: list[Point] = []
    for sign_x, sign_y, start in ((1, 1, 0), (-1, 1, 90), (-1, -1, 180), (1, -1, 270)):
        if radius == 0:
            own.append((sign_x * half_x, sign_y * half_y))
            continue
        for step in range(0, 91, 15):
            angle = math.radians(start + step)
            own.append(
                (
                    sign_x * (half_x - radius) + radius * math.cos(angle),
                    sign_y * (half_y - radius) + radius * math.sin(angle),
                )
            )
    return tuple((pad.x + dx, pad.y + dy) for dx, dy in (turn(x, y, pad.angle) for x, y in own))


def body_corners(part: Part) -> tuple[Point, ...]:
    """Return a part's outline as the file draws it, else a box around its pads; () without any."""
    if len(part.outline) >= 3:
        return part.outline
    points = [
        point
        for pad in part.pads
        for point in pad_corners(pad)
        or ((pad.x - POINT_MM, pad.y - POINT_MM), (pad.x + POINT_MM, pad.y + POINT_MM))
    ]
    if not points:
        if part.x is None or part.y is None:
            return ()
        points = [(part.x - POINT_MM, part.y - POINT_MM), (part.x + POINT_MM, part.y + POINT_MM)]
    x1, x2 = min(x for x, _ in points) - BODY_MM, max(x for x, _ in points) + BODY_MM
    y1, y2 = min(y for _, y in points) - BODY_MM, max(y for _, y in points) + BODY_MM
    return (x1, y1), (x2, y1), (x2, y2), (x1, y2)


def hull_corners(part: Part) -> tuple[Point, ...]:
    """Return the convex outline around a part's body and pads: the place it takes when fitted.

    Method: Andrew's monotone chain, O(n log n).
    """
    points = sorted(
        {*body_corners(part), *(point for pad in part.pads for point in pad_corners(pad) or ())}
    )
    if len(points) < 3:
        return tuple(points)

    def half(ordered: Sequence[Point]) -> list[Point]:
        chain: list[Point] = []
        for x, y in ordered:
            while len(chain) > 1:
                (x1, y1), (x2, y2) = chain[-2:]
                if (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1) > 0:
                    break
                chain.pop()
            chain.append((x, y))
        return chain[:-1]

    return tuple(half(points) + half(points[::-1]))
