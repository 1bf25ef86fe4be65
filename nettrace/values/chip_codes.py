"""Codes printed on chip resistors and capacitors; each function reads one code."""

from __future__ import annotations

import re
from typing import Final

from nettrace.values.series import SERIES

__all__ = [
    "capacitor_code",
    "eia96",
    "eia_voltage",
    "maker_voltage",
    "point_code",
    "resistor_code",
]

#: EIA-96 multiplier letters as powers of ten; Y and R, X and S, B and H are pairs.
_EIA96: Final = {
    "Z": -3, "Y": -2, "R": -2, "X": -1, "S": -1, "A": 0, "B": 1, "H": 1, "C": 2, "D": 3, "E": 4,
    "F": 5,
}  # fmt: skip
#: Mantissa letters of the EIA voltage code (R10 row), and the three extra ones.
_VOLTAGE: Final = {
    "A": 1.0, "B": 1.25, "C": 1.6, "D": 2.0, "E": 2.5, "F": 3.15, "G": 4.0, "H": 5.0, "J": 6.3,
    "K": 8.0, "V": 3.5, "W": 4.5, "L": 5.5,
}  # fmt: skip
#: Letters in part numbers of one large maker (Taiyo Yuden); others use others.
_MAKER_VOLTAGE: Final = {"A": 4.0, "J": 6.3, "L": 10.0, "E": 16.0, "T": 25.0, "G": 35.0, "U": 50.0}


def eia96(code: str) -> float | None:
    """Return the ohms of an EIA-96 code (two digits and a letter, 1 %), None if it is none.

    Source: EIA-96 as in three makers' sheets.

    >>> eia96("01C"), eia96("68X"), eia96("30R"), eia96("97A")
    (10000.0, 49.9, 2.0, None)
    """
    match = re.fullmatch(r"(\d\d)([A-FHR-SX-Z])", code.upper())
    if not match or not 1 <= int(match[1]) <= 96:
        return None
    return float(f"{SERIES['E96'][int(match[1]) - 1]}e{_EIA96[match[2]]}")


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
    return float(f"{code[:-1]}e{code[-1]}")


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
    exponent = {"8": -2, "9": -1}.get(code[2], int(code[2]))
    return float(f"{code[:2]}e{exponent - 12}")


def eia_voltage(code: str) -> float | None:
    """Return the rated volts of an EIA code: a power of ten and a letter.

    >>> eia_voltage("0J"), eia_voltage("1C"), eia_voltage("2A"), eia_voltage("1V")
    (6.3, 16.0, 100.0, 35.0)
    """
    match = re.fullmatch(r"([0-3])([A-HJ-LVW])", code.upper())
    if not match:
        return None
    return float(f"{_VOLTAGE[match[2]]}e{match[1]}")


def maker_voltage(letter: str) -> float | None:
    """Return the rated volts of a single letter in one maker's part numbers, None if none.

    >>> maker_voltage("E")
    16.0
    """
    return _MAKER_VOLTAGE.get(letter.upper())
