"""Shapes of the map: board edge, area, copper, bodies, missing positions, the mark of pin 1."""

from __future__ import annotations

from collections.abc import Sequence

from nettrace.bench.area import AreaReport
from nettrace.bench.place import Box, Circle
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.kinds import Kind
from nettrace.model.board import Pad, Part
from nettrace.views.drawing_svg import MIDDLE, THICK, THIN, Paper, hatch_lines
from nettrace.views.placed_view import (
    CROSS_MM,
    Position,
    SolderedWire,
    TornPad,
    View,
    body_corners,
    hull_corners,
    pad_corners,
)
from nettrace.views.text_facts import net_words, refdes, role_words, value_words

__all__ = [
    "draw_area",
    "draw_edges",
    "draw_far_position",
    "draw_neighbour",
    "draw_position",
    "draw_torn",
    "draw_wire",
]

Point = tuple[float, float]

#: Distance of hatching lines, and size of the mark at pin 1, mm.
HATCH_MM, MARK_MM = 1.5, 1.3
#: Half of the cross on a torn pad, on the paper, mm.
TORN_MM = 1.6
#: Width of a soldered wire on the paper, mm.
WIRE_MM = 0.9
#: Kinds without a first pin. Most capacitors have none, and no source says which have.
_PLAIN = frozenset(
    {
        Kind.RESISTOR,
        Kind.INDUCTOR,
        Kind.FERRITE,
        Kind.FUSE,
        Kind.THERMISTOR,
        Kind.VARISTOR,
        Kind.CAPACITOR,
    }
)


def _draw_pad(paper: Paper, view: View, pad: Pad, **look: object) -> None:
    corners = pad_corners(pad)
    if corners is None:
        x, y = view.at(pad.x, pad.y)
        cross = [((x - CROSS_MM, y), (x + CROSS_MM, y)), ((x, y - CROSS_MM), (x, y + CROSS_MM))]
        paper.segments(cross, stroke_width=MIDDLE)
        return
    paper.polygon(view.points(corners), data_net=pad.net, **look)
    if pad.drill:
        x, y = view.at(pad.x, pad.y)
        paper.circle(
            x, y, pad.drill / 2 * view.scale, fill="white", stroke="black", stroke_width=THIN
        )


def _pad_name(part: Part, pad: Pad) -> dict[str, object]:
    """Return what a page that holds the drawing knows a pad by."""
    if not pad.number:
        return {}
    return {"data_part": part.key, "data_pad": f"{part.refdes}.{pad.number}"}


def draw_edges(paper: Paper, circuit: Circuit, view: View) -> None:
    """Draw the board's edges."""
    for line in circuit.board.outline:
        paper.polyline(view.points(line), stroke_width=THICK, stroke_linejoin="round")


def draw_area(paper: Paper, report: AreaReport, view: View) -> None:
    """Draw where the area ends."""
    shape = report.shape
    look = {
        "fill": "none", "stroke": "black", "stroke_width": THIN, "stroke_dasharray": "6 1.2 1 1.2",
    }  # fmt: skip
    if isinstance(shape, Circle):
        x, y = view.at(shape.x, shape.y)
        paper.circle(x, y, shape.radius_mm * view.scale, **look)
        return
    if isinstance(shape, Box):
        corners: Sequence[Point] = (
            (shape.x1, shape.y1), (shape.x2, shape.y1), (shape.x2, shape.y2), (shape.x1, shape.y2),
        )  # fmt: skip
    else:
        corners = shape.corners
    paper.polygon(view.points(corners), **look)


def draw_neighbour(paper: Paper, circuit: Circuit, view: View, part: Part) -> None:
    """Draw a part that is there."""
    with paper.group(tip=_tip(circuit, part), class_="part", data_part=part.key):
        corners = body_corners(part)
        if corners and part.refdes:
            paper.polygon(view.points(corners), fill="none", stroke="#555", stroke_width=THIN)
        for pad in part.pads:
            if pad.side.faces(view.side):
                named = _pad_name(part, pad)
                _draw_pad(paper, view, pad, fill="#ccc", stroke="#555", stroke_width=THIN, **named)
        _draw_first_pin(paper, circuit, view, part)


def draw_position(paper: Paper, circuit: Circuit, view: View, position: Position) -> None:
    """Draw a missing part: its place hatched, its pads bare; a refitted one whole again."""
    part = position.part
    tip = f"{position.number}: {_tip(circuit, part)}{_state_words(position)}"
    with paper.group(tip=tip, class_="position", data_no=position.number, data_part=part.key):
        corners = view.points(hull_corners(part))
        if corners:
            look: dict[str, object] = {"stroke_width": THICK}
            if not position.fitted:
                look = {"stroke_width": THIN, "stroke_dasharray": "0.5 0.8"}
            elif not position.refitted:
                paper.segments(hatch_lines(corners, HATCH_MM), stroke_width=THIN)
                look["stroke_dasharray"] = "2 1"
            paper.polygon(corners, fill="none", stroke="black", **look)
        for pad in part.pads:
            if pad.side.faces(view.side):
                fill = "#ccc" if position.refitted else "white"
                look = {"fill": fill, "stroke": "black", "stroke_width": MIDDLE}
                _draw_pad(paper, view, pad, **look, **_pad_name(part, pad))
        _draw_first_pin(paper, circuit, view, part)


def draw_far_position(paper: Paper, circuit: Circuit, view: View, position: Position) -> None:
    """Draw a missing part of the other side: hidden edges are dashed (ISO 128)."""
    part = position.part
    tip = f"{position.number}: {_tip(circuit, part)}{_state_words(position)}"
    tip += f", on the {position.side} side"
    with paper.group(tip=tip, class_="position", data_no=position.number, data_part=part.key):
        corners = view.points(hull_corners(part))
        if corners:
            paper.polygon(
                corners, fill="none", stroke="black", stroke_width=MIDDLE, stroke_dasharray="1 0.8"
            )


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
    arms = [((x - TORN_MM, y - TORN_MM), (x + TORN_MM, y + TORN_MM)),
            ((x - TORN_MM, y + TORN_MM), (x + TORN_MM, y - TORN_MM))]  # fmt: skip
    with paper.group(tip=pad.words, class_="torn"):
        paper.segments(arms, stroke="white", stroke_width=3 * THICK)
        paper.segments(arms, stroke_width=THICK)


def _state_words(position: Position) -> str:
    if position.refitted:
        return ", refitted"
    return ", missing" if position.fitted else ""


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
    first = next(
        (p for p in part.pads if p.number in {"1", "A1"} and p.side.faces(view.side)), None
    )
    if first is None:
        return
    body = view.box(hull_corners(part))
    x, y = view.at(first.x, first.y)
    middle = ((body.x1 + body.x2) / 2, (body.y1 + body.y2) / 2)
    box = view.pad_box(first)
    dx, dy = x - middle[0], y - middle[1]
    if abs(dx) >= abs(dy):
        sign = 1 if dx > 0 else -1
        at = box.x2 if dx > 0 else box.x1
        points = [
            (at + sign * 0.3, y),
            (at + sign * (0.3 + MARK_MM), y - MARK_MM / 2),
            (at + sign * (0.3 + MARK_MM), y + MARK_MM / 2),
        ]
    else:
        sign = 1 if dy > 0 else -1
        at = box.y2 if dy > 0 else box.y1
        points = [
            (x, at + sign * 0.3),
            (x - MARK_MM / 2, at + sign * (0.3 + MARK_MM)),
            (x + MARK_MM / 2, at + sign * (0.3 + MARK_MM)),
        ]
    paper.polygon(points, fill="black")
