"""The tables of what the trade knows: whole, with sources, and loaded as they stand."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from nettrace import knowledge
from nettrace.circuit.kinds import Kind
from nettrace.knowledge import Words, check_table, check_tables, section, table

FOLDER = Path(knowledge.__file__).parent
NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))


def test_tables_are_whole_and_name_their_sources() -> None:
    assert check_tables() == []


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("a = 1", "[] has no source"),
        ("[x]\na = 1", "[x] has no source"),
        ("source = 'y'\n[x]\nrows = [['a', 'b'], ['a', 'c']]", "[x] 'a' stands twice"),
        ("source = 'y'\n[patterns]\na = '('", "[patterns] '('"),
        ("source = 'y'\n[words]\na = 'A (B'", "[words] 'A (B'"),
    ],
)
def test_the_check_sees_a_fault(text: str, fault: str) -> None:
    (found,) = check_table(tomllib.loads(text))
    assert found.startswith(fault)


@pytest.mark.parametrize("name", NAMES)
def test_a_table_is_what_its_file_says(name: str) -> None:
    read = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))

    def same(kept: object, said: object) -> bool:
        if isinstance(said, dict):
            return isinstance(kept, dict) and all(same(kept[key], said[key]) for key in said)
        if isinstance(said, list):
            return isinstance(kept, tuple) and all(map(same, kept, said))
        return kept == said

    assert same(dict(table(name)), read)


def test_a_table_cannot_be_written_to() -> None:
    with pytest.raises(TypeError):
        table("kinds")["letters"] = {}  # type: ignore[index]


def test_the_first_row_that_is_met_wins() -> None:
    words = Words("kinds", "description", meaning=str)
    assert words.find("ESD diode") == "ESD protection"
    assert words.find("a diode") == "diode"
    assert words.find("nothing of the kind") is None


def test_a_reference_letter_stands_once() -> None:
    letters = " ".join(section("kinds", "letters").values()).split()
    assert len(letters) == len(set(letters))


def test_kinds_in_tables_are_kinds() -> None:
    matching, area = table("matching"), dict(section("kinds", "area"))
    lists = [row["kinds"] for row in (*matching["figures"].values(), matching["link"])]
    lists += [matching["diode"]["kinds"], table("orders")["spares"]["not_of"], *area.pop("telling")]
    for kinds in (*lists, *area.values()):
        assert [Kind(kind) for kind in kinds]
