"""Pull-up limits of open-drain buses: the window of the standard, rise time, and a verdict.

I2C by NXP UM10204, SMBus by its classes of drive; I3C and single-wire HDQ as hints.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final, Literal

from nettrace.electrical.ranges import above_zero
from nettrace.knowledge import section, table
from nettrace.values.quantity import engineering

#: Time from 30 % to 70 % of the supply over R·C: ln(0.7/0.3). UM10204 section 7.1.
RISE_FACTOR: Final = math.log(0.7 / 0.3)

#: Above this supply the low level is a fixed 0.4 V, at or below it 0.2 VDD. UM10204 table 9.
LOW_LEVEL_CHANGES_AT_VOLTS: Final = 2.0

#: SMBus levels suit I2C parts only above about this supply. UM10204 section 4.2.
SMBUS_MIXES_FROM_VOLTS: Final = 3.0

#: Bus capacitance assumed where none is known: about ten pins of 10 pF or a short bus.
#: Common practice, no source (the 10 pF a pin is UM10204 table 10).
ASSUMED_BUS_FARADS: Final = 100e-12


class BusMode(Enum):
    """A speed or drive class; the value is its name for people."""

    STANDARD = "Standard"
    FAST = "Fast"
    FAST_PLUS = "Fast-plus"
    SMBUS_LOW_POWER = "SMBus low-power"
    SMBUS_HIGH_POWER = "SMBus high-power"
    I3C = "I3C"


@dataclass(frozen=True, slots=True)
class ModeLimits:
    """Limits of one class: SI units; `low_volts_amperes` is the sink current the low level holds.

    `small_supply_amperes` is the sink current at 0.2 VDD for supplies of 2 V and below, None where
    the class has no such line and the fixed level is used throughout.
    """

    hertz: float
    rise_seconds: float
    bus_farads: float
    low_volts: float
    low_amperes: float
    source: str
    small_supply_amperes: float | None = None


MODES: Final[Mapping[BusMode, ModeLimits]] = {
    mode: ModeLimits(**table("bus_limits")["modes"][mode.value]) for mode in BusMode
}

Window = Literal["ok", "too strong", "too weak", "no legal value", "unknown"]


@dataclass(frozen=True, slots=True)
class Limits:
    """The legal range of a pull-up, Ω; `at_least` above `at_most` means no value is legal."""

    at_least: float
    at_most: float

    @property
    def possible(self) -> bool:
        """Whether any value is legal."""
        return self.at_least <= self.at_most


@dataclass(frozen=True, slots=True)
class PullUpVerdict:
    """What a pull-up is worth on its bus: `state` for programs, `text` for people.

    `mode` is the class it was judged by; `rise_seconds` the time from 30 to 70 % of the supply;
    `because` lists figures and their source.
    """

    state: Window
    text: str
    mode: BusMode | None = None
    limits: Limits | None = None
    rise_seconds: float | None = None
    because: tuple[str, ...] = ()


def low_level(supply_volts: float, mode: BusMode = BusMode.FAST) -> tuple[float, float]:
    """Return the highest low level of a bus output, V, and the sink current that holds it, A.

    Source: NXP UM10204 rev. 7, table 9 (VOL1 above 2 V, VOL2 at or below).

    >>> low_level(3.3), low_level(2.0)
    ((0.4, 0.003), (0.4, 0.002))
    """
    above_zero(supply_volts=supply_volts)
    row = MODES[mode]
    if supply_volts <= LOW_LEVEL_CHANGES_AT_VOLTS and row.small_supply_amperes is not None:
        return 0.2 * supply_volts, row.small_supply_amperes
    return row.low_volts, row.low_amperes


def pull_up_limits(
    supply_volts: float,
    bus_farads: float,
    mode: BusMode = BusMode.FAST,
) -> Limits:
    """Return the range of pull-up resistance that one bus line allows.

    All pull-ups of the line count in parallel, also those behind series resistors.

    Args:
        supply_volts: voltage of the rail the pull-up goes to, V, above 0.
        bus_farads: capacitance of the whole line, F, above 0.
        mode: class; sets rise time (s), sink current (A), low level (V).

    Returns:
        Limits in ohms; at_least above at_most means no value is legal.

    Raises:
        ValueError: an argument is not above 0.

    Source: NXP UM10204 rev. 7, section 7.1, equations 1 and 2.

    >>> limits = pull_up_limits(3.3, 200e-12, BusMode.FAST)
    >>> round(limits.at_least), round(limits.at_most)
    (967, 1770)
    """
    above_zero(supply_volts=supply_volts, bus_farads=bus_farads)
    volts, amperes = low_level(supply_volts, mode)
    at_least = max(0.0, (supply_volts - volts) / amperes)
    return Limits(at_least, MODES[mode].rise_seconds / (RISE_FACTOR * bus_farads))


def rise_time(pull_ohms: float, bus_farads: float) -> float:
    """Return the time a released line takes from 30 to 70 % of the supply, s.

    Source: NXP UM10204 rev. 7, section 7.1.

    >>> f"{rise_time(4.7e3, 100e-12) * 1e9:.1f} ns"
    '398.2 ns'
    """
    above_zero(pull_ohms=pull_ohms, bus_farads=bus_farads)
    return RISE_FACTOR * pull_ohms * bus_farads


def series_limit_ohms(pull_ohms: float) -> float:
    """Return the largest series resistor a line with this pull-up takes, Ω.

    The divider of series resistor and pull-up may lift a low by no more than the low-level noise
    margin of 0.1 VDD: Rs/(Rs+Rp) ≤ 0.1. Derived; the standard shows it as a curve (figure 46).

    Source: NXP UM10204 rev. 7, section 7.3, for the margin.

    >>> round(series_limit_ohms(2200)), round(series_limit_ohms(10e3))
    (244, 1111)
    """
    above_zero(pull_ohms=pull_ohms)
    return pull_ohms / 9


_SMBUS: Final = frozenset({BusMode.SMBUS_LOW_POWER, BusMode.SMBUS_HIGH_POWER})


def judge_pull_up(
    pull_ohms: float | None,
    supply_volts: float | None,
    bus_farads: float | None = None,
    protocol: BusMode | str = "I2C",
) -> PullUpVerdict:
    """Return whether a line's pull-up suits its bus.

    The strong end is a hard limit (a part could not pull the line low); the weak end depends on
    the bus capacitance and the clock, so a pull-up fit for a slower class is "ok" with the class
    named.

    Args:
        pull_ohms: all pull-ups of the line in parallel, Ω; None or infinite if there is none.
        supply_volts: voltage of their rail, V, None if not known.
        bus_farads: capacitance of the line, F; None takes 100 pF and says so.
        protocol: a class, its name, or `I2C`, `SMBus`, `PMBus`, `I3C`.

    Returns:
        A verdict; `state` is "unknown" where voltage or protocol is not known.

    Raises:
        ValueError: an argument that is given is not above 0.

    Source: NXP UM10204 rev. 7, SMBus 2.0; see `MODES`.

    >>> judge_pull_up(2200, 3.3, 100e-12).state, judge_pull_up(330, 3.3, 100e-12).state
    ('ok', 'too strong')
    >>> print(judge_pull_up(4700, 3.3, 100e-12).text)
    4.7 kΩ suits Standard mode (up to 100 kHz); too weak for Fast: rises in 398.2 ns of 300 ns
    """
    name = protocol.value if isinstance(protocol, BusMode) else protocol
    named = [mode for mode in BusMode if mode.value.lower() == name.lower()]
    known = (of for word, of in section("bus_limits", "protocols").items() if word in name.lower())
    modes = named or [BusMode(word) for word in next(known, ())]
    if pull_ohms is None or math.isinf(pull_ohms):
        text = "no pull-up: the line never rises and the bus is dead"
        because = ("an open-drain line has no other source of a high level",)
        return PullUpVerdict("too weak", text, because=because)
    if pull_ohms == 0:
        text = "0 Ω: tied straight to the rail, no part can pull the line low"
        return PullUpVerdict("too strong", text)
    shown = engineering(pull_ohms, "Ω")
    if not modes:
        return PullUpVerdict("unknown", f"{shown}: no limits known for {name}")
    if supply_volts is None:
        return PullUpVerdict("unknown", f"{shown}: the voltage of its rail is not known")
    farads = ASSUMED_BUS_FARADS if bus_farads is None else bus_farads
    reasons = [
        f"bus capacitance {engineering(farads, 'F')}" + (" assumed" if bus_farads is None else "")
    ]
    if modes[0] in _SMBUS and supply_volts < SMBUS_MIXES_FROM_VOLTS:
        reasons.append("SMBus levels suit I2C parts only above about 3 V (UM10204 section 4.2)")
    rise = rise_time(pull_ohms, farads)
    windows = {mode: pull_up_limits(supply_volts, farads, mode) for mode in modes}
    # one part in a million: 4.7 k as read and a limit of 4.7 k are the same
    fitting = [
        mode
        for mode, window in windows.items()
        if window.at_least * (1 - 1e-6) <= pull_ohms <= window.at_most * (1 + 1e-6)
    ]
    first, mode = modes[0], (fitting or modes)[0]
    limits, row = windows[mode], MODES[mode]
    volts, amperes = low_level(supply_volts, mode)
    reasons.append(
        f"{mode.value}: at least {engineering(limits.at_least, 'Ω')} "
        f"({engineering(volts, 'V')} at {engineering(amperes, 'A')}), "
        f"at most {engineering(limits.at_most, 'Ω')} "
        f"({engineering(row.rise_seconds, 's')}); {row.source}"
    )

    def why_not(mode: BusMode) -> str:
        if pull_ohms < windows[mode].at_least:
            least = engineering(windows[mode].at_least, "Ω")
            return f"too strong for {mode.value}: at least {least}"
        return (
            f"too weak for {mode.value}: rises in {engineering(rise, 's')} of "
            f"{engineering(MODES[mode].rise_seconds, 's')}"
        )

    least = min(window.at_least for window in windows.values())
    most = max(window.at_most for window in windows.values())
    state: Window = "ok"
    if fitting:
        word = "" if mode in _SMBUS or mode is BusMode.I3C else " mode"
        text = f"{shown} suits {mode.value}{word} (up to {engineering(row.hertz, 'Hz')})"
        if mode is not first:
            text += f"; {why_not(first)}"
    elif not any(window.possible for window in windows.values()):
        state = "no legal value"
        where = f"{engineering(supply_volts, 'V')} and {engineering(farads, 'F')}"
        text = f"{shown}: no pull-up is legal at {where}"
    elif pull_ohms < least:
        state = "too strong"
        text = (
            f"{shown} is too strong: at least {engineering(least, 'Ω')}, or a part may fail to "
            "pull the line low"
        )
    elif pull_ohms > most:
        state = "too weak"
        text = (
            f"{shown} is too weak: the line rises in {engineering(rise, 's')}; "
            f"at most {engineering(most, 'Ω')} at {engineering(farads, 'F')}"
        )
    else:
        state = "too strong" if pull_ohms < windows[first].at_least else "too weak"
        text = f"{shown} is {state} for {first.value}: {why_not(first)}"
    return PullUpVerdict(state, text, mode, limits, rise, tuple(reasons))
