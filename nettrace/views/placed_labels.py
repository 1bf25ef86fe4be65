"""Writing on the map: balloons, pin numbers, names of nets and parts, each where there is room.

`draw_labels` is all that the map asks for. `Room` is the engine below it: the paper with what
stands on it, where labels find their places one by one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from nettrace.bench.area import AreaPad, AreaReport
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Pad, Part
from nettrace.views.drawing import (
    MIDDLE,
    THIN,
    Box,
    Paper,
    Point,
    fit_text,
    short_net_names,
    text_box,
    text_width,
)
from nettrace.views.placed_map import Position, View, body_corners, hull_corners

#: Type sizes, mm: names, pin numbers.
NAME_MM, PIN_MM = 2.3, 2.0
LEAST_PIN_MM = 1.1
#: Radius of a balloon by how many there are, mm: the first whose count is not exceeded.
BALLOON_RADII = ((45, 2.7), (90, 2.2), (10_000, 1.8))
#: How far a name or balloon may stand from what it belongs to, mm, nearest first.
NAME_REACH = (1.2, 2.5, 4.0, 6.0, 8.5, 11.5, 15.0, 19.0)
BALLOON_REACH = (4.5, 6.5, 9.0, 12.0, 15.0, 19.0, 24.0, 30.0, 38.0, 48.0, 60.0)
#: A leader dearer than this (mm of length, with fines) is worse than the pin's number alone.
DEAREST_LEADER = 40.0
#: Names of nets at most: with more, the list beside the map reads better.
MOST_NAMES = 90
NET_NAME_MM, NET_LETTERS = 30.0, 24
#: A ground is worth a name only close by; the list has it anyway.
DEAREST_GROUND = 9.0


@dataclass(frozen=True, slots=True)
class _Seen:
    """What labels are put to: the board, the view of it, the room left."""

    paper: Paper
    circuit: Circuit
    view: View
    room: Room


def draw_labels(
    paper: Paper,
    circuit: Circuit,
    report: AreaReport,
    view: View,
    positions: Sequence[Position],
    near: Sequence[Part],
    corners: Sequence[Box],
) -> None:
    """Write on a map whose shapes are drawn.

    Balloons come before names, since every position must have one.

    Args:
        paper: what is written on.
        circuit: the board.
        report: the area: its pads get the names of their nets, its parts the numbers of pins.
        view: the window.
        positions: the missing parts, numbered.
        near: the parts that are there and have copper in the window.
        corners: boxes that are written over later.
    """
    seen = _Seen(paper, circuit, view, Room(view.window.grown(-1.0)))
    for box in corners:
        seen.room.take(box)
    here = [item.part for item in positions if not item.is_far_from(view.side)]
    for part in (*near, *here):
        for pad in part.pads:
            if pad.side.faces(view.side):
                seen.room.add_copper(view.pad_box(pad))
    _draw_balloons(seen, positions)
    staying = {item.part.key for item in report.reaching_in if item.pins}
    _draw_pins(seen, [*here, *(part for part in near if part.key in staying)])
    _draw_net_names(seen, (*report.pads, *report.outlying), positions)
    for part in near:
        _draw_refdes(seen, part)


def _draw_balloons(seen: _Seen, positions: Sequence[Position]) -> None:
    """Draw the number of each position, with a leader to its middle."""
    paper = seen.paper
    radius = next(mm for count, mm in BALLOON_RADII if len(positions) <= count)
    hulls = [hull_corners(position.part) for position in positions]
    bodies = [seen.view.box(hull) if hull else None for hull in hulls]
    for position, body in zip(positions, bodies, strict=True):
        if body is None or not body.overlaps(seen.view.window):
            continue
        spot = place_balloon(seen.room, body, radius, [each for each in bodies if each is not None])
        if spot is None:
            continue  # no room at all: the list beside the map has it
        at, number = body.middle, position.number
        length = max(math.dist(at, spot), radius)
        edge = tuple(s + (a - s) * radius / length for s, a in zip(spot, at, strict=True))
        size = radius * (1.1 if number < 100 else 0.9)
        with paper.group(class_="balloon", data_no=number, data_part=position.part.key):
            paper.line(at, (edge[0], edge[1]), stroke_width=MIDDLE / 1.5)
            paper.circle(*at, 0.45, fill="black")
            paper.circle(*spot, radius, fill="white", stroke="black", stroke_width=MIDDLE)
            base = spot[1] + size * 0.36
            paper.text(spot[0], base, str(number), size, anchor="middle", bold=True)


def _draw_pins(seen: _Seen, parts: Sequence[Part]) -> None:
    """Write pin numbers into the pads that have room for them."""
    for part in parts:
        for pad in part.pads:
            if not pad.number or not pad.side.faces(seen.view.side) or pad.drill:
                continue
            box = seen.view.pad_box(pad)
            x, y = seen.view.at(pad.x, pad.y)
            for size in (PIN_MM, 1.6, LEAST_PIN_MM):
                wide = text_width(pad.number, size) + 0.3
                if wide > box.x2 - box.x1 or size > box.y2 - box.y1:
                    continue
                where = text_box(x, y + size * 0.36, pad.number, size, anchor="middle")
                if seen.room.is_free(where, on_copper=True):
                    seen.paper.text(x, y + size * 0.36, pad.number, size, anchor="middle")
                    seen.room.take(where)
                break


def _draw_net_names(seen: _Seen, pads: Sequence[AreaPad], positions: Sequence[Position]) -> None:
    """Write the net beside each pad of the area, with a leader; one of a part's pads on a net."""
    names = short_net_names(seen.circuit.board, NET_LETTERS)
    numbers = {item.part.key: item.number for item in positions}
    kind = seen.circuit.net_kind

    def rank(item: AreaPad) -> tuple[bool, int, float]:
        net = item.pad.net
        is_ground = net is not None and kind(net) is NetKind.GROUND
        return is_ground, numbers.get(item.pad.part, 10_000), item.distance

    told: set[tuple[str, str]] = set()
    for pad in (item.pad for item in sorted(pads, key=rank)):
        net = pad.net
        if net is None or (pad.part, net) in told or len(told) >= MOST_NAMES:
            continue
        if pad.side.faces(seen.view.side) and kind(net) is not NetKind.UNCONNECTED:
            told.add((pad.part, net))
            _draw_net_name(seen, pad, net, names[net])


def _draw_net_name(seen: _Seen, pad: Pad, net: str, name: str) -> None:
    words = fit_text(name, NAME_MM, NET_NAME_MM)
    is_ground = seen.circuit.net_kind(net) is NetKind.GROUND
    dearest = DEAREST_GROUND if is_ground else DEAREST_LEADER
    rail = net in seen.circuit.rails
    label = place_name(seen.room, seen.view.pad_box(pad), words, dearest, bold=rail)
    if label is not None:
        seen.paper.line(label.start, label.tip, stroke_width=THIN, stroke="#333")
        seen.paper.text(label.left, label.base, words, NAME_MM, bold=rail, halo=True)


def _draw_refdes(seen: _Seen, part: Part) -> None:
    """Write a neighbour's refdes into or beside its body, if there is room."""
    if not part.refdes or seen.circuit.kinds[part.key].kind is Kind.MECHANICAL:
        return
    body = seen.view.box(body_corners(part))
    words = fit_text(part.refdes, NAME_MM, NET_NAME_MM)
    x, y = (body.x1 + body.x2) / 2, (body.y1 + body.y2) / 2 + NAME_MM * 0.36
    width = text_width(words, NAME_MM)
    wide, high = body.x2 - body.x1, body.y2 - body.y1
    inside = [
        (x + dx * wide, y + dy * high)
        for dy in (0.0, 0.25, -0.25, 0.4, -0.4)
        for dx in (0.0, 0.25, -0.25)
        if width < wide and high > NAME_MM
    ]
    spots = [
        *inside,
        (x, body.y1 - 0.8),
        (x, body.y2 + NAME_MM),
        (body.x2 + 0.8 + width / 2, y),
        (body.x1 - 0.8 - width / 2, y),
    ]
    for at in spots:
        box = text_box(*at, words, NAME_MM, anchor="middle")
        if seen.room.is_free(box):
            seen.paper.text(*at, words, NAME_MM, anchor="middle", fill="#333", font_style="italic")
            seen.room.take(box)
            return


# -- room on the paper ----------------------------------------------------------------------------


class _Segment(NamedTuple):
    x1: float
    y1: float
    x2: float
    y2: float

    def crosses(self, other: _Segment) -> bool:
        """Return whether the two cross (touching at an end does not count)."""
        return _parts(self, other) and _parts(other, self)

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


def _parts(line: _Segment, other: _Segment) -> bool:
    """Return whether the ends of another line lie on the two sides of a line."""
    dx, dy = line.x2 - line.x1, line.y2 - line.y1
    first = dx * (other.y1 - line.y1) - dy * (other.x1 - line.x1)
    second = dx * (other.y2 - line.y1) - dy * (other.x2 - line.x1)
    return first * second < 0


#: Side of a cell of the paper, mm: a label's height or two.
_CELL_MM = 12.0


class _Boxes:
    """Boxes on the paper, found again by their cells."""

    def __init__(self, cell: float) -> None:
        self.cell = cell
        self._cells: dict[tuple[int, int], list[Box]] = {}

    def add(self, box: Box) -> None:
        """Put a box down."""
        for key in self._keys(box):
            self._cells.setdefault(key, []).append(box)

    def near(self, box: Box) -> Iterable[Box]:
        """Return every box that comes within 1 mm, and some others."""
        found: dict[Box, None] = {}
        for key in self._keys(box.grown(1.0)):
            found.update(dict.fromkeys(self._cells.get(key, ())))
        return found

    def _keys(self, box: Box) -> Iterable[tuple[int, int]]:
        for x in range(int(box.x1 // self.cell), int(box.x2 // self.cell) + 1):
            for y in range(int(box.y1 // self.cell), int(box.y2 // self.cell) + 1):
                yield x, y


class Room:
    """The paper with what stands on it: labels find their places one by one.

    Labels never overlap one another; a label on copper, or a leader across it, costs. `cell` is
    about a label's size, in the paper's unit.
    """

    def __init__(self, window: Box, gap: float = 0.5, cell: float = _CELL_MM) -> None:
        self.window = window
        self.gap = gap
        self._taken, self._copper = _Boxes(cell), _Boxes(cell)
        self._leaders: list[_Segment] = []

    def take(self, box: Box) -> None:
        """Mark a box as written on."""
        self._taken.add(box)

    def add_copper(self, box: Box) -> None:
        """Mark a box as copper: labels keep off it, leaders go round it if they can."""
        self._copper.add(box)

    def is_free(self, box: Box, *, on_copper: bool = False) -> bool:
        """Return whether a label may stand there."""
        if not self.window.holds(box):
            return False
        if any(box.overlaps(other, self.gap) for other in self._taken.near(box)):
            return False
        if any(leader.meets(box.grown(self.gap / 2)) for leader in self._leaders):
            return False
        return on_copper or not any(box.overlaps(other, 0.2) for other in self._copper.near(box))

    def is_free_of_text(self, box: Box) -> bool:
        """Return whether no other writing is there; leaders and copper may be."""
        return self.window.holds(box) and not any(
            box.overlaps(other, 0.1) for other in self._taken.near(box)
        )

    def cost(
        self,
        start: Point,
        end: Point,
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
        if any(line.meets(box) for box in self._taken.near(around)):
            return None
        crossed = sum(1 for leader in self._leaders if line.crosses(leader))
        copper = sum(
            1
            for box in self._copper.near(around)
            if not box.overlaps(own, -0.01) and line.meets(box)
        )
        length = math.dist(start, end)
        entered = sum(1 for box in bodies if line.meets(box))
        return length + 12 * crossed + 5 * copper + 15 * entered

    def draw_leader(self, start: Point, end: Point) -> None:
        """Mark a leader as drawn."""
        self._leaders.append(_Segment(*start, *end))


# -- the cheapest place ---------------------------------------------------------------------------


def place_balloon(room: Room, body: Box, radius: float, bodies: Sequence[Box]) -> Point | None:
    """Return where the balloon of a body stands, and take that place; None where all is taken.

    Its leader ends in the body's middle. It stands off all `bodies`, else off copper, else
    anywhere near, else on the body itself.
    """
    at = body.middle
    spot = (
        _balloon_spot(room, body, radius, bodies)
        or _balloon_spot(room, body, radius)
        or _balloon_spot(room, body, radius, on_copper=True)
        or _spot_on_body(room, body, radius)
    )
    if spot is not None:
        room.take(Box(*spot, *spot).grown(radius))
        room.draw_leader(at, spot)
    return spot


def _balloon_spot(
    room: Room, body: Box, radius: float, bodies: Sequence[Box] = (), *, on_copper: bool = False
) -> Point | None:
    at = body.middle
    others = [other for other in bodies if other != body]

    def offer(reach: float, direction: Point) -> tuple[float, Point] | None:
        far = _way_out(body, direction) + reach
        spot = at[0] + direction[0] * far, at[1] + direction[1] * far
        box = Box(*spot, *spot).grown(radius)
        if not room.is_free(box, on_copper=on_copper):
            return None
        if any(box.overlaps(other) for other in bodies):
            return None
        # its own pads have numbers too, so they are not `own` here
        price = room.cost(at, spot, Box(*at, *at), others)
        return (price, spot) if price is not None else None

    best = _cheapest(BALLOON_REACH, 24, offer, lambda price, reach: price < reach * 2)
    return best[1] if best is not None else None


def _spot_on_body(room: Room, body: Box, radius: float) -> Point | None:
    """Return a place on the position itself, where all around is taken."""
    at = body.middle
    for part in (0.0, 0.3, -0.3):
        for dx, dy in ((part, 0.0), (0.0, part)):
            spot = at[0] + dx * (body.x2 - body.x1), at[1] + dy * (body.y2 - body.y1)
            if room.is_free_of_text(Box(*spot, *spot).grown(radius)):
                return spot
    return None


class Label(NamedTuple):
    """Where a name stands: its left end and baseline, and its leader from copper to the text."""

    left: float
    base: float
    start: Point
    tip: Point


def place_name(
    room: Room, copper: Box, words: str, dearest: float, *, bold: bool = False
) -> Label | None:
    """Return where the name of some copper stands beside it, and take that place.

    None where there is no room at a price (mm of leader, with fines) of `dearest` at most.
    """
    x, y = copper.middle
    width = text_width(words, NAME_MM, bold=bold)

    def offer(reach: float, way: Point) -> tuple[float, Label] | None:
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
        if not room.is_free(text_box(left, base, words, NAME_MM, bold=bold)):
            return None
        price = room.cost(edge, tip, copper)
        return (price, Label(left, base, edge, tip)) if price is not None else None

    best = _cheapest(NAME_REACH, 16, offer, lambda price, reach: price <= reach + 0.5)
    if best is None or best[0] > dearest:
        return None
    label = best[1]
    room.take(text_box(label.left, label.base, words, NAME_MM, bold=bold))
    room.draw_leader(label.start, label.tip)
    return label


_Spot = TypeVar("_Spot")


def _cheapest(
    reaches: Sequence[float],
    directions: int,
    offer: Callable[[float, Point], tuple[float, _Spot] | None],
    enough: Callable[[float, float], bool],
) -> tuple[float, _Spot] | None:
    """Return the price and place of the cheapest offer all round, from near to far.

    Args:
        reaches: how far out, mm.
        directions: how many, all round.
        offer: from a reach and a direction to a price and a place; None where there is no room.
        enough: from the best price so far and a reach, whether to look no further.
    """
    best: tuple[float, _Spot] | None = None
    for reach in reaches:
        for direction in _directions(directions):
            found = offer(reach, direction)
            if found is not None and (best is None or found[0] < best[0]):
                best = found
        if best is not None and enough(best[0], reach):
            break
    return best


def _directions(count: int) -> list[Point]:
    """Return unit vectors all round, slanted ones first: they are easier to tell from copper."""
    steps = [2 * math.pi * i / count for i in range(count)]
    steps.sort(key=lambda angle: (abs(math.sin(2 * angle)) < 0.4, angle))
    return [(math.cos(angle), math.sin(angle)) for angle in steps]


def _way_out(body: Box, direction: Point) -> float:
    """Return how far the edge of a box is from its middle in a direction."""
    at, ways = body.middle, []
    if abs(direction[0]) > 1e-9:
        ways.append((body.x2 - at[0]) / abs(direction[0]))
    if abs(direction[1]) > 1e-9:
        ways.append((body.y2 - at[1]) / abs(direction[1]))
    return min(ways)
