"""A second reader of IPC-D-356 records for tests: slices and plain rules, no table, no cache.

Written from the column list that four open tools agree on (see docs/formats.md), apart from the
reader under test. It reads nothing but test records.
"""

from __future__ import annotations

from typing import NamedTuple

CODES = {"307", "317", "327", "337", "347", "367"}


class Record(NamedTuple):
    """A test record, numbers as counts."""

    net: str
    refdes: str
    pin: str
    x: int
    y: int
    access: str


def plain_record(line: str) -> Record | None:
    """Return the record, or None where any column holds what does not belong there."""
    text = line.ljust(80)
    if text[:3] not in CODES or any(ord(letter) < 32 or ord(letter) == 127 for letter in text):
        return None
    if text[17:20] != "   " or text[26] not in "- " or text[31] not in "M ":
        return None
    hole = text[32:37]
    if hole.strip() and not (hole[0] == "D" and (not hole[1:].strip() or _counts(hole[1:]))):
        return None
    if text[37] not in "PU ":
        return None
    access = text[38:41]
    if access.strip() and not (access[0] == "A" and _counts(access[1:])):
        return None
    x, y = _place("X", text[41:49]), _place("Y", text[49:57])
    if x is None or y is None:
        return None
    for letter, field in (("X", text[57:62]), ("Y", text[62:67]), ("R", text[67:71])):
        if field.strip() and not (
            field[0] == letter and (not field[1:].strip() or _counts(field[1:]))
        ):
            return None
    mask = text[71:74]
    if mask.strip() and not (
        mask.strip()[0] == "S" and mask.strip()[1:] in {"", "0", "1", "2", "3"}
    ):
        return None
    if mask.strip() and len(mask.strip()) == 1 and mask[2] == "S":
        return None  # the digit would stand beyond its column
    return Record(
        text[3:17].strip(), text[20:26].strip(), text[27:31].strip(), x, y, access.strip()
    )


def _counts(field: str) -> bool:
    """Blanks, then digits to the end of the field."""
    digits = field.lstrip(" ")
    return bool(digits) and digits.isascii() and digits.isdigit()


def _place(letter: str, field: str) -> int | None:
    """A letter, then seven columns: a sign or blank, and a right-justified number."""
    if field[0] != letter:
        return None
    number = field[1:]
    if number[0] not in "+- ":
        return None
    signs = number.count("+") + number.count("-")
    body = number.replace(" ", "")
    digits = body.lstrip("+-")
    if signs > 1 or not (digits.isascii() and digits.isdigit()) or len(body) - len(digits) != signs:
        return None
    if number.rstrip(" ") != number or " " in number[number.index(digits[0]) :]:
        return None
    return int(body)
