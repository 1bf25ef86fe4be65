"""A damaged area as an engineering drawing: the map at scale, the parts list, the title block.

One sheet that prints on A4 and Letter, landscape; a long parts list goes on on further sheets
below it in the same SVG.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from nettrace.bench.area import AreaReport
from nettrace.bench.place import part_place
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind
from nettrace.model.board import Part, Side
from nettrace.views.drawing_svg import Paper
from nettrace.views.drawing_text import Box
from nettrace.views.neighbourhood_choice import area_words
from nettrace.views.placed_frame import (
    CORNERS,
    LIST_BOX,
    SHEET_HEIGHT,
    SHEET_WIDTH,
    WINDOW,
    Row,
    TitleBlock,
    draw_frame,
    draw_rows,
    draw_window_marks,
    rows_per_sheet,
)
from nettrace.views.placed_map import draw_map
from nettrace.views.placed_view import (
    Position,
    SolderedWire,
    TornPad,
    body_corners,
    choose_view,
    scale_words,
)
from nettrace.views.text_facts import refdes, role_words, size_words, value_words

__all__ = ["PlacedMap", "draw_placed"]

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
    side = report.side if report.side in (Side.TOP, Side.BOTTOM) else _side_of_most(parts, report)
    positions = [
        Position(
            number,
            part,
            _side(part, side),
            fitted=_was_fitted(circuit, part, without),
            refitted=part.key in refitted,
        )
        for number, part in enumerate(parts, start=1)
    ]
    view = choose_view(WINDOW, [report.shape.box, *_boxes(positions, report)], side)
    rows = _rows(circuit, report, positions, side)
    if in_page and not positions:
        rows = [row for row in rows if row.heading != NO_PART]
    first, later = rows_per_sheet()
    more = max(0, len(rows) - first)
    sheets = 1 + -(-more // later)
    title = "Marked positions" if in_page else f"Damaged area {area_words(report.shape)}"
    paper = Paper(SHEET_WIDTH, SHEET_HEIGHT * sheets, f"{circuit.board.name}: {title}")
    near = draw_map(
        paper, circuit, report, view, positions, CORNERS, area=not in_page, wires=wires, torn=torn
    )
    paper.cover(Box(0, 0, SHEET_WIDTH, SHEET_HEIGHT * sheets), WINDOW)
    draw_window_marks(paper, view)
    block = TitleBlock(
        board="" if in_page else circuit.board.name,
        title="" if in_page else title,
        side=side,
        scale=scale_words(view.scale),
        has_far_side=any(item.side not in (side, Side.BOTH) for item in positions),
        has_bare=any(not item.fitted for item in positions),
        has_refitted=in_page and any(item.refitted for item in positions),
        has_wires=in_page and bool(wires),
        has_torn=in_page and bool(torn),
    )
    left = rows
    for sheet in range(sheets):
        top = SHEET_HEIGHT * sheet
        draw_frame(paper, block, top, sheet + 1, sheets)
        shown, left = left[: first if sheet == 0 else later], left[first if sheet == 0 else later :]
        draw_rows(paper, shown, top, LIST_BOX if sheet == 0 else None)
    return PlacedMap(
        paper.finish(),
        title,
        scale_words(view.scale),
        side,
        sheets,
        tuple(item.part.key for item in positions if item.fitted and not item.refitted),
        (*(item.part.key for item in positions), *near),
    )


def _was_fitted(circuit: Circuit, part: Part, without: tuple[str, ...]) -> bool:
    return part.key in without or circuit.kinds[part.key].fitted


def _side(part: Part, default: Side) -> Side:
    if part.pads:
        sides = {pad.side for pad in part.pads}
        return Side.BOTH if len(sides) > 1 or Side.BOTH in sides else part.pads[0].side
    return part.side or default


def _side_of_most(parts: Sequence[Part], report: AreaReport) -> Side:
    sides = [_side(part, Side.TOP) for part in parts]
    if not parts:
        sides = [item.pad.side for item in report.pads]
    bottom, top = sides.count(Side.BOTTOM), sides.count(Side.TOP)
    return Side.BOTTOM if bottom > top else Side.TOP


def _boxes(
    positions: Sequence[Position], report: AreaReport
) -> list[tuple[float, float, float, float]]:
    """Return the boxes of missing parts that stand partly outside of the area."""
    inside = {item.part.key for item in report.positions}
    boxes = []
    for position in positions:
        corners = body_corners(position.part)
        if position.part.key in inside and corners:
            xs, ys = [x for x, _ in corners], [y for _, y in corners]
            boxes.append((min(xs), min(ys), max(xs), max(ys)))
    return boxes


def _rows(
    circuit: Circuit, report: AreaReport, positions: Sequence[Position], side: Side
) -> list[Row]:
    rows = [_row(circuit, item.part, str(item.number), _remark(item, side)) for item in positions]
    others = [
        item
        for item in report.reaching_in
        if item.part.refdes and item.pins and all(item.part is not p.part for p in positions)
    ]
    if others:
        rows.append(Row(heading="Also in the area, not missing"))
        rows += [_row(circuit, item.part, "", "", item.pins) for item in others]
    if not positions:
        rows.insert(0, Row(heading=NO_PART))
    return rows


def _remark(position: Position, side: Side) -> str:
    if position.side not in (side, Side.BOTH):
        return f"{position.side} side"
    if part_place(position.part) is None:
        return "no place known"
    if position.refitted:
        return "refitted"
    return "" if position.fitted else "bare by design"


def _row(
    circuit: Circuit, part: Part, number: str, remark: str, pins: Sequence[object] | None = None
) -> Row:
    shown = part.pins if pins is None else [pin for pin in part.pins if pin in pins]
    nets: dict[str, list[str]] = {}
    for pin in shown:
        alone = pin.net is None or circuit.net_kind(pin.net) is NetKind.UNCONNECTED
        numbers = nets.setdefault(NOT_CONNECTED if alone else pin.net or "", [])
        if pin.number not in numbers:
            numbers.append(pin.number)
    texts = [
        f"{'/'.join(numbers[:4])}{'…' if len(numbers) > 4 else ''} {net}"
        for net, numbers in nets.items()
    ]
    return Row(
        number=number,
        part=part.key,
        refdes=refdes(circuit, part.key),
        value=value_words(circuit, part) or "value not stated",
        size=size_words(circuit, part),
        role=role_words(circuit.roles(part.key)[:1]),
        remark=remark,
        nets=tuple(texts),
    )
