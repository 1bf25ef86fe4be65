"""A damaged area as an engineering drawing: the map at scale, the parts list, the title block.

One sheet that prints on A4 and Letter, landscape; a long parts list goes on on further sheets
below it in the same SVG.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nettrace.bench.area import AreaReport
from nettrace.bench.place import part_place
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.model.board import Part, Pin, Side
from nettrace.views.drawing import (
    MIDDLE,
    THICK,
    THIN,
    Box,
    Paper,
    area_words,
    corners_box,
    fit_text,
    hatch_lines,
    text_width,
)
from nettrace.views.placed_labels import draw_labels
from nettrace.views.placed_map import (
    WIRE_MM,
    Position,
    View,
    body_corners,
    choose_view,
    draw_area,
    draw_edges,
    draw_neighbour,
    draw_position,
    draw_torn,
    draw_wire,
    scale_words,
)
from nettrace.views.text_facts import refdes, role_words, size_words, value_words

if TYPE_CHECKING:
    from nettrace.bench.report import SolderedWire, TornPad

#: A sheet, mm: what A4 (297 x 210) and Letter (279 x 216) have in common, less 6 mm all round.
SHEET_WIDTH, SHEET_HEIGHT = 267.0, 198.0
#: The map, the list beside it, and the strip of the title block below.
WINDOW = Box(3.0, 3.0, 159.0, 172.0)
LIST_BOX = Box(161.0, 3.0, 264.0, 172.0)
BLOCK = Box(3.0, 175.0, 264.0, 195.0)
FRAME = Box(1.0, 1.0, 266.0, 197.0)
#: Boxes in the map's corners that hold the scale bar and the direction mark.
CORNERS = (Box(3.0, 162.0, 55.0, 172.0), Box(137.0, 3.0, 159.0, 25.0))
#: Type sizes and row height of the list, mm.
ROW_MM, HEAD_MM, TEXT_MM, SMALL_MM = 7.4, 6.0, 2.7, 2.2
#: Rows that the list beside the map holds; a further sheet has two columns as high.
PER_COLUMN = int((LIST_BOX.y2 - LIST_BOX.y1 - HEAD_MM) // ROW_MM)
FURTHER_COLUMNS = [Box(3.0, 3.0, 131.0, 172.0), Box(136.0, 3.0, 264.0, 172.0)]
#: Columns of the list: where each starts and how much room its text has, mm.
COLUMNS = {
    "number": (1.0, 8.0),
    "refdes": (10.0, 14.0),
    "value": (25.0, 27.0),
    "size": (53.0, 18.0),
    "role": (72.0, 30.0),
}
_TITLES = {
    "number": "No.", "refdes": "part", "value": "value", "size": "size", "role": "what it does",
}  # fmt: skip
#: Lengths a scale bar may stand for, mm.
_BARS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)


#: What the list says of pins that go nowhere else.
NOT_CONNECTED = "NC"
NO_PART = "No part is wholly in this area"


@dataclass(frozen=True, slots=True)
class PlacedMap:
    """A finished drawing; `size_mm` is that of one sheet, `sheets` stand one below the other.

    `parts` are the keys of all parts in it, `gone` those of them that are missing.
    """

    svg: str
    title: str
    scale: str
    side: Side
    sheets: int
    gone: tuple[str, ...]
    parts: tuple[str, ...]
    size_mm: tuple[float, float] = (SHEET_WIDTH, SHEET_HEIGHT)


@dataclass(frozen=True, slots=True)
class _Row:
    """A line of the parts list, or a heading in it."""

    number: str = ""
    part: str = ""
    refdes: str = ""
    value: str = ""
    size: str = ""
    role: str = ""
    remark: str = ""
    nets: tuple[str, ...] = ()
    heading: str = ""


@dataclass(frozen=True, slots=True)
class _TitleBlock:
    """What the strip at the bottom says; without a title, the page around the drawing has it.

    `looks` are the kinds of things in the drawing that the legend explains besides the usual.
    """

    board: str
    title: str
    side: Side
    scale: str
    looks: frozenset[str]


def draw_placed(
    circuit: Circuit,
    report: AreaReport,
    without: Iterable[str] = (),
    *,
    refitted: Collection[str] = (),
    wires: Sequence[SolderedWire] = (),
    torn: Sequence[TornPad] = (),
    in_page: bool = False,
) -> PlacedMap:
    """Draw the area; parts in `without` (keys) are shown as missing too.

    Those of them in `refitted` are shown as there again, soldered `wires` as lines, `torn` pads
    with a cross. With `in_page` the page around the drawing says what board and what positions
    these are: no title, and no line around the area.

    The side is the report's; without one, that of most missing parts. Positions of the other
    side are drawn dashed and named so.
    """
    without = tuple(without)
    keys = list(dict.fromkeys([*(item.part.key for item in report.positions), *without]))
    parts = [circuit.board.part_by_key[key] for key in keys]
    sides = [_side(part, Side.TOP) for part in parts] or [item.pad.side for item in report.pads]
    side = Side.BOTTOM if sides.count(Side.BOTTOM) > sides.count(Side.TOP) else Side.TOP
    if report.side in (Side.TOP, Side.BOTTOM):
        side = report.side
    positions = [
        Position(
            number,
            part,
            _side(part, side),
            fitted=part.key in without or circuit.kinds[part.key].fitted,
            refitted=part.key in refitted,
        )
        for number, part in enumerate(parts, start=1)
    ]
    inside = {item.part.key for item in report.positions}
    # missing parts stand partly outside of the area
    bodies = [body_corners(part) for part in parts if part.key in inside]
    boxes = [corners_box(body) for body in bodies if body]
    view = choose_view(WINDOW, [report.shape.box, *boxes], side)
    rows = _rows(circuit, report, positions, side)
    if in_page and not positions:
        rows = [row for row in rows if row.heading != NO_PART]
    sheets = 1 + -(-max(0, len(rows) - PER_COLUMN) // (2 * PER_COLUMN))
    title = "Marked positions" if in_page else f"Damaged area {area_words(report.shape)}"
    paper = Paper(SHEET_WIDTH, SHEET_HEIGHT * sheets, f"{circuit.board.name}: {title}")
    near = _neighbours(circuit, view, positions)
    draw_edges(paper, circuit, view)
    if not in_page:
        draw_area(paper, report, view)
    for part in near:
        draw_neighbour(paper, circuit, view, part)
    for position in sorted(positions, key=lambda item: not item.is_far_from(side)):
        draw_position(paper, circuit, view, position)
    for pad in torn:
        draw_torn(paper, view, pad)
    for wire in wires:
        draw_wire(paper, view, wire)
    draw_labels(paper, circuit, report, view, positions, near, CORNERS)
    paper.cover(Box(0, 0, SHEET_WIDTH, SHEET_HEIGHT * sheets), WINDOW)
    _draw_window_marks(paper, view)
    looks = {
        "far": any(item.is_far_from(side) for item in positions),
        "bare": any(not item.fitted for item in positions),
        "refitted": in_page and any(item.refitted for item in positions),
        "wires": in_page and bool(wires),
        "torn": in_page and bool(torn),
    }
    block = _TitleBlock(
        board="" if in_page else circuit.board.name,
        title="" if in_page else title,
        side=side,
        scale=scale_words(view.scale),
        looks=frozenset(look for look, is_there in looks.items() if is_there),
    )
    columns = [LIST_BOX]
    for sheet in range(sheets):
        top = SHEET_HEIGHT * sheet
        _draw_frame(paper, block, top, sheet + 1, sheets)
        for column in columns:
            if rows:
                _draw_column(paper, rows[:PER_COLUMN], _down(column, top))
            rows = rows[PER_COLUMN:]
        columns = FURTHER_COLUMNS
    return PlacedMap(
        paper.finish(),
        title,
        block.scale,
        side,
        sheets,
        tuple(item.part.key for item in positions if item.fitted and not item.refitted),
        (*keys, *(part.key for part in near)),
    )


def _side(part: Part, default: Side) -> Side:
    if part.pads:
        sides = {pad.side for pad in part.pads}
        return Side.BOTH if len(sides) > 1 or Side.BOTH in sides else part.pads[0].side
    return part.side or default


def _neighbours(circuit: Circuit, view: View, positions: Sequence[Position]) -> list[Part]:
    """Return the parts that are there and have copper in the window, on the side that is seen."""
    gone = {item.part.key for item in positions}
    keys = dict.fromkeys(pad.part for pad in circuit.pad_grid.inside(view.board_box()))
    parts = (circuit.board.part_by_key[key] for key in keys if key not in gone)
    return [part for part in parts if any(pad.side.faces(view.side) for pad in part.pads)]


# -- the parts list -------------------------------------------------------------------------------


def _rows(
    circuit: Circuit, report: AreaReport, positions: Sequence[Position], side: Side
) -> list[_Row]:
    rows = [_row(circuit, item.part, str(item.number), _remark(item, side)) for item in positions]
    gone = {item.part.key for item in positions}
    others = [
        item
        for item in report.reaching_in
        if item.part.refdes and item.pins and item.part.key not in gone
    ]
    if others:
        rows.append(_Row(heading="Also in the area, not missing"))
        rows += [_row(circuit, item.part, "", "", item.pins) for item in others]
    if not positions:
        rows.insert(0, _Row(heading=NO_PART))
    return rows


def _remark(position: Position, side: Side) -> str:
    if position.is_far_from(side):
        return f"{position.side} side"
    if part_place(position.part) is None:
        return "no place known"
    if position.refitted:
        return "refitted"
    return "" if position.fitted else "bare by design"


def _row(
    circuit: Circuit, part: Part, number: str, remark: str, pins: Sequence[Pin] | None = None
) -> _Row:
    nets: dict[str, dict[str, None]] = {}
    for pin in part.pins if pins is None else [pin for pin in part.pins if pin in pins]:
        alone = pin.net is None or circuit.net_kind(pin.net) is NetKind.UNCONNECTED
        nets.setdefault(NOT_CONNECTED if alone else pin.net or "", {})[pin.number] = None
    return _Row(
        number=number,
        part=part.key,
        refdes=refdes(circuit, part.key),
        value=value_words(circuit, part) or "value not stated",
        size=size_words(circuit, part),
        role=role_words(circuit.roles(part.key)[:1]),
        remark=remark,
        nets=tuple(
            f"{'/'.join([*numbers][:4])}{'…' if len(numbers) > 4 else ''} {net}"
            for net, numbers in nets.items()
        ),
    )


def _draw_column(paper: Paper, rows: Sequence[_Row], box: Box) -> None:
    y = box.y1 + HEAD_MM
    for name, (x, _) in COLUMNS.items():
        paper.text(box.x1 + x, box.y1 + 4.2, _TITLES[name], SMALL_MM, fill="#333")
    paper.line((box.x1, y), (box.x2, y), stroke_width=MIDDLE)
    spare = box.x2 - box.x1 - (LIST_BOX.x2 - LIST_BOX.x1)
    for row in rows:
        if row.heading:
            paper.text(box.x1 + 1.0, y + 5.0, row.heading, TEXT_MM, bold=True)
        else:
            tip = f"{row.refdes} {row.value}"
            with paper.group(tip=tip, class_="row", data_no=row.number or None, data_part=row.part):
                _draw_row(paper, row, box, y, spare)
        y += ROW_MM
        paper.line((box.x1, y), (box.x2, y), stroke="#999", stroke_width=THIN / 2)


def _draw_row(paper: Paper, row: _Row, box: Box, y: float, spare: float) -> None:
    base = y + 3.3
    for name, (x, width) in COLUMNS.items():
        words = str(getattr(row, name))
        bold = name in {"number", "refdes"}
        room = width + spare if name == "role" else width
        paper.text(box.x1 + x, base, fit_text(words, TEXT_MM, room, bold=bold), TEXT_MM, bold=bold)
    room = box.x2 - box.x1 - COLUMNS["refdes"][0] - 1.0
    if row.remark:
        wide = text_width(row.remark, SMALL_MM, bold=True)
        paper.text(box.x2 - 1.0, base + 3.2, row.remark, SMALL_MM, anchor="end", bold=True)
        room -= wide + 2.0
    text = _joined(row.nets, room)
    paper.text(box.x1 + COLUMNS["refdes"][0], base + 3.2, text, SMALL_MM)


def _joined(nets: Sequence[str], room: float) -> str:
    """Return as many nets as there is room for; the rest counted."""
    if not nets:
        return ""
    each = room if len(nets) == 1 else max(room / 2 - 3, room / len(nets) - 3)
    short = [fit_text(net, SMALL_MM, each) for net in nets]
    for count in range(len(short), 0, -1):
        more = len(short) - count
        text = "  ·  ".join(short[:count]) + (f"  ·  {more} more" if more else "")
        if text_width(text, SMALL_MM) <= room:
            return text
    return fit_text(short[0], SMALL_MM, room)


# -- frame and title block ------------------------------------------------------------------------


def _draw_frame(paper: Paper, block: _TitleBlock, top: float, sheet: int, sheets: int) -> None:
    """Draw border, map and list frames, and the title block of one sheet."""
    paper.rect(_down(FRAME, top), fill="none", stroke="black", stroke_width=THICK)
    if sheet == 1:
        paper.rect(_down(WINDOW, top), fill="none", stroke="black", stroke_width=MIDDLE)
    strip = _down(BLOCK, top)
    paper.rect(strip, fill="none", stroke="black", stroke_width=MIDDLE)
    stops = (78.0, 118.0, 142.0, 160.0) if block.title else (0.0, 40.0, 64.0, 82.0)
    for x in filter(None, stops):
        paper.line((strip.x1 + x, strip.y1), (strip.x1 + x, strip.y2))
    starts = [strip.x1, *(strip.x1 + x for x in stops)]
    widths = [b - a - 3 for a, b in zip(starts, [*starts[1:], strip.x2], strict=True)]

    def cell(at: int, label: str, *lines: str, bold: bool = True) -> None:
        x = starts[at] + 1.5
        paper.text(x, strip.y1 + 3.4, label, 2.0, fill="#333")
        for index, line in enumerate(lines):
            size = 3.4 if index == 0 else 2.5
            words = fit_text(line, size, widths[at], bold=bold and index == 0)
            paper.text(x, strip.y1 + 8.5 + 5.0 * index, words, size, bold=bold and index == 0)

    if block.title:
        cell(0, "board", block.board, block.title)
    bottom = block.side is Side.BOTTOM
    cell(
        1,
        "side",
        f"{block.side} side",
        "seen from below:" if bottom else "seen from above,",
        "x is mirrored" if bottom else "not mirrored",
    )
    cell(2, "scale", block.scale, "sizes in mm")
    cell(3, "sheet", f"{sheet} of {sheets}")
    _draw_legend(paper, starts[4], strip.y1, block)


def _draw_legend(paper: Paper, x: float, y: float, block: _TitleBlock) -> None:
    """Draw what the looks mean, in columns of four; the third is free in a strip without title."""

    def words(column: int, row: int, text: str) -> tuple[float, float]:
        at_x, at_y = x + 2 + 52 * column, y + 2.0 + 4.5 * row
        paper.text(at_x + 11, at_y + 2.9, text, 2.4)
        return at_x, at_y

    def sample(column: int, row: int, text: str, **look: object) -> tuple[float, float]:
        at_x, at_y = words(column, row, text)
        paper.rect(Box(at_x, at_y, at_x + 8, at_y + 3.2), **look)
        return at_x, at_y

    bare = {"fill": "none", "stroke": "black"}
    at_x, at_y = words(0, 0, "missing part: hatched")
    corners = [(at_x, at_y), (at_x + 8, at_y), (at_x + 8, at_y + 3.4), (at_x, at_y + 3.4)]
    paper.segments(hatch_lines(corners, 1.2))
    paper.polygon(corners, **bare, stroke_width=THICK, stroke_dasharray="2 1")
    sample(0, 1, "its bare pad", fill="white", stroke="black", stroke_width=MIDDLE)
    sample(0, 2, "pad of a part that is there", fill="#ccc", stroke="#555", stroke_width=THIN)
    if "refitted" in block.looks:  # a row that only a drawing without an area line has free
        at_x, at_y = sample(1, 1, "refitted", **bare, stroke_width=THICK)
        for x1 in (at_x + 1, at_x + 5):
            pad = Box(x1, at_y + 0.8, x1 + 2, at_y + 2.4)
            paper.rect(pad, fill="#ccc", stroke="black", stroke_width=MIDDLE)
    if "wires" in block.looks:
        at_x, at_y = words(2, 0, "soldered wire, drawn straight")
        paper.line((at_x + 1, at_y + 1.7), (at_x + 8, at_y + 1.7), stroke_width=WIRE_MM)
        for x1 in (at_x + 1, at_x + 8):
            paper.circle(x1, at_y + 1.7, WIRE_MM, fill="black")
    if "torn" in block.looks:
        at_x, at_y = words(2, 1, "lifted pad, or end of a cut track")
        left, right, high, low = at_x + 2.6, at_x + 5.4, at_y + 0.3, at_y + 3.1
        arms = [((left, high), (right, low)), ((left, low), (right, high))]
        paper.segments(arms, stroke_width=THICK)
    if "far" in block.looks:
        hidden = {"stroke_width": MIDDLE, "stroke_dasharray": "1 0.8"}
        sample(0, 3, "missing on the other side", **bare, **hidden)
    at_x, at_y = words(1, 0, "number in the list")
    paper.circle(at_x + 4, at_y + 1.7, 1.9, fill="white", stroke="black", stroke_width=MIDDLE)
    paper.text(at_x + 4, at_y + 2.5, "1", 2.2, anchor="middle", bold=True)
    if block.title:
        at_x, at_y = words(1, 1, "the area")
        paper.line((at_x, at_y + 2), (at_x + 9, at_y + 2), stroke_dasharray="3.5 1 1 1")
    at_x, at_y = words(1, 2, "pin 1")
    tip = [(at_x + 3, at_y + 2), (at_x + 4.5, at_y + 1.2), (at_x + 4.5, at_y + 2.8)]
    paper.polygon(tip, fill="black")
    if "bare" in block.looks:
        dots = {"stroke_width": THIN, "stroke_dasharray": "0.5 0.8"}
        sample(1, 3, "bare by design", **bare, **dots)
    else:
        at_x, at_y = words(1, 3, "board edge")
        paper.line((at_x, at_y + 2), (at_x + 9, at_y + 2), stroke_width=THICK)


def _down(box: Box, by: float) -> Box:
    return Box(box.x1, box.y1 + by, box.x2, box.y2 + by)


def _draw_window_marks(paper: Paper, view: View) -> None:
    """Draw scale bar, direction mark and side into their corners of the map."""
    bar, mark = CORNERS
    for box in CORNERS:
        paper.rect(box, fill="white", stroke="black", stroke_width=THIN)
    length = next((mm for mm in reversed(_BARS) if mm * view.scale <= 38.0), _BARS[0])
    wide = length * view.scale
    x, y = bar.x1 + 3.0, bar.y2 - 2.6
    half = Box(x, y - 1.2, x + wide / 2, y)
    paper.rect(half, fill="black", stroke="black", stroke_width=THIN)
    paper.rect(
        Box(x + wide / 2, y - 1.2, x + wide, y), fill="white", stroke="black", stroke_width=THIN
    )
    paper.text(x, y - 2.4, "0", 2.3)
    paper.text(x + wide, y - 2.4, f"{length:g} mm", 2.3, anchor="end")
    way = -1.0 if view.mirrored else 1.0
    x = mark.x1 + (15.0 if view.mirrored else 6.0)
    y = mark.y2 - 8.5
    for end, name in (((x, y - 8.0), "y"), ((x + way * 8.0, y), "x")):
        paper.line((x, y), end, stroke_width=MIDDLE)
        dx, dy = (end[0] - x) / 8.0, (end[1] - y) / 8.0
        paper.polygon(
            [
                (end[0] + dx * 1.2, end[1] + dy * 1.2),
                (end[0] - dx + dy * 0.8, end[1] - dy + dx * 0.8),
                (end[0] - dx - dy * 0.8, end[1] - dy - dx * 0.8),
            ],
            fill="black",
        )
        paper.text(
            end[0] + way * 1.8, end[1] + 0.8, name, 2.6, anchor="start" if way > 0 else "end"
        )
    paper.text(
        (mark.x1 + mark.x2) / 2, mark.y2 - 2.0, f"{view.side} side", 2.6, anchor="middle", bold=True
    )
