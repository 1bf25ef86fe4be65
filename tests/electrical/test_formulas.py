"""Formulas by name: every one runs, and its errors help."""

from __future__ import annotations

import pytest

from nettrace.electrical.formulas import FORMULAS, Answer, find_formula, solve_formula
from nettrace.errors import NothingMatches, WrongUsage

# one example of each formula: inputs as typed, label, value. Sources as in the formula's own tests
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


def _line(lines: tuple[Answer, ...], label: str) -> Answer:
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
