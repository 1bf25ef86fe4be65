"""NTC thermistors: resistance and temperature, by beta or by a maker's table, and in a divider.

A part has several betas, one for each pair of temperatures; always name the pair.
"""

from __future__ import annotations

import bisect
import math
from typing import Final

from nettrace.electrical.ranges import above_zero
from nettrace.knowledge import table

KELVIN: Final = 273.15
#: Where the nominal resistance is given.
NOMINAL_CELSIUS: Final = 25.0
NOMINAL_OHMS: Final = 10e3


def _kelvin(celsius: float) -> float:
    kelvin = celsius + KELVIN
    if not kelvin > 0:
        raise ValueError(f"{celsius:g} °C is below absolute zero")
    return kelvin


def beta_ohms(
    celsius: float,
    beta: float,
    nominal_ohms: float = NOMINAL_OHMS,
    nominal_celsius: float = NOMINAL_CELSIUS,
) -> float:
    """Return the resistance at a temperature by the beta formula, Ω.

    R(T) = R0·exp(B·(1/T − 1/T0)), T in kelvin. Good near the pair of temperatures that the beta
    was taken from, some per cent off elsewhere.

    Args:
        celsius: temperature, °C.
        beta: beta constant, K, above 0.
        nominal_ohms: resistance at the nominal temperature, Ω, above 0.
        nominal_celsius: nominal temperature, °C.

    Source: HPC033 thermistor data sheet; any maker's.

    >>> f"{beta_ohms(0, 3380):.1f}", f"{beta_ohms(50, 3950):.1f}"
    ('28223.7', '3588.2')
    """
    above_zero(beta=beta, nominal_ohms=nominal_ohms)
    return nominal_ohms * math.exp(beta * (1 / _kelvin(celsius) - 1 / _kelvin(nominal_celsius)))


def beta_celsius(ohms: float, beta: float, nominal_ohms: float = NOMINAL_OHMS) -> float:
    """Return the temperature of a resistance by the beta formula, °C.

    >>> f"{beta_celsius(5000, 3380):.2f}"
    '44.42'
    """
    above_zero(ohms=ohms, beta=beta, nominal_ohms=nominal_ohms)
    return 1 / (1 / _kelvin(NOMINAL_CELSIUS) + math.log(ohms / nominal_ohms) / beta) - KELVIN


def table_ohms(celsius: float) -> float:
    """Return the resistance at a temperature of a B57330V2103 by its maker's table, Ω.

    Between two rows the beta of those two rows holds, so a row itself comes back exactly.

    Raises:
        ValueError: the temperature is outside the table.

    >>> table_ohms(45)
    4911.0
    """
    rows = table("thermistor")["B57330V2103"]["points"]
    if not rows[0][0] <= celsius <= rows[-1][0]:
        raise ValueError(f"{celsius:g} °C is outside the table ({rows[0][0]} to {rows[-1][0]} °C)")
    index = min(bisect.bisect_right([row[0] for row in rows], celsius), len(rows) - 1)
    (cold, cold_ohms), (warm, warm_ohms) = rows[index - 1], rows[index]
    for row, ohms in ((cold, cold_ohms), (warm, warm_ohms)):
        if celsius == row:
            return float(ohms)
    beta = math.log(cold_ohms / warm_ohms) / (1 / _kelvin(cold) - 1 / _kelvin(warm))
    return beta_ohms(celsius, beta, cold_ohms, cold)


def divider_celsius(
    volts: float, supply_volts: float, bias_ohms: float, beta: float, nominal_ohms: float
) -> float:
    """Return the temperature that a thermistor divider's tap tells, °C.

    Args:
        volts: at the tap, V, between 0 and the supply.
        supply_volts: of the bias rail, V.
        bias_ohms: from the rail to the tap, Ω.
        beta: beta constant, K.
        nominal_ohms: at 25 °C, Ω.

    Raises:
        ValueError: the tap is at a rail: the thermistor is open or shorted, or the bias missing.

    >>> f"{divider_celsius(0.6, 1.8, 10e3, 3380, 10e3):.2f}"
    '44.42'
    """
    above_zero(supply_volts=supply_volts, bias_ohms=bias_ohms)
    if volts <= 0:
        raise ValueError("0 V at the tap: thermistor shorted, or its bias missing")
    if volts >= supply_volts:
        raise ValueError("the tap is at its rail: thermistor open or missing")
    return beta_celsius(bias_ohms * volts / (supply_volts - volts), beta, nominal_ohms)


def jeita_zone(celsius: float) -> tuple[str, str]:
    """Return the charging zone of a pack temperature, and what a charger does there.

    >>> jeita_zone(-5)[0], jeita_zone(25)[0], jeita_zone(50)[0]
    ('cold', 'normal', 'warm')
    """
    return next(
        (zone, effect)
        for end, belongs, zone, effect in table("thermistor")["zones"]["ends"]
        if celsius < end or (belongs and celsius == end)
    )
