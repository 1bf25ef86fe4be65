"""Speed of the s-expression readers, with bounds of twice the goal: a busy machine must pass.

The goals themselves are printed by `bench_sexpr.py`; its figures stand in docs/performance.md.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.benchmarks import bench_sexpr

pytestmark = [pytest.mark.slow, pytest.mark.timed]


def test_a_board_file_is_read_within_twice_the_floor(boards: Path) -> None:
    name = bench_sexpr.BOARDS[1]
    text = (boards / name).read_text(encoding="utf-8")
    times = bench_sexpr.against_the_floor(text, name, netlist=False, rounds=5)
    assert times["reader"] < 2 * 1.0


def test_a_netlist_is_read_within_twice_its_goal(boards: Path) -> None:
    name = bench_sexpr.NETLISTS[1]
    text = (boards / name).read_text(encoding="utf-8")
    times = bench_sexpr.against_the_floor(text, name, netlist=True, rounds=7)
    assert times["reader"] < 2 * 1.3


@pytest.mark.filterwarnings("ignore")  # the peer's own
def test_a_netlist_is_read_a_hundred_times_faster_than_kinparse(boards: Path) -> None:
    path = boards / "teres-keyboard" / "TERES-PCB5-KEYBOARD_Rev.A.net"
    assert bench_sexpr.against_kinparse(path) > 200 / 2


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is read from /proc")
def test_memory_stays_a_small_multiple_of_the_file(boards: Path) -> None:
    path = boards / bench_sexpr.BOARDS[1]
    assert bench_sexpr.memory_a_megabyte(path) < 6


def test_time_grows_with_the_text_and_not_faster() -> None:
    """Twice the board, also on one line, takes at most some three times as long."""
    small, large = bench_sexpr.synthetic_board(0.5), bench_sexpr.synthetic_board(1.0)
    for change in (str, lambda text: text.replace("\n", " ")):
        spent = bench_sexpr.read_times([change(small), change(large)])
        assert spent[1] < 3 * spent[0]
