"""Symbols of parts, rails and grounds as Graphviz labels made of tables: no image, no font needed.

A symbol is a grid of black cells, so it looks the same in every renderer. Shapes are those of
IEC 60617 as far as rectangles reach: resistor an open box, inductor a filled one, capacitor two
plates, diode a triangle and a bar, ground three bars.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from nettrace.circuit.kinds import Kind

__all__ = ["DIODE", "DIODE_TURNED", "GROUND", "symbol_for"]

_INK = 'BGCOLOR="black"'
_OPEN = 'BORDER="1"'
_GREY = 'BORDER="1" BGCOLOR="#bbbbbb"'


class _Block(NamedTuple):
    """A filled piece of a grid: first column and row, how many of each, its look."""

    column: int
    row: int
    columns: int
    rows: int
    look: str


def _grid(widths: Sequence[int], heights: Sequence[int], blocks: Sequence[_Block]) -> str:
    """Return a table of a fixed size with the blocks in it; sizes are points."""
    owner = {
        (x, y): block
        for block in blocks
        for x in range(block.column, block.column + block.columns)
        for y in range(block.row, block.row + block.rows)
    }
    rows = []
    for y, height in enumerate(heights):
        cells = []
        for x, width in enumerate(widths):
            block = owner.get((x, y))
            if block is None:
                cells.append(f'<TD WIDTH="{width}" HEIGHT="{height}"></TD>')
            elif (block.column, block.row) == (x, y):
                wide = sum(widths[x : x + block.columns])
                high = sum(heights[y : y + block.rows])
                span = f' COLSPAN="{block.columns}"' if block.columns > 1 else ""
                span += f' ROWSPAN="{block.rows}"' if block.rows > 1 else ""
                cells.append(f'<TD WIDTH="{wide}" HEIGHT="{high}"{span} {block.look}></TD>')
        rows.append(f"<TR>{''.join(cells)}</TR>")
    size = f'FIXEDSIZE="TRUE" WIDTH="{sum(widths)}" HEIGHT="{sum(heights)}"'
    return (
        f'<TABLE {size} BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="0">'
        f"{''.join(rows)}</TABLE>"
    )


def _body(look: str) -> str:
    leads = [_Block(0, 1, 1, 1, _INK), _Block(2, 1, 1, 1, _INK)]
    return _grid([8, 24, 8], [4, 1, 4], [*leads, _Block(1, 0, 1, 3, look)])


def _diode(*, turned: bool) -> str:
    steps = range(6)
    slices = [_Block(7 - i if turned else i + 1, i, 1, 13 - 2 * i, _INK) for i in steps]
    bar = _Block(1 if turned else 7, 0, 1, 13, _INK)
    leads = [_Block(0, 6, 1, 1, _INK), _Block(8, 6, 1, 1, _INK)]
    return _grid([13, *[2] * 7, 13], [1] * 13, [*slices, bar, *leads])


_CAPACITOR = _grid(
    [17, 2, 4, 2, 17],
    [7, 1, 7],
    [
        _Block(0, 1, 1, 1, _INK),
        _Block(4, 1, 1, 1, _INK),
        _Block(1, 0, 1, 3, _INK),
        _Block(3, 0, 1, 3, _INK),
    ],
)
#: A diode that conducts from left to right (anode left), and one the other way round.
DIODE, DIODE_TURNED = _diode(turned=False), _diode(turned=True)
#: Ground, its wire coming from the left.
GROUND = _grid(
    [7, 1, 2, 1, 2, 1],
    [3, 3, 2, 1, 2, 3, 3],
    [
        _Block(0, 3, 1, 1, _INK),
        _Block(1, 0, 1, 7, _INK),
        _Block(3, 1, 1, 5, _INK),
        _Block(5, 2, 1, 3, _INK),
    ],
)

_SYMBOLS = {
    Kind.RESISTOR: _body(_OPEN),
    Kind.THERMISTOR: _body(_OPEN),
    Kind.VARISTOR: _body(_OPEN),
    Kind.FUSE: _grid(
        [8, 24, 8],
        [4, 1, 4],
        [
            _Block(0, 1, 3, 1, _INK),
            _Block(1, 0, 1, 1, 'BORDER="1" SIDES="LTR"'),
            _Block(1, 2, 1, 1, 'BORDER="1" SIDES="LBR"'),
        ],
    ),
    Kind.INDUCTOR: _body(_INK),
    Kind.FERRITE: _body(_GREY),
    Kind.CAPACITOR: _CAPACITOR,
}


def symbol_for(kind: Kind) -> str | None:
    """Return the symbol of a two-terminal part of a kind; None: draw a box with words."""
    return _SYMBOLS.get(kind)
