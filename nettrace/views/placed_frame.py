"""What stands around the map: frame, title block, parts list, scale bar, side and direction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from nettrace.model.board import Side
from nettrace.views.drawing_svg import MIDDLE, THICK, THIN, Paper, hatch_lines
from nettrace.views.drawing_text import Box, fit_text, text_width
from nettrace.views.placed_view import View

__all__ = [
    "CORNERS",
    "LIST_BOX",
    "SHEET_HEIGHT",
    "SHEET_WIDTH",
    "WINDOW",
    "Row",
    "TitleBlock",
    "draw_frame",
    "draw_rows",
    "draw_window_marks",
    "rows_per_sheet",
]

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


@dataclass(frozen=True, slots=True)
class Row:
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
class TitleBlock:
    """What the strip at the bottom says; without a title, the page around the drawing has it."""

    board: str
    title: str
    side: Side
    scale: str
    has_far_side: bool
    has_bare: bool
    has_refitted: bool = False
    has_wires: bool = False
    has_torn: bool = False


def rows_per_sheet() -> tuple[int, int]:
    """Return how many rows the first sheet holds beside the map, and how many a further one."""
    per_column = int((LIST_BOX.y2 - LIST_BOX.y1 - HEAD_MM) // ROW_MM)
    return per_column, 2 * per_column


def draw_frame(paper: Paper, block: TitleBlock, top: float, sheet: int, sheets: int) -> None:
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


def _draw_legend(paper: Paper, x: float, y: float, block: TitleBlock) -> None:
    """Draw what the looks mean, in two columns."""

    def words(column: int, row: int, text: str) -> tuple[float, float]:
        at_x, at_y = x + 2 + 52 * column, y + 2.0 + 4.5 * row
        paper.text(at_x + 11, at_y + 2.9, text, 2.4)
        return at_x, at_y

    at_x, at_y = words(0, 0, "missing part: hatched")
    corners = [(at_x, at_y), (at_x + 8, at_y), (at_x + 8, at_y + 3.4), (at_x, at_y + 3.4)]
    paper.segments(hatch_lines(corners, 1.2))
    paper.polygon(corners, fill="none", stroke="black", stroke_width=THICK, stroke_dasharray="2 1")
    at_x, at_y = words(0, 1, "its bare pad")
    paper.rect(
        Box(at_x, at_y, at_x + 8, at_y + 3.2), fill="white", stroke="black", stroke_width=MIDDLE
    )
    at_x, at_y = words(0, 2, "pad of a part that is there")
    paper.rect(Box(at_x, at_y, at_x + 8, at_y + 3.2), fill="#ccc", stroke="#555", stroke_width=THIN)
    if block.has_refitted:
        # a row that only a drawing without an area line has free
        at_x, at_y = words(1, 1, "refitted")
        paper.rect(
            Box(at_x, at_y, at_x + 8, at_y + 3.2), fill="none", stroke="black", stroke_width=THICK
        )
        for x1 in (at_x + 1, at_x + 5):
            paper.rect(
                Box(x1, at_y + 0.8, x1 + 2, at_y + 2.4),
                fill="#ccc", stroke="black", stroke_width=MIDDLE,
            )  # fmt: skip
    if block.has_wires:
        # a third column, which only a strip without a title has room for
        at_x, at_y = words(2, 0, "soldered wire, drawn straight")
        paper.line((at_x + 1, at_y + 1.7), (at_x + 8, at_y + 1.7), stroke_width=0.9)
        for x1 in (at_x + 1, at_x + 8):
            paper.circle(x1, at_y + 1.7, 0.9, fill="black")
    if block.has_torn:
        at_x, at_y = words(2, 1, "lifted pad, or end of a cut track")
        left, right, high, low = at_x + 2.6, at_x + 5.4, at_y + 0.3, at_y + 3.1
        paper.segments(
            [((left, high), (right, low)), ((left, low), (right, high))], stroke_width=THICK
        )
    if block.has_far_side:
        at_x, at_y = words(0, 3, "missing on the other side")
        paper.rect(
            Box(at_x, at_y, at_x + 8, at_y + 3.2),
            fill="none", stroke="black", stroke_width=MIDDLE, stroke_dasharray="1 0.8",
        )  # fmt: skip
    at_x, at_y = words(1, 0, "number in the list")
    paper.circle(at_x + 4, at_y + 1.7, 1.9, fill="white", stroke="black", stroke_width=MIDDLE)
    paper.text(at_x + 4, at_y + 2.5, "1", 2.2, anchor="middle", bold=True)
    if block.title:
        at_x, at_y = words(1, 1, "the area")
        paper.line((at_x, at_y + 2), (at_x + 9, at_y + 2), stroke_dasharray="3.5 1 1 1")
    at_x, at_y = words(1, 2, "pin 1")
    paper.polygon(
        [(at_x + 3, at_y + 2), (at_x + 4.5, at_y + 1.2), (at_x + 4.5, at_y + 2.8)], fill="black"
    )
    at_x, at_y = words(1, 3, "bare by design" if block.has_bare else "board edge")
    if not block.has_bare:
        paper.line((at_x, at_y + 2), (at_x + 9, at_y + 2), stroke_width=THICK)
        return
    paper.rect(
        Box(at_x, at_y, at_x + 8, at_y + 3.2),
        fill="none", stroke="black", stroke_width=THIN, stroke_dasharray="0.5 0.8",
    )  # fmt: skip


def _down(box: Box, by: float) -> Box:
    return Box(box.x1, box.y1 + by, box.x2, box.y2 + by)


def draw_window_marks(paper: Paper, view: View) -> None:
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


def draw_rows(paper: Paper, rows: Sequence[Row], top: float, column: Box | None) -> None:
    """Write rows of the parts list: into one column, or (None) into the two of a further sheet."""
    boxes = [column] if column is not None else [
        _down(Box(3.0, 3.0, 131.0, 172.0), top), _down(Box(136.0, 3.0, 264.0, 172.0), top)
    ]  # fmt: skip
    per_column = rows_per_sheet()[0]
    for at, box in enumerate(boxes):
        some = rows[at * per_column : (at + 1) * per_column]
        if some:
            _draw_column(paper, some, box)


def _draw_column(paper: Paper, rows: Sequence[Row], box: Box) -> None:
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


def _draw_row(paper: Paper, row: Row, box: Box, y: float, spare: float) -> None:
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
