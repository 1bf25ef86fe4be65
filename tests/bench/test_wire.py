"""Wires for lifted pads and cut tracks: nearest good points, shortest set (against brute force)."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.bench.wire import CLEARANCE_MM, plan_wires, points_of
from nettrace.circuit.circuit import Circuit
from nettrace.errors import NothingMatches
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder


def placed(pads: list[tuple[str, str, float, float, Side, float]]) -> Circuit:
    builder = BoardBuilder("a.kicad_pcb", "kicad_pcb")
    for refdes, net, x, y, side, size in pads:
        builder.part(refdes).pad("1", net, x, y, side, shape="rect", width=size, height=size)
    return Circuit(builder.build())


TOP, BOTTOM = Side.TOP, Side.BOTTOM


def test_a_test_point_comes_before_a_nearer_small_pad_and_the_other_side_last() -> None:
    circuit = placed(
        [
            ("U1", "SDA", 0, 0, TOP, 0.5),
            ("R1", "SDA", 3, 0, TOP, 0.3),
            ("TP1", "SDA", 4, 0, TOP, 1.0),
            ("C1", "SDA", 1, 0, BOTTOM, 1.0),
        ]
    )
    plan = plan_wires(circuit, "SDA", lifted=["U1.1"])
    assert [span.end.name for span in plan.choices["U1.1"]] == ["TP1.1", "R1.1", "C1.1"]
    assert [span.end.name for span in plan.wires] == ["TP1.1"]
    assert plan.wires[0].length_mm == pytest.approx(4)


def test_what_lies_between_is_named() -> None:
    circuit = placed(
        [
            ("U1", "SDA", 0, 0, TOP, 0.5),
            ("U2", "SDA", 10, 0, TOP, 0.5),
            ("C9", "GND", 5, 0.1, TOP, 0.5),
            ("C8", "GND", 5, 3.0, TOP, 0.5),
            ("C7", "GND", 6, 0.0, BOTTOM, 0.5),
        ]
    )
    (wire,) = plan_wires(circuit, "SDA", lifted=["U1.1"]).wires
    assert wire.between == ("C9.1",)
    assert CLEARANCE_MM > 0


def test_a_net_without_another_point_is_said() -> None:
    with pytest.raises(NothingMatches, match="no pad of SDA"):
        plan_wires(placed([("U1", "SCL", 0, 0, TOP, 1.0)]), "SDA", lifted=["U1.1"])


def test_lifted_pads_are_no_points() -> None:
    circuit = placed([("U1", "SDA", 0, 0, TOP, 1.0), ("U2", "SDA", 1, 0, TOP, 1.0)])
    assert [p.name for p in points_of(circuit, "SDA")] == ["U1.1", "U2.1"]


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=2, max_size=5,
                unique=True))  # fmt: skip
def test_the_wires_are_the_shortest_that_join_all(places: list[tuple[int, int]]) -> None:
    circuit = placed(
        [(f"U{i}", "SDA", float(x), float(y), TOP, 1.0) for i, (x, y) in enumerate(places)]
    )
    lifted = [f"U{i}.1" for i in range(1, len(places))]
    plan = plan_wires(circuit, "SDA", lifted=lifted)

    def length(i: int, j: int) -> float:
        (ax, ay), (bx, by) = places[i], places[j]
        return float(((ax - bx) ** 2 + (ay - by) ** 2) ** 0.5)

    nodes = range(len(places))
    best = min(
        sum(length(i, j) for i, j in edges)
        for edges in itertools.combinations(itertools.combinations(nodes, 2), len(places) - 1)
        if _spans(len(places), edges)
    )
    assert sum(span.length_mm for span in plan.wires) == pytest.approx(best)


def _spans(count: int, edges: tuple[tuple[int, int], ...]) -> bool:
    seen = {0}
    for _ in range(count):
        for a, b in edges:
            if (a in seen) != (b in seen):
                seen |= {a, b}
    return len(seen) == count
