"""The list of measurements that proves a repair: what is on it, in what order, and why."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import networkx
import pytest

from nettrace.bench.faults import FaultKind, list_faults
from nettrace.bench.job import JobState, MeterMode
from nettrace.bench.probes import Probe, ProbeStep, plan_probes
from nettrace.circuit.circuit import Circuit
from nettrace.loading import load
from tests.bench.simulator import cluster, refitted
from tests.circuit_language import circuit

SEVEN = ("R12", "R13", "R14", "R15", "R16", "C7", "D4")


@pytest.fixture(scope="module")
def board() -> Circuit:
    return load(Path(__file__).parents[2] / "samples" / "wren")


@pytest.fixture(scope="module")
def plan(board: Circuit) -> tuple[Probe, ...]:
    return plan_probes(board, refitted(SEVEN))


def test_rails_come_first_and_power_last(plan: tuple[Probe, ...]) -> None:
    steps = [list(ProbeStep).index(probe.step) for probe in plan]
    assert steps == sorted(steps)
    assert plan[0].step is ProbeStep.RAILS
    assert plan[-1].quantity is MeterMode.VOLTS


def test_every_touched_joint_is_tied_to_the_rest_of_its_net(
    board: Circuit, plan: tuple[Probe, ...]
) -> None:
    # a spanning set: with the untouched pads of a net as one, the beeps join all its touched pads
    pins = {str(pin): pin for part in board.board.parts for pin in part.pins}
    touched = {name for name, pin in pins.items() if pin.part in SEVEN and pin.net}
    graph: networkx.Graph[str] = networkx.Graph()
    for probe in plan:
        if probe.step is ProbeStep.JOINTS:
            assert pins[probe.at].net == pins[probe.to].net
            ends = [p if p in touched else f"rest of {pins[p].net}" for p in (probe.at, probe.to)]
            graph.add_edge(*ends)
    for name in touched:
        assert networkx.has_path(graph, name, f"rest of {pins[name].net}")
    assert graph.number_of_edges() == len(touched)  # none too many


def test_the_value_of_each_part_that_can_be_read_is_on_the_list(plan: tuple[Probe, ...]) -> None:
    # 2.2k, 2.2k, 10k, 0 and 100 Ω by samples/source/facts.toml; C7 hides behind C3 on VBAT
    values = {probe.at.split(".")[0]: probe for probe in plan if probe.step is ProbeStep.VALUES}
    shown = {ref: probe.nominal for ref, probe in values.items() if ref != "D4"}
    assert shown == pytest.approx(
        {"R12": 2200, "R13": 2200, "R14": 10e3, "R15": 0, "R16": 100}, abs=0.01
    )
    assert values["D4"].quantity is MeterMode.DIODE


def test_wrens_rails_have_the_voltages_of_its_facts(plan: tuple[Probe, ...]) -> None:
    volts = [probe.nominal for probe in plan if probe.quantity is MeterMode.VOLTS]
    assert 1.8 in [round(v, 3) for v in volts if v is not None]
    assert 3.7 in [round(v, 3) for v in volts if v is not None]


def test_test_points_are_preferred(plan: tuple[Probe, ...]) -> None:
    ends = {probe.at: probe.to for probe in plan if probe.step is ProbeStep.JOINTS}
    assert (ends["R12.2"], ends["R13.2"], ends["R15.2"]) == ("TP7.1", "TP8.1", "TP9.1")


def test_a_board_without_places_has_a_list_too() -> None:
    lines = "R1 SDA VDD 2k2\nU1 VDD SDA GND : EEPROM\nTP1 SDA : TP\nC1 VDD GND 100n"
    found = plan_probes(circuit(lines), refitted(["R1"]))
    joints = {probe.at: probe.to for probe in found if probe.step is ProbeStep.JOINTS}
    assert joints["R1.1"] == "TP1.1"
    assert set(joints) == {"R1.1", "R1.2"}


def test_a_lifted_pad_and_a_marked_bridge_are_probed(board: Circuit) -> None:
    state = JobState(lifted=("U2.1",), bridges=(("U2.1", "U2.2"),))
    found = plan_probes(board, state)
    assert any(p.at == "U2.1" and p.step is ProbeStep.JOINTS for p in found)
    assert any({p.at, p.to} == {"U2.1", "U2.2"} and p.step is ProbeStep.BRIDGES for p in found)


def test_nothing_touched_needs_no_probe(board: Circuit) -> None:
    assert plan_probes(board, JobState()) == ()


def test_shorts_that_no_meter_tells_apart_are_one(board: Circuit) -> None:
    # BAT_NTC and TS are one net through R15, CELL_N and GND through the 10 mΩ of R17
    shorts = [fault for fault in list_faults(board, refitted(SEVEN)) if fault.nets]
    (to_ground,) = [f for f in shorts if ("D4",) in f.places]
    assert to_ground.kind is FaultKind.SHORTED
    assert any("J3.3" in place for place in to_ground.places)
    pairs = [frozenset(fault.nets) for fault in shorts]
    assert len(pairs) == len(set(pairs))


def test_a_real_boards_list_stays_on_its_nets(boards: Path) -> None:
    real = load(boards / "teres-main")
    refs = cluster(real)
    found = plan_probes(real, refitted(refs))
    pins = {f"{part.refdes}.{pin.number}": pin for part in real.board.parts for pin in part.pins}
    assert {p.at.split(".")[0] for p in found if p.step is ProbeStep.JOINTS} == set(refs)
    for probe in found:
        one = pins[probe.at].net == pins[probe.to].net
        assert one == (probe.step is ProbeStep.JOINTS)


def test_the_list_does_not_depend_on_readings(board: Circuit, plan: tuple[Probe, ...]) -> None:
    assert plan_probes(board, replace(refitted(SEVEN), remarks=("x",))) == plan
