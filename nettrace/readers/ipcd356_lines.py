"""The lines of an IPC-D-356 file, sorted by their first character into records and others."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

__all__ = ["Lines"]

END = "999"


@dataclass(frozen=True, slots=True)
class Lines:
    """All lines, and which of them may be test records; numbers count from 1.

    `records` are the lines that begin with 3, with `numbers`; `others` are the numbers of all
    other lines; `end` is the number of the first 999 record, 0 where there is none.
    """

    all: list[str]
    records: list[str]
    numbers: Sequence[int]
    others: list[int]
    end: int

    @classmethod
    def of(cls, text: str) -> Lines:
        """Cut the text; line ends are CR, LF or both."""
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        lines = text.split("\n")
        others = [number for number, line in enumerate(lines, 1) if not "3" <= line < "4"]
        runs = [
            range(before + 1, after)
            for before, after in pairwise([0, *others, len(lines) + 1])
            if after - before > 1
        ]
        if len(runs) == 1:
            numbers: Sequence[int] = runs[0]
            records = lines[runs[0].start - 1 : runs[0].stop - 1]
        else:
            numbers, records = [], []
            for run in runs:
                numbers += run
                records += lines[run.start - 1 : run.stop - 1]
        end = next((number for number in others if lines[number - 1].startswith(END)), 0)
        return cls(lines, records, numbers, others, end)

    def records_to_end(self) -> tuple[list[str], Sequence[int]]:
        """Return the records before the 999 record, and their numbers."""
        if not self.end or not self.records or self.numbers[-1] < self.end:
            return self.records, self.numbers
        count = bisect(self.numbers, self.end)
        return self.records[:count], self.numbers[:count]

    def others_to_end(self) -> list[int]:
        """Return the numbers of the other lines before the 999 record."""
        return self.others[: self.others.index(self.end)] if self.end else self.others
