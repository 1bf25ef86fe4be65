"""What the supply's volts and amperes tell about a USB port and a Li-ion charge.

The published stages (USB 2.0 and 3.x, BC 1.2, Type-C, Power Delivery, charger data sheets) are
the basis; what is usually missing when a stage is not reached is a practice of the trade and
marked so. The stages' words stand in `knowledge/charging.toml`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from nettrace.electrical.ranges import not_negative
from nettrace.knowledge import table

Trend = Literal["steady", "rising", "falling", "unknown"]

_CHARGING: Final = {"yes": True, "no": False, "unknown": None}


@dataclass(frozen=True, slots=True)
class SupplyMeaning:
    """How far a port and charger have come.

    `missing` lists what is typically absent when it stays there, likeliest first (a practice of
    the trade); `basis` the published stages used and, marked, the trade's own facts.
    """

    stage: str
    text: str
    charging: bool | None
    missing: tuple[str, ...]
    basis: tuple[str, ...]


def explain_supply(volts: float, amperes: float, trend: Trend = "unknown") -> SupplyMeaning:
    """Return what a USB supply's display tells.

    Args:
        volts: at the port, V, 0 or more.
        amperes: drawn, A, 0 or more.
        trend: what the current does over the first minute.

    Source: USB 2.0/3.x, BC 1.2, Type-C and Power Delivery as in `basis`; the ramp and the idle
    level at a negotiated voltage: common practice, no source.

    >>> explain_supply(15, 0.05, "falling").stage
    'negotiated, not charging'
    >>> explain_supply(5.1, 0.5, "rising").charging, explain_supply(0, 0).stage
    (True, 'no supply')
    """
    not_negative(volts=volts, amperes=amperes)
    words = table("charging")
    limits = words["limits"]
    off = limits["fixed_tolerance"]
    fixed = next((v for v in limits["fixed_volts"] if abs(volts / v - 1) <= off), None)
    stage = _stage(volts, amperes, trend, fixed)
    row = words["stages"][stage]
    agreed = "so CC line, negotiation controller and source agree"
    climb = "; a climb from half an ampere to nearly two is healthy"
    text = row["text"].format(
        volts=volts,
        amperes=amperes,
        offered=f"{fixed or volts:g} V was negotiated, {agreed}",
        nothing=" falling to nothing" if trend == "falling" else "",
        ramp=climb if trend == "rising" else "",
    )
    named = row["falling"] if trend == "falling" and "falling" in row else row["missing"]
    missing = [part for name in named for part in words["missing"].get(name, (name,))]
    basis = tuple(words["basis"][name] for name in row["basis"])
    return SupplyMeaning(stage, text, _CHARGING[row["charging"]], tuple(missing), basis)


def _stage(volts: float, amperes: float, trend: Trend, fixed: float | None) -> str:
    limits = table("charging")["limits"]
    low, high = limits["five_volts"]
    if volts < limits["no_supply_volts"]:
        return "no supply"
    if low <= volts <= high:
        if amperes <= limits["suspend_amperes"]:
            return "attached, nothing drawn"
        if trend == "rising" and amperes >= limits["ramp_amperes"]:
            return "charge ramping up"
        if amperes < limits["unit_load_amperes"]:
            return "before configuration"
        usual = amperes <= limits["default_amperes"] * 1.1
        return "default current" if usual else "charging at 5 V"
    if fixed is None:
        return "no standard voltage"
    if amperes < limits["idle_amperes"]:
        return "negotiated, not charging"
    light = amperes < limits["ramp_amperes"] and trend != "rising"
    return "negotiated, light load" if light else "negotiated, charging"


def advertised_amperes(volts: float) -> float | None:
    """Return the current a Type-C source offers by the CC voltage at the sink, A.

    0.5 stands for the default USB current (0.5 or 0.9 A). None: no source, or no Rd on the pin.

    >>> advertised_amperes(0.41), advertised_amperes(0.93), advertised_amperes(1.69)
    (0.5, 1.5, 3.0)
    """
    limits = table("charging")["limits"]
    offers: list[float] = [amperes for least, amperes in limits["cc_thresholds"] if volts >= least]
    return offers[-1] if offers and volts <= limits["cc_open_volts"] else None
