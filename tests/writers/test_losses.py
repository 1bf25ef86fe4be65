"""What a writer says it keeps is found again in what it wrote, and nothing else is."""

from __future__ import annotations

import io

import pytest

from nettrace.errors import Place
from nettrace.model.board import Board, Conflict, Side, Statement, Via, Zone
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text
from nettrace.writers.registry import (
    ALL_FACTS,
    WRITERS,
    WriterFormat,
    left_out,
    losses,
    write_board,
)


@pytest.fixture
def rich() -> Board:
    """A board that has something of every fact; no part is without a reference."""
    builder = BoardBuilder("made", "kicad_pcb")
    builder.name = "Wren"
    for column, (refdes, value) in enumerate((("R1", "2k2"), ("U2", "FG1S"), ("D4", "ESD5"))):
        part = builder.part(refdes)
        part.value, part.description, part.fitted = value, "a part", refdes != "D4"
        part.package = "0402" if refdes == "R1" else "QFN-16"
        part.properties["MPN"] = "X-1"
        part.x, part.y, part.angle, part.side = 1.0 + column, 2.0, 90.0, Side.TOP
        for number, net in (("1", "+1V8"), ("2", "GND")):
            part.pin(number, net, name=f"P{number}", electrical_type="input")
            part.pad(number, net, column + 0.5, 2.0, Side.TOP, shape="rect", width=0.5, height=0.5)
    builder.parts[1].pin("3", None, name="NC", electrical_type="no_connect")
    builder.part("H1").value = "M2"
    builder.net("+1V8", aliases=["VDD"], volts=1.8)
    builder.net("GND", volts=0.0)
    builder.vias.append(Via(1.0, 1.0, "GND", 0.4, 0.2))
    builder.zones.append(Zone("GND", "F.Cu", (0.0, 0.0, 1.0, 1.0)))
    builder.outline.append(((0.0, 0.0), (1.0, 0.0)))
    said = (Statement("2k2", Place("a", 1, 1)), Statement("4k7", Place("b", 1, 1)))
    builder.conflicts.append(Conflict("value-differs", "R1", said, "2k2"))
    return builder.build()


def found_again(board: Board) -> set[str]:
    """Return the facts that the board has: those missed by a format that keeps nothing else."""
    return {fact for fact in ALL_FACTS if losses(board, ALL_FACTS - {fact})}


def test_the_board_has_every_fact_but_one(rich: Board) -> None:
    assert found_again(rich) == ALL_FACTS - {"nameless parts"}


@pytest.mark.parametrize(
    "entry", [one for one in WRITERS if one.name != "graphml"], ids=lambda one: one.name
)
def test_what_is_said_to_be_kept_is_read_back(entry: WriterFormat, rich: Board) -> None:
    back = read_text(Document("back", write_board(rich, entry.name)))
    kept = entry.keeps - {"nameless parts"}
    again = found_again(back)
    assert kept <= again
    # what a reader makes of the rest: places of parts from pads, a deck's or cell's own names
    made = {"ipc-d-356": {"places"}, "spice": {"properties", "aliases"}}
    assert again - kept <= made.get(entry.name, set())


def test_graphml_keeps_what_it_says(rich: Board) -> None:
    import networkx as nx

    graph = nx.read_graphml(io.BytesIO(write_board(rich, "graphml").encode()))
    part = graph.nodes["part:U2"]
    assert {"value", "package", "description", "fitted", "x", "y"} <= set(part)
    assert {"aliases", "volts"} <= set(graph.nodes["net:+1V8"])
    said = graph.get_edge_data("part:U2", "net:+1V8")
    assert (said["pin"], said["function"], said["type"]) == ("1", "P1", "input")
    assert "part:H1" in graph


def test_losses_are_counted_in_words(rich: Board) -> None:
    said = left_out(rich, "csv")
    assert said[:2] == ("2 nets", "1 pin on no net")
    assert "6 pads' places" in said
    assert left_out(rich, "json") == ()
