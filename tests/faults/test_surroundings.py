"""Disks that are full, folders that are closed, pipes that end, locales of the past."""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from nettrace.cli.main import main

ROOT = Path(__file__).resolve().parents[2]


def program(*words: str | Path, **more: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "nettrace", *map(str, words)],
        capture_output=True,
        timeout=60,
        check=False,
        cwd=ROOT,
        env={**os.environ, **more},
    )


@pytest.fixture
def board(wren: Path) -> Path:
    return wren / "wren.net"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("words", [["net", "GND"], ["net", "GND", "--json"], ["summary"]])
def test_a_full_disk_behind_stdout_is_said_in_a_line(board: Path, words: list[str]) -> None:
    for _ in range(2):  # the second time from the cache, if anything was kept
        with Path("/dev/full").open("wb") as full:
            done = subprocess.run(
                [sys.executable, "-m", "nettrace", words[0], str(board), *words[1:]],
                stdout=full,
                stderr=subprocess.PIPE,
                check=False,
                timeout=60,
                cwd=ROOT,
            )
        assert done.returncode not in {0, 70}, done.stderr
        assert b"Traceback" not in done.stderr
        assert b"no space left" in done.stderr.lower()


def test_a_file_that_does_not_fit_leaves_the_old_one(board: Path, tmp_path: Path) -> None:
    target = tmp_path / "board.json"
    target.write_text("old")

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # then writing fails as on a full disk
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    done = subprocess.run(
        [sys.executable, "-m", "nettrace", "convert", str(board), "-o", str(target), "--force"],
        preexec_fn=limit,
        capture_output=True,
        check=False,
        timeout=60,
        cwd=ROOT,
    )
    assert done.returncode not in {0, 70}, done.stderr
    assert done.stderr.startswith(b"error: ")
    assert target.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["board.json"]


def test_a_cache_that_does_not_fit_is_done_without(board: Path, tmp_path: Path) -> None:
    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    answers = {
        subprocess.run(
            [sys.executable, "-m", "nettrace", "net", str(board), "GND"],
            preexec_fn=limit,
            stdout=subprocess.PIPE,
            check=True,
            timeout=60,
            cwd=ROOT,
            env={**os.environ, "XDG_CACHE_HOME": str(tmp_path)},
        ).stdout
        for _ in range(2)
    }
    assert len(answers) == 1
    assert answers.pop()


def test_a_folder_that_cannot_be_written_is_said_in_a_line(
    board: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "file"
    file.touch()
    for target in (file / "below.json", Path("/proc/none.json"), tmp_path / "no" / "x.json"):
        assert main(["convert", str(board), "-o", str(target)]) not in {0, 70}
        assert capsys.readouterr().err.startswith("error: ")


def test_ctrl_c_while_reading_ends_at_once_and_quietly(tmp_path: Path) -> None:
    deck = tmp_path / "long.cir"
    lines = (f"R{number} N{number} N{number + 1} 1k" for number in range(300_000))
    deck.write_text("* long\n" + "\n".join(lines) + "\n.end\n")
    with subprocess.Popen(
        [sys.executable, "-m", "nettrace", "summary", str(deck)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
    ) as running:
        time.sleep(1.0)
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=30)
    # either way a shell sees 130: Python may end by the signal itself where it came in an exec()
    assert running.returncode in {130, -signal.SIGINT}, (out, err)
    assert b"Traceback" not in err
    assert err.strip() == b"stopped"


@pytest.mark.parametrize("locale", ["C", "POSIX", "en_US.ISO-8859-1", "nonsense"])
@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_other_locales_show_all_answers(board: Path, locale: str, encoding: str) -> None:
    words = ("part", board, "R1")
    done = program(*words, LC_ALL=locale, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert (done.returncode, done.stderr) == (0, b"")
    done.stdout.decode(encoding)
    as_json = program(*words, "--json", LC_ALL=locale, PYTHONIOENCODING=encoding)
    plain = program(*words, "--json")
    assert as_json.returncode == 0
    assert json.loads(as_json.stdout.decode(encoding)) == json.loads(plain.stdout)


def test_a_path_that_is_no_text_can_be_read(board: Path, tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9 \x1b[2J.net"))
    try:
        shutil.copy(board, path)
    except OSError:
        pytest.skip("this file system takes only UTF-8 names")
    for command, *words in (["summary"], ["net", "GND", "--json"], ["net", "none"]):
        done = program(command, path, *words)
        assert done.returncode in {0, 3}, done.stderr
        assert b"\x1b" not in done.stdout + done.stderr


@pytest.mark.parametrize(
    "name", ["formats/wren.cir", "formats/wren.edf", "formats/wren.sheet", "formats/wren.json",
             "formats/wren-places.csv", "formats/wren-2581.xml", "wren/wren-bom.csv",
             "wren/wren.d356", "wren/wren.net", "wren/wren.kicad_pcb"],
)  # fmt: skip
def test_windows_line_ends_change_nothing(name: str) -> None:
    from nettrace.readers.document import Document
    from nettrace.readers.registry import read_text

    text = (ROOT / "samples" / name).read_text(encoding="utf-8")
    plain = read_text(Document("x", text))
    other = read_text(Document("x", text.replace("\n", "\r\n")))
    assert other.parts == plain.parts
    assert other.nets == plain.nets
    assert [w.code for w in other.warnings] == [w.code for w in plain.warnings]
