"""Our own JSON: lossless, versioned, and exact about what is wrong with a damaged file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.errors import BadInput, NettraceError
from nettrace.readers.document import Document
from nettrace.readers.json_board import read
from nettrace.readers.registry import detect_format, read_file
from nettrace.writers.json_board import write


@pytest.fixture(scope="module")
def text(wren: Path) -> str:
    return write(read_file(wren / "wren.kicad_pcb"))


def test_writing_then_reading_gives_the_same_board(wren: Path, text: str) -> None:
    board = read_file(wren / "wren.kicad_pcb")
    again = read(Document("w.json", text))
    assert again == board
    assert again.net_by_name == board.net_by_name
    assert write(again) == text


def test_real_boards_survive_the_round_trip(boards: Path) -> None:
    for path in sorted(boards.glob("*/*.net")):
        if path.parent.name == "spice":
            continue
        board = read_file(path)
        assert read(Document("b.json", write(board))) == board, path.name


def test_it_is_recognised_by_its_envelope(text: str) -> None:
    entry = detect_format(text)
    assert entry is not None
    assert entry.name == "json"


def change(text: str, path: list[str | int], value: object) -> str:
    data = json.loads(text)
    at = data
    for step in path[:-1]:
        at = at[step]
    if value is None:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    return json.dumps(data)


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (["nettrace", "schema"], 2, "layout 2"),
        (["board", "name"], None, "missing required field `name`"),
        (["board", "parts", 3, "x"], "left", "$.board.parts[3].x"),
        (["board", "nets"], [], "not among the nets"),
        (["board", "parts", 1, "key"], "C1", "two parts have one key"),
    ],
)
def test_what_is_wrong_is_named(
    text: str, path: list[str | int], value: object, message: str
) -> None:
    with pytest.raises(BadInput) as caught:
        read(Document("w.json", change(text, path, value)))
    assert message in str(caught.value)


def test_a_cut_file_is_refused_with_its_place(text: str) -> None:
    with pytest.raises(BadInput, match=r"^error: w\.json:\d+:\d+: .*truncated"):
        read(Document("w.json", text[: len(text) // 2]))


@given(st.integers(0, 40_000), st.sampled_from(["", "}", '"', "x", "[", "\\"]))
def test_damage_never_gives_a_foreign_error(text: str, at: int, bite: str) -> None:
    damaged = text[:at] + bite + text[at + 1 :]
    try:
        read(Document("w.json", damaged))
    except NettraceError as error:
        assert str(error).startswith("error: w.json")
