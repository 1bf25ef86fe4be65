"""Words shared by the readers of value texts: families of parts, items, standard letters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from nettrace.values.quantity import Quantity

__all__ = [
    "DIELECTRICS",
    "DIELECTRIC_ALIASES",
    "TOLERANCE_LETTERS",
    "Family",
    "Item",
    "family_of",
]

Family = Literal[
    "resistor", "thermistor", "capacitor", "inductor", "bead", "crystal", "fuse", "diode",
    "valueless", "unknown",
]  # fmt: skip

#: Words of a part's kind that decide the family; the first that occurs wins.
_FAMILY_WORDS: Final[tuple[tuple[str, Family], ...]] = (
    ("thermistor", "thermistor"), ("ntc", "thermistor"), ("varistor", "valueless"),
    ("bead", "bead"), ("ferrite", "bead"),
    ("resistor", "resistor"), ("shunt", "resistor"), ("potentiometer", "resistor"),
    ("trimmer", "resistor"), ("zero-ohm", "resistor"),
    ("capacitor", "capacitor"), ("choke", "inductor"), ("inductor", "inductor"),
    ("coil", "inductor"), ("crystal", "crystal"), ("resonator", "crystal"),
    ("oscillator", "crystal"), ("fuse", "fuse"), ("diode", "diode"), ("zener", "diode"),
    ("tvs", "diode"), ("esd", "diode"), ("led", "diode"), ("unknown", "unknown"),
)  # fmt: skip
_FAMILY_LETTERS: Final[dict[str, Family]] = {
    "r": "resistor", "rn": "resistor", "c": "capacitor", "l": "inductor", "fb": "bead",
    "y": "crystal", "x": "crystal", "rt": "thermistor", "th": "thermistor", "f": "fuse",
    "d": "diode", "": "unknown",
}  # fmt: skip


def family_of(kind: str | None) -> Family:
    """Return how the values of a part of this kind are written.

    >>> family_of("ferrite bead"), family_of("chip"), family_of(None), family_of("R")
    ('bead', 'valueless', 'unknown', 'resistor')
    """
    if kind is None:
        return "unknown"
    lower = kind.lower()
    if lower in _FAMILY_LETTERS:
        return _FAMILY_LETTERS[lower]
    for word, family in _FAMILY_WORDS:
        if word in lower:
            return family
    return "valueless"


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


#: IEC 60062 symmetrical tolerance letters, fractions. The usual ten are read in data sheets of
#: chip resistors; E, L, P and W are from memory.
TOLERANCE_LETTERS: Final[dict[str, float]] = {
    "E": 0.00005, "L": 0.0001, "P": 0.0002, "W": 0.0005, "B": 0.001, "C": 0.0025, "D": 0.005,
    "F": 0.01, "G": 0.02, "H": 0.03, "J": 0.05, "K": 0.10, "M": 0.20, "N": 0.30,
}  # fmt: skip

#: EIA-198 class 2 codes in use on boards, and class 1 by name.
DIELECTRICS: Final = frozenset(
    {low + high + change for low in "XYZ" for high in "456789" for change in "FPRSTUV"}
    | {"C0G", "COG", "NP0", "NPO", "C0H", "COH", "U2J", "CH", "JB", "X8L", "X8G", "X8M"}
)
DIELECTRIC_ALIASES: Final[dict[str, str]] = {"COG": "C0G", "NP0": "C0G", "NPO": "C0G", "COH": "C0H"}
