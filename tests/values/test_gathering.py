"""What the pieces of a value text mean depends on the part they stand on."""

from __future__ import annotations

from typing import Any

import pytest

from nettrace.values.part_value import read_part_value

R, C, L, Y, T = "resistor", "capacitor", "inductor", "crystal", "thermistor"

# readings are common practice without a source, except where a comment names one
CASES: list[tuple[str, str, dict[str, Any]]] = [
    # a load capacitance is no second main figure of a crystal
    ("10MHz CL=10pF", Y, {"hertz": 10e6, "load_farads": 10e-12, "farads": None}),
    ("16M 12p", Y, {"hertz": 16e6, "load_farads": 12e-12, "farads": None}),
    ("32.768k", Y, {"hertz": 32768}),
    ("26.0", Y, {"hertz": 26e6}),
    # 3225 on a crystal is its body in tenths of a millimetre
    ("16MHz 3225", Y, {"body_mm": (3.2, 2.5), "size_inch": None}),
    # IEC 60062: the letter stands at the place of the point; pF on capacitors, µH on inductors
    ("4R7", C, {"farads": 4.7e-12, "ohms": None}),
    ("4R7", L, {"henries": 4.7e-6, "ohms": None}),
    # a thermistor's second figure within 2000..5500 is its beta, whatever the spelling
    ("10k 3k3", T, {"ohms": 10e3, "beta": 3300}),
    ("10k 3435", T, {"ohms": 10e3, "beta": 3435}),
    ("2.2", L, {"henries": 2.2e-6}),
    ("0.1", C, {"farads": 1e-7}),
    ("0.47 50V", C, {"farads": 0.47e-6, "volts": 50}),
    # IEC 60062 table of tolerance letters: Z is +80 % -20 %, J 5 %, M 20 %
    ("10n Z", C, {"farads": 10e-9, "tolerance": 0.80, "tolerance_minus": 0.20}),
    ("10kJ", R, {"tolerance": 0.05}),
    ("10uH M 3225", L, {"tolerance": 0.2, "size_inch": "1210"}),
    # the same table: below 10 pF the letters B, C, D are 0.1, 0.25 and 0.5 pF, not per cent
    ("4p7C", C, {"farads": 4.7e-12, "tolerance": pytest.approx(0.25 / 4.7, abs=1e-4)}),
    ("8.2pD", C, {"tolerance": pytest.approx(0.5 / 8.2, abs=1e-4)}),
    ("2p2B", C, {"tolerance": pytest.approx(0.1 / 2.2, abs=1e-4)}),
    # and from 10 pF on per cent again
    ("10kD", R, {"tolerance": 0.005}),
]


@pytest.mark.parametrize(("text", "kind", "expected"), CASES)
def test_the_part_decides_what_a_piece_means(
    text: str, kind: str, expected: dict[str, Any]
) -> None:
    value = read_part_value(text, kind)
    assert {name: getattr(value, name) for name in expected} == expected
    assert value.remainder == ""


@pytest.mark.parametrize(
    ("text", "kind", "left", "why"),
    [
        ("10k 22k", R, "22k", "second figure"),
        ("10k 0603 0805", R, "0805", "second size beside 0603"),
        ("50mΩ", C, "50mΩ", "ohms on a capacitor"),
        ("22", L, "22", "bare number on an inductor"),
        ("1000", C, "1000", "bare number on a capacitor"),
    ],
)
def test_what_contradicts_or_does_not_tell_is_left_and_said(
    text: str, kind: str, left: str, why: str
) -> None:
    value = read_part_value(text, kind)
    assert value.remainder == left
    assert any(why in note for note in value.notes)


def test_the_first_figure_stands_where_two_contradict() -> None:
    assert read_part_value("10k 22k", R).ohms == 10e3
    assert read_part_value("10k 0603 0805", R).size_inch == "0603"


def test_the_metric_code_of_the_same_chip_is_no_second_size() -> None:
    # IEC 60115-8 / EIA: 0603 inch is 1608 metric
    value = read_part_value("10k 0603 1608", R)
    assert (value.size_inch, value.remainder) == ("0603", "")


def test_a_size_no_chip_has_is_no_size() -> None:
    value = read_part_value("10k size 9999", R)
    assert value.size_inch is None
    assert "9999" in value.remainder


def test_a_lone_unit_letter_behind_a_large_number_is_a_part_number() -> None:
    # 431A is a shunt regulator, 3296W a trimmer
    value = read_part_value("431A")
    assert value.amperes is None
    assert value.remainder == "431A"
