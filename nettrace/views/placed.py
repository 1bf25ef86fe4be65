"""A damaged area as an engineering drawing: the map at scale, the parts list, the title block.

One sheet that prints on A4 and Letter, landscape; a long parts list goes on on further sheets
below it in the same SVG.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from nettrace.bench.area import AreaReport
from nettrace.bench.place import part_place
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.knowledge import table
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
    text_width,
)
from nettrace.views.placed_map import (
    Position,
    View,
    body_corners,
    choose_view,
    draw_map,
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
#: Columns of the list: title, where each starts and how much room its text has, mm.
COLUMNS = {
    "number": ("No.", 1.0, 8.0),
    "refdes": ("part", 10.0, 14.0),
    "value": ("value", 25.0, 27.0),
    "size": ("size", 53.0, 18.0),
    "role": ("what it does", 72.0, 30.0),
}
#: Lengths a scale bar may stand for, mm.
_BARS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
#: The head of an arrow: along and across its line from the line's end, mm.
_ARROW = ((1.2, 0.0), (-1.0, -0.8), (-1.0, 0.8))
#: What the list says of pins that go nowhere else.
NOT_CONNECTED = "NC"


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
    """A line of the parts list, or a heading in it; `cells` by the names of `COLUMNS`."""

    heading: str = ""
    part: str = ""
    cells: Mapping[str, str] = field(default_factory=dict)
    nets: tuple[str, ...] = ()
    remark: str = ""


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
    if not positions and not in_page:
        rows.insert(0, _Row("No part is wholly in this area"))
    sheets = 1 + -(-max(0, len(rows) - PER_COLUMN) // (2 * PER_COLUMN))
    title = "Marked positions" if in_page else f"Damaged area {area_words(report.shape)}"
    paper = Paper(SHEET_WIDTH, SHEET_HEIGHT * sheets, f"{circuit.board.name}: {title}")
    near = draw_map(
        paper,
        circuit,
        report,
        view,
        positions,
        corners=CORNERS,
        wires=wires,
        torn=torn,
        with_area=not in_page,
    )
    paper.cover(Box(0, 0, SHEET_WIDTH, SHEET_HEIGHT * sheets), WINDOW)
    _draw_window_marks(paper, view)
    looks = {
        "area": not in_page,
        "far": any(item.is_far_from(side) for item in positions),
        "bare": any(not item.fitted for item in positions),
        "edge": all(item.fitted for item in positions),
        "refitted": in_page and any(item.refitted for item in positions),
        "wires": in_page and bool(wires),
        "torn": in_page and bool(torn),
    }
    scale = scale_words(view.scale)
    cells = [
        ("side", f"{side} side", "seen from below:", "x is mirrored")
        if side is Side.BOTTOM
        else ("side", f"{side} side", "seen from above,", "not mirrored"),
        ("scale", scale, "sizes in mm"),
    ]
    if not in_page:
        cells.insert(0, ("board", circuit.board.name, title))
    columns = [LIST_BOX]
    for sheet in range(sheets):
        top = SHEET_HEIGHT * sheet
        _draw_frame(paper, top, [*cells, ("sheet", f"{sheet + 1} of {sheets}")], looks)
        for column in columns:
            if rows:
                _draw_column(paper, rows[:PER_COLUMN], _down(column, top))
            rows = rows[PER_COLUMN:]
        columns = FURTHER_COLUMNS
    return PlacedMap(
        paper.finish(),
        title,
        scale,
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


# -- the parts list -------------------------------------------------------------------------------


def _rows(
    circuit: Circuit, report: AreaReport, positions: Sequence[Position], side: Side
) -> list[_Row]:
    rows = []
    for item in positions:
        remark = "" if item.look == "missing" else item.look
        if item.is_far_from(side):
            remark = f"{item.side} side"
        elif part_place(item.part) is None:
            remark = "no place known"
        rows.append(_row(circuit, item.part, item.part.pins, str(item.number), remark))
    gone = {item.part.key for item in positions}
    others = [
        _row(circuit, item.part, item.pins)
        for item in report.reaching_in
        if item.part.refdes and item.pins and item.part.key not in gone
    ]
    return [*rows, *([_Row("Also in the area, not missing"), *others] if others else [])]


def _row(
    circuit: Circuit, part: Part, pins: Sequence[Pin], number: str = "", remark: str = ""
) -> _Row:
    nets: dict[str, dict[str, None]] = {}
    for pin in part.pins:
        if pin in pins:
            alone = pin.net is None or circuit.net_kind(pin.net) is NetKind.UNCONNECTED
            nets.setdefault(NOT_CONNECTED if alone else pin.net or "", {})[pin.number] = None
    words = [
        f"{'/'.join([*numbers][:4])}{'…' if len(numbers) > 4 else ''} {net}"
        for net, numbers in nets.items()
    ]
    cells = {
        "number": number,
        "refdes": refdes(circuit, part.key),
        "value": value_words(circuit, part) or "value not stated",
        "size": size_words(circuit, part),
        "role": role_words(circuit.roles(part.key)[:1]),
    }
    return _Row(part=part.key, cells=cells, nets=tuple(words), remark=remark)


def _draw_column(paper: Paper, rows: Sequence[_Row], box: Box) -> None:
    y = box.y1 + HEAD_MM
    for title, x, _ in COLUMNS.values():
        paper.text(box.x1 + x, box.y1 + 4.2, title, SMALL_MM, fill="#333")
    paper.line((box.x1, y), (box.x2, y), stroke_width=MIDDLE)
    for row in rows:
        if row.heading:
            paper.text(box.x1 + 1.0, y + 5.0, row.heading, TEXT_MM, bold=True)
        else:
            tip, number = f"{row.cells['refdes']} {row.cells['value']}", row.cells["number"] or None
            with paper.group(tip=tip, class_="row", data_no=number, data_part=row.part):
                _draw_row(paper, row, box, y + 3.3)
        y += ROW_MM
        paper.line((box.x1, y), (box.x2, y), stroke="#999", stroke_width=THIN / 2)


def _draw_row(paper: Paper, row: _Row, box: Box, base: float) -> None:
    """Draw a row of two lines, the first on `base`; the role has what a wide column spares."""
    spare = box.wide - LIST_BOX.wide
    for name, (_, x, width) in COLUMNS.items():
        bold, room = name in {"number", "refdes"}, width + (spare if name == "role" else 0.0)
        words = fit_text(row.cells[name], TEXT_MM, room, bold=bold)
        paper.text(box.x1 + x, base, words, TEXT_MM, bold=bold)
    x = COLUMNS["refdes"][1]
    room = box.wide - x - 1.0
    if row.remark:
        paper.text(box.x2 - 1.0, base + 3.2, row.remark, SMALL_MM, anchor="end", bold=True)
        room -= text_width(row.remark, SMALL_MM, bold=True) + 2.0
    # as many nets as there is room for; the rest counted
    count = len(row.nets)
    each = room if count == 1 else max(room / 2 - 3, room / max(count, 1) - 3)
    short = [fit_text(net, SMALL_MM, each) for net in row.nets]
    texts = (
        "  ·  ".join([*short[:shown], *([f"{count - shown} more"] if shown < count else [])])
        for shown in range(count, 0, -1)
    )
    fits = (text for text in texts if text_width(text, SMALL_MM) <= room)
    text = next(fits, fit_text(short[0], SMALL_MM, room) if short else "")
    paper.text(box.x1 + x, base + 3.2, text, SMALL_MM)


# -- frame and title block ------------------------------------------------------------------------


def _draw_frame(
    paper: Paper, top: float, cells: Sequence[tuple[str, ...]], looks: Mapping[str, bool]
) -> None:
    """Draw border, map and list frames, and the title block of one sheet.

    Args:
        paper: what is drawn on.
        top: where the sheet begins, mm.
        cells: the strip's cells: label, and lines. Without that of the board, the page around
            the drawing says it.
        looks: kinds of things -> whether the drawing has them, for the legend.
    """
    frames = [(FRAME, THICK), (WINDOW, MIDDLE), (BLOCK, MIDDLE)]
    for frame, width in frames if top == 0 else frames[::2]:
        paper.rect(_down(frame, top), fill="none", stroke="black", stroke_width=width)
    strip = _down(BLOCK, top)
    widths = {"board": 78.0, "side": 40.0, "scale": 24.0, "sheet": 18.0}
    x = strip.x1
    for label, *lines in cells:
        wide, at = widths[label], x + 1.5
        paper.text(at, strip.y1 + 3.4, label, 2.0, fill="#333")
        for index, line in enumerate(lines):
            size, bold = (3.4, True) if index == 0 else (2.5, False)
            words = fit_text(line, size, wide - 3, bold=bold)
            paper.text(at, strip.y1 + 8.5 + 5.0 * index, words, size, bold=bold)
        x += wide
        paper.line((x, strip.y1), (x, strip.y2))
    for column, row, sample, words, when in table("drawing")["map"]["legend"]["entries"]:
        if looks.get(when, True):
            at, y = x + 2 + 52 * column, strip.y1 + 2 + 4.5 * row
            paper.symbol(at, y, sample)
            paper.text(at + 11, y + 2.9, words, 2.4)


def _down(box: Box, by: float) -> Box:
    return Box(box.x1, box.y1 + by, box.x2, box.y2 + by)


def _draw_window_marks(paper: Paper, view: View) -> None:
    """Draw scale bar, direction mark and side into their corners of the map."""
    bar, mark = CORNERS
    for box in CORNERS:
        paper.rect(box, fill="white", stroke="black", stroke_width=THIN)
    length = next((mm for mm in reversed(_BARS) if mm * view.scale <= 38.0), _BARS[0])
    half, (x, y) = length * view.scale / 2, (bar.x1 + 3.0, bar.y2 - 2.6)
    for left, fill in ((x, "black"), (x + half, "white")):
        box = Box(left, y - 1.2, left + half, y)
        paper.rect(box, fill=fill, stroke="black", stroke_width=THIN)
    paper.text(x, y - 2.4, "0", 2.3)
    paper.text(x + 2 * half, y - 2.4, f"{length:g} mm", 2.3, anchor="end")
    way, anchor, start = (-1.0, "end", 15.0) if view.mirrored else (1.0, "start", 6.0)
    x, y = mark.x1 + start, mark.y2 - 8.5
    for name, dx, dy in (("y", 0.0, -1.0), ("x", way, 0.0)):
        end_x, end_y = x + 8 * dx, y + 8 * dy
        paper.line((x, y), (end_x, end_y), stroke_width=MIDDLE)
        tip = [(end_x + a * dx - b * dy, end_y + a * dy + b * dx) for a, b in _ARROW]
        paper.polygon(tip, fill="black")
        paper.text(end_x + way * 1.8, end_y + 0.8, name, 2.6, anchor=anchor)
    middle = mark.middle[0]
    paper.text(middle, mark.y2 - 2.0, f"{view.side} side", 2.6, anchor="middle", bold=True)
