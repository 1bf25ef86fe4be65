"""The list of writers: names, endings, and that each of them writes."""

from __future__ import annotations

import pytest

from nettrace.errors import WrongUsage
from nettrace.model.board import Side
from nettrace.model.builder import BoardBuilder
from nettrace.writers.registry import WRITERS, WriterFormat, format_for_path, write_board


@pytest.mark.parametrize("entry", WRITERS, ids=lambda entry: entry.name)
def test_every_writer_writes_a_small_board(entry: WriterFormat) -> None:
    builder = BoardBuilder("t", "made")
    part = builder.part("R1")
    part.pin("1", "GND")
    part.pad("1", "GND", 1.0, 2.0, Side.TOP, shape="rect", width=0.5, height=0.5)
    assert "R1" in write_board(builder.build(), entry.name)


def test_endings_mean_formats_and_none_means_two() -> None:
    endings = [ending for entry in WRITERS for ending in entry.endings]
    assert len(endings) == len(set(endings))
    assert format_for_path("a/b.NET") == "kicad_net"
    assert format_for_path("wren.json") == "json"


def test_unknown_names_and_endings_are_wrong_usage() -> None:
    with pytest.raises(
        WrongUsage, match=r"no format named 'spize' to write\. Did you mean spice\?"
    ):
        write_board(BoardBuilder("t", "made").build(), "spize")
    with pytest.raises(WrongUsage, match=r"the ending '\.xyz' means no format"):
        format_for_path("a.xyz")
    with pytest.raises(WrongUsage, match="no format is named"):
        format_for_path("wren")
