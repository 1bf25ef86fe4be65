"""What the value text of a part says: `0.1uF/16V/X5R`, `2k2 1% 0201`, `NA(10K)`.

The text is cut into understood items and the words left over; what each item means depends on the
family of the part. Plain lists (`0.1uF/16V/X5R`) are split and each word matched. What has
operators or multiplicities (`SWPA4018S1R5NT(1.5uH/3.35A/DCR<0.1R/CD43)`, `600R@100MHz`,
`4x1.5K_RA1206`, `+80/-20%`, `B25/50=3380`) is read by a grammar of pyparsing, notation by notation.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, Final, Literal

from nettrace.knowledge import pattern, section, table, unbroken
from nettrace.values.codes import capacitor_code, letters, listed_dielectrics
from nettrace.values.quantity import Quantity, read_quantity, scaled
from nettrace.values.sizes import INCH_CODES, METRIC_CODES, chip_size, read_size

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
        notations = _notations().parse_string(joined, parse_all=True)
        found = [each for sort, *parts in notations for each in _meant(sort, parts, family)]
    else:
        joined = re.sub(
            r"(?i)\b([1-3])/([2-9]|1\d|20|32)\s*W\b",
            lambda m: f"{int(m[1]) / int(m[2]):g}W",
            joined,
        )
        words = re.split(r"[\s,;/_()\[\]]+", joined)
        found = [_read_word(word, family) for word in words]
    items = tuple(item for some, _ in found for item in some)
    return items, " ".join(left for _, left in found if left)


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
    if quantity is None or item.letter or not quantity.exact_unit:
        return item.kind == "tolerance"
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
def _notations() -> Any:
    """Return the grammar of a value text; every match is a tuple (sort, texts...)."""
    import pyparsing as pp  # here: plain lists of values never come this far

    def tagged(sort: str) -> Callable[[Any], list[tuple[str, ...]]]:
        return lambda tokens: [(sort, *(str(token) for token in tokens))]

    def quiet(text: str) -> Any:
        return pp.Regex(text).suppress()

    word = pp.Regex(r"[^\s,;/_()\[\]<>=@~≤≥:]+")
    relation = quiet(r"\s*(?:<=|>=|[<>=~≤≥:])\s*")
    names = "|".join(sorted(_attributes(), key=len, reverse=True))
    times, side = quiet("[xX×*]"), pp.Regex(r"\d{1,2}(?:\.\d+)?")
    body = quiet("(?:(?i:smd|smt))?") + side + times + side + pp.Opt(times + side)
    # where two notations could begin, the first one here is meant
    notations = {
        "asymmetric": quiet(r"\+") + pp.Regex(r"\d+") + quiet(r"\s*%?\s*[/,]?\s*-\s*")
        + pp.Regex(r"\d+") + quiet("%"),
        "plain": pp.Regex(r"\d{1,2}/\d{1,2}\s*[Ww](?![A-Za-z])"),
        "beta": quiet(r"[Bb]\s*\(?\d+\s*/\s*\d+\)?\s*") + pp.Opt(relation)
        + pp.Regex(r"\d{4}K?"),
        "attribute": pp.Regex(rf"(?i:{names})(?=\s*[<>=~≤≥:])") + relation + word,
        "at": word + quiet(r"\s*@\s*") + word,
        "body": body + quiet(r"(?:\s*mm)?(?=$|[\s,;/_()\[\]-])"),
        "array": pp.Regex(r"\d{1,2}(?=[xX×*]\d)") + times + word,
        "word": word.copy(),
        "stray": pp.Regex(r"\S"),
    }  # fmt: skip
    item = pp.MatchFirst([each.set_parse_action(tagged(sort)) for sort, each in notations.items()])
    return pp.ZeroOrMore(quiet(r"[\s,;/_()\[\]:]+") | item).leave_whitespace()


def _meant(sort: str, parts: list[str], family: Family) -> Iterable[Items]:
    """Yield the items of one notation; where it says nothing, those of its words."""
    if sort == "attribute":
        items = _attribute(parts[0].upper(), parts[1], family)
        yield ((), "".join(parts)) if items is None else (items, "")
    elif (found := _figures(sort, parts, family)) is not None:
        yield found, ""
    else:
        yield from (_read_word(word, family) for word in parts)


def _figures(sort: str, parts: list[str], family: Family) -> tuple[Item, ...] | None:
    """Return the items of one notation, None where its words are to be read one by one."""
    if sort == "asymmetric":
        plus, minus = (int(part) / 100 for part in parts)
        return Item("tolerance", parts[0], plus), Item("tolerance minus", parts[1], minus)
    if sort == "beta":
        return (Item("beta", parts[0], float(parts[0].rstrip("K"))),)
    if sort == "body":
        return (Item("body", "x".join(parts), float(parts[0]), width=float(parts[1])),)
    if sort == "plain":
        quantity = read_quantity(parts[0])
        return (Item("quantity", parts[0], quantity.value, quantity),) if quantity else None
    if sort == "array":
        items, left = _read_word(parts[1], family)
        size = next((i for i in items if i.kind == "size" and i.text in INCH_CODES), None)
        # 4x0603: the elements have that size, the array has not
        kept = [item for item in items if item is not size]
        return None if left else (Item("count", parts[0], int(parts[0])), *kept)
    if sort == "at":
        ohms, hertz = read_quantity(parts[0], "Ω"), read_quantity(parts[1], "Hz")
        if ohms and hertz and hertz.unit == "Hz" and ohms.unit in {None, "Ω"}:
            impedance = Item("impedance", parts[0], ohms.value)
            return impedance, Item("impedance frequency", parts[1], hertz.value)
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


# ---- what the items mean


@dataclass(frozen=True, slots=True)
class PartValue:
    """What a value text says, in SI base units; None where it says nothing.

    `volts`, `watts` and `amperes` are ratings; `tolerance` is a fraction (0.01); `fitted` is
    False where the text says the position stays empty, None where it does not say; `count` is
    the number of elements of an array; `remainder` holds the words that were not understood.
    """

    ohms: float | None = None
    farads: float | None = None
    henries: float | None = None
    hertz: float | None = None
    volts: float | None = None
    watts: float | None = None
    amperes: float | None = None
    tolerance: float | None = None
    tolerance_minus: float | None = None
    dielectric: str | None = None
    size_inch: str | None = None
    fitted: bool | None = None
    impedance_ohms: float | None = None
    impedance_hertz: float | None = None
    dcr_ohms: float | None = None
    beta: float | None = None
    load_farads: float | None = None
    tempco_ppm: float | None = None
    count: int | None = None
    body_mm: tuple[float, float] | None = None
    remainder: str = ""
    notes: tuple[str, ...] = ()

    @property
    def nominal(self) -> float | None:
        """The main figure: ohms, farads, henries, bead impedance or hertz, whichever is there."""
        figures = (self.ohms, self.farads, self.henries, self.impedance_ohms, self.hertz)
        return next((figure for figure in figures if figure is not None), None)


#: Beta constants of the trade's NTC thermistors, K (common practice, no source).
BETA_RANGE: Final = (2000.0, 5500.0)

#: Above this a number with a bare unit letter, alone in a text, is a part number (3296W, 431A).
PART_NUMBER_FROM: Final = 100.0


@cache
def _not_fitted(form: str) -> re.Pattern[str]:
    """Return a pattern of words for "not fitted" (knowledge/fitted.toml) in a form of a value."""
    words = unbroken(table("fitted")["whole"])
    return re.compile(form.replace("WORD", f"(?:{words})"), re.IGNORECASE)


@lru_cache(maxsize=65536)
def read_part_value(text: str, kind: str | None = None) -> PartValue:
    """Return what a value text of a parts list or netlist says.

    Args:
        text: the value as the source writes it.
        kind: the part's kind in the trade's words (`resistor`, `capacitor`, `inductor`,
            `ferrite bead`, `crystal`, `thermistor`, `fuse`...), None if not known; it decides
            what a bare `100`, `10u` or `12p` is. Kinds without a value (chips, connectors)
            give `fitted` alone.

    Returns:
        One `PartValue`; a part number that merely looks like a value gives no figure.

    >>> value = read_part_value("0.1uF/16V/X5R", "capacitor")
    >>> value.farads, value.volts, value.dielectric
    (1e-07, 16.0, 'X5R')
    >>> value = read_part_value("NA(10K)", "resistor")
    >>> value.ohms, value.fitted
    (10000.0, False)
    """
    family = family_of(kind)
    text = text.strip()
    fitted: bool | None = None
    if _not_fitted(r"\(?\s*WORD\s*\)?").fullmatch(text):
        # a switch or solder jumper drawn "Open" is fitted; NC on a connector is no connection
        if family == "valueless" and not re.match(r"\(?\s*d\.?n|\(?\s*na|\(?\s*not", text, re.I):
            return PartValue(remainder=text)
        return PartValue(fitted=False)
    # before brackets, in brackets before a value: NA(10K), (na)100K
    for around in (r"WORD\s*[(\[](.*)[)\]]", r"[(\[]\s*WORD\s*[)\]]\s*(.+)"):
        match = _not_fitted(around).fullmatch(text)
        if match:
            fitted, text = False, match[1].strip()
            break
    else:
        # beside a value only words that cannot be anything else
        shorter = pattern("fitted", "word").sub(" ", text)
        if shorter != text:
            fitted, text = False, shorter.strip(" ,;/_-()[]")
    if not text or pattern("values", "placeholder").fullmatch(text):
        return PartValue(fitted=fitted)
    if family == "valueless":
        return PartValue(fitted=fitted, remainder=text)
    items, rest = read_items(text, family)
    # written like a bead, which stand under L as often as under FB
    if family in {"unknown", "inductor"} and re.match(
        r"FB\d{4}|.*\d\s*(?:[RΩ]|[Oo]hms?)\s*@", text
    ):
        family = "bead"
    return PartValue(fitted=fitted, **_Gathering(text, family, rest).take(items))


#: Kinds of items that say one figure, and the field they fill.
_FIELDS: Final = {
    "tolerance minus": "tolerance_minus", "ppm": "tempco_ppm", "dcr": "dcr_ohms", "beta": "beta",
    "impedance": "impedance_ohms", "impedance frequency": "impedance_hertz", "load": "load_farads",
}  # fmt: skip
_OF_UNIT: Final = {
    "F": "farads", "H": "henries", "V": "volts", "A": "amperes", "W": "watts", "Hz": "hertz",
}  # fmt: skip
#: What a bare number or an R as the point is of, by family: field, power of ten, its unit.
_BARE: Final = {"capacitor": ("farads", -12, "pF"), "inductor": ("henries", -6, "µH")}
_OHMIC: Final = frozenset({"resistor", "thermistor"})
_LARGE: Final = frozenset("kKM")


class _Gathering:
    """The figures found so far; lives for one text.

    The first figure of a sort counts; a second one that contradicts it is noted and left in the
    remainder.
    """

    def __init__(self, text: str, family: Family, rest: str) -> None:
        self.text = text
        self.family: Family = family
        self.figures: dict[str, Any] = {}
        self.notes: list[str] = []
        self.rest: list[str] = [rest] if rest else []

    def take(self, items: Sequence[Item]) -> dict[str, Any]:
        """Return the fields of `PartValue` that the items of the text give."""
        for item in [item for item in items if not self._one(item)]:
            self._bare_number(item)
        self._tolerance_letters(items)
        if self.rest:
            self.figures["remainder"] = " ".join(self.rest)
        if self.notes:
            self.figures["notes"] = tuple(self.notes)
        return self.figures

    def _has_main(self) -> bool:
        return not self.figures.keys().isdisjoint(
            ("ohms", "farads", "henries", "hertz", "impedance_ohms")
        )

    def _leave(self, item: Item, why: str) -> None:
        self.notes.append(f"{item.text}: {why}")
        self.rest.append(item.text)

    def _read_as(self, item: Item, field: str, value: float, how: str) -> None:
        self.figures[field] = value
        self.notes.append(f"{item.text}: {how}")

    def _set(self, item: Item, field: str, value: float | None = None) -> None:
        value = item.value if value is None else value
        if self.figures.setdefault(field, value) != value:
            self._leave(item, "a second figure of the same sort")

    def _set_ohms(self, item: Item, value: float) -> None:
        if "ohms" in self.figures and self.family == "thermistor" and _is_beta(value):
            self.figures.setdefault("beta", value)
        else:
            self._set(item, "ohms", value)

    def _one(self, item: Item) -> bool:
        """Take an item; False where it must wait until all others are known."""
        kind, figures = item.kind, self.figures
        if kind == "quantity":
            self._quantity(item)
        elif kind == "tolerance":
            figures.setdefault("tolerance", item.value)
        elif kind == "dielectric":
            figures.setdefault("dielectric", item.text)
        elif kind == "ppm" and self.family == "crystal":
            figures.setdefault("tolerance", scaled(item.value, -6))
        elif kind in _FIELDS:
            figures[_FIELDS[kind]] = item.value
        elif kind == "count":
            figures["count"] = int(item.value)
        elif kind == "body":
            figures["body_mm"] = (item.value, item.width)
        elif kind == "size":
            self._size(item)
        else:
            return kind in {"tolerance letter", "absolute", "mounting"}
        return True

    def _size(self, item: Item) -> None:
        row = chip_size(self.figures.get("size_inch", ""))
        code = re.sub(r"\D", "", item.text)
        if row is not None:
            if code not in {row.metric, row.inch}:
                self._leave(item, f"a second size beside {row.inch}")
            return
        if self.family == "crystal" and len(code) == 4:
            self.figures["body_mm"] = (int(code[:2]) / 10, int(code[2:]) / 10)
            return
        reading = read_size(code + "M" if item.metric else code)
        if reading is None:
            self.rest.append(item.text)
            return
        self.figures["size_inch"] = reading.inch
        # 0402 (1005) is settled by the pair; a lone 0603 stays open to the clash
        if reading.others and code in METRIC_CODES and not re.search(r"\(\d{4}\)", self.text):
            self.notes.append(
                f"size {code} read as an inch code; metric would be {reading.others[0]}"
            )

    def _quantity(self, item: Item) -> None:
        quantity, family = item.quantity, self.family
        if quantity is None:
            return
        unit, prefix = quantity.unit, quantity.prefix
        if unit == "F" and prefix in _LARGE and family in _OHMIC:
            # 4K7F is 4.7 kΩ ±1 %: no resistor has farads
            self.figures.setdefault("tolerance", letters("tolerance")["F"])
            self._set_ohms(item, item.value * (1e12 if prefix == "M" else 1.0))
        elif (
            family == "unknown"
            and quantity.exact_unit
            and not prefix
            and unit in {*"VAWHF"}
            and item.value >= PART_NUMBER_FROM
            and item.text == self.text
        ):
            self._leave(item, "looks like a part number, not a value")
        elif unit is None:
            self._unitless(item, prefix)
        elif unit == "Ω":
            self._ohms(item)
        elif unit == "F" and (family == "crystal" or "hertz" in self.figures):
            self.figures.setdefault("load_farads", item.value)
        elif unit == "Hz" and family in {"bead", "inductor"}:
            self.figures.setdefault("impedance_hertz", item.value)
        elif unit in _OF_UNIT:
            self._set(item, _OF_UNIT[unit])
        else:
            self.rest.append(item.text)

    def _ohms(self, item: Item) -> None:
        family, figures = self.family, self.figures
        written = item.text.removesuffix(item.letter)
        spelt = item.quantity is not None and item.quantity.exact_unit
        prefix = item.quantity.prefix if item.quantity else ""
        field, power, unit = _BARE.get(family, ("", 0, ""))
        if family == "bead":
            self._set(item, "dcr_ohms" if "impedance_ohms" in figures else "impedance_ohms")
        elif field and field not in figures and re.fullmatch(r"\d*[rR]\d+", written):
            value = scaled(float(written.upper().replace("R", ".")), power)
            self._read_as(item, field, value, f"R is the point, read in {unit}")
        elif family == "capacitor":
            self._leave(item, "ohms on a capacitor; an ESR or a tolerance letter")
        elif family == "inductor" and not spelt:
            self._leave(item, "ohms on an inductor")
        elif family == "inductor" and "henries" in figures:
            self._set(item, "dcr_ohms")
        elif family == "inductor":
            self._set(item, "impedance_ohms")
            self.notes.append(f"{item.text}: ohms without henries, read as a bead's impedance")
        elif family == "crystal" and not spelt and prefix in _LARGE:
            self._set(item, "hertz")
        elif family in {"crystal", "fuse", "diode"}:
            self._leave(item, "ohms on a part that has none")
        else:
            self._set_ohms(item, item.value)

    def _unitless(self, item: Item, prefix: str) -> None:
        """Take 10u, 22p, 1m: the family says of what."""
        family = self.family
        if family == "capacitor" and (code := re.fullmatch(r"([1-9]\d[0-689])([KM])", item.text)):
            # 104K: the code in pF with its tolerance letter, no kilofarads
            self._bare_capacitor(Item("number", code[1], float(code[1])))
            self.figures.setdefault("tolerance", letters("tolerance")[code[2]])
        elif family in _BARE and prefix not in _LARGE:
            self._set(item, _BARE[family][0])
        elif family in _OHMIC and prefix == "m":
            self._set_ohms(item, item.value)
        elif family == "crystal" and prefix in {*"pP"}:
            self.figures.setdefault("load_farads", item.value)
        elif family == "crystal" and prefix in {*"kKMm"}:
            self._set(item, "hertz", item.value * (1e9 if prefix == "m" else 1))
        else:
            self._leave(item, "no unit, and the kind of part does not settle it")

    def _bare_number(self, item: Item) -> None:
        """Take a bare number, once it is known whether the text has another main figure."""
        text, value, family, figures = item.text, item.value, self.family, self.figures
        if item.kind == "number or size" and (self._has_main() or family not in _OHMIC):
            self._size(item)
        elif family in _OHMIC and "ohms" not in figures:
            figures["ohms"] = value
            if item.kind == "number or size":
                self.notes.append(f"{text}: a bare number; it is also a chip size")
        elif family == "thermistor" and _is_beta(value):
            figures.setdefault("beta", value)
        elif family == "bead" and "impedance_ohms" not in figures:
            figures["impedance_ohms"] = value
        elif family == "capacitor" and "farads" not in figures:
            self._bare_capacitor(item)
        elif family == "inductor" and "henries" not in figures:
            if re.fullmatch(r"[1-9]\d\d", text):
                henries = scaled(text[:2], int(text[2]) - 6)
                self._read_as(item, "henries", henries, "read as a three-digit code in µH")
            elif "." in text:
                how = "bare number read in µH (common practice)"
                self._read_as(item, "henries", scaled(value, -6), how)
            else:
                self._leave(item, "a bare number on an inductor says no unit")
        elif family == "crystal" and len(text) == 4 and text.isdigit():
            figures["body_mm"] = (int(text[:2]) / 10, int(text[2:]) / 10)
        elif family == "crystal" and "." in text and "hertz" not in figures:
            how = "bare number read in MHz (common practice)"
            self._read_as(item, "hertz", scaled(value, 6), how)
        else:
            self.rest.append(text)

    def _bare_capacitor(self, item: Item) -> None:
        text, farads = item.text, capacitor_code(item.text)
        if farads is not None and text[2] not in "07":
            self._read_as(item, "farads", farads, "read as a three-digit code in pF")
        elif "." in text and item.value < 1:
            how = "bare fraction read in µF (common practice)"
            self._read_as(item, "farads", scaled(item.value, -6), how)
        elif len(text) <= 2:
            how = "bare number read in pF (common practice)"
            self._read_as(item, "farads", scaled(item.value, -12), how)
        else:
            self._leave(item, "a bare number on a capacitor: pF, or a code")

    def _tolerance_letters(self, items: Sequence[Item]) -> None:
        figures, absolute = self.figures, letters("picofarads")
        for item in items:
            alone = item.kind == "tolerance letter"
            letter = item.letter or (item.text if alone else "")
            if item.kind == "absolute" and figures.get("farads"):
                figures.setdefault("tolerance", item.value / figures["farads"])
            picofarads = figures.get("farads", 1.0) * 1e12
            if not letter or not self._has_main():
                self.rest += [letter] if alone and letter else []
            elif letter == "Z" and "farads" in figures:
                figures.setdefault("tolerance", 0.80)
                figures.setdefault("tolerance_minus", 0.20)
            elif letter in absolute and picofarads < 10:
                if absolute[letter] < picofarads:
                    figures.setdefault("tolerance", round(absolute[letter] / picofarads, 4))
            elif alone and letter in {*"BCD"}:
                self.rest.append(letter)  # alone beside 10 pF or more it is hardly a tolerance
            elif letter in letters("tolerance"):
                figures.setdefault("tolerance", letters("tolerance")[letter])


def _is_beta(value: float) -> bool:
    return BETA_RANGE[0] <= value <= BETA_RANGE[1]
