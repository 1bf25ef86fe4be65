"""The lines of an IPC-D-356 file, sorted by their first character into records and others.

A large file is cut into lines a stretch at a time, and cut again when they are wanted again: lines
that were just cut are at hand for the processor, and a list of all of them would be larger than
the file. Writers fill their lines to one width, and such a stretch need not be cut to look into a
column.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

__all__ = ["Lines", "Records", "is_blank"]

END = "999"
#: A stretch has about so many characters, of up to 80 in a line: what it is cut into stays near.
STRETCH = 25_000


def is_blank(line: str) -> bool:
    """Return whether nothing stands in the line (some systems end a file with 1A)."""
    return not line.strip(" \t\x1a\f")


def _width_of(text: str, count: int) -> int:
    """Return how wide the lines of the text are, 0 where they differ."""
    width = text.find("\n") if count > 1 else len(text)
    even = len(text) == (width + 1) * count - 1
    return width if even and text[width :: width + 1] == "\n" * (count - 1) else 0


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some whole lines: where their text starts and stops, and the first's number.

    `others` are the numbers of those that do not begin with 3; `width` is how wide the lines are,
    0 where they differ; `count` is how many there are.
    """

    start: int
    stop: int
    first: int
    count: int
    width: int
    others: list[int]


class Records(NamedTuple):
    """Test records: their text, their numbers, and how wide all are (0 where they differ)."""

    text: str
    numbers: Sequence[int]
    width: int


@dataclass(slots=True)
class Lines:
    """All lines of a text; numbers count from 1.

    `others` are the lines that do not begin with 3 (no test record does not), by number; `count`
    is how many lines there are; `end` is the number of the first 999 record, 0 where there is none,
    and `after_end` are the numbers of the lines after it that are not blank.
    """

    text: str
    count: int = 0
    end: int = 0
    after_end: list[int] = field(default_factory=list)
    others: dict[int, str] = field(default_factory=dict)
    stretches: list[Stretch] = field(default_factory=list)

    @classmethod
    def of(cls, text: str) -> Lines:
        """Cut the text; line ends are CR, LF or both."""
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        found = cls(text)
        start = 0
        while start <= len(text):
            stop = text.find("\n", start + STRETCH)
            stop = len(text) if stop < 0 else stop
            found._survey(start, stop)
            start = stop + 1
        return found

    def _survey(self, start: int, stop: int) -> None:
        text, first = self.text[start:stop], self.count + 1
        count = text.count("\n") + 1
        width = _width_of(text, count)
        self.count += count
        if width and text[:: width + 1] == "3" * count and not self.end:
            self.stretches.append(Stretch(start, stop, first, count, width, []))
            return
        lines = text.split("\n")
        others = {n: line for n, line in enumerate(lines, first) if not "3" <= line < "4"}
        self.stretches.append(Stretch(start, stop, first, count, width, [*others]))
        self.others.update(others)
        if not self.end:
            self.end = next((n for n, line in others.items() if line.startswith(END)), 0)
        if self.end:
            self.after_end += [
                number
                for number, line in enumerate(lines, first)
                if number > self.end and not is_blank(line)
            ]

    def records(self) -> Iterator[Records]:
        """Yield the lines that begin with 3, a stretch at a time."""
        for stretch in self.stretches:
            text, first, count = (
                self.text[stretch.start : stretch.stop],
                stretch.first,
                stretch.count,
            )
            numbers: Sequence[int] = range(first, first + count)
            if not stretch.others:
                yield Records(text, numbers, stretch.width)
                continue
            others = {*stretch.others}
            numbers = [number for number in numbers if number not in others]
            if numbers:
                yield _records_of(text, [number - first for number in numbers], numbers)

    def records_to_end(self) -> Iterator[Records]:
        """Yield the same of the lines before the 999 record."""
        for records in self.records():
            if self.end and records.numbers[-1] > self.end:
                kept = [number for number in records.numbers if number < self.end]
                if kept:
                    yield _records_of(records.text, range(len(kept)), kept)
                return
            yield records


def _records_of(text: str, indexes: Iterable[int], numbers: list[int]) -> Records:
    """Return some lines of a text."""
    lines = text.split("\n")
    kept = "\n".join([lines[index] for index in indexes])
    return Records(kept, numbers, _width_of(kept, len(numbers)))
