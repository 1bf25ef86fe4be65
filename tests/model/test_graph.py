"""The networkx graph of a board says what the board says."""

from __future__ import annotations

from pathlib import Path

import networkx as nx
import pytest

import nettrace
from nettrace.model.board import Net, Part
from nettrace.model.graph import BoardGraph
from tests.circuit_language import board as board_of

BUS = board_of("""
    U1 SDA SCL VDD GND
    R1 SDA VDD 2k2
    R2 SCL VDD 2k2
    C1 VDD GND 100n
    TP1 SDA
""")


def test_the_graph_holds_every_pin_of_the_board_and_nothing_else(wren: Path) -> None:
    circuit = nettrace.load(wren)
    whole = nettrace.graph(circuit)
    found = {
        (pin.part, pin.number, pin.net)
        for one, other in whole.graph.edges
        for pin in whole.pins(one, other)
    }
    assert found == {
        (pin.part, pin.number, net.name) for net in circuit.board.nets for pin in net.pins
    }
    parts = {node for node in whole.graph if not whole.is_net(node)}
    assert nx.bipartite.is_bipartite_node_set(whole.graph, parts)
    assert len(whole.graph) == len(circuit.board.parts) + len(circuit.board.nets)


def test_nodes_lead_to_records_and_back() -> None:
    whole = BoardGraph(BUS)
    for node in whole.graph:
        item = whole.item(node)
        name = item.name if isinstance(item, Net) else item.key
        assert whole.node(name) == node
        assert whole.is_net(node) is not isinstance(item, Part)
    with pytest.raises(nettrace.NothingMatches, match="SDX"):
        whole.node("SDX")


def test_a_neighbourhood_stops_at_nets_that_tie_all_to_all() -> None:
    whole = BoardGraph(BUS)

    def names(start: str, steps: int, most: int) -> set[str]:
        items = map(whole.item, whole.around(whole.node(start), steps, most))
        return {item.name if isinstance(item, Net) else item.key for item in items}

    assert names("TP1", 2, 50) == {"TP1", "SDA", "U1", "R1"}
    assert names("C1", 2, 3) == {"C1", "VDD", "GND", "U1"}  # VDD has four pins
    assert names("VDD", 1, 1) == {"VDD", "U1", "R1", "R2", "C1"}
    assert names("TP1", 0, 50) == {"TP1"}


def test_a_neighbourhood_is_what_networkx_finds_within_that_distance() -> None:
    whole = BoardGraph(BUS)
    for node in whole.graph:
        for steps in range(4):
            near = nx.single_source_shortest_path_length(whole.graph, node, cutoff=steps)
            view = whole.around(node, steps, 1000)
            assert set(view) == set(near)
            assert set(map(frozenset, view.edges)) == set(
                map(frozenset, whole.graph.subgraph(near).edges)
            )


def test_the_graph_cannot_be_changed() -> None:
    with pytest.raises(nx.NetworkXError, match=r"[Ff]rozen"):
        BoardGraph(BUS).graph.add_node(99)
