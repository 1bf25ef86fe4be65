"""Which format a text is: every real file, sample and case is taken for what it is, once."""

from __future__ import annotations

from pathlib import Path

import pytest

from nettrace.errors import BadInput, WrongUsage
from nettrace.knowledge import section
from nettrace.readers.document import Document
from nettrace.readers.registry import (
    FORMATS,
    HEADS,
    decode_text,
    detect_format,
    read_file,
    read_text,
)

ROOT = Path(__file__).resolve().parents[2]
CASES = ROOT / "tests" / "readers" / "cases"
#: What the file name says, where it says it (the shared boards' README names each file's format).
ENDINGS = {
    ".kicad_pcb": "kicad_pcb",
    ".d356": "ipc-d-356",
    ".ipc": "ipc-d-356",
    ".xml": "ipc-2581",
    ".edf": "edif",
    ".cir": "spice",
    ".csv": "csv",
    ".sheet": "sheet",
    ".json": "json",
}
#: Netlists that are decks, and the analysis commands that another deck includes.
DECKS = {"transimpedance-amp.net", "Simulation.cmd"}


def format_of(path: Path) -> str | None:
    found = detect_format(decode_text(path.read_bytes(), path.name))
    return None if found is None else found.name


def expected(path: Path) -> str | None:
    if path.name in DECKS:
        return "spice"
    if path.suffix == ".net":
        return "kicad_net"
    return ENDINGS.get(path.suffix)


def test_every_real_file_is_taken_for_what_it_is(boards: Path) -> None:
    files = [
        path
        for path in sorted(boards.glob("*/*"))
        if path.is_file() and path.parent.name not in {"truth", "labels", "power"}
    ]
    assert len(files) > 35
    wrong = {path.name: format_of(path) for path in files if format_of(path) != expected(path)}
    assert wrong == {}


def test_every_sample_is_taken_for_what_it_is() -> None:
    files = [
        path
        for folder in ("wren", "formats", "bench")
        for path in sorted((ROOT / "samples" / folder).iterdir())
        if path.suffix != ".toml"
    ]
    assert len(files) >= 11
    assert {path.name: format_of(path) for path in files} == {
        path.name: expected(path) for path in files
    }


def test_every_sound_case_is_taken_for_what_it_is() -> None:
    names = {"kicad_net": "kicad_net", "kicad_pcb": "kicad_pcb", "ipcd356": "ipc-d-356"}
    names |= {"ipc2581": "ipc-2581", "edif": "edif", "csv": "csv", "spice": "spice"}
    found = {}
    for folder, name in names.items():
        for path in sorted((CASES / folder).iterdir()):
            if path.is_file() and path.suffix not in {".json", ".md"}:
                found[path] = name
    assert len(found) >= 30
    assert {path.name: format_of(path) for path in found} == {
        path.name: name for path, name in found.items()
    }


@pytest.mark.parametrize(
    "text",
    [
        "Dear bench,\n\nthe board R1 is here, C2 is lost.\nRegards\n",
        "# Notes\n\n- R1, 10k\n- measure VBAT\n",
        "<html><body>Ref,Value</body></html>\n",
        '{"name": "a board"}\n',
        "[board]\nname = 'x'\n",
        "import sys\n\nprint(sys.argv)\n",
        "%PDF-1.4\nnothing\n",
        "(kicad_sch (version 20230121))\n",
        "x\n" * 40_000,
    ],
    ids=["letter", "notes", "html", "json", "toml", "program", "pdf", "schematic", "long"],
)
def test_a_text_of_no_format_is_refused_with_what_was_looked_for(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_text(Document("unknown.txt", text))
    said = str(caught.value)
    assert said.startswith("error: unknown.txt:1:1: no known format")
    for entry in FORMATS:
        known = section("formats", entry.name)
        assert f"{known['title']}: {known['looks_for']}" in said
    assert "--format" in said


@pytest.mark.parametrize("path", sorted((ROOT / "samples").glob("*/wren*.*")), ids=lambda p: p.name)
def test_the_format_by_name_is_taken_even_where_it_cannot_be_right(path: Path) -> None:
    """No other reader takes the text for a board of its own without a word."""
    right = format_of(path)
    for entry in FORMATS:
        if entry.name == right:
            assert read_file(path, format_name=entry.name).parts
            continue
        try:
            board = read_file(path, format_name=entry.name)
        except BadInput as error:
            assert error.place is not None
        else:
            # a deck may be any text: what is no element is said
            assert entry.name == "spice"
            assert board.warnings or not board.parts
    with pytest.raises(WrongUsage, match="Did you mean"):
        read_file(path, format_name="kicad-pcb")


def test_a_text_that_two_readers_may_claim_goes_to_the_one_with_the_surer_mark() -> None:
    """Decks and tables have no mark of their own and come last."""
    texts = {
        "sheet": "sheet of R1\nR1 a b 10k\n.end\n",
        "ipc-d-356": "C  Ref,Value\nP  UNITS CUST 0\nR1 a b 10k\n",
        "spice": "Ref Value a title may say\nR1 a b 10k\n.end\n",
        "csv": "Ref,Value\nR1,10k\nC1,100n\n",
        "json": '{"nettrace": {"schema": 1, "version": "0"}, "sheet": "Ref,Value"}',
    }
    for name, text in texts.items():
        found = detect_format(text)
        assert found is not None
        assert found.name == name


def test_a_head_is_enough_however_long_the_file() -> None:
    text = "* remark\n" * (HEADS[0] // 9 + 50) + "R1 a b 10k\n.end\n"
    found = detect_format(text)
    assert found is not None
    assert found.name == "spice"
