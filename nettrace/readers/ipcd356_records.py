"""Test records of IPC-D-356, read a column at a time: all lines at once, not line by line.

A board has few pad forms, nets and pin numbers, so each distinct text of a group of columns is
checked against the table and understood once, and most of the work per record is looking up. What
is done to a whole column runs without a step of the interpreter per record. A line that does not
fit in one column is set aside before the next column is looked at.

Writers fill their lines to one width. Such lines are cut as bytes, all columns in one go.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from itertools import compress
from operator import itemgetter, length_hint
from struct import Struct
from typing import Any

import msgspec

from nettrace.errors import Place
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder
from nettrace.readers.ipcd356_columns import WIDTH, pattern_of
from nettrace.readers.ipcd356_header import Header
from nettrace.readers.ipcd356_lines import Lines
from nettrace.readers.ipcd356_parts import PadForm, Pads

__all__ = ["RecordReader"]

UNPLATED = "367"
BURIED = "307"
#: Surface features: a pad, a tooling feature. All other records have a hole.
SURFACE = frozenset({"327", "337"})
UNCONNECTED = frozenset({"", "N/C"})

# The groups of columns that are looked up as one text, and what fits there: where they begin, and
# all of them as bytes.
NET, PIN, REFDES = (
    pattern_of("net", "blank"), pattern_of("pin", "midpoint"), pattern_of("refdes", "dash"),
)  # fmt: skip
FORM = pattern_of(
    "code", "hole", "plating", "access", "width", "height", "rotation", "soldermask", "rest"
)
PLACE = pattern_of("x", "y")
FORM_CUTS = itemgetter(slice(3), slice(32, 41), slice(57, None))
CUTS = [itemgetter(slice(*ends)) for ends in ((41, 57), (3, 20), (27, 32), (20, 27))]
FORM_BYTES, BYTES = "3s 29x 9s 16x", "3x 17s 7s 5s 9x 16s"
LEAST = 57  # columns before the pad's width
TAIL = WIDTH - LEAST  # and from there to its soldermask
X_CUT, Y_CUT = itemgetter(slice(1, 8)), itemgetter(slice(9, 16))  # of a place

#: What places look like whose numbers are signed and filled with zeros, as most files have them.
FILLED_PLACE = b"X+000000Y+000000"
_TO_FILLED = bytes.maketrans(b"123456789-", b"000000000+")
# Such places are numbers of a JSON list once the sign is made a digit, and to read that list takes
# a fifth of the time that so many calls of int() take.
_TO_NUMBERS = bytes.maketrans(b"XY+-", b",,12")
PLUS, MINUS = 1_000_000, 2_000_000
_read_numbers = msgspec.json.Decoder(list[int]).decode

_MISFIT = object()  # what a text means that the table does not allow
_new_place: Callable[..., Place] = tuple.__new__


def _pin(text: str) -> str:
    """Columns 28-32."""
    return text[:4].strip()


def _text(cut: str | bytes) -> str:
    return cut if isinstance(cut, str) else cut.decode("ascii")


def _cut(text: str, width: int) -> list[Sequence[Any]]:
    """Return the texts of all lines, column by column: form, place, net, pin, reference.

    They are bytes where the lines are of one width, else str.
    """
    if width >= LEAST and text.isascii():
        filled, tail = f"{text}\n".encode("ascii"), width - LEAST
        forms = [*Struct(f"{FORM_BYTES} {tail}s x").iter_unpack(filled)]
        rest = Struct(f"{BYTES} {tail + 1}x").iter_unpack(filled)
        net, refdes, pin, place = zip(*rest, strict=True)
        return [forms, place, net, pin, refdes]
    lines = text.split("\n")
    return [[*map(FORM_CUTS, lines)], *[[*map(cut, lines)] for cut in CUTS]]


def _joined(texts: Sequence[str | bytes]) -> bytes:
    if texts and isinstance(texts[0], bytes):
        return b"".join(texts)  # type: ignore[arg-type] # all of them are
    return "".join(map(_text, texts)).encode("ascii", "replace")


class _Known(dict[str | bytes, Any]):
    """What each text means; a text met for the first time is understood, or is a misfit."""

    __slots__ = ("fits", "misfits", "understand")

    def __init__(self, pattern: re.Pattern[str], understand: Callable[[str], Any]) -> None:
        self.fits = pattern.fullmatch
        self.understand = understand
        self.misfits = False

    def __missing__(self, cut: str | bytes) -> Any:
        text = cut if isinstance(cut, str) else cut.decode("ascii")
        if self.fits(text):
            meaning = self[cut] = self.understand(text)
            return meaning
        self.misfits = True
        self[cut] = _MISFIT
        return _MISFIT


class _KnownForms(dict[tuple[str | bytes, ...], Any]):
    """The same for the columns of a form: the code, the hole with its access, and the tail."""

    __slots__ = ("misfits", "understand")

    def __init__(self, understand: Callable[..., PadForm]) -> None:
        self.understand = understand
        self.misfits = False

    def __missing__(self, cuts: tuple[str | bytes, ...]) -> Any:
        code, hole, tail = map(_text, cuts)
        found = FORM.fullmatch(code + hole + tail.ljust(TAIL))
        if found is None:
            self.misfits = True
            meaning: object = _MISFIT
        else:
            meaning = self.understand(*found.groups())
        self[cuts] = meaning
        return meaning


class RecordReader:
    """Reads the test records among the lines given into the builder.

    Attributes:
        aside: the lines that are no test record, by number.
        pads: all records, as pads and their owners.
        unlike: places of forms whose code and hole disagree.
        without_access: places of forms without an access code.
        bottom_codes: the layers beyond the first, each with its first place.
    """

    def __init__(self, lines: Lines, header: Header, builder: BoardBuilder) -> None:
        self._stretches = lines.records_to_end()
        self._text = ""
        self._lines: list[str] | None = None  # those of the text, if a line was set aside
        self._numbers: Sequence[int] = ()
        self._columns: list[Sequence[Any]] = []  # of these lines: as cut, then as understood
        self._walk: Iterator[Any] = iter(())
        self._names = header.names
        self._unit = header.unit
        self._builder = builder
        self._path = builder.path
        self.aside: dict[int, str] = {}
        self.pads = Pads()
        self.unlike: list[Place] = []
        self.without_access: list[Place] = []
        self.bottom_codes: dict[int, Place] = {}

    def read(self) -> None:
        """Read all; the order of the columns decides what is known of a line that has a misfit."""
        forms = _KnownForms(self._form)
        nets, pins = _Known(NET, self._net), _Known(PIN, _pin)
        owners = _Known(REFDES, self._owner)
        for text, numbers, width in self._stretches:
            self._text, self._lines, self._numbers = text, None, numbers
            self._columns = _cut(text, width)
            self._look_up(0, forms)
            self._measure_places()
            self._look_up(2, nets)
            self._look_up(3, pins)
            self._look_up(4, owners)
            form, x, net, pin, owner, y = self._columns
            self.pads.add(owner, (pin, net, x, y, form, self._numbers))

    def _here(self, column: int) -> Place:
        """Return that column of the line that is being looked up."""
        number = self._numbers[-1 - length_hint(self._walk)]
        return _new_place(Place, (self._path, number, column))

    def _look_up(self, index: int, known: _Known | _KnownForms) -> None:
        """Put what the texts of a column mean in their place."""
        self._walk = iter(self._columns[index])
        column = self._columns[index] = [*map(known.__getitem__, self._walk)]
        if known.misfits:
            self._set_aside([meaning is not _MISFIT for meaning in column])

    def _measure_places(self) -> None:
        """Put x, mm, in the place of the texts, and y behind all columns."""
        texts = self._columns[1]
        numerator, denominator = float(self._unit.numerator), float(self._unit.denominator)
        joined = _joined(texts)
        if joined.translate(_TO_FILLED) == FILLED_PLACE * len(texts):
            counts = _read_numbers(b"[%b]" % joined.translate(_TO_NUMBERS)[1:])
            if b"-" in joined:
                counts = [count - PLUS if count < MINUS else MINUS - count for count in counts]
                lengths = [count * numerator / denominator for count in counts]
            else:
                lengths = [(count - PLUS) * numerator / denominator for count in counts]
            self._columns[1] = lengths[::2]
            self._columns.append(lengths[1::2])
            return
        self._set_aside([PLACE.fullmatch(_text(text)) is not None for text in texts])
        texts = [*map(_text, self._columns[1])]
        del self._columns[1]
        for index, cut in ((1, X_CUT), (len(self._columns) + 1, Y_CUT)):
            # blanks may stand between the sign and the number
            counts = [int(cut(text).replace(" ", "")) for text in texts]
            self._columns.insert(index, [count * numerator / denominator for count in counts])

    def _set_aside(self, fits: list[bool]) -> None:
        misfits = [not fit for fit in fits]
        lines = self._text.split("\n") if self._lines is None else self._lines
        self.aside.update(
            zip(compress(self._numbers, misfits), compress(lines, misfits), strict=True)
        )
        self._lines = [*compress(lines, fits)]
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

    def _owner(self, text: str) -> int:
        """Columns 21-27."""
        ids = self.pads.ids
        return ids.setdefault(text[:6].strip(), len(ids))

    def _form(
        self,
        code: str,
        hole: str | None,
        access: str | None,
        width_text: str | None,
        height_text: str | None,
        turn: str | None,
    ) -> PadForm:
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
        self.pads.has_unplated |= code == UNPLATED
        side = Side.BOTH if code == BURIED else self._side(access)
        return PadForm(side, shape, width, height, angle, drill, code != UNPLATED)

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
