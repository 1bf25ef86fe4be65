"""EDIF written and read back; what is written is also read by spydrnet."""

from __future__ import annotations

import string
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.model.board import Board
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.edif import read
from nettrace.writers.edif import write
from tests.readers.edif_peer import peer_reads

CASES = Path(__file__).parents[1] / "readers" / "cases" / "edif"

WORDS = st.text(
    st.characters(codec="utf-8", exclude_characters="{~?", exclude_categories=["Cs"]), max_size=8
)
NAMES = WORDS.filter(lambda word: word.strip() == word and word != "")
VALUES = NAMES.filter(lambda word: "n" not in word.lower() and "d" not in word.lower())
NUMBERS = st.text(string.ascii_letters + string.digits + "+-_[]: $&", min_size=1, max_size=4)
KINDS = st.sampled_from([None, "input", "output", "inout", "passive", "power_in", "open collector"])


@st.composite
def boards(draw: st.DrawFn) -> Board:
    builder = BoardBuilder("made", "made")
    builder.name = draw(NAMES)
    nets = draw(st.lists(NAMES, min_size=1, max_size=4, unique=True))
    for refdes in draw(st.lists(NAMES | st.just(""), max_size=6)):
        part = builder.part(refdes)
        part.value = draw(st.none() | VALUES)
        part.package = draw(st.none() | NAMES)
        part.description = draw(st.none() | NAMES)
        if part.value is None:
            part.fitted = draw(st.none() | st.booleans())
        part.properties = draw(st.dictionaries(st.sampled_from(["MPN", "a b", "x_32_y"]), WORDS))
        for number in draw(st.lists(NUMBERS, max_size=4, unique=True)):
            net = draw(st.none() | st.sampled_from(nets))
            part.pin(number, net, name=draw(st.none() | NAMES), electrical_type=draw(KINDS))
    for net in nets:
        builder.net(net, aliases=draw(st.lists(NAMES, max_size=2)))
    return builder.build()


def carried(board: Board) -> object:
    """What EDIF can carry of a board."""
    left_out = {"cell", "Value", "Package", "Description", "Fitted", "Designator"}
    parts = sorted(
        (
            part.refdes,
            part.value or "",
            part.package or "",
            part.description or "",
            str(part.fitted),
            sorted((k, v) for k, v in part.properties.items() if k not in left_out),
            [(pin.number, pin.name or "", pin.electrical_type or "", pin.net or "")
             for pin in part.pins],
        )
        for part in board.parts
    )  # fmt: skip
    nets = [(net.name, net.aliases, len(net.pins)) for net in board.nets]
    return board.name, parts, nets


def again(board: Board) -> Board:
    return read(Document("written.edf", write(board)))


@given(boards())
def test_what_is_written_is_read_back(board: Board) -> None:
    assert carried(again(board)) == carried(board)


@given(boards())
def test_writing_what_was_read_changes_nothing_more(board: Board) -> None:
    once = again(board)
    assert write(again(once)) == write(once)


@given(boards())
def test_only_ascii_is_written(board: Board) -> None:
    assert write(board).isascii()


@pytest.mark.parametrize("path", sorted(CASES.glob("*.edf")), ids=lambda path: path.stem)
def test_cases_survive_writing(path: Path) -> None:
    board = read(Document(path.name, path.read_bytes().decode()))
    assert carried(again(board)) == carried(board)


def test_real_netlists_survive_writing(boards: Path) -> None:
    for path in sorted((boards / "edif-netlists").glob("*.edf")):
        board = read(Document(path.name, path.read_text()))
        assert carried(again(board)) == carried(board), path.name


def test_spydrnet_reads_the_same_instances_nets_and_connections(
    boards: Path, tmp_path: Path
) -> None:
    """Source of the check: spydrnet, its own EDIF parser."""
    paths = [CASES / "board_netlist.edf", *sorted((boards / "edif-netlists").glob("*.edf"))]
    for path in paths:
        board = read(Document(path.name, path.read_bytes().decode()))
        written = tmp_path / "written.edf"
        written.write_text(write(board))
        instances, groups = peer_reads(written, flat=False)
        assert instances == {part.refdes for part in board.parts}, path.name
        assert groups == {
            frozenset((pin.part, pin.number) for pin in net.pins) for net in board.nets if net.pins
        }, path.name
