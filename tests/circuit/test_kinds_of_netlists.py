"""Parts of decks and of logic netlists: what their names do and do not say.

SPICE: the first letter of an element says what it is (ngspice manual, list of elements). EDIF
logic netlists and the mounting hole come from the real boards' folder.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import nettrace
from nettrace.circuit.kinds import Kind

DECK = """\
elements whose names are words of the trade elsewhere
V1 in 0 PULSE(0 3 0 5n 5n 170n 800n)
RL out 0 50
Rload1 in out R = 'TIME > 350m ? 8 : 89'
Cpara2 out 0 10n
XT1 in out 0 XFORMER
XU1 in out 0 AMP
.end
"""


@pytest.fixture
def deck(tmp_path: Path) -> nettrace.Circuit:
    path = tmp_path / "deck.cir"
    path.write_text(DECK, encoding="utf-8")
    return nettrace.load(path)


def test_the_letter_of_a_spice_element_is_its_kind(deck: nettrace.Circuit) -> None:
    kinds = {key: kind.kind for key, kind in deck.kinds.items()}
    assert kinds["RL"] is kinds["Rload1"] is Kind.RESISTOR
    assert kinds["Cpara2"] is Kind.CAPACITOR
    assert kinds["XT1"] is Kind.TRANSFORMER
    assert kinds["XU1"] is Kind.IC


def test_a_source_of_a_deck_is_no_battery_that_is_missed(deck: nettrace.Circuit) -> None:
    absence = deck.absence("V1")
    assert absence.severity == "unknown"
    assert "stands for what is outside" in absence.effects[0]


@pytest.mark.parametrize("name", ["4bitadder.edf", "b13.edf", "TMR_hierarchy.edf"])
def test_cells_of_a_logic_netlist_are_no_parts_of_a_board(boards: Path, name: str) -> None:
    circuit = nettrace.load(boards / "edif-netlists" / name)
    roles = {circuit.roles(part.key)[0].role for part in circuit.board.parts}
    assert roles <= {"logic", "unknown"}
    for part in circuit.board.parts:
        assert circuit.absence(part.key).severity == "unknown"


def test_a_microphones_reference_on_one_pin_is_a_hole(boards: Path) -> None:
    circuit = nettrace.load(boards / "reform2-trackball" / "reform2-trackball.d356")
    assert circuit.kinds["MK5"].kind is Kind.MECHANICAL
    assert circuit.absence("MK5").severity == "minor"


def test_a_named_reference_with_its_capacitor_is_a_rail(wren: Path) -> None:
    circuit = nettrace.load(wren)
    assert circuit.rails["VREF_1V8"].source == "U1"
    # R14 feeds the pack's thermistor: TS does not stand at the reference's voltage
    assert circuit.volts("TS") is None
    assert circuit.volts("GAUGE_SDA") is not None


def test_capacitors_without_values_add_up_to_unknown(boards: Path) -> None:
    circuit = nettrace.load(boards / "zswatch-devkit" / "ZSWatch-Watch-DevKit.d356")
    rail = circuit.rails["RIPHERALS/VBAT"]
    assert rail.decoupling_farads is None


def test_a_parts_list_names_no_pins_and_its_parts_are_no_holes(tmp_path: Path) -> None:
    path = tmp_path / "parts.csv"
    path.write_text("Reference,Value\nR1,10k\nC1,100n\nU1,LM358\nH1,Hole\n", encoding="utf-8")
    kinds = {key: kind.kind for key, kind in nettrace.load(path).kinds.items()}
    assert kinds == {
        "R1": Kind.RESISTOR,
        "C1": Kind.CAPACITOR,
        "U1": Kind.IC,
        "H1": Kind.MECHANICAL,
    }


def test_a_schematics_part_without_a_reference_is_still_a_part(tmp_path: Path) -> None:
    # so drawn by a schematic program of 1987: instances have names, pins have numbers
    path = tmp_path / "sheet.edf"
    path.write_text(
        "(edif s (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))\n"
        "(library L (edifLevel 0) (technology (numberDefinition))\n"
        "(cell MC145030 (cellType GENERIC) (view v (viewType SCHEMATIC) (interface\n"
        '(port A0 (designator "1")) (port STATUS (designator "10")))))\n'
        "(cell TOP (cellType GENERIC) (view v (viewType SCHEMATIC) (interface) (contents\n"
        "(instance CMP1 (viewRef v (cellRef MC145030)))\n"
        "(net A (joined (portRef A0 (instanceRef CMP1))))\n"
        "(net B (joined (portRef STATUS (instanceRef CMP1)))))))))\n",
        encoding="utf-8",
    )
    circuit = nettrace.load(path)
    assert circuit.roles("CMP1")[0].role != "logic"
    assert "inside a chip" not in " ".join(circuit.absence("CMP1").effects)


def test_m_and_x_without_their_models_are_no_modules_and_no_crystals(tmp_path: Path) -> None:
    deck = tmp_path / "deck.cir"
    deck.write_text(
        "* deck\nM1 d g s s IRF530\nMQ2 d g s s IRF530\nMOD3 a b c d ESP\nX7 i o g LM7805\n"
        "X8 a b CRYSTAL\nV1 d 0 12\nR1 g 0 10k\n.end\n"
    )
    kinds = nettrace.load(deck).kinds
    assert {name: kinds[name].kind for name in ("M1", "MQ2", "X8")} == {
        "M1": Kind.MOSFET,
        "MQ2": Kind.MOSFET,
        "X8": Kind.CRYSTAL,
    }
    assert kinds["MOD3"].kind is not Kind.MOSFET
    assert kinds["X7"].kind is Kind.UNKNOWN
