"""Plain values: IEC 60062 letter codes and the trade's spellings."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import WrongUsage
from nettrace.values.quantity import engineering, parse_quantity, percent, read_quantity
from nettrace.values.series import SERIES

# IEC 60062, letter in place of the point (reference values section 2.2); the capacitor rows and
# L for mΩ are from memory there
LETTER_CODES: list[tuple[str, str | None, float]] = [
    ("R47", "Ω", 0.47), ("4R7", "Ω", 4.7), ("470R", "Ω", 470), ("4K7", "Ω", 4700),
    ("47K", "Ω", 47e3), ("47K3", "Ω", 47.3e3), ("470K", "Ω", 470e3), ("4M7", "Ω", 4.7e6),
    ("1M0", "Ω", 1e6), ("2L2", "Ω", 2.2e-3), ("0L5", "Ω", 0.5e-3),
    ("p33", "F", 0.33e-12), ("3p3", "F", 3.3e-12), ("33p", "F", 33e-12), ("n33", "F", 330e-12),
    ("3n3", "F", 3.3e-9), ("33n", "F", 33e-9), ("µ33", "F", 330e-9), ("u33", "F", 330e-9),
    ("3µ3", "F", 3.3e-6),
]  # fmt: skip

# spellings met on real boards, and those that are promised
SPELLINGS: list[tuple[str, str | None, float]] = [
    ("2k2", None, 2200), ("2.2k", None, 2200), ("4R7", None, 4.7), ("0R", None, 0),
    ("100n", "F", 1e-7), ("0.1uF", None, 1e-7), ("22p", "F", 22e-12), ("10kR", None, 1e4),
    ("330kR", "Ω", 330e3), ("4.7UF", "F", 4.7e-6), ("1M", "Ω", 1e6), ("1m", "Ω", 1e-3),
    ("1 mΩ", None, 1e-3), ("5k1", "Ω", 5100), ("22R", "Ω", 22), ("2μ2", "F", 2.2e-6),
    ("4.7 kΩ", "Ω", 4700), ("4.7 k\u2126", "Ω", 4700), ("10 ohms", "Ω", 10), ("100 Ohm", "Ω", 100),
    ("1MEG", "Ω", 1e6), ("16.000MHz", "Hz", 16e6), ("400khz", "Hz", 400e3), ("12mhz", "Hz", 12e6),
    ("3V3", "V", 3.3), ("+3V0", "V", 3.0), ("1V8", "V", 1.8), ("500mV", "V", 0.5),
    ("200mA", "A", 0.2), ("1/16W", "W", 0.0625), ("63mW", "W", 0.063), ("1%", "%", 0.01),
    ("0.1 %", "%", 0.001), ("5", "%", 0.05), ("0,1uF", "F", 1e-7), ("8p2", "F", 8.2e-12),
    ("1e3", "Ω", 1000), ("10MFD", "F", 10e-6), ("22UH", "H", 22e-6), ("4.7MH", "H", 4.7e-3),
    ("25", "°C", 25), ("-20", "°C", -20), ("300ns", "s", 300e-9), ("0.6mm", "m", 0.6e-3),
]  # fmt: skip


@pytest.mark.parametrize(("text", "unit", "value"), LETTER_CODES + SPELLINGS)
def test_value_is_read(text: str, unit: str | None, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    "text", ["", "U7", "N5", "V5", "abc", "1N5822", "74HC04", "k", "4k7k", "--"]
)
def test_what_is_no_value_is_refused(text: str) -> None:
    assert read_quantity(text) is None
    with pytest.raises(WrongUsage):
        parse_quantity(text)


@pytest.mark.parametrize(
    ("text", "unit", "column"),
    [("2k2x", "Ω", 4), ("10uF", "Ω", 1), ("4.7 kV", "ohms", 1), ("zz", "F", 1), ("10u", "Ω", 1)],
)
def test_error_marks_the_place_and_shows_how(text: str, unit: str, column: int) -> None:
    with pytest.raises(WrongUsage) as caught:
        parse_quantity(text, unit)
    assert f"'{text}'" in str(caught.value)
    assert "Write it like" in caught.value.hint
    source, marker = caught.value.excerpt.splitlines()
    assert marker.index("^") - source.index(text) == column - 1


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (2200, "Ω", "2.2 kΩ"), (1e-7, "F", "100 nF"), (4.7e-6, "H", "4.7 µH"), (3.3, "V", "3.3 V"),
        (0, "Ω", "0 Ω"), (0.3 - 0.1, "V", "200 mV"), (999.96, "Ω", "1 kΩ"),
        (-0.0185, "V", "-18.5 mV"),
        (1e6, "Ω", "1 MΩ"), (22.1e3, "Ω", "22.1 kΩ"), (math.inf, "Ω", "∞ Ω"),
        (1234567, "Ω", "1.235 MΩ"),
        (100, "", "100"), (4.7e3, "", "4.7k"), (3e-16, "F", "0.3 fF"),
    ],
)  # fmt: skip
def test_engineering_notation(value: float, unit: str, text: str) -> None:
    assert engineering(value, unit) == text


def test_percentages() -> None:
    assert [percent(f) for f in (0.01, 0.001, 0.2, 0.00005)] == ["1 %", "0.1 %", "20 %", "0.005 %"]


# beyond kilo, M of any unit but ohms would read as milli: nobody writes megavolts
DECADES = {"Ω": 8, "F": 2, "H": 2, "V": 5, "A": 5, "W": 5, "s": 5}


@given(
    number=st.sampled_from(SERIES["E192"]),
    decade=st.integers(-12, 8),
    unit=st.sampled_from(list(DECADES)),
)
def test_writing_then_reading_gives_the_value_back(number: int, decade: int, unit: str) -> None:
    value = float(f"{number}e{min(decade, DECADES[unit]) - 2}")
    assert parse_quantity(engineering(value, unit), unit) == value


@given(st.floats(1e-12, 1e9))
def test_four_digits_are_kept(value: float) -> None:
    assert parse_quantity(engineering(value, "Ω"), "Ω") == pytest.approx(value, rel=5.1e-4)


@given(st.text(max_size=12))
def test_any_text_is_a_value_or_our_error(text: str) -> None:
    try:
        value = parse_quantity(text)
    except WrongUsage:
        assert read_quantity(text) is None
    else:
        assert math.isfinite(value)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("4R7F", None),  # R says ohms, F farads
        ("3V3A", None),
        ("2L2F", "F"),  # L stands for milliohms alone
    ],
)
def test_two_units_in_one_text_are_no_value(text: str, unit: str | None) -> None:
    assert read_quantity(text, unit) is None


def test_a_bare_m_on_a_length_is_metres_and_not_a_thousandth() -> None:
    found = read_quantity("5m", "m")
    assert found is not None
    assert (found.value, found.unit) == (5.0, "m")
    milli = read_quantity("5mm", "m")
    assert milli is not None
    assert milli.value == pytest.approx(5e-3)


def test_no_number_is_shown_as_a_question() -> None:
    assert engineering(math.nan, "V") == "? V"
