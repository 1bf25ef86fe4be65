"""A rail's capacitors and neighbours, looked up once, against looking at every pin each time."""

from __future__ import annotations

from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.circuit.circuit import Circuit
from nettrace.circuit.links import NEAR_MM
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder
from tests.circuit_language import circuit


def test_capacitors_to_ground_count_and_their_farads_add_up() -> None:
    found = circuit("""
        U1 VDD GND
        C1 VDD GND 100n
        C2 VDD GND 10u
        C3 VDD SIG 1u
        C4 GND VDD
    """).bank("VDD")
    assert dict(found.farads) == pytest.approx({"C1": 1e-7, "C2": 1e-5, "C4": 0.0})
    assert found.whole_farads == pytest.approx(1.01e-5)


@given(
    st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20)), min_size=1, max_size=12),
    st.tuples(st.floats(-25, 25), st.floats(-25, 25)),
)
def test_the_nearest_part_is_that_of_a_look_at_every_pad(
    places: list[tuple[float, float]], at: tuple[float, float]
) -> None:
    builder = BoardBuilder("made", "test")
    for index, (x, y) in enumerate(places, 1):
        part = builder.part(f"U{index}")
        part.pin("1", "VDD", name="VDD")
        part.pad("1", "VDD", x, y, Side.TOP)
    board = builder.build()
    away = [
        (hypot(pad.x - at[0], pad.y - at[1]), pin.part)
        for pin in board.net_by_name["VDD"].pins
        for pad in pin.pads
    ]
    best = min(away, key=lambda pair: pair[0])
    expected = best[1] if best[0] <= NEAR_MM else None
    assert Circuit(board).bank("VDD").nearest(*at) == expected
