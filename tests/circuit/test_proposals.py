"""What a missing position was: small circuits, the hiding itself, and Wren's lost seven."""

from __future__ import annotations

from functools import cache

import pytest

import nettrace
from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import Proposal
from tests.circuit_language import circuit
from tests.conftest import ROOT

SUPPLY = "C90 VDD GND 100n\nC91 VDD GND 10u\n"
BUS = (
    SUPPLY
    + """U1 SDA=SDA SCL=SCL VDD=VDD GND=GND
U2 SDA=SDA SCL=SCL VDD=VDD GND=GND
R1 SDA VDD
R2 SCL VDD
"""
)


def first(netlist: str, part: str, **rails: float) -> Proposal:
    return circuit(netlist, rails={"VDD": 1.8, **rails}).proposals(part)[0]


# UM10204 7.1, fast mode, 100 pF at 1.8 V: 720.00 to 3540.66 ohms (reference-values 1.1)
def test_a_bus_pull_up_has_the_window_of_the_standard() -> None:
    found = first(BUS, "R1")
    assert found.role == "pull-up"
    assert found.quantity == "ohms"
    assert found.at_least is not None
    assert found.at_most is not None
    for ohms in found.choices:
        assert found.at_least <= ohms <= found.at_most
    assert any("UM10204" in reason for reason in found.because)


def test_the_other_line_of_the_bus_says_most() -> None:
    found = first(BUS.replace("R2 SCL VDD\n", "R2 SCL VDD 1k8\n"), "R1")
    assert found.choices[0] == 1800.0
    assert any("R2" in reason for reason in found.because)


# Rd 5.1 kΩ within 10 % (USB Type-C; ST UM2191 table 2, reference-values 6)
def test_a_cc_line_wants_rd() -> None:
    netlist = SUPPLY + "J1 VBUS=VBUS CC1=CC1 CC2=CC2 GND=GND : USB_C_Receptacle\nR1 CC1 GND\n"
    found = first(netlist, "R1", VBUS=5.0)
    assert found.role == "pull-down"
    assert found.choices[0] == 5100.0
    assert (found.at_least, found.at_most) == pytest.approx((4590.0, 5610.0))


BUCK = """U1 VIN=VIN SW=SW FB=FB EN=EN GND=GND : TLV62569 buck
L1 SW +3V3 2u2
R1 +3V3 FB {upper}
R2 FB GND {lower}
C1 VIN GND 10u
C2 +3V3 GND 22u
C3 +3V3 GND 100n
U2 VDD=+3V3 GND=GND A=X
U3 VDD=+3V3 GND=GND A=X
"""


# 0.6 V (1 + 45.3 / 10) = 3.318 V (reference-values 9); the name says 3.3 V, so exactly 45.0 kΩ
def test_a_feedback_leg_follows_from_the_rail_and_the_other_leg() -> None:
    found = first(BUCK.format(upper="", lower="10k"), "R1", VIN=5.0)
    assert found.role == "feedback divider (upper)"
    assert found.choices[0] == pytest.approx(45.0e3, rel=0.015)
    lower = first(BUCK.format(upper="45k3", lower=""), "R2", VIN=5.0)
    assert lower.role == "feedback divider (lower)"
    assert lower.choices[0] == pytest.approx(10e3, rel=0.02)


def test_decoupling_is_like_its_neighbours() -> None:
    bank = "".join(f"C{n} VDD GND 220n\n" for n in range(1, 6))
    found = first(bank + "C9 VDD GND\nU1 VDD=VDD GND=GND A=X\nU2 VDD=VDD GND=GND B=X\n", "C9")
    assert found.role == "decoupling"
    assert found.choices[0] == pytest.approx(220e-9)


def test_a_crystals_load_is_like_its_twin() -> None:
    netlist = SUPPLY + "U1 XI=XI XO=XO VDD=VDD GND=GND\nY1 XI XO 16MHz\nC1 XI GND 15p\nC2 XO GND\n"
    found = first(netlist, "C2")
    assert found.role == "crystal load"
    assert found.choices[0] == pytest.approx(15e-12)


def test_what_is_no_resistor_capacitor_or_inductor_gets_no_proposal() -> None:
    assert circuit(BUS, rails={"VDD": 1.8}).proposals("U1") == ()


# ----------------------------------------------------------------------------------------- hiding
@cache
def wren() -> Circuit:
    return nettrace.load(ROOT / "samples" / "wren")


def test_a_hidden_part_keeps_its_place_and_loses_its_value() -> None:
    hidden = wren().without_value("R12")
    part = hidden.board.part_by_key["R12"]
    assert part.value is None
    assert part.description is None
    assert not part.properties
    assert part.nets == wren().board.part_by_key["R12"].nets
    assert hidden.kinds["R12"].ohms is None
    assert hidden.kinds["R13"].ohms == 2200.0
    assert wren().kinds["R12"].ohms == 2200.0


def test_nothing_of_a_hidden_value_is_left_in_the_tables() -> None:
    hidden = wren().without_value("R22").survey
    figures = [
        b.figure for net in hidden.resistors for b in hidden.resistors[net] if b.part == "R22"
    ]
    assert figures == [None, None]
    link = wren().without_value("R15").survey
    assert not [b for net in link.links for b in link.links[net] if b.part == "R15"]
    assert [b for b in link.resistors["TS"] if b.part == "R15"]


# the answer must not depend on whether the file states the value: that is the whole point
@pytest.mark.parametrize("part", ["R12", "R14", "R16", "C7", "R22", "R1", "C21", "R40", "FB1"])
def test_the_proposal_is_the_same_with_and_without_the_value(part: str) -> None:
    blind = wren().without_value(part)
    assert [(p.role, p.score) for p in wren().proposals(part)] == [
        (p.role, p.score) for p in blind.proposals(part)
    ]


#: Wren's lost parts (samples/README.md): role words and the true value.
LOST = {
    "R12": ({"pull-up"}, 2200.0),
    "R13": ({"pull-up"}, 2200.0),
    "R14": ({"thermistor bias"}, 10e3),
    "R15": ({"zero-ohm link", "series resistor"}, 0.0),
    "R16": ({"filter resistor", "series resistor"}, 100.0),
    "C7": ({"decoupling"}, 100e-9),
}


@pytest.mark.parametrize("part", LOST)
def test_wren_gets_its_lost_values_back(part: str) -> None:
    words, value = LOST[part]
    proposals = wren().proposals(part)
    assert proposals[0].role in words
    assert any(choice == pytest.approx(value) for choice in proposals[0].choices[:3])


@pytest.mark.parametrize(("part", "size"), [("R12", "0201"), ("R16", "01005"), ("R1", "0402")])
def test_the_size_is_that_of_the_pads(part: str, size: str) -> None:
    assert wren().proposals(part)[0].package == size
