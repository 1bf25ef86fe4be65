"""Names that would steer a terminal, end a quote, leave a folder or run in a spreadsheet."""

from __future__ import annotations

import csv
import io
import unicodedata
from pathlib import Path
from xml.etree import ElementTree

import pytest

from nettrace.cli.main import main
from nettrace.model.builder import BoardBuilder
from nettrace.readers.document import Document
from nettrace.readers.registry import read_text
from nettrace.writers.csv_tables import write as write_parts
from nettrace.writers.json_board import write as write_json

#: Net, refdes and value at once.
NAMES = (
    'quote"d', "apo'strophe", "back\\slash", "a/b/c", "../../etc/passwd", "&amp;&lt;", "]]>",
    "%s%n%x", "=cmd|' /C calc'!A0", "@SUM(1)", "+1+cmd()", "-2-cmd()", "esc\x1b[2J\x1b]0;x\x07",
    "bell\x07", "nul\x00", "del\x7f", "c1\x9b31m", "line\nend", "car\rriage", "tab\there",
    "rtl\u202eabc", "zero\u200bwidth", "sep\u2028x", "\ufeffbom", "{slash}", "[bold]x[/]",
    "$(touch x)", "`touch x`", "%PATH%", "*", "?", "[a-z]", "--json", "-o", "a b", "ünï ∂",
    "<script>alert(1)</script>", "x" * 400, "\U000f0000", "emoji🦉", "NULL", "nan", "R1~2", "R1.2",
    "'=1", ":", "\\n", "\\G",
)  # fmt: skip


@pytest.fixture(scope="module")
def board_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    builder = BoardBuilder("odd", "json")
    for number, name in enumerate(NAMES):
        part = builder.part(name)
        part.value = part.package = part.description = NAMES[(number + 7) % len(NAMES)]
        part.properties[NAMES[(number + 3) % len(NAMES)]] = name
        part.pin("1", name, name=name)
        part.pin("2", NAMES[(number + 1) % len(NAMES)])
    path = tmp_path_factory.mktemp("odd") / "odd.json"
    path.write_text(write_json(builder.build()), encoding="utf-8")
    return path


def steers(text: str) -> list[str]:
    """Return the characters that a terminal would obey or that turn its reading about."""
    bad = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
    return [c for c in text if c != "\n" and unicodedata.category(c) in bad]


COMMANDS = ("summary", "net", "part", "pad", "rail", "bus", "path", "reading")


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("as_json", [True, False])
def test_no_view_lets_a_name_steer_the_terminal(
    board_file: Path, command: str, as_json: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    words: list[list[str]] = [[]]
    if command in {"net", "part"}:
        words = [[name] for name in (*NAMES, "*", "no\x1b[2Jne")]
    elif command in {"pad", "reading"}:
        words = [[f"{name}.1"] for name in (*NAMES, "no\x1b[2Jne")]
    elif command == "path":
        words = [[NAMES[0], name] for name in NAMES[1:]]
    answered = 0
    for more in words:
        options = ["--json"] if as_json else []
        code = main([command, *options, "--", str(board_file), *more])
        answered += code == 0
        assert code in {0, 2, 3}, more  # never 70: a fault of the program
        said = capsys.readouterr()
        assert not steers(said.out + said.err), more
    assert answered >= len(words) // 2 or command == "path"  # no parts in series here


@pytest.mark.parametrize(
    "target", ["board.csv", "board.net", "board.edf", "board.cir", "board.json", "board.sheet",
               "board.graphml"],
)  # fmt: skip
def test_what_is_written_can_be_read_or_is_refused_in_words(
    board_file: Path, tmp_path: Path, target: str, capsys: pytest.CaptureFixture[str]
) -> None:
    # a NUL in a name makes of any text what readers call binary: see docs/reliability.md
    source = tmp_path / "source" / "odd.json"
    source.parent.mkdir()
    source.write_text(
        board_file.read_text(encoding="utf-8").replace("\\u0000", ""), encoding="utf-8"
    )
    folder = tmp_path / "target"
    folder.mkdir()
    code = main(["convert", str(source), "-o", str(folder / target)])
    said = capsys.readouterr()
    assert code in {0, 2, 4}, said.err
    assert not steers(said.out + said.err)
    assert [path.name for path in folder.iterdir()] == ([target] if code == 0 else [])
    if code == 0 and target != "board.graphml":
        assert main(["summary", str(folder / target)]) == 0, capsys.readouterr().err
        assert not steers(capsys.readouterr().out)


def test_a_parts_list_holds_no_formula_and_reads_back(board_file: Path) -> None:
    board = read_text(Document("odd.json", board_file.read_text(encoding="utf-8")))
    text = write_parts(board)
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            assert not cell.startswith(("=", "@", "\t", "\r")), cell
            assert not (cell.startswith(("+", "-")) and "(" in cell), cell
    values = BoardBuilder("x", "csv")
    for number, value in enumerate(("=1+2", "@x", "+5V", "-12V", "+1+cmd()")):
        values.part(f"R{number}").value = value
    written = write_parts(values.build())
    assert "\nR2,+5V," in written
    again = read_text(Document("x.csv", written))
    assert [p.value for p in again.parts] == ["=1+2", "@x", "+5V", "-12V", "+1+cmd()"]


@pytest.mark.parametrize(
    "name", ['quote"d', "<script>alert(1)</script>", "&amp;&lt;", "]]>", "esc\x1b[2J\x1b]0;x\x07",
             "back\\slash", "\\G", "rtl\u202eabc", "line\nend"],
)  # fmt: skip
def test_a_drawing_is_no_place_for_a_name_to_break_out(
    board_file: Path, tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    svg = tmp_path / "x.svg"
    code = main(["draw", f"--part={name}", "-o", str(svg), "--", str(board_file)])
    said = capsys.readouterr()
    assert code == 0, said.err
    assert not steers(said.out + said.err)
    text = svg.read_text(encoding="utf-8")
    assert not steers(text.replace("\t", ""))
    for element in ElementTree.fromstring(text).iter():  # noqa: S314 - our own text
        assert not element.tag.endswith("script")
        assert not [word for word in element.attrib if word.startswith("on")]
