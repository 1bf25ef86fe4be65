"""Formulas by name: every one runs and is right, and its errors help."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.formulas import FORMULAS, FormulaLine, find_formula, solve_formula
from nettrace.errors import NothingMatches, WrongUsage

# one example of each formula: inputs as typed, label, value
EXAMPLES = [
    ("pull-up-window", {"volts": "3.3", "capacitance": "200p"}, "at most", 1770.33),
    ("pull-up", {"ohms": "4k7", "volts": "3V3", "capacitance": "100p"}, "rise time", 398.2e-9),
    ("divider", {"volts": "3.3V", "upper": "10k", "lower": "10k"}, "tap", 1.65),
    ("feedback", {"reference": "0.6", "upper": "45k3", "lower": "10k"}, "output", 3.318),
    (
        "feedback-upper",
        {"output": "3.3", "reference": "0.6", "lower": "10k"},
        "upper resistor",
        45e3,
    ),
    ("thermistor", {"celsius": "0"}, "resistance", 28223.7),
    ("thermistor", {"ohms": "5k"}, "temperature", 44.42),
    ("thermistor-divider", {"volts": "1.8", "tap": "0.6"}, "temperature", 44.42),
    ("thermistor-divider", {"volts": "1.8"}, "tap at 25 °C", 0.9),
    ("rc", {"ohms": "10k", "farads": "100n"}, "corner", 159.155),
    ("lc", {"henries": "10u", "farads": "10u"}, "resonance", 15915.5),
    ("crystal-load", {"first": "12p", "second": "12p"}, "load", 9e-12),
    ("led", {"supply": "5", "amperes": "10mA"}, "resistor", 300),
    ("shunt", {"ohms": "10m", "amperes": "3"}, "drop", 0.03),
    ("supply", {"volts": "15", "amperes": "50mA"}, "stage", "negotiated, not charging"),
    ("cc", {"volts": "0.93"}, "offered", 1.5),
    ("meter-error", {"reading": "2k2", "count": "1"}, "error", 21.8),
    ("diode-mode", {"volts": "0.6"}, "looks like", "junction"),
    ("diode-mode", {"volts": "OL"}, "looks like", "open"),
]


def _line(lines: tuple[FormulaLine, ...], label: str) -> FormulaLine:
    return next(line for line in lines if line.label == label)


@pytest.mark.parametrize(("name", "given", "label", "value"), EXAMPLES)
def test_example(name: str, given: dict[str, str], label: str, value: float | str) -> None:
    found = _line(solve_formula(name, given), label).value
    assert found == (value if isinstance(value, str) else pytest.approx(value, rel=1e-4))


def test_every_formula_has_an_example_and_help() -> None:
    assert {formula.name for formula in FORMULAS} == {example[0] for example in EXAMPLES}
    for formula in FORMULAS:
        assert formula.help
        assert all(parameter.help for parameter in formula.parameters)


@pytest.mark.parametrize(("name", "given", "words"), [
    ("rc", {"ohms": "10k"}, "'farads' of rc is missing"),
    ("rc", {"ohms": "10k", "farads": "1n", "henries": "1u"}, "no parameter 'henries'"),
    ("rc", {"ohms": "10k", "farads": "10k"}, "'10k' where a capacitance was expected"),
    ("rc", {"ohms": "0", "farads": "10n"}, "ohms must be a number above 0"),
    ("lc", {"henries": "0", "farads": "10n"}, "henries must be a number above 0"),
    ("crystal-load", {"first": "0", "second": "10p"}, "farads must be a number above 0"),
    ("led", {"supply": "2.8", "forward": "3", "amperes": "1m"}, "must be above the LED's 3 V"),
    ("shunt", {"ohms": "0", "amperes": "1"}, "ohms must be a number above 0"),
    ("feedback-upper", {"output": "0.5", "reference": "0.6", "lower": "10k"}, "below the refer"),
    ("feedback", {"reference": "0.6", "upper": "10k", "lower": "0"}, "lower_ohms"),
    ("divider", {"volts": "5", "upper": "-1", "lower": "1"}, "upper_ohms must be 0 or more"),
    ("divider", {"volts": "5", "upper": "0", "lower": "0"}, "no voltage of its own"),
    ("thermistor", {}, "give either celsius or ohms"),
    ("pull-up-window", {"volts": "3.3", "mode": "warp"}, "no bus class 'warp'"),
    ("supply", {"volts": "5", "amperes": "1", "trend": "up"}, "no trend 'up'"),
])  # fmt: skip
def test_slips_are_named(name: str, given: dict[str, str], words: str) -> None:
    with pytest.raises(WrongUsage, match=words):
        solve_formula(name, given)


def test_unknown_formula_offers_the_nearest() -> None:
    with pytest.raises(NothingMatches, match=r"Nearest: .*divider"):
        find_formula("devider")


def test_a_bus_that_no_resistor_serves_says_so() -> None:
    # UM10204 rev. 7, section 7.1: at least (5 - 0.4) / 3 mA = 1533 ohms, at most
    # 300 ns / (0.8473 * 400 pF) = 885 ohms
    lines = solve_formula(
        "pull-up-window", {"volts": "5", "capacitance": "400p", "mode": "fast"}
    )  # fmt: skip
    assert _line(lines, "at least").value == pytest.approx(1533, abs=1)
    assert _line(lines, "at most").value == pytest.approx(885, abs=1)
    assert _line(lines, "verdict").value == "no value is legal"


def test_a_load_pulls_the_tap_down() -> None:
    # 10 k over 10 k parallel 10 k: a third of 3 V by Kirchhoff
    lines = solve_formula("divider", {"volts": "3", "upper": "10k", "lower": "10k", "load": "10k"})
    assert _line(lines, "tap").value == pytest.approx(1.5)
    assert _line(lines, "tap under load").value == pytest.approx(1.0)


def test_an_output_at_the_reference_needs_no_upper_resistor() -> None:
    lines = solve_formula("feedback-upper", {"output": "0.6", "reference": "0.6", "lower": "10k"})
    assert [line.label for line in lines] == ["upper resistor"]
    assert lines[0].value == 0


def test_a_contact_without_volts_offers_nothing() -> None:
    (line,) = solve_formula("cc", {"volts": "0"})
    assert "no source attached" in str(line.value)


# exact: Ohm's law, 1/(2πRC), 1/(2π√LC), Vref·(1 + upper/lower); the others computed outside: the
# meter of 10 MΩ beside the lower resistor, C1·C2/(C1+C2) + 3 pF stray
@pytest.mark.parametrize(("name", "given", "label", "value"), [
    ("divider", {"volts": "5", "upper": "0", "lower": "10k"}, "tap", 5.0),
    ("divider", {"volts": "5", "upper": "10k", "lower": "0"}, "tap", 0.0),
    ("divider", {"volts": "5", "upper": "10k", "lower": "10k", "load": "10M"}, "tap under load",
     2.49875),
    ("divider", {"volts": "5", "upper": "1M", "lower": "1M", "load": "10M"}, "tap under load",
     2.38095),
    ("feedback", {"reference": "0.8", "upper": "31.6k", "lower": "10k"}, "output", 3.328),
    ("feedback", {"reference": "1.25", "upper": "720", "lower": "240"}, "output", 5.0),
    ("rc", {"ohms": "10k", "farads": "100n"}, "time constant", 1e-3),
    ("rc", {"ohms": "4k7", "farads": "100p"}, "corner", 338.628e3),
    ("crystal-load", {"first": "10p", "second": "10p"}, "load", 8e-12),
    ("led", {"supply": "5", "amperes": "10mA"}, "power", 0.03),
    ("shunt", {"ohms": "5m", "amperes": "2"}, "power", 20e-3),
    ("shunt", {"ohms": "10m", "amperes": "-3"}, "drop", -0.03),
])  # fmt: skip
def test_exact_figures(name: str, given: dict[str, str], label: str, value: float) -> None:
    assert _line(solve_formula(name, given), label).value == pytest.approx(value, rel=5e-6)


@given(st.floats(0.4, 1.3), st.floats(1.01, 20), st.floats(1, 1e7))
def test_the_feedback_resistor_gives_the_output_back(
    reference: float, ratio: float, lower: float
) -> None:
    said = {"reference": f"{reference!r}", "lower": f"{lower:.12f}"}
    upper = _line(
        solve_formula("feedback-upper", {**said, "output": f"{reference * ratio!r}"}),
        "upper resistor",
    ).value
    output = _line(solve_formula("feedback", {**said, "upper": f"{upper:.12f}"}), "output").value
    assert output == pytest.approx(reference * ratio)
