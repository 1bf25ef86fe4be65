"""Current shunts: drop, power, and the error of a track shared with the sense lines."""

from __future__ import annotations

from nettrace.electrical.ranges import above_zero, not_negative

__all__ = ["kelvin_error", "shunt_amperes", "shunt_drop"]


def shunt_drop(ohms: float, amperes: float) -> tuple[float, float]:
    """Return the voltage across a shunt, V, and the power in it, W.

    The voltage carries the sign of the current.

    >>> volts, watts = shunt_drop(0.01, 3)
    >>> f"{volts * 1e3:.0f} mV, {watts * 1e3:.0f} mW"
    '30 mV, 90 mW'
    """
    above_zero(ohms=ohms)
    return ohms * amperes, ohms * amperes**2


def shunt_amperes(ohms: float, volts: float) -> float:
    """Return the current through a shunt from the voltage across it, A.

    >>> round(shunt_amperes(0.005, 0.010), 6)
    2.0
    """
    above_zero(ohms=ohms)
    return volts / ohms


def kelvin_error(ohms: float, shared_ohms: float) -> float:
    """Return by what fraction a reading is high when the sense lines share track or solder.

    A sense line soldered beside the shunt's pad, not at it, measures the joint too.

    >>> round(kelvin_error(0.01, 0.0005), 4)
    0.05
    """
    above_zero(ohms=ohms)
    not_negative(shared_ohms=shared_ohms)
    return shared_ohms / ohms
