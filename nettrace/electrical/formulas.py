"""The formulas a technician may ask for by name: what each works out from its inputs.

Names, units, help and defaults stand in `knowledge/formulas.toml`; a function here has the name of
its formula and takes the parameters by theirs.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, get_args

from nettrace.electrical import bus_limits, charging, meter, thermistor
from nettrace.electrical.ranges import above_zero, not_negative
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.knowledge import section
from nettrace.values.quantity import parse_quantity
from nettrace.values.series import combinations


@dataclass(frozen=True, slots=True)
class FormulaInput:
    """One input: its name, its unit ("" for a plain number, "text" for a word), what it is.

    `default` is the text taken where the user gives none; None makes it required, "-" leaves it
    out.
    """

    name: str
    unit: str
    help: str
    default: str | None = None


@dataclass(frozen=True, slots=True)
class FormulaLine:
    """One line of a result: a number with its SI unit, or a sentence with unit ""."""

    label: str
    value: float | str
    unit: str = ""


#: Label, value, and unit where there is one.
_Line = tuple[str, float | str] | tuple[str, float | str, str]
_Lines = Iterator[_Line]


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula by name; `solve` takes the parameters by name and yields its lines."""

    name: str
    help: str
    parameters: tuple[FormulaInput, ...]
    solve: Callable[..., _Lines]


class Solved(tuple[FormulaLine, ...]):
    """The lines of a formula; `name` is the formula's name as it was asked for."""

    name: str
    formula: Formula


def _pull_up_window(volts: float, capacitance: float, mode: str) -> _Lines:
    found = next((m for m in bus_limits.BusMode if m.value.lower() == mode.lower()), None)
    if found is None:
        known = ", ".join(m.value for m in bus_limits.BusMode)
        raise WrongUsage(f"no bus class '{mode}'", hint=f"There are {known}.")
    limits = bus_limits.pull_up_limits(volts, capacitance, found)
    yield "at least", limits.at_least, "Ω"
    yield "at most", limits.at_most, "Ω"
    if not limits.possible:
        yield "verdict", "no value is legal"


def _pull_up(ohms: float, volts: float, bus: str, capacitance: float | None = None) -> _Lines:
    verdict = bus_limits.judge_pull_up(ohms, volts, capacitance, bus)
    yield "verdict", verdict.text
    if verdict.rise_seconds is not None:
        yield "rise time", verdict.rise_seconds, "s"
    yield "series resistor at most", bus_limits.series_limit_ohms(ohms), "Ω"
    yield from (("because", reason) for reason in verdict.because)


def _divider(volts: float, upper: float, lower: float, load: float | None = None) -> _Lines:
    """The tap; an infinite resistance is an open."""
    not_negative(upper_ohms=upper, lower_ohms=lower)
    if upper == lower and (upper == 0 or math.isinf(upper)):
        raise ValueError("the tap has no voltage of its own with both resistors 0 or both open")
    yield "tap", _tap(volts, upper, lower), "V"
    if load is not None:
        above_zero(upper_ohms=upper, lower_ohms=lower, load_ohms=load)
        yield "tap under load", _tap(volts, upper, 1 / (1 / lower + 1 / load)), "V"


def _tap(volts: float, upper: float, lower: float) -> float:
    if math.isinf(lower):
        return volts
    return 0.0 if math.isinf(upper) else volts * lower / (upper + lower)


def _feedback(reference: float, upper: float, lower: float) -> _Lines:
    """Vout = Vref·(1 + upper/lower), the feedback pin's current neglected (any data sheet)."""
    above_zero(reference_volts=reference, lower_ohms=lower)
    not_negative(upper_ohms=upper)
    yield "output", reference * (1 + upper / lower), "V"


def _feedback_upper(output: float, reference: float, lower: float) -> _Lines:
    above_zero(output_volts=output, reference_volts=reference, lower_ohms=lower)
    if output < reference:
        raise ValueError("the output cannot be below the reference")
    upper = lower * (output / reference - 1)
    yield "upper resistor", upper, "Ω"
    if upper > 0:
        yield "of E96", combinations(upper, "E96", None, limit=1)[0].text("Ω")


def _thermistor(
    beta: float, nominal: float, celsius: float | None = None, ohms: float | None = None
) -> _Lines:
    if (celsius is None) == (ohms is None):
        raise WrongUsage("give either celsius or ohms", hint="One is computed from the other.")
    if celsius is not None:
        yield "resistance", thermistor.beta_ohms(celsius, beta, nominal), "Ω"
    else:
        yield "temperature", thermistor.beta_celsius(ohms or 0.0, beta, nominal), "°C"


def _thermistor_divider(
    volts: float, bias: float, beta: float, nominal: float, tap: float | None = None
) -> _Lines:
    if tap is not None:
        celsius = thermistor.divider_celsius(tap, volts, bias, beta, nominal)
        yield "temperature", celsius, "°C"
        yield "charging zone", ": ".join(thermistor.jeita_zone(celsius))
        return
    above_zero(bias_ohms=bias, nominal_ohms=nominal)
    for swept in (0, 10, 25, 45, 60):
        ohms = thermistor.beta_ohms(swept, beta, nominal)
        yield f"tap at {swept} °C", volts * ohms / (bias + ohms), "V"


def _rc(ohms: float, farads: float) -> _Lines:
    """The time to 63 % of the way, and the frequency that is 3 dB down."""
    above_zero(ohms=ohms, farads=farads)
    yield "time constant", ohms * farads, "s"
    yield "corner", 1 / (2 * math.pi * ohms * farads), "Hz"


def _lc(henries: float, farads: float) -> _Lines:
    above_zero(henries=henries, farads=farads)
    yield "resonance", 1 / (2 * math.pi * math.sqrt(henries * farads)), "Hz"


def _crystal_load(first: float, second: float, stray: float) -> _Lines:
    """The two capacitors in series, and the stray capacitance beside them."""
    not_negative(stray_farads=stray)
    for farads in (first, second):
        above_zero(farads=farads)
    yield "load", 1 / (1 / first + 1 / second) + stray, "F"


def _led(supply: float, forward: float, amperes: float) -> _Lines:
    above_zero(amperes=amperes, forward_volts=forward)
    drop = supply - forward
    if not drop > 0 or math.isinf(drop):
        raise ValueError(f"the supply ({supply:g} V) must be above the LED's {forward:g} V")
    yield "resistor", drop / amperes, "Ω"
    yield "power", drop * amperes, "W"


def _shunt(ohms: float, amperes: float) -> _Lines:
    """The drop carries the sign of the current."""
    above_zero(ohms=ohms)
    yield "drop", ohms * amperes, "V"
    yield "power", ohms * amperes**2, "W"


def _supply(volts: float, amperes: float, trend: str) -> _Lines:
    known: tuple[charging.Trend, ...] = get_args(charging.Trend)
    found = next((one for one in known if one == trend), None)
    if found is None:
        raise WrongUsage(f"no trend '{trend}'", hint=f"There are {', '.join(known)}.")
    meaning = charging.explain_supply(volts, amperes, found)
    yield "stage", meaning.stage
    yield "meaning", meaning.text
    yield from (("often missing", what) for what in meaning.missing)
    yield from (("basis", what) for what in meaning.basis)


def _cc(volts: float) -> _Lines:
    offered = charging.advertised_amperes(volts)
    if offered is None:
        yield "offered", "no source attached, or no pull-down on this CC pin"
    else:
        yield "offered", offered, "A"


def _meter_error(reading: float, accuracy: float, counts: float, count: float) -> _Lines:
    error = meter.uncertainty(reading, accuracy, counts, count)
    yield "error", error
    yield "at least", reading - error
    yield "at most", reading + error


def _diode_mode(volts: str) -> _Lines:
    found = meter.read_diode(None if volts.upper() == "OL" else parse_quantity(volts, "V"))
    yield "looks like", found.state
    yield "meaning", found.text
    yield "basis", found.basis


#: In the table's order.
FORMULAS: Final[tuple[Formula, ...]] = tuple(
    Formula(
        name,
        row["help"],
        tuple(FormulaInput(*parameter) for parameter in row["parameters"]),
        globals()[f"_{name.replace('-', '_')}"],
    )
    for name, row in section("formulas").items()
)


def find_formula(name: str) -> Formula:
    """Return a formula by name, without regard to case.

    Raises:
        NothingMatches: no such formula; the nearest names are offered.

    >>> find_formula("RC").parameters[0].name
    'ohms'
    """
    names = {formula.name: formula for formula in FORMULAS}
    if name.lower() in names:
        return names[name.lower()]
    near = difflib.get_close_matches(name.lower(), names, 3)
    hint = f"Nearest: {', '.join(near)}." if near else f"There are {', '.join(names)}."
    raise NothingMatches(f"no formula '{name}'", hint=hint)


def solve_formula(name: str, given: Mapping[str, str]) -> Solved:
    """Return the lines of a formula for inputs as the user typed them.

    Args:
        name: of the formula.
        given: parameter name -> text such as `4k7` or `100n`.

    Raises:
        NothingMatches: no such formula.
        WrongUsage: a parameter is missing, unknown or out of range.

    >>> answers = solve_formula("shunt", {"ohms": "10m", "amperes": "3"})
    >>> [(answer.label, answer.value, answer.unit) for answer in answers]
    [('drop', 0.03, 'V'), ('power', 0.09, 'W')]
    """
    formula = find_formula(name)
    usage = " ".join(
        f"{p.name}={p.unit or 'number'}" if p.default is None else f"[{p.name}=...]"
        for p in formula.parameters
    )
    hint = f"Give {usage}."
    for key in given:
        if all(key != parameter.name for parameter in formula.parameters):
            raise WrongUsage(f"no parameter '{key}' of {formula.name}", hint=hint)
    inputs: dict[str, Any] = {}
    for parameter in formula.parameters:
        text = given.get(parameter.name, parameter.default)
        if text is None:
            raise WrongUsage(f"'{parameter.name}' of {formula.name} is missing", hint=hint)
        if parameter.unit == "text":
            inputs[parameter.name] = text
        elif text != "-" or parameter.default != "-":
            plain = parameter.unit in {"", "any"}
            inputs[parameter.name] = parse_quantity(text, None if plain else parameter.unit)
    try:
        solved = Solved(FormulaLine(*line) for line in formula.solve(**inputs))
    except ValueError as error:
        raise WrongUsage(str(error), hint=hint) from error
    solved.name, solved.formula = name, formula
    return solved
