"""A value text cut into understood items and the words left over.

Plain lists (`0.1uF/16V/X5R`) are split and each word matched. What has operators or multiplicities
(`SWPA4018S1R5NT(1.5uH/3.35A/DCR<0.1R/CD43)`, `600R@100MHz`, `4x1.5K_RA1206`, `+80/-20%`,
`B25/50=3380`) is read by one pattern, notation by notation.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

from nettrace.knowledge import pattern, section
from nettrace.values.codes import listed_dielectrics
from nettrace.values.quantity import Quantity, read_quantity
from nettrace.values.sizes import INCH_CODES, METRIC_CODES

Family = Literal[
    "resistor", "thermistor", "capacitor", "inductor", "bead", "crystal", "fuse", "diode",
    "valueless", "unknown",
]  # fmt: skip


def family_of(kind: str | None) -> Family:
    """Return how the values of a part of this kind are written.

    >>> family_of("ferrite bead"), family_of("chip"), family_of(None), family_of("R")
    ('bead', 'valueless', 'unknown', 'resistor')
    """
    families = section("values", "families")
    lower = (kind or "").lower()
    family: Family = families["letters"].get(lower, "valueless")
    if lower not in families["letters"]:
        family = next((each for word, each in families["words"] if word in lower), family)
    return family


@dataclass(frozen=True, slots=True)
class Item:
    """One understood word of a value text; `kind` says which sort, `value` is in SI units.

    Kinds: quantity, number, number or size, size, tolerance, tolerance minus, tolerance letter,
    absolute (tolerance in farads), dielectric, ppm, count, body, dcr, beta, impedance,
    impedance frequency, load.
    """

    kind: str
    text: str = ""
    value: float = 0.0
    quantity: Quantity | None = None
    letter: str = ""
    metric: bool = False
    width: float = 0.0


#: Items in the order of the text, and the words left over.
Items = tuple[tuple[Item, ...], str]


def read_items(text: str, family: Family) -> Items:
    """Return the items of a text, in its order, and the words left over.

    >>> [item.kind for item in read_items("1.5uH/3.35A/DCR<0.1R", "inductor")[0]]
    ['quantity', 'quantity', 'dcr']
    """
    joined = pattern("values", "apart").sub("", text)
    if "," in joined:
        joined = pattern("values", "comma").sub(r"\1.\2", joined)
    if family in {"resistor", "thermistor"}:
        joined = pattern("values", "apart_prefix").sub(r"\1", joined)
    if pattern("values", "operator").search(joined):
        return _read_notations(joined, family)
    joined = re.sub(
        r"(?i)\b([1-3])/([2-9]|1\d|20|32)\s*W\b",
        lambda m: f"{int(m[1]) / int(m[2]):g}W",
        joined,
    )
    return _gathered(_read_word(word, family) for word in re.split(r"[\s,;/_()\[\]]+", joined))


def _gathered(found: Iterable[Items]) -> Items:
    items: list[Item] = []
    rest: list[str] = []
    for some, left in found:
        items += some
        rest += [left] if left else []
    return tuple(items), " ".join(rest)


# ---- words


def _read_word(word: str, family: Family) -> Items:
    """Return the items in one word (a dash may join several) and what is left of it."""
    item = _item(word, family) if word else None
    if item is not None:
        return (item,), ""
    if "-" not in word:
        return (), word
    dashed = re.split(r"-(?=\d)|(?<=[A-Za-z%])-(?=[A-Za-z])", word)
    pieces = [_item(piece, family) for piece in dashed]
    # 12MHz-20pf, XYDBPCNANF-12MHZ: a unit spelt out survives inside a part number
    named = tuple(piece for piece in pieces if piece is not None and _is_explicit(piece))
    return named, "" if len(named) == len(pieces) else word


def _is_explicit(item: Item) -> bool:
    quantity = item.quantity
    if item.kind == "tolerance":
        return True
    if quantity is None or not quantity.exact_unit or item.letter:
        return False
    return quantity.unit in {"Hz", "F", "H"} and len(item.text) > 2


def _item(word: str, family: Family) -> Item | None:
    """Return one word as an item, None where it is not a notation of values."""
    if match := re.fullmatch(r"(?:±|\+/-|\+-)?(\d+(?:[.,]\d+)?|\.\d+)%", word):
        return Item("tolerance", word, float(match[1].replace(",", ".")) / 100)
    upper = word.upper()
    if upper in listed_dielectrics():
        names = section("values", "dielectrics")["other_names"]
        return Item("dielectric", names.get(upper, upper))
    if match := re.fullmatch(r"(?i)(?:±|\+/-|\+-)?(\d+(?:\.\d+)?)ppm(?:/?°?[CK])?", word):
        return Item("ppm", word, float(match[1]))
    if match := re.fullmatch(r"(?:±|\+/-|\+-)(\d*[.,]?\d+)([pnu])F?", word):
        quantity = read_quantity(match[1] + match[2])
        return Item("absolute", word, quantity.value) if quantity else None
    if family == "thermistor" and (match := re.fullmatch(r"[Bb](\d{4})[Kk]?", word)):
        return Item("beta", word, float(match[1]))
    match = re.fullmatch(r"(?i)(\d{4,5})(?:M|METRIC)", word)
    if match and match[1] in METRIC_CODES:
        return Item("size", word, metric=True)
    match = pattern("values", "size_word").fullmatch(word)
    if match and (match[1] in INCH_CODES or match[1] in METRIC_CODES):
        if match[1] != word or word[0] == "0":
            return Item("size", match[1])
        return Item("number or size", word, float(word))
    unit = {"resistor": "Ω", "thermistor": "Ω", "bead": "Ω", "capacitor": "F"}.get(family)
    quantity = read_quantity(word, unit)
    if quantity is None:
        if upper in {"SMD", "SMT", "CHIP"}:
            return Item("mounting", word)
        if upper in {*"KJMFGZ"}:
            return Item("tolerance letter", upper)
        if family == "capacitor" and word in {*"BCD"}:
            return Item("tolerance letter", word)
        return _suffixed(word, unit)
    if quantity.unit is None and not quantity.prefix:
        return Item("number", word, quantity.value)
    return Item("quantity", word, quantity.value, quantity=quantity)


def _suffixed(word: str, unit: str | None) -> Item | None:
    """Return a value with its IEC 60062 tolerance letter: 4K7J, 2R5M, 100nZ, 104J of a capacitor.

    Z (+80/-20 %) is a letter of capacitors alone.
    """
    # the code in pF; 104K and 104M are settled in `part_value`
    match = re.fullmatch(r"([1-9]\d[1-689])([BCDGJNZ])", word) if unit == "F" else None
    if match:
        return Item("number", match[1], float(match[1]), letter=match[2])
    match = re.fullmatch(r"(.*\d[A-Za-zµμ]*?)([BCDFGJKMZ])", word)
    quantity = read_quantity(match[1], unit) if match else None
    if match is None or quantity is None or (quantity.unit is None and not quantity.prefix):
        return None
    if match[2] == "Z" and (quantity.unit not in {None, "F"} or quantity.prefix not in {*"pnuµμ"}):
        return None
    return Item("quantity", word, quantity.value, quantity=quantity, letter=match[2])


# ---- notations with operators


@cache
def _attributes() -> Mapping[str, str]:
    """Return the names that parts lists put before a figure, and what they say."""
    attributes = section("values", "attributes")
    return {name: meaning for meaning, names in attributes.items() for name in names.split()}


@cache
def _notation() -> re.Pattern[str]:
    """Return the pattern of one notation; the outer group names its sort, inner ones its texts."""
    word = r"[^\s,;/_()\[\]<>=@~≤≥:]+"
    relation = r"\s*(?:<=|>=|[<>=~≤≥:])\s*"
    names = "|".join(sorted(_attributes(), key=len, reverse=True))
    times, side = "[xX×*]", r"(\d{1,2}(?:\.\d+)?)"
    # where two notations could begin, the first one here is meant
    notations = {
        "asymmetric": r"\+(\d+)\s*%?\s*[/,]?\s*-\s*(\d+)%",
        "plain": r"(\d{1,2}/\d{1,2}\s*[Ww])(?![A-Za-z])",
        "beta": rf"[Bb]\s*\(?\d+\s*/\s*\d+(?!\d)\)?\s*(?:{relation})?(\d{{4}}K?)",
        "attribute": rf"((?i:{names}))(?=\s*[<>=~≤≥:]){relation}({word})",
        "at": rf"({word})\s*@\s*({word})",
        "body": rf"(?i:smd|smt)?{side}{times}{side}(?:{times}{side})?(?:\s*mm|(?!\s*mm))"
        r"(?=$|[\s,;/_()\[\]-])",
        "array": rf"(\d{{1,2}})(?=[xX×*]\d){times}({word})",
        "word": f"({word})",
        "stray": r"([^\s,;/_()\[\]:])",
    }
    return re.compile("|".join(f"(?P<{sort}>{text})" for sort, text in notations.items()))


def _read_notations(text: str, family: Family) -> Items:
    return _gathered(
        each
        for match in _notation().finditer(text)
        for each in _meant(
            match.lastgroup or "", [part for part in match.groups() if part is not None][1:], family
        )
    )


def _meant(sort: str, parts: list[str], family: Family) -> Iterable[Items]:
    """Yield the items of one notation; where it says nothing, those of its words."""
    if sort == "attribute":
        items = _attribute(parts[0].upper(), parts[1], family)
        yield ((), "".join(parts)) if items is None else (items, "")
        return
    found = _figures(sort, parts, family)
    if found is not None:
        yield found, ""
        return
    for word in parts:
        yield _read_word(word, family)


def _figures(sort: str, parts: list[str], family: Family) -> tuple[Item, ...] | None:
    """Return the items of one notation, None where its words are to be read one by one."""
    match sort:
        case "asymmetric":
            return (
                Item("tolerance", parts[0], int(parts[0]) / 100),
                Item("tolerance minus", parts[1], int(parts[1]) / 100),
            )
        case "beta":
            return (Item("beta", parts[0], float(parts[0].rstrip("K"))),)
        case "body":
            return (Item("body", "x".join(parts), float(parts[0]), width=float(parts[1])),)
        case "plain":
            quantity = read_quantity(parts[0])
            return (Item("quantity", parts[0], quantity.value, quantity),) if quantity else None
        case "array":
            items, left = _read_word(parts[1], family)
            size = next((i for i in items if i.kind == "size" and i.text in INCH_CODES), None)
            # 4x0603: the elements have that size, the array has not
            kept = [item for item in items if item is not size]
            return None if left else (Item("count", parts[0], int(parts[0])), *kept)
        case "at":
            ohms, hertz = read_quantity(parts[0], "Ω"), read_quantity(parts[1], "Hz")
            if ohms and hertz and hertz.unit == "Hz" and ohms.unit in {None, "Ω"}:
                return (
                    Item("impedance", parts[0], ohms.value),
                    Item("impedance frequency", parts[1], hertz.value),
                )
            return None
        case _:
            return None


#: Unit of the figure behind a name that says so.
_ATTRIBUTE_UNITS: Final = {"dcr": "Ω", "impedance": "Ω", "load": "F", "beta": None}


def _attribute(name: str, text: str, family: Family) -> tuple[Item, ...] | None:
    """Return what a name and its figure say, None where that is nothing we keep."""
    meaning = _attributes()[name]
    if meaning == "plain":
        items, left = _read_word(text, family)
        return None if left else items
    if meaning not in _ATTRIBUTE_UNITS:
        return None
    unit = _ATTRIBUTE_UNITS[meaning]
    quantity = read_quantity(text.rstrip("kK") if meaning == "beta" else text, unit)
    if quantity is None:
        return None
    fits = bool(quantity.prefix) if unit == "F" else quantity.unit in {None, unit}
    return (Item(meaning, text, quantity.value),) if fits else None
