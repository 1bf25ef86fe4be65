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

#: Limits between the stages, from the sources in the table; below the first no supply is there, V.
NO_SUPPLY_VOLTS: Final = 0.8
SUSPEND_AMPERES: Final = 2.5e-3
UNIT_LOAD_AMPERES: Final = 0.1
DEFAULT_AMPERES: Final = 0.5
#: A port at 5 V: 4.45 V (low-power hub port of USB 3.x) to 5.25 V, and a little for the meter.
FIVE_VOLTS: Final = (4.35, 5.5)
#: Fixed supply voltages above 5 V, and how far off they may be (5 %, Power Delivery, from memory).
FIXED_VOLTS: Final = (9.0, 15.0, 20.0, 28.0, 36.0, 48.0)
FIXED_TOLERANCE: Final = 0.05
#: Below this at a negotiated voltage nothing is charging (common practice, no source), A.
IDLE_AMPERES: Final = 0.1
#: Where a healthy charge starts at 5 V (common practice, no source), A.
RAMP_AMPERES: Final = 0.4
#: Type-C source currents, A, by the threshold of the CC voltage at the sink, V (typical; TI
#: TPS65987DDK): above the first a source is attached, and so on.
CC_THRESHOLDS: Final = ((0.20, 0.5), (0.66, 1.5), (1.23, 3.0))
#: Above this the CC pin is open at the sink: no Rd (from memory), V.
CC_OPEN_VOLTS: Final = 2.04

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
    fixed = next((v for v in FIXED_VOLTS if abs(volts / v - 1) <= FIXED_TOLERANCE), None)
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
    if volts < NO_SUPPLY_VOLTS:
        return "no supply"
    if FIVE_VOLTS[0] <= volts <= FIVE_VOLTS[1]:
        if amperes <= SUSPEND_AMPERES:
            return "attached, nothing drawn"
        if trend == "rising" and amperes >= RAMP_AMPERES:
            return "charge ramping up"
        if amperes < UNIT_LOAD_AMPERES:
            return "before configuration"
        return "default current" if amperes <= DEFAULT_AMPERES * 1.1 else "charging at 5 V"
    if fixed is None:
        return "no standard voltage"
    if amperes < IDLE_AMPERES:
        return "negotiated, not charging"
    light = amperes < RAMP_AMPERES and trend != "rising"
    return "negotiated, light load" if light else "negotiated, charging"


def advertised_amperes(volts: float) -> float | None:
    """Return the current a Type-C source offers by the CC voltage at the sink, A.

    0.5 stands for the default USB current (0.5 or 0.9 A). None: no source, or no Rd on the pin.

    >>> advertised_amperes(0.41), advertised_amperes(0.93), advertised_amperes(1.69)
    (0.5, 1.5, 3.0)
    """
    offers = [amperes for threshold, amperes in CC_THRESHOLDS if volts >= threshold]
    return offers[-1] if offers and volts <= CC_OPEN_VOLTS else None
