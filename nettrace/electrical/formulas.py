"""Voltage dividers: the tap, the output a feedback divider sets, and the resistor that gives it."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from nettrace.electrical import bus_limits, charging, meter, thermistor
from nettrace.electrical.ranges import above_zero, not_negative
from nettrace.errors import NothingMatches, WrongUsage
from nettrace.values.quantity import parse_quantity
from nettrace.values.series import combinations


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


# -- Resistor-capacitor corners and time constants, LC resonance, and capacitors put together.


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


# -- The series resistor of a light-emitting diode.


#: Usual forward voltages at a few milliamperes, V (common practice, no source).
FORWARD_VOLTS: Final[dict[str, tuple[float, float]]] = {
    "infrared": (1.1, 1.5),
    "red": (1.7, 2.1),
    "orange": (1.9, 2.2),
    "yellow": (1.9, 2.2),
    "green": (2.0, 3.2),
    "blue": (2.7, 3.4),
    "white": (2.7, 3.4),
}


def led_resistor(supply_volts: float, forward_volts: float, amperes: float) -> tuple[float, float]:
    """Return the series resistor of an LED, Ω, and the power in it, W.

    Args:
        supply_volts: voltage of the rail, V.
        forward_volts: voltage across the LED (or the string), V, above 0.
        amperes: wanted current, A, above 0.

    Raises:
        ValueError: the supply is not above the forward voltage, or an argument is not above 0.

    >>> ohms, watts = led_resistor(3.3, 2.0, 2e-3)
    >>> f"{ohms:.0f} Ω, {watts * 1e3:.1f} mW"
    '650 Ω, 2.6 mW'
    """
    above_zero(amperes=amperes, forward_volts=forward_volts)
    drop = supply_volts - forward_volts
    if not drop > 0 or math.isinf(drop):
        raise ValueError(
            f"the supply ({supply_volts:g} V) must be above the LED's {forward_volts:g} V"
        )
    return drop / amperes, drop * amperes


def led_amperes(supply_volts: float, forward_volts: float, ohms: float) -> float:
    """Return the current of an LED behind a resistor, A; 0 if the supply is too low to light it.

    >>> f"{led_amperes(5, 2.0, 1e3) * 1e3:.1f} mA"
    '3.0 mA'
    """
    above_zero(ohms=ohms)
    return max(0.0, supply_volts - forward_volts) / ohms


# -- Current shunts: drop, power, and the error of a track shared with the sense lines.


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


# -- The formulas a technician may ask for by name, with their parameters and units.


@dataclass(frozen=True, slots=True)
class Parameter:
    """One input: its name, its unit ("" for a plain number, "text" for a word), what it is.

    `default` is the text taken where the user gives none; None makes it required, "-" leaves it
    out.
    """

    name: str
    unit: str
    help: str
    default: str | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """One line of a result: a number with its SI unit, or a sentence with unit ""."""

    label: str
    value: float | str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula by name; `solve` takes the parameters by name and returns the lines."""

    name: str
    help: str
    parameters: tuple[Parameter, ...]
    solve: Callable[..., tuple[Answer, ...]]


def _pull_up_window(volts: float, capacitance: float, mode: str) -> tuple[Answer, ...]:
    found = _mode(mode)
    limits = bus_limits.pull_up_limits(volts, capacitance, found)
    lines = (
        Answer("at least", limits.at_least, "Ω"),
        Answer("at most", limits.at_most, "Ω"),
    )
    if limits.possible:
        return lines
    return (*lines, Answer("verdict", "no value is legal"))


def _mode(text: str) -> bus_limits.BusMode:
    for mode in bus_limits.BusMode:
        if mode.value.lower() == text.lower():
            return mode
    raise WrongUsage(
        f"no bus class '{text}'",
        hint="There are " + ", ".join(mode.value for mode in bus_limits.BusMode) + ".",
    )


def _pull_up(
    ohms: float, volts: float, bus: str, capacitance: float | None = None
) -> tuple[Answer, ...]:
    verdict = bus_limits.judge_pull_up(ohms, volts, capacitance, bus)
    lines = [Answer("verdict", verdict.text)]
    if verdict.rise_seconds is not None:
        lines.append(Answer("rise time", verdict.rise_seconds, "s"))
    lines.append(Answer("series resistor at most", bus_limits.series_limit_ohms(ohms), "Ω"))
    lines.extend(Answer("because", reason) for reason in verdict.because)
    return tuple(lines)


def _divider(
    volts: float, upper: float, lower: float, load: float | None = None
) -> tuple[Answer, ...]:
    lines = [Answer("tap", divider_volts(volts, upper, lower), "V")]
    if load is not None:
        loaded = loaded_divider_volts(volts, upper, lower, load)
        lines.append(Answer("tap under load", loaded, "V"))
    return tuple(lines)


def _feedback(reference: float, upper: float, lower: float) -> tuple[Answer, ...]:
    return (Answer("output", feedback_output_volts(reference, upper, lower), "V"),)


def _feedback_upper(output: float, reference: float, lower: float) -> tuple[Answer, ...]:
    upper = feedback_upper_ohms(output, reference, lower)
    lines = [Answer("upper resistor", upper, "Ω")]
    if upper > 0:
        near = combinations(upper, "E96", None, limit=1)[0]
        lines.append(Answer("of E96", near.text("Ω")))
    return tuple(lines)


def _thermistor(
    celsius: float | None = None,
    ohms: float | None = None,
    beta: float = 3380,
    nominal: float = 10e3,
) -> tuple[Answer, ...]:
    if (celsius is None) == (ohms is None):
        raise WrongUsage("give either celsius or ohms", hint="One is computed from the other.")
    if celsius is not None:
        return (Answer("resistance", thermistor.beta_ohms(celsius, beta, nominal), "Ω"),)
    return (Answer("temperature", thermistor.beta_celsius(ohms or 0.0, beta, nominal), "°C"),)


def _thermistor_divider(
    volts: float, bias: float, beta: float, nominal: float, tap: float | None = None
) -> tuple[Answer, ...]:
    if tap is not None:
        celsius = thermistor.divider_celsius(tap, volts, bias, beta, nominal)
        zone = thermistor.jeita_zone(celsius)
        effect = f"{zone}: {thermistor.ZONE_EFFECTS[zone]}"
        return (Answer("temperature", celsius, "°C"), Answer("charging zone", effect))
    sweep = thermistor.divider_sweep(volts, bias, beta=beta, nominal_ohms=nominal)
    return tuple(
        Answer(f"tap at {celsius:g} °C", tap_volts, "V") for celsius, _, tap_volts in sweep
    )


def _rc(ohms: float, farads: float) -> tuple[Answer, ...]:
    return (
        Answer("time constant", time_constant(ohms, farads), "s"),
        Answer("corner", corner_hertz(ohms, farads), "Hz"),
    )


def _lc(henries: float, farads: float) -> tuple[Answer, ...]:
    return (Answer("resonance", resonance_hertz(henries, farads), "Hz"),)


def _crystal(first: float, second: float, stray: float) -> tuple[Answer, ...]:
    return (Answer("load", crystal_load_farads(first, second, stray), "F"),)


def _led(supply: float, forward: float, amperes: float) -> tuple[Answer, ...]:
    ohms, watts = led_resistor(supply, forward, amperes)
    return (Answer("resistor", ohms, "Ω"), Answer("power", watts, "W"))


def _shunt(ohms: float, amperes: float) -> tuple[Answer, ...]:
    volts, watts = shunt_drop(ohms, amperes)
    return (Answer("drop", volts, "V"), Answer("power", watts, "W"))


def _supply(volts: float, amperes: float, trend: str) -> tuple[Answer, ...]:
    trends: dict[str, charging.Trend] = {
        "steady": "steady", "rising": "rising", "falling": "falling", "unknown": "unknown",
    }  # fmt: skip
    if trend not in trends:
        raise WrongUsage(f"no trend '{trend}'", hint=f"There are {', '.join(trends)}.")
    meaning = charging.explain_supply(volts, amperes, trends[trend])
    return (
        Answer("stage", meaning.stage),
        Answer("meaning", meaning.text),
        *(Answer("often missing", what) for what in meaning.missing),
        *(Answer("basis", what) for what in meaning.basis),
    )


def _cc(volts: float) -> tuple[Answer, ...]:
    offered = charging.advertised_amperes(volts)
    if offered is None:
        return (Answer("offered", "no source attached, or no pull-down on this CC pin"),)
    return (Answer("offered", offered, "A"),)


def _meter_error(
    reading: float, accuracy: float, counts: float, count: float
) -> tuple[Answer, ...]:
    error = meter.uncertainty(reading, accuracy, counts, count)
    return (
        Answer("error", error),
        Answer("at least", reading - error),
        Answer("at most", reading + error),
    )


def _diode(volts: str) -> tuple[Answer, ...]:
    shown = None if volts.upper() == "OL" else parse_quantity(volts, "V")
    found = meter.read_diode(shown)
    return (
        Answer("looks like", found.state),
        Answer("meaning", found.text),
        Answer("basis", found.basis),
    )


FORMULAS: Final[tuple[Formula, ...]] = (
    Formula("pull-up-window", "the range of pull-ups a bus allows (UM10204)", (
        Parameter("volts", "V", "rail of the pull-up"),
        Parameter("capacitance", "F", "of the whole line", "100p"),
        Parameter("mode", "text", "Standard, Fast, Fast-plus, SMBus low-power...", "Fast"),
    ), _pull_up_window),
    Formula("pull-up", "whether a pull-up suits its bus, and its rise time", (
        Parameter("ohms", "Ω", "all pull-ups of the line in parallel"),
        Parameter("volts", "V", "rail of the pull-up"),
        Parameter("bus", "text", "I2C, SMBus, I3C or a class", "I2C"),
        Parameter("capacitance", "F", "of the whole line; 100 pF if not given", "-"),
    ), _pull_up),
    Formula("divider", "voltage of a divider's tap", (
        Parameter("volts", "V", "across both"),
        Parameter("upper", "Ω", "from the supply to the tap"),
        Parameter("lower", "Ω", "from the tap to ground"),
        Parameter("load", "Ω", "from the tap to ground besides, such as a meter", "-"),
    ), _divider),
    Formula("feedback", "output voltage that a feedback divider sets", (
        Parameter("reference", "V", "of the feedback pin"),
        Parameter("upper", "Ω", "from the output to the pin"),
        Parameter("lower", "Ω", "from the pin to ground"),
    ), _feedback),
    Formula("feedback-upper", "upper feedback resistor for an output voltage", (
        Parameter("output", "V", "wanted"),
        Parameter("reference", "V", "of the feedback pin"),
        Parameter("lower", "Ω", "from the pin to ground"),
    ), _feedback_upper),
    Formula("thermistor", "resistance and temperature of an NTC by its beta", (
        Parameter("celsius", "°C", "temperature", "-"),
        Parameter("ohms", "Ω", "resistance", "-"),
        Parameter("beta", "", "beta constant, K", "3380"),
        Parameter("nominal", "Ω", "resistance at 25 °C", "10k"),
    ), _thermistor),
    Formula("thermistor-divider", "tap of an NTC to ground over temperature, or back", (
        Parameter("volts", "V", "of the bias rail"),
        Parameter("bias", "Ω", "from the rail to the tap", "10k"),
        Parameter("beta", "", "beta constant, K", "3380"),
        Parameter("nominal", "Ω", "resistance at 25 °C", "10k"),
        Parameter("tap", "V", "measured; gives the temperature", "-"),
    ), _thermistor_divider),
    Formula("rc", "time constant and corner of a resistor and a capacitor", (
        Parameter("ohms", "Ω", "resistor"), Parameter("farads", "F", "capacitor"),
    ), _rc),
    Formula("lc", "resonance of an inductor and a capacitor", (
        Parameter("henries", "H", "inductor"), Parameter("farads", "F", "capacitor"),
    ), _lc),
    Formula("crystal-load", "load that two capacitors give a crystal", (
        Parameter("first", "F", "one capacitor"), Parameter("second", "F", "the other"),
        Parameter("stray", "F", "of pins and tracks", "3p"),
    ), _crystal),
    Formula("led", "series resistor of an LED", (
        Parameter("supply", "V", "rail"), Parameter("forward", "V", "across the LED", "2V"),
        Parameter("amperes", "A", "wanted current", "2mA"),
    ), _led),
    Formula("shunt", "drop and power of a current shunt", (
        Parameter("ohms", "Ω", "shunt"), Parameter("amperes", "A", "current"),
    ), _shunt),
    Formula("supply", "what a USB supply's volts and amperes tell", (
        Parameter("volts", "V", "shown"), Parameter("amperes", "A", "shown"),
        Parameter("trend", "text", "steady, rising or falling", "unknown"),
    ), _supply),
    Formula("cc", "current that a Type-C source offers by its CC voltage", (
        Parameter("volts", "V", "at the CC pin"),
    ), _cc),
    Formula("meter-error", "error of a meter at a reading", (
        Parameter("reading", "any", "shown"),
        Parameter("accuracy", "%", "of reading", "0.9%"),
        Parameter("counts", "", "in last digits", "2"),
        Parameter("count", "any", "one count in the range used"),
    ), _meter_error),
    Formula("diode-mode", "what a diode-mode reading looks like", (
        Parameter("volts", "text", "shown, or OL"),
    ), _diode),
)  # fmt: skip


def find_formula(name: str) -> Formula:
    """Return a formula by name, without regard to case.

    Raises:
        NothingMatches: no such formula; the nearest names are offered.

    >>> find_formula("RC").parameters[0].name
    'ohms'
    """
    for formula in FORMULAS:
        if formula.name == name.lower():
            return formula
    names = [formula.name for formula in FORMULAS]
    near = difflib.get_close_matches(name.lower(), names, 3)
    raise NothingMatches(
        f"no formula '{name}'", hint=f"Nearest: {', '.join(near)}." if near else
        f"There are {', '.join(names)}.",
    )  # fmt: skip


def solve_formula(name: str, given: Mapping[str, str]) -> tuple[Answer, ...]:
    """Return the lines of a formula for inputs as the user typed them.

    Args:
        name: of the formula.
        given: parameter name -> text such as `4k7` or `100n`.

    Raises:
        NothingMatches: no such formula.
        WrongUsage: a parameter is missing, unknown or out of range.

    >>> [
    ...     (a.label, a.value, a.unit)
    ...     for a in solve_formula("shunt", {"ohms": "10m", "amperes": "3"})
    ... ]
    [('drop', 0.03, 'V'), ('power', 0.09, 'W')]
    """
    formula = find_formula(name)
    known = {parameter.name: parameter for parameter in formula.parameters}
    usage = " ".join(
        f"{p.name}={p.unit or 'number'}" if p.default is None else f"[{p.name}=...]"
        for p in formula.parameters
    )
    for key in given:
        if key not in known:
            raise WrongUsage(f"no parameter '{key}' of {formula.name}", hint=f"Give {usage}.")
    inputs: dict[str, Any] = {}
    for parameter in formula.parameters:
        text = given.get(parameter.name, parameter.default)
        if text is None:
            raise WrongUsage(
                f"'{parameter.name}' of {formula.name} is missing", hint=f"Give {usage}."
            )
        if text == "-" and parameter.default == "-":
            continue
        inputs[parameter.name] = _read(parameter, text)
    try:
        return formula.solve(**inputs)
    except ValueError as error:
        raise WrongUsage(str(error), hint=f"Give {usage}.") from error


def _read(parameter: Parameter, text: str) -> float | str:
    if parameter.unit == "text":
        return text
    if parameter.unit in {"", "any"}:
        return parse_quantity(text)
    if parameter.unit == "°C":
        return parse_quantity(text, "°C")
    return parse_quantity(text, parameter.unit)
