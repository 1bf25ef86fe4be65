"""The order of refitting: power off first, small and enclosed before large, connectors last."""

from __future__ import annotations

from pathlib import Path

from nettrace.bench.refit import HOT_AIR_MM, plan_refit
from nettrace.circuit.circuit import Circuit
from nettrace.loading import load
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder


def board(parts: list[tuple[str, str, float, float]]) -> Circuit:
    builder = BoardBuilder("a.kicad_pcb", "kicad_pcb")
    for refdes, package, x, y in parts:
        part = builder.part(refdes)
        part.package, part.x, part.y, part.side = package, x, y, Side.TOP
        part.pad("1", f"{refdes}A", x - 0.3, y, Side.TOP, width=0.3, height=0.3)
        part.pad("2", "GND", x + 0.3, y, Side.TOP, width=0.3, height=0.3)
    return Circuit(builder.build())


def order(circuit: Circuit, *positions: str) -> list[tuple[str, ...]]:
    return [step.positions for step in plan_refit(circuit, positions).steps if step.positions]


def test_power_off_and_clean_pads_come_first_and_looking_last() -> None:
    steps = plan_refit(board([("R1", "R_0201", 0, 0)]), ["R1"]).steps
    assert steps[0].title.startswith("Battery and every supply off")
    assert steps[1].title == "Recover and clean the pads"
    assert steps[-1].title.startswith("Clean off the flux")


def test_small_before_large_and_the_connector_last() -> None:
    circuit = board([("J1", "JST_Conn", 9, 0), ("C1", "C_0805", 20, 0), ("R1", "R_0201", 40, 0)])
    assert order(circuit, "J1", "C1", "R1") == [("R1",), ("C1",), ("J1",)]


def test_enclosed_before_open() -> None:
    near = [(f"C{i}", "C_0402", 10 + dx, dy) for i, (dx, dy) in
            enumerate([(1.6, 0), (-1.6, 0), (0, 1.6), (0, -1.6)], 1)]  # fmt: skip
    circuit = board([("R1", "R_0402", 10, 0), ("R2", "R_0201", 40, 0), *near])
    assert order(circuit, "R2", "R1") == [("R1",), ("R2",)]


def test_close_positions_go_together() -> None:
    circuit = board([("R1", "R_0201", 0, 0), ("R2", "R_0201", 1.0, 0), ("R3", "R_0201", 9, 0)])
    assert order(circuit, "R1", "R2", "R3") == [("R1", "R2"), ("R3",)]


def test_neighbours_that_mind_the_heat_are_named() -> None:
    circuit = board([("R1", "R_0201", 0, 0), ("Y1", "Crystal_3225", 3, 0), ("J2", "Conn", 30, 0)])
    (step,) = [s for s in plan_refit(circuit, ["R1"]).steps if s.positions]
    assert [n.refdes for n in step.neighbours] == ["Y1"]
    assert all(n.distance_mm <= HOT_AIR_MM for n in step.neighbours)


def test_lifted_pads_are_mended_before_any_part() -> None:
    steps = plan_refit(board([("R1", "R_0201", 0, 0)]), ["R1"], ["R1.1"]).steps
    assert [s.positions for s in steps if s.positions] == [("R1.1",), ("R1",)]


def test_a_position_without_a_place_is_said() -> None:
    builder = BoardBuilder("a.net", "kicad_net")
    builder.part("R1").pin("1", "A")
    assert plan_refit(Circuit(builder.build()), ["R1"]).unplaced == ("R1",)


def test_wren_the_seven_positions_each_once(wren: Path) -> None:
    seven = ["R12", "R13", "R14", "R15", "R16", "C7", "D4"]
    plan = plan_refit(load(wren), seven)
    fitted = [ref for step in plan.steps for ref in step.positions]
    assert sorted(fitted) == sorted(seven)
    steps = [step for step in plan.steps if step.positions]
    assert any(n.refdes == "J3" for step in steps for n in step.neighbours)
    assert any("C7.2" in step.slow_pads for step in steps)
