"""The window of a map onto the board: scale and side, the shapes in it, and the writing on them.

Shapes are the board's edge, the area, copper, bodies, missing positions, soldered wires, torn
pads, the mark of pin 1. Balloons, pin numbers, names of nets and parts each stand where there is
room: `Room` is the paper with what stands on it, where labels find their places one by one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from nettrace.bench.area import AreaPad, AreaReport
from nettrace.bench.place import Box as BoardBox
from nettrace.bench.place import Circle
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import table
from nettrace.model.board import Pad, Part, Side
from nettrace.model.geometry import turn
from nettrace.views.drawing import (
    MIDDLE,
    THICK,
    THIN,
    Box,
    Paper,
    Point,
    corners_box,
    fit_text,
    hatch_lines,
    short_net_names,
    text_box,
    text_width,
)
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

#: Type sizes, mm: names; pin numbers, the largest that their pad has room for.
NAME_MM = 2.3
PIN_SIZES_MM = (2.0, 1.6, 1.1)
#: Radius of a balloon by how many there are, mm: the first whose count is not exceeded.
BALLOON_RADII = ((45, 2.7), (90, 2.2), (10_000, 1.8))
#: How far a name or balloon may stand from what it belongs to, mm, nearest first.
NAME_REACH = (1.2, 2.5, 4.0, 6.0, 8.5, 11.5, 15.0, 19.0)
BALLOON_REACH = (4.5, 6.5, 9.0, 12.0, 15.0, 19.0, 24.0, 30.0, 38.0, 48.0, 60.0)
#: A leader dearer than this (mm of length, with fines) is worse than the pin's number alone. A
#: ground is worth a name only close by; the list has it anyway.
DEAREST_LEADER, DEAREST_GROUND = 40.0, 9.0
#: Names of nets at most: with more, the list beside the map reads better.
MOST_NAMES = 90
NET_NAME_MM, NET_LETTERS = 30.0, 24
#: Side of a cell of the paper, mm: a label's height or two.
CELL_MM = 12.0


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


def draw_map(
    paper: Paper,
    circuit: Circuit,
    report: AreaReport,
    view: View,
    positions: Sequence[Position],
    *,
    corners: Sequence[Box],
    wires: Sequence[SolderedWire] = (),
    torn: Sequence[TornPad] = (),
    with_area: bool = True,
) -> tuple[Part, ...]:
    """Draw all that the window shows, and return the parts that are there.

    Args:
        paper: what is drawn on.
        circuit: the board.
        report: the area: its pads get the names of their nets, its parts the numbers of pins.
        view: the window.
        positions: the missing parts, numbered.
        corners: boxes that are written over later.
        wires: drawn straight from end to end; they are laid as the bench has room.
        torn: pads that came off or whose track is cut: they get a cross.
        with_area: whether to draw where the area ends.
    """
    looks = table("drawing")["map"]["looks"]
    for line in circuit.board.outline:
        paper.polyline(view.points(line), stroke_width=THICK, stroke_linejoin="round")
    if with_area:
        shape, look = report.shape, looks["area"]
        if isinstance(shape, Circle):
            x, y = view.at(shape.x, shape.y)
            paper.circle(x, y, shape.radius_mm * view.scale, **look)
        elif isinstance(shape, BoardBox):
            ends = Box(shape.x1, shape.y1, shape.x2, shape.y2).corners
            paper.polygon(view.points(ends), **look)
        else:
            paper.polygon(view.points(shape.corners), **look)
    # the parts that are there and have copper in the window, on the side that is seen
    gone = {item.part.key for item in positions}
    around = dict.fromkeys(pad.part for pad in circuit.pad_grid.inside(view.board_box()))
    there = [circuit.board.part_by_key[key] for key in around if key not in gone]
    near = tuple(part for part in there if any(pad.side.faces(view.side) for pad in part.pads))
    for part in near:
        with paper.group(tip=_tip(circuit, part), class_="part", data_part=part.key):
            outline = view.points(body_corners(part))
            if outline and part.refdes:
                paper.polygon(outline, **looks["body"])
            _draw_pads(paper, circuit, view, part, "pad")
    for position in sorted(positions, key=lambda item: not item.is_far_from(view.side)):
        _draw_position(paper, circuit, view, position)
    for pad in torn:
        x, y = view.at(*pad.at)
        upper_left, upper_right, lower_right, lower_left = Box(x, y, x, y).grown(TORN_MM).corners
        arms = [(upper_left, lower_right), (lower_left, upper_right)]
        with paper.group(tip=pad.words, class_="torn"):
            paper.segments(arms, stroke="white", stroke_width=3 * THICK)
            paper.segments(arms, stroke_width=THICK)
    for wire in wires:
        start, end = view.at(*wire.start), view.at(*wire.end)
        with paper.group(tip=wire.words, class_="wire"):
            paper.line(start, end, stroke="white", stroke_width=WIRE_MM * 2.2)
            paper.line(start, end, stroke_width=WIRE_MM)
            for x, y in (start, end):
                paper.circle(x, y, WIRE_MM, fill="black", stroke="white", stroke_width=THIN)
    labels = _Labels(paper, circuit, view)
    for box in corners:
        labels.room.take(box)
    here = [item.part for item in positions if not item.is_far_from(view.side)]
    for part in (*near, *here):
        for copper in part.pads:
            if copper.side.faces(view.side):
                labels.room.add_copper(view.pad_box(copper))
    labels.draw_balloons(positions)  # before names, since every position must have one
    staying = {item.part.key for item in report.reaching_in if item.pins}
    for part in (*here, *(part for part in near if part.key in staying)):
        labels.draw_pins(part)
    labels.draw_net_names((*report.pads, *report.outlying), positions)
    for part in near:
        labels.draw_refdes(part)
    return near


def _draw_position(paper: Paper, circuit: Circuit, view: View, position: Position) -> None:
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


def _tip(circuit: Circuit, part: Part) -> str:
    text = " ".join(filter(None, (refdes(circuit, part.key), value_words(circuit, part))))
    nets = "; ".join(
        f"{pin.number} {pin.net} ({net_words(circuit, pin.net, of_bus=False)})"
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


# -- writing ----------------------------------------------------------------------------------


class _Labels:
    """What labels are put to: the board, the view of it, the room left."""

    def __init__(self, paper: Paper, circuit: Circuit, view: View) -> None:
        self.paper, self.circuit, self.view = paper, circuit, view
        self.room = Room(view.window.grown(-1.0))

    def draw_balloons(self, positions: Sequence[Position]) -> None:
        """Draw the number of each position; without any room, the list beside the map has it."""
        radius = next(mm for count, mm in BALLOON_RADII if len(positions) <= count)
        hulls = [(item, hull_corners(item.part)) for item in positions]
        bodies = [(item, self.view.box(hull)) for item, hull in hulls if hull]
        for position, body in bodies:
            spot = None
            if body.overlaps(self.view.window):
                spot = self._balloon_spot(body, radius, [box for _, box in bodies])
            if spot is None:
                continue
            (x, y), at, number = spot, body.middle, position.number
            self.room.take(Box(x, y, x, y).grown(radius))
            self.room.draw_leader(at, spot)
            part = radius / max(math.dist(at, spot), radius)
            edge = x + (at[0] - x) * part, y + (at[1] - y) * part
            size = radius * (1.1 if number < 100 else 0.9)
            with self.paper.group(class_="balloon", data_no=number, data_part=position.part.key):
                self.paper.line(at, edge, stroke_width=MIDDLE / 1.5)
                self.paper.circle(*at, 0.45, fill="black")
                self.paper.circle(x, y, radius, fill="white", stroke="black", stroke_width=MIDDLE)
                base = y + size * 0.36
                self.paper.text(x, base, str(number), size, anchor="middle", bold=True)

    def _balloon_spot(self, body: Box, radius: float, bodies: Sequence[Box]) -> Point | None:
        """Return where the balloon of a body stands, its leader ending in the body's middle.

        It stands off all `bodies`, else off copper, else anywhere near, else on the body itself.
        """
        at, room = body.middle, self.room

        def around(bodies: Sequence[Box], *, on_copper: bool) -> Point | None:
            others = [other for other in bodies if other != body]

            def offer(reach: float, direction: Point) -> tuple[float, Point] | None:
                far = _way_out(body, direction) + reach
                spot = at[0] + direction[0] * far, at[1] + direction[1] * far
                box = Box(*spot, *spot).grown(radius)
                is_free = room.is_free(box, on_copper=on_copper)
                if not is_free or any(box.overlaps(other) for other in bodies):
                    return None
                # its own pads have numbers too, so they are not `own` here
                price = room.cost(at, spot, Box(*at, *at), others)
                return (price, spot) if price is not None else None

            best = _cheapest(BALLOON_REACH, 24, offer, lambda price, reach: price < reach * 2)
            return best[1] if best is not None else None

        on_it = (
            (at[0] + dx * body.wide, at[1] + dy * body.high)
            for part in (0.0, 0.3, -0.3)
            for dx, dy in ((part, 0.0), (0.0, part))
        )
        free = (spot for spot in on_it if room.is_free_of_text(Box(*spot, *spot).grown(radius)))
        return (
            around(bodies, on_copper=False)
            or around((), on_copper=False)
            or around((), on_copper=True)
            or next(free, None)
        )

    def draw_pins(self, part: Part) -> None:
        """Write a part's pin numbers into the pads that have room for them."""
        for pad in part.pads:
            if not pad.number or not pad.side.faces(self.view.side) or pad.drill:
                continue
            box = self.view.pad_box(pad)
            x, y = self.view.at(pad.x, pad.y)
            for size in PIN_SIZES_MM:
                if text_width(pad.number, size) + 0.3 > box.wide or size > box.high:
                    continue
                base = y + size * 0.36
                where = text_box(x, base, pad.number, size, anchor="middle")
                if self.room.is_free(where, on_copper=True):
                    self.paper.text(x, base, pad.number, size, anchor="middle")
                    self.room.take(where)
                break

    def draw_net_names(self, pads: Iterable[AreaPad], positions: Sequence[Position]) -> None:
        """Write the net beside each pad of the area; one of a part's pads on a net."""
        names = short_net_names(self.circuit.board, NET_LETTERS)
        numbers = {item.part.key: item.number for item in positions}
        kind = self.circuit.net_kind

        def rank(item: AreaPad) -> tuple[bool, int, float]:
            net = item.pad.net
            is_ground = net is not None and kind(net) is NetKind.GROUND
            return is_ground, numbers.get(item.pad.part, 10_000), item.distance

        told: set[tuple[str, str]] = set()
        for pad in (item.pad for item in sorted(pads, key=rank)):
            net = pad.net
            if net is None or (pad.part, net) in told or len(told) >= MOST_NAMES:
                continue
            if not pad.side.faces(self.view.side) or kind(net) is NetKind.UNCONNECTED:
                continue
            told.add((pad.part, net))
            dearest = DEAREST_GROUND if kind(net) is NetKind.GROUND else DEAREST_LEADER
            words = fit_text(names[net], NAME_MM, NET_NAME_MM)
            self._draw_name(self.view.pad_box(pad), words, dearest, bold=net in self.circuit.rails)

    def _draw_name(self, copper: Box, words: str, dearest: float, *, bold: bool) -> None:
        """Write the name of some copper beside it, with a leader; not at more than `dearest`."""
        x, y = copper.middle
        width = text_width(words, NAME_MM, bold=bold)

        def offer(reach: float, way: Point) -> tuple[float, tuple[Point, Point, Point]] | None:
            dx, dy = way
            far = _way_out(copper, way)
            edge = x + dx * far, y + dy * far
            tip = x + dx * (far + reach), y + dy * (far + reach)
            # the text starts where the leader ends, and reads away from it
            if abs(dx) > 0.3:
                left = tip[0] + 0.4 if dx > 0 else tip[0] - 0.4 - width
                base = tip[1] + NAME_MM * 0.36
            else:
                left = tip[0] - width / 2
                base = tip[1] - 0.6 if dy < 0 else tip[1] + NAME_MM
            if not self.room.is_free(text_box(left, base, words, NAME_MM, bold=bold)):
                return None
            price = self.room.cost(edge, tip, copper)
            return (price, ((left, base), edge, tip)) if price is not None else None

        best = _cheapest(NAME_REACH, 16, offer, lambda price, reach: price <= reach + 0.5)
        if best is not None and best[0] <= dearest:
            start, edge, tip = best[1]
            self.room.take(text_box(*start, words, NAME_MM, bold=bold))
            self.room.draw_leader(edge, tip)
            self.paper.line(edge, tip, stroke_width=THIN, stroke="#333")
            self.paper.text(*start, words, NAME_MM, bold=bold, halo=True)

    def draw_refdes(self, part: Part) -> None:
        """Write a neighbour's refdes into or beside its body, if there is room."""
        if not part.refdes or self.circuit.kinds[part.key].kind is Kind.MECHANICAL:
            return
        body = self.view.box(body_corners(part))
        words = fit_text(part.refdes, NAME_MM, NET_NAME_MM)
        width, wide, high = text_width(words, NAME_MM), body.wide, body.high
        x, y = body.middle[0], body.middle[1] + NAME_MM * 0.36
        spots = [
            (x + dx * wide, y + dy * high)
            for dy in (0.0, 0.25, -0.25, 0.4, -0.4)
            for dx in (0.0, 0.25, -0.25)
            if width < wide and high > NAME_MM
        ]
        spots += [(x, body.y1 - 0.8), (x, body.y2 + NAME_MM)]
        spots += [(body.x2 + 0.8 + width / 2, y), (body.x1 - 0.8 - width / 2, y)]
        for at in spots:
            box = text_box(*at, words, NAME_MM, anchor="middle")
            if self.room.is_free(box):
                self.paper.text(
                    *at, words, NAME_MM, anchor="middle", fill="#333", font_style="italic"
                )
                self.room.take(box)
                return


# -- room on the paper ----------------------------------------------------------------------------


class Room:
    """The paper with what stands on it: labels find their places one by one.

    Labels never overlap one another; a label on copper, or a leader across it, costs. `cell` is
    about a label's size, in the paper's unit.
    """

    def __init__(self, window: Box, gap: float = 0.5, cell: float = CELL_MM) -> None:
        self.window, self.gap, self._cell = window, gap, cell
        self._taken: dict[tuple[int, int], list[Box]] = {}
        self._copper: dict[tuple[int, int], list[Box]] = {}
        self._leaders: list[_Leader] = []

    def take(self, box: Box) -> None:
        """Mark a box as written on."""
        for key in self._keys(box):
            self._taken.setdefault(key, []).append(box)

    def add_copper(self, box: Box) -> None:
        """Mark a box as copper: labels keep off it, leaders go round it if they can."""
        for key in self._keys(box):
            self._copper.setdefault(key, []).append(box)

    def _keys(self, box: Box) -> Iterator[tuple[int, int]]:
        for x in range(int(box.x1 // self._cell), int(box.x2 // self._cell) + 1):
            for y in range(int(box.y1 // self._cell), int(box.y2 // self._cell) + 1):
                yield x, y

    def _near(self, boxes: dict[tuple[int, int], list[Box]], box: Box) -> Iterable[Box]:
        """Return every box that comes within 1 mm, and some others."""
        keys = self._keys(box.grown(1.0))
        return dict.fromkeys(each for key in keys for each in boxes.get(key, ()))

    def is_free(self, box: Box, *, on_copper: bool = False) -> bool:
        """Return whether a label may stand there."""
        around = box.grown(self.gap / 2)
        return (
            self.is_free_of_text(box, self.gap)
            and not any(leader.meets(around) for leader in self._leaders)
            and (
                on_copper
                or not any(box.overlaps(pad, 0.2) for pad in self._near(self._copper, box))
            )
        )

    def is_free_of_text(self, box: Box, gap: float = 0.1) -> bool:
        """Return whether no other writing is there; leaders and copper may be."""
        return self.window.holds(box) and not any(
            box.overlaps(other, gap) for other in self._near(self._taken, box)
        )

    def cost(self, start: Point, end: Point, own: Box, bodies: Sequence[Box] = ()) -> float | None:
        """Return what a leader costs; None where it would go through text.

        Its length in mm, and fines for what it crosses: leaders, copper (not that of `own`), and
        `bodies` of others, which it would seem to belong to.
        """
        line, around = _Leader(start, end), corners_box((start, end))
        if any(line.meets(box) for box in self._near(self._taken, around)):
            return None
        crossed = sum(line.crosses(other) for other in self._leaders)
        copper = sum(
            not box.overlaps(own, -0.01) and line.meets(box)
            for box in self._near(self._copper, around)
        )
        entered = sum(line.meets(box) for box in bodies)
        return math.dist(start, end) + 12 * crossed + 5 * copper + 15 * entered

    def draw_leader(self, start: Point, end: Point) -> None:
        """Mark a leader as drawn."""
        self._leaders.append(_Leader(start, end))


class _Leader(NamedTuple):
    start: Point
    end: Point

    def crosses(self, other: _Leader) -> bool:
        """Return whether the two cross (touching at an end does not count)."""

        def parts(line: _Leader, ends: _Leader) -> bool:
            (x1, y1), (x2, y2) = line
            first, second = ((x2 - x1) * (y - y1) - (y2 - y1) * (x - x1) for x, y in ends)
            return first * second < 0

        return parts(self, other) and parts(other, self)

    def meets(self, box: Box) -> bool:
        """Return whether it goes through the box (clipping by Liang and Barsky)."""
        (x1, y1), (x2, y2) = self
        low, high = 0.0, 1.0
        for slope, room in (
            (x1 - x2, x1 - box.x1),
            (x2 - x1, box.x2 - x1),
            (y1 - y2, y1 - box.y1),
            (y2 - y1, box.y2 - y1),
        ):
            if slope < 0:
                low = max(low, room / slope)
            elif slope > 0:
                high = min(high, room / slope)
            elif room < 0:
                return False
        return low <= high


# -- the cheapest place ---------------------------------------------------------------------------


_Spot = TypeVar("_Spot")


def _cheapest(
    reaches: Sequence[float],
    count: int,
    offer: Callable[[float, Point], tuple[float, _Spot] | None],
    enough: Callable[[float, float], bool],
) -> tuple[float, _Spot] | None:
    """Return the price and place of the cheapest offer all round, from near to far.

    Args:
        reaches: how far out, mm.
        count: how many directions, all round.
        offer: from a reach and a direction to a price and a place; None where there is no room.
        enough: from the best price so far and a reach, whether to look no further.
    """
    # slanted directions first: they are easier to tell from copper
    angles = [2 * math.pi * step / count for step in range(count)]
    angles.sort(key=lambda angle: (abs(math.sin(2 * angle)) < 0.4, angle))
    ways = [(math.cos(angle), math.sin(angle)) for angle in angles]
    found: list[tuple[float, _Spot]] = []
    best = None
    for reach in reaches:
        found += [each for way in ways if (each := offer(reach, way)) is not None]
        best = min(found, key=lambda each: each[0], default=None)
        if best is not None and enough(best[0], reach):
            break
    return best


def _way_out(body: Box, direction: Point) -> float:
    """Return how far the edge of a box is from its middle in a direction."""
    half = body.wide / 2, body.high / 2
    return min(
        room / abs(way) for room, way in zip(half, direction, strict=True) if abs(way) > 1e-9
    )
