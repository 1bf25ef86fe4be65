"""The whole answer to a marking: its meanings, the series it belongs to, and what replaces it."""

from __future__ import annotations

from dataclasses import dataclass

from nettrace.errors import NothingMatches
from nettrace.values.marking import Meaning, meanings
from nettrace.values.series import (
    Combination,
    combinations,
    neighbours,
    series_containing,
    series_of_tolerance,
)

__all__ = ["ValueAnswer", "explain_value"]


@dataclass(frozen=True, slots=True)
class ValueAnswer:
    """What a text means and, for its likeliest resistance, capacitance or inductance, the rest.

    `series` are those that hold the value, `between` its neighbours in `combined_series`,
    `made_of` the one- and two-part combinations that come within the tolerance.
    """

    text: str
    meanings: tuple[Meaning, ...]
    series: tuple[str, ...] = ()
    between: tuple[float, float] | None = None
    combined_series: str = ""
    made_of: tuple[Combination, ...] = ()


_UNITS = {"ohms": "Ω", "farads": "F", "henries": "H"}


def explain_value(
    text: str, series: str | None = None, tolerance: float | None = None, limit: int = 6
) -> ValueAnswer:
    """Return the meanings of a text and how to make its value from parts at hand.

    Args:
        text: a marking or value text.
        series: E series to combine from; None takes the one of the text's tolerance, else E24.
        tolerance: greatest error of a combination, fraction; None takes the text's, else 1 %.
        limit: how many combinations at most.

    Raises:
        NothingMatches: no rule reads the text.
        ValueError: no such series.

    >>> answer = explain_value("4k7")
    >>> answer.series, answer.between, answer.made_of[0].text()
    (('E3', 'E6', 'E12', 'E24', 'E192'), (4300.0, 5100.0), '4.7 kΩ')
    """
    found = meanings(text)
    if not found:
        raise NothingMatches(
            f"no meaning known for '{text}'",
            hint="Markings look like 472, 01C, 4R7, 104K; values like 2k2, 0.1uF/16V/X5R.",
        )
    main = next((m for m in found if m.quantity in _UNITS), None)
    value = main.value if main else None
    if main is None or not isinstance(value, float) or value <= 0:
        return ValueAnswer(text, found)
    if series is None:
        series = series_of_tolerance(main.tolerance)[-1] if main.tolerance else "E24"
    if tolerance is None:
        tolerance = main.tolerance or 0.01
    return ValueAnswer(
        text,
        found,
        series_containing(value),
        neighbours(value, series),
        series,
        combinations(value, series, tolerance, limit=limit, capacitors=main.quantity == "farads"),
    )
