"""Numbers with a unit, as the trade writes them: "2k2" to 2200.0 and back.

SI base units only. The plain notations are settled by one regular expression; a parts list's
whole value string ("0.1uF/16V/X5R") is the business of `part_value`.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import Final, NamedTuple

from nettrace.errors import WrongUsage, excerpt
from nettrace.knowledge import pattern, section


class Quantity(NamedTuple):
    """A number in SI base units with its unit; `unit` is None where the text names none.

    `prefix` is the multiplier letter as written ("" if none); `exact_unit` is False where the
    unit follows from the multiplier alone (`2k2`, `4R7` are ohms by custom).
    """

    value: float
    unit: str | None
    prefix: str
    exact_unit: bool


@cache
def _unit_names() -> dict[str, str]:
    """Return the unit of each spelling in small letters."""
    spellings = section("values", "spellings")
    return {word: unit for unit, words in spellings.items() for word in words.split()}


def _unit_name(text: str) -> str:
    return _unit_names()[text.lower()]


@cache
def _exponent(prefix: str, unit: str | None) -> int:
    """Return the power of ten of a multiplier letter as the trade means it with this unit."""
    prefixes = section("values", "prefixes")
    powers = prefixes["powers"] | prefixes["of_unit"].get(unit, {})
    power: int = powers.get(prefix, powers.get(prefix.lower(), 0))
    return power


def _leads(letter: str, unit: str | None) -> bool:
    """Return whether a value may start with this letter: R47, p33, n33, but not U7, N5 or V5."""
    return letter in "RΩpnuµμL" or (letter in "rkKM" and unit == "Ω")


def scaled(number: float | str, power: int) -> float:
    """Return a number times a power of ten, as the one literal would be read.

    >>> scaled("4.7", -6), scaled(4.7, -6), scaled(4.7e3, 3)
    (4.7e-06, 4.7e-06, 4700000.0)
    """
    digits, _, exponent = str(number).partition("e")
    return float(f"{digits}e{int(exponent or 0) + power}")


def read_quantity(text: str, unit: str | None = None) -> Quantity | None:
    """Return the number and unit of one plain value, None where the text is no such thing.

    Args:
        text: `2k2`, `2.2k`, `4R7`, `0R`, `100n`, `0.1uF`, `22p`, `10kR`, `4.7UF`, `1 mΩ`, `3V3`,
            `1%` (a fraction comes back), `16.000MHz`; a decimal comma is taken too.
        unit: unit that decides a doubtful capital (`1M` is a megohm, `1MHz` in any case).

    Source: IEC 60062 for the letter in place of the decimal point; the rest common practice.

    >>> read_quantity("4K7")
    Quantity(value=4700.0, unit='Ω', prefix='K', exact_unit=False)
    >>> read_quantity("0.1uF").value, read_quantity("1%").value, read_quantity("U7") is None
    (1e-07, 0.01, True)
    """
    text = text.strip()
    match = pattern("values", "plain").fullmatch(text)
    if match:
        sign, digits, power, prefix, unit_text = match.groups()
        prefix = prefix or ""
        found = _unit_name(unit_text) if unit_text else None
        if unit_text is None and prefix == "m" and unit == "m":
            found, prefix = "m", ""
        guess = found
        if found is None and (prefix == "M" or prefix.lower() in {"k", "meg"}):
            guess = "Ω" if unit in {None, "Ω"} else None
        exponent = _exponent(prefix, found or unit) + int(power or 0)
        value = scaled(sign + digits.replace(",", "."), exponent)
        return Quantity(value, guess, prefix, found is not None)
    match = pattern("values", "lettered").fullmatch(text)
    if match:
        sign, before, unit_letter, prefix, after, unit_text = match.groups()
        if not before and not (after and _leads(unit_letter or prefix, unit)):
            return None
        digits = f"{sign}{before or '0'}.{after or '0'}"
        found = _unit_name(unit_text) if unit_text else None
        if unit_letter:
            named = "V" if unit_letter == "V" else "Ω"
            return Quantity(scaled(digits, 0), named, "", True) if found in {None, named} else None
        if prefix == "L":
            return Quantity(scaled(digits, -3), "Ω", "L", False) if found in {None, "Ω"} else None
        guess = found or ("Ω" if prefix in "kKM" else None)
        value = scaled(digits, _exponent(prefix, found or unit))
        return Quantity(value, guess, prefix, found is not None)
    match = re.fullmatch(r"(?:±|\+/-|\+-)?\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*%", text)
    if match:
        return Quantity(scaled(match[1].replace(",", "."), -2), "%", "", True)
    match = re.fullmatch(r"(\d+)/(\d+)\s*[Ww]", text)
    if match and int(match[2]):
        return Quantity(int(match[1]) / int(match[2]), "W", "", True)
    return None


def parse_quantity(text: str, unit: str | None = None) -> float:
    """Return the value a user typed, in SI base units (a percentage as a fraction).

    Args:
        text: one plain value, see `read_quantity`.
        unit: the unit expected: `Ω`, `F`, `H`, `V`, `A`, `W`, `Hz`, `s`, `%`, `m`, `°C` or a
            usual spelling of it; None takes any.

    Raises:
        WrongUsage: not a value, or of another unit; the excerpt marks where reading stopped.

    >>> parse_quantity("2k2"), parse_quantity("4R7", "Ω"), parse_quantity("100n", "F")
    (2200.0, 4.7, 1e-07)
    >>> parse_quantity("10u", "ohms")
    Traceback (most recent call last):
    nettrace.errors.WrongUsage: error: '10u' where a resistance was expected. Write it like 2k2, \
4R7 or 4.7 kΩ.
       1 | 10u
         | ^^^
    """
    wanted = _unit_name(unit) if unit else None
    found = read_quantity(text, wanted)
    stop = _stop(text) if found is None else 0
    if found is not None:
        # a multiplier the unit never has is a slip: 10u of ohms, 10k of farads
        slips = section("values", "prefixes")["never"].get(wanted, "") if found.unit is None else ""
        is_slip = found.prefix != "" and found.prefix in slips
        if not is_slip and (not wanted or found.unit in {None, wanted}):
            return found.value / 100 if wanted == "%" and found.unit is None else found.value
    units = section("values", "units")
    what, example = units[wanted] if wanted else ("a value", "2k2, 100n or 3.3V")
    raise WrongUsage(
        f"'{text}'",
        expected=what,
        hint=f"Write it like {example}.",
        excerpt=excerpt(text, 1, stop + 1, max(1, len(text) - stop)),
    )


def _stop(text: str) -> int:
    """Return the offset of the first character that fits no plain value."""
    lead = len(text) - len(text.lstrip())
    best = 0
    for notation in ("plain", "lettered"):
        match = pattern("values", notation).match(text, lead)
        if match and any(c.isdigit() for c in match[0]):
            best = max(best, match.end())
    return best if best < len(text) else lead


#: Prefixes by power of ten, as they are written.
_LETTERS: Final = (
    (12, "T"), (9, "G"), (6, "M"), (3, "k"), (0, ""), (-3, "m"), (-6, "µ"), (-9, "n"), (-12, "p"),
    (-15, "f"),
)  # fmt: skip


def engineering(value: float, unit: str = "", digits: int = 4) -> str:
    """Return a number for people: at most `digits` significant digits, SI prefix, a blank, unit.

    Args:
        value: in SI base units; infinity is written "∞" (open).
        unit: `Ω`, `F`, `V`...; "" gives the number with its prefix glued on.
        digits: significant digits, trailing zeros dropped.

    >>> engineering(2200, "Ω"), engineering(1e-7, "F"), engineering(0.1 + 0.2, "V")
    ('2.2 kΩ', '100 nF', '300 mV')
    >>> engineering(999.96, "Ω"), engineering(0, "Ω"), engineering(4.7e-6, "H")
    ('1 kΩ', '0 Ω', '4.7 µH')
    """
    if math.isnan(value):
        return f"? {unit}".rstrip()
    if math.isinf(value):
        return f"{'-' if value < 0 else ''}∞ {unit}".rstrip()
    if value == 0:
        return f"0 {unit}".rstrip()
    mantissa, _, power = f"{value:.{digits - 1}e}".partition("e")
    exponent = int(power)
    step, letter = next((pair for pair in _LETTERS if exponent >= pair[0]), _LETTERS[-1])
    number = float(f"{mantissa}e{exponent - step}")
    places = max(0, digits - 1 - (exponent - step))
    shown = f"{number:.{places}f}"
    if "." in shown:
        shown = shown.rstrip("0").rstrip(".")
    return f"{shown} {letter}{unit}" if unit else f"{shown}{letter}"


def percent(fraction: float) -> str:
    """Return a fraction as a percentage for people.

    >>> percent(0.01), percent(0.001), percent(0.2)
    ('1 %', '0.1 %', '20 %')
    """
    return f"{float(f'{fraction * 100:.3g}'):g} %"
