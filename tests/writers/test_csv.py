"""The parts list that is written reads back with its parts, texts, marks and places."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from hypothesis import given

from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.registry import read_file, read_text
from nettrace.values.part_value import read_part_value
from nettrace.writers.csv_tables import write
from tests.writers.made_boards import boards


def facts(board: Board) -> object:
    return {
        part.refdes: (
            part.value,
            part.package,
            part.description,
            part.fitted,
            part.x,
            part.y,
            part.angle,
            part.side,
            dict(part.properties),
        )
        for part in board.parts
    }


def says_so_itself(board: Board) -> bool:
    """Whether a text of a part says by itself that it is not fitted (and so comes back as that)."""
    return any("DNP" in (part.value or "") and part.fitted is None for part in board.parts)


@given(boards())
def test_what_is_written_reads_back_the_same(board: Board) -> None:
    text = write(board)
    if not board.parts or says_so_itself(board):
        return
    back = read_text(Document("back.csv", text))
    assert back.sources[0].format == "csv"
    assert facts(back) == facts(board)


def test_properties_follow_under_their_names_but_for_those_of_fields() -> None:
    builder = BoardBuilder("t", "made")
    for refdes, facts_of in (("R1", {"Maker": "Yageo", "Value": "x"}), ("R2", {"Lot, no": '"7"'})):
        builder.part(refdes).properties = facts_of
    rows = list(csv.reader(io.StringIO(write(builder.build()))))
    assert rows == [
        ["Reference", "Value", "Package", "Description", "DNP", "Maker", "Lot, no"],
        ["R1", "", "", "", "", "Yageo", ""],
        ["R2", "", "", "", "", "", '"7"'],
    ]


def test_a_real_list_has_the_rows_and_values_of_the_board(boards: Path) -> None:
    board = read_file(boards / "bbq20kbd" / "bbq20_keyboard.net")
    rows = list(csv.DictReader(io.StringIO(write(board))))
    assert len(rows) == len(board.parts)
    for row in rows:
        part = board.part_by_key[row["Reference"]]
        assert read_part_value(row["Value"]) == read_part_value(part.value or "")
