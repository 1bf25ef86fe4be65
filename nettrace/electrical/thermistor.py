"""NTC thermistors: resistance and temperature, by beta or by a maker's table, and in a divider.

A part has several betas, one for each pair of temperatures; always name the pair.
"""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass
from typing import Final, Literal

from nettrace.electrical.ranges import above_zero

__all__ = [
    "EPCOS_8016",
    "EPCOS_B57330V2103",
    "TABLES",
    "JeitaLimits",
    "Zone",
    "beta_celsius",
    "beta_from_points",
    "beta_ohms",
    "divider_celsius",
    "divider_sweep",
    "jeita_zone",
    "table_celsius",
    "table_ohms",
]

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


def beta_celsius(
    ohms: float,
    beta: float,
    nominal_ohms: float = NOMINAL_OHMS,
    nominal_celsius: float = NOMINAL_CELSIUS,
) -> float:
    """Return the temperature of a resistance by the beta formula, °C.

    >>> f"{beta_celsius(5000, 3380):.2f}"
    '44.42'
    """
    above_zero(ohms=ohms, beta=beta, nominal_ohms=nominal_ohms)
    return 1 / (1 / _kelvin(nominal_celsius) + math.log(ohms / nominal_ohms) / beta) - KELVIN


def beta_from_points(
    first_celsius: float, first_ohms: float, second_celsius: float, second_ohms: float
) -> float:
    """Return the beta of a pair of points, K.

    >>> round(beta_from_points(25, 10000, 85, 1451))
    3435
    """
    above_zero(first_ohms=first_ohms, second_ohms=second_ohms)
    if first_celsius == second_celsius:
        raise ValueError("a beta needs two different temperatures")
    return math.log(first_ohms / second_ohms) / (
        1 / _kelvin(first_celsius) - 1 / _kelvin(second_celsius)
    )


#: (°C, Ω), coldest first. From the maker's sheet as quoted in the Linux kernel's ntc_thermistor.c.
EPCOS_B57330V2103: Final[tuple[tuple[float, float], ...]] = (
    (-20, 68104), (0, 27326), (10, 17973), (25, 10000), (45, 4911), (50, 4158), (60, 3019),
    (85, 1451), (100, 973),
)  # fmt: skip
#: R/T curve 8016 of the B57861S sheet, page 6, for 10 kΩ.
EPCOS_8016: Final[tuple[tuple[float, float], ...]] = (
    (-20, 97070), (0, 32650), (10, 19900), (25, 10000), (45, 4369), (50, 3603), (60, 2488),
    (85, 1072), (100, 680),
)  # fmt: skip
TABLES: Final = {"B57330V2103": EPCOS_B57330V2103, "8016": EPCOS_8016}


def table_ohms(celsius: float, table: tuple[tuple[float, float], ...]) -> float:
    """Return the resistance at a temperature from a maker's table, Ω.

    Between two rows the beta of those two rows holds, so a row itself comes back exactly.

    Raises:
        ValueError: the temperature is outside the table.

    >>> table_ohms(45, EPCOS_B57330V2103)
    4911.0
    """
    if not table[0][0] <= celsius <= table[-1][0]:
        raise ValueError(
            f"{celsius:g} °C is outside the table ({table[0][0]} to {table[-1][0]} °C)"
        )
    index = min(bisect.bisect_right([row[0] for row in table], celsius), len(table) - 1)
    cold, warm = table[index - 1], table[index]
    if celsius == cold[0]:
        return float(cold[1])
    if celsius == warm[0]:
        return float(warm[1])
    return beta_ohms(celsius, beta_from_points(*cold, *warm), cold[1], cold[0])


def table_celsius(ohms: float, table: tuple[tuple[float, float], ...]) -> float:
    """Return the temperature of a resistance from a maker's table, °C.

    >>> table_celsius(4911, EPCOS_B57330V2103)
    45.0
    """
    if not table[-1][1] <= ohms <= table[0][1]:
        raise ValueError(f"{ohms:g} Ω is outside the table ({table[-1][1]} to {table[0][1]} Ω)")
    index = min(bisect.bisect_right([-row[1] for row in table], -ohms), len(table) - 1)
    cold, warm = table[index - 1], table[index]
    if ohms == cold[1]:
        return float(cold[0])
    if ohms == warm[1]:
        return float(warm[0])
    return beta_celsius(ohms, beta_from_points(*cold, *warm), cold[1], cold[0])


def divider_sweep(
    supply_volts: float,
    bias_ohms: float,
    celsius: tuple[float, ...] = (0, 10, 25, 45, 60),
    *,
    beta: float | None = None,
    nominal_ohms: float = NOMINAL_OHMS,
    table: tuple[tuple[float, float], ...] | None = None,
) -> tuple[tuple[float, float, float], ...]:
    """Return (°C, thermistor Ω, tap V) for a thermistor to ground with its bias resistor above.

    Args:
        supply_volts: voltage of the bias rail, V.
        bias_ohms: resistor from the rail to the tap, Ω, above 0.
        celsius: temperatures, °C; the order is kept.
        beta: beta constant, K; None takes `table`, or the B57330V2103 curve scaled.
        nominal_ohms: resistance at 25 °C, Ω.
        table: a maker's table; it wins over beta.

    >>> [f"{volts:.4f}" for _, _, volts in divider_sweep(1.8, 10e3)]
    ['1.3178', '1.1565', '0.9000', '0.5928', '0.4174']
    """
    above_zero(bias_ohms=bias_ohms, nominal_ohms=nominal_ohms)
    rows = []
    for temperature in celsius:
        if table is not None:
            ohms = table_ohms(temperature, table)
        elif beta is not None:
            ohms = beta_ohms(temperature, beta, nominal_ohms)
        else:
            ohms = table_ohms(temperature, EPCOS_B57330V2103) * nominal_ohms / NOMINAL_OHMS
        rows.append((float(temperature), ohms, supply_volts * ohms / (bias_ohms + ohms)))
    return tuple(rows)


def divider_celsius(
    volts: float,
    supply_volts: float,
    bias_ohms: float,
    beta: float,
    nominal_ohms: float = NOMINAL_OHMS,
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

    >>> f"{divider_celsius(0.6, 1.8, 10e3, 3380):.2f}"
    '44.42'
    """
    above_zero(supply_volts=supply_volts, bias_ohms=bias_ohms)
    if volts <= 0:
        raise ValueError("0 V at the tap: thermistor shorted, or its bias missing")
    if volts >= supply_volts:
        raise ValueError("the tap is at its rail: thermistor open or missing")
    return beta_celsius(bias_ohms * volts / (supply_volts - volts), beta, nominal_ohms)


@dataclass(frozen=True, slots=True)
class JeitaLimits:
    """The temperatures between the charging zones, °C: T1 cold/cool ... T5 warm/hot.

    Source: JEITA guideline of 20 April 2007 as applied in TI charger data sheets; T3 to T5 and
    what is done in the cool and warm zones differ from charger to charger.
    """

    cold: float = 0.0
    cool: float = 10.0
    warm: float = 45.0
    hot: float = 60.0


Zone = Literal["cold", "cool", "normal", "warm", "hot"]
ZONE_EFFECTS: Final[dict[Zone, str]] = {
    "cold": "charging stopped",
    "cool": "charging current cut, to 20 % or 50 % by charger",
    "normal": "full charging",
    "warm": "charge voltage lowered, to 4.1 V or by 140 mV by charger",
    "hot": "charging stopped",
}


def jeita_zone(celsius: float, limits: JeitaLimits | None = None) -> Zone:
    """Return the charging zone of a pack temperature.

    >>> jeita_zone(-5), jeita_zone(25), jeita_zone(50)
    ('cold', 'normal', 'warm')
    """
    limits = limits or JeitaLimits()
    if celsius < limits.cold:
        return "cold"
    if celsius < limits.cool:
        return "cool"
    if celsius <= limits.warm:
        return "normal"
    if celsius <= limits.hot:
        return "warm"
    return "hot"
