"""Runs the command line as a user does, in this process or in its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from nettrace.cli.main import main

#: Four parts and three nets: enough for every command, and read in no time.
SMALL = """\
(export (version "E")
  (components
    (comp (ref "U1") (value "GAUGE") (footprint "Lib:DFN"))
    (comp (ref "R1") (value "2k2") (footprint "R:R_0402_1005Metric"))
    (comp (ref "R2") (value "10") (footprint "R:R_0402_1005Metric"))
    (comp (ref "J1") (value "CONN") (footprint "Lib:CONN")))
  (nets
    (net (code "1") (name "SDA")
      (node (ref "U1") (pin "1") (pinfunction "SDA")) (node (ref "R1") (pin "1"))
      (node (ref "R2") (pin "1")))
    (net (code "2") (name "+3V3") (node (ref "R1") (pin "2")) (node (ref "U1") (pin "2")))
    (net (code "3") (name "SDA_EXT") (node (ref "R2") (pin "2")) (node (ref "J1") (pin "1")))
    (net (code "4") (name "GND") (node (ref "U1") (pin "3")) (node (ref "J1") (pin "2")))))
"""


@dataclass(frozen=True)
class Answer:
    """What a run came to."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        answer: dict[str, Any] = json.loads(self.out)
        return answer


Run = Callable[..., Answer]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command line in this process; words may be paths."""

    def call(*words: object) -> Answer:
        capsys.readouterr()
        code = main([str(word) for word in words])
        captured = capsys.readouterr()
        return Answer(code, captured.out, captured.err)

    return call


@pytest.fixture
def run_process() -> Run:
    """Run the command line in a process of its own; `env` adds to the environment."""

    def call(*words: object, env: dict[str, str] | None = None) -> Answer:
        done = subprocess.run(
            [sys.executable, "-m", "nettrace", *(str(word) for word in words)],
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=60,
            check=False,
            env={**os.environ, **(env or {})},
            cwd=Path(__file__).resolve().parent.parent.parent,
        )
        return Answer(done.returncode, done.stdout, done.stderr)

    return call


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small netlist."""
    path = tmp_path_factory.mktemp("small") / "small.net"
    path.write_text(SMALL, encoding="utf-8")
    return path
