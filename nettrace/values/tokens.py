"""A value text cut into understood items and the words left over."""

from __future__ import annotations

import re
from typing import Final

from nettrace.values.quantity import read_quantity
from nettrace.values.sizes import INCH_CODES, METRIC_CODES
from nettrace.values.words import DIELECTRIC_ALIASES, DIELECTRICS, Family, Item

__all__ = ["read_items"]

#: "10 kΩ", "16 V", "±1 %", "20 ppm": number and unit written apart are one word
_APART: Final = re.compile(
    r"(?<=\d)\s+(?=(?:[pnuµμmkKMG]?(?:F|H|Hz|HZ|Ω|V|A|W)|[kKMmu]?[Oo]hms?|OHMS?|%|ppm|mm)"
    r"(?:$|[\s,;/_()]))"
)
#: "0,1uF": a comma between a short number and digits that carry a multiplier is the point.
_COMMA: Final = re.compile(r"(?<![\w.,])(\d{1,3}),(\d{1,3})(?=[pnuµμmkKMRΩ])")
#: "10 K", "4.7 k": of a resistor
_APART_PREFIX: Final = re.compile(r"^(\d+(?:\.\d+)?)\s+(?=[kKM](?:$|[\s,;/_]))")
_SPLIT: Final = re.compile(r"[\s,;/_()\[\]]+")
_OPERATOR: Final = re.compile(r"[<>=@~≤≥]|\d[xX×*]\d|[+-]\d+\s*%?\s*[/,]?\s*-\s*\d+\s*%|:")
_TOLERANCE: Final = re.compile(r"(?:±|\+/-|\+-)?(\d+(?:[.,]\d+)?|\.\d+)%")
_ABSOLUTE: Final = re.compile(r"(?:±|\+/-|\+-)(\d*[.,]?\d+)([pnu])F?")
_PPM: Final = re.compile(r"(?:±|\+/-|\+-)?(\d+(?:\.\d+)?)ppm(?:/?°?[CK])?", re.IGNORECASE)
_FRACTION_WATT: Final = re.compile(r"\b([1-3])/([2-9]|1\d|20|32)\s*W\b", re.IGNORECASE)
_SIZE_WORD: Final = re.compile(
    r"(?:R|C|L|FB|RES|CAP|IND|SMD|SMT|CHIP|RA|RN|CA|LED|F|D)?[-]?(\d{4,6})", re.IGNORECASE
)
_SIZE_METRIC: Final = re.compile(r"(\d{4,5})(?:M|METRIC)", re.IGNORECASE)
_DASHED: Final = re.compile(r"-(?=\d)|(?<=[A-Za-z%])-(?=[A-Za-z])")
_BETA: Final = re.compile(r"[Bb](\d{4})[Kk]?")


def _item(word: str, family: Family) -> Item | None:
    """Return one word as an item, None where it is not a notation of values."""
    match = _TOLERANCE.fullmatch(word)
    if match:
        return Item("tolerance", word, float(match[1].replace(",", ".")) / 100)
    upper = word.upper()
    if upper in DIELECTRICS:
        return Item("dielectric", DIELECTRIC_ALIASES.get(upper, upper))
    match = _PPM.fullmatch(word)
    if match:
        return Item("ppm", word, float(match[1]))
    match = _ABSOLUTE.fullmatch(word)
    if match:
        quantity = read_quantity(match[1] + match[2])
        return Item("absolute", word, quantity.value) if quantity else None
    match = _BETA.fullmatch(word) if family == "thermistor" else None
    if match:
        return Item("beta", word, float(match[1]))
    match = _SIZE_METRIC.fullmatch(word)
    if match and match[1] in METRIC_CODES:
        return Item("size", word, metric=True)
    match = _SIZE_WORD.fullmatch(word)
    if match and (match[1] in INCH_CODES or match[1] in METRIC_CODES):
        if match[1] != word or word[0] == "0":
            return Item("size", match[1])
        return Item("number or size", word, float(word))
    unit = {"resistor": "Ω", "thermistor": "Ω", "bead": "Ω", "capacitor": "F"}.get(family)
    quantity = read_quantity(word, unit)
    if quantity is None:
        if upper in {"SMD", "SMT", "CHIP"}:
            return Item("mounting", word)
        if upper in {"K", "J", "M", "F", "G", "Z"}:
            return Item("tolerance letter", upper)
        if family == "capacitor" and word in {"B", "C", "D"}:
            return Item("tolerance letter", word)
        return _suffixed(word, unit)
    if quantity.unit is None and not quantity.prefix:
        return Item("number", word, quantity.value)
    return Item("quantity", word, quantity.value, quantity=quantity)


_SUFFIXED: Final = re.compile(r"(.*\d[A-Za-zµμ]*?)([BCDFGJKMZ])")
#: 104J, 104Z of a capacitor: the code in pF; 104K and 104M are settled in `gathering`
_CODE_SUFFIXED: Final = re.compile(r"([1-9]\d[1-689])([BCDGJNZ])")


def _suffixed(word: str, unit: str | None) -> Item | None:
    """Return a value with its IEC 60062 tolerance letter: 4K7J, 2R5M, 100nZ, 104J of a capacitor.

    Z (+80/-20 %) is a letter of capacitors alone.
    """
    match = _CODE_SUFFIXED.fullmatch(word) if unit == "F" else None
    if match:
        return Item("number", match[1], float(match[1]), letter=match[2])
    match = _SUFFIXED.fullmatch(word)
    if not match:
        return None
    quantity = read_quantity(match[1], unit)
    if quantity is None or (quantity.unit is None and not quantity.prefix):
        return None
    if match[2] == "Z" and (quantity.unit not in {None, "F"} or quantity.prefix not in {*"pnuµμ"}):
        return None
    return Item("quantity", word, quantity.value, quantity=quantity, letter=match[2])


def read_items(text: str, family: Family) -> tuple[tuple[Item, ...], str]:
    """Return the items of a text, in its order, and the words left over."""
    joined = _APART.sub("", text)
    if "," in joined:
        joined = _COMMA.sub(r"\1.\2", joined)
    if family in {"resistor", "thermistor"}:
        joined = _APART_PREFIX.sub(r"\1", joined)
    if _OPERATOR.search(joined):
        from nettrace.values.notation import read_notation

        return read_notation(joined, lambda word: _word_items(word, family))
    items: list[Item] = []
    rest: list[str] = []
    joined = _FRACTION_WATT.sub(lambda m: f"{int(m[1]) / int(m[2]):g}W", joined)
    for word in _SPLIT.split(joined):
        if word:
            found, left = _word_items(word, family)
            items.extend(found)
            if left:
                rest.append(left)
    return tuple(items), " ".join(rest)


def _word_items(word: str, family: Family) -> tuple[tuple[Item, ...], str]:
    """Return the items in one word (a dash may join several) and what is left of it."""
    item = _item(word, family)
    if item is not None:
        return (item,), ""
    if "-" not in word:
        return (), word
    pieces = [_item(piece, family) for piece in _DASHED.split(word)]
    # 12MHz-20pf, XYDBPCNANF-12MHZ: a unit spelt out survives inside a part number
    named = tuple(piece for piece in pieces if piece is not None and _explicit(piece))
    return named, "" if len(named) == len(pieces) else word


def _explicit(item: Item) -> bool:
    quantity = item.quantity
    if item.kind == "tolerance":
        return True
    if quantity is None or not quantity.exact_unit or item.letter:
        return False
    return quantity.unit in {"Hz", "F", "H"} and len(item.text) > 2
