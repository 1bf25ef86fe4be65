"""Reads IPC-D-356 and 356A, the bare-board test file: pads with places and nets, no values.

A record is a test point of one pin. All records of one reference are one part (the file cuts
references to six columns, so parts may meet in one name); records without a reference are the pads
of one part without one.
"""

from __future__ import annotations

from nettrace.collector import collector_off
from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.ipcd356_columns import find_fault
from nettrace.readers.ipcd356_header import Header, read_header
from nettrace.readers.ipcd356_lines import Lines, is_blank
from nettrace.readers.ipcd356_paths import OutlineReader
from nettrace.readers.ipcd356_records import RecordReader
from nettrace.readers.ipcd356_report import LeftOver, report

__all__ = ["read"]

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
    with collector_off():
        return _Reader(document).read()


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.lines = Lines.of(document.text)
        self.builder = BoardBuilder(document.path, "ipc-d-356")
        self.builder.digest = document.digest
        self.header: Header = read_header(document, self.lines, self.builder)
        self.outline = OutlineReader(self.header.unit, self.builder)
        self.records = RecordReader(self.lines, self.header, self.builder)
        self.left = LeftOver()

    def read(self) -> Board:
        builder = self.builder
        builder.name = self.header.job
        builder.version = f"{self.header.version}, {self.header.unit.name}"
        self.records.read()
        self._read_others()
        builder.outline = self.outline.finish()
        report(self.lines, self.records, self.left, builder)
        self.records.pads.finish(builder)
        return builder.build()

    # records that are no test records

    def _is_remark(self, line: str) -> bool:
        """Return whether the line is a comment, a parameter (read before) or blank."""
        return line[1:2].isspace() or is_blank(line) or line in {"C", "P"}

    def _read_others(self) -> None:
        """Read the lines up to the end that are no test record, in their order."""
        lines = self.lines.others | self.records.aside
        for number in sorted(lines):
            if number == self.lines.end:
                break
            self._read_other(lines[number], number)

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
            self.left.faults[number] = line

    def _skip(self, what: str, number: int) -> None:
        count, first = self.left.skipped.get(what, (0, number))
        self.left.skipped[what] = (count + 1, first)
