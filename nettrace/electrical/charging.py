"""What the supply's volts and amperes tell about a USB port and a Li-ion charge.

The published stages (USB 2.0 and 3.x, BC 1.2, Type-C, Power Delivery, charger data sheets) are
the basis; what is usually missing when a stage is not reached is a practice of the trade and
marked so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from nettrace.electrical.ranges import above_zero, not_negative

__all__ = [
    "CELL_STAGES",
    "SupplyMeaning",
    "advertised_amperes",
    "cc_volts",
    "cell_stage",
    "explain_supply",
]

Trend = Literal["steady", "rising", "falling", "unknown"]
Stage = Literal[
    "no supply",
    "attached, nothing drawn",
    "before configuration",
    "default current",
    "charge ramping up",
    "charging at 5 V",
    "negotiated, not charging",
    "negotiated, light load",
    "negotiated, charging",
    "no standard voltage",
]

COMMON: Final = "common practice, no source"
_USB: Final = "USB 2.0 and 3.x: unit load 100 or 150 mA, at most 500 or 900 mA, suspend 2.5 mA"
_PD: Final = (
    "USB Power Delivery fixed supplies: 5, 9, 15 V up to 3 A, 20 V up to 5 A; EPR 28, 36, 48 V"
)
_BC: Final = "USB BC 1.2: standard port 0.5/0.9 A, charging ports 1.5 A"
_TYPE_C: Final = "USB Type-C: VBUS only after the source sees Rd (5.1 kΩ) on a CC pin"

#: Limits in V and A between the stages, from the sources above.
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
#: Where a healthy charge starts and gets to at 5 V (common practice, no source), A.
RAMP_AMPERES: Final = (0.4, 2.0)


@dataclass(frozen=True, slots=True)
class SupplyMeaning:
    """How far a port and charger have come.

    `missing` lists what is typically absent when it stays there, likeliest first (a practice of
    the trade); `basis` the published stages used and, marked, the trade's own facts.
    """

    stage: Stage
    text: str
    charging: bool | None
    missing: tuple[str, ...] = ()
    basis: tuple[str, ...] = ()


_NOT_CHARGING: Final = (
    "pack temperature line: thermistor, its bias resistor, or the connector pin",
    "gauge or pack bus: both pull-ups, their rail, the data and clock pins",
    "battery not recognised: pack connector, sense or identification pin",
    "charger not enabled: enable pin, sense resistors, battery-side switch",
)


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
    if volts < 0.8:
        return SupplyMeaning(
            "no supply",
            "no voltage at the port: a Type-C source has not seen a sink",
            False,
            ("CC pull-downs (5.1 kΩ, one on each CC pin)", "CC pins or their ESD parts",
             "port or cable", "a short on VBUS that keeps the source off"),
            (_TYPE_C, f"what is usually missing: {COMMON}"),
        )  # fmt: skip
    if FIVE_VOLTS[0] <= volts <= FIVE_VOLTS[1]:
        return _at_five_volts(amperes, trend)
    fixed = next((v for v in FIXED_VOLTS if abs(volts / v - 1) <= FIXED_TOLERANCE), None)
    if fixed is None:
        return SupplyMeaning(
            "no standard voltage",
            f"{volts:g} V is no fixed USB voltage: a programmable supply, a proprietary scheme, "
            "a drop in the cable or port, or a bench supply",
            None,
            (),
            (_PD,),
        )
    return _at_fixed(fixed, amperes, trend)


def _at_five_volts(amperes: float, trend: Trend) -> SupplyMeaning:
    if amperes <= SUSPEND_AMPERES:
        return SupplyMeaning(
            "attached, nothing drawn",
            "5 V is there and nothing takes it (suspend is up to 2.5 mA)",
            False,
            ("input protection: fuse, over-voltage switch, bead", "charger's own supply or enable"),
            (_USB, f"what is usually missing: {COMMON}"),
        )
    if trend == "rising" and amperes >= RAMP_AMPERES[0]:
        return SupplyMeaning(
            "charge ramping up",
            "a charge that starts near half an ampere and climbs towards 1.8 to 2 A is healthy",
            True,
            (),
            (_BC, f"the ramp: {COMMON}"),
        )
    if amperes < UNIT_LOAD_AMPERES:
        return SupplyMeaning(
            "before configuration",
            "up to one unit load (100 mA): the device is seen or idles, nothing is charging; "
            "a deeply empty cell may be in its trickle stage",
            False,
            ("negotiation has not happened: CC or data lines", *_NOT_CHARGING),
            (_USB, f"what is usually missing: {COMMON}"),
        )
    if amperes <= DEFAULT_AMPERES * 1.1:
        return SupplyMeaning(
            "default current",
            "within the 500 mA of a standard port: running or charging slowly; the source's "
            "offer of more was not read, or the cell is in its pre-charge stage",
            None,
            ("CC voltage not read (1.5 and 3 A are offered there)", "D+ and D− to the charger",
             "negotiation controller", "a nearly empty or worn cell"),
            (_USB, _BC, f"what is usually missing: {COMMON}"),
        )  # fmt: skip
    return SupplyMeaning(
        "charging at 5 V",
        "above a standard port's 500 mA: a charging port or Type-C current was recognised",
        True,
        () if trend != "falling" else ("falling slowly is the constant-voltage stage near full",),
        (_BC, "Type-C current 1.5 or 3 A by the CC voltage"),
    )


def _at_fixed(volts: float, amperes: float, trend: Trend) -> SupplyMeaning:
    offered = f"{volts:g} V was negotiated, so CC line, negotiation controller and source agree"
    if amperes < IDLE_AMPERES:
        return SupplyMeaning(
            "negotiated, not charging",
            f"{offered}; {amperes:g} A"
            + (" falling to nothing" if trend == "falling" else "")
            + " is not charging (a full battery looks the same: read the cell)",
            False,
            _NOT_CHARGING,
            (_PD, f"about 0.05 A falling to zero at a negotiated voltage: {COMMON}"),
        )
    if amperes < RAMP_AMPERES[0] and trend != "rising":
        return SupplyMeaning(
            "negotiated, light load",
            f"{offered}; {amperes:g} A runs the device or is the start or the end of a charge",
            None,
            _NOT_CHARGING,
            (_PD, f"level of a light load: {COMMON}"),
        )
    ramp = "; a climb from half an ampere to nearly two is healthy" if trend == "rising" else ""
    return SupplyMeaning(
        "negotiated, charging", f"{offered}; {amperes:g} A is a charge{ramp}", True, (),
        (_PD, f"level of a charge: {COMMON}"),
    )  # fmt: skip


#: Type-C source currents, A, by the threshold of the CC voltage at the sink, V (typical; TI
#: TPS65987DDK): above the first a source is attached, and so on.
CC_THRESHOLDS: Final = ((0.20, 0.5), (0.66, 1.5), (1.23, 3.0))
#: Above this the CC pin is open at the sink: no Rd (from memory), V.
CC_OPEN_VOLTS: Final = 2.04


def advertised_amperes(volts: float) -> float | None:
    """Return the current a Type-C source offers by the CC voltage at the sink, A.

    0.5 stands for the default USB current (0.5 or 0.9 A). None: no source, or no Rd on the pin.

    >>> advertised_amperes(0.41), advertised_amperes(0.93), advertised_amperes(1.69)
    (0.5, 1.5, 3.0)
    """
    if volts > CC_OPEN_VOLTS:
        return None
    offers = [amperes for threshold, amperes in CC_THRESHOLDS if volts >= threshold]
    return offers[-1] if offers else None


def cc_volts(
    pull_down_ohms: float = 5100.0,
    *,
    source_amperes: float | None = None,
    pull_up_ohms: float | None = None,
    pull_up_volts: float = 5.0,
) -> float:
    """Return the CC voltage at a sink, V, for a source with a current or a pull-up resistor.

    Source: ST UM2191 table 2 (80, 180, 330 µA; 56, 22, 10 kΩ to 5 V; 36, 12, 4.7 kΩ to 3.3 V).

    >>> f"{cc_volts(source_amperes=330e-6):.3f}", f"{cc_volts(pull_up_ohms=22e3):.3f}"
    ('1.683', '0.941')
    """
    above_zero(pull_down_ohms=pull_down_ohms)
    if source_amperes is not None:
        not_negative(source_amperes=source_amperes)
        return source_amperes * pull_down_ohms
    if pull_up_ohms is None:
        raise ValueError("give the source's current or its pull-up resistor")
    above_zero(pull_up_ohms=pull_up_ohms)
    return pull_up_volts * pull_down_ohms / (pull_up_ohms + pull_down_ohms)


@dataclass(frozen=True, slots=True)
class CellStage:
    """One stage of a Li-ion charge: when it holds, what flows, and where that is published."""

    name: str
    holds: str
    current: str
    basis: str


#: In the order a charge runs through them.
CELL_STAGES: Final = (
    CellStage("pre-charge", "cell below 2.5 to 3.0 V by charger", "7 to 20 % of the fast current",
              "BQ2405x 2.5 V and 20 %, BQ25890H 2.8/3.0 V, BQ25700A 3.0 V, PCA9422 7 or 16 %"),
    CellStage("constant current", "cell between pre-charge limit and its full voltage",
              "the fast current", "charger data sheets"),
    CellStage("constant voltage", "cell at its full voltage (4.20, 4.35 or 4.40 V)",
              "falling from the fast current", "MAX20335 4.05 to 4.60 V, BQ25890H 4.208 V"),
    CellStage("terminated", "current below 10 % of the fast current at full voltage", "none",
              "BQ25302, BQ2405x 10 %; PCA9422 2.5 to 10 %; recharge 100 or 200 mV below full"),
)  # fmt: skip

#: Pre-charge limit and termination share used where the charger's own are not known.
PRECHARGE_VOLTS: Final = 3.0
TERMINATION_SHARE: Final = 0.10


def cell_stage(
    cell_volts: float, amperes: float, fast_amperes: float, full_volts: float = 4.20
) -> CellStage:
    """Return the stage a single cell's charge is in.

    Args:
        cell_volts: at the cell, V, 0 or more.
        amperes: into the cell, A, 0 or more.
        fast_amperes: the charger's set current, A, above 0.
        full_volts: the cell's full voltage, V.

    Source: charger data sheets, see `CELL_STAGES`; limits differ from charger to charger.

    >>> cell_stage(2.7, 0.05, 0.5).name, cell_stage(3.8, 0.5, 0.5).name
    ('pre-charge', 'constant current')
    >>> cell_stage(4.2, 0.2, 0.5).name, cell_stage(4.2, 0.03, 0.5).name
    ('constant voltage', 'terminated')
    """
    above_zero(fast_amperes=fast_amperes, full_volts=full_volts)
    not_negative(cell_volts=cell_volts, amperes=amperes)
    if cell_volts < PRECHARGE_VOLTS:
        return CELL_STAGES[0]
    # 1 % covers the charger's regulation and the meter
    if cell_volts < full_volts * 0.99:
        return CELL_STAGES[1]
    return CELL_STAGES[3] if amperes <= fast_amperes * TERMINATION_SHARE else CELL_STAGES[2]
