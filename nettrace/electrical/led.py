"""The series resistor of a light-emitting diode."""

from __future__ import annotations

import math
from typing import Final

from nettrace.electrical.ranges import above_zero

__all__ = ["FORWARD_VOLTS", "led_amperes", "led_resistor"]

#: Usual forward voltages at a few milliamperes, V (common practice, no source).
FORWARD_VOLTS: Final[dict[str, tuple[float, float]]] = {
    "infrared": (1.1, 1.5),
    "red": (1.7, 2.1),
    "orange": (1.9, 2.2),
    "yellow": (1.9, 2.2),
    "green": (2.0, 3.2),
    "blue": (2.7, 3.4),
    "white": (2.7, 3.4),
}


def led_resistor(supply_volts: float, forward_volts: float, amperes: float) -> tuple[float, float]:
    """Return the series resistor of an LED, Ω, and the power in it, W.

    Args:
        supply_volts: voltage of the rail, V.
        forward_volts: voltage across the LED (or the string), V, above 0.
        amperes: wanted current, A, above 0.

    Raises:
        ValueError: the supply is not above the forward voltage, or an argument is not above 0.

    >>> ohms, watts = led_resistor(3.3, 2.0, 2e-3)
    >>> f"{ohms:.0f} Ω, {watts * 1e3:.1f} mW"
    '650 Ω, 2.6 mW'
    """
    above_zero(amperes=amperes, forward_volts=forward_volts)
    drop = supply_volts - forward_volts
    if not drop > 0 or math.isinf(drop):
        raise ValueError(
            f"the supply ({supply_volts:g} V) must be above the LED's {forward_volts:g} V"
        )
    return drop / amperes, drop * amperes


def led_amperes(supply_volts: float, forward_volts: float, ohms: float) -> float:
    """Return the current of an LED behind a resistor, A; 0 if the supply is too low to light it.

    >>> f"{led_amperes(5, 2.0, 1e3) * 1e3:.1f} mA"
    '3.0 mA'
    """
    above_zero(ohms=ohms)
    return max(0.0, supply_volts - forward_volts) / ohms
