"""board.toml: sources in order, notes that win, errors with the line of the key."""

from __future__ import annotations

from pathlib import Path

import pytest

from nettrace.errors import BadInput
from nettrace.loading import load
from nettrace.readers.manifest import read_manifest

SHEET = "sheet\nR1 2k2: SDA VDD\nU1: 1=SDA 2=GND 3=VDD\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "a.sheet").write_text(SHEET)
    (tmp_path / "b.sheet").write_text(SHEET.replace("2k2", "4k7"))
    return tmp_path


def manifest(folder: Path, text: str) -> Path:
    path = folder / "board.toml"
    path.write_text(text)
    return path


def test_sources_and_notes_are_read(folder: Path) -> None:
    path = manifest(
        folder,
        'name = "Bench"\nsources = ["b.sheet", "a.sheet"]\nnot_fitted = ["R1"]\n'
        '[rails]\nVDD = 1.8\n[roles]\nR1 = "pull-up"\n',
    )
    found = read_manifest(path)
    assert [source.name for source in found.sources] == ["b.sheet", "a.sheet"]
    assert found.notes.rails["VDD"].volts == 1.8
    assert str(found.notes.rails["VDD"].place).endswith("board.toml:5:1")
    assert found.notes.roles == {"R1": "pull-up"}
    assert found.notes.not_fitted == ("R1",)


def test_the_order_of_the_manifest_decides_whose_word_stands(folder: Path) -> None:
    manifest(folder, 'sources = ["b.sheet", "a.sheet"]\n')
    board = load(folder).board
    assert board.part_by_key["R1"].value == "4k7"
    assert [conflict.kept for conflict in board.conflicts] == ["4k7"]


@pytest.mark.parametrize(
    ("text", "where", "message"),
    [
        ('sources = ["c.sheet"]', "1:13", "no file 'c.sheet'"),
        ('source = ["a.sheet"]', "1:1", "Did you mean sources?"),
        ('sources = ["a.sheet"]\n[rails]\nVDD = "1.8"', "3:1", "volts of VDD"),
        ('sources = ["a.sheet"\nname = 1', "2:1", "no TOML"),
        ('sources = ["a.sheet"]\nnot_fitted = "R1"', "2:1", "Write a list"),
        ("name = 'x'", "1:1", "no sources"),
    ],
)
def test_mistakes_name_the_line(folder: Path, text: str, where: str, message: str) -> None:
    path = manifest(folder, text)
    with pytest.raises(BadInput) as caught:
        read_manifest(path)
    assert f"{path}:{where}: " in str(caught.value)
    assert message in str(caught.value)
