"""Markings against the code tables of IEC 60062, EIA-96 and EIA-198."""

from __future__ import annotations

import pytest

from nettrace.errors import NothingMatches
from nettrace.values.codes import capacitor_code, dielectric, letters
from nettrace.values.marking import explain_value, meanings, read_bands

# EIA-96: three published tables; 68A, 02D and 24C read there, the rest recomputed from E96
EIA96 = {
    "01A": 100, "01B": 1e3, "01C": 10e3, "01D": 100e3, "01Y": 1.0, "68X": 49.9, "68A": 499,
    "02D": 102e3, "24C": 17.4e3, "66X": 47.5, "29B": 1.96e3, "30A": 200, "09C": 12.1e3,
    "47D": 301e3, "51C": 33.2e3, "18C": 15.0e3, "12D": 130e3, "85B": 7.50e3, "22A": 165,
    "92Z": 0.887, "43Z": 0.274, "96F": 97.6e6, "10C": 12.4e3, "30R": 2.00,
}  # fmt: skip

# chip resistor data sheets (GW-Instek, HKR; R010 common practice)
RESISTOR_CODES = {
    "103": 10e3, "472": 4.7e3, "681": 680, "220": 22, "100": 10, "1002": 10e3, "2212": 22.1e3,
    "1000": 100, "4992": 49.9e3, "6R8": 6.8, "82R5": 82.5, "12R0": 12, "R010": 0.01,
    "0": 0, "000": 0, "0000": 0,
}  # fmt: skip

# capacitor data sheets; IEC 60062
CAPACITOR_CODES = {
    "104": 100e-9, "472": 4.7e-9, "473": 47e-9, "105": 1e-6, "475": 4.7e-6, "106": 10e-6,
    "226": 22e-6, "107": 100e-6, "100": 10e-12, "470": 47e-12, "478": 0.47e-12, "479": 4.7e-12,
}  # fmt: skip

# EIA voltage letters: read in tables, 2A and 2D from the rule
EIA_VOLTAGES = {
    "0E": 2.5, "0G": 4, "0L": 5.5, "0J": 6.3, "1A": 10, "1C": 16, "1D": 20, "1E": 25, "1V": 35,
    "1G": 40, "1H": 50, "1J": 63, "2E": 250, "2G": 400, "2W": 450, "2J": 630, "3A": 1000,
    "2A": 100, "2D": 200,
}  # fmt: skip


@pytest.mark.parametrize(("code", "ohms"), EIA96.items())
def test_eia96_code(code: str, ohms: float) -> None:
    assert any(
        m.how == "EIA-96" and m.value == pytest.approx(ohms, rel=1e-12) for m in meanings(code)
    )


@pytest.mark.parametrize(("code", "ohms"), RESISTOR_CODES.items())
def test_resistor_code_is_the_likeliest_meaning(code: str, ohms: float) -> None:
    first = meanings(code)[0]
    said: tuple[object, ...] = (first.quantity, first.value)
    assert said == ("ohms", pytest.approx(ohms))


@pytest.mark.parametrize(("code", "farads"), CAPACITOR_CODES.items())
def test_capacitor_code(code: str, farads: float) -> None:
    assert capacitor_code(code) == pytest.approx(farads)
    found = [m.value for m in meanings(code) if m.quantity == "farads"]
    assert found == [pytest.approx(farads)]


@pytest.mark.parametrize(("code", "volts"), EIA_VOLTAGES.items())
def test_eia_voltage_code(code: str, volts: float) -> None:
    assert any(m.quantity == "volts" and m.value == pytest.approx(volts) for m in meanings(code))


def test_a_makers_own_voltage_letters_are_marked_so() -> None:
    # Taiyo Yuden part numbers: E is 16 V and T 25 V there
    for letter, volts in (("E", 16), ("T", 25)):
        said = [(m.value, m.note) for m in meanings(letter) if m.quantity == "volts"]
        assert said == [(volts, "in one maker's part numbers; others differ")]


# EIA-198 as in TI SLAA701B tables 1 to 16
CLASS_2 = {
    "X7R": "-55 to 125 °C, ±15 %", "X5R": "-55 to 85 °C, ±15 %", "X6S": "-55 to 105 °C, ±22 %",
    "Y5V": "-30 to 85 °C, +22/−82 %", "Z5U": "10 to 85 °C, +22/−56 %",
    "X8R": "-55 to 150 °C, ±15 %", "X7T": "-55 to 125 °C, +22/−33 %",
    "X7P": "-55 to 125 °C, ±10 %", "X9F": "-55 to 200 °C, ±7.5 %",
}  # fmt: skip


@pytest.mark.parametrize(("code", "expected"), CLASS_2.items())
def test_class_2_dielectric(code: str, expected: str) -> None:
    found = dielectric(code)
    assert found is not None
    assert found.text == f"class 2, {expected}, loses capacitance under bias"
    assert meanings(code)[0].quantity == "dielectric"


@pytest.mark.parametrize(("code", "name", "said"), [
    ("C0G", "C0G", "0 ±30"), ("NP0", "C0G", "0 ±30"), ("U2J", "U2J", "-750 ±120"),
    ("N750", "U2J", "-750 ±120"),
])  # fmt: skip
def test_class_1_dielectric(code: str, name: str, said: str) -> None:
    text = f"class 1, {said} ppm/°C, no loss under bias"
    assert dielectric(code) == (name, 1, text)


def test_tolerance_letters() -> None:
    # 3bm table and chip-resistor data sheets
    read = {
        "B": 0.1,
        "C": 0.25,
        "D": 0.5,
        "F": 1,
        "G": 2,
        "H": 3,
        "J": 5,
        "K": 10,
        "M": 20,
        "N": 30,
    }
    assert {k: letters("tolerance")[k] for k in read} == {
        letter: pytest.approx(width / 100) for letter, width in read.items()
    }
    # from memory of IEC 60062
    remembered = {"E": 0.005, "L": 0.01, "P": 0.02, "W": 0.05}
    for letter, width in remembered.items():
        assert letters("tolerance")[letter] == pytest.approx(width / 100)
    assert [m.note for m in meanings("Z") if m.quantity == "tolerance"] == ["−20/+80 %"]
    assert [m.note for m in meanings("Q") if m.quantity == "tolerance"] == ["−10/+30 %"]


@pytest.mark.parametrize(
    ("text", "quantity", "value", "tolerance"),
    [
        ("104K", "farads", 1e-7, 0.10), ("472J", "farads", 4.7e-9, 0.05),
        ("1002F", "ohms", 10e3, 0.01),
        ("4K7J", "ohms", 4700, 0.05), ("2R5M", "henries", 2.5e-6, 0.20),
        ("33pJ", "farads", 33e-12, 0.05),
    ],
)  # fmt: skip
def test_code_with_tolerance_letter(
    text: str, quantity: str, value: float, tolerance: float
) -> None:
    first = meanings(text)[0]
    said: tuple[object, ...] = (first.quantity, first.value, first.tolerance)
    assert said == (
        quantity,
        pytest.approx(value),
        tolerance,
    )


def test_letters_under_ten_picofarads_are_absolute() -> None:
    # ±0.5 pF (D) of 4.7 pF; common data-sheet rule
    found = next(m for m in meanings("4R7D") if m.quantity == "farads")
    said: tuple[object, ...] = (found.value, found.tolerance)
    assert said == (
        pytest.approx(4.7e-12),
        pytest.approx(0.5 / 4.7, rel=1e-4),
    )


# colour bands, IEC 60062 (from memory)
@pytest.mark.parametrize(
    ("text", "ohms", "tolerance"),
    [
        ("yellow violet red gold", 4700, 0.05), ("brown black orange", 10e3, 0.20),
        ("brown black black red brown", 10e3, 0.01), ("red red black brown brown", 2200, 0.01),
        ("BN BK OG SR", 10e3, 0.10), ("green blue gold gold", 5.6, 0.05),
        ("brown grey silver gold", 0.18, 0.05), ("brown black black red brown red", 10e3, 0.01),
        ("orange orange black black violet", 330, 0.001),
    ],
)  # fmt: skip
def test_colour_bands(text: str, ohms: float, tolerance: float) -> None:
    first = meanings(text)[0]
    said: tuple[object, ...] = (first.quantity, first.value, first.tolerance)
    assert said == (
        "ohms",
        pytest.approx(ohms),
        tolerance,
    )


def test_bands_may_be_read_from_the_other_end() -> None:
    found = [(m.value, m.note) for m in read_bands("brown black black red brown")]
    assert (120.0, "read from the other end") in found


def test_sixth_band_is_the_temperature_coefficient() -> None:
    assert "50 ppm/K" in read_bands("brown black black red brown red")[0].note


@pytest.mark.parametrize("text", ["black red", "pink elephant", "gold red red gold"])
def test_bands_that_say_nothing(text: str) -> None:
    assert read_bands(text) == ()


def test_three_codes_of_ten_kilohms_agree() -> None:
    assert {meanings(code)[0].value for code in ("01C", "103", "1002")} == {10e3}


def test_ambiguities_are_all_listed() -> None:
    assert [m.value for m in meanings("30R")] == [30.0, pytest.approx(2.0)]
    of_103 = {(m.quantity, m.value) for m in meanings("103")}
    assert {("ohms", 10e3), ("farads", 10e-9), ("ohms", 103.0)} <= of_103
    assert meanings("100")[0].value == 10.0  # 3-digit code, not 100 Ω


# clash rule: a distributor's note on JEDEC sizes
@pytest.mark.parametrize(("code", "inch"), [
    ("0603", ["0603", "0201"]), ("0402", ["0402", "01005"]), ("0201", ["0201", "008004"]),
    ("0603M", ["0201"]), ("1608", ["0603"]), ("01005", ["01005"]),
])  # fmt: skip
def test_size_codes_and_their_clash(code: str, inch: list[str]) -> None:
    assert [m.value for m in meanings(code) if m.quantity == "size"] == inch


def test_whole_parts_list_text() -> None:
    found = [(m.quantity, m.value, m.tolerance) for m in meanings("2k2 1% 0201")]
    assert found == [("ohms", 2200.0, 0.01), ("size", "0201", None)]
    quantities = [m.quantity for m in meanings("0.1uF/16V/X5R")]
    assert quantities == ["farads", "volts", "dielectric"]
    assert [m.quantity for m in meanings("NA(10K)")] == ["not fitted", "ohms"]
    assert meanings("DNP")[0].quantity == "not fitted"


def test_meanings_come_likeliest_first_and_once() -> None:
    for text in ("103", "100", "1210", "104K", "4R7", "22A", "0603"):
        found = meanings(text)
        assert [m.score for m in found] == sorted((m.score for m in found), reverse=True)
        keys = [(m.quantity, m.value) for m in found]
        assert len(keys) == len(set(keys))


def test_explained_value_has_series_and_replacements() -> None:
    answer = explain_value("4K7")
    assert answer.series == ("E3", "E6", "E12", "E24", "E192")
    assert answer.between == (4300.0, 5100.0)
    assert answer.made_of[0].parts == (4700.0,)
    assert all(abs(one.error) <= 0.01 for one in answer.made_of)
    assert explain_value("X7R").made_of == ()


def test_unknown_text_is_our_error() -> None:
    with pytest.raises(NothingMatches, match="no meaning known for 'hello'"):
        explain_value("hello")


@pytest.mark.parametrize("text", ["R0G", "0R1C", "10k 150%"])
def test_a_tolerance_that_is_none_is_no_reason_to_stop(text: str) -> None:
    assert explain_value(text).meanings
