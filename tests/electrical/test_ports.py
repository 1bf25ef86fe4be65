"""A folded network answers as the whole one does, whatever is added to it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.electrical.network import Edge, Network, Resistor, fold

NODES = st.sampled_from("abcdefgh")
OHMS = st.sampled_from([0.0, 0.01, 1.0, 47.0, 2200.0, 10e3, 1e6])
EDGES = st.lists(st.builds(Edge, NODES, NODES, OHMS), max_size=14)


@given(EDGES, EDGES)
def test_folded_is_as_the_whole_network(base: list[Edge], added: list[Edge]) -> None:
    ports = ["a", "b", "c", "d"]
    extra = [edge for edge in added if edge.a in ports and edge.b in ports]
    whole = Network(tuple(Resistor("", *edge) for edge in (*base, *extra)))
    pairs = [(a, b) for a in ports for b in ports]
    for (a, b), ohms in zip(pairs, fold(base, ports).resistances(pairs, extra), strict=True):
        assert ohms == pytest.approx(whole.resistance(a, b), rel=1e-6, abs=1e-5)


def test_delta_of_three_equal_resistors() -> None:
    # worked by hand: a star of three 10 Ω is a delta of three 30 Ω
    star = [Edge("m", name, 10.0) for name in "abc"]
    folded = fold(star, ["a", "b", "c"])
    assert sorted(1 / siemens for _, _, siemens in folded.edges) == pytest.approx([30.0] * 3)
    assert folded.resistances([("a", "b")]) == pytest.approx([20.0])


def test_apart_is_infinite_and_new_nodes_may_come_with_an_edge() -> None:
    folded = fold([Edge("a", "m", 5.0)], ["a", "b"])
    assert folded.resistances([("a", "b")]) == [math.inf]
    added = [Edge("a", "end", 0.0), Edge("end", "b", 100.0)]
    assert folded.resistances([("a", "b"), ("a", "end")], added) == pytest.approx([100.0, 0.0])
