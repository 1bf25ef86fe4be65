"""The s-expression netlist that is written reads back with everything it can carry."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given

from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.registry import read_file, read_text
from nettrace.writers.kicad_net import write
from tests.writers.made_boards import boards


def read_back(board: Board) -> Board:
    back = read_text(Document("back.net", write(board)))
    assert back.sources[0].format == "kicad_net"
    return back


def facts(board: Board) -> object:
    """What the format carries: parts with their texts, connected pins, nets."""
    return (
        {
            part.key: (
                part.value,
                part.package,
                part.description,
                part.fitted is False,
                dict(part.properties),
                {
                    (pin.number, pin.net, pin.name, pin.electrical_type)
                    for pin in part.pins
                    if pin.net
                },
            )
            for part in board.parts
        },
        {net.name: [str(pin) for pin in net.pins] for net in board.nets if net.pins},
    )


@given(boards())
def test_what_is_written_reads_back_the_same(board: Board) -> None:
    back = read_back(board)
    assert facts(back) == facts(board)
    assert back.warnings == ()


def test_properties_sheets_and_marks_come_back() -> None:
    builder = BoardBuilder("t", "made")
    builder.name = 'Wren "B"'
    part = builder.part("R1")
    part.sheet, part.fitted = "/Power/", False
    part.properties = {"Maker": 'a "b" \\ c\nd', "dnp": "x", "manf#": "1"}
    part.pin("1", "GND")
    back = read_back(builder.build())
    mine = back.part_by_key["R1"]
    assert back.name == 'Wren "B"'
    assert (mine.sheet, mine.fitted) == ("/Power/", False)
    assert mine.properties == {"Maker": 'a "b" \\ c\nd', "manf#": "1"}


def test_repeated_references_stay_apart() -> None:
    builder = BoardBuilder("t", "made")
    for net in ("A", "B"):
        builder.part("REF**").pin("1", net)
    back = read_back(builder.build())
    assert [(part.key, part.nets) for part in back.parts] == [
        ("REF**", ("A",)),
        ("REF**~2", ("B",)),
    ]


def test_real_netlists_come_back(boards: Path) -> None:
    for name in (
        "zswatch-devkit/ZSWatch-Watch-DevKit-netlist.net",
        "teres-keyboard/TERES-PCB5-KEYBOARD_Rev.A.net",
    ):
        board = read_file(boards / name)
        assert facts(read_back(board)) == facts(board)
