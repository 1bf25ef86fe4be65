"""Typed sheets that are written: read back they are the same circuit, and short to read."""

from __future__ import annotations

import pytest
from hypothesis import given

from nettrace.model.board import Board, Side
from nettrace.model.builder import BoardBuilder
from nettrace.model.fitted import is_fitted
from nettrace.readers.document import Document
from nettrace.readers.sheet import read
from nettrace.writers.registry import left_out
from nettrace.writers.sheet import write
from tests.writers.made_boards import boards


def read_back(board: Board) -> Board:
    return read(Document("back.sheet", write(board)))


@given(boards())
def test_what_is_written_reads_back_as_the_same_circuit(board: Board) -> None:
    back = read_back(board)
    assert [part.key for part in back.parts] == [part.key for part in board.parts]
    for mine, theirs in zip(back.parts, board.parts, strict=True):
        assert [(p.number, bool(p.net)) for p in mine.pins] == [
            (p.number, bool(p.net)) for p in theirs.pins
        ]
        assert (mine.x, mine.y, mine.angle or 0) == (theirs.x, theirs.y, theirs.angle or 0)
        assert mine.side == theirs.side
        # a sheet cannot say that a part is there although its value says it is not
        by_text = is_fitted(theirs.value, theirs.description, theirs.properties)
        assert (mine.fitted is False) == (theirs.fitted is False or by_text is False)
        assert bool(mine.value) == bool(theirs.value)
    assert {frozenset(map(str, net.pins)) for net in back.nets if net.pins} == {
        frozenset(map(str, net.pins)) for net in board.nets if net.pins
    }


@given(boards())
def test_writing_what_was_read_changes_nothing_more(board: Board) -> None:
    once = write(read_back(board))
    assert write(read(Document("back.sheet", once))) == once


def test_a_sheet_reads_like_one_that_was_typed() -> None:
    builder = BoardBuilder("t", "made")
    builder.name = "Wren"
    part = builder.part("R12")
    part.value, part.package = "2k2 1%", "Resistor:R_0201"
    part.x, part.y, part.side, part.angle = 15.8, 5.25, Side.TOP, 90.0
    part.pin("1", "+1V8")
    part.pin("2", "GAUGE SDA")
    builder.net("+1V8", volts=1.8)
    builder.net("GAUGE SDA", aliases=["SDA1"])
    assert write(builder.build()).splitlines() == [
        "sheet Wren",
        "rail +1V8 1.8",
        'net "GAUGE SDA" also SDA1',
        'R12 2k2 1% R_0201 at 15.8,5.25 top 90: +1V8 "GAUGE SDA"',
    ]


def test_a_net_called_nc_is_a_net() -> None:
    builder = BoardBuilder("t", "made")
    part = builder.part("U1")
    for number, net in (("1", "NC"), ("2", "n/c"), ("3", None)):
        part.pin(number, net)
    pins = read_back(builder.build()).part_by_key["U1"].pins
    assert [pin.net for pin in pins] == ["NC", "n/c", None]


@pytest.mark.parametrize("blank", ["", " ", "\t", "\u00a0"])
def test_a_part_without_a_name_is_left_out_and_told(blank: str) -> None:
    builder = BoardBuilder("t", "made")
    builder.part("R1").pin("1", "A")
    builder.part(blank).pin("1", "A")
    board = builder.build()
    assert [part.refdes for part in read_back(board).parts] == ["R1"]
    assert any("without a reference" in words for words in left_out(board, "sheet"))
