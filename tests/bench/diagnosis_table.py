"""The table in docs/diagnosis.md, measured.

The tests compare; `NETTRACE_RENEW=1 pytest tests/bench/test_diagnosis.py -k docs` renews it.
"""

from __future__ import annotations

import os
from pathlib import Path

from nettrace.loading import load
from tests.bench.simulator import HEADING, Trials, cluster, table_rows

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "diagnosis.md"
SEVEN = ("R12", "R13", "R14", "R15", "R16", "C7", "D4")
#: Real boards of the table, each with a third of Wren's trials.
REAL = ("teres-main", "zswatch-devkit")


def wren_rows() -> tuple[str, ...]:
    """Wren's seven positions of the damage."""
    return table_rows("Wren", Trials(load(ROOT / "samples" / "wren"), SEVEN))


def real_rows(boards: Path, name: str) -> tuple[str, ...]:
    """Seven positions round the connector of a real board that has them closest."""
    circuit = load(boards / name)
    return table_rows(name, Trials(circuit, cluster(circuit)), 1 / 3)


def renewed(page: str, rows: tuple[str, ...]) -> str:
    """The page with a board's rows in its table, in place of those that it had."""
    lines = page.splitlines()
    start = lines.index(HEADING[0]) + len(HEADING)
    end = start
    while end < len(lines) and lines[end].startswith("|"):
        end += 1
    board = rows[0].split("|")[1]
    others = [line for line in lines[start:end] if line.split("|")[1] != board]
    table = sorted([*others, *rows], key=lambda row: (" Wren " not in row, row.split("|")[1]))
    return "\n".join([*lines[:start], *table, *lines[end:]]) + "\n"


def wrong_rows(rows: tuple[str, ...]) -> list[str]:
    """The rows that the page has not; with NETTRACE_RENEW set the page is made right first."""
    if os.environ.get("NETTRACE_RENEW"):
        PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8"), rows), encoding="utf-8")
    there = PAGE.read_text(encoding="utf-8").splitlines()
    return [row for row in (*HEADING, *rows) if row not in there]
