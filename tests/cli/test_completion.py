"""Shell completion, as bash asks for it; and the hint, the sample, the pager."""

from __future__ import annotations

import os
import pty
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from nettrace.cli.commands import commands
from tests.cli.conftest import SMALL, Run

ROOT = Path(__file__).resolve().parent.parent.parent
BASH = shutil.which("bash")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a small board, a job on it, and a `nettrace` on its own PATH."""
    folder = tmp_path_factory.mktemp("bench")
    (folder / "small.net").write_text(SMALL, encoding="utf-8")
    program = folder / "bin" / "nettrace"
    program.parent.mkdir()
    program.write_text(
        f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m nettrace "$@"\n',
        encoding="utf-8",
    )
    program.chmod(0o755)
    return folder


def candidates(bench: Path, *words: str) -> list[str]:
    """Let bash itself complete the last word, with the script that `completion bash` prints."""
    assert BASH is not None
    quoted = " ".join(f"'{word}'" for word in words)
    script = (
        f'eval "$(nettrace completion bash)"; COMP_WORDS=({quoted}); COMP_CWORD={len(words) - 1}; '
        "_nettrace_completion nettrace; printf '%s\\n' \"${COMPREPLY[@]}\""
    )
    done = subprocess.run(
        [BASH, "--norc", "-c", script],
        cwd=bench,
        env={**os.environ, "PATH": f"{bench / 'bin'}:{os.environ['PATH']}"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    return done.stdout.split("\n")[:-1]


@pytest.mark.skipif(BASH is None, reason="no bash here")
@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (["nettrace", "su"], ["summary"]),
        (["nettrace", "net", "small.net", "sda"], ["SDA", "SDA_EXT"]),
        (["nettrace", "part", "small.net", "R"], ["R1", "R2"]),
        (["nettrace", "pad", "small.net", "U1."], ["U1.1", "U1.2", "U1.3"]),
        (["nettrace", "rail", "small.net", "+"], ["+3V3"]),
        (["nettrace", "area", "small.net", "--around", "J"], ["J1"]),
        (["nettrace", "reading", "small.net", "SDA", "--without", "R2"], ["R2"]),
        (["nettrace", "formula", "pull-up-w"], ["pull-up-window"]),
        (["nettrace", "job", "ma"], ["mark", "match"]),
    ],
)
def test_bash_offers_names_of_the_board(bench: Path, words: list[str], offered: list[str]) -> None:
    assert candidates(bench, *words) == offered


@pytest.mark.skipif(BASH is None, reason="no bash here")
def test_bash_offers_the_parts_of_a_jobs_board(bench: Path, run: Run) -> None:
    if not (bench / "repair.job").exists():
        assert run("job", "open", bench / "repair.job", bench / "small.net").code == 0
    assert candidates(bench, "nettrace", "job", "mark", "repair.job", "missing", "R") == [
        "R1",
        "R2",
    ]


@pytest.mark.skipif(BASH is None, reason="no bash here")
def test_no_complaint_disturbs_a_line_half_typed(bench: Path) -> None:
    assert candidates(bench, "nettrace", "net", "nothing-there.net", "S") in ([""], [])


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_has_its_script(run: Run, shell: str) -> None:
    answer = run("completion", shell)
    assert answer.code == 0
    assert f"_NETTRACE_COMPLETE={shell}_complete" in answer.out


def test_a_shell_we_do_not_know_is_wrong_usage(run: Run) -> None:
    assert run("completion", "dish").code == 2


def test_without_words_the_hint_teaches_by_example(run: Run) -> None:
    answer = run()
    assert answer.code == 0
    lines = answer.out.splitlines()
    assert len(lines) <= 16
    assert max(map(len, lines)) <= 80
    known = {entry.name for entry in commands()}
    named = re.findall(r"^  nettrace (\w+)", answer.out, re.MULTILINE)
    assert len(named) >= 5
    assert set(named) <= known


def test_the_version_is_told_and_stands_in_one_place(run: Run) -> None:
    version = (ROOT / "nettrace" / "version.py").read_text(encoding="utf-8")
    number = re.search(r'"(\d[^"]*)"', version)
    assert number is not None
    assert run("--version").out.split()[-1] == number[1]
    assert number[1] not in (ROOT / "pyproject.toml").read_text(encoding="utf-8").split()


def test_sample_lays_the_board_down_and_replaces_nothing(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "new" / "samples"
    answer = run("sample", "wren", target)
    assert answer.code == 0, answer.err
    assert "area" in answer.err
    for folder in ("wren", "formats"):
        there = {path.name: path.read_bytes() for path in (target / folder).iterdir()}
        ours = {path.name: path.read_bytes() for path in (ROOT / "samples" / folder).iterdir()}
        assert there == ours
    again = run("sample", "wren", target)
    assert again.code == 2
    assert "--force" in again.err
    assert run("sample", "wren", target, "--force", "--json").json["sample"]["name"] == "wren"


def test_sample_tells_which_there_are(run: Run, tmp_path: Path) -> None:
    answer = run("sample", "robin", tmp_path)
    assert answer.code == 3
    assert "wren" in answer.err
    (tmp_path / "file").write_text("", encoding="utf-8")
    answer = run("sample", "wren", tmp_path / "file" / "below")
    assert answer.code == 4
    assert "cannot make the folder" in answer.err


def terminal(words: list[str], rows: int, env: dict[str, str]) -> str:
    """Run the command line on a terminal of that many rows; return what came to the screen."""
    import fcntl
    import struct
    import termios

    parent, child = pty.openpty()
    fcntl.ioctl(child, termios.TIOCSWINSZ, struct.pack("HHHH", rows, 80, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-m", "nettrace", *words],
        stdin=child, stdout=child, stderr=child, cwd=ROOT,
        # the size is the terminal's: a LINES of the suite's own surroundings would beat it
        env={k: v for k, v in os.environ.items() if k not in {"LINES", "COLUMNS"}}
        | {"TERM": "xterm", **env},
    )  # fmt: skip
    os.close(child)
    found = b""
    while True:
        try:
            piece = os.read(parent, 65536)
        except OSError:  # the terminal is gone with its last user
            break
        if not piece:
            break
        found += piece
    os.close(parent)
    assert process.wait(60) == 0
    return found.decode("utf-8")


@pytest.mark.parametrize(("rows", "paged"), [(6, True), (60, False)])
def test_only_an_answer_longer_than_the_screen_goes_to_the_pager(
    small: Path, tmp_path: Path, rows: int, paged: bool
) -> None:
    pager = tmp_path / "pager"
    pager.write_text("#!/bin/sh\necho PAGED\ncat\n", encoding="utf-8")
    pager.chmod(0o755)
    words = ["summary", str(small), "--no-cache"]
    shown = terminal(words, rows, {"PAGER": str(pager)})
    assert ("PAGED" in shown) is paged
    assert "small" in shown
    assert "PAGED" not in terminal(words, rows, {"PAGER": "cat"})


def test_a_pager_that_is_not_there_is_done_without(small: Path) -> None:
    shown = terminal(["summary", str(small), "--no-cache"], 6, {"PAGER": "no-such-pager-here"})
    assert "small" in shown
