"""Reads IPC-D-356 and 356A, the bare-board test file: pads with places and nets, no values.

A record is a test point of one pin. All records of one reference are one part (the file cuts
references to six columns, so parts may meet in one name); records without a reference are the pads
of one part without one. A part has no place in this format: its place here is the mean of its pad
centres, its side that of its surface pads where they agree.
"""

from __future__ import annotations

import gc
import math
import re
from collections.abc import Callable
from typing import Any, NamedTuple

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.board import Board, Side, Via
from nettrace.model.builder import BoardBuilder, PadRecord, PartDraft
from nettrace.readers.document import Document
from nettrace.readers.ipcd356_columns import WIDTH, find_fault, pattern_of
from nettrace.readers.ipcd356_header import Header, read_header
from nettrace.readers.ipcd356_paths import OutlineReader

__all__ = ["read"]

#: Faulty records that get a warning of their own; the rest are counted.
MOST_FAULTS = 20
#: Where one record in this many is faulty, the file is not read at all.
FAULTY_SHARE = 4
UNPLATED = "367"
BURIED = "307"
#: Surface features: a pad, a tooling feature. All other records have a hole.
SURFACE = frozenset({"327", "337"})
VIA = "VIA"
NOT_CONNECTED = "N/C"
END = "999"
#: Records that are understood and not kept: tracks and neighbouring nets.
NOT_KEPT = {
    "378": "conductor records (tracks)",
    "078": "conductor records (tracks)",
    "379": "adjacency records (neighbouring nets)",
    "079": "adjacency records (neighbouring nets)",
}

# The groups of columns that are looked up as one text.
NET = pattern_of("net", "blank")
REFDES = pattern_of("refdes", "dash")
PIN = pattern_of("pin", "midpoint")
PLACE = pattern_of("x", "y")
PLACE_START = 41
FORM = pattern_of(
    "code", "hole", "plating", "access", "width", "height", "rotation", "soldermask", "rest"
)

TAIL = WIDTH - 57  # columns from the pad's width to its soldermask

_new_place: Callable[..., Place] = tuple.__new__


def read(document: Document) -> Board:
    """Read the file into a Board.

    Raises:
        BadInput: an unknown unit, no test record at all, or too many that do not fit the columns.
    """
    was_enabled = gc.isenabled()
    gc.disable()  # many small objects, none cyclic: collection only costs here
    try:
        return _Reader(document).read()
    finally:
        if was_enabled:
            gc.enable()


class _Misfit(Exception):
    """The columns do not hold what the table says."""


class _Known(dict[str, Any]):
    """What each text means; a text met for the first time is understood, or is a _Misfit."""

    __slots__ = ("pattern", "understand")

    def __init__(self, pattern: re.Pattern[str], understand: Callable[..., Any]) -> None:
        self.pattern = pattern
        self.understand = understand

    def __missing__(self, text: str) -> Any:
        found = self.pattern.fullmatch(text)
        if found is None:
            raise _Misfit
        meaning = self[text] = self.understand(*found.groups())
        return meaning


class _Form(NamedTuple):
    side: Side
    shape: str | None
    width: float | None
    height: float | None
    angle: float
    drill: float | None
    contact: bool


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document = document
        text = document.text
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        self.lines = text.split("\n")
        self.builder = BoardBuilder(document.path, "ipc-d-356")
        self.builder.digest = document.digest
        self.header: Header = read_header(document, self.lines, self.builder)
        self.outline = OutlineReader(self.header.unit, self.builder)
        self.parts: dict[str, PartDraft] = {}
        self.nets: dict[str, str | None] = {"": None, NOT_CONNECTED: None}
        self.bottom_codes: dict[int, int] = {}  # layer -> first line
        self.unlike: list[int] = []  # lines of forms whose code and hole disagree
        self.without_access: list[int] = []  # lines of forms without an access code
        self.number = 0  # of the line being read
        self.skipped: dict[str, tuple[int, int]] = {}  # what -> (how many, first line)
        self.faults: list[int] = []  # lines
        self.end_line = 0

    def read(self) -> Board:
        builder = self.builder
        builder.name = self.header.job
        builder.version = f"{self.header.version}, {self.header.unit.name}"
        self._read_lines()
        builder.outline = self.outline.finish()
        self._report()
        self._finish_parts()
        return builder.build()

    def _read_lines(self) -> None:
        """Read every record.

        A record is cut at the columns, and each distinct text of a group of columns is checked
        against the table and understood once (see `_Known`): a board has few pad forms, nets and
        pin numbers, so most of the work per record is looking up.
        """
        path = self.document.path
        nets, parts = _Known(NET, self._net), _Known(REFDES, self._part)
        pins, forms = _Known(PIN, str.strip), _Known(FORM, self._form)
        place_of = PLACE.match
        numerator, denominator = self.header.unit.numerator, self.header.unit.denominator
        add_via, via_records, pad_records = self.builder.vias.append, 0, 0
        for number, line in enumerate(self.lines, 1):
            self.number = number
            try:
                side, shape, width, height, angle, drill, contact = forms[
                    line[:3] + line[32:41] + line[57:].ljust(TAIL)
                ]
                found = place_of(line, PLACE_START)
                if found is None:
                    raise _Misfit
                x_text, y_text = found.groups()
                net, pin, add = nets[line[3:20]], pins[line[27:32]], parts[line[20:27]]
            except _Misfit:
                if line.startswith(END):
                    self.end_line = number
                    break
                self._read_other(line, number)
                continue
            try:
                x_count, y_count = int(x_text), int(y_text)
            except ValueError:  # blanks between the sign and the number
                x_count, y_count = (int(text.replace(" ", "")) for text in (x_text, y_text))
            x, y = x_count * numerator / denominator, y_count * numerator / denominator
            if add is None:
                via_records += 1
                add_via(Via(x, y, net, width, drill))
                continue
            pad_records += 1
            add(
                (
                    pin, net, x, y, side, shape, width, height, angle, drill,
                    contact or net is not None, _new_place(Place, (path, number, 1)),
                )
            )  # fmt: skip
        self.builder.pad_records, self.builder.via_records = pad_records, via_records

    # what a text in the columns means; each distinct text is met once

    def _net(self, text: str) -> str | None:
        """Columns 4-20."""
        short = text.strip()
        if short in self.nets:
            return self.nets[short]
        place = Place(self.document.path, self.number, 4)
        name, alias_line = self.header.names.get(short, (short, 0))
        if alias_line:
            place = Place(self.document.path, alias_line, 1)
        self.builder.net(name, place=place, aliases=(short,))
        self.nets[short] = name
        return name

    def _part(self, text: str) -> Callable[[PadRecord], None] | None:
        """Columns 21-27: what adds a pad to the part; None for a via."""
        refdes = text.strip()
        if refdes == VIA:
            return None
        part = self.parts.get(refdes)
        if part is None:
            part = self.builder.part(refdes, Place(self.document.path, self.number, 21))
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
            self.unlike.append(self.number)
        width, height = self._length(width_text), self._length(height_text)
        shape: str | None = "rect"
        if not width:
            shape = width = height = None
        elif not height:
            shape, height = "circle", width
        angle = float(turn) if turn and not turn.isspace() and self.header.unit.degrees else 0.0
        drill = self._length(hole) or None  # D0000: a hole whose size is not told
        side = Side.BOTH if code == BURIED else self._side(access)
        return _Form(side, shape, width, height, angle, drill, code != UNPLATED)

    def _length(self, text: str | None) -> float | None:
        if text is None or text.isspace():
            return None
        return self.header.unit.millimetres(int(text))

    def _side(self, access: str | None) -> Side:
        """Return the side; a layer beyond the first is the bottom, whatever its number.

        A test point can be reached from outside alone, so the layer count need not be known.
        """
        if access is None:
            self.without_access.append(self.number)
            return Side.BOTH
        layer = int(access)
        if layer < 2:
            return Side.TOP if layer else Side.BOTH
        self.bottom_codes.setdefault(layer, self.number)
        return Side.BOTTOM

    # records that are no test records

    def _is_remark(self, line: str) -> bool:
        """Return whether the line is a comment, a parameter (read before) or blank."""
        return line[1:2].isspace() or not line.strip(" \t\x1a\f") or line in {"C", "P"}

    def _read_other(self, line: str, number: int) -> None:
        code = line[:3]
        if code[:1] in {"C", "P", "", " ", "\t", "\x1a", "\f"} and self._is_remark(line):
            return
        if code == "389":
            self.outline.start(line, number)
        elif code == "089":
            self.outline.go_on(line, number)
        elif code in NOT_KEPT:
            self._skip(NOT_KEPT[code], number)
        elif code[:1] == "0" and code[2:] == "7" and find_fault("3" + line[1:]) is None:
            self._skip("continuations of test records (a pad's second shape)", number)
        else:
            self.faults.append(number)

    def _skip(self, what: str, number: int) -> None:
        count, first = self.skipped.get(what, (0, number))
        self.skipped[what] = (count + 1, first)

    # what is left to say

    def _report(self) -> None:
        path = self.document.path
        records = self.builder.pad_records + self.builder.via_records
        if self.faults and len(self.faults) * FAULTY_SHARE > records:
            raise self._refusal(records)
        if not records:
            raise BadInput(
                "no test record",
                expected="lines that begin with 317 or 327",
                hint="Is the file whole?",
                place=Place(path, len(self.lines), 1),
            )
        for number in self.faults[:MOST_FAULTS]:
            column, found, wanted = self._fault(number)
            self.builder.warn(
                "record-skipped",
                f"{found} where {wanted} was expected; the record is not read",
                Place(path, number, column),
            )
        if len(self.faults) > MOST_FAULTS:
            self.builder.warn(
                "record-skipped",
                f"{len(self.faults) - MOST_FAULTS} more records do not fit the columns",
                Place(path, self.faults[MOST_FAULTS], 1),
            )
        if self.unlike:
            self.builder.warn(
                "code-and-hole-disagree",
                "a surface pad (327) with a hole, or a hole (317, 367) without one",
                Place(path, self.unlike[0], 1),
            )
        for number in self.without_access[:1]:
            self.builder.warn(
                "no-side",
                "records without an access code are taken as reached from both sides",
                Place(path, number, 39),
            )
        if len(self.bottom_codes) > 1:
            codes = ", ".join(
                f"{layer:02d} (line {line})" for layer, line in self.bottom_codes.items()
            )
            self.builder.warn(
                "two-bottoms",
                f"access codes {codes}: only one can be the bottom; all are taken as it",
                Place(path, list(self.bottom_codes.values())[1], 39),
            )
        for what, (count, first) in self.skipped.items():
            self.builder.warn(
                "not-kept", f"not kept: {what}, {count} in all", Place(path, first, 1)
            )
        last = len(self.lines)
        if not self.end_line:
            self.builder.warn(
                "cut-off", "no 999 record at the end: the file may be cut off", Place(path, last)
            )
        else:
            after = [
                number
                for number, line in enumerate(self.lines[self.end_line :], self.end_line + 1)
                if line.strip(" \t\x1a\f")
            ]
            if after:
                self.builder.warn(
                    "after-the-end",
                    f"the file goes on after the 999 record; not read: {len(after)} lines",
                    Place(path, after[0], 1),
                )

    def _fault(self, number: int) -> tuple[int, str, str]:
        line = self.lines[number - 1]
        fault = find_fault(line)
        if fault is None:  # the columns fit, but the operation code is none of a test record
            return 1, repr(line[:3]), "an operation code"
        column, text, field = fault
        shown = repr(text) if text.strip() else "nothing" if len(line) < field.first else "blanks"
        columns = f"column {field.first}" if field.first == field.last else (
            f"columns {field.first}-{field.last}"
        )  # fmt: skip
        return column, shown, f"{field.meaning} ({columns})"

    def _refusal(self, records: int) -> BadInput:
        number = self.faults[0]
        column, found, wanted = self._fault(number)
        total = records + len(self.faults)
        return BadInput(
            found,
            expected=wanted,
            hint=f"{len(self.faults)} of {total} records do not fit the columns: "
            "is this file IPC-D-356, and whole?",
            place=Place(self.document.path, number, column),
            excerpt=excerpt("\n".join(self.lines[:number]), number, column),
        )

    def _finish_parts(self) -> None:
        """Give each part the mean of its pads as place, and its side; say where names met."""
        for refdes, part in self.parts.items():
            if not part.pads:
                continue
            numbers, _, xs, ys, sides, *_ = zip(*part.pads, strict=True)
            if refdes:
                part.x = math.fsum(xs) / len(xs)
                part.y = math.fsum(ys) / len(ys)
            surfaces = {*sides} - {Side.BOTH}
            if len(surfaces) == 1:
                part.side = surfaces.pop()
            if refdes and len({*numbers}) < len(numbers):
                self._warn_of_met_pins(refdes, part)
        self.builder.part_records = sum(1 for refdes in self.parts if refdes)

    def _warn_of_met_pins(self, refdes: str, part: PartDraft) -> None:
        on_nets = {(pad[0], pad[1]) for pad in part.pads if pad[0] and pad[1]}
        numbers = {number for number, _ in on_nets}
        if len(numbers) == len(on_nets):
            return
        for number in sorted(numbers):
            nets = sorted(net for other, net in on_nets if other == number and net)
            if len(nets) > 1:
                place = next(pad[11] for pad in part.pads if pad[0] == number)
                self.builder.warn(
                    "pin-on-several-nets",
                    f"{refdes}.{number} is on {', '.join(nets)}: the format cuts names, so these "
                    "are kept as pins of their own",
                    place,
                )
