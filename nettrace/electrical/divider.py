"""Voltage dividers: the tap, the output a feedback divider sets, and the resistor that gives it."""

from __future__ import annotations

import math

from nettrace.electrical.ranges import above_zero, not_negative

__all__ = [
    "divider_volts",
    "feedback_lower_ohms",
    "feedback_output_volts",
    "feedback_upper_ohms",
    "loaded_divider_volts",
]


def divider_volts(supply_volts: float, upper_ohms: float, lower_ohms: float) -> float:
    """Return the voltage of an unloaded divider's tap, V.

    An infinite resistance is an open: a missing upper resistor leaves the tap at 0 V, a missing
    lower one at the supply.

    Args:
        supply_volts: voltage across both, V.
        upper_ohms: from the supply to the tap, Ω, 0 or more.
        lower_ohms: from the tap to ground, Ω, 0 or more.

    Raises:
        ValueError: a resistance is negative, or both are 0 or both are open.

    >>> divider_volts(3.3, 10e3, 10e3), divider_volts(3.3, float("inf"), 10e3)
    (1.65, 0.0)
    """
    not_negative(upper_ohms=upper_ohms, lower_ohms=lower_ohms)
    if upper_ohms == lower_ohms and (upper_ohms == 0 or math.isinf(upper_ohms)):
        raise ValueError("the tap has no voltage of its own with both resistors 0 or both open")
    if math.isinf(lower_ohms):
        return supply_volts
    if math.isinf(upper_ohms):
        return 0.0
    return supply_volts * lower_ohms / (upper_ohms + lower_ohms)


def loaded_divider_volts(
    supply_volts: float, upper_ohms: float, lower_ohms: float, load_ohms: float
) -> float:
    """Return the voltage of a tap with a load to ground, such as a meter of 10 MΩ, V.

    >>> f"{loaded_divider_volts(5, 1e6, 1e6, 10e6):.5f}"
    '2.38095'
    """
    above_zero(upper_ohms=upper_ohms, lower_ohms=lower_ohms, load_ohms=load_ohms)
    return divider_volts(supply_volts, upper_ohms, 1 / (1 / lower_ohms + 1 / load_ohms))


def feedback_output_volts(reference_volts: float, upper_ohms: float, lower_ohms: float) -> float:
    """Return the output a regulator holds with this feedback divider, V.

    Vout = Vref·(1 + R_upper/R_lower); input current of the feedback pin neglected.

    Args:
        reference_volts: voltage the feedback pin is held at, V, above 0.
        upper_ohms: from the output to the feedback pin, Ω, 0 or more.
        lower_ohms: from the feedback pin to ground, Ω, above 0.

    Source: any adjustable regulator's data sheet.

    >>> f"{feedback_output_volts(0.6, 45.3e3, 10e3):.3f}"
    '3.318'
    """
    above_zero(reference_volts=reference_volts, lower_ohms=lower_ohms)
    not_negative(upper_ohms=upper_ohms)
    return reference_volts * (1 + upper_ohms / lower_ohms)


def feedback_upper_ohms(output_volts: float, reference_volts: float, lower_ohms: float) -> float:
    """Return the upper feedback resistor for an output voltage, Ω.

    >>> round(feedback_upper_ohms(3.3, 0.6, 10e3))
    45000
    """
    above_zero(output_volts=output_volts, reference_volts=reference_volts, lower_ohms=lower_ohms)
    if output_volts < reference_volts:
        raise ValueError("the output cannot be below the reference")
    return lower_ohms * (output_volts / reference_volts - 1)


def feedback_lower_ohms(output_volts: float, reference_volts: float, upper_ohms: float) -> float:
    """Return the lower feedback resistor for an output voltage, Ω; infinite at the reference.

    >>> round(feedback_lower_ohms(3.3, 0.6, 45e3))
    10000
    """
    above_zero(output_volts=output_volts, reference_volts=reference_volts, upper_ohms=upper_ohms)
    if output_volts < reference_volts:
        raise ValueError("the output cannot be below the reference")
    if output_volts == reference_volts:
        return math.inf
    return upper_ohms / (output_volts / reference_volts - 1)
