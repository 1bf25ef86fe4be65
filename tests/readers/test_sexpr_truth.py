"""Every real s-expression file against its independent truth (boards/README.md says its means)."""

from __future__ import annotations

from pathlib import Path

import pytest

from nettrace.readers.registry import read_file
from tests.readers.truth_check import differences, truth_entries


@pytest.mark.parametrize(("format_name", "least"), [("kicad_pcb", 8), ("kicad_net", 6)])
def test_counts_and_spot_facts_are_those_of_the_truth(
    boards: Path, format_name: str, least: int
) -> None:
    entries = truth_entries(boards, format_name)
    assert len(entries) >= least
    wrong: dict[str, list[str]] = {}
    for entry in entries:
        board = read_file(boards / entry["file"], shown=entry["file"])
        assert board.sources[0].format == format_name
        assert board.warnings == ()
        if found := differences(board, entry):
            wrong[entry["file"]] = found
    assert wrong == {}
