"""The list of writers: names, endings, and that each of them writes."""

from __future__ import annotations

import pytest

from nettrace.errors import WrongUsage
from nettrace.model.builder import BoardBuilder
from nettrace.writers.registry import WRITERS, format_for_path, write_board


@pytest.mark.parametrize("entry", WRITERS, ids=lambda entry: entry.name)
def test_every_writer_writes_a_small_board(entry: object) -> None:
    builder = BoardBuilder("t", "made")
    builder.part("R1").pin("1", "GND")
    name = getattr(entry, "name", "")
    if name == "ipc-d-356":
        pytest.skip("holds boards with places alone: see test_ipcd356")
    assert "R1" in write_board(builder.build(), name)


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
