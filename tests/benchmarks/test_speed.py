"""A few very loose bounds: ratios of processor time that only a change of kind would break.

The goals are printed by the benchmarks beside this file; docs/performance.md has their figures.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.benchmarks import bench_network, bench_readers, made_texts
from tests.benchmarks.measure import medians
from tests.electrical.test_network import needs_ngspice

pytestmark = [pytest.mark.slow, pytest.mark.timed]

#: Thirty times the goal: a step of the interpreter for each character is more, whatever else runs.
MOST_FLOORS = 30 * bench_readers.FLOOR_GOAL


@pytest.mark.parametrize(
    "text",
    [made_texts.board_file(1), made_texts.netlist_file(1), made_texts.edif_netlist(1),
     made_texts.bare_board_file(1), made_texts.placed_board_file(1), made_texts.deck(10_000)],
    ids=["board file", "netlist", "EDIF", "IPC-D-356", "IPC-2581", "SPICE"],
)  # fmt: skip
def test_a_text_is_read_in_some_steps_a_token(text: str) -> None:
    assert bench_readers.read(text).parts
    assert bench_readers.against_the_floor(text, rounds=3) < MOST_FLOORS


@pytest.mark.parametrize("make", [made_texts.board_file, made_texts.edif_netlist])
def test_time_grows_with_the_text_and_not_with_its_square(make: object) -> None:
    """Four times the text, also on one line: sixteen times as long would be the square."""
    assert callable(make)
    for change in (str, lambda text: text.replace("\n", " ")):
        small, large = change(make(0.25)), change(make(1))
        sides = {"small": lambda s=small: bench_readers.read(s),
                 "large": lambda s=large: bench_readers.read(s)}  # fmt: skip
        seconds = medians(sides, 3)
        assert seconds["large"] < 9 * seconds["small"]


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is read from /proc")
def test_a_board_in_memory_is_some_times_its_file(boards: Path) -> None:
    path = boards / bench_readers.REAL[1]
    assert bench_readers.memory_a_byte(path) < 2 * bench_readers.MEMORY_GOAL


@needs_ngspice
def test_twenty_pairs_take_less_than_one_run_of_ngspice(tmp_path: Path) -> None:
    ratio, off = bench_network.against_ngspice(bench_network.board_like(2_000), tmp_path, rounds=3)
    assert off < 1e-9
    assert ratio > 0.5


def test_a_removed_part_is_answered_faster_than_anew() -> None:
    ratio, off = bench_network.update_ratio(bench_network.board_like(5_000), rounds=3)
    assert off < 1e-9
    assert ratio > 4
