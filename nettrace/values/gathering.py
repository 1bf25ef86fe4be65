"""Items of a value text become the figures of a part, by the part's family."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final, TypedDict

from nettrace.values.sizes import METRIC_CODES, chip_size, read_size
from nettrace.values.words import TOLERANCE_LETTERS, Family, Item

__all__ = ["Figures", "gather"]


class Figures(TypedDict, total=False):
    """The fields of `part_value.PartValue` that a text gave."""

    ohms: float
    farads: float
    henries: float
    hertz: float
    volts: float
    watts: float
    amperes: float
    tolerance: float
    tolerance_minus: float
    dielectric: str
    size_inch: str
    impedance_ohms: float
    impedance_hertz: float
    dcr_ohms: float
    beta: float
    load_farads: float
    tempco_ppm: float
    count: int
    body_mm: tuple[float, float]
    remainder: str
    notes: tuple[str, ...]


#: Beta constants of the trade's NTC thermistors, K (common practice, no source).
BETA_RANGE: Final = (2000.0, 5500.0)

#: Above this a number with a bare unit letter, alone in a text, is a part number (3296W, 431A).
PART_NUMBER_FROM: Final = 100.0

#: Tolerance letters of capacitors below 10 pF, pF (IEC 60062).
_PICOFARADS: Final = {"B": 0.1, "C": 0.25, "D": 0.5, "F": 1.0, "G": 2.0}

_BEAD: Final = re.compile(r"FB\d{4}|.*\d\s*(?:[RΩ]|[Oo]hms?)\s*@")
_POINT: Final = re.compile(r"\d*[rR]\d+")
_CODE: Final = re.compile(r"[1-9]\d[0-9]")


def gather(items: Sequence[Item], rest: str, text: str, family: Family) -> Figures:
    """Return the figures that the items of one text give a part of this family.

    The first figure of a sort counts; a second one that contradicts it is noted and left in the
    remainder.
    """
    # beads stand under L as often as under FB
    if family in {"unknown", "inductor"} and _BEAD.match(text):
        family = "bead"
    return _Gathering(text, family, rest).take(items)


class _Gathering:
    """The figures found so far; lives for one text."""

    def __init__(self, text: str, family: Family, rest: str) -> None:
        self.text = text
        self.family: Family = family
        self.figures: Figures = {}
        self.notes: list[str] = []
        self.rest: list[str] = [rest] if rest else []
        self.late: list[Item] = []

    def take(self, items: Sequence[Item]) -> Figures:
        for item in items:
            self._one(item)
        for item in self.late:
            self._late(item)
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

    def _note(self, item: Item, why: str) -> None:
        self.notes.append(f"{item.text}: {why}")
        self.rest.append(item.text)

    def _one(self, item: Item) -> None:
        figures = self.figures
        match item.kind:
            case "quantity":
                self._quantity(item)
            case "tolerance":
                figures.setdefault("tolerance", item.value)
            case "tolerance minus":
                figures["tolerance_minus"] = item.value
            case "dielectric":
                figures.setdefault("dielectric", item.text)
            case "ppm" if self.family == "crystal":
                figures.setdefault("tolerance", float(f"{item.value}e-6"))
            case "ppm":
                figures["tempco_ppm"] = item.value
            case "count":
                figures["count"] = int(item.value)
            case "body":
                figures["body_mm"] = (item.value, item.width)
            case "dcr":
                figures["dcr_ohms"] = item.value
            case "beta":
                figures["beta"] = item.value
            case "impedance":
                figures["impedance_ohms"] = item.value
            case "impedance frequency":
                figures["impedance_hertz"] = item.value
            case "load":
                figures["load_farads"] = item.value
            case "size":
                self._size(item)
            case "tolerance letter" | "absolute" | "mounting":
                pass
            case _:
                self.late.append(item)

    def _size(self, item: Item) -> None:
        known = self.figures.get("size_inch")
        row = chip_size(known) if known else None
        code = item.text[:-1] if item.text[-1:].isalpha() else item.text
        code = re.sub(r"\D", "", code)
        if row is not None:
            if code not in {row.metric, row.inch}:
                self._note(item, f"a second size beside {row.inch}")
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
        quantity = item.quantity
        if quantity is None:
            return
        family, unit = self.family, quantity.unit
        if (
            unit == "F"
            and quantity.prefix in {"k", "K", "M"}
            and family in {"resistor", "thermistor"}
        ):
            # 4K7F is 4.7 kΩ ±1 %: no resistor has farads
            self.figures.setdefault("tolerance", TOLERANCE_LETTERS["F"])
            scale = 1.0 if quantity.prefix != "M" else 1e12
            self._set_ohms(item, item.value * scale)
            return
        if family == "unknown" and quantity.exact_unit and not quantity.prefix:
            alone = item.text == self.text
            if unit in {"V", "A", "W", "H", "F"} and item.value >= PART_NUMBER_FROM and alone:
                self._note(item, "looks like a part number, not a value")
                return
        match unit:
            case "Ω":
                self._ohms(item)
            case "F" if family == "crystal" or "hertz" in self.figures:
                self.figures.setdefault("load_farads", item.value)
            case "F":
                self._set(item, "farads")
            case "H":
                self._set(item, "henries")
            case "V":
                self._set(item, "volts")
            case "A":
                self._set(item, "amperes")
            case "W":
                self._set(item, "watts")
            case "Hz" if family in {"bead", "inductor"}:
                self.figures.setdefault("impedance_hertz", item.value)
            case "Hz":
                self._set(item, "hertz")
            case None:
                self._unitless(item, quantity.prefix)
            case _:
                self.rest.append(item.text)

    def _set(self, item: Item, field: str, value: float | None = None) -> None:
        value = item.value if value is None else value
        known = self.figures.get(field)
        if known is None:
            self.figures[field] = value  # type: ignore[literal-required]
        elif known != value:
            self._note(item, "a second figure of the same sort")

    def _set_ohms(self, item: Item, value: float) -> None:
        if "ohms" in self.figures and self.family == "thermistor" and _is_beta(value):
            self.figures.setdefault("beta", value)
            return
        self._set(item, "ohms", value)

    def _ohms(self, item: Item) -> None:
        family, figures = self.family, self.figures
        written = item.text.removesuffix(item.letter)
        point = _POINT.fullmatch(written) is not None
        spelt = item.quantity is not None and item.quantity.exact_unit
        prefix = item.quantity.prefix if item.quantity else ""
        if family == "bead":
            field = "dcr_ohms" if "impedance_ohms" in figures else "impedance_ohms"
            self._set(item, field)
        elif family == "capacitor":
            if point and "farads" not in figures:
                digits = float(written.upper().replace("R", "."))
                figures["farads"] = float(f"{digits}e-12")
                self.notes.append(f"{item.text}: R is the point, read in pF")
            else:
                self._note(item, "ohms on a capacitor; an ESR or a tolerance letter")
        elif family == "inductor":
            if point and "henries" not in figures:
                digits = float(written.upper().replace("R", "."))
                figures["henries"] = float(f"{digits}e-6")
                self.notes.append(f"{item.text}: R is the point, read in µH")
            elif spelt and "henries" in figures:
                self._set(item, "dcr_ohms")
            elif spelt:
                self._set(item, "impedance_ohms")
                self.notes.append(f"{item.text}: ohms without henries, read as a bead's impedance")
            else:
                self._note(item, "ohms on an inductor")
        elif family == "crystal" and not spelt and prefix in {"k", "K", "M"}:
            self._set(item, "hertz")
        elif family in {"crystal", "fuse", "diode"}:
            self._note(item, "ohms on a part that has none")
        else:
            self._set_ohms(item, item.value)

    def _unitless(self, item: Item, prefix: str) -> None:
        """Take 10u, 22p, 1m: the family says of what."""
        family = self.family
        if family == "capacitor" and (code := re.fullmatch(r"([1-9]\d[0-689])([KM])", item.text)):
            # 104K: the code in pF with its tolerance letter, no kilofarads
            self._bare_capacitor(Item("number", code[1], float(code[1])))
            self.figures.setdefault("tolerance", TOLERANCE_LETTERS[code[2]])
        elif family == "capacitor" and prefix not in {"k", "K", "M"}:
            self._set(item, "farads")
        elif family == "inductor" and prefix not in {"k", "K", "M"}:
            self._set(item, "henries")
        elif family in {"resistor", "thermistor"} and prefix == "m":
            self._set_ohms(item, item.value)
        elif family == "crystal" and prefix in {"p", "P"}:
            self.figures.setdefault("load_farads", item.value)
        elif family == "crystal" and prefix in {"k", "K", "M", "m"}:
            self._set(item, "hertz", item.value * (1e9 if prefix == "m" else 1))
        else:
            self._note(item, "no unit, and the kind of part does not settle it")

    def _late(self, item: Item) -> None:
        """Take a bare number, once it is known whether the text has another main figure."""
        if item.kind == "number or size" and (
            self._has_main() or self.family not in {"resistor", "thermistor"}
        ):
            self._size(item)
            return
        text, value, figures = item.text, item.value, self.figures
        match self.family:
            case "resistor" | "thermistor" if "ohms" not in figures:
                figures["ohms"] = value
                if item.kind == "number or size":
                    self.notes.append(f"{text}: a bare number; it is also a chip size")
            case "thermistor" if _is_beta(value):
                figures.setdefault("beta", value)
            case "bead" if "impedance_ohms" not in figures:
                figures["impedance_ohms"] = value
            case "capacitor" if "farads" not in figures:
                self._bare_capacitor(item)
            case "inductor" if "henries" not in figures:
                if _CODE.fullmatch(text):
                    figures["henries"] = float(f"{text[:2]}e{int(text[2]) - 6}")
                    self.notes.append(f"{text}: read as a three-digit code in µH")
                elif "." in text:
                    figures["henries"] = float(f"{text}e-6")
                    self.notes.append(f"{text}: bare number read in µH (common practice)")
                else:
                    self._note(item, "a bare number on an inductor says no unit")
            case "crystal" if len(text) == 4 and text.isdigit():
                figures["body_mm"] = (int(text[:2]) / 10, int(text[2:]) / 10)
            case "crystal" if "." in text and "hertz" not in figures:
                figures["hertz"] = float(f"{text}e6")
                self.notes.append(f"{text}: bare number read in MHz (common practice)")
            case _:
                self.rest.append(text)

    def _bare_capacitor(self, item: Item) -> None:
        text = item.text
        if re.fullmatch(r"[1-9]\d[1-689]", text):
            exponent = {"8": -2, "9": -1}.get(text[2], int(text[2]))
            self.figures["farads"] = float(f"{text[:2]}e{exponent - 12}")
            self.notes.append(f"{text}: read as a three-digit code in pF")
        elif "." in text and item.value < 1:
            self.figures["farads"] = float(f"{text}e-6")
            self.notes.append(f"{text}: bare fraction read in µF (common practice)")
        elif len(text) <= 2:
            self.figures["farads"] = float(f"{text}e-12")
            self.notes.append(f"{text}: bare number read in pF (common practice)")
        else:
            self._note(item, "a bare number on a capacitor: pF, or a code")

    def _tolerance_letters(self, items: Sequence[Item]) -> None:
        figures = self.figures
        for item in items:
            letter = item.letter or (item.text if item.kind == "tolerance letter" else "")
            if item.kind == "absolute" and figures.get("farads"):
                figures.setdefault("tolerance", item.value / figures["farads"])
            if not letter or not self._has_main():
                if item.kind == "tolerance letter" and letter:
                    self.rest.append(letter)
                continue
            picofarads = figures.get("farads", 1.0) * 1e12
            if letter == "Z" and "farads" in figures:
                figures.setdefault("tolerance", 0.80)
                figures.setdefault("tolerance_minus", 0.20)
            elif letter in _PICOFARADS and picofarads < 10:
                if _PICOFARADS[letter] < picofarads:
                    tolerance = round(_PICOFARADS[letter] / picofarads, 4)
                    figures.setdefault("tolerance", tolerance)
            elif item.kind == "tolerance letter" and letter in {"B", "C", "D"}:
                self.rest.append(letter)  # alone beside 10 pF or more it is hardly a tolerance
            elif letter in TOLERANCE_LETTERS:
                figures.setdefault("tolerance", TOLERANCE_LETTERS[letter])


def _is_beta(value: float) -> bool:
    return BETA_RANGE[0] <= value <= BETA_RANGE[1]
