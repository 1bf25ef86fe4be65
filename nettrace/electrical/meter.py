"""The meter itself: its error, its leads, its beeper, its load, and what diode mode shows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from nettrace.electrical.ranges import above_zero, not_negative

__all__ = [
    "BEEPER_OHMS",
    "DC_VOLTS",
    "DIODE_TEST",
    "INPUT_OHMS",
    "OHMS",
    "Accuracy",
    "DiodeReading",
    "beeps",
    "judge_ohms",
    "loaded_volts",
    "read_diode",
    "resolution",
    "uncertainty",
]


@dataclass(frozen=True, slots=True)
class Accuracy:
    """A meter's stated accuracy: ±(fraction of reading + counts), and how many counts it has."""

    fraction: float
    counts: int
    full_scale_counts: int = 6000


#: Mid-range true-RMS meter, from memory: ohms ±(0.9 % + 2), DC volts ±(0.5 % + 2). Diode test
#: ±(1.5 % + 2) as in a maker's table.
OHMS: Final = Accuracy(0.009, 2)
DC_VOLTS: Final = Accuracy(0.005, 2)
DIODE_TEST: Final = Accuracy(0.015, 2, 2000)

#: Input resistance on DC volts, Ω (Fluke 11x: above 10 MΩ).
INPUT_OHMS: Final = 10e6
#: Typical beeper limit, Ω: manuals say 20 to 250, so it is always a parameter.
BEEPER_OHMS: Final = 30.0
#: Range of beeper limits found in manuals (40, 50, 70, 100 Ω; 20 and 250 from memory).
BEEPER_RANGE_OHMS: Final = (20.0, 250.0)
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


def beeps(ohms: float, limit_ohms: float | None = None) -> bool | None:
    """Return whether the continuity beeper sounds; None where it depends on the meter.

    A beep does not mean 0 Ω, and low-ohm loads (supply rails of processors) beep in health.

    Args:
        ohms: between the probes, Ω, 0 or more.
        limit_ohms: the meter's own limit; None takes the range found in manuals.

    Source: five meters' manuals (40, 50, 70, 100 Ω).

    >>> beeps(5), beeps(60), beeps(1000), beeps(60, 100)
    (True, None, False, True)
    """
    not_negative(ohms=ohms)
    if limit_ohms is not None:
        return ohms < limit_ohms
    if ohms < BEEPER_RANGE_OHMS[0]:
        return True
    return None if ohms <= BEEPER_RANGE_OHMS[1] else False


def loaded_volts(open_volts: float, source_ohms: float, input_ohms: float = INPUT_OHMS) -> float:
    """Return what a voltmeter shows at a point with a source resistance, V.

    Args:
        open_volts: without the meter, V.
        source_ohms: Thevenin resistance of the point (both divider resistors in parallel), Ω.
        input_ohms: of the meter, Ω.

    >>> f"{loaded_volts(2.5, 5e3):.5f}", f"{loaded_volts(2.5, 500e3):.5f}"
    ('2.49875', '2.38095')
    """
    not_negative(source_ohms=source_ohms)
    above_zero(input_ohms=input_ohms)
    return open_volts * input_ohms / (input_ohms + source_ohms)


OhmsState = Literal["within", "above: fault proved", "below: proves nothing", "below: fault proved"]


def judge_ohms(
    reading: float,
    nominal_ohms: float,
    tolerance: float,
    accuracy: Accuracy = OHMS,
    *,
    exact: bool = False,
) -> OhmsState:
    """Return what an in-circuit ohms reading proves about a resistor.

    The meter's current takes every path, so a part beside others reads low in health; a reading
    above nominal, tolerance and meter error proves an open or a wrong part.

    Args:
        reading: shown, Ω; infinite for overload.
        nominal_ohms: of the part or the network's bound, Ω.
        tolerance: fraction.
        accuracy: of the meter.
        exact: nothing else touches the two nets (or one leg is lifted).

    Source: parallel bound; the meter's manual for lifting a leg.

    >>> judge_ohms(10.4e3, 10e3, 0.01), judge_ohms(7674, 10e3, 0.01)
    ('above: fault proved', 'below: proves nothing')
    """
    not_negative(reading=reading, nominal_ohms=nominal_ohms, tolerance=tolerance)
    if math.isinf(reading):
        return "within" if math.isinf(nominal_ohms) else "above: fault proved"
    step = resolution(reading, accuracy.full_scale_counts)
    error = uncertainty(reading, accuracy.fraction, accuracy.counts, step)
    if reading - error > nominal_ohms * (1 + tolerance):
        return "above: fault proved"
    if reading + error < nominal_ohms * (1 - tolerance):
        return "below: fault proved" if exact else "below: proves nothing"
    return "within"


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

    >>> (
    ...     read_diode(0.02).state,
    ...     read_diode(0.31).state,
    ...     read_diode(0.6).state,
    ...     read_diode(None).state,
    ... )
    ('short or very low ohms', 'Schottky or a low path', 'junction', 'open')
    """
    if volts is None or volts >= DIODE_OPEN_VOLTS:
        return DiodeReading(
            "open",
            "open, or the junction is reversed: swap the probes; an LED may show OL in health",
            _DIODE_PRACTICE,
        )
    not_negative(volts=volts)
    if volts < DIODE_SCHOTTKY_VOLTS[0]:
        sure = "a short" if volts < DIODE_SHORT_VOLTS else "a short or a few tens of ohms"
        return DiodeReading(
            "short or very low ohms",
            f"{sure}: confirm on ohms; a shunt, a coil or a heavy rail reads so in health",
            _DIODE_PRACTICE,
        )
    if volts <= DIODE_SILICON_VOLTS[0]:
        return DiodeReading(
            "Schottky or a low path",
            "a Schottky diode, a pin's protection diode at its low end, or a resistor beside it: "
            "not a short; compare with like pins",
            _DIODE_PRACTICE,
        )
    if volts <= DIODE_SILICON_VOLTS[1]:
        return DiodeReading(
            "junction",
            "one silicon junction: a pin's protection diode in health; compare with like pins",
            _DIODE_PRACTICE,
        )
    return DiodeReading(
        "two junctions or LED",
        "two junctions in series, a way through a rail, or an LED",
        _DIODE_PRACTICE,
    )
