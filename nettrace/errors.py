"""Errors and warnings as data; the text a user sees is made here and nowhere else."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple


class ExitCode(IntEnum):
    """Exit codes of the command line."""

    DONE = 0
    DIFFERENCES = 1
    USAGE = 2
    NOTHING = 3
    UNREADABLE = 4
    JOB = 5


class Place(NamedTuple):
    """Where a fact stands in a source; line and column count from 1, 0 means not known."""

    path: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        line = f":{self.line}" if self.line else ""
        return f"{self.path}{line}" + (f":{self.column}" if line and self.column else "")


@dataclass(frozen=True, slots=True)
class Warning:  # noqa: A001 - the word of JSON and docs; the built-in is not used in this package
    """Something read, but with care: `code` is stable, `message` is for people."""

    code: str
    message: str
    place: Place | None = None

    def __str__(self) -> str:
        at = f" ({self.place})" if self.place else ""
        return f"warning: {self.code}: {self.message}{at}"


def reason(error: OSError) -> str:
    """Return why the system refuses, in its own words: `no such file or directory`."""
    return (error.strerror or str(error)).lower()


#: A message quotes a longer text by its two ends.
MOST_QUOTED = 400


class NettraceError(Exception):
    """Anything that a user can mend; its class decides the exit code.

    Args:
        found: what was found, in the user's words.
        expected: what was expected instead, "" where it goes without saying.
        hint: what to do next, a whole sentence or "".
        place: where, if in a file.
        excerpt: the offending line with a marker below it, "" if none.
    """

    exit_code: ExitCode = ExitCode.UNREADABLE

    def __init__(
        self,
        found: str,
        *,
        expected: str = "",
        hint: str = "",
        place: Place | None = None,
        excerpt: str = "",
    ) -> None:
        self.found = found
        self.expected = expected
        self.hint = hint
        self.place = place
        self.excerpt = excerpt
        super().__init__(str(self))

    def __str__(self) -> str:
        what = self.found
        if len(what) > MOST_QUOTED:
            what = f"{what[: MOST_QUOTED * 2 // 3]}…{what[-MOST_QUOTED // 3 :]}"
        if self.expected:
            what += f" where {self.expected} was expected"
        if not what.endswith((".", "?")):
            what += "."
        where = f"{self.place}: " if self.place else ""
        hint = f" {self.hint}" if self.hint else ""
        shown = f"\n{self.excerpt}" if self.excerpt else ""
        return f"error: {where}{what}{hint}{shown}"


class BadInput(NettraceError):
    """An input cannot be read (exit 4)."""

    exit_code = ExitCode.UNREADABLE


class WrongUsage(NettraceError):
    """The command's words are off (exit 2)."""

    exit_code = ExitCode.USAGE


class NothingMatches(NettraceError):
    """A name or place matches nothing (exit 3)."""

    exit_code = ExitCode.NOTHING


class JobUnusable(NettraceError):
    """A job file is locked, damaged or newer than this program (exit 5)."""

    exit_code = ExitCode.JOB


#: How much of an over-long line an excerpt shows to each side of the marked column.
EXCERPT_REACH = 40


def excerpt(text: str, line: int, column: int, length: int = 1) -> str:
    r"""Return the line with a marker below the column.

    A tab counts as one column and is shown as one blank; long lines are cut around the column.

    >>> print(excerpt("ab\n(node (pn 12))\n", 2, 8, 2))
       2 | (node (pn 12))
         |        ^^
    """
    start = 0
    for _ in range(line - 1):
        start = text.find("\n", start) + 1
        if start == 0:
            return ""
    end = text.find("\n", start)
    end = len(text) if end < 0 else end
    first = max(start, start + column - 1 - EXCERPT_REACH)
    last = min(end, start + column - 1 + EXCERPT_REACH)
    shown = "".join(c if c.isprintable() else " " for c in text[first:last].rstrip("\r"))
    lead, tail = ("…" if first > start else ""), ("…" if last < end else "")
    offset = start + column - 1 - first + len(lead)
    number = f"{line:4d}"
    marker = " " * offset + "^" * max(1, min(length, len(shown) - offset + len(lead)))
    return f"{number} | {lead}{shown}{tail}\n{' ' * len(number)} | {marker}"
