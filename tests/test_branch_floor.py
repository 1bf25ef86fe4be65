"""The floor counts branches alone: lines that are covered make up for none."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.branch_floor import main


def report(tmp_path: Path, *files: tuple[str, int, int]) -> str:
    """Write a report as coverage.py 7 does; each file with its branches and those not taken."""
    path = tmp_path / "coverage.json"
    summaries = {
        name: {
            "summary": {
                "covered_lines": 10_000, "num_statements": 10_000,
                "num_branches": branches, "missing_branches": missing,
            }
        }
        for name, branches, missing in files
    }  # fmt: skip
    path.write_text(json.dumps({"files": summaries}))
    return str(path)


@pytest.mark.parametrize(("missing", "code"), [(4, 0), (5, 0), (6, 1), (100, 1)])
def test_the_floor_is_held_at_95_of_100(
    tmp_path: Path, missing: int, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([report(tmp_path, ("a.py", 40, 0), ("b.py", 60, min(missing, 60)))]) == code
    said = capsys.readouterr().out
    assert f"{min(missing, 60):5} not taken in b.py" in said
    assert "of 100 branches taken, floor 95 %" in said


def test_another_floor_may_be_asked(tmp_path: Path) -> None:
    path = report(tmp_path, ("a.py", 10, 1))
    assert main([path, "90"]) == 0
    assert main([path, "90.1"]) == 1


def test_a_run_that_measured_no_branches_holds_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([report(tmp_path, ("a.py", 0, 0))]) == 1
    assert "no branches measured" in capsys.readouterr().out
