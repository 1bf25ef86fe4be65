"""Physical lines of a SPICE text -> complete ones: comments gone, continuations joined."""

from __future__ import annotations

import re

__all__ = ["Line", "complete_lines", "with_plain_ends"]

#: (number of the file, line number, text without surrounding blanks)
Line = tuple[int, int, str]

#: `; ...` ends a line, but not inside a value (`100uF;16V`); `// ...` and `$ ...` after a blank.
_TAIL = re.compile(r"(?:^|\s);.*|;(?=\s|$).*|\s//.*|[\s,]\$(?=\s|$).*")
#: `$text` is a comment too, unless the deck has nodes of that shape ($N_0001).
_DOLLAR_TAIL = re.compile(r"(?<=\s)\$\S.*")
_DOLLAR_NODE = re.compile(r"(?m)^[ \t]*[A-Za-z]\S*[ \t]+(?:\S+[ \t]+)?\$[\w]")


def with_plain_ends(text: str) -> str:
    """Return the text with every line end a single newline."""
    if "\r" in text:
        return text.replace("\r\n", "\n").replace("\r", "\n")
    return text


def complete_lines(text: str, file: int, *, skip_title: bool) -> tuple[list[Line], int]:
    r"""Return the lines that say something, and the number of the first stray `+` line (or 0).

    `*` begins a comment line, blanks before it or not; `+` continues the last line that was no
    comment. Source: ngspice user manual, section 2.3; `// ` as in ngspice.

    >>> complete_lines("title\nR1 a b ; why\n* note\n+ 10k\n", 0, skip_title=True)
    ([(0, 2, 'R1 a b 10k')], 0)
    """
    physical = text.split("\n")
    has_tails = ";" in text or "$" in text or "//" in text
    dollar_comments = "$" in text and not _DOLLAR_NODE.search(text)
    complete: list[Line] = []
    more: dict[int, list[str]] = {}  # index of a line -> its continuations
    stray = 0
    if skip_title:
        physical[0] = ""
    for number, raw in enumerate(physical, 1):
        line = raw.strip()
        if not line or line[0] == "*":
            continue
        if has_tails and (";" in line or "$" in line or "//" in line):
            line = _TAIL.sub("", line, count=1).rstrip()
            if dollar_comments:
                line = _DOLLAR_TAIL.sub("", line).rstrip()
            if not line:
                continue
        if line[0] != "+":
            complete.append((file, number, line))
        elif complete:
            more.setdefault(len(complete) - 1, []).append(line[1:].strip())
        elif not stray:
            stray = number
    for index, pieces in more.items():
        begun = complete[index]
        complete[index] = (file, begun[1], " ".join((begun[2], *pieces)).strip())
    return complete, stray
