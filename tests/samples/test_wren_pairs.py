"""Wren in every format is one board to `compare`; on the bench its sources disagree where said."""

from __future__ import annotations

import shutil
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from nettrace.bench.compare import Comparison, compare_boards
from nettrace.loading import load_board
from nettrace.model.board import Board
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text
from tests.samples.conftest import SAMPLES

FORMATS = {
    "wren/wren.kicad_pcb": "kicad_pcb",
    "wren/wren.net": "kicad_net",
    "wren/wren.d356": "ipc-d-356",
    "formats/wren-2581.xml": "ipc-2581",
    "formats/wren.edf": "edif",
    "formats/wren.cir": "spice",
    "formats/wren.sheet": "sheet",
    "formats/wren.json": "json",
}
BENCH = ("wren/wren.d356", "wren/wren-bom.csv", "bench/battery-corner.sheet")


@cache
def read(name: str) -> Board:
    return load_board(SAMPLES / name)


@pytest.mark.parametrize(
    ("one", "other"), list(combinations(FORMATS, 2)), ids=lambda name: Path(name).suffix
)
def test_each_pair_of_formats_ties_the_same_pins(
    one: str, other: str, groups: frozenset[frozenset[tuple[str, str]]]
) -> None:
    found = compare_boards(read(one), read(other))
    assert found == Comparison((), (), (), ())
    pins = sum(1 for net in read(one).nets for _ in net.pins if len(net.pins) > 1)
    assert pins == sum(len(group) for group in groups if len(group) > 1)


@pytest.mark.parametrize("name", FORMATS, ids=FORMATS.values())
def test_one_pin_moved_shows_against_every_format(name: str) -> None:
    """The proof above can fail."""
    text = (SAMPLES / "formats" / "wren.sheet").read_text(encoding="utf-8")
    moved = text.replace("2(NTC)=BAT_NTC", "2(NTC)=TS")
    assert moved != text
    found = compare_boards(read(name), read_text(Document("moved.sheet", moved)))
    assert [item.net for item in found.opens] == ["BAT_NTC"]
    assert [item.nets for item in found.shorts] == [("BAT_NTC", "TS")]


@pytest.mark.parametrize(("name", "kind"), FORMATS.items(), ids=FORMATS.values())
def test_each_file_is_of_its_format(name: str, kind: str) -> None:
    if kind != "json":  # which carries on the sources it was made of
        assert [source.format for source in read(name).sources] == [kind]


@pytest.mark.parametrize("as_manifest", [True, False], ids=["board.toml", "plain folder"])
def test_the_bench_is_one_board_with_its_conflicts(as_manifest: bool, tmp_path: Path) -> None:
    folder = SAMPLES / "bench"
    if not as_manifest:
        folder = tmp_path
        for name in BENCH:
            shutil.copy(SAMPLES / name, folder)
    board = load_board(folder)
    assert len(board.sources) == 3
    assert {part.refdes for part in board.parts} >= {"R12", "J3", "U5", "C7"}
    assert len({part.refdes for part in board.parts}) == len(board.parts)
    assert board.part_by_key["R12"].value in {"2.2k", "2k2 1%"}
    assert board.part_by_key["R12"].x is not None  # from the IPC-D-356 file
    assert "THERM" in board.net_by_name["BAT_NTC"].aliases
    found = {
        item.subject: {
            said.what: f"{Path(said.place.path).name}:{said.place.line}" for said in item.statements
        }
        for item in board.conflicts
    }
    assert found == {
        "R14": {"10k": "wren-bom.csv:48", "100k 1%": "battery-corner.sheet:10"},
        "C7.1": {"on VBAT": "wren.d356:22", "on VSYS": "battery-corner.sheet:13"},
    }


def test_every_source_of_wren_together_is_in_agreement() -> None:
    """Ten files of one board: no conflict between any of them."""
    board = load_board(SAMPLES / "wren", [SAMPLES / "formats"])
    assert len(board.sources) == 10
    assert board.conflicts == ()
    assert len(board.parts) == 139
