"""Preferred numbers of IEC 60063: the E series, nearest values, and pairs that reach a value."""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from nettrace.knowledge import section
from nettrace.values.quantity import engineering

Arrangement = Literal["one", "series", "parallel"]


def _all_series() -> dict[str, tuple[int, ...]]:
    known = section("values", "series")
    e24 = tuple(10 * number for number in known["E24"])
    odd = known["E192_exceptions"]
    e192 = tuple(odd.get(str(row), round(100 * 10 ** (row / 192))) for row in range(192))
    return {
        "E3": e24[::8], "E6": e24[::4], "E12": e24[::2], "E24": e24,
        "E48": e192[::4], "E96": e192[::2], "E192": e192,
    }  # fmt: skip


#: Name of the series -> its numbers in one decade, rising, scaled to 100 ... 999.
SERIES: Final = _all_series()

#: Two values within this ratio are the same number (rounding of decimal fractions).
SAME: Final = 1e-9


def series_values(series: str) -> tuple[int, ...]:
    """Return the numbers of one decade, 100 to 999.

    Raises:
        ValueError: no such series.

    >>> series_values("E6")
    (100, 150, 220, 330, 470, 680)
    """
    name = series.upper()
    if name not in SERIES:
        raise ValueError(f"no series {series!r}; there are {', '.join(SERIES)}")
    return SERIES[name]


@lru_cache(maxsize=64)
def _decades(series: str, first: int, last: int) -> tuple[float, ...]:
    """Return the values of the decades 10^first to 10^last, rising."""
    numbers = series_values(series)
    return tuple(float(f"{n}e{d - 2}") for d in range(first, last + 1) for n in numbers)


def _around(value: float, series: str) -> tuple[float, ...]:
    if not 0 < value < math.inf:
        raise ValueError(f"a value must be above 0, not {value!r}")
    decade = math.floor(math.log10(value))
    return _decades(series.upper(), decade - 1, decade + 1)


def nearest(value: float, series: str = "E24") -> float:
    """Return the value of a series nearest to a number, by ratio.

    >>> nearest(4700, "E96"), nearest(980e-9, "E6")
    (4750.0, 1e-06)
    """
    values = _around(value, series)
    return min(values, key=lambda one: abs(math.log(one / value)))


def neighbours(value: float, series: str = "E24") -> tuple[float, float]:
    """Return the next lower and the next higher value of a series, the value itself left out.

    >>> neighbours(4700, "E24"), neighbours(1000, "E12")
    ((4300.0, 5100.0), (820.0, 1200.0))
    """
    values = _around(value, series)
    low = bisect.bisect_left(values, value * (1 - SAME)) - 1
    high = bisect.bisect_right(values, value * (1 + SAME))
    return values[low], values[high]


def series_containing(value: float) -> tuple[str, ...]:
    """Return the series that hold a value, coarsest first.

    4.7 kΩ is in E3 to E24 and not in E96: parts of 1 % are sold in both.

    >>> series_containing(4700), series_containing(4750)
    (('E3', 'E6', 'E12', 'E24', 'E192'), ('E96', 'E192'))
    """
    if not 0 < value < math.inf:
        return ()
    return tuple(name for name in SERIES if abs(nearest(value, name) / value - 1) < SAME)


def series_of_tolerance(tolerance: float) -> tuple[str, ...]:
    """Return the series made for a tolerance, the standard's own first.

    Args:
        tolerance: fraction, 0.01 for 1 %.

    Source: IEC 60063; that 1 % parts are also sold in E24 is common practice, no source.

    >>> series_of_tolerance(0.01), series_of_tolerance(0.10), series_of_tolerance(0.001)
    (('E96', 'E24'), ('E12',), ('E192', 'E96', 'E24'))
    """
    if not 0 < tolerance < 1:
        raise ValueError(f"a tolerance is a fraction between 0 and 1, not {tolerance!r}")
    widths = section("values", "series")["tolerances"]
    first = next((name for name, width in widths if tolerance >= width * (1 - SAME)), "E192")
    if first == "E192":
        return ("E192", "E96", "E24")
    return ("E96", "E24") if first == "E96" else (first,)


@dataclass(frozen=True, slots=True)
class Combination:
    """One or two parts that make a value; `error` is the signed fraction off the target."""

    arrangement: Arrangement
    parts: tuple[float, ...]
    value: float
    error: float

    def text(self, unit: str = "Ω") -> str:
        """Return it for people: `4.7 kΩ + 220 Ω`, `10 kΩ ∥ 10 kΩ`."""
        sign = {"one": "", "series": " + ", "parallel": " ∥ "}[self.arrangement]
        return sign.join(engineering(part, unit) for part in self.parts)


#: Values up to this many decades from the target are tried as the second part.
DECADES_TRIED: Final = 3


def combinations(
    target: float,
    series: str = "E24",
    tolerance: float | None = 0.01,
    *,
    limit: int = 10,
    capacitors: bool = False,
) -> tuple[Combination, ...]:
    """Return one part, two in series or two in parallel that make a value, nearest first.

    For each first part the best second part is looked up, so all pairs of the neighbouring
    decades are covered in n·log(n) steps.

    Args:
        target: wanted value, any unit, above 0.
        series: E series the parts are taken from.
        tolerance: greatest error as a fraction; None takes the best ones whatever their error.
        limit: how many at most.
        capacitors: series and parallel change places (capacitors add in parallel).

    Returns:
        Sorted by error, then fewer parts, then the smaller first part.

    >>> [c.text() for c in combinations(5000, "E24", 0.001, limit=3)]
    ['3 kΩ + 2 kΩ', '3.9 kΩ + 1.1 kΩ', '4.7 kΩ + 300 Ω']
    """
    if not 0 < target < math.inf:
        raise ValueError(f"a value must be above 0, not {target!r}")
    decade = math.floor(math.log10(target))
    values = _decades(series.upper(), decade - DECADES_TRIED, decade + DECADES_TRIED)
    adding: Arrangement = "parallel" if capacitors else "series"
    sharing: Arrangement = "series" if capacitors else "parallel"
    found = {_combination("one", (value,), value, target) for value in _best(values, target)}
    for first in values:
        if target / 2 * (1 - SAME) <= first < target:
            for second in _best(values, target - first):
                if second <= first * (1 + SAME):
                    found.add(_combination(adding, (first, second), first + second, target))
        if target < first <= target * 2 * (1 + SAME):
            for second in _best(values, 1 / (1 / target - 1 / first)):
                parts = (min(first, second), max(first, second))
                value = 1 / (1 / first + 1 / second)
                found.add(_combination(sharing, parts, value, target))
    ranked = sorted(found, key=lambda c: (round(abs(c.error), 9), len(c.parts), c.parts))
    if tolerance is not None:
        ranked = [c for c in ranked if abs(c.error) <= tolerance + SAME]
    return tuple(ranked[:limit])


def _best(values: tuple[float, ...], wanted: float) -> tuple[float, ...]:
    """Return the values just below and above a wanted one."""
    index = bisect.bisect_left(values, wanted)
    return values[max(0, index - 1) : index + 1]


def _combination(
    arrangement: Arrangement, parts: tuple[float, ...], value: float, target: float
) -> Combination:
    # the sum of decimal values is rounded to what a parts list could say: no 4920.000000000001
    value = float(f"{value:.10g}")
    return Combination(arrangement, parts, value, value / target - 1)
