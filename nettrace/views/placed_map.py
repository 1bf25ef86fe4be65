"""The map itself: copper, bodies, missing positions, balloons and names inside their window."""

from __future__ import annotations

from collections.abc import Sequence

from nettrace.bench.area import AreaReport
from nettrace.circuit.circuit import Circuit
from nettrace.model.board import Part, Side
from nettrace.views.drawing_names import short_net_names
from nettrace.views.drawing_svg import Paper
from nettrace.views.drawing_text import Box, Room
from nettrace.views.placed_labels import (
    NET_LETTERS,
    Labelled,
    draw_balloons,
    draw_net_names,
    draw_pins,
    draw_refdes,
    mark_copper,
)
from nettrace.views.placed_shapes import (
    draw_area,
    draw_edges,
    draw_far_position,
    draw_neighbour,
    draw_position,
    draw_torn,
    draw_wire,
)
from nettrace.views.placed_view import Position, SolderedWire, TornPad, View

__all__ = ["draw_map"]


def draw_map(
    paper: Paper,
    circuit: Circuit,
    report: AreaReport,
    view: View,
    positions: Sequence[Position],
    corners: Sequence[Box],
    *,
    area: bool = True,
    wires: Sequence[SolderedWire] = (),
    torn: Sequence[TornPad] = (),
) -> tuple[str, ...]:
    """Draw the window's content, return the keys of the neighbours that are in it.

    `corners` are boxes that are written over later.

    `area` False: the report's shape is only what had to be seen, and is not drawn.

    Order: what lies under first; balloons before names, since every position must have one.
    """
    room = Room(view.window.grown(-1.0))
    for box in corners:
        room.take(box)
    gone = {item.part.key: item for item in positions}
    near = _neighbours(circuit, view, gone)
    names = short_net_names(circuit.board, NET_LETTERS)
    labelled = Labelled(view, room, gone, names, near)
    draw_edges(paper, circuit, view)
    if area:
        draw_area(paper, report, view)
    for part in near:
        draw_neighbour(paper, circuit, view, part)
    here = [item for item in positions if item.side in (view.side, Side.BOTH)]
    for position in positions:
        if position not in here:
            draw_far_position(paper, circuit, view, position)
    for position in here:
        draw_position(paper, circuit, view, position)
    for pad in torn:
        draw_torn(paper, view, pad)
    for wire in wires:
        draw_wire(paper, view, wire)
    mark_copper(labelled, here)
    draw_balloons(paper, labelled, positions)
    staying = {item.part.key for item in report.reaching_in if item.pins}
    pinned = [*(item.part for item in here), *(part for part in near if part.key in staying)]
    draw_pins(paper, labelled, pinned)
    draw_net_names(paper, circuit, report, labelled)
    for part in near:
        draw_refdes(paper, circuit, labelled, part)
    return tuple(part.key for part in near)


def _neighbours(circuit: Circuit, view: View, gone: dict[str, Position]) -> list[Part]:
    """Return the parts that are there and have copper in the window, on the side that is seen."""
    keys = dict.fromkeys(pad.part for pad in circuit.pad_grid.inside(view.board_box()))
    parts = (circuit.board.part_by_key[key] for key in keys if key not in gone)
    return [part for part in parts if any(pad.side.faces(view.side) for pad in part.pads)]
