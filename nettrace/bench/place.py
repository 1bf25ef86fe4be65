"""Places on the board: a circle, a box or an outline, and the words a person types for them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from nettrace.errors import NothingMatches, WrongUsage
from nettrace.model.board import Board, Part
from nettrace.model.find import find_parts, find_pins, one_part, split_pin
from nettrace.model.geometry import distance, inside

#: Radius where none is given: about a small connector and its row of passives; common practice,
#: no source.
DEFAULT_RADIUS_MM = 5.0
#: Places are compared after rounding to a nanometre, so that a pad on the rim counts.
RIM_MM = 1e-6

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Circle:
    """Everything within `radius_mm` of a point; `around` is the refdes or pad it was named by."""

    x: float
    y: float
    radius_mm: float
    around: str = ""

    @property
    def middle(self) -> tuple[float, float]:
        """The point that distances are measured from."""
        return self.x, self.y

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The box around it: x1, y1, x2, y2."""
        far = self.radius_mm + RIM_MM
        return self.x - far, self.y - far, self.x + far, self.y + far

    def contains(self, x: float, y: float) -> bool:
        """Return whether the point is in the circle; the rim counts."""
        return distance(self.x, self.y, x, y) <= self.radius_mm + RIM_MM


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle, x1 < x2 and y1 < y2, mm."""

    x1: float
    y1: float
    x2: float
    y2: float

    @property
    def middle(self) -> tuple[float, float]:
        """The point that distances are measured from."""
        return (self.x1 + self.x2) / 2, (self.y1 + self.y2) / 2

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The box itself: x1, y1, x2, y2."""
        return self.x1 - RIM_MM, self.y1 - RIM_MM, self.x2 + RIM_MM, self.y2 + RIM_MM

    def contains(self, x: float, y: float) -> bool:
        """Return whether the point is in the box; the edge counts."""
        x1, y1, x2, y2 = self.box
        return x1 <= x <= x2 and y1 <= y <= y2


@dataclass(frozen=True, slots=True)
class Outline:
    """A closed polygon, mm."""

    corners: tuple[tuple[float, float], ...]

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of the box around it; distances are measured from there."""
        return middle_of(self.corners)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The box around it: x1, y1, x2, y2."""
        return box_of(self.corners)

    def contains(self, x: float, y: float) -> bool:
        """Return whether the point is in the polygon; the edge counts."""
        return inside(x, y, self.corners)


Shape = Circle | Box | Outline


def _numbers(text: str, what: str, shape: str, example: str) -> list[float]:
    """Return as many numbers as the shape has words."""
    hint = f"Write it like {example}."
    found = []
    for word in text.replace(",", " ").replace(";", " ").split():
        try:
            number = float(word.removesuffix("mm"))
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise WrongUsage(f"{word!r} in {what} {text!r}", expected="a number in mm", hint=hint)
        found.append(number)
    if len(found) != len(shape.split(",")):
        raise WrongUsage(f"{what} {text!r}", expected=shape, hint=hint)
    return found


def parse_point(text: str) -> tuple[float, float]:
    """Return the point of `X,Y` (mm, y up).

    >>> parse_point("12.5,-3")
    (12.5, -3.0)
    """
    x, y = _numbers(text, "the point", "X,Y", "12.5,-3")
    return x, y


def parse_box(text: str) -> Box:
    """Return the box of `X1,Y1,X2,Y2`; the corners may come in any order.

    >>> parse_box("4,4,0,1")
    Box(x1=0.0, y1=1.0, x2=4.0, y2=4.0)
    """
    x1, y1, x2, y2 = _numbers(text, "the box", "X1,Y1,X2,Y2", "0,0,10,5")
    return Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))


def parse_outline(text: str) -> Outline:
    """Return the polygon of `X,Y X,Y X,Y ...`, at least three corners.

    >>> parse_outline("0,0 4,0 4,3").contains(3, 1)
    True
    """
    corners = tuple(parse_point(word) for word in text.split())
    if len(corners) < 3:
        many = f"{len(corners)} corner{'s' if len(corners) != 1 else ''}"
        hint = "Write it like '0,0 10,0 10,5'."
        raise WrongUsage(f"an outline of {many}", expected="at least three", hint=hint)
    return Outline(corners)


def circle_around(board: Board, words: str, radius_mm: float) -> Circle:
    """Return the circle around a part (its own place) or a pad (`REFDES.PIN`).

    Raises:
        NothingMatches: no such part or pad, or it has no place in these sources.
        WrongUsage: the name means parts at several places.
    """
    at = {}
    try:
        for part in find_parts(board, words):
            at[one_part(board, part.key)] = (part.key, part_place(part))
    except NothingMatches:
        if split_pin(board, words) is None:
            raise
        for pin in find_pins(board, words):
            place = None if pin.x is None or pin.y is None else (pin.x, pin.y)
            at.setdefault(f"{one_part(board, pin.part)}.{pin.number}", (str(pin), place))
    placed = [(alone, name, place) for alone, (name, place) in at.items() if place is not None]
    if not placed:
        raise NothingMatches(
            f"{words} has no place in these sources",
            hint="A netlist alone has no places: add the board file, or a test or placement file, "
            "with --with.",
        )
    if len(placed) > 1:
        names = ", ".join(f"{alone} at {x:g},{y:g}" for alone, _, (x, y) in placed[:4])
        raise WrongUsage(
            f"{words!r} means {len(placed)} places: {names}",
            hint="Give one, or a point with --at.",
        )
    ((_, name, (x, y)),) = placed
    return Circle(x, y, radius_mm, name)


def part_place(part: Part) -> Point | None:
    """Return a part's own place, else the middle of its pads, else None."""
    if part.x is not None and part.y is not None:
        return part.x, part.y
    return middle_of([(pad.x, pad.y) for pad in part.pads]) if part.pads else None


def box_of(points: Sequence[Point]) -> tuple[float, float, float, float]:
    """Return the upright box around points: x1, y1, x2, y2."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def middle_of(points: Sequence[Point]) -> Point:
    """Return the middle of the box around points."""
    x1, y1, x2, y2 = box_of(points)
    return (x1 + x2) / 2, (y1 + y2) / 2
