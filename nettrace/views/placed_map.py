"""The window of a map onto the board: scale and side, and the shapes that are drawn in it.

Board edge, area, copper, bodies, missing positions, soldered wires, torn pads, the mark of pin 1.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nettrace.bench.area import AreaReport
from nettrace.bench.place import Box as BoardBox
from nettrace.bench.place import Circle
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import table
from nettrace.model.board import Pad, Part, Side
from nettrace.model.geometry import turn
from nettrace.views.drawing import MIDDLE, THICK, THIN, Box, Paper, Point, corners_box, hatch_lines
from nettrace.views.text_facts import net_words, refdes, role_words, value_words

if TYPE_CHECKING:
    from nettrace.bench.report import SolderedWire, TornPad

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
#: Distance of hatching lines, and size of the mark at pin 1, mm.
HATCH_MM, MARK_MM = 1.5, 1.3
#: Half of the cross on a torn pad, on the paper, mm.
TORN_MM = 1.6
#: Width of a soldered wire on the paper, mm.
WIRE_MM = 0.9
#: Kinds without a first pin. Most capacitors have none, and no source says which have.
_PLAIN = frozenset({Kind.RESISTOR, Kind.INDUCTOR, Kind.FERRITE, Kind.FUSE, Kind.THERMISTOR,
                    Kind.VARISTOR, Kind.CAPACITOR})  # fmt: skip


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

    @property
    def look(self) -> str:
        """What it is, and how it is drawn on its own side."""
        if not self.fitted:
            return "bare by design"
        return "refitted" if self.refitted else "missing"

    def is_far_from(self, side: Side) -> bool:
        """Return whether it is on the other side of the board."""
        return self.side not in (side, Side.BOTH)


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
        middle_x, middle_y = self.window.middle
        return middle_x + across * self.scale, middle_y - (y - self.middle[1]) * self.scale

    def points(self, points: Iterable[Point]) -> list[Point]:
        """Return where points of the board are on the paper."""
        return [self.at(x, y) for x, y in points]

    def box(self, points: Iterable[Point]) -> Box:
        """Return the box on the paper around points of the board, at least one."""
        return corners_box(self.points(points))

    def pad_box(self, pad: Pad) -> Box:
        """Return the box on the paper around a pad, or around the cross that stands for it."""
        corners = pad_corners(pad)
        if corners:
            return self.box(corners)
        return self.box([(pad.x, pad.y)]).grown(CROSS_MM)

    def board_box(self) -> tuple[float, float, float, float]:
        """Return the part of the board that the window shows: x1, y1, x2, y2."""
        half_x, half_y = self.window.wide / 2 / self.scale, self.window.high / 2 / self.scale
        x, y = self.middle
        return x - half_x, y - half_y, x + half_x, y + half_y


def choose_view(
    window: Box, boxes: Sequence[tuple[float, float, float, float]], side: Side
) -> View:
    """Return the view of the largest scale that shows all boxes (x1, y1, x2, y2, board mm)."""
    all_ = corners_box([point for x1, y1, x2, y2 in boxes for point in ((x1, y1), (x2, y2))])
    room = window.grown(-MARGIN_MM)
    fits = (s for s in SCALES if all_.wide * s <= room.wide and all_.high * s <= room.high)
    return View(window, next(fits, SCALES[-1]), all_.middle, side)


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
    rounded = {"circle": 0.5, "oval": 0.5, "thru_hole": 0.5, "roundrect": ROUNDED}
    radius = min(pad.width, pad.height) * rounded.get(pad.shape or "", 0.0)
    own = [
        (
            sign_x * (half_x - radius) + radius * math.cos(math.radians(start + step)),
            sign_y * (half_y - radius) + radius * math.sin(math.radians(start + step)),
        )
        for sign_x, sign_y, start in ((1, 1, 0), (-1, 1, 90), (-1, -1, 180), (1, -1, 270))
        for step in (range(0, 91, 15) if radius else (0,))
    ]
    return tuple((pad.x + dx, pad.y + dy) for dx, dy in (turn(x, y, pad.angle) for x, y in own))


def body_corners(part: Part) -> tuple[Point, ...]:
    """Return a part's outline as the file draws it, else a box around its pads; () without any."""
    if len(part.outline) >= 3:
        return part.outline
    points: list[Point] = []
    for pad in part.pads:
        points += pad_corners(pad) or Box(pad.x, pad.y, pad.x, pad.y).grown(POINT_MM).corners
    if not points:
        if part.x is None or part.y is None:
            return ()
        points += Box(part.x, part.y, part.x, part.y).grown(POINT_MM).corners
    return corners_box(points).grown(BODY_MM).corners


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


# -- shapes ---------------------------------------------------------------------------------------


def draw_edges(paper: Paper, circuit: Circuit, view: View) -> None:
    """Draw the board's edges."""
    for line in circuit.board.outline:
        paper.polyline(view.points(line), stroke_width=THICK, stroke_linejoin="round")


def draw_area(paper: Paper, report: AreaReport, view: View) -> None:
    """Draw where the area ends."""
    shape = report.shape
    look = table("drawing")["map"]["looks"]["area"]
    if isinstance(shape, Circle):
        x, y = view.at(shape.x, shape.y)
        paper.circle(x, y, shape.radius_mm * view.scale, **look)
    elif isinstance(shape, BoardBox):
        paper.polygon(view.points(Box(shape.x1, shape.y1, shape.x2, shape.y2).corners), **look)
    else:
        paper.polygon(view.points(shape.corners), **look)


def draw_neighbour(paper: Paper, circuit: Circuit, view: View, part: Part) -> None:
    """Draw a part that is there."""
    with paper.group(tip=_tip(circuit, part), class_="part", data_part=part.key):
        corners = body_corners(part)
        if corners and part.refdes:
            paper.polygon(view.points(corners), **table("drawing")["map"]["looks"]["body"])
        _draw_pads(paper, circuit, view, part, "pad")


def draw_position(paper: Paper, circuit: Circuit, view: View, position: Position) -> None:
    """Draw a missing part: its place hatched, its pads bare; a refitted one whole again.

    Of one on the other side only the edges are drawn, dashed as hidden ones are (ISO 128).
    """
    part, look = position.part, position.look
    tip = f"{position.number}: {_tip(circuit, part)}"
    if position.refitted or position.fitted:
        tip += ", refitted" if position.refitted else ", missing"
    far = position.is_far_from(view.side)
    if far:
        tip, look = f"{tip}, on the {position.side} side", "on the other side"
    with paper.group(tip=tip, class_="position", data_no=position.number, data_part=part.key):
        corners = view.points(hull_corners(part))
        if corners:
            if look == "missing":
                paper.segments(hatch_lines(corners, HATCH_MM))
            paper.polygon(corners, **table("drawing")["map"]["looks"][look])
        if not far:
            pad_look = "refitted pad" if position.refitted else "bare pad"
            _draw_pads(paper, circuit, view, part, pad_look)


def draw_wire(paper: Paper, view: View, wire: SolderedWire) -> None:
    """Draw a soldered wire from end to end, straight; it is laid as the bench has room."""
    start, end = view.at(*wire.start), view.at(*wire.end)
    with paper.group(tip=wire.words, class_="wire"):
        paper.line(start, end, stroke="white", stroke_width=WIRE_MM * 2.2)
        paper.line(start, end, stroke_width=WIRE_MM)
        for x, y in (start, end):
            paper.circle(x, y, WIRE_MM, fill="black", stroke="white", stroke_width=THIN)


def draw_torn(paper: Paper, view: View, pad: TornPad) -> None:
    """Put a cross on a pad that came off or whose track is cut."""
    x, y = view.at(*pad.at)
    upper_left, upper_right, lower_right, lower_left = Box(x, y, x, y).grown(TORN_MM).corners
    arms = [(upper_left, lower_right), (lower_left, upper_right)]
    with paper.group(tip=pad.words, class_="torn"):
        paper.segments(arms, stroke="white", stroke_width=3 * THICK)
        paper.segments(arms, stroke_width=THICK)


def _tip(circuit: Circuit, part: Part) -> str:
    text = " ".join(filter(None, (refdes(circuit, part.key), value_words(circuit, part))))
    nets = "; ".join(
        f"{pin.number} {pin.net} ({net_words(circuit, pin.net, {})})"
        for pin in part.pins[:8]
        if pin.net is not None
    )
    return f"{text}, {role_words(circuit.roles(part.key)[:1])}. {nets}"


def _draw_pads(paper: Paper, circuit: Circuit, view: View, part: Part, look: str) -> None:
    """Draw a part's pads that are seen, named as a page knows them, and the mark of pin 1."""
    looks = table("drawing")["map"]["looks"]
    seen = [pad for pad in part.pads if pad.side.faces(view.side)]
    for pad in seen:
        x, y = view.at(pad.x, pad.y)
        corners = pad_corners(pad)
        if corners is None:
            cross = [((x - CROSS_MM, y), (x + CROSS_MM, y)), ((x, y - CROSS_MM), (x, y + CROSS_MM))]
            paper.segments(cross, stroke_width=MIDDLE)
            continue
        named: dict[str, object] = {}
        if pad.number:
            named = {"data_part": part.key, "data_pad": f"{part.refdes}.{pad.number}"}
        paper.polygon(view.points(corners), data_net=pad.net, **looks[look], **named)
        if pad.drill:
            paper.circle(x, y, pad.drill / 2 * view.scale, **looks["hole"])
    first = next((pad for pad in seen if pad.number in {"1", "A1"}), None)
    if first is None or circuit.kinds[part.key].kind in _PLAIN or len(part.pads) < 2:
        return
    # a triangle outside the first pad, its tip towards it
    (x, y), box = view.at(first.x, first.y), view.pad_box(first)
    middle_x, middle_y = view.box(hull_corners(part)).middle
    dx, dy = x - middle_x, y - middle_y
    is_across = abs(dx) >= abs(dy)
    out, beside, edges = (dx, y, (box.x1, box.x2)) if is_across else (dy, x, (box.y1, box.y2))
    sign, at = (1, edges[1]) if out > 0 else (-1, edges[0])
    far = at + sign * (0.3 + MARK_MM)
    points = [(at + sign * 0.3, beside), (far, beside - MARK_MM / 2), (far, beside + MARK_MM / 2)]
    paper.polygon(points if is_across else [(b, a) for a, b in points], fill="black")
