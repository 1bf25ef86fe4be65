"""Ceramic dielectric codes of EIA-198: temperature range and drift, class 1 coefficients."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["Dielectric", "dielectric"]

_LOW: Final = {"X": -55, "Y": -30, "Z": 10}
_HIGH: Final = {"4": 65, "5": 85, "6": 105, "7": 125, "8": 150, "9": 200}
#: Greatest change over the range, fraction (down, up).
_CHANGE: Final[dict[str, tuple[float, float]]] = {
    "A": (0.01, 0.01), "B": (0.015, 0.015), "C": (0.022, 0.022), "D": (0.033, 0.033),
    "E": (0.047, 0.047), "F": (0.075, 0.075), "P": (0.10, 0.10), "R": (0.15, 0.15),
    "S": (0.22, 0.22), "T": (0.33, 0.22), "U": (0.56, 0.22), "V": (0.82, 0.22),
}  # fmt: skip

# class 1 letters from memory of EIA-198; C0G and U2J are confirmed
_SIGNIFICANT: Final = {
    "C": 0.0, "B": 0.3, "L": 0.8, "A": 0.9, "M": 1.0, "P": 1.5, "R": 2.2, "S": 3.3, "T": 4.7,
    "U": 7.5,
}  # fmt: skip
_MULTIPLIER: Final = {
    "0": -1, "1": -10, "2": -100, "3": -1000, "5": 1, "6": 10, "7": 100, "8": 1000,
}  # fmt: skip
_SPREAD: Final = {"G": 30, "H": 60, "J": 120, "K": 250, "L": 500, "M": 1000, "N": 2500}
_CLASS_1_NAMES: Final = {"NP0": "C0G", "NPO": "C0G", "COG": "C0G", "COH": "C0H", "N750": "U2J"}


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
    code = text.strip().upper()
    code = _CLASS_1_NAMES.get(code, code)
    if len(code) != 3:
        return None
    first, second, third = code[0], code[1], code[2]
    if first in _LOW and second in _HIGH and third in _CHANGE:
        down, up = _CHANGE[third]
        return Dielectric(code, 2, _LOW[first], _HIGH[second], down, up)
    if first in _SIGNIFICANT and second in _MULTIPLIER and third in _SPREAD:
        ppm = float(f"{_SIGNIFICANT[first] * _MULTIPLIER[second]:.6g}") + 0.0
        return Dielectric(code, 1, ppm=ppm, ppm_spread=_SPREAD[third])
    return None
