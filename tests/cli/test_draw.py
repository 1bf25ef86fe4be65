"""The command `draw`: formats by the file's name, what it refuses, and that nothing is lost."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from nettrace.views import programs
from nettrace.views.programs import find_browser, find_dot_programs
from tests.cli.conftest import Run
from tests.views.svg_texts import labels, parse

AREA = ("--around", "J3", "--radius", "4")


@pytest.fixture(scope="module")
def board() -> Path:
    return Path(__file__).resolve().parents[2] / "samples" / "wren" / "wren.kicad_pcb"


def needs_programs() -> None:
    if "dot" not in {program.name for program in find_dot_programs()}:
        pytest.skip("Graphviz is not here")


@pytest.mark.parametrize(
    ("name", "begins"),
    [("a.svg", b"<?xml"), ("a.png", b"\x89PNG"), ("a.pdf", b"%PDF-"), ("a.dot", b"graph "),
     ("a.gv", b"graph "), ("A.SVG", b"<?xml")],
)  # fmt: skip
def test_the_files_name_says_the_format(
    run: Run, board: Path, tmp_path: Path, name: str, begins: bytes
) -> None:
    needs_programs()
    answer = run("draw", board, "--part", "R12", "-o", tmp_path / name)
    assert (answer.code, answer.out) == (0, ""), answer.err
    assert (tmp_path / name).read_bytes().startswith(begins)
    assert "Around R12" in answer.err
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize(
    "words",
    [("--pad", "R14.2"), ("--part", "U2"), ("--net", "GAUGE_*"), ("--bus", "i2c"), AREA,
     ("--box", "112,-134,118,-128"), ("--pad", "J3.*")],
)  # fmt: skip
def test_every_way_to_say_what_to_draw(run: Run, board: Path, words: tuple[str, ...]) -> None:
    answer = run("draw", board, *words, "-o", "-")
    assert answer.code == 0, answer.err
    assert answer.out.startswith("graph neighbourhood {")


def test_json_says_what_was_drawn(run: Run, board: Path, tmp_path: Path) -> None:
    path = tmp_path / "a.dot"
    answer = run("draw", board, *AREA, "--without", "J3", "-o", path, "--json")
    drawing = answer.json["drawing"]
    assert drawing["bytes"] == path.stat().st_size
    # the seven parts of samples/README.md, and the connector that was named
    assert set(drawing["gone"]) == {"R12", "R13", "R14", "R15", "R16", "C7", "D4", "J3"}
    assert drawing["left_out"] == []


def test_a_map_is_an_svg_without_any_program(
    run: Run, board: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    path = tmp_path / "map.svg"
    answer = run("draw", board, *AREA, "--placed", "-o", path, "--json")
    assert answer.code == 0, answer.err
    assert answer.json["drawing"]["scale"] == "15:1"
    assert {"R12", "GAUGE_SDA", "15:1"} <= {label.text for label in labels(path.read_bytes())}
    to_terminal = run("draw", board, *AREA, "--placed", "-o", "-", "--to", "svg")
    assert parse(to_terminal.out.encode()).tag.endswith("svg")


@pytest.mark.parametrize(("name", "begins"), [("m.pdf", b"%PDF-"), ("m.png", b"\x89PNG")])
def test_a_map_is_printed_by_a_browser(
    run: Run, board: Path, tmp_path: Path, name: str, begins: bytes
) -> None:
    if find_browser() is None:
        pytest.skip("no browser here to print with")
    answer = run("draw", board, *AREA, "--placed", "-o", tmp_path / name)
    assert answer.code == 0, answer.err
    assert (tmp_path / name).read_bytes().startswith(begins)


def test_without_a_browser_the_svg_is_offered(
    run: Run, board: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(programs, "BROWSERS", ("no-such-browser",))
    answer = run("draw", board, *AREA, "--placed", "-o", tmp_path / "m.pdf")
    assert answer.code == 4
    assert answer.err == (
        "error: no browser here to make a PDF with. "
        "Write FILE.svg, and print it from any browser.\n"
    )
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        ((), 2, "error: nothing to draw where a place, or one of --pad, --part, --net and --bus "
                "was expected. For instance --around J3 --radius 4."),
        (("--pad", "R1.1", "--around", "J3"), 2, "error: --pad and --around together where"),
        (("--net", "GND", "--placed"), 2, "error: --placed with --net. A map needs a place"),
        (("--net", "GND", "--radius", "3"), 2, "error: --radius with --net. It goes with a place."),
        (("--part", "R999"), 3, "error: no part 'R999' on this board."),
        (("--bus", "can"), 3, "error: no bus 'can'."),
        ((*AREA, "--without", "R999"), 3, "error: no part 'R999' on this board."),
        ((*AREA, "--placed", "--to", "dot"), 2, "error: --placed as DOT where svg, png or pdf"),
    ],
)  # fmt: skip
def test_what_cannot_be_drawn_is_said(
    run: Run, board: Path, tmp_path: Path, words: tuple[str, ...], code: int, message: str
) -> None:
    answer = run("draw", board, *words, "-o", tmp_path / "a.svg")
    assert (answer.code, answer.out) == (code, "")
    assert answer.err.startswith(message)
    assert list(tmp_path.iterdir()) == []


def test_names_without_a_format_and_pictures_on_the_terminal(run: Run, board: Path) -> None:
    answer = run("draw", board, *AREA, "-o", "drawing.jpeg")
    assert answer.err.startswith("error: the name 'drawing.jpeg' where an ending .svg, .png")
    answer = run("draw", board, *AREA, "-o", "-", "--to", "png")
    assert answer.err == "error: PNG on the terminal. Give a FILE.\n"


def test_a_file_that_is_there_is_kept(run: Run, board: Path, tmp_path: Path) -> None:
    path = tmp_path / "a.dot"
    path.write_text("mine", encoding="utf-8")
    answer = run("draw", board, "--part", "R12", "-o", path)
    assert answer.code == 2
    assert "is there already. Give another name, or --force." in answer.err
    assert path.read_text(encoding="utf-8") == "mine"
    assert run("draw", board, "--part", "R12", "-o", path, "--force").code == 0
    assert path.read_text(encoding="utf-8").startswith("graph ")


def test_a_folder_that_is_not_there_is_named(run: Run, board: Path, tmp_path: Path) -> None:
    answer = run("draw", board, "--part", "R12", "-o", tmp_path / "no" / "a.dot")
    assert answer.code == 4
    assert answer.err.startswith(f"error: cannot write {tmp_path / 'no' / 'a.dot'} (no such file")


SLOW = """
import time
from nettrace.views import text as progress
progress.PATIENCE_SECONDS = 0.1
with progress.progress("Reading [bold]x"):
    time.sleep(0.8)
with progress.progress("quick"):
    pass
print("done")
"""


def on_a_terminal(code: str) -> str:
    """Run Python with all its streams on a terminal of its own; return what that showed."""
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=theirs, stdout=theirs, stderr=theirs,
        env={**os.environ, "TERM": "xterm", "NO_COLOR": "1"},
    ) as process:  # fmt: skip
        os.close(theirs)
        shown = b""
        while True:
            try:
                piece = os.read(ours, 4096)
            except OSError:  # Linux says so when the other end is closed
                break
            if not piece:
                break
            shown += piece
        process.wait(timeout=30)
    os.close(ours)
    return shown.decode()


def test_what_takes_long_says_so_on_a_terminal_and_nowhere_else() -> None:
    shown = on_a_terminal(SLOW)
    assert "Reading [bold]x" in shown
    assert "0:00:0" in shown
    assert "quick" not in shown
    assert "done" in shown
    quiet = subprocess.run(
        [sys.executable, "-c", SLOW], capture_output=True, text=True, timeout=60, check=True
    )
    assert (quiet.stdout, quiet.stderr) == ("done\n", "")


def test_graph_and_map_tell_the_same_keys(run: Run, board: Path, tmp_path: Path) -> None:
    words = ("draw", board, *AREA, "--json")
    graph = run(*words, "-o", tmp_path / "graph.dot").json["drawing"]
    placed = run(*words, "--placed", "-o", tmp_path / "map.svg").json["drawing"]
    assert graph.keys() == placed.keys()
    assert (graph["scale"], graph["side"], graph["sheets"]) == (None, None, 1)
    assert placed["scale"] is not None
    assert placed["left_out"] == []
    assert set(graph["gone"]) == set(placed["gone"])
    assert set(placed["gone"]) < set(placed["parts"])
