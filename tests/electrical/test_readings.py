"""Readings: honest bounds, and Wren's damaged pads confirmed by ngspice."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from nettrace.circuit.circuit import Circuit
from nettrace.electrical.expected import MeteredBoard
from nettrace.electrical.power_off import PowerOff
from nettrace.loading import load
from nettrace.readers.document import Document
from nettrace.readers.sheet import read
from tests.electrical.test_network import needs_ngspice, spice_resistance


def circuit(sheet: str) -> Circuit:
    return Circuit(read(Document("b.sheet", "sheet\n" + sheet)))


DIVIDER = """
rail VIN 3.3
ground GND
R1 10k 1%: VIN TAP
R2 10k 1%: TAP GND
"""


def test_closed_network_is_exact() -> None:
    bounds = PowerOff(circuit(DIVIDER)).ohms("TAP", "GND")
    assert bounds.exact
    assert bounds.nominal == pytest.approx(10e3)
    assert bounds.at_most == pytest.approx(10.1e3)
    assert bounds.at_least == pytest.approx(9.9e3)
    assert bounds.unknown == ()


def test_a_chip_makes_it_an_upper_bound_and_is_named() -> None:
    found = circuit(DIVIDER + "U1 MCU: 1=TAP 2=GND 3=VIN\n")
    bounds = PowerOff(found).ohms("TAP", "GND")
    assert not bounds.exact
    assert bounds.at_most == pytest.approx(10.1e3)
    assert bounds.at_least == 0
    assert bounds.unknown == ("U1",)


def test_a_chip_elsewhere_does_not_spoil_an_exact_figure() -> None:
    found = circuit(DIVIDER + "U1 MCU: 1=SDA 2=SCL 3=VDD\n")
    assert PowerOff(found).ohms("TAP", "GND").exact


def test_a_chip_that_touches_the_network_at_one_node_changes_nothing() -> None:
    found = circuit(DIVIDER + "U1 MCU: 1=TAP 2=SDA 3=VDD\n")
    assert PowerOff(found).ohms("VIN", "GND").exact


def test_no_path_is_overload_when_exact() -> None:
    bounds = PowerOff(circuit("ground GND\nR1 10k: A B\nC1 100n: B GND\n")).ohms("A", "GND")
    assert bounds.exact
    assert math.isinf(bounds.nominal)


def test_capacitors_right_across_add_up() -> None:
    # exact: 100 nF beside 10 µF is 10.1 µF
    found = circuit("ground GND\nrail VDD 3.3\nC1 100n: VDD GND\nC2 10u X5R: GND VDD\n")
    farads, parts, class_2 = PowerOff(found).farads("VDD", "GND")
    assert farads == pytest.approx(10.1e-6)
    assert parts == ("C1", "C2")
    assert class_2


def test_a_missing_pull_up_leaves_the_line_without_a_voltage() -> None:
    text = "rail VDD 1.8\nground GND\nR1 2k2: SDA VDD\nU1 MCU: 1=SDA 2=GND 3=VDD\n"
    whole, broken = MeteredBoard(circuit(text)), MeteredBoard(circuit(text), frozenset({"R1"}))
    volts = whole.volts("SDA")
    assert volts is not None
    assert volts.nominal == pytest.approx(1.8)
    assert broken.volts("SDA") is None


def test_the_users_rail_stands_alone() -> None:
    bench = MeteredBoard(circuit(DIVIDER), rails={"VIN": 5.0})
    volts = bench.volts("TAP")
    assert volts is not None
    assert volts.nominal == pytest.approx(2.5)
    assert "VIN" in volts.basis


PAIRS = [
    ("GAUGE_SDA", "+1V8"), ("GAUGE_SDA", "GND"), ("GAUGE_SCL", "+1V8"), ("VREF_1V8", "TS"),
    ("TS", "BAT_NTC"), ("GAUGE_SRN", "CELL_N"), ("BUCK_FB", "GND"), ("CC1", "GND"),
]  # fmt: skip


@needs_ngspice
@pytest.mark.parametrize(("a", "b"), PAIRS)
def test_wrens_damaged_pads_are_confirmed_by_ngspice(
    wren: Path, tmp_path: Path, a: str, b: str
) -> None:
    power_off = PowerOff(load(wren))
    network = power_off.nominal
    near = network.around(a)
    edges = [(r.a, r.b, r.ohms) for r in network.resistors if r.a in near]
    found = power_off.ohms(a, b).nominal
    assert found == pytest.approx(spice_resistance(edges, a, b, tmp_path), rel=1e-6, abs=1e-6)


def test_every_bound_states_its_reason(wren: Path) -> None:
    loaded = load(wren)
    bench = MeteredBoard(loaded)
    for key in ("R12", "R13", "R14", "R15", "R16", "C7", "D4"):
        for pin in loaded.board.part_by_key[key].pins:
            assert pin.net is not None
            readings = bench.of_net(str(pin), pin.net, loaded.board.part_by_key[key])
            assert readings
            for reading in readings:
                assert reading.because
                bounds = reading.ohms
                if bounds is not None and not bounds.exact:
                    assert bounds.unknown


def test_bounds_hold_on_real_boards(boards: Path) -> None:
    path = boards / "zswatch-devkit" / "ZSWatch-Watch-DevKit-netlist.net"
    power_off = PowerOff(load(path))
    nets = [net.name for net in power_off.circuit.board.nets if len(net.pins) > 1]
    for net in nets:
        bounds = power_off.ohms(net, "GND")
        assert 0 <= bounds.at_least <= bounds.at_most * (1 + 1e-9), net
        assert bounds.nominal <= bounds.at_most * (1 + 1e-9), net


def test_one_net_to_itself_beeps() -> None:
    found = MeteredBoard(circuit(DIVIDER)).between("R1.2", "TAP", "R2.1", "TAP")
    assert (found.ohms, found.because) == (None, ("one net: it beeps",))


def test_a_rail_of_unknown_voltage_is_not_0_v_for_a_resistor_to_ground() -> None:
    text = "ground GND\nR1 10k: VSYS GND\nC1 100n: VSYS GND\nU1 MCU: VDD=VSYS GND=GND\n"
    bench = MeteredBoard(circuit(text))
    assert bench.circuit.rails["VSYS"].volts is None
    assert bench.volts("VSYS") is None


UNKNOWN = "ground GND\nrail VDD 3.3\nC1 1u: VSYS GND\nC2 10u: VSYS GND\nU1 MCU: VDD=VSYS GND=GND\n"


@pytest.mark.parametrize(
    ("sheet", "net"),
    [
        ("R1 10k: VSYS TAP\nR2 10k: TAP GND\n", "TAP"),  # a divider
        ("R1 2k2: VSYS MID\nR2 33: MID SDA\nR3 100k: SDA GND\n", "SDA"),  # through parts in series
        ("R1 0R: VSYS MID\nR2 2k2: MID SDA\nR3 10k: SDA GND\n", "SDA"),  # through a link
        ("D1 1N4148: A=VSYS K=OUT\nR1 10k: OUT GND\n", "OUT"),  # through a diode
        ("R1 10k: VSYS TAP\nR2 10k: TAP VDD\n", "TAP"),
    ],
)
def test_what_hangs_on_a_rail_of_unknown_voltage_has_no_voltage(sheet: str, net: str) -> None:
    bench = MeteredBoard(circuit(UNKNOWN + sheet))
    assert bench.circuit.rails["VSYS"].volts is None
    found = bench.between(net, net, "GND", "GND")
    assert found.volts is None
    assert f"{net} hangs on VSYS, whose voltage is not known" in found.because
    assert bench.heats() == ()
    known = MeteredBoard(bench.circuit, rails={"VSYS": 3.0, "VDD": 3.3}).volts(net)
    assert known is not None or net == "OUT"


def test_a_net_held_between_known_rails_keeps_its_figure_beside_an_unknown_one() -> None:
    sheet = "R1 10k: VDD TAP\nR2 10k: TAP GND\nR3 10k: VSYS GND\n"
    bench = MeteredBoard(circuit(UNKNOWN + sheet))
    volts = bench.volts("TAP")
    assert volts is not None
    assert volts.nominal == pytest.approx(1.65)
    assert bench.volts("VSYS") is None
    assert "the voltage of VSYS is not known" in bench.between("VSYS", "VSYS", "GND", "GND").because


def test_what_hangs_on_a_rail_that_a_missing_part_upset_is_not_known() -> None:
    text = (
        "ground GND\nU1 TPS62740 buck: VIN=VBAT SW=SW FB=FB GND=GND\nL1 2u2: SW VOUT\n"
        "R1 100k: VOUT FB\nR2 100k: FB GND\nR3 10k: VOUT SDA\nR4 10k: SDA GND\n"
    )
    bench = MeteredBoard(circuit(text), frozenset({"R2"}))
    assert bench.volts("SDA") is None
