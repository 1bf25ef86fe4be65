"""Ratings that stand beside the value: in the source's own fields, else in the description.

A field is named by what it holds (`Tolerance`, `Voltage`, `Dielectric`...); names of several
languages and tools are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Final

from nettrace.circuit.kinds import Kind
from nettrace.model.board import Part
from nettrace.values.part_value import PartValue, read_part_value
from nettrace.values.quantity import read_quantity

__all__ = ["with_fields"]

#: Field name, folded, without blanks -> what of a value it states.
_FIELDS: Final[Mapping[str, str]] = {
    "tolerance": "tolerance", "tol": "tolerance", "toleranz": "tolerance",
    "voltage": "volts", "voltagerating": "volts", "ratedvoltage": "volts", "volt": "volts",
    "spannung": "volts", "vrating": "volts",
    "power": "watts", "powerrating": "watts", "wattage": "watts",
    "current": "amperes", "currentrating": "amperes", "ratedcurrent": "amperes",
    "dielectric": "dielectric", "tempco": "dielectric", "temperaturecoefficient": "dielectric",
    "dcr": "dcr_ohms", "dcresistance": "dcr_ohms",
    "size": "size_inch", "casesize": "size_inch",
}  # fmt: skip
#: Kinds whose fields and descriptions speak of the part's own value.
_PASSIVES: Final = frozenset(
    {
        Kind.RESISTOR, Kind.RESISTOR_ARRAY, Kind.THERMISTOR, Kind.CAPACITOR, Kind.INDUCTOR,
        Kind.FERRITE, Kind.FUSE,
    }
)  # fmt: skip
_RATINGS: Final = ("tolerance", "volts", "watts", "amperes", "dielectric", "dcr_ohms", "size_inch")


def with_fields(part: Part, kind: Kind, value: PartValue) -> PartValue:
    """Return the value with ratings that it does not state itself, from fields or description.

    A value text beats a field, a field beats the description.
    """
    if kind not in _PASSIVES:
        return value
    found: dict[str, object] = {}
    family = Kind.RESISTOR.value if kind is Kind.RESISTOR_ARRAY else kind.value
    for name, text in part.properties.items():
        what = _FIELDS.get(_folded(name))
        if what is not None and text and getattr(value, what) is None and what not in found:
            if what == "dcr_ohms":
                # a bare figure in a field of that name is ohms: no value text says so
                quantity = read_quantity(text, "Ω")
                figure: object = quantity.value if quantity is not None else None
            else:
                figure = getattr(read_part_value(text, family), what)
            if figure is not None:
                found[what] = figure
    if part.description and any(
        getattr(value, what) is None and what not in found for what in _RATINGS
    ):
        described = read_part_value(part.description, family)
        if _agrees(described, value):
            for what in _RATINGS:
                figure = getattr(described, what)
                if figure is not None and getattr(value, what) is None:
                    found.setdefault(what, figure)
    return replace(value, **found) if found else value  # type: ignore[arg-type] # by field name


def _agrees(described: PartValue, value: PartValue) -> bool:
    """Whether the description speaks of the same part: no figure of it says otherwise."""
    pairs = (
        (described.ohms, value.ohms),
        (described.farads, value.farads),
        (described.henries, value.henries),
    )
    return all(a is None or b is None or abs(a - b) <= 1e-6 * abs(b) for a, b in pairs)


@cache
def _folded(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalpha())
