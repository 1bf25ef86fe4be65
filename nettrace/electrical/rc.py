"""Resistor-capacitor corners and time constants, LC resonance, and capacitors put together."""

from __future__ import annotations

import math
from collections.abc import Iterable

from nettrace.electrical.ranges import above_zero, not_negative

__all__ = [
    "charged_fraction",
    "corner_hertz",
    "crystal_load_farads",
    "parallel_farads",
    "resonance_hertz",
    "series_farads",
    "time_constant",
]


def time_constant(ohms: float, farads: float) -> float:
    """Return R·C, the time to 63 % of the way, s.

    >>> time_constant(10e3, 100e-9)
    0.001
    """
    above_zero(ohms=ohms, farads=farads)
    return ohms * farads


def corner_hertz(ohms: float, farads: float) -> float:
    """Return the frequency at which an RC filter is 3 dB down, Hz: 1/(2π·R·C).

    >>> f"{corner_hertz(10e3, 100e-9):.3f}"
    '159.155'
    """
    above_zero(ohms=ohms, farads=farads)
    return 1 / (2 * math.pi * ohms * farads)


def charged_fraction(seconds: float, ohms: float, farads: float) -> float:
    """Return how much of its final voltage a capacitor has reached after a time, 0 to 1.

    >>> round(charged_fraction(1e-3, 10e3, 100e-9), 4)
    0.6321
    """
    not_negative(seconds=seconds)
    return -math.expm1(-seconds / time_constant(ohms, farads))


def resonance_hertz(henries: float, farads: float) -> float:
    """Return the resonance of an inductor and a capacitor, Hz: 1/(2π·√(L·C)).

    >>> round(resonance_hertz(10e-6, 10e-6))
    15915
    """
    above_zero(henries=henries, farads=farads)
    return 1 / (2 * math.pi * math.sqrt(henries * farads))


def parallel_farads(farads: Iterable[float]) -> float:
    """Return the sum of capacitors in parallel, F.

    >>> f"{parallel_farads([100e-9, 10e-6]):.3g}"
    '1.01e-05'
    """
    return math.fsum(farads)


def series_farads(farads: Iterable[float]) -> float:
    """Return capacitors in series, F; none at all is infinite.

    >>> f"{series_farads([10e-6, 10e-6]):.3g}"
    '5e-06'
    """
    inverse = 0.0
    for value in farads:
        above_zero(farads=value)
        inverse += 1 / value
    return 1 / inverse if inverse else math.inf


def crystal_load_farads(first_farads: float, second_farads: float, stray_farads: float) -> float:
    """Return the load a crystal sees from its two capacitors and the stray capacitance, F.

    >>> f"{crystal_load_farads(12e-12, 12e-12, 3e-12) * 1e12:.2f} pF"
    '9.00 pF'
    """
    not_negative(stray_farads=stray_farads)
    return series_farads((first_farads, second_farads)) + stray_farads
