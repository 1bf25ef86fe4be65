"""Rails and grounds: names, structure, voltage and its basis."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.evidence import NetKind, Rail
from nettrace.circuit.rail_evidence import read_rail_name
from nettrace.model.builder import BoardBuilder
from tests.circuit.case_file import Case, read_cases
from tests.circuit_language import circuit

CASES = read_cases("rails")


def build(case: Case) -> Circuit:
    notes = {}
    lines = []
    for line in case.netlist.splitlines():
        if line.startswith("note "):
            _, net, volts = line.split()
            notes[net] = float(volts)
        else:
            lines.append(line)
    return circuit("\n".join(lines), rails=notes or None)


def check(line: str, rails: dict[str, Rail]) -> None:
    net, what, *rest = line.split()
    if what == "-":
        assert net not in rails, rails[net]
        return
    rail = rails[net]
    assert rail.kind is NetKind(what)
    assert rail.because
    if what == "ground":
        assert rail.volts is not None
        assert rail.volts.nominal == 0
        if rest:
            assert (rest[3], rest[1]) in rail.linked
        return
    if rest[0] == "?":
        assert rail.volts is None
        return
    assert rail.volts is not None, rail
    assert rail.volts.nominal == pytest.approx(float(rest[0]), abs=0.005)
    basis = " ".join(rest[1:]).partition(", else")[0].partition(" from ")[0]
    assert rail.volts.basis.startswith(basis)
    if "else" in rest:
        assert [o.nominal for o in rail.others] == [float(rest[-1])]
    if "from" in rest:
        at = rest.index("from")
        assert (rail.volts.min, rail.volts.max) == (float(rest[at + 1]), float(rest[at + 3]))


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_case(case: Case) -> None:
    rails = dict(build(case).rails)
    assert case.expected
    for line in case.expected:
        check(line, rails)


# The forms listed in reference-values.md, section 11 (common practice, no source).
@pytest.mark.parametrize(
    ("name", "volts"),
    [
        ("3V3", 3.3), ("1V8", 1.8), ("1V05", 1.05), ("0V9", 0.9), ("5V0", 5.0), ("12V0", 12.0),
        ("+3V3", 3.3), ("-12V", -12.0), ("VDD_1V8", 1.8), ("VCC_5V0", 5.0), ("P3V3", 3.3),
        ("P1V8", 1.8), ("3.3V", 3.3), ("3P3V", 3.3), ("VCC3V3_S0", 3.3), ("+3VSB", 3.3),
        ("GPIO33", None), ("I2C1", None), ("VDD1", None), ("USB3V", None), ("R5V1", None),
        ("AVDD", None), ("VCC", None), ("2.4", None), ("SD_VOLT0", None),
    ],
)  # fmt: skip
def test_volts_in_a_name(name: str, volts: float | None) -> None:
    assert read_rail_name(name).volts == volts


@pytest.mark.parametrize(
    "name", ["GND", "VSS", "0V", "AGND", "DGND", "PGND", "SGND", "GNDA", "VSSA", "EARTH", "CHASSIS"]
)
def test_ground_names(name: str) -> None:
    assert read_rail_name(name).kind == "ground"


@pytest.mark.parametrize(
    "name", ["VBAT_SENSE", "3V3_EN", "VBUS_DET", "VDD_PG", "5V_FB", "Net-(U1-SW)"]
)
def test_signals_about_a_supply_are_no_supply(name: str) -> None:
    assert read_rail_name(name).kind == ""


def test_a_voltage_that_the_file_states_is_a_source() -> None:
    builder = BoardBuilder("deck", "test")
    for refdes, one, two in (("V1", "n1", "0"), ("R1", "n1", "out")):
        part = builder.part(refdes)
        part.pin("1", one)
        part.pin("2", two)
    builder.net("n1", volts=9.0)
    rail = Circuit(builder.build()).rails["n1"]
    assert rail.volts is not None
    assert (rail.volts.nominal, rail.volts.basis) == (9.0, "source in the file")


def test_loads_source_and_decoupling() -> None:
    found = circuit(
        "U1 VIN=+5V VOUT=+3V3 GND=GND : AP2112K-3.3\nC1 +3V3 GND 1u\nC2 +3V3 GND 100n DNP\n"
        "U2 VDD=+3V3 GND=GND\nU10 VDD=+3V3 GND=GND"
    ).rails["+3V3"]
    assert found.source == "U1"
    assert found.loads == ("U2", "U10")
    assert found.decoupling_farads == pytest.approx(1e-6)


BUCK = next(case for case in CASES if "buck" in case.title)


@given(st.permutations(BUCK.netlist.splitlines()))
def test_order_of_lines_changes_no_rail(lines: list[str]) -> None:
    assert dict(circuit("\n".join(lines)).rails) == dict(circuit(BUCK.netlist).rails)


@given(st.permutations(["ja", "kb", "mc", "pd"]))
def test_renaming_nets_without_telling_names_changes_no_rail(names: list[str]) -> None:
    renamed = BUCK.netlist
    for old, new in zip(("n1", "out", "n2"), names, strict=False):
        renamed = renamed.replace(old, new)
    usual, other = circuit(BUCK.netlist).rails, circuit(renamed).rails
    back = dict(zip(names, ("n1", "out", "n2"), strict=False))
    assert {back.get(net, net): rail.score for net, rail in other.items()} == {
        net: rail.score for net, rail in usual.items()
    }
    volts = other[names[1]].volts
    assert volts is not None
    assert volts == usual["out"].volts


def test_a_voltage_names_the_parts_that_it_rests_on() -> None:
    text = (
        "U1 VIN=+12V SW=n1 FB=n2 GND=GND : MP1584\nL1 n1 out 10uH\nC1 out GND 22uF\n"
        "R1 out n2 124k\nR2 n2 GND 39k\nFB1 out VDDA 600R@100MHz\nC2 VDDA GND 1uF\n"
        "U2 VDD=VDDA GND=GND : MCU"
    )
    found = circuit(text)
    parts = {name: rail.volts.from_parts for name, rail in found.rails.items() if rail.volts}
    assert parts == {"+12V": (), "GND": (), "out": ("R1", "R2", "U1"), "VDDA": ("FB1",)}
