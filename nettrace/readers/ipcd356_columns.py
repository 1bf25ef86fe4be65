"""The fixed columns of an IPC-D-356/356A test record, described once, and what does not fit them.

Source: IPC-D-356A as four independent open readers and writers agree on it (docs/formats.md).
"""

from __future__ import annotations

import re
from typing import NamedTuple


class Column(NamedTuple):
    """One field: where it stands (columns count from 1), what fits there, what it means."""

    field: str
    first: int
    last: int
    pattern: str  # one group at most: the text that is kept
    meaning: str


def _right_justified(digits: int) -> str:
    """Return a pattern for a number of that many columns, blanks or zeros before it."""
    return "|".join(" " * k + f"[0-9]{{{digits - k}}}" for k in range(digits))


_TEXT = r"[^\x00-\x1f\x7f]"
_SIZE = _right_justified(4)
# signed and zero-filled, or blanks before the number, the sign at either end of the blanks
_PLACE = "|".join(
    ["[+-][0-9]{6}"]
    + [" " * k + f"[0-9+-][0-9]{{{6 - k}}}" for k in range(1, 6)]
    + [f"[+-]{' ' * k}[0-9]{{{6 - k}}}" for k in range(1, 6)]
    + [" {6}[0-9]"]
)

#: The table. A record is these fields one after the other, padded with blanks.
COLUMNS = (
    Column("code", 1, 3, "(3[012346]7)", "operation code"),
    Column("net", 4, 17, f"({_TEXT}{{14}})", "net name, 14 columns; N/C or blank: not connected"),
    Column("blank", 18, 20, "   ", "three blanks"),
    Column("refdes", 21, 26, f"({_TEXT}{{6}})", "reference, 6 columns; VIA for a via"),
    Column("dash", 27, 27, "[- ]", "'-' or a blank"),
    Column("pin", 28, 31, f"({_TEXT}{{4}})", "pin number, 4 columns"),
    Column("midpoint", 32, 32, "[M ]", "'M' in the middle of a net, else blank"),
    Column("hole", 33, 37, f"(?:D({_SIZE}|    )|     )", "'D' and the hole's diameter, or blanks"),
    Column("plating", 38, 38, "[PU ]", "'P' plated, 'U' not, or a blank"),
    Column(
        "access", 39, 41, "(?:A([0-9]{2}| [0-9])|   )", "'A' and 00 (both), 01 (top) or a layer"
    ),
    Column("x", 42, 49, f"X({_PLACE})", "'X', a sign or blank, and six digits"),
    Column("y", 50, 57, f"Y({_PLACE})", "'Y', a sign or blank, and six digits"),
    Column("width", 58, 62, f"(?:X({_SIZE}|    )|     )", "'X' and the pad's width, or blanks"),
    Column("height", 63, 67, f"(?:Y({_SIZE}|    )|     )", "'Y' and the pad's height, or blanks"),
    Column("rotation", 68, 71, f"(?:R({_right_justified(3)}|   )|    )", "'R' and degrees"),
    # 'S' stands in 73 by the standard, in 72 with one widespread writer
    Column("soldermask", 72, 74, "(?: S[0-3 ]|S[0-3 ] |   )", "'S' and 0 to 3, or blanks"),
    Column("rest", 75, 80, f"{_TEXT}*", "anything printable"),
)

#: The columns that a shorter line is padded to before it is matched.
WIDTH = 74


def pattern_of(*fields: str) -> re.Pattern[str]:
    """Return the pattern of those fields, one after the other as in the table."""
    columns = {column.field: column for column in COLUMNS}
    return re.compile("".join(columns[field].pattern for field in fields))


def find_fault(line: str) -> tuple[int, str, Column] | None:
    """Return the first column that does not fit: its number, what stands there, and the field.

    None where the line fits. The search is the table read field by field.
    """
    padded = line.ljust(WIDTH)
    for field in COLUMNS:
        text = padded[field.first - 1 : field.last if field.field != "rest" else None]
        if re.fullmatch(field.pattern, text) is not None:
            continue
        if text.isspace() or field.first == field.last or field.field == "rest":
            return field.first, text, field
        # the first character that no filling of the field has there
        letter = field.field[0].upper() if field.field in {"x", "y", "access"} else ""
        is_number = field.pattern.startswith(("X", "Y", "(?:"))
        for index, character in enumerate(text):
            allowed = "0123456789 +-" if index == 1 else "0123456789 "
            if (
                not character.isprintable()
                or (index == 0 and letter and character != letter)
                or (index and is_number and character not in allowed)
            ):
                return field.first + index, text, field
        return field.first, text, field
    return None


def say_fault(line: str) -> tuple[int, str, str]:
    """Return the column where the line does not fit, what stands there and what was expected."""
    fault = find_fault(line)
    if fault is None:  # the columns fit, but the operation code is none of a test record
        return 1, repr(line[:3]), "an operation code"
    column, text, wanted = fault
    shown = repr(text) if text.strip() else "nothing" if len(line) < wanted.first else "blanks"
    columns = f"columns {wanted.first}-{wanted.last}"
    if wanted.first == wanted.last:
        columns = f"column {wanted.first}"
    return column, shown, f"{wanted.meaning} ({columns})"
