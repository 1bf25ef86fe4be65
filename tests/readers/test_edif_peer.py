"""EDIF against spydrnet, an outside reader, on its own examples and on the shared boards."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import pytest

from nettrace.readers.document import Document
from nettrace.readers.edif import read_with
from tests.readers.edif_peer import example_texts, load_spydrnet, peer_reads


@pytest.mark.parametrize("hierarchy", ["flatten", "keep"])
def test_same_instances_nets_and_connections(
    boards: Path, tmp_path: Path, hierarchy: Literal["flatten", "keep"]
) -> None:
    """Source of the check: spydrnet, its own EDIF parser."""
    load_spydrnet()
    checked = 0
    for name, text in example_texts(boards):
        path = tmp_path / "example.edf"
        path.write_text(text)
        instances, groups = peer_reads(path, flat=hierarchy == "flatten")
        board = read_with(Document(name, text), hierarchy)
        assert {part.refdes for part in board.parts} == instances, name
        assert {
            frozenset((board.part_by_key[pin.part].refdes, pin.number) for pin in net.pins)
            for net in board.nets
            if net.pins
        } == groups, name
        checked += 1
    assert checked >= 7  # the shared ones alone
