"""Reads IPC-D-356 and 356A, the bare-board test file: pads with places and nets, no values.

A record is a test point of one pin. All records of one reference are one part (the file cuts
references to six columns, so parts may meet in one name); records without a reference are the pads
of one part without one. A part has no place in this format: its place here is the mean of its pad
centres, its side that of its surface pads where they agree.
"""

from __future__ import annotations

import gc
import math

from nettrace.errors import BadInput, Place, excerpt
from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder, PartDraft
from nettrace.model.making import make_via
from nettrace.readers.document import Document
from nettrace.readers.ipcd356_columns import TEST_RECORD, WIDTH, find_fault
from nettrace.readers.ipcd356_header import Header, read_header
from nettrace.readers.ipcd356_paths import OutlineReader

__all__ = ["read"]

#: Faulty records that get a warning of their own; the rest are counted.
MOST_FAULTS = 20
#: Where one record in this many is faulty, the file is not read at all.
FAULTY_SHARE = 4
UNPLATED = "367"
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
        self.unlike: list[int] = []  # lines whose code and hole disagree
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
        """Read every record. The loop is the fast path: one match, then lookups."""
        match = TEST_RECORD.match
        path = self.document.path
        numerator, denominator = self.header.unit.numerator, self.header.unit.denominator
        texts: dict[str, str] = {}  # padded column -> text
        nets: dict[str, str | None] = {}  # padded column -> net
        adders: dict[str, PartDraft | None] = {}  # padded column -> part, None for a via
        sides: dict[str | None, Side] = {"00": Side.BOTH, "01": Side.TOP}
        shapes: dict[tuple[str | None, str | None], tuple[str | None, float | None, float | None]]
        shapes = {}
        drills: dict[str | None, float | None] = {None: None}
        angles: dict[str | None, float] = {None: 0.0}
        vias, via_records, pad_records = self.builder.vias, 0, 0
        for number, line in enumerate(self.lines, 1):
            found = match(line if len(line) >= WIDTH else line.ljust(WIDTH))
            if found is None:
                if line[:1] in {"C", "P", "", " ", "\x1a"} and self._is_remark(line):
                    continue
                if line.startswith(END):
                    self.end_line = number
                    break
                self._read_other(line, number)
                continue
            code, net_text, refdes_text, pin_text, hole, access, xs, ys, w, h, r = found.groups()
            try:
                x = int(xs) * numerator / denominator
                y = int(ys) * numerator / denominator
            except ValueError:  # a sign with blanks after it
                x = int(xs.replace(" ", "")) * numerator / denominator
                y = int(ys.replace(" ", "")) * numerator / denominator
            try:
                net = nets[net_text]
            except KeyError:
                net = nets[net_text] = self._net(net_text.strip(), number)
            try:
                drill = drills[hole]
            except KeyError:
                drill = drills[hole] = self._length(hole)
            try:
                shape, width, height = shapes[w, h]
            except KeyError:
                shape, width, height = shapes[w, h] = self._shape(w, h)
            if (hole is None) is not (code in SURFACE):
                self.unlike.append(number)
            try:
                part = adders[refdes_text]
            except KeyError:
                part = adders[refdes_text] = self._part(refdes_text.strip(), number)
            if part is None:
                via_records += 1
                vias.append(make_via(x, y, net, width, drill))
                continue
            pad_records += 1
            try:
                side = sides[access]
            except KeyError:
                side = sides[access] = self._side(access, number)
            try:
                angle = angles[r]
            except KeyError:
                angle = angles[r] = self._angle(r)
            try:
                pin = texts[pin_text]
            except KeyError:
                pin = texts[pin_text] = pin_text.strip()
            part.pads.append(
                (
                    pin, net, x, y, side, shape, width, height, angle, drill,
                    code != UNPLATED or net is not None, Place(path, number, 1),
                )
            )  # fmt: skip
        self.builder.pad_records, self.builder.via_records = pad_records, via_records

    # what a text in the columns means; each distinct text is met once

    def _net(self, text: str, number: int) -> str | None:
        if text in self.nets:
            return self.nets[text]
        place = Place(self.document.path, number, 4)
        name, alias_line = self.header.names.get(text, (text, 0))
        if alias_line:
            place = Place(self.document.path, alias_line, 1)
        self.builder.net(name, place=place, aliases=(text,))
        self.nets[text] = name
        return name

    def _part(self, refdes: str, number: int) -> PartDraft | None:
        if refdes == VIA:
            return None
        part = self.parts.get(refdes)
        if part is None:
            part = self.builder.part(refdes, Place(self.document.path, number, 21))
            self.parts[refdes] = part
        return part

    def _length(self, text: str | None) -> float | None:
        if text is None or text.isspace():
            return None
        return self.header.unit.millimetres(int(text))

    def _shape(
        self, width_text: str | None, height_text: str | None
    ) -> tuple[str | None, float | None, float | None]:
        width, height = self._length(width_text), self._length(height_text)
        if not width:
            return None, None, None
        return ("rect", width, height) if height else ("circle", width, width)

    def _angle(self, text: str | None) -> float:
        if text is None or text.isspace() or not self.header.unit.degrees:
            return 0.0
        return float(int(text))

    def _side(self, access: str | None, number: int) -> Side:
        """Return the side; a layer beyond the first is the bottom, whatever its number.

        A test point can be reached from outside alone, so the layer count need not be known.
        """
        place = Place(self.document.path, number, 39)
        if access is None:
            self.builder.warn("no-side", "no access code; taken as both sides", place)
            return Side.BOTH
        layer = int(access)
        if layer < 2:
            return Side.TOP if layer else Side.BOTH
        for other, line in self.bottom_codes.items():
            self.builder.warn(
                "two-bottoms",
                f"access code {layer} here and {other} in line {line}: only one can be the "
                "bottom; both are taken as it",
                place,
            )
        self.bottom_codes[layer] = number
        return Side.BOTTOM

    # records that are no test records

    def _is_remark(self, line: str) -> bool:
        """Return whether the line is a comment, a parameter (read before) or blank."""
        return line[1:3].isspace() or not line.strip(" \t\x1a\f") or line in {"C", "P"}

    def _read_other(self, line: str, number: int) -> None:
        code = line[:3]
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
                f"{len(self.unlike)} records: a surface pad (327) with a hole, "
                "or a hole (317, 367) without one",
                Place(path, self.unlike[0], 1),
            )
        for what, (count, first) in self.skipped.items():
            self.builder.warn("not-kept", f"{count} {what} are not kept", Place(path, first, 1))
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
                    f"{len(after)} lines stand after the 999 record; they are not read",
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
            count = len(part.pads)
            if not count:
                continue
            if refdes:
                part.x = math.fsum(pad[2] for pad in part.pads) / count
                part.y = math.fsum(pad[3] for pad in part.pads) / count
            sides = {pad[4] for pad in part.pads} - {Side.BOTH}
            if len(sides) == 1:
                part.side = sides.pop()
            self._warn_of_met_pins(refdes, part)
        self.builder.part_records = sum(1 for refdes in self.parts if refdes)

    def _warn_of_met_pins(self, refdes: str, part: PartDraft) -> None:
        on_nets = {(pad[0], pad[1]) for pad in part.pads if pad[0] and pad[1]}
        numbers = {number for number, _ in on_nets}
        if not refdes or len(numbers) == len(on_nets):
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
