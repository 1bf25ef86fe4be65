"""Writing on the map: balloons, pin numbers, names of nets and parts, each where there is room."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from nettrace.bench.area import AreaReport
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Pad, Part
from nettrace.views.drawing_svg import MIDDLE, THIN, Paper
from nettrace.views.drawing_text import Box, Room, fit_text, text_box, text_width
from nettrace.views.placed_view import Position, View, body_corners, hull_corners

__all__ = [
    "NET_LETTERS",
    "Labelled",
    "draw_balloons",
    "draw_net_names",
    "draw_pins",
    "draw_refdes",
    "mark_copper",
]

Point = tuple[float, float]

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
class Labelled:
    """What labels are put to: the view, the room left on it, positions by part, short names."""

    view: View
    room: Room
    gone: Mapping[str, Position]
    names: Mapping[str, str]
    near: Sequence[Part]


def mark_copper(seen: Labelled, here: Sequence[Position]) -> None:
    """Mark all copper that is seen, so that labels keep off it."""
    for part in (*seen.near, *(item.part for item in here)):
        for pad in part.pads:
            if pad.side.faces(seen.view.side):
                seen.room.add_copper(seen.view.pad_box(pad))


def _directions(count: int) -> list[Point]:
    """Return unit vectors all round, slanted ones first: they are easier to tell from copper."""
    steps = [2 * math.pi * i / count for i in range(count)]
    steps.sort(key=lambda angle: (abs(math.sin(2 * angle)) < 0.4, angle))
    return [(math.cos(angle), math.sin(angle)) for angle in steps]


def draw_balloons(paper: Paper, seen: Labelled, positions: Sequence[Position]) -> None:
    """Draw the number of each position, with a leader to its middle."""
    radius = next(mm for count, mm in BALLOON_RADII if len(positions) <= count)
    hulls = [hull_corners(position.part) for position in positions]
    bodies = [seen.view.box(hull) for hull in hulls if hull]
    for position in positions:
        corners = hull_corners(position.part)
        if not corners:
            continue
        body = seen.view.box(corners)
        if not body.overlaps(seen.view.window):
            continue
        at = (body.x1 + body.x2) / 2, (body.y1 + body.y2) / 2
        spot = (
            _balloon_spot(seen, body, at, radius, bodies)
            or _balloon_spot(seen, body, at, radius)
            or _balloon_spot(seen, body, at, radius, on_copper=True)
            or _spot_on_body(seen, body, at, radius)
        )
        if spot is None:
            continue  # no room at all: the list beside the map has it
        part = position.part
        with paper.group(class_="balloon", data_no=position.number, data_part=part.key):
            _draw_balloon(paper, seen, position.number, at, spot, radius)


def _balloon_spot(
    seen: Labelled,
    body: Box,
    at: Point,
    radius: float,
    bodies: Sequence[Box] = (),
    *,
    on_copper: bool = False,
) -> Point | None:
    """Return where a balloon stands: the cheapest free place off `bodies`, near ones first."""
    best: tuple[float, Point] | None = None
    others = [other for other in bodies if other != body]
    for reach in BALLOON_REACH:
        for dx, dy in _directions(24):
            far = _way_out(body, at, (dx, dy)) + reach
            spot = at[0] + dx * far, at[1] + dy * far
            box = Box(*spot, *spot).grown(radius)
            if not seen.room.is_free(box, on_copper=on_copper):
                continue
            if any(box.overlaps(other) for other in bodies):
                continue
            # its own pads have numbers too, so they are not `own` here
            price = seen.room.cost(at, spot, Box(*at, *at), others)
            if price is not None and (best is None or price < best[0]):
                best = price, spot
        if best is not None and best[0] < reach * 2:
            break
    return best[1] if best is not None else None


def _way_out(body: Box, at: Point, direction: Point) -> float:
    """Return how far the edge of a box is from its middle in a direction."""
    ways = []
    if abs(direction[0]) > 1e-9:
        ways.append((body.x2 - at[0]) / abs(direction[0]))
    if abs(direction[1]) > 1e-9:
        ways.append((body.y2 - at[1]) / abs(direction[1]))
    return min(ways)


def _spot_on_body(seen: Labelled, body: Box, at: Point, radius: float) -> Point | None:
    """Return a place on the position itself, where all around is taken."""
    for part in (0.0, 0.3, -0.3):
        for dx, dy in ((part, 0.0), (0.0, part)):
            spot = at[0] + dx * (body.x2 - body.x1), at[1] + dy * (body.y2 - body.y1)
            if seen.room.is_free_of_text(Box(*spot, *spot).grown(radius)):
                return spot
    return None


def _draw_balloon(
    paper: Paper, seen: Labelled, number: int, at: Point, spot: Point, radius: float
) -> None:
    length = max(math.dist(at, spot), radius)
    end = tuple(s + (a - s) * radius / length for s, a in zip(spot, at, strict=True))
    paper.line(at, (end[0], end[1]), stroke_width=MIDDLE / 1.5)
    paper.circle(*at, 0.45, fill="black")
    paper.circle(*spot, radius, fill="white", stroke="black", stroke_width=MIDDLE)
    size = radius * (1.1 if number < 100 else 0.9)
    paper.text(spot[0], spot[1] + size * 0.36, str(number), size, anchor="middle", bold=True)
    seen.room.take(Box(*spot, *spot).grown(radius))
    seen.room.draw_leader(at, spot)


def draw_pins(paper: Paper, seen: Labelled, parts: Sequence[Part]) -> None:
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
                    paper.text(x, y + size * 0.36, pad.number, size, anchor="middle")
                    seen.room.take(where)
                break


def draw_net_names(paper: Paper, circuit: Circuit, report: AreaReport, seen: Labelled) -> None:
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
        if circuit.net_kind(pad.net) is NetKind.UNCONNECTED:
            continue
        told.add((pad.part, pad.net))
        _draw_net_name(paper, circuit, seen, pad, pad.net)


def _draw_net_name(paper: Paper, circuit: Circuit, seen: Labelled, pad: Pad, net: str) -> None:
    words = fit_text(seen.names[net], NAME_MM, NET_NAME_MM)
    rail = net in circuit.rails
    width = text_width(words, NAME_MM, bold=rail)
    copper = seen.view.pad_box(pad)
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


def draw_refdes(paper: Paper, circuit: Circuit, seen: Labelled, part: Part) -> None:
    """Write a neighbour's refdes into or beside its body, if there is room."""
    if not part.refdes or circuit.kinds[part.key].kind is Kind.MECHANICAL:
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
            paper.text(*at, words, NAME_MM, anchor="middle", fill="#333", font_style="italic")
            seen.room.take(box)
            return
