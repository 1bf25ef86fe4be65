"""BOARD as a user names it: a file, a folder, a manifest; and what the user says about it."""

from __future__ import annotations

from pathlib import Path

import pytest

from nettrace.errors import BadInput, WrongUsage
from nettrace.loading import load, load_board
from tests.cli.conftest import SMALL


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with two sources of one board and two files that are none."""
    (tmp_path / "one.net").write_text(SMALL, encoding="utf-8")
    (tmp_path / "two.net").write_text(SMALL.replace("2k2", "4k7"), encoding="utf-8")
    (tmp_path / "README.md").write_text("# A board\n\nR1 is small, U1 is not.\n", encoding="utf-8")
    (tmp_path / "photo.png").write_bytes(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR")
    return tmp_path


def test_a_folder_is_every_source_in_it_merged(folder: Path) -> None:
    board = load_board(folder)
    assert [Path(source.path).name for source in board.sources] == ["one.net", "two.net"]
    assert [item.subject for item in board.conflicts] == ["R1"]


def test_a_manifest_names_sources_and_notes_and_their_order_counts(folder: Path) -> None:
    (folder / "board.toml").write_text(
        'name = "mine"\nsources = ["two.net", "one.net"]\n[rails]\n"+3V3" = 3.0\n',
        encoding="utf-8",
    )
    for path in (folder, folder / "board.toml"):
        circuit = load(path)
        assert circuit.board.name == "mine"
        assert circuit.board.part_by_key["R1"].value == "4k7"
        assert circuit.notes.rails["+3V3"].volts == 3.0


def test_an_options_voltage_beats_the_manifests(folder: Path) -> None:
    (folder / "board.toml").write_text(
        'sources = ["one.net"]\n[rails]\n"+3V3" = 3.0\nGND = 0\n', encoding="utf-8"
    )
    notes = load(folder, rails={"+3V3": 3.3}).notes
    assert {name: note.volts for name, note in notes.rails.items()} == {"+3V3": 3.3, "GND": 0.0}


def test_a_manifest_without_sources_is_no_board(tmp_path: Path) -> None:
    path = tmp_path / "board.toml"
    path.write_text('name = "mine"\n', encoding="utf-8")
    with pytest.raises(BadInput, match=r"board\.toml"):
        load_board(path)


def test_a_board_without_a_name_takes_its_files(folder: Path) -> None:
    assert load_board(folder / "one.net").name in {"one", "small"}


def test_a_format_by_name_is_not_second_guessed(folder: Path) -> None:
    with pytest.raises(BadInput):
        load_board(folder / "one.net", format_name="kicad_pcb")
    with pytest.raises(WrongUsage, match="no format named 'nonsense'"):
        load_board(folder / "one.net", format_name="nonsense")


def test_merging_a_source_with_itself_adds_nothing(folder: Path) -> None:
    once, twice = (
        load_board(folder / "one.net"),
        load_board(folder / "one.net", [folder / "one.net"]),
    )
    assert twice.conflicts == ()
    assert [part.key for part in twice.parts] == [part.key for part in once.parts]
    assert [(net.name, len(net.pins)) for net in twice.nets] == [
        (net.name, len(net.pins)) for net in once.nets
    ]


def test_a_note_stands_against_a_file_and_both_are_shown(folder: Path) -> None:
    (folder / "board.toml").write_text(
        'sources = ["one.net"]\nfitted = ["R1"]\nnot_fitted = ["R77"]\n\n[values]\nR1 = "22k"\n',
        encoding="utf-8",
    )
    board = load(folder).board
    (conflict,) = board.conflicts
    assert conflict.code == "value-differs"
    assert conflict.kept == "22k"
    said = [(one.what, Path(one.place.path).name, one.place.line) for one in conflict.statements]
    assert said[0] == ("22k", "board.toml", 6)
    assert said[1][:2] == ("2k2", "one.net")
    (warning,) = [w for w in board.warnings if w.code == "note-matches-nothing"]
    assert warning.message == "not_fitted: the board has no part R77"
    assert warning.place is not None
    assert warning.place.line == 3


def test_a_note_that_means_what_the_file_says_is_no_conflict(folder: Path) -> None:
    (folder / "board.toml").write_text(
        'sources = ["one.net"]\n[values]\nR1 = "2.2k"\n[rails]\n"+3V3" = 3.3\nNONE = 1.0\n',
        encoding="utf-8",
    )
    board = load(folder).board
    assert board.conflicts == ()
    assert [w.message for w in board.warnings] == ["rails: the board has no net NONE"]


def test_a_fact_of_a_file_that_a_note_denies_is_shown(tmp_path: Path) -> None:
    (tmp_path / "a.sheet").write_text(
        "sheet\nrail VBAT 3.7\nR1 1k not fitted: VBAT GND\n", encoding="utf-8"
    )
    (tmp_path / "board.toml").write_text(
        'sources = ["a.sheet"]\nfitted = ["R1"]\n[rails]\nVBAT = 4.2\n', encoding="utf-8"
    )
    found = {item.subject: (item.code, item.kept) for item in load(tmp_path).board.conflicts}
    assert found == {"R1": ("fitted-differs", "fitted"), "VBAT": ("volts-differ", "4.2 V")}


DECK = "* main\n.include parts.cir\nR1 a b 1k\nX1 a b half\n.end\n"
LIBRARY = "* parts\n.subckt half p q\nR9 p q 2k\n.ends\nR7 a 0 3k\n.end\n"


def test_what_a_deck_includes_is_no_source_of_its_own(tmp_path: Path) -> None:
    # named so that the folder's order would have the included file first
    (tmp_path / "parts.cir").write_text(LIBRARY, encoding="utf-8")
    (tmp_path / "zmain.cir").write_text(DECK, encoding="utf-8")
    board = load_board(tmp_path)
    assert [Path(source.path).name for source in board.sources] == ["zmain.cir"]
    assert {part.refdes for part in board.parts} == {"R1", "R7", "X1"}
    assert not board.conflicts


def test_includes_of_includes_are_no_sources_either(tmp_path: Path) -> None:
    (tmp_path / "a.cir").write_text('* a\n.inc "b.cir"\nR1 a b 1k\n.end\n', encoding="utf-8")
    (tmp_path / "b.cir").write_text("* b\n.lib 'c.cir'\nR2 a b 1k\n.end\n", encoding="utf-8")
    (tmp_path / "c.cir").write_text("* c\nR3 a b 1k\n.end\n", encoding="utf-8")
    (tmp_path / "d.cir").write_text("* another deck\nR4 a b 1k\n.end\n", encoding="utf-8")
    board = load_board(tmp_path)
    assert [Path(source.path).name for source in board.sources] == ["a.cir", "d.cir"]


def test_of_decks_that_include_each_other_one_stays(tmp_path: Path) -> None:
    (tmp_path / "a.cir").write_text("* a\n.include b.cir\nR1 a b 1k\n.end\n", encoding="utf-8")
    (tmp_path / "b.cir").write_text("* b\n.include a.cir\nR2 a b 1k\n.end\n", encoding="utf-8")
    assert [Path(source.path).name for source in load_board(tmp_path).sources] == ["a.cir"]


def test_an_include_in_a_remark_takes_nothing_away(tmp_path: Path) -> None:
    (tmp_path / "a.cir").write_text("* a\n* .include b.cir\nR1 a b 1k\n.end\n", encoding="utf-8")
    (tmp_path / "b.cir").write_text("* b\nR2 a b 1k\n.end\n", encoding="utf-8")
    assert len(load_board(tmp_path).sources) == 2


def test_a_manifest_lists_what_it_lists(tmp_path: Path) -> None:
    (tmp_path / "parts.cir").write_text(LIBRARY, encoding="utf-8")
    (tmp_path / "main.cir").write_text(DECK, encoding="utf-8")
    (tmp_path / "board.toml").write_text('sources = ["main.cir", "parts.cir"]\n', encoding="utf-8")
    assert len(load_board(tmp_path).sources) == 2
