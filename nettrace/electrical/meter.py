"""The meter itself: its error, its leads, its beeper, and what diode mode shows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from nettrace.electrical.ranges import above_zero, not_negative

#: Mid-range true-RMS meter of 6000 counts on ohms, from memory: ±(0.9 % + 2 counts).
OHMS_ERROR: Final = (0.009, 2)
#: Range of beeper limits found in manuals (40, 50, 70, 100 Ω; 20 and 250 from memory).
BEEPER_RANGE_OHMS: Final = (20.0, 250.0)
#: Beyond this common meters show overload on ohms (ranges of 40 or 60 MΩ in manuals).
OVERLOAD_OHMS: Final = 60e6
#: Test leads, Ω: 0.2 to 0.5, Fluke 187 0.1 to 0.2; above 1 Ω they are to be replaced.
LEAD_OHMS: Final = (0.1, 0.5)


def uncertainty(reading: float, fraction: float, counts: float, resolution: float) -> float:
    """Return the meter's error at a reading, same unit: fraction·reading + counts·resolution.

    Args:
        reading: shown value.
        fraction: of reading, 0.01 for 1 %.
        counts: in last digits.
        resolution: one count in the range used, same unit as the reading.

    Source: any meter's manual.

    >>> round(uncertainty(2200, 0.008, 2, 10), 6)
    37.6
    """
    not_negative(fraction=fraction, counts=counts, resolution=resolution)
    return abs(reading) * fraction + counts * resolution


def resolution(reading: float, full_scale_counts: int = 6000, smallest: float = 0.1) -> float:
    """Return one count of the range that an auto-ranging meter takes for a reading.

    The ranges are the full-scale counts times powers of ten of the smallest count.

    Args:
        reading: value, any unit, 0 or more.
        full_scale_counts: counts of the display, 2000, 4000, 6000...
        smallest: one count of the lowest range (0.1 Ω on ohms).

    >>> resolution(2200), resolution(100), resolution(2200, 2000)
    (1.0, 0.1, 10.0)
    """
    above_zero(full_scale_counts=full_scale_counts, smallest=smallest)
    not_negative(reading=reading)
    step = smallest
    while reading >= step * full_scale_counts and not math.isinf(reading):
        step = float(f"{step * 10:.6g}")
    return step


def meter_error(ohms: float) -> float:
    """Return the error of a meter at a reading, Ω; 0 at infinity (it shows overload)."""
    return 0.0 if math.isinf(ohms) else uncertainty(ohms, *OHMS_ERROR, resolution(ohms))


DiodeState = Literal[
    "short or very low ohms", "Schottky or a low path", "junction", "two junctions or LED", "open"
]


@dataclass(frozen=True, slots=True)
class DiodeReading:
    """What a diode-mode reading looks like, in a word and in a sentence; `basis` names the rest."""

    state: DiodeState
    text: str
    basis: str


_DIODE_PRACTICE: Final = "ranges from meter manuals; that of pins: common practice, no source"

#: Upper ends of the diode-mode ranges, V. 0.100 V is the beeper limit of Fluke's 80 series;
#: 0.45 V the top of Schottky diodes, 0.9 V the top of a silicon junction in meter manuals.
DIODE_SHORT_VOLTS: Final = 0.05
DIODE_SCHOTTKY_VOLTS: Final = (0.10, 0.45)
DIODE_SILICON_VOLTS: Final = (0.40, 0.90)
#: Protection diodes of chip pins, V (common practice, no source).
DIODE_PIN_VOLTS: Final = (0.30, 0.70)
DIODE_OPEN_VOLTS: Final = 2.0


def read_diode(volts: float | None) -> DiodeReading:
    """Return what a diode-mode reading may be; None is OL (overload).

    A reading of about 0.3 V or 0.6 V from a pad to ground, red probe on ground, is a pin's
    protection diode and no short. The final word is the same pin on a good board.

    Args:
        volts: shown, V, 0 or more; None for OL.

    Source: Fluke 11x, 80 series and others' manuals for the ranges; pins: common practice.

    >>> [read_diode(volts).state for volts in (0.02, 0.31, 0.6, None)]
    ['short or very low ohms', 'Schottky or a low path', 'junction', 'open']
    """
    state: DiodeState
    if volts is None or volts >= DIODE_OPEN_VOLTS:
        state = "open"
        text = "open, or the junction is reversed: swap the probes; an LED may show OL in health"
        return DiodeReading(state, text, _DIODE_PRACTICE)
    not_negative(volts=volts)
    if volts < DIODE_SCHOTTKY_VOLTS[0]:
        state = "short or very low ohms"
        text = "a short" if volts < DIODE_SHORT_VOLTS else "a short or a few tens of ohms"
        text += ": confirm on ohms; a shunt, a coil or a heavy rail reads so in health"
    elif volts <= DIODE_SILICON_VOLTS[0]:
        state = "Schottky or a low path"
        text = (
            "a Schottky diode, a pin's protection diode at its low end, or a resistor beside it: "
            "not a short; compare with like pins"
        )
    elif volts <= DIODE_SILICON_VOLTS[1]:
        state = "junction"
        text = "one silicon junction: a pin's protection diode in health; compare with like pins"
    else:
        state = "two junctions or LED"
        text = "two junctions in series, a way through a rail, or an LED"
    return DiodeReading(state, text, _DIODE_PRACTICE)
