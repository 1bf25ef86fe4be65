"""Test records of IPC-D-356, read a column at a time: all lines at once, not line by line.

A board has few pad forms, nets and pin numbers, so each distinct text of a group of columns is
checked against the table and understood once, and most of the work per record is looking up. What
is done to a whole column runs without a step of the interpreter per record. A line that does not
fit in one column is set aside before the next column is looked at.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterator
from itertools import compress, repeat
from operator import call, itemgetter, length_hint, not_
from typing import Any, NamedTuple

from nettrace.errors import Place
from nettrace.model.board import Side, Via
from nettrace.model.builder import BoardBuilder, PadRecord, PartDraft
from nettrace.readers.ipcd356_columns import WIDTH, pattern_of
from nettrace.readers.ipcd356_header import Header
from nettrace.readers.ipcd356_lines import Lines

__all__ = ["RecordReader"]

UNPLATED = "367"
BURIED = "307"
#: Surface features: a pad, a tooling feature. All other records have a hole.
SURFACE = frozenset({"327", "337"})
VIA = "VIA"
NOT_CONNECTED = "N/C"

# The groups of columns that are looked up as one text: where they are cut, and what fits there.
FORM_CUTS = itemgetter(slice(3), slice(32, 41), slice(57, None))
FORM = pattern_of(
    "code", "hole", "plating", "access", "width", "height", "rotation", "soldermask", "rest"
)
TAIL = WIDTH - 57  # columns from the pad's width to its soldermask
PLACE_CUT, X_CUT, Y_CUT = (
    itemgetter(slice(41, 57)),
    itemgetter(slice(42, 49)),
    itemgetter(slice(50, 57)),
)
PLACE = pattern_of("x", "y")
NET_CUT, NET = itemgetter(slice(3, 20)), pattern_of("net", "blank")
PIN_CUT, PIN = itemgetter(slice(27, 32)), pattern_of("pin", "midpoint")
REFDES_CUT, REFDES = itemgetter(slice(20, 27)), pattern_of("refdes", "dash")

#: What places look like whose numbers are signed and filled with zeros, as most files have them.
FILLED_PLACE = "X+000000Y+000000\n"
_TO_FILLED = str.maketrans("123456789-", "000000000+")

_MISFIT = object()  # what a text means that the table does not allow
_new_place: Callable[..., Place] = tuple.__new__


class _Form(NamedTuple):
    side: Side
    shape: str | None
    width: float | None
    height: float | None
    angle: float
    drill: float | None
    contact: bool


class _Known(dict[Any, Any]):
    """What each text means; a text met for the first time is understood, or is a misfit."""

    __slots__ = ("misfits", "pattern", "understand")

    def __init__(self, pattern: re.Pattern[str], understand: Callable[..., Any]) -> None:
        self.pattern = pattern
        self.understand = understand
        self.misfits = False

    def __missing__(self, text: str | tuple[str, str, str]) -> Any:
        whole = text if isinstance(text, str) else text[0] + text[1] + text[2].ljust(TAIL)
        found = self.pattern.fullmatch(whole)
        if found is None:
            self.misfits = True
            meaning = _MISFIT
        else:
            meaning = self.understand(*found.groups())
        self[text] = meaning
        return meaning


class RecordReader:
    """Reads the test records among the lines given into the builder.

    Attributes:
        aside: numbers of the lines that are no test record, ascending once all are read.
        parts: the parts by reference.
        unlike: lines of forms whose code and hole disagree.
        without_access: lines of forms without an access code.
        bottom_codes: the layers beyond the first, each with its first line.
    """

    def __init__(self, lines: Lines, header: Header, builder: BoardBuilder) -> None:
        self._lines, self._numbers = lines.records_to_end()
        self._names = header.names
        self._unit = header.unit
        self._builder = builder
        self._path = builder.path
        self._columns: list[list[Any]] = []
        self._walk: Iterator[str] = iter(())
        self._nets: dict[str, str | None] = {"": None, NOT_CONNECTED: None}
        self._via_rows: list[PadRecord] = []
        self.aside: list[int] = []
        self.parts: dict[str, PartDraft] = {}
        self.unlike: list[int] = []
        self.without_access: list[int] = []
        self.bottom_codes: dict[int, int] = {}

    def read(self) -> None:
        """Read all; the order of the columns decides what is known of a line that has a misfit."""
        self._look_up(FORM_CUTS, _Known(FORM, self._form))
        self._check_places()
        self._look_up(NET_CUT, _Known(NET, self._net))
        self._look_up(PIN_CUT, _Known(PIN, str.strip))
        self._look_up(REFDES_CUT, _Known(REFDES, self._part))
        self.aside.sort()
        xs, ys = self._counts(X_CUT), self._counts(Y_CUT)
        forms, nets, pins, adders = self._columns
        numerator, denominator = float(self._unit.numerator), float(self._unit.denominator)
        places = map(_new_place, repeat(Place), zip(repeat(self._path), self._numbers, repeat(1)))
        rows = [
            (
                pin, net, x * numerator / denominator, y * numerator / denominator,
                side, shape, width, height, angle, drill, contact or net is not None, place,
            )
            for pin, net, x, y, (side, shape, width, height, angle, drill, contact), place in zip(
                pins, nets, xs, ys, forms, places, strict=True
            )
        ]  # fmt: skip
        deque(map(call, adders, rows), maxlen=0)
        if self._via_rows:
            columns = [*zip(*self._via_rows, strict=True)]
            via_columns = (columns[index] for index in (2, 3, 1, 6, 9))  # as Via has them
            self._builder.vias += map(Via, *via_columns)
        self._builder.via_records = len(self._via_rows)
        self._builder.pad_records = len(rows) - len(self._via_rows)

    @property
    def _number(self) -> int:
        """The number of the line that is being looked up."""
        return self._numbers[len(self._lines) - length_hint(self._walk) - 1]

    def _look_up(self, cut: Callable[[str], Any], known: _Known) -> None:
        """Add the column of what the text cut from each line means."""
        self._walk = iter(self._lines)
        column = list(map(known.__getitem__, map(cut, self._walk)))
        self._columns.append(column)
        if known.misfits:
            self._set_aside([meaning is not _MISFIT for meaning in column])

    def _check_places(self) -> None:
        """Set aside the lines whose X and Y columns do not fit."""
        texts = [*map(PLACE_CUT, self._lines)]
        joined = "\n".join([*texts, ""])
        if not joined.isascii() or joined.translate(_TO_FILLED) != FILLED_PLACE * len(texts):
            self._set_aside([PLACE.fullmatch(text) is not None for text in texts])

    def _counts(self, cut: Callable[[str], str]) -> list[int]:
        """Return the column of numbers; the text cut is known to be one."""
        try:
            return [*map(int, map(cut, self._lines))]
        except ValueError:  # blanks between the sign and the number
            return [int(cut(line).replace(" ", "")) for line in self._lines]

    def _set_aside(self, fits: list[bool]) -> None:
        self.aside += compress(self._numbers, map(not_, fits))
        self._lines = [*compress(self._lines, fits)]
        self._numbers = [*compress(self._numbers, fits)]
        self._columns = [[*compress(column, fits)] for column in self._columns]

    # what a text in the columns means; each distinct text is met once

    def _net(self, text: str) -> str | None:
        """Columns 4-20."""
        short = text.strip()
        if short in self._nets:
            return self._nets[short]
        place = Place(self._path, self._number, 4)
        name, alias_line = self._names.get(short, (short, 0))
        if alias_line:
            place = Place(self._path, alias_line, 1)
        self._builder.net(name, place=place, aliases=() if name == short else (short,))
        self._nets[short] = name
        return name

    def _part(self, text: str) -> Callable[[PadRecord], None]:
        """Columns 21-27: what adds a pad to the part, or a via to the vias."""
        refdes = text.strip()
        if refdes == VIA:
            return self._via_rows.append
        part = self.parts.get(refdes)
        if part is None:
            part = self._builder.part(refdes, Place(self._path, self._number, 21))
            self.parts[refdes] = part
        return part.pads.append

    def _form(
        self,
        code: str,
        hole: str | None,
        access: str | None,
        width_text: str | None,
        height_text: str | None,
        turn: str | None,
    ) -> _Form:
        """Columns 1-3, 33-41 and 58 to the end: the pad's own form."""
        if (hole is None) is not (code in SURFACE):
            self.unlike.append(self._number)
        width, height = self._length(width_text), self._length(height_text)
        shape: str | None = "rect"
        if not width:
            shape = width = height = None
        elif not height:
            shape, height = "circle", width
        angle = float(turn) if turn and not turn.isspace() and self._unit.degrees else 0.0
        drill = self._length(hole) or None  # D0000: a hole whose size is not told
        side = Side.BOTH if code == BURIED else self._side(access)
        return _Form(side, shape, width, height, angle, drill, code != UNPLATED)

    def _length(self, text: str | None) -> float | None:
        if text is None or text.isspace():
            return None
        return self._unit.millimetres(int(text))

    def _side(self, access: str | None) -> Side:
        """Return the side; a layer beyond the first is the bottom, whatever its number.

        A test point can be reached from outside alone, so the layer count need not be known.
        """
        if access is None:
            self.without_access.append(self._number)
            return Side.BOTH
        layer = int(access)
        if layer < 2:
            return Side.TOP if layer else Side.BOTH
        self.bottom_codes.setdefault(layer, self._number)
        return Side.BOTTOM
