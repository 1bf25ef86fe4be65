"""The lines of an IPC-D-356 file, sorted by their first character into records and others.

A large file is cut into lines a stretch at a time, and cut again when they are wanted again: lines
that were just cut are at hand for the processor, and a list of all of them would be larger than
the file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

__all__ = ["Lines", "Stretch", "is_blank"]

END = "999"
#: A stretch has about so many characters, of up to 80 in a line.
STRETCH = 200_000


def is_blank(line: str) -> bool:
    """Return whether nothing stands in the line (some systems end a file with 1A)."""
    return not line.strip(" \t\x1a\f")


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some whole lines: where their text starts and stops, the first's number, all others' too."""

    start: int
    stop: int
    first: int
    others: list[int]


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
        lines = self.text[start:stop].split("\n")
        first = self.count + 1
        others = {n: line for n, line in enumerate(lines, first) if not "3" <= line < "4"}
        self.stretches.append(Stretch(start, stop, first, [*others]))
        self.others.update(others)
        self.count += len(lines)
        if not self.end:
            self.end = next((n for n, line in others.items() if line.startswith(END)), 0)
        if self.end:
            self.after_end += [
                number
                for number, line in enumerate(lines, first)
                if number > self.end and not is_blank(line)
            ]

    def records(self) -> Iterator[tuple[list[str], Sequence[int]]]:
        """Yield the lines that begin with 3, a stretch at a time, and their numbers."""
        for stretch in self.stretches:
            first = stretch.first
            lines = self.text[stretch.start : stretch.stop].split("\n")
            after = first + len(lines)
            runs = [
                range(before + 1, other)
                for before, other in pairwise([first - 1, *stretch.others, after])
                if other - before > 1
            ]
            if len(runs) == 1:
                run = runs[0]
                yield lines[run.start - first : run.stop - first], run
            elif runs:
                numbers = [number for run in runs for number in run]
                yield [lines[number - first] for number in numbers], numbers

    def records_to_end(self) -> Iterator[tuple[list[str], Sequence[int]]]:
        """Yield the same of the lines before the 999 record."""
        for lines, numbers in self.records():
            if self.end and numbers[-1] > self.end:
                kept = [number for number in numbers if number < self.end]
                if kept:
                    yield lines[: len(kept)], kept
                return
            yield lines, numbers
