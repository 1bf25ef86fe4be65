"""What stands in the cells of a table: headings, references and their ranges, numbers, sides.

The words are in knowledge/csv.toml, those for "not fitted" in knowledge/fitted.toml.
"""

from __future__ import annotations

import re
import unicodedata
from enum import StrEnum
from functools import cache, lru_cache
from math import isfinite

from nettrace.knowledge import section, table
from nettrace.model.fitted import asks

#: Parts one range may stand for.
MOST_IN_RANGE = 5000
#: References one cell may open to; ranges after that are left as they are written.
MOST_IN_CELL = 100_000
#: A longer cell is no number, a longer heading none.
MOST_NUMBER_LENGTH = 80
MOST_HEADING_LENGTH = 60
#: From this rank on a heading is a weak one: references only if the cells below look like them.
PERHAPS_RANK = 100

_RANGE = re.compile(
    r"(?<![A-Za-z_])([A-Za-z_]+)(\d{1,9})\s*(?:-|–|—|~|\.{2,3}|…|\bto\b|\bbis\b|\bà\b|至)"
    r"\s*([A-Za-z_]*)(\d{1,9})(?![\w.])"
)
_REFERENCE = re.compile(r"[^\s,;，；、]+")
_NUMBER = re.compile(r"([+-]?(?:\d[\d.,'  ]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\d\s]*)\s*\Z")
#: `R90`, `MR90`: mirrored (on the bottom), `S`: its text may stand on its head.
_TURN = re.compile(r"(?P<how>(?i:[MS]{0,2}R))(?P<turn>\d{1,3}(?:\.\d{1,6})?)")
_UNITS = r"mm|millimet(?:er|re)s?|mils?|thou|inch(?:es)?|in|um|µm|cm"
_UNIT = re.compile(rf"[(\[{{]?\s*\b({_UNITS})\b\s*[)\]}}]?")
_UNIT_ALONE = re.compile(rf"(?i)(?<![a-z])({_UNITS}|\")(?![a-z])")


class Column(StrEnum):
    """What a column holds."""

    REFERENCE = "reference"
    VALUE = "value"
    PACKAGE = "package"
    QUANTITY = "quantity"
    DESCRIPTION = "description"
    NOT_FITTED = "not fitted"
    FITTED = "fitted"
    X = "x"
    Y = "y"
    ROTATION = "rotation"
    SIDE = "side"
    NET = "net"
    PIN = "pin"


@lru_cache(maxsize=1024)
def normal_heading(text: str) -> str:
    """Return a heading without case, accents, punctuation and its unit.

    >>> [normal_heading(t) for t in ('"Mid X (mm)"', "Center-X[mil]", "Gehäuse", "Qté.", "PosX")]
    ['mid x', 'center x', 'gehause', 'qte', 'posx']
    """
    folded = unicodedata.normalize("NFKD", text.strip().casefold())
    plain = "".join(char for char in folded if not unicodedata.combining(char))
    if len(plain) > 2:
        plain = _UNIT.sub(" ", plain)
    return " ".join(re.sub(r"[\W_]+", " ", plain).split())


@cache
def _columns() -> dict[str, tuple[Column, int]]:
    """Return what each normal heading says its column holds, with a rank (0 first)."""
    found = {
        word: (Column(column), rank)
        for column, words in section("csv", "columns").items()
        for rank, word in enumerate(words.replace("\n", "").split("|"))
    }
    weak = enumerate(table("csv")["perhaps_reference"].split("|"), PERHAPS_RANK)
    return found | {word: (Column.REFERENCE, rank) for rank, word in weak}


def column_of(heading: str) -> tuple[Column, int] | None:
    """Return what the heading says its column holds, with a rank (0 first); None if it is other.

    >>> column_of("Reference(s)"), column_of("Stückliste")
    ((<Column.REFERENCE: 'reference'>, 11), None)
    """
    if not heading or len(heading) > MOST_HEADING_LENGTH:
        return None
    known = _columns().get(normal_heading(heading))
    if known is None and (asked := asks(heading)) is not None:
        return (Column.FITTED if asked else Column.NOT_FITTED), 0
    return known


def is_part_heading(heading: str) -> bool:
    """Return whether a column of that heading holds values, beside another with the references."""
    return normal_heading(heading) in table("csv")["part"].split("|")


def unit_of(text: str) -> float | None:
    """Return the millimetres of the unit a heading or cell names; None if it names none.

    >>> unit_of("Mid X (mil)"), unit_of("12.7mm"), unit_of("PosX")
    (0.0254, 1.0, None)
    """
    match = _UNIT_ALONE.search(text)
    if match is None:
        return None
    unit = match[1].lower()
    if unit in ("mil", "mils", "thou"):
        return 0.0254
    if unit[0] == "i" or unit == '"':
        return 25.4
    return {"um": 0.001, "µm": 0.001, "cm": 10.0}.get(unit, 1.0)


def split_references(text: str, quantity: float | None) -> list[str]:
    """Return the references of a cell, ranges opened, in the cell's order.

    `R1-R4` is a range; `J1-2` may be a name, so it is one only where the quantity says so.

    >>> split_references("R1-R3, R7 R7", None), split_references("J1-2", 1)
    (['R1', 'R2', 'R3', 'R7', 'R7'], ['J1-2'])
    >>> split_references("C1-3,C9", 4), split_references(" ,,, ", 4)
    (['C1', 'C2', 'C3', 'C9'], [])
    """
    full = _open(text, short=False)
    if quantity is not None and len(full) != quantity:
        for other in (_open(text, short=True), _REFERENCE.findall(text)):
            if len(other) == quantity:
                return other
    return full


def _open(text: str, *, short: bool) -> list[str]:
    """Return the references with their ranges opened; `short`: also of the form C1-3."""
    found: list[str] = []
    start = 0
    for match in _RANGE.finditer(text):
        prefix, first, again, last = match.groups()
        before = text[match.start() - 1] if match.start() else " "
        is_range = again.upper() == prefix.upper() or (short and not again)
        is_range = is_range and 0 < int(last) - int(first) < MOST_IN_RANGE
        if before not in " \t,;，；、\n" or not is_range:
            continue
        if len(found) > MOST_IN_CELL:
            break
        found += _REFERENCE.findall(text[start : match.start()])
        width = len(first) if first[0] == "0" else 0
        found += [f"{prefix}{number:0{width}d}" for number in range(int(first), int(last) + 1)]
        start = match.end()
    found += _REFERENCE.findall(text[start:])
    return found


def number_of(text: str) -> tuple[float, float | None] | None:
    """Return a cell's number and the millimetres of its unit, if it names one; None if no number.

    A comma alone is a decimal comma; with a point, the last of the two parts the decimals.

    >>> number_of("-12,5"), number_of("1.234,5mm"), number_of("500 mil"), number_of("n/a")
    ((-12.5, None), (1234.5, 1.0), (500.0, 0.0254), None)
    """
    match = _NUMBER.match(text.strip()) if len(text) < MOST_NUMBER_LENGTH else None
    if match is None:
        return None
    digits = re.sub(r"[ '\u00a0\u202f]", "", match[1])
    if "," in digits and "." in digits:
        thousands = "," if digits.rfind(".") > digits.rfind(",") else "."
        digits = digits.replace(thousands, "")
    digits = digits.replace(",", ".")
    unit = match[2].strip("°")
    if unit and unit_of(unit) is None and unit.lower() not in ("deg", "pcs", "pc", "stk", "x"):
        return None
    try:
        value = float(digits)
    except ValueError:
        return None
    return (value, unit_of(unit) if unit else None) if isfinite(value) else None


def angle_of(text: str) -> tuple[float, str | None] | None:
    """Return a turn in degrees, and "bottom" where the cell says mirrored; None if it is none.

    >>> angle_of("90.00"), angle_of("R270"), angle_of("MR45"), angle_of("left")
    ((90.0, None), (270.0, None), (45.0, 'bottom'), None)
    """
    match = _TURN.fullmatch(text.strip())
    if match is not None:
        return float(match["turn"]), "bottom" if "m" in match["how"].lower() else None
    number = number_of(text)
    return None if number is None else (number[0], None)


def side_of(text: str) -> str | None:
    """Return "top" or "bottom"; None where the cell says neither.

    >>> side_of("TopLayer"), side_of("B"), side_of("Rückseite"), side_of("inner")
    ('top', 'bottom', 'bottom', None)
    """
    word = " ".join(text.casefold().split())
    for side, words in section("csv", "sides").items():
        if word and word in words.replace("\n", "").split("|"):
            return str(side)
    return None
