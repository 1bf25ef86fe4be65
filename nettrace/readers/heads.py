"""What the head of a file looks like in each format: where it is one, whatever the file's name.

A deck is any text whose second line on looks like one, whatever its title; a table is any text
with a row of headings, one of them for references.
"""

from __future__ import annotations

import re
from collections.abc import Callable

#: Rows from the top in which a table's headings are looked for.
MOST_ROWS_ABOVE = 16

_RULE = re.compile(r"[ \t\r_=-]*")
_ALIGNED = r"(?im)^#[ \t]*ref[ \t]+(?:\w+[ \t]+){1,4}?posx[ \t]+posy\b"
_TEST_RECORD = (
    r"(?i)P +(?:UNITS|JOB|VER|CODE|IMAGE|TITLE|NUM|REV|NNAME|DIM|ARRAYDIM|TOL)"
    r"|3[0-6]7[^\n]{14} {3}[^\n]{6}[- ][^\n]{4}[M ][D ]"
)
_DOT_LINE = (
    r"(?i)\.(?:subckt|model|ends|control|options?|params?|tran|ac|dc|op|inc(?:l|lude)?|lib"
    r"|save|plot|print|temp|global|end)(?!\S)"
)
#: A passive with a number: R1 a b 10k.
_PASSIVE = (
    r"(?i)[RCL][^\s,;]{1,40}[ \t]+[^\s,;]+[ \t]+[^\s,;]+[ \t]+[{'+-]?\.?[0-9][^\s,]*"
    r"(?:[ \t]+[^\s,=]+)?(?:[ \t]+(?:[;$/]|[^\s,=]+=).*)?[ \t\r]*$"
)


def begins(pattern: str) -> Callable[[str], bool]:
    """Return a test for texts that begin so; it is compiled when first used."""
    return lambda head: re.match(pattern, head) is not None


def is_test_file(head: str) -> bool:
    """Return whether the head is that of IPC-D-356: parameters or records, after any comments."""
    comments = 0
    for line in head.split("\n"):
        line = line.lstrip()  # noqa: PLW2901
        if line[:2].upper() in {"C", "C ", "C\t", "C\r"}:
            comments += 1
            if comments >= 8 or (comments == 1 and re.match(r"(?i)C[ \t].*IPC-?D-?356", line)):
                return True
        elif line:
            return re.match(_TEST_RECORD, line) is not None
    return False


def is_sheet(head: str) -> bool:
    """Return whether the first line that is no remark begins with the word `sheet`."""
    for line in head.split("\n"):
        line = line.lstrip()  # noqa: PLW2901
        if line and line[0] != "#":
            return re.match(r"(?i)sheet\b", line) is not None
    return False


def is_deck(head: str) -> bool:
    """Return whether lines below the title are a deck's: a dot line, or a passive with a number.

    Lines that may stand in a deck come before it: elements, continuations, remarks, blank ones.
    """
    has_passive = False
    for line in head.split("\n")[1:]:
        line = line.lstrip(" \t")  # noqa: PLW2901
        if line[:1] == "." and re.match(_DOT_LINE, line):
            return True
        has_passive = has_passive or (
            line[:1].upper() in {"R", "C", "L"} and re.match(_PASSIVE, line) is not None
        )
        if line not in {"", "\r"} and not re.match(r"[*+.;$/A-Za-z]", line):
            break
    return has_passive and not _has_heading_row(head)


def is_table(head: str) -> bool:
    """Return whether a row of the head heads references."""
    text = head.removeprefix("\ufeff").lstrip()
    if text[:1] in {"", "[", "{", "<", "("}:
        return False
    cells = _cells(text.partition("\n")[0])
    first = cells[0] or (cells[1] if len(cells) > 1 else "")
    return (
        _heads_references(first)
        or _has_heading_row(head)
        or bool(re.search(_ALIGNED, "\n".join(head.split("\n")[: MOST_ROWS_ABOVE + 1])))
    )


def _has_heading_row(head: str) -> bool:
    """Return whether near the top a row with a reference column stands above another row.

    A rule of dashes may stand between.
    """
    lines = head.split("\n")
    for index, line in enumerate(lines[:MOST_ROWS_ABOVE]):
        below = next((row for row in lines[index + 1 :] if not _RULE.fullmatch(row)), "")
        parted = any(separator in line and separator in below for separator in ",;\t")
        if parted and any(map(_heads_references, _cells(line))):
            return True
    return False


def _cells(line: str) -> list[str]:
    return re.split(r"[,;\t]", line.rstrip("\r"))


def _heads_references(cell: str) -> bool:
    """Return whether a cell heads references: `part` only where no blank shows it in a sentence."""
    from nettrace.readers.csv_cells import PERHAPS_RANK, Column, column_of  # tables alone need it

    column, rank = column_of(cell) or (None, 0)
    if column is not Column.REFERENCE:
        return False
    plain = cell.strip('"').lower().rstrip("se")
    return rank < PERHAPS_RANK or plain in {"part", "component", "bauteil"}
