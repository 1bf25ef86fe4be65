"""Colour bands of resistors and inductors (IEC 60062)."""

from __future__ import annotations

import re
from typing import Final

from nettrace.values.meaning import Meaning

__all__ = ["read_bands"]

_DIGITS: Final = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey",
                  "white")  # fmt: skip
_EXPONENT: Final = {name: digit for digit, name in enumerate(_DIGITS)} | {
    "gold": -1, "silver": -2, "pink": -3,
}  # fmt: skip
# orange, yellow and grey as in the 2016 edition (grey was 0.05 % before); all from memory
_TOLERANCE: Final = {
    "brown": 0.01, "red": 0.02, "orange": 0.0005, "yellow": 0.0002, "green": 0.005,
    "blue": 0.0025, "violet": 0.001, "grey": 0.0001, "gold": 0.05, "silver": 0.10,
}  # fmt: skip
# temperature coefficient, ppm/K, from memory of IEC 60062
_COEFFICIENT: Final = {
    "black": 250, "brown": 100, "red": 50, "orange": 15, "yellow": 25, "green": 20, "blue": 10,
    "violet": 5, "grey": 1,
}  # fmt: skip
#: Colour names and the two-letter codes of IEC 60757.
_NAMES: Final = {name: name for name in (*_DIGITS, "gold", "silver", "pink", "none")} | {
    "gray": "grey", "purple": "violet", "bk": "black", "bn": "brown", "rd": "red",
    "og": "orange", "ye": "yellow", "gn": "green", "bu": "blue", "vt": "violet", "gy": "grey",
    "wh": "white", "pk": "pink", "gd": "gold", "sr": "silver",
}  # fmt: skip


def read_bands(text: str) -> tuple[Meaning, ...]:
    """Return what a row of colour names says, the likelier reading direction first.

    Three bands have 20 %, four two digits, five three digits (or four with a temperature
    coefficient where the fourth is gold or silver), six add the coefficient.

    Source: IEC 60062.

    >>> [(m.value, m.tolerance) for m in read_bands("yellow violet red gold")][0]
    (4700.0, 0.05)
    """
    words = [word for word in re.split(r"[\s,;/+-]+", text.strip().lower()) if word]
    bands = [_NAMES.get(word, "") for word in words]
    if not bands or "" in bands:
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
                henries = float(f"{ohms}e-6")
                found.append(
                    Meaning("henries", henries, tolerance, "colour bands, in µH", notes, score / 3)
                )
    return tuple(found)


def _readings(bands: list[str]) -> list[tuple[float, float, str]]:
    """Return (ohms, tolerance, note) of one direction."""
    if len(bands) == 3:
        return _value(bands[:2], bands[2], 0.20, "")
    if len(bands) == 4 and bands[3] in _TOLERANCE:
        return _value(bands[:2], bands[2], _TOLERANCE[bands[3]], "")
    if len(bands) == 5 and bands[3] in {"gold", "silver"} and bands[4] in _COEFFICIENT:
        note = f"four bands and {_COEFFICIENT[bands[4]]} ppm/K"
        four = _value(bands[:2], bands[2], _TOLERANCE[bands[3]], note)
        if bands[4] not in _TOLERANCE:
            return four
        return four + _value(bands[:3], bands[3], _TOLERANCE[bands[4]], "five bands")
    if len(bands) == 5 and bands[4] in _TOLERANCE:
        return _value(bands[:3], bands[3], _TOLERANCE[bands[4]], "")
    if len(bands) == 6 and bands[4] in _TOLERANCE and bands[5] in _COEFFICIENT:
        note = f"{_COEFFICIENT[bands[5]]} ppm/K"
        return _value(bands[:3], bands[3], _TOLERANCE[bands[4]], note)
    return []


def _value(
    digits: list[str], multiplier: str, tolerance: float, note: str
) -> list[tuple[float, float, str]]:
    if multiplier not in _EXPONENT or any(digit not in _DIGITS for digit in digits):
        return []
    if digits[0] == "black":
        return []
    number = "".join(str(_DIGITS.index(digit)) for digit in digits)
    return [(float(f"{number}e{_EXPONENT[multiplier]}"), tolerance, note)]
