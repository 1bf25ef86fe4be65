"""A board's parts as a comma-separated list, with their places where the board has places.

One row per part, in natural order; what stands in the parts' properties comes last, a column for
each name. Pins and nets have no form here.
"""

from __future__ import annotations

import csv
import io
import re

from nettrace.model.board import Board, Part

_PLACES = ("X (mm)", "Y (mm)", "Rotation", "Side")
_HEADINGS = ("Reference", "Value", "Package", "Description", "DNP")
#: Names of properties that would stand for a part's own fields, were they headings.
_TAKEN_WORDS = """
ref refs reference references designator value val package footprint case description dnp fitted
qty quantity x y posx posy rot rotation angle side layer net pin comment
"""
_TAKEN = frozenset(_TAKEN_WORDS.split())
#: A cell that a spreadsheet would run as a formula. `+5V` and `-12V` are values, and harmless:
#: without an operator, a call or a link a sign starts nothing.
_FORMULA = re.compile(r"[=@\t\r]|[+-].*[^\w. ]", re.DOTALL)


def write(board: Board) -> str:
    """Return the parts list as CSV text (RFC 4180, but for line ends).

    A text that a spreadsheet would take for a formula gets an apostrophe before it.

    A part without refdes cannot be listed and is left out.
    """
    parts = [part for part in board.parts if part.refdes]
    has_places = any(part.x is not None for part in parts)
    names = dict.fromkeys(
        name for part in parts for name in part.properties if name.casefold() not in _TAKEN
    )
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*_HEADINGS, *(_PLACES if has_places else ()), *map(_as_text, names)])
    for part in parts:
        texts = (part.refdes, part.value or "", part.package or "", part.description or "")
        fitted = "" if part.fitted is None else "no" if part.fitted else "DNP"
        properties = [_as_text(part.properties.get(name, "")) for name in names]
        places = _place(part) if has_places else ()
        writer.writerow([*map(_as_text, texts), fitted, *places, *properties])
    return out.getvalue()


def _as_text(cell: str) -> str:
    if "\r" in cell:  # csv quotes a cell with the line end it writes, and not with this one
        cell = cell.replace("\r\n", "\n").replace("\r", "\n")
    return f"'{cell}" if _FORMULA.match(cell) else cell


def _place(part: Part) -> list[str]:
    numbers = (part.x, part.y, part.angle)
    side = "" if part.side is None else part.side.value
    return [*("" if number is None else f"{round(number, 6):g}" for number in numbers), side]
