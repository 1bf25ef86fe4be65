"""Codes printed on parts: digits and letters of chips, ceramic dielectrics, colour bands.

Each function reads one code; what a text may mean in all is the business of `marking`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from nettrace.knowledge import section
from nettrace.values.quantity import scaled
from nettrace.values.series import SERIES

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


@cache
def _table(which: str) -> Mapping[str, Any]:
    return section("values", which)


def letters(which: str) -> Mapping[str, Any]:
    """Return letters of IEC 60062 with what they say.

    Args:
        which: `tolerance` (fraction), `asymmetric` (the greater side, fraction, and how it is
            written), or `picofarads` (±, of capacitors below 10 pF).
    """
    found: Mapping[str, Any] = _table("letters")[which]
    return found


# ---- chip resistors and capacitors


def eia96(code: str) -> float | None:
    """Return the ohms of an EIA-96 code (two digits and a letter, 1 %), None if it is none.

    Source: EIA-96 as in three makers' sheets.

    >>> eia96("01C"), eia96("68X"), eia96("30R"), eia96("97A")
    (10000.0, 49.9, 2.0, None)
    """
    match = re.fullmatch(r"(\d\d)([A-FHR-SX-Z])", code.upper())
    if not match or not 1 <= int(match[1]) <= 96:
        return None
    return scaled(SERIES["E96"][int(match[1]) - 1], _table("codes")["eia96"][match[2]])


def resistor_code(code: str) -> float | None:
    """Return the ohms of a 3-digit or 4-digit code: digits and the power of ten.

    Source: chip resistor data sheets; IEC 60062.

    >>> resistor_code("472"), resistor_code("4992"), resistor_code("000"), resistor_code("0402")
    (4700.0, 49900.0, 0.0, None)
    """
    if re.fullmatch(r"0{1,4}", code):
        return 0.0
    if not re.fullmatch(r"[1-9]\d{2,3}", code):
        return None
    return scaled(code[:-1], int(code[-1]))


def point_code(code: str) -> float | None:
    """Return the number of a code with R as the decimal point: 6R8, 12R0, R010.

    >>> point_code("6R8"), point_code("R010"), point_code("R")
    (6.8, 0.01, None)
    """
    if not re.fullmatch(r"(?:\d{1,3}R\d{0,3}|R\d{1,4})", code.upper()):
        return None
    return float("0" + code.upper().replace("R", ".") + "0")


def capacitor_code(code: str) -> float | None:
    """Return the farads of a 3-digit code in pF: 104, 479 (8 is ×0.01, 9 is ×0.1).

    Source: capacitor data sheets; IEC 60062.

    >>> capacitor_code("104"), capacitor_code("479"), capacitor_code("470")
    (1e-07, 4.7e-12, 4.7e-11)
    """
    if not re.fullmatch(r"[1-9]\d\d", code):
        return None
    return scaled(code[:2], {"8": -2, "9": -1}.get(code[2], int(code[2])) - 12)


def eia_voltage(code: str) -> float | None:
    """Return the rated volts of an EIA code: a power of ten and a letter.

    >>> eia_voltage("0J"), eia_voltage("1C"), eia_voltage("2A"), eia_voltage("1V")
    (6.3, 16.0, 100.0, 35.0)
    """
    match = re.fullmatch(r"([0-3])([A-HJ-LVW])", code.upper())
    return scaled(_table("codes")["voltage"][match[2]], int(match[1])) if match else None


def maker_voltage(letter: str) -> float | None:
    """Return the rated volts of a single letter in one maker's part numbers, None if none.

    >>> maker_voltage("E")
    16.0
    """
    volts: float | None = _table("codes")["maker_voltage"].get(letter.upper())
    return volts


# ---- ceramic dielectrics


@dataclass(frozen=True, slots=True)
class Dielectric:
    """A ceramic dielectric.

    Class 2 has a temperature range in °C and the greatest change as fractions; class 1 has a
    coefficient and its spread in ppm/°C.
    """

    code: str
    kind: int
    low_celsius: int | None = None
    high_celsius: int | None = None
    change_down: float | None = None
    change_up: float | None = None
    ppm: float | None = None
    ppm_spread: float | None = None

    @property
    def text(self) -> str:
        """The code in words for people."""
        if self.kind == 1:
            sign = "" if not self.ppm else f"{self.ppm:+g}"
            return f"class 1, {sign or '0'} ±{self.ppm_spread:g} ppm/°C, no loss under bias"
        down, up = self.change_down or 0.0, self.change_up or 0.0
        change = f"±{up * 100:g} %" if down == up else f"+{up * 100:g}/−{down * 100:g} %"
        return (
            f"class 2, {self.low_celsius} to {self.high_celsius} °C, {change}, "
            "loses capacitance under bias"
        )


def dielectric(text: str) -> Dielectric | None:
    """Return the dielectric a code names, None if it is none.

    Source: EIA-198; TI SLAA701B tables 1 to 16 for class 2.

    >>> dielectric("X7R").text
    'class 2, -55 to 125 °C, ±15 %, loses capacitance under bias'
    >>> dielectric("NP0").code, dielectric("U2J").ppm
    ('C0G', -750.0)
    """
    known = _table("dielectrics")
    code = text.strip().upper()
    code = known["other_names"].get(code, code)
    if len(code) != 3:
        return None
    first, second, third = code
    if first in known["low"] and second in known["high"] and third in known["change"]:
        down, up = known["change"][third]
        return Dielectric(code, 2, known["low"][first], known["high"][second], down, up)
    significant, multiplier = known["significant"].get(first), known["multiplier"].get(second)
    if significant is not None and multiplier is not None and third in known["spread"]:
        ppm = float(f"{significant * multiplier:.6g}") + 0.0
        return Dielectric(code, 1, ppm=ppm, ppm_spread=known["spread"][third])
    return None


@cache
def listed_dielectrics() -> frozenset[str]:
    """Return the codes that are taken for a dielectric in a value text."""
    known = _table("dielectrics")
    lows, highs, changes = known["in_lists"]
    codes = {low + high + change for low in lows for high in highs for change in changes}
    return frozenset(codes | {*known["names"].split()})


# ---- colour bands


def read_bands(text: str) -> tuple[Meaning, ...]:
    """Return what a row of colour names says, the likelier reading direction first.

    Three bands have 20 %, four two digits, five three digits (or four with a temperature
    coefficient where the fourth is gold or silver), six add the coefficient.

    Source: IEC 60062.

    >>> [(m.value, m.tolerance) for m in read_bands("yellow violet red gold")][0]
    (4700.0, 0.05)
    """
    words = [word for word in re.split(r"[\s,;/+-]+", text.strip().lower()) if word]
    colours = _table("bands")
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


def _readings(bands: list[str]) -> list[tuple[float, float, str]]:
    """Return (ohms, tolerance, note) of one direction."""
    tolerances, coefficients = _table("bands")["tolerance"], _table("bands")["coefficient"]
    count = len(bands)
    if count == 3:
        return _band_value(bands[:2], bands[2], 0.20, "")
    if count == 4 and bands[3] in tolerances:
        return _band_value(bands[:2], bands[2], tolerances[bands[3]], "")
    found: list[tuple[float, float, str]] = []
    if count == 5 and bands[3] in {"gold", "silver"} and bands[4] in coefficients:
        note = f"four bands and {coefficients[bands[4]]} ppm/K"
        found = _band_value(bands[:2], bands[2], tolerances[bands[3]], note)
    if count == 5 and bands[4] in tolerances:
        note = "five bands" if bands[3] in {"gold", "silver"} and bands[4] in coefficients else ""
        found += _band_value(bands[:3], bands[3], tolerances[bands[4]], note)
    if count == 6 and bands[4] in tolerances and bands[5] in coefficients:
        note = f"{coefficients[bands[5]]} ppm/K"
        found = _band_value(bands[:3], bands[3], tolerances[bands[4]], note)
    return found


def _band_value(
    colours: list[str], multiplier: str, tolerance: float, note: str
) -> list[tuple[float, float, str]]:
    digits = _table("bands")["digits"].split()
    exponents = {name: power for power, name in enumerate(digits)} | _table("bands")["exponents"]
    if multiplier not in exponents or colours[0] == "black" or not {*digits}.issuperset(colours):
        return []
    number = "".join(str(digits.index(colour)) for colour in colours)
    return [(scaled(number, exponents[multiplier]), tolerance, note)]
