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
