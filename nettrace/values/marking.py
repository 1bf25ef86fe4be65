"""Every meaning that a marking or value text may have, likeliest first, and what replaces it.

A mark on a part says little on its own: `103` is 10 kΩ on a resistor and 10 nF on a capacitor.
Each rule reads one code; all of them are asked, and the order is a judgement.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final, Literal

from nettrace.errors import NothingMatches
from nettrace.knowledge import section
from nettrace.values.codes import capacitor_code, dielectric, letters
from nettrace.values.part_value import PartValue, read_part_value
from nettrace.values.quantity import read_quantity, scaled
from nettrace.values.series import (
    SERIES,
    Combination,
    combinations,
    neighbours,
    series_containing,
    series_of_tolerance,
)
from nettrace.values.sizes import CHIP_SIZES, INCH_CODES

MeaningOf = Literal[
    "ohms", "farads", "henries", "volts", "tolerance", "size", "dielectric", "not fitted",
    "hertz", "amperes", "watts",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a text may say, in SI base units.

    `value` is a number, the inch code of a size, the name of a dielectric, or None (not fitted);
    `tolerance` a fraction; `how` the code it was read by; `score` 0 to 1, for the order only:
    judgement from common practice, no source.
    """

    quantity: MeaningOf
    value: float | str | None
    tolerance: float | None
    how: str
    note: str = ""
    score: float = 0.5


#: Resistors above this are rare on boards (common practice, no source), Ω.
RARE_ABOVE_OHMS: Final = 22e6


def _resistor_code(code: str) -> float | None:
    """Return the ohms of digits and the power of ten (chip resistor data sheets; IEC 60062)."""
    if not re.fullmatch(r"[1-9]\d{2,3}|0{3,4}", code):
        return None
    return scaled(code[:-1], int(code[-1]))


def _point_code(code: str) -> float | None:
    """Return the number of a code with R as the decimal point: 6R8, 12R0, R010."""
    if not re.fullmatch(r"(?i)\d{1,3}R\d{0,3}|R\d{1,4}", code):
        return None
    return float("0" + code.upper().replace("R", ".") + "0")


def _eia96_code(code: str) -> float | None:
    """Return the ohms of two digits and a letter, 1 % (EIA-96 as in three makers' sheets)."""
    match = re.fullmatch(r"(0[1-9]|[1-8]\d|9[0-6])([A-FHR-SX-Z])", code.upper())
    if match is None:
        return None
    return scaled(SERIES["E96"][int(match[1]) - 1], section("values", "codes")["eia96"][match[2]])


def _voltage_code(code: str) -> float | None:
    """Return the rated volts of a power of ten and a letter: 0J, 1C, 2A."""
    match = re.fullmatch(r"([0-3])([A-HJ-LVW])", code.upper())
    voltages = section("values", "codes")["voltage"]
    return scaled(voltages[match[2]], int(match[1])) if match else None


def _digits(text: str) -> Iterator[Meaning]:
    """Three and four digits on resistors, capacitors and inductors, and the bare number."""
    if not re.fullmatch(r"\d{1,4}", text):
        return
    if not text.strip("0"):
        note = "zero-ohm link, 0 to 50 mΩ by data sheets"
        yield Meaning("ohms", 0.0, None, "zero-ohm mark", note, 0.95)
        return
    ohms = _resistor_code(text)
    if ohms is not None and len(text) == 3 and int(text[2]) <= 7:
        usual = int(text[:2]) in {number // 10 for number in SERIES["E24"]}
        yield Meaning("ohms", ohms, 0.05, "3-digit code", "", 0.75 if usual else 0.3)
    if ohms is not None and len(text) == 4 and int(text[3]) <= 6:
        number = int(text[:3])
        usual = number in SERIES["E96"] or number in SERIES["E24"]
        score = (0.85 if usual else 0.3) * (0.7 if text in INCH_CODES else 1)
        score *= 1 if ohms <= RARE_ABOVE_OHMS else 0.4
        yield Meaning("ohms", ohms, 0.01, "4-digit code", "", score)
    farads = capacitor_code(text)
    if farads is not None:
        usual = 10 * int(text[:2]) in SERIES["E24"]
        small = int(text[2]) >= 8
        score = (0.6 if usual else 0.25) + (0.2 if small else 0)
        yield Meaning("farads", farads, None, "3-digit code in pF", "", score)
        if int(text[2]) <= 5:
            henries = scaled(text[:2], int(text[2]) - 6)
            yield Meaning("henries", henries, None, "3-digit code in µH", "", score / 2)
    if text[0] != "0":
        known = bool(series_containing(float(text)))
        note = "a bare number in a parts list, not a mark"
        yield Meaning("ohms", float(text), None, "plain number", note, 0.4 if known else 0.1)


def _eia96(text: str) -> Iterator[Meaning]:
    ohms = _eia96_code(text)
    if ohms is None:
        return
    letter = text[2].upper()
    note = "the less usual of two letters" if letter in "RSH" else ""
    score = 0.5 if note else 0.6 if letter in "AF" else 0.88
    yield Meaning("ohms", ohms, 0.01, "EIA-96", note, score)


def _point(text: str) -> Iterator[Meaning]:
    value = _point_code(text)
    if value is None:
        return
    yield Meaning("ohms", value, None, "R as decimal point", "", 0.9)
    if not text.upper().endswith("R"):
        yield Meaning("henries", scaled(value, -6), None, "R as decimal point, in µH", "", 0.45)
        if value >= 0.1:
            how = "R as decimal point, in pF"
            yield Meaning("farads", scaled(value, -12), None, how, "", 0.4)


def _lettered_code(text: str) -> Iterator[Meaning]:
    """A code with a tolerance letter behind: 104K, 472J, 2R5M, 1002F."""
    match = re.fullmatch(r"(\d{3,4}|\d{0,3}R\d{1,3})([BCDFGHJKMNZ])", text)
    if not match:
        return
    code, letter = match.groups()
    tolerance, note = _letter_tolerance(letter)
    farads = capacitor_code(code)
    point = _point_code(code)
    if point is not None and "R" in code:
        absolute = letters("picofarads").get(letter)
        if absolute and point < 10:
            said = f"±{absolute:g} pF below 10 pF"
            share = round(absolute / point, 6) if absolute < point else None
            how = "code in pF with letter"
            yield Meaning("farads", scaled(point, -12), share, how, said, 0.75)
        score = 0.7 if letter in "MN" else 0.4
        henries = scaled(point, -6)
        yield Meaning("henries", henries, tolerance, "code in µH with letter", "", score)
        how, score = "R as decimal point, with letter", 0.7 if letter in "FGJ" else 0.35
        yield Meaning("ohms", point, tolerance, how, note, score)
        return
    if farads is not None:
        plain_ohms = letter in "KM" and bool(series_containing(float(code)))
        score = 0.5 if plain_ohms and int(code[2]) <= 1 else 0.85
        yield Meaning("farads", farads, tolerance, "3-digit code in pF with letter", note, score)
        if letter in "KMJ" and int(code[2]) <= 5:
            henries = scaled(code[:2], int(code[2]) - 6)
            how = "3-digit code in µH with letter"
            yield Meaning("henries", henries, tolerance, how, "", 0.5 if letter == "M" else 0.3)
    ohms = _resistor_code(code)
    if ohms is not None and letter in "BCDFGJ" and int(code[-1]) <= 7:
        digits = len(code)
        score = 0.9 if digits == 4 else 0.6
        yield Meaning("ohms", ohms, tolerance, f"{digits}-digit code with letter", note, score)


def _letter_tolerance(letter: str) -> tuple[float, str]:
    return letters("asymmetric").get(letter) or (letters("tolerance")[letter], "")


def _plain(text: str) -> Iterator[Meaning]:
    """Values with their unit or multiplier: 2k2, 4K7, 100n, 0.1uF, 3V3, 1%, 16MHz."""
    quantity = read_quantity(text)
    if quantity is None:
        return
    value, unit, prefix, exact = quantity
    if unit is None:
        if not prefix or prefix in "kKMGT":
            return
        how = "IEC 60062 letter code" if re.search(r"[a-zµμ]\d|^[a-zµμ]", text) else "value"
        prefixes = section("values", "marking")["prefixes"]
        for of, score in prefixes.get(prefix.lower(), prefixes["u"]):
            yield Meaning(of, value, None, how, "", score)
        return
    if _point_code(text) is not None:
        return
    of_unit = section("values", "marking")["units"].get(unit)
    if of_unit is None:
        return
    letter_code = re.search(r"\d?[A-Za-zµμ]\d", text) is not None
    how = "value" if exact and not letter_code else "IEC 60062 letter code"
    score = 0.95
    if unit == "Ω" and prefix == "L":
        how, score = "IEC 60062 letter code, L for mΩ (from memory)", 0.5
    elif not exact and not set(series_containing(value)) & {"E24", "E96"}:
        score = 0.3
    elif unit == "Ω" and value > RARE_ABOVE_OHMS:
        score = 0.45
    elif unit in {"F", "H"} and value >= 100:
        score = 0.05
    elif unit in {"A", "F", "H"} and not prefix and _eia96_code(text) is not None:
        score = 0.4
    elif unit in {"A", "F", "H", "V", "W"} and _voltage_code(text) is not None:
        score = 0.55
    tolerance = value if unit == "%" else None
    yield Meaning(of_unit, value, tolerance, how, "", score)


def _with_tolerance_letter(text: str) -> Iterator[Meaning]:
    """A letter code with a tolerance letter: 4K7J, 47KK, 33pJ, 100RF, 4n7K."""
    match = re.fullmatch(r"(\d*[RkKMmpnuµμL]\d*)([BCDFGHJKMN])", text)
    if not match or (_point_code(match[1]) is not None and not match[1].endswith(("R", "r"))):
        return
    quantity = read_quantity(match[1])
    if quantity is None or (quantity.unit is None and not quantity.prefix):
        return
    tolerance = letters("tolerance")[match[2]]
    of: MeaningOf = "ohms" if quantity.unit == "Ω" else "farads"
    how = "IEC 60062 letter code with tolerance"
    if of == "farads" and match[2] == "F":
        return
    yield Meaning(of, quantity.value, tolerance, how, "", 0.93)


def _size(text: str) -> Iterator[Meaning]:
    match = re.fullmatch(r"(\d{4,6})\s*(?:(inch|\")|(?:[Mm]etric|METRIC|M|mm))?", text)
    if not match:
        return
    code, inch_said = match[1], match[2] is not None
    metric_said = not inch_said and match[0] != code
    for size in CHIP_SIZES:
        body = f"{size.length_mm:g} x {size.width_mm:g} mm"
        if size.inch == code and not metric_said:
            score = 0.9 if code[0] == "0" else 0.7
            note = f"{size.metric} metric, {body}"
            yield Meaning("size", size.inch, None, "inch code", note, score)
        if (size.metric == code or (size.inch == "2512" and code == "6332")) and not inch_said:
            clash = any(other.inch == code for other in CHIP_SIZES)
            score = 0.95 if metric_said else 0.45 if clash else 0.8
            note = f"{code} metric, {body}" + ("; the length in mm decides" if clash else "")
            yield Meaning("size", size.inch, None, "metric code", note, score)


def _letter_codes(text: str) -> Iterator[Meaning]:
    """Dielectrics, rated voltages, single letters of tolerance and voltage, E for ohms."""
    found = dielectric(text)
    if found is not None:
        usual = found.kind == 2 or found.code in {"C0G", "C0H", "U2J"}
        how, score = f"EIA-198 class {found.kind}", 0.95 if usual else 0.2
        yield Meaning("dielectric", found.code, None, how, found.text, score)
    upper = text.upper()
    volts = _voltage_code(text)
    if volts is not None:
        score = 0.6 if upper[1] in "AFHVW" else 0.85  # like a number with a unit
        yield Meaning("volts", volts, None, "EIA voltage code", "", score)
    if upper in letters("tolerance") or upper in letters("asymmetric"):
        tolerance, note = _letter_tolerance(upper)
        if upper in letters("picofarads"):
            note = f"below 10 pF ±{letters('picofarads')[upper]:g} pF"
        yield Meaning("tolerance", tolerance, tolerance, "IEC 60062 letter", note, 0.8)
    volts = section("values", "codes")["maker_voltage"].get(upper)
    if volts is not None:
        note = "in one maker's part numbers; others differ"
        yield Meaning("volts", volts, None, "voltage letter", note, 0.3)
    match = re.fullmatch(r"(\d+)E(\d*)", text)
    if match:
        how = "E for ohms (common practice, no source)"
        yield Meaning("ohms", float(f"{match[1]}.{match[2] or 0}"), None, how, "", 0.45)


def _composite(text: str) -> Iterator[Meaning]:
    """A whole parts-list text: 2k2 1% 0201, 0.1uF/16V/X5R, NA(10K), DNP."""
    value = read_part_value(text)
    if value.fitted is False:
        yield Meaning("not fitted", None, None, "parts list", "the position stays empty", 0.97)
    single = value.fitted is None and re.fullmatch(r"[^\s,;/_()@<>=]+", text)
    if single:
        return
    kinds = [None, "resistor", "capacitor", "inductor"]
    if re.search(r"[Hh][Zz]", text):
        kinds.append("crystal")
    for kind in kinds:
        value = read_part_value(text, kind)
        if value.nominal is not None:
            yield from _fields(value)
            return
    yield from _fields(read_part_value(text))


def _fields(value: PartValue) -> Iterator[Meaning]:
    score = 0.96
    main = True
    for field, of, note in section("values", "marking")["fields"]:
        number = getattr(value, field)
        if number is None:
            continue
        yield Meaning(of, number, value.tolerance if main else None, "parts list", note, score)
        main = False
        score -= 0.01
    if value.tolerance is not None and main:
        yield Meaning("tolerance", value.tolerance, value.tolerance, "parts list", "", score)
    if value.dielectric is not None:
        found = dielectric(value.dielectric)
        note = found.text if found else ""
        yield Meaning("dielectric", value.dielectric, None, "parts list", note, score - 0.01)
    if value.size_inch is not None:
        clash = next((n for n in value.notes if n.startswith("size ")), "")
        yield Meaning("size", value.size_inch, None, "parts list", clash, score - 0.02)


def read_bands(text: str) -> tuple[Meaning, ...]:
    """Return what a row of colour names says, the likelier reading direction first.

    Three bands have 20 %, four two digits, five three digits (or four with a temperature
    coefficient where the fourth is gold or silver), six add the coefficient.

    Source: IEC 60062.

    >>> [(m.value, m.tolerance) for m in read_bands("yellow violet red gold")][0]
    (4700.0, 0.05)
    """
    words = [word for word in re.split(r"[\s,;/+-]+", text.strip().lower()) if word]
    colours = section("values", "bands")
    names = {*colours["digits"].split(), *colours["exponents"], "none"}
    bands = [colours["other_names"].get(word, word) for word in words]
    if not bands or not names.issuperset(bands):
        return ()
    if bands == ["black"]:
        note = "one black band in the middle"
        return (Meaning("ohms", 0.0, None, "colour band", note, 0.9),)
    bands = [band for band in bands if band != "none"]
    found: list[Meaning] = []
    for row, score, direction in (
        (bands, 0.9, ""),
        (bands[::-1], 0.35, "read from the other end"),
    ):
        for ohms, tolerance, note in _readings(row):
            notes = "; ".join(word for word in (note, direction) if word)
            found.append(Meaning("ohms", ohms, tolerance, "colour bands", notes, score))
            if len(row) in {3, 4}:
                how = "colour bands, in µH"
                henries = scaled(ohms, -6)
                found.append(Meaning("henries", henries, tolerance, how, notes, score / 3))
    return tuple(found)


def _readings(bands: list[str]) -> Iterator[tuple[float, float, str]]:
    """Yield (ohms, tolerance, note) of one direction."""
    colours, count = section("values", "bands"), len(bands)
    tolerances, coefficients = colours["tolerance"], colours["coefficient"]
    metal = count >= 4 and bands[3] in {"gold", "silver"}
    if count == 3:
        yield from _band_value(bands, 2, 0.20, "")
    elif count == 4 and bands[3] in tolerances:
        yield from _band_value(bands, 2, tolerances[bands[3]], "")
    elif count == 5:
        if metal and bands[4] in coefficients:
            note = f"four bands and {coefficients[bands[4]]} ppm/K"
            yield from _band_value(bands, 2, tolerances[bands[3]], note)
        if bands[4] in tolerances:
            note = "five bands" if metal and bands[4] in coefficients else ""
            yield from _band_value(bands, 3, tolerances[bands[4]], note)
    elif count == 6 and bands[4] in tolerances and bands[5] in coefficients:
        note = f"{coefficients[bands[5]]} ppm/K"
        yield from _band_value(bands, 3, tolerances[bands[4]], note)


def _band_value(
    bands: list[str], digits: int, tolerance: float, note: str
) -> Iterator[tuple[float, float, str]]:
    """Yield what so many digits and their multiplier say, nothing where a band is none of them."""
    names = section("values", "bands")["digits"].split()
    exponents = {name: power for power, name in enumerate(names)}
    exponents |= section("values", "bands")["exponents"]
    colours, multiplier = bands[:digits], bands[digits]
    if multiplier in exponents and colours[0] != "black" and {*names}.issuperset(colours):
        number = "".join(str(names.index(colour)) for colour in colours)
        yield scaled(number, exponents[multiplier]), tolerance, note


_RULES: Final[tuple[Callable[[str], Iterable[Meaning]], ...]] = (
    _composite, read_bands, _plain, _with_tolerance_letter, _lettered_code, _digits, _point, _eia96,
    _size, _letter_codes,
)  # fmt: skip


def meanings(text: str) -> tuple[Meaning, ...]:
    """Return every meaning of a marking or value text, likeliest first.

    Args:
        text: what is printed on a part or stands in a parts list; colour bands by name
            (`yellow violet red gold`).

    Returns:
        Meanings in SI base units, equal ones once; empty where no rule reads the text.

    Source: IEC 60062, EIA-96, EIA-198, data sheets of chip parts; order by common practice.

    >>> [(m.value, m.how) for m in meanings("01C")]
    [(10000.0, 'EIA-96')]
    >>> [(m.quantity, m.value) for m in meanings("30R")]
    [('ohms', 30.0), ('ohms', 2.0)]
    """
    text = text.strip()
    best: dict[tuple[str, float | str | None], Meaning] = {}
    for rule in _RULES:
        for meaning in rule(text):
            key = (meaning.quantity, meaning.value)
            known = best.get(key)
            if known is None or meaning.score > known.score:
                best[key] = meaning
    return tuple(sorted(best.values(), key=lambda meaning: -meaning.score))


@dataclass(frozen=True, slots=True)
class ValueAnswer:
    """What a text means and, for its likeliest resistance, capacitance or inductance, the rest.

    `series` are those that hold the value, `between` its neighbours in `combined_series`,
    `made_of` the one- and two-part combinations that come within the tolerance.
    """

    text: str
    meanings: tuple[Meaning, ...]
    series: tuple[str, ...] = ()
    between: tuple[float, float] | None = None
    combined_series: str = ""
    made_of: tuple[Combination, ...] = ()


def explain_value(
    text: str, series: str | None = None, tolerance: float | None = None, limit: int = 6
) -> ValueAnswer:
    """Return the meanings of a text and how to make its value from parts at hand.

    Args:
        text: a marking or value text.
        series: E series to combine from; None takes the one of the text's tolerance, else E24.
        tolerance: greatest error of a combination, fraction; None takes the text's, else 1 %.
        limit: how many combinations at most.

    Raises:
        NothingMatches: no rule reads the text.
        ValueError: no such series.

    >>> answer = explain_value("4k7")
    >>> answer.series, answer.between, answer.made_of[0].text()
    (('E3', 'E6', 'E12', 'E24', 'E192'), (4300.0, 5100.0), '4.7 kΩ')
    """
    found = meanings(text)
    if not found:
        raise NothingMatches(
            f"no meaning known for '{text}'",
            hint="Markings look like 472, 01C, 4R7, 104K; values like 2k2, 0.1uF/16V/X5R.",
        )
    main = next((m for m in found if m.quantity in {"ohms", "farads", "henries"}), None)
    value = main.value if main else None
    if main is None or not isinstance(value, float) or value <= 0:
        return ValueAnswer(text, found)
    if series is None:
        told = main.tolerance if main.tolerance and main.tolerance < 1 else None
        series = series_of_tolerance(told)[-1] if told else "E24"
    if tolerance is None:
        tolerance = main.tolerance or 0.01
    return ValueAnswer(
        text,
        found,
        series_containing(value),
        neighbours(value, series),
        series,
        combinations(value, series, tolerance, limit=limit, capacitors=main.quantity == "farads"),
    )
