"""GraphML that is written is read by networkx and by a plain XML parser as the same board."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import networkx as nx
from hypothesis import given

from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.readers.registry import read_file
from nettrace.writers.graphml import write
from tests.writers.made_boards import PLAIN_NAMES, boards

GRAPHML = "{http://graphml.graphdrawing.org/xmlns}"


@given(boards(PLAIN_NAMES))
def test_networkx_reads_back_every_part_net_and_pin(board: Board) -> None:
    graph = nx.parse_graphml(write(board), force_multigraph=True)
    parts = {data["refdes"] for _, data in graph.nodes(data=True) if data["class"] == "part"}
    nets = {data["name"] for _, data in graph.nodes(data=True) if data["class"] == "net"}
    assert parts == {part.refdes for part in board.parts}
    assert nets == {net.name for net in board.nets}
    edges = sorted(
        (*sorted((one, other)), data["pin"]) for one, other, data in graph.edges(data=True)
    )
    assert edges == sorted(
        (f"net:{pin.net}", f"part:{pin.part}", pin.number) for net in board.nets for pin in net.pins
    )


def test_facts_are_attributes_and_what_xml_cannot_hold_is_replaced() -> None:
    builder = BoardBuilder("t", "made")
    part = builder.part("V1")
    part.value, part.fitted, part.x, part.y = "5 < 6 & \x01", True, 1.5, -2.0
    part.pin("1", "+5V", name="+")
    builder.net("+5V", volts=5.0, aliases=["VBUS"])
    graph = nx.parse_graphml(write(builder.build()))
    assert graph.nodes["part:V1"] == {
        "class": "part",
        "refdes": "V1",
        "value": "5 < 6 & �",
        "fitted": True,
        "x": 1.5,
        "y": -2.0,
    }
    assert graph.nodes["net:+5V"] == {
        "class": "net",
        "name": "+5V",
        "aliases": "VBUS",
        "volts": 5.0,
    }


def test_a_real_board_has_an_edge_for_every_pin(boards: Path) -> None:
    board = read_file(boards / "sensor-watch-b1" / "OSO-SWAT-B1.net")
    root = ET.fromstring(write(board))  # noqa: S314 - our own text
    edges = root.findall(f".//{GRAPHML}edge")
    assert len(edges) == sum(len(net.pins) for net in board.nets) == 166
