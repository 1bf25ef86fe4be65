"""`convert` from the command line: what is written, what is left out, what is refused."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import SMALL

ROOT = Path(__file__).resolve().parents[2]


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "nettrace", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1", "PYTHONWARNINGS": "error"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "small.net").write_text(SMALL, encoding="utf-8")
    return tmp_path


def test_what_a_format_cannot_carry_is_said_on_stderr(folder: Path) -> None:
    done = run(folder, "convert", "small.net", "-o", "out.csv")
    assert done.returncode == 0
    assert done.stdout == ""
    assert "Left out, csv has no form for it: " in done.stderr
    assert "nets" in done.stderr
    done = run(folder, "convert", "small.net", "-o", "out.json")
    assert "Left out" not in done.stderr


def test_json_output_says_what_was_written_and_left_out(folder: Path) -> None:
    done = run(folder, "convert", "small.net", "-o", "out.cir", "--json")
    written = json.loads(done.stdout)["written"]
    assert written["format"] == "spice"
    assert written["bytes"] == (folder / "out.cir").stat().st_size
    assert isinstance(written["left_out"], list)


def test_a_file_is_replaced_only_when_asked_and_never_half_written(folder: Path) -> None:
    target = folder / "out.sheet"
    target.write_text("mine")
    done = run(folder, "convert", "small.net", "-o", "out.sheet")
    assert done.returncode == 2
    assert "--force" in done.stderr
    assert target.read_text() == "mine"
    assert run(folder, "convert", "small.net", "-o", "out.sheet", "--force").returncode == 0
    assert target.read_text().startswith("sheet")
    done = run(folder, "convert", "small.net", "-o", "no/such/folder/out.sheet")
    assert done.returncode == 4
    assert "Traceback" not in done.stderr
    assert sorted(path.name for path in folder.iterdir()) == ["out.sheet", "small.net"]


def test_what_was_converted_compares_as_the_same(folder: Path) -> None:
    for ending in ("json", "edf", "cir", "net", "sheet"):
        name = f"other.{ending}"
        assert run(folder, "convert", "small.net", "-o", name).returncode == 0
        done = run(folder, "compare", "small.net", name)
        assert done.returncode == 0, (ending, done.stdout)
    done = run(folder, "convert", "small.net", "-o", "other.d356")
    assert done.returncode == 2  # IPC-D-356 is a list of places, and there are none
    assert "no places" in done.stderr
