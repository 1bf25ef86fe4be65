"""Every command keeps to the exit codes that scripts rely on, whatever it is given."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from nettrace.cli.commands import commands
from tests.acceptance.conftest import Ask
from tests.cli.conftest import SMALL
from tests.conftest import ROOT

#: Command -> what it needs after BOARD to have something to do.
ASKED: dict[str, tuple[str, ...]] = {
    "summary": (),
    "area": ("--box", "100,-140,170,-100"),
    "net": ("SDA",),
    "part": ("R1",),
    "pad": ("R1.1",),
    "rail": (),
    "bus": (),
    "path": ("SDA", "SDA_EXT"),
    "reading": ("R1.1",),
    "compare": ("OTHER",),
    "convert": ("-o", "-", "--to", "json"),
    "draw": ("-o", "-", "--to", "dot", "--net", "SDA"),
}
#: Command -> words that name nothing on the board.
NOTHING: dict[str, tuple[str, ...]] = {
    "area": ("--around", "R11"),
    "net": ("SDAA",),
    "part": ("R11",),
    "pad": ("R11.1",),
    "rail": ("SDAA",),
    "bus": ("SDAA",),
    "path": ("SDAA", "SDA"),
    "reading": ("R11.1",),
}
ELSEWHERE = {"value", "formula", "job", "sample", "completion", "cache"}


def words_for(command: str, board: Path, other: Path) -> list[object]:
    return [command, board, *(other if word == "OTHER" else word for word in ASKED[command])]


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("exit") / "small.net"
    path.write_text(SMALL, encoding="utf-8")
    return path


def test_no_command_is_forgotten() -> None:
    assert {entry.name for entry in commands()} <= set(ASKED) | ELSEWHERE


@pytest.mark.parametrize("command", ASKED)
def test_a_question_that_can_be_answered_ends_with_0(ask: Ask, small: Path, command: str) -> None:
    if command == "area":  # a netlist has no places
        small = ROOT / "samples" / "wren"
    assert ask(*words_for(command, small, small)).code == 0


@pytest.mark.parametrize("command", ASKED)
def test_wrong_usage_ends_with_2_and_names_the_nearest(ask: Ask, small: Path, command: str) -> None:
    answer = ask(*words_for(command, small, small), "--jsno")
    assert answer.code == 2
    assert answer.out == ""
    assert answer.err.startswith("error: no option '--jsno'")
    assert "Did you mean --json?" in answer.err
    bare = ask(command)
    assert bare.code == 2
    assert bare.err.startswith("error: BOARD is missing.")
    assert f"nettrace {command} --help" in bare.err


@pytest.mark.parametrize("command", ASKED)
@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, r"error: \S+: "),
        (b"", r"error: \S+: "),
        (b"\x00\x01\x02\xff" * 200, r"error: \S+: "),
        (SMALL[:300].encode(), r"error: \S+board\.net:\d+:\d+: "),
        (SMALL[:300].replace("\n", "\r\n").encode(), r"error: \S+board\.net:\d+:\d+: "),
        (SMALL.replace("(pin", "(pn", 1).encode(), r"error: \S+board\.net:\d+:\d+: "),
    ],
    ids=["absent", "empty", "binary", "cut off", "cut off, CRLF", "misspelt"],
)
def test_what_cannot_be_read_ends_with_4(
    ask: Ask, tmp_path: Path, command: str, content: bytes | None, says: str
) -> None:
    board = tmp_path / "board.net"
    if content is not None:
        board.write_bytes(content)
    answer = ask(*words_for(command, board, board))
    assert answer.code == 4, answer.err
    assert answer.out == ""
    assert re.match(says, answer.err), answer.err
    assert "Traceback" not in answer.err


@pytest.mark.parametrize("command", NOTHING)
@pytest.mark.parametrize("as_json", [True, False])
def test_what_is_not_there_ends_with_3(ask: Ask, small: Path, command: str, as_json: bool) -> None:
    answer = ask(command, small, *NOTHING[command], *(["--json"] if as_json else []))
    assert answer.code == 3
    assert answer.out == ""
    assert answer.err.startswith("error: no ")
    if command != "bus":  # this board has one bus, and it is not called so
        assert re.search(r"Nearest: |Wildcards: ", answer.err), answer.err


@pytest.mark.parametrize("command", ASKED)
def test_windows_line_ends_change_no_answer(
    ask: Ask, small: Path, tmp_path: Path, command: str
) -> None:
    other = tmp_path / "small.net"
    other.write_bytes(SMALL.replace("\n", "\r\n").encode())
    if command in {"area", "draw", "convert"}:
        return  # no places in a netlist; titles and texts name the file
    one = ask(*words_for(command, small, small), "--json").json
    two = ask(*words_for(command, other, other), "--json").json
    if command == "summary":
        for said in (one, two):
            said["summary"]["sources"][0].pop("path")
    assert one == two


def test_debug_shows_where_and_keeps_code_and_message(ask: Ask, tmp_path: Path) -> None:
    for command in ASKED:
        answer = ask(*words_for(command, tmp_path / "none", tmp_path / "none"), "--debug")
        assert answer.code == 4
        assert "Traceback" in answer.err
        assert "error: " in answer.err


def test_differences_end_with_1(ask: Ask, small: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.net"
    other.write_text(SMALL.replace('(node (ref "R2") (pin "1"))', ""), encoding="utf-8")
    found = ask("compare", small, other)
    assert found.code == 1
    assert "R2.1" in found.out
    assert ask("compare", small, other, "--json").code == 1
    assert ask("compare", small, small).code == 0


@pytest.mark.parametrize("command", ["show", "match", "needs", "refit", "probe", "check", "undo"])
def test_a_job_file_that_cannot_be_used_ends_with_5(ask: Ask, tmp_path: Path, command: str) -> None:
    job = tmp_path / "wren.job"
    for text in ("", "{", '{"nettrace-job": 999}'):
        job.write_text(text, encoding="utf-8")
        answer = ask("job", command, job)
        assert answer.code == 5, (text, answer.err)
        assert answer.err.startswith("error: ")


def test_real_processes_give_the_same_codes(small: Path) -> None:
    import subprocess
    import sys

    def code(*words: object) -> int:
        return subprocess.run(
            [sys.executable, "-m", "nettrace", *(str(word) for word in words)],
            capture_output=True, timeout=60, check=False, cwd=ROOT,
        ).returncode  # fmt: skip

    assert code("net", small, "SDA") == 0
    assert code("net", small) == 2
    assert code("net", small, "SDAA") == 3
    assert code("net", small.parent / "none", "SDA") == 4
