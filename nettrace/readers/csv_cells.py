"""What stands in a cell: references and ranges of them, numbers with units, sides, yes and no."""

from __future__ import annotations

import re
from math import isfinite

from nettrace.readers.csv_headings import unit_of

__all__ = [
    "angle_of", "is_no", "is_yes", "number_of", "says_not_fitted", "side_of", "split_references",
]  # fmt: skip

#: Parts one range may stand for.
MOST_IN_RANGE = 5000
#: References one cell may open to; ranges after that are left as they are written.
MOST_IN_CELL = 100_000
#: A longer cell is no number.
MOST_NUMBER_LENGTH = 80

_RANGE = re.compile(
    r"(?<![A-Za-z_])([A-Za-z_]+)(\d{1,9})\s*(?:-|–|—|~|\.{2,3}|…|\bto\b|\bbis\b|\bà\b|至)"
    r"\s*([A-Za-z_]*)(\d{1,9})(?![\w.])"
)
_REFERENCE = re.compile(r"[^\s,;，；、]+")
_NUMBER = re.compile(r"([+-]?(?:\d[\d.,'  ]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\d\s]*)\s*\Z")
#: `R90`, `MR90`: mirrored (on the bottom), `S`: its text may stand on its head.
_TURN = re.compile(r"(?P<how>(?i:[MS]{0,2}R))(?P<turn>\d{1,3}(?:\.\d{1,6})?)")
_NO = {"0", "no", "n", "false", "f", "-", "--", "nein", "non", "falsch", "nee", "нет", "否", "不"}
_YES = {"1", "yes", "y", "true", "t", "x", "ja", "oui", "si", "sí", "wahr", "да", "是", "ok"}
#: Words for a side, parted by bars.
_SIDES = {
    "top": "t|top|front|f|f.cu|toplayer|top layer|top side|component side|primary|oben|vorderseite"
    "|dessus|recto|superior|cara superior|arriba|sopra|lato superiore|顶|顶层|顶面|正面|верх",
    "bottom": "b|bottom|bot|back|b.cu|bottomlayer|bottom layer|bottom side|solder side|secondary"
    "|unten|rückseite|lötseite|dessous|verso|inferior|cara inferior|abajo|sotto|lato inferiore"
    "|底|底层|底面|反面|背面|низ",
}
_SIDE_OF = {word: side for side, words in _SIDES.items() for word in words.split("|")}
_NOT_FITTED = re.compile(
    r"(?i)(?<![\w.])(?:dnp|dnf|dni|dnm|dns|d\.\s?n\.\s?[pfim]\.?|do\s+not\s+(?:populate|place|fit|mount"
    r"|install|stuff)|not\s+(?:fitted|populated|placed|mounted|installed)|no[- ]?(?:pop|stuff|fit)"
    r"|unpopulated|nicht\s+best(?:ü|ue)ck(?:t|en)|unbest(?:ü|ue)ckt|n\.\s?b\.|ne\s+pas\s+monter"
    r"|non\s+mont(?:é|ée|ato|are)|no\s+mont(?:ar|ado)|不贴|不焊|不贴装|не\s+устанавливать)(?![\w.])"
)


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
        for other in (_open(text, short=True), _plain(text)):
            if len(other) == quantity:
                return other
    return full


def _plain(text: str) -> list[str]:
    return _REFERENCE.findall(text)


def _open(text: str, *, short: bool) -> list[str]:
    found: list[str] = []
    start = 0
    for match in _RANGE.finditer(text):
        prefix, first, prefix_again, last = match.groups()
        before = text[match.start() - 1] if match.start() else " "
        if before not in " \t,;，；、\n" or not _is_range(prefix, first, prefix_again, last, short):
            continue
        if len(found) > MOST_IN_CELL:
            break
        found += _REFERENCE.findall(text[start : match.start()])
        width = len(first) if first[0] == "0" else 0
        found += [f"{prefix}{number:0{width}d}" for number in range(int(first), int(last) + 1)]
        start = match.end()
    found += _REFERENCE.findall(text[start:])
    return found


def _is_range(prefix: str, first: str, prefix_again: str, last: str, short: bool) -> bool:
    if prefix_again.upper() != prefix.upper() and not (short and not prefix_again):
        return False
    return int(first) < int(last) and int(last) - int(first) < MOST_IN_RANGE


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
    return _SIDE_OF.get(word)


def is_no(text: str) -> bool:
    """Return whether the cell denies what its heading asks."""
    return text.strip().casefold() in _NO


def is_yes(text: str) -> bool:
    """Return whether the cell affirms what its heading asks."""
    return text.strip().casefold() in _YES


def says_not_fitted(text: str) -> bool:
    """Return whether the words of a cell say that the part is left off.

    >>> [says_not_fitted(t) for t in ("DNP", "10k (do not fit)", "d.n.p.(HR2x3)", "DNP101")]
    [True, True, True, False]
    """
    return _NOT_FITTED.search(text) is not None
