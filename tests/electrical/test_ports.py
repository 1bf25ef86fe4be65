"""A folded network answers as the whole one does, whatever is added to it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.network import Network, Resistor, fold

NODES = st.sampled_from("abcdefgh")
OHMS = st.sampled_from([0.0, 0.01, 1.0, 47.0, 2200.0, 10e3, 1e6])
RESISTORS = st.lists(st.builds(Resistor, st.just("R"), NODES, NODES, OHMS), max_size=14)


@given(RESISTORS, RESISTORS)
def test_folded_is_as_the_whole_network(base: list[Resistor], added: list[Resistor]) -> None:
    ports = ["a", "b", "c", "d"]
    extra = [resistor for resistor in added if resistor.a in ports and resistor.b in ports]
    whole = Network((*base, *extra))
    folded = Network((*fold(base, ports).resistors, *extra))
    for a in ports:
        for b in ports:
            expected = pytest.approx(whole.resistance(a, b), rel=1e-6, abs=1e-5)
            assert folded.resistance(a, b) == expected


def test_delta_of_three_equal_resistors() -> None:
    # worked by hand: a star of three 10 Ω is a delta of three 30 Ω
    folded = fold([Resistor("R", "m", name, 10.0) for name in "abc"], ["a", "b", "c"])
    assert [resistor.ohms for resistor in folded.resistors] == pytest.approx([30.0] * 3)
    assert folded.resistance("a", "b") == pytest.approx(20.0)


def test_apart_is_infinite_and_new_nodes_may_come_with_a_resistor() -> None:
    folded = fold([Resistor("R1", "a", "m", 5.0)], ["a", "b"])
    assert folded.resistance("a", "b") == math.inf
    added = (Resistor("", "a", "end", 0.0), Resistor("R2", "end", "b", 100.0))
    more = Network((*folded.resistors, *added))
    assert more.resistance("a", "b") == pytest.approx(100.0)
    assert more.resistance("a", "end") == 0
