"""What is wrong is said in one line, with the right exit code, and never with a traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from nettrace.cli import main as command_line
from tests.cli.conftest import SMALL, Run


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["sumary"], 2, "error: no command 'sumary'. Did you mean summary?"),
        (["zzz"], 2, "error: no command 'zzz'. `nettrace --help` lists them."),
        (
            ["net", "BOARD", "SDA", "--jsno"],
            2,
            "error: no option '--jsno' in `nettrace net`. Did you mean --json? Before a name that "
            "starts with '-', put --.",
        ),
        (["net", "BOARD"], 2, "error: NAME is missing. See `nettrace net --help`."),
        (["net"], 2, "error: BOARD is missing. See `nettrace net --help`."),
        (
            ["net", "BOARD", "SDA", "--format", "kicad_nett"],
            2,
            "error: no format named 'kicad_nett'. Did you mean kicad_net?",
        ),
        (
            ["net", "BOARD", "SDA", "--rail", "+3V3"],
            2,
            "error: --rail '+3V3' where NAME=V was expected. Write it like +1V8=1.8.",
        ),
        (["net", "BOARD", "SDA", "--rail", "+3V4=3.4"], 3, "error: no net '+3V4' on this board."),
        (["net", "BOARD", "SDA", "--rail", "+3V3=x"], 2, "error: "),
        (["net", "BOARD", "SDA", "--hierarchy", "flat"], 2, "'flat' is not one of"),
        (["pad", "BOARD"], 2, "error: no pad where REFDES.PIN or --at X,Y was expected."),
        (["pad", "BOARD", "R1"], 2, "error: 'R1' names a part, not a pad."),
        (["pad", "BOARD", "R1.1", "--side", "top"], 2, "error: --side with a pad's name."),
        (["area", "BOARD"], 2, "error: no place where one of --around, --at, --box and --outline"),
        (["area", "BOARD", "--at", "1,1", "--box", "0,0,1,1"], 2, "error: --at and --box together"),
        (
            ["area", "BOARD", "--at", "1,1", "--radius", "-2"],
            2,
            "error: --radius -2 where a length",
        ),
        (["area", "BOARD", "--at", "1"], 2, "error: the point '1' where X,Y was expected."),
        (["area", "BOARD", "--box", "0,0,1,1", "--radius", "2"], 2, "error: --radius with --box."),
        (
            ["net", "BOARD", "SDAA"],
            3,
            "error: no net 'SDAA' on this board. Nearest: SDA. Wildcards: 'SD*'.",
        ),
        (["part", "BOARD", "R9"], 3, "error: no part 'R9' on this board."),
        (["pad", "BOARD", "R1.9"], 3, "error: R1 has no pin '9'. Its pins: R1.1, R1.2."),
        (["rail", "BOARD", "SDA"], 3, "error: SDA is no rail or ground"),
        (["bus", "BOARD", "nonesuch"], 3, "error: no bus 'nonesuch'."),
        (["area", "BOARD", "--around", "R1"], 3, "error: R1 has no place in these sources."),
        (["area", "BOARD", "--at", "1,1"], 3, "error: no pad has a place in these sources."),
        (["pad", "BOARD", "--at", "1,1"], 3, "error: no pad has a place in these sources."),
        (["net", "/no/such/file", "SDA"], 4, "error: /no/such/file: cannot open (no such file"),
    ],
)
def test_messages_and_exit_codes(
    run: Run, small: Path, words: list[str], code: int, message: str
) -> None:
    answer = run(*(small if word == "BOARD" else word for word in words))
    assert answer.err.startswith("error: ")
    assert message in answer.err
    assert (answer.code, answer.out) == (code, "")
    assert "Traceback" not in answer.err


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "an empty file"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(50), "a binary file (a NUL at byte 8)"),
        (b"just some words\nand no netlist\n", "no known format"),
        (SMALL[: len(SMALL) // 2].encode(), ":"),
        (b"(export (version E) (components" + b"(" * 5000, ":"),
        (SMALL.encode("utf-16")[:-1], "broken UTF-16"),
    ],
    ids=["empty", "binary", "unknown", "cut-off", "deep", "broken-encoding"],
)
def test_a_file_that_cannot_be_read(run: Run, tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "board.net"
    path.write_bytes(content)
    for words in (["summary", path], ["net", path, "SDA", "--json"]):
        answer = run(*words)
        assert (answer.code, answer.out) == (4, ""), answer.err
        assert answer.err.startswith(f"error: {path}:")
        assert message in answer.err
        assert "Traceback" not in answer.err


def test_a_cut_off_file_names_line_and_column(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "board.net"
    path.write_text(SMALL[:-20], encoding="utf-8")
    first = run("summary", path).err.splitlines()[0]
    place = first.removeprefix(f"error: {path}:").split(":")
    assert int(place[0]) > 0
    assert int(place[1]) > 0


def test_a_folder_with_nothing_to_read(run: Run, tmp_path: Path) -> None:
    (tmp_path / "notes.md").write_text("# hello\n", encoding="utf-8")
    answer = run("summary", tmp_path)
    assert answer.code == 4
    assert "no file that a reader recognises in this folder" in answer.err


def test_a_folder_leaves_a_broken_source_out_and_says_so(run: Run, tmp_path: Path) -> None:
    (tmp_path / "good.net").write_text(SMALL, encoding="utf-8")
    (tmp_path / "bad.net").write_text(SMALL[:-20], encoding="utf-8")
    answer = run("summary", tmp_path, "--json")
    assert answer.code == 0
    assert [source["parts"] for source in answer.json["summary"]["sources"]] == [4]
    left_out = [item for item in answer.json["warnings"] if item["code"] == "source-left-out"]
    assert [Path(item["path"]).name for item in left_out] == ["bad.net"]
    assert left_out[0]["line"] > 0
    assert "source-left-out" in run("summary", tmp_path).out


def test_debug_shows_the_traceback_and_still_the_message(run: Run, small: Path) -> None:
    answer = run("net", small, "SDAA", "--debug")
    assert answer.code == 3
    assert "Traceback" in answer.err
    assert answer.err.splitlines()[-1].startswith("error: no net 'SDAA'")


def test_a_fault_of_the_program_is_one_line(
    run: Run, small: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("made for\nthe test")

    monkeypatch.setattr("nettrace.loading.load", broken)
    answer = run("net", small, "SDA")
    assert answer.code == command_line.EXIT_BUG
    assert answer.err == (
        "error: a fault in nettrace itself (ZeroDivisionError: made for the test). --debug shows "
        "where; please report it.\n"
    )


def test_ctrl_c_is_no_error(run: Run, small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("nettrace.loading.load", stopped)
    assert run("net", small, "SDA").code == command_line.EXIT_STOPPED


def test_a_reader_that_has_seen_enough_breaks_nothing(small: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "wb") as closed:
        done = subprocess.run(
            [sys.executable, "-m", "nettrace", "net", str(small), "*", "--json"],
            stdout=closed,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
            cwd=Path(command_line.__file__).parent.parent.parent,
        )
    assert (done.returncode, done.stderr) == (0, "")


def test_names_cannot_steer_the_terminal(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "evil.net"
    evil = SMALL.replace('"SDA"', '"SDA\x1b[31m\u202e"').replace('"GAUGE"', '"[red]x\x07"')
    path.write_text(evil, encoding="utf-8")
    for words in (
        ["net", path, "SDA\x1b*"],
        ["net", path, "*"],
        ["part", path, "U1"],
        ["summary", path],
        ["net", path, "SDA?"],
        ["net", path, "SDA\x1bx"],
        ["net", path, "SDA\x1b*", "--json"],
    ):
        answer = run(*words)
        shown = answer.out + answer.err
        assert not any(ord(c) < 32 and c != "\n" for c in shown), words
        assert "\u202e" not in shown
    assert "[red]x" in run("part", path, "U1").out
