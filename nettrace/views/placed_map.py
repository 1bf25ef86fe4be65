"""The map itself: copper, bodies, missing positions, balloons and names inside their window."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from nettrace.bench.area import AreaReport
from nettrace.bench.place import Box as BoardBox
from nettrace.bench.place import Circle
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Pad, Part, Side
from nettrace.views.drawing_names import short_net_names
from nettrace.views.drawing_svg import MIDDLE, THICK, THIN, Paper, hatch_lines
from nettrace.views.drawing_text import Box, Room, fit_text, text_box, text_width
from nettrace.views.placed_view import View, body_corners, hull_corners, pad_corners
from nettrace.views.text_facts import net_words, refdes, role_words, value_words

__all__ = ["Position", "draw_map"]

Point = tuple[float, float]

#: Type sizes, mm: names, pin numbers, numbers in balloons.
NAME_MM, PIN_MM, BALLOON_MM = 2.3, 2.0, 3.0
LEAST_PIN_MM = 1.1
BALLOON_RADIUS_MM = 2.7
HATCH_MM = 1.5
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
_PLAIN = frozenset(
    {Kind.RESISTOR, Kind.INDUCTOR, Kind.FERRITE, Kind.FUSE, Kind.THERMISTOR, Kind.VARISTOR}
)
_OTHER = {Side.TOP: Side.BOTTOM, Side.BOTTOM: Side.TOP}


@dataclass(frozen=True, slots=True)
class Position:
    """A missing part with its number on the map; one that was never `fitted` is bare by design."""

    number: int
    part: Part
    side: Side
    fitted: bool = True


@dataclass(slots=True)
class _Seen:
    """What the map knows of the window."""

    view: View
    room: Room
    gone: dict[str, Position]
    names: Mapping[str, str]
    near: list[Part]
    far_side: list[Part] = field(default_factory=list)


def draw_map(
    paper: Paper,
    circuit: Circuit,
    report: AreaReport,
    view: View,
    positions: Sequence[Position],
    corners: Sequence[Box],
) -> None:
    """Draw the window's content; `corners` are boxes that are written over later.

    Order: what lies under first; balloons before names, since every position must have one.
    """
    room = Room(view.window.grown(-1.0))
    for box in corners:
        room.take(box)
    seen = _look(circuit, view, room, positions)
    _draw_edges(paper, circuit, view)
    _draw_area(paper, report, view)
    for part in seen.near:
        _draw_neighbour(paper, circuit, view, part)
    for part in seen.far_side:
        _draw_far_position(paper, circuit, view, seen.gone[part.key])
    here = [item for item in positions if item.side is view.side or item.side is Side.BOTH]
    for position in here:
        _draw_position(paper, circuit, view, position)
    _mark_copper(seen, here)
    _draw_balloons(paper, seen, positions)
    _draw_pins(paper, seen, [*[item.part for item in here], *_named(circuit, report, seen)])
    _draw_net_names(paper, circuit, report, seen)
    for part in seen.near:
        _draw_refdes(paper, circuit, seen, part)


def _look(circuit: Circuit, view: View, room: Room, positions: Sequence[Position]) -> _Seen:
    gone = {item.part.key: item for item in positions}
    keys = dict.fromkeys(pad.part for pad in circuit.pad_grid.inside(view.board_box()))
    seen = _Seen(view, room, gone, short_net_names(circuit.board, NET_LETTERS), [])
    for key in keys:
        part = circuit.board.part_by_key[key]
        if key in gone:
            if gone[key].side is _OTHER.get(view.side):
                seen.far_side.append(part)
        elif any(pad.side.faces(view.side) for pad in part.pads):
            seen.near.append(part)
    return seen


def _named(circuit: Circuit, report: AreaReport, seen: _Seen) -> list[Part]:
    """Return the parts that reach into the area and stay; their pads have names too."""
    keys = {item.part.key for item in report.reaching_in if item.pins}
    return [part for part in seen.near if part.key in keys and part.key in circuit.kinds]


# shapes


def _paper_points(view: View, points: Iterable[Point]) -> list[Point]:
    return [view.at(x, y) for x, y in points]


def _box_of(points: Sequence[Point]) -> Box:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def _pad_box(view: View, pad: Pad) -> Box:
    corners = pad_corners(pad)
    if corners is None:
        x, y = view.at(pad.x, pad.y)
        return Box(x - 0.8, y - 0.8, x + 0.8, y + 0.8)
    return _box_of(_paper_points(view, corners))


def _draw_pad(paper: Paper, view: View, pad: Pad, **look: object) -> None:
    corners = pad_corners(pad)
    if corners is None:
        x, y = view.at(pad.x, pad.y)
        cross = [((x - 0.8, y), (x + 0.8, y)), ((x, y - 0.8), (x, y + 0.8))]
        paper.segments(cross, stroke_width=MIDDLE)
        return
    if pad.number:
        look["data_pad"] = f"{pad.part}.{pad.number}"
    paper.polygon(_paper_points(view, corners), data_net=pad.net, **look)
    if pad.drill:
        x, y = view.at(pad.x, pad.y)
        paper.circle(
            x, y, pad.drill / 2 * view.scale, fill="white", stroke="black", stroke_width=THIN
        )


def _pad_name(part: Part, pad: Pad) -> dict[str, object]:
    """Return what a page that holds the drawing knows a pad by."""
    if not pad.number:
        return {}
    return {"data_ref": part.refdes, "data_pad": f"{part.refdes}.{pad.number}"}


def _draw_edges(paper: Paper, circuit: Circuit, view: View) -> None:
    for line in circuit.board.outline:
        paper.polyline(_paper_points(view, line), stroke_width=THICK, stroke_linejoin="round")


def _draw_area(paper: Paper, report: AreaReport, view: View) -> None:
    shape = report.shape
    look = {
        "fill": "none", "stroke": "black", "stroke_width": THIN, "stroke_dasharray": "6 1.2 1 1.2",
    }  # fmt: skip
    if isinstance(shape, Circle):
        x, y = view.at(shape.x, shape.y)
        paper.circle(x, y, shape.radius_mm * view.scale, **look)
        return
    if isinstance(shape, BoardBox):
        corners: Sequence[Point] = (
            (shape.x1, shape.y1), (shape.x2, shape.y1), (shape.x2, shape.y2), (shape.x1, shape.y2),
        )  # fmt: skip
    else:
        corners = shape.corners
    paper.polygon(_paper_points(view, corners), **look)


def _draw_neighbour(paper: Paper, circuit: Circuit, view: View, part: Part) -> None:
    with paper.group(tip=_tip(circuit, part), class_="part", data_part=part.key):
        corners = body_corners(part)
        if corners and part.refdes:
            paper.polygon(
                _paper_points(view, corners), fill="none", stroke="#555", stroke_width=THIN
            )
        for pad in part.pads:
            if pad.side.faces(view.side):
                named = _pad_name(part, pad)
                _draw_pad(paper, view, pad, fill="#ccc", stroke="#555", stroke_width=THIN, **named)
        _draw_first_pin(paper, circuit, view, part)


def _draw_position(paper: Paper, circuit: Circuit, view: View, position: Position) -> None:
    part = position.part
    tip = f"{position.number}: {_tip(circuit, part)}{', missing' if position.fitted else ''}"
    with paper.group(tip=tip, class_="position", data_no=position.number, data_part=part.key):
        corners = _paper_points(view, hull_corners(part))
        if corners:
            if position.fitted:
                paper.segments(hatch_lines(corners, HATCH_MM), stroke_width=THIN)
            width, dashes = (THICK, "2 1") if position.fitted else (THIN, "0.5 0.8")
            paper.polygon(
                corners, fill="none", stroke="black", stroke_width=width, stroke_dasharray=dashes
            )
        for pad in part.pads:
            if pad.side.faces(view.side):
                look = {"fill": "white", "stroke": "black", "stroke_width": MIDDLE}
                _draw_pad(paper, view, pad, **look, **_pad_name(part, pad))
        _draw_first_pin(paper, circuit, view, part)


def _draw_far_position(paper: Paper, circuit: Circuit, view: View, position: Position) -> None:
    """Draw a missing part of the other side: hidden edges are dashed (ISO 128)."""
    part = position.part
    tip = f"{position.number}: {_tip(circuit, part)}, missing, on the {position.side} side"
    with paper.group(tip=tip, class_="position", data_no=position.number, data_part=part.key):
        corners = _paper_points(view, hull_corners(part))
        if corners:
            paper.polygon(
                corners, fill="none", stroke="black", stroke_width=MIDDLE, stroke_dasharray="1 0.8"
            )


def _tip(circuit: Circuit, part: Part) -> str:
    words = [refdes(circuit, part.key), value_words(circuit, part)]
    text = " ".join(word for word in words if word)
    nets = "; ".join(
        f"{pin.number} {pin.net} ({net_words(circuit, pin.net, {})})"
        for pin in part.pins[:8]
        if pin.net is not None
    )
    return f"{text}, {role_words(circuit.roles(part.key)[:1])}. {nets}"


def _draw_first_pin(paper: Paper, circuit: Circuit, view: View, part: Part) -> None:
    """Put a triangle at the first pin, outside the pad, its tip towards it."""
    if circuit.kinds[part.key].kind in _PLAIN or len(part.pads) < 2:
        return
    if circuit.kinds[part.key].kind is Kind.CAPACITOR:
        return  # most have no first pin, and no source says which have
    first = next(
        (p for p in part.pads if p.number in {"1", "A1"} and p.side.faces(view.side)), None
    )
    if first is None:
        return
    body = _box_of(_paper_points(view, hull_corners(part)))
    x, y = view.at(first.x, first.y)
    middle = ((body.x1 + body.x2) / 2, (body.y1 + body.y2) / 2)
    box = _pad_box(view, first)
    dx, dy = x - middle[0], y - middle[1]
    size = 1.3
    if abs(dx) >= abs(dy):
        sign = 1 if dx > 0 else -1
        at = box.x2 if dx > 0 else box.x1
        points = [
            (at + sign * 0.3, y),
            (at + sign * (0.3 + size), y - size / 2),
            (at + sign * (0.3 + size), y + size / 2),
        ]
    else:
        sign = 1 if dy > 0 else -1
        at = box.y2 if dy > 0 else box.y1
        points = [
            (x, at + sign * 0.3),
            (x - size / 2, at + sign * (0.3 + size)),
            (x + size / 2, at + sign * (0.3 + size)),
        ]
    paper.polygon(points, fill="black")


# labels


def _mark_copper(seen: _Seen, here: Sequence[Position]) -> None:
    for part in (*seen.near, *(item.part for item in here)):
        for pad in part.pads:
            if pad.side.faces(seen.view.side):
                seen.room.add_copper(_pad_box(seen.view, pad))


def _directions(count: int) -> list[Point]:
    """Return unit vectors all round, slanted ones first: they are easier to tell from copper."""
    steps = [2 * math.pi * i / count for i in range(count)]
    steps.sort(key=lambda angle: (abs(math.sin(2 * angle)) < 0.4, angle))
    return [(math.cos(angle), math.sin(angle)) for angle in steps]


def _draw_balloons(paper: Paper, seen: _Seen, positions: Sequence[Position]) -> None:
    radius = BALLOON_RADIUS_MM
    for position in positions:
        corners = _paper_points(seen.view, hull_corners(position.part))
        if not corners:
            continue
        body = _box_of(corners)
        if not body.overlaps(seen.view.window):
            continue
        at = (body.x1 + body.x2) / 2, (body.y1 + body.y2) / 2
        best: tuple[float, Point] | None = None
        for reach in BALLOON_REACH:
            for dx, dy in _directions(24):
                far = _way_out(body, at, (dx, dy)) + reach
                spot = at[0] + dx * far, at[1] + dy * far
                box = Box(*spot, *spot).grown(radius)
                if not seen.room.is_free(box):
                    continue
                price = seen.room.cost(at, spot, body)
                if price is not None and (best is None or price < best[0]):
                    best = price, spot
            if best is not None and best[0] < reach * 2:
                break
        if best is None:
            continue  # no room at all: the list beside the map still has it, with its place
        part = position.part
        with paper.group(class_="balloon", data_no=position.number, data_part=part.key):
            _draw_balloon(paper, seen, position.number, at, best[1])


def _way_out(body: Box, at: Point, direction: Point) -> float:
    """Return how far the edge of a box is from its middle in a direction."""
    ways = []
    if abs(direction[0]) > 1e-9:
        ways.append((body.x2 - at[0]) / abs(direction[0]))
    if abs(direction[1]) > 1e-9:
        ways.append((body.y2 - at[1]) / abs(direction[1]))
    return min(ways)


def _draw_balloon(paper: Paper, seen: _Seen, number: int, at: Point, spot: Point) -> None:
    radius = BALLOON_RADIUS_MM
    length = math.dist(at, spot)
    end = tuple(s + (a - s) * radius / length for s, a in zip(spot, at, strict=True))
    paper.line(at, (end[0], end[1]), stroke_width=MIDDLE / 1.5)
    paper.circle(*at, 0.45, fill="black")
    paper.circle(*spot, radius, fill="white", stroke="black", stroke_width=MIDDLE)
    size = BALLOON_MM if number < 100 else BALLOON_MM * 0.8
    paper.text(spot[0], spot[1] + size * 0.36, str(number), size, anchor="middle", bold=True)
    seen.room.take(Box(*spot, *spot).grown(radius))
    seen.room.draw_leader(at, spot)


def _draw_pins(paper: Paper, seen: _Seen, parts: Sequence[Part]) -> None:
    """Write pin numbers into the pads that have room for them."""
    for part in parts:
        for pad in part.pads:
            if not pad.number or not pad.side.faces(seen.view.side) or pad.drill:
                continue
            box = _pad_box(seen.view, pad)
            x, y = seen.view.at(pad.x, pad.y)
            for size in (PIN_MM, 1.6, LEAST_PIN_MM):
                wide = text_width(pad.number, size) + 0.3
                if wide > box.x2 - box.x1 or size > box.y2 - box.y1:
                    continue
                where = text_box(x, y + size * 0.36, pad.number, size, anchor="middle")
                if seen.room.is_free(where, on_copper=True):
                    paper.text(x, y + size * 0.36, pad.number, size, anchor="middle")
                    seen.room.take(where)
                break


def _draw_net_names(paper: Paper, circuit: Circuit, report: AreaReport, seen: _Seen) -> None:
    """Write the net beside each pad of the area, with a leader; one of a part's pads on a net."""
    told: set[tuple[str, str]] = set()
    ranked = sorted(
        (*report.pads, *report.outlying),
        key=lambda item: (
            item.pad.net is not None and circuit.net_kind(item.pad.net) is NetKind.GROUND,
            seen.gone[item.pad.part].number if item.pad.part in seen.gone else 10_000,
            item.distance,
        ),
    )
    for item in ranked:
        pad = item.pad
        if pad.net is None or (pad.part, pad.net) in told or len(told) >= MOST_NAMES:
            continue
        if not pad.side.faces(seen.view.side):
            continue
        told.add((pad.part, pad.net))
        _draw_net_name(paper, circuit, seen, pad, pad.net)


def _draw_net_name(paper: Paper, circuit: Circuit, seen: _Seen, pad: Pad, net: str) -> None:
    words = fit_text(seen.names[net], NAME_MM, NET_NAME_MM)
    rail = net in circuit.rails
    width = text_width(words, NAME_MM, bold=rail)
    copper = _pad_box(seen.view, pad)
    x, y = (copper.x1 + copper.x2) / 2, (copper.y1 + copper.y2) / 2
    best: tuple[float, float, float, Point, Point] | None = None
    for reach in NAME_REACH:
        for dx, dy in _directions(16):
            far = _way_out(copper, (x, y), (dx, dy))
            edge = x + dx * far, y + dy * far
            tip = x + dx * (far + reach), y + dy * (far + reach)
            # the text starts where the leader ends, and reads away from it
            left = tip[0] + 0.4 if dx > 0.3 else tip[0] - 0.4 - width if dx < -0.3 else None
            if left is None:
                left = tip[0] - width / 2
                base = tip[1] - 0.6 if dy < 0 else tip[1] + NAME_MM
            else:
                base = tip[1] + NAME_MM * 0.36
            box = text_box(left, base, words, NAME_MM, bold=rail)
            if not seen.room.is_free(box):
                continue
            price = seen.room.cost(edge, tip, copper)
            if price is not None and (best is None or price < best[0]):
                best = price, left, base, edge, tip
        if best is not None and best[0] <= reach + 0.5:
            break
    ground = circuit.net_kind(net) is NetKind.GROUND
    if best is None or best[0] > (DEAREST_GROUND if ground else DEAREST_LEADER):
        return
    _, left, base, start, tip = best
    paper.line(start, tip, stroke_width=THIN, stroke="#333")
    paper.text(left, base, words, NAME_MM, bold=rail, halo=True)
    seen.room.take(text_box(left, base, words, NAME_MM, bold=rail))
    seen.room.draw_leader(start, tip)


def _draw_refdes(paper: Paper, circuit: Circuit, seen: _Seen, part: Part) -> None:
    """Write a neighbour's refdes into or beside its body, if there is room."""
    if not part.refdes or circuit.kinds[part.key].kind is Kind.MECHANICAL:
        return
    body = _box_of(_paper_points(seen.view, body_corners(part)))
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
            paper.text(*at, words, NAME_MM, anchor="middle", fill="#333", font_style="italic")
            seen.room.take(box)
            return
