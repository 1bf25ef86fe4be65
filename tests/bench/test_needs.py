"""What to order: ratings from the rails at a part's ends, values the circuit tells, donors."""

from __future__ import annotations

import pytest

from nettrace.bench.needs import Need, find_donors, plan_needs
from nettrace.circuit.circuit import Circuit
from nettrace.model.builder import BoardBuilder
from tests.circuit_language import circuit


def need(board: Circuit, refdes: str) -> Need:
    (found,) = plan_needs(board, [refdes])
    return found


def doubts(found: Need) -> str:
    return "; ".join(found.doubts)


def test_equal_parts_share_a_line_and_unlike_ones_do_not() -> None:
    board = circuit("R1 A +3V3 10k @0402\nR2 B +3V3 10k @0402\nR3 C +3V3 4k7 @0402")
    found = plan_needs(board, ["R2", "R3", "R1"])
    assert [(line.positions, line.quantity) for line in found] == [(("R1", "R2"), 2), (("R3",), 1)]


def test_a_position_empty_by_design_is_not_ordered() -> None:
    board = circuit("R1 A +3V3 10k\nR2 B +3V3 10k DNP")
    assert [line.positions for line in plan_needs(board, ["R1", "R2"])] == [("R1",)]


def test_parts_below_0402_get_spares_and_say_why() -> None:
    found = need(circuit("R1 A +3V3 10k @0201"), "R1")
    assert found.quantity == 3
    assert "2 spare: parts below 0402 are easily lost" in found.because


def test_chips_get_no_spares() -> None:
    found = need(circuit("U1 VIN=+5V VOUT=+3V3 GND @0201 : LDO"), "U1")
    assert found.quantity == 1


I2C = "U1 SDA=SDA SCL=SCL VDD=+3V3 GND=GND : EEPROM\nU2 SDA=SDA SCL=SCL VDD=+3V3 GND=GND : MCU\n"


def test_a_value_no_source_states_is_proposed_and_doubted() -> None:
    found = need(circuit(I2C + "R1 SDA +3V3\nR2 SCL +3V3 2k2"), "R1")
    assert found.value == "2.2 kΩ"  # its twin on the other line of the bus
    assert found.words == "2.2 kΩ"
    assert "proposed from the circuit" in doubts(found)


def test_a_chip_that_no_source_names_is_said_to_be_nameless() -> None:
    board = circuit("U1 A=X VDD=+3V3 GND=GND\nU2 A=X VDD=+3V3 GND=GND : BQ25895")
    assert "no source names the part" in doubts(need(board, "U1"))
    assert need(board, "U2").doubts == ()


@pytest.mark.parametrize(
    ("line", "volts", "said"),
    [
        # class 2: twice the rail; class 1: one and a half times (common practice, no source);
        # then the next rating sold (EIA-198 voltage steps 4, 6.3, 10, 16, 25 V)
        ("C1 +5V GND 1uF X5R", 10.0, "times 2 for class 2"),
        ("C1 +5V GND 100pF C0G", 10.0, "times 1.5 for class 1"),
        ("C1 +3V3 GND 1uF X7R", 10.0, "times 2 for class 2"),
        ("C1 +3V3 GND 100pF C0G", 6.3, "times 1.5 for class 1"),
        ("C1 +12V GND 1uF X7R", 25.0, "times 2 for class 2"),
    ],
)
def test_a_capacitor_is_rated_by_its_rail(line: str, volts: float, said: str) -> None:
    found = need(circuit(f"{line}\nU1 VDD={line.split()[1]} GND=GND : MCU"), "C1")
    assert found.volts == volts
    assert any(said in reason for reason in found.because)


def test_a_rating_below_the_rule_is_raised_and_said() -> None:
    found = need(circuit("C1 +5V GND 1uF/6.3V/X5R\nU1 VDD=+5V GND=GND : MCU"), "C1")
    assert found.volts == 10.0
    assert "the board's own 6.3 V is below that rule; 10 V is safer" in doubts(found)


def test_a_rating_that_is_enough_is_kept() -> None:
    found = need(circuit("C1 +5V GND 1uF/25V/X5R\nU1 VDD=+5V GND=GND : MCU"), "C1")
    assert found.volts == 25.0
    assert "the board states 25 V: keep it" in found.because


def test_a_rail_no_one_knows_gives_no_rating_and_says_so() -> None:
    found = need(circuit("C1 N1 N2 1uF\nR1 N1 N3 1k"), "C1")
    assert found.volts is None
    assert "the rail is not known" in doubts(found)
    assert "dielectric not stated" in doubts(found)
    assert found.dielectric == "X5R or X7R"


def test_a_stated_rating_stands_where_the_rail_is_not_known() -> None:
    assert need(circuit("C1 N1 N2 1uF/16V/X7R\nR1 N1 N3 1k"), "C1").volts == 16.0


def test_a_part_with_both_pins_on_one_net_has_no_voltage_across() -> None:
    assert need(circuit("C1 +5V +5V 1uF X5R\nU1 VDD=+5V GND=GND : MCU"), "C1").volts is None


def test_a_resistor_that_might_burn_is_doubted() -> None:
    # 5 V over 47 Ω is 531.9 mW by P = U²/R; a 0402 takes 63 mW (maker's data sheets)
    found = need(circuit("R1 +5V GND 47R @0402\nU1 VDD=+5V GND=GND : MCU"), "R1")
    assert "check before ordering" in doubts(found)
    assert "531.9 mW" in doubts(found)


def test_a_resistor_that_stays_cool_says_how_cool() -> None:
    # 5 V over 10 kΩ is 2.5 mW by P = U²/R
    found = need(circuit("R1 +5V GND 10k @0402\nU1 VDD=+5V GND=GND : MCU"), "R1")
    assert found.doubts == ()
    assert any(reason.startswith("2.5 mW at most") for reason in found.because)


def test_no_size_no_rated_power() -> None:
    found = need(circuit("R1 +5V GND 10k\nU1 VDD=+5V GND=GND : MCU"), "R1")
    assert found.watts is None
    assert found.size is None
    assert not any("mW" in reason for reason in found.because)


@pytest.mark.parametrize(
    ("package", "larger"), [("0402", "0603"), ("1206", "1210"), ("1210", None), ("2512", None)]
)
def test_the_next_size_up_is_offered_where_there_is_one(package: str, larger: str | None) -> None:
    found = need(circuit(f"R1 A B 10k @{package}"), "R1")
    offered = [text.split()[0] for text in found.substitutes if text.endswith("leave room")]
    assert offered == ([larger] if larger else [])


def test_a_link_needs_no_tolerance_and_has_no_value_beside_it() -> None:
    found = need(circuit("R1 A B 0R 5% @0402"), "R1")
    assert found.tolerance is None
    assert not any("inside the tolerance" in text for text in found.substitutes)


def test_what_stands_in_for_a_resistor_is_inside_its_tolerance() -> None:
    # IEC 60063: E24 has 2.2 kΩ, 0.5 % below 2.21 kΩ of E96, and 2.4 kΩ, 9 % above
    found = need(circuit("R1 A B 2k21 5% @0402"), "R1")
    assert "2.2 kΩ (E24), inside the tolerance" in found.substitutes
    assert not any("2.4 kΩ" in text for text in found.substitutes)


def test_what_stands_in_for_a_one_percent_resistor_is_of_e96_too() -> None:
    # IEC 60063: E96 is the series of 1 %; it has 3.01 kΩ, 0.33 % above 3 kΩ, and 2.94 kΩ, 2 % below
    found = need(circuit("R1 A B 3k 1% @0402"), "R1")
    near = [text for text in found.substitutes if "inside the tolerance" in text]
    assert near == ["3.01 kΩ (E96), inside the tolerance"]


# donors: equal in value and size, rated at least as well, at least as tight

DONORS = """
C1 +5V GND 1uF/16V/X5R @0402
C2 +5V GND 1uF/16V/X5R @0402
C3 +5V GND 1uF/6.3V/X5R @0402
C4 +5V GND 1uF/16V/X5R @0603
C5 +5V GND 2.2uF/16V/X5R @0402
C6 +5V GND 1uF/16V/X5R @0402 DNP
U1 VDD=+5V GND=GND : MCU
"""


def donors(board: Circuit, refdes: str, others: dict[str, Circuit] | None = None) -> list[str]:
    return [donor.refdes for donor in find_donors(board, need(board, refdes), others or {})]


def test_a_donor_has_the_value_the_size_and_the_rating() -> None:
    assert donors(circuit(DONORS), "C1") == ["C2"]


def test_a_donor_of_unknown_rating_may_do() -> None:
    board = circuit(DONORS + "C7 +5V GND 1uF @0402\n")
    assert donors(board, "C1") == ["C2", "C7"]


def test_a_damaged_position_gives_nothing() -> None:
    board = circuit(DONORS)
    assert find_donors(board, need(board, "C1"), {}, without=["C2"]) == ()


def test_a_looser_resistor_is_no_donor_for_a_tight_one() -> None:
    board = circuit(
        "R1 A +3V3 10k 1% @0402\nR2 B +3V3 10k 5% @0402\nR3 C +3V3 10k 1% @0402\n"
        "R4 D +3V3 10k 0.1% @0402\nR5 E +3V3 10k @0402\nU1 A B C D E : MCU"
    )
    assert sorted(donors(board, "R1")) == ["R3", "R4", "R5"]  # R5 does not say: it may do


def test_the_same_part_number_is_the_same_part() -> None:
    builder = BoardBuilder("a.net", "test")
    for refdes, value, number in (("U1", "A", "ABC-1"), ("U2", "B", "ABC-1"), ("U3", "A", "XY")):
        part = builder.part(refdes)
        part.value, part.properties["Part_Number"] = value, number
        part.pin("1", "GND")
    board = Circuit(builder.build())
    assert need(board, "U1").part_number == "ABC-1"
    assert donors(board, "U1") == ["U2"]


def test_a_scrap_board_gives_before_the_board_under_repair() -> None:
    board = circuit(DONORS)
    found = find_donors(board, need(board, "C1"), {"scrap": circuit(DONORS)})
    assert [(donor.refdes, donor.board) for donor in found] == [
        ("C1", "scrap"),
        ("C2", "scrap"),
        ("C2", "this board"),
    ]
