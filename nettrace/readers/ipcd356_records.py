"""Test records of IPC-D-356, read a column at a time: all lines at once, not line by line.

A board has few pad forms, nets and pin numbers, so each distinct text of a group of columns is
checked against the table and understood once, and most of the work per record is looking up. What
is done to a whole column runs without a step of the interpreter per record. A line that does not
fit in one column is set aside before the next column is looked at.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from itertools import compress, repeat
from operator import call, itemgetter, length_hint
from typing import Any, NamedTuple

import msgspec

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
UNCONNECTED = frozenset({"", "N/C"})

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
# Such places are numbers of a JSON list once the sign is made a digit, and to read that list takes
# a fifth of the time that so many calls of int() take.
_TO_NUMBERS = str.maketrans("XY+-\n", ",,12 ")
PLUS, MINUS = 1_000_000, 2_000_000
_read_numbers = msgspec.json.Decoder(list[int]).decode

_MISFIT = object()  # what a text means that the table does not allow
_new_place: Callable[..., Place] = tuple.__new__


def _pin(text: str) -> str:
    """Columns 28-32."""
    return text[:4].strip()


class _Form(NamedTuple):
    side: Side
    shape: str | None
    width: float | None
    height: float | None
    angle: float
    drill: float | None
    contact: bool


class _Known(dict[str, Any]):
    """What each text means; a text met for the first time is understood, or is a misfit."""

    __slots__ = ("fits", "misfits", "understand")

    def __init__(self, pattern: re.Pattern[str], understand: Callable[[str], Any]) -> None:
        self.fits = pattern.fullmatch
        self.understand = understand
        self.misfits = False

    def __missing__(self, text: str) -> Any:
        if self.fits(text) is None:
            self.misfits = True
            meaning = _MISFIT
        else:
            meaning = self.understand(text)
        self[text] = meaning
        return meaning


class _KnownForms(dict[tuple[str, str, str], Any]):
    """The same for the columns of a form: the code, the hole with its access, and the tail."""

    __slots__ = ("misfits", "understand")

    def __init__(self, understand: Callable[..., _Form]) -> None:
        self.understand = understand
        self.misfits = False

    def __missing__(self, texts: tuple[str, str, str]) -> Any:
        code, hole, tail = texts
        found = FORM.fullmatch(code + hole + tail.ljust(TAIL))
        if found is None:
            self.misfits = True
            meaning: object = _MISFIT
        else:
            meaning = self.understand(*found.groups())
        self[texts] = meaning
        return meaning


class RecordReader:
    """Reads the test records among the lines given into the builder.

    Attributes:
        aside: the lines that are no test record, by number.
        parts: the parts by reference.
        unlike: places of forms whose code and hole disagree.
        without_access: places of forms without an access code.
        bottom_codes: the layers beyond the first, each with its first place.
    """

    def __init__(self, lines: Lines, header: Header, builder: BoardBuilder) -> None:
        self._stretches = lines.records_to_end()
        self._lines: list[str] = []
        self._numbers: Sequence[int] = ()
        self._names = header.names
        self._unit = header.unit
        self._builder = builder
        self._path = builder.path
        self._columns: list[list[Any]] = []
        self._walk: Iterator[str] = iter(())
        self._via_rows: list[PadRecord] = []
        self.aside: dict[int, str] = {}
        self.parts: dict[str, PartDraft] = {}
        self.unlike: list[Place] = []
        self.without_access: list[Place] = []
        self.bottom_codes: dict[int, Place] = {}

    def read(self) -> None:
        """Read all; the order of the columns decides what is known of a line that has a misfit."""
        forms = _KnownForms(self._form)
        nets, pins = _Known(NET, self._net), _Known(PIN, _pin)
        parts = _Known(REFDES, self._part)
        for lines, numbers in self._stretches:
            self._lines, self._numbers, self._columns = lines, numbers, []
            self._look_up(FORM_CUTS, forms)
            self._measure_places()
            self._look_up(NET_CUT, nets)
            self._look_up(PIN_CUT, pins)
            self._look_up(REFDES_CUT, parts)
            self._add()
        self._builder.via_records = len(self._builder.vias)

    def _add(self) -> None:
        """Add what the columns hold, which are forms, nets, pins and parts."""
        forms, xs, ys, nets, pins, adders = self._columns
        places = map(_new_place, repeat(Place), zip(repeat(self._path), self._numbers, repeat(1)))
        rows = [
            (
                pin, net, x, y, side, shape, width, height, angle, drill,
                contact or net is not None, place,
            )
            for (side, shape, width, height, angle, drill, contact), x, y, net, pin, place in zip(
                forms, xs, ys, nets, pins, places, strict=True
            )
        ]  # fmt: skip
        deque(map(call, adders, rows), maxlen=0)
        self._builder.pad_records += len(rows) - len(self._via_rows)
        if self._via_rows:
            columns = [*zip(*self._via_rows, strict=True)]
            via_columns = (columns[index] for index in (2, 3, 1, 6, 9))  # as Via has them
            self._builder.vias += map(Via, *via_columns)
            self._via_rows.clear()

    def _here(self, column: int) -> Place:
        """Return that column of the line that is being looked up."""
        number = self._numbers[-1 - length_hint(self._walk)]
        return _new_place(Place, (self._path, number, column))

    def _look_up(self, cut: Callable[[str], Any], known: _Known | _KnownForms) -> None:
        """Add the column of what the text cut from each line means."""
        self._walk = iter(self._lines)
        column = [*map(known.__getitem__, map(cut, self._walk))]
        self._columns.append(column)
        if known.misfits:
            self._set_aside([meaning is not _MISFIT for meaning in column])

    def _measure_places(self) -> None:
        """Add the columns X and Y, mm."""
        texts = [*map(PLACE_CUT, self._lines)]
        joined = "\n".join([*texts, ""])
        numerator, denominator = float(self._unit.numerator), float(self._unit.denominator)
        if joined.isascii() and joined.translate(_TO_FILLED) == FILLED_PLACE * len(texts):
            counts = _read_numbers(f"[{joined.translate(_TO_NUMBERS)[1:]}]")
            lengths = [
                (count - PLUS if count < MINUS else MINUS - count) * numerator / denominator
                for count in counts
            ]
            self._columns += lengths[::2], lengths[1::2]
            return
        self._set_aside([PLACE.fullmatch(text) is not None for text in texts])
        for cut in (X_CUT, Y_CUT):  # blanks may stand between the sign and the number
            counts = [int(cut(line).replace(" ", "")) for line in self._lines]
            self._columns.append([count * numerator / denominator for count in counts])

    def _set_aside(self, fits: list[bool]) -> None:
        misfits = [not fit for fit in fits]
        self.aside.update(
            zip(compress(self._numbers, misfits), compress(self._lines, misfits), strict=True)
        )
        self._lines = [*compress(self._lines, fits)]
        self._numbers = [*compress(self._numbers, fits)]
        self._columns = [[*compress(column, fits)] for column in self._columns]

    # what a text in the columns means; each distinct text is met once

    def _net(self, text: str) -> str | None:
        """Columns 4-20."""
        short = text.strip()
        if short in UNCONNECTED:
            return None
        named = self._names.get(short)
        if named is None:
            self._builder.net(short, place=self._here(4))
            return short
        name, line = named
        place = Place(self._path, line, 1) if line else self._here(4)
        self._builder.net(name, place=place, aliases=(short,))
        return name

    def _part(self, text: str) -> Callable[[PadRecord], None]:
        """Columns 21-27: what adds a pad to the part, or a via to the vias."""
        refdes = text[:6].strip()
        if refdes == VIA:
            return self._via_rows.append
        part = self.parts.get(refdes)
        if part is None:
            part = self.parts[refdes] = self._builder.part(refdes, self._here(21))
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
            self.unlike.append(self._here(1))
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
            self.without_access.append(self._here(39))
            return Side.BOTH
        layer = int(access)
        if layer < 2:
            return Side.TOP if layer else Side.BOTH
        self.bottom_codes.setdefault(layer, self._here(39))
        return Side.BOTTOM
